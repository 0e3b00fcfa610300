package moisture

import (
	"fmt"
	"math"
)

// Face is an inner surface of the enclosure: its area in m² and temperature in °C.
type Face struct {
	Name             string
	AreaM2, SurfaceC float64
}

func checkFaces(faces []Face) error {
	for i, f := range faces {
		if err := first(
			positive(fmt.Sprintf("faces[%d].area_m2", i), f.AreaM2, 100),
			between(fmt.Sprintf("faces[%d].surface_c", i), f.SurfaceC, MinC, MaxC)); err != nil {
			return err
		}
	}
	return nil
}

// deposition is how fast vapour reaches a face in still air, m/s: a convective
// coefficient of 2.5 W/m²K over 1200 J/m³K and Le^(2/3) = 0.9 (Lewis relation;
// ISO 6946 coefficient and Lewis number recalled). Good to about ±50 %.
const deposition = 2.5 / (1200 * 0.9)

// condensing is kg/h of water that forms on a face in air of vapour pressure pv
// at airC. The pressure drives it, at the mean temperature of the film, so that
// it starts exactly at the dew point.
func (f Face) condensing(pv, airC float64) float64 {
	excess := math.Max(0, pv-SaturationPressure(f.SurfaceC))
	return f.AreaM2 * deposition * 3600 * VapourDensity(excess, (airC+f.SurfaceC)/2)
}

// TemperatureFactor is f = 1 − U Rsi, the share of the inside-outside difference
// that the inner surface keeps: U the transmittance of the face in W/m²K and rsi
// its inner surface resistance in m²K/W (ISO 13788 practice). U·rsi must lie in
// 0..1.
func TemperatureFactor(u, rsi float64) (float64, error) {
	if err := first(positive("rsi_m2k_per_w", rsi, 1), between("u_w_per_m2k", u, 0, 1/rsi)); err != nil {
		return 0, err
	}
	return 1 - u*rsi, nil
}

// SurfaceTemperature is that of an inner face in °C, Tsi = Te + f (Ti − Te), from
// the air inside and outside and a TemperatureFactor.
func SurfaceTemperature(insideC, outsideC, factor float64) float64 {
	return outsideC + factor*(insideC-outsideC)
}

// SurfaceHumidity is the relative humidity of the air that touches a surface,
// RH pws(Ti)/pws(Tsi), at most 1. House walls are held under 0.8 against mould
// (ISO 13788); in a humid enclosure the panels sit above that by design, so use
// it for the room's wall behind the box and for choosing rot-proof linings.
func SurfaceHumidity(humidity, airC, surfaceC float64) float64 {
	return math.Min(1, humidity*SaturationPressure(airC)/SaturationPressure(surfaceC))
}

// FaceState is how dry a Face is.
type FaceState struct {
	Face
	MarginK   float64 // surface above the dew point of the air; negative is wet
	Wet       bool    // MarginK below 0
	Humidity  float64 // SurfaceHumidity, 0..1
	KgPerHour float64 // water that forms; an estimate, ±50 %
}

// Condensation judges faces against the air inside. Errors are *InputError.
func Condensation(air Air, faces []Face) ([]FaceState, error) {
	if err := first(air.Check(), checkFaces(faces)); err != nil {
		return nil, err
	}
	pv := air.vapourPressure()
	dew := DewPoint(pv)
	out := make([]FaceState, len(faces))
	for i, f := range faces {
		s := FaceState{Face: f, MarginK: f.SurfaceC - dew, Humidity: SurfaceHumidity(air.Humidity, air.TemperatureC, f.SurfaceC)}
		if s.MarginK < 0 {
			s.Wet, s.KgPerHour = true, f.condensing(pv, air.TemperatureC)
		}
		out[i] = s
	}
	return out, nil
}

// OpenWater is a free surface: a bowl, a pond, or the wetted share of soil and
// leaves taken as an area (a dry crust cuts that to under a tenth, recalled).
type OpenWater struct {
	AreaM2     float64 // above 0 to 1000
	WaterC     float64 // 0 to 60
	SpeedMPerS float64 // of the air over it, 0 to 5; 0.1 in an enclosure without a fan
	Air        Air
}

// Evaporation of open water, kg/h; all zero where the air is so damp that
// vapour would settle on the water instead. Published forms differ by half, so
// treat Likely as ±50 %.
type Evaporation struct {
	// RatioForm is (25 + 19 v) A (xs − x), as quoted in a discussion with a worked
	// example; its first source is disputed. It runs highest.
	RatioForm float64
	// CarrierForm is 3600 A (0.089 + 0.0782 v)(pw − pa)/Y with kPa and kJ/kg
	// (Carrier's equation; SI coefficients recalled).
	CarrierForm float64
	// Low is half the Carrier figure (a handbook's factor for undisturbed water,
	// recalled); Likely 0.74 of it (mean for undisturbed pools: ASHRAE
	// Transactions 104(1A), 1998); High the larger of the two forms.
	Low, Likely, High float64
}

