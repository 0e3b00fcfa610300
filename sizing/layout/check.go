package layout

import (
	"fmt"
	"math"
)

// Broken is a constraint that a plan does not keep.
type Broken struct {
	Constraint Constraint `json:"constraint"`
	Item       string     `json:"item"`
	Why        string     `json:"why"`
}

// tolerance of a finished plan, m: half of the millimetre that a mark is good for.
const tolerance = 0.0006

// judge holds a plan against its brief. It reads the plan alone and shares no code with
// the search: distances are worked out anew, from outlines as corner lists and discs.
type judge struct {
	b      Brief
	p      *Plan
	broken []Broken
}

func (j *judge) fail(c Constraint, item, why string, args ...any) {
	j.broken = append(j.broken, Broken{c, item, fmt.Sprintf(why, args...)})
}

// box is an outline by its bounds.
type box struct{ left, right, front, back float64 }

func boxOf(r Rect) box {
	return box{float64(r.X), float64(r.X + r.Length), float64(r.Y), float64(r.Y + r.Width)}
}

func (a box) size() float64 { return (a.right - a.left) * (a.back - a.front) }

// common is the area that two boxes share.
func (a box) common(b box) float64 {
	return max(0, min(a.right, b.right)-max(a.left, b.left)) * max(0, min(a.back, b.back)-max(a.front, b.front))
}

// nearest is the point of the box nearest to a point.
func (a box) nearest(x, y float64) (float64, float64) {
	return min(max(x, a.left), a.right), min(max(y, a.front), a.back)
}

// between is the distance of two boxes, from their gaps in x and y.
func (a box) between(b box) float64 {
	dx, dy := max(a.left-b.right, b.left-a.right, 0), max(a.front-b.back, b.front-a.back, 0)
	return math.Sqrt(dx*dx + dy*dy)
}

func (a box) contains(b box) bool {
	return b.left >= a.left-tolerance && b.right <= a.right+tolerance && b.front >= a.front-tolerance && b.back <= a.back+tolerance
}

// outline of a fixture: a disc where it has a diameter, else a box. Nozzles and hoses
// are their hole.
type outline struct {
	box
	x, y, radius float64
}

func outlineOf(m Mounted) outline {
	x, y, r := float64(m.X), float64(m.Y), float64(m.Diameter)/2
	l, w := float64(m.Length)/2, float64(m.Width)/2
	if r > 0 {
		l, w = r, r
	}
	return outline{box{x - l, x + l, y - w, y + w}, x, y, r}
}

func (o outline) toPoint(x, y float64) float64 {
	if o.radius > 0 {
		return math.Sqrt((x-o.x)*(x-o.x)+(y-o.y)*(y-o.y)) - o.radius
	}
	nx, ny := o.nearest(x, y)
	return math.Sqrt((x-nx)*(x-nx) + (y-ny)*(y-ny))
}

func (o outline) toBox(b box) float64 {
	if o.radius > 0 {
		nx, ny := b.nearest(o.x, o.y)
		return max(0, math.Sqrt((nx-o.x)*(nx-o.x)+(ny-o.y)*(ny-o.y))-o.radius)
	}
	return o.between(b)
}

// over reports whether the outline, seen from above, reaches into a box by more than the tolerance.
func (o outline) over(b box) bool {
	if o.radius > 0 {
		nx, ny := b.nearest(o.x, o.y)
		return math.Sqrt((nx-o.x)*(nx-o.x)+(ny-o.y)*(ny-o.y)) < o.radius-tolerance
	}
	return o.common(b) > tolerance*tolerance
}

func (o outline) to(c outline) float64 {
	switch {
	case c.radius > 0:
		return o.toPoint(c.x, c.y) - c.radius
	case o.radius > 0:
		return c.toPoint(o.x, o.y) - o.radius
	}
	return o.between(c.box)
}

