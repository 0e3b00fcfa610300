package main

import (
	"context"
	"fmt"
	"net/http"
	"strings"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing"
	"denwright/sizing/score"

	"github.com/go-json-experiment/json"
)

const matchUsage = `denwright match [flags] [FILE]

What could live in an enclosure: species ranked by how they fit, with what is to be
done first. FILE holds an assessment as denwright assess takes it; its animals are
not looked at. - reads standard input. Without a file, give the size:

  denwright match --length 120cm --width 60cm --height 60cm --group snake
  denwright match --without venomous,constrictor --experience beginner setup.json

Flags:
`

// commas reads a list parted by commas.
type commas []string

func (c *commas) String() string { return strings.Join(*c, ",") }

func (c *commas) Set(s string) error {
	for _, w := range strings.Split(s, ",") {
		if w = strings.TrimSpace(w); w != "" {
			*c = append(*c, w)
		}
	}
	return nil
}

func (p *program) match(_ context.Context, args []string) error {
	f := p.flags("match", matchUsage)
	var units unitsFlag
	var groups, without, fits commas
	f.Var(&units, "units", "metric or imperial")
	f.Var(&groups, "group", "only `groups`: lizard, snake, chelonian, amphibian")
	f.Var(&without, "without", "leave out `hazards`: "+strings.Join(sizing.HazardClasses, ", "))
	f.Var(&fits, "fit", "list only these `fits`: "+joined(sizing.Fits))
	q := sizing.MatchQuestion{}
	f.IntVar(&q.Count, "count", 1, "how many animals")
	f.Func("stage", "hatchling, juvenile, subadult or adult (default adult)", func(s string) error { q.Stage = care.Stage(s); return nil })
	f.StringVar(&q.Sex, "sex", "", "female or male")
	f.StringVar(&q.Jurisdiction, "jurisdiction", "", "ISO 3166 `code`")
	f.Func("experience", "the most the keeper has: "+joined(sizing.Experiences), func(s string) error { q.Experience = sizing.Experience(s); return nil })
	f.IntVar(&q.Limit, "limit", 20, "most species listed; 0 is all")
	f.BoolVar(&q.Empty, "empty", false, "nothing is in it yet: judge it furnished as each species needs (implied by a size without a file)")
	asJSON := f.Bool("json", false, "write JSON")
	var inside score.Inside
	for name, to := range map[string]**quantity.Length{"length": &inside.Length, "width": &inside.Width, "height": &inside.Height} {
		f.Func(name, "inside "+name+", such as 120cm or 48in", func(s string) error {
			l, err := quantity.ParseLength(s)
			*to = &l
			return err
		})
	}
	rest, err := parse(f, args)
	if err != nil {
		return err
	}
	given := inside.Length != nil || inside.Width != nil || inside.Height != nil
	switch {
	case len(rest) > 1 || len(rest) == 1 && given || len(rest) == 0 && !given:
		f.Usage()
		return usageError{"name one file, or give a size"}
	case given:
		q.Setup.Inside, q.Empty = &inside, true
	default:
		a, err := p.question(rest[0])
		if err != nil {
			return err
		}
		q.Setup = a.Setup
		if q.Jurisdiction == "" {
			q.Jurisdiction = a.Jurisdiction
		}
	}
	for _, g := range groups {
		q.Groups = append(q.Groups, care.Group(g))
	}
	for _, k := range fits {
		q.Fits = append(q.Fits, sizing.Fit(k))
	}
	q.Without = without
	m, err := sizing.Match(p.catalogue, q)
	if err != nil {
		return err
	}
	if *asJSON {
		return writeJSON(p.out, m, units.System)
	}
	g := &page{w: p.out, units: units.System}
	g.matches(m)
	return g.err
}

func joined[T ~string](words []T) string {
	var out []string
	for _, w := range words {
		out = append(out, string(w))
	}
	return strings.Join(out, ", ")
}

// question reads an assessment from a file, checked by the API like any other.
func (p *program) question(file string) (sizing.AssessmentQuestion, error) {
	var q sizing.AssessmentQuestion
	raw, told, err := p.put("/v1/assessments", file, quantity.Metric)
	if err != nil {
		return q, err
	}
	if told.status != http.StatusOK {
		return q, told.refused()
	}
	if err := json.Unmarshal(raw, &q); err != nil {
		return q, fmt.Errorf("read the question: %w", err)
	}
	return q, nil
}

