package heat

import (
	"fmt"
	"math"
)

// Faces are the six sides of an enclosure.
type Faces struct{ Front, Back, Left, Right, Top, Floor Face }

func (f *Faces) side(s Side) *Face {
	switch s {
	case Front:
		return &f.Front
	case Back:
		return &f.Back
	case Left:
		return &f.Left
	case Right:
		return &f.Right
	case Top:
		return &f.Top
	}
	return &f.Floor
}

// Enclosure is the box in which the balance is struck.
type Enclosure struct {
	// Length, Depth and Height of the air space inside, m; Height is above the substrate.
	Length, Depth, Height float64
	Faces                 Faces
	// Substrate lies on the floor; a zero Layer is a bare floor. Take its
	// conductivity from package ground.
	Substrate Layer
	Openings  []Opening
	// Fan draws air out under the lid, evenly along the length, m³/s at the real
	// pressure (fans give 30 to 60 % of free air through mesh, recalled). It needs an open vent.
	Fan float64
	// Leakage is the air change through gaps that are not listed as openings, 1/h.
	// A box with sliding doors and shut vents has about 0.5 to 2 (common practice, no source).
	Leakage float64
	// Latent is the heat that evaporates water inside, W, taken from the air evenly.
	Latent float64
	// Zones along the length, odd, 0 for 5; Layers in height, 0 for 2. One zone
	// and one layer is the plain U·A·ΔT balance.
	Zones, Layers int
	// Coefficients that can't be had from the drawing; zero fields take [DefaultCoefficients].
	Coefficients Coefficients
}

// Coefficients are the free numbers of the model.
type Coefficients struct {
	// Along and Up are mixing conductivities, W/(m·K): the heat that stirring
	// carries along the length and upward per m² and per K/m.
	Along, Up Interval
	// Vent multiplies the flow that buoyancy drives through openings.
	Vent Interval
}

// DefaultCoefficients returns wide defaults for a box of the given height in m;
// they are assumptions without a published source. Along follows free convection
// in a box, K = c·ρcp·h·√(g·h·ΔT/T) at ΔT = 10 K, with c 0.01, 0.025 and 0.06; Up
// is 0.05, 0.2 and 0.5 of it, because warm air lies on top; Vent is 0.5, 1 and 1.5.
func DefaultCoefficients(height float64) Coefficients {
	scale := airHeat * height * math.Sqrt(gravity*height*10/300)
	along := Interval{0.01 * scale, 0.025 * scale, 0.06 * scale}
	return Coefficients{
		Along: along,
		Up:    Interval{0.05 * along.Low, 0.2 * along.Typical, 0.5 * along.High},
		Vent:  Interval{0.5, 1, 1.5},
	}
}

// Source is one heat source. X is measured from the left end.
type Source struct {
	Name  string
	Kind  Kind
	Watts float64 // electrical power while it runs, W; as a source to be sized: its rating, 0 if none
	X, Z  float64 // centre along the length, and height above the substrate, m
	// Width along the length that a mat, panel or tube covers, m; 0 for a lamp, which covers its beam.
	Width float64
	// HalfAngle of the beam, degrees, 0 for the kind's default. Footprint, m²,
	// overrides it: the lit area of a lamp, or the area of a mat.
	HalfAngle, Footprint float64
	// TargetZ is the height of the basking surface under it, m.
	TargetZ float64
	// Surface of the basking place; a zero value takes [DefaultSurface].
	Surface Surface
	// Outside: a lamp that stands on a mesh lid, or a mat stuck under the floor.
	Outside bool
	// Radiant and InBeam override the shares of [Radiators] where High is above 0.
	Radiant, InBeam Interval
}

func (s *Source) radiates() bool { return s.Kind != HeatMat && s.Kind != WaterHeater }

// network is the balance of one enclosure, ready to be solved for any
// coefficients and powers. Cells are numbered zone + layer·n, layer 0 lowest.
type network struct {
	e          *Enclosure
	n, m       int
	dx, dz     float64
	coef       Coefficients
	face       [6]faceValues
	ua         [6][]float64 // W/K of each cell by side
	uaCell     []float64    // their sum by cell
	area       [6][]float64 // m² of each cell by side
	surround   []float64    // weights: mean inner-face temperature rise = Σ w·θ
	leak       float64      // m³/s per cell
	stackFlow  float64      // m³/s per √(2g·ΔT/T), vent factor 1
	stackField *field
	fanField   *field
	exchange   []float64 // per cell, m³/s per √(g·ΔT/T), vent factor 1
}

