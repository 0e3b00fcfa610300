// Package api is the HTTP service: it decodes a question, hands it to sizing or to
// the catalogue, and encodes the answer. The contract is openapi/openapi.yaml; the
// rules that hold for every route (strict decoding, problem documents, units,
// entity tags) are kept here, once.
package api

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"net/url"
	"runtime"
	"runtime/debug"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/labstack/echo/v4"

	"denwright/api/pages"
	"denwright/care"
	"denwright/care/quantity"
	"denwright/care/store"
	"denwright/openapi"
	"denwright/sizing"
)

// Config bounds what a client may take. The zero value of a field means its default.
type Config struct {
	ReadHeaderTimeout time.Duration // from accept to the end of the header; 5 s
	ReadTimeout       time.Duration // to the end of the body; 10 s
	WriteTimeout      time.Duration // to the end of the answer; 30 s
	IdleTimeout       time.Duration // between two requests of a connection; 60 s
	ShutdownTimeout   time.Duration // for what was accepted when the service is told to stop; 15 s
	MaxHeaderBytes    int           // 16 KiB; net/http allows about 4 KiB more
	MaxBodyBytes      int64         // 1 MB (1,000,000 bytes)
	MaxIntakeBytes    int64         // of the rows of one intake, which are streamed; 200 MB
	// MaxAtOnce bounds the questions computed at once, 16 for each processor; further
	// ones wait up to MaxWait, 1 s, and are then told to come back.
	MaxAtOnce  int
	MaxWait    time.Duration
	MaxIntakes int // streamed lists at once; 32
	// RatePerSecond is how many requests a key, or an address without one, may send in
	// the long run, RateBurst how many at once, ten seconds' worth when 0. No limit by default.
	RatePerSecond float64
	RateBurst     int
	// Proxies is how many proxies before the service add to X-Forwarded-For; with none
	// the header is not believed.
	Proxies int
	// AllowOrigins are the origins, such as https://app.example, whose pages may read
	// answers in a browser. None by default.
	AllowOrigins []string
	// Store keeps setups, assessments, keys and record revisions. Without one (nil)
	// the routes that need it say so; the main job never does.
	Store *store.Store
}

// withDefaults fills what was left out.
func (c Config) withDefaults() Config {
	for _, d := range []struct {
		field *time.Duration
		or    time.Duration
	}{{&c.ReadHeaderTimeout, 5 * time.Second}, {&c.ReadTimeout, 10 * time.Second}, {&c.WriteTimeout, 30 * time.Second},
		{&c.IdleTimeout, 60 * time.Second}, {&c.ShutdownTimeout, 15 * time.Second}} {
		if *d.field == 0 {
			*d.field = d.or
		}
	}
	if c.MaxHeaderBytes == 0 {
		c.MaxHeaderBytes = 16 << 10
	}
	if c.MaxBodyBytes == 0 {
		c.MaxBodyBytes = 1_000_000
	}
	if c.MaxIntakeBytes == 0 {
		c.MaxIntakeBytes = 200_000_000
	}
	if c.MaxAtOnce == 0 {
		c.MaxAtOnce = 16 * runtime.GOMAXPROCS(0)
	}
	if c.MaxWait == 0 {
		c.MaxWait = time.Second
	}
	if c.MaxIntakes == 0 {
		c.MaxIntakes = 32
	}
	if c.RateBurst == 0 {
		c.RateBurst = max(1, int(10*c.RatePerSecond))
	}
	return c
}

// Server answers requests from one catalogue snapshot at a time. It is safe for
// use by many goroutines.
type Server struct {
	log      *slog.Logger
	snapshot atomic.Pointer[snapshot]
	stopping atomic.Bool
	metrics  *metrics
	encoding [2]*quantity.Encoder // by quantity.System
	buffers  sync.Pool            // of *[]byte, for answers
	shape    string               // of answers: a hash of the contract
	requests func() (*requestSchemas, error)
	pages    atomic.Pointer[pages.Site] // once there is a handler
}

// snapshot is a catalogue with the lists that are paged through.
type snapshot struct {
	*care.Catalogue
	matcher *sizing.Matcher
	rules   []*care.Rule   // by id
	sources []*care.Source // by key
}

// New makes a server. Without a catalogue (nil) it runs, is not ready, and answers
// every question with 503 until SetCatalogue is called.
func New(c *care.Catalogue, log *slog.Logger) *Server {
	s := &Server{log: log, requests: sync.OnceValues(loadRequestSchemas)}
	for _, system := range []quantity.System{quantity.Metric, quantity.Imperial} {
		s.encoding[system] = quantity.NewEncoder(system, false)
	}
	digest := sha256.Sum256([]byte(openapi.YAML()))
	s.shape = hex.EncodeToString(digest[:8])
	s.metrics = newMetrics(s)
	s.SetCatalogue(c)
	return s
}

