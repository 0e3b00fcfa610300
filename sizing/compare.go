package sizing

import (
	"cmp"
	"fmt"
	"slices"

	"denwright/care"
	"denwright/sizing/score"
)

// ComparisonQuestion puts two or more setups side by side for the same animals, or
// one setup for the animals of several species.
type ComparisonQuestion struct {
	Jurisdiction string            `json:"jurisdiction,omitzero"`
	Keepings     []ComparedAnimals `json:"keepings"`
	Setups       []ComparedSetup   `json:"setups"`
}

// ComparedAnimals are the animals of one species.
type ComparedAnimals struct {
	Species string   `json:"species"`
	Animals []Animal `json:"animals"`
}

// ComparedSetup is an enclosure with a name to tell it by.
type ComparedSetup struct {
	Name  string      `json:"name"`
	Setup score.Setup `json:"setup"`
}

// Comparison lays the answers side by side.
type Comparison struct {
	// Columns are in the order asked; Rank says which is nearest to what is wanted.
	Columns []ComparedColumn `json:"columns"`
	// Rows have one cell for each column; nil where the criterion does not apply.
	Rows    []ComparedRow    `json:"rows"`
	Hazards []ComparedHazard `json:"hazards"`
	Ranking string           `json:"ranking"`
	// Differ names the criteria in which the columns do not stand alike.
	Differ    []string   `json:"differ"`
	Cautions  []string   `json:"cautions"`
	Sources   []Citation `json:"sources"`
	Catalogue string     `json:"catalogue_revision"`
	Engine    string     `json:"engine_version"`
}

// ComparedColumn is one setup for one species.
type ComparedColumn struct {
	Name    string       `json:"name"` // of the setup, or of the species
	Species SpeciesRef   `json:"species"`
	Animals []AnimalSize `json:"animals"`
	Rank    int          `json:"rank"` // 1 is nearest; equal ones share a rank
	Fit     Fit          `json:"fit"`

	Verdict       score.Verdict  `json:"verdict"`
	WorstVerdict  score.Verdict  `json:"worst_verdict"`
	BestVerdict   score.Verdict  `json:"best_verdict"`
	Score         score.Interval `json:"score"`
	Weakest       score.Interval `json:"weakest"`
	BeforeHazards score.Interval `json:"score_before_hazards"`
	Lawful        *LawfulFinding `json:"lawful,omitzero"`
	// Changes are the most helpful ones, at most three.
	Changes  []score.Change `json:"changes"`
	Warnings []Warning      `json:"warnings,omitzero"`
}

// ComparedRow is one criterion over all columns.
type ComparedRow struct {
	Criterion string           `json:"criterion"`
	Name      string           `json:"name"`
	Cells     []*score.Finding `json:"cells"`
}

// ComparedHazard is one hazard that is there, or may be, in some column.
type ComparedHazard struct {
	Code  string           `json:"code"`
	Name  string           `json:"name"`
	Cells []score.Presence `json:"cells"`
}

const maxColumns = 12

