package ground

import "math"

// Family says how an unknown porosity may be estimated.
type Family int

// The families of substrate.
const (
	Mineral Family = iota // sand, soil, clay: solid grains of 2650 kg/m³
	Organic               // peat, bark, coir, litter: the regression for growing media
	Grains                // expanded clay and the like, with closed pores: no estimate holds
)

// ThermalPoint is the thermal state of a substrate at one water content.
type ThermalPoint struct {
	Water        float64 // m³/m³
	Density      float64 // kg/m³, wet
	SpecificHeat float64 // J/(kg·K), wet
	Conductivity float64 // W/(m·K)
}

// Substrate is one kind of fill.
type Substrate struct {
	Name          string
	Family        Family
	DryDensity    Interval // bulk, kg/m³
	Porosity      Interval // all pores, m³/m³; for grains the voids between them
	FieldCapacity Interval // water held after free drainage, m³/m³
	Repose        float64  // angle at which it lies when dry and loose, degrees; 0 not known
	Thermal       []ThermalPoint
	References    []Reference
}

// Substrates returns the table of fills. Figures are those of the references in
// each row; a recalled figure is marked in them. Two sources for one figure are
// kept as an interval. Assumptions without a source: coir carries heat as peat
// does; dry bark has the specific heat of wood; packed dry sand that of loose
// sand; litter's field capacity. The potting soil's source does not say whether
// its water capacity is by mass or volume; it is taken by volume.
func Substrates() []Substrate {
	wwh := Reference{"Transport in the atmosphere-vegetation-soil continuum, table 2.2", "Cambridge University Press", 2013, "read-through"}
	general := Reference{"General soil mechanics and horticulture textbooks", "various", 0, "recalled"}
	media := Reference{"Nitrogen immobilization in plant growth substrates, Table 1, Int. J. Agronomy 2012:978528", "Hindawi", 2012, "read"}
	uark := Reference{"Important physical properties of substrates", "University of Arkansas", 0, "read"}
	regression := Reference{"Acta Horticulturae 294, pore space regression (abstract)", "ISHS", 1991, "read-through"}
	repose := Reference{"Angle of repose glossary", "geology glossary", 0, "read"}
	topsoil := Reference{"Selected soil physical characteristics, Table 3, PMC9280497", "peer-reviewed journal", 2022, "read"}
	kukal := Reference{"Water retention characteristics of soil bio-amendments, J. Appl. Horticulture 14:92-97", "J. Applied Horticulture", 2012, "read"}
	aggregate := Reference{"Lightweight aggregate concrete: dry density by aggregate type", "The Concrete Society", 0, "read"}
	bark := Reference{"Thermal conductivity of non-metallic solids", "engineering data page", 0, "read"}

	sand := []ThermalPoint{{0, 1600, 800, 0.24}, {0.2, 1800, 1180, 2.1}, {0.4, 2000, 1480, 2.5}}
	clay := []ThermalPoint{{0, 1590, 900, 0.15}, {0.2, 1790, 1270, 0.9}, {0.4, 1990, 1560, 1.4}}
	peat := []ThermalPoint{{0, 130, 1900, 0.04}, {0.45, 580, 3670, 0.27}, {0.9, 1030, 3890, 0.50}}
	return []Substrate{
		{"sand", Mineral, Interval{1500, 1600, 1700}, Interval{0.36, 0.40, 0.43}, Interval{0.09, 0.13, 0.17}, 32, sand, []Reference{wwh, repose, general}},
		{"packed sand", Mineral, Exactly(1780), Exactly(0.33), Interval{0.09, 0.13, 0.17}, 0,
			[]ThermalPoint{{0, 1780, 800, 0.29}, {0.15, 1930, 1060, 2.5}}, []Reference{wwh, general}},
		{"sandy clay loam", Mineral, Exactly(1590), Exactly(0.40), Exactly(0.222), 0, clay, []Reference{topsoil, wwh}},
		{"clay", Mineral, Exactly(1590), Exactly(0.40), Interval{0.25, 0.32, 0.35}, 0, clay, []Reference{wwh, general}},
		{"potting soil", Mineral, Interval{957, 1320, 1320}, Interval{0.50, 0.50, 0.64}, Interval{0.32, 0.45, 0.46}, 0, nil, []Reference{kukal, general}},
		{"peat", Organic, Interval{90, 110, 160}, Interval{0.90, 0.98, 0.98}, Interval{0.80, 0.87, 0.87}, 0, peat, []Reference{media, wwh, uark}},
		{"coir", Organic, Interval{60, 85, 110}, Interval{0.92, 0.935, 0.945}, Interval{0.55, 0.70, 0.85}, 0, peat, []Reference{general, regression}},
		{"pine bark", Organic, Exactly(180), Exactly(0.79), Exactly(0.48), 0, []ThermalPoint{{0, 180, 1600, 0.074}}, []Reference{media, bark}},
		{"wood chip", Organic, Interval{190, 205, 220}, Exactly(0.90), Exactly(0.42), 0, nil, []Reference{media}},
		{"leaf litter", Organic, Interval{30, 75, 120}, Interval{0.92, 0.94, 0.955}, Interval{0.20, 0.35, 0.50}, 0, nil, []Reference{general, regression}},
		{"expanded clay", Grains, Interval{280, 365, 450}, Interval{0.40, 0.45, 0.50}, Interval{0.06, 0.11, 0.18}, 0, nil, []Reference{aggregate, general}},
		{"gravel", Mineral, Interval{1500, 1600, 1700}, Interval{0.35, 0.40, 0.45}, Interval{0.02, 0.03, 0.05}, 35, nil, []Reference{general}},
	}
}

