package sizing_test

import (
	"errors"
	"flag"
	"maps"
	"math"
	"slices"
	"testing"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing"
	"denwright/sizing/score"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// matchSetups is how many generated setups the brute force goes over; each is put to
// every species. -match.setups=1000 is the long run.
var matchSetups = flag.Int("match.setups", 40, "generated setups that Match is compared with Assess over")

// drawWholeSetup draws a setup over everything that is judged, heat sources included.
func drawWholeSetup(t *rapid.T) score.Setup {
	s := drawSetup(t)
	yesNo := func(name string) *bool {
		return rapid.SampledFrom([]*bool{nil, new(true), new(false)}).Draw(t, name)
	}
	if rapid.Bool().Draw(t, "ample") { // else hardly any setup is large enough for any animal
		s.Inside.Length, s.Inside.Width = new(quantity.Centimetres(rapid.Float64Range(100, 800).Draw(t, "ample length"))), new(quantity.Centimetres(rapid.Float64Range(80, 500).Draw(t, "ample width")))
	}
	if rapid.Bool().Draw(t, "fixture known") {
		s.Inside.LowestFixture = new(*s.Inside.Height * quantity.Length(rapid.Float64Range(0.3, 1).Draw(t, "fixture")))
	}
	if rapid.Bool().Draw(t, "uv known") {
		s.UV.Basking, s.UV.Shade = new(quantity.UVIndex(rapid.Float64Range(0, 12).Draw(t, "uv"))), new(quantity.UVIndex(rapid.Float64Range(0, 4).Draw(t, "shade")))
	}
	s.UV.Refuge, s.UV.Spectrum = yesNo("uv refuge"), rapid.SampledFrom(append([]string{""}, score.Spectra...)).Draw(t, "spectrum")
	if rapid.Bool().Draw(t, "water known") {
		s.Water.Length, s.Water.Width = new(quantity.Centimetres(rapid.Float64Range(10, 200).Draw(t, "water length"))), new(quantity.Centimetres(rapid.Float64Range(10, 100).Draw(t, "water width")))
		s.Water.Depth, s.Water.Volume = new(quantity.Centimetres(rapid.Float64Range(0, 60).Draw(t, "water depth"))), new(quantity.Litres(rapid.Float64Range(1, 600).Draw(t, "water volume")))
	} else {
		s.Water.Present = yesNo("water present")
	}
	s.Electrics = score.Electrics{SprayProof: yesNo("spray"), DripLoops: yesNo("loops"), RCD: yesNo("rcd")}
	s.Rocks = score.Rocks{Present: yesNo("rocks"), OnFloor: yesNo("on floor")}
	s.Stand = score.Stand{Level: yesNo("level"), Stable: yesNo("stable")}
	s.OtherSpecies = rapid.SampledFrom([][]string{nil, {}, {"python-regius"}}).Draw(t, "others")
	if rapid.Bool().Draw(t, "heat known") {
		s.HeatSources = []score.HeatSource{}
		for range rapid.IntRange(0, 3).Draw(t, "sources") {
			h := score.HeatSource{Kind: rapid.SampledFrom(score.HeatKinds).Draw(t, "kind"), Place: rapid.SampledFrom(append([]string{""}, score.Places...)).Draw(t, "place"),
				Control: rapid.SampledFrom(append([]string{""}, score.Controls...)).Draw(t, "control"), Guarded: yesNo("guarded"), ProbeSenses: yesNo("probe")}
			if rapid.Bool().Draw(t, "gap known") {
				h.Gap = new(quantity.Centimetres(rapid.Float64Range(0, 80).Draw(t, "gap")))
			}
			s.HeatSources = append(s.HeatSources, h)
		}
	}
	return s
}

// wellKept is a setup in which nothing but the size can be wrong.
func wellKept() score.Setup {
	return score.Setup{Inside: &score.Inside{}, Retreats: score.Retreats{Warm: new(true), Cool: new(true), Humid: new(true)},
		Climbing: score.Climbing{Structures: new(true)}, Ventilation: "low-and-high", HeatSources: []score.HeatSource{},
		Access: score.Access{Lid: new(true), Lock: new(true)}, Electrics: score.Electrics{SprayProof: new(true), DripLoops: new(true), RCD: new(true)},
		Rocks: score.Rocks{Present: new(false)}, Stand: score.Stand{Level: new(true), Stable: new(true)}, OtherSpecies: []string{},
		UV: score.UV{Refuge: new(true), Spectrum: "like-sunlight"}, Water: score.Water{Dish: new(true), Exit: new(true), HaulOut: new(true)}}
}

// TestMatchEqualsBruteForce puts generated setups to every species one by one and
// all together: verdicts and scores are the same to the last bit.
func TestMatchEqualsBruteForce(t *testing.T) {
	c := catalogue(t)
	jurisdictions := append([]string{"", ""}, c.Jurisdictions()...)
	setups, answers := 0, 0
	seen := map[sizing.Fit]int{}
	gen := rapid.Custom(drawWholeSetup)
	for setups < *matchSetups {
		setup := gen.Example(setups)
		if setups%8 == 7 { // one in which some animal fits as it is
			setup = ideal(t, c, c.Species()[setups*31%len(c.Species())], "", 0.5)
		}
		q := sizing.MatchQuestion{Setup: setup, Count: 1 + setups%3, Stage: care.Stages[(setups/2)%len(care.Stages)], Jurisdiction: jurisdictions[setups%len(jurisdictions)]}
		if setups%2 == 0 {
			q.Stage = care.Adult
		}
		setups++
		m, err := sizing.Match(c, q)
		if err != nil {
			t.Fatal(err)
		}
		if len(m.Species) != len(c.Species()) {
			t.Fatalf("%d species listed, %d are held", len(m.Species), len(c.Species()))
		}
		last := 0
		for i, k := range m.Species {
			a, err := sizing.Assess(c, sizing.AssessmentQuestion{Setup: setup, Question: sizing.Question{Species: k.Species.ID, Jurisdiction: q.Jurisdiction,
				Animals: []sizing.Animal{{Count: q.Count, Stage: q.Stage}}}})
			if err != nil {
				t.Fatal(k.Species.ID, err)
			}
			type both struct {
				Verdict, Worst, Best   score.Verdict
				Score, Weakest, Before score.Interval
				Lawful                 *sizing.LawfulFinding
			}
			got := both{k.Verdict, k.WorstVerdict, k.BestVerdict, k.Score, k.Weakest, k.BeforeHazards, k.Lawful}
			want := both{a.Verdict, a.WorstVerdict, a.BestVerdict, a.Score, a.Weakest, a.BeforeHazards, a.Lawful}
			if diff := cmp.Diff(want, got); diff != "" {
				t.Fatalf("setup %d, %s: assess (-) and match (+) differ\n%s", setups, k.Species.ID, diff)
			}
			if diff := cmp.Diff(a.Governing(), k.Shortfall); diff != "" {
				t.Fatalf("%s: governing shortfall\n%s", k.Species.ID, diff)
			}
			if (k.Shortfall == nil) != (a.BeforeHazards.Worst == 1) {
				t.Fatalf("%s: governing shortfall %v, yet the score is %v", k.Species.ID, k.Shortfall, a.BeforeHazards)
			}
			if tooSmall := k.Fit == sizing.FitsTooSmall; tooSmall != (a.Verdict == score.Unsuitable) {
				t.Fatalf("%s: fit %q, verdict %q", k.Species.ID, k.Fit, a.Verdict)
			}
			if (k.Fit == sizing.FitsAsItIs) != (a.Verdict == score.Suitable) || k.Why == "" {
				t.Fatalf("%s: fit %q (%q), verdict %q", k.Species.ID, k.Fit, k.Why, a.Verdict)
			}
			if r := slices.Index(sizing.Fits, k.Fit); r < last || k.Rank != i+1 {
				t.Fatalf("%s: out of order", k.Species.ID)
			} else {
				last = r
			}
			seen[k.Fit]++
			answers++
		}
		n := m.Counts
		if n.AsItIs+n.AfterChanges+n.CannotTell+n.TooSmall != len(m.Species) || n.LeftOut != 0 {
			t.Fatalf("counts %+v of %d species", n, len(m.Species))
		}
	}
	t.Logf("%d setups, %d answers: %v", setups, answers, seen)
	if seen[sizing.FitsTooSmall] == 0 || seen[sizing.FitsChanged] == 0 || seen[sizing.FitUnknown] == 0 {
		t.Errorf("the setups do not reach every fit: %v", seen)
	}
}

// TestMatchEmpty: an empty enclosure is judged as Assess judges it once the substrate
// named first is filled in and nothing else is there.
func TestMatchEmpty(t *testing.T) {
	c := catalogue(t)
	empty := score.Setup{Inside: &score.Inside{Length: new(quantity.Centimetres(160)), Width: new(quantity.Centimetres(70)), Height: new(quantity.Centimetres(80))}}
	out, err := sizing.Match(c, sizing.MatchQuestion{Setup: empty, Empty: true})
	if err != nil {
		t.Fatal(err)
	}
	filled := 0
	for _, k := range out.Species {
		setup := empty
		setup.HeatSources, setup.OtherSpecies, setup.Rocks.Present, setup.UV.Basking = []score.HeatSource{}, []string{}, new(false), new(quantity.UVIndex(0))
		setup.Substrate.Depth = new(quantity.Length(0))
		i := slices.IndexFunc(k.Changes, func(ch sizing.MatchChange) bool { return ch.Code == string(care.SubstrateDepth) })
		if i < 0 && k.Fit == sizing.FitsTooSmall {
			continue // its changes are not listed
		}
		if i >= 0 {
			filled++
			setup.Substrate.Depth = new(quantity.Centimetres(*k.Changes[i].To.Low))
		}
		a, err := sizing.Assess(c, sizing.AssessmentQuestion{Setup: setup, Question: sizing.Question{Species: k.Species.ID, Animals: []sizing.Animal{{Count: 1, Stage: care.Adult}}}})
		if err != nil {
			t.Fatal(err)
		}
		if a.Verdict != k.Verdict || a.BeforeHazards != k.BeforeHazards || k.Fit == sizing.FitsAsItIs {
			t.Errorf("%s: match says %s %v (%s), assess %s %v", k.Species.ID, k.Verdict, k.BeforeHazards, k.Fit, a.Verdict, a.BeforeHazards)
		}
	}
	if filled < 30 || out.Counts.AfterChanges < 20 {
		t.Errorf("%d filled, %+v", filled, out.Counts)
	}
}

// TestMatchFilters: each filter leaves out what it says and nothing else, and what is
// left is ranked as without it.
func TestMatchFilters(t *testing.T) {
	c := catalogue(t)
	setup := benchSetup()
	ids := func(q sizing.MatchQuestion) (out []string) {
		q.Setup = setup
		a, err := sizing.Match(c, q)
		if err != nil {
			t.Fatal(err)
		}
		if n := a.Counts; q.Limit == 0 && len(q.Fits) == 0 && len(a.Species)+n.LeftOut != len(c.Species()) {
			t.Errorf("%+v: %d listed, %d left out", q, len(a.Species), n.LeftOut)
		}
		for _, k := range a.Species {
			out = append(out, k.Species.ID)
		}
		return out
	}
	all := ids(sizing.MatchQuestion{})
	keep := func(f func(*care.Species) bool) (out []string) {
		for _, id := range all {
			if f(c.SpeciesByID(id)) {
				out = append(out, id)
			}
		}
		return out
	}
	for _, tt := range []struct {
		name string
		q    sizing.MatchQuestion
		want func(*care.Species) bool
	}{
		{"snakes", sizing.MatchQuestion{Groups: []care.Group{care.Snake}}, func(s *care.Species) bool { return s.Group == care.Snake }},
		{"no venom", sizing.MatchQuestion{Without: []string{"venomous"}}, func(s *care.Species) bool { return !slices.Contains(sizing.HazardsOf(s), "venomous") }},
		{"no constrictors or dangerous ones", sizing.MatchQuestion{Without: []string{"constrictor", "dangerous"}}, func(s *care.Species) bool {
			return !slices.Contains(sizing.HazardsOf(s), "constrictor") && !slices.Contains(sizing.HazardsOf(s), "dangerous")
		}},
		{"a beginner", sizing.MatchQuestion{Experience: sizing.Beginner}, func(s *care.Species) bool {
			level, _ := sizing.ExperienceOf(c, s)
			return level == sizing.Beginner
		}},
	} {
		got, want := ids(tt.q), keep(tt.want)
		if !slices.Equal(got, want) || len(got) == 0 || len(got) == len(all) {
			t.Errorf("%s: %d species, want %d", tt.name, len(got), len(want))
		}
	}
	if got := ids(sizing.MatchQuestion{Limit: 7}); !slices.Equal(got, all[:7]) {
		t.Errorf("the first seven: %v", got)
	}
	for id, want := range map[string]sizing.Experience{"heloderma-suspectum": sizing.Specialist, "varanus-salvator": sizing.Specialist, "boa-imperator": sizing.Experienced, "eublepharis-macularius": sizing.Beginner} {
		if got, why := sizing.ExperienceOf(c, c.SpeciesByID(id)); got != want {
			t.Errorf("%s: %s (%v), want %s", id, got, why, want)
		}
	}
	_, err := sizing.Match(c, sizing.MatchQuestion{Groups: []care.Group{"fish"}, Without: []string{"fangs"}, Experience: "none", Stage: "egg", Fits: []sizing.Fit{"well"}, Limit: -1, Count: -1, Jurisdiction: "XX"})
	var bad sizing.Invalid
	if !errors.As(err, &bad) || len(bad) != 8 {
		t.Errorf("%v", err)
	}
}

// TestImprovingDropsNoSpecies: after an improvement every species fits at least as
// well as before, unless the change adds a hazard for it.
func TestImprovingDropsNoSpecies(t *testing.T) {
	c := catalogue(t)
	m := sizing.NewMatcher(c)
	improvements := map[string]func(*rapid.T, *score.Setup){
		"a longer floor": func(t *rapid.T, s *score.Setup) { grow(t, &s.Inside.Length) },
		"a wider floor":  func(t *rapid.T, s *score.Setup) { grow(t, &s.Inside.Width) },
		"more height": func(t *rapid.T, s *score.Setup) {
			by := quantity.Length(rapid.Float64Range(0, 2).Draw(t, "by"))
			s.Inside.Height = new(*s.Inside.Height + by)
			if s.Inside.LowestFixture != nil {
				s.Inside.LowestFixture = new(*s.Inside.LowestFixture + by)
			}
		},
		"a higher fixture": func(_ *rapid.T, s *score.Setup) { s.Inside.LowestFixture = nil },
		"retreats": func(_ *rapid.T, s *score.Setup) {
			s.Retreats = score.Retreats{Warm: new(true), Cool: new(true), Humid: new(true)}
		},
		"branches":     func(_ *rapid.T, s *score.Setup) { s.Climbing.Structures = new(true) },
		"vents":        func(_ *rapid.T, s *score.Setup) { s.Ventilation = "low-and-high" },
		"lid and lock": func(_ *rapid.T, s *score.Setup) { s.Access = score.Access{Lid: new(true), Lock: new(true)} },
		"a dish":       func(_ *rapid.T, s *score.Setup) { s.Water.Dish = new(true) },
		"a way out":    func(_ *rapid.T, s *score.Setup) { s.Water.Exit, s.Water.HaulOut = new(true), new(true) },
		"larger water": func(t *rapid.T, s *score.Setup) {
			grow(t, &s.Water.Length)
			if s.Water.Volume != nil {
				s.Water.Volume = new(*s.Water.Volume * 2)
			}
		},
		"electrics": func(_ *rapid.T, s *score.Setup) {
			s.Electrics = score.Electrics{SprayProof: new(true), DripLoops: new(true), RCD: new(true)}
		},
		"guards and thermostats": func(_ *rapid.T, s *score.Setup) {
			for i := range s.HeatSources {
				s.HeatSources[i].Guarded, s.HeatSources[i].Control, s.HeatSources[i].ProbeSenses = new(true), "thermostat", new(true)
			}
		},
		"shade": func(_ *rapid.T, s *score.Setup) { s.UV.Refuge = new(true) },
		"firm ground": func(_ *rapid.T, s *score.Setup) {
			s.Rocks.OnFloor, s.Stand = new(true), score.Stand{Level: new(true), Stable: new(true)}
		},
		"housed apart": func(_ *rapid.T, s *score.Setup) { s.OtherSpecies = []string{} },
	}
	names := slices.Sorted(maps.Keys(improvements))
	byHazard, better := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		setup := drawWholeSetup(t)
		after := setup
		after.Inside = new(*setup.Inside)
		after.HeatSources = slices.Clone(setup.HeatSources)
		what := rapid.SampledFrom(names).Draw(t, "improvement")
		improvements[what](t, &after)
		ask := func(s score.Setup) map[string]sizing.SpeciesMatch {
			a, err := m.Match(sizing.MatchQuestion{Setup: s})
			if err != nil {
				t.Fatal(err)
			}
			out := map[string]sizing.SpeciesMatch{}
			for _, k := range a.Species {
				out[k.Species.ID] = k
			}
			return out
		}
		old, now := ask(setup), ask(after)
		for id, k := range now {
			was := old[id]
			if slices.Index(sizing.Fits, k.Fit) < slices.Index(sizing.Fits, was.Fit) {
				better++
			}
			worse := slices.Index(sizing.Fits, k.Fit) > slices.Index(sizing.Fits, was.Fit) || k.BeforeHazards.Worst < was.BeforeHazards.Worst-1e-9 || k.BeforeHazards.Best < was.BeforeHazards.Best-1e-9
			if !worse {
				continue
			}
			hazards := func(s score.Setup) []score.Hazard {
				a, err := sizing.Assess(c, sizing.AssessmentQuestion{Setup: s, Question: sizing.Question{Species: id, Animals: []sizing.Animal{{Count: 1, Stage: care.Adult}}}})
				if err != nil {
					t.Fatal(err)
				}
				return a.Hazards
			}
			if k.BeforeHazards == was.BeforeHazards && score.AddsHazard(hazards(setup), hazards(after)) {
				byHazard++
				continue
			}
			t.Fatalf("%s: %s takes it from %q %v to %q %v, and adds no hazard", id, what, was.Fit, was.BeforeHazards, k.Fit, k.BeforeHazards)
		}
	})
	t.Logf("%d species better off, %d worse by a hazard added", better, byHazard)
}

