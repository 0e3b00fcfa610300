package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/go-json-experiment/json"
)

// TestMain doubles as the program: tests start this binary again as a process of
// its own, which they can stop and kill.
func TestMain(m *testing.M) {
	if args, ok := os.LookupEnv("DENWRIGHT_TEST_ARGUMENTS"); ok {
		os.Args = append(os.Args[:1], strings.Split(args, "\n")...)
		main()
	}
	os.Exit(m.Run())
}

// home gives a test a data directory of its own, and no database or key from outside.
func home(t testing.TB) (file string) {
	t.Helper()
	dir := t.TempDir()
	t.Setenv("XDG_DATA_HOME", dir)
	t.Setenv(envDatabase, "")
	t.Setenv(envKey, "")
	return filepath.Join(dir, "denwright", "denwright.db")
}

// told runs a command that must end with the code, and gives what it printed.
func told(t testing.TB, code int, stdin string, args ...string) (stdout, stderr string) {
	t.Helper()
	got, stdout, stderr := cli(stdin, args...)
	if got != code {
		t.Fatalf("denwright %s: exit %d, want %d\n%s%s", strings.Join(args, " "), got, code, stdout, stderr)
	}
	return stdout, stderr
}

// says runs a command that must end with the code and print each of the texts.
func says(t testing.TB, code int, texts []string, args ...string) {
	t.Helper()
	stdout, stderr := told(t, code, "", args...)
	for _, text := range texts {
		if !strings.Contains(stdout+stderr, text) {
			t.Errorf("denwright %s: no %q in\n%s%s", strings.Join(args, " "), text, stdout, stderr)
		}
	}
}

// word is what a command prints on its only line.
func word(t testing.TB, args ...string) string {
	t.Helper()
	stdout, _ := told(t, exitAnswered, "", args...)
	return strings.TrimSpace(stdout)
}

// decoded is what a command prints as JSON.
func decoded[T any](t testing.TB, args ...string) (out T) {
	t.Helper()
	stdout, _ := told(t, exitAnswered, "", args...)
	if err := json.Unmarshal([]byte(stdout), &out); err != nil {
		t.Fatalf("denwright %s: %v in\n%s", strings.Join(args, " "), err, stdout)
	}
	return out
}

// service is a running denwright serve.
type service struct {
	url  string
	log  *record
	stop func() error // orderly, and waits
}

// record is what a service has logged so far.
type record struct {
	mu   sync.Mutex
	text bytes.Buffer
	line chan string // the address, once
	once bool
}

func (r *record) Write(b []byte) (int, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.text.Write(b)
	const mark = "msg=listening address="
	if _, rest, ok := strings.Cut(r.text.String(), mark); ok && !r.once {
		if address, _, whole := strings.Cut(rest, "\n"); whole {
			r.once = true
			r.line <- address
		}
	}
	return len(b), nil
}

func (r *record) String() string {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.text.String()
}

// listening waits until the service has said where it listens. It may not be ready yet.
func listening(t testing.TB, r *record, ended <-chan error) string {
	t.Helper()
	select {
	case address := <-r.line:
		return "http://" + address
	case err := <-ended:
		t.Fatalf("the service ended: %v\n%s", err, r)
	case <-time.After(20 * time.Second):
		t.Fatalf("the service does not listen\n%s", r)
	}
	return ""
}

// serving runs denwright serve within this process, until the test ends.
func serving(t testing.TB, args ...string) *service {
	t.Helper()
	r := &record{line: make(chan string, 1)}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() {
		code := run(ctx, append([]string{"serve", "--address", "127.0.0.1:0"}, args...), streams{strings.NewReader(""), io.Discard, r})
		if code != exitAnswered {
			ended <- fmt.Errorf("exit %d", code)
		}
		close(ended)
	}()
	s := &service{log: r, stop: sync.OnceValue(func() error { cancel(); return <-ended })}
	t.Cleanup(func() {
		if err := s.stop(); err != nil {
			t.Errorf("the service ended with %v\n%s", err, r)
		}
	})
	s.url = listening(t, r, ended)
	return s
}

// process runs denwright serve as a process of its own, until the test ends.
func process(t testing.TB, env ...string) *service {
	t.Helper()
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(append(os.Environ(), env...), "DENWRIGHT_TEST_ARGUMENTS=serve\n--address\n127.0.0.1:0")
	return started(t, cmd)
}

// started starts a service and stops it when the test ends.
func started(t testing.TB, cmd *exec.Cmd) *service {
	t.Helper()
	r := &record{line: make(chan string, 1)}
	cmd.Stderr = r
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() { ended <- cmd.Wait(); close(ended) }()
	s := &service{log: r}
	s.stop = sync.OnceValue(func() error {
		if err := cmd.Process.Signal(syscall.SIGTERM); err != nil {
			return err
		}
		return <-ended
	})
	t.Cleanup(func() {
		if err := s.stop(); err != nil {
			t.Errorf("the service ended with %v\n%s", err, r)
		}
	})
	s.url = listening(t, r, ended)
	return s
}

// BenchmarkStart measures from the start of the program to its first readiness.
func BenchmarkStart(b *testing.B) {
	program := filepath.Join(b.TempDir(), "denwright")
	if out, err := exec.Command("go", "build", "-o", program, ".").CombinedOutput(); err != nil {
		b.Fatalf("%v\n%s", err, out)
	}
	for _, bb := range []struct {
		name   string
		before func(b *testing.B)
		args   []string
	}{
		{"without a database", func(b *testing.B) { home(b) }, []string{"--database", "none"}},
		{"new file", func(b *testing.B) { home(b) }, nil},
		{"file with a published record", func(b *testing.B) { fresh(b); published(b, dragon, warmerNights(b, "22", "23")) }, nil},
	} {
		b.Run(bb.name, func(b *testing.B) {
			bb.before(b)
			for b.Loop() {
				s := started(b, exec.Command(program, append([]string{"serve", "--address", "127.0.0.1:0"}, bb.args...)...))
				s.ready(b)
				b.StopTimer()
				if err := s.stop(); err != nil {
					b.Fatal(err)
				}
				if bb.name == "new file" {
					bb.before(b)
				}
				b.StartTimer()
			}
		})
	}
}

// get asks for a path, once.
func (s *service) get(path string) (status int, body string, err error) {
	answer, err := http.Get(s.url + path)
	if err != nil {
		return 0, "", err
	}
	defer answer.Body.Close()
	raw, err := io.ReadAll(answer.Body)
	return answer.StatusCode, string(raw), err
}

// revision is the catalogue that a ready service answers from; empty while it is not ready.
func (s *service) revision(t testing.TB) string {
	t.Helper()
	status, body, err := s.get("/readyz")
	if err != nil {
		t.Fatalf("%v\n%s", err, s.log)
	}
	if status != http.StatusOK {
		return ""
	}
	var h struct {
		Catalogue string `json:"catalogue_revision"`
	}
	if err := json.Unmarshal([]byte(body), &h); err != nil {
		t.Fatal(err)
	}
	return h.Catalogue
}

// await waits until ok, and tells how long it took.
func await(t testing.TB, most time.Duration, what string, ok func() bool) time.Duration {
	t.Helper()
	start := time.Now()
	for !ok() {
		if time.Since(start) > most {
			t.Fatalf("%s: not within %v", what, most)
		}
		time.Sleep(2 * time.Millisecond)
	}
	return time.Since(start)
}

// ready waits until the service answers questions.
func (s *service) ready(t testing.TB) (revision string) {
	t.Helper()
	await(t, 30*time.Second, "ready", func() bool { revision = s.revision(t); return revision != "" })
	return revision
}
