// Package pages serves the web pages for people who would rather look than read
// JSON: forms in, answers, drawings and sources out. It only translates: every
// figure comes from the catalogue or from package sizing. Pages work without
// script, load nothing from elsewhere and set two cookies at most: the units chosen
// and, for who signed in, the session.
package pages

import (
	"bytes"
	"context"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"errors"
	"fmt"
	"html/template"
	"io/fs"
	"log/slog"
	"net/http"
	"net/url"
	"strings"
	"sync"

	"github.com/labstack/echo/v4"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/care/store"
	"denwright/sizing"
)

//go:embed templates/*.html
var templateFiles embed.FS

// assetFiles are joined, in the order of their names, into one style and one script.
//
//go:embed assets/*.css assets/*.js assets/icon.svg
var assetFiles embed.FS

// Snapshot is the catalogue in use with what is kept for it.
type Snapshot struct {
	*care.Catalogue
	Matcher *sizing.Matcher
}

// Site serves the pages. It is safe for use by many goroutines.
type Site struct {
	log      *slog.Logger
	snapshot func() (Snapshot, bool)
	store    *store.Store // nil where nothing is kept
	take     func(context.Context) error
	give     func()
	texts    map[string]texts
	style    asset
	script   asset
	icon     asset
	api      http.Handler
	contract func() (*contract, error)
	sets     sync.Map      // look → func() (*template.Template, error)
	lists    chan struct{} // one for each list that is being answered; see maxLists
}

// Config says where the pages get what they show.
type Config struct {
	Log *slog.Logger
	// Snapshot gives the catalogue in use; false while there is none.
	Snapshot func() (Snapshot, bool)
	// API is the service itself, for who tries it from the reference.
	API http.Handler
	// Store keeps setups and record revisions; nil where nothing is kept.
	Store *store.Store
	// Take waits for leave to compute a page, and fails where too many are; Give ends
	// it. Both nil for no bound.
	Take func(context.Context) error
	Give func()
}

// asset is an embedded file with an address that changes with its content, so that
// a browser may keep it for good.
type asset struct {
	path, mediaType string
	body            []byte
}

// look is what a set of templates is bound to.
type look struct {
	language string
	units    quantity.System
}

// New makes the pages. It panics where an embedded file can't be read, which the
// first test of any kind would show.
func New(c Config) *Site {
	all, err := loadTexts()
	if err != nil {
		panic(err)
	}
	s := &Site{log: c.Log, snapshot: c.Snapshot, store: c.Store, take: c.Take, give: c.Give, texts: all, lists: make(chan struct{}, maxLists),
		api: c.API, contract: sync.OnceValues(loadContract)}
	s.style = joined("style", ".css", "text/css; charset=utf-8")
	s.script = joined("page", ".js", "text/javascript; charset=utf-8")
	s.icon = joined("icon", ".svg", "image/svg+xml")
	return s
}

// joined is every embedded file of one ending as one asset.
func joined(name, ending, mediaType string) asset {
	files, err := fs.Glob(assetFiles, "assets/*"+ending)
	if err != nil {
		panic(err)
	}
	var body []byte
	for _, f := range files { // sorted, by Glob's contract
		part, err := fs.ReadFile(assetFiles, f)
		if err != nil {
			panic(err)
		}
		body = append(body, part...)
	}
	digest := sha256.Sum256(body)
	return asset{"/assets/" + name + "." + hex.EncodeToString(digest[:6]) + ending, mediaType, body}
}

// mount puts pages on a router. The forms of post are read up to maxForm bytes and
// only from pages of this site.
type mount struct {
	get, post func(path string, h func(*request) error)
	// stream is post for a handler that reads the body itself, bit by bit.
	stream func(path string, h func(*request) error)
}

// maxForm bounds the body of a form in bytes; those that carry files are streamed.
const maxForm = 1 << 20

