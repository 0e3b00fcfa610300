package sizing

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"strings"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing/ground"
	"denwright/sizing/heat"
	"denwright/sizing/light"
	"denwright/sizing/moisture"
	"denwright/sizing/score"
)

// climate is a question put into the terms of the physics.
type climate struct {
	q       *ClimateQuestion
	c       *care.Catalogue
	g       group // species nil where none is named
	dayHour float64

	// general are assumptions behind every part; box, gear those of walls and of heat sources.
	general, box, gear []string

	air      heat.Enclosure // the air space above the substrate
	wallsAt  [6]string      // JSON pointer of each side's construction
	equip    []heat.Equipment
	sources  []sourceRef
	noPower  []string // pointers of sources that don't say their power
	rooms    []climateRoom
	pressure float64

	fill     *ground.Fill
	soilHeat float64 // J/K of the moist substrate; 0 where not known
	mesh     float64 // share of the lid that is mesh

	wants   []want
	targets heat.Targets

	fitted string // what was fitted to readings, "" where none are given
}

// sourceRef names a heat source in an answer.
type sourceRef struct{ name, field, role string }

// climateRoom is the room in one season.
type climateRoom struct {
	name       string
	day, night float64
	humidity   *float64
}

func (r climateRoom) at(night bool) float64 {
	if night {
		return r.night
	}
	return r.day
}

// want is one thing aimed at or compared with.
type want struct {
	code, name, unit string
	low, high        *float64
	from             string
}

// newClimate checks the whole question and gathers every bad field in p.
func newClimate(c *care.Catalogue, q *ClimateQuestion, p *problems) *climate {
	k := &climate{q: q, c: c, dayHour: 12, pressure: moisture.SeaLevelPa}
	k.who(p)
	for i, part := range q.Parts {
		p.word(fmt.Sprintf("/parts/%d", i), part, ClimateParts)
	}
	if q.DayHours == nil {
		k.general = append(k.general, "The day equipment runs 12 h in 24.")
	} else if p.within("/day_hours", float64(*q.DayHours), 0, 24, "h") {
		k.dayHour = float64(*q.DayHours)
	}
	k.place(p)
	k.enclosure(p)
	k.heaters(p)
	k.lamps(p)
	k.readings(p)
	k.wet(p)
	k.load(p)
	k.aims(p)
	return k
}

func (k *climate) who(p *problems) {
	q := k.q
	if q.Species == "" {
		if len(q.Animals) > 0 {
			p.add("/species", "is missing", "name the species of the animals, or leave the animals out")
		}
		return
	}
	s := p.species(k.c, q.Species)
	animals := q.Animals
	if len(animals) == 0 {
		animals = []Animal{{Count: 1, Stage: care.Adult}}
		k.general = append(k.general, "One adult animal.")
	}
	k.g = p.animals(k.c, s, animals)
}

func (k *climate) place(p *problems) {
	r := k.q.Room
	for _, x := range []struct {
		name string
		air  *RoomAir
	}{{"winter", r.Winter}, {"summer", r.Summer}} {
		if x.air == nil {
			continue
		}
		at := "/room/" + x.name
		if x.air.Temperature == nil {
			p.add(at+"/temperature", "is missing", "give the room's temperature in "+x.name+", or leave the season out")
			k.rooms = append(k.rooms, climateRoom{name: x.name})
			continue
		}
		room := climateRoom{name: x.name, day: float64(*x.air.Temperature), night: float64(*x.air.Temperature)}
		p.within(at+"/temperature", room.day, -20, 60, "°C")
		if x.air.NightTemperature != nil {
			room.night = float64(*x.air.NightTemperature)
			p.within(at+"/night_temperature", room.night, -20, 60, "°C")
		} else {
			k.general = append(k.general, "The room is as warm by night as by day in "+x.name+".")
		}
		if x.air.Humidity != nil {
			h := float64(*x.air.Humidity)
			p.within(at+"/humidity", 100*h, 0, 100, "%")
			room.humidity = &h
		}
		k.rooms = append(k.rooms, room)
	}
	if len(k.rooms) == 0 {
		p.add("/room", "gives no temperature", "give the room's temperature in winter, in summer, or both")
	}
	if r.Altitude == nil {
		return
	}
	if p.within("/room/altitude", float64(*r.Altitude), -500, 5000, "m") {
		k.pressure, _ = moisture.PressureAtAltitude(float64(*r.Altitude)) // in range
		if *r.Altitude > 500 {
			k.general = append(k.general, fmt.Sprintf("Air is thinner at this altitude: the heat that vents carry off is overstated by about %.0f %%.", 100*(moisture.SeaLevelPa/k.pressure-1)))
		}
	}
}

// meshDraught is the air change, 1/h, that a room's draughts make through a lid all of
// mesh, where nothing inside is warm: an assumption without a source.
const meshDraught = 5.0

