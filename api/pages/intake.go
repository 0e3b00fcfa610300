package pages

import (
	"bytes"
	"context"
	"encoding/base64"
	"errors"
	"fmt"
	"html/template"
	"io"
	"math"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/labstack/echo/v4"

	"denwright/sizing"
	"denwright/sizing/intake"
	"denwright/testdata/demo"
)

// intakePages are the pages about a list of enclosures at once.
func (s *Site) intakePages(m mount) {
	m.get("/intake", intakePage)
	m.get("/intake/template.csv", func(r *request) error {
		names := make([]string, 0, len(intake.Columns()))
		for _, c := range intake.Columns() {
			names = append(names, c.Name)
		}
		return r.file("list.csv", []byte(strings.Join(names, ",")+"\r\n"))
	})
	m.get("/intake/demo.csv", func(r *request) error { return r.file("saltmarsh-lane.csv", demo.VanCSV) })
	m.stream("/intake", intakeAnswer)
}

func (r *request) file(name string, body []byte) error {
	r.Response().Header().Set(echo.HeaderContentDisposition, `attachment; filename="`+name+`"`)
	return r.Blob(http.StatusOK, "text/csv; charset=utf-8", body)
}

// The bounds of a list that is sent from a page. A browser reads no answer before it
// has sent its form to the end, so an answer can't be written while the list still
// comes in: the list is held, and therefore bounded, and so is how many are held at a
// time. What is larger goes to POST /v1/intakes or to the command line, which hold
// some dozens of rows.
const (
	maxList  = 5 << 20          // bytes of a list
	maxLists = 4                // at a time
	maxShown = 300              // rows shown
	maxKept  = 2 << 20          // bytes of the answers offered for download beside them
	spell    = 30 * time.Second // for the next piece to come or go
)

type intakeData struct {
	Form    *form
	Columns []intake.Column
	Most    float64 // MB of a list
	Shown   int
}

func (r *request) intakeForm() *form {
	return r.newForm("ask", nil, []field{
		{At: "answer", Kind: choiceField, Options: []string{"page", "csv", "ndjson", "report"}, Needed: true},
		r.jurisdictionField(),
	})
}

func intakePage(r *request) error {
	return r.render("intake", r.t("list.title"), intakeData{r.intakeForm(), intake.Columns(), maxList >> 20, maxShown})
}

// list is a list as it was sent.
type list struct {
	answer, jurisdiction string
	script               bool // the page that asks takes the rows alone
	name                 string
	rows                 []byte
}

// readList reads a form with a list. Fields come before the rows, as they stand in the form.
func (r *request) readList() (l list, err error) {
	control := http.NewResponseController(r.Response())
	r.Request().Body = http.MaxBytesReader(r.Response().Writer, r.Request().Body, maxList+1<<16)
	parts, err := r.Request().MultipartReader()
	if err != nil {
		return l, &failure{status: http.StatusBadRequest, key: "unreadable-form"}
	}
	for {
		part, err := parts.NextPart()
		if err == io.EOF {
			return l, nil
		}
		if err != nil {
			return l, unreadable(err)
		}
		text, err := io.ReadAll(&patient{part, control})
		if err != nil {
			return l, unreadable(err)
		}
		switch part.FormName() {
		case "answer":
			l.answer = string(text)
		case "jurisdiction":
			l.jurisdiction = string(text)
		case "part":
			l.script = string(text) == "rows"
		case "rows", "file":
			if len(l.rows) == 0 && len(bytes.TrimSpace(text)) > 0 {
				l.rows, l.name = text, part.FileName()
			}
		}
	}
}

func unreadable(err error) error {
	var tooLarge *http.MaxBytesError
	if errors.As(err, &tooLarge) {
		return &failure{status: http.StatusRequestEntityTooLarge, key: "list-too-large"}
	}
	return &failure{status: http.StatusBadRequest, key: "unreadable-form"}
}

// patient gives a sender time as long as something comes.
type patient struct {
	in      io.Reader
	control *http.ResponseController
}

