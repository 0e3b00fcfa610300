package pages

import (
	"errors"
	"fmt"
	"html/template"
	"maps"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing"
	"denwright/sizing/score"
)

// errAskFirst: the question of a page that asks for an assessment is not complete;
// it is asked, and its problems are told, on the page of the assessment.
var errAskFirst = errors.New("the assessment is not asked yet")

// askFirst leads to the page of the assessment with what was sent.
func (r *request) askFirst(f *form) error {
	to := "/assess"
	if q := string(f.Query()); q != "" {
		to += "?" + q
	}
	return r.Redirect(http.StatusSeeOther, to)
}

// answered asks the engine for something about an assessment question. Where the
// question is not complete the error is errAskFirst.
func answered[T any](r *request, f *form, q sizing.AssessmentQuestion, ok bool, ask func(sizing.AssessmentQuestion) (T, error)) (answer T, err error) {
	if !ok {
		return answer, errAskFirst
	}
	if answer, err = ask(q); err != nil && f.refused(err) {
		err = errAskFirst
	}
	return answer, err
}

type handoverData struct {
	Form *form
	*sizing.Handover
	// Hazards and Tasks are what is missing.
	Hazards, Tasks []sizing.HandoverTask
	Needs          []needRow
}

type needRow struct {
	sizing.HandoverNeed
	HereText, WantedText, Stands string
}

// handoverPage is one sheet to print for who takes the animal home.
func handoverPage(r *request) error {
	f, q, ok := r.assessmentOf(r.QueryParams())
	sheet, err := answered(r, f, q, ok, func(q sizing.AssessmentQuestion) (*sizing.Handover, error) {
		return sizing.HandOver(r.snap.Catalogue, q)
	})
	if errors.Is(err, errAskFirst) {
		return r.askFirst(f)
	}
	if err != nil {
		return err
	}
	d := handoverData{Form: f, Handover: sheet}
	for _, m := range sheet.Missing {
		if m.Hazard != "" {
			d.Hazards = append(d.Hazards, m)
		} else {
			d.Tasks = append(d.Tasks, m)
		}
	}
	for _, n := range sheet.Needs {
		row := needRow{HandoverNeed: n, WantedText: r.all.word("answer", "yes"), Stands: r.all.word("stands", n.Standing)}
		if n.Answer != "" && n.Standing == score.Short {
			row.Stands = r.all.word("lacks", n.Answer)
		}
		switch {
		case n.Here != nil:
			row.HereText = writeBand(n.Here, r.look.units)
		case n.Answer != "":
			row.HereText = r.all.word("answer", n.Answer)
		}
		switch {
		case n.Standing == score.TargetNotKnown:
			row.WantedText = r.all.word("standing", care.NotKnown)
		case n.Wanted != nil:
			row.WantedText = writeBand(n.Wanted, r.look.units)
		}
		d.Needs = append(d.Needs, row)
	}
	return r.render("handover", r.t("handover.title", sheet.Species.Common), d)
}

type outgrowData struct {
	Form *form
	*sizing.Outgrowing
	Pictures []growPicture
	Table    []growRow
	Heads    []string
}

type growPicture struct {
	sizing.OutgrowDimension
	Picture template.HTML
}

// growRow is a length on the way, its ages, and what is wanted then.
type growRow struct {
	Length, Stage, Age string
	Wanted             []string
}

// outgrowPage draws what growing animals want against what the enclosure has.
func outgrowPage(r *request) error {
	f, q, ok := r.assessmentOf(r.QueryParams())
	answer, err := answered(r, f, q, ok, r.snap.Matcher.Outgrow)
	if errors.Is(err, errAskFirst) {
		return r.askFirst(f)
	}
	if err != nil {
		return err
	}
	course, err := r.snap.Matcher.Course(q)
	if err != nil {
		return fmt.Errorf("outgrow: %w", err)
	}
	d := outgrowData{Form: f, Outgrowing: answer}
	var drawn []sizing.OutgrowDimension
	for _, dim := range answer.Dimensions {
		picture := r.outgrowing(course, answer.Species.ID, &dim)
		if picture == "" {
			continue
		}
		drawn = append(drawn, dim)
		d.Pictures = append(d.Pictures, growPicture{dim, picture})
	}
	for _, dim := range drawn {
		d.Heads = append(d.Heads, dim.Name)
	}
	d.Table = r.course(course, answer.Species.ID, drawn)
	return r.render("outgrow", r.t("outgrow.title-for", answer.Species.Common), d)
}

