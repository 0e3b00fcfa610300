package sizing

import (
	"errors"
	"math"
	"slices"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing/layout"
)

// usualNight is how cold a room is taken to get at night, °C; usualDamp the humidity
// from which nozzles are listed, %. Common practice, no source.
const (
	usualNight = 18.0
	usualDamp  = 65.0
)

// usualTubes are common lit lengths in m with their power in W.
var usualTubes = []struct{ length, watts float64 }{{1.15, 54}, {0.85, 39}, {0.55, 24}, {0.30, 14}}

// UsualEquipment lists what commonly hangs over such animals, for who knows the animal
// but not yet its equipment: basking lamps where a hot spot is wanted, a UV tube where
// UV is, a night heater where nights may be no colder than a room's, nozzles where the
// air is damp. All of it is common practice, no source. It runs the plan of the question
// and keeps what finds a place; the equipment of the question is left aside.
//
// Where no size is known, or nothing is called for, the list is empty. The error is an
// Invalid that lists every bad field.
func UsualEquipment(c *care.Catalogue, q PlanQuestion) ([]PlanFixture, error) {
	q.Equipment = nil
	a, err := Plan(c, q)
	if err != nil || a.Plan == nil {
		return nil, err
	}
	s := c.SpeciesByID(a.Species.ID)
	youngest := care.Adult
	for _, one := range a.Animals {
		if slices.Index(care.Stages, one.Stage) < slices.Index(care.Stages, youngest) {
			youngest = one.Stage
		}
	}
	q.Equipment = usual(c, s, youngest, a.Plan)
	for range 4 { // each turn one single change that was tried
		if len(q.Equipment) == 0 {
			return nil, nil
		}
		if a, err = Plan(c, q); err != nil {
			return nil, err
		}
		if a.Blocked == nil {
			return placed(q.Equipment, a.Plan), nil
		}
		i := slices.IndexFunc(a.Blocked.Changes, func(x layout.Change) bool { return x.Kind == "hang" || x.Kind == "add" || x.Kind == "drop" })
		if i < 0 {
			break
		}
		if q, err = q.With(c, a.Blocked.Changes[i]); err != nil {
			return nil, err
		}
	}
	return q.Equipment, nil
}

// usual chooses by the floor, and by the height from the substrate to the ceiling.
func usual(c *care.Catalogue, s *care.Species, stage care.Stage, p *layout.Plan) (out []PlanFixture) {
	l := func(m float64) *quantity.Length { return new(quantity.Length(math.Round(m*200) / 200)) }
	add := func(f PlanFixture) { out = append(out, f) }
	known := func(code care.Code) (care.WorkingRange, bool) {
		w := c.Range(s.ID, code, stage)
		return w, w.Standing == care.Known
	}
	height := float64(p.Height - p.Surface)
	hang := l(max(0.30, height/2))
	spot := 0.0
	for _, place := range p.Floor {
		if place.Role == layout.HotSpot {
			spot += float64(place.Length * place.Width)
		}
	}
	basking := spot > 0
	// In a small box everything is small.
	var opening, wide *quantity.Length
	if p.Width < 0.45 {
		opening, wide = l(0.06), l(0.05)
	}
	if basking {
		watts := 50.0
		if height > 0.6 {
			watts = 80
		}
		if height > 1 {
			watts = 120
		}
		// A lamp lights about 0.08 m²; the plan keeps those it needs.
		count := min(max(int(math.Ceil(2*spot/0.08)), 2), 12)
		add(PlanFixture{Kind: layout.Basking, Count: count, Power: quantity.Power(watts), Opening: opening, MaxHang: hang, Near: l(min(0.25, height/3)), Guarded: true, Secured: true})
	}
	if w, ok := known(care.UVMax); ok && w.High != nil && *w.High > 0 && (basking || s.Nature.Habit != care.Aquatic) {
		tube := usualTubes[len(usualTubes)-1]
		for _, t := range usualTubes {
			if t.length <= 0.6*float64(p.Length) {
				tube = t
				break
			}
		}
		count := 1
		if basking && 2*tube.length < 0.6*float64(p.Length) {
			count = 2
		}
		add(PlanFixture{Kind: layout.UV, Count: count, Power: quantity.Power(tube.watts), Length: l(tube.length), Width: wide, MaxHang: hang, Near: l(min(0.25, height/3)), Guarded: true, Secured: true, SplashProof: true, Corded: true})
	}
	if w, ok := known(care.NightAir); ok && s.Nature.Habit != care.Aquatic && w.Low != nil && *w.Low > usualNight {
		add(PlanFixture{Kind: layout.NightHeat, Count: 1, Power: 100, Opening: opening, Near: l(min(0.20, height/3)), Guarded: true, Secured: true})
	}
	if w, ok := known(care.HumidityDay); ok && s.Nature.Swims < 3 && s.Nature.Habit != care.Aquatic { // over open water the air is damp enough
		if mid, ok := w.Midpoint(); ok && mid >= usualDamp {
			add(PlanFixture{Kind: layout.Nozzle, Count: min(max(int(math.Ceil(float64(p.Length*p.Width)/0.5)), 1), 6), OutputPerMinute: quantity.Litres(0.08)})
		}
	}
	return out
}

// placed keeps what the plan found a place for.
func placed(equipment []PlanFixture, p *layout.Plan) (out []PlanFixture) {
	for i, f := range equipment {
		f.Count = 0
		for _, m := range p.Fixtures {
			if m.Fixture == i {
				f.Count++
			}
		}
		if f.Count > 0 {
			out = append(out, f)
		}
	}
	return out
}

// With is the question with one change of its answer made, the sides of the enclosure
// written out. The error is an Invalid, as for Plan.
func (q PlanQuestion) With(c *care.Catalogue, change layout.Change) (PlanQuestion, error) {
	q.Equipment = slices.Clone(q.Equipment)
	l := func(m float64) *quantity.Length { return new(quantity.Length(math.Round(m*1000) / 1000)) }
	switch change.Kind {
	case "length", "width", "height":
		var p problems
		k := &planner{c: c, q: &q, g: p.animals(c, p.species(c, q.Species), q.Animals)}
		if len(p.bad) > 0 {
			return q, p.bad
		}
		k.r = require(c, k.g, q.Jurisdiction)
		if k.box(&p); len(p.bad) > 0 {
			return q, p.bad
		}
		e := PlanEnclosure{}
		if q.Enclosure != nil {
			e = *q.Enclosure
		}
		b := change.Apply(k.brief).Box
		e.Length, e.Width, e.Height = l(b.Length), l(b.Width), l(b.Height)
		q.Enclosure = &e
	case "hang":
		f := &q.Equipment[change.Fixture]
		d := fixtureDefaults[f.Kind]
		most := d.MaxHang
		switch {
		case f.MaxHang != nil:
			most = float64(*f.MaxHang)
		case f.Hang != nil:
			most = float64(*f.Hang)
		}
		f.MaxHang = l(max(most, float64(orElse(f.Hang, quantity.Length(d.Hang)))) + float64(change.By))
	case "add":
		f := &q.Equipment[change.Fixture]
		f.Count = max(f.Count, 1) + change.Count
	case "drop":
		if f := &q.Equipment[change.Fixture]; f.Count > change.Count {
			f.Count -= change.Count
		} else {
			q.Equipment = slices.Delete(q.Equipment, change.Fixture, change.Fixture+1)
		}
	case "splash_proof":
		q.Equipment[change.Fixture].SplashProof, q.Equipment[change.Fixture].Secured = true, true
	default:
		return q, errors.New("plan: no change of kind " + change.Kind)
	}
	return q, nil
}
