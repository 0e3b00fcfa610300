package sizing

import (
	"fmt"
	"math"
	"slices"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing/heat"
	"denwright/sizing/light"
	"denwright/sizing/score"
)

// ClimateAnswer says how the enclosure behaves. A part that was not asked for is
// left out; one that can't be answered is there, not known, with what to give.
type ClimateAnswer struct {
	Species *SpeciesRef  `json:"species,omitzero"`
	Animals []AnimalSize `json:"animals,omitzero"`
	// Targets are what was aimed at or compared with, and where each comes from.
	Targets []ClimateTarget `json:"targets"`
	// Assumptions behind every part.
	Assumptions  []string             `json:"assumptions"`
	Calibration  *ClimateCalibration  `json:"calibration,omitzero"`
	Profile      *ClimateProfile      `json:"profile,omitzero"`
	Heating      *ClimateHeating      `json:"heating,omitzero"`
	Humidity     *ClimateHumidity     `json:"humidity,omitzero"`
	Condensation *ClimateCondensation `json:"condensation,omitzero"`
	UV           *ClimateUV           `json:"uv,omitzero"`
	DayLength    *ClimateDayLength    `json:"day_length,omitzero"`
	Drainage     *DrainageAnswer      `json:"drainage,omitzero"`
	Ground       *GroundAnswer        `json:"ground,omitzero"`
	Loads        *LoadsAnswer         `json:"loads,omitzero"`
	Warnings     []Warning            `json:"warnings,omitzero"`
	Cautions     []string             `json:"cautions"`
	Catalogue    string               `json:"catalogue_revision"`
	Engine       string               `json:"engine_version"`
}

// Basis heads every part: whether it could be answered, what would settle it, and
// what it rests on. Practices are common practice, no source.
type Basis struct {
	Standing    care.Standing `json:"standing"` // known, not-known or not-applicable
	Why         string        `json:"why,omitzero"`
	Give        []string      `json:"give,omitzero"` // JSON pointers of the question
	Assumptions []string      `json:"assumptions,omitzero"`
	Cautions    []string      `json:"cautions,omitzero"`
	Practices   []string      `json:"practices,omitzero"`
}

func notKnown(why string, give ...string) Basis {
	return Basis{Standing: care.NotKnown, Why: why, Give: give}
}

// Estimate is a figure with the spread that its uncertain coefficients leave.
type Estimate[T any] struct {
	Low     T `json:"low"`
	Typical T `json:"typical"`
	High    T `json:"high"`
}

func estimate[T ~float64](i heat.Interval) Estimate[T] {
	return Estimate[T]{T(i.Low), T(i.Typical), T(i.High)}
}

// figures turns an interval into figures of a unit, each times a scale, to so many digits.
func figures(low, typical, high, scale float64, unit string, digits int) Estimate[score.Figure] {
	return Estimate[score.Figure]{figure(low*scale, unit, digits), figure(typical*scale, unit, digits), figure(high*scale, unit, digits)}
}

// figure rounds: units that package quantity does not know are written as they stand.
func figure(x float64, unit string, digits int) score.Figure {
	p := math.Pow10(digits)
	if x = math.Round(x*p) / p; x == 0 {
		x = 0 // never "-0"
	}
	return score.Figure{Number: x, Unit: unit}
}

// ClimateTarget is one thing aimed at. From says whether it was given or is a
// working range of the species.
type ClimateTarget struct {
	Code  string        `json:"code"` // hot_spot, warm_end, cool_end, night_air, air_max, humidity_day, humidity_night, uv
	Name  string        `json:"name"`
	Range quantity.Band `json:"range"`
	From  string        `json:"from"`
}

// ClimateUnmet is a target out of reach: why, and the nearest that can be had.
type ClimateUnmet struct {
	Target  string       `json:"target"`
	Wanted  score.Figure `json:"wanted"`
	Nearest score.Figure `json:"nearest"`
	Reason  string       `json:"reason"`
	// When it fails: always, at typical values, or at unfavourable values only.
	When string `json:"when"`
}

