package api

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"go.uber.org/goleak"

	"denwright/care"
	"denwright/sizing"
)

// A key, or an address without one, is held to its rate; inventing keys opens no new
// account without end; a health check is never refused.
func TestRateOfEachClient(t *testing.T) {
	h := newServer(t).Handler(Config{RatePerSecond: 0.001, RateBurst: 3})
	get := func(path, address, key string) *httptest.ResponseRecorder {
		r := httptest.NewRequest("GET", path, nil)
		r.RemoteAddr = address + ":40000"
		if key != "" {
			r.Header.Set("Authorization", "Bearer "+key)
		}
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		return w
	}
	count := func(n int, address string, key func(i int) string) (answered int) {
		for i := range n {
			switch w := get("/v1/sources?limit=1", address, key(i)); w.Code {
			case 200:
				answered++
			case 429:
				if seconds, err := strconv.Atoi(w.Header().Get("Retry-After")); err != nil || seconds < 1 {
					t.Fatalf("Retry-After is %q", w.Header().Get("Retry-After"))
				}
				if p := problemOf(t, w); p.Type != "/problems/too-many-requests" {
					t.Fatalf("problem %s", p.Type)
				}
			default:
				t.Fatalf("status %d", w.Code)
			}
		}
		return answered
	}
	none := func(int) string { return "" }
	if got := count(10, "192.0.2.1", none); got != 3 {
		t.Errorf("an address was answered %d times, its burst is 3", got)
	}
	if got := count(10, "192.0.2.2", none); got != 3 {
		t.Errorf("another address was answered %d times: it must not pay for the first", got)
	}
	if got := count(10, "192.0.2.1", func(int) string { return "one" }); got != 3 {
		t.Errorf("a key at a spent address was answered %d times, want its own 3", got)
	}
	if got := count(10, "192.0.2.3", func(int) string { return "one" }); got != 0 {
		t.Errorf("a spent key was answered %d times from elsewhere", got)
	}
	if got := count(100, "192.0.2.4", func(i int) string { return fmt.Sprint("invented ", i) }); got != 3*keysAtAddress {
		t.Errorf("an address with a new key each time was answered %d times, want %d", got, 3*keysAtAddress)
	}
	if w := get("/healthz", "192.0.2.1", ""); w.Code != 200 {
		t.Errorf("a health check from a spent address: %d", w.Code)
	}
}

// X-Forwarded-For is believed as far as there are proxies of our own, and no further.
func TestAddressBehindProxies(t *testing.T) {
	for _, c := range []struct {
		proxies int
		fields  []string
		want    string
	}{
		{0, []string{"198.51.100.7"}, "192.0.2.1"},
		{1, []string{"198.51.100.7"}, "198.51.100.7"},
		{1, []string{"10.0.0.1, 198.51.100.7"}, "198.51.100.7"},
		{2, []string{"10.0.0.1", "198.51.100.7, 203.0.113.5"}, "198.51.100.7"},
		{2, []string{"198.51.100.7"}, "192.0.2.1"},
		{1, nil, "192.0.2.1"},
	} {
		r := httptest.NewRequest("GET", "/", nil)
		r.RemoteAddr = "192.0.2.1:40000"
		for _, f := range c.fields {
			r.Header.Add("X-Forwarded-For", f)
		}
		if got := (&gate{proxies: c.proxies}).address(r); got != c.want {
			t.Errorf("%d proxies, %q: %s, want %s", c.proxies, c.fields, got, c.want)
		}
	}
}

// What is remembered of clients stays bounded, and a client that is still held to its
// rate is not forgotten for one that is not.
func TestClientsAreForgotten(t *testing.T) {
	g := newGate(Config{RatePerSecond: 1, RateBurst: 5})
	now := time.Now()
	for i := range 3 * maxClients {
		at := now.Add(time.Duration(i) * time.Millisecond)
		if ok, _ := g.count(client{"address", name(strconv.Itoa(i))}, 1, at); !ok {
			t.Fatal("a new client was refused")
		}
		if len(g.clients) > maxClients {
			t.Fatalf("%d clients are remembered, at most %d may be", len(g.clients), maxClients)
		}
	}
	last := now.Add(3 * maxClients * time.Millisecond)
	busy := client{"address", name("busy")}
	for range 5 {
		g.count(busy, 1, last)
	}
	g.forget(last)
	if ok, _ := g.count(busy, 1, last); ok {
		t.Error("a spent client was forgotten")
	}
}

