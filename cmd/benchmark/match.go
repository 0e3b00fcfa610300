package main

import (
	"context"
	"fmt"
	"io/fs"
	"math"
	"path"
	"strings"
	"testing/fstest"

	"go.yaml.in/yaml/v3"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing"
	"denwright/sizing/score"
	"denwright/testdata/demo"
)

// match times one enclosure against whole catalogues.
func (s *suite) match(context.Context) error {
	var tank sizing.AssessmentQuestion
	if err := decode(demo.DonatedTank, &tank); err != nil {
		return err
	}
	single, err := timed(s.duration/5, func() error { _, err := sizing.Assess(s.catalogue, tank); return err })
	if err != nil {
		return err
	}
	bare := score.Setup{Inside: &score.Inside{Length: new(quantity.Centimetres(120)), Width: new(quantity.Centimetres(60)), Height: new(quantity.Centimetres(60))}}
	kinds := []struct {
		what string
		q    sizing.MatchQuestion
	}{
		{"every species listed with its work", sizing.MatchQuestion{Setup: tank.Setup}},
		{"the best five listed", sizing.MatchQuestion{Setup: tank.Setup, Limit: 5, Fits: []sizing.Fit{sizing.FitsAsItIs, sizing.FitsChanged, sizing.FitUnknown}}},
		{"an empty box, the best five listed", sizing.MatchQuestion{Setup: bare, Empty: true, Limit: 5, Fits: []sizing.Fit{sizing.FitsAsItIs, sizing.FitsChanged, sizing.FitUnknown}}},
	}
	sizes := []int{1, 10, 100}
	costs := make([][]float64, len(kinds)) // by kind and size, ns
	var species []int
	for _, times := range sizes {
		c, err := s.grown(times)
		if err != nil {
			return err
		}
		species = append(species, len(c.Species()))
		m := sizing.NewMatcher(c)
		for i, k := range kinds {
			t, err := timed(s.duration/5, func() error { _, err := m.Match(k.q); return err })
			if err != nil {
				return err
			}
			costs[i] = append(costs[i], float64(t.each))
			s.table.figure(fmt.Sprintf("Match over %d species, %s", len(c.Species()), k.what), t.String())
		}
	}
	for i, k := range kinds {
		s.table.atMost(fmt.Sprintf("Match over %d species in single assessments, %s", species[0], k.what), costs[i][0]/float64(single.each), 15, "")
	}
	for i, k := range kinds {
		// 1 is linear: ten times the records, ten times the time. A twentieth more is
		// within what two measurements differ by.
		slope := math.Log(costs[i][2]/costs[i][0]) / math.Log(float64(species[2])/float64(species[0]))
		s.table.atMost(fmt.Sprintf("Match: power by which time grows from %d to %d species (1 is linear), %s", species[0], species[2], k.what), slope, 1.05, "")
	}
	s.table.figure("A single assessment (the donated dragon tank), for comparison", single.String())
	s.table.note("Larger catalogues are the real records over again under other names; rules that name a species by its id hold for the real one alone.")
	return nil
}

// grown is the catalogue with each species a number of times.
func (s *suite) grown(times int) (*care.Catalogue, error) {
	if times == 1 {
		return s.catalogue, nil
	}
	files, err := care.EmbeddedFiles()
	if err != nil {
		return nil, err
	}
	out := fstest.MapFS{}
	err = fs.WalkDir(files, ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		raw, err := fs.ReadFile(files, name)
		if err != nil {
			return err
		}
		out[name] = &fstest.MapFile{Data: raw}
		if path.Dir(name) != "species" {
			return nil
		}
		for i := 1; i < times; i++ {
			id, copied, err := renamed(raw, i)
			if err != nil {
				return fmt.Errorf("%s: %w", name, err)
			}
			out["species/"+id+".yaml"] = &fstest.MapFile{Data: copied}
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	return care.Load(out)
}

// renamed is a species record under the nth other name.
func renamed(raw []byte, n int) (id string, out []byte, err error) {
	var record yaml.Node
	if err := yaml.Unmarshal(raw, &record); err != nil {
		return "", nil, err
	}
	suffix := string([]byte{byte('a' + n/26), byte('a' + n%26)})
	fields := record.Content[0].Content
	for i := 0; i+1 < len(fields); i += 2 {
		switch key, v := fields[i].Value, fields[i+1]; key {
		case "id", "scientific_name":
			v.Value += suffix
			if key == "id" {
				id = v.Value
			}
		case "names":
			suffixed(v, suffix)
		}
	}
	out, err = yaml.Marshal(&record)
	return id, out, err
}

// suffixed gives every name below a node another end; sources and access stay.
func suffixed(names *yaml.Node, suffix string) {
	for i := 0; i+1 < len(names.Content); i += 2 {
		switch v := names.Content[i+1]; names.Content[i].Value {
		case "synonyms":
			each(v, suffix)
		case "common":
			for j := 1; j < len(v.Content); j += 2 {
				each(v.Content[j], suffix)
			}
		}
	}
}

func each(list *yaml.Node, suffix string) {
	for _, n := range list.Content {
		n.Value = strings.TrimSpace(n.Value) + " " + suffix
	}
}
