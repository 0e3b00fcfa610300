package light

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/integrate/quad"
)

// Shape is the form in which a lamp radiates.
type Shape int

// The two shapes. The zero value is neither, so that a forgotten shape is an error.
const (
	// Tube is a straight fluorescent tube: a finite Lambertian line source.
	Tube Shape = iota + 1
	// PointSource is a compact, mercury vapour, metal halide or LED lamp, or a
	// spot: inverse square from its face.
	PointSource
)

// Sensor is how the receiving surface is turned.
type Sensor int

const (
	// Flat is a level surface that faces up, such as a back on a level platform.
	Flat Sensor = iota
	// Facing is turned to the lamp. For a tube it faces the line of the tube and
	// stays parallel to it, as in the published formula.
	Facing
)

const (
	// MinDistanceM and MaxDistanceM bound every distance from a lamp, in m.
	MinDistanceM = 0.01
	MaxDistanceM = 10.0

	// FarSizes is how many times its own largest size a lamp must be away for
	// the inverse square to hold (rule of thumb, recalled).
	FarSizes = 5.0

	// AdvisedCeilingUVI is the lower end of the upper limit, 7 to 8, advised for
	// a lamp at the nearest point that an animal can reach. Recalled from Baines
	// et al., J. Zoo and Aquarium Research 4(1), EAZA, 2016; not read there.
	AdvisedCeilingUVI = 7.0

	// distanceTolM is how finely distances are solved, in m.
	distanceTolM = 1e-9
	// uviSlack is the relative difference in UVI that counts as none.
	uviSlack = 1e-6
)

// Layer is something between lamp and animal that was not there when the UVI
// was read: mesh, a pane, dust. Transmission is the share of UVI passed, 0..1,
// as measured or from Mesh or a Sheet.
type Layer struct {
	Name         string
	Transmission float64
}

// Lamp is one lamp, scaled from one reading straight below its middle.
type Lamp struct {
	Shape Shape
	// LitLengthM is the lit length of a tube, 0.05 to 3 m (shorter than the tube
	// by its caps). Unused for a point source.
	LitLengthM float64
	// SizeM is the largest width of a compact lamp or of a spot's face, up to
	// 1 m. Zero is unknown; Doubts then says so. Unused for a tube.
	SizeM float64
	// BeamDeg is the full beam angle of a spot, up to 180; outside it the UVI is
	// taken as 0 and inside it as even. Zero is a bare lamp that shines all
	// round. Unused for a tube.
	BeamDeg float64
	// ReadUVI was read at ReadAtM below the middle, the meter facing the lamp;
	// above 0 and at most 100.
	ReadUVI float64
	ReadAtM float64
	// Kept is the share of the reading that is left today, above 0 to 1; 1 where
	// the reading is today's. There is no published decay series for reptile
	// lamps to compute it from: read again, or set it.
	Kept float64
	// Through lists the layers added since the reading.
	Through []Layer
}

// Check reports the first input that is not physical, as an *InputError.
func (l Lamp) Check() error {
	err := first(
		positive("read_uvi", l.ReadUVI, 100),
		between("read_at_m", l.ReadAtM, MinDistanceM, MaxDistanceM),
		positive("kept", l.Kept, 1),
	)
	switch l.Shape {
	case Tube:
		err = first(err, between("lit_length_m", l.LitLengthM, 0.05, 3))
	case PointSource:
		err = first(err, between("size_m", l.SizeM, 0, 1), between("beam_deg", l.BeamDeg, 0, 180))
	default:
		err = &InputError{"shape", "must be a tube or a point source"}
	}
	for i, t := range l.Through {
		err = first(err, between(fmt.Sprintf("through[%d].transmission", i), t.Transmission, 0, 1))
	}
	return err
}

