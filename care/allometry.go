package care

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"denwright/care/quantity"
)

// Relation is one relation between measures of the body, published or fitted:
// an entry of care/data/allometry.yaml. Lengths and masses are in the units that
// its formula names.
type Relation struct {
	Clade   string  `yaml:"clade"`    // species, genus, family or wider, as the source calls it
	Kind    string  `yaml:"relation"` // mass-from-length, length-from-mass, tail-from-svl
	Measure Measure `yaml:"measure"`
	A       float64 `yaml:"a"`
	B       float64 `yaml:"b,omitempty"`
	Formula string  `yaml:"formula"` // one of the keys of forms
	Units   string  `yaml:"units"`
	// Valid are the lengths it was fitted on; a bound of 0 is not stated.
	Valid  Validity `yaml:"valid,omitempty"`
	Source string   `yaml:"source"`
	Access Access   `yaml:"access"`
	Note   string   `yaml:"note,omitempty"`

	form  form
	level level // how near, set where it is bound to a species
}

// Validity is an interval of lengths in Unit (mm or cm).
type Validity struct {
	Low  float64 `yaml:"low,omitempty"`
	High float64 `yaml:"high,omitempty"`
	Unit string  `yaml:"unit,omitempty"`
}

// form is how a formula is worked out. The list is closed: no other formula loads.
type form struct {
	kind    string
	measure Measure
	units   string
	unit    quantity.Length // of the length in the formula
	shape   shape
}

type shape int

const (
	logLog  shape = iota // log10 mass = a + b·log10 length
	power                // mass = a·length^b
	inverse              // length = a·mass^b
	ratio                // tail = a·length
)

const (
	millimetre = quantity.Length(0.001)
	centimetre = quantity.Length(0.01)
	metre      = quantity.Length(1)
)

var forms = map[string]form{
	"log10(mass_g) = a + b*log10(SVL_mm)": {"mass-from-length", SnoutVent, "g; mm", millimetre, logLog},
	"log10(mass_g) = a + b*log10(TL_mm)":  {"mass-from-length", TotalLength, "g; mm", millimetre, logLog},
	"log10(mass_g) = a + b*log10(TL_cm)":  {"mass-from-length", TotalLength, "g; cm", centimetre, logLog},
	"log10(mass_g) = a + b*log10(SCL_mm)": {"mass-from-length", Shell, "g; mm", millimetre, logLog},
	"mass_g = a*SVL_m^b":                  {"mass-from-length", SnoutVent, "g; m", metre, power},
	"mass_g = a*CL_m^b":                   {"mass-from-length", Shell, "g; m", metre, power},
	"CL_mm = a*mass_g^b":                  {"length-from-mass", Shell, "mm; g", millimetre, inverse},
	"tail_length = a*SVL":                 {"tail-from-svl", SnoutVent, "ratio", metre, ratio},
}

var validityUnits = map[string]quantity.Length{"mm": millimetre, "cm": centimetre}

// check adds the faults of an entry and binds its form.
func (r *Relation) check(f *faultList, sources map[string]*Source) {
	if r.Clade == "" {
		f.add("clade", "is missing")
	}
	k, ok := forms[r.Formula]
	if !ok {
		f.add("formula", "is %q, which is not one that is worked out here", r.Formula)
		return
	}
	r.form = k
	if r.Kind != k.kind || r.Measure != k.measure || r.Units != k.units {
		f.add("formula", "goes with relation %s, measure %s and units %q", k.kind, k.measure, k.units)
	}
	if k.shape != logLog && r.A <= 0 || k.shape != ratio && r.B <= 0 {
		f.add("a", "and b must be above zero, but for a in a logarithmic formula")
	}
	for _, x := range []float64{r.A, r.B, r.Valid.Low, r.Valid.High} {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			f.add("a", "and every figure must be finite")
		}
	}
	if v := r.Valid; v != (Validity{}) {
		if validityUnits[v.Unit] == 0 {
			f.add("valid.unit", "is %q; use mm or cm", v.Unit)
		}
		if v.Low < 0 || v.High < 0 || v.High != 0 && v.Low >= v.High {
			f.add("valid", "low %g is not below high %g", v.Low, v.High)
		}
	}
	oneOf(f, "access", r.Access, Read, ReadThrough, Recalled)
	known(f, "source", []string{r.Source}, sources)
}

// grams is the mass at a length.
func (r *Relation) grams(l quantity.Length) float64 {
	x := float64(l / r.form.unit)
	switch r.form.shape {
	case logLog:
		return math.Pow(10, r.A+r.B*math.Log10(x))
	case inverse:
		return math.Pow(x/r.A, 1/r.B)
	}
	return r.A * math.Pow(x, r.B)
}

