package layout

import (
	"fmt"
	"math"
	"slices"
	"time"

	"denwright/care/quantity"
)

// Light is the day of the keeper's own clock.
type Light struct {
	// Dawn is when the lights begin, minutes after midnight of the keeper's clock, 0 to
	// 720; 0 is 7 o'clock. All times float: they follow the clock of the room.
	Dawn int
	// Seasons are what the program is made for; without one, a year of 12 h.
	Seasons []Season
	// MistDays and FeedDays are the weekdays on which it mists and feeds; MistDays
	// empty is every day, FeedDays empty is no feeding in the program.
	MistDays, FeedDays []time.Weekday
}

// Season is a part of the year, first to last month; it may run over the new year.
type Season struct {
	Name     string
	From, To time.Month
	Hours    float64 // of light, 6 to 18
	// NightHeat: the nights need heating.
	NightHeat bool
}

func (l *Light) check() error {
	if l.Dawn < 0 || l.Dawn > 720 {
		return &InputError{"light.dawn", "is not within 0 to 720 minutes after midnight"}
	}
	if len(l.Seasons) > 12 {
		return &InputError{"light.seasons", "are more than 12"}
	}
	for i, s := range l.Seasons {
		at := fmt.Sprintf("light.seasons[%d].", i)
		if s.Hours < 6 || s.Hours > 18 || math.IsNaN(s.Hours) {
			return &InputError{at + "hours", "is not within 6 to 18"}
		}
		if s.From < 1 || s.From > 12 || s.To < 1 || s.To > 12 {
			return &InputError{at + "from", "or to is no month"}
		}
	}
	for _, d := range slices.Concat(l.MistDays, l.FeedDays) {
		if d < time.Sunday || d > time.Saturday {
			return &InputError{"light.mist_days", "or feed_days holds no weekday"}
		}
	}
	return nil
}

// Program is the day, season by season.
type Program struct {
	// Clock says how to read the times.
	Clock   string      `json:"clock"`
	Seasons []SeasonDay `json:"seasons"`
	Rules   []string    `json:"rules"`
}

// SeasonDay is the day of one season.
type SeasonDay struct {
	Name   string         `json:"name"`
	From   int            `json:"from_month"`
	To     int            `json:"to_month"`
	Light  quantity.Hours `json:"light"`
	Events []Event        `json:"events"`
}

// Event is one thing that runs from a time to a time.
type Event struct {
	Code string `json:"code"` // dawn, day, basking, uv, mist, fog, fan, dusk, night_heat, feeding
	Name string `json:"name"`
	// Start and End as HH:MM; an End at or before Start is of the next day.
	Start string `json:"start"`
	End   string `json:"end"`
	// Days of the week, MO to SU.
	Days []string `json:"days"`
	Note string   `json:"note,omitzero"`
	// from and to in minutes after midnight of the day it starts.
	from, to int
}

// Own choices about the day, in minutes; common practice, no source.
const (
	rampMinutes   = 30 // dawn and dusk
	baskAfterDawn = 60
	coolDown      = 20 // from a hot lamp's switching off to water near it, and drying before it switches on
	fanMinutes    = 30
)

var weekdays = []string{"SU", "MO", "TU", "WE", "TH", "FR", "SA"}

var everyDay = []time.Weekday{time.Monday, time.Tuesday, time.Wednesday, time.Thursday, time.Friday, time.Saturday, time.Sunday}

func clock(m int) string {
	m = ((m % 1440) + 1440) % 1440
	return fmt.Sprintf("%02d:%02d", m/60, m%60)
}

// program makes the day of every season.
func (p *Plan) program(b *Brief) {
	p.Program = Program{Clock: "local time of the room, floating", Rules: []string{
		fmt.Sprintf("Mist runs only with basking lamps and night heat off for %d min before and %d min after.", coolDown, coolDown),
		"Fog stops at the humidity ceiling; a hygrostat set to that ceiling goes before the times.",
		"Lamps are regulated by thermostat or dimmer within these times; the times alone regulate nothing.",
	}}
	seasons := b.Light.Seasons
	if len(seasons) == 0 {
		seasons = []Season{{Name: "all year", From: 1, To: 12, Hours: 12, NightHeat: b.first(NightHeat) >= 0}}
	}
	for _, s := range seasons {
		p.Program.Seasons = append(p.Program.Seasons, p.day(b, s))
	}
}

