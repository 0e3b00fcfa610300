package heat

import (
	"errors"
	"fmt"
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

func inside(t *testing.T, what string, got, lo, hi float64) {
	t.Helper()
	if !(got >= lo && got <= hi) {
		t.Errorf("%s = %g, want %g to %g", what, got, lo, hi)
	}
}

// plain is a closed box with the same wall on all sides.
func plain(n, m int, layers ...Layer) Enclosure {
	f := Face{Layers: layers}
	return Enclosure{Length: 1.2, Depth: 0.6, Height: 0.6, Zones: n, Layers: m, Faces: Faces{f, f, f, f, f, f}}
}

// TestOneZoneIsUAdT: with one zone and one layer and all heat in the air, the
// rise is the power over Σ U·A, whatever the mixing.
func TestOneZoneIsUAdT(t *testing.T) {
	ply := material(t, "plywood", 0.018)
	e := plain(1, 1, ply)
	// A lamp without radiant share puts everything into the air.
	src := Source{Name: "heater", Kind: CeramicEmitter, Watts: 60, X: 0.6, Z: 0.5, Radiant: Interval{0, 0, 1e-12}}
	st, err := Solve(e, 20, []Source{src})
	if err != nil {
		t.Fatal(err)
	}
	var loss float64
	for _, f := range st.Faces {
		q, err := FabricLoss(f.Transmittance, f.Area, st.Mean(), 20)
		if err != nil {
			t.Fatal(err)
		}
		loss += q
	}
	inside(t, "U·A·ΔT over power", loss/60, 1-1e-9, 1+1e-9)
	// And the faces' own figures are those of Transmittance: 2.51 W/(m²K) for a wall
	// of 18 mm plywood between still rooms.
	u, err := Transmittance(StillAir(Sideways), StillAir(Sideways), ply)
	if err != nil {
		t.Fatal(err)
	}
	inside(t, "front U over wall U", st.Faces[Front].Transmittance/u, 1-1e-12, 1+1e-12)
	// Air changes add 0.333 W/(m³K) each: the balance closes over both.
	e.Leakage = 3
	if st, err = Solve(e, 20, []Source{src}); err != nil {
		t.Fatal(err)
	}
	vent, err := VentLoss(3*e.volume()/3600, st.Mean(), 20)
	if err != nil {
		t.Fatal(err)
	}
	inside(t, "vent loss over ledger", vent/st.Ledger.Vents, 1-1e-9, 1+1e-9)
	inside(t, "air changes", st.AirChanges, 3-1e-9, 3+1e-9)
}

// anyBox draws an enclosure with walls, mesh, vents, fan, leak and substrate.
func anyBox(r *rapid.T) Enclosure {
	length := func(name string, lo, hi float64) float64 { return rapid.Float64Range(lo, hi).Draw(r, name) }
	face := func(name string) Face {
		f := Face{Layers: []Layer{{Thickness: length(name+" d", 0.003, 0.06), Conductivity: length(name+" k", 0.03, 1.1)}}}
		if rapid.Bool().Draw(r, name+" has mesh") && name != "floor" {
			f.Mesh, f.MeshOpen = length(name+" mesh", 0.05, 1), length(name+" open", 0.2, 0.9)
		}
		return f
	}
	e := Enclosure{Length: length("length", 0.3, 4), Depth: length("depth", 0.3, 1.5), Height: length("height", 0.3, 2.5),
		Faces:     Faces{face("front"), face("back"), face("left"), face("right"), face("top"), face("floor")},
		Zones:     2*rapid.IntRange(0, 4).Draw(r, "zones") + 1,
		Layers:    rapid.IntRange(1, 4).Draw(r, "layers"),
		Leakage:   length("leakage", 0, 3),
		Substrate: Layer{Thickness: length("soil", 0.01, 0.3), Conductivity: length("soil k", 0.04, 2.5)},
	}
	for i := range rapid.IntRange(0, 3).Draw(r, "openings") {
		s := Side(rapid.IntRange(0, 5).Draw(r, fmt.Sprint("side", i)))
		o := Opening{Side: s, Area: e.area(s) * length(fmt.Sprint("vent", i), 0, 0.1), FreeShare: length(fmt.Sprint("free", i), 0.1, 1)}
		o.Low = e.Height * length(fmt.Sprint("low", i), 0, 0.9)
		o.High = math.Min(e.Height, o.Low+0.05*e.Height)
		e.Openings = append(e.Openings, o)
	}
	if v, err := e.vents(); err == nil && len(v) > 0 && rapid.Bool().Draw(r, "has fan") {
		e.Fan = length("fan", 0, 0.01)
	}
	return e
}

func anySources(r *rapid.T, e Enclosure) []Source {
	var out []Source
	for i := range rapid.IntRange(1, 4).Draw(r, "sources") {
		k := Kind(rapid.IntRange(0, int(kindCount)-1).Draw(r, fmt.Sprint("kind", i)))
		s := Source{Name: fmt.Sprint("s", i), Kind: k, Watts: rapid.Float64Range(0, 300).Draw(r, fmt.Sprint("watts", i)),
			X: e.Length * rapid.Float64Range(0, 1).Draw(r, fmt.Sprint("x", i)), Z: e.Height * rapid.Float64Range(0.5, 1).Draw(r, fmt.Sprint("z", i))}
		if !s.radiates() {
			s.Z, s.Width, s.Footprint = 0, e.Length/3, e.Length*e.Depth/4
			s.Outside = k == HeatMat && rapid.Bool().Draw(r, fmt.Sprint("under", i))
		} else if e.Faces.Top.Mesh > 0 {
			s.Outside = rapid.Bool().Draw(r, fmt.Sprint("outside", i))
		}
		out = append(out, s)
	}
	return out
}

// TestConservation: in any box, at every corner of the coefficients, energy in
// equals energy out to 1e-9, and no figure is NaN or infinite.
func TestConservation(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		e := anyBox(r)
		e.Latent = rapid.Float64Range(0, 20).Draw(r, "latent")
		sources := anySources(r, e)
		room := rapid.Float64Range(5, 35).Draw(r, "room")
		nw, err := newNetwork(&e)
		if err != nil {
			r.Fatal(err)
		}
		w := newWorkspace(nw.n * nw.m)
		for _, set := range nw.settings() {
			st, err := nw.solve(w, set, room, sources)
			if err != nil {
				r.Fatal(err)
			}
			// Throughput: a small difference of large flows must not count as large.
			scale := math.Abs(st.Ledger.In) + math.Abs(st.Ledger.Latent)
			for _, q := range st.Ledger.Through {
				scale += math.Abs(q)
			}
			if d := math.Abs(st.Ledger.In - st.Ledger.Out()); !(d <= 1e-9*scale) {
				r.Fatalf("in %g W, out %g W", st.Ledger.In, st.Ledger.Out())
			}
			for _, row := range st.Air {
				for _, a := range row {
					if math.IsNaN(a) || math.IsInf(a, 0) {
						r.Fatalf("air %v", st.Air)
					}
				}
			}
		}
	})
}