// ratioForm is g = (25 + 19 v) A (xs − x) in kg/h.
func ratioForm(areaM2, speed, xs, x float64) float64 {
	return (25 + 19*speed) * areaM2 * (xs - x)
}

// Evaporate estimates the evaporation of open water. Errors are *InputError.
func Evaporate(w OpenWater) (Evaporation, error) {
	err := first(
		positive("area_m2", w.AreaM2, 1000),
		between("water_c", w.WaterC, MinC, MaxC),
		between("speed_m_per_s", w.SpeedMPerS, 0, 5),
		w.Air.Check())
	if err != nil {
		return Evaporation{}, err
	}
	pw, pa := SaturationPressure(w.WaterC), w.Air.vapourPressure()
	if pw <= pa {
		return Evaporation{}, nil
	}
	e := Evaporation{
		RatioForm:   ratioForm(w.AreaM2, w.SpeedMPerS, HumidityRatio(pw, w.Air.PressurePa), HumidityRatio(pa, w.Air.PressurePa)),
		CarrierForm: 3600 * w.AreaM2 * (0.089 + 0.0782*w.SpeedMPerS) * (pw - pa) / LatentHeat(w.WaterC),
	}
	e.Low, e.Likely, e.High = 0.5*e.CarrierForm, 0.74*e.CarrierForm, math.Max(e.RatioForm, e.CarrierForm)
	return e, nil
}

// Box is the vapour balance of an enclosure.
type Box struct {
	VolumeM3          float64 // of air, above 0 to 100
	AirChangesPerHour float64 // with the room, above 0 to 500: even a shut box leaks
	AirC              float64 // inside
	RoomC             float64
	RoomHumidity      float64 // 0..1
	// EvaporationKgPerHour comes from bowls, soil, plants and animals without
	// being asked to, 0 to 100.
	EvaporationKgPerHour float64
	// Faces that may be colder than the dew point take vapour out again.
	Faces []Face
}

// Check reports the first value out of range, as an *InputError.
func (b Box) Check() error {
	return first(
		positive("volume_m3", b.VolumeM3, 100),
		positive("air_changes_per_hour", b.AirChangesPerHour, 500),
		between("air_c", b.AirC, MinC, MaxC),
		between("room_c", b.RoomC, MinC, MaxC),
		between("room_humidity", b.RoomHumidity, 0, 1),
		between("evaporation_kg_per_hour", b.EvaporationKgPerHour, 0, 100),
		checkFaces(b.Faces))
}

func (b Box) inside(humidity float64) float64 {
	return VapourDensity(humidity*SaturationPressure(b.AirC), b.AirC)
}

func (b Box) room() float64 {
	return VapourDensity(b.RoomHumidity*SaturationPressure(b.RoomC), b.RoomC)
}

func (b Box) condensing(humidity float64) float64 {
	var sum float64
	for _, f := range b.Faces {
		sum += f.condensing(humidity*SaturationPressure(b.AirC), b.AirC)
	}
	return sum
}

// exchange is n V (ρi − ρo) in kg/h. Both streams are counted at their own
// volume, which overstates what the room's air brings in by its expansion on
// warming: 3 % of it for 10 K.
func (b Box) exchange(humidity float64) float64 {
	return b.AirChangesPerHour * b.VolumeM3 * (b.inside(humidity) - b.room())
}

// Demand is the water that holds a humidity, kg/h.
type Demand struct {
	ExchangeKgPerHour     float64 // carried off to the room
	CondensationKgPerHour float64 // taken by cold faces; an estimate, ±50 %
	ToAddKgPerHour        float64 // both, less what evaporates by itself
	LatentW               float64 // heat that evaporating ToAddKgPerHour draws from the air
	Faces                 []FaceState
}

// WaterToHold gives the water to add per hour that holds a relative humidity
// (0..1) in steady state: G = n V (ρi − ρo) + condensation − evaporation.
//
// A humidity below what the room's air and the box's own evaporation already
// give is an *UnreachableError; bad input is an *InputError.
func WaterToHold(b Box, humidity float64) (Demand, error) {
	if err := first(b.Check(), between("humidity", humidity, 0, 1)); err != nil {
		return Demand{}, err
	}
	d := Demand{ExchangeKgPerHour: b.exchange(humidity), CondensationKgPerHour: b.condensing(humidity)}
	d.ToAddKgPerHour = d.ExchangeKgPerHour + d.CondensationKgPerHour - b.EvaporationKgPerHour
	if d.ToAddKgPerHour < 0 {
		held := b.held(0)
		// Rounding alone can ask for a hair below what is there already.
		if held.Humidity > humidity+1e-9 {
			return Demand{}, &UnreachableError{"the room's air and the water inside already give more; only drier air or more air change lowers it", held.Humidity}
		}
		d.ToAddKgPerHour = 0
	}
	d.LatentW = LatentPower(d.ToAddKgPerHour, LatentHeat(b.AirC))
	var err error
	d.Faces, err = Condensation(Air{b.AirC, humidity, SeaLevelPa}, b.Faces) // dew point and density do not depend on pressure
	return d, err
}

