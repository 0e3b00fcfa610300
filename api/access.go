package api

import (
	"cmp"
	"context"
	"encoding/base64"
	"errors"
	"fmt"
	"math"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
	"github.com/labstack/echo/v4"

	"denwright/api/saved"
	"denwright/care"
	"denwright/care/quantity"
	"denwright/care/store"
	"denwright/sizing"
)

// visit is one request on behalf of a key.
type visit struct {
	s      *Server
	c      echo.Context
	cfg    Config
	at     *slots
	st     *store.Store
	who    store.Caller
	q      *query
	system quantity.System
}

func (v *visit) ctx() context.Context { return v.c.Request().Context() }

// kept serves a request that needs the store: it finds whose key came with it,
// refuses one below the role, and words what the store refuses. The store asks for
// the role again, and alone knows what belongs to whom.
func (s *Server) kept(cfg Config, at *slots, least store.Role, f func(*visit) error) echo.HandlerFunc {
	return func(c echo.Context) error {
		// What an organisation keeps is nobody else's, shared caches included.
		c.Response().Header().Set(echo.HeaderCacheControl, "no-store")
		if cfg.Store == nil {
			return &Problem{kind: noDatabase}
		}
		challenge := `Bearer realm="denwright"`
		c.Response().Header().Set(echo.HeaderWWWAuthenticate, challenge)
		secret, given := bearer(c.Request())
		if !given {
			return &Problem{kind: keyNeeded, detail: "no key came with the request; send Authorization: Bearer and the key"}
		}
		who, err := cfg.Store.Authenticate(c.Request().Context(), secret)
		if errors.Is(err, store.ErrUnauthenticated) {
			c.Response().Header().Set(echo.HeaderWWWAuthenticate, challenge+`, error="invalid_token"`)
			return &Problem{kind: keyNeeded, detail: "the key is unknown or was revoked"}
		}
		c.Response().Header().Del(echo.HeaderWWWAuthenticate)
		if err != nil {
			return s.storeProblem(c, err)
		}
		if slices.Index(store.Roles, who.Role) < slices.Index(store.Roles, least) {
			return &Problem{kind: notAllowed, detail: fmt.Sprintf("this needs the role %s; the key has the role %s", least, who.Role)}
		}
		v := &visit{s: s, c: c, cfg: cfg, at: at, st: cfg.Store, who: who, q: newQuery(c)}
		v.system = v.q.units()
		if err := f(v); err != nil {
			return s.storeProblem(c, err)
		}
		return nil
	}
}

// bearer reads the key out of the Authorization header (RFC 6750, 2.1).
func bearer(r *http.Request) (secret string, given bool) {
	all := r.Header.Values(echo.HeaderAuthorization)
	if len(all) != 1 {
		return "", false
	}
	scheme, secret, _ := strings.Cut(all[0], " ")
	secret = strings.TrimSpace(secret)
	return secret, strings.EqualFold(scheme, "Bearer") && secret != ""
}

