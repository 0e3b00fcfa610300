package sizing

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing/score"
)

// MatchQuestion asks which species an enclosure could hold.
type MatchQuestion struct {
	Setup score.Setup `json:"setup"`
	// Count, Stage and Sex are of the animals to be kept, of whatever species: one
	// adult of unknown sex when left out.
	Count        int        `json:"count,omitzero"`
	Stage        care.Stage `json:"stage,omitzero"`
	Sex          string     `json:"sex,omitzero"`
	Jurisdiction string     `json:"jurisdiction,omitzero"`
	// Empty: nothing is in it yet. What the setup does not state of substrate, heat,
	// light, rocks and company is then taken as not there, and the substrate as filled
	// in to the depth that each species wants, which is the first of its changes: what
	// is asked is whether the enclosure itself would do.
	Empty bool `json:"empty,omitzero"`
	// Groups limits the answer to some groups; all when left out.
	Groups []care.Group `json:"groups,omitzero"`
	// Without leaves out species that bear one of these of HazardClasses.
	Without []string `json:"without,omitzero"`
	// Experience is the most that the keeper has: beginner, experienced or
	// specialist; specialist when left out. See ExperienceOf.
	Experience Experience `json:"experience,omitzero"`
	// Fits limits the species listed to these; all when left out. The counts always
	// cover every species that the filters above let through.
	Fits []Fit `json:"fits,omitzero"`
	// Limit is the most species listed; 0 is all.
	Limit int `json:"limit,omitzero"`
}

// Fit says how an enclosure suits a species, in the worst case that what is known allows.
type Fit string

// FitsAsItIs: suitable whatever is not known. AfterChanges: at most changes are
// needed, whatever is not known. FitUnknown: it may turn out too small, or no floor
// figure is held for the species. TooSmall: only another enclosure would do.
const (
	FitsAsItIs   Fit = "as it is"
	FitsChanged  Fit = "after changes"
	FitUnknown   Fit = "cannot tell"
	FitsTooSmall Fit = "too small"
)

// Fits lists them, best first.
var Fits = []Fit{FitsAsItIs, FitsChanged, FitUnknown, FitsTooSmall}

// FitOf reads the fit off the two extreme verdicts. It goes by the worst case, so
// that learning or mending something never takes a species down the list: "suitable
// after changes" may become "cannot tell" when the best case turns suitable.
func FitOf(worst, best score.Verdict) Fit {
	switch {
	case best == score.Unsuitable:
		return FitsTooSmall
	case worst == score.Unsuitable:
		return FitUnknown
	case worst == score.AfterChanges:
		return FitsChanged
	}
	return FitsAsItIs
}

// Experience is what a keeper should have kept before.
type Experience string

// From least to most.
const (
	Beginner    Experience = "beginner"
	Experienced Experience = "experienced"
	Specialist  Experience = "specialist"
)

// Experiences lists them, least first.
var Experiences = []Experience{Beginner, Experienced, Specialist}

// HazardClasses are the dangers to people by which a match can be filtered, read
// off the cautions of the species. Any reptile or amphibian can carry Salmonella,
// so that is not one.
var HazardClasses = []string{"venomous", "constrictor", "dangerous", "strong-bite", "claws", "tail-blow", "skin-toxin"}

// HazardsOf lists the hazard classes of a species.
func HazardsOf(s *care.Species) (out []string) {
	text := strings.ToLower(strings.Join(s.Hazards, "; "))
	has := func(words ...string) bool {
		return slices.ContainsFunc(words, func(w string) bool { return strings.Contains(text, w) })
	}
	for class, is := range map[string]bool{
		"venomous":    s.Venomous || has("venom"),
		"constrictor": has("constrict"),
		"dangerous":   s.Venomous || has("kill", "two handlers", "dangerous"),
		"strong-bite": has("strong bite", "severe", "long teeth"),
		"claws":       has("claws"),
		"tail-blow":   has("tail blow"),
		"skin-toxin":  has("toxin", "secretion (irritant", "skin secretion", "peptides"),
	} {
		if is {
			out = append(out, class)
		}
	}
	slices.SortFunc(out, func(a, b string) int {
		return cmp.Compare(slices.Index(HazardClasses, a), slices.Index(HazardClasses, b))
	})
	return out
}

