package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"math/rand/v2"
	"net"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"github.com/go-json-experiment/json"
	vegeta "github.com/tsenart/vegeta/v12/lib"

	"denwright/testdata/demo"
)

// malformedCount is how many bad requests are sent.
const malformedCount = 10_000

// malformed sends requests that are wrong in every way that can be made at random from
// a seed, and wants a problem document with a 4xx for each.
func (s *suite) malformed(ctx context.Context) (err error) {
	p, err := s.program(ctx, nothingKept, false)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, p.stop()) }()
	r := rand.New(rand.NewPCG(3, 9))
	var requests []*http.Request
	good := bodies(s.catalogue, "/v1/assessments")
	for range malformedCount {
		q, err := bad(ctx, r, p.url, good)
		if err != nil {
			return err
		}
		requests = append(requests, q)
	}
	var next, refused atomic.Int64
	var mu sync.Mutex
	statuses, wrong := map[int]int{}, map[string]int{}
	client := &http.Client{Timeout: 30 * time.Second, Transport: &http.Transport{MaxIdleConnsPerHost: clients}}
	defer client.CloseIdleConnections()
	var wg sync.WaitGroup
	for range clients {
		wg.Go(func() {
			for i := int(next.Add(1)) - 1; i < len(requests); i = int(next.Add(1)) - 1 {
				status, why := problemOf(client, requests[i])
				mu.Lock()
				statuses[status]++
				if why != "" {
					wrong[fmt.Sprintf("%s %s: %s", requests[i].Method, requests[i].URL.Path, why)]++
				} else {
					refused.Add(1)
				}
				mu.Unlock()
			}
		})
	}
	wg.Wait()
	if err := p.ready(ctx); err != nil {
		return fmt.Errorf("after %d malformed requests: %w", malformedCount, err)
	}
	var parts []string
	for _, status := range slices.Sorted(maps.Keys(statuses)) {
		parts = append(parts, fmt.Sprintf("%d: %d", status, statuses[status]))
	}
	s.table.atLeast(fmt.Sprintf("Of %d malformed requests, answered with a 4xx problem document (%s)", malformedCount, strings.Join(parts, ", ")), float64(refused.Load()), malformedCount, "")
	for _, what := range slices.Sorted(maps.Keys(wrong)) {
		s.table.note("Malformed: %s (%d times)", what, wrong[what])
	}
	return nil
}

// problemOf sends a request and says what is wrong with the answer, if anything.
func problemOf(client *http.Client, q *http.Request) (status int, why string) {
	w, err := client.Do(q)
	if err != nil {
		return 0, err.Error()
	}
	defer w.Body.Close()
	raw, err := io.ReadAll(w.Body)
	if err != nil {
		return w.StatusCode, err.Error()
	}
	var problem struct {
		Type   string `json:"type"`
		Title  string `json:"title"`
		Status int    `json:"status"`
	}
	switch {
	case w.StatusCode < 400 || w.StatusCode > 499:
		return w.StatusCode, fmt.Sprintf("answers %d", w.StatusCode)
	case !strings.HasPrefix(w.Header.Get("Content-Type"), "application/problem+json"):
		return w.StatusCode, "is no problem document"
	}
	if err := json.Unmarshal(raw, &problem); err != nil || problem.Type == "" || problem.Title == "" || problem.Status != w.StatusCode {
		return w.StatusCode, "is a problem document that does not say what the matter is"
	}
	return w.StatusCode, ""
}

