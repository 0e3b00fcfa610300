package sizing

import (
	"errors"
	"fmt"
	"math"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing/ground"
	"denwright/sizing/heat"
	"denwright/sizing/moisture"
	"denwright/sizing/score"
)

// ClimateHumidity is the water that holds the humidity. Water is given by mass: a
// gram is a millilitre.
type ClimateHumidity struct {
	Basis
	States []HumidityState `json:"states,omitzero"`
	Days   []HumidityDay   `json:"days,omitzero"` // one for each room
}

// HumidityState is the moisture by day or by night in one room.
type HumidityState struct {
	Room           string                 `json:"room"`
	Phase          string                 `json:"phase"`
	AirTemperature quantity.Temperature   `json:"air_temperature"` // mean of the box
	AirChanges     Estimate[score.Figure] `json:"air_changes"`
	// WithNothingAdded is the humidity that room air and open water give by themselves.
	WithNothingAdded quantity.Fraction `json:"with_nothing_added"`
	Wanted           *quantity.Band    `json:"wanted,omitzero"`
	// Standing: held with nothing added, water needed, too damp, or no target.
	Standing string `json:"standing"`
	// WaterPerHour to add for the low end of what is wanted; low and high follow the air changes.
	WaterPerHour *Estimate[score.Figure] `json:"water_per_hour,omitzero"`
	Condensing   *score.Figure           `json:"condensing_per_hour,omitzero"` // of it, taken by cold faces; ±50 %
	OpenWater    score.Figure            `json:"open_water_per_hour"`          // evaporates by itself; ±50 %
	Latent       quantity.Power          `json:"latent_heat"`                  // drawn by all evaporation
	// DewPoint and WetBulb are at the humidity wanted, else at that with nothing added.
	DewPoint quantity.Temperature `json:"dew_point"`
	WetBulb  quantity.Temperature `json:"wet_bulb"`
	// AsSet is the humidity that the humidifier holds as it is run now, on average; Peak
	// at the end of a run.
	AsSet *quantity.Fraction `json:"as_set,omitzero"`
	Peak  *quantity.Fraction `json:"peak,omitzero"`
	Unmet []ClimateUnmet     `json:"unmet,omitzero"`
}

// HumidityDay is a whole day in one room.
type HumidityDay struct {
	Room        string                 `json:"room"`
	WaterPerDay Estimate[score.Figure] `json:"water_per_day"`
	// The humidifier's share of it: left out where there is none, or where it is too small.
	RunPerDay    *score.Figure  `json:"run_per_day,omitzero"`
	Runs         int            `json:"runs_per_day,omitzero"`
	RunTime      *score.Figure  `json:"run_time,omitzero"`
	DrawnPerDay  *score.Figure  `json:"drawn_per_day,omitzero"`
	RunoffPerDay *score.Figure  `json:"runoff_per_day,omitzero"`
	BeyondHabit  bool           `json:"beyond_common_practice,omitzero"`
	Unmet        []ClimateUnmet `json:"unmet,omitzero"`
}

// ClimateCondensation says which faces drip.
type ClimateCondensation struct {
	Basis
	States []CondensationState `json:"states,omitzero"`
}

// CondensationState is the faces by day or by night in one room.
type CondensationState struct {
	Room     string               `json:"room"`
	Phase    string               `json:"phase"`
	Humidity quantity.Fraction    `json:"humidity"` // of the mean air
	At       string               `json:"at"`       // as set, as wanted, or with nothing added
	DewPoint quantity.Temperature `json:"dew_point"`
	Faces    []FaceFinding        `json:"faces"`
}

// FaceFinding is one face: its coldest part against the dew point.
type FaceFinding struct {
	Face    string               `json:"face"`
	Mean    quantity.Temperature `json:"mean"`
	Coldest quantity.Temperature `json:"coldest"`
	Margin  score.Figure         `json:"margin"` // coldest over dew point, K; below 0 it is wet
	Wet     bool                 `json:"wet"`
	// Surface is the humidity of the air that touches the coldest part.
	Surface quantity.Fraction `json:"surface_humidity"`
	PerHour score.Figure      `json:"condensing_per_hour"` // over the whole face at its mean; ±50 %
}

