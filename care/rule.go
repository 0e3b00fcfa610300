package care

// Status says what force a published space rule has.
type Status string

// Superseded and laboratory rules are shown but never govern.
const (
	InForce    Status = "in-force"
	Advisory   Status = "advisory"
	Laboratory Status = "laboratory"
	Superseded Status = "superseded"
)

// Measure is the body length a rule multiplies or classes by.
type Measure string

// Rule books that say only "length" are taken to mean total length, and the rule's note says so.
const (
	SnoutVent   Measure = "snout-vent"
	TotalLength Measure = "total"
	Shell       Measure = "shell"
)

// Rule is one published minimum: a joint constraint on the enclosure of the
// animals in its scope. The grammar is closed: every figure has a field of its
// own, in cm, cm² and litres; no free text reaches the engine.
type Rule struct {
	ID           string  `yaml:"id"`
	Source       string  `yaml:"source"`
	Jurisdiction string  `yaml:"jurisdiction,omitempty"` // ISO 3166 code such as DE, AT, AU-NSW, US-FL; EU; empty for bodies without one
	Status       Status  `yaml:"status"`
	Access       Access  `yaml:"access"`
	Topic        string  `yaml:"topic"` // the line of the rule book, in our words
	Scope        Scope   `yaml:"scope"`
	Measure      Measure `yaml:"measure,omitempty"`
	Class        *Class  `yaml:"class,omitempty"`
	Age          *Age    `yaml:"age,omitempty"`
	AdultsOnly   bool    `yaml:"adults_only,omitempty"`
	Animals      int     `yaml:"animals,omitempty"` // how many the base figure covers; 0 when not stated, then one is taken
	Figures      `yaml:",inline"`
	Extra        *Extra   `yaml:"extra,omitempty"`
	Climate      *Climate `yaml:"climate,omitempty"`
	// Clause marks a provision without figures: a general clause, or an entry that
	// exists but could not be read (Unread).
	Clause bool `yaml:"clause,omitempty"`
	// Unread: the rule book has an own entry for these animals whose figures could
	// not be read. It displaces wider rules of the same source: the answer is "not known".
	Unread bool `yaml:"unread,omitempty"`
	// Doubtful says why the rule is shown but does not govern: a label inferred
	// from a damaged copy, a text that contradicts itself, a body of low authority.
	Doubtful string `yaml:"doubtful,omitempty"`
	// VariantOf names the rule to which this one is an alternative: meeting either is enough.
	VariantOf string `yaml:"variant_of,omitempty"`
	Note      string `yaml:"note,omitempty"`
}

// Scope selects the animals a rule speaks of. Species, Genera, Families and
// Groups are alternatives; Habits narrows them. Match says who made the link.
type Scope struct {
	Species  []string `yaml:"species,omitempty"`
	Genera   []string `yaml:"genera,omitempty"`
	Families []string `yaml:"families,omitempty"`
	Orders   []string `yaml:"orders,omitempty"` // Squamata, Testudines, Anura, Caudata
	Groups   []Group  `yaml:"groups,omitempty"`
	Habits   []Habit  `yaml:"habits,omitempty"`
	Except   []string `yaml:"except,omitempty"` // species ids or families that the rule book takes out
	// Match: "named" (the rule book names the species, or a synonym), "genus" (names the
	// genus or family), "assigned" (the compiler's mapping from habit or size), "wide" (a group).
	Match Match `yaml:"match"`
}

// Match says how a rule came to apply to a species.
type Match string

// From most to least direct.
const (
	Named    Match = "named"
	ByGenus  Match = "genus"
	Assigned Match = "assigned"
	Wide     Match = "wide"
)

// Class is a size class: over < length ≤ up_to, in cm. A bound of 0 is open.
// Measure is the rule's own when left out.
type Class struct {
	Measure Measure `yaml:"measure,omitempty"`
	Over    float64 `yaml:"over,omitempty"`
	UpTo    float64 `yaml:"up_to,omitempty"`
}

// Age is an age class: from ≤ age < up_to, in months. UpTo 0 is open.
type Age struct {
	From float64 `yaml:"from,omitempty"`
	UpTo float64 `yaml:"up_to,omitempty"`
}