// bad makes a request that can't be answered, of a good body.
func bad(ctx context.Context, r *rand.Rand, base string, good [][]byte) (*http.Request, error) {
	path := []string{"/v1/sizings", "/v1/assessments", "/v1/matches", "/v1/climates", "/v1/comparisons", "/v1/change-plans", "/v1/outgrowings", "/v1/handovers", "/v1/company-checks"}[r.IntN(9)]
	body := slices.Clone(good[r.IntN(len(good))])
	method, kind := http.MethodPost, "application/json"
	switch r.IntN(14) {
	case 0: // cut short
		body = body[:1+r.IntN(len(body)-2)]
	case 1: // a bracket too many
		body = append(body, '}')
	case 2: // a field that is none
		body = append([]byte(fmt.Sprintf(`{"field_%d":%d,`, r.IntN(1000), r.IntN(1000))), body[1:]...)
	case 3: // the same field twice
		body = append([]byte(`{"species":"boa","species":"boa",`), body[1:]...)
	case 4: // no animal
		body = bytes.Replace(body, []byte(`"count":`), []byte(`"count":-`), 1)
		path = "/v1/assessments"
	case 5: // no such species
		body = fmt.Appendf(nil, `{"species":"nulla-%d","animals":[{"count":1,"stage":"adult"}],"setup":{}}`, r.IntN(1e6))
		path = "/v1/assessments"
	case 6: // of another type
		body = []byte([]string{`[]`, `"text"`, `12`, `null`, `true`, ``, ` `, `{}`}[r.IntN(8)])
	case 7: // nested too deep
		n := 40 + r.IntN(5000)
		body = []byte(strings.Repeat(`{"setup":`, n) + `1` + strings.Repeat(`}`, n))
	case 8: // bytes that are no text
		at := 1 + r.IntN(len(body)-2)
		body = slices.Insert(body, at, 0xff, 0xfe)
	case 9: // another media type
		kind = []string{"", "text/plain", "application/xml", "application/json; charset=utf-16", "nonsense;;"}[r.IntN(5)]
	case 10: // no such address
		path += []string{"/", "/1", "x", "/../nothing"}[r.IntN(4)]
		method = http.MethodGet
	case 11: // another method
		method = []string{http.MethodGet, http.MethodPut, http.MethodDelete, http.MethodPatch}[r.IntN(4)]
	case 12: // a parameter that is none
		path += fmt.Sprintf("?units=%c&x=%d", 'a'+rune(r.IntN(26)), r.IntN(100))
	case 13: // a number that no figure can be
		body = fmt.Appendf(nil, `{"species":"pogona-vitticeps","animals":[{"count":1,"stage":"adult"}],"setup":{"inside":{"length":{"value":%s,"unit":"%s"}}}}`,
			[]string{"1e999", "-5", "1e300", "NaN", "0x10", `"5"`}[r.IntN(6)], []string{"cm", "parsec", ""}[r.IntN(3)])
		path = "/v1/assessments"
	}
	q, err := http.NewRequestWithContext(ctx, method, base+path, bytes.NewReader(body))
	if err != nil {
		return nil, err
	}
	if kind != "" {
		q.Header.Set("Content-Type", kind)
	}
	return q, nil
}

// slowCount is how many slow clients are held.
const slowCount = 1000

// slow holds clients that send a byte a second and never finish, half in the header
// and half in the body, and measures what others get meanwhile.
func (s *suite) slow(ctx context.Context) (err error) {
	p, err := s.program(ctx, nothingKept, false)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, p.stop()) }()
	targets := posts(p.url, "/v1/sizings", bodies(s.catalogue, "/v1/sizings"))
	warm := attack(ctx, targets, 0, s.duration/4)
	pace := max(1, int(warm.rate()/4))
	alone := attack(ctx, targets, pace, s.duration)
	held, cancel := context.WithCancel(ctx)
	defer cancel()
	var connected, dropped atomic.Int64
	var wg sync.WaitGroup
	address := strings.TrimPrefix(p.url, "http://")
	for i := range slowCount {
		wg.Go(func() {
			for held.Err() == nil { // one that is cut off comes back
				if err := crawl(held, address, i%2 == 0, &connected); err != nil && held.Err() == nil {
					dropped.Add(1)
				}
			}
		})
	}
	for end := time.Now().Add(10 * time.Second); connected.Load() < slowCount && time.Now().Before(end); {
		time.Sleep(20 * time.Millisecond)
	}
	there := connected.Load()
	crowded := attack(ctx, targets, pace, s.duration)
	_, most := p.resident()
	cancel()
	wg.Wait()
	if len(crowded.failed)+len(alone.failed) > 0 {
		return fmt.Errorf("clients that are not slow: %v, alone %v", crowded.failed, alone.failed)
	}
	s.table.figure(fmt.Sprintf("Sizings at %d a second, p50 and p99: alone", pace), micro(alone.quantile(0.5))+" and "+micro(alone.quantile(0.99)))
	s.table.figure(fmt.Sprintf("The same while %d clients that send a byte a second are held", there), micro(crowded.quantile(0.5))+" and "+micro(crowded.quantile(0.99)))
	s.table.atLeast("The same: requests answered of those sent", float64(crowded.answered), float64(len(crowded.latencies)), "")
	s.table.figure("The same: slow clients cut off by a deadline meanwhile, who came back", fmt.Sprint(dropped.Load()))
	s.table.figure("The same: the most memory held", number(most)+" MB")
	return nil
}

// crawl sends a request a byte a second until the service ends it.
func crawl(ctx context.Context, address string, inHeader bool, connected *atomic.Int64) error {
	var d net.Dialer
	c, err := d.DialContext(ctx, "tcp", address)
	if err != nil {
		return err
	}
	stop := context.AfterFunc(ctx, func() { _ = c.Close() })
	defer stop()
	defer c.Close()
	connected.Add(1)
	defer connected.Add(-1)
	text := "POST /v1/sizings HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\nContent-Length: 1000\r\n"
	if !inHeader {
		if _, err := io.WriteString(c, text+"\r\n"); err != nil {
			return err
		}
	}
	for i := 0; ; i++ {
		piece := " "
		if inHeader {
			piece = text[i%len(text) : i%len(text)+1]
			if i >= len(text) {
				piece = "X"
			}
		}
		if _, err := io.WriteString(c, piece); err != nil {
			return err
		}
		// What the service says is its last word.
		if err := c.SetReadDeadline(time.Now().Add(time.Second)); err != nil {
			return err
		}
		if _, err := c.Read(make([]byte, 512)); err != nil {
			var late net.Error
			if errors.As(err, &late) && late.Timeout() {
				continue
			}
			return err
		}
		return errors.New("answered before it was asked")
	}
}