// Assumptions lists, in plain words, what the figures for this lamp rest on.
func (l Lamp) Assumptions() []string {
	out := []string{"scaled from one UVI reading at one distance; mesh and sheets pass every angle and wavelength alike"}
	if l.Shape == Tube {
		return append(out,
			"bare tube as an even Lambertian line; measured error of that formula 3 to 5 % (published)",
			"a reflector narrows the sideways spread, which only a reading to the side can show")
	}
	return append(out,
		fmt.Sprintf("inverse square from the lamp's face, good beyond about %g times its size", FarSizes),
		"even light inside a spot's beam and none outside it")
}

// Doubts says why a figure at distance distM from the lamp is less sure than
// the formula; empty if nothing is known against it.
func (l Lamp) Doubts(distM float64) []string {
	if l.Shape != PointSource {
		return nil
	}
	if l.SizeM == 0 {
		return []string{"the lamp's size is not known, so it is not known how near the inverse square holds"}
	}
	var out []string
	far := FarSizes * l.SizeM
	if distM < far {
		out = append(out, fmt.Sprintf("%.2f m is nearer than %g times the lamp's size (%.2f m): measure there", distM, FarSizes, far))
	}
	if l.ReadAtM < far {
		out = append(out, fmt.Sprintf("the reading was taken nearer than %g times the lamp's size (%.2f m)", FarSizes, far))
	}
	return out
}

// Spot is a point under or beside a lamp, from the lamp's middle: BelowM down,
// AlongM along the tube (either way for a point source) and AsideM across it.
type Spot struct {
	BelowM, AlongM, AsideM float64
}

// UVI gives the UV index at a spot.
//
// Tube, perpendicular distance d from its line, x0 along it from its middle,
// lit length L:
//
//	E ∝ ((a2 − a1) + (sin 2a2 − sin 2a1)/2) / 2d, a1 = atan((−L/2 − x0)/d), a2 = atan((L/2 − x0)/d)
//
// (Keitz, Light calculations and measurements, Macmillan, 1971, recalled and
// derived again; measured error on bare tubes 3 to 5 %, Prytkov, Light &
// Engineering). Point source: E ∝ 1/d². A flat sensor takes the share
// BelowM / d of what a facing one does.
//
// BelowM must be 0.01 to 10 m; AlongM and AsideM within ±10 m. Errors are
// *InputError.
func (l Lamp) UVI(s Spot, turned Sensor) (float64, error) {
	err := first(l.Check(),
		between("below_m", s.BelowM, MinDistanceM, MaxDistanceM),
		between("along_m", s.AlongM, -MaxDistanceM, MaxDistanceM),
		between("aside_m", s.AsideM, -MaxDistanceM, MaxDistanceM))
	if turned != Flat && turned != Facing {
		err = first(err, &InputError{"sensor", "must be flat or facing"})
	}
	if err != nil {
		return 0, err
	}
	return l.scale() * l.spread(s, turned), nil
}

// scale turns the relative irradiance of spread into a UVI.
func (l Lamp) scale() float64 {
	k := l.ReadUVI * l.Kept / l.spread(Spot{BelowM: l.ReadAtM}, Facing)
	for _, t := range l.Through {
		k *= t.Transmission
	}
	return k
}

// spread is the irradiance at a spot up to a constant factor of the lamp.
func (l Lamp) spread(s Spot, turned Sensor) float64 {
	var e, d float64
	if l.Shape == Tube {
		d = math.Hypot(s.BelowM, s.AsideM)
		a1 := math.Atan((-l.LitLengthM/2 - s.AlongM) / d)
		a2 := math.Atan((l.LitLengthM/2 - s.AlongM) / d)
		// Far beyond the tube's end the two terms cancel to the last digit;
		// rounding must not make light negative.
		e = math.Max(0, ((a2-a1)+(math.Sin(2*a2)-math.Sin(2*a1))/2)/(2*d))
	} else {
		d = math.Hypot(s.BelowM, math.Hypot(s.AsideM, s.AlongM))
		if l.BeamDeg > 0 && degrees(math.Acos(s.BelowM/d)) > l.BeamDeg/2 {
			return 0
		}
		e = 1 / (d * d)
	}
	if turned == Flat {
		e *= s.BelowM / d
	}
	return e
}

