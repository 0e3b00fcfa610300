package ground

import (
	"fmt"
	"math"
)

// FloorPressure is a mass spread over its footprint, q = m·g/A, Pa: kg and m².
func FloorPressure(mass, area float64) (float64, error) {
	return mass * gravity / area, first(between("mass", mass, 0, 1e6, "kg"), positive("area", area, 1e4, "m²"))
}

// PanelMass is m = ρ·L·H·t in kg: density in kg/m³ (float glass 2500: EN 572,
// read-through), lengths in m.
func PanelMass(density, length, height, thickness float64) (float64, error) {
	return density * length * height * thickness, first(positive("density", density, 2e4, "kg/m³"), positive("length", length, 50, "m"),
		positive("height", height, 50, "m"), positive("thickness", thickness, 1, "m"))
}

// ImposedLoad is a published design load for floors of dwellings.
type ImposedLoad struct {
	Name      string
	Uniform   float64 // Pa, averaged over the room; 0 not given
	Point     float64 // N on a small patch; 0 not given
	Reference Reference
}

// ImposedLoads returns the design loads that an enclosure is compared with. They
// are averages for design, not limits for one footprint.
func ImposedLoads() []ImposedLoad {
	return []ImposedLoad{
		{"UK self-contained dwelling", 1500, 1400, Reference{"Imposed loads for residential buildings (after BS 6399)", "engineering page", 0, "read-through"}},
		{"EN 1991-1-1 category A, lower value", 1500, 2000, Reference{"EN 1991-1-1 imposed loads, table 6.2", "CEN", 2002, "recalled"}},
		{"EN 1991-1-1 category A, upper value", 2000, 3000, Reference{"EN 1991-1-1 imposed loads, table 6.2", "CEN", 2002, "recalled"}},
		{"US sleeping room", 1440, 0, Reference{"Live loads on residential floors (after ASCE 7), 30 psf", "ASCE", 2019, "read-through"}},
		{"US other rooms", 1920, 0, Reference{"Live loads on residential floors (after ASCE 7), 40 psf", "ASCE", 2019, "read-through"}},
	}
}

// Standing is an enclosure with its stand on a floor.
type Standing struct {
	Mass          float64 // everything, saturated, kg
	Length, Depth float64 // of the footprint, m
	// Feet is the number of feet or posts, 0 where it stands on its whole base;
	// FootArea is the area of one, m².
	Feet     int
	FootArea float64
	// SpreadArea, m², is the floor over which the load may be averaged (a room's
	// strip of joists); 0 for the footprint alone.
	SpreadArea float64
}

// Comparison sets a load against a published one.
type Comparison struct {
	Load         ImposedLoad
	UniformRatio float64 // averaged pressure over the design load
	PointRatio   float64 // force of one foot over the design point load; 0 without feet or without one given
	// Exceeds: a ratio is above 1. An even load counts only if the whole weight
	// is above [LeastPoint], since that much may stand on any small patch.
	Exceeds bool
}

// LeastPoint is the smallest published point load for dwellings, N (BS 6399, see [ImposedLoads]).
const LeastPoint = 1400.0

// FloorLoad is the answer of [Stand].
type FloorLoad struct {
	Pressure    float64 // under the footprint, Pa
	Averaged    float64 // over SpreadArea, Pa
	Line        float64 // along the two long edges if it stands on them, N/m each
	Foot        float64 // force on one foot, N, shared evenly; 0 without feet
	Patch       float64 // pressure under one foot, Pa; 0 without feet
	Comparisons []Comparison
	// AskEngineer: some published load is exceeded; Reason says which.
	AskEngineer bool
	Reason      string
}

