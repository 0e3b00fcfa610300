package light_test

import (
	"errors"
	"math"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"denwright/sizing/light"
)

func finite(t interface{ Fatalf(string, ...any) }, name string, xs ...float64) {
	for _, x := range xs {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			t.Fatalf("%s: %g is not finite", name, x)
		}
	}
}

func uvi(t interface{ Fatalf(string, ...any) }, l light.Lamp, s light.Spot, turned light.Sensor) float64 {
	got, err := l.UVI(s, turned)
	if err != nil {
		t.Fatalf("%+v: %v", s, err)
	}
	finite(t, "UVI", got)
	return got
}

// anyLamp draws a valid lamp.
func anyLamp(t *rapid.T) light.Lamp {
	l := light.Lamp{
		Shape:   rapid.SampledFrom([]light.Shape{light.Tube, light.PointSource}).Draw(t, "shape"),
		ReadUVI: rapid.Float64Range(0.01, 100).Draw(t, "read UVI"),
		ReadAtM: rapid.Float64Range(light.MinDistanceM, light.MaxDistanceM).Draw(t, "read at"),
		Kept:    rapid.Float64Range(0.01, 1).Draw(t, "kept"),
	}
	if l.Shape == light.Tube {
		l.LitLengthM = rapid.Float64Range(0.05, 3).Draw(t, "lit")
	} else {
		l.SizeM = rapid.Float64Range(0, 1).Draw(t, "size")
		l.BeamDeg = rapid.SampledFrom([]float64{0, 10, 60, 180}).Draw(t, "beam")
	}
	if rapid.Bool().Draw(t, "mesh") {
		l.Through = []light.Layer{{Name: "mesh", Transmission: rapid.Float64Range(0, 1).Draw(t, "passes")}}
	}
	return l
}

func TestTubeLimits(t *testing.T) {
	tests := []struct {
		name   string
		lit    float64
		d1, d2 float64
		power  float64 // E ∝ d^-power
		relTol float64
	}{
		{"near: 1/d", 3, 0.01, 0.02, 1, 1e-4},
		{"near: 1/d, short tube", 1.14, 0.01, 0.015, 1, 1e-3},
		{"far: inverse square", 0.05, 1, 10, 2, 2e-3},
		{"far: inverse square", 0.55, 5, 10, 2, 1e-2},
	}
	for _, tt := range tests {
		l := bareTube(tt.lit)
		got := uvi(t, l, light.Spot{BelowM: tt.d1}, light.Flat) / uvi(t, l, light.Spot{BelowM: tt.d2}, light.Flat)
		want := math.Pow(tt.d2/tt.d1, tt.power)
		if math.Abs(got/want-1) > tt.relTol {
			t.Errorf("%s: ratio %.6f, want %.6f", tt.name, got, want)
		}
	}
	// A far tube and a point source read alike.
	tube := light.Lamp{Shape: light.Tube, LitLengthM: 0.05, ReadUVI: 2, ReadAtM: 2, Kept: 1}
	point := light.Lamp{Shape: light.PointSource, ReadUVI: 2, ReadAtM: 2, Kept: 1}
	s := light.Spot{BelowM: 4}
	if a, b := uvi(t, tube, s, light.Flat), uvi(t, point, s, light.Flat); math.Abs(a/b-1) > 1e-3 {
		t.Errorf("far tube %g, point source %g", a, b)
	}
}

func TestScaling(t *testing.T) {
	l := light.Lamp{Shape: light.PointSource, ReadUVI: 4, ReadAtM: 0.3, Kept: 0.5,
		Through: []light.Layer{{"mesh", 0.6}, {"dust", 0.9}}}
	if got, want := uvi(t, l, light.Spot{BelowM: 0.6}, light.Facing), 4*0.25*0.5*0.6*0.9; math.Abs(got-want) > 1e-12 {
		t.Errorf("got %g, want %g", got, want)
	}
	// 30 cm aside of a lamp 40 cm up is 50 cm away, at cosine 0.8.
	side := light.Spot{BelowM: 0.4, AsideM: 0.3}
	if flat, facing := uvi(t, l, side, light.Flat), uvi(t, l, side, light.Facing); math.Abs(flat/facing-0.8) > 1e-12 {
		t.Errorf("flat over facing is %g, want 0.8", flat/facing)
	}
	l.BeamDeg = 60 // half angle 30°; the spot stands at 36.9°
	if got := uvi(t, l, side, light.Facing); got != 0 {
		t.Errorf("outside the beam: %g, want 0", got)
	}
}