// SetCatalogue replaces the catalogue for every request that starts after it.
func (s *Server) SetCatalogue(c *care.Catalogue) {
	if c == nil {
		s.snapshot.Store(nil)
		return
	}
	s.snapshot.Store(newSnapshot(c))
}

func newSnapshot(c *care.Catalogue) *snapshot {
	snap := &snapshot{Catalogue: c, matcher: sizing.NewMatcher(c), rules: slices.Clone(c.Rules()), sources: c.Sources()}
	slices.SortFunc(snap.rules, func(a, b *care.Rule) int { return strings.Compare(a.ID, b.ID) })
	return snap
}

// advance takes a catalogue into use that was made by a change of the records,
// unless one of a later change is in use.
func (s *Server) advance(c *care.Catalogue) {
	next := newSnapshot(c)
	for {
		now := s.snapshot.Load()
		if now != nil && changeNumber(now.Revision) >= changeNumber(c.Revision) || s.snapshot.CompareAndSwap(now, next) {
			return
		}
	}
}

// changeNumber is the number with which the name of a catalogue begins.
func changeNumber(revision string) int64 {
	number, _, _ := strings.Cut(revision, "-")
	n, err := strconv.ParseInt(number, 10, 64)
	if err != nil {
		return 0
	}
	return n
}

// Handler serves every route of the contract, and the pages.
func (s *Server) Handler(cfg Config) http.Handler {
	cfg = cfg.withDefaults()
	e := s.routes(cfg)
	site := s.webPages(cfg, e)
	site.Routes(e)
	s.pages.Store(site)
	return e
}

func (s *Server) routes(cfg Config) *echo.Echo {
	questions, lists := newSlots(cfg.MaxAtOnce, cfg.MaxWait), newSlots(cfg.MaxIntakes, cfg.MaxWait)
	e := echo.New()
	e.HideBanner, e.HidePort = true, true
	e.HTTPErrorHandler = s.fail
	clients := newGate(cfg)
	e.Use(func(next echo.HandlerFunc) echo.HandlerFunc { return s.around(cfg, clients, next) })
	get := func(path string, h echo.HandlerFunc) {
		e.GET(path, h)
		e.HEAD(path, h)
	}
	get("/healthz", s.health)
	get("/readyz", s.ready)
	get("/openapi.yaml", s.contract)
	get("/problems/:name", s.problemPage)
	get("/v1/species", s.look(speciesList))
	get("/v1/species/:id", s.look(speciesRecord))
	get("/v1/species/:id/claims", s.look(speciesClaims))
	get("/v1/sources", s.look(sourceList))
	get("/v1/sources/:key", s.look(sourceRecord))
	get("/v1/rules", s.look(ruleList))
	e.POST("/v1/sizings", ask(s, cfg, questions, "SizingQuestion", false, sizing.Require))
	e.POST("/v1/assessments", ask(s, cfg, questions, "AssessmentQuestion", false, sizing.Assess))
	e.POST("/v1/matches", ask(s, cfg, questions, "MatchQuestion", true, s.match))
	e.POST("/v1/intakes", s.intake(cfg, lists))
	e.POST("/v1/company-checks", ask(s, cfg, questions, "CompanyQuestion", true, sizing.Company))
	e.POST("/v1/comparisons", ask(s, cfg, questions, "ComparisonQuestion", true, sizing.Compare))
	e.POST("/v1/change-plans", ask(s, cfg, questions, "ChangeQuestion", true, sizing.Changes))
	e.POST("/v1/outgrowings", ask(s, cfg, questions, "AssessmentQuestion", true, sizing.Outgrow))
	e.POST("/v1/handovers", ask(s, cfg, questions, "AssessmentQuestion", true, sizing.HandOver))
	e.POST("/v1/climates", ask(s, cfg, questions, "ClimateQuestion", true, sizing.Climate))
	// A plan that does not fit is tried some two hundred ways: such questions wait for
	// each other, not the others for them.
	e.POST("/v1/plans", s.plan(cfg, newSlots(2*runtime.GOMAXPROCS(0), cfg.MaxWait)))
	s.keptRoutes(e, cfg)
	return e
}

