package sizing

import (
	"fmt"
	"math"
	"slices"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing/heat"
	"denwright/sizing/score"
)

// ClimateProfile is how warm the enclosure is with every source at its stated power,
// unregulated.
type ClimateProfile struct {
	Basis
	States []ProfileState `json:"states,omitzero"` // day and night of each room
	WarmUp []WarmUp       `json:"warm_up,omitzero"`
	// Energy per day of each room's sources at full power.
	Energy *score.Figure `json:"energy_per_day,omitzero"`
}

// ProfileState is the balance by day or by night in one room.
type ProfileState struct {
	Room            string                 `json:"room"`  // winter or summer
	Phase           string                 `json:"phase"` // day or night
	RoomTemperature quantity.Temperature   `json:"room_temperature"`
	Air             []AirReading           `json:"air"`
	Mean            quantity.Temperature   `json:"mean_air"`
	HotSpots        []HotSpotReading       `json:"hot_spots,omitzero"`
	AirChanges      Estimate[score.Figure] `json:"air_changes"`
	Heat            HeatBudget             `json:"heat"`
	Findings        []HeatFinding          `json:"findings,omitzero"`
}

// AirReading is the air in one part of the box.
type AirReading struct {
	FromLeft    quantity.Length                `json:"from_left"`
	Height      quantity.Length                `json:"height"` // above the substrate
	Layer       string                         `json:"layer"`  // low or high
	Temperature Estimate[quantity.Temperature] `json:"temperature"`
}

// HotSpotReading is a surface that a source heats: a mean over the lit area, whose
// middle can be hotter.
type HotSpotReading struct {
	Source     string                          `json:"source"`
	Field      string                          `json:"field"` // JSON pointer of the source
	Surface    Estimate[quantity.Temperature]  `json:"surface"`
	Irradiance Estimate[score.Figure]          `json:"irradiance"`
	Mat        *Estimate[quantity.Temperature] `json:"mat,omitzero"` // of a mat itself
}

// HeatBudget accounts for every watt at the typical values: In equals the sum of the rest.
type HeatBudget struct {
	In          quantity.Power `json:"in"`
	Front       quantity.Power `json:"front"`
	Back        quantity.Power `json:"back"`
	Left        quantity.Power `json:"left"`
	Right       quantity.Power `json:"right"`
	Top         quantity.Power `json:"top"`
	Floor       quantity.Power `json:"floor"`
	Vents       quantity.Power `json:"vents"`
	Evaporation quantity.Power `json:"evaporation"`
	// Outside is what a lamp on the lid gives off without it entering.
	Outside quantity.Power `json:"outside"`
}

func budget(l heat.Ledger) HeatBudget {
	w := func(s heat.Side) quantity.Power { return quantity.Power(l.Through[s]) }
	return HeatBudget{quantity.Power(l.In), w(heat.Front), w(heat.Back), w(heat.Left), w(heat.Right), w(heat.Top), w(heat.Floor),
		quantity.Power(l.Vents), quantity.Power(l.Latent), quantity.Power(l.Outside)}
}

// HeatFinding compares one temperature with what is wanted.
type HeatFinding struct {
	Target string                         `json:"target"`
	Value  Estimate[quantity.Temperature] `json:"value"`
	Wanted quantity.Band                  `json:"wanted"`
	// Standing: inside, below, above, or depends on the uncertain coefficients.
	Standing string `json:"standing"`
	// Margin of the typical value to the nearest bound, positive inside, in K.
	Margin score.Figure `json:"margin"`
}

// WarmUp is how the box warms after the day equipment is switched on.
type WarmUp struct {
	Room string `json:"room"`
	// TimeConstant: 63 % of the rise is reached after it.
	TimeConstant  quantity.Hours `json:"time_constant"`
	NinetyPercent quantity.Hours `json:"ninety_percent"`
	// LeftByMorning is the share of the day's warmth over the room that an unheated night leaves.
	LeftByMorning quantity.Fraction `json:"left_by_morning"`
}