// With every slot taken a question waits a while, then is told to come back; a slot
// given back is taken by one that waits.
func TestMoreAtOnceThanIsTakenOn(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newSlots(2, time.Second)
		ctx := t.Context()
		for range 2 {
			if err := s.take(ctx); err != nil {
				t.Fatal(err)
			}
		}
		start := time.Now()
		var busy *Problem
		if err := s.take(ctx); !errors.As(err, &busy) || busy.kind != tooBusy || time.Since(start) != time.Second {
			t.Errorf("a third: %v after %v, want the problem busy after 1 s", err, time.Since(start))
		}
		waiting := make(chan error, 1)
		go func() { waiting <- s.take(ctx) }()
		time.Sleep(300 * time.Millisecond)
		s.give()
		if err := <-waiting; err != nil {
			t.Errorf("one that waited when a slot came free: %v", err)
		}
		gone, cancel := context.WithCancel(ctx)
		cancel()
		start = time.Now()
		if err := s.take(gone); !errors.As(err, &busy) || time.Since(start) != 0 {
			t.Errorf("one whose client is gone: %v after %v, want at once", err, time.Since(start))
		}
	})
}

// Over the wire: the program takes on what it can, refuses the rest with Retry-After,
// answers health checks meanwhile and everything again afterwards.
func TestBackPressureOverTheWire(t *testing.T) {
	s := newServer(t)
	release := make(chan struct{})
	var inside atomic.Int32
	cfg := Config{MaxAtOnce: 2, MaxWait: 20 * time.Millisecond}.withDefaults()
	e := s.routes(cfg)
	e.POST("/slow", ask(s, cfg, newSlots(cfg.MaxAtOnce, cfg.MaxWait), "Question", false, func(c *care.Catalogue, q sizing.Question) (*sizing.Requirement, error) {
		inside.Add(1)
		<-release
		return sizing.Require(c, q)
	}))
	web := httptest.NewServer(e)
	defer web.Close()
	send := func() int {
		r, err := http.Post(web.URL+"/slow", "application/json", strings.NewReader(oneAdult))
		if err != nil {
			t.Error(err)
			return 0
		}
		defer r.Body.Close()
		if r.StatusCode == 503 && r.Header.Get("Retry-After") == "" {
			t.Error("503 without Retry-After")
		}
		return r.StatusCode
	}
	var wait sync.WaitGroup
	var answered atomic.Int32
	for range 2 {
		wait.Go(func() {
			if send() == 200 {
				answered.Add(1)
			}
		})
	}
	for inside.Load() < 2 {
		time.Sleep(time.Millisecond)
	}
	for range 5 {
		if got := send(); got != 503 {
			t.Errorf("while all slots are taken: %d, want 503", got)
		}
	}
	if r, err := http.Get(web.URL + "/healthz"); err != nil || r.StatusCode != 200 {
		t.Errorf("health check meanwhile: %v %v", r, err)
	}
	close(release)
	wait.Wait()
	if answered.Load() != 2 {
		t.Errorf("%d of the 2 taken on were answered", answered.Load())
	}
	if got := send(); got != 200 {
		t.Errorf("afterwards: %d", got)
	}
}

// Metrics count by route, never by path as sent, and the administration port is
// loopback only.
func TestAdministration(t *testing.T) {
	s := newServer(t)
	h := s.Handler(Config{})
	for i := range 50 {
		h.ServeHTTP(httptest.NewRecorder(), httptest.NewRequest("GET", fmt.Sprintf("/v1/sources/none-%d", i), nil))
		h.ServeHTTP(httptest.NewRecorder(), httptest.NewRequest("GET", fmt.Sprintf("/wp-%d.php", i), nil))
		h.ServeHTTP(httptest.NewRecorder(), httptest.NewRequest(fmt.Sprintf("X%d", i), "/", nil))
	}
	w := httptest.NewRecorder()
	s.Admin().ServeHTTP(w, httptest.NewRequest("GET", "/metrics", nil))
	text := w.Body.String()
	for _, want := range []string{`denwright_requests_total{method="GET",route="/v1/sources/:key",status="404"} 50`, "denwright_ready 1", "go_goroutines"} {
		if !strings.Contains(text, want) {
			t.Errorf("the metrics lack %s", want)
		}
	}
	if n := strings.Count(text, "\ndenwright_requests_total{"); n > 4 {
		t.Errorf("%d series came of 150 paths and methods made up", n)
	}
	if strings.Contains(text, "none-1") || strings.Contains(text, "wp-1") {
		t.Error("a path as sent is in the metrics")
	}
	for _, address := range []string{"0.0.0.0:0", ":0", "192.0.2.1:0", "example.invalid:0", "[::]:0"} {
		if err := s.RunAdmin(t.Context(), address); !errors.Is(err, ErrNotLoopback) {
			t.Errorf("%s: %v, want a refusal", address, err)
		}
	}
	w = httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequest("GET", "/debug/pprof/", nil))
	if w.Code != 404 {
		t.Errorf("profiles on the public port: %d", w.Code)
	}
}

