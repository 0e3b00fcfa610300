package layout

import (
	"cmp"
	"encoding/xml"
	"fmt"
	"math"
	"slices"
	"strings"

	"denwright/care/quantity"
)

// Sheet is one drawing, to scale on one sheet of paper. Its viewBox counts millimetres of
// paper. Everything is black on white: jobs are told apart by pattern and word.
//
// Outlines bear data-code with the code of the plan, dimension lines (class "dim")
// data-mm with the true length; the line on paper times the scale is that length.
type Sheet struct {
	Name  string `json:"name"` // floor, ceiling-from-above, ceiling-from-below, section or walls
	Title string `json:"title"`
	// Scale is 1 to so many.
	Scale int    `json:"scale"`
	SVG   []byte `json:"-"`
}

// Paper is a sheet laid on its long side, mm.
type Paper struct{ Width, Height float64 }

// The papers that a drawing can be printed on.
var (
	A4     = Paper{297, 210}
	Letter = Paper{279.4, 215.9}
)

// scales that a drawing may take, per unit system; customary ones of the drawing office.
var (
	metricScales   = []int{2, 5, 10, 15, 20, 25, 30, 40, 50, 75, 100, 150, 200, 300, 500}
	imperialScales = []int{2, 4, 6, 8, 12, 16, 24, 32, 48, 64, 96, 128, 192, 256, 512}
)

// Layout of a sheet, mm of paper.
const (
	sheetEdge  = 8.0
	columnWide = 92.0
	titleHigh  = 17.0
	dimRoom    = 15.0 // round the views of the walls, for dimensions
	textSize   = 2.8
	cellSize   = 2.6 // in tables
	markSize   = 2.4 // of the figures along an edge
	letterWide = 1.75
	rowHigh    = 3.8
)

// room is kept round a drawing for dimensions and words, mm of paper.
type room struct{ left, right, top, bottom float64 }

// sheet draws.
type sheet struct {
	w      strings.Builder
	name   string
	about  string // what the plan is for
	paper  Paper
	units  quantity.System
	scale  int
	ox, oy float64 // paper point of the drawing's origin
	row    float64 // next line of the column
	left   int     // lines for which the column had no room
}

// SheetNames are the drawings of a plan, in their order.
var SheetNames = []string{"floor", "ceiling-from-above", "ceiling-from-below", "section", "walls"}

// Sheets draws the plan for a paper, with dimensions in mm or in. About says in the title
// block what it is for.
func (p *Plan) Sheets(paper Paper, units quantity.System, about string) []Sheet {
	on := func(name string) *sheet { return &sheet{name: name, about: about, paper: paper, units: units} }
	return []Sheet{p.floorSheet(on("floor")), p.ceilingSheet(on("ceiling-from-above"), false), p.ceilingSheet(on("ceiling-from-below"), true), p.sectionSheet(on("section")), p.wallSheet(on("walls"))}
}

func text(s string) string {
	var w strings.Builder
	_ = xml.EscapeText(&w, []byte(s)) // a Builder takes everything
	return w.String()
}

func (s *sheet) f(format string, args ...any) { fmt.Fprintf(&s.w, format+"\n", args...) }

// open begins the drawing of something wide by high, m, at the largest scale that fits.
func (s *sheet) open(wide, high float64, keep room) {
	roomX := s.paper.Width - 2*sheetEdge - columnWide - keep.left - keep.right
	roomY := s.paper.Height - 2*sheetEdge - titleHigh - keep.top - keep.bottom
	s.rescale(func() bool { return s.mm(wide) <= roomX && s.mm(high) <= roomY })
	s.ox = sheetEdge + keep.left + (roomX-s.mm(wide))/2
	s.oy = sheetEdge + keep.top + (roomY+s.mm(high))/2
	s.row = sheetEdge + 4
}

// rescale takes the largest customary scale at which the drawing fits, else the smallest.
func (s *sheet) rescale(fits func() bool) {
	list := metricScales
	if s.units == quantity.Imperial {
		list = imperialScales
	}
	for _, s.scale = range list {
		if fits() {
			return
		}
	}
}

// at turns metres into paper; y and z go up.
func (s *sheet) at(x, y float64) (float64, float64) {
	k := 1000 / float64(s.scale)
	return s.ox + x*k, s.oy - y*k
}

func (s *sheet) mm(l float64) float64 { return l * 1000 / float64(s.scale) }

func (s *sheet) head(title, desc string) string {
	id := s.name
	var w strings.Builder
	fmt.Fprintf(&w, `<?xml version="1.0" encoding="UTF-8"?>
<svg xmlns="http://www.w3.org/2000/svg" width="%gmm" height="%gmm" viewBox="0 0 %g %g" role="img" aria-labelledby="%s-title %s-desc" data-scale="%d" font-family="DejaVu Sans, Helvetica, Arial, sans-serif" font-size="%g" fill="#000" stroke="none">
<title id="%s-title">%s</title>
<desc id="%s-desc">%s</desc>
<defs>
`, s.paper.Width, s.paper.Height, s.paper.Width, s.paper.Height, id, id, s.scale, textSize, id, text(title), id, text(desc))
	line := `stroke="#000" stroke-width="0.12" fill="none"`
	for _, d := range []struct{ name, size, body string }{
		{"cross", "2.4", `<path d="M0 0L2.4 2.4M0 2.4L2.4 0" ` + line + `/>`},
		{"slant", "2.4", `<path d="M-0.6 0.6L0.6 -0.6M0 2.4L2.4 0M1.8 3L3 1.8" ` + line + `/>`},
		{"back", "2.4", `<path d="M-0.6 1.8L0.6 3M0 0L2.4 2.4M1.8 -0.6L3 0.6" ` + line + `/>`},
		{"damp", "3", `<path d="M-0.75 0.75L0.75 -0.75M0 3L3 0M2.25 3.75L3.75 2.25" ` + line + `/><circle cx="0.8" cy="0.8" r="0.22"/><circle cx="2.3" cy="2.3" r="0.22"/>`},
		{"waves", "3.2", `<path d="M0 1Q0.8 0.2 1.6 1T3.2 1M0 2.6Q0.8 1.8 1.6 2.6T3.2 2.6" ` + line + `/>`},
		{"dots", "2", `<circle cx="0.5" cy="0.5" r="0.16"/><circle cx="1.5" cy="1.5" r="0.16"/>`},
		{"stones", "2.6", `<circle cx="0.7" cy="0.7" r="0.5" ` + line + `/><circle cx="2" cy="1.9" r="0.5" ` + line + `/>`},
		{"bars", "1.6", `<path d="M0 0.5H1.6M0 0.9H1.6" ` + line + `/>`},
		{"posts", "1.6", `<path d="M0.5 0V1.6" ` + line + `/>`},
	} {
		fmt.Fprintf(&w, `<pattern id="%s-%s" width="%s" height="%s" patternUnits="userSpaceOnUse">%s</pattern>`+"\n", id, d.name, d.size, d.size, d.body)
	}
	w.WriteString("</defs>\n<rect width=\"100%\" height=\"100%\" fill=\"#fff\"/>\n")
	return w.String()
}

