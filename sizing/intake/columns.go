package intake

import (
	"fmt"
	"strconv"
	"strings"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing"
	"denwright/sizing/score"
)

// Column is one column that a CSV file may have. None is needed but one of them; their
// order is free, and case, spaces and punctuation in a header do not count.
type Column struct {
	Name string
	// Also are other headers that mean the same.
	Also []string
	What string
	// fields are the JSON pointers of the question that the column fills.
	fields []string
	// units may stand in the header: "length (cm)".
	units []string
	set   func(*Row, string, string) error
}

var (
	lengthUnits = []string{"cm", "mm", "m", "in", "ft"}
	degrees     = []string{"°C", "°F"}
)

// Columns lists every column, in the order shown.
func Columns() []Column { return columns }

var columns = []Column{
	text("id", "your own number or name for the row; repeated in the answer", func(r *Row, s string) { r.ID = s }, "no", "number", "ref", "reference", "tag", "lot"),
	text("note", "anything; repeated in the answer", func(r *Row, s string) { r.Note = s }, "notes", "remark", "remarks", "comment", "comments", "description"),
	{Name: "species", Also: []string{"animal", "for"}, What: "id or name of the species it is for; blank asks what could live in it", fields: []string{"/species"},
		set: func(r *Row, s, _ string) error { r.Species = s; return nil }},
	{Name: "count", Also: []string{"animals", "howmany", "qty"}, What: "how many animals; 1 when blank", fields: []string{"/animals/0/count", "/count"},
		set: func(r *Row, s, _ string) (err error) {
			r.count, err = strconv.Atoi(strings.TrimSpace(s))
			if err != nil || r.count < 1 {
				return fmt.Errorf("%q is no whole number above 0", clip(s))
			}
			return nil
		}},
	{Name: "stage", Also: []string{"lifestage"}, What: "hatchling, juvenile, subadult or adult; adult when nothing tells", fields: []string{"/animals/0/stage", "/stage"},
		set: func(r *Row, s, _ string) error {
			w, err := word(s, []string{"hatchling", "juvenile", "subadult", "adult"}, map[string]string{"baby": "hatchling", "young": "juvenile", "juv": "juvenile", "sub-adult": "subadult", "grown": "adult", "ad": "adult"})
			r.stage = care.Stage(w)
			return err
		}},
	{Name: "sex", What: "female, male or unknown", fields: []string{"/animals/0/sex", "/sex"}, set: func(r *Row, s, _ string) (err error) {
		r.sex, err = word(s, []string{"female", "male", "unknown"}, map[string]string{"f": "female", "m": "male", "♀": "female", "♂": "male"})
		return err
	}},
	of("animal_length", "length of the largest animal", "/animals/0/length", lengthUnits, length, func(r *Row) **quantity.Length { return &r.length }, "animalsize", "bodylength"),
	{Name: "measure", Also: []string{"animalmeasure"}, What: "what animal_length is: snout-vent, total or shell", fields: []string{"/animals/0/measure"}, set: func(r *Row, s, _ string) error {
		w, err := word(s, []string{"snout-vent", "total", "shell"}, map[string]string{"svl": "snout-vent", "tl": "total", "total-length": "total", "scl": "shell", "carapace": "shell"})
		r.measure = care.Measure(w)
		return err
	}},
	of("age", "age of the animals, in months unless it says years or weeks", "/animals/0/age", []string{"months", "years", "weeks"}, months, func(r *Row) **quantity.Hours { return &r.age }, "agemonths"),
	text("jurisdiction", "ISO 3166 code such as DE or US-FL, for the lowest lawful size", func(r *Row, s string) { r.Jurisdiction = strings.ToUpper(s) }, "country", "place", "law"),

	{Name: "size", Also: []string{"dimensions", "dims", "lxwxh", "lwh", "insidesize", "measurements"}, What: "length x width x height inside, such as 120 x 60 x 50 cm", fields: []string{"/setup/inside/length", "/setup/inside/width", "/setup/inside/height"}, units: lengthUnits,
		set: func(r *Row, s, header string) error {
			l, err := sizes(s, header)
			if err != nil {
				return err
			}
			for i, to := range []**quantity.Length{&r.inside().Length, &r.inside().Width, &r.inside().Height}[:len(l)] {
				if *to != nil && **to != l[i] {
					return fmt.Errorf("%q is not what the columns for the single sides say", clip(s))
				}
				*to = &l[i]
			}
			return nil
		}},
	of("length", "clear inside length", "/setup/inside/length", lengthUnits, length, func(r *Row) **quantity.Length { return &r.inside().Length }, "l", "long", "insidelength"),
	of("width", "clear inside width, front to back", "/setup/inside/width", lengthUnits, length, func(r *Row) **quantity.Length { return &r.inside().Width }, "w", "depth", "deep", "wide", "insidewidth", "fronttoback"),
	of("height", "clear inside height", "/setup/inside/height", lengthUnits, length, func(r *Row) **quantity.Length { return &r.inside().Height }, "h", "high", "tall", "insideheight"),
	of("lowest_fixture", "height above the floor of the lowest lamp or guard", "/setup/inside/lowest_fixture", lengthUnits, length, func(r *Row) **quantity.Length { return &r.inside().LowestFixture }, "lowestlamp"),
	of("drainage", "depth of a drainage layer", "/setup/inside/drainage", lengthUnits, length, func(r *Row) **quantity.Length { return &r.inside().Drainage }),
	vocabulary("material", "what it is built of", "/setup/material", score.Materials, map[string]string{"wooden": "wood", "vivarium": "wood", "acrylic": "plastic", "pvc": "plastic", "wire": "mesh", "melamine": "wood"}, func(r *Row) *string { return &r.Setup.Material }, "builtof", "made"),

	of("hot_spot", "surface under the lamp by day", "/setup/temperatures/hot_spot", degrees, temperature, func(r *Row) **quantity.Temperature { return &r.Setup.Temperatures.HotSpot }, "basking", "baskingtemp", "hotspottemp"),
	of("warm_air", "air at the warm end by day", "/setup/temperatures/warm_air", degrees, temperature, func(r *Row) **quantity.Temperature { return &r.Setup.Temperatures.WarmAir }, "warm", "warmend", "hotend", "warmside"),
	of("cool_air", "air at the cool end by day", "/setup/temperatures/cool_air", degrees, temperature, func(r *Row) **quantity.Temperature { return &r.Setup.Temperatures.CoolAir }, "cool", "coolend", "coldend", "coolside"),
	of("night_air", "air by night", "/setup/temperatures/night_air", degrees, temperature, func(r *Row) **quantity.Temperature { return &r.Setup.Temperatures.NightAir }, "night", "nighttemp"),
	of("water_temp", "water", "/setup/temperatures/water", degrees, temperature, func(r *Row) **quantity.Temperature { return &r.Setup.Temperatures.Water }, "watertemperature"),
	of("humidity_day", "relative humidity by day, %", "/setup/humidity/day", []string{"%"}, humidity, func(r *Row) **quantity.Fraction { return &r.Setup.Humidity.Day }, "humidity", "rh"),
	of("humidity_night", "relative humidity by night, %", "/setup/humidity/night", []string{"%"}, humidity, func(r *Row) **quantity.Fraction { return &r.Setup.Humidity.Night }, "nighthumidity"),
	of("humidity_retreat", "relative humidity in the humid retreat, %", "/setup/humidity/retreat", []string{"%"}, humidity, func(r *Row) **quantity.Fraction { return &r.Setup.Humidity.Retreat }),
	of("uv_basking", "UV index at the back of an animal in its highest basking place", "/setup/uv/basking", []string{"UVI"}, uvIndex, func(r *Row) **quantity.UVIndex { return &r.Setup.UV.Basking }, "uvi", "uv", "uvindex"),
	of("uv_shade", "UV index over the broad lit part", "/setup/uv/shade", []string{"UVI"}, uvIndex, func(r *Row) **quantity.UVIndex { return &r.Setup.UV.Shade }),
	yes("uv_refuge", "is there a place without ultraviolet light that costs no warmth and no cover", func(r *Row) **bool { return &r.Setup.UV.Refuge }),
	vocabulary("uv_spectrum", "from the lamp's data sheet", "/setup/uv/spectrum", score.Spectra, map[string]string{"sunlike": "like-sunlight", "ok": "like-sunlight"}, func(r *Row) *string { return &r.Setup.UV.Spectrum }, "spectrum"),

	text("substrate", "what covers the floor", func(r *Row, s string) { r.Setup.Substrate.Kind = s }, "substratekind", "bedding"),
	of("substrate_depth", "depth of the substrate", "/setup/substrate/depth", lengthUnits, length, func(r *Row) **quantity.Length { return &r.Setup.Substrate.Depth }, "soildepth", "beddingdepth"),
	yes("water_present", "is there standing water, a dish included", func(r *Row) **bool { return &r.Setup.Water.Present }, "haswater"),
	of("water_length", "length of the water", "/setup/water/length", lengthUnits, length, func(r *Row) **quantity.Length { return &r.Setup.Water.Length }),
	of("water_width", "width of the water", "/setup/water/width", lengthUnits, length, func(r *Row) **quantity.Length { return &r.Setup.Water.Width }),
	of("water_depth", "depth of the water", "/setup/water/depth", lengthUnits, length, func(r *Row) **quantity.Length { return &r.Setup.Water.Depth }),
	of("water_volume", "water held", "/setup/water/volume", []string{"L", "mL", "gal"}, volume, func(r *Row) **quantity.Volume { return &r.Setup.Water.Volume }, "litres", "gallons"),
	yes("dish", "a drinking dish", func(r *Row) **bool { return &r.Setup.Water.Dish }, "waterdish", "bowl", "waterbowl"),
	yes("exit", "every animal can climb out of the water", func(r *Row) **bool { return &r.Setup.Water.Exit }, "ramp", "waterexit"),
	yes("haul_out", "dry land under the heat for a swimmer", func(r *Row) **bool { return &r.Setup.Water.HaulOut }, "land", "dock"),
	yes("retreat_warm", "a covered retreat at the warm end", func(r *Row) **bool { return &r.Setup.Retreats.Warm }, "warmhide", "hidewarm"),
	yes("retreat_cool", "a covered retreat at the cool end", func(r *Row) **bool { return &r.Setup.Retreats.Cool }, "coolhide", "hidecool"),
	yes("retreat_humid", "a retreat kept humid", func(r *Row) **bool { return &r.Setup.Retreats.Humid }, "humidhide", "moisthide"),
	yes("climbing", "branches, rock or ledges to climb", func(r *Row) **bool { return &r.Setup.Climbing.Structures }, "branches", "climb"),
	of("highest_perch", "height of the highest perch above the substrate", "/setup/climbing/highest_perch", lengthUnits, length, func(r *Row) **quantity.Length { return &r.Setup.Climbing.HighestPerch }, "perch"),

	{Name: "heat", Also: []string{"heatsources", "heating", "heaters"}, What: "heat sources parted by +, each a kind and words: halogen 75W inside guarded stat probe-ok gap 30cm + mat 20W under no-stat; none", fields: []string{"/setup/heat_sources"},
		set: func(r *Row, s, _ string) (err error) { r.Setup.HeatSources, err = heat(s); return err }},
	vocabulary("ventilation", "where air comes and goes", "/setup/ventilation", score.Ventilations, map[string]string{"low-high": "low-and-high", "low+high": "low-and-high", "both": "low-and-high", "mesh-top": "top", "mesh": "mesh-sides", "screen": "mesh-sides", "no": "none"}, func(r *Row) *string { return &r.Setup.Ventilation }, "vents", "vent"),
	yes("lid", "closed on all sides", func(r *Row) **bool { return &r.Setup.Access.Lid }, "closed"),
	yes("lock", "a lock or catch the animal can't open", func(r *Row) **bool { return &r.Setup.Access.Lock }, "locks", "locked"),
	yes("spray_proof", "fittings within reach of spray are rated for it", func(r *Row) **bool { return &r.Setup.Electrics.SprayProof }),
	yes("drip_loops", "cables hang below their sockets", func(r *Row) **bool { return &r.Setup.Electrics.DripLoops }),
	yes("rcd", "a residual current device", func(r *Row) **bool { return &r.Setup.Electrics.RCD }, "residualcurrentdevice", "gfci"),
	yes("rocks", "are there rocks or other heavy furnishings", func(r *Row) **bool { return &r.Setup.Rocks.Present }),
	yes("rocks_on_floor", "they stand on the floor, not on soil", func(r *Row) **bool { return &r.Setup.Rocks.OnFloor }),
	yes("stand_level", "the stand is level", func(r *Row) **bool { return &r.Setup.Stand.Level }, "level"),
	yes("stand_stable", "the stand is stable", func(r *Row) **bool { return &r.Setup.Stand.Stable }, "stable"),
	{Name: "other_species", Also: []string{"sharedwith", "tankmates", "with"}, What: "other species in it, parted by +; none", fields: []string{"/setup/other_species"}, set: func(r *Row, s, _ string) error {
		r.Setup.OtherSpecies = []string{}
		if w := strings.ToLower(strings.TrimSpace(s)); w == "none" || w == "no" || w == "n" {
			return nil
		}
		for _, o := range strings.Split(s, "+") {
			r.Setup.OtherSpecies = append(r.Setup.OtherSpecies, strings.TrimSpace(o))
		}
		return nil
	}},
}

