package pages

import (
	"fmt"
	"html/template"
	"net/url"
	"slices"
	"strings"

	"github.com/go-json-experiment/json"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing"
	"denwright/sizing/score"
	"denwright/testdata/demo"
)

// fieldGroup is a part of the form of a setup, which folds.
type fieldGroup struct {
	Key    string
	Fields []field
	// Row is the list whose rows the part holds, if any.
	Row string
}

// heatRow is the list of heat sources.
const heatRow = "setup.heat_sources"

// setupGroups are the fields of a setup, in the order in which one walks round it.
var setupGroups = []fieldGroup{
	{Key: "size", Fields: []field{
		{At: "setup.inside.length", Kind: lengthField},
		{At: "setup.inside.width", Kind: lengthField},
		{At: "setup.inside.height", Kind: lengthField},
		{At: "setup.inside.lowest_fixture", Kind: lengthField},
		{At: "setup.inside.drainage", Kind: lengthField},
		{At: "setup.material", Kind: choiceField, Options: score.Materials},
	}},
	{Key: "warmth", Fields: []field{
		{At: "setup.temperatures.hot_spot", Kind: temperatureField},
		{At: "setup.temperatures.warm_air", Kind: temperatureField},
		{At: "setup.temperatures.cool_air", Kind: temperatureField},
		{At: "setup.temperatures.night_air", Kind: temperatureField},
	}},
	{Key: "heat", Row: heatRow, Fields: []field{
		{At: heatRow, Kind: noneField, Wide: true},
		{At: heatRow + ".0.kind", Kind: choiceField, Options: score.HeatKinds},
		{At: heatRow + ".0.power", Kind: powerField},
		{At: heatRow + ".0.place", Kind: choiceField, Options: score.Places},
		{At: heatRow + ".0.guarded", Kind: yesNoField},
		{At: heatRow + ".0.gap", Kind: lengthField},
		{At: heatRow + ".0.control", Kind: choiceField, Options: score.Controls},
		{At: heatRow + ".0.probe_senses", Kind: yesNoField},
	}},
	{Key: "light", Fields: []field{
		{At: "setup.uv.basking", Kind: uvField},
		{At: "setup.uv.shade", Kind: uvField},
		{At: "setup.uv.spectrum", Kind: choiceField, Options: score.Spectra},
		{At: "setup.uv.refuge", Kind: yesNoField},
	}},
	{Key: "air", Fields: []field{
		{At: "setup.humidity.day", Kind: fractionField},
		{At: "setup.humidity.night", Kind: fractionField},
		{At: "setup.humidity.retreat", Kind: fractionField},
		{At: "setup.ventilation", Kind: choiceField, Options: score.Ventilations},
	}},
	{Key: "ground", Fields: []field{
		{At: "setup.substrate.kind", Kind: textField},
		{At: "setup.substrate.depth", Kind: lengthField},
		{At: "setup.climbing.highest_perch", Kind: lengthField},
		{At: "setup.climbing.structures", Kind: yesNoField},
		{At: "setup.retreats.warm", Kind: yesNoField},
		{At: "setup.retreats.cool", Kind: yesNoField},
		{At: "setup.retreats.humid", Kind: yesNoField},
		{At: "setup.rocks.present", Kind: yesNoField},
		{At: "setup.rocks.on_floor", Kind: yesNoField},
	}},
	{Key: "water", Fields: []field{
		{At: "setup.water.present", Kind: yesNoField},
		{At: "setup.water.dish", Kind: yesNoField},
		{At: "setup.water.exit", Kind: yesNoField},
		{At: "setup.water.depth", Kind: lengthField},
		{At: "setup.water.length", Kind: lengthField},
		{At: "setup.water.width", Kind: lengthField},
		{At: "setup.water.volume", Kind: volumeField},
		{At: "setup.temperatures.water", Kind: temperatureField},
		{At: "setup.water.haul_out", Kind: yesNoField},
	}},
	{Key: "safety", Fields: []field{
		{At: "setup.access.lid", Kind: yesNoField},
		{At: "setup.access.lock", Kind: yesNoField},
		{At: "setup.electrics.spray_proof", Kind: yesNoField},
		{At: "setup.electrics.drip_loops", Kind: yesNoField},
		{At: "setup.electrics.residual_current_device", Kind: yesNoField},
		{At: "setup.stand.stable", Kind: yesNoField},
		{At: "setup.stand.level", Kind: yesNoField},
	}},
	{Key: "company", Fields: []field{
		{At: "setup.other_species", Kind: listField, Wide: true},
	}},
}

// setupFields are the fields of all groups.
func setupFields() (out []field) {
	for _, g := range setupGroups {
		out = append(out, g.Fields...)
	}
	return out
}

// assessmentForm is the form of an assessment question, with more fields where a
// question that holds one asks more.
func (r *request) assessmentForm(values url.Values, more ...field) *form {
	values = renamed(values, "", "animals.0.", "count", "stage", "sex") // as a match names them
	fields := slices.Concat(animalFields(), []field{r.jurisdictionField()}, setupFields(), more)
	return r.newForm("ask", values, fields, "animals", heatRow)
}

