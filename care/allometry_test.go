package care_test

import (
	"encoding/csv"
	"errors"
	"math"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"testing/fstest"

	"denwright/care"
	"denwright/care/quantity"

	"pgregory.net/rapid"
)

func embedded(t testing.TB) *care.Catalogue {
	t.Helper()
	c, err := care.Embedded()
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// TestMassesPrinted checks single relations against the check values that come with
// them (care/data/allometry.yaml, source named in each): the printed figure is the
// geometric middle of the interval.
func TestMassesPrinted(t *testing.T) {
	c := embedded(t)
	tests := []struct {
		id      string
		measure care.Measure
		cm      float64
		grams   float64
		source  string // part of the basis
	}{
		{"anolis-carolinensis", care.SnoutVent, 6.03, 4.61, "Anolis (Body sizes and diversification rates"}, // Feldman and others 2016
		{"pogona-vitticeps", care.SnoutVent, 9.5, 28.5, "Typical Agamidae"},                                 // the same
		{"pseudopus-apodus", care.SnoutVent, 23.1, 40.89, "Limbless anguids"},                               // the same
		{"heloderma-suspectum", care.SnoutVent, 36.2, 975.3, "Anguimorpha"},                                 // the same; a wider clade
		{"python-regius", care.TotalLength, 148.4, 1567, "Pythonidae (SquamBase"},                           // recovered from SquamBase 2024
		{"thamnophis-sirtalis", care.TotalLength, 44.1, 21.09, "Natricinae (SquamBase"},                     // the same; a subfamily
		{"pantherophis-guttatus", care.TotalLength, 100, 231.1, "Pantherophis guttatus"},                    // Barnard and others 1979
		{"testudo-graeca", care.Shell, 15, 644.8, "Testudo graeca"},                                         // Lambert 1982, turned round
		{"testudo-hermanni", care.Shell, 24, 1415, "Testudinidae (Fits of adult mass on carapace length"},   // own fit
		{"chelydra-serpentina", care.Shell, 4, 16.24075, "Turtles, all (The advantages of ectothermy"},      // Pough 1980
		{"dendrobates-auratus", care.SnoutVent, 4, 5.355816, "Frogs, all"},                                  // the same
		{"salamandra-salamandra", care.TotalLength, 16.8, 13.13, "all Caudata (Fits of AmphiBIO mass"},      // own fit
	}
	for _, tt := range tests {
		l := quantity.Centimetres(tt.cm)
		low, high, basis, ok := c.MassFromLength(c.SpeciesByID(tt.id), care.BodyLength{Measure: tt.measure, Low: l, High: l})
		middle := math.Sqrt(float64(low/care.Gram) * float64(high/care.Gram))
		if !ok || math.Abs(middle-tt.grams)/tt.grams > 0.005 {
			t.Errorf("%s at %g cm: %g g, want %g", tt.id, tt.cm, middle, tt.grams)
		}
		if !strings.Contains(basis, tt.source) || !strings.Contains(basis, "read") {
			t.Errorf("%s: basis %q lacks %q or its access", tt.id, basis, tt.source)
		}
	}
}

// TestMassBounds: outside the lengths a relation was fitted on it says so; far
// outside a wider one is taken, or none.
func TestMassBounds(t *testing.T) {
	c := embedded(t)
	at := func(id string, m care.Measure, cm float64) (string, bool) {
		l := quantity.Centimetres(cm)
		_, _, basis, ok := c.MassFromLength(c.SpeciesByID(id), care.BodyLength{Measure: m, Low: l, High: l})
		return basis, ok
	}
	const outside = "outside the lengths the relation was fitted on"
	// Typical Agamidae: 34 to 418 mm.
	if b, ok := at("pogona-vitticeps", care.SnoutVent, 20); !ok || strings.Contains(b, outside) {
		t.Errorf("within: %q", b)
	}
	if b, ok := at("pogona-vitticeps", care.SnoutVent, 3); !ok || !strings.Contains(b, outside) {
		t.Errorf("a little below: %q", b)
	}
	if b, ok := at("pogona-vitticeps", care.SnoutVent, 1.5); !ok || !strings.Contains(b, "Lizards, all") || !strings.Contains(b, "not stated") {
		t.Errorf("far below: %q", b)
	}
	// All Caudata: 60 to 1359 mm of total length; the wider relation is of snout-vent
	// length, and no salamander's tail is held.
	if b, ok := at("cynops-orientalis", care.TotalLength, 1); ok {
		t.Errorf("far below, with nothing wider: %q", b)
	}
	if b, ok := at("cynops-orientalis", care.TotalLength, 0); ok {
		t.Errorf("no length: %q", b)
	}
}

// TestMassProperties: for every species and length the interval is finite, positive,
// in order, and grows with the length while the relation stays the same.
func TestMassProperties(t *testing.T) {
	c := embedded(t)
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.SampledFrom(c.Species()).Draw(t, "species")
		m := rapid.SampledFrom([]care.Measure{care.SnoutVent, care.TotalLength, care.Shell}).Draw(t, "measure")
		l := quantity.Length(rapid.Float64Range(0.001, 10).Draw(t, "metres"))
		longer := l * quantity.Length(rapid.Float64Range(1, 3).Draw(t, "times"))
		low, high, basis, ok := c.MassFromLength(s, care.BodyLength{Measure: m, Low: l, High: longer})
		if !ok {
			return
		}
		if !(low > 0) || !(high >= low) || math.IsInf(float64(high), 0) || basis == "" {
			t.Fatalf("%s at %v to %v m: %v to %v kg", s.ID, l, longer, low, high)
		}
		a, _, basisA, okA := c.MassFromLength(s, care.BodyLength{Measure: m, Low: l, High: l})
		b, _, basisB, okB := c.MassFromLength(s, care.BodyLength{Measure: m, Low: longer, High: longer})
		if okA && okB && basisA == basisB && b < a {
			t.Fatalf("%s: %v m weighs %v kg, %v m only %v", s.ID, l, a, longer, b)
		}
	})
}