func (k *climate) enclosure(p *problems) {
	e := &k.q.Enclosure
	okL := p.above("/enclosure/length", float64(e.Length), float64(maxSide), "m")
	okW := p.above("/enclosure/width", float64(e.Width), float64(maxSide), "m")
	okH := p.above("/enclosure/height", float64(e.Height), 10, "m")
	a := &k.air
	a.Length, a.Depth, a.Height = float64(e.Length), float64(e.Width), float64(e.Height)
	k.ground(p, okL && okW && okH)

	walls := k.wall(p, "/enclosure/walls", &e.Walls)
	a.Faces = heat.Faces{Front: walls, Back: walls, Left: walls, Right: walls, Top: walls, Floor: walls}
	for s := range k.wallsAt {
		k.wallsAt[s] = "/enclosure/walls"
	}
	if e.Front != nil {
		a.Faces.Front, k.wallsAt[heat.Front] = k.wall(p, "/enclosure/front", e.Front), "/enclosure/front"
	}
	if e.Floor != nil {
		a.Faces.Floor, k.wallsAt[heat.Floor] = k.wall(p, "/enclosure/floor", e.Floor), "/enclosure/floor"
	} else if e.Walls.GlazedShare != nil {
		a.Faces.Floor.FrameShare, a.Faces.Floor.FrameLayers = 0, nil
	}
	k.lid(p)
	open := a.Faces.Top.Mesh > 0
	for i := range e.Vents {
		open = k.vent(p, i) || open
	}
	if e.Fan != nil {
		if flow, ok := p.unit("/enclosure/fan", e.Fan, flowUnits); ok && p.within("/enclosure/fan", flow*3600, 0, 10000, "m³/h") {
			if a.Fan = flow; flow > 0 && !open {
				p.add("/enclosure/fan", "moves air but every vent is closed", "give an open vent or a mesh lid, or leave the fan out")
			}
		}
	}
	if e.Leakage == nil {
		a.Leakage = 0.5
		k.box = append(k.box, "Gaps pass half the air of the box per hour ("+ownBasis+": 0.5 to 2 in a box with sliding doors).")
		if k.mesh > 0 {
			a.Leakage += meshDraught * k.mesh
			k.box = append(k.box, fmt.Sprintf("Draughts in the room change the air under a mesh lid %.1f times per hour besides what warmth drives (an assumption).", meshDraught*k.mesh))
		}
	} else if n, ok := p.unit("/enclosure/leakage", e.Leakage, changeUnits); ok && p.within("/enclosure/leakage", n, 0, 100, "1/h") {
		a.Leakage = n
	}
	if !open && e.Fan == nil {
		k.box = append(k.box, "No open vent is given: air changes through gaps only.")
	}
}

// ground puts substrate and drainage into the box; ok says that the box has sides.
func (k *climate) ground(p *problems, ok bool) {
	s, d := k.q.Substrate, k.q.Drainage
	filled := 0.0
	if d != nil {
		p.above("/drainage/depth", float64(d.Depth), 2, "m")
		if d.Kind != "" {
			p.word("/drainage/kind", d.Kind, SubstrateKinds())
		}
		for field, v := range map[string]*quantity.Volume{"watering_per_day": d.WateringPerDay, "uptake_per_day": d.UptakePerDay} {
			if v != nil {
				p.within("/drainage/"+field, v.Litres(), 0, 10000, "L")
			}
		}
		filled += float64(d.Depth)
		if s == nil {
			p.add("/drainage", "is given without a substrate", "give the substrate over it, or leave it out")
		}
	}
	if s == nil {
		k.box = append(k.box, "No substrate is given: a bare floor.")
		return
	}
	okDepth := p.above("/substrate/depth", float64(s.Depth), 5, "m")
	filled += float64(s.Depth)
	if ok && okDepth && filled >= float64(k.q.Enclosure.Height) {
		p.add("/substrate/depth", "with the drainage fills the whole inside height", "check the units")
		ok = false
	}
	if !p.word("/substrate/kind", s.Kind, SubstrateKinds()) {
		return
	}
	kind, err := ground.SubstrateNamed(s.Kind)
	if err != nil {
		p.add("/substrate/kind", err.Error(), "use one of "+strings.Join(SubstrateKinds(), ", "))
		return
	}
	f := ground.Fill{Length: k.air.Length, Depth: k.air.Depth, Thickness: float64(s.Depth), Substrate: kind}
	water := kind.FieldCapacity.Typical
	if s.WaterContent != nil {
		water = float64(*s.WaterContent)
		p.within("/substrate/water_content", 100*water, 0, 100*kind.Porosity.High, "% by volume")
		f.Moist = &water
	} else {
		k.box = append(k.box, fmt.Sprintf("The substrate is moist: it holds %.0f %% water by volume, what is left in it after draining.", 100*water))
	}
	if d != nil {
		drain := d.Kind
		if drain == "" {
			drain = "expanded clay"
			k.box = append(k.box, "The drainage is of expanded clay.")
		}
		f.DrainageThickness = float64(d.Depth)
		if f.Drainage, err = ground.SubstrateNamed(drain); err != nil {
			f.DrainageThickness = 0 // its kind was reported above
		}
	}
	k.fill = &f
	if !ok || !okDepth {
		return
	}
	k.air.Height -= filled
	conductivity := 0.3
	t, err := kind.At(water)
	if err != nil && len(kind.Thermal) > 0 {
		ends := []ground.ThermalPoint{kind.Thermal[0], kind.Thermal[len(kind.Thermal)-1]}
		if t = ends[0]; math.Abs(ends[1].Water-water) < math.Abs(t.Water-water) {
			t = ends[1]
		}
		k.box = append(k.box, fmt.Sprintf("How %s carries heat at this water content is not known; its figures at %.0f %% are taken.", s.Kind, 100*t.Water))
		err = nil
	}
	if err == nil {
		conductivity = t.Conductivity
		k.soilHeat = t.Density * t.SpecificHeat * f.Length * f.Depth * f.Thickness
	} else {
		k.box = append(k.box, fmt.Sprintf("How %s carries heat is not known; 0.3 W/(m·K) is taken, an assumption.", s.Kind))
	}
	k.air.Substrate = heat.Layer{Name: s.Kind, Thickness: filled, Conductivity: conductivity}
	if d != nil {
		k.box = append(k.box, "The drainage layer is taken to carry heat as the substrate does.")
	}
}

