// Package space turns published space rules into floor, height and water for an
// animal of a given length and a group of a given size, and says which rule
// governs. Each rule is one joint constraint; the answer is a footprint and a
// height that meet all governing rules together, not a box of unrelated maxima.
package space

import (
	"math"
	"slices"

	"denwright/care"
	"denwright/care/quantity"
)

// Body is the largest animal of the group. A length of 0 is unknown.
type Body struct {
	SnoutVent, Total, Shell quantity.Length
	ShellHeight             quantity.Length
	AgeMonths               float64 // 0 is unknown
	Adult                   bool
}

// Length is the body in one measure; ok is false where it is unknown.
func (b Body) Length(m care.Measure) (l quantity.Length, ok bool) {
	switch m {
	case care.SnoutVent:
		l = b.SnoutVent
	case care.TotalLength:
		l = b.Total
	case care.Shell:
		l = b.Shell
	}
	return l, l > 0
}

// scaled is the same animal at another size.
func (b Body) scaled(f float64) Body {
	k := quantity.Length(f)
	b.SnoutVent, b.Total, b.Shell, b.ShellHeight = b.SnoutVent*k, b.Total*k, b.Shell*k, b.ShellHeight*k
	return b
}

// Constraint is what a rule asks for, in SI units. A field that is 0 says nothing.
// Length is the longer side of the floor, Width the shorter.
type Constraint struct {
	Length, Width, Height quantity.Length
	Area                  quantity.Area
	Perimeter             quantity.Length
	Volume                quantity.Volume
	WaterArea             quantity.Area
	WaterDepth            quantity.Length
	WaterDepthMax         quantity.Length
	WaterVolume           quantity.Volume
	WaterShare            quantity.Fraction // of the floor
	LandShareMin          quantity.Fraction
	LandShareMax          quantity.Fraction
	Substrate             quantity.Length
	// ShapeLength and ShapeWidth are the floor as the rule prints it; where the rule
	// lets the same area take another shape, they do not bind.
	ShapeLength, ShapeWidth quantity.Length
}

// Reason says why a rule gives no figure for these animals.
type Reason string

// The reasons.
const (
	Evaluated    Reason = ""
	OtherClass   Reason = "another size class"
	OtherAge     Reason = "another age class"
	AgeUnknown   Reason = "the animal's age is not known"
	AdultsOnly   Reason = "for adults only"
	LengthNeeded Reason = "needs a body length in a measure that is not known"
	NoFigures    Reason = "a clause without figures"
	Unread       Reason = "the rule book has an own entry that could not be read"
	ClimateOnly  Reason = "climate figures only"
)

// Outcome is one rule put to one group of animals.
type Outcome struct {
	Rule *care.Rule
	Constraint
	Reason Reason // Evaluated when Constraint holds figures
	// OwnExtra: the rule gives nothing for further animals, so its floor and water
	// were repeated for each further group of the size it covers (our choice).
	OwnExtra bool
	// Earlier: the animal has outgrown the rule's size class; the figure at the top
	// of the class is kept so that a longer animal is never advised less (our choice).
	Earlier bool
}

// epsilon forgives the rounding of unit conversion, far below a millimetre.
const epsilon = 1e-9

// Silent says why a rule gives no figures to any animal, or Evaluated.
func Silent(r *care.Rule) Reason {
	switch {
	case r.Unread:
		return Unread
	case r.Clause:
		return NoFigures
	case r.Figures.Empty():
		return ClimateOnly
	}
	return Evaluated
}

// Evaluate puts a rule to n animals, the largest being body.
func Evaluate(r *care.Rule, body Body, n int) Outcome {
	o := Outcome{Rule: r, Reason: Silent(r)}
	switch {
	case o.Reason != Evaluated:
	case r.AdultsOnly && !body.Adult:
		o.Reason = AdultsOnly
	default:
		if o.Reason = inAge(r.Age, body); o.Reason == Evaluated {
			o.Reason = inClass(r, body)
		}
	}
	if o.Reason != Evaluated {
		return o
	}
	length, ok := body.Length(r.Measure)
	if !ok && needsLength(r) {
		o.Reason = LengthNeeded
		return o
	}
	o.Constraint, o.OwnExtra = figures(r, length, body.ShellHeight, n)
	return o
}

