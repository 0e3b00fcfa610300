package main

import (
	"bytes"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/go-json-experiment/json"

	"denwright/api"
	"denwright/care"
	"denwright/care/store"
	"denwright/care/store/postgrestest"
)

// question is one of the main job.
type question struct{ method, path, body string }

func mainJob(t testing.TB) []question {
	t.Helper()
	tank, err := os.ReadFile(demoTank)
	if err != nil {
		t.Fatal(err)
	}
	return []question{
		{"GET", "/v1/species/pogona-vitticeps", ""},
		{"POST", "/v1/sizings", `{"species":"pogona-vitticeps","animals":[{"count":1,"stage":"adult"}]}`},
		{"POST", "/v1/assessments", string(tank)},
	}
}

// load asks the questions of the main job without pause and keeps account.
type load struct {
	questions []question
	client    *http.Client

	asked, lost, faults, wrong atomic.Int64 // lost: no answer at all; faults: 5xx

	mu   sync.Mutex
	seen map[seen]string // the first answer; each later one must be the same
}

type seen struct {
	question  int
	catalogue string
}

// run asks one service until stop is closed.
func (l *load) run(t testing.TB, s *service, stop <-chan struct{}) {
	for i := 0; ; i++ {
		select {
		case <-stop:
			return
		case <-time.After(5 * time.Millisecond):
		}
		n := i % len(l.questions)
		q := l.questions[n]
		r, err := http.NewRequest(q.method, s.url+q.path, strings.NewReader(q.body))
		if err != nil {
			t.Error(err)
			return
		}
		if q.body != "" {
			r.Header.Set("Content-Type", "application/json")
		}
		answer, err := l.client.Do(r)
		if err != nil {
			l.lost.Add(1)
			t.Logf("%s %s: %v", q.method, q.path, err)
			continue
		}
		raw, err := io.ReadAll(answer.Body)
		answer.Body.Close()
		l.asked.Add(1)
		switch {
		case err != nil:
			l.lost.Add(1)
		case answer.StatusCode >= 500:
			l.faults.Add(1)
			t.Logf("%s %s: %s: %s", q.method, q.path, answer.Status, raw)
		case answer.StatusCode != http.StatusOK || !l.same(n, raw):
			l.wrong.Add(1)
			t.Logf("%s %s: %s: %.300s", q.method, q.path, answer.Status, raw)
		}
	}
}

// same reports whether an answer is the one that its catalogue was seen to give.
func (l *load) same(n int, raw []byte) bool {
	var stamp struct {
		Catalogue string `json:"catalogue_revision"`
	}
	if err := json.Unmarshal(raw, &stamp); err != nil || stamp.Catalogue == "" {
		return false
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	at := seen{n, stamp.Catalogue}
	if l.seen[at] == "" {
		l.seen[at] = string(raw)
	}
	return l.seen[at] == string(raw)
}

// check compares every answer seen with what the catalogue of its name gives in
// this process, where no database was ever away.
func (l *load) check(t testing.TB, s *store.Store) {
	t.Helper()
	handlers := map[string]http.Handler{}
	for at, got := range l.seen {
		if handlers[at.catalogue] == nil {
			c, err := s.CatalogueAt(t.Context(), at.catalogue)
			if err != nil {
				t.Errorf("answers came from catalogue %s: %v", at.catalogue, err)
				continue
			}
			handlers[at.catalogue] = api.New(c, slog.New(slog.DiscardHandler)).Handler(api.Config{})
		}
		q := l.questions[at.question]
		r := httptest.NewRequest(q.method, q.path, strings.NewReader(q.body))
		if q.body != "" {
			r.Header.Set("Content-Type", "application/json")
		}
		w := httptest.NewRecorder()
		handlers[at.catalogue].ServeHTTP(w, r)
		if w.Body.String() != got {
			l.wrong.Add(1)
			t.Errorf("%s from catalogue %s: got\n%.500s\nwant\n%.500s", q.path, at.catalogue, got, w.Body)
		}
	}
}

// rig is one shared database, and keys to write with.
type rig struct {
	server   *postgrestest.Server
	database string
	store    *store.Store // this process's own, to look with
	keys     map[string]string
}

func newRig(t *testing.T) *rig {
	t.Helper()
	home(t)
	r := &rig{server: postgrestest.New(t, nil)}
	r.database = postgrestest.NewDatabase(t, r.server.URL)
	files, err := care.EmbeddedFiles()
	if err != nil {
		t.Fatal(err)
	}
	if r.store, err = store.Open(store.Config{Database: r.database, Embedded: files, Timeout: 20 * time.Second}); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := r.store.Close(); err != nil {
			t.Error(err)
		}
	})
	return r
}

