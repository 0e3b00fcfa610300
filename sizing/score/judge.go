package score

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
)

// Judgement is what Assess decides, without the findings and their texts.
type Judgement struct {
	Verdict       Verdict
	WorstVerdict  Verdict
	BestVerdict   Verdict
	Score         Interval
	Weakest       Interval
	BeforeHazards Interval

	weakestBefore Interval
}

// Judge decides as Assess does, for a small part of the work: it writes no texts.
// It fails as Assess does.
func Judge(c Case) (Judgement, error) {
	c.Setup = c.Setup.settled()
	if err := c.check(); err != nil {
		return Judgement{}, err
	}
	t := newTally()
	for i := range c.Criteria {
		k := &c.Criteria[i]
		over := k.spans()
		if over.n == 0 {
			t.unjudged(k)
			continue
		}
		can, _ := c.mendable(k, &over)
		t.add(k.Weight, k.over(&over, c.measure(k)), can)
	}
	h := presencesOf(&c.Setup, &c.Animal)
	t.hazards(&h)
	return t.judgement()
}

// check finds what Assess fails on before it begins.
func (c *Case) check() error {
	for i := range c.Criteria {
		k := &c.Criteria[i]
		if err := k.check(); err != nil {
			return err
		}
		for j := range i {
			if c.Criteria[j].Code == k.Code {
				return fmt.Errorf("criterion %s is given twice", k.Code)
			}
		}
	}
	return c.checkMeasured()
}

// checkMeasured finds figures that are none.
func (c *Case) checkMeasured() error {
	for i := range c.Criteria {
		k := &c.Criteria[i]
		if a, b := c.measure(k).ends(); math.IsNaN(a) || math.IsNaN(b) || a > b {
			return fmt.Errorf("criterion %s: measured %g to %g is no range", k.Code, a, b)
		}
	}
	return nil
}

// tally gathers what a verdict and a score are made of. See Assess for the rule.
type tally struct {
	sum, weakest       Interval
	weights            float64
	scored             int
	worst, best        int // places in ranks
	definite, possible bool
}

// ranks are the verdicts that a single case can have, worst first.
var ranks = [...]Verdict{Unsuitable, AfterChanges, Suitable}

const (
	unsuitable = iota
	afterChanges
	suitable
)

func newTally() tally { return tally{weakest: Interval{1, 1}, worst: suitable, best: suitable} }

// unjudged takes in a criterion whose target is not known.
func (t *tally) unjudged(k *Criterion) {
	if k.Essential {
		t.worst = unsuitable
	}
}

func (t *tally) add(weight float64, s Interval, can mendable) {
	t.scored++
	t.weights += weight
	t.sum.Worst += weight * s.Worst
	t.sum.Best += weight * s.Best
	t.weakest.Worst = min(t.weakest.Worst, s.Worst)
	t.weakest.Best = min(t.weakest.Best, s.Best)
	t.worst = min(t.worst, rankOf(s.Worst < 1, can.worst))
	t.best = min(t.best, rankOf(s.Best < 1, can.best))
}

func rankOf(short, mendable bool) int {
	switch {
	case !short:
		return suitable
	case mendable:
		return afterChanges
	}
	return unsuitable
}

func (t *tally) hazard(p Presence) {
	t.definite = t.definite || p == Definite
	t.possible = t.possible || p == Possible
}

func (t *tally) judgement() (Judgement, error) {
	var j Judgement
	switch {
	case t.scored == 0:
		j.BeforeHazards, t.weakest = Interval{0, 1}, Interval{0, 1}
		t.worst = unsuitable
	case t.weights == 0:
		return j, errors.New("the weights of the criteria are all 0")
	default:
		j.BeforeHazards = Interval{t.sum.Worst / t.weights, t.sum.Best / t.weights}
	}
	j.Score, j.Weakest, j.weakestBefore = j.BeforeHazards, t.weakest, t.weakest
	worst, best := t.worst, t.best
	switch {
	case t.definite:
		j.Score, j.Weakest = Interval{}, Interval{}
		worst, best = min(worst, afterChanges), min(best, afterChanges)
	case t.possible:
		j.Score.Worst, j.Weakest.Worst = 0, 0
		worst = min(worst, afterChanges)
	}
	j.WorstVerdict, j.BestVerdict = ranks[worst], ranks[best]
	j.Verdict = CannotTell
	if j.WorstVerdict == j.BestVerdict { // which holds whenever the best is unsuitable
		j.Verdict = j.BestVerdict
	}
	return j, nil
}

// presences counts, rule by rule, the hazards that are there and those that at least
// may be: each heat source can have the same one.
type presences [len(heatRules) + len(rules)]struct{ definite, possible int }

