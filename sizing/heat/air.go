package heat

import (
	"fmt"
	"math"
)

const (
	// dischargeCoefficient of a sharp-edged opening: 0.65 to 0.70 in "The flow
	// induced by the stack effect" (encyclopaedia copy, undated, read); building
	// services practice uses 0.61 (recalled).
	dischargeCoefficient = 0.65

	// epstein is the dimensionless exchange flow through a thin opening in a
	// ceiling: Epstein, Buoyancy-driven exchange flow through small openings in
	// horizontal partitions, Journal of Heat Transfer 110 (ASME 1988), recalled.
	epstein = 0.055

	// fineMesh is the further share of flow that fine mesh lets pass, after its
	// open area: recalled, low confidence.
	fineMesh = 0.7
)

// AirChanges is n = 3600·Q/V, 1/h: flow in m³/s, volume in m³ above 0.
func AirChanges(flow, volume float64) (float64, error) {
	if err := first(within("flow", flow, 0, 100, "m³/s"), positive("volume", volume, 1e5, "m³")); err != nil {
		return 0, err
	}
	return 3600 * flow / volume, nil
}

// VentLoss is the sensible heat that an air flow carries out, W:
// Q = ρcp·flow·(Ti − Te), ρcp 1200 J/(m³K) (MacKay 2008). Flow in m³/s.
func VentLoss(flow, inside, outside float64) (float64, error) {
	return airHeat * flow * (inside - outside), first(within("flow", flow, 0, 100, "m³/s"), celsius("inside", inside), celsius("outside", outside))
}

// SeriesArea is the effective area of two openings that air passes one after
// the other, a1·a2/√(a1² + a2²), m² (recalled). Two equal openings give a/√2.
// If either is closed the result is 0.
func SeriesArea(a1, a2 float64) (float64, error) {
	if err := first(within("a1", a1, 0, 1e4, "m²"), within("a2", a2, 0, 1e4, "m²")); err != nil {
		return 0, err
	}
	if a1 == 0 || a2 == 0 {
		return 0, nil
	}
	return a1 * a2 / math.Hypot(a1, a2), nil
}

// StackFlow is the flow that warm air drives through a low and a high opening,
// Q = Cd·A·√(2·g·h·|Ti − To|/T), m³/s, T being the warmer of the two in K. Area
// is the effective area of [SeriesArea] in m², height the distance between the
// openings' centres in m. The formula was read in "The flow induced by the stack
// effect" (encyclopaedia copy, undated). The flow rises when the inside is warmer
// and falls when it is cooler; the result is its size.
func StackFlow(area, height, inside, outside float64) (float64, error) {
	if err := first(within("area", area, 0, 1e4, "m²"), within("height", height, 0, 100, "m"), celsius("inside", inside), celsius("outside", outside)); err != nil {
		return 0, err
	}
	return dischargeCoefficient * area * math.Sqrt(2*gravity*height*relativeBuoyancy(inside, outside)), nil
}

// relativeBuoyancy is |Ti − To|/T, T the warmer in K.
func relativeBuoyancy(inside, outside float64) float64 {
	return math.Abs(inside-outside) / (math.Max(inside, outside) + kelvin)
}

// CeilingExchange is the two-way flow through one opening in a lid under which
// the air is warmer than above, m³/s: Q = 0.055·√(g·(ΔT/T)·D⁵), D the diameter of
// a circle of the opening's gross area, times the free share (Epstein 1988,
// recalled; derived for thin, small openings, so a whole mesh lid is an
// extrapolation). It is 0 when the inside is cooler: cold air lies still in a box.
func CeilingExchange(area, freeShare, inside, outside float64) (float64, error) {
	if err := first(within("area", area, 0, 1e4, "m²"), positive("free_share", freeShare, 1, ""), celsius("inside", inside), celsius("outside", outside)); err != nil {
		return 0, err
	}
	if inside <= outside {
		return 0, nil
	}
	return epstein * freeShare * math.Sqrt(gravity*relativeBuoyancy(inside, outside)*math.Pow(4*area/math.Pi, 2.5)), nil
}

// MeshFreeShare is the share of a mesh's gross area that passes air as a plain
// hole would: its open-area share (above 0 to 1) times 0.7 for the drag of fine
// mesh (recalled, low confidence).
func MeshFreeShare(open float64) (float64, error) {
	return open * fineMesh, positive("open", open, 1, "")
}

