package main

import (
	"context"
	"fmt"
	"net/http"
	"slices"
	"strings"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing"
	"denwright/sizing/score"

	"github.com/go-json-experiment/json"
)

const climateUsage = `denwright climate [flags] FILE

How an enclosure with its equipment behaves in its room: air along the length, the
hot spot, watts, cooling, humidity, condensation, the UV window, drainage, masses
and loads. FILE holds the same JSON as POST /v1/climates takes; - reads standard
input. testdata/demo/climate-glass-box.json is one to begin from; with thermometer
readings of the running enclosure, climate-glass-box-read.json beside it.

Flags:
`

func (p *program) climate(_ context.Context, args []string) error {
	f := p.flags("climate", climateUsage)
	var units unitsFlag
	f.Var(&units, "units", "metric or imperial")
	asJSON := f.Bool("json", false, "write JSON")
	why := f.Bool("assumptions", false, "print what each part assumes")
	rest, err := parse(f, args)
	if err != nil {
		return err
	}
	if len(rest) != 1 {
		f.Usage()
		return usageError{"name one file, or - for standard input"}
	}
	raw, told, err := p.put("/v1/climates", rest[0], units.System)
	if err != nil {
		return err
	}
	if told.status != http.StatusOK {
		return p.refuse(told, *asJSON)
	}
	if *asJSON {
		return p.pass(told)
	}
	var q sizing.ClimateQuestion
	if err := json.Unmarshal(raw, &q); err != nil {
		return fmt.Errorf("read the question: %w", err)
	}
	a, err := sizing.Climate(p.catalogue, q)
	if err != nil {
		return err
	}
	g := &page{w: p.out, units: units.System}
	g.climate(a, *why)
	return g.err
}

// spread writes an estimate as its typical value and what it may be.
func spread[T quantity.Valuer](g *page, e sizing.Estimate[T]) string {
	typical, low, high := g.figure(e.Typical), g.figure(e.Low), g.figure(e.High)
	if low == high {
		return typical
	}
	return typical + " (" + low + " to " + high + ")"
}

// figure writes a quantity, zero included.
func (g *page) figure(v quantity.Valuer) string { return v.Value().In(g.units).String() }

func (g *page) climate(a *sizing.ClimateAnswer, why bool) {
	if a.Species != nil {
		g.animals(*a.Species, a.Animals)
	}
	if len(a.Targets) > 0 {
		g.heading("Aimed at")
		var rows [][]string
		for _, t := range a.Targets {
			rows = append(rows, []string{t.Name, g.band(&t.Range), t.From})
		}
		g.table(rows)
	}
	if k := a.Calibration; k != nil && (len(k.Readings) > 0 || !slices.Equal(k.Give, []string{"/readings"})) { // else none were given
		if g.part("Calibration from readings", k.Basis, why) || len(k.Readings) > 0 {
			g.calibration(k)
		}
	}
	if k := a.Profile; k != nil && g.part("Air and hot spots", k.Basis, why) {
		g.profile(k)
	}
	if k := a.Heating; k != nil && g.part("What the sources must give", k.Basis, why) {
		g.heating(k)
	}
	if k := a.Humidity; k != nil && g.part("Humidity", k.Basis, why) {
		g.humidity(k)
	}
	if k := a.Condensation; k != nil && g.part("Condensation", k.Basis, why) {
		rows := [][]string{{"room", "when", "air at", "dew point", "wet faces"}}
		for _, s := range k.States {
			var wet []string
			for _, f := range s.Faces {
				if f.Wet {
					wet = append(wet, f.Face)
				}
			}
			if wet == nil {
				wet = []string{"none"}
			}
			rows = append(rows, []string{s.Room, s.Phase, g.figure(s.Humidity) + ", " + s.At, g.figure(s.DewPoint), strings.Join(wet, ", ")})
		}
		g.table(rows)
	}
	if k := a.UV; k != nil && g.part("Ultraviolet", k.Basis, why) {
		g.uv(k)
	}
	if k := a.DayLength; k != nil && g.part("Native day length", k.Basis, why) {
		var row, head []string
		for _, m := range k.Months {
			head, row = append(head, m.Month[:3]), append(row, g.figure(m.DayLength))
		}
		g.table([][]string{head, row})
	}
	if k := a.Drainage; k != nil && g.part("Drainage", k.Basis, why) {
		rows := [][]string{{"the layer takes", g.of(k.Capacity)}}
		if k.InflowPerDay != nil {
			rows = append(rows, []string{"inflow a day", g.figure(*k.InflowPerDay)})
		}
		if k.DaysToFull != nil {
			rows = append(rows, []string{"full after", g.figure(*k.DaysToFull)})
		}
		g.table(rows)
	}
	if k := a.Ground; k != nil && g.part("Ground", k.Basis, why) {
		rows := [][]string{{"substrate", g.of(k.Volume)}}
		for _, m := range []struct {
			name string
			mass *sizing.Estimate[quantity.Mass]
		}{{"dry", k.Dry}, {"moist", k.Moist}, {"saturated", k.Saturated}} {
			if m.mass != nil {
				rows = append(rows, []string{m.name, spread(g, *m.mass)})
			}
		}
		g.table(rows)
	}
	if k := a.Loads; k != nil && g.part("Masses and loads", k.Basis, why) {
		g.table([][]string{{"walls, lid and floor", g.of(k.Walls)}, {"all together, soil saturated", g.of(k.Total)}, {"pressure on the floor", g.figure(k.FloorPressure)}})
		if k.AskEngineer {
			g.list([]string{"Ask a structural engineer: " + k.Reason})
		}
	}
	g.printf("\nEvery figure: --json. What each part assumes: --assumptions\n")
	for _, w := range a.Warnings {
		g.printf("\nLook again at %s: %s\n", w.Field, w.Text)
	}
	if why {
		g.heading("Assumed throughout")
		g.list(a.Assumptions)
	}
	g.heading("Cautions")
	g.list(a.Cautions)
	g.printf("\ncatalogue %s, engine %s\n", a.Catalogue, a.Engine)
}