func (p *patient) Read(b []byte) (int, error) {
	_ = p.control.SetReadDeadline(time.Now().Add(spell)) // a connection without deadlines needs none
	return p.in.Read(b)
}

// intakeAnswer answers a list row by row, as a page that grows or as a file. Nothing
// of it is kept once it is answered.
func intakeAnswer(r *request) error {
	select {
	case r.site.lists <- struct{}{}:
		defer func() { <-r.site.lists }()
	default:
		return &failure{status: http.StatusServiceUnavailable, key: "lists-busy"}
	}
	l, err := r.readList()
	if err != nil {
		return err
	}
	if len(l.rows) == 0 {
		return &failure{status: http.StatusUnprocessableEntity, key: "no-list"}
	}
	if l.jurisdiction != "" && !slices.Contains(r.snap.Jurisdictions(), l.jurisdiction) {
		return &failure{status: http.StatusUnprocessableEntity, key: "bad-choice"}
	}
	o := intake.Options{Matcher: r.snap.Matcher, Jurisdiction: l.jurisdiction, Output: intake.ToNDJSON, Title: l.name}
	out := &answers{r: r, control: http.NewResponseController(r.Response()), list: l}
	types := map[string]string{"csv": "text/csv", "ndjson": "application/x-ndjson", "report": "text/plain"}
	if kind, ok := types[l.answer]; ok {
		o.Output = intake.Output(l.answer)
		out.mediaType, out.file = kind, "answers."+map[string]string{"csv": "csv", "ndjson": "ndjson", "report": "txt"}[l.answer]
	} else if l.answer != "page" && l.answer != "" {
		return &failure{status: http.StatusUnprocessableEntity, key: "bad-choice"}
	}
	o.Progress = out.progress
	sum, err := intake.Run(r.Request().Context(), r.snap.Catalogue, bytes.NewReader(l.rows), out, o)
	if err == nil {
		err = out.end(&sum)
	}
	switch {
	case err == nil:
		return nil
	case out.begun:
		if r.Request().Context().Err() == nil && !errors.Is(err, context.Canceled) {
			r.site.log.Warn("list broke off", "id", r.Response().Header().Get(echo.HeaderXRequestID), "error", err.Error())
		}
		panic(http.ErrAbortHandler) // so that a broken answer is not taken for a short one
	case errors.Is(err, intake.ErrNoHeader):
		return &failure{status: http.StatusUnprocessableEntity, key: "list-without-header"}
	}
	return fmt.Errorf("intake: %w", err)
}

// answers takes the answers as they come and sends them on: as they are for a file,
// as rows of a table for a page.
type answers struct {
	r               *request
	control         *http.ResponseController
	list            list
	mediaType, file string // of a file; blank for a page
	set             *template.Template
	begun           bool
	line            []byte // what has come of the next answer
	rows            int
	kept            []byte // answers in CSV
	over            bool   // more than is kept
	bad             []badRow
}

// badRow leads from the end of a page to a row with faults.
type badRow struct {
	Row   int
	Shown bool
}

// maxBad bounds the rows with faults that are named at the end.
const maxBad = 50

func (a *answers) begin() error {
	if a.begun {
		return nil
	}
	a.begun = true
	h := a.r.Response().Header()
	h.Set(echo.HeaderCacheControl, "no-store")
	if a.file != "" {
		h.Set(echo.HeaderContentType, a.mediaType+"; charset=utf-8")
		h.Set(echo.HeaderContentDisposition, `attachment; filename="`+a.file+`"`)
		a.r.Response().WriteHeader(http.StatusOK)
		return nil
	}
	h.Set(echo.HeaderContentType, "text/html; charset=utf-8")
	h.Set("X-Accel-Buffering", "no") // a proxy in between is not to hold the rows back
	var err error
	if a.set, err = a.r.site.set(a.r.look); err != nil {
		return err
	}
	a.kept = append(a.kept, intake.HeadCSV()+"\r\n"...)
	a.r.Response().WriteHeader(http.StatusOK)
	if a.list.script {
		return nil
	}
	return a.part("intake-answer.html", a.r.view(a.r.t("list.answers"), nil))
}

