package main

import (
	"context"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"time"

	"github.com/go-json-experiment/json"

	"denwright/sizing"
	"denwright/sizing/heat"
	"denwright/testdata/demo"
)

// timing is what one call of a function costs: the median over batches.
type timing struct {
	each   time.Duration
	allocs float64
	bytes  float64
}

func (t timing) String() string {
	return fmt.Sprintf("%s, %s allocations, %s kB", micro(t.each), number(t.allocs), number(t.bytes/1024))
}

// timed calls f for about a time, in batches.
func timed(d time.Duration, f func() error) (timing, error) {
	const batches = 15
	n := 1
	for { // as many calls to a batch as fill its share
		begun := time.Now()
		for range n {
			if err := f(); err != nil {
				return timing{}, err
			}
		}
		if took := time.Since(begun); took > d/batches/2 || n > 1<<20 {
			break
		}
		n *= 2
	}
	var each []float64
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	for range batches {
		begun := time.Now()
		for range n {
			if err := f(); err != nil {
				return timing{}, err
			}
		}
		each = append(each, float64(time.Since(begun))/float64(n))
	}
	runtime.ReadMemStats(&after)
	calls := float64(n * batches)
	return timing{time.Duration(median(each)), float64(after.Mallocs-before.Mallocs) / calls, float64(after.TotalAlloc-before.TotalAlloc) / calls}, nil
}

// functions times the questions without HTTP.
func (s *suite) functions(context.Context) error {
	var tank sizing.AssessmentQuestion
	if err := decode(demo.DonatedTank, &tank); err != nil {
		return err
	}
	box, lamp := glassBox()
	for _, f := range []struct {
		name   string
		target float64 // µs; 0: none
		call   func() error
	}{
		{"`sizing.Require`, one adult bearded dragon", 0, func() error {
			_, err := sizing.Require(s.catalogue, sizing.Question{Species: "pogona-vitticeps", Animals: []sizing.Animal{{Count: 1, Stage: "adult"}}})
			return err
		}},
		{"`sizing.Assess`, the donated dragon tank", 0, func() error { _, err := sizing.Assess(s.catalogue, tank); return err }},
		{"`heat.Solve`, the climate solve: a glass box with a lamp", 100, func() error { _, err := heat.Solve(box, 20, lamp); return err }},
	} {
		t, err := timed(s.duration/5, f.call)
		if err != nil {
			return fmt.Errorf("%s: %w", f.name, err)
		}
		if f.target > 0 {
			s.table.atMost(f.name, float64(t.each)/1e3, f.target, " µs")
		}
		s.table.figure(f.name+": allocations", t.String())
	}
	return s.plans()
}

// plans times each worked plan; the slowest is held to the target.
func (s *suite) plans() error {
	files, err := s.demo("plan-*.json")
	if err != nil {
		return err
	}
	var worst time.Duration
	var all []string
	for _, name := range slices.Sorted(maps.Keys(files)) {
		var q sizing.PlanQuestion
		if err := decode(files[name], &q); err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
		t, err := timed(s.duration/5, func() error { _, err := sizing.Plan(s.catalogue, q); return err })
		if err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
		worst = max(worst, t.each)
		all = append(all, strings.TrimSuffix(strings.TrimPrefix(name, "plan-"), ".json")+" "+micro(t.each))
	}
	s.table.atMost("`sizing.Plan`, the slowest of the worked plans ("+strings.Join(all, ", ")+")", float64(worst)/1e6, 50, " ms")
	return nil
}

// decode reads a question as the program does.
func decode(raw []byte, to any) error {
	return json.Unmarshal(raw, to, json.RejectUnknownMembers(true))
}

// demo reads the example files of a pattern.
func (s *suite) demo(pattern string) (map[string][]byte, error) {
	paths, err := filepath.Glob(filepath.Join(s.root, "testdata", "demo", pattern))
	if err != nil {
		return nil, err
	}
	out := map[string][]byte{}
	for _, p := range paths {
		if out[filepath.Base(p)], err = os.ReadFile(p); err != nil {
			return nil, err
		}
	}
	if len(out) == 0 {
		return nil, fmt.Errorf("no example is called %s", pattern)
	}
	return out, nil
}

// glassBox is a 60 cm glass box with a mesh lid, and a halogen lamp in it.
func glassBox() (heat.Enclosure, []heat.Source) {
	pane := func(thickness float64) heat.Face {
		return heat.Face{Layers: []heat.Layer{{Name: "float glass", Thickness: thickness, Conductivity: 1, Density: 2500, SpecificHeat: 750}}}
	}
	wall := pane(0.004)
	return heat.Enclosure{Length: 0.60, Depth: 0.45, Height: 0.40,
		Faces:     heat.Faces{Front: wall, Back: wall, Left: wall, Right: wall, Top: heat.Face{Mesh: 1, MeshOpen: 0.6}, Floor: pane(0.005)},
		Substrate: heat.Layer{Name: "substrate", Thickness: 0.05, Conductivity: 0.3},
		Openings:  []heat.Opening{{Side: heat.Front, Area: 0.006, FreeShare: 0.4, Low: 0.05, High: 0.07}},
	}, []heat.Source{{Name: "lamp", Kind: heat.HalogenLamp, Watts: 60, X: 0.12, Z: 0.38, TargetZ: 0.08}}
}
