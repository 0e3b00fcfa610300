package score

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"denwright/care"
	"denwright/care/quantity"

	"github.com/go-json-experiment/json/jsontext"
)

// Interval runs from the worst case to the best case that what is known allows.
// Scores lie from 0 to 1; gains (see Change) may be of either sign.
type Interval struct {
	Worst float64 `json:"worst"`
	Best  float64 `json:"best"`
}

// MarshalJSONTo writes both ends to four decimals: more would be noise.
func (i Interval) MarshalJSONTo(e *jsontext.Encoder) error { return quantity.Write(e, i) }

// AppendJSON writes the same; a score is alike in every system.
func (i Interval) AppendJSON(dst []byte, _ quantity.System) ([]byte, error) {
	round := func(x float64) float64 { return math.Round(x*1e4)/1e4 + 0 }
	dst, err := quantity.AppendNumber(append(dst, `{"worst":`...), round(i.Worst))
	if err != nil {
		return dst, err
	}
	if dst, err = quantity.AppendNumber(append(dst, `,"best":`...), round(i.Best)); err != nil {
		return dst, err
	}
	return append(dst, '}'), nil
}

func (i Interval) minus(j Interval) Interval { return Interval{i.Worst - j.Worst, i.Best - j.Best} }

// Target is what is wanted, in the criterion's unit; a missing bound is open. The
// criterion's Sides say which bounds bind.
type Target struct{ Low, High *float64 }

// Between, From and UpTo build targets.
func Between(low, high float64) Target { return Target{&low, &high} }

// From is a target with a lower bound alone.
func From(low float64) Target { return Target{Low: &low} }

// UpTo is a target with an upper bound alone.
func UpTo(high float64) Target { return Target{High: &high} }

// Measurement is what is known of one figure: exact when both bounds are known and
// equal, unknown when neither is (the zero value), else bounded on one or both sides.
type Measurement struct {
	low, high       float64
	hasLow, hasHigh bool
}

// Exactly is a figure that was measured.
func Exactly(x float64) Measurement { return Within(x, x) }

// Within is a figure known to lie in a range.
func Within(low, high float64) Measurement { return Measurement{low, high, true, true} }

// NoLess and NoMore are figures known on one side.
func NoLess(low float64) Measurement { return Measurement{low: low, hasLow: true} }

// NoMore is a figure with an upper bound alone.
func NoMore(high float64) Measurement { return Measurement{high: high, hasHigh: true} }

// Exact gives the figure and whether it is one.
func (m Measurement) Exact() (float64, bool) {
	if !m.hasLow || !m.hasHigh || m.low != m.high {
		return 0, false
	}
	return m.low, true
}

// Unknown reports whether nothing at all is known.
func (m Measurement) Unknown() bool { return !m.hasLow && !m.hasHigh }

// band gives what is known as it is shown, in the place given, with its ends.
func (m *Measurement) band(unit string, b *quantity.Band, ends *[2]float64) *quantity.Band {
	b.Unit = unit
	ends[0], ends[1] = m.low, m.high
	if m.hasLow {
		b.Low = &ends[0]
	}
	if m.hasHigh {
		b.High = &ends[1]
	}
	return b
}

// ends are infinite where nothing is known.
func (m Measurement) ends() (low, high float64) {
	low, high = math.Inf(-1), math.Inf(1)
	if m.hasLow {
		low = m.low
	}
	if m.hasHigh {
		high = m.high
	}
	return low, high
}

func bounds(l, h *float64) (low, high float64) {
	low, high = math.Inf(-1), math.Inf(1)
	if l != nil {
		low = *l
	}
	if h != nil {
		high = *h
	}
	return low, high
}

// Mend says what kind of work makes good a shortfall.
type Mend string