// Held is the steady state under a supply of water.
type Held struct {
	Humidity float64 // 0..1
	// FalloutKgPerHour is what the air can't hold once it is saturated: it falls
	// as fog and wet. Zero below Humidity 1.
	FalloutKgPerHour float64
}

// HumidityHeld gives the relative humidity that adding kgPerHour (0 to 1000) of
// vapour holds. It is the inverse of WaterToHold, solved to 1e-12. Errors are
// *InputError.
func HumidityHeld(b Box, kgPerHour float64) (Held, error) {
	if err := first(b.Check(), between("kg_per_hour", kgPerHour, 0, 1000)); err != nil {
		return Held{}, err
	}
	return b.held(kgPerHour), nil
}

func (b Box) held(kgPerHour float64) Held {
	short := func(humidity float64) float64 { // supply less losses; falls with humidity
		return kgPerHour + b.EvaporationKgPerHour - b.exchange(humidity) - b.condensing(humidity)
	}
	return Held{
		Humidity:         bisect(0, 1, 1e-12, func(h float64) bool { return short(h) > 0 }),
		FalloutKgPerHour: math.Max(0, short(1)),
	}
}

// HumidityAfter gives the relative humidity some hours (0 to 8760) after
// humidity, while kgPerHour of vapour is added:
//
//	ρ(t) = ρ∞ + (ρ0 − ρ∞) exp(−n t), ρ∞ = ρroom + G/(n V)
//
// at most 1. Cold faces are left out, so where they are wet it is an upper
// bound. It shows how high a fogging session lifts the air and how long that
// lasts. Errors are *InputError.
func HumidityAfter(b Box, humidity, kgPerHour, hours float64) (float64, error) {
	if err := first(b.Check(), between("humidity", humidity, 0, 1),
		between("kg_per_hour", kgPerHour, 0, 1000), between("hours", hours, 0, 8760)); err != nil {
		return 0, err
	}
	final := b.room() + (kgPerHour+b.EvaporationKgPerHour)/(b.AirChangesPerHour*b.VolumeM3)
	rho := final + (b.inside(humidity)-final)*math.Exp(-b.AirChangesPerHour*hours)
	return math.Min(1, rho/b.inside(1)), nil
}

// FogPractice is how foggers are run in planted enclosures.
type FogPractice struct {
	SessionsPerDay          int
	MinutesLow, MinutesHigh float64 // of one session
	Basis                   string
}

// CommonFogPractice is the trade's habit: the fogger low, about three times a
// day for five to ten minutes, to lift humidity and not to fill the space.
// Common practice, no source.
func CommonFogPractice() FogPractice {
	return FogPractice{3, 5, 10, "common practice, no source"}
}

// Shares of a device's water that end as vapour while it is needed; the rest
// wets surfaces and drains. No published figure was found: assumptions, to be
// replaced by the keeper's own.
const (
	AssumedFogVapourShare  = 0.9
	AssumedMistVapourShare = 0.3
)

// Device is a fogger or a set of mist nozzles. Whatever is electric inside a
// sprayed box must be made for spray: a licensed electrician and the local code
// decide, not this package.
type Device struct {
	LitresPerMinute float64 // in all, above 0 to 10
	VapourShare     float64 // of its water that becomes vapour, above 0 to 1
	SessionsPerDay  int     // 1 to 1440; a day's running is split evenly
}

// Litres delivered in some minutes of running.
func (d Device) Litres(minutes float64) float64 { return d.LitresPerMinute * minutes }

// Running is how long a device runs, per day.
type Running struct {
	Demand            Demand
	MinutesPerDay     float64
	MinutesPerSession float64
	LitresPerDay      float64 // drawn from the tank
	RunoffLPerDay     float64 // of it, what does not become vapour
	// BeyondPractice: a session is longer than CommonFogPractice. Then lessen the
	// air change or wet the soil instead of filling the space with fog.
	BeyondPractice bool
}

