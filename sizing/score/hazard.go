package score

import (
	"math"
	"slices"
	"strconv"

	"denwright/care"
	"denwright/care/quantity"
)

// Animal is what the hazard rules and the group size need to know of the animals kept.
type Animal struct {
	Group  care.Group
	Habit  care.Habit
	Climbs int // 0 to 3, as care.Nature has them
	Digs   int
	Swims  int
	// Length in cm of the largest animal: shell of a chelonian, snout-vent of an
	// amphibian, total length of the rest. A range when it was not measured.
	Length Measurement

	Venomous    bool
	Constrictor bool // strong enough to hurt a person
	Escapes     bool // known to push or slide open what is not locked

	CriticalMax *float64 // critical thermal maximum, °C
	CoolHigh    *float64 // top of the working range of the cool end's air, °C
	WaterHigh   *float64 // top of the working range of the water, °C; the refuge of an aquatic animal
	UVHigh      *float64 // top of the working range at the basking place, UV index
	HumidityLow *float64 // bottom of the working range of humidity by day, %

	Count  int  // animals kept together; 0: not stated
	Fights bool // the facts known say that these animals, kept together, fight
	// MayFight: they do if the sexes that are not known turn out so.
	MayFight bool
}

// The thresholds of the hazard rules. Own choices, unless said otherwise.
const (
	// DeepSoil is the substrate depth in cm above which a heater under the floor no
	// longer warms the surface and overheats the floor instead: 5 cm of dry sand
	// (0.24 W/mK) is 0.2 m²K/W, across which a mat of 150 W/m² would stand 30 K
	// above the surface.
	DeepSoil = 5.0
	// LampUVCeiling is the UV index that no lamp should exceed at the nearest
	// reachable place. Recalled, after Baines and others 2016 (7 to 8).
	LampUVCeiling = 8.0
	// UVOver is how far above its working range an animal's ceiling lies: where the
	// criterion's score has reached 0.
	UVOver = 3.0
	// RefugeOver is how many K above the cool end's range the coolest place may be.
	RefugeOver = 3.0
	// CriticalMargin is how many K below the critical maximum a refuge must stay: at
	// the maximum an animal can no longer right itself, and it seeks shade well before.
	CriticalMargin = 6.0
	// SprayHumidity is the daytime humidity target in % from which an enclosure is
	// taken to be misted.
	SprayHumidity = 60.0
	// MeshGap is the gap in cm that keeps a clinging animal from being burned through mesh.
	MeshGap = 5.0
)

// UVCeiling is the UV index above which UV is a hazard: UVOver above the animal's
// range, never above LampUVCeiling.
func (a *Animal) UVCeiling() float64 {
	if a.UVHigh == nil {
		return LampUVCeiling
	}
	return math.Min(LampUVCeiling, *a.UVHigh+UVOver)
}

// RefugeCeiling is the temperature in °C that the coolest place must not exceed:
// the lower of RefugeOver above the range there and CriticalMargin below the
// critical maximum. It reports false when neither is known.
func (a *Animal) RefugeCeiling() (float64, bool) {
	ceiling := math.Inf(1)
	top := a.CoolHigh
	if a.refugeInWater() {
		top = a.WaterHigh
	}
	if top != nil {
		ceiling = *top + RefugeOver
	}
	if a.CriticalMax != nil {
		ceiling = math.Min(ceiling, *a.CriticalMax-CriticalMargin)
	}
	return ceiling, !math.IsInf(ceiling, 1)
}

// refugeInWater: an animal with no range for air lives in its water.
func (a *Animal) refugeInWater() bool {
	return a.Habit == care.Aquatic && a.CoolHigh == nil
}

// Reach is the distance in cm over which the animal can come at a heat source from
// the nearest place it can stand, lie or cling: the least and the most it may be.
// Own choice; common practice, no source. In body lengths: chelonian 0.5, lizard
// and snake 1, amphibian 5 (most jump); at least 1.5 for a climber; never under
// 5 cm. An animal that lives by climbing (3) reaches any source in its enclosure.
func (a *Animal) Reach() (least, most float64) {
	if a.Climbs >= 3 {
		return math.Inf(1), math.Inf(1)
	}
	share := 1.0
	switch a.Group {
	case care.Chelonian:
		share = 0.5
	case care.Amphibian:
		share = 5
	}
	if a.Climbs == 2 {
		share = math.Max(share, 1.5)
	}
	low, high := a.Length.ends()
	return math.Max(5, share*low), math.Max(5, share*high)
}

