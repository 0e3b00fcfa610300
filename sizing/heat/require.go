package heat

import (
	"fmt"
	"math"
	"slices"
)

// Role says when a source runs and which target it serves.
type Role int

// The roles of a source.
const (
	Basking     Role = iota // day; its watts are sized for the hot spot
	Heater                  // day and night; sized for the warm end by day and the lowest air by night
	DayHeater               // day; sized for the warm end
	NightHeater             // night; sized for the lowest air
	DayFixed                // runs by day at its watts (a light)
	AlwaysFixed             // runs day and night at its watts (a water heater)
	roleCount
)

func (r Role) runs(night bool) bool {
	if night {
		return r == Heater || r == NightHeater || r == AlwaysFixed
	}
	return r != NightHeater
}

func (r Role) fixed() bool { return r == DayFixed || r == AlwaysFixed }

// Equipment is a source with its role. Watts of a fixed source is what it draws;
// of a source to be sized it is the most it can give, 0 for no limit known
// (then [NoRating] is the limit).
type Equipment struct {
	Source
	Role Role
}

// NoRating is the power, W, at which the search for a source without a rating
// stops. A need above it is reported as unreachable.
const NoRating = 2000.0

// Targets are the temperatures wanted, °C; nil means not wanted.
type Targets struct {
	HotSpot          *float64 // surface under the basking sources
	WarmMin, WarmMax *float64 // air at the warm end, by day
	CoolMax          *float64 // most for air at the cool end, by day
	NightMin         *float64 // least for air anywhere along the length, by night
	NightMax         *float64 // most for air anywhere along the length, by night
	AirMax           *float64 // most for air anywhere along the length, day and night
	// Height above the substrate at which air is read, m; 0 for the middle of the
	// lowest layer. Climbers live higher.
	Height float64
	// WarmX is where the warm end is read, m from the left; nil for the place of
	// the first basking source, else of the first heater, else the left end. The cool end is the
	// end zone farther from it.
	WarmX *float64
}

// Room is one state of the room, such as "winter": its air by day and by night, °C.
type Room struct {
	Name       string
	Day, Night float64
}

// Need is the inverse question: which watts meet the targets in these rooms.
type Need struct {
	Enclosure Enclosure
	Equipment []Equipment
	Targets   Targets
	Rooms     []Room
	DayHours  float64 // hours of day in 24
}

// Unmet is a target that can't be had, with the reason and the nearest value that can.
type Unmet struct {
	Target  string // the field's name: "hot_spot", "warm_min", …
	Wanted  float64
	Nearest float64 // °C, at the typical coefficients, or at the worst where only that fails
	Reason  string
	// Typical: it fails at the typical coefficients. Always: in every case, so
	// that no luck with the uncertain coefficients would help.
	Typical, Always bool
}

// Holds answers a question whose answer depends on uncertain coefficients.
type Holds string

// The answers.
const (
	Yes     Holds = "yes"
	No      Holds = "no"
	Depends Holds = "depends" // on the uncertain coefficients
	NotSet  Holds = "no target"
)

// SourceWatts is the power one source must give.
type SourceWatts struct {
	Source string
	Role   Role
	Watts  Interval
	Duty   Interval // share of its rating; zero where no rating is known
}

// Phase is the answer for day or night in one room.
type Phase struct {
	Watts []SourceWatts
	// Cooling is the heat, W, to be taken out where the room is warmer than a
	// ceiling allows. It is 0 where the room is cool enough.
	Cooling     Interval
	RoomTooWarm bool // the room is above the ceiling, so that without cooling no setting can meet it
	HotSpot     *Interval
	WarmEnd     Interval
	CoolEnd     Interval
	Coldest     Interval // lowest air along the length at reading height
	Warmest     Interval
	AirChanges  Interval
	// CoolEndHolds: does the cool end stay at or under its most?
	CoolEndHolds Holds
	Unmet        []Unmet
	Typical      State
}

// RoomAnswer is the answer for one room.
type RoomAnswer struct {
	Room       Room
	Day, Night Phase
	// Energy is the electricity of the sources over 24 h, kWh; cooling is not in it.
	Energy Interval
}

