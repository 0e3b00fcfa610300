package sizing

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing/heat"
	"denwright/sizing/layout"
	"denwright/sizing/light"
)

// PlanQuestion asks where everything goes: what a sizing asks, with the enclosure and
// the equipment. What is left out takes a default that the answer lists among its
// assumptions.
type PlanQuestion struct {
	Question
	// Enclosure to plan; the advised size when left out.
	Enclosure *PlanEnclosure `json:"enclosure,omitzero"`
	// Equipment to place; the floor alone is planned without any.
	Equipment []PlanFixture `json:"equipment,omitzero"`
	Ceiling   PlanCeiling   `json:"ceiling,omitzero"`
	// Room with its humidity gives the moisture budget; without it misting and fogging
	// times are common practice.
	Room *RoomAir `json:"room,omitzero"`
	// AirChangesPerHour of the enclosure with the room; 1 when left out.
	AirChangesPerHour *float64 `json:"air_changes_per_hour,omitzero"`
	Day               PlanDay  `json:"day,omitzero"`
	// Units of the drawings and of the cut list: metric (when left out) or imperial.
	Units string `json:"units,omitzero"`
	// Paper of the drawings: a4 (when left out) or letter.
	Paper string `json:"paper,omitzero"`
	// Seed steers the search; equal questions give equal plans.
	Seed uint64 `json:"seed,omitzero"`
}

// PlanEnclosure is the box. Length, Width and Height are the clear inside, floor to
// underside of ceiling, before rock work; all three or none.
type PlanEnclosure struct {
	Length *quantity.Length `json:"length,omitzero"`
	Width  *quantity.Length `json:"width,omitzero"`
	Height *quantity.Length `json:"height,omitzero"`
	// Panel thickness, 18 mm when left out, of Material (one of MaterialNames but an air gap), plywood when left out.
	Panel    *quantity.Length `json:"panel,omitzero"`
	Material string           `json:"material,omitzero"`
	// Glass of the front panes, 6 mm when left out.
	Glass *quantity.Length `json:"glass,omitzero"`
	// Drainage and Substrate depth; as the requirement says when left out.
	Drainage  *quantity.Length `json:"drainage,omitzero"`
	Substrate *quantity.Length `json:"substrate,omitzero"`
	Rock      []PlanRock       `json:"rock,omitzero"`
	Battens   []PlanBatten     `json:"battens,omitzero"`
}

// PlanRock is foam-backed rock work on the back, left or right wall.
type PlanRock struct {
	Wall      string          `json:"wall"`
	Thickness quantity.Length `json:"thickness"`
	// Foam is the part of it that insulates; FoamMaterial extruded polystyrene when left out.
	Foam         quantity.Length `json:"foam,omitzero"`
	FoamMaterial string          `json:"foam_material,omitzero"`
}

// PlanBatten is a ceiling batten that nothing may cut: along the length at a distance
// from the front, or across it at a distance from the left.
type PlanBatten struct {
	AlongLength bool            `json:"along_length,omitzero"`
	At          quantity.Length `json:"at"`
	Width       quantity.Length `json:"width"`
}

