package main

import (
	"context"
	"path/filepath"
	"strconv"
	"strings"

	"denwright/care/quantity"
	"denwright/sizing"
	"denwright/sizing/score"
)

const compareUsage = `denwright compare [flags] FILE...

Puts two or more setups side by side for the animals of the first file, or one setup
for several species. Each FILE holds an assessment as denwright assess takes it.

  denwright compare tank.json crate.json
  denwright compare --species leopard-gecko,corn-snake tank.json

Flags:
`

func (p *program) compare(_ context.Context, args []string) error {
	f := p.flags("compare", compareUsage)
	var units unitsFlag
	var species commas
	f.Var(&units, "units", "metric or imperial")
	f.Var(&species, "species", "one adult of each of these `species` against the setup of the file")
	asJSON := f.Bool("json", false, "write JSON")
	rest, err := parse(f, args)
	if err != nil {
		return err
	}
	if len(rest) == 0 || len(species) > 0 && len(rest) > 1 {
		f.Usage()
		return usageError{"name the files to compare, or one file and --species"}
	}
	var q sizing.ComparisonQuestion
	for i, file := range rest {
		a, err := p.question(file)
		if err != nil {
			return err
		}
		name := strings.TrimSuffix(filepath.Base(file), filepath.Ext(file))
		q.Setups = append(q.Setups, sizing.ComparedSetup{Name: name, Setup: a.Setup})
		if i == 0 {
			q.Jurisdiction = a.Jurisdiction
			q.Keepings = []sizing.ComparedAnimals{{Species: a.Species, Animals: a.Animals}}
		}
	}
	if len(species) > 0 {
		q.Keepings = nil
		for _, s := range species {
			q.Keepings = append(q.Keepings, sizing.ComparedAnimals{Species: s, Animals: []sizing.Animal{{Count: 1, Stage: "adult"}}})
		}
	}
	c, err := sizing.Compare(p.catalogue, q)
	if err != nil {
		return err
	}
	if *asJSON {
		return writeJSON(p.out, c, units.System)
	}
	g := &page{w: p.out, units: units.System}
	g.comparison(c)
	return g.err
}

func (g *page) comparison(c *sizing.Comparison) {
	row := func(name string, of func(int) string) []string {
		out := []string{name}
		for i := range c.Columns {
			out = append(out, of(i))
		}
		return out
	}
	rows := [][]string{
		row("", func(i int) string { return c.Columns[i].Name }),
		row("animal", func(i int) string { return c.Columns[i].Species.Common }),
		row("rank", func(i int) string { return strconv.Itoa(c.Columns[i].Rank) }),
		row("fit", func(i int) string { return string(c.Columns[i].Fit) }),
		row("verdict", func(i int) string { return string(c.Columns[i].Verdict) }),
		row("score", func(i int) string { return interval(c.Columns[i].Score) }),
		row("before hazards", func(i int) string { return interval(c.Columns[i].BeforeHazards) }),
	}
	if c.Columns[0].Lawful != nil {
		rows = append(rows, row("lawful size", func(i int) string { return c.Columns[i].Lawful.Standing }))
	}
	for _, h := range c.Hazards {
		rows = append(rows, row("hazard: "+h.Name, func(i int) string { return orDash(string(h.Cells[i])) }))
	}
	for _, r := range c.Rows {
		rows = append(rows, row(r.Name, func(i int) string {
			f := r.Cells[i]
			if f == nil {
				return "-"
			}
			return g.here(f) + ", " + string(f.Standing)
		}))
	}
	g.table(rows)
	g.heading("How they are ranked")
	g.list([]string{c.Ranking})
	g.sources(c.Sources)
	g.heading("Cautions")
	g.list(c.Cautions)
	g.printf("\ncatalogue %s, engine %s\n", c.Catalogue, c.Engine)
}

// here writes what was measured.
func (g *page) here(f *score.Finding) string {
	switch {
	case f.Value != nil:
		return g.band(&quantity.Band{Low: &f.Value.Number, High: &f.Value.Number, Unit: f.Value.Unit})
	case f.Between != nil:
		return g.band(f.Between)
	case f.Answer != "":
		return f.Answer
	}
	return "-"
}
