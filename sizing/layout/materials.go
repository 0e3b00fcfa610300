package layout

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"math"
	"strconv"
	"strings"

	"denwright/care/quantity"
)

// Materials is the list of materials: net figures, and what to buy with the waste
// allowance on top.
type Materials struct {
	Lines []Material `json:"lines"`
	// WaterPerDay is changes, mist, fog and evaporation together.
	WaterPerDay quantity.Volume `json:"water_per_day"`
	// DayWatts is everything that may run at once by day, NightWatts by night.
	DayWatts   quantity.Power `json:"day_power"`
	NightWatts quantity.Power `json:"night_power"`
	Build      string         `json:"build"`
	Basis      string         `json:"basis"`
}

// Material is one line: exactly one of Area, Length, Volume or Count.
type Material struct {
	Code   string            `json:"code"`
	Name   string            `json:"name"`
	Area   quantity.Area     `json:"area,omitzero"`
	Length quantity.Length   `json:"length,omitzero"`
	Volume quantity.Volume   `json:"volume,omitzero"`
	Count  int               `json:"count,omitzero"`
	Waste  quantity.Fraction `json:"waste_allowance"`
	// Buy is the net figure with the allowance.
	BuyArea   quantity.Area   `json:"buy_area,omitzero"`
	BuyLength quantity.Length `json:"buy_length,omitzero"`
	BuyVolume quantity.Volume `json:"buy_volume,omitzero"`
	Note      string          `json:"note,omitzero"`
}

// Cut is one part of the cut list: a rectangle, or a disc or ring by its diameters.
type Cut struct {
	Part     string          `json:"part"`
	Material string          `json:"material"` // panel, glass, trim or mesh
	Count    int             `json:"count"`
	Length   quantity.Length `json:"length,omitzero"`
	Width    quantity.Length `json:"width,omitzero"`
	Diameter quantity.Length `json:"diameter,omitzero"`
	Inside   quantity.Length `json:"inside_diameter,omitzero"`
	Note     string          `json:"note,omitzero"`
}

// Area of the part, all of its count; of a disc or ring its face.
func (c Cut) Area() quantity.Area {
	one := float64(c.Length * c.Width)
	if c.Diameter > 0 {
		one = math.Pi / 4 * float64(c.Diameter*c.Diameter-c.Inside*c.Inside)
	}
	return quantity.Area(one * float64(c.Count))
}

// How the box is built, for the cut list; common practice, no source.
const (
	frontRail   = 0.06 // top rail of the front, m
	kickOver    = 0.02 // front upstand above the substrate
	kickLeast   = 0.10
	paneOverlap = 0.06 // the two sliding panes, together
	meshLap     = 0.02 // vent mesh beyond its opening, all round
	build       = "Floor and ceiling run over the whole outside; the back stands between them over the full length; the sides stand between them before the back; " +
		"an upstand and a top rail close the front, with two sliding panes that overlap between them. Marks on the ceiling run from its own edges."
)

// kick is the height of the front upstand.
func (p *Plan) kick() float64 { return snap(max(kickLeast, float64(p.Surface)+kickOver)) }

func (p *Plan) cutList() {
	l, w, h, t := float64(p.Length), float64(p.Width), float64(p.Height), float64(p.Panel)
	kick := p.kick()
	pane := snap(max(0, h-kick-frontRail))
	add := func(c Cut) { p.Cuts = append(p.Cuts, c) }
	add(Cut{Part: "floor", Material: "panel", Count: 1, Length: q(l + 2*t), Width: q(w + 2*t)})
	add(Cut{Part: "ceiling", Material: "panel", Count: 1, Length: q(l + 2*t), Width: q(w + 2*t), Note: "holes by the ceiling drawing"})
	add(Cut{Part: "back", Material: "panel", Count: 1, Length: q(l + 2*t), Width: q(h)})
	add(Cut{Part: "side, left", Material: "panel", Count: 1, Length: q(w + t), Width: q(h)})
	add(Cut{Part: "side, right", Material: "panel", Count: 1, Length: q(w + t), Width: q(h)})
	add(Cut{Part: "front upstand", Material: "panel", Count: 1, Length: q(l), Width: q(kick), Note: "holds the substrate"})
	add(Cut{Part: "front top rail", Material: "panel", Count: 1, Length: q(l), Width: q(frontRail)})
	add(Cut{Part: "front pane", Material: "glass", Count: 2, Length: q((l + paneOverlap) / 2), Width: q(pane), Note: "less the play of its runners; thickness by a glazier; edges ground"})
	for _, k := range p.Holes {
		if k.Trim > 0 {
			add(Cut{Part: "trim ring " + k.Code, Material: "trim", Count: 1, Diameter: k.Trim, Inside: k.Diameter, Note: fmt.Sprintf("%d screws on the screw circle, tightened crosswise", k.Screws)})
			add(Cut{Part: "guard disc " + k.Code, Material: "mesh", Count: 1, Diameter: k.Guard, Note: "cut to the trim's outside circle"})
		}
	}
	for _, o := range p.Walls {
		if o.Code == "vent_high" || o.Code == "vent_low" {
			add(Cut{Part: o.Name, Material: "mesh", Count: 1, Length: q(float64(o.Length) + 2*meshLap), Width: q(float64(o.Height) + 2*meshLap)})
		}
	}
}