// SubstrateNamed finds a row of [Substrates] by its name.
func SubstrateNamed(name string) (Substrate, error) {
	for _, s := range Substrates() {
		if s.Name == name {
			return s, nil
		}
	}
	return Substrate{}, bad("substrate", "%q is not in the table of substrates", name)
}

// Custom describes a substrate by its dry bulk density, kg/m³, where nothing else
// is known; the porosity is estimated by [Porosity] and the field capacity is
// left at half of it, an assumption.
func Custom(name string, family Family, dryDensity float64) (Substrate, error) {
	n, err := Porosity(family, dryDensity)
	if err != nil {
		return Substrate{}, err
	}
	return Substrate{Name: name, Family: family, DryDensity: Exactly(dryDensity), Porosity: Exactly(n), FieldCapacity: Interval{0.2 * n, 0.5 * n, 0.9 * n}}, nil
}

// Porosity estimates the pore space of a fill from its dry bulk density, kg/m³:
// n = 1 − ρ/2650 for mineral soil (soil water definitions, undated, read), and
// n = (96.72 − 0.038·ρ)/100 for organic growing media (Acta Horticulturae 294,
// ISHS 1991, 238 substrates; not for closed-pore grains, which are an error).
func Porosity(family Family, dryDensity float64) (float64, error) {
	switch family {
	case Mineral:
		if err := positive("dry_density", dryDensity, 2500, "kg/m³"); err != nil {
			return 0, err
		}
		return 1 - dryDensity/2650, nil
	case Organic:
		if err := positive("dry_density", dryDensity, 800, "kg/m³"); err != nil {
			return 0, err
		}
		return (96.72 - 0.038*dryDensity) / 100, nil
	}
	return 0, bad("family", "the pores of closed-pore grains can't be estimated from density; give the porosity")
}

// BulkDensity is the density of a fill that holds water, ρ = ρ_dry + 1000·θ, kg/m³;
// θ in m³/m³ from 0 to 1.
func BulkDensity(dry, water float64) (float64, error) {
	return dry + waterDensity*water, first(positive("dry", dry, 5000, "kg/m³"), between("water", water, 0, 1, "m³/m³"))
}

// AirSpace is what stays open after drainage, m³/m³: porosity less field capacity.
func AirSpace(porosity, fieldCapacity float64) (float64, error) {
	if err := first(between("porosity", porosity, 0, 1, "m³/m³"), between("field_capacity", fieldCapacity, 0, 1, "m³/m³")); err != nil {
		return 0, err
	}
	if fieldCapacity > porosity {
		return 0, bad("field_capacity", "can't be more than the porosity")
	}
	return porosity - fieldCapacity, nil
}

// BankRise is the height, m, to which loose dry fill stands over a run in m at an
// angle of repose in degrees: h = r·tan φ. A steeper bank or an open tunnel needs
// a fill that holds together, such as damp sand with clay.
func BankRise(run, repose float64) (float64, error) {
	return run * math.Tan(repose*math.Pi/180), first(between("run", run, 0, 100, "m"), positive("repose", repose, 60, "degrees"))
}

