package layout

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
)

// The search is bounded: so many tries for each number of hot spots, the first
// without chance. Enough for the five worked plans to settle; no clock.
const (
	tries     = 20
	successes = 8 // stop early after so many plans were compared
	alike     = 7 // or after so many tries on end that failed alike
)

// Own choices about where things stand, as shares of the length from the warm end;
// common practice, no source.
const (
	hotSpotEnd  = 0.50 // middles of hot spots lie before this
	warmEnd     = 0.40 // middle of the warm retreat before this
	coolEnd     = 0.60 // middle of the cool retreat beyond this
	waterStart  = 0.35 // middle of a dish or tub beyond this
	wetFloor    = 0.60 // with more of the floor under water than this, land is what is left at the warm end
	furnishGap  = 0.03 // between furnishings, m
	haulOutGap  = 0.15 // from the water to the haul-out, m
	bodyRoom    = 1.3  // retreats and entrances against the body
	leastAir    = 0.05 // above a tub, m
	longWater   = 4.0  // times as long as wide that a dish may be
	slab        = 0.03 // least height of a basking place above the substrate, m
	touchingGap = 0.03 // from a back to a guard, m
	ledge       = 0.05 // thickness of a basking ledge, m
)

// platformReach is how high a basking place may stand, as a share of the usable
// height, for animals that climb 0 to 3; low climbers need a ramp.
var platformReach = [...]float64{0.10, 0.25, 0.60, 0.80}

// climbShare is the least height of the climbing structure, likewise, and climbFloor
// its share of the floor.
var (
	climbShare = [...]float64{0, 0.10, 0.35, 0.55}
	climbFloor = [...]float64{0, 0.04, 0.07, 0.09}
)

// Constraint names what a plan must hold to.
type Constraint string

// The constraints.
const (
	RoomOnFloor      Constraint = "room_on_floor"  // furnishings inside the clear floor, none upon another
	GradientOrder    Constraint = "gradient_order" // hot spots, then humid, then cool, from the warm end
	RetreatBothEnds  Constraint = "retreat_at_both_ends"
	WalkingArea      Constraint = "walking_area"
	DiggingGround    Constraint = "digging_ground"
	HaulOut          Constraint = "heat_at_haul_out"
	LampDistance     Constraint = "lamp_distance"
	LampCone         Constraint = "lamp_cone_on_platform"
	LampAim          Constraint = "lamp_over_platform"
	BeamFree         Constraint = "beam_free" // nothing stands in a beam above its platform
	UVOverSpot       Constraint = "uv_over_hot_spot"
	UVDistance       Constraint = "uv_distance"
	OverWater        Constraint = "fixture_over_water" // only if held twice and made for splash
	SprayOff         Constraint = "spray_off_electrics"
	FanOff           Constraint = "fan_off_hot_spot"
	OutOfReach       Constraint = "out_of_reach"
	OpeningSpacing   Constraint = "opening_spacing"
	TrimSpacing      Constraint = "trim_spacing"
	HoleSpacing      Constraint = "hole_spacing"
	EdgeSpacing      Constraint = "edge_distance"
	BattenFree       Constraint = "battens_uncut"
	UVClearOfTrim    Constraint = "uv_clear_of_trim"
	BodyOverlap      Constraint = "fixtures_apart"
	PanelWeb         Constraint = "material_thickness" // no web thinner than the panel is thick
	ServiceOpening   Constraint = "service_opening"
	MatFits          Constraint = "mat_in_retreat"
	VentsPlaced      Constraint = "vents_low_and_high"
	WallOverlap      Constraint = "wall_openings_apart"
	ClimbHeight      Constraint = "climbing_height"
	PlantLightPlaced Constraint = "plant_light_at_front"
	MistOffLamps     Constraint = "mist_off_hot_lamps"
	FogCeiling       Constraint = "fog_under_ceiling"
)

// Constraints are all of them.
var Constraints = []Constraint{
	RoomOnFloor, GradientOrder, RetreatBothEnds, WalkingArea, DiggingGround, HaulOut, LampDistance, LampCone, LampAim, BeamFree,
	UVOverSpot, UVDistance, OverWater, SprayOff, FanOff, OutOfReach, OpeningSpacing, TrimSpacing, HoleSpacing, EdgeSpacing,
	BattenFree, UVClearOfTrim, BodyOverlap, PanelWeb, ServiceOpening, MatFits, VentsPlaced, WallOverlap, ClimbHeight,
	PlantLightPlaced, MistOffLamps, FogCeiling,
}

