package main

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	"denwright/care"
	"denwright/care/quantity"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
)

// writeJSON writes what the API would, in the unit system given.
func writeJSON(w io.Writer, v any, units quantity.System) error {
	raw, err := json.Marshal(v, json.WithMarshalers(quantity.Marshalers(units)), json.Deterministic(true), jsontext.WithIndent("  "))
	if err != nil {
		return fmt.Errorf("encode the answer: %w", err)
	}
	_, err = fmt.Fprintf(w, "%s\n", raw)
	return err
}

// page prints headings and aligned tables; the first error sticks.
type page struct {
	w     io.Writer
	units quantity.System
	said  map[string]bool // texts that need saying once
	err   error
}

func (p *page) printf(format string, args ...any) {
	if p.err == nil {
		_, p.err = fmt.Fprintf(p.w, format, args...)
	}
}

func (p *page) heading(text string) { p.printf("\n%s\n", strings.ToUpper(text)) }

// table prints rows with aligned columns, indented by two.
func (p *page) table(rows [][]string) {
	if p.err != nil {
		return
	}
	var b strings.Builder
	t := tabwriter.NewWriter(&b, 0, 0, 2, ' ', 0)
	columns := 0
	for _, r := range rows {
		columns = max(columns, len(r))
	}
	for _, r := range rows {
		// A row that ends early would end its columns too.
		fmt.Fprintln(t, "  "+strings.Join(r, "\t")+strings.Repeat("\t", columns-len(r)))
	}
	if p.err = t.Flush(); p.err == nil {
		for _, line := range strings.SplitAfter(b.String(), "\n") {
			if line != "" {
				p.printf("%s\n", strings.TrimRight(line, " \n"))
			}
		}
	}
}

// list prints one wrapped paragraph for each text.
func (p *page) list(texts []string) {
	for _, t := range texts {
		line := "  -"
		for _, word := range strings.Fields(t) {
			if len([]rune(line))+1+len([]rune(word)) > 96 {
				p.printf("%s\n", line)
				line = "   "
			}
			line += " " + word
		}
		p.printf("%s\n", line)
	}
}

// of writes a quantity, or a dash for none.
func (p *page) of(v quantity.Valuer) string {
	x := v.Value()
	if x.Number == 0 {
		return "-"
	}
	return x.In(p.units).String()
}

func (p *page) band(b *quantity.Band) string {
	if b == nil {
		return "-"
	}
	if b.Unit == "zone" && b.Low != nil && b.High != nil {
		if *b.Low == *b.High {
			return fmt.Sprintf("zone %.0f", *b.Low)
		}
		return fmt.Sprintf("zones %.0f–%.0f", *b.Low, *b.High)
	}
	if b.Unit == "animals" && b.High != nil && *b.High == 1 {
		return "1 animal"
	}
	return b.In(p.units).String()
}

// sentences joins texts, each ending in one full stop.
func sentences(texts ...string) string {
	var out []string
	for _, t := range texts {
		if t = strings.TrimRight(strings.TrimSpace(t), "."); t != "" {
			out = append(out, t+".")
		}
	}
	return strings.Join(out, " ")
}

// standing words a target without a range.
func standing(s care.Standing) string {
	switch s {
	case care.NotKnown:
		return "not known"
	case care.NotApplicable:
		return "does not apply"
	}
	return string(s)
}