// Fill is what lies on the floor of an enclosure.
type Fill struct {
	Length, Depth float64 // of the floor, m
	Thickness     float64 // of the substrate, m
	Substrate     Substrate
	// Moist is the water content when it is kept moist, m³/m³; nil for the field capacity.
	Moist *float64
	// Drainage under it: 0 thickness for none.
	DrainageThickness float64
	Drainage          Substrate
	// BankRun, if above 0, asks how high a dry bank stands over that run, m.
	BankRun float64
}

// Contents is the answer of [Describe].
type Contents struct {
	Volume         float64 // of substrate, m³
	DrainageVolume float64 // of drainage fill, m³
	// DrainageWater is what the drainage layer holds when flooded, m³.
	DrainageWater Interval
	// Dry, Moist and Saturated masses of substrate and drainage together, kg.
	// Moist: drainage drained; Saturated: both flooded.
	Dry, Moist, Saturated Interval
	AirSpace              Interval // of the substrate after drainage, m³/m³
	WaterHeld             Interval // by the substrate at its moist state, m³
	// BankRise, m, over BankRun; 0 where the angle is not known or not asked.
	BankRise float64
}

func (s Substrate) check(field string) error {
	if err := first(s.DryDensity.check(field+".dry_density", 1, 3000, "kg/m³"), s.Porosity.check(field+".porosity", 0.01, 0.999, "m³/m³"),
		s.FieldCapacity.check(field+".field_capacity", 0, 0.999, "m³/m³")); err != nil {
		return err
	}
	if s.FieldCapacity.Typical > s.Porosity.Typical {
		return bad(field+".field_capacity", "can't be more than the porosity")
	}
	return nil
}

// Describe computes volume, mass and water of a fill. Errors are an [*InputError].
func Describe(f Fill) (Contents, error) {
	if err := first(positive("length", f.Length, 50, "m"), positive("depth", f.Depth, 50, "m"), positive("thickness", f.Thickness, 5, "m"),
		between("drainage_thickness", f.DrainageThickness, 0, 2, "m"), between("bank_run", f.BankRun, 0, 50, "m"), f.Substrate.check("substrate")); err != nil {
		return Contents{}, err
	}
	s, floor := f.Substrate, f.Length*f.Depth
	moist := s.FieldCapacity
	if f.Moist != nil {
		if err := between("moist", *f.Moist, 0, s.Porosity.High, "m³/m³"); err != nil {
			return Contents{}, err
		}
		moist = Exactly(*f.Moist)
	}
	c := Contents{Volume: floor * f.Thickness}
	wet := func(sub Substrate, water Interval) (Interval, error) {
		var out Interval
		for _, p := range []struct {
			to         *float64
			dry, theta float64
		}{{&out.Low, sub.DryDensity.Low, water.Low}, {&out.Typical, sub.DryDensity.Typical, water.Typical}, {&out.High, sub.DryDensity.High, water.High}} {
			var err error
			if *p.to, err = BulkDensity(p.dry, p.theta); err != nil {
				return out, err
			}
		}
		return out, nil
	}
	layers := []struct {
		sub    Substrate
		volume float64
		moist  Interval
	}{{s, c.Volume, moist}}
	if f.DrainageThickness > 0 {
		if err := f.Drainage.check("drainage"); err != nil {
			return Contents{}, err
		}
		c.DrainageVolume = floor * f.DrainageThickness
		c.DrainageWater = f.Drainage.Porosity.scale(c.DrainageVolume)
		layers = append(layers, struct {
			sub    Substrate
			volume float64
			moist  Interval
		}{f.Drainage, c.DrainageVolume, f.Drainage.FieldCapacity})
	}
	for _, l := range layers {
		m, err := wet(l.sub, l.moist)
		if err != nil {
			return Contents{}, err
		}
		// Grains soak up water besides what stands between them.
		full := l.sub.Porosity
		if l.sub.Family == Grains {
			full = full.add(l.sub.FieldCapacity)
		}
		flooded, err := wet(l.sub, full)
		if err != nil {
			return Contents{}, err
		}
		c.Dry = c.Dry.add(l.sub.DryDensity.scale(l.volume))
		c.Moist = c.Moist.add(m.scale(l.volume))
		c.Saturated = c.Saturated.add(flooded.scale(l.volume))
	}
	c.WaterHeld = moist.scale(c.Volume)
	var err error
	if c.AirSpace.Typical, err = AirSpace(s.Porosity.Typical, s.FieldCapacity.Typical); err != nil {
		return Contents{}, err
	}
	c.AirSpace.Low = math.Max(0, s.Porosity.Low-s.FieldCapacity.High)
	c.AirSpace.High = s.Porosity.High - s.FieldCapacity.Low
	if f.BankRun > 0 && s.Repose > 0 {
		if c.BankRise, err = BankRise(f.BankRun, s.Repose); err != nil {
			return Contents{}, err
		}
	}
	return c, nil
}