// wall reads one construction; what is bad in it is reported under at.
func (k *climate) wall(p *problems, at string, w *ClimateWall) heat.Face {
	var f heat.Face
	switch {
	case w.Construction != "" && len(w.Layers) > 0:
		p.add(at+"/layers", "are given beside a construction", "give one of the two")
	case len(w.Layers) > 0:
		if len(w.Layers) > 20 {
			p.add(at+"/layers", "are more than 20", "put equal layers together")
			return f
		}
		for i := range w.Layers {
			if l, ok := layer(p, fmt.Sprintf("%s/layers/%d", at, i), &w.Layers[i]); ok {
				f.Layers = append(f.Layers, l)
			}
		}
	case p.word(at+"/construction", w.Construction, Constructions):
		f.Layers = named(w.Construction)
	}
	if w.Glazing != "" {
		p.word(at+"/glazing", w.Glazing, Constructions)
	}
	if w.GlazedShare == nil {
		return f
	}
	share := float64(*w.GlazedShare)
	if !p.within(at+"/glazed_share", 100*share, 0, 100, "%") || share == 0 {
		return f
	}
	glazing := w.Glazing
	if glazing == "" {
		glazing = "glass-6mm"
		k.box = append(k.box, "The glazed share is of 6 mm glass.")
	}
	if panes := named(glazing); share > 0.999 {
		f.Layers = panes
	} else {
		f.FrameShare, f.FrameLayers = share, panes
	}
	return f
}

func named(construction string) (out []heat.Layer) {
	for _, b := range builds(construction) {
		if m, err := heat.MaterialNamed(b.material); err == nil {
			out = append(out, m.Layer(b.thickness))
		}
	}
	return out
}

func layer(p *problems, at string, l *ClimateLayer) (heat.Layer, bool) {
	out := heat.Layer{Name: l.Material}
	switch {
	case l.Material == heat.AirGap().Name:
		return heat.AirGap(), true
	case l.Material == "" && l.Conductivity == nil:
		p.add(at, "says neither material nor conductivity", "name a material, or give the conductivity")
		return out, false
	case l.Material != "":
		if !p.word(at+"/material", l.Material, MaterialNames()) {
			return out, false
		}
		m, err := heat.MaterialNamed(l.Material)
		if err != nil {
			p.add(at+"/material", err.Error(), "")
			return out, false
		}
		out = m.Layer(float64(l.Thickness))
	}
	out.Thickness = float64(l.Thickness)
	ok := true
	if l.Conductivity != nil {
		out.Conductivity, ok = p.unit(at+"/conductivity", l.Conductivity, conductUnits)
		ok = ok && p.above(at+"/conductivity", out.Conductivity, 500, "W/(m·K)")
	}
	return out, p.above(at+"/thickness", float64(l.Thickness), 10, "m") && ok
}

// openArea is the open share of a mesh, 60 % where nothing is said of it.
func (p *problems) openArea(at string, m *ClimateMesh, assume func(string)) float64 {
	switch {
	case m == nil, m.OpenArea == nil && m.Wire == nil && m.Pitch == nil:
		assume("Three fifths of the mesh are open (an assumption).")
		return 0.6
	case m.OpenArea != nil:
		p.above(at+"/open_area", 100*float64(*m.OpenArea), 100, "%")
		return float64(*m.OpenArea)
	}
	open, err := light.Mesh{WireM: float64(orElse(m.Wire, 0)), PitchM: float64(orElse(m.Pitch, 0))}.Transmission(0)
	p.physics(at, err, map[string]string{"wire_m": "/wire", "pitch_m": "/pitch"})
	return open
}

func (k *climate) lid(p *problems) {
	l := k.q.Enclosure.Lid
	top := &k.air.Faces.Top
	k.wallsAt[heat.Top] = "/enclosure/walls"
	if l == nil {
		top.FrameShare, top.FrameLayers = 0, nil
		k.box = append(k.box, "The lid is closed and built like the walls.")
		return
	}
	const at = "/enclosure/lid"
	switch p.word(at+"/kind", l.Kind, []string{"mesh", "glass", "panel"}); {
	case l.Panel != nil:
		*top, k.wallsAt[heat.Top] = k.wall(p, at+"/panel", l.Panel), at+"/panel"
	case l.Kind == "glass":
		*top = heat.Face{Layers: named("glass-6mm")}
	default:
		top.FrameShare, top.FrameLayers = 0, nil
	}
	share := 0.0
	if l.Kind == "mesh" {
		share = 1
	}
	if l.MeshShare != nil {
		share = float64(*l.MeshShare)
		p.within(at+"/mesh_share", 100*share, 0, 100, "%")
	}
	if share > 0 || l.Mesh != nil {
		top.MeshOpen = p.openArea(at+"/mesh", l.Mesh, func(s string) { k.box = append(k.box, "Lid: "+lower(s)) })
	}
	top.Mesh, k.mesh = share, share
}

func lower(s string) string { return strings.ToLower(s[:1]) + s[1:] }

var sides = map[string]heat.Side{"front": heat.Front, "back": heat.Back, "left": heat.Left, "right": heat.Right, "top": heat.Top, "floor": heat.Floor}

