package sizing

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing/score"
)

// CompanyQuestion asks whether some animals may share one enclosure.
type CompanyQuestion struct {
	Members      []CompanyMember `json:"members"`
	Jurisdiction string          `json:"jurisdiction,omitzero"`
	// Setup is the enclosure they would share, if there is one.
	Setup *score.Setup `json:"setup,omitzero"`
}

// CompanyMember is the animals of one species.
type CompanyMember struct {
	Species string   `json:"species"`
	Animals []Animal `json:"animals"`
}

// CompanyVerdict is the answer in words.
type CompanyVerdict string

// DoNot: something speaks against it. CompanyUnknown: it hangs on what is not known.
// WithCare: it is done, with the cautions given. NoObjection: nothing held speaks
// against it, which is not proof.
const (
	DoNot          CompanyVerdict = "do not"
	CompanyUnknown CompanyVerdict = "cannot tell"
	WithCare       CompanyVerdict = "with care"
	NoObjection    CompanyVerdict = "no objection known"
)

// Speaks says how a reason bears on the verdict.
type Speaks string

// The weights of a reason; any one against decides.
const (
	Against Speaks = "against"
	Unknown Speaks = "not known"
	Caution Speaks = "caution"
	For     Speaks = "for"
)

// CompanyReason is one thing that bears on it.
type CompanyReason struct {
	// Code: mixed_species, sociality, group_size, sexes, size_ratio, predation, toxin,
	// climate, hygiene, space, breeding.
	Code   string `json:"code"`
	Speaks Speaks `json:"speaks"`
	Text   string `json:"text"`
	// Settle is what to find out, where it is not known.
	Settle  string   `json:"settle,omitzero"`
	Basis   string   `json:"basis"`
	Sources []string `json:"sources,omitzero"`
}

// CompanyAnswer says whether they may share, and why.
type CompanyAnswer struct {
	Verdict CompanyVerdict  `json:"verdict"`
	Members []CompanyOf     `json:"members"`
	Reasons []CompanyReason `json:"reasons"`
	// Shared are the ranges that every species has in common; for one species none.
	Shared []SharedRange `json:"shared_ranges,omitzero"`
	// Space is what the animals of one species need together, with the published rules
	// for further animals; mixed species are never given one.
	Space     *Space     `json:"space,omitzero"`
	Warnings  []Warning  `json:"warnings,omitzero"`
	Cautions  []string   `json:"cautions"`
	Sources   []Citation `json:"sources"`
	Catalogue string     `json:"catalogue_revision"`
	Engine    string     `json:"engine_version"`
}

// CompanyOf is one species of the company.
type CompanyOf struct {
	Species   SpeciesRef   `json:"species"`
	Animals   []AnimalSize `json:"animals"`
	Sociality string       `json:"sociality"`
	Access    care.Access  `json:"access"`
}

// SharedRange is what the species' ranges for one parameter have in common.
type SharedRange struct {
	Parameter care.Code `json:"parameter"`
	Name      string    `json:"name"`
	// Standing: "shared", "apart" (no value suits all), "not known".
	Standing string         `json:"standing"`
	Range    *quantity.Band `json:"range,omitzero"`
	Each     []SpeciesRange `json:"each"`
}

// SpeciesRange is one species' own range.
type SpeciesRange struct {
	Species string         `json:"species"`
	Range   *quantity.Band `json:"range,omitzero"`
}

// Ratios of size, larger to smaller. Own choice: animals are given to eat what is
// about as wide as their head, and a third of their length is near that for most;
// half as long again already decides who feeds and who basks.
const (
	unequal = 1.5 // of length: who eats and basks
	mouth   = 2.0 // of length: the smaller can be prey
)

const maxMembers = 12

