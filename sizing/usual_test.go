package sizing_test

import (
	"errors"
	"slices"
	"testing"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing"
	"denwright/sizing/layout"
)

// With its usual equipment every species has a plan in which each piece has its place,
// and each piece is asked for by the animal.
func TestUsualEquipment(t *testing.T) {
	c := catalogue(t)
	kinds := map[layout.Kind]int{}
	for i, s := range c.Species() {
		if i%4 != 0 { // a sample: a plan that has to grow costs half a second
			continue
		}
		q := sizing.PlanQuestion{Question: oneAdult(s.ID)}
		equipment, err := sizing.UsualEquipment(c, q)
		var bad sizing.Invalid
		if errors.As(err, &bad) {
			if bad[0].Field != "/enclosure" {
				t.Errorf("%s: %v", s.ID, err)
			}
			continue
		}
		if err != nil {
			t.Fatalf("%s: %v", s.ID, err)
		}
		q.Equipment = equipment
		a, err := sizing.Plan(c, q)
		if err != nil || a.Blocked != nil {
			t.Errorf("%s: %v %v", s.ID, err, a)
			continue
		}
		if len(a.Plan.Spare) > 0 {
			t.Errorf("%s: left over: %v", s.ID, a.Plan.Spare)
		}
		for i, f := range equipment {
			kinds[f.Kind]++
			n := 0
			for _, m := range a.Plan.Fixtures {
				if m.Fixture == i {
					n++
				}
			}
			if n != f.Count {
				t.Errorf("%s: %d of %d placed: %s", s.ID, n, f.Count, f.Kind)
			}
			if f.Kind == layout.Basking && c.Range(s.ID, care.HotSpot, care.Adult).Standing != care.Known {
				t.Errorf("%s: a basking lamp, and no hot spot is known", s.ID)
			}
		}
	}
	for _, k := range []layout.Kind{layout.Basking, layout.UV, layout.NightHeat, layout.Nozzle} {
		if kinds[k] == 0 {
			t.Errorf("no species of the sample has a %s", k)
		}
	}
}

// Each change that a blocked plan offers frees it when it is made in the question.
func TestPlanWithChange(t *testing.T) {
	c := catalogue(t)
	l := func(cm float64) *quantity.Length { return new(quantity.Centimetres(cm)) }
	questions := map[string]sizing.PlanQuestion{"small": equipped("pogona-vitticeps"), "low": equipped("pogona-vitticeps"), "water": equipped("chamaeleo-calyptratus")}
	for name, size := range map[string][3]float64{"small": {70, 40, 60}, "low": {150, 75, 35}, "water": {60, 60, 120}} {
		q := questions[name]
		q.Enclosure = &sizing.PlanEnclosure{Length: l(size[0]), Width: l(size[1]), Height: l(size[2])}
		q.Equipment = slices.Clone(q.Equipment)
		q.Equipment[1].SplashProof, q.Equipment[1].MaxHang = false, nil
		a, err := sizing.Plan(c, q)
		if err != nil {
			t.Fatal(name, err)
		}
		if a.Blocked == nil || len(a.Blocked.Changes) == 0 {
			t.Errorf("%s: nothing blocks, or nothing frees: %+v", name, a.Blocked)
			continue
		}
		for _, change := range a.Blocked.Changes {
			freed, err := q.With(c, change)
			if err != nil {
				t.Errorf("%s: %s: %v", name, change.Text, err)
				continue
			}
			b, err := sizing.Plan(c, freed)
			if err != nil || b.Plan == nil {
				t.Errorf("%s: %s frees nothing: %v", name, change.Text, err)
			}
		}
		if q.Enclosure.Length == nil || *q.Enclosure.Length != *l(size[0]) || q.Equipment[0].Count != 6 {
			t.Errorf("%s: the question itself was changed", name)
		}
	}
}