func (g *page) matches(m *sizing.MatchAnswer) {
	n := m.Counts
	g.printf("%d species fit as it is, %d after changes, %d can't be told, %d need more room", n.AsItIs, n.AfterChanges, n.CannotTell, n.TooSmall)
	if n.LeftOut > 0 {
		g.printf("; %d left out", n.LeftOut)
	}
	g.printf("\n")
	for _, k := range m.Species {
		g.printf("\n%d. %s (%s): %s\n", k.Rank, k.Species.Common, k.Species.Scientific, strings.ToUpper(string(k.Fit)))
		g.list([]string{sentences(k.Why) + " Score before hazards " + interval(k.BeforeHazards) + "."})
		for _, ch := range k.Changes {
			text := ch.What
			if ch.To != nil {
				text = strings.TrimRight(text, ".") + " to " + g.band(ch.To)
			}
			g.list([]string{"do: " + text + " (" + string(ch.Kind) + ")"})
		}
		if len(k.Measure) > 0 {
			g.list([]string{"find out: " + strings.Join(k.Measure, "; ")})
		}
		if k.Lawful != nil {
			g.list([]string{"lowest lawful size in " + k.Lawful.Jurisdiction + ": " + k.Lawful.Standing})
		}
		who := "for a keeper: " + string(k.Experience)
		if len(k.ExperienceWhy) > 0 {
			who += " (" + strings.Join(k.ExperienceWhy, ", ") + ")"
		}
		g.list([]string{who})
	}
	g.heading("How they are ranked")
	g.list([]string{m.Ranking})
	g.heading("Cautions")
	g.list(m.Cautions)
	g.printf("\ncatalogue %s, engine %s\n", m.Catalogue, m.Engine)
}

const changesUsage = `denwright changes [flags] FILE

The smallest set of changes that makes an enclosure good enough, each scored after
the one before, by kind of work and running watts. FILE holds an assessment as
denwright assess takes it; - reads standard input.

  denwright changes --score 0.9 --hardest equip --room 20C setup.json

Flags:
`

func (p *program) changes(_ context.Context, args []string) error {
	f := p.flags("changes", changesUsage)
	var units unitsFlag
	var q sizing.ChangeQuestion
	f.Var(&units, "units", "metric or imperial")
	f.Func("score", "the score to reach, above 0 to 1 (default: the verdict suitable)", func(s string) error {
		var x float64
		_, err := fmt.Sscan(s, &x)
		q.Aim.Score = &x
		return err
	})
	f.Func("hardest", "the most laborious `kind` of work accepted: measure, adjust, furnish, equip, alter or separate (default separate)", func(s string) error { q.Aim.Hardest = score.Mend(s); return nil })
	f.Func("room", "air of the `room`, such as 20C: running watts of heat are then estimated", func(s string) error {
		t, err := quantity.ParseTemperature(s)
		q.Room = &t
		return err
	})
	asJSON := f.Bool("json", false, "write JSON")
	rest, err := parse(f, args)
	if err != nil {
		return err
	}
	if len(rest) != 1 {
		f.Usage()
		return usageError{"name one file, or - for standard input"}
	}
	if q.AssessmentQuestion, err = p.question(rest[0]); err != nil {
		return err
	}
	plan, err := sizing.Changes(p.catalogue, q)
	if err != nil {
		return err
	}
	if *asJSON {
		return writeJSON(p.out, plan, units.System)
	}
	g := &page{w: p.out, units: units.System}
	g.animals(plan.Species, plan.Animals)
	g.plan(plan)
	return g.err
}

func (g *page) plan(c *sizing.ChangePlan) {
	g.printf("\nNow %s, score %s. To reach: %s. Reached: %s\n", c.Before.Verdict, interval(c.Before.Score), c.Aim, strings.ToUpper(c.Reached))
	rows := [][]string{{"", "change", "work", "score then", "watts"}}
	for i, s := range c.Steps {
		what := strings.TrimRight(s.What, ".")
		if s.To != nil {
			what += " to " + g.band(s.To)
		}
		if s.Supposes {
			what += " (supposed to be as wanted)"
		}
		watts := "not known"
		if s.Watts != nil {
			watts = fmt.Sprintf("%+.0f W", float64(*s.Watts))
			if *s.Watts == 0 {
				watts = "0 W"
			}
		}
		rows = append(rows, []string{fmt.Sprint(i + 1), what, string(s.Kind), interval(s.After.Score), watts})
	}
	if len(c.Steps) > 0 {
		g.heading("Changes, in order")
		g.table(rows)
	}
	switch {
	case c.Smallest && len(c.Steps) > 0:
		g.list([]string{fmt.Sprintf("no smaller set reaches it (%d sets tried)", c.Tried)})
	case c.Reached != "no":
		g.list([]string{fmt.Sprintf("a smaller set may exist: the search stopped after %d sets", c.Tried)})
	}
	if c.Watts != nil {
		g.list([]string{fmt.Sprintf("running watts in all: %+.0f W", float64(*c.Watts))})
	}
	for _, s := range c.Steps {
		if s.Caution != "" {
			g.list([]string{s.Caution})
		}
	}
	if len(c.Left) > 0 {
		g.heading("Still in the way")
		g.list(c.Left)
	}
	g.sources(c.Sources)
	g.heading("Cautions")
	g.list(c.Cautions)
	g.printf("\ncatalogue %s, engine %s\n", c.Catalogue, c.Engine)
}

