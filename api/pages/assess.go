package pages

import (
	"html/template"
	"math"
	"slices"
	"strconv"
	"strings"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing"
	"denwright/sizing/score"
)

// assessPages are the pages about whether an enclosure is good enough.
func (s *Site) assessPages(m mount) {
	m.get("/assess", assessPage)
	m.get("/handover", handoverPage)
	m.get("/outgrow", outgrowPage)
	m.get("/changes", changesPage)
	m.get("/compare", comparePage)

}

// mostChanges is how many changes are shown one by one, so that the page stays small.
const mostChanges = 6

type assessData struct {
	Form *form
	*sizing.Assessment
	Open  []openField // what is not known, what decides first
	Band  template.HTML
	Rows  []findingRow
	First []score.Change // those that help most
	More  int            // changes that are not shown
	There []string       // what is wanted, has no figure and is there
	// Danger are the hazards that are there or may be, the definite first.
	Danger []score.Hazard
	// Worst and Best say what the ends of the interval suppose.
	Worst, Best []string
	Weakest     []string
	// Governs is the finding that decides most, empty where every criterion is met.
	Governs string
	Groups  []groupView
	// Saving keeps the question and its answer; nil where nothing can be kept.
	Saving *saving
	// Example is a question to look at, in an empty form.
	Example template.URL
}

// findingRow is a finding as it is shown.
type findingRow struct {
	score.Finding
	Here, Wanted, Margin string
	Stands               string
	Position             template.HTML
	Claims               string // the page with every claim behind the target
}

// assessPage asks what is there and answers whether it is good enough.
func assessPage(r *request) error {
	f, q, ok := r.assessmentOf(r.QueryParams())
	d := assessData{Form: f}
	if ok {
		answer, err := sizing.Assess(r.snap.Catalogue, q)
		if err != nil && !f.refused(err) {
			return err
		}
		d.Assessment = answer
	}
	title := r.t("assess.title")
	if d.Assessment != nil {
		title = r.t("assess.title-for", d.Species.Common)
		d.Open = f.openFields(d.Assessment.Open)
		d.Band = r.scoreBand("score", &d.Result)
		d.Rows, d.There = r.findings(&d.Result, d.Species.ID)
		d.First = d.Changes[:min(len(d.Changes), mostChanges)]
		d.More = len(d.Changes) - len(d.First)
		d.Danger = present(d.Hazards)
		d.Worst, d.Best = r.ends(&d.Result)
		d.Weakest = weakest(&d.Result)
		if f := d.Governing(); f != nil && f.Standing != score.NotMeasured {
			d.Governs = r.t("assess.governs", f.Name, r.here(f), r.wanted(f))
		}
	}
	if !f.sent() {
		var err error
		if d.Example, err = example(); err != nil {
			return err
		}
	}
	d.Groups, d.Saving = f.Groups(decisive(d.Open)), r.saving(f)
	return r.render("assess", title, d)
}

// decisive are the fields of what is not known and decides.
func decisive(all []openField) (out []string) {
	for _, o := range all {
		if o.Decides {
			out = append(out, o.At)
		}
	}
	return out
}

// present are the hazards that are there or may be, the definite first.
func present(all []score.Hazard) (out []score.Hazard) {
	for _, p := range []score.Presence{score.Definite, score.Possible} {
		for _, h := range all {
			if h.Presence == p {
				out = append(out, h)
			}
		}
	}
	return out
}

// weakest names the criteria that the verdict follows.
func weakest(a *score.Result) (out []string) {
	for i := range a.Findings {
		if f := &a.Findings[i]; slices.Contains(a.WeakestCriteria, f.Criterion) && f.Score.Worst < 1 {
			out = append(out, f.Name)
		}
	}
	return out
}

// ends says what the worst and the best case suppose of what is not known.
func (r *request) ends(a *score.Result) (worst, best []string) {
	var unmeasured, undecided, possible []string
	for _, f := range a.Findings {
		switch {
		case f.Score == nil:
		case f.Standing == score.NotMeasured:
			unmeasured = append(unmeasured, f.Name)
		case f.Score.Worst < f.Score.Best:
			undecided = append(undecided, f.Name)
		}
	}
	for _, h := range present(a.Hazards) {
		if h.Presence == score.Possible && !slices.Contains(possible, h.Name) {
			possible = append(possible, h.Name)
		}
	}
	list := func(names []string) string { return strings.Join(names, ", ") }
	if len(unmeasured) > 0 {
		worst = append(worst, r.t("assess.worst.unmeasured", list(unmeasured)))
		best = append(best, r.all.count("assess.best.unmeasured", len(unmeasured)))
	}
	if len(undecided) > 0 {
		worst = append(worst, r.t("assess.worst.undecided", list(undecided)))
		best = append(best, r.t("assess.best.undecided"))
	}
	if len(possible) > 0 {
		worst = append(worst, r.t("assess.worst.possible", list(possible)))
		best = append(best, r.all.count("assess.best.possible", len(possible)))
	}
	return worst, best
}

