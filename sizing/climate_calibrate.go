package sizing

import (
	"errors"
	"fmt"
	"math"
	"math/bits"
	"slices"
	"strings"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing/heat"
	"denwright/sizing/score"
)

// ClimateReading is one thermometer reading in the running enclosure, taken when it had
// settled (some hours after switching on) with every source of that phase at its stated
// power, unregulated. It is of the air at a place, or of the surface under a source.
type ClimateReading struct {
	Temperature *quantity.Temperature `json:"temperature"` // needed: air -20 to 80 °C, a surface -20 to 120 °C
	// RoomTemperature at the time, needed. Readings with the same one and of the same
	// phase are taken as one round; at most 8 rounds.
	RoomTemperature *quantity.Temperature `json:"room_temperature"`
	// Phase says which sources ran: those of the day or those of the night.
	Phase string `json:"phase"` // day or night
	// FromLeft and Height above the substrate: where the air was read, both needed.
	FromLeft *quantity.Length `json:"from_left,omitzero"`
	Height   *quantity.Length `json:"height,omitzero"`
	// UnderSource, instead of a place: the reading is of the surface that this source
	// heats, over its lit area. It counts heat_sources from 0.
	UnderSource *int `json:"under_source,omitzero"`
}

const (
	maxReadings = 200
	maxRounds   = 8 // of one room temperature and phase: each is a balance to solve at every step of the fit
)

// ClimateCalibration says what the readings fix of the coefficients that can't be had
// from the drawing. Where it is known, every other part of the answer uses them.
type ClimateCalibration struct {
	Basis
	Coefficients []FittedCoefficient `json:"coefficients,omitzero"`
	// Residual is the root mean square of computed less read, in K; ResidualBefore the
	// same with the defaults; Worst the largest, as a size.
	Residual       *score.Figure `json:"residual,omitzero"`
	ResidualBefore *score.Figure `json:"residual_before,omitzero"`
	Worst          *score.Figure `json:"worst,omitzero"`
	// Spare is how many readings there are beyond what was fitted: the more, the more the residual says.
	Spare int `json:"spare_readings,omitzero"`
	// Readings used; where nothing could be fitted, with the defaults only.
	Readings []ReadingFit `json:"readings,omitzero"`
}

// FittedCoefficient is one free coefficient, with the default before and what is used after.
type FittedCoefficient struct {
	Code   string `json:"code"` // along, up, vent, radiant
	Name   string `json:"name"`
	Source string `json:"source,omitzero"` // of a radiant share
	Field  string `json:"field,omitzero"`  // JSON pointer of that source
	Fitted bool   `json:"fitted"`
	// Why it was not fitted.
	Why    string                 `json:"why,omitzero"`
	Before Estimate[score.Figure] `json:"before"`
	After  Estimate[score.Figure] `json:"after"`
}

// ReadingFit is one reading against what is computed for its place.
type ReadingFit struct {
	Field  string               `json:"field"` // JSON pointer
	Read   quantity.Temperature `json:"read"`
	Before quantity.Temperature `json:"before"` // with the defaults
	// After is computed with the fitted coefficients, Off is that less what was read, in K.
	After *quantity.Temperature `json:"after,omitzero"`
	Off   *score.Figure         `json:"off,omitzero"`
}

// readings checks them. It comes after the sources.
func (k *climate) readings(p *problems) {
	if len(k.q.Readings) > maxReadings {
		p.add("/readings", fmt.Sprintf("has %d entries", len(k.q.Readings)), fmt.Sprintf("give at most %d: the mean of those at one place and time", maxReadings))
		return
	}
	rounds := map[round]bool{}
	for i := range k.q.Readings {
		r := &k.q.Readings[i]
		at := fmt.Sprintf("/readings/%d", i)
		most := 80.0
		if r.UnderSource != nil {
			most = 120
		}
		if r.Temperature == nil {
			p.add(at+"/temperature", "is missing", "give what the thermometer read, or leave the reading out")
		} else {
			p.within(at+"/temperature", float64(*r.Temperature), -20, most, "°C")
		}
		if r.RoomTemperature == nil {
			p.add(at+"/room_temperature", "is missing", "give the room's temperature at the time of the reading")
		} else if p.within(at+"/room_temperature", float64(*r.RoomTemperature), -20, 60, "°C") {
			rounds[roundOf(r)] = true
		}
		phase := p.word(at+"/phase", r.Phase, []string{"day", "night"})
		if r.UnderSource != nil {
			if r.FromLeft != nil || r.Height != nil {
				p.add(at+"/under_source", "is given beside a place", "give one of the two: a surface under a source, or air at a place")
			}
			k.readUnder(p, at+"/under_source", *r.UnderSource, phase, r.Phase == "night")
			continue
		}
		for _, x := range []struct {
			field string
			v     *quantity.Length
			high  float64
			unit  string
		}{{"from_left", r.FromLeft, k.air.Length, "m"}, {"height", r.Height, k.air.Height, "m above the substrate"}} {
			switch {
			case x.v == nil:
				p.add(at+"/"+x.field, "is missing", "give from_left and height of the place, or under_source for a surface")
			case x.high > 0: // else reported with the enclosure
				// Taking the substrate off the height leaves rounding: the lid itself is inside.
				if v := float64(*x.v); !(v > x.high && v < x.high+1e-9) {
					p.within(at+"/"+x.field, v, 0, x.high, x.unit)
				}
			}
		}
	}
	if len(rounds) > maxRounds {
		p.add("/readings", fmt.Sprintf("are of %d different room temperatures and phases", len(rounds)), fmt.Sprintf("read in at most %d rounds, each at one room temperature", maxRounds))
	}
}