// Bounds of ExperienceOf: the long end of adult length, cm; the top of the warm end or
// of the water, °C; the least humidity by day, %. Own choice.
var (
	bigFor  = map[care.Group]float64{care.Lizard: 80, care.Snake: 200, care.Chelonian: 25, care.Amphibian: 40}
	hugeFor = map[care.Group]float64{care.Lizard: 130, care.Snake: 300, care.Chelonian: 45, care.Amphibian: 100}
)

const (
	coolLiving = 24.0
	dampLiving = 60.0
)

// ExperienceOf says what experience a keeper of the species should have, and why.
// Own choice throughout, from hazard to people, size and difficulty:
//   - specialist: venomous, can kill a person or needs two handlers, or grows past
//     130 cm (lizard), 300 cm (snake), a shell of 45 cm;
//   - experienced: a strong bite, a toxic skin, a tail that hurts, a constrictor of
//     people's strength; grows past 80 cm, 200 cm, a shell of 25 cm; has to be kept
//     cool (no higher than 24 °C by day) or damp (60 % and more by day); must winter
//     cold; the species' company is described as aggressive or cannibal;
//   - beginner: none of these.
//
// It says nothing of whether an animal suits a household.
func ExperienceOf(c *care.Catalogue, s *care.Species) (level Experience, why []string) {
	level = Beginner
	raise := func(to Experience, reason string) {
		if slices.Index(Experiences, to) > slices.Index(Experiences, level) {
			level, why = to, nil
		}
		if to == level {
			why = append(why, reason)
		}
	}
	for _, class := range HazardsOf(s) {
		switch class {
		case "venomous", "dangerous":
			raise(Specialist, class)
		case "constrictor", "strong-bite", "skin-toxin", "tail-blow":
			raise(Experienced, strings.ReplaceAll(class, "-", " "))
		}
	}
	measure := care.TotalLength
	if s.Group == care.Chelonian {
		measure = care.Shell
	}
	if l, ok := c.AdultLength(s, measure); ok {
		switch cm := l.High.Centimetres(); {
		case cm > hugeFor[s.Group]:
			raise(Specialist, fmt.Sprintf("grows to %.0f cm", cm))
		case cm > bigFor[s.Group]:
			raise(Experienced, fmt.Sprintf("grows to %.0f cm", cm))
		}
	}
	for _, code := range []care.Code{care.WarmAir, care.WaterTemp} {
		if w := c.Range(s.ID, code, care.Adult); w.Standing == care.Known && w.High != nil && *w.High <= coolLiving {
			raise(Experienced, "has to be kept cool")
			break
		}
	}
	if w := c.Range(s.ID, care.HumidityDay, care.Adult); w.Standing == care.Known && w.Low != nil && *w.Low >= dampLiving {
		raise(Experienced, "has to be kept damp")
	}
	if s.Nature.Dormancy == "expected" {
		raise(Experienced, "winters cold")
	}
	for _, word := range []string{"aggressive", "cannibal"} {
		if has := " " + s.Nature.Sociality; strings.Contains(has, " "+word) || strings.Contains(has, "very "+word) {
			raise(Experienced, word)
		}
	}
	return level, why
}

// Matcher answers many matches over one catalogue. What every species needs hangs on
// the animals' count, stage and sex and on the jurisdiction, not on the enclosure: it
// is worked out at the first question of its kind and kept, for a few kinds.
// It is safe for many goroutines.
type Matcher struct {
	catalogue *care.Catalogue
	mu        sync.Mutex
	kept      map[matchKey]*matchNeeds
	growth    map[growthKey]growth // at most one for each species, sex and measure
	lives     map[lifeKey]*sizesAlong
}

// matchKey is the kind of question.
type matchKey struct {
	count             int
	stage             care.Stage
	sex, jurisdiction string
}

// keptNeeds bounds the memory of a Matcher, at about 1.5 MB each.
const keptNeeds = 8

// matchNeeds are the needs of every species, worked out once.
type matchNeeds struct {
	once  sync.Once
	needs []need
	err   error
}

