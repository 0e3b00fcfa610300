package sizing

import (
	"fmt"
	"math"
	"slices"
	"sync"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing/light"
	"denwright/sizing/space"
)

// Requirement is what the animals need, each figure with where it comes from.
type Requirement struct {
	Species SpeciesRef   `json:"species"`
	Animals []AnimalSize `json:"animals"`
	// Advised meets every governing published rule, and holds what must be placed inside.
	Advised Space `json:"advised"`
	// LowestLawful is given only with a jurisdiction.
	LowestLawful *Lawful `json:"lowest_lawful,omitzero"`
	// Laboratory floors are shown apart; they are not advice for keeping.
	Laboratory *Space       `json:"laboratory,omitzero"`
	Rules      []RuleAnswer `json:"rules"`
	Substrate  Substrate    `json:"substrate"`
	Climbing   Climbing     `json:"climbing"`
	Zones      []Zone       `json:"zones"`
	Targets    []Target     `json:"targets"`
	// Adult is what the same number of adults need, where the animals are young.
	Adult    *Requirement `json:"adult,omitzero"`
	Warnings []Warning    `json:"warnings,omitzero"`
	Cautions []string     `json:"cautions"`
	// Sources are the publications behind the figures above, by key.
	Sources   []Citation `json:"sources"`
	Catalogue string     `json:"catalogue_revision"`
	Engine    string     `json:"engine_version"`
}

// Space is floor, height and water. What is not set is not known.
type Space struct {
	Standing care.Standing `json:"standing"`
	// Length and Width are the clear inside sides of the floor.
	Length    quantity.Length `json:"length,omitzero"`
	Width     quantity.Length `json:"width,omitzero"`
	FloorArea quantity.Area   `json:"floor_area,omitzero"`
	// ContentsFloor is the floor that what must be placed inside needs, by our own
	// reckoning; it governs where it is more than the rules ask for.
	ContentsFloor quantity.Area `json:"contents_floor_area,omitzero"`
	// UsableHeight runs from the surface of the substrate to the lowest fixture.
	UsableHeight quantity.Length `json:"usable_height,omitzero"`
	// Structure is the inside height from floor to lid, with its parts.
	Structure *Structure  `json:"structure,omitzero"`
	Water     *WaterSpace `json:"water,omitzero"`
	Governed  []Governed  `json:"governed_by"`
	Notes     []string    `json:"notes,omitzero"`
}

// Structure is the height to build: drainage + substrate + usable height + fixture clearance.
type Structure struct {
	InsideHeight     quantity.Length `json:"inside_height"`
	Drainage         quantity.Length `json:"drainage"`
	Substrate        quantity.Length `json:"substrate"`
	FixtureClearance quantity.Length `json:"fixture_clearance"`
	Basis            string          `json:"basis"`
}

// WaterSpace is the water part of a space.
type WaterSpace struct {
	Area     quantity.Area   `json:"area,omitzero"`
	Depth    quantity.Length `json:"depth,omitzero"`
	MaxDepth quantity.Length `json:"max_depth,omitzero"`
	Volume   quantity.Volume `json:"volume,omitzero"`
	Land     quantity.Area   `json:"land_area,omitzero"`
}

// Governed says what sets a dimension: a rule, or our own reckoning.
type Governed struct {
	Dimension string `json:"dimension"`
	Rule      string `json:"rule,omitzero"`
	Source    string `json:"source,omitzero"`
	Own       string `json:"own,omitzero"`
}

// Lawful is the lowest size lawful in a jurisdiction, by the rules held.
type Lawful struct {
	Jurisdiction string `json:"jurisdiction"`
	Why          string `json:"why,omitzero"`
	Space
}