// stop is why a try failed, and how far it had come.
type stop struct {
	at      Constraint
	item    string
	reason  string
	reached int
}

// item is one place on the floor while it is being placed, in the frame whose warm
// end is on the left.
type item struct {
	role Role
	n    int // counts items of one role
	rect
	bottom, top float64
}

// beam is one lamp over its spot.
type beam struct {
	x, y float64
	spot int // place in try.items
	tan  float64
	// face is the height of the lamp's face above the floor panel.
	face float64
}

// radius of the lit circle at a height.
func (l beam) radius(z float64) float64 { return max(0, l.face-z) * l.tan }

// spotSize is how a hot spot is to be built before it has a place.
type spotSize struct {
	l, w   float64
	top    float64
	hang   float64
	lamps  int
	along  bool    // the lamps stand in a row along x
	stride float64 // between lamps
}

// try is one attempt at a plan.
type try struct {
	b       *Brief
	number  int
	rng     *rand.Rand // nil on the first try
	clear   rect       // inside the rock work, warm end left
	land    rect       // where furnishings may stand
	way     rect       // clear way along the front; no area where there is none
	items   []item
	spots   []int
	beams   []beam
	ceiling []mounted
	holes   []hole
	walls   []Opening
	spare   []string
	cost    float64
	far     int // steps done
}

func place(b *Brief) (*Plan, *stop) {
	var worst *stop
	options := []int{2, 1}
	if b.Needs.HotSpot == 0 {
		options = []int{0}
	}
	for _, k := range options {
		var best *try
		found, same := 0, 0
		var last *stop
		for i := 0; i < tries && found < successes && same < alike; i++ {
			t := &try{b: b, number: i}
			if i > 0 {
				t.rng = rand.New(rand.NewPCG(b.Seed, uint64(k*1000+i)))
			}
			if s := t.run(k); s != nil {
				s.reached = t.far
				// Fewer hot spots ask for less, so what stops them is what stops the plan.
				if worst == nil || s.reached > worst.reached || k < 2 && i == 0 {
					worst = s
				}
				if !s.chancy() {
					break
				}
				if last != nil && last.at == s.at && last.item == s.item {
					same++
				} else {
					same = 0
				}
				last = s
				continue
			}
			found++
			same = 0
			if best == nil || t.cost < best.cost {
				best = t
			}
		}
		if best != nil {
			return best.plan(), nil
		}
	}
	return nil, worst
}

// chancy reports whether another try may end otherwise: what follows from heights
// and sizes alone does not depend on the places found.
func (s *stop) chancy() bool {
	return s.at != LampDistance && s.at != LampCone
}

func (t *try) run(spots int) *stop {
	b := t.b
	t.clear = b.clearFloor()
	if b.WarmEnd == "right" {
		t.clear.x = b.Box.Length - t.clear.x - t.clear.l
	}
	t.land = t.clear
	sizes, s := t.sizeSpots(spots)
	if s != nil {
		return s
	}
	spotsFirst := func() *stop { return t.hotSpots(sizes) }
	first, second := spotsFirst, t.retreats
	// A retreat with a service door is the fussier one; else both orders have their turn.
	if (b.first(Mat) >= 0) != (t.number%2 == 1) {
		first, second = second, first
	}
	for _, step := range []func() *stop{
		t.water, t.wayAlong, t.sump, first, second, t.dish, t.humid, t.climbing, t.feeding, t.walking, t.digging,
		t.lamps, t.uv, t.nightHeat, t.plantLight, t.fans, t.nozzles, t.fogs, t.cords, t.raise, t.openings,
	} {
		if s := step(); s != nil {
			return s
		}
		t.far++
	}
	return nil
}

