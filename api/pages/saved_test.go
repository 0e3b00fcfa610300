package pages

import (
	"archive/zip"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"html"
	"io"
	"io/fs"
	"log/slog"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/labstack/echo/v4"

	"denwright/care"
	"denwright/care/store"
	"denwright/sizing"
)

// house is a site over a store of its own, with a key of each role in an organisation
// that curates and one that does not.
type house struct {
	t      *testing.T
	h      http.Handler
	st     *store.Store
	keys   map[string]string // role, or "foreign role" → secret
	ids    map[string]string // the same → id of the key
	orgs   map[string]string // "own", "foreign" → id
	change func(*care.Catalogue)
}

func openHouse(t *testing.T) *house {
	t.Helper()
	files, err := care.EmbeddedFiles()
	if err != nil {
		t.Fatal(err)
	}
	st, err := store.Open(store.Config{Database: filepath.Join(t.TempDir(), "d.db"), Embedded: files, Migrate: true})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = st.Close() })
	h := &house{t: t, st: st, keys: map[string]string{}, ids: map[string]string{}, orgs: map[string]string{}}
	ctx, operator := context.Background(), store.Operator("operator")
	for prefix, o := range map[string]struct {
		name    string
		curates bool
	}{"": {"Saltmarsh Lane Rescue", true}, "foreign ": {"Harrowmere Society", false}} {
		org, err := st.CreateOrganisation(ctx, operator, o.name, o.curates)
		if err != nil {
			t.Fatal(err)
		}
		h.orgs[prefix] = org.ID
		for _, role := range store.Roles {
			h.key(prefix+string(role), prefix+string(role)+" person", org.ID, role)
		}
	}
	h.key("second", "second person", h.orgs[""], store.Curator)
	h.site(st)
	return h
}

func (h *house) key(name, holder, org string, role store.Role) {
	h.t.Helper()
	k, secret, err := h.st.CreateKey(context.Background(), store.Operator("operator"), org, "", holder, role)
	if err != nil {
		h.t.Fatal(err)
	}
	h.keys[name], h.ids[name] = secret, k.ID
}

func (h *house) site(st *store.Store) {
	h.t.Helper()
	c, err := h.st.Snapshot(context.Background())
	if err != nil {
		h.t.Fatal(err)
	}
	snap := Snapshot{Catalogue: c, Matcher: sizing.NewMatcher(c)}
	e := echo.New()
	New(Config{Log: slog.New(slog.NewTextHandler(io.Discard, nil)), Store: st, Snapshot: func() (Snapshot, bool) { return snap, true }}).Routes(e)
	h.h = e
	h.change = func(c *care.Catalogue) { snap = Snapshot{Catalogue: c, Matcher: sizing.NewMatcher(c)} }
}

func (h *house) caller(name string) store.Caller {
	h.t.Helper()
	who, err := h.st.Authenticate(context.Background(), h.keys[name])
	if err != nil {
		h.t.Fatal(err)
	}
	return who
}