// Require finds, for every room, the watts each source must give by day and by
// night, the watts of cooling where the room is too warm, and the targets that
// can't be met with the nearest values that can. Errors are an [*InputError] for
// input that is not physical; a target out of reach is not an error.
//
// Where the air change does not depend on the warmth inside, more insulation
// never raises the watts. In a box of several cells with mesh or wide vents it
// may by a fraction of a percent: a warmer box draws more, and the cold air enters low.
func Require(n Need) ([]RoomAnswer, error) {
	nw, err := n.check()
	if err != nil {
		return nil, err
	}
	sz, err := newSizer(nw, &n)
	if err != nil {
		return nil, err
	}
	var out []RoomAnswer
	for _, room := range n.Rooms {
		a := RoomAnswer{Room: room}
		if a.Day, err = sz.phase(room.Day, false); err != nil {
			return nil, fmt.Errorf("room %q by day: %w", room.Name, err)
		}
		if a.Night, err = sz.phase(room.Night, true); err != nil {
			return nil, fmt.Errorf("room %q by night: %w", room.Name, err)
		}
		for _, p := range []struct {
			watts []SourceWatts
			hours float64
		}{{a.Day.Watts, n.DayHours}, {a.Night.Watts, 24 - n.DayHours}} {
			for _, s := range p.watts {
				a.Energy.Low += s.Watts.Low * p.hours / 1000
				a.Energy.Typical += s.Watts.Typical * p.hours / 1000
				a.Energy.High += s.Watts.High * p.hours / 1000
			}
		}
		out = append(out, a)
	}
	return out, nil
}

func (n *Need) check() (*network, error) {
	if err := within("day_hours", n.DayHours, 0, 24, "h"); err != nil {
		return nil, err
	}
	if len(n.Rooms) == 0 {
		return nil, bad("rooms", "give at least one room temperature")
	}
	for i, r := range n.Rooms {
		field := fmt.Sprintf("rooms[%d]", i)
		if err := first(celsius(field+".day", r.Day), celsius(field+".night", r.Night)); err != nil {
			return nil, err
		}
	}
	for i, q := range n.Equipment {
		if q.Role < 0 || q.Role >= roleCount {
			return nil, bad(fmt.Sprintf("equipment[%d].role", i), "unknown role %d", int(q.Role))
		}
	}
	t := n.Targets
	for _, c := range []struct {
		field string
		v     *float64
	}{{"hot_spot", t.HotSpot}, {"warm_min", t.WarmMin}, {"warm_max", t.WarmMax}, {"cool_max", t.CoolMax}, {"night_min", t.NightMin}, {"night_max", t.NightMax}, {"air_max", t.AirMax}} {
		if c.v != nil {
			if err := celsius("targets."+c.field, *c.v); err != nil {
				return nil, err
			}
		}
	}
	for _, c := range []struct {
		field  string
		lo, hi *float64
	}{{"warm_max", t.WarmMin, t.WarmMax}, {"night_max", t.NightMin, t.NightMax}, {"air_max", t.WarmMin, t.AirMax}, {"air_max", t.NightMin, t.AirMax}} {
		if c.lo != nil && c.hi != nil && *c.hi < *c.lo {
			return nil, bad("targets."+c.field, "must not be below the least that is wanted, %g °C", *c.lo)
		}
	}
	nw, err := newNetwork(&n.Enclosure)
	if err != nil {
		return nil, under("enclosure", err)
	}
	if err := within("targets.height", t.Height, 0, n.Enclosure.Height, "m"); err != nil {
		return nil, err
	}
	if t.WarmX != nil {
		return nw, within("targets.warm_x", *t.WarmX, 0, n.Enclosure.Length, "m")
	}
	return nw, nil
}

// sizer holds what the search needs for every case.
type sizer struct {
	nw       *network
	n        *Need
	w        *workspace
	sources  []Source
	deposits [3][]deposit // by level
	cases    []setting
	z        float64
	warmX    float64
	coolX    float64
	xs       []float64 // zone centres
}