// sizeSpots settles the heights of the basking places and their lamps.
func (t *try) sizeSpots(k int) ([]spotSize, *stop) {
	b := t.b
	if k == 0 {
		if i := b.first(Basking); i >= 0 {
			t.spare = append(t.spare, fmt.Sprintf("%s: no hot spot is called for", b.Fixtures[i].label()))
		}
		return nil, nil
	}
	usable := b.Box.Height - b.surface()
	low, high := b.surface()+slab, b.surface()+max(slab, platformReach[b.Animal.Climbs]*usable)
	i := b.first(Basking)
	areas := []float64{b.Needs.HotSpot, max(b.Needs.HotSpot/2, b.Animal.Length*b.Animal.Width)}[:k]
	if i < 0 {
		if k > 1 {
			return nil, &stop{at: LampCone, item: "hot_spot_2", reason: "no basking lamp is listed"}
		}
		side := up(math.Sqrt(areas[0]))
		return []spotSize{{l: side, w: side, top: low}}, nil
	}
	f := &b.Fixtures[i]
	tan := math.Tan(f.Beam / 2 * math.Pi / 180)
	back := b.Animal.BackHeight
	farthest := f.Far
	if farthest == 0 {
		farthest = math.Inf(1)
	}
	// The distances to be had: with the lamp at its highest over the lowest platform,
	// and with the lamp let down over the highest.
	hang := max(f.Hang, f.MaxHang)
	longest := min(b.Box.Height-f.Hang-low-back, farthest)
	shortest := max(b.Box.Height-hang-high-back, f.Near)
	if b.Box.Height-f.Hang-low-back < f.Near-slack {
		return nil, &stop{at: LampDistance, item: "hot_spot_1", reason: fmt.Sprintf("from the lamp's face to a back on the lowest basking place is %.0f mm, less than the %.0f mm it needs",
			1000*(b.Box.Height-f.Hang-low-back), 1000*f.Near)}
	}
	if b.Box.Height-hang-high-back > farthest+slack {
		return nil, &stop{at: LampDistance, item: "hot_spot_1", reason: fmt.Sprintf("from the lamp's face, let down as far as it goes, to a back on the highest basking place is %.0f mm, more than the %.0f mm within which it heats",
			1000*(b.Box.Height-hang-high-back), 1000*farthest)}
	}
	var out []spotSize
	why := ""
	for _, want := range []float64{(shortest + min(longest, shortest+0.3)) / 2, longest, shortest} {
		d := min(max(want, shortest), longest)
		// As little hang as it takes; the platform makes up the rest.
		h := f.Hang
		top := b.Box.Height - h - d - back
		if top > high {
			h += top - high
			top = high
		}
		// To the millimetre, without leaving the bounds.
		h = snap(h)
		least, most := math.Ceil(low*1000-1e-6)/1000, math.Floor(high*1000+1e-6)/1000
		top = min(max(math.Floor((b.Box.Height-h-d-back)*1000+1e-6)/1000, least), most)
		if b.Box.Height-h-top-back > farthest+slack {
			if top+0.001 <= most+slack {
				top = snap(top + 0.001)
			} else {
				h = snap(h + 0.001)
			}
		}
		if got := b.Box.Height - h - top - back; got > farthest+slack || got < f.Near-slack || h > hang+0.0005 || top < least-slack {
			why = "no height to the millimetre keeps the lamp's distance"
			continue
		}
		reach := (b.Box.Height - h - top) * tan
		left := f.Count
		out = out[:0]
		for n, area := range areas {
			s, ok := t.sizeSpot(area, reach, left-(k-1-n), f.Opening)
			if !ok {
				why = fmt.Sprintf("a beam of %.0f° lights a circle of %.0f mm there; %d lamp(s) can't cover %d place(s) of %.3f m² in all", f.Beam, 2000*reach, f.Count, k, areas[0])
				break
			}
			s.top, s.hang = snap(top), h
			left -= s.lamps
			out = append(out, s)
		}
		if len(out) == k {
			if left > 0 {
				t.spare = append(t.spare, fmt.Sprintf("%d of %d basking lamps: the hot spots are lit without", left, f.Count))
			}
			return out, nil
		}
	}
	return nil, &stop{at: LampCone, item: fmt.Sprintf("hot_spot_%d", len(out)+1), reason: why}
}

// sizeSpot finds the sides of a platform of an area that a row of at most n lamps
// with beams of radius reach lights wholly, with as few lamps as possible.
func (t *try) sizeSpot(area, reach float64, n int, opening float64) (spotSize, bool) {
	shapes := []float64{1, 1.4, 2, 1 / 1.4, 0.5, 3, 1 / 3.0}
	if t.rng != nil {
		t.rng.Shuffle(len(shapes), func(i, j int) { shapes[i], shapes[j] = shapes[j], shapes[i] })
	}
	reach -= 0.001 // lamps are marked to the millimetre
	best, ok := spotSize{}, false
	for _, a := range shapes {
		l := up(math.Sqrt(area * a))
		w := up(area / l)
		if l > t.clear.l/2 || w > t.clear.w {
			continue
		}
		long, short := max(l, w), min(l, w)
		half := reach*reach - short*short/4
		if half <= 0 {
			continue
		}
		// A row of m discs covers long if each covers its own part.
		m := int(math.Ceil(long/(2*math.Sqrt(half)) - 1e-9))
		if m > n || ok && m >= best.lamps {
			continue
		}
		stride := 0.0
		if m > 1 {
			stride = math.Floor(long/float64(m)*1000) / 1000
			if need := math.Ceil((opening+t.opening())*1000-1e-6) / 1000; stride < need {
				stride = need
			}
			if stride*float64(m-1) > long || !rowCovers(long, short, reach, stride, m) {
				continue
			}
		}
		best, ok = spotSize{l: l, w: w, lamps: m, along: l >= w, stride: stride}, true
	}
	return best, ok
}