// Compare assesses each setup for each species, of which one must be single, and
// lays the findings side by side. Every column is exactly what Assess answers. The
// error is an Invalid that lists every bad field.
func Compare(c *care.Catalogue, q ComparisonQuestion) (*Comparison, error) {
	var p problems
	p.jurisdiction(c, q.Jurisdiction)
	switch {
	case len(q.Keepings) == 0:
		p.add("/keepings", "is empty", "give a species with its animals")
	case len(q.Setups) == 0:
		p.add("/setups", "is empty", "give an enclosure with a name")
	case len(q.Keepings) > 1 && len(q.Setups) > 1:
		p.add("/setups", "several setups and several species", "compare several setups for one species, or one setup for several")
	case len(q.Keepings) == 1 && len(q.Setups) == 1:
		p.add("/setups", "there is nothing to compare", "give two or more setups, or two or more species")
	}
	if n := max(len(q.Keepings), len(q.Setups)); n > maxColumns {
		p.add("/setups", fmt.Sprintf("%d columns, more than %d", n, maxColumns), "compare fewer at a time")
	}
	if len(p.bad) > 0 {
		return nil, p.bad
	}
	out := &Comparison{Rows: []ComparedRow{}, Hazards: []ComparedHazard{}, Differ: []string{}, Catalogue: c.Revision, Engine: EngineVersion,
		Ranking: "by fit, which goes by the worst case; then by the middle of the score interval before hazards. Scores of different species say how near each setup is to what that species needs, not which animal is better to keep."}
	var answers []*Assessment
	for i, keeping := range q.Keepings {
		for j, s := range q.Setups {
			a, err := Assess(c, AssessmentQuestion{Question: Question{Species: keeping.Species, Animals: keeping.Animals, Jurisdiction: q.Jurisdiction}, Setup: s.Setup})
			if bad, ok := err.(Invalid); ok {
				for _, b := range bad {
					b.Field = comparedField(b.Field, i, j)
					if !slices.ContainsFunc(p.bad, func(o Problem) bool { return o.Field == b.Field && o.Reason == b.Reason }) {
						p.bad = append(p.bad, b)
					}
				}
				continue
			}
			if err != nil {
				return nil, err
			}
			name := s.Name
			if len(q.Keepings) > 1 {
				name = a.Species.Common
			} else if name == "" {
				name = fmt.Sprintf("setup %d", j+1)
			}
			answers = append(answers, a)
			out.Columns = append(out.Columns, ComparedColumn{Name: name, Species: a.Species, Animals: a.Animals, Fit: FitOf(a.WorstVerdict, a.BestVerdict),
				Verdict: a.Verdict, WorstVerdict: a.WorstVerdict, BestVerdict: a.BestVerdict, Score: a.Score, Weakest: a.Weakest, BeforeHazards: a.BeforeHazards,
				Lawful: a.Lawful, Changes: a.Changes[:min(3, len(a.Changes))], Warnings: a.Warnings})
		}
	}
	if len(p.bad) > 0 {
		return nil, p.bad
	}
	out.lay(answers)
	out.rank()
	var keys []string
	for _, a := range answers {
		for _, f := range a.Findings {
			keys = append(keys, f.Sources...)
		}
		for _, line := range a.Cautions {
			if !slices.Contains(out.Cautions, line) {
				out.Cautions = append(out.Cautions, line)
			}
		}
	}
	out.Sources = cite(c, keys)
	return out, nil
}

// comparedField says which entry a bad field of one assessment belongs to.
func comparedField(field string, keeping, setup int) string {
	switch {
	case field == "/jurisdiction":
		return field
	case len(field) >= 6 && field[:6] == "/setup":
		return fmt.Sprintf("/setups/%d%s", setup, field)
	}
	return fmt.Sprintf("/keepings/%d%s", keeping, field)
}

// lay puts criteria and hazards in rows, in the order in which they first come up.
func (o *Comparison) lay(answers []*Assessment) {
	for i, a := range answers {
		for j := range a.Findings {
			f := &a.Findings[j]
			at := slices.IndexFunc(o.Rows, func(r ComparedRow) bool { return r.Criterion == f.Criterion })
			if at < 0 {
				at = len(o.Rows)
				o.Rows = append(o.Rows, ComparedRow{f.Criterion, f.Name, make([]*score.Finding, len(answers))})
			}
			o.Rows[at].Cells[i] = f
		}
		for _, h := range a.Hazards {
			at := slices.IndexFunc(o.Hazards, func(r ComparedHazard) bool { return r.Code == h.Code })
			if at < 0 {
				at = len(o.Hazards)
				o.Hazards = append(o.Hazards, ComparedHazard{h.Code, h.Name, make([]score.Presence, len(answers))})
			}
			if cell := &o.Hazards[at].Cells[i]; *cell == "" || h.Presence == score.Definite || h.Presence == score.Possible && *cell != score.Definite {
				*cell = h.Presence
			}
		}
	}
	o.Hazards = slices.DeleteFunc(o.Hazards, func(h ComparedHazard) bool {
		return !slices.ContainsFunc(h.Cells, func(p score.Presence) bool { return p == score.Definite || p == score.Possible })
	})
	for _, r := range o.Rows {
		first := r.Cells[0]
		if slices.ContainsFunc(r.Cells, func(f *score.Finding) bool {
			return (f == nil) != (first == nil) || f != nil && f.Standing != first.Standing
		}) {
			o.Differ = append(o.Differ, r.Criterion)
		}
	}
}

func (o *Comparison) rank() {
	order := make([]*ComparedColumn, len(o.Columns))
	for i := range o.Columns {
		order[i] = &o.Columns[i]
	}
	compare := func(a, b *ComparedColumn) int {
		middle := func(c *ComparedColumn) float64 { return c.BeforeHazards.Worst + c.BeforeHazards.Best }
		return cmp.Or(cmp.Compare(slices.Index(Fits, a.Fit), slices.Index(Fits, b.Fit)), cmp.Compare(middle(b), middle(a)))
	}
	slices.SortStableFunc(order, compare)
	for i, c := range order {
		c.Rank = i + 1
		if i > 0 && compare(order[i-1], c) == 0 {
			c.Rank = order[i-1].Rank
		}
	}
}
