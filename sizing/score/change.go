package score

import (
	"cmp"
	"maps"
	"math"
	"slices"
	"strings"
	"sync"

	"denwright/care/quantity"
)

// Outcome is where a change leads.
type Outcome struct {
	Verdict Verdict  `json:"verdict"`
	Score   Interval `json:"score"`
	Weakest Interval `json:"weakest"`
}

// Change is one thing to do, and what it alone would bring.
//
// A change to measure supposes that what is found is as wanted: its outcome and
// gain are the most that knowing can bring, and the gain in the worst case is the
// width that the unknown gives the score.
type Change struct {
	Code     string   `json:"code"`
	For      []string `json:"for"` // criterion and hazard codes
	Kind     Mend     `json:"kind"`
	Effort   int      `json:"effort"` // see Mend.Effort
	What     string   `json:"what"`
	Supposes bool     `json:"supposes_found_as_wanted,omitzero"`
	// Hazard is the presence of the hazard it takes away, left out when there is none.
	Hazard Presence       `json:"hazard,omitzero"`
	From   *Figure        `json:"from,omitzero"`
	To     *quantity.Band `json:"to,omitzero"`
	After  Outcome        `json:"after"`
	// Gain is the rise of the weighted mean, GainWeakest that of the weakest
	// criterion. Both leave the hazards' veto aside, under which nothing else would
	// gain anything; After does not.
	Gain        Interval `json:"gain_before_hazards"`
	GainWeakest Interval `json:"gain_weakest_before_hazards"`
	Caution     string   `json:"caution,omitzero"`

	do    func(*Case)
	drops int // place in the list, from 1, of the heat source that it takes out
	// finds: it only settles what a criterion measures or asks, and leaves setup and
	// animal alone.
	finds bool
}

// Apply gives the case after the change. To measure changes nothing: what will be
// found is not known. The case given is left as it was.
func (ch Change) Apply(c Case) Case {
	if ch.Supposes {
		return c
	}
	return ch.on(c)
}

// on gives the case as supposed. What the remedies write to they copy first.
func (ch Change) on(c Case) Case {
	c.Setup = c.Setup.settled()
	ch.do(&c)
	return c
}

// onto is on where the case given is the caller's to change and settled.
func (ch *Change) onto(c *Case) {
	ch.do(c)
	if !ch.finds {
		c.Setup.settle()
	}
}

// Changes ranks the single changes that would raise the score of a case: those that
// take a hazard away first (definite before possible), then by gain, then by
// effort, then by code. Shortfalls that only another enclosure mends have none. A
// change that would add a hazard, or make either extreme verdict worse, is left out;
// so is one that gains nothing. It fails as Assess does.
func Changes(c Case) ([]Change, error) {
	if err := c.check(); err != nil {
		return nil, err
	}
	_, changes, err := c.assessed(nil, true)
	return changes, err
}

// assessed is Assess and Changes of a case that passes check, which it settles. The
// spans of its criteria are worked out where they are not given. Without measuring,
// changes to measure, which suppose what is found, are left out.
func (c *Case) assessed(known []spans, measuring bool) (Result, []Change, error) {
	c.Setup.settle()
	w := workspaces.Get().(*workspace)
	defer workspaces.Put(w)
	t := &trial{of: c, parts: w.parts, hazards: presencesOf(&c.Setup, &c.Animal)}
	t.work(known)
	w.parts = t.parts
	now, err := t.result()
	if err != nil {
		return Result{}, nil, err
	}
	changes, err := t.ranked(&now, measuring, w)
	return now, changes, err
}

// ranked tries the single changes and ranks those that Changes gives.
func (t *trial) ranked(now *Result, measuring bool, w *workspace) ([]Change, error) {
	changes := t.candidates(now.Hazards, measuring)
	out := changes[:0]
	after := &w.after
	defer func() { w.after = Case{} }() // what was asked is not held on to
	for i := range changes {
		ch := &changes[i]
		*after = *t.of
		after.scratch = &w.criteria
		ch.onto(after)
		hazards := &t.hazards
		if !ch.finds {
			hazards = new(presencesOf(&after.Setup, &after.Animal))
		}
		j, err := t.judge(after, hazards)
		if err != nil {
			return nil, err
		}
		ch.After = Outcome{j.Verdict, j.Score, j.Weakest}
		ch.Gain = j.BeforeHazards.minus(now.BeforeHazards)
		ch.GainWeakest = j.weakestBefore.minus(now.weakestBefore)
		if hazards.moreThan(&t.hazards) ||
			j.WorstVerdict.rank() < now.WorstVerdict.rank() || j.BestVerdict.rank() < now.BestVerdict.rank() ||
			ch.Hazard == "" && ch.gain() <= 0 && ch.gainWeakest() <= 0 {
			continue
		}
		out = append(out, *ch)
	}
	inPlace(out)
	return out, nil
}