// ClimateHeating is what the sources must give to reach the targets.
type ClimateHeating struct {
	Basis
	Rooms []RoomHeating `json:"rooms,omitzero"`
}

// RoomHeating is the answer for one room.
type RoomHeating struct {
	Room  string       `json:"room"`
	Day   PhaseHeating `json:"day"`
	Night PhaseHeating `json:"night"`
	// Energy per day of the regulated sources; cooling is not in it.
	Energy Estimate[score.Figure] `json:"energy_per_day"`
}

// PhaseHeating is the answer by day or by night.
type PhaseHeating struct {
	RoomTemperature quantity.Temperature `json:"room_temperature"`
	Sources         []SourceHeating      `json:"sources,omitzero"`
	// Cooling to take out of the air; left out where the room is cool enough.
	Cooling     *Estimate[quantity.Power]       `json:"cooling,omitzero"`
	RoomTooWarm bool                            `json:"room_too_warm"`
	HotSpot     *Estimate[quantity.Temperature] `json:"hot_spot,omitzero"`
	WarmEnd     Estimate[quantity.Temperature]  `json:"warm_end"`
	CoolEnd     Estimate[quantity.Temperature]  `json:"cool_end"`
	Coldest     Estimate[quantity.Temperature]  `json:"coldest"`
	Warmest     Estimate[quantity.Temperature]  `json:"warmest"`
	AirChanges  Estimate[score.Figure]          `json:"air_changes"`
	// CoolEndHolds: yes, no, depends (on the uncertain coefficients), or no target.
	CoolEndHolds string         `json:"cool_end_holds"`
	Heat         HeatBudget     `json:"heat"`
	Unmet        []ClimateUnmet `json:"unmet,omitzero"`
}

// SourceHeating is what one source must give.
type SourceHeating struct {
	Source string                       `json:"source"`
	Field  string                       `json:"field"`
	Role   string                       `json:"role"`
	Power  Estimate[quantity.Power]     `json:"power"`
	Rated  *quantity.Power              `json:"rated,omitzero"`
	Duty   *Estimate[quantity.Fraction] `json:"duty,omitzero"` // share of its rating
}

// regime is the state that humidity is reckoned in: regulated where targets were
// aimed at, else at the stated powers.
type regime struct {
	state   heat.State
	changes heat.Interval
}

// phase names a room by day or by night.
type phase struct {
	room  int
	night bool
}

type regimes map[phase]regime

func (ph phase) name() string {
	if ph.night {
		return "night"
	}
	return "day"
}

func (k *climate) phases() (out []phase) {
	for i := range k.rooms {
		out = append(out, phase{i, false}, phase{i, true})
	}
	return out
}

func (k *climate) hours(night bool) float64 {
	if night {
		return 24 - k.dayHour
	}
	return k.dayHour
}

// running lists the sources that run by day or by night.
func (k *climate) running(night bool) (out []heat.Source) {
	for _, e := range k.equip {
		always := e.Role == heat.Heater || e.Role == heat.AlwaysFixed
		if always || night == (e.Role == heat.NightHeater) {
			out = append(out, e.Source)
		}
	}
	return out
}

// missingPower lists the sources that are regulated and don't say their power, so
// that a profile at stated powers can't be had.
func (k *climate) missingPower() (out []string) {
	for i := range k.equip {
		e := &k.equip[i]
		if e.Watts == 0 && e.Role != heat.DayFixed && e.Role != heat.AlwaysFixed {
			out = append(out, k.sources[i].field+"/power")
		}
	}
	return out
}

func (k *climate) sourceAt(field string) sourceRef {
	i := slices.IndexFunc(k.sources, func(s sourceRef) bool { return s.field == field })
	return k.sources[i]
}

func (k *climate) heatBasis() Basis {
	b := Basis{Standing: care.Known, Assumptions: slices.Concat(k.box, k.gear, heat.Assumptions()), Cautions: heat.Cautions()}
	if k.fitted != "" {
		b.Assumptions = append(b.Assumptions, k.fitted)
	}
	for _, x := range heat.Practices() {
		b.Practices = append(b.Practices, x.Text+" ("+x.Access+")")
	}
	return b
}