// done closes a sheet with its title block and a bar to hold a ruler against.
func (s *sheet) done(title, view, desc string) Sheet {
	if n := s.left; n > 0 {
		s.left, s.row = 0, s.foot()
		s.column(fmt.Sprintf("and %d lines more: in the cut list and in the JSON", n), true)
	}
	y := s.paper.Height - sheetEdge - titleHigh
	right := s.paper.Width - sheetEdge
	s.f(`<path d="M%g %gH%g" stroke="#000" stroke-width="0.3" fill="none"/>`, sheetEdge, y, right)
	about := ""
	if s.about != "" {
		about = fmt.Sprintf(`<tspan dx="4" font-size="%g" font-weight="normal">%s</tspan>`, textSize, text(s.about))
	}
	s.f(`<text x="%g" y="%g" font-size="4" font-weight="bold">%s%s</text>`, sheetEdge, y+5.5, text(title), about)
	s.f(`<text x="%g" y="%g">%s</text>`, sheetEdge, y+10, text(view))
	s.f(`<text x="%g" y="%g">Sheet %d of %d. Scale 1:%d on paper of %g × %g mm. Print at 100 %%, not fitted to the page. Dimensions in %s.</text>`, sheetEdge, y+14, 1+slices.Index(SheetNames, s.name), len(SheetNames), s.scale, s.paper.Width, s.paper.Height, UnitOf(s.units))
	// The bar is a true length on paper, whatever the scale.
	x := right - 62
	s.f(`<g class="bar" data-paper-mm="50"><line x1="%g" y1="%g" x2="%g" y2="%g" stroke="#000" stroke-width="0.3"/><path d="M%g %gv2M%g %gv2" stroke="#000" stroke-width="0.3"/></g>`, x, y+6, x+50, y+6, x, y+5, x+50, y+5)
	s.f(`<text x="%g" y="%g" text-anchor="middle">50 mm by the ruler, %s %s built</text>`, x+25, y+11, Measure(quantity.Length(0.05*float64(s.scale)), s.units), UnitOf(s.units))
	return Sheet{Name: s.name, Title: title, Scale: s.scale, SVG: []byte(s.head(title, desc) + s.w.String() + "</svg>\n")}
}

func (s *sheet) fill(pattern string) string {
	if pattern == "" {
		return "none"
	}
	return fmt.Sprintf("url(#%s-%s)", s.name, pattern)
}

// rect draws a rectangle given in m, from its lower left corner.
func (s *sheet) rect(code string, x, y, l, w float64, pattern, extra string) {
	px, py := s.at(x, y+w)
	if code != "" {
		extra += fmt.Sprintf(` data-code="%s"`, text(code))
	}
	if pattern != "" && pattern != "dots" { // so that a pattern does not run into the one below
		s.f(`<rect x="%.3f" y="%.3f" width="%.3f" height="%.3f" fill="#fff"/>`, px, py, s.mm(l), s.mm(w))
	}
	if !strings.Contains(extra, "stroke-width") {
		extra += ` stroke-width="0.3"`
	}
	s.f(`<rect x="%.3f" y="%.3f" width="%.3f" height="%.3f" fill="%s" stroke="#000"%s/>`, px, py, s.mm(l), s.mm(w), s.fill(pattern), extra)
}

func (s *sheet) circle(code string, x, y, r float64, extra string) {
	px, py := s.at(x, y)
	if code != "" {
		extra += fmt.Sprintf(` data-code="%s"`, text(code))
	}
	if !strings.Contains(extra, "fill=") {
		extra += ` fill="none"`
	}
	s.f(`<circle cx="%.3f" cy="%.3f" r="%.3f" stroke="#000"%s/>`, px, py, s.mm(r), extra)
}

// tag writes a short word on white, its middle at a place in m, moved by paper mm.
func (s *sheet) tag(x, y, dx, dy float64, word string) {
	px, py := s.at(x, y)
	s.tagAt(px+dx, py+dy, word)
}

// tagWide is about how wide a tag is, mm of paper.
func tagWide(word string) float64 { return letterWide*float64(len([]rune(word))) + 1.4 }

func (s *sheet) tagAt(px, py float64, word string) {
	wide := tagWide(word)
	s.f(`<rect x="%.3f" y="%.3f" width="%.3f" height="3.4" rx="1" fill="#fff" stroke="#000" stroke-width="0.15"/><text x="%.3f" y="%.3f" text-anchor="middle">%s</text>`, px-wide/2, py-1.7, wide, px, py+0.95, text(word))
}

// halo keeps a figure readable where a line passes behind it.
const halo = `paint-order="stroke" stroke="#fff" stroke-width="0.9" stroke-linejoin="round"`

// dim draws a dimension between two points in m, level or upright, off mm of paper from
// them: below or to the left where off is negative.
func (s *sheet) dim(x1, y1, x2, y2, off float64) {
	a, b := [2]float64{}, [2]float64{}
	a[0], a[1] = s.at(x1, y1)
	b[0], b[1] = s.at(x2, y2)
	true := quantity.Length(math.Hypot(x2-x1, y2-y1))
	s.f(`<g class="dim" data-mm="%.3f">`, float64(true)*1000)
	style := `stroke="#000" stroke-width="0.15"`
	label := Measure(q(float64(true)), s.units)
	if x1 != x2 {
		y := a[1] - off
		s.f(`<line x1="%.3f" y1="%.3f" x2="%.3f" y2="%.3f" %s/>`, a[0], y, b[0], y, style)
		s.f(`<path d="M%.3f %.3fV%.3fM%.3f %.3fV%.3f" %s fill="none"/>`, a[0], a[1], y-math.Copysign(1, off), b[0], b[1], y-math.Copysign(1, off), style)
		s.f(`<path d="M%.3f %.3fl1.2 -1.2M%.3f %.3fl1.2 -1.2" stroke="#000" stroke-width="0.3" fill="none"/>`, a[0]-0.6, y+0.6, b[0]-0.6, y+0.6)
		s.f(`<text x="%.3f" y="%.3f" text-anchor="middle" %s>%s</text></g>`, (a[0]+b[0])/2, y-0.8, halo, label)
		return
	}
	x := a[0] + off
	s.f(`<line x1="%.3f" y1="%.3f" x2="%.3f" y2="%.3f" %s/>`, x, a[1], x, b[1], style)
	s.f(`<path d="M%.3f %.3fH%.3fM%.3f %.3fH%.3f" %s fill="none"/>`, a[0], a[1], x+math.Copysign(1, off), b[0], b[1], x+math.Copysign(1, off), style)
	s.f(`<path d="M%.3f %.3fl1.2 -1.2M%.3f %.3fl1.2 -1.2" stroke="#000" stroke-width="0.3" fill="none"/>`, x-0.6, a[1]+0.6, x-0.6, b[1]+0.6)
	beside := -0.8
	if off > 12 || off > 0 && s.mm(math.Abs(y2-y1)) < letterWide*float64(len(label))+1.5 {
		// Outside: where figures along the edge stand inside, or the stretch is shorter than its figure.
		beside = 2.9
	}
	s.f(`<text transform="translate(%.3f %.3f) rotate(-90)" text-anchor="middle" %s>%s</text></g>`, x+beside, (a[1]+b[1])/2, halo, label)
}

