// Package layout places what an enclosure must hold: the jobs of the floor, the
// fixtures under the ceiling and their holes, the openings in the walls; and makes
// from that the workshop data, the drawings, the list of materials and the day
// program.
//
// It is plain geometry and knows no species. A Brief is in metres, degrees, °C, W
// and fractions from 0 to 1. x runs from the left inside face to the right, y from
// the front to the back, z up from the floor panel. The same Brief gives the same
// Plan, on every machine and at any time.
//
// [Solve] places; [Check] judges a plan by itself and shares no rule with it.
package layout

import (
	"fmt"
	"math"
	"slices"

	"denwright/care/quantity"
	"denwright/sizing/score"
)

// Brief is what must be placed, and where.
type Brief struct {
	// Seed steers the search; plans of one seed are equal.
	Seed uint64
	// WarmEnd is "left" or "right" as seen from the front; "" is left.
	WarmEnd  string
	Box      Box
	Animal   Animal
	Needs    Needs
	Fixtures []Fixture
	Practice Practice // zero fields take those of OwnPractice
	Climate  *Climate // nil: no moisture budget
	Light    Light
	Waste    Waste
}

// Box is the clear inside of the enclosure, 0.2 to 50 m long and wide, 0.2 to 20 m
// high from floor panel to the underside of the ceiling, before rock work.
type Box struct {
	Length, Width, Height float64
	// Drainage and Substrate are depths of fill, 0 to 2 m.
	Drainage, Substrate float64
	// Panel is the thickness of walls, floor and ceiling, 2 to 100 mm; Glass that
	// of the front panes, 2 to 25 mm.
	Panel, Glass float64
	// Material of the panel and glazing, by their names in heat.Materials.
	Material string
	Rock     []Rock
	Battens  []Batten
}

// Rock is foam-backed rock work on one wall. Its thickness is taken off the inside.
type Rock struct {
	Wall string // back, left or right
	// Thickness in all, 10 mm to 0.5 m; Foam is the part that insulates, the rest
	// is coating and relief, which is not counted as insulation.
	Thickness, Foam float64
	FoamMaterial    string // by its name in heat.Materials
}

// Batten is a beam or frame member on the ceiling that nothing may cut.
type Batten struct {
	AlongLength bool
	At          float64 // of its middle line: y if it runs along the length, else x
	Width       float64
}

// Animal is the largest animal, and how all of them use the place.
type Animal struct {
	Count int
	// Length and Width are of the body at rest, BackHeight from what it stands on to its back.
	Length, Width, BackHeight float64
	// Reach is how far it can get from where it stands: rearing, stretching or jumping.
	Reach float64
	// Climbs, Digs and Swims from 0 never to 3 always.
	Climbs, Digs, Swims int
}

// Needs are areas in m²; 0 is not called for.
type Needs struct {
	HotSpot      float64 // for all animals together
	Retreat      float64 // of the warm and of the cool retreat, each
	HumidRetreat float64
	Water        float64
	WaterDepth   float64 // m
	Digging      float64
	Feeding      float64
	// Clear is the share of the dry floor that is kept free of furnishings.
	Clear float64
	// WaterChange is how often the water is changed, in days; 0 takes 7 for a tub and
	// 1 for a dish under 5 L (common practice, no source).
	WaterChange float64
}

// Kind is a kind of fixture.
type Kind string

// The kinds of fixture.
const (
	Basking    Kind = "basking_lamp"
	NightHeat  Kind = "night_heater"
	UV         Kind = "uv_fixture"
	PlantLight Kind = "plant_light"
	Nozzle     Kind = "mist_nozzle"
	Fog        Kind = "fog_outlet"
	Fan        Kind = "fan"
	Mat        Kind = "heat_mat"
	WaterWall  Kind = "water_wall"
)

// Kinds are all kinds of fixture.
var Kinds = []Kind{Basking, NightHeat, UV, PlantLight, Nozzle, Fog, Fan, Mat, WaterWall}