// length is the length at a mass in grams.
func (r *Relation) length(grams float64) quantity.Length {
	x := 0.0
	switch r.form.shape {
	case logLog:
		x = math.Pow(10, (math.Log10(grams)-r.A)/r.B)
	case inverse:
		x = r.A * math.Pow(grams, r.B)
	default:
		x = math.Pow(grams/r.A, 1/r.B)
	}
	return quantity.Length(x) * r.form.unit
}

// Gram is the unit of masses in claims, growth and relations.
const Gram = quantity.Mass(0.001)

// maxBeyond is how far outside its validity a relation is still used, marked as
// such: to one and a half times the bound. Own choice.
const maxBeyond = 1.5

// beyond tells how far a length lies outside the validity, as a factor: 1 within.
func (r *Relation) beyond(l quantity.Length) float64 {
	unit := validityUnits[r.Valid.Unit]
	out := 1.0
	if r.Valid.Low > 0 {
		out = max(out, float64(quantity.Length(r.Valid.Low)*unit/l))
	}
	if r.Valid.High > 0 {
		out = max(out, float64(l/(quantity.Length(r.Valid.High)*unit)))
	}
	return out
}

// level is how near a clade is to a species, nearest first.
type level int

const (
	ofSpecies level = iota
	ofGenus
	ofFamily // or subfamily, or the members of a family of one build
	ofWider
	ofOrder
)

// scatter is the factor by which a mass may lie above or below the relation, for
// most relations print none. Own choice, set against weighed adults: with the range
// of adult lengths, nine in ten of them lie within it (TestMassesAgainstWeighed).
func (l level) scatter() float64 {
	switch l {
	case ofSpecies:
		return 1.4
	case ofGenus, ofFamily:
		return 2
	}
	return 2.5
}

// Clades that a record does not name. Recalled from current taxonomy; they only
// choose between relations.
var (
	subfamilies = map[string]string{"Thamnophis": "Natricinae", "Heterodon": "Dipsadinae"}
	builds      = map[string]string{"Pseudopus": "Limbless anguids"}
	widerClades = map[string][]string{
		"Agamidae": {"Iguania"}, "Anolidae": {"Iguania"}, "Chamaeleonidae": {"Iguania"}, "Corytophanidae": {"Iguania"},
		"Crotaphytidae": {"Iguania"}, "Iguanidae": {"Iguania"}, "Phrynosomatidae": {"Iguania"},
		"Anguidae": {"Anguimorpha"}, "Helodermatidae": {"Anguimorpha"}, "Varanidae": {"Anguimorpha"},
		"Colubridae": {"Caenophidia"}, "Lamprophiidae": {"Elapoidea", "Caenophidia"}, "Pythonidae": {"Pythonoidea"},
	}
)

// clades lists the names under which a relation may cover a species, and how near
// each is; the first listed of a level comes first.
func clades(s *Species) map[string]level {
	genus, _, _ := strings.Cut(s.Scientific, " ")
	out := map[string]level{s.Scientific: ofSpecies, genus: ofGenus}
	if sub, ok := subfamilies[genus]; ok {
		out[sub] = ofFamily
		out[s.Family], out[s.Family+" S. stricto"] = ofWider, ofWider
	} else if build, ok := builds[genus]; ok {
		out[build] = ofFamily
	} else {
		for _, name := range []string{s.Family, "Typical " + s.Family, "Legged " + s.Family, s.Family + " S. stricto"} {
			out[name] = ofFamily
		}
	}
	for _, w := range widerClades[s.Family] {
		out[w] = ofWider
	}
	switch {
	case s.Group == Lizard:
		out["Lizards, all"] = ofOrder
	case s.Group == Snake:
		out["Snakes, all"] = ofOrder
	case s.Group == Chelonian:
		out["Turtles, all"], out["all turtles and tortoises"] = ofOrder, ofOrder
	case s.Order == "Anura":
		out["Frogs, all"], out["all Anura"] = ofOrder, ofOrder
	case s.Order == "Caudata":
		out["Salamanders, all"], out["all Caudata"] = ofOrder, ofOrder
	}
	return out
}

// cladeName is the clade without what the source adds in brackets; a subfamily in
// brackets is the clade.
func cladeName(clade string) string {
	name, rest, _ := strings.Cut(clade, " (")
	if sub, _, _ := strings.Cut(rest, ")"); strings.HasSuffix(sub, "inae") {
		return sub
	}
	return name
}