// as sends a request with the session of a key; a nil form is a GET.
func (h *house) as(name, path string, form url.Values) *httptest.ResponseRecorder {
	h.t.Helper()
	r := httptest.NewRequest(http.MethodGet, path, nil)
	if form != nil {
		r = httptest.NewRequest(http.MethodPost, path, strings.NewReader(form.Encode()))
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	return h.send(name, r)
}

func (h *house) send(name string, r *http.Request) *httptest.ResponseRecorder {
	h.t.Helper()
	if name != "" {
		role := strings.TrimPrefix(name, "foreign ")
		if name == "second" {
			role = "curator"
		}
		curates := map[bool]string{true: "n", false: "y"}[strings.HasPrefix(name, "foreign ")]
		r.AddCookie(&http.Cookie{Name: sessionCookie, Value: role + "." + curates + "." + h.keys[name]})
	}
	w := httptest.NewRecorder()
	h.h.ServeHTTP(w, r)
	return w
}

// follow is as, and then the page it led to.
func (h *house) follow(name, path string, form url.Values) string {
	h.t.Helper()
	w := h.as(name, path, form)
	if w.Code != http.StatusSeeOther {
		h.t.Fatalf("%s: %d, want to be led on; %s", path, w.Code, said(w.Body.String()))
	}
	w = h.as(name, w.Header().Get("Location"), nil)
	if w.Code != http.StatusOK {
		h.t.Fatalf("%s led to %s: %d", path, w.Header().Get("Location"), w.Code)
	}
	return w.Body.String()
}

// said is the text of a page, for the reports of failures.
func said(page string) string {
	_, page, _ = strings.Cut(page, "<main")
	page, _, _ = strings.Cut(page, "</main>")
	page = html.UnescapeString(regexp.MustCompile(`<[^>]*>`).ReplaceAllString(page, " "))
	return strings.Join(strings.Fields(page), " ")
}

func demoQuestion(t *testing.T) string {
	t.Helper()
	raw, err := os.ReadFile("../../testdata/demo/donated-dragon-tank.json")
	if err != nil {
		t.Fatal(err)
	}
	return string(raw)
}

// saved makes a setup through the page and gives its id.
func (h *house) saved(name, setup string) string {
	h.t.Helper()
	w := h.as(name, "/setups", url.Values{"name": {setup}, "question": {demoQuestion(h.t)}, "token": {newToken()}})
	id, ok := strings.CutPrefix(w.Header().Get("Location"), "/setups/")
	if !ok {
		h.t.Fatalf("saving %q: %d: %s", setup, w.Code, said(w.Body.String()))
	}
	id, _, _ = strings.Cut(id, "?")
	return id
}

func (h *house) setups(name string) []store.Setup {
	h.t.Helper()
	list, err := h.st.Setups(context.Background(), h.caller(name), store.SetupFilter{}, store.Page{})
	if err != nil {
		h.t.Fatal(err)
	}
	return list.Items
}

const dragonFile = "species/pogona-vitticeps.yaml"

// drafted makes a draft of the dragon's record through the page and gives its id.
func (h *house) drafted(name string, edit func(string) string, parent string) string {
	h.t.Helper()
	now, err := h.st.InForce(context.Background(), h.caller(name), dragonFile)
	if err != nil {
		h.t.Fatal(err)
	}
	body := strings.ReplaceAll(edit(now.Body), "\n", "\r\n") // as a browser sends it
	w := h.as(name, "/records/edit/"+dragonFile, url.Values{"body": {body}, "why": {"for the test"}, "parent": {parent}, "do": {"draft"}, "token": {newToken()}})
	id, ok := strings.CutPrefix(w.Header().Get("Location"), "/records/revisions/")
	if !ok {
		h.t.Fatalf("drafting: %d: %s", w.Code, said(w.Body.String()))
	}
	id, _, _ = strings.Cut(id, "?")
	return id
}

func comment(text string) func(string) string {
	return func(body string) string { return body + "# " + text + "\n" }
}

// Who may see and do what. A reader is refused what writes, a foreign organisation
// finds nothing, and nobody gets in without a key.
func TestRolesAndPages(t *testing.T) {
	h := openHouse(t)
	id := h.saved("keeper", "Box by the door")
	list, err := h.st.Assessments(context.Background(), h.caller("keeper"), store.AssessmentFilter{Setup: id}, store.Page{})
	if err != nil || len(list.Items) != 1 {
		t.Fatalf("%d answers were kept with the setup: %v", len(list.Items), err)
	}
	answer := list.Items[0].ID
	draft := h.drafted("curator", comment("one"), "")
	const ok, no, none, bad, led = http.StatusOK, http.StatusForbidden, http.StatusNotFound, http.StatusUnprocessableEntity, http.StatusSeeOther
	form := func(pairs ...string) url.Values {
		v := url.Values{"token": {"T"}}
		for i := 0; i < len(pairs); i += 2 {
			v.Set(pairs[i], pairs[i+1])
		}
		return v
	}
	for _, c := range []struct {
		path string
		form url.Values
		want [6]int // reader, keeper, curator, admin, foreign keeper, foreign admin
	}{
		{"/account", nil, [6]int{ok, ok, ok, ok, ok, ok}},
		{"/setups", nil, [6]int{ok, ok, ok, ok, ok, ok}},
		{"/setups/changes", nil, [6]int{ok, ok, ok, ok, ok, ok}},
		{"/setups/" + id, nil, [6]int{ok, ok, ok, ok, none, none}},
		{"/setups/" + id + "/versions", nil, [6]int{ok, ok, ok, ok, none, none}},
		{"/setups/" + id + "/assessments/" + answer, nil, [6]int{ok, ok, ok, ok, none, none}},
		{"/setups/" + id + "/edit", nil, [6]int{no, led, led, led, none, none}},
		{"/setups/" + id + "/text", nil, [6]int{no, ok, ok, ok, none, none}},
		{"/setups/" + id + "/delete", nil, [6]int{no, ok, ok, ok, none, none}},
		{"/setups", form("name", ""), [6]int{no, bad, bad, bad, bad, bad}},
		{"/setups/" + id, form("name", "", "version", "1"), [6]int{no, bad, bad, bad, bad, bad}},
		{"/setups/" + id, form("name", "x", "version", "9", "question", demoQuestion(t)), [6]int{no, 409, 409, 409, none, none}},
		{"/setups/" + id + "/name", form("name", "x", "version", "9"), [6]int{no, 409, 409, 409, none, none}},
		{"/setups/" + id + "/delete", form("version", "9"), [6]int{no, 409, 409, 409, none, none}},
		{"/setups/" + id + "/restore", form(), [6]int{no, led, led, led, none, none}},
		{"/setups/" + id + "/assessments", form(), [6]int{no, led, led, led, none, none}},
		{"/setups/reassess", form(), [6]int{no, led, led, led, led, led}},
		{"/keys", nil, [6]int{no, no, no, ok, no, ok}},
		{"/keys", form("holder", ""), [6]int{no, no, no, bad, no, bad}},
		{"/keys/" + h.ids["reader"] + "/revoke", nil, [6]int{no, no, no, ok, no, none}},
		{"/keys/" + h.ids["foreign reader"] + "/revoke", form(), [6]int{no, no, no, none, no, led}},
		{"/audit", nil, [6]int{no, no, no, ok, no, ok}},
		{"/organisation", nil, [6]int{no, no, no, ok, no, ok}},
		{"/organisation/export", nil, [6]int{no, no, no, ok, no, ok}},
		{"/organisation/delete", form("name", "wrong"), [6]int{no, no, no, bad, no, bad}},
		{"/records", nil, [6]int{ok, ok, ok, ok, ok, ok}},
		{"/records/files/" + dragonFile, nil, [6]int{ok, ok, ok, ok, ok, ok}},
		{"/records/files/species/none.yaml", nil, [6]int{none, none, none, none, none, none}},
		{"/records/files/../../etc/passwd", nil, [6]int{none, none, none, none, none, none}},
		{"/records/export", nil, [6]int{ok, ok, ok, ok, ok, ok}},
		{"/records/revisions", nil, [6]int{ok, ok, ok, ok, ok, ok}},
		{"/records/revisions/" + draft, nil, [6]int{ok, ok, ok, ok, ok, ok}},
		{"/records/publish?id=" + draft, nil, [6]int{ok, ok, ok, ok, ok, ok}},
		{"/records/edit/" + dragonFile, nil, [6]int{no, no, ok, ok, no, no}},
		{"/records/edit/" + dragonFile, form("body", "", "do", "draft"), [6]int{no, no, bad, bad, no, no}},
		{"/records/import", nil, [6]int{no, no, ok, ok, no, no}},
		{"/records/new?folder=species&name=Novus+example", nil, [6]int{no, no, led, led, no, led}}, // the form it leads to refuses
		{"/records/revisions/" + draft + "/review", form("why", ""), [6]int{no, no, bad, bad, no, bad}},
		{"/records/revisions/" + draft + "/review", form("why", "figures checked"), [6]int{no, no, no, led, no, no}},
		{"/records/publish", form("id", draft, "why", ""), [6]int{no, no, bad, bad, no, bad}},
		{"/records/revisions/" + draft + "/withdraw", form("why", ""), [6]int{no, no, bad, bad, no, bad}},
	} {
		for i, name := range []string{"reader", "keeper", "curator", "admin", "foreign keeper", "foreign admin"} {
			form := url.Values{}
			for k, v := range c.form {
				form[k] = v
			}
			if c.form == nil {
				form = nil
			}
			if w := h.as(name, c.path, form); w.Code != c.want[i] {
				t.Errorf("%s, %s (form %v): %d, want %d: %s", name, c.path, c.form != nil, w.Code, c.want[i], said(w.Body.String()))
			}
		}
		w := h.as("", c.path, c.form)
		if c.form == nil && (w.Code != http.StatusSeeOther || !strings.HasPrefix(w.Header().Get("Location"), "/sign-in?back=")) {
			t.Errorf("nobody, %s: %d to %q, want to be led to sign in", c.path, w.Code, w.Header().Get("Location"))
		}
		if c.form != nil && w.Code != http.StatusForbidden {
			t.Errorf("nobody, POST %s: %d, want to be refused", c.path, w.Code)
		}
	}
}

// A key that is pasted is kept where no script reads it, and only of this site.
func TestSignIn(t *testing.T) {
	h := openHouse(t)
	for _, c := range []struct {
		key    string
		status int
		says   string
	}{
		{"", http.StatusUnprocessableEntity, "Paste your key"},
		{"dwk_wrong", http.StatusUnprocessableEntity, "unknown or was revoked"},
		{"nonsense", http.StatusUnprocessableEntity, "unknown or was revoked"},
		{" " + h.keys["keeper"][:10] + "\n" + h.keys["keeper"][10:] + " ", http.StatusSeeOther, ""},
	} {
		w := h.as("", "/sign-in", url.Values{"key": {c.key}, "back": {"/setups?species=python-regius"}})
		if w.Code != c.status || !strings.Contains(w.Body.String(), c.says) {
			t.Errorf("%q: %d, want %d and %q: %s", c.key, w.Code, c.status, c.says, said(w.Body.String()))
		}
		if c.key != "" && strings.Contains(w.Body.String(), strings.TrimSpace(c.key)) {
			t.Errorf("the page repeats the key %q", c.key)
		}
		cookies := w.Result().Cookies()
		if (len(cookies) == 1) != (c.status == http.StatusSeeOther) {
			t.Fatalf("%q: cookies %v", c.key, cookies)
		}
		if c.status != http.StatusSeeOther {
			continue
		}
		if w.Header().Get("Location") != "/setups?species=python-regius" {
			t.Errorf("led to %s", w.Header().Get("Location"))
		}
		if k := cookies[0]; !k.HttpOnly || k.SameSite != http.SameSiteLaxMode || k.Secure || k.MaxAge != 0 || !k.Expires.IsZero() {
			t.Errorf("cookie %+v: want HttpOnly, Lax, of the session and, without TLS, not Secure", k)
		}
	}
	r := httptest.NewRequest(http.MethodPost, "https://denwright.example/sign-in", strings.NewReader(url.Values{"key": {h.keys["keeper"]}, "back": {"https://elsewhere.example/"}}.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	w := h.send("", r)
	if k := w.Result().Cookies(); len(k) != 1 || !k[0].Secure || w.Header().Get("Location") != "/" {
		t.Errorf("over TLS: cookies %v, led to %q; want Secure, and no other site", k, w.Header().Get("Location"))
	}

	if _, err := h.st.RevokeKey(context.Background(), store.Operator("operator"), h.orgs[""], h.ids["keeper"]); err != nil {
		t.Fatal(err)
	}
	w = h.as("keeper", "/setups", nil)
	if w.Code != http.StatusSeeOther || !strings.Contains(w.Header().Get("Location"), "why=unknown") || len(w.Result().Cookies()) != 1 || w.Result().Cookies()[0].MaxAge >= 0 {
		t.Errorf("with a revoked key: %d to %q, cookies %v; want to be led to sign in, the cookie taken out", w.Code, w.Header().Get("Location"), w.Result().Cookies())
	}
	w = h.as("keeper", "/setups", url.Values{"name": {"Kept text"}, "question": {demoQuestion(t)}})
	if w.Code != http.StatusForbidden || !strings.Contains(w.Body.String(), `name="name" value="Kept text"`) {
		t.Errorf("what was sent with a revoked key is lost: %d: %s", w.Code, said(w.Body.String()))
	}
	if w = h.as("reader", "/sign-out", url.Values{}); w.Code != http.StatusSeeOther || w.Result().Cookies()[0].MaxAge >= 0 {
		t.Errorf("signing out: %d, cookies %v", w.Code, w.Result().Cookies())
	}
}

// The doors that a key opens are shown, and no page of the main job asks the database for that.
func TestNavigation(t *testing.T) {
	h := openHouse(t)
	if err := h.st.Close(); err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string][2]bool{"": {false, false}, "reader": {true, false}, "keeper": {true, false}, "curator": {true, true}, "admin": {true, true}, "foreign curator": {true, false}} {
		for _, path := range []string{"/", "/species/python-regius", "/size?species=python-regius&units=metric&animals.0.count=1"} {
			w := h.as(name, path, nil)
			nav, _, _ := strings.Cut(w.Body.String(), "</nav>")
			if got := [2]bool{strings.Contains(nav, `href="/setups"`), strings.Contains(nav, `href="/records"`)}; got != want || w.Code != http.StatusOK {
				t.Errorf("%q, %s: %d, Saved and Records %v, want %v", name, path, w.Code, got, want)
			}
		}
	}
}

// Saving twice makes one setup and one answer; the same form with other content is
// not lost, and counts when sent again.
func TestSubmittedTwice(t *testing.T) {
	h := openHouse(t)
	form := url.Values{"name": {"Corner box"}, "question": {demoQuestion(t)}, "token": {"one"}}
	first, second := h.as("keeper", "/setups", form), h.as("keeper", "/setups", form)
	if first.Header().Get("Location") == "" || first.Header().Get("Location") != second.Header().Get("Location") || len(h.setups("keeper")) != 1 {
		t.Fatalf("sent twice: %q and %q, %d setups", first.Header().Get("Location"), second.Header().Get("Location"), len(h.setups("keeper")))
	}
	setup := h.setups("keeper")[0]
	answers := func() int {
		list, err := h.st.Assessments(context.Background(), h.caller("keeper"), store.AssessmentFilter{Setup: setup.ID}, store.Page{})
		if err != nil {
			t.Fatal(err)
		}
		return len(list.Items)
	}
	if n := answers(); n != 1 {
		t.Errorf("%d answers are kept, want 1", n)
	}
	form.Set("name", "Another box")
	w := h.as("keeper", "/setups", form)
	token := regexp.MustCompile(`name="token" value="([^"]+)"`).FindStringSubmatch(w.Body.String())
	if w.Code != http.StatusConflict || !strings.Contains(w.Body.String(), `value="Another box"`) || token == nil || token[1] == "one" {
		t.Fatalf("the form used again: %d, token %v: %s", w.Code, token, said(w.Body.String()))
	}
	form.Set("token", token[1])
	h.follow("keeper", "/setups", form)
	if n := len(h.setups("keeper")); n != 2 {
		t.Errorf("%d setups, want 2", n)
	}

	// Changing, keeping an answer, renaming, deleting and making it again.
	path := "/setups/" + setup.ID
	change := url.Values{"name": {"Corner box"}, "version": {"1"}, "question": {strings.Replace(demoQuestion(t), `"value": 41`, `"value": 39`, 1)}, "token": {"two"}}
	for range 2 {
		h.follow("keeper", path, change)
		h.follow("keeper", path+"/assessments", url.Values{"token": {"three"}})
	}
	for range 2 {
		h.follow("keeper", path+"/name", url.Values{"name": {"Front box"}, "version": {"2"}, "token": {"four"}})
	}
	if now, err := h.st.Setup(context.Background(), h.caller("keeper"), setup.ID); err != nil || now.Version != 3 || now.Name != "Front box" || answers() != 3 {
		t.Errorf("version %d named %q with %d answers, want 3, Front box and 3: %v", now.Version, now.Name, answers(), err)
	}
	for range 2 {
		if page := h.follow("keeper", path+"/delete", url.Values{"version": {"3"}}); !strings.Contains(page, "This setup is deleted") {
			t.Error("the page does not say that it is deleted")
		}
	}
	for range 2 {
		h.follow("keeper", path+"/restore", url.Values{"token": {"five"}})
	}
	names := []string{}
	for _, s := range h.setups("keeper") {
		names = append(names, s.Name)
	}
	if !slices.Equal(names, []string{"Another box", "Front box"}) {
		t.Errorf("in the end there are %q", names)
	}

	// A key is shown once.
	key := url.Values{"holder": {"New person"}, "role": {"reader"}, "token": {"six"}}
	once, again := h.as("admin", "/keys", key).Body.String(), h.as("admin", "/keys", key).Body.String()
	secret := regexp.MustCompile(`dwk_[A-Za-z0-9_-]+`).FindString(once)
	if secret == "" || strings.Contains(again, "dwk_") || !strings.Contains(again, "This form was sent before") {
		t.Errorf("the key %q is shown first, then: %s", secret, said(again))
	}
	if who, err := h.st.Authenticate(context.Background(), secret); err != nil || who.Role != store.Reader || who.Holder != "New person" {
		t.Errorf("the key made is %+v: %v", who, err)
	}
}

// Two keepers who change the same setup see both versions, and nothing is lost.
func TestStaleChangeKeepsBoth(t *testing.T) {
	h := openHouse(t)
	id := h.saved("keeper", "Shared box")
	path := "/setups/" + id
	theirs := strings.Replace(demoQuestion(t), `"value": 41`, `"value": 39`, 1)
	mine := strings.NewReplacer(`"value": 41`, `"value": 45`, `"value": 31`, `"value": 33`).Replace(demoQuestion(t))
	h.follow("admin", path, url.Values{"name": {"Shared box"}, "version": {"1"}, "question": {theirs}})
	w := h.as("keeper", path, url.Values{"name": {"Shared box"}, "version": {"1"}, "question": {mine}})
	page := said(w.Body.String())
	if w.Code != http.StatusConflict {
		t.Fatalf("a stale change: %d: %s", w.Code, page)
	}
	for _, want := range []string{"admin person saved another version", "temperatures, hot spot both changed it 41 °C 39 °C 45 °C", "temperatures, warm air 31 °C 31 °C 33 °C"} {
		if !strings.Contains(page, want) {
			t.Errorf("the page lacks %q: %s", want, page)
		}
	}
	// What the page holds can be sent as it is.
	form := url.Values{}
	for _, m := range regexp.MustCompile(`type="hidden" name="([a-z]+)" value="([^"]*)"`).FindAllStringSubmatch(w.Body.String(), -1) {
		form.Set(m[1], html.UnescapeString(m[2]))
	}
	if page := h.follow("keeper", path, form); !strings.Contains(page, "45 °C") {
		t.Error("mine was not saved on top")
	}
	history, err := h.st.SetupHistory(context.Background(), h.caller("keeper"), id, store.Page{})
	if err != nil || len(history.Items) != 3 || !bytes.Contains(history.Items[1].Payload, []byte("39")) {
		t.Errorf("%d versions, want 3 with theirs among them: %v", len(history.Items), err)
	}
	versions := said(h.as("reader", path+"/versions", nil).Body.String())
	if !strings.Contains(versions, "temperatures, hot spot 39 °C 45 °C") {
		t.Errorf("the versions do not tell what changed: %s", versions)
	}

	// Deleted under the hands of somebody who changes it.
	h.follow("admin", path+"/delete", url.Values{"version": {"3"}})
	w = h.as("keeper", path, url.Values{"name": {"Shared box"}, "version": {"3"}, "question": {mine}})
	if w.Code != http.StatusConflict || !strings.Contains(w.Body.String(), "It was deleted meanwhile") || !strings.Contains(w.Body.String(), `action="/setups"`) {
		t.Errorf("changed after it was deleted: %d: %s", w.Code, said(w.Body.String()))
	}
}

// hidden are the hidden fields of the form that a page's saving block holds.
func hidden(page string) url.Values {
	form := url.Values{}
	_, page, _ = strings.Cut(page, `id="save"`)
	for _, m := range regexp.MustCompile(`type="hidden" name="([a-z]+)" value="([^"]*)"`).FindAllStringSubmatch(page, -1) {
		form.Set(m[1], html.UnescapeString(m[2]))
	}
	return form
}

// What is saved comes back into the form of the assessment, and from there as the next
// version, without a word changed.
func TestSavedQuestionThroughTheForm(t *testing.T) {
	h := openHouse(t)
	for name, question := range map[string]string{
		"dragon":     demoQuestion(t),
		"least":      `{"species":"python-regius","animals":[{"count":1,"stage":"adult"}],"setup":{}}`,
		"other unit": `{"species":"python-regius","animals":[{"count":2,"stage":"adult","length":{"value":40.5,"unit":"in"},"measure":"total"}],"setup":{"inside":{"length":{"value":4,"unit":"ft"}},"temperatures":{"hot_spot":{"value":90,"unit":"°F"}}}}`,
		"none":       `{"species":"python-regius","animals":[{"count":1,"stage":"adult"}],"setup":{"heat_sources":[],"other_species":[],"uv":{"refuge":false},"substrate":{"kind":"none"}}}`,
	} {
		form := url.Values{"name": {name}, "question": {question}, "token": {newToken()}}
		if h.follow("keeper", "/setups", form) == "" {
			t.Fatal("no page")
		}
		all := h.setups("keeper")
		was := all[len(all)-1]
		w := h.as("keeper", "/setups/"+was.ID+"/edit", nil)
		if !strings.HasPrefix(w.Header().Get("Location"), "/assess?") {
			t.Errorf("%s: led to %s", name, w.Header().Get("Location"))
			continue
		}
		page := h.as("keeper", w.Header().Get("Location"), nil).Body.String()
		if !strings.Contains(page, `formaction="/setups/`+was.ID+`"`) || !strings.Contains(page, `type="hidden" name="saved" value="`+was.ID+`"`) {
			t.Errorf("%s: the page does not offer the next version", name)
		}
		next := hidden(page)
		next.Set("name", name)
		if next.Get("version") != "1" {
			t.Errorf("%s: of version %q", name, next.Get("version"))
		}
		h.follow("keeper", "/setups/"+was.ID, next)
		now, err := h.st.Setup(context.Background(), h.caller("keeper"), was.ID)
		if err != nil || now.Version != 2 {
			t.Fatalf("%s: version %d: %v", name, now.Version, err)
		}
		if differ, err := restatements(was.Payload, now.Payload); err != nil || len(differ) > 0 {
			t.Errorf("%s: %s became, as version %d, %s: %v", name, was.Payload, now.Version, now.Payload, err)
		}
	}
	// What no field can hold is changed as text.
	h.follow("keeper", "/setups", url.Values{"name": {"Pool"}, "question": {`{"species":"python-regius","animals":[{"count":1,"stage":"adult"}],"setup":{"water":{"volume":{"value":0.2,"unit":"m3"}}}}`}})
	all := h.setups("keeper")
	if w := h.as("keeper", "/setups/"+all[len(all)-1].ID+"/edit", nil); !strings.Contains(w.Header().Get("Location"), "/text?done=no-form") {
		t.Errorf("led to %s", w.Header().Get("Location"))
	}
}

// What people write is text in every page that shows it, never markup.
func TestNothingWrittenIsMarkup(t *testing.T) {
	h := openHouse(t)
	const evil = `"><script>alert(1)</script><textarea></textarea>`
	id := h.saved("keeper", evil)
	form := url.Values{"holder": {evil}, "role": {"curator"}, "token": {"T"}}
	made := h.as("admin", "/keys", form)
	h.keys["evil"] = regexp.MustCompile(`dwk_[A-Za-z0-9_-]+`).FindString(made.Body.String())
	draft := h.drafted("curator", comment("</textarea></pre>"+evil), "")
	pages := map[string]*httptest.ResponseRecorder{
		"new key": made,
		"check":   h.as("curator", "/records/edit/"+dragonFile, url.Values{"body": {"id: " + evil + "\n</textarea>" + evil}, "why": {evil}, "do": {"check"}}),
		"bad":     h.as("keeper", "/setups", url.Values{"name": {evil}, "question": {evil}}),
		"again":   h.as("", "/setups", url.Values{"name": {evil}, evil: {evil}}),
		"gone":    h.as("admin", "/organisation/delete", url.Values{"name": {evil}}),
		"stale":   h.as("keeper", "/setups/"+id, url.Values{"name": {evil + "2"}, "version": {"7"}, "question": {demoQuestion(t)}}),
	}
	for _, path := range []string{"/setups", "/setups/" + id, "/setups/" + id + "/versions", "/setups/" + id + "/text", "/setups/" + id + "/delete", "/setups?species=" + url.QueryEscape(evil), "/keys", "/audit",
		"/records/revisions/" + draft, "/records/edit/" + dragonFile + "?from=" + draft, "/records?q=" + url.QueryEscape(evil), "/sign-in?back=" + url.QueryEscape(evil), "/setups?done=" + url.QueryEscape(evil)} {
		pages[path] = h.as("admin", path, nil)
	}
	for name, w := range pages {
		body := w.Body.String()
		if strings.Contains(body, "<script>alert") || strings.Count(body, "<textarea") != strings.Count(body, "</textarea>") || strings.Count(body, "<pre") != strings.Count(body, "</pre>") {
			t.Errorf("%s: what was written is markup", name)
		}
		if w.Code >= 500 {
			t.Errorf("%s: %d", name, w.Code)
		}
	}
}

// No form of another site is taken, whatever it would do.
func TestForeignFormsAreRefused(t *testing.T) {
	h := openHouse(t)
	id := h.saved("keeper", "Box")
	for _, path := range []string{"/sign-in", "/sign-out", "/setups", "/setups/" + id, "/setups/" + id + "/name", "/setups/" + id + "/delete", "/setups/" + id + "/restore", "/setups/" + id + "/assessments",
		"/setups/reassess", "/keys", "/keys/" + h.ids["reader"] + "/revoke", "/organisation/delete", "/records/edit/" + dragonFile, "/records/revisions/x/review", "/records/revisions/x/withdraw", "/records/publish", "/records/import"} {
		for header, value := range map[string]string{"Sec-Fetch-Site": "cross-site", "Origin": "https://elsewhere.example"} {
			r := httptest.NewRequest(http.MethodPost, path, strings.NewReader("name=x&version=1"))
			r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
			r.Header.Set(header, value)
			if w := h.send("admin", r); w.Code != http.StatusForbidden || !strings.Contains(w.Body.String(), "came from elsewhere") {
				t.Errorf("%s with %s: %d, want to be refused", path, header, w.Code)
			}
		}
	}
	if len(h.setups("keeper")) != 1 {
		t.Error("a foreign form did something")
	}
}

// Without a store the pages say that nothing is kept and why, and offer no door to it.
func TestWithoutStore(t *testing.T) {
	h := openHouse(t)
	h.site(nil)
	for _, path := range []string{"/sign-in", "/account", "/setups", "/setups/x", "/keys", "/audit", "/organisation", "/records", "/records/edit/" + dragonFile} {
		if w := h.as("admin", path, nil); w.Code != http.StatusNotFound || !strings.Contains(w.Body.String(), "Nothing is kept here") || !strings.Contains(w.Body.String(), "without a database") {
			t.Errorf("%s: %d: %s", path, w.Code, said(w.Body.String()))
		}
	}
	for _, path := range []string{"/sign-in", "/setups", "/records/import"} {
		if w := h.as("admin", path, url.Values{"key": {h.keys["admin"]}}); w.Code != http.StatusNotFound || len(w.Result().Cookies()) > 0 {
			t.Errorf("POST %s: %d", path, w.Code)
		}
	}
	for _, path := range []string{"/", "/size"} {
		if w := h.as("admin", path, nil); w.Code != http.StatusOK || strings.Contains(w.Body.String(), `"/setups"`) || strings.Contains(w.Body.String(), `"/sign-in"`) {
			t.Errorf("%s: %d, want 200 without doors that lead nowhere", path, w.Code)
		}
	}
}

// While the database is away the main pages answer; the others say so, keep what was
// sent and offer to try again.
func TestStoreAway(t *testing.T) {
	h := openHouse(t)
	files, err := care.EmbeddedFiles()
	if err != nil {
		t.Fatal(err)
	}
	away, err := store.Open(store.Config{Database: "postgres://nobody@127.0.0.1:1/none?connect_timeout=1", Embedded: files})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = away.Close() })
	h.site(away)
	for _, path := range []string{"/", "/species", "/species/python-regius", "/size?species=python-regius&units=metric&animals.0.count=1", "/sources", "/sign-in"} {
		if w := h.as("admin", path, nil); w.Code != http.StatusOK {
			t.Errorf("%s: %d, want 200", path, w.Code)
		}
	}
	w := h.as("keeper", "/setups?species=python-regius", nil)
	if w.Code != http.StatusServiceUnavailable || w.Header().Get("Retry-After") == "" || !strings.Contains(w.Body.String(), `href="/setups?species=python-regius">Try again`) {
		t.Errorf("/setups: %d, Retry-After %q: %s", w.Code, w.Header().Get("Retry-After"), said(w.Body.String()))
	}
	if strings.Contains(w.Body.String(), "127.0.0.1") || strings.Contains(w.Body.String(), "nobody") {
		t.Error("the page tells where the database is")
	}
	w = h.as("keeper", "/setups", url.Values{"name": {"Box <1>"}, "question": {"{}"}, "token": {"T"}})
	for _, want := range []string{`action="/setups"`, `name="name" value="Box &lt;1&gt;"`, `name="token" value="T"`, "Send it again"} {
		if w.Code != http.StatusServiceUnavailable || !strings.Contains(w.Body.String(), want) {
			t.Errorf("saving: %d, lacks %s", w.Code, want)
		}
	}
	w = h.as("", "/sign-in", url.Values{"key": {h.keys["keeper"]}})
	if w.Code != http.StatusServiceUnavailable || strings.Contains(w.Body.String(), h.keys["keeper"]) || len(w.Result().Cookies()) > 0 {
		t.Errorf("signing in: %d, cookies %v; want 503 and no key in the page", w.Code, w.Result().Cookies())
	}
}

