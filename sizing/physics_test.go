package sizing

import (
	"errors"
	"math"
	"strings"
	"testing"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing/heat"
	"denwright/sizing/light"
	"denwright/sizing/moisture"
	"denwright/sizing/space"

	"pgregory.net/rapid"
)

func embedded(t testing.TB) *care.Catalogue {
	t.Helper()
	c, err := care.Embedded()
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// adultAt is an adult of the species at a share of its size.
func adultAt(c *care.Catalogue, s *care.Species, share float64) group {
	var p problems
	g := p.animals(c, s, []Animal{{Count: 1, Stage: care.Adult}})
	k := quantity.Length(share)
	b := &g.most
	b.Total, b.SnoutVent, b.Shell, b.ShellHeight = b.Total*k, b.SnoutVent*k, b.Shell*k, b.ShellHeight*k
	return g
}

// A longer animal, in a space that is no smaller, never needs less.
func TestPhysicalNeedsGrow(t *testing.T) {
	c := embedded(t)
	rapid.Check(t, func(r *rapid.T) {
		s := c.Species()[rapid.IntRange(0, len(c.Species())-1).Draw(r, "species")]
		share := rapid.Float64Range(0.05, 1.3).Draw(r, "share")
		longer := share * rapid.Float64Range(1, 3).Draw(r, "longer")
		a := Space{FloorArea: quantity.Area(rapid.Float64Range(0, 8).Draw(r, "area")), UsableHeight: quantity.Length(rapid.Float64Range(0, 3).Draw(r, "height"))}
		b := a
		b.FloorArea += quantity.Area(rapid.Float64Range(0, 4).Draw(r, "more area"))
		b.UsableHeight += quantity.Length(rapid.Float64Range(0, 2).Draw(r, "more height"))
		l1, h1, n1 := physicalNeeds(c, adultAt(c, s, share), a)
		l2, h2, n2 := physicalNeeds(c, adultAt(c, s, longer), b)
		if float64(l2) < float64(l1)*(1-1e-9) || float64(h2) < float64(h1)*(1-1e-9) {
			r.Fatalf("%s: %g by %g m for the shorter, %g by %g m for the longer", s.ID, float64(l1), float64(h1), float64(l2), float64(h2))
		}
		for _, x := range []quantity.Length{l1, h1, l2, h2} {
			if !(x >= 0 && x < 100) {
				r.Fatalf("%s: %g m", s.ID, float64(x))
			}
		}
		for _, n := range append(n1, n2...) {
			if !strings.Contains(n, "ours") || strings.Contains(n, "NaN") || strings.Contains(n, "%!") {
				r.Fatalf("note: %q", n)
			}
		}
	})
}

// The same through the advised space of real animals.
func TestPhysicalNeedsGrowWithAdvice(t *testing.T) {
	c := embedded(t)
	rapid.Check(t, func(r *rapid.T) {
		s := c.Species()[rapid.IntRange(0, len(c.Species())-1).Draw(r, "species")]
		share := rapid.Float64Range(0.3, 1).Draw(r, "share")
		longer := share * rapid.Float64Range(1, 2).Draw(r, "longer")
		of := func(share float64) (space.Answer, quantity.Length, quantity.Length) {
			g := adultAt(c, s, share)
			a := space.Answers(c.RulesFor(s.ID), g.most.Body, 1, "")
			l, h, _ := physicalNeeds(c, g, advised(c, g, a, substrate(c, g, a.Advised.Substrate)))
			return a, l, h
		}
		a, l1, h1 := of(share)
		b, l2, h2 := of(longer)
		for i := range a.Rules {
			if a.Rules[i].Reason == space.Evaluated && b.Rules[i].Reason != space.Evaluated {
				return // a line of classes has ended: nothing to compare
			}
		}
		if float64(l2) < float64(l1)*(1-1e-9) || float64(h2) < float64(h1)*(1-1e-9) {
			r.Fatalf("%s at %g: %g by %g m, at %g: %g by %g m", s.ID, share, float64(l1), float64(h1), longer, float64(l2), float64(h2))
		}
	})
}

// The fin of the closed form is the heat balance with one layer and many zones: the
// same box through [heat.GradientLength] gives the same length to a twentieth; and a lamp
// that lights an animal of 20 cm to 40 °C, beside the heater, changes it by little.
func TestFinIsTheHeatBalance(t *testing.T) {
	ply, err := heat.MaterialNamed("plywood")
	if err != nil {
		t.Fatal(err)
	}
	f := heat.Face{Layers: []heat.Layer{ply.Layer(0.018)}}
	for _, tt := range []struct{ depth, height, warm, cool float64 }{{0.6, 0.6, 30, 24}, {0.45, 0.45, 32, 25}, {0.8, 1.2, 28, 24}, {1, 1.5, 30, 26}} {
		low, typical, high, ok := finLengths(tt.depth, tt.height, (tt.warm-needRoom)/(tt.cool-needRoom))
		if !ok || !(low < typical && typical < high) {
			t.Fatalf("fin: %g, %g, %g, %v", low, typical, high, ok)
		}
		n := heat.Need{
			Enclosure: heat.Enclosure{Length: 0.2, Depth: tt.depth, Height: tt.height, Zones: 21, Layers: 1, Leakage: needChanges, Faces: heat.Faces{Front: f, Back: f, Left: f, Right: f, Top: f, Floor: f}},
			// Warm air straight into the first zone, nothing radiated elsewhere.
			Equipment: []heat.Equipment{{Source: heat.Source{Name: "heater", Kind: heat.CeramicEmitter, Z: 0.2, Radiant: heat.Interval{High: 1e-12}}, Role: heat.DayHeater}},
			Targets:   heat.Targets{WarmMin: &tt.warm, CoolMax: &tt.cool},
			Rooms:     []heat.Room{{Name: "room", Day: needRoom, Night: needRoom}}, DayHours: 12,
		}
		g, err := heat.GradientLength(n, 10)
		if err != nil {
			t.Fatal(err)
		}
		if !g.Reached || math.Abs(typical/g.Length-1) > 0.05 {
			t.Errorf("%+v: fin %.3f m, heat balance %+v", tt, typical, g)
		}
		n.Equipment = append(n.Equipment, heat.Equipment{Source: heat.Source{Name: "lamp", Kind: heat.HalogenLamp, X: 0.1, Z: 0.4, Footprint: 1.5 * 0.5 * 0.2 * 0.2}, Role: heat.Basking})
		n.Targets.HotSpot, n.Targets.WarmX = new(40.0), new(0.0)
		lit, err := heat.GradientLength(n, 10)
		if err != nil {
			t.Fatal(err)
		}
		if !lit.Reached || math.Abs(lit.Length/g.Length-1) > 0.2 {
			t.Errorf("%+v: with a lamp %+v, without %+v", tt, lit, g)
		}
	}
}

// A wider or higher box, or a greater difference, never needs less length.
func TestFinGrows(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		depth, height, ratio := rapid.Float64Range(0.05, 5).Draw(r, "depth"), rapid.Float64Range(0.3, 5).Draw(r, "height"), rapid.Float64Range(1.001, 50).Draw(r, "ratio")
		l1, t1, h1, ok1 := finLengths(depth, height, ratio)
		l2, t2, h2, ok2 := finLengths(depth*rapid.Float64Range(1, 3).Draw(r, "wider"), height*rapid.Float64Range(1, 3).Draw(r, "higher"), ratio*rapid.Float64Range(1, 2).Draw(r, "more"))
		if !ok1 || !ok2 || l2 < l1*(1-1e-9) || t2 < t1*(1-1e-9) || h2 < h1*(1-1e-9) || !(l1 >= 0) {
			r.Fatalf("%g, %g, %g m; then %g, %g, %g m", l1, t1, h1, l2, t2, h2)
		}
	})
}