// RuleAnswer is one published rule put to these animals.
type RuleAnswer struct {
	ID           string       `json:"id"`
	Source       string       `json:"source"`
	Jurisdiction string       `json:"jurisdiction,omitzero"`
	Status       care.Status  `json:"status"`
	Access       care.Access  `json:"access"`
	Match        care.Match   `json:"match"`
	Topic        string       `json:"topic"`
	Governs      bool         `json:"governs"`
	Why          string       `json:"why,omitzero"` // why it does not govern or gives no figure
	Figures      *RuleFigures `json:"figures,omitzero"`
	Note         string       `json:"note,omitzero"`

	Written *quantity.Written `json:"-"` // where it is the same for all animals
}

// RuleFigures are what a rule asks for, worked out for these animals.
type RuleFigures struct {
	Length      quantity.Length `json:"length,omitzero"`
	Width       quantity.Length `json:"width,omitzero"`
	Height      quantity.Length `json:"height,omitzero"`
	FloorArea   quantity.Area   `json:"floor_area,omitzero"`
	Perimeter   quantity.Length `json:"perimeter,omitzero"`
	Volume      quantity.Volume `json:"volume,omitzero"`
	WaterArea   quantity.Area   `json:"water_area,omitzero"`
	WaterDepth  quantity.Length `json:"water_depth,omitzero"`
	WaterVolume quantity.Volume `json:"water_volume,omitzero"`
	Substrate   quantity.Length `json:"substrate_depth,omitzero"`
	OwnExtra    bool            `json:"own_extra,omitzero"`
	Outgrown    bool            `json:"outgrown_class,omitzero"`
}

// Target is a working range in an answer.
type Target struct {
	Parameter  care.Code      `json:"parameter"`
	Name       string         `json:"name"`
	Standing   care.Standing  `json:"standing"`
	Range      *quantity.Band `json:"range,omitzero"`
	Grade      care.Grade     `json:"grade,omitzero"`
	Agreement  care.Agreement `json:"agreement,omitzero"`
	Sources    int            `json:"independent_sources,omitzero"`
	SourceKeys []string       `json:"source_keys,omitzero"`
	About      care.About     `json:"about,omitzero"`
	FromStage  care.Stage     `json:"from_stage,omitzero"`
	Notes      []string       `json:"notes,omitzero"`

	Written *quantity.Written `json:"-"` // where it is kept with the catalogue
}

// Substrate is what to put on the floor and how deep.
type Substrate struct {
	Kind  string `json:"kind"`
	Basis string `json:"basis"`
	Depth Target `json:"depth"`
	// RuleDepth is the depth that a published rule asks for, where it is more.
	RuleDepth quantity.Length `json:"rule_depth,omitzero"`
	Burrow    string          `json:"natural_burrow,omitzero"` // informs the digging offered; not the depth
}

// Climbing says how far the animal lives off the ground: 0 never to 3 always.
type Climbing struct {
	Need  int    `json:"need"`
	Text  string `json:"text"`
	Basis string `json:"basis"`
}

// Zone is a part of the enclosure with a job: its share of the floor and its targets.
type Zone struct {
	Code       string            `json:"code"`
	Name       string            `json:"name"`
	FloorShare quantity.Fraction `json:"floor_share,omitzero"`
	Area       quantity.Area     `json:"area,omitzero"`
	Targets    []Target          `json:"targets,omitzero"`
	Basis      string            `json:"basis"`
	Note       string            `json:"note,omitzero"`
}

// Citation names a source in an answer.
type Citation struct {
	Key       string          `json:"key"`
	Title     string          `json:"title"`
	Publisher string          `json:"publisher,omitzero"`
	Year      string          `json:"year,omitzero"`
	Kind      care.SourceKind `json:"kind"`
	// ReadHow says how much of it was read; "not read" marks recalled figures.
	ReadHow string `json:"read_how"`

	Written *quantity.Written `json:"-"`
}

// keySet holds source keys, sorted, once each.
type keySet []string

func (k *keySet) add(keys ...string) {
	for _, key := range keys {
		if i, held := slices.BinarySearch(*k, key); !held {
			*k = slices.Insert(*k, i, key)
		}
	}
}