// damp reports whether any part that was asked for needs the moisture.
func (k *climate) damp() bool {
	return k.asks("humidity") || k.asks("condensation") || k.asks("drainage") && k.q.Humidifier != nil
}

// dampState is the moisture of one phase, or why it is not known.
type dampState struct {
	ph       phase
	why      string
	give     []string
	air      float64 // °C
	changes  heat.Interval
	box      moisture.Box // without open water
	faces    []heat.FaceState
	natural  float64
	low      *float64 // wanted, 0..1
	high     *float64
	asSet    *float64
	peak     *float64
	standing string
}

func (k *climate) wantedHumidity(night bool) (low, high *float64) {
	code := "humidity_day"
	if night {
		code = "humidity_night"
	}
	low, high = k.wanted(code)
	share := func(p *float64) *float64 {
		if p == nil {
			return nil
		}
		return new(*p / 100)
	}
	return share(low), share(high)
}

// dampBox is the vapour balance of a solved state; why says what is against it.
func (k *climate) dampBox(ph phase, st heat.State, changes float64) (b moisture.Box, why string) {
	r := k.rooms[ph.room]
	if r.humidity == nil {
		return b, "the room's humidity is not given"
	}
	b = moisture.Box{VolumeM3: k.air.Length * k.air.Depth * k.air.Height, AirChangesPerHour: changes, AirC: st.Mean(), RoomC: st.Room, RoomHumidity: *r.humidity}
	for _, f := range st.Faces {
		b.Faces = append(b.Faces, moisture.Face{Name: f.Side.String(), AreaM2: f.Area, SurfaceC: f.Mean})
	}
	switch {
	case changes <= 0:
		return b, "the air does not change at all: give the leakage"
	case changes > 500:
		return b, "the air passes so freely that the inside is as damp as the room"
	case b.Check() != nil:
		return b, "the balance holds from 0 to 60 °C only: " + b.Check().Error()
	}
	return b, ""
}

// openWater evaporates at a humidity of the air over it, kg/h.
func (k *climate) openWater(air, humidity float64) float64 {
	w := k.q.Water
	if w == nil {
		return 0
	}
	t := air
	if w.Temperature != nil {
		t = float64(*w.Temperature)
	}
	e, err := moisture.Evaporate(moisture.OpenWater{AreaM2: float64(w.Area), WaterC: t, SpeedMPerS: 0.1, Air: moisture.Air{TemperatureC: air, Humidity: humidity, PressurePa: k.pressure}})
	if err != nil {
		return 0 // air out of range has been told apart before
	}
	return e.Likely
}

// held is the humidity that a supply of vapour and the open water hold together: what
// is carried off and condenses grows with the humidity, what evaporates falls.
func (k *climate) held(b moisture.Box, kgPerHour float64) float64 {
	b.EvaporationKgPerHour = 0
	h, err := moisture.HumidityHeld(b, kgPerHour)
	if err != nil {
		return 0 // checked by dampBox
	}
	if k.q.Water == nil {
		return h.Humidity
	}
	short := func(humidity float64) float64 {
		d, err := moisture.WaterToHold(b, humidity)
		if err != nil {
			return kgPerHour // below the room's own humidity nothing needs adding
		}
		return kgPerHour + k.openWater(b.AirC, humidity) - d.ToAddKgPerHour
	}
	if short(1) >= 0 {
		return 1
	}
	return root(h.Humidity, 1, 1e-7, short)
}

// root finds where a falling f passes zero between low and high, to a residual of tol:
// regula falsi that halves the stale end (Illinois). An f that starts below zero gives low, one that never gets there high.
func root(low, high, tol float64, f func(float64) float64) float64 {
	fl, fh := f(low), f(high)
	switch {
	case fl <= 0:
		return low
	case fh >= 0: // no crossing below: cooler air condenses more and so asks for more still
		return high
	}
	x, last := high, 0.0
	for range 60 {
		x = low + (high-low)*fl/(fl-fh)
		fx := f(x)
		switch {
		case math.Abs(fx) <= tol:
			return x
		case fx > 0:
			low, fl = x, fx
			if last > 0 {
				fh /= 2
			}
		default:
			high, fh = x, fx
			if last < 0 {
				fl /= 2
			}
		}
		last = fx
	}
	return x
}