// Figures are the numbers of a rule: lengths in cm, areas in cm², volumes in
// litres. A …Factor multiplies the body measure. A field that is zero says nothing.
type Figures struct {
	LengthFactor         float64 `yaml:"length_factor,omitempty"`
	WidthFactor          float64 `yaml:"width_factor,omitempty"`
	HeightFactor         float64 `yaml:"height_factor,omitempty"`
	Length               float64 `yaml:"length,omitempty"`
	Width                float64 `yaml:"width,omitempty"`
	WidthCap             float64 `yaml:"width_cap,omitempty"` // the width need not exceed this
	Height               float64 `yaml:"height,omitempty"`
	ShortestSideFactor   float64 `yaml:"shortest_side_factor,omitempty"` // no side of the floor below factor × measure
	Area                 float64 `yaml:"area,omitempty"`
	AreaPerLength        float64 `yaml:"area_per_length,omitempty"`         // cm² per cm of measure
	AreaPerLengthSquared float64 `yaml:"area_per_length_squared,omitempty"` // × measure²
	PerimeterFactor      float64 `yaml:"perimeter_factor,omitempty"`
	Volume               float64 `yaml:"volume,omitempty"`
	VolumePerLength      float64 `yaml:"volume_per_length,omitempty"` // L per cm of measure
	// HeightLimit is the most that the rule asks for; where HeightKeepsVolume is
	// set, the floor must grow so that the volume is kept.
	HeightLimit       float64 `yaml:"height_limit,omitempty"`
	HeightKeepsVolume bool    `yaml:"height_keeps_volume,omitempty"`
	// Reshape: the source allows the same floor area in another shape.
	Reshape bool   `yaml:"reshape,omitempty"`
	Water   *Water `yaml:"water,omitempty"`
	// Basin: a bathing basin is asked for, without a size.
	Basin          bool    `yaml:"basin,omitempty"`
	SubstrateDepth float64 `yaml:"substrate_depth,omitempty"`
	// SubstrateShellHeights: depth as a multiple of the height of the shell.
	SubstrateShellHeights float64 `yaml:"substrate_shell_heights,omitempty"`
}

// Water is the part of a rule that speaks of water.
type Water struct {
	// AreaIsWater: the rule's length, width and area are those of the water, not of the floor.
	AreaIsWater          bool    `yaml:"area_is_water,omitempty"`
	Area                 float64 `yaml:"area,omitempty"`
	AreaPerLengthSquared float64 `yaml:"area_per_length_squared,omitempty"`
	Depth                float64 `yaml:"depth,omitempty"`
	DepthFactor          float64 `yaml:"depth_factor,omitempty"`
	DepthFactorMax       float64 `yaml:"depth_factor_max,omitempty"`
	DepthMax             float64 `yaml:"depth_max,omitempty"`
	DepthShellHeights    float64 `yaml:"depth_shell_heights,omitempty"`
	Volume               float64 `yaml:"volume,omitempty"`
	VolumePerLength      float64 `yaml:"volume_per_length,omitempty"`
	// Share and LandShare are fractions of the floor area.
	Share        float64 `yaml:"share,omitempty"`
	LandShareMin float64 `yaml:"land_share_min,omitempty"`
	LandShareMax float64 `yaml:"land_share_max,omitempty"`
	// Clause: a qualitative requirement, such as room to swim and dive.
	Clause string `yaml:"clause,omitempty"`
}

// Extra is what each animal beyond Rule.Animals adds. Shares are fractions of the
// base figure, one for each further animal; the last repeats.
type Extra struct {
	AreaShares                []float64 `yaml:"area_shares,omitempty"`
	VolumeShares              []float64 `yaml:"volume_shares,omitempty"` // proportions kept, so each side grows by the cube root
	PerimeterShares           []float64 `yaml:"perimeter_shares,omitempty"`
	Area                      float64   `yaml:"area,omitempty"`       // cm² each
	WaterArea                 float64   `yaml:"water_area,omitempty"` // cm² each
	WaterAreaPerLengthSquared float64   `yaml:"water_area_per_length_squared,omitempty"`
	WaterVolume               float64   `yaml:"water_volume,omitempty"`    // L each
	AreaPerAnimal             float64   `yaml:"area_per_animal,omitempty"` // cm² for every animal in the group, the first included, as a floor
}

// Climate is what a rule says of air and hot spot: °C and % relative humidity.
type Climate struct {
	AirLow       *float64 `yaml:"air_low,omitempty" json:"-"`
	AirHigh      *float64 `yaml:"air_high,omitempty" json:"-"`
	HotSpotLow   *float64 `yaml:"hot_spot_low,omitempty" json:"-"`
	HotSpotHigh  *float64 `yaml:"hot_spot_high,omitempty" json:"-"`
	HumidityLow  *float64 `yaml:"humidity_low,omitempty" json:"-"`
	HumidityHigh *float64 `yaml:"humidity_high,omitempty" json:"-"`
	WaterHigh    *float64 `yaml:"water_high,omitempty" json:"-"`
}

// Empty reports whether the figures say nothing.
func (f Figures) Empty() bool { return f == Figures{} }
