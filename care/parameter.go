package care

// Code names a parameter, such as hotspot_surface_day.
type Code string

// The parameters.
const (
	HotSpot           Code = "hotspot_surface_day"
	WarmAir           Code = "warm_air_day"
	CoolAir           Code = "cool_air_day"
	NightAir          Code = "night_air"
	WaterTemp         Code = "water_temp"
	HumidityDay       Code = "humidity_day"
	HumidityNight     Code = "humidity_night"
	HumidRetreat      Code = "humid_retreat"
	UVZone            Code = "uv_zone"
	UVMean            Code = "uv_index_mean"
	UVMax             Code = "uv_index_max"
	PhotoperiodSummer Code = "photoperiod_summer"
	PhotoperiodWinter Code = "photoperiod_winter"
	WinterTemp        Code = "winter_cooling_temp"
	WinterWeeks       Code = "winter_cooling_weeks"
	SubstrateDepth    Code = "substrate_depth"
	WaterDepth        Code = "water_depth"
	GroupSize         Code = "group_size"
	AdultTotal        Code = "adult_total_length"
	AdultSVL          Code = "adult_svl"
	AdultSCL          Code = "adult_scl"
	AdultMass         Code = "adult_mass"
	RecordTotal       Code = "record_total_length"
	RecordSVL         Code = "record_svl"
	RecordSCL         Code = "record_scl"
	TailToSVL         Code = "tail_to_svl"
	SelectedBody      Code = "selected_body_temp"
	CriticalMax       Code = "critical_max"
	Longevity         Code = "longevity"
)

// Sides says which bounds of a working range bind an enclosure.
type Sides int

// TwoSided: too little and too much both matter. AtLeast and AtMost: one does.
// Context: never compared with an enclosure.
const (
	Context Sides = iota
	TwoSided
	AtLeast
	AtMost
)

// Parameter is one entry of the registry: a new parameter is one entry here.
type Parameter struct {
	Code  Code
	Name  string // as shown to a reader
	Unit  string // of claims and working ranges
	Sides Sides
	// Tolerance widens a claim that is a single figure, in Unit, on each side:
	// "about 40 °C" is kept by anyone within it. Own choice, about a thermometer's
	// and a room's daily play.
	Tolerance float64
	// Limit is the distance outside the working range, in Unit, at which a
	// criterion's score reaches 0. Own choice, documented in DEVELOPERS.md.
	Limit float64
	// Least and Most bound what the loader accepts as a figure, in Unit.
	Least, Most float64
	applies     func(*Species) bool
}

func always(*Species) bool { return true }

// landAir: the animal breathes and lives in the enclosure's air for part of its day.
func landAir(s *Species) bool { return !(s.Group == Amphibian && s.Nature.Habit == Aquatic) }

func inWater(s *Species) bool {
	return s.Nature.Habit == Aquatic || s.Nature.Habit == SemiAquatic || s.Nature.Swims >= 3
}

func ofGroup(groups ...Group) func(*Species) bool {
	return func(s *Species) bool {
		for _, g := range groups {
			if s.Group == g {
				return true
			}
		}
		return false
	}
}

