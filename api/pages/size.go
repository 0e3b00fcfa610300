package pages

import (
	"fmt"
	"html"
	"html/template"
	"slices"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing"
	"denwright/sizing/score"
	"denwright/sizing/space"
)

// animalFields are the fields of who lives there, the same in every form that asks it.
func animalFields() []field {
	return []field{
		{At: "species", Kind: textField, Wide: true, Needed: true},
		{At: "animals.0.count", Kind: wholeField, Needed: true, Start: "1"},
		{At: "animals.0.stage", Kind: choiceField, Options: words(care.Stages), Start: "adult"},
		{At: "animals.0.sex", Kind: choiceField, Options: []string{"female", "male", "unknown"}},
		{At: "animals.0.length", Kind: lengthField},
		{At: "animals.0.measure", Kind: choiceField, Options: []string{string(care.TotalLength), string(care.SnoutVent), string(care.Shell)}},
		{At: "animals.0.age", Kind: hoursField, Unit: "months"},
	}
}

// jurisdictionField chooses among those for which rules are held.
func (r *request) jurisdictionField() field {
	return field{At: "jurisdiction", Kind: choiceField, Options: r.snap.Jurisdictions()}
}

func words[T ~string](all []T) []string {
	out := make([]string, len(all))
	for i, w := range all {
		out[i] = string(w)
	}
	return out
}

type sizeData struct {
	Form *form
	*sizing.Requirement
	// Titles are the sources that the answer names, by key.
	Titles  map[string]*care.Source
	Picture template.HTML
	// Life is the advised size of the same number of animals at each stage from now on;
	// empty for adults.
	Life        []stageSize
	LifePicture template.HTML
	// Outgrown says when the size advised now falls short; nil for adults, or where it does not.
	Outgrown *sizing.OutgrowDimension
}

type stageSize struct {
	Stage care.Stage
	Now   bool
	sizing.Space
}

// sizePage asks who is to live there and answers how big it must be.
func sizePage(r *request) error {
	d := sizeData{Form: r.newForm("ask", r.QueryParams(), append(animalFields(), r.jurisdictionField()), "animals")}
	if d.Form.sent() {
		var q sizing.Question
		if d.Form.ask(&q) {
			if err := d.answer(r, q); err != nil && !d.Form.refused(err) {
				return err
			}
		}
	}
	title := r.t("size.title")
	if d.Requirement != nil {
		title = r.t("size.title-for", d.Species.Common)
	}
	return r.render("size", title, d)
}

func (d *sizeData) answer(r *request, q sizing.Question) error {
	a, err := sizing.Require(r.snap.Catalogue, q)
	if err != nil {
		return err
	}
	d.Requirement, d.Titles = a, map[string]*care.Source{}
	for _, rule := range a.Rules {
		d.Titles[rule.Source] = r.snap.Source(rule.Source)
	}
	d.Picture = r.toScale(a.Advised)
	if a.Adult == nil {
		return nil
	}
	return d.life(r, q)
}

// life works out the same animals at the stages to come, and when they outgrow what is
// advised now.
func (d *sizeData) life(r *request, q sizing.Question) error {
	count, youngest := 0, len(care.Stages)-1
	for _, one := range d.Animals {
		count += one.Count
		youngest = min(youngest, max(slices.Index(care.Stages, one.Stage), 0))
	}
	d.Life = append(d.Life, stageSize{care.Stages[youngest], true, d.Advised})
	for _, stage := range care.Stages[youngest+1:] {
		a, err := sizing.Require(r.snap.Catalogue, sizing.Question{Species: q.Species, Jurisdiction: q.Jurisdiction, Animals: []sizing.Animal{{Count: count, Stage: stage}}})
		if err != nil {
			return err
		}
		d.Life = append(d.Life, stageSize{stage, false, a.Advised})
	}
	d.LifePicture = r.lifePicture(d.Life)
	if d.Advised.Standing != care.Known || d.Advised.Structure == nil {
		return nil
	}
	o, err := r.snap.Matcher.Outgrow(sizing.AssessmentQuestion{Question: q, Setup: score.Setup{Inside: &score.Inside{Length: &d.Advised.Length, Width: &d.Advised.Width, Height: &d.Advised.Structure.InsideHeight}}})
	if err != nil {
		return err
	}
	if o.First != nil && o.First.Length != nil {
		d.Outgrown = o.First
	}
	return nil
}

// A door leaf and a grown person, to see a size by.
const (
	doorHigh, doorWide = 2.0, 0.8
	personHigh         = 1.7
)