// Company tells whether animals may be kept together: the published rules for further
// animals, how the species lives, the sexes, the sizes, and for more than one species
// their ranges, who eats whom, toxins and hygiene. Animals of different species are
// answered with "do not", whatever else holds, and the reasons. The error is an
// Invalid that lists every bad field.
func Company(c *care.Catalogue, q CompanyQuestion) (*CompanyAnswer, error) {
	var p problems
	p.jurisdiction(c, q.Jurisdiction)
	if len(q.Members) == 0 {
		p.add("/members", "is empty", "give each species with its animals")
	}
	if len(q.Members) > maxMembers {
		p.add("/members", fmt.Sprintf("has %d entries, more than %d", len(q.Members), maxMembers), "ask for one enclosure at a time")
		return nil, p.bad
	}
	var groups []group
	for i, m := range q.Members {
		var own problems
		s := own.species(c, m.Species)
		g := own.animals(c, s, m.Animals)
		at := fmt.Sprintf("/members/%d", i)
		for _, b := range own.bad {
			b.Field = at + b.Field
			p.bad = append(p.bad, b)
		}
		for _, w := range own.warnings {
			p.warn(at+w.Field, w.Text)
		}
		if s != nil && slices.ContainsFunc(groups, func(o group) bool { return o.species == s }) {
			p.add(at+"/species", "is given twice", "give all animals of a species in one entry")
		}
		groups = append(groups, g)
	}
	if q.Setup != nil {
		p.setup(q.Setup)
	}
	if len(p.bad) > 0 {
		return nil, p.bad
	}
	k := company{c: c, question: q}
	out := &CompanyAnswer{Reasons: []CompanyReason{}, Warnings: p.warnings, Catalogue: c.Revision, Engine: EngineVersion}
	for _, g := range groups {
		out.Members = append(out.Members, CompanyOf{Ref(g.species), g.sizes, g.species.Nature.Sociality, g.species.Nature.Access})
		k.within(g)
		for _, line := range cautions(g.species, q.Jurisdiction) {
			if !slices.Contains(out.Cautions, line) {
				out.Cautions = append(out.Cautions, line)
			}
		}
	}
	if len(groups) > 1 {
		k.mixed(groups)
		out.Shared = k.shared
	} else if err := k.space(groups[0], out); err != nil {
		return nil, err
	}
	out.Reasons = append(out.Reasons, k.reasons...)
	out.Verdict = companyVerdict(out.Reasons)
	var keys []string
	for _, r := range out.Reasons {
		keys = append(keys, r.Sources...)
	}
	out.Sources = cite(c, keys)
	return out, nil
}

func companyVerdict(reasons []CompanyReason) CompanyVerdict {
	has := func(s Speaks) bool {
		return slices.ContainsFunc(reasons, func(r CompanyReason) bool { return r.Speaks == s })
	}
	switch {
	case has(Against):
		return DoNot
	case has(Unknown):
		return CompanyUnknown
	case has(Caution):
		return WithCare
	}
	return NoObjection
}

type company struct {
	c        *care.Catalogue
	question CompanyQuestion
	reasons  []CompanyReason
	shared   []SharedRange
}

func (k *company) say(code string, speaks Speaks, basis, format string, args ...any) *CompanyReason {
	k.reasons = append(k.reasons, CompanyReason{Code: code, Speaks: speaks, Text: fmt.Sprintf(format, args...), Basis: basis})
	return &k.reasons[len(k.reasons)-1]
}

// manner is how the record describes a species' company, in the compiler's few words.
type manner struct {
	text                        string
	alone, pair, group          bool
	malesFight, malesMay        bool
	femalesFight, allFight      bool
	oneMale, similar, cannibal  bool
	eatsSnakes, exceptionStated bool
}

func mannerOf(s *care.Species) manner {
	text := s.Nature.Sociality
	base, _, _ := strings.Cut(text, ";")
	has := func(words ...string) bool {
		return slices.ContainsFunc(words, func(w string) bool { return strings.Contains(text, w) })
	}
	m := manner{text: text, alone: strings.Contains(base, "solitary"), pair: strings.Contains(base, "pair"), group: strings.Contains(base, "group"),
		oneMale: has("one male", "one adult male"), similar: has("similar sizes"), cannibal: has("cannibal"), eatsSnakes: has("eats other snakes"),
		femalesFight:    has("females fight", "females also"),
		exceptionStated: has("females may share", "same-sex groups possible", "pairs at most", "pairs possible", "pair", "several females at most")}
	males := has("males")
	m.malesMay = has("males may fight")
	m.malesFight = males && !m.malesMay && has("males fight", "males aggressive", "males combat", "males territorial", "males very territorial", "males wrestle", "males ram", "males harass", "males of northern forms fight", "males court hard")
	m.allFight = has("; aggressive", "; very aggressive", "; fights", "severe fights", "tail-biting", "strangers attacked")
	return m
}

