package pages

import (
	"fmt"
	"html/template"
	"math"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"denwright/care/quantity"
	"denwright/sizing"
	"denwright/sizing/score"
)

// climatePages are the pages about how the enclosure behaves.
func (s *Site) climatePages(m mount) { m.get("/climate", climatePage) }

// climateRows are the lists of the form.
var climateRows = []string{"animals", "enclosure.walls.layers", "enclosure.vents", "heat_sources", "uv_lamps", "readings"}

// fields makes fields of one kind from their places.
func fields(k kind, at ...string) (out []field) {
	for _, one := range at {
		out = append(out, field{At: one, Kind: k})
	}
	return out
}

func (r *request) climateForm() *form {
	choice := func(at string, options ...string) field { return field{At: at, Kind: choiceField, Options: options} }
	figure := func(at, unit string) field { return field{At: at, Kind: figureField, Unit: unit} }
	who := animalFields()
	for i := range who { // here an animal only adds what is wanted
		who[i].Needed = false
		if who[i].At != "species" {
			who[i].Start = ""
		}
	}
	all := slices.Concat(who,
		[]field{{At: "enclosure.length", Kind: lengthField, Needed: true}, {At: "enclosure.width", Kind: lengthField, Needed: true}, {At: "enclosure.height", Kind: lengthField, Needed: true},
			{At: "enclosure.walls.construction", Kind: choiceField, Options: sizing.Constructions, Start: "plywood-18mm"},
			choice("enclosure.walls.layers.0.material", sizing.MaterialNames()...), {At: "enclosure.walls.layers.0.thickness", Kind: smallField},
			choice("enclosure.walls.glazing", sizing.Constructions...), choice("enclosure.front.construction", sizing.Constructions...), choice("enclosure.floor.construction", sizing.Constructions...),
			choice("enclosure.lid.kind", "mesh", "glass", "panel"), figure("enclosure.fan", "m³/h"), figure("enclosure.leakage", "1/h"),
			{At: "enclosure.front_braced", Kind: yesNoField}},
		fields(fractionField, "enclosure.walls.glazed_share", "enclosure.lid.mesh_share", "enclosure.lid.mesh.open_area"),
		[]field{choice("enclosure.vents.0.side", "front", "back", "left", "right", "top", "floor")},
		fields(areaField, "enclosure.vents.0.area"), fields(fractionField, "enclosure.vents.0.open_share"), fields(lengthField, "enclosure.vents.0.bottom", "enclosure.vents.0.top"),
		[]field{choice("substrate.kind", sizing.SubstrateKinds()...), {At: "day_hours", Kind: hoursField}},
		fields(lengthField, "substrate.depth", "drainage.depth", "highest_platform", "water.depth", "targets.reading_height"),
		fields(temperatureField, "room.winter.temperature", "room.winter.night_temperature", "room.summer.temperature", "room.summer.night_temperature"),
		fields(fractionField, "substrate.water_content", "room.winter.humidity", "room.summer.humidity", "humidifier.vapour_share",
			"targets.humidity_day.low", "targets.humidity_day.high", "targets.humidity_night.low", "targets.humidity_night.high"),
		[]field{figure("room.altitude", "m")},
		fields(volumeField, "drainage.watering_per_day", "drainage.uptake_per_day", "humidifier.output_per_hour"),
		fields(temperatureField, "water.temperature",
			"targets.hot_spot", "targets.warm_min", "targets.warm_max", "targets.cool_max", "targets.night_min", "targets.night_max", "targets.air_max"),
		[]field{choice("heat_sources.0.kind", sizing.SourceKinds...), choice("heat_sources.0.role", sizing.SourceRoles...), choice("heat_sources.0.place", "inside", "outside", "under-floor", "in-water"), figure("heat_sources.0.beam_angle", "°")},
		fields(powerField, "heat_sources.0.power"), fields(lengthField, "heat_sources.0.from_left", "heat_sources.0.height", "heat_sources.0.spot_height", "heat_sources.0.covers"), fields(areaField, "heat_sources.0.area"),
		[]field{choice("uv_lamps.0.shape", "tube", "compact"), choice("uv_lamps.0.sheet", sizing.SheetCodes()...), figure("uv_lamps.0.shortest_wavelength", "nm"), figure("uv_lamps.0.beam_angle", "°")},
		fields(lengthField, "uv_lamps.0.lit_length", "uv_lamps.0.size", "uv_lamps.0.reading.distance", "uv_lamps.0.height", "uv_lamps.0.platform", "uv_lamps.0.from_left"),
		fields(uvField, "uv_lamps.0.reading.uv_index"), fields(fractionField, "uv_lamps.0.kept", "uv_lamps.0.mesh.open_area", "uv_lamps.0.passed"), fields(powerField, "uv_lamps.0.power"),
		[]field{choice("humidifier.kind", "fogger", "mister"), {At: "humidifier.runs_per_day", Kind: wholeField}, {At: "humidifier.run_time", Kind: hoursField, Unit: "min"},
			{At: "water.against_front", Kind: yesNoField}},
		fields(areaField, "water.area", "load.stand.foot_area"), fields(massField, "load.furnishings", "load.stand.mass"),
		[]field{{At: "load.stand.feet", Kind: wholeField}, choice("load.shelf.board", sizing.BoardNames()...), {At: "load.shelf.thickness", Kind: smallField}, {At: "load.shelf.span", Kind: lengthField}},
		fields(uvField, "targets.uv.low", "targets.uv.high", "targets.uv.ceiling"),
		fields(temperatureField, "readings.0.temperature", "readings.0.room_temperature"),
		[]field{choice("readings.0.phase", "day", "night"), {At: "readings.0.under_source", Kind: wholeField}}, fields(lengthField, "readings.0.from_left", "readings.0.height"))
	sent, values := r.unpacked(), url.Values{}
	for name, v := range sent { // without a species there are no animals
		if !strings.HasPrefix(name, "animals.") || strings.TrimSpace(sent.Get("species")) != "" {
			values[name] = v
		}
	}
	return r.newForm("ask", values, all, climateRows...)
}