// once lists texts that were not listed on this page before.
func (g *page) once(texts []string) {
	if g.said == nil {
		g.said = map[string]bool{}
	}
	for _, t := range texts {
		if !g.said[t] {
			g.said[t] = true
			g.list([]string{t})
		}
	}
}

// part heads a part of the answer; it reports whether there are figures to show.
func (g *page) part(name string, b sizing.Basis, why bool) bool {
	if b.Standing == care.NotApplicable {
		return false
	}
	g.heading(name)
	if b.Standing == care.NotKnown {
		line := "not known: " + b.Why
		if len(b.Give) > 0 {
			line += "; give " + strings.Join(b.Give, ", ")
		}
		g.list([]string{line})
	}
	g.once(b.Practices)
	g.once(b.Cautions)
	if why {
		g.list(b.Assumptions)
	}
	return b.Standing == care.Known
}

func (g *page) calibration(k *sizing.ClimateCalibration) {
	if len(k.Coefficients) > 0 {
		rows := [][]string{{"coefficient", "before", "now"}}
		for _, c := range k.Coefficients {
			now := spread(g, c.After)
			if !c.Fitted {
				now = "not fitted"
			}
			rows = append(rows, []string{c.Name, spread(g, c.Before), now})
		}
		g.table(rows)
		for _, c := range k.Coefficients {
			if c.Why != "" {
				g.list([]string{c.Name + " not fitted: " + c.Why})
			}
		}
	}
	rows := [][]string{{"reading", "read", "computed before", "now", "off"}}
	for _, r := range k.Readings {
		now, off := "-", "-"
		if r.After != nil && r.Off != nil {
			now, off = g.figure(*r.After), g.figure(*r.Off)
		}
		rows = append(rows, []string{r.Field, g.figure(r.Read), g.figure(r.Before), now, off})
	}
	g.table(rows)
	if k.Residual != nil && k.ResidualBefore != nil && k.Worst != nil {
		g.list([]string{fmt.Sprintf("off by %s in the root mean square (%s before), at worst %s; %d readings to spare", g.figure(*k.Residual), g.figure(*k.ResidualBefore), g.figure(*k.Worst), k.Spare)})
	}
}