// course is the line over the life in a few steps, for who can't see the pictures.
func (r *request) course(course *sizing.Course, species string, dims []sizing.OutgrowDimension) (out []growRow) {
	s := r.snap.SpeciesByID(species)
	for i := 0; i < len(course.Points); i += 6 {
		at := course.Points[i]
		row := growRow{Length: r.q(at.Length), Age: r.age(at)}
		if stage, ok := r.snap.StageOf(s, at.Length, course.Measure); ok {
			row.Stage = r.all.word("stage", stage)
		}
		for _, dim := range dims {
			text := "–"
			if w, ok := at.Wanted[dim.Criterion]; ok {
				text = r.q(w)
			}
			row.Wanted = append(row.Wanted, text)
		}
		out = append(out, row)
	}
	return out
}

// age writes the months by which animals come to a length.
func (r *request) age(at sizing.CoursePoint) string {
	b := quantity.Band{Unit: "months"}
	for _, p := range []struct{ from, to **float64 }{{&at.Earliest, &b.Low}, {&at.Latest, &b.High}} {
		if *p.from != nil {
			*p.to = new(math.Round(**p.from))
		}
	}
	switch {
	case b.Low == nil && b.High == nil:
		return ""
	case b.High == nil:
		return r.t("outgrow.age.from", num(*b.Low))
	case b.Low == nil:
		return r.t("outgrow.age.by", num(*b.High))
	}
	return b.String()
}

// outgrowing draws, over the length of the animal, what is wanted as a line and what
// is there as another, with the stages and the lengths at which it falls short. It is
// empty where no rule speaks of the dimension.
func (r *request) outgrowing(course *sizing.Course, species string, d *sizing.OutgrowDimension) template.HTML {
	in := func(x float64, unit string) float64 {
		return quantity.Value{Number: x, Unit: unit}.In(r.look.units).Number
	}
	var line [][2]float64
	var lengths, figures []float64
	unit := ""
	for _, at := range course.Points {
		lengths = append(lengths, in(at.Length.Centimetres(), "cm"))
		if w, ok := at.Wanted[d.Criterion]; ok {
			unit = w.Value().In(r.look.units).Unit
			line = append(line, [2]float64{in(at.Length.Centimetres(), "cm"), in(w.Number, w.Unit)})
			figures = append(figures, in(w.Number, w.Unit))
		}
	}
	if len(line) < 2 {
		return ""
	}
	figures = append(figures, 0)
	if d.Here != nil {
		figures = append(figures, r.figures(&d.Here.Number, nil, d.Here.Unit)...)
	}
	x, y := around(44, 348, lengths...), around(176, 34, figures...)
	x.low, x.high = slices.Min(lengths), slices.Max(lengths)
	if x.high-x.low < 1e-9 {
		return ""
	}
	says := r.t("outgrow.picture", d.Name, r.all.word("outgrow.standing", d.Standing))
	p := newPicture("g-"+d.Criterion, d.Name, says, 360, 214)
	p.frame(x, y, r.t("outgrow.length", r.all.word("measure", course.Measure), quantity.Length(0).Value().In(r.look.units).Unit), unit)
	s := r.snap.SpeciesByID(species)
	for _, stage := range care.Stages {
		b, ok := r.snap.StageLength(s, stage, course.Measure)
		low := in(b.Low.Centimetres(), "cm")
		if !ok || low <= x.low || low >= x.high {
			continue
		}
		p.line("grid", x.at(low), y.to-8, x.at(low), y.from)
		p.text("tick", x.at(low)+2, y.to-2, "start", r.all.word("stage", stage))
	}
	if l := d.Length; l != nil && l.Low != nil && d.Standing != "outgrown" {
		from, to := x.at(in(*l.Low, "cm")), x.to
		p.rect("short", from, y.to, to-from, y.from-y.to)
	}
	points := make([][2]float64, len(line))
	for i, at := range line {
		points[i] = [2]float64{x.at(at[0]), y.at(at[1])}
	}
	p.curve("curve", points)
	p.text("label", x.to, y.at(line[len(line)-1][1])-5, "end", r.t("outgrow.wanted"))
	if d.Here != nil {
		here := r.figures(&d.Here.Number, nil, d.Here.Unit)[0]
		p.line("here", x.from, y.at(here), x.to, y.at(here))
		label := y.at(here) - 4
		if label < y.to+10 { // the stages are written there
			label = y.at(here) + 12
		}
		p.text("label", x.from+3, label, "start", r.t("outgrow.here", r.q(d.Here)))
	}
	return p.end()
}

