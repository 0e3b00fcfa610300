package sizing_test

import (
	"errors"
	"fmt"
	"math"
	"os"
	"reflect"
	"slices"
	"strings"
	"testing"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing"
	"denwright/sizing/heat"
	"denwright/sizing/score"

	"github.com/go-json-experiment/json"
	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// box reads one of the demo questions.
func box(t testing.TB, name string) sizing.ClimateQuestion {
	t.Helper()
	raw, err := os.ReadFile("../testdata/demo/climate-" + name + "-box.json")
	if err != nil {
		t.Fatal(err)
	}
	var q sizing.ClimateQuestion
	if err := json.Unmarshal(raw, &q, json.RejectUnknownMembers(true)); err != nil {
		t.Fatal(err)
	}
	return q
}

type fatal interface {
	Helper()
	Fatalf(string, ...any)
}

func climate(t fatal, c *care.Catalogue, q sizing.ClimateQuestion) *sizing.ClimateAnswer {
	t.Helper()
	a, err := sizing.Climate(c, q)
	if err != nil {
		t.Fatalf("climate: %v", err)
	}
	finite(t, a)
	return a
}

// finite walks the answer as it goes over the wire: no NaN, no infinity (both would
// be texts there), no figure beyond anything an enclosure could have.
func finite(t fatal, a *sizing.ClimateAnswer) {
	t.Helper()
	for _, system := range []quantity.System{quantity.Metric, quantity.Imperial} {
		raw, err := json.Marshal(a, json.WithMarshalers(quantity.Marshalers(system)))
		if err != nil {
			t.Fatalf("encode: %v", err)
		}
		var tree any
		if err := json.Unmarshal(raw, &tree); err != nil {
			t.Fatalf("decode: %v", err)
		}
		var walk func(at string, v any)
		walk = func(at string, v any) {
			switch v := v.(type) {
			case map[string]any:
				for k, x := range v {
					walk(at+"/"+k, x)
				}
			case []any:
				for i, x := range v {
					walk(fmt.Sprintf("%s/%d", at, i), x)
				}
			case float64:
				if math.Abs(v) > 1e8 {
					t.Fatalf("%s is %g", at, v)
				}
			case string:
				if slices.Contains([]string{"NaN", "Infinity", "-Infinity"}, v) || strings.Contains(v, "NaN") || strings.Contains(v, "Inf ") || strings.Contains(v, "%!") {
					t.Fatalf("%s is %q", at, v)
				}
			case nil:
				t.Fatalf("%s is null", at)
			}
		}
		walk("", tree)
	}
}

func within[T ~float64](t testing.TB, what string, got T, low, high float64) {
	t.Helper()
	if !(float64(got) >= low && float64(got) <= high) {
		t.Errorf("%s = %g, want %g to %g", what, float64(got), low, high)
	}
}

func state(t testing.TB, a *sizing.ClimateAnswer, room, phase string) sizing.ProfileState {
	t.Helper()
	for _, s := range a.Profile.States {
		if s.Room == room && s.Phase == phase {
			return s
		}
	}
	t.Fatalf("no profile of the %s %s", room, phase)
	return sizing.ProfileState{}
}

func contains(list []string, text string) bool {
	return slices.ContainsFunc(list, func(s string) bool { return strings.Contains(s, text) })
}

// A 60 × 45 × 45 cm glass box with a mesh lid, a 50 W halogen lamp 30 cm over its
// basking place and a 14 W mat, for a leopard gecko. What a keeper would recognise
// (common practice, no source, in wide terms): in a 20 °C room the cool end a few
// degrees over the room and the warm end some degrees more, the basking surface 35 to
// 50 °C unregulated, the thermostat holding the lamp well under its 50 W for 34 °C; a
// 14 W mat alone does not hold a cold night in such a box; dry air that needs little or
// no water; no dripping panes; some 15 kg of glass and 20 to 30 kg of damp soil; and a
// tube rated for shade dwellers that may hang 30 to 40 cm over the back.
func TestClimateGlassBox(t *testing.T) {
	a := climate(t, catalogue(t), box(t, "glass"))
	s := state(t, a, "winter", "day")
	within(t, "warm end", s.Air[0].Temperature.Typical, 23, 30)
	within(t, "cool end", s.Air[4].Temperature.Typical, 20.5, 25)
	within(t, "mean", s.Mean, 22, 28)
	if len(s.HotSpots) != 2 || s.HotSpots[0].Source != "basking lamp" || s.HotSpots[1].Mat == nil {
		t.Fatalf("hot spots: %+v", s.HotSpots)
	}
	within(t, "basking surface", s.HotSpots[0].Surface.Typical, 35, 50)
	within(t, "mat itself", s.HotSpots[1].Mat.Typical, 32, 50)
	within(t, "air changes", s.AirChanges.Typical.Number, 10, 150)
	within(t, "energy", a.Profile.Energy.Number, 0.93, 0.95) // 50 W for 12 h and 14 W for 24 h
	within(t, "warm-up", a.Profile.WarmUp[0].NinetyPercent, 0.3, 5)
	if !contains(a.Profile.Practices, "lowest temperature wanted") || !contains(a.Profile.Practices, "common practice, no source") {
		t.Errorf("practices: %v", a.Profile.Practices)
	}
	day, night := a.Heating.Rooms[0].Day, a.Heating.Rooms[0].Night
	within(t, "lamp for 34 °C", day.Sources[0].Power.Typical, 15, 50)
	within(t, "hot spot reached", day.HotSpot.Typical, 33.9, 34.1)
	if day.CoolEndHolds != "yes" {
		t.Errorf("the cool end of a winter day: %s", day.CoolEndHolds)
	}
	if len(night.Unmet) == 0 || night.Unmet[0].Target != "night_min" || night.Unmet[0].Nearest.Number >= 18 || night.Unmet[0].Reason == "" {
		t.Errorf("a 14 W mat on a 17 °C night: %+v", night.Unmet)
	}
	if summer := a.Heating.Rooms[1].Day.Sources[0].Power.Typical; summer >= day.Sources[0].Power.Typical {
		t.Errorf("the lamp gives %g W in summer, no less than in winter", float64(summer))
	}
	within(t, "water per winter day, g", a.Humidity.Days[0].WaterPerDay.Typical.Number, 0, 200)
	for _, c := range a.Condensation.States {
		for _, f := range c.Faces {
			if f.Wet {
				t.Errorf("%s %s: the %s drips in a dry box", c.Room, c.Phase, f.Face)
			}
		}
	}
	u := a.UV.Lamps[0]
	if u.Window == nil || u.Spectrum != "sun-like" {
		t.Fatalf("uv: %+v", u)
	}
	within(t, "window from", u.Window.From, 0.2, 0.4)
	within(t, "UV index at the window's near end", u.Window.UVIndexAtFrom, 1.39, 1.41) // the high end of the range
	within(t, "glass", a.Loads.Walls, 11, 16)
	within(t, "fill", a.Ground.Moist.Typical, 18, 27)
	within(t, "total", a.Loads.Total, 35, 60)
	if a.Loads.AskEngineer {
		t.Error("a 50 kg box asks for an engineer")
	}
	if a.Drainage.Standing != care.NotApplicable {
		t.Errorf("drainage: %+v", a.Drainage)
	}
	within(t, "longest day of a Pakistani gecko's year", slices.MaxFunc(a.DayLength.Months, func(x, y sizing.MonthLight) int { return int(1e6 * (x.DayLength - y.DayLength)) }).DayLength, 13, 15)
}

// A 240 × 120 × 180 cm box of insulated panel with glass doors, for a green iguana.
// What a keeper would recognise: 500 W unregulated would bake it, but regulated some
// 150 to 350 W hold a winter day and 100 to 300 W a winter night over a 15 °C room; it
// takes litres of water a day to hold such humidity over a dry winter room only
// through the vents that are open, here well under 3 L; the doors are the coldest face
// and the first to drip; the summer box is too warm at its cool end; a quarter ton of
// panel and glass with more than a ton of wet soil needs an engineer; and the tube may
// hang 30 to 60 cm over the back.
func TestClimatePanelBox(t *testing.T) {
	a := climate(t, catalogue(t), box(t, "panel"))
	s := state(t, a, "winter", "day")
	within(t, "unregulated mean", s.Mean, 28, 42)
	low, high := s.Air[2].Temperature.Typical, s.Air[7].Temperature.Typical
	if s.Air[2].Layer != "low" || s.Air[7].Layer != "high" || high <= low {
		t.Errorf("no warmer under the lid: %g over %g °C", float64(high), float64(low))
	}
	sum := func(list []sizing.SourceHeating) (w quantity.Power) {
		for _, s := range list {
			w += s.Power.Typical
		}
		return w
	}
	day, night := a.Heating.Rooms[0].Day, a.Heating.Rooms[0].Night
	within(t, "winter day, W", sum(day.Sources), 150, 350)
	within(t, "winter night, W", sum(night.Sources), 80, 300)
	within(t, "coldest at night", night.Coldest.Typical, 21.9, 22.1)
	if summer := a.Heating.Rooms[1].Day; summer.CoolEndHolds == "yes" || len(summer.Unmet) == 0 {
		t.Errorf("the cool end in summer: %+v", summer)
	}
	within(t, "winter water, g a day", a.Humidity.Days[0].WaterPerDay.Typical.Number, 200, 3000)
	within(t, "run per day, min", a.Humidity.Days[0].RunPerDay.Number, 5, 120)
	for _, c := range a.Condensation.States {
		for _, f := range c.Faces[1:] {
			if f.Face != "floor" && f.Margin.Number < c.Faces[0].Margin.Number {
				t.Errorf("%s %s: the %s is nearer to dripping than the glazed front", c.Room, c.Phase, f.Face)
			}
		}
	}
	u := a.UV.Lamps[0]
	if u.Window == nil || u.Window.FromSetBy != "ceiling" || !u.Window.Inside || u.Spectrum != "unknown" || !slices.Contains(u.Give, "/uv_lamps/0/shortest_wavelength") {
		t.Fatalf("uv: %+v", u)
	}
	within(t, "window from", u.Window.From, 0.2, 0.4)
	within(t, "window to", u.Window.To, 0.5, 0.75)
	within(t, "total", a.Loads.Total, 1200, 2000)
	if !a.Loads.AskEngineer || a.Loads.Reason == "" || a.Loads.Soil.Glass != nil || a.Loads.Soil.Note == "" {
		t.Errorf("loads: %+v", a.Loads)
	}
	within(t, "drainage holds, L", a.Drainage.Capacity.Litres(), 80, 120)
	within(t, "days to full", a.Drainage.DaysToFull.Number, 100, 1500)
	if a.Loads.Shelf == nil || a.Loads.Shelf.Thickness.Number < 15 {
		t.Errorf("shelf: %+v", a.Loads.Shelf)
	}
}

// plain is the least that can be asked: a box and a room.
func plain() sizing.ClimateQuestion {
	return sizing.ClimateQuestion{
		Enclosure: sizing.ClimateEnclosure{Length: 0.9, Width: 0.45, Height: 0.5, Walls: sizing.ClimateWall{Construction: "plywood-18mm"}},
		Room:      sizing.ClimateRoom{Winter: &sizing.RoomAir{Temperature: new(quantity.Temperature(20))}},
	}
}

// Nothing is assumed in silence: what a plain question leaves out is among the
// assumptions, or its part is not known and says what to give.
func TestClimateSaysWhatItAssumes(t *testing.T) {
	a := climate(t, catalogue(t), plain())
	all := slices.Concat(a.Assumptions, a.Profile.Assumptions)
	for _, text := range []string{"12 h in 24", "as warm by night", "bare floor", "The lid is closed", "Gaps pass half", "No open vent", "No source of heat", "lower half"} {
		if !contains(all, text) {
			t.Errorf("no assumption says %q: %q", text, all)
		}
	}
	for name, part := range map[string]struct {
		b    sizing.Basis
		give string
	}{
		"calibration":  {a.Calibration.Basis, "/readings"},
		"heating":      {a.Heating.Basis, "/species"},
		"humidity":     {a.Humidity.Basis, "/room/winter/humidity"},
		"condensation": {a.Condensation.Basis, "/room/winter/humidity"},
		"uv":           {a.UV.Basis, "/uv_lamps"},
		"day length":   {a.DayLength.Basis, "/species"},
	} {
		if part.b.Standing != care.NotKnown || part.b.Why == "" || !slices.Contains(part.b.Give, part.give) {
			t.Errorf("%s: %+v", name, part.b)
		}
	}
	if a.Profile.Standing != care.Known || len(a.Targets) != 0 {
		t.Errorf("profile %+v, targets %+v", a.Profile.Basis, a.Targets)
	}
	for _, s := range a.Profile.States {
		for _, r := range s.Air {
			within(t, "air of an unheated box", r.Temperature.Typical, 20-1e-9, 20+1e-9)
		}
	}
	// A source without its power: the profile can't be had, the need can.
	q := plain()
	q.HeatSources = []sizing.ClimateSource{{Kind: "halogen-lamp"}}
	q.Targets.HotSpot = new(quantity.Temperature(40))
	a = climate(t, catalogue(t), q)
	if a.Profile.Standing != care.NotKnown || !slices.Contains(a.Profile.Give, "/heat_sources/0/power") {
		t.Errorf("profile: %+v", a.Profile.Basis)
	}
	within(t, "lamp", a.Heating.Rooms[0].Day.Sources[0].Power.Typical, 10, 120)
	for _, text := range []string{"Run as basking", "a fifth of the length", "hangs 45 cm", "aimed at the substrate"} {
		if !contains(a.Heating.Assumptions, text) {
			t.Errorf("no assumption says %q", text)
		}
	}
	// A lamp without a reading.
	q.UVLamps = []sizing.ClimateUVLamp{{Shape: "tube"}}
	a = climate(t, catalogue(t), q)
	if l := a.UV.Lamps[0]; a.UV.Standing != care.NotKnown || l.Standing != care.NotKnown || !slices.Contains(l.Give, "/uv_lamps/0/reading") || l.UVIndex != nil {
		t.Errorf("uv: %+v", a.UV)
	}
}

// Only what is asked for is there.
func TestClimateParts(t *testing.T) {
	for _, part := range sizing.ClimateParts {
		q := box(t, "panel")
		q.Parts = []string{part}
		a := climate(t, catalogue(t), q)
		for name, have := range map[string]bool{"calibration": a.Calibration != nil, "profile": a.Profile != nil, "heating": a.Heating != nil, "humidity": a.Humidity != nil, "condensation": a.Condensation != nil,
			"uv": a.UV != nil, "day_length": a.DayLength != nil, "drainage": a.Drainage != nil, "ground": a.Ground != nil, "loads": a.Loads != nil} {
			if have != (name == part) {
				t.Errorf("asked for %s: %s is there: %v", part, name, have)
			}
		}
	}
}

// A part says the same whichever others were asked for with it.
func TestClimatePartsHangTogether(t *testing.T) {
	for _, name := range []string{"panel", "glass"} {
		whole := climate(t, catalogue(t), box(t, name))
		for _, part := range sizing.ClimateParts {
			q := box(t, name)
			q.Parts = []string{part}
			a := climate(t, catalogue(t), q)
			for _, pair := range [][2]any{{whole.Calibration, a.Calibration}, {whole.Profile, a.Profile}, {whole.Heating, a.Heating}, {whole.Humidity, a.Humidity}, {whole.Condensation, a.Condensation},
				{whole.UV, a.UV}, {whole.DayLength, a.DayLength}, {whole.Drainage, a.Drainage}, {whole.Ground, a.Ground}, {whole.Loads, a.Loads}} {
				if reflect.ValueOf(pair[1]).IsNil() {
					continue
				}
				if diff := cmp.Diff(pair[0], pair[1]); diff != "" {
					t.Errorf("%s box, %s asked for alone: %s", name, part, diff)
				}
			}
		}
	}
}

func fig(x float64, unit string) *score.Figure { return &score.Figure{Number: x, Unit: unit} }

// Every bad field is named, all of them at once.
func TestClimateNamesEveryBadField(t *testing.T) {
	c := catalogue(t)
	cm := func(x float64) *quantity.Length { return new(quantity.Centimetres(x)) }
	percent := func(x float64) *quantity.Fraction { return new(quantity.Percent(x)) }
	for name, tt := range map[string]struct {
		edit func(*sizing.ClimateQuestion)
		want []string
	}{
		"negative conductivity": {func(q *sizing.ClimateQuestion) {
			q.Enclosure.Walls = sizing.ClimateWall{Layers: []sizing.ClimateLayer{{Thickness: 0.01, Conductivity: fig(-1, "W/(m·K)")}}}
		}, []string{"/enclosure/walls/layers/0/conductivity"}},
		"conductivity in another unit": {func(q *sizing.ClimateQuestion) {
			q.Enclosure.Walls = sizing.ClimateWall{Layers: []sizing.ClimateLayer{{Material: "plywood", Thickness: 0.01}, {Thickness: 0.01, Conductivity: fig(1, "W")}}}
		}, []string{"/enclosure/walls/layers/1/conductivity"}},
		"layers and construction": {func(q *sizing.ClimateQuestion) {
			q.Enclosure.Walls.Layers = []sizing.ClimateLayer{{Material: "plywood", Thickness: 0.01}}
		}, []string{"/enclosure/walls/layers"}},
		"closed vents with a fan": {func(q *sizing.ClimateQuestion) {
			q.Enclosure.Lid = nil
			q.Enclosure.Vents[0].Area = new(quantity.Area(0))
			q.Enclosure.Fan = fig(10, "m³/h")
			q.HeatSources = nil
		}, []string{"/enclosure/fan"}},
		"open vent that passes nothing": {func(q *sizing.ClimateQuestion) { q.Enclosure.Vents[0].OpenShare = percent(0) }, []string{"/enclosure/vents/0/open_share"}},
		"wire without pitch": {func(q *sizing.ClimateQuestion) {
			q.Enclosure.Lid.Mesh = &sizing.ClimateMesh{Wire: cm(0.05), Pitch: cm(0)}
		}, []string{"/enclosure/lid/mesh/pitch"}},
		"wire thicker than pitch": {func(q *sizing.ClimateQuestion) {
			q.UVLamps[0].Mesh = &sizing.ClimateMesh{Wire: cm(0.5), Pitch: cm(0.3)}
		}, []string{"/uv_lamps/0/mesh/wire"}},
		"no length":     {func(q *sizing.ClimateQuestion) { q.Enclosure.Length = 0 }, []string{"/enclosure/length"}},
		"NaN width":     {func(q *sizing.ClimateQuestion) { q.Enclosure.Width = quantity.Length(math.NaN()) }, []string{"/enclosure/width"}},
		"humidity":      {func(q *sizing.ClimateQuestion) { q.Room.Winter.Humidity = percent(120) }, []string{"/room/winter/humidity"}},
		"hot room":      {func(q *sizing.ClimateQuestion) { q.Room.Summer.Temperature = new(quantity.Temperature(95)) }, []string{"/room/summer/temperature"}},
		"no room":       {func(q *sizing.ClimateQuestion) { q.Room = sizing.ClimateRoom{} }, []string{"/room"}},
		"absurd target": {func(q *sizing.ClimateQuestion) { q.Targets.HotSpot = new(quantity.Temperature(400)) }, []string{"/targets/hot_spot"}},
		"crossed targets": {func(q *sizing.ClimateQuestion) {
			q.Targets.WarmMin, q.Targets.WarmMax = new(quantity.Temperature(30)), new(quantity.Temperature(25))
		}, []string{"/targets/warm_max"}},
		"deep soil":        {func(q *sizing.ClimateQuestion) { q.Substrate.Depth = 0.6 }, []string{"/substrate/depth"}},
		"unknown soil":     {func(q *sizing.ClimateQuestion) { q.Substrate.Kind = "cheese" }, []string{"/substrate/kind"}},
		"wetter than wet":  {func(q *sizing.ClimateQuestion) { q.Substrate.WaterContent = percent(90) }, []string{"/substrate/water_content"}},
		"lamp above lid":   {func(q *sizing.ClimateQuestion) { q.HeatSources[0].Height = cm(70) }, []string{"/heat_sources/0/height"}},
		"spot above lamp":  {func(q *sizing.ClimateQuestion) { q.HeatSources[0].SpotHeight = cm(38) }, []string{"/heat_sources/0/spot_height"}},
		"three distances":  {func(q *sizing.ClimateQuestion) { q.HeatSources[0].Distance = cm(5) }, []string{"/heat_sources/0/distance"}},
		"lamp on glass":    {func(q *sizing.ClimateQuestion) { q.Enclosure.Lid.Kind, q.HeatSources[0].Place = "glass", "outside" }, []string{"/heat_sources/0/place"}},
		"basking mat":      {func(q *sizing.ClimateQuestion) { q.HeatSources[1].Role = "basking" }, []string{"/heat_sources/1/role"}},
		"negative power":   {func(q *sizing.ClimateQuestion) { q.HeatSources[0].Power = new(quantity.Power(-5)) }, []string{"/heat_sources/0/power"}},
		"place of a lamp":  {func(q *sizing.ClimateQuestion) { q.HeatSources[0].FromLeft = cm(80) }, []string{"/heat_sources/0/from_left"}},
		"reading of no UV": {func(q *sizing.ClimateQuestion) { q.UVLamps[0].Reading.UVIndex = 0 }, []string{"/uv_lamps/0/reading/uv_index"}},
		"tube, no length":  {func(q *sizing.ClimateQuestion) { q.UVLamps[0].LitLength = nil }, []string{"/uv_lamps/0/lit_length"}},
		"water over floor": {func(q *sizing.ClimateQuestion) { q.Water.Area = 3 }, []string{"/water/area"}},
		"fog":              {func(q *sizing.ClimateQuestion) { q.Humidifier = &sizing.Humidifier{Kind: "fogger"} }, []string{"/humidifier/output_per_hour"}},
		"part":             {func(q *sizing.ClimateQuestion) { q.Parts = []string{"weather"} }, []string{"/parts/0"}},
		"animals alone":    {func(q *sizing.ClimateQuestion) { q.Species = "" }, []string{"/species"}},
		"many at once": {func(q *sizing.ClimateQuestion) {
			q.Enclosure.Height = -1
			q.Enclosure.Walls.Construction = "straw"
			q.Enclosure.Leakage = fig(-1, "1/h")
			q.Room.Winter.Humidity = percent(-1)
			q.DayHours = new(quantity.Hours(30))
			q.HeatSources[0].Kind = "campfire"
			q.HeatSources[1].Power = new(quantity.Power(math.Inf(1)))
			q.UVLamps[0].Kept = percent(0)
			q.Targets.NightMin = new(quantity.Temperature(math.NaN()))
			q.Load.Shelf = &sizing.ClimateShelf{Board: "plywood"}
			q.Species = "unicorn"
		}, []string{"/day_hours", "/enclosure/height", "/enclosure/leakage", "/enclosure/walls/construction", "/heat_sources/0/kind", "/heat_sources/1/power",
			"/load/shelf/thickness", "/room/winter/humidity", "/species", "/targets/night_min", "/uv_lamps/0/kept"}},
	} {
		t.Run(name, func(t *testing.T) {
			q := box(t, "glass")
			tt.edit(&q)
			_, err := sizing.Climate(c, q)
			var bad sizing.Invalid
			if !errors.As(err, &bad) {
				t.Fatalf("got %v, want fields %v", err, tt.want)
			}
			var got []string
			for _, p := range bad {
				got = append(got, p.Field)
				if p.Reason == "" {
					t.Errorf("%s without a reason", p.Field)
				}
			}
			slices.Sort(got)
			if diff := cmp.Diff(tt.want, got); diff != "" {
				t.Error(diff)
			}
		})
	}
}

// A target out of reach is an answer: reason and nearest value, in every part.
func TestClimateUnreachable(t *testing.T) {
	c := catalogue(t)
	q := box(t, "glass")
	q.Species, q.Animals = "", nil
	q.Targets = sizing.ClimateTargets{HotSpot: new(quantity.Temperature(70)), WarmMin: new(quantity.Temperature(45)), CoolMax: new(quantity.Temperature(12)), NightMin: new(quantity.Temperature(40)),
		HumidityDay: &sizing.HumidityRange{High: new(quantity.Percent(1))}, HumidityNight: &sizing.HumidityRange{Low: new(quantity.Percent(99))},
		UV: &sizing.UVRange{Low: 20, High: 25, Ceiling: new(quantity.UVIndex(30))}}
	q.Humidifier = &sizing.Humidifier{Kind: "mister", OutputPerHour: quantity.Litres(0.001)}
	a := climate(t, c, q)
	seen := map[string]bool{}
	check := func(list []sizing.ClimateUnmet) {
		for _, u := range list {
			seen[u.Target] = true
			if u.Reason == "" || u.When == "" || u.Wanted.Unit != u.Nearest.Unit || u.Wanted.Number == u.Nearest.Number {
				t.Errorf("%+v", u)
			}
		}
	}
	for _, r := range a.Heating.Rooms {
		check(r.Day.Unmet)
		check(r.Night.Unmet)
		if !r.Day.RoomTooWarm || r.Day.Cooling == nil {
			t.Errorf("a room of 20 °C for a cool end of 12 °C asks for no cooling: %+v", r.Day)
		}
	}
	for _, s := range a.Humidity.States {
		check(s.Unmet)
	}
	for _, d := range a.Humidity.Days {
		check(d.Unmet)
	}
	for _, l := range a.UV.Lamps {
		check(l.Unmet)
		if l.Window != nil {
			t.Errorf("a window for UV index 20 under a weak tube: %+v", l.Window)
		}
	}
	for _, target := range []string{"hot_spot", "warm_min", "night_min", "humidity_day", "humidity_night", "uv"} {
		if !seen[target] {
			t.Errorf("%s is not said to be out of reach", target)
		}
	}
}

// A cool amphibian in a warm room: watts of cooling, not an error.
func TestClimateCools(t *testing.T) {
	q := sizing.ClimateQuestion{Species: "ambystoma-mexicanum",
		Enclosure: sizing.ClimateEnclosure{Length: 1, Width: 0.4, Height: 0.5, Walls: sizing.ClimateWall{Construction: "glass-6mm"}, Lid: &sizing.ClimateLid{Kind: "mesh"}},
		Room:      sizing.ClimateRoom{Summer: &sizing.RoomAir{Temperature: new(quantity.Temperature(28)), NightTemperature: new(quantity.Temperature(25))}}}
	c := catalogue(t)
	if day := climate(t, c, q).Heating.Rooms[0].Day; !day.RoomTooWarm || day.Cooling == nil || len(day.Unmet) != 0 {
		t.Fatalf("the species' own range: %+v", day)
	}
	// By hand, for 20 °C: 1.4 m² of side at 3.8 W/m²K, 0.4 m² of floor at 2.9 and as much
	// of mesh at 2.5, and 1.1 m³ of air an hour, over 8 K, are some 62 W.
	q.Targets.AirMax = new(quantity.Temperature(20))
	day := climate(t, c, q).Heating.Rooms[0].Day
	within(t, "cooling", day.Cooling.Typical, 50, 75)
}

// Imperial answers convert temperatures but never differences of them.
func TestClimateImperial(t *testing.T) {
	a := climate(t, catalogue(t), box(t, "glass"))
	raw, err := json.Marshal(a, json.WithMarshalers(quantity.Marshalers(quantity.Imperial)))
	if err != nil {
		t.Fatal(err)
	}
	text := string(raw)
	for unit, want := range map[string]bool{`"unit":"°F"`: true, `"unit":"in"`: true, `"unit":"K"`: true, `"unit":"°C"`: false, `"unit":"cm"`: false, `"unit":"kg"`: false} {
		if strings.Contains(text, unit) != want {
			t.Errorf("%s in the imperial answer: %v", unit, !want)
		}
	}
}

// anyClimate draws a valid question.
func anyClimate(r *rapid.T, c *care.Catalogue) sizing.ClimateQuestion {
	num := func(name string, low, high float64) float64 { return rapid.Float64Range(low, high).Draw(r, name) }
	has := func(name string) bool { return rapid.Bool().Draw(r, "has "+name) }
	pick := func(name string, of []string) string { return rapid.SampledFrom(of).Draw(r, name) }
	share := func(name string, low, high float64) *quantity.Fraction {
		if !has(name) {
			return nil
		}
		return new(quantity.Fraction(num(name, low, high)))
	}
	var q sizing.ClimateQuestion
	if has("species") {
		q.Species = drawSpecies(r, c).ID
		if has("animals") {
			q.Animals = []sizing.Animal{{Count: rapid.IntRange(1, 4).Draw(r, "count"), Stage: rapid.SampledFrom(care.Stages).Draw(r, "stage")}}
		}
	}
	e := &q.Enclosure
	e.Length, e.Width, e.Height = quantity.Length(num("length", 0.2, 4)), quantity.Length(num("width", 0.2, 2)), quantity.Length(num("height", 0.3, 3))
	e.Walls.Construction = pick("walls", sizing.Constructions)
	if has("layers") {
		e.Walls = sizing.ClimateWall{Layers: []sizing.ClimateLayer{{Material: pick("material", sizing.MaterialNames()), Thickness: quantity.Length(num("thickness", 0.002, 0.1))},
			{Thickness: 0.003, Conductivity: fig(num("conductivity", 0.02, 20), "W/(m·K)")}}}
	}
	if has("front") {
		e.Front = &sizing.ClimateWall{Construction: pick("front", sizing.Constructions), GlazedShare: share("glazed", 0, 1)}
	}
	mesh := false
	if has("lid") {
		e.Lid = &sizing.ClimateLid{Kind: pick("lid", []string{"mesh", "glass", "panel"}), MeshShare: share("mesh share", 0, 1)}
		mesh = e.Lid.Kind == "mesh" && e.Lid.MeshShare == nil || e.Lid.MeshShare != nil && *e.Lid.MeshShare > 0
	}
	filled := quantity.Length(0)
	if has("substrate") {
		q.Substrate = &sizing.ClimateSubstrate{Kind: pick("soil", sizing.SubstrateKinds()), Depth: quantity.Length(num("depth", 0.01, 0.15))}
		filled = q.Substrate.Depth
		if has("drainage") {
			q.Drainage = &sizing.ClimateDrainage{Depth: quantity.Length(num("drainage", 0.01, 0.08))}
			filled += q.Drainage.Depth
		}
	}
	air := e.Height - filled
	if has("vent") {
		e.Vents = []sizing.ClimateVent{{Side: pick("side", []string{"left", "right", "front", "top"}), Area: new(quantity.Area(num("vent", 0, 0.05) * 0.2 * float64(air))), Bottom: new(air * 0.1), Top: new(air * 0.3)}}
		if *e.Vents[0].Area > 1e-6 && has("fan") {
			e.Fan = fig(num("fan", 0, 20), "m³/h")
		}
	}
	room := func(name string, low, high float64) *sizing.RoomAir {
		a := &sizing.RoomAir{Temperature: new(quantity.Temperature(num(name, low, high))), Humidity: share(name+" humidity", 0, 1)}
		if has(name + " night") {
			a.NightTemperature = new(quantity.Temperature(num(name+" night", low, high)))
		}
		return a
	}
	q.Room.Winter = room("winter", 5, 24)
	if has("summer") {
		q.Room.Summer = room("summer", 15, 38)
	}
	if has("day") {
		q.DayHours = new(quantity.Hours(num("day", 0, 24)))
	}
	for i := range rapid.IntRange(0, 3).Draw(r, "sources") {
		s := sizing.ClimateSource{Kind: pick(fmt.Sprint("kind", i), sizing.SourceKinds), Position: share(fmt.Sprint("position", i), 0, 1)}
		if has(fmt.Sprint("power", i)) {
			s.Power = new(quantity.Power(num(fmt.Sprint("power", i), 1, 400)))
		}
		if strings.Contains(s.Kind, "lamp") && has(fmt.Sprint("outside", i)) && mesh {
			s.Place = "outside"
		}
		q.HeatSources = append(q.HeatSources, s)
	}
	if has("uv lamp") {
		l := sizing.ClimateUVLamp{Shape: pick("shape", []string{"tube", "compact"}), LitLength: new(quantity.Length(num("lit", 0.1, 1.5))), Kept: share("kept", 0.2, 1), Passed: share("passed", 0, 1)}
		if has("reading") {
			l.Reading = &sizing.UVReading{UVIndex: quantity.UVIndex(num("uvi", 0.1, 15)), Distance: quantity.Length(num("read at", 0.1, 1))}
		}
		if has("uv power") {
			l.Power = new(quantity.Power(num("uv power", 0, 80)))
		}
		q.UVLamps = append(q.UVLamps, l)
		q.HighestPlatform = new(air * quantity.Length(num("platform", 0, 1)))
	}
	if has("humidifier") {
		q.Humidifier = &sizing.Humidifier{Kind: pick("device", []string{"fogger", "mister"}), OutputPerHour: quantity.Litres(num("output", 0.01, 10))}
		if has("run time") {
			q.Humidifier.RunTime = new(quantity.Hours(num("run time", 0.01, 2)))
		}
	}
	if has("water") {
		q.Water = &sizing.ClimateWater{Area: quantity.Area(float64(e.Length*e.Width) * num("water", 0.01, 0.99))}
	}
	if has("load") {
		q.Load = &sizing.ClimateLoad{Furnishings: new(quantity.Mass(num("rocks", 0, 200))), Stand: &sizing.ClimateStand{Feet: rapid.IntRange(0, 8).Draw(r, "feet")},
			Shelf: &sizing.ClimateShelf{Board: pick("board", sizing.BoardNames()), Thickness: quantity.Length(num("shelf", 0.005, 0.05))}}
	}
	target := func(name string, low, high float64) *quantity.Temperature {
		if !has(name) {
			return nil
		}
		return new(quantity.Temperature(num(name, low, high)))
	}
	q.Targets = sizing.ClimateTargets{HotSpot: target("hot", 20, 60), WarmMin: target("warm", 15, 36), CoolMax: target("cool", 10, 34), NightMin: target("night", 5, 30)}
	if has("humidity target") {
		q.Targets.HumidityDay = &sizing.HumidityRange{Low: share("humid", 0, 1)}
	}
	return q
}

// Whatever valid question is asked: no error, no NaN or infinity, every watt
// accounted for, intervals in order.
func TestClimateAnswersEveryValidQuestion(t *testing.T) {
	c := catalogue(t)
	rapid.Check(t, func(r *rapid.T) {
		a := climate(r, c, anyClimate(r, c))
		conserve := func(where string, h sizing.HeatBudget) {
			out := []quantity.Power{h.Front, h.Back, h.Left, h.Right, h.Top, h.Floor, h.Vents, h.Evaporation, h.Outside}
			var sum, scale float64
			for _, w := range out {
				sum += float64(w)
				scale += math.Abs(float64(w))
			}
			if math.Abs(sum-float64(h.In)) > 1e-9*(scale+math.Abs(float64(h.In))) {
				r.Fatalf("%s: %g W in, %g W out", where, float64(h.In), sum)
			}
		}
		order := func(where string, low, typical, high float64) {
			if !(low <= typical && typical <= high) {
				r.Fatalf("%s out of order: %g, %g, %g", where, low, typical, high)
			}
		}
		for _, s := range a.Profile.States {
			conserve("profile", s.Heat)
			for _, x := range s.Air {
				order("air", float64(x.Temperature.Low), float64(x.Temperature.Typical), float64(x.Temperature.High))
			}
		}
		for _, room := range a.Heating.Rooms {
			for _, ph := range []sizing.PhaseHeating{room.Day, room.Night} {
				conserve("heating", ph.Heat)
				for _, s := range ph.Sources {
					order("watts", float64(s.Power.Low), float64(s.Power.Typical), float64(s.Power.High))
				}
			}
		}
		for _, s := range a.Humidity.States {
			if s.WithNothingAdded < 0 || s.WithNothingAdded > 1 || s.DewPoint > s.AirTemperature+1e-6 {
				r.Fatalf("humidity: %+v", s)
			}
			if w := s.WaterPerHour; w != nil {
				order("water", w.Low.Number, w.Typical.Number, w.High.Number)
			}
		}
		for _, l := range a.UV.Lamps {
			if w := l.Window; w != nil && w.From > w.To+1e-9 {
				r.Fatalf("window: %+v", w)
			}
		}
	})
}

// More leakage takes more water and more heat, all else equal, where the room is
// drier and colder than what is wanted.
func TestClimateLeakageCosts(t *testing.T) {
	c := catalogue(t)
	rapid.Check(t, func(r *rapid.T) {
		q := plain()
		q.Room.Winter.Humidity = new(quantity.Percent(40))
		q.HeatSources = []sizing.ClimateSource{{Kind: "radiant-panel", Power: new(quantity.Power(400))}}
		q.Targets = sizing.ClimateTargets{NightMin: new(quantity.Temperature(26)), HumidityNight: &sizing.HumidityRange{Low: new(quantity.Percent(70))}}
		q.Parts = []string{"heating", "humidity"}
		n := rapid.Float64Range(0.1, 5).Draw(r, "leakage")
		more := n + rapid.Float64Range(0.05, 5).Draw(r, "more")
		q.Enclosure.Leakage = fig(n, "1/h")
		tight := climate(r, c, q)
		q.Enclosure.Leakage = fig(more, "1/h")
		loose := climate(r, c, q)
		if x, y := tight.Heating.Rooms[0].Night.Sources[0].Power.Typical, loose.Heating.Rooms[0].Night.Sources[0].Power.Typical; y < x {
			r.Fatalf("%g air changes take %g W, %g only %g W", n, float64(x), more, float64(y))
		}
		if x, y := tight.Humidity.States[1].WaterPerHour.Typical.Number, loose.Humidity.States[1].WaterPerHour.Typical.Number; y < x {
			r.Fatalf("%g air changes take %g g/h, %g only %g g/h", n, x, more, y)
		}
	})
}

// The heat that the profile says evaporation draws is that of the water in the
// humidity part: the two are solved together.
func TestClimateEvaporationIsOne(t *testing.T) {
	c := catalogue(t)
	for _, name := range []string{"glass", "panel"} {
		q := box(t, name)
		// Without targets of heat nothing is regulated, and both rest on full power.
		held := sizing.HumidityRange{Low: new(quantity.Percent(60))}
		q.Species, q.Animals, q.Targets = "", nil, sizing.ClimateTargets{HumidityDay: &held, HumidityNight: &held}
		a := climate(t, c, q)
		for i, s := range a.Profile.States {
			x, y := float64(s.Heat.Evaporation), float64(a.Humidity.States[i].Latent)
			if math.Abs(x-y) > 0.6+0.02*x {
				t.Errorf("%s, %s %s: %g W in the profile, %g W in the humidity", name, s.Room, s.Phase, x, y)
			}
		}
	}
}

// With the air exchange held (gaps and a fan, and vents in which warmth drives
// nothing), doubling the insulation of any side never raises the watts that hold the
// night, in a box of any number of cells, with mesh and open vents too. The reason: a
// smaller loss makes every entry of the balance's inverse larger, and no less of each
// source's heat stays inside. Where warmth drives the vents it is not so: package heat
// says how little it can then fail by.
func TestInsulationNeverCostsWithAirHeld(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		num := func(name string, low, high float64) float64 { return rapid.Float64Range(low, high).Draw(r, name) }
		face := func(name string) heat.Face {
			f := heat.Face{Layers: []heat.Layer{{Thickness: num(name+" d", 0.003, 0.06), Conductivity: num(name+" k", 0.03, 1.1)}}}
			if name != "floor" && rapid.Bool().Draw(r, name+" mesh") {
				f.Mesh, f.MeshOpen = num(name+" mesh", 0.05, 0.95), num(name+" open", 0.2, 0.9)
			}
			return f
		}
		e := heat.Enclosure{Length: num("length", 0.3, 4), Depth: num("depth", 0.3, 1.5), Height: num("height", 0.3, 2.5),
			Faces: heat.Faces{Front: face("front"), Back: face("back"), Left: face("left"), Right: face("right"), Top: face("top"), Floor: face("floor")},
			Zones: 2*rapid.IntRange(0, 4).Draw(r, "zones") + 1, Layers: rapid.IntRange(1, 4).Draw(r, "layers"), Leakage: num("leakage", 0, 5),
			Substrate: heat.Layer{Thickness: num("soil", 0.01, 0.3), Conductivity: num("soil k", 0.04, 2.5)}}
		e.Openings = []heat.Opening{{Side: heat.Front, Area: 0.02 * e.Length * e.Height, FreeShare: 0.5, Low: 0.1 * e.Height, High: 0.2 * e.Height}}
		e.Fan = num("fan", 0, 0.01)
		e.Coefficients.Vent = heat.Exactly(1e-12) // 0 would ask for the default
		kind := heat.Kind(rapid.SampledFrom([]int{int(heat.CeramicEmitter), int(heat.RadiantPanel), int(heat.HeatMat)}).Draw(r, "kind"))
		src := heat.Source{Name: "heater", Kind: kind, X: e.Length * num("x", 0, 1), Z: e.Height, Watts: 1e4}
		if kind == heat.HeatMat {
			src.Z, src.Width, src.Footprint = 0, e.Length/3, e.Length*e.Depth/4
		}
		watts := func(e heat.Enclosure) float64 {
			a, err := heat.Require(heat.Need{Enclosure: e, Rooms: []heat.Room{{Name: "winter", Day: 18, Night: 18}}, DayHours: 12,
				Equipment: []heat.Equipment{{Source: src, Role: heat.NightHeater}}, Targets: heat.Targets{NightMin: new(24.0)}})
			if err != nil {
				r.Fatal(err)
			}
			return a[0].Night.Watts[0].Watts.Typical
		}
		before := watts(e)
		faces := []*heat.Face{&e.Faces.Front, &e.Faces.Back, &e.Faces.Left, &e.Faces.Right, &e.Faces.Top, &e.Faces.Floor}
		f := faces[rapid.IntRange(0, 5).Draw(r, "side")]
		f.Layers = append(slices.Clone(f.Layers), f.Layers...)
		if after := watts(e); after > before*(1+1e-6)+1e-4 {
			r.Fatalf("doubling the insulation raises %g W to %g W", before, after)
		}
	})
}

// BenchmarkClimate measures a plain profile (one room, one lamp), and the whole answer for the glass box.
func BenchmarkClimate(b *testing.B) {
	c := catalogue(b)
	profile := plain()
	profile.Enclosure.Lid = &sizing.ClimateLid{Kind: "mesh"}
	profile.HeatSources = []sizing.ClimateSource{{Kind: "halogen-lamp", Power: new(quantity.Power(50))}}
	profile.Parts = []string{"profile"}
	heating := box(b, "glass")
	heating.Parts = []string{"heating"}
	for _, bb := range []struct {
		name string
		q    sizing.ClimateQuestion
	}{{"profile", profile}, {"heating", heating}, {"glass box", box(b, "glass")}, {"panel box", box(b, "panel")}} {
		b.Run(bb.name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := sizing.Climate(c, bb.q); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
