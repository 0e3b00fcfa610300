package moisture_test

import (
	"errors"
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"denwright/sizing/moisture"
)

type fataler interface{ Fatalf(string, ...any) }

func finite(t fataler, name string, xs ...float64) {
	for _, x := range xs {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			t.Fatalf("%s: %g is not finite", name, x)
		}
	}
}

func near(a, b, tol float64) bool { return math.Abs(a-b) <= tol }

// glassBox is a 60 × 45 × 45 cm box at 26 °C in a room of 20 °C and 50 %.
func glassBox() moisture.Box {
	return moisture.Box{VolumeM3: 0.12, AirChangesPerHour: 4, AirC: 26, RoomC: 20, RoomHumidity: 0.5}
}

func anyBox(t *rapid.T) moisture.Box {
	b := moisture.Box{
		VolumeM3:             rapid.Float64Range(0.001, 100).Draw(t, "volume"),
		AirChangesPerHour:    rapid.Float64Range(0.01, 500).Draw(t, "air changes"),
		AirC:                 rapid.Float64Range(moisture.MinC, moisture.MaxC).Draw(t, "air"),
		RoomC:                rapid.Float64Range(moisture.MinC, moisture.MaxC).Draw(t, "room"),
		RoomHumidity:         rapid.Float64Range(0, 1).Draw(t, "room humidity"),
		EvaporationKgPerHour: rapid.SampledFrom([]float64{0, 0.01, 1}).Draw(t, "evaporation"),
	}
	for range rapid.IntRange(0, 3).Draw(t, "faces") {
		b.Faces = append(b.Faces, moisture.Face{AreaM2: rapid.Float64Range(0.01, 10).Draw(t, "area"), SurfaceC: rapid.Float64Range(moisture.MinC, moisture.MaxC).Draw(t, "surface")})
	}
	return b
}

func TestAirProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := moisture.Air{
			TemperatureC: rapid.Float64Range(moisture.MinC, moisture.MaxC).Draw(t, "t"),
			Humidity:     rapid.Float64Range(0, 1).Draw(t, "rh"),
			PressurePa:   rapid.Float64Range(50000, 110000).Draw(t, "p"),
		}
		s, err := moisture.Describe(a)
		if err != nil {
			t.Fatalf("%v", err)
		}
		finite(t, "state", s.SaturationPa, s.VapourPa, s.DeficitPa, s.HumidityRatio, s.DewPointC, s.WetBulbC, s.VapourDensity, s.Density, s.SpecificVolume, s.Enthalpy)
		// Dew point, wet bulb and dry bulb stand in this order, and meet at saturation.
		if s.DewPointC > s.WetBulbC+1e-3 || s.WetBulbC > a.TemperatureC+1e-6 {
			t.Fatalf("%+v: dew point %g, wet bulb %g", a, s.DewPointC, s.WetBulbC)
		}
		if s.DewPointC > moisture.MinDewPointC && !near(moisture.SaturationPressure(s.DewPointC), s.VapourPa, 1e-3) {
			t.Fatalf("the dew point %g °C saturates at %g, not %g Pa", s.DewPointC, moisture.SaturationPressure(s.DewPointC), s.VapourPa)
		}
		back, err := moisture.FromWetBulb(a.TemperatureC, s.WetBulbC, a.PressurePa)
		if err == nil && !near(back.Humidity, a.Humidity, 1e-6) {
			t.Fatalf("the wet bulb gives %g back for %g", back.Humidity, a.Humidity)
		}
		if err != nil && a.Humidity > 1e-3 {
			t.Fatalf("%v", err)
		}
		if !near(moisture.VapourPressure(s.HumidityRatio, a.PressurePa), s.VapourPa, 1e-6) {
			t.Fatalf("humidity ratio does not turn back")
		}
		drier := a
		drier.Humidity *= 0.9
		d, err := moisture.Describe(drier)
		if err != nil || d.DewPointC > s.DewPointC || d.WetBulbC > s.WetBulbC+1e-6 || d.VapourDensity > s.VapourDensity {
			t.Fatalf("drier air: %+v after %+v, %v", d, s, err)
		}
	})
	s, err := moisture.Describe(moisture.Air{TemperatureC: 30, Humidity: 1, PressurePa: moisture.SeaLevelPa})
	if err != nil || !near(s.DewPointC, 30, 1e-6) || !near(s.WetBulbC, 30, 1e-6) {
		t.Errorf("saturated air: %+v, %v", s, err)
	}
	s, err = moisture.Describe(moisture.Air{TemperatureC: 30, PressurePa: moisture.SeaLevelPa})
	if err != nil || s.DewPointC != moisture.MinDewPointC {
		t.Errorf("dry air: %+v, %v", s, err)
	}
}

