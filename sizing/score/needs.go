package score

import (
	"fmt"
	"math"
	"slices"
)

// Readings is an enclosure and what is measured in it, read once and put to the needs
// of many animals. It is used by one goroutine at a time.
type Readings struct {
	setup    Setup
	measured [len(kinds)]Measurement // of those that hang on the animal, nothing

	// What is written over with each animal's needs.
	parts   []part
	hazards []Hazard
	after   Case
}

// Read reads an enclosure.
func Read(s Setup) *Readings {
	r := &Readings{setup: s.settled()}
	var none Animal
	for i := range kinds {
		r.measured[i] = kinds[i].measure(&r.setup, &none)
	}
	return r
}

// Fill reads the enclosure anew with another substrate.
func (r *Readings) Fill(s Substrate) {
	r.setup.Substrate = s
	for _, i := range soilKinds {
		r.measured[i] = kinds[i].measure(&r.setup, nil)
	}
}

// soilKinds are the places of the kinds read off the depth of the substrate.
var soilKinds = func() (out []int) {
	for i := range kinds {
		if kinds[i].soil {
			out = append(out, i)
		}
	}
	return out
}()

// Score is the score of one criterion.
func (r *Readings) Score(k *Criterion) Interval {
	c := Case{Setup: r.setup}
	return k.Score(c.measure(k))
}

// Finding is the finding of Assess on one criterion.
func (r *Readings) Finding(k *Criterion) Finding {
	c := Case{Setup: r.setup}
	p := c.part(k, k.spans())
	return p.finding(k, new(shown))
}

// Needs is what an animal needs, made ready to be put to many enclosures.
type Needs struct {
	criteria []Criterion
	animal   Animal
	spans    []spans
	kinds    []int // places in kinds of the criteria, or -1
	rebuild  []int // criteria of which a shortfall may call for another enclosure
	unsized  bool  // an essential criterion has no target, or none has
}

// NewNeeds fails on a criterion that is malformed or given twice.
func NewNeeds(criteria []Criterion, animal Animal) (*Needs, error) {
	c := Case{Criteria: criteria, Animal: animal}
	if err := c.check(); err != nil {
		return nil, err
	}
	n := &Needs{criteria: criteria, animal: animal, unsized: true, spans: make([]spans, len(criteria)), kinds: make([]int, len(criteria))}
	for i := range criteria {
		n.spans[i], n.kinds[i] = criteria[i].spans(), -1
		if at, ok := kindAt[criteria[i].Code]; ok {
			n.kinds[i] = at
		}
		if n.spans[i].n > 0 {
			n.unsized = false
			if criteria[i].Mend == Rebuild {
				n.rebuild = append(n.rebuild, i)
			}
		}
	}
	for i := range criteria {
		n.unsized = n.unsized || criteria[i].Essential && n.spans[i].n == 0
	}
	return n, nil
}

// Criteria are those given. The slice is not to be changed.
func (n *Needs) Criteria() []Criterion { return n.criteria }

// Case is what the needs and an enclosure make. Its criteria are not to be changed.
func (n *Needs) Case(s Setup) Case { return Case{Setup: s, Animal: n.animal, Criteria: n.criteria} }

// Assess is Assess of the case that the needs and an enclosure make, with its Changes;
// without measuring, those to measure are left out. It fails on a measurement that is
// not a number.
func (n *Needs) Assess(s Setup, measuring bool) (Result, []Change, error) {
	c := n.Case(s)
	if err := c.checkMeasured(); err != nil {
		return Result{}, nil, err
	}
	return c.assessed(n.spans, measuring)
}

func (n *Needs) measure(i int, r *Readings) Measurement {
	switch at := n.kinds[i]; {
	case at < 0:
		return Measurement{}
	case kinds[at].ofAnimal:
		return kinds[at].measure(&r.setup, &n.animal)
	default:
		return r.measured[at]
	}
}

// score is that of a criterion with a target, and what can be mended of a shortfall.
func (n *Needs) score(i int, r *Readings) (Interval, mendable) {
	k, over := &n.criteria[i], &n.spans[i]
	s := k.over(over, n.measure(i, r))
	switch at := n.kinds[i]; {
	case k.Mend != Rebuild || s.Worst == 1:
		return s, mendable{true, true}
	case at < 0 || kinds[at].could == nil:
		return s, mendable{}
	default:
		could := k.over(over, kinds[at].could(&r.setup))
		return s, mendable{could.Worst == 1, could.Best == 1}
	}
}