// under is the UVI straight below the lamp's middle. It falls with distance.
func (l Lamp) under(distM float64) float64 {
	return l.scale() * l.spread(Spot{BelowM: distM}, Facing)
}

// bisect narrows [low, high] to within tol, where f holds at low and not at
// high, and returns both ends.
func bisect(low, high, tol float64, holds func(float64) bool) (float64, float64) {
	for high-low > tol {
		mid := low + (high-low)/2
		if mid == low || mid == high {
			break
		}
		if holds(mid) {
			low = mid
		} else {
			high = mid
		}
	}
	return low, high
}

// Target is what a place under a lamp should get.
type Target struct {
	// LowUVI to HighUVI is wanted at the animal's back at that place, 0 to 100.
	LowUVI, HighUVI float64
	// CeilingUVI must not be passed at the nearest back that can be reached;
	// AdvisedCeilingUVI unless the keeper sets another.
	CeilingUVI float64
	// RiseM is how much nearer to the lamp that nearest back comes than the back
	// at the place: by climbing, standing or on another animal; 0 if it can't.
	RiseM float64
	// NearestM and FarthestM bound the distance that the enclosure allows from
	// lamp to back at the place: fixture clearance, and the floor. NearestM is
	// at least RiseM + MinDistanceM.
	NearestM, FarthestM float64
}

// Bound says what sets one end of a Window.
type Bound string

// The reasons for an end of a Window.
const (
	ByRange     Bound = "range"     // the wanted UVI range
	ByCeiling   Bound = "ceiling"   // the UVI ceiling at the nearest reachable back
	ByEnclosure Bound = "enclosure" // the distances the enclosure allows
)

// Window is the span of distances from lamp to back at which a Target is met.
type Window struct {
	FromM, ToM         float64 // nearest and farthest distance, m
	UVIFrom, UVITo     float64 // UVI at the place at FromM (the higher) and ToM
	UVINearestBack     float64 // UVI at the nearest reachable back when the place is at FromM
	FromSetBy, ToSetBy Bound   // what sets each end
	Doubts             []string
}

// Window finds the distances straight below the lamp at which the range is met
// and the ceiling is kept. Distances are solved by bisection to 1e-9 m.
//
// A target that no allowed distance meets gives an *UnreachableError with the
// reason and the nearest UVI; bad input gives an *InputError.
func (l Lamp) Window(t Target) (Window, error) {
	err := first(l.Check(),
		between("low_uvi", t.LowUVI, 0, 100),
		between("high_uvi", t.HighUVI, t.LowUVI, 100),
		positive("ceiling_uvi", t.CeilingUVI, 100),
		between("rise_m", t.RiseM, 0, MaxDistanceM-MinDistanceM),
		between("nearest_m", t.NearestM, t.RiseM+MinDistanceM, MaxDistanceM),
		between("farthest_m", t.FarthestM, t.NearestM, MaxDistanceM))
	if err != nil {
		return Window{}, err
	}

	w := Window{FromM: t.NearestM, FromSetBy: ByEnclosure, ToM: t.FarthestM, ToSetBy: ByEnclosure}
	if l.under(w.FromM-t.RiseM) > t.CeilingUVI {
		if at := l.under(t.FarthestM - t.RiseM); at > t.CeilingUVI {
			return Window{}, &UnreachableError{
				fmt.Sprintf("the nearest reachable back gets UVI %.2f, over the ceiling of %.2f, even at the farthest distance allowed", at, t.CeilingUVI),
				l.under(t.FarthestM), t.FarthestM}
		}
		_, w.FromM = bisect(w.FromM, t.FarthestM, distanceTolM, func(d float64) bool { return l.under(d-t.RiseM) > t.CeilingUVI })
		w.FromSetBy = ByCeiling
	}
	if l.under(w.FromM) > t.HighUVI {
		if at := l.under(t.FarthestM); at > t.HighUVI {
			return Window{}, &UnreachableError{
				fmt.Sprintf("UVI is over the wanted %.2f even at the farthest distance allowed", t.HighUVI), at, t.FarthestM}
		}
		_, w.FromM = bisect(w.FromM, t.FarthestM, distanceTolM, func(d float64) bool { return l.under(d) > t.HighUVI })
		w.FromSetBy = ByRange
	}
	if at := l.under(w.FromM); at < t.LowUVI*(1-uviSlack) {
		reason := fmt.Sprintf("UVI is below the wanted %.2f even at the nearest distance allowed", t.LowUVI)
		if w.FromSetBy == ByCeiling {
			reason = fmt.Sprintf("where the nearest reachable back keeps to the ceiling of %.2f, UVI at the place is below the wanted %.2f", t.CeilingUVI, t.LowUVI)
		}
		return Window{}, &UnreachableError{reason, at, w.FromM}
	}
	if l.under(w.ToM) < t.LowUVI {
		w.ToM, _ = bisect(w.FromM, w.ToM, distanceTolM, func(d float64) bool { return l.under(d) >= t.LowUVI })
		w.ToSetBy = ByRange
	}
	w.UVIFrom, w.UVITo = l.under(w.FromM), l.under(w.ToM)
	w.UVINearestBack = l.under(w.FromM - t.RiseM)
	w.Doubts = l.Doubts(w.FromM - t.RiseM)
	return w, nil
}