// Outgrown gives the figure at the top of a size class that the animal has left
// behind; ok is false where the rule has no such class or gives figures anyway.
func Outgrown(r *care.Rule, body Body, n int) (Outcome, bool) {
	if r.Class == nil || r.Class.UpTo == 0 || r.Figures.Empty() {
		return Outcome{}, false
	}
	length, ok := body.Length(classMeasure(r))
	top := quantity.Centimetres(r.Class.UpTo)
	if !ok || length <= top+epsilon {
		return Outcome{}, false
	}
	o := Evaluate(r, body.scaled(float64(top/length)), n)
	o.Earlier = true
	return o, o.Reason == Evaluated
}

// Turns are the bodies between two at which a size class of a rule ends or begins: what
// the rules come to between them may lie beyond what they come to at both. Its
// proportions are those of most.
func Turns(rules []*care.Rule, least, most Body) (out []Body) {
	for _, r := range rules {
		if r.Class == nil || r.Figures.Empty() {
			continue
		}
		from, ok := least.Length(classMeasure(r))
		to, also := most.Length(classMeasure(r))
		if !ok || !also {
			continue
		}
		// A class holds up to its top; the next begins just above.
		for _, at := range [2]quantity.Length{quantity.Centimetres(r.Class.UpTo), quantity.Centimetres(r.Class.Over) * (1 + 1e-6)} {
			if body := most.scaled(float64(at / to)); at > from && at < to && !slices.Contains(out, body) {
				out = append(out, body)
			}
		}
	}
	return out
}

func classMeasure(r *care.Rule) care.Measure {
	if r.Class.Measure != "" {
		return r.Class.Measure
	}
	return r.Measure
}

func inClass(r *care.Rule, body Body) Reason {
	if r.Class == nil {
		return Evaluated
	}
	length, ok := body.Length(classMeasure(r))
	switch {
	case !ok:
		return LengthNeeded
	case length <= quantity.Centimetres(r.Class.Over)+epsilon && r.Class.Over > 0,
		length > quantity.Centimetres(r.Class.UpTo)+epsilon && r.Class.UpTo > 0:
		return OtherClass
	}
	return Evaluated
}

func inAge(a *care.Age, body Body) Reason {
	switch {
	case a == nil:
		return Evaluated
	case body.AgeMonths == 0 && body.Adult && a.UpTo == 0:
		return Evaluated // an adult is in the open top class whatever its birthday
	case body.AgeMonths == 0 && body.Adult:
		return OtherAge
	case body.AgeMonths == 0:
		return AgeUnknown
	case body.AgeMonths < a.From || (a.UpTo > 0 && body.AgeMonths >= a.UpTo):
		return OtherAge
	}
	return Evaluated
}

func needsLength(r *care.Rule) bool {
	f, w := r.Figures, r.Water
	return f.LengthFactor+f.WidthFactor+f.HeightFactor+f.ShortestSideFactor+f.AreaPerLength+f.AreaPerLengthSquared+f.PerimeterFactor+f.VolumePerLength > 0 ||
		(w != nil && w.AreaPerLengthSquared+w.DepthFactor+w.DepthFactorMax+w.VolumePerLength > 0) ||
		(r.Extra != nil && r.Extra.WaterAreaPerLengthSquared > 0)
}