// assessmentOf reads an assessment question out of the values of a form. The form
// keeps what was typed; it says where the question could not be read, and then ok is
// false. What the engine refuses is for form.refused.
func (r *request) assessmentOf(values url.Values) (f *form, q sizing.AssessmentQuestion, ok bool) {
	f = r.assessmentForm(values)
	if f.sent() {
		ok = f.ask(&q)
	}
	return f, q, ok
}

// queryOf writes a question as the values of its form, in metric units: the way back
// from a question that was kept to its page.
func queryOf(question any) (url.Values, error) {
	raw, err := json.Marshal(question)
	if err != nil {
		return nil, fmt.Errorf("question: %w", err)
	}
	var tree any
	if err := json.Unmarshal(raw, &tree); err != nil {
		return nil, fmt.Errorf("question: %w", err)
	}
	values := url.Values{unitsField: {"metric"}}
	flatten(values, "", tree)
	return values, nil
}

// metricUnit is the unit of a bare number in a field of the assessment form.
func metricUnit(at string) string {
	for _, one := range slices.Concat(animalFields(), setupFields()) {
		if withoutNumbers(one.At) == withoutNumbers(at) && one.Unit == "" {
			return bareUnits[one.Kind][quantity.Metric]
		}
	}
	return ""
}

func flatten(values url.Values, at string, v any) {
	join := func(key string) string { return strings.TrimPrefix(at+"."+key, ".") }
	switch v := v.(type) {
	case map[string]any:
		if number, is := v["value"].(float64); is && v["unit"] != nil {
			text := fmt.Sprint(number)
			if unit := fmt.Sprint(v["unit"]); unit != metricUnit(at) {
				text += " " + unit
			}
			values.Set(at, text)
			return
		}
		for key, member := range v {
			flatten(values, join(key), member)
		}
	case []any:
		words := []string{}
		for i, entry := range v {
			if word, is := entry.(string); is {
				words = append(words, word)
				continue
			}
			flatten(values, join(fmt.Sprint(i)), entry)
		}
		switch {
		case len(v) == 0 && at == heatRow:
			values.Set(at, "yes")
		case len(v) == 0:
			values.Set(at, "none")
		case len(words) > 0:
			values.Set(at, strings.Join(words, ", "))
		}
	case bool:
		values.Set(at, map[bool]string{true: "yes", false: "no"}[v])
	case nil:
	default:
		if text := fmt.Sprint(v); text != "" {
			values.Set(at, text)
		}
	}
}

// groupView is a part of the form as a template shows it.
type groupView struct {
	Key    string
	Open   bool
	Stated int
	Of     int
	Fields []string // places; without those in rows
	Row    string
	Form   *form
}

// Groups are the parts of a setup. Those with something to mend are open, those that
// hold a field that is asked for, and in an empty form the first.
func (f *form) Groups(asked []string) (out []groupView) {
	for i, g := range setupGroups {
		v := groupView{Key: g.Key, Row: g.Row, Form: f, Open: i == 0 && !f.sent()}
		for _, one := range f.Fields {
			if !slices.ContainsFunc(g.Fields, func(of field) bool { return withoutNumbers(of.At) == withoutNumbers(one.At) }) {
				continue
			}
			if g.Row == "" || !strings.HasPrefix(one.At, g.Row+".") {
				v.Fields = append(v.Fields, one.At)
			}
			if _, bad := f.Problems[one.At]; bad || slices.Contains(asked, one.At) {
				v.Open = true
			}
			v.Of++
			if f.stated(one.At) {
				v.Stated++
			}
		}
		if g.Row != "" { // a list is stated or not: how many fields its rows have tells nothing
			rows := 0
			for _, n := range f.Rows(g.Row) {
				if f.described(fmt.Sprintf("%s.%d", g.Row, n)) {
					rows++
				}
			}
			v.Of = 0
			if v.Stated = rows; rows == 0 && f.stated(g.Row) {
				v.Stated = -1
			}
			v.Open = v.Open || f.Values.Get("add") == g.Row
		}
		out = append(out, v)
	}
	return out
}

func (f *form) stated(at string) bool { return strings.TrimSpace(f.Values.Get(at)) != "" }

// HeatFields are the fields of a heat source in a row.
func (f *form) HeatFields(n int) (out []string) {
	prefix := fmt.Sprintf("%s.%d.", heatRow, n)
	for _, one := range f.Fields {
		if strings.HasPrefix(one.At, prefix) {
			out = append(out, one.At)
		}
	}
	return out
}

