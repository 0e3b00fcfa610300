package space_test

import (
	"bytes"
	"math"
	"os"
	"testing"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing/space"

	"go.yaml.in/yaml/v3"
)

func catalogue(t testing.TB) *care.Catalogue {
	t.Helper()
	c, err := care.Embedded()
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func readYAML(t *testing.T, file string, into any) {
	t.Helper()
	raw, err := os.ReadFile("../../testdata/" + file)
	if err != nil {
		t.Fatal(err)
	}
	d := yaml.NewDecoder(bytes.NewReader(raw))
	d.KnownFields(true)
	if err := d.Decode(into); err != nil {
		t.Fatalf("%s: %v", file, err)
	}
}

// figuresCM are printed or hand-worked figures by name, in cm, cm² and litres.
type figuresCM map[string]float64

// of reads the same figures off a constraint.
func of(c space.Constraint) figuresCM {
	area := func(a quantity.Area) float64 { return float64(a) * 1e4 }
	volume := c.Volume
	if volume == 0 {
		volume = quantity.Volume(c.Length * c.Width * c.Height)
	}
	return figuresCM{
		"length_cm": max(c.Length, c.ShapeLength).Centimetres(), "width_cm": max(c.Width, c.ShapeWidth).Centimetres(), "height_cm": c.Height.Centimetres(),
		"shortest_side_cm": c.Width.Centimetres(), "area_cm2": area(c.Area), "perimeter_cm": c.Perimeter.Centimetres(),
		"water_area_cm2": area(c.WaterArea), "water_depth_cm": c.WaterDepth.Centimetres(), "water_depth_max_cm": c.WaterDepthMax.Centimetres(),
		"volume_l": volume.Litres(), "water_l": c.WaterVolume.Litres(),
	}
}

func body(measure care.Measure, cm float64, ageMonths float64, adult bool) space.Body {
	b := space.Body{AgeMonths: ageMonths, Adult: adult}
	switch measure {
	case care.SnoutVent:
		b.SnoutVent = quantity.Centimetres(cm)
	case care.TotalLength:
		b.Total = quantity.Centimetres(cm)
	case care.Shell:
		b.Shell = quantity.Centimetres(cm)
		b.ShellHeight = b.Shell / 2
	}
	return b
}

func compare(t *testing.T, want figuresCM, got space.Constraint, tolerance float64) {
	t.Helper()
	have := of(got)
	for name, w := range want {
		g, ok := have[name]
		if !ok {
			t.Errorf("no figure is called %s", name)
		} else if math.Abs(g-w) > tolerance*math.Max(1, w) {
			t.Errorf("%s = %.4g, want %.4g", name, g, w)
		}
	}
}

type citation struct {
	Title     string `yaml:"title"`
	Publisher string `yaml:"publisher"`
	Year      string `yaml:"year"`
}

// TestPrintedExamples runs the worked examples that the sources themselves print
// (testdata/size_rule_examples.yaml names each). Where a source contradicts or
// rounds its own rule, the rule is asserted and the printed figure logged beside it.
func TestPrintedExamples(t *testing.T) {
	c := catalogue(t)
	var examples []struct {
		ID      string   `yaml:"id"`
		Rules   []string `yaml:"rules"`
		Species string   `yaml:"species"`
		Animals struct {
			Count   int          `yaml:"count"`
			Length  float64      `yaml:"length_cm"`
			Measure care.Measure `yaml:"measure"`
			Age     float64      `yaml:"age_months"`
			Assumed bool         `yaml:"length_assumed"`
			Adult   bool         `yaml:"adult"`
		} `yaml:"animals"`
		Expected    figuresCM `yaml:"expected"`
		AlsoPrinted figuresCM `yaml:"also_printed"`
		RuleGives   figuresCM `yaml:"rule_gives"`
		CarriedBy   yaml.Node `yaml:"carried_by"`
		Reason      string    `yaml:"reason"`
		Source      citation  `yaml:"source"`
		Tolerance   float64   `yaml:"tolerance"`
	}
	readYAML(t, "size_rule_examples.yaml", &examples)
	if len(examples) != 13 {
		t.Errorf("%d examples, want the 13 that are known", len(examples))
	}
	for _, e := range examples {
		t.Run(e.ID, func(t *testing.T) {
			if e.Source.Title == "" {
				t.Error("no source is named")
			}
			for _, id := range e.Rules {
				r := c.Rule(id)
				if r == nil {
					t.Fatalf("no rule %q", id)
				}
				if s := c.SpeciesByID(e.Species); s != nil && !r.Scope.Covers(s) && e.Reason == "" {
					t.Errorf("rule %s does not cover %s", id, e.Species)
				}
				o := space.Evaluate(r, body(e.Animals.Measure, e.Animals.Length, e.Animals.Age, true), e.Animals.Count)
				if o.Reason != space.Evaluated {
					t.Fatalf("rule %s gives no figure: %s", id, o.Reason)
				}
				want := e.Expected
				if len(e.RuleGives) > 0 {
					want = e.RuleGives
					t.Logf("printed %v, the rule gives %v: %s", e.Expected, e.RuleGives, e.Reason)
				}
				if len(want) == 0 {
					t.Error("nothing to compare with")
				}
				compare(t, want, o.Constraint, e.Tolerance)
			}
		})
	}
}

// TestHandWorkedRules runs rules at two body lengths or more against values worked
// by hand from the printed figures (testdata/size_rule_hand_checks.yaml names each source).
func TestHandWorkedRules(t *testing.T) {
	c := catalogue(t)
	var checks []struct {
		Rule         string       `yaml:"rule"`
		Access       care.Access  `yaml:"access"`
		Source       citation     `yaml:"source"`
		Animals      int          `yaml:"animals"`
		Length       float64      `yaml:"length_cm"`
		Measure      care.Measure `yaml:"measure"`
		ClassLength  float64      `yaml:"class_length_cm"`
		ClassMeasure care.Measure `yaml:"class_measure"`
		Age          float64      `yaml:"age_months"`
		Adult        bool         `yaml:"adult"`
		Expect       figuresCM    `yaml:"expect"`
		Worked       string       `yaml:"worked"`
	}
	readYAML(t, "size_rule_hand_checks.yaml", &checks)
	read := map[string]int{}
	for _, k := range checks {
		t.Run(k.Rule, func(t *testing.T) {
			r := c.Rule(k.Rule)
			if r == nil {
				t.Fatalf("no rule %q", k.Rule)
			}
			if r.Access != k.Access {
				t.Errorf("access is %s in the record, %s in the check", r.Access, k.Access)
			}
			b := body(k.Measure, k.Length, k.Age, k.Adult)
			if k.ClassMeasure == care.TotalLength {
				b.Total = quantity.Centimetres(k.ClassLength)
			}
			o := space.Evaluate(r, b, k.Animals)
			if o.Reason != space.Evaluated {
				t.Fatalf("no figure: %s", o.Reason)
			}
			t.Log(k.Worked, "—", k.Source.Title)
			compare(t, k.Expect, o.Constraint, 1e-5) // a third is held to six digits
			if r.Access == care.Read {
				read[k.Rule]++
			}
		})
	}
	twice := 0
	for _, n := range read {
		if n >= 2 {
			twice++
		}
	}
	t.Logf("%d checks; %d rules that were read, each at two lengths or more", len(checks), twice)
	if twice < 30 {
		t.Errorf("%d read rules at two lengths, want at least 30", twice)
	}
}