// PlanFixture is one piece of equipment, or several alike; see layout.Fixture.
type PlanFixture struct {
	Kind  layout.Kind    `json:"kind"`
	Name  string         `json:"name,omitzero"`
	Count int            `json:"count,omitzero"` // 1 when left out
	Power quantity.Power `json:"power,omitzero"` // of each
	// Opening in the ceiling for a basking lamp, night heater or fog hose.
	Opening *quantity.Length `json:"opening,omitzero"`
	Length  *quantity.Length `json:"length,omitzero"`
	Width   *quantity.Length `json:"width,omitzero"`
	// Hang below the ceiling, and MaxHang as far as it may be let down.
	Hang    *quantity.Length `json:"hang,omitzero"`
	MaxHang *quantity.Length `json:"max_hang,omitzero"`
	// BeamDegrees is the full angle of a basking lamp's beam.
	BeamDegrees float64 `json:"beam_degrees,omitzero"`
	// Near and Far bound the distance from its face to the animal's back. Of a UV tube
	// with a Reading they follow from it.
	Near    *quantity.Length `json:"near,omitzero"`
	Far     *quantity.Length `json:"far,omitzero"`
	Reading *UVReading       `json:"reading,omitzero"`
	// Guarded, Secured (held twice) and SplashProof are taken as no when left out.
	Guarded     bool `json:"guarded,omitzero"`
	Secured     bool `json:"secured,omitzero"`
	SplashProof bool `json:"splash_proof,omitzero"`
	Corded      bool `json:"corded,omitzero"`
	// Throw of a nozzle or fog outlet, level.
	Throw *quantity.Length `json:"throw,omitzero"`
	// OutputPerMinute of one nozzle, fogger or pump.
	OutputPerMinute quantity.Volume `json:"output_per_minute,omitzero"`
}

// PlanCeiling is how the keeper wants it built.
type PlanCeiling struct {
	// WarmEnd is left (when left out) or right, seen from the front.
	WarmEnd string `json:"warm_end,omitzero"`
	// Practice is "own" (round metric figures, when left out) or "trade" (habits in
	// inches); both common practice, no source. The lengths below go before it.
	Practice     string           `json:"practice,omitzero"`
	Trim         *quantity.Length `json:"trim,omitzero"`
	OpeningGap   *quantity.Length `json:"opening_gap,omitzero"`
	HoleGap      *quantity.Length `json:"hole_gap,omitzero"`
	EdgeDistance *quantity.Length `json:"edge_distance,omitzero"`
	ScrewInset   *quantity.Length `json:"screw_inset,omitzero"`
	Screws       int              `json:"screws,omitzero"`
	NozzleHole   *quantity.Length `json:"nozzle_hole,omitzero"`
	FanHole      *quantity.Length `json:"fan_hole,omitzero"`
	CordHole     *quantity.Length `json:"cord_hole,omitzero"`
	MatService   *quantity.Length `json:"mat_service,omitzero"`
	UVClear      *quantity.Length `json:"uv_clear,omitzero"`
}

// PlanDay is the keeper's clock.
type PlanDay struct {
	// Dawn as HH:MM, 00:01 to 12:00; 07:00 when left out.
	Dawn string `json:"dawn,omitzero"`
	// MistDays and FeedDays are weekdays, MO to SU: mist every day, no feeding, when left out.
	MistDays []string `json:"mist_days,omitzero"`
	FeedDays []string `json:"feed_days,omitzero"`
	// Southern: the keeper lives south of the equator, so summer is December to February.
	Southern bool `json:"southern,omitzero"`
	// WaterChange is how often water is changed.
	WaterChange *quantity.Hours `json:"water_change,omitzero"`
}

// PlanAnswer is a plan, or what stands in its way.
type PlanAnswer struct {
	Species SpeciesRef   `json:"species"`
	Animals []AnimalSize `json:"animals"`
	// SizeFrom: "given" or "advised".
	SizeFrom string       `json:"size_from"`
	Plan     *layout.Plan `json:"plan,omitzero"`
	// Sheets are the drawings; each SVG is fetched by itself.
	Sheets []layout.Sheet `json:"sheets,omitzero"`
	// Units in which the drawings, and by default the lists, are written.
	Units       quantity.System `json:"-"`
	Blocked     *PlanBlocked    `json:"blocked,omitzero"`
	Assumptions []string        `json:"assumptions"`
	Warnings    []Warning       `json:"warnings,omitzero"`
	Cautions    []string        `json:"cautions"`
	Catalogue   string          `json:"catalogue_revision"`
	Engine      string          `json:"engine_version"`
}

// PlanBlocked says which constraint blocks and which single changes, each tried, free it;
// the smallest comes first.
type PlanBlocked struct {
	layout.Blocked
	Changes []layout.Change `json:"changes"`
}

