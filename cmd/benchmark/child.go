package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"

	"denwright/api"
	"denwright/care"
)

// roleEnv makes this program serve instead, as a process of its own: the load comes
// from another.
const roleEnv = "DENWRIGHT_BENCHMARK_ROLE"

// The roles.
const (
	roleService = "service" // the program's own service, with its metrics on a second port
	roleBare    = "bare"    // bare Echo handlers; see bare.go
)

// serveAs serves until ctx ends. It prints its addresses first.
func serveAs(ctx context.Context, role string) error {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return err
	}
	switch role {
	case roleService:
		c, err := care.Embedded()
		if err != nil {
			return err
		}
		// It logs as the program does; the lines go nowhere, but are written.
		nowhere, err := os.OpenFile(os.DevNull, os.O_WRONLY, 0)
		if err != nil {
			return err
		}
		s := api.New(c, slog.New(slog.NewTextHandler(nowhere, nil)))
		admin, err := net.Listen("tcp", "127.0.0.1:0")
		if err != nil {
			return err
		}
		watch := &http.Server{Handler: s.Admin(), ReadHeaderTimeout: time.Minute}
		go func() { _ = watch.Serve(admin) }() // ends with the process
		fmt.Println(l.Addr(), admin.Addr())
		return s.Serve(ctx, l, api.Config{})
	case roleBare:
		h, err := bareHandler()
		if err != nil {
			return err
		}
		srv := &http.Server{Handler: h, ReadHeaderTimeout: time.Minute}
		context.AfterFunc(ctx, func() { _ = srv.Close() })
		fmt.Println(l.Addr(), "-")
		if err := srv.Serve(l); !errors.Is(err, http.ErrServerClosed) {
			return err
		}
		return nil
	}
	return fmt.Errorf("no role %q", role)
}

// process is a program under measurement.
type process struct {
	cmd         *exec.Cmd
	url, admin  string
	description string
}

// child starts this program in a role and waits until it serves.
func (s *suite) child(role string) (*process, error) {
	self, err := os.Executable()
	if err != nil {
		return nil, err
	}
	cmd := exec.Command(self)
	cmd.Env = append(os.Environ(), roleEnv+"="+role)
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	if err != nil {
		return nil, err
	}
	if err := cmd.Start(); err != nil {
		return nil, err
	}
	p := &process{cmd: cmd, description: role}
	line, err := bufio.NewReader(out).ReadString('\n')
	if err != nil {
		return nil, errors.Join(fmt.Errorf("start %s: %w", role, err), p.stop())
	}
	address, admin, _ := strings.Cut(strings.TrimSpace(line), " ")
	p.url, p.admin = "http://"+address, "http://"+admin
	return p, nil
}

// stop ends the process in an orderly way.
func (p *process) stop() error {
	if err := p.cmd.Process.Signal(syscall.SIGTERM); err != nil && !errors.Is(err, os.ErrProcessDone) {
		return err
	}
	late := time.AfterFunc(20*time.Second, func() { _ = p.cmd.Process.Kill() })
	defer late.Stop()
	err := p.cmd.Wait()
	var exit *exec.ExitError
	if errors.As(err, &exit) && exit.ExitCode() == -1 { // by the signal: it had not begun to serve
		return nil
	}
	return err
}

// cpu is the processor time taken so far, to a hundredth of a second; 0 where the
// system does not tell.
func (p *process) cpu() time.Duration {
	raw, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", p.cmd.Process.Pid))
	if err != nil {
		return 0
	}
	_, after, _ := strings.Cut(string(raw), ") ")
	fields := strings.Fields(after)
	if len(fields) < 13 {
		return 0
	}
	var ticks int64
	for _, f := range fields[11:13] {
		n, err := strconv.ParseInt(f, 10, 64)
		if err != nil {
			return 0
		}
		ticks += n
	}
	return time.Duration(ticks) * 10 * time.Millisecond
}

// resident is the memory held, and the most ever held, in MB.
func (p *process) resident() (now, most float64) {
	read := func(name string) float64 {
		n, err := strconv.Atoi(strings.TrimSuffix(field(fmt.Sprintf("/proc/%d/status", p.cmd.Process.Pid), name), " kB"))
		if err != nil {
			return 0
		}
		return float64(n) / 1024
	}
	return read("VmRSS"), read("VmHWM")
}

// openFiles counts file descriptors.
func (p *process) openFiles() int {
	list, err := os.ReadDir(fmt.Sprintf("/proc/%d/fd", p.cmd.Process.Pid))
	if err != nil {
		return 0
	}
	return len(list)
}

// goroutines reads the service's own metrics.
func (p *process) goroutines() (int, error) {
	r, err := http.Get(p.admin + "/metrics")
	if err != nil {
		return 0, err
	}
	defer r.Body.Close()
	lines := bufio.NewScanner(r.Body)
	for lines.Scan() {
		if v, ok := strings.CutPrefix(lines.Text(), "go_goroutines "); ok {
			return strconv.Atoi(v)
		}
	}
	return 0, errors.New("the service's metrics count no goroutines")
}

// build makes the program as it is shipped: static and stripped.
func (s *suite) build(ctx context.Context) (string, error) {
	if s.binary != "" {
		return s.binary, nil
	}
	path := filepath.Join(s.scratch, "denwright")
	cmd := exec.CommandContext(ctx, "go", "build", "-trimpath", "-ldflags", "-s -w", "-o", path, "./cmd/denwright")
	cmd.Dir, cmd.Env = s.root, append(os.Environ(), "CGO_ENABLED=0")
	if out, err := cmd.CombinedOutput(); err != nil {
		return "", fmt.Errorf("build: %w\n%s", err, out)
	}
	s.binary = path
	return path, nil
}
