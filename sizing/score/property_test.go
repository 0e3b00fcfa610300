package score

import (
	"fmt"
	"math"
	"reflect"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"denwright/care"
	"denwright/care/quantity"
)

// The figures that a random setup and its targets are drawn from, by unit. A coarse
// grid makes bounds, limits and thresholds come up often.
func drawFigure(t *rapid.T, unit, label string) float64 {
	most := map[string]int{"cm": 60, "m²": 30, "L": 60, "°C": 50, "%": 20, "UVI": 24, "animals": 5, "": 1}[unit]
	step := map[string]float64{"cm": 2.5, "m²": 0.05, "L": 5, "°C": 1, "%": 5, "UVI": 0.5, "animals": 1, "": 1}[unit]
	return float64(rapid.IntRange(0, most).Draw(t, label)) * step
}

func drawTarget(t *rapid.T, c *Criterion, label string) Target {
	low := drawFigure(t, c.Unit, label+" low")
	switch {
	case c.Unit == "":
		return From(1)
	case c.Sides == care.AtMost:
		return UpTo(low)
	case c.Sides == care.AtLeast:
		return From(low)
	}
	return Between(low, low+drawFigure(t, c.Unit, label+" width")/4)
}

func drawCriteria(t *rapid.T) []Criterion {
	var out []Criterion
	for _, code := range Codes() {
		if !rapid.Bool().Draw(t, code) {
			continue
		}
		c, err := New(code, Target{}, Target{})
		if err != nil {
			t.Fatal(err)
		}
		least := drawTarget(t, &c, code)
		most := least
		if rapid.IntRange(0, 3).Draw(t, code+" uncertain") == 0 {
			most = drawTarget(t, &c, code+" strict") // either may be the stricter: the score must not mind
		}
		c, err = New(code, least, most)
		if err != nil {
			t.Fatal(err)
		}
		c.Limit = math.Max(c.Limit, 0.1) // a target of 0 has no half
		out = append(out, c)
	}
	return out
}

func drawAnimal(t *rapid.T) Animal {
	a := Animal{
		Group:  rapid.SampledFrom(care.Groups).Draw(t, "group"),
		Habit:  rapid.SampledFrom(care.Habits).Draw(t, "habit"),
		Climbs: rapid.IntRange(0, 3).Draw(t, "climbs"), Digs: rapid.IntRange(0, 3).Draw(t, "digs"), Swims: rapid.IntRange(0, 3).Draw(t, "swims"),
		Venomous: rapid.Bool().Draw(t, "venomous"), Constrictor: rapid.Bool().Draw(t, "constrictor"), Escapes: rapid.Bool().Draw(t, "escapes"),
		Count: rapid.IntRange(0, 4).Draw(t, "count"), Fights: rapid.Bool().Draw(t, "fights"),
	}
	a.Length = rapid.SampledFrom([]Measurement{{}, Exactly(10), Exactly(60), Within(20, 90)}).Draw(t, "length")
	for i, p := range []**float64{&a.CriticalMax, &a.CoolHigh, &a.WaterHigh, &a.UVHigh, &a.HumidityLow} {
		if rapid.Bool().Draw(t, fmt.Sprint("fact ", i)) {
			*p = new([]float64{40, 26, 24, 3, 60}[i])
		}
	}
	return a
}

// field is one leaf of a Setup that can be left out.
type field struct {
	path  string
	value reflect.Value
}

// leaves walks every pointer, word and list of a setup, so that a field added to
// Setup is under test from the day it is added.
func leaves(v reflect.Value, path string) []field {
	var out []field
	switch v.Kind() {
	case reflect.Struct:
		for i := range v.NumField() {
			out = append(out, leaves(v.Field(i), path+"."+v.Type().Field(i).Name)...)
		}
	case reflect.Pointer:
		if v.Type().Elem().Kind() == reflect.Struct {
			return append(out, leaves(v.Elem(), path)...)
		}
		out = append(out, field{path, v})
	case reflect.String:
		out = append(out, field{path, v})
	case reflect.Slice:
		if v.Type().Elem().Kind() == reflect.Struct {
			for i := range v.Len() {
				out = append(out, leaves(v.Index(i), fmt.Sprintf("%s[%d]", path, i))...)
			}
		}
		out = append(out, field{path, v})
	}
	return out
}