// need is what one species wants, before any setup is known.
type need struct {
	needed
	species    *care.Species
	experience Experience
	why        []string
	hazards    []string
	// floorless: no published floor size is held for the species.
	floorless bool
	// substrate is the depth that the species wants at least; 0 where none is known.
	substrate quantity.Length
}

// NewMatcher prepares nothing yet and never fails.
func NewMatcher(c *care.Catalogue) *Matcher {
	return &Matcher{catalogue: c, kept: map[matchKey]*matchNeeds{}, growth: map[growthKey]growth{}, lives: map[lifeKey]*sizesAlong{}}
}

// Match ranks the species that an enclosure could hold. For each of them verdict and
// scores are exactly those of Assess. The error is an Invalid that lists every bad field.
func Match(c *care.Catalogue, q MatchQuestion) (*MatchAnswer, error) { return NewMatcher(c).Match(q) }

// needs gives what every species needs, from what is kept where it is.
func (m *Matcher) needs(key matchKey) ([]need, error) {
	m.mu.Lock()
	n := m.kept[key]
	if n == nil {
		if len(m.kept) >= keptNeeds {
			clear(m.kept)
		}
		n = &matchNeeds{}
		m.kept[key] = n
	}
	m.mu.Unlock()
	n.once.Do(func() { n.needs, n.err = needsOf(m.catalogue, key) })
	return n.needs, n.err
}

func needsOf(c *care.Catalogue, key matchKey) ([]need, error) {
	out := make([]need, 0, len(c.Species()))
	for _, s := range c.Species() {
		n := need{species: s, hazards: HazardsOf(s)}
		n.experience, n.why = ExperienceOf(c, s)
		var p problems
		g := p.animals(c, s, []Animal{{Count: key.count, Stage: key.stage, Sex: key.sex}})
		if len(p.bad) > 0 {
			return nil, fmt.Errorf("needs of %s: %w", s.ID, p.bad)
		}
		k, err := newNeeded(c, g, key.jurisdiction)
		if err != nil {
			return nil, fmt.Errorf("needs of %s: %w", s.ID, err)
		}
		n.needed = *k
		criteria := n.Criteria()
		n.floorless = slices.ContainsFunc(criteria, func(k score.Criterion) bool { return k.Essential && !k.TargetKnown() })
		if i := slices.IndexFunc(criteria, func(k score.Criterion) bool { return k.Code == string(care.SubstrateDepth) }); i >= 0 && criteria[i].Most.Low != nil {
			n.substrate = quantity.Centimetres(*criteria[i].Most.Low)
		}
		out = append(out, n)
	}
	return out, nil
}

// passes reports whether the question's filters let the species through.
func (n *need) passes(q *MatchQuestion) bool {
	return (len(q.Groups) == 0 || slices.Contains(q.Groups, n.species.Group)) &&
		!slices.ContainsFunc(q.Without, func(w string) bool { return slices.Contains(n.hazards, w) }) &&
		slices.Index(Experiences, n.experience) <= slices.Index(Experiences, q.Experience)
}

// matchQuestion checks the question but for the setup, and fills what is left out.
func (p *problems) matchQuestion(c *care.Catalogue, q *MatchQuestion) {
	if q.Count == 0 {
		q.Count = 1
	}
	if q.Stage == "" {
		q.Stage = care.Adult
	}
	if q.Experience == "" {
		q.Experience = Specialist
	}
	if q.Count < 1 || q.Count > maxAnimals {
		p.add("/count", fmt.Sprintf("is %d", q.Count), fmt.Sprintf("give a whole number from 1 to %d", maxAnimals))
	}
	oneOf(p, "/stage", q.Stage, care.Stages)
	oneOf(p, "/sex", q.Sex, []string{"", "female", "male", "unknown"})
	oneOf(p, "/experience", q.Experience, Experiences)
	for i, g := range q.Groups {
		oneOf(p, fmt.Sprintf("/groups/%d", i), g, care.Groups)
	}
	for i, w := range q.Without {
		oneOf(p, fmt.Sprintf("/without/%d", i), w, HazardClasses)
	}
	for i, f := range q.Fits {
		oneOf(p, fmt.Sprintf("/fits/%d", i), f, Fits)
	}
	if q.Limit < 0 {
		p.add("/limit", "is below zero", "give a whole number, or leave it out for all")
	}
	p.jurisdiction(c, q.Jurisdiction)
}