// From least to most effort; see Mend.Effort. Rebuild means a bigger or other
// enclosure: such a shortfall makes the enclosure unsuitable.
const (
	Measure  Mend = "measure"  // find out; nothing in the enclosure changes
	Adjust   Mend = "adjust"   // settings, distances, places of what is there
	Furnish  Mend = "furnish"  // substrate, retreats, branches, dishes
	Equip    Mend = "equip"    // a device: lamp, thermostat, guard, lock
	Alter    Mend = "alter"    // work on the enclosure itself: vents, lid, wiring, stand
	Separate Mend = "separate" // another home for some of the animals
	Rebuild  Mend = "rebuild"
)

var efforts = []Mend{Measure, Adjust, Furnish, Equip, Alter, Separate, Rebuild}

// Effort is 1 (Measure) to 7 (Rebuild); 0 for an unknown word. The order is our own.
func (m Mend) Effort() int { return slices.Index(efforts, m) + 1 }

// Criterion is one thing an enclosure is compared in. Build it with New, which
// fills everything but the provenance; every field may then be changed.
type Criterion struct {
	Code  string
	Name  string
	Unit  string // "" for a yes/no criterion: at least 1 on a scale of 0 (no) to 1 (yes)
	Sides care.Sides
	// Least and Most are the target in the least and the most demanding scenario
	// (an adult of unmeasured length gives two); equal when the target is certain.
	// The worst case is the lower score of the two, the best case the higher. A
	// target without a bound that binds is not known: reported, not scored.
	Least, Most Target
	// HangsOn names what would settle which scenario holds, such as "the length of the
	// animal"; "the animal" when left out.
	HangsOn string
	Limit   float64 // distance outside the target, in Unit, at which the score is 0; above 0
	// Reading is the distance outside, in Unit, that still counts as inside: half the
	// last digit with which answers are written in either unit system, so that a
	// figure copied out of an answer meets the target it was copied from.
	Reading float64
	Weight  float64 // in the weighted mean; 0 or more
	// Essential: without a target nobody can call the enclosure suitable.
	Essential bool
	Mend      Mend // of a shortfall or excess

	// The rest goes into the finding untouched.
	Grade     care.Grade
	Agreement care.Agreement
	Sources   []string
	Note      string

	kind *kind // of Code, or nil: see known
}

// known is what the project knows of the criterion, or nil.
func (c *Criterion) known() *kind {
	if c.kind != nil && c.kind.code == c.Code {
		return c.kind
	}
	return kindOf(c.Code)
}

// span gives the bounds that bind, ±Inf where none does.
func (c *Criterion) span(t Target) (low, high float64) {
	low, high = bounds(t.Low, t.High)
	switch c.Sides {
	case care.AtLeast:
		high = math.Inf(1)
	case care.AtMost:
		low = math.Inf(-1)
	case care.Context:
		low, high = math.Inf(-1), math.Inf(1)
	}
	return low, high
}

func (c *Criterion) binds(t Target) bool {
	low, high := c.span(t)
	return !math.IsInf(low, -1) || !math.IsInf(high, 1)
}

// spans are the bounds of the targets that bind: of none, one or two scenarios.
type spans struct {
	n         int
	low, high [2]float64
}

func (c *Criterion) spans() (out spans) {
	for _, t := range [2]Target{c.Least, c.Most} {
		low, high := c.span(t)
		if !math.IsInf(low, -1) || !math.IsInf(high, 1) {
			out.low[out.n], out.high[out.n] = low, high
			out.n++
		}
	}
	return out
}

// TargetKnown reports whether there is a target to compare with.
func (c *Criterion) TargetKnown() bool { return c.binds(c.Least) || c.binds(c.Most) }

// mildest and strictest are the targets of the least and the most demanding
// scenario that binds.
func (c *Criterion) mildest() Target {
	if c.binds(c.Least) {
		return c.Least
	}
	return c.Most
}

func (c *Criterion) strictest() Target {
	if c.binds(c.Most) {
		return c.Most
	}
	return c.Least
}

// slack is the distance outside that counts as inside, never less than what
// floating point adds when units are converted to and fro.
func (c *Criterion) slack(bound float64) float64 {
	return max(c.Reading, 1e-9*max(1, math.Abs(bound)))
}

