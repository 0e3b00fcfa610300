package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"strconv"
	"strings"
	"syscall"
	"time"

	"denwright/sizing"
	"denwright/sizing/intake"
	"denwright/testdata/demo"
)

// lists are the files of rows measured.
var lists = []struct{ name, what string }{
	{"day", "rows as a rescue writes them (the invented van list, sizes varied)"},
	{"sizes", "rows that say nothing but a size: each asks what could live in it"},
}

// rowsOf makes a list of n rows.
func rowsOf(kind string, n int) io.Reader {
	r, w := io.Pipe()
	go func() {
		out := bufio.NewWriter(w)
		writeRows(out, kind, n)
		_ = w.CloseWithError(out.Flush()) // a pipe's writer fails only when its reader is gone
	}()
	return r
}

func writeRows(out io.Writer, kind string, n int) {
	if kind == "sizes" {
		fmt.Fprintln(out, "id,size (cm),note")
		for i := range n {
			fmt.Fprintf(out, "%d,%dx%dx%d,row %d\n", i+1, 40+i*7%260, 30+i*5%120, 30+i*3%150, i+1)
		}
		return
	}
	lines := bytes.Split(bytes.TrimSpace(demo.VanCSV), []byte("\n"))
	fmt.Fprintf(out, "%s\n", bytes.TrimSpace(lines[0]))
	for i := range n {
		// Soil depths vary, so that no two rows need be alike.
		line := bytes.TrimSpace(lines[1+i%(len(lines)-1)])
		fmt.Fprintf(out, "%s\n", bytes.Replace(line, []byte("60 x 60 cm"), fmt.Appendf(nil, "%d x 60 cm", 50+i%40), 1))
	}
}

// intake compares a whole intake with its two ends alone, and watches memory.
func (s *suite) intake(ctx context.Context) error {
	m := sizing.NewMatcher(s.catalogue)
	o := intake.Options{Output: intake.ToNDJSON, Format: intake.CSV, Matches: 5, Matcher: m}
	for _, k := range lists {
		var whole, ends []float64
		var rate float64
		size := 0
		for turn := range 3 {
			lines, err := s.answers(ctx, k.name, o)
			if err != nil {
				return err
			}
			before, begun := processor(), time.Now()
			if _, err := intake.Run(ctx, s.catalogue, rowsOf(k.name, s.rows), io.Discard, o); err != nil {
				return err
			}
			took := time.Since(begun)
			all := processor() - before
			before = processor()
			if size, err = decodeAndEncode(k.name, s.rows, lines); err != nil {
				return err
			}
			bare := processor() - before
			if turn > 0 || s.rows > 10_000 {
				whole, ends, rate = append(whole, all.Seconds()), append(ends, bare.Seconds()), max(rate, float64(s.rows)/took.Seconds())
			}
			if s.rows > 10_000 && turn > 0 {
				break
			}
		}
		ratios := make([]float64, len(whole))
		for i := range whole {
			ratios[i] = whole[i] / ends[i]
		}
		s.table.atMost(fmt.Sprintf("Intake of %d rows over decoding and encoding alone: %s", s.rows, k.what), median(ratios), 3, "")
		s.table.figure("The same: rows a second; processor time a row, and of decoding and encoding alone",
			fmt.Sprintf("%s; %s, %s", number(rate), micro(seconds(median(whole)/float64(s.rows))), micro(seconds(median(ends)/float64(s.rows)))))
		s.table.figure("The same: bytes written a row", number(float64(size)/float64(s.rows)))
	}
	s.table.note("Decoding and encoding alone: the same bytes go through the program's own reader, and the same answers, worked out beforehand and held in plain types, through encoding/json. Both in processor time, since an intake works on two rows at a time.")
	return s.intakeMemory(ctx)
}

func seconds(x float64) time.Duration { return time.Duration(x * 1e9) }

// kept is how many different answers are held to be encoded over again.
const kept = 5000

// answers are the first answers of an intake, as they are written, in plain types.
func (s *suite) answers(ctx context.Context, kind string, o intake.Options) (lines []any, err error) {
	shape := plain(reflect.TypeFor[intake.Line](), nil)
	var out bytes.Buffer
	if _, err := intake.Run(ctx, s.catalogue, rowsOf(kind, min(kept, s.rows)), &out, o); err != nil {
		return nil, err
	}
	for line := range bytes.Lines(out.Bytes()) {
		l := reflect.New(shape).Interface()
		if err := json.Unmarshal(line, l); err != nil {
			return nil, err
		}
		lines = append(lines, l)
	}
	return lines, nil
}