// Check judges a plan against its brief and lists every constraint that it breaks; none
// for a good plan. It does not trust the plan's own figures: heights, distances and beams
// are worked out again.
func Check(b Brief, p *Plan) []Broken {
	j := &judge{b: b.complete(), p: p}
	j.floor()
	j.gradient()
	j.hotSpots()
	j.ceiling()
	j.holes()
	j.reach()
	j.wet()
	j.wall()
	j.day()
	return j.broken
}

// warm is the distance of a point from the warm end, as a share of the clear length.
func (j *judge) warm(x float64) float64 {
	c := boxOf(j.p.Clear)
	if j.p.WarmEnd == "right" {
		return (c.right - x) / (c.right - c.left)
	}
	return (x - c.left) / (c.right - c.left)
}

func (j *judge) middle(pl Place) (float64, float64) {
	return float64(pl.X + pl.Length/2), float64(pl.Y + pl.Width/2)
}

func (j *judge) of(r Role) (out []Place) {
	for _, pl := range j.p.Floor {
		if pl.Role == r {
			out = append(out, pl)
		}
	}
	return out
}

func (j *judge) floor() {
	// The clear floor follows from the box and its rock work.
	want := box{0, j.b.Box.Length, 0, j.b.Box.Width}
	for _, r := range j.b.Box.Rock {
		switch r.Wall {
		case "left":
			want.left += r.Thickness
		case "right":
			want.right -= r.Thickness
		case "back":
			want.back -= r.Thickness
		}
	}
	clear := boxOf(j.p.Clear)
	if !clear.contains(want) || !want.contains(clear) {
		j.fail(RoomOnFloor, "clear_floor", "is not the inside less its rock work")
	}
	n := &j.b.Needs
	land, used := clear.size(), 0.0
	for i, a := range j.p.Floor {
		if !clear.contains(boxOf(a.Rect)) {
			j.fail(RoomOnFloor, a.Code, "lies outside the clear floor")
		}
		if float64(a.Top) > j.b.Box.Height {
			j.fail(RoomOnFloor, a.Code, "is higher than the box")
		}
		if a.Role == Digging || a.Role == Walking {
			continue
		}
		if a.Role == Water || a.Role == Sump {
			land -= boxOf(a.Rect).size()
		} else {
			used += boxOf(a.Rect).size()
		}
		for _, c := range j.p.Floor[i+1:] {
			if c.Role != Digging && boxOf(a.Rect).common(boxOf(c.Rect)) > tolerance*tolerance {
				j.fail(RoomOnFloor, a.Code, "overlaps %s", c.Code)
			}
		}
	}
	for _, x := range []struct {
		role Role
		area float64
	}{{WarmRetreat, n.Retreat}, {CoolRetreat, n.Retreat}, {HumidRetreat, n.HumidRetreat}, {Water, n.Water}, {Feeding, n.Feeding}} {
		got := 0.0
		for _, pl := range j.of(x.role) {
			got += boxOf(pl.Rect).size()
		}
		if got < x.area*(1-1e-6)-tolerance {
			j.fail(RoomOnFloor, string(x.role), "has %.3f m² of %.3f m²", got, x.area)
		}
	}
	for _, pl := range j.of(Water) {
		if n.Water <= 0.6*clear.size() && float64(min(pl.Length, pl.Width))*4 < float64(max(pl.Length, pl.Width))-tolerance {
			j.fail(RoomOnFloor, pl.Code, "is a gutter, more than four times as long as wide")
		}
	}
	for _, r := range []Role{WarmRetreat, CoolRetreat, HumidRetreat} {
		for _, pl := range j.of(r) {
			if float64(min(pl.Length, pl.Width, pl.Entrance)) < j.b.Animal.Width || float64(pl.Top)-j.b.Box.Drainage-j.b.Box.Substrate < j.b.Animal.BackHeight {
				j.fail(RoomOnFloor, pl.Code, "the animal does not fit in")
			}
		}
	}
	if j.b.Animal.Climbs > 0 && n.Water <= 0.6*clear.size() {
		usable := j.b.Box.Height - j.b.Box.Drainage - j.b.Box.Substrate
		least := [...]float64{0, 0.10, 0.35, 0.55}[j.b.Animal.Climbs] * usable
		if c := j.of(Climbing); len(c) == 0 || float64(c[0].Top-j.p.Surface) < least-tolerance {
			j.fail(ClimbHeight, string(Climbing), "is missing or lower than %.2f m", least)
		}
	}
	// Walking and digging.
	if n.Water <= 0.6*clear.size() {
		if free := land - used; free < n.Clear*land-tolerance {
			j.fail(WalkingArea, string(Walking), "leaves %.3f m² of %.3f m²", free, land)
		}
		w := j.of(Walking)
		if len(w) != 1 || float64(w[0].Width) < j.b.Animal.Width || float64(w[0].Length) < clear.right-clear.left-tolerance {
			j.fail(WalkingArea, string(Walking), "no way the animal fits runs along the whole length")
		}
	}
	dug := 0.0
	ground := j.of(Digging)
	for i, d := range ground {
		dug += boxOf(d.Rect).size()
		for _, o := range ground[i+1:] {
			if boxOf(d.Rect).common(boxOf(o.Rect)) > tolerance*tolerance {
				j.fail(DiggingGround, d.Code, "overlaps %s", o.Code)
			}
		}
		for _, o := range j.p.Floor {
			heavy := o.Role == Water || o.Role == Sump || o.Role == HotSpot || o.Role == Climbing || o.Role == WarmRetreat && o.Bottom == 0
			if heavy && boxOf(d.Rect).common(boxOf(o.Rect)) > tolerance*tolerance {
				j.fail(DiggingGround, d.Code, "undermines %s", o.Code)
			}
		}
	}
	if dug < n.Digging*(1-1e-6)-tolerance {
		j.fail(DiggingGround, string(Digging), "is %.3f m² of %.3f m²", dug, n.Digging)
	}
}