func newSizer(nw *network, n *Need) (*sizer, error) {
	sz := &sizer{nw: nw, n: n, w: newWorkspace(nw.n * nw.m), cases: nw.settings(), z: n.Targets.Height}
	if sz.z == 0 {
		sz.z = n.Enclosure.readHeight()
	}
	for _, q := range n.Equipment {
		sz.sources = append(sz.sources, q.Source)
	}
	for _, l := range []level{typical, low, high} {
		var err error
		if sz.deposits[l], err = nw.resolve("equipment", sz.sources, l); err != nil {
			return nil, err
		}
	}
	for i := range nw.n {
		sz.xs = append(sz.xs, (float64(i)+0.5)*nw.dx)
	}
	sz.warmX = sz.xs[0]
	for _, role := range []Role{Basking, DayHeater, Heater} {
		if i := slices.IndexFunc(n.Equipment, func(q Equipment) bool { return q.Role == role }); i >= 0 {
			sz.warmX = n.Equipment[i].X
			break
		}
	}
	if n.Targets.WarmX != nil {
		sz.warmX = *n.Targets.WarmX
	}
	sz.coolX = sz.xs[len(sz.xs)-1]
	if sz.warmX > n.Enclosure.Length/2 {
		sz.coolX = sz.xs[0]
	}
	return sz, nil
}

// outcome is one phase solved for one case.
type outcome struct {
	watts   []float64
	cooling float64
	state   State
	hotSpot float64 // °C, NaN if there is no basking source
	warmEnd float64
	coolEnd float64
	coldest float64
	warmest float64
	unmet   []Unmet
}

// limits are the targets of one phase.
type limits struct {
	hot, least, most, cool, ceiling *float64
}

func (sz *sizer) limits(night bool) limits {
	t := sz.n.Targets
	if !night {
		return limits{hot: t.HotSpot, least: t.WarmMin, most: t.WarmMax, cool: t.CoolMax, ceiling: t.AirMax}
	}
	l := limits{least: t.NightMin, ceiling: t.NightMax}
	if t.AirMax != nil && (l.ceiling == nil || *t.AirMax < *l.ceiling) {
		l.ceiling = t.AirMax
	}
	return l
}

func (q Equipment) limit() float64 {
	if q.Watts > 0 {
		return q.Watts
	}
	return NoRating
}

// pick returns the equipment that serves a purpose by day or night, in order of preference.
func (sz *sizer) pick(roles ...Role) []int {
	for _, r := range roles {
		var idx []int
		for i, q := range sz.n.Equipment {
			if q.Role == r {
				idx = append(idx, i)
			}
		}
		if len(idx) > 0 {
			return idx
		}
	}
	return nil
}

// power splits a group's power in proportion to the limits of its members.
func (sz *sizer) power(watts []float64, group []int, total float64) {
	var sum float64
	for _, i := range group {
		sum += sz.n.Equipment[i].limit()
	}
	for _, i := range group {
		watts[i] = total * sz.n.Equipment[i].limit() / sum
	}
}

func (sz *sizer) groupLimit(group []int) float64 {
	var sum float64
	for _, i := range group {
		sum += sz.n.Equipment[i].limit()
	}
	return sum
}

// groupHeat is the heat per cell of one watt given to a group.
func (sz *sizer) groupHeat(dep []deposit, group []int) []float64 {
	unit := make([]float64, len(sz.n.Equipment))
	sz.power(unit, group, 1)
	out := make([]float64, sz.nw.n*sz.nw.m)
	for _, i := range group {
		for c, share := range dep[i].air {
			out[c] += unit[i] * share
		}
	}
	return out
}