// The UV distance is where the stated tube gives the top of the range, or the ceiling.
func TestUVDistance(t *testing.T) {
	c := embedded(t)
	checked := 0
	for _, s := range c.Species() {
		d := uvDistance(c, s)
		if d == 0 {
			continue
		}
		high := *c.Range(s.ID, care.UVMax, care.Adult).High
		lamp := light.Lamp{Shape: light.Tube, LitLengthM: tubeLit, ReadUVI: tubeStrong, ReadAtM: tubeAt, Kept: 1}
		if high <= weakBelow {
			lamp.ReadUVI = tubeWeak
		}
		got, err := lamp.UVI(light.Spot{BelowM: d}, light.Facing)
		if err != nil {
			t.Fatal(err)
		}
		if want := math.Min(high, light.AdvisedCeilingUVI); math.Abs(got/want-1) > 1e-6 {
			t.Errorf("%s: UV index %g at %g m, want %g", s.ID, got, d, want)
		}
		checked++
	}
	if checked < 50 {
		t.Errorf("only %d species have a UV distance", checked)
	}
}

// A figure of physics governs a side only where it is the larger, and says whose it is.
func TestWiden(t *testing.T) {
	s := Space{Length: 1.2, Width: 0.6, FloorArea: 0.72, UsableHeight: 0.6, Governed: []Governed{{Dimension: "length", Rule: "a"}, {Dimension: "height", Rule: "b"}}}
	same := s
	same.widen(1.1, 0.5, nil)
	if same.Length != s.Length || same.UsableHeight != s.UsableHeight || len(same.Governed) != 2 || same.Governed[0].Rule != "a" {
		t.Errorf("a smaller need changed the space: %+v", same)
	}
	s.widen(1.5, 0.8, []string{"note"})
	if s.Length != 1.5 || math.Abs(float64(s.FloorArea)-0.9) > 1e-12 || s.UsableHeight != 0.8 || len(s.Notes) != 1 || len(s.Governed) != 2 {
		t.Errorf("widened: %+v", s)
	}
	for _, g := range s.Governed {
		if g.Rule != "" || !strings.Contains(g.Own, "the project's own estimate") {
			t.Errorf("governed by %+v", g)
		}
	}
	unknown := Space{}
	if unknown.widen(1, 0, nil); unknown.Length != 0 || unknown.FloorArea != 0 {
		t.Errorf("a floor that is not known became known: %+v", unknown)
	}
}