const companyUsage = `denwright company [flags] FILE

Whether animals may share an enclosure, and why not. FILE holds
{"members": [{"species": "...", "animals": [{"count": 2, "stage": "adult", "sex": "female"}]}]},
with "setup" and "jurisdiction" where they are known; - reads standard input.

Flags:
`

func (p *program) company(_ context.Context, args []string) error {
	f := p.flags("company", companyUsage)
	var units unitsFlag
	f.Var(&units, "units", "metric or imperial")
	asJSON := f.Bool("json", false, "write JSON")
	rest, err := parse(f, args)
	if err != nil {
		return err
	}
	if len(rest) != 1 {
		f.Usage()
		return usageError{"name one file, or - for standard input"}
	}
	raw, err := p.read(rest[0])
	if err != nil {
		return err
	}
	var q sizing.CompanyQuestion
	if err := json.Unmarshal(raw, &q, json.RejectUnknownMembers(true)); err != nil {
		return usageError{rest[0] + ": " + err.Error()}
	}
	a, err := sizing.Company(p.catalogue, q)
	if err != nil {
		return err
	}
	if *asJSON {
		return writeJSON(p.out, a, units.System)
	}
	g := &page{w: p.out, units: units.System}
	for _, m := range a.Members {
		g.animals(m.Species, m.Animals)
	}
	g.printf("\nTogether: %s\n", strings.ToUpper(string(a.Verdict)))
	g.heading("Why")
	for _, r := range a.Reasons {
		text := string(r.Speaks) + ": " + r.Text + " [" + r.Basis + "]"
		if r.Settle != "" {
			text += "; to settle it, " + r.Settle
		}
		g.list([]string{text})
	}
	if len(a.Shared) > 0 {
		g.heading("Ranges they have in common")
		rows := [][]string{{"parameter", "shared"}}
		for _, s := range a.Shared {
			shared := s.Standing
			if s.Range != nil {
				shared = g.band(s.Range)
			}
			rows = append(rows, []string{s.Name, shared})
		}
		g.table(rows)
	}
	if a.Space != nil && a.Space.FloorArea > 0 {
		g.heading("Space for all of them")
		g.table([][]string{{"floor", g.of(a.Space.Length) + " × " + g.of(a.Space.Width), g.of(a.Space.FloorArea)}})
	}
	g.sources(a.Sources)
	g.heading("Cautions")
	g.list(a.Cautions)
	g.printf("\ncatalogue %s, engine %s\n", a.Catalogue, a.Engine)
	return g.err
}

const outgrowUsage = `denwright outgrow [flags] FILE

When growing animals outgrow an enclosure, and the next size to buy. FILE holds an
assessment as denwright assess takes it; - reads standard input.

Flags:
`

func (p *program) outgrow(_ context.Context, args []string) error {
	f := p.flags("outgrow", outgrowUsage)
	var units unitsFlag
	f.Var(&units, "units", "metric or imperial")
	asJSON := f.Bool("json", false, "write JSON")
	rest, err := parse(f, args)
	if err != nil {
		return err
	}
	if len(rest) != 1 {
		f.Usage()
		return usageError{"name one file, or - for standard input"}
	}
	q, err := p.question(rest[0])
	if err != nil {
		return err
	}
	o, err := sizing.Outgrow(p.catalogue, q)
	if err != nil {
		return err
	}
	if *asJSON {
		return writeJSON(p.out, o, units.System)
	}
	g := &page{w: p.out, units: units.System}
	g.animals(o.Species, o.Animals)
	g.printf("\nThis enclosure: %s\n", strings.ToUpper(o.Standing))
	rows := [][]string{{"dimension", "here", "wanted today", "by adults", "outgrown at length", "at age"}}
	for _, d := range o.Dimensions {
		here := "-"
		if d.Here != nil {
			here = d.Here.Value().In(units.System).String()
		}
		length, age := d.Standing, "-"
		if d.Length != nil {
			length = string(d.Measure) + " " + g.band(d.Length)
		}
		if d.Age != nil {
			age = months(d.Age)
		}
		rows = append(rows, []string{d.Name, here, g.band(d.Today), g.band(d.Adult), length, age})
	}
	g.heading("Dimensions")
	g.table(rows)
	g.list(append([]string{"ages: " + o.Growth}, o.Notes...))
	if n := o.Next; n != nil {
		g.heading("Next size to buy")
		size := g.of(n.Length) + " × " + g.of(n.Width)
		if n.Height > 0 {
			size += " × " + g.of(n.Height) + " inside"
		}
		g.list([]string{size, n.Basis})
	}
	g.sources(o.Sources)
	g.printf("\ncatalogue %s, engine %s\n", o.Catalogue, o.Engine)
	return g.err
}

// months writes ages without fractions.
func months(b *quantity.Band) string {
	out := quantity.Band{Unit: b.Unit}
	for _, k := range []struct{ from, to **float64 }{{&b.Low, &out.Low}, {&b.High, &out.High}} {
		if *k.from != nil {
			*k.to = new(float64(int(**k.from + 0.5)))
		}
	}
	return out.String()
}
