package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync/atomic"
	"time"

	"denwright/sizing"
	"denwright/sizing/intake"

	"github.com/go-json-experiment/json"
)

const intakeUsage = `denwright intake [flags] FILE

What many donated enclosures are worth, one to a row: for the animal that a row
names, or which animals could live in it. FILE is CSV with a header (columns in any
order, cm or in, decimal comma or point, blank for not known) or NDJSON with one
{"id", "species", "animals", "jurisdiction", "setup"} to a line; - reads standard
input. A row that can't be read is reported with its line and column, and the rest
is done.

  denwright intake van.csv                         a report to print
  denwright intake --out answers.csv van.csv       a table, row for row
  denwright intake --out answers.csv --resume van.csv   take up a run cut short
  denwright intake --columns                       every column, and what it holds

Flags:
`

func (p *program) intake(ctx context.Context, args []string) error {
	f := p.flags("intake", intakeUsage)
	o := intake.Options{}
	var without commas
	f.Func("from", "csv or ndjson (default: told by the first character)", func(s string) error { return among(&o.Format, s, intake.CSV, intake.NDJSON) })
	f.Func("to", "csv, ndjson or report (default: by the name of --out, else a report)", func(s string) error { return among(&o.Output, s, intake.Outputs...) })
	out := f.String("out", "", "write to this `file`, not to standard output")
	resume := f.Bool("resume", false, "count the rows that --out holds and go on after them")
	f.IntVar(&o.Matches, "matches", 3, "most species named for an enclosure without an animal")
	f.IntVar(&o.Workers, "workers", 2, "rows answered at a time")
	f.StringVar(&o.Jurisdiction, "jurisdiction", "", "ISO 3166 `code` for rows that give none")
	f.Func("experience", "name only species for a keeper of this experience: "+joined(sizing.Experiences), func(s string) error { o.Experience = sizing.Experience(s); return nil })
	f.Var(&without, "without", "name no species with these `hazards`: "+strings.Join(sizing.HazardClasses, ", "))
	columns := f.Bool("columns", false, "list the columns that a CSV may have")
	rest, err := parse(f, args)
	if err != nil {
		return err
	}
	if *columns {
		return p.intakeColumns()
	}
	switch {
	case len(rest) != 1:
		f.Usage()
		return usageError{"name one file, or - for standard input"}
	case o.Matches < 1 || o.Workers < 1:
		return usageError{"--matches and --workers are at least 1"}
	case *resume && *out == "":
		return usageError{"--resume needs --out, the file to go on with"}
	}
	o.Without = without
	if o.Output == "" {
		o.Output = outputOf(*out)
	}
	if *resume && o.Output == intake.ToReport {
		return usageError{"a report can't be resumed: write --to csv or --to ndjson"}
	}
	o.Title = "Intake: " + filepath.Base(rest[0])
	in, size, err := p.open(rest[0])
	if err != nil {
		return err
	}
	defer in.Close() // read only: nothing to lose
	to, err := p.intakeOut(*out, *resume, &o)
	if err != nil {
		return err
	}
	counted := &countingReader{r: in}
	bar := progressBar(p.err, size, counted)
	if bar != nil {
		o.Progress = bar.show
	}
	sum, err := intake.Run(ctx, p.catalogue, counted, to, o)
	if bar != nil {
		bar.done()
	}
	if closeErr := to.Close(); err == nil && closeErr != nil {
		err = fmt.Errorf("close %s: %w", *out, closeErr)
	}
	if errors.Is(err, intake.ErrNoHeader) {
		return usageError{rest[0] + ": " + err.Error() + "; see denwright intake --columns"}
	}
	if errors.Is(err, context.Canceled) && *out != "" && o.Output != intake.ToReport {
		fmt.Fprintf(p.err, "denwright: stopped after %d rows; --resume goes on from there\n", sum.Skipped+sum.Rows)
		return exitError(exitFailed)
	}
	if err == nil && *out != "" {
		fmt.Fprintf(p.err, "%d rows answered, %d reported as not readable, %d done before\n", sum.Rows-sum.Bad, sum.Bad, sum.Skipped)
		for _, r := range sum.Remarks {
			fmt.Fprintln(p.err, r)
		}
	}
	return err
}

// among sets a value that must be one of some words.
func among[T ~string](to *T, s string, words ...T) error {
	for _, w := range words {
		if string(w) == s {
			*to = w
			return nil
		}
	}
	return fmt.Errorf("use one of %s", joined(words))
}

// outputOf tells the output by the name of its file.
func outputOf(file string) intake.Output {
	switch strings.ToLower(filepath.Ext(file)) {
	case ".csv":
		return intake.ToCSV
	case ".ndjson", ".jsonl", ".json":
		return intake.ToNDJSON
	}
	return intake.ToReport
}

func (p *program) intakeColumns() error {
	g := &page{w: p.out}
	rows := [][]string{{"column", "holds"}}
	for _, c := range intake.Columns() {
		rows = append(rows, []string{c.Name, c.What})
	}
	g.table(rows)
	g.printf("\nCase, spaces and punctuation in a header do not count, and many other spellings are\nknown. A unit may stand in the header, as in \"length (cm)\", or in each cell. Blank, ?\nand unknown say that it is not known.\n")
	return g.err
}

