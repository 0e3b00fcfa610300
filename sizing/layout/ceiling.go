package layout

import (
	"fmt"
	"math"
	"slices"

	"denwright/care/quantity"
	"denwright/sizing/score"
)

// Own choices about the ceiling; common practice, no source.
const (
	uvSpread   = 35.0  // degrees from straight below within which a spot counts as under the UV fixture
	uvLeastEnd = 0.55  // share of the length before which a UV fixture stands where there is no hot spot
	nightEnd   = 0.60  // a night heater's middle lies before this
	bodyGap    = 0.010 // between bodies, and from a body to a wall
	sumpWidth  = 0.12
	sumpDepth  = 0.12
)

// mounted is a fixture while it is being placed; warm end left.
type mounted struct {
	fixture int
	n       int
	shape
	hang float64
	spot int // place in try.items, -1 for none
}

// hole is a cut in the ceiling panel.
type hole struct {
	owner   int // place in try.ceiling
	purpose string
	x, y, r float64
}

func (t *try) battens() []rect {
	b := t.b
	var out []rect
	for _, m := range b.Box.Battens {
		if m.AlongLength {
			out = append(out, rect{0, m.At - m.Width/2, b.Box.Length, m.Width})
			continue
		}
		at := m.At
		if b.WarmEnd == "right" {
			at = b.Box.Length - at
		}
		out = append(out, rect{at - m.Width/2, 0, m.Width, b.Box.Width})
	}
	return out
}

func (t *try) crossesBatten(s shape) bool {
	for _, m := range t.battens() {
		if s.fromRect(m) <= slack {
			return true
		}
	}
	return false
}

// web is the least wood between two cuts.
func (t *try) web() float64 { return max(t.b.Practice.HoleGap, t.b.Box.Panel) }

// isOpening: lamps and heaters that sit in a trimmed opening.
func isOpening(k Kind) bool { return k == Basking || k == NightHeat }

// clears reports whether a new fixture keeps its distances to what hangs already.
func (t *try) clears(f *Fixture, s shape) (Constraint, bool) {
	p := &t.b.Practice
	box := s.box()
	edge := bodyGap
	if isOpening(f.Kind) {
		edge = max(p.EdgeDistance/2, t.b.Box.Panel-p.Trim, p.EdgeDistance-p.Trim)
	} else if f.Kind == Nozzle || f.Kind == Fog {
		edge = max(p.EdgeDistance, t.b.Box.Panel)
	}
	if !box.inside(t.clear.grown(-edge)) {
		return EdgeSpacing, false
	}
	// A body may hang below a batten; what is cut may not cross one.
	if (isOpening(f.Kind) || f.Kind == Nozzle || f.Kind == Fog) && t.crossesBatten(s) {
		return BattenFree, false
	}
	if f.Kind == Fan && t.crossesBatten(shape2(s.x, s.y, p.FanHole/2)) {
		return BattenFree, false
	}
	for _, m := range t.ceiling {
		g, o := s.gap(m.shape), &t.b.Fixtures[m.fixture]
		switch {
		case isOpening(f.Kind) && isOpening(o.Kind):
			if g < t.opening()-2*p.Trim-slack {
				return OpeningSpacing, false
			}
		case f.Kind == UV && isOpening(o.Kind) || isOpening(f.Kind) && o.Kind == UV:
			if g < p.UVClear-slack {
				return UVClearOfTrim, false
			}
		case isOpening(f.Kind) || isOpening(o.Kind) || f.Kind == Nozzle || f.Kind == Fog || o.Kind == Nozzle || o.Kind == Fog:
			if g < t.web()-slack {
				return HoleSpacing, false
			}
		default:
			if g < bodyGap-slack {
				return BodyOverlap, false
			}
		}
	}
	if f.Kind.electric() && !(f.Secured && f.SplashProof) && t.overWater(s) {
		return OverWater, false
	}
	return "", true
}

// dry reports whether a fixture keeps out of the spray of every outlet placed.
func (t *try) dry(f *Fixture, s shape) bool {
	if !f.Kind.electric() || f.SplashProof && !f.Kind.hot() {
		return true
	}
	for _, m := range t.ceiling {
		o := &t.b.Fixtures[m.fixture]
		if (o.Kind == Nozzle || o.Kind == Fog) && s.gap(shape2(m.x, m.y, 0.0005)) < o.Throw {
			return false
		}
	}
	return true
}