// climatePart is one page of an answer; all on one page would be too much for a phone.
// It asks the engine for the parts named, for all where none is: warmth and damp depend
// on each other, so that one asked for alone comes out otherwise. show leaves out what
// belongs to the other pages.
type climatePart struct {
	name string
	asks []string
	show func(all *sizing.ClimateAnswer) sizing.ClimateAnswer
}

var climateParts = []climatePart{
	{"warmth", nil, func(a *sizing.ClimateAnswer) sizing.ClimateAnswer {
		return sizing.ClimateAnswer{Calibration: a.Calibration, Profile: a.Profile, Heating: a.Heating}
	}},
	{"light", []string{"uv", "day_length"}, func(a *sizing.ClimateAnswer) sizing.ClimateAnswer {
		return sizing.ClimateAnswer{UV: a.UV, DayLength: a.DayLength}
	}},
	{"damp", nil, func(a *sizing.ClimateAnswer) sizing.ClimateAnswer {
		return sizing.ClimateAnswer{Humidity: a.Humidity, Condensation: a.Condensation}
	}},
	{"ground", nil, func(a *sizing.ClimateAnswer) sizing.ClimateAnswer {
		return sizing.ClimateAnswer{Drainage: a.Drainage, Ground: a.Ground, Loads: a.Loads}
	}},
}

type climateData struct {
	Form *form
	*sizing.ClimateAnswer
	// Query is what was asked, packed, for the links to the form and to the other parts.
	Query template.URL
	Part  string // the page of the answer
	// Advised: the sides were filled in from the advised size.
	Advised   bool
	Rooms     []roomPictures
	Lamps     []lampPicture
	DayCurve  template.HTML
	units     quantity.System
	question  sizing.ClimateQuestion
	dayLength float64 // h
	cautioned map[string]bool
}

// roomPictures are those of one room.
type roomPictures struct {
	Room           string
	Air, Humidity  template.HTML
	States         []sizing.ProfileState
	HumidityStates []sizing.HumidityState
	HumidityDay    *sizing.HumidityDay
	Condensation   []sizing.CondensationState
	Heating        *sizing.RoomHeating
}

type lampPicture struct {
	sizing.UVLampAnswer
	Picture template.HTML
}