// field is a unit through-flow: what enters from and leaves to the room by cell,
// and what crosses between cells (positive to the right and upward).
type field struct {
	in, out []float64
	right   []float64 // from cell to its right neighbour
	up      []float64 // from cell to the one above
}

func (e *Enclosure) grid() (n, m int) {
	n, m = e.Zones, e.Layers
	if n == 0 {
		n = 5
	}
	if m == 0 {
		m = 2
	}
	return n, m
}

func (e *Enclosure) volume() float64 { return e.Length * e.Depth * e.Height }

func (e *Enclosure) area(s Side) float64 {
	switch s {
	case Front, Back:
		return e.Length * e.Height
	case Left, Right:
		return e.Depth * e.Height
	}
	return e.Length * e.Depth
}

// readHeight is the height at which air is read when none is given: the middle of the lowest layer.
func (e *Enclosure) readHeight() float64 {
	_, m := e.grid()
	return e.Height / float64(2*m)
}

func (e *Enclosure) check() error {
	n, m := e.grid()
	if err := first(positive("length", e.Length, 50, "m"), positive("depth", e.Depth, 50, "m"), positive("height", e.Height, 20, "m"),
		within("fan", e.Fan, 0, 10, "m³/s"), within("leakage", e.Leakage, 0, 1000, "1/h"), within("latent", e.Latent, 0, 1e4, "W")); err != nil {
		return err
	}
	if n < 1 || n > 51 || n%2 == 0 {
		return bad("zones", "must be odd, from 1 to 51, not %d", n)
	}
	if m < 1 || m > 10 {
		return bad("layers", "must be from 1 to 10, not %d", m)
	}
	return nil
}

// closedVent is a free area, m², below which an opening counts as closed: a pinprick.
const closedVent = 1e-8

// vents gathers listed openings and those that mesh faces make.
func (e *Enclosure) vents() ([]Opening, error) {
	var open []Opening
	for i, o := range e.Openings {
		if err := o.check(e); err != nil {
			return nil, under(fmt.Sprintf("openings[%d]", i), err)
		}
		if o.Area*o.FreeShare > closedVent {
			open = append(open, o)
		}
	}
	for s := Front; s <= Floor; s++ {
		if f := e.Faces.side(s); f.Mesh > 0 {
			share, err := MeshFreeShare(f.MeshOpen)
			if err != nil {
				return nil, under("faces."+s.String(), bad("mesh_open", "must be above 0 and at most 1"))
			}
			open = append(open, Opening{Side: s, Area: f.Mesh * e.area(s), FreeShare: share})
		}
	}
	if e.Fan > 0 && len(open) == 0 {
		return nil, bad("fan", "moves %g m³/s but every vent is closed: give an opening, or set the fan to 0", e.Fan)
	}
	return open, nil
}

// newNetwork checks an enclosure and assembles everything that does not depend
// on powers, the free coefficients or the room.
func newNetwork(e *Enclosure) (*network, error) {
	if err := e.check(); err != nil {
		return nil, err
	}
	n, m := e.grid()
	cells := n * m
	nw := &network{e: e, n: n, m: m, dx: e.Length / float64(n), dz: e.Height / float64(m), coef: e.Coefficients}
	def := DefaultCoefficients(e.Height)
	for _, c := range []struct {
		field string
		have  *Interval
		def   Interval
		hi    float64
		unit  string
	}{{"coefficients.along", &nw.coef.Along, def.Along, 1e5, "W/(m·K)"}, {"coefficients.up", &nw.coef.Up, def.Up, 1e5, "W/(m·K)"}, {"coefficients.vent", &nw.coef.Vent, def.Vent, 20, ""}} {
		if *c.have == (Interval{}) {
			*c.have = c.def
		}
		if err := c.have.check(c.field, 0, c.hi, c.unit); err != nil {
			return nil, err
		}
	}

	cover, err := e.cover()
	if err != nil {
		return nil, under("substrate", err)
	}
	flow := [6]Flow{Top: Upward, Floor: Downward}
	buf := make([]float64, 14*cells)
	take := func() []float64 { s := buf[:cells:cells]; buf = buf[cells:]; return s }
	nw.uaCell, nw.surround = take(), take()
	var total float64
	for s := Front; s <= Floor; s++ {
		c := 0.0
		if s == Floor {
			c = cover
		}
		if nw.face[s], err = e.Faces.side(s).evaluate(flow[s], c); err != nil {
			return nil, under("faces."+s.String(), err)
		}
		nw.area[s], nw.ua[s] = take(), take()
		for i := range cells {
			a := nw.cellArea(s, i%n, i/n)
			nw.area[s][i] = a
			nw.ua[s][i] = nw.face[s].u * a
			nw.uaCell[i] += nw.ua[s][i]
			nw.surround[i] += a * nw.face[s].factor
			total += a
		}
	}
	for i := range cells {
		nw.surround[i] /= total
	}
	nw.leak = e.Leakage * e.volume() / 3600 / float64(cells)
	vents, err := e.vents()
	if err != nil {
		return nil, err
	}
	return nw, nw.addVents(vents)
}