func TestDoubts(t *testing.T) {
	l := light.Lamp{Shape: light.PointSource, SizeM: 0.1, ReadUVI: 4, ReadAtM: 0.6, Kept: 1}
	for _, tt := range []struct {
		size, read, at float64
		want           int
	}{
		{0.1, 0.6, 0.5, 0}, {0.1, 0.6, 0.4, 1}, {0.1, 0.3, 0.4, 2}, {0, 0.6, 0.6, 1},
	} {
		l.SizeM, l.ReadAtM = tt.size, tt.read
		if got := l.Doubts(tt.at); len(got) != tt.want {
			t.Errorf("%+v: %q", tt, got)
		}
	}
	if got := bareTube(0.55).Doubts(0.1); len(got) != 0 {
		t.Errorf("tube: %q", got)
	}
	for _, l := range []light.Lamp{l, bareTube(0.55)} {
		if len(l.Assumptions()) < 3 {
			t.Errorf("assumptions: %q", l.Assumptions())
		}
	}
}

func TestUVIProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := anyLamp(t)
		d := rapid.Float64Range(light.MinDistanceM, 9).Draw(t, "d")
		further := d + rapid.Float64Range(0, 1).Draw(t, "more")
		near, far := uvi(t, l, light.Spot{BelowM: d}, light.Flat), uvi(t, l, light.Spot{BelowM: further}, light.Flat)
		if far > near {
			t.Fatalf("UVI rises with distance: %g at %g m, %g at %g m", near, d, far, further)
		}
		// Along any straight line away from the middle of a level plane it falls too.
		angle := rapid.Float64Range(0, math.Pi/2).Draw(t, "angle")
		r1 := rapid.Float64Range(0, 4).Draw(t, "r1")
		r2 := r1 + rapid.Float64Range(0, 4).Draw(t, "r2")
		sin, cos := math.Sincos(angle)
		for _, turned := range []light.Sensor{light.Flat, light.Facing} {
			in := uvi(t, l, light.Spot{BelowM: d, AlongM: r1 * cos, AsideM: r1 * sin}, turned)
			out := uvi(t, l, light.Spot{BelowM: d, AlongM: r2 * cos, AsideM: r2 * sin}, turned)
			if turned == light.Flat && out > in*(1+1e-6)+1e-9*near {
				t.Fatalf("UVI rises outwards: %g, then %g", in, out)
			}
			mirrored := uvi(t, l, light.Spot{BelowM: d, AlongM: -r1 * cos, AsideM: -r1 * sin}, turned)
			if math.Abs(mirrored-in) > 1e-9*near {
				t.Fatalf("not symmetric: %g and %g", in, mirrored)
			}
		}
		l.Kept /= 2
		if got := uvi(t, l, light.Spot{BelowM: d}, light.Flat); math.Abs(got-near/2) > 1e-9*near {
			t.Fatalf("half kept gives %g of %g", got, near)
		}
	})
}

