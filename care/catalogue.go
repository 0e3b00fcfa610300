package care

import (
	"fmt"
	"runtime"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
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
	rulesFor  map[string][]*Rule    // species id → applicable rules, in file order
	ranges    map[string]rangeTable // by species id
	names     *nameIndex
	relations []*Relation      // of body measures, in file order
	bodies    map[string]*body // species id → what is worked out once about its size
	places    []string         // for which rules are held, sorted
	kept      sync.Map         // see Kept
}

// Kept gives what work gives for a key, from what the snapshot keeps where it was
// worked out before. What is kept hangs on nothing but the key and the snapshot, and
// goes with it, so that it can't be stale; the kinds of key are few and the keys no
// more than a catalogue has species and stages, so that it stays small. K is a type
// of the caller's own, which nobody else keeps anything under. What is kept is not
// to be changed.
func Kept[K comparable, V any](c *Catalogue, key K, work func() V) V {
	if v, ok := c.kept.Load(key); ok {
		return v.(V)
	}
	v, _ := c.kept.LoadOrStore(key, work()) // two goroutines may work out the same
	return v.(V)
}

// rangeTable holds the working ranges of a species, a row of Stages for each of
// Parameters. Stages that are alike but for their name share one.
type rangeTable []*WorkingRange

func (t rangeTable) at(parameter, stage int) **WorkingRange { return &t[parameter*len(Stages)+stage] }

func (c *Catalogue) build() {
	slices.SortFunc(c.species, func(a, b *Species) int { return strings.Compare(a.Scientific, b.Scientific) })
	c.rulesFor = make(map[string][]*Rule, len(c.species))
	c.ranges = make(map[string]rangeTable, len(c.species))
	var wg sync.WaitGroup
	wg.Go(func() { c.names = newNameIndex(c.species) })
	ranges := make([]rangeTable, len(c.species))
	var next atomic.Int64
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for i := int(next.Add(1)) - 1; i < len(ranges); i = int(next.Add(1)) - 1 {
				ranges[i] = c.rangesOf(c.species[i])
			}
		})
	}
	for _, s := range c.species {
		for _, r := range c.rules {
			if r.Scope.Covers(s) {
				c.rulesFor[s.ID] = append(c.rulesFor[s.ID], r)
			}
		}
	}
	for _, r := range c.rules {
		if r.Jurisdiction != "" {
			c.places = append(c.places, r.Jurisdiction)
		}
	}
	slices.Sort(c.places)
	c.places = slices.Clip(slices.Compact(c.places))
	wg.Wait()
	for i, s := range c.species {
		c.ranges[s.ID] = ranges[i]
	}
	c.buildBodies()
}

func (c *Catalogue) rangesOf(s *Species) rangeTable {
	claims := make([][]*Claim, len(Parameters))
	for i := range s.Claims {
		if at, ok := parameterAt[s.Claims[i].Parameter]; ok {
			claims[at] = append(claims[at], &s.Claims[i])
		}
	}
	zone := parameterAt[UVZone]
	out := make(rangeTable, len(Parameters)*len(Stages))
	for i := range Parameters {
		p := &Parameters[i]
		applies := p.Applies(s)
		uv := p.Code == UVMean || p.Code == UVMax
		alike := ofOneStage(claims[i]) && (!uv || ofOneStage(claims[zone]))
		for j, stage := range Stages {
			if j > 0 && alike {
				*out.at(i, j) = *out.at(i, 0)
				continue
			}
			w := rangeOf(p, stage, claims[i], c.sources)
			if w.Standing == NotKnown && uv {
				w = uvFromZone(**out.at(zone, j), p.Code)
			}
			if !applies && (uv || w.Standing == NotKnown) {
				w = WorkingRange{Parameter: p.Code, Unit: p.Unit, Standing: NotApplicable}
			}
			*out.at(i, j) = &w
		}
	}
	return out
}

// ofOneStage: claims that all speak of the same stage rank alike for every stage.
func ofOneStage(claims []*Claim) bool {
	for _, c := range claims {
		if c.Stage != claims[0].Stage {
			return false
		}
	}
	return true
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
	table, known := c.ranges[id]
	i, ok := parameterAt[code]
	j := slices.Index(Stages, stage)
	if !known || !ok || j < 0 {
		return WorkingRange{Parameter: code, Stage: stage, Standing: NotKnown}
	}
	w := **table.at(i, j)
	w.Stage = stage
	return w
}

// Jurisdictions lists the codes for which rules are held, sorted. The slice is not to
// be changed.
func (c *Catalogue) Jurisdictions() []string { return c.places }

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
