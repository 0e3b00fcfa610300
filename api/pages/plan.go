package pages

import (
	"bytes"
	"compress/flate"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"html/template"
	"io"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"denwright/care/quantity"
	"denwright/sizing"
	"denwright/sizing/layout"
)

// planPages are the pages about where everything goes.
func (s *Site) planPages(m mount) {
	m.get("/plan", planPage)
	m.get("/plan/sheets/:sheet", planSheet)
	m.get("/plan/lists/:list", planList)
}

var weekDays = []string{"MO", "TU", "WE", "TH", "FR", "SA", "SU"}

// planRows are the lists of the form.
var planRows = []string{"animals", "equipment", "enclosure.rock", "enclosure.battens"}

// packedQuery is a query made short, for the many links from a plan to its parts.
const packedQuery = "packed"

// packedWords are what a query is mostly made of.
var packedWords = []byte("equipment.0.max_hang=&equipment.1.output_per_minute=&equipment.2.opening=mist_nozzlenight_heateruv_fixturebasking_lamp&enclosure.height=1000+mm&enclosure.length=&enclosure.width=" +
	"&animals.0.count=1&animals.0.stage=adult&equipment.0.count=1&equipment.0.secured=yes&equipment.1.splash_proof=yes&equipment.1.corded=yes&equipment.0.guarded=yes&equipment.1.kind=&equipment.0.length=50+mm&equipment.0.near=250+mm&equipment.0.power=80&species=&units=metric&usual=yes")

func pack(v url.Values) (template.URL, error) {
	var b bytes.Buffer
	w, err := flate.NewWriterDict(&b, flate.BestCompression, packedWords)
	if err == nil {
		_, err = io.WriteString(w, v.Encode())
	}
	if err == nil {
		err = w.Close()
	}
	if err != nil {
		return "", fmt.Errorf("pack the query: %w", err)
	}
	return template.URL(packedQuery + "=" + base64.RawURLEncoding.EncodeToString(b.Bytes())), nil
}

// unpacked is the query of the request, be it packed or not; a packed one that can't be
// read is as none.
func (r *request) unpacked() url.Values {
	raw, err := base64.RawURLEncoding.DecodeString(r.QueryParam(packedQuery))
	if err != nil || len(raw) == 0 {
		return r.QueryParams()
	}
	const most = 1 << 16
	text, err := io.ReadAll(io.LimitReader(flate.NewReaderDict(bytes.NewReader(raw), packedWords), most))
	if err != nil {
		return url.Values{}
	}
	v, err := url.ParseQuery(string(text))
	if err != nil {
		return url.Values{}
	}
	return v
}

func (r *request) planForm() *form {
	mm := func(at string) field { return field{At: at, Kind: smallField} }
	length := func(at string) field { return field{At: at, Kind: lengthField} }
	materials := sizing.MaterialNames()[1:] // an air gap builds nothing
	fields := append(animalFields(), r.jurisdictionField(),
		length("enclosure.length"), length("enclosure.width"), length("enclosure.height"),
		field{At: "enclosure.material", Kind: choiceField, Options: materials}, mm("enclosure.panel"), mm("enclosure.glass"),
		length("enclosure.substrate"), length("enclosure.drainage"),
		field{At: "enclosure.rock.0.wall", Kind: choiceField, Options: []string{"back", "left", "right"}}, mm("enclosure.rock.0.thickness"), mm("enclosure.rock.0.foam"),
		field{At: "enclosure.battens.0.along_length", Kind: yesNoField}, length("enclosure.battens.0.at"), mm("enclosure.battens.0.width"),
		field{At: "equipment.0.kind", Kind: choiceField, Options: words(layout.Kinds)},
		field{At: "equipment.0.count", Kind: wholeField}, field{At: "equipment.0.power", Kind: powerField},
		mm("equipment.0.opening"), length("equipment.0.length"), length("equipment.0.width"),
		length("equipment.0.hang"), length("equipment.0.max_hang"), field{At: "equipment.0.beam_degrees", Kind: numberField},
		length("equipment.0.near"), length("equipment.0.far"),
		field{At: "equipment.0.reading.uv_index", Kind: uvField}, length("equipment.0.reading.distance"),
		length("equipment.0.throw"), field{At: "equipment.0.output_per_minute", Kind: volumeField},
		field{At: "equipment.0.guarded", Kind: tickField}, field{At: "equipment.0.secured", Kind: tickField},
		field{At: "equipment.0.splash_proof", Kind: tickField}, field{At: "equipment.0.corded", Kind: tickField},
		field{At: "ceiling.warm_end", Kind: choiceField, Options: []string{"left", "right"}, Start: "left"},
		field{At: "ceiling.practice", Kind: choiceField, Options: []string{"own", "trade"}, Start: "own"},
	)
	for _, name := range ceilingFigures {
		if name == "screws" {
			fields = append(fields, field{At: "ceiling.screws", Kind: wholeField})
			continue
		}
		fields = append(fields, mm("ceiling."+name))
	}
	fields = append(fields,
		field{At: "room.temperature", Kind: temperatureField}, field{At: "room.night_temperature", Kind: temperatureField}, field{At: "room.humidity", Kind: fractionField},
		field{At: "air_changes_per_hour", Kind: numberField},
		field{At: "day.dawn", Kind: textField}, field{At: "day.mist_days", Kind: manyField, Options: weekDays}, field{At: "day.feed_days", Kind: manyField, Options: weekDays},
		field{At: "day.southern", Kind: tickField}, field{At: "day.water_change", Kind: hoursField},
		field{At: "paper", Kind: choiceField, Options: []string{"a4", "letter"}, Start: "a4"},
	)
	return r.newForm("ask", r.unpacked(), fields, planRows...)
}

