package heat

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// workspace holds one dense system; it is reused between solves.
type workspace struct {
	n   int
	a   *mat.Dense
	raw []float64
	lu  mat.LU
	rhs []float64
}

func newWorkspace(n int) *workspace {
	raw := make([]float64, n*n)
	return &workspace{n: n, a: mat.NewDense(n, n, raw), raw: raw, rhs: make([]float64, n)}
}

func (w *workspace) add(i, j int, g float64) { w.raw[i*w.n+j] += g }

// couple adds a conductance between two cells.
func (w *workspace) couple(i, j int, g float64) {
	w.add(i, i, g)
	w.add(j, j, g)
	w.add(i, j, -g)
	w.add(j, i, -g)
}

// carry adds air that flows from i to j (or back if q < 0), q in W/K.
func (w *workspace) carry(i, j int, q float64) {
	if q < 0 {
		i, j, q = j, i, -q
	}
	w.add(i, i, q)
	w.add(j, i, -q)
}

var errSingular = errors.New("the balance has no answer: some air cell can't lose heat to anything")

func (w *workspace) factorise() error {
	w.lu.Factorize(w.a)
	if c := w.lu.Cond(); math.IsInf(c, 1) || math.IsNaN(c) || c > 1e13 {
		return errSingular
	}
	return nil
}

func (w *workspace) solve(b []float64) ([]float64, error) {
	out := make([]float64, w.n)
	if err := w.lu.SolveVecTo(mat.NewVecDense(w.n, out), false, mat.NewVecDense(w.n, b)); err != nil {
		return nil, fmt.Errorf("heat balance: %w", err)
	}
	return out, nil
}

// setting fixes the uncertain coefficients for one solve.
type setting struct {
	along, up, vent float64
	radiant         level // level of the shares, absorptivity and (reversed) convection
}

// flows are the air movements at one mean temperature difference.
type flows struct {
	stack float64 // m³/s through, positive upward
	fan   float64
	loss  []float64 // per cell, m³/s that leaves to the room in all ways
}

// assemble builds the system for a mean rise dt of the inside over the room.
func (nw *network) assemble(w *workspace, set setting, room, dt float64) flows {
	clear(w.raw)
	e, n, m := nw.e, nw.n, nw.m
	gx := set.along * e.Depth * nw.dz / nw.dx
	gz := set.up * e.Depth * nw.dx / nw.dz
	for c := range n * m {
		w.add(c, c, nw.uaCell[c])
		if (c+1)%n != 0 {
			w.couple(c, c+1, gx)
		}
		if c+n < n*m {
			w.couple(c, c+n, gz)
		}
	}
	fl := flows{fan: e.Fan, loss: make([]float64, n*m)}
	buoyancy := math.Sqrt(relativeBuoyancy(room+dt, room))
	if nw.stackField != nil {
		fl.stack = math.Copysign(set.vent*nw.stackFlow*math.Sqrt(2*gravity)*buoyancy, dt)
	}
	for _, f := range []struct {
		q float64
		*field
	}{{fl.stack, nw.stackField}, {fl.fan, nw.fanField}} {
		if f.field == nil || f.q == 0 {
			continue
		}
		for c := range n * m {
			if f.q > 0 {
				fl.loss[c] += f.q * f.out[c]
			} else {
				fl.loss[c] -= f.q * f.in[c]
			}
		}
	}
	// Flows of stack and fan are added edge by edge before the upwind side is chosen.
	for c := range n * m {
		var right, up float64
		for _, f := range []struct {
			q float64
			*field
		}{{fl.stack, nw.stackField}, {fl.fan, nw.fanField}} {
			if f.field != nil {
				right += f.q * f.right[c]
				up += f.q * f.up[c]
			}
		}
		if (c+1)%n != 0 {
			w.carry(c, c+1, airHeat*right)
		}
		if c+n < n*m {
			w.carry(c, c+n, airHeat*up)
		}
		// The two-way exchange of a lid opening is swept away by air already leaving there.
		if dt > 0 && nw.exchange != nil {
			fl.loss[c] += math.Max(0, set.vent*nw.exchange[c]*math.Sqrt(gravity)*buoyancy-fl.loss[c])
		}
		fl.loss[c] += nw.leak
		w.add(c, c, airHeat*fl.loss[c])
	}
	return fl
}

