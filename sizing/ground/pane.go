package ground

import (
	"fmt"
	"math"
	"slices"
)

// WaterPressure is p = ρ·g·h at a depth in m, Pa.
func WaterPressure(depth float64) (float64, error) {
	return waterDensity * gravity * depth, between("depth", depth, 0, 100, "m")
}

// AtRest is the coefficient of earth pressure at rest, K0 = 1 − sin φ (Jaky 1944,
// recalled; for loose, level soil behind a wall that does not give): φ, the
// friction angle, in degrees, about the angle of repose for dry sand.
func AtRest(friction float64) (float64, error) {
	return 1 - math.Sin(friction*math.Pi/180), between("friction", friction, 0, 60, "degrees")
}

// Backing is the soil behind a panel.
type Backing struct {
	Height   float64 // of soil against the panel, m
	Density  float64 // of the soil in its state, kg/m³, saturated if Flooded
	Friction float64 // degrees; take 0 for a fluid mud
	Flooded  bool    // water stands in the soil to its surface
}

// Push is the pressure on a panel, which grows evenly with depth.
type Push struct {
	Bottom float64 // Pa at the foot
	Force  float64 // N per m of panel
	Fluid  float64 // density of a fluid that presses alike, kg/m³
}

// SoilPush is the at-rest pressure of soil on a panel: K0·ρ·g·h, and under water
// K0·(ρ − 1000)·g·h plus the water's own. Errors are an [*InputError].
func SoilPush(b Backing) (Push, error) {
	k, err := AtRest(b.Friction)
	if err := first(err, positive("height", b.Height, 5, "m"), positive("density", b.Density, 3000, "kg/m³")); err != nil {
		return Push{}, err
	}
	fluid := k * b.Density
	if b.Flooded {
		fluid = k*math.Max(0, b.Density-waterDensity) + waterDensity
	}
	bottom := fluid * gravity * b.Height
	return Push{bottom, bottom * b.Height / 2, fluid}, nil
}

// glassRow holds the plate constants of a side pane under water pressure.
type glassRow struct{ ratio, alpha, beta float64 }

// glassRows are for four simply supported edges (a rim or brace along the top).
// Source: glass thickness article, alpha and beta constants, Federation of New
// Zealand Aquatic Societies 2001, read.
var glassRows = [...]glassRow{{0.5, 0.003, 0.085}, {1, 0.022, 0.16}, {1.5, 0.042, 0.26}, {2, 0.056, 0.32}, {2.5, 0.063, 0.35}, {3, 0.067, 0.37}}

// PlateConstants gives alpha (deflection) and beta (stress) of a pane with its
// length over the water's height, interpolated between the published rows; below
// 0.5 and above 3 the outer rows stand.
func PlateConstants(ratio float64) (alpha, beta float64, err error) {
	if err := positive("ratio", ratio, 1000, ""); err != nil {
		return 0, 0, err
	}
	i := slices.IndexFunc(glassRows[:], func(r glassRow) bool { return ratio <= r.ratio })
	switch {
	case i == 0:
		return glassRows[0].alpha, glassRows[0].beta, nil
	case i < 0:
		last := glassRows[len(glassRows)-1]
		return last.alpha, last.beta, nil
	}
	a, b := glassRows[i-1], glassRows[i]
	u := (ratio - a.ratio) / (b.ratio - a.ratio)
	return a.alpha + u*(b.alpha-a.alpha), a.beta + u*(b.beta-a.beta), nil
}

// Float glass figures that the plate constants were published with (2001, read):
// strength 19.2 MPa and a safety factor of 3.8. The modulus is recalled from EN 572.
const (
	GlassStrength     = 19.2e6 // Pa
	GlassSafetyFactor = 3.8
	GlassModulus      = 69e9 // Pa
)

// AllowableStress is B = σ/SF, Pa; the safety factor is 1 or more.
func AllowableStress(strength, safetyFactor float64) (float64, error) {
	return strength / safetyFactor, first(positive("strength", strength, 1e10, "Pa"), between("safety_factor", safetyFactor, 1, 100, ""))
}

// Pane is a glass side panel that holds water or soil.
type Pane struct {
	Length, Height float64 // m; Height is of what stands against it
	// Fluid is the density of the fluid that presses on it, kg/m³: 0 for water,
	// or Fluid of [SoilPush].
	Fluid float64
	// Braced: the top edge is held by a rim or brace. The published constants hold
	// for four supported edges only.
	Braced bool
	// SafetyFactor, 0 for [GlassSafetyFactor].
	SafetyFactor float64
}

// Glazing is the answer of [GlassThickness].
type Glazing struct {
	Thickness  float64 // least, m
	Stock      float64 // next thickness sold, m; 0 where none is thick enough
	Deflection float64 // m, at the stock thickness (at the least thickness where there is none)
	Stress     float64 // Pa, at the stock thickness
	Caution    string
}

// stockGlass are nominal thicknesses of float glass, mm (EN 572, recalled).
var stockGlass = [...]float64{4, 5, 6, 8, 10, 12, 15, 19, 25}

// GlassThickness is t = √(β·1e-5·H³/B) in N and mm, with β of [PlateConstants], B
// of [AllowableStress], the pressure scaled from water by the fluid's density; the
// deflection is α·1e-5·H⁵/(E·t³). Source: see [PlateConstants]. An unbraced top
// edge is an error: other constants apply. A pane is a glazier's decision.
func GlassThickness(p Pane) (Glazing, error) {
	if err := first(positive("length", p.Length, 10, "m"), positive("height", p.Height, 3, "m"), between("fluid", p.Fluid, 0, 3000, "kg/m³")); err != nil {
		return Glazing{}, err
	}
	if !p.Braced {
		return Glazing{}, bad("braced", "the published constants hold for four supported edges; a pane with a free top edge needs other constants and a glazier")
	}
	sf, fluid := p.SafetyFactor, p.Fluid
	if sf == 0 {
		sf = GlassSafetyFactor
	}
	if fluid == 0 {
		fluid = waterDensity
	}
	allowed, err := AllowableStress(GlassStrength, sf)
	if err != nil {
		return Glazing{}, err
	}
	alpha, beta, err := PlateConstants(p.Length / p.Height)
	if err != nil {
		return Glazing{}, err
	}
	// The source's 1e-5 N/mm³ is water's weight, 1e4 N/m³, rounded up from 9807.
	weight := 1e4 * fluid / waterDensity
	h3 := p.Height * square(p.Height)
	g := Glazing{Thickness: math.Sqrt(beta * weight * h3 / allowed)}
	t := g.Thickness
	if i := slices.IndexFunc(stockGlass[:], func(s float64) bool { return s >= g.Thickness*1000-1e-9 }); i >= 0 {
		g.Stock = stockGlass[i] / 1000
		t = g.Stock
	}
	g.Deflection = alpha * weight * h3 * square(p.Height) / (GlassModulus * t * square(t))
	g.Stress = beta * weight * h3 / square(t)
	g.Caution = "An estimate by published plate constants for four supported edges; a glazier decides."
	if g.Stock == 0 {
		g.Caution = fmt.Sprintf("No single pane that is sold is %.0f mm thick: laminated glass, less height, or a glazier's design.", g.Thickness*1000)
	}
	return g, nil
}