// ceilingFigures are the figures of the workshop in the order of the form.
var ceilingFigures = []string{"trim", "opening_gap", "hole_gap", "edge_distance", "screw_inset", "screws", "nozzle_hole", "fan_hole", "cord_hole", "mat_service", "uv_clear"}

// equipmentFields are those that a kind of equipment has besides its number.
var equipmentFields = map[layout.Kind]string{
	layout.Basking:    "power opening beam_degrees hang max_hang near far guarded secured corded",
	layout.NightHeat:  "power opening hang near guarded secured corded",
	layout.UV:         "power length width hang max_hang near far reading.uv_index reading.distance guarded secured splash_proof corded",
	layout.PlantLight: "power length width hang guarded secured splash_proof corded",
	layout.Nozzle:     "throw output_per_minute",
	layout.Fog:        "opening throw output_per_minute",
	layout.Fan:        "power length width hang secured splash_proof",
	layout.Mat:        "power length width",
	layout.WaterWall:  "length width output_per_minute",
}

type planData struct {
	Form *form
	*sizing.PlanAnswer
	Letter bool
	Usual  bool // the equipment was filled in from what is usual
	// Query of the plan, packed, its sides written out: the drawings are of this plan even where
	// the advised size had to grow.
	Query template.URL
	// Climate is the same enclosure as a question about its climate.
	Climate template.URL
	// Changes lead on from a plan that does not fit.
	Changes []planChange
	Year    int
	units   quantity.System
}

type planChange struct {
	Text  string
	Query template.URL
}

// planQuestion reads the form; ok is false where something is to be mended.
func (r *request) planQuestion(f *form) (q sizing.PlanQuestion, ok bool) {
	ok = f.ask(&q)
	q.Units = r.look.units.String()
	return q, ok
}

// planPage asks who lives there and with what, and answers where everything goes.
func planPage(r *request) error {
	d := planData{Letter: r.QueryParam("paper") == "letter", Usual: r.QueryParam("usual") != "", Year: time.Now().Year(), units: r.look.units}
	title := r.t("plan.title")
	start := r.QueryParams().Has("start")
	if d.Form = r.planForm(); d.Form.sent() || start {
		q, ok := r.planQuestion(d.Form)
		if ok && start {
			equipment, err := sizing.UsualEquipment(r.snap.Catalogue, q)
			if err == nil {
				return r.Redirect(http.StatusSeeOther, "/plan?"+r.withEquipment(equipment).Encode())
			}
			ok = false
			if !d.Form.refused(err) {
				return err
			}
		}
		if ok {
			if err := d.answer(r, q); err != nil {
				return err
			}
		}
	}
	if d.PlanAnswer != nil {
		title = r.t("plan.title-for", d.Species.Common)
	}
	return r.render("plan", title, d)
}

func (d *planData) answer(r *request, q sizing.PlanQuestion) error {
	a, err := sizing.Plan(r.snap.Catalogue, q)
	if err != nil {
		if d.Form.refused(err) {
			return nil
		}
		return err
	}
	d.PlanAnswer = a
	if p := a.Plan; p != nil {
		v := d.Form.kept()
		for at, l := range map[string]quantity.Length{"enclosure.length": p.Length, "enclosure.width": p.Width, "enclosure.height": p.Height} {
			v.Set(at, exact(l))
		}
		if d.Query, err = pack(v); err != nil {
			return err
		}
		next := climateOf(d.Form, q, p)
		d.Climate, err = pack(next)
		if next.Get("room.winter.temperature") == "" {
			d.Climate += "&edit=yes#f-room-winter-temperature"
		}
		return err
	}
	for _, change := range a.Blocked.Changes {
		next, err := q.With(r.snap.Catalogue, change)
		if err != nil {
			return err
		}
		d.Changes = append(d.Changes, planChange{change.Text, template.URL(d.changed(change, next).Encode())})
	}
	return nil
}