// scoreBand draws the score, the score with hazards aside, and the weakest criterion,
// each as a bar from worst to best case on the scale from 0 to 1.
func (r *request) scoreBand(id string, a *score.Result) template.HTML {
	bars := []scoreBar{{r.t("assess.band.score"), a.Score, ""}}
	if a.Score != a.BeforeHazards {
		bars = append(bars, scoreBar{r.t("assess.band.before"), a.BeforeHazards, " second"})
	}
	bars = append(bars, scoreBar{r.t("assess.band.weakest"), a.Weakest, ""})
	return r.scoreBars(id, r.t("assess.band"), bars)
}

type scoreBar struct {
	name  string
	of    score.Interval
	class string
}

func (r *request) scoreBars(id, title string, bars []scoreBar) template.HTML {
	var says []string
	for _, b := range bars {
		says = append(says, b.name+": "+writeInterval(b.of))
	}
	const step = 36.0
	foot := step*float64(len(bars)) + 4
	p := newPicture(id, title, strings.Join(says, ". "), 300, foot+32)
	x := axis{0, 1, 12, 288}
	for _, v := range []float64{0, 0.25, 0.5, 0.75, 1} {
		p.line("grid", x.at(v), 18, x.at(v), foot)
		p.text("tick", x.at(v), foot+13, "middle", strconv.FormatFloat(v, 'f', -1, 64))
	}
	p.line("axis", x.from, foot, x.to, foot)
	p.text("tick", x.from-8, foot+26, "start", r.t("assess.band.none"))
	p.text("tick", x.to+8, foot+26, "end", r.t("assess.band.all"))
	for i, b := range bars {
		y := step*float64(i) + 12
		p.text("label", x.from-8, y, "start", says[i])
		from, to := x.at(b.of.Worst), x.at(b.of.Best)
		p.rect("range"+b.class, from, y+5, max(to-from, 1), 12)
		p.line("here", from, y+3, from, y+19)
		p.line("here", to, y+3, to, y+19)
	}
	return p.end()
}

// writeInterval writes a score from worst to best case.
func writeInterval(i score.Interval) string {
	low, high := strconv.FormatFloat(i.Worst+0, 'f', 2, 64), strconv.FormatFloat(i.Best+0, 'f', 2, 64)
	if low == high {
		return low
	}
	return low + " to " + high
}

// findings are the findings as shown: what is certainly wrong first, then what may
// be, then what is met, then what could not be judged; within these as the engine
// orders them. What has no figure, rests on no source and is there is named alone.
func (r *request) findings(a *score.Result, species string) (out []findingRow, there []string) {
	for _, f := range a.Findings {
		if f.Standing == score.Met && f.Answer != "" && len(f.Sources) == 0 {
			there = append(there, f.Name)
			continue
		}
		row := findingRow{Finding: f, Here: r.here(&f), Wanted: r.wanted(&f), Margin: r.margin(&f), Position: r.position(&f)}
		row.Stands = r.all.word("stands", f.Standing)
		if f.Answer != "" && f.Standing == score.Short { // yes or no is no measure
			row.Stands = r.all.word("lacks", f.Answer)
		}
		if p := care.ParameterOf(care.Code(f.Criterion)); p != nil {
			row.Claims = "/species/" + species + "/claims?parameter=" + f.Criterion
		}
		out = append(out, row)
	}
	rank := func(s score.Standing) int {
		return slices.Index([]score.Standing{score.Short, score.Over, score.Undecided, score.NotMeasured, score.Met, score.TargetNotKnown}, s)
	}
	slices.SortStableFunc(out, func(a, b findingRow) int {
		x, y := rank(a.Standing), rank(b.Standing)
		if x <= 1 && y <= 1 {
			x, y = 0, 0
		}
		return x - y
	})
	return out, there
}

