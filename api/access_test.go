package api

import (
	"bufio"
	"errors"
	"fmt"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/labstack/echo/v4"

	"denwright/care"
	"denwright/care/store"
)

// What the store fails with, and what a client is told.
func TestStoreProblems(t *testing.T) {
	driver := errors.New("driver at db.example.org")
	lost := &store.Unavailable{RetryAfter: 1500 * time.Millisecond, Cause: driver}
	full := &store.Unavailable{RetryAfter: time.Minute, Full: true, Cause: driver}
	record := &care.RecordError{File: "species/x.yaml", Field: "id", Reason: "is missing"}
	for _, tt := range []struct {
		err    error
		kind   *problemKind
		detail string
		retry  string
	}{
		{errors.Join(fmt.Errorf("%w: needs the role admin", store.ErrForbidden)), notAllowed, "needs the role admin", ""},
		{fmt.Errorf("%w: %w", store.ErrNotFound, driver), unknownName, "your organisation holds no such record", ""},
		{store.ErrTokenReused, tokenReused, "", ""},
		{fmt.Errorf("%w: this is the last admin key", store.ErrStale), overtaken, "this is the last admin key", ""},
		{fmt.Errorf("%w: too many at once: %w", store.ErrStale, driver), overtaken, "", ""},
		{errors.Join(fmt.Errorf("%w: a, b", store.ErrInvalid), driver), invalidQuestion, "", ""},
		{fmt.Errorf("%w: %w", store.ErrInvalid, errors.Join(record, record)), catalogueRefused, "2 faults in the records; see faults", ""},
		{fmt.Errorf("read: %w", lost), databaseUnavailable, "", "2"},
		{full, databaseFull, "", "60"},
		{fmt.Errorf("%w: version 9", store.ErrSchema), databaseUnavailable, "The database is of another version of this program; its operator must bring the two together.", "60"},
		{driver, internalError, "", ""},
	} {
		s := newServer(t)
		w := httptest.NewRecorder()
		c := echo.New().NewContext(httptest.NewRequest("GET", "/", nil), w)
		w.Header().Set("X-Request-ID", "x")
		s.fail(s.storeProblem(c, tt.err), c)
		p := problemOf(t, w)
		if tt.detail == "" {
			tt.detail = tt.kind.about
		}
		if p.Type != "/problems/"+tt.kind.name || p.Detail != tt.detail || w.Header().Get("Retry-After") != tt.retry {
			t.Errorf("%v: %s, %q, retry %q", tt.err, p.Type, p.Detail, w.Header().Get("Retry-After"))
		}
		if strings.Contains(w.Body.String(), "driver") {
			t.Errorf("%v: told %s", tt.err, w.Body)
		}
	}
}

// A key is shown once, works at once, and is dead once revoked; the last admin key stays.
func TestKeys(t *testing.T) {
	d := newDen(t)
	made := d.must(t, store.Admin, "POST", "/v1/keys", `{"holder":"Rosa Quill","role":"keeper"}`)
	secret, id := made["secret"].(string), made["id"].(string)
	whose := func() *httptest.ResponseRecorder {
		return d.send(t, "GET", "/v1/organisation", "", "Authorization", "bearer  "+secret)
	}
	w := whose()
	got, _ := decoded(t, w.Body.Bytes()).(map[string]any)
	if w.Code != 200 || got["name"] != rescue || got["key"].(map[string]any)["holder"] != "Rosa Quill" || strings.Contains(w.Body.String(), secret) {
		t.Errorf("%d %s", w.Code, w.Body)
	}
	for _, target := range []string{"/v1/keys", "/v1/audit-trail", "/v1/organisation/export"} {
		if body := d.as(t, rescue, store.Admin, "GET", target, "").Body.String(); !strings.Contains(body, id) || strings.Contains(body, "dwk_") {
			t.Errorf("%s: the key's id must be there, its secret not: %.300s", target, body)
		}
	}
	for range 2 {
		if k := d.must(t, store.Admin, "DELETE", "/v1/keys/"+id, ""); k["revoked_at"] == nil {
			t.Errorf("%v", k)
		}
	}
	if w := whose(); w.Code != 401 || !strings.Contains(w.Header().Get("WWW-Authenticate"), "invalid_token") {
		t.Errorf("revoked: %d %v", w.Code, w.Header())
	}
	p := d.refused(t, overtaken, nil, store.Admin, "DELETE", "/v1/keys/"+d.of[rescue].keyID[store.Admin], "")
	if p.Detail != "this is the last admin key" {
		t.Errorf("%q", p.Detail)
	}
}

// An export holds all that is the organisation's and nothing of another's; after the
// deletion, which wants the name, nothing of it is left.
func TestExportAndDeletion(t *testing.T) {
	d := newDen(t)
	kinds := map[string]int{}
	export := d.as(t, rescue, store.Admin, "GET", "/v1/organisation/export", "")
	for lines := bufio.NewScanner(export.Body); lines.Scan(); {
		kind, _ := decoded(t, lines.Bytes()).(map[string]any)["type"].(string)
		kinds[kind]++
		if strings.Contains(lines.Text(), d.of[society].id) || strings.Contains(lines.Text(), "dwk_") {
			t.Errorf("the export holds %s", lines.Text())
		}
	}
	for kind, least := range map[string]int{"organisation": 1, "key": 6, "setup_version": 1, "assessment": 1, "audit": 8} {
		if kinds[kind] < least {
			t.Errorf("%d lines of %s, want at least %d", kinds[kind], kind, least)
		}
	}
	d.refused(t, invalidQuestion, []string{"/name"}, store.Admin, "POST", "/v1/organisation/deletion", `{"name":"`+society+`"}`)
	d.must(t, store.Reader, "GET", "/v1/setups/"+d.of[rescue].setup, "")
	d.must(t, store.Admin, "POST", "/v1/organisation/deletion", `{"name":"`+rescue+`"}`)
	if w := d.as(t, rescue, store.Admin, "GET", "/v1/organisation", ""); w.Code != 401 {
		t.Errorf("a key of the deleted organisation: %d", w.Code)
	}
	if w := d.as(t, society, store.Reader, "GET", "/v1/setups/"+d.of[society].setup, ""); w.Code != 200 {
		t.Errorf("the other organisation: %d", w.Code)
	}
}