// column writes a line in the right-hand column; bold for headings.
func (s *sheet) column(line string, bold bool) {
	weight := ""
	if bold {
		weight = ` font-weight="bold"`
	}
	if s.full() {
		return
	}
	s.f(`<text x="%g" y="%.2f"%s>%s</text>`, s.edge(), s.row, weight, text(line))
	s.row += rowHigh
}

// edge is where the column begins, foot its last line; full counts a line beyond that.
func (s *sheet) edge() float64 { return s.paper.Width - sheetEdge - columnWide + 4 }

func (s *sheet) foot() float64 { return s.paper.Height - sheetEdge - titleHigh - 2 }

func (s *sheet) full() bool {
	if s.row > s.foot()-rowHigh {
		s.left++
		return true
	}
	return false
}

// cells writes a row of a table in the column, each cell at its offset in mm.
func (s *sheet) cells(bold bool, at []float64, cells ...string) {
	weight := ""
	if bold {
		weight = ` font-weight="bold"`
	}
	if s.full() {
		return
	}
	for i, c := range cells {
		if c != "" {
			s.f(`<text x="%.2f" y="%.2f" font-size="%g"%s>%s</text>`, s.edge()+at[i], s.row, cellSize, weight, text(c))
		}
	}
	s.row += rowHigh
}

// wrap breaks a text for the column.
func (s *sheet) wrap(line string) {
	const most = 50
	for len([]rune(line)) > most {
		r := []rune(line)
		cut := most
		for cut > 10 && r[cut] != ' ' {
			cut--
		}
		s.column(string(r[:cut]), false)
		line = strings.TrimSpace(string(r[cut:]))
	}
	s.column(line, false)
}

func (s *sheet) v(l quantity.Length) string {
	return Measure(l, s.units)
}

var rolePatterns = map[Role]string{HotSpot: "cross", WarmRetreat: "slant", CoolRetreat: "back", HumidRetreat: "damp", Water: "waves", Sump: "waves", Climbing: "bars", Feeding: "posts", Digging: "dots"}

// walls draws the cut walls round the inside, front open for the panes.
func (s *sheet) walls(p *Plan) {
	l, w, t := float64(p.Length), float64(p.Width), float64(p.Panel)
	s.rect("", -t, -t, l+2*t, w+2*t, "", ` stroke-width="0.5"`)
	s.rect("inside", 0, 0, l, w, "", ` stroke-width="0.3"`)
	if p.Clear != (Rect{0, 0, p.Length, p.Width}) {
		s.rect("clear_floor", float64(p.Clear.X), float64(p.Clear.Y), float64(p.Clear.Length), float64(p.Clear.Width), "", ` stroke-width="0.25" stroke-dasharray="3 1"`)
	}
	x, y := s.at(l/2, -t)
	s.f(`<text x="%.3f" y="%.3f" text-anchor="middle" font-size="%g">FRONT</text>`, x, y+3, cellSize)
}

func (p *Plan) ends() (string, string) {
	if p.WarmEnd == "right" {
		return "cool end", "warm end"
	}
	return "warm end", "cool end"
}

// size writes "1200 × 600 × 900 mm".
func (s *sheet) size(ls ...quantity.Length) string {
	out := make([]string, len(ls))
	for i, l := range ls {
		out[i] = s.v(l)
	}
	return strings.Join(out, " × ") + " " + UnitOf(s.units)
}