func oneOf[T ~string](p *problems, field string, value T, words []T) {
	if slices.Contains(words, value) {
		return
	}
	var known []string
	for _, w := range words {
		if w != "" {
			known = append(known, string(w))
		}
	}
	p.add(field, fmt.Sprintf("is %q", value), "use one of "+strings.Join(known, ", "))
}

// MatchAnswer is the species an enclosure could hold, best first.
type MatchAnswer struct {
	// Counts are of all species that the filters let through.
	Counts MatchCounts `json:"counts"`
	// Species are ranked; Ranking says how.
	Species []SpeciesMatch `json:"species"`
	Ranking string         `json:"ranking"`
	// MeasureFirst is what to find out, by the number of listed species of which it
	// could change the fit.
	MeasureFirst []MeasureFirst `json:"measure_first"`
	Warnings     []Warning      `json:"warnings,omitzero"`
	Cautions     []string       `json:"cautions"`
	Catalogue    string         `json:"catalogue_revision"`
	Engine       string         `json:"engine_version"`
}

// MatchCounts says how many species fit how.
type MatchCounts struct {
	AsItIs       int `json:"as_it_is"`
	AfterChanges int `json:"after_changes"`
	CannotTell   int `json:"cannot_tell"`
	TooSmall     int `json:"too_small"`
	// LeftOut were filtered out.
	LeftOut int `json:"left_out"`
}

// MeasureFirst is one thing to find out and how many species hang on it.
type MeasureFirst struct {
	What    string `json:"what"`
	Species int    `json:"species"`
}

// SpeciesMatch is one species against the enclosure. Verdicts and scores are those
// that Assess gives for it.
type SpeciesMatch struct {
	Rank          int            `json:"rank"`
	Species       SpeciesRef     `json:"species"`
	Fit           Fit            `json:"fit"`
	Why           string         `json:"why"`
	Verdict       score.Verdict  `json:"verdict"`
	WorstVerdict  score.Verdict  `json:"worst_verdict"`
	BestVerdict   score.Verdict  `json:"best_verdict"`
	Score         score.Interval `json:"score"`
	Weakest       score.Interval `json:"weakest"`
	BeforeHazards score.Interval `json:"score_before_hazards"`
	// Shortfall governs: see score.Shortfall. Left out where every criterion is met.
	Shortfall *score.Finding `json:"governing_shortfall,omitzero"`
	// Changes are the work without which it can't be suitable, and Then where they
	// lead together. Empty where it fits as it is or is too small.
	Changes []MatchChange  `json:"changes,omitzero"`
	Then    *score.Outcome `json:"then,omitzero"`
	// Measure is what to find out that could change the fit: of a species that may be
	// too large, what tells whether it is.
	Measure    []string       `json:"measure,omitzero"`
	Lawful     *LawfulFinding `json:"lawful,omitzero"`
	Experience Experience     `json:"experience"`
	// ExperienceWhy says what calls for it; empty for a beginner's animal.
	ExperienceWhy []string `json:"experience_why,omitzero"`
	// Hazards are the dangers to people, of HazardClasses.
	Hazards []string `json:"hazards_to_people,omitzero"`
}

// MatchChange is one piece of work.
type MatchChange struct {
	Code    string         `json:"code"`
	For     []string       `json:"for"`
	Kind    score.Mend     `json:"kind"`
	Effort  int            `json:"effort"`
	What    string         `json:"what"`
	To      *quantity.Band `json:"to,omitzero"`
	Hazard  score.Presence `json:"hazard,omitzero"`
	Caution string         `json:"caution,omitzero"`
	From    *score.Figure  `json:"from,omitzero"`
}

const matchRanking = "by fit (as it is, after changes, cannot tell, too small), which goes by the worst case; species without a published floor size, and those that live in water where none is stated, last; then by the middle of the score interval before hazards; then by name. Scores say how near, not which animal is better to keep."