// Wade is the water depth in cm in which the animal can still stand and breathe:
// the least and the most it may be. Own choice, in body lengths: chelonian 0.3,
// amphibian 0.3, lizard 0.08, snake 0.04.
func (a *Animal) Wade() (least, most float64) {
	share := 0.04
	switch a.Group {
	case care.Chelonian, care.Amphibian:
		share = 0.3
	case care.Lizard:
		share = 0.08
	}
	low, high := a.Length.ends()
	return math.Max(0, share*low), share * high
}

// Presence says whether a hazard is there.
type Presence string

// Possible: not known whether. NotJudged: no figure is known to judge by.
const (
	Definite  Presence = "definite"
	Possible  Presence = "possible"
	Absent    Presence = "absent"
	NotJudged Presence = "not judged"
)

// Hazard is one thing that can hurt the animal or the keeper. Several heat sources
// can each have the same one; a hazard none of them has is listed once, as absent.
type Hazard struct {
	Code     string   `json:"code"`
	Name     string   `json:"name"`
	Presence Presence `json:"presence"`
	At       string   `json:"at,omitzero"` // which heat source, counted from 1
	Why      string   `json:"why"`
	Remedy   string   `json:"remedy"`
	Mend     Mend     `json:"mend"`
	Caution  string   `json:"caution"`
	Basis    string   `json:"basis"` // what the rule rests on
	Value    *Figure  `json:"value,omitzero"`
	Limit    *Figure  `json:"limit,omitzero"`

	alone []string    // the code and nothing else; not to be written to, but may be appended to
	ask   string      // how to find out, when possible
	key   string      // changes with the same key are one change
	fix   func(*Case) // the remedy

	drops int // place in the list, from 1, of the heat source that the remedy takes out
}

// truth is yes, no or not known, with the connectives of three-valued logic: as
// each term narrows when something becomes known, so does the whole.
type truth int

const (
	no truth = iota
	unknown
	yes
)

func every(t ...truth) truth  { return slices.Min(t) }
func either(t ...truth) truth { return slices.Max(t) }
func not(t truth) truth       { return yes - t }

func is(b bool) truth {
	if b {
		return yes
	}
	return no
}

func told(b *bool) truth {
	if b == nil {
		return unknown
	}
	return is(*b)
}

// word: s is one of the words. A word left out, "unknown" or not of the vocabulary is not known.
func word(s string, vocabulary []string, words ...string) truth {
	if s == "unknown" || !slices.Contains(vocabulary, s) {
		return unknown
	}
	return is(slices.Contains(words, s))
}

// above: x lies over a limit known only as a range.
func above(x *float64, least, most float64) truth {
	switch {
	case x == nil:
		return unknown
	case *x > most+1e-9:
		return yes
	case *x <= least+1e-9:
		return no
	}
	return unknown
}

func number[T ~float64](x *T, scale float64) *float64 {
	if x == nil {
		return nil
	}
	return new(float64(*x) * scale)
}

// settled makes explicit what a setup implies: water with a size is there.
func (s Setup) settled() Setup {
	s.settle()
	return s
}

func (s *Setup) settle() {
	w := &s.Water
	if w.Present == nil && (positive(w.Length) || positive(w.Width) || positive(w.Depth) || positive(w.Volume) || w.Dish != nil && *w.Dish) {
		w.Present = new(true)
	}
}

func positive[T ~float64](x *T) bool { return x != nil && *x > 0 }

const (
	practice    = "common practice, no source"
	recalled    = "recalled"
	electrician = "Mains, heat and water together can kill and start fires. Unplug before touching; a licensed electrician and the local code decide."
	burns       = "Reptiles may not move away from what burns them. A burned animal needs a vet."
	vet         = "When in doubt, or when the animal is unwell, ask a vet."
	locks       = "The law may ask for more, above all for venomous and very large animals; the competent authority decides."
	load        = "What falls crushes. Loads and glass are for someone who can judge them."
)

// rule is one hazard of the enclosure as a whole.
type rule struct {
	Hazard
	judge func(*Setup, *Animal) truth
	// Figures compared, where there are any.
	value, limit func(*Setup, *Animal) *Figure
	unjudged     func(*Animal) bool
	keyFor       func(*Animal) string // nil: key
}