func (p *Plan) floorSheet(s *sheet) Sheet {
	l, w, t := float64(p.Length), float64(p.Width), float64(p.Panel)
	units := s.units
	s.open(l+2*t, w+2*t, room{left: 14, right: 10, top: 14, bottom: 6})
	s.ox, s.oy = s.ox+s.mm(t), s.oy-s.mm(t)
	s.walls(p)
	// Ground first, so that furnishings lie on it.
	order := []int{}
	for i, pl := range p.Floor {
		if pl.Role.ground() {
			order = append([]int{i}, order...)
		} else {
			order = append(order, i)
		}
	}
	for _, i := range order {
		pl := p.Floor[i]
		extra := ""
		switch pl.Role {
		case Digging:
			extra = ` stroke-width="0.2" stroke-dasharray="1 0.8"`
		case Walking:
			extra = ` stroke-width="0.2" stroke-dasharray="4 1.5"`
		}
		s.rect(pl.Code, float64(pl.X), float64(pl.Y), float64(pl.Length), float64(pl.Width), rolePatterns[pl.Role], extra)
	}
	var used []box
	for i, pl := range p.Floor {
		x, y := float64(pl.X+pl.Length/2), float64(pl.Y+pl.Width/2)
		word := fmt.Sprint(i + 1)
		if long := word + " " + pl.Name; tagWide(long)+1.6 < s.mm(float64(pl.Length)) {
			word = long
		}
		wide := tagWide(word) / s.mm(1)
		if pl.Role.ground() { // beside the furnishings on it
			x, y = p.freeTag(boxOf(pl.Rect), wide, 3.4/s.mm(1), used)
		}
		used = append(used, box{x - wide/2, x + wide/2, y - 1.7/s.mm(1), y + 1.7/s.mm(1)})
		s.tag(x, y, 0, 0, word)
	}
	var names []float64 // where wall openings are named, mm of paper down the sheet
	for _, o := range p.Walls {
		if o.Wall == "floor" {
			s.circle(o.Code, float64(o.Along+o.Length/2), float64(o.Up+o.Height/2), float64(o.Length)/2, ` stroke-width="0.4" fill="#fff"`)
			s.tag(float64(o.Along+o.Length/2), float64(o.Up+o.Height/2), 0, 4.5, "drain")
			continue
		}
		names = s.onPlan(p, o, names)
	}
	s.dim(0, w, l, w, s.mm(t)+8)
	s.dim(0, 0, 0, w, -s.mm(t)-6)
	warmWord, coolWord := p.ends()
	ax, ay := s.at(0, -t)
	bx, _ := s.at(l, 0)
	s.f(`<text x="%.3f" y="%.3f" font-weight="bold">%s</text><text x="%.3f" y="%.3f" font-weight="bold" text-anchor="end">%s</text>`, ax, ay+3, warmWord, bx, ay+3, coolWord)
	s.column("Inside "+s.size(p.Length, p.Width, p.Height), true)
	s.column("length × width × height, before rock work", false)
	s.column("Places: near left corner from left wall, from front;", false)
	s.column("length × width; top above the floor panel", false)
	s.row += 1
	cols := []float64{0, 9, 14, 40, 59}
	s.cells(true, cols, "", "", "", "corner", "size, top")
	for i, pl := range p.Floor {
		if s.row > s.foot()-rowHigh {
			s.left++
			continue
		}
		s.f(`<rect x="%.2f" y="%.2f" width="7" height="2.8" fill="%s" stroke="#000" stroke-width="0.2"/>`, s.edge(), s.row-2.4, s.fill(rolePatterns[pl.Role]))
		name := pl.Name
		if pl.UV {
			name += ", UV"
		}
		s.cells(false, cols, "", fmt.Sprint(i+1), name, s.v(pl.X)+", "+s.v(pl.Y), s.v(pl.Length)+" × "+s.v(pl.Width)+", "+s.v(pl.Top))
	}
	s.row += 1
	for _, pl := range p.Floor {
		if pl.Entrance > 0 {
			s.wrap("Entrance of the " + pl.Name + ": " + s.v(pl.Entrance) + " " + UnitOf(units) + " wide.")
		}
	}
	if p.Tub != nil {
		s.wrap(fmt.Sprintf("Water: %s to the brim, %s deep. Drain: %s. Refill: %s. Change: %s.", Litres(p.Tub.Volume, units), p.Tub.Depth.Value().In(units), p.Tub.Drain, p.Tub.Refill, p.Tub.Every()))
	}
	s.wrap(fmt.Sprintf("Clear dry floor: %s. Rocks, and all that bears an animal, stand on the floor panel or are fixed to a wall, never on soil.", p.ClearFloor.Value().In(units)))
	var d strings.Builder
	fmt.Fprintf(&d, "Floor seen from above, front at the bottom, %s on the left. Inside %s.", warmWord, s.size(p.Length, p.Width))
	for i, pl := range p.Floor {
		fmt.Fprintf(&d, " %d: %s, %s, corner at %s, %s.", i+1, pl.Name, s.size(pl.Length, pl.Width), s.v(pl.X), s.v(pl.Y))
	}
	return s.done("Floor", "Seen from above; front at the bottom.", d.String())
}

// freeTag finds a place for a word on the ground where no furnishing and no other word is.
func (p *Plan) freeTag(b box, wide, high float64, used []box) (float64, float64) {
	taken := slices.Clone(used)
	for _, pl := range p.Floor {
		if !pl.Role.ground() {
			taken = append(taken, boxOf(pl.Rect))
		}
	}
	for _, fy := range []float64{0.5, 0.25, 0.75, 0.9, 0.1} {
		for i := range 21 { // from the middle outwards
			step := float64((i+1)/2) / 20
			if i%2 == 1 {
				step = -step
			}
			x, y := b.left+wide/2+(b.right-b.left-wide)*(0.5+step), b.front+(b.back-b.front)*fy
			at := box{x - wide/2, x + wide/2, y - high/2, y + high/2}
			if !slices.ContainsFunc(taken, func(o box) bool { return at.common(o) > 0 }) {
				return x, y
			}
		}
	}
	return (b.left + b.right) / 2, (b.front + b.back) / 2
}

// onPlan marks a wall opening on the floor plan: a bar across the wall.
func (s *sheet) onPlan(p *Plan, o Opening, names []float64) []float64 {
	t := float64(p.Panel)
	a, l := float64(o.Along), float64(o.Length)
	var x, y, w, h float64
	dy := 0.0
	short := map[string]string{"vent_low": "low vent", "vent_high": "high vent", "service_door": "door", "drain": "drain", "refill": "refill", "water_wall": "running water"}[o.Code]
	switch o.Wall {
	case "back":
		x, y, w, h = a, float64(p.Width), l, t
		dy = -3.2
	case "left":
		x, y, w, h = -t, a, t, l
	default:
		x, y, w, h = float64(p.Length), float64(p.Width)-a-l, t, l
	}
	s.rect("", x, y, w, h, "", ` stroke-width="0.6"`)
	if o.Code == "refill" || o.Code == "drain" {
		return names // too small to name here: on the sheet of the walls
	}
	if o.Wall == "back" {
		s.tag(x+w/2, y+h/2, 0, dy, short)
		return names
	}
	// Outside the wall, along it.
	px, py := s.at(x, y+h/2)
	if px -= 1; o.Wall == "right" {
		px, _ = s.at(x+w, 0)
		px += 2.8
	}
	at := py
	if o.Wall == "right" { // the two walls apart
		at += 1000
	}
	if slices.ContainsFunc(names, func(n float64) bool { return math.Abs(n-at) < 9 }) { // outside the other's name
		px += map[bool]float64{true: 3, false: -3}[o.Wall == "right"]
	}
	s.f(`<text transform="translate(%.3f %.3f) rotate(-90)" text-anchor="middle" font-size="%g" %s>%s</text>`, px, py, markSize, halo, short)
	return append(names, at)
}

