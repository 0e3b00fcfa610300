package care

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// Standing says whether there is a figure. Not applicable (a hot spot for an
// axolotl) differs from not known.
type Standing string

// The standings of a working range.
const (
	Known         Standing = "known"
	NotKnown      Standing = "not-known"
	NotApplicable Standing = "not-applicable"
)

// Grade says how firm a working range is: by how many independent sources, of
// what kind, with what access. Whether they agree is told apart, by Agreement.
type Grade string

// Firm: three or more independent sources about the species, two of them read,
// one of them law, reviewed, official or a reference work, and no conflict.
// Fair: two or more, one of them read. Thin: a single source, read.
// RecalledOnly: rests on recalled claims alone.
const (
	Firm         Grade = "firm"
	Fair         Grade = "fair"
	Thin         Grade = "thin"
	RecalledOnly Grade = "recalled"
)

// Agreement says how the counted claims stand to each other.
type Agreement string

// Agree: some value lies in every source's range. Partly: more than half share a
// value. Conflict: no value is backed by more than half.
const (
	Single   Agreement = "single"
	Agree    Agreement = "agree"
	Partly   Agreement = "partly"
	Conflict Agreement = "conflict"
)

// WorkingRange is what the claims come to for one species, parameter and stage,
// and how. Low and High are in Unit; a missing bound is open.
//
// The rule, in full:
//  1. A claim marked implausible never counts. Of the rest only the most direct
//     count: about the species before genus, family, group and general custom;
//     a figure about something else than the parameter (Indirect) ranks one step
//     lower; then for the stage asked, or for any stage, before another stage's.
//  2. Of these, sources of tier 4 (encyclopaedia, press, keepers) count only where
//     no source of a higher tier speaks. Access (read or recalled) does not rank.
//  3. Copies of one publication are one voice: the span of its claims.
//  4. A single figure stands for itself ± the parameter's tolerance.
//  5. The working range runs from the lowest to the highest value that at least
//     half of the voices allow.
//  6. If all voices share a value they agree; if more than half do, they agree
//     partly; else they conflict, and the range spans the conflict.
type WorkingRange struct {
	Parameter Code
	Stage     Stage
	Standing  Standing
	Low, High *float64
	Unit      string
	Grade     Grade
	Agreement Agreement
	Sources   int      // independent publications counted
	About     About    // directness of the claims counted
	From      Stage    // stage of the claims counted
	Indirect  bool     // rests on figures about something near the parameter
	Widened   bool     // a bound comes from a single figure ± tolerance
	Derived   string   // how, where the range is not read off claims of this parameter
	Counted   []*Claim // the claims behind it
	Aside     []*Claim // held, shown, not counted: less direct, retold, or implausible
}

// Midpoint of the range, or its one bound; ok is false when there is no figure.
func (w WorkingRange) Midpoint() (mid float64, ok bool) {
	switch {
	case w.Low != nil && w.High != nil:
		return (*w.Low + *w.High) / 2, true
	case w.Low != nil:
		return *w.Low, true
	case w.High != nil:
		return *w.High, true
	}
	return 0, false
}

// Recalled reports whether no counted claim was read or read through.
func (w WorkingRange) Recalled() bool { return w.Grade == RecalledOnly }

// SourceKeys lists the keys of the counted claims' sources, sorted, once each.
func (w WorkingRange) SourceKeys() []string {
	var keys []string
	for _, c := range w.Counted {
		keys = append(keys, c.Source)
	}
	slices.Sort(keys)
	return slices.Compact(keys)
}

// directness ranks a claim for a stage; lower is more direct. The first number is
// what it is about, the second whose stage.
func directness(c *Claim, stage Stage) [2]int {
	about := slices.Index(abouts, c.about())
	if c.Indirect != "" {
		about++
	}
	age := 0
	switch {
	case c.Stage == stage:
	case c.Stage == AnyStage && stage == Adult:
	case c.Stage == AnyStage:
		age = 1
	case c.Stage == Adult:
		age = 2
	default:
		age = 3
	}
	return [2]int{about, age}
}

func (c *Claim) about() About {
	if c.About == "" {
		return AboutSpecies
	}
	return c.About
}

// voice is one publication's span.
type voice struct {
	low, high float64
	read      bool
	tier      int
}

// rangeOf applies the rule of WorkingRange to the claims of one parameter.
func rangeOf(p *Parameter, stage Stage, claims []*Claim, sources map[string]*Source) WorkingRange {
	w := WorkingRange{Parameter: p.Code, Stage: stage, Unit: p.Unit, Standing: NotKnown}
	best := [2]int{math.MaxInt, 0}
	for _, c := range claims {
		if c.Implausible != "" {
			continue
		}
		if d := directness(c, stage); slices.Compare(d[:], best[:]) < 0 {
			best = d
		}
	}
	retoldOnly := true
	for _, c := range claims {
		if c.Implausible == "" && directness(c, stage) == best && sources[c.Source].Kind.Tier() < 4 {
			retoldOnly = false
		}
	}
	voices := map[string]*voice{}
	var order []string
	for _, c := range claims {
		tier := sources[c.Source].Kind.Tier()
		if c.Implausible != "" || directness(c, stage) != best || (tier == 4 && !retoldOnly) {
			w.Aside = append(w.Aside, c)
			continue
		}
		w.Counted = append(w.Counted, c)
		low, high, widened := span(c, p)
		w.Widened = w.Widened || widened
		key := sources[c.Source].Publication()
		v := voices[key]
		if v == nil {
			v = &voice{low: low, high: high, tier: tier}
			voices[key] = v
			order = append(order, key)
		}
		v.low, v.high = min(v.low, low), max(v.high, high)
		v.read = v.read || c.Access != Recalled
	}
	if len(w.Counted) == 0 {
		return w
	}
	w.Standing = Known
	w.About, w.From, w.Indirect = w.Counted[0].about(), w.Counted[0].Stage, w.Counted[0].Indirect != ""
	w.Sources = len(order)
	all := make([]*voice, len(order))
	for i, k := range order {
		all[i] = voices[k]
	}
	w.settle(all, p)
	w.grade(all)
	return w
}

