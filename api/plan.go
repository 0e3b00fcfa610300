package api

import (
	"errors"
	"fmt"
	"mime"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"denwright/care"
	"denwright/sizing"
	"denwright/sizing/layout"
)

// The representations of a plan, in the order of preference where a client has none.
const (
	svgType      = "image/svg+xml"
	csvType      = "text/csv"
	calendarType = "text/calendar"
)

var planTypes = []string{echo.MIMEApplicationJSON, csvType, svgType, calendarType}

// The lists of a plan that can be had as text/csv.
var planLists = []string{"cuts", "materials", "program"}

// planPart says which part of a plan is asked for.
type planPart struct {
	sheet, list   string
	season, event string
	year          int
}

// plan serves a plan as JSON, and its drawings, lists and calendar by themselves. What
// the question says of units and paper goes before the parameters.
func (s *Server) plan(cfg Config, at *slots) echo.HandlerFunc {
	return func(c echo.Context) error {
		snap := s.snapshot.Load()
		if snap == nil {
			return &Problem{kind: notReady}
		}
		h := c.Response().Header()
		h.Add(echo.HeaderVary, echo.HeaderAccept)
		params := newQuery(c)
		system := params.units()
		part := planPart{sheet: oneOf(params, "sheet", layout.SheetNames), list: oneOf(params, "list", planLists), year: time.Now().Year()}
		paper := oneOf(params, "paper", []string{"a4", "letter"})
		part.season, _ = params.text("season")
		part.event, _ = params.text("event")
		if v, given := params.text("year"); given {
			n, err := strconv.Atoi(v)
			if err != nil || n < 1970 || n > 9998 {
				params.add("?year", fmt.Sprintf("is %q", v), "give a year from 1970 to 9998")
			}
			part.year = n
		}
		if err := params.done(); err != nil {
			return err
		}
		kind := accepted(c.Request().Header.Values(echo.HeaderAccept), planTypes)
		if kind == "" {
			return &Problem{kind: notAcceptable, detail: "This path gives " + strings.Join(planTypes, ", ") + "."}
		}
		a, err := answered(s, snap, c, cfg, at, "PlanQuestion", true, func(k *care.Catalogue, q sizing.PlanQuestion) (*sizing.PlanAnswer, error) {
			if q.Units == "" {
				q.Units = system.String()
			}
			if q.Paper == "" {
				q.Paper = paper
			}
			return sizing.Plan(k, q)
		})
		if err != nil {
			return err
		}
		h.Set(echo.HeaderCacheControl, "no-store")
		if kind == echo.MIMEApplicationJSON {
			return s.send(c, a, system)
		}
		if a.Plan == nil {
			return blocked(a.Blocked)
		}
		name, body, err := part.of(a, kind)
		if err != nil {
			return err
		}
		h.Set(echo.HeaderContentDisposition, `inline; filename="`+name+`"`)
		if kind != svgType { // whose declaration names its encoding
			kind += "; charset=utf-8"
		}
		return write(c, http.StatusOK, kind, body)
	}
}

// of is the part asked for of a plan, as a media type other than JSON, and a file name for it.
func (w planPart) of(a *sizing.PlanAnswer, kind string) (name string, body []byte, err error) {
	switch kind {
	case svgType:
		sheet := w.sheet
		if sheet == "" {
			sheet = layout.SheetNames[0]
		}
		i := slices.IndexFunc(a.Sheets, func(s layout.Sheet) bool { return s.Name == sheet })
		if i < 0 {
			return "", nil, fmt.Errorf("the plan has no sheet %q", sheet)
		}
		return sheet + ".svg", a.Sheets[i].SVG, nil
	case csvType:
		switch w.list {
		case "materials":
			return "materials.csv", a.Plan.MaterialsCSV(a.Units), nil
		case "program":
			return "program.csv", a.Plan.ProgramCSV(), nil
		}
		return "cuts.csv", a.Plan.CutCSV(a.Units), nil
	}
	program := a.Plan.Program
	if w.season != "" {
		var names []string
		for _, s := range program.Seasons {
			names = append(names, s.Name)
		}
		program.Seasons = slices.DeleteFunc(slices.Clone(program.Seasons), func(s layout.SeasonDay) bool { return s.Name != w.season })
		if len(program.Seasons) == 0 {
			return "", nil, badParameter("season", fmt.Sprintf("is %q", w.season), "use one of "+strings.Join(names, ", "))
		}
	}
	var only []string
	if w.event != "" {
		only = []string{w.event}
	}
	body, err = program.Calendar(w.year, only...)
	var bad *layout.InputError
	if errors.As(err, &bad) && bad.Field == "only" {
		return "", nil, badParameter("event", bad.Reason, "use one of "+strings.Join(program.Codes(), ", "))
	}
	return "program.ics", body, err
}

func badParameter(name, reason, remedy string) *Problem {
	return &Problem{kind: invalidParameter, detail: "1 parameter is not valid; see errors", errors: []sizing.Problem{{Field: "?" + name, Reason: reason, Remedy: remedy}}}
}

// blocked words a plan that does not fit, for who asked for a drawing or a list of it.
func blocked(b *sizing.PlanBlocked) *Problem {
	p := &Problem{kind: noPlan, detail: b.Error()}
	remedy := "ask for the JSON answer and change the question"
	if len(b.Changes) > 0 {
		var texts []string
		for _, x := range b.Changes[:min(3, len(b.Changes))] {
			texts = append(texts, x.Text)
		}
		remedy = "one of these frees it: " + strings.Join(texts, "; ")
	}
	p.errors = []sizing.Problem{{Field: "", Reason: b.Reason, Remedy: remedy}}
	return p
}

// accepted chooses the media type that an Accept header (RFC 9110, 12.5.1) likes best,
// of equals the first offered; "" where it takes none. Without the header it is the first.
func accepted(fields, offered []string) string {
	type wish struct {
		kind     string
		quality  float64
		specific int
	}
	var wishes []wish
	for _, field := range fields {
		for one := range strings.SplitSeq(field, ",") {
			kind, params, err := mime.ParseMediaType(one)
			if err != nil {
				continue // an element that can't be read asks for nothing
			}
			w := wish{kind: kind, quality: 1, specific: 2}
			if v, given := params["q"]; given {
				if w.quality, err = strconv.ParseFloat(v, 64); err != nil || !(w.quality >= 0 && w.quality <= 1) {
					continue
				}
			}
			switch {
			case kind == "*/*":
				w.specific = 0
			case strings.HasSuffix(kind, "/*"):
				w.specific = 1
			}
			wishes = append(wishes, w)
		}
	}
	if strings.TrimSpace(strings.Join(fields, "")) == "" {
		return offered[0]
	}
	best, most := "", 0.0
	for _, o := range offered {
		quality, specific := 0.0, -1 // the most specific range that matches decides
		for _, w := range wishes {
			matches := w.kind == o || w.specific == 0 || w.specific == 1 && strings.HasPrefix(o, strings.TrimSuffix(w.kind, "*"))
			if matches && w.specific > specific {
				quality, specific = w.quality, w.specific
			}
		}
		if quality > most {
			best, most = o, quality
		}
	}
	return best
}
