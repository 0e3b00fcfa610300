package sizing_test

import (
	"bytes"
	"encoding/csv"
	"errors"
	"slices"
	"strings"
	"testing"

	"github.com/go-json-experiment/json"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing"
	"denwright/sizing/layout"
)

func oneAdult(species string) sizing.Question {
	return sizing.Question{Species: species, Animals: []sizing.Animal{{Count: 1, Stage: care.Adult}}}
}

// At the size advised every species has a plan, or the answer says what is missing.
// Plan itself lets no layout pass that the judge objects to.
func TestPlanOfEverySpecies(t *testing.T) {
	c := catalogue(t)
	planned := 0
	for _, s := range c.Species() {
		a, err := sizing.Plan(c, sizing.PlanQuestion{Question: oneAdult(s.ID)})
		var bad sizing.Invalid
		if errors.As(err, &bad) {
			if len(bad) != 1 || bad[0].Field != "/enclosure" || bad[0].Remedy == "" {
				t.Errorf("%s: %v", s.ID, err)
			}
			continue
		}
		if err != nil {
			t.Errorf("%s: %v", s.ID, err)
			continue
		}
		if a.Blocked != nil {
			t.Errorf("%s: blocked at the advised size: %v", s.ID, a.Blocked.Reason)
			continue
		}
		planned++
		r, err := sizing.Require(c, oneAdult(s.ID))
		if err != nil {
			t.Fatal(err)
		}
		if a.Plan.Length < r.Advised.Length-0.001 || a.Plan.Width < r.Advised.Width-0.001 {
			t.Errorf("%s: %v by %v planned, %v by %v advised", s.ID, a.Plan.Length, a.Plan.Width, r.Advised.Length, r.Advised.Width)
		}
		if len(a.Sheets) != 5 || len(a.Cautions) < 5 || len(a.Assumptions) == 0 {
			t.Errorf("%s: %d sheets, %d cautions", s.ID, len(a.Sheets), len(a.Cautions))
		}
	}
	if planned < 120 {
		t.Errorf("%d species planned", planned)
	}
}

func equipped(species string) sizing.PlanQuestion {
	l := func(cm float64) *quantity.Length { x := quantity.Centimetres(cm); return &x }
	q := sizing.PlanQuestion{Question: oneAdult(species), Equipment: []sizing.PlanFixture{
		{Kind: layout.Basking, Count: 6, Power: 80, Opening: l(10), Guarded: true, MaxHang: l(150)},
		{Kind: layout.UV, Length: l(60), Guarded: true, Corded: true, SplashProof: true, Secured: true, MaxHang: l(120), Far: l(60), Near: l(20)},
		{Kind: layout.PlantLight, Length: l(50), Guarded: true, Corded: true, SplashProof: true, Secured: true},
		{Kind: layout.Nozzle, Count: 2, Throw: l(12), OutputPerMinute: quantity.Litres(0.05)},
	}}
	q.Ceiling.Practice = "trade"
	return q
}

// A plan with equipment encodes in both systems, and its parts can be had.
func TestPlanWithEquipment(t *testing.T) {
	c := catalogue(t)
	for _, id := range []string{"salvator-merianae", "chamaeleo-calyptratus", "boa-constrictor", "testudo-hermanni"} {
		q := equipped(id)
		h, warm := quantity.Fraction(0.45), quantity.Temperature(21)
		q.Room = &sizing.RoomAir{Temperature: &warm, Humidity: &h}
		q.Day = sizing.PlanDay{Dawn: "06:45", FeedDays: []string{"MO", "TH"}}
		q.Paper, q.Units = "letter", "imperial"
		a, err := sizing.Plan(c, q)
		if err != nil {
			t.Errorf("%s: %v", id, err)
			continue
		}
		if a.Blocked != nil {
			t.Errorf("%s: %v; %v", id, a.Blocked.Error(), a.Blocked.Changes)
			continue
		}
		for _, system := range []quantity.System{quantity.Metric, quantity.Imperial} {
			if _, err := json.Marshal(a, json.WithMarshalers(quantity.Marshalers(system))); err != nil {
				t.Errorf("%s: %v", id, err)
			}
		}
		if !slices.ContainsFunc(a.Plan.Holes, func(h layout.Hole) bool { return h.Purpose == "lamp opening" && h.Screws == 8 }) {
			t.Errorf("%s: no lamp opening", id)
		}
		if a.Plan.Moisture == nil {
			t.Errorf("%s: no moisture budget", id)
		}
		if _, err := csv.NewReader(bytes.NewReader(a.Plan.CutCSV(quantity.Imperial))).ReadAll(); err != nil {
			t.Errorf("%s: %v", id, err)
		}
		if _, err := a.Plan.Program.Calendar(2026, "feeding"); err != nil {
			t.Errorf("%s: %v", id, err)
		}
		if !strings.Contains(string(a.Sheets[0].SVG), "Dimensions in in.") || !strings.Contains(string(a.Sheets[0].SVG), `width="279.4mm"`) {
			t.Errorf("%s: not drawn in inches on letter", id)
		}
		first := a.Plan.Program.Seasons[0].Events[0]
		if first.Code != "dawn" || first.Start != "06:45" {
			t.Errorf("%s: the day begins with %+v", id, first)
		}
	}
}