// After a stop nothing of the service is left running, and what it had accepted is answered.
func TestNothingIsLeftRunning(t *testing.T) {
	before := goleak.IgnoreCurrent()
	s := newServer(t)
	ctx, stop := context.WithCancel(context.Background())
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ended := make(chan error, 2)
	go func() { ended <- s.Serve(ctx, l, Config{}) }()
	go func() { ended <- s.RunAdmin(ctx, "127.0.0.1:0") }()
	client := &http.Client{Transport: &http.Transport{}}
	body, send := io.Pipe() // a request that is under way when the service is told to stop
	answered := make(chan int, 1)
	go func() {
		r, err := client.Post("http://"+l.Addr().String()+"/v1/sizings", "application/json", body)
		if err != nil {
			t.Error(err)
			answered <- 0
			return
		}
		defer r.Body.Close()
		_, _ = io.Copy(io.Discard, r.Body)
		answered <- r.StatusCode
	}()
	if _, err := io.WriteString(send, oneAdult[:20]); err != nil {
		t.Fatal(err)
	}
	for { // until it is accepted
		w := httptest.NewRecorder()
		s.Admin().ServeHTTP(w, httptest.NewRequest("GET", "/metrics", nil))
		if strings.Contains(w.Body.String(), "\ndenwright_requests_in_flight 1\n") {
			break
		}
		time.Sleep(time.Millisecond)
	}
	stop()
	if _, err := io.WriteString(send, oneAdult[20:]); err != nil {
		t.Fatal(err)
	}
	_ = send.Close()
	if got := <-answered; got != 200 {
		t.Errorf("the request under way: %d, want 200", got)
	}
	client.CloseIdleConnections()
	for range 2 {
		if err := <-ended; err != nil {
			t.Error(err)
		}
	}
	goleak.VerifyNone(t, before)
}

// No key, query, body or path of this machine stands in a log line or in an answer,
// whatever fails.
func TestNothingSecretIsTold(t *testing.T) {
	const secret = "tell-no-one-0123456789"
	var log bytes.Buffer
	c, err := embedded()
	if err != nil {
		t.Fatal(err)
	}
	s := New(c, slog.New(slog.NewJSONHandler(&log, nil)))
	e := s.routes(Config{}.withDefaults())
	e.GET("/fails", s.look(func(*snapshot, *query) (any, error) { panic("a fault") }))
	for _, target := range []string{"/v1/species?q=" + secret, "/fails?k=" + secret, "/v1/sources/" + secret, "/" + secret} {
		r := httptest.NewRequest("GET", target, nil)
		r.Header.Set("Authorization", "Bearer "+secret)
		r.Header.Set("Cookie", "session="+secret)
		w := httptest.NewRecorder()
		e.ServeHTTP(w, r)
		if w.Code == 500 && (strings.Contains(w.Body.String(), "goroutine") || strings.Contains(w.Body.String(), ".go:") || strings.Contains(w.Body.String(), "a fault")) {
			t.Errorf("%s tells of the program's inside: %s", target, w.Body)
		}
	}
	r := httptest.NewRequest("POST", "/v1/sizings", strings.NewReader(`{"species":"`+secret+`"}`))
	r.Header.Set("Content-Type", "application/json")
	e.ServeHTTP(httptest.NewRecorder(), r)
	if strings.Contains(log.String(), secret) {
		t.Errorf("the log tells it: %s", log.String())
	}
	if !strings.Contains(log.String(), `"route":"/fails"`) {
		t.Error("the failure was not logged")
	}
}