// climatePage asks what stands where and answers how it behaves.
func climatePage(r *request) error {
	d := climateData{Form: r.climateForm(), units: r.look.units, cautioned: map[string]bool{}}
	switch v := d.Form.Values; {
	case r.QueryParams().Has("edit"):
	case d.Form.sent() && d.Form.touched("enclosure.", "room.", "heat_sources.", "uv_lamps.", "readings."):
		part := max(slices.IndexFunc(climateParts, func(p climatePart) bool { return p.name == r.QueryParam("part") }), 0)
		if d.ask() {
			d.Part, d.question.Parts = climateParts[part].name, climateParts[part].asks
			a, err := sizing.Climate(r.snap.Catalogue, d.question)
			if err != nil && !d.Form.refused(err) {
				return err
			}
			if a != nil {
				shown := climateParts[part].show(a)
				shown.Species, shown.Animals, shown.Targets, shown.Assumptions, shown.Warnings, shown.Cautions = a.Species, a.Animals, a.Targets, a.Assumptions, a.Warnings, a.Cautions
				d.ClimateAnswer = &shown
				if d.Query, err = pack(d.Form.kept()); err != nil {
					return err
				}
				if err := d.draw(r); err != nil {
					return err
				}
			}
		}
	case strings.TrimSpace(v.Get("species")) != "" && !v.Has("add"):
		d.advise(r)
	}
	title := r.t("climate.title")
	if d.ClimateAnswer != nil && d.Species != nil {
		title = r.t("climate.title-for", d.Species.Common)
	}
	return r.render("climate", title, d)
}

// touched reports whether any field under some places was filled in.
func (f *form) touched(prefixes ...string) bool {
	for name, v := range f.Values {
		if len(v) > 0 && v[0] != "" && slices.ContainsFunc(prefixes, func(p string) bool { return strings.HasPrefix(name, p) }) {
			return true
		}
	}
	return false
}

// ask reads the form. A reading names its source by the number that the form shows.
func (d *climateData) ask() bool {
	if !d.Form.ask(&d.question) {
		return false
	}
	for i := range d.question.Readings {
		under := d.question.Readings[i].UnderSource
		if under == nil {
			continue
		}
		place := -1
		for k := range d.question.HeatSources {
			if d.Form.backTo[fmt.Sprintf("/heat_sources/%d/kind", k)] == fmt.Sprintf("heat_sources.%d.kind", *under-1) {
				place = k
			}
		}
		*under = place // none is the engine's to refuse
	}
	return true
}

// advise fills in the advised size, where the animals are told and one is known.
func (d *climateData) advise(r *request) {
	var q sizing.Question
	f := r.newForm("ask", d.Form.Values, animalFields(), "animals")
	if !f.ask(&q) {
		return
	}
	a, err := sizing.Require(r.snap.Catalogue, q)
	if err != nil {
		f.refused(err)
		d.Form.Problems = f.Problems
		return
	}
	if s := a.Advised.Structure; a.Advised.Standing == "known" && s != nil {
		d.Advised = true
		if d.Form.Values.Get("enclosure.walls.construction") == "" {
			d.Form.Values.Set("enclosure.walls.construction", "plywood-18mm")
		}
		for at, l := range map[string]quantity.Length{"enclosure.length": a.Advised.Length, "enclosure.width": a.Advised.Width, "enclosure.height": s.InsideHeight} {
			v := l.Value().In(d.Form.typed)
			d.Form.Values.Set(at, strconv.FormatFloat(v.Number, 'f', -1, 64))
		}
		if s.Substrate > 0 {
			d.Form.Values.Set("substrate.depth", strconv.FormatFloat(s.Substrate.Value().In(d.Form.typed).Number, 'f', -1, 64))
		}
	}
}

// fieldLink is a field of the question by its JSON pointer, as a place in the form to go to.
type fieldLink struct{ ID, Label string }

// Where turns a pointer of the answer into the field of the form, the first one under it.
func (d climateData) Where(pointer string) *fieldLink {
	at, ok := d.Form.field(pointer)
	if !ok {
		return nil
	}
	v, err := d.Form.Field(at)
	if err != nil {
		return nil
	}
	return &fieldLink{v.ID, v.Label}
}

