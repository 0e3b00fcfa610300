package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"time"

	"denwright/care"
	"denwright/testdata/demo"
)

// bodies are the questions put to a route: one for each species held, of adults, of
// one to three animals, a third of them under a law.
func bodies(c *care.Catalogue, path string) (out [][]byte) {
	places := c.Jurisdictions()
	for i, s := range c.Species() {
		q := map[string]any{}
		switch path {
		case "/v1/assessments":
			_ = json.Unmarshal(demo.DonatedTank, &q) // embedded, and tested as an example of the contract
		case "/v1/climates":
			q["enclosure"] = map[string]any{"length": cm(120), "width": cm(60), "height": cm(60), "walls": map[string]any{"construction": "glass-4mm"}, "lid": map[string]any{"kind": "mesh"}}
			air := map[string]any{"temperature": map[string]any{"value": 20 + i%3, "unit": "°C"}}
			q["room"] = map[string]any{"winter": air, "summer": air}
			q["heat_sources"] = []any{map[string]any{"kind": "halogen-lamp", "power": map[string]any{"value": 50, "unit": "W"}}}
			q["parts"] = []string{"profile"}
		}
		q["species"], q["animals"] = s.ID, []any{map[string]any{"count": 1 + i%3, "stage": "adult"}}
		delete(q, "jurisdiction")
		if i%3 == 0 && path != "/v1/climates" {
			q["jurisdiction"] = places[i%len(places)]
		}
		body, err := json.Marshal(q)
		if err != nil {
			panic(err) // maps of numbers and text
		}
		out = append(out, body)
	}
	return out
}

func cm(x float64) map[string]any { return map[string]any{"value": x, "unit": "cm"} }

// rounds is how often the two services take turns.
const rounds = 6

// service measures each route against the bare handler, turn and turn about.
func (s *suite) service(ctx context.Context) (err error) {
	ours, err := s.program(ctx, nothingKept, false)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, ours.stop()) }()
	bare, err := s.bare()
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, bare.stop()) }()
	for _, k := range []struct {
		path   string
		target float64
	}{{"/v1/sizings", 0.75}, {"/v1/assessments", 0.6}, {"/v1/climates", 0}} {
		if err := s.against(ctx, ours, bare, k.path, k.target); err != nil {
			return err
		}
	}
	s.table.note("The bare handler is Echo with its own binder and encoder (encoding/json): it decodes the same bodies into plain types of the same shape and encodes a fixed answer of the mean size, "+
		"and checks, computes, logs and sets no more. Both are asked by %d clients on loopback from a third process, in %d turns; ratios are medians over the turns. The processor's share is what each server itself took for a request.", clients, rounds)
	s.table.note("`POST /v1/climates` is a profile (one heat balance with a lamp over a mesh lid) and is held against the contract before it is decoded, which the other two are only when at fault.")
	return nil
}

func (s *suite) against(ctx context.Context, ours, bare *process, path string, target float64) error {
	questions := bodies(s.catalogue, path)
	type side struct {
		of    *process
		all   load
		bytes int // the mean of an answer
		cpu   time.Duration
		rates []float64
		p99s  []float64
	}
	sides := [2]*side{{of: ours}, {of: bare}}
	for _, k := range sides {
		var err error
		if k.bytes, err = k.of.meanAnswer(ctx, path, questions); err != nil {
			return err
		}
	}
	for turn := range rounds + 1 {
		for i := range sides {
			k := sides[(i+turn)%2]
			before := k.of.cpu()
			l := attack(ctx, posts(k.of.url, path, questions), 0, s.duration/rounds)
			if err := ctx.Err(); err != nil {
				return err
			}
			if len(l.failed) > 0 {
				return fmt.Errorf("%s of %s: %v", path, k.of.description, l.failed)
			}
			if turn == 0 { // both warm up
				continue
			}
			k.all.add(l)
			k.cpu += k.of.cpu() - before
			k.rates, k.p99s = append(k.rates, l.rate()), append(k.p99s, float64(l.quantile(0.99)))
		}
	}
	a, b := sides[0], sides[1]
	ratios, tails := make([]float64, rounds), make([]float64, rounds)
	for i := range rounds {
		ratios[i], tails[i] = a.rates[i]/b.rates[i], a.p99s[i]/b.p99s[i]
	}
	name := "`POST " + path + "`"
	s.table.figure(name+", answers a second: service and bare handler", fmt.Sprintf("%s and %s", number(a.all.rate()), number(b.all.rate())))
	s.table.figure(name+", bytes an answer: service and bare handler", fmt.Sprintf("%d and %d", a.bytes, b.bytes))
	if target > 0 {
		s.table.atLeast(name+", throughput over the bare handler's", median(ratios), target, "")
		s.table.atMost(name+", p99 over the bare handler's", median(tails), 3, "")
	} else {
		s.table.figure(name+", throughput over the bare handler's", number(median(ratios)))
		s.table.figure(name+", p99 over the bare handler's", number(median(tails)))
	}
	s.table.figure(name+", p50 and p99: service", micro(a.all.quantile(0.5))+" and "+micro(a.all.quantile(0.99)))
	s.table.figure(name+", p50 and p99: bare handler", micro(b.all.quantile(0.5))+" and "+micro(b.all.quantile(0.99)))
	s.table.figure(name+", processor time a request: service and bare handler", micro(a.cpu/time.Duration(a.all.answered))+" and "+micro(b.cpu/time.Duration(b.all.answered)))
	return nil
}

// meanAnswer asks each question once and gives the mean size of an answer.
func (p *process) meanAnswer(ctx context.Context, path string, questions [][]byte) (int, error) {
	total := 0
	for _, body := range questions {
		q, err := http.NewRequestWithContext(ctx, http.MethodPost, p.url+path, bytes.NewReader(body))
		if err != nil {
			return 0, err
		}
		q.Header.Set("Content-Type", "application/json")
		w, err := http.DefaultClient.Do(q)
		if err != nil {
			return 0, err
		}
		raw, err := io.ReadAll(w.Body)
		if err := errors.Join(err, w.Body.Close()); err != nil {
			return 0, err
		}
		if w.StatusCode != http.StatusOK {
			return 0, fmt.Errorf("%s %s answers %d %s", path, body, w.StatusCode, raw)
		}
		total += len(raw)
	}
	return total / len(questions), nil
}