// profile predicts every phase at the stated powers.
func (k *climate) profile(r regimes) (*ClimateProfile, error) {
	if miss := k.missingPower(); len(miss) > 0 {
		return &ClimateProfile{Basis: notKnown("a source does not say its power; the part heating says what it must give", miss...)}, nil
	}
	out := &ClimateProfile{Basis: k.heatBasis()}
	out.Assumptions = append(out.Assumptions, "Every source runs at its full power for the whole of its time, unregulated.",
		fmt.Sprintf("Surfaces that a source gives less than %.0f W/m² are left out.", leastGlow))
	var latent float64
	var kwh float64
	for _, e := range k.equip {
		for _, night := range []bool{false, true} {
			if slices.ContainsFunc(k.running(night), func(s heat.Source) bool { return s.Name == e.Name }) {
				x, err := heat.Energy(e.Watts, k.hours(night), 1)
				if err != nil {
					return nil, err
				}
				kwh += x
			}
		}
	}
	out.Energy = new(figure(kwh, "kWh", 2))
	for _, ph := range k.phases() {
		e, sources, room := k.air, k.running(ph.night), k.rooms[ph.room].at(ph.night)
		var err error
		if e.Latent, err = k.coupled(ph, room, sources); err != nil {
			return nil, err
		}
		latent = math.Max(latent, e.Latent)
		o, err := predict(e, room, sources)
		if err != nil {
			return nil, err
		}
		if _, have := r[ph]; !have {
			r[ph] = regime{o.Typical, o.AirChanges}
		}
		s := k.profileState(ph, o)
		out.States = append(out.States, s)
		if !ph.night {
			w, ok, err := k.warmUp(ph, o.Typical)
			if err != nil {
				return nil, err
			}
			if ok {
				out.WarmUp = append(out.WarmUp, w)
			}
		}
	}
	if latent > 0 {
		out.Assumptions = append(out.Assumptions, fmt.Sprintf("The air is cooled by the water that evaporates to hold the humidity and from open water, up to %.0f W.", latent))
	}
	if len(out.WarmUp) > 0 {
		out.Assumptions = append(out.Assumptions, "Warm-up: one lump of air, walls and contents; the whole substrate is counted as warming with the air, so that the air itself is quicker and a deep soil slower.")
	}
	for _, s := range out.States {
		for _, h := range s.HotSpots {
			if h.Mat != nil && h.Mat.High > heat.ContactLimit {
				out.Cautions = append(out.Cautions, fmt.Sprintf("%s: at full power the mat itself can reach %.0f °C; above %.0f °C skin that rests on it burns in time. Regulate it, with the probe on the mat.", h.Source, float64(h.Mat.High), heat.ContactLimit))
				return out, nil
			}
		}
	}
	return out, nil
}

// predict is [heat.Predict], cut short for a box in which nothing gives or takes heat:
// it is at the room's temperature whatever the coefficients.
func predict(e heat.Enclosure, room float64, sources []heat.Source) (heat.Outlook, error) {
	if len(sources) > 0 || e.Latent > 0 {
		return heat.Predict(e, room, sources)
	}
	st, err := heat.Solve(e, room, nil)
	o := heat.Outlook{Typical: st, VentFlow: heat.Exactly(st.VentFlow), AirChanges: heat.Exactly(st.AirChanges)}
	for _, row := range st.Air {
		var r []heat.Interval
		for _, t := range row {
			r = append(r, heat.Exactly(t))
		}
		o.Air = append(o.Air, r)
	}
	return o, err
}

// leastGlow is the irradiance, W/m², below which a surface under a source is no hot spot.
const leastGlow = 20.0

