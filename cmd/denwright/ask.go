package main

import (
	"bytes"
	"fmt"
	"log/slog"
	"net/http"

	"denwright/api"
	"denwright/care/quantity"
	"denwright/sizing"

	"github.com/go-json-experiment/json"
)

// answer is an API response kept in memory.
type answer struct {
	header http.Header
	status int
	body   []byte
}

func (a *answer) Header() http.Header         { return a.header }
func (a *answer) WriteHeader(status int)      { a.status = status }
func (a *answer) Write(b []byte) (int, error) { a.body = append(a.body, b...); return len(b), nil }

// ask puts a request to the API within this process, so that a program gets the
// same JSON, and a person the same checks, from either.
func (p *program) ask(method, path string, body []byte) (*answer, error) {
	r, err := http.NewRequest(method, path, bytes.NewReader(body))
	if err != nil {
		return nil, fmt.Errorf("ask for %s: %w", path, err)
	}
	if body != nil {
		r.Header.Set("Content-Type", "application/json")
	}
	a := &answer{header: http.Header{}, status: http.StatusOK}
	api.New(p.catalogue, slog.New(slog.DiscardHandler)).Handler(api.Config{}).ServeHTTP(a, r)
	return a, nil
}

// pass writes the answer as it is and gives the exit code that goes with it.
func (p *program) pass(a *answer) error {
	if _, err := p.out.Write(append(bytes.TrimRight(a.body, "\n"), '\n')); err != nil {
		return err
	}
	switch {
	case a.status == http.StatusNotFound:
		return exitError(exitNotOne)
	case a.status >= 500:
		return exitError(exitFailed)
	case a.status >= 400:
		return exitError(exitBadInput)
	}
	return nil
}

// refused turns a problem document into the error that names every bad field.
func (a *answer) refused() error {
	var problem struct {
		Detail string           `json:"detail"`
		Title  string           `json:"title"`
		Errors []sizing.Problem `json:"errors"`
	}
	if err := json.Unmarshal(a.body, &problem); err != nil {
		return fmt.Errorf("read the refusal: %w", err)
	}
	if len(problem.Errors) > 0 {
		return sizing.Invalid(problem.Errors)
	}
	return usageError{problem.Title + ": " + problem.Detail}
}

// put sends the JSON of a file to the API within this process, and gives what was
// sent (without what a form left null) and what came back.
func (p *program) put(path, file string, units quantity.System) (raw []byte, told *answer, err error) {
	if raw, err = p.read(file); err != nil {
		return nil, nil, err
	}
	if raw, err = withoutNulls(raw); err != nil {
		return nil, nil, err
	}
	told, err = p.ask(http.MethodPost, path+"?units="+units.String(), raw)
	return raw, told, err
}

// refuse passes a problem document on, or turns it into an error that names every bad field.
func (p *program) refuse(told *answer, asJSON bool) error {
	if asJSON {
		return p.pass(told)
	}
	return told.refused()
}
