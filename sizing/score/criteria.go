package score

import (
	"fmt"
	"math"

	"denwright/care"
	"denwright/care/quantity"
)

// kind is what the project knows of a criterion apart from its target.
type kind struct {
	code string
	// Name, unit, sides and limit are left out for a code of care.Parameters, which has them.
	name       string
	unit       string
	sides      care.Sides
	limit      float64
	limitShare float64 // limit as a share of the largest bound, where the target scales with the animal
	// readingRoot and readingShare widen Reading with the root of the bound or by a
	// share of it, for products of several readings.
	reading, readingRoot, readingShare float64
	weight                             float64
	mend                               Mend
	do, look                           string // wording of how to mend it and how to find out, where "Raise" and "Measure" won't do
	with                               string // measured in one go with the others of this name
	measure                            func(*Setup, *Animal) Measurement
	set                                func(*Case, float64)     // nil: can't be set by a change
	could                              func(*Setup) Measurement // see Case.mendable
	couldBy                            Mend
	soil                               bool // read off the depth of the substrate among others
	ofAnimal                           bool // read off the animal

	// Worked out with kindAt, for answers are full of them: the name wherever it comes
	// from, how to find out under that name, and the code alone.
	named, asked string
	alone        []string // not to be written to
}

// The reading tolerances: half of the last digit that answers are written with, in
// the coarser of the two unit systems (0.1 cm, 0.1 °C, 1 %, 0.1 gal, 0.1 UVI).
const (
	tape = 0.05 // cm; below a millimetre, so that a rule flips at the millimetre
	// sides is what two sides each written to 0.01 in add to an area in m², by the root
	// of the area: less than a millimetre on the longer side of a floor up to 4 to 1.
	sides = 0.0004
	// floorSides is the same for two sides each written to 0.1 cm, just short of what a
	// millimetre off the shorter side takes from any floor: the side times the root.
	floorSides = 0.00099
	thermo     = 0.05 // K
	hygro      = 0.5  // % relative humidity
	jug        = 0.19 // L
	uvMeter    = 0.05 // UVI
)