// System is the units in which drawings and cut list are written.
func (q *PlanQuestion) System() (quantity.System, error) { return quantity.ParseSystem(q.Units) }

// planner gathers a brief and what it takes as given.
type planner struct {
	c       *care.Catalogue
	q       *PlanQuestion
	g       group
	r       *Requirement
	brief   layout.Brief
	assumed []string
}

func (k *planner) assume(format string, args ...any) {
	k.assumed = append(k.assumed, fmt.Sprintf(format, args...))
}

// Plan answers where everything goes. The error is an Invalid that lists every bad field.
// A plan that does not fit is an answer too: Blocked, with what frees it.
func Plan(c *care.Catalogue, q PlanQuestion) (*PlanAnswer, error) {
	var p problems
	s := p.species(c, q.Species)
	p.jurisdiction(c, q.Jurisdiction)
	k := &planner{c: c, q: &q, g: p.animals(c, s, q.Animals)}
	units, err := q.System()
	if err != nil {
		p.add("/units", err.Error(), "use metric or imperial")
	}
	paper := layout.A4
	switch q.Paper {
	case "", "a4":
	case "letter":
		paper = layout.Letter
	default:
		p.add("/paper", fmt.Sprintf("is %q", q.Paper), "use a4 or letter")
	}
	if len(p.bad) > 0 {
		return nil, p.bad
	}
	k.r = require(c, k.g, q.Jurisdiction)
	k.box(&p)
	k.animal()
	k.needs(&p)
	k.equipment(&p)
	k.ceiling(&p)
	k.day(&p)
	k.climate(&p)
	if len(p.bad) > 0 {
		return nil, p.bad
	}
	k.brief.Seed = q.Seed
	a := &PlanAnswer{Species: Ref(s), Units: units, Animals: k.g.sizes, SizeFrom: "advised", Warnings: p.warnings, Cautions: cautions(s, q.Jurisdiction), Catalogue: c.Revision, Engine: EngineVersion}
	if q.Enclosure != nil && q.Enclosure.Length != nil {
		a.SizeFrom = "given"
	}
	plan, err := layout.Solve(k.brief)
	a.Assumptions = append([]string{}, k.assumed...)
	var bad *layout.InputError
	var stop *layout.Blocked
	switch {
	case errors.As(err, &bad):
		p.add(planField(bad.Field), bad.Reason, "check the figure and its unit")
		return nil, p.bad
	case errors.As(err, &stop):
		changes := layout.Changes(k.brief)
		// An advised size is advice for animals and rules alone: it grows where its contents need more.
		i := slices.IndexFunc(changes, func(x layout.Change) bool { return x.By > 0 && (x.Kind == "length" || x.Kind == "width") })
		if a.SizeFrom == "given" || i < 0 {
			a.Blocked = &PlanBlocked{Blocked: *stop, Changes: changes}
			return a, nil
		}
		k.brief = changes[i].Apply(k.brief)
		a.Assumptions = append(a.Assumptions, fmt.Sprintf("The advised size was too small for what is to be placed (%s): %s.", stop.Error(), changes[i].Text))
		if plan, err = layout.Solve(k.brief); err != nil {
			return nil, fmt.Errorf("plan with %s: %w", changes[i].Text, err)
		}
	case err != nil:
		return nil, fmt.Errorf("plan: %w", err)
	}
	// The judge shares nothing with the search: a plan that it objects to is never handed out.
	if broken := layout.Check(k.brief, plan); len(broken) > 0 {
		return nil, fmt.Errorf("plan: the layout breaks %s: %s %s", broken[0].Constraint, broken[0].Item, broken[0].Why)
	}
	a.Plan, a.Sheets = plan, plan.Sheets(paper, units, fmt.Sprintf("for %s (%s)", a.Species.Common, a.Species.Scientific))
	a.Cautions = append(a.Cautions, plan.Cautions...)
	return a, nil
}