// size solves one phase for one case. Air is linear in the powers while the vent
// flow stands, so each round takes the flow from the last powers, gets the
// response of the air to one watt of each group, and sets the powers one after
// another until none moves; then the flow is found anew.
func (sz *sizer) size(set setting, room float64, night bool) (outcome, error) {
	nw, lim, dep := sz.nw, sz.limits(night), sz.deposits[set.radiant]
	var lamps, heaters []int
	if night {
		heaters = sz.pick(NightHeater, Heater)
	} else {
		lamps, heaters = sz.pick(Basking), sz.pick(DayHeater, Heater)
	}
	watts := make([]float64, len(sz.sources))
	for i, q := range sz.n.Equipment {
		if q.Role.fixed() && q.Role.runs(night) {
			watts[i] = q.Watts
		}
	}
	fixed := nw.heat(dep, watts)
	tooWarm := (lim.cool != nil && room > *lim.cool) || (lim.ceiling != nil && room > *lim.ceiling)
	cells := nw.n * nw.m
	extract := make([]float64, cells) // per watt of cooling, spread over all cells
	for c := range extract {
		extract[c] = -1 / float64(cells)
	}
	lampHeat, heaterHeat := sz.groupHeat(dep, lamps), sz.groupHeat(dep, heaters)

	var p, q, k float64 // watts of lamps, heaters, cooling
	heat := make([]float64, cells)
	for round := range 40 {
		for c := range heat {
			heat[c] = fixed[c] + p*lampHeat[c] + q*heaterHeat[c] + k*extract[c]
		}
		if _, _, err := nw.settle(sz.w, set, room, heat); err != nil {
			return outcome{}, err
		}
		var err error
		var r [4][]float64 // responses: fixed, lamp, heater, cooling
		for i, h := range [4][]float64{fixed, lampHeat, heaterHeat, extract} {
			if r[i], err = sz.w.solve(h); err != nil {
				return outcome{}, err
			}
		}
		p0, q0, k0 := p, q, k
		if p, q, k, err = sz.balance(r, p, q, k, lim, dep, set, room, watts, lamps, heaters, tooWarm, night); err != nil {
			return outcome{}, err
		}
		if math.Abs(p-p0)+math.Abs(q-q0)+math.Abs(k-k0) < 1e-5 {
			break
		}
		// Far into the search, average: the flow's square root can make it swing.
		if round > 8 {
			p, q, k = (p+p0)/2, (q+q0)/2, (k+k0)/2
		}
	}
	sz.power(watts, lamps, p)
	sz.power(watts, heaters, q)
	for c := range heat {
		heat[c] = fixed[c] + p*lampHeat[c] + q*heaterHeat[c] + k*extract[c]
	}
	theta, fl, err := nw.settle(sz.w, set, room, heat)
	if err != nil {
		return outcome{}, err
	}
	o := outcome{watts: watts, cooling: k, hotSpot: math.NaN()}
	if o.state, err = nw.state(set, room, sz.sources, dep, watts, k, theta, fl); err != nil {
		return outcome{}, err
	}
	if len(lamps) > 0 {
		st, ok, err := nw.spot(lamps[0], sz.sources, dep, set.radiant, watts, room, theta)
		if err != nil {
			return outcome{}, err
		}
		if ok {
			o.hotSpot = st.Temperature
		}
	}
	o.warmEnd = room + nw.sample(theta, sz.warmX, sz.z)
	o.coolEnd = room + nw.sample(theta, sz.coolX, sz.z)
	o.coldest, o.warmest = math.Inf(1), math.Inf(-1)
	for _, x := range sz.xs {
		t := room + nw.sample(theta, x, sz.z)
		o.coldest, o.warmest = math.Min(o.coldest, t), math.Max(o.warmest, t)
	}
	sz.judge(&o, lim, room, p, q, lamps, heaters, night)
	return o, nil
}