func TestWindow(t *testing.T) {
	// UVI 4 at 0.30 m by inverse square: UVI u at 0.6/√u m.
	l := light.Lamp{Shape: light.PointSource, SizeM: 0.03, ReadUVI: 4, ReadAtM: 0.3, Kept: 1}
	at := func(u float64) float64 { return 0.6 / math.Sqrt(u) }
	base := light.Target{LowUVI: 1, HighUVI: 3, CeilingUVI: 7, NearestM: 0.2, FarthestM: 1.5}
	tests := []struct {
		name string
		edit func(*light.Target)
		want light.Window
	}{
		{"range sets both", func(*light.Target) {},
			light.Window{FromM: at(3), ToM: at(1), UVIFrom: 3, UVITo: 1, UVINearestBack: 3, FromSetBy: light.ByRange, ToSetBy: light.ByRange}},
		{"ceiling sets the near end", func(g *light.Target) { g.RiseM, g.NearestM = 0.15, 0.2 },
			light.Window{FromM: at(7) + 0.15, ToM: at(1), UVIFrom: math.Pow(0.6/(at(7)+0.15), 2), UVITo: 1, UVINearestBack: 7, FromSetBy: light.ByCeiling, ToSetBy: light.ByRange}},
		{"enclosure sets both", func(g *light.Target) { g.NearestM, g.FarthestM = 0.4, 0.5 },
			light.Window{FromM: 0.4, ToM: 0.5, UVIFrom: 2.25, UVITo: 1.44, UVINearestBack: 2.25, FromSetBy: light.ByEnclosure, ToSetBy: light.ByEnclosure}},
		{"single value", func(g *light.Target) { g.LowUVI, g.HighUVI = 2, 2 },
			light.Window{FromM: at(2), ToM: at(2), UVIFrom: 2, UVITo: 2, UVINearestBack: 2, FromSetBy: light.ByRange, ToSetBy: light.ByRange}},
	}
	near := cmp.Comparer(func(a, b float64) bool { return math.Abs(a-b) < 1e-6 })
	for _, tt := range tests {
		g := base
		tt.edit(&g)
		got, err := l.Window(g)
		if err != nil {
			t.Errorf("%s: %v", tt.name, err)
			continue
		}
		got.Doubts = nil
		if diff := cmp.Diff(tt.want, got, near); diff != "" {
			t.Errorf("%s (-want +got):\n%s", tt.name, diff)
		}
	}

	unreachable := []struct {
		name         string
		edit         func(*light.Target)
		nearest, atM float64
	}{
		{"too weak", func(g *light.Target) { g.LowUVI, g.HighUVI, g.NearestM = 5, 6, 0.6 }, 1, 0.6},
		{"too strong", func(g *light.Target) { g.HighUVI, g.FarthestM = 2, 0.4 }, 2.25, 0.4},
		{"ceiling everywhere", func(g *light.Target) { g.RiseM, g.NearestM, g.FarthestM = 0.15, 0.17, 0.3 }, 4, 0.3},
		{"ceiling against range", func(g *light.Target) { g.RiseM, g.LowUVI = 0.15, 2.9 }, math.Pow(0.6/(at(7)+0.15), 2), at(7) + 0.15},
	}
	for _, tt := range unreachable {
		g := base
		tt.edit(&g)
		_, err := l.Window(g)
		var u *light.UnreachableError
		if !errors.As(err, &u) || u.Reason == "" {
			t.Errorf("%s: %v", tt.name, err)
			continue
		}
		if math.Abs(u.NearestUVI-tt.nearest) > 1e-6 || math.Abs(u.AtM-tt.atM) > 1e-6 {
			t.Errorf("%s: UVI %g at %g m, want %g at %g m", tt.name, u.NearestUVI, u.AtM, tt.nearest, tt.atM)
		}
	}
	l.Through = []light.Layer{{"pane", 0}}
	var u *light.UnreachableError
	if _, err := l.Window(base); !errors.As(err, &u) || u.NearestUVI != 0 {
		t.Errorf("behind an opaque pane: %v", err)
	}
}

func TestWindowProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := anyLamp(t)
		g := light.Target{LowUVI: rapid.Float64Range(0, 5).Draw(t, "low"), CeilingUVI: rapid.Float64Range(0.5, 10).Draw(t, "ceiling"),
			RiseM: rapid.Float64Range(0, 0.5).Draw(t, "rise")}
		g.HighUVI = g.LowUVI + rapid.Float64Range(0, 5).Draw(t, "span")
		g.NearestM = g.RiseM + light.MinDistanceM + rapid.Float64Range(1e-6, 0.5).Draw(t, "clear")
		g.FarthestM = g.NearestM + rapid.Float64Range(0, 3).Draw(t, "room")
		w, err := l.Window(g)
		var u *light.UnreachableError
		if errors.As(err, &u) {
			finite(t, "nearest", u.NearestUVI, u.AtM)
			return
		}
		if err != nil {
			t.Fatalf("%v", err)
		}
		finite(t, "window", w.FromM, w.ToM, w.UVIFrom, w.UVITo, w.UVINearestBack)
		for _, d := range []float64{w.FromM, (w.FromM + w.ToM) / 2, w.ToM} {
			at, back := uvi(t, l, light.Spot{BelowM: d}, light.Flat), uvi(t, l, light.Spot{BelowM: d - g.RiseM}, light.Flat)
			if at < g.LowUVI*(1-1e-5) || at > g.HighUVI*(1+1e-5) || back > g.CeilingUVI*(1+1e-5) {
				t.Fatalf("at %g m: UVI %g, nearest back %g, target %+v", d, at, back, g)
			}
		}
		if w.FromM < g.NearestM || w.ToM > g.FarthestM || w.ToM < w.FromM-1e-8 {
			t.Fatalf("window %+v outside %+v", w, g)
		}
	})
}

