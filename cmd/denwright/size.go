package main

import (
	"context"
	"flag"
	"fmt"
	"strconv"
	"strings"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing"
)

const sizeUsage = `denwright size [flags] NAME

What the animals need: floor, height, water, ground, zones and climate, each
figure with its grade and sources.

  denwright size --stage adult pogona-vitticeps
  denwright size --length 45cm --measure total --jurisdiction DE pogona-vitticeps
  denwright size --animal "count=1 stage=adult sex=male" --animal "count=2 stage=adult sex=female" testudo-hermanni

Flags:
`

// animalsFlag reads --animal "count=2 stage=adult length=45cm measure=total sex=female age=18", repeatable.
type animalsFlag []sizing.Animal

func (a *animalsFlag) String() string { return "" }

func (a *animalsFlag) Set(text string) error {
	out := sizing.Animal{Count: 1}
	for _, word := range strings.Fields(text) {
		key, value, ok := strings.Cut(word, "=")
		if !ok {
			return fmt.Errorf("%q is not key=value", word)
		}
		if err := setAnimal(&out, key, value); err != nil {
			return err
		}
	}
	*a = append(*a, out)
	return nil
}

func setAnimal(a *sizing.Animal, key, value string) (err error) {
	switch key {
	case "count":
		a.Count, err = strconv.Atoi(value)
	case "stage":
		a.Stage = care.Stage(value)
	case "sex":
		a.Sex = value
	case "measure":
		a.Measure = care.Measure(value)
	case "length":
		var l quantity.Length
		l, err = quantity.ParseLength(value)
		a.Length = &l
	case "age":
		var months float64
		months, err = strconv.ParseFloat(strings.TrimSuffix(value, "months"), 64)
		h := quantity.Hours(months * 730.5)
		a.Age = &h
	default:
		return fmt.Errorf("no key %q; use count, stage, length, measure, sex or age (months)", key)
	}
	if err != nil {
		return fmt.Errorf("%s: %w", key, err)
	}
	return nil
}

func (p *program) flags(name, usage string) *flag.FlagSet {
	f := flag.NewFlagSet(name, flag.ContinueOnError)
	f.SetOutput(p.err)
	f.Usage = func() {
		fmt.Fprint(p.err, usage)
		f.PrintDefaults()
	}
	return f
}

// parse reads flags wherever they stand, before or after the arguments. The
// package has said what is wrong, or shown the help, when it fails.
func parse(f *flag.FlagSet, args []string) (rest []string, err error) {
	for {
		if err := f.Parse(args); err != nil {
			return nil, usageError{}
		}
		args = f.Args()
		if len(args) == 0 {
			return rest, nil
		}
		rest, args = append(rest, args[0]), args[1:]
	}
}

func (p *program) size(_ context.Context, args []string) error {
	f := p.flags("size", sizeUsage)
	var animals animalsFlag
	var units unitsFlag
	one := sizing.Animal{Count: 1}
	simple := func(key string) func(string) error {
		return func(v string) error { return setAnimal(&one, key, v) }
	}
	f.Var(&animals, "animal", "animals that are alike, as `key=value` words: count, stage, length, measure, sex, age; may be repeated")
	f.Func("count", "how many animals, all alike (default 1)", simple("count"))
	f.Func("stage", "hatchling, juvenile, subadult or adult", simple("stage"))
	f.Func("length", "measured `length` of the largest, such as 45cm or 18in", simple("length"))
	f.Func("measure", "what the length is: snout-vent, total or shell", simple("measure"))
	f.Func("age", "age in `months`", simple("age"))
	f.Var(&units, "units", "metric or imperial")
	jurisdiction := f.String("jurisdiction", "", "ISO 3166 `code`, such as DE, AT or AU-NSW: gives the lowest lawful size there")
	asJSON := f.Bool("json", false, "write JSON")
	rules := f.Bool("rules", false, "list every published rule and why it does or does not govern")
	rest, err := parse(f, args)
	if err != nil {
		return err
	}
	if len(rest) == 0 {
		f.Usage()
		return usageError{"name a species"}
	}
	if len(animals) == 0 {
		animals = animalsFlag{one}
	}
	r, err := sizing.Require(p.catalogue, sizing.Question{Species: strings.Join(rest, " "), Animals: animals, Jurisdiction: *jurisdiction})
	if err != nil {
		return err
	}
	if *asJSON {
		return writeJSON(p.out, r, units.System)
	}
	g := &page{w: p.out, units: units.System}
	g.requirement(r, *rules)
	return g.err
}

func (g *page) animals(species sizing.SpeciesRef, animals []sizing.AnimalSize) {
	g.printf("%s (%s)\n", species.Common, species.Scientific)
	for _, a := range animals {
		g.printf("  %d %s", a.Count, a.Stage)
		for _, l := range a.Lengths {
			g.printf(", %s %s (%s)", l.Measure, g.band(&l.Range), l.Basis)
		}
		g.printf("\n")
	}
}

