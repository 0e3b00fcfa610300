package sizing_test

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"testing"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing"
	"denwright/sizing/score"
	"denwright/sizing/space"
)

// ample is a setup that no published minimum could call small.
func ample() score.Setup {
	s := wellKept()
	s.Inside = &score.Inside{Length: new(quantity.Length(40)), Width: new(quantity.Length(40)), Height: new(quantity.Length(20))}
	s.Substrate.Depth = new(quantity.Length(0))
	s.Water.Length, s.Water.Width, s.Water.Depth, s.Water.Volume = new(quantity.Length(40)), new(quantity.Length(40)), new(quantity.Length(4)), new(quantity.Volume(400))
	return s
}

// minima says, for each dimension that a rule can govern, how to build a setup that
// has just the figure, with something added in metres to one side of it, and which
// criterion compares it.
var minima = map[space.Dimension]struct {
	criterion string
	figure    func(*sizing.RuleFigures) float64
	set       func(s *score.Setup, figure, more float64)
}{
	space.DimLength: {"floor_length", func(f *sizing.RuleFigures) float64 { return float64(f.Length) }, func(s *score.Setup, x, more float64) {
		side := quantity.Length(x + more)
		s.Inside.Length, s.Inside.Width = &side, &side
	}},
	space.DimWidth: {"floor_width", func(f *sizing.RuleFigures) float64 { return float64(f.Width) }, func(s *score.Setup, x, more float64) {
		s.Inside.Width = new(quantity.Length(x + more))
	}},
	space.DimArea: {"floor_area", func(f *sizing.RuleFigures) float64 { return float64(f.FloorArea) }, func(s *score.Setup, x, more float64) {
		side := math.Sqrt(x)
		s.Inside.Length, s.Inside.Width = new(quantity.Length(side)), new(quantity.Length(side+more))
	}},
	space.DimPerimeter: {"floor_perimeter", func(f *sizing.RuleFigures) float64 { return float64(f.Perimeter) }, func(s *score.Setup, x, more float64) {
		s.Inside.Length, s.Inside.Width = new(quantity.Length(x/4)), new(quantity.Length(x/4+more))
	}},
	space.DimVolume: {"inside_volume", func(f *sizing.RuleFigures) float64 { return float64(f.Volume) }, func(s *score.Setup, x, more float64) {
		side := math.Cbrt(x)
		s.Inside.Length, s.Inside.Width, s.Inside.Height = new(quantity.Length(side)), new(quantity.Length(side)), new(quantity.Length(side+more))
	}},
	space.DimHeight: {"usable_height", func(f *sizing.RuleFigures) float64 { return float64(f.Height) }, func(s *score.Setup, x, more float64) {
		s.Inside.Height = new(quantity.Length(x + more))
	}},
	space.DimWaterArea: {"water_area", func(f *sizing.RuleFigures) float64 { return float64(f.WaterArea) }, func(s *score.Setup, x, more float64) {
		side := math.Sqrt(x)
		s.Water.Length, s.Water.Width = new(quantity.Length(side)), new(quantity.Length(side+more))
	}},
	space.DimWaterDepth: {string(care.WaterDepth), func(f *sizing.RuleFigures) float64 { return float64(f.WaterDepth) }, func(s *score.Setup, x, more float64) {
		s.Water.Depth = new(quantity.Length(x + more))
	}},
	// A millimetre of water in a basin 30 cm deep.
	space.DimWaterVolume: {"water_volume", func(f *sizing.RuleFigures) float64 { return float64(f.WaterVolume) }, func(s *score.Setup, x, more float64) {
		s.Water.Volume = new(quantity.Volume(x + more*x/0.3))
	}},
	space.DimSubstrate: {string(care.SubstrateDepth), func(f *sizing.RuleFigures) float64 { return float64(f.Substrate) }, func(s *score.Setup, x, more float64) {
		s.Substrate.Depth = new(quantity.Length(x + more))
	}},
}