func (p *Plan) day(b *Brief, s Season) SeasonDay {
	out := SeasonDay{Name: s.Name, From: int(s.From), To: int(s.To), Light: quantity.Hours(s.Hours)}
	dawn := b.Light.Dawn
	if dawn == 0 {
		dawn = 7 * 60
	}
	dusk := dawn + int(math.Round(s.Hours*60))
	add := func(code, name string, from, to int, days []time.Weekday, note string) {
		if to <= from {
			return
		}
		e := Event{Code: code, Name: name, Start: clock(from), End: clock(to), Note: note, from: from, to: to}
		for _, d := range days {
			e.Days = append(e.Days, weekdays[d])
		}
		out.Events = append(out.Events, e)
	}
	placed := func(k Kind) bool {
		return slices.ContainsFunc(p.Fixtures, func(m Mounted) bool { return m.Kind == k })
	}
	mistDays := b.Light.MistDays
	if len(mistDays) == 0 {
		mistDays = everyDay
	}
	hot := placed(Basking)
	add("dawn", "dawn", dawn, dawn+rampMinutes, everyDay, "lights come up one after another")
	add("day", "daylight", dawn, dusk, everyDay, "plant light, or the room's")
	bask, cool := dawn+baskAfterDawn, dusk-baskAfterDawn
	if hot {
		add("basking", "basking lamps", bask, cool, everyDay, "regulated at the hot spot's surface")
	}
	if placed(UV) {
		add("uv", "UV", bask, cool, everyDay, "with the heat, never without a place out of it")
	}
	// Water falls in two windows at the ends of the day, when all that is hot has cooled.
	if placed(Nozzle) {
		note := "times from the moisture budget"
		minutes := 0
		switch {
		case p.Moisture == nil:
			minutes, note = 2, "2 min a session, common practice, no source: set it by a hygrometer"
		case p.Moisture.Mist.Number > 0:
			minutes = int(math.Ceil(p.Moisture.Mist.Number/mistSessions - 1e-9))
		}
		longest := baskAfterDawn - 2*coolDown
		if minutes > longest {
			if m := p.Moisture; m != nil && m.Met {
				m.Met = false
				m.Notes = append(m.Notes, fmt.Sprintf("The program has no room for %d min of mist a session: the lamps are cold for %d min.", minutes, longest))
			}
			minutes = longest
			note = fmt.Sprintf("cut to the %d min for which the lamps are cold: more or larger nozzles, or less air change, for the rest", longest)
		}
		morning, evening := dawn+coolDown, cool+coolDown
		add("mist", "mist, morning", morning, morning+minutes, mistDays, note)
		add("mist", "mist, evening", evening, evening+minutes, mistDays, note)
		if placed(Fan) && minutes > 0 {
			add("fan", "fan, after mist", morning+minutes, morning+minutes+fanMinutes, mistDays, "so that leaves and walls dry")
		}
	}
	if placed(Fan) {
		noon := (dawn + dusk) / 2
		add("fan", "fan, midday", noon-fanMinutes/2, noon+fanMinutes/2, everyDay, "or by a thermostat at the cool end's upper limit")
	}
	if placed(Fog) {
		minutes, note := 5, "5 min a session, common practice, no source"
		if m := p.Moisture; m != nil {
			minutes, note = int(m.Fog.Number)/fogSessions, fmt.Sprintf("ends at or under %.0f %%", 100*float64(m.FogCeiling))
		}
		night := 1440 - (dusk - dawn)
		for i := range fogSessions { // spread over the night, when the air is to be damp
			at := dusk + (i+1)*night/(fogSessions+1)
			add("fog", fmt.Sprintf("fog %d", i+1), at, at+minutes, everyDay, note)
		}
	}
	add("dusk", "dusk", dusk-rampMinutes, dusk, everyDay, "lights go down one after another")
	if placed(NightHeat) && s.NightHeat {
		// It rests before the morning's mist as long as the basking lamps do.
		add("night_heat", "night heat", dusk+coolDown, dawn+1440, everyDay, "regulated by a thermostat; no light")
	}
	if len(b.Light.FeedDays) > 0 {
		at := bask + 60
		if hot = hot && at+60 < cool; !hot {
			at = dusk - 60
		}
		add("feeding", "feeding", at, at+30, b.Light.FeedDays, "by the animal's need")
	}
	slices.SortStableFunc(out.Events, func(a, b Event) int { return a.from - b.from })
	return out
}

// Codes are those of its events, each once, in order.
func (p Program) Codes() []string {
	var out []string
	for _, s := range p.Seasons {
		for _, e := range s.Events {
			if !slices.Contains(out, e.Code) {
				out = append(out, e.Code)
			}
		}
	}
	slices.Sort(out)
	return out
}

// Rows are the events of all seasons as a table with its heading.
func (p Program) Rows() [][]string {
	out := [][]string{{"season", "months", "event", "start", "end", "days", "note"}}
	for _, s := range p.Seasons {
		for _, e := range s.Events {
			days := "every day"
			if len(e.Days) < 7 {
				days = ""
				for i, d := range e.Days {
					if i > 0 {
						days += " "
					}
					days += d
				}
			}
			out = append(out, []string{s.Name, fmt.Sprintf("%d to %d", s.From, s.To), e.Name, e.Start, e.End, days, e.Note})
		}
	}
	return out
}