func (j *judge) gradient() {
	hottest := 0.0 // of the hot spots and the warm retreat, the one farthest from the warm end
	for _, pl := range j.of(HotSpot) {
		x, _ := j.middle(pl)
		hottest = max(hottest, j.warm(x))
		if j.warm(x) > 0.5+tolerance {
			j.fail(GradientOrder, pl.Code, "lies in the cool half")
		}
	}
	warm, cool := j.of(WarmRetreat), j.of(CoolRetreat)
	if j.b.Needs.Retreat > 0 {
		if len(warm) == 0 || len(cool) == 0 {
			j.fail(RetreatBothEnds, string(WarmRetreat), "a retreat is missing")
			return
		}
		x, _ := j.middle(warm[0])
		y, _ := j.middle(cool[0])
		if j.warm(x) > 0.4+tolerance || j.warm(y) < 0.6-tolerance {
			j.fail(RetreatBothEnds, string(CoolRetreat), "the retreats are not at both ends")
		}
		hottest = max(hottest, j.warm(x))
		if j.warm(y) <= hottest {
			j.fail(GradientOrder, string(CoolRetreat), "is no farther from the warm end than what is warm")
		}
	}
	for _, h := range j.of(HumidRetreat) {
		x, _ := j.middle(h)
		if j.warm(x) <= hottest {
			j.fail(GradientOrder, h.Code, "is warmer than it should be")
		}
		if len(cool) > 0 {
			if y, _ := j.middle(cool[0]); j.warm(x) >= j.warm(y) {
				j.fail(GradientOrder, h.Code, "lies beyond the cool retreat")
			}
		}
	}
}

func (j *judge) fixtures(k Kind) (out []Mounted) {
	for _, m := range j.p.Fixtures {
		if m.Kind == k {
			out = append(out, m)
		}
	}
	return out
}

// face is the height of a fixture's lowest point, from what it hangs by.
func (j *judge) face(m Mounted) float64 { return j.b.Box.Height - float64(m.Hang) }