// webPages are the pages over the same catalogue; api is what they try questions on.
func (s *Server) webPages(cfg Config, api http.Handler) *pages.Site {
	at := newSlots(cfg.MaxAtOnce, cfg.MaxWait)
	return pages.New(pages.Config{Log: s.log, Store: cfg.Store, API: api, Take: at.take, Give: at.give, Snapshot: func() (pages.Snapshot, bool) {
		snap := s.snapshot.Load()
		if snap == nil {
			return pages.Snapshot{}, false
		}
		return pages.Snapshot{Catalogue: snap.Catalogue, Matcher: snap.matcher}, true
	}})
}

// keptRoutes serves what needs the store: the role is the least that may ask.
func (s *Server) keptRoutes(e *echo.Echo, cfg Config) {
	// Places of their own: those who wait for the database take none from a question.
	at := newSlots(cfg.MaxAtOnce, cfg.MaxWait)
	kept := func(least store.Role, f func(*visit) error) echo.HandlerFunc { return s.kept(cfg, at, least, f) }
	get := func(path string, least store.Role, f func(*visit) error) {
		h := kept(least, f)
		e.GET(path, h)
		e.HEAD(path, h)
	}
	post := func(path string, least store.Role, f func(*visit) error) { e.POST(path, kept(least, f)) }
	get("/v1/setups", store.Reader, setupList)
	post("/v1/setups", store.Keeper, createSetup)
	get("/v1/setups/:id", store.Reader, getSetup)
	e.PUT("/v1/setups/:id", kept(store.Keeper, putSetup))
	e.DELETE("/v1/setups/:id", kept(store.Keeper, deleteSetup))
	get("/v1/setups/:id/versions", store.Reader, setupVersions)
	get("/v1/setups/:id/assessments", store.Reader, setupAssessments)
	post("/v1/setups/:id/assessments", store.Keeper, assessSetup)
	get("/v1/saved-assessments", store.Reader, assessmentList)
	get("/v1/saved-assessments/:id", store.Reader, getAssessment)
	get("/v1/saved-assessments/:id/rework", store.Reader, reworkAssessment)
	post("/v1/reassessments", store.Keeper, reassess)
	get("/v1/keys", store.Admin, keyList)
	post("/v1/keys", store.Admin, createKey)
	e.DELETE("/v1/keys/:id", kept(store.Admin, revokeKey))
	get("/v1/organisation", store.Reader, ownOrganisation)
	get("/v1/organisation/export", store.Admin, exportOrganisation)
	post("/v1/organisation/deletion", store.Admin, deleteOrganisation)
	get("/v1/audit-trail", store.Admin, auditTrail)
	get("/v1/record-texts", store.Reader, recordText)
	get("/v1/record-revisions", store.Reader, revisionList)
	post("/v1/record-revisions", store.Curator, draftRevision)
	get("/v1/record-revisions/:id", store.Reader, getRevision)
	get("/v1/record-revisions/:id/difference", store.Reader, revisionDifference)
	post("/v1/record-revisions/:id/review", store.Curator, reviewRevision)
	post("/v1/record-checks", store.Reader, checkRevisions)
	post("/v1/record-publications", store.Curator, publishRevisions)
	post("/v1/record-withdrawals", store.Curator, withdrawRevisions)
	get("/v1/record-archives", store.Reader, exportRecords)
	post("/v1/record-archives", store.Curator, importRecords)
}

// Run listens on addr and serves until ctx ends; then it takes no new connection
// and finishes what it accepted. It returns nil after an orderly stop.
func (s *Server) Run(ctx context.Context, addr string, cfg Config) error {
	l, err := net.Listen("tcp", addr)
	if err != nil {
		return fmt.Errorf("listen: %w", err)
	}
	return s.Serve(ctx, l, cfg)
}

// Serve is Run on a listener, which it closes.
func (s *Server) Serve(ctx context.Context, l net.Listener, cfg Config) error {
	cfg = cfg.withDefaults()
	srv := &http.Server{
		Handler: s.Handler(cfg), ReadHeaderTimeout: cfg.ReadHeaderTimeout, ReadTimeout: cfg.ReadTimeout, WriteTimeout: cfg.WriteTimeout,
		IdleTimeout: cfg.IdleTimeout, MaxHeaderBytes: cfg.MaxHeaderBytes, ErrorLog: slog.NewLogLogger(s.log.Handler(), slog.LevelWarn),
	}
	ended := make(chan error, 1)
	go func() { ended <- srv.Serve(l) }()
	s.log.Info("listening", "address", l.Addr().String())
	select {
	case err := <-ended:
		return fmt.Errorf("serve: %w", err)
	case <-ctx.Done():
	}
	s.stopping.Store(true)
	s.log.Info("stopping", "grace", cfg.ShutdownTimeout.String())
	grace, cancel := context.WithTimeout(context.WithoutCancel(ctx), cfg.ShutdownTimeout)
	defer cancel()
	if err := srv.Shutdown(grace); err != nil {
		return errors.Join(fmt.Errorf("stop: %w", err), srv.Close())
	}
	return nil
}