// readUnder checks the source under which a surface was read.
func (k *climate) readUnder(p *problems, field string, source int, phase, night bool) {
	if source < 0 || source >= len(k.q.HeatSources) {
		p.add(field, fmt.Sprintf("is %d", source), fmt.Sprintf("there are %d heat_sources: count them from 0", len(k.q.HeatSources)))
		return
	}
	i := slices.IndexFunc(k.sources, func(s sourceRef) bool { return s.field == fmt.Sprintf("/heat_sources/%d", source) })
	if i < 0 {
		return // a bad source is reported with the sources
	}
	name := k.equip[i].Name
	switch {
	case k.equip[i].Kind == heat.WaterHeater:
		p.add(field, k.sources[i].name+" heats no surface whose temperature is computed", "give the place where air was read, or leave the reading out")
	case phase && !slices.ContainsFunc(k.running(night), func(s heat.Source) bool { return s.Name == name }):
		p.add(field, k.sources[i].name+" does not run in that phase", "check the phase of the reading and the role of the source")
	}
}

// round is the readings of one phase at one room temperature.
type round struct {
	night bool
	room  float64
}

func roundOf(r *ClimateReading) round {
	return round{r.Phase == "night", float64(*r.RoomTemperature)}
}

// rounds sorts the readings into runs; index gives for each reading of each run, in
// order, its place in the question.
func (k *climate) rounds() (keys []round, runs []heat.Run, index []int) {
	var of [][]int
	for i := range k.q.Readings {
		key := roundOf(&k.q.Readings[i])
		j := slices.Index(keys, key)
		if j < 0 {
			j = len(keys)
			keys, of = append(keys, key), append(of, nil)
		}
		of[j] = append(of[j], i)
	}
	for j, key := range keys {
		run := heat.Run{Room: key.room}
		for _, i := range of[j] {
			r := &k.q.Readings[i]
			x := heat.Reading{Celsius: float64(*r.Temperature)}
			if r.UnderSource != nil {
				x.Source = fmt.Sprintf("/heat_sources/%d", *r.UnderSource)
			} else {
				x.X, x.Z = math.Min(k.air.Length, float64(*r.FromLeft)), math.Min(k.air.Height, float64(*r.Height))
			}
			run.Readings = append(run.Readings, x)
		}
		runs, index = append(runs, run), slices.Concat(index, of[j])
	}
	return keys, runs, index
}

// season is the phase of the question whose room humidity stands for that of a round:
// the one nearest in temperature that says its humidity.
func (k *climate) season(key round) phase {
	best := phase{0, key.night}
	near := math.Inf(1)
	for i, r := range k.rooms {
		if d := math.Abs(r.at(key.night) - key.room); r.humidity != nil && d < near {
			best, near = phase{i, key.night}, d
		}
	}
	return best
}

// drawn sets what each run evaporates, and returns the largest change, W. The sources
// of the runs are those of the equipment as it stands.
func (k *climate) drawn(keys []round, runs []heat.Run) (float64, error) {
	var change float64
	for j, key := range keys {
		sources := k.running(key.night)
		latent, err := k.coupled(k.season(key), key.room, sources)
		if err != nil {
			return 0, err
		}
		change = math.Max(change, math.Abs(latent-runs[j].Latent))
		runs[j].Latent, runs[j].Sources = latent, sources
	}
	return change, nil
}