// cover is the substrate's resistance, 0 for a bare floor.
func (e *Enclosure) cover() (float64, error) {
	if e.Substrate.Thickness == 0 && e.Substrate.Resistance == 0 {
		return 0, nil
	}
	return e.Substrate.R()
}

func (nw *network) cellArea(s Side, i, k int) float64 {
	switch {
	case s == Front || s == Back:
		return nw.dx * nw.dz
	case s == Left && i == 0, s == Right && i == nw.n-1:
		return nw.e.Depth * nw.dz
	case s == Top && k == nw.m-1, s == Floor && k == 0:
		return nw.dx * nw.e.Depth
	}
	return 0
}

// overlap spreads an extent [a, b] over count cells of the given size, as shares
// that sum to 1; an extent of no width goes to the cell that holds it.
func overlap(a, b, size float64, count int) []float64 {
	out := make([]float64, count)
	span := size * float64(count)
	a, b = math.Max(0, math.Min(a, span)), math.Max(0, math.Min(b, span))
	if b-a < 1e-9 {
		out[min(count-1, max(0, int(a/size)))] = 1
		return out
	}
	for i := range out {
		lo, hi := float64(i)*size, float64(i+1)*size
		out[i] = math.Max(0, math.Min(b, hi)-math.Max(a, lo)) / (b - a)
	}
	return out
}

// addVents works out where buoyancy and the fan drive air in and out, and how
// it crosses the cells. The flow inside follows the potential between the
// openings, which keeps every cell's air balanced.
func (nw *network) addVents(vents []Opening) error {
	if len(vents) == 0 {
		return nil
	}
	e, cells := nw.e, nw.n*nw.m
	nw.exchange = make([]float64, cells)
	z, flow := neutralHeight(e, vents)
	nw.stackFlow = flow
	stack := field{in: make([]float64, cells), out: make([]float64, cells)}
	fan := field{in: make([]float64, cells), out: make([]float64, cells)}
	for _, o := range vents {
		a, b, x0, x1 := o.extent(e)
		xs := overlap(x0, x1, nw.dx, nw.n)
		for k, share := range overlap(a, b, nw.dz, nw.m) {
			if share == 0 {
				continue
			}
			// The part of this opening within the layer.
			lo, hi := math.Max(a, float64(k)*nw.dz), math.Min(b, float64(k+1)*nw.dz)
			if b-a < 1e-9 {
				lo, hi = a, b
			}
			up, down := headFlow(lo, hi, z)
			free := o.Area * o.FreeShare * share
			for i, xshare := range xs {
				c := i + k*nw.n
				stack.out[c] += free * up * xshare
				stack.in[c] += free * down * xshare
				fan.in[c] += free * xshare
				if o.Side == Top {
					// Epstein's flow per √(g·ΔT/T).
					nw.exchange[c] += epstein * o.FreeShare * math.Pow(4*o.Area/math.Pi, 1.25) * xshare
				}
			}
		}
	}
	if normalise(stack.in) && normalise(stack.out) && flow > 1e-12 {
		if err := nw.route(&stack); err != nil {
			return fmt.Errorf("vent flow: %w", err)
		}
		nw.stackField = &stack
	} else {
		nw.stackFlow = 0
	}
	if e.Fan > 0 {
		normalise(fan.in)
		for i := range nw.n {
			fan.out[i+(nw.m-1)*nw.n] = 1 / float64(nw.n)
		}
		if err := nw.route(&fan); err != nil {
			return fmt.Errorf("fan flow: %w", err)
		}
		nw.fanField = &fan
	}
	return nil
}

func normalise(x []float64) bool {
	var sum float64
	for _, v := range x {
		sum += v
	}
	if sum <= 1e-15 {
		return false
	}
	for i := range x {
		x[i] /= sum
	}
	return true
}