// storeProblem classifies what the store and the work on saved setups fail with.
// What is neither theirs nor a Problem stays a fault of the service.
func (s *Server) storeProblem(c echo.Context, err error) error {
	var known *Problem
	var lost *store.Unavailable
	var refused *saved.Refused
	switch {
	case errors.As(err, &known):
		return err
	case errors.As(err, &refused):
		return &Problem{kind: invalidQuestion, detail: "setup " + refused.Setup + " was saved, but can't be assessed any more; correct or delete it",
			errors: []sizing.Problem{{Field: "", Reason: refused.Why.Error(), Remedy: "save setup " + refused.Setup + " with what is named here corrected, or delete it"}}}
	case errors.Is(err, store.ErrForbidden):
		return &Problem{kind: notAllowed, detail: ownWords(err)}
	case errors.Is(err, store.ErrNotFound):
		return notHeld(`{id}`, "")
	case errors.Is(err, store.ErrTokenReused):
		return &Problem{kind: tokenReused}
	case errors.Is(err, store.ErrStale):
		return &Problem{kind: overtaken, detail: ownWords(err)}
	case errors.Is(err, store.ErrInvalid):
		if faults := recordFaults(err); len(faults) > 0 {
			return &Problem{kind: catalogueRefused, detail: count(len(faults), "fault", "faults") + " in the records; see faults", faults: faults}
		}
		words := ownWords(err)
		return &Problem{kind: invalidQuestion, detail: words, errors: []sizing.Problem{{Field: "", Reason: cmp.Or(words, "can't be stored as put")}}}
	case errors.As(err, &lost):
		// The driver's words name hosts and users: they are for the log alone.
		s.log.Warn("database unavailable", "id", c.Response().Header().Get(echo.HeaderXRequestID), "route", c.Path(), "error", err.Error())
		p := &Problem{kind: databaseUnavailable, retryAfter: lost.RetryAfter}
		if lost.Full {
			p.kind = databaseFull
		}
		return p
	case errors.Is(err, store.ErrSchema):
		s.log.Error("database unfit", "id", c.Response().Header().Get(echo.HeaderXRequestID), "route", c.Path(), "error", err.Error())
		return &Problem{kind: databaseUnavailable, detail: "The database is of another version of this program; its operator must bring the two together.", retryAfter: time.Minute}
	case errors.Is(err, context.Canceled) && c.Request().Context().Err() != nil:
		return &Problem{kind: databaseUnavailable, detail: "the client went away", retryAfter: time.Second} // nobody reads it
	}
	return err
}

// ownWords is what the store says of an error beyond its kind. An error that joins
// another one may repeat what a driver said, and is not told.
func ownWords(err error) string {
	text := err.Error()
	for err != nil {
		switch e := err.(type) {
		case interface{ Unwrap() []error }:
			if len(e.Unwrap()) != 1 {
				return ""
			}
			err = e.Unwrap()[0]
		default:
			err = errors.Unwrap(err)
		}
	}
	_, words, _ := strings.Cut(text, ": ")
	return words
}

// recordFault is a bad field of a catalogue file.
type recordFault struct {
	File   string `json:"file"`
	Field  string `json:"field,omitzero"`
	Reason string `json:"reason"`
}

// recordFaults collects every *care.RecordError of an error.
func recordFaults(err error) (out []recordFault) {
	switch e := err.(type) {
	case *care.RecordError:
		return []recordFault{{e.File, e.Field, cut(e.Reason)}}
	case interface{ Unwrap() []error }:
		for _, one := range e.Unwrap() {
			out = append(out, recordFaults(one)...)
		}
	case interface{ Unwrap() error }:
		return recordFaults(e.Unwrap())
	}
	return out
}

// notHeld is what is not there, or not the caller's: the two can't be told apart.
func notHeld(field, what string) *Problem {
	if what == "" {
		what = "record"
	}
	return &Problem{kind: unknownName, detail: "your organisation holds no such " + what,
		errors: []sizing.Problem{{Field: field, Reason: "is not the id of a " + what + " that your organisation holds", Remedy: "use an id from the list"}}}
}

// id is the {id} of the path. What has not the form of one is held by nobody.
func (v *visit) id(what string) (string, error) {
	id := v.q.path("id")
	if err := v.q.done(); err != nil {
		return "", err
	}
	if !isID(id) {
		return "", notHeld("{id}", what)
	}
	return id, nil
}

// isID tells a UUID as the store writes it.
func isID(s string) bool {
	if len(s) != 36 {
		return false
	}
	for i, c := range []byte(s) {
		if dash := i == 8 || i == 13 || i == 18 || i == 23; dash != (c == '-') || !dash && (c < '0' || c > '9') && (c < 'a' || c > 'f') {
			return false
		}
	}
	return true
}

