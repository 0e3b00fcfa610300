package sizing_test

import (
	"testing"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing"
)

// The line over a life crosses what the enclosure measures where Outgrow says, and
// its lengths and ages only rise.
func TestCourseCrossesWhereOutgrown(t *testing.T) {
	c := catalogue(t)
	m := sizing.NewMatcher(c)
	crossed := 0
	for _, s := range c.Species() {
		q := sizing.AssessmentQuestion{Setup: donated(120, 60, 60), Question: sizing.Question{Species: s.ID, Animals: []sizing.Animal{{Count: 1, Stage: care.Hatchling}}}}
		o, err := m.Outgrow(q)
		if err != nil {
			t.Fatal(s.ID, err)
		}
		course, err := m.Course(q)
		if err != nil {
			t.Fatal(s.ID, err)
		}
		for i := 1; i < len(course.Points); i++ {
			a, b := course.Points[i-1], course.Points[i]
			if b.Length < a.Length || a.Earliest != nil && b.Earliest != nil && *b.Earliest < *a.Earliest {
				t.Errorf("%s: lengths or ages fall from %v to %v", s.ID, a, b)
			}
		}
		for _, d := range o.Dimensions {
			if d.Standing != "will be outgrown" || d.Length == nil || d.Here == nil {
				continue
			}
			for _, p := range course.Points {
				wanted, known := p.Wanted[d.Criterion]
				if !known {
					continue
				}
				const reading = 1e-3 // of what is wanted: what a tape may be off
				if cm := p.Length.Centimetres(); cm < *d.Length.Low*0.999 && wanted.Number > d.Here.Number*(1+reading)+0.1 {
					t.Errorf("%s: %v %s wanted at %.1f cm, before %.1f cm, of %v", s.ID, wanted, d.Criterion, cm, *d.Length.Low, *d.Here)
				}
				if wanted.Number > d.Here.Number*(1+reading)+0.1 {
					crossed++
				}
			}
		}
	}
	if crossed < 100 {
		t.Errorf("only %d points lie above what is there", crossed)
	}
	if _, err := m.Course(sizing.AssessmentQuestion{Question: sizing.Question{Species: "nobody", Animals: []sizing.Animal{{Count: 0, Length: new(quantity.Length(1))}}}}); err == nil {
		t.Error("an unknown species is taken")
	}
}
