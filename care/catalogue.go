package care

import (
	"fmt"
	"slices"
	"strings"
	"sync"

	"denwright/care/quantity"
)

// Catalogue is an immutable snapshot of everything known. It is safe for use by
// many goroutines; a publish replaces it whole.
type Catalogue struct {
	// Revision names the content: the published revision and a hash of every record.
	Revision string

	species   []*Species // by scientific name
	byID      map[string]*Species
	sources   map[string]*Source
	rules     []*Rule
	rulesByID map[string]*Rule
	rulesFor  map[string][]*Rule // species id → applicable rules, in file order
	ranges    map[string]map[rangeKey]WorkingRange
	names     *nameIndex
}

type rangeKey struct {
	code  Code
	stage Stage
}

func (c *Catalogue) build() {
	slices.SortFunc(c.species, func(a, b *Species) int { return strings.Compare(a.Scientific, b.Scientific) })
	c.rulesFor = make(map[string][]*Rule, len(c.species))
	c.ranges = make(map[string]map[rangeKey]WorkingRange, len(c.species))
	var wg sync.WaitGroup
	wg.Go(func() { c.names = newNameIndex(c.species) })
	for _, s := range c.species {
		for _, r := range c.rules {
			if r.Scope.Covers(s) {
				c.rulesFor[s.ID] = append(c.rulesFor[s.ID], r)
			}
		}
		c.ranges[s.ID] = c.rangesOf(s)
	}
	wg.Wait()
}

func (c *Catalogue) rangesOf(s *Species) map[rangeKey]WorkingRange {
	claims := map[Code][]*Claim{}
	for i := range s.Claims {
		claims[s.Claims[i].Parameter] = append(claims[s.Claims[i].Parameter], &s.Claims[i])
	}
	out := make(map[rangeKey]WorkingRange, len(Parameters)*len(Stages))
	for i := range Parameters {
		p := &Parameters[i]
		for _, stage := range Stages {
			w := rangeOf(p, stage, claims[p.Code], c.sources)
			if w.Standing == NotKnown && (p.Code == UVMean || p.Code == UVMax) {
				w = uvFromZone(out[rangeKey{UVZone, stage}], p.Code)
			}
			if w.Standing == NotKnown && !p.Applies(s) || (p.Code == UVMean || p.Code == UVMax) && !p.Applies(s) {
				w = WorkingRange{Parameter: p.Code, Stage: stage, Unit: p.Unit, Standing: NotApplicable}
			}
			out[rangeKey{p.Code, stage}] = w
		}
	}
	return out
}

// Covers reports whether a rule of this scope speaks of the species.
func (k Scope) Covers(s *Species) bool {
	if slices.Contains(k.Except, s.ID) || slices.Contains(k.Except, s.Family) {
		return false
	}
	if len(k.Habits) > 0 && !slices.Contains(k.Habits, s.Nature.Habit) {
		return false
	}
	genus, _, _ := strings.Cut(s.Scientific, " ")
	return slices.Contains(k.Species, s.ID) || slices.Contains(k.Genera, genus) || slices.Contains(k.Families, s.Family) ||
		slices.Contains(k.Orders, s.Order) || slices.Contains(k.Groups, s.Group)
}

// Species lists every species by scientific name. The slice is not to be changed.
func (c *Catalogue) Species() []*Species { return c.species }

// SpeciesByID returns a species, or nil.
func (c *Catalogue) SpeciesByID(id string) *Species { return c.byID[id] }

// Source returns a source record, or nil.
func (c *Catalogue) Source(key string) *Source { return c.sources[key] }

// Sources lists every source by key.
func (c *Catalogue) Sources() []*Source {
	out := make([]*Source, 0, len(c.sources))
	for _, s := range c.sources {
		out = append(out, s)
	}
	slices.SortFunc(out, func(a, b *Source) int { return strings.Compare(a.Key, b.Key) })
	return out
}

// Rules lists every published rule held.
func (c *Catalogue) Rules() []*Rule { return c.rules }

// Rule returns a rule by id, or nil.
func (c *Catalogue) Rule(id string) *Rule { return c.rulesByID[id] }

// RulesFor lists the rules whose scope covers the species.
func (c *Catalogue) RulesFor(id string) []*Rule { return c.rulesFor[id] }

// Range is the working range of a parameter for a species and stage; Adult when
// the stage is empty. An unknown species or parameter gives the standing NotKnown.
func (c *Catalogue) Range(id string, code Code, stage Stage) WorkingRange {
	if stage == "" || stage == AnyStage {
		stage = Adult
	}
	w, ok := c.ranges[id][rangeKey{code, stage}]
	if !ok {
		return WorkingRange{Parameter: code, Stage: stage, Standing: NotKnown}
	}
	return w
}