// planField turns a field of a layout.Brief into a pointer into the question.
func planField(field string) string {
	field = strings.NewReplacer("[", "/", "]", "", ".", "/", "watts", "power", "litres_per_minute", "output_per_minute", "fixtures", "equipment", "box", "enclosure").Replace(field)
	switch head, _, _ := strings.Cut(field, "/"); head {
	case "animal", "needs":
		return "/animals"
	case "light":
		return "/day"
	case "climate":
		return "/room"
	case "warm_end":
		return "/ceiling/warm_end"
	}
	return "/" + field
}

// box takes the enclosure as given, or the advised size.
func (k *planner) box(p *problems) {
	e := k.q.Enclosure
	if e == nil {
		e = &PlanEnclosure{}
	}
	b := &k.brief.Box
	ground := structure(k.c, k.g, k.r.Advised, k.r.Substrate)
	b.Drainage, b.Substrate = float64(orElse(e.Drainage, ground.Drainage)), float64(orElse(e.Substrate, ground.Substrate))
	b.Panel, b.Glass = float64(orElse(e.Panel, 0.018)), float64(orElse(e.Glass, 0.006))
	if e.Panel == nil || e.Glass == nil {
		k.assume("Panels of %.0f mm and panes of %.0f mm are taken; a joiner and a glazier decide.", 1000*b.Panel, 1000*b.Glass)
	}
	if b.Material = e.Material; b.Material == "" {
		b.Material = "plywood"
	}
	k.material(p, "/enclosure/material", b.Material)
	given := 0
	for _, l := range []*quantity.Length{e.Length, e.Width, e.Height} {
		if l != nil {
			given++
		}
	}
	adv := &k.r.Advised
	switch {
	case given == 3:
		b.Length, b.Width, b.Height = float64(*e.Length), float64(*e.Width), float64(*e.Height)
		if adv.Standing == care.Known && (*e.Length < adv.Length || *e.Width < adv.Width) {
			p.warn("/enclosure", fmt.Sprintf("smaller than the floor advised for these animals, %s × %s: what fits in is not yet enough", rounded(adv.Length), rounded(adv.Width)))
		}
		if air := b.Height - b.Drainage - b.Substrate; adv.Standing == care.Known && air < float64(adv.UsableHeight) {
			p.warn("/enclosure/height", fmt.Sprintf("leaves %s above the substrate, less than the usable height advised for these animals, %s", rounded(quantity.Length(air)), rounded(adv.UsableHeight)))
		}
	case given > 0:
		p.add("/enclosure", "gives some sides but not all", "give length, width and height, or none for the advised size")
	case adv.Length == 0 || adv.Width == 0:
		p.add("/enclosure", "is missing, and no size is advised for these animals", "give length, width and height")
	default:
		b.Length, b.Width = float64(adv.Length), float64(adv.Width)
		usable := adv.UsableHeight
		if usable == 0 {
			usable = max(0.3, adv.Width)
			k.assume("No usable height is advised: %s, the width of the floor, is taken (%s).", usable.Value(), ownBasis)
		}
		b.Height = float64(usable+ground.FixtureClearance) + b.Drainage + b.Substrate
		k.assume("The advised size is planned: what the requirement asks for, and no more.")
	}
	for i, r := range e.Rock {
		foam := r.FoamMaterial
		if foam == "" {
			foam = "extruded polystyrene"
		}
		k.material(p, fmt.Sprintf("/enclosure/rock/%d/foam_material", i), foam)
		b.Rock = append(b.Rock, layout.Rock{Wall: r.Wall, Thickness: float64(r.Thickness), Foam: float64(r.Foam), FoamMaterial: foam})
	}
	for _, m := range e.Battens {
		b.Battens = append(b.Battens, layout.Batten{AlongLength: m.AlongLength, At: float64(m.At), Width: float64(m.Width)})
	}
}

func (k *planner) material(p *problems, field, name string) {
	if _, err := heat.MaterialNamed(name); err != nil {
		p.add(field, fmt.Sprintf("is %q", name), "use one of "+strings.Join(MaterialNames()[1:], ", "))
	}
}

