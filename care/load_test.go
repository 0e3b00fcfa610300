package care

import (
	"errors"
	"strings"
	"testing"
	"testing/fstest"
)

// A small catalogue, invented throughout.
const (
	invSource  = "- {key: inv_book, title: An invented handbook, kind: handbook, read_how: whole}\n"
	invSpecies = `id: exemplum-primum
scientific_name: Exemplum primum
group: lizard
order: Squamata
family: Exemplidae
names:
  common: {en: [first example]}
  access: recalled
  sources: [inv_book]
nature:
  activity: diurnal
  habit: terrestrial
  climbs: 1
  digs: 1
  swims: 0
  basks: 2
  sociality: solitary
  dormancy: none
  access: recalled
  sources: [inv_book]
cautions:
  venomous: false
  trade: none
claims:
  warm_air_day:
    - {low: 25, high: 30, source: inv_book, access: read}
`
	invRule = `- id: inv-rule
  source: inv_book
  status: advisory
  access: read
  topic: invented
  scope: {species: [exemplum-primum], match: named}
  measure: total
  length_factor: 2
  width_factor: 1
`
)

func files(species, sources, rules string) fstest.MapFS {
	return fstest.MapFS{
		"species/exemplum-primum.yaml": {Data: []byte(species)},
		"sources/invented.yaml":        {Data: []byte(sources)},
		"rules/invented.yaml":          {Data: []byte(rules)},
	}
}