// Fixture is one piece of equipment, or several alike.
type Fixture struct {
	Kind  Kind
	Name  string
	Count int     // 1 to 12
	Watts float64 // each
	// Opening is the diameter of the hole that a lamp, heater or fog hose needs in
	// the ceiling. Nozzles and fans take that of the Practice.
	Opening float64
	// Length and Width of the body of a UV fixture, plant light, fan or mat, and of
	// the wetted face of a water wall (Width is then its height).
	Length, Width float64
	// Hang is from the underside of the ceiling down to the lamp's face or guard,
	// whichever is lower. It may be let down as far as MaxHang.
	Hang, MaxHang float64
	Beam          float64 // full angle of a lamp's beam, degrees, 5 to 150
	// Near and Far bound the distance from the face to the animal's back; Far 0 is no bound.
	Near, Far float64
	// Guarded: a guard the animal can't open or squeeze through. Secured: held twice,
	// so that it can't fall. SplashProof: made for the water it can get, to the local code.
	Guarded, Secured, SplashProof bool
	Corded                        bool // its cord passes the ceiling
	// Throw is how far spray or fog reaches from the outlet, level, at the height of the fixtures.
	Throw float64
	// LitresPerMinute of one nozzle, fogger or pump; VapourShare of it that becomes
	// vapour while it is needed, 0 for the assumption of package moisture.
	LitresPerMinute, VapourShare float64
}

// electric reports whether the kind carries current inside the enclosure.
func (k Kind) electric() bool {
	switch k {
	case Basking, NightHeat, UV, PlantLight, Fan:
		return true
	}
	return false
}

// hot reports whether water on it does harm by itself.
func (k Kind) hot() bool { return k == Basking || k == NightHeat }

// Climate is the air that the moisture budget is struck in.
type Climate struct {
	// AirC and NightC are the mean air inside by day and night, WaterC the water.
	AirC, NightC, WaterC float64
	RoomC, RoomHumidity  float64
	AirChanges           float64 // per hour
	// Low and High bound the humidity, 0 to 1, by day and by night.
	DayLow, DayHigh, NightLow, NightHigh float64
}

// Role is a job of the floor.
type Role string

// The jobs of the floor.
const (
	HotSpot      Role = "hot_spot"
	WarmRetreat  Role = "warm_retreat"
	CoolRetreat  Role = "cool_retreat"
	HumidRetreat Role = "humid_retreat"
	Water        Role = "water"
	Sump         Role = "sump"
	Climbing     Role = "climbing"
	Feeding      Role = "feeding"
	Digging      Role = "digging"
	Walking      Role = "walking"
)

// Roles are all jobs of the floor.
var Roles = []Role{HotSpot, WarmRetreat, CoolRetreat, HumidRetreat, Water, Sump, Climbing, Feeding, Digging, Walking}

// ground reports whether the role is a part of the bare floor, not a furnishing.
func (r Role) ground() bool { return r == Digging || r == Walking }

// wet reports whether the role holds open water.
func (r Role) wet() bool { return r == Water || r == Sump }

var roleNames = map[Role]string{HotSpot: "hot spot", WarmRetreat: "warm retreat", CoolRetreat: "cool retreat", HumidRetreat: "humid retreat",
	Water: "water", Sump: "sump", Climbing: "climbing structure", Feeding: "feeding place", Digging: "digging ground", Walking: "clear way"}

var kindNames = map[Kind]string{Basking: "basking lamp", NightHeat: "night heater", UV: "UV fixture", PlantLight: "plant light",
	Nozzle: "misting nozzle", Fog: "fog outlet", Fan: "fan", Mat: "heat mat", WaterWall: "running-water wall"}

// Plan is a finished layout. Lengths are to the millimetre.
type Plan struct {
	WarmEnd   string          `json:"warm_end"`
	Length    quantity.Length `json:"length"`
	Width     quantity.Length `json:"width"`
	Height    quantity.Length `json:"height"`
	Drainage  quantity.Length `json:"drainage"`
	Substrate quantity.Length `json:"substrate"`
	// Surface of the substrate, above the floor panel.
	Surface quantity.Length `json:"surface"`
	Panel   quantity.Length `json:"panel_thickness"`
	// Clear is the floor inside the rock work.
	Clear     Rect          `json:"clear_floor"`
	Floor     []Place       `json:"floor"`
	Fixtures  []Mounted     `json:"fixtures"`
	Holes     []Hole        `json:"ceiling_holes"`
	Battens   []Rect        `json:"battens,omitzero"`
	Walls     []Opening     `json:"walls"`
	Tub       *Tub          `json:"tub,omitzero"`
	Running   *RunningWater `json:"running_water,omitzero"`
	Rock      []RockEffect  `json:"rock_work,omitzero"`
	Moisture  *Moisture     `json:"moisture,omitzero"`
	Program   Program       `json:"program"`
	Materials Materials     `json:"materials"`
	Cuts      []Cut         `json:"cuts"`
	// ClearFloor is the dry floor free of furnishings.
	ClearFloor quantity.Area `json:"clear_area"`
	// Spare is equipment that found no job, and why.
	Spare    []string `json:"spare,omitzero"`
	Notes    []string `json:"notes,omitzero"`
	Cautions []string `json:"cautions"`
}