// at is the score of one value: 1 inside, falling linearly to 0 at Limit outside.
func (c *Criterion) at(x, low, high float64) float64 {
	if x >= low && x <= high {
		return 1
	}
	outside, bound := low-x, low
	if x > high {
		outside, bound = x-high, high
	}
	slack := c.slack(bound)
	switch {
	case outside <= slack:
		return 1
	case outside >= c.Limit:
		return 0
	}
	return 1 - (outside-slack)/(c.Limit-slack)
}

// Score is the score interval of a measurement over both scenarios; [0, 1] for an unknown one.
// It is meaningless when the target is not known.
func (c *Criterion) Score(m Measurement) Interval {
	k := c.spans()
	return c.over(&k, m)
}

// over is Score with the spans worked out: this is the innermost loop of a match.
func (c *Criterion) over(k *spans, m Measurement) Interval {
	if k.n > 0 && m.Unknown() { // it may lie beyond any bound, or within
		return Interval{0, 1}
	}
	out := Interval{1, 0}
	a, b := m.ends()
	for i := range k.n {
		low, high := k.low[i], k.high[i]
		p := c.at(a, low, high)
		q := p
		if a != b {
			q = c.at(b, low, high)
		}
		best := max(p, q)
		if a <= high && b >= low { // the score rises to one peak, so ends and overlap are enough
			best = 1
		}
		out.Worst = min(out.Worst, p, q)
		out.Best = max(out.Best, best)
	}
	return out
}

// margin is the signed distance to the nearest bound that binds, positive inside;
// of two scenarios the less favourable.
func (c *Criterion) margin(x float64) float64 {
	out := math.Inf(1)
	k := c.spans()
	for i := range k.n {
		out = min(out, x-k.low[i], k.high[i]-x)
	}
	return out
}

func (c *Criterion) check() error {
	switch {
	case c.Code == "":
		return errors.New("a criterion has no code")
	case math.IsNaN(c.Weight) || math.IsInf(c.Weight, 0) || c.Weight < 0:
		return fmt.Errorf("criterion %s: weight %g must be 0 or more", c.Code, c.Weight)
	case c.Mend.Effort() <= Measure.Effort():
		return fmt.Errorf("criterion %s: mend %q is not a kind of work", c.Code, c.Mend)
	}
	for _, t := range [2]Target{c.Least, c.Most} {
		for _, p := range [2]*float64{t.Low, t.High} {
			if p != nil && (math.IsNaN(*p) || math.IsInf(*p, 0)) {
				return fmt.Errorf("criterion %s: target must be finite", c.Code)
			}
		}
		if t.Low != nil && t.High != nil && *t.Low > *t.High {
			return fmt.Errorf("criterion %s: target runs from %g down to %g", c.Code, *t.Low, *t.High)
		}
	}
	if c.TargetKnown() && !(c.Limit > 0) {
		return fmt.Errorf("criterion %s: limit %g must be above 0", c.Code, c.Limit)
	}
	return nil
}

// Case is an enclosure as it stands, the animal in it, and what the animal needs.
type Case struct {
	Setup    Setup
	Animal   Animal
	Criteria []Criterion
	// Measured replaces what is read from the setup, by criterion code; it is also
	// the way to score a criterion that New does not know.
	Measured map[string]Measurement

	supposed []supposition // over Measured; the last of a code counts
	// scratch, if not nil, is where criteria that are to be changed are copied to: the
	// case goes no further than its judgement.
	scratch *[]Criterion
}

// supposition is what a criterion is supposed to measure.
type supposition struct {
	code string
	Measurement
}

// Standing says how a measurement stands to its target.
type Standing string

// Undecided: measured, but met in one case and not in the other, because the
// measurement or the target is a range.
const (
	Met            Standing = "met"
	Short          Standing = "short"
	Over           Standing = "over"
	NotMeasured    Standing = "not measured"
	Undecided      Standing = "undecided"
	TargetNotKnown Standing = "target not known"
)

