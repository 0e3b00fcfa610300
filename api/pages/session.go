package pages

import (
	"cmp"
	"crypto/rand"
	"errors"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"denwright/api/saved"
	"denwright/care/store"
)

// sessionCookie holds the key itself, as a browser has no header for it. The service
// keeps no sessions: any replica can serve any request, and a key that is revoked
// ends with the next page. An encrypted cookie would be worth as much to who steals
// it, and would need a secret that all replicas share. So it is out of reach of script
// (HttpOnly), goes over TLS alone where the page came over TLS, is not sent with what
// another site posts (SameSite=Lax; mount checks the origin of every POST besides),
// and ends with the browser.
//
// Before the key stand the role and whether the organisation curates, so that the pages
// of the main job can show the right doors without asking the database. They are no
// more than that: what may be done is decided by the store, from the key.
const sessionCookie = "session"

// session is who signed in, as the browser says.
type session struct {
	In      bool
	Role    store.Role
	curates bool
	secret  string
}

// Keeps and Curates say which doors to show.
func (s session) Keeps() bool   { return s.In && reaches(s.Role, store.Keeper) }
func (s session) Curates() bool { return s.In && s.curates && reaches(s.Role, store.Curator) }

// reaches reports whether a role may do what the least one may.
func reaches(role, least store.Role) bool {
	return slices.Index(store.Roles, role) >= slices.Index(store.Roles, least)
}

func (r *request) session() (s session) {
	cookie, err := r.Cookie(sessionCookie)
	if err != nil {
		return s
	}
	role, rest, _ := strings.Cut(cookie.Value, ".")
	curates, secret, ok := strings.Cut(rest, ".")
	if !ok || secret == "" {
		return s
	}
	return session{In: true, Role: store.Role(role), curates: curates == "y", secret: secret}
}

// begin keeps a key in the browser; end takes it out.
func (r *request) begin(who store.Caller, secret string) {
	curates := "n"
	if who.Curates {
		curates = "y"
	}
	r.setSession(string(who.Role)+"."+curates+"."+secret, 0)
}

func (r *request) end() { r.setSession("", -1) }

func (r *request) setSession(value string, age int) {
	r.SetCookie(&http.Cookie{Name: sessionCookie, Value: value, Path: "/", MaxAge: age, HttpOnly: true, Secure: r.Scheme() == "https", SameSite: http.SameSiteLaxMode})
}

// visitor is a request of somebody who signed in.
type visitor struct {
	*request
	store *store.Store
	who   store.Caller
}

// signedIn serves a page to who signed in with at least a role. The role is asked
// again by the store, which alone knows what belongs to whom.
func (s *Site) signedIn(least store.Role, h func(*visitor) error) func(*request) error {
	return func(r *request) error {
		// What an organisation keeps is nobody else's, a shared browser's next user included.
		r.Response().Header().Set("Cache-Control", "no-store")
		if s.store == nil {
			return nothingKept()
		}
		session := r.session()
		if !session.In {
			return r.signInFirst("")
		}
		who, err := s.store.Authenticate(r.Request().Context(), session.secret)
		if errors.Is(err, store.ErrUnauthenticated) {
			r.end()
			return r.signInFirst("unknown")
		}
		if err != nil {
			return r.kept(err)
		}
		if who.Role != session.Role || who.Curates != session.curates {
			r.begin(who, session.secret)
		}
		if !reaches(who.Role, least) {
			return r.notAllowed(least, who.Role)
		}
		return r.kept(h(&visitor{r, s.store, who}))
	}
}

func nothingKept() error { return &failure{status: http.StatusNotFound, key: "nothing-kept"} }

func (r *request) notAllowed(needs, has store.Role) error {
	return &failure{status: http.StatusForbidden, key: "not-allowed", detail: r.t("session.role-needed", string(needs), string(has))}
}

// signInFirst leads to the page to sign in and from there back. What was to be sent is
// kept in the page, to be sent again.
func (r *request) signInFirst(why string) error {
	if r.Request().Method == http.MethodPost {
		return r.again(http.StatusForbidden, "sign-in", 0)
	}
	q := url.Values{"back": {r.Request().URL.RequestURI()}}
	if why != "" {
		q.Set("why", why)
	}
	return r.Redirect(http.StatusSeeOther, "/sign-in?"+q.Encode())
}

// kept gives each error of the store the page that says what to do.
func (r *request) kept(err error) error {
	var known *failure
	var lost *store.Unavailable
	switch {
	case err == nil || errors.As(err, &known):
		return err
	case errors.Is(err, store.ErrForbidden):
		return &failure{status: http.StatusForbidden, key: "not-allowed", detail: saying(err, store.ErrForbidden)}
	case errors.Is(err, store.ErrUnauthenticated): // revoked between two questions
		return r.signInFirst("unknown")
	case errors.Is(err, store.ErrNotFound):
		return notFound()
	case errors.Is(err, store.ErrTokenReused):
		return r.again(http.StatusConflict, "token-reused", 0)
	case errors.Is(err, store.ErrStale):
		return &failure{status: http.StatusConflict, key: "overtaken", detail: saying(err, store.ErrStale)}
	case errors.Is(err, store.ErrInvalid):
		return &failure{status: http.StatusUnprocessableEntity, key: "not-storable", detail: saying(err, store.ErrInvalid)}
	case errors.As(err, &lost):
		// The driver's words name hosts and users: they are for the log alone.
		r.site.log.Warn("database unavailable", "id", r.Response().Header().Get("X-Request-Id"), "route", r.Path(), "error", err.Error())
		if lost.Full {
			return r.again(http.StatusServiceUnavailable, "full", lost.RetryAfter)
		}
		return r.again(http.StatusServiceUnavailable, "away", lost.RetryAfter)
	case errors.Is(err, store.ErrSchema):
		r.site.log.Error("database unfit", "id", r.Response().Header().Get("X-Request-Id"), "route", r.Path(), "error", err.Error())
		return r.again(http.StatusServiceUnavailable, "schema", time.Minute)
	}
	return err
}