// grow lengthens a side that is known.
func grow(t *rapid.T, l **quantity.Length) {
	if *l != nil {
		*l = new(**l + quantity.Length(rapid.Float64Range(0, 3).Draw(t, "by")))
	}
}

// TestMatchAsItIs: for every species with a published floor there is a setup, its
// own requirement, in which it fits as it is or lacks only what is not held.
func TestMatchAsItIs(t *testing.T) {
	c := catalogue(t)
	asItIs := 0
	for _, s := range c.Species() {
		setup := ideal(t, c, s, "", 0)
		m, err := sizing.Match(c, sizing.MatchQuestion{Setup: setup, Groups: []care.Group{s.Group}})
		if err != nil {
			t.Fatal(s.ID, err)
		}
		i := slices.IndexFunc(m.Species, func(k sizing.SpeciesMatch) bool { return k.Species.ID == s.ID })
		switch k := m.Species[i]; k.Fit {
		case sizing.FitsAsItIs:
			asItIs++
		case sizing.FitsTooSmall:
			if r := require(t, c, s.ID, sizing.Animal{Stage: care.Adult}); r.Advised.Standing == care.Known {
				t.Errorf("%s: its own requirement is called too small: %s", s.ID, k.Why)
			}
		}
	}
	t.Logf("%d of %d species fit as it is in a setup of their own", asItIs, len(c.Species()))
	if asItIs < 100 {
		t.Errorf("only %d", asItIs)
	}
}

