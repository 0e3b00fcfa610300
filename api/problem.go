package api

import (
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/go-json-experiment/json"
	"github.com/labstack/echo/v4"

	"denwright/api/pages"
	"denwright/sizing"
)

// problemKind is one kind of problem. Its name makes the type, /problems/<name>,
// which is stable and leads to a page that says the same in words.
type problemKind struct {
	name   string
	status int
	title  string
	about  string // what it means and what to do
}

// The kinds of problem that the service answers with.
var (
	unreadableRequest = &problemKind{"unreadable-request", 400, "The request can't be read",
		"The body is not the JSON that the contract describes: it is empty, cut short or not UTF-8, has something after its end, holds a field that does not exist or a name twice, or a value of the wrong type. Every such field is listed under errors, with the fields that could be read but are out of bounds."}
	invalidParameter = &problemKind{"invalid-parameter", 400, "A parameter is not valid",
		"A query parameter is unknown, given twice or out of bounds. Every such parameter is listed under errors, written as ?name."}
	unknownName = &problemKind{"unknown-name", 404, "No such record",
		"No record has this id, key or name. The nearest are listed as candidates; none is chosen for you."}
	noSuchPath = &problemKind{"no-such-path", 404, "No such path",
		"Nothing is served under this path. /openapi.yaml lists every path."}
	methodNotAllowed = &problemKind{"method-not-allowed", 405, "The method is not allowed here",
		"The path exists, but not for this method. The Allow header lists those that do."}
	tooSlow = &problemKind{"request-too-slow", 408, "The request took too long to arrive",
		"The body did not arrive in time. Send it again."}
	bodyTooLarge = &problemKind{"body-too-large", 413, "The body is too large",
		"A question is at most 1 MB (1,000,000 bytes)."}
	wrongMediaType = &problemKind{"wrong-media-type", 415, "The media type is not accepted",
		"Send a question as Content-Type: application/json, in UTF-8, without Content-Encoding."}
	invalidQuestion = &problemKind{"invalid-question", 422, "The question can't be answered as put",
		"The body was read, but fields are missing, out of bounds, or name something that is not held. Every such field is listed under errors."}
	tooOften = &problemKind{"too-many-requests", 429, "Too many requests",
		"This key or address has asked more often than the service allows. The Retry-After header says in how many seconds it may again."}
	keyNeeded = &problemKind{"key-needed", 401, "A key is needed",
		"What an organisation keeps is shown only to its keys. Send the header Authorization: Bearer and a key that was not revoked. An admin of the organisation makes keys with POST /v1/keys; the first is made on the command line."}
	notAllowed = &problemKind{"not-allowed", 403, "The key does not allow this",
		"The key is good, but its role, or what its organisation may do, is not enough. Roles are reader, keeper, curator and admin; each may do all that those before it may. A draft is reviewed by another curator than its author."}
	overtaken = &problemKind{"overtaken", 409, "The state is another by now",
		"What the request builds on has changed, or never was so. Read it again, and decide again."}
	versionPassed = &problemKind{"version-passed", 412, "The setup has changed since it was read",
		"If-Match names a version that is not the newest. Nothing was changed. Read the setup, and send the change again with its ETag."}
	catalogueRefused = &problemKind{"catalogue-refused", 422, "The catalogue would not hold",
		"The records were checked all together with the texts given, and are refused. Nothing was changed. Every fault is listed under faults, by file and field."}
	tokenReused = &problemKind{"idempotency-key-reused", 422, "The Idempotency-Key was used before",
		"The same Idempotency-Key came with another request. Nothing was changed. Send a new one with a new request, and the old one only with the old request."}
	versionNeeded = &problemKind{"version-needed", 428, "If-Match is needed",
		"A setup is changed or deleted only as it was read: send its ETag as If-Match, so that nobody's change is lost."}
	internalError = &problemKind{"internal-error", 500, "The service failed",
		"The fault is the service's. The log holds the details under the instance given here."}
	tooBusy = &problemKind{"busy", 503, "The service is busy",
		"More questions are being computed than the service takes on at once. Send it again after the seconds in the Retry-After header."}
	notReady = &problemKind{"not-ready", 503, "The service is not ready",
		"No catalogue is loaded yet, or the service is stopping. Try again shortly."}
	noDatabase = &problemKind{"no-database", 501, "There is no database here",
		"The service was started without a database, so that it keeps no setups, keys or revisions. Asking again does not help; its operator can start it with one. Questions are answered as ever."}
	databaseUnavailable = &problemKind{"database-unavailable", 503, "The database can't be reached",
		"Try again after the time in Retry-After. A change that ended so may have been made: repeat it with the same Idempotency-Key, or read first. Questions are answered as ever."}
	databaseFull = &problemKind{"database-full", 507, "The database has no room left",
		"Nothing was changed. The operator must make room; see Retry-After. What is kept can be read, and questions are answered as ever."}
)

var problemKinds = []*problemKind{unreadableRequest, invalidParameter, unknownName, noSuchPath, methodNotAllowed, tooSlow,
	bodyTooLarge, wrongMediaType, invalidQuestion, tooOften, internalError, tooBusy, notReady,
	keyNeeded, notAllowed, overtaken, versionPassed, catalogueRefused, tokenReused, versionNeeded, noDatabase, databaseUnavailable, databaseFull}

