// Benchmark measures the program against what a user would otherwise pick, in one
// run and on one machine, and writes one Markdown table. It is a program of its own,
// so that the server carries none of it.
//
//	go run ./cmd/benchmark                        everything but the long soak
//	go run ./cmd/benchmark --sections names,match some of it
//	go run ./cmd/benchmark --sections soak --soak 10m
//
// Sections are measured one after another. Where two things are compared, they take
// turns, so that whatever else the machine does falls on both.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"time"

	"denwright/care"
)

// suite is what the sections share.
type suite struct {
	log       io.Writer // what is going on
	root      string    // of the repository
	scratch   string    // a folder that goes when the run ends
	catalogue *care.Catalogue
	duration  time.Duration // of each measurement of load
	soak      time.Duration
	rows      int    // of an intake
	mostRows  int    // of the intake whose memory is watched
	database  string // address of a PostgreSQL, or ""
	table     table
	binary    string // the program, once built
}

// section is one part of the run.
type section struct {
	name, what string
	run        func(*suite, context.Context) error
	always     bool // part of a run that names no section
}

var sections = []section{
	{"process", "binary size, start to ready, memory", (*suite).process, true},
	{"service", "requests against a bare Echo handler", (*suite).service, true},
	{"functions", "the questions as functions, with their allocations", (*suite).functions, true},
	{"match", "matching over catalogues of 145, 1,450 and 14,500 records", (*suite).match, true},
	{"intake", "long lists: rate against decoding and encoding alone, memory", (*suite).intake, true},
	{"names", "misspelt names among 100,000 against pg_trgm and FTS5", (*suite).names, true},
	{"malformed", "10,000 malformed requests", (*suite).malformed, true},
	{"slow", "1,000 slow clients held while others are served", (*suite).slow, true},
	{"soak", "mixed traffic at 70 % of capacity", (*suite).soaked, false},
}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	var err error
	if os.Getenv(bareEnv) != "" {
		err = serveBare(ctx)
	} else {
		err = run(ctx, os.Args[1:])
	}
	if err != nil && !errors.Is(err, flag.ErrHelp) {
		fmt.Fprintln(os.Stderr, "benchmark:", err)
		os.Exit(1)
	}
}

func run(ctx context.Context, args []string) (err error) {
	f := flag.NewFlagSet("benchmark", flag.ContinueOnError)
	s := &suite{log: os.Stderr}
	var names []string
	for _, k := range sections {
		names = append(names, k.name)
	}
	chosen := f.String("sections", "", "only these, parted by commas: "+strings.Join(names, ", ")+"; all but soak when left out")
	f.DurationVar(&s.duration, "duration", 10*time.Second, "of each measurement of load")
	f.DurationVar(&s.soak, "soak", 10*time.Minute, "of the soak")
	f.IntVar(&s.rows, "rows", 100_000, "of the intake that is timed")
	f.IntVar(&s.mostRows, "most-rows", 1_000_000, "of the intake whose memory is watched")
	f.StringVar(&s.database, "database", os.Getenv("DENWRIGHT_TEST_DATABASE_URL"), "`address` of a PostgreSQL with pg_trgm; a private cluster is made where its programs are installed")
	out := f.String("out", "", "write the table to this `file`; standard output when left out")
	if err := f.Parse(args); err != nil {
		return err
	}
	var wanted []string
	if *chosen != "" {
		wanted = strings.Split(*chosen, ",")
	}
	for _, w := range wanted {
		if !slices.Contains(names, w) {
			return fmt.Errorf("no section %q; use some of %s", w, strings.Join(names, ", "))
		}
	}
	if s.root, err = repository(ctx); err != nil {
		return err
	}
	if s.catalogue, err = care.Embedded(); err != nil {
		return err
	}
	if s.scratch, err = os.MkdirTemp("", "denwright-benchmark-"); err != nil {
		return err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(s.scratch)) }()
	s.table.machine = describeMachine(s.catalogue)
	for _, k := range sections {
		if len(wanted) == 0 && !k.always || len(wanted) > 0 && !slices.Contains(wanted, k.name) {
			continue
		}
		fmt.Fprintf(s.log, "%s %s: %s\n", time.Now().Format(time.TimeOnly), k.name, k.what)
		if failed := k.run(s, ctx); failed != nil {
			s.table.note("**Section %s broke off**: %v", k.name, failed)
			err = errors.Join(err, fmt.Errorf("%s: %w", k.name, failed))
		}
		if ctx.Err() != nil {
			return errors.Join(err, ctx.Err())
		}
	}
	text := s.table.markdown()
	if *out == "" {
		_, failed := io.WriteString(os.Stdout, text)
		return errors.Join(err, failed)
	}
	return errors.Join(err, os.WriteFile(*out, []byte(text), 0o644))
}

// repository is the folder of the module, which the program is built from.
func repository(ctx context.Context) (string, error) {
	out, err := exec.CommandContext(ctx, "go", "env", "GOMOD").Output()
	if err != nil {
		return "", fmt.Errorf("find the repository: %w", err)
	}
	root := filepath.Dir(strings.TrimSpace(string(out)))
	if _, err := os.Stat(filepath.Join(root, "cmd", "denwright")); err != nil {
		return "", errors.New("run it inside the repository: it builds the program")
	}
	return root, nil
}
