package sizing

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"denwright/care/quantity"
	"denwright/sizing/ground"
	"denwright/sizing/heat"
	"denwright/sizing/light"
	"denwright/sizing/score"
)

// ClimateQuestion asks how an enclosure with its equipment behaves in a room. Only
// the enclosure's size and walls and one room temperature are needed; what else is
// left out either takes a default that the answer lists among its assumptions, or
// leaves that part of the answer not known, with what to give.
//
// Every height is above the surface of the substrate, where the animal stands,
// except the enclosure's own inside height. Places along the length count from the
// left end.
type ClimateQuestion struct {
	// Species compares the result with the animal's ranges and supplies targets; an
	// id or a name borne by one species only.
	Species string `json:"species,omitzero"`
	// Animals are as in a sizing; one adult where a species is named without them.
	Animals   []Animal         `json:"animals,omitzero"`
	Enclosure ClimateEnclosure `json:"enclosure"`
	// Substrate covers the floor; a bare floor when left out.
	Substrate *ClimateSubstrate `json:"substrate,omitzero"`
	// Drainage is a layer of coarse fill under the substrate; none when left out.
	Drainage *ClimateDrainage `json:"drainage,omitzero"`
	Room     ClimateRoom      `json:"room"`
	// DayHours is how long the day equipment runs in 24 h; 12 h when left out.
	DayHours *quantity.Hours `json:"day_hours,omitzero"`
	// HeatSources are all lamps, mats and heaters; none when left out.
	HeatSources []ClimateSource `json:"heat_sources,omitzero"`
	UVLamps     []ClimateUVLamp `json:"uv_lamps,omitzero"`
	// HighestPlatform is the highest place under the lamps on which the animal can stand; the substrate when left out.
	HighestPlatform *quantity.Length `json:"highest_platform,omitzero"`
	Humidifier      *Humidifier      `json:"humidifier,omitzero"`
	Water           *ClimateWater    `json:"water,omitzero"`
	Load            *ClimateLoad     `json:"load,omitzero"`
	Targets         ClimateTargets   `json:"targets,omitzero"`
	// Readings are thermometer readings in the running enclosure, at most 200: the part
	// calibration fits to them what the drawing leaves open, and the other parts use it.
	Readings []ClimateReading `json:"readings,omitzero"`
	// Parts limits the answer to some of ClimateParts, and with it the work; all when left out.
	Parts []string `json:"parts,omitzero"`
}

// ClimateParts are the parts of an answer that can be asked for.
var ClimateParts = []string{"calibration", "profile", "heating", "humidity", "condensation", "uv", "day_length", "drainage", "ground", "loads"}

// ClimateEnclosure is the box.
type ClimateEnclosure struct {
	// Length, Width and Height are the clear inside, floor to underside of lid, with
	// substrate and drainage still out: up to 50, 50 and 10 m.
	Length quantity.Length `json:"length"`
	Width  quantity.Length `json:"width"`
	Height quantity.Length `json:"height"`
	// Walls are the upright sides, and the lid and floor where those are not told apart.
	Walls ClimateWall  `json:"walls"`
	Front *ClimateWall `json:"front,omitzero"` // where it differs from the walls: doors
	Floor *ClimateWall `json:"floor,omitzero"`
	Lid   *ClimateLid  `json:"lid,omitzero"` // a closed panel like the walls when left out
	// Vents are openings besides a mesh lid; none when left out.
	Vents []ClimateVent `json:"vents,omitzero"`
	// Fan draws air out under the lid, in m³/h or L/s at the pressure it works against; it needs an open vent.
	Fan *score.Figure `json:"fan,omitzero"`
	// Leakage through gaps, in air changes per hour, unit "1/h"; 0.5, and up to 5
	// more for draughts over a mesh lid, when left out.
	Leakage *score.Figure `json:"leakage,omitzero"`
	// FrontBraced: the front pane is held along all four edges, top included.
	FrontBraced *bool `json:"front_braced,omitzero"`
}

// ClimateWall is what a side is made of: a named construction or layers.
type ClimateWall struct {
	Construction string `json:"construction,omitzero"` // one of Constructions
	// Layers from the inside outward, instead of a construction.
	Layers []ClimateLayer `json:"layers,omitzero"`
	// GlazedShare of the side is Glazing instead: a door or window.
	GlazedShare *quantity.Fraction `json:"glazed_share,omitzero"`
	Glazing     string             `json:"glazing,omitzero"` // one of Constructions; glass-6mm when left out
}