// vent adds one opening and reports whether it is open.
func (k *climate) vent(p *problems, i int) bool {
	v := k.q.Enclosure.Vents[i]
	at := fmt.Sprintf("/enclosure/vents/%d", i)
	side := p.word(at+"/side", v.Side, []string{"front", "back", "left", "right", "top", "floor"})
	if v.Area == nil {
		p.add(at+"/area", "is missing", "give the area of the opening; 0 is closed")
		return true // what it is, is not known
	}
	o := heat.Opening{Side: sides[v.Side], Area: float64(*v.Area), FreeShare: 0.42}
	p.within(at+"/area", o.Area, 0, 100, "m²")
	if v.OpenShare == nil {
		k.box = append(k.box, fmt.Sprintf("Vent %d passes air over 42 %% of its area, as a fine mesh does (an assumption).", i+1))
	} else if p.above(at+"/open_share", 100*float64(*v.OpenShare), 100, "%") {
		o.FreeShare = float64(*v.OpenShare)
	}
	if face := map[heat.Side]float64{heat.Front: k.air.Length * k.air.Height, heat.Back: k.air.Length * k.air.Height,
		heat.Left: k.air.Depth * k.air.Height, heat.Right: k.air.Depth * k.air.Height}; side && o.Area <= 100 {
		limit, upright := face[o.Side]
		if !upright {
			limit = k.air.Length * k.air.Depth
		}
		if limit > 0 && o.Area > limit {
			p.add(at+"/area", "is more than the whole side above the substrate", "check the unit; a mesh lid is given as the lid")
		}
		for _, h := range []struct {
			field string
			to    *float64
			v     *quantity.Length
		}{{"bottom", &o.Low, v.Bottom}, {"top", &o.High, v.Top}} {
			if h.v != nil && k.air.Height > 0 && p.within(at+"/"+h.field, float64(*h.v), 0, k.air.Height, "m above the substrate") {
				*h.to = float64(*h.v)
			}
		}
		switch {
		case v.Bottom != nil && v.Top == nil:
			o.High = math.Min(k.air.Height, o.Low+0.02)
			k.box = append(k.box, fmt.Sprintf("Vent %d is 2 cm high.", i+1))
		case v.Bottom != nil && v.Top != nil && o.High < o.Low:
			p.add(at+"/top", "is below the bottom", "heights are above the substrate")
		case upright && v.Bottom == nil && v.Top == nil:
			k.box = append(k.box, fmt.Sprintf("Vent %d is spread over the whole height.", i+1))
		}
	}
	k.air.Openings = append(k.air.Openings, o)
	return o.Area*o.FreeShare > 1e-8
}

// along places something on the length; 20 % from the left where nothing is said.
func (k *climate) along(p *problems, at string, position *quantity.Fraction, fromLeft *quantity.Length, what string) float64 {
	switch {
	case position != nil && fromLeft != nil:
		p.add(at+"/from_left", "is given beside position", "give one of the two")
	case position != nil:
		if p.within(at+"/position", 100*float64(*position), 0, 100, "% of the length") {
			return float64(*position) * k.air.Length
		}
	case fromLeft != nil:
		if k.air.Length > 0 && p.within(at+"/from_left", float64(*fromLeft), 0, k.air.Length, "m") {
			return float64(*fromLeft)
		}
	default:
		k.gear = append(k.gear, what+": stands at a fifth of the length from the left end.")
	}
	return 0.2 * k.air.Length
}

// floor is the area of the floor, m²; that of the largest box where a side is bad,
// which is reported with the enclosure.
func (k *climate) floor() float64 {
	if a := k.air.Length * k.air.Depth; a > 0 && a < float64(maxSide*maxSide) {
		return a
	}
	return float64(maxSide * maxSide)
}

func (k *climate) heaters(p *problems) {
	if len(k.q.HeatSources) == 0 && len(k.q.UVLamps) == 0 {
		k.gear = append(k.gear, "No source of heat is given: none is taken to be there.")
	}
	if len(k.q.HeatSources) > 100 {
		p.add("/heat_sources", "has more than 100 entries", "list each source once")
		return
	}
	for i := range k.q.HeatSources {
		k.heater(p, i)
	}
}

