package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"time"
)

// starts is how often a start is timed.
const starts = 11

// process measures the program as it is shipped.
func (s *suite) process(ctx context.Context) error {
	binary, err := s.build(ctx)
	if err != nil {
		return err
	}
	info, err := os.Stat(binary)
	if err != nil {
		return err
	}
	s.table.atMost("Static binary (`CGO_ENABLED=0 -trimpath -ldflags \"-s -w\"`)", float64(info.Size())/1e6, 40, " MB")
	var ready, memories []float64
	for range starts {
		took, resident, err := s.start(ctx)
		if err != nil {
			return err
		}
		ready, memories = append(ready, float64(took)/1e6), append(memories, resident)
	}
	s.table.atMost(fmt.Sprintf("Start to `GET /readyz` answering 200, median of %d, nothing kept", starts), median(ready), 150, " ms")
	if runtime.GOOS != "linux" {
		s.table.note("Left out: memory and processor time of the processes, which are read from /proc.")
		return nil
	}
	s.table.figure("Resident memory once ready", number(median(memories))+" MB")
	if err := s.memory(ctx, nothingKept, "nothing kept"); err != nil {
		return err
	}
	return s.memory(ctx, filepath.Join(s.scratch, "kept.db"), "setups kept in SQLite, as is the default")
}

// nothingKept is a service without a database.
const nothingKept = "none"

// program is the program as it is shipped, serving, with its metrics on a second port
// where it is to be watched. Its log goes nowhere, but is written.
func (s *suite) program(ctx context.Context, database string, watched bool) (*process, error) {
	binary, err := s.build(ctx)
	if err != nil {
		return nil, err
	}
	var addresses [2]string
	for i := range addresses {
		l, err := net.Listen("tcp", "127.0.0.1:0")
		if err != nil {
			return nil, err
		}
		addresses[i] = l.Addr().String()
		if err := l.Close(); err != nil { // the program takes the port over
			return nil, err
		}
	}
	cmd := exec.Command(binary, "serve", "--address", addresses[0], "--database", database)
	if watched {
		cmd.Args = append(cmd.Args, "--admin", addresses[1])
	}
	cmd.Dir = s.scratch
	p := &process{cmd: cmd, url: "http://" + addresses[0], admin: "http://" + addresses[1], description: filepath.Base(binary)}
	if err := cmd.Start(); err != nil {
		return nil, err
	}
	if err := p.ready(ctx); err != nil {
		return nil, errors.Join(err, p.stop())
	}
	return p, nil
}

// start times one start and reads the memory once ready.
func (s *suite) start(ctx context.Context) (took time.Duration, resident float64, err error) {
	begun := time.Now()
	p, err := s.program(ctx, nothingKept, false)
	if err != nil {
		return 0, 0, err
	}
	took = time.Since(begun)
	defer func() { err = errors.Join(err, p.stop()) }()
	resident, _ = p.resident()
	return took, resident, nil
}

// ready asks until the answer is that questions are answered.
func (p *process) ready(ctx context.Context) error {
	for end := time.Now().Add(30 * time.Second); time.Now().Before(end); time.Sleep(time.Millisecond) {
		if err := ctx.Err(); err != nil {
			return err
		}
		r, err := http.Get(p.url + "/readyz")
		if err != nil {
			continue
		}
		if err := r.Body.Close(); err != nil {
			return err
		}
		if r.StatusCode == http.StatusOK {
			return nil
		}
	}
	return errors.New("the program is not ready after 30 s")
}

// memory asks every route of the mix for every species under load, and reads what
// the program then holds.
func (s *suite) memory(ctx context.Context, database, what string) (err error) {
	p, err := s.program(ctx, database, false)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, p.stop()) }()
	l := attack(ctx, s.mix(p.url), 0, s.duration)
	if len(l.failed) > 0 {
		return fmt.Errorf("under load: %v", l.failed)
	}
	now, most := p.resident()
	s.table.atMost(fmt.Sprintf("Resident memory after %d mixed requests by %d clients, %s", l.answered, clients, what), now, 60, " MB")
	s.table.figure("The most it ever held meanwhile", number(most)+" MB")
	return nil
}
