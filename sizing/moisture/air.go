// Package moisture computes moist air and the water an enclosure takes: vapour
// pressure, dew point and wet bulb; the water to add per hour to hold a
// humidity, and fogging or misting times from it; evaporation from open water;
// condensation on cold faces; and how fast a drainage layer fills.
//
// Temperatures are °C, pressures Pa, humidity a fraction from 0 to 1, humidity
// ratios kg of vapour per kg of dry air, water kg (a kilogram of water is taken
// as a litre). Nothing here knows a species.
//
// One formulation of saturation serves throughout: Hyland and Wexler (1983)
// over liquid water, as in the ASHRAE handbooks. Moist air is a perfect gas:
// error in humidity ratio, enthalpy and volume below 0.7 % (ASHRAE Fundamentals
// 2017 ch. 1).
package moisture

import (
	"fmt"
	"math"
)

// InputError reports a value that is not physical or lies outside what the
// formulas hold for. Field is the name of the input in snake_case.
type InputError struct {
	Field, Reason string
}

func (e *InputError) Error() string { return e.Field + " " + e.Reason }

// UnreachableError reports a humidity that can't be had, why, and the nearest
// that can.
type UnreachableError struct {
	Reason          string
	NearestHumidity float64 // 0..1
}

func (e *UnreachableError) Error() string {
	return fmt.Sprintf("%s; nearest reachable: %.0f %% relative humidity", e.Reason, 100*e.NearestHumidity)
}

// between gives an InputError unless low <= x <= high. NaN fails.
func between(field string, x, low, high float64) error {
	if x >= low && x <= high {
		return nil
	}
	return &InputError{field, fmt.Sprintf("must be from %g to %g, not %g", low, high, x)}
}

// positive gives an InputError unless 0 < x <= high. NaN fails.
func positive(field string, x, high float64) error {
	if x > 0 && x <= high {
		return nil
	}
	return &InputError{field, fmt.Sprintf("must be above 0 and at most %g, not %g", high, x)}
}