// TestAirIsBalanced: in every cell as much air comes in as goes out, so that a
// box at room temperature stays there whatever blows through it.
func TestAirIsBalanced(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		e := anyBox(r)
		nw, err := newNetwork(&e)
		if err != nil {
			r.Fatal(err)
		}
		for _, f := range []*field{nw.stackField, nw.fanField} {
			if f == nil {
				continue
			}
			for c := range nw.n * nw.m {
				net := f.in[c] - f.out[c] - f.right[c] - f.up[c]
				if c%nw.n > 0 {
					net += f.right[c-1]
				}
				if c >= nw.n {
					net += f.up[c-nw.n]
				}
				if math.Abs(net) > 1e-9 {
					r.Fatalf("cell %d gains %g of a unit flow", c, net)
				}
			}
		}
	})
}

// nightWatts is the power at which a heater at x holds 24 °C at the coldest place in a room of 18 °C.
func nightWatts(r interface{ Fatal(...any) }, e Enclosure, x float64) float64 {
	night := 24.0
	a, err := Require(Need{Enclosure: e, Rooms: []Room{{"winter", 18, 18}}, DayHours: 12,
		Equipment: []Equipment{{Source{Name: "h", Kind: CeramicEmitter, X: x, Z: e.Height, Watts: 1e4}, NightHeater}},
		Targets:   Targets{NightMin: &night}})
	if err != nil {
		r.Fatal(err)
	}
	return a[0].Night.Watts[0].Watts.Typical
}