// kinds is the one table of default limits, weights and kinds of work. All of it is
// our own choice:
//   - sizes score 0 at half of what is wanted; climate figures at the limit that
//     care.Parameters gives; a yes/no criterion is 0 for no;
//   - weights 3: what kills or cripples soonest (heat to reach, cool to flee to, dry
//     land for a swimmer, company that fights); 2: what harms within weeks; 1: the
//     rest. The floor counts 3 in all, split over length, width and area, so that
//     one small floor is not counted three times over;
//   - sizes can't be mended; all else can. Usable height can where only a low
//     fixture takes it.
var kinds = [...]kind{
	{code: "floor_length", name: "floor, longer side", unit: "cm", sides: care.AtLeast, limitShare: 0.5, reading: tape, weight: 1, mend: Rebuild,
		look: "Measure the floor inside, length and width", with: "floor",
		measure: func(s *Setup, _ *Animal) Measurement { m, _ := sidesOf(s.Inside); return m }},
	{code: "floor_width", name: "floor, shorter side", unit: "cm", sides: care.AtLeast, limitShare: 0.5, reading: tape, weight: 1, mend: Rebuild,
		look: "Measure the floor inside, length and width", with: "floor",
		measure: func(s *Setup, _ *Animal) Measurement { _, m := sidesOf(s.Inside); return m }},
	{code: "floor_area", name: "floor area", unit: "m²", sides: care.AtLeast, limitShare: 0.5, readingRoot: floorSides, weight: 1, mend: Rebuild,
		look: "Measure the floor inside, length and width", with: "floor",
		measure: func(s *Setup, _ *Animal) Measurement {
			return overFloor(s, func(l, w float64) float64 { return l * w / 1e4 })
		}},
	{code: "floor_perimeter", name: "floor, all sides together", unit: "cm", sides: care.AtLeast, limitShare: 0.5, reading: 2 * tape, weight: 1, mend: Rebuild,
		look: "Measure the floor inside, length and width", with: "floor",
		measure: func(s *Setup, _ *Animal) Measurement {
			return overFloor(s, func(l, w float64) float64 { return 2 * (l + w) })
		}},
	{code: "inside_volume", name: "inside volume", unit: "L", sides: care.AtLeast, limitShare: 0.5, readingShare: 2e-4, weight: 1, mend: Rebuild,
		measure: func(s *Setup, _ *Animal) Measurement {
			in := s.Inside
			if in == nil || in.Length == nil || in.Width == nil || in.Height == nil {
				return Measurement{}
			}
			return Exactly(float64(*in.Length**in.Width**in.Height) * 1000)
		}},
	{code: "usable_height", soil: true, name: "usable height", unit: "cm", sides: care.AtLeast, limitShare: 0.5, reading: tape, weight: 2, mend: Rebuild,
		do: "Raise the lowest fixture or move it out", look: "Measure the height inside, the lowest fixture and the substrate",
		measure: func(s *Setup, _ *Animal) Measurement { return heightUnder(s, true) },
		could:   func(s *Setup) Measurement { return heightUnder(s, false) }, couldBy: Alter,
		set: func(c *Case, x float64) {
			if c.Setup.Inside == nil {
				return
			}
			in := *c.Setup.Inside
			top := x + cmOr0(in.Drainage) + cmOr0(c.Setup.Substrate.Depth)
			in.LowestFixture = new(quantity.Centimetres(top))
			c.Setup.Inside = &in
		}},
	{code: "water_area", name: "water surface", unit: "m²", sides: care.AtLeast, limitShare: 0.5, readingRoot: sides, weight: 1, mend: Rebuild,
		measure: func(s *Setup, _ *Animal) Measurement {
			w := &s.Water
			if w.Length == nil || w.Width == nil {
				return absentWater(s)
			}
			return Exactly(float64(*w.Length) * float64(*w.Width))
		}},
	{code: "water_volume", name: "water", unit: "L", sides: care.AtLeast, limitShare: 0.5, reading: jug, readingShare: 0.0005, weight: 2, mend: Rebuild,
		measure: func(s *Setup, _ *Animal) Measurement {
			w := &s.Water
			switch {
			case w.Volume != nil:
				return Exactly(w.Volume.Litres())
			case w.Length != nil && w.Width != nil && w.Depth != nil: // a basin with sloping sides holds less than the box round it
				return Within(0, float64(*w.Length)*float64(*w.Width)*float64(*w.Depth)*1000)
			}
			return absentWater(s)
		}},
	{code: string(care.WaterDepth), reading: tape, weight: 1, mend: Adjust,
		measure: func(s *Setup, _ *Animal) Measurement {
			if s.Water.Depth == nil {
				return absentWater(s)
			}
			return cm(s.Water.Depth)
		},
		set: func(c *Case, x float64) {
			c.Setup.Water.Depth = new(quantity.Centimetres(x))
			c.Setup.Water.Present = new(x > 0)
		}},

	{code: string(care.HotSpot), reading: thermo, weight: 3, mend: Adjust,
		measure: func(s *Setup, _ *Animal) Measurement { return celsius(s.Temperatures.HotSpot) },
		set:     func(c *Case, x float64) { c.Setup.Temperatures.HotSpot = new(quantity.Temperature(x)) }},
	{code: string(care.WarmAir), reading: thermo, weight: 2, mend: Adjust,
		measure: func(s *Setup, _ *Animal) Measurement { return celsius(s.Temperatures.WarmAir) },
		set:     func(c *Case, x float64) { c.Setup.Temperatures.WarmAir = new(quantity.Temperature(x)) }},
	{code: string(care.CoolAir), reading: thermo, weight: 3, mend: Adjust,
		measure: func(s *Setup, _ *Animal) Measurement { return celsius(s.Temperatures.CoolAir) },
		set:     func(c *Case, x float64) { c.Setup.Temperatures.CoolAir = new(quantity.Temperature(x)) }},
	{code: string(care.NightAir), reading: thermo, weight: 2, mend: Adjust,
		measure: func(s *Setup, _ *Animal) Measurement { return celsius(s.Temperatures.NightAir) },
		set:     func(c *Case, x float64) { c.Setup.Temperatures.NightAir = new(quantity.Temperature(x)) }},
	{code: string(care.WaterTemp), reading: thermo, weight: 3, mend: Adjust,
		measure: func(s *Setup, _ *Animal) Measurement { return celsius(s.Temperatures.Water) },
		set:     func(c *Case, x float64) { c.Setup.Temperatures.Water = new(quantity.Temperature(x)) }},

	{code: string(care.HumidityDay), reading: hygro, weight: 2, mend: Adjust,
		measure: func(s *Setup, _ *Animal) Measurement { return percent(s.Humidity.Day) },
		set:     func(c *Case, x float64) { c.Setup.Humidity.Day = new(quantity.Percent(x)) }},
	{code: string(care.HumidityNight), reading: hygro, weight: 1, mend: Adjust,
		measure: func(s *Setup, _ *Animal) Measurement { return percent(s.Humidity.Night) },
		set:     func(c *Case, x float64) { c.Setup.Humidity.Night = new(quantity.Percent(x)) }},
	{code: string(care.HumidRetreat), reading: hygro, weight: 2, mend: Adjust,
		measure: func(s *Setup, _ *Animal) Measurement { return percent(s.Humidity.Retreat) },
		set:     func(c *Case, x float64) { c.Setup.Humidity.Retreat = new(quantity.Percent(x)) }},

	{code: string(care.UVMax), reading: uvMeter, weight: 2, mend: Equip,
		measure: func(s *Setup, _ *Animal) Measurement { return uvi(s.UV.Basking) },
		set:     func(c *Case, x float64) { c.Setup.UV.Basking = new(quantity.UVIndex(x)) }},
	{code: string(care.UVMean), reading: uvMeter, weight: 1, mend: Equip,
		measure: func(s *Setup, _ *Animal) Measurement { return uvi(s.UV.Shade) },
		set:     func(c *Case, x float64) { c.Setup.UV.Shade = new(quantity.UVIndex(x)) }},
	yesNo("uv_refuge", "place without ultraviolet light that costs no warmth and no cover", 2, Furnish,
		"Shade a covered place at each end from ultraviolet light", "Look for a warm and a cool covered place where the UV index is 0",
		func(s *Setup) **bool { return &s.UV.Refuge }),

	{code: string(care.SubstrateDepth), soil: true, reading: tape, weight: 2, mend: Furnish,
		measure: func(s *Setup, _ *Animal) Measurement { return cm(s.Substrate.Depth) },
		set:     func(c *Case, x float64) { c.Setup.Substrate.Depth = new(quantity.Centimetres(x)) }},

	yesNo("retreat_warm", "covered retreat at the warm end", 2, Furnish,
		"Add a covered retreat at the warm end", "Look for a covered retreat at the warm end that the animal fits in whole",
		func(s *Setup) **bool { return &s.Retreats.Warm }),
	yesNo("retreat_cool", "covered retreat at the cool end", 2, Furnish,
		"Add a covered retreat at the cool end", "Look for a covered retreat at the cool end that the animal fits in whole",
		func(s *Setup) **bool { return &s.Retreats.Cool }),
	yesNo("humid_retreat_present", "humid retreat", 2, Furnish,
		"Add a humid retreat", "Look for a retreat that is kept humid",
		func(s *Setup) **bool { return &s.Retreats.Humid }),
	yesNo("climbing", "something to climb", 1, Furnish,
		"Add branches, rock or ledges to climb", "Look for branches, rock or ledges to climb",
		func(s *Setup) **bool { return &s.Climbing.Structures }),
	{code: "water_dish", name: "drinking dish", sides: care.AtLeast, limit: 1, weight: 2, mend: Furnish,
		do: "Add a drinking dish that the animal can climb out of", look: "Look for a drinking dish",
		measure: func(s *Setup, _ *Animal) Measurement { return answer(s.Water.Dish) },
		set: func(c *Case, x float64) {
			w := &c.Setup.Water
			w.Dish = new(x >= 1)
			if x >= 1 && w.Present != nil && !*w.Present { // the dish is all the water there is
				w.Present, w.Exit = new(true), new(true)
			}
		}},
	yesNo("haul_out", "dry land under the heat", 3, Furnish,
		"Add dry land under the heat, with a way up", "Look for dry land under the heat that every animal can climb to",
		func(s *Setup) **bool { return &s.Water.HaulOut }),

	// Air drawn in low and out high (or through mesh) is exchanged; openings at the top
	// alone exchange some, so they score half. Common practice, no source.
	{code: "ventilation", name: "ventilation", sides: care.AtLeast, limit: 1, weight: 1, mend: Alter,
		do: "Add vents low on one side and high on the other", look: "Look where air can come in and go out",
		measure: func(s *Setup, _ *Animal) Measurement {
			switch s.Ventilation {
			case "none":
				return Exactly(0)
			case "top":
				return Exactly(0.5)
			case "low-and-high", "mesh-sides":
				return Exactly(1)
			}
			return Measurement{}
		},
		set: func(c *Case, _ float64) { c.Setup.Ventilation = "low-and-high" }},
	yesNo("lid", "closed on all sides", 1, Alter,
		"Close the enclosure on all sides", "Look whether the enclosure is closed on all sides",
		func(s *Setup) **bool { return &s.Access.Lid }),

	{code: string(care.GroupSize), ofAnimal: true, weight: 3, mend: Separate,
		do: "House the animals apart", look: "Count the animals",
		measure: func(_ *Setup, a *Animal) Measurement {
			if a.Count <= 0 {
				return Measurement{}
			}
			return Exactly(float64(a.Count))
		},
		set: func(c *Case, x float64) { c.Animal.Count = int(x) }},
}