// opening is the least distance between the cut edges of two lamp openings.
func (t *try) opening() float64 {
	p := &t.b.Practice
	return max(p.OpeningGap, 2*p.Trim+p.TrimGap, t.b.Box.Panel)
}

// rowCovers reports whether m discs of a radius, a stride apart in a row, cover a
// rectangle long by short about the row's middle: its worst points lie on the long sides,
// half way between two discs and at the ends.
func rowCovers(long, short, radius, stride float64, m int) bool {
	worst := max(stride/2, (long-stride*float64(m-1))/2)
	return math.Hypot(worst, short/2) <= radius
}

// spot finds a place for a rectangle: of all candidates along walls, neighbours and a
// coarse grid that no rule refuses, the one of least cost. Where none is left it
// answers with the rule that the best candidates failed.
func (t *try) spot(it item, shapes [][2]float64, within rect, cost func(rect) float64, rules ...func(rect) (Constraint, bool)) (rect, *stop) {
	best, least := rect{}, math.Inf(1)
	reached, why := 0, RoomOnFloor
	for _, s := range shapes {
		l, w := s[0], s[1]
		if l > within.l+slack || w > within.w+slack {
			continue
		}
		for _, x := range t.steps(within.x, within.x+within.l, l, func(r rect) (float64, float64) { return r.x, r.x + r.l }) {
			for _, y := range t.steps(within.y, within.y+within.w, w, func(r rect) (float64, float64) { return r.y, r.y + r.w }) {
				r := rect{x, y, l, w}
				if t.taken(r) {
					continue
				}
				refused := false
				for i, rule := range rules {
					if c, ok := rule(r); !ok {
						if refused = true; i+1 > reached {
							reached, why = i+1, c
						}
						break
					}
				}
				if refused {
					continue
				}
				c := cost(r)
				if t.rng != nil {
					c += 0.06 * float64(t.number) * t.rng.Float64() // bolder with every try
				}
				if c < least {
					best, least = r, c
				}
			}
		}
	}
	if math.IsInf(least, 1) {
		return best, &stop{at: why, item: it.code(), reason: "no place is left that keeps to " + words(string(why))}
	}
	t.cost += least
	return best, nil
}

// steps are candidate positions of an edge: at both ends, beside neighbours, and on a
// grid of ten.
func (t *try) steps(from, to, size float64, edges func(rect) (float64, float64)) []float64 {
	end := snap(to - size)
	out := make([]float64, 0, 16+3*len(t.items))
	add := func(x float64) {
		if x = snap(x); x >= from-slack && x <= end+slack {
			for _, y := range out {
				if math.Abs(x-y) < 1e-4 {
					return
				}
			}
			out = append(out, x)
		}
	}
	add(math.Ceil(from*1000-1e-6) / 1000)
	add(math.Floor(end*1000+1e-6) / 1000)
	for _, it := range t.items {
		a, b := edges(it.rect)
		add(math.Ceil((b+furnishGap)*1000-1e-6) / 1000)
		add(math.Floor((a-furnishGap-size)*1000+1e-6) / 1000)
		add(a)
	}
	for i := 1; i < 10; i++ {
		add(from + (to-size-from)*float64(i)/10)
	}
	return out
}

func (t *try) taken(r rect) bool {
	if t.way.l > 0 && r.hits(t.way, 0) {
		return true
	}
	for _, it := range t.items {
		if r.hits(it.rect, furnishGap) {
			return true
		}
	}
	return false
}

// shadows reports whether a furnishing with its top at a height would stand in a beam
// above the platform that it lights.
func (t *try) shadows(r rect, top float64) bool {
	for _, l := range t.beams {
		if top > t.items[l.spot].top+slack && r.from(l.x, l.y) < l.radius(top)+0.001 {
			return true
		}
	}
	return false
}

func (t *try) put(it item) int {
	for _, o := range t.items {
		if o.role == it.role {
			it.n++
		}
	}
	t.items = append(t.items, it)
	return len(t.items) - 1
}

