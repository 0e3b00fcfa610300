package pages

import (
	"math"
	"net/http"
	"net/url"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/go-json-experiment/json"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing"
)

// glassBox is testdata/demo/climate-glass-box.json as the form sends it.
var glassBox = url.Values{"units": {"metric"}, "species": {"eublepharis-macularius"}, "animals.0.count": {"1"}, "animals.0.stage": {"adult"},
	"enclosure.length": {"60"}, "enclosure.width": {"45"}, "enclosure.height": {"45"}, "enclosure.walls.construction": {"glass-4mm"}, "enclosure.floor.construction": {"glass-6mm"},
	"enclosure.lid.kind": {"mesh"}, "enclosure.lid.mesh.open_area": {"60"}, "enclosure.vents.0.side": {"front"}, "enclosure.vents.0.area": {"60"}, "enclosure.vents.0.open_share": {"40"},
	"enclosure.vents.0.bottom": {"5"}, "enclosure.vents.0.top": {"7"}, "enclosure.front_braced": {"yes"},
	"substrate.kind": {"sandy clay loam"}, "substrate.depth": {"5"}, "substrate.water_content": {"5"},
	"room.winter.temperature": {"20"}, "room.winter.night_temperature": {"17"}, "room.winter.humidity": {"35"},
	"room.summer.temperature": {"25"}, "room.summer.night_temperature": {"22"}, "room.summer.humidity": {"55"}, "day_hours": {"12"},
	"heat_sources.0.kind": {"halogen-lamp"}, "heat_sources.0.power": {"50"}, "heat_sources.0.from_left": {"12"}, "heat_sources.0.height": {"36"}, "heat_sources.0.spot_height": {"6"},
	"heat_sources.1.kind": {"heat-mat"}, "heat_sources.1.power": {"14"}, "heat_sources.1.from_left": {"12"}, "heat_sources.1.covers": {"20"}, "heat_sources.1.area": {"800"},
	"uv_lamps.0.shape": {"tube"}, "uv_lamps.0.lit_length": {"50"}, "uv_lamps.0.reading.uv_index": {"2.4"}, "uv_lamps.0.reading.distance": {"30"}, "uv_lamps.0.mesh.open_area": {"60"},
	"uv_lamps.0.height": {"42"}, "uv_lamps.0.platform": {"6"}, "uv_lamps.0.shortest_wavelength": {"293"}, "highest_platform": {"10"},
	"water.area": {"80"}, "water.depth": {"3"}, "load.furnishings": {"6"}}

// with is a query with some fields changed; "" takes a field out.
func with(v url.Values, changes ...string) string {
	out := url.Values{}
	for name, values := range v {
		out[name] = values
	}
	for i := 0; i+1 < len(changes); i += 2 {
		if out.Set(changes[i], changes[i+1]); changes[i+1] == "" {
			out.Del(changes[i])
		}
	}
	return "/climate?" + out.Encode()
}