// Figure is a number with its unit. Differences of temperature are in K, which no
// unit system converts, so that an imperial answer never adds 32 to one.
type Figure struct {
	Number float64 `json:"value"`
	Unit   string  `json:"unit"`
}

// Value lets quantity.Marshalers write the figure in either unit system.
func (f Figure) Value() quantity.Value { return quantity.Value{Number: f.Number, Unit: f.Unit} }

// MarshalJSONTo writes the figure in metric.
func (f Figure) MarshalJSONTo(e *jsontext.Encoder) error { return quantity.Write(e, f.Value()) }

func figure(x float64, unit string) *Figure { return &Figure{tidy(x), unit} }

// tidy takes off what floating point adds: a measured 1.2 m is 120 cm, not 120.00000000000001.
func tidy(x float64) float64 { return math.Round(x*1e6) / 1e6 }

// Finding is the comparison in one criterion.
type Finding struct {
	Criterion string   `json:"criterion"`
	Name      string   `json:"name"`
	Standing  Standing `json:"standing"`
	// Value is the figure when measured, Between what is known when only bounded,
	// Answer (yes, no, partly) for a yes/no criterion.
	Value   *Figure        `json:"value,omitzero"`
	Between *quantity.Band `json:"between,omitzero"`
	Answer  string         `json:"answer,omitzero"`
	// Target is the least demanding one; Strictest is given when it differs.
	Target    *quantity.Band `json:"target,omitzero"`
	Strictest *quantity.Band `json:"strictest_target,omitzero"`
	// Margin is signed, to the nearest bound that binds, positive inside, of an exact
	// measurement against the strictest target. Temperatures: in K.
	Margin    *Figure        `json:"margin,omitzero"`
	Score     *Interval      `json:"score,omitzero"` // left out when the target is not known
	Weight    float64        `json:"weight"`
	Mend      Mend           `json:"mend"`
	Grade     care.Grade     `json:"grade,omitzero"`
	Agreement care.Agreement `json:"agreement,omitzero"`
	Sources   []string       `json:"sources,omitzero"`
	Note      string         `json:"note,omitzero"`
}

// Verdict is the answer in a word.
type Verdict string

// The verdicts. See Assess for how one is reached.
const (
	Suitable     Verdict = "suitable"
	AfterChanges Verdict = "suitable after changes"
	Unsuitable   Verdict = "unsuitable"
	CannotTell   Verdict = "cannot tell"
)

// rank orders the three verdicts a single case can have.
func (v Verdict) rank() int { return slices.Index(ranks[:], v) }

// Open is something not known that widens the answer.
type Open struct {
	For  []string `json:"for"`  // criterion or hazard codes
	What string   `json:"what"` // what to measure or look up
	// Decides: the verdict can change with it.
	Decides bool `json:"decides_verdict"`
}

// Result is the assessment of one case.
type Result struct {
	Verdict Verdict `json:"verdict"`
	// WorstVerdict and BestVerdict are the verdicts of the two extreme cases.
	WorstVerdict Verdict `json:"worst_verdict"`
	BestVerdict  Verdict `json:"best_verdict"`
	// Score is the weighted mean, for ranking; Weakest is the lowest criterion, which
	// the verdict follows. Both are 0 under a definite hazard, and 0 in the worst
	// case under a possible one; BeforeHazards is the mean without that veto.
	Score           Interval  `json:"score"`
	Weakest         Interval  `json:"weakest"`
	BeforeHazards   Interval  `json:"score_before_hazards"`
	WeakestCriteria []string  `json:"weakest_criteria"` // those at the worst case of the lowest
	Findings        []Finding `json:"findings"`
	Hazards         []Hazard  `json:"hazards"`
	Open            []Open    `json:"not_known"`
	NotJudged       []string  `json:"not_judged"` // criteria and hazards without a figure to judge by

	weakestBefore Interval
	governs       governing
}