// Rect is a rectangle on floor or ceiling: its near left corner and its sides.
type Rect struct {
	X      quantity.Length `json:"x"`
	Y      quantity.Length `json:"y"`
	Length quantity.Length `json:"length"` // along x
	Width  quantity.Length `json:"width"`  // along y
}

// Place is one job on the floor.
type Place struct {
	Code string `json:"code"`
	Role Role   `json:"role"`
	Name string `json:"name"`
	Rect
	// Bottom and Top are heights above the floor panel.
	Bottom quantity.Length `json:"bottom"`
	Top    quantity.Length `json:"top"`
	// Entrance of a retreat, wide enough for the animal and no more.
	Entrance quantity.Length `json:"entrance,omitzero"`
	// UV: the UV fixture serves this hot spot.
	UV   bool   `json:"uv,omitzero"`
	Note string `json:"note,omitzero"`
}

// Mounted is a fixture in its place.
type Mounted struct {
	Code string          `json:"code"`
	Kind Kind            `json:"kind"`
	Name string          `json:"name"`
	X    quantity.Length `json:"x"` // of its middle
	Y    quantity.Length `json:"y"`
	// Length along x and Width along y of a body; Diameter of what sits in a round opening, trim included.
	Length   quantity.Length `json:"length,omitzero"`
	Width    quantity.Length `json:"width,omitzero"`
	Diameter quantity.Length `json:"diameter,omitzero"`
	// Hang is below the ceiling, Face the same as a height above the floor panel.
	Hang quantity.Length `json:"hang"`
	Face quantity.Length `json:"face_height"`
	// Tilt from level, towards the back.
	Tilt score.Figure `json:"tilt,omitzero"`
	// Spot is the code of the hot spot or retreat it serves, Distance from the face to the
	// animal's back there, BeamRadius that of the lit circle on the platform.
	Spot       string          `json:"serves,omitzero"`
	Distance   quantity.Length `json:"distance,omitzero"`
	BeamRadius quantity.Length `json:"beam_radius,omitzero"`
	Throw      quantity.Length `json:"throw,omitzero"`
	Watts      quantity.Power  `json:"power,omitzero"`
	Fixture    int             `json:"fixture"` // place in the list of the question, from 0
}

// Hole is one hole in the ceiling panel. FromLeft and FromFront run from the panel's
// own edges, marked from above, to the centre.
type Hole struct {
	Code      string          `json:"code"`
	For       string          `json:"for"`     // code of the fixture
	Purpose   string          `json:"purpose"` // lamp opening, nozzle, fog hose, fan mount or cord
	X         quantity.Length `json:"x"`
	Y         quantity.Length `json:"y"`
	FromLeft  quantity.Length `json:"from_left_edge"`
	FromFront quantity.Length `json:"from_front_edge"`
	Diameter  quantity.Length `json:"diameter"`
	// Of a lamp opening: outside of the trim ring, guard disc, circle of the fixing
	// screws and their number, tightened crosswise.
	Trim        quantity.Length `json:"trim_diameter,omitzero"`
	Guard       quantity.Length `json:"guard_disc_diameter,omitzero"`
	ScrewCircle quantity.Length `json:"screw_circle_diameter,omitzero"`
	Screws      int             `json:"screws,omitzero"`
}

// Opening is something cut in or fixed to a wall, as seen from inside: Along from the
// left edge of that view, Up from the floor panel.
type Opening struct {
	Code   string          `json:"code"`
	Wall   string          `json:"wall"` // back, left, right or floor
	Name   string          `json:"name"`
	Along  quantity.Length `json:"along"`
	Up     quantity.Length `json:"up"`
	Length quantity.Length `json:"length"`
	Height quantity.Length `json:"height"`
	Note   string          `json:"note,omitzero"`
}

// InputError says which field of a Brief is not physical and why.
type InputError struct{ Field, Reason string }

func (e *InputError) Error() string { return e.Field + ": " + e.Reason }

// snap rounds to the millimetre.
func snap(x float64) float64 { return math.Round(x*1000) / 1000 }

