package main

import (
	"context"
	"flag"
	"fmt"
	"strings"

	"denwright/care"
)

const recordsUsage = `denwright records ACTION [flags]

The care records: files as in care/data, such as species/testudo-hermanni.yaml. The
program carries them; a correction is a revision, drafted by one curator, reviewed by
another, then published. Each step is kept with who, when and why.

  denwright records check                    check every record the program carries and
                                             print what is covered; fails when a
                                             contradiction is not explained
  denwright records check ID...              check the catalogue as it would be with
                                             these revisions in force
  denwright records export DIR               write the files in force into a new folder
  denwright records draft --why TEXT PATH FILE       propose FILE as the text of PATH
  denwright records import --why TEXT DIR    draft each file of DIR that differs
  denwright records revisions                list them, newest first
  denwright records show ID                  one, with its steps and text
  denwright records difference ID            against the text it was drafted from
  denwright records review --why TEXT ID...  by a second curator, of other name
  denwright records publish --why TEXT ID... all together, if the whole catalogue holds
  denwright records withdraw --why TEXT ID... at once; the program's own text is in force
                                             again
`

func (p *program) records(ctx context.Context, args []string) error {
	return p.dispatch(ctx, "records", recordsUsage, args, map[string]action{
		"check": (*program).checkRecords, "export": (*program).exportRecords, "draft": (*program).draftRecord, "import": (*program).importRecords,
		"revisions": (*program).listRevisions, "show": (*program).showRevision, "difference": (*program).differRevision,
		"review": (*program).reviewRevisions, "publish": (*program).publishRevisions, "withdraw": (*program).withdrawRevisions,
	})
}

var grades = []care.Grade{care.Firm, care.Fair, care.Thin, care.RecalledOnly}

func (p *program) checkRecords(ctx context.Context, f *flag.FlagSet, args []string) error {
	markdown := f.Bool("markdown", false, "write the coverage as Markdown, as in care/data/COVERAGE.md")
	thinnest := f.Int("thinnest", 15, "how many of the thinnest species to list")
	inForce := f.Bool("in-force", false, "check the records in force in the database, not those that the program carries")
	flags := keepingFlags(f)
	ids, err := parse(f, args)
	if err != nil {
		return err
	}
	c, err := loadEmbedded()
	switch {
	case err != nil:
		return err
	case len(ids) > 0:
		return flags.with(ctx, func(k *kept) error {
			if err := k.CheckRevisions(ctx, k.who, ids...); err != nil {
				return err
			}
			_, err := fmt.Fprintln(p.out, "the whole catalogue holds with these in force")
			return err
		})
	case *inForce:
		err = flags.with(ctx, func(k *kept) (err error) {
			c, err = k.Snapshot(ctx)
			return err
		})
	}
	if err != nil {
		return err
	}
	p.catalogue = c
	r := c.Check()
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