// Est writes a figure with the spread that its uncertain coefficients leave.
func (d climateData) Est(e any) string {
	switch e := e.(type) {
	case sizing.Estimate[quantity.Temperature]:
		return estimated(e, d.units)
	case *sizing.Estimate[quantity.Temperature]:
		return estimated(*e, d.units)
	case sizing.Estimate[quantity.Power]:
		return estimated(e, d.units)
	case *sizing.Estimate[quantity.Power]:
		return estimated(*e, d.units)
	case *sizing.Estimate[quantity.Fraction]:
		return estimated(*e, d.units)
	case *sizing.Estimate[quantity.Mass]:
		return estimated(*e, d.units)
	case *sizing.Estimate[quantity.Volume]:
		return estimated(*e, d.units)
	case sizing.Estimate[score.Figure]:
		return estimated(e, d.units)
	case *sizing.Estimate[score.Figure]:
		return estimated(*e, d.units)
	}
	return fmt.Sprintf("%T", e) // a test visits every part
}

func estimated[T quantity.Valuer](e sizing.Estimate[T], units quantity.System) string {
	low, typical, high := e.Low.Value().In(units), e.Typical.Value().In(units), e.High.Value().In(units)
	if low.Number == high.Number {
		return typical.String()
	}
	return fmt.Sprintf("%s (%s–%s)", typical, num3(low.Number), num3(high.Number))
}

func num3(x float64) string { return strconv.FormatFloat(math.Round(x*1000)/1000+0, 'f', -1, 64) }

// Reading says where a reading was taken.
func (d climateData) Reading(pointer string) string {
	n, err := strconv.Atoi(strings.TrimPrefix(pointer, "/readings/"))
	if err != nil || n >= len(d.question.Readings) {
		return pointer
	}
	r := d.question.Readings[n]
	if r.UnderSource != nil {
		return d.Form.all.say("climate.reading.under", n+1, *r.UnderSource+1)
	}
	return d.Form.all.say("climate.reading.air", n+1, r.FromLeft.Value().In(d.units), r.Height.Value().In(d.units))
}

// draw makes the pictures and sorts the answer by room.
func (d *climateData) draw(r *request) error {
	d.dayLength = 12
	if h := d.question.DayHours; h != nil {
		d.dayLength = float64(*h)
	}
	room := func(name string) *roomPictures {
		i := slices.IndexFunc(d.Rooms, func(p roomPictures) bool { return p.Room == name })
		if i < 0 {
			d.Rooms = append(d.Rooms, roomPictures{Room: name})
			i = len(d.Rooms) - 1
		}
		return &d.Rooms[i]
	}
	if d.Profile != nil {
		for _, s := range d.Profile.States {
			p := room(s.Room)
			p.States = append(p.States, s)
		}
	}
	if d.Heating != nil {
		for i := range d.Heating.Rooms {
			room(d.Heating.Rooms[i].Room).Heating = &d.Heating.Rooms[i]
		}
	}
	if d.Humidity != nil {
		for _, s := range d.Humidity.States {
			p := room(s.Room)
			p.HumidityStates = append(p.HumidityStates, s)
		}
		for i := range d.Humidity.Days {
			room(d.Humidity.Days[i].Room).HumidityDay = &d.Humidity.Days[i]
		}
	}
	if d.Condensation != nil {
		for _, s := range d.Condensation.States {
			p := room(s.Room)
			p.Condensation = append(p.Condensation, s)
		}
	}
	for i := range d.Rooms {
		p := &d.Rooms[i]
		if len(p.States) > 0 {
			p.Air = d.airPicture(r, p)
		}
		if len(p.HumidityStates) > 0 {
			p.Humidity = d.humidityPicture(r, p)
		}
	}
	if d.UV != nil {
		for i, l := range d.UV.Lamps {
			picture, err := d.uvPicture(r, i, l)
			if err != nil {
				return err
			}
			d.Lamps = append(d.Lamps, lampPicture{l, picture})
		}
	}
	if d.DayLength != nil && len(d.DayLength.Months) > 0 {
		d.DayCurve = d.dayPicture(r)
	}
	return nil
}

