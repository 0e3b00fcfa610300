package space

import (
	"math"
	"slices"
	"strings"

	"denwright/care"
	"denwright/care/quantity"
)

// Footprint is a floor and a height that meet a set of constraints together.
// Height is usable height: from the substrate's surface to the lowest fixture.
type Footprint struct {
	Length, Width, Height quantity.Length
	Area                  quantity.Area
	WaterArea             quantity.Area
	WaterDepth            quantity.Length
	WaterDepthMax         quantity.Length
	WaterVolume           quantity.Volume
	LandShare             quantity.Fraction
	Substrate             quantity.Length
	Governs               []Governing
	// Binding is what the rules ask for by themselves, before a shape was chosen: a
	// floor of another shape is as good if it meets these.
	Binding Constraint
	// Binds says which rule sets each figure of Binding, and of the water.
	Binds []Governing
	// OwnProportion: no rule gave the shape of the floor, so two to one was taken.
	OwnProportion bool
}

// Dimension names what a rule governs.
type Dimension string

// The dimensions.
const (
	DimLength      Dimension = "length"
	DimWidth       Dimension = "width"
	DimHeight      Dimension = "height"
	DimArea        Dimension = "floor_area"
	DimPerimeter   Dimension = "perimeter"
	DimVolume      Dimension = "volume"
	DimWaterArea   Dimension = "water_area"
	DimWaterDepth  Dimension = "water_depth"
	DimWaterVolume Dimension = "water_volume"
	DimSubstrate   Dimension = "substrate_depth"
)

// Governing says which rule sets a dimension.
type Governing struct {
	Dimension Dimension
	Rule      *care.Rule // nil where Own says why
	Own       string
	Earlier   bool
}

// defaultProportion is the shape of a floor, length to width, where no rule gives
// one. Common practice, no source.
const defaultProportion = 2.0

// Combine finds the smallest footprint, in the shape of the governing rules, that
// meets all outcomes together: the longest of the long sides by the longest of
// the short ones, grown in proportion until floor area, perimeter and volume hold.
func Combine(outcomes []Outcome) Footprint {
	var p Footprint
	top := func(d Dimension, value func(*Constraint) float64) float64 {
		best := -1
		for i := range outcomes {
			if v := value(&outcomes[i].Constraint); v > 0 && (best < 0 || v > value(&outcomes[best].Constraint)*(1+epsilon)) {
				best = i
			}
		}
		if best < 0 {
			return 0
		}
		p.Governs = append(p.Governs, Governing{Dimension: d, Rule: outcomes[best].Rule, Earlier: outcomes[best].Earlier})
		return value(&outcomes[best].Constraint)
	}
	drop := func(d Dimension) {
		p.Governs = slices.DeleteFunc(p.Governs, func(g Governing) bool { return g.Dimension == d })
	}
	p.Length = quantity.Length(top(DimLength, func(c *Constraint) float64 { return float64(c.Length) }))
	p.Width = quantity.Length(top(DimWidth, func(c *Constraint) float64 { return float64(c.Width) }))
	p.Height = quantity.Length(top(DimHeight, func(c *Constraint) float64 { return float64(c.Height) }))
	area := top(DimArea, func(c *Constraint) float64 { return float64(c.Area) })
	perimeter := top(DimPerimeter, func(c *Constraint) float64 { return float64(c.Perimeter) })
	volume := top(DimVolume, func(c *Constraint) float64 { return float64(c.Volume) })

	p.Binds = slices.Clone(p.Governs)
	p.Binding = Constraint{Length: p.Length, Width: p.Width, Height: p.Height, Area: quantity.Area(area),
		Perimeter: quantity.Length(perimeter), Volume: quantity.Volume(volume)}
	shape, own := proportion(outcomes)
	if p.Width > p.Length {
		p.Length = p.Width
	}
	switch {
	case float64(p.Length*p.Width) >= area*(1-epsilon):
		// The sides hold the area by themselves; the area governs only if no sides do.
		if p.Width > 0 {
			drop(DimArea)
		}
	case p.Length > 0 && p.Width > 0:
		p.grow(quantity.Area(area))
		drop(DimLength)
		drop(DimWidth)
	default:
		p.OwnProportion = own
		p.Width = max(p.Width, quantity.Length(math.Sqrt(area/shape)))
		p.Length = max(p.Length, quantity.Length(area)/p.Width)
		if p.Width > p.Length {
			p.Length = p.Width
		}
	}
	if have := 2 * float64(p.Length+p.Width); have < perimeter*(1-epsilon) {
		if have == 0 {
			p.Width = quantity.Length(perimeter / 2 / (1 + shape))
			p.Length, p.OwnProportion = p.Width*quantity.Length(shape), own
		} else {
			k := quantity.Length(perimeter / have)
			p.Length, p.Width = p.Length*k, p.Width*k
		}
		drop(DimLength)
		drop(DimWidth)
		drop(DimArea)
	} else {
		drop(DimPerimeter)
	}
	p.holdVolume(volume, shape, own, drop)
	p.Area = quantity.Area(p.Length * p.Width)

	p.WaterArea = quantity.Area(top(DimWaterArea, func(c *Constraint) float64 { return float64(c.WaterArea) }))
	p.WaterDepth = quantity.Length(top(DimWaterDepth, func(c *Constraint) float64 { return float64(c.WaterDepth) }))
	p.WaterVolume = quantity.Volume(top(DimWaterVolume, func(c *Constraint) float64 { return float64(c.WaterVolume) }))
	p.Substrate = quantity.Length(top(DimSubstrate, func(c *Constraint) float64 { return float64(c.Substrate) }))
	for _, g := range p.Governs {
		switch g.Dimension {
		case DimWaterArea, DimWaterDepth, DimWaterVolume, DimSubstrate:
			p.Binds = append(p.Binds, g)
		}
	}
	for _, o := range outcomes {
		p.LandShare = max(p.LandShare, o.LandShareMin)
		if o.WaterDepthMax > 0 && (p.WaterDepthMax == 0 || o.WaterDepthMax < p.WaterDepthMax) {
			p.WaterDepthMax = o.WaterDepthMax
		}
	}
	if p.WaterDepthMax > 0 {
		p.WaterDepthMax = max(p.WaterDepthMax, p.WaterDepth) // rules that disagree: never below the least depth
	}
	return p
}