// Routes puts every page on e.
func (s *Site) Routes(e *echo.Echo) {
	for _, a := range []asset{s.style, s.script, s.icon} {
		e.GET(a.path, func(c echo.Context) error {
			c.Response().Header().Set(echo.HeaderCacheControl, "public, max-age=31536000, immutable")
			return c.Blob(http.StatusOK, a.mediaType, a.body)
		})
	}
	own := http.NewCrossOriginProtection()
	ours := func(h func(*request) error) func(*request) error {
		return func(r *request) error {
			if err := own.Check(r.Request()); err != nil {
				return &failure{status: http.StatusForbidden, key: "foreign-form"}
			}
			return h(r)
		}
	}
	m := mount{
		get: func(path string, h func(*request) error) {
			e.GET(path, s.page(h))
			e.HEAD(path, s.page(h))
		},
		post: func(path string, h func(*request) error) {
			e.POST(path, s.page(ours(func(r *request) error {
				r.Request().Body = http.MaxBytesReader(r.Response().Writer, r.Request().Body, maxForm)
				if err := r.Request().ParseForm(); err != nil {
					return &failure{status: http.StatusBadRequest, key: "unreadable-form"}
				}
				return h(r)
			})))
		},
		stream: func(path string, h func(*request) error) { e.POST(path, s.page(ours(h))) },
	}
	m.get("/", home)
	m.get("/method", methodPage)
	m.post("/units", chooseUnits)
	m.get("/species", speciesList)
	m.get("/species/:id", speciesPage)
	m.get("/species/:id/claims", claimsPage)
	m.get("/sources", sourceList)
	m.get("/sources/:key", sourcePage)
	m.get("/size", sizePage)
	s.planPages(m)
	s.climatePages(m)
	s.assessPages(m)
	s.matchPages(m)
	s.intakePages(m)
	s.savedPages(m)
	s.curationPages(m)
	s.referencePages(m)
}

// request is one page view: who looks, how, and at which catalogue.
type request struct {
	echo.Context
	site *Site
	look look
	snap Snapshot
	all  texts // of the language
}

// contentPolicy lets a page load its own style, script and pictures and nothing else.
const contentPolicy = "default-src 'none'; style-src 'self'; img-src 'self'; script-src 'self'; connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

// page wraps a handler of a page: the catalogue, the units, errors as pages.
func (s *Site) page(h func(*request) error) echo.HandlerFunc {
	return func(c echo.Context) error {
		r := s.request(c)
		snap, ok := s.snapshot()
		if !ok {
			return r.fail(&failure{status: http.StatusServiceUnavailable, key: "not-ready"})
		}
		r.snap = snap
		// Only what has no body: whoever sends one slowly must not hold a place.
		if s.take != nil && c.Request().Method == http.MethodGet {
			if err := s.take(c.Request().Context()); err != nil {
				c.Response().Header().Set(echo.HeaderRetryAfter, "1")
				return r.fail(&failure{status: http.StatusServiceUnavailable, key: "busy"})
			}
			defer s.give()
		}
		if err := h(r); err != nil {
			return r.fail(err)
		}
		return nil
	}
}

func (s *Site) request(c echo.Context) *request {
	r := &request{Context: c, site: s, look: look{language: "en"}}
	r.all = s.texts[r.look.language]
	if cookie, err := c.Cookie(unitsCookie); err == nil {
		r.look.units, _ = quantity.ParseSystem(cookie.Value) // anything else is metric
	} else if strings.HasPrefix(c.Request().Header.Get("Accept-Language"), "en-US") {
		r.look.units = quantity.Imperial
	}
	h := c.Response().Header()
	h.Set("Content-Security-Policy", contentPolicy)
	h.Add(echo.HeaderVary, "Cookie, Accept-Language")
	h.Set(echo.HeaderCacheControl, "private, no-cache")
	return r
}

// failure is an error with a page of its own: a status, and the texts error.<key>.title and .text.
type failure struct {
	status     int
	key        string
	detail     string // said below the text
	candidates []care.Candidate
}

func (f *failure) Error() string { return f.key }

func notFound(candidates ...care.Candidate) error {
	return &failure{status: http.StatusNotFound, key: "not-found", candidates: candidates}
}

// NotFound answers a path that nothing is served under, for who wants a page.
func (s *Site) NotFound(c echo.Context) error { return s.request(c).fail(notFound()) }

// WantsPage reports whether the client would rather have a page than a problem document.
func WantsPage(r *http.Request) bool {
	return !strings.HasPrefix(r.URL.Path, "/v1/") && strings.Contains(r.Header.Get(echo.HeaderAccept), "text/html")
}

func (r *request) fail(err error) error {
	var f *failure
	if !errors.As(err, &f) {
		r.site.log.Error("page", "route", r.Path(), "id", r.Response().Header().Get(echo.HeaderXRequestID), "error", err.Error())
		f = &failure{status: http.StatusInternalServerError, key: "internal"}
	}
	return r.renderStatus(f.status, "error", r.t("error."+f.key+".title"), f)
}

// Key, Detail and Candidates are for the template.
func (f *failure) Key() string                  { return f.key }
func (f *failure) Detail() string               { return f.detail }
func (f *failure) Candidates() []care.Candidate { return f.candidates }

