package sizing_test

import (
	"fmt"
	"maps"
	"math/bits"
	"slices"
	"testing"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing"
	"denwright/sizing/score"
)

// breaks are things that go wrong in an enclosure, each mended by one change.
var breaks = map[string]func(*score.Setup){
	"hot spot 6 K low": func(s *score.Setup) {
		if t := s.Temperatures.HotSpot; t != nil {
			s.Temperatures.HotSpot = new(*t - 6)
		}
	},
	"cool end warm":   func(s *score.Setup) { s.Temperatures.CoolAir = new(*s.Temperatures.CoolAir + 2.5) },
	"no cool retreat": func(s *score.Setup) { s.Retreats.Cool = new(false) },
	"no warm retreat": func(s *score.Setup) { s.Retreats.Warm = new(false) },
	"no vents":        func(s *score.Setup) { s.Ventilation = "none" },
	"no dish":         func(s *score.Setup) { s.Water.Dish = new(false) },
	"dry":             func(s *score.Setup) { s.Humidity.Day = new(quantity.Fraction(0.02)) },
	"no lock":         func(s *score.Setup) { s.Access.Lock = new(false) },
	"bare lamp": func(s *score.Setup) {
		s.HeatSources = append(s.HeatSources, score.HeatSource{Kind: "halogen-lamp", Power: new(quantity.Power(75)), Place: "inside", Guarded: new(false), Gap: new(quantity.Centimetres(1)), Control: "thermostat", ProbeSenses: new(true)})
	},
	"heated rock": func(s *score.Setup) {
		s.HeatSources = append([]score.HeatSource{{Kind: "heated-rock", Power: new(quantity.Power(10))}}, s.HeatSources...)
	},
	"hot refuge not measured": func(s *score.Setup) { s.UV.Refuge = nil },
}

// TestSmallestSetOfChanges breaks good enclosures in some places, finds by trying
// every subset of repairs how few reach the aim, and asks for a plan: it has no more
// steps than that, each scored after the one before, and adds no hazard.
func TestSmallestSetOfChanges(t *testing.T) {
	c := catalogue(t)
	names := slices.Sorted(maps.Keys(breaks))
	plans := 0
	for n, id := range []string{"pogona-vitticeps", "python-regius", "testudo-hermanni", "correlophus-ciliatus", "dendrobates-auratus", "varanus-exanthematicus"} {
		s := c.SpeciesByID(id)
		good := ideal(t, c, s, "", 1)
		for round := range 4 {
			var broken []string
			for i, name := range names {
				if (i*7+n*3+round*5)%11 < 6 {
					broken = append(broken, name)
				}
			}
			// mask has a bit for each thing that stays broken.
			with := func(mask uint) score.Setup {
				setup := good
				setup.Inside, setup.HeatSources = new(*good.Inside), slices.Clone(good.HeatSources)
				for i, name := range broken {
					if mask>>i&1 == 1 {
						breaks[name](&setup)
					}
				}
				return setup
			}
			animals := sizing.Question{Species: id, Animals: []sizing.Animal{{Count: 1, Stage: care.Adult}}}
			for _, aim := range []*float64{nil, new(0.8), new(0.9)} {
				fewest := len(broken) + 1
				for mask := range uint(1) << len(broken) {
					mended := len(broken) - bits.OnesCount(mask)
					if mended >= fewest {
						continue
					}
					a, err := sizing.Assess(c, sizing.AssessmentQuestion{Question: animals, Setup: with(mask)})
					if err != nil {
						t.Fatal(id, err)
					}
					if aim == nil && a.WorstVerdict == score.Suitable || aim != nil && a.Score.Worst >= *aim {
						fewest = mended
					}
				}
				setup := with(1<<len(broken) - 1)
				plan, err := sizing.Changes(c, sizing.ChangeQuestion{AssessmentQuestion: sizing.AssessmentQuestion{Question: animals, Setup: setup}, Aim: sizing.ChangeAim{Score: aim}})
				if err != nil {
					t.Fatal(id, err)
				}
				what := fmt.Sprintf("%s with %q, aim %s", id, broken, plan.Aim)
				if fewest > len(broken) {
					t.Fatalf("%s: even whole it does not reach the aim", what)
				}
				if plan.Reached == "no" || len(plan.Steps) > fewest || !plan.Smallest {
					t.Errorf("%s: %d repairs reach it; the plan has %d steps, reached %q, smallest %v, left %q", what, fewest, len(plan.Steps), plan.Reached, plan.Smallest, plan.Left)
				}
				checkSteps(t, what, plan)
				plans++
			}
		}
	}
	t.Logf("%d plans", plans)
}

func checkSteps(t *testing.T, what string, plan *sizing.ChangePlan) {
	t.Helper()
	last := plan.Before
	steps := 0
	for _, e := range plan.Effort {
		steps += e.Steps
	}
	if steps != len(plan.Steps) {
		t.Errorf("%s: efforts %v of %d steps", what, plan.Effort, len(plan.Steps))
	}
	for i, s := range plan.Steps {
		if s.After.Score.Worst < last.Score.Worst-1e-9 || s.After.Score.Best < last.Score.Best-1e-9 {
			t.Errorf("%s: step %d (%s) takes the score from %v to %v", what, i+1, s.What, last.Score, s.After.Score)
		}
		if s.Watts == nil && s.WattsBasis == "" {
			t.Errorf("%s: step %s says nothing of watts", what, s.Code)
		}
		last = s.After
	}
	if last != plan.After {
		t.Errorf("%s: the plan ends at %+v, its last step at %+v", what, plan.After, last)
	}
}