// target is what was aimed at, in the viewer's units.
func (d *climateData) target(code string) (quantity.Band, bool) {
	i := slices.IndexFunc(d.Targets, func(t sizing.ClimateTarget) bool { return t.Code == code })
	if i < 0 {
		return quantity.Band{}, false
	}
	return d.Targets[i].Range.In(d.units), true
}

// band draws a range between two ends of the other axis, open bounds to the frame, and
// names it. upright turns it: x and y change places.
func (p *picture) band(class, label string, b quantity.Band, along, across axis, from, to float64) {
	low, high := across.at(across.low), across.at(across.high)
	if b.Low != nil {
		low = across.at(*b.Low)
	}
	if b.High != nil {
		high = across.at(*b.High)
	}
	x1, x2 := along.at(from), along.at(to)
	p.rect(class, min(x1, x2), min(low, high), math.Abs(x2-x1), max(math.Abs(high-low), 1))
	p.text("label halo", (x1+x2)/2, min(low, high)+11, "middle", label)
}

// airPicture draws the air along the length: two layers, by day and by night, over the
// bands that are wanted at the ends.
func (d *climateData) airPicture(r *request, room *roomPictures) template.HTML {
	inUnits := func(v quantity.Valuer) float64 { return v.Value().In(d.units).Number }
	length := inUnits(d.question.Enclosure.Length)
	type line struct {
		name   string
		points [][2]float64
	}
	var lines []line
	var all []float64
	warmLeft := true
	for _, s := range room.States {
		for _, layer := range []string{"low", "high"} {
			one := line{name: r.t("climate.line." + s.Phase + "." + layer)}
			for _, a := range s.Air {
				if a.Layer == layer {
					one.points = append(one.points, [2]float64{inUnits(a.FromLeft), inUnits(a.Temperature.Typical)})
				}
			}
			slices.SortFunc(one.points, func(a, b [2]float64) int { return int(1000 * (a[0] - b[0])) })
			for _, p := range one.points {
				all = append(all, p[1])
			}
			if n := len(one.points); s.Phase == "day" && layer == "low" && n > 0 {
				warmLeft = one.points[0][1] >= one.points[n-1][1]
			}
			lines = append(lines, one)
		}
	}
	for _, code := range []string{"warm_end", "cool_end", "night_air"} {
		if b, ok := d.target(code); ok {
			for _, x := range []*float64{b.Low, b.High} {
				if x != nil {
					all = append(all, *x)
				}
			}
		}
	}
	x := axis{0, length, 40, 300}
	y := around(200, 24, all...)
	degree := quantity.Temperature(0).Value().In(d.units).Unit
	name := r.t("climate.room." + room.Room)
	p := newPicture("air-"+room.Room, r.t("climate.air.picture", name), r.t("climate.air.description"), 420, 236)
	warm, cool := [2]float64{0, length / 3}, [2]float64{2 * length / 3, length}
	if !warmLeft {
		warm, cool = cool, warm
	}
	if b, ok := d.target("night_air"); ok {
		p.band("range second", r.t("climate.band.night-air"), b, x, y, length/3, 2*length/3)
	}
	if b, ok := d.target("warm_end"); ok {
		p.band("range", r.t("climate.band.warm-end"), b, x, y, warm[0], warm[1])
	}
	if b, ok := d.target("cool_end"); ok {
		p.band("range", r.t("climate.band.cool-end"), b, x, y, cool[0], cool[1])
	}
	p.frame(x, y, r.t("climate.from-left", quantity.Length(0).Value().In(d.units).Unit), degree)
	classes := []string{"curve", "curve second", "curve third", "curve fourth"}
	// Names stand beside the right ends, moved apart where they would meet.
	order := make([]int, 0, len(lines))
	for i, one := range lines {
		if len(one.points) == 0 {
			continue
		}
		pixels := make([][2]float64, len(one.points))
		for j, at := range one.points {
			pixels[j] = [2]float64{x.at(at[0]), y.at(at[1])}
		}
		p.curve(classes[i%len(classes)], pixels)
		for _, at := range pixels {
			p.dot("point", at[0], at[1], 2.4)
		}
		order = append(order, i)
	}
	end := func(i int) float64 { return y.at(lines[i].points[len(lines[i].points)-1][1]) }
	slices.SortFunc(order, func(a, b int) int { return int(1000 * (end(a) - end(b))) })
	last := math.Inf(-1)
	for _, i := range order {
		at := max(end(i)+4, last+13)
		p.text("label", 304, at, "start", lines[i].name)
		last = at
	}
	return p.end()
}