// decodeAndEncode does what an intake does but for the answers, and counts the bytes.
func decodeAndEncode(kind string, n int, lines []any) (size int, err error) {
	r, err := intake.NewReader(rowsOf(kind, n), intake.CSV)
	if err != nil {
		return 0, err
	}
	out := &counter{}
	w := bufio.NewWriterSize(out, 32<<10)
	encoder := json.NewEncoder(w)
	encoder.SetEscapeHTML(false)
	for i := 0; ; i++ {
		if _, err := r.Next(); err == io.EOF {
			return out.n, nil
		} else if err != nil {
			return 0, err
		}
		if err := errors.Join(encoder.Encode(lines[i%len(lines)]), w.Flush()); err != nil { // a line feed after each
			return 0, err
		}
	}
}

type counter struct{ n int }

func (c *counter) Write(b []byte) (int, error) {
	c.n += len(b)
	return len(b), nil
}

// processor is the processor time that this process took.
func processor() time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		return 0
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// intakeMemory runs the program over short and long lists and reads the most that it
// ever held.
func (s *suite) intakeMemory(ctx context.Context) error {
	binary, err := s.build(ctx)
	if err != nil {
		return err
	}
	var most []float64
	counts := []int{10_000, s.mostRows}
	for _, n := range counts {
		file := filepath.Join(s.scratch, strconv.Itoa(n)+".csv")
		f, err := os.Create(file)
		if err != nil {
			return err
		}
		out := bufio.NewWriter(f)
		writeRows(out, "day", n)
		if err := errors.Join(out.Flush(), f.Close()); err != nil {
			return err
		}
		cmd := exec.CommandContext(ctx, binary, "intake", "--out", file+".ndjson", file)
		var said bytes.Buffer
		cmd.Stdout, cmd.Stderr = &said, &said
		begun := time.Now()
		if err := cmd.Start(); err != nil {
			return err
		}
		// Looked at while it runs: the figure that the system gives at the end counts
		// what the benchmark itself held when it started the program.
		peak := 0.0
		ended := make(chan error, 1)
		go func() { ended <- cmd.Wait() }()
		for running := true; running; {
			select {
			case err := <-ended:
				if err != nil && cmd.ProcessState.ExitCode() < 0 {
					return fmt.Errorf("%w\n%s", err, said.Bytes())
				}
				running = false
			case <-time.After(50 * time.Millisecond):
				_, held := (&process{cmd: cmd}).resident()
				peak = max(peak, held)
			}
		}
		took := time.Since(begun)
		if peak == 0 {
			s.table.note("Left out: the memory of an intake, which this system does not tell.")
			return nil
		}
		most = append(most, peak)
		written, err := lineCount(file + ".ndjson")
		if err != nil {
			return err
		}
		if written != n {
			return fmt.Errorf("%d rows are answered with %d lines", n, written)
		}
		s.table.figure(fmt.Sprintf("`denwright intake` of %d rows, from start to end", n), fmt.Sprintf("%.1f s", took.Seconds()))
		if err := errors.Join(os.Remove(file), os.Remove(file+".ndjson")); err != nil {
			return err
		}
	}
	s.table.atMost(fmt.Sprintf("The most memory held by an intake of %d rows", counts[1]), most[1], 150, " MB")
	s.table.atMost(fmt.Sprintf("The same over that of %d rows: flat", counts[0]), most[1]/most[0], 1.2, "")
	return nil
}

func lineCount(file string) (n int, err error) {
	f, err := os.Open(file)
	if err != nil {
		return 0, err
	}
	defer f.Close()
	r := bufio.NewReaderSize(f, 1<<20)
	for {
		text, err := r.ReadSlice('\n')
		if len(text) > 0 && errors.Is(err, nil) {
			n++
		}
		if err == io.EOF {
			return n, nil
		}
		if err != nil && !strings.Contains(err.Error(), "buffer full") {
			return n, err
		}
	}
}
