package pages_test

import (
	"context"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"denwright/api"
	"denwright/care"
	"denwright/care/store"
)

// looked is a page that is looked at in a browser and whose markup is checked. Add a
// page here, in each state that looks different, and every check goes over it.
type looked struct {
	name   string     // of its pictures
	path   string     // with {setup}, {assessment}, {revision} and {dragon} for what house made; {dragon} is a query
	status int        // 200 where left out
	as     store.Role // who looks; nobody in particular where left out
}

const (
	oneDragon  = "units=metric&species=pogona-vitticeps&animals.0.count=1&animals.0.stage=adult"
	badAnimals = "units=metric&species=boa&animals.0.count=many&animals.1.count=2&animals.1.length=12+furlongs"
)

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
	{name: "size", path: "/size?" + oneDragon + "&jurisdiction=DE"},
	{name: "size-bad", path: "/size?" + badAnimals},
	{name: "plan-empty", path: "/plan"},
	{name: "plan", path: "/plan?" + oneDragon + "&start=usual"},
	{name: "plan-bare", path: "/plan?" + oneDragon},
	{name: "plan-blocked", path: "/plan?" + oneDragon + "&start=usual&enclosure.length=50&enclosure.width=40&enclosure.height=40"},
	{name: "plan-bad", path: "/plan?" + badAnimals},
	{name: "assess-empty", path: "/assess"},
	{name: "assess", path: "/assess?{dragon}"},
	{name: "assess-unknown", path: "/assess?" + oneDragon},
	{name: "assess-bad", path: "/assess?" + badAnimals + "&setup.inside.length=long"},
	{name: "handover", path: "/handover?{dragon}"},
	{name: "outgrow", path: "/outgrow?{dragon}"},
	{name: "changes", path: "/changes?{dragon}"},
	{name: "compare", path: "/compare?{dragon}"},
	{name: "company-empty", path: "/company"},
	{name: "company", path: "/company?units=metric&members.0.species=pogona-vitticeps&members.0.count=1&members.0.stage=adult&members.2.species=python-regius&members.2.count=1&members.2.stage=adult"},
	{name: "climate-bad-animals", path: "/climate?" + badAnimals + "&enclosure.length=long"},
	{name: "match-empty", path: "/match"},
	{name: "match", path: "/match?{dragon}"},
	{name: "intake", path: "/intake"},
	{name: "api", path: "/api"},
	{name: "api-quick-start", path: "/api/quick-start"},
	{name: "api-size", path: "/api/size"},
	{name: "api-climate", path: "/api/climate"},
	{name: "api-list-species", path: "/api/listSpecies"},
	{name: "api-intake", path: "/api/takeIn"},
	{name: "api-key", path: "/api/createSetup"},
	{name: "api-answer", path: "/api/assess/answer"},
	{name: "api-answer-apart", path: "/api/climate/answer"},
	{name: "api-answer-of", path: "/api/climate/answer?of=heating"},
	{name: "api-no-such", path: "/api/nothing", status: http.StatusNotFound},
	{name: "size-unknown", path: "/size?units=metric&species=rhinella-marina&animals.0.count=1&animals.0.stage=adult"},
	{name: "size-young", path: "/size?units=metric&species=pogona-vitticeps&animals.0.count=1&animals.0.stage=juvenile"},
	{name: "plan-damp", path: "/plan?units=metric&species=chamaeleo-calyptratus&animals.0.count=1&animals.0.stage=adult&usual=yes&room.temperature=20&room.humidity=45" +
		"&equipment.0.kind=basking_lamp&equipment.0.count=2&equipment.0.guarded=yes&equipment.0.max_hang=60&equipment.1.kind=uv_fixture&equipment.1.length=55&equipment.1.max_hang=60&equipment.1.secured=yes&equipment.1.splash_proof=yes&equipment.2.kind=mist_nozzle&equipment.2.output_per_minute=0.08"},
	{name: "plan-changes", path: "/plan?units=metric&species=pogona-vitticeps&animals.0.count=1&animals.0.stage=adult&enclosure.length=120&enclosure.width=60&enclosure.height=60&equipment.0.kind=basking_lamp&equipment.0.guarded=yes&equipment.1.kind=uv_fixture&equipment.1.length=40"},
	{name: "climate-empty", path: "/climate"},
	{name: "climate-advised", path: "/climate?units=metric&species=python-regius&animals.0.count=1&animals.0.stage=adult"},
	{name: "climate", path: glassBoxPath},
	{name: "climate-light", path: glassBoxPath + "&part=light"},
	{name: "climate-damp", path: glassBoxPath + "&part=damp"},
	{name: "climate-ground", path: glassBoxPath + "&part=ground"},
	{name: "climate-form", path: glassBoxPath + "&edit=yes"},
	{name: "climate-bad", path: glassBoxPath + "&heat_sources.1.kind=fire&uv_lamps.1.shape=tube"},
	{name: "method", path: "/method"},
	{name: "not-found", path: "/species/beardie", status: http.StatusNotFound},
	{name: "nothing-there", path: "/nothing/there", status: http.StatusNotFound},
	{name: "sign-in", path: "/sign-in"},
	{name: "account", path: "/account", as: store.Admin},
	{name: "setups", path: "/setups", as: store.Admin},
	{name: "setup", path: "/setups/{setup}", as: store.Admin},
	{name: "setup-text", path: "/setups/{setup}/text", as: store.Admin},
	{name: "setup-versions", path: "/setups/{setup}/versions", as: store.Admin},
	{name: "setup-answer", path: "/setups/{setup}/assessments/{assessment}", as: store.Admin},
	{name: "setup-delete", path: "/setups/{setup}/delete", as: store.Admin},
	{name: "setup-changes", path: "/setups/changes", as: store.Admin},
	{name: "keys", path: "/keys", as: store.Admin},
	{name: "audit", path: "/audit", as: store.Admin},
	{name: "organisation", path: "/organisation", as: store.Admin},
	{name: "records", path: "/records", as: store.Admin},
	{name: "record", path: "/records/files/species/pogona-vitticeps.yaml", as: store.Admin},
	{name: "record-edit", path: "/records/edit/species/pogona-vitticeps.yaml", as: store.Admin},
	{name: "revisions", path: "/records/revisions", as: store.Admin},
	{name: "revision", path: "/records/revisions/{revision}", as: store.Admin},
	{name: "records-import", path: "/records/import", as: store.Admin},
	{name: "not-allowed", path: "/keys", as: store.Reader, status: http.StatusForbidden},
}

