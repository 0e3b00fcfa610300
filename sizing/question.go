// Package sizing holds the questions that the program answers: what an animal
// needs (Require) and whether an enclosure at hand is good enough (Assess). The
// API, the command line and the pages call these and only translate. It is pure:
// it knows no HTTP, SQL, clock or files.
package sizing

import (
	"fmt"
	"slices"
	"strings"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing/space"
)

// EngineVersion names the method behind an answer. It changes whenever the same
// question over the same catalogue could be answered otherwise.
const EngineVersion = "1.0"

// Question asks what the animals need.
type Question struct {
	// Species is a species id, or a name borne by one species only.
	Species string   `json:"species"`
	Animals []Animal `json:"animals"`
	// Jurisdiction narrows the rules: an ISO 3166 code such as DE, AT or AU-NSW.
	Jurisdiction string `json:"jurisdiction,omitzero"`
}

// Animal is one animal, or several alike. The stage or a measured length is needed;
// an age will do for a species whose growth is held.
type Animal struct {
	Count  int              `json:"count"`
	Stage  care.Stage       `json:"stage,omitzero"`
	Age    *quantity.Hours  `json:"age,omitzero"`
	Length *quantity.Length `json:"length,omitzero"`
	// Measure says what Length is: snout-vent, total or shell.
	Measure care.Measure `json:"measure,omitzero"`
	Sex     string       `json:"sex,omitzero"` // female, male or unknown
}

// Problem is one bad field of a question: where, why, and what to do.
type Problem struct {
	// Field is a JSON pointer into the request, such as /animals/0/length.
	Field  string `json:"field"`
	Reason string `json:"reason"`
	Remedy string `json:"remedy,omitzero"`
	// Candidates are the names nearest to an unknown or ambiguous species name.
	Candidates []SpeciesRef `json:"candidates,omitzero"`
}

// Invalid is every bad field of a question at once.
type Invalid []Problem

func (e Invalid) Error() string {
	lines := make([]string, len(e))
	for i, p := range e {
		lines[i] = p.Field + ": " + p.Reason
		if p.Remedy != "" {
			lines[i] += "; " + p.Remedy
		}
	}
	return strings.Join(lines, "\n")
}

// Warning is something taken as given that the asker should look at again.
type Warning struct {
	Field string `json:"field"`
	Text  string `json:"text"`
}

// SpeciesRef names a species in an answer.
type SpeciesRef struct {
	ID         string     `json:"id"`
	Scientific string     `json:"scientific_name"`
	Common     string     `json:"common_name"`
	Group      care.Group `json:"group"`
}

// Ref names a species.
func Ref(s *care.Species) SpeciesRef {
	return SpeciesRef{ID: s.ID, Scientific: s.Scientific, Common: s.CommonName("en"), Group: s.Group}
}

// problems collects the bad fields and warnings of one request.
type problems struct {
	bad      Invalid
	warnings []Warning
	massless bool // the masses of the animals are not asked for
}

func (p *problems) add(field, reason, remedy string) {
	p.bad = append(p.bad, Problem{Field: field, Reason: reason, Remedy: remedy})
}

func (p *problems) warn(field, text string) {
	p.warnings = append(p.warnings, Warning{field, text})
}

// maxAnimals and maxLengthOverRecord bound what is taken for a real question.
const (
	maxAnimals       = 500
	maxAnimalEntries = 50
	// An animal may be a third longer than any length the catalogue holds.
	maxLengthOverRecord = 4.0 / 3
)

// species resolves an id or a name that only one species bears.
func (p *problems) species(c *care.Catalogue, name string) *care.Species {
	if s := c.SpeciesByID(name); s != nil {
		return s
	}
	if strings.TrimSpace(name) == "" {
		p.add("/species", "is missing", "give a species id or name, such as pogona-vitticeps")
		return nil
	}
	found := c.Find(name, 8)
	if found.Outcome == "one" {
		return found.Candidates[0].Species
	}
	bad := Problem{Field: "/species", Reason: fmt.Sprintf("no species %q is held", name), Remedy: "choose one of the candidates, or search with GET /v1/species?q="}
	if found.Outcome == "several" {
		bad.Reason = fmt.Sprintf("%q may be any of several species", name)
	}
	for _, k := range found.Candidates {
		bad.Candidates = append(bad.Candidates, Ref(k.Species))
	}
	p.bad = append(p.bad, bad)
	return nil
}

