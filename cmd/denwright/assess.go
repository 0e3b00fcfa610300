package main

import (
	"bytes"
	"context"
	_ "embed"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"strings"

	"denwright/care/quantity"
	"denwright/sizing"
	"denwright/sizing/score"

	"github.com/go-json-experiment/json"
)

const assessUsage = `denwright assess [flags] FILE

Scores an enclosure as it stands. FILE holds the same JSON as POST /v1/assessments
takes; - reads standard input. Leave out what was not measured.

  denwright assess --blank pogona-vitticeps > setup.json    a form: null is not known;
                      write {"value": 120, "unit": "cm"} over what you measured
  denwright assess setup.json

Exit codes: 0 suitable, 10 suitable after changes, 11 unsuitable, 12 cannot tell.

Flags:
`

// maxFile bounds what is read from a file, like the API's body limit.
const maxFile = 1 << 20

func (p *program) assess(_ context.Context, args []string) error {
	f := p.flags("assess", assessUsage)
	var units unitsFlag
	f.Var(&units, "units", "metric or imperial")
	asJSON := f.Bool("json", false, "write JSON")
	blank := f.Bool("blank", false, "write a form for the species named, to fill in")
	rest, err := parse(f, args)
	if err != nil {
		return err
	}
	if len(rest) == 0 {
		f.Usage()
		return usageError{"name a file, or - for standard input"}
	}
	if *blank {
		return p.form(strings.Join(rest, " "))
	}
	if len(rest) > 1 {
		return usageError{"one file at a time"}
	}
	raw, told, err := p.put("/v1/assessments", rest[0], units.System)
	if err != nil {
		return err
	}
	if told.status != http.StatusOK {
		return p.refuse(told, *asJSON)
	}
	var q sizing.AssessmentQuestion
	if err := json.Unmarshal(raw, &q); err != nil {
		return fmt.Errorf("read the question: %w", err)
	}
	a, err := sizing.Assess(p.catalogue, q)
	if err != nil {
		return err
	}
	if *asJSON {
		err = p.pass(told)
	} else {
		g := &page{w: p.out, units: units.System}
		g.assessment(a)
		err = g.err
	}
	if err != nil {
		return err
	}
	return verdictCode(a.Verdict)
}

// verdictCode gives the exit code of a verdict.
func verdictCode(v score.Verdict) error {
	switch v {
	case score.AfterChanges:
		return exitError(exitAfterChanges)
	case score.Unsuitable:
		return exitError(exitUnsuitable)
	case score.CannotTell:
		return exitError(exitCannotTell)
	}
	return nil
}

func (p *program) read(name string) ([]byte, error) {
	in := p.in
	if name != "-" {
		f, err := os.Open(name)
		if errors.Is(err, os.ErrNotExist) {
			return nil, usageError{fmt.Sprintf("no file %q", name)}
		}
		if err != nil {
			return nil, err
		}
		defer f.Close() // read only: nothing to lose
		in = f
	}
	raw, err := io.ReadAll(io.LimitReader(in, maxFile+1))
	if err != nil {
		return nil, fmt.Errorf("read %s: %w", name, err)
	}
	if len(raw) > maxFile {
		return nil, usageError{fmt.Sprintf("%s is larger than 1 MB", name)}
	}
	return raw, nil
}

// withoutNulls drops the fields that a form leaves null: they are not known. What
// is not JSON is passed on, for the API to say where it breaks.
func withoutNulls(raw []byte) ([]byte, error) {
	if !bytes.Contains(raw, []byte("null")) {
		return raw, nil
	}
	var tree any
	if err := json.Unmarshal(raw, &tree); err != nil {
		return raw, nil
	}
	out, err := json.Marshal(pruned(tree), json.Deterministic(true))
	if err != nil {
		return nil, fmt.Errorf("drop what is null: %w", err)
	}
	return out, nil
}

func pruned(v any) any {
	switch v := v.(type) {
	case map[string]any:
		for k, x := range v {
			if x == nil {
				delete(v, k)
			} else {
				v[k] = pruned(x)
			}
		}
	case []any:
		for i, x := range v {
			v[i] = pruned(x)
		}
	}
	return v
}