func (p *Plan) materials(b *Brief) {
	sum := map[string]quantity.Area{}
	trims, ring := 0, 0.0
	for _, c := range p.Cuts {
		sum[c.Material] += c.Area()
		if c.Material == "trim" {
			trims++
			ring += math.Pi * float64(c.Diameter)
		}
	}
	m := &p.Materials
	m.Build = build
	m.Basis = "net figures from the cut list and the drawing; waste allowances are common practice, no source"
	w := b.Waste
	area := func(code, name string, a quantity.Area, waste float64, note string) {
		if a > 0 {
			m.Lines = append(m.Lines, Material{Code: code, Name: name, Area: a, Waste: quantity.Fraction(waste), BuyArea: a * quantity.Area(1+waste), Note: note})
		}
	}
	volume := func(code, name string, v, waste float64, note string) {
		if v > 1e-9 {
			m.Lines = append(m.Lines, Material{Code: code, Name: name, Volume: quantity.Volume(v), Waste: quantity.Fraction(waste), BuyVolume: quantity.Volume(v * (1 + waste)), Note: note})
		}
	}
	area("panel", "panel, "+b.Box.Material, sum["panel"], w.Panel, fmt.Sprintf("%.0f mm", 1000*b.Box.Panel))
	area("glass", "glass", sum["glass"], w.Glass, fmt.Sprintf("%.0f mm, as given; cut to order", 1000*b.Box.Glass))
	area("mesh", "mesh", sum["mesh"], w.Mesh, "guard discs and vents, net of the blanks they are cut from")
	if trims > 0 {
		m.Lines = append(m.Lines, Material{Code: "trim", Name: fmt.Sprintf("trim rings, %d, outside edges together", trims), Length: q(ring), Waste: quantity.Fraction(w.Trim), BuyLength: q(ring * (1 + w.Trim))})
		area("trim_sheet", "sheet for trim rings", sum["trim"], w.Trim, "faces of the rings")
	}
	// What stands in the fill takes its room: tub, trough, retreats with their own floor.
	soil, drain := p.fill()
	volume("substrate", "substrate", soil, w.Fill, "settles: topped up after some weeks")
	volume("drainage", "drainage fill", drain, w.Fill, "under a fabric that holds the soil back")
	for _, r := range p.Rock {
		area("rock_"+r.Wall, "foam-backed rock work, "+r.Wall, r.Area, w.Panel, "inner coat to be sealed and free of sharp edges")
	}
	var water float64
	if p.Tub != nil {
		water += float64(p.Tub.PerDay)
	}
	if p.Moisture != nil {
		water += float64(p.Moisture.OpenWater + p.Moisture.MistWater + p.Moisture.FogWater)
	}
	m.WaterPerDay = quantity.Volume(water)
	for _, f := range p.Fixtures {
		switch f.Kind {
		case NightHeat:
			m.NightWatts += f.Watts
		case Mat:
			m.NightWatts += f.Watts
			m.DayWatts += f.Watts
		default:
			m.DayWatts += f.Watts
		}
	}
	if i := b.first(WaterWall); i >= 0 { // the pump runs throughout
		m.DayWatts += quantity.Power(b.Fixtures[i].Watts)
		m.NightWatts += quantity.Power(b.Fixtures[i].Watts)
	}
}

