package sizing_test

import (
	"slices"
	"strings"
	"testing"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing"
	"denwright/sizing/score"
)

// TestHandover: for every species, in three setups, the page names every shortfall and
// hazard of the assessment, claims nothing is missing only where the verdict is
// suitable, and carries sources and cautions.
func TestHandover(t *testing.T) {
	c := catalogue(t)
	says := map[string]int{}
	for _, s := range c.Species() {
		lamp := donated(120, 60, 60)
		lamp.HeatSources = []score.HeatSource{{Kind: "halogen-lamp", Place: "inside", Guarded: new(false), Control: "none"}}
		for _, setup := range []score.Setup{ideal(t, c, s, "", 0.5), lamp, {}} {
			q := sizing.AssessmentQuestion{Setup: setup, Question: sizing.Question{Species: s.ID, Animals: []sizing.Animal{{Count: 1, Stage: care.Juvenile}}}}
			h, err := sizing.HandOver(c, q)
			if err != nil {
				t.Fatal(s.ID, err)
			}
			a, err := sizing.Assess(c, q)
			if err != nil {
				t.Fatal(s.ID, err)
			}
			if h.Verdict != a.Verdict || h.Says == "" || h.Grows == "" || h.Company == "" || len(h.About) < 2 {
				t.Errorf("%s: %+v", s.ID, h)
			}
			says[strings.SplitN(h.Says, ".", 2)[0]]++
			if (a.Verdict == score.Suitable) != (len(h.Missing) == 0 && len(h.Measure) == 0) {
				t.Errorf("%s, %s: missing %v, to measure %v", s.ID, a.Verdict, h.Missing, h.Measure)
			}
			for _, f := range a.Findings {
				i := slices.IndexFunc(h.Needs, func(n sizing.HandoverNeed) bool { return n.Criterion == f.Criterion })
				if f.Score != nil && f.Score.Worst < 1 && (i < 0 || h.Needs[i].Standing != f.Standing) {
					t.Errorf("%s: %s is not on the page", s.ID, f.Criterion)
				}
			}
			for _, z := range a.Hazards {
				if z.Presence == score.Definite && !slices.ContainsFunc(h.Missing, func(m sizing.HandoverTask) bool { return m.Hazard == score.Definite && m.Caution != "" }) {
					t.Errorf("%s: hazard %s has no task", s.ID, z.Code)
				}
			}
			if len(h.Cautions) < 3 || len(h.Needs) == 0 {
				t.Errorf("%s: %d cautions, %d needs", s.ID, len(h.Cautions), len(h.Needs))
			}
		}
	}
	t.Log(says)
	if len(says) < 5 {
		t.Errorf("not every kind of page came up: %v", says)
	}
	venom, err := sizing.HandOver(c, sizing.AssessmentQuestion{Question: sizing.Question{Species: "heloderma-suspectum", Animals: []sizing.Animal{{Count: 1, Length: new(quantity.Centimetres(40)), Measure: care.TotalLength}}}})
	if err != nil || !slices.ContainsFunc(venom.Cautions, func(s string) bool { return strings.HasPrefix(s, "Venomous") }) {
		t.Errorf("%v, %v", err, venom)
	}
}