// cite lists the sources of the keys given, sorted, once each.
func cite(c *care.Catalogue, keys []string) []Citation {
	slices.Sort(keys)
	keys = slices.Compact(keys)
	out := make([]Citation, 0, len(keys))
	all := care.Kept(c, citationsKey{}, func() map[string]Citation { return citations(c) })
	for _, key := range keys {
		if s, ok := all[key]; ok {
			out = append(out, s)
		}
	}
	return out
}

type citationsKey struct{}

// citations are those of every source, by key.
func citations(c *care.Catalogue) map[string]Citation {
	out := map[string]Citation{}
	for _, s := range c.Sources() {
		out[s.Key] = Citation{s.Key, s.Title, s.Publisher, s.Year, s.Kind, s.ReadHow, &quantity.Written{}}
	}
	return out
}

// keys gathers the source keys behind the figures of a requirement; those of its
// targets are given.
func (r *Requirement) keys(targets []string) keySet {
	keys := append(make(keySet, 0, len(targets)+16), targets...)
	spaces := [3]*Space{&r.Advised, r.Laboratory}
	if r.LowestLawful != nil {
		spaces[2] = &r.LowestLawful.Space
	}
	for _, s := range spaces {
		if s == nil {
			continue
		}
		for _, g := range s.Governed {
			keys.add(g.Source)
		}
	}
	for i := range r.Rules {
		if r.Rules[i].Figures != nil {
			keys.add(r.Rules[i].Source)
		}
	}
	return keys
}

const ownBasis = "common practice, no source"

// Require answers what the animals need. The error is an Invalid that lists every bad field.
func Require(c *care.Catalogue, q Question) (*Requirement, error) {
	var p problems
	s := p.species(c, q.Species)
	p.jurisdiction(c, q.Jurisdiction)
	g := p.animals(c, s, q.Animals)
	if len(p.bad) > 0 {
		return nil, p.bad
	}
	r := require(c, g, q.Jurisdiction)
	r.Warnings = p.warnings
	if g.youngest != care.Adult {
		var none problems
		r.Adult = require(c, none.animals(c, s, []Animal{{Count: g.count, Stage: care.Adult}}), q.Jurisdiction)
	}
	return r, nil
}

func require(c *care.Catalogue, g group, jurisdiction string) *Requirement {
	s := g.species
	r := &Requirement{Species: Ref(s), Animals: g.sizes, Catalogue: c.Revision, Engine: EngineVersion}
	answer := space.Answers(c.RulesFor(s.ID), g.most.Body, g.count, jurisdiction)
	p := profileOf(c, s, g.youngest)
	r.Targets = p.wanted
	r.Substrate = substrate(c, g, answer.Advised.Substrate)
	r.Climbing = climbing(s)
	r.Advised = advised(c, g, answer, r.Substrate)
	if answer.Lawful != nil {
		r.LowestLawful = lawfulSpace(c, g, answer.Lawful)
	}
	r.Laboratory = laboratory(c, g, answer)
	r.Rules = ruleAnswers(answer.Rules, p.rules)
	r.Zones = zones(c, g, r.Advised)
	r.Cautions = cautions(s, jurisdiction)
	r.Sources = cite(c, r.keys(p.wantedKeys))
	return r
}

// TargetOf gives a working range in its wire form, with notes on what it rests on.
// What it points to is kept with the catalogue and not to be changed.
func TargetOf(c *care.Catalogue, s *care.Species, code care.Code, stage care.Stage) Target {
	if t := profileOf(c, s, stage).target(code); t != nil {
		return *t
	}
	return targetOf(c, s, code, stage)
}