// animal turns the largest animal into what the layout needs to know of it. The figures
// are common practice, no source.
func (k *planner) animal() {
	a := &k.brief.Animal
	n := k.g.species.Nature
	rest := float64(k.g.rest())
	a.Count, a.Length, a.BackHeight = k.g.count, rest, float64(k.g.backHeight())
	a.Climbs, a.Digs, a.Swims = n.Climbs, n.Digs, n.Swims
	switch k.g.species.Group {
	case care.Snake:
		total := float64(k.g.most.Total)
		a.Width, a.Reach = total/25, total/2
		k.assume("The body is a twenty-fifth of the total length wide, and reaches half of that length from where it lies (%s).", ownBasis)
	case care.Chelonian:
		a.Width, a.Reach = 0.8*rest, 0.7*rest
		k.assume("The shell is four fifths of its length wide; it reaches seven tenths of that length (%s).", ownBasis)
	case care.Amphibian:
		a.Width, a.Reach = 0.5*rest, 8*rest
		k.assume("The body is half its length wide; it jumps eight times its length (%s).", ownBasis)
	default:
		a.Width, a.Reach = 0.4*rest, 1.2*rest
		if n.Climbs > 1 {
			a.Reach = 2 * rest
		}
		k.assume("The body is two fifths of its snout-vent length wide, and reaches %.1f times that length (%s).", a.Reach/rest, ownBasis)
	}
	k.assume("%s", backBasis)
}

// needs takes the areas from the zones of the requirement, at this floor.
func (k *planner) needs(p *problems) {
	b, n := &k.brief.Box, &k.brief.Needs
	s := k.r.Advised
	s.FloorArea = quantity.Area(b.Length * b.Width)
	for _, z := range zones(k.c, k.g, s) {
		switch area := float64(z.Area); z.Code {
		case "hot_spot":
			n.HotSpot = area
		case "humid_retreat":
			n.HumidRetreat = area
		case "water":
			n.Water = min(area, float64(s.FloorArea))
		case "digging":
			n.Digging = area
		}
	}
	one := float64(k.g.footprint())
	n.Retreat = retreatShare * one * float64(k.g.count)
	n.Feeding, n.Clear = one/2, 0.4
	if k.g.species.Nature.Habit == care.Aquatic {
		n.Retreat, n.HumidRetreat, n.Feeding, n.Digging = 0, 0, 0, 0
		k.assume("Retreats and feeding places of a water animal lie under water and are not drawn.")
	}
	n.WaterDepth = k.waterDepth()
	if w := k.q.Day.WaterChange; w != nil {
		n.WaterChange = float64(*w) / 24
		p.above("/day/water_change", n.WaterChange, 365, "days")
	}
	k.assume("Two fifths of the dry floor at least stay clear; retreats, hot spot and feeding place are sized as in the requirement (%s).", ownBasis)
}

// waterDepth is the low end of what is known, or a guess that the answer names.
func (k *planner) waterDepth() float64 {
	if w := k.r.Advised.Water; w != nil && w.Depth > 0 {
		return float64(w.Depth)
	}
	if t := k.c.Range(k.g.species.ID, care.WaterDepth, k.g.youngest); t.Standing == care.Known && t.Low != nil && *t.Low > 0 {
		return float64(quantity.Centimetres(*t.Low))
	}
	back := float64(k.g.backHeight())
	depth := max(0.02, back/2)
	switch k.g.species.Nature.Swims {
	case 2:
		depth = max(0.03, back)
	case 3:
		depth = max(0.10, 3*back)
	}
	k.assume("How deep the water should be is not known: %.0f mm are taken, by how the animal uses water (%s).", 1000*depth, ownBasis)
	return depth
}