// At interpolates a substrate's thermal state at a water content, m³/m³, between
// its tabulated points. Where it has none, or the content lies outside them, the
// error says so: it is not known.
func (s Substrate) At(water float64) (ThermalPoint, error) {
	if len(s.Thermal) == 0 {
		return ThermalPoint{}, bad("substrate", "the thermal properties of %s are not known", s.Name)
	}
	last := s.Thermal[len(s.Thermal)-1]
	if !(water >= s.Thermal[0].Water && water <= last.Water) {
		return ThermalPoint{}, bad("water", "the thermal properties of %s are known from %g to %g m³/m³ only", s.Name, s.Thermal[0].Water, last.Water)
	}
	for i, p := range s.Thermal {
		if water > p.Water {
			continue
		}
		if i == 0 || water == p.Water {
			return p, nil
		}
		q := s.Thermal[i-1]
		u := (water - q.Water) / (p.Water - q.Water)
		mix := func(a, b float64) float64 { return a + u*(b-a) }
		return ThermalPoint{water, mix(q.Density, p.Density), mix(q.SpecificHeat, p.SpecificHeat), mix(q.Conductivity, p.Conductivity)}, nil
	}
	return last, nil
}

// Resistance is R = d/k, m²K/W, of a layer of soil: thickness in m, conductivity in W/(m·K).
func Resistance(thickness, conductivity float64) (float64, error) {
	return thickness / conductivity, first(between("thickness", thickness, 0, 10, "m"), positive("conductivity", conductivity, 50, "W/(m·K)"))
}

// VolumetricHeat is C = ρ·cp, J/(m³K).
func VolumetricHeat(density, specificHeat float64) (float64, error) {
	return density * specificHeat, first(positive("density", density, 5000, "kg/m³"), positive("specific_heat", specificHeat, 1e4, "J/(kg·K)"))
}

// Diffusivity is κ = k/C, m²/s: conductivity in W/(m·K), C in J/(m³K).
func Diffusivity(conductivity, volumetricHeat float64) (float64, error) {
	return conductivity / volumetricHeat, first(positive("conductivity", conductivity, 50, "W/(m·K)"), positive("volumetric_heat", volumetricHeat, 1e8, "J/(m³K)"))
}

// DayLength in seconds, the period of the daily swing.
const DayLength = 86400.0

// DampingDepth is the depth at which a swing of the surface temperature falls to
// 1/e, z = √(2κ/ω), ω = 2π/period; κ in m²/s, period in s.
func DampingDepth(diffusivity, period float64) (float64, error) {
	return math.Sqrt(diffusivity * period / math.Pi), first(positive("diffusivity", diffusivity, 1, "m²/s"), positive("period", period, 1e10, "s"))
}

// Buried is how soil carries heat at a depth.
type Buried struct {
	Resistance   float64 // of the soil above, m²K/W
	DampingDepth float64 // daily, m
	Share        float64 // of the surface's swing that is felt at the depth, 0 to 1
	Lag          float64 // s behind the surface
}

// Daily gives resistance, damping and lag at a depth, m, in a substrate at a water
// content, m³/m³, for the daily swing of a deep, even soil: share e^(−z/d), lag
// (z/d)·period/2π. A shallow fill over a warm or cold floor departs from it.
func Daily(s Substrate, water, depth float64) (Buried, error) {
	p, err := s.At(water)
	if err != nil {
		return Buried{}, err
	}
	if err := between("depth", depth, 0, 10, "m"); err != nil {
		return Buried{}, err
	}
	var b Buried
	if b.Resistance, err = Resistance(depth, p.Conductivity); err != nil {
		return Buried{}, err
	}
	c, err := VolumetricHeat(p.Density, p.SpecificHeat)
	if err != nil {
		return Buried{}, err
	}
	kappa, err := Diffusivity(p.Conductivity, c)
	if err != nil {
		return Buried{}, err
	}
	if b.DampingDepth, err = DampingDepth(kappa, DayLength); err != nil {
		return Buried{}, err
	}
	u := depth / b.DampingDepth
	b.Share, b.Lag = math.Exp(-u), u*DayLength/(2*math.Pi)
	return b, nil
}