// Stand computes the load that an enclosure puts on a floor and sets it against
// [ImposedLoads]. Errors are an [*InputError].
func Stand(s Standing) (FloorLoad, error) {
	if err := first(positive("mass", s.Mass, 1e5, "kg"), positive("length", s.Length, 50, "m"), positive("depth", s.Depth, 50, "m"), between("spread_area", s.SpreadArea, 0, 1000, "m²")); err != nil {
		return FloorLoad{}, err
	}
	if s.Feet < 0 || s.Feet > 100 {
		return FloorLoad{}, bad("feet", "must be from 0 to 100, not %d", s.Feet)
	}
	area := s.Length * s.Depth
	if s.SpreadArea > 0 && s.SpreadArea < area {
		return FloorLoad{}, bad("spread_area", "can't be smaller than the footprint, %g m²", area)
	}
	var f FloorLoad
	var err error
	if f.Pressure, err = FloorPressure(s.Mass, area); err != nil {
		return f, err
	}
	f.Averaged = f.Pressure
	if s.SpreadArea > 0 {
		if f.Averaged, err = FloorPressure(s.Mass, s.SpreadArea); err != nil {
			return f, err
		}
	}
	f.Line = s.Mass * gravity / (2 * s.Length)
	if s.Feet > 0 {
		if err := positive("foot_area", s.FootArea, area, "m²"); err != nil {
			return f, err
		}
		f.Foot = s.Mass * gravity / float64(s.Feet)
		f.Patch = f.Foot / s.FootArea
	}
	for _, l := range ImposedLoads() {
		c := Comparison{Load: l, UniformRatio: f.Averaged / l.Uniform}
		if l.Point > 0 {
			c.PointRatio = f.Foot / l.Point
		}
		c.Exceeds = (c.UniformRatio > 1 && s.Mass*gravity > LeastPoint) || c.PointRatio > 1
		if c.Exceeds && !f.AskEngineer {
			f.AskEngineer = true
			f.Reason = fmt.Sprintf("%.1f kN/m² is %.1f times the design load of %s", f.Averaged/1000, c.UniformRatio, l.Name)
			if c.UniformRatio <= 1 {
				f.Reason = fmt.Sprintf("%.1f kN on one foot is %.1f times the point load of %s", f.Foot/1000, c.PointRatio, l.Name)
			}
		}
		f.Comparisons = append(f.Comparisons, c)
	}
	return f, nil
}

// SecondMoment is I = b·h³/12 of a rectangular board, m⁴: width and thickness in m.
func SecondMoment(width, thickness float64) (float64, error) {
	return width * thickness * thickness * thickness / 12, first(positive("width", width, 50, "m"), positive("thickness", thickness, 1, "m"))
}

// UniformDeflection is the sag in the middle of a simply supported beam under an
// even load, w = 5·q·L⁴/(384·E·I), m: q in N/m, span in m, modulus in Pa, I in m⁴.
// Source: beam deflection case table (engineering formula page, undated, read).
func UniformDeflection(load, span, modulus, secondMoment float64) (float64, error) {
	return 5 * load * square(square(span)) / (384 * modulus * secondMoment), beam(load, span, modulus, secondMoment)
}

// PointDeflection is the sag under a load in the middle, w = F·L³/(48·E·I), m: F in N.
func PointDeflection(force, span, modulus, secondMoment float64) (float64, error) {
	return force * span * square(span) / (48 * modulus * secondMoment), beam(force, span, modulus, secondMoment)
}

func beam(load, span, modulus, secondMoment float64) error {
	return first(between("load", load, 0, 1e7, "N"), positive("span", span, 50, "m"), positive("modulus", modulus, 1e12, "Pa"), positive("second_moment", secondMoment, 1, "m⁴"))
}

// Board is a shelf or panel material with its bending stiffness.
type Board struct {
	Name      string
	Modulus   Interval // E, Pa
	Creep     Interval // kdef, share by which sag grows in time, dry to damp
	Reference Reference
}