// presencesOf tells what Hazards tells, without the texts. The setup must be settled.
func presencesOf(s *Setup, a *Animal) (out presences) {
	for i := range heatRules {
		if s.HeatSources == nil {
			out.add(i, unknown)
		}
		for j := range s.HeatSources {
			source := &s.HeatSources[j]
			if !slices.Contains(HeatKinds, source.Kind) {
				out.add(i, unknown)
				continue
			}
			out.add(i, heatRules[i].judge(s, a, source))
		}
	}
	for i := range rules {
		if r := &rules[i]; r.unjudged == nil || !r.unjudged(a) {
			out.add(len(heatRules)+i, r.judge(s, a))
		}
	}
	return out
}

func (p *presences) add(rule int, t truth) {
	switch t {
	case yes:
		p[rule].definite++
		p[rule].possible++
	case unknown:
		p[rule].possible++
	}
}

// moreThan reports whether a hazard is there, or possible, more often than before.
func (p *presences) moreThan(before *presences) bool {
	for i := range p {
		if p[i].definite > before[i].definite || p[i].possible > before[i].possible {
			return true
		}
	}
	return false
}

func (t *tally) hazards(p *presences) {
	for i := range p {
		t.definite = t.definite || p[i].definite > 0
		t.possible = t.possible || p[i].possible > p[i].definite
	}
}

// governing picks the criterion that governs: first what is certainly too small, then
// what may be, then what is certainly short but can be mended, then what may be; of
// these the lowest score, then the greater weight.
type governing struct {
	found bool
	index int
	key   [3]float64
}

func (g *governing) add(i int, weight float64, s Interval, can mendable) {
	if s.Worst == 1 {
		return
	}
	key := [3]float64{0, s.Best, -weight}
	switch {
	case s.Best < 1 && !can.best:
	case !can.worst:
		key[0], key[1] = 1, s.Worst
	case s.Best < 1:
		key[0] = 2
	default:
		key[0], key[1] = 3, s.Worst
	}
	if !g.found || slices.Compare(key[:], g.key[:]) < 0 {
		*g = governing{true, i, key}
	}
}

// certain reports whether what governs is certainly too small.
func (g *governing) certain() bool { return g.found && g.key[0] == 0 }

// Governing is the finding that governs: first what is certainly too small, then what
// may be, then what is certainly short but can be mended, then what may be; of these
// the lowest score, then the greater weight. Nil where every criterion with a target
// is met for certain.
func (r *Result) Governing() *Finding {
	if !r.governs.found {
		return nil
	}
	return &r.Findings[r.governs.index]
}

// Needed lists the work without which the case can't be suitable: a change for each
// criterion certainly short and each definite hazard, but for what only another
// enclosure mends. It is not re-scored: outcomes and gains are left empty. Apply it
// with ApplyAll. The case must pass Assess.
func Needed(c Case) []Change {
	c.Setup = c.Setup.settled()
	return trialOf(&c, nil).needed(hazards(&c.Setup, &c.Animal, false))
}

// needed is Needed; of the hazards, those that are absent may be left out.
func (t *trial) needed(hs []Hazard) []Change {
	certain := func(code string) bool {
		for i := range t.parts {
			if t.of.Criteria[i].Code == code {
				return t.parts[i].spans.n > 0 && t.parts[i].score.Best < 1
			}
		}
		return slices.ContainsFunc(hs, func(h Hazard) bool { return h.Code == code && h.Presence == Definite })
	}
	out := slices.DeleteFunc(t.candidates(hs, false), func(ch Change) bool { return !slices.ContainsFunc(ch.For, certain) })
	inOrder(out)
	return out
}

// InOrder gives changes of one case in an order in which they can be made one after another: hazards first,
// then by effort and code; heat sources are taken out at the end, the last first,
// for the others are told by their place in the list.
func InOrder(changes []Change) []Change {
	changes = slices.Clone(changes)
	inOrder(changes)
	return changes
}

func inOrder(changes []Change) {
	slices.SortStableFunc(changes, func(a, b Change) int {
		return cmp.Or(cmp.Compare(min(a.drops, 1), min(b.drops, 1)), cmp.Compare(b.drops, a.drops),
			cmp.Compare(severity(b.Hazard), severity(a.Hazard)), cmp.Compare(a.Effort, b.Effort), cmp.Compare(a.Code, b.Code))
	})
}

// ApplyAll makes several changes of one case together. What is to be measured is
// supposed to be found as wanted where suppose is set, else left unknown.
func ApplyAll(c Case, changes []Change, suppose bool) Case {
	for _, ch := range InOrder(changes) {
		if !ch.Supposes || suppose {
			c = ch.on(c)
		}
	}
	return c
}

// Suppose gives the case after the change; what is to be measured is supposed to be
// found as wanted.
func (ch Change) Suppose(c Case) Case { return ch.on(c) }

// TakesOut reports whether the change takes a heat source out of the list.
func (ch Change) TakesOut() bool { return ch.drops > 0 }

// AddsHazard reports whether a hazard is there, or possible, more often after than
// before.
func AddsHazard(before, after []Hazard) bool { return addsHazard(before, after) }