func mean(x []float64) float64 {
	var s float64
	for _, v := range x {
		s += v
	}
	return s / float64(len(x))
}

// settle finds the mean temperature rise at which the vent flow and the air
// temperatures agree, and leaves the factorised system in w. heat is W per cell.
func (nw *network) settle(w *workspace, set setting, room float64, heat []float64) (theta []float64, fl flows, err error) {
	at := func(dt float64) (float64, error) {
		fl = nw.assemble(w, set, room, dt)
		if err := w.factorise(); err != nil {
			return 0, err
		}
		if theta, err = w.solve(heat); err != nil {
			return 0, err
		}
		return mean(theta) - dt, nil
	}
	passive := nw.stackField == nil && nw.exchange == nil
	f0, err := at(0)
	if err != nil && (passive || !errors.Is(err, errSingular)) {
		return nil, fl, err
	}
	if passive || (err == nil && math.Abs(f0) < 1e-9) {
		return theta, fl, err
	}
	// Without any flow an all-mesh box may lose nothing: start from a wide bracket then.
	if err != nil || math.Abs(f0) > 500 {
		f0 = math.Copysign(500, mean(heat))
	}
	a, fa := 0.0, f0
	b := f0
	fb, err := at(b)
	if err != nil {
		return nil, fl, err
	}
	// Illinois: regula falsi that halves the stale end, so that it can't stall.
	for range 60 {
		if math.Abs(fb) < 1e-7 || fa == fb {
			break
		}
		x := b - fb*(b-a)/(fb-fa)
		fx, err := at(x)
		if err != nil {
			return nil, fl, err
		}
		if fx*fb < 0 {
			a, fa = b, fb
		} else {
			fa /= 2
		}
		b, fb = x, fx
	}
	return theta, fl, nil
}

// Ledger accounts for every watt. In equals the sum of the rest.
type Ledger struct {
	In      float64    // power of all sources, less cooling, W
	Through [6]float64 // lost through each side, indexed by [Side]: from the air, and straight from lit surfaces and mats
	Vents   float64    // carried off by air
	Latent  float64    // into evaporating water
	Outside float64    // given off outside by lamps that stand on the lid
}

// Out sums what leaves, W.
func (l Ledger) Out() float64 {
	out := l.Vents + l.Latent + l.Outside
	for _, q := range l.Through {
		out += q
	}
	return out
}

// SpotState is a surface that a source heats: a lit basking place, or the
// substrate over a mat whose area is known.
type SpotState struct {
	Source      string
	Irradiance  float64 // W/m² on a lit surface, of all lamps aimed at it; heat flow upward over a mat
	Distance    float64 // m from lamp to surface; 0 for a mat
	Air         float64 // °C beside it
	Temperature float64 // °C of the surface: a mean over the lit area, not its hottest point
	Mat         float64 // °C of the mat itself; 0 for a lamp
}

// FaceState is the closed part of one side, for the question whether it drips.
type FaceState struct {
	Side          Side
	Area          float64 // m², without mesh
	Transmittance float64 // W/(m²K), still air inside and out unless the face says otherwise
	Inside        float64 // inner surface resistance, m²K/W
	// Mean and Coldest temperatures of the inner surface, °C (on a floor: of the
	// substrate), of heat that passes from the air only: a lamp warms it further.
	Mean, Coldest float64
}

// State is one solved balance.
type State struct {
	Room          float64
	Zones, Layers int
	Air           [][]float64 // °C, [layer][zone], layer 0 lowest, zone 0 at the left end
	Length        float64     // m, with Height: the extent of the grid
	Height        float64
	VentFlow      float64     // m³/s leaving through vents, fan and gaps
	AirChanges    float64     // 1/h
	Faces         []FaceState // sides that are mesh throughout are left out
	Spots         []SpotState
	Ledger        Ledger
}