// up rounds up to a whole multiple of 5 mm, for sizes that must hold something.
func up(x float64) float64 { return snap(math.Ceil(x*200-1e-6) / 200) }

// q has no negative zero, which would be written as "-0".
func q(x float64) quantity.Length { return quantity.Length(snap(x) + 0) }

// Solve places what the brief asks for. An impossible brief is an *InputError; one
// that does not fit is a *Blocked; [Changes] then looks for what frees it.
func Solve(b Brief) (*Plan, error) {
	if err := b.check(); err != nil {
		return nil, err
	}
	b = b.complete()
	p, stop := place(&b)
	if stop != nil {
		return nil, &Blocked{Constraint: stop.at, Item: stop.item, Reason: stop.reason}
	}
	if err := finish(&b, p); err != nil {
		return nil, fmt.Errorf("finish the plan: %w", err)
	}
	return p, nil
}

// complete fills in what was left out.
func (b Brief) complete() Brief {
	if b.WarmEnd == "" {
		b.WarmEnd = "left"
	}
	b.Practice = b.Practice.over(OwnPractice())
	x := &b.Box
	for _, l := range []*float64{&x.Length, &x.Width, &x.Height, &x.Drainage, &x.Substrate, &b.Needs.WaterDepth} {
		*l = snap(*l)
	}
	x.Rock = slices.Clone(x.Rock)
	for i := range x.Rock {
		x.Rock[i].Thickness = snap(x.Rock[i].Thickness)
	}
	b.Waste = b.Waste.over(OwnWaste())
	return b
}