func (k *climate) profileState(ph phase, o heat.Outlook) ProfileState {
	st := o.Typical
	s := ProfileState{Room: k.rooms[ph.room].name, Phase: ph.name(), RoomTemperature: quantity.Temperature(st.Room), Mean: quantity.Temperature(st.Mean()),
		AirChanges: figures(o.AirChanges.Low, o.AirChanges.Typical, o.AirChanges.High, 1, "1/h", 2), Heat: budget(st.Ledger)}
	for l, row := range o.Air {
		layer := "low"
		if l > 0 {
			layer = "high"
		}
		for i, t := range row {
			s.Air = append(s.Air, AirReading{quantity.Length((float64(i) + 0.5) * st.Length / float64(st.Zones)),
				quantity.Length((float64(l) + 0.5) * st.Height / float64(st.Layers)), layer, estimate[quantity.Temperature](t)})
		}
	}
	for _, x := range o.Spots {
		if x.Irradiance.Typical < leastGlow {
			continue
		}
		src := k.sourceAt(x.Source)
		h := HotSpotReading{Source: src.name, Field: src.field, Surface: estimate[quantity.Temperature](x.Temperature),
			Irradiance: figures(x.Irradiance.Low, x.Irradiance.Typical, x.Irradiance.High, 1, "W/m²", 0)}
		if x.Mat.High > 0 {
			h.Mat = new(estimate[quantity.Temperature](x.Mat))
		}
		s.HotSpots = append(s.HotSpots, h)
	}
	s.Findings = k.heatFindings(ph, o)
	return s
}

// heatFindings compares a predicted phase with what is wanted.
func (k *climate) heatFindings(ph phase, o heat.Outlook) (out []HeatFinding) {
	st := o.Typical
	layer := min(int(k.targets.Height/st.Height*float64(st.Layers)), st.Layers-1)
	row := o.Air[layer]
	warm := 0
	for _, role := range []heat.Role{heat.Basking, heat.DayHeater, heat.Heater} {
		if i := slices.IndexFunc(k.equip, func(e heat.Equipment) bool { return e.Role == role }); i >= 0 {
			warm = min(int(k.equip[i].X/st.Length*float64(st.Zones)), st.Zones-1)
			break
		}
	}
	cool := st.Zones - 1
	if warm > st.Zones/2 {
		cool = 0
	}
	coldest, warmest := row[0], row[0]
	for _, t := range row {
		if t.Typical < coldest.Typical {
			coldest = t
		}
		if t.Typical > warmest.Typical {
			warmest = t
		}
	}
	add := func(code string, v heat.Interval) {
		if low, high := k.wanted(code); low != nil || high != nil {
			out = append(out, heatFinding(code, v, low, high))
		}
	}
	if ph.night {
		add("night_air", heat.Interval{Low: coldest.Low, Typical: coldest.Typical, High: warmest.High})
	} else {
		if i := slices.IndexFunc(o.Spots, func(s heat.SpotOutlook) bool { return k.sourceAt(s.Source).role == "basking" }); i >= 0 {
			add("hot_spot", o.Spots[i].Temperature)
		}
		add("warm_end", row[warm])
		add("cool_end", row[cool])
	}
	add("air_max", warmest)
	return out
}

func heatFinding(code string, v heat.Interval, low, high *float64) HeatFinding {
	margin := math.Inf(1)
	below, above := false, false // at some value of the interval
	always := false              // on the same side at every value
	if low != nil {
		margin = v.Typical - *low
		below, always = v.Low < *low, v.High < *low
	}
	if high != nil {
		margin = math.Min(margin, *high-v.Typical)
		above, always = v.High > *high, always || v.Low > *high
	}
	standing := "inside"
	switch {
	case always && below:
		standing = "below"
	case always:
		standing = "above"
	case below || above:
		standing = "depends"
	}
	return HeatFinding{code, estimate[quantity.Temperature](v), quantity.Band{Low: low, High: high, Unit: "°C"}, standing, figure(margin, "K", 1)}
}

