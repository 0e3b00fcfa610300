package heat

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/mat"
)

// Reading is one thermometer reading at steady running.
type Reading struct {
	X, Z    float64 // m from the left end, and above the substrate
	Celsius float64
	// Source, if set, names a source: the reading is of the surface that it heats,
	// and X and Z are not used.
	Source string
}

// Free names the coefficients to be fitted; at least one.
type Free struct {
	Along, Up, Vent bool
	// RadiantOf names a source whose radiant share is fitted; "" for none.
	RadiantOf string
}

// Fit is the result of a calibration. A coefficient that was not free keeps its
// typical value.
type Fit struct {
	Coefficients Coefficients // of zero width, for Enclosure.Coefficients
	Radiant      float64      // the radiant share of the source named; 0 if none was
	// Residuals, K: computed less read, in the order of the readings.
	Residuals []float64
	// Residual is their root mean square, K.
	Residual float64
	// Spare is the number of readings beyond the number of free coefficients. At 0
	// the fit passes through the readings and the residual says nothing of its worth.
	Spare int
}

// RefusedFit is the error of a calibration that the readings can't support.
type RefusedFit struct{ Reason string }

// Error writes the reason.
func (e *RefusedFit) Error() string { return "calibration refused: " + e.Reason }

func refuse(format string, args ...any) error { return &RefusedFit{fmt.Sprintf(format, args...)} }

// legible is the least change, K, that a reading must show when a coefficient
// changes by a factor of e, for that coefficient to be worth fitting: about what
// a household thermometer resolves.
const legible = 0.1

// parameter is one free coefficient on a scale without bounds.
type parameter struct {
	name   string
	lo, hi float64 // of the coefficient
	start  float64
	share  bool // logistic rather than logarithmic
	set    func(*setting, []Source, float64)
}

func (p parameter) value(u float64) float64 {
	if p.share {
		return 1 / (1 + math.Exp(-u))
	}
	return math.Exp(u)
}

func (p parameter) coordinate(v float64) float64 {
	if p.share {
		return math.Log(v / (1 - v))
	}
	return math.Log(v)
}

// Calibrate fits free coefficients to readings by least squares, with every
// source running at its watts and the room at the given temperature (°C). The
// error is a [*RefusedFit] where the readings can't fix the coefficients: too few
// readings, readings that do not react to one of them, two coefficients that do
// the same to every reading, or a best fit at the edge of what is physical.
func Calibrate(e Enclosure, room float64, sources []Source, readings []Reading, free Free) (Fit, error) {
	if err := celsius("room", room); err != nil {
		return Fit{}, err
	}
	nw, err := newNetwork(&e)
	if err != nil {
		return Fit{}, err
	}
	for i, r := range readings {
		field := fmt.Sprintf("readings[%d]", i)
		if r.Source != "" {
			if !slices.ContainsFunc(sources, func(s Source) bool { return s.Name == r.Source }) {
				return Fit{}, bad(field+".source", "no source is called %q", r.Source)
			}
		} else if err := first(within(field+".x", r.X, 0, e.Length, "m"), within(field+".z", r.Z, 0, e.Height, "m")); err != nil {
			return Fit{}, err
		}
		if err := celsius(field+".celsius", r.Celsius); err != nil {
			return Fit{}, err
		}
	}
	params, err := nw.parameters(sources, free)
	if err != nil {
		return Fit{}, err
	}
	if len(readings) < len(params) {
		return Fit{}, refuse("%d free coefficients need at least as many readings, not %d", len(params), len(readings))
	}
	f := &fitter{nw: nw, w: newWorkspace(nw.n * nw.m), room: room, sources: slices.Clone(sources), readings: readings, params: params}
	if _, err := f.residuals(f.start()); err != nil { // bad sources come out here, as field errors
		return Fit{}, err
	}
	u, err := f.minimise()
	if err != nil {
		return Fit{}, err
	}
	if err := f.identify(u); err != nil {
		return Fit{}, err
	}
	res, err := f.residuals(u)
	if err != nil {
		return Fit{}, err
	}
	fit := Fit{Residuals: res, Spare: len(readings) - len(params)}
	for _, r := range res {
		fit.Residual += r * r
	}
	fit.Residual = math.Sqrt(fit.Residual / float64(len(res)))
	set, src := f.apply(u)
	fit.Coefficients = Coefficients{Exactly(set.along), Exactly(set.up), Exactly(set.vent)}
	for i := range src {
		if free.RadiantOf != "" && src[i].Name == free.RadiantOf {
			fit.Radiant = src[i].Radiant.Typical
		}
	}
	return fit, nil
}

