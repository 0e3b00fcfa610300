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

// AssessmentQuestion asks whether an enclosure at hand is good enough.
type AssessmentQuestion struct {
	Question
	Setup score.Setup `json:"setup"`
}

// Assessment is the answer: a finding per criterion, hazards, a verdict, a score
// from worst to best case, what was not known, and the changes that help most.
type Assessment struct {
	Species SpeciesRef   `json:"species"`
	Animals []AnimalSize `json:"animals"`
	score.Result
	Changes  []score.Change `json:"changes"`
	Warnings []Warning      `json:"warnings,omitzero"`
	Cautions []string       `json:"cautions"`
	// Lawful says how the enclosure stands to the lowest lawful size, where a
	// jurisdiction was named.
	Lawful *LawfulFinding `json:"lawful,omitzero"`
	// Sources are the publications behind the findings, by key.
	Sources   []Citation `json:"sources"`
	Catalogue string     `json:"catalogue_revision"`
	Engine    string     `json:"engine_version"`
}

// LawfulFinding compares the inside size with the lowest lawful one.
type LawfulFinding struct {
	Jurisdiction string `json:"jurisdiction"`
	// Standing: "met", "not met" or "not known".
	Standing string   `json:"standing"`
	Why      []string `json:"why,omitzero"`
	Rules    []string `json:"rules,omitzero"`
}

// Assess answers whether an enclosure is good enough. The error is an Invalid that
// lists every bad field.
func Assess(c *care.Catalogue, q AssessmentQuestion) (*Assessment, error) { return assess(c, q, true) }

// AssessDoable is Assess without the changes that only find something out; Open still
// says what there is.
func AssessDoable(c *care.Catalogue, q AssessmentQuestion) (*Assessment, error) {
	return assess(c, q, false)
}

func assess(c *care.Catalogue, q AssessmentQuestion, measuring bool) (*Assessment, error) {
	var p problems
	s := p.species(c, q.Species)
	p.jurisdiction(c, q.Jurisdiction)
	g := p.animals(c, s, q.Animals)
	p.setup(&q.Setup)
	if len(p.bad) > 0 {
		return nil, p.bad
	}
	p.plausible(c, g, &q.Setup)
	n, err := neededBy(c, g, q.Jurisdiction)
	if err != nil {
		return nil, err
	}
	result, changes, err := n.Assess(q.Setup, measuring)
	if err != nil {
		return nil, fmt.Errorf("score: %w", err)
	}
	var lawful *LawfulFinding
	if n.law != nil {
		lawful = n.law.of(score.Read(q.Setup))
	}
	var keys keySet
	for i := range result.Findings {
		keys.add(result.Findings[i].Sources...)
	}
	return &Assessment{
		Species: Ref(s), Animals: g.sizes, Result: result, Changes: changes, Warnings: p.warnings, Cautions: cautions(s, q.Jurisdiction),
		Lawful: lawful, Sources: cite(c, keys), Catalogue: c.Revision, Engine: EngineVersion,
	}, nil
}

// atLeast raises a target in cm to a depth that a rule asks for.
func atLeast(t score.Target, depth quantity.Length) score.Target {
	d := depth.Centimetres()
	if d == 0 {
		return t
	}
	if t.Low == nil || *t.Low < d {
		t.Low = &d
	}
	if t.High != nil && *t.High < d {
		t.High = &d
	}
	return t
}