// relationsFor binds the relations that cover a species: those of mass and length
// nearest first, in file order within a level, and the nearest of the tail or nil.
func relationsFor(s *Species, all []*Relation) (masses []*Relation, tail *Relation) {
	names := clades(s)
	for _, r := range all {
		at, ok := names[cladeName(r.Clade)]
		if !ok {
			continue
		}
		bound := *r
		bound.level = at
		if r.form.shape != ratio {
			masses = append(masses, &bound)
		} else if tail == nil || at < tail.level {
			tail = &bound
		}
	}
	slices.SortStableFunc(masses, func(a, b *Relation) int { return int(a.level - b.level) })
	return masses, tail
}

// MassFromLength gives the mass of an animal of the species at a body length, by
// the nearest relation held (of the species, its genus, family or a wider clade)
// in the measure given, else through the tail's share. The interval runs from the
// mass at b.Low divided by the scatter of the relation to that at b.High times it;
// basis names the relation, its source and its access.
//
// Outside the lengths a relation was fitted on, basis says so; more than 1.5 times
// beyond them the next wider relation is tried. ok is false where none holds or
// b is empty.
func (c *Catalogue) MassFromLength(s *Species, b BodyLength) (low, high quantity.Mass, basis string, ok bool) {
	r, at, ok := c.relationAt(s, b)
	if !ok {
		return 0, 0, "", false
	}
	f := r.level.scatter()
	return Gram * quantity.Mass(r.grams(at.Low)/f), Gram * quantity.Mass(r.grams(at.High)*f), c.massBasis(r, at), true
}

// relationAt chooses the relation for a length, and gives the length in its measure.
func (c *Catalogue) relationAt(s *Species, b BodyLength) (best *Relation, at BodyLength, ok bool) {
	about := c.bodies[s.ID]
	if about == nil || b.Low <= 0 || b.High < b.Low {
		return nil, BodyLength{}, false
	}
	b.Basis = ""
	for _, r := range about.masses {
		if best != nil && !nearer(r, best, b.Measure) {
			continue
		}
		in, can := c.ConvertLength(s, b, r.Measure)
		if can && r.beyond((in.Low+in.High)/2) <= maxBeyond {
			best, at = r, in
		}
	}
	return best, at, best != nil
}

// nearer reports whether a, which is not of a nearer clade than b, is yet the
// better for a measure: of the same clade, and given in it.
func nearer(a, b *Relation, m Measure) bool {
	return a.level == b.level && a.Measure == m && b.Measure != m
}

func (c *Catalogue) massBasis(r *Relation, at BodyLength) string {
	basis := fmt.Sprintf("from %s length by the relation for %s (%s; %s), within a factor of %g (own choice)",
		at.Measure, cladeName(r.Clade), c.cited(r.Source), r.Access, r.level.scatter())
	if r.level >= ofWider {
		basis += "; a relation of a wider group than the family"
	}
	if max(r.beyond(at.Low), r.beyond(at.High)) > 1 {
		basis += "; outside the lengths the relation was fitted on"
	}
	if r.Valid == (Validity{}) {
		basis += "; the lengths it was fitted on are not stated"
	}
	return basis
}

// cited names a source by title and year.
func (c *Catalogue) cited(key string) string {
	k := c.sources[key]
	if k == nil || k.Year == "" {
		return key
	}
	return k.Title + ", " + k.Year
}

// lengthFromMass turns a mass in grams round into a length, by the same choice of
// relation and the same scatter.
func (c *Catalogue) lengthFromMass(s *Species, grams float64, to Measure) (BodyLength, bool) {
	about := c.bodies[s.ID]
	if about == nil || grams <= 0 {
		return BodyLength{}, false
	}
	var best *Relation
	for _, r := range about.masses {
		if best != nil && !nearer(r, best, to) {
			continue
		}
		if _, can := c.ConvertLength(s, BodyLength{Measure: r.Measure}, to); can && r.beyond(r.length(grams)) <= maxBeyond {
			best = r
		}
	}
	if best == nil {
		return BodyLength{}, false
	}
	f := best.level.scatter()
	return c.ConvertLength(s, BodyLength{Measure: best.Measure, Low: best.length(grams / f), High: best.length(grams * f)}, to)
}

// Middle halves of the tail's share, species by species within a family, run from
// about 0.6 to 1.6 times the median (the notes in allometry.yaml give each). Own choice.
const (
	tailLeast = 0.6
	tailMost  = 1.6
)