// humidityPicture draws the humidity over a day that begins with the lights.
func (d *climateData) humidityPicture(r *request, room *roomPictures) template.HTML {
	x, y := axis{0, 24, 40, 320}, axis{0, 100, 190, 24}
	name := r.t("climate.room." + room.Room)
	p := newPicture("damp-"+room.Room, r.t("climate.humidity.picture", name), r.t("climate.humidity.description"), 420, 226)
	hours := [][2]float64{{0, d.dayLength}, {d.dayLength, 24}}
	for i, code := range []string{"humidity_day", "humidity_night"} {
		if b, ok := d.target(code); ok {
			p.band("range", r.t("climate.wanted"), b, x, y, hours[i][0], hours[i][1])
		}
	}
	p.frame(x, y, r.t("climate.hours"), "%")
	var bare, set [][2]float64
	for i, phase := range []string{"day", "night"} {
		for _, s := range room.HumidityStates {
			if s.Phase != phase {
				continue
			}
			at := y.at(100 * float64(s.WithNothingAdded))
			bare = append(bare, [2]float64{x.at(hours[i][0]), at}, [2]float64{x.at(hours[i][1]), at})
			if s.AsSet != nil {
				at := y.at(100 * float64(*s.AsSet))
				set = append(set, [2]float64{x.at(hours[i][0]), at}, [2]float64{x.at(hours[i][1]), at})
			}
		}
	}
	p.curve("curve second", bare)
	p.curve("curve", set)
	apart := 0.0
	if n := len(set); n > 0 {
		p.text("label", 324, set[n-1][1]+4, "start", r.t("climate.line.set"))
		if b := len(bare); b > 0 && math.Abs(bare[b-1][1]-set[n-1][1]) < 13 {
			apart = 13
		}
	}
	if n := len(bare); n > 0 {
		p.text("label", 324, bare[n-1][1]+4+apart, "start", r.t("climate.line.bare"))
	}
	return p.end()
}

// uvPicture draws the UV index against the height of the animal's back: the range, the
// ceiling, where the animal stands, and where its platform may.
func (d *climateData) uvPicture(r *request, i int, l sizing.UVLampAnswer) (template.HTML, error) {
	if l.UVIndex == nil {
		return "", nil
	}
	n, err := strconv.Atoi(strings.TrimPrefix(l.Field, "/uv_lamps/"))
	if err != nil || n < 0 || n >= len(d.question.UVLamps) {
		return "", fmt.Errorf("the answer names a lamp %q", l.Field)
	}
	inUnits := func(x quantity.Length) float64 { return x.Value().In(d.units).Number }
	wanted, aimed := d.target("uv")
	high := 1.5 * float64(*l.UVIndex)
	ceiling := 7.0
	if u := d.question.Targets.UV; u != nil && u.Ceiling != nil {
		ceiling = float64(*u.Ceiling)
	}
	if aimed && wanted.High != nil {
		high = max(high, 1.4**wanted.High)
	}
	if l.Nearest != nil {
		high = max(high, 1.05*float64(*l.Nearest))
	}
	high = min(high, 20)
	x := around(44, 290, 0, high)
	y := axis{0, inUnits(l.Height), 210, 30}
	id := fmt.Sprintf("uv-%d", i)
	p := newPicture(id, r.t("climate.uv.picture", l.Lamp), r.t("climate.uv.description"), 420, 246)
	if aimed {
		b := wanted
		from, to := x.at(x.low), x.at(x.high)
		if b.Low != nil {
			from = x.at(*b.Low)
		}
		if b.High != nil {
			to = x.at(*b.High)
		}
		p.rect("range", from, y.to, max(to-from, 1), y.from-y.to)
		p.text("label halo", (from+to)/2, y.from-5, "middle", r.t("climate.wanted"))
	}
	p.frame(x, y, r.t("climate.uv.axis"), quantity.Length(0).Value().In(d.units).Unit)
	if ceiling <= x.high {
		p.line("axis dashed", x.at(ceiling), y.from, x.at(ceiling), y.to)
		p.text("label halo", x.at(ceiling)+3, y.to+9, "start", r.t("climate.uv.ceiling"))
	}
	p.rect("lamp", x.from, y.to-10, x.to-x.from, 6)
	p.text("label", x.to+6, y.to-3, "start", l.Lamp)
	var curve [][2]float64
	const steps = 60
	for k := range steps {
		back := float64(l.Height) * float64(k) / steps
		uvi, err := sizing.UVUnder(&d.question.UVLamps[n], l.Height-quantity.Length(back))
		if err != nil || float64(uvi) > x.high {
			break // nearer than the formula goes, or off the chart
		}
		curve = append(curve, [2]float64{x.at(float64(uvi)), y.at(inUnits(quantity.Length(back)))})
	}
	p.curve("curve", curve)
	at := y.at(inUnits(l.Platform))
	p.line("axis", x.from, at, x.from+60, at)
	p.text("label halo", x.from+3, at+11, "start", r.t("climate.uv.platform"))
	p.dot("here", x.at(float64(*l.UVIndex)), y.at(inUnits(l.Platform+l.Back)), 4.5)
	p.text("label halo", x.at(float64(*l.UVIndex))+8, y.at(inUnits(l.Platform+l.Back))+12, "start", l.UVIndex.Value().In(d.units).String())
	if w := l.Window; w != nil {
		p.measure(x.to+14, y.at(inUnits(w.PlatformTo)), x.to+14, y.at(inUnits(w.PlatformFrom)), "")
		p.text("label", x.to+22, (y.at(inUnits(w.PlatformFrom))+y.at(inUnits(w.PlatformTo)))/2+4, "start", r.t("climate.uv.may"))
		p.text("label", x.to+22, (y.at(inUnits(w.PlatformFrom))+y.at(inUnits(w.PlatformTo)))/2+18, "start", r.t("climate.uv.stand"))
	}
	return p.end(), nil
}