func targetOf(c *care.Catalogue, s *care.Species, code care.Code, stage care.Stage) Target {
	w := c.Range(s.ID, code, stage)
	p := care.ParameterOf(code)
	t := Target{Parameter: code, Name: p.Name, Standing: w.Standing}
	switch w.Standing {
	case care.NotKnown:
		if day, ok := photoperiod(s, p); ok {
			return day
		}
		t.Notes = []string{"not known: a published figure about this species would settle it"}
		return t
	case care.NotApplicable:
		return t
	}
	t.Range = &quantity.Band{Low: w.Low, High: w.High, Unit: w.Unit}
	t.Grade, t.Agreement, t.Sources, t.SourceKeys, t.About, t.FromStage = w.Grade, w.Agreement, w.Sources, w.SourceKeys(), w.About, w.From
	if w.Recalled() {
		t.Notes = append(t.Notes, recalledNote)
	}
	if w.Agreement == care.Conflict {
		t.Notes = append(t.Notes, "the sources conflict; the range spans them all")
	}
	if w.About != care.AboutSpecies {
		t.Notes = append(t.Notes, map[care.About]string{
			care.AboutGenus:   "the figure is about the genus, not the species",
			care.AboutFamily:  "the figure is about the family, not the species",
			care.AboutGroup:   "the figure is about a group of animals, not the species",
			care.AboutGeneral: "a general rule of thumb, not a figure about this species",
		}[w.About])
	}
	if w.Indirect {
		t.Notes = append(t.Notes, "rests on figures about something near this parameter")
	}
	if w.From != stage && w.From != care.AnyStage {
		t.Notes = append(t.Notes, "no figure for this life stage; taken from "+string(w.From)+" animals")
	}
	if w.Widened {
		t.Notes = append(t.Notes, "a single figure, widened by the tolerance of the parameter")
	}
	if w.Derived != "" {
		t.Notes = append(t.Notes, w.Derived)
	}
	return t
}

// recalledNote marks every range that rests on memory alone.
const recalledNote = "recalled: rests on figures from memory, not read in a publication"

// maxDaySwing is how far a month's light may stand from the year's mean, in hours:
// it keeps days within about 10 to 14 h, whatever the latitude. Common practice,
// no source.
const maxDaySwing = 2.0

// scheduleYear is any common year: day lengths of other years differ by a minute.
const scheduleYear = 2025

// schedules holds the light schedule of each whole degree of latitude from 90° S,
// worked out on first use, for a year of day lengths is too dear for every request.
var schedules = func() (out [181]func() [12]light.Photoperiod) {
	for i := range out {
		out[i] = sync.OnceValue(func() [12]light.Photoperiod {
			months, err := light.Schedule(float64(i-90), scheduleYear, maxDaySwing)
			if err != nil {
				panic(err) // the bounds above are within those of Schedule
			}
			return months
		})
	}
	return out
}()

// photoperiod derives the day length of summer or winter from the native latitude,
// to the whole degree, for a species without a claim: that of the longest or the
// shortest month, its swing about the year's mean kept within maxDaySwing, give or
// take the tolerance of the parameter. ok is false for another parameter, or where
// no latitude is held.
func photoperiod(s *care.Species, p *care.Parameter) (t Target, ok bool) {
	lat := s.Nature.Latitude
	if p.Code != care.PhotoperiodSummer && p.Code != care.PhotoperiodWinter || lat == nil || math.Abs(*lat) > 90 {
		return Target{}, false
	}
	months := schedules[int(math.Round(*lat))+90]()
	month, which := months[0], "longest"
	if p.Code == care.PhotoperiodWinter {
		which = "shortest"
	}
	for _, k := range months[1:] {
		if (which == "longest") == (k.NativeHours > month.NativeHours) {
			month = k
		}
	}
	low, high := max(month.LightHours-p.Tolerance, p.Least), min(month.LightHours+p.Tolerance, p.Most)
	t = Target{Parameter: p.Code, Name: p.Name, Standing: care.Known, Range: &quantity.Band{Low: &low, High: &high, Unit: p.Unit},
		Grade: care.Thin, SourceKeys: s.Nature.Sources, About: care.AboutSpecies}
	if s.Nature.Access == care.Recalled {
		t.Grade = care.RecalledOnly
		t.Notes = append(t.Notes, recalledNote)
	}
	t.Notes = append(t.Notes, fmt.Sprintf("derived: no figure is held; from the middle latitude of the native range (%s), whose %s month has %.1f h of day, kept within %g h of the year's mean (common practice, no source) and widened by %g h",
		latitude(*lat), which, month.NativeHours, maxDaySwing, p.Tolerance))
	return t, true
}