func (a *Animal) locked() bool {
	return a.Group == care.Snake || a.Venomous || a.Constrictor || a.Escapes || a.Climbs >= 2
}

func (a *Animal) lidded() bool { return a.locked() || a.Group == care.Amphibian || a.Climbs >= 1 }

func (a *Animal) wet() bool {
	return a.Habit == care.Aquatic || a.Habit == care.SemiAquatic || a.HumidityLow != nil && *a.HumidityLow >= SprayHumidity
}

// inWater: a heater lies in the water. Not known while the sources are not stated.
func inWater(s *Setup) truth {
	if s.HeatSources == nil {
		return unknown
	}
	out := no
	for _, h := range s.HeatSources {
		out = either(out, word(h.Place, Places, "in-water"))
	}
	return out
}

func coolest(s *Setup, a *Animal) *float64 {
	if a.refugeInWater() {
		return number(s.Temperatures.Water, 1)
	}
	return number(s.Temperatures.CoolAir, 1)
}

var rules = [...]rule{
	{Hazard: Hazard{Code: "uv_over_ceiling", Name: "ultraviolet light over the ceiling", Mend: Equip, Basis: recalled, Caution: vet,
		Why:    "The UV index at the highest basking place is above what the animal should ever get from a lamp.",
		Remedy: "Raise the lamp, lower the basking place or fit a weaker lamp; measure again.",
		ask:    "Measure UV index at the basking place", key: string(care.UVMax),
		fix: func(c *Case) {
			c.Setup.UV.Basking = new(quantity.UVIndex(math.Min(c.Animal.UVCeiling(), number0(c.Animal.UVHigh, LampUVCeiling))))
		}},
		judge: func(s *Setup, a *Animal) truth {
			return above(number(s.UV.Basking, 1), a.UVCeiling(), a.UVCeiling())
		},
		value: func(s *Setup, _ *Animal) *Figure { return figureOf(number(s.UV.Basking, 1), "UVI") },
		limit: func(_ *Setup, a *Animal) *Figure { return figure(a.UVCeiling(), "UVI") }},
	{Hazard: Hazard{Code: "uv_below_290_nm", Name: "ultraviolet light of less than 290 nm", Mend: Equip, Basis: "no sunlight of less than 290 nm reaches the ground: Baines and others 2009", Caution: vet + " Do not look into the lamp.",
		Why:    "The lamp gives ultraviolet light that sunlight does not have; it harms eyes and skin at any UV index.",
		Remedy: "Replace the lamp with one whose spectrum begins above 290 nm.",
		ask:    "Find out from the lamp's data sheet whether it emits below 290 nm", key: "uv.spectrum",
		fix: func(c *Case) { c.Setup.UV.Spectrum = "like-sunlight" }},
		judge: func(s *Setup, _ *Animal) truth {
			return every(above(number(s.UV.Basking, 1), 0, 0), word(s.UV.Spectrum, Spectra, "below-290-nm"))
		}},
	{Hazard: Hazard{Code: "no_cool_refuge", Name: "no refuge from heat", Mend: Adjust, Basis: "own choice of margins", Caution: vet,
		Why:    "The coolest place is hotter than the animal can safely stay in.",
		Remedy: "Shade and ventilate the cool end, move the heat away from it or cool the room.",
		ask:    "Measure temperature at the coolest place",
		fix: func(c *Case) {
			t, _ := c.Animal.RefugeCeiling()
			if c.Animal.refugeInWater() {
				c.Setup.Temperatures.Water = new(quantity.Temperature(math.Min(t, number0(c.Animal.WaterHigh, t))))
				return
			}
			c.Setup.Temperatures.CoolAir = new(quantity.Temperature(math.Min(t, number0(c.Animal.CoolHigh, t))))
		}},
		keyFor: func(a *Animal) string {
			if a.refugeInWater() {
				return string(care.WaterTemp)
			}
			return string(care.CoolAir)
		},
		unjudged: func(a *Animal) bool { _, ok := a.RefugeCeiling(); return !ok },
		judge: func(s *Setup, a *Animal) truth {
			t, _ := a.RefugeCeiling()
			return above(coolest(s, a), t, t)
		},
		value: func(s *Setup, a *Animal) *Figure { return figureOf(coolest(s, a), "°C") },
		limit: func(_ *Setup, a *Animal) *Figure { t, _ := a.RefugeCeiling(); return figure(t, "°C") }},
	// Relevant where the animal calls for misting or lives in water. Drip loops and a
	// residual current device are asked for where a heater lies in the water.
	{Hazard: Hazard{Code: "electrics_not_spray_proof", Name: "electrics unfit for spray or water", Mend: Alter, Basis: practice, Caution: electrician,
		Why:    "Fittings within reach of spray are not rated for it, or a heater in water has no drip loop or residual current device.",
		Remedy: "Have the fittings replaced by ones rated for spray, and drip loops and a residual current device fitted.",
		ask:    "Find out whether fittings within reach of spray are rated for it, and whether mains equipment in water has drip loops and a residual current device", key: "electrics",
		fix: func(c *Case) { c.Setup.Electrics = Electrics{new(true), new(true), new(true)} }},
		judge: func(s *Setup, a *Animal) truth {
			e := s.Electrics
			return every(is(a.wet()), either(not(told(e.SprayProof)), every(inWater(s), either(not(told(e.RCD)), not(told(e.DripLoops))))))
		}},
	{Hazard: Hazard{Code: "water_without_exit", Name: "water too deep to stand in, without a way out", Mend: Furnish, Basis: "own choice of depth", Caution: vet,
		Why:    "The animal can't stand in the water and can't climb out.",
		Remedy: "Put a ramp, stones or a gentle slope on at least one side, or make the water shallower.",
		ask:    "Measure the water's depth, and look whether every animal can climb out", key: "water.exit",
		fix: func(c *Case) { c.Setup.Water.Exit = new(true) }},
		judge: func(s *Setup, a *Animal) truth {
			least, most := a.Wade()
			swimmer := a.Habit == care.Aquatic || a.Swims >= 3
			return every(is(!swimmer), told(s.Water.Present), above(number(s.Water.Depth, 100), least, most), not(told(s.Water.Exit)))
		},
		value: func(s *Setup, _ *Animal) *Figure { return figureOf(number(s.Water.Depth, 100), "cm") }},
	{Hazard: Hazard{Code: "no_lid", Name: "open to escape", Mend: Alter, Basis: practice, Caution: locks,
		Why:    "The animal climbs, jumps or pushes its way out of an enclosure that is not closed on all sides.",
		Remedy: "Close the enclosure on all sides.",
		ask:    "Look whether the enclosure is closed on all sides", key: "lid",
		fix: func(c *Case) { c.Setup.Access.Lid = new(true) }},
		judge: func(s *Setup, a *Animal) truth { return every(is(a.lidded()), not(told(s.Access.Lid))) }},
	{Hazard: Hazard{Code: "no_lock", Name: "doors or lid not locked", Mend: Equip, Basis: practice, Caution: locks,
		Why:    "The animal can open, or is too dangerous to be kept behind, doors that are not locked.",
		Remedy: "Fit a lock or catch that this animal can't open.",
		ask:    "Find out whether doors and lid have a lock or catch that this animal can't open", key: "access.lock",
		fix: func(c *Case) { c.Setup.Access.Lock = new(true) }},
		judge: func(s *Setup, a *Animal) truth { return every(is(a.locked()), not(told(s.Access.Lock))) }},
	{Hazard: Hazard{Code: "rocks_undermined", Name: "rocks that digging can bring down", Mend: Adjust, Basis: practice, Caution: load,
		Why:    "Rocks stand on soil that the animal can dig away from under them.",
		Remedy: "Stand the rocks on the floor of the enclosure and fill the soil in round them.",
		ask:    "Find out whether there are rocks, and whether they stand on the floor or on soil", key: "rocks",
		fix: func(c *Case) { c.Setup.Rocks.OnFloor = new(true) }},
		judge: func(s *Setup, a *Animal) truth {
			return every(is(a.Digs >= 1), told(s.Rocks.Present), not(told(s.Rocks.OnFloor)))
		}},
	// Out of level counts where a tank of water stands on it.
	{Hazard: Hazard{Code: "unstable_stand", Name: "stand not stable or not level", Mend: Alter, Basis: practice, Caution: load,
		Why:    "The enclosure can tip, or its glass be strained by a stand out of level.",
		Remedy: "Fix the stand to the wall or replace it, and level it before anything is put on it.",
		ask:    "Find out whether the stand is stable, and level under water", key: "stand",
		fix: func(c *Case) { c.Setup.Stand = Stand{new(true), new(true)} }},
		judge: func(s *Setup, a *Animal) truth {
			tank := a.Habit == care.Aquatic || a.Habit == care.SemiAquatic
			return either(not(told(s.Stand.Stable)), every(is(tank), not(told(s.Stand.Level))))
		}},
	{Hazard: Hazard{Code: "other_species", Name: "other species in the same enclosure", Mend: Separate, Basis: practice, Caution: vet,
		Why:    "Different species carry different germs, want different climates, and eat or exhaust each other; a mix is unfit unless shown otherwise.",
		Remedy: "House each species apart.",
		ask:    "Say whether other species share the enclosure", key: "other_species",
		fix: func(c *Case) { c.Setup.OtherSpecies = []string{} }},
		judge: func(s *Setup, _ *Animal) truth {
			if s.OtherSpecies == nil {
				return unknown
			}
			return is(len(s.OtherSpecies) > 0)
		}},
	{Hazard: Hazard{Code: "fighting", Name: "animals that fight", Mend: Separate, Basis: "what the catalogue says of the species' company", Caution: vet,
		Why:    "These animals, kept together, fight; wounds and slow starvation follow.",
		Remedy: "House the animals apart.",
		ask:    "Count the animals, and tell their sexes", key: string(care.GroupSize),
		fix: func(c *Case) { c.Animal.Count = 1 }},
		judge: func(_ *Setup, a *Animal) truth {
			switch {
			case (a.Fights || a.MayFight) && a.Count <= 0, !a.Fights && a.MayFight && a.Count > 1:
				return unknown
			}
			return is(a.Fights && a.Count > 1)
		}},
}