func (nw *network) parameters(sources []Source, free Free) ([]parameter, error) {
	var out []parameter
	scale := func(name string, start, lo, hi float64, set func(*setting, []Source, float64)) {
		if start <= 0 {
			start = math.Sqrt(lo * hi)
		}
		out = append(out, parameter{name: name, lo: lo, hi: hi, start: start, set: set})
	}
	if free.Along {
		if nw.n < 2 {
			return nil, refuse("mixing along the length has no meaning with one zone")
		}
		scale("along", nw.coef.Along.Typical, 1e-2, 1e4, func(s *setting, _ []Source, v float64) { s.along = v })
	}
	if free.Up {
		if nw.m < 2 {
			return nil, refuse("mixing upward has no meaning with one layer")
		}
		scale("up", nw.coef.Up.Typical, 1e-3, 1e4, func(s *setting, _ []Source, v float64) { s.up = v })
	}
	if free.Vent {
		if nw.stackField == nil && nw.exchange == nil {
			return nil, refuse("the vent flow can't be fitted: every vent is closed")
		}
		scale("vent", nw.coef.Vent.Typical, 1e-2, 20, func(s *setting, _ []Source, v float64) { s.vent = v })
	}
	if free.RadiantOf != "" {
		i := slices.IndexFunc(sources, func(s Source) bool { return s.Name == free.RadiantOf })
		if i < 0 {
			return nil, bad("free.radiant_of", "no source is called %q", free.RadiantOf)
		}
		if !sources[i].radiates() {
			return nil, bad("free.radiant_of", "%q gives no radiation", free.RadiantOf)
		}
		if sources[i].Watts == 0 {
			return nil, refuse("the radiant share of %q can't be fitted: it was off", free.RadiantOf)
		}
		r, err := radiator(sources[i].Kind)
		if err != nil {
			return nil, err
		}
		start := r.Radiant.Typical
		if sources[i].Radiant.High > 0 {
			start = sources[i].Radiant.Typical
		}
		out = append(out, parameter{name: "radiant", lo: 0.02, hi: 0.98, start: math.Min(0.9, math.Max(0.1, start)), share: true,
			set: func(_ *setting, src []Source, v float64) { src[i].Radiant = Exactly(v) }})
	}
	if len(out) == 0 {
		return nil, bad("free", "name at least one coefficient to fit")
	}
	return out, nil
}

type fitter struct {
	nw       *network
	w        *workspace
	room     float64
	sources  []Source
	readings []Reading
	params   []parameter
}

func (f *fitter) start() []float64 {
	u := make([]float64, len(f.params))
	for i, p := range f.params {
		u[i] = p.coordinate(p.start)
	}
	return u
}

func (f *fitter) apply(u []float64) (setting, []Source) {
	set, src := f.nw.typical(), slices.Clone(f.sources)
	for i, p := range f.params {
		v := p.value(u[i])
		// The search may step anywhere; the model sees physical values only.
		p.set(&set, src, math.Min(p.hi, math.Max(p.lo, v)))
	}
	return set, src
}

// residuals are computed less read, K.
func (f *fitter) residuals(u []float64) ([]float64, error) {
	set, src := f.apply(u)
	st, err := f.nw.solve(f.w, set, f.room, src)
	if err != nil {
		return nil, err
	}
	out := make([]float64, len(f.readings))
	for i, r := range f.readings {
		if r.Source == "" {
			out[i] = st.At(r.X, r.Z) - r.Celsius
			continue
		}
		k := slices.IndexFunc(st.Spots, func(s SpotState) bool { return s.Source == r.Source })
		if k < 0 {
			return nil, bad(fmt.Sprintf("readings[%d].source", i), "%q heats no surface whose temperature is computed", r.Source)
		}
		out[i] = st.Spots[k].Temperature - r.Celsius
	}
	return out, nil
}

func squares(res []float64) float64 { return dot(res, res) }

