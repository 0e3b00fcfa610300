package sizing

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing/score"
)

// Physical bounds of a setup: outside these a figure is a slip, not a measurement.
const (
	maxSide   = quantity.Length(50)
	maxVolume = quantity.Volume(500)
	maxPower  = quantity.Power(5000)
	leastTemp = quantity.Temperature(-20)
	mostTemp  = quantity.Temperature(120)
	mostUVI   = quantity.UVIndex(50)
)

// setup checks every field of a setup by itself.
func (p *problems) setup(s *score.Setup) {
	length := func(field string, l *quantity.Length, zero bool) {
		switch {
		case l == nil:
		case *l < 0 || (*l == 0 && !zero):
			p.add("/setup/"+field, "must be above zero", "measure it, or leave it out if it is not known")
		case *l > maxSide:
			p.add("/setup/"+field, "is more than 50 m", "check the unit")
		}
	}
	if in := s.Inside; in != nil {
		length("inside/length", in.Length, false)
		length("inside/width", in.Width, false)
		length("inside/height", in.Height, false)
		length("inside/lowest_fixture", in.LowestFixture, false)
		length("inside/drainage", in.Drainage, true)
		if in.Height != nil && in.LowestFixture != nil && *in.LowestFixture > *in.Height {
			p.add("/setup/inside/lowest_fixture", "is higher than the inside height", "measure it from the floor of the enclosure")
		}
		if in.Height != nil && s.Substrate.Depth != nil {
			filled := *s.Substrate.Depth
			if in.Drainage != nil {
				filled += *in.Drainage
			}
			if filled > *in.Height {
				p.add("/setup/substrate/depth", "with the drainage is more than the inside height", "check the unit")
			}
		}
	}
	length("substrate/depth", s.Substrate.Depth, true)
	length("water/length", s.Water.Length, false)
	length("water/width", s.Water.Width, false)
	length("water/depth", s.Water.Depth, true)
	length("climbing/highest_perch", s.Climbing.HighestPerch, true)
	if v := s.Water.Volume; v != nil && (*v < 0 || *v > maxVolume) {
		p.add("/setup/water/volume", "must be from 0 to 500 000 L", "check the unit")
	}
	for field, t := range temperaturesOf(s) {
		if t != nil && (*t < leastTemp || *t > mostTemp) {
			p.add("/setup/temperatures/"+field, fmt.Sprintf("is %.0f °C", float64(*t)), "check the reading and its unit; °F is written with unit \"°F\"")
		}
	}
	for field, f := range map[string]*quantity.Fraction{"day": s.Humidity.Day, "night": s.Humidity.Night, "retreat": s.Humidity.Retreat} {
		if f != nil && (*f < 0 || *f > 1) {
			p.add("/setup/humidity/"+field, "must be from 0 to 100 %", "give relative humidity in % with unit \"%\"")
		}
	}
	for field, u := range map[string]*quantity.UVIndex{"basking": s.UV.Basking, "shade": s.UV.Shade} {
		if u != nil && (*u < 0 || *u > mostUVI) {
			p.add("/setup/uv/"+field, "must be from 0 to 50", "give the UV index, not a reading in µW/cm²: the two can't be converted")
		}
	}
	word := func(field, value string, allowed []string) {
		if value != "" && !slices.Contains(allowed, value) {
			p.add("/setup/"+field, fmt.Sprintf("is %q", value), "use one of "+strings.Join(allowed, ", "))
		}
	}
	word("material", s.Material, score.Materials)
	word("ventilation", s.Ventilation, score.Ventilations)
	word("uv/spectrum", s.UV.Spectrum, score.Spectra)
	if len(s.HeatSources) > 100 {
		p.add("/setup/heat_sources", "has more than 100 entries", "list each source once")
		return
	}
	for i, h := range s.HeatSources {
		at := fmt.Sprintf("heat_sources/%d/", i)
		if h.Kind == "" {
			p.add("/setup/"+at+"kind", "is missing", "use one of "+strings.Join(score.HeatKinds, ", "))
		}
		word(at+"kind", h.Kind, score.HeatKinds)
		word(at+"place", h.Place, score.Places)
		word(at+"control", h.Control, score.Controls)
		length(at+"gap", h.Gap, true)
		if h.Power != nil && (*h.Power < 0 || *h.Power > maxPower) {
			p.add("/setup/"+at+"power", "must be from 0 to 5000 W", "give the watts of the source")
		}
	}
	if len(s.OtherSpecies) > 50 {
		p.add("/setup/other_species", "has more than 50 entries", "list each species once")
	}
	// Map order is random; the answer's is not.
	slices.SortStableFunc(p.bad, func(a, b Problem) int { return strings.Compare(a.Field, b.Field) })
}

func temperaturesOf(s *score.Setup) map[string]*quantity.Temperature {
	t := &s.Temperatures
	return map[string]*quantity.Temperature{"hot_spot": t.HotSpot, "warm_air": t.WarmAir, "cool_air": t.CoolAir, "night_air": t.NightAir, "water": t.Water}
}

var temperatureCodes = map[string]care.Code{"hot_spot": care.HotSpot, "warm_air": care.WarmAir, "cool_air": care.CoolAir, "night_air": care.NightAir, "water": care.WaterTemp}

// plausible warns of readings that are possible but look like slips: °F sent as °C
// above all, and ends of the enclosure the wrong way round.
func (p *problems) plausible(c *care.Catalogue, g group, s *score.Setup) {
	for _, field := range []string{"hot_spot", "warm_air", "cool_air", "night_air", "water"} {
		t := temperaturesOf(s)[field]
		if t == nil {
			continue
		}
		w := c.Range(g.species.ID, temperatureCodes[field], g.youngest)
		mid, ok := w.Midpoint()
		if !ok {
			mid = 25
		}
		as, read := math.Abs(float64(*t)-mid), math.Abs((float64(*t)-32)/1.8-mid)
		switch {
		case as > 12 && read < as/2:
			p.warn("/setup/temperatures/"+field, "far from what this animal is kept at in °C, yet near it if read as °F; if it is in °F, send it with unit \"°F\"")
		case as > 12:
			p.warn("/setup/temperatures/"+field, "far from what this animal is kept at; check the reading, and its unit: °F is sent with unit \"°F\"")
		}
	}
	order := func(lower, upper *quantity.Temperature, field, text string) {
		if lower != nil && upper != nil && *lower > *upper {
			p.warn("/setup/temperatures/"+field, text)
		}
	}
	t := s.Temperatures
	order(t.CoolAir, t.WarmAir, "cool_air", "the cool end is warmer than the warm end; check that the two are not swapped")
	order(t.WarmAir, t.HotSpot, "warm_air", "the air at the warm end is warmer than the hot spot; check that the two are not swapped")
	if in := s.Inside; in != nil && in.Length != nil && in.Width != nil && in.Height != nil && max(*in.Length, *in.Width, *in.Height) < 0.1 {
		p.warn("/setup/inside", "no side reaches 10 cm; check the unit")
	}
}