// demand is the water to add, kg/h, that holds a humidity; none where it is there already.
func (k *climate) demand(b moisture.Box, humidity float64) moisture.Demand {
	b.EvaporationKgPerHour = k.openWater(b.AirC, humidity)
	d, err := moisture.WaterToHold(b, humidity)
	if err != nil {
		return moisture.Demand{} // already damper; bad input was told apart before
	}
	return d
}

// latent is the heat, W, drawn by open water and by the water that holds the humidity
// in a solved state; 0 where that is not known.
func (k *climate) latent(ph phase, st heat.State) float64 {
	b, why := k.dampBox(ph, st, st.AirChanges)
	if why != "" {
		return 0
	}
	low, _ := k.wantedHumidity(ph.night)
	if low == nil && k.q.Water == nil {
		return 0
	}
	add, at := 0.0, k.held(b, 0)
	if low != nil && *low > at {
		add, at = k.demand(b, *low).ToAddKgPerHour, *low
	}
	return moisture.LatentPower(add+k.openWater(b.AirC, at), moisture.LatentHeat(b.AirC))
}

func (k *climate) dampStates(r regimes) ([]dampState, error) {
	var out []dampState
	for _, ph := range k.phases() {
		s := dampState{ph: ph}
		g, have := r[ph]
		if !have {
			s.why, s.give = "the warmth inside is not known", k.missingPower()
			out = append(out, s)
			continue
		}
		s.air, s.changes, s.faces = g.state.Mean(), g.changes, g.state.Faces
		if s.box, s.why = k.dampBox(ph, g.state, g.changes.Typical); s.why != "" {
			if k.rooms[ph.room].humidity == nil {
				s.give = []string{"/room/" + k.rooms[ph.room].name + "/humidity"}
			}
			out = append(out, s)
			continue
		}
		s.natural = k.held(s.box, 0)
		s.low, s.high = k.wantedHumidity(ph.night)
		switch {
		case s.low == nil && s.high == nil:
			s.standing = "no target"
		case s.high != nil && s.natural > *s.high+1e-6:
			s.standing = "too damp"
		case s.low == nil || s.natural >= *s.low-1e-6:
			s.standing = "held with nothing added"
		default:
			s.standing = "water needed"
		}
		if h := k.q.Humidifier; h != nil && h.RunTime != nil {
			device := k.device()
			hour := device.Litres(60) * device.VapourShare
			held := k.held(s.box, hour*float64(*h.RunTime)*float64(device.SessionsPerDay)/24)
			b := s.box
			b.EvaporationKgPerHour = k.openWater(s.air, held)
			peak, err := moisture.HumidityAfter(b, held, hour, float64(*h.RunTime))
			if err != nil {
				return nil, err
			}
			s.asSet, s.peak = &held, new(math.Max(held, peak))
		}
		out = append(out, s)
	}
	return out, nil
}

func (k *climate) device() moisture.Device {
	h := k.q.Humidifier
	share := moisture.AssumedFogVapourShare
	if h.Kind == "mister" {
		share = moisture.AssumedMistVapourShare
	}
	return moisture.Device{LitresPerMinute: h.OutputPerHour.Litres() / 60, VapourShare: float64(orElse(h.VapourShare, quantity.Fraction(share))), SessionsPerDay: orElse(h.RunsPerDay, 3)}
}

// dampBasis is known where any phase is.
func (k *climate) dampBasis(states []dampState) (b Basis, known bool) {
	b.Standing = care.NotKnown
	for _, s := range states {
		if s.why == "" {
			b.Standing, known = care.Known, true
			continue
		}
		if b.Why == "" {
			b.Why = s.why
		}
		for _, g := range s.give {
			if len(b.Give) == 0 || b.Give[len(b.Give)-1] != g {
				b.Give = append(b.Give, g)
			}
		}
	}
	if !known {
		return b, false
	}
	b.Assumptions = []string{
		"The air inside is mixed: one humidity by mass everywhere, so that it is relatively drier where it is warmer.",
		"Temperatures and air changes are those of the heat balance: at the targets where there are any, else with every source at its power.",
	}
	if k.fitted != "" {
		b.Assumptions = append(b.Assumptions, k.fitted)
	}
	return b, true
}