// saying is what the store says of an error beyond its kind.
func saying(err, kind error) string {
	text, ok := strings.CutPrefix(err.Error(), kind.Error()+": ")
	if !ok {
		return ""
	}
	return text
}

// againData is a page that keeps what could not be taken, to be sent once more.
type againData struct {
	Key    string
	Action string
	// Fields are those of a form; nil where the page only has to be asked for again.
	Fields []namedValue
	// Upload: a file was sent, which has to be chosen again.
	Upload bool
}

type namedValue struct{ Name, Value string }

// again answers what could not be done now, with nothing lost. A form that was used
// before gets a new token; else the same goes again, so that what was done after all
// is not done twice.
func (r *request) again(status int, key string, after time.Duration) error {
	d := againData{Key: key, Action: r.Request().URL.RequestURI()}
	if after > 0 {
		r.Response().Header().Set("Retry-After", strconv.Itoa(int(after.Seconds()+0.999)))
	}
	if r.Request().Method == http.MethodPost {
		d.Upload = r.Request().PostForm == nil
		for name, values := range r.Request().PostForm {
			for _, v := range values {
				if name == tokenField && key == "token-reused" {
					v = newToken()
				}
				d.Fields = append(d.Fields, namedValue{name, v})
			}
		}
		slices.SortStableFunc(d.Fields, func(a, b namedValue) int { return cmp.Compare(a.Name, b.Name) })
	}
	return r.renderStatus(status, "again", r.t("again."+key+".title"), d)
}

// tokenField is the hidden field that makes a form that is sent twice count once.
const tokenField = "token"

func newToken() string { return rand.Text() }

func (r *request) token() string { return strings.TrimSpace(r.Request().PostFormValue(tokenField)) }

// posted is a field of the form sent, without blanks around it.
func (r *request) posted(name string) string {
	return strings.TrimSpace(r.Request().PostFormValue(name))
}

// seeOther leads to a page after something was done, which it says.
func (r *request) seeOther(path, done string) error {
	u, err := url.Parse(path)
	if err != nil {
		return err
	}
	if done != "" {
		q := u.Query()
		q.Set("done", done)
		u.RawQuery = q.Encode()
	}
	return r.Redirect(http.StatusSeeOther, u.RequestURI())
}

// done is the key of the text about what was just done, where the address says so.
func (r *request) done() string { return r.QueryParam("done") }

type signInData struct {
	Back    string
	Why     string
	Problem string
	Done    string
	Session session
}

// signInPage takes a key.
func signInPage(r *request) error {
	if r.site.store == nil {
		return nothingKept()
	}
	d := signInData{Back: r.QueryParam("back"), Done: r.done(), Session: r.session()}
	if r.QueryParam("why") == "unknown" {
		d.Why = r.t("sign-in.unknown-since")
	}
	return r.render("sign-in", r.t("sign-in.title"), d)
}

func signIn(r *request) error {
	if r.site.store == nil {
		return nothingKept()
	}
	d := signInData{Back: r.posted("back")}
	secret := strings.Join(strings.Fields(r.posted("key")), "") // a key copied out of a mail may be broken in two
	who, err := r.site.store.Authenticate(r.Request().Context(), secret)
	status := http.StatusUnprocessableEntity
	var lost *store.Unavailable
	switch {
	case err == nil:
		r.begin(who, secret)
		return r.Redirect(http.StatusSeeOther, localPath(cmp.Or(d.Back, "/setups")))
	case secret == "":
		d.Problem = r.t("sign-in.empty")
	case errors.Is(err, store.ErrUnauthenticated):
		d.Problem = r.t("sign-in.unknown")
	case errors.As(err, &lost), errors.Is(err, store.ErrSchema):
		// The key is not written into a page to be sent again.
		r.site.log.Warn("database unavailable", "id", r.Response().Header().Get("X-Request-Id"), "route", r.Path(), "error", err.Error())
		status, d.Problem = http.StatusServiceUnavailable, r.t("sign-in.away")
	default:
		return err
	}
	return r.renderStatus(status, "sign-in", r.t("sign-in.title"), d)
}

func signOut(r *request) error {
	r.end()
	return r.seeOther("/sign-in", "signed-out")
}

type accountData struct {
	Organisation store.Organisation
	Who          store.Caller
	Admin        bool
	Done         string
}

// accountPage says who signed in and what the key may do.
func accountPage(v *visitor) error {
	o, err := saved.Organisation(v.Request().Context(), v.store, v.who)
	if err != nil {
		return err
	}
	return v.render("account", v.t("account.title"), accountData{Organisation: o, Who: v.who, Admin: reaches(v.who.Role, store.Admin), Done: v.done()})
}