// balance sets lamps, heaters and cooling in turn at fixed responses r of the air
// (to the fixed sources, and to one watt of each group).
func (sz *sizer) balance(r [4][]float64, p, q, k float64, lim limits, dep []deposit, set setting, room float64, fixedWatts []float64, lamps, heaters []int, tooWarm, night bool) (float64, float64, float64, error) {
	nw := sz.nw
	at := func(x float64) (v [4]float64) {
		for i := range r {
			v[i] = nw.sample(r[i], x, sz.z)
		}
		return v
	}
	warm, cool := at(sz.warmX), at(sz.coolX)
	row := make([][4]float64, len(sz.xs))
	for i, x := range sz.xs {
		row[i] = at(x)
	}
	var hot *spotLine
	if lim.hot != nil && len(lamps) > 0 {
		var err error
		if hot, err = sz.spotLine(r, dep, set, fixedWatts, lamps); err != nil {
			return 0, 0, 0, err
		}
	}
	for range 200 {
		p0, q0, k0 := p, q, k
		if hot != nil {
			p = clamp(hot.watts(*lim.hot, room, q, k, p), sz.groupLimit(lamps))
		}
		if lim.least != nil && len(heaters) > 0 {
			// By night the coldest place counts, by day the warm end.
			need := 0.0
			places := [][4]float64{warm}
			if night {
				places = row
			}
			for _, v := range places {
				if v[2] > 0 {
					need = math.Max(need, (*lim.least-room-v[0]-p*v[1]-k*v[3])/v[2])
				}
			}
			q = clamp(need, sz.groupLimit(heaters))
		}
		if tooWarm {
			need := 0.0
			push := func(v [4]float64, most *float64) {
				if most != nil && v[3] < 0 {
					need = math.Max(need, (room+v[0]+p*v[1]+q*v[2]-*most)/-v[3])
				}
			}
			push(cool, lim.cool)
			for _, v := range row {
				push(v, lim.ceiling)
			}
			k = clamp(need, 1e5)
		}
		if math.Abs(p-p0)+math.Abs(q-q0)+math.Abs(k-k0) < 1e-7 {
			break
		}
	}
	return p, q, k, nil
}

func clamp(x, hi float64) float64 { return math.Max(0, math.Min(x, hi)) }

// spotLine is the balance of the basking surface with its air and surroundings
// written as linear functions of the powers.
type spotLine struct {
	s            Spot
	fixed, lamp  float64    // irradiance of other lamps, and per watt of the group
	air, surface [4]float64 // rise of air and of surroundings: fixed, per watt of lamp, heater, cooling
}

func (sz *sizer) spotLine(r [4][]float64, dep []deposit, set setting, fixedWatts []float64, lamps []int) (*spotLine, error) {
	i := lamps[0]
	s := &sz.sources[i]
	sp, err := s.surface(set.radiant)
	if err != nil {
		return nil, under(fmt.Sprintf("equipment[%d]", i), err)
	}
	line := &spotLine{s: sp}
	unit := make([]float64, len(sz.sources))
	sz.power(unit, lamps, 1)
	for j := range sz.sources {
		if !lights(sz.sources, dep, j, i) {
			continue
		}
		if slices.Contains(lamps, j) {
			line.lamp += unit[j] * dep[j].perWatt
		} else {
			line.fixed += fixedWatts[j] * dep[j].perWatt
		}
	}
	for c := range r {
		line.air[c] = sz.nw.sample(r[c], s.X, s.TargetZ)
		line.surface[c] = dot(sz.nw.surround, r[c])
	}
	return line, nil
}

// watts is the lamp power that brings the surface to t °C while heaters give q
// and cooling takes k; the radiation coefficient is taken at the last power.
func (l *spotLine) watts(t, room, q, k, last float64) float64 {
	air := room + l.air[0] + q*l.air[2] + k*l.air[3]
	sur := room + l.surface[0] + q*l.surface[2] + k*l.surface[3]
	s, tr := t+kelvin, sur+last*l.surface[1]+kelvin
	hr := l.s.Emissivity * sigma * (s*s + tr*tr) * (s + tr)
	h := l.s.Convection + l.s.Conduction
	need := h*(t-air) + hr*(t-sur) - l.s.Absorptivity*l.fixed
	give := l.s.Absorptivity*l.lamp + h*l.air[1] + hr*l.surface[1]
	if give <= 0 {
		return math.Copysign(math.MaxFloat64, need)
	}
	return need / give
}

// tolerance within which a target counts as met, K.
const tolerance = 0.05