// exact writes a length with its unit, to the millimetre.
func exact(l quantity.Length) string {
	return strconv.FormatFloat(float64(l)*1000, 'f', 0, 64) + " mm"
}

// changed is the query as sent with one change made.
func (d *planData) changed(change layout.Change, next sizing.PlanQuestion) url.Values {
	v := d.Form.kept()
	row := ""
	for pointer, at := range d.Form.backTo { // the row may have another number than its place in the list
		if pointer == fmt.Sprintf("/equipment/%d/kind", change.Fixture) {
			row = strings.TrimSuffix(at, "kind")
		}
	}
	switch change.Kind {
	case "length", "width", "height":
		v.Set("enclosure.length", exact(*next.Enclosure.Length))
		v.Set("enclosure.width", exact(*next.Enclosure.Width))
		v.Set("enclosure.height", exact(*next.Enclosure.Height))
	case "hang":
		v.Set(row+"max_hang", exact(*next.Equipment[change.Fixture].MaxHang))
	case "add":
		v.Set(row+"count", strconv.Itoa(next.Equipment[change.Fixture].Count))
	case "drop":
		n, err := strconv.Atoi(v.Get(row + "count"))
		if err == nil && n > change.Count {
			v.Set(row+"count", strconv.Itoa(n-change.Count))
			break
		}
		for name := range v {
			if strings.HasPrefix(name, row) {
				v.Del(name)
			}
		}
	case "splash_proof":
		v.Set(row+"splash_proof", "yes")
		v.Set(row+"secured", "yes")
	}
	return v
}

// withEquipment is the query with its equipment replaced.
func (r *request) withEquipment(equipment []sizing.PlanFixture) url.Values {
	v := url.Values{unitsField: {r.look.units.String()}, "usual": {"yes"}}
	for name, values := range r.QueryParams() {
		for _, one := range values {
			if one != "" && name != "start" && name != "add" && !strings.HasPrefix(name, "equipment.") {
				if name == unitsField || name == "usual" {
					v.Set(name, one)
					continue
				}
				v.Add(name, one)
			}
		}
	}
	for i, f := range equipment {
		set := func(name, value string) { v.Set(fmt.Sprintf("equipment.%d.%s", i, name), value) }
		set("kind", string(f.Kind))
		set("count", strconv.Itoa(f.Count))
		if f.Power > 0 {
			set("power", strconv.FormatFloat(float64(f.Power), 'f', -1, 64))
		}
		for name, l := range map[string]*quantity.Length{"opening": f.Opening, "length": f.Length, "width": f.Width, "hang": f.Hang, "max_hang": f.MaxHang,
			"near": f.Near, "far": f.Far, "throw": f.Throw} {
			if l != nil {
				set(name, exact(*l))
			}
		}
		for name, yes := range map[string]bool{"guarded": f.Guarded, "secured": f.Secured, "splash_proof": f.SplashProof, "corded": f.Corded} {
			if yes {
				set(name, "yes")
			}
		}
		if f.OutputPerMinute > 0 {
			set("output_per_minute", strconv.FormatFloat(f.OutputPerMinute.Litres(), 'f', -1, 64)+" L")
		}
	}
	return v
}

// file answers with a part of the plan by itself. What can't be planned leads to the
// page, which says why. The same address at the same catalogue gives the same file.
func (r *request) planFile(mediaType, name string, part func(*sizing.PlanAnswer) ([]byte, error)) error {
	u := r.Request().URL
	digest := sha256.Sum256([]byte(strings.Join([]string{r.snap.Revision, sizing.EngineVersion, r.site.style.path, r.look.units.String(), u.RequestURI()}, "\n")))
	tag := `"` + hex.EncodeToString(digest[:12]) + `"`
	h := r.Response().Header()
	h.Set("ETag", tag)
	if r.Request().Header.Get("If-None-Match") == tag {
		return r.NoContent(http.StatusNotModified)
	}
	f := r.planForm()
	if q, ok := r.planQuestion(f); ok {
		a, err := sizing.Plan(r.snap.Catalogue, q)
		if err != nil && !f.refused(err) {
			return err
		}
		if err == nil && a.Plan != nil {
			body, err := part(a)
			if err != nil {
				return err
			}
			h.Set(echo.HeaderContentDisposition, `inline; filename="`+name+`"`)
			return r.Blob(http.StatusOK, mediaType, body)
		}
	}
	h.Del("ETag")
	return r.Redirect(http.StatusSeeOther, "/plan?"+f.kept().Encode())
}

