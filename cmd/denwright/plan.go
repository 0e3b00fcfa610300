package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"time"

	"denwright/care/quantity"
	"denwright/sizing"
	"denwright/sizing/layout"

	"github.com/go-json-experiment/json"
)

const planUsage = `denwright plan [flags] FILE

Where everything goes: the jobs of the floor, lamps and fixtures, every hole in the
ceiling from two edges of the panel, wall openings, the day program, materials; or
what blocks, and what frees it. FILE holds the same JSON as POST /v1/plans takes; -
reads standard input. testdata/demo/plan-digging-lizard.json is one to begin from.

  denwright plan --out drawings testdata/demo/plan-digging-lizard.json

--out writes the drawings to scale (SVG), the cut list and the materials (CSV) and
the day program (CSV, and a calendar as .ics) into a folder, which is made if need be.

Flags:
`

func (p *program) plan(_ context.Context, args []string) error {
	f := p.flags("plan", planUsage)
	var units unitsFlag
	f.Var(&units, "units", "metric or imperial; of drawings and lists too, where the file does not say")
	paper := f.String("paper", "", "`paper` of the drawings, where the file does not say: a4 (default) or letter")
	out := f.String("out", "", "write drawings, lists and calendar into this `folder`")
	year := f.Int("year", time.Now().Year(), "the `year` in which the calendar begins")
	asJSON := f.Bool("json", false, "write JSON")
	why := f.Bool("assumptions", false, "print what the plan assumes")
	rest, err := parse(f, args)
	if err != nil {
		return err
	}
	if len(rest) != 1 {
		f.Usage()
		return usageError{"name one file, or - for standard input"}
	}
	path := "/v1/plans"
	raw, err := p.read(rest[0])
	if err != nil {
		return err
	}
	if raw, err = withoutNulls(raw); err != nil {
		return err
	}
	query := "?units=" + units.String()
	switch *paper {
	case "":
	case "a4", "letter":
		query += "&paper=" + *paper
	default:
		return usageError{fmt.Sprintf("--paper is %q: use a4 or letter", *paper)}
	}
	if *year < 1970 || *year > 9998 {
		return usageError{fmt.Sprintf("--year is %d: give one from 1970 to 9998", *year)}
	}
	told, err := p.ask(http.MethodPost, path+query, raw)
	if err != nil {
		return err
	}
	if told.status != http.StatusOK {
		return p.refuse(told, *asJSON)
	}
	var q sizing.PlanQuestion
	if err := json.Unmarshal(raw, &q); err != nil {
		return fmt.Errorf("read the question: %w", err)
	}
	if q.Units == "" {
		q.Units = units.String()
	}
	if q.Paper == "" {
		q.Paper = *paper
	}
	a, err := sizing.Plan(p.catalogue, q)
	if err != nil {
		return err
	}
	var files []string
	if *out != "" {
		if a.Plan == nil && !*asJSON {
			fmt.Fprintf(p.err, "denwright: nothing is written into %s, for there is no plan\n", *out)
		}
		if a.Plan != nil {
			if files, err = writePlan(*out, a, *year); err != nil {
				return err
			}
		}
	}
	if *asJSON {
		return p.pass(told)
	}
	g := &page{w: p.out, units: units.System}
	g.layout(a, &q, *why)
	if len(files) > 0 {
		g.heading("Written into " + *out)
		g.list(files)
	}
	g.ending(a)
	return g.err
}

// writePlan writes every part of a plan into a folder and names the files.
func writePlan(folder string, a *sizing.PlanAnswer, year int) (names []string, err error) {
	if err := os.MkdirAll(folder, 0o755); err != nil {
		var at *fs.PathError
		if errors.As(err, &at) {
			return nil, usageError{fmt.Sprintf("--out %s: %v", folder, at.Err)}
		}
		return nil, fmt.Errorf("make the folder: %w", err)
	}
	calendar, err := a.Plan.Program.Calendar(year)
	if err != nil {
		return nil, err
	}
	type file struct {
		name string
		data []byte
	}
	var files []file
	for _, s := range a.Sheets {
		files = append(files, file{s.Name + ".svg", s.SVG})
	}
	files = append(files, file{"cuts.csv", a.Plan.CutCSV(a.Units)}, file{"materials.csv", a.Plan.MaterialsCSV(a.Units)}, file{"program.csv", a.Plan.ProgramCSV()}, file{"program.ics", calendar})
	for _, f := range files {
		if err := os.WriteFile(filepath.Join(folder, f.name), f.data, 0o644); err != nil {
			return nil, fmt.Errorf("write the plan: %w", err)
		}
		names = append(names, f.name)
	}
	return names, nil
}