// Match ranks the species for one enclosure, as the function of that name does.
func (m *Matcher) Match(q MatchQuestion) (*MatchAnswer, error) {
	var p problems
	p.matchQuestion(m.catalogue, &q)
	p.setup(&q.Setup)
	if len(p.bad) > 0 {
		return nil, p.bad
	}
	needs, err := m.needs(matchKey{q.Count, q.Stage, q.Sex, q.Jurisdiction})
	if err != nil {
		return nil, err
	}
	out := &MatchAnswer{Species: []SpeciesMatch{}, Ranking: matchRanking, MeasureFirst: []MeasureFirst{},
		Cautions: matchCautions(q.Jurisdiction), Catalogue: m.catalogue.Revision, Engine: EngineVersion}
	all := make([]matched, 0, len(needs))
	read := score.Read(q.furnished())
	for i := range needs {
		n := &needs[i]
		if !n.passes(&q) {
			out.Counts.LeftOut++
			continue
		}
		n.furnish(&q, read)
		all = append(all, matched{need: n, late: n.floorless || n.dry(&q.Setup)})
		k := &all[len(all)-1]
		switch tooSmall, mayBe := n.Size(read); {
		case tooSmall:
			k.setFit(FitsTooSmall)
		case mayBe:
			k.setFit(FitUnknown)
		default: // the sizes leave it open which
			if err := k.large(read); err != nil {
				return nil, err
			}
		}
		out.Counts.add(Fits[k.fit])
	}
	order, err := ranked(all, &q, read)
	if err != nil {
		return nil, err
	}
	asks := map[string]int{}
	if n := q.listed(all, order); n > 0 {
		if q.Limit > 0 {
			n = min(n, q.Limit)
		}
		out.Species = make([]SpeciesMatch, 0, n)
	}
	for i, at := range order {
		n, fit := all[at].need, Fits[all[at].fit]
		if !q.lists(fit) {
			continue
		}
		if q.Limit > 0 && len(out.Species) == q.Limit {
			break
		}
		n.furnish(&q, read)
		j, err := n.Judge(read)
		if err != nil {
			return nil, fmt.Errorf("judge for %s: %w", n.species.ID, err)
		}
		s := SpeciesMatch{Rank: i + 1, Species: Ref(n.species), Fit: fit, Verdict: j.Verdict, WorstVerdict: j.WorstVerdict, BestVerdict: j.BestVerdict,
			Score: j.Score, Weakest: j.Weakest, BeforeHazards: j.BeforeHazards, Experience: n.experience, ExperienceWhy: n.why, Hazards: n.hazards}
		if err := n.detail(&q, read, j, &s); err != nil {
			return nil, err
		}
		for _, what := range s.Measure {
			asks[what]++
		}
		out.Species = append(out.Species, s)
	}
	for what, n := range asks {
		out.MeasureFirst = append(out.MeasureFirst, MeasureFirst{what, n})
	}
	slices.SortFunc(out.MeasureFirst, func(a, b MeasureFirst) int {
		return cmp.Or(cmp.Compare(b.Species, a.Species), cmp.Compare(a.What, b.What))
	})
	return out, nil
}

// matched is a species on its way into the list.
type matched struct {
	*need
	fit    int     // place in Fits
	scored bool    // middle is worked out
	middle float64 // of the score before hazards, to nine digits
	late   bool    // floorless or dry
}

func (m *matched) setFit(f Fit) { m.fit = slices.Index(Fits, f) }

// score works out the middle, and tells whether every criterion is met.
func (m *matched) score(read *score.Readings) (met bool, err error) {
	mean, met, err := m.Mean(read)
	if err != nil {
		return false, fmt.Errorf("judge for %s: %w", m.species.ID, err)
	}
	m.scored, m.middle = true, math.Round((mean.Worst+mean.Best)*1e9)/2e9
	return met, nil
}

