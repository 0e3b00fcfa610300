package score

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/go-json-experiment/json"
	"github.com/google/go-cmp/cmp"

	"denwright/care"
	"denwright/care/quantity"
)

func lengthOf(cm float64) *quantity.Length     { return new(quantity.Centimetres(cm)) }
func degrees(c float64) *quantity.Temperature  { return new(quantity.Temperature(c)) }
func share(percent float64) *quantity.Fraction { return new(quantity.Percent(percent)) }
func index(u float64) *quantity.UVIndex        { return new(quantity.UVIndex(u)) }

func criterion(t *testing.T, code string, least, most Target) Criterion {
	t.Helper()
	c, err := New(code, least, most)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func assess(t *testing.T, c Case) Result {
	t.Helper()
	r, err := Assess(c)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// safeSetup leaves no hazard to the basking lizard of safeAnimal.
func safeSetup() Setup {
	return Setup{
		Inside:       &Inside{Length: lengthOf(120), Width: lengthOf(60), Height: lengthOf(60)},
		Temperatures: Temperatures{HotSpot: degrees(40), WarmAir: degrees(32), CoolAir: degrees(25), NightAir: degrees(20)},
		Humidity:     Humidity{Day: share(40), Night: share(50)},
		UV:           UV{Basking: index(4), Shade: index(1.2), Refuge: new(true), Spectrum: "like-sunlight"},
		Substrate:    Substrate{Kind: "loam", Depth: lengthOf(12)},
		Water:        Water{Depth: lengthOf(2), Dish: new(true), Exit: new(true)},
		Retreats:     Retreats{Warm: new(true), Cool: new(true), Humid: new(true)},
		Climbing:     Climbing{Structures: new(true)},
		HeatSources: []HeatSource{{Kind: "halogen-lamp", Place: "inside", Guarded: new(true), Gap: lengthOf(20),
			Control: "thermostat", ProbeSenses: new(true)}},
		Ventilation:  "low-and-high",
		Access:       Access{Lid: new(true), Lock: new(true)},
		Electrics:    Electrics{SprayProof: new(true), DripLoops: new(true), RCD: new(true)},
		Rocks:        Rocks{Present: new(true), OnFloor: new(true)},
		Stand:        Stand{Level: new(true), Stable: new(true)},
		OtherSpecies: []string{},
	}
}

func safeAnimal() Animal {
	return Animal{Group: care.Lizard, Habit: care.Terrestrial, Climbs: 1, Digs: 2, Length: Exactly(50),
		CriticalMax: new(44.0), CoolHigh: new(27.0), UVHigh: new(7.4), HumidityLow: new(30.0), Count: 1}
}

func TestCriterionScoreFallsLinearlyOutsideItsRange(t *testing.T) {
	two := Criterion{Code: "x", Unit: "cm", Sides: care.TwoSided, Least: Between(10, 20), Most: Between(10, 20), Limit: 5, Weight: 1, Mend: Adjust}
	least, most := two, two
	least.Sides, most.Sides = care.AtLeast, care.AtMost
	open := two
	open.Least, open.Most = UpTo(20), UpTo(20)
	uncertain := least
	uncertain.Most = From(14)
	read := two
	read.Reading = 1
	for _, test := range []struct {
		name string
		c    Criterion
		m    Measurement
		want Interval
	}{
		{"inside", two, Exactly(15), Interval{1, 1}},
		{"on the bound", two, Exactly(10), Interval{1, 1}},
		{"half way out", two, Exactly(7.5), Interval{0.5, 0.5}},
		{"at the limit", two, Exactly(25), Interval{0, 0}},
		{"far past it", two, Exactly(400), Interval{0, 0}},
		{"unknown", two, Measurement{}, Interval{0, 1}},
		{"a range across a bound", two, Within(8, 12), Interval{0.6, 1}},
		{"a range around all", two, Within(0, 30), Interval{0, 1}},
		{"a range outside", two, Within(6, 9), Interval{0.2, 0.8}},
		{"at least: too much is fine", least, Exactly(300), Interval{1, 1}},
		{"at least: too little", least, Exactly(6), Interval{0.2, 0.2}},
		{"at least: bounded from below only", least, NoLess(12), Interval{1, 1}},
		{"at least: bounded from above only", least, NoMore(9), Interval{0, 0.8}},
		{"at most: too little is fine", most, Exactly(0), Interval{1, 1}},
		{"at most: too much", most, Exactly(24), Interval{0.2, 0.2}},
		{"at most: unknown", most, Measurement{}, Interval{0, 1}},
		{"two-sided with an open bound", open, Exactly(0), Interval{1, 1}},
		{"target uncertain", uncertain, Exactly(12), Interval{0.6, 1}},
		{"target and measurement uncertain", uncertain, Within(9, 12), Interval{0, 1}},
		{"within the reading tolerance", read, Exactly(20.9), Interval{1, 1}},
		{"past it, still 0 at the limit", read, Exactly(23), Interval{0.5, 0.5}},
	} {
		t.Run(test.name, func(t *testing.T) {
			got := test.c.Score(test.m)
			if math.Abs(got.Worst-test.want.Worst) > 1e-6 || math.Abs(got.Best-test.want.Best) > 1e-6 {
				t.Errorf("score %v, want %v", got, test.want)
			}
		})
	}
}

func TestVerdict(t *testing.T) {
	floor := criterion(t, "floor_length", From(100), From(100))
	growing := criterion(t, "floor_length", From(100), From(150))
	spot := criterion(t, "hotspot_surface_day", Between(38, 42), Between(38, 42))
	company := criterion(t, "group_size", UpTo(1), UpTo(1))
	height := criterion(t, "usable_height", From(45), From(45))
	for _, test := range []struct {
		name              string
		criteria          []Criterion
		change            func(*Setup, *Animal)
		want, worst, best Verdict
	}{
		{"all met", []Criterion{floor, spot, company}, nil, Suitable, Suitable, Suitable},
		{"too small", []Criterion{floor, spot}, func(s *Setup, _ *Animal) { s.Inside = &Inside{Length: lengthOf(90), Width: lengthOf(40)} },
			Unsuitable, Unsuitable, Unsuitable},
		{"too small, and a hazard", []Criterion{floor}, func(s *Setup, _ *Animal) {
			s.Inside = &Inside{Length: lengthOf(90), Width: lengthOf(40)}
			s.Stand.Stable = new(false)
		}, Unsuitable, Unsuitable, Unsuitable},
		{"too cold", []Criterion{floor, spot}, func(s *Setup, _ *Animal) { s.Temperatures.HotSpot = degrees(31) }, AfterChanges, AfterChanges, AfterChanges},
		{"a hazard alone", []Criterion{floor, spot}, func(s *Setup, _ *Animal) { s.Stand.Stable = new(false) }, AfterChanges, AfterChanges, AfterChanges},
		{"company can be separated", []Criterion{floor, company}, func(_ *Setup, a *Animal) { a.Count = 3 }, AfterChanges, AfterChanges, AfterChanges},
		{"size not measured", []Criterion{floor, spot}, func(s *Setup, _ *Animal) { s.Inside = nil }, CannotTell, Unsuitable, Suitable},
		{"size not measured, something to change", []Criterion{floor, spot}, func(s *Setup, _ *Animal) {
			s.Inside = nil
			s.Temperatures.HotSpot = degrees(31)
		}, CannotTell, Unsuitable, AfterChanges},
		{"hot spot not measured", []Criterion{floor, spot}, func(s *Setup, _ *Animal) { s.Temperatures.HotSpot = nil }, CannotTell, AfterChanges, Suitable},
		{"too small, the rest not measured", []Criterion{floor, spot}, func(s *Setup, _ *Animal) {
			*s = Setup{Inside: &Inside{Length: lengthOf(60), Width: lengthOf(40)}}
		}, Unsuitable, Unsuitable, Unsuitable},
		{"something to change, something not measured", []Criterion{floor, spot, company}, func(s *Setup, a *Animal) {
			s.Temperatures.HotSpot = nil
			a.Count = 2
		}, AfterChanges, AfterChanges, AfterChanges},
		{"a hazard possible", []Criterion{floor}, func(s *Setup, _ *Animal) { s.HeatSources[0].Guarded = nil }, CannotTell, AfterChanges, Suitable},
		{"target uncertain", []Criterion{growing}, nil, CannotTell, Unsuitable, Suitable},
		{"target uncertain, both met", []Criterion{growing}, func(s *Setup, _ *Animal) { s.Inside.Length = lengthOf(150) }, Suitable, Suitable, Suitable},
		{"height taken by a low fixture", []Criterion{height}, func(s *Setup, _ *Animal) { s.Inside.LowestFixture = lengthOf(40) }, AfterChanges, AfterChanges, AfterChanges},
		{"height wanting under the lid itself", []Criterion{height}, func(s *Setup, _ *Animal) { s.Inside.Height = lengthOf(50) }, Unsuitable, Unsuitable, Unsuitable},
		{"a low fixture, height to the lid not measured", []Criterion{height}, func(s *Setup, _ *Animal) {
			s.Inside.Height, s.Inside.LowestFixture = nil, lengthOf(40)
		}, CannotTell, Unsuitable, AfterChanges},
		{"nothing to judge by", nil, nil, CannotTell, Unsuitable, Suitable},
		{"no target known", []Criterion{criterion(t, "night_air", Target{}, Target{})}, nil, CannotTell, Unsuitable, Suitable},
	} {
		t.Run(test.name, func(t *testing.T) {
			c := Case{Setup: safeSetup(), Animal: safeAnimal(), Criteria: test.criteria}
			if test.change != nil {
				test.change(&c.Setup, &c.Animal)
			}
			r := assess(t, c)
			if diff := cmp.Diff([]Verdict{test.want, test.worst, test.best}, []Verdict{r.Verdict, r.WorstVerdict, r.BestVerdict}); diff != "" {
				t.Errorf("verdict, worst, best (-want +got):\n%s", diff)
			}
			decides := 0
			for _, o := range r.Open {
				if o.Decides {
					decides++
				}
			}
			judged := len(test.criteria) > len(r.NotJudged)
			if judged && (r.Verdict == CannotTell) != (decides > 0) {
				t.Errorf("verdict %q with %d things that would decide it: %+v", r.Verdict, decides, r.Open)
			}
		})
	}
}

func TestScoreAndVeto(t *testing.T) {
	c := Case{Setup: safeSetup(), Animal: safeAnimal(), Criteria: []Criterion{
		criterion(t, "hotspot_surface_day", Between(42, 44), Between(42, 44)), // 2 K short of 8: about 0.75, weight 3
		criterion(t, "floor_length", From(100), From(100)),                    // 1, weight 1
		criterion(t, "humidity_night", Between(30, 60), Between(30, 60)),      // not measured below, weight 1
	}}
	c.Setup.Humidity.Night = nil
	near := func(name string, got, want Interval) {
		t.Helper()
		if math.Abs(got.Worst-want.Worst) > 0.005 || math.Abs(got.Best-want.Best) > 0.005 {
			t.Errorf("%s %v, want about %v", name, got, want)
		}
	}
	r := assess(t, c)
	near("mean", r.Score, Interval{3.25 / 5, 4.25 / 5})
	near("weakest", r.Weakest, Interval{0, 0.75})
	if diff := cmp.Diff([]string{"humidity_night"}, r.WeakestCriteria); diff != "" {
		t.Error(diff)
	}
	c.Setup.Stand.Stable = nil
	r = assess(t, c)
	near("mean under a possible hazard", r.Score, Interval{0, 4.25 / 5})
	near("weakest under a possible hazard", r.Weakest, Interval{0, 0.75})
	c.Setup.Humidity.Night = share(50)
	r = assess(t, c)
	near("mean with all measured, a hazard possible", r.Score, Interval{0, 4.25 / 5})
	near("weakest with all measured, a hazard possible", r.Weakest, Interval{0, 0.75})
	c.Setup.Humidity.Night = nil
	c.Setup.Stand.Stable = new(false)
	r = assess(t, c)
	near("mean under a hazard", r.Score, Interval{})
	near("weakest under a hazard", r.Weakest, Interval{})
	near("mean before hazards", r.BeforeHazards, Interval{3.25 / 5, 4.25 / 5})
}

func TestFindings(t *testing.T) {
	spot := criterion(t, "hotspot_surface_day", Between(38, 42), Between(38, 42))
	spot.Grade, spot.Agreement, spot.Sources, spot.Note = care.RecalledOnly, care.Single, []string{"baines2016"}, "a note"
	c := Case{Setup: safeSetup(), Animal: safeAnimal(), Criteria: []Criterion{
		spot,
		criterion(t, "cool_air_day", Between(20, 22), Between(20, 22)),
		criterion(t, "floor_width", From(50), From(80)),
		criterion(t, "usable_height", From(70), From(70)),
		criterion(t, "night_air", Target{}, Target{}),
		criterion(t, "water_temp", Between(20, 24), Between(20, 24)),
		criterion(t, "retreat_warm", From(1), From(1)),
		criterion(t, "ventilation", From(1), From(1)),
		criterion(t, "group_size", UpTo(2), UpTo(2)),
	}}
	c.Setup.Substrate.Depth = nil
	c.Setup.Retreats.Warm = new(false)
	c.Setup.Ventilation = "top"
	r := assess(t, c)
	band := func(low, high *float64, unit string) *quantity.Band {
		return &quantity.Band{Low: low, High: high, Unit: unit}
	}
	want := []Finding{
		{Criterion: "hotspot_surface_day", Standing: Met, Value: &Figure{40, "°C"}, Target: band(new(38.0), new(42.0), "°C"), Margin: &Figure{2, "K"},
			Weight: 3, Mend: Adjust, Grade: care.RecalledOnly, Agreement: care.Single, Sources: []string{"baines2016"}, Note: "a note"},
		{Criterion: "cool_air_day", Standing: Over, Value: &Figure{25, "°C"}, Target: band(new(20.0), new(22.0), "°C"), Margin: &Figure{-3, "K"}, Weight: 3, Mend: Adjust},
		{Criterion: "floor_width", Standing: Undecided, Value: &Figure{60, "cm"}, Target: band(new(50.0), nil, "cm"), Strictest: band(new(80.0), nil, "cm"),
			Margin: &Figure{-20, "cm"}, Weight: 1, Mend: Rebuild},
		{Criterion: "usable_height", Standing: Short, Between: band(new(0.0), new(60.0), "cm"), Target: band(new(70.0), nil, "cm"), Weight: 2, Mend: Rebuild},
		{Criterion: "night_air", Standing: TargetNotKnown, Value: &Figure{20, "°C"}, Weight: 2, Mend: Adjust},
		{Criterion: "water_temp", Standing: NotMeasured, Target: band(new(20.0), new(24.0), "°C"), Weight: 3, Mend: Adjust},
		{Criterion: "retreat_warm", Standing: Short, Answer: "no", Weight: 2, Mend: Furnish},
		{Criterion: "ventilation", Standing: Short, Answer: "partly", Weight: 1, Mend: Alter},
		{Criterion: "group_size", Standing: Met, Value: &Figure{1, "animals"}, Target: band(nil, new(2.0), "animals"), Margin: &Figure{1, "animals"}, Weight: 3, Mend: Separate},
	}
	ignore := cmp.FilterPath(func(p cmp.Path) bool { return p.Last().String() == ".Name" || p.Last().String() == ".Score" }, cmp.Ignore())
	if diff := cmp.Diff(want, r.Findings, ignore); diff != "" {
		t.Errorf("findings (-want +got):\n%s", diff)
	}
	for _, f := range r.Findings {
		if f.Name == "" || (f.Score == nil) != (f.Standing == TargetNotKnown) {
			t.Errorf("%s: name %q, score %v, standing %q", f.Criterion, f.Name, f.Score, f.Standing)
		}
	}
	if diff := cmp.Diff([]string{"night_air"}, r.NotJudged); diff != "" {
		t.Error(diff)
	}
}

// A temperature converts with an offset, a difference of temperatures must not.
func TestResultInImperialUnits(t *testing.T) {
	c := Case{Setup: safeSetup(), Animal: safeAnimal(), Criteria: []Criterion{
		criterion(t, "hotspot_surface_day", Between(38, 42), Between(38, 42)),
		criterion(t, "floor_length", From(100), From(100)),
	}}
	written := func(name string, v quantity.Value) string {
		return fmt.Sprintf(`"%s":{"value":%v,"unit":"%s"}`, name, v.Number, v.Unit)
	}
	for _, system := range []quantity.System{quantity.Metric, quantity.Imperial} {
		out, err := json.Marshal(assess(t, c), json.WithMarshalers(quantity.Marshalers(system)))
		if err != nil {
			t.Fatal(err)
		}
		for _, want := range []string{
			written("value", quantity.Temperature(40).Value().In(system)),
			written("margin", quantity.Value{Number: 2, Unit: "K"}),
			written("value", quantity.Centimetres(120).Value().In(system)),
			written("margin", quantity.Centimetres(20).Value().In(system)),
			`"score":{"worst":1,"best":1}`, `"score_before_hazards":{`, `"worst_verdict":"suitable"`, `"not_known":[]`,
		} {
			if !strings.Contains(string(out), want) {
				t.Errorf("%v answer lacks %s:\n%.1500s", system, want, out)
			}
		}
	}
}

// A figure written out in either unit system and built to exactly must meet the
// target it was written from.
func TestTargetCopiedFromAnAnswerIsMet(t *testing.T) {
	for target := 20.0; target < 300; target += 0.7 {
		for _, system := range []quantity.System{quantity.Metric, quantity.Imperial} {
			shown := quantity.Centimetres(target).Value().In(system)
			built, err := quantity.ParseLength(shown.String())
			if err != nil {
				t.Fatal(err)
			}
			c := Case{Setup: safeSetup(), Animal: safeAnimal(), Criteria: []Criterion{criterion(t, "floor_width", From(target), From(target)),
				criterion(t, "floor_area", From(target*target/1e4), From(target*target/1e4))}}
			c.Setup.Inside = &Inside{Length: &built, Width: &built}
			if r := assess(t, c); r.Verdict != Suitable {
				t.Errorf("%g cm, shown as %v: %s", target, shown, r.Verdict)
			}
		}
	}
}

func TestMeasuredFromTheSetup(t *testing.T) {
	in := func(l, w, h, fixture, drainage *quantity.Length) *Inside { return &Inside{l, w, h, fixture, drainage} }
	for _, test := range []struct {
		name  string
		setup Setup
		code  string
		want  Measurement
	}{
		{"longer side called width", Setup{Inside: in(lengthOf(60), lengthOf(120), nil, nil, nil)}, "floor_length", Exactly(120)},
		{"shorter side called length", Setup{Inside: in(lengthOf(60), lengthOf(120), nil, nil, nil)}, "floor_width", Exactly(60)},
		{"one side bounds the longer from below", Setup{Inside: in(lengthOf(90), nil, nil, nil, nil)}, "floor_length", NoLess(90)},
		{"one side bounds the shorter from above", Setup{Inside: in(nil, lengthOf(90), nil, nil, nil)}, "floor_width", NoMore(90)},
		{"area", Setup{Inside: in(lengthOf(120), lengthOf(60), nil, nil, nil)}, "floor_area", Exactly(0.72)},
		{"area with one side", Setup{Inside: in(lengthOf(120), nil, nil, nil, nil)}, "floor_area", Measurement{}},
		{"perimeter", Setup{Inside: in(lengthOf(120), lengthOf(60), nil, nil, nil)}, "floor_perimeter", Exactly(360)},
		{"height to the lid", Setup{Inside: in(nil, nil, lengthOf(60), nil, lengthOf(5)), Substrate: Substrate{Depth: lengthOf(10)}}, "usable_height", Exactly(45)},
		{"height to the lowest fixture", Setup{Inside: in(nil, nil, lengthOf(60), lengthOf(48), nil), Substrate: Substrate{Depth: lengthOf(10)}}, "usable_height", Exactly(38)},
		{"height, substrate not measured", Setup{Inside: in(nil, nil, lengthOf(60), nil, lengthOf(5))}, "usable_height", Within(0, 55)},
		{"height, nothing measured", Setup{}, "usable_height", Measurement{}},
		{"volume", Setup{Water: Water{Volume: new(quantity.Litres(80))}}, "water_volume", Exactly(80)},
		{"volume at most the box round it", Setup{Water: Water{Length: lengthOf(50), Width: lengthOf(40), Depth: lengthOf(20)}}, "water_volume", Within(0, 40)},
		{"no water has no depth", Setup{Water: Water{Present: new(false)}}, "water_depth", Exactly(0)},
		{"water surface", Setup{Water: Water{Length: lengthOf(50), Width: lengthOf(40)}}, "water_area", Exactly(0.2)},
		{"humidity in percent", Setup{Humidity: Humidity{Retreat: share(85)}}, "humid_retreat", Exactly(85)},
		{"UV at the basking place", Setup{UV: UV{Basking: index(3.5)}}, "uv_index_max", Exactly(3.5)},
		{"UV in the shade", Setup{UV: UV{Shade: index(0.8)}}, "uv_index_mean", Exactly(0.8)},
		{"no vents", Setup{Ventilation: "none"}, "ventilation", Exactly(0)},
		{"vents not stated", Setup{}, "ventilation", Measurement{}},
		{"animals not counted", Setup{}, "group_size", Measurement{}},
	} {
		t.Run(test.name, func(t *testing.T) {
			c := Case{Setup: test.setup}
			near := cmp.Comparer(func(a, b float64) bool { return math.Abs(a-b) < 1e-9 })
			if diff := cmp.Diff(test.want, c.measure(&Criterion{Code: test.code}), near, cmp.AllowUnexported(Measurement{})); diff != "" {
				t.Errorf("%s (-want +got):\n%s", test.code, diff)
			}
		})
	}
}

// Every criterion of the table reads what its own remedy sets, and bears names,
// weights and limits that a score can be computed with.
func TestCriteriaTable(t *testing.T) {
	for _, code := range Codes() {
		target := From(1)
		if code == "group_size" {
			target = UpTo(1)
		}
		c := criterion(t, code, target, target)
		if err := c.check(); err != nil {
			t.Error(err)
		}
		if c.Name == "" || c.Weight <= 0 {
			t.Errorf("%s: name %q, weight %g", code, c.Name, c.Weight)
		}
		k := kindOf(code)
		if k.set == nil {
			if c.Mend != Rebuild {
				t.Errorf("%s can be mended but not set", code)
			}
			continue
		}
		cs := Case{Setup: safeSetup()}
		k.set(&cs, 1)
		if x, ok := k.measure(&cs.Setup, &cs.Animal).Exact(); !ok || math.Abs(x-1) > 1e-9 {
			t.Errorf("%s: set to 1, reads %v", code, k.measure(&cs.Setup, &cs.Animal))
		}
	}
	if _, err := New("no_such", From(1), From(1)); err == nil {
		t.Error("an unknown code was accepted")
	}
}

func TestAssessRefusesMalformedCases(t *testing.T) {
	good := criterion(t, "night_air", Between(18, 22), Between(18, 22))
	with := func(f func(*Criterion)) []Criterion { c := good; f(&c); return []Criterion{c} }
	for _, test := range []struct {
		c    Case
		want string
	}{
		{Case{Criteria: []Criterion{good, good}}, "twice"},
		{Case{Criteria: with(func(c *Criterion) { c.Code = "" })}, "no code"},
		{Case{Criteria: with(func(c *Criterion) { c.Limit = 0 })}, "limit"},
		{Case{Criteria: with(func(c *Criterion) { c.Weight = -1 })}, "weight"},
		{Case{Criteria: with(func(c *Criterion) { c.Weight = math.NaN() })}, "weight"},
		{Case{Criteria: with(func(c *Criterion) { c.Weight = 0 })}, "weights"},
		{Case{Criteria: with(func(c *Criterion) { c.Mend = "pray" })}, "mend"},
		{Case{Criteria: with(func(c *Criterion) { c.Least = Between(22, 18) })}, "down to"},
		{Case{Criteria: with(func(c *Criterion) { c.Most = From(math.Inf(1)) })}, "finite"},
		{Case{Criteria: []Criterion{good}, Measured: map[string]Measurement{"night_air": Exactly(math.NaN())}}, "no range"},
		{Case{Criteria: []Criterion{good}, Measured: map[string]Measurement{"night_air": Within(3, 2)}}, "no range"},
	} {
		if _, err := Assess(test.c); err == nil || !strings.Contains(err.Error(), test.want) {
			t.Errorf("error %v, want one that says %q", err, test.want)
		}
		if _, err := Changes(test.c); err == nil {
			t.Errorf("Changes accepted what Assess refuses (%s)", test.want)
		}
	}
}

// A criterion of the caller's own is scored from Measured.
func TestCriterionOfTheCallersOwn(t *testing.T) {
	own := Criterion{Code: "floor_fit", Name: "all fits on the floor", Sides: care.AtLeast, Least: From(1), Most: From(1), Limit: 1, Weight: 1, Mend: Rebuild}
	c := Case{Setup: safeSetup(), Animal: safeAnimal(), Criteria: []Criterion{own}}
	for m, want := range map[string]Verdict{"0": Unsuitable, "1": Suitable, "": CannotTell} {
		c.Measured = nil
		if m != "" {
			var x float64
			fmt.Sscan(m, &x)
			c.Measured = map[string]Measurement{"floor_fit": Exactly(x)}
		}
		if r := assess(t, c); r.Verdict != want {
			t.Errorf("measured %q: %s, want %s", m, r.Verdict, want)
		}
	}
}