// untouchable reports whether no animal on any place can reach a fixture whose lowest
// point is at a height. Climbing places count with the height that they have so far.
func (t *try) untouchable(f *Fixture, s shape, bottom float64) bool {
	if !f.Kind.electric() {
		return true
	}
	a := &t.b.Animal
	ok := func(r rect, top float64) bool {
		level := s.fromRect(r)
		if f.Guarded {
			return level > touchingGap || bottom-top-a.BackHeight >= touchingGap-slack
		}
		return math.Hypot(level, max(0, bottom-top)) >= a.Reach+slack
	}
	if !ok(t.clear, t.b.surface()) {
		return false
	}
	for _, it := range t.items {
		if !ok(it.rect, it.top) {
			return false
		}
	}
	return true
}

// hangs finds a place under the ceiling on a grid, of least cost.
func (t *try) hangs(i, n int, shapes []shape, hang float64, cost func(shape) float64, rules ...func(shape) (Constraint, bool)) *stop {
	f := &t.b.Fixtures[i]
	code := t.code(i, n)
	best, least := shape{}, math.Inf(1)
	reached, why := 0, EdgeSpacing
	note := func(at int, c Constraint) {
		if at > reached {
			reached, why = at, c
		}
	}
	stepX, stepY := max(0.02, snap(t.clear.l/50)), max(0.02, snap(t.clear.w/24))
	bottom := t.b.Box.Height - hang
	for _, s := range shapes {
		x0, y0 := math.Ceil((t.clear.x+s.box().l/2+bodyGap)*1000)/1000, math.Ceil((t.clear.y+s.box().w/2+bodyGap)*1000)/1000
		for x := x0; x < t.clear.x+t.clear.l; x += stepX {
			for y := y0; y < t.clear.y+t.clear.w; y += stepY {
				s.x, s.y = snap(x), snap(y)
				c := cost(s)
				if c >= least {
					continue
				}
				if w, ok := t.clears(f, s); !ok {
					note(1+order(w), w)
					continue
				}
				refused := false
				for k, rule := range rules {
					if w, ok := rule(s); !ok {
						note(50+k, w)
						refused = true
						break
					}
				}
				if refused {
					continue
				}
				if !t.dry(f, s) {
					note(90, SprayOff)
					continue
				}
				if !t.untouchable(f, s, bottom) {
					note(95, OutOfReach)
					continue
				}
				best, least = s, c
			}
		}
	}
	if math.IsInf(least, 1) {
		return &stop{at: why, item: code, reason: "no place under the ceiling is left that keeps to " + words(string(why))}
	}
	t.cost += least
	t.ceiling = append(t.ceiling, mounted{fixture: i, n: n, shape: best, hang: hang, spot: -1})
	return nil
}

// order ranks refusals of clears by how late it checks them.
func order(c Constraint) int {
	return slices.Index([]Constraint{EdgeSpacing, BattenFree, BodyOverlap, HoleSpacing, OpeningSpacing, UVClearOfTrim, OverWater}, c)
}

func (t *try) code(fixture, n int) string { return t.b.codeOf(fixture, n) }

// codeOf numbers the fixtures of a kind through the whole list.
func (b *Brief) codeOf(fixture, n int) string {
	k := b.Fixtures[fixture].Kind
	for i := range fixture {
		if b.Fixtures[i].Kind == k {
			n += b.Fixtures[i].Count
		}
	}
	return fmt.Sprintf("%s_%d", k, n+1)
}

func (t *try) lamps() *stop {
	i := t.b.first(Basking)
	if i < 0 {
		return nil
	}
	f := &t.b.Fixtures[i]
	for n, l := range t.beams {
		m := mounted{fixture: i, n: n, shape: shape2(l.x, l.y, f.Opening/2+t.b.Practice.Trim), hang: t.b.Box.Height - l.face, spot: l.spot}
		if c, ok := t.clears(f, m.shape); !ok {
			return &stop{at: c, item: t.code(i, n), reason: "the lamp over its hot spot would not keep to " + words(string(c))}
		}
		if !t.untouchable(f, m.shape, l.face) {
			return &stop{at: OutOfReach, item: t.code(i, n), reason: "an animal on one of the places reaches the lamp"}
		}
		t.ceiling = append(t.ceiling, m)
		t.holes = append(t.holes, hole{len(t.ceiling) - 1, "lamp opening", l.x, l.y, f.Opening / 2})
	}
	return nil
}