func (j *judge) hotSpots() {
	spots := j.of(HotSpot)
	total := 0.0
	for _, s := range spots {
		total += boxOf(s.Rect).size()
	}
	if j.b.Needs.HotSpot > 0 && (len(spots) == 0 || boxOf(spots[0].Rect).size() < j.b.Needs.HotSpot*(1-1e-6)-tolerance) {
		j.fail(RoomOnFloor, string(HotSpot), "the first hot spot is smaller than asked for: %.3f m² in all", total)
	}
	lamps := j.fixtures(Basking)
	if len(spots) > 0 && j.b.Needs.Water > 0 && j.b.Animal.Swims == 3 {
		near := math.Inf(1)
		for _, s := range spots {
			for _, w := range j.of(Water) {
				near = min(near, boxOf(s.Rect).between(boxOf(w.Rect)))
			}
		}
		if near > 0.15+tolerance {
			j.fail(HaulOut, spots[0].Code, "is %.2f m from the water", near)
		}
	}
	for _, s := range spots {
		var own []Mounted
		for _, m := range lamps {
			if m.Spot == s.Code {
				own = append(own, m)
			}
		}
		if len(lamps) == 0 {
			continue
		}
		if len(own) == 0 {
			j.fail(LampCone, s.Code, "has no lamp")
			continue
		}
		// Every point of the platform lies in some beam.
		b := boxOf(s.Rect)
		const n = 16
		for i := range n*n + 2*n + 1 {
			x, y := b.left+(b.right-b.left)*float64(i%(n+1))/n, b.front+(b.back-b.front)*float64(i/(n+1))/n
			lit := false
			for _, m := range own {
				f := j.b.Fixtures[m.Fixture]
				r := (j.face(m) - float64(s.Top)) * math.Tan(f.Beam*math.Pi/360)
				lit = lit || math.Hypot(x-float64(m.X), y-float64(m.Y)) <= r+tolerance
			}
			if !lit {
				j.fail(LampCone, s.Code, "is not lit at %.2f, %.2f", x, y)
				break
			}
		}
		for _, m := range own {
			f := j.b.Fixtures[m.Fixture]
			if !b.contains(box{float64(m.X), float64(m.X), float64(m.Y), float64(m.Y)}) {
				j.fail(LampAim, m.Code, "does not hang over its hot spot")
			}
			d := j.face(m) - float64(s.Top) - j.b.Animal.BackHeight
			if d < f.Near-tolerance || f.Far > 0 && d > f.Far+tolerance {
				j.fail(LampDistance, m.Code, "is %.3f m from the back", d)
			}
			if float64(m.Hang) < f.Hang-tolerance || float64(m.Hang) > max(f.Hang, f.MaxHang)+tolerance {
				j.fail(LampDistance, m.Code, "hangs %.3f m down", float64(m.Hang))
			}
			for _, o := range j.p.Floor {
				if o.Top <= s.Top {
					continue
				}
				x, y := boxOf(o.Rect).nearest(float64(m.X), float64(m.Y))
				r := (j.face(m) - float64(o.Top)) * math.Tan(f.Beam*math.Pi/360)
				if math.Hypot(x-float64(m.X), y-float64(m.Y)) < r-tolerance {
					j.fail(BeamFree, o.Code, "stands in the beam of %s", m.Code)
				}
			}
		}
	}
	for _, m := range lamps {
		known := false
		for _, s := range spots {
			known = known || s.Code == m.Spot
		}
		if !known {
			j.fail(LampAim, m.Code, "serves no hot spot")
		}
	}
	// UV over the same spot, nowhere too near.
	uv := j.fixtures(UV)
	serves := map[string]bool{}
	for _, m := range uv {
		f, o := j.b.Fixtures[m.Fixture], outlineOf(m)
		for _, s := range spots {
			x, y := j.middle(s)
			d := j.face(m) - float64(s.Top) - j.b.Animal.BackHeight
			near := d >= f.Near-tolerance && (f.Far == 0 || d <= f.Far+tolerance)
			if m.Spot == s.Code && !near {
				j.fail(UVDistance, m.Code, "is %.3f m from the back on %s", d, s.Code)
			}
			over := o.toPoint(x, y) <= d*math.Tan(35*math.Pi/180)+tolerance
			if m.Spot == s.Code && !over {
				j.fail(UVOverSpot, m.Code, "does not stand over %s", s.Code)
			}
			serves[s.Code] = serves[s.Code] || near && over
		}
		for _, pl := range j.p.Floor {
			if pl.Role == Water || pl.Role == Sump {
				continue
			}
			level := o.toBox(boxOf(pl.Rect))
			if d := math.Hypot(level, max(0, j.face(m)-float64(pl.Top)-j.b.Animal.BackHeight)); d < f.Near-tolerance {
				j.fail(UVDistance, m.Code, "comes within %.3f m of a back on %s", d, pl.Code)
			}
		}
	}
	any := len(uv) == 0 || len(spots) == 0
	for _, s := range spots {
		any = any || serves[s.Code]
		if s.UV && !serves[s.Code] {
			j.fail(UVOverSpot, s.Code, "is marked as served and is not")
		}
	}
	if !any {
		j.fail(UVOverSpot, "uv_fixture_1", "no hot spot has UV")
	}
	for _, m := range j.fixtures(NightHeat) {
		f, o := j.b.Fixtures[m.Fixture], outlineOf(m)
		for _, pl := range j.p.Floor {
			d := math.Hypot(o.toBox(boxOf(pl.Rect)), max(0, j.face(m)-float64(pl.Top)-j.b.Animal.BackHeight))
			if pl.Role != Water && pl.Role != Sump && d < f.Near-tolerance {
				j.fail(LampDistance, m.Code, "comes within %.3f m of a back on %s", d, pl.Code)
			}
		}
	}
}