// At interpolates the air temperature between cell centres, °C, at x from the
// left end and z above the substrate, m; beyond the outer centres it is flat.
func (s State) At(x, z float64) float64 {
	var t float64
	for _, w := range blend(s.Zones, s.Layers, s.Length/float64(s.Zones), s.Height/float64(s.Layers), x, z) {
		t += w.share * s.Air[w.cell/s.Zones][w.cell%s.Zones]
	}
	return t
}

// Mean is the mean air temperature, °C.
func (s State) Mean() float64 {
	var t float64
	for _, row := range s.Air {
		t += mean(row)
	}
	return t / float64(len(s.Air))
}

type weight struct {
	cell  int
	share float64
}

// blend gives the interpolation weights of a position.
func blend(n, m int, dx, dz, x, z float64) [4]weight {
	axis := func(p, d float64, count int) (int, int, float64) {
		f := math.Max(0, math.Min(p/d-0.5, float64(count-1)))
		i := min(int(f), count-1)
		return i, min(i+1, count-1), f - float64(i)
	}
	i0, i1, u := axis(x, dx, n)
	k0, k1, v := axis(z, dz, m)
	return [4]weight{{i0 + k0*n, (1 - u) * (1 - v)}, {i1 + k0*n, u * (1 - v)}, {i0 + k1*n, (1 - u) * v}, {i1 + k1*n, u * v}}
}

func (nw *network) sample(theta []float64, x, z float64) float64 {
	var t float64
	for _, w := range blend(nw.n, nw.m, nw.dx, nw.dz, x, z) {
		t += w.share * theta[w.cell]
	}
	return t
}

func dot(a, b []float64) float64 {
	var s float64
	for i, v := range a {
		s += v * b[i]
	}
	return s
}

// resolve deposits every source at a level; an error names the source within the list's name.
func (nw *network) resolve(list string, sources []Source, l level) ([]deposit, error) {
	out := make([]deposit, len(sources))
	for i := range sources {
		d, err := nw.deposit(&sources[i], l)
		if err != nil {
			return nil, under(fmt.Sprintf("%s[%d]", list, i), err)
		}
		out[i] = d
	}
	return out, nil
}

// lights says whether source j adds its irradiance to the surface under source i:
// several lamps are often aimed at one place.
func lights(sources []Source, deposits []deposit, j, i int) bool {
	if i == j {
		return true
	}
	a, b := &sources[i], &sources[j]
	return a.radiates() && b.radiates() && deposits[j].perWatt > 0 &&
		math.Abs(a.TargetZ-b.TargetZ) <= 0.05 && math.Abs(a.X-b.X) <= deposits[j].radius
}

// spot balances the surface that source i heats. ok is false if it heats none.
func (nw *network) spot(i int, sources []Source, deposits []deposit, l level, watts []float64, room float64, theta []float64) (st SpotState, ok bool, err error) {
	s, d := &sources[i], &deposits[i]
	if d.perWatt == 0 {
		return st, false, nil
	}
	air := room + nw.sample(theta, s.X, s.TargetZ)
	st = SpotState{Source: s.Name, Distance: d.distance, Air: air}
	for j := range sources {
		if lights(sources, deposits, j, i) {
			st.Irradiance += watts[j] * deposits[j].perWatt
		}
	}
	if s.Kind == HeatMat {
		above, below, err := nw.e.aroundMat(s.Outside)
		if err != nil {
			return st, false, err
		}
		st.Temperature = air + st.Irradiance*StillAir(Upward)
		st.Mat = matBalance(watts[i], s.Footprint, above, below, air, room)
		return st, true, nil
	}
	sp, err := s.surface(l)
	if err != nil {
		return st, false, err
	}
	sp.Irradiance, sp.Air, sp.Below = st.Irradiance, air, air
	sp.Surroundings = room + dot(nw.surround, theta)
	st.Temperature = sp.balance()
	return st, true, nil
}