// A list is searched by species and read page by page; an empty one says what to do first.
func TestSetupList(t *testing.T) {
	h := openHouse(t)
	if page := said(h.as("keeper", "/setups", nil).Body.String()); !strings.Contains(page, "Nothing is saved yet First assess an enclosure") {
		t.Errorf("an empty list does not say what to do: %s", page)
	}
	for i := range rowsPerPage + 2 {
		h.saved("keeper", fmt.Sprintf("Box %02d.", i))
	}
	seen := map[string]int{}
	for path, n := "/setups", 0; path != ""; n++ {
		body := h.as("reader", path, nil).Body.String()
		for _, m := range regexp.MustCompile(`Box \d\d\.`).FindAllString(body, -1) {
			seen[m]++
		}
		next := regexp.MustCompile(`class="button" href="(/setups\?[^"]*cursor=[^"]+)"`).FindStringSubmatch(body)
		if path = ""; next != nil && n < 5 {
			path = html.UnescapeString(next[1])
		}
	}
	if len(seen) != rowsPerPage+2 {
		t.Errorf("%d setups on all pages, want %d", len(seen), rowsPerPage+2)
	}
	for query, want := range map[string]string{"python-regius": "Nothing is saved for: royal python", "inland bearded dragon": "Those for: inland bearded dragon", "bearded dragon": "Choose the one you mean", "zzzzqqq": "No species has a name near zzzzqqq"} {
		if page := said(h.as("reader", "/setups?species="+url.QueryEscape(query), nil).Body.String()); !strings.Contains(page, want) {
			t.Errorf("%q: the page lacks %q: %s", query, want, page)
		}
	}
	if w := h.as("reader", "/setups?cursor=%21", nil); w.Code != http.StatusUnprocessableEntity {
		t.Errorf("a cursor not of ours: %d", w.Code)
	}
}

