package quantity

// Length is in metres.
type Length float64

// Area is in square metres.
type Area float64

// Volume is in cubic metres.
type Volume float64

// Mass is in kilograms.
type Mass float64

// Temperature is in °C. It is a point on the scale, not a difference.
type Temperature float64

// Power is in watts.
type Power float64

// Fraction is a share of one: relative humidity 0.6 is written as 60 %.
type Fraction float64

// Hours is a duration in hours.
type Hours float64

// UVIndex is the global solar UV index (dimensionless; 1 = 25 mW/m² erythemal; unit written "UVI").
type UVIndex float64

// Centimetres returns a Length from centimetres.
func Centimetres(cm float64) Length { return Length(cm / 100) }

// Litres returns a Volume from litres.
func Litres(l float64) Volume { return Volume(l / 1000) }

// Percent returns a Fraction from percent.
func Percent(p float64) Fraction { return Fraction(p / 100) }

// Centimetres gives the length in centimetres.
func (l Length) Centimetres() float64 { return float64(l) * 100 }

// Litres gives the volume in litres.
func (v Volume) Litres() float64 { return float64(v) * 1000 }

// Value gives the length in cm, to be written in either system.
func (l Length) Value() Value { return Value{fromBase(float64(l), "cm"), "cm"} }

// Value gives the area in m².
func (a Area) Value() Value { return Value{float64(a), "m²"} }

// Value gives the volume in litres.
func (v Volume) Value() Value { return Value{fromBase(float64(v), "L"), "L"} }

// Value gives the mass in kilograms.
func (m Mass) Value() Value { return Value{float64(m), "kg"} }

// Value gives the temperature in °C.
func (t Temperature) Value() Value { return Value{float64(t), "°C"} }

// Value gives the power in watts.
func (p Power) Value() Value { return Value{float64(p), "W"} }

// Value gives the fraction in percent.
func (f Fraction) Value() Value { return Value{fromBase(float64(f), "%"), "%"} }

// Value gives the duration in hours.
func (h Hours) Value() Value { return Value{float64(h), "h"} }

// Value gives the UV index.
func (u UVIndex) Value() Value { return Value{float64(u), "UVI"} }

// ParseLength reads text such as "120 cm" or "48in"; the error lists the units accepted.
func ParseLength(s string) (Length, error) { x, err := parse(s, length); return Length(x), err }

// ParseVolume reads text such as "200 L" or "50 gal".
func ParseVolume(s string) (Volume, error) { x, err := parse(s, volume); return Volume(x), err }

// ParseTemperature reads text such as "40 °C" or "104F".
func ParseTemperature(s string) (Temperature, error) {
	x, err := parse(s, temperature)
	return Temperature(x), err
}

// ParsePower reads text such as "100 W".
func ParsePower(s string) (Power, error) { x, err := parse(s, power); return Power(x), err }

// ParseFraction reads text such as "60 %".
func ParseFraction(s string) (Fraction, error) { x, err := parse(s, share); return Fraction(x), err }

// ParseUVIndex reads text such as "3 UVI"; the unit may be left out.
func ParseUVIndex(s string) (UVIndex, error) {
	n, symbol, err := split(s)
	if err != nil {
		return 0, err
	}
	if symbol == "" {
		symbol = "UVI"
	}
	x, err := toBase(n, symbol, uvIndex)
	return UVIndex(x), err
}

// Months gives the duration in months of 730.5 hours.
func (h Hours) Months() float64 { return float64(h) / 730.5 }

// Grams gives the mass in grams.
func (m Mass) Grams() float64 { return float64(m) * 1000 }
