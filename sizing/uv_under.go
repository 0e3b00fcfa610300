package sizing

import (
	"denwright/care/quantity"
	"denwright/sizing/light"
)

// UVUnder is the UV index on a level back straight below a lamp's middle, at a distance
// from its face of 1 cm to 10 m: what the answer's figures lie on, for a curve. The lamp
// must bear a reading; the error is an input out of range.
func UVUnder(l *ClimateUVLamp, distance quantity.Length) (quantity.UVIndex, error) {
	if l.Reading == nil {
		return 0, &light.InputError{Field: "reading", Reason: "is missing"}
	}
	lamp := lightLamp(l, new(Basis))
	if err := lamp.Check(); err != nil {
		return 0, err
	}
	uvi, err := lamp.UVI(light.Spot{BelowM: float64(distance)}, light.Flat)
	return quantity.UVIndex(uvi), err
}