func (g *page) requirement(r *sizing.Requirement, rules bool) {
	g.animals(r.Species, r.Animals)
	g.space(r)
	g.heading("Ground and climbing")
	depth := g.band(r.Substrate.Depth.Range)
	if r.Substrate.Depth.Range == nil {
		depth = standing(r.Substrate.Depth.Standing)
	}
	rows := [][]string{{"substrate", r.Substrate.Kind, r.Substrate.Basis}, {"depth", depth, string(r.Substrate.Depth.Grade)}}
	if r.Substrate.RuleDepth > 0 {
		rows = append(rows, []string{"depth by rule", g.of(r.Substrate.RuleDepth)})
	}
	rows = append(rows, []string{"climbing", r.Climbing.Text, r.Climbing.Basis})
	g.table(rows)
	g.heading("Zones")
	rows = [][]string{{"zone", "share of floor", "area", "basis"}}
	for _, z := range r.Zones {
		rows = append(rows, []string{z.Name, g.of(z.FloorShare), g.of(z.Area), z.Basis})
	}
	g.table(rows)
	g.targets(r.Targets)
	if rules {
		g.rules(r.Rules)
	}
	if r.Adult != nil {
		g.heading("When adult")
		a := r.Adult.Advised
		g.table([][]string{{"floor", g.of(a.Length) + " × " + g.of(a.Width), g.of(a.FloorArea)}, {"usable height", g.of(a.UsableHeight)}})
	}
	for _, w := range r.Warnings {
		g.printf("\nLook again at %s: %s\n", w.Field, w.Text)
	}
	g.sources(r.Sources)
	g.heading("Cautions")
	g.list(r.Cautions)
	g.printf("\ncatalogue %s, engine %s\n", r.Catalogue, r.Engine)
}

func (g *page) space(r *sizing.Requirement) {
	g.heading("Space")
	spaces := []*sizing.Space{&r.Advised}
	head := []string{"", "advised"}
	if r.LowestLawful != nil {
		spaces, head = append(spaces, &r.LowestLawful.Space), append(head, "lowest lawful, "+r.LowestLawful.Jurisdiction)
	}
	if r.Laboratory != nil {
		spaces, head = append(spaces, r.Laboratory), append(head, "laboratory floor")
	}
	rows := [][]string{head}
	row := func(name string, of func(*sizing.Space) string) {
		cells, any := []string{name}, false
		for _, s := range spaces {
			c := of(s)
			any = any || c != "-"
			cells = append(cells, c)
		}
		if any {
			rows = append(rows, cells)
		}
	}
	row("floor length", func(s *sizing.Space) string { return g.of(s.Length) })
	row("floor width", func(s *sizing.Space) string { return g.of(s.Width) })
	row("floor area", func(s *sizing.Space) string { return g.of(s.FloorArea) })
	row("usable height", func(s *sizing.Space) string { return g.of(s.UsableHeight) })
	row("inside height to build", func(s *sizing.Space) string {
		if s.Structure == nil {
			return "-"
		}
		return g.of(s.Structure.InsideHeight)
	})
	water := func(of func(*sizing.WaterSpace) string) func(*sizing.Space) string {
		return func(s *sizing.Space) string {
			if s.Water == nil {
				return "-"
			}
			return of(s.Water)
		}
	}
	row("water surface", water(func(w *sizing.WaterSpace) string { return g.of(w.Area) }))
	row("water depth", water(func(w *sizing.WaterSpace) string { return g.of(w.Depth) }))
	row("water", water(func(w *sizing.WaterSpace) string { return g.of(w.Volume) }))
	g.table(rows)
	if r.LowestLawful != nil && r.LowestLawful.Why != "" {
		g.list([]string{"lowest lawful, " + r.LowestLawful.Jurisdiction + ": " + r.LowestLawful.Why})
	}
	for _, gov := range r.Advised.Governed {
		by := gov.Own
		if gov.Rule != "" {
			by = "rule " + gov.Rule + ", source " + gov.Source
		}
		g.list([]string{strings.ReplaceAll(gov.Dimension, "_", " ") + " governed by " + by})
	}
	g.list(r.Advised.Notes)
}

func (g *page) sources(sources []sizing.Citation) {
	g.heading("Sources")
	var lines []string
	for _, s := range sources {
		line := s.Key + ": " + s.Title
		for _, more := range []string{s.Publisher, s.Year} {
			if more != "" {
				line += ", " + more
			}
		}
		lines = append(lines, line+" ("+string(s.Kind)+"; read: "+s.ReadHow+")")
	}
	g.list(lines)
}

func (g *page) targets(targets []sizing.Target) {
	g.heading("Climate and company")
	rows := [][]string{{"parameter", "range", "grade", "agreement", "sources"}}
	var notes []string // in order of first use
	about := map[string][]string{}
	for _, t := range targets {
		if t.Standing == care.NotApplicable {
			continue
		}
		if t.Range == nil {
			rows = append(rows, []string{t.Name, standing(t.Standing)})
			continue
		}
		rows = append(rows, []string{t.Name, g.band(t.Range), string(t.Grade), string(t.Agreement), strings.Join(t.SourceKeys, ", ")})
		for _, n := range t.Notes {
			if strings.HasPrefix(n, "recalled:") || strings.HasPrefix(n, "a single figure") {
				continue // the grade says so; the claims show the other
			}
			if about[n] == nil {
				notes = append(notes, n)
			}
			about[n] = append(about[n], t.Name)
		}
	}
	g.table(rows)
	for _, n := range notes {
		g.list([]string{n + ": " + strings.Join(about[n], "; ")})
	}
}

func (g *page) rules(rules []sizing.RuleAnswer) {
	g.heading("Published rules")
	rows := [][]string{{"rule", "where", "status", "read", "floor", "area", "height", "governs"}}
	for _, r := range rules {
		row := []string{r.ID, r.Jurisdiction, string(r.Status), string(r.Access), "-", "-", "-", r.Why}
		if k := r.Figures; k != nil {
			if k.Length > 0 || k.Width > 0 {
				row[4] = g.of(k.Length) + " × " + g.of(k.Width)
			}
			row[5], row[6] = g.of(k.FloorArea), g.of(k.Height)
		}
		if row[1] == "" {
			row[1] = "-"
		}
		if r.Governs {
			row[7] = "yes"
		}
		rows = append(rows, row)
	}
	g.table(rows)
}