// From draft to effect: a curator changes a figure, a second one reviews it, it is
// published, saved setups are answered again, and the page sets then beside now.
func TestFromDraftToChangedAnswers(t *testing.T) {
	h := openHouse(t)
	id := h.saved("keeper", "Dragon tank")
	warmer := func(body string) string {
		before, rest, found := strings.Cut(body, "hotspot_surface_day:")
		hot, after, more := strings.Cut(rest, "warm_air_day:")
		if !found || !more {
			t.Fatal("the record has no hot spot, or no warm air after it")
		}
		return before + "hotspot_surface_day:" + regexp.MustCompile(`low: [0-9.]+, high: [0-9.]+`).ReplaceAllString(hot, "low: 55, high: 58") + "warm_air_day:" + after
	}
	now, err := h.st.InForce(context.Background(), h.caller("curator"), dragonFile)
	if err != nil {
		t.Fatal(err)
	}

	// A fault is told at its file and field, and the text typed is kept.
	check := h.as("curator", "/records/edit/"+dragonFile, url.Values{"do": {"check"}, "body": {strings.Replace(now.Body, "source: ", "source: no_such_", 1)}, "why": {"try"}})
	if page := check.Body.String(); check.Code != http.StatusOK || !strings.Contains(page, "<code>"+dragonFile+"</code> · <code>claims.hotspot_surface_day[0].source</code>") || !strings.Contains(said(page), "38 − removed - {low: 38, high: 42, source: rspca_") || !strings.Contains(said(page), "38 + added - {low: 38, high: 42, source: no_such_") {
		t.Errorf("checking: %d: %s", check.Code, said(page))
	}
	if list, err := h.st.Revisions(context.Background(), h.caller("curator"), store.RevisionFilter{}, store.Page{}); err != nil || len(list.Items) != 0 {
		t.Fatalf("checking stored %d revisions: %v", len(list.Items), err)
	}

	draft := h.drafted("curator", warmer, "")
	if r, err := h.st.Revision(context.Background(), h.caller("curator"), draft); err != nil || strings.Contains(r.Body, "\r") || r.Body != warmer(now.Body) {
		t.Fatalf("the text stored is not the one typed: %v", err)
	}
	path := "/records/revisions/" + draft
	if w := h.as("curator", path+"/review", url.Values{"why": {"mine"}}); w.Code != http.StatusForbidden {
		t.Errorf("reviewing one's own draft: %d", w.Code)
	}
	if page := h.as("curator", path, nil).Body.String(); !strings.Contains(page, "a second curator has to review it") {
		t.Error("the author is offered the review")
	}
	if w := h.as("curator", "/records/publish", url.Values{"id": {draft}, "why": {"too soon"}}); w.Code != http.StatusConflict {
		t.Errorf("publishing a draft: %d", w.Code)
	}
	for range 2 {
		h.follow("second", path+"/review", url.Values{"why": {"checked against the publication"}})
	}
	var page string
	for range 2 {
		page = h.follow("curator", "/records/publish", url.Values{"id": {draft}, "why": {"for the test"}})
	}
	if !strings.Contains(page, "Answers may change now") || !strings.Contains(page, `action="/setups/reassess"`) {
		t.Errorf("after publishing: %s", said(page))
	}
	c, err := h.st.Snapshot(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	h.change(c)
	page = said(h.follow("keeper", "/setups/reassess", url.Values{"token": {"T"}}))
	if !strings.Contains(page, "One setup was answered again. All are up to date") || !strings.Contains(page, "Dragon tank") || !strings.Contains(page, "catalogue 0-") || !strings.Contains(page, "catalogue 1-") {
		t.Errorf("what changed: %s", page)
	}
	list, err := h.st.Assessments(context.Background(), h.caller("keeper"), store.AssessmentFilter{Setup: id}, store.Page{})
	if err != nil || len(list.Items) != 2 {
		t.Fatalf("%d answers, want 2: %v", len(list.Items), err)
	}
	then := "/setups/" + id + "/assessments/" + list.Items[1].ID
	page = said(h.as("reader", then, nil).Body.String())
	if !strings.Contains(page, "hot spot, surface by day met: 41 °C, wanted 38") || !strings.Contains(page, "wanted 55") {
		t.Errorf("then and now: %s", page)
	}
	if page = said(h.as("reader", then+"?again=yes", nil).Body.String()); !strings.Contains(page, "the same to the byte") {
		t.Errorf("worked again: %s", page)
	}

	// A text that was begun before the publication keeps, and goes on top of the new one.
	w := h.as("second", "/records/edit/"+dragonFile, url.Values{"do": {"draft"}, "body": {now.Body + "# mine\n"}, "why": {"late"}, "parent": {""}, "token": {"L"}})
	if w.Code != http.StatusConflict || !strings.Contains(w.Body.String(), "# mine") || !strings.Contains(w.Body.String(), `name="parent" value="`+draft+`"`) {
		t.Errorf("a text overtaken: %d: %s", w.Code, said(w.Body.String()))
	}
	for range 2 {
		page = h.follow("second", path+"/withdraw", url.Values{"why": {"wrong after all"}})
	}
	if !strings.Contains(said(page), "wrong after all") {
		t.Errorf("withdrawn: %s", said(page))
	}
	if r, err := h.st.InForce(context.Background(), h.caller("second"), dragonFile); err != nil || r.ID != "" {
		t.Errorf("revision %q is in force after all: %v", r.ID, err)
	}
}

// An archive as it is downloaded can be changed and sent back: what differs is drafted
// once, and what would break the catalogue is refused whole.
func TestRecordsOutAndIn(t *testing.T) {
	h := openHouse(t)
	w := h.as("reader", "/records/export", nil)
	z, err := zip.NewReader(bytes.NewReader(w.Body.Bytes()), int64(w.Body.Len()))
	if err != nil {
		t.Fatal(err)
	}
	send := func(why string, edit func(name, body string) string) *httptest.ResponseRecorder {
		var packed, form bytes.Buffer
		out := zip.NewWriter(&packed)
		for _, f := range z.File {
			if f.FileInfo().IsDir() {
				continue
			}
			body, err := fs.ReadFile(z, f.Name)
			if err != nil {
				t.Fatal(err)
			}
			part, err := out.Create("some folder/" + f.Name)
			if err != nil {
				t.Fatal(err)
			}
			if _, err := io.WriteString(part, edit(f.Name, string(body))); err != nil {
				t.Fatal(err)
			}
		}
		if err := out.Close(); err != nil {
			t.Fatal(err)
		}
		m := multipart.NewWriter(&form)
		part, err := m.CreateFormFile("archive", "records.zip")
		if err == nil {
			_, err = part.Write(packed.Bytes())
		}
		if err == nil {
			err = m.WriteField("why", why)
		}
		if err == nil {
			err = m.Close()
		}
		if err != nil {
			t.Fatal(err)
		}
		r := httptest.NewRequest(http.MethodPost, "/records/import", &form)
		r.Header.Set("Content-Type", m.FormDataContentType())
		return h.send("curator", r)
	}
	drafts := func() int {
		list, err := h.st.Revisions(context.Background(), h.caller("curator"), store.RevisionFilter{}, store.Page{})
		if err != nil {
			t.Fatal(err)
		}
		return len(list.Items)
	}
	same := func(_, body string) string { return body }
	dragon := func(f func(string) string) func(name, body string) string {
		return func(name, body string) string {
			if name == dragonFile {
				return f(body)
			}
			return body
		}
	}
	for _, c := range []struct {
		why    string
		edit   func(name, body string) string
		status int
		says   string // of the page, or of the address it leads to
		drafts int
	}{
		{"nothing", same, http.StatusSeeOther, "imported-none", 0},
		{"", dragon(comment("in")), http.StatusUnprocessableEntity, "Give the reason", 0},
		{"broken", dragon(func(b string) string { return strings.Replace(b, "source: ", "source: no_such_", 1) }), http.StatusUnprocessableEntity, "no_such_", 0},
		{"one", dragon(comment("in")), http.StatusSeeOther, "done=imported&", 1},
		{"one", dragon(comment("in")), http.StatusSeeOther, "imported-before", 1},
		{"two", dragon(comment("in again")), http.StatusSeeOther, "done=imported&", 2},
	} {
		w := send(c.why, c.edit)
		if w.Code != c.status || !strings.Contains(w.Body.String()+w.Header().Get("Location"), c.says) || drafts() != c.drafts {
			t.Errorf("%s: %d to %q, %d drafts; want %d, %q, %d: %s", c.why, w.Code, w.Header().Get("Location"), drafts(), c.status, c.says, c.drafts, said(w.Body.String()))
		}
	}
	for _, body := range []string{"", "no archive at all"} {
		r := httptest.NewRequest(http.MethodPost, "/records/import", strings.NewReader(body))
		r.Header.Set("Content-Type", "multipart/form-data; boundary=x")
		if w := h.send("curator", r); w.Code != http.StatusUnprocessableEntity {
			t.Errorf("%q: %d", body, w.Code)
		}
	}
}

// All data of an organisation can be taken out, and go with its name typed.
func TestOrganisationOutAndGone(t *testing.T) {
	h := openHouse(t)
	id := h.saved("keeper", "Box")
	w := h.as("admin", "/organisation/export", nil)
	types := map[string]int{}
	for line := range strings.Lines(w.Body.String()) {
		var one struct {
			Type string `json:"type"`
		}
		if err := json.Unmarshal([]byte(line), &one); err != nil {
			t.Fatal(err)
		}
		types[one.Type]++
	}
	if types["organisation"] != 1 || types["setup_version"] != 1 || types["assessment"] != 1 || !strings.Contains(w.Body.String(), id) || strings.Contains(w.Body.String(), "dwk_") {
		t.Errorf("taken out: %v", types)
	}
	w = h.as("admin", "/organisation/delete", url.Values{"name": {"Saltmarsh lane"}})
	if w.Code != http.StatusUnprocessableEntity || !strings.Contains(w.Body.String(), `value="Saltmarsh lane"`) || len(h.setups("keeper")) != 1 {
		t.Errorf("with a name mistyped: %d", w.Code)
	}
	w = h.as("admin", "/organisation/delete", url.Values{"name": {"Saltmarsh Lane Rescue"}})
	if w.Code != http.StatusSeeOther || w.Result().Cookies()[0].MaxAge >= 0 {
		t.Errorf("deleting: %d", w.Code)
	}
	if _, err := h.st.Authenticate(context.Background(), h.keys["keeper"]); err == nil {
		t.Error("its keys still work")
	}
	if who := h.caller("foreign admin"); who.Organisation == "" {
		t.Error("another organisation went too")
	}
}

// The last admin key stays, and who revokes the own one is signed out.
func TestRevokingKeys(t *testing.T) {
	h := openHouse(t)
	w := h.as("admin", "/keys/"+h.ids["admin"]+"/revoke", url.Values{})
	if w.Code != http.StatusConflict || !strings.Contains(w.Body.String(), "last admin key") {
		t.Errorf("the last admin key: %d", w.Code)
	}
	for range 2 {
		h.follow("admin", "/keys/"+h.ids["reader"]+"/revoke", url.Values{})
	}
	h.key("other admin", "Other admin", h.orgs[""], store.Admin)
	w = h.as("admin", "/keys/"+h.ids["admin"]+"/revoke", url.Values{})
	if w.Code != http.StatusSeeOther || !strings.Contains(w.Header().Get("Location"), "own-key-revoked") || w.Result().Cookies()[0].MaxAge >= 0 {
		t.Errorf("the own key: %d to %q", w.Code, w.Header().Get("Location"))
	}
}

// The block that saves an assessment shows what the visitor may do with it.
func TestSaveBlock(t *testing.T) {
	h := openHouse(t)
	for _, c := range []struct {
		name, query, says, lacks string
		stored                   bool
	}{
		{"", "", `href="/sign-in?back=`, "<form", true},
		{"reader", "", "not save", "<form", true},
		{"keeper", "", `action="/setups"`, "formaction", true},
		{"keeper", "?saved=abc&saved_version=4&saved_name=Old+box", `formaction="/setups/abc"`, "sign-in", true},
		{"keeper", "", "", "form", false},
	} {
		site := New(Config{Log: slog.New(slog.NewTextHandler(io.Discard, nil))})
		if c.stored {
			site.store = h.st
		}
		r := httptest.NewRequest(http.MethodGet, "/assess"+c.query, nil)
		if c.name != "" {
			r.AddCookie(&http.Cookie{Name: sessionCookie, Value: c.name + ".n." + h.keys[c.name]})
		}
		page := site.request(echo.New().NewContext(r, httptest.NewRecorder()))
		set, err := site.set(page.look)
		if err != nil {
			t.Fatal(err)
		}
		var b strings.Builder
		if err := set.ExecuteTemplate(&b, "save", page.saving(&form{Asked: `{"species":"x"}`})); err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(b.String(), c.says) || strings.Contains(b.String(), c.lacks) {
			t.Errorf("%+v: %s", c, b.String())
		}
	}
}

// The pages of records are small as well, whatever the file.
func TestRecordPagesAreSmall(t *testing.T) {
	h := openHouse(t)
	files, err := h.st.CatalogueFiles(context.Background(), "")
	if err != nil {
		t.Fatal(err)
	}
	paths := []string{"/records", "/records/revisions", "/records/import"}
	err = fs.WalkDir(files, ".", func(name string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			paths = append(paths, "/records/files/"+name, "/records/edit/"+name)
		}
		return err
	})
	if err != nil || len(paths) < 200 {
		t.Fatalf("%d pages: %v", len(paths), err)
	}
	for _, path := range paths {
		if w := h.as("curator", path, nil); w.Code != http.StatusOK || w.Body.Len() > 60_000 {
			t.Errorf("%s: %d, %d bytes; want 200 and at most 60,000", path, w.Code, w.Body.Len())
		}
	}
}