// insulate doubles the insulation of a side; it reports false on a side of mesh only.
func insulate(e *Enclosure, s Side) bool {
	f := e.Faces.side(s)
	if f.Mesh == 1 {
		return false
	}
	f.Layers = append(f.Layers[:len(f.Layers):len(f.Layers)], f.Layers...)
	return true
}

// TestInsulationNeverCosts: doubling the insulation of any wall never raises the
// watts that hold a night temperature. Two kinds of box are drawn: one whose air
// change does not depend on its warmth (gaps and fan), with many cells, and one of
// a single cell with mesh and vents. In between, a warmer lid can strengthen the
// draught at the floor and cost a trifle; see [Require].
func TestInsulationNeverCosts(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		e := anyBox(r)
		if rapid.Bool().Draw(r, "one cell") {
			e.Zones, e.Layers = 1, 1
		} else {
			for s := Front; s <= Floor; s++ {
				e.Faces.side(s).Mesh = 0
			}
			e.Openings, e.Fan = nil, 0
		}
		x := e.Length * rapid.Float64Range(0, 1).Draw(r, "heater at")
		before := nightWatts(r, e, x)
		side := Side(rapid.IntRange(0, 5).Draw(r, "insulated side"))
		if !insulate(&e, side) {
			return
		}
		if after := nightWatts(r, e, x); after > before*(1+1e-6)+1e-4 {
			r.Fatalf("doubling the %s raises %g W to %g W", side, before, after)
		}
	})
	for name, box := range map[string]func(testing.TB) Enclosure{"glass box": glassBox, "panel box": panelBox, "frog tank": frogTank} {
		for s := Front; s <= Floor; s++ {
			e := box(t)
			before := nightWatts(t, e, 0.2)
			if !insulate(&e, s) {
				continue
			}
			if after := nightWatts(t, e, 0.2); after > before {
				t.Errorf("%s: doubling the %s raises %g W to %g W", name, s, before, after)
			}
		}
	}
}

// TestNeutralPlane: for two openings the general neutral-height flow is the
// published stack formula with the effective area of two openings in series.
func TestNeutralPlane(t *testing.T) {
	e := plain(5, 2, material(t, "plywood", 0.018))
	e.Openings = []Opening{
		{Side: Left, Area: 0.01, FreeShare: 1, Low: 0.05, High: 0.05},
		{Side: Right, Area: 0.02, FreeShare: 1, Low: 0.55, High: 0.55},
	}
	_, k := neutralHeight(&e, e.Openings)
	area, err := SeriesArea(0.01, 0.02)
	if err != nil {
		t.Fatal(err)
	}
	q, err := StackFlow(area, 0.5, 30, 22)
	if err != nil {
		t.Fatal(err)
	}
	inside(t, "neutral-plane flow over stack flow", k*math.Sqrt(2*gravity*relativeBuoyancy(30, 22))/q, 1-1e-6, 1+1e-6)
	// One tall opening vents itself: Q = (Cd·A/3)·√(g·h·ΔT/T), the textbook
	// single-sided flow (recalled).
	tall := []Opening{{Side: Front, Area: 0.2, FreeShare: 1, Low: 0, High: 0.6}}
	_, k = neutralHeight(&e, tall)
	want := dischargeCoefficient * 0.2 / 3 * math.Sqrt(gravity*0.6)
	inside(t, "single opening", k*math.Sqrt(2*gravity)/want, 1-1e-6, 1+1e-6)
	// A lid opening alone has no through-flow, only the exchange.
	e.Openings = []Opening{{Side: Top, Area: 0.1, FreeShare: 0.5}}
	e.Leakage = 0
	st, err := Solve(e, 20, []Source{{Kind: CeramicEmitter, Watts: 60, X: 0.6, Z: 0.5}})
	if err != nil {
		t.Fatal(err)
	}
	x, err := CeilingExchange(0.1, 0.5, st.Mean(), 20)
	if err != nil {
		t.Fatal(err)
	}
	inside(t, "lid exchange", st.VentFlow/x, 1-1e-5, 1+1e-5)
}