// dayPicture draws the native day length over the year.
func (d *climateData) dayPicture(r *request) template.HTML {
	var hours []float64
	for _, m := range d.DayLength.Months {
		hours = append(hours, float64(m.DayLength))
	}
	x, y := axis{0.5, 12.5, 40, 380}, around(130, 20, append(hours, 10, 14)...)
	p := newPicture("day-length", r.t("climate.day.picture"), r.t("climate.day.description"), 420, 160)
	for _, v := range y.ticks(5) {
		p.line("grid", x.from, y.at(v), x.to, y.at(v))
		p.text("tick", x.from-4, y.at(v)+4, "end", num(v))
	}
	p.line("axis", x.from, y.from, x.to, y.from)
	p.text("tick", 2, y.to-6, "start", "h")
	var points [][2]float64
	for i, m := range d.DayLength.Months {
		points = append(points, [2]float64{x.at(float64(i + 1)), y.at(float64(m.DayLength))})
		p.text("tick", x.at(float64(i+1)), y.from+14, "middle", m.Month[:3])
	}
	p.curve("curve", points)
	for _, at := range points {
		p.dot("point", at[0], at[1], 2.4)
	}
	return p.end()
}

// Parts names the pages of the answer.
func (d climateData) Parts() (out []string) {
	for _, p := range climateParts {
		out = append(out, p.name)
	}
	return out
}

// Fresh are those cautions that have not been said higher up on the page.
func (d climateData) Fresh(cautions []string) (out []string) {
	for _, c := range cautions {
		if !d.cautioned[c] {
			d.cautioned[c] = true
			out = append(out, c)
		}
	}
	return out
}

// airTable is the air of one state, its places along the length by its layers.
type airTable struct {
	Places []string
	Layers []airLayer
}

type airLayer struct {
	Name, At string
	Air      []string
}

// Table sorts the air of a state.
func (d climateData) Table(s sizing.ProfileState) (t airTable) {
	for _, name := range []string{"low", "high"} {
		layer := airLayer{Name: name}
		for _, a := range s.Air {
			if a.Layer != name {
				continue
			}
			layer.At = a.Height.Value().In(d.units).String()
			layer.Air = append(layer.Air, d.Est(a.Temperature))
			if len(t.Layers) == 0 {
				t.Places = append(t.Places, a.FromLeft.Value().In(d.units).String())
			}
		}
		if len(layer.Air) > 0 {
			t.Layers = append(t.Layers, layer)
		}
	}
	return t
}