// judge lists the targets that an outcome misses.
func (sz *sizer) judge(o *outcome, lim limits, room, p, q float64, lamps, heaters []int, night bool) {
	miss := func(target string, wanted, nearest float64, reason string, args ...any) {
		o.unmet = append(o.unmet, Unmet{Target: target, Wanted: wanted, Nearest: nearest, Reason: fmt.Sprintf(reason, args...)})
	}
	if lim.hot != nil {
		switch {
		case math.IsNaN(o.hotSpot):
			miss("hot_spot", *lim.hot, o.warmest, "no basking source is given; the warmest air stands for the nearest value")
		case o.hotSpot < *lim.hot-tolerance:
			miss("hot_spot", *lim.hot, o.hotSpot, "the basking sources reach it at %.0f W together, the most they can give", p)
		case o.hotSpot > *lim.hot+tolerance:
			miss("hot_spot", *lim.hot, o.hotSpot, "room and other sources make the surface warmer even with the basking source off")
		}
	}
	leastName, leastAt := "warm_min", o.warmEnd
	if night {
		leastName, leastAt = "night_min", o.coldest
	}
	if lim.least != nil && leastAt < *lim.least-tolerance {
		if len(heaters) == 0 {
			miss(leastName, *lim.least, leastAt, "no heater is given for it")
		} else {
			miss(leastName, *lim.least, leastAt, "the heaters reach it at %.0f W together, the most they can give", q)
		}
	}
	if lim.most != nil && o.warmEnd > *lim.most+tolerance {
		miss("warm_max", *lim.most, o.warmEnd, "what the hot spot and the other sources need warms the air further")
	}
	if lim.cool != nil && o.coolEnd > *lim.cool+tolerance {
		if room > *lim.cool {
			miss("cool_max", *lim.cool, o.coolEnd, "the room is warmer than the cool end may be, and cooling does not reach it")
		} else {
			miss("cool_max", *lim.cool, o.coolEnd, "a length of %.2f m with these walls gives %.1f K between warm and cool end; %.1f K are needed",
				sz.n.Enclosure.Length, o.warmEnd-o.coolEnd, o.warmEnd-*lim.cool)
		}
	}
	if lim.ceiling != nil && o.warmest > *lim.ceiling+tolerance {
		name := "air_max"
		if night && sz.n.Targets.NightMax != nil && *sz.n.Targets.NightMax == *lim.ceiling {
			name = "night_max"
		}
		miss(name, *lim.ceiling, o.warmest, "the sources that other targets need warm the air further")
	}
}

// phase solves every case and gathers the answers.
func (sz *sizer) phase(room float64, night bool) (Phase, error) {
	var ph Phase
	lim := sz.limits(night)
	ph.RoomTooWarm = (lim.cool != nil && room > *lim.cool) || (lim.ceiling != nil && room > *lim.ceiling)
	fails := map[string]int{}
	coolFails := 0
	for c, set := range sz.cases {
		o, err := sz.size(set, room, night)
		if err != nil {
			return ph, err
		}
		pairs := []struct {
			to *Interval
			v  float64
		}{{&ph.Cooling, o.cooling}, {&ph.WarmEnd, o.warmEnd}, {&ph.CoolEnd, o.coolEnd}, {&ph.Coldest, o.coldest}, {&ph.Warmest, o.warmest}, {&ph.AirChanges, o.state.AirChanges}}
		if !math.IsNaN(o.hotSpot) {
			if ph.HotSpot == nil {
				ph.HotSpot = &Interval{}
			}
			pairs = append(pairs, struct {
				to *Interval
				v  float64
			}{ph.HotSpot, o.hotSpot})
		}
		if c == 0 {
			ph.Typical = o.state
			for i, q := range sz.n.Equipment {
				if q.Role.runs(night) {
					ph.Watts = append(ph.Watts, SourceWatts{Source: q.Name, Role: q.Role, Watts: Exactly(o.watts[i])})
				}
			}
		}
		for _, p := range pairs {
			if c == 0 {
				*p.to = Exactly(p.v)
			} else {
				p.to.include(p.v)
			}
		}
		j := 0
		for i, q := range sz.n.Equipment {
			if q.Role.runs(night) {
				ph.Watts[j].Watts.include(o.watts[i])
				j++
			}
		}
		if lim.cool != nil && o.coolEnd > *lim.cool+tolerance {
			coolFails++
		}
		for _, u := range o.unmet {
			fails[u.Target]++
			k := slices.IndexFunc(ph.Unmet, func(v Unmet) bool { return v.Target == u.Target })
			switch {
			case k < 0:
				u.Typical = c == 0
				ph.Unmet = append(ph.Unmet, u)
			case !ph.Unmet[k].Typical && math.Abs(u.Nearest-u.Wanted) > math.Abs(ph.Unmet[k].Nearest-u.Wanted):
				ph.Unmet[k] = u
			}
		}
	}
	for i := range ph.Unmet {
		ph.Unmet[i].Always = fails[ph.Unmet[i].Target] == len(sz.cases)
	}
	switch {
	case lim.cool == nil:
		ph.CoolEndHolds = NotSet
	case coolFails == 0:
		ph.CoolEndHolds = Yes
	case coolFails == len(sz.cases):
		ph.CoolEndHolds = No
	default:
		ph.CoolEndHolds = Depends
	}
	j := 0
	for _, q := range sz.n.Equipment {
		if !q.Role.runs(night) {
			continue
		}
		if q.Watts > 0 && !q.Role.fixed() {
			w := &ph.Watts[j]
			w.Duty = Interval{w.Watts.Low / q.Watts, w.Watts.Typical / q.Watts, w.Watts.High / q.Watts}
		}
		j++
	}
	return ph, nil
}