// The lamp of an animal that does not bask, or basks out of the water, asks for no usable height.
func TestLampHeight(t *testing.T) {
	c := embedded(t)
	for id, want := range map[string][2]float64{
		"pogona-vitticeps": {0.45, 0.75}, "testudo-hermanni": {0.35, 0.65}, // dry-land baskers
		"ambystoma-mexicanum": {0, 0}, "gekko-gecko": {0, 0}, "trachemys-scripta": {0, 0},
	} {
		s := c.SpeciesByID(id)
		_, h, notes := physicalNeeds(c, adultAt(c, s, 1), Space{FloorArea: 1})
		if !(float64(h) >= want[0] && float64(h) <= want[1]) {
			t.Errorf("%s: %g m, want %v (%q)", id, float64(h), want, notes)
		}
	}
}

// Open water and air agree: what the held humidity loses is what is added and evaporates.
func TestHeldHumidityBalances(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		num := func(name string, low, high float64) float64 { return rapid.Float64Range(low, high).Draw(r, name) }
		k := climate{q: &ClimateQuestion{Water: &ClimateWater{Area: quantity.Area(num("water", 0.001, 0.5))}}, pressure: moisture.SeaLevelPa}
		b := moisture.Box{VolumeM3: num("volume", 0.05, 5), AirChangesPerHour: num("changes", 0.1, 100), AirC: num("air", 10, 40), RoomC: num("room", 10, 30), RoomHumidity: num("humidity", 0, 0.9),
			Faces: []moisture.Face{{Name: "front", AreaM2: num("area", 0.1, 3), SurfaceC: num("surface", 5, 35)}}}
		supply := num("supply", 0, 0.2)
		h := k.held(b, supply)
		if h == 1 {
			return // saturated: the rest falls out
		}
		d, err := moisture.WaterToHold(b, h)
		var dry *moisture.UnreachableError
		if errors.As(err, &dry) {
			return // air damper than the water can add to, which takes vapour out of the room's
		}
		if err != nil {
			r.Fatal(err)
		}
		if got := d.ToAddKgPerHour - supply - k.openWater(b.AirC, h); math.Abs(got) > 1e-6 {
			r.Fatalf("at %g: %g kg/h are not accounted for", h, got)
		}
	})
}

// What the heat balance refuses is told in the question's own fields.
func TestPointersOfTheBalance(t *testing.T) {
	k := climate{rooms: []climateRoom{{name: "summer"}}, sources: []sourceRef{{field: "/heat_sources/2"}}}
	k.wallsAt[heat.Front], k.wallsAt[heat.Left] = "/enclosure/front", "/enclosure/walls"
	for field, want := range map[string]string{
		"enclosure.faces.front.layers[1].conductivity": "/enclosure/front/layers/1/conductivity",
		"faces.left.layers[0].thickness":               "/enclosure/walls/layers/0/thickness",
		"faces.top.mesh_open":                          "/enclosure/lid/mesh/open_area",
		"openings[3].free_share":                       "/enclosure/vents/3/open_share",
		"sources[0].watts":                             "/heat_sources/2/power",
		"equipment[0].target_z":                        "/heat_sources/2/spot_height",
		"rooms[0].night":                               "/room/summer/night_temperature",
		"targets.warm_max":                             "/targets/warm_max",
		"targets.height":                               "/targets/reading_height",
		"enclosure.depth":                              "/enclosure/width",
		"enclosure.fan":                                "/enclosure/fan",
		"substrate.thickness":                          "/substrate/depth",
		"day_hours":                                    "/day_hours",
	} {
		if got := k.pointer(field); got != want {
			t.Errorf("%s: %q, want %q", field, got, want)
		}
	}
}

func BenchmarkPhysicalNeeds(b *testing.B) {
	c := embedded(b)
	g := adultAt(c, c.SpeciesByID("pogona-vitticeps"), 1)
	s := Space{FloorArea: 0.72, UsableHeight: 0.6}
	for b.Loop() {
		physicalNeeds(c, g, s)
	}
}