// of is a column of one figure.
func of[T ~float64](name, what, field string, units []string, parse func(string, string) (T, error), to func(*Row) **T, also ...string) Column {
	return Column{Name: name, Also: also, What: what, fields: []string{field}, units: units, set: func(r *Row, s, header string) error {
		x, err := parse(s, header)
		if err != nil {
			return err
		}
		if before := *to(r); before != nil && *before != x {
			return fmt.Errorf("%q is not what another column says", clip(s))
		}
		*to(r) = &x
		return nil
	}}
}

func yes(name, what string, to func(*Row) **bool, also ...string) Column {
	return Column{Name: name, Also: also, What: what + "? y or n", set: func(r *Row, s, _ string) error {
		x, err := yesNo(s)
		if err == nil {
			*to(r) = &x
		}
		return err
	}}
}

func vocabulary(name, what, field string, words []string, synonyms map[string]string, to func(*Row) *string, also ...string) Column {
	return Column{Name: name, Also: also, What: what + ": " + strings.Join(words, ", "), fields: []string{field}, set: func(r *Row, s, _ string) (err error) {
		*to(r), err = word(s, words, synonyms)
		return err
	}}
}

func text(name, what string, to func(*Row, string), also ...string) Column {
	field := ""
	if name == "jurisdiction" {
		field = "/jurisdiction"
	}
	return Column{Name: name, Also: also, What: what, fields: []string{field}, set: func(r *Row, s, _ string) error { to(r, s); return nil }}
}