func (t *try) uv() *stop {
	i := t.b.first(UV)
	if i < 0 {
		return nil
	}
	b, f := t.b, &t.b.Fixtures[i]
	back := b.Animal.BackHeight
	for n := range f.Count {
		hang, target := f.Hang, -1
		if len(t.spots) > 0 {
			// One fixture serves the first spot, a second one the next, and so round.
			target = t.spots[n%len(t.spots)]
			d := b.Box.Height - f.Hang - t.items[target].top - back
			if f.Far > 0 && d > f.Far {
				hang = math.Ceil((f.Hang+d-f.Far)*1000-1e-6) / 1000
			}
			if d = b.Box.Height - hang - t.items[target].top - back; hang > max(f.Hang, f.MaxHang)+slack {
				return &stop{at: UVDistance, item: t.code(i, n), reason: fmt.Sprintf("let down as far as it goes it is still %.0f mm from a back on the hot spot, more than %.0f mm", 1000*(d+hang-max(f.Hang, f.MaxHang)), 1000*f.Far)}
			} else if d < f.Near-slack {
				return &stop{at: UVDistance, item: t.code(i, n), reason: fmt.Sprintf("it is %.0f mm from a back on the hot spot, less than %.0f mm", 1000*d, 1000*f.Near)}
			}
		}
		face := b.Box.Height - hang
		shapes := []shape{{l: f.Length, w: f.Width}, {l: f.Width, w: f.Length}}
		cost := func(s shape) float64 {
			if target < 0 {
				return math.Abs(t.share(s.x)-0.35) + 0.4*math.Abs(s.y-t.clear.cy())/t.clear.w
			}
			c := s.fromRect(center(t.items[target].rect))
			for _, o := range t.spots { // near the others too, if it can be had
				c += 0.3 * s.fromRect(center(t.items[o].rect))
			}
			// The cool half stays out of it where that can be had.
			c += 0.4 * max(0, s.x+s.box().l/2-t.clear.x-t.clear.l/2)
			if s.w > s.l { // along the length, if all else is equal
				c += 0.1 * t.clear.l
			}
			return c / t.clear.l
		}
		rule := func(s shape) (Constraint, bool) {
			if target < 0 {
				if t.share(s.x) > uvLeastEnd {
					return UVOverSpot, false
				}
			} else if d := face - t.items[target].top - back; s.fromRect(center(t.items[target].rect)) > d*math.Tan(uvSpread*math.Pi/180) {
				return UVOverSpot, false
			}
			// Nothing the animal can stand on brings its back nearer than allowed.
			for _, it := range t.items {
				if !it.role.wet() && math.Hypot(s.fromRect(it.rect), max(0, face-it.top-back)) < f.Near-slack {
					return UVDistance, false
				}
			}
			return "", true
		}
		if s := t.hangs(i, n, shapes, hang, cost, rule); s != nil {
			return s
		}
		t.ceiling[len(t.ceiling)-1].spot = target
	}
	return nil
}

// center is the middle of a rectangle, as one without sides.
func center(r rect) rect { return rect{r.cx(), r.cy(), 0, 0} }

func (t *try) each(k Kind, do func(i, n int, f *Fixture) *stop) *stop {
	for i := range t.b.Fixtures {
		f := &t.b.Fixtures[i]
		if f.Kind != k {
			continue
		}
		for n := range f.Count {
			if s := do(i, n, f); s != nil {
				return s
			}
		}
	}
	return nil
}

func (t *try) nightHeat() *stop {
	return t.each(NightHeat, func(i, n int, f *Fixture) *stop {
		s := t.hangs(i, n, []shape{{r: f.Opening/2 + t.b.Practice.Trim}}, f.Hang,
			func(s shape) float64 { return math.Abs(t.share(s.x)-0.3) + 0.2*math.Abs(s.y-t.clear.cy())/t.clear.w },
			func(s shape) (Constraint, bool) { return GradientOrder, t.share(s.x) <= nightEnd },
			func(s shape) (Constraint, bool) { // what burns may not come near a back either
				for _, it := range t.items {
					if !it.role.wet() && math.Hypot(s.fromRect(it.rect), max(0, t.b.Box.Height-f.Hang-it.top-t.b.Animal.BackHeight)) < f.Near-slack {
						return LampDistance, false
					}
				}
				return "", true
			})
		if s == nil {
			m := t.ceiling[len(t.ceiling)-1]
			t.holes = append(t.holes, hole{len(t.ceiling) - 1, "lamp opening", m.x, m.y, f.Opening / 2})
		}
		return s
	})
}