func (k *climate) humidity(states []dampState) *ClimateHumidity {
	out := &ClimateHumidity{}
	var known bool
	if out.Basis, known = k.dampBasis(states); !known {
		return out
	}
	if w := k.q.Water; w != nil {
		if w.Temperature == nil {
			out.Assumptions = append(out.Assumptions, "Open water is as warm as the air.")
		}
		out.Assumptions = append(out.Assumptions, "Open water evaporates into still air (0.1 m/s); published forms differ by half.")
	} else {
		out.Assumptions = append(out.Assumptions, "Nothing evaporates inside but what is added: no open water is given, and soil and plants are not counted.")
	}
	if h := k.q.Humidifier; h != nil {
		d := k.device()
		if h.VapourShare == nil {
			out.Assumptions = append(out.Assumptions, fmt.Sprintf("%.0f %% of a %s's water becomes vapour while it is needed, the rest wets and drains (an assumption).", 100*d.VapourShare, h.Kind))
		}
		if h.RunsPerDay == nil {
			out.Assumptions = append(out.Assumptions, "The humidifier runs three times a day.")
		}
		out.Cautions = append(out.Cautions, "Mains near spray needs fittings rated for it, drip loops and a residual-current device; the local code and a licensed electrician decide.",
			"Use clean water and clean the device: fog carries what grows in its tank into the lungs.")
	} else {
		out.Give = append(out.Give, "/humidifier")
	}
	f := moisture.CommonFogPractice()
	out.Practices = []string{fmt.Sprintf("A fogger in a planted enclosure is run low, about %d times a day for %.0f to %.0f minutes, to lift humidity, not to fill the space (%s).", f.SessionsPerDay, f.MinutesLow, f.MinutesHigh, f.Basis)}
	for i := range states {
		if s := &states[i]; s.why == "" {
			out.States = append(out.States, k.humidityState(s))
		}
	}
	for i := range k.rooms {
		if day, night := &states[2*i], &states[2*i+1]; day.why == "" && night.why == "" {
			out.Days = append(out.Days, k.humidityDay(day, night))
		}
	}
	return out
}

// needs is the water to add, kg/h, at the typical, least and greatest air change.
func (k *climate) needs(s *dampState) (low, typical, high float64) {
	if s.standing != "water needed" {
		return 0, 0, 0
	}
	at := func(changes float64) float64 {
		b := s.box
		b.AirChangesPerHour = math.Max(changes, 1e-6)
		if b.Check() != nil {
			b.AirChangesPerHour = s.changes.Typical
		}
		return k.demand(b, *s.low).ToAddKgPerHour
	}
	typical = at(s.changes.Typical)
	a, b := at(s.changes.Low), at(s.changes.High)
	return math.Min(typical, math.Min(a, b)), typical, math.Max(typical, math.Max(a, b))
}