// open gives a file, or standard input, and its size where that is known.
func (p *program) open(name string) (io.ReadCloser, int64, error) {
	if name == "-" {
		return io.NopCloser(p.in), 0, nil
	}
	f, err := os.Open(name)
	if errors.Is(err, os.ErrNotExist) {
		return nil, 0, usageError{fmt.Sprintf("no file %q", name)}
	}
	if err != nil {
		return nil, 0, err
	}
	info, err := f.Stat()
	if err != nil {
		_ = f.Close() // read only
		return nil, 0, err
	}
	return f, info.Size(), nil
}

type keepOpen struct{ io.Writer }

func (keepOpen) Close() error { return nil }

// intakeOut opens the output. A file that is there is never overwritten: a run is
// taken up after the rows that it holds, or refused.
func (p *program) intakeOut(name string, resume bool, o *intake.Options) (io.WriteCloser, error) {
	if name == "" {
		return keepOpen{p.out}, nil
	}
	if !resume {
		f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
		if errors.Is(err, os.ErrExist) {
			return nil, usageError{fmt.Sprintf("%s is there already: --resume goes on with it, or remove it", name)}
		}
		return f, err
	}
	f, err := os.OpenFile(name, os.O_RDWR|os.O_CREATE, 0o644)
	if err != nil {
		return nil, err
	}
	rows, end, err := answered(f, o.Output)
	if err == nil {
		err = f.Truncate(end) // a line that was cut short
	}
	if err == nil {
		_, err = f.Seek(end, io.SeekStart)
	}
	if err != nil {
		_ = f.Close() // nothing was written
		return nil, fmt.Errorf("go on with %s: %w", name, err)
	}
	o.Skip = rows
	return f, nil
}

// answered counts the rows that an output holds, and where the last whole line ends.
// It fails where the file is not such an output.
func answered(f io.Reader, output intake.Output) (rows int, end int64, err error) {
	r := bufio.NewReaderSize(f, 64<<10)
	head := output == intake.ToCSV
	for {
		line, err := r.ReadBytes('\n')
		if err == io.EOF { // what is left is half a line
			if rows == 0 {
				end = 0 // a head alone is written again
			}
			return rows, end, nil
		}
		if err != nil {
			return 0, 0, err
		}
		end += int64(len(line))
		text := strings.TrimRight(string(line), "\r\n")
		if head {
			if head = false; text != intake.HeadCSV() {
				return 0, 0, usageError{"its first line is not that of an answer in CSV"}
			}
			continue
		}
		rows++
		if number, ok := rowNumber(text, output); !ok || number != rows {
			return 0, 0, usageError{fmt.Sprintf("its line for row %d is not an answer in %s", rows, output)}
		}
	}
}

func rowNumber(line string, output intake.Output) (int, bool) {
	if output == intake.ToCSV {
		cell, _, _ := strings.Cut(line, ",")
		n, err := strconv.Atoi(cell)
		return n, err == nil
	}
	var l struct {
		Row int `json:"row"`
	}
	err := json.Unmarshal([]byte(line), &l)
	return l.Row, err == nil
}

// countingReader counts what is read, for the bar.
type countingReader struct {
	r io.Reader
	n atomic.Int64
}

func (c *countingReader) Read(b []byte) (int, error) {
	n, err := c.r.Read(b)
	c.n.Add(int64(n))
	return n, err
}

// bar is a line on a terminal that says how far a run has come.
type bar struct {
	w       io.Writer
	size    int64
	read    *countingReader
	started time.Time
	shown   time.Time
	first   int // rows answered when it was first shown
}

const barWidth = 30

// progressBar is nil where the stream is no terminal.
func progressBar(w io.Writer, size int64, read *countingReader) *bar {
	f, ok := w.(*os.File)
	if !ok {
		return nil
	}
	info, err := f.Stat()
	if err != nil || info.Mode()&os.ModeCharDevice == 0 {
		return nil
	}
	return &bar{w: w, size: size, read: read, started: time.Now()}
}

// show draws the bar some times a second.
func (b *bar) show(p intake.Progress) {
	now := time.Now()
	if b.first == 0 {
		b.first = p.Rows
	}
	if now.Sub(b.shown) < 200*time.Millisecond {
		return
	}
	b.shown = now
	b.draw(p, now)
}

func (b *bar) draw(p intake.Progress, now time.Time) {
	rate := float64(p.Rows-b.first) / max(now.Sub(b.started).Seconds(), 0.001)
	line := fmt.Sprintf("%d rows, %.0f a second", p.Rows, rate)
	if b.size > 0 {
		share := min(1, float64(b.read.n.Load())/float64(b.size))
		full := int(share * barWidth)
		line = fmt.Sprintf("[%s%s] %3.0f %%  %s", strings.Repeat("#", full), strings.Repeat(".", barWidth-full), 100*share, line)
	}
	fmt.Fprintf(b.w, "\r%-78s", line)
}

// done clears the line.
func (b *bar) done() { fmt.Fprintf(b.w, "\r%78s\r", "") }
