package pages_test

import (
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"slices"
	"strings"
	"testing"

	"denwright/api"
	"denwright/care"
)

// looked is a page that is looked at in a browser and whose markup is checked. Add a
// page here, in each state that looks different, and every check goes over it.
type looked struct {
	name   string // of its pictures
	path   string
	status int // 200 where left out
}

var lookedAt = []looked{
	{name: "home", path: "/"},
	{name: "species-list", path: "/species"},
	{name: "species-several", path: "/species?q=bearded+dragon"},
	{name: "species-none", path: "/species?q=zzzzqqq"},
	{name: "species", path: "/species/pogona-vitticeps"},
	{name: "species-juvenile", path: "/species/testudo-hermanni?stage=juvenile"},
	{name: "claims", path: "/species/pogona-vitticeps/claims"},
	{name: "sources", path: "/sources"},
	{name: "source", path: "/sources/de_gutachten_1997"},
	{name: "size-empty", path: "/size"},
	{name: "size", path: "/size?units=metric&species=pogona-vitticeps&animals.0.count=1&animals.0.stage=adult&jurisdiction=DE"},
	{name: "size-bad", path: "/size?units=metric&species=boa&animals.0.count=many&animals.1.count=2&animals.1.length=12+furlongs"},
	{name: "api", path: "/api"},
	{name: "api-quick-start", path: "/api/quick-start"},
	{name: "api-size", path: "/api/size"},
	{name: "api-climate", path: "/api/climate"},
	{name: "api-list-species", path: "/api/listSpecies"},
	{name: "api-intake", path: "/api/takeIn"},
	{name: "api-answer", path: "/api/assess/answer"},
	{name: "api-answer-apart", path: "/api/climate/answer"},
	{name: "api-answer-of", path: "/api/climate/answer?of=heating"},
	{name: "api-no-such", path: "/api/nothing", status: http.StatusNotFound},
	{name: "method", path: "/method"},
	{name: "not-found", path: "/species/beardie", status: http.StatusNotFound},
	{name: "nothing-there", path: "/nothing/there", status: http.StatusNotFound},
}

func (p looked) want() int {
	if p.status == 0 {
		return http.StatusOK
	}
	return p.status
}

// awaited are pages that others lead to and that are not there yet.
var awaited = words("/plan /climate /assess /match /intake")

// house is the whole service with its pages, over the embedded catalogue.
func house(t testing.TB) http.Handler {
	t.Helper()
	c, err := care.Embedded()
	if err != nil {
		t.Fatal(err)
	}
	return api.New(c, slog.New(slog.NewTextHandler(io.Discard, nil))).Handler(api.Config{})
}

// get asks for a page as a browser does.
func get(h http.Handler, path, language string) *httptest.ResponseRecorder {
	r := httptest.NewRequest(http.MethodGet, path, nil)
	r.Header.Set("Accept", "text/html,application/xhtml+xml,*/*;q=0.8")
	r.Header.Set("Accept-Language", language)
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}

// Every page that can be reached from the first one is there, small, valid and
// carries no script or style of its own. Of a page that takes a query one is looked
// at for each address, and those listed in lookedAt.
func TestEveryPageReached(t *testing.T) {
	h := house(t)
	type visit struct{ path, from string }
	var queue []visit
	for _, p := range lookedAt {
		queue = append(queue, visit{p.path, "the list"})
	}
	wanted := map[string]int{}
	for _, p := range lookedAt {
		wanted[p.path] = p.want()
	}
	seen, asked := map[string]bool{}, map[string]bool{}
	titles := map[string]string{}
	places := map[string]map[string]string{} // page → place in it that is led to → from where
	ids := map[string]map[string]int{}
	pages := 0
	for len(queue) > 0 {
		next := queue[0]
		queue = queue[1:]
		u, err := url.Parse(next.path)
		if err != nil {
			t.Errorf("%s leads to %q: %v", next.from, next.path, err)
			continue
		}
		if seen[next.path] || next.from != "the list" && u.RawQuery != "" && asked[u.Path] && !strings.HasPrefix(u.Path, "/api/") {
			continue
		}
		seen[next.path] = true
		asked[u.Path] = asked[u.Path] || u.RawQuery != ""
		language := []string{"en-GB", "en-US"}[pages%2] // either system of units
		w := get(h, next.path, language)
		want := http.StatusOK
		if s, ok := wanted[next.path]; ok {
			want = s
		}
		if w.Code == http.StatusSeeOther {
			queue = append(queue, visit{w.Header().Get("Location"), next.path})
			continue
		}
		if w.Code != want {
			t.Errorf("%s leads to %s: %d, want %d", next.from, next.path, w.Code, want)
			continue
		}
		if !strings.HasPrefix(w.Header().Get("Content-Type"), "text/html") {
			continue
		}
		pages++
		if w.Body.Len() > 60_000 {
			t.Errorf("%s: %d bytes, want at most 60,000", next.path, w.Body.Len())
		}
		policy := w.Header().Get("Content-Security-Policy")
		for _, part := range []string{"default-src 'none'", "style-src 'self'", "script-src 'self'", "base-uri 'none'", "frame-ancestors 'none'", "form-action 'self'"} {
			if !strings.Contains(policy, part) {
				t.Errorf("%s: the content policy lacks %s: %q", next.path, part, policy)
			}
		}
		if strings.Contains(policy, "unsafe") {
			t.Errorf("%s: the content policy is %q", next.path, policy)
		}
		m := readMarkup(w.Body.String())
		ids[next.path] = m.ids
		for _, fault := range m.faults {
			t.Errorf("%s: %s", next.path, fault)
		}
		if other, twice := titles[m.title]; twice && u.RawQuery == "" && want == http.StatusOK {
			t.Errorf("%s and %s have the same title, %q", other, next.path, m.title)
		} else if u.RawQuery == "" {
			titles[m.title] = next.path
		}
		for _, link := range m.links {
			to, err := u.Parse(link)
			if err != nil {
				t.Errorf("%s has the link %q: %v", next.path, link, err)
				continue
			}
			if to.Host == u.Host && to.Scheme == u.Scheme && !slices.Contains(awaited, to.Path) {
				place := to.Fragment
				to.Fragment = ""
				if place != "" {
					if places[to.String()] == nil {
						places[to.String()] = map[string]string{}
					}
					places[to.String()][place] = next.path
				}
				queue = append(queue, visit{to.String(), next.path})
			}
		}
	}
	for page, wanted := range places {
		for place, from := range wanted {
			if _, ok := ids[page][place]; ids[page] != nil && !ok {
				t.Errorf("%s leads to %s in %s, which is not there", from, place, page)
			}
		}
	}
	t.Logf("%d pages", pages)
	if pages < len(lookedAt) {
		t.Errorf("%d pages were read, fewer than are listed", pages)
	}
}