func TestCover(t *testing.T) {
	// Flat under a point source: UVI = U0 (h/r)³, so half of it holds to
	// r = h·2^(1/3): a disc of radius h·√(2^(2/3) − 1).
	l := light.Lamp{Shape: light.PointSource, SizeM: 0.02, ReadUVI: 4, ReadAtM: 0.5, Kept: 1}
	got, err := l.Cover(0.5, 2, light.Flat)
	if err != nil {
		t.Fatal(err)
	}
	r := 0.5 * math.Sqrt(math.Pow(2, 2.0/3)-1)
	want := light.Cover{CentreUVI: 4, LengthM: 2 * r, WidthM: 2 * r, AreaM2: math.Pi * r * r, PatchLengthM: math.Sqrt2 * r, PatchWidthM: math.Sqrt2 * r}
	if diff := cmp.Diff(want, got, cmp.Comparer(func(a, b float64) bool { return math.Abs(a-b) < 1e-6 })); diff != "" {
		t.Errorf("disc (-want +got):\n%s", diff)
	}
	// A spot of 40° lights a disc of radius h tan 20°, however bright.
	l.BeamDeg = 40
	got, err = l.Cover(0.5, 0.1, light.Flat)
	if err != nil {
		t.Fatal(err)
	}
	if want := 2 * 0.5 * math.Tan(math.Pi/9); math.Abs(got.WidthM-want) > 1e-6 {
		t.Errorf("beam: width %g, want %g", got.WidthM, want)
	}
	var u *light.UnreachableError
	if _, err := l.Cover(0.5, 5, light.Flat); !errors.As(err, &u) || u.NearestUVI != 4 {
		t.Errorf("too much asked: %v", err)
	}
	// Far down, the reach along a tube goes over to that across it.
	tube := bareTube(0.55)
	got, err = tube.Cover(0.15, 1, light.Flat)
	if err != nil {
		t.Fatal(err)
	}
	if got.LengthM < got.WidthM {
		t.Errorf("a near tube lights %g along and %g across", got.LengthM, got.WidthM)
	}
}

func TestCoverProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := anyLamp(t)
		h := rapid.Float64Range(0.05, 2).Draw(t, "below")
		want := rapid.Float64Range(0.01, 10).Draw(t, "uvi")
		c, err := l.Cover(h, want, light.Flat)
		var u *light.UnreachableError
		if errors.As(err, &u) {
			finite(t, "nearest", u.NearestUVI, u.AtM)
			return
		}
		if err != nil {
			t.Fatalf("%v", err)
		}
		finite(t, "cover", c.CentreUVI, c.LengthM, c.WidthM, c.AreaM2, c.PatchLengthM, c.PatchWidthM)
		if c.PatchLengthM*c.PatchWidthM > c.AreaM2*(1+1e-6) {
			t.Fatalf("areas do not fit: %+v", c)
		}
		// Anywhere in the patch the UVI holds.
		x, y := rapid.Float64Range(-0.5, 0.5).Draw(t, "x")*c.PatchLengthM, rapid.Float64Range(-0.5, 0.5).Draw(t, "y")*c.PatchWidthM
		if math.Abs(x) <= light.MaxDistanceM && math.Abs(y) <= light.MaxDistanceM {
			if got := uvi(t, l, light.Spot{BelowM: h, AlongM: x, AsideM: y}, light.Flat); got < want*(1-1e-6) {
				t.Fatalf("UVI %g at %g, %g inside the patch of %g", got, x, y, want)
			}
		}
	})
}

