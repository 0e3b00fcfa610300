package main

import (
	"context"
	"fmt"
	"strings"

	"denwright/care"
)

const recordsUsage = `denwright records check [flags]

Checks every record of the catalogue for contradictions and prints what is
covered: how many species have a range for each parameter, and how firm it is.
Fails when a contradiction is not explained in its record.

Flags:
`

var grades = []care.Grade{care.Firm, care.Fair, care.Thin, care.RecalledOnly}

func (p *program) records(_ context.Context, args []string) error {
	f := p.flags("records", recordsUsage)
	markdown := f.Bool("markdown", false, "write the coverage as Markdown, as in care/data/COVERAGE.md")
	thinnest := f.Int("thinnest", 15, "how many of the thinnest species to list")
	rest, err := parse(f, args)
	if err != nil {
		return err
	}
	if len(rest) != 1 || rest[0] != "check" {
		f.Usage()
		return usageError{"say what to do with the records: check"}
	}
	r := p.catalogue.Check()
	g := &page{w: p.out}
	if *markdown {
		p.coverageMarkdown(g, r)
		return g.err
	}
	g.printf("catalogue %s\n", p.catalogue)
	g.heading("Claims")
	g.table([][]string{{"read", fmt.Sprint(r.Claims[care.Read])}, {"read-through", fmt.Sprint(r.Claims[care.ReadThrough])},
		{"recalled", fmt.Sprint(r.Claims[care.Recalled])}, {"of these held but never used", fmt.Sprint(r.Implausible)}})
	g.heading("Coverage, adults: species by grade")
	g.table(coverageRows(r))
	g.heading("Thinnest: parameters known, and of these not resting on recall alone")
	rows := [][]string{}
	for _, t := range r.Thinnest[:min(*thinnest, len(r.Thinnest))] {
		rows = append(rows, []string{t.Species.ID, fmt.Sprintf("%d of %d known", t.Known, t.Applicable), fmt.Sprintf("%d read", t.Read)})
	}
	g.table(rows)
	unexplained := 0
	if len(r.Contradictions) > 0 {
		g.heading("Contradictions")
		var lines []string
		for _, k := range r.Contradictions {
			line := k.Species + ": " + k.What
			if k.Explained == "" {
				unexplained++
				line += " — NOT EXPLAINED"
			} else {
				line += " — explained: " + k.Explained
			}
			lines = append(lines, line)
		}
		g.list(lines)
	}
	if g.err == nil && unexplained > 0 {
		return fmt.Errorf("%d contradictions are not explained in their records", unexplained)
	}
	return g.err
}

func coverageRows(r care.Report) [][]string {
	rows := [][]string{{"parameter", "firm", "fair", "thin", "recalled", "not known", "applies to"}}
	for _, k := range r.Coverage {
		row := []string{string(k.Parameter)}
		for _, grade := range grades {
			row = append(row, fmt.Sprint(k.ByGrade[grade]))
		}
		rows = append(rows, append(row, fmt.Sprint(k.NotKnown), fmt.Sprint(k.Applicable)))
	}
	return rows
}

// coverageMarkdown writes the report kept in the repository, species by species.
func (p *program) coverageMarkdown(g *page, r care.Report) {
	g.printf("# What the catalogue covers\n\nWritten by `denwright records check --markdown`; a test fails when it is out of date.\n\n")
	g.printf("%d species, %d rules, %d sources. Claims: %d read, %d read-through, %d recalled; of these %d are held but never used.\n\n",
		len(p.catalogue.Species()), len(p.catalogue.Rules()), len(p.catalogue.Sources()), r.Claims[care.Read], r.Claims[care.ReadThrough], r.Claims[care.Recalled], r.Implausible)
	for i, row := range coverageRows(r) {
		g.printf("| %s |\n", strings.Join(row, " | "))
		if i == 0 {
			g.printf("|%s\n", strings.Repeat(" --- |", len(row)))
		}
	}
	g.printf("\n## Species by parameter\n\nThe grade of each working range; a dash: not known; blank: does not apply.\n\n")
	var bound []care.Parameter
	for _, k := range care.Parameters {
		if k.Sides != care.Context {
			bound = append(bound, k)
		}
	}
	g.printf("| species |")
	for _, k := range bound {
		g.printf(" %s |", strings.ReplaceAll(string(k.Code), "_", " "))
	}
	g.printf("\n|%s\n", strings.Repeat(" --- |", len(bound)+1))
	for _, s := range p.catalogue.Species() {
		g.printf("| %s |", s.Scientific)
		for _, k := range bound {
			w := p.catalogue.Range(s.ID, k.Code, care.Adult)
			mark := string(w.Grade)
			switch w.Standing {
			case care.NotKnown:
				mark = "–"
			case care.NotApplicable:
				mark = " "
			}
			g.printf(" %s |", mark)
		}
		g.printf("\n")
	}
}