// ClimateLayer is one layer of a wall. A material of MaterialNames, or a
// conductivity of one's own, or both (then the conductivity counts).
type ClimateLayer struct {
	Material  string          `json:"material,omitzero"`
	Thickness quantity.Length `json:"thickness,omitzero"` // not needed for "air gap"
	// Conductivity, unit "W/(m·K)" or "W/mK".
	Conductivity *score.Figure `json:"conductivity,omitzero"`
}

// ClimateLid closes the top.
type ClimateLid struct {
	Kind string `json:"kind"` // mesh, glass (6 mm) or panel
	// Panel is what the closed part of a panel is made of; as the walls when left out.
	Panel *ClimateWall `json:"panel,omitzero"`
	// MeshShare of the lid that is mesh: all of a mesh lid, none of the others, when left out.
	MeshShare *quantity.Fraction `json:"mesh_share,omitzero"`
	Mesh      *ClimateMesh       `json:"mesh,omitzero"`
}

// ClimateMesh says how open a mesh is: by its open area, or by wire and pitch.
type ClimateMesh struct {
	OpenArea *quantity.Fraction `json:"open_area,omitzero"` // above 0 to 100 %; 60 % when nothing is given
	Wire     *quantity.Length   `json:"wire,omitzero"`      // wire diameter
	Pitch    *quantity.Length   `json:"pitch,omitzero"`     // wire to wire, centre to centre; wider than the wire
}

// ClimateVent is one opening. An upright vent without Bottom and Top is spread over the whole height.
type ClimateVent struct {
	Side string         `json:"side"` // front, back, left, right, top, floor
	Area *quantity.Area `json:"area"` // gross, needed; 0 is closed
	// OpenShare of the area that passes air: 1 for a plain hole; 42 %, a fine mesh, when left out.
	OpenShare *quantity.Fraction `json:"open_share,omitzero"`
	Bottom    *quantity.Length   `json:"bottom,omitzero"` // heights of its edges
	Top       *quantity.Length   `json:"top,omitzero"`
}

// ClimateSubstrate is the fill.
type ClimateSubstrate struct {
	Kind  string          `json:"kind"` // one of SubstrateKinds
	Depth quantity.Length `json:"depth"`
	// WaterContent by volume; what the fill holds after draining when left out.
	WaterContent *quantity.Fraction `json:"water_content,omitzero"`
}

// ClimateDrainage is a layer under the substrate.
type ClimateDrainage struct {
	Depth quantity.Length `json:"depth"`
	Kind  string          `json:"kind,omitzero"` // expanded clay when left out
	// WateringPerDay by hand, and what plants and air take from the soil again; 0 when left out.
	WateringPerDay *quantity.Volume `json:"watering_per_day,omitzero"`
	UptakePerDay   *quantity.Volume `json:"uptake_per_day,omitzero"`
}

// ClimateRoom is the room in its two extremes; at least one is needed.
type ClimateRoom struct {
	Winter *RoomAir `json:"winter,omitzero"`
	Summer *RoomAir `json:"summer,omitzero"`
	// Altitude above the sea; 0 when left out.
	Altitude *quantity.Length `json:"altitude,omitzero"`
}

// RoomAir is the room's air.
type RoomAir struct {
	Temperature *quantity.Temperature `json:"temperature"` // needed
	// NightTemperature: as by day when left out.
	NightTemperature *quantity.Temperature `json:"night_temperature,omitzero"`
	// Humidity, relative; humidity and condensation stay not known without it.
	Humidity *quantity.Fraction `json:"humidity,omitzero"`
}

// ClimateSource is one source of heat.
type ClimateSource struct {
	Name  string          `json:"name,omitzero"`
	Kind  string          `json:"kind"` // one of SourceKinds
	Power *quantity.Power `json:"power,omitzero"`
	// Role says when it runs and what it is regulated for, one of SourceRoles; by kind when left out.
	Role  string `json:"role,omitzero"`
	Place string `json:"place,omitzero"` // inside, outside (on a mesh lid), under-floor, in-water; by kind when left out
	// Position is its middle as a share of the length, or FromLeft as a length; 20 % when both are left out.
	Position *quantity.Fraction `json:"position,omitzero"`
	FromLeft *quantity.Length   `json:"from_left,omitzero"`
	// Height of the lamp's face, SpotHeight of the place under it, Distance between
	// them: any two. The spot is the substrate, the lamp 5 cm under the lid (3 cm
	// above a mesh lid), when left out.
	Height     *quantity.Length `json:"height,omitzero"`
	SpotHeight *quantity.Length `json:"spot_height,omitzero"`
	Distance   *quantity.Length `json:"distance,omitzero"`
	// BeamAngle is the full angle of the beam, unit "°", 2 to 160; by kind when left out.
	BeamAngle *score.Figure `json:"beam_angle,omitzero"`
	// Covers is the extent along the length of a mat, cable, panel or tube; a third of
	// the length for a mat when left out.
	Covers *quantity.Length `json:"covers,omitzero"`
	// Area of a mat; Covers times the inside width when left out.
	Area *quantity.Area `json:"area,omitzero"`
}