// jurisdiction checks that rules are held for the place.
func (p *problems) jurisdiction(c *care.Catalogue, code string) {
	if code == "" {
		return
	}
	for _, j := range c.Jurisdictions() {
		if space.InJurisdiction(j, code) {
			return
		}
	}
	p.add("/jurisdiction", fmt.Sprintf("no rules are held for %q", code), "use one of "+strings.Join(c.Jurisdictions(), ", ")+", or leave it out")
}

// group is the animals of a question, resolved.
type group struct {
	species  *care.Species
	sizes    []AnimalSize
	count    int
	youngest care.Stage
	// least and most are the largest animal at the low and the high end of what
	// its length may be.
	least, most bodyOf
}

// AnimalSize is one entry of a question with its length worked out in every measure.
type AnimalSize struct {
	Count int        `json:"count"`
	Stage care.Stage `json:"stage"`
	// StageFrom: "stated", "length" or "age".
	StageFrom string          `json:"stage_from"`
	Sex       string          `json:"sex,omitzero"`
	Age       *quantity.Hours `json:"age,omitzero"`
	Lengths   []BodyLength    `json:"lengths"`
	// Mass of one animal, in g: of adults the working range where one is held, else
	// worked out from the length. MassBasis says which.
	Mass      quantity.Band `json:"mass,omitzero"`
	MassBasis string        `json:"mass_basis,omitzero"`
}

// BodyLength is a body length in one measure: a range, and where it comes from.
type BodyLength struct {
	Measure care.Measure  `json:"measure"`
	Range   quantity.Band `json:"range"`
	Basis   string        `json:"basis"`
}

// animals resolves the animals of a question.
func (p *problems) animals(c *care.Catalogue, s *care.Species, animals []Animal) group {
	g := group{species: s, youngest: care.Adult}
	if len(animals) == 0 {
		p.add("/animals", "is empty", "name at least one animal, such as {\"count\": 1, \"stage\": \"adult\"}")
	}
	if len(animals) > maxAnimalEntries {
		p.add("/animals", fmt.Sprintf("has %d entries, more than %d", len(animals), maxAnimalEntries), "group animals that are alike")
		return g
	}
	for i, a := range animals {
		at := fmt.Sprintf("/animals/%d", i)
		before := len(p.bad)
		p.animal(at, a)
		if s == nil || len(p.bad) > before {
			continue
		}
		g.add(p.size(c, s, at, a))
	}
	if g.count > maxAnimals {
		p.add("/animals", fmt.Sprintf("count %d animals in all, more than %d", g.count, maxAnimals), "ask for one enclosure at a time")
	}
	return g
}

func (p *problems) animal(at string, a Animal) {
	if a.Count < 1 || a.Count > maxAnimals {
		p.add(at+"/count", fmt.Sprintf("is %d", a.Count), fmt.Sprintf("give a whole number from 1 to %d", maxAnimals))
	}
	switch a.Stage {
	case "", care.Hatchling, care.Juvenile, care.Subadult, care.Adult:
	default:
		p.add(at+"/stage", fmt.Sprintf("is %q", a.Stage), "use hatchling, juvenile, subadult or adult")
	}
	switch a.Sex {
	case "", "female", "male", "unknown":
	default:
		p.add(at+"/sex", fmt.Sprintf("is %q", a.Sex), "use female, male or unknown")
	}
	switch {
	case a.Length == nil && a.Stage == "" && a.Age == nil:
		p.add(at, "says neither stage nor length", "give the stage, or a measured length with its measure; the age will do where growth data are held")
	case a.Length != nil && a.Measure == "":
		p.add(at+"/measure", "is missing", "say what the length is: snout-vent, total or shell")
	case a.Length == nil && a.Measure != "":
		p.add(at+"/measure", "is given without a length", "give the length, or leave the measure out")
	}
	switch a.Measure {
	case "", care.SnoutVent, care.TotalLength, care.Shell:
	default:
		p.add(at+"/measure", fmt.Sprintf("is %q", a.Measure), "use snout-vent, total or shell")
	}
	if a.Length != nil && *a.Length <= 0 {
		p.add(at+"/length", "must be above zero", "measure the animal, or give its stage instead")
	}
	if a.Age != nil && (*a.Age <= 0 || a.Age.Months() > 200*12) {
		p.add(at+"/age", "must be above zero and no more than 200 years", "give the age in months, or leave it out")
	}
}