// grow widens the floor to an area: a floor longer than two to one grows broader
// first, then both sides grow in proportion.
func (p *Footprint) grow(area quantity.Area) {
	ratio := min(float64(p.Length/p.Width), defaultProportion)
	width := max(p.Width, quantity.Length(math.Sqrt(float64(area)/ratio)))
	if length := quantity.Length(area) / width; length >= p.Length {
		p.Length, p.Width = length, width
		return
	}
	p.Width = quantity.Length(area) / p.Length
}

// holdVolume grows what is still free until length × width × height holds the volume.
func (p *Footprint) holdVolume(volume, shape float64, own bool, drop func(Dimension)) {
	have := float64(p.Length * p.Width * p.Height)
	switch {
	case volume == 0 || have >= volume*(1-epsilon):
		drop(DimVolume)
	case p.Length == 0:
		p.Width = quantity.Length(math.Cbrt(volume / shape))
		p.Length, p.Height = p.Width*quantity.Length(shape), max(p.Height, p.Width)
		p.OwnProportion = own
	case p.Height == 0:
		p.Height = quantity.Length(volume / float64(p.Length*p.Width))
	default:
		k := quantity.Length(math.Sqrt(volume / have))
		p.Length, p.Width = p.Length*k, p.Width*k
		drop(DimLength)
		drop(DimWidth)
		drop(DimArea)
	}
}

// proportion is the length to width of the rule with the greatest floor that
// prints one; own is true where none does.
func proportion(outcomes []Outcome) (ratio float64, own bool) {
	ratio, own = defaultProportion, true
	greatest := quantity.Area(0)
	for _, o := range outcomes {
		if o.ShapeWidth > 0 && o.Area > greatest {
			ratio, own, greatest = float64(o.ShapeLength/o.ShapeWidth), false, o.Area
		}
	}
	return ratio, own
}

// Aspect is a part of the question on which a rule may speak.
type Aspect int

// The aspects.
const (
	Floor Aspect = 1 << iota
	HeightAspect
	WaterAspect
)

// Aspects tells on what a rule speaks.
func Aspects(r *care.Rule) (a Aspect) {
	f := r.Figures
	if f.LengthFactor+f.Length+f.Area+f.AreaPerLength+f.AreaPerLengthSquared+f.PerimeterFactor+f.Volume+f.VolumePerLength > 0 {
		a |= Floor
	}
	if f.HeightFactor+f.Height+f.Volume+f.VolumePerLength > 0 {
		a |= HeightAspect
	}
	if f.Water != nil {
		a |= WaterAspect
	}
	return a
}