// layout prints a plan, or what stands in its way.
func (g *page) layout(a *sizing.PlanAnswer, q *sizing.PlanQuestion, why bool) {
	g.animals(a.Species, a.Animals)
	for _, w := range a.Warnings {
		g.printf("\nLook again at %s: %s\n", w.Field, w.Text)
	}
	if b := a.Blocked; b != nil {
		g.printf("\nNO PLAN: %s\n", b.Error())
		if len(b.Changes) == 0 {
			g.list([]string{"no single change was found that frees it: a larger enclosure, or less in it"})
		} else {
			g.heading("Each of these alone frees it, the smallest first")
			for _, x := range b.Changes {
				g.list([]string{x.Text})
			}
		}
	}
	if p := a.Plan; p != nil {
		g.planned(p, q, a.SizeFrom)
	}
	if why || a.Plan == nil {
		g.heading("Assumed")
		g.list(a.Assumptions)
	} else {
		g.printf("\n%d things are assumed: --assumptions. Every figure: --json. Drawings and lists: --out FOLDER\n", len(a.Assumptions))
	}
}

func (g *page) ending(a *sizing.PlanAnswer) {
	g.heading("Cautions")
	g.list(a.Cautions)
	g.printf("\ncatalogue %s, engine %s\n", a.Catalogue, a.Engine)
}

// small writes a length for the workshop: in mm, or in inches.
func (g *page) small(l quantity.Length) string { return layout.Measure(l, g.units) }

func (g *page) planned(p *layout.Plan, q *sizing.PlanQuestion, from string) {
	mm := layout.UnitOf(g.units)
	g.heading("Enclosure, in " + mm)
	rows := [][]string{{"inside, length × width × height", g.small(p.Length) + " × " + g.small(p.Width) + " × " + g.small(p.Height) + " (" + from + ")"}}
	if p.Clear.Length != p.Length || p.Clear.Width != p.Width {
		rows = append(rows, []string{"clear floor inside the rock work", g.small(p.Clear.Length) + " × " + g.small(p.Clear.Width)})
	}
	rows = append(rows, []string{"drainage, substrate, surface above the floor panel", g.small(p.Drainage) + ", " + g.small(p.Substrate) + ", " + g.small(p.Surface)},
		[]string{"panel", g.small(p.Panel)}, []string{"warm end, seen from the front", p.WarmEnd})
	g.table(rows)

	g.heading("Floor, in " + mm + ": near left corner from the left wall and from the front")
	rows = [][]string{{"", "place", "from left", "from front", "length", "width", "bottom", "top"}}
	for i, x := range p.Floor {
		name := x.Name
		if x.UV {
			name += ", UV"
		}
		if x.Entrance > 0 {
			name += ", entrance " + g.small(x.Entrance)
		}
		rows = append(rows, []string{strconv.Itoa(i + 1), name, g.small(x.X), g.small(x.Y), g.small(x.Length), g.small(x.Width), g.small(x.Bottom), g.small(x.Top)})
	}
	g.table(rows)
	g.list([]string{"clear dry floor " + g.of(p.ClearFloor)})

	if len(p.Fixtures) > 0 {
		g.heading("Fixtures, in " + mm + ": middle from the left wall and from the front")
		rows = [][]string{{"fixture", "from left", "from front", "below ceiling", "serves", "to the back"}}
		for _, m := range p.Fixtures {
			serves, distance := strings.ReplaceAll(m.Spot, "_", " "), "-"
			if m.Distance > 0 {
				distance = g.small(m.Distance)
			}
			if serves == "" {
				serves = "-"
			}
			hang := g.small(m.Hang)
			if m.Kind == layout.Mat {
				hang = "-"
			}
			if m.Tilt.Number > 0 {
				hang += fmt.Sprintf(", tilted %.0f° back", m.Tilt.Number)
			}
			name := strings.ReplaceAll(m.Code, "_", " ")
			if i := m.Fixture; i < len(q.Equipment) && q.Equipment[i].Name != "" {
				name += ", " + q.Equipment[i].Name
			}
			rows = append(rows, []string{name, g.small(m.X), g.small(m.Y), hang, serves, distance})
		}
		g.table(rows)
	}
	if len(p.Holes) > 0 {
		g.heading("Ceiling openings, in " + mm + ": centres from the panel's left and front edges, marked from above")
		rows = [][]string{{"hole", "for", "from left", "from front", "Ø", "trim Ø", "guard Ø", "screws on Ø"}}
		for _, h := range p.Holes {
			trim, guard, screws := "-", "-", "-"
			if h.Trim > 0 {
				trim, guard, screws = g.small(h.Trim), g.small(h.Guard), fmt.Sprintf("%d on %s", h.Screws, g.small(h.ScrewCircle))
			}
			rows = append(rows, []string{h.Code, h.Purpose + ", " + strings.ReplaceAll(h.For, "_", " "), g.small(h.FromLeft), g.small(h.FromFront), g.small(h.Diameter), trim, guard, screws})
		}
		g.table(rows)
		g.list([]string{"screws are tightened crosswise"})
	}
	if len(p.Walls) > 0 {
		g.heading("Wall openings, in " + mm + ": seen from inside, left edge from the left, lower edge above the floor panel")
		rows = [][]string{{"wall", "opening", "from left", "up", "length", "height", ""}}
		for _, o := range p.Walls {
			rows = append(rows, []string{o.Wall, o.Name, g.small(o.Along), g.small(o.Up), g.small(o.Length), g.small(o.Height), o.Note})
		}
		g.table(rows)
	}
	g.wetParts(p)
	g.heading("Day program, " + p.Program.Clock)
	for i, s := range p.Program.Seasons {
		same := slices.IndexFunc(p.Program.Seasons[:i], func(o layout.SeasonDay) bool { return o.Light == s.Light && reflect.DeepEqual(o.Events, s.Events) })
		if same >= 0 {
			g.printf("  %s, months %d to %d: as in %s\n", s.Name, s.From, s.To, p.Program.Seasons[same].Name)
			continue
		}
		g.printf("  %s, months %d to %d, %s of light\n", s.Name, s.From, s.To, g.figure(s.Light))
		rows = nil
		for _, e := range s.Events {
			days := "every day"
			if len(e.Days) < 7 {
				days = strings.Join(e.Days, " ")
			}
			rows = append(rows, []string{"", e.Start + "–" + e.End, e.Name, days, e.Note})
		}
		g.table(rows)
	}
	g.list(p.Program.Rules)

	g.heading("Materials, waste allowance in what to buy")
	rows = [][]string{{"material", "net", "buy", ""}}
	for _, x := range p.Materials.Lines {
		net, buy := g.of(x.Area), g.of(x.BuyArea)
		switch {
		case x.Length > 0:
			net, buy = g.of(x.Length), g.of(x.BuyLength)
		case x.Volume > 0:
			net, buy = g.of(x.Volume), g.of(x.BuyVolume)
		}
		rows = append(rows, []string{x.Name, net, buy, x.Note})
	}
	m := p.Materials
	rows = append(rows, []string{"water a day", g.water(m.WaterPerDay), "", ""}, []string{"power by day, by night", g.figure(m.DayWatts) + ", " + g.figure(m.NightWatts), "", ""})
	g.table(rows)
	g.list([]string{m.Build, m.Basis})
	if len(p.Spare) > 0 {
		g.heading("Equipment that found no job")
		g.list(p.Spare)
	}
	if len(p.Notes) > 0 {
		g.heading("Notes")
		g.list(p.Notes)
	}
}