// span is the interval a claim allows; open bounds are infinite.
func span(c *Claim, p *Parameter) (low, high float64, widened bool) {
	low, high = math.Inf(-1), math.Inf(1)
	if c.Low != nil {
		low = *c.Low
	}
	if c.High != nil {
		high = *c.High
	}
	if low == high && p.Tolerance > 0 {
		return max(low-p.Tolerance, p.Least), min(high+p.Tolerance, p.Most), true
	}
	return low, high, false
}

// settle finds the values that at least half of the voices allow.
func (w *WorkingRange) settle(voices []*voice, p *Parameter) {
	backing := func(x float64) (n int) {
		for _, v := range voices {
			if v.low <= x && x <= v.high {
				n++
			}
		}
		return n
	}
	// The extremes of a set covered by k intervals lie on interval ends.
	var ends []float64
	for _, v := range voices {
		ends = append(ends, v.low, v.high)
	}
	slices.Sort(ends)
	need, most := (len(voices)+1)/2, 0
	low, high := math.Inf(1), math.Inf(-1)
	for _, x := range ends {
		n := backing(x)
		most = max(most, n)
		if n >= need {
			low, high = min(low, x), max(high, x)
		}
	}
	switch {
	case len(voices) == 1:
		w.Agreement = Single
	case most == len(voices):
		w.Agreement = Agree
	case 2*most > len(voices):
		w.Agreement = Partly
	default:
		w.Agreement = Conflict
		for _, v := range voices {
			low, high = min(low, v.low), max(high, v.high)
		}
	}
	if !math.IsInf(low, 0) {
		w.Low = &low
	}
	if !math.IsInf(high, 0) {
		w.High = &high
	}
	// Where half of the voices give only an upper and half only a lower bound, the
	// half that gives none leaves the bound open; the highest (lowest) stated one is
	// then the best that is known.
	if w.High == nil {
		w.High = stated(voices, func(v *voice) float64 { return v.high })
	}
	if w.Low == nil {
		w.Low = stated(voices, func(v *voice) float64 { return -v.low })
		if w.Low != nil {
			x := -*w.Low
			w.Low = &x
		}
	}
}

// stated is the greatest finite bound, or nil.
func stated(voices []*voice, bound func(*voice) float64) *float64 {
	var out *float64
	for _, v := range voices {
		if b := bound(v); !math.IsInf(b, 0) && (out == nil || b > *out) {
			out = &b
		}
	}
	return out
}

func (w *WorkingRange) grade(voices []*voice) {
	read, authority := 0, false
	for _, v := range voices {
		if v.read {
			read++
		}
		authority = authority || v.tier <= 2
	}
	switch {
	case read == 0:
		w.Grade = RecalledOnly
	case len(voices) >= 3 && read >= 2 && authority && w.Agreement != Conflict && w.About == AboutSpecies && !w.Indirect:
		w.Grade = Firm
	case len(voices) >= 2:
		w.Grade = Fair
	default:
		w.Grade = Thin
	}
}

// uvFromZone derives the UV index ranges from the zones that the claims give.
func uvFromZone(zone WorkingRange, code Code) WorkingRange {
	w := zone
	w.Parameter, w.Unit = code, "UVI"
	w.Low, w.High, w.Widened = nil, nil, false
	if zone.Standing != Known || zone.Low == nil || zone.High == nil {
		return w
	}
	w.Derived = "from the UV zone, by the zone table of Baines and others 2016 (recalled)"
	for z := int(*zone.Low); z <= int(*zone.High); z++ {
		mean, maximum, ok := UVZoneBand(z)
		if !ok {
			continue
		}
		band := maximum
		if code == UVMean {
			band = mean
		}
		if w.Low == nil || band[0] < *w.Low {
			w.Low = &band[0]
		}
		if w.High == nil || band[1] > *w.High {
			w.High = &band[1]
		}
	}
	// The zone table itself was recalled, so no UV index grade can be better than
	// fair, however firm the zone.
	if w.Grade == Firm {
		w.Grade = Fair
	}
	return w
}

// Slug turns a scientific name into a species id.
func Slug(scientific string) string {
	return strings.ReplaceAll(strings.ToLower(strings.TrimSpace(scientific)), " ", "-")
}

// WhyAside says which step of the rule set a claim of the species and parameter
// aside; empty for one that counts.
func (w WorkingRange) WhyAside(k *Claim) string {
	about := k.About
	if about == "" {
		about = AboutSpecies
	}
	switch {
	case slices.Contains(w.Counted, k):
		return ""
	case k.Implausible != "":
		return "implausible"
	case len(w.Counted) == 0:
		return "the parameter does not apply"
	case about != w.About:
		return fmt.Sprintf("about the %s, where claims about the %s are held", about, w.About)
	case (k.Indirect != "") != w.Indirect:
		return "only indirectly about the parameter, where direct claims are held"
	case k.Stage != w.From:
		return fmt.Sprintf("for stage %s, where claims for stage %s are nearer", k.Stage, w.From)
	}
	return "retold, where a source of higher authority speaks"
}
