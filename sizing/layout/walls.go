package layout

import "math"

// Own choices about wall openings; common practice, no source.
const (
	ventHeight  = 0.05 // m
	ventEdge    = 0.03 // from a vent to a corner, to the substrate or to the ceiling
	drainWidth  = 0.032
	refillWidth = 0.016
	drainFrom   = 10.0 // L: a smaller dish is lifted out
	doorHeight  = 0.20
)

// wallView turns a stretch of a wall, given warm end left, into the view from inside.
// Side walls run along y.
func (t *try) wallView(wall string, from, length float64) (string, float64) {
	b := t.b
	if b.WarmEnd == "right" {
		switch wall {
		case "left":
			wall = "right"
		case "right":
			wall = "left"
		case "back", "floor":
			from = b.Box.Length - from - length
		}
	}
	if wall == "right" { // the front is on the right of this view
		from = b.Box.Width - from - length
	}
	return wall, from
}

func (t *try) cut(code, wall, name string, from, bottom, length, height float64, note string) {
	w, along := t.wallView(wall, from, length)
	t.walls = append(t.walls, Opening{Code: code, Wall: w, Name: name, Along: q(along), Up: q(bottom), Length: q(length), Height: q(height), Note: note})
}

// openings places vents, drain, refill, service door and running-water wall.
func (t *try) openings() *stop {
	b := t.b
	c := t.clear
	type band struct{ from, to, low, high float64 } // taken parts of the warm-end wall
	var door *band
	if b.first(Mat) >= 0 {
		if r := t.find(WarmRetreat); r != nil {
			f := &b.Fixtures[b.first(Mat)]
			width := max(b.Practice.MatService, min(f.Length, f.Width))
			height := snap(min(doorHeight, r.top-r.bottom))
			if math.Abs(r.x-c.x) < 0.0011 && r.w >= width+2*b.Box.Panel-slack {
				t.cut("service_door", "left", "service door into the warm retreat", snap(r.cy()-width/2), r.bottom, width, height, "for the mat; locked; the animal's own entrance fits its body")
				door = &band{r.cy() - width/2, r.cy() + width/2, r.bottom, r.bottom + height}
			} else {
				t.cut("service_door", "back", "service door into the warm retreat", snap(r.cx()-width/2), r.bottom, width, height, "for the mat; locked; the animal's own entrance fits its body")
			}
		}
	}
	// High vent at the warm end, low at the cool end, so that air crosses the whole length.
	area := b.Practice.Vent * b.Box.Length * b.Box.Width
	length := snap(min(max(area/ventHeight, 0.05), c.w-2*ventEdge))
	height := snap(max(ventHeight, area/length))
	from := snap(c.cy() - length/2)
	highAt := snap(b.Box.Height - ventEdge - height)
	lowAt := snap(b.surface() + ventEdge)
	for _, it := range t.items { // above the rim of water that stands at the cool wall
		if it.role.wet() && it.x+it.l > c.x+c.l-0.1 && it.top+ventEdge > lowAt {
			lowAt = snap(it.top + ventEdge)
		}
	}
	if lowAt+height+ventEdge > highAt || door != nil && door.high+ventEdge > highAt {
		return &stop{at: VentsPlaced, item: "vent_low", reason: "low and high vents do not fit above one another between substrate and ceiling"}
	}
	t.cut("vent_high", "left", "high vent", from, highAt, length, height, "mesh the animal can't tear or pass")
	t.cut("vent_low", "right", "low vent", from, lowAt, length, height, "mesh the animal can't tear or pass")
	if w := t.find(Water); w != nil && w.area()*b.Needs.WaterDepth*1000 >= drainFrom {
		x := w.cx()
		// Through the back where the tub stands there, else through the floor.
		if w.y+w.w > c.y+c.w-0.02 {
			t.cut("drain", "back", "drain", snap(x-drainWidth/2), snap(w.bottom+0.01), drainWidth, drainWidth, "with a strainer and a valve outside")
			if w.top+0.02+refillWidth < b.Box.Height-ventEdge {
				t.cut("refill", "back", "refill", snap(x-0.10-refillWidth/2), snap(w.top+0.02), refillWidth, refillWidth, "above the rim, so that water can't run back")
			}
		} else {
			t.floorCut("drain", "drain", *w, "with a strainer and a valve below")
		}
	}
	if i := b.first(WaterWall); i >= 0 {
		f := &b.Fixtures[i]
		at := t.find(Sump)
		if at == nil {
			at = t.find(Water)
		}
		bottom := max(at.top, b.surface())
		l := snap(f.Length)
		x := snap(c.x + c.l - l)
		if bottom+f.Width > b.Box.Height+slack {
			return &stop{at: RoomOnFloor, item: string(WaterWall), reason: "the running-water wall is higher than the air above its trough"}
		}
		for k := range t.walls {
			o := &t.walls[k]
			if w, along := t.wallView("back", x, l); o.Wall == w && float64(o.Along) < along+l && along < float64(o.Along+o.Length) && o.Code == "refill" {
				o.Note += "; runs behind the running water"
			}
		}
		t.cut("water_wall", "back", "running-water wall", x, snap(bottom), l, snap(f.Width), "no electrics on it or under it but a pump made for water")
	}
	return nil
}

// floorCut notes an opening in the floor panel: along x and, as its height, along y.
func (t *try) floorCut(code, name string, w item, note string) {
	wall, along := t.wallView("floor", snap(w.cx()-drainWidth/2), drainWidth)
	t.walls = append(t.walls, Opening{Code: code, Wall: wall, Name: name, Along: q(along), Up: q(w.cy() - drainWidth/2), Length: q(drainWidth), Height: q(drainWidth), Note: note})
}