func latitude(deg float64) string {
	if deg < 0 {
		return fmt.Sprintf("%.0f° S", -deg)
	}
	return fmt.Sprintf("%.0f° N", deg)
}

// substrate describes the ground. The kind follows from how the animal digs and
// how moist its air is; common practice, no source.
func substrate(c *care.Catalogue, g group, ruleDepth quantity.Length) Substrate {
	s := g.species
	out := Substrate{Basis: ownBasis, Depth: TargetOf(c, s, care.SubstrateDepth, g.youngest), RuleDepth: ruleDepth, Burrow: s.Nature.Burrow}
	day := c.Range(s.ID, care.HumidityDay, g.youngest)
	mid, humid := day.Midpoint()
	switch {
	case s.Nature.Habit == care.Aquatic:
		out.Kind = "under water: bare, or sand or smooth stones too large to swallow"
		if s.Nature.Digs >= 2 {
			out.Kind = "under water: fine soft sand to dig into"
		}
	case humid && mid >= 70:
		out.Kind = "soil that holds moisture, with leaf litter, over drainage"
	case s.Nature.Digs >= 2 && humid && mid < 45:
		out.Kind = "sandy loam, packed so that a burrow holds, dry on top and slightly moist below"
	case s.Nature.Digs >= 2:
		out.Kind = "soil and sand mixed, packed so that a burrow holds, moist below"
	case humid && mid < 45:
		out.Kind = "dry soil, sand and stone mixed"
	case !humid:
		out.Kind = "not known: no humidity range is held for this species"
	default:
		out.Kind = "soil, bark or leaf litter that stays just moist below"
	}
	return out
}

func climbing(s *care.Species) Climbing {
	text := [...]string{
		"no need to climb; keep falls low",
		"low climbs: logs and rocks it can cross",
		"climbs well: branches or rock faces over much of the height",
		"lives off the ground: perches and branches through the whole height, the highest below the lamps' reach",
	}[min(max(s.Nature.Climbs, 0), 3)]
	return Climbing{Need: s.Nature.Climbs, Text: text, Basis: "the compiler's judgement from natural history (" + string(s.Nature.Access) + ")"}
}

// Heights that are ours: common practice, no source.
const (
	drainageDepth    = quantity.Length(0.05) // under soil kept moist
	fixtureClearance = quantity.Length(0.15) // for a lamp, its holder and guard hung inside
)

// advised turns the combined rules into a space, widened where what must be
// placed inside needs more floor.
func advised(c *care.Catalogue, g group, a space.Answer, ground Substrate) Space {
	out := spaceOf(a.Advised)
	if depthFromWider(c, g, a) {
		out.Water.Depth = 0
		out.Governed = slices.DeleteFunc(out.Governed, func(x Governed) bool { return x.Dimension == string(space.DimWaterDepth) })
	}
	out.ContentsFloor = fitArea(c, g)
	switch {
	case !a.Known:
		out.Standing = care.NotKnown
		out.Notes = append(out.Notes, "no published space rule that could govern is held for these animals; a rule or study about this species would settle it. The floor for the contents is a lower bound of ours, not advice")
	case out.ContentsFloor > out.FloorArea && out.Length > 0:
		k := quantity.Length(math.Sqrt(float64(out.Length / out.Width)))
		side := quantity.Length(math.Sqrt(float64(out.ContentsFloor)))
		out.Length, out.Width, out.FloorArea = side*k, side/k, out.ContentsFloor
		out.Governed = append(withoutFloor(out.Governed), Governed{Dimension: string(space.DimArea), Own: "what must be placed inside, with three fifths of the floor left clear (" + ownBasis + ")"})
	}
	if a.Advised.OwnProportion && out.Length > 0 {
		out.Notes = append(out.Notes, "no rule gives the shape of the floor; two to one is "+ownBasis)
	}
	for _, gov := range a.Advised.Governs {
		if gov.Earlier {
			out.Notes = append(out.Notes, "rule "+gov.Rule.ID+" ends below this length; its greatest figure is kept, so that a longer animal is never advised less (ours)")
		}
	}
	for _, l := range a.Rules {
		if l.Governs && l.OwnExtra {
			out.Notes = append(out.Notes, "rule "+l.Rule.ID+" does not say what further animals need; its figure was repeated for each further group of the size it covers (ours)")
		}
		if l.Governs && l.Rule.Height+l.Rule.HeightFactor > 0 {
			out.Notes = append(out.Notes, "rule "+l.Rule.ID+" does not say which height it means; it is taken as usable height")
		}
	}
	if a.Known {
		length, height, notes := physicalNeeds(c, g, out)
		out.widen(length, height, notes)
	}
	if out.UsableHeight > 0 {
		out.Structure = structure(c, g, out, ground)
	}
	return out
}