// RunTime gives how long a device must run to hold a humidity for hoursPerDay
// (above 0 to 24). A device too small even when it runs throughout gives an
// *UnreachableError with the humidity it holds; bad input an *InputError.
func RunTime(b Box, humidity, hoursPerDay float64, d Device) (Running, error) {
	err := first(
		positive("hours_per_day", hoursPerDay, 24),
		positive("litres_per_minute", d.LitresPerMinute, 10),
		positive("vapour_share", d.VapourShare, 1),
		between("sessions_per_day", float64(d.SessionsPerDay), 1, 1440))
	if err != nil {
		return Running{}, err
	}
	demand, err := WaterToHold(b, humidity)
	if err != nil {
		return Running{}, err
	}
	vapour := demand.ToAddKgPerHour * hoursPerDay
	minutes := vapour / d.VapourShare / d.LitresPerMinute
	if minutes > hoursPerDay*60 {
		return Running{}, &UnreachableError{"the device is too small even if it runs all the time", b.held(d.Litres(60) * d.VapourShare).Humidity}
	}
	r := Running{Demand: demand, MinutesPerDay: minutes, MinutesPerSession: minutes / float64(d.SessionsPerDay), LitresPerDay: d.Litres(minutes)}
	r.RunoffLPerDay = r.LitresPerDay * (1 - d.VapourShare)
	r.BeyondPractice = r.MinutesPerSession > CommonFogPractice().MinutesHigh
	return r, nil
}

// Layer is a drainage layer: a flooded depth of coarse fill under the soil.
type Layer struct {
	LengthM, WidthM, DepthM float64 // above 0 to 20, 20 and 2 m
	PoreShare               float64 // of its volume that water can fill, above 0 to below 1; 0.40 to 0.50 (recalled)
}

// Inflow is the water that reaches the floor and leaves it, L per day.
type Inflow struct {
	RunoffLPerDay   float64 // from misting and fogging: Running.RunoffLPerDay
	WateringLPerDay float64
	UptakeLPerDay   float64 // evaporated from the soil and taken up by plants
	SoilFreeL       float64 // what the soil takes up first, before it drains
	StandingL       float64 // already in the layer
}

// Drainage is what a Layer holds and when it is full.
type Drainage struct {
	CapacityL     float64 // water in the flooded layer
	InflowLPerDay float64 // net; negative while the floor dries
	Fills         bool    // whether it fills at all
	DaysUntilFull float64 // 0 if it is full now; 0 and of no meaning unless Fills
}

// Drain gives the days until a layer is full. Then it must be drawn off, or the
// soil stands in water. Errors are *InputError.
func Drain(l Layer, in Inflow) (Drainage, error) {
	err := first(
		positive("length_m", l.LengthM, 20), positive("width_m", l.WidthM, 20), positive("depth_m", l.DepthM, 2),
		checkFloor(l.PoreShare, in))
	if err != nil {
		return Drainage{}, err
	}
	d := Drainage{CapacityL: 1000 * l.LengthM * l.WidthM * l.DepthM * l.PoreShare, InflowLPerDay: in.net()}
	if in.StandingL >= d.CapacityL {
		d.Fills = true
		return d, nil
	}
	// A net inflow that is only rounding would give days without meaning, so a
	// century stands for never.
	const never = 36525.0
	if days := (in.SoilFreeL + d.CapacityL - in.StandingL) / d.InflowLPerDay; d.InflowLPerDay > 0 && days < never {
		d.Fills, d.DaysUntilFull = true, days
	}
	return d, nil
}

// LayerDepth gives the depth in m that takes the inflow of some days (above 0
// to 3650) on a floor of lengthM by widthM. Zero if nothing reaches the layer.
// Errors are *InputError.
func LayerDepth(lengthM, widthM, poreShare float64, in Inflow, days float64) (float64, error) {
	err := first(
		positive("length_m", lengthM, 20), positive("width_m", widthM, 20),
		checkFloor(poreShare, in), positive("days", days, 3650))
	if err != nil {
		return 0, err
	}
	litres := in.StandingL + math.Max(0, in.net()*days-in.SoilFreeL)
	return litres / (1000 * lengthM * widthM * poreShare), nil
}

func (in Inflow) net() float64 { return in.RunoffLPerDay + in.WateringLPerDay - in.UptakeLPerDay }

func checkFloor(poreShare float64, in Inflow) error {
	if poreShare >= 1 {
		return &InputError{"pore_share", "must be below 1: the fill takes room"}
	}
	return first(
		between("pore_share", poreShare, 0.01, 1),
		between("runoff_l_per_day", in.RunoffLPerDay, 0, 10000),
		between("watering_l_per_day", in.WateringLPerDay, 0, 10000),
		between("uptake_l_per_day", in.UptakeLPerDay, 0, 10000),
		between("soil_free_l", in.SoilFreeL, 0, 100000),
		between("standing_l", in.StandingL, 0, 100000))
}