// squeeze takes everything but letters and digits out of a header.
func squeeze(s string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r >= 'a' && r <= 'z', r >= '0' && r <= '9':
			return r
		case r >= 'A' && r <= 'Z':
			return r - 'A' + 'a'
		}
		return -1
	}, s)
}

// columnOf finds the column of a header, and the unit that the header ends in: "length
// (cm)", "hot_spot_F", "Width in inches".
func columnOf(header string) (c *Column, headerUnit string) {
	find := func(s string) *Column {
		s = squeeze(s)
		for i := range columns {
			if squeeze(columns[i].Name) == s {
				return &columns[i]
			}
			for _, a := range columns[i].Also {
				if a == s {
					return &columns[i]
				}
			}
		}
		return nil
	}
	if c := find(header); c != nil {
		return c, ""
	}
	trimmed := strings.TrimRight(strings.TrimSpace(header), ")]")
	cut := strings.LastIndexAny(trimmed, "([_ ,/")
	if cut < 0 {
		return nil, ""
	}
	name := strings.TrimSpace(trimmed[:cut])
	name = strings.TrimSuffix(strings.TrimSuffix(name, " in"), "_in")
	c, headerUnit = find(name), unit(trimmed[cut+1:])
	if c == nil {
		return nil, ""
	}
	for _, u := range c.units {
		if u == headerUnit || strings.EqualFold(u, headerUnit) {
			return c, u
		}
	}
	return nil, ""
}