// plantLight stands along the front and shines back.
func (t *try) plantLight() *stop {
	return t.each(PlantLight, func(i, n int, f *Fixture) *stop {
		long, short := max(f.Length, f.Width), min(f.Length, f.Width)
		return t.hangs(i, n, []shape{{l: long, w: short}}, f.Hang,
			func(s shape) float64 { return math.Abs(t.share(s.x)-0.5)*0.5 + 2*(s.y-t.clear.y)/t.clear.w },
			func(s shape) (Constraint, bool) { return PlantLightPlaced, s.y-t.clear.y <= 0.4*t.clear.w })
	})
}

func (t *try) fans() *stop {
	return t.each(Fan, func(i, n int, f *Fixture) *stop {
		s := t.hangs(i, n, []shape{{l: f.Length, w: f.Width}}, f.Hang,
			func(s shape) float64 { return math.Abs(t.share(s.x)-0.8) + 0.2*(t.clear.y+t.clear.w-s.y)/t.clear.w },
			func(s shape) (Constraint, bool) {
				for _, at := range t.spots {
					if s.fromRect(t.items[at].rect) < t.b.Practice.FanClear-slack {
						return FanOff, false
					}
				}
				return "", true
			})
		if s == nil {
			m := t.ceiling[len(t.ceiling)-1]
			t.holes = append(t.holes, hole{len(t.ceiling) - 1, "fan mount", m.x, m.y, t.b.Practice.FanHole / 2})
		}
		return s
	})
}

// wets reports whether an outlet would spray or fog what it must not.
func (t *try) wets(f *Fixture, s shape) bool {
	for _, m := range t.ceiling {
		o := &t.b.Fixtures[m.fixture]
		if o.Kind.electric() && (o.Kind.hot() || !o.SplashProof) && m.gap(shape2(s.x, s.y, 0.0005)) < f.Throw {
			return true
		}
	}
	return false
}

func (t *try) nozzles() *stop {
	total, k := 0, 0
	for _, f := range t.b.Fixtures {
		if f.Kind == Nozzle {
			total += f.Count
		}
	}
	return t.each(Nozzle, func(i, n int, f *Fixture) *stop {
		// Spread over the cool two thirds, where they wet no lamp.
		share := 0.35 + 0.6*(float64(k)+0.5)/float64(total)
		k++
		s := t.hangs(i, n, []shape{{r: t.b.Practice.NozzleHole / 2}}, 0,
			func(s shape) float64 { return math.Abs(t.share(s.x)-share) + 0.3*math.Abs(s.y-t.clear.cy())/t.clear.w },
			func(s shape) (Constraint, bool) { return SprayOff, !t.wets(f, s) })
		if s == nil {
			m := t.ceiling[len(t.ceiling)-1]
			t.holes = append(t.holes, hole{len(t.ceiling) - 1, "nozzle", m.x, m.y, m.r})
		}
		return s
	})
}

func (t *try) fogs() *stop {
	return t.each(Fog, func(i, n int, f *Fixture) *stop {
		s := t.hangs(i, n, []shape{{r: f.Opening / 2}}, 0,
			func(s shape) float64 { return math.Abs(t.share(s.x)-0.85) + 0.3*(t.clear.y+t.clear.w-s.y)/t.clear.w },
			func(s shape) (Constraint, bool) { return SprayOff, !t.wets(f, s) })
		if s == nil {
			m := t.ceiling[len(t.ceiling)-1]
			t.holes = append(t.holes, hole{len(t.ceiling) - 1, "fog hose", m.x, m.y, m.r})
		}
		return s
	})
}

// cords drills one hole beside each corded fixture, as near to it as the webs allow,
// and out of spray. What sits in its own opening needs none.
func (t *try) cords() *stop {
	p := &t.b.Practice
	r := p.CordHole / 2
	margin := max(p.EdgeDistance, t.b.Box.Panel)
	for k := range t.ceiling {
		m := t.ceiling[k]
		f := &t.b.Fixtures[m.fixture]
		if !f.Corded || isOpening(f.Kind) || !f.Kind.electric() {
			continue
		}
		best, least := hole{}, math.Inf(1)
		why := HoleSpacing
		box := m.box().grown(t.web() + r + 0.0005)
		for ring := 0.0; ring < 0.5 && math.IsInf(least, 1); ring += 0.02 {
			b := box.grown(ring)
			for _, c := range perimeter(b, 0.02) {
				x, y := snap(c[0]), snap(c[1])
				s := shape2(x, y, r)
				if !s.box().inside(t.clear.grown(-margin)) {
					continue
				}
				if t.crossesBatten(s) {
					why = BattenFree
					continue
				}
				free := true
				for _, o := range t.ceiling {
					if s.gap(o.shape) < t.web()-slack {
						free = false
						break
					}
				}
				for _, h := range t.holes {
					if s.gap(shape2(h.x, h.y, h.r)) < t.web()-slack {
						free = false
						break
					}
				}
				if !free {
					continue
				}
				if d := m.gap(s) + 0.001*math.Hypot(x-m.x, y-m.y); d < least {
					best, least = hole{k, "cord", x, y, r}, d
				}
			}
		}
		if math.IsInf(least, 1) {
			return &stop{at: why, item: t.code(m.fixture, m.n), reason: "no place is left for its cord hole"}
		}
		t.holes = append(t.holes, best)
	}
	return nil
}