// first returns the first error that is not nil.
func first(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

const (
	// SeaLevelPa is the standard pressure at sea level.
	SeaLevelPa = 101325.0
	// MinC and MaxC bound the temperatures of air, water and surfaces.
	MinC, MaxC = 0.0, 60.0
	// MinDewPointC is the lowest dew point given; drier air gives this.
	MinDewPointC = -40.0

	kelvin      = 273.15
	ratioOfMass = 0.621945 // molar mass of water over dry air (ASHRAE Fundamentals 2017)
	gasDryAir   = 287.042  // J/(kg K), ASHRAE Fundamentals 2017
	gasVapour   = 461.52   // J/(kg K), ASHRAE Fundamentals 2001 ch. 6
	solveTolC   = 1e-7     // how finely temperatures are solved, K
)

// SaturationPressure is the vapour pressure over liquid water at t °C, Pa:
//
//	ln p = C8/T + C9 + C10 T + C11 T² + C12 T³ + C13 ln T, T in K
//
// Hyland and Wexler, 1983, coefficients as printed in an instrument maker's
// manual. Made for 0 to 200 °C; from −40 to 0 °C it is carried on over
// supercooled water, within 0.1 % of Sonntag (1994). t is not checked.
func SaturationPressure(t float64) float64 {
	k := t + kelvin
	return math.Exp(-5800.2206/k + 1.3914993 + k*(-0.048640239+k*(0.000041764768-k*0.000000014452093)) + 6.5459673*math.Log(k))
}

// DewPoint is the temperature in °C at which air of vapour pressure pv (Pa)
// saturates, over liquid water, solved to 1e-7 K between MinDewPointC and
// 100 °C; pressures beyond give the end of that span.
func DewPoint(pv float64) float64 {
	return bisect(MinDewPointC, 100, solveTolC, func(t float64) bool { return SaturationPressure(t) < pv })
}

// bisect narrows [low, high] to tol, where below holds up to the answer, and
// returns the middle. An answer outside gives the end that is nearer.
func bisect(low, high, tol float64, below func(float64) bool) float64 {
	if !below(low) {
		return low
	}
	if below(high) {
		return high
	}
	for high-low > tol {
		mid := low + (high-low)/2
		if mid == low || mid == high {
			break
		}
		if below(mid) {
			low = mid
		} else {
			high = mid
		}
	}
	return low + (high-low)/2
}

// HumidityRatio is W = 0.621945 pv / (p − pv), kg/kg, at vapour pressure pv and
// total pressure p in Pa, pv below p.
func HumidityRatio(pv, p float64) float64 { return ratioOfMass * pv / (p - pv) }

// VapourPressure is the inverse of HumidityRatio: Pa from w kg/kg at p Pa.
func VapourPressure(w, p float64) float64 { return p * w / (ratioOfMass + w) }

// VapourDensity is the mass of vapour in a cubic metre, kg/m³, at vapour
// pressure pv (Pa) and t °C.
func VapourDensity(pv, t float64) float64 { return pv / (gasVapour * (t + kelvin)) }

// Enthalpy is h = 1006 t + W (2 501 000 + 1860 t), J per kg of dry air.
func Enthalpy(t, w float64) float64 { return 1006*t + w*(2501000+1860*t) }

// SpecificVolume is v = 287.042 T (1 + 1.607858 W) / p, m³ per kg of dry air.
func SpecificVolume(t, w, p float64) float64 {
	return gasDryAir * (t + kelvin) * (1 + 1.607858*w) / p
}

// Density is that of the moist air, kg/m³.
func Density(t, w, p float64) float64 { return (1 + w) / SpecificVolume(t, w, p) }

// LatentHeat is the heat that evaporates a kilogram of water at t °C, J/kg:
// 2 501 000 − 2326 t, the form inside the wet bulb equation.
func LatentHeat(t float64) float64 { return 2501000 - 2326*t }

// LatentPower is the heat in W drawn by evaporating kgPerHour at a latent heat in J/kg.
func LatentPower(kgPerHour, latentHeat float64) float64 { return kgPerHour * latentHeat / 3600 }

// RatioFromWetBulb is the humidity ratio of air at t °C whose wet bulb reads tw
// at p Pa (ASHRAE Fundamentals 2017 ch. 1, above freezing; below 0 °C the wick
// is taken as still liquid):
//
//	W = ((2501 − 2.326 tw) Ws(tw) − 1.006 (t − tw)) / (2501 + 1.86 t − 4.186 tw)
//
// It is negative where no air could read so.
func RatioFromWetBulb(t, tw, p float64) float64 {
	ws := HumidityRatio(SaturationPressure(tw), p)
	return ((2501-2.326*tw)*ws - 1.006*(t-tw)) / (2501 + 1.86*t - 4.186*tw)
}

// PressureAtAltitude is the standard atmosphere, p = 101325 (1 − 2.25577e-5 z)^5.2559,
// in Pa at z metres, −500 to 5000.
func PressureAtAltitude(z float64) (float64, error) {
	if err := between("altitude_m", z, -500, 5000); err != nil {
		return 0, err
	}
	return SeaLevelPa * math.Pow(1-2.25577e-5*z, 5.2559), nil
}

// Air is a state of moist air: 0 to 60 °C, relative humidity 0..1 over liquid
// water, pressure 50 000 to 110 000 Pa.
type Air struct {
	TemperatureC, Humidity, PressurePa float64
}

// Check reports the first value out of range, as an *InputError.
func (a Air) Check() error {
	return first(
		between("temperature_c", a.TemperatureC, MinC, MaxC),
		between("humidity", a.Humidity, 0, 1),
		between("pressure_pa", a.PressurePa, 50000, 110000))
}

// vapourPressure of air that was checked, Pa.
func (a Air) vapourPressure() float64 { return a.Humidity * SaturationPressure(a.TemperatureC) }

// State is what follows from an Air.
type State struct {
	SaturationPa, VapourPa float64 // vapour pressure at saturation and as it is
	DeficitPa              float64 // their difference: how hard the air dries
	HumidityRatio          float64 // kg/kg
	DewPointC, WetBulbC    float64 // MinDewPointC where the dew point lies lower
	VapourDensity          float64 // kg/m³
	Density                float64 // kg/m³
	SpecificVolume         float64 // m³ per kg of dry air
	Enthalpy               float64 // J per kg of dry air
}

// Describe gives the state of air. The dew point and wet bulb are solved to
// 1e-7 K. Errors are *InputError.
func Describe(a Air) (State, error) {
	if err := a.Check(); err != nil {
		return State{}, err
	}
	t, p, pv := a.TemperatureC, a.PressurePa, a.vapourPressure()
	w := HumidityRatio(pv, p)
	s := State{
		SaturationPa: SaturationPressure(t), VapourPa: pv, HumidityRatio: w,
		DewPointC: math.Min(DewPoint(pv), t), VapourDensity: VapourDensity(pv, t),
		Density: Density(t, w, p), SpecificVolume: SpecificVolume(t, w, p), Enthalpy: Enthalpy(t, w),
	}
	s.DeficitPa = s.SaturationPa - pv
	s.WetBulbC = bisect(MinDewPointC, t, solveTolC, func(tw float64) bool { return RatioFromWetBulb(t, tw, p) < w })
	return s, nil
}

// FromWetBulb gives the air whose dry bulb reads t and whose wet bulb reads tw,
// both °C, at p Pa. A wet bulb above the dry one, or lower than bone-dry air
// could give, is an *InputError.
func FromWetBulb(t, tw, p float64) (Air, error) {
	if err := first(Air{t, 0, p}.Check(), between("wet_bulb_c", tw, MinDewPointC, t)); err != nil {
		return Air{}, err
	}
	w := RatioFromWetBulb(t, tw, p)
	if w < 0 {
		return Air{}, &InputError{"wet_bulb_c", fmt.Sprintf("of %g is lower than dry air of %g °C could give", tw, t)}
	}
	return Air{t, math.Min(1, VapourPressure(w, p)/SaturationPressure(t)), p}, nil
}