func TestMesh(t *testing.T) {
	// Slanted light through an 18 × 16 insect screen: 59 to 60 % at 45°.
	a, err := light.Mesh{WireM: 0.00028, PitchM: 0.0254 / 18, PitchOtherM: 0.0254 / 16}.Transmission(45)
	b, err2 := light.Mesh{WireM: 0.00028, PitchM: 0.0254 / 16, PitchOtherM: 0.0254 / 18}.Transmission(45)
	if err != nil || err2 != nil || math.Abs(a-0.6017) > 5e-4 || math.Abs(b-0.5925) > 5e-4 {
		t.Errorf("at 45°: %g, %v; %g, %v", a, err, b, err2)
	}
	rapid.Check(t, func(t *rapid.T) {
		pitch := rapid.Float64Range(1e-4, 0.1).Draw(t, "pitch")
		m := light.Mesh{PitchM: pitch, WireM: pitch * rapid.Float64Range(0.001, 0.999).Draw(t, "share")}
		slant := rapid.Float64Range(0, 89.99).Draw(t, "slant")
		straight, err := m.Transmission(0)
		if err != nil {
			t.Fatalf("%v", err)
		}
		slanted, err := m.Transmission(slant)
		if err != nil {
			t.Fatalf("%v", err)
		}
		finite(t, "transmission", straight, slanted)
		if straight <= 0 || straight >= 1 || slanted < 0 || slanted > straight+1e-12 {
			t.Fatalf("straight %g, slanted %g", straight, slanted)
		}
	})
}

func TestSpectrum(t *testing.T) {
	nm := func(x float64) *float64 { return &x }
	for _, tt := range []struct {
		in   *float64
		want light.Spectrum
		text string
	}{
		{nil, light.SpectrumUnknown, "unknown"}, {nm(254), light.SpectrumHazard, "hazard"}, {nm(289.9), light.SpectrumHazard, "hazard"},
		{nm(290), light.SpectrumSunLike, "sun-like"}, {nm(295), light.SpectrumSunLike, "sun-like"},
	} {
		got, err := light.JudgeSpectrum(tt.in)
		if err != nil || got != tt.want || got.String() != tt.text {
			t.Errorf("%v: got %v, %v; want %v", tt.in, got, err, tt.want)
		}
	}
}