// Cover is the part of a level plane under a lamp that gets at least a UVI.
// It lies around the point below the lamp's middle: an oval, or, at a UVI far
// below the centre's, waisted where a tube shines little past its own ends.
type Cover struct {
	CentreUVI       float64 // straight below the middle, the highest on the plane
	LengthM, WidthM float64 // along the tube and across it, through the middle, m
	AreaM2          float64 // within the outline
	// PatchLengthM by PatchWidthM is the largest rectangle inside: an animal that
	// fits it lies wholly in at least that UVI.
	PatchLengthM, PatchWidthM float64
	Doubts                    []string
}

// Cover finds where on a plane belowM under the lamp at least uvi holds, uvi
// from 0.01 to 100. Extents are solved by bisection to 1e-9 m, the area by
// Gauss-Legendre quadrature over the outline.
//
// A uvi above the value straight below the lamp gives an *UnreachableError.
func (l Lamp) Cover(belowM, uvi float64, turned Sensor) (Cover, error) {
	centre, err := l.UVI(Spot{BelowM: belowM}, turned)
	if err := first(err, between("uvi", uvi, 0.01, 100)); err != nil {
		return Cover{}, err
	}
	if centre < uvi {
		return Cover{}, &UnreachableError{
			fmt.Sprintf("UVI on that plane nowhere reaches %.2f", uvi), centre, belowM}
	}
	k := l.scale()
	radius := func(angle float64) float64 {
		sin, cos := math.Sincos(angle)
		holds := func(r float64) bool {
			return k*l.spread(Spot{BelowM: belowM, AlongM: r * cos, AsideM: r * sin}, turned) >= uvi
		}
		out := belowM
		for holds(out) { // ends: irradiance falls to 0, and uvi is at least 0.01
			out *= 2
		}
		r, _ := bisect(0, out, distanceTolM, holds)
		return r
	}
	c := Cover{CentreUVI: centre, LengthM: 2 * radius(0), WidthM: 2 * radius(math.Pi/2), Doubts: l.Doubts(belowM)}
	// Four equal quarters of ½∫r² dθ.
	c.AreaM2 = 2 * quad.Fixed(func(a float64) float64 { r := radius(a); return r * r }, 0, math.Pi/2, 48, quad.Legendre{}, 0)
	const steps = 180
	for i := 1; i < steps; i++ {
		a := float64(i) / steps * math.Pi / 2
		sin, cos := math.Sincos(a)
		r := radius(a)
		// Beyond a tube's end a point to the side can be brighter than one on the
		// line, so a corner counts only if the middle of its short side holds too.
		if x, y := 2*r*cos, 2*r*sin; x <= c.LengthM && x*y > c.PatchLengthM*c.PatchWidthM {
			c.PatchLengthM, c.PatchWidthM = x, y
		}
	}
	return c, nil
}