// ClimateUVLamp is one ultraviolet lamp. Without a reading its light is not known.
type ClimateUVLamp struct {
	Name  string `json:"name,omitzero"`
	Shape string `json:"shape"` // tube or compact (a spot too)
	// LitLength of a tube, shorter than the tube by its caps: 5 cm to 3 m.
	LitLength *quantity.Length `json:"lit_length,omitzero"`
	// Size is the largest width of a compact lamp; BeamAngle its full beam, unit "°".
	Size      *quantity.Length `json:"size,omitzero"`
	BeamAngle *score.Figure    `json:"beam_angle,omitzero"`
	Reading   *UVReading       `json:"reading,omitzero"`
	// Kept is the share of the reading left today; all when left out.
	Kept *quantity.Fraction `json:"kept,omitzero"`
	// Mesh and Sheet lie between lamp and animal and did not when it was read. A
	// measured share passed goes before both.
	Mesh   *ClimateMesh       `json:"mesh,omitzero"`
	Sheet  string             `json:"sheet,omitzero"` // one of SheetCodes
	Passed *quantity.Fraction `json:"passed,omitzero"`
	// Height of the fixture; 5 cm under the lid when left out.
	Height *quantity.Length `json:"height,omitzero"`
	// Platform is the height of the basking place under it; the highest platform when left out.
	Platform *quantity.Length `json:"platform,omitzero"`
	// ShortestWavelength that it emits, unit "nm"; the spectrum is unknown without it.
	ShortestWavelength *score.Figure `json:"shortest_wavelength,omitzero"`
	// Power, and Position or FromLeft as for a heat source: its warmth counts only where the power is given.
	Power    *quantity.Power    `json:"power,omitzero"`
	Position *quantity.Fraction `json:"position,omitzero"`
	FromLeft *quantity.Length   `json:"from_left,omitzero"`
}

// UVReading is one UV index read straight below the lamp's middle, the meter facing it.
type UVReading struct {
	UVIndex  quantity.UVIndex `json:"uv_index"`
	Distance quantity.Length  `json:"distance"`
}

// Humidifier is a fogger or a set of mist nozzles.
type Humidifier struct {
	Kind string `json:"kind"` // fogger or mister
	// OutputPerHour while it runs.
	OutputPerHour quantity.Volume `json:"output_per_hour"`
	// RunsPerDay and RunTime of one run, as it is set now; three runs are taken, and
	// nothing is said of the humidity it gives, when left out.
	RunsPerDay *int            `json:"runs_per_day,omitzero"`
	RunTime    *quantity.Hours `json:"run_time,omitzero"`
	// VapourShare of its water that becomes vapour while it is needed; an assumption by kind when left out.
	VapourShare *quantity.Fraction `json:"vapour_share,omitzero"`
}

// ClimateWater is open water inside.
type ClimateWater struct {
	Area quantity.Area `json:"area"`
	// Temperature: that of the air when left out.
	Temperature *quantity.Temperature `json:"temperature,omitzero"`
	Depth       *quantity.Length      `json:"depth,omitzero"` // for mass and load
	// AgainstFront: it stands against the front pane to its full depth.
	AgainstFront *bool `json:"against_front,omitzero"`
}

// ClimateLoad is what stands in and under the enclosure.
type ClimateLoad struct {
	Furnishings *quantity.Mass `json:"furnishings,omitzero"` // rocks, wood, plants, equipment; not counted when left out
	Stand       *ClimateStand  `json:"stand,omitzero"`
	Shelf       *ClimateShelf  `json:"shelf,omitzero"`
}