// Climate answers how an enclosure with its equipment behaves in its room. The
// error is an Invalid that lists every bad field. Physics: packages heat, light,
// moisture and ground, whose doc comments name formulas and sources.
func Climate(c *care.Catalogue, q ClimateQuestion) (*ClimateAnswer, error) {
	var p problems
	q.UVLamps = slices.Clone(q.UVLamps) // named below
	k := newClimate(c, &q, &p)
	if len(p.bad) > 0 {
		return nil, p.bad
	}
	a := &ClimateAnswer{Targets: []ClimateTarget{}, Assumptions: append([]string{}, k.general...), Warnings: p.warnings, Catalogue: c.Revision, Engine: EngineVersion}
	if s := k.g.species; s != nil {
		a.Species, a.Animals = new(Ref(s)), k.g.sizes
		a.Cautions = cautions(s, "")
	} else {
		a.Cautions = []string{
			"Heat and mains near water: guard every source that an animal can reach, regulate it, and have mains work done to the local code by a licensed electrician, behind a residual-current device.",
			"Computed figures are estimates for planning: measure in the finished enclosure before an animal moves in, and ask a vet if one seems unwell.",
		}
	}
	for _, w := range k.wants {
		a.Targets = append(a.Targets, ClimateTarget{w.code, w.name, quantity.Band{Low: w.low, High: w.high, Unit: w.unit}, w.from})
	}
	var err error
	r := regimes{}
	switch warm := k.asks("heating") || k.asks("profile") || k.damp(); {
	case len(q.Readings) > 0 && (warm || k.asks("calibration")):
		fit, err := k.calibrate()
		if err != nil {
			return nil, k.refused(err)
		}
		if k.asks("calibration") {
			a.Calibration = fit
		}
	case k.asks("calibration"):
		a.Calibration = &ClimateCalibration{Basis: notKnown("no readings are given", "/readings")}
	}
	if k.asks("heating") || k.damp() {
		// The moisture is that of the regulated box, whether its watts are asked for or not.
		regulated, err := k.heating(r)
		if err != nil {
			return nil, k.refused(err)
		}
		if k.asks("heating") {
			a.Heating = regulated
		}
	}
	if k.asks("profile") {
		if a.Profile, err = k.profile(r); err != nil {
			return nil, k.refused(err)
		}
	}
	if k.damp() {
		if err = k.complete(r); err != nil {
			return nil, k.refused(err)
		}
		states, err := k.dampStates(r)
		if err != nil {
			return nil, fmt.Errorf("humidity: %w", err)
		}
		if k.asks("humidity") {
			a.Humidity = k.humidity(states)
		}
		if k.asks("condensation") {
			if a.Condensation, err = k.condensation(states); err != nil {
				return nil, fmt.Errorf("condensation: %w", err)
			}
		}
		if k.asks("drainage") {
			if a.Drainage, err = k.drainage(states); err != nil {
				return nil, fmt.Errorf("drainage: %w", err)
			}
		}
	} else if k.asks("drainage") {
		if a.Drainage, err = k.drainage(nil); err != nil {
			return nil, fmt.Errorf("drainage: %w", err)
		}
	}
	if k.asks("uv") {
		if a.UV, err = k.uv(); err != nil {
			return nil, fmt.Errorf("uv: %w", err)
		}
	}
	if k.asks("day_length") {
		if a.DayLength, err = k.dayLength(); err != nil {
			return nil, fmt.Errorf("day length: %w", err)
		}
	}
	if k.asks("ground") {
		if a.Ground, err = k.groundAnswer(); err != nil {
			return nil, fmt.Errorf("ground: %w", err)
		}
	}
	if k.asks("loads") {
		if a.Loads, err = k.loads(); err != nil {
			return nil, fmt.Errorf("loads: %w", err)
		}
	}
	return a, nil
}

func (k *climate) asks(part string) bool {
	return len(k.q.Parts) == 0 || slices.Contains(k.q.Parts, part)
}

// ClimateDayLength is the native year of light.
type ClimateDayLength struct {
	Basis
	Latitude *score.Figure `json:"latitude,omitzero"` // north positive
	Months   []MonthLight  `json:"months,omitzero"`
}

// MonthLight is the mean time from sunrise to sunset in a month.
type MonthLight struct {
	Month     string         `json:"month"`
	DayLength quantity.Hours `json:"day_length"`
}

func (k *climate) dayLength() (*ClimateDayLength, error) {
	s := k.g.species
	switch {
	case s == nil:
		return &ClimateDayLength{Basis: notKnown("no species is named", "/species")}, nil
	case s.Nature.Latitude == nil:
		return &ClimateDayLength{Basis: notKnown("no latitude of the native range is held for this species")}, nil
	}
	months, err := light.Schedule(*s.Nature.Latitude, 2025, 12)
	if err != nil {
		return nil, err
	}
	out := &ClimateDayLength{Latitude: new(figure(*s.Nature.Latitude, "°", 2)), Basis: Basis{Standing: care.Known, Assumptions: []string{
		"Day length at the middle of the native range, sunrise to sunset over a flat horizon, year 2025; other years differ by a minute or so.",
		"South of the equator the year is turned by six months: an animal on the other hemisphere is either kept on its native months or moved over to the keeper's.",
	}}}
	for _, m := range months {
		out.Months = append(out.Months, MonthLight{m.Month.String(), quantity.Hours(m.NativeHours)})
	}
	return out, nil
}