func (p *Plan) ceilingSheet(s *sheet, below bool) Sheet {
	l, w, t := float64(p.Length), float64(p.Width), float64(p.Panel)
	title, view, keep := "Ceiling panel, for marking out", "Seen and marked from ABOVE; front at the bottom. Mark from the panel's own left and front edges.", room{left: 22, right: 4, top: 14, bottom: 17}
	if below {
		title, view = "Ceiling, as it looks from inside", "Seen from BELOW, looking up; front at the bottom, so left and right are exchanged. Don't mark out from this view."
		keep.left, keep.right = keep.right, keep.left
	}
	s.open(l+2*t, w+2*t, keep)
	s.ox, s.oy = s.ox+s.mm(t), s.oy-s.mm(t)
	mx := func(x float64) float64 {
		if below {
			return l - x
		}
		return x
	}
	s.rect("panel", -t, -t, l+2*t, w+2*t, "", ` stroke-width="0.5"`)
	s.rect("inside", 0, 0, l, w, "", ` stroke-width="0.15" stroke-dasharray="2 1"`)
	for _, m := range p.Battens {
		x := float64(m.X)
		if below {
			x = l - x - float64(m.Length)
		}
		s.rect("", x, float64(m.Y), float64(m.Length), float64(m.Width), "bars", ` stroke-width="0.15"`)
	}
	// Bodies are of the view from inside; on the panel they are dashed.
	letters := map[Kind]string{UV: "UV", PlantLight: "plant light", Fan: "fan", Basking: "lamp", NightHeat: "night heat"}
	px, py := s.at(0, w)
	s.f(`<clipPath id="%s-clip"><rect x="%.3f" y="%.3f" width="%.3f" height="%.3f"/></clipPath>`, s.name, px, py, s.mm(l), s.mm(w))
	for _, m := range p.Fixtures {
		if m.Kind == Mat {
			continue
		}
		x, y := float64(m.X), float64(m.Y)
		if m.Throw > 0 {
			s.circle("", mx(x), y, float64(m.Throw), fmt.Sprintf(` stroke-width="0.15" stroke-dasharray="0.6 1" clip-path="url(#%s-clip)"`, s.name))
		}
		if m.Length > 0 {
			extra := ` stroke-width="0.25"`
			if !below {
				extra = ` stroke-width="0.2" stroke-dasharray="1.5 0.8"`
			}
			pattern := ""
			if below {
				pattern = map[Kind]string{UV: "bars", PlantLight: "slant", Fan: "cross"}[m.Kind]
			}
			s.rect(m.Code, mx(x)-float64(m.Length)/2, y-float64(m.Width)/2, float64(m.Length), float64(m.Width), pattern, extra)
		}
	}
	for _, h := range p.Holes {
		x, y, r := mx(float64(h.X)), float64(h.Y), float64(h.Diameter)/2
		s.circle(h.Code, x, y, r, ` stroke-width="0.35" fill="#fff"`)
		if h.Trim > 0 {
			s.circle(h.Code+"-trim", x, y, float64(h.Trim)/2, ` stroke-width="0.2" stroke-dasharray="1.2 0.6"`)
			for k := range h.Screws {
				a := 2 * math.Pi * float64(k) / float64(h.Screws)
				px, py := s.at(x+float64(h.ScrewCircle)/2*math.Cos(a), y+float64(h.ScrewCircle)/2*math.Sin(a))
				s.f(`<circle cx="%.3f" cy="%.3f" r="0.3"/>`, px, py)
			}
		}
		px, py := s.at(x, y)
		c := min(2.5, s.mm(r)+1)
		s.f(`<path d="M%.3f %.3fh%.3fM%.3f %.3fv%.3f" stroke="#000" stroke-width="0.12" fill="none"/>`, px-c, py, 2*c, px, py-c, 2*c)
	}
	s.ceilingTags(p, mx, letters)
	s.ordinates(p, mx, below)
	s.dim(-t, w+t, l+t, w+t, 8)
	side := -t
	off := -19.0
	if below {
		side, off = l+t, 19
	}
	s.dim(side, -t, side, w+t, off)
	warmWord, coolWord := p.ends()
	if below {
		warmWord, coolWord = coolWord, warmWord
	}
	ax, ay := s.at(-t, w+t)
	bx, _ := s.at(l+t, w+t)
	s.f(`<text x="%.3f" y="%.3f" font-weight="bold">%s</text><text x="%.3f" y="%.3f" font-weight="bold" text-anchor="end">%s</text>`, ax+1, ay-1.2, warmWord, bx-1, ay-1.2, coolWord)
	s.column("Panel "+s.size(quantity.Length(l+2*t), quantity.Length(w+2*t), p.Panel), true)
	s.column("Centres from the panel's left and front edges", false)
	s.row++
	cols := []float64{0, 8, 19, 30, 41, 52, 68}
	s.cells(true, cols, "hole", "left", "front", "Ø", "trim Ø", "screws Ø", "for")
	for _, h := range p.Holes {
		trim, screw := "", ""
		if h.Trim > 0 {
			trim, screw = s.v(h.Trim), fmt.Sprintf("%d × %s", h.Screws, s.v(h.ScrewCircle))
		}
		s.cells(false, cols, h.Code, s.v(h.FromLeft), s.v(h.FromFront), s.v(h.Diameter), trim, screw, p.forWhom(h))
	}
	s.row++
	s.column("Guard discs: the trim's Ø. Screws tightened crosswise.", false)
	s.row++
	cols = []float64{0, 24, 43, 62}
	s.cells(true, cols, "body", "middle", "size", "below ceiling")
	for _, m := range p.Fixtures {
		if m.Kind == Mat || m.Length == 0 {
			continue
		}
		tilt := ""
		if m.Tilt.Number > 0 {
			tilt = fmt.Sprintf(", tilted %.0f° back", m.Tilt.Number)
		}
		s.cells(false, cols, words(m.Code), s.v(m.X+p.Panel)+", "+s.v(m.Y+p.Panel), s.v(m.Length)+" × "+s.v(m.Width), s.v(m.Hang)+tilt)
	}
	s.row++
	s.wrap("Full circle: cut. Dashed circle: trim. Dots: screws. Dotted circle: spray or fog at the height of the fixtures.")
	if len(p.Battens) > 0 {
		s.wrap("Barred strips: battens, not to be cut.")
	}
	var d strings.Builder
	fmt.Fprintf(&d, "%s Panel %s.", view, s.size(quantity.Length(l+2*t), quantity.Length(w+2*t)))
	for _, h := range p.Holes {
		fmt.Fprintf(&d, " %s: %s for %s, diameter %s, centre %s from the left and %s from the front edge.", h.Code, h.Purpose, words(h.For), s.v(h.Diameter), s.v(h.FromLeft), s.v(h.FromFront))
	}
	return s.done(title, view, d.String())
}

// forWhom names what a hole is for, briefly.
func (p *Plan) forWhom(h Hole) string {
	switch h.Purpose {
	case "lamp opening":
		return strings.TrimSuffix(strings.Replace(words(h.For), "basking lamp", "basking", 1), " 1 1")
	case "cord":
		return "cord, " + strings.Replace(strings.Replace(words(h.For), " fixture", "", 1), "plant light", "plant lt", 1)
	}
	return h.Purpose
}