type changesData struct {
	Form *form
	*sizing.ChangePlan
	Band  template.HTML
	Steps []planStep
}

type planStep struct {
	sizing.PlanStep
	Number int
}

// changeFields are what a plan of changes asks besides the assessment.
func changeFields() []field {
	return []field{
		{At: "aim.score", Kind: numberField},
		{At: "aim.hardest", Kind: choiceField, Options: words([]score.Mend{score.Measure, score.Adjust, score.Furnish, score.Equip, score.Alter, score.Separate})},
		{At: "room", Kind: temperatureField},
	}
}

// changesPage asks for the aim and gives the smallest set of changes that reaches it.
func changesPage(r *request) error {
	f := r.assessmentForm(r.QueryParams(), changeFields()...)
	d := changesData{Form: f}
	var q sizing.ChangeQuestion
	if !f.sent() {
		return r.askFirst(f)
	}
	if f.ask(&q) {
		answer, err := sizing.Changes(r.snap.Catalogue, q)
		if err != nil && !f.refused(err) {
			return err
		}
		d.ChangePlan = answer
	}
	for at := range f.Problems { // what this page does not ask is mended where it is asked
		if !slices.ContainsFunc(changeFields(), func(one field) bool { return one.At == at }) {
			return r.askFirst(f)
		}
	}
	if d.ChangePlan == nil {
		return r.render("changes", r.t("changes.title"), d)
	}
	for i, s := range d.ChangePlan.Steps {
		d.Steps = append(d.Steps, planStep{s, i + 1})
	}
	bars := []scoreBar{{r.t("changes.before"), d.Before.Score, ""}}
	for _, s := range d.Steps {
		bars = append(bars, scoreBar{r.t("changes.after", s.Number), s.After.Score, ""})
	}
	d.Band = r.scoreBars("changes", r.t("changes.band"), bars)
	return r.render("changes", r.t("changes.title-for", d.Species.Common), d)
}

// carriedValue is a value that a form sends on unseen.
type carriedValue struct{ Name, Value string }

// Carried are the values of the form but for those of some fields and of all whose
// names begin as one that ends in a dot, to send again beside others. Bare numbers
// say their unit where the viewer's are others by now.
func (f *form) Carried(but ...string) (out []carriedValue) {
	for _, name := range slices.Sorted(maps.Keys(f.Values)) {
		if name == "add" || name == unitsField || slices.ContainsFunc(but, func(b string) bool {
			return b == name || strings.HasSuffix(b, ".") && strings.HasPrefix(name, b)
		}) {
			continue
		}
		values := f.Values[name]
		if v, err := f.Field(name); err == nil && len(values) == 1 {
			values = []string{v.Value}
		}
		for _, v := range values {
			if v != "" {
				out = append(out, carriedValue{name, v})
			}
		}
	}
	return append(out, carriedValue{unitsField, f.system.String()})
}