// TestChangesThatCannotReach: where the floor is too small, or the work wanted is
// more than accepted, the plan says what is left and claims nothing.
func TestChangesThatCannotReach(t *testing.T) {
	c := catalogue(t)
	s := c.SpeciesByID("pogona-vitticeps")
	setup := ideal(t, c, s, "", 0)
	setup.Inside.Length, setup.Inside.Width = new(quantity.Centimetres(60)), new(quantity.Centimetres(40))
	setup.Retreats.Cool = new(false)
	ask := func(q sizing.ChangeQuestion) *sizing.ChangePlan {
		q.Question = sizing.Question{Species: s.ID, Animals: []sizing.Animal{{Count: 1, Stage: care.Adult}}}
		plan, err := sizing.Changes(c, q)
		if err != nil {
			t.Fatal(err)
		}
		return plan
	}
	plan := ask(sizing.ChangeQuestion{AssessmentQuestion: sizing.AssessmentQuestion{Setup: setup}})
	if plan.Reached != "no" || plan.Smallest || len(plan.Left) == 0 || len(plan.Steps) != 1 || plan.Steps[0].Code != "retreat_cool" {
		t.Errorf("too small: %+v", plan)
	}
	setup = ideal(t, c, s, "", 1)
	setup.Ventilation = "none"
	if plan = ask(sizing.ChangeQuestion{AssessmentQuestion: sizing.AssessmentQuestion{Setup: setup}, Aim: sizing.ChangeAim{Hardest: score.Equip}}); plan.Reached != "no" || len(plan.Steps) != 0 || len(plan.Left) != 1 {
		t.Errorf("vents, but nothing harder than a device: %+v", plan)
	}
	if plan = ask(sizing.ChangeQuestion{AssessmentQuestion: sizing.AssessmentQuestion{Setup: ideal(t, c, s, "", 1)}}); plan.Reached != "yes" || len(plan.Steps) != 0 || !plan.Smallest {
		t.Errorf("nothing to do: %+v", plan)
	}
}

// TestRunningWatts: heat in proportion to the excess over the room; what is taken out
// is subtracted; a lamp not yet chosen is not known.
func TestRunningWatts(t *testing.T) {
	c := catalogue(t)
	s := c.SpeciesByID("pogona-vitticeps")
	setup := ideal(t, c, s, "", 1)
	setup.Temperatures.HotSpot = new(quantity.Temperature(32))
	setup.HeatSources = []score.HeatSource{
		{Kind: "heated-rock", Power: new(quantity.Power(12))},
		{Kind: "halogen-lamp", Power: new(quantity.Power(48)), Place: "inside", Guarded: new(true), Gap: new(quantity.Centimetres(40)), Control: "thermostat", ProbeSenses: new(true)},
	}
	plan, err := sizing.Changes(c, sizing.ChangeQuestion{Room: new(quantity.Temperature(20)), AssessmentQuestion: sizing.AssessmentQuestion{Setup: setup,
		Question: sizing.Question{Species: s.ID, Animals: []sizing.Animal{{Count: 1, Stage: care.Adult}}}}})
	if err != nil {
		t.Fatal(err)
	}
	low := *c.Range(s.ID, care.HotSpot, care.Adult).Low
	// 48 W (the rock is out by then, or not: 60 W) hold 12 K over the room.
	want := map[string]float64{"hotspot_surface_day": 60 * (low - 32) / 12, "heat_sources[0].heated_rock": -12}
	for _, step := range plan.Steps {
		if step.Watts == nil || float64(*step.Watts) < want[step.Code]-1e-6 || float64(*step.Watts) > want[step.Code]+1e-6 {
			t.Errorf("%s: %v W (%s), want %v", step.Code, step.Watts, step.WattsBasis, want[step.Code])
		}
	}
	if len(plan.Steps) != 2 || plan.Reached != "yes" || plan.Watts == nil {
		t.Errorf("%+v", plan)
	}
}

// BenchmarkChanges: a plan for a setup with six things wrong.
func BenchmarkChanges(b *testing.B) {
	c := catalogue(b)
	setup := ideal(b, c, c.SpeciesByID("pogona-vitticeps"), "", 1)
	for _, name := range []string{"hot spot 6 K low", "no cool retreat", "no vents", "dry", "bare lamp", "heated rock"} {
		breaks[name](&setup)
	}
	q := sizing.ChangeQuestion{AssessmentQuestion: sizing.AssessmentQuestion{Setup: setup, Question: sizing.Question{Species: "pogona-vitticeps", Animals: []sizing.Animal{{Count: 1, Stage: care.Adult}}}}}
	for b.Loop() {
		if _, err := sizing.Changes(c, q); err != nil {
			b.Fatal(err)
		}
	}
}
