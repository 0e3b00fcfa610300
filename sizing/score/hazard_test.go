package score

import (
	"math"
	"testing"

	"denwright/care"
)

// presenceOf is the worst presence of a hazard code, over all heat sources.
func presenceOf(hs []Hazard, code string) Presence {
	out := Presence("")
	for _, h := range hs {
		if h.Code == code && (out == "" || severity(h.Presence) > severity(out)) {
			out = h.Presence
		}
	}
	return out
}

func TestHazards(t *testing.T) {
	lamp := func(f func(*HeatSource)) func(*Setup, *Animal) {
		return func(s *Setup, _ *Animal) { f(&s.HeatSources[0]) }
	}
	mat := func(place string, depth *float64) func(*Setup, *Animal) {
		return func(s *Setup, _ *Animal) {
			s.HeatSources[0].Kind, s.HeatSources[0].Place = "heat-mat", place
			s.Substrate.Depth = nil
			if depth != nil {
				s.Substrate.Depth = lengthOf(*depth)
			}
		}
	}
	bare := func(climbs int, gap *float64) func(*Setup, *Animal) {
		return func(s *Setup, a *Animal) {
			a.Climbs = climbs
			s.HeatSources[0].Guarded, s.HeatSources[0].Gap = new(false), nil
			if gap != nil {
				s.HeatSources[0].Gap = lengthOf(*gap)
			}
		}
	}
	axolotl := func(s *Setup, a *Animal) {
		*a = Animal{Group: care.Amphibian, Habit: care.Aquatic, Swims: 3, Length: Exactly(25), WaterHigh: new(18.0), Count: 1}
	}
	tests := []struct {
		code, name string
		change     func(*Setup, *Animal)
		want       Presence
	}{
		{"touchable_heat", "guarded", nil, Absent},
		{"touchable_heat", "unguarded, nearer than a body length", bare(1, new(30.0)), Definite},
		{"touchable_heat", "unguarded, out of reach", bare(1, new(60.0)), Absent},
		{"touchable_heat", "the same gap for a climber", bare(2, new(60.0)), Definite},
		{"touchable_heat", "out of a climber's reach", bare(2, new(80.0)), Absent},
		{"touchable_heat", "one that lives by climbing, whatever the gap", bare(3, new(200.0)), Definite},
		{"touchable_heat", "one that lives by climbing, gap not measured", bare(3, nil), Definite},
		{"touchable_heat", "unguarded, gap not measured", bare(1, nil), Possible},
		{"touchable_heat", "unguarded, animal not measured", func(s *Setup, a *Animal) {
			bare(1, new(30.0))(s, a)
			a.Length = Measurement{}
		}, Possible},
		{"touchable_heat", "unguarded and touching, animal not measured", func(s *Setup, a *Animal) {
			bare(1, new(3.0))(s, a)
			a.Length = Measurement{}
		}, Definite},
		{"touchable_heat", "guard not stated", lamp(func(h *HeatSource) { h.Guarded = nil }), Possible},
		{"touchable_heat", "guard not stated, out of reach", lamp(func(h *HeatSource) { h.Guarded, h.Gap = nil, lengthOf(90) }), Possible},
		{"touchable_heat", "place not stated, unguarded", lamp(func(h *HeatSource) { h.Place, h.Guarded = "", new(false) }), Possible},
		{"touchable_heat", "heater in water, unguarded", lamp(func(h *HeatSource) { h.Kind, h.Place, h.Guarded = "water-heater", "in-water", new(false) }), Definite},
		{"touchable_heat", "outside, not a climber", lamp(func(h *HeatSource) { h.Place, h.Guarded, h.Gap = "outside", nil, nil }), Absent},
		{"touchable_heat", "outside close behind mesh, a climber", func(s *Setup, a *Animal) {
			a.Climbs = 3
			s.HeatSources[0].Place, s.HeatSources[0].Guarded, s.HeatSources[0].Gap = "outside", new(false), lengthOf(2)
		}, Definite},
		{"touchable_heat", "outside with a gap, a climber", func(s *Setup, a *Animal) {
			a.Climbs = 3
			s.HeatSources[0].Place, s.HeatSources[0].Guarded, s.HeatSources[0].Gap = "outside", nil, lengthOf(12)
		}, Absent},
		{"touchable_heat", "under the floor", lamp(func(h *HeatSource) { h.Kind, h.Place, h.Guarded = "heat-mat", "under-floor", nil }), Absent},
		{"touchable_heat", "sources not stated", func(s *Setup, _ *Animal) { s.HeatSources = nil }, Possible},
		{"touchable_heat", "no sources", func(s *Setup, _ *Animal) { s.HeatSources = []HeatSource{} }, Absent},
		{"touchable_heat", "a kind of source not known", lamp(func(h *HeatSource) { h.Kind = "bonfire" }), Possible},
		{"touchable_heat", "the second of two", func(s *Setup, _ *Animal) {
			s.HeatSources = append(s.HeatSources, HeatSource{Kind: "ceramic-emitter", Place: "inside", Guarded: new(false), Gap: lengthOf(4)})
		}, Definite},

		{"unregulated_heat", "on a thermostat", nil, Absent},
		{"unregulated_heat", "nothing", lamp(func(h *HeatSource) { h.Control = "none" }), Definite},
		{"unregulated_heat", "a timer", lamp(func(h *HeatSource) { h.Control = "timer-only" }), Definite},
		{"unregulated_heat", "not stated", lamp(func(h *HeatSource) { h.Control = "" }), Possible},
		{"unregulated_heat", "a word not known", lamp(func(h *HeatSource) { h.Control = "prayer" }), Possible},
		{"unregulated_heat", "lamp dimmed by hand, hot spot measured", lamp(func(h *HeatSource) { h.Control = "dimmer" }), Absent},
		{"unregulated_heat", "lamp dimmed by hand, hot spot not measured", func(s *Setup, _ *Animal) {
			s.HeatSources[0].Control, s.Temperatures.HotSpot = "dimmer", nil
		}, Possible},
		{"unregulated_heat", "emitter on a dimmer", lamp(func(h *HeatSource) { h.Kind, h.Control = "ceramic-emitter", "dimmer" }), Definite},
		{"unregulated_heat", "UV and heat lamp on a dimmer", lamp(func(h *HeatSource) { h.Kind, h.Control = "uv-heat-lamp", "dimmer" }), Definite},
		{"unregulated_heat", "sources not stated", func(s *Setup, _ *Animal) { s.HeatSources = nil }, Possible},

		{"probe_cannot_feel", "it feels", nil, Absent},
		{"probe_cannot_feel", "it can't", lamp(func(h *HeatSource) { h.ProbeSenses = new(false) }), Definite},
		{"probe_cannot_feel", "not stated", lamp(func(h *HeatSource) { h.ProbeSenses = nil }), Possible},
		{"probe_cannot_feel", "no thermostat", lamp(func(h *HeatSource) { h.Control, h.ProbeSenses = "none", nil }), Absent},

		{"mat_under_deep_soil", "deep", mat("under-floor", new(12.0)), Definite},
		{"mat_under_deep_soil", "shallow", mat("under-floor", new(4.0)), Absent},
		{"mat_under_deep_soil", "depth not measured", mat("under-floor", nil), Possible},
		{"mat_under_deep_soil", "place not stated", mat("", new(12.0)), Possible},
		{"mat_under_deep_soil", "on the wall", mat("inside", new(12.0)), Absent},
		{"mat_under_deep_soil", "a lamp", nil, Absent},

		{"heated_rock", "there", lamp(func(h *HeatSource) { *h = HeatSource{Kind: "heated-rock"} }), Definite},
		{"heated_rock", "not there", nil, Absent},
		{"heated_rock", "sources not stated", func(s *Setup, _ *Animal) { s.HeatSources = nil }, Possible},

		{"uv_over_ceiling", "within", nil, Absent},
		{"uv_over_ceiling", "over what any lamp should give", func(s *Setup, _ *Animal) { s.UV.Basking = index(8.5) }, Definite},
		{"uv_over_ceiling", "over it, range not known", func(s *Setup, a *Animal) { s.UV.Basking, a.UVHigh = index(8.5), nil }, Definite},
		{"uv_over_ceiling", "over the ceiling of a shade dweller", func(s *Setup, a *Animal) { s.UV.Basking, a.UVHigh = index(5), new(1.4) }, Definite},
		{"uv_over_ceiling", "over its range, under its ceiling", func(s *Setup, a *Animal) { s.UV.Basking, a.UVHigh = index(4), new(1.4) }, Absent},
		{"uv_over_ceiling", "not measured", func(s *Setup, _ *Animal) { s.UV.Basking = nil }, Possible},

		{"uv_below_290_nm", "like sunlight", nil, Absent},
		{"uv_below_290_nm", "below", func(s *Setup, _ *Animal) { s.UV.Spectrum = "below-290-nm" }, Definite},
		{"uv_below_290_nm", "at a low index too", func(s *Setup, _ *Animal) { s.UV.Spectrum, s.UV.Basking = "below-290-nm", index(0.1) }, Definite},
		{"uv_below_290_nm", "unknown", func(s *Setup, _ *Animal) { s.UV.Spectrum = "unknown" }, Possible},
		{"uv_below_290_nm", "not stated", func(s *Setup, _ *Animal) { s.UV.Spectrum = "" }, Possible},
		{"uv_below_290_nm", "no UV lamp", func(s *Setup, _ *Animal) { s.UV = UV{Basking: index(0)} }, Absent},

		{"no_cool_refuge", "cool", nil, Absent},
		{"no_cool_refuge", "a little over the range", func(s *Setup, _ *Animal) { s.Temperatures.CoolAir = degrees(29) }, Absent},
		{"no_cool_refuge", "well over", func(s *Setup, _ *Animal) { s.Temperatures.CoolAir = degrees(31) }, Definite},
		{"no_cool_refuge", "near the critical maximum", func(s *Setup, a *Animal) {
			a.CriticalMax = new(33.0)
			s.Temperatures.CoolAir = degrees(28)
		}, Definite},
		{"no_cool_refuge", "not measured", func(s *Setup, _ *Animal) { s.Temperatures.CoolAir = nil }, Possible},
		{"no_cool_refuge", "nothing known to judge by", func(_ *Setup, a *Animal) { a.CoolHigh, a.CriticalMax = nil, nil }, NotJudged},
		{"no_cool_refuge", "warm water", func(s *Setup, a *Animal) { axolotl(s, a); s.Temperatures.Water = degrees(24) }, Definite},
		{"no_cool_refuge", "cool water", func(s *Setup, a *Animal) { axolotl(s, a); s.Temperatures.Water = degrees(17) }, Absent},
		{"no_cool_refuge", "water not measured", axolotl, Possible},

		{"electrics_not_spray_proof", "dry animal", func(s *Setup, _ *Animal) { s.Electrics = Electrics{} }, Absent},
		{"electrics_not_spray_proof", "misted, rated", func(_ *Setup, a *Animal) { a.HumidityLow = new(70.0) }, Absent},
		{"electrics_not_spray_proof", "misted, not rated", func(s *Setup, a *Animal) { a.HumidityLow, s.Electrics.SprayProof = new(70.0), new(false) }, Definite},
		{"electrics_not_spray_proof", "misted, not stated", func(s *Setup, a *Animal) { a.HumidityLow, s.Electrics.SprayProof = new(70.0), nil }, Possible},
		{"electrics_not_spray_proof", "heater in water without a residual current device", func(s *Setup, a *Animal) {
			axolotl(s, a)
			s.HeatSources[0].Place, s.Electrics.RCD = "in-water", new(false)
		}, Definite},
		{"electrics_not_spray_proof", "heater in water, drip loops not stated", func(s *Setup, a *Animal) {
			axolotl(s, a)
			s.HeatSources[0].Place, s.Electrics.DripLoops = "in-water", nil
		}, Possible},
		{"electrics_not_spray_proof", "no residual current device, nothing in water", func(s *Setup, a *Animal) {
			axolotl(s, a)
			s.Electrics.RCD = new(false)
		}, Absent},

		{"water_without_exit", "shallow", func(s *Setup, _ *Animal) { s.Water.Exit = new(false) }, Absent},
		{"water_without_exit", "deep", func(s *Setup, _ *Animal) { s.Water = Water{Depth: lengthOf(15), Exit: new(false)} }, Definite},
		{"water_without_exit", "deep, with a ramp", func(s *Setup, _ *Animal) { s.Water = Water{Depth: lengthOf(15), Exit: new(true)} }, Absent},
		{"water_without_exit", "deep, exit not stated", func(s *Setup, _ *Animal) { s.Water = Water{Depth: lengthOf(15)} }, Possible},
		{"water_without_exit", "nothing stated", func(s *Setup, _ *Animal) { s.Water = Water{} }, Possible},
		{"water_without_exit", "no water", func(s *Setup, _ *Animal) { s.Water = Water{Present: new(false)} }, Absent},
		{"water_without_exit", "a swimmer", func(s *Setup, a *Animal) { a.Swims = 3; s.Water = Water{Depth: lengthOf(15), Exit: new(false)} }, Absent},

		{"no_lid", "closed", nil, Absent},
		{"no_lid", "open", func(s *Setup, _ *Animal) { s.Access.Lid = new(false) }, Definite},
		{"no_lid", "not stated", func(s *Setup, _ *Animal) { s.Access.Lid = nil }, Possible},
		{"no_lid", "open, a tortoise", func(s *Setup, a *Animal) { a.Group, a.Climbs, s.Access.Lid = care.Chelonian, 0, new(false) }, Absent},
		{"no_lid", "open, a frog", func(s *Setup, a *Animal) { a.Group, a.Climbs, s.Access.Lid = care.Amphibian, 0, new(false) }, Definite},

		{"no_lock", "a lizard that barely climbs", func(s *Setup, _ *Animal) { s.Access.Lock = new(false) }, Absent},
		{"no_lock", "a climber", func(s *Setup, a *Animal) { a.Climbs, s.Access.Lock = 2, new(false) }, Definite},
		{"no_lock", "a snake", func(s *Setup, a *Animal) { a.Group, s.Access.Lock = care.Snake, new(false) }, Definite},
		{"no_lock", "a venomous lizard", func(s *Setup, a *Animal) { a.Venomous, s.Access.Lock = true, new(false) }, Definite},
		{"no_lock", "a known escaper", func(s *Setup, a *Animal) { a.Escapes, s.Access.Lock = true, new(false) }, Definite},
		{"no_lock", "a snake, not stated", func(s *Setup, a *Animal) { a.Group, s.Access.Lock = care.Snake, nil }, Possible},
		{"no_lock", "a snake, locked", func(_ *Setup, a *Animal) { a.Group = care.Snake }, Absent},

		{"rocks_undermined", "on the floor", nil, Absent},
		{"rocks_undermined", "on soil", func(s *Setup, _ *Animal) { s.Rocks.OnFloor = new(false) }, Definite},
		{"rocks_undermined", "not stated on what", func(s *Setup, _ *Animal) { s.Rocks.OnFloor = nil }, Possible},
		{"rocks_undermined", "not stated whether any", func(s *Setup, _ *Animal) { s.Rocks = Rocks{OnFloor: new(false)} }, Possible},
		{"rocks_undermined", "no rocks", func(s *Setup, _ *Animal) { s.Rocks = Rocks{Present: new(false)} }, Absent},
		{"rocks_undermined", "an animal that never digs", func(s *Setup, a *Animal) { a.Digs, s.Rocks.OnFloor = 0, new(false) }, Absent},

		{"unstable_stand", "stable", nil, Absent},
		{"unstable_stand", "unstable", func(s *Setup, _ *Animal) { s.Stand.Stable = new(false) }, Definite},
		{"unstable_stand", "not stated", func(s *Setup, _ *Animal) { s.Stand = Stand{} }, Possible},
		{"unstable_stand", "out of level on land", func(s *Setup, _ *Animal) { s.Stand.Level = new(false) }, Absent},
		{"unstable_stand", "a tank out of level", func(s *Setup, a *Animal) { axolotl(s, a); s.Stand.Level = new(false) }, Definite},

		{"other_species", "none", nil, Absent},
		{"other_species", "one", func(s *Setup, _ *Animal) { s.OtherSpecies = []string{"testudo-graeca"} }, Definite},
		{"other_species", "not stated", func(s *Setup, _ *Animal) { s.OtherSpecies = nil }, Possible},

		{"fighting", "alone", func(_ *Setup, a *Animal) { a.Fights = true }, Absent},
		{"fighting", "two that fight", func(_ *Setup, a *Animal) { a.Fights, a.Count = true, 2 }, Definite},
		{"fighting", "two that do not", func(_ *Setup, a *Animal) { a.Count = 2 }, Absent},
		{"fighting", "two whose sexes are not known", func(_ *Setup, a *Animal) { a.MayFight, a.Count = true, 2 }, Possible},
		{"fighting", "one whose sex is not known", func(_ *Setup, a *Animal) { a.MayFight, a.Count = true, 1 }, Absent},
		{"fighting", "not counted", func(_ *Setup, a *Animal) { a.Fights, a.Count = true, 0 }, Possible},
	}
	covered := map[string]map[Presence]bool{}
	for _, test := range tests {
		t.Run(test.code+"/"+test.name, func(t *testing.T) {
			s, a := safeSetup(), safeAnimal()
			if test.change != nil {
				test.change(&s, &a)
			}
			hs := Hazards(s, a)
			if got := presenceOf(hs, test.code); got != test.want {
				t.Errorf("%s, want %s", got, test.want)
			}
			for _, h := range hs {
				if h.Name == "" || h.Why == "" || h.Remedy == "" || h.Caution == "" || h.Basis == "" || h.Mend.Effort() == 0 {
					t.Errorf("%s leaves something unsaid: %+v", h.Code, h)
				}
			}
		})
		if covered[test.code] == nil {
			covered[test.code] = map[Presence]bool{}
		}
		covered[test.code][test.want] = true
	}
	for _, h := range Hazards(safeSetup(), safeAnimal()) {
		for _, p := range []Presence{Definite, Possible, Absent} {
			if h.Presence != Absent {
				t.Errorf("the safe setup has hazard %s: %s", h.Code, h.Presence)
			}
			if !covered[h.Code][p] {
				t.Errorf("no case tests %s as %s", h.Code, p)
			}
		}
	}
}