func yesNo(code, name string, weight float64, mend Mend, do, look string, field func(*Setup) **bool) kind {
	return kind{code: code, name: name, sides: care.AtLeast, limit: 1, weight: weight, mend: mend, do: do, look: look,
		measure: func(s *Setup, _ *Animal) Measurement { return answer(*field(s)) },
		set:     func(c *Case, x float64) { *field(&c.Setup) = new(x >= 1) }}
}

// kindAt is the place of each code in kinds.
var kindAt = func() map[string]int {
	out := make(map[string]int, len(kinds))
	for i := range kinds {
		k := &kinds[i]
		out[k.code] = i
		k.named = k.name
		if p := care.ParameterOf(care.Code(k.code)); p != nil {
			k.named = p.Name
		}
		if k.asked = k.look; k.asked == "" {
			k.asked = "Measure " + k.named
		}
		k.alone = []string{k.code}
	}
	return out
}()

func kindOf(code string) *kind {
	if i, ok := kindAt[code]; ok {
		return &kinds[i]
	}
	return nil
}

// Codes lists the criteria that New knows, in the order shown.
func Codes() []string {
	out := make([]string, len(kinds))
	for i := range kinds {
		out[i] = kinds[i].code
	}
	return out
}

// New builds a criterion of a known code with the default limit, reading
// tolerance, weight and kind of work. Targets are in cm, m², L, °C, %, UVI or
// animals, as care.Parameters and the table of kinds say; a yes/no criterion takes
// From(1). Give the same target twice when it is certain. It fails on an unknown code.
func New(code string, least, most Target) (Criterion, error) {
	k := kindOf(code)
	if k == nil {
		return Criterion{}, fmt.Errorf("no criterion is called %q", code)
	}
	c := Criterion{kind: k, Code: code, Name: k.name, Unit: k.unit, Sides: k.sides, Least: least, Most: most,
		Limit: k.limit, Reading: k.reading, Weight: k.weight, Mend: k.mend}
	if p := care.ParameterOf(care.Code(code)); p != nil {
		c.Name, c.Unit, c.Sides, c.Limit = p.Name, p.Unit, p.Sides, p.Limit
	}
	for _, t := range [2]Target{least, most} {
		if !c.binds(t) {
			continue
		}
		for _, b := range [2]*float64{t.Low, t.High} {
			if b != nil {
				c.Limit = math.Max(c.Limit, k.limitShare**b)
				c.Reading = max(c.Reading, k.readingShare**b, k.readingRoot*math.Sqrt(math.Max(0, *b)))
			}
		}
	}
	return c, nil
}