func (k *climate) heater(p *problems, i int) {
	h := &k.q.HeatSources[i]
	at := fmt.Sprintf("/heat_sources/%d", i)
	if !p.word(at+"/kind", h.Kind, SourceKinds) {
		return
	}
	of := sourceKinds[h.Kind]
	name := h.Name
	if name == "" {
		name = fmt.Sprintf("%s %d", strings.ReplaceAll(h.Kind, "-", " "), i+1)
	}
	role, place := h.Role, h.Place
	if role == "" {
		role = of.role
		k.gear = append(k.gear, fmt.Sprintf("Run as %s: %s.", role, name))
	} else {
		p.word(at+"/role", role, SourceRoles)
	}
	if place == "" {
		place = of.place
	} else {
		p.word(at+"/place", place, score.Places)
	}
	if of.note != "" {
		k.gear = append(k.gear, fmt.Sprintf("%s: %s.", name, of.note))
	}
	e := heat.Equipment{Role: roles[role]}
	e.Name, e.Kind = at, of.kind
	mat, water := of.kind == heat.HeatMat, of.kind == heat.WaterHeater
	radiates := !mat && !water
	switch e.Outside = place == "outside" || place == "under-floor"; {
	case role == "basking" && !radiates:
		p.add(at+"/role", "can't be basking: this kind shines on nothing", "use heater, night-heater or always-fixed")
	case radiates && place == "under-floor", radiates && place == "in-water", mat && place == "in-water", water && e.Outside:
		p.add(at+"/place", fmt.Sprintf("%s does not fit a %s", place, h.Kind), "use one of "+strings.Join(score.Places, ", ")+" that does")
	case radiates && e.Outside && k.mesh == 0:
		p.add(at+"/place", "a lamp outside the box needs a mesh lid: glass and panels stop most of its heat", "give a mesh lid, or place it inside")
	case mat && e.Outside && place == "outside":
		k.gear = append(k.gear, fmt.Sprintf("%s: lies under the floor.", name))
	}
	e.X = k.along(p, at, h.Position, h.FromLeft, name)
	if h.Power == nil {
		k.noPower = append(k.noPower, at+"/power")
		if e.Role == heat.DayFixed || e.Role == heat.AlwaysFixed {
			k.gear = append(k.gear, fmt.Sprintf("%s: power not given, its heat is not counted.", name))
		}
	} else if p.within(at+"/power", float64(*h.Power), 0, float64(maxPower), "W") {
		e.Watts = float64(*h.Power)
		if e.Watts == 0 && e.Role != heat.DayFixed && e.Role != heat.AlwaysFixed {
			p.add(at+"/power", "must be above 0", "leave the power out to ask for it")
		}
	}
	if h.Covers != nil && k.air.Length > 0 && p.within(at+"/covers", float64(*h.Covers), 0, k.air.Length, "m") {
		e.Width = float64(*h.Covers)
	}
	if h.Area != nil {
		p.above(at+"/area", float64(*h.Area), k.floor(), "m², the floor")
		e.Footprint = float64(*h.Area)
		if !mat {
			p.add(at+"/area", "is for mats and cables", "give the beam angle of a lamp instead")
		}
	}
	switch {
	case mat:
		if h.Covers == nil {
			e.Width = k.air.Length / 3
			k.gear = append(k.gear, fmt.Sprintf("%s: covers a third of the length.", name))
		}
		if h.Area == nil {
			e.Footprint = e.Width * k.air.Depth
		}
		if e.Footprint == 0 {
			p.add(at+"/covers", "must be above 0", "give the extent of the mat")
		}
	case radiates:
		k.aim(p, at, name, h, &e)
	}
	k.equip = append(k.equip, e)
	k.sources = append(k.sources, sourceRef{name, at, role})
}

// aim sets a lamp's height and the spot under it.
func (k *climate) aim(p *problems, at, name string, h *ClimateSource, e *heat.Equipment) {
	ceiling := k.air.Height
	if !(ceiling > 0) {
		return // reported with the enclosure
	}
	e.Z = math.Max(ceiling-0.05, ceiling/2)
	if e.Outside {
		e.Z, ceiling = ceiling+0.03, ceiling+1
	}
	check := func(field string, v *quantity.Length, hi float64) float64 {
		if v == nil || !p.within(at+"/"+field, float64(*v), 0, hi, "m above the substrate") {
			return math.NaN()
		}
		return float64(*v)
	}
	z, spot := check("height", h.Height, ceiling), check("spot_height", h.SpotHeight, k.air.Height)
	if h.Distance != nil && !p.above(at+"/distance", float64(*h.Distance), ceiling, "m") {
		return
	}
	switch d := float64(orElse(h.Distance, 0)); {
	case h.Height != nil && h.SpotHeight != nil:
		if h.Distance != nil && math.Abs(z-spot-d) > 0.005 {
			p.add(at+"/distance", "is not what lies between height and spot_height", "give two of the three")
		}
	case h.Distance != nil && h.SpotHeight != nil:
		if z = spot + d; z > ceiling {
			p.add(at+"/distance", "puts the lamp above the lid", "check the heights; they are above the substrate")
		}
	case h.Distance != nil:
		if h.Height == nil {
			z = e.Z
			k.gear = append(k.gear, fmt.Sprintf("%s: hangs %.0f cm above the substrate.", name, 100*z))
		}
		if spot = z - d; spot < 0 {
			p.add(at+"/distance", "puts the spot under the substrate", "check the heights; they are above the substrate")
		}
	default:
		if h.Height == nil {
			z = e.Z
			k.gear = append(k.gear, fmt.Sprintf("%s: hangs %.0f cm above the substrate.", name, 100*z))
		}
		if h.SpotHeight == nil {
			spot = 0
			k.gear = append(k.gear, fmt.Sprintf("%s: aimed at the substrate.", name))
		}
	}
	if z <= spot {
		p.add(at+"/spot_height", "is not below the lamp", "check the heights; they are above the substrate")
	}
	if !math.IsNaN(z) && !math.IsNaN(spot) {
		e.Z, e.TargetZ = z, spot
	}
	if h.BeamAngle != nil {
		if deg, ok := p.unit(at+"/beam_angle", h.BeamAngle, degreeUnits); ok && p.within(at+"/beam_angle", deg, 2, 160, "°") {
			e.HalfAngle = deg / 2
		}
	}
}

