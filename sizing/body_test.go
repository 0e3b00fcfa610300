package sizing_test

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing"
)

func require(t testing.TB, c *care.Catalogue, id string, a sizing.Animal) *sizing.Requirement {
	t.Helper()
	a.Count = 1
	r, err := sizing.Require(c, sizing.Question{Species: id, Animals: []sizing.Animal{a}})
	if err != nil {
		t.Fatal(id, err)
	}
	return r
}

func months(n float64) *quantity.Hours { return new(quantity.Hours(n * 730.5)) }

// TestEveryTargetIsSourced walks the answers for every species and stage: a target
// with a range has a grade, and sources or a note on how it was derived; one that
// rests on memory says so; one without says what would settle it.
func TestEveryTargetIsSourced(t *testing.T) {
	c := catalogue(t)
	ranges, recalled, derived := 0, 0, 0
	for _, s := range c.Species() {
		for _, stage := range care.Stages {
			r := require(t, c, s.ID, sizing.Animal{Stage: stage})
			targets := append(slices.Clone(r.Targets), r.Substrate.Depth)
			for _, z := range r.Zones {
				targets = append(targets, z.Targets...)
			}
			for _, k := range targets {
				at := s.ID + " " + string(stage) + " " + string(k.Parameter)
				if k.Range == nil {
					if k.Standing == care.Known || k.Standing == care.NotKnown && len(k.Notes) == 0 {
						t.Errorf("%s: no range, standing %s, notes %q", at, k.Standing, k.Notes)
					}
					continue
				}
				ranges++
				isDerived := slices.ContainsFunc(k.Notes, func(n string) bool {
					return strings.HasPrefix(n, "derived") || strings.HasPrefix(n, "from the UV zone")
				})
				if isDerived {
					derived++
				}
				if k.Standing != care.Known || k.Grade == "" || len(k.SourceKeys) == 0 && !isDerived {
					t.Errorf("%s: standing %s, grade %q, sources %v, notes %q", at, k.Standing, k.Grade, k.SourceKeys, k.Notes)
				}
				for _, key := range k.SourceKeys {
					if c.Source(key) == nil {
						t.Errorf("%s: no source %q", at, key)
					}
				}
				says := slices.ContainsFunc(k.Notes, func(n string) bool { return strings.HasPrefix(n, "recalled") })
				if says != (k.Grade == care.RecalledOnly) {
					t.Errorf("%s: grade %s, notes %q", at, k.Grade, k.Notes)
				}
				if says {
					recalled++
				}
			}
			for _, a := range r.Animals {
				for _, l := range a.Lengths {
					if l.Basis == "" || l.Range.Low == nil || l.Range.High == nil {
						t.Errorf("%s %s: length %+v", s.ID, stage, l)
					}
				}
				known := a.Mass.Low != nil || a.Mass.High != nil
				if known != (a.MassBasis != "") {
					t.Errorf("%s %s: mass %+v, basis %q", s.ID, stage, a.Mass, a.MassBasis)
				}
			}
		}
	}
	t.Logf("%d ranges, %d of them recalled, %d derived", ranges, recalled, derived)
}

// TestNamedAndMeasuredAgree: an animal measured anywhere within what its named stage
// is given is told as that stage, without a warning.
func TestNamedAndMeasuredAgree(t *testing.T) {
	c := catalogue(t)
	for _, s := range c.Species() {
		for _, stage := range care.Stages {
			named := require(t, c, s.ID, sizing.Animal{Stage: stage})
			for _, l := range named.Animals[0].Lengths {
				for _, share := range []float64{0, 0.5, 0.999} {
					cm := *l.Range.Low + share*(*l.Range.High-*l.Range.Low)
					r := require(t, c, s.ID, sizing.Animal{Stage: stage, Length: new(quantity.Centimetres(cm)), Measure: l.Measure})
					if len(r.Warnings) > 0 {
						t.Errorf("%s %s at %g cm: %v", s.ID, stage, cm, r.Warnings)
					}
				}
			}
		}
	}
}

