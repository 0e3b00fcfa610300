package main

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"strings"

	"denwright/care"
	"denwright/sizing"
)

const speciesUsage = `denwright species [flags] [NAME]

Finds a species by any name, and shows what is known of it. Without a name, lists
the species held.

  denwright species "bearded dragn"
  denwright species --group chelonian
  denwright species --claims testudo-hermanni

Flags:
`

func (p *program) species(_ context.Context, args []string) error {
	f := p.flags("species", speciesUsage)
	var units unitsFlag
	f.Var(&units, "units", "metric or imperial")
	group := f.String("group", "", "list only lizard, snake, chelonian or amphibian")
	stage := f.String("stage", "adult", "life stage of the ranges shown")
	claims := f.Bool("claims", false, "show every claim, counted or set aside")
	asJSON := f.Bool("json", false, "write JSON")
	rest, err := parse(f, args)
	if err != nil {
		return err
	}
	g := &page{w: p.out, units: units.System}
	if len(rest) == 0 {
		return p.listSpecies(g, care.Group(*group), *asJSON)
	}
	name := strings.Join(rest, " ")
	if *asJSON {
		a, err := p.ask(http.MethodGet, "/v1/species/"+url.PathEscape(name)+"?"+url.Values{"stage": {*stage}, "units": {units.String()}}.Encode(), nil)
		if err != nil {
			return err
		}
		return p.pass(a)
	}
	s, err := p.one(name)
	if err != nil {
		return err
	}
	p.record(g, s, care.Stage(*stage), *claims)
	return g.err
}

func (p *program) listSpecies(g *page, group care.Group, asJSON bool) error {
	var refs []sizing.SpeciesRef
	rows := [][]string{{"id", "name", "common name", "group"}}
	for _, s := range p.catalogue.Species() {
		if group != "" && s.Group != group {
			continue
		}
		refs = append(refs, sizing.Ref(s))
		rows = append(rows, []string{s.ID, s.Scientific, s.CommonName("en"), string(s.Group)})
	}
	if len(refs) == 0 {
		return usageError{fmt.Sprintf("no species in group %q; use lizard, snake, chelonian or amphibian", group)}
	}
	if asJSON {
		return writeJSON(p.out, refs, g.units)
	}
	g.table(rows)
	g.printf("\n%d species, catalogue %s\n", len(refs), p.catalogue.Revision)
	return g.err
}

// one is the species that alone bears the name; the error lists the candidates.
func (p *program) one(name string) (*care.Species, error) {
	if s := p.catalogue.SpeciesByID(name); s != nil {
		return s, nil
	}
	found := p.catalogue.Find(name, 10)
	if found.Outcome == care.FoundOne {
		return found.Candidates[0].Species, nil
	}
	problem := sizing.Problem{Field: "/species", Reason: fmt.Sprintf("no species %q is held", found.Query), Remedy: "list all with: denwright species"}
	if found.Outcome == care.FoundSeveral {
		problem.Reason = fmt.Sprintf("%q may be any of several species", found.Query)
	}
	for _, k := range found.Candidates {
		problem.Candidates = append(problem.Candidates, sizing.Ref(k.Species))
	}
	return nil, sizing.Invalid{problem}
}

func (p *program) record(g *page, s *care.Species, stage care.Stage, claims bool) {
	g.printf("%s (%s) %s\n", s.CommonName("en"), s.Scientific, s.Authority)
	g.table([][]string{
		{"id", s.ID}, {"group", string(s.Group)}, {"order, family", s.Order + ", " + s.Family},
		{"synonyms", strings.Join(s.Names.Synonyms, ", ")},
		{"also called", strings.Join(s.Names.Common["en"], ", ")},
		{"way of life", fmt.Sprintf("%s, %s; climbs %d, digs %d, swims %d, basks %d of 3 (%s)", s.Nature.Activity, s.Nature.Habit, s.Nature.Climbs, s.Nature.Digs, s.Nature.Swims, s.Nature.Basks, s.Nature.Access)},
		{"company", s.Nature.Sociality}, {"from", s.Nature.Biome}, {"winter rest", s.Nature.Dormancy},
		{"hazards", strings.Join(s.Hazards, ", ")}, {"trade listing", s.Trade + " (recalled; the competent authority decides)"},
	})
	g.heading("Working ranges, " + string(stage))
	rows := [][]string{{"parameter", "range", "grade", "agreement", "sources"}}
	for _, k := range care.Parameters {
		t := sizing.TargetOf(p.catalogue, s, k.Code, stage)
		switch {
		case t.Standing == care.NotApplicable:
		case t.Range == nil:
			rows = append(rows, []string{t.Name, standing(t.Standing)})
		default:
			rows = append(rows, []string{t.Name, g.band(t.Range), string(t.Grade), string(t.Agreement), strings.Join(t.SourceKeys, ", ")})
		}
	}
	g.table(rows)
	if claims {
		g.heading("Claims")
		rows = [][]string{{"parameter", "stage", "figure", "source", "access", "note"}}
		for i := range s.Claims {
			k := &s.Claims[i]
			note := k.Note
			if k.Implausible != "" {
				note = "not used: " + k.Implausible
			}
			rows = append(rows, []string{string(k.Parameter), string(k.Stage), g.band(k.Band()), k.Source, string(k.Access), note})
		}
		g.table(rows)
	}
	g.printf("\ncatalogue %s, engine %s\n", p.catalogue.Revision, sizing.EngineVersion)
}