// around wraps every request, also those without a route: request id, headers,
// panics, errors as problem documents, and one log line without bodies or queries.
func (s *Server) around(cfg Config, clients *gate, next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		start := time.Now()
		r, h := c.Request(), c.Response().Header()
		id := requestID(r)
		h.Set(echo.HeaderXRequestID, id)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Content-Security-Policy", "default-src 'none'; frame-ancestors 'none'")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		s.metrics.inFlight.Inc()
		defer s.metrics.inFlight.Dec()
		if crossOrigin(cfg.AllowOrigins, r, h) {
			c.Response().WriteHeader(http.StatusNoContent)
		} else if err := clients.limited(c); err != nil {
			s.fail(err, c)
		} else if err := s.guarded(c, next); err != nil {
			s.fail(err, c)
		}
		took := time.Since(start)
		s.metrics.answered(r.Method, c.Path(), c.Response().Status, took)
		s.log.LogAttrs(r.Context(), slog.LevelInfo, "request",
			slog.String("id", id), slog.String("method", r.Method), slog.String("route", c.Path()), slog.Int("status", c.Response().Status),
			slog.Int64("bytes", c.Response().Size), slog.Duration("took", took))
		return nil
	}
}

// guarded turns a panic into an error, and logs where it happened.
func (s *Server) guarded(c echo.Context, next echo.HandlerFunc) (err error) {
	defer func() {
		p := recover()
		if p == nil {
			return
		}
		if p == http.ErrAbortHandler {
			panic(p)
		}
		s.log.Error("panic", "id", c.Response().Header().Get(echo.HeaderXRequestID), "route", c.Path(), "panic", fmt.Sprint(p), "stack", string(debug.Stack()))
		err = &Problem{kind: internalError}
	}()
	return next(c)
}

// requestID is the client's, if it is short and plain, else a new one.
func requestID(r *http.Request) string {
	id := r.Header.Get(echo.HeaderXRequestID)
	plain := func(c rune) bool {
		return 'a' <= c && c <= 'z' || 'A' <= c && c <= 'Z' || '0' <= c && c <= '9' || c == '-' || c == '_' || c == '.'
	}
	if id != "" && len(id) <= 64 && strings.IndexFunc(id, func(c rune) bool { return !plain(c) }) < 0 {
		return id
	}
	var b [12]byte
	rand.Read(b[:]) // never fails, by its contract
	return hex.EncodeToString(b[:])
}

// crossOrigin sets what a browser needs to let a page of an allowed origin read the
// answer. It reports true for a preflight, which then needs no more than its headers.
func crossOrigin(allowed []string, r *http.Request, h http.Header) (preflight bool) {
	if len(allowed) == 0 {
		return false
	}
	h.Add(echo.HeaderVary, echo.HeaderOrigin)
	origin := r.Header.Get(echo.HeaderOrigin)
	if origin == "" || !slices.Contains(allowed, origin) {
		return false
	}
	h.Set(echo.HeaderAccessControlAllowOrigin, origin)
	h.Set(echo.HeaderAccessControlExposeHeaders, "ETag, Location, Retry-After, WWW-Authenticate, X-Request-ID")
	h.Set("Cross-Origin-Resource-Policy", "cross-origin")
	if r.Method != http.MethodOptions || r.Header.Get(echo.HeaderAccessControlRequestMethod) == "" {
		return false
	}
	h.Set(echo.HeaderAccessControlAllowMethods, "GET, HEAD, POST, PUT, DELETE")
	h.Set(echo.HeaderAccessControlAllowHeaders, "Authorization, Content-Type, Idempotency-Key, If-Match, If-None-Match, X-Request-ID")
	h.Set(echo.HeaderAccessControlMaxAge, "600")
	return true
}

// stamp is carried by every answer from the catalogue.
type stamp struct {
	Catalogue string `json:"catalogue_revision"`
	Engine    string `json:"engine_version"`
}

func (s *snapshot) stamp() stamp { return stamp{s.Revision, sizing.EngineVersion} }