// warmUp is the time that a day's warmth takes to build up; false where there is none.
func (k *climate) warmUp(ph phase, st heat.State) (WarmUp, bool, error) {
	rise, loss := st.Mean()-st.Room, st.Conductance()
	if rise < 0.1 || loss <= 0 {
		return WarmUp{}, false, nil
	}
	contents := k.soilHeat
	if w := k.q.Water; w != nil && w.Depth != nil {
		contents += float64(w.Area) * float64(*w.Depth) * 1000 * 4186 // water, J/(m³K)
	}
	if l := k.q.Load; l != nil && l.Furnishings != nil {
		contents += float64(*l.Furnishings) * 1000 // stone about 800, wood 1600 J/(kg·K), recalled
	}
	capacity, err := heat.HeatCapacity(k.air, contents)
	if err != nil {
		return WarmUp{}, false, err
	}
	w, err := heat.WarmUp(capacity, loss, loss*rise, 0.9*rise)
	if err != nil || !w.Reached {
		return WarmUp{}, false, nil // a loss beyond what the formula is checked for
	}
	left, err := heat.Remaining(w.TimeConstant, k.hours(true)*3600)
	if err != nil {
		return WarmUp{}, false, nil
	}
	return WarmUp{k.rooms[ph.room].name, quantity.Hours(w.TimeConstant / 3600), quantity.Hours(w.Time / 3600), quantity.Fraction(left)}, true, nil
}

// heating finds what the sources must give.
func (k *climate) heating(r regimes) (*ClimateHeating, error) {
	t := k.targets
	if t.HotSpot == nil && t.WarmMin == nil && t.WarmMax == nil && t.CoolMax == nil && t.NightMin == nil && t.NightMax == nil && t.AirMax == nil {
		return &ClimateHeating{Basis: notKnown("no temperature is aimed at", "/species", "/targets")}, nil
	}
	out := &ClimateHeating{Basis: k.heatBasis()}
	out.Assumptions = append(out.Assumptions, "Every source but the fixed ones is regulated to the targets; a source without a power may give up to 2000 W.",
		"The hot spot is aimed at the middle of its range, the air at the least of its range at the warm end and by night.")
	for i := range k.rooms {
		a, latent, err := k.require(i)
		if err != nil {
			return nil, err
		}
		if latent > 0 {
			out.Assumptions = append(out.Assumptions, fmt.Sprintf("%s: evaporating water to hold the humidity draws up to %.0f W, which the sources make good.", k.rooms[i].name, latent))
		}
		r[phase{i, false}] = regime{a.Day.Typical, a.Day.AirChanges}
		r[phase{i, true}] = regime{a.Night.Typical, a.Night.AirChanges}
		e := a.Energy
		out.Rooms = append(out.Rooms, RoomHeating{k.rooms[i].name, k.phaseHeating(a.Day), k.phaseHeating(a.Night), figures(e.Low, e.Typical, e.High, 1, "kWh", 2)})
	}
	return out, nil
}

// require sizes one room. Water that evaporates to hold the humidity cools the air:
// the heat it draws is taken from a first answer and put into a second.
func (k *climate) require(i int) (heat.RoomAnswer, float64, error) {
	solve := func(latent float64) (heat.RoomAnswer, error) {
		n := heat.Need{Enclosure: k.air, Equipment: k.equip, Targets: k.targets, DayHours: k.dayHour,
			Rooms: []heat.Room{{Name: k.rooms[i].name, Day: k.rooms[i].day, Night: k.rooms[i].night}}}
		n.Enclosure.Latent = latent
		a, err := heat.Require(n)
		if err != nil {
			return heat.RoomAnswer{}, err
		}
		return a[0], nil
	}
	a, err := solve(0)
	if err != nil {
		return a, 0, err
	}
	// Water that condenses on a cold surface would warm the air; that is left out.
	day, night := math.Max(0, k.latent(phase{i, false}, a.Day.Typical)), math.Max(0, k.latent(phase{i, true}, a.Night.Typical))
	if math.Max(day, night) < 1 {
		return a, 0, nil
	}
	wet, err := solve(day)
	if err != nil {
		return a, 0, err
	}
	dark := wet
	switch {
	case night < 1:
		dark = a
	case math.Abs(night-day) > 0.1*math.Max(night, day):
		if dark, err = solve(night); err != nil {
			return a, 0, err
		}
	}
	a.Day, a.Night, a.Energy = wet.Day, dark.Night, heat.Interval{}
	for _, ph := range []struct {
		watts []heat.SourceWatts
		hours float64
	}{{a.Day.Watts, k.hours(false)}, {a.Night.Watts, k.hours(true)}} {
		for _, w := range ph.watts {
			a.Energy.Low += w.Watts.Low * ph.hours / 1000
			a.Energy.Typical += w.Watts.Typical * ph.hours / 1000
			a.Energy.High += w.Watts.High * ph.hours / 1000
		}
	}
	return a, math.Max(day, night), nil
}