var words = map[string][]string{"Material": Materials, "Spectrum": Spectra, "Ventilation": Ventilations, "Place": Places, "Control": Controls}

// settledFields are not open questions when left out: the design gives a meaning to
// leaving them out (no drainage; the lid itself; no wattage needed; the kind of a
// source is always stated).
var settledFields = []string{".Inside.LowestFixture", ".Inside.Drainage"}

// fill draws a value for a leaf and sets it.
func (f field) fill(t *rapid.T) {
	name := f.path[1+lastDot(f.path):]
	switch v := f.value; v.Kind() {
	case reflect.String:
		if name == "Kind" && v.String() == "" {
			v.SetString("loam") // of the substrate; a heat source's is always there
		} else if w, ok := words[name]; ok {
			v.SetString(rapid.SampledFrom(w).Draw(t, f.path))
		}
	case reflect.Slice:
		switch v.Interface().(type) {
		case []string:
			v.Set(reflect.ValueOf(rapid.SampledFrom([][]string{{}, {"testudo-graeca"}}).Draw(t, f.path)))
		case []HeatSource:
			hs := make([]HeatSource, rapid.IntRange(0, 2).Draw(t, f.path))
			for i := range hs {
				hs[i].Kind = rapid.SampledFrom(HeatKinds).Draw(t, "kind")
			}
			v.Set(reflect.ValueOf(hs))
		}
	case reflect.Pointer:
		p := reflect.New(v.Type().Elem())
		switch x := p.Interface().(type) {
		case *bool:
			*x = rapid.Bool().Draw(t, f.path)
		case *quantity.Length:
			*x = quantity.Centimetres(drawFigure(t, "cm", f.path))
		case *quantity.Temperature:
			*x = quantity.Temperature(drawFigure(t, "°C", f.path))
		case *quantity.Fraction:
			*x = quantity.Percent(drawFigure(t, "%", f.path))
		case *quantity.UVIndex:
			*x = quantity.UVIndex(drawFigure(t, "UVI", f.path))
		case *quantity.Volume:
			*x = quantity.Litres(drawFigure(t, "L", f.path))
		case *quantity.Power:
			*x = 60
		default:
			t.Fatalf("the test does not know how to fill %s, a %s", f.path, v.Type())
		}
		v.Set(p)
	}
}

func lastDot(s string) int {
	for i := len(s) - 1; i >= 0; i-- {
		if s[i] == '.' {
			return i
		}
	}
	return -1
}

// consistent refuses setups that contradict themselves: water said not to be there
// with a size, more water than its box holds, a fixture above the lid.
func consistent(s Setup) bool {
	w := s.Water
	if w.Present != nil && !*w.Present {
		some := w.Dish != nil && *w.Dish
		for _, x := range []*quantity.Length{w.Length, w.Width, w.Depth} {
			some = some || x != nil && *x > 0
		}
		if some || w.Volume != nil && *w.Volume > 0 {
			return false
		}
	}
	if w.Volume != nil && w.Length != nil && w.Width != nil && w.Depth != nil && float64(*w.Volume) > float64(*w.Length)*float64(*w.Width)*float64(*w.Depth) {
		return false
	}
	in := s.Inside
	return in.LowestFixture == nil || in.Height == nil || *in.LowestFixture <= *in.Height
}

// drawCase draws a case in which about half of everything is not stated.
func drawCase(t *rapid.T) Case {
	c := Case{Animal: drawAnimal(t), Criteria: drawCriteria(t), Setup: Setup{Inside: &Inside{}}}
	if rapid.Bool().Draw(t, "sources stated") {
		c.Setup.HeatSources = make([]HeatSource, rapid.IntRange(0, 2).Draw(t, "sources"))
		for i := range c.Setup.HeatSources {
			c.Setup.HeatSources[i].Kind = rapid.SampledFrom(HeatKinds).Draw(t, "kind")
		}
	}
	for _, f := range leaves(reflect.ValueOf(&c.Setup).Elem(), "") {
		if f.path != ".HeatSources" && rapid.Bool().Draw(t, f.path+" stated") {
			f.fill(t)
		}
	}
	reconcile(&c.Setup)
	return c
}

// reconcile takes back what makes a setup contradict itself.
func reconcile(s *Setup) {
	if in := s.Inside; in.LowestFixture != nil && in.Height != nil && *in.LowestFixture > *in.Height {
		in.LowestFixture = in.Height
	}
	w := &s.Water
	if !consistent(*s) {
		w.Volume = nil
	}
	if !consistent(*s) {
		w.Present = nil
	}
}