// poorFit is the residual, K, beyond which coefficients are not used: the box is then
// not as drawn, or the readings are not what they are said to be. Ours; a household
// thermometer is good for about half a kelvin, and the five zones for as much again.
const poorFit = 2.0

func tooPoor(residual float64) string {
	return fmt.Sprintf("the best fit still misses the readings by %.1f K in the root mean square, more than %.0f K: the box, its vents or the powers are not as given, or a source was regulated while it was read", residual, poorFit)
}

// calibrate fits what the readings can fix and puts it into the enclosure and the
// equipment, for every part that follows.
func (k *climate) calibrate() (*ClimateCalibration, error) {
	none := func(readings []ReadingFit, why string, give ...string) *ClimateCalibration {
		k.fitted = "Readings were given but nothing could be fitted to them: the default coefficients stand (see calibration)."
		b := notKnown(why, give...)
		b.Practices, b.Cautions = calibrationPractices(), calibrationCautions()
		return &ClimateCalibration{Basis: b, Readings: readings}
	}
	keys, runs, index := k.rounds()
	var mute []string
	for _, key := range keys {
		for _, s := range k.running(key.night) {
			if at := s.Name + "/power"; slices.Contains(k.noPower, at) && !slices.Contains(mute, at) {
				mute = append(mute, at)
			}
		}
	}
	if len(mute) > 0 {
		return none(nil, "a source that ran during the readings does not say its power", mute...), nil
	}
	if _, err := k.drawn(keys, runs); err != nil {
		return nil, err
	}
	out, before, err := k.expected(runs, index)
	if err != nil {
		return nil, err
	}
	all := k.free(runs)
	fit, chosen, why := largestFit(k.air, runs, all)
	if chosen == 0 {
		give := []string{"/readings", "/heat_sources", "/enclosure"}
		if len(index) < 2 {
			give = give[:1]
			why += "; one reading fits nothing, two or more may: air at both ends, low and high, and the surface under a lamp, in a room well cooler than the box"
		}
		return none(out, why, give...), nil
	}
	bare, equip := k.air, slices.Clone(k.equip)
	for range 4 {
		k.use(fit, all, chosen)
		change, err := k.drawn(keys, runs)
		if err != nil {
			return nil, err
		}
		if change < 0.05 {
			break
		}
		// The radiant share that was found is where the search starts, no more.
		again, err := heat.CalibrateRuns(bare, runs, freed(all, chosen))
		if err != nil {
			break // what was found before this small change stands
		}
		fit = again
	}
	k.use(fit, all, chosen)
	if fit.Residual > poorFit {
		k.air, k.equip = bare, equip
		return none(out, tooPoor(fit.Residual), "/readings", "/heat_sources", "/enclosure"), nil
	}
	a := &ClimateCalibration{Basis: Basis{Standing: care.Known, Practices: calibrationPractices(), Cautions: calibrationCautions()},
		Residual: new(figure(fit.Residual, "K", 2)), ResidualBefore: new(figure(before, "K", 2)), Spare: fit.Spare}
	var worst float64
	for i, res := range fit.Residuals {
		worst = math.Max(worst, math.Abs(res))
		out[i].After, out[i].Off = new(out[i].Read+quantity.Temperature(res)), new(figure(res, "K", 2))
	}
	a.Worst, a.Readings = new(figure(worst, "K", 2)), out
	var names, kept []string
	for i, c := range all {
		f := k.coefficient(c)
		if f.Fitted = chosen&(1<<i) != 0; f.Fitted {
			names = append(names, f.Name)
		} else {
			if f.Why = why; c.code == "radiant" && freed(all, chosen).RadiantOf != "" {
				f.Why = "the radiant share of one lamp at a time is fitted; that of another leaves less unexplained"
			}
			kept = append(kept, f.Name)
		}
		a.Coefficients = append(a.Coefficients, f)
	}
	k.fitted = fmt.Sprintf("Fitted to %d readings: %s; the interval is two standard errors wide to either side, never wider than the default's (see calibration).", len(index), strings.Join(names, ", "))
	if len(kept) > 0 {
		k.fitted += " Not fitted, at the default: " + strings.Join(kept, ", ") + "."
	}
	a.Assumptions = []string{
		"Every source of the phase ran at its stated power, unregulated, and the enclosure had settled.",
		"Of the coefficients as many are fitted as the readings can tell apart with one reading to spare; of several choices, that with the least residual.",
		fmt.Sprintf("A thermometer is taken to be no better than %.1f K (common practice, no source).", heat.ReadingError),
		"A fitted coefficient also takes up what is wrong in walls, vents and powers: it holds for this box as it was read.",
		"How a surface takes up and gives off heat keeps its default, so that hot spots stay less certain than air.",
	}
	for j := range runs {
		if runs[j].Latent > 0 {
			a.Assumptions = append(a.Assumptions, "While it was read, water evaporated as in the profile, into room air of the humidity of the season whose temperature is nearest.")
			break
		}
	}
	return a, nil
}