// measures are the body measures that make sense for a group.
func measures(g care.Group) []care.Measure {
	if g == care.Chelonian {
		return []care.Measure{care.Shell}
	}
	return []care.Measure{care.SnoutVent, care.TotalLength}
}

// size works out the lengths of one entry, its stage and its mass.
func (p *problems) size(c *care.Catalogue, s *care.Species, at string, a Animal) (AnimalSize, bodyOf, bodyOf) {
	size := AnimalSize{Count: a.Count, Stage: a.Stage, StageFrom: "stated", Sex: a.Sex, Age: a.Age}
	var lengths []care.BodyLength
	switch {
	case a.Length != nil:
		lengths = p.measured(c, s, at, a, &size)
	case a.Age != nil:
		lengths = p.aged(c, s, at, a, &size)
	default:
		lengths = stageLengths(c, s, a.Stage)
	}
	var least, most bodyOf
	for _, b := range lengths {
		low, high := b.Low.Centimetres(), b.High.Centimetres()
		size.Lengths = append(size.Lengths, BodyLength{b.Measure, quantity.Band{Low: &low, High: &high, Unit: "cm"}, b.Basis})
		least.set(b.Measure, b.Low)
		most.set(b.Measure, b.High)
	}
	if !p.massless {
		size.Mass, size.MassBasis = massOf(c, s, size.Stage, lengths)
	}
	for _, b := range []*bodyOf{&least, &most} {
		b.Adult = size.Stage == care.Adult
		if a.Age != nil {
			b.AgeMonths = a.Age.Months()
		}
	}
	return size, least, most
}

// stageLengths are the lengths of a named stage, in every measure held.
func stageLengths(c *care.Catalogue, s *care.Species, stage care.Stage) (out []care.BodyLength) {
	for _, m := range measures(s.Group) {
		if b, ok := c.StageLength(s, stage, m); ok {
			out = append(out, b)
		}
	}
	return out
}

// aged takes the lengths from the age by the growth data held, and the stage from
// them where none is stated. With a stage too, they are those that fit both; where
// the two contradict each other the age is used. Without growth data the age only
// serves rules that speak of age.
func (p *problems) aged(c *care.Catalogue, s *care.Species, at string, a Animal, size *AnimalSize) (out []care.BodyLength) {
	sex := a.Sex
	if sex == "unknown" {
		sex = ""
	}
	contradicted := false
	for _, m := range measures(s.Group) {
		b, ok := c.LengthAtAge(s, a.Age.Months(), sex, m)
		if !ok {
			continue
		}
		if a.Stage == "" {
			p.stageFromAge(c, s, at, b, size, len(out) == 0)
		} else if named, ok := c.StageLength(s, a.Stage, m); ok {
			if low, high := max(b.Low, named.Low), min(b.High, named.High); low <= high {
				b.Low, b.High, b.Basis = low, high, b.Basis+", within the stage stated"
			} else if !contradicted {
				contradicted = true
				p.warn(at+"/age", fmt.Sprintf("by its age the animal would not be %s; the size by age is used for space", a.Stage))
			}
		}
		out = append(out, b)
	}
	switch {
	case len(out) > 0:
		return out
	case a.Stage == "":
		p.add(at, "says neither stage nor length, and no growth data that reach this age are held for "+s.Scientific,
			"give the stage, or a measured length with its measure")
		return nil
	}
	p.warn(at+"/age", "no growth data that reach this age are held, so the age is used only where a rule speaks of age; the size follows the stage")
	return stageLengths(c, s, a.Stage)
}