// South of the equator the summer of the program is in December.
func TestPlanSouthern(t *testing.T) {
	q := sizing.PlanQuestion{Question: oneAdult("pogona-vitticeps")}
	q.Day.Southern = true
	a, err := sizing.Plan(catalogue(t), q)
	if err != nil || a.Plan == nil {
		t.Fatal(err)
	}
	for _, s := range a.Plan.Program.Seasons {
		if s.Name == "summer" && (s.From != 12 || s.To != 2) || s.Name == "spring" && (s.From != 9 || s.To != 11) {
			t.Errorf("%s from %d to %d", s.Name, s.From, s.To)
		}
	}
}

// Too small a box is blocked, and the change offered frees it.
func TestPlanBlocked(t *testing.T) {
	c := catalogue(t)
	l := func(cm float64) *quantity.Length { x := quantity.Centimetres(cm); return &x }
	q := equipped("pogona-vitticeps")
	q.Enclosure = &sizing.PlanEnclosure{Length: l(60), Width: l(45), Height: l(45)}
	a, err := sizing.Plan(c, q)
	if err != nil {
		t.Fatal(err)
	}
	if a.Plan != nil || a.Blocked == nil || a.Blocked.Reason == "" || len(a.Warnings) == 0 {
		t.Fatalf("%+v", a)
	}
	q.Enclosure.Length, q.Enclosure.Width, q.Enclosure.Height = l(120), l(60), l(36)
	q.Equipment[0].Near = l(30)
	if a, err = sizing.Plan(c, q); err != nil {
		t.Fatal(err)
	}
	if a.Blocked == nil || a.Blocked.Constraint != layout.LampDistance {
		t.Fatalf("a lamp in a low box gives %+v", a.Blocked)
	}
	data, err := json.Marshal(a.Blocked)
	if err != nil || !strings.Contains(string(data), `"constraint":"lamp_distance"`) {
		t.Errorf("%s, %v", data, err)
	}
	for _, x := range a.Blocked.Changes {
		if x.Kind != "height" {
			continue
		}
		h := *q.Enclosure.Height + x.By
		q.Enclosure.Height = &h
		if a, err = sizing.Plan(c, q); err != nil || a.Plan == nil {
			t.Errorf("%s does not free it: %v", x.Text, err)
		}
		return
	}
	t.Errorf("no change of height among %+v", a.Blocked.Changes)
}

func TestPlanBadFields(t *testing.T) {
	c := catalogue(t)
	l := func(cm float64) *quantity.Length { x := quantity.Centimetres(cm); return &x }
	for field, spoil := range map[string]func(*sizing.PlanQuestion){
		"/species":            func(q *sizing.PlanQuestion) { q.Species = "nothing-known" },
		"/animals":            func(q *sizing.PlanQuestion) { q.Animals = nil },
		"/units":              func(q *sizing.PlanQuestion) { q.Units = "cubits" },
		"/paper":              func(q *sizing.PlanQuestion) { q.Paper = "papyrus" },
		"/enclosure":          func(q *sizing.PlanQuestion) { q.Enclosure = &sizing.PlanEnclosure{Length: l(100)} },
		"/enclosure/material": func(q *sizing.PlanQuestion) { q.Enclosure = &sizing.PlanEnclosure{Material: "cheese"} },
		"/enclosure/panel":    func(q *sizing.PlanQuestion) { q.Enclosure = &sizing.PlanEnclosure{Panel: l(50)} },
		"/enclosure/rock/0/wall": func(q *sizing.PlanQuestion) {
			q.Enclosure = &sizing.PlanEnclosure{Rock: []sizing.PlanRock{{Wall: "top", Thickness: 0.05}}}
		},
		"/equipment/1/kind":              func(q *sizing.PlanQuestion) { q.Equipment[1].Kind = "kettle" },
		"/equipment/0/count":             func(q *sizing.PlanQuestion) { q.Equipment[0].Count = 99 },
		"/equipment/0/power":             func(q *sizing.PlanQuestion) { q.Equipment[0].Power = 1e6 },
		"/equipment/3/output_per_minute": func(q *sizing.PlanQuestion) { q.Equipment[3].OutputPerMinute = 9 },
		"/ceiling/practice":              func(q *sizing.PlanQuestion) { q.Ceiling.Practice = "guild" },
		"/ceiling/trim":                  func(q *sizing.PlanQuestion) { q.Ceiling.Trim = l(-1) },
		"/ceiling/screws":                func(q *sizing.PlanQuestion) { q.Ceiling.Screws = 1 },
		"/ceiling/warm_end":              func(q *sizing.PlanQuestion) { q.Ceiling.WarmEnd = "north" },
		"/day/dawn":                      func(q *sizing.PlanQuestion) { q.Day.Dawn = "noonish" },
		"/day/mist_days/1":               func(q *sizing.PlanQuestion) { q.Day.MistDays = []string{"MO", "XX"} },
		"/room/temperature":              func(q *sizing.PlanQuestion) { h := quantity.Fraction(0.5); q.Room = &sizing.RoomAir{Humidity: &h} },
		"/air_changes_per_hour":          func(q *sizing.PlanQuestion) { n := -1.0; q.AirChangesPerHour = &n },
	} {
		q := equipped("pogona-vitticeps")
		spoil(&q)
		_, err := sizing.Plan(c, q)
		var bad sizing.Invalid
		if !errors.As(err, &bad) || bad[0].Field != field {
			t.Errorf("%s: %v", field, err)
		}
	}
}