// TestLoadRefuses puts one fault at a time into a good catalogue: the error names
// the file, the field and the reason.
func TestLoadRefuses(t *testing.T) {
	swap := func(text, old, new string) string {
		if !strings.Contains(text, old) {
			t.Fatalf("no %q to replace", old)
		}
		return strings.Replace(text, old, new, 1)
	}
	tests := []struct {
		name                   string
		species, source, rule  string
		file, field, reasonHas string
	}{
		{"unknown field", swap(invSpecies, "family:", "clan: x\nfamily:"), invSource, invRule, "species/exemplum-primum.yaml", "", "field clan not found"},
		{"unknown parameter", swap(invSpecies, "warm_air_day", "warmth"), invSource, invRule, "species/exemplum-primum.yaml", "claims.warmth", "no such parameter"},
		{"unknown source", swap(invSpecies, "high: 30, source: inv_book", "high: 30, source: other"), invSource, invRule, "species/exemplum-primum.yaml", "claims.warm_air_day[0].source", `no source "other"`},
		{"low above high", swap(invSpecies, "low: 25", "low: 35"), invSource, invRule, "species/exemplum-primum.yaml", "claims.warm_air_day[0]", "low 35 is above high 30"},
		{"absurd figure", swap(invSpecies, "high: 30", "high: 300"), invSource, invRule, "species/exemplum-primum.yaml", "claims.warm_air_day[0].high", "outside 5 to 50"},
		{"infinite, with a reason", swap(invSpecies, "high: 30", "high: .inf, implausible: so printed"), invSource, invRule, "species/exemplum-primum.yaml", "claims.warm_air_day[0].high", "no figure"},
		{"latitude that is none", swap(invSpecies, "  dormancy: none\n", "  dormancy: none\n  latitude: .nan\n"), invSource, invRule, "species/exemplum-primum.yaml", "nature.latitude", "is NaN"},
		{"no figure", swap(invSpecies, "low: 25, high: 30, ", ""), invSource, invRule, "species/exemplum-primum.yaml", "claims.warm_air_day[0]", "neither low nor high"},
		{"recalled with a page", swap(invSpecies, "access: read}", "access: recalled, locator: p. 12}"), invSource, invRule, "species/exemplum-primum.yaml", "claims.warm_air_day[0].locator", "no page"},
		{"recalled as a quotation", swap(invSpecies, "access: read}", "access: recalled, note: “warm”}"), invSource, invRule, "species/exemplum-primum.yaml", "claims.warm_air_day[0].note", "never a quotation"},
		{"access not a word we know", swap(invSpecies, "access: read}", "access: heard}"), invSource, invRule, "species/exemplum-primum.yaml", "claims.warm_air_day[0].access", `is "heard"`},
		{"id is not the name", swap(invSpecies, "id: exemplum-primum", "id: exemplum"), invSource, invRule, "species/exemplum-primum.yaml", "id", "must be the file's name"},
		{"score out of range", swap(invSpecies, "climbs: 1", "climbs: 4"), invSource, invRule, "species/exemplum-primum.yaml", "nature.climbs", "0 to 3"},
		{"no such kind of source", invSpecies, swap(invSource, "kind: handbook", "kind: hearsay"), invRule, "sources/invented.yaml", "[0] inv_book.kind", "not a kind of source"},
		{"source twice", invSpecies, invSource + invSource, invRule, "sources/invented.yaml", "[1] inv_book.key", "used twice"},
		{"rule for nobody", invSpecies, invSource, swap(invRule, "species: [exemplum-primum], ", ""), "rules/invented.yaml", "[0] inv-rule.scope", "names no animals"},
		{"rule for a species not held", invSpecies, invSource, swap(invRule, "exemplum-primum", "exemplum-alterum"), "rules/invented.yaml", "[0] inv-rule.scope.species", "no species"},
		{"factor without a measure", invSpecies, invSource, swap(invRule, "  measure: total\n", ""), "rules/invented.yaml", "[0] inv-rule.measure", "is missing"},
		{"negative factor", invSpecies, invSource, swap(invRule, "length_factor: 2", "length_factor: -2"), "rules/invented.yaml", "[0] inv-rule.figures", "holds -2"},
		{"infinite figure", invSpecies, invSource, swap(invRule, "length_factor: 2", "length_factor: .inf"), "rules/invented.yaml", "[0] inv-rule.figures", "from 0 to"},
		{"figure for a further animal that is none", invSpecies, invSource, invRule + "  extra: {area_shares: [.nan]}\n", "rules/invented.yaml", "[0] inv-rule.extra", "holds NaN"},
		{"class without an end", invSpecies, invSource, invRule + "  class: {up_to: .inf}\n", "rules/invented.yaml", "[0] inv-rule.class", "holds +Inf"},
		{"age upside down", invSpecies, invSource, invRule + "  age: {from: 12, up_to: 6}\n", "rules/invented.yaml", "[0] inv-rule.age", "not below"},
		{"climate that is none", invSpecies, invSource, invRule + "  climate: {air_low: .nan}\n", "rules/invented.yaml", "[0] inv-rule.climate", "degrees and percent"},
		{"clause with figures", invSpecies, invSource, invRule + "  clause: true\n", "rules/invented.yaml", "[0] inv-rule.clause", "no figures"},
		{"no figures and no clause", invSpecies, invSource, swap(invRule, "  length_factor: 2\n  width_factor: 1\n", ""), "rules/invented.yaml", "[0] inv-rule.figures", "none"},
		{"class upside down", invSpecies, invSource, invRule + "  class: {over: 20, up_to: 10}\n", "rules/invented.yaml", "[0] inv-rule.class", "not below"},
		{"variant of nothing", invSpecies, invSource, invRule + "  variant_of: nothing\n", "rules", "inv-rule.variant_of", "no rule"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, err := Load(files(tt.species, tt.source, tt.rule))
			if err == nil {
				t.Fatal("the catalogue was taken")
			}
			var fault *RecordError
			if !errors.As(err, &fault) {
				t.Fatalf("%v is not a record error", err)
			}
			if fault.File != tt.file || fault.Field != tt.field || !strings.Contains(fault.Reason, tt.reasonHas) {
				t.Errorf("got file %q, field %q, reason %q\nwant file %q, field %q, reason with %q", fault.File, fault.Field, fault.Reason, tt.file, tt.field, tt.reasonHas)
			}
		})
	}
	c, err := Load(files(invSpecies, invSource, invRule))
	if err != nil {
		t.Fatal(err)
	}
	if w := c.Range("exemplum-primum", WarmAir, Adult); w.Standing != Known || *w.Low != 25 {
		t.Errorf("the good catalogue gives %+v", w)
	}
	if w := c.Range("exemplum-primum", WaterTemp, Adult); w.Standing != NotApplicable {
		t.Errorf("water temperature of a land lizard is %s, want not applicable", w.Standing)
	}
	if w := c.Range("exemplum-primum", CoolAir, Adult); w.Standing != NotKnown {
		t.Errorf("cool end without a claim is %s, want not known", w.Standing)
	}
}

// TestEveryFaultAtOnce: a record with two faults is told both.
func TestEveryFaultAtOnce(t *testing.T) {
	bad := strings.Replace(strings.Replace(invSpecies, "low: 25", "low: 35", 1), "climbs: 1", "climbs: 4", 1)
	_, err := Load(files(bad, invSource, invRule))
	if err == nil || !strings.Contains(err.Error(), "climbs") || !strings.Contains(err.Error(), "low 35") {
		t.Errorf("got %v, want both faults", err)
	}
}

