package sizing_test

import (
	"errors"
	"testing"
	"testing/fstest"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing"
	"denwright/sizing/score"
)

// A small catalogue, invented throughout.
const (
	inventedSource  = "- {key: inv_book, title: An invented handbook, kind: handbook, read_how: whole}\n"
	inventedSpecies = `id: exemplum-primum
scientific_name: Exemplum primum
group: lizard
order: Squamata
family: Exemplidae
names: {common: {en: [first example]}, access: recalled, sources: [inv_book]}
nature: {activity: diurnal, habit: terrestrial, climbs: 1, digs: 2, swims: 0, basks: 2, sociality: solitary, dormancy: none, latitude: -12, access: recalled, sources: [inv_book]}
cautions: {venomous: false, trade: none}
claims:
  adult_total_length:
    - {low: 30, high: 42, source: inv_book, access: read}
  adult_svl:
    - {low: 14, high: 20, source: inv_book, access: read}
  warm_air_day:
    - {low: 25, high: 30, source: inv_book, access: read}
  longevity:
    - {low: 12, source: inv_book, access: recalled}
  hotspot_surface_day:
    - {low: 38, source: inv_book, access: recalled}
  humidity_day:
    - {low: 30, high: 50, source: inv_book, access: read-through, stage: juvenile}
  critical_max:
    - {low: 42.5, source: inv_book, access: read, implausible: measured twice}
growth:
  - {kind: size-at-age, sex: mixed, age_months: 6, length_cm: 9, measure: snout-vent, source: inv_book, access: read}
  - {kind: curve, sex: female, per_year: 1.2, start_years: -0.1, asymptote: 19, asymptote_unit: cm, measure: snout-vent, source: inv_book, access: read}
`
	inventedRules = `- id: inv-rule
  source: inv_book
  status: in-force
  jurisdiction: DE
  access: read
  topic: invented
  scope: {species: [exemplum-primum], match: named}
  measure: total
  class: {up_to: 35}
  animals: 2
  length_factor: 2
  width_factor: 1
  height_limit: 150
  height_keeps_volume: true
  height_factor: 3
  extra: {area_shares: [0.5, 0.3], perimeter_shares: [0.1]}
- id: inv-rule-large
  source: inv_book
  status: advisory
  access: recalled
  topic: invented, larger
  scope: {groups: [lizard], match: wide}
  measure: snout-vent
  class: {over: 35, measure: total}
  volume_per_length: 4
  perimeter_factor: 6
  substrate_depth: 20
  water: {share: 0.2, depth_factor: 0.5}
  extra: {volume_shares: [0.25], water_volume: 2}
`
)

// FuzzRecords reads records as a curator may write them. They are refused with the
// file and the reason, or every answer that rests on them can be worked out and
// written: no figure in it is infinite, and nothing panics.
func FuzzRecords(f *testing.F) {
	f.Add([]byte(inventedSpecies), []byte(inventedSource), []byte(inventedRules))
	f.Add([]byte("id: &a [*a]\n"), []byte("- {key: x"), []byte("- null\n- {}\n"))
	f.Add([]byte(inventedSpecies+"  - {kind: size-at-age, access: read, source: inv_book}\n"), []byte(inventedSource), []byte("- {id: r, source: inv_book, status: advisory, access: read, topic: t, scope: {orders: [Squamata], match: wide}, area: .inf}\n"))
	f.Add([]byte(inventedSpecies), []byte(inventedSource), []byte("- {id: r, source: inv_book, status: advisory, access: read, topic: t, scope: {genera: [Exemplum], match: genus}, measure: total, length: 1e300, extra: {area: -4}}\n"))
	if _, err := care.Load(fstest.MapFS{"species/exemplum-primum.yaml": {Data: []byte(inventedSpecies)}, "sources/invented.yaml": {Data: []byte(inventedSource)}, "rules/invented.yaml": {Data: []byte(inventedRules)}}); err != nil {
		f.Fatal(err) // the seeds would all be refused
	}
	encode := quantity.NewEncoder(quantity.Imperial, false)
	f.Fuzz(func(t *testing.T, species, sources, rules []byte) {
		c, err := care.Load(fstest.MapFS{"species/exemplum-primum.yaml": {Data: species}, "sources/invented.yaml": {Data: sources}, "rules/invented.yaml": {Data: rules}})
		if err != nil {
			if fault, ok := errors.AsType[*care.RecordError](err); !ok || fault.File == "" || fault.Reason == "" {
				t.Fatalf("%v names no file and reason", err)
			}
			return
		}
		s := c.Species()[0]
		for _, q := range []sizing.Question{
			{Species: s.ID, Animals: []sizing.Animal{{Count: 1, Stage: care.Adult}}, Jurisdiction: ""},
			{Species: s.ID, Animals: []sizing.Animal{{Count: 5, Stage: care.Juvenile}}},
		} {
			whole, err := sizing.Require(c, q)
			if err == nil {
				_, err = encode.Append(nil, whole)
			}
			if _, bad := errors.AsType[sizing.Invalid](err); err != nil && !bad {
				t.Fatalf("what it needs: %v", err)
			}
			length := quantity.Centimetres(90)
			box := sizing.AssessmentQuestion{Question: q, Setup: score.Setup{Inside: &score.Inside{Length: &length, Width: &length, Height: &length}}}
			found, err := sizing.Assess(c, box)
			if err == nil {
				_, err = encode.Append(nil, found)
			}
			if _, bad := errors.AsType[sizing.Invalid](err); err != nil && !bad {
				t.Fatalf("how good an enclosure is: %v", err)
			}
			grows, err := sizing.Outgrow(c, box)
			if err == nil {
				_, err = encode.Append(nil, grows)
			}
			if _, bad := errors.AsType[sizing.Invalid](err); err != nil && !bad {
				t.Fatalf("when it is outgrown: %v", err)
			}
		}
		if _, err := sizing.Match(c, sizing.MatchQuestion{}); err != nil {
			t.Fatalf("what could live in one: %v", err)
		}
	})
}