// sexes counts the males there are for certain and the most there may be.
func sexes(g group) (certain, most, females int) {
	for _, a := range g.sizes {
		switch a.Sex {
		case "male":
			certain += a.Count
			most += a.Count
		case "female":
			females += a.Count
		default:
			most += a.Count
		}
	}
	return certain, most, females
}

// within judges the animals of one species against each other.
func (k *company) within(g group) {
	if g.count < 2 {
		return
	}
	s, m := g.species, mannerOf(g.species)
	name := s.CommonName("en")
	basis := "the record's words on the species' company: " + m.text + " (" + string(s.Nature.Access) + ")"
	sources := s.Nature.Sources
	say := func(code string, speaks Speaks, format string, args ...any) {
		k.say(code, speaks, basis, format, args...).Sources = sources
	}
	switch {
	case m.allFight:
		say("sociality", Against, "%s: these animals attack each other", name)
	case m.alone && !m.exceptionStated:
		say("sociality", Against, "%s: lives alone", name)
	case m.alone:
		say("sociality", Caution, "%s: lives alone by rule; the record names an exception", name)
	case m.pair && !m.group && g.count > 2 && !strings.Contains(m.text, "groups possible"):
		say("sociality", Against, "%s: lives in pairs, and these are %d", name, g.count)
	default:
		say("sociality", For, "%s: lives in company", name)
	}
	certain, most, females := sexes(g)
	fight := m.malesFight || m.oneMale
	switch {
	case fight && certain >= 2:
		say("sexes", Against, "%s: %d males, and males fight", name, certain)
	case m.malesMay && certain >= 2:
		say("sexes", Caution, "%s: %d males, and males may fight", name, certain)
	case (fight || m.malesMay) && most >= 2:
		say("sexes", Unknown, "%s: males fight or may, and up to %d of these may be males", name, most)
		k.reasons[len(k.reasons)-1].Settle = "have the sexes determined"
	}
	if m.femalesFight && females >= 2 {
		say("sexes", Against, "%s: females fight or rank each other too", name)
	}
	if most >= 1 && (females >= 1 || most > certain) && g.youngest == care.Adult {
		k.say("breeding", Caution, ownBasis, "%s: males and females together breed, or males harass females; plan for the young or keep the sexes apart", name)
	}
	k.groupSize(g, name)
	k.sizesWithin(g, m, name)
	k.say("hygiene", Caution, ownBasis, "%s: keep a newcomer apart for some weeks, with its own tools, and have its droppings examined; feed animals so that each is seen to eat", name)
}

// groupSize compares their number with what sources give.
func (k *company) groupSize(g group, name string) {
	w := k.c.Range(g.species.ID, care.GroupSize, g.youngest)
	if w.Standing != care.Known || w.High == nil {
		return
	}
	basis := "working range of animals together (" + string(w.Grade) + ")"
	speaks, text := For, "%s: %d together; sources give up to %g"
	if float64(g.count) > *w.High {
		speaks = Against
	}
	k.say("group_size", speaks, basis, text, name, g.count, *w.High).Sources = w.SourceKeys()
}

