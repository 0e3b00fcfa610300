package sizing_test

import (
	"math"
	"slices"
	"testing"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing"
	"denwright/sizing/score"
	"denwright/sizing/space"

	"pgregory.net/rapid"
)

func catalogue(t testing.TB) *care.Catalogue {
	t.Helper()
	c, err := care.Embedded()
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func drawSpecies(t *rapid.T, c *care.Catalogue) *care.Species {
	ids := make([]string, len(c.Species()))
	for i, s := range c.Species() {
		ids[i] = s.ID
	}
	return c.SpeciesByID(rapid.SampledFrom(ids).Draw(t, "species"))
}

func measureOf(s *care.Species) care.Measure {
	switch s.Group {
	case care.Chelonian:
		return care.Shell
	case care.Amphibian:
		if s.Order == "Anura" {
			return care.SnoutVent
		}
	}
	return care.TotalLength
}

// Within one size class a longer animal is never advised less; where a published
// class steps down, the earlier maximum is kept. Where a line of classes ends and
// nothing follows it, nothing is known, and there is nothing to compare.
func TestLongerNeverNeedsLess(t *testing.T) {
	c := catalogue(t)
	rapid.Check(t, func(t *rapid.T) {
		s := drawSpecies(t, c)
		m := measureOf(s)
		adult, ok := c.AdultLength(s, m)
		if !ok {
			return
		}
		low := float64(adult.Low) * rapid.Float64Range(0.2, 1.2).Draw(t, "share")
		high := low * rapid.Float64Range(1, 1.6).Draw(t, "longer")
		n := rapid.IntRange(1, 6).Draw(t, "animals")
		rules := c.RulesFor(s.ID)
		a := space.Answers(rules, bodyOf(c, s, m, low), n, "")
		b := space.Answers(rules, bodyOf(c, s, m, high), n, "")
		for i := range a.Rules {
			if a.Rules[i].Reason == space.Evaluated && b.Rules[i].Reason != space.Evaluated {
				return // a line of classes has ended
			}
		}
		x, y := a.Advised, b.Advised
		for name, v := range map[string][2]float64{
			"floor":        {float64(x.Area), float64(y.Area)},
			"height":       {float64(x.Height), float64(y.Height)},
			"water area":   {float64(x.WaterArea), float64(y.WaterArea)},
			"water depth":  {float64(x.WaterDepth), float64(y.WaterDepth)},
			"water volume": {float64(x.WaterVolume), float64(y.WaterVolume)},
		} {
			if v[1] < v[0]*(1-1e-9) {
				t.Fatalf("%s: %s for %g m is %g, for %g m only %g", s.ID, name, low, v[0], high, v[1])
			}
		}
	})
}

func bodyOf(c *care.Catalogue, s *care.Species, m care.Measure, metres float64) space.Body {
	var b space.Body
	given := care.BodyLength{Measure: m, Low: quantity.Length(metres), High: quantity.Length(metres)}
	for _, k := range []care.Measure{care.SnoutVent, care.TotalLength, care.Shell} {
		l, ok := c.ConvertLength(s, given, k)
		if !ok {
			continue
		}
		switch k {
		case care.SnoutVent:
			b.SnoutVent = l.High
		case care.TotalLength:
			b.Total = l.High
		case care.Shell:
			b.Shell, b.ShellHeight = l.High, l.High/2
		}
	}
	adult, _ := c.AdultLength(s, m)
	b.Adult = quantity.Length(metres) >= adult.Low
	return b
}

// Further animals never need less, and every requirement has finite figures.
func TestMoreAnimalsNeverNeedLess(t *testing.T) {
	c := catalogue(t)
	rapid.Check(t, func(t *rapid.T) {
		s := drawSpecies(t, c)
		n := rapid.IntRange(1, 12).Draw(t, "animals")
		stage := rapid.SampledFrom(care.Stages).Draw(t, "stage")
		ask := func(n int) *sizing.Requirement {
			r, err := sizing.Require(c, sizing.Question{Species: s.ID, Animals: []sizing.Animal{{Count: n, Stage: stage}}})
			if err != nil {
				t.Fatal(err)
			}
			return r
		}
		a, b := ask(n), ask(n+1)
		if b.Advised.FloorArea < a.Advised.FloorArea*(1-1e-9) || b.Advised.UsableHeight < a.Advised.UsableHeight*(1-1e-9) {
			t.Fatalf("%s: %d animals get %v, %d get %v", s.ID, n, a.Advised, n+1, b.Advised)
		}
		if b.LowestLawful != nil {
			t.Fatal("a lowest lawful size without a jurisdiction")
		}
	})
}

// Advice is never below what is lawful where the animals live.
func TestAdviceIsNeverBelowTheLaw(t *testing.T) {
	c := catalogue(t)
	lawful := 0
	for _, s := range c.Species() {
		for _, j := range c.Jurisdictions() {
			r, err := sizing.Require(c, sizing.Question{Species: s.ID, Jurisdiction: j, Animals: []sizing.Animal{{Count: 2, Stage: care.Adult}}})
			if err != nil {
				t.Fatal(s.ID, j, err)
			}
			l := r.LowestLawful
			if l == nil || l.Standing != care.Known && l.Why == "" {
				t.Fatalf("%s in %s: lowest lawful %+v gives neither a figure nor a reason", s.ID, j, l)
			}
			if l.Standing != care.Known {
				continue
			}
			lawful++
			if r.Advised.FloorArea < l.FloorArea*(1-1e-9) || r.Advised.UsableHeight < l.UsableHeight {
				t.Errorf("%s in %s: advised %v × %v, lawful %v × %v", s.ID, j, r.Advised.FloorArea, r.Advised.UsableHeight, l.FloorArea, l.UsableHeight)
			}
		}
	}
	t.Logf("%d answers with a lowest lawful size", lawful)
	if lawful < 100 {
		t.Errorf("only %d lawful sizes", lawful)
	}
}

// An enclosure of which nothing was measured meets nothing and is never suitable.
func TestUnknownNeverCountsAsMet(t *testing.T) {
	c := catalogue(t)
	for _, s := range c.Species() {
		a, err := sizing.Assess(c, sizing.AssessmentQuestion{Question: sizing.Question{Species: s.ID, Animals: []sizing.Animal{{Count: 1, Stage: care.Adult}}}})
		if err != nil {
			t.Fatal(s.ID, err)
		}
		for _, f := range a.Findings {
			if f.Standing == score.Met && f.Criterion != string(care.GroupSize) {
				t.Errorf("%s: %s is met though nothing was measured", s.ID, f.Criterion)
			}
		}
		if a.Verdict != score.CannotTell {
			t.Errorf("%s: verdict %q, want cannot tell", s.ID, a.Verdict)
		}
		if a.Score.Worst != 0 || a.Weakest.Worst != 0 {
			t.Errorf("%s: worst case %v, want 0", s.ID, a.Score)
		}
	}
}

// drawSetup draws a setup with some fields unknown.
func drawSetup(t *rapid.T) score.Setup {
	length := func(name string, most float64) *quantity.Length {
		if !rapid.Bool().Draw(t, name+" known") {
			return nil
		}
		return new(quantity.Centimetres(rapid.Float64Range(1, most).Draw(t, name)))
	}
	temperature := func(name string, low, high float64) *quantity.Temperature {
		if !rapid.Bool().Draw(t, name+" known") {
			return nil
		}
		return new(quantity.Temperature(rapid.Float64Range(low, high).Draw(t, name)))
	}
	humidity := func(name string) *quantity.Fraction {
		if !rapid.Bool().Draw(t, name+" known") {
			return nil
		}
		return new(quantity.Percent(rapid.Float64Range(5, 100).Draw(t, name)))
	}
	yesNo := func(name string) *bool {
		return rapid.SampledFrom([]*bool{nil, new(true), new(false)}).Draw(t, name)
	}
	return score.Setup{
		Inside:       &score.Inside{Length: length("length", 400), Width: length("width", 300), Height: new(quantity.Centimetres(rapid.Float64Range(101, 300).Draw(t, "height")))},
		Temperatures: score.Temperatures{HotSpot: temperature("hot spot", 25, 60), WarmAir: temperature("warm", 18, 45), CoolAir: temperature("cool", 10, 35), NightAir: temperature("night", 5, 35), Water: temperature("water", 5, 35)},
		Humidity:     score.Humidity{Day: humidity("humidity"), Night: humidity("night humidity"), Retreat: humidity("retreat humidity")},
		Substrate:    score.Substrate{Depth: length("depth", 100)},
		Retreats:     score.Retreats{Warm: yesNo("warm retreat"), Cool: yesNo("cool retreat"), Humid: yesNo("humid retreat")},
		Water:        score.Water{Dish: yesNo("dish"), Exit: yesNo("exit"), HaulOut: yesNo("haul-out")},
		Climbing:     score.Climbing{Structures: yesNo("structures")},
		Access:       score.Access{Lid: yesNo("lid"), Lock: yesNo("lock")},
		Ventilation:  rapid.SampledFrom(append([]string{""}, score.Ventilations...)).Draw(t, "ventilation"),
	}
}

// Forgetting a measurement gives intervals that hold the old ones: what is known
// only ever narrows an answer.
func TestKnowingMoreNarrows(t *testing.T) {
	c := catalogue(t)
	rapid.Check(t, func(t *rapid.T) {
		s := drawSpecies(t, c)
		full := drawSetup(t)
		less := full
		forget := []func(*score.Setup){
			func(s *score.Setup) { s.Inside = &score.Inside{Width: s.Inside.Width, Height: s.Inside.Height} },
			func(s *score.Setup) { s.Inside = nil },
			func(s *score.Setup) { s.Temperatures.HotSpot = nil },
			func(s *score.Setup) { s.Temperatures.CoolAir = nil },
			func(s *score.Setup) { s.Temperatures.Water = nil },
			func(s *score.Setup) { s.Humidity.Day = nil },
			func(s *score.Setup) { s.Substrate.Depth = nil },
			func(s *score.Setup) { s.Retreats.Cool = nil },
			func(s *score.Setup) { s.Water.Exit = nil },
			func(s *score.Setup) { s.Access.Lock = nil },
			func(s *score.Setup) { s.Ventilation = "" },
		}
		rapid.SampledFrom(forget).Draw(t, "forget")(&less)
		ask := func(setup score.Setup) *sizing.Assessment {
			a, err := sizing.Assess(c, sizing.AssessmentQuestion{Question: sizing.Question{Species: s.ID, Animals: []sizing.Animal{{Count: 1, Stage: care.Adult}}}, Setup: setup})
			if err != nil {
				t.Fatal(err)
			}
			return a
		}
		more, fewer := ask(full), ask(less)
		inside := func(name string, in, out score.Interval) {
			if in.Worst < out.Worst-1e-9 || in.Best > out.Best+1e-9 {
				t.Fatalf("%s: %s %v is not inside %v", s.ID, name, in, out)
			}
		}
		inside("score", more.Score, fewer.Score)
		inside("weakest", more.Weakest, fewer.Weakest)
		for i := range more.Findings {
			if more.Findings[i].Score != nil {
				inside(more.Findings[i].Criterion, *more.Findings[i].Score, *fewer.Findings[i].Score)
			}
		}
		if fewer.Verdict != score.CannotTell && fewer.Verdict != more.Verdict {
			t.Fatalf("%s: verdict %q became %q by knowing more", s.ID, fewer.Verdict, more.Verdict)
		}
	})
}

// A measured length within what an adult's may be narrows the answer likewise.
func TestMeasuringTheAnimalNarrows(t *testing.T) {
	c := catalogue(t)
	rapid.Check(t, func(t *rapid.T) {
		s := drawSpecies(t, c)
		m := measureOf(s)
		adult, ok := c.AdultLength(s, m)
		if !ok {
			return
		}
		setup := drawSetup(t)
		l := quantity.Length(rapid.Float64Range(float64(adult.Low), float64(adult.High)).Draw(t, "length"))
		ask := func(a sizing.Animal) *sizing.Assessment {
			out, err := sizing.Assess(c, sizing.AssessmentQuestion{Question: sizing.Question{Species: s.ID, Animals: []sizing.Animal{a}}, Setup: setup})
			if err != nil {
				t.Fatal(err)
			}
			return out
		}
		known, unknown := ask(sizing.Animal{Count: 1, Stage: care.Adult, Length: &l, Measure: m}), ask(sizing.Animal{Count: 1, Stage: care.Adult})
		for i, f := range known.Findings {
			u := unknown.Findings[i]
			if f.Score == nil || u.Score == nil || f.Criterion != u.Criterion {
				return // a size class without figures: the criteria differ
			}
			if m == care.TotalLength && s.Group == care.Lizard {
				continue // lengths in the other measure come from ranges of their own
			}
			if f.Score.Worst < u.Score.Worst-1e-9 || f.Score.Best > u.Score.Best+1e-9 {
				t.Fatalf("%s at %g m: %s %v is not inside %v", s.ID, l, f.Criterion, *f.Score, *u.Score)
			}
		}
	})
}

// A line of size classes that ends between the lengths that an adult may have asks for
// most at its end: Florida's for large constrictors, 1.25 times the length as perimeter
// up to 12 ft (68A-6.01214 F.A.C.: 1.25 × 365.8 cm), against an adult of 300 to 600 cm.
func TestClassThatEndsBetween(t *testing.T) {
	c := catalogue(t)
	side := quantity.Centimetres(110)
	a, err := sizing.Assess(c, sizing.AssessmentQuestion{Question: sizing.Question{Species: "malayopython-reticulatus", Animals: []sizing.Animal{{Count: 1, Stage: care.Adult}}},
		Setup: score.Setup{Inside: &score.Inside{Length: &side, Width: &side, Height: &side}}})
	if err != nil {
		t.Fatal(err)
	}
	i := slices.IndexFunc(a.Findings, func(f score.Finding) bool { return f.Criterion == "floor_perimeter" })
	if i < 0 {
		t.Fatal("the perimeter is not compared")
	}
	f := a.Findings[i]
	if f.Target == nil || f.Strictest == nil || math.Abs(*f.Target.Low-1.25*300) > 0.1 || math.Abs(*f.Strictest.Low-1.25*365.8) > 0.1 {
		t.Errorf("the perimeter wanted is %v to %v, not 375 to 457.25 cm", f.Target, f.Strictest)
	}
}
