package intake

import (
	"context"
	"errors"
	"fmt"
	"io"
	"sync"

	"denwright/care"
	"denwright/sizing"
	"denwright/sizing/score"
)

// Options say how to read and what to write.
type Options struct {
	Format Format
	Output Output
	// Matches is the most species named in the answer to a row that names none; 5 when 0.
	Matches int
	// Jurisdiction is for rows that name none.
	Jurisdiction string
	// Experience and Without filter the species named; see sizing.MatchQuestion.
	Experience sizing.Experience
	Without    []string
	// Workers is how many rows are answered at a time; 2 when 0.
	Workers int
	// Skip leaves out rows that an earlier run has answered. The output then begins
	// without a header.
	Skip int
	// Title heads a report.
	Title string
	// Progress, if not nil, is called after each row that is written.
	Progress func(Progress)
	// Matcher, if not nil, is one kept over several runs with the same catalogue.
	Matcher *sizing.Matcher
}

// Progress says how far a run has come.
type Progress struct {
	Rows int
	Read int64 // bytes of text
}

// Summary is what a run came to. Its counts are of the rows answered in this run.
type Summary struct {
	Rows    int // answered or reported, without those skipped
	Skipped int
	Bad     int                // rows that could not be answered
	Fits    map[sizing.Fit]int // of the rows that name a species
	Matched int                // rows that asked what could live in it
	// Homes are those of them that some species fits, as it is or after changes.
	Homes   int
	Remarks []string // about the file
}

// Answer is what is said of one row: an assessment where it names a species (see
// sizing.AssessDoable), a match where it names none, neither where it has faults.
type Answer struct {
	Row        *Row
	Fit        sizing.Fit
	Assessment *sizing.Assessment
	Shortfall  string
	Grows      *sizing.Outgrowing
	Match      *sizing.MatchAnswer
}

// queue is how many rows wait for each worker: enough to keep it busy, few enough to
// keep memory constant.
const queue = 8

// Run reads rows, answers them and writes the answers in the same order. It holds no
// more than some dozens of rows at a time. It fails where reading or writing does,
// when ctx is done, on an unknown option, and on ErrNoHeader; never on a row.
func Run(ctx context.Context, c *care.Catalogue, in io.Reader, out io.Writer, o Options) (Summary, error) {
	if o.Matches == 0 {
		o.Matches = 5
	}
	if o.Workers == 0 {
		o.Workers = 2
	}
	a := &asker{c: c, o: &o, matcher: o.Matcher}
	if a.matcher == nil {
		a.matcher = sizing.NewMatcher(c)
	}
	if err := a.check(); err != nil {
		return Summary{}, err
	}
	w, err := newWriter(out, c, &o)
	if err != nil {
		return Summary{}, err
	}
	r, err := NewReader(in, o.Format)
	if err != nil {
		return Summary{}, err
	}
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	sum := Summary{Fits: map[sizing.Fit]int{}, Remarks: r.Remarks}
	if err := w.begin(&sum, o.Skip > 0); err != nil {
		return sum, fmt.Errorf("write: %w", err)
	}

	type job struct {
		row  *Row
		read int64
		done chan *Answer
	}
	work, order := make(chan *job, queue*o.Workers), make(chan *job, queue*o.Workers)
	var readErr error // set before order is closed
	var wg sync.WaitGroup
	wg.Go(func() {
		defer close(order)
		defer close(work)
		for {
			row, err := r.Next()
			if err != nil {
				if err != io.EOF {
					readErr = err
				}
				return
			}
			if row.Number <= o.Skip {
				sum.Skipped++ // read by the caller once this goroutine is done
				continue
			}
			j := &job{row, r.Read(), make(chan *Answer, 1)}
			for _, to := range []chan *job{order, work} {
				select {
				case to <- j:
				case <-ctx.Done():
					return
				}
			}
		}
	})
	for range o.Workers {
		wg.Go(func() {
			for j := range work {
				j.done <- a.answer(j.row)
			}
		})
	}
	err = func() error {
		for {
			select {
			case <-ctx.Done():
				return ctx.Err()
			case j, more := <-order:
				if !more {
					return readErr
				}
				select {
				case <-ctx.Done():
					return ctx.Err()
				case answer := <-j.done:
					sum.add(answer)
					if err := w.answer(answer); err != nil {
						return fmt.Errorf("write: %w", err)
					}
					if o.Progress != nil {
						o.Progress(Progress{answer.Row.Number, j.read})
					}
				}
			}
		}
	}()
	stop()
	wg.Wait()
	if err == nil && ctx.Err() != nil && readErr != nil {
		err = readErr
	}
	if flushErr := w.end(&sum, err == nil); err == nil && flushErr != nil {
		err = fmt.Errorf("write: %w", flushErr)
	}
	return sum, err
}