// check reports the first field that is not physical.
func (b *Brief) check() error {
	in := func(field string, x, low, high float64) error {
		if !(x >= low && x <= high) { // NaN too
			return &InputError{field, fmt.Sprintf("%g is not within %g to %g", x, low, high)}
		}
		return nil
	}
	first := func(errs ...error) error {
		for _, err := range errs {
			if err != nil {
				return err
			}
		}
		return nil
	}
	x, a, n := &b.Box, &b.Animal, &b.Needs
	err := first(in("box.length", x.Length, 0.2, 50), in("box.width", x.Width, 0.2, 50), in("box.height", x.Height, 0.2, 20),
		in("box.drainage", x.Drainage, 0, 2), in("box.substrate", x.Substrate, 0, 2), in("box.panel", x.Panel, 0.002, 0.1), in("box.glass", x.Glass, 0.002, 0.025),
		in("animal.count", float64(a.Count), 1, 500), in("animal.length", a.Length, 0.005, 10), in("animal.width", a.Width, 0.003, 3),
		in("animal.back_height", a.BackHeight, 0, 3), in("animal.reach", a.Reach, 0, 10), in("animal.climbs", float64(a.Climbs), 0, 3),
		in("animal.digs", float64(a.Digs), 0, 3), in("animal.swims", float64(a.Swims), 0, 3),
		in("needs.hot_spot", n.HotSpot, 0, 400), in("needs.retreat", n.Retreat, 0, 100), in("needs.humid_retreat", n.HumidRetreat, 0, 100),
		in("needs.water", n.Water, 0, 2500), in("needs.water_depth", n.WaterDepth, 0, 3), in("needs.digging", n.Digging, 0, 2500),
		in("needs.feeding", n.Feeding, 0, 10), in("needs.clear", n.Clear, 0, 0.95), in("needs.water_change", n.WaterChange, 0, 365))
	if err != nil {
		return err
	}
	if b.WarmEnd != "" && b.WarmEnd != "left" && b.WarmEnd != "right" {
		return &InputError{"warm_end", "is neither left nor right"}
	}
	if surface := x.Drainage + x.Substrate; surface > x.Height-0.15 {
		return &InputError{"box.substrate", "with the drainage leaves less than 15 cm of air"}
	}
	if n.Water > 0 && n.WaterDepth == 0 {
		return &InputError{"needs.water_depth", "is missing though water is asked for"}
	}
	if n.WaterDepth > x.Height-0.15 {
		return &InputError{"needs.water_depth", "leaves less than 15 cm of air"}
	}
	seen := map[string]bool{}
	for i, r := range x.Rock {
		at := fmt.Sprintf("box.rock[%d].", i)
		if r.Wall != "back" && r.Wall != "left" && r.Wall != "right" {
			return &InputError{at + "wall", "is none of back, left, right"}
		}
		if seen[r.Wall] {
			return &InputError{at + "wall", "is named twice"}
		}
		seen[r.Wall] = true
		if err := first(in(at+"thickness", r.Thickness, 0.01, 0.5), in(at+"foam", r.Foam, 0, r.Thickness)); err != nil {
			return err
		}
	}
	if c := b.clearFloor(); c.l < 0.15 || c.w < 0.15 {
		return &InputError{"box.rock", "leaves less than 15 cm of floor"}
	}
	for i, t := range x.Battens {
		if err := in(fmt.Sprintf("box.battens[%d].width", i), t.Width, 0.005, 0.3); err != nil {
			return err
		}
	}
	if len(b.Fixtures) > 20 {
		return &InputError{"fixtures", "are more than 20"}
	}
	total := 0
	for i, f := range b.Fixtures {
		at := fmt.Sprintf("fixtures[%d].", i)
		if _, ok := kindNames[f.Kind]; !ok {
			return &InputError{at + "kind", fmt.Sprintf("%q is not known", f.Kind)}
		}
		total += f.Count
		err := first(in(at+"count", float64(f.Count), 1, 12), in(at+"watts", f.Watts, 0, 5000), in(at+"opening", f.Opening, 0, 0.6),
			in(at+"length", f.Length, 0, 20), in(at+"width", f.Width, 0, 20), in(at+"hang", f.Hang, 0, x.Height-0.05), in(at+"max_hang", f.MaxHang, 0, 20),
			in(at+"near", f.Near, 0, 5), in(at+"far", f.Far, 0, 10), in(at+"throw", f.Throw, 0, 5), in(at+"litres_per_minute", f.LitresPerMinute, 0, 200),
			in(at+"vapour_share", f.VapourShare, 0, 1))
		switch {
		case err != nil:
		case (f.Kind == Basking || f.Kind == NightHeat || f.Kind == Fog) && f.Opening < 0.005:
			err = &InputError{at + "opening", "is missing"}
		case f.Kind == Basking:
			err = in(at+"beam", f.Beam, 5, 150)
		case (f.Kind == UV || f.Kind == PlantLight || f.Kind == Fan || f.Kind == Mat || f.Kind == WaterWall) && min(f.Length, f.Width) < 0.005:
			err = &InputError{at + "length", "or width is missing"}
		}
		if err == nil && f.Far > 0 && f.Far < f.Near {
			err = &InputError{at + "far", "is less than near"}
		}
		if err == nil && (f.Kind == Mat || f.Kind == WaterWall) && (f.Count > 1 || b.first(f.Kind) != i) {
			err = &InputError{at + "count", "only one " + kindNames[f.Kind] + " can be placed"}
		}
		if err == nil && (f.Kind == Basking || f.Kind == UV) && b.first(f.Kind) != i {
			err = &InputError{at + "kind", "lamps of this kind must be alike: give one entry with a count"}
		}
		if err != nil {
			return err
		}
	}
	if total > 40 {
		return &InputError{"fixtures", "are more than 40 in all"}
	}
	if err := b.Light.check(); err != nil {
		return err
	}
	if c := b.Climate; c != nil {
		return first(in("climate.air", c.AirC, 0, 60), in("climate.night", c.NightC, 0, 60), in("climate.water", c.WaterC, 0, 60), in("climate.room", c.RoomC, 0, 60),
			in("climate.room_humidity", c.RoomHumidity, 0, 1), in("climate.air_changes", c.AirChanges, 0.01, 200),
			in("climate.day_low", c.DayLow, 0, 1), in("climate.day_high", c.DayHigh, c.DayLow, 1), in("climate.night_low", c.NightLow, 0, 1), in("climate.night_high", c.NightHigh, c.NightLow, 1))
	}
	return nil
}

// first is the place of the first fixture of a kind, -1 without one.
func (b *Brief) first(k Kind) int {
	for i, f := range b.Fixtures {
		if f.Kind == k {
			return i
		}
	}
	return -1
}

func (b *Brief) surface() float64 { return b.Box.Drainage + b.Box.Substrate }

// clearFloor is the floor inside the rock work, in the drawing's own left and right.
func (b *Brief) clearFloor() rect {
	c := rect{0, 0, b.Box.Length, b.Box.Width}
	for _, r := range b.Box.Rock {
		switch r.Wall {
		case "back":
			c.w -= r.Thickness
		case "left":
			c.x += r.Thickness
			c.l -= r.Thickness
		case "right":
			c.l -= r.Thickness
		}
	}
	return c
}