func (k *climate) humidityState(s *dampState) HumidityState {
	c := s.changes
	out := HumidityState{Room: k.rooms[s.ph.room].name, Phase: s.ph.name(), AirTemperature: quantity.Temperature(s.air),
		AirChanges: figures(c.Low, c.Typical, c.High, 1, "1/h", 2), WithNothingAdded: quantity.Fraction(s.natural), Standing: s.standing}
	at := s.natural
	add := 0.0
	if s.low != nil || s.high != nil {
		out.Wanted = &quantity.Band{Unit: "%"}
		for _, b := range []struct{ from, to **float64 }{{&s.low, &out.Wanted.Low}, {&s.high, &out.Wanted.High}} {
			if *b.from != nil {
				*b.to = new(math.Round(**b.from*1000) / 10)
			}
		}
	}
	if s.standing == "water needed" {
		low, typical, high := k.needs(s)
		out.WaterPerHour = new(figures(low, typical, high, 1000, "g", 1))
		at, add = *s.low, typical
		out.Condensing = new(figure(1000*k.demand(s.box, at).CondensationKgPerHour, "g", 1))
	}
	if s.standing == "too damp" {
		out.Unmet = append(out.Unmet, ClimateUnmet{"humidity_" + s.ph.name(), figure(100**s.high, "%", 0), figure(100*s.natural, "%", 0),
			"the room's air and the water inside give more; only drier air or more air change lowers it", "at typical values"})
	}
	open := k.openWater(s.air, at)
	out.OpenWater = figure(1000*open, "g", 1)
	out.Latent = quantity.Power(moisture.LatentPower(add+open, moisture.LatentHeat(s.air)))
	if st, err := moisture.Describe(moisture.Air{TemperatureC: s.air, Humidity: at, PressurePa: k.pressure}); err == nil {
		out.DewPoint, out.WetBulb = quantity.Temperature(st.DewPointC), quantity.Temperature(st.WetBulbC)
	}
	if s.asSet != nil {
		out.AsSet, out.Peak = new(quantity.Fraction(*s.asSet)), new(quantity.Fraction(*s.peak))
		if s.low != nil && *s.asSet < *s.low-0.005 {
			out.Unmet = append(out.Unmet, ClimateUnmet{"humidity_" + s.ph.name(), figure(100**s.low, "%", 0), figure(100**s.asSet, "%", 0), "the humidifier as it is set gives less", "at typical values"})
		}
	}
	return out
}

// humidityDay adds up a day and the humidifier's running.
func (k *climate) humidityDay(day, night *dampState) HumidityDay {
	out := HumidityDay{Room: k.rooms[day.ph.room].name}
	var low, typical, high, minutes, litres, runoff float64
	small := false
	h := k.q.Humidifier
	for _, s := range []*dampState{day, night} {
		hours := k.hours(s.ph.night)
		a, b, c := k.needs(s)
		low, typical, high = low+a*hours, typical+b*hours, high+c*hours
		if h == nil || b == 0 || hours == 0 {
			continue
		}
		box := s.box
		box.EvaporationKgPerHour = k.openWater(s.air, *s.low)
		run, err := moisture.RunTime(box, *s.low, hours, k.device())
		var short *moisture.UnreachableError
		switch {
		case errors.As(err, &short):
			small = true
			out.Unmet = append(out.Unmet, ClimateUnmet{"humidity_" + s.ph.name(), figure(100**s.low, "%", 0), figure(100*short.NearestHumidity, "%", 0), short.Reason, "at typical values"})
		case err == nil:
			minutes, litres, runoff = minutes+run.MinutesPerDay, litres+run.LitresPerDay, runoff+run.RunoffLPerDay
		}
	}
	out.WaterPerDay = figures(low, typical, high, 1000, "g", 0)
	if h != nil && !small && minutes > 0 {
		runs := k.device().SessionsPerDay
		each := minutes / float64(runs)
		out.Runs = runs
		out.RunPerDay, out.RunTime = new(figure(minutes, "min", 1)), new(figure(each, "min", 1))
		out.DrawnPerDay, out.RunoffPerDay = new(figure(1000*litres, "g", 0)), new(figure(1000*runoff, "g", 0))
		out.BeyondHabit = each > moisture.CommonFogPractice().MinutesHigh
	}
	return out
}