// underCeiling are the fixtures that hang or sit there.
func (j *judge) underCeiling() (out []Mounted) {
	for _, m := range j.p.Fixtures {
		if m.Kind != Mat {
			out = append(out, m)
		}
	}
	return out
}

func (j *judge) ceiling() {
	all := j.underCeiling()
	clear := boxOf(j.p.Clear)
	count := map[int]int{}
	for i, m := range all {
		count[m.Fixture]++
		a := outlineOf(m)
		if !clear.contains(a.box) {
			j.fail(EdgeSpacing, m.Code, "reaches into a wall")
		}
		for _, n := range all[i+1:] {
			c := outlineOf(n)
			if d := a.to(c); d < tolerance {
				j.fail(BodyOverlap, m.Code, "meets %s", n.Code)
			}
			round := (m.Kind == Basking || m.Kind == NightHeat)
			other := (n.Kind == Basking || n.Kind == NightHeat)
			if (m.Kind == UV && other || n.Kind == UV && round) && a.to(c) < j.b.Practice.UVClear-tolerance {
				j.fail(UVClearOfTrim, m.Code, "is %.3f m from %s", a.to(c), n.Code)
			}
		}
		switch m.Kind {
		case Fan:
			for _, s := range j.of(HotSpot) {
				if d := a.toBox(boxOf(s.Rect)); d < j.b.Practice.FanClear-tolerance {
					j.fail(FanOff, m.Code, "blows on %s, %.3f m off", s.Code, d)
				}
			}
		case PlantLight:
			if (a.y-clear.front)/(clear.back-clear.front) > 0.4+tolerance {
				j.fail(PlantLightPlaced, m.Code, "is not at the front")
			}
		case NightHeat:
			if j.warm(a.x) > 0.6+tolerance {
				j.fail(GradientOrder, m.Code, "heats the cool end")
			}
		}
	}
	for i, f := range j.b.Fixtures {
		if f.Kind != Mat && f.Kind != WaterWall && f.Kind != Basking && count[i] != f.Count {
			j.fail(BodyOverlap, string(f.Kind), "%d of %d are placed", count[i], f.Count)
		}
	}
}