func (k *climate) phaseHeating(a heat.Phase) PhaseHeating {
	temp := estimate[quantity.Temperature]
	out := PhaseHeating{RoomTemperature: quantity.Temperature(a.Typical.Room), RoomTooWarm: a.RoomTooWarm, WarmEnd: temp(a.WarmEnd), CoolEnd: temp(a.CoolEnd),
		Coldest: temp(a.Coldest), Warmest: temp(a.Warmest), AirChanges: figures(a.AirChanges.Low, a.AirChanges.Typical, a.AirChanges.High, 1, "1/h", 2),
		CoolEndHolds: string(a.CoolEndHolds), Heat: budget(a.Typical.Ledger)}
	if a.Cooling.High > 0 {
		out.Cooling = new(estimate[quantity.Power](a.Cooling))
	}
	if a.HotSpot != nil {
		out.HotSpot = new(temp(*a.HotSpot))
	}
	for _, w := range a.Watts {
		src := k.sourceAt(w.Source)
		s := SourceHeating{Source: src.name, Field: src.field, Role: src.role, Power: estimate[quantity.Power](w.Watts)}
		i := slices.IndexFunc(k.equip, func(e heat.Equipment) bool { return e.Name == w.Source })
		if rated := k.equip[i].Watts; rated > 0 {
			s.Rated = new(quantity.Power(rated))
			if w.Duty.High > 0 {
				s.Duty = new(estimate[quantity.Fraction](w.Duty))
			}
		}
		out.Sources = append(out.Sources, s)
	}
	for _, u := range a.Unmet {
		out.Unmet = append(out.Unmet, ClimateUnmet{u.Target, figure(u.Wanted, "°C", 1), figure(u.Nearest, "°C", 1), u.Reason, when(u)})
	}
	return out
}

func when(u heat.Unmet) string {
	switch {
	case u.Always:
		return "always"
	case u.Typical:
		return "at typical values"
	}
	return "at unfavourable values only"
}

// complete fills in the regimes that neither heating nor profile gave.
func (k *climate) complete(r regimes) error {
	if len(k.missingPower()) > 0 {
		return nil // what is missing stays unknown
	}
	for _, ph := range k.phases() {
		if _, have := r[ph]; have {
			continue
		}
		e, sources := k.air, k.running(ph.night)
		var err error
		if e.Latent, err = k.coupled(ph, k.rooms[ph.room].at(ph.night), sources); err != nil {
			return err
		}
		st, err := heat.Solve(e, k.rooms[ph.room].at(ph.night), sources)
		if err != nil {
			return err
		}
		r[ph] = regime{st, heat.Exactly(st.AirChanges)}
	}
	return nil
}

// coupled is the heat, W, that evaporation draws where sources run at their power:
// the warmer the air, the more water it takes, and the more of that the cooler the
// air. The room's humidity is that of the phase, its temperature as given.
func (k *climate) coupled(ph phase, room float64, sources []heat.Source) (float64, error) {
	e := k.air
	draws := func(latent float64) (float64, error) {
		e.Latent = latent
		st, err := heat.Solve(e, room, sources)
		if err != nil {
			return 0, err
		}
		return k.latent(ph, st), nil
	}
	most, err := draws(0)
	if err != nil || most < 0.5 {
		return 0, err
	}
	latent := root(0, most, 0.01*most, func(x float64) float64 {
		need, e := draws(x)
		if e != nil {
			err = e
		}
		return need - x
	})
	return latent, err
}