func (g *page) profile(k *sizing.ClimateProfile) {
	for _, s := range k.States {
		g.printf("  %s, %s, room %s; air changes %s\n", s.Room, s.Phase, g.figure(s.RoomTemperature), spread(g, s.AirChanges))
		rows := [][]string{{"", "from left", "height", "air"}}
		for _, r := range s.Air {
			rows = append(rows, []string{"", g.figure(r.FromLeft), g.figure(r.Height), spread(g, r.Temperature)})
		}
		for _, h := range s.HotSpots {
			rows = append(rows, []string{"", "under " + h.Source, "surface", spread(g, h.Surface)})
		}
		g.table(rows)
		for _, f := range s.Findings {
			g.list([]string{f.Target + ": " + f.Standing + ", " + spread(g, f.Value) + ", wanted " + g.band(&f.Wanted)})
		}
	}
	if k.Energy != nil {
		g.printf("  energy of all sources at full power: %s a day\n", g.figure(*k.Energy))
	}
}

func (g *page) heating(k *sizing.ClimateHeating) {
	for _, r := range k.Rooms {
		for _, ph := range []struct {
			name string
			p    *sizing.PhaseHeating
		}{{"day", &r.Day}, {"night", &r.Night}} {
			g.printf("  %s, %s, room %s\n", r.Room, ph.name, g.figure(ph.p.RoomTemperature))
			var rows [][]string
			for _, s := range ph.p.Sources {
				rows = append(rows, []string{"", s.Source, spread(g, s.Power)})
			}
			if ph.p.Cooling != nil {
				rows = append(rows, []string{"", "cooling", spread(g, *ph.p.Cooling)})
			}
			if ph.p.HotSpot != nil {
				rows = append(rows, []string{"", "gives a hot spot of", spread(g, *ph.p.HotSpot)})
			}
			rows = append(rows, []string{"", "warm end", spread(g, ph.p.WarmEnd)}, []string{"", "cool end", spread(g, ph.p.CoolEnd)})
			g.table(rows)
			g.unmet(ph.p.Unmet)
		}
		g.printf("  %s: energy %s a day\n", r.Room, spread(g, r.Energy))
	}
}

func (g *page) unmet(unmet []sizing.ClimateUnmet) {
	for _, u := range unmet {
		g.list([]string{fmt.Sprintf("%s out of reach (%s): wanted %s, nearest %s: %s", u.Target, u.When, g.temperature(u.Wanted), g.temperature(u.Nearest), u.Reason)})
	}
}

// temperature writes a figure of any unit.
func (g *page) temperature(f score.Figure) string { return f.Value().In(g.units).String() }

func (g *page) humidity(k *sizing.ClimateHumidity) {
	rows := [][]string{{"room", "when", "with nothing added", "wanted", "standing", "water to add"}}
	for _, s := range k.States {
		water := "-"
		if s.WaterPerHour != nil {
			water = spread(g, *s.WaterPerHour)
		}
		rows = append(rows, []string{s.Room, s.Phase, g.figure(s.WithNothingAdded), g.band(s.Wanted), s.Standing, water})
	}
	g.table(rows)
	for _, s := range k.States {
		g.unmet(s.Unmet)
	}
	for _, d := range k.Days {
		line := d.Room + ": " + spread(g, d.WaterPerDay) + " a day"
		if d.RunTime != nil {
			line += fmt.Sprintf("; %d runs of %s", d.Runs, g.figure(*d.RunTime))
		}
		g.list([]string{line})
		g.unmet(d.Unmet)
	}
}

func (g *page) uv(k *sizing.ClimateUV) {
	for _, l := range k.Lamps {
		rows := [][]string{{l.Lamp, "fixture " + g.figure(l.Height) + " and platform " + g.figure(l.Platform) + " above the substrate, back " + g.figure(l.Back) + " over it"}}
		if l.UVIndex != nil {
			rows = append(rows, []string{"", "at the back: " + g.figure(*l.UVIndex)})
		}
		if w := l.Window; w != nil {
			inside := "the platform lies outside it"
			if w.Inside {
				inside = "the platform lies in it"
			}
			rows = append(rows, []string{"", fmt.Sprintf("range met from %s to %s below the lamp (platform %s to %s high); %s", g.figure(w.From), g.figure(w.To), g.figure(w.PlatformFrom), g.figure(w.PlatformTo), inside)})
		}
		if c := l.Cover; c != nil {
			rows = append(rows, []string{"", fmt.Sprintf("at least %s over %s × %s", g.figure(c.AtLeast), g.figure(c.Length), g.figure(c.Width))})
		}
		rows = append(rows, []string{"", "spectrum: " + l.Spectrum})
		g.table(rows)
		g.unmet(l.Unmet)
		g.list(l.Doubts)
	}
}