// sizeCriteria are the criteria of space in the scenarios given: what the animals may
// be asks for at least the least and at most the most of what the rules come to in
// them. A scenario in which no rule speaks of a size asks for none. With missing, floor
// and height are listed as not known where no rule speaks.
func sizeCriteria(scenarios []*space.Footprint, missing bool) ([]score.Criterion, error) {
	out := make([]score.Criterion, 0, len(sizes))
	for i := range sizes {
		z := &sizes[i]
		a, b, silent := 0.0, 0.0, false
		for _, f := range scenarios {
			switch x := z.of(f); {
			case x == 0:
				silent = true
			case a == 0:
				a, b = x, x
			default:
				a, b = min(a, x), max(b, x)
			}
		}
		if a == 0 && !(z.always && missing) {
			continue
		}
		target := func(x float64) score.Target {
			if x == 0 {
				return score.Target{}
			}
			return score.From(x)
		}
		k, err := score.New(z.code, target(a), target(b))
		if err != nil {
			return nil, fmt.Errorf("criterion %s: %w", z.code, err)
		}
		for _, f := range scenarios {
			for i := range f.Binds {
				if gov := &f.Binds[i]; slices.Contains(z.governed, gov.Dimension) && !slices.Contains(k.Sources, gov.Rule.Source) {
					k.Sources = append(k.Sources, gov.Rule.Source)
				}
			}
		}
		switch {
		case a == 0:
			k.Essential = z.code == "floor_area"
			k.Note = "no published rule that could govern is held"
		case a != b || silent:
			k.HangsOn, k.Note = "the length of the animal", "by published rule"
		default:
			k.Note = "by published rule"
		}
		out = append(out, k)
	}
	return out, nil
}

// sizes are the criteria of space and how each is read off the rules.
var sizes = []struct {
	code     string
	always   bool // reported as not known where no rule speaks
	governed []space.Dimension
	of       func(*space.Footprint) float64
}{
	{"floor_length", false, []space.Dimension{space.DimLength}, func(f *space.Footprint) float64 { return f.Binding.Length.Centimetres() }},
	{"floor_width", false, []space.Dimension{space.DimWidth}, func(f *space.Footprint) float64 { return f.Binding.Width.Centimetres() }},
	{"floor_area", true, []space.Dimension{space.DimArea}, func(f *space.Footprint) float64 { return float64(f.Binding.Area) }},
	{"floor_perimeter", false, []space.Dimension{space.DimPerimeter}, func(f *space.Footprint) float64 { return f.Binding.Perimeter.Centimetres() }},
	{"inside_volume", false, []space.Dimension{space.DimVolume}, func(f *space.Footprint) float64 { return f.Binding.Volume.Litres() }},
	{"usable_height", true, []space.Dimension{space.DimHeight}, func(f *space.Footprint) float64 { return f.Binding.Height.Centimetres() }},
	{"water_area", false, []space.Dimension{space.DimWaterArea}, func(f *space.Footprint) float64 { return float64(f.WaterArea) }},
	{"water_volume", false, []space.Dimension{space.DimWaterVolume}, func(f *space.Footprint) float64 { return f.WaterVolume.Litres() }},
}

// yesNo are the criteria that are there or not, and to whom each applies.
var yesNo = []struct {
	code, basis string
	applies     func(*care.Catalogue, *care.Species, care.Stage) bool
}{
	{"uv_refuge", "recalled", func(c *care.Catalogue, s *care.Species, stage care.Stage) bool {
		return c.Range(s.ID, care.UVMax, stage).Standing != care.NotApplicable
	}},
	{"retreat_warm", ownBasis, onLand},
	{"retreat_cool", ownBasis, func(*care.Catalogue, *care.Species, care.Stage) bool { return true }},
	{"humid_retreat_present", ownBasis, func(c *care.Catalogue, s *care.Species, stage care.Stage) bool {
		return c.Range(s.ID, care.HumidRetreat, stage).Standing == care.Known
	}},
	{"climbing", ownBasis, func(_ *care.Catalogue, s *care.Species, _ care.Stage) bool { return s.Nature.Climbs >= 2 }},
	{"water_dish", ownBasis, func(_ *care.Catalogue, s *care.Species, _ care.Stage) bool {
		return s.Nature.Habit != care.Aquatic && s.Nature.Swims < 3
	}},
	{"haul_out", ownBasis, func(c *care.Catalogue, s *care.Species, stage care.Stage) bool {
		return s.Group == care.Chelonian && s.Nature.Swims >= 2 && s.Nature.Basks >= 1
	}},
	{"ventilation", ownBasis, onLand},
	{"lid", ownBasis, func(_ *care.Catalogue, s *care.Species, _ care.Stage) bool {
		return s.Nature.Climbs >= 1 || s.Group == care.Snake
	}},
}

func onLand(c *care.Catalogue, s *care.Species, stage care.Stage) bool {
	return c.Range(s.ID, care.WarmAir, stage).Standing != care.NotApplicable
}

