package layout

import (
	"errors"
	"fmt"
	"math"

	"denwright/care/quantity"
	"denwright/sizing/heat"
	"denwright/sizing/moisture"
	"denwright/sizing/score"
)

// Tub is the standing water.
type Tub struct {
	Volume quantity.Volume `json:"volume"` // to the brim
	Area   quantity.Area   `json:"area"`
	Depth  quantity.Length `json:"depth"`
	// Change is the days between changes of water, PerDay the water that takes a day.
	Change int             `json:"days_between_changes"`
	PerDay quantity.Volume `json:"water_per_day"`
	Drain  string          `json:"drain"`
	Refill string          `json:"refill"`
	Basis  string          `json:"basis"`
}

// Every says in words how often the water is changed.
func (t *Tub) Every() string {
	if t.Change == 1 {
		return "every day"
	}
	return fmt.Sprintf("every %d days", t.Change)
}

// RunningWater is a wall that water runs down, its trough and its pump.
type RunningWater struct {
	Length quantity.Length `json:"length"`
	Height quantity.Length `json:"height"`
	Area   quantity.Area   `json:"wetted_area"`
	// Flow of the pump at the height it lifts to.
	Flow score.Figure    `json:"pump_flow"`
	Lift quantity.Length `json:"lift"`
	// Film is what runs down the wall while the pump runs and falls back when it stops.
	Film quantity.Volume `json:"film_volume"`
	// Sump: the film, the pump's own cover and three days of evaporation.
	Sump quantity.Volume `json:"sump_volume"`
	// SumpHolds says whether the trough or tub placed under it is that large.
	SumpHolds   bool             `json:"sump_holds"`
	Evaporation *quantity.Volume `json:"evaporation_per_day,omitzero"`
	Notes       []string         `json:"notes"`
}

// RockEffect is what rock work on one wall does.
type RockEffect struct {
	Wall      string          `json:"wall"`
	Thickness quantity.Length `json:"thickness"`
	Area      quantity.Area   `json:"area"`
	FloorLost quantity.Area   `json:"floor_lost"`
	// Before and After are the loss through the wall, W/K.
	Before score.Figure `json:"loss_before"`
	After  score.Figure `json:"loss_after"`
}

// Moisture is the water that the air takes, by day and by night.
type Moisture struct {
	// OpenWater evaporates by itself.
	OpenWater quantity.Volume `json:"open_water_per_day"`
	// Held is the humidity that the box keeps without mist or fog.
	HeldDay   quantity.Fraction `json:"held_by_day"`
	HeldNight quantity.Fraction `json:"held_by_night"`
	// Mist and Fog are the minutes a day and the water they take.
	Mist      score.Figure    `json:"mist_per_day,omitzero"`
	Fog       score.Figure    `json:"fog_per_day,omitzero"`
	MistWater quantity.Volume `json:"mist_water_per_day"`
	FogWater  quantity.Volume `json:"fog_water_per_day"`
	Runoff    quantity.Volume `json:"runoff_per_day"`
	// FogPeak is the highest humidity that a session of fog ends at, FogCeiling what it must not pass.
	FogPeak    quantity.Fraction `json:"fog_peak,omitzero"`
	FogCeiling quantity.Fraction `json:"fog_ceiling,omitzero"`
	Met        bool              `json:"met"`
	Notes      []string          `json:"notes"`
}

// Own choices; common practice, no source.
const (
	flowPerMetre = 20.0 // L/min per metre of wall width, where no flow is given
	pumpCover    = 2.0  // L
	sumpDays     = 3.0
	fogSessions  = 3
	fogLongest   = 10.0 // minutes
	mistSessions = 2
	airSpeed     = 0.1 // m/s over open water
	viscosity    = 1.0e-6
)

// filmThickness of water running down an upright wall, m: δ = (3νΓ/g)^⅓, Γ the flow per
// width in m²/s, ν = 1.0e-6 m²/s at 20 °C. Nusselt's laminar film, 1916, recalled; above
// Γ/ν of about 400 the film is wavy and a little thicker.
func filmThickness(flowPerWidth float64) float64 {
	return math.Cbrt(3 * viscosity * flowPerWidth / 9.81)
}