func (r *request) here(f *score.Finding) string {
	switch {
	case f.Value != nil:
		return writeBand(quantity.Band{Low: &f.Value.Number, High: &f.Value.Number, Unit: f.Value.Unit}, r.look.units)
	case f.Between != nil:
		return writeBand(f.Between, r.look.units)
	case f.Answer != "":
		return r.all.word("answer", f.Answer)
	}
	return r.all.word("stands", score.NotMeasured)
}

func (r *request) wanted(f *score.Finding) string {
	switch {
	case f.Standing == score.TargetNotKnown:
		return r.all.word("standing", care.NotKnown)
	case f.Target == nil:
		return r.all.word("answer", "yes")
	case f.Strictest != nil:
		return r.t("assess.wanted.hangs", writeBand(f.Target, r.look.units), writeBand(f.Strictest, r.look.units))
	}
	return writeBand(f.Target, r.look.units)
}

// margin writes how far inside or outside the target a measurement lies.
func (r *request) margin(f *score.Finding) string {
	if f.Margin == nil {
		return ""
	}
	v := quantity.Value{Number: math.Abs(f.Margin.Number), Unit: f.Margin.Unit}.In(r.look.units)
	if v.Unit == "K" { // differences of temperature, which no system of units converts
		v.Number = math.Round(v.Number*10) / 10
	}
	switch {
	case f.Margin.Unit == "animals":
		return ""
	case v.Number == 0:
		return r.t("margin.at")
	case f.Margin.Number > 0:
		return r.t("margin.inside", v.String())
	case f.Standing == score.Over:
		return r.t("margin.over", v.String())
	}
	return r.t("margin.short", v.String())
}

// position draws where a measurement lies against what is wanted: the target a bar,
// open where it has one bound alone, with the strictest target dashed where it hangs
// on the animal; the measurement a mark, a line where only bounds are known.
func (r *request) position(f *score.Finding) template.HTML {
	if f.Target == nil || f.Value == nil && f.Between == nil || f.Target.Unit == "animals" {
		return ""
	}
	target := f.Target.In(r.look.units)
	strictest := target
	if f.Strictest != nil {
		strictest = f.Strictest.In(r.look.units)
	}
	var low, high *float64
	if f.Value != nil {
		x := f.Value.Value().In(r.look.units).Number
		low, high = &x, &x
	} else {
		b := f.Between.In(r.look.units)
		low, high = b.Low, b.High
	}
	figures := []float64{}
	for _, x := range []*float64{target.Low, target.High, strictest.Low, strictest.High, low, high} {
		if x != nil {
			figures = append(figures, *x)
		}
	}
	least, most := slices.Min(figures), slices.Max(figures)
	room := max((most-least)*0.35, math.Abs(most)*0.08, 0.5)
	if target.High != nil && target.Low != nil {
		room = max(room, (*target.High-*target.Low)*0.4)
	}
	x := axis{least - room, most + room, 4, 176}
	if least >= 0 && x.low < 0 {
		x.low = 0
	}
	p := newMark(180, 38)
	bar := func(b quantity.Band, class string) {
		from, to := x.from, x.to
		if b.Low != nil {
			from = x.at(*b.Low)
		}
		if b.High != nil {
			to = x.at(*b.High)
		}
		p.rect(class, from, 8, max(to-from, 2), 11)
	}
	bar(target, "range")
	if f.Strictest != nil {
		bar(strictest, "range second")
	}
	p.line("axis", x.from, 24, x.to, 24)
	last := math.Inf(-1)
	for _, b := range []*float64{target.Low, strictest.Low, target.High, strictest.High} {
		if b == nil || math.Abs(x.at(*b)-last) < 24 {
			continue
		}
		last = x.at(*b)
		p.text("tick", min(max(last, 10), 170), 36, "middle", num(*b))
	}
	switch {
	case low != nil && high != nil && *low == *high:
		at := x.at(*low)
		p.here(at, 0, 22)
	default:
		from, to := x.from, x.to
		if low != nil {
			from = x.at(*low)
		}
		if high != nil {
			to = x.at(*high)
		}
		p.line("here bounded", from, 4, to, 4)
	}
	return p.end()
}

// Number is the place of a source in the list at the end, from 1.
func (d assessData) Number(key string) int {
	return 1 + slices.IndexFunc(d.Sources, func(c sizing.Citation) bool { return c.Key == key })
}

// Definite and Possible count the hazards.
func (d assessData) Definite() int { return d.counted(score.Definite) }
func (d assessData) Possible() int { return d.counted(score.Possible) }

func (d assessData) counted(p score.Presence) (n int) {
	for _, h := range d.Danger {
		if h.Presence == p {
			n++
		}
	}
	return n
}