// people makes the organisations and keys, once there is a schema.
func (r *rig) people(t testing.TB) {
	t.Helper()
	operator := store.Operator("test")
	r.keys = map[string]string{}
	for name, curates := range map[string]bool{"Saltmarsh Lane Rescue": false, "Record keepers": true} {
		o, err := r.store.CreateOrganisation(t.Context(), operator, name, curates)
		if err != nil {
			t.Fatal(err)
		}
		holders := map[string]store.Role{"Ada": store.Keeper}
		if curates {
			holders = map[string]store.Role{"Bea": store.Curator, "Cy": store.Curator}
		}
		for holder, role := range holders {
			_, secret, err := r.store.CreateKey(t.Context(), operator, o.ID, "", holder, role)
			if err != nil {
				t.Fatal(err)
			}
			r.keys[holder] = secret
		}
	}
}

// start runs a replica as a process of its own.
func (r *rig) start(t testing.TB) *service {
	t.Helper()
	return process(t, envDatabase+"="+r.database)
}

var writer = &http.Client{Timeout: 40 * time.Second}

// send writes something with a key, and decodes the answer where there is a place for it.
func (r *rig) send(s *service, holder, method, path, token string, body, into any) (status int, problem string, err error) {
	raw, err := json.Marshal(body)
	if err != nil {
		return 0, "", err
	}
	q, err := http.NewRequest(method, s.url+path, bytes.NewReader(raw))
	if err != nil {
		return 0, "", err
	}
	q.Header.Set("Authorization", "Bearer "+r.keys[holder])
	if body != nil {
		q.Header.Set("Content-Type", "application/json")
	} else {
		q.Body, q.ContentLength = nil, 0
	}
	if token != "" {
		q.Header.Set("Idempotency-Key", token)
	}
	answer, err := writer.Do(q)
	if err != nil {
		return 0, "", err
	}
	defer answer.Body.Close()
	if raw, err = io.ReadAll(answer.Body); err != nil {
		return 0, "", err
	}
	if answer.StatusCode >= 400 {
		return answer.StatusCode, "Retry-After: " + answer.Header.Get("Retry-After") + " " + string(raw), nil
	}
	if into != nil {
		err = json.Unmarshal(raw, into)
	}
	return answer.StatusCode, "", err
}

// mustSend is send that succeeds, for the steps of a publication.
func (r *rig) mustSend(t testing.TB, s *service, holder, method, path string, body, into any) {
	t.Helper()
	status, problem, err := r.send(s, holder, method, path, "", body, into)
	if err != nil || status >= 400 {
		t.Fatalf("%s %s: %d, %v\n%s", method, path, status, err, problem)
	}
}

// publish puts a record of the bearded dragon in force through a replica, with the
// night's upper figure changed, and gives the catalogue's name.
func (r *rig) publish(t testing.TB, s *service, high float64) (catalogue string) {
	t.Helper()
	var now, draft struct {
		ID   string `json:"id"`
		Text string `json:"text"`
	}
	r.mustSend(t, s, "Bea", "GET", "/v1/record-texts?path="+dragon, nil, &now)
	head, tail, ok := strings.Cut(now.Text, "{low: 16, high: ")
	_, tail, closed := strings.Cut(tail, ",")
	if !ok || !closed {
		t.Fatalf("no claim of 16 °C in %s", dragon)
	}
	text := fmt.Sprintf("%s{low: 16, high: %g,%s", head, high, tail)
	in := map[string]string{"path": dragon, "text": text, "why": "read again"}
	if now.ID != "" { // the program's own text has none
		in["parent"] = now.ID
	}
	r.mustSend(t, s, "Bea", "POST", "/v1/record-revisions", in, &draft)
	r.mustSend(t, s, "Cy", "POST", "/v1/record-revisions/"+draft.ID+"/review", map[string]string{"why": "as printed"}, nil)
	var made struct {
		Catalogue string `json:"catalogue_revision"`
	}
	r.mustSend(t, s, "Bea", "POST", "/v1/record-publications", map[string]any{"revisions": []string{draft.ID}, "why": "now"}, &made)
	return made.Catalogue
}

// saver saves setups through a replica without pause, each until it is acknowledged.
type saver struct {
	acknowledged, refused atomic.Int64
	mu                    sync.Mutex
	setups                map[string]string // name → id
}