func TestCondensation(t *testing.T) {
	air := moisture.Air{TemperatureC: 26, Humidity: 0.8, PressurePa: moisture.SeaLevelPa} // dew point 22.3 °C
	faces := []moisture.Face{{"front", 0.27, 20}, {"lid", 0.27, 22.25}, {"back", 0.27, 25}}
	got, err := moisture.Condensation(air, faces)
	if err != nil {
		t.Fatal(err)
	}
	for i, wantWet := range []bool{true, true, false} {
		f := got[i]
		if f.Wet != wantWet || (f.KgPerHour > 0) != wantWet || (f.MarginK < 0) != wantWet || (f.Humidity == 1) != wantWet {
			t.Errorf("%s: %+v", f.Name, f)
		}
	}
	if got[0].KgPerHour <= got[1].KgPerHour {
		t.Errorf("the colder face drips less: %g, %g", got[0].KgPerHour, got[1].KgPerHour)
	}
	// Order of size: a quarter square metre of glass 2 K below the dew point
	// takes some grams an hour, not a litre.
	if g := 1000 * got[0].KgPerHour; g < 2 || g > 20 {
		t.Errorf("front: %g g/h", g)
	}
}

func TestEvaporate(t *testing.T) {
	w := moisture.OpenWater{AreaM2: 0.06, WaterC: 25, SpeedMPerS: 0.1, Air: moisture.Air{TemperatureC: 28, Humidity: 0.6, PressurePa: moisture.SeaLevelPa}}
	got, err := moisture.Evaporate(w)
	if err != nil {
		t.Fatal(err)
	}
	if !(0 < got.Low && got.Low < got.Likely && got.Likely < got.CarrierForm && got.CarrierForm <= got.High && got.RatioForm <= got.High) {
		t.Errorf("out of order: %+v", got)
	}
	w.Air.Humidity = 1
	got, err = moisture.Evaporate(w)
	if diff := cmp.Diff(moisture.Evaporation{}, got); diff != "" || err != nil {
		t.Errorf("air damper than the water's surface: %v%s", err, diff)
	}
	rapid.Check(t, func(t *rapid.T) {
		w := moisture.OpenWater{AreaM2: rapid.Float64Range(1e-4, 1000).Draw(t, "area"), WaterC: rapid.Float64Range(0, 60).Draw(t, "water"),
			SpeedMPerS: rapid.Float64Range(0, 5).Draw(t, "speed"),
			Air:        moisture.Air{TemperatureC: rapid.Float64Range(0, 60).Draw(t, "air"), Humidity: rapid.Float64Range(0, 1).Draw(t, "rh"), PressurePa: rapid.Float64Range(50000, 110000).Draw(t, "p")}}
		e, err := moisture.Evaporate(w)
		if err != nil {
			t.Fatalf("%v", err)
		}
		finite(t, "evaporation", e.RatioForm, e.CarrierForm, e.Low, e.Likely, e.High)
		if e.Low < 0 || e.Low > e.Likely || e.Likely > e.High {
			t.Fatalf("%+v", e)
		}
		w.Air.Humidity *= 0.5
		drier, err := moisture.Evaporate(w)
		if err != nil || drier.Likely < e.Likely || drier.High < e.High {
			t.Fatalf("drier air takes less: %+v after %+v, %v", drier, e, err)
		}
	})
}