// figures works the rule out for n animals of the length given.
func figures(r *care.Rule, length, shellHeight quantity.Length, n int) (c Constraint, ownExtra bool) {
	f := r.Figures
	squareCM := func(a float64) quantity.Area { return quantity.Area(a * 1e-4) }
	per := quantity.Area(length * length)

	c.Length = max(quantity.Centimetres(f.Length), quantity.Length(f.LengthFactor)*length)
	c.Width = max(quantity.Centimetres(f.Width), quantity.Length(f.WidthFactor)*length)
	if f.WidthCap > 0 {
		c.Width = min(c.Width, quantity.Centimetres(f.WidthCap))
	}
	c.Height = max(quantity.Centimetres(f.Height), quantity.Length(f.HeightFactor)*length)
	c.Area = max(squareCM(f.Area), squareCM(f.AreaPerLength*length.Centimetres()), quantity.Area(f.AreaPerLengthSquared)*per)
	c.Perimeter = quantity.Length(f.PerimeterFactor) * length
	c.Volume = quantity.Litres(max(f.Volume, f.VolumePerLength*length.Centimetres()))
	c.Substrate = max(quantity.Centimetres(f.SubstrateDepth), quantity.Length(f.SubstrateShellHeights)*shellHeight)
	if c.Width > c.Length && c.Length > 0 {
		c.Length, c.Width = c.Width, c.Length
	}
	if c.Length > 0 && c.Width > 0 {
		c.ShapeLength, c.ShapeWidth = c.Length, c.Width
		c.Area = max(c.Area, quantity.Area(c.Length*c.Width))
	}
	if f.Reshape {
		c.Length, c.Width = 0, 0
	}
	c.Width = max(c.Width, quantity.Length(f.ShortestSideFactor)*length)

	if w := f.Water; w != nil {
		c.WaterArea = max(squareCM(w.Area), quantity.Area(w.AreaPerLengthSquared)*per)
		if w.AreaIsWater {
			c.WaterArea = max(c.WaterArea, c.Area)
		}
		c.WaterDepth = max(quantity.Centimetres(w.Depth), quantity.Length(w.DepthFactor)*length, quantity.Length(w.DepthShellHeights)*shellHeight)
		c.WaterDepthMax = max(quantity.Centimetres(w.DepthMax), quantity.Length(w.DepthFactorMax)*length)
		c.WaterVolume = quantity.Litres(max(w.Volume, w.VolumePerLength*length.Centimetres()))
		c.WaterShare = quantity.Fraction(w.Share)
		c.LandShareMin, c.LandShareMax = quantity.Fraction(w.LandShareMin), quantity.Fraction(w.LandShareMax)
	}
	ownExtra = further(r, &c, per, n)
	if limit := quantity.Centimetres(f.HeightLimit); limit > 0 && c.Height > limit {
		if f.HeightKeepsVolume {
			c.Area *= quantity.Area(c.Height / limit)
		}
		c.Height = limit
	}
	if c.WaterShare > 0 && c.Area > 0 {
		c.WaterArea = max(c.WaterArea, c.Area*quantity.Area(c.WaterShare))
	}
	c.Area = max(c.Area, c.WaterArea)
	return c, ownExtra
}

// further adds what each animal beyond the rule's base number asks for. It
// reports whether the rule is silent on that and our own repetition was used.
func further(r *care.Rule, c *Constraint, per quantity.Area, n int) (own bool) {
	base := max(r.Animals, 1)
	k := n - base
	x := r.Extra
	if x != nil {
		c.Area = max(c.Area, quantity.Area(float64(n)*x.AreaPerAnimal*1e-4))
	}
	if k <= 0 {
		return false
	}
	if x == nil {
		times := math.Ceil(float64(n) / float64(base))
		c.Area *= quantity.Area(times)
		c.Volume *= quantity.Volume(times)
		c.WaterArea *= quantity.Area(times)
		c.WaterVolume *= quantity.Volume(times)
		return c.Area+c.WaterArea > 0 || c.Volume+c.WaterVolume > 0
	}
	c.Area *= quantity.Area(1 + sumShares(x.AreaShares, k))
	if len(x.PerimeterShares) > 0 {
		c.Perimeter = max(c.Perimeter, 2*(c.Length+c.Width)) * quantity.Length(1+sumShares(x.PerimeterShares, k))
	}
	if len(x.VolumeShares) > 0 {
		v := 1 + sumShares(x.VolumeShares, k)
		side := quantity.Length(math.Cbrt(v))
		c.Length, c.Width, c.Height = c.Length*side, c.Width*side, c.Height*side
		c.ShapeLength, c.ShapeWidth = c.ShapeLength*side, c.ShapeWidth*side
		c.Area *= quantity.Area(side * side)
		c.Volume *= quantity.Volume(v)
	}
	c.Area += quantity.Area(float64(k) * x.Area * 1e-4)
	water := quantity.Area(float64(k)) * (quantity.Area(x.WaterArea*1e-4) + quantity.Area(x.WaterAreaPerLengthSquared)*per)
	c.WaterArea += water
	c.WaterVolume += quantity.Litres(float64(k) * x.WaterVolume)
	return false
}

// sumShares adds the shares of k further animals; the last share repeats.
func sumShares(shares []float64, k int) (sum float64) {
	for i := range k {
		if len(shares) == 0 {
			return 0
		}
		sum += shares[min(i, len(shares)-1)]
	}
	return sum
}
