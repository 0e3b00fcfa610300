package store

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"testing/fstest"
	"time"

	"denwright/care/store/postgrestest"
)

// TestMain doubles as the program under test: the fault tests start this binary
// again as a process that they can kill.
func TestMain(m *testing.M) {
	if job := os.Getenv("DENWRIGHT_TEST_JOB"); job != "" {
		if err := runJob(job, os.Getenv("DENWRIGHT_TEST_JOB_DATABASE")); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		return
	}
	code := m.Run()
	if shared.server != nil {
		// The library's reaper may be off: what was started is ended here.
		if err := shared.server.Terminate(context.Background()); err != nil {
			fmt.Fprintln(os.Stderr, err)
			code = 1
		}
	}
	os.Exit(code)
}

// shared is the one PostgreSQL server of the conformance suite.
var shared struct {
	once   sync.Once
	server *postgrestest.Server
	url    string
	err    error
}

// postgresURL gives the address of a server for tests, or "" where there is none.
func postgresURL(t *testing.T) string {
	t.Helper()
	if given := os.Getenv(postgrestest.EnvURL); given != "" {
		return given
	}
	if postgrestest.Image() == "" {
		postgrestest.LeftOut(t, "PostgreSQL: neither "+postgrestest.EnvURL+" nor "+postgrestest.EnvImage+" is set")
		return ""
	}
	shared.once.Do(func() {
		shared.server, shared.err = postgrestest.Start(context.Background(), nil)
		if shared.err == nil {
			shared.url = shared.server.URL
		}
	})
	if shared.err != nil {
		t.Fatal(shared.err)
	}
	return shared.url
}

// onEach runs a test on both engines, each time with an empty database.
func onEach(t *testing.T, test func(t *testing.T, database string)) {
	t.Run("sqlite", func(t *testing.T) { test(t, filepath.Join(t.TempDir(), "den #1?.db")) })
	t.Run("postgres", func(t *testing.T) {
		if server := postgresURL(t); server != "" {
			test(t, postgrestest.NewDatabase(t, server))
		}
	})
}

// clock gives times that only move when told, a microsecond at each reading.
type clock struct {
	mu  sync.Mutex
	now time.Time
}

func newClock() *clock { return &clock{now: time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)} }

func (c *clock) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now = c.now.Add(time.Millisecond)
	return c.now
}

func (c *clock) add(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now = c.now.Add(d)
}

func open(t *testing.T, c Config) *Store {
	t.Helper()
	if c.Embedded == nil {
		c.Embedded = invented()
	}
	s, err := Open(c)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	return s
}

// fresh opens a migrated store with a clock of its own.
func fresh(t *testing.T, database string) (*Store, *clock) {
	t.Helper()
	c := newClock()
	s := open(t, Config{Database: database, Migrate: true, Clock: c.Now})
	if err := s.Ready(t.Context()); err != nil {
		t.Fatal(err)
	}
	return s, c
}

// A small catalogue, invented throughout.
const (
	inventedSpecies = "species/exemplum-primum.yaml"
	inventedSources = "sources/invented.yaml"
	inventedBody    = `id: exemplum-primum
scientific_name: Exemplum primum
group: lizard
order: Squamata
family: Exemplidae
names:
  common: {en: [first example]}
  access: recalled
  sources: [inv_book]
nature:
  activity: diurnal
  habit: terrestrial
  climbs: 1
  digs: 1
  swims: 0
  basks: 2
  sociality: solitary
  dormancy: none
  access: recalled
  sources: [inv_book]
cautions:
  venomous: false
  trade: none
claims:
  warm_air_day:
    - {low: 25, high: 30, source: inv_book, access: read}
`
	inventedSource = "- {key: inv_book, title: An invented handbook, kind: handbook, read_how: whole}\n"
	inventedRule   = `- id: inv-rule
  source: inv_book
  status: advisory
  access: read
  topic: invented
  scope: {species: [exemplum-primum], match: named}
  measure: total
  length_factor: 2
  width_factor: 1
`
)

func invented() fstest.MapFS {
	return fstest.MapFS{
		inventedSpecies:       {Data: []byte(inventedBody)},
		inventedSources:       {Data: []byte(inventedSource)},
		"rules/invented.yaml": {Data: []byte(inventedRule)},
	}
}

// warmer is the invented species with another upper figure.
func warmer(high string) string { return strings.Replace(inventedBody, "high: 30", "high: "+high, 1) }

// caller makes an organisation's key and authenticates with it.
func caller(t *testing.T, s *Store, organisation, holder string, role Role) Caller {
	t.Helper()
	_, secret, err := s.CreateKey(t.Context(), Operator("test"), organisation, "", holder, role)
	if err != nil {
		t.Fatal(err)
	}
	who, err := s.Authenticate(t.Context(), secret)
	if err != nil {
		t.Fatal(err)
	}
	return who
}

func organisation(t *testing.T, s *Store, name string, curates bool) string {
	t.Helper()
	o, err := s.CreateOrganisation(t.Context(), Operator("test"), name, curates)
	if err != nil {
		t.Fatal(err)
	}
	return o.ID
}

// wants fails unless err matches target.
func wants(t *testing.T, err, target error) {
	t.Helper()
	if !errors.Is(err, target) {
		t.Helper()
		t.Fatalf("error is %v; want %v", err, target)
	}
}

func must[T any](t *testing.T) func(v T, err error) T {
	return func(v T, err error) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

// startJob runs this binary as a process of its own and hands out its lines.
func startJob(t *testing.T, job, database string, more ...string) (*exec.Cmd, *bufio.Scanner) {
	t.Helper()
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), append(more, "DENWRIGHT_TEST_JOB="+job, "DENWRIGHT_TEST_JOB_DATABASE="+database)...)
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	return cmd, bufio.NewScanner(out)
}
