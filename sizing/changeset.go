package sizing

import (
	"cmp"
	"fmt"
	"slices"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing/score"
)

// ChangeQuestion asks for the smallest set of changes that makes an enclosure at
// hand good enough for the animals.
type ChangeQuestion struct {
	AssessmentQuestion
	Aim ChangeAim `json:"aim,omitzero"`
	// Room is the air of the room, with which the running watts of more or less heat
	// can be estimated.
	Room *quantity.Temperature `json:"room,omitzero"`
}

// ChangeAim is what the changes are to reach, in the worst case that what is known
// allows.
type ChangeAim struct {
	// Score is the weighted mean to reach, above 0 to 1; the verdict "suitable" when
	// left out.
	Score *float64 `json:"score,omitzero"`
	// Hardest is the most laborious kind of work accepted; separate (anything but
	// another enclosure) when left out.
	Hardest score.Mend `json:"hardest,omitzero"`
}

// ChangePlan is a set of changes in the order to make them.
type ChangePlan struct {
	Species SpeciesRef   `json:"species"`
	Animals []AnimalSize `json:"animals"`
	Aim     string       `json:"aim"`
	// Reached: "yes"; "if found as wanted" where it hangs on what is measured; "no".
	Reached string        `json:"reached"`
	Before  score.Outcome `json:"before"`
	After   score.Outcome `json:"after"`
	Steps   []PlanStep    `json:"steps"`
	// Effort counts the steps by kind of work.
	Effort []EffortCount `json:"effort"`
	// Watts is what the steps add to or take from the running power, where every step
	// that touches it could be estimated; WattsNotKnown names the steps that could not.
	Watts         *quantity.Power `json:"running_watts,omitzero"`
	WattsNotKnown []string        `json:"running_watts_not_known,omitzero"`
	// Smallest: every smaller set was tried, and none reaches the aim without adding a
	// hazard. Otherwise the bound on sets tried was met first.
	Smallest bool `json:"smallest"`
	Tried    int  `json:"sets_tried"`
	// Left is what stands between the enclosure and the aim once all steps are made.
	Left      []string   `json:"left,omitzero"`
	Warnings  []Warning  `json:"warnings,omitzero"`
	Cautions  []string   `json:"cautions"`
	Sources   []Citation `json:"sources"`
	Catalogue string     `json:"catalogue_revision"`
	Engine    string     `json:"engine_version"`
}

// PlanStep is one change, re-scored after the one before.
type PlanStep struct {
	Code     string         `json:"code"`
	For      []string       `json:"for"`
	Kind     score.Mend     `json:"kind"`
	Effort   int            `json:"effort"`
	What     string         `json:"what"`
	Supposes bool           `json:"supposes_found_as_wanted,omitzero"`
	Hazard   score.Presence `json:"hazard,omitzero"`
	From     *score.Figure  `json:"from,omitzero"`
	To       *quantity.Band `json:"to,omitzero"`
	Caution  string         `json:"caution,omitzero"`
	// After is the case once this and all steps before it are made; Gain what this
	// step adds to the mean before hazards.
	After score.Outcome  `json:"after"`
	Gain  score.Interval `json:"gain_before_hazards"`
	// Watts is what it adds to the running power; left out where not known.
	Watts      *quantity.Power `json:"running_watts,omitzero"`
	WattsBasis string          `json:"running_watts_basis"`
}

// EffortCount is how many steps are of one kind of work.
type EffortCount struct {
	Kind  score.Mend `json:"kind"`
	Steps int        `json:"steps"`
}

// The bounds of the search.
const (
	maxPlanSteps = 60
	maxPlanSets  = 4000
)