// ceilingTags names holes and bodies where there is room, words never upon words.
func (s *sheet) ceilingTags(p *Plan, mx func(float64) float64, letters map[Kind]string) {
	type mark struct {
		x, y, wide, high float64
	}
	var used []mark
	place := func(px, py, clear float64, word string) {
		wide := tagWide(word)
		for _, at := range [][2]float64{{0, 0}, {clear + wide/2, 0}, {-clear - wide/2, 0}, {0, clear + 2.2}, {0, -clear - 2.2}, {clear + wide/2, 4}, {-clear - wide/2, -4}, {clear + wide/2, -4}, {-clear - wide/2, 4}, {0, clear + 6}, {0, -clear - 6}} {
			if at == [2]float64{} && clear > 0 {
				continue
			}
			m := mark{px + at[0], py + at[1], wide, 3.4}
			if !slices.ContainsFunc(used, func(o mark) bool {
				return math.Abs(o.x-m.x) < (o.wide+m.wide)/2+0.2 && math.Abs(o.y-m.y) < (o.high+m.high)/2+0.2
			}) {
				used = append(used, m)
				s.tagAt(m.x, m.y, word)
				return
			}
		}
		s.tagAt(px, py, word)
	}
	for _, h := range p.Holes { // no word upon a hole
		px, py := s.at(mx(float64(h.X)), float64(h.Y))
		d := s.mm(max(float64(h.Diameter), float64(h.Trim)))
		used = append(used, mark{px, py, 0.85 * d, 0.85 * d})
	}
	for _, h := range p.Holes {
		px, py := s.at(mx(float64(h.X)), float64(h.Y))
		place(px, py, s.mm(max(float64(h.Diameter), float64(h.Trim))/2)+0.8, h.Code)
	}
	for _, m := range p.Fixtures {
		if m.Length > 0 && m.Kind != Mat {
			px, py := s.at(mx(float64(m.X)), float64(m.Y))
			place(px, py, 0, letters[m.Kind])
		}
	}
}

// mark is a figure along an edge: what it is of, and where.
type mark struct {
	of   []string
	at   float64 // mm of paper along the edge
	text string
}

// marks gathers what lies at one place under one figure, in order along the edge.
func marks(all []mark) (out []mark) {
	slices.SortStableFunc(all, func(a, b mark) int { return cmp.Compare(a.at, b.at) })
	for _, m := range all {
		if i := slices.IndexFunc(out, func(o mark) bool { return o.text == m.text }); i >= 0 {
			out[i].of = append(out[i].of, m.of...)
			continue
		}
		out = append(out, m)
	}
	return out
}

// spread moves figures apart so that none stands upon another: as little as a push to and
// fro gives.
func spread(ms []mark) []float64 {
	const apart = 2.9
	out := make([]float64, len(ms))
	for i, m := range ms {
		out[i] = m.at
	}
	for range 60 {
		moved := false
		for i := 1; i < len(out); i++ {
			if gap := out[i] - out[i-1]; gap < apart-1e-6 {
				out[i], out[i-1], moved = out[i]+(apart-gap)/2, out[i-1]-(apart-gap)/2, true
			}
		}
		if !moved {
			break
		}
	}
	return out
}

// ordinates mark the centres along the two reference edges.
func (s *sheet) ordinates(p *Plan, mx func(float64) float64, below bool) {
	l, t := float64(p.Length), float64(p.Panel)
	var across, up []mark
	for _, h := range p.Holes {
		px, py := s.at(mx(float64(h.X)), float64(h.Y))
		across, up = append(across, mark{[]string{h.Code}, px, s.v(h.FromLeft)}), append(up, mark{[]string{h.Code}, py, s.v(h.FromFront)})
	}
	label := func(m mark) string {
		if len(m.of) > 2 {
			m.of = []string{m.of[0], "…"}
		}
		return strings.Join(m.of, " ") + "  " + m.text
	}
	_, edge := s.at(0, -t)
	across = marks(across)
	for i, x := range spread(across) {
		s.f(`<path d="M%.3f %.3fv1L%.3f %.3fv0.5" stroke="#000" stroke-width="0.2" fill="none"/><text transform="translate(%.3f %.3f) rotate(-90)" text-anchor="end" font-size="%g" xml:space="preserve">%s</text>`,
			across[i].at, edge, x, edge+2.2, x+0.85, edge+3.2, markSize, label(across[i]))
	}
	side, anchor, way := -t, "end", -1.0
	if below {
		side, anchor, way = l+t, "start", 1
	}
	edge, _ = s.at(side, 0)
	up = marks(up)
	for i, y := range spread(up) {
		s.f(`<path d="M%.3f %.3fh%.1fL%.3f %.3fh%.1f" stroke="#000" stroke-width="0.2" fill="none"/><text x="%.3f" y="%.3f" text-anchor="%s" font-size="%g" xml:space="preserve">%s</text>`,
			edge, up[i].at, way, edge+2.2*way, y, 0.5*way, edge+3.2*way, y+0.85, anchor, markSize, label(up[i]))
	}
}