// only keeps the constraint's figures on the aspects given.
func (c Constraint) only(a Aspect) Constraint {
	if a&Floor == 0 {
		c.Length, c.Width, c.Area, c.Perimeter, c.ShapeLength, c.ShapeWidth = 0, 0, 0, 0, 0, 0
	}
	if a&HeightAspect == 0 {
		c.Height = 0
	}
	if a&(Floor|HeightAspect) != Floor|HeightAspect {
		c.Volume = 0
	}
	if a&WaterAspect == 0 {
		c.WaterArea, c.WaterDepth, c.WaterDepthMax, c.WaterVolume, c.WaterShare, c.LandShareMin, c.LandShareMax = 0, 0, 0, 0, 0, 0, 0
	}
	return c
}

// Listed is one rule in the answer: what it gives and whether it governs.
type Listed struct {
	Outcome
	Governs bool
	// Set where the rule does not govern though it gives figures.
	WhyNot string
}

// Answer is what the published rules come to.
type Answer struct {
	Advised Footprint
	// Known is false where no rule with figures governs.
	Known  bool
	Lawful *Lawful // nil without a jurisdiction
	Rules  []Listed
}

// Lawful is the lowest size lawful in one jurisdiction, by the rules held.
type Lawful struct {
	Jurisdiction string
	Standing     care.Standing // not-known: no rule in force held, or it could not be read
	Why          string
	Footprint    Footprint
}

// Answers puts every rule of the list to the animals. With a jurisdiction, the law
// of others is listed but does not govern, and what is lawful there counts towards
// the advice. Advice is governed by rules that name the
// species, its genus or family; rules for a whole group or habit govern only an
// aspect (floor, height, water) on which no such rule speaks at every size.
func Answers(rules []*care.Rule, body Body, n int, jurisdiction string) Answer {
	return answers(rules, body, n, jurisdiction, true)
}

// Sizes is Answers without the list of rules, for less of the work.
func Sizes(rules []*care.Rule, body Body, n int, jurisdiction string) Answer {
	return answers(rules, body, n, jurisdiction, false)
}

func answers(rules []*care.Rule, body Body, n int, jurisdiction string, list bool) Answer {
	var a Answer
	var direct Aspect
	for _, r := range rules {
		if !wide(r) && mayAdvise(r, jurisdiction) == "" && everySize(r) {
			direct |= Aspects(r)
		}
	}
	variants := bestVariants(rules, body, n)
	advice := make([]Outcome, 0, 8)
	if list {
		a.Rules = make([]Listed, len(rules))
	}
	var law map[*care.Rule]bool // in force where the animals live: advice is never below it
	if jurisdiction != "" {
		var outcomes []Outcome
		a.Lawful, outcomes = lawful(rules, body, n, jurisdiction)
		law = make(map[*care.Rule]bool, len(outcomes))
		for _, o := range outcomes {
			law[o.Rule] = true
		}
	}
	var unlisted Listed
	for i, r := range rules {
		why := mayAdvise(r, jurisdiction)
		l := &unlisted
		if list {
			l = &a.Rules[i]
		} else if why != "" {
			continue
		}
		*l = Listed{Outcome: Evaluate(r, body, n)}
		if o, ok := Outgrown(r, body, n); ok && hasSuccessor(rules, r, body, n) {
			l.Outcome = o
		}
		aspects := Aspects(r)
		if wide(r) && !law[r] {
			aspects &^= direct
		}
		switch {
		case l.Reason != Evaluated:
		case why == doubtful:
			l.WhyNot = doubtful + ": " + r.Doubtful
		case why != "":
			l.WhyNot = why
		case variants[r] != nil && variants[r] != r:
			l.WhyNot = "the alternative " + variants[r].ID + " asks for less floor; either is enough"
		case aspects == 0 && Aspects(r) != 0:
			l.WhyNot = "rules for the species itself come first"
		default:
			l.Governs = true
			advice = append(advice, l.Outcome)
			o := &advice[len(advice)-1]
			o.Constraint = o.only(aspects)
		}
	}
	a.Advised = Combine(advice)
	a.Known = a.Advised.Area > 0 || a.Advised.WaterVolume > 0
	// Listed rules govern in the strict sense only if they set a dimension.
	for i := range a.Rules {
		l := &a.Rules[i]
		if l.Governs && !slices.ContainsFunc(a.Advised.Governs, func(g Governing) bool { return g.Rule == l.Rule }) {
			l.Governs, l.WhyNot = false, "met by the governing rules"
		}
	}
	return a
}

// wide reports whether the rule speaks of a group or a habit, to which the
// compiler counts the species, rather than of the species or its genus or family.
func wide(r *care.Rule) bool { return r.Scope.Match == care.Wide || r.Scope.Match == care.Assigned }