// Changes finds the smallest set of changes that reaches the aim; of equal sets the
// one with the least work, then the fewest running watts. Each step is scored after
// the one before it, and none adds a hazard or makes a verdict worse. Sets are built
// from the changes that help at first (see score.Changes) and those that come up on
// the way; all smaller ones are tried, up to a bound. The error is an Invalid that
// lists every bad field.
func Changes(c *care.Catalogue, q ChangeQuestion) (*ChangePlan, error) {
	var p problems
	s := p.species(c, q.Species)
	p.jurisdiction(c, q.Jurisdiction)
	g := p.animals(c, s, q.Animals)
	p.setup(&q.Setup)
	hardest := q.Aim.Hardest
	if hardest == "" {
		hardest = score.Separate
	}
	oneOf(&p, "/aim/hardest", hardest, []score.Mend{score.Measure, score.Adjust, score.Furnish, score.Equip, score.Alter, score.Separate})
	if t := q.Aim.Score; t != nil && !(*t > 0 && *t <= 1) {
		p.add("/aim/score", "must be above 0 and no more than 1", "give the weighted mean to reach, or leave it out for the verdict suitable")
	}
	if t := q.Room; t != nil && (*t < leastTemp || *t > 60) {
		p.add("/room", fmt.Sprintf("is %.0f °C", float64(*t)), "give the air of the room")
	}
	if len(p.bad) > 0 {
		return nil, p.bad
	}
	p.plausible(c, g, &q.Setup)
	n, err := neededBy(c, g, q.Jurisdiction)
	if err != nil {
		return nil, err
	}
	search := planSearch{aim: q.Aim.Score, hardest: hardest.Effort(), room: q.Room}
	start := n.Case(q.Setup)
	before, err := score.Assess(start)
	if err != nil {
		return nil, fmt.Errorf("score: %w", err)
	}
	steps, err := search.plan(start, before)
	if err != nil {
		return nil, err
	}
	out := &ChangePlan{Species: Ref(s), Animals: g.sizes, Aim: "suitable", Before: outcomeOf(before), Steps: []PlanStep{}, Effort: []EffortCount{},
		Smallest: search.smallest, Tried: search.tried, Warnings: p.warnings, Cautions: cautions(s, q.Jurisdiction), Catalogue: c.Revision, Engine: EngineVersion}
	if q.Aim.Score != nil {
		out.Aim = fmt.Sprintf("a score of %g", *q.Aim.Score)
	}
	if err := out.follow(&search, start, before, steps); err != nil {
		return nil, err
	}
	var keys []string
	for _, f := range before.Findings {
		keys = append(keys, f.Sources...)
	}
	out.Sources = cite(c, keys)
	return out, nil
}

func outcomeOf(r score.Result) score.Outcome {
	return score.Outcome{Verdict: r.Verdict, Score: r.Score, Weakest: r.Weakest}
}

// follow makes the steps one after another and writes down where each leads.
func (out *ChangePlan) follow(search *planSearch, k score.Case, now score.Result, steps []score.Change) error {
	supposes := false
	watts := quantity.Power(0)
	for _, ch := range steps {
		next := ch.Suppose(k)
		after, err := score.Assess(next)
		if err != nil {
			return fmt.Errorf("score after %s: %w", ch.Code, err)
		}
		step := PlanStep{Code: ch.Code, For: ch.For, Kind: ch.Kind, Effort: ch.Effort, What: ch.What, Supposes: ch.Supposes, Hazard: ch.Hazard,
			From: ch.From, To: ch.To, Caution: ch.Caution, After: outcomeOf(after),
			Gain: score.Interval{Worst: after.BeforeHazards.Worst - now.BeforeHazards.Worst, Best: after.BeforeHazards.Best - now.BeforeHazards.Best}}
		step.Watts, step.WattsBasis = wattsOf(ch, &k.Setup, &next.Setup, search.room)
		if step.Watts == nil {
			out.WattsNotKnown = append(out.WattsNotKnown, ch.What)
		} else {
			watts += *step.Watts
		}
		supposes = supposes || ch.Supposes
		if i := slices.IndexFunc(out.Effort, func(e EffortCount) bool { return e.Kind == ch.Kind }); i >= 0 {
			out.Effort[i].Steps++
		} else {
			out.Effort = append(out.Effort, EffortCount{ch.Kind, 1})
		}
		out.Steps = append(out.Steps, step)
		k, now = next, after
	}
	slices.SortFunc(out.Effort, func(a, b EffortCount) int { return cmp.Compare(a.Kind.Effort(), b.Kind.Effort()) })
	if out.WattsNotKnown == nil {
		out.Watts = &watts
	}
	out.After = outcomeOf(now)
	switch {
	case !search.reached(now):
		out.Reached, out.Smallest = "no", false
		out.Left = left(now)
	case supposes:
		out.Reached = "if found as wanted"
	default:
		out.Reached = "yes"
	}
	return nil
}

// left says what still stands in the way.
func left(r score.Result) (out []string) {
	for i := range r.Findings {
		f := &r.Findings[i]
		switch {
		case f.Score == nil && f.Standing == score.TargetNotKnown && slices.Contains(r.NotJudged, f.Criterion) && f.Criterion == "floor_area":
			out = append(out, "no published floor size is held for this species")
		case f.Score != nil && f.Score.Worst < 1:
			text := shortfallText(f)
			if f.Mend == score.Rebuild {
				text += ": only a larger enclosure would do"
			}
			out = append(out, text)
		}
	}
	for _, h := range r.Hazards {
		if h.Presence == score.Definite || h.Presence == score.Possible {
			out = append(out, "hazard, "+string(h.Presence)+": "+h.Name)
		}
	}
	return out
}

// planSearch looks for the smallest set of changes.
type planSearch struct {
	aim      *float64
	hardest  int
	room     *quantity.Temperature
	tried    int
	smallest bool
}