// Parameters is the registry, in the order shown.
var Parameters = []Parameter{
	{HotSpot, "hot spot, surface by day", "°C", TwoSided, 2, 8, 15, 70, func(s *Species) bool { return s.Nature.Basks >= 1 && landAir(s) }},
	{WarmAir, "warm end, air by day", "°C", TwoSided, 1.5, 5, 5, 50, landAir},
	{CoolAir, "cool end, air by day", "°C", TwoSided, 1.5, 5, 2, 40, landAir},
	{NightAir, "air by night", "°C", TwoSided, 1.5, 5, 0, 40, landAir},
	{WaterTemp, "water", "°C", TwoSided, 1.5, 5, 2, 40, inWater},
	{HumidityDay, "humidity by day", "%", TwoSided, 5, 25, 0, 100, landAir},
	{HumidityNight, "humidity by night", "%", TwoSided, 5, 25, 0, 100, landAir},
	{HumidRetreat, "humidity of the humid retreat", "%", AtLeast, 5, 30, 0, 100, landAir},
	{UVZone, "UV zone", "zone", Context, 0, 1, 1, 4, always},
	{UVMean, "UV index in broad shade lighting", "UVI", TwoSided, 0.1, 1.5, 0, 12, landAir},
	{UVMax, "UV index at the basking place", "UVI", TwoSided, 0.3, 3, 0, 12, landAir},
	{PhotoperiodSummer, "day length, summer", "h", Context, 1, 4, 6, 24, always},
	{PhotoperiodWinter, "day length, winter", "h", Context, 1, 4, 0, 24, always},
	{WinterTemp, "winter cooling", "°C", Context, 1.5, 5, -2, 30, func(s *Species) bool { return s.Nature.Dormancy != "none" }},
	{WinterWeeks, "winter cooling, duration", "weeks", Context, 1, 8, 0, 40, func(s *Species) bool { return s.Nature.Dormancy != "none" }},
	{SubstrateDepth, "substrate depth", "cm", AtLeast, 2, 10, 0, 300, func(s *Species) bool { return landAir(s) && s.Nature.Habit != Aquatic }},
	{WaterDepth, "water depth", "cm", TwoSided, 3, 20, 0, 300, inWater},
	{GroupSize, "animals together", "animals", AtMost, 0, 2, 1, 100, always},
	{AdultTotal, "adult total length", "cm", Context, 0, 1, 1, 1000, ofGroup(Lizard, Snake, Amphibian)},
	{AdultSVL, "adult snout-vent length", "cm", Context, 0, 1, 0.5, 1000, ofGroup(Lizard, Amphibian)},
	{AdultSCL, "adult straight carapace length", "cm", Context, 0, 1, 3, 150, ofGroup(Chelonian)},
	{AdultMass, "adult mass", "g", Context, 0, 1, 0.05, 200000, always},
	{RecordTotal, "longest total length on record", "cm", Context, 0, 1, 1, 1100, ofGroup(Lizard, Snake, Amphibian)},
	{RecordSVL, "longest snout-vent length on record", "cm", Context, 0, 1, 0.5, 1100, ofGroup(Lizard, Snake, Amphibian)},
	{RecordSCL, "longest carapace on record", "cm", Context, 0, 1, 3, 200, ofGroup(Chelonian)},
	{TailToSVL, "tail length to snout-vent length", "ratio", Context, 0, 1, 0, 5, ofGroup(Lizard, Snake, Amphibian)},
	{SelectedBody, "selected body temperature", "°C", Context, 1, 3, 5, 46, always},
	{CriticalMax, "critical thermal maximum", "°C", Context, 0, 1, 20, 55, always},
	{Longevity, "longest life on record", "years", Context, 0, 1, 0.5, 200, always},
}

// parameterAt is the place of each code in Parameters.
var parameterAt = func() map[Code]int {
	m := make(map[Code]int, len(Parameters))
	for i := range Parameters {
		m[Parameters[i].Code] = i
	}
	return m
}()

// ParameterOf returns the registry entry of a code, or nil.
func ParameterOf(c Code) *Parameter {
	if i, ok := parameterAt[c]; ok {
		return &Parameters[i]
	}
	return nil
}

// Applies reports whether the parameter makes sense for the species: a hot spot
// does not for an animal that never basks. A species with a claim of its own has it anyway.
func (p *Parameter) Applies(s *Species) bool {
	for i := range s.Claims {
		if s.Claims[i].Parameter == p.Code && s.Claims[i].Implausible == "" {
			return true
		}
	}
	return p.applies(s)
}

// UVZoneBand gives the mean and the maximum UV index of an exposure zone (1 to 4).
// Source: Baines and others 2016, table of zones after Ferguson and others 2010;
// recalled, confidence high; the copies seen show the first page only.
func UVZoneBand(zone int) (mean, maximum [2]float64, ok bool) {
	z, ok := map[int][2][2]float64{
		1: {{0, 0.7}, {0.6, 1.4}},
		2: {{0.7, 1.0}, {1.1, 3.0}},
		3: {{1.0, 2.6}, {2.9, 7.4}},
		4: {{2.6, 3.5}, {4.5, 9.5}},
	}[zone]
	return z[0], z[1], ok
}

// UVZoneSource is the key of the source record behind UVZoneBand.
const UVZoneSource = "baines2016"