// settles names, for a criterion or hazard, the fields that settle it, the first that
// is blank first. Those of a heat source lie in a row.
var settles = map[string][]string{
	"floor_length":              {"setup.inside.length", "setup.inside.width"},
	"floor_width":               {"setup.inside.width", "setup.inside.length"},
	"floor_area":                {"setup.inside.length", "setup.inside.width"},
	"floor_perimeter":           {"setup.inside.length", "setup.inside.width"},
	"inside_volume":             {"setup.inside.length", "setup.inside.width", "setup.inside.height"},
	"usable_height":             {"setup.inside.height", "setup.substrate.depth", "setup.inside.lowest_fixture"},
	"water_area":                {"setup.water.length", "setup.water.width"},
	"water_volume":              {"setup.water.volume"},
	string(care.WaterDepth):     {"setup.water.depth"},
	string(care.HotSpot):        {"setup.temperatures.hot_spot"},
	string(care.WarmAir):        {"setup.temperatures.warm_air"},
	string(care.CoolAir):        {"setup.temperatures.cool_air"},
	string(care.NightAir):       {"setup.temperatures.night_air"},
	string(care.WaterTemp):      {"setup.temperatures.water"},
	string(care.HumidityDay):    {"setup.humidity.day"},
	string(care.HumidityNight):  {"setup.humidity.night"},
	string(care.HumidRetreat):   {"setup.humidity.retreat"},
	string(care.UVMax):          {"setup.uv.basking"},
	string(care.UVMean):         {"setup.uv.shade"},
	"uv_refuge":                 {"setup.uv.refuge"},
	string(care.SubstrateDepth): {"setup.substrate.depth"},
	"retreat_warm":              {"setup.retreats.warm"},
	"retreat_cool":              {"setup.retreats.cool"},
	"humid_retreat_present":     {"setup.retreats.humid"},
	"climbing":                  {"setup.climbing.structures"},
	"water_dish":                {"setup.water.dish"},
	"haul_out":                  {"setup.water.haul_out"},
	"ventilation":               {"setup.ventilation"},
	"lid":                       {"setup.access.lid"},
	string(care.GroupSize):      {"animals.0.count"},
	"uv_over_ceiling":           {"setup.uv.basking"},
	"uv_below_290_nm":           {"setup.uv.spectrum"},
	"no_cool_refuge":            {"setup.temperatures.cool_air", "setup.temperatures.water"},
	"electrics_not_spray_proof": {"setup.electrics.spray_proof", "setup.electrics.drip_loops", "setup.electrics.residual_current_device"},
	"water_without_exit":        {"setup.water.exit", "setup.water.depth"},
	"no_lid":                    {"setup.access.lid"},
	"no_lock":                   {"setup.access.lock"},
	"rocks_undermined":          {"setup.rocks.present", "setup.rocks.on_floor"},
	"unstable_stand":            {"setup.stand.stable", "setup.stand.level"},
	"other_species":             {"setup.other_species"},
	"fighting":                  {"animals.0.sex", "animals.0.count"},
	"touchable_heat":            {heatRow + ".0.place", heatRow + ".0.guarded", heatRow + ".0.gap"},
	"unregulated_heat":          {heatRow + ".0.control", "setup.temperatures.hot_spot"},
	"probe_cannot_feel":         {heatRow + ".0.probe_senses"},
	"mat_under_deep_soil":       {heatRow + ".0.place", "setup.substrate.depth"},
	"heated_rock":               {heatRow},
}

// animalLength settles what hangs on how long the animal is, whatever the criterion.
const animalLength = "animals.0.length"

// settledBy is the field to fill in to settle something that is not known, or nothing
// where no field does.
func (f *form) settledBy(o score.Open) string {
	if strings.HasSuffix(o.What, "the length of the animal") || strings.HasSuffix(o.What, "the animal") {
		return animalLength
	}
	for _, code := range o.For {
		var places []string
		for _, at := range settles[code] {
			if !strings.HasPrefix(at, heatRow+".") {
				places = append(places, at)
				continue
			}
			for _, n := range f.Rows(heatRow) {
				if in := strings.Replace(at, heatRow+".0.", fmt.Sprintf("%s.%d.", heatRow, n), 1); f.stated(f.At(heatRow, n, "kind")) {
					places = append(places, in)
				}
			}
		}
		for _, at := range places {
			if !f.stated(at) {
				return at
			}
		}
		if len(places) > 0 {
			return places[0]
		}
		if len(settles[code]) > 0 {
			return heatRow // no source was named at all
		}
	}
	return ""
}

// openField is something to find out with the field that takes it.
type openField struct {
	score.Open
	At, ID string
}

// openFields are what is not known, what decides first.
func (f *form) openFields(all []score.Open) (out []openField) {
	for _, o := range all {
		at := f.settledBy(o)
		out = append(out, openField{o, at, fieldID(at)})
	}
	slices.SortStableFunc(out, func(a, b openField) int {
		switch {
		case a.Decides == b.Decides:
			return 0
		case a.Decides:
			return -1
		}
		return 1
	})
	return out
}

// fieldID is the id of a field's entry in the page.
func fieldID(at string) string {
	if at == "" {
		return ""
	}
	return "f-" + strings.ReplaceAll(strings.TrimPrefix(at, "setup."), ".", "-")
}

// example is an invented assessment as the values of its form.
func example() (template.URL, error) {
	var q sizing.AssessmentQuestion
	if err := json.Unmarshal(demo.DonatedTank, &q); err != nil {
		return "", fmt.Errorf("example: %w", err)
	}
	values, err := queryOf(q)
	return template.URL(values.Encode()), err
}