// minimise runs a damped Gauss-Newton search (Levenberg 1944, Marquardt 1963)
// from the default and from a step to either side of it, and keeps the best.
func (f *fitter) minimise() ([]float64, error) {
	best, bestF := []float64(nil), math.Inf(1)
	for _, shift := range []float64{0, -1.5, 1.5} {
		u := f.start()
		for i := range u {
			u[i] += shift
		}
		u, sum, err := f.descend(f.confine(u))
		if err != nil {
			return nil, err
		}
		if sum < bestF {
			best, bestF = u, sum
		}
	}
	return best, nil
}

// confine moves coordinates into the physical range.
func (f *fitter) confine(u []float64) []float64 {
	for i, p := range f.params {
		u[i] = math.Min(p.coordinate(p.hi), math.Max(p.coordinate(p.lo), u[i]))
	}
	return u
}

func (f *fitter) descend(u []float64) ([]float64, float64, error) {
	res, err := f.residuals(u)
	if err != nil {
		return nil, 0, err
	}
	n, damp := len(u), 1e-2
	for range 60 {
		jac, err := f.jacobian(u)
		if err != nil {
			return nil, 0, err
		}
		var normal mat.SymDense
		normal.SymOuterK(1, jac.T())
		var grad mat.VecDense
		grad.MulVec(jac.T(), mat.NewVecDense(len(res), res))
		moved := false
		for damp < 1e8 {
			damped := mat.NewSymDense(n, nil)
			damped.CopySym(&normal)
			for i := range n {
				damped.SetSym(i, i, normal.At(i, i)*(1+damp)+1e-9)
			}
			var chol mat.Cholesky
			var step mat.VecDense
			if !chol.Factorize(damped) || chol.SolveVecTo(&step, &grad) != nil {
				damp *= 10
				continue
			}
			next := slices.Clone(u)
			for i := range next {
				next[i] -= math.Max(-2, math.Min(2, step.AtVec(i)))
			}
			next = f.confine(next)
			trial, err := f.residuals(next)
			if err != nil {
				return nil, 0, err
			}
			if old, now := squares(res), squares(trial); now < old {
				moved = old-now > 1e-14*(1+old)
				u, res, damp = next, trial, math.Max(damp/10, 1e-9)
				break
			}
			damp *= 10
		}
		if !moved {
			break
		}
	}
	return u, squares(res), nil
}

// jacobian is the change of each residual with each coordinate, K per factor of e, by central differences.
func (f *fitter) jacobian(u []float64) (*mat.Dense, error) {
	const h = 1e-4
	jac := mat.NewDense(len(f.readings), len(f.params), nil)
	for j := range f.params {
		step := slices.Clone(u)
		step[j] = u[j] + h
		up, err := f.residuals(step)
		if err != nil {
			return nil, err
		}
		step[j] = u[j] - h
		down, err := f.residuals(step)
		if err != nil {
			return nil, err
		}
		for i := range up {
			jac.Set(i, j, (up[i]-down[i])/(2*h))
		}
	}
	return jac, nil
}

// identify refuses a fit that the readings do not fix. It looks at how the
// readings move with each coefficient, and with combinations of them.
func (f *fitter) identify(u []float64) error {
	for i, p := range f.params {
		if v := p.value(u[i]); v <= p.lo*1.001 || v >= p.hi*0.999 {
			return refuse("the best %s lies at the edge of what is physical (%.3g): the readings, the watts or the drawing must be wrong, or the readings do not depend on it", p.name, v)
		}
	}
	jac, err := f.jacobian(u)
	if err != nil {
		return err
	}
	for j, p := range f.params {
		if norm := mat.Norm(jac.ColView(j), math.Inf(1)); norm < legible {
			return refuse("no reading reacts to %s: a factor of 2.7 in it moves them by %.2g K at most; read at more places", p.name, norm)
		}
	}
	var svd mat.SVD
	if !svd.Factorize(jac, mat.SVDThin) {
		return refuse("the readings' dependence on the coefficients can't be analysed")
	}
	values := svd.Values(nil)
	if weakest := values[len(values)-1]; weakest < legible {
		var v mat.Dense
		svd.VTo(&v)
		var names []string
		for j, p := range f.params {
			if math.Abs(v.At(j, len(values)-1)) > 0.3 {
				names = append(names, p.name)
			}
		}
		return refuse("%s can't be told apart: a change in one is made good by the others in every reading; read at more places, or fit fewer", strings.Join(names, " and "))
	}
	return nil
}