func (w *saver) run(t testing.TB, r *rig, s *service, name string, stop <-chan struct{}) {
	setup := map[string]any{"species": "pogona-vitticeps", "animals": []any{map[string]any{"count": 1, "stage": "adult"}}, "setup": map[string]any{}}
	for i := 0; ; i++ {
		this := fmt.Sprintf("%s-%d", name, i)
		for saved := false; !saved; {
			select {
			case <-stop:
				return
			case <-time.After(20 * time.Millisecond):
			}
			var made struct {
				ID string `json:"id"`
			}
			status, problem, err := r.send(s, "Ada", "POST", "/v1/setups", this, map[string]any{"name": this, "question": setup}, &made)
			switch {
			case err == nil && status == http.StatusCreated:
				w.mu.Lock()
				w.setups[this] = made.ID
				w.mu.Unlock()
				w.acknowledged.Add(1)
				saved = true
			case err == nil && status == http.StatusServiceUnavailable && strings.Contains(problem, "/problems/database-unavailable") && !strings.HasPrefix(problem, "Retry-After:  "):
				w.refused.Add(1)
			default:
				t.Errorf("a setup was answered with %d, %v; want 201, or 503 with Retry-After\n%s", status, err, problem)
				return
			}
		}
	}
}

// check fails where an acknowledged setup is not there, or a setup is there twice.
func (w *saver) check(t testing.TB, s *store.Store, secret string) (stored int) {
	t.Helper()
	who, err := s.Authenticate(t.Context(), secret)
	if err != nil {
		t.Fatal(err)
	}
	all, err := atMost(0, func(p store.Page) (store.List[store.Setup], error) {
		return s.Setups(t.Context(), who, store.SetupFilter{}, p)
	})
	if err != nil {
		t.Fatal(err)
	}
	there := map[string]string{}
	for _, setup := range all {
		if there[setup.Name] != "" {
			t.Errorf("%s is stored twice", setup.Name)
		}
		there[setup.Name] = setup.ID
	}
	for name, id := range w.setups {
		if there[name] != id {
			t.Errorf("%s was acknowledged as %s and is %q", name, id, there[name])
		}
	}
	return len(all)
}

// TestReplicasLoseDatabase runs two replicas on one PostgreSQL, started at once on an
// empty database, and asks both without pause while the database is taken away in
// five ways: every question is answered, and answered right; every setup that was
// acknowledged is kept, once; what is published on one reaches the other.
func TestReplicasLoseDatabase(t *testing.T) {
	if !postgrestest.Containers(t) {
		return
	}
	r := newRig(t)
	var a, b *service
	var both sync.WaitGroup
	both.Go(func() { a = r.start(t) })
	both.Go(func() { b = r.start(t) })
	both.Wait()
	if a == nil || b == nil {
		t.FailNow() // it was said why
	}
	if one, two := a.ready(t), b.ready(t); one != two || !strings.HasPrefix(one, "0-") {
		t.Fatalf("two replicas on an empty database answer from %s and %s", one, two)
	}
	for _, s := range []*service{a, b} {
		if strings.Contains(s.log.String(), "level=WARN") {
			t.Errorf("a replica met trouble at the start\n%s", s.log)
		}
	}
	says(t, exitAnswered, []string{"postgres schema at 1", "up to date"}, "migrate", "status", "--database", r.database)
	r.people(t)

	high := 23.0
	reach := func() time.Duration {
		t.Helper()
		high += 0.5
		catalogue := r.publish(t, a, high)
		if got := a.revision(t); got != catalogue {
			t.Errorf("the replica that published %s answers from %s", catalogue, got)
		}
		return await(t, 20*time.Second, "publish", func() bool { return b.revision(t) == catalogue })
	}
	var slowest time.Duration
	for range 5 {
		slowest = max(slowest, reach())
	}
	t.Logf("5 publishes, the slowest reached the other replica after %v", slowest.Round(time.Millisecond))

	l := &load{questions: mainJob(t), client: &http.Client{Timeout: 20 * time.Second, Transport: &http.Transport{MaxIdleConnsPerHost: 8}}, seen: map[seen]string{}}
	w := [2]*saver{{setups: map[string]string{}}, {setups: map[string]string{}}}
	stop := make(chan struct{})
	var work sync.WaitGroup
	halt := sync.OnceFunc(func() { close(stop); work.Wait() })
	defer halt()
	for i, s := range []*service{a, b} {
		for range 2 {
			work.Go(func() { l.run(t, s, stop) })
		}
		work.Go(func() { w[i].run(t, r, s, string("ab"[i]), stop) })
	}
	each := func(of func(*saver) int64, from [2]int64, more int64) func() bool {
		return func() bool { return of(w[0]) >= from[0]+more && of(w[1]) >= from[1]+more || t.Failed() }
	}
	now := func(of func(*saver) int64) [2]int64 { return [2]int64{of(w[0]), of(w[1])} }
	acknowledged := func(s *saver) int64 { return s.acknowledged.Load() }
	refused := func(s *saver) int64 { return s.refused.Load() }

	for _, fault := range r.server.Faults(t) {
		await(t, 30*time.Second, "writes", each(acknowledged, now(acknowledged), 5))
		asked, refusals := l.asked.Load(), now(refused)
		if err := fault.Down(); err != nil {
			t.Fatal(err)
		}
		if !fault.Brief {
			await(t, 60*time.Second, "refusals", each(refused, refusals, 2))
			meanwhile := l.asked.Load()
			await(t, 30*time.Second, "questions", func() bool { return l.asked.Load() >= meanwhile+200 })
		}
		if err := fault.Back(); err != nil {
			t.Fatal(err)
		}
		start := time.Now()
		await(t, 60*time.Second, "writes after the return", each(acknowledged, now(acknowledged), 5))
		resumed := time.Since(start)
		caught := reach()
		t.Logf("%-9s %5d questions answered meanwhile, %3d writes refused; writing again on both after %v; the next publish reached the other replica after %v", fault.Name,
			l.asked.Load()-asked, refused(w[0])+refused(w[1])-refusals[0]-refusals[1], resumed.Round(time.Millisecond), caught.Round(time.Millisecond))
	}
	halt()
	l.check(t, r.store)
	w[0].mu.Lock()
	for name, id := range w[1].setups {
		w[0].setups[name] = id
	}
	w[0].mu.Unlock()
	stored := w[0].check(t, r.store, r.keys["Ada"])
	if l.lost.Load()+l.faults.Load()+l.wrong.Load() > 0 {
		t.Errorf("of the questions %d got no answer, %d a 5xx, %d a wrong answer", l.lost.Load(), l.faults.Load(), l.wrong.Load())
	}
	t.Logf("%d questions: %d without an answer, %d 5xx, %d wrong, from %d catalogues; %d setups acknowledged, %d stored, %d refused and repeated",
		l.asked.Load(), l.lost.Load(), l.faults.Load(), l.wrong.Load(), len(l.seen)/len(l.questions), len(w[0].setups), stored, refused(w[0])+refused(w[1]))
}