// look serves a GET on the catalogue. The answer of f is final for its address, the
// catalogue's revision, the engine's version, the units and the contract, which is
// what its entity tag is made from.
func (s *Server) look(f func(*snapshot, *query) (any, error)) echo.HandlerFunc {
	return func(c echo.Context) error {
		snap := s.snapshot.Load()
		if snap == nil {
			return &Problem{kind: notReady}
		}
		q := newQuery(c)
		system := q.units()
		v, err := f(snap, q)
		if err != nil {
			return err
		}
		u := c.Request().URL
		digest := sha256.Sum256(fmt.Appendf(nil, "%s\n%s\n%s\n%s\n%s\n%s", snap.Revision, sizing.EngineVersion, s.shape, system, u.EscapedPath(), u.RawQuery))
		tag := `"` + hex.EncodeToString(digest[:16]) + `"`
		h := c.Response().Header()
		h.Set("ETag", tag)
		h.Set(echo.HeaderCacheControl, "no-cache") // may be kept, but is asked for again each time: never stale
		if matches(c.Request().Header.Values("If-None-Match"), tag) {
			return c.NoContent(http.StatusNotModified)
		}
		return s.send(c, v, system)
	}
}

// matches implements If-None-Match (RFC 9110, 13.1.2), with weak comparison.
func matches(fields []string, tag string) bool {
	for _, field := range fields {
		for part := range strings.SplitSeq(field, ",") {
			part = strings.TrimPrefix(strings.TrimSpace(part), "W/")
			if part == "*" || part == tag {
				return true
			}
		}
	}
	return false
}

// keptBuffer is the largest answer whose buffer is used again.
const keptBuffer = 1 << 20

// send encodes an answer and sends it.
func (s *Server) send(c echo.Context, v any, system quantity.System) error {
	buffer, _ := s.buffers.Get().(*[]byte)
	if buffer == nil {
		buffer = new([]byte)
	}
	body, err := s.encoding[system].Append((*buffer)[:0], v)
	if err != nil {
		return fmt.Errorf("encode: %w", err)
	}
	err = write(c, http.StatusOK, echo.MIMEApplicationJSON, body)
	if cap(body) <= keptBuffer { // nothing holds on to it: a Write must not
		*buffer = body
		s.buffers.Put(buffer)
	}
	return err
}

// write sends a whole body, or only its header to a HEAD.
func write(c echo.Context, status int, mediaType string, body []byte) error {
	w := c.Response()
	w.Header().Set(echo.HeaderContentType, mediaType)
	w.Header().Set(echo.HeaderContentLength, strconv.Itoa(len(body)))
	w.WriteHeader(status)
	if c.Request().Method == http.MethodHead {
		return nil
	}
	// An error here means that the client is gone; there is nobody left to tell.
	_, _ = w.Write(body)
	return nil
}

type health struct {
	Status    string `json:"status"`
	Catalogue string `json:"catalogue_revision,omitzero"`
	Engine    string `json:"engine_version"`
}

// health says that the process answers.
func (s *Server) health(c echo.Context) error {
	return s.plain(c, health{Status: "ok", Engine: sizing.EngineVersion})
}

// ready says that questions are answered: a catalogue is loaded and the service is not stopping.
func (s *Server) ready(c echo.Context) error {
	snap := s.snapshot.Load()
	if snap == nil || s.stopping.Load() {
		return &Problem{kind: notReady}
	}
	return s.plain(c, health{Status: "ready", Catalogue: snap.Revision, Engine: sizing.EngineVersion})
}

func (s *Server) plain(c echo.Context, v any) error {
	q := newQuery(c)
	q.units()
	if err := q.done(); err != nil {
		return err
	}
	c.Response().Header().Set(echo.HeaderCacheControl, "no-store")
	body, err := json.Marshal(v)
	if err != nil {
		return fmt.Errorf("encode: %w", err)
	}
	return write(c, http.StatusOK, echo.MIMEApplicationJSON, body)
}

func (s *Server) contract(c echo.Context) error {
	q := newQuery(c)
	q.units()
	if err := q.done(); err != nil {
		return err
	}
	tag := `"` + s.shape + `"`
	c.Response().Header().Set("ETag", tag)
	c.Response().Header().Set(echo.HeaderCacheControl, "no-cache")
	if matches(c.Request().Header.Values("If-None-Match"), tag) {
		return c.NoContent(http.StatusNotModified)
	}
	return write(c, http.StatusOK, "application/yaml", []byte(openapi.YAML()))
}

// pathParam is a path parameter with its escapes undone.
func pathParam(c echo.Context, name string) string {
	raw := c.Param(name)
	if c.Request().URL.RawPath != "" {
		if v, err := url.PathUnescape(raw); err == nil {
			return v
		}
	}
	return raw
}