func (j *judge) holes() {
	p := &j.b.Practice
	clear := boxOf(j.p.Clear)
	cords := map[string]int{}
	for i, h := range j.p.Holes {
		x, y, r := float64(h.X), float64(h.Y), float64(h.Diameter)/2
		lamp := h.Purpose == "lamp opening"
		if math.Abs(float64(h.FromLeft)-x-j.b.Box.Panel) > tolerance || math.Abs(float64(h.FromFront)-y-j.b.Box.Panel) > tolerance {
			j.fail(EdgeSpacing, h.Code, "its marks do not lead to its middle")
		}
		web := min(x-clear.left, clear.right-x, y-clear.front, clear.back-y) - r
		switch h.Purpose {
		case "lamp opening":
			if web < p.EdgeDistance-tolerance || web < p.Trim-tolerance {
				j.fail(EdgeSpacing, h.Code, "is %.3f m from a wall", web)
			}
			if math.Abs(float64(h.Trim-h.Diameter)-2*p.Trim) > 1e-9 || h.Guard != h.Trim || math.Abs(float64(h.ScrewCircle-h.Diameter)-2*p.ScrewInset) > 1e-9 || h.Screws != p.Screws {
				j.fail(TrimSpacing, h.Code, "trim, guard or screws are not as the practice says")
			}
		case "cord", "nozzle", "fog hose":
			if web < p.EdgeDistance-tolerance {
				j.fail(EdgeSpacing, h.Code, "is %.3f m from a wall", web)
			}
		}
		if web < j.b.Box.Panel-tolerance && h.Purpose != "fan mount" {
			j.fail(PanelWeb, h.Code, "leaves a web of %.3f m, less than the panel is thick", web)
		}
		for _, m := range j.p.Battens {
			nx, ny := boxOf(m).nearest(x, y)
			if math.Hypot(nx-x, ny-y) < max(r, float64(h.Trim)/2)-tolerance {
				j.fail(BattenFree, h.Code, "cuts a batten")
			}
		}
		for _, o := range j.p.Holes[i+1:] {
			d := math.Hypot(x-float64(o.X), y-float64(o.Y))
			cut := d - r - float64(o.Diameter)/2
			both := lamp && o.Purpose == "lamp opening"
			if both {
				if cut < p.OpeningGap-tolerance {
					j.fail(OpeningSpacing, h.Code, "is %.4f m from %s", cut, o.Code)
				}
				if t := d - float64(h.Trim+o.Trim)/2; t < p.TrimGap-tolerance {
					j.fail(TrimSpacing, h.Code, "its trim is %.4f m from that of %s", t, o.Code)
				}
			} else if t := d - max(r, float64(h.Trim)/2) - max(float64(o.Diameter), float64(o.Trim))/2; t < p.HoleGap-tolerance {
				// A fan's mount lies under its own body, which keeps its distance by itself.
				if h.Purpose != "fan mount" && o.Purpose != "fan mount" || cut < p.HoleGap-tolerance {
					j.fail(HoleSpacing, h.Code, "is %.4f m from %s", t, o.Code)
				}
			}
			if cut < j.b.Box.Panel-tolerance {
				j.fail(PanelWeb, h.Code, "leaves a web of %.4f m to %s, less than the panel is thick", cut, o.Code)
			}
		}
		// No hole under another fixture's body.
		for _, m := range j.underCeiling() {
			if m.Code == h.For {
				continue
			}
			if d := outlineOf(m).toPoint(x, y) - r; d < tolerance {
				j.fail(HoleSpacing, h.Code, "lies behind %s", m.Code)
			}
		}
		cords[h.For+"/"+h.Purpose]++
	}
	for _, m := range j.underCeiling() {
		f := j.b.Fixtures[m.Fixture]
		purpose := map[Kind]string{Basking: "lamp opening", NightHeat: "lamp opening", Nozzle: "nozzle", Fog: "fog hose", Fan: "fan mount"}[m.Kind]
		if purpose != "" && cords[m.Code+"/"+purpose] != 1 {
			j.fail(HoleSpacing, m.Code, "has no hole")
		}
		if f.Corded && (m.Kind == UV || m.Kind == PlantLight || m.Kind == Fan) && cords[m.Code+"/cord"] != 1 {
			j.fail(HoleSpacing, m.Code, "has no hole for its cord")
		}
	}
}

