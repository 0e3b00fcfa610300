// Package quantity holds the typed lengths, temperatures, powers and so on that
// cross the program's edges, and is the only home of unit conversion. A typed
// quantity is a float64 in one fixed unit (metres, °C, watts …), so that a
// figure in inches or °F can't be taken for one in centimetres or °C.
//
// On the wire a quantity is always an object that says its unit:
// {"value": 120, "unit": "cm"}; a range is {"low": 38, "high": 42, "unit": "°C"}.
package quantity

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// System selects the units in which answers are written.
type System int

// The two unit systems an answer can be written in.
const (
	Metric System = iota
	Imperial
)

// ParseSystem reads "metric" or "imperial"; the empty string is metric.
func ParseSystem(s string) (System, error) {
	switch s {
	case "", "metric":
		return Metric, nil
	case "imperial":
		return Imperial, nil
	}
	return Metric, fmt.Errorf("units must be metric or imperial, not %q", s)
}

// String returns "metric" or "imperial".
func (s System) String() string {
	if s == Imperial {
		return "imperial"
	}
	return "metric"
}

// dimension groups the units that convert into each other.
type dimension int

const (
	length dimension = iota
	area
	volume
	mass
	temperature
	power
	share
	duration
	uvIndex
)

var dimensionNames = [...]string{"length", "area", "volume", "mass", "temperature", "power", "share", "duration", "UV index"}

// unit is one unit of a dimension: base = value·scale + offset.
type unit struct {
	symbol        string
	also          []string // other spellings accepted on input
	dim           dimension
	scale, offset float64
	decimals      int // digits after the point when an answer is written
}

// The base unit of each dimension has scale 1. Scales of customary units are
// exact by definition (international yard and pound; US liquid gallon = 231 in³).
var units = []unit{
	{"m", nil, length, 1, 0, 3},
	{"cm", nil, length, 0.01, 0, 1},
	{"mm", nil, length, 0.001, 0, 0},
	{"in", []string{"inch", "inches", "\"", "″"}, length, 0.0254, 0, 2},
	{"ft", []string{"foot", "feet", "'", "′"}, length, 0.3048, 0, 2},
	{"m²", []string{"m2"}, area, 1, 0, 3},
	{"cm²", []string{"cm2"}, area, 1e-4, 0, 0},
	{"ft²", []string{"ft2", "sq ft"}, area, 0.09290304, 0, 2},
	{"in²", []string{"in2", "sq in"}, area, 0.00064516, 0, 0},
	{"m³", []string{"m3"}, volume, 1, 0, 3},
	{"L", []string{"l", "litre", "litres", "liter", "liters"}, volume, 1e-3, 0, 1},
	{"mL", []string{"ml"}, volume, 1e-6, 0, 0},
	{"gal", []string{"gallon", "gallons", "US gal"}, volume, 0.003785411784, 0, 1},
	{"kg", nil, mass, 1, 0, 2},
	{"g", nil, mass, 1e-3, 0, 1},
	{"lb", []string{"lbs"}, mass, 0.45359237, 0, 2},
	{"oz", nil, mass, 0.028349523125, 0, 1},
	{"°C", []string{"C", "degC", "℃"}, temperature, 1, 0, 1},
	{"°F", []string{"F", "degF", "℉"}, temperature, 5.0 / 9, -32 * 5.0 / 9, 1},
	{"W", []string{"watt", "watts"}, power, 1, 0, 0},
	{"fraction", nil, share, 1, 0, 3},
	{"%", []string{"percent"}, share, 0.01, 0, 0},
	{"h", []string{"hours", "hour"}, duration, 1, 0, 1},
	{"min", []string{"minutes"}, duration, 1.0 / 60, 0, 0},
	{"weeks", []string{"week"}, duration, 168, 0, 0},
	{"months", []string{"month"}, duration, 730.5, 0, 0},
	{"UVI", nil, uvIndex, 1, 0, 1},
}

// customary names the unit in which each metric unit is written in an imperial answer.
var customary = map[string]string{
	"m": "ft", "cm": "in", "mm": "in", "m²": "ft²", "cm²": "in²",
	"m³": "gal", "L": "gal", "mL": "gal", "kg": "lb", "g": "oz", "°C": "°F",
}

// bySymbol finds a unit by any of its spellings.
var bySymbol = func() map[string]*unit {
	out := map[string]*unit{}
	for i := range units {
		for _, symbol := range append([]string{units[i].symbol}, units[i].also...) {
			out[symbol] = &units[i]
		}
	}
	return out
}()

func lookUp(symbol string) (*unit, bool) {
	u, ok := bySymbol[symbol]
	return u, ok
}

func symbolsOf(d dimension) string {
	var out []string
	for _, u := range units {
		if u.dim == d {
			out = append(out, u.symbol)
		}
	}
	return strings.Join(out, ", ")
}

// toBase converts a value to the base unit of its dimension. The error lists the units accepted.
func toBase(value float64, symbol string, want dimension) (float64, error) {
	if math.IsNaN(value) || math.IsInf(value, 0) {
		return 0, fmt.Errorf("value must be a finite number")
	}
	u, ok := lookUp(symbol)
	if symbol == "" {
		return 0, fmt.Errorf("unit is missing; a %s takes one of: %s", dimensionNames[want], symbolsOf(want))
	}
	if !ok || u.dim != want {
		return 0, fmt.Errorf("unit %q is not one of a %s; use one of: %s", symbol, dimensionNames[want], symbolsOf(want))
	}
	return value*u.scale + u.offset, nil
}

// fromBase converts a base value into the unit named, which must exist.
func fromBase(base float64, symbol string) float64 {
	u, _ := lookUp(symbol)
	return (base - u.offset) / u.scale
}

// Value is a number with its unit, as written on the wire.
type Value struct {
	Number float64
	Unit   string
}

// In returns the value in the system asked for, rounded to the digits that its unit is written with.
func (v Value) In(s System) Value {
	u, ok := lookUp(v.Unit)
	if !ok {
		return v
	}
	if c, has := customary[u.symbol]; has && s == Imperial {
		base := v.Number*u.scale + u.offset
		u, _ = lookUp(c)
		v = Value{(base - u.offset) / u.scale, u.symbol}
	}
	return Value{round(v.Number, u.decimals), u.symbol}
}

// String writes the value with its unit, such as "120 cm".
func (v Value) String() string { return number(v.Number) + " " + v.Unit }

func round(x float64, decimals int) float64 {
	p := math.Pow10(decimals)
	r := math.Round(x*p) / p
	if r == 0 {
		return 0 // never "-0"
	}
	return r
}

func number(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }

// split reads "48 in", "48in", "1.2m" or "1,2 m" into number and unit symbol.
func split(s string) (float64, string, error) {
	s = strings.TrimSpace(s)
	end := strings.IndexFunc(s, func(r rune) bool { return !strings.ContainsRune("+-0123456789.,", r) })
	if end < 0 {
		end = len(s)
	}
	n, err := strconv.ParseFloat(strings.Replace(s[:end], ",", ".", 1), 64)
	if err != nil {
		return 0, "", fmt.Errorf("%q does not begin with a number", s)
	}
	return n, strings.TrimSpace(s[end:]), nil
}

func parse(s string, d dimension) (float64, error) {
	n, symbol, err := split(s)
	if err != nil {
		return 0, err
	}
	return toBase(n, symbol, d)
}