// sizesWithin compares the largest with the smallest.
func (k *company) sizesWithin(g group, m manner, name string) {
	least, most, ok := spread([]group{g})
	if !ok {
		k.say("size_ratio", Unknown, "own choice of ratios", "%s: the sizes are not known", name).Settle = "measure the animals"
		return
	}
	if len(g.sizes) < 2 && m.cannibal { // alike by what was said, but not measured one by one
		k.say("predation", Caution, "the record's words: "+m.text, "%s: eats its own kind when sizes differ; keep only animals of one size together, and part them as they grow apart", name).Sources = g.species.Nature.Sources
		return
	}
	if len(g.sizes) < 2 {
		return
	}
	speaks := Caution
	if m.cannibal || m.similar || m.eatsSnakes {
		speaks = Against
	}
	switch {
	case least >= mouth:
		k.say("predation", Against, "own choice of ratios", "%s: the largest is at least %.1f times as long as the smallest, which it may take for prey", name, least)
	case least >= unequal:
		k.say("size_ratio", speaks, "own choice of ratios", "%s: the largest is at least %.1f times as long as the smallest", name, least)
	case most >= unequal:
		k.say("size_ratio", Unknown, "own choice of ratios", "%s: the largest may be up to %.1f times as long as the smallest", name, most).Settle = "measure the animals"
	}
}

// spread is the ratio of length of the largest to the smallest animal, at least and
// at most, in the first measure that all have.
func spread(groups []group) (least, most float64, ok bool) {
	for _, m := range []care.Measure{care.TotalLength, care.SnoutVent, care.Shell} {
		var lows, highs []float64
		all := true
		for _, g := range groups {
			for _, a := range g.sizes {
				i := slices.IndexFunc(a.Lengths, func(l BodyLength) bool { return l.Measure == m })
				if i < 0 || a.Lengths[i].Range.Low == nil || a.Lengths[i].Range.High == nil {
					all = false
					continue
				}
				lows, highs = append(lows, *a.Lengths[i].Range.Low), append(highs, *a.Lengths[i].Range.High)
			}
		}
		if !all || len(lows) == 0 {
			continue
		}
		// The largest is at least as long as the longest of the low ends.
		return math.Max(1, slices.Max(lows)/slices.Min(highs)), slices.Max(highs) / slices.Min(lows), true
	}
	return 0, 0, false
}

// space adds what the published rules ask for further animals of one species, and how
// the enclosure stands to that.
func (k *company) space(g group, out *CompanyAnswer) error {
	q := AssessmentQuestion{Question: Question{Species: g.species.ID, Jurisdiction: k.question.Jurisdiction, Animals: k.question.Members[0].Animals}}
	r := require(k.c, g, q.Jurisdiction)
	out.Space = &r.Advised
	if g.count > 1 {
		for _, rule := range r.Rules {
			if !rule.Governs || rule.Figures == nil {
				continue
			}
			basis, text := "published rule "+rule.ID, "the rule gives what %d animals need together"
			if rule.Figures.OwnExtra {
				basis, text = "published rule "+rule.ID+", repeated by us for further animals", "the rule is silent on further animals, so its figure is repeated for %d (ours)"
			}
			k.say("space", For, basis, text, g.count).Sources = []string{rule.Source}
		}
		if r.Advised.Standing != care.Known {
			k.say("space", Unknown, ownBasis, "no published floor size is held for these animals").Settle = "find a published figure for this species"
		}
	}
	if k.question.Setup == nil {
		return nil
	}
	q.Setup = *k.question.Setup
	a, err := Assess(k.c, q)
	if err != nil {
		return err
	}
	for _, f := range a.Findings {
		if f.Mend != score.Rebuild || f.Score == nil || f.Score.Worst == 1 {
			continue
		}
		if f.Score.Best < 1 {
			k.say("space", Against, "published rules, put to this enclosure", "too small for all of them: %s", shortfallText(&f)).Sources = f.Sources
			continue
		}
		k.say("space", Unknown, "published rules, put to this enclosure", "may be too small for all of them: %s", shortfallText(&f)).Settle = "measure the enclosure and the animals"
	}
	return nil
}

// mixed judges animals of different species. The answer is no; the reasons say why.
func (k *company) mixed(groups []group) {
	k.say("mixed_species", Against, ownBasis, "animals of different species: unfit unless shown otherwise, for they carry different germs, want different climates, and eat, crowd or exhaust each other")
	for i, a := range groups {
		for _, b := range groups[i+1:] {
			k.pair(a, b)
		}
	}
	for _, code := range []care.Code{care.HotSpot, care.WarmAir, care.CoolAir, care.NightAir, care.WaterTemp, care.HumidityDay, care.HumidityNight, care.UVMax, care.UVMean} {
		k.overlap(groups, code)
	}
}