// surface gives the fixed part of a basking surface's balance at a level.
func (s *Source) surface(l level) (Spot, error) {
	f := s.Surface
	if f == (Surface{}) {
		f = DefaultSurface()
	}
	if err := first(f.Absorptivity.check("surface.absorptivity", 0, 1, ""), f.Convection.check("surface.convection", 0, 200, "W/(m²K)"),
		within("surface.emissivity", f.Emissivity, 0, 1, ""), within("surface.conduction", f.Conduction, 0, 200, "W/(m²K)")); err != nil {
		return Spot{}, err
	}
	return Spot{Absorptivity: f.Absorptivity.at(l), Emissivity: f.Emissivity, Convection: f.Convection.at(l.opposite()), Conduction: f.Conduction}, nil
}

// state writes out a solution. cooling is the heat taken out, W.
func (nw *network) state(set setting, room float64, sources []Source, deposits []deposit, watts []float64, cooling float64, theta []float64, fl flows) (State, error) {
	st := State{Room: room, Zones: nw.n, Layers: nw.m, Length: nw.e.Length, Height: nw.e.Height, Air: make([][]float64, nw.m)}
	for k := range st.Air {
		st.Air[k] = make([]float64, nw.n)
		for i := range st.Air[k] {
			st.Air[k][i] = room + theta[i+k*nw.n]
		}
	}
	led := &st.Ledger
	led.In, led.Latent = -cooling, nw.e.Latent
	for i := range deposits {
		d := &deposits[i]
		led.In += watts[i]
		led.Outside += watts[i] * d.outside
		for s, share := range d.direct {
			led.Through[s] += watts[i] * share
		}
		spot, ok, err := nw.spot(i, sources, deposits, set.radiant, watts, room, theta)
		if err != nil {
			return st, under(fmt.Sprintf("sources[%d]", i), err)
		}
		if ok {
			st.Spots = append(st.Spots, spot)
		}
	}
	for s := range led.Through {
		led.Through[s] += dot(nw.ua[s], theta)
	}
	for c, q := range fl.loss {
		led.Vents += airHeat * q * theta[c]
		st.VentFlow += q
	}
	for s := Front; s <= Floor; s++ {
		v := &nw.face[s]
		if v.closed == 0 {
			continue
		}
		f := FaceState{Side: s, Area: v.closed * nw.e.area(s), Transmittance: v.wall, Inside: v.inside, Coldest: math.Inf(1)}
		for c, a := range nw.area[s] {
			if a > 0 {
				t := room + theta[c]*(1-v.wall*v.inside)
				f.Mean += t * a / nw.e.area(s)
				f.Coldest = math.Min(f.Coldest, t)
			}
		}
		st.Faces = append(st.Faces, f)
	}
	var err error
	st.AirChanges, err = AirChanges(st.VentFlow, nw.e.volume())
	return st, err
}

// heat sums the watts given to each cell.
func (nw *network) heat(deposits []deposit, watts []float64) []float64 {
	out := make([]float64, nw.n*nw.m)
	for c := range out {
		out[c] = -nw.e.Latent / float64(len(out))
	}
	for i, d := range deposits {
		for c, share := range d.air {
			out[c] += watts[i] * share
		}
	}
	return out
}

func rated(sources []Source) []float64 {
	w := make([]float64, len(sources))
	for i, s := range sources {
		w[i] = s.Watts
	}
	return w
}

func (nw *network) typical() setting {
	return setting{nw.coef.Along.Typical, nw.coef.Up.Typical, nw.coef.Vent.Typical, typical}
}

// Solve balances an enclosure in a room at the given temperature (°C) with its
// sources at their watts, at the typical value of every uncertain coefficient.
// Errors are an [*InputError] for input that is not physical.
func Solve(e Enclosure, room float64, sources []Source) (State, error) {
	if err := celsius("room", room); err != nil {
		return State{}, err
	}
	nw, err := newNetwork(&e)
	if err != nil {
		return State{}, err
	}
	return nw.solve(newWorkspace(nw.n*nw.m), nw.typical(), room, sources)
}