// plain is a text parameter without control characters, which no stored text holds.
func (v *visit) plain(name string) string {
	text, _ := v.q.text(name)
	if strings.ContainsFunc(text, isControl) {
		v.q.add("?"+name, "holds a control character", "leave it out")
	}
	return text
}

func isControl(c rune) bool { return c < ' ' || c == 0x7f }

// page reads limit and cursor.
func (v *visit) page() store.Page {
	p := store.Page{Limit: v.q.limit()}
	p.Cursor, _ = v.q.text("cursor")
	raw, err := base64.RawURLEncoding.DecodeString(p.Cursor)
	if err != nil || len(raw) > 64 || strings.ContainsFunc(string(raw), isControl) {
		v.badCursor()
	}
	return p
}

func (v *visit) badCursor() {
	v.q.add("?cursor", "is not a cursor", "use next_cursor of the page before, or leave it out")
}

// pageOf is one page of a list of the store, each entry as it is shown.
func pageOf[T, W any](v *visit, list store.List[T], err error, show func(T) (W, error)) (items []W, next string, _ error) {
	if errors.Is(err, store.ErrInvalid) { // all else was checked before
		v.badCursor()
		return nil, "", v.q.done()
	}
	items = make([]W, len(list.Items))
	for i, e := range list.Items {
		if err != nil {
			break
		}
		items[i], err = show(e)
	}
	return items, list.Next, err
}

// token is the Idempotency-Key. It holds no space, as those do that the program
// itself makes.
func (v *visit) token() (string, error) {
	all := v.c.Request().Header.Values("Idempotency-Key")
	if len(all) == 0 {
		return "", nil
	}
	if t := all[0]; len(all) == 1 && t != "" && len(t) <= 200 && !strings.ContainsFunc(t, func(c rune) bool { return c <= ' ' || c > '~' }) {
		return t, nil
	}
	return "", &Problem{kind: invalidParameter, detail: "1 header is not valid; see errors",
		errors: []sizing.Problem{{Field: "Idempotency-Key:", Reason: "is not a key", Remedy: "send 1 to 200 visible ASCII characters, such as a UUID, once"}}}
}

// version is the version of a setup that If-Match names.
func (v *visit) version() (int64, error) {
	all := v.c.Request().Header.Values("If-Match")
	if len(all) == 0 {
		return 0, &Problem{kind: versionNeeded}
	}
	n, err := store.ParseETag(all[0])
	if err != nil || len(all) > 1 {
		return 0, &Problem{kind: invalidParameter, detail: "1 header is not valid; see errors",
			errors: []sizing.Problem{{Field: "If-Match:", Reason: "is not the ETag of a setup", Remedy: `send the ETag of the setup as it was read, such as "3", once`}}}
	}
	return n, nil
}

// take reads the body, held against a schema of the contract, and works it.
func take[Q, A any](v *visit, schema string, answer func(*care.Catalogue, Q) (A, error)) (a A, err error) {
	snap := v.s.snapshot.Load()
	if snap == nil {
		snap = &snapshot{} // what needs the catalogue has asked for it before
	}
	body, err := readBody(v.c, v.cfg.MaxBodyBytes)
	if err != nil {
		return a, err
	}
	if err := v.at.take(v.ctx()); err != nil {
		return a, err
	}
	defer v.at.give()
	return examined(v.s, snap, schema, true, body, answer)
}

// takeAs is take where the body needs no more than its schema and a few checks.
func takeAs[Q any](v *visit, schema string, check func(Q) sizing.Invalid) (Q, error) {
	return take(v, schema, func(_ *care.Catalogue, q Q) (Q, error) {
		if bad := check(q); len(bad) > 0 {
			return q, bad
		}
		return q, nil
	})
}