func (p *planSearch) reached(r score.Result) bool { return p.meets(r.WorstVerdict, r.Score) }

func (p *planSearch) meets(worst score.Verdict, s score.Interval) bool {
	if p.aim == nil {
		return worst == score.Suitable
	}
	return s.Worst >= *p.aim-1e-9
}

// plan takes the most helpful change again and again until the aim is reached, drops
// what turned out superfluous, and then tries every smaller set.
func (p *planSearch) plan(start score.Case, before score.Result) ([]score.Change, error) {
	if p.reached(before) {
		p.smallest = true
		return nil, nil
	}
	first, err := p.open(start)
	if err != nil {
		return nil, err
	}
	var greedy []score.Change
	k, options, done := start, first, false
	for !done && len(options) > 0 && len(greedy) < maxPlanSteps {
		next := nextOf(options)
		greedy = append(greedy, next)
		k = next.Suppose(k)
		r, err := score.Assess(k)
		if err != nil {
			return nil, fmt.Errorf("score after %s: %w", next.Code, err)
		}
		if done = p.reached(r); done {
			break
		}
		if options, err = p.open(k); err != nil {
			return nil, err
		}
	}
	if !done { // the best that can be done; what is left is said
		r, err := score.Judge(k)
		if err != nil {
			return nil, fmt.Errorf("score: %w", err)
		}
		if r.BestVerdict == score.Unsuitable { // then measuring settles nothing
			greedy = slices.DeleteFunc(greedy, func(ch score.Change) bool { return ch.Supposes })
		}
		return greedy, nil
	}
	for i := len(greedy) - 1; i >= 0; i-- {
		without := slices.Delete(slices.Clone(greedy), i, i+1)
		ordered, ok, err := p.order(start, without)
		if err != nil {
			return nil, err
		}
		if ok {
			greedy = ordered
		}
	}
	return p.smaller(start, first, greedy)
}

// nextOf is the most helpful change that takes no heat source out of the list, by
// their places in which the others are told; those come last, from the end.
func nextOf(options []score.Change) score.Change {
	if i := slices.IndexFunc(options, func(ch score.Change) bool { return !ch.TakesOut() }); i >= 0 {
		return options[i]
	}
	return score.InOrder(options)[0]
}

// open lists the changes that may be made now, the most helpful first: those that
// take a hazard away, then by gain.
func (p *planSearch) open(k score.Case) ([]score.Change, error) {
	out, err := score.Changes(k)
	if err != nil {
		return nil, fmt.Errorf("rank changes: %w", err)
	}
	return slices.DeleteFunc(out, func(ch score.Change) bool { return ch.Effort > p.hardest }), nil
}

// order puts a set into an order in which no step adds a hazard or worsens a verdict,
// and reports whether it reaches the aim.
func (p *planSearch) order(start score.Case, set []score.Change) ([]score.Change, bool, error) {
	p.tried++
	j, err := score.Judge(score.ApplyAll(start, set, true))
	if err != nil {
		return nil, false, fmt.Errorf("score a set of changes: %w", err)
	}
	if !p.meets(j.WorstVerdict, j.Score) {
		return nil, false, nil
	}
	now, err := score.Assess(start)
	if err != nil {
		return nil, false, fmt.Errorf("score: %w", err)
	}
	var out []score.Change
	rest, k := score.InOrder(set), start
	for len(rest) > 0 {
		taken := false
		for i, ch := range rest {
			next := ch.Suppose(k)
			after, err := score.Assess(next)
			if err != nil {
				return nil, false, fmt.Errorf("score after %s: %w", ch.Code, err)
			}
			if score.AddsHazard(now.Hazards, after.Hazards) {
				continue
			}
			out, k, now, rest, taken = append(out, ch), next, after, slices.Delete(rest, i, i+1), true
			break
		}
		if !taken {
			return nil, false, nil
		}
	}
	return out, p.reached(now), nil
}

// smaller tries every set that is smaller than the one found, then every one of its
// size that is less work. What no set can do without is in each of them.
func (p *planSearch) smaller(start score.Case, options, found []score.Change) ([]score.Change, error) {
	// options are all that help at first; without one of the must-haves not even all of
	// the others together reach the aim.
	all := slices.Clone(options)
	for _, ch := range found {
		if !slices.ContainsFunc(all, func(o score.Change) bool { return o.Code == ch.Code && o.Supposes == ch.Supposes }) {
			all = append(all, ch)
		}
	}
	var must, may []score.Change
	for i, ch := range all {
		p.tried++
		j, err := score.Judge(score.ApplyAll(start, slices.Delete(slices.Clone(all), i, i+1), true))
		if err != nil {
			return nil, fmt.Errorf("score a set of changes: %w", err)
		}
		if p.meets(j.WorstVerdict, j.Score) {
			may = append(may, ch)
		} else {
			must = append(must, ch)
		}
	}
	for size := len(must); size <= len(found); size++ {
		best, bounded := found, false
		err := combinations(len(may), size-len(must), func(pick []int) (bool, error) {
			if p.tried >= maxPlanSets {
				bounded = true
				return false, nil
			}
			set := slices.Clone(must)
			for _, i := range pick {
				set = append(set, may[i])
			}
			if size == len(found) && !p.lighter(start, set, best) {
				return true, nil
			}
			ordered, ok, err := p.order(start, set)
			if ok && (len(ordered) < len(best) || p.lighter(start, ordered, best)) {
				best = ordered
			}
			return true, err
		})
		if err != nil {
			return nil, err
		}
		if bounded {
			return best, nil
		}
		if len(best) < len(found) || size == len(found) {
			p.smallest = true
			return best, nil
		}
	}
	p.smallest = true
	return found, nil
}