// code names an item: numbered where a role has more than one by nature.
func (it item) code() string {
	if it.role == HotSpot || it.role == Digging {
		return fmt.Sprintf("%s_%d", it.role, it.n+1)
	}
	return string(it.role)
}

// name is the same in words, numbered only where there can be several.
func (it item) name() string {
	if it.role == HotSpot || it.role == Digging && it.n > 0 {
		return fmt.Sprintf("%s %d", roleNames[it.role], it.n+1)
	}
	return roleNames[it.role]
}

func (t *try) find(r Role) *item {
	for i := range t.items {
		if t.items[i].role == r {
			return &t.items[i]
		}
	}
	return nil
}

// shapes are sides of rectangles of an area, each no shorter than least.
func shapesOf(area, least float64, aspects ...float64) (out [][2]float64) {
	for _, a := range aspects {
		l := max(up(math.Sqrt(area*a)), up(least))
		w := max(up(area/l), up(least))
		out = append(out, [2]float64{l, w})
		if a != 1 {
			out = append(out, [2]float64{w, l})
		}
	}
	return out
}

// toward prefers a place at a share of the length, and the back of the floor.
func (t *try) toward(share, back float64) func(rect) float64 {
	return func(r rect) float64 {
		return math.Abs(r.cx()-t.clear.x-share*t.clear.l)/t.clear.l + back*(t.clear.y+t.clear.w-r.y-r.w)/t.clear.w
	}
}

func (t *try) share(x float64) float64 { return (x - t.clear.x) / t.clear.l }

// wetMostly: land is what the water leaves at the warm end.
func (b *Brief) wetMostly(clear rect) bool { return b.Needs.Water > wetFloor*clear.area() }

func (t *try) tub(r rect) item {
	bottom := max(0, t.b.surface()-t.b.Needs.WaterDepth)
	return item{role: Water, rect: r, bottom: snap(bottom), top: snap(bottom + t.b.Needs.WaterDepth)}
}

// water places large water first: it decides what is land.
func (t *try) water() *stop {
	n, c := &t.b.Needs, t.clear
	if n.Water == 0 || !t.b.wetMostly(c) {
		return nil
	}
	if n.Water > c.area()*(1+1e-9) {
		return &stop{at: RoomOnFloor, item: string(Water), reason: "the water asked for is larger than the clear floor"}
	}
	l := min(up(n.Water/c.w), c.l)
	// Land narrower than the animal is long is of no use, so then it is water throughout.
	if c.l-l < t.b.Animal.Length && n.HotSpot == 0 {
		l = c.l
	}
	t.put(t.tub(rect{snap(c.x + c.l - l), c.y, snap(l), c.w}))
	t.land = rect{c.x, c.y, c.l - l, c.w}
	return nil
}

// wayAlong keeps a way free along the front of the land, wide enough for the animal.
func (t *try) wayAlong() *stop {
	if t.b.wetMostly(t.clear) {
		return nil
	}
	w := snap(bodyRoom * t.b.Animal.Width)
	if w > t.clear.w-0.1 {
		return &stop{at: WalkingArea, item: string(Walking), reason: "a way along the front leaves less than 10 cm for furnishings"}
	}
	t.way = rect{t.clear.x, t.clear.y, t.clear.l, w}
	t.land = rect{t.clear.x, snap(t.clear.y + w), t.clear.l, t.clear.w - w}
	return nil
}

// sump places the trough under a running-water wall at the back of the cool end.
func (t *try) sump() *stop {
	i := t.b.first(WaterWall)
	if i < 0 {
		return nil
	}
	f := &t.b.Fixtures[i]
	l, w := up(f.Length), sumpWidth
	if f.Width > t.b.Box.Height-t.b.surface() {
		return &stop{at: RoomOnFloor, item: string(WaterWall), reason: "the running-water wall is higher than the air above the substrate"}
	}
	it := item{role: Sump, bottom: snap(max(0, t.b.surface()-sumpDepth)), top: snap(max(sumpDepth, t.b.surface()))}
	if w0 := t.find(Water); w0 != nil { // above the water, which then is its sump
		return nil
	}
	it.rect = rect{snap(t.land.x + t.land.l - l), snap(t.land.y + t.land.w - w), l, w}
	if !it.inside(t.land) || t.taken(it.rect) {
		return &stop{at: RoomOnFloor, item: string(Sump), reason: "the trough of the running-water wall finds no room at the back of the cool end"}
	}
	t.put(it)
	return nil
}