// TestLimits of the physics that a reader can predict.
func TestLimits(t *testing.T) {
	glass := material(t, "float glass", 0.004)
	still, err := Solve(glassBox(t), 23, nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range still.Air {
		for _, a := range row {
			inside(t, "air of an unheated box", a, 23, 23)
		}
	}
	// Strong mixing makes the box one zone; none makes the far end the room's.
	e := plain(5, 2, glass)
	l := lamp(60)
	e.Coefficients.Along, e.Coefficients.Up = Exactly(1e5), Exactly(1e5)
	stirred, err := Solve(e, 20, []Source{l})
	if err != nil {
		t.Fatal(err)
	}
	inside(t, "spread of a stirred box", stirred.At(0.1, 0.1)-stirred.At(1.1, 0.5), -0.01, 0.01)
	e.Coefficients.Along, e.Coefficients.Up = Interval{0, 1e-9, 1}, Interval{0, 1e-9, 1}
	apart, err := Solve(e, 20, []Source{l})
	if err != nil {
		t.Fatal(err)
	}
	if !(apart.At(0.1, 0.5) > apart.At(0.6, 0.5) && apart.At(0.6, 0.5) > apart.At(1.1, 0.5)) {
		t.Errorf("unmixed box is not warmest by the lamp: %v", apart.Air)
	}
	// Warm air lies on top where the source is a lamp under the lid of a tall box.
	tall, err := Solve(panelBox(t), 20, []Source{{Kind: CeramicEmitter, Watts: 150, X: 0.5, Z: 1.5}})
	if err != nil {
		t.Fatal(err)
	}
	if tall.At(1.2, 1.3) <= tall.At(1.2, 0.3) {
		t.Errorf("no warmer above: %v", tall.Air)
	}
	// Warm air leaves by the high vent on the left, so the fresh air comes in low on
	// the right; in a box that is cooled it is the other way round.
	for _, taken := range []float64{-1, 1} {
		e := plain(5, 2, glass)
		e.Coefficients = Coefficients{Interval{0, 1e-9, 1}, Interval{0, 1e-9, 1}, Exactly(1)}
		e.Openings = []Opening{
			{Side: Right, Area: 0.02, FreeShare: 1, Low: 0, High: 0.1},
			{Side: Left, Area: 0.02, FreeShare: 1, Low: 0.5, High: 0.6},
		}
		e.Latent = 80 * max(taken, 0) // evenly taken out
		var heaters []Source
		if taken < 0 {
			heaters = []Source{{Kind: WaterHeater, Watts: 120, X: 0.6, Width: 1.2}}
		}
		st, err := Solve(e, 20, heaters)
		if err != nil {
			t.Fatal(err)
		}
		low, high := math.Abs(st.At(1.19, 0.05)-20), math.Abs(st.At(0.01, 0.55)-20)
		fresh, stale := low, high
		if taken > 0 {
			fresh, stale = high, low
		}
		if fresh >= stale {
			t.Errorf("taken %g: the fresh end is %.2f K from the room, the other %.2f K", taken, fresh, stale)
		}
	}
	// A fan only cools; more of it cools more.
	e = glassBox(t)
	last := math.Inf(1)
	for _, q := range []float64{0, 0.002, 0.01, 0.05} {
		e.Fan = q
		st, err := Solve(e, 20, []Source{lamp(75)})
		if err != nil {
			t.Fatal(err)
		}
		if st.Mean() >= last {
			t.Errorf("fan of %g m³/s: %.2f °C, not below %.2f", q, st.Mean(), last)
		}
		last = st.Mean()
	}
	// Two lamps on one place add up there.
	one, err := Solve(glassBox(t), 20, []Source{lamp(70)})
	if err != nil {
		t.Fatal(err)
	}
	two, err := Solve(glassBox(t), 20, []Source{lamp(35), lamp(35)})
	if err != nil {
		t.Fatal(err)
	}
	inside(t, "two lamps of half the watts", two.Spots[0].Temperature-one.Spots[0].Temperature, -1e-6, 1e-6)
}

// TestSurfaceTemperature: the balance holds at the answer, and its limits.
func TestSurfaceTemperature(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		f := func(name string, lo, hi float64) float64 { return rapid.Float64Range(lo, hi).Draw(r, name) }
		s := Spot{f("E", 0, 3000), f("a", 0, 1), f("e", 0.01, 1), f("hc", 0, 30), f("g", 0, 10), f("air", 5, 45), f("sur", 5, 60), f("below", 5, 45)}
		ts, err := SurfaceTemperature(s)
		if err != nil {
			r.Fatal(err)
		}
		long, err := NetRadiation(s.Emissivity, ts, s.Surroundings)
		if err != nil {
			r.Fatal(err)
		}
		out := s.Convection*(ts-s.Air) + s.Conduction*(ts-s.Below) + long
		if math.Abs(out-s.Absorptivity*s.Irradiance) > 1e-6 {
			r.Fatalf("at %g °C: %g W/m² out, %g in", ts, out, s.Absorptivity*s.Irradiance)
		}
	})
	// Sun of 1000 W/m² on dark stone in still 25 °C air makes it uncomfortably
	// hot to the hand, 60 to 95 °C, as anyone in summer knows.
	ts, err := SurfaceTemperature(Spot{1000, 0.9, 0.95, 8, 1, 25, 25, 25})
	if err != nil {
		t.Fatal(err)
	}
	inside(t, "stone in the sun", ts, 60, 95)
}