// Assess compares a case with its criteria and hazards.
//
// In each of the two extreme cases the enclosure is suitable when every criterion
// is met and no hazard is there; unsuitable when a shortfall can be mended only by
// a bigger or other enclosure; else suitable after changes (company can be
// separated). When both cases agree, or the best is unsuitable, that is the
// verdict; else it cannot be told, and Open says what to measure. With no criterion
// scored it cannot be told either.
//
// It fails on a criterion that is malformed or given twice, on weights that are
// all 0, and on a measurement that is not a number.
func Assess(c Case) (Result, error) {
	c.Setup.settle()
	if err := c.check(); err != nil {
		return Result{}, err
	}
	return trialOf(&c, nil).result()
}

// result is Assess of the trial's case.
func (whole *trial) result() (Result, error) {
	c := whole.of
	out := Result{Findings: make([]Finding, 0, len(c.Criteria)), Hazards: hazards(&c.Setup, &c.Animal, true), WeakestCriteria: []string{}, Open: []Open{}, NotJudged: []string{}}
	t, figures := newTally(), make([]shown, len(c.Criteria))
	for i := range c.Criteria {
		k, p := &c.Criteria[i], &whole.parts[i]
		out.Findings = append(out.Findings, p.finding(k, &figures[i]))
		if p.spans.n == 0 {
			out.NotJudged = append(out.NotJudged, k.Code)
			t.unjudged(k)
			continue
		}
		t.add(k.Weight, p.score, p.can)
		out.governs.add(i, k.Weight, p.score, p.can)
	}
	for i := range out.Hazards {
		h := &out.Hazards[i]
		t.hazard(h.Presence)
		if h.Presence == NotJudged {
			out.NotJudged = append(out.NotJudged, h.Code)
		}
	}
	j, err := t.judgement()
	if err != nil {
		return Result{}, err
	}
	for i := range out.Findings {
		f := &out.Findings[i]
		if f.Score != nil && f.Score.Worst == t.weakest.Worst {
			out.WeakestCriteria = append(out.WeakestCriteria, f.Criterion)
		}
	}
	out.Verdict, out.WorstVerdict, out.BestVerdict = j.Verdict, j.WorstVerdict, j.BestVerdict
	out.Score, out.Weakest, out.BeforeHazards, out.weakestBefore = j.Score, j.Weakest, j.BeforeHazards, j.weakestBefore
	out.Open = whole.open(&j, out.Hazards, false)
	return out, nil
}

// mendable says, for the worst and the best case, whether a shortfall can be made
// good without a bigger or other enclosure.
type mendable struct{ worst, best bool }

// shown holds the figures of a finding, so that they need not be allocated one by one.
type shown struct {
	value, margin              Figure
	between, target, strictest quantity.Band
	ends                       [3][2]float64 // of the bands
	score                      Interval
}

// finding words the comparison. Its figures lie in those given.
func (p *part) finding(k *Criterion, in *shown) Finding {
	f := Finding{Criterion: k.Code, Name: k.Name, Weight: k.Weight, Mend: p.mend, Grade: k.Grade,
		Agreement: k.Agreement, Sources: k.Sources, Note: k.Note, Standing: p.standing(k)}
	x, exact := p.measured.Exact()
	switch {
	case p.measured.Unknown():
	case k.Unit == "" && exact:
		switch {
		case x >= 1:
			f.Answer = "yes"
		case x <= 0:
			f.Answer = "no"
		default:
			f.Answer = "partly"
		}
	case exact:
		in.value = Figure{tidy(x), k.Unit}
		f.Value = &in.value
	default:
		f.Between = p.measured.band(k.Unit, &in.between, &in.ends[0])
	}
	if p.spans.n == 0 {
		return f
	}
	if k.Unit != "" {
		f.Target = k.bandIn(k.mildest(), &in.target, &in.ends[1])
		if p.spans.uncertain() {
			f.Strictest = k.bandIn(k.strictest(), &in.strictest, &in.ends[2])
		}
		if exact {
			unit := k.Unit
			if unit == "°C" {
				unit = "K"
			}
			in.margin = Figure{tidy(k.margin(x)), unit}
			f.Margin = &in.margin
		}
	}
	in.score = p.score
	f.Score = &in.score
	return f
}