// water works out tub, running water, rock work and the moisture budget.
func (p *Plan) water(b *Brief) error {
	var tub, sump *Place
	for i := range p.Floor {
		switch p.Floor[i].Role {
		case Water:
			tub = &p.Floor[i]
		case Sump:
			sump = &p.Floor[i]
		}
	}
	open := 0.0 // m² of open water
	if tub != nil {
		area := float64(tub.Length * tub.Width)
		open += area
		t := &Tub{Area: quantity.Area(area), Depth: q(b.Needs.WaterDepth), Volume: quantity.Volume(area * b.Needs.WaterDepth), Change: int(b.Needs.WaterChange), Drain: "lifted out and emptied", Refill: "by hand", Basis: "common practice, no source: days between changes"}
		if t.Change == 0 {
			if t.Change = 7; t.Volume.Litres() < 5 {
				t.Change = 1
			}
		}
		t.PerDay = t.Volume / quantity.Volume(t.Change)
		for _, w := range p.Walls {
			if w.Code == "drain" {
				t.Drain = "through the " + w.Wall + ", " + w.Note
				t.Refill = "by hand or hose from the front"
			}
		}
		for _, w := range p.Walls {
			if w.Code == "refill" {
				t.Refill = "through the " + w.Wall + ", " + w.Note
			}
		}
		p.Tub = t
	}
	wall := 0.0
	if i := b.first(WaterWall); i >= 0 {
		f := &b.Fixtures[i]
		wall = f.Length * f.Width
		flow := f.LitresPerMinute
		r := &RunningWater{Length: q(f.Length), Height: q(f.Width), Area: quantity.Area(wall), Lift: q(f.Width + sumpDepth)}
		if flow == 0 {
			flow = flowPerMetre * f.Length
			r.Notes = append(r.Notes, fmt.Sprintf("Flow taken: %.0f L/min per metre of width, common practice, no source.", flowPerMetre))
		}
		r.Flow = score.Figure{Number: round(flow, 1), Unit: "L/min"}
		film := filmThickness(flow/60000/f.Length) * wall
		r.Film = quantity.Volume(film)
		r.Notes = append(r.Notes, "Choose the pump by its flow at this lift and with its pipe, not by its flow unloaded.",
			"The film is Nusselt's for a smooth upright wall (recalled); rough rock holds more.")
		need := film*1000 + pumpCover
		if b.Climate != nil {
			e, err := b.evaporation(wall, b.Climate.AirC, b.Climate.DayLow) // the most it takes
			if err != nil {
				return err
			}
			day := quantity.Litres(e.Likely * 24)
			r.Evaporation = &day
			need += sumpDays * e.Likely * 24
		} else {
			r.Notes = append(r.Notes, "Evaporation is not known: the air inside and the room are not given. Top the trough up daily at first and note how much it takes.")
		}
		r.Sump = quantity.Litres(need)
		holds := 0.0
		if sump != nil {
			holds = float64(sump.Length * sump.Width * (sump.Top - sump.Bottom))
			open += float64(sump.Length * sump.Width)
		} else if p.Tub != nil {
			holds = float64(p.Tub.Volume)
		}
		if r.SumpHolds = holds*1000 >= need; !r.SumpHolds {
			r.Notes = append(r.Notes, fmt.Sprintf("The trough holds %.1f L: join it to a tank of at least %.1f L outside.", holds*1000, need-holds*1000))
		}
		p.Running = r
	}
	if err := p.rock(b); err != nil {
		return err
	}
	return p.budget(b, open+wall)
}

// evaporation of open water of an area into air, kg/h.
func (b *Brief) evaporation(area, air, humidity float64) (moisture.Evaporation, error) {
	c := b.Climate
	if area == 0 {
		return moisture.Evaporation{}, nil
	}
	e, err := moisture.Evaporate(moisture.OpenWater{AreaM2: area, WaterC: c.WaterC, SpeedMPerS: airSpeed, Air: moisture.Air{TemperatureC: air, Humidity: humidity, PressurePa: moisture.SeaLevelPa}})
	if err != nil {
		return e, fmt.Errorf("evaporation: %w", err)
	}
	return e, nil
}

func round(x float64, digits int) float64 {
	k := math.Pow10(digits)
	return math.Round(x*k) / k
}