func (t *try) hotSpots(sizes []spotSize) *stop {
	b := t.b
	swims := b.Needs.Water > 0 && b.Animal.Swims == 3
	if swims && t.find(Water) == nil {
		if s := t.dish(); s != nil {
			return s
		}
	}
	var margin float64 // from a lamp to the walls
	i := b.first(Basking)
	if i >= 0 {
		margin = b.Fixtures[i].Opening/2 + max(b.Practice.EdgeDistance, b.Practice.Trim+b.Practice.EdgeDistance/2, b.Box.Panel)
	}
	for n, s := range sizes {
		it := item{role: HotSpot, top: snap(s.top)} // on posts from the floor panel: soil can be dug away
		if b.Animal.Climbs >= 2 && s.top-ledge > b.surface() {
			it.bottom = snap(s.top - ledge)
		}
		// The second stands where the first does not shine, or no higher than it.
		cost := t.toward(0.16+0.20*float64(n), 0.15)
		shape := [][2]float64{{s.l, s.w}}
		var lit []beam
		rules := []func(rect) (Constraint, bool){
			func(r rect) (Constraint, bool) { return GradientOrder, t.share(r.cx()) <= hotSpotEnd },
			func(r rect) (Constraint, bool) {
				w := t.find(Water)
				return HaulOut, !swims || n > 0 || r.apart(w.rect) <= haulOutGap+slack
			},
			func(r rect) (Constraint, bool) {
				for _, l := range row(r, s) {
					if !(rect{l[0], l[1], 0, 0}).inside(t.clear.grown(-margin)) {
						return EdgeSpacing, false
					}
					for _, o := range t.beams {
						if math.Hypot(l[0]-o.x, l[1]-o.y) < b.Fixtures[i].Opening+t.opening()-slack {
							return OpeningSpacing, false
						}
					}
					if t.crossesBatten(shape2(l[0], l[1], b.Fixtures[i].Opening/2+b.Practice.Trim)) {
						return BattenFree, false
					}
					if !(b.Fixtures[i].Secured && b.Fixtures[i].SplashProof) && t.overWater(shape2(l[0], l[1], b.Fixtures[i].Opening/2+b.Practice.Trim)) {
						return OverWater, false
					}
				}
				return "", true
			},
			func(r rect) (Constraint, bool) { return BeamFree, !t.shadows(r, it.top) && t.unshaded(r, s) },
		}
		r, stop := t.spot(it, shape, t.land, cost, rules...)
		if stop != nil {
			return stop
		}
		it.rect = r
		at := t.put(it)
		t.spots = append(t.spots, at)
		if i >= 0 {
			f := &b.Fixtures[i]
			for _, l := range row(r, s) {
				lit = append(lit, beam{l[0], l[1], at, math.Tan(f.Beam / 2 * math.Pi / 180), snap(b.Box.Height - s.hang)})
			}
		}
		t.beams = append(t.beams, lit...)
	}
	return nil
}

// unshaded reports whether nothing placed already stands in the beams of a new spot.
func (t *try) unshaded(r rect, s spotSize) bool {
	i := t.b.first(Basking)
	if i < 0 {
		return true
	}
	tan := math.Tan(t.b.Fixtures[i].Beam / 2 * math.Pi / 180)
	for _, l := range row(r, s) {
		for _, it := range t.items {
			if it.top > s.top+slack && it.from(l[0], l[1]) < (t.b.Box.Height-s.hang-it.top)*tan+0.001 {
				return false
			}
		}
	}
	return true
}

// row is where the lamps of a spot hang.
func row(r rect, s spotSize) (out [][2]float64) {
	for k := range s.lamps {
		off := s.stride * (float64(k) - float64(s.lamps-1)/2)
		x, y := r.cx(), r.cy()
		if s.along {
			x += off
		} else {
			y += off
		}
		out = append(out, [2]float64{snap(x), snap(y)})
	}
	return out
}