func (p *Plan) sectionSheet(s *sheet) Sheet {
	l, h, t := float64(p.Length), float64(p.Height), float64(p.Panel)
	units := s.units
	s.open(l+2*t, h+2*t, room{left: 12, right: 14, top: 6, bottom: 14})
	s.ox, s.oy = s.ox+s.mm(t), s.oy-s.mm(t)
	d, top := float64(p.Drainage), float64(p.Surface)
	s.rect("", -t, -t, l+2*t, h+2*t, "", ` stroke-width="0.5"`)
	s.rect("inside", 0, 0, l, h, "", ` stroke-width="0.3"`)
	c := p.Clear
	if d > 0 {
		s.rect("drainage", float64(c.X), 0, float64(c.Length), d, "stones", ` stroke-width="0.2"`)
	}
	if top > d {
		s.rect("substrate", float64(c.X), d, float64(c.Length), top-d, "dots", ` stroke-width="0.3"`)
	}
	if c.X > 0 {
		s.rect("", 0, 0, float64(c.X), h, "slant", ` stroke-width="0.2"`)
	}
	if c.X+c.Length < p.Length {
		s.rect("", float64(c.X+c.Length), 0, float64(p.Length-c.X-c.Length), h, "slant", ` stroke-width="0.2"`)
	}
	// Far ones first, near ones over them.
	floor := slices.Clone(p.Floor)
	slices.SortStableFunc(floor, func(a, b Place) int { return cmp.Compare(b.Y, a.Y) })
	number := map[string]int{}
	for i, pl := range p.Floor {
		number[pl.Code] = i + 1
	}
	for _, pl := range floor {
		if pl.Role.ground() {
			continue
		}
		bottom := float64(pl.Bottom)
		pattern, extra := rolePatterns[pl.Role], ""
		if pl.Role == Climbing { // open, so that what stands behind it shows
			pattern, extra = "", ` stroke-width="0.3" stroke-dasharray="2 0.8"`
		}
		s.rect(pl.Code, float64(pl.X), bottom, float64(pl.Length), max(0.002, float64(pl.Top)-bottom), pattern, extra)
	}
	kickX, kickY := s.at(0, p.kick())
	kickEnd, _ := s.at(l, 0)
	s.f(`<path d="M%.3f %.3fH%.3f" stroke="#000" stroke-width="0.2" stroke-dasharray="5 1 1 1" fill="none"/>`, kickX, kickY, kickEnd)
	type word struct{ x, y, wide float64 }
	var used []word
	var names []string
	for _, pl := range floor {
		if pl.Role.ground() {
			continue
		}
		name := fmt.Sprint(number[pl.Code])
		if long := name + " " + pl.Name; tagWide(long)+1.6 < s.mm(float64(pl.Length)) {
			name = long
		}
		px, py := s.at(float64(pl.X+pl.Length/2), float64(pl.Top))
		wide := tagWide(name)
		m := word{px, py - 2.2, wide}
	search:
		for up := range 8 {
			for _, along := range []float64{0, -0.3, 0.3, -0.45, 0.45} {
				m = word{px + along*s.mm(float64(pl.Length)), py - 2.2 - 3.7*float64(up), wide}
				if !slices.ContainsFunc(used, func(o word) bool { return math.Abs(o.x-m.x) < (o.wide+m.wide)/2+0.3 && math.Abs(o.y-m.y) < 3.6 }) {
					break search
				}
			}
		}
		used, names = append(used, m), append(names, name)
	}
	tops := map[string]quantity.Length{}
	for _, pl := range p.Floor {
		tops[pl.Code] = pl.Top
	}
	measured := map[string]bool{}
	var lines []float64 // where dimensions stand, mm of paper
	fixtures := slices.Clone(p.Fixtures)
	slices.SortStableFunc(fixtures, func(a, b Mounted) int { // lamps over what hangs behind them
		return cmp.Compare(b.Length, a.Length)
	})
	for _, m := range fixtures {
		if m.Kind == Mat {
			s.rect(m.Code, float64(m.X-m.Length/2), float64(m.Face), float64(m.Length), 0.008, "cross", "")
			continue
		}
		x, z := float64(m.X), float64(m.Face)
		if m.Kind == Nozzle || m.Kind == Fog {
			px, py := s.at(x, h)
			s.f(`<path d="M%.3f %.3fv2M%.3f %.3fl-1.2 2M%.3f %.3fl1.2 2" stroke="#000" stroke-width="0.2" fill="none"/>`, px, py, px, py, px, py)
			continue
		}
		half := float64(max(m.Length, m.Diameter)) / 2
		if m.Diameter > 0 {
			half *= 0.6
		}
		pattern, extra := map[Kind]string{UV: "bars", Basking: "posts", NightHeat: "cross"}[m.Kind], ` stroke-width="0.3"`
		if m.Kind == PlantLight { // at the front, so open
			extra = ` stroke-width="0.2" stroke-dasharray="2 0.8"`
		}
		// How high a body is, nobody says: a hand's breadth is drawn, and what it hangs on.
		body := min(max(h-z, 0.004), 0.12)
		s.rect(m.Code, x-half, z, 2*half, body, pattern, extra)
		if z+body < h-0.001 {
			for _, at := range []float64{x - 0.8*half, x + 0.8*half} {
				px, py := s.at(at, h)
				_, below := s.at(at, z+body)
				s.f(`<path d="M%.3f %.3fV%.3f" stroke="#000" stroke-width="0.15" fill="none"/>`, px, py, below)
			}
		}
		if m.BeamRadius > 0 {
			ax, ay := s.at(x, z)
			bx, by := s.at(x-float64(m.BeamRadius), float64(tops[m.Spot]))
			cx, _ := s.at(x+float64(m.BeamRadius), 0)
			s.f(`<path d="M%.3f %.3fL%.3f %.3fM%.3f %.3fL%.3f %.3f" stroke="#000" stroke-width="0.15" stroke-dasharray="1.5 0.8" fill="none"/>`, ax, ay, bx, by, ax, ay, cx, by)
		}
		if key := string(m.Kind) + m.Spot; m.Distance > 0 && !measured[key] {
			measured[key] = true
			off := 0.0
			if m.Kind == UV {
				off = min(s.mm(half)*0.6, 12)
			}
			at, _ := s.at(x, z)
			for slices.ContainsFunc(lines, func(o float64) bool { return math.Abs(o-at-off) < 5 }) {
				off += 1
			}
			lines = append(lines, at+off)
			s.dim(x, float64(m.Face-m.Distance), x, z, off)
		}
	}
	for i, m := range used {
		s.tagAt(m.x, m.y, names[i])
	}
	// Tops of the furnishings along the left edge.
	var heights []mark
	for _, pl := range p.Floor {
		if !pl.Role.ground() {
			_, py := s.at(0, float64(pl.Top))
			heights = append(heights, mark{nil, py, s.v(pl.Top)})
		}
	}
	heights = marks(heights)
	edge, _ := s.at(-t, 0)
	for i, y := range spread(heights) {
		s.f(`<path d="M%.3f %.3fh-1L%.3f %.3fh-0.5" stroke="#000" stroke-width="0.2" fill="none"/><text x="%.3f" y="%.3f" text-anchor="end" font-size="%g">%s</text>`, edge, heights[i].at, edge-2.2, y, edge-3.2, y+0.85, markSize, heights[i].text)
	}
	// Heights, from the floor panel up.
	right := l + t
	if d > 0 {
		s.dim(right, 0, right, d, 5)
	}
	if top > d {
		s.dim(right, d, right, top, 5)
	}
	lowest := h
	for _, m := range p.Fixtures {
		if m.Kind != Mat && m.Kind != Nozzle && m.Kind != Fog {
			lowest = min(lowest, float64(m.Face))
		}
	}
	if lowest > top {
		s.dim(right, top, right, lowest, 5)
	}
	if lowest < h {
		s.dim(right, lowest, right, h, 5)
	}
	s.dim(right, 0, right, h, 11)
	s.dim(0, -t, l, -t, -8)
	warmWord, coolWord := p.ends()
	ax, ay := s.at(0, h+t)
	bx, _ := s.at(l, h+t)
	s.f(`<text x="%.3f" y="%.3f" font-weight="bold">%s</text><text x="%.3f" y="%.3f" font-weight="bold" text-anchor="end">%s</text>`, ax+1, ay-1.2, warmWord, bx-1, ay-1.2, coolWord)
	s.column("Heights above the floor panel", true)
	s.column(fmt.Sprintf("Drainage %s, substrate %s, surface at %s %s", s.v(p.Drainage), s.v(p.Substrate), s.v(p.Surface), UnitOf(units)), false)
	s.column(fmt.Sprintf("Lowest fixture %s, ceiling %s", s.v(q(lowest)), s.v(p.Height)), false)
	s.column(fmt.Sprintf("Front upstand (dash-dot) to %s", s.v(q(p.kick()))), false)
	s.row++
	cols := []float64{0, 30, 46, 60}
	s.cells(true, cols, "fixture", "face at", "to back", "serves")
	for _, m := range p.Fixtures {
		if m.Kind == Nozzle || m.Kind == Fog {
			continue
		}
		s.cells(false, cols, words(m.Code), s.v(m.Face), map[bool]string{true: s.v(m.Distance), false: ""}[m.Distance > 0], words(m.Spot))
	}
	s.row++
	cols = []float64{0, 6, 36, 52}
	s.cells(true, cols, "", "place", "bottom", "top")
	for i, pl := range p.Floor {
		if !pl.Role.ground() {
			s.cells(false, cols, fmt.Sprint(i+1), pl.Name, s.v(pl.Bottom), s.v(pl.Top))
		}
	}
	s.row++
	s.wrap("Distances run from a lamp's face or guard to the back of the animal on its hot spot. Dashed: edge of the beam, climbing structure, plant light. Bars: UV. Upright lines: basking lamp. Bodies are drawn 120 mm high at most. On the left: tops of the places, above the floor panel.")
	var desc strings.Builder
	fmt.Fprintf(&desc, "Section along the length, seen from the front, %s on the left. Inside height %s, substrate surface at %s.", warmWord, s.size(p.Height), s.v(p.Surface))
	for _, m := range p.Fixtures {
		if m.Distance > 0 {
			fmt.Fprintf(&desc, " %s: face at %s, %s to the back on %s.", words(m.Code), s.v(m.Face), s.v(m.Distance), words(m.Spot))
		}
	}
	return s.done("Front section", "Seen from the front, all depths in one; near things hide far ones.", desc.String())
}