// With nothing stated, no hazard that could be there is taken to be absent.
func TestNothingStatedIsNeverSafe(t *testing.T) {
	a := Animal{Group: care.Snake, Habit: care.SemiArboreal, Climbs: 2, Digs: 1, HumidityLow: new(70.0), CoolHigh: new(26.0), Count: 2, Fights: true, Length: Exactly(150)}
	for _, h := range Hazards(Setup{}, a) {
		want := Possible
		if h.Code == "fighting" { // that is known
			want = Definite
		}
		if h.Presence != want {
			t.Errorf("%s is %s, want %s", h.Code, h.Presence, want)
		}
	}
}

func TestReachAndCeilings(t *testing.T) {
	for _, test := range []struct {
		a           Animal
		least, most float64
	}{
		{Animal{Group: care.Chelonian, Length: Exactly(20)}, 10, 10},
		{Animal{Group: care.Lizard, Length: Exactly(50)}, 50, 50},
		{Animal{Group: care.Snake, Climbs: 2, Length: Exactly(100)}, 150, 150},
		{Animal{Group: care.Amphibian, Length: Exactly(6)}, 30, 30},
		{Animal{Group: care.Lizard, Length: Exactly(2)}, 5, 5},
		{Animal{Group: care.Lizard, Length: Within(30, 50)}, 30, 50},
		{Animal{Group: care.Lizard}, 5, math.Inf(1)},
		{Animal{Group: care.Lizard, Climbs: 3, Length: Exactly(10)}, math.Inf(1), math.Inf(1)},
	} {
		if least, most := test.a.Reach(); least != test.least || most != test.most {
			t.Errorf("reach of %+v: %g to %g, want %g to %g", test.a, least, most, test.least, test.most)
		}
	}
	for high, want := range map[float64]float64{0.7: 3.7, 3: 6, 7.4: 8, 9.5: 8} {
		if got := (&Animal{UVHigh: &high}).UVCeiling(); math.Abs(got-want) > 1e-9 {
			t.Errorf("UV ceiling over a range up to %g: %g, want %g", high, got, want)
		}
	}
}
