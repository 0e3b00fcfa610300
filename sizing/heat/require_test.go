package heat

import (
	"errors"
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

func ptr(x float64) *float64 { return &x }

// TestGlassBoxIsRecognisable. A 60 × 45 × 45 cm glass box with a mesh lid and a
// 50 to 75 W halogen lamp inside, 30 cm over the basking place, in a 20 °C room.
// What keepers report of such boxes, in wide terms (common practice, no source):
// the cool end a few degrees above the room, 21 to 26 °C; the warm end 24 to 32;
// the basking surface 35 to 50 °C with 50 W and hotter with 75 W; and the same
// lamp on top of the mesh markedly weaker. The ranges are for the typical values;
// nothing in the model was fitted to them.
func TestGlassBoxIsRecognisable(t *testing.T) {
	e := glassBox(t)
	var last State
	for _, watts := range []float64{50, 75} {
		o, err := Predict(e, 20, []Source{lamp(watts)})
		if err != nil {
			t.Fatal(err)
		}
		st := o.Typical
		cool, warm := st.At(0.54, 0.1), st.At(0.12, 0.1)
		inside(t, "cool end", cool, 21, 26)
		inside(t, "warm end", warm, 24, 32)
		inside(t, "gradient", warm-cool, 1.5, 8)
		inside(t, "hot spot", st.Spots[0].Temperature, 35, 60)
		if watts == 75 && st.Spots[0].Temperature <= last.Spots[0].Temperature {
			t.Error("75 W is no hotter than 50 W")
		}
		// The uncertain coefficients must matter, but not to the point of saying nothing.
		a := o.Air[0][0]
		inside(t, "width of the warm end's interval", a.High-a.Low, 0.5, 10)
		if !(a.Low <= a.Typical && a.Typical <= a.High) {
			t.Errorf("interval out of order: %+v", a)
		}
		last = st
	}
	above := lamp(75)
	above.Outside, above.Z = true, 0.44
	st, err := Solve(e, 20, []Source{above})
	if err != nil {
		t.Fatal(err)
	}
	if st.Mean() >= last.Mean()-1 || st.Spots[0].Temperature >= last.Spots[0].Temperature-5 {
		t.Errorf("a lamp on the mesh heats almost as one inside: %.1f against %.1f °C", st.Mean(), last.Mean())
	}
	if st.Ledger.Outside <= 0 {
		t.Error("a lamp on the lid gives nothing to the room")
	}
}

// TestPanelBoxIsRecognisable. A 240 × 120 × 180 cm box of 18 mm plywood and 30 mm
// foam with glass doors in a 20 °C room. Its loss is some 25 to 35 W/K by hand
// (19 m² at 0.8 W/m²K, 2.3 m² of glass at 3.5 to 3.7 and half an air change), so
// 230 W hold it 6 to 10 K over the room; by the same hand 5 W/K would be a freezer
// and 100 W/K a tent. Warm air lies under the lid where climbers live.
func TestPanelBoxIsRecognisable(t *testing.T) {
	l := Source{Name: "lamp", Kind: HalogenLamp, Watts: 150, X: 0.4, Z: 1.5, TargetZ: 1.0}
	p := Source{Name: "panel", Kind: RadiantPanel, Watts: 80, X: 0.6, Z: 1.58, Width: 0.6}
	st, err := Solve(panelBox(t), 20, []Source{l, p})
	if err != nil {
		t.Fatal(err)
	}
	inside(t, "mean air", st.Mean(), 26, 31)
	inside(t, "loss W/K", st.Conductance(), 20, 40)
	inside(t, "hot spot on a shelf 50 cm below", st.Spots[0].Temperature, 38, 55)
	if st.At(1.2, 1.4) <= st.At(1.2, 0.2) {
		t.Error("no warmer under the lid")
	}
	// Night: a panel of the usual 80 to 160 W can't hold 10 K over a cold room in
	// a box with that much glass, and a few hundred watts can.
	need := func(watts float64) RoomAnswer {
		t.Helper()
		a, err := Require(Need{Enclosure: panelBox(t), Rooms: []Room{{"winter", 18, 14}}, DayHours: 12,
			Equipment: []Equipment{{Source{Name: "panel", Kind: RadiantPanel, Watts: watts, X: 0.6, Z: 1.58, Width: 0.6}, NightHeater}},
			Targets:   Targets{NightMin: ptr(24)}})
		if err != nil {
			t.Fatal(err)
		}
		return a[0]
	}
	small := need(100).Night
	if len(small.Unmet) != 1 || small.Unmet[0].Target != "night_min" || !small.Unmet[0].Always || small.Unmet[0].Reason == "" {
		t.Fatalf("100 W at night: %+v", small.Unmet)
	}
	inside(t, "nearest night with 100 W", small.Unmet[0].Nearest, 15, 20)
	large := need(0).Night
	inside(t, "night watts", large.Watts[0].Watts.Typical, 200, 450)
	inside(t, "coldest place at night", large.Coldest.Typical, 24-tolerance, 24+tolerance)
}

// TestFrogTankIsCooled. An unlit 100 × 40 × 50 cm tank in a 27 °C room, wanted at
// 20 °C at most, needs cooling, not an error. By hand: 2.1 m² of glass at 3.6
// W/m²K over 7 K is 50 to 60 W.
func TestFrogTankIsCooled(t *testing.T) {
	n := Need{Enclosure: frogTank(t), Rooms: []Room{{"summer", 27, 25}, {"winter", 19, 16}}, DayHours: 12, Targets: Targets{AirMax: ptr(20)}}
	a, err := Require(n)
	if err != nil {
		t.Fatal(err)
	}
	day, night := a[0].Day, a[0].Night
	if !day.RoomTooWarm || len(day.Unmet) != 0 {
		t.Errorf("summer day: %+v", day)
	}
	inside(t, "cooling by day", day.Cooling.Typical, 35, 75)
	inside(t, "warmest air", day.Warmest.Typical, 19, 20+tolerance)
	// Cold air lies still under the mesh of the lid: only the gaps change it.
	inside(t, "air changes of a cooled tank", day.AirChanges.High, 0.5-1e-9, 0.5+1e-9)
	warm, err := Solve(frogTank(t), 20, []Source{{Kind: LEDLamp, Watts: 20, X: 0.5, Z: 0.5}})
	if err != nil {
		t.Fatal(err)
	}
	inside(t, "air changes of a warm tank", warm.AirChanges, 5, 100)
	inside(t, "night over day", night.Cooling.Typical/day.Cooling.Typical, 5.0/7-0.05, 5.0/7+0.05)
	if w := a[1].Day; w.RoomTooWarm || w.Cooling != (Interval{}) || len(w.Unmet) != 0 {
		t.Errorf("a cool room asks for cooling: %+v", w)
	}
	if a[0].Energy != (Interval{}) {
		t.Errorf("no source, yet energy %+v", a[0].Energy)
	}
	// The state with that cooling balances.
	l := day.Typical.Ledger
	inside(t, "in less out", l.In-l.Out(), -1e-9, 1e-9)
	inside(t, "heat taken out", -l.In, day.Cooling.Typical-1e-9, day.Cooling.Typical+1e-9)
}

// basking is a glass box with a lamp, a day heater and a night emitter.
func basking(t testing.TB) Need {
	return Need{
		Enclosure: glassBox(t),
		Equipment: []Equipment{
			{lamp(150), Basking},
			{Source{Name: "panel", Kind: RadiantPanel, Watts: 120, X: 0.2, Z: 0.39, Width: 0.3}, DayHeater},
			{Source{Name: "emitter", Kind: CeramicEmitter, Watts: 100, X: 0.12, Z: 0.35}, NightHeater},
			{Source{Name: "tube", Kind: FluorescentTube, Watts: 14, X: 0.3, Z: 0.39, Width: 0.5}, DayFixed},
		},
		Targets:  Targets{HotSpot: ptr(40), WarmMin: ptr(26), CoolMax: ptr(25), NightMin: ptr(18)},
		Rooms:    []Room{{"winter", 18, 16}, {"summer", 24, 21}},
		DayHours: 12,
	}
}

// TestRequireHitsTargets: the watts it answers with, put into Solve, give the
// temperatures asked for.
func TestRequireHitsTargets(t *testing.T) {
	n := basking(t)
	answers, err := Require(n)
	if err != nil {
		t.Fatal(err)
	}
	var lastLamp float64
	for i, a := range answers {
		var sources []Source
		for j, w := range a.Day.Watts {
			if w.Source != []string{"lamp", "panel", "tube"}[j] {
				t.Fatalf("day sources: %+v", a.Day.Watts)
			}
			idx := map[string]int{"lamp": 0, "panel": 1, "tube": 3}[w.Source]
			s := n.Equipment[idx].Source
			s.Watts = w.Watts.Typical
			sources = append(sources, s)
		}
		st, err := Solve(n.Enclosure, a.Room.Day, sources)
		if err != nil {
			t.Fatal(err)
		}
		inside(t, a.Room.Name+" hot spot", st.Spots[0].Temperature, 40-tolerance, 40+tolerance)
		if a.Day.Watts[1].Watts.Typical > 0 {
			inside(t, a.Room.Name+" warm end", st.At(0.12, 0.1), 26-tolerance, 26+tolerance)
		}
		inside(t, a.Room.Name+" cool end", st.At(0.54, 0.1)-a.Day.CoolEnd.Typical, -1e-6, 1e-6)
		if d := cmp.Diff(a.Day.Typical.Mean(), st.Mean(), cmp.Comparer(func(a, b float64) bool { return math.Abs(a-b) < 1e-6 })); d != "" {
			t.Errorf("%s: mean air (-required +solved)\n%s", a.Room.Name, d)
		}
		lamp := a.Day.Watts[0].Watts
		if i > 0 && lamp.Typical >= lastLamp {
			t.Errorf("summer asks the lamp for %g W, winter for %g W", lamp.Typical, lastLamp)
		}
		lastLamp = lamp.Typical
		if !(lamp.Low <= lamp.Typical && lamp.Typical <= lamp.High) {
			t.Errorf("watts out of order: %+v", lamp)
		}
		var kwh float64
		for _, p := range []Phase{a.Day, a.Night} {
			for _, w := range p.Watts {
				e, err := Energy(w.Watts.Typical, 12, 1)
				if err != nil {
					t.Fatal(err)
				}
				kwh += e
			}
		}
		inside(t, "energy", a.Energy.Typical/kwh, 1-1e-9, 1+1e-9)
	}
	if answers[1].Night.Watts[0].Watts.Typical != 0 {
		t.Errorf("a 21 °C night needs no heat for 18 °C: %+v", answers[1].Night.Watts)
	}
	if answers[0].Night.Watts[0].Watts.Typical <= 0 {
		t.Errorf("a 16 °C night needs heat for 18 °C: %+v", answers[0].Night.Watts)
	}
}

// TestUnreachable: what can't be had is said with the reason and the nearest value.
func TestUnreachable(t *testing.T) {
	find := func(p Phase, target string) *Unmet {
		for i := range p.Unmet {
			if p.Unmet[i].Target == target {
				return &p.Unmet[i]
			}
		}
		return nil
	}
	day := func(change func(*Need)) Phase {
		t.Helper()
		n := basking(t)
		change(&n)
		a, err := Require(n)
		if err != nil {
			t.Fatal(err)
		}
		for _, u := range a[0].Day.Unmet {
			if math.IsNaN(u.Nearest) || math.IsInf(u.Nearest, 0) || u.Reason == "" {
				t.Errorf("unmet without a value: %+v", u)
			}
		}
		return a[0].Day
	}
	// A lamp too weak.
	p := day(func(n *Need) { n.Equipment[0].Watts = 25 })
	if u := find(p, "hot_spot"); u == nil || !u.Typical || u.Nearest >= 40 || u.Nearest <= 25 {
		t.Errorf("25 W lamp: %+v", p.Unmet)
	}
	// No lamp at all.
	p = day(func(n *Need) { n.Equipment = n.Equipment[1:] })
	if u := find(p, "hot_spot"); u == nil || !u.Always {
		t.Errorf("no lamp: %+v", p.Unmet)
	}
	// No heater.
	p = day(func(n *Need) { n.Targets.WarmMin, n.Equipment = ptr(33), n.Equipment[:1] })
	if u := find(p, "warm_min"); u == nil || !strings.Contains(u.Reason, "no heater") {
		t.Errorf("no heater: %+v", p.Unmet)
	}
	// A gradient of 13 K can't be had in 60 cm of glass.
	p = day(func(n *Need) {
		n.Targets.WarmMin, n.Targets.CoolMax = ptr(34), ptr(21)
		n.Equipment[1].Watts = 0
	})
	u := find(p, "cool_max")
	if u == nil || !u.Typical || u.Nearest <= 21 || !strings.Contains(u.Reason, "0.60 m") {
		t.Errorf("gradient: %+v", p.Unmet)
	}
	if p.CoolEndHolds == Yes {
		t.Error("the cool end is said to hold")
	}
	// A hot spot below the room's own warmth.
	p = day(func(n *Need) { n.Rooms[0].Day, n.Targets = 35, Targets{HotSpot: ptr(30)} })
	if u := find(p, "hot_spot"); u == nil || u.Nearest < 34 || p.Watts[0].Watts.Typical != 0 {
		t.Errorf("hot room: %+v", p)
	}
	// A room warmer than the cool end may be is cooled; the answer is watts.
	p = day(func(n *Need) { n.Rooms[0].Day = 29 })
	if !p.RoomTooWarm || p.Cooling.Typical <= 0 || p.CoolEndHolds != Yes {
		t.Errorf("29 °C room: %+v", p)
	}
	// A warm end that the hot spot overheats.
	p = day(func(n *Need) { n.Targets = Targets{HotSpot: ptr(55), WarmMax: ptr(24)} })
	if u := find(p, "warm_max"); u == nil || u.Nearest <= 24 {
		t.Errorf("warm max: %+v", p.Unmet)
	}
}

// TestGradientLength: more length is more gradient; where none is enough it says so.
func TestGradientLength(t *testing.T) {
	n := basking(t)
	n.Targets = Targets{HotSpot: ptr(42), WarmMin: ptr(30), CoolMax: ptr(24)}
	n.Equipment[1].Watts = 0
	g, err := GradientLength(n, 4)
	if err != nil {
		t.Fatal(err)
	}
	if !g.Reached {
		t.Fatalf("no length up to 4 m: %+v", g)
	}
	inside(t, "length", g.Length, 0.61, 3)
	inside(t, "cool end there", g.CoolEnd, 20, 24+tolerance)
	short, err := GradientLength(n, g.Length-0.05)
	if err != nil {
		t.Fatal(err)
	}
	if short.Reached || short.CoolEnd <= 24 || short.Reason == "" {
		t.Errorf("5 cm less: %+v", short)
	}
	// Mirrored, the same length comes out.
	m := n
	m.Equipment = append([]Equipment(nil), n.Equipment...)
	for i := range m.Equipment {
		m.Equipment[i].X = n.Enclosure.Length - m.Equipment[i].X
	}
	h, err := GradientLength(m, 4)
	if err != nil {
		t.Fatal(err)
	}
	// The front vent is centred on the whole length, so the mirror image is exact.
	inside(t, "mirrored length", h.Length-g.Length, -0.006, 0.006)
	n.Rooms[0].Day = 26
	hot, err := GradientLength(n, 4)
	if err != nil {
		t.Fatal(err)
	}
	if hot.Reached || !strings.Contains(hot.Reason, "cooling") {
		t.Errorf("26 °C room: %+v", hot)
	}
}

// TestRequireBadInput names the field.
func TestRequireBadInput(t *testing.T) {
	for _, c := range []struct {
		field  string
		change func(*Need)
	}{
		{"rooms", func(n *Need) { n.Rooms = nil }},
		{"rooms[1].night", func(n *Need) { n.Rooms[1].Night = math.Inf(1) }},
		{"day_hours", func(n *Need) { n.DayHours = 25 }},
		{"targets.hot_spot", func(n *Need) { n.Targets.HotSpot = ptr(math.NaN()) }},
		{"targets.warm_max", func(n *Need) { n.Targets.WarmMax = ptr(20) }},
		{"targets.height", func(n *Need) { n.Targets.Height = 3 }},
		{"targets.warm_x", func(n *Need) { n.Targets.WarmX = ptr(-1) }},
		{"equipment[2].role", func(n *Need) { n.Equipment[2].Role = 77 }},
		{"equipment[1].watts", func(n *Need) { n.Equipment[1].Watts = -1 }},
		{"enclosure.depth", func(n *Need) { n.Enclosure.Depth = 0 }},
	} {
		n := basking(t)
		c.change(&n)
		_, err := Require(n)
		var bad *InputError
		if !errors.As(err, &bad) || bad.Field != c.field {
			t.Errorf("%s: got %v", c.field, err)
		}
	}
}

// TestRequireIsFinite: whatever physical box and targets are asked, no figure is
// NaN or infinite and intervals are in order.
func TestRequireIsFinite(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		e := anyBox(r)
		n := Need{Enclosure: e, DayHours: rapid.Float64Range(0, 24).Draw(r, "day"), Rooms: []Room{{"any", rapid.Float64Range(5, 38).Draw(r, "room"), rapid.Float64Range(5, 38).Draw(r, "night room")}}}
		for _, s := range anySources(r, e) {
			n.Equipment = append(n.Equipment, Equipment{s, Role(rapid.IntRange(0, int(roleCount)-1).Draw(r, "role"))})
		}
		some := func(name string) *float64 {
			if rapid.Bool().Draw(r, "has "+name) {
				return ptr(rapid.Float64Range(10, 50).Draw(r, name))
			}
			return nil
		}
		n.Targets = Targets{HotSpot: some("hot"), WarmMin: some("warm"), CoolMax: some("cool"), NightMin: some("night"), AirMax: some("air")}
		answers, err := Require(n)
		var bad *InputError
		if errors.As(err, &bad) && bad.Field == "targets.air_max" {
			return
		}
		if err != nil {
			r.Fatal(err)
		}
		for _, a := range answers {
			for _, p := range []Phase{a.Day, a.Night} {
				all := []Interval{p.Cooling, p.WarmEnd, p.CoolEnd, p.Coldest, p.Warmest, p.AirChanges, a.Energy}
				for _, w := range p.Watts {
					all = append(all, w.Watts, w.Duty)
				}
				if p.HotSpot != nil {
					all = append(all, *p.HotSpot)
				}
				for _, iv := range all {
					if !(iv.Low <= iv.Typical && iv.Typical <= iv.High) || math.IsInf(iv.High, 0) || math.IsInf(iv.Low, 0) {
						r.Fatalf("%+v in %+v", iv, p)
					}
				}
				for _, u := range p.Unmet {
					if math.IsNaN(u.Nearest) || math.IsInf(u.Nearest, 0) {
						r.Fatalf("%+v", u)
					}
				}
			}
		}
	})
}

func BenchmarkRequire(b *testing.B) {
	n := basking(b)
	for b.Loop() {
		if _, err := Require(n); err != nil {
			b.Fatal(err)
		}
	}
}