func number0(x *float64, otherwise float64) float64 {
	if x == nil {
		return otherwise
	}
	return *x
}

func figureOf(x *float64, unit string) *Figure {
	if x == nil {
		return nil
	}
	return figure(*x, unit)
}

// heatRule is one hazard of a heat source.
type heatRule struct {
	Hazard
	judge func(*Setup, *Animal, *HeatSource) truth
	fix   func(*HeatSource)
	// drop: the remedy takes the source out.
	drop         bool
	value, limit func(*Setup, *Animal, *HeatSource) *Figure
}

// shines: a lamp that gives light, which the keeper sees and which is off at night.
func shines(kind string) bool { return kind == "basking-lamp" || kind == "halogen-lamp" }

func flat(kind string) bool { return kind == "heat-mat" || kind == "heat-cable" }

var heatRules = [...]heatRule{
	// Inside: within reach and not guarded. Not known whether guarded is never safe,
	// however far away it is said to be. In water: not guarded. Outside, behind glass
	// or mesh: only a climber that clings to the mesh, with the source close behind it.
	// Under the floor there is nothing to touch; overheating is the next rule's.
	{Hazard: Hazard{Code: "touchable_heat", Name: "heat source that can be touched", Mend: Equip, Basis: "own choice of reach; " + practice, Caution: burns,
		Why:    "The animal can touch it from where it stands, by a jump or by climbing, and nothing keeps it off.",
		Remedy: "Fit a guard too fine for a limb or a coil, that stays cool enough to touch, or move the source out of the enclosure.",
		ask:    "Find out where the source is, whether it is guarded, and how far it is from the nearest place the animal can reach", key: "guarded"},
		judge: func(_ *Setup, a *Animal, h *HeatSource) truth {
			if h.Kind == "heated-rock" {
				return no // has a rule of its own
			}
			gap := number(h.Gap, 100)
			least, most := a.Reach()
			reached := not(above(gap, least, most))
			if math.IsInf(least, 1) {
				reached = yes
			}
			if h.Guarded == nil && reached == no {
				reached = unknown
			}
			bare := not(told(h.Guarded))
			clings := every(is(a.Climbs >= 2), not(above(gap, MeshGap, MeshGap)))
			return either(
				every(word(h.Place, Places, "inside"), bare, reached),
				every(word(h.Place, Places, "in-water"), bare),
				every(word(h.Place, Places, "outside"), bare, clings))
		},
		fix:   func(h *HeatSource) { h.Guarded = new(true) },
		value: func(_ *Setup, _ *Animal, h *HeatSource) *Figure { return figureOf(number(h.Gap, 100), "cm") }},
	// A lamp that shines, on a dimmer, is regulated by hand: allowed once the hot spot
	// has been measured, for that is what the hand goes by. What heats in the dark, or
	// can't be dimmed (lamps that give ultraviolet light and heat), needs a thermostat.
	{Hazard: Hazard{Code: "unregulated_heat", Name: "heat that nothing regulates", Mend: Equip, Basis: practice, Caution: electrician,
		Why:    "Nothing holds the temperature when the room warms up or the source runs away; a timer only says when, and a dimmer by hand does only for a lamp that shines.",
		Remedy: "Run it on a thermostat of the kind made for it, with a cut-off.",
		ask:    "Find out what regulates it; for a lamp on a dimmer, measure the hot spot", key: "control"},
		judge: func(s *Setup, _ *Animal, h *HeatSource) truth {
			if h.Kind == "heated-rock" {
				return no
			}
			byHand := every(word(h.Control, Controls, "dimmer"), either(is(!shines(h.Kind)), unmeasured(s.Temperatures.HotSpot)))
			return either(word(h.Control, Controls, "none", "timer-only"), byHand)
		},
		fix: func(h *HeatSource) { h.Control, h.ProbeSenses = "thermostat", new(true) }},
	{Hazard: Hazard{Code: "probe_cannot_feel", Name: "thermostat probe that can't feel the heat", Mend: Adjust, Basis: practice, Caution: electrician,
		Why:    "The thermostat's probe lies where this source does not heat, so the source can overheat unnoticed.",
		Remedy: "Fix the probe where the source heats: on the mat, at the hot spot, in the water.",
		ask:    "Find out whether the thermostat's probe lies where this source heats", key: "probe"},
		judge: func(_ *Setup, _ *Animal, h *HeatSource) truth {
			if h.Kind == "heated-rock" {
				return no
			}
			return every(word(h.Control, Controls, "thermostat"), not(told(h.ProbeSenses)))
		},
		fix: func(h *HeatSource) { h.ProbeSenses = new(true) }},
	{Hazard: Hazard{Code: "mat_under_deep_soil", Name: "mat or cable under deep soil", Mend: Equip, Basis: "own choice of depth; " + practice, Caution: electrician,
		Why:    "Deep soil holds the heat back: the floor overheats while the surface stays cool, and an animal that digs meets the mat.",
		Remedy: "Heat from above instead, guarded and on a thermostat.",
		ask:    "Measure the substrate over the mat or cable, and find out whether it lies under the floor", key: "mat"},
		judge: func(s *Setup, _ *Animal, h *HeatSource) truth {
			return every(is(flat(h.Kind)), word(h.Place, Places, "under-floor"), above(number(s.Substrate.Depth, 100), DeepSoil, DeepSoil))
		},
		fix: func(h *HeatSource) {
			*h = HeatSource{Kind: "radiant-panel", Power: h.Power, Place: "inside", Guarded: new(true), Control: "thermostat", ProbeSenses: new(true)}
		},
		value: func(s *Setup, _ *Animal, _ *HeatSource) *Figure {
			return figureOf(number(s.Substrate.Depth, 100), "cm")
		},
		limit: func(*Setup, *Animal, *HeatSource) *Figure { return figure(DeepSoil, "cm") }},
	{Hazard: Hazard{Code: "heated_rock", Name: "heated rock", Mend: Adjust, Basis: practice, Caution: burns,
		Why:    "It burns the belly of an animal that lies on it and does not feel the heat in time.",
		Remedy: "Take it out; warm the basking place from above, and read the temperatures again.",
		ask:    "Say which heat sources there are", key: "heated_rock"},
		judge: func(_ *Setup, _ *Animal, h *HeatSource) truth { return is(h.Kind == "heated-rock") }, drop: true},
}