// Side names a face of the enclosure. Left is at x = 0, Right at x = length.
type Side int

// The six sides.
const (
	Front Side = iota
	Back
	Left
	Right
	Top
	Floor
)

var sideNames = [...]string{"front", "back", "left", "right", "top", "floor"}

// String returns the side's name in lower case.
func (s Side) String() string {
	if s < Front || s > Floor {
		return fmt.Sprintf("side %d", int(s))
	}
	return sideNames[s]
}

// Opening is a vent. Mesh that a [Face] declares becomes an opening by itself
// and must not be listed again.
type Opening struct {
	Side Side
	Area float64 // gross, m²; 0 is a closed vent
	// FreeShare of the area that passes air, above 0 to 1: 1 for a plain hole, [MeshFreeShare] for mesh.
	FreeShare float64
	// Low and High are the heights of its edges above the floor, m, on an upright
	// side; both 0 means the whole height. Ignored on top and floor.
	Low, High float64
	// From and To are its ends along the length, m; both 0 means the whole length. Ignored on left and right.
	From, To float64
}

func (o Opening) check(e *Enclosure) error {
	if o.Side < Front || o.Side > Floor {
		return bad("side", "must be one of front, back, left, right, top, floor")
	}
	if err := first(within("area", o.Area, 0, 100, "m²"), positive("free_share", o.FreeShare, 1, ""),
		within("low", o.Low, 0, e.Height, "m"), within("high", o.High, 0, e.Height, "m"),
		within("from", o.From, 0, e.Length, "m"), within("to", o.To, 0, e.Length, "m")); err != nil {
		return err
	}
	if o.High < o.Low {
		return bad("high", "must not be below low")
	}
	if o.To < o.From {
		return bad("to", "must not be before from")
	}
	if limit := e.area(o.Side); o.Area > limit*(1+1e-9) {
		return bad("area", "%g m² is more than the whole %s, %g m²", o.Area, o.Side, limit)
	}
	return nil
}

// extent fills in defaults: heights and positions of the opening's edges.
func (o Opening) extent(e *Enclosure) (z0, z1, x0, x1 float64) {
	z0, z1, x0, x1 = o.Low, o.High, o.From, o.To
	if z1 == 0 {
		z0, z1 = 0, e.Height
	}
	if x1 == 0 {
		x0, x1 = 0, e.Length
	}
	switch o.Side {
	case Top:
		z0, z1 = e.Height, e.Height
	case Floor:
		z0, z1 = 0, 0
	case Left:
		x0, x1 = 0, 0
	case Right:
		x0, x1 = e.Length, e.Length
	}
	return z0, z1, x0, x1
}

// headFlow is the flow, per unit of free area and of √(2g·ΔT/T), through the part
// of an opening [a, b] that lies above (up) and below (down) the neutral height z:
// the mean of √|h − z| over the opening, in m^½.
func headFlow(a, b, z float64) (up, down float64) {
	if b-a < 1e-9 {
		if a > z {
			return math.Sqrt(a - z), 0
		}
		return 0, math.Sqrt(z - a)
	}
	p := func(h float64) float64 { h = math.Max(h, 0); return 2.0 / 3 * h * math.Sqrt(h) }
	return (p(b-z) - p(a-z)) / (b - a), (p(z-a) - p(z-b)) / (b - a)
}

// neutralHeight finds the height at which inside and room pressure are equal:
// as much air leaves above it as enters below. It depends on geometry only.
// The second result is the flow per √(2g·ΔT/T), with the discharge coefficient.
func neutralHeight(e *Enclosure, openings []Opening) (z, flow float64) {
	lo, hi := 0.0, e.Height
	for range 60 {
		z = (lo + hi) / 2
		var up, down float64
		for _, o := range openings {
			a, b, _, _ := o.extent(e)
			u, d := headFlow(a, b, z)
			up += o.Area * o.FreeShare * u
			down += o.Area * o.FreeShare * d
		}
		flow = dischargeCoefficient * math.Min(up, down)
		if math.Abs(up-down) <= 1e-12*(up+down) {
			break
		}
		if up > down {
			lo = z
		} else {
			hi = z
		}
	}
	return z, flow
}