func (s *Summary) add(a *Answer) {
	s.Rows++
	switch {
	case a.Match != nil:
		s.Matched++
		if a.Match.Counts.AsItIs+a.Match.Counts.AfterChanges > 0 {
			s.Homes++
		}
	case a.Assessment != nil:
		s.Fits[a.Fit]++
	default:
		s.Bad++
	}
}

// asker puts rows to the questions. It is used by several goroutines and not written to.
type asker struct {
	c       *care.Catalogue
	o       *Options
	matcher *sizing.Matcher
}

// check finds options that no row could be answered with.
func (a *asker) check() error {
	_, err := a.matcher.Match(sizing.MatchQuestion{Jurisdiction: a.o.Jurisdiction, Experience: a.o.Experience, Without: a.o.Without, Limit: 1})
	if a.o.Matches < 0 || a.o.Workers < 0 || a.o.Skip < 0 {
		return errors.Join(err, errors.New("matches, workers and skip can't be negative"))
	}
	return err
}

// answer asks what the row asks. Whatever can't be answered becomes a fault of the row.
func (a *asker) answer(row *Row) *Answer {
	out := &Answer{Row: row}
	if len(row.Faults) > 0 {
		return out
	}
	if row.Jurisdiction == "" {
		row.Jurisdiction = a.o.Jurisdiction
	}
	var err error
	if row.Species == "" {
		empty := row.empty()
		if empty {
			row.Remarks = append(row.Remarks, "taken as empty, for nothing is said of what is in it")
		}
		out.Match, err = a.matcher.Match(sizing.MatchQuestion{Setup: row.Setup, Empty: empty, Count: row.count, Stage: row.stage, Sex: row.sex, Jurisdiction: row.Jurisdiction,
			Experience: a.o.Experience, Without: a.o.Without, Fits: []sizing.Fit{sizing.FitsAsItIs, sizing.FitsChanged, sizing.FitUnknown}, Limit: a.o.Matches})
	} else {
		err = a.assess(row, out)
	}
	if err == nil {
		return out
	}
	out.Match, out.Assessment, out.Grows = nil, nil, nil
	if bad, ok := errors.AsType[sizing.Invalid](err); ok {
		row.refused(bad)
	} else {
		row.fault(0, "", "could not be answered: "+clean(err.Error()), "")
	}
	return out
}

func (a *asker) assess(row *Row, out *Answer) (err error) {
	q := sizing.AssessmentQuestion{Setup: row.Setup, Question: sizing.Question{Species: row.Species, Animals: row.Animals, Jurisdiction: row.Jurisdiction}}
	if out.Assessment, err = sizing.AssessDoable(a.c, q); err != nil {
		return err
	}
	out.Fit = sizing.FitOf(out.Assessment.WorstVerdict, out.Assessment.BestVerdict)
	if f := out.Assessment.Governing(); f != nil {
		out.Shortfall = finding(f)
	}
	for _, w := range out.Assessment.Warnings {
		row.Remarks = append(row.Remarks, w.Text)
	}
	// What is too small today needs no telling when it will be.
	young := false
	for _, k := range out.Assessment.Animals {
		young = young || k.Stage != care.Adult
	}
	if young && out.Assessment.Verdict != score.Unsuitable {
		out.Grows, err = a.matcher.Outgrow(q)
	}
	return err
}