// perimeter are points round a rectangle, a step apart.
func perimeter(r rect, step float64) (out [][2]float64) {
	for x := r.x; x < r.x+r.l; x += step {
		out = append(out, [2]float64{x, r.y}, [2]float64{x, r.y + r.w})
	}
	for y := r.y; y < r.y+r.w; y += step {
		out = append(out, [2]float64{r.x, y}, [2]float64{r.x + r.l, y})
	}
	return append(out, [2]float64{r.x + r.l, r.y + r.w})
}

// raise builds the climbing structure as high as the fixtures above it allow.
func (t *try) raise() *stop {
	c := t.find(Climbing)
	if c == nil {
		return nil
	}
	b := t.b
	least := c.top
	high := b.Box.Height - b.Animal.BackHeight - touchingGap
	// Low climbers get low structures: falls hurt.
	usable := b.Box.Height - b.surface()
	high = min(high, b.surface()+max(slab, [...]float64{0, 0.30, 0.75, 0.95}[b.Animal.Climbs]*usable))
	for top := math.Floor(high*100) / 100; top > least; top -= 0.02 {
		if c.top = snap(top); t.climbable(c) {
			return nil
		}
	}
	if c.top = least; !t.climbable(c) {
		return &stop{at: ClimbHeight, item: string(Climbing), reason: "fixtures leave no height for it"}
	}
	return nil
}

func (t *try) climbable(c *item) bool {
	if t.shadows(c.rect, c.top) {
		return false
	}
	for _, m := range t.ceiling {
		f := &t.b.Fixtures[m.fixture]
		face := t.b.Box.Height - m.hang
		if !t.untouchable(f, m.shape, face) {
			return false
		}
		if (f.Kind == UV || f.Kind == NightHeat) && math.Hypot(m.fromRect(c.rect), max(0, face-c.top-t.b.Animal.BackHeight)) < f.Near-slack {
			return false
		}
	}
	return true
}

