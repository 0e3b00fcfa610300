package api

import (
	"encoding/base64"
	"fmt"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/labstack/echo/v4"

	"denwright/care/quantity"
	"denwright/sizing"
)

// query reads the parameters of a request and collects what is wrong with them.
// A parameter that nothing asked for is an error too.
type query struct {
	path   func(name string) string
	values url.Values
	asked  []string
	bad    []sizing.Problem
}

func newQuery(c echo.Context) *query {
	values, err := url.ParseQuery(c.Request().URL.RawQuery)
	q := &query{path: func(name string) string { return pathParam(c, name) }, values: values}
	if err != nil {
		q.add("?", "can't be read: a % or ; stands where it may not", "escape the query as RFC 3986 says")
	}
	return q
}

func (q *query) add(field, reason, remedy string) {
	q.bad = append(q.bad, sizing.Problem{Field: field, Reason: reason, Remedy: remedy})
}

// text is a parameter of at most 200 bytes; given tells an empty one from none.
func (q *query) text(name string) (value string, given bool) {
	q.asked = append(q.asked, name)
	all := q.values[name]
	if len(all) == 0 {
		return "", false
	}
	switch value = all[0]; {
	case len(all) > 1:
		q.add("?"+name, fmt.Sprintf("is given %d times", len(all)), "give it once")
	case value == "":
		q.add("?"+name, "is empty", "give a value, or leave it out")
	case !utf8.ValidString(value):
		q.add("?"+name, "is not UTF-8", "encode it as UTF-8 before escaping")
	case len(value) > 200:
		q.add("?"+name, fmt.Sprintf("is %d bytes long", len(value)), "use at most 200 bytes")
	default:
		return value, true
	}
	return "", false
}

// oneOf is a parameter that must be one of the words allowed; empty when left out.
func oneOf[T ~string](q *query, name string, allowed []T) T {
	v, given := q.text(name)
	if given && !slices.Contains(allowed, T(v)) {
		words := make([]string, len(allowed))
		for i, a := range allowed {
			words[i] = string(a)
		}
		q.add("?"+name, fmt.Sprintf("is %q", v), "use one of "+strings.Join(words, ", "))
		return ""
	}
	return T(v)
}

func (q *query) units() quantity.System {
	if oneOf(q, "units", []string{"metric", "imperial"}) == "imperial" {
		return quantity.Imperial
	}
	return quantity.Metric
}

// Limits of a page.
const (
	defaultLimit = 50
	maxLimit     = 200
)

func (q *query) limit() int {
	v, given := q.text("limit")
	if !given {
		return defaultLimit
	}
	n, err := strconv.Atoi(v)
	if err != nil || n < 1 || n > maxLimit {
		q.add("?limit", fmt.Sprintf("is %q", v), fmt.Sprintf("give a whole number from 1 to %d", maxLimit))
	}
	return n
}

// done reports every bad parameter, or nil.
func (q *query) done() error {
	for name := range q.values {
		if !slices.Contains(q.asked, name) {
			q.add("?"+name, "is not a parameter here", "use "+strings.Join(q.asked, ", "))
		}
	}
	if len(q.bad) == 0 {
		return nil
	}
	slices.SortStableFunc(q.bad, func(a, b sizing.Problem) int { return strings.Compare(a.Field, b.Field) })
	return &Problem{kind: invalidParameter, detail: count(len(q.bad), "parameter is", "parameters are") + " not valid; see errors", errors: q.bad}
}

func count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return strconv.Itoa(n) + " " + many
}

// page is a part of a list, and where the next part begins.
type page[T any] struct {
	part  []T
	total int
	next  string
}

// paged cuts the part that follows the cursor out of a list in ascending order of
// key. The cursor holds the last key of the part before, so that it stays good when
// the catalogue changes between two pages.
func paged[T any](q *query, all []T, key func(T) string) page[T] {
	limit, after := q.limit(), ""
	if v, given := q.text("cursor"); given {
		var ok bool
		if after, ok = openCursor(v); !ok {
			q.add("?cursor", "is not a cursor", "use next_cursor of the page before, or leave it out")
		}
	}
	out := page[T]{total: len(all)}
	start, _ := slices.BinarySearchFunc(all, after, func(e T, after string) int {
		if key(e) <= after {
			return -1
		}
		return 1
	})
	end := min(len(all), start+max(limit, 1))
	out.part = all[start:end]
	if end < len(all) {
		out.next = cursor(key(all[end-1]))
	}
	return out
}

const cursorMark = "after:"

func cursor(key string) string {
	return base64.RawURLEncoding.EncodeToString([]byte(cursorMark + key))
}

func openCursor(s string) (key string, ok bool) {
	b, err := base64.RawURLEncoding.Strict().DecodeString(s)
	if err != nil || !utf8.Valid(b) {
		return "", false
	}
	return strings.CutPrefix(string(b), cursorMark)
}