// Row is one enclosure as it was written down.
type Row struct {
	Number int // of the data rows, from 1
	Line   int // at which it begins, from 1
	ID     string
	Note   string
	// Species is blank where the row asks what could live in it.
	Species      string
	Animals      []sizing.Animal
	Jurisdiction string
	Setup        score.Setup
	// Faults say why it can't be answered; Remarks what was taken for what.
	Faults  []Fault
	Remarks []string

	count   int
	stage   care.Stage
	sex     string
	length  *quantity.Length
	measure care.Measure
	age     *quantity.Hours
	// places are the columns that filled the fields of the question.
	places map[string]place
}

type place struct {
	column int
	name   string
}

// Fault is one thing wrong with a row, and where.
type Fault struct {
	Line int `json:"line"`
	// Column counts the cells of a CSV row, or the bytes of an NDJSON line, from 1; 0
	// where it is the row as a whole.
	Column int    `json:"column,omitzero"`
	Name   string `json:"name,omitzero"` // of the column or field
	Reason string `json:"reason"`
	Remedy string `json:"remedy,omitzero"`
}

func (f Fault) String() string {
	at := fmt.Sprintf("line %d", f.Line)
	if f.Column > 0 {
		at += fmt.Sprintf(", column %d", f.Column)
	}
	if f.Name != "" {
		at += " (" + f.Name + ")"
	}
	out := at + ": " + f.Reason
	if f.Remedy != "" {
		out += "; " + f.Remedy
	}
	return out
}