// fill is the volume of substrate and of drainage, m³, less what stands in them.
func (p *Plan) fill() (soil, drain float64) {
	floor := float64(p.Clear.Length * p.Clear.Width)
	d, s := float64(p.Drainage), float64(p.Surface)
	soil, drain = floor*(s-d), floor*d
	for _, x := range p.Floor {
		if x.Role != Water && x.Role != Sump && (x.Role != WarmRetreat || x.Bottom > 0) {
			continue
		}
		area := float64(x.Length * x.Width)
		soil -= area * max(0, s-max(d, float64(x.Bottom)))
		drain -= area * max(0, d-float64(x.Bottom))
	}
	return soil, drain
}

// finish adds to placed geometry what follows from it.
func finish(b *Brief, p *Plan) error {
	if err := p.water(b); err != nil {
		return err
	}
	p.program(b)
	p.cutList()
	p.materials(b)
	p.say(b)
	return nil
}

// say adds notes and cautions.
func (p *Plan) say(b *Brief) {
	lit := 0
	for _, x := range p.Floor {
		if x.Role == HotSpot {
			lit++
		}
	}
	if lit > 0 && b.first(Basking) < 0 {
		p.Notes = append(p.Notes, "No basking lamp is listed: the hot spot is marked, and nothing heats it yet.")
	}
	if lit == 1 {
		p.Notes = append(p.Notes, "One hot spot only: a second, to choose from, found no room or no lamp.")
	}
	p.Notes = append(p.Notes, "Places, distances and sizes of furnishings that no rule sets are common practice, no source.")
	p.Cautions = append(p.Cautions,
		"Mains: fixtures, cords and pumps are connected by the local code, by a licensed electrician, behind a residual-current device; every cord hangs in a drip loop and is relieved of strain; nothing electric below or beside water that is not made for it.",
		"Heat: every lamp and heater is regulated and guarded; keep clear of wood and plastic what its maker asks for; the trim must stand the lamp's heat; run it a day under watch, with thermometers, before an animal moves in.",
		"Cuts: mark from the two panel edges, check against the drawing, and drill a trial in waste. Edges are sealed and free of splinters; guard mesh has no loose ends.")
	if p.Tub != nil && p.Tub.Volume.Litres() > 20 || p.Surface > 0.15 {
		p.Cautions = append(p.Cautions, "Load: substrate, water and rock are heavy, the front upstand takes their push, and the floor below carries it all: work the load out and ask a structural engineer where in doubt.")
	}
	p.Cautions = append(p.Cautions, "Glass: panes are of a glazier's thickness, with ground edges, held so that an animal can't lift or lean them out; rock and branches can't fall against them.")
	if b.Animal.Climbs > 0 || lit > 0 {
		p.Cautions = append(p.Cautions, "Furnishings that bear an animal are fixed and stand on the floor of the enclosure: what can be undermined or tipped kills.")
	}
	if b.first(Mat) >= 0 {
		p.Cautions = append(p.Cautions, "Heat mat: under thin bedding only, with its probe on the mat; deep dry soil over a mat overheats it.")
	}
	if b.first(UV) >= 0 {
		p.Cautions = append(p.Cautions, "UV: measure the UV index at the animal's back in the highest place it can reach before it moves in; don't look into the lamp.")
	}
	if b.first(Nozzle) >= 0 || b.first(Fog) >= 0 || b.first(WaterWall) >= 0 {
		p.Cautions = append(p.Cautions, "Spray and fog: clean water and clean tanks; standing warm water breeds germs that mist carries into lungs, the keeper's too.")
	}
}

// cell makes text safe for a spreadsheet: one that would be read as a formula gets an
// apostrophe before it.
func cell(s string) string {
	if s != "" && strings.ContainsAny(s[:1], "=+-@\t\r") {
		return "'" + s
	}
	return s
}

// table writes rows as CSV (RFC 4180).
func table(rows [][]string) []byte {
	var buf bytes.Buffer
	w := csv.NewWriter(&buf)
	w.UseCRLF = true
	for _, r := range rows {
		safe := make([]string, len(r))
		for i, c := range r {
			safe[i] = cell(c)
		}
		_ = w.Write(safe) // a bytes.Buffer takes everything
	}
	w.Flush()
	return buf.Bytes()
}