func TestWaterToHold(t *testing.T) {
	b := glassBox()
	d, err := moisture.WaterToHold(b, 0.8)
	if err != nil {
		t.Fatal(err)
	}
	// 0.12 m³ × 4/h × (19.5 − 8.6) g/m³, by the grid of moist air: some 5 g/h.
	if g := 1000 * d.ToAddKgPerHour; g < 4.9 || g > 5.6 {
		t.Errorf("to hold 80 %%: %.2f g/h", g)
	}
	b.Faces = []moisture.Face{{"front", 0.27, 19}}
	wet, err := moisture.WaterToHold(b, 0.8)
	if err != nil || wet.CondensationKgPerHour <= 0 || !near(wet.ToAddKgPerHour, d.ToAddKgPerHour+wet.CondensationKgPerHour, 1e-12) || !wet.Faces[0].Wet {
		t.Errorf("with a cold face: %+v, %v", wet, err)
	}

	// A box can't be dried by adding water: it stands at the room's vapour.
	var u *moisture.UnreachableError
	_, err = moisture.WaterToHold(glassBox(), 0.2)
	if !errors.As(err, &u) || u.Reason == "" {
		t.Fatalf("20 %% in a room of 50 %%: %v", err)
	}
	room := moisture.VapourDensity(0.5*moisture.SaturationPressure(20), 20) / moisture.VapourDensity(moisture.SaturationPressure(26), 26)
	if !near(u.NearestHumidity, room, 1e-9) {
		t.Errorf("nearest %g, want %g", u.NearestHumidity, room)
	}
	if d, err := moisture.WaterToHold(glassBox(), u.NearestHumidity); err != nil || !near(d.ToAddKgPerHour, 0, 1e-9) {
		t.Errorf("the nearest reachable is not reached: %+v, %v", d, err)
	}
	// A cool box in a warm damp room is saturated whatever is done.
	_, err = moisture.WaterToHold(moisture.Box{VolumeM3: 1, AirChangesPerHour: 5, AirC: 10, RoomC: 25, RoomHumidity: 0.8}, 0.7)
	if !errors.As(err, &u) || u.NearestHumidity != 1 {
		t.Errorf("cool box: %v", err)
	}
}

func TestBalanceProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := anyBox(t)
		humidity := rapid.Float64Range(0, 1).Draw(t, "humidity")
		d, err := moisture.WaterToHold(b, humidity)
		var u *moisture.UnreachableError
		if errors.As(err, &u) {
			finite(t, "nearest", u.NearestHumidity)
			if u.NearestHumidity < humidity || u.NearestHumidity > 1 {
				t.Fatalf("nearest %g for %g", u.NearestHumidity, humidity)
			}
			return
		}
		if err != nil {
			t.Fatalf("%v", err)
		}
		finite(t, "demand", d.ExchangeKgPerHour, d.CondensationKgPerHour, d.ToAddKgPerHour, d.LatentW)
		if d.ToAddKgPerHour < 0 || d.CondensationKgPerHour < 0 {
			t.Fatalf("%+v", d)
		}
		if d.ToAddKgPerHour <= 1000 {
			held, err := moisture.HumidityHeld(b, d.ToAddKgPerHour)
			if err != nil {
				t.Fatalf("%v", err)
			}
			// In tiny flows a large change of humidity is a small change of water.
			again, err := moisture.WaterToHold(b, held.Humidity)
			if err != nil && !errors.As(err, &u) {
				t.Fatalf("%v", err)
			}
			if err == nil && !near(again.ToAddKgPerHour, d.ToAddKgPerHour, 1e-6*(1+d.ToAddKgPerHour)) {
				t.Fatalf("%g kg/h holds %g, which takes %g kg/h", d.ToAddKgPerHour, held.Humidity, again.ToAddKgPerHour)
			}
			if !near(held.Humidity, humidity, 1e-6) {
				t.Fatalf("%g kg/h for %g holds %g", d.ToAddKgPerHour, humidity, held.Humidity)
			}
		}
		more := b
		more.AirChangesPerHour = math.Min(500, 2*b.AirChangesPerHour)
		if d.ExchangeKgPerHour > 0 {
			aired, err := moisture.WaterToHold(more, humidity)
			if err != nil || aired.ToAddKgPerHour < d.ToAddKgPerHour {
				t.Fatalf("more air takes less water: %+v after %+v, %v", aired, d, err)
			}
		}
		hours := rapid.Float64Range(0, 100).Draw(t, "hours")
		after, err := moisture.HumidityAfter(b, humidity, 0, hours)
		if err != nil {
			t.Fatalf("%v", err)
		}
		finite(t, "after", after)
		if after < 0 || after > 1 {
			t.Fatalf("humidity %g after %g h", after, hours)
		}
	})
}