// depthFromWider reports whether the rules' water depth comes from a rule for a
// whole group though figures about the species itself are held: those come first.
func depthFromWider(c *care.Catalogue, g group, a space.Answer) bool {
	w := c.Range(g.species.ID, care.WaterDepth, g.youngest)
	if a.Advised.WaterDepth == 0 || w.Standing != care.Known || w.About != care.AboutSpecies {
		return false
	}
	for _, gov := range a.Advised.Governs {
		if gov.Dimension == space.DimWaterDepth {
			return gov.Rule.Scope.Match == care.Wide || gov.Rule.Scope.Match == care.Assigned
		}
	}
	return false
}

func withoutFloor(in []Governed) (out []Governed) {
	for _, g := range in {
		switch space.Dimension(g.Dimension) {
		case space.DimLength, space.DimWidth, space.DimArea, space.DimPerimeter:
		default:
			out = append(out, g)
		}
	}
	return out
}

// structure adds up the height to build.
func structure(c *care.Catalogue, g group, s Space, ground Substrate) *Structure {
	out := &Structure{Basis: "usable height as governed; substrate at the low end of its working range or the rule's depth; drainage and fixture clearance are " + ownBasis}
	if ground.Depth.Range != nil && ground.Depth.Range.Low != nil {
		out.Substrate = quantity.Centimetres(*ground.Depth.Range.Low)
	}
	out.Substrate = max(out.Substrate, ground.RuleDepth)
	if mid, ok := c.Range(g.species.ID, care.HumidityDay, g.youngest).Midpoint(); ok && mid >= 70 && g.species.Nature.Habit != care.Aquatic {
		out.Drainage = drainageDepth
	}
	if g.species.Nature.Basks > 0 {
		out.FixtureClearance = fixtureClearance
	}
	out.InsideHeight = s.UsableHeight + out.Substrate + out.Drainage + out.FixtureClearance
	return out
}

// fitArea is the floor that the contents need: for each animal a warm, a cool and
// (where kept humid) a humid retreat, a hot spot it fits on whole, and a dish or
// basin; these may cover two fifths of the floor. Common practice, no source.
func fitArea(c *care.Catalogue, g group) quantity.Area {
	one := g.footprint()
	pieces := 2*retreatShare + 0.5
	if c.Range(g.species.ID, care.HotSpot, g.youngest).Standing == care.Known {
		pieces += hotSpotShare
	}
	if c.Range(g.species.ID, care.HumidRetreat, g.youngest).Standing == care.Known {
		pieces += retreatShare
	}
	return quantity.Area(float64(g.count)*pieces) * one / 0.4
}

// Sizes of furnishings against the floor one animal covers. Common practice, no
// source, but for the hot spot: a patch at least as large as the whole animal
// (Baines and others 2016, recalled).
const (
	retreatShare = 1.5
	hotSpotShare = 1.5
)