type compareData struct {
	Form *form
	*sizing.Comparison
	Others *form
}

// compareFields ask what the assessment is compared with: other species in the same
// enclosure, or other enclosures for the same animals.
func compareFields() []field {
	return []field{
		{At: "with.species", Kind: listField, Wide: true},
		{At: "with.pages.0.address", Kind: textField, Wide: true},
		{At: "with.pages.0.name", Kind: textField},
	}
}

// comparePage lays the assessment of one setup beside others: of other species in
// it, or of other setups, each by the address of its page.
func comparePage(r *request) error {
	f, q, ok := r.assessmentOf(r.QueryParams())
	if !ok {
		return r.askFirst(f)
	}
	if _, err := sizing.Assess(r.snap.Catalogue, q); err != nil {
		if f.refused(err) {
			return r.askFirst(f)
		}
		return err
	}
	d := compareData{Form: f, Others: r.newForm("ask", r.QueryParams(), compareFields(), "with.pages")}
	ask := sizing.ComparisonQuestion{Jurisdiction: q.Jurisdiction,
		Keepings: []sizing.ComparedAnimals{{Species: q.Species, Animals: q.Animals}},
		Setups:   []sizing.ComparedSetup{{Name: r.t("compare.this"), Setup: q.Setup}}}
	if !d.Others.described("with") || !d.Others.sent() {
		return r.render("compare", r.t("compare.title"), d)
	}
	for name := range strings.SplitSeq(d.Others.Values.Get("with.species"), ",") {
		if name = strings.TrimSpace(name); name != "" {
			ask.Keepings = append(ask.Keepings, sizing.ComparedAnimals{Species: name, Animals: []sizing.Animal{{Count: 1, Stage: care.Adult}}})
		}
	}
	for _, n := range d.Others.Rows("with.pages") {
		at := d.Others.At("with.pages", n, "address")
		address := strings.TrimSpace(d.Others.Values.Get(at))
		if address == "" {
			continue
		}
		other, bad := r.fromAddress(address)
		if bad != "" {
			d.Others.Problems[at] = sizing.Problem{Field: at, Reason: bad}
			continue
		}
		name := strings.TrimSpace(d.Others.Values.Get(d.Others.At("with.pages", n, "name")))
		ask.Setups = append(ask.Setups, sizing.ComparedSetup{Name: name, Setup: other.Setup})
	}
	if !d.Others.Bad() {
		answer, err := sizing.Compare(r.snap.Catalogue, ask)
		var invalid sizing.Invalid
		switch {
		case errors.As(err, &invalid):
			for _, p := range invalid {
				at := ""
				if strings.HasPrefix(p.Field, "/keepings/") {
					at = "with.species"
				}
				p.Field = at
				if at == "" {
					d.Others.Other = append(d.Others.Other, p)
				} else {
					d.Others.Problems[at] = p
				}
			}
		case err != nil:
			return err
		}
		d.Comparison = answer
	}
	return r.render("compare", r.t("compare.title"), d)
}

// fromAddress reads the question out of the address of an assessment's page.
func (r *request) fromAddress(address string) (q sizing.AssessmentQuestion, bad string) {
	u, err := url.Parse(address)
	if err != nil || u.RawQuery == "" {
		return q, r.t("compare.bad-address")
	}
	f, q, ok := r.assessmentOf(u.Query())
	if !ok || f.Bad() {
		return q, r.t("compare.bad-address")
	}
	return q, ""
}

// Months writes an age without fractions of a month.
func (d outgrowData) Months(b *quantity.Band) string {
	out := quantity.Band{Unit: b.Unit}
	for _, p := range []struct{ from, to **float64 }{{&b.Low, &out.Low}, {&b.High, &out.High}} {
		if *p.from != nil {
			*p.to = new(math.Round(**p.from))
		}
	}
	return out.String()
}

// Differs reports whether the columns stand differently in a criterion.
func (d compareData) Differs(criterion string) bool { return slices.Contains(d.Differ, criterion) }
