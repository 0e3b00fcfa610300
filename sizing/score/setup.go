// Package score compares an enclosure as it stands with what an animal needs:
// a finding per criterion, hazards that veto, a score as an interval from worst
// to best case, a verdict, and the changes that would raise it most.
//
// Everything here is the project's own method, documented in DEVELOPERS.md; the
// figures compared with come from the catalogue and carry their own sources.
package score

import "denwright/care/quantity"

// Setup is an enclosure as it stands. Every field may be left out: what was not
// measured widens the answer and never counts as met.
type Setup struct {
	Inside       *Inside      `json:"inside,omitzero"`
	Material     string       `json:"material,omitzero"` // one of Materials
	Temperatures Temperatures `json:"temperatures,omitzero"`
	Humidity     Humidity     `json:"humidity,omitzero"`
	UV           UV           `json:"uv,omitzero"`
	Substrate    Substrate    `json:"substrate,omitzero"`
	Water        Water        `json:"water,omitzero"`
	Retreats     Retreats     `json:"retreats,omitzero"`
	Climbing     Climbing     `json:"climbing,omitzero"`
	HeatSources  []HeatSource `json:"heat_sources,omitzero"` // nil: not stated; empty: none
	Ventilation  string       `json:"ventilation,omitzero"`  // one of Ventilations
	Access       Access       `json:"access,omitzero"`
	Electrics    Electrics    `json:"electrics,omitzero"`
	Rocks        Rocks        `json:"rocks,omitzero"`
	Stand        Stand        `json:"stand,omitzero"`
	OtherSpecies []string     `json:"other_species,omitzero"` // nil: not stated; empty: none
}

// Inside is the clear inside size, floor to underside of lid.
type Inside struct {
	Length *quantity.Length `json:"length,omitzero"`
	Width  *quantity.Length `json:"width,omitzero"`
	Height *quantity.Length `json:"height,omitzero"`
	// LowestFixture is the height above the enclosure's floor of the lowest lamp,
	// guard or pipe under the lid; the lid itself when left out.
	LowestFixture *quantity.Length `json:"lowest_fixture,omitzero"`
	// Drainage is the depth of a drainage layer under the substrate; none when left out.
	Drainage *quantity.Length `json:"drainage,omitzero"`
}

// Temperatures are as read with the enclosure running; HotSpot is a surface.
type Temperatures struct {
	HotSpot  *quantity.Temperature `json:"hot_spot,omitzero"`
	WarmAir  *quantity.Temperature `json:"warm_air,omitzero"`
	CoolAir  *quantity.Temperature `json:"cool_air,omitzero"`
	NightAir *quantity.Temperature `json:"night_air,omitzero"`
	Water    *quantity.Temperature `json:"water,omitzero"`
}

// Humidity is relative, of the air and of the humid retreat.
type Humidity struct {
	Day     *quantity.Fraction `json:"day,omitzero"`
	Night   *quantity.Fraction `json:"night,omitzero"`
	Retreat *quantity.Fraction `json:"retreat,omitzero"`
}

// UV is the ultraviolet light at the animal.
type UV struct {
	// Basking is the UV index at the back of an animal in its highest basking place.
	Basking *quantity.UVIndex `json:"basking,omitzero"`
	// Shade is the UV index over the broad lit part away from the basking place.
	Shade *quantity.UVIndex `json:"shade,omitzero"`
	// Refuge: there is a place with UV index 0 that costs no warmth and no cover.
	Refuge *bool `json:"refuge,omitzero"`
	// Spectrum: "like-sunlight", "below-290-nm" or "unknown"; left out is unknown.
	Spectrum string `json:"spectrum,omitzero"`
}

// Substrate is what covers the floor.
type Substrate struct {
	Kind  string           `json:"kind,omitzero"`
	Depth *quantity.Length `json:"depth,omitzero"`
}

// Water is the water part, dish or basin.
type Water struct {
	// Present: there is standing water the animal can get into, a dish included. Any
	// size above zero, a volume or a dish says so too; only false says there is none.
	Present *bool            `json:"present,omitzero"`
	Length  *quantity.Length `json:"length,omitzero"`
	Width   *quantity.Length `json:"width,omitzero"`
	Depth   *quantity.Length `json:"depth,omitzero"`
	Volume  *quantity.Volume `json:"volume,omitzero"`
	Dish    *bool            `json:"dish,omitzero"`     // a drinking dish is there
	Exit    *bool            `json:"exit,omitzero"`     // every animal can climb out
	HaulOut *bool            `json:"haul_out,omitzero"` // dry land under the heat for a swimmer
}

// Retreats are covered places the animal fits in whole.
type Retreats struct {
	Warm  *bool `json:"warm,omitzero"`
	Cool  *bool `json:"cool,omitzero"`
	Humid *bool `json:"humid,omitzero"`
}

// Climbing is what there is to climb.
type Climbing struct {
	Structures *bool `json:"structures,omitzero"`
	// HighestPerch is the height of the highest place the animal can stand on, above the substrate.
	HighestPerch *quantity.Length `json:"highest_perch,omitzero"`
}

// HeatSource is one lamp, mat, emitter, panel or water heater.
type HeatSource struct {
	Kind    string          `json:"kind"` // one of HeatKinds
	Power   *quantity.Power `json:"power,omitzero"`
	Place   string          `json:"place,omitzero"` // inside, outside (behind glass or mesh), under-floor, in-water
	Guarded *bool           `json:"guarded,omitzero"`
	// Gap is the clear distance from the source or its guard to the nearest place the animal can reach.
	Gap     *quantity.Length `json:"gap,omitzero"`
	Control string           `json:"control,omitzero"` // one of Controls
	// ProbeSenses: the thermostat's probe lies where this source heats (above the mat, at the hot spot).
	ProbeSenses *bool `json:"probe_senses,omitzero"`
}

// Access is how the enclosure is shut.
type Access struct {
	Lid  *bool `json:"lid,omitzero"`  // closed on all sides
	Lock *bool `json:"lock,omitzero"` // a lock or catch this animal can't open
}

// Electrics are judged only as far as a keeper can see; an electrician judges the rest.
type Electrics struct {
	SprayProof *bool `json:"spray_proof,omitzero"` // fittings within reach of spray, fog or splash are rated for it
	DripLoops  *bool `json:"drip_loops,omitzero"`
	RCD        *bool `json:"residual_current_device,omitzero"`
}

// Rocks and other heavy furnishings.
type Rocks struct {
	Present *bool `json:"present,omitzero"`
	// OnFloor: they stand on the floor of the enclosure, not on soil that can be dug away.
	OnFloor *bool `json:"on_floor,omitzero"`
}

// Stand is what carries the enclosure.
type Stand struct {
	Level  *bool `json:"level,omitzero"`
	Stable *bool `json:"stable,omitzero"`
}

// The words accepted in a Setup.
var (
	Materials    = []string{"glass", "wood", "plastic", "insulated-panel", "mesh", "mixed"}
	Ventilations = []string{"none", "top", "low-and-high", "mesh-sides"}
	Spectra      = []string{"like-sunlight", "below-290-nm", "unknown"}
	HeatKinds    = []string{"basking-lamp", "halogen-lamp", "uv-heat-lamp", "ceramic-emitter", "deep-heat-emitter", "radiant-panel", "heat-mat", "heat-cable", "heated-rock", "water-heater"}
	Places       = []string{"inside", "outside", "under-floor", "in-water"}
	Controls     = []string{"none", "timer-only", "dimmer", "thermostat"}
)