func (nw *network) solve(w *workspace, set setting, room float64, sources []Source) (State, error) {
	deposits, err := nw.resolve("sources", sources, set.radiant)
	if err != nil {
		return State{}, err
	}
	watts := rated(sources)
	theta, fl, err := nw.settle(w, set, room, nw.heat(deposits, watts))
	if err != nil {
		return State{}, err
	}
	return nw.state(set, room, sources, deposits, watts, 0, theta, fl)
}

// settings lists the typical case first, then every corner of the uncertain
// coefficients: mixing, radiant shares and vent flow, each low and high.
func (nw *network) settings() []setting {
	out := []setting{nw.typical()}
	vents := []level{typical}
	if nw.stackField != nil || nw.exchange != nil {
		vents = []level{low, high}
	}
	for _, mix := range []level{low, high} {
		for _, radiant := range []level{low, high} {
			for _, vent := range vents {
				out = append(out, setting{nw.coef.Along.at(mix), nw.coef.Up.at(mix), nw.coef.Vent.at(vent), radiant})
			}
		}
	}
	return out
}

// SpotOutlook is a heated surface with its uncertainty.
type SpotOutlook struct {
	Source                       string
	Irradiance, Temperature, Mat Interval
}

// Outlook is a balance with the uncertainty of its free coefficients: every
// figure at its typical value, and the lowest and highest over all corners.
type Outlook struct {
	Typical    State
	Air        [][]Interval // °C, [layer][zone]
	VentFlow   Interval     // m³/s
	AirChanges Interval     // 1/h
	Spots      []SpotOutlook
}

// Predict solves an enclosure as [Solve] does, at the typical value and at every
// corner of the uncertain coefficients.
func Predict(e Enclosure, room float64, sources []Source) (Outlook, error) {
	if err := celsius("room", room); err != nil {
		return Outlook{}, err
	}
	nw, err := newNetwork(&e)
	if err != nil {
		return Outlook{}, err
	}
	w := newWorkspace(nw.n * nw.m)
	var out Outlook
	for c, set := range nw.settings() {
		st, err := nw.solve(w, set, room, sources)
		if err != nil {
			return Outlook{}, err
		}
		if c == 0 {
			out.Typical = st
			out.VentFlow, out.AirChanges = Exactly(st.VentFlow), Exactly(st.AirChanges)
			for _, row := range st.Air {
				var r []Interval
				for _, t := range row {
					r = append(r, Exactly(t))
				}
				out.Air = append(out.Air, r)
			}
			for _, s := range st.Spots {
				out.Spots = append(out.Spots, SpotOutlook{s.Source, Exactly(s.Irradiance), Exactly(s.Temperature), Exactly(s.Mat)})
			}
			continue
		}
		out.VentFlow.include(st.VentFlow)
		out.AirChanges.include(st.AirChanges)
		for k, row := range st.Air {
			for i, t := range row {
				out.Air[k][i].include(t)
			}
		}
		for i, s := range st.Spots {
			out.Spots[i].Irradiance.include(s.Irradiance)
			out.Spots[i].Temperature.include(s.Temperature)
			out.Spots[i].Mat.include(s.Mat)
		}
	}
	return out, nil
}

// Assumptions says in words what the balance takes for granted. It belongs
// beside every answer.
func Assumptions() []string {
	return []string{
		"Steady state; room air is still on both sides of every face unless an air speed is given.",
		"Mixing between zones and layers is a wide default without a source unless it was fitted to readings.",
		"Lamps: the radiant share falls on the floor inside the beam and on all faces outside it; the rest rises from the lamp. Light that leaves through glass is not deducted (recalled as under 10 %).",
		"A basking surface is a mean over the lit area; the centre of a flood beam can be well above it.",
		"Vents are driven by the mean inside temperature; a mesh lid also exchanges air with the room when the inside is warmer.",
		"Evaporation counts only as far as the latent watts given.",
		"The animal's own heat is neglected (about a quarter of a watt for 1 kg of reptile at 30 °C).",
	}
}