// TestAge: an age gives the size where growth data are held; where they are not it
// only serves rules that speak of age, and the answer says so.
func TestAge(t *testing.T) {
	c := catalogue(t)
	span := func(r *sizing.Requirement) (low, high float64) {
		b := r.Animals[0].Lengths[0].Range
		return *b.Low, *b.High
	}
	// Painted turtles of about four years: 9.27 and 8.87 cm (Wilbur 1975, as digitised).
	r := require(t, c, "chrysemys-picta", sizing.Animal{Age: months(47.6)})
	if low, high := span(r); low > 8.87 || high < 9.27 || high > 15 || r.Animals[0].StageFrom != "age" {
		t.Errorf("painted turtle: %g to %g cm, stage %s from %s", low, high, r.Animals[0].Stage, r.Animals[0].StageFrom)
	}
	if len(r.Warnings) == 0 || !strings.Contains(r.Warnings[0].Text, "it is taken as "+string(r.Animals[0].Stage)) {
		t.Errorf("an age that fits several stages: %v", r.Warnings)
	}
	// Hermann's tortoises, by mass (Ritz and others 2012): males and females alike.
	young, old := require(t, c, "testudo-hermanni", sizing.Animal{Age: months(12)}), require(t, c, "testudo-hermanni", sizing.Animal{Age: months(240)})
	if _, a := span(young); a > 15 {
		t.Errorf("Hermann's tortoise of a year: up to %g cm", a)
	}
	if old.Animals[0].Stage != care.Adult || !strings.Contains(old.Animals[0].Lengths[0].Basis, "from mass") {
		t.Errorf("of twenty years: %s, %s", old.Animals[0].Stage, old.Animals[0].Lengths[0].Basis)
	}
	// With a stage, the size fits both.
	stage := require(t, c, "pogona-vitticeps", sizing.Animal{Stage: care.Juvenile})
	both := require(t, c, "pogona-vitticeps", sizing.Animal{Stage: care.Juvenile, Age: months(12)})
	lowS, highS := span(stage)
	if low, high := span(both); low < lowS || high > highS || len(both.Warnings) > 0 || !strings.Contains(both.Animals[0].Lengths[0].Basis, "within the stage stated") {
		t.Errorf("juvenile of a year: %g to %g cm within %g to %g, %v", low, high, lowS, highS, both.Warnings)
	}
	// Stage and age contradict each other.
	odd := require(t, c, "pogona-vitticeps", sizing.Animal{Stage: care.Hatchling, Age: months(120)})
	if low, _ := span(odd); len(odd.Warnings) != 1 || odd.Warnings[0].Field != "/animals/0/age" || low < 15 {
		t.Errorf("a hatchling of ten years: from %g cm, %v", low, odd.Warnings)
	}
	// No growth data: with a stage a warning, without one a fault with its remedy.
	none := require(t, c, "cynops-orientalis", sizing.Animal{Stage: care.Adult, Age: months(30)})
	if len(none.Warnings) != 1 || !strings.Contains(none.Warnings[0].Text, "only where a rule speaks of age") {
		t.Errorf("%v", none.Warnings)
	}
	_, err := sizing.Require(c, sizing.Question{Species: "cynops-orientalis", Animals: []sizing.Animal{{Count: 1, Age: months(30)}}})
	var bad sizing.Invalid
	if !errors.As(err, &bad) || len(bad) != 1 || bad[0].Field != "/animals/0" || !strings.Contains(bad[0].Reason, "no growth data") || bad[0].Remedy == "" {
		t.Errorf("age alone without growth data: %v", err)
	}
	_, err = sizing.Require(c, sizing.Question{Species: "pogona-vitticeps", Animals: []sizing.Animal{{Count: 1}}})
	if !errors.As(err, &bad) || !strings.Contains(bad[0].Reason, "neither stage nor length") {
		t.Errorf("nothing at all: %v", err)
	}
}

// TestMassOfAnimals: adults weigh what is claimed, the young what their length comes
// to, and the longer the heavier.
func TestMassOfAnimals(t *testing.T) {
	c := catalogue(t)
	adult := require(t, c, "pogona-vitticeps", sizing.Animal{Stage: care.Adult}).Animals[0]
	w := c.Range("pogona-vitticeps", care.AdultMass, care.Adult)
	if *adult.Mass.Low != *w.Low || *adult.Mass.High != *w.High || !strings.HasPrefix(adult.MassBasis, "working range of adult mass") {
		t.Errorf("%s by %s, want the claims' %v to %v", adult.Mass, adult.MassBasis, *w.Low, *w.High)
	}
	young := require(t, c, "pogona-vitticeps", sizing.Animal{Length: new(quantity.Centimetres(9.5)), Measure: care.SnoutVent}).Animals[0]
	// Feldman and others 2016: 28.5 g at 95 mm.
	if m := math.Sqrt(*young.Mass.Low * *young.Mass.High); math.Abs(m-28.5) > 0.1 || !strings.Contains(young.MassBasis, "Typical Agamidae") {
		t.Errorf("%s by %s", young.Mass, young.MassBasis)
	}
	// Probably adult by its age, yet perhaps not: the claims for adults don't hold.
	if a := require(t, c, "testudo-hermanni", sizing.Animal{Age: months(60)}).Animals[0]; a.Stage != care.Adult || strings.HasPrefix(a.MassBasis, "working range") {
		t.Errorf("of five years: %s, %s by %s", a.Stage, a.Mass, a.MassBasis)
	}
	without := 0
	for _, s := range c.Species() {
		last := 0.0
		for _, stage := range care.Stages[:3] {
			a := require(t, c, s.ID, sizing.Animal{Stage: stage}).Animals[0]
			if a.Mass.High == nil {
				without++
				continue
			}
			if !(*a.Mass.Low > 0) || *a.Mass.High < *a.Mass.Low || math.IsInf(*a.Mass.High, 0) {
				t.Errorf("%s %s: %s", s.ID, stage, a.Mass)
			}
			// A wider relation below the reach of the nearer may give a little more.
			if *a.Mass.High < last/1.5 {
				t.Errorf("%s: a %s weighs up to %g g, the stage before %g", s.ID, stage, *a.Mass.High, last)
			}
			last = *a.Mass.High
		}
	}
	t.Logf("%d stages of the young without a mass", without)
	if without > 30 {
		t.Errorf("%d stages without a mass", without)
	}
}