// Gradient is the answer of [GradientLength].
type Gradient struct {
	Reached bool
	Length  float64 // m, the least that holds the cool end, or the greatest tried
	CoolEnd float64 // °C reached at that length
	Reason  string  // where it is not reached
}

// GradientLength finds the least length, from the enclosure's own up to most
// (m), at which the day targets are met with the cool end at or under CoolMax, in
// the first room of the need and at the typical coefficients. Sources keep their
// distance from the warm end; openings keep theirs from the left.
func GradientLength(n Need, most float64) (Gradient, error) {
	if n.Targets.CoolMax == nil {
		return Gradient{}, bad("targets.cool_max", "is needed to ask for a gradient")
	}
	if err := within("most", most, n.Enclosure.Length, 50, "m"); err != nil {
		return Gradient{}, err
	}
	nw, err := n.check()
	if err != nil {
		return Gradient{}, err
	}
	own, err := newSizer(nw, &n)
	if err != nil {
		return Gradient{}, err
	}
	if n.Rooms[0].Day > *n.Targets.CoolMax {
		return Gradient{false, n.Enclosure.Length, n.Rooms[0].Day, "the room itself is warmer than the cool end may be; no length helps, only cooling"}, nil
	}
	start := n.Enclosure.Length
	at := func(length float64) (outcome, error) {
		m := n
		m.Enclosure.Length = length
		m.Equipment = slices.Clone(n.Equipment)
		if own.warmX > start/2 { // the warm end is on the right: everything moves with it
			for i := range m.Equipment {
				m.Equipment[i].X += length - start
			}
			if n.Targets.WarmX != nil {
				x := *n.Targets.WarmX + length - start
				m.Targets.WarmX = &x
			}
		}
		nw, err := newNetwork(&m.Enclosure)
		if err != nil {
			return outcome{}, err
		}
		full, err := newSizer(nw, &m)
		if err != nil {
			return outcome{}, err
		}
		return full.size(full.cases[0], n.Rooms[0].Day, false)
	}
	limit := *n.Targets.CoolMax + tolerance
	lo, hi := start, most
	o, err := at(lo)
	if err != nil {
		return Gradient{}, err
	}
	if o.coolEnd <= limit {
		return Gradient{Reached: true, Length: lo, CoolEnd: o.coolEnd}, nil
	}
	if o, err = at(hi); err != nil {
		return Gradient{}, err
	}
	if o.coolEnd > limit {
		return Gradient{false, hi, o.coolEnd, fmt.Sprintf("even %.2f m leaves the cool end %.1f K too warm", hi, o.coolEnd-*n.Targets.CoolMax)}, nil
	}
	best := o
	for hi-lo > 0.005 {
		mid := (lo + hi) / 2
		if o, err = at(mid); err != nil {
			return Gradient{}, err
		}
		if o.coolEnd <= limit {
			hi, best = mid, o
		} else {
			lo = mid
		}
	}
	return Gradient{Reached: true, Length: hi, CoolEnd: best.coolEnd}, nil
}