// view is what every template gets.
type view struct {
	Title    string
	Path     string // of this page, with its query: where to come back to
	Section  string // the first part of the path, for the navigation
	Units    string
	Language string
	Style    string
	Script   string
	Icon     string
	Revision string
	Engine   string
	// Kept: something can be kept here; Session says who signed in, as far as that is
	// known without asking the database.
	Kept    bool
	Session session
	Data    any
}

// render answers with a page made of templates/<name>.html.
func (r *request) render(name, title string, data any) error {
	return r.renderStatus(http.StatusOK, name, title, data)
}

func (r *request) renderStatus(status int, name, title string, data any) error {
	set, err := r.site.set(r.look)
	if err != nil {
		return err
	}
	v := r.view(title, data)
	var b bytes.Buffer
	if err := set.ExecuteTemplate(&b, name+".html", v); err != nil {
		return fmt.Errorf("page %s: %w", name, err)
	}
	// Indentation that only the templates' authors need is a third of a page.
	return r.HTMLBlob(status, bytes.TrimSpace(squeeze(b.Bytes())))
}

// view is what a template gets for this request.
func (r *request) view(title string, data any) view {
	section, _, _ := strings.Cut(strings.TrimPrefix(r.Request().URL.Path, "/"), "/")
	v := view{Title: title, Path: r.Request().URL.RequestURI(), Section: section, Units: r.look.units.String(), Language: r.look.language,
		Style: r.site.style.path, Script: r.site.script.path, Icon: r.site.icon.path, Engine: sizing.EngineVersion,
		Kept: r.site.store != nil, Session: r.session(), Data: data}
	if r.snap.Catalogue != nil {
		v.Revision = r.snap.Revision
	}
	return v
}

// squeeze takes leading blanks and blank lines out. No page has preformatted text
// whose indentation matters outside <pre>, which is kept.
func squeeze(page []byte) []byte {
	out := make([]byte, 0, len(page))
	pre := false
	for line := range bytes.Lines(page) {
		if !pre {
			if line = bytes.TrimLeft(line, " \t"); len(bytes.TrimSpace(line)) == 0 {
				continue
			}
		}
		if bytes.Contains(line, []byte("<pre")) || bytes.Contains(line, []byte("<textarea")) {
			pre = true
		}
		if bytes.Contains(line, []byte("</pre>")) || bytes.Contains(line, []byte("</textarea>")) {
			pre = false
		}
		out = append(out, line...)
	}
	return out
}

// set gives the templates bound to a language and to units; they are parsed when
// first asked for, so that they cost a service that only answers JSON nothing.
func (s *Site) set(l look) (*template.Template, error) {
	once, _ := s.sets.LoadOrStore(l, sync.OnceValues(func() (*template.Template, error) {
		all := s.texts[l.language]
		t, err := template.New("").Funcs(functions(all, l.units)).ParseFS(templateFiles, "templates/*.html")
		if err != nil {
			return nil, fmt.Errorf("pages: %w", err)
		}
		return t, nil
	}))
	return once.(func() (*template.Template, error))()
}

func (r *request) t(key string, args ...any) string { return r.all.say(key, args...) }

// q writes a quantity in the units of the viewer.
func (r *request) q(v quantity.Valuer) string { return v.Value().In(r.look.units).String() }

const unitsCookie = "units"

// chooseUnits keeps the units in a cookie and leads back to where it was asked.
func chooseUnits(r *request) error {
	system, err := quantity.ParseSystem(r.FormValue("units"))
	if err != nil {
		return &failure{status: http.StatusBadRequest, key: "bad-units"}
	}
	r.SetCookie(&http.Cookie{Name: unitsCookie, Value: system.String(), Path: "/", MaxAge: 365 * 24 * 3600, HttpOnly: true, SameSite: http.SameSiteLaxMode})
	return r.Redirect(http.StatusSeeOther, localPath(r.FormValue("back")))
}

// localPath is the address if it is one of this site, else the first page: a form
// must not be able to lead elsewhere.
func localPath(address string) string {
	u, err := url.Parse(address)
	if err != nil || u.Scheme != "" || u.Host != "" || !strings.HasPrefix(u.Path, "/") || strings.HasPrefix(address, "//") || strings.ContainsAny(address, "\\\r\n") {
		return "/"
	}
	return u.RequestURI()
}

func home(r *request) error {
	return r.render("home", r.t("home.title"), struct{ Species int }{len(r.snap.Species())})
}

func methodPage(r *request) error { return r.render("method", r.t("method.title"), nil) }
