package sizing

import (
	"fmt"
	"slices"
	"strings"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing/score"
	"denwright/sizing/space"
)

// profile is what holds for every animal of a species at a stage, however many there
// are, however long they are and whatever they live in. It is worked out once for a
// catalogue and kept with it. Nothing in it is to be changed.
type profile struct {
	// wanted are the targets of a Requirement, in the order of care.Parameters, and
	// wantedKeys their sources, sorted.
	wanted     []Target
	wantedKeys []string
	rules      []*RuleAnswer // see heads
	// criteria are those that hang on neither size nor rules but for a depth that a
	// rule may raise, in the order compared in.
	criteria []score.Criterion
	animal   score.Animal // without number, length and company
	zones    zoneTargets
	// uvDistance is from the back of an adult to the tube; see there.
	uvDistance float64
	err        error // of building a criterion
}

type profileKey struct {
	species *care.Species
	stage   care.Stage
}

func profileOf(c *care.Catalogue, s *care.Species, stage care.Stage) *profile {
	return care.Kept(c, profileKey{s, stage}, func() *profile { return newProfile(c, s, stage) })
}

func newProfile(c *care.Catalogue, s *care.Species, stage care.Stage) *profile {
	p := &profile{}
	for i := range care.Parameters {
		k := &care.Parameters[i]
		switch {
		case k.Sides != care.Context, k.Code == care.UVZone, k.Code == care.PhotoperiodSummer, k.Code == care.PhotoperiodWinter,
			k.Code == care.WinterTemp, k.Code == care.WinterWeeks:
			p.wanted = append(p.wanted, targetOf(c, s, k.Code, stage))
			p.wantedKeys = append(p.wantedKeys, p.wanted[len(p.wanted)-1].SourceKeys...)
		}
	}
	for i := range p.wanted {
		p.wanted[i].Written = &quantity.Written{}
	}
	p.rules = heads(c, c.RulesFor(s.ID))
	slices.Sort(p.wantedKeys)
	p.wanted, p.wantedKeys = slices.Clip(p.wanted), slices.Clip(slices.Compact(p.wantedKeys))
	p.criteria, p.err = p.compared(c, s, stage)
	p.animal, p.uvDistance = animalOf(c, s, stage), uvDistance(c, s)
	p.zones = zoneTargets{
		hotSpot:      p.some(care.HotSpot, care.UVMax),
		warmEnd:      p.some(care.WarmAir, care.UVMean, care.HumidityDay),
		coolEnd:      p.some(care.CoolAir, care.HumidityDay, care.NightAir, care.HumidityNight),
		humidRetreat: p.some(care.HumidRetreat),
		water:        p.some(care.WaterTemp, care.WaterDepth),
		digging:      p.some(care.SubstrateDepth),
	}
	return p
}

// target is one of those wanted; nil for another parameter.
func (p *profile) target(code care.Code) *Target {
	for i := range p.wanted {
		if p.wanted[i].Parameter == code {
			return &p.wanted[i]
		}
	}
	return nil
}

// zoneTargets are the targets of each zone.
type zoneTargets struct{ hotSpot, warmEnd, coolEnd, humidRetreat, water, digging []Target }

// some are the targets that apply, of those named.
func (p *profile) some(codes ...care.Code) (out []Target) {
	for _, code := range codes {
		if t := p.target(code); t.Standing != care.NotApplicable {
			out = append(out, *t)
		}
	}
	return out
}

// compared are the criteria that published ranges and habits of the species give.
func (p *profile) compared(c *care.Catalogue, s *care.Species, stage care.Stage) (out []score.Criterion, err error) {
	codes := score.Codes()
	for i := range care.Parameters {
		k := &care.Parameters[i]
		w := c.Range(s.ID, k.Code, stage)
		if k.Sides == care.Context || w.Standing == care.NotApplicable || !slices.Contains(codes, string(k.Code)) {
			continue
		}
		t := score.Target{Low: w.Low, High: w.High}
		if k.Code == care.UVMax && t.High != nil && *t.High > score.LampUVCeiling {
			t.High = new(score.LampUVCeiling) // no lamp is to exceed it, whatever the sun may do
		}
		made, err := score.New(string(k.Code), t, t)
		if err != nil {
			return nil, fmt.Errorf("criterion %s: %w", k.Code, err)
		}
		made.Grade, made.Agreement, made.Sources = w.Grade, w.Agreement, w.SourceKeys()
		made.Note = strings.Join(p.target(k.Code).Notes, "; ")
		out = append(out, made)
	}
	for _, y := range yesNo {
		if !y.applies(c, s, stage) {
			continue
		}
		made, err := score.New(y.code, score.From(1), score.From(1))
		if err != nil {
			return nil, fmt.Errorf("criterion %s: %w", y.code, err)
		}
		made.Note = y.basis
		out = append(out, made)
	}
	return out, nil
}