// Measure writes a length in mm or in, without its unit: to a hundredth, or exact where it
// is a whole number of sixteenths of an inch.
func Measure(l quantity.Length, units quantity.System) string {
	v := quantity.Value{Number: float64(l) * 1000, Unit: "mm"}
	if units == quantity.Imperial {
		v = v.In(units)
		if n := math.Round(v.Number * 16); math.Abs(v.Number*16-n) < 1e-6 {
			return strconv.FormatFloat(n/16, 'f', -1, 64)
		}
	}
	return strconv.FormatFloat(math.Round(v.Number*100)/100, 'f', -1, 64)
}

// Litres writes a volume; a small one in millilitres, in which it is measured out.
func Litres(v quantity.Volume, units quantity.System) string {
	if ml := 1000 * v.Litres(); ml < 500 {
		return strconv.FormatFloat(ml, 'f', 0, 64) + " mL"
	}
	return v.Value().In(units).String()
}

// UnitOf is the unit that Measure writes in.
func UnitOf(units quantity.System) string {
	if units == quantity.Imperial {
		return "in"
	}
	return "mm"
}

// CutCSV is the cut list with every hole of the ceiling, for a workshop. Lengths are in
// mm, to a hundredth where a practice in inches makes them so, or in inches.
func (p *Plan) CutCSV(units quantity.System) []byte {
	u := UnitOf(units)
	at := func(l quantity.Length) string { return Measure(l, units) }
	f := func(l quantity.Length) string { // of what a part need not have
		if l == 0 {
			return ""
		}
		return at(l)
	}
	rows := [][]string{{"part", "material", "count", "length " + u, "width " + u, "diameter " + u, "inside diameter " + u,
		"from left edge " + u, "from front edge " + u, "trim diameter " + u, "guard disc " + u, "screw circle " + u, "screws", "note"}}
	for _, c := range p.Cuts {
		rows = append(rows, []string{c.Part, c.Material, strconv.Itoa(c.Count), f(c.Length), f(c.Width), f(c.Diameter), f(c.Inside), "", "", "", "", "", "", c.Note})
	}
	for _, h := range p.Holes {
		screws := ""
		if h.Screws > 0 {
			screws = strconv.Itoa(h.Screws)
		}
		rows = append(rows, []string{"hole " + h.Code, "ceiling", "1", "", "", f(h.Diameter), "", at(h.FromLeft), at(h.FromFront), f(h.Trim), f(h.Guard), f(h.ScrewCircle), screws,
			h.Purpose + " for " + words(h.For) + ", centre from the panel's edges, marked from above"})
	}
	for _, o := range p.Walls {
		rows = append(rows, []string{o.Name, o.Wall, "1", f(o.Length), f(o.Height), "", "", at(o.Along), "", "", "", "", "",
			"seen from inside: left edge from the view's left corner as given, lower edge " + at(o.Up) + " " + u + " above the floor panel; " + o.Note})
	}
	return table(rows)
}

// ProgramCSV is the day program as a table.
func (p *Plan) ProgramCSV() []byte { return table(p.Program.Rows()) }

// MaterialsCSV is the list of materials as a table, in m², m, L and W.
func (p *Plan) MaterialsCSV(units quantity.System) []byte {
	rows := [][]string{{"material", "net", "waste allowance", "to buy", "unit", "note"}}
	write := func(v, buy quantity.Valuer) (string, string, string) {
		a, b := v.Value().In(units), buy.Value().In(units)
		return strconv.FormatFloat(a.Number, 'f', -1, 64), strconv.FormatFloat(b.Number, 'f', -1, 64), a.Unit
	}
	for _, l := range p.Materials.Lines {
		var net, buy, unit string
		switch {
		case l.Area > 0:
			net, buy, unit = write(l.Area, l.BuyArea)
		case l.Length > 0:
			net, buy, unit = write(l.Length, l.BuyLength)
		default:
			net, buy, unit = write(l.Volume, l.BuyVolume)
		}
		rows = append(rows, []string{l.Name, net, l.Waste.Value().In(units).String(), buy, unit, l.Note})
	}
	for _, x := range []struct {
		name string
		v    quantity.Valuer
	}{{"water per day", p.Materials.WaterPerDay}, {"power by day", p.Materials.DayWatts}, {"power by night", p.Materials.NightWatts}} {
		v := x.v.Value().In(units)
		n := strconv.FormatFloat(v.Number, 'f', -1, 64)
		rows = append(rows, []string{x.name, n, "", n, v.Unit, ""})
	}
	return table(rows)
}