// fixtureDefaults are taken where a fixture leaves them out; common practice, no source.
var fixtureDefaults = map[layout.Kind]layout.Fixture{
	layout.Basking:    {Opening: 0.10, Hang: 0.03, MaxHang: 0.30, Beam: 60, Near: 0.25, Far: 0.50},
	layout.NightHeat:  {Opening: 0.10, Hang: 0.03, Near: 0.20},
	layout.UV:         {Length: 0.60, Width: 0.10, Hang: 0.05, MaxHang: 0.30, Near: 0.25, Far: 0.50},
	layout.PlantLight: {Length: 0.60, Width: 0.05, Hang: 0.05},
	layout.Nozzle:     {Throw: 0.30},
	layout.Fog:        {Opening: 0.03, Throw: 0.15},
	layout.Fan:        {Length: 0.08, Width: 0.08, Hang: 0.03},
	layout.Mat:        {Length: 0.30, Width: 0.20},
	layout.WaterWall:  {Length: 0.30, Width: 0.40},
}

func (k *planner) equipment(p *problems) {
	if len(k.q.Equipment) == 0 {
		k.assume("No equipment is listed: the floor alone is planned.")
	}
	defaulted := false
	for i, f := range k.q.Equipment {
		at := fmt.Sprintf("/equipment/%d", i)
		d, ok := fixtureDefaults[f.Kind]
		if !ok {
			names := make([]string, len(layout.Kinds))
			for j, n := range layout.Kinds {
				names[j] = string(n)
			}
			p.word(at+"/kind", string(f.Kind), names)
			continue
		}
		out := layout.Fixture{Kind: f.Kind, Name: f.Name, Count: max(f.Count, 1), Watts: float64(f.Power), Guarded: f.Guarded, Secured: f.Secured, SplashProof: f.SplashProof,
			Corded: f.Corded, LitresPerMinute: f.OutputPerMinute.Litres(), Beam: f.BeamDegrees}
		if f.Count < 0 {
			out.Count = f.Count
		}
		if out.Beam == 0 {
			out.Beam = d.Beam
			defaulted = defaulted || d.Beam > 0
		}
		for _, x := range []struct {
			to      *float64
			given   *quantity.Length
			instead float64
		}{{&out.Opening, f.Opening, d.Opening}, {&out.Length, f.Length, d.Length}, {&out.Width, f.Width, d.Width}, {&out.Hang, f.Hang, d.Hang}, {&out.Throw, f.Throw, d.Throw}} {
			if *x.to = x.instead; x.given != nil {
				*x.to = float64(*x.given)
			} else {
				defaulted = defaulted || x.instead > 0
			}
		}
		// A hang or distance of one's own is not widened by a default beside it.
		if out.MaxHang = d.MaxHang; f.MaxHang != nil {
			out.MaxHang = float64(*f.MaxHang)
		} else if f.Hang != nil {
			out.MaxHang = out.Hang
		}
		switch {
		case f.Near != nil || f.Far != nil:
			out.Near, out.Far = float64(orElse(f.Near, 0)), float64(orElse(f.Far, 0))
		case f.Kind == layout.UV && f.Reading != nil:
			k.uvWindow(p, at, &f, &out)
		default:
			out.Near, out.Far = d.Near, d.Far
			defaulted = defaulted || d.Near > 0
		}
		k.brief.Fixtures = append(k.brief.Fixtures, out)
	}
	if defaulted {
		k.assume("Openings, sizes, hangs, beams, throws and distances that the equipment leaves out are %s: replace them by its maker's and by readings.", ownBasis)
	}
}

// uvWindow turns a reading of a tube into the distances at which it serves the animal.
func (k *planner) uvWindow(p *problems, at string, f *PlanFixture, out *layout.Fixture) {
	w := k.c.Range(k.g.species.ID, care.UVMax, k.g.youngest)
	if w.Standing != care.Known || w.High == nil {
		p.add(at+"/reading", "can't be used: no UV range is held for this animal", "give near and far instead")
		return
	}
	low := 0.0
	if w.Low != nil {
		low = *w.Low
	}
	lamp := light.Lamp{Shape: light.Tube, LitLengthM: out.Length, ReadUVI: float64(f.Reading.UVIndex), ReadAtM: float64(f.Reading.Distance), Kept: 1}
	window, err := lamp.Window(light.Target{LowUVI: low, HighUVI: *w.High, CeilingUVI: light.AdvisedCeilingUVI, NearestM: 0.05, FarthestM: light.MaxDistanceM})
	if err != nil {
		p.add(at+"/reading", err.Error(), "check the reading, or choose another tube")
		return
	}
	out.Near, out.Far = window.FromM, window.ToM
	k.assume("The UV tube serves from %.0f to %.0f mm from the back, for UV index %.1f to %.1f, by its one reading; its whole length is taken as lit.", 1000*window.FromM, 1000*window.ToM, low, *w.High)
}