// TestFindingsFlipAtTheRule builds, for every rule that sets a dimension for an
// animal of measured length, the setup that has just the figure, and those a
// millimetre either side of it. The finding is met at the rule and above and short
// below; where the rule is law, so is the lawful finding. The figures themselves are
// checked by hand in testdata/size_rule_hand_checks.yaml.
func TestFindingsFlipAtTheRule(t *testing.T) {
	c := catalogue(t)
	type flip struct {
		dimension space.Dimension
		measure   care.Measure
		scaled    bool
	}
	kinds := map[flip]int{}
	lawful := map[string]int{}
	rules := map[string]bool{}
	tried, withheld := 0, 0
	for _, place := range append([]string{""}, c.Jurisdictions()...) {
		for _, s := range c.Species() {
			m := measureOf(s)
			adult, ok := c.AdultLength(s, m)
			if !ok {
				continue
			}
			animals := []sizing.Animal{{Count: 1, Stage: care.Adult, Length: new((adult.Low + adult.High) / 2), Measure: m}}
			q := sizing.Question{Species: s.ID, Animals: animals, Jurisdiction: place}
			r, err := sizing.Require(c, q)
			if err != nil {
				t.Fatal(s.ID, place, err)
			}
			byRule := map[string]*sizing.RuleFigures{}
			for _, a := range r.Rules {
				byRule[a.ID] = a.Figures
			}
			governed := slices.Clone(r.Advised.Governed)
			if r.LowestLawful != nil && r.LowestLawful.Standing == care.Known {
				governed = append(governed, r.LowestLawful.Governed...)
			}
			for _, gov := range slices.Compact(governed) {
				d := space.Dimension(gov.Dimension)
				build := minima[d]
				if gov.Rule == "" || byRule[gov.Rule] == nil || build.set == nil || rules[fmt.Sprint(place, gov.Rule, d)] {
					continue
				}
				rules[fmt.Sprint(place, gov.Rule, d)] = true
				x := build.figure(byRule[gov.Rule])
				at := func(more float64) (score.Finding, *sizing.LawfulFinding) {
					setup := ample()
					build.set(&setup, x, more)
					a, err := sizing.Assess(c, sizing.AssessmentQuestion{Question: q, Setup: setup})
					if err != nil {
						t.Fatal(s.ID, place, err)
					}
					i := slices.IndexFunc(a.Findings, func(f score.Finding) bool { return f.Criterion == build.criterion })
					if i < 0 {
						t.Fatalf("%s: no finding %s", s.ID, build.criterion)
					}
					return a.Findings[i], a.Lawful
				}
				what := fmt.Sprintf("%s in %q, rule %s, %s %g", s.ID, place, gov.Rule, d, x)
				rule, lawRule := at(0)
				below, lawBelow := at(-0.001)
				above, lawAbove := at(0.001)
				isLaw := lawRule != nil && slices.Contains(lawRule.Rules, gov.Rule) && slices.ContainsFunc(r.LowestLawful.Governed, func(g sizing.Governed) bool { return g == gov })
				isAdvice := slices.Contains(r.Advised.Governed, gov)
				figure := x
				if rule.Value != nil { // in the unit of the criterion
					figure = rule.Value.Number
				}
				own := rule.Target != nil && rule.Target.Low != nil && rule.Strictest == nil && math.Abs(*rule.Target.Low-figure) < 1e-6*math.Max(1, figure)
				if isAdvice && !own && rule.Strictest == nil && rule.Target != nil && rule.Target.Low != nil && *rule.Target.Low < figure-1e-6 {
					t.Errorf("%s: the target is only %v", what, rule.Target)
				}
				if !own {
					withheld++ // another rule or claim asks for more, or the animal's other measure leaves it open
				} else {
					tried++
					kinds[flip{d, c.Rule(gov.Rule).Measure, scales(c.Rule(gov.Rule), d)}]++
					if rule.Standing != score.Met || above.Standing == score.Short || below.Standing != score.Short {
						t.Errorf("%s: a millimetre below %s, at the rule %s, above %s", what, below.Standing, rule.Standing, above.Standing)
					}
				}
				if isLaw && own {
					if lawBelow.Standing == "met" {
						t.Errorf("%s: a millimetre below is called lawful", what)
					}
					if lawRule.Standing == "met" {
						lawful[place]++
						if lawBelow.Standing != "not met" || lawAbove.Standing != "met" {
							t.Errorf("%s: lawful a millimetre below: %s, at the rule: %s, above: %s", what, lawBelow.Standing, lawRule.Standing, lawAbove.Standing)
						}
					}
				}
			}
		}
	}
	for _, k := range slices.SortedFunc(maps.Keys(kinds), func(a, b flip) int { return cmp.Compare(fmt.Sprint(a), fmt.Sprint(b)) }) {
		t.Logf("%-16s measure %-12q scaled by it %-5v %d", k.dimension, k.measure, k.scaled, kinds[k])
	}
	t.Logf("%d rule figures flipped, %d not the binding one; lawful flips %v", tried, withheld, lawful)
	dimensions := map[space.Dimension]bool{}
	measures := map[care.Measure]bool{}
	for k := range kinds {
		dimensions[k.dimension] = true
		measures[k.measure] = true
	}
	if len(lawful) < 4 || len(dimensions) < len(minima)-1 || len(measures) < 3 {
		t.Errorf("lawful in %v, dimensions %v, measures %v", lawful, dimensions, measures)
	}
}