// TestRevisionNamesTheContent: the same records give the same revision, any change another.
func TestRevisionNamesTheContent(t *testing.T) {
	load := func(species string) string {
		c, err := Load(files(species, invSource, invRule))
		if err != nil {
			t.Fatal(err)
		}
		return c.Revision
	}
	a, b, other := load(invSpecies), load(invSpecies), load(strings.Replace(invSpecies, "high: 30", "high: 31", 1))
	if a != b || a == other {
		t.Errorf("revisions %s, %s and %s", a, b, other)
	}
}

// TestEmbedded checks what the program carries.
func TestEmbedded(t *testing.T) {
	c, err := Embedded()
	if err != nil {
		t.Fatal(err)
	}
	groups := map[Group]int{}
	access := map[Access]int{}
	for _, s := range c.Species() {
		groups[s.Group]++
		for i := range s.Claims {
			access[s.Claims[i].Access]++
		}
	}
	t.Log(c, groups, access)
	if len(c.Species()) != 145 {
		t.Errorf("%d species, want 145", len(c.Species()))
	}
	for _, g := range Groups {
		if groups[g] == 0 {
			t.Errorf("no %s", g)
		}
	}
}

// TestCheckFinds puts contradictions into an invented record.
func TestCheckFinds(t *testing.T) {
	with := func(claims string) Report {
		c, err := Load(files(invSpecies+claims, invSource, invRule))
		if err != nil {
			t.Fatal(err)
		}
		return c.Check()
	}
	tests := map[string]string{
		"temperature-order": "  cool_air_day:\n    - {low: 31, high: 33, source: inv_book, access: read}\n",
		"critical-max":      "  critical_max:\n    - {low: 31, high: 33, source: inv_book, access: read}\n",
		"body-temperature":  "  selected_body_temp:\n    - {low: 36, high: 38, source: inv_book, access: read}\n",
		"uv-zone":           "  uv_zone:\n    - {low: 1, high: 1, source: inv_book, access: read}\n  uv_index_mean:\n    - {low: 3, high: 4, source: inv_book, access: read}\n",
	}
	for check, claims := range tests {
		r := with(claims)
		if len(r.Contradictions) != 1 || r.Contradictions[0].Check != check || r.Contradictions[0].Explained != "" {
			t.Errorf("%s: found %+v", check, r.Contradictions)
		}
	}
	if r := with(""); len(r.Contradictions) != 0 {
		t.Errorf("a sound record: %+v", r.Contradictions)
	}
	explained := "  cool_air_day:\n    - {low: 31, high: 33, source: inv_book, access: read}\nexplained:\n  - {check: temperature-order, parameter: cool_air_day, reason: invented}\n"
	if r := with(explained); len(r.Contradictions) != 1 || r.Contradictions[0].Explained != "invented" {
		t.Errorf("explained: %+v", r.Contradictions)
	}
}

// TestThermalChecks are the outside checks of the whole catalogue: the critical
// maximum lies above every hot-air range, and the selected body temperature within
// what is offered, for at least 95 % of the species that have one.
func TestThermalChecks(t *testing.T) {
	c, err := Embedded()
	if err != nil {
		t.Fatal(err)
	}
	bodies, outside, limits := 0, 0, 0
	for _, s := range c.Species() {
		if c.Range(s.ID, SelectedBody, Adult).Standing == Known {
			bodies++
		}
		if c.Range(s.ID, CriticalMax, Adult).Low != nil {
			limits++
		}
	}
	for _, k := range c.Check().Contradictions {
		switch k.Check {
		case "body-temperature":
			outside++
		case "critical-max":
			t.Errorf("%s: %s", k.Species, k.What)
		}
		if k.Explained == "" {
			t.Errorf("%s: %s is not explained", k.Species, k.What)
		}
	}
	t.Logf("%d species with a critical maximum, all above the air ranges; %d with a selected body temperature, %d outside", limits, bodies, outside)
	if float64(outside) > 0.05*float64(bodies) {
		t.Errorf("%d of %d selected body temperatures lie outside what is offered", outside, bodies)
	}
}

func BenchmarkEmbedded(b *testing.B) {
	for b.Loop() {
		if _, err := Embedded(); err != nil {
			b.Fatal(err)
		}
	}
}