func (r *Row) inside() *score.Inside {
	if r.Setup.Inside == nil {
		r.Setup.Inside = &score.Inside{}
	}
	return r.Setup.Inside
}

// settle makes the animals of the cells that describe them.
func (r *Row) settle() {
	if r.count == 0 {
		r.count = 1
	}
	told := r.stage != "" || r.length != nil || r.age != nil
	if r.Species == "" {
		if r.length != nil || r.age != nil {
			r.Remarks = append(r.Remarks, "a length or an age without a species is not used")
		}
		return
	}
	if !told {
		r.stage = care.Adult
		r.Remarks = append(r.Remarks, "nothing says how old the animal is: taken as adult")
	}
	if r.length == nil && r.measure != "" {
		r.measure = ""
		r.Remarks = append(r.Remarks, "a measure without a length is not used")
	}
	r.Animals = []sizing.Animal{{Count: r.count, Stage: r.stage, Sex: r.sex, Length: r.length, Measure: r.measure, Age: r.age}}
}

// empty reports whether the row says nothing of what is in the enclosure.
func (r *Row) empty() bool {
	s := &r.Setup
	return s.Temperatures == score.Temperatures{} && s.Humidity == score.Humidity{} && s.Substrate.Depth == nil && s.UV.Basking == nil && s.UV.Shade == nil && len(s.HeatSources) == 0
}

// refused turns the bad fields of a question into faults, with the columns they came from.
func (r *Row) refused(bad sizing.Invalid) {
	for _, b := range bad {
		f := Fault{Line: r.Line, Name: b.Field, Reason: b.Reason, Remedy: b.Remedy}
		if len(b.Candidates) > 0 {
			var ids []string
			for _, k := range b.Candidates {
				ids = append(ids, k.ID)
			}
			f.Remedy = "one of " + strings.Join(ids, ", ")
		} else if b.Field == "/species" {
			f.Remedy = "check the name against the species held"
		}
		for field, at := range r.places {
			if field != "" && (b.Field == field || strings.HasPrefix(b.Field, field+"/")) {
				f.Column, f.Name = at.column, at.name
			}
		}
		r.Faults = append(r.Faults, f)
	}
}
