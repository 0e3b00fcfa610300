package heat

import (
	"fmt"
	"math"
)

// RadiativeCoefficient is the linearised long-wave coefficient hr = 4·ε·σ·T³,
// W/(m²K), at a mean temperature in °C; emissivity from 0 to 1 (ISO 6946 annex).
func RadiativeCoefficient(emissivity, meanTemperature float64) (float64, error) {
	if !(emissivity >= 0 && emissivity <= 1) || !(meanTemperature >= -60 && meanTemperature <= 1000) {
		return 0, first(within("emissivity", emissivity, 0, 1, ""), within("mean_temperature", meanTemperature, -60, 1000, "°C"))
	}
	t := meanTemperature + kelvin
	return 4 * emissivity * sigma * t * t * t, nil
}

// NetRadiation is the long-wave heat q = ε·σ·(T1⁴ − T2⁴) that a surface at hot °C
// gives to surroundings at cold °C, W/m² (Stefan-Boltzmann; view factor 1).
func NetRadiation(emissivity, hot, cold float64) (float64, error) {
	return emissivity * sigma * (math.Pow(hot+kelvin, 4) - math.Pow(cold+kelvin, 4)), first(within("emissivity", emissivity, 0, 1, ""),
		within("hot", hot, -60, 1500, "°C"), within("cold", cold, -60, 1500, "°C"))
}

// BeamArea is the area that a cone of the half-angle (degrees, above 0 to 80)
// lights at a distance in m, m². Nearer than about five lamp-face widths the
// cone is a poor picture: measure there.
func BeamArea(distance, halfAngle float64) (float64, error) {
	if err := first(positive("distance", distance, 20, "m"), positive("half_angle", halfAngle, 80, "degrees")); err != nil {
		return 0, err
	}
	r := distance * math.Tan(halfAngle*math.Pi/180)
	return math.Pi * r * r, nil
}

// BeamIrradiance is the mean irradiance over a lit area, E = P·f/A, W/m²: watts,
// the share f of them that arrives as radiation in the beam (0 to 1), and the area in m².
func BeamIrradiance(watts, share, area float64) (float64, error) {
	if err := first(within("watts", watts, 0, 1e5, "W"), within("share", share, 0, 1, ""), positive("area", area, 1e4, "m²")); err != nil {
		return 0, err
	}
	return watts * share / area, nil
}

// Spot describes a lit surface for [SurfaceTemperature].
type Spot struct {
	Irradiance   float64 // W/m², 0 or more
	Absorptivity float64 // of the lamp's radiation, 0 to 1
	Emissivity   float64 // long wave, 0 to 1
	Convection   float64 // W/(m²K) to the air
	Conduction   float64 // W/(m²K) to what lies below, small
	Air          float64 // °C beside the surface
	Surroundings float64 // °C, mean temperature of the faces that it sees
	Below        float64 // °C of what lies below
}

// SurfaceTemperature balances a surface under a lamp, °C:
//
//	α·E = hc·(Ts − Ta) + hr·(Ts − Tr) + g·(Ts − Tb)
//
// with hr = ε·σ·(Ts² + Tr²)(Ts + Tr), iterated, so that the linearised radiation
// term is exact at the answer. At least one loss coefficient must be above 0.
func SurfaceTemperature(s Spot) (float64, error) {
	if err := first(within("irradiance", s.Irradiance, 0, 1e5, "W/m²"), within("absorptivity", s.Absorptivity, 0, 1, ""),
		within("emissivity", s.Emissivity, 0, 1, ""), within("convection", s.Convection, 0, 200, "W/(m²K)"),
		within("conduction", s.Conduction, 0, 200, "W/(m²K)"), celsius("air", s.Air), celsius("surroundings", s.Surroundings),
		celsius("below", s.Below)); err != nil {
		return 0, err
	}
	if s.Emissivity+s.Convection+s.Conduction <= 0 {
		return 0, bad("convection", "a lit surface must lose heat by convection, radiation or conduction")
	}
	return s.balance(), nil
}

// balance solves a checked spot. Air and surroundings may be as hot as a failed
// design makes them.
func (s Spot) balance() float64 {
	// The excess of gains over losses falls steadily with Ts, so a safeguarded
	// Newton step from the linearised answer can't leave the bracket.
	tr := s.Surroundings + kelvin
	loss := func(t float64) (f, slope float64) {
		k := t + kelvin
		f = s.Convection*(t-s.Air) + s.Conduction*(t-s.Below) + s.Emissivity*sigma*(k*k*k*k-tr*tr*tr*tr) - s.Absorptivity*s.Irradiance
		return f, s.Convection + s.Conduction + 4*s.Emissivity*sigma*k*k*k
	}
	lo := math.Min(s.Air, math.Min(s.Surroundings, s.Below))
	hi := math.Max(s.Air, math.Max(s.Surroundings, s.Below)) + 1
	for f, _ := loss(hi); f < 0; f, _ = loss(hi) {
		hi = 2*hi + 400
	}
	t := math.Max(s.Air, lo)
	for range 100 {
		f, slope := loss(t)
		if f > 0 {
			hi = math.Min(hi, t)
		} else {
			lo = math.Max(lo, t)
		}
		next := t - f/slope
		if next < lo || next > hi {
			next = (lo + hi) / 2
		}
		if math.Abs(next-t) < 1e-10 {
			return next
		}
		t = next
	}
	return t
}