// TestMatUnderSoil: the deeper and drier the soil over a mat, the hotter the mat
// and the cooler the surface.
func TestMatUnderSoil(t *testing.T) {
	e := plain(5, 2, material(t, "plywood", 0.018))
	mat := Source{Name: "mat", Kind: HeatMat, Watts: 20, X: 0.3, Width: 0.4, Footprint: 0.08}
	lastMat, lastTop := 0.0, math.Inf(1)
	for _, d := range []float64{0.01, 0.05, 0.15, 0.3} {
		e.Substrate = Layer{Thickness: d, Conductivity: 0.24} // dry sand
		st, err := Solve(e, 20, []Source{mat})
		if err != nil {
			t.Fatal(err)
		}
		s := st.Spots[0]
		if s.Mat <= lastMat || s.Temperature >= lastTop {
			t.Errorf("under %g m: mat %.1f °C, surface %.1f °C", d, s.Mat, s.Temperature)
		}
		lastMat, lastTop = s.Mat, s.Temperature
	}
	if lastMat < ContactLimit {
		t.Errorf("a 250 W/m² mat under 30 cm of dry sand is only %.1f °C", lastMat)
	}
}

func TestTime(t *testing.T) {
	e := glassBox(t)
	c, err := HeatCapacity(e, 12*1180) // 12 kg of moist soil
	if err != nil {
		t.Fatal(err)
	}
	bare, err := HeatCapacity(e, 0)
	if err != nil {
		t.Fatal(err)
	}
	inside(t, "contents count in full", c-bare, 12*1180-1e-6, 12*1180+1e-6)
	// Walls: 4 mm glass over about 1.2 m² weighs 12 kg, 9 kJ/K, of which the
	// half-way temperature counts about half.
	inside(t, "walls and air, J/K", bare, 4000, 9500)
	// A wall alike on both sides is half as warm as the air: it stores half.
	ply := material(t, "plywood", 0.018)
	box := plain(5, 2, ply)
	half, err := HeatCapacity(box, 0)
	if err != nil {
		t.Fatal(err)
	}
	var area float64
	for s := Front; s <= Floor; s++ {
		area += box.area(s)
	}
	walls := ply.Density * ply.SpecificHeat * ply.Thickness * area
	inside(t, "stored share of the walls", (half-airHeat*box.volume())/walls, 0.5-1e-9, 0.5+1e-9)
	// Foam outside keeps the plywood warm, foam inside keeps it cold.
	foam := material(t, "extruded polystyrene", 0.03)
	foam.Density = 0
	warmWall, err := HeatCapacity(plain(5, 2, ply, foam), 0)
	if err != nil {
		t.Fatal(err)
	}
	coldWall, err := HeatCapacity(plain(5, 2, foam, ply), 0)
	if err != nil {
		t.Fatal(err)
	}
	if !(coldWall < half && half < warmWall) {
		t.Errorf("foam inside %.0f, none %.0f, outside %.0f J/K", coldWall, half, warmWall)
	}
	st, err := Solve(e, 20, []Source{lamp(75)})
	if err != nil {
		t.Fatal(err)
	}
	w, err := WarmUp(c, st.Conductance(), 75, 4)
	if err != nil {
		t.Fatal(err)
	}
	// A glass box with some soil comes to temperature in an hour or few.
	inside(t, "time constant, h", w.TimeConstant/3600, 0.2, 4)
	if !w.Reached {
		t.Errorf("75 W does not warm a glass box by 4 K: %+v", w)
	}
	left, err := Remaining(w.TimeConstant, w.Time)
	if err != nil {
		t.Fatal(err)
	}
	// After that time the rise is P/G·(1 − left).
	inside(t, "rise at the time", 75/st.Conductance()*(1-left), 4-1e-9, 4+1e-9)
	far, err := WarmUp(c, st.Conductance(), 75, 60)
	if err != nil {
		t.Fatal(err)
	}
	if far.Reached || far.Reason == "" || far.Nearest >= 60 || far.Nearest <= 0 || far.Time != 0 {
		t.Errorf("60 K from 75 W: %+v", far)
	}
	none, err := WarmUp(c, 5, 0, 3)
	if err != nil || none.Reached || none.Reason == "" {
		t.Errorf("no power: %+v, %v", none, err)
	}
}