// Boards returns bending moduli of boards. Creep factors are recalled from
// EN 1995-1-1 (plywood and fibreboard 0.8 dry to 3 wet) and taken for every wood board.
func Boards() []Board {
	wood := Interval{0.8, 1.0, 3.0}
	tables := Reference{"General engineering material tables", "various", 0, "recalled"}
	fpl := Reference{"Wood Handbook ch. 12, mechanical properties of wood-based composites, table 12-3", "USDA Forest Products Laboratory", 2010, "read"}
	return []Board{
		{"plywood", Interval{6.0e9, 7.0e9, 9.0e9}, wood, Reference{"Plywood mechanical properties, Table 3", "J. Korean Wood Science and Technology", 2025, "read"}},
		{"oriented strand board, along", Interval{4.41e9, 5.3e9, 6.31e9}, wood, fpl},
		{"oriented strand board, across", Interval{1.92e9, 2.5e9, 3.17e9}, wood, fpl},
		{"fibreboard", Interval{2.5e9, 2.7e9, 3.8e9}, wood, tables},
		{"chipboard", Interval{1.6e9, 2.0e9, 2.4e9}, wood, tables},
		{"PVC sheet", Interval{2.4e9, 2.8e9, 3.3e9}, Exactly(1), tables},
		{"foamed PVC sheet", Interval{0.7e9, 0.9e9, 1.2e9}, Interval{1, 2, 3}, tables},
		{"float glass", Interval{69e9, 70e9, 72e9}, Exactly(0), tables},
	}
}

// BoardNamed finds a row of [Boards] by its name.
func BoardNamed(name string) (Board, error) {
	for _, b := range Boards() {
		if b.Name == name {
			return b, nil
		}
	}
	return Board{}, bad("board", "%q is not in the table of boards", name)
}

// Shelf is a board on two supports.
type Shelf struct {
	Span, Width, Thickness float64 // m; span between supports
	Board                  Board
	Mass                   float64 // spread evenly, kg
	PointMass              float64 // in the middle, kg
}

// SagLimit is the share of the span beyond which a shelf looks and behaves badly:
// 1/300 (recalled, general practice 1/250 to 1/300).
const SagLimit = 1.0 / 300

// Sag is the answer of [Deflect].
type Sag struct {
	Now  Interval // m, under the load just put on; Low is the stiffest board
	Late Interval // m, after years: times 1 + creep
	// Ratio is the typical late sag over [SagLimit] of the span; Holds is Ratio at most 1.
	Ratio float64
	Holds bool
	// Thickness that holds the typical late sag to the limit, m.
	Thickness float64
	Moment    float64 // bending moment in the middle, N·m
}

// Deflect computes how far a simply supported shelf sags. It does not judge
// strength. Errors are an [*InputError].
func Deflect(s Shelf) (Sag, error) {
	if err := first(positive("span", s.Span, 20, "m"), between("mass", s.Mass, 0, 1e5, "kg"), between("point_mass", s.PointMass, 0, 1e5, "kg"),
		s.Board.Modulus.check("board.modulus", 1e6, 1e12, "Pa"), s.Board.Creep.check("board.creep", 0, 10, "")); err != nil {
		return Sag{}, err
	}
	i, err := SecondMoment(s.Width, s.Thickness)
	if err != nil {
		return Sag{}, err
	}
	q, force := s.Mass*gravity/s.Span, s.PointMass*gravity
	var out Sag
	// A stiff board sags least: the interval turns over.
	for _, c := range []struct {
		now, late *float64
		e, creep  float64
	}{{&out.Now.Low, &out.Late.Low, s.Board.Modulus.High, s.Board.Creep.Low},
		{&out.Now.Typical, &out.Late.Typical, s.Board.Modulus.Typical, s.Board.Creep.Typical},
		{&out.Now.High, &out.Late.High, s.Board.Modulus.Low, s.Board.Creep.High}} {
		spread, err := UniformDeflection(q, s.Span, c.e, i)
		if err != nil {
			return Sag{}, err
		}
		middle, err := PointDeflection(force, s.Span, c.e, i)
		if err != nil {
			return Sag{}, err
		}
		*c.now = spread + middle
		*c.late = *c.now * (1 + c.creep)
	}
	out.Ratio = out.Late.Typical / (SagLimit * s.Span)
	out.Holds = out.Ratio <= 1
	out.Thickness = s.Thickness * math.Cbrt(out.Ratio)
	out.Moment = q*square(s.Span)/8 + force*s.Span/4
	return out, nil
}