// lamps checks the UV lamps and adds the warmth of those that say their power.
func (k *climate) lamps(p *problems) {
	if len(k.q.UVLamps) > 50 {
		p.add("/uv_lamps", "has more than 50 entries", "list each lamp once")
		return
	}
	if v := k.q.HighestPlatform; v != nil && k.air.Height > 0 {
		p.within("/highest_platform", float64(*v), 0, k.air.Height, "m above the substrate")
	}
	for i := range k.q.UVLamps {
		l := &k.q.UVLamps[i]
		at := fmt.Sprintf("/uv_lamps/%d", i)
		p.word(at+"/shape", l.Shape, []string{"tube", "compact"})
		if l.Name == "" {
			l.Name = fmt.Sprintf("UV lamp %d", i+1)
		}
		if r := l.Reading; r != nil {
			p.above(at+"/reading/uv_index", float64(r.UVIndex), 100, "UVI")
			p.within(at+"/reading/distance", float64(r.Distance), light.MinDistanceM, light.MaxDistanceM, "m")
			if l.Shape == "tube" && l.LitLength == nil {
				p.add(at+"/lit_length", "is missing", "give the lit length of the tube")
			}
		}
		if l.LitLength != nil {
			p.within(at+"/lit_length", float64(*l.LitLength), 0.05, 3, "m")
		}
		if l.Size != nil {
			p.within(at+"/size", float64(*l.Size), 0, 1, "m")
		}
		if l.BeamAngle != nil {
			if deg, ok := p.unit(at+"/beam_angle", l.BeamAngle, degreeUnits); ok {
				p.within(at+"/beam_angle", deg, 0, 180, "°")
			}
		}
		if l.Kept != nil {
			p.above(at+"/kept", 100*float64(*l.Kept), 100, "%")
		}
		if l.Passed != nil {
			p.within(at+"/passed", 100*float64(*l.Passed), 0, 100, "%")
		}
		if l.Mesh != nil {
			p.openArea(at+"/mesh", l.Mesh, func(string) {})
		}
		if l.Sheet != "" {
			p.word(at+"/sheet", l.Sheet, SheetCodes())
		}
		if l.ShortestWavelength != nil {
			if nm, ok := p.unit(at+"/shortest_wavelength", l.ShortestWavelength, wavelengthsNM); ok {
				p.within(at+"/shortest_wavelength", nm, 100, 800, "nm")
			}
		}
		above := k.air.Height + 1
		if k.air.Height > 0 {
			if l.Platform != nil {
				p.within(at+"/platform", float64(*l.Platform), 0, k.air.Height, "m above the substrate")
			}
			if l.Height != nil && p.above(at+"/height", float64(*l.Height), above, "m above the substrate") && l.Platform != nil && *l.Height <= *l.Platform {
				p.add(at+"/platform", "is not below the lamp", "check the heights; they are above the substrate")
			}
		}
		if l.Power == nil {
			if l.Position != nil || l.FromLeft != nil {
				k.along(p, at, l.Position, l.FromLeft, l.Name)
			}
			k.gear = append(k.gear, fmt.Sprintf("%s: power not given, its warmth is not counted.", l.Name))
			continue
		}
		if !p.within(at+"/power", float64(*l.Power), 0, float64(maxPower), "W") || !(k.air.Height > 0) {
			continue
		}
		x := k.along(p, at, l.Position, l.FromLeft, l.Name)
		z := float64(orElse(l.Height, quantity.Length(k.air.Height-0.05)))
		e := heat.Equipment{Role: heat.DayFixed}
		e.Name, e.Kind, e.Watts, e.X = at, heat.FluorescentTube, float64(*l.Power), x
		if e.Outside = z > k.air.Height; e.Outside && k.mesh == 0 {
			continue // over a closed lid its warmth stays outside
		}
		e.Z = math.Max(z, k.air.Height/100)
		if l.LitLength != nil {
			e.Width = math.Min(float64(*l.LitLength), k.air.Length)
		}
		k.equip = append(k.equip, e)
		k.sources = append(k.sources, sourceRef{l.Name, at, "day-fixed"})
	}
}

func (k *climate) wet(p *problems) {
	if h := k.q.Humidifier; h != nil {
		p.word("/humidifier/kind", h.Kind, []string{"fogger", "mister"})
		p.above("/humidifier/output_per_hour", h.OutputPerHour.Litres(), 600, "L")
		if h.VapourShare != nil {
			p.above("/humidifier/vapour_share", 100*float64(*h.VapourShare), 100, "%")
		}
		runs := 3
		if h.RunsPerDay != nil {
			runs = *h.RunsPerDay
			if runs < 1 || runs > 1440 {
				p.add("/humidifier/runs_per_day", fmt.Sprintf("is %d", runs), "give a whole number from 1 to 1440")
				runs = 1
			}
		}
		if h.RunTime != nil && p.above("/humidifier/run_time", float64(*h.RunTime), 24, "h") && float64(runs)*float64(*h.RunTime) > 24 {
			p.add("/humidifier/run_time", "times the runs is more than a day", "give the time of one run")
		}
	}
	if w := k.q.Water; w != nil {
		p.above("/water/area", float64(w.Area), k.floor(), "m², the floor")
		if w.Temperature != nil {
			p.within("/water/temperature", float64(*w.Temperature), moisture.MinC, moisture.MaxC, "°C")
		}
		if w.Depth != nil {
			p.above("/water/depth", float64(*w.Depth), 3, "m")
		}
	}
}

func (k *climate) load(p *problems) {
	l := k.q.Load
	if l == nil {
		return
	}
	const most = 1e5
	if l.Furnishings != nil {
		p.within("/load/furnishings", float64(*l.Furnishings), 0, most, "kg")
	}
	if s := l.Stand; s != nil {
		if s.Mass != nil {
			p.within("/load/stand/mass", float64(*s.Mass), 0, most, "kg")
		}
		if s.Feet < 0 || s.Feet > 100 {
			p.add("/load/stand/feet", fmt.Sprintf("is %d", s.Feet), "give a whole number from 0 to 100")
		}
		if s.FootArea != nil {
			p.above("/load/stand/foot_area", float64(*s.FootArea), k.floor(), "m², the floor")
		}
	}
	if s := l.Shelf; s != nil {
		p.word("/load/shelf/board", s.Board, BoardNames())
		p.above("/load/shelf/thickness", float64(s.Thickness), 1, "m")
		if s.Span != nil {
			p.above("/load/shelf/span", float64(*s.Span), 20, "m")
		}
		if s.Width != nil {
			p.above("/load/shelf/width", float64(*s.Width), 50, "m")
		}
		if s.Mass != nil {
			p.within("/load/shelf/mass", float64(*s.Mass), 0, most, "kg")
		}
	}
}

