package main

import (
	"context"
	"fmt"
	"strings"

	"denwright/care"
	"denwright/sizing"
	"denwright/sizing/score"
)

const handoverUsage = `denwright handover [flags] FILE

One printable page for the adopter of an animal: what it needs, what this setup has,
what is missing, sources and cautions. FILE holds an assessment as denwright assess
takes it; - reads standard input.

Flags:
`

func (p *program) handover(_ context.Context, args []string) error {
	f := p.flags("handover", handoverUsage)
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
	h, err := sizing.HandOver(p.catalogue, q)
	if err != nil {
		return err
	}
	if *asJSON {
		return writeJSON(p.out, h, units.System)
	}
	g := &page{w: p.out, units: units.System}
	g.handover(h)
	return g.err
}

// What one page holds at 100 characters to the line: 85 lines of A4 in 8-point type.
// Lists that would push it over say how many more there are.
const (
	mostTasks   = 8
	mostMeasure = 4
	mostSources = 8
)

func (g *page) handover(h *sizing.Handover) {
	g.printf("HAND-OVER SHEET: %s (%s)\n", h.Species.Common, h.Species.Scientific)
	var who []string
	for _, a := range h.Animals {
		text := fmt.Sprintf("%d %s", a.Count, a.Stage)
		if a.Sex != "" {
			text += ", " + a.Sex
		}
		if len(a.Lengths) > 0 {
			text += fmt.Sprintf(", %s length %s", a.Lengths[0].Measure, g.band(&a.Lengths[0].Range))
		}
		who = append(who, text)
	}
	g.list([]string{strings.Join(append(who, h.About...), "; ")})
	g.printf("\n%s: %s\n", strings.ToUpper(string(h.Verdict)), h.Says)
	g.heading("What it needs, and what is here")
	rows := [][]string{{"", "wanted", "here", "", "rests on"}}
	for _, n := range h.Needs {
		wanted, here := "yes", n.Answer
		if n.Wanted != nil {
			wanted = g.band(n.Wanted)
		} else if n.Standing == score.TargetNotKnown {
			wanted = "not known"
		}
		if n.Here != nil {
			here = g.band(n.Here)
		}
		standing, rests := string(n.Standing), string(n.Grade)
		switch {
		case n.Standing == score.TargetNotKnown:
			standing = ""
		case n.Standing == score.Short && n.Wanted == nil:
			standing = "missing"
		}
		if n.Grade == care.RecalledOnly {
			rests = "memory"
		}
		name := strings.Replace(n.Name, "ultraviolet light that costs no warmth and no cover", "UV, as warm and covered", 1)
		rows = append(rows, []string{name, wanted, orDash(here), standing, rests})
	}
	g.table(rows)
	if len(h.Missing) > 0 {
		g.heading("Missing: do this first")
		var lines []string
		for _, m := range h.Missing {
			text := strings.TrimRight(m.What, ".")
			if m.To != nil {
				text += " to " + g.band(m.To)
			}
			if m.Hazard == score.Definite {
				text = "HAZARD. " + text
			}
			lines = append(lines, text)
		}
		g.list(first(lines, mostTasks))
	}
	if len(h.Measure) > 0 {
		g.heading("Nobody measured yet")
		g.list([]string{strings.Join(first(h.Measure, mostMeasure), "; ")})
	}
	g.heading("Later")
	later := []string{h.Grows, h.Company}
	if h.Lawful != nil {
		later = append(later, "Lowest lawful size in "+h.Lawful.Jurisdiction+": "+h.Lawful.Standing+".")
	}
	g.list(later)
	g.heading("Cautions")
	g.list(h.Cautions)
	g.heading("Sources")
	var sources []string
	for _, s := range h.Sources {
		text := s.Title
		if s.Year != "" {
			text += " (" + s.Year + ")"
		}
		sources = append(sources, text)
	}
	g.list([]string{strings.Join(first(sources, mostSources), "; ")})
	if h.Recalled > 0 {
		g.list([]string{fmt.Sprintf("%d of the figures wanted rest on memory: recalled, not read in a publication.", h.Recalled)})
	}
	g.printf("catalogue %s, engine %s\n", h.Catalogue, h.Engine)
}

// first keeps the first few and says how many more there are.
func first(list []string, most int) []string {
	if len(list) <= most {
		return list
	}
	return append(append([]string{}, list[:most]...), fmt.Sprintf("and %d more; denwright assess lists them all", len(list)-most))
}