func calibrationPractices() (out []string) {
	for _, x := range heat.Practices() {
		out = append(out, x.Text+" ("+x.Access+")")
	}
	return out
}

func calibrationCautions() []string {
	return []string{
		"Take such readings with no animal inside and stay by: the sources run unregulated. Never bridge a fuse or a built-in cut-out, and put every thermostat back before an animal returns.",
		"Mains near water and hot lamps: switch off before you place or move a probe; local wiring rules and a licensed electrician decide.",
	}
}

// freeCoefficient is one that the enclosure leaves open.
type freeCoefficient struct {
	code  string
	equip int // of a radiant share: which source
	of    string
}

// free lists the coefficients that this enclosure and these readings leave open. A
// radiant share is one of them where a surface under a lamp was read, of at most the
// three such lamps with the most readings.
func (k *climate) free(runs []heat.Run) []freeCoefficient {
	out := []freeCoefficient{{code: "along"}, {code: "up"}}
	open := k.air.Faces.Top.Mesh > 0
	for _, o := range k.air.Openings {
		open = open || o.Area*o.FreeShare > 1e-8
	}
	if open {
		out = append(out, freeCoefficient{code: "vent"})
	}
	type lamp struct{ equip, readings int }
	var lamps []lamp
	for i, e := range k.equip {
		l := lamp{equip: i}
		for _, run := range runs {
			for _, r := range run.Readings {
				if r.Source == e.Name {
					l.readings++
				}
			}
		}
		if e.Kind != heat.HeatMat && e.Watts > 0 && l.readings > 0 {
			lamps = append(lamps, l)
		}
	}
	slices.SortStableFunc(lamps, func(a, b lamp) int { return b.readings - a.readings })
	lamps = lamps[:min(3, len(lamps))]
	slices.SortFunc(lamps, func(a, b lamp) int { return a.equip - b.equip })
	for _, l := range lamps {
		out = append(out, freeCoefficient{"radiant", l.equip, k.equip[l.equip].Name})
	}
	return out
}

// freed names the chosen coefficients for package heat; bit i stands for the i-th.
func freed(all []freeCoefficient, chosen uint) (f heat.Free) {
	for i, c := range all {
		if chosen&(1<<i) == 0 {
			continue
		}
		switch c.code {
		case "along":
			f.Along = true
		case "up":
			f.Up = true
		case "vent":
			f.Vent = true
		default:
			f.RadiantOf = c.of
		}
	}
	return f
}

// largestFit fits as many of the coefficients as the readings can fix with one reading
// to spare, and of equally many those with the least residual. why says what was
// against fitting more; chosen is 0 where nothing can be fitted.
func largestFit(e heat.Enclosure, runs []heat.Run, all []freeCoefficient) (fit heat.Fit, chosen uint, why string) {
	count := 0
	for _, run := range runs {
		count += len(run.Readings)
	}
	most := 0
	var radiant uint // the bits of radiant shares, of which one at a time is fitted
	for i, c := range all {
		if c.code == "radiant" {
			radiant |= 1 << i
		} else {
			most++
		}
	}
	if radiant != 0 {
		most++
	}
	spare := ""
	for size := most; size > 0; size-- {
		if size == count {
			spare = fmt.Sprintf("%d readings fit %d coefficients without one to spare, and nothing would say what the fit is worth", count, size)
			continue
		}
		hopeless, residual := true, 0.0
		for set := uint(1); set < 1<<len(all); set++ {
			if bits.OnesCount(set) != size || bits.OnesCount(set&radiant) > 1 {
				continue
			}
			f, err := heat.CalibrateRuns(e, runs, freed(all, set))
			if err == nil {
				if chosen == 0 || f.Residual < fit.Residual {
					fit, chosen = f, set
				}
				continue
			}
			reason := err.Error() // the balance has no answer somewhere on the way
			var no *heat.RefusedFit
			if errors.As(err, &no) {
				reason, residual = no.Reason, no.Residual
			}
			hopeless = hopeless && no != nil && no.Residual > poorFit
			if why == "" {
				why = reason
			}
		}
		switch {
		case chosen != 0 && spare != "":
			return fit, chosen, spare
		case chosen != 0:
			return fit, chosen, why
		case hopeless: // fewer coefficients do no better
			return fit, 0, tooPoor(residual) + " (" + why + ")"
		}
	}
	if why == "" {
		why = spare
	}
	return fit, 0, why
}