func TestHumidityHeldSaturates(t *testing.T) {
	held, err := moisture.HumidityHeld(glassBox(), 0.1)
	if err != nil || held.Humidity != 1 || held.FalloutKgPerHour <= 0 || held.FalloutKgPerHour >= 0.1 {
		t.Errorf("100 g/h into a small box: %+v, %v", held, err)
	}
	dry, err := moisture.HumidityHeld(glassBox(), 0)
	if err != nil || dry.FalloutKgPerHour != 0 || dry.Humidity <= 0.3 || dry.Humidity >= 0.4 {
		t.Errorf("nothing added: %+v, %v", dry, err)
	}
}

func TestHumidityAfter(t *testing.T) {
	b := glassBox()
	steady, err := moisture.HumidityHeld(b, 0.004)
	if err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct {
		name             string
		start, kg, hours float64
		want             float64
	}{
		{"at once", 0.6, 0, 0, 0.6},
		{"in the end", 0.6, 0.004, 50, steady.Humidity},
		{"saturated", 0.6, 5, 1, 1},
	} {
		got, err := moisture.HumidityAfter(b, tt.start, tt.kg, tt.hours)
		if err != nil || !near(got, tt.want, 1e-6) {
			t.Errorf("%s: %g, %v; want %g", tt.name, got, err, tt.want)
		}
	}
}

func TestRunTime(t *testing.T) {
	b := glassBox()
	practice := moisture.CommonFogPractice()
	if practice.SessionsPerDay != 3 || practice.MinutesLow != 5 || practice.MinutesHigh != 10 || practice.Basis != "common practice, no source" {
		t.Errorf("practice: %+v", practice)
	}
	fogger := moisture.Device{LitresPerMinute: 0.004, VapourShare: moisture.AssumedFogVapourShare, SessionsPerDay: practice.SessionsPerDay}
	d, err := moisture.WaterToHold(b, 0.8)
	if err != nil {
		t.Fatal(err)
	}
	r, err := moisture.RunTime(b, 0.8, 12, fogger)
	if err != nil {
		t.Fatal(err)
	}
	vapour := r.LitresPerDay - r.RunoffLPerDay
	if !near(vapour, 12*d.ToAddKgPerHour, 1e-12) || !near(r.LitresPerDay, fogger.Litres(r.MinutesPerDay), 1e-12) || !near(r.MinutesPerSession*3, r.MinutesPerDay, 1e-12) {
		t.Errorf("water does not add up: %+v for %+v", r, d)
	}
	if r.BeyondPractice != (r.MinutesPerSession > 10) {
		t.Errorf("%+v", r)
	}
	t.Logf("a glass box of 0.12 m³ at 80 %%: %.1f g/h, %.0f min and %.2f L a day", 1000*d.ToAddKgPerHour, r.MinutesPerDay, r.LitresPerDay)

	// A fogger too small runs all the time and holds less.
	var u *moisture.UnreachableError
	small := moisture.Device{LitresPerMinute: 0.00005, VapourShare: 1, SessionsPerDay: 1}
	_, err = moisture.RunTime(b, 0.8, 24, small)
	held, heldErr := moisture.HumidityHeld(b, small.Litres(60))
	if !errors.As(err, &u) || heldErr != nil || !near(u.NearestHumidity, held.Humidity, 1e-12) || u.NearestHumidity >= 0.8 {
		t.Errorf("small fogger: %v; holds %+v, %v", err, held, heldErr)
	}
	if _, err = moisture.RunTime(b, 0.1, 12, fogger); !errors.As(err, &u) {
		t.Errorf("a desert in a room of 50 %%: %v", err)
	}
}