// route fills in the flows between cells for given inflow and outflow.
func (nw *network) route(f *field) error {
	cells := nw.n * nw.m
	f.right, f.up = make([]float64, cells), make([]float64, cells)
	if cells == 1 {
		return nil
	}
	gx, gz := nw.dz/nw.dx, nw.dx/nw.dz
	w := newWorkspace(cells)
	for c := range cells {
		i, k := c%nw.n, c/nw.n
		if i+1 < nw.n {
			w.couple(c, c+1, gx)
		}
		if k+1 < nw.m {
			w.couple(c, c+nw.n, gz)
		}
		w.rhs[c] = f.in[c] - f.out[c]
	}
	w.add(0, 0, 1) // pins the potential, which is otherwise free to float
	if err := w.factorise(); err != nil {
		return err
	}
	phi, err := w.solve(w.rhs)
	if err != nil {
		return err
	}
	for c := range cells {
		i, k := c%nw.n, c/nw.n
		if i+1 < nw.n {
			f.right[c] = gx * (phi[c] - phi[c+1])
		}
		if k+1 < nw.m {
			f.up[c] = gz * (phi[c] - phi[c+nw.n])
		}
	}
	return nil
}

// deposit says where one watt of a source goes.
type deposit struct {
	air     []float64  // to the cells
	direct  [6]float64 // through faces to the room without passing the air
	outside float64    // never enters
	// For a basking surface: irradiance per watt, W/m², and the position of the surface.
	perWatt  float64
	distance float64
	radius   float64 // m, of the lit patch
}

// beamArea is the lit area at the target and the half-width of the beam on it.
func (s *Source) beamArea(r Radiator) (area, distance float64, err error) {
	distance = s.Z - s.TargetZ
	if s.Footprint > 0 {
		return s.Footprint, distance, nil
	}
	angle := s.HalfAngle
	if angle == 0 {
		angle = r.HalfAngle
	}
	if distance <= 0 {
		return 0, 0, bad("target_z", "the basking surface must lie below the lamp: lamp at %g m, surface at %g m", s.Z, s.TargetZ)
	}
	area, err = BeamArea(distance, angle)
	return area, distance, err
}

func (s *Source) check(nw *network) error {
	e := nw.e
	err := first(within("watts", s.Watts, 0, 1e4, "W"), within("x", s.X, 0, e.Length, "m"), within("width", s.Width, 0, e.Length*(1+1e-9), "m"),
		within("target_z", s.TargetZ, 0, e.Height, "m"), within("half_angle", s.HalfAngle, 0, 80, "degrees"), within("footprint", s.Footprint, 0, 100, "m²"))
	if err != nil {
		return err
	}
	// A lamp on the lid stands a little higher than the box.
	ceiling := e.Height
	if s.Outside {
		ceiling += 1
	}
	if err := within("z", s.Z, 0, ceiling, "m"); err != nil {
		return err
	}
	if s.Outside && s.radiates() && (e.Faces.Top.Mesh == 0 || e.Faces.Top.MeshOpen == 0) {
		return bad("outside", "a lamp outside the box needs a mesh lid: glass and wood stop most of its heat")
	}
	if s.Outside && s.Kind == WaterHeater {
		return bad("outside", "a water heater stands inside")
	}
	return nil
}

// deposit resolves a source at one level of its uncertain shares.
func (nw *network) deposit(s *Source, l level) (deposit, error) {
	if err := s.check(nw); err != nil {
		return deposit{}, err
	}
	r, err := radiator(s.Kind)
	if err != nil {
		return deposit{}, err
	}
	d := deposit{air: make([]float64, nw.n*nw.m)}
	floor := nw.face[Floor]
	switch s.Kind {
	case HeatMat:
		up, err := nw.matUp(s)
		if err != nil {
			return d, err
		}
		d.direct[Floor] = 1 - up
		nw.fromFloor(&d, s, up, 0)
		if s.Footprint > 0 {
			d.perWatt = up / s.Footprint
		}
		return d, nil
	case WaterHeater:
		d.direct[Floor] = 1 - floor.keep
		nw.plume(&d, s, s.Width, floor.keep, 0)
		return d, nil
	}
	radiant, beam := r.Radiant, r.InBeam
	if s.Radiant.High > 0 {
		radiant = s.Radiant
	}
	if s.InBeam.High > 0 {
		beam = s.InBeam
	}
	if err := first(radiant.check("radiant", 0, 1, ""), beam.check("in_beam", 0, 1, "")); err != nil {
		return d, err
	}
	f, b := radiant.at(l), beam.at(l)
	area, distance, err := s.beamArea(r)
	if err != nil {
		return d, err
	}
	pass := 1.0
	if s.Outside {
		pass = nw.e.Faces.Top.MeshOpen
		d.outside = (1 - f) + f*(1-pass)
	} else {
		nw.plume(&d, s, s.Width, 1-f, s.Z)
	}
	width := 2 * math.Sqrt(area/math.Pi)
	inBeam := f * b * pass
	d.direct[Floor] += inBeam * (1 - floor.keep)
	nw.fromFloor(&d, s, inBeam*floor.keep, width)
	nw.spread(&d, f*(1-b)*pass, s.X)
	d.distance, d.radius = distance, width/2
	d.perWatt, err = BeamIrradiance(1, inBeam, area)
	return d, err
}