// inPlace sorts changes as Changes says.
func inPlace(changes []Change) {
	type key struct {
		severity, effort  int
		gain, gainWeakest float64
		at                int
	}
	keys := make([]key, len(changes))
	for i := range changes {
		ch := &changes[i]
		keys[i] = key{severity(ch.Hazard), ch.Effort, ch.gain(), ch.gainWeakest(), i}
	}
	slices.SortFunc(keys, func(a, b key) int {
		return cmp.Or(
			cmp.Compare(b.severity, a.severity),
			cmp.Compare(b.gain, a.gain),
			cmp.Compare(b.gainWeakest, a.gainWeakest),
			cmp.Compare(a.effort, b.effort),
			cmp.Compare(changes[a.at].Code, changes[b.at].Code),
			cmp.Compare(a.at, b.at))
	})
	// Changes are large, so each is moved once, round by round.
	for i := range keys {
		if keys[i].at == i {
			continue
		}
		first := changes[i]
		for j := i; ; {
			from := keys[j].at
			keys[j].at = j
			if from == i {
				changes[j] = first
				break
			}
			changes[j] = changes[from]
			j = from
		}
	}
}

// workspace is what the trying of changes writes over again and again.
type workspace struct {
	parts    []part
	criteria []Criterion
	after    Case
}

// workspaces are used again: they are large, and answers are many.
var workspaces = sync.Pool{New: func() any { return new(workspace) }}

// trial is a case worked out so far that one like it is judged by what differs.
type trial struct {
	of      *Case
	parts   []part // of the criteria, in their order
	hazards presences
}

// part is a criterion put to the case.
type part struct {
	spans    spans
	measured Measurement
	score    Interval
	can      mendable
	mend     Mend // of a shortfall, with what is in the enclosure in mind
	moves    bool // can hangs on more than what is measured
}

// trialOf works out a settled case that passes check. The spans of its criteria are
// worked out where they are not given.
func trialOf(c *Case, known []spans) *trial {
	t := &trial{of: c, hazards: presencesOf(&c.Setup, &c.Animal)}
	t.work(known)
	return t
}

// work works out the parts.
func (t *trial) work(known []spans) {
	t.parts = slices.Grow(t.parts[:0], len(t.of.Criteria))[:len(t.of.Criteria)]
	for i := range t.parts {
		k := &t.of.Criteria[i]
		if known != nil {
			t.parts[i] = t.of.part(k, known[i])
		} else {
			t.parts[i] = t.of.part(k, k.spans())
		}
	}
}

// part puts a criterion to a settled case.
func (c *Case) part(k *Criterion, over spans) part {
	p := part{spans: over, measured: c.measure(k), can: mendable{true, true}, mend: k.Mend}
	if over.n == 0 {
		return p
	}
	p.score = k.over(&over, p.measured)
	var by Mend
	p.can, by = c.mendable(k, &over)
	if by != "" && p.can.worst && p.score.Worst < 1 {
		p.mend = by
	}
	kd := k.known()
	p.moves = kd != nil && kd.could != nil
	return p
}

// judge is Judge of a settled case that a change has made of the trial's, with its
// hazards: criteria whose measurement it left alone keep their score.
func (t *trial) judge(c *Case, hazards *presences) (Judgement, error) {
	sum := newTally()
	same := len(c.Criteria) == 0 || &c.Criteria[0] == &t.of.Criteria[0] // else a change has copied them to change one
	for i := range c.Criteria {
		k, p := &c.Criteria[i], &t.parts[i]
		over := p.spans
		if !same {
			over = k.spans()
		}
		if over.n == 0 {
			sum.unjudged(k)
			continue
		}
		score, can := p.score, p.can
		m := c.measure(k)
		if !same || m != p.measured {
			score = k.over(&over, m)
		}
		if p.moves {
			can, _ = c.mendable(k, &over)
		}
		sum.add(k.Weight, score, can)
	}
	sum.hazards(hazards)
	return sum.judgement()
}

func severity(p Presence) int { return slices.Index([]Presence{Possible, Definite}, p) }

// Gains are ranked to nine digits, so that rounding noise never decides an order.
func (ch *Change) gain() float64 { return math.Round((ch.Gain.Worst+ch.Gain.Best)*1e9) / 1e9 }
func (ch *Change) gainWeakest() float64 {
	return math.Round((ch.GainWeakest.Worst+ch.GainWeakest.Best)*1e9) / 1e9
}

// addsHazard compares how often each hazard is definite, and how often it is at
// least possible: a heat source taken away moves the others up.
func addsHazard(before, after []Hazard) bool {
	type count struct{ definite, any int }
	tally := func(hs []Hazard) map[string]count {
		out := map[string]count{}
		for _, h := range hs {
			n := out[h.Code]
			switch h.Presence {
			case Definite:
				n.definite++
				n.any++
			case Possible:
				n.any++
			}
			out[h.Code] = n
		}
		return out
	}
	was := tally(before)
	for code, n := range tally(after) {
		if n.definite > was[code].definite || n.any > was[code].any {
			return true
		}
	}
	return false
}