func (a *answers) part(name string, data any) error {
	var b bytes.Buffer
	if err := a.set.ExecuteTemplate(&b, name, data); err != nil {
		return fmt.Errorf("page %s: %w", name, err)
	}
	_, err := a.r.Response().Write(squeeze(b.Bytes()))
	return err
}

// Write takes answers as the intake writes them.
func (a *answers) Write(b []byte) (int, error) {
	if err := a.begin(); err != nil {
		return 0, err
	}
	_ = a.control.SetWriteDeadline(time.Now().Add(spell))
	if a.file != "" {
		return a.r.Response().Write(b)
	}
	taken := len(b)
	for {
		end := bytes.IndexByte(b, '\n')
		if end < 0 {
			a.line = append(a.line, b...)
			return taken, nil
		}
		a.line = append(a.line, b[:end]...)
		b = b[end+1:]
		if err := a.row(a.line); err != nil {
			return 0, err
		}
		a.line = a.line[:0]
	}
}

// row shows one answer.
func (a *answers) row(raw []byte) error {
	var l intake.Line
	if err := json.Unmarshal(raw, &l); err != nil {
		return fmt.Errorf("row of an intake: %w", err)
	}
	a.rows++
	if text := l.CSV() + "\r\n"; !a.over && len(a.kept)+len(text) <= maxKept {
		a.kept = append(a.kept, text...)
	} else {
		a.over = true
	}
	if len(l.Problems) > 0 && len(a.bad) < maxBad {
		a.bad = append(a.bad, badRow{l.Row, a.rows <= maxShown})
	}
	if a.rows > maxShown {
		return nil
	}
	var b bytes.Buffer
	if err := a.set.ExecuteTemplate(&b, "intake-row", rowView{l, a.r.snap.Catalogue.SpeciesByID(l.Species) != nil}); err != nil {
		return fmt.Errorf("row of an intake: %w", err)
	}
	// One line for each row: what the script takes one by one.
	_, err := a.r.Response().Write(append(bytes.ReplaceAll(bytes.TrimSpace(squeeze(b.Bytes())), []byte("\n"), nil), '\n'))
	return err
}

// rowView is an answer as a row of the table.
type rowView struct {
	intake.Line
	Known bool
}

// progress says how far it is, and sends what is there on its way.
func (a *answers) progress(p intake.Progress) {
	if p.Rows%16 != 0 && p.Rows != 1 {
		return
	}
	if a.file == "" {
		done := math.Floor(min(1, float64(p.Read)/float64(len(a.list.rows))) * 100)
		fmt.Fprintf(a.r.Response(), "<!--done %.0f row %d-->\n", done, p.Rows) // a lost client shows at the next row
	}
	_ = a.control.Flush()
}

type intakeSummary struct {
	intake.Summary
	Named   int
	Fit     []fitCount
	Hidden  int // rows that are not shown
	Shown   int
	CSV     template.URL
	Over    bool
	BadRows []badRow
	More    int // bad rows that are not named
}

type fitCount struct {
	Fit   sizing.Fit
	Count int
}

// end closes the page with what the list came to.
func (a *answers) end(sum *intake.Summary) error {
	if err := a.begin(); err != nil || a.file != "" {
		return err
	}
	v := intakeSummary{Summary: *sum, Shown: min(a.rows, maxShown), Hidden: max(0, a.rows-maxShown), Over: a.over, BadRows: a.bad, More: sum.Bad - len(a.bad)}
	for _, f := range sizing.Fits {
		v.Fit = append(v.Fit, fitCount{f, sum.Fits[f]})
		v.Named += sum.Fits[f]
	}
	if !a.over {
		v.CSV = template.URL("data:text/csv;charset=utf-8;base64," + base64.StdEncoding.EncodeToString(a.kept))
	}
	if a.list.script {
		if _, err := io.WriteString(a.r.Response(), "<!--summary-->\n"); err != nil {
			return err
		}
		return a.part("intake-summary", v)
	}
	return a.part("intake-end.html", a.r.view("", v))
}
