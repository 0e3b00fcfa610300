package sizing_test

import (
	"math"
	"slices"
	"testing"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing"
	"denwright/sizing/score"
)

// donated is a donated enclosure of which the size is known, full of water where that is asked for.
func donated(length, width, height float64) score.Setup {
	s := wellKept()
	s.Inside = &score.Inside{Length: new(quantity.Centimetres(length)), Width: new(quantity.Centimetres(width)), Height: new(quantity.Centimetres(height))}
	s.Substrate.Depth = new(quantity.Centimetres(3))
	s.Water.Volume = new(quantity.Litres(length * width * 20 / 1000))
	return s
}

// TestOutgrowAgreesWithAssess: for hatchlings of every species in some boxes, an
// animal a shade shorter than the length given is not short in that dimension, one a
// shade longer is; what is never outgrown holds the longest adult; and an animal of
// the age given may have that length by the growth data.
func TestOutgrowAgreesWithAssess(t *testing.T) {
	c := catalogue(t)
	lengths, ages, never := 0, 0, 0
	for _, s := range c.Species() {
		for _, setup := range []score.Setup{donated(60, 45, 45), donated(120, 60, 60), donated(300, 150, 150)} {
			q := sizing.AssessmentQuestion{Setup: setup, Question: sizing.Question{Species: s.ID, Animals: []sizing.Animal{{Count: 1, Stage: care.Hatchling}}}}
			o, err := sizing.Outgrow(c, q)
			if err != nil {
				t.Fatal(s.ID, err)
			}
			finding := func(cm float64, m care.Measure, criterion string) *score.Finding {
				q := q
				q.Animals = []sizing.Animal{{Count: 1, Length: new(quantity.Centimetres(cm)), Measure: m}}
				a, err := sizing.Assess(c, q)
				if err != nil {
					t.Fatal(s.ID, cm, err)
				}
				i := slices.IndexFunc(a.Findings, func(f score.Finding) bool { return f.Criterion == criterion })
				if i < 0 {
					return nil
				}
				return &a.Findings[i]
			}
			for _, d := range o.Dimensions {
				adult, _ := c.AdultLength(s, measureOf(s))
				switch {
				case d.Standing == "never" && adult.High > 0:
					never++
					if f := finding(adult.High.Centimetres(), measureOf(s), d.Criterion); f != nil && f.Score != nil && f.Score.Worst < 1 {
						t.Errorf("%s: %s is never outgrown, yet short for %v", s.ID, d.Criterion, adult.High)
					}
				case d.Standing == "will be outgrown" && d.Length.High != nil && d.Age == nil:
					// With an age, a rule that speaks of age may move the length.
					lengths++
					low, high := *d.Length.Low, *d.Length.High
					step := 0.004 * (adult.High.Centimetres() + 1)
					if f := finding(low-step, d.Measure, d.Criterion); f != nil && f.Score != nil && f.Score.Best < 1 {
						t.Errorf("%s: %s is short at %.1f cm, before %.1f cm", s.ID, d.Criterion, low-step, low)
					}
					if f := finding(high*1.001, d.Measure, d.Criterion); f == nil || f.Score == nil || f.Score.Worst == 1 {
						t.Errorf("%s: %s is not short at %.1f cm, after %.1f cm: %+v", s.ID, d.Criterion, high*1.001, high, f)
					}
				}
				if d.Age == nil || d.Standing != "will be outgrown" {
					continue
				}
				ages++
				if d.Age.High != nil {
					if d.Age.Low != nil && *d.Age.Low > *d.Age.High {
						t.Errorf("%s: %s outgrown from %v to %v months", s.ID, d.Criterion, *d.Age.Low, *d.Age.High)
					}
					if b, ok := c.LengthAtAge(s, *d.Age.High, "", d.Measure); !ok || b.Low.Centimetres() < *d.Length.High-1e-6 {
						t.Errorf("%s: at %v months the shortest are %v, not %v cm", s.ID, *d.Age.High, b.Low, *d.Length.High)
					}
				}
			}
			if (o.First == nil) != (o.Standing == "never" || o.Standing == "not known") {
				t.Errorf("%s: %s, first %+v", s.ID, o.Standing, o.First)
			}
		}
	}
	t.Logf("%d lengths and %d ages at which a dimension falls short, %d never", lengths, ages, never)
	if lengths < 50 || ages < 50 || never < 50 {
		t.Error("too few to say anything")
	}
}

// TestOutgrowByHand: hand-worked from the rule for Hermann's tortoises (a floor of 8
// by 4 shells, German expert report of 1997): 100 × 50 cm does for a shell of 12.5 cm.
// Painted turtles of 9.3 cm are four years old (Wilbur 1975, as digitised).
func TestOutgrowByHand(t *testing.T) {
	c := catalogue(t)
	ask := func(id string, setup score.Setup, a sizing.Animal) *sizing.Outgrowing {
		o, err := sizing.Outgrow(c, sizing.AssessmentQuestion{Setup: setup, Question: sizing.Question{Species: id, Animals: []sizing.Animal{a}}})
		if err != nil {
			t.Fatal(err)
		}
		return o
	}
	o := ask("testudo-hermanni", donated(100, 50, 50), sizing.Animal{Count: 1, Stage: care.Hatchling})
	if o.Standing != "will be outgrown" || math.Abs(*o.First.Length.Low-12.5) > 0.05 || o.First.Age == nil || *o.First.Age.Low < 6 || *o.First.Age.High > 240 {
		t.Errorf("%s: %+v", o.Standing, o.First)
	}
	// The next size holds the longest adults held, by the same rule.
	adult, _ := c.AdultLength(c.SpeciesByID("testudo-hermanni"), care.Shell)
	if n := o.Next; n == nil || n.Length < 8*adult.High-1e-9 || n.Width < 4*adult.High-1e-9 || n.Length > 8*adult.High+0.1 || math.Mod(n.Length.Centimetres()+1e-9, 10) > 1e-6 {
		t.Errorf("next size %+v for shells of %v", o.Next, adult.High)
	}
	if o = ask("testudo-hermanni", donated(300, 150, 100), sizing.Animal{Count: 1, Stage: care.Juvenile}); o.Standing != "never" || o.First != nil {
		t.Errorf("3 by 1.5 m: %s, %+v", o.Standing, o.First)
	}
	if o = ask("testudo-hermanni", donated(100, 50, 50), sizing.Animal{Count: 1, Stage: care.Adult}); o.Standing != "outgrown" {
		t.Errorf("adult in 100 by 50 cm: %s", o.Standing)
	}
	if o = ask("testudo-hermanni", score.Setup{}, sizing.Animal{Count: 1, Stage: care.Hatchling}); o.Standing != "not known" || o.Next == nil {
		t.Errorf("nothing measured: %s", o.Standing)
	}
	if o = ask("cynops-orientalis", donated(20, 20, 30), sizing.Animal{Count: 1, Stage: care.Hatchling}); o.First == nil || o.First.Age != nil || o.Growth == "" {
		t.Errorf("no growth data: %+v, %s", o.First, o.Growth)
	}
}

func BenchmarkOutgrow(b *testing.B) {
	m := sizing.NewMatcher(catalogue(b))
	for _, id := range []string{"testudo-hermanni", "python-regius", "trachemys-scripta"} {
		b.Run(id, func(b *testing.B) {
			q := sizing.AssessmentQuestion{Setup: donated(100, 50, 50), Question: sizing.Question{Species: id, Animals: []sizing.Animal{{Count: 1, Stage: care.Hatchling}}}}
			for b.Loop() {
				if _, err := m.Outgrow(q); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