func mustAssess(t *rapid.T, c Case) Result {
	r, err := Assess(c)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

const grain = 1e-9

func inside(in, out Interval) bool {
	return in.Worst >= out.Worst-grain && in.Best <= out.Best+grain
}

// compareNarrowed checks that every interval of after lies inside that of before.
func compareNarrowed(t *rapid.T, before, after Result) {
	for name, p := range map[string][2]Interval{
		"score": {after.Score, before.Score}, "weakest": {after.Weakest, before.Weakest}, "score before hazards": {after.BeforeHazards, before.BeforeHazards},
	} {
		if !inside(p[0], p[1]) {
			t.Errorf("%s %v is not inside %v", name, p[0], p[1])
		}
	}
	for i, f := range after.Findings {
		if b := before.Findings[i]; f.Score != nil && !inside(*f.Score, *b.Score) {
			t.Errorf("%s: score %v is not inside %v", f.Criterion, *f.Score, *b.Score)
		}
	}
	if after.WorstVerdict.rank() < before.WorstVerdict.rank() || after.BestVerdict.rank() > before.BestVerdict.rank() {
		t.Errorf("verdicts %s to %s are not inside %s to %s", after.WorstVerdict, after.BestVerdict, before.WorstVerdict, before.BestVerdict)
	}
	if before.Verdict != CannotTell && after.Verdict != before.Verdict {
		t.Errorf("verdict was %s, is %s", before.Verdict, after.Verdict)
	}
	for _, h := range before.Hazards {
		was, is := presenceOf(before.Hazards, h.Code), presenceOf(after.Hazards, h.Code)
		if was != Possible && was != is {
			t.Errorf("hazard %s was %s, is %s", h.Code, was, is)
		}
	}
}

func TestReplacingAnUnknownNarrowsTheAnswer(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := drawCase(t)
		before := mustAssess(t, c)
		var open []field
		for _, f := range leaves(reflect.ValueOf(&c.Setup).Elem(), "") {
			notStated := f.value.Kind() == reflect.String && (f.value.String() == "" || f.value.String() == "unknown") ||
				f.value.Kind() != reflect.String && f.value.IsNil()
			if notStated && !slices.Contains(settledFields, f.path) {
				open = append(open, f)
			}
		}
		for _, f := range open {
			old := reflect.New(f.value.Type()).Elem()
			old.Set(f.value)
			f.fill(t)
			if consistent(c.Setup) { // else it contradicts what was stated before
				compareNarrowed(t, before, mustAssess(t, c))
			}
			f.value.Set(old)
		}
	})
}

func TestCountingTheAnimalsNarrowsTheAnswer(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := drawCase(t)
		c.Animal.Count = 0
		before := mustAssess(t, c)
		c.Animal.Count = rapid.IntRange(1, 6).Draw(t, "now counted")
		compareNarrowed(t, before, mustAssess(t, c))
	})
}

// Measuring the animal replaces the two scenarios of a target by one of them.
func TestMeasuringTheAnimalNarrowsTheAnswer(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := drawCase(t)
		before := mustAssess(t, c)
		for i := range c.Criteria {
			if k := &c.Criteria[i]; rapid.Bool().Draw(t, k.Code+" as least") {
				k.Most = k.Least
			} else {
				k.Least = k.Most
			}
		}
		compareNarrowed(t, before, mustAssess(t, c))
	})
}

// What else reads the same measurement: moving it alone moves these too, so all
// else is not equal and they are left out. Water where there was none has a size.
var alsoRead = map[string][]string{
	"substrate_depth": {"usable_height"},
	"water_depth":     {"water_volume", "water_area"},
	"water_dish":      {"water_volume", "water_area", "water_depth"},
}

func TestMovingTowardsTheRangeNeverLowersTheScore(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := drawCase(t)
		for _, k := range c.Criteria {
			if _, exact := c.measure(&k).Exact(); exact && kindOf(k.Code).set != nil && k.Code != "usable_height" {
				moveTowards(t, c, k)
			}
		}
	})
}