// TestBadInput: input that is not physical is an error that names the field.
func TestBadInput(t *testing.T) {
	change := func(f func(*Enclosure)) func() error {
		return func() error {
			e := panelBox(t)
			f(&e)
			_, err := Solve(e, 20, []Source{{Kind: CeramicEmitter, Watts: 50, X: 0.5, Z: 1.5}})
			return err
		}
	}
	source := func(f func(*Source)) func() error {
		return func() error {
			s := lamp(50)
			f(&s)
			_, err := Solve(glassBox(t), 20, []Source{s})
			return err
		}
	}
	for _, c := range []struct {
		field string
		call  func() error
	}{
		{"faces.front.layers[0].conductivity", change(func(e *Enclosure) {
			e.Faces.Front.Layers = []Layer{{Thickness: 0.004, Conductivity: -1}}
		})},
		{"faces.back.layers[0].thickness", change(func(e *Enclosure) {
			e.Faces.Back.Layers = []Layer{{Conductivity: 1}}
		})},
		{"faces.left.layers", change(func(e *Enclosure) { e.Faces.Left = Face{} })},
		{"faces.front.frame.layers[0].thickness", change(func(e *Enclosure) { e.Faces.Front.FrameLayers = []Layer{{Conductivity: 1}} })},
		{"length", change(func(e *Enclosure) { e.Length = 0 })},
		{"height", change(func(e *Enclosure) { e.Height = math.NaN() })},
		{"depth", change(func(e *Enclosure) { e.Depth = math.Inf(1) })},
		{"zones", change(func(e *Enclosure) { e.Zones = 4 })},
		{"layers", change(func(e *Enclosure) { e.Layers = -1 })},
		// Closed vents with open-air exchange.
		{"fan", change(func(e *Enclosure) { e.Openings, e.Fan = nil, 0.01 })},
		{"fan", change(func(e *Enclosure) { e.Openings[0].Area, e.Openings[1].Area, e.Fan = 0, 0, 0.01 })},
		{"openings[0].free_share", change(func(e *Enclosure) { e.Openings[0].FreeShare = 0 })},
		{"openings[1].area", change(func(e *Enclosure) { e.Openings[1].Area = 5 })},
		{"openings[1].high", change(func(e *Enclosure) { e.Openings[1].High = 0.1 })},
		{"faces.top.mesh_open", change(func(e *Enclosure) { e.Faces.Top.Mesh = 0.5 })},
		{"coefficients.along", change(func(e *Enclosure) { e.Coefficients.Along = Interval{3, 2, 1} })},
		{"substrate.conductivity", change(func(e *Enclosure) { e.Substrate.Conductivity = 0 })},
		{"leakage", change(func(e *Enclosure) { e.Leakage = -1 })},
		{"room", func() error { _, err := Solve(panelBox(t), math.NaN(), nil); return err }},
		{"sources[0].watts", source(func(s *Source) { s.Watts = -5 })},
		{"sources[0].x", source(func(s *Source) { s.X = 3 })},
		{"sources[0].z", source(func(s *Source) { s.Z = 2 })},
		{"sources[0].target_z", source(func(s *Source) { s.TargetZ = 0.39 })},
		{"sources[0].kind", source(func(s *Source) { s.Kind = 99 })},
		{"sources[0].radiant", source(func(s *Source) { s.Radiant = Interval{0.5, 0.4, 1.4} })},
		{"sources[0].outside", func() error {
			s := lamp(50)
			s.Outside, s.Z = true, 1.7
			_, err := Solve(panelBox(t), 20, []Source{s})
			return err
		}},
		{"sources[0].surface.absorptivity", source(func(s *Source) { s.Surface = DefaultSurface(); s.Surface.Absorptivity = Exactly(2) })},
		{"material", func() error { _, err := MaterialNamed("unobtainium"); return err }},
		{"paths", func() error { _, err := Parallel(Path{0.5, 1}); return err }},
		{"volume", func() error { _, err := AirChanges(1, 0); return err }},
		{"open", func() error { _, err := MeshTransmittance(0); return err }},
		{"convection", func() error { _, err := SurfaceTemperature(Spot{Irradiance: 100}); return err }},
		{"rating", func() error { _, err := Duty(80, 60); return err }},
		{"capacity", func() error { _, err := WarmUp(0, 1, 1, 1); return err }},
	} {
		var bad *InputError
		if err := c.call(); !errors.As(err, &bad) {
			t.Errorf("%s: got %v, want an InputError", c.field, err)
		} else if diff := cmp.Diff(c.field, bad.Field); diff != "" {
			t.Errorf("field (-want +got):\n%s", diff)
		}
	}
}