// rock compares the walls with and without their rock work.
func (p *Plan) rock(b *Brief) error {
	still := heat.StillAir(heat.Sideways)
	for _, r := range b.Box.Rock {
		length := b.Box.Length
		if r.Wall != "back" {
			length = b.Box.Width
		}
		panel, err := heat.MaterialNamed(b.Box.Material)
		if err != nil {
			return err
		}
		foam, err := heat.MaterialNamed(r.FoamMaterial)
		if err != nil {
			return err
		}
		bare, err := heat.Transmittance(still, still, panel.Layer(b.Box.Panel))
		if err != nil {
			return err
		}
		backed := bare
		if r.Foam > 0 {
			if backed, err = heat.Transmittance(still, still, foam.Layer(r.Foam), panel.Layer(b.Box.Panel)); err != nil {
				return err
			}
		}
		area := length * b.Box.Height
		p.Rock = append(p.Rock, RockEffect{Wall: r.Wall, Thickness: q(r.Thickness), Area: quantity.Area(area), FloorLost: quantity.Area(length * r.Thickness),
			Before: score.Figure{Number: round(bare*area, 2), Unit: "W/K"}, After: score.Figure{Number: round(backed*area, 2), Unit: "W/K"}})
	}
	return nil
}

// budget strikes the moisture balance and sets how long mist and fog run.
func (p *Plan) budget(b *Brief, open float64) error {
	c := b.Climate
	if c == nil {
		return nil
	}
	m := &Moisture{Met: true}
	volume := float64(p.Clear.Length) * float64(p.Clear.Width) * (b.Box.Height - b.surface())
	// Water evaporates the slower the damper the air: each box is struck at its own humidity.
	box := func(air, humidity float64) (moisture.Box, error) {
		e, err := b.evaporation(open, air, humidity)
		return moisture.Box{VolumeM3: volume, AirChangesPerHour: c.AirChanges, AirC: air, RoomC: c.RoomC, RoomHumidity: c.RoomHumidity, EvaporationKgPerHour: e.Likely}, err
	}
	held := func(air float64) (float64, error) {
		low, high := 0.0, 1.0
		for range 40 {
			mid := (low + high) / 2
			x, err := box(air, mid)
			if err != nil {
				return 0, err
			}
			h, err := moisture.HumidityHeld(x, 0)
			if err != nil {
				return 0, fmt.Errorf("humidity held: %w", err)
			}
			if h.Humidity > mid {
				low = mid
			} else {
				high = mid
			}
		}
		return low, nil
	}
	byDay, err := held(c.AirC)
	if err != nil {
		return err
	}
	byNight, err := held(c.NightC)
	if err != nil {
		return err
	}
	m.HeldDay, m.HeldNight = quantity.Fraction(byDay), quantity.Fraction(byNight)
	day, err := box(c.AirC, max(byDay, c.DayLow))
	if err != nil {
		return err
	}
	night, err := box(c.NightC, max(byNight, c.NightLow))
	if err != nil {
		return err
	}
	m.OpenWater = quantity.Litres(12 * (day.EvaporationKgPerHour + night.EvaporationKgPerHour))
	const dayHours = 12
	nozzles := b.device(Nozzle, moisture.AssumedMistVapourShare, mistSessions)
	fog := b.device(Fog, moisture.AssumedFogVapourShare, fogSessions)
	switch {
	case nozzles != nil:
		r, ok, err := run(day, c.DayLow, dayHours, *nozzles, m, "Mist")
		if err != nil {
			return err
		}
		minutes := r.MinutesPerDay
		if minutes < mistSessions { // the air needs less, but drops are drunk, and leaves rinsed
			minutes = mistSessions
			m.Notes = append(m.Notes, "Mist runs a minute a session for drops to drink and to rinse leaves (common practice, no source); the air needs less.")
		}
		m.Mist = score.Figure{Number: round(minutes, 1), Unit: "min"}
		m.MistWater = quantity.Litres(nozzles.Litres(minutes))
		m.Runoff = quantity.Litres(nozzles.Litres(minutes) * (1 - nozzles.VapourShare))
		m.Met = m.Met && ok
	case float64(m.HeldDay) < c.DayLow && fog == nil:
		m.Met = false
		m.Notes = append(m.Notes, "Without mist or fog the air by day stays under what is wanted.")
	}
	if fog != nil {
		if err := p.fogging(c, fog, night, m); err != nil {
			return err
		}
	}
	if c.DayHigh > 0 && float64(m.HeldDay) > c.DayHigh || c.NightHigh > 0 && float64(m.HeldNight) > c.NightHigh {
		m.Met = false
		m.Notes = append(m.Notes, "Open water and the room alone make the air damper than wanted: more air change, or less open water.")
	}
	m.Notes = append(m.Notes, "Evaporation of open water is good to about a half either way; soil and plants are left out: set the times by a hygrometer.")
	p.Moisture = m
	return nil
}