func TestDrain(t *testing.T) {
	layer := moisture.Layer{LengthM: 1.2, WidthM: 0.6, DepthM: 0.05, PoreShare: 0.4} // 14.4 L
	for _, tt := range []struct {
		name string
		in   moisture.Inflow
		want moisture.Drainage
	}{
		{"misting and watering", moisture.Inflow{RunoffLPerDay: 0.5, WateringLPerDay: 0.5, UptakeLPerDay: 0.2},
			moisture.Drainage{CapacityL: 14.4, InflowLPerDay: 0.8, Fills: true, DaysUntilFull: 18}},
		{"soil first, water standing", moisture.Inflow{RunoffLPerDay: 1, SoilFreeL: 5, StandingL: 4.4},
			moisture.Drainage{CapacityL: 14.4, InflowLPerDay: 1, Fills: true, DaysUntilFull: 15}},
		{"plants keep up", moisture.Inflow{RunoffLPerDay: 0.2, UptakeLPerDay: 0.5}, moisture.Drainage{CapacityL: 14.4, InflowLPerDay: -0.3}},
		{"nothing comes", moisture.Inflow{}, moisture.Drainage{CapacityL: 14.4}},
		{"full now", moisture.Inflow{StandingL: 20}, moisture.Drainage{CapacityL: 14.4, Fills: true}},
	} {
		got, err := moisture.Drain(layer, tt.in)
		if diff := cmp.Diff(tt.want, got, cmp.Comparer(func(a, b float64) bool { return near(a, b, 1e-9) })); diff != "" || err != nil {
			t.Errorf("%s: %v (-want +got):\n%s", tt.name, err, diff)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		in := moisture.Inflow{RunoffLPerDay: rapid.Float64Range(0, 10).Draw(t, "runoff"), WateringLPerDay: rapid.Float64Range(0, 10).Draw(t, "watering"),
			UptakeLPerDay: rapid.Float64Range(0, 10).Draw(t, "uptake"), SoilFreeL: rapid.Float64Range(0, 50).Draw(t, "soil"), StandingL: rapid.Float64Range(0, 50).Draw(t, "standing")}
		l := moisture.Layer{LengthM: rapid.Float64Range(0.1, 3).Draw(t, "length"), WidthM: rapid.Float64Range(0.1, 2).Draw(t, "width"),
			DepthM: rapid.Float64Range(0.01, 0.3).Draw(t, "depth"), PoreShare: rapid.Float64Range(0.1, 0.9).Draw(t, "pores")}
		d, err := moisture.Drain(l, in)
		if err != nil {
			t.Fatalf("%v", err)
		}
		finite(t, "drainage", d.CapacityL, d.InflowLPerDay, d.DaysUntilFull)
		if d.DaysUntilFull < 0 || !d.Fills && d.DaysUntilFull != 0 {
			t.Fatalf("%+v", d)
		}
		// The depth that lasts as long as this layer does is this layer's depth.
		if d.Fills && d.DaysUntilFull > 0.01 && d.DaysUntilFull <= 3650 {
			depth, err := moisture.LayerDepth(l.LengthM, l.WidthM, l.PoreShare, in, d.DaysUntilFull)
			if err != nil || !near(depth, l.DepthM, 1e-9) {
				t.Fatalf("depth %g of %g, %v", depth, l.DepthM, err)
			}
		}
	})
}