// ask words how to find out what was not measured.
func (k *Criterion) ask() string {
	if kd := k.known(); kd != nil && (kd.look != "" || k.Name == kd.named) {
		return kd.asked
	}
	return "Measure " + k.Name
}

// alone is the list of the code and nothing else. It is not to be written to, but may
// be appended to.
func (k *Criterion) alone() []string {
	if kd := k.known(); kd != nil {
		return kd.alone
	}
	return []string{k.Code}
}

func (c *Case) measure(k *Criterion) Measurement {
	for i := len(c.supposed) - 1; i >= 0; i-- {
		if c.supposed[i].code == k.Code {
			return c.supposed[i].Measurement
		}
	}
	if len(c.Measured) > 0 {
		if m, ok := c.Measured[k.Code]; ok {
			return m
		}
	}
	if kd := k.known(); kd != nil {
		return kd.measure(&c.Setup, &c.Animal)
	}
	return Measurement{}
}

func answer(b *bool) Measurement {
	switch {
	case b == nil:
		return Measurement{}
	case *b:
		return Exactly(1)
	}
	return Exactly(0)
}

func cm(l *quantity.Length) Measurement {
	if l == nil {
		return Measurement{}
	}
	return Exactly(l.Centimetres())
}

func cmOr0(l *quantity.Length) float64 {
	if l == nil {
		return 0
	}
	return l.Centimetres()
}