// Problem is an error that knows the problem document (RFC 9457) it is answered with.
type Problem struct {
	kind   *problemKind
	detail string
	errors []sizing.Problem
	faults []recordFault // of the records, for catalogueRefused
	// retryAfter is how long a client should wait; no advice when zero.
	retryAfter time.Duration
}

func (p *Problem) Error() string { return p.kind.title + ": " + p.detail }

// problemDocument is Problem on the wire.
type problemDocument struct {
	Type     string `json:"type"`
	Title    string `json:"title"`
	Status   int    `json:"status"`
	Detail   string `json:"detail"`
	Instance string `json:"instance"` // the request's id
	// Errors name every bad field, by JSON pointer into the body; a parameter of the
	// query is written ?name, one of the path {name}, a header Name:.
	Errors []sizing.Problem `json:"errors,omitzero"`
	// Omitted counts the errors beyond the first maxErrors.
	Omitted int `json:"errors_omitted,omitzero"`
	// Faults are those of the records, by file and field.
	Faults        []recordFault `json:"faults,omitzero"`
	FaultsOmitted int           `json:"faults_omitted,omitzero"`
	Catalogue     string        `json:"catalogue_revision,omitzero"`
	Engine        string        `json:"engine_version"`
}

// Bounds of a problem document, which could otherwise outgrow the request.
const (
	maxErrors = 200
	maxReason = 400 // bytes
)

// fail answers with the problem document of an error. Anything that is not a
// Problem or one of echo's routing errors is logged and told as an internal error.
func (s *Server) fail(err error, c echo.Context) {
	if c.Response().Committed {
		return
	}
	var p *Problem
	var routing *echo.HTTPError
	switch {
	case errors.As(err, &p):
	case errors.As(err, &routing) && routing.Code == http.StatusNotFound:
		if site := s.pages.Load(); site != nil && pages.WantsPage(c.Request()) {
			_ = site.NotFound(c) // fails only when the client is gone
			return
		}
		p = &Problem{kind: noSuchPath}
	case errors.As(err, &routing) && routing.Code == http.StatusMethodNotAllowed:
		p = &Problem{kind: methodNotAllowed, detail: c.Request().Method + " is not served here; use " + c.Response().Header().Get(echo.HeaderAllow)}
	default:
		s.log.Error("request failed", "id", c.Response().Header().Get(echo.HeaderXRequestID), "route", c.Path(), "error", err.Error())
		p = &Problem{kind: internalError}
	}
	h := c.Response().Header()
	d := problemDocument{Type: "/problems/" + p.kind.name, Title: p.kind.title, Status: p.kind.status, Detail: p.detail,
		Instance: h.Get(echo.HeaderXRequestID), Errors: slices.Clone(p.errors), Faults: p.faults, Engine: sizing.EngineVersion}
	if d.Detail == "" {
		d.Detail = p.kind.about
	}
	if len(d.Errors) > maxErrors {
		d.Errors, d.Omitted = d.Errors[:maxErrors], len(d.Errors)-maxErrors
	}
	if len(d.Faults) > maxErrors {
		d.Faults, d.FaultsOmitted = d.Faults[:maxErrors], len(d.Faults)-maxErrors
	}
	for i := range d.Errors {
		d.Errors[i].Reason = cut(d.Errors[i].Reason)
	}
	if snap := s.snapshot.Load(); snap != nil {
		d.Catalogue = snap.Revision
	}
	h.Del("ETag")
	h.Set(echo.HeaderCacheControl, "no-store")
	if p.retryAfter > 0 {
		h.Set(echo.HeaderRetryAfter, retrySeconds(p.retryAfter))
	}
	switch p.kind {
	case notReady, tooBusy:
		h.Set(echo.HeaderRetryAfter, "1")
	case tooSlow, bodyTooLarge:
		h.Set(echo.HeaderConnection, "close")
	}
	body, err := json.Marshal(d)
	if err != nil {
		s.log.Error("encode problem", "error", err.Error())
		c.Response().WriteHeader(http.StatusInternalServerError)
		return
	}
	_ = write(c, d.Status, "application/problem+json", body) // write fails only when the client is gone
}

// cut shortens text that may repeat what was sent.
func cut(s string) string {
	if len(s) <= maxReason {
		return s
	}
	end := maxReason
	for !utf8.RuneStart(s[end]) {
		end--
	}
	return s[:end] + " …"
}

// problemPage says in words what a kind of problem means.
func (s *Server) problemPage(c echo.Context) error {
	q := newQuery(c)
	q.units()
	if err := q.done(); err != nil {
		return err
	}
	name := pathParam(c, "name")
	for _, k := range problemKinds {
		if k.name == name {
			c.Response().Header().Set(echo.HeaderCacheControl, "no-cache")
			return write(c, http.StatusOK, "text/plain; charset=utf-8", fmt.Appendf(nil, "%s (%d)\n\n%s\n", k.title, k.status, k.about))
		}
	}
	names := make([]string, len(problemKinds))
	for i, k := range problemKinds {
		names[i] = k.name
	}
	return &Problem{kind: unknownName, detail: fmt.Sprintf("no kind of problem is called %q", name),
		errors: []sizing.Problem{{Field: "{name}", Reason: "is not a kind of problem", Remedy: "use one of " + strings.Join(names, ", ")}}}
}