// stageFromAge tells the stage from the middle of the lengths at an age; the first
// measure decides.
func (p *problems) stageFromAge(c *care.Catalogue, s *care.Species, at string, b care.BodyLength, size *AnimalSize, first bool) {
	if !first {
		return
	}
	size.Stage, _ = c.StageOf(s, (b.Low+b.High)/2, b.Measure)
	size.StageFrom = "age"
	youngest, _ := c.StageOf(s, b.Low, b.Measure)
	oldest, _ := c.StageOf(s, b.High, b.Measure)
	if youngest != oldest {
		p.warn(at+"/age", fmt.Sprintf("by its age the animal may be anything from %s to %s; it is taken as %s", youngest, oldest, size.Stage))
	}
}

// grown reports whether no length goes below those of adults: an animal that is only
// probably adult may weigh less than they do.
func grown(c *care.Catalogue, s *care.Species, lengths []care.BodyLength) bool {
	return !slices.ContainsFunc(lengths, func(b care.BodyLength) bool {
		stage, ok := c.StageOf(s, b.Low, b.Measure)
		return ok && stage != care.Adult
	})
}

// massOf is the mass of one animal, in g: claims first for an adult, else by the
// length relation that gives the narrowest range.
func massOf(c *care.Catalogue, s *care.Species, stage care.Stage, lengths []care.BodyLength) (quantity.Band, string) {
	if stage == care.Adult && grown(c, s, lengths) {
		if w := c.Range(s.ID, care.AdultMass, care.Adult); w.Standing == care.Known {
			return quantity.Band{Low: w.Low, High: w.High, Unit: "g"}, "working range of adult mass (" + string(w.Grade) + ")"
		}
	}
	var out quantity.Band
	basis, ratio := "", quantity.Mass(0)
	for _, b := range lengths {
		low, high, how, ok := c.MassFromLength(s, b)
		if ok && (basis == "" || high/low < ratio) {
			l, h := low.Grams(), high.Grams()
			out, basis, ratio = quantity.Band{Low: &l, High: &h, Unit: "g"}, how, high/low
		}
	}
	return out, basis
}

// measured takes a measured length, converts it into the other measures and
// tells the stage from it.
func (p *problems) measured(c *care.Catalogue, s *care.Species, at string, a Animal, size *AnimalSize) (out []care.BodyLength) {
	given := care.BodyLength{Measure: a.Measure, Low: *a.Length, High: *a.Length, Basis: "measured"}
	if (a.Measure == care.Shell) != (s.Group == care.Chelonian) {
		remedy := "give snout-vent or total length"
		if s.Group == care.Chelonian {
			remedy = "give the straight length of the shell"
		}
		p.add(at+"/measure", fmt.Sprintf("%s does not fit a %s", a.Measure, s.Group), remedy)
		return nil
	}
	record, held := c.LongestOnRecord(s, a.Measure)
	if adult, ok := c.AdultLength(s, a.Measure); ok {
		record, held = max(record, adult.High), true
	}
	if held && *a.Length > record*maxLengthOverRecord {
		p.add(at+"/length", fmt.Sprintf("is far above the longest held for %s", s.Scientific), "check the unit and the measure, and the species")
		return nil
	}
	for _, m := range measures(s.Group) {
		if b, ok := c.ConvertLength(s, given, m); ok {
			out = append(out, b)
		}
	}
	stage, ok := c.StageOf(s, *a.Length, a.Measure)
	switch {
	case !ok && size.Stage == "":
		size.Stage = care.Adult
		p.warn(at+"/stage", "no adult length is held, so the animal is taken as adult")
	case !ok:
	case size.Stage == "":
		size.Stage, size.StageFrom = stage, "length"
	case size.Stage != stage:
		p.warn(at+"/stage", fmt.Sprintf("the stage given is %s, yet by its length the animal would be %s; the length is used for space", size.Stage, stage))
	}
	return out
}