// fights tells from the sexes stated whether the animals of a species that fights
// are known to, or may: two males, two of any sex where both fight, or so many of
// unknown sex that two may be males.
func fights(s *care.Species, g group) (known, may bool) {
	if g.count < 2 || !strings.Contains(s.Nature.Sociality, "fight") {
		return false, false
	}
	if strings.Contains(s.Nature.Sociality, "females also") || strings.Contains(s.Nature.Sociality, "both sexes") {
		return true, true
	}
	females, males := 0, 0
	for _, a := range g.sizes {
		switch a.Sex {
		case "female":
			females += a.Count
		case "male":
			males += a.Count
		}
	}
	return males >= 2, g.count-females >= 2
}

func bodyFor(b bodyOf, g care.Group) quantity.Length {
	switch g {
	case care.Chelonian:
		return b.Shell
	case care.Amphibian:
		if b.SnoutVent > 0 {
			return b.SnoutVent
		}
	}
	return b.Total
}

// lawfulNeed is the lowest lawful size for these animals, before any setup is known.
type lawfulNeed struct {
	finding LawfulFinding // complete where nothing is known
	known   bool
	sizes   *score.Needs
}

// lawful works out the lowest lawful size for the largest the animals may be; nil
// without a jurisdiction.
func (w *wants) lawful() (*lawfulNeed, error) {
	if w.jurisdiction == "" {
		return nil, nil
	}
	l := &lawfulNeed{finding: LawfulFinding{Jurisdiction: w.jurisdiction, Standing: "not known"}}
	least, most := w.least.Lawful, w.most.Lawful
	if least.Standing != care.Known || most.Standing != care.Known {
		why := most.Why
		if why == "" {
			why = least.Why
		}
		l.finding.Why = []string{why}
		return l, nil
	}
	l.known = true
	for _, gov := range most.Footprint.Governs {
		if !slices.Contains(l.finding.Rules, gov.Rule.ID) {
			l.finding.Rules = append(l.finding.Rules, gov.Rule.ID)
		}
	}
	sizes, err := sizeCriteria(w.legal(), false)
	if err != nil {
		return nil, err
	}
	for _, depth := range []struct {
		code        care.Code
		least, most quantity.Length
	}{{care.WaterDepth, least.Footprint.WaterDepth, most.Footprint.WaterDepth}, {care.SubstrateDepth, least.Footprint.Substrate, most.Footprint.Substrate}} {
		if depth.least == 0 && depth.most == 0 {
			continue
		}
		k, err := score.New(string(depth.code), atLeast(score.Target{}, depth.least), atLeast(score.Target{}, depth.most))
		if err != nil {
			return nil, fmt.Errorf("criterion %s: %w", depth.code, err)
		}
		sizes = append(sizes, k)
	}
	if l.sizes, err = score.NewNeeds(sizes, score.Animal{}); err != nil {
		return nil, fmt.Errorf("lowest lawful size: %w", err)
	}
	return l, nil
}

// of compares a setup with the lowest lawful size. It says nothing about anything
// but the size.
func (l *lawfulNeed) of(r *score.Readings) *LawfulFinding {
	if l == nil {
		return nil
	}
	out := l.finding
	if !l.known {
		return &out
	}
	var short, unknown, hangs []string
	for _, f := range l.sizes.Findings(r) {
		switch {
		case f.Score == nil || f.Score.Worst == 1:
		case f.Score.Best < 1:
			short = append(short, f.Name)
		case f.Standing == score.NotMeasured:
			unknown = append(unknown, f.Name)
		default:
			hangs = append(hangs, f.Name)
		}
	}
	switch {
	case len(short) > 0:
		out.Standing, out.Why = "not met", []string{"less than is lawful: " + strings.Join(short, ", ")}
	case len(unknown)+len(hangs) == 0:
		out.Standing = "met"
	default:
		for _, u := range unknown {
			out.Why = append(out.Why, "not measured: "+u)
		}
		for _, h := range hangs {
			out.Why = append(out.Why, h+" hangs on the length of the animal or the depth of the substrate")
		}
	}
	return &out
}