// wants is what a group of animals needs of an enclosure, before any is known.
type wants struct {
	c     *care.Catalogue
	group group
	// least and most are what the rules come to for the least and the most demanding
	// the animals may be, without the list of rules; between is the same where a size
	// class ends or begins between them.
	least, most  space.Answer
	between      []space.Answer
	jurisdiction string
}

func wantsOf(c *care.Catalogue, g group, jurisdiction string) *wants {
	w := &wants{c: c, group: g, jurisdiction: jurisdiction}
	rules := c.RulesFor(g.species.ID)
	w.least = space.Sizes(rules, g.least.Body, g.count, jurisdiction)
	w.most = w.least
	if g.least.Body != g.most.Body {
		w.most = space.Sizes(rules, g.most.Body, g.count, jurisdiction)
		for _, body := range space.Turns(rules, g.least.Body, g.most.Body) {
			w.between = append(w.between, space.Sizes(rules, body, g.count, jurisdiction))
		}
	}
	return w
}

// advised and legal are the footprints in every scenario: the least demanding, the
// most demanding, those between.
func (w *wants) advised() []*space.Footprint {
	out := []*space.Footprint{&w.least.Advised, &w.most.Advised}
	for i := range w.between {
		out = append(out, &w.between[i].Advised)
	}
	return out
}

func (w *wants) legal() []*space.Footprint {
	out := []*space.Footprint{&w.least.Lawful.Footprint, &w.most.Lawful.Footprint}
	for i := range w.between {
		if w.between[i].Lawful.Standing == care.Known {
			out = append(out, &w.between[i].Lawful.Footprint)
		}
	}
	return out
}

// criteria are what the enclosure is compared in. Sizes are given in two scenarios,
// the least and the most demanding that the animals' lengths allow.
func (w *wants) criteria() ([]score.Criterion, error) {
	p := profileOf(w.c, w.group.species, w.group.youngest)
	if p.err != nil {
		return nil, p.err
	}
	ofSize, err := sizeCriteria(w.advised(), true)
	if err != nil {
		return nil, err
	}
	out := slices.Concat(ofSize, p.criteria)
	// A rule's depth is at least as binding as a claim's.
	for i := len(ofSize); i < len(out); i++ {
		k := &out[i]
		depth := w.most.Advised.Substrate
		switch care.Code(k.Code) {
		case care.WaterDepth:
			if depth = w.most.Advised.WaterDepth; depthFromWider(w.c, w.group, w.most) {
				depth = 0
			}
		case care.SubstrateDepth:
		default:
			continue
		}
		if depth == 0 {
			continue
		}
		t := atLeast(k.Least, depth)
		raised, err := score.New(k.Code, t, t)
		if err != nil {
			return nil, fmt.Errorf("criterion %s: %w", k.Code, err)
		}
		raised.Grade, raised.Agreement, raised.Sources, raised.Note = k.Grade, k.Agreement, k.Sources, k.Note
		*k = raised
	}
	return out, nil
}

// animalOf is what the hazard rules need to know of a species at a stage.
func animalOf(c *care.Catalogue, s *care.Species, stage care.Stage) score.Animal {
	n := s.Nature
	a := score.Animal{Group: s.Group, Habit: n.Habit, Climbs: n.Climbs, Digs: n.Digs, Swims: n.Swims, Venomous: s.Venomous}
	for _, h := range s.Hazards {
		a.Constrictor = a.Constrictor || strings.Contains(strings.ToLower(h), "constrict")
	}
	a.Escapes = s.Group == care.Snake || s.Family == "Varanidae" || s.Family == "Teiidae"
	a.CriticalMax = c.Range(s.ID, care.CriticalMax, care.Adult).Low
	a.CoolHigh = c.Range(s.ID, care.CoolAir, stage).High
	a.WaterHigh = c.Range(s.ID, care.WaterTemp, stage).High
	a.UVHigh = c.Range(s.ID, care.UVMax, stage).High
	a.HumidityLow = c.Range(s.ID, care.HumidityDay, stage).Low
	return a
}

// facts are what the hazard rules need to know of the animals.
func facts(c *care.Catalogue, g group) score.Animal {
	a := profileOf(c, g.species, g.youngest).animal
	a.Count = g.count
	low, high := bodyFor(g.least, g.species.Group), bodyFor(g.most, g.species.Group)
	if low > 0 && high > 0 {
		a.Length = score.Within(low.Centimetres(), high.Centimetres())
	}
	a.Fights, a.MayFight = fights(g.species, g)
	return a
}