//go:embed blank.json
var blankForm string

// form writes an assessment in which nothing is known yet, to be filled in.
func (p *program) form(name string) error {
	s, err := p.one(name)
	if err != nil {
		return err
	}
	_, err = io.WriteString(p.out, strings.Replace(blankForm, `"species": ""`, `"species": "`+s.ID+`"`, 1))
	return err
}

func (g *page) assessment(a *sizing.Assessment) {
	g.animals(a.Species, a.Animals)
	g.printf("\nVerdict: %s\n", strings.ToUpper(string(a.Verdict)))
	if a.Verdict == score.CannotTell {
		g.printf("  at worst %s, at best %s\n", a.WorstVerdict, a.BestVerdict)
	}
	g.printf("Score %s (weighted mean, worst to best case); weakest criterion %s\n", interval(a.Score), interval(a.Weakest))
	if a.Score != a.BeforeHazards {
		g.printf("  a hazard vetoes, or may: hazards aside the mean is %s\n", interval(a.BeforeHazards))
	}
	g.hazards(a.Hazards)
	g.findings(a.Findings)
	if a.Lawful != nil {
		g.heading("Lowest lawful size, " + a.Lawful.Jurisdiction)
		g.list(append([]string{a.Lawful.Standing}, a.Lawful.Why...))
	}
	if len(a.Open) > 0 {
		g.heading("Not known")
		rows := [][]string{}
		for _, o := range a.Open {
			decides := ""
			if o.Decides {
				decides = "can change the verdict"
			}
			rows = append(rows, []string{o.What, decides})
		}
		g.table(rows)
	}
	if len(a.Changes) > 0 {
		g.heading("Changes that help most")
		rows := [][]string{{"change", "effort", "gain, worst to best case", "then"}}
		for _, c := range a.Changes {
			rows = append(rows, []string{c.What, string(c.Kind), interval(c.Gain), string(c.After.Verdict)})
		}
		g.table(rows)
	}
	for _, w := range a.Warnings {
		g.printf("\nLook again at %s: %s\n", w.Field, w.Text)
	}
	g.sources(a.Sources)
	g.heading("Cautions")
	g.list(a.Cautions)
	g.printf("\ncatalogue %s, engine %s\n", a.Catalogue, a.Engine)
}

func interval(i score.Interval) string {
	worst, best := fmt.Sprintf("%.2f", i.Worst), fmt.Sprintf("%.2f", i.Best)
	if worst == best {
		return worst
	}
	return worst + " to " + best
}

func (g *page) hazards(hazards []score.Hazard) {
	first := true
	for _, h := range hazards {
		if h.Presence != score.Definite && h.Presence != score.Possible {
			continue
		}
		if first {
			g.heading("Hazards")
			first = false
		}
		g.list([]string{string(h.Presence) + ": " + sentences(h.Why, "Remedy: "+h.Remedy, h.Caution)})
	}
}

func (g *page) findings(findings []score.Finding) {
	g.heading("Findings")
	rows := [][]string{{"criterion", "here", "wanted", "standing", "score", "grade", "sources"}}
	for _, f := range findings {
		here := f.Answer
		switch {
		case f.Value != nil:
			here = g.band(&quantity.Band{Low: &f.Value.Number, High: &f.Value.Number, Unit: f.Value.Unit})
		case f.Between != nil:
			here = g.band(f.Between)
		case here == "":
			here = "-"
		}
		wanted := g.band(f.Target)
		if f.Strictest != nil {
			wanted += ", for the largest " + g.band(f.Strictest)
		}
		mark := "-"
		if f.Score != nil {
			mark = interval(*f.Score)
		}
		rows = append(rows, []string{f.Name, here, wanted, string(f.Standing), mark, orDash(grade(f)), strings.Join(f.Sources, ", ")})
	}
	g.table(rows)
}

// grade says what the target rests on, in a word or two.
func grade(f score.Finding) string {
	if f.Grade == "" {
		return f.Note
	}
	return string(f.Grade)
}

func orDash(s string) string {
	if s == "" {
		return "-"
	}
	return s
}