// large tells the fit of a species for which the enclosure is large enough: only where
// every criterion is met do the hazards have a say.
func (m *matched) large(read *score.Readings) error {
	met, err := m.score(read)
	if err != nil || !met {
		m.setFit(FitsChanged)
		return err
	}
	j, err := m.Judge(read)
	if err != nil {
		return fmt.Errorf("judge for %s: %w", m.species.ID, err)
	}
	m.setFit(FitOf(j.WorstVerdict, j.BestVerdict))
	return nil
}

// lists reports whether species of a fit are to be listed.
func (q *MatchQuestion) lists(f Fit) bool { return len(q.Fits) == 0 || slices.Contains(q.Fits, f) }

// ranked gives the places of all, best first, down to the last that can be listed.
// Fit by fit, the species are scored where they were not yet: those of a fit that is
// not listed, or comes after enough others, needn't be.
func ranked(all []matched, q *MatchQuestion, read *score.Readings) ([]int, error) {
	order := make([]int, 0, len(all))
	for fit := range Fits {
		if q.Limit > 0 && q.listed(all, order) >= q.Limit {
			break
		}
		start := len(order)
		for i := range all {
			if m := &all[i]; m.fit == fit {
				order = append(order, i)
				if m.scored || !q.lists(Fits[fit]) {
					continue
				}
				m.furnish(q, read)
				if _, err := m.score(read); err != nil {
					return nil, err
				}
			}
		}
		slices.SortFunc(order[start:], func(x, y int) int {
			a, b := &all[x], &all[y]
			return cmp.Or(compareBool(a.late, b.late), cmp.Compare(b.middle, a.middle), cmp.Compare(a.species.ID, b.species.ID))
		})
	}
	return order, nil
}

// listed counts those of the order that are listed.
func (q *MatchQuestion) listed(all []matched, order []int) (n int) {
	for _, i := range order {
		if q.lists(Fits[all[i].fit]) {
			n++
		}
	}
	return n
}

// dry reports whether the species lives in water and the setup states none.
func (n *need) dry(s *score.Setup) bool {
	w := s.Water
	return n.species.Nature.Habit == care.Aquatic && w.Volume == nil && (w.Length == nil || w.Width == nil || w.Depth == nil)
}

// compareBool puts false before true.
func compareBool(a, b bool) int {
	switch {
	case a == b:
		return 0
	case b:
		return -1
	}
	return 1
}

func (c *MatchCounts) add(f Fit) {
	switch f {
	case FitsAsItIs:
		c.AsItIs++
	case FitsChanged:
		c.AfterChanges++
	case FitUnknown:
		c.CannotTell++
	case FitsTooSmall:
		c.TooSmall++
	}
}

// furnished is the setup as it is judged: as given, or, where it is empty, with
// nothing in it; the substrate is each species' own.
func (q *MatchQuestion) furnished() score.Setup {
	s := q.Setup
	if !q.Empty {
		return s
	}
	if s.HeatSources == nil {
		s.HeatSources = []score.HeatSource{}
	}
	if s.OtherSpecies == nil {
		s.OtherSpecies = []string{}
	}
	if s.Rocks.Present == nil {
		s.Rocks.Present = new(false)
	}
	if s.UV.Basking == nil {
		s.UV.Basking = new(quantity.UVIndex(0))
	}
	return s
}

// furnish gives an empty enclosure the substrate that the species wants.
func (n *need) furnish(q *MatchQuestion, r *score.Readings) {
	if q.Empty && q.Setup.Substrate.Depth == nil {
		r.Fill(score.Substrate{Kind: q.Setup.Substrate.Kind, Depth: &n.substrate})
	}
}