func (j *judge) reach() {
	stand := []Place{{Code: "substrate", Rect: j.p.Clear, Top: j.p.Surface}}
	for _, pl := range j.p.Floor {
		if pl.Role != Walking && pl.Role != Digging {
			stand = append(stand, pl)
		}
	}
	for _, m := range j.underCeiling() {
		if m.Kind == Nozzle || m.Kind == Fog {
			continue
		}
		f, o := j.b.Fixtures[m.Fixture], outlineOf(m)
		for _, pl := range stand {
			level, rise := o.toBox(boxOf(pl.Rect)), j.face(m)-float64(pl.Top)
			switch {
			case f.Guarded && level < 0.03-tolerance && rise-j.b.Animal.BackHeight < 0.03-tolerance:
				j.fail(OutOfReach, m.Code, "its guard touches a back on %s", pl.Code)
			case !f.Guarded && math.Hypot(level, max(0, rise)) < j.b.Animal.Reach-tolerance:
				j.fail(OutOfReach, m.Code, "can be reached from %s", pl.Code)
			}
		}
	}
}

func (j *judge) wet() {
	for _, m := range j.underCeiling() {
		f, o := j.b.Fixtures[m.Fixture], outlineOf(m)
		if m.Kind == Nozzle || m.Kind == Fog {
			for _, e := range j.underCeiling() {
				if e.Kind == Nozzle || e.Kind == Fog {
					continue
				}
				g := j.b.Fixtures[e.Fixture]
				hot := e.Kind == Basking || e.Kind == NightHeat
				if d := outlineOf(e).toPoint(o.x, o.y); (hot || !g.SplashProof) && d < f.Throw-0.001 {
					j.fail(SprayOff, m.Code, "wets %s, %.3f m off", e.Code, d)
				}
			}
			continue
		}
		if f.Secured && f.SplashProof {
			continue
		}
		for _, pl := range j.p.Floor {
			if (pl.Role == Water || pl.Role == Sump) && o.over(boxOf(pl.Rect)) {
				j.fail(OverWater, m.Code, "hangs over %s", pl.Code)
			}
		}
	}
}