func TestInputErrors(t *testing.T) {
	good := bareTube(0.55)
	lamp := func(edit func(*light.Lamp)) error {
		l := good
		edit(&l)
		_, err := l.UVI(light.Spot{BelowM: 0.3}, light.Flat)
		return err
	}
	spot := func(s light.Spot, turned light.Sensor) error { _, err := good.UVI(s, turned); return err }
	mesh := func(m light.Mesh, angle float64) error { _, err := m.Transmission(angle); return err }
	window := func(edit func(*light.Target)) error {
		g := light.Target{LowUVI: 1, HighUVI: 2, CeilingUVI: 7, NearestM: 0.2, FarthestM: 1}
		edit(&g)
		_, err := good.Window(g)
		return err
	}
	day := func(lat float64, year int) error {
		_, err := light.DayLength(lat, time.Date(year, 6, 21, 0, 0, 0, 0, time.UTC))
		return err
	}
	nan, bad := math.NaN(), 20.0
	tests := []struct {
		field string
		err   error
	}{
		{"shape", lamp(func(l *light.Lamp) { l.Shape = 0 })},
		{"lit_length_m", lamp(func(l *light.Lamp) { l.LitLengthM = -1 })},
		{"size_m", lamp(func(l *light.Lamp) { l.Shape, l.SizeM = light.PointSource, -0.1 })},
		{"beam_deg", lamp(func(l *light.Lamp) { l.Shape, l.BeamDeg = light.PointSource, 200 })},
		{"read_uvi", lamp(func(l *light.Lamp) { l.ReadUVI = 0 })},
		{"read_uvi", lamp(func(l *light.Lamp) { l.ReadUVI = nan })},
		{"read_at_m", lamp(func(l *light.Lamp) { l.ReadAtM = -0.3 })},
		{"kept", lamp(func(l *light.Lamp) { l.Kept = 0 })},
		{"kept", lamp(func(l *light.Lamp) { l.Kept = 1.1 })},
		{"through[0].transmission", lamp(func(l *light.Lamp) { l.Through = []light.Layer{{"mesh", 1.5}} })},
		{"below_m", spot(light.Spot{BelowM: -1}, light.Flat)},
		{"below_m", spot(light.Spot{}, light.Flat)},
		{"along_m", spot(light.Spot{BelowM: 1, AlongM: math.Inf(1)}, light.Flat)},
		{"aside_m", spot(light.Spot{BelowM: 1, AsideM: nan}, light.Flat)},
		{"sensor", spot(light.Spot{BelowM: 1}, 7)},
		{"low_uvi", window(func(g *light.Target) { g.LowUVI = -1 })},
		{"high_uvi", window(func(g *light.Target) { g.HighUVI = 0.5 })},
		{"ceiling_uvi", window(func(g *light.Target) { g.CeilingUVI = 0 })},
		{"rise_m", window(func(g *light.Target) { g.RiseM = -0.1 })},
		{"nearest_m", window(func(g *light.Target) { g.RiseM = 0.3 })},
		{"farthest_m", window(func(g *light.Target) { g.FarthestM = 0.1 })},
		{"uvi", func() error { _, err := good.Cover(0.3, 0, light.Flat); return err }()},
		{"below_m", func() error { _, err := good.Cover(-0.3, 1, light.Flat); return err }()},
		{"pitch_m", mesh(light.Mesh{WireM: 0.001}, 0)},
		{"pitch_other_m", mesh(light.Mesh{WireM: 0.001, PitchM: 0.005, PitchOtherM: -1}, 0)},
		{"wire_m", mesh(light.Mesh{PitchM: 0.001}, 0)},
		{"wire_m", mesh(light.Mesh{PitchM: 0.001, WireM: 0.002}, 0)},
		{"wire_m", mesh(light.Mesh{PitchM: 0.001, WireM: 0.001}, 0)},
		{"angle_deg", mesh(light.Mesh{PitchM: 0.001, WireM: 0.0005}, 90)},
		{"angle_deg", mesh(light.Mesh{PitchM: 0.001, WireM: 0.0005}, nan)},
		{"sheet", func() error { _, err := light.SheetByCode("cheese"); return err }()},
		{"shortest_wavelength_nm", func() error { _, err := light.JudgeSpectrum(&bad); return err }()},
		{"latitude_deg", day(91, 2025)},
		{"latitude_deg", day(nan, 2025)},
		{"year", day(10, 1800)},
		{"max_swing_h", func() error { _, err := light.Schedule(10, 2025, -1); return err }()},
		{"latitude_deg", func() error { _, err := light.Schedule(-95, 2025, 2); return err }()},
	}
	for _, tt := range tests {
		var in *light.InputError
		if !errors.As(tt.err, &in) || in.Field != tt.field || in.Reason == "" {
			t.Errorf("want an InputError on %s, got %v", tt.field, tt.err)
		}
	}
}

func TestDayLengthSymmetry(t *testing.T) {
	// Equally long before and after the solstice. The earth's orbit is not a
	// circle, so the halves of a quarter year differ by a few minutes.
	hours := func(lat float64, date time.Time) float64 {
		d, err := light.DayLength(lat, date)
		if err != nil {
			t.Fatal(err)
		}
		return d.Hours
	}
	for _, solstice := range []time.Time{time.Date(2025, 6, 21, 0, 0, 0, 0, time.UTC), time.Date(2025, 12, 21, 0, 0, 0, 0, time.UTC)} {
		for _, lat := range []float64{-60, -40, -20, 0, 20, 40, 60} {
			for days := 1; days <= 60; days++ {
				before, after := hours(lat, solstice.AddDate(0, 0, -days)), hours(lat, solstice.AddDate(0, 0, days))
				if off := 60 * math.Abs(before-after); off > 5 {
					t.Errorf("latitude %g, %d days from %s: %.1f min apart", lat, days, solstice.Format(time.DateOnly), off)
				}
				longest := hours(lat, solstice)
				if (solstice.Month() == time.June) == (lat > 0) && lat != 0 && (before > longest+1e-3 || after > longest+1e-3) {
					t.Errorf("latitude %g: a day is longer than the solstice", lat)
				}
			}
		}
	}
}

