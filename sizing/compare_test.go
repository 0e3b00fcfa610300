package sizing_test

import (
	"errors"
	"slices"
	"testing"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing"
	"denwright/sizing/score"

	"github.com/google/go-cmp/cmp"
)

// TestComparisonIsAssessSideBySide: each cell is the finding that Assess gives, in
// either direction; the better setup ranks first.
func TestComparisonIsAssessSideBySide(t *testing.T) {
	c := catalogue(t)
	one := []sizing.Animal{{Count: 1, Stage: care.Adult}}
	good := ideal(t, c, c.SpeciesByID("pogona-vitticeps"), "DE", 0.5)
	small := donated(60, 40, 40)
	bare := good
	bare.HeatSources = []score.HeatSource{{Kind: "ceramic-emitter", Place: "inside", Guarded: new(false), Control: "none", Gap: new(quantity.Centimetres(1))}}
	for _, q := range []sizing.ComparisonQuestion{
		{Jurisdiction: "DE", Keepings: []sizing.ComparedAnimals{{Species: "pogona-vitticeps", Animals: one}},
			Setups: []sizing.ComparedSetup{{Name: "small", Setup: small}, {Name: "good", Setup: good}, {Setup: bare}}},
		{Keepings: []sizing.ComparedAnimals{{Species: "axolotl", Animals: one}, {Species: "pogona-vitticeps", Animals: one}, {Species: "python-regius", Animals: one}},
			Setups: []sizing.ComparedSetup{{Name: "good", Setup: good}}},
	} {
		out, err := sizing.Compare(c, q)
		if err != nil {
			t.Fatal(err)
		}
		for i, col := range out.Columns {
			setup := q.Setups[i%len(q.Setups)].Setup
			a, err := sizing.Assess(c, sizing.AssessmentQuestion{Setup: setup, Question: sizing.Question{Species: col.Species.ID, Animals: one, Jurisdiction: q.Jurisdiction}})
			if err != nil {
				t.Fatal(err)
			}
			if col.Verdict != a.Verdict || col.Score != a.Score || !cmp.Equal(col.Lawful, a.Lawful) {
				t.Errorf("column %s: %s %v, assess says %s %v", col.Name, col.Verdict, col.Score, a.Verdict, a.Score)
			}
			cells := 0
			for _, r := range out.Rows {
				f := r.Cells[i]
				j := slices.IndexFunc(a.Findings, func(f score.Finding) bool { return f.Criterion == r.Criterion })
				if (f == nil) != (j < 0) || f != nil && !cmp.Equal(*f, a.Findings[j]) {
					t.Errorf("column %s, %s: %+v", col.Name, r.Criterion, f)
				}
				if f != nil {
					cells++
				}
			}
			if cells != len(a.Findings) {
				t.Errorf("column %s: %d cells of %d findings", col.Name, cells, len(a.Findings))
			}
		}
		if len(q.Setups) == 3 {
			ranks := []int{out.Columns[0].Rank, out.Columns[1].Rank, out.Columns[2].Rank}
			if !slices.Equal(ranks, []int{3, 1, 2}) || out.Columns[2].Name != "setup 3" {
				t.Errorf("ranks %v, name %q", ranks, out.Columns[2].Name)
			}
			if !slices.Contains(out.Differ, "floor_area") || slices.Contains(out.Differ, "group_size") {
				t.Errorf("differ in %v", out.Differ)
			}
			if i := slices.IndexFunc(out.Hazards, func(h sizing.ComparedHazard) bool { return h.Code == "unregulated_heat" }); i < 0 || out.Hazards[i].Cells[2] != score.Definite || out.Hazards[i].Cells[1] == score.Definite {
				t.Errorf("hazards %+v", out.Hazards)
			}
		}
	}
}

func TestComparisonBadFields(t *testing.T) {
	c := catalogue(t)
	one := []sizing.Animal{{Count: 1, Stage: care.Adult}}
	bad := donated(100, 50, 50)
	bad.Inside.Length = new(quantity.Length(-1))
	for _, tt := range []struct {
		name string
		q    sizing.ComparisonQuestion
		want []string
	}{
		{"nothing", sizing.ComparisonQuestion{}, []string{"/keepings"}},
		{"one of each", sizing.ComparisonQuestion{Keepings: []sizing.ComparedAnimals{{"python-regius", one}}, Setups: []sizing.ComparedSetup{{"a", donated(100, 50, 50)}}}, []string{"/setups"}},
		{"several of both", sizing.ComparisonQuestion{Keepings: make([]sizing.ComparedAnimals, 2), Setups: make([]sizing.ComparedSetup, 2)}, []string{"/setups"}},
		{"one bad setup", sizing.ComparisonQuestion{Keepings: []sizing.ComparedAnimals{{"python-regius", one}}, Setups: []sizing.ComparedSetup{{"a", donated(100, 50, 50)}, {"b", bad}}}, []string{"/setups/1/setup/inside/length"}},
		{"one bad species", sizing.ComparisonQuestion{Keepings: []sizing.ComparedAnimals{{"python-regius", one}, {"nobody", one}}, Setups: []sizing.ComparedSetup{{"a", donated(100, 50, 50)}}}, []string{"/keepings/1/species"}},
	} {
		_, err := sizing.Compare(c, tt.q)
		var invalid sizing.Invalid
		if !errors.As(err, &invalid) {
			t.Fatalf("%s: %v", tt.name, err)
		}
		var fields []string
		for _, b := range invalid {
			fields = append(fields, b.Field)
		}
		if !slices.Equal(fields, tt.want) {
			t.Errorf("%s: %v, want %v", tt.name, fields, tt.want)
		}
	}
}