func (k *climate) condensation(states []dampState) (*ClimateCondensation, error) {
	out := &ClimateCondensation{}
	var known bool
	if out.Basis, known = k.dampBasis(states); !known {
		return out, nil
	}
	out.Assumptions = append(out.Assumptions, "A face is wet where its coldest part is below the dew point; lamps warm the faces they light further.",
		"Faces that are mesh throughout are left out.")
	for i := range states {
		s := &states[i]
		if s.why != "" {
			continue
		}
		at, how := s.natural, "with nothing added"
		switch {
		case s.asSet != nil:
			at, how = *s.asSet, "as set"
		case s.standing == "water needed":
			at, how = *s.low, "as wanted"
		}
		air := moisture.Air{TemperatureC: s.air, Humidity: at, PressurePa: k.pressure}
		st, err := moisture.Describe(air)
		if err != nil {
			return nil, err
		}
		c := CondensationState{Room: k.rooms[s.ph.room].name, Phase: s.ph.name(), Humidity: quantity.Fraction(at), At: how, DewPoint: quantity.Temperature(st.DewPointC)}
		var coldest, mean []moisture.Face
		for _, f := range s.faces {
			cold := math.Min(moisture.MaxC, math.Max(moisture.MinC, f.Coldest)) // colder than 0 °C is wet as well
			coldest = append(coldest, moisture.Face{Name: f.Side.String(), AreaM2: f.Area, SurfaceC: cold})
			mean = append(mean, moisture.Face{Name: f.Side.String(), AreaM2: f.Area, SurfaceC: f.Mean})
		}
		edge, err := moisture.Condensation(air, coldest)
		if err != nil {
			return nil, err
		}
		whole, err := moisture.Condensation(air, mean)
		if err != nil {
			return nil, err
		}
		for j, f := range s.faces {
			c.Faces = append(c.Faces, FaceFinding{f.Side.String(), quantity.Temperature(f.Mean), quantity.Temperature(f.Coldest), figure(edge[j].MarginK, "K", 1),
				edge[j].Wet, quantity.Fraction(edge[j].Humidity), figure(1000*whole[j].KgPerHour, "g", 1)})
		}
		out.States = append(out.States, c)
	}
	return out, nil
}

// DrainageAnswer is how fast the layer under the soil fills.
type DrainageAnswer struct {
	Basis
	Capacity     quantity.Volume `json:"capacity,omitzero"`       // water that fills the layer
	InflowPerDay *score.Figure   `json:"inflow_per_day,omitzero"` // negative while the floor dries
	Fills        *bool           `json:"fills,omitzero"`
	DaysToFull   *score.Figure   `json:"days_to_full,omitzero"`
	ForFourWeeks *score.Figure   `json:"depth_for_four_weeks,omitzero"` // depth that takes four weeks' inflow, cm
	Soaks        quantity.Volume `json:"soil_takes_first,omitzero"`     // what the soil takes up before it drains
}

func (k *climate) drainage(states []dampState) (*DrainageAnswer, error) {
	d := k.q.Drainage
	if d == nil || k.fill == nil {
		return &DrainageAnswer{Basis: Basis{Standing: care.NotApplicable, Why: "no drainage layer is given"}}, nil
	}
	in := moisture.Inflow{WateringLPerDay: orElse(d.WateringPerDay, 0).Litres(), UptakeLPerDay: orElse(d.UptakePerDay, 0).Litres()}
	b := Basis{Standing: care.Known}
	if h := k.q.Humidifier; h != nil {
		dev := k.device()
		how := "as it is set"
		if h.RunTime != nil {
			in.RunoffLPerDay = dev.Litres(60*float64(*h.RunTime)*float64(dev.SessionsPerDay)) * (1 - dev.VapourShare)
		} else {
			how = "as the humidity wanted asks for, in the room that asks for most"
			found := false
			for i := range k.rooms {
				if day, night := &states[2*i], &states[2*i+1]; day.why == "" && night.why == "" {
					if x := k.humidityDay(day, night); x.RunoffPerDay != nil {
						in.RunoffLPerDay, found = math.Max(in.RunoffLPerDay, x.RunoffPerDay.Number/1000), true
					}
				}
			}
			if !found {
				return &DrainageAnswer{Basis: notKnown("how long the humidifier runs is not known", "/humidifier/run_time")}, nil
			}
		}
		b.Assumptions = append(b.Assumptions, "Runoff is what the humidifier gives, "+how+", and does not become vapour.")
	}
	if d.WateringPerDay == nil {
		b.Assumptions = append(b.Assumptions, "Nothing is watered by hand.")
	}
	if d.UptakePerDay == nil {
		b.Assumptions = append(b.Assumptions, "Plants and air take nothing up again, so that the days are the fewest.")
	}
	f := k.fill
	if f.Moist != nil {
		in.SoilFreeL = math.Max(0, f.Substrate.FieldCapacity.Typical-*f.Moist) * f.Length * f.Depth * f.Thickness * 1000
	}
	layer := moisture.Layer{LengthM: f.Length, WidthM: f.Depth, DepthM: f.DrainageThickness, PoreShare: f.Drainage.Porosity.Typical}
	a, err := moisture.Drain(layer, in)
	if err != nil {
		field, reason := physicsField(err)
		return &DrainageAnswer{Basis: notKnown("beyond what the formula is checked for: " + field + " " + reason)}, nil
	}
	b.Cautions = []string{"Draw the layer off before it is full, or the soil stands in water and rots."}
	out := &DrainageAnswer{Basis: b, Capacity: quantity.Litres(a.CapacityL), InflowPerDay: new(figure(1000*a.InflowLPerDay, "g", 0)), Fills: new(a.Fills), Soaks: quantity.Litres(in.SoilFreeL)}
	if a.Fills {
		out.DaysToFull = new(figure(a.DaysUntilFull, "d", 1))
		depth, err := moisture.LayerDepth(layer.LengthM, layer.WidthM, layer.PoreShare, in, 28)
		if err != nil {
			return nil, err
		}
		out.ForFourWeeks = new(figure(100*depth, "cm", 1))
	}
	return out, nil
}