// toScale draws the floor, and above it the front with a door beside it, to one scale.
// Without a height the floor alone is drawn; without a floor nothing is.
func (r *request) toScale(s sizing.Space) template.HTML {
	if s.Standing != care.Known || s.Length <= 0 || s.Width <= 0 {
		return ""
	}
	q := func(v quantity.Valuer) string { return v.Value().In(r.look.units).String() }
	l, w, h := float64(s.Length), float64(s.Width), 0.0
	front := r.t("size.picture.no-height")
	if s.Structure != nil {
		h = float64(s.Structure.InsideHeight)
		front = r.t("size.picture.front", q(s.Structure.InsideHeight))
	}
	const left, gap, wide = 56.0, 0.3, 560.0
	k := min((wide-left-50)/(l+gap+doorWide), 260/max(h, doorHigh), 240/w)
	ground := 24 + k*max(h, doorHigh)
	floor := ground + 46
	p := newPicture("to-scale", r.t("size.picture"), r.t("size.picture.description", q(s.Length), q(s.Width), front), wide, floor+k*w+34)
	door := left + k*(l+gap)
	if h > 0 {
		st := s.Structure
		p.rect("box", left, ground-k*h, k*l, k*h)
		if soil := float64(st.Drainage + st.Substrate); soil > 0 {
			p.rect("soil", left, ground-k*soil, k*l, k*soil)
		}
		top := ground - k*(h-float64(st.FixtureClearance))
		if st.FixtureClearance > 0 {
			p.line("axis dashed", left, top, left+k*l, top)
		}
		p.measure(left-12, ground-k*h, left-12, ground, q(st.InsideHeight))
	}
	p.measure(left, ground+14, left+k*l, ground+14, q(s.Length))
	p.rect("door", door, ground-k*doorHigh, k*doorWide, k*doorHigh)
	p.dot("door", door+k*doorWide-5, ground-k*1.0, 2)
	p.text("label", door+k*doorWide/2, ground+14, "middle", r.t("size.picture.door", q(quantity.Length(doorHigh))))
	p.line("here dashed", left, ground-k*personHigh, door+k*doorWide, ground-k*personHigh)
	p.text("label", door+k*doorWide+4, ground-k*personHigh+4, "start", q(quantity.Length(personHigh)))
	p.text("label", left, ground-k*max(h, doorHigh)-8, "start", r.t("size.picture.person"))
	p.line("axis", left-30, ground, door+k*doorWide+20, ground)
	p.rect("box", left, floor, k*l, k*w)
	p.text("label", left+k*l/2, floor+k*w/2+4, "middle", r.t("size.picture.floor"))
	p.measure(left-12, floor, left-12, floor+k*w, q(s.Width))
	p.measure(left, floor+k*w+14, left+k*l, floor+k*w+14, q(s.Length))
	return p.end()
}

// measure draws a dimension line, level or upright, with its figure.
func (p *picture) measure(x1, y1, x2, y2 float64, figure string) {
	p.line("dimension", x1, y1, x2, y2)
	if y1 == y2 {
		p.line("dimension", x1, y1-4, x1, y1+4)
		p.line("dimension", x2, y2-4, x2, y2+4)
		p.text("label halo", (x1+x2)/2, y1+14, "middle", figure)
		return
	}
	p.line("dimension", x1-4, y1, x1+4, y1)
	p.line("dimension", x2-4, y2, x2+4, y2)
	fmt.Fprintf(&p.b, `<text class="label halo" transform="translate(%s %s) rotate(-90)" text-anchor="middle">%s</text>`, num(x1-6), num((y1+y2)/2), html.EscapeString(figure))
}

// lifePicture draws the floor length of each stage as a bar to one scale.
func (r *request) lifePicture(life []stageSize) template.HTML {
	longest := 0.0
	for _, one := range life {
		if one.Standing == care.Known {
			longest = max(longest, float64(one.Length))
		}
	}
	if longest == 0 {
		return ""
	}
	p := newPicture("life", r.t("size.life.picture"), r.t("size.life.description"), 480, 10+26*float64(len(life)))
	for i, one := range life {
		y := 8 + 26*float64(i)
		p.text("label", 88, y+13, "end", r.t("stage."+string(one.Stage)))
		if one.Standing != care.Known {
			p.text("label", 96, y+13, "start", r.t("standing.not-known"))
			continue
		}
		p.rect(map[bool]string{true: "range", false: "range second"}[one.Now], 96, y, 250*float64(one.Length)/longest, 18)
		p.text("label", 102+250*float64(one.Length)/longest, y+13, "start", one.Length.Value().In(r.look.units).String()+" × "+one.Width.Value().In(r.look.units).String())
	}
	return p.end()
}

// Governing are the published rules that govern, Others the rest.
func (d sizeData) Governing() []sizing.RuleAnswer { return d.rules(true) }
func (d sizeData) Others() []sizing.RuleAnswer    { return d.rules(false) }

func (d sizeData) rules(govern bool) []sizing.RuleAnswer {
	return slices.DeleteFunc(slices.Clone(d.Rules), func(a sizing.RuleAnswer) bool { return a.Governs != govern })
}

// LengthWanted reports whether a rule gives no figure only because no body length is known.
func (d sizeData) LengthWanted() bool {
	return slices.ContainsFunc(d.Rules, func(a sizing.RuleAnswer) bool { return a.Why == string(space.LengthNeeded) })
}