// ContactLimit is the surface temperature, °C, above which a heater that can be
// touched needs a guard: 43 °C, the threshold for 8 h of contact on human skin
// (ISO 13732-1, 2006, recalled). It is not validated for reptiles and does not
// judge a basking surface, which may be meant to be hotter.
const ContactLimit = 43.0

// Kind is the sort of heat source.
type Kind int

// The kinds of source that the balance tells apart.
const (
	HalogenLamp      Kind = iota // incandescent or halogen reflector lamp
	MercuryLamp                  // mercury-vapour lamp
	MetalHalideLamp              // metal-halide lamp
	FluorescentTube              // tube or compact fluorescent
	LEDLamp                      // light-emitting diodes
	InfraredFilament             // dark emitter with a hot filament (short and medium wave)
	CeramicEmitter               // ceramic emitter, long wave
	RadiantPanel                 // flat long-wave panel under the lid
	HeatMat                      // mat under the substrate or under the floor
	WaterHeater                  // heater in the water part
	kindCount
)

// Radiator holds what is assumed of a kind of source.
type Radiator struct {
	Kind      Kind
	Name      string
	Radiant   Interval // share of the watts given off as radiation, 0 to 1; the rest warms the air
	InBeam    Interval // share of the radiation that falls inside the cone of HalfAngle
	HalfAngle float64  // degrees; 0: no beam
	Reference Reference
}

// Radiators returns the default shares by kind. Only the incandescent and the
// long-wave rows rest on a publication, and those are recalled; shares inside
// the beam are common practice without a source. Intervals are wide on purpose.
func Radiators() []Radiator {
	ies := recalled("Lighting Handbook, energy balance of incandescent lamps", "IES", 2000)
	none := practice("default share, an assumption")
	return []Radiator{
		{HalogenLamp, "halogen lamp", Interval{0.70, 0.80, 0.90}, Interval{0.40, 0.60, 0.80}, 30, ies},
		{MercuryLamp, "mercury-vapour lamp", Interval{0.50, 0.65, 0.80}, Interval{0.40, 0.60, 0.80}, 30, none},
		{MetalHalideLamp, "metal-halide lamp", Interval{0.50, 0.62, 0.75}, Interval{0.40, 0.60, 0.80}, 30, none},
		{FluorescentTube, "fluorescent tube", Interval{0.35, 0.50, 0.65}, Interval{0.30, 0.50, 0.70}, 60, none},
		{LEDLamp, "LED lamp", Interval{0.20, 0.30, 0.45}, Interval{0.50, 0.70, 0.90}, 45, none},
		{InfraredFilament, "infrared filament emitter", Interval{0.55, 0.70, 0.85}, Interval{0.35, 0.50, 0.70}, 40, none},
		{CeramicEmitter, "ceramic emitter", Interval{0.40, 0.50, 0.60}, Interval{0.30, 0.45, 0.65}, 45, ies},
		{RadiantPanel, "radiant panel", Interval{0.40, 0.50, 0.60}, Interval{0.40, 0.55, 0.75}, 55, ies},
		{HeatMat, "heat mat", Exactly(0), Exactly(0), 0, none},
		{WaterHeater, "water heater", Exactly(0), Exactly(0), 0, none},
	}
}

// radiator looks a kind up without building the table for the rest.
func radiator(k Kind) (Radiator, error) {
	if k < 0 || k >= kindCount {
		return Radiator{}, bad("kind", "unknown kind of heat source %d", int(k))
	}
	return Radiators()[k], nil
}

// String returns the kind's name.
func (k Kind) String() string {
	if k < 0 || k >= kindCount {
		return fmt.Sprintf("kind %d", int(k))
	}
	return Radiators()[k].Name
}

// Surface is what a basking place is made of.
type Surface struct {
	Absorptivity Interval // of lamp light and near infrared, 0 to 1
	Emissivity   float64  // long wave, 0 to 1
	Convection   Interval // W/(m²K)
	Conduction   float64  // W/(m²K) downward
}

// DefaultSurface is a stone or timber basking place: absorptivity 0.6 to 0.9 and
// emissivity 0.95 (recalled, textbook ranges), convection 5 W/(m²K) upward
// (ISO 6946 annex, recalled) taken from 3.5 to 8, conduction 1 W/(m²K), an assumption.
func DefaultSurface() Surface {
	return Surface{Interval{0.6, 0.8, 0.9}, 0.95, Interval{3.5, 5, 8}, 1}
}
