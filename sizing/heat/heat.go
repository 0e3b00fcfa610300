// Package heat computes the steady heat balance of an enclosure that stands in
// a room: what its walls and vents lose, how warm the air is along its length
// and height, how hot a surface under a lamp becomes, and, turned round, the
// watts that each source must give (or the watts of cooling) to meet targets.
//
// Everything is a pure function of its arguments. Units inside are SI: lengths
// in m, temperatures in °C, power in W, flow in m³/s, resistance in m²K/W.
//
// The model is a grid of well-stirred air cells: an odd number of zones along
// the length and one or more layers in height. Each cell loses heat to the room
// through the faces it touches, exchanges heat with its neighbours, and is
// crossed by the air that the vents pass. The exchange between cells is not
// known from first principles in a furnished box, so it is an [Interval]: a
// wide stated default, or a value fitted to thermometer readings by [Calibrate].
//
// These are estimates for planning. They do not replace a thermometer in the
// finished enclosure; see [Cautions] and [Practices].
package heat

import (
	"fmt"
	"math"
)

const (
	sigma   = 5.670374419e-8 // Stefan-Boltzmann constant, W/(m²K⁴), exact (SI)
	gravity = 9.80665        // standard gravity, m/s², exact
	kelvin  = 273.15         // 0 °C in K, exact

	// airHeat is the volumetric heat capacity of room air, J/(m³K). Source:
	// MacKay, Sustainable Energy - without the hot air, appendix E, UIT Cambridge 2008.
	// It holds near sea level; at altitude the true loss is less by p/101325 Pa.
	airHeat = 1200.0
)

// InputError says which input is not physical and why. Field is a path in the
// request's own names, such as "faces.front.layers[0].conductivity".
type InputError struct{ Field, Reason string }

// Error writes the field and the reason.
func (e *InputError) Error() string { return e.Field + " " + e.Reason }

func bad(field, format string, args ...any) error {
	return &InputError{field, fmt.Sprintf(format, args...)}
}

func finite(field string, x float64) error {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return bad(field, "must be a finite number")
	}
	return nil
}

// within checks lo <= x <= hi and names the unit in the message.
func within(field string, x, lo, hi float64, unit string) error {
	if err := finite(field, x); err != nil {
		return err
	}
	if x < lo || x > hi {
		return bad(field, "must be from %g to %g %s, not %g", lo, hi, unit, x)
	}
	return nil
}

// positive checks 0 < x <= hi.
func positive(field string, x, hi float64, unit string) error {
	if err := finite(field, x); err != nil {
		return err
	}
	if x <= 0 || x > hi {
		return bad(field, "must be above 0 and at most %g %s, not %g", hi, unit, x)
	}
	return nil
}

func celsius(field string, t float64) error { return within(field, t, -60, 150, "°C") }

// first returns the first error that is not nil.
func first(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// Interval is a quantity known as a range with a typical value inside it.
type Interval struct{ Low, Typical, High float64 }

// Exactly returns the interval of zero width at x.
func Exactly(x float64) Interval { return Interval{x, x, x} }

// level picks one of an interval's three values.
type level int

const (
	typical level = iota
	low
	high
)

func (i Interval) at(l level) float64 {
	switch l {
	case low:
		return i.Low
	case high:
		return i.High
	}
	return i.Typical
}

// opposite is the level at which a loss is taken when a gain is taken at l.
func (l level) opposite() level {
	switch l {
	case low:
		return high
	case high:
		return low
	}
	return typical
}

func (i Interval) check(field string, lo, hi float64, unit string) error {
	if err := first(within(field, i.Low, lo, hi, unit), within(field, i.Typical, lo, hi, unit), within(field, i.High, lo, hi, unit)); err != nil {
		return err
	}
	if i.Low > i.Typical || i.Typical > i.High {
		return bad(field, "must be in order low, typical, high")
	}
	return nil
}

// include widens the interval to hold x; the typical value stays.
func (i *Interval) include(x float64) {
	i.Low, i.High = math.Min(i.Low, x), math.Max(i.High, x)
}

// Reference says where a tabulated figure comes from. Year 0 means that the
// publication bears no date. Access is "read", "read-through" (in a copy or a
// page that quotes it), "recalled", or "common practice, no source".
type Reference struct {
	Title, Publisher string
	Year             int
	Access           string
}

func recalled(title, publisher string, year int) Reference {
	return Reference{title, publisher, year, "recalled"}
}

func practice(what string) Reference {
	return Reference{Title: what, Access: "common practice, no source"}
}

// Practice is a rule of the trade that goes with the computed answer.
type Practice struct {
	Text   string
	Access string // always "common practice, no source"
}

// Practices lists the rules of the trade on heating that no publication was found for.
func Practices() []Practice {
	const access = "common practice, no source"
	return []Practice{
		{"A heat mat's thermostat is set at the lowest temperature wanted, with the probe above the mat.", access},
		{"Temperatures are read after the first running day, and lamps are moved then.", access},
	}
}

// Cautions lists what must be said beside any answer of this package.
func Cautions() []string {
	return []string{
		"Every heater needs a thermostat and a guard that keeps the animal from touching it; animals may stay on a surface that burns them.",
		"Keep hot parts clear of wood, plastic and bedding, fix every lamp in two independent ways, and observe the least distance marked on the lamp.",
		"Mains near water needs a residual-current device, fittings rated for spray, and drip loops; local wiring rules and a licensed electrician decide.",
		"A computed temperature is an estimate: measure before an animal moves in, and ask a vet if an animal seems too hot or too cold.",
	}
}