// TestPhotoperiod: a claim comes first; without one the day lengths follow the native
// latitude, summer never below winter, equal at the equator and held to 10 to 14 h.
func TestPhotoperiod(t *testing.T) {
	c := catalogue(t)
	derived := 0
	for _, s := range c.Species() {
		summer := sizing.TargetOf(c, s, care.PhotoperiodSummer, care.Adult)
		winter := sizing.TargetOf(c, s, care.PhotoperiodWinter, care.Adult)
		w := c.Range(s.ID, care.PhotoperiodSummer, care.Adult)
		if w.Standing == care.Known {
			if summer.Grade != w.Grade || *summer.Range.Low != *w.Low {
				t.Errorf("%s: the claims are not used: %+v", s.ID, summer)
			}
			continue
		}
		if s.Nature.Latitude == nil {
			continue
		}
		derived++
		if summer.Range == nil || winter.Range == nil {
			t.Fatalf("%s: no day length from latitude %g", s.ID, *s.Nature.Latitude)
		}
		a, b := (*summer.Range.Low+*summer.Range.High)/2, (*winter.Range.Low+*winter.Range.High)/2
		if a < b || a-b > 4.01 || a > 14.3 || b < 10 {
			t.Errorf("%s at %g°: summer %g h, winter %g h", s.ID, *s.Nature.Latitude, a, b)
		}
		if summer.Grade != care.RecalledOnly || !slices.Equal(summer.SourceKeys, s.Nature.Sources) {
			t.Errorf("%s: %+v", s.ID, summer)
		}
	}
	t.Logf("%d species with day lengths from their latitude", derived)
	if derived < 20 {
		t.Errorf("only %d", derived)
	}
	// On the equator a day from sunrise to sunset is 12 h 7 min all year (refraction
	// and the sun's radius; US Naval Observatory tables, recalled).
	toad := c.SpeciesByID("rhinella-marina")
	for _, code := range []care.Code{care.PhotoperiodSummer, care.PhotoperiodWinter} {
		k := sizing.TargetOf(c, toad, code, care.Adult)
		if m := (*k.Range.Low + *k.Range.High) / 2; *toad.Nature.Latitude != 0 || math.Abs(m-12.12) > 0.03 {
			t.Errorf("%s at %g°: %g h", code, *toad.Nature.Latitude, m)
		}
	}
	// South of the equator the long days are those of the southern summer.
	if k := sizing.TargetOf(c, c.SpeciesByID("ceratophrys-ornata"), care.PhotoperiodSummer, care.Adult); !strings.Contains(strings.Join(k.Notes, " "), "34° S") {
		t.Errorf("%q", k.Notes)
	}
}

// BenchmarkRequire: the main question must stay cheap however much is known about
// growth and mass.
func BenchmarkRequire(b *testing.B) {
	c := catalogue(b)
	for _, tt := range []struct {
		name    string
		species string
		animal  sizing.Animal
	}{
		{"adult", "pogona-vitticeps", sizing.Animal{Count: 1, Stage: care.Adult}},
		{"adult_frog", "dendrobates-auratus", sizing.Animal{Count: 1, Stage: care.Adult}},
		{"juvenile", "testudo-hermanni", sizing.Animal{Count: 1, Stage: care.Juvenile}},
		{"aged", "testudo-hermanni", sizing.Animal{Count: 1, Age: months(30)}},
	} {
		b.Run(tt.name, func(b *testing.B) {
			b.ReportAllocs()
			q := sizing.Question{Species: tt.species, Animals: []sizing.Animal{tt.animal}}
			for b.Loop() {
				if _, err := sizing.Require(c, q); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
