package api

import (
	"errors"
	"fmt"
	"mime"
	"net/http"
	"strconv"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"denwright/care"
	"denwright/sizing"
	"denwright/sizing/intake"
)

// maxMatches bounds the species named for a row that names none.
const maxMatches = 20

// mediaTypes are those of an intake, in and out.
var mediaTypes = map[string]string{"csv": "text/csv", "ndjson": "application/x-ndjson", "report": "text/plain"}

// match answers with the matcher kept for the snapshot.
func (s *Server) match(c *care.Catalogue, q sizing.MatchQuestion) (*sizing.MatchAnswer, error) {
	if snap := s.snapshot.Load(); snap != nil && snap.Catalogue == c {
		return snap.matcher.Match(q)
	}
	return sizing.Match(c, q)
}

// intake streams rows of enclosures in and answers out, in the same order, in
// constant memory. A bad row is answered as such and stops nothing else.
func (s *Server) intake(cfg Config, at *slots) echo.HandlerFunc {
	return func(c echo.Context) error {
		snap := s.snapshot.Load()
		if snap == nil {
			return &Problem{kind: notReady}
		}
		r := c.Request()
		o := intake.Options{Matcher: snap.matcher}
		switch kind, _, err := mime.ParseMediaType(r.Header.Get(echo.HeaderContentType)); {
		case err == nil && kind == mediaTypes["csv"]:
			o.Format, o.Output = intake.CSV, intake.ToCSV
		case err == nil && (kind == mediaTypes["ndjson"] || kind == "application/ndjson"):
			o.Format, o.Output = intake.NDJSON, intake.ToNDJSON
		default:
			return &Problem{kind: wrongMediaType, detail: "Send rows as Content-Type: text/csv or application/x-ndjson."}
		}
		q := newQuery(c)
		if to := oneOf(q, "output", intake.Outputs); to != "" {
			o.Output = to
		}
		o.Jurisdiction, _ = q.text("jurisdiction")
		if v, given := q.text("matches"); given {
			n, err := strconv.Atoi(v)
			if err != nil || n < 1 || n > maxMatches {
				q.add("?matches", fmt.Sprintf("is %q", v), fmt.Sprintf("give a whole number from 1 to %d", maxMatches))
			}
			o.Matches = n
		}
		if err := q.done(); err != nil {
			return err
		}
		if err := at.take(r.Context()); err != nil {
			return err
		}
		defer at.give()
		rows := &rowWriter{c: c, mediaType: mediaTypes[string(o.Output)], control: http.NewResponseController(c.Response()), cfg: cfg}
		rows.more() // a long intake has as much time as it makes progress
		// Not every connection can be read and written at once; those that can't are read whole first by net/http.
		if err := rows.control.EnableFullDuplex(); err != nil && !errors.Is(err, http.ErrNotSupported) {
			return fmt.Errorf("intake: %w", err)
		}
		o.Progress = func(p intake.Progress) {
			if p.Rows%64 == 0 {
				rows.more()
			}
		}
		_, err := intake.Run(r.Context(), snap.Catalogue, http.MaxBytesReader(c.Response().Writer, r.Body, cfg.MaxIntakeBytes), rows, o)
		if err == nil {
			rows.start() // an intake without rows has an empty answer
			return nil
		}
		if rows.started {
			s.log.Warn("intake broke off", "id", c.Response().Header().Get(echo.HeaderXRequestID), "error", err.Error())
			panic(http.ErrAbortHandler) // so that the client sees a broken answer, not a short one
		}
		// What was not read is left: the client is told that the connection ends here.
		c.Response().Header().Set(echo.HeaderConnection, "close")
		return intakeProblem(err, cfg)
	}
}

// intakeProblem words what kept an intake from beginning.
func intakeProblem(err error, cfg Config) error {
	var tooLarge *http.MaxBytesError
	var invalid sizing.Invalid
	switch {
	case errors.As(err, &tooLarge):
		return &Problem{kind: bodyTooLarge, detail: fmt.Sprintf("An intake is at most %d bytes.", cfg.MaxIntakeBytes)}
	case errors.As(err, &invalid):
		p := &Problem{kind: invalidParameter, detail: "a parameter is not valid; see errors"}
		for _, bad := range invalid {
			bad.Field = "?" + strings.TrimPrefix(bad.Field, "/")
			p.errors = append(p.errors, bad)
		}
		return p
	case errors.Is(err, intake.ErrNoHeader):
		return &Problem{kind: invalidQuestion, detail: "the first line names none of the columns known",
			errors: []sizing.Problem{{Field: "", Reason: err.Error(), Remedy: "begin with a line of column names; README.md lists them"}}}
	}
	return fmt.Errorf("intake: %w", err)
}

// rowWriter sends the header with the first row, so that what is wrong before it can
// still be answered as a problem.
type rowWriter struct {
	c         echo.Context
	mediaType string
	control   *http.ResponseController
	cfg       Config
	started   bool
}

func (w *rowWriter) start() {
	if w.started {
		return
	}
	w.started = true
	w.c.Response().Header().Set(echo.HeaderContentType, w.mediaType+"; charset=utf-8")
	w.c.Response().Header().Set(echo.HeaderCacheControl, "no-store")
	w.c.Response().WriteHeader(http.StatusOK)
}

func (w *rowWriter) Write(b []byte) (int, error) {
	w.start()
	return w.c.Response().Write(b)
}

// more gives the connection another spell; a connection without deadlines needs none.
func (w *rowWriter) more() {
	now := time.Now()
	_ = w.control.SetReadDeadline(now.Add(w.cfg.ReadTimeout))
	_ = w.control.SetWriteDeadline(now.Add(w.cfg.WriteTimeout))
	if w.started {
		_ = w.control.Flush()
	}
}