func unmeasured(t *quantity.Temperature) truth {
	if t == nil {
		return unknown
	}
	return no
}

// Hazards judges every hazard rule, in a fixed order. What was not stated makes a
// hazard possible, never absent; what can't apply (rocks that are not there) is absent.
func Hazards(s Setup, a Animal) []Hazard {
	s = s.settled()
	return hazards(&s, &a, true)
}

// hazards is Hazards of a settled setup. Without all, only those that are there or
// possible are listed, and those possible don't say why.
func hazards(s *Setup, a *Animal, all bool) []Hazard {
	n := 16
	if all {
		n = len(heatRules)*max(1, len(s.HeatSources)) + len(rules)
	}
	return appendHazards(make([]Hazard, 0, n), s, a, all)
}

func appendHazards(out []Hazard, s *Setup, a *Animal, all bool) []Hazard {
	for k := range heatRules {
		r := &heatRules[k]
		before := len(out)
		if s.HeatSources == nil {
			h := next(&out, &r.Hazard, heatCodes[k])
			h.ask, h.key, h.fix = "Say which heat sources there are", "heat_sources", func(c *Case) { c.Setup.HeatSources = []HeatSource{} }
			h.is(unknown, all)
		}
		for i := range s.HeatSources {
			source := &s.HeatSources[i]
			t := r.judge(s, a, source)
			if !slices.Contains(HeatKinds, source.Kind) {
				t = unknown
			}
			if t == no {
				continue
			}
			h := next(&out, &r.Hazard, heatCodes[k])
			h.At = "heat source " + strconv.Itoa(i+1) + ", " + source.Kind
			h.ask, h.key = h.At+": "+lowerFirst(h.ask), "heat_sources["+strconv.Itoa(i)+"]."+h.key
			h.fix = r.fixAt(i)
			if r.drop {
				h.drops = i + 1
			}
			if r.value != nil {
				h.Value = r.value(s, a, source)
			}
			if r.limit != nil {
				h.Limit = r.limit(s, a, source)
			}
			h.is(t, all)
		}
		if all && len(out) == before {
			next(&out, &r.Hazard, heatCodes[k]).is(no, all)
		}
	}
	for k := range rules {
		r := &rules[k]
		if r.unjudged != nil && r.unjudged(a) {
			if all {
				h := next(&out, &r.Hazard, ruleCodes[k])
				h.Presence, h.Why = NotJudged, "No figure is known for this animal to judge by."
			}
			continue
		}
		t := r.judge(s, a)
		if t == no && !all {
			continue
		}
		h := next(&out, &r.Hazard, ruleCodes[k])
		if r.keyFor != nil {
			h.key = r.keyFor(a)
		}
		if r.value != nil {
			h.Value = r.value(s, a)
		}
		if r.limit != nil {
			h.Limit = r.limit(s, a)
		}
		h.is(t, all)
	}
	return out
}