// bodyless refuses a body where none is read.
func (v *visit) bodyless() error {
	if v.c.Request().ContentLength != 0 {
		return &Problem{kind: unreadableRequest, detail: "this request takes no body", errors: []sizing.Problem{{Field: "", Reason: "there is a body", Remedy: "send none"}}}
	}
	return nil
}

// maxLine bounds a line of text that is stored, in bytes; the store's own bound.
const maxLine = 500

// line checks a line of text that is stored.
func line(field, text string) sizing.Invalid {
	switch {
	case strings.TrimSpace(text) == "":
		return sizing.Invalid{{Field: field, Reason: "is blank", Remedy: "give a line of text"}}
	case strings.ContainsFunc(text, isControl):
		return sizing.Invalid{{Field: field, Reason: "holds a control character or a line break", Remedy: "give one line of plain text"}}
	case len(text) > maxLine:
		return sizing.Invalid{{Field: field, Reason: fmt.Sprintf("is %d bytes long", len(text)), Remedy: fmt.Sprintf("use at most %d bytes", maxLine)}}
	}
	return nil
}

// answer sends an answer as JSON.
func (v *visit) answer(status int, a any) error {
	body, err := json.Marshal(a, v.s.encoding[v.system])
	if err != nil {
		return fmt.Errorf("encode: %w", err)
	}
	return write(v.c, status, echo.MIMEApplicationJSON, body)
}

// wireKey is a key without its secret, or, once, with it.
type wireKey struct {
	ID        string     `json:"id"`
	Holder    string     `json:"holder"`
	Role      store.Role `json:"role"`
	CreatedAt time.Time  `json:"created_at"`
	CreatedBy string     `json:"created_by"`
	RevokedAt *time.Time `json:"revoked_at,omitzero"`
	RevokedBy string     `json:"revoked_by,omitzero"`
	Secret    string     `json:"secret,omitzero"`
}

func showKey(k store.Key) (wireKey, error) {
	return wireKey{k.ID, k.Holder, k.Role, k.CreatedAt, k.CreatedBy, k.RevokedAt, k.RevokedBy, ""}, nil
}

type keyInput struct {
	Holder string     `json:"holder"`
	Role   store.Role `json:"role"`
}

func createKey(v *visit) error {
	token, err := v.token()
	if err := errors.Join(err, v.q.done()); err != nil {
		return err
	}
	in, err := takeAs(v, "KeyInput", func(in keyInput) sizing.Invalid { return line("/holder", in.Holder) })
	if err != nil {
		return err
	}
	k, secret, err := v.st.CreateKey(v.ctx(), v.who, "", token, in.Holder, in.Role)
	if err != nil {
		return err
	}
	out, err := showKey(k)
	out.Secret = secret
	return errors.Join(err, v.answer(http.StatusCreated, out))
}

type keyPage struct {
	Keys []wireKey `json:"keys"`
	Next string    `json:"next_cursor,omitzero"`
}

func keyList(v *visit) error {
	p := v.page()
	if err := v.q.done(); err != nil {
		return err
	}
	list, err := v.st.Keys(v.ctx(), v.who, "", p)
	items, next, err := pageOf(v, list, err, showKey)
	if err != nil {
		return err
	}
	return v.answer(http.StatusOK, keyPage{items, next})
}

func revokeKey(v *visit) error {
	id, err := v.id("key")
	if err != nil {
		return err
	}
	k, err := v.st.RevokeKey(v.ctx(), v.who, "", id)
	if errors.Is(err, store.ErrNotFound) {
		return notHeld("{id}", "key")
	}
	if err != nil {
		return err
	}
	out, err := showKey(k)
	return errors.Join(err, v.answer(http.StatusOK, out))
}

type organisation struct {
	ID        string     `json:"id"`
	Name      string     `json:"name"`
	Curates   bool       `json:"curates"`
	CreatedAt time.Time  `json:"created_at"`
	Key       callersKey `json:"key"`
}