// ideal is a setup that meets everything known for one adult, its sizes larger than
// the rules ask for by some metres.
func ideal(t testing.TB, c *care.Catalogue, s *care.Species, jurisdiction string, more float64) score.Setup {
	t.Helper()
	r, err := sizing.Require(c, sizing.Question{Species: s.ID, Jurisdiction: jurisdiction, Animals: []sizing.Animal{{Count: 1, Stage: care.Adult}}})
	if err != nil {
		t.Fatal(s.ID, err)
	}
	out := wellKept()
	middle := func(code care.Code) (float64, bool) {
		w := c.Range(s.ID, code, care.Adult)
		mid, ok := w.Midpoint()
		if code == care.UVMax && w.High != nil { // no lamp over the ceiling
			mid = min(mid, score.LampUVCeiling)
		}
		return mid, ok
	}
	temperature := func(code care.Code) *quantity.Temperature {
		if x, ok := middle(code); ok {
			return new(quantity.Temperature(x))
		}
		return nil
	}
	out.Temperatures = score.Temperatures{HotSpot: temperature(care.HotSpot), WarmAir: temperature(care.WarmAir), CoolAir: temperature(care.CoolAir), NightAir: temperature(care.NightAir), Water: temperature(care.WaterTemp)}
	humid := func(code care.Code) *quantity.Fraction {
		if x, ok := middle(code); ok {
			return new(quantity.Percent(x))
		}
		return nil
	}
	out.Humidity = score.Humidity{Day: humid(care.HumidityDay), Night: humid(care.HumidityNight), Retreat: humid(care.HumidRetreat)}
	if x, ok := middle(care.UVMax); ok {
		out.UV.Basking = new(quantity.UVIndex(x))
	}
	if x, ok := middle(care.UVMean); ok {
		out.UV.Shade = new(quantity.UVIndex(x))
	}
	if out.UV.Basking == nil { // what is not known to be wanted is not given
		out.UV.Basking, out.UV.Shade = new(quantity.UVIndex(0)), new(quantity.UVIndex(0))
	}
	if out.Temperatures.CoolAir == nil {
		out.Temperatures.CoolAir = out.Temperatures.Water
	}
	depth := r.Substrate.RuleDepth
	if x, ok := middle(care.SubstrateDepth); ok {
		depth = max(depth, quantity.Centimetres(x))
	}
	out.Substrate.Depth = &depth
	a := r.Advised
	side := func(l quantity.Length) *quantity.Length { return new(l + quantity.Length(more+0.001)) }
	out.Inside.Length, out.Inside.Width, out.Inside.Height = side(a.Length), side(a.Width), side(a.UsableHeight+depth)
	if w := c.Range(s.ID, care.WaterDepth, care.Adult); w.Standing == care.Known {
		if x, ok := w.Midpoint(); ok {
			out.Water.Depth = new(quantity.Centimetres(x))
		}
	}
	if w := a.Water; w != nil {
		if w.Volume > 0 {
			out.Water.Volume = new(w.Volume + quantity.Litres(1))
		}
		if w.Depth > 0 && (out.Water.Depth == nil || *out.Water.Depth < w.Depth) {
			out.Water.Depth = &w.Depth
		}
		if w.Area > 0 {
			side := quantity.Length(math.Sqrt(float64(w.Area))) + 0.001
			out.Water.Length, out.Water.Width = &side, &side
		}
	}
	return out
}