// moveTowards moves one measurement towards its range in one scenario: no further
// from any point of it.
func moveTowards(t *rapid.T, c Case, k Criterion) {
	c.Criteria = slices.DeleteFunc(slices.Clone(c.Criteria), func(o Criterion) bool { return slices.Contains(alsoRead[k.Code], o.Code) })
	x, _ := c.measure(&k).Exact()
	target := rapid.SampledFrom([]Target{k.mildest(), k.strictest()}).Draw(t, "towards")
	k.Least, k.Most = target, target
	c.Criteria[slices.IndexFunc(c.Criteria, func(o Criterion) bool { return o.Code == k.Code })] = k
	low, high := k.span(target)
	nearest := math.Min(math.Max(x, low), high)
	moved := x + (nearest-x)*float64(rapid.IntRange(0, 10).Draw(t, "tenths"))/10
	if k.Unit == "animals" {
		moved = math.Max(1, math.Trunc(nearest)) // 0 is not a count
	}
	before := mustAssess(t, c)
	kindOf(k.Code).set(&c, moved)
	after := mustAssess(t, c)
	if addsHazard(before.Hazards, after.Hazards) {
		return
	}
	for name, p := range map[string][2]Interval{
		"score": {before.Score, after.Score}, "weakest": {before.Weakest, after.Weakest}, "score before hazards": {before.BeforeHazards, after.BeforeHazards},
	} {
		if p[1].Worst < p[0].Worst-grain || p[1].Best < p[0].Best-grain {
			t.Errorf("%s from %g to %g: %s fell from %v to %v", k.Code, x, moved, name, p[0], p[1])
		}
	}
	if after.WorstVerdict.rank() < before.WorstVerdict.rank() || after.BestVerdict.rank() < before.BestVerdict.rank() {
		t.Errorf("%s from %g to %g: verdict fell from %s/%s to %s/%s", k.Code, x, moved, before.WorstVerdict, before.BestVerdict, after.WorstVerdict, after.BestVerdict)
	}
}

// The same on measurements of any shape, sizes included: a range moved as a whole.
func TestMovingARangeTowardsTheTargetNeverLowersTheCriterion(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c, err := New(rapid.SampledFrom(Codes()).Draw(t, "code"), Target{}, Target{})
		if err != nil {
			t.Fatal(err)
		}
		c.Least = drawTarget(t, &c, "target")
		c.Most, c.Limit = c.Least, drawFigure(t, c.Unit, "limit")+0.1
		low, high := c.span(c.Least)
		a := drawFigure(t, c.Unit, "from")
		b := a + drawFigure(t, c.Unit, "width")
		towards := func(x float64) float64 {
			return x + (math.Min(math.Max(x, low), high)-x)*float64(rapid.IntRange(0, 10).Draw(t, "tenths"))/10
		}
		p, q := towards(a), towards(b)
		before, after := c.Score(Within(a, b)), c.Score(Within(math.Min(p, q), math.Max(p, q)))
		if after.Worst < before.Worst-grain || after.Best < before.Best-grain {
			t.Errorf("[%g, %g] to [%g, %g] lowers %v to %v", a, b, p, q, before, after)
		}
	})
}

func TestUnknownNeverCountsAsMet(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := drawCase(t)
		r := mustAssess(t, c)
		for i, f := range r.Findings {
			m := c.measure(&c.Criteria[i])
			if m.Unknown() && (f.Standing == Met || f.Score != nil && (f.Score.Worst != 0 || f.Score.Best != 1)) {
				t.Errorf("%s is not known, yet %s with score %v", f.Criterion, f.Standing, f.Score)
			}
			if m.Unknown() && f.Score != nil && (r.Verdict == Suitable || r.Score.Worst == 1 || r.Weakest.Worst > 0) {
				t.Errorf("%s is not known, yet the answer is %s %v", f.Criterion, r.Verdict, r.Score)
			}
		}
		for _, h := range r.Hazards {
			if h.Presence == Possible && (r.Verdict == Suitable || r.Score.Worst > 0 || r.Weakest.Worst > 0) {
				t.Errorf("hazard %s is not ruled out, yet the answer is %s %v", h.Code, r.Verdict, r.Score)
			}
		}
	})
}