func demoAnswer(t *testing.T, c *care.Catalogue) *sizing.ClimateAnswer {
	t.Helper()
	raw, err := os.ReadFile("../../testdata/demo/climate-glass-box.json")
	if err != nil {
		t.Fatal(err)
	}
	var q sizing.ClimateQuestion
	if err := json.Unmarshal(raw, &q); err != nil {
		t.Fatal(err)
	}
	a, err := sizing.Climate(c, q)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// affine reports by how much pixels are off the straight line through those of the least
// and the greatest figure.
func affine(figures, pixels []float64) (worst float64) {
	low, high := 0, 0
	for i, x := range figures {
		if x < figures[low] {
			low = i
		}
		if x > figures[high] {
			high = i
		}
	}
	for i, x := range figures {
		want := pixels[low] + (x-figures[low])/(figures[high]-figures[low])*(pixels[high]-pixels[low])
		worst = max(worst, math.Abs(want-pixels[i]))
	}
	return worst
}

func dots(page, class string) (x, y []float64) {
	for _, m := range regexp.MustCompile(`<circle class="`+class+`" cx="([-\d.]+)" cy="([-\d.]+)"`).FindAllStringSubmatch(page, -1) {
		cx, _ := strconv.ParseFloat(m[1], 64)
		cy, _ := strconv.ParseFloat(m[2], 64)
		x, y = append(x, cx), append(y, cy)
	}
	return x, y
}

func drawing(page, id string) string {
	_, rest, _ := strings.Cut(page, `aria-labelledby="`+id+`-t`)
	svg, _, _ := strings.Cut(rest, "</svg>")
	return svg
}

// The form asks what the demo question asks; every point drawn lies where the answer's
// figure is, and the table bears the same figures.
func TestClimatePicturesAreTheAnswer(t *testing.T) {
	h := serve(t)
	c, err := care.Embedded()
	if err != nil {
		t.Fatal(err)
	}
	a := demoAnswer(t, c)
	_, page := visit(t, h, with(glassBox))
	for _, room := range []string{"winter", "summer"} {
		var temperatures, places []float64
		for _, s := range a.Profile.States {
			if s.Room != room {
				continue
			}
			for _, layer := range []string{"low", "high"} {
				for _, r := range s.Air {
					if r.Layer != layer {
						continue
					}
					temperatures, places = append(temperatures, r.Temperature.Typical.Value().In(quantity.Metric).Number), append(places, r.FromLeft.Value().In(quantity.Metric).Number)
					if !strings.Contains(page, ">"+estimated(r.Temperature, quantity.Metric)+"<") {
						t.Errorf("%s: the table lacks %s", room, estimated(r.Temperature, quantity.Metric))
					}
				}
			}
		}
		x, y := dots(drawing(page, "air-"+room), "point")
		if len(x) != len(places) || len(x) != 20 {
			t.Fatalf("%s: %d points drawn, %d in the answer", room, len(x), len(places))
		}
		if off := affine(places, x); off > 0.2 {
			t.Errorf("%s: points are off along the length by %.2f pixels", room, off)
		}
		if off := affine(temperatures, y); off > 0.2 {
			t.Errorf("%s: points are off in temperature by %.2f pixels", room, off)
		}
	}
	for _, r := range a.Heating.Rooms {
		for _, s := range slices.Concat(r.Day.Sources, r.Night.Sources) {
			if !strings.Contains(page, estimated(s.Power, quantity.Metric)) {
				t.Errorf("the page lacks the watts of %s, %s", s.Source, estimated(s.Power, quantity.Metric))
			}
		}
	}
	_, light := visit(t, h, with(glassBox, "part", "light"))
	uvi := a.UV.Lamps[0].UVIndex.Value().In(quantity.Metric).String()
	if !strings.Contains(drawing(light, "uv-0"), ">"+uvi+"<") || !strings.Contains(light, "<strong>"+uvi+"</strong>") {
		t.Errorf("UV index %s is not in the picture and beside it", uvi)
	}
	_, y := dots(drawing(light, "day-length"), "point")
	var hours []float64
	for _, m := range a.DayLength.Months {
		hours = append(hours, float64(m.DayLength))
	}
	if len(y) != 12 || affine(hours, y) > 0.2 {
		t.Errorf("the year has %d marks, off by %.2f pixels", len(y), affine(hours, y))
	}
	_, damp := visit(t, h, with(glassBox, "part", "damp"))
	for _, s := range a.Humidity.States {
		if !strings.Contains(damp, ">"+s.WithNothingAdded.Value().In(quantity.Metric).String()+"<") {
			t.Errorf("the page lacks the humidity with nothing added, %v", s.WithNothingAdded.Value())
		}
	}
	_, ground := visit(t, h, with(glassBox, "part", "ground"))
	if total := a.Loads.Total.Value().In(quantity.Metric).String(); !strings.Contains(ground, "<strong>"+total+"</strong>") {
		t.Errorf("the page lacks the weight, %s", total)
	}
	for _, p := range []string{page, light, damp, ground} {
		if strings.Contains(p, "sizing.Estimate") || strings.Contains(p, "%!") {
			t.Error("a figure or a text was not written")
		}
	}
}

// Problems stand at their fields, and a part that is wanting leads to its first field.
func TestClimateProblems(t *testing.T) {
	h := serve(t)
	for _, c := range []struct {
		changes []string
		at      string
	}{
		{[]string{"enclosure.length", ""}, "enclosure-length"},
		{[]string{"enclosure.walls.construction", "paper"}, "enclosure-walls-construction"},
		{[]string{"enclosure.walls.construction", ""}, "enclosure-walls-construction"},
		{[]string{"room.winter.temperature", "", "room.winter.night_temperature", "", "room.winter.humidity", "", "room.summer.temperature", "", "room.summer.night_temperature", "", "room.summer.humidity", ""}, "room-winter-temperature"},
		{[]string{"heat_sources.4.kind", "halogen-lamp", "heat_sources.4.height", "2 m"}, "heat_sources-4-height"},
		{[]string{"uv_lamps.0.lit_length", ""}, "uv_lamps-0-lit_length"},
		{[]string{"readings.0.phase", "day", "readings.0.temperature", "25", "readings.0.room_temperature", "20", "readings.0.under_source", "9"}, "readings-0-under_source"},
		{[]string{"species", "beerded dragn"}, "species"},
	} {
		status, page := visit(t, h, with(glassBox, c.changes...))
		if status != http.StatusOK || !strings.Contains(page, `id="f-`+c.at+`-problem"`) {
			t.Errorf("%v: %d, and no problem stands at %s", c.changes, status, c.at)
		}
	}
	// Without an animal nothing is compared, and the count of no animals is no problem.
	if _, page := visit(t, h, with(glassBox, "species", "")); strings.Contains(page, "problem") || !strings.Contains(page, "nothing was compared") {
		t.Error("a box without an animal is not answered")
	}
}

// A reading names its source by the number that the form shows, though rows before it
// were left blank.
func TestReadingNamesItsRow(t *testing.T) {
	h := serve(t)
	moved := url.Values{}
	for name, v := range glassBox {
		moved[strings.Replace(strings.Replace(name, "heat_sources.1.", "heat_sources.5.", 1), "heat_sources.0.", "heat_sources.2.", 1)] = v
	}
	reading := []string{"readings.0.phase", "day", "readings.0.temperature", "39", "readings.0.room_temperature", "20", "readings.0.under_source", "3"}
	if _, page := visit(t, h, with(moved, reading...)); !strings.Contains(page, "surface under source 1") && !strings.Contains(page, "Set right by readings") || strings.Contains(page, "-problem") {
		t.Error("the reading under the third row is refused")
	}
	if _, page := visit(t, h, with(moved, append(slices.Clone(reading), "readings.0.under_source", "1")...)); !strings.Contains(page, `id="f-readings-0-under_source-problem"`) {
		t.Error("a reading under a blank row is taken")
	}
}

// What is not known says what to give, and each such link leads to a field of the form.
func TestNotKnownLeadsToItsField(t *testing.T) {
	h := serve(t)
	bare := url.Values{}
	for _, name := range []string{"units", "enclosure.length", "enclosure.width", "enclosure.height", "enclosure.walls.construction", "room.winter.temperature"} {
		bare[name] = glassBox[name]
	}
	bare.Set("uv_lamps.3.shape", "tube")
	bare.Set("uv_lamps.3.lit_length", "40")
	seen := 0
	for _, part := range climateParts {
		status, page := visit(t, h, with(bare, "part", part.name))
		if status != http.StatusOK {
			t.Fatalf("%s: %d", part.name, status)
		}
		for _, to := range links(page, `/climate\?packed`) {
			address, id, ok := strings.Cut(to, "#")
			if !ok {
				continue
			}
			seen++
			if _, form := visit(t, h, address); !strings.Contains(form, `id="`+id+`"`) || !strings.Contains(form, `name="enclosure.length" value="60"`) {
				t.Errorf("%s: %s leads to no field, or what was asked is lost", part.name, id)
			}
		}
	}
	if seen < 4 {
		t.Errorf("%d links to fields", seen)
	}
}

// From a plan one press leads to its climate, with each lamp where the plan has it.
func TestFromPlanToClimate(t *testing.T) {
	h := serve(t)
	address := follow(t, h, "/plan?units=metric&species=pogona-vitticeps&animals.0.count=1&animals.0.stage=adult&room.temperature=20&room.humidity=45&start=usual")
	_, plan := visit(t, h, address)
	to := links(plan, `/climate\?packed`)
	if len(to) != 1 {
		t.Fatalf("%d ways from the plan to its climate", len(to))
	}
	status, page := visit(t, h, to[0])
	if status != http.StatusOK || drawing(page, "air-winter") == "" {
		t.Fatalf("%d, and no temperatures are drawn", status)
	}
	lamp := regexp.MustCompile(`basking lamp[^<]*<small>basking lamp 1</small></th><td[^>]*>middle (\d+ mm)`).FindStringSubmatch(plan)
	if lamp == nil || !strings.Contains(page, "From the left end "+lamp[1]) {
		t.Errorf("the plan has its first lamp at %v, the climate elsewhere", lamp)
	}
	// Where the room is not known, the form asks for it.
	_, plan = visit(t, h, strings.NewReplacer("room.temperature=20&", "", "room.humidity=45&", "").Replace(address))
	if to = links(plan, `/climate\?packed`); len(to) != 1 || !strings.Contains(to[0], "edit=yes#f-room-winter-temperature") {
		t.Errorf("the way leads to %v, not to the room", to)
	}
}

// Every part is small, for a full question about any species.
func TestClimatePagesAreSmall(t *testing.T) {
	h := serve(t)
	c, err := care.Embedded()
	if err != nil {
		t.Fatal(err)
	}
	full := []string{"humidifier.kind", "fogger", "humidifier.output_per_hour", "0.3", "humidifier.runs_per_day", "3", "humidifier.run_time", "5", "drainage.depth", "3",
		"heat_sources.2.kind", "ceramic-emitter", "heat_sources.2.power", "60", "heat_sources.3.kind", "halogen-lamp", "heat_sources.3.power", "35", "heat_sources.3.from_left", "20"}
	for i, s := range c.Species() {
		if i%12 != 0 {
			continue
		}
		for _, part := range append([]climatePart{{name: "edit"}}, climateParts...) {
			changes := append([]string{"species", s.ID, "part", part.name}, full...)
			if part.name == "edit" {
				changes = append(changes, "edit", "yes")
			}
			status, page := visit(t, h, with(glassBox, changes...))
			if status != http.StatusOK || len(page) > 60_000 || strings.Contains(page, "-problem\"") {
				t.Errorf("%s, %s: %d, %d bytes", s.ID, part.name, status, len(page))
			}
		}
	}
}