// callersKey is the key that the request came with.
type callersKey struct {
	ID     string     `json:"id"`
	Holder string     `json:"holder"`
	Role   store.Role `json:"role"`
}

func ownOrganisation(v *visit) error {
	if err := v.q.done(); err != nil {
		return err
	}
	o, err := saved.Organisation(v.ctx(), v.st, v.who)
	if err != nil {
		return err
	}
	return v.answer(http.StatusOK, organisation{o.ID, o.Name, o.Curates, o.CreatedAt, callersKey{v.who.Key, v.who.Holder, v.who.Role}})
}

// exportOrganisation streams all that is kept of an organisation.
func exportOrganisation(v *visit) error {
	if err := v.q.done(); err != nil {
		return err
	}
	h := v.c.Response().Header()
	h.Set(echo.HeaderContentDisposition, `attachment; filename="denwright-export.ndjson"`)
	rows := &rowWriter{c: v.c, mediaType: mediaTypes["ndjson"], control: http.NewResponseController(v.c.Response()), cfg: v.cfg}
	n := 0
	err := v.st.Export(v.ctx(), v.who, "", func(line []byte) error {
		if v.c.Request().Method == http.MethodHead {
			rows.start()
			return errHead
		}
		if n%64 == 0 {
			rows.more() // a long export has as much time as it makes progress
		}
		n++
		_, err := rows.Write(line)
		return err
	})
	switch {
	case err == nil, errors.Is(err, errHead):
		return nil
	case !rows.started:
		h.Del(echo.HeaderContentDisposition)
		return err
	}
	v.s.log.Warn("export broke off", "id", h.Get(echo.HeaderXRequestID), "error", err.Error())
	panic(http.ErrAbortHandler) // so that the client sees a broken answer, not a short one
}

// errHead ends an export of which only the header was asked.
var errHead = errors.New("only the header was asked")

type deletion struct {
	Name string `json:"name"`
}

func deleteOrganisation(v *visit) error {
	if err := v.q.done(); err != nil {
		return err
	}
	in, err := takeAs(v, "Deletion", func(in deletion) sizing.Invalid { return line("/name", in.Name) })
	if err != nil {
		return err
	}
	err = v.st.DeleteOrganisation(v.ctx(), v.who, "", in.Name)
	if errors.Is(err, store.ErrInvalid) {
		return &Problem{kind: invalidQuestion, detail: "nothing was deleted",
			errors: []sizing.Problem{{Field: "/name", Reason: "is not the name of your organisation", Remedy: "repeat the name that GET /v1/organisation gives"}}}
	}
	if err != nil {
		return err
	}
	return v.c.NoContent(http.StatusNoContent)
}

type auditEntry struct {
	Seq     int64          `json:"seq"`
	At      time.Time      `json:"at"`
	Actor   string         `json:"actor"`
	Holder  string         `json:"holder"`
	Action  string         `json:"action"`
	Subject string         `json:"subject"`
	Detail  jsontext.Value `json:"detail,omitzero"`
}

type auditPage struct {
	Entries []auditEntry `json:"entries"`
	Next    string       `json:"next_cursor,omitzero"`
}

func auditTrail(v *visit) error {
	p := v.page()
	if err := v.q.done(); err != nil {
		return err
	}
	list, err := v.st.AuditTrail(v.ctx(), v.who, "", p)
	items, next, err := pageOf(v, list, err, func(e store.Entry) (auditEntry, error) {
		out := auditEntry{e.Seq, e.At, e.Actor, e.Holder, e.Action, e.Subject, jsontext.Value(e.Detail)}
		if string(e.Detail) == "null" {
			out.Detail = nil
		}
		return out, nil
	})
	if err != nil {
		return err
	}
	return v.answer(http.StatusOK, auditPage{items, next})
}

// retrySeconds is a wait as Retry-After writes it.
func retrySeconds(d time.Duration) string { return strconv.Itoa(max(1, int(math.Ceil(d.Seconds())))) }
