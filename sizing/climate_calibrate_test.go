package sizing_test

import (
	"errors"
	"fmt"
	"math"
	"os"
	"slices"
	"strings"
	"testing"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing"
	"denwright/sizing/heat"

	"github.com/go-json-experiment/json"
	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// readBox is a glass box with a mesh lid and a front vent, a lamp by day and an emitter
// day and night, twice: as a question, and as package heat takes it.
func readBox(t testing.TB) (sizing.ClimateQuestion, heat.Enclosure, []heat.Source) {
	t.Helper()
	cm := func(x float64) *quantity.Length { return new(quantity.Centimetres(x)) }
	watts := func(x float64) *quantity.Power { return new(quantity.Power(x)) }
	q := sizing.ClimateQuestion{
		Enclosure: sizing.ClimateEnclosure{Length: 1, Width: 0.5, Height: 0.6, Walls: sizing.ClimateWall{Construction: "glass-6mm"},
			Lid:     &sizing.ClimateLid{Kind: "mesh", Mesh: &sizing.ClimateMesh{OpenArea: new(quantity.Percent(60))}},
			Vents:   []sizing.ClimateVent{{Side: "front", Area: new(quantity.Area(0.01)), OpenShare: new(quantity.Percent(50)), Bottom: cm(5), Top: cm(7)}},
			Leakage: fig(1, "1/h")},
		Room: sizing.ClimateRoom{Winter: &sizing.RoomAir{Temperature: new(quantity.Temperature(20)), NightTemperature: new(quantity.Temperature(16))}},
		HeatSources: []sizing.ClimateSource{
			{Kind: "halogen-lamp", Name: "lamp", Power: watts(75), FromLeft: cm(20), Height: cm(52), SpotHeight: cm(10)},
			{Kind: "ceramic-emitter", Name: "emitter", Role: "heater", Power: watts(60), FromLeft: cm(70), Height: cm(35), SpotHeight: cm(0)}},
		Targets: sizing.ClimateTargets{HotSpot: new(quantity.Temperature(38)), NightMin: new(quantity.Temperature(17))},
	}
	glass, err := heat.MaterialNamed("float glass")
	if err != nil {
		t.Fatal(err)
	}
	face := heat.Face{Layers: []heat.Layer{glass.Layer(0.006)}}
	e := heat.Enclosure{Length: 1, Depth: 0.5, Height: 0.6, Faces: heat.Faces{Front: face, Back: face, Left: face, Right: face, Top: face, Floor: face}, Leakage: 1,
		Openings: []heat.Opening{{Side: heat.Front, Area: 0.01, FreeShare: 0.5, Low: 0.05, High: 0.07}}}
	e.Faces.Top.Mesh, e.Faces.Top.MeshOpen = 1, 0.6
	return q, e, []heat.Source{{Name: "lamp", Kind: heat.HalogenLamp, Watts: 75, X: 0.2, Z: 0.52, TargetZ: 0.1}, {Name: "emitter", Kind: heat.CeramicEmitter, Watts: 60, X: 0.7, Z: 0.35}}
}

func airReading(t, room, x, z float64, phase string) sizing.ClimateReading {
	return sizing.ClimateReading{Temperature: new(quantity.Temperature(t)), RoomTemperature: new(quantity.Temperature(room)), Phase: phase, FromLeft: new(quantity.Length(x)), Height: new(quantity.Length(z))}
}

func surfaceReading(t, room float64, source int, phase string) sizing.ClimateReading {
	return sizing.ClimateReading{Temperature: new(quantity.Temperature(t)), RoomTemperature: new(quantity.Temperature(room)), Phase: phase, UnderSource: &source}
}

// readAll reads a day (room 20 °C) and a night (16 °C) of [readBox] solved with its
// coefficients, in the middle of every air cell and under both sources, night and day
// by turns.
func readAll(t testing.TB, e heat.Enclosure, sources []heat.Source) (out []sizing.ClimateReading) {
	t.Helper()
	day, err := heat.Solve(e, 20, sources)
	if err != nil {
		t.Fatal(err)
	}
	night, err := heat.Solve(e, 16, sources[1:])
	if err != nil {
		t.Fatal(err)
	}
	for l := range day.Layers {
		for i := range day.Zones {
			x, z := (float64(i)+0.5)*e.Length/float64(day.Zones), (float64(l)+0.5)*e.Height/float64(day.Layers)
			out = append(out, airReading(night.At(x, z), 16, x, z, "night"), airReading(day.At(x, z), 20, x, z, "day"))
		}
	}
	return append(out, surfaceReading(day.Spots[0].Temperature, 20, 0, "day"), surfaceReading(night.Spots[0].Temperature, 16, 1, "night"), surfaceReading(day.Spots[1].Temperature, 20, 1, "day"))
}

func coefficient(t testing.TB, a *sizing.ClimateAnswer, code string) sizing.FittedCoefficient {
	t.Helper()
	i := slices.IndexFunc(a.Calibration.Coefficients, func(c sizing.FittedCoefficient) bool { return c.Code == code })
	if i < 0 {
		t.Fatalf("no coefficient %s: %+v", code, a.Calibration)
	}
	return a.Calibration.Coefficients[i]
}

// Readings made with coefficients off the defaults give them back, and every other part
// is then computed with them: the profile passes through the readings, its intervals
// and those of the watts are narrower. The readings carry no error, so that what is
// left is the search's own stopping and the rounding of the answer: 1 % of a
// coefficient, 0.005 K of a temperature.
func TestClimateCalibrationRecovers(t *testing.T) {
	q, e, sources := readBox(t)
	e.Coefficients = heat.Coefficients{Along: heat.Exactly(4.1), Up: heat.Exactly(2.7), Vent: heat.Exactly(0.72)}
	truth := slices.Clone(sources)
	truth[0].Radiant = heat.Exactly(0.72)
	c := catalogue(t)
	wide := climate(t, c, q)
	q.Readings = readAll(t, e, truth)
	a := climate(t, c, q)
	if a.Calibration.Standing != care.Known {
		t.Fatalf("calibration: %+v", a.Calibration.Basis)
	}
	for code, want := range map[string]float64{"along": 4.1, "up": 2.7, "vent": 72, "radiant": 72} {
		x := coefficient(t, a, code)
		within(t, code, x.After.Typical.Number/want, 0.99, 1.01)
		if !x.Fitted || x.Why != "" || x.Before == x.After || !(x.After.Low.Number <= x.After.Typical.Number && x.After.Typical.Number <= x.After.High.Number) {
			t.Errorf("%s: %+v", code, x)
		}
	}
	if r := a.Calibration.Coefficients[len(a.Calibration.Coefficients)-1]; r.Source != "emitter" || r.Fitted || !strings.Contains(r.Why, "one lamp at a time") {
		t.Errorf("the emitter's radiant share: %+v", r)
	}
	if r := coefficient(t, a, "radiant"); r.Source != "lamp" || r.Field != "/heat_sources/0" {
		t.Errorf("the radiant share is of %+v", r)
	}
	within(t, "residual", a.Calibration.Residual.Number, 0, 0.005)
	within(t, "residual before", a.Calibration.ResidualBefore.Number, 0.3, 10)
	if a.Calibration.Spare != len(q.Readings)-4 {
		t.Errorf("spare: %d of %d", a.Calibration.Spare, len(q.Readings))
	}
	seen := map[string]bool{}
	for _, r := range a.Calibration.Readings {
		var i int
		if _, err := fmt.Sscanf(r.Field, "/readings/%d", &i); err != nil {
			t.Fatal(err)
		}
		read := q.Readings[i]
		seen[r.Field] = true
		within(t, r.Field+" as given", r.Read-*read.Temperature, 0, 0)
		within(t, r.Field, *r.After-r.Read, -0.005, 0.005)
		s := state(t, a, "winter", read.Phase)
		if read.UnderSource == nil {
			j := slices.IndexFunc(s.Air, func(x sizing.AirReading) bool {
				return math.Abs(float64(x.FromLeft-*read.FromLeft))+math.Abs(float64(x.Height-*read.Height)) < 1e-6
			})
			within(t, r.Field+" in the profile", s.Air[j].Temperature.Typical-r.Read, -0.005, 0.005)
			continue
		}
		j := slices.IndexFunc(s.HotSpots, func(x sizing.HotSpotReading) bool {
			return x.Field == fmt.Sprintf("/heat_sources/%d", *read.UnderSource)
		})
		within(t, r.Field+" in the profile", s.HotSpots[j].Surface.Typical-r.Read, -0.005, 0.005)
	}
	if len(seen) != len(q.Readings) {
		t.Errorf("%d of %d readings are in the answer", len(seen), len(q.Readings))
	}
	width := func(e sizing.Estimate[quantity.Temperature]) float64 { return float64(e.High - e.Low) }
	for i, s := range a.Profile.States {
		for j, x := range s.Air {
			if w := wide.Profile.States[i].Air[j]; width(x.Temperature) >= width(w.Temperature) {
				t.Errorf("%s, %g m, %s: %g K wide before, %g K after", s.Phase, float64(x.FromLeft), x.Layer, width(w.Temperature), width(x.Temperature))
			}
		}
	}
	before, after := wide.Heating.Rooms[0].Night.Sources[0].Power, a.Heating.Rooms[0].Night.Sources[0].Power
	if after.High-after.Low >= before.High-before.Low || after.Typical == before.Typical {
		t.Errorf("watts by night: %+v before, %+v after", before, after)
	}
	for name, b := range map[string]sizing.Basis{"profile": a.Profile.Basis, "heating": a.Heating.Basis} {
		if !contains(b.Assumptions, "Fitted to 23 readings: mixing along the length, mixing upward, vent flow") || !contains(b.Assumptions, "radiant share of lamp") {
			t.Errorf("%s does not say that it is fitted: %q", name, b.Assumptions)
		}
	}
}

// Fewer readings fix fewer coefficients, one reading to spare; the rest keep the
// default and say why. Off the drawing's own truth in one coefficient only, that one
// comes back.
func TestClimateCalibrationFitsWhatItCan(t *testing.T) {
	q, e, sources := readBox(t)
	e.Coefficients.Vent = heat.Exactly(0.6)
	all := readAll(t, e, sources)
	q.Readings = []sizing.ClimateReading{all[1], all[9], all[20]} // both ends by day, low, and the surface under the lamp
	a := climate(t, catalogue(t), q)
	var fitted []string
	for _, c := range a.Calibration.Coefficients {
		if c.Fitted {
			fitted = append(fitted, c.Code)
		} else if c.Why == "" || c.Before != c.After {
			t.Errorf("not fitted: %+v", c)
		}
	}
	if len(fitted) != 2 || !slices.Contains(fitted, "vent") || a.Calibration.Spare != 1 {
		t.Fatalf("fitted %v, spare %d", fitted, a.Calibration.Spare)
	}
	within(t, "vent", coefficient(t, a, "vent").After.Typical.Number, 59.5, 60.5)
	if !contains(a.Profile.Assumptions, "Not fitted, at the default: ") {
		t.Errorf("%q", a.Profile.Assumptions)
	}
}

// Readings that fix nothing leave the default in force, and the part says why and what
// to give.
func TestClimateCalibrationRefuses(t *testing.T) {
	c := catalogue(t)
	base, e, sources := readBox(t)
	good := readAll(t, e, sources)
	plainly := climate(t, c, base)
	for name, tt := range map[string]struct {
		edit func(*sizing.ClimateQuestion)
		why  string
		give []string
	}{
		"too few": {func(q *sizing.ClimateQuestion) { q.Readings = good[:1] }, "at least as many readings", []string{"/readings"}},
		"the room's own temperature, everywhere": {func(q *sizing.ClimateQuestion) {
			for i := range 10 {
				q.Readings = append(q.Readings, airReading(20, 20, float64(i)/10, 0.3, "day"))
			}
		}, "edge of what is physical", []string{"/readings", "/heat_sources", "/enclosure"}},
		"nothing on": {func(q *sizing.ClimateQuestion) {
			q.HeatSources[1].Role = "day-heater"
			q.Readings = []sizing.ClimateReading{airReading(16, 16, 0.1, 0.1, "night"), airReading(16, 16, 0.9, 0.1, "night"), airReading(16.3, 16, 0.9, 0.5, "night")} // three readings, three coefficients: what is wrong is not that none is to spare
		}, "no reading reacts", []string{"/readings", "/heat_sources", "/enclosure"}},
		"another box": {func(q *sizing.ClimateQuestion) {
			for i, r := range good {
				r.Temperature = new(*r.Temperature + quantity.Temperature(6*(i%3)))
				q.Readings = append(q.Readings, r)
			}
		}, "misses the readings by", []string{"/readings", "/heat_sources", "/enclosure"}},
		"power not given": {func(q *sizing.ClimateQuestion) { q.Readings, q.HeatSources[1].Power = good, nil }, "does not say its power", []string{"/heat_sources/1/power"}},
	} {
		t.Run(name, func(t *testing.T) {
			q := base
			q.HeatSources = slices.Clone(base.HeatSources)
			tt.edit(&q)
			a := climate(t, c, q)
			b := a.Calibration.Basis
			if b.Standing != care.NotKnown || !strings.Contains(b.Why, tt.why) || len(a.Calibration.Coefficients) > 0 || a.Calibration.Residual != nil {
				t.Errorf("got %+v", a.Calibration)
			}
			if diff := cmp.Diff(tt.give, b.Give); diff != "" {
				t.Error(diff)
			}
			if !contains(a.Heating.Assumptions, "the default coefficients stand") {
				t.Errorf("heating: %q", a.Heating.Assumptions)
			}
			if name == "too few" || name == "another box" {
				if diff := cmp.Diff(plainly.Profile.States, a.Profile.States); diff != "" {
					t.Errorf("the profile moved: %s", diff)
				}
				if n := len(a.Calibration.Readings); n != len(q.Readings) || a.Calibration.Readings[0].After != nil {
					t.Errorf("readings: %+v", a.Calibration.Readings)
				}
			}
		})
	}
}

// Every bad reading is named by its field.
func TestClimateCalibrationNamesBadReadings(t *testing.T) {
	c := catalogue(t)
	nan := quantity.Temperature(math.NaN())
	for name, tt := range map[string]struct {
		edit func(*sizing.ClimateReading, *sizing.ClimateQuestion)
		want []string
	}{
		"beyond the end":  {func(r *sizing.ClimateReading, _ *sizing.ClimateQuestion) { r.FromLeft = new(quantity.Length(1.01)) }, []string{"/readings/1/from_left"}},
		"left of the box": {func(r *sizing.ClimateReading, _ *sizing.ClimateQuestion) { r.FromLeft = new(quantity.Length(-0.01)) }, []string{"/readings/1/from_left"}},
		"above the lid":   {func(r *sizing.ClimateReading, _ *sizing.ClimateQuestion) { r.Height = new(quantity.Length(0.7)) }, []string{"/readings/1/height"}},
		"NaN height":      {func(r *sizing.ClimateReading, _ *sizing.ClimateQuestion) { r.Height = new(quantity.Length(math.NaN())) }, []string{"/readings/1/height"}},
		"in the substrate": {func(r *sizing.ClimateReading, q *sizing.ClimateQuestion) {
			r.Height = new(quantity.Length(0.58))
			q.Substrate = &sizing.ClimateSubstrate{Kind: "potting soil", Depth: 0.05}
		}, []string{"/readings/1/height"}},
		"no place":       {func(r *sizing.ClimateReading, _ *sizing.ClimateQuestion) { r.FromLeft, r.Height = nil, nil }, []string{"/readings/1/from_left", "/readings/1/height"}},
		"no temperature": {func(r *sizing.ClimateReading, _ *sizing.ClimateQuestion) { r.Temperature = nil }, []string{"/readings/1/temperature"}},
		"absurd temperature": {func(r *sizing.ClimateReading, _ *sizing.ClimateQuestion) {
			r.Temperature = new(quantity.Temperature(81))
		}, []string{"/readings/1/temperature"}},
		"NaN temperature": {func(r *sizing.ClimateReading, _ *sizing.ClimateQuestion) { r.Temperature = &nan }, []string{"/readings/1/temperature"}},
		"no room":         {func(r *sizing.ClimateReading, _ *sizing.ClimateQuestion) { r.RoomTemperature = nil }, []string{"/readings/1/room_temperature"}},
		"absurd room": {func(r *sizing.ClimateReading, _ *sizing.ClimateQuestion) {
			r.RoomTemperature = new(quantity.Temperature(61))
		}, []string{"/readings/1/room_temperature"}},
		"NaN room":            {func(r *sizing.ClimateReading, _ *sizing.ClimateQuestion) { r.RoomTemperature = &nan }, []string{"/readings/1/room_temperature"}},
		"no phase":            {func(r *sizing.ClimateReading, _ *sizing.ClimateQuestion) { r.Phase = "" }, []string{"/readings/1/phase"}},
		"another phase":       {func(r *sizing.ClimateReading, _ *sizing.ClimateQuestion) { r.Phase = "dusk" }, []string{"/readings/1/phase"}},
		"unknown source":      {func(r *sizing.ClimateReading, _ *sizing.ClimateQuestion) { *r = surfaceReading(35, 20, 2, "day") }, []string{"/readings/1/under_source"}},
		"source before first": {func(r *sizing.ClimateReading, _ *sizing.ClimateQuestion) { *r = surfaceReading(35, 20, -1, "day") }, []string{"/readings/1/under_source"}},
		"lamp off by night":   {func(r *sizing.ClimateReading, _ *sizing.ClimateQuestion) { *r = surfaceReading(35, 16, 0, "night") }, []string{"/readings/1/under_source"}},
		"lights nothing": {func(r *sizing.ClimateReading, q *sizing.ClimateQuestion) {
			*r = surfaceReading(35, 20, 1, "day")
			q.HeatSources[1] = sizing.ClimateSource{Kind: "heated-rock", Power: new(quantity.Power(10))}
		}, []string{"/readings/1/under_source"}},
		"two places":     {func(r *sizing.ClimateReading, _ *sizing.ClimateQuestion) { r.UnderSource = new(0) }, []string{"/readings/1/under_source"}},
		"absurd surface": {func(r *sizing.ClimateReading, _ *sizing.ClimateQuestion) { *r = surfaceReading(121, 20, 0, "day") }, []string{"/readings/1/temperature"}},
		"under a bad source": {func(r *sizing.ClimateReading, q *sizing.ClimateQuestion) {
			*r = surfaceReading(35, 20, 1, "day")
			q.HeatSources[1].Kind = "campfire"
		}, []string{"/heat_sources/1/kind"}},
		"too many": {func(_ *sizing.ClimateReading, q *sizing.ClimateQuestion) {
			q.Readings = slices.Repeat(q.Readings[:1], 201)
		}, []string{"/readings"}},
		"nine rounds": {func(_ *sizing.ClimateReading, q *sizing.ClimateQuestion) {
			for i := range 8 {
				q.Readings = append(q.Readings, airReading(25, 15+float64(i)/2, 0.5, 0.2, "night"))
			}
		}, []string{"/readings"}},
		"all at once": {func(r *sizing.ClimateReading, q *sizing.ClimateQuestion) {
			*r = sizing.ClimateReading{}
			q.Readings[0].FromLeft = new(quantity.Length(5))
		}, []string{"/readings/0/from_left", "/readings/1/from_left", "/readings/1/height", "/readings/1/phase", "/readings/1/room_temperature", "/readings/1/temperature"}},
	} {
		t.Run(name, func(t *testing.T) {
			q, _, _ := readBox(t)
			q.Readings = []sizing.ClimateReading{airReading(26, 20, 0.2, 0.1, "day"), airReading(24, 20, 0.8, 0.1, "day")}
			tt.edit(&q.Readings[1], &q)
			_, err := sizing.Climate(c, q)
			var bad sizing.Invalid
			if !errors.As(err, &bad) {
				t.Fatalf("got %v, want fields %v", err, tt.want)
			}
			var got []string
			for _, p := range bad {
				got = append(got, p.Field)
				if p.Reason == "" || p.Remedy == "" {
					t.Errorf("%s: reason %q, remedy %q", p.Field, p.Reason, p.Remedy)
				}
			}
			slices.Sort(got)
			if diff := cmp.Diff(tt.want, got); diff != "" {
				t.Error(diff)
			}
		})
	}
	q, _, _ := readBox(t)
	q.Readings = slices.Repeat([]sizing.ClimateReading{airReading(26, 20, 1, 0.6, "day"), airReading(24, 20, 0, 0, "day")}, 100)
	q.Parts = []string{"calibration"}
	if climate(t, c, q).Calibration == nil {
		t.Error("200 readings at the corners of the box")
	}
}

// Whatever valid question with whatever valid readings is asked: no error, no NaN or
// infinity, and a calibration that is known leaves at most 2 K, no more than the
// defaults did, with its intervals in order.
func TestClimateCalibrationAnswersEveryValidQuestion(t *testing.T) {
	c := catalogue(t)
	known := 0
	rapid.Check(t, func(r *rapid.T) {
		q := anyClimate(r, c)
		num := func(name string, low, high float64) float64 { return rapid.Float64Range(low, high).Draw(r, name) }
		air := float64(q.Enclosure.Height)
		if q.Substrate != nil {
			air -= float64(q.Substrate.Depth)
		}
		if q.Drainage != nil {
			air -= float64(q.Drainage.Depth)
		}
		for i := range q.HeatSources {
			if q.HeatSources[i].Power == nil {
				q.HeatSources[i].Power = new(quantity.Power(num("power", 1, 400)))
			}
		}
		rooms := []float64{num("first room", 5, 35), num("second room", 5, 35)}
		for range rapid.IntRange(1, 6).Draw(r, "readings") {
			room := rapid.SampledFrom(rooms).Draw(r, "room")
			q.Readings = append(q.Readings, airReading(math.Min(80, room+num("rise", -2, 20)), room, num("from left", 0, 1)*float64(q.Enclosure.Length), num("height", 0, 1)*air, rapid.SampledFrom([]string{"day", "night"}).Draw(r, "phase")))
		}
		for i, s := range q.HeatSources {
			if slices.Contains([]string{"basking-lamp", "halogen-lamp", "metal-halide-lamp"}, s.Kind) && rapid.Bool().Draw(r, "surface") {
				q.Readings = append(q.Readings, surfaceReading(rooms[0]+num("surface", 0, 50), rooms[0], i, "day"))
			}
		}
		a := climate(r, c, q).Calibration
		if a.Standing != care.Known {
			if a.Why == "" || len(a.Give) == 0 {
				r.Fatalf("not known: %+v", a.Basis)
			}
			return
		}
		known++
		// Evaporation is computed anew with the fitted coefficients, which can cost the fit a little.
		if a.Residual.Number > 2.005 || a.Residual.Number > a.ResidualBefore.Number+0.1 || a.Worst.Number < a.Residual.Number-0.01 || a.Spare < 1 {
			r.Fatalf("%+v", a)
		}
		for _, x := range a.Coefficients {
			if !(x.After.Low.Number <= x.After.Typical.Number && x.After.Typical.Number <= x.After.High.Number) || x.Fitted == (x.Why != "") {
				r.Fatalf("%+v", x)
			}
		}
	})
	if known == 0 {
		t.Error("no draw was fitted: the property says nothing")
	}
}

// The demo box with its readings, invented with the mixing along the length at 2.60
// and upward at 1.48 W/(m·K), 70 % of the vent flow and 73 % radiant, and put off by
// up to 0.4 K: each lies in the fitted interval. Water evaporates in it, and the
// profile of the winter, in which it was read, passes where the calibration says it does.
func TestClimateCalibrationDemo(t *testing.T) {
	raw, err := os.ReadFile("../testdata/demo/climate-glass-box-read.json")
	if err != nil {
		t.Fatal(err)
	}
	var q, again sizing.ClimateQuestion
	if err := json.Unmarshal(raw, &q, json.RejectUnknownMembers(true)); err != nil {
		t.Fatal(err)
	}
	text, err := json.Marshal(q, json.WithMarshalers(quantity.Marshalers(quantity.Metric)))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(text, &again, json.RejectUnknownMembers(true)); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(q.Readings, again.Readings); diff != "" {
		t.Errorf("readings do not survive the wire: %s", diff)
	}
	a := climate(t, catalogue(t), q)
	for code, truth := range map[string]float64{"along": 2.60, "up": 1.48, "vent": 70, "radiant": 73} {
		x := coefficient(t, a, code)
		within(t, code, truth, x.After.Low.Number, x.After.High.Number)
	}
	within(t, "residual", a.Calibration.Residual.Number, 0.1, 0.4)
	within(t, "residual before", a.Calibration.ResidualBefore.Number, 0.7, 2)
	within(t, "worst", a.Calibration.Worst.Number, 0.2, 0.6)
	if s := state(t, a, "winter", "day"); s.Heat.Evaporation < 1 {
		t.Errorf("%g W evaporate", float64(s.Heat.Evaporation))
	}
	for i, r := range a.Calibration.Readings {
		read := q.Readings[i]
		s := state(t, a, "winter", read.Phase)
		for _, x := range s.Air {
			if read.UnderSource == nil && math.Abs(float64(x.FromLeft-*read.FromLeft))+math.Abs(float64(x.Height-*read.Height)) < 1e-6 {
				within(t, r.Field+" in the profile", x.Temperature.Typical-*r.After, -0.02, 0.02)
			}
		}
	}
	for name, b := range map[string]sizing.Basis{"humidity": a.Humidity.Basis, "condensation": a.Condensation.Basis} {
		if !contains(b.Assumptions, "Fitted to 13 readings") {
			t.Errorf("%s does not say that it is fitted: %q", name, b.Assumptions)
		}
	}
}