func (t *try) retreats() *stop {
	b := t.b
	if b.Needs.Retreat == 0 {
		return nil
	}
	top := snap(b.surface() + up(max(bodyRoom*b.Animal.BackHeight, 0.05)))
	least := bodyRoom * b.Animal.Width
	for _, role := range []Role{WarmRetreat, CoolRetreat} {
		it := item{role: role, bottom: snap(b.surface()), top: top}
		shapes := shapesOf(b.Needs.Retreat, least, 1, 1.5, 2.2)
		rules := []func(rect) (Constraint, bool){
			func(r rect) (Constraint, bool) {
				if role == WarmRetreat {
					return RetreatBothEnds, t.share(r.cx()) <= warmEnd
				}
				return RetreatBothEnds, t.share(r.cx()) >= coolEnd
			},
			func(r rect) (Constraint, bool) { return BeamFree, !t.shadows(r, top) },
		}
		cost := t.toward(0.1, 0.3)
		if role == CoolRetreat {
			cost = t.toward(0.92, 0.2)
		}
		if i := b.first(Mat); i >= 0 && role == WarmRetreat {
			f := &b.Fixtures[i]
			it.bottom = 0 // its own floor carries the mat
			// A web of the panel's thickness stays between the door and a corner of the box.
			door := max(b.Practice.MatService, min(f.Length, f.Width)) + 2*b.Box.Panel
			shapes = matShapes(b.Needs.Retreat, f, door, least)
			rules = append(rules, func(r rect) (Constraint, bool) {
				side := math.Abs(r.x-t.clear.x) < 0.0011 && r.w >= door-slack
				back := math.Abs(r.y+r.w-t.clear.y-t.clear.w) < 0.0011 && r.l >= door-slack
				return ServiceOpening, side || back
			})
		}
		r, stop := t.spot(it, shapes, t.land, cost, rules...)
		if stop != nil {
			return stop
		}
		it.rect = r
		t.put(it)
	}
	return nil
}

// matShapes are sides of a retreat that holds the mat, one of them as long as the service opening.
func matShapes(area float64, f *Fixture, door, least float64) (out [][2]float64) {
	long, short := max(f.Length, f.Width)+0.02, min(f.Length, f.Width)+0.02
	for _, s := range [][2]float64{{long, short}, {short, long}} {
		for _, along := range []bool{true, false} {
			l, w := max(s[0], least), max(s[1], least)
			if along {
				l = max(l, door)
			} else {
				w = max(w, door)
			}
			if l*w < area {
				if l < w {
					l = area / w
				} else {
					w = area / l
				}
			}
			out = append(out, [2]float64{up(l), up(w)})
		}
	}
	return out
}

// dish places water that takes less than most of the floor.
func (t *try) dish() *stop {
	b := t.b
	if b.Needs.Water == 0 || t.find(Water) != nil {
		return nil
	}
	it := t.tub(rect{})
	if b.Box.Height-it.top < leastAir {
		return &stop{at: RoomOnFloor, item: string(Water), reason: "the tub leaves no air above it"}
	}
	// The body fits in, where the area lets it.
	shapes := shapesOf(b.Needs.Water, min(b.Animal.Width, math.Floor(200*math.Sqrt(b.Needs.Water))/200), 1, 1.5, 2, 3)
	// Across the whole floor, unless that makes a gutter of it.
	if w := math.Floor(t.land.w*1000) / 1000; b.Needs.Water/w < t.land.l && b.Needs.Water/w >= w/longWater {
		shapes = append(shapes, [2]float64{up(b.Needs.Water / w), w})
	}
	cost := t.toward(0.74, 0.1)
	if b.first(WaterWall) >= 0 {
		cost = t.toward(0.9, 0.3)
	}
	r, stop := t.spot(it, shapes, t.land, cost,
		func(r rect) (Constraint, bool) { return GradientOrder, t.share(r.cx()) >= waterStart },
		func(r rect) (Constraint, bool) { return BeamFree, !t.shadows(r, it.top) },
		// A swimmer's water leaves room beside it for the haul-out.
		func(r rect) (Constraint, bool) {
			return HaulOut, b.Animal.Swims < 3 || b.Needs.HotSpot == 0 || len(t.spots) > 0 || r.x-t.land.x >= math.Sqrt(b.Needs.HotSpot)
		})
	if stop != nil {
		return stop
	}
	it.rect = r
	t.put(it)
	return nil
}

func (t *try) humid() *stop {
	b := t.b
	if b.Needs.HumidRetreat == 0 {
		return nil
	}
	it := item{role: HumidRetreat, bottom: snap(b.surface()), top: snap(b.surface() + up(max(bodyRoom*b.Animal.BackHeight, 0.05)))}
	r, stop := t.spot(it, shapesOf(b.Needs.HumidRetreat, bodyRoom*b.Animal.Width, 1, 1.5, 2.2), t.land, t.toward(0.5, 0.25),
		func(r rect) (Constraint, bool) {
			for _, o := range t.items {
				if (o.role == HotSpot || o.role == WarmRetreat) && r.cx() <= o.cx()+slack || o.role == CoolRetreat && r.cx() >= o.cx()-slack {
					return GradientOrder, false
				}
			}
			return "", true
		},
		func(r rect) (Constraint, bool) { return BeamFree, !t.shadows(r, it.top) })
	if stop != nil {
		return stop
	}
	it.rect = r
	t.put(it)
	return nil
}