// BenchmarkMatch against BenchmarkMatchAssess: the whole list is to cost no more
// than some fifteen single assessments.
func BenchmarkMatch(b *testing.B) {
	c := catalogue(b)
	setup := benchSetup()
	run := func(name string, q sizing.MatchQuestion) {
		q.Setup = setup
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := sizing.Match(c, q); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
	run("all", sizing.MatchQuestion{})
	run("best_20", sizing.MatchQuestion{Limit: 20})
	run("in_DE", sizing.MatchQuestion{Jurisdiction: "DE"})
	m := sizing.NewMatcher(c)
	for name, limit := range map[string]int{"prepared_all": 0, "prepared_best_5": 5} {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := m.Match(sizing.MatchQuestion{Setup: setup, Limit: limit}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkMatchAssess(b *testing.B) {
	c := catalogue(b)
	q := sizing.AssessmentQuestion{Question: sizing.Question{Species: "pogona-vitticeps", Animals: []sizing.Animal{{Count: 1, Stage: care.Adult}}}, Setup: benchSetup()}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := sizing.Assess(c, q); err != nil {
			b.Fatal(err)
		}
	}
}

// benchSetup is a donated enclosure as they come: a size, some readings.
func benchSetup() score.Setup {
	s := wellKept()
	s.Inside = &score.Inside{Length: new(quantity.Centimetres(150)), Width: new(quantity.Centimetres(75)), Height: new(quantity.Centimetres(90))}
	s.Substrate.Depth = new(quantity.Centimetres(6))
	s.Temperatures.HotSpot, s.Temperatures.CoolAir = new(quantity.Temperature(36)), new(quantity.Temperature(25))
	s.UV.Basking = new(quantity.UVIndex(2))
	s.HeatSources = []score.HeatSource{{Kind: "halogen-lamp", Place: "inside", Control: "none"}}
	return s
}