// mix is traffic as an app makes it: mostly looks and sizings, then assessments,
// matches, climates and a short list.
func (s *suite) mix(base string) (out []vegeta.Target) {
	get := func(path string) vegeta.Target { return vegeta.Target{Method: http.MethodGet, URL: base + path} }
	sizings := posts(base, "/v1/sizings", bodies(s.catalogue, "/v1/sizings"))
	assessments := posts(base, "/v1/assessments", bodies(s.catalogue, "/v1/assessments"))
	climates := posts(base, "/v1/climates", bodies(s.catalogue, "/v1/climates"))
	list := vegeta.Target{Method: http.MethodPost, URL: base + "/v1/intakes", Body: demo.VanCSV, Header: http.Header{"Content-Type": {"text/csv"}}}
	for i, k := range s.catalogue.Species() {
		out = append(out, get("/v1/species/"+k.ID), get("/v1/species/"+k.ID+"/claims"), get("/v1/species?q="+url.QueryEscape(k.CommonName("en"))), get("/v1/rules?species="+k.ID),
			sizings[i], assessments[i], sizings[(i+70)%len(sizings)], climates[i])
		if i%3 == 0 {
			out = append(out, vegeta.Target{Method: http.MethodPost, URL: base + "/v1/matches", Header: http.Header{"Content-Type": {"application/json"}},
				Body: fmt.Appendf(nil, `{"setup":{"inside":{"length":{"value":%d,"unit":"cm"},"width":{"value":60,"unit":"cm"},"height":{"value":60,"unit":"cm"}}},"limit":10,"empty":true}`, 60+i)})
		}
		if i%20 == 0 {
			out = append(out, list)
		}
	}
	rand.New(rand.NewPCG(4, 9)).Shuffle(len(out), func(i, j int) { out[i], out[j] = out[j], out[i] })
	return out
}

// soaked keeps the service at 70 % of what it can do and watches what it holds.
func (s *suite) soaked(ctx context.Context) (err error) {
	p, err := s.program(ctx, nothingKept, true)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, p.stop()) }()
	targets := s.mix(p.url)
	full := attack(ctx, targets, 0, max(s.duration, 10*time.Second))
	if len(full.failed) > 0 {
		return fmt.Errorf("at full load: %v", full.failed)
	}
	pace := max(1, int(0.7*full.rate()))
	done := make(chan load, 1)
	go func() { done <- attack(ctx, targets, pace, s.soak) }()
	type sample struct{ memory, goroutines, files float64 }
	var samples []sample
	tick := time.NewTicker(max(time.Second, s.soak/120))
	defer tick.Stop()
	for {
		select {
		case <-tick.C:
			now, _ := p.resident()
			n, err := p.goroutines()
			if err != nil {
				return err
			}
			samples = append(samples, sample{now, float64(n), float64(p.openFiles())})
		case l := <-done:
			if err := ctx.Err(); err != nil {
				return err
			}
			s.table.figure(fmt.Sprintf("Soak: %s of mixed traffic at %d requests a second, 70 %% of the %s it can do; p50 and p99", s.soak, pace, number(full.rate())),
				micro(l.quantile(0.5))+" and "+micro(l.quantile(0.99)))
			failed := 0
			for what, n := range l.failed {
				failed += n
				s.table.note("Soak: %s (%d times)", what, n)
			}
			s.table.atMost(fmt.Sprintf("Soak: failures among %d requests", len(l.latencies)), float64(failed), 0, "")
			third := len(samples) / 3
			mean := func(of []sample, f func(sample) float64) (sum float64) {
				for _, k := range of {
					sum += f(k)
				}
				return sum / float64(max(1, len(of)))
			}
			for _, k := range []struct {
				what   string
				f      func(sample) float64
				growth float64 // that is still none
				unit   string
			}{{"resident memory", func(k sample) float64 { return k.memory }, 1.1, " MB"}, {"goroutines", func(k sample) float64 { return k.goroutines }, 1.25, ""}, {"open files", func(k sample) float64 { return k.files }, 1.25, ""}} {
				middle, last := mean(samples[third:2*third], k.f), mean(samples[2*third:], k.f)
				s.table.atMost(fmt.Sprintf("Soak: %s, mean of the last third (%s%s) over that of the middle (%s%s)", k.what, number(last), k.unit, number(middle), k.unit), last/middle, k.growth, "")
			}
			http.DefaultClient.CloseIdleConnections()
			time.Sleep(2 * time.Second)
			n, err := p.goroutines()
			if err != nil {
				return err
			}
			s.table.figure("Soak: goroutines and open files once the clients are gone", fmt.Sprintf("%d and %d", n, p.openFiles()))
			return nil
		}
	}
}
