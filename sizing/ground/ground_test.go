package ground_test

import (
	"errors"
	"math"
	"strings"
	"testing"

	"denwright/sizing/ground"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

func substrate(t testing.TB, name string) ground.Substrate {
	t.Helper()
	s, err := ground.SubstrateNamed(name)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func inside(t *testing.T, what string, got, lo, hi float64) {
	t.Helper()
	if !(got >= lo && got <= hi) {
		t.Errorf("%s = %g, want %g to %g", what, got, lo, hi)
	}
}

// TestTableIsPhysical: every row can be used as it stands, and no fill holds more
// water than it has pores.
func TestTableIsPhysical(t *testing.T) {
	for _, s := range ground.Substrates() {
		c, err := ground.Describe(ground.Fill{Length: 1, Depth: 0.5, Thickness: 0.1, Substrate: s})
		if err != nil {
			t.Errorf("%s: %v", s.Name, err)
			continue
		}
		if !(c.Dry.Typical < c.Moist.Typical && c.Moist.Typical < c.Saturated.Typical) {
			t.Errorf("%s: masses out of order: %+v", s.Name, c)
		}
		if len(s.References) == 0 {
			t.Errorf("%s has no reference", s.Name)
		}
	}
	// Saturated sand weighs 1900 to 2100 kg/m³ (recalled, soil mechanics textbooks).
	c, err := ground.Describe(ground.Fill{Length: 1, Depth: 1, Thickness: 1, Substrate: substrate(t, "sand")})
	if err != nil {
		t.Fatal(err)
	}
	inside(t, "saturated sand", c.Saturated.Typical, 1900, 2100)
	// The 1590 kg/m³ topsoil has porosity 0.40 as printed (PMC9280497, table 3, 2022).
	n, err := ground.Porosity(ground.Mineral, 1590)
	if err != nil {
		t.Fatal(err)
	}
	inside(t, "porosity of 1590 kg/m³", n, 0.395, 0.405)
	// Sphagnum peat of 110 kg/m³ was measured at 0.98 (Int. J. Agronomy 2012:978528,
	// table 1); the regression is over 238 media and may miss one by some percent.
	if n, err = ground.Porosity(ground.Organic, 110); err != nil {
		t.Fatal(err)
	}
	inside(t, "porosity of peat", n, 0.90, 0.98)
}

// TestDugBox is a keeper's question: 240 × 120 cm with 30 cm of moist sandy loam on
// 8 cm of clay grains. Such a fill weighs over a tonne and a half; anyone who has
// carried it in knows it is not a few hundred kilograms.
func TestDugBox(t *testing.T) {
	c, err := ground.Describe(ground.Fill{Length: 2.4, Depth: 1.2, Thickness: 0.3, Substrate: substrate(t, "sandy clay loam"),
		DrainageThickness: 0.08, Drainage: substrate(t, "expanded clay"), BankRun: 0.5})
	if err != nil {
		t.Fatal(err)
	}
	inside(t, "volume m³", c.Volume, 0.863, 0.865)
	inside(t, "moist kg", c.Moist.Typical, 1500, 1800)
	if c.Saturated.Typical <= c.Moist.High {
		t.Errorf("saturated %v is not above moist %v", c.Saturated, c.Moist)
	}
	f, err := ground.Stand(ground.Standing{Mass: c.Saturated.High + 150, Length: 2.4, Depth: 1.2, Feet: 8, FootArea: 0.01})
	if err != nil {
		t.Fatal(err)
	}
	if !f.AskEngineer || f.Reason == "" {
		t.Errorf("a load of %.1f kN/m² must go to an engineer: %+v", f.Pressure/1000, f)
	}
	inside(t, "patch under a foot, MPa", f.Patch/1e6, 0.15, 0.35)
	light, err := ground.Stand(ground.Standing{Mass: 40, Length: 0.6, Depth: 0.45})
	if err != nil {
		t.Fatal(err)
	}
	if light.AskEngineer {
		t.Errorf("a 40 kg box on 60 × 45 cm (%.2f kN/m²) needs no engineer: %s", light.Pressure/1000, light.Reason)
	}
}

// TestBurrowDepths: in the open about two damping depths leave under 14 % of the
// surface's swing, e^-2.
func TestBurrowDepths(t *testing.T) {
	sand := substrate(t, "sand")
	at, err := ground.Daily(sand, 0, 0.07)
	if err != nil {
		t.Fatal(err)
	}
	two, err := ground.Daily(sand, 0, 2*at.DampingDepth)
	if err != nil {
		t.Fatal(err)
	}
	inside(t, "share at two damping depths", two.Share, 0.13, 0.14)
	inside(t, "lag at two damping depths, h", two.Lag/3600, 7.5, 7.8)
	damp, err := ground.Daily(sand, 0.2, 0.3)
	if err != nil {
		t.Fatal(err)
	}
	dry, err := ground.Daily(sand, 0, 0.3)
	if err != nil {
		t.Fatal(err)
	}
	// A mat under 30 cm of dry sand faces about nine times the resistance of damp sand.
	inside(t, "dry over damp resistance", dry.Resistance/damp.Resistance, 8, 10)
}

func TestShelf(t *testing.T) {
	board, err := ground.BoardNamed("plywood")
	if err != nil {
		t.Fatal(err)
	}
	// 120 kg on 18 mm plywood, 60 cm wide over 1.2 m: it visibly sags; with a
	// support in the middle it does not.
	long, err := ground.Deflect(ground.Shelf{Span: 1.2, Width: 0.6, Thickness: 0.018, Board: board, Mass: 120})
	if err != nil {
		t.Fatal(err)
	}
	short, err := ground.Deflect(ground.Shelf{Span: 0.6, Width: 0.6, Thickness: 0.018, Board: board, Mass: 60})
	if err != nil {
		t.Fatal(err)
	}
	if long.Holds || !short.Holds {
		t.Errorf("1.2 m holds %v (%.1f mm), 0.6 m holds %v (%.1f mm)", long.Holds, long.Late.Typical*1e3, short.Holds, short.Late.Typical*1e3)
	}
	// Dry plywood sags again as much in time: kdef about 0.8 to 1 (EN 1995-1-1, recalled).
	inside(t, "late over first sag", long.Late.Typical/long.Now.Typical, 1.7, 2.1)
	thick, err := ground.Deflect(ground.Shelf{Span: 1.2, Width: 0.6, Thickness: long.Thickness, Board: board, Mass: 120})
	if err != nil {
		t.Fatal(err)
	}
	inside(t, "sag ratio at the thickness asked for", thick.Ratio, 1-1e-9, 1+1e-9)
}

// TestSoilPanel: dry sand presses less than water of the same height, flooded sand
// more; and a pane for soil scales with the root of that.
func TestSoilPanel(t *testing.T) {
	push := func(b ground.Backing) ground.Push {
		t.Helper()
		p, err := ground.SoilPush(b)
		if err != nil {
			t.Fatal(err)
		}
		return p
	}
	dry := push(ground.Backing{Height: 0.3, Density: 1600, Friction: 32})
	flooded := push(ground.Backing{Height: 0.3, Density: 2000, Friction: 32, Flooded: true})
	water, err := ground.WaterPressure(0.3)
	if err != nil {
		t.Fatal(err)
	}
	if !(dry.Bottom < water && water < flooded.Bottom) {
		t.Errorf("dry %.0f, water %.0f, flooded %.0f Pa", dry.Bottom, water, flooded.Bottom)
	}
	// Soil without friction is a fluid.
	mud := push(ground.Backing{Height: 0.3, Density: 1000})
	inside(t, "mud over water", mud.Bottom/water, 1-1e-12, 1+1e-12)
	for _, p := range []ground.Push{dry, flooded, mud} {
		inside(t, "force over bottom pressure", p.Force/p.Bottom, 0.15-1e-12, 0.15+1e-12)
	}
	byWater, err := ground.GlassThickness(ground.Pane{Length: 0.9, Height: 0.3, Braced: true})
	if err != nil {
		t.Fatal(err)
	}
	byFlood, err := ground.GlassThickness(ground.Pane{Length: 0.9, Height: 0.3, Braced: true, Fluid: flooded.Fluid})
	if err != nil {
		t.Fatal(err)
	}
	inside(t, "squared thickness ratio", math.Pow(byFlood.Thickness/byWater.Thickness, 2), flooded.Fluid/1000-1e-9, flooded.Fluid/1000+1e-9)
	if byWater.Stress > ground.GlassStrength/ground.GlassSafetyFactor*(1+1e-9) {
		t.Errorf("stress %.1f MPa in the stock pane is above what is allowed", byWater.Stress/1e6)
	}
	deep, err := ground.GlassThickness(ground.Pane{Length: 3, Height: 1.5, Braced: true})
	if err != nil {
		t.Fatal(err)
	}
	if deep.Stock != 0 || deep.Thickness <= 0.025 || !strings.Contains(deep.Caution, "No single pane") {
		t.Errorf("1.5 m of water needs more than a single pane: %+v", deep)
	}
}

// TestBadInput: input that is not physical is an error that names the field.
func TestBadInput(t *testing.T) {
	sand := substrate(t, "sand")
	wet := 0.9
	upside := sand
	upside.DryDensity = ground.Interval{Low: 1700, Typical: 1600, High: 1500}
	overfull := sand
	overfull.FieldCapacity = ground.Exactly(0.6)
	for _, c := range []struct {
		field string
		call  func() error
	}{
		{"length", func() error {
			_, err := ground.Describe(ground.Fill{Depth: 1, Thickness: 1, Substrate: sand})
			return err
		}},
		{"thickness", func() error {
			_, err := ground.Describe(ground.Fill{Length: 1, Depth: 1, Thickness: -0.1, Substrate: sand})
			return err
		}},
		{"moist", func() error {
			_, err := ground.Describe(ground.Fill{Length: 1, Depth: 1, Thickness: 0.1, Substrate: sand, Moist: &wet})
			return err
		}},
		{"substrate.dry_density", func() error {
			_, err := ground.Describe(ground.Fill{Length: 1, Depth: 1, Thickness: 0.1, Substrate: upside})
			return err
		}},
		{"substrate.field_capacity", func() error {
			_, err := ground.Describe(ground.Fill{Length: 1, Depth: 1, Thickness: 0.1, Substrate: overfull})
			return err
		}},
		{"drainage.dry_density", func() error {
			_, err := ground.Describe(ground.Fill{Length: 1, Depth: 1, Thickness: 0.1, Substrate: sand, DrainageThickness: 0.05})
			return err
		}},
		{"substrate", func() error { _, err := ground.SubstrateNamed("moon dust"); return err }},
		{"substrate", func() error { _, err := ground.Daily(substrate(t, "wood chip"), 0, 0.1); return err }},
		{"water", func() error { _, err := ground.Daily(sand, 0.6, 0.1); return err }},
		{"depth", func() error { _, err := ground.Daily(sand, 0.1, math.NaN()); return err }},
		{"conductivity", func() error { _, err := ground.Resistance(0.1, -1); return err }},
		{"family", func() error { _, err := ground.Porosity(ground.Grains, 400); return err }},
		{"dry_density", func() error { _, err := ground.Custom("lead", ground.Mineral, 11000); return err }},
		{"mass", func() error { _, err := ground.Stand(ground.Standing{Length: 1, Depth: 1}); return err }},
		{"foot_area", func() error {
			_, err := ground.Stand(ground.Standing{Mass: 10, Length: 1, Depth: 1, Feet: 4})
			return err
		}},
		{"spread_area", func() error {
			_, err := ground.Stand(ground.Standing{Mass: 10, Length: 1, Depth: 1, SpreadArea: 0.5})
			return err
		}},
		{"width", func() error { _, err := ground.SecondMoment(0, 0.01); return err }},
		{"board.modulus", func() error {
			_, err := ground.Deflect(ground.Shelf{Span: 1, Width: 1, Thickness: 0.01, Mass: 1})
			return err
		}},
		{"braced", func() error { _, err := ground.GlassThickness(ground.Pane{Length: 1, Height: 0.5}); return err }},
		{"safety_factor", func() error {
			_, err := ground.GlassThickness(ground.Pane{Length: 1, Height: 0.5, Braced: true, SafetyFactor: 0.5})
			return err
		}},
		{"friction", func() error {
			_, err := ground.SoilPush(ground.Backing{Height: 1, Density: 1600, Friction: 80})
			return err
		}},
	} {
		var bad *ground.InputError
		if err := c.call(); !errors.As(err, &bad) {
			t.Errorf("%s: got %v, want an InputError", c.field, err)
		} else if diff := cmp.Diff(c.field, bad.Field); diff != "" {
			t.Errorf("field (-want +got):\n%s", diff)
		}
	}
}

// TestProperties: more water or more depth never weighs less; a thicker pane is
// never asked for less water; thermal interpolation stays between its points.
func TestProperties(t *testing.T) {
	rows := ground.Substrates()
	rapid.Check(t, func(r *rapid.T) {
		s := rows[rapid.IntRange(0, len(rows)-1).Draw(r, "substrate")]
		f := ground.Fill{Length: rapid.Float64Range(0.1, 5).Draw(r, "length"), Depth: rapid.Float64Range(0.1, 3).Draw(r, "depth"),
			Thickness: rapid.Float64Range(0.01, 1).Draw(r, "thickness"), Substrate: s}
		a, err := ground.Describe(f)
		if err != nil {
			r.Fatal(err)
		}
		f.Thickness *= rapid.Float64Range(1, 2).Draw(r, "factor")
		b, err := ground.Describe(f)
		if err != nil {
			r.Fatal(err)
		}
		if b.Saturated.Typical < a.Saturated.Typical || a.Saturated.Low < a.Dry.Low || a.Moist.High < a.Moist.Low {
			r.Fatalf("%s: %+v then %+v", s.Name, a, b)
		}
		h := rapid.Float64Range(0.1, 1.4).Draw(r, "water")
		p := ground.Pane{Length: rapid.Float64Range(0.2, 3).Draw(r, "pane"), Height: h, Braced: true}
		g, err := ground.GlassThickness(p)
		if err != nil {
			r.Fatal(err)
		}
		p.Fluid = 1000 * rapid.Float64Range(1, 2).Draw(r, "fluid")
		g2, err := ground.GlassThickness(p)
		if err != nil {
			r.Fatal(err)
		}
		if g2.Thickness < g.Thickness*(1-1e-12) {
			r.Fatalf("a denser fluid asks for thinner glass: %v then %v", g, g2)
		}
		if n := len(s.Thermal); n > 1 {
			w := rapid.Float64Range(0, s.Thermal[n-1].Water).Draw(r, "theta")
			pt, err := s.At(w)
			if err != nil {
				r.Fatal(err)
			}
			if pt.Conductivity < s.Thermal[0].Conductivity || pt.Conductivity > s.Thermal[n-1].Conductivity {
				r.Fatalf("%s at %g: conductivity %g outside its points", s.Name, w, pt.Conductivity)
			}
		}
	})
}

func BenchmarkDescribe(b *testing.B) {
	f := ground.Fill{Length: 1.2, Depth: 0.6, Thickness: 0.2, Substrate: substrate(b, "sand"), DrainageThickness: 0.05, Drainage: substrate(b, "expanded clay")}
	for b.Loop() {
		if _, err := ground.Describe(f); err != nil {
			b.Fatal(err)
		}
	}
}