func TestDayLengthProperties(t *testing.T) {
	for _, tt := range []struct {
		lat   float64
		month time.Month
		hours float64
		polar light.Polar
	}{
		{90, time.June, 24, light.PolarDay}, {-90, time.June, 0, light.PolarNight},
		{90, time.December, 0, light.PolarNight}, {75, time.June, 24, light.PolarDay}, {-75, time.June, 0, light.PolarNight},
	} {
		got, err := light.DayLength(tt.lat, time.Date(2025, tt.month, 21, 0, 0, 0, 0, time.UTC))
		if err != nil || got.Hours != tt.hours || got.Polar != tt.polar {
			t.Errorf("latitude %g, %v: %+v, %v", tt.lat, tt.month, got, err)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		lat := rapid.Float64Range(-90, 90).Draw(t, "latitude")
		date := time.Date(1901, 1, 1, 0, 0, 0, 0, time.UTC).AddDate(0, 0, rapid.IntRange(0, 72000).Draw(t, "day"))
		here, err := light.DayLength(lat, date)
		if err != nil {
			t.Fatalf("%v", err)
		}
		there, err := light.DayLength(-lat, date)
		if err != nil {
			t.Fatalf("%v", err)
		}
		finite(t, "day", here.Hours, here.DeclinationDeg)
		if here.Hours < 0 || here.Hours > 24 || math.Abs(here.DeclinationDeg) > 23.46 {
			t.Fatalf("%+v", here)
		}
		// One side's day is the other's night, plus refraction on both.
		if sum := here.Hours + there.Hours; sum < 24-1e-9 {
			t.Fatalf("day and antipodal day sum to %g h", sum)
		}
	})
}

func TestSchedule(t *testing.T) {
	for _, tt := range []struct {
		lat, swing float64
		low, high  float64 // of LightHours over the year, h
		tol        float64
	}{
		{0, 12, 12.11, 12.12, 0.02},  // the equator keeps 12 h 7 min
		{-25, 12, 10.58, 13.62, 0.1}, // shortest in June
		{40, 0, 12.2, 12.2, 0.05},    // no season at all
	} {
		got, err := light.Schedule(tt.lat, 2025, tt.swing)
		if err != nil {
			t.Fatal(err)
		}
		low, high := got[0], got[0]
		for i, p := range got {
			if p.Month != time.Month(i+1) {
				t.Errorf("month %d is %v", i, p.Month)
			}
			if p.LightHours < low.LightHours {
				low = p
			}
			if p.LightHours > high.LightHours {
				high = p
			}
		}
		if math.Abs(low.LightHours-tt.low) > tt.tol || math.Abs(high.LightHours-tt.high) > tt.tol {
			t.Errorf("latitude %g, swing %g: %.2f (%v) to %.2f h (%v), want %.2f to %.2f", tt.lat, tt.swing, low.LightHours, low.Month, high.LightHours, high.Month, tt.low, tt.high)
		}
		if tt.lat < 0 && (low.Month != time.June || high.Month != time.December) {
			t.Errorf("latitude %g: shortest in %v, longest in %v", tt.lat, low.Month, high.Month)
		}
	}
}

func TestScheduleProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		swing := rapid.Float64Range(0, 12).Draw(t, "swing")
		got, err := light.Schedule(rapid.Float64Range(-90, 90).Draw(t, "latitude"), rapid.IntRange(1901, 2099).Draw(t, "year"), swing)
		if err != nil {
			t.Fatalf("%v", err)
		}
		var mean, native, set float64
		for _, p := range got {
			mean += p.NativeHours / 12
		}
		for i, p := range got {
			finite(t, "schedule", p.NativeHours, p.LightHours)
			if p.LightHours < 0 || p.LightHours > 24 {
				t.Fatalf("%+v", p)
			}
			native, set = math.Max(native, math.Abs(p.NativeHours-mean)), math.Max(set, math.Abs(p.LightHours-mean))
			for _, q := range got[:i] {
				if (p.NativeHours-q.NativeHours)*(p.LightHours-q.LightHours) < 0 {
					t.Fatalf("the limit turned %v and %v round", p.Month, q.Month)
				}
			}
		}
		if want := math.Min(native, swing); math.Abs(set-want) > 1e-9 {
			t.Fatalf("swing %g h of a native %g and a limit of %g", set, native, swing)
		}
	})
}