func TestInputErrors(t *testing.T) {
	nan := math.NaN()
	air := func(c, rh, p float64) error {
		_, err := moisture.Describe(moisture.Air{TemperatureC: c, Humidity: rh, PressurePa: p})
		return err
	}
	box := func(edit func(*moisture.Box)) error {
		b := glassBox()
		edit(&b)
		_, err := moisture.WaterToHold(b, 0.8)
		return err
	}
	device := func(hours float64, d moisture.Device) error {
		_, err := moisture.RunTime(glassBox(), 0.8, hours, d)
		return err
	}
	water := func(edit func(*moisture.OpenWater)) error {
		w := moisture.OpenWater{AreaM2: 0.06, WaterC: 25, Air: moisture.Air{TemperatureC: 28, Humidity: 0.6, PressurePa: moisture.SeaLevelPa}}
		edit(&w)
		_, err := moisture.Evaporate(w)
		return err
	}
	drain := func(l moisture.Layer, in moisture.Inflow) error { _, err := moisture.Drain(l, in); return err }
	depth := func(length, pores, days float64) error {
		_, err := moisture.LayerDepth(length, 0.6, pores, moisture.Inflow{}, days)
		return err
	}
	layer := moisture.Layer{LengthM: 1, WidthM: 0.5, DepthM: 0.05, PoreShare: 0.4}
	second := func(_ any, err error) error { return err }
	tests := []struct {
		field string
		err   error
	}{
		{"temperature_c", air(-5, 0.5, 1e5)}, {"temperature_c", air(nan, 0.5, 1e5)}, {"temperature_c", air(104, 0.5, 1e5)},
		{"humidity", air(20, 1.2, 1e5)}, {"humidity", air(20, 60, 1e5)}, {"humidity", air(20, -0.1, 1e5)},
		{"pressure_pa", air(20, 0.5, 1013)}, {"pressure_pa", air(20, 0.5, math.Inf(1))},
		{"altitude_m", second(moisture.PressureAtAltitude(50000))},
		{"wet_bulb_c", second(moisture.FromWetBulb(20, 21, 1e5))},
		{"wet_bulb_c", second(moisture.FromWetBulb(30, 1, 1e5))},
		{"rsi_m2k_per_w", second(moisture.TemperatureFactor(3, 0))},
		{"u_w_per_m2k", second(moisture.TemperatureFactor(-1, 0.13))},
		{"u_w_per_m2k", second(moisture.TemperatureFactor(10, 0.13))},
		{"faces[0].area_m2", second(moisture.Condensation(moisture.Air{TemperatureC: 20, Humidity: 0.5, PressurePa: 1e5}, []moisture.Face{{"front", 0, 20}}))},
		{"faces[0].surface_c", second(moisture.Condensation(moisture.Air{TemperatureC: 20, Humidity: 0.5, PressurePa: 1e5}, []moisture.Face{{"front", 1, nan}}))},
		{"volume_m3", box(func(b *moisture.Box) { b.VolumeM3 = 0 })},
		{"air_changes_per_hour", box(func(b *moisture.Box) { b.AirChangesPerHour = -1 })},
		{"air_changes_per_hour", box(func(b *moisture.Box) { b.AirChangesPerHour = 0 })},
		{"air_c", box(func(b *moisture.Box) { b.AirC = 100 })},
		{"room_c", box(func(b *moisture.Box) { b.RoomC = nan })},
		{"room_humidity", box(func(b *moisture.Box) { b.RoomHumidity = 50 })},
		{"evaporation_kg_per_hour", box(func(b *moisture.Box) { b.EvaporationKgPerHour = -1 })},
		{"humidity", second(moisture.WaterToHold(glassBox(), 1.01))},
		{"kg_per_hour", second(moisture.HumidityHeld(glassBox(), -1))},
		{"hours", second(moisture.HumidityAfter(glassBox(), 0.5, 0, -1))},
		{"hours_per_day", device(25, moisture.Device{LitresPerMinute: 0.1, VapourShare: 1, SessionsPerDay: 3})},
		{"litres_per_minute", device(12, moisture.Device{VapourShare: 1, SessionsPerDay: 3})},
		{"vapour_share", device(12, moisture.Device{LitresPerMinute: 0.1, SessionsPerDay: 3})},
		{"sessions_per_day", device(12, moisture.Device{LitresPerMinute: 0.1, VapourShare: 1})},
		{"area_m2", water(func(w *moisture.OpenWater) { w.AreaM2 = -1 })},
		{"water_c", water(func(w *moisture.OpenWater) { w.WaterC = 80 })},
		{"speed_m_per_s", water(func(w *moisture.OpenWater) { w.SpeedMPerS = -0.1 })},
		{"humidity", water(func(w *moisture.OpenWater) { w.Air.Humidity = 2 })},
		{"length_m", drain(moisture.Layer{WidthM: 1, DepthM: 0.1, PoreShare: 0.4}, moisture.Inflow{})},
		{"pore_share", drain(moisture.Layer{LengthM: 1, WidthM: 1, DepthM: 0.1, PoreShare: 1}, moisture.Inflow{})},
		{"pore_share", drain(moisture.Layer{LengthM: 1, WidthM: 1, DepthM: 0.1}, moisture.Inflow{})},
		{"runoff_l_per_day", drain(layer, moisture.Inflow{RunoffLPerDay: -1})},
		{"watering_l_per_day", drain(layer, moisture.Inflow{WateringLPerDay: nan})},
		{"uptake_l_per_day", drain(layer, moisture.Inflow{UptakeLPerDay: -1})},
		{"soil_free_l", drain(layer, moisture.Inflow{SoilFreeL: -1})},
		{"standing_l", drain(layer, moisture.Inflow{StandingL: -1})},
		{"length_m", depth(0, 0.4, 10)}, {"pore_share", depth(1, 1.5, 10)}, {"days", depth(1, 0.4, 0)},
	}
	for _, tt := range tests {
		var in *moisture.InputError
		if !errors.As(tt.err, &in) || in.Field != tt.field || in.Reason == "" {
			t.Errorf("want an InputError on %s, got %v", tt.field, tt.err)
		}
	}
}