// heatCodes and ruleCodes list the code of each rule alone, for hazards to share.
var heatCodes, ruleCodes = func() (heat [len(heatRules)][]string, other [len(rules)][]string) {
	for i := range heatRules {
		heat[i] = []string{heatRules[i].Code}
	}
	for i := range rules {
		other[i] = []string{rules[i].Code}
	}
	return heat, other
}()

// next adds a hazard to a list and gives it where it lies: hazards are large, and are
// written to in place.
func next(out *[]Hazard, h *Hazard, alone []string) *Hazard {
	*out = append(*out, *h)
	last := &(*out)[len(*out)-1]
	last.alone = alone
	return last
}

func (r *heatRule) fixAt(i int) func(*Case) {
	return func(c *Case) {
		if r.drop {
			c.Setup.HeatSources = slices.Delete(slices.Clone(c.Setup.HeatSources), i, i+1)
			return
		}
		c.Setup.HeatSources = slices.Clone(c.Setup.HeatSources)
		r.fix(&c.Setup.HeatSources[i])
	}
}

// is says whether the hazard is there and, with why, what a possible one hangs on.
func (h *Hazard) is(t truth, why bool) {
	switch t {
	case yes:
		h.Presence = Definite
	case unknown:
		h.Presence, h.Why = Possible, ""
		if why {
			h.Why = "Not known: " + lowerFirst(h.ask) + "."
		}
	default:
		h.Presence, h.Why = Absent, "Ruled out by what is stated, or can't arise with this animal."
	}
}

func lowerFirst(s string) string {
	if s != "" && s[0] >= 'A' && s[0] <= 'Z' {
		return string(s[0]+'a'-'A') + s[1:]
	}
	return s
}