// scales reports whether the rule's figure follows the animal's length.
func scales(r *care.Rule, d space.Dimension) bool {
	f := r.Figures
	switch d {
	case space.DimLength, space.DimWidth:
		return f.LengthFactor+f.WidthFactor+f.ShortestSideFactor > 0
	case space.DimHeight:
		return f.HeightFactor > 0
	case space.DimArea:
		return f.AreaPerLength+f.AreaPerLengthSquared+f.LengthFactor+f.WidthFactor > 0
	case space.DimPerimeter:
		return true
	case space.DimVolume:
		return f.VolumePerLength > 0
	case space.DimSubstrate:
		return f.SubstrateShellHeights > 0
	}
	w := f.Water
	return w != nil && w.AreaPerLengthSquared+w.DepthFactor+w.DepthShellHeights+w.VolumePerLength > 0
}

// TestAnswerMeetsItself: a floor copied out of an answer, in either unit system, is
// not called too small.
func TestAnswerMeetsItself(t *testing.T) {
	c := catalogue(t)
	for _, s := range c.Species() {
		for _, system := range []quantity.System{quantity.Metric, quantity.Imperial} {
			r := require(t, c, s.ID, sizing.Animal{Stage: care.Adult})
			if r.Advised.Length == 0 {
				continue
			}
			written := func(l quantity.Length) *quantity.Length {
				back, err := quantity.ParseLength(l.Value().In(system).String())
				if err != nil {
					t.Fatal(err)
				}
				return &back
			}
			setup := ample()
			setup.Inside = &score.Inside{Length: written(r.Advised.Length), Width: written(r.Advised.Width), Height: written(r.Advised.UsableHeight + 1)}
			a, err := sizing.Assess(c, sizing.AssessmentQuestion{Setup: setup, Question: sizing.Question{Species: s.ID, Animals: []sizing.Animal{{Count: 1, Stage: care.Adult}}}})
			if err != nil {
				t.Fatal(err)
			}
			for _, f := range a.Findings {
				if slices.Contains([]string{"floor_length", "floor_width", "floor_area", "floor_perimeter"}, f.Criterion) && f.Score != nil && f.Score.Worst < 1 {
					t.Errorf("%s, %s: %s %v, wanted %v", s.ID, system, f.Criterion, f.Value, f.Strictest)
				}
			}
		}
	}
}