// candidates are the single changes that may help. Without supposes, those to measure
// are left out; of the hazards, those that are absent may be.
func (t *trial) candidates(hs []Hazard, supposes bool) []Change {
	n := 0
	for i := range t.parts {
		p := &t.parts[i]
		if _, exact := p.measured.Exact(); p.spans.n > 0 && p.score.Worst < 1 && (supposes || exact && p.mend != Rebuild) {
			n++
		}
	}
	for i := range hs {
		if hs[i].Presence == Definite || supposes && hs[i].Presence == Possible {
			n++
		}
	}
	out := make([]Change, 0, n)
	// A hazard and a criterion that the same work mends are one change.
	add := func(ch Change) {
		i := slices.IndexFunc(out, func(o Change) bool { return o.Code == ch.Code && o.Supposes == ch.Supposes })
		if i < 0 {
			ch.Effort = ch.Kind.Effort()
			out = append(out, ch)
			return
		}
		o := &out[i]
		o.finds = o.finds && ch.finds
		first, second := o.do, ch.do // the hazard's remedy has the last word: it goes to a value that the criterion wants too
		o.do = func(c *Case) { first(c); second(c) }
		o.For = append(o.For, ch.For...)
		if severity(ch.Hazard) > severity(o.Hazard) {
			o.Hazard = ch.Hazard
		}
		if o.Caution == "" {
			o.Caution = ch.Caution
		}
	}
	var shared *Criterion // the first of the criteria that a change must not write to
	if len(t.of.Criteria) > 0 {
		shared = &t.of.Criteria[0]
	}
	own := func(c *Case) {
		switch {
		case &c.Criteria[0] != shared:
		case c.scratch != nil:
			*c.scratch = append((*c.scratch)[:0], c.Criteria...)
			c.Criteria = *c.scratch
		default:
			c.Criteria = slices.Clone(c.Criteria)
		}
	}
	for i := range t.parts {
		p, k := &t.parts[i], &t.of.Criteria[i]
		if p.spans.n == 0 || p.score.Worst == 1 {
			continue
		}
		if supposes && p.spans.uncertain() {
			add(Change{Code: strings.TrimSuffix("animal/"+k.HangsOn, "/"), For: k.alone(), Kind: Measure, Supposes: true, finds: true, What: k.askAnimal(), do: func(c *Case) {
				own(c)
				c.Criteria[i].Most = c.Criteria[i].Least
			}})
		}
		kd := k.known()
		x, exact := p.measured.Exact()
		if !exact {
			if supposes {
				code := k.Code
				if kd != nil && kd.with != "" {
					code = kd.with
				}
				add(Change{Code: code, For: k.alone(), Kind: Measure, Supposes: true, finds: true, What: k.ask(),
					do: func(c *Case) { c.suppose(k.Code, k.favourable(c.measure(k))) }})
			}
			continue
		}
		if p.mend == Rebuild || kd == nil || kd.set == nil {
			continue
		}
		to, verb := k.nearest(x), kd.do
		if verb == "" && to > x {
			verb = "Raise " + k.Name
		} else if verb == "" {
			verb = "Lower " + k.Name
		}
		ch := Change{Code: k.Code, For: k.alone(), Kind: p.mend, What: verb, do: func(c *Case) {
			c.read(k.Code)
			kd.set(c, to)
		}}
		if k.Unit != "" {
			ch.From, ch.To = figure(x, k.Unit), k.band(k.strictest())
		}
		add(ch)
	}
	for i := range hs {
		h := &hs[i]
		if h.Presence != Definite && !(supposes && h.Presence == Possible) {
			continue
		}
		ch := Change{Code: h.key, For: h.alone, Hazard: h.Presence, Caution: h.Caution, do: h.fix, drops: h.drops}
		switch h.Presence {
		case Definite:
			ch.Kind, ch.What = h.Mend, h.Remedy
			if h.At != "" {
				ch.What = h.At + ": " + lowerFirst(ch.What)
			}
		case Possible:
			ch.Kind, ch.What, ch.Supposes = Measure, h.ask, true
		}
		add(ch)
	}
	return out
}

// suppose overrides what is measured.
func (c *Case) suppose(code string, m Measurement) {
	c.supposed = append(slices.Clip(c.supposed), supposition{code, m})
}

// read takes back what overrides the setup.
func (c *Case) read(code string) {
	if slices.ContainsFunc(c.supposed, func(s supposition) bool { return s.code == code }) {
		c.supposed = slices.DeleteFunc(slices.Clone(c.supposed), func(s supposition) bool { return s.code == code })
	}
	if _, over := c.Measured[code]; over {
		c.Measured = maps.Clone(c.Measured)
		delete(c.Measured, code)
	}
}

// nearest is the value nearest to x that meets the strictest target.
func (k *Criterion) nearest(x float64) float64 {
	low, high := k.span(k.strictest())
	return math.Min(math.Max(x, low), high)
}

// favourable is a value that the measurement allows and that scores best in the
// strictest scenario: a bound of the target, drawn into what is known.
func (k *Criterion) favourable(m Measurement) Measurement {
	low, high := k.span(k.strictest())
	x := low
	if math.IsInf(low, -1) {
		x = high
	}
	a, b := m.ends()
	return Exactly(math.Min(math.Max(x, a), b))
}