// use puts fitted coefficients in place of the defaults.
func (k *climate) use(fit heat.Fit, all []freeCoefficient, chosen uint) {
	d := heat.DefaultCoefficients(k.air.Height)
	k.equip = slices.Clone(k.equip)
	for i, c := range all {
		if chosen&(1<<i) == 0 {
			continue
		}
		switch c.code {
		case "along":
			k.air.Coefficients.Along = narrower(fit.Likely.Along, d.Along)
		case "up":
			k.air.Coefficients.Up = narrower(fit.Likely.Up, d.Up)
		case "vent":
			k.air.Coefficients.Vent = narrower(fit.Likely.Vent, d.Vent)
		default:
			r, have := fit.RadiantLikely, heat.Radiators()[k.equip[c.equip].Kind].Radiant
			k.equip[c.equip].Radiant = heat.Interval{Low: math.Max(r.Low, r.Typical-(have.Typical-have.Low)), Typical: r.Typical, High: math.Min(r.High, r.Typical+have.High-have.Typical)}
		}
	}
}

// narrower is a fitted interval, no wider by ratio than the default's.
func narrower(fit, d heat.Interval) heat.Interval {
	return heat.Interval{Low: math.Max(fit.Low, fit.Typical*d.Low/d.Typical), Typical: fit.Typical, High: math.Min(fit.High, fit.Typical*d.High/d.Typical)}
}

// coefficient writes out what was taken of one by default and what is used now.
func (k *climate) coefficient(c freeCoefficient) FittedCoefficient {
	d, now := heat.DefaultCoefficients(k.air.Height), k.air.Coefficients
	write := func(name, unit string, scale float64, digits int, before, after heat.Interval) FittedCoefficient {
		if after == (heat.Interval{}) {
			after = before
		}
		return FittedCoefficient{Code: c.code, Name: name, Before: figures(before.Low, before.Typical, before.High, scale, unit, digits), After: figures(after.Low, after.Typical, after.High, scale, unit, digits)}
	}
	switch c.code {
	case "along":
		return write("mixing along the length", "W/(m·K)", 1, 3, d.Along, now.Along)
	case "up":
		return write("mixing upward", "W/(m·K)", 1, 3, d.Up, now.Up)
	case "vent":
		return write("vent flow, of what buoyancy is computed to drive", "%", 100, 1, d.Vent, now.Vent)
	}
	e, s := k.equip[c.equip], k.sources[c.equip]
	f := write("radiant share of "+s.name, "%", 100, 1, heat.Radiators()[e.Kind].Radiant, e.Radiant)
	f.Source, f.Field = s.name, s.field
	return f
}

// expected computes every reading with the defaults, in the order of the runs, and the
// root mean square of what is off, K.
func (k *climate) expected(runs []heat.Run, index []int) (out []ReadingFit, rms float64, err error) {
	for _, run := range runs {
		e := k.air
		e.Latent = run.Latent
		st, err := heat.Solve(e, run.Room, run.Sources)
		if err != nil {
			return nil, 0, err
		}
		for _, r := range run.Readings {
			t := 0.0
			if r.Source == "" {
				t = st.At(r.X, r.Z)
			} else {
				i := slices.IndexFunc(st.Spots, func(s heat.SpotState) bool { return s.Source == r.Source })
				if i < 0 {
					return nil, 0, Invalid{{Field: fmt.Sprintf("/readings/%d/under_source", index[len(out)]), Reason: "names a source that heats no surface whose temperature is computed", Remedy: "give the place where air was read, or leave the reading out"}}
				}
				t = st.Spots[i].Temperature
			}
			rms += (t - r.Celsius) * (t - r.Celsius)
			out = append(out, ReadingFit{Field: fmt.Sprintf("/readings/%d", index[len(out)]), Read: quantity.Temperature(r.Celsius), Before: quantity.Temperature(t)})
		}
	}
	return out, math.Sqrt(rms / float64(len(out))), nil
}
