package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"
)

// bareEnv makes this program serve the bare handlers instead, as a process of its own:
// the load comes from another.
const bareEnv = "DENWRIGHT_BENCHMARK_BARE"

// serveBare serves until ctx ends; see bare.go. It prints its address first.
func serveBare(ctx context.Context) error {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return err
	}
	h, err := bareHandler()
	if err != nil {
		return err
	}
	srv := &http.Server{Handler: h, ReadHeaderTimeout: time.Minute}
	context.AfterFunc(ctx, func() { _ = srv.Close() })
	fmt.Println(l.Addr())
	if err := srv.Serve(l); !errors.Is(err, http.ErrServerClosed) {
		return err
	}
	return nil
}

// process is a program under measurement.
type process struct {
	cmd         *exec.Cmd
	url, admin  string
	description string
}

// bare starts the bare handlers and waits until they are served.
func (s *suite) bare() (*process, error) {
	self, err := os.Executable()
	if err != nil {
		return nil, err
	}
	cmd := exec.Command(self)
	cmd.Env = append(os.Environ(), bareEnv+"=1")
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	if err != nil {
		return nil, err
	}
	if err := cmd.Start(); err != nil {
		return nil, err
	}
	p := &process{cmd: cmd, description: "the bare handlers"}
	address, err := bufio.NewReader(out).ReadString('\n')
	if err != nil {
		return nil, errors.Join(fmt.Errorf("start %s: %w", p.description, err), p.stop())
	}
	p.url = "http://" + strings.TrimSpace(address)
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
