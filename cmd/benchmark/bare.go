package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"reflect"

	"log/slog"

	"github.com/labstack/echo/v4"

	"denwright/api"
	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing"
)

// route is a question measured against a bare handler.
type route struct {
	path             string
	question, answer reflect.Type
}

var routes = []route{
	{"/v1/sizings", reflect.TypeFor[sizing.Question](), reflect.TypeFor[sizing.Requirement]()},
	{"/v1/assessments", reflect.TypeFor[sizing.AssessmentQuestion](), reflect.TypeFor[sizing.Assessment]()},
	{"/v1/climates", reflect.TypeFor[sizing.ClimateQuestion](), reflect.TypeFor[sizing.ClimateAnswer]()},
}

// bareHandler serves each route with Echo's own binder and encoder: it decodes the
// body into plain types of the same shape and encodes a fixed answer. It checks
// nothing, computes nothing, logs nothing and sets no headers of its own. The answer
// is one of the service's, of the size nearest to their mean.
func bareHandler() (http.Handler, error) {
	c, err := care.Embedded()
	if err != nil {
		return nil, err
	}
	ours := api.New(c, slog.New(slog.DiscardHandler)).Handler(api.Config{})
	e := echo.New()
	for _, r := range routes {
		fixed, err := r.typical(ours, c)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", r.path, err)
		}
		question := plain(r.question, nil)
		e.POST(r.path, func(c echo.Context) error {
			if err := c.Bind(reflect.New(question).Interface()); err != nil {
				return err
			}
			return c.JSON(http.StatusOK, fixed)
		})
	}
	return e, nil
}

// typical is the answer nearest to the mean size, in plain types.
func (r *route) typical(ours http.Handler, c *care.Catalogue) (any, error) {
	var answers [][]byte
	total := 0
	for _, body := range bodies(c, r.path) {
		w := httptest.NewRecorder()
		q := httptest.NewRequest(http.MethodPost, r.path, bytes.NewReader(body))
		q.Header.Set(echo.HeaderContentType, echo.MIMEApplicationJSON)
		ours.ServeHTTP(w, q)
		if w.Code != http.StatusOK {
			return nil, fmt.Errorf("%s answers %d %s", body, w.Code, w.Body)
		}
		answers = append(answers, w.Body.Bytes())
		total += w.Body.Len()
	}
	mean := total / len(answers)
	best := answers[0]
	for _, a := range answers {
		if distance(len(a), mean) < distance(len(best), mean) {
			best = a
		}
	}
	fixed := reflect.New(plain(r.answer, nil)).Interface()
	return fixed, json.Unmarshal(best, fixed)
}

func distance(a, b int) int { return max(a-b, b-a) }

// plainQuantity and plainBand are how anyone would write a figure with its unit.
type plainQuantity struct {
	Value float64 `json:"value"`
	Unit  string  `json:"unit"`
}

type plainBand struct {
	Low  *float64 `json:"low,omitempty"`
	High *float64 `json:"high,omitempty"`
	Unit string   `json:"unit"`
}

// plain is a type of the same shape on the wire, without methods: figures as numbers
// beside their units, words as text. A type within itself becomes raw JSON.
func plain(t reflect.Type, within []reflect.Type) reflect.Type {
	valuer := reflect.TypeFor[quantity.Valuer]()
	switch {
	case t == reflect.TypeFor[quantity.Band]():
		return reflect.TypeFor[plainBand]()
	case t.Kind() != reflect.Pointer && t.Implements(valuer):
		return reflect.TypeFor[plainQuantity]()
	}
	for _, outer := range within {
		if t == outer {
			return reflect.TypeFor[json.RawMessage]()
		}
	}
	within = append(within, t)
	switch t.Kind() {
	case reflect.Pointer:
		return reflect.PointerTo(plain(t.Elem(), within))
	case reflect.Slice:
		return reflect.SliceOf(plain(t.Elem(), within))
	case reflect.Map:
		return reflect.MapOf(reflect.TypeFor[string](), plain(t.Elem(), within))
	case reflect.String:
		return reflect.TypeFor[string]()
	case reflect.Struct:
		return reflect.StructOf(plainFields(t, within))
	}
	return t
}

func plainFields(t reflect.Type, within []reflect.Type) (out []reflect.StructField) {
	for i := range t.NumField() {
		switch f := t.Field(i); {
		case f.Anonymous && f.Tag.Get("json") == "" && f.Type.Kind() == reflect.Struct:
			out = append(out, plainFields(f.Type, within)...)
		case f.IsExported():
			out = append(out, reflect.StructField{Name: f.Name, Type: plain(f.Type, within), Tag: f.Tag})
		}
	}
	return out
}