func (g *page) water(v quantity.Volume) string { return layout.Litres(v, g.units) }

// wetParts prints water, running water, moisture and rock work.
func (g *page) wetParts(p *layout.Plan) {
	if p.Tub != nil {
		g.heading("Water")
		g.list([]string{fmt.Sprintf("%s to the brim, %s deep; changed %s, %s a day", g.water(p.Tub.Volume), g.of(p.Tub.Depth), p.Tub.Every(), g.water(p.Tub.PerDay)),
			"drain: " + p.Tub.Drain, "refill: " + p.Tub.Refill, p.Tub.Basis})
	}
	if r := p.Running; r != nil {
		holds := "the trough below holds it"
		if !r.SumpHolds {
			holds = "the trough below does NOT hold it"
		}
		g.heading("Running water")
		g.list(append([]string{fmt.Sprintf("%s × %s wetted; pump %s at %s lift; sump at least %s: %s", g.of(r.Length), g.of(r.Height), g.figure(r.Flow), g.of(r.Lift), g.of(r.Sump), holds)}, r.Notes...))
	}
	if m := p.Moisture; m != nil {
		g.heading("Moisture budget")
		met := "the humidity wanted is held"
		if !m.Met {
			met = "the humidity wanted is NOT held"
		}
		lines := []string{fmt.Sprintf("held without mist or fog: %s by day, %s by night; open water %s a day", g.figure(m.HeldDay), g.figure(m.HeldNight), g.water(m.OpenWater))}
		if m.Mist.Unit != "" {
			lines = append(lines, fmt.Sprintf("mist %s a day, %s; runoff of mist and fog %s", g.figure(m.Mist), g.water(m.MistWater), g.water(m.Runoff)))
		}
		if m.Fog.Number > 0 {
			lines = append(lines, fmt.Sprintf("fog %s a day, %s; ends at %s at most, under a ceiling of %s", g.figure(m.Fog), g.water(m.FogWater), g.figure(m.FogPeak), g.figure(m.FogCeiling)))
		}
		g.list(append(append(lines, met), m.Notes...))
	}
	for i, r := range p.Rock {
		if i == 0 {
			g.heading("Rock work")
		}
		g.list([]string{fmt.Sprintf("%s wall: %s thick over %s; takes %s of floor; loss through it %s instead of %s", r.Wall, g.of(r.Thickness), g.of(r.Area), g.of(r.FloorLost), g.figure(r.After), g.figure(r.Before))})
	}
}