// aims gathers what is wanted: given, else the species' working range.
func (k *climate) aims(p *problems) {
	t := &k.q.Targets
	for _, x := range []struct {
		field string
		v     *quantity.Temperature
	}{{"hot_spot", t.HotSpot}, {"warm_min", t.WarmMin}, {"warm_max", t.WarmMax}, {"cool_max", t.CoolMax}, {"night_min", t.NightMin}, {"night_max", t.NightMax}, {"air_max", t.AirMax}} {
		if x.v != nil {
			p.within("/targets/"+x.field, float64(*x.v), 0, 80, "°C")
		}
	}
	order := func(field string, low, high *quantity.Temperature) {
		if low != nil && high != nil && *high < *low {
			p.add("/targets/"+field, "is below the least that is wanted", "check the two")
		}
	}
	order("warm_max", t.WarmMin, t.WarmMax)
	order("night_max", t.NightMin, t.NightMax)
	order("air_max", t.WarmMin, t.AirMax)
	order("air_max", t.NightMin, t.AirMax)
	for _, x := range []struct {
		field string
		v     *HumidityRange
	}{{"humidity_day", t.HumidityDay}, {"humidity_night", t.HumidityNight}} {
		if x.v == nil {
			continue
		}
		for _, b := range []struct {
			field string
			v     *quantity.Fraction
		}{{"low", x.v.Low}, {"high", x.v.High}} {
			if b.v != nil {
				p.within("/targets/"+x.field+"/"+b.field, 100*float64(*b.v), 0, 100, "%")
			}
		}
		if x.v.Low != nil && x.v.High != nil && *x.v.High < *x.v.Low {
			p.add("/targets/"+x.field+"/high", "is below the low end", "check the two")
		}
	}
	if u := t.UV; u != nil {
		p.within("/targets/uv/low", float64(u.Low), 0, 100, "UVI")
		if p.above("/targets/uv/high", float64(u.High), 100, "UVI") && u.High < u.Low {
			p.add("/targets/uv/high", "is below the low end", "check the two")
		}
		if u.Ceiling != nil {
			p.above("/targets/uv/ceiling", float64(*u.Ceiling), 100, "UVI")
		}
	}
	if t.ReadingHeight != nil && k.air.Height > 0 {
		p.above("/targets/reading_height", float64(*t.ReadingHeight), k.air.Height, "m above the substrate")
	}
	if len(p.bad) > 0 {
		return
	}
	num := func(v *quantity.Temperature) *float64 { return (*float64)(v) }
	k.want("hot_spot", "hot spot, surface by day", "°C", care.HotSpot, num(t.HotSpot), num(t.HotSpot))
	k.want("warm_end", "warm end, air by day", "°C", care.WarmAir, num(t.WarmMin), num(t.WarmMax))
	k.want("cool_end", "cool end, air by day", "°C", care.CoolAir, nil, num(t.CoolMax))
	k.want("night_air", "air by night", "°C", care.NightAir, num(t.NightMin), num(t.NightMax))
	k.want("humidity_day", "humidity by day", "%", care.HumidityDay, percent(t.HumidityDay, false), percent(t.HumidityDay, true))
	k.want("humidity_night", "humidity by night", "%", care.HumidityNight, percent(t.HumidityNight, false), percent(t.HumidityNight, true))
	var low, high *float64
	if t.UV != nil {
		low, high = new(float64(t.UV.Low)), new(float64(t.UV.High))
	}
	k.want("uv", "UV index at the basking place", "UVI", care.UVMax, low, high)
	k.ceiling()
	k.heatTargets()
}

func percent(r *HumidityRange, high bool) *float64 {
	switch {
	case r == nil:
	case high && r.High != nil:
		return new(100 * float64(*r.High))
	case !high && r.Low != nil:
		return new(100 * float64(*r.Low))
	}
	return nil
}

// want adds one aim: the bounds given, else those of the species' working range. A
// bound of the species that a given one passes is dropped.
func (k *climate) want(code, name, unit string, from care.Code, low, high *float64) {
	w := want{code: code, name: name, unit: unit, low: low, high: high, from: "given"}
	if k.g.species != nil && (low == nil || high == nil) && !(code == "uv" && low != nil) {
		r := k.c.Range(k.g.species.ID, from, k.g.youngest)
		if r.Standing == care.Known {
			used := false
			if low == nil && r.Low != nil && (high == nil || *r.Low <= *high) {
				w.low, used = r.Low, true
			}
			if high == nil && r.High != nil && (low == nil || *r.High >= *low) {
				w.high, used = r.High, true
			}
			if used {
				w.from = "working range of the species, grade " + string(r.Grade)
				if low != nil || high != nil {
					w.from = "given, the other bound from the " + w.from
				}
			}
		}
	}
	if w.low != nil || w.high != nil {
		k.wants = append(k.wants, w)
	}
}

