// Package ground computes what the fill of an enclosure weighs, how it carries
// heat, and what it presses on: volume and mass dry, moist and saturated; the
// thermal resistance and daily damping of soil; the load on floor, stand and
// shelf; the pressure of soil and of water on a front panel, and the glass for it.
//
// Everything is a pure function of its arguments. Units inside are SI: m, kg, Pa,
// N, °C, s; angles in degrees.
//
// Loads and glass are first estimates by published constants. Whether a floor, a
// stand or a pane is safe is for a structural engineer or glazier to say; see [Cautions].
package ground

import "fmt"

const (
	gravity      = 9.80665 // standard gravity, m/s², exact
	waterDensity = 1000.0  // kg/m³
)

// InputError says which input is not physical and why.
type InputError struct{ Field, Reason string }

// Error writes the field and the reason.
func (e *InputError) Error() string { return e.Field + " " + e.Reason }

func bad(field, format string, args ...any) error {
	return &InputError{field, fmt.Sprintf(format, args...)}
}

// between checks lo <= x <= hi; NaN fails.
func between(field string, x, lo, hi float64, unit string) error {
	if x >= lo && x <= hi {
		return nil
	}
	return bad(field, "must be from %g to %g %s, not %g", lo, hi, unit, x)
}

// positive checks 0 < x <= hi; NaN fails.
func positive(field string, x, hi float64, unit string) error {
	if x > 0 && x <= hi {
		return nil
	}
	return bad(field, "must be above 0 and at most %g %s, not %g", hi, unit, x)
}

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

func (i Interval) scale(f float64) Interval { return Interval{i.Low * f, i.Typical * f, i.High * f} }

func (i Interval) add(j Interval) Interval {
	return Interval{i.Low + j.Low, i.Typical + j.Typical, i.High + j.High}
}

func (i Interval) check(field string, lo, hi float64, unit string) error {
	if err := first(between(field, i.Low, lo, hi, unit), between(field, i.Typical, lo, hi, unit), between(field, i.High, lo, hi, unit)); err != nil {
		return err
	}
	if i.Low > i.Typical || i.Typical > i.High {
		return bad(field, "must be in order low, typical, high")
	}
	return nil
}

// Reference says where a tabulated figure comes from. Year 0 means that the
// publication bears no date. Access is "read", "read-through" (in a copy or a
// page that quotes it) or "recalled".
type Reference struct {
	Title, Publisher string
	Year             int
	Access           string
}

// Cautions lists what must be said beside any answer of this package.
func Cautions() []string {
	return []string{
		"Loads and glass thicknesses are estimates; a floor, a stand or a pane that people or animals depend on is a structural engineer's or glazier's decision, under the local building code.",
		"A floor's rated load is an average over a room: a small heavy footprint may be safe over a wall and unsafe between joists.",
		"Glass edges must be ground, every edge of a loaded pane supported, and a loaded pane never drilled or cut after toughening.",
		"Stones stand on the enclosure's floor, not on substrate that an animal can dig away.",
	}
}

func square(x float64) float64 { return x * x }