func celsius(t *quantity.Temperature) Measurement {
	if t == nil {
		return Measurement{}
	}
	return Exactly(float64(*t))
}

func percent(f *quantity.Fraction) Measurement {
	if f == nil {
		return Measurement{}
	}
	return Exactly(f.Value().Number)
}

func uvi(u *quantity.UVIndex) Measurement {
	if u == nil {
		return Measurement{}
	}
	return Exactly(float64(*u))
}

// absentWater is 0 where there is no water, unknown otherwise.
func absentWater(s *Setup) Measurement {
	if p := s.Water.Present; p != nil && !*p {
		return Exactly(0)
	}
	return Measurement{}
}

// sidesOf gives the longer and the shorter side of the floor, whichever was called
// length. One side alone bounds both.
func sidesOf(in *Inside) (longer, shorter Measurement) {
	switch {
	case in == nil || in.Length == nil && in.Width == nil:
		return Measurement{}, Measurement{}
	case in.Length == nil || in.Width == nil:
		one := cmOr0(in.Length) + cmOr0(in.Width)
		return NoLess(one), NoMore(one)
	}
	l, w := in.Length.Centimetres(), in.Width.Centimetres()
	return Exactly(math.Max(l, w)), Exactly(math.Min(l, w))
}

func overFloor(s *Setup, f func(l, w float64) float64) Measurement {
	in := s.Inside
	if in == nil || in.Length == nil || in.Width == nil {
		return Measurement{}
	}
	return Exactly(f(in.Length.Centimetres(), in.Width.Centimetres()))
}

// heightUnder is the height from the substrate's surface to the lowest fixture, or
// to the lid. Where the substrate's depth was not measured it is at most the
// height above the drainage layer.
func heightUnder(s *Setup, fixture bool) Measurement {
	in := s.Inside
	if in == nil {
		return Measurement{}
	}
	top := in.Height
	if fixture && in.LowestFixture != nil && (top == nil || *in.LowestFixture < *top) {
		top = in.LowestFixture
	}
	if top == nil {
		return Measurement{}
	}
	most := math.Max(0, top.Centimetres()-cmOr0(in.Drainage))
	if s.Substrate.Depth == nil {
		return Within(0, most)
	}
	return Exactly(math.Max(0, most-s.Substrate.Depth.Centimetres()))
}
