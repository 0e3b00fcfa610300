package heat

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"
)

// readAll reads a solved state at a grid of thermometers, and its first spot.
func readAll(st State, surface string, places ...[2]float64) []Reading {
	var out []Reading
	for _, p := range places {
		out = append(out, Reading{X: p[0], Z: p[1], Celsius: st.At(p[0], p[1])})
	}
	if surface != "" {
		out = append(out, Reading{Source: surface, Celsius: st.Spots[0].Temperature})
	}
	return out
}

var grid = [][2]float64{{0.1, 0.1}, {0.3, 0.1}, {0.5, 0.1}, {0.1, 0.3}, {0.3, 0.3}, {0.5, 0.3}}

// TestCalibrateRecovers: readings made with known coefficients, off the defaults,
// give them back; with noise of a thermometer they come back within reason and
// the residual is of the size of the noise.
func TestCalibrateRecovers(t *testing.T) {
	truth := glassBox(t)
	truth.Coefficients = Coefficients{Exactly(2.2), Exactly(3.1), Exactly(0.7)}
	l := lamp(70)
	l.Radiant = Exactly(0.74)
	st, err := Solve(truth, 21, []Source{l})
	if err != nil {
		t.Fatal(err)
	}
	readings := readAll(st, "lamp", grid...)
	all := Free{Along: true, Up: true, Vent: true, RadiantOf: "lamp"}
	fit, err := Calibrate(glassBox(t), 21, []Source{lamp(70)}, readings, all)
	if err != nil {
		t.Fatal(err)
	}
	inside(t, "along", fit.Coefficients.Along.Typical/2.2, 0.99, 1.01)
	inside(t, "up", fit.Coefficients.Up.Typical/3.1, 0.99, 1.01)
	inside(t, "vent", fit.Coefficients.Vent.Typical/0.7, 0.99, 1.01)
	inside(t, "radiant", fit.Radiant, 0.739, 0.741)
	inside(t, "residual", fit.Residual, 0, 1e-3)
	if fit.Spare != 3 {
		t.Errorf("spare readings: %d", fit.Spare)
	}
	for i := range readings {
		readings[i].Celsius += 0.2 * math.Cos(float64(7*i)) // a thermometer's error, fixed
	}
	fit, err = Calibrate(glassBox(t), 21, []Source{lamp(70)}, readings, Free{Along: true, Vent: true})
	if err != nil {
		t.Fatal(err)
	}
	inside(t, "along with noise", fit.Coefficients.Along.Typical/2.2, 0.5, 2)
	inside(t, "vent with noise", fit.Coefficients.Vent.Typical/0.7, 0.5, 2)
	inside(t, "residual with noise", fit.Residual, 0.05, 1)
	// The fit goes straight into the enclosure and narrows the prediction.
	e := glassBox(t)
	wide, err := Predict(e, 21, []Source{lamp(70)})
	if err != nil {
		t.Fatal(err)
	}
	e.Coefficients = fit.Coefficients
	narrow, err := Predict(e, 21, []Source{lamp(70)})
	if err != nil {
		t.Fatal(err)
	}
	if w, n := wide.Air[0][0], narrow.Air[0][0]; n.High-n.Low >= w.High-w.Low {
		t.Errorf("calibration does not narrow: %+v then %+v", w, n)
	}
}

// TestCalibrateRefuses fits that the readings can't support, with the reason.
func TestCalibrateRefuses(t *testing.T) {
	st, err := Solve(glassBox(t), 21, []Source{lamp(70)})
	if err != nil {
		t.Fatal(err)
	}
	closed := plain(5, 2, material(t, "plywood", 0.018))
	single := plain(1, 1, material(t, "plywood", 0.018))
	off := lamp(0)
	for _, c := range []struct {
		name, reason string
		e            Enclosure
		src          Source
		readings     []Reading
		free         Free
	}{
		{"too few readings", "at least as many", glassBox(t), lamp(70), readAll(st, "", grid[0]), Free{Along: true, Vent: true}},
		{"no vents", "every vent is closed", closed, lamp(70), readAll(st, "", grid...), Free{Vent: true}},
		{"one zone", "one zone", single, lamp(70), readAll(st, "", grid...), Free{Along: true}},
		{"one layer", "one layer", single, lamp(70), readAll(st, "", grid...), Free{Up: true}},
		{"lamp off", "it was off", glassBox(t), off, readAll(st, "", grid...), Free{RadiantOf: "lamp"}},
		{"nothing runs, nothing moves", "no reading reacts", glassBox(t), off, readAll(st, "", grid...), Free{Along: true}},
		{"all in one place", "can't be told apart", glassBox(t), lamp(70), readAll(st, "", grid[2], grid[2], grid[2]), Free{Along: true, Vent: true}},
		{"impossible readings", "edge of what is physical", glassBox(t), lamp(70),
			[]Reading{{X: 0.1, Z: 0.1, Celsius: 60}, {X: 0.5, Z: 0.1, Celsius: 60}}, Free{Vent: true}},
	} {
		_, err := Calibrate(c.e, 21, []Source{c.src}, c.readings, c.free)
		var no *RefusedFit
		if !errors.As(err, &no) || !strings.Contains(no.Reason, c.reason) {
			t.Errorf("%s: got %v, want a refusal with %q", c.name, err, c.reason)
		}
	}
	for _, c := range []struct {
		field    string
		readings []Reading
		free     Free
	}{
		{"readings[0].source", []Reading{{Source: "sun", Celsius: 30}}, Free{Along: true}},
		{"readings[0].x", []Reading{{X: 9, Celsius: 30}}, Free{Along: true}},
		{"readings[0].celsius", []Reading{{Celsius: math.NaN()}}, Free{Along: true}},
		{"free", readAll(st, "", grid...), Free{}},
		{"free.radiant_of", readAll(st, "", grid...), Free{RadiantOf: "sun"}},
	} {
		_, err := Calibrate(glassBox(t), 21, []Source{lamp(70)}, c.readings, c.free)
		var bad *InputError
		if !errors.As(err, &bad) || bad.Field != c.field {
			t.Errorf("%s: got %v", c.field, err)
		}
	}
}