// Needs made ready say of an enclosure what the same case says put together.
func TestNeedsSayWhatTheCaseSays(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := drawCase(t)
		c.Measured = nil
		n, err := NewNeeds(c.Criteria, c.Animal)
		if err != nil {
			t.Fatal(err)
		}
		r := Read(c.Setup)
		if rapid.Bool().Draw(t, "filled") {
			c.Setup.Substrate.Depth = lengthOf(float64(rapid.IntRange(0, 30).Draw(t, "depth")))
			r.Fill(c.Setup.Substrate)
		}
		whole := mustAssess(t, c)
		judged, err := Judge(c)
		if err != nil {
			t.Fatal(err)
		}
		j, err := n.Judge(r)
		if err != nil || j != judged || j.Verdict != whole.Verdict || j.WorstVerdict != whole.WorstVerdict || j.BestVerdict != whole.BestVerdict ||
			j.Score != whole.Score || j.Weakest != whole.Weakest || j.BeforeHazards != whole.BeforeHazards {
			t.Fatalf("needs say %+v, %v; the case %+v", j, err, judged)
		}
		tooSmall, mayBe := n.Size(r)
		if tooSmall != (j.BestVerdict == Unsuitable) || mayBe != (j.WorstVerdict == Unsuitable && j.BestVerdict != Unsuitable) {
			t.Errorf("by the sizes too small %v, may be %v; verdicts %s to %s", tooSmall, mayBe, j.WorstVerdict, j.BestVerdict)
		}
		same := cmp.Options{cmpopts.IgnoreUnexported(Change{}), cmpopts.EquateEmpty()}
		if diff := cmp.Diff(whole.Findings, n.Findings(r)); diff != "" {
			t.Error(diff)
		}
		if diff := cmp.Diff(whole.Governing(), n.Shortfall(r)); diff != "" {
			t.Error(diff)
		}
		w, err := n.Work(r, j)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(whole.Governing(), w.Shortfall); diff != "" {
			t.Error(diff)
		}
		needed := Needed(c)
		if diff := cmp.Diff(needed, w.Needed, same); diff != "" {
			t.Error(diff)
		}
		decides := slices.DeleteFunc(slices.Clone(whole.Open), func(o Open) bool { return !o.Decides })
		if diff := cmp.Diff(decides, w.Open, same); diff != "" {
			t.Error(diff)
		}
		if len(needed) > 0 {
			after := mustAssess(t, ApplyAll(c, needed, false))
			if got := (Outcome{after.Verdict, after.Score, after.Weakest}); got != w.After {
				t.Errorf("once all is done %v; an assessment says %v", w.After, got)
			}
		}
	})
}

// No change makes anything worse, and the order is the same every time.
func TestChangesKeepTheirPromises(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := drawCase(t)
		before := mustAssess(t, c)
		chs, err := Changes(c)
		if err != nil {
			t.Fatal(err)
		}
		again, _ := Changes(c)
		if !slices.Equal(codesOf(chs), codesOf(again)) {
			t.Errorf("order %v, then %v", codesOf(chs), codesOf(again))
		}
		for i, ch := range chs {
			if i > 0 && severity(chs[i-1].Hazard) < severity(ch.Hazard) {
				t.Errorf("%s comes before the hazard of %s", chs[i-1].Code, ch.Code)
			}
			if ch.Kind == Rebuild || ch.Effort == 0 || ch.What == "" {
				t.Errorf("change %+v", ch)
			}
			then := mustAssess(t, ch.Suppose(c)) // what was reckoned by what the change alters is what the whole comes to
			if got := (Outcome{then.Verdict, then.Score, then.Weakest}); got != ch.After {
				t.Errorf("%s promises %v, an assessment says %v", ch.Code, ch.After, got)
			}
			if got := then.BeforeHazards.minus(before.BeforeHazards); got != ch.Gain {
				t.Errorf("%s promises a gain of %v, an assessment says %v", ch.Code, ch.Gain, got)
			}
			if ch.Supposes {
				continue
			}
			after := mustAssess(t, ch.Apply(c))
			if addsHazard(before.Hazards, after.Hazards) {
				t.Errorf("%s adds a hazard", ch.Code)
			}
			if after.Score != ch.After.Score || after.Verdict != ch.After.Verdict {
				t.Errorf("%s promises %v, brings %v %v", ch.Code, ch.After, after.Score, after.Verdict)
			}
			if ch.Hazard == Definite && slices.Equal(hazardCounts(before), hazardCounts(after)) {
				t.Errorf("%s takes no hazard away", ch.Code)
			}
		}
	})
}

func hazardCounts(r Result) []int {
	out := []int{0}
	for _, h := range r.Hazards {
		if h.Presence == Definite {
			out[0]++
		}
	}
	return out
}