func (t *try) climbing() *stop {
	b := t.b
	if b.Animal.Climbs == 0 || t.b.wetMostly(t.clear) {
		return nil
	}
	usable := b.Box.Height - b.surface()
	it := item{role: Climbing, bottom: 0, top: snap(b.surface() + max(slab, climbShare[b.Animal.Climbs]*usable))}
	cost := t.toward(0.4, 0.2)
	if len(t.spots) > 0 { // it leads up to the basking place
		s := t.items[t.spots[0]].rect
		cost = func(r rect) float64 { return 0.5*r.apart(s)/t.clear.l + 0.3*t.toward(0.4, 0.3)(r) }
	}
	r, stop := t.spot(it, shapesOf(climbFloor[b.Animal.Climbs]*t.clear.area(), 0.05, 1.5, 2.5, 1), t.land, cost,
		func(r rect) (Constraint, bool) { return BeamFree, !t.shadows(r, it.top) })
	if stop != nil {
		return stop
	}
	it.rect = r
	t.put(it)
	return nil
}

func (t *try) feeding() *stop {
	b := t.b
	if b.Needs.Feeding == 0 {
		return nil
	}
	it := item{role: Feeding, bottom: snap(b.surface()), top: snap(b.surface() + 0.01)}
	front := func(r rect) float64 { return t.toward(0.55, 0)(r) + 0.3*(r.y-t.land.y)/t.clear.w }
	r, stop := t.spot(it, shapesOf(b.Needs.Feeding, 0, 1, 1.6), t.land, front,
		func(r rect) (Constraint, bool) { return BeamFree, !t.shadows(r, it.top) })
	if stop != nil {
		return stop
	}
	it.rect = r
	t.put(it)
	return nil
}

// walking checks that enough of the land stays clear.
func (t *try) walking() *stop {
	land, used := t.clear.area(), 0.0
	for _, it := range t.items {
		if it.role.wet() {
			land -= it.area()
		} else {
			used += it.area()
		}
	}
	if free := land - used; free < t.b.Needs.Clear*land-slack {
		return &stop{at: WalkingArea, item: string(Walking), reason: fmt.Sprintf("furnishings leave %.2f m² of the %.2f m² of dry floor clear, less than %.0f %%", free, land, 100*t.b.Needs.Clear)}
	}
	if t.way.l > 0 {
		t.put(item{role: Walking, rect: t.way, bottom: snap(t.b.surface()), top: snap(t.b.surface())})
	}
	return nil
}

// digPieces is in how many rectangles the digging ground may lie.
const digPieces = 4

// digging marks ground at full depth: under the open floor and the lighter retreats,
// never under what stands on the floor of the enclosure or could be undermined.
func (t *try) digging() *stop {
	b := t.b
	need := b.Needs.Digging
	if need == 0 {
		return nil
	}
	var solid []rect
	for _, it := range t.items {
		if it.role != Walking && it.role != Feeding && it.role != HumidRetreat && it.role != CoolRetreat && (it.role != WarmRetreat || it.bottom == 0) {
			solid = append(solid, it.rect)
		}
	}
	got := 0.0
	for range digPieces {
		r, ok := largestFree(t.clear, solid, max(0.05, b.Animal.Width))
		if !ok {
			break
		}
		if left := need - got; r.area() > left { // no more than is asked for
			if l := up(left / r.w); l < r.l {
				r.x += r.l - l
				r.l = l
			}
		}
		r.x, r.l = snap(r.x), snap(r.l)
		got += r.area()
		solid = append(solid, r)
		t.put(item{role: Digging, rect: r, bottom: snap(b.Box.Drainage), top: snap(b.surface())})
		if got >= need-slack {
			return nil
		}
	}
	return &stop{at: DiggingGround, item: string(Digging), reason: fmt.Sprintf("%.2f m² can be dug, %.2f m² are needed", got, need)}
}

func (t *try) overWater(s shape) bool {
	for _, it := range t.items {
		if it.role.wet() && s.fromRect(it.rect) <= slack {
			return true
		}
	}
	return false
}

func shape2(x, y, r float64) shape { return shape{x: x, y: y, r: r} }

func words(code string) string {
	out := strings.ReplaceAll(code, "_", " ")
	if strings.HasPrefix(out, "uv") {
		out = "UV" + out[2:]
	}
	return out
}

func (f *Fixture) label() string {
	if f.Name != "" {
		return f.Name
	}
	return kindNames[f.Kind]
}