func (k *planner) ceiling(p *problems) {
	c := &k.q.Ceiling
	k.brief.WarmEnd = c.WarmEnd
	x := &k.brief.Practice
	switch c.Practice {
	case "", "own":
		*x = layout.OwnPractice()
	case "trade":
		*x = layout.TradePractice()
	default:
		p.word("/ceiling/practice", c.Practice, []string{"own", "trade"})
	}
	for _, o := range []struct {
		to    *float64
		given *quantity.Length
		field string
	}{{&x.Trim, c.Trim, "trim"}, {&x.OpeningGap, c.OpeningGap, "opening_gap"}, {&x.HoleGap, c.HoleGap, "hole_gap"}, {&x.EdgeDistance, c.EdgeDistance, "edge_distance"},
		{&x.ScrewInset, c.ScrewInset, "screw_inset"}, {&x.NozzleHole, c.NozzleHole, "nozzle_hole"}, {&x.FanHole, c.FanHole, "fan_hole"}, {&x.CordHole, c.CordHole, "cord_hole"},
		{&x.MatService, c.MatService, "mat_service"}, {&x.UVClear, c.UVClear, "uv_clear"}} {
		if o.given != nil && p.above("/ceiling/"+o.field, float64(*o.given), 1, "m") {
			*o.to = float64(*o.given)
		}
	}
	if c.Screws != 0 {
		if p.within("/ceiling/screws", float64(c.Screws), 3, 48, "") {
			x.Screws = c.Screws
		}
	}
	k.assume("Trims, screws, gaps, holes and clearances of the workshop are common practice, no source.")
}

var dayNames = map[string]time.Weekday{"MO": time.Monday, "TU": time.Tuesday, "WE": time.Wednesday, "TH": time.Thursday, "FR": time.Friday, "SA": time.Saturday, "SU": time.Sunday}

// day sets the clock and the seasons.
func (k *planner) day(p *problems) {
	d := &k.q.Day
	l := &k.brief.Light
	if d.Dawn != "" {
		t, err := time.Parse("15:04", d.Dawn)
		m := t.Hour()*60 + t.Minute()
		if err != nil || m == 0 || m > 720 {
			p.add("/day/dawn", fmt.Sprintf("is %q", d.Dawn), "give a time from 00:01 to 12:00, such as 07:00")
		}
		l.Dawn = m
	}
	days := func(field string, names []string) (out []time.Weekday) {
		if len(names) > 7 {
			p.add("/day/"+field, "names more than seven days", "name each day once")
			return nil
		}
		for i, n := range names {
			w, ok := dayNames[n]
			if !ok {
				p.add(fmt.Sprintf("/day/%s/%d", field, i), fmt.Sprintf("is %q", n), "use MO, TU, WE, TH, FR, SA or SU")
			}
			out = append(out, w)
		}
		return out
	}
	l.MistDays, l.FeedDays = days("mist_days", d.MistDays), days("feed_days", d.FeedDays)
	hours := func(code care.Code) (float64, bool) {
		t := TargetOf(k.c, k.g.species, code, k.g.youngest)
		if t.Range == nil || t.Range.Low == nil || t.Range.High == nil {
			return 12, false
		}
		return min(max((*t.Range.Low+*t.Range.High)/2, 6), 18), true
	}
	summer, okS := hours(care.PhotoperiodSummer)
	winter, okW := hours(care.PhotoperiodWinter)
	if !okS && !okW {
		k.assume("The length of day is not known: 12 h are taken through the year (%s).", ownBasis)
	} else {
		k.assume("Spring and autumn have the mean of summer's and winter's light; the seasons are the keeper's own.")
	}
	cold := k.nightHeat()
	at := func(name string, from time.Month, h float64, heated bool) layout.Season {
		if d.Southern {
			from = (from+5)%12 + 1
		}
		return layout.Season{Name: name, From: from, To: (from+1)%12 + 1, Hours: h, NightHeat: heated}
	}
	l.Seasons = []layout.Season{at("spring", time.March, (summer+winter)/2, cold), at("summer", time.June, summer, cold), at("autumn", time.September, (summer+winter)/2, cold), at("winter", time.December, winter, cold)}
}