// mendable tells whether a shortfall in a criterion can be made good, and by what
// work where that is other than the criterion's own.
func (c *Case) mendable(k *Criterion, over *spans) (can mendable, by Mend) {
	if k.Mend != Rebuild {
		return mendable{true, true}, ""
	}
	kd := k.known()
	if kd == nil || kd.could == nil {
		return mendable{}, ""
	}
	// What the enclosure could be made to measure as it is, by moving what is in it.
	could := k.over(over, kd.could(&c.Setup))
	return mendable{could.Worst == 1, could.Best == 1}, kd.couldBy
}

// band is the target as shown: only the bounds that bind.
func (k *Criterion) band(t Target) *quantity.Band {
	return k.bandIn(t, new(quantity.Band), new([2]float64))
}

// bandIn is band in the place given, with its ends.
func (k *Criterion) bandIn(t Target, b *quantity.Band, ends *[2]float64) *quantity.Band {
	b.Unit = k.Unit
	ends[0], ends[1] = k.span(t)
	if !math.IsInf(ends[0], 0) {
		b.Low = &ends[0]
	}
	if !math.IsInf(ends[1], 0) {
		b.High = &ends[1]
	}
	return b
}

func (p *part) standing(k *Criterion) Standing {
	if p.spans.n == 0 {
		return TargetNotKnown
	}
	low, _ := k.span(k.strictest())
	_, b := p.measured.ends()
	switch {
	case p.measured.Unknown():
		return NotMeasured
	case p.score.Worst == 1:
		return Met
	case p.score.Best == 1:
		return Undecided
	case b < low:
		return Short
	}
	return Over
}

// open lists what is not known, or of it only what decides. What does: anything, while
// the best case is suitable; else only what could turn out to need another enclosure.
func (t *trial) open(j *Judgement, hs []Hazard, deciding bool) []Open {
	out := []Open{}
	if deciding && j.Verdict != CannotTell {
		return out
	}
	add := func(alone []string, what string, decides bool) {
		decides = decides && j.Verdict == CannotTell
		if i := slices.IndexFunc(out, func(o Open) bool { return o.What == what }); i >= 0 {
			out[i].For = append(out[i].For, alone...)
			out[i].Decides = out[i].Decides || decides
			return
		}
		out = append(out, Open{alone, what, decides})
	}
	for i := range t.parts {
		p, k := &t.parts[i], &t.of.Criteria[i]
		standing := p.standing(k)
		if standing == TargetNotKnown && k.Essential {
			add(k.alone(), "Find a published figure for the "+k.Name+" of this species", true)
		}
		openMend := standing == Short && p.can.best != p.can.worst
		if standing != NotMeasured && standing != Undecided && !openMend {
			continue
		}
		decides := j.BestVerdict == Suitable || p.mend == Rebuild
		if _, exact := p.measured.Exact(); !exact || openMend {
			add(k.alone(), k.ask(), decides)
		}
		if p.spans.uncertain() {
			add(k.alone(), k.askAnimal(), decides)
		}
	}
	for i := range hs {
		if h := &hs[i]; h.Presence == Possible {
			add(h.alone, h.ask, j.BestVerdict == Suitable)
		}
	}
	if deciding {
		out = slices.DeleteFunc(out, func(o Open) bool { return !o.Decides })
	}
	return out
}

func (k *Criterion) askAnimal() string {
	if k.HangsOn == "" {
		return "Measure the animal"
	}
	return "Measure " + k.HangsOn
}

// uncertain reports whether the two scenarios differ in a bound that binds.
func (s *spans) uncertain() bool {
	return s.n == 2 && (s.low[0] != s.low[1] || s.high[0] != s.high[1])
}