// hasSuccessor reports whether another size class of the same rule book holds for
// the animal. Without one the line ends below it, and nothing is known.
func hasSuccessor(rules []*care.Rule, r *care.Rule, body Body, n int) bool {
	return slices.ContainsFunc(rules, func(o *care.Rule) bool {
		return o != r && o.Source == r.Source && o.Class != nil && Aspects(o) != 0 && Evaluate(o, body, n).Reason == Evaluated
	})
}

const doubtful = "doubtful"

// mayAdvise says why a rule can't govern the advice, or "".
func mayAdvise(r *care.Rule, jurisdiction string) string {
	switch {
	case r.Status == care.Superseded:
		return "superseded: no longer in force"
	case r.Status == care.Laboratory:
		return "a floor for laboratories, not advice for keeping"
	case r.Doubtful != "":
		return doubtful
	case r.Status == care.InForce && jurisdiction != "" && r.Jurisdiction != "" && !InJurisdiction(r.Jurisdiction, jurisdiction):
		return "the law of another jurisdiction"
	}
	return ""
}

// everySize reports whether a rule, or the line of classes it begins, speaks of
// animals of every size and age.
func everySize(r *care.Rule) bool {
	return !r.AdultsOnly && r.Age == nil && (r.Class == nil || r.Class.Over == 0) && !r.Clause && !r.Unread
}

// euMembers, by ISO 3166-1 alpha-2, 2020 on.
var euMembers = strings.Fields("AT BE BG CY CZ DE DK EE ES FI FR GR HR HU IE IT LT LU LV MT NL PL PT RO SE SI SK")

// InJurisdiction reports whether a rule of one jurisdiction holds in another: its
// own, a part of it (DE in DE-BY), or the Union in a member state.
func InJurisdiction(rule, place string) bool {
	if rule == "EU" {
		country, _, _ := strings.Cut(place, "-")
		return place == rule || strings.HasPrefix(place, "EU-") || slices.Contains(euMembers, country)
	}
	rest, part := strings.CutPrefix(place, rule)
	return part && (rest == "" || rest[0] == '-')
}

// bestVariants maps each rule that has alternatives to the alternative with the
// least floor, since meeting either is enough.
func bestVariants(rules []*care.Rule, body Body, n int) map[*care.Rule]*care.Rule {
	var best map[*care.Rule]*care.Rule
	for _, r := range rules {
		if r.VariantOf == "" {
			continue
		}
		i := slices.IndexFunc(rules, func(o *care.Rule) bool { return o.ID == r.VariantOf })
		if i < 0 {
			continue
		}
		other := rules[i]
		a, b := Evaluate(r, body, n), Evaluate(other, body, n)
		if a.Reason != Evaluated || b.Reason != Evaluated {
			continue
		}
		if best == nil {
			best = map[*care.Rule]*care.Rule{}
		}
		pick := other
		if a.Area < b.Area {
			pick = r
		}
		best[r], best[other] = pick, pick
	}
	return best
}

// lawful combines the rules in force in the jurisdiction. A rule book's own entry
// for the species displaces its wider lines; an entry that could not be read
// leaves the answer not known.
func lawful(rules []*care.Rule, body Body, n int, jurisdiction string) (*Lawful, []Outcome) {
	l := &Lawful{Jurisdiction: jurisdiction, Standing: care.NotKnown,
		Why: "no rule in force is held for this species here; ask the competent authority"}
	own := map[string]bool{} // sources with an entry of their own
	var inForce []*care.Rule
	for _, r := range rules {
		if r.Status != care.InForce || r.Jurisdiction == "" || !InJurisdiction(r.Jurisdiction, jurisdiction) {
			continue
		}
		inForce = append(inForce, r)
		if Aspects(r) != 0 && !wide(r) || r.Unread {
			own[r.Source] = true
		}
	}
	var outcomes []Outcome
	for _, r := range inForce {
		displaced := own[r.Source] && wide(r) && !r.Clause
		o := Evaluate(r, body, n)
		switch {
		case displaced:
		case r.Unread:
			l.Why = "the rule book has an own entry for this species whose figures could not be read (" + r.ID + "); ask the competent authority"
			return l, nil
		case r.Doubtful != "" && Aspects(r) != 0:
			l.Why = "a rule is held whose text is doubtful (" + r.ID + ": " + r.Doubtful + "); ask the competent authority"
		case o.Reason == LengthNeeded || o.Reason == AgeUnknown:
			l.Why = "rule " + r.ID + " can't be worked out: " + string(o.Reason)
		case o.Reason == Evaluated && Aspects(r) != 0:
			outcomes = append(outcomes, o)
		}
	}
	if len(outcomes) > 0 {
		l.Standing, l.Why = care.Known, ""
		l.Footprint = Combine(outcomes)
	}
	return l, outcomes
}