// detail adds what a reader of the list needs: the governing shortfall, the work,
// what to measure, the law, and a sentence.
func (n *need) detail(q *MatchQuestion, r *score.Readings, j score.Judgement, s *SpeciesMatch) error {
	s.Lawful = n.law.of(r)
	if s.Fit == FitsTooSmall || s.Fit == FitsAsItIs {
		s.Shortfall = n.Shortfall(r)
		s.Why = s.sentence(nil, false)
		return nil
	}
	work, err := n.Work(r, j)
	if err != nil {
		return fmt.Errorf("work for %s: %w", n.species.ID, err)
	}
	s.Shortfall = work.Shortfall
	if q.Empty && q.Setup.Substrate.Depth == nil && n.substrate > 0 {
		cm := n.substrate.Centimetres()
		s.Changes = append(s.Changes, MatchChange{Code: string(care.SubstrateDepth), For: []string{string(care.SubstrateDepth)}, Kind: score.Furnish,
			Effort: score.Furnish.Effort(), What: "Fill in substrate", To: &quantity.Band{Low: &cm, Unit: "cm"}})
	}
	s.Changes = slices.Grow(s.Changes, len(work.Needed))
	for i := range work.Needed {
		ch := &work.Needed[i]
		s.Changes = append(s.Changes, MatchChange{Code: ch.Code, For: ch.For, Kind: ch.Kind, Effort: ch.Effort, What: ch.What, To: ch.To, Hazard: ch.Hazard, Caution: ch.Caution, From: ch.From})
	}
	for _, o := range work.Open {
		if s.Fit != FitUnknown || slices.ContainsFunc(o.For, ofSpace) {
			s.Measure = append(s.Measure, o.What)
		}
	}
	if len(work.Needed) > 0 {
		s.Then = &work.After
	}
	s.Why = s.sentence(work.Hazards, n.dry(&q.Setup))
	return nil
}

// ofSpace reports whether a criterion is one of space, which only another enclosure
// mends.
func ofSpace(code string) bool {
	for i := range sizes {
		if sizes[i].code == code {
			return true
		}
	}
	return false
}

// sentence explains the fit.
func (s *SpeciesMatch) sentence(hazards []string, dry bool) string {
	var parts []string
	switch s.Fit {
	case FitsAsItIs:
		return "every criterion is met and no hazard is there"
	case FitsTooSmall:
		return "too small: " + shortfallText(s.Shortfall)
	case FitUnknown:
		if s.Shortfall == nil || s.Shortfall.Mend != score.Rebuild {
			parts = append(parts, "no published floor size is held for it")
		} else {
			parts = append(parts, "may be too small: "+shortfallText(s.Shortfall))
		}
	default:
		parts = append(parts, "large enough")
	}
	if dry {
		parts = append(parts, "it lives in water, which the enclosure would have to hold")
	}
	if len(hazards) > 0 {
		parts = append(parts, "hazard: "+strings.Join(hazards, ", "))
	}
	switch n := len(s.Changes); {
	case n == 1:
		parts = append(parts, "1 change needed")
	case n > 1:
		parts = append(parts, fmt.Sprintf("%d changes needed", n))
	}
	switch n := len(s.Measure); {
	case n == 1:
		parts = append(parts, "1 thing to find out")
	case n > 1:
		parts = append(parts, fmt.Sprintf("%d things to find out", n))
	}
	return strings.Join(parts, "; ")
}

// shortfallText words a finding: what is there and what is wanted.
func shortfallText(f *score.Finding) string {
	if f == nil {
		return ""
	}
	text := f.Name
	switch {
	case f.Value != nil:
		text += " is " + f.Value.Value().In(quantity.Metric).String()
	case f.Between != nil:
		text += " is " + f.Between.In(quantity.Metric).String()
	case f.Answer != "":
		text += ": " + f.Answer
	default:
		text += " is not known"
	}
	wanted := f.Target
	if f.Strictest != nil && f.Standing != score.Short {
		wanted = f.Strictest
	}
	if wanted != nil {
		text += ", wanted " + wanted.In(quantity.Metric).String()
	}
	return text
}

func matchCautions(jurisdiction string) []string {
	out := []string{
		"A match says what the enclosure would do for, not whether an animal should be got. A veterinarian who knows these animals decides for a sick or unusual one.",
		"Heat and mains near water: have what came with a used enclosure checked by a licensed electrician before it is plugged in.",
		"Clean and disinfect a used enclosure before another animal goes in; some germs outlive weeks of standing empty.",
	}
	if jurisdiction == "" {
		return append(out, "Local law may ask for more, or bar a species: name a jurisdiction, and ask the competent authority.")
	}
	return append(out, "The rules held may be incomplete or out of date, and say nothing of species that may not be kept: the competent authority decides what is lawful.")
}