// TestTables: every material and kind is usable and says where it comes from.
func TestTables(t *testing.T) {
	for _, m := range Materials() {
		if _, err := m.Layer(0.01).R(); err != nil {
			t.Errorf("%s: %v", m.Name, err)
		}
		if err := m.Conductivity.check(m.Name, 0.01, 2, ""); err != nil {
			t.Error(err)
		}
		if m.Reference.Title == "" || m.Reference.Access == "" {
			t.Errorf("%s has no reference", m.Name)
		}
	}
	for i, r := range Radiators() {
		if int(r.Kind) != i || r.Kind.String() != r.Name || r.Reference.Access == "" {
			t.Errorf("row %d is %v", i, r)
		}
		if err := first(r.Radiant.check("radiant", 0, 1, ""), r.InBeam.check("in_beam", 0, 1, "")); err != nil {
			t.Errorf("%s: %v", r.Name, err)
		}
	}
	if len(Radiators()) != int(kindCount) {
		t.Errorf("%d kinds, %d rows", kindCount, len(Radiators()))
	}
	for _, p := range Practices() {
		if p.Access != "common practice, no source" {
			t.Errorf("%q claims %q", p.Text, p.Access)
		}
	}
}

func BenchmarkSolve(b *testing.B) {
	e, s := glassBox(b), []Source{lamp(60)}
	for b.Loop() {
		if _, err := Solve(e, 20, s); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkPredict(b *testing.B) {
	e, s := panelBox(b), []Source{lamp(100)}
	for b.Loop() {
		if _, err := Predict(e, 20, s); err != nil {
			b.Fatal(err)
		}
	}
}