func (p *Plan) wallSheet(s *sheet) Sheet {
	l, w, h := float64(p.Length), float64(p.Width), float64(p.Height)
	units := s.units
	// Back above, the two sides below it; room for dimensions between, mm of paper.
	s.row = sheetEdge + 4
	roomX := s.paper.Width - 2*sheetEdge - columnWide - 2*dimRoom
	roomY := s.paper.Height - 2*sheetEdge - titleHigh - 2*dimRoom
	s.rescale(func() bool { return max(s.mm(l), s.mm(2*w)+24) <= roomX && 2*s.mm(h)+22 <= roomY })
	s.ox = sheetEdge + dimRoom + (roomX-max(s.mm(l), s.mm(2*w)+24))/2
	bottom := sheetEdge + dimRoom + (roomY+2*s.mm(h)+22)/2
	views := []struct {
		wall   string
		length float64
		x, y   float64
		title  string
	}{
		{"back", l, s.ox, bottom - s.mm(h) - 22, "Back wall"},
		{"left", w, s.ox, bottom, "Left wall (front on its left)"},
		{"right", w, s.ox + s.mm(w) + 24, bottom, "Right wall (front on its right)"},
	}
	s.column("Openings: left edge from the view's left corner,", true)
	s.column("lower edge above the floor panel", false)
	s.row++
	cols := []float64{0, 6, 42, 56, 67}
	s.cells(true, cols, "", "opening", "from left", "up", "size")
	n := 0
	var desc strings.Builder
	desc.WriteString("The three walls seen from inside.")
	for _, v := range views {
		s.ox, s.oy = v.x, v.y
		s.rect("wall-"+v.wall, 0, 0, v.length, h, "", ` stroke-width="0.4"`)
		px, py := s.at(0, h)
		s.f(`<text x="%.3f" y="%.3f" font-weight="bold">%s</text>`, px, py-1.5, v.title)
		ax, ay := s.at(0, float64(p.Surface))
		bx, _ := s.at(v.length, 0)
		s.f(`<path d="M%.3f %.3fH%.3f" stroke="#000" stroke-width="0.2" stroke-dasharray="2 1" fill="none"/>`, ax, ay, bx)
		s.dim(0, 0, v.length, 0, -5)
		s.dim(0, 0, 0, h, -5)
		for _, o := range p.Walls {
			if o.Wall != v.wall {
				continue
			}
			n++
			pattern := map[string]string{"vent_low": "cross", "vent_high": "cross", "water_wall": "waves", "service_door": "slant"}[o.Code]
			s.rect(o.Code, float64(o.Along), float64(o.Up), float64(o.Length), float64(o.Height), pattern, "")
			if under := float64(o.Up+o.Height) > h-4.5/s.mm(1); under {
				s.tag(float64(o.Along+o.Length/2), float64(o.Up), 0, 2.6, fmt.Sprint(n))
			} else {
				s.tag(float64(o.Along+o.Length/2), float64(o.Up+o.Height), 0, -2.6, fmt.Sprint(n))
			}
			name := strings.Replace(o.Name, "service door into the warm retreat", "service door", 1)
			s.cells(false, cols, fmt.Sprint(n), v.wall+": "+name, s.v(o.Along), s.v(o.Up), s.v(o.Length)+" × "+s.v(o.Height))
			fmt.Fprintf(&desc, " %d: %s in the %s wall, %s, %s from the left corner, %s up.", n, o.Name, v.wall, s.size(o.Length, o.Height), s.v(o.Along), s.v(o.Up))
		}
	}
	s.row++
	for _, o := range p.Walls {
		if o.Wall != "floor" {
			s.wrap(strings.ToUpper(o.Name[:1]) + o.Name[1:] + ": " + o.Note + ".")
		}
	}
	if r := p.Running; r != nil {
		s.wrap(fmt.Sprintf("Running water: pump %g %s at %s lift; sump %s or more.", r.Flow.Number, r.Flow.Unit, r.Lift.Value().In(units), r.Sump.Value().In(units)))
	}
	for _, r := range p.Rock {
		s.wrap(fmt.Sprintf("Rock work on the %s: %s thick; loss through it %g instead of %g %s.", r.Wall, r.Thickness.Value().In(units), r.After.Number, r.Before.Number, r.After.Unit))
	}
	s.wrap("Dashed line: surface of the substrate.")
	return s.done("Walls", "Each seen from INSIDE.", desc.String())
}