func (j *judge) wall() {
	size := map[string][2]float64{"back": {j.b.Box.Length, j.b.Box.Height}, "left": {j.b.Box.Width, j.b.Box.Height}, "right": {j.b.Box.Width, j.b.Box.Height}, "floor": {j.b.Box.Length, j.b.Box.Width}}
	have := map[string]Opening{}
	for i, o := range j.p.Walls {
		have[o.Code] = o
		s, ok := size[o.Wall]
		if !ok || o.Along < 0 || o.Up < 0 || float64(o.Along+o.Length) > s[0]+tolerance || float64(o.Up+o.Height) > s[1]+tolerance {
			j.fail(WallOverlap, o.Code, "runs off its wall")
		}
		for _, c := range j.p.Walls[i+1:] {
			if c.Wall == o.Wall && c.Code != "refill" && o.Code != "refill" &&
				min(o.Along+o.Length, c.Along+c.Length)-max(o.Along, c.Along) > tolerance && min(o.Up+o.Height, c.Up+c.Height)-max(o.Up, c.Up) > tolerance {
				j.fail(WallOverlap, o.Code, "overlaps %s", c.Code)
			}
		}
	}
	low, high := have["vent_low"], have["vent_high"]
	cool := map[string]string{"left": "right", "right": "left"}[j.p.WarmEnd]
	switch {
	case low.Length == 0 || high.Length == 0:
		j.fail(VentsPlaced, "vent_low", "a vent is missing")
	case low.Wall != cool || high.Wall != j.p.WarmEnd:
		j.fail(VentsPlaced, "vent_low", "the low vent is not at the cool end and the high one at the warm end")
	case low.Up < j.p.Surface || low.Up+low.Height > high.Up:
		j.fail(VentsPlaced, "vent_low", "is not between the substrate and the high vent")
	}
	retreats := j.of(WarmRetreat)
	for i, f := range j.b.Fixtures {
		if f.Kind != Mat || len(retreats) == 0 {
			continue
		}
		r, mats := retreats[0], j.fixtures(Mat)
		if len(mats) != 1 || mats[0].Fixture != i || !boxOf(r.Rect).contains(outlineOf(mats[0]).box) {
			j.fail(MatFits, "heat_mat_1", "does not lie within the warm retreat")
		}
		d, ok := have["service_door"]
		if !ok || float64(d.Length) < j.b.Practice.MatService-tolerance {
			j.fail(ServiceOpening, "service_door", "is missing or too narrow")
			continue
		}
		// The door's stretch of wall, back in the frame of the floor, lies along the retreat.
		var from, to, rFrom, rTo, off float64
		clear, box := boxOf(j.p.Clear), boxOf(r.Rect)
		switch from = float64(d.Along); d.Wall {
		case "back":
			rFrom, rTo, off = box.left, box.right, clear.back-box.back
		case "left":
			rFrom, rTo, off = box.front, box.back, box.left-clear.left
		default:
			from = j.b.Box.Width - float64(d.Along+d.Length)
			rFrom, rTo, off = box.front, box.back, clear.right-box.right
		}
		to = from + float64(d.Length)
		if end := map[bool]float64{true: j.b.Box.Length, false: j.b.Box.Width}[d.Wall == "back"]; min(from, end-to) < j.b.Box.Panel-2*tolerance {
			j.fail(ServiceOpening, "service_door", "leaves a web thinner than the panel at a corner")
		}
		if from < rFrom-2*tolerance || to > rTo+2*tolerance || off > 2*tolerance {
			j.fail(ServiceOpening, "service_door", "does not open into the warm retreat")
		}
	}
}

// day checks the program: water never while a basking lamp or night heater is on or
// cooling, fog never past its ceiling.
func (j *judge) day() {
	for _, s := range j.p.Program.Seasons {
		for _, w := range s.Events {
			if w.Code != "mist" {
				continue
			}
			a, b, err := w.minutes()
			if err != nil {
				j.fail(MistOffLamps, w.Name, "%v", err)
				continue
			}
			for _, h := range s.Events {
				if h.Code != "basking" && h.Code != "night_heat" {
					continue
				}
				from, to, err := h.minutes()
				if err != nil {
					j.fail(MistOffLamps, h.Name, "%v", err)
					continue
				}
				for _, shift := range []int{-1440, 0, 1440} {
					if a < to+shift+20 && from+shift-20 < b {
						j.fail(MistOffLamps, w.Name, "in %s falls within 20 min of %s", s.Name, h.Name)
					}
				}
			}
		}
	}
	if m, c := j.p.Moisture, j.b.Climate; m != nil && m.Fog.Number > 0 {
		ceiling := 0.98 + 1e-9
		if c.NightHigh > 0 {
			ceiling = min(ceiling, c.NightHigh+1e-9)
		}
		if float64(m.FogPeak) > ceiling {
			j.fail(FogCeiling, string(Fog), "ends at %.1f %%", 100*float64(m.FogPeak))
		}
		for _, s := range j.p.Program.Seasons {
			minutes := 0
			for _, e := range s.Events {
				if e.Code == "fog" {
					from, to, err := e.minutes()
					if err != nil {
						j.fail(FogCeiling, e.Name, "%v", err)
					}
					minutes += to - from
				}
			}
			if float64(minutes) > m.Fog.Number {
				j.fail(FogCeiling, string(Fog), "runs %d min in %s, the budget allows %.0f", minutes, s.Name, m.Fog.Number)
			}
		}
	}
}