// askedPart is what was filled in of one part of the form.
type askedPart struct{ Name, Said string }

// Asked is the form as filled in, to be read and printed beside its answer.
func (d climateData) Asked() (out []askedPart) {
	all := d.Form.all
	names := map[string]string{"heat_sources": "climate.form.source", "uv_lamps": "climate.form.lamp", "readings": "climate.form.reading",
		"species": "ask.who", "animals": "ask.who", "substrate": "climate.form.ground", "drainage": "climate.form.ground", "humidifier": "climate.form.water", "water": "climate.form.water",
		"load": "climate.form.load", "targets": "climate.form.targets", "room": "climate.form.room", "day_hours": "climate.form.room", "highest_platform": "climate.form.uv"}
	for _, one := range d.Form.Fields {
		if strings.TrimSpace(d.Form.Values.Get(one.At)) == "" {
			continue
		}
		v, err := d.Form.Field(one.At)
		if err != nil {
			continue
		}
		parts := strings.Split(one.At, ".")
		name := all.say("climate.form.enclosure")
		if key, ok := names[parts[0]]; ok {
			name = all.say(key)
			if rowOf(strings.Replace(one.At, "."+parts[min(1, len(parts)-1)]+".", ".0.", 1), climateRows) != "" && parts[0] != "animals" {
				n, _ := strconv.Atoi(parts[1]) // a row's place, by newForm
				name = all.say(key, n+1)
			}
		}
		said := v.Value
		for _, c := range v.Choices {
			if c.Chosen {
				said = c.Text
			}
		}
		switch {
		case one.Kind == yesNoField:
			said = all.say("form." + v.Value)
		case v.Shown != "" && !strings.ContainsAny(said, " "):
			said += " " + v.Shown
		}
		said = v.Label + " " + said
		if i := slices.IndexFunc(out, func(p askedPart) bool { return p.Name == name }); i >= 0 {
			out[i].Said += "; " + said
			continue
		}
		out = append(out, askedPart{name, said})
	}
	return out
}

// Given reports whether any of some fields was filled in or is at fault, so that their
// fold stands open.
func (d climateData) Given(names string) bool {
	for _, at := range strings.Fields(names) {
		if _, bad := d.Form.Problems[at]; bad || strings.TrimSpace(d.Form.Values.Get(at)) != "" {
			return true
		}
	}
	return false
}

// Small are the fields of a part of the form that are written in one line each.
func (d climateData) Small(part string) []string {
	return map[string][]string{
		"enclosure": {"enclosure.walls.glazed_share", "enclosure.lid.mesh.open_area", "enclosure.lid.mesh_share", "enclosure.leakage", "enclosure.fan"},
		"vent":      {"area", "open_share", "bottom", "top"},
		"source":    {"from_left", "height", "spot_height", "beam_angle", "covers", "area"},
		"lamp":      {"lit_length", "reading.uv_index", "reading.distance", "height", "platform", "size", "beam_angle", "kept", "mesh.open_area", "passed", "shortest_wavelength", "power", "from_left"},
		"ground":    {"substrate.depth", "substrate.water_content", "drainage.depth", "drainage.watering_per_day", "drainage.uptake_per_day"},
		"water":     {"humidifier.output_per_hour", "humidifier.runs_per_day", "humidifier.run_time", "humidifier.vapour_share", "water.area", "water.depth", "water.temperature"},
		"load":      {"load.furnishings", "load.stand.mass", "load.stand.feet", "load.stand.foot_area", "load.shelf.thickness", "load.shelf.span"},
		"targets": {"targets.hot_spot", "targets.warm_min", "targets.warm_max", "targets.cool_max", "targets.night_min", "targets.night_max", "targets.air_max", "targets.reading_height",
			"targets.humidity_day.low", "targets.humidity_day.high", "targets.humidity_night.low", "targets.humidity_night.high", "targets.uv.low", "targets.uv.high", "targets.uv.ceiling"},
		"reading": {"temperature", "room_temperature", "from_left", "height", "under_source"},
	}[part]
}