// glassBoxPath is the question of testdata/demo/climate-glass-box.json.
const glassBoxPath = "/climate?units=metric&species=eublepharis-macularius&animals.0.count=1&animals.0.stage=adult&enclosure.length=60&enclosure.width=45&enclosure.height=45" +
	"&enclosure.walls.construction=glass-4mm&enclosure.lid.kind=mesh&enclosure.vents.0.side=front&enclosure.vents.0.area=60&substrate.kind=sandy+clay+loam&substrate.depth=5&drainage.depth=3" +
	"&room.winter.temperature=20&room.winter.night_temperature=17&room.winter.humidity=35&room.summer.temperature=25&room.summer.humidity=55" +
	"&heat_sources.0.kind=halogen-lamp&heat_sources.0.power=50&heat_sources.0.from_left=12&uv_lamps.0.shape=tube&uv_lamps.0.lit_length=50&uv_lamps.0.reading.uv_index=2.4&uv_lamps.0.reading.distance=30" +
	"&uv_lamps.0.height=42&uv_lamps.0.platform=6&humidifier.kind=fogger&humidifier.output_per_hour=0.3&humidifier.runs_per_day=3&humidifier.run_time=5&water.area=80&water.depth=3"

func (p looked) want() int {
	if p.status == 0 {
		return http.StatusOK
	}
	return p.status
}

// service is all of the program with its pages, over the embedded catalogue and a
// database of its own with a key of each role.
type service struct {
	http.Handler
	keys     map[store.Role]string
	sessions map[store.Role]*http.Cookie
	ids      map[string]string
}

// at puts what was made for the test into a path.
func (s *service) at(path string) string {
	for name, id := range s.ids {
		path = strings.ReplaceAll(path, "{"+name+"}", id)
	}
	return path
}

