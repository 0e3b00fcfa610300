package layout

import (
	"fmt"
	"hash/fnv"
	"slices"
	"strings"
	"time"
	"unicode/utf8"
)

// Calendar writes the program as iCalendar (RFC 5545), one weekly recurring event each,
// for a season that begins in a year (1970 to 9998). Times float: they have no zone, and
// stand for the clock of the room. Events whose code is not in only are left out; none
// given is all. A code that the program does not have, or a year outside, is an *InputError.
//
// DTSTAMP is the first of January of the year, so that the same plan gives the same file.
func (p Program) Calendar(year int, only ...string) ([]byte, error) {
	if year < 1970 || year > 9998 {
		return nil, &InputError{"year", "is not within 1970 to 9998"}
	}
	var w strings.Builder
	seen := map[string]bool{}
	line := func(s string) { w.WriteString(fold(s)) }
	line("BEGIN:VCALENDAR")
	line("VERSION:2.0")
	line("PRODID:-//Denwright//day program//EN")
	line("CALSCALE:GREGORIAN")
	for _, s := range p.Seasons {
		from := time.Date(year, time.Month(s.From), 1, 0, 0, 0, 0, time.UTC)
		end := time.Date(year, time.Month(s.To)+1, 1, 0, 0, 0, 0, time.UTC)
		if s.To < s.From {
			end = end.AddDate(1, 0, 0)
		}
		for n, e := range s.Events {
			if seen[e.Code] = true; len(only) > 0 && !slices.Contains(only, e.Code) {
				continue
			}
			start, stop, err := e.minutes()
			if err != nil {
				return nil, err
			}
			day := from
			for !slices.Contains(e.Days, weekdays[day.Weekday()]) { // DTSTART must be of the rule
				if day = day.AddDate(0, 0, 1); day.Sub(from) > 7*24*time.Hour {
					return nil, &InputError{"days", "of " + e.Name + " name no weekday"}
				}
			}
			const form = "20060102T150405"
			begin := day.Add(time.Duration(start) * time.Minute)
			id := fnv.New64a()
			fmt.Fprintf(id, "%d|%s|%d|%s|%s|%s|%v", year, s.Name, n, e.Code, e.Start, e.End, e.Days)
			line("BEGIN:VEVENT")
			line(fmt.Sprintf("UID:%016x-%s@denwright.invalid", id.Sum64(), strings.ReplaceAll(e.Code, "_", "-")))
			line(fmt.Sprintf("DTSTAMP:%04d0101T000000Z", year))
			line("DTSTART:" + begin.Format(form))
			line("DTEND:" + day.Add(time.Duration(stop)*time.Minute).Format(form))
			line("RRULE:FREQ=WEEKLY;UNTIL=" + end.Add(-time.Second).Format(form) + ";BYDAY=" + strings.Join(e.Days, ","))
			line("SUMMARY:" + escape(e.Name))
			if e.Note != "" {
				line("DESCRIPTION:" + escape(e.Note+" ("+s.Name+")"))
			}
			line("CATEGORIES:" + escape(words(e.Code)))
			line("TRANSP:TRANSPARENT")
			line("END:VEVENT")
		}
	}
	for _, code := range only {
		if !seen[code] {
			return nil, &InputError{"only", fmt.Sprintf("the program has no event %q", code)}
		}
	}
	line("END:VCALENDAR")
	return []byte(w.String()), nil
}

// minutes after midnight of the day it starts.
func (e Event) minutes() (int, int, error) {
	read := func(s string) (int, error) {
		t, err := time.Parse("15:04", s)
		if err != nil {
			return 0, &InputError{"events", fmt.Sprintf("%q is no time of day", s)}
		}
		return t.Hour()*60 + t.Minute(), nil
	}
	from, err := read(e.Start)
	if err != nil {
		return 0, 0, err
	}
	to, err := read(e.End)
	if err != nil {
		return 0, 0, err
	}
	if to <= from {
		to += 1440
	}
	return from, to, nil
}

// escape writes TEXT of RFC 5545, section 3.3.11.
func escape(s string) string {
	return strings.NewReplacer("\\", "\\\\", ";", "\\;", ",", "\\,", "\r\n", "\\n", "\n", "\\n", "\r", "").Replace(s)
}

// fold breaks a line at 75 octets, never inside a character (section 3.1).
func fold(s string) string {
	var w strings.Builder
	width := 0
	for _, r := range s {
		n := utf8.RuneLen(r)
		if width+n > 75 {
			w.WriteString("\r\n ")
			width = 1
		}
		w.WriteRune(r)
		width += n
	}
	w.WriteString("\r\n")
	return w.String()
}