// ClimateStand is what carries the enclosure. Without feet it stands on its whole base.
type ClimateStand struct {
	Mass     *quantity.Mass `json:"mass,omitzero"`
	Feet     int            `json:"feet,omitzero"`
	FootArea *quantity.Area `json:"foot_area,omitzero"` // of one foot
}

// ClimateShelf is a board on two supports that carries the enclosure.
type ClimateShelf struct {
	Board     string           `json:"board"` // one of BoardNames
	Thickness quantity.Length  `json:"thickness"`
	Span      *quantity.Length `json:"span,omitzero"`  // between supports; the enclosure's length when left out
	Width     *quantity.Length `json:"width,omitzero"` // the enclosure's width when left out
	// Mass that it carries; the saturated enclosure when left out.
	Mass *quantity.Mass `json:"mass,omitzero"`
}

// ClimateTargets are what is wanted. A target given goes before the species' own
// range; one neither given nor held is not aimed at.
type ClimateTargets struct {
	HotSpot  *quantity.Temperature `json:"hot_spot,omitzero"`  // surface under the basking lamps, by day
	WarmMin  *quantity.Temperature `json:"warm_min,omitzero"`  // air at the warm end, by day
	WarmMax  *quantity.Temperature `json:"warm_max,omitzero"`  //
	CoolMax  *quantity.Temperature `json:"cool_max,omitzero"`  // air at the cool end, by day
	NightMin *quantity.Temperature `json:"night_min,omitzero"` // air along the length, by night
	NightMax *quantity.Temperature `json:"night_max,omitzero"` //
	AirMax   *quantity.Temperature `json:"air_max,omitzero"`   // air along the length, always
	// ReadingHeight is where air is read; the middle of the lower half, of the upper
	// half for an animal that lives off the ground, when left out.
	ReadingHeight *quantity.Length `json:"reading_height,omitzero"`
	HumidityDay   *HumidityRange   `json:"humidity_day,omitzero"`
	HumidityNight *HumidityRange   `json:"humidity_night,omitzero"`
	UV            *UVRange         `json:"uv,omitzero"`
}

// HumidityRange is a range of relative humidity; a missing bound is open.
type HumidityRange struct {
	Low  *quantity.Fraction `json:"low,omitzero"`
	High *quantity.Fraction `json:"high,omitzero"`
}

// UVRange is a range of the UV index at the animal's back in the basking place.
type UVRange struct {
	Low  quantity.UVIndex `json:"low,omitzero"` // 0 when left out
	High quantity.UVIndex `json:"high"`         // above 0
	// Ceiling at the nearest back that can be reached; 7 when left out.
	Ceiling *quantity.UVIndex `json:"ceiling,omitzero"`
}

// Constructions are the named walls. Their layers are common builds of the trade.
var Constructions = []string{"glass-4mm", "glass-6mm", "glass-8mm", "acrylic-5mm", "plywood-18mm", "chipboard-16mm", "pvc-10mm", "insulated-panel"}

// build is one layer of a named construction.
type build struct {
	material  string
	thickness float64 // m
}

func builds(construction string) []build {
	switch construction {
	case "glass-4mm":
		return []build{{"float glass", 0.004}}
	case "glass-6mm":
		return []build{{"float glass", 0.006}}
	case "glass-8mm":
		return []build{{"float glass", 0.008}}
	case "acrylic-5mm":
		return []build{{"acrylic", 0.005}}
	case "plywood-18mm":
		return []build{{"plywood", 0.018}}
	case "chipboard-16mm":
		return []build{{"chipboard", 0.016}}
	case "pvc-10mm":
		return []build{{"foamed PVC sheet", 0.010}}
	case "insulated-panel":
		return []build{{"plywood", 0.018}, {"extruded polystyrene", 0.030}}
	}
	return nil
}

// SourceRoles say when a source runs and what it is regulated for: basking (day,
// the hot spot), heater (day and night, the air), day-heater, night-heater,
// day-fixed and always-fixed (at its power, unregulated).
var SourceRoles = []string{"basking", "heater", "day-heater", "night-heater", "day-fixed", "always-fixed"}

var roles = map[string]heat.Role{"basking": heat.Basking, "heater": heat.Heater, "day-heater": heat.DayHeater,
	"night-heater": heat.NightHeater, "day-fixed": heat.DayFixed, "always-fixed": heat.AlwaysFixed}

// SourceKinds are the kinds of heat source: those of an assessment, and lights.
var SourceKinds = slices.Concat(score.HeatKinds, []string{"metal-halide-lamp", "fluorescent-tube", "led-lamp"})