// planSheet is one drawing.
func planSheet(r *request) error {
	name, ok := strings.CutSuffix(r.Param("sheet"), ".svg")
	if !ok || !slices.Contains(sheetNames, name) {
		return notFound()
	}
	return r.planFile("image/svg+xml", name+".svg", func(a *sizing.PlanAnswer) ([]byte, error) {
		i := slices.IndexFunc(a.Sheets, func(s layout.Sheet) bool { return s.Name == name })
		if i < 0 {
			return nil, fmt.Errorf("the plan has no sheet %q", name)
		}
		return a.Sheets[i].SVG, nil
	})
}

// sheetNames are those of layout.Plan.Sheets; a test holds them to it.
var sheetNames = []string{"floor", "ceiling-from-above", "ceiling-from-below", "section", "walls"}

// planList is a list of the plan as a file.
func planList(r *request) error {
	const table = "text/csv; charset=utf-8"
	units := r.look.units
	switch name := r.Param("list"); name {
	case "cuts.csv":
		return r.planFile(table, name, func(a *sizing.PlanAnswer) ([]byte, error) { return a.Plan.CutCSV(units), nil })
	case "materials.csv":
		return r.planFile(table, name, func(a *sizing.PlanAnswer) ([]byte, error) { return a.Plan.MaterialsCSV(units), nil })
	case "program.csv":
		return r.planFile(table, name, func(a *sizing.PlanAnswer) ([]byte, error) { return a.Plan.ProgramCSV(), nil })
	case "program.ics":
		year, err := strconv.Atoi(r.QueryParam("year"))
		if err != nil || year < 1970 || year > 9998 {
			year = time.Now().Year()
		}
		return r.planFile("text/calendar; charset=utf-8", name, func(a *sizing.PlanAnswer) ([]byte, error) { return a.Plan.Program.Calendar(year) })
	}
	return notFound()
}

// Shop writes a length for the workshop: in mm, or in inches.
func (d planData) Shop(l quantity.Length) string {
	if d.units == quantity.Imperial {
		return l.Value().In(d.units).String()
	}
	return exact(l)
}

// Shows reports whether a row of equipment shows a field: where its kind has it, or
// something was typed there.
func (d planData) Shows(n int, name string) bool {
	kind := layout.Kind(d.Form.Values.Get(d.Form.At("equipment", n, "kind")))
	return slices.Contains(strings.Fields(equipmentFields[kind]), name) || d.Form.Filled("equipment", n, name)
}

// Equipped reports whether any equipment is listed.
func (d planData) Equipped() bool {
	return slices.ContainsFunc(d.Form.Rows("equipment"), d.Chosen)
}

// Words writes a code of the plan: uv_fixture_1.
func (d planData) Words(code string) string {
	return strings.Replace(strings.ReplaceAll(code, "_", " "), "uv ", "UV ", 1)
}

// Chosen reports whether a row of equipment says its kind.
func (d planData) Chosen(n int) bool {
	_, ok := equipmentFields[layout.Kind(d.Form.Values.Get(d.Form.At("equipment", n, "kind")))]
	return ok
}

// Sizes and Ticks are the fields of equipment that are measured, and those that are so or not.
func (d planData) Sizes() []string {
	return []string{"opening", "length", "width", "beam_degrees", "hang", "max_hang", "near", "far", "reading.uv_index", "reading.distance", "throw", "output_per_minute"}
}
func (d planData) Ticks() []string { return []string{"guarded", "secured", "splash_proof", "corded"} }

// Ceiling names the workshop's figures.
func (d planData) Ceiling() []string { return ceilingFigures }

// Days are the events of the program as rows, with what each season says of it.
func (d planData) Days() []programRow {
	var rows []programRow
	for i, season := range d.Plan.Program.Seasons {
		seen := map[string]int{}
		for _, e := range season.Events {
			key := fmt.Sprint(e.Code, e.Name, seen[e.Code+e.Name])
			seen[e.Code+e.Name]++
			at := slices.IndexFunc(rows, func(r programRow) bool { return r.key == key })
			if at < 0 {
				at = len(rows)
				rows = append(rows, programRow{key: key, Name: e.Name, Note: e.Note, Times: make([]string, len(d.Plan.Program.Seasons)), first: e.Start})
			}
			text := e.Start + "–" + e.End
			if len(e.Days) < 7 {
				text += " " + strings.Join(e.Days, " ")
			}
			rows[at].Times[i] = text
		}
	}
	slices.SortStableFunc(rows, func(a, b programRow) int { return strings.Compare(a.first, b.first) })
	return rows
}

type programRow struct {
	key, first string
	Name, Note string
	Times      []string // by season
}