// TestReplicaStartsWithoutDatabase starts a replica while the database is away: it
// answers from the program's own records, refuses what must be kept, and takes what
// was published into use once the database is back, without a restart.
func TestReplicaStartsWithoutDatabase(t *testing.T) {
	if !postgrestest.Containers(t) {
		return
	}
	r := newRig(t)
	first := r.start(t)
	first.ready(t)
	r.people(t)
	catalogue := r.publish(t, first, 23)
	if err := first.stop(); err != nil {
		t.Fatal(err)
	}
	setup := map[string]any{"name": "Tank 7", "question": map[string]any{"species": "pogona-vitticeps", "animals": []any{map[string]any{"count": 1, "stage": "adult"}}, "setup": map[string]any{}}}
	for _, fault := range r.server.Faults(t) {
		if fault.Name != "stopped" && fault.Name != "frozen" {
			continue
		}
		t.Run(fault.Name, func(t *testing.T) {
			if err := fault.Down(); err != nil {
				t.Fatal(err)
			}
			start := time.Now()
			s := r.start(t)
			if got := s.ready(t); !strings.HasPrefix(got, "0-") {
				t.Errorf("without a database a replica answers from %s", got)
			}
			ready := time.Since(start)
			if status, body, err := s.get("/v1/species/pogona-vitticeps"); err != nil || status != http.StatusOK {
				t.Errorf("a question is answered with %d, %v\n%s", status, err, body)
			}
			status, problem, err := r.send(s, "Ada", "POST", "/v1/setups", "", setup, nil)
			if err != nil || status != http.StatusServiceUnavailable || !strings.Contains(problem, "/problems/database-unavailable") {
				t.Errorf("a setup is answered with %d, %v; want 503\n%s", status, err, problem)
			}
			if err := fault.Back(); err != nil {
				t.Fatal(err)
			}
			back := await(t, 30*time.Second, "return", func() bool { return s.revision(t) == catalogue })
			r.mustSend(t, s, "Ada", "POST", "/v1/setups", setup, nil)
			t.Logf("ready after %v; what was published was in use %v after the return", ready.Round(time.Millisecond), back.Round(time.Millisecond))
		})
	}
}