// nightHeat reports whether the room's night is colder than the animal's.
func (k *planner) nightHeat() bool {
	w := k.c.Range(k.g.species.ID, care.NightAir, k.g.youngest)
	room := k.q.Room
	if room == nil || room.Temperature == nil || w.Standing != care.Known || w.Low == nil {
		k.assume("Whether the nights need heating is not known; a night heater that is listed runs by its thermostat in every season.")
		return true
	}
	return float64(orElse(room.NightTemperature, *room.Temperature)) < *w.Low
}

// climate gives the moisture budget its air, where everything it needs is known.
func (k *planner) climate(p *problems) {
	changes := 1.0
	if n := k.q.AirChangesPerHour; n != nil {
		if changes = *n; !p.within("/air_changes_per_hour", changes, 0.01, 200, "1/h") {
			return
		}
	}
	room := k.q.Room
	if room == nil || room.Humidity == nil {
		k.assume("The room's air is not given: there is no moisture budget, and misting and fogging times are %s.", ownBasis)
		return
	}
	if room.Temperature == nil {
		p.add("/room/temperature", "is missing", "give the temperature of the room, or leave the room out")
		return
	}
	p.within("/room/temperature", float64(*room.Temperature), 0, 60, "°C")
	p.within("/room/humidity", 100*float64(*room.Humidity), 0, 100, "%")
	rng := func(code care.Code) (low, high, mid float64, ok bool) {
		w := k.c.Range(k.g.species.ID, code, k.g.youngest)
		mid, ok = w.Midpoint()
		low, high = mid, mid
		if w.Low != nil {
			low = *w.Low
		}
		if w.High != nil {
			high = *w.High
		}
		return low, high, mid, ok && w.Standing == care.Known
	}
	_, _, warm, ok1 := rng(care.WarmAir)
	_, _, cool, ok2 := rng(care.CoolAir)
	low, high, _, ok3 := rng(care.HumidityDay)
	if !ok1 || !ok2 || !ok3 {
		k.assume("There is no moisture budget: no air temperatures or no humidity are held for this species.")
		return
	}
	c := &layout.Climate{AirC: (warm + cool) / 2, RoomC: float64(*room.Temperature), RoomHumidity: float64(*room.Humidity), AirChanges: changes, DayLow: low / 100, DayHigh: high / 100}
	c.NightC, c.NightLow, c.NightHigh = c.AirC, c.DayLow, c.DayHigh
	if _, _, night, ok := rng(care.NightAir); ok {
		c.NightC = night
	}
	if l, h, _, ok := rng(care.HumidityNight); ok {
		c.NightLow, c.NightHigh = l/100, h/100
	}
	c.WaterC = c.AirC
	if _, _, water, ok := rng(care.WaterTemp); ok {
		c.WaterC = water
	}
	k.assume("The moisture budget is struck at the middle of the air ranges, %.0f °C by day and %.0f °C by night, with %g air changes per hour.", c.AirC, c.NightC, changes)
	k.brief.Climate = c
}

// rounded writes a length for a text, in cm.
func rounded(l quantity.Length) quantity.Value { return l.Value().In(quantity.Metric) }