// plan turns a finished try into a Plan, warm end where the brief wants it.
func (t *try) plan() *Plan {
	b := t.b
	flip := func(x float64) float64 {
		if b.WarmEnd == "right" {
			return b.Box.Length - x
		}
		return x
	}
	flipRect := func(r rect) Rect {
		if b.WarmEnd == "right" {
			r.x = b.Box.Length - r.x - r.l
		}
		return Rect{q(r.x), q(r.y), q(r.l), q(r.w)}
	}
	p := &Plan{WarmEnd: b.WarmEnd, Length: q(b.Box.Length), Width: q(b.Box.Width), Height: q(b.Box.Height), Drainage: q(b.Box.Drainage),
		Substrate: q(b.Box.Substrate), Surface: q(b.surface()), Panel: q(b.Box.Panel), Clear: flipRect(t.clear), Walls: t.walls, Spare: t.spare}
	lit := map[int]bool{}
	for _, m := range t.ceiling {
		if b.Fixtures[m.fixture].Kind != UV || m.spot < 0 {
			continue
		}
		for _, at := range t.spots {
			f := &b.Fixtures[m.fixture]
			d := b.Box.Height - m.hang - t.items[at].top - b.Animal.BackHeight
			if m.fromRect(center(t.items[at].rect)) <= d*math.Tan(uvSpread*math.Pi/180) && d >= f.Near-slack && (f.Far == 0 || d <= f.Far+slack) {
				lit[at] = true
			}
		}
	}
	free := t.clear.area()
	for i, it := range t.items {
		pl := Place{Code: it.code(), Role: it.role, Name: it.name(), Rect: flipRect(it.rect), Bottom: q(it.bottom), Top: q(it.top), UV: lit[i]}
		if !it.role.ground() {
			free -= it.area()
		}
		switch it.role {
		case HotSpot:
			if pl.Note = "stands on the floor of the enclosure, not on soil"; it.bottom > 0 {
				pl.Note = "a ledge or thick branch, fixed to the wall so that it can't turn"
			}
			if step := it.top - b.surface(); step > 0.5*b.Animal.BackHeight+slab && b.Animal.Climbs < 2 {
				pl.Note += "; with a ramp"
			}
		case WarmRetreat, CoolRetreat, HumidRetreat:
			pl.Entrance = q(up(bodyRoom * b.Animal.Width))
			if it.role == WarmRetreat && b.first(Mat) >= 0 {
				pl.Note = "its own floor, with the mat under thin bedding and a probe on the mat"
			} else {
				pl.Note = "carried by the floor of the enclosure where the ground below is dug"
			}
			if it.role == HumidRetreat {
				pl.Note += "; lined with damp moss"
			}
		case Water:
			pl.Note = "with a way out for every animal"
		case Climbing:
			pl.Note = "fixed to wall or floor so that it can't tip or turn"
		case Digging:
			pl.Note = "full depth; nothing heavy stands on it"
		}
		p.Floor = append(p.Floor, pl)
	}
	p.ClearFloor = quantity.Area(free)
	for _, m := range t.battens() {
		p.Battens = append(p.Battens, flipRect(m))
	}
	for _, m := range t.ceiling {
		f := &b.Fixtures[m.fixture]
		out := Mounted{Code: t.code(m.fixture, m.n), Kind: f.Kind, Name: f.label(), X: quantity.Length(flip(m.x)), Y: quantity.Length(m.y), Hang: q(m.hang), Face: q(b.Box.Height - m.hang),
			Throw: q(f.Throw), Watts: quantity.Power(f.Watts), Fixture: m.fixture}
		if m.r > 0 {
			out.Diameter = quantity.Length(2 * m.r)
		} else {
			out.Length, out.Width = quantity.Length(m.l), quantity.Length(m.w)
		}
		if f.Kind == PlantLight {
			out.Tilt = score.Figure{Number: b.Practice.PlantTilt, Unit: "°"}
		}
		if m.spot >= 0 {
			s := t.items[m.spot]
			out.Spot, out.Distance = s.code(), q(b.Box.Height-m.hang-s.top-b.Animal.BackHeight)
			if f.Kind == Basking {
				out.BeamRadius = q((b.Box.Height - m.hang - s.top) * math.Tan(f.Beam/2*math.Pi/180))
			}
		}
		p.Fixtures = append(p.Fixtures, out)
	}
	for i := range b.Fixtures { // what is not under the ceiling
		switch f := &b.Fixtures[i]; f.Kind {
		case Mat:
			if r := t.find(WarmRetreat); r != nil {
				l, w := max(f.Length, f.Width), min(f.Length, f.Width)
				if l > r.l {
					l, w = w, l
				}
				p.Fixtures = append(p.Fixtures, Mounted{Code: t.code(i, 0), Kind: Mat, Name: f.label(), X: quantity.Length(flip(r.cx())), Y: quantity.Length(r.cy()), Length: quantity.Length(l), Width: quantity.Length(w),
					Hang: q(b.Box.Height - r.bottom), Face: q(r.bottom), Spot: r.code(), Watts: quantity.Power(f.Watts), Fixture: i})
			} else {
				p.Spare = append(p.Spare, f.label()+": no retreat is called for")
			}
		}
	}
	letters := map[string]string{"lamp opening": "L", "nozzle": "N", "fog hose": "F", "fan mount": "M", "cord": "C"}
	counts := map[string]int{}
	for _, h := range t.holes {
		counts[h.purpose]++
		x := flip(h.x)
		out := Hole{Code: fmt.Sprintf("%s%d", letters[h.purpose], counts[h.purpose]), For: t.code(t.ceiling[h.owner].fixture, t.ceiling[h.owner].n), Purpose: h.purpose,
			X: quantity.Length(x), Y: quantity.Length(h.y), FromLeft: quantity.Length(x + b.Box.Panel), FromFront: quantity.Length(h.y + b.Box.Panel), Diameter: quantity.Length(2 * h.r)}
		if h.purpose == "lamp opening" {
			k := &b.Practice
			out.Trim = out.Diameter + quantity.Length(2*k.Trim)
			out.Guard = out.Trim
			out.ScrewCircle = out.Diameter + quantity.Length(2*k.ScrewInset)
			out.Screws = k.Screws
		}
		p.Holes = append(p.Holes, out)
	}
	return p
}