// GroundAnswer is what lies on the floor.
type GroundAnswer struct {
	Basis
	Volume    quantity.Volume            `json:"volume,omitzero"` // of substrate
	Drainage  quantity.Volume            `json:"drainage_volume,omitzero"`
	Dry       *Estimate[quantity.Mass]   `json:"dry,omitzero"` // substrate and drainage together
	Moist     *Estimate[quantity.Mass]   `json:"moist,omitzero"`
	Saturated *Estimate[quantity.Mass]   `json:"saturated,omitzero"`
	WaterHeld *Estimate[quantity.Volume] `json:"water_held,omitzero"`
	// At the foot of the substrate: heat resistance of the soil above, the share of the
	// surface's daily swing that is felt there, and how much later.
	Resistance *score.Figure      `json:"heat_resistance,omitzero"`
	SwingShare *quantity.Fraction `json:"daily_swing_felt_below,omitzero"`
	Lag        *quantity.Hours    `json:"lag,omitzero"`
	Sources    []string           `json:"sources,omitzero"`
}

func (k *climate) groundAnswer() (*GroundAnswer, error) {
	if k.fill == nil {
		return &GroundAnswer{Basis: Basis{Standing: care.NotApplicable, Why: "no substrate is given"}}, nil
	}
	f := *k.fill
	c, err := ground.Describe(f)
	if err != nil {
		return nil, err
	}
	kg := func(i ground.Interval) *Estimate[quantity.Mass] {
		return new(estimate[quantity.Mass](heat.Interval(i)))
	}
	out := &GroundAnswer{Basis: Basis{Standing: care.Known}, Volume: quantity.Volume(c.Volume), Drainage: quantity.Volume(c.DrainageVolume),
		Dry: kg(c.Dry), Moist: kg(c.Moist), Saturated: kg(c.Saturated), WaterHeld: new(estimate[quantity.Volume](heat.Interval(c.WaterHeld)))}
	out.Assumptions = []string{"Moist is the water content given, else what the fill holds after draining; saturated is flooded throughout, drainage and all."}
	water := f.Substrate.FieldCapacity.Typical
	if f.Moist != nil {
		water = *f.Moist
	}
	if b, err := ground.Daily(f.Substrate, water, f.Thickness); err == nil {
		out.Resistance, out.SwingShare, out.Lag = new(figure(b.Resistance, "m²K/W", 3)), new(quantity.Fraction(b.Share)), new(quantity.Hours(b.Lag/3600))
		out.Assumptions = append(out.Assumptions, "Daily swing as in deep, even soil; a shallow fill over a warm or cold floor departs from it.")
	} else {
		_, reason := physicsField(err)
		out.Assumptions = append(out.Assumptions, "How it carries heat is not known: "+reason+".")
	}
	for _, r := range f.Substrate.References {
		out.Sources = append(out.Sources, fmt.Sprintf("%s, %s (%s)", r.Title, r.Publisher, r.Access))
	}
	if s := k.g.species; s != nil && s.Nature.Digs >= 1 {
		out.Cautions = append(out.Cautions, "Stones stand on the enclosure's floor, not on substrate that can be dug away.")
	}
	return out, nil
}