// spaceOf turns a footprint into its wire form.
func spaceOf(f space.Footprint) Space {
	out := Space{Standing: care.Known, Length: f.Length, Width: f.Width, FloorArea: f.Area, UsableHeight: f.Height}
	if f.WaterArea+quantity.Area(f.WaterDepth+f.WaterDepthMax) > 0 || f.WaterVolume > 0 {
		out.Water = &WaterSpace{Area: f.WaterArea, Depth: f.WaterDepth, MaxDepth: f.WaterDepthMax, Volume: f.WaterVolume, Land: f.Area * quantity.Area(f.LandShare)}
	}
	for _, g := range f.Governs {
		out.Governed = append(out.Governed, Governed{Dimension: string(g.Dimension), Rule: g.Rule.ID, Source: g.Rule.Source})
	}
	return out
}

func lawfulSpace(c *care.Catalogue, g group, l *space.Lawful) *Lawful {
	out := &Lawful{Jurisdiction: l.Jurisdiction, Why: l.Why}
	if l.Standing == care.Known {
		out.Space = spaceOf(l.Footprint)
	}
	out.Standing = l.Standing
	return out
}

// laboratory combines the laboratory floors, or is nil where there are none.
func laboratory(c *care.Catalogue, g group, a space.Answer) *Space {
	var outcomes []space.Outcome
	for _, l := range a.Rules {
		if l.Rule.Status == care.Laboratory && l.Reason == space.Evaluated && !l.Earlier && space.Aspects(l.Rule) != 0 {
			outcomes = append(outcomes, l.Outcome)
		}
	}
	if len(outcomes) == 0 {
		return nil
	}
	out := spaceOf(space.Combine(outcomes))
	out.Notes = []string{"a floor for animals in laboratories; far below advice for keeping"}
	return &out
}

type headsKey struct{}

// heads are what is answered of each rule whatever the animals, in the order given: all
// of it where the rule gives no figures.
func heads(c *care.Catalogue, rules []*care.Rule) []*RuleAnswer {
	all := care.Kept(c, headsKey{}, func() map[*care.Rule]*RuleAnswer {
		out := map[*care.Rule]*RuleAnswer{}
		for _, r := range c.Rules() {
			a := &RuleAnswer{ID: r.ID, Source: r.Source, Jurisdiction: r.Jurisdiction, Status: r.Status, Access: r.Access,
				Match: r.Scope.Match, Topic: r.Topic, Note: r.Note}
			if reason := space.Silent(r); reason != space.Evaluated {
				a.Why, a.Written = string(reason), &quantity.Written{}
			}
			out[r] = a
		}
		return out
	})
	out := make([]*RuleAnswer, len(rules))
	for i, r := range rules {
		out[i] = all[r]
	}
	return out
}

// ruleAnswers words what each rule comes to, over the heads of the same rules.
func ruleAnswers(listed []space.Listed, heads []*RuleAnswer) []RuleAnswer {
	if len(listed) == 0 {
		return nil
	}
	out, n := make([]RuleAnswer, len(listed)), 0
	for i := range listed {
		out[i] = *heads[i]
		if listed[i].Reason == space.Evaluated {
			n++
		}
	}
	figures := make([]RuleFigures, 0, n)
	for i := range listed {
		l := &listed[i]
		if out[i].Written != nil {
			continue
		}
		if l.Reason != space.Evaluated {
			out[i].Why = string(l.Reason)
			continue
		}
		k := &l.Constraint
		figures = append(figures, RuleFigures{Length: k.Length, Width: k.Width, Height: k.Height, FloorArea: k.Area, Perimeter: k.Perimeter, Volume: k.Volume,
			WaterArea: k.WaterArea, WaterDepth: k.WaterDepth, WaterVolume: k.WaterVolume, Substrate: k.Substrate, OwnExtra: l.OwnExtra, Outgrown: l.Earlier})
		out[i].Governs, out[i].Why, out[i].Figures = l.Governs, l.WhyNot, &figures[len(figures)-1]
	}
	return out
}
