package heat

import (
	"errors"
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

// Run is the readings of one moment: one room temperature, one set of sources.
type Run struct {
	Room     float64 // °C
	Latent   float64 // W into evaporating water at the time; it stands for the enclosure's own
	Sources  []Source
	Readings []Reading
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
	// Likely and RadiantLikely hold each fitted value with two standard errors to
	// either side, to first order and each by itself; the thermometer is taken to be
	// no better than [ReadingError]. A coefficient that was not free is of zero width.
	Likely        Coefficients
	RadiantLikely Interval
}

// ReadingError is the standard error, K, of a household thermometer read in an
// enclosure: common practice, no source. A fit that does better is luck.
const ReadingError = 0.5

// RefusedFit is the error of a calibration that the readings can't support.
type RefusedFit struct {
	Reason string
	// Residual is the root mean square, K, of the best fit, where one was found and
	// then refused; else 0. Fewer coefficients can't do better.
	Residual float64
}

// Error writes the reason.
func (e *RefusedFit) Error() string { return "calibration refused: " + e.Reason }

func refuse(format string, args ...any) error {
	return &RefusedFit{Reason: fmt.Sprintf(format, args...)}
}

// legible is the least change, K, that a reading must show when a coefficient
// changes by a factor of e, for that coefficient to be worth fitting: about what
// a household thermometer resolves.
const legible = 0.1

// parameter is one free coefficient on a scale without bounds.
type parameter struct {
	name   string
	lo, hi float64 // of the coefficient
	start  float64
	share  bool   // logistic rather than logarithmic
	of     string // the source whose radiant share it is, "" for the others
	set    func(set *setting, radiant *float64, v float64)
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
	fit, err := CalibrateRuns(e, []Run{{room, e.Latent, sources, readings}}, free)
	var b *InputError
	if errors.As(err, &b) {
		return Fit{}, &InputError{strings.TrimPrefix(b.Field, "runs[0]."), b.Reason}
	}
	return fit, err
}

// CalibrateRuns fits as [Calibrate] does, one set of coefficients to the readings
// of several runs together. A field of run i is named under "runs[i]"; residuals
// are in the order of the runs.
func CalibrateRuns(e Enclosure, runs []Run, free Free) (Fit, error) {
	nw, err := newNetwork(&e)
	if err != nil {
		return Fit{}, err
	}
	count := 0
	for j, run := range runs {
		if err := run.check(&e); err != nil {
			return Fit{}, under(fmt.Sprintf("runs[%d]", j), err)
		}
		count += len(run.Readings)
	}
	params, err := nw.parameters(runs, free)
	if err != nil {
		return Fit{}, err
	}
	if count < len(params) {
		return Fit{}, refuse("%d free coefficients need at least as many readings, not %d", len(params), count)
	}
	f := &fitter{nw: nw, w: newWorkspace(nw.n * nw.m), runs: runs, count: count, params: params}
	if _, err := f.residuals(f.start()); err != nil { // bad sources come out here, as field errors
		return Fit{}, err
	}
	u, err := f.minimise()
	if err != nil {
		return Fit{}, err
	}
	res, err := f.residuals(u)
	if err != nil {
		return Fit{}, err
	}
	fit := Fit{Residuals: res, Residual: math.Sqrt(squares(res) / float64(count)), Spare: count - len(params)}
	jac, err := f.identify(u)
	if err != nil {
		var no *RefusedFit
		if errors.As(err, &no) {
			no.Residual = fit.Residual
		}
		return Fit{}, err
	}
	set, radiant := f.apply(u)
	fit.Coefficients = Coefficients{Exactly(set.along), Exactly(set.up), Exactly(set.vent)}
	fit.Likely = fit.Coefficients
	if free.RadiantOf != "" {
		fit.Radiant = radiant
	}
	noise := math.Max(ReadingError, math.Sqrt(squares(res)/float64(max(fit.Spare, 1))))
	spread, err := spreads(jac, noise)
	if err != nil {
		return Fit{}, err
	}
	for i, p := range params {
		likely := Interval{math.Max(p.lo, p.value(u[i]-2*spread[i])), p.value(u[i]), math.Min(p.hi, p.value(u[i]+2*spread[i]))}
		switch p.name {
		case "along":
			fit.Likely.Along = likely
		case "up":
			fit.Likely.Up = likely
		case "vent":
			fit.Likely.Vent = likely
		default:
			fit.RadiantLikely = likely
		}
	}
	return fit, nil
}

// spreads are the standard errors of the coordinates for readings of the given
// noise, K: the roots of the diagonal of noise²·(JᵀJ)⁻¹, from J's singular values.
func spreads(jac *mat.Dense, noise float64) ([]float64, error) {
	var svd mat.SVD
	if !svd.Factorize(jac, mat.SVDThin) {
		return nil, refuse("the readings' dependence on the coefficients can't be analysed")
	}
	values := svd.Values(nil)
	var v mat.Dense
	svd.VTo(&v)
	_, n := jac.Dims()
	out := make([]float64, n)
	for j := range out {
		for k, s := range values {
			out[j] += v.At(j, k) * v.At(j, k) / (s * s)
		}
		out[j] = noise * math.Sqrt(out[j])
	}
	return out, nil
}

// check says what of a run is not physical, but for its sources.
func (run *Run) check(e *Enclosure) error {
	if err := first(celsius("room", run.Room), within("latent", run.Latent, 0, 1e4, "W")); err != nil {
		return err
	}
	for i, r := range run.Readings {
		field := fmt.Sprintf("readings[%d]", i)
		if r.Source != "" {
			if !slices.ContainsFunc(run.Sources, func(s Source) bool { return s.Name == r.Source }) {
				return bad(field+".source", "no source is called %q", r.Source)
			}
		} else if err := first(within(field+".x", r.X, 0, e.Length, "m"), within(field+".z", r.Z, 0, e.Height, "m")); err != nil {
			return err
		}
		if err := celsius(field+".celsius", r.Celsius); err != nil {
			return err
		}
	}
	return nil
}

func (nw *network) parameters(runs []Run, free Free) ([]parameter, error) {
	var out []parameter
	scale := func(name string, start, lo, hi float64, set func(*setting, *float64, float64)) {
		if start <= 0 {
			start = math.Sqrt(lo * hi)
		}
		out = append(out, parameter{name: name, lo: lo, hi: hi, start: start, set: set})
	}
	if free.Along {
		if nw.n < 2 {
			return nil, refuse("mixing along the length has no meaning with one zone")
		}
		scale("along", nw.coef.Along.Typical, 1e-2, 1e4, func(s *setting, _ *float64, v float64) { s.along = v })
	}
	if free.Up {
		if nw.m < 2 {
			return nil, refuse("mixing upward has no meaning with one layer")
		}
		scale("up", nw.coef.Up.Typical, 1e-3, 1e4, func(s *setting, _ *float64, v float64) { s.up = v })
	}
	if free.Vent {
		if nw.stackField == nil && nw.exchange == nil {
			return nil, refuse("the vent flow can't be fitted: every vent is closed")
		}
		scale("vent", nw.coef.Vent.Typical, 1e-2, 20, func(s *setting, _ *float64, v float64) { s.vent = v })
	}
	if free.RadiantOf != "" {
		var lamp *Source
		for _, run := range runs {
			if i := slices.IndexFunc(run.Sources, func(s Source) bool { return s.Name == free.RadiantOf }); i >= 0 && (lamp == nil || lamp.Watts == 0) {
				lamp = &run.Sources[i]
			}
		}
		switch {
		case lamp == nil:
			return nil, bad("free.radiant_of", "no source is called %q", free.RadiantOf)
		case !lamp.radiates():
			return nil, bad("free.radiant_of", "%q gives no radiation", free.RadiantOf)
		case lamp.Watts == 0:
			return nil, refuse("the radiant share of %q can't be fitted: it was off", free.RadiantOf)
		}
		r, err := radiator(lamp.Kind)
		if err != nil {
			return nil, err
		}
		start := r.Radiant.Typical
		if lamp.Radiant.High > 0 {
			start = lamp.Radiant.Typical
		}
		out = append(out, parameter{name: "radiant", lo: 0.02, hi: 0.98, start: math.Min(0.9, math.Max(0.1, start)), share: true,
			of: free.RadiantOf, set: func(_ *setting, radiant *float64, v float64) { *radiant = v }})
	}
	if len(out) == 0 {
		return nil, bad("free", "name at least one coefficient to fit")
	}
	return out, nil
}

type fitter struct {
	nw     *network
	w      *workspace
	runs   []Run
	count  int // of readings
	params []parameter
}

func (f *fitter) start() []float64 {
	u := make([]float64, len(f.params))
	for i, p := range f.params {
		u[i] = p.coordinate(p.start)
	}
	return u
}

func (f *fitter) apply(u []float64) (set setting, radiant float64) {
	set = f.nw.typical()
	for i, p := range f.params {
		v := p.value(u[i])
		// The search may step anywhere; the model sees physical values only.
		p.set(&set, &radiant, math.Min(p.hi, math.Max(p.lo, v)))
	}
	return set, radiant
}

// sources are those of a run, with the radiant share that is tried.
func (f *fitter) sources(run *Run, radiant float64) []Source {
	src := run.Sources
	for _, p := range f.params {
		if i := slices.IndexFunc(src, func(s Source) bool { return p.of != "" && s.Name == p.of }); i >= 0 {
			src = slices.Clone(src)
			src[i].Radiant = Exactly(radiant)
		}
	}
	return src
}

// residuals are computed less read, K.
func (f *fitter) residuals(u []float64) ([]float64, error) {
	set, radiant := f.apply(u)
	out := make([]float64, 0, f.count)
	for j := range f.runs {
		run := &f.runs[j]
		f.nw.e.Latent = run.Latent
		st, err := f.nw.solve(f.w, set, run.Room, f.sources(run, radiant))
		if err != nil {
			return nil, under(fmt.Sprintf("runs[%d]", j), err)
		}
		for i, r := range run.Readings {
			if r.Source == "" {
				out = append(out, st.At(r.X, r.Z)-r.Celsius)
				continue
			}
			k := slices.IndexFunc(st.Spots, func(s SpotState) bool { return s.Source == r.Source })
			if k < 0 {
				return nil, bad(fmt.Sprintf("runs[%d].readings[%d].source", j, i), "%q heats no surface whose temperature is computed", r.Source)
			}
			out = append(out, st.Spots[k].Temperature-r.Celsius)
		}
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
	jac := mat.NewDense(f.count, len(f.params), nil)
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
// readings move with each coefficient, and with combinations of them, and hands
// that back.
func (f *fitter) identify(u []float64) (*mat.Dense, error) {
	for i, p := range f.params {
		if v := p.value(u[i]); v <= p.lo*1.001 || v >= p.hi*0.999 {
			return nil, refuse("the best %s lies at the edge of what is physical (%.3g): the readings, the watts or the drawing must be wrong, or the readings do not depend on it", p.name, v)
		}
	}
	jac, err := f.jacobian(u)
	if err != nil {
		return nil, err
	}
	for j, p := range f.params {
		if norm := mat.Norm(jac.ColView(j), math.Inf(1)); norm < legible {
			return nil, refuse("no reading reacts to %s: a factor of 2.7 in it moves them by %.2g K at most; read at more places", p.name, norm)
		}
	}
	var svd mat.SVD
	if !svd.Factorize(jac, mat.SVDThin) {
		return nil, refuse("the readings' dependence on the coefficients can't be analysed")
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
		return nil, refuse("%s can't be told apart: a change in one is made good by the others in every reading; read at more places, or fit fewer", strings.Join(names, " and "))
	}
	return jac, nil
}