// TestCalibrateRuns: readings by day and by night, in rooms of different warmth, with
// different sources on and other water evaporating, are fitted by one set of
// coefficients; a field error names run and reading.
func TestCalibrateRuns(t *testing.T) {
	truth := glassBox(t)
	truth.Coefficients = Coefficients{Exactly(2.2), Exactly(3.1), Exactly(0.7)}
	mat := Source{Name: "mat", Kind: HeatMat, Watts: 14, X: 0.12, Width: 0.2, Footprint: 0.08, Outside: true}
	day := lamp(70)
	day.Radiant = Exactly(0.74)
	runs := []Run{{Room: 21, Latent: 6, Sources: []Source{mat, day}}, {Room: 17, Sources: []Source{mat}}, {Room: 26, Latent: 3, Sources: []Source{day}}}
	for i := range runs {
		e := truth
		e.Latent = runs[i].Latent
		st, err := Solve(e, runs[i].Room, runs[i].Sources)
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range st.Spots {
			runs[i].Readings = append(runs[i].Readings, Reading{Source: s.Source, Celsius: s.Temperature})
		}
		runs[i].Readings = append(runs[i].Readings, readAll(st, "", grid[i], grid[i+1], grid[i+3])...)
		runs[i].Sources = slices.Clone(runs[i].Sources)
		for j := range runs[i].Sources {
			runs[i].Sources[j].Radiant = Interval{}
		}
	}
	fit, err := CalibrateRuns(glassBox(t), runs, Free{Along: true, Up: true, Vent: true, RadiantOf: "lamp"})
	if err != nil {
		t.Fatal(err)
	}
	inside(t, "along", fit.Coefficients.Along.Typical/2.2, 0.99, 1.01)
	inside(t, "up", fit.Coefficients.Up.Typical/3.1, 0.99, 1.01)
	inside(t, "vent", fit.Coefficients.Vent.Typical/0.7, 0.99, 1.01)
	inside(t, "radiant", fit.Radiant, 0.739, 0.741)
	inside(t, "spare", float64(fit.Spare), 9, 9)
	for name, i := range map[string]Interval{"along": fit.Likely.Along, "up": fit.Likely.Up, "vent": fit.Likely.Vent, "radiant": fit.RadiantLikely} {
		if !(i.Low < i.Typical && i.Typical < i.High) {
			t.Errorf("likely %s: %+v", name, i)
		}
	}
	// Four times the readings of the same error halve the standard error: the interval
	// of a logarithm is half as wide.
	more := slices.Concat(runs, runs, runs, runs)
	four, err := CalibrateRuns(glassBox(t), more, Free{Along: true, Up: true, Vent: true, RadiantOf: "lamp"})
	if err != nil {
		t.Fatal(err)
	}
	inside(t, "narrowing", math.Log(four.Likely.Vent.High/four.Likely.Vent.Low)/math.Log(fit.Likely.Vent.High/fit.Likely.Vent.Low), 0.49, 0.51)

	runs[1].Readings[2].Z = 7
	var bad *InputError
	if _, err = CalibrateRuns(glassBox(t), runs, Free{Along: true}); !errors.As(err, &bad) || bad.Field != "runs[1].readings[2].z" {
		t.Errorf("got %v", err)
	}
}

func BenchmarkCalibrate(b *testing.B) {
	st, err := Solve(glassBox(b), 21, []Source{lamp(70)})
	if err != nil {
		b.Fatal(err)
	}
	readings := readAll(st, "", grid...)
	for b.Loop() {
		if _, err := Calibrate(glassBox(b), 21, []Source{lamp(70)}, readings, Free{Along: true, Vent: true}); err != nil {
			b.Fatal(err)
		}
	}
}
