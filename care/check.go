package care

import (
	"fmt"
	"slices"
)

// Contradiction is a record that can't be right as it stands, or is explained.
type Contradiction struct {
	Species   string
	Check     string // temperature-order, critical-max, body-temperature, uv-zone
	Parameter Code
	What      string
	Explained string // the record's own reason; empty where there is none
}

// Coverage counts, for one parameter, how many species have which grade.
type Coverage struct {
	Parameter  Code
	ByGrade    map[Grade]int
	NotKnown   int
	Applicable int
}

// Sparse is a species by how little is known of it.
type Sparse struct {
	Species *Species
	// Known and Applicable count parameters that bind an enclosure; Read those of
	// Known that do not rest on recalled claims alone.
	Known, Applicable, Read int
}

// Report is what a check of the whole catalogue found.
type Report struct {
	Contradictions []Contradiction
	Coverage       []Coverage
	Thinnest       []Sparse // from the least known
	Claims         map[Access]int
	Implausible    int
}

// criticalMargin is how far below the critical maximum every air range must end,
// in K. Own choice: an animal loses its footing before it reaches the maximum.
const criticalMargin = 2.0

// Check looks for contradictions between the working ranges of adults and counts
// what is covered. What the loader refuses (a missing source, a quoted recalled
// claim) never gets here.
func (c *Catalogue) Check() Report {
	r := Report{Claims: map[Access]int{}}
	for _, p := range Parameters {
		r.Coverage = append(r.Coverage, Coverage{Parameter: p.Code, ByGrade: map[Grade]int{}})
	}
	for _, s := range c.species {
		r.Contradictions = append(r.Contradictions, c.contradictions(s)...)
		thin := Sparse{Species: s}
		for i, p := range Parameters {
			w := c.Range(s.ID, p.Code, Adult)
			k := &r.Coverage[i]
			switch w.Standing {
			case Known:
				k.ByGrade[w.Grade]++
				k.Applicable++
			case NotKnown:
				k.NotKnown++
				k.Applicable++
			}
			if p.Sides == Context || w.Standing == NotApplicable {
				continue
			}
			thin.Applicable++
			if w.Standing == Known {
				thin.Known++
				if !w.Recalled() {
					thin.Read++
				}
			}
		}
		r.Thinnest = append(r.Thinnest, thin)
		for i := range s.Claims {
			r.Claims[s.Claims[i].Access]++
			if s.Claims[i].Implausible != "" {
				r.Implausible++
			}
		}
	}
	slices.SortStableFunc(r.Thinnest, func(a, b Sparse) int {
		if d := a.Read*b.Applicable - b.Read*a.Applicable; d != 0 {
			return d
		}
		return a.Known*b.Applicable - b.Known*a.Applicable
	})
	return r
}

// contradictions compares the ranges of one species with each other.
func (c *Catalogue) contradictions(s *Species) (out []Contradiction) {
	add := func(check string, code Code, what string, args ...any) {
		out = append(out, Contradiction{s.ID, check, code, fmt.Sprintf(what, args...), s.explanation(check, code)})
	}
	at := func(code Code) WorkingRange { return c.Range(s.ID, code, Adult) }
	order := func(lower, upper Code) {
		a, okA := at(lower).Midpoint()
		b, okB := at(upper).Midpoint()
		if okA && okB && a > b {
			add("temperature-order", lower, "the middle of %s (%.1f) lies above that of %s (%.1f)", lower, a, upper, b)
		}
	}
	order(CoolAir, WarmAir)
	order(WarmAir, HotSpot)
	order(CoolAir, HotSpot)
	order(NightAir, WarmAir)
	if limit := at(CriticalMax); limit.Low != nil {
		for _, code := range []Code{WarmAir, CoolAir, NightAir, WaterTemp} {
			if w := at(code); w.High != nil && *w.High > *limit.Low-criticalMargin {
				add("critical-max", code, "%s reaches %.1f, within %g K of the critical maximum %.1f", code, *w.High, criticalMargin, *limit.Low)
			}
		}
	}
	if body, ok := at(SelectedBody).Midpoint(); ok {
		slack := ParameterOf(SelectedBody).Tolerance
		if low, high, ok := c.offered(s); ok && (body < low-slack || body > high+slack) {
			add("body-temperature", SelectedBody, "the selected body temperature %.1f lies outside what is offered, %.1f to %.1f", body, low, high)
		}
	}
	if zone := at(UVZone); zone.Low != nil && zone.High != nil {
		if mean := at(UVMean); mean.Derived == "" && mean.Low != nil {
			if band, _, ok := UVZoneBand(int(*zone.High)); ok && *mean.Low > band[1] {
				add("uv-zone", UVMean, "the mean UV index starts at %.1f, above zone %.0f", *mean.Low, *zone.High)
			}
		}
	}
	return out
}

// offered is the span of temperatures an animal can choose from, from its coolest
// to its hottest place.
func (c *Catalogue) offered(s *Species) (low, high float64, ok bool) {
	for _, code := range []Code{CoolAir, WaterTemp, WarmAir, HotSpot} {
		w := c.Range(s.ID, code, Adult)
		for _, b := range []*float64{w.Low, w.High} {
			if b == nil {
				continue
			}
			if !ok {
				low, high, ok = *b, *b, true
			}
			low, high = min(low, *b), max(high, *b)
		}
	}
	return low, high, ok
}

// explanation is the record's reason for a failed check of a parameter. A
// body-temperature fault may be filed under temperature-order.
func (s *Species) explanation(check string, code Code) string {
	for _, e := range s.Explained {
		if e.Parameter == code && (e.Check == check || e.Check == "temperature-order") {
			return e.Reason
		}
	}
	return ""
}