// ceiling is what the air may never pass: given, else the critical maximum, else,
// for an animal that lives in water, the most that the water may have.
func (k *climate) ceiling() {
	w := want{code: "air_max", name: "air, at any time", unit: "°C"}
	switch s := k.g.species; {
	case k.q.Targets.AirMax != nil:
		w.high, w.from = (*float64)(k.q.Targets.AirMax), "given"
	case s == nil:
		return
	case k.c.Range(s.ID, care.WarmAir, k.g.youngest).Standing == care.NotApplicable:
		r := k.c.Range(s.ID, care.WaterTemp, k.g.youngest)
		w.high, w.from = r.High, "the water's working range, grade "+string(r.Grade)
		if r.High != nil {
			k.general = append(k.general, "The animal lives in water; the air is held at what the water may have, since in the long run water takes the temperature of the air over it.")
		}
	default:
		r := k.c.Range(s.ID, care.CriticalMax, care.Adult)
		w.high, w.from = r.Low, "critical maximum of the species, grade "+string(r.Grade)
	}
	if w.high != nil {
		k.wants = append(k.wants, w)
	}
}

func (k *climate) wanted(code string) (low, high *float64) {
	for _, w := range k.wants {
		if w.code == code {
			return w.low, w.high
		}
	}
	return nil, nil
}

func (k *climate) heatTargets() {
	t := &k.targets
	if low, high := k.wanted("hot_spot"); low != nil && high != nil {
		t.HotSpot = new((*low + *high) / 2)
	} else if t.HotSpot = low; low == nil {
		t.HotSpot = high
	}
	t.WarmMin, t.WarmMax = k.wanted("warm_end")
	_, t.CoolMax = k.wanted("cool_end")
	t.NightMin, t.NightMax = k.wanted("night_air")
	_, t.AirMax = k.wanted("air_max")
	if t.AirMax != nil { // a species' own ceiling can lie below what is asked for
		for _, least := range []*float64{t.WarmMin, t.NightMin} {
			if least != nil && *t.AirMax < *least {
				t.AirMax = nil
				k.general = append(k.general, "The species' ceiling lies below the least that is wanted and was left aside.")
				break
			}
		}
	}
	switch h := k.q.Targets.ReadingHeight; {
	case h != nil:
		t.Height = float64(*h)
	case k.g.species != nil && k.g.species.Nature.Climbs == 3:
		t.Height = 0.75 * k.air.Height
		k.general = append(k.general, "Air is read in the middle of the upper half, where an animal that lives off the ground stays (ours).")
	default:
		t.Height = 0.25 * k.air.Height
		k.general = append(k.general, "Air is read in the middle of the lower half.")
	}
}

// physics reports an error of the physics packages under at; names maps its field
// to the rest of the pointer.
func (p *problems) physics(at string, err error, names map[string]string) {
	if err == nil {
		return
	}
	field, reason := physicsField(err)
	p.add(at+names[field], reason, "check the figure and its unit")
}

// physicsField takes an InputError of any physics package apart.
func physicsField(err error) (field, reason string) {
	var h *heat.InputError
	var l *light.InputError
	var m *moisture.InputError
	var g *ground.InputError
	switch {
	case errors.As(err, &h):
		return h.Field, h.Reason
	case errors.As(err, &l):
		return l.Field, l.Reason
	case errors.As(err, &m):
		return m.Field, m.Reason
	case errors.As(err, &g):
		return g.Field, g.Reason
	}
	return "", err.Error()
}

var indexed = regexp.MustCompile(`^(\w+)\[(\d+)\]\.?(.*)$`)

// refused turns what the heat balance refuses, after the question's own checks, into
// the field of the question. An error of another kind is handed back as it is.
func (k *climate) refused(err error) error {
	var h *heat.InputError
	if !errors.As(err, &h) {
		return err
	}
	return Invalid{{Field: k.pointer(h.Field), Reason: h.Reason, Remedy: "check the figure and its unit"}}
}

// pointer translates a field path of package heat into a JSON pointer of the question.
func (k *climate) pointer(field string) string {
	field = strings.TrimPrefix(field, "enclosure.")
	if m := indexed.FindStringSubmatch(field); m != nil {
		switch i := 0; m[1] {
		case "sources", "equipment":
			if _, err := fmt.Sscan(m[2], &i); err == nil && i < len(k.sources) {
				rest := map[string]string{"watts": "/power", "x": "/position", "z": "/height", "target_z": "/spot_height", "width": "/covers",
					"half_angle": "/beam_angle", "footprint": "/area", "outside": "/place", "kind": "/kind", "role": "/role"}
				return k.sources[i].field + rest[m[3]]
			}
		case "openings":
			rest := map[string]string{"side": "/side", "area": "/area", "free_share": "/open_share", "low": "/bottom", "high": "/top"}
			return "/enclosure/vents/" + m[2] + rest[m[3]]
		case "rooms":
			if _, err := fmt.Sscan(m[2], &i); err == nil && i < len(k.rooms) {
				return "/room/" + k.rooms[i].name + map[string]string{"day": "/temperature", "night": "/night_temperature"}[m[3]]
			}
		}
		return ""
	}
	switch {
	case field == "day_hours":
		return "/day_hours"
	case field == "room":
		return "/room"
	case field == "depth":
		return "/enclosure/width"
	case field == "faces.top.mesh_open":
		return "/enclosure/lid/mesh/open_area"
	case field == "targets.warm_x":
		return "/heat_sources"
	case field == "targets.height":
		return "/targets/reading_height"
	case strings.HasPrefix(field, "targets."):
		return "/targets/" + strings.TrimPrefix(field, "targets.")
	case strings.HasPrefix(field, "substrate"):
		return "/substrate/depth"
	case strings.HasPrefix(field, "faces."):
		side, rest, _ := strings.Cut(strings.TrimPrefix(field, "faces."), ".")
		s, ok := sides[side]
		if !ok {
			return "/enclosure"
		}
		rest = strings.NewReplacer("[", "/", "]", "", ".", "/").Replace(rest)
		return k.wallsAt[s] + "/" + rest
	}
	return "/enclosure/" + field
}
