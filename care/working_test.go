package care

import (
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

func f(x float64) *float64 { return &x }

// TestWorkingRange puts the documented rule to invented claims; the sources are invented.
func TestWorkingRange(t *testing.T) {
	sources := map[string]*Source{
		"law":   {Key: "law", Kind: Statute},
		"copy":  {Key: "copy", Kind: Statute, Work: "law"},
		"vet":   {Key: "vet", Kind: VetPractice},
		"book":  {Key: "book", Kind: Handbook},
		"zoo":   {Key: "zoo", Kind: Zoo},
		"press": {Key: "press", Kind: Press},
	}
	claim := func(source string, low, high *float64, edit ...func(*Claim)) *Claim {
		c := &Claim{Parameter: WarmAir, Stage: Adult, Low: low, High: high, Source: source, Access: Read}
		for _, e := range edit {
			e(c)
		}
		return c
	}
	recalled := func(c *Claim) { c.Access = Recalled }
	juvenile := func(c *Claim) { c.Stage = Juvenile }
	genus := func(c *Claim) { c.About = AboutGenus }
	type want struct {
		Low, High *float64
		Grade     Grade
		Agreement Agreement
		Sources   int
		Counted   int
	}
	tests := []struct {
		name   string
		stage  Stage
		claims []*Claim
		want   want
	}{
		{"nothing known", Adult, nil, want{}},
		{"one read source", Adult, []*Claim{claim("vet", f(25), f(30))}, want{f(25), f(30), Thin, Single, 1, 1}},
		{"a single figure is widened by the tolerance", Adult, []*Claim{claim("vet", f(28), f(28))}, want{f(26.5), f(29.5), Thin, Single, 1, 1}},
		{"recalled alone says so", Adult, []*Claim{claim("vet", f(25), f(30), recalled), claim("book", f(26), f(31), recalled)}, want{f(25), f(31), RecalledOnly, Agree, 2, 2}},
		{"three that agree, two read, one of authority", Adult, []*Claim{claim("vet", f(25), f(30)), claim("book", f(26), f(31)), claim("zoo", f(27), f(29), recalled)}, want{f(26), f(30), Firm, Agree, 3, 3}},
		{"a recalled reference outranks a column that was read", Adult, []*Claim{claim("press", f(35), f(36)), claim("book", f(26), f(31), recalled)}, want{f(26), f(31), RecalledOnly, Single, 1, 1}},
		{"a retold figure speaks where no other does", Adult, []*Claim{claim("press", f(35), f(36))}, want{f(35), f(36), Thin, Single, 1, 1}},
		{"copies of one publication are one voice", Adult, []*Claim{claim("law", f(25), f(27)), claim("copy", f(25), f(28))}, want{f(25), f(28), Thin, Single, 1, 2}},
		{"conflict spans both", Adult, []*Claim{claim("vet", f(20), f(22)), claim("book", f(28), f(30))}, want{f(20), f(30), Fair, Conflict, 2, 2}},
		{"a minority dissents", Adult, []*Claim{claim("vet", f(20), f(22)), claim("book", f(27), f(30)), claim("zoo", f(28), f(31))}, want{f(28), f(30), Firm, Partly, 3, 3}},
		{"species before genus", Adult, []*Claim{claim("vet", f(25), f(30)), claim("law", f(10), f(12), genus)}, want{f(25), f(30), Thin, Single, 1, 1}},
		{"stage asked before adult", Juvenile, []*Claim{claim("vet", f(25), f(30)), claim("zoo", f(27), f(31), juvenile)}, want{f(27), f(31), Thin, Single, 1, 1}},
		{"implausible never counts", Adult, []*Claim{claim("vet", f(25), f(30), func(c *Claim) { c.Implausible = "invented" })}, want{}},
		{"one-sided claims meet", Adult, []*Claim{claim("vet", nil, f(30)), claim("book", f(25), nil)}, want{f(25), f(30), Fair, Agree, 2, 2}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			w := rangeOf(ParameterOf(WarmAir), tt.stage, tt.claims, sources)
			got := want{w.Low, w.High, w.Grade, w.Agreement, w.Sources, len(w.Counted)}
			if diff := cmp.Diff(tt.want, got); diff != "" {
				t.Error(diff)
			}
			if len(w.Counted)+len(w.Aside) != len(tt.claims) {
				t.Errorf("%d counted + %d aside, want all %d claims kept", len(w.Counted), len(w.Aside), len(tt.claims))
			}
		})
	}
}

// A working range never leaves the span of the claims counted (widened by the
// tolerance), does not depend on their order, and does not depend on access.
func TestWorkingRangeProperties(t *testing.T) {
	sources := map[string]*Source{}
	keys := []string{"a", "b", "c", "d", "e"}
	for _, k := range keys {
		sources[k] = &Source{Key: k, Kind: VetReference}
	}
	p := ParameterOf(WarmAir)
	rapid.Check(t, func(t *rapid.T) {
		var claims, reversed []*Claim
		n := rapid.IntRange(1, 6).Draw(t, "n")
		for range n {
			low := rapid.Float64Range(5, 45).Draw(t, "low")
			high := low + rapid.Float64Range(0, 5).Draw(t, "width")
			claims = append(claims, &Claim{Parameter: WarmAir, Stage: Adult, Low: &low, High: &high,
				Source: rapid.SampledFrom(keys).Draw(t, "source"), Access: rapid.SampledFrom([]Access{Read, Recalled}).Draw(t, "access")})
		}
		lowest, highest := 100.0, -100.0
		for i := range claims {
			reversed = append(reversed, claims[len(claims)-1-i])
			lowest, highest = min(lowest, *claims[i].Low), max(highest, *claims[i].High)
		}
		w, r := rangeOf(p, Adult, claims, sources), rangeOf(p, Adult, reversed, sources)
		if w.Low == nil || w.High == nil || *w.Low > *w.High {
			t.Fatalf("range %v–%v", w.Low, w.High)
		}
		if *w.Low < lowest-p.Tolerance-1e-9 || *w.High > highest+p.Tolerance+1e-9 {
			t.Fatalf("%g–%g leaves the claims' span %g–%g", *w.Low, *w.High, lowest, highest)
		}
		if *w.Low != *r.Low || *w.High != *r.High || w.Agreement != r.Agreement || w.Grade != r.Grade {
			t.Fatalf("order changes the range: %v and %v", w, r)
		}
		for _, c := range claims {
			c.Access = Recalled
		}
		if a := rangeOf(p, Adult, claims, sources); *a.Low != *w.Low || *a.High != *w.High || a.Grade != RecalledOnly {
			t.Fatalf("access changes the range: %v and %v", w, a)
		}
	})
}
