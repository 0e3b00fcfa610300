package layout

import "math"

// rect is a rectangle: near left corner, length along x, width along y, m.
type rect struct{ x, y, l, w float64 }

func (r rect) cx() float64   { return r.x + r.l/2 }
func (r rect) cy() float64   { return r.y + r.w/2 }
func (r rect) area() float64 { return r.l * r.w }

// slack is what rounding to the millimetre may cost, m.
const slack = 1e-6

// hits reports whether two rectangles come nearer than a gap in both directions.
func (r rect) hits(o rect, gap float64) bool {
	return r.x < o.x+o.l+gap-slack && o.x < r.x+r.l+gap-slack && r.y < o.y+o.w+gap-slack && o.y < r.y+r.w+gap-slack
}

func (r rect) inside(o rect) bool {
	return r.x >= o.x-slack && r.y >= o.y-slack && r.x+r.l <= o.x+o.l+slack && r.y+r.w <= o.y+o.w+slack
}

func (r rect) grown(by float64) rect { return rect{r.x - by, r.y - by, r.l + 2*by, r.w + 2*by} }

// from is the distance of a point from the rectangle, 0 inside.
func (r rect) from(x, y float64) float64 {
	return math.Hypot(max(r.x-x, 0, x-r.x-r.l), max(r.y-y, 0, y-r.y-r.w))
}

// apart is the distance between two rectangles, 0 where they overlap.
func (r rect) apart(o rect) float64 {
	return math.Hypot(max(r.x-o.x-o.l, 0, o.x-r.x-r.l), max(r.y-o.y-o.w, 0, o.y-r.y-r.w))
}

// shape is an outline under the ceiling: a disc of radius r about (x, y), or, where
// r is 0, a rectangle about it.
type shape struct{ x, y, l, w, r float64 }

func (s shape) box() rect {
	if s.r > 0 {
		return rect{s.x - s.r, s.y - s.r, 2 * s.r, 2 * s.r}
	}
	return rect{s.x - s.l/2, s.y - s.w/2, s.l, s.w}
}

// gap is the clear distance between two outlines; negative or 0 where they meet.
func (s shape) gap(o shape) float64 {
	switch {
	case s.r > 0 && o.r > 0:
		return math.Hypot(s.x-o.x, s.y-o.y) - s.r - o.r
	case s.r > 0:
		return o.box().from(s.x, s.y) - s.r
	case o.r > 0:
		return s.box().from(o.x, o.y) - o.r
	}
	return s.box().apart(o.box())
}

// fromRect is the clear distance to a rectangle on the floor, level.
func (s shape) fromRect(r rect) float64 {
	if s.r > 0 {
		return max(0, r.from(s.x, s.y)-s.r)
	}
	return s.box().apart(r)
}

// largestFree finds the largest rectangle of area inside within that meets none of
// the obstacles and is no narrower than least. ok is false where there is none.
// Its sides lie on sides of the obstacles or of within.
func largestFree(within rect, obstacles []rect, least float64) (best rect, ok bool) {
	xs, ys := []float64{within.x, within.x + within.l}, []float64{within.y, within.y + within.w}
	for _, o := range obstacles {
		for _, x := range []float64{o.x, o.x + o.l} {
			if x > within.x && x < within.x+within.l {
				xs = append(xs, x)
			}
		}
		for _, y := range []float64{o.y, o.y + o.w} {
			if y > within.y && y < within.y+within.w {
				ys = append(ys, y)
			}
		}
	}
	for _, x0 := range xs {
		for _, x1 := range xs {
			if x1-x0 < least {
				continue
			}
			for _, y0 := range ys {
				for _, y1 := range ys {
					r := rect{x0, y0, x1 - x0, y1 - y0}
					if y1-y0 < least || r.area() <= best.area()+slack {
						continue
					}
					free := true
					for _, o := range obstacles {
						if r.hits(o, 0) {
							free = false
							break
						}
					}
					if free {
						best, ok = r, true
					}
				}
			}
		}
	}
	return best, ok
}