// Size judges an enclosure by its sizes alone: tooSmall where the best verdict is
// unsuitable, whatever is not known; mayBe where the worst is, and the best is not.
// The rest of Judge can't change either.
func (n *Needs) Size(r *Readings) (tooSmall, mayBe bool) {
	mayBe = n.unsized
	for _, i := range n.rebuild {
		s, can := n.score(i, r)
		if s.Best < 1 && !can.best {
			return true, false
		}
		mayBe = mayBe || s.Worst < 1 && !can.worst
	}
	return false, mayBe
}

// Judge is Judge of the case that the needs and the enclosure make.
func (n *Needs) Judge(r *Readings) (Judgement, error) {
	t, err := n.tally(r)
	if err != nil {
		return Judgement{}, err
	}
	h := presencesOf(&r.setup, &n.animal)
	t.hazards(&h)
	return t.judgement()
}

// Mean is the score before hazards of Judge; met tells whether every criterion is met
// in the worst case, so that only hazards could ask for a change.
func (n *Needs) Mean(r *Readings) (mean Interval, met bool, err error) {
	t, err := n.tally(r)
	if err != nil {
		return Interval{}, false, err
	}
	j, err := t.judgement()
	return j.BeforeHazards, t.worst == suitable, err
}

// tally counts the criteria.
func (n *Needs) tally(r *Readings) (tally, error) {
	t := newTally()
	for i := range n.criteria {
		if n.spans[i].n == 0 {
			t.unjudged(&n.criteria[i])
			continue
		}
		if a, b := n.measure(i, r).ends(); math.IsNaN(a) || math.IsNaN(b) || a > b {
			return t, fmt.Errorf("criterion %s: measured %g to %g is no range", n.criteria[i].Code, a, b)
		}
		s, can := n.score(i, r)
		t.add(n.criteria[i].Weight, s, can)
	}
	return t, nil
}

// Shortfall is Result.Governing of the case.
func (n *Needs) Shortfall(r *Readings) *Finding {
	var g governing
	for _, i := range n.rebuild {
		s, can := n.score(i, r)
		g.add(i, n.criteria[i].Weight, s, can)
	}
	if !g.certain() { // else no other criterion can govern
		g = governing{}
		for i := range n.criteria {
			if n.spans[i].n > 0 {
				s, can := n.score(i, r)
				g.add(i, n.criteria[i].Weight, s, can)
			}
		}
	}
	if !g.found {
		return nil
	}
	k := &n.criteria[g.index]
	r.after = Case{Setup: r.setup, Animal: n.animal}
	p := r.after.part(k, n.spans[g.index])
	return new(p.finding(k, new(shown)))
}

// Findings are those of Assess.
func (n *Needs) Findings(r *Readings) []Finding {
	c := Case{Setup: r.setup, Animal: n.animal, Criteria: n.criteria}
	t := trialOf(&c, n.spans)
	out, figures := make([]Finding, len(t.parts)), make([]shown, len(t.parts))
	for i := range t.parts {
		out[i] = t.parts[i].finding(&c.Criteria[i], &figures[i])
	}
	return out
}

// Work is what is to be done and found out in an enclosure.
type Work struct {
	Shortfall *Finding // see Shortfall
	Needed    []Change // see Needed
	Hazards   []string // names of the hazards that are there, once each
	Open      []Open   // what decides the verdict
	After     Outcome  // once all that is needed is done
}

// Work says what Assess, Needed and Judge say of the case between them, where j is
// its judgement.
func (n *Needs) Work(r *Readings, j Judgement) (Work, error) {
	c := Case{Setup: r.setup, Animal: n.animal, Criteria: n.criteria}
	t := &trial{of: &c, parts: r.parts}
	t.work(n.spans)
	hs := appendHazards(r.hazards[:0], &c.Setup, &c.Animal, false)
	r.parts, r.hazards = t.parts, hs
	out := Work{Needed: t.needed(hs), Open: t.open(&j, hs, true)}
	var g governing
	for i := range t.parts {
		if p := &t.parts[i]; p.spans.n > 0 {
			g.add(i, n.criteria[i].Weight, p.score, p.can)
		}
	}
	if g.found {
		out.Shortfall = new(t.parts[g.index].finding(&n.criteria[g.index], new(shown)))
	}
	for i := range hs {
		if hs[i].Presence == Definite && !slices.Contains(out.Hazards, hs[i].Name) {
			out.Hazards = append(out.Hazards, hs[i].Name)
		}
	}
	if len(out.Needed) > 0 {
		r.after = c
		for i := range out.Needed {
			out.Needed[i].onto(&r.after)
		}
		j, err := t.judge(&r.after, new(presencesOf(&r.after.Setup, &r.after.Animal)))
		if err != nil {
			return out, err
		}
		out.After = Outcome{j.Verdict, j.Score, j.Weakest}
	}
	return out, nil
}