// spread puts radiation from x on the inner faces. What a strip of wall receives
// falls with the distance along the box as from a point at its middle, by
// (1 + (Δx/a)²)^(−3/2), a being half the mean of depth and height.
func (nw *network) spread(d *deposit, share, x float64) {
	a := math.Sqrt(nw.e.Depth*nw.e.Height) / 2
	var total float64
	reach := make([]float64, nw.n)
	for i := range reach {
		u := ((float64(i)+0.5)*nw.dx - x) / a
		u = 1 + u*u
		reach[i] = 1 / (u * math.Sqrt(u))
	}
	for s := range nw.area {
		for c, area := range nw.area[s] {
			total += area * reach[c%nw.n]
		}
	}
	for s := range nw.area {
		for c, area := range nw.area[s] {
			part := share * area * reach[c%nw.n] / total
			d.air[c] += part * nw.face[s].keep
			d.direct[s] += part * (1 - nw.face[s].keep)
		}
	}
}

// plume warms the air of a source's zones, evenly over the layers at and above its height.
func (nw *network) plume(d *deposit, s *Source, width, share, z float64) {
	from := min(nw.m-1, int(z/nw.dz))
	for i, w := range overlap(s.X-width/2, s.X+width/2, nw.dx, nw.n) {
		for k := from; k < nw.m; k++ {
			d.air[i+k*nw.n] += share * w / float64(nw.m-from)
		}
	}
}

// fromFloor shares out heat that a warm patch of floor gives upward: the
// convective part rises over the patch, the long-wave part goes to the faces around.
func (nw *network) fromFloor(d *deposit, s *Source, share, width float64) {
	hc := StillConvection(Upward)
	hr := 4 * 0.95 * sigma * math.Pow(30+kelvin, 3) // a patch at about 30 °C
	if width == 0 {
		width = s.Width
	}
	nw.plume(d, s, width, share*hc/(hc+hr), 0)
	nw.spread(d, share*hr/(hc+hr), s.X)
}

// matUp is the share of a mat's heat that goes up into the box.
func (nw *network) matUp(s *Source) (float64, error) {
	above, below, err := nw.e.aroundMat(s.Outside)
	if err != nil {
		return 0, err
	}
	return below / (above + below), nil
}

// aroundMat is the thermal resistance above and below a mat, m²K/W, to the air
// inside and to the room: the mat lies under the substrate, or outside under the floor.
func (e *Enclosure) aroundMat(outside bool) (above, below float64, err error) {
	cover, err := e.cover()
	if err != nil {
		return 0, 0, under("substrate", err)
	}
	floor := e.Faces.Floor
	if floor.Mesh > 0 {
		return 0, 0, bad("kind", "a heat mat can't lie on a mesh floor")
	}
	plate, err := stack(floor.Layers)
	if err != nil {
		return 0, 0, under("faces.floor", err)
	}
	above = StillAir(Upward) + cover
	below = StillAir(Downward) + floor.ExtraResistance
	if outside {
		above += plate
	} else {
		below += plate
	}
	return above, below, nil
}

// MatTemperature is the temperature of a heat mat, °C, running at full power:
// the watts on its area (m²) against the resistances above it to the air inside
// and below it to the room (m²K/W). Deep dry soil makes the upper one large, and
// the mat hot while the surface stays cool.
func MatTemperature(watts, area, above, below, inside, room float64) (float64, error) {
	if err := first(within("watts", watts, 0, 1e4, "W"), positive("area", area, 100, "m²"), positive("above", above, 100, "m²K/W"),
		positive("below", below, 100, "m²K/W"), celsius("inside", inside), celsius("room", room)); err != nil {
		return 0, err
	}
	return matBalance(watts, area, above, below, inside, room), nil
}

func matBalance(watts, area, above, below, inside, room float64) float64 {
	return (watts/area + inside/above + room/below) / (1/above + 1/below)
}