// weighed are the masses of testdata/traits.csv that were weighed or gathered as
// adult masses (the column title names the dataset); those computed from length,
// maxima, and what the notes call implausible or in conflict are left out.
func weighed(t *testing.T) (out []trait) {
	t.Helper()
	f, err := os.Open("../testdata/traits.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	doubtful := regexp.MustCompile("IMPLAUSIBLE|CONFLICT|LOW|caution|computed|wider species concept")
	at := func(r []string, name string) string { return r[slices.Index(rows[0], name)] }
	for _, r := range rows[1:] {
		if at(r, "trait") != "mass_mean" || doubtful.MatchString(at(r, "note")) {
			continue
		}
		v, err := strconv.ParseFloat(at(r, "value"), 64)
		if err != nil {
			t.Fatalf("%v: %v", r, err)
		}
		out = append(out, trait{care.Slug(at(r, "scientific_name")), at(r, "trait"), at(r, "source"), v})
	}
	return out
}

// fittedOn names the dataset on which own fits rest: no outside check of them.
var fittedOn = map[string]string{"Fits of adult mass": "amniote_2015", "Fits of AmphiBIO": "amphibio_2017"}

// TestMassesAgainstWeighed compares the mass worked out from adult length with
// weighed adults of open datasets (SquamBase 2024, Amniote 2015, AnAge, Trochet and
// others 2014). Adult lengths are ranges and the masses those of whatever adults
// were weighed, so single species may be far out; the interval must hold most.
func TestMassesAgainstWeighed(t *testing.T) {
	c := embedded(t)
	var off []float64
	inside, worst := 0, ""
	for _, w := range weighed(t) {
		s := c.SpeciesByID(w.species)
		if s == nil {
			continue
		}
		var low, high quantity.Mass
		for _, m := range []care.Measure{care.Shell, care.SnoutVent, care.TotalLength} {
			b, ok := c.AdultLength(s, m)
			if !ok {
				continue
			}
			l, h, basis, ok := c.MassFromLength(s, b)
			if !ok {
				continue // a lizard of whose tail nothing is held
			}
			own := false
			for title, dataset := range fittedOn {
				own = own || strings.Contains(basis, title) && w.source == dataset
			}
			if !own && (low == 0 || h/l < high/low) {
				low, high = l, h
			}
		}
		if low == 0 {
			continue
		}
		kg := quantity.Mass(w.value) * care.Gram
		middle := quantity.Mass(math.Sqrt(float64(low * high)))
		if !(low > 0) || math.IsNaN(float64(high)) {
			t.Errorf("%s: %v to %v", s.ID, low, high)
		}
		e := math.Abs(float64((middle - kg) / kg))
		if len(off) == 0 || e > slices.Max(off) {
			worst = s.ID
		}
		off = append(off, e)
		if low <= kg && kg <= high {
			inside++
		} else {
			t.Logf("%s (%s): %.0f g weighed, %.0f to %.0f from length", s.ID, w.source, w.value, float64(low/care.Gram), float64(high/care.Gram))
		}
	}
	slices.Sort(off)
	t.Logf("%d weighed adults: median relative error %.0f %%, worst %.0f %% (%s); %d within the interval",
		len(off), 100*off[len(off)/2], 100*off[len(off)-1], worst, inside)
	if len(off) < 100 || off[len(off)/2] > 0.6 || off[len(off)-1] > 10 || float64(inside) < 0.88*float64(len(off)) {
		t.Error("masses from length are further from the weighed ones than they should be")
	}
}

// TestTailOfTheFamily: a snake of which only the total length is held gets its
// snout-vent length through the median of its family, and the basis says so.
func TestTailOfTheFamily(t *testing.T) {
	c := embedded(t)
	s := c.SpeciesByID("boa-imperator")
	total, _ := c.AdultLength(s, care.TotalLength)
	svl, ok := c.AdultLength(s, care.SnoutVent)
	if !ok || !strings.Contains(svl.Basis, "median of Boidae") {
		t.Fatalf("%+v", svl)
	}
	// SquamBase 2024: median tail 0.171 of snout-vent length in Boidae.
	if want := total.High / 1.171; svl.High < want || svl.Low > total.Low/1.171 {
		t.Errorf("%v to %v m does not hold the median's %v", svl.Low, svl.High, want)
	}
	if b, _ := c.AdultLength(c.SpeciesByID("pogona-vitticeps"), care.SnoutVent); strings.Contains(b.Basis, "median") {
		t.Errorf("a species with a ratio of its own: %s", b.Basis)
	}
}

// TestRelationsRefused puts one fault at a time into an invented relation.
func TestRelationsRefused(t *testing.T) {
	const good = `- clade: Exemplidae (lizards)
  relation: mass-from-length
  measure: snout-vent
  a: -4.5
  b: 3
  formula: log10(mass_g) = a + b*log10(SVL_mm)
  units: g; mm
  valid: {low: 20, high: 300, unit: mm}
  source: inv_book
  access: read
`
	load := func(relations string) (*care.Catalogue, error) {
		fsys := fstest.MapFS{
			"species/exemplum-primum.yaml": {Data: []byte(inventedSpecies)},
			"sources/invented.yaml":        {Data: []byte("- {key: inv_book, title: An invented handbook, kind: handbook, read_how: whole}\n")},
			"rules/invented.yaml":          {Data: []byte("- {id: inv-rule, source: inv_book, status: advisory, access: read, topic: invented, clause: true, scope: {species: [exemplum-primum], match: named}}\n")},
		}
		if relations != "" {
			fsys["allometry.yaml"] = &fstest.MapFile{Data: []byte(relations)}
		}
		return care.Load(fsys)
	}
	without, err := load("")
	if err != nil {
		t.Fatal("without relations: ", err)
	}
	with, err := load(good)
	if err != nil {
		t.Fatal(err)
	}
	if without.Revision == with.Revision {
		t.Error("relations don't change the revision")
	}
	s := with.SpeciesByID("exemplum-primum")
	if low, high, _, ok := with.MassFromLength(s, care.BodyLength{Measure: care.SnoutVent, Low: 0.1, High: 0.1}); !ok || math.Abs(math.Sqrt(float64(low*high))-0.0316228) > 1e-6 {
		t.Errorf("10 cm: %v to %v kg, want about 0.0316", low, high)
	}
	for name, tt := range map[string]struct{ old, new, field, reason string }{
		"unknown field":      {"  b: 3\n", "  b: 3\n  c: 1\n", "", "field c not found"},
		"unknown formula":    {"(SVL_mm)", "(SVL_km)", "[0] Exemplidae (lizards).formula", "not one that is worked out"},
		"another measure":    {"snout-vent", "shell", "[0] Exemplidae (lizards).formula", "goes with"},
		"another unit":       {"g; mm", "kg; mm", "[0] Exemplidae (lizards).formula", "goes with"},
		"no growth":          {"b: 3", "b: 0", "[0] Exemplidae (lizards).a", "above zero"},
		"not finite":         {"a: -4.5", "a: .nan", "[0] Exemplidae (lizards).a", "finite"},
		"bounds upside down": {"low: 20", "low: 400", "[0] Exemplidae (lizards).valid", "not below"},
		"bounds in inches":   {"unit: mm", "unit: in", "[0] Exemplidae (lizards).valid.unit", "mm or cm"},
		"unknown source":     {"inv_book", "other", "[0] Exemplidae (lizards).source", "no source"},
		"no such access":     {"access: read", "access: heard", "[0] Exemplidae (lizards).access", "use one of"},
		"no clade":           {"clade: Exemplidae (lizards)", "clade: ''", "[0] .clade", "missing"},
	} {
		_, err := load(strings.Replace(good, tt.old, tt.new, 1))
		var fault *care.RecordError
		if !errors.As(err, &fault) || fault.File != "allometry.yaml" || fault.Field != tt.field || !strings.Contains(fault.Reason, tt.reason) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

const inventedSpecies = `id: exemplum-primum
scientific_name: Exemplum primum
group: lizard
order: Squamata
family: Exemplidae
names: {common: {en: [first example]}, access: recalled, sources: [inv_book]}
nature: {activity: diurnal, habit: terrestrial, climbs: 1, digs: 1, swims: 0, basks: 2, sociality: solitary, dormancy: none, access: recalled, sources: [inv_book]}
cautions: {venomous: false, trade: none}
claims:
  adult_svl:
    - {low: 10, high: 12, source: inv_book, access: read}
`