func house(t testing.TB) *service {
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
	ctx := context.Background()
	c, err := st.Snapshot(ctx)
	if err != nil {
		t.Fatal(err)
	}
	s := &service{keys: map[store.Role]string{}, sessions: map[store.Role]*http.Cookie{}, ids: map[string]string{}}
	s.Handler = api.New(c, slog.New(slog.NewTextHandler(io.Discard, nil))).Handler(api.Config{Store: st})
	org, err := st.CreateOrganisation(ctx, store.Operator("operator"), "Saltmarsh Lane Rescue", true)
	if err != nil {
		t.Fatal(err)
	}
	for _, role := range store.Roles {
		if _, s.keys[role], err = st.CreateKey(ctx, store.Operator("operator"), org.ID, "", string(role)+" person", role); err != nil {
			t.Fatal(err)
		}
		w := s.post(nil, "/sign-in", url.Values{"key": {s.keys[role]}})
		for _, cookie := range w.Result().Cookies() {
			if cookie.HttpOnly && cookie.Value != "" {
				s.sessions[role] = cookie
			}
		}
		if s.sessions[role] == nil {
			t.Fatalf("%s can't sign in: %d", role, w.Code)
		}
	}
	admin := s.sessions[store.Admin]
	question, err := os.ReadFile("../../testdata/demo/donated-dragon-tank.json")
	if err != nil {
		t.Fatal(err)
	}
	led := func(w *httptest.ResponseRecorder, to string) string {
		id, ok := strings.CutPrefix(w.Header().Get("Location"), to)
		if !ok {
			t.Fatalf("%d, led to %q, want %s", w.Code, w.Header().Get("Location"), to)
		}
		id, _, _ = strings.Cut(id, "?saved=")
		return id
	}
	s.ids["setup"], _, _ = strings.Cut(led(s.post(admin, "/setups", url.Values{"name": {"Tank by the back door"}, "question": {string(question)}, "token": {"pages-test-setup-1"}}), "/setups/"), "?")
	s.ids["dragon"] = led(s.get(admin, "/setups/"+s.ids["setup"]+"/edit", "en-GB"), "/assess?")
	who, err := st.Authenticate(ctx, s.keys[store.Admin])
	if err != nil {
		t.Fatal(err)
	}
	answers, err := st.Assessments(ctx, who, store.AssessmentFilter{Setup: s.ids["setup"]}, store.Page{})
	if err != nil || len(answers.Items) == 0 {
		t.Fatalf("%d answers are kept: %v", len(answers.Items), err)
	}
	s.ids["assessment"] = answers.Items[0].ID
	const file = "species/pogona-vitticeps.yaml"
	now, err := st.InForce(ctx, who, file)
	if err != nil {
		t.Fatal(err)
	}
	draft := s.post(admin, "/records/edit/"+file, url.Values{"body": {now.Body + "# looked at again\n"}, "why": {"for the test"}, "parent": {""}, "do": {"draft"}, "token": {"pages-test-draft-1"}})
	s.ids["revision"], _, _ = strings.Cut(led(draft, "/records/revisions/"), "?")
	return s
}

// get asks for a page as a browser does, with the session of who signed in or none.
func (s *service) get(session *http.Cookie, path, language string) *httptest.ResponseRecorder {
	r := httptest.NewRequest(http.MethodGet, path, nil)
	r.Header.Set("Accept", "text/html,application/xhtml+xml,*/*;q=0.8")
	r.Header.Set("Accept-Language", language)
	return s.answer(session, r)
}

// post sends a form of a page.
func (s *service) post(session *http.Cookie, path string, form url.Values) *httptest.ResponseRecorder {
	r := httptest.NewRequest(http.MethodPost, path, strings.NewReader(form.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.Header.Set("Sec-Fetch-Site", "same-origin")
	return s.answer(session, r)
}

func (s *service) answer(session *http.Cookie, r *http.Request) *httptest.ResponseRecorder {
	if session != nil {
		r.AddCookie(session)
	}
	w := httptest.NewRecorder()
	s.ServeHTTP(w, r)
	return w
}

// Every page that can be reached from the first one is there, small, valid and
// carries no script or style of its own. Of a page that takes a query one is looked
// at for each address, and those listed in lookedAt.
func TestEveryPageReached(t *testing.T) {
	h := house(t)
	type visit struct {
		path, from string
		as         store.Role
	}
	var queue []visit
	wanted := map[string]int{}
	for _, p := range lookedAt {
		queue = append(queue, visit{h.at(p.path), "the list", p.as})
		wanted[string(p.as)+h.at(p.path)] = p.want()
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
		w := h.get(h.sessions[next.as], next.path, language)
		want := http.StatusOK
		if s, ok := wanted[string(next.as)+next.path]; ok {
			want = s
		}
		if w.Code == http.StatusSeeOther {
			queue = append(queue, visit{w.Header().Get("Location"), next.path, next.as})
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
			if to.Host == u.Host && to.Scheme == u.Scheme {
				place := to.Fragment
				to.Fragment = ""
				if place != "" {
					if places[to.String()] == nil {
						places[to.String()] = map[string]string{}
					}
					places[to.String()][place] = next.path
				}
				queue = append(queue, visit{to.String(), next.path, next.as})
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