func (k *company) pair(a, b group) {
	nameA, nameB := a.species.CommonName("en"), b.species.CommonName("en")
	for _, p := range [][2]group{{a, b}, {b, a}} {
		eater, prey := p[0].species, p[1].species
		m := mannerOf(eater)
		if m.eatsSnakes && prey.Group == care.Snake {
			k.say("predation", Against, "the record's words: "+m.text, "%s eats other snakes", eater.CommonName("en")).Sources = eater.Nature.Sources
		}
		if slices.Contains(HazardsOf(eater), "skin-toxin") {
			k.say("toxin", Against, "the record's hazards (recalled)", "the skin of %s can poison another animal that bites or shares water with it", eater.CommonName("en"))
		}
		if eater.Venomous {
			k.say("toxin", Against, "the record's hazards (recalled)", "%s is venomous", eater.CommonName("en"))
		}
	}
	switch least, most, ok := spread([]group{a, b}); {
	case !ok:
		k.say("size_ratio", Unknown, "own choice of ratios", "%s and %s are measured differently, so their sizes can't be compared", nameA, nameB).Settle = "weigh the animals"
	case least >= mouth:
		k.say("predation", Against, "own choice of ratios", "the larger is at least %.1f times as long as the smaller, which it may take for prey: %s and %s", least, nameA, nameB)
	case most >= mouth:
		k.say("predation", Unknown, "own choice of ratios", "the larger may be up to %.1f times as long as the smaller: %s and %s", most, nameA, nameB).Settle = "measure the animals"
	}
	chelonian := a.species.Group == care.Chelonian || b.species.Group == care.Chelonian
	switch {
	case chelonian && a.species.Group != b.species.Group:
		k.say("hygiene", Against, "recalled: veterinary textbooks on amoebiasis", "chelonians carry amoebae that do them no harm and kill snakes and lizards: %s and %s", nameA, nameB)
	case a.species.Group == care.Amphibian && b.species.Group == care.Amphibian:
		k.say("hygiene", Against, "recalled: veterinary textbooks on chytrid fungus and ranavirus", "amphibians pass on skin fungus and ranavirus; one species may carry what kills the other: %s and %s", nameA, nameB)
	default:
		k.say("hygiene", Against, ownBasis, "each may carry parasites and viruses that the other has no defence against: %s and %s", nameA, nameB)
	}
}

// overlap intersects the ranges of one parameter.
func (k *company) overlap(groups []group, code care.Code) {
	p := care.ParameterOf(code)
	r := SharedRange{Parameter: code, Name: p.Name, Standing: "shared"}
	low, high := math.Inf(-1), math.Inf(1)
	var keys, none []string
	wanted := 0
	for _, g := range groups {
		w := k.c.Range(g.species.ID, code, g.youngest)
		each := SpeciesRange{Species: g.species.ID}
		switch w.Standing {
		case care.Known:
			wanted++
			each.Range = &quantity.Band{Low: w.Low, High: w.High, Unit: w.Unit}
			if w.Low != nil {
				low = max(low, *w.Low)
			}
			if w.High != nil {
				high = min(high, *w.High)
			}
			keys = append(keys, w.SourceKeys()...)
		case care.NotKnown:
			wanted++
			none = append(none, g.species.CommonName("en"))
		}
		r.Each = append(r.Each, each)
	}
	if wanted < 2 {
		return // it concerns one of them at most
	}
	switch {
	case low > high:
		r.Standing = "apart"
		k.say("climate", Against, "working ranges", "%s: no value suits all of them", p.Name).Sources = keys
	case len(none) > 0:
		r.Standing = "not known"
		k.say("climate", Unknown, "working ranges", "%s: not known for %s", p.Name, strings.Join(none, ", ")).Settle = "find a published figure"
	default:
		r.Range = &quantity.Band{Unit: p.Unit}
		if !math.IsInf(low, 0) {
			r.Range.Low = &low
		}
		if !math.IsInf(high, 0) {
			r.Range.High = &high
		}
	}
	k.shared = append(k.shared, r)
}