// lighter reports whether set a is less work than b, or as much and fewer running watts.
func (p *planSearch) lighter(start score.Case, a, b []score.Change) bool {
	weigh := func(set []score.Change) (effort int, watts float64) {
		k := start
		for _, ch := range score.InOrder(set) {
			effort += ch.Effort
			next := ch.Suppose(k)
			if w, _ := wattsOf(ch, &k.Setup, &next.Setup, p.room); w != nil {
				watts += float64(*w)
			}
			k = next
		}
		return effort, watts
	}
	effortA, wattsA := weigh(a)
	effortB, wattsB := weigh(b)
	return cmp.Or(cmp.Compare(effortA, effortB), cmp.Compare(wattsA, wattsB)) < 0
}

// combinations calls try with every choice of k out of n, until it says stop.
func combinations(n, k int, try func([]int) (bool, error)) error {
	if k < 0 || k > n {
		return nil
	}
	pick := make([]int, k)
	for i := range pick {
		pick[i] = i
	}
	for {
		if more, err := try(pick); err != nil || !more {
			return err
		}
		i := k - 1
		for i >= 0 && pick[i] == n-k+i {
			i--
		}
		if i < 0 {
			return nil
		}
		pick[i]++
		for j := i + 1; j < k; j++ {
			pick[j] = pick[j-1] + 1
		}
	}
}

// wattsOf estimates what a change adds to the running power; nil where not known.
func wattsOf(ch score.Change, before, after *score.Setup, room *quantity.Temperature) (*quantity.Power, string) {
	none := func(why string) (*quantity.Power, string) { return new(quantity.Power(0)), why }
	was, wasKnown := listedPower(before)
	is, isKnown := listedPower(after)
	if len(before.HeatSources) != len(after.HeatSources) || was != is {
		if !wasKnown || !isKnown {
			return nil, "the power of a heat source is not stated"
		}
		return new(is - was), "power of the heat sources listed"
	}
	switch ch.Kind {
	case score.Measure, score.Furnish, score.Alter, score.Separate:
		return none("draws no power")
	}
	switch care.Code(ch.Code) {
	case care.HotSpot, care.WarmAir, care.CoolAir, care.NightAir, care.WaterTemp:
		return heatWatts(ch, was, wasKnown, room)
	case care.UVMax, care.UVMean:
		return nil, "hangs on the lamp chosen; ask for the climate with the lamp"
	case care.HumidityDay, care.HumidityNight, care.HumidRetreat:
		return nil, "by hand none; a mister or fogger draws what its label says"
	}
	return none("draws no power")
}

// heatWatts: in steady state what an enclosure loses rises with how much warmer it is
// than the room, so the power wanted goes by the ratio of the two differences. It
// holds for one reading as long as the others move with it.
func heatWatts(ch score.Change, power quantity.Power, known bool, room *quantity.Temperature) (*quantity.Power, string) {
	if !known || power == 0 || room == nil || ch.From == nil || ch.To == nil {
		return nil, "needs the power of every heat source, the reading and the room's temperature; ask for the climate for a real answer"
	}
	from, to := ch.From.Number, ch.From.Number
	if ch.To.Low != nil {
		to = max(to, *ch.To.Low)
	}
	if ch.To.High != nil {
		to = min(to, *ch.To.High)
	}
	excess := from - float64(*room)
	if excess < 1 {
		return nil, "the reading is hardly above the room, so the power can't be told from it"
	}
	return new(power * quantity.Power((to-from)/excess)), "in proportion to how much warmer than the room it is; an estimate of ours"
}

// listedPower adds up the heat sources; known is false where one has no power stated
// or the sources are not stated.
func listedPower(s *score.Setup) (sum quantity.Power, known bool) {
	known = s.HeatSources != nil
	for _, h := range s.HeatSources {
		if h.Power == nil {
			known = false
			continue
		}
		sum += *h.Power
	}
	return sum, known
}