// device sums the outlets of a kind; nil where none has an output.
func (b *Brief) device(k Kind, assumed float64, sessions int) *moisture.Device {
	d := moisture.Device{SessionsPerDay: sessions}
	for _, f := range b.Fixtures {
		if f.Kind == k && f.LitresPerMinute > 0 {
			d.LitresPerMinute += f.LitresPerMinute * float64(f.Count)
			if d.VapourShare = f.VapourShare; f.VapourShare == 0 {
				d.VapourShare = assumed
			}
		}
	}
	if d.LitresPerMinute == 0 {
		return nil
	}
	return &d
}

// run asks for the running time; what can't be had or is not needed becomes a note.
func run(box moisture.Box, humidity, hours float64, d moisture.Device, m *Moisture, name string) (moisture.Running, bool, error) {
	r, err := moisture.RunTime(box, humidity, hours, d)
	var not *moisture.UnreachableError
	if errors.As(err, &not) {
		if not.NearestHumidity >= humidity {
			m.Notes = append(m.Notes, name+" is not needed for the air: it is damp enough without.")
			return moisture.Running{}, true, nil
		}
		m.Notes = append(m.Notes, fmt.Sprintf("%s falls short even running throughout: %.0f %% is reached. Less air change, or more outlets.", name, 100*not.NearestHumidity))
		return moisture.Running{}, false, nil
	}
	if err != nil {
		return r, false, fmt.Errorf("%s: %w", name, err)
	}
	return r, true, nil
}

// fogging cuts the sessions so that none lifts the air past its ceiling.
func (p *Plan) fogging(c *Climate, d *moisture.Device, night moisture.Box, m *Moisture) error {
	r, ok, err := run(night, c.NightLow, 12, *d, m, "Fog")
	if err != nil {
		return err
	}
	m.Met = m.Met && ok
	ceiling := c.NightHigh
	if ceiling == 0 || ceiling > 0.98 {
		ceiling = 0.98 // short of saturation, so that no surface stays wet
	}
	m.FogCeiling = quantity.Fraction(ceiling)
	m.Fog.Unit = "min"
	minutes := min(r.MinutesPerSession, fogLongest)
	if ok && minutes == 0 {
		return nil
	}
	if !ok {
		minutes = fogLongest
	}
	start := max(float64(m.HeldNight), min(c.NightLow, ceiling))
	after := func(minutes float64) (float64, error) {
		return moisture.HumidityAfter(night, start, d.LitresPerMinute*60*d.VapourShare, minutes/60)
	}
	peak, err := after(minutes)
	if err != nil {
		return fmt.Errorf("fog: %w", err)
	}
	if peak > ceiling {
		low, high := 0.0, minutes
		for range 30 {
			mid := (low + high) / 2
			h, err := after(mid)
			if err != nil {
				return fmt.Errorf("fog: %w", err)
			}
			if h > ceiling {
				high = mid
			} else {
				low = mid
			}
		}
		minutes = math.Floor(low)
		if peak, err = after(minutes); err != nil {
			return fmt.Errorf("fog: %w", err)
		}
		if m.Notes = append(m.Notes, fmt.Sprintf("Fog is cut to %.0f min a session, so that the air stays at or under %.0f %%.", minutes, 100*ceiling)); minutes == 0 {
			m.Met = false
			m.Notes = append(m.Notes, "This fogger passes the ceiling within a minute: take a smaller one, or let a hygrostat switch it.")
		}
	} else {
		minutes = math.Ceil(minutes)
		if peak, err = after(minutes); err != nil {
			return fmt.Errorf("fog: %w", err)
		}
		if peak > ceiling {
			minutes--
			if peak, err = after(minutes); err != nil {
				return fmt.Errorf("fog: %w", err)
			}
		}
	}
	if start > ceiling {
		minutes = 0
	}
	if minutes > 0 {
		m.FogPeak = quantity.Fraction(peak)
	}
	if minutes < r.MinutesPerSession-1e-9 {
		m.Met = false
		m.Notes = append(m.Notes, "Three sessions do not hold the night's humidity: less air change, or wet the ground instead of filling the air with fog.")
	}
	m.Fog.Number = minutes * fogSessions
	m.FogWater = quantity.Litres(d.Litres(m.Fog.Number))
	m.Runoff += quantity.Litres(d.Litres(m.Fog.Number) * (1 - d.VapourShare))
	return nil
}