// sourceKind is what is taken of a kind of source.
type sourceKind struct {
	kind  heat.Kind
	role  string
	place string
	note  string
}

var sourceKinds = map[string]sourceKind{
	"basking-lamp":      {heat.HalogenLamp, "basking", "inside", ""},
	"halogen-lamp":      {heat.HalogenLamp, "basking", "inside", ""},
	"uv-heat-lamp":      {heat.MercuryLamp, "basking", "inside", "taken as a mercury-vapour lamp"},
	"metal-halide-lamp": {heat.MetalHalideLamp, "basking", "inside", ""},
	"ceramic-emitter":   {heat.CeramicEmitter, "night-heater", "inside", ""},
	"deep-heat-emitter": {heat.InfraredFilament, "heater", "inside", ""},
	"radiant-panel":     {heat.RadiantPanel, "heater", "inside", ""},
	"heat-mat":          {heat.HeatMat, "heater", "under-floor", ""},
	"heat-cable":        {heat.HeatMat, "heater", "inside", "taken as a mat of the same extent"},
	"heated-rock":       {heat.WaterHeater, "always-fixed", "inside", "gives its heat to the air over it; how hot its surface gets is not known"},
	"water-heater":      {heat.WaterHeater, "always-fixed", "in-water", ""},
	"fluorescent-tube":  {heat.FluorescentTube, "day-fixed", "inside", ""},
	"led-lamp":          {heat.LEDLamp, "day-fixed", "inside", ""},
}

// MaterialNames are the wall materials known by name, "air gap" among them.
func MaterialNames() []string {
	out := []string{heat.AirGap().Name}
	for _, m := range heat.Materials() {
		out = append(out, m.Name)
	}
	return out
}

// SubstrateKinds are the fills known by name.
func SubstrateKinds() (out []string) {
	for _, s := range ground.Substrates() {
		out = append(out, s.Name)
	}
	return out
}

// BoardNames are the shelf boards known by name.
func BoardNames() (out []string) {
	for _, b := range ground.Boards() {
		out = append(out, b.Name)
	}
	return out
}

// SheetCodes are the panes known by their passage of UV.
func SheetCodes() (out []string) {
	for _, s := range light.Sheets() {
		out = append(out, s.Code)
	}
	return out
}

// within reports a bad field unless low <= x <= high; above reports it unless
// 0 < x <= high. NaN fails both.
func (p *problems) within(field string, x, low, high float64, unit string) bool {
	if x >= low && x <= high {
		return true
	}
	p.add(field, fmt.Sprintf("must be from %g to %g %s, not %g", low, high, unit, x), "check the figure and its unit")
	return false
}

func (p *problems) above(field string, x, high float64, unit string) bool {
	if x > 0 && x <= high {
		return true
	}
	p.add(field, fmt.Sprintf("must be above 0 and at most %g %s, not %g", high, unit, x), "check the figure and its unit")
	return false
}

func (p *problems) word(field, value string, allowed []string) bool {
	switch {
	case slices.Contains(allowed, value):
		return true
	case value == "":
		p.add(field, "is missing", "use one of "+strings.Join(allowed, ", "))
	default:
		p.add(field, fmt.Sprintf("is %q", value), "use one of "+strings.Join(allowed, ", "))
	}
	return false
}

// unit reports a figure whose unit is not one of those given, and returns its scale.
func (p *problems) unit(field string, f *score.Figure, units map[string]float64) (float64, bool) {
	if k, ok := units[f.Unit]; ok {
		return f.Number * k, true
	}
	var names []string
	for u := range units {
		names = append(names, u)
	}
	slices.Sort(names)
	p.add(field, fmt.Sprintf("has the unit %q", f.Unit), "use one of "+strings.Join(names, ", "))
	return math.NaN(), false
}

var (
	degreeUnits   = map[string]float64{"°": 1, "deg": 1}
	conductUnits  = map[string]float64{"W/(m·K)": 1, "W/mK": 1, "W/(m*K)": 1}
	changeUnits   = map[string]float64{"1/h": 1}
	flowUnits     = map[string]float64{"m³/h": 1.0 / 3600, "m3/h": 1.0 / 3600, "L/s": 1e-3}
	wavelengthsNM = map[string]float64{"nm": 1}
)

func orElse[T any](p *T, d T) T {
	if p != nil {
		return *p
	}
	return d
}