// Jurisdictions lists the codes for which rules are held, sorted.
func (c *Catalogue) Jurisdictions() []string {
	var out []string
	for _, r := range c.rules {
		if r.Jurisdiction != "" {
			out = append(out, r.Jurisdiction)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// BodyLength is a body length as an interval, in one measure, and where it comes from.
type BodyLength struct {
	Measure   Measure         `json:"measure"`
	Low, High quantity.Length `json:"-"`
	// Basis: "measured", "converted from …", "working range of adults", "fraction of adult size" …
	Basis string `json:"basis"`
}

// FractionOfAdult is the share of adult length at which a stage begins and ends.
// Common practice, no source: stages are defined here by size, so that a measured
// animal and a named stage can be told apart the same way.
func (s Stage) FractionOfAdult() (low, high float64) {
	switch s {
	case Hatchling:
		return 0.15, 0.35
	case Juvenile:
		return 0.35, 0.65
	case Subadult:
		return 0.65, 0.9
	}
	return 0.9, 1
}

var adultCode = map[Measure]Code{TotalLength: AdultTotal, SnoutVent: AdultSVL, Shell: AdultSCL}
var recordCode = map[Measure]Code{TotalLength: RecordTotal, SnoutVent: RecordSVL, Shell: RecordSCL}

// AdultLength is the adult length of the species in the measure asked for,
// converted through the tail where only the other measure is known.
func (c *Catalogue) AdultLength(s *Species, m Measure) (BodyLength, bool) {
	if b, ok := c.statedAdult(s, m); ok {
		return c.spread(s, b), true
	}
	other := SnoutVent
	if m == SnoutVent {
		other = TotalLength
	}
	if m == Shell {
		return BodyLength{}, false
	}
	b, ok := c.statedAdult(s, other)
	if !ok {
		return BodyLength{}, false
	}
	return c.ConvertLength(s, b, m)
}

// spread widens a snout-vent length that is a single mean by the range of total
// lengths, so that the two measures describe the same animals.
func (c *Catalogue) spread(s *Species, b BodyLength) BodyLength {
	if b.Measure != SnoutVent || b.Low != b.High || s.Order == "Anura" {
		return b
	}
	total, ok := c.statedAdult(s, TotalLength)
	if !ok || total.Low == total.High {
		return b
	}
	if from, ok := c.ConvertLength(s, total, SnoutVent); ok {
		b.Low, b.High = min(b.Low, from.Low), max(b.High, from.High)
		b.Basis += ", a mean, spread by the range of total lengths"
	}
	return b
}

func (c *Catalogue) statedAdult(s *Species, m Measure) (BodyLength, bool) {
	w := c.Range(s.ID, adultCode[m], Adult)
	if w.Standing == Known {
		b := BodyLength{Measure: m, Basis: "working range of adults (" + string(w.Grade) + ")"}
		low, high := w.Low, w.High
		if low == nil {
			low = high
		}
		if high == nil {
			high = low
		}
		b.Low, b.High = quantity.Centimetres(*low), quantity.Centimetres(*high)
		return b, true
	}
	if r := c.Range(s.ID, recordCode[m], Adult); r.Standing == Known && r.High != nil {
		// Only a record is held: adults are taken to run from 0.6 of it. Own choice.
		high := quantity.Centimetres(*r.High)
		return BodyLength{Measure: m, Low: 0.6 * high, High: high, Basis: "0.6 to 1 of the longest on record (own choice; no typical adult length held)"}, true
	}
	return BodyLength{}, false
}

// ConvertLength turns one body measure into another through the ratio of tail to
// snout-vent length; ok is false where the ratio is not known. A frog's total
// length is its snout-vent length.
func (c *Catalogue) ConvertLength(s *Species, b BodyLength, to Measure) (BodyLength, bool) {
	if b.Measure == to {
		return b, true
	}
	if b.Measure == Shell || to == Shell {
		return BodyLength{}, false
	}
	low, high := 0.0, 0.0
	if s.Order != "Anura" {
		var ok bool
		if low, high, ok = c.tailRatio(s); !ok {
			return BodyLength{}, false
		}
	}
	out := BodyLength{Measure: to, Basis: b.Basis + ", converted from " + string(b.Measure) + " by the tail's share"}
	if to == TotalLength {
		out.Low, out.High = b.Low*quantity.Length(1+low), b.High*quantity.Length(1+high)
	} else {
		out.Low, out.High = b.Low/quantity.Length(1+high), b.High/quantity.Length(1+low)
	}
	return out, true
}

func (c *Catalogue) tailRatio(s *Species) (low, high float64, ok bool) {
	if w := c.Range(s.ID, TailToSVL, Adult); w.Standing == Known {
		m, _ := w.Midpoint()
		return m, m, true
	}
	total, svl := c.Range(s.ID, AdultTotal, Adult), c.Range(s.ID, AdultSVL, Adult)
	t, okT := total.Midpoint()
	v, okV := svl.Midpoint()
	if okT && okV && t > v && v > 0 {
		r := t/v - 1
		return r, r, true
	}
	return 0, 0, false
}

// LongestOnRecord is the greatest length that any claim gives, in the measure;
// ok is false where none is held.
func (c *Catalogue) LongestOnRecord(s *Species, m Measure) (quantity.Length, bool) {
	longest := 0.0
	for i := range s.Claims {
		k := &s.Claims[i]
		if k.High != nil && k.Implausible == "" && (k.Parameter == adultCode[m] || k.Parameter == recordCode[m]) {
			longest = max(longest, *k.High)
		}
	}
	return quantity.Centimetres(longest), longest > 0
}

// CommonName is the first common name in the language, else in English, else the scientific name.
func (s *Species) CommonName(language string) string {
	for _, l := range []string{language, "en"} {
		if n := s.Names.Common[l]; len(n) > 0 {
			return n[0]
		}
	}
	return s.Scientific
}

// String names the catalogue.
func (c *Catalogue) String() string {
	return fmt.Sprintf("revision %s: %d species, %d rules, %d sources", c.Revision, len(c.species), len(c.rules), len(c.sources))
}
