package pages

import (
	"bytes"
	"fmt"
	"html"
	"io"
	"net/http/httptest"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"github.com/go-json-experiment/json"
	"github.com/google/go-cmp/cmp"
	"github.com/labstack/echo/v4"

	"denwright/care"
	"denwright/sizing"
	"denwright/sizing/intake"
	"denwright/testdata/demo"
)

// demoQuestions are the invented assessments: the tank, and every row of the van that
// names a species and can be read.
func demoQuestions(t *testing.T) map[string]sizing.AssessmentQuestion {
	t.Helper()
	out := map[string]sizing.AssessmentQuestion{}
	var q sizing.AssessmentQuestion
	if err := json.Unmarshal(demo.DonatedTank, &q); err != nil {
		t.Fatal(err)
	}
	out["tank"] = q
	rows, err := intake.NewReader(bytes.NewReader(demo.VanCSV), intake.Auto)
	if err != nil {
		t.Fatal(err)
	}
	for {
		row, err := rows.Next()
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		if row.Species == "" || len(row.Faults) > 0 {
			continue
		}
		animals := row.Animals
		if len(animals) == 0 { // as an intake takes it
			animals = []sizing.Animal{{Count: 1, Stage: care.Adult}}
		}
		out[row.ID] = sizing.AssessmentQuestion{Question: sizing.Question{Species: row.Species, Animals: animals, Jurisdiction: row.Jurisdiction}, Setup: row.Setup}
	}
	if len(out) < 10 {
		t.Fatalf("only %d assessments in the demo", len(out))
	}
	return out
}

// viewer is a request of a viewer, for what needs no page.
func viewer(t *testing.T) *request {
	t.Helper()
	c, err := care.Embedded()
	if err != nil {
		t.Fatal(err)
	}
	snap := Snapshot{Catalogue: c, Matcher: sizing.NewMatcher(c)}
	s := New(Config{Snapshot: func() (Snapshot, bool) { return snap, true }})
	r := s.request(echo.New().NewContext(httptest.NewRequest("GET", "/assess", nil), httptest.NewRecorder()))
	r.snap = snap
	return r
}

// A question written as a form and read back is the same question.
func TestFormReadsBackTheQuestion(t *testing.T) {
	r := viewer(t)
	for name, q := range demoQuestions(t) {
		values, err := queryOf(q)
		if err != nil {
			t.Fatal(err)
		}
		_, got, ok := r.assessmentOf(values)
		if !ok {
			t.Errorf("%s: the form can't be read: %s", name, values.Encode())
			continue
		}
		text := func(q sizing.AssessmentQuestion) string {
			raw, err := json.Marshal(q, json.Deterministic(true))
			if err != nil {
				t.Fatal(err)
			}
			return string(raw)
		}
		if diff := cmp.Diff(text(q), text(got)); diff != "" {
			t.Errorf("%s: (-asked +read back)\n%s", name, diff)
		}
	}
}

// The page says what the engine says: verdict, score, hazards and every finding.
func TestAssessPageSaysWhatTheEngineSays(t *testing.T) {
	h, r := serve(t), viewer(t)
	for name, q := range demoQuestions(t) {
		values, err := queryOf(q)
		if err != nil {
			t.Fatal(err)
		}
		_, q, _ = r.assessmentOf(values) // to the digits with which a form writes them
		a, err := sizing.Assess(r.snap.Catalogue, q)
		if err != nil {
			continue // a name that several species bear: told at its field
		}
		_, body := visit(t, h, "/assess?"+values.Encode())
		text := html.UnescapeString(body)
		want := []string{`<p class="big">` + r.all.word("verdict-big", a.Verdict) + "</p>", "Score: " + writeInterval(a.Score)}
		for _, z := range present(a.Hazards) {
			want = append(want, ": "+z.Name+"</strong>")
		}
		for _, f := range a.Findings {
			want = append(want, f.Name)
			if f.Value != nil && f.Value.Unit != "animals" {
				want = append(want, r.q(f.Value))
			}
			for _, key := range f.Sources {
				want = append(want, `href="/sources/`+key+`"`)
			}
		}
		for _, ch := range a.Changes[:min(len(a.Changes), mostChanges)] {
			want = append(want, ch.What)
		}
		if a.Lawful != nil {
			want = append(want, "<strong>"+r.all.word("lawful", a.Lawful.Standing)+"</strong>")
		}
		for _, w := range want {
			if !strings.Contains(text, w) {
				t.Errorf("%s: the page lacks %q", name, w)
			}
		}
	}
}

// Whatever is not known leads to a field of the form, but for what no field settles.
func TestWhatIsNotKnownLeadsToItsField(t *testing.T) {
	h, r := serve(t), viewer(t)
	setups := []string{
		"", "&setup.inside.length=100&setup.inside.width=50&setup.inside.height=50",
		"&setup.heat_sources.0.kind=heat-mat&setup.heat_sources.1.kind=halogen-lamp&setup.heat_sources.1.guarded=no&setup.rocks.present=yes&setup.uv.basking=2",
	}
	link := regexp.MustCompile(`href="#(f-[^"]*)"`)
	for i, s := range r.snap.Species() {
		for _, setup := range setups[i%3 : i%3+1] {
			path := "/assess?units=metric&animals.0.count=2&animals.0.stage=adult&species=" + s.ID + setup
			status, body := visit(t, h, path)
			links := link.FindAllStringSubmatch(body, -1)
			if status != 200 || len(links) < 5 {
				t.Errorf("%s: %d with %d links", path, status, len(links))
			}
			for _, m := range links {
				if !strings.Contains(body, ` id="`+m[1]+`"`) {
					t.Errorf("%s: nothing on the page is %s", path, m[1])
				}
			}
			_, open, _ := strings.Cut(body, `<ul class="open">`)
			open, _, _ = strings.Cut(open, "</ul>")
			for line := range strings.SplitSeq(open, "<li>") {
				if line = strings.TrimSpace(line); line != "" && !strings.HasPrefix(line, "<a ") && !strings.HasPrefix(line, "Find a published figure") {
					t.Errorf("%s: leads to no field: %s", path, line)
				}
			}
		}
	}
}

// What is wrong is told at its field, in the row where it was typed, with what was typed.
func TestAssessProblemsAtTheirFields(t *testing.T) {
	h := serve(t)
	const who = "/assess?units=metric&species=pogona-vitticeps&animals.0.count=1&animals.0.stage=adult"
	for _, c := range []struct{ query, id, keeps string }{
		{"&setup.heat_sources.2.power=75", "f-heat_sources-2-kind", `value="75"`},
		{"&setup.heat_sources.1.kind=halogen-lamp&setup.heat_sources.1.power=9999", "f-heat_sources-1-power", `value="9999"`},
		{"&setup.heat_sources.0.kind=halogen-lamp&setup.heat_sources.3.kind=campfire", "f-heat_sources-3-kind", ""},
		{"&setup.heat_sources=yes&setup.heat_sources.0.kind=heat-mat", "f-heat_sources", ""},
		{"&setup.inside.length=12+furlongs", "f-inside-length", `value="12 furlongs"`},
		{"&setup.inside.length=long", "f-inside-length", `value="long"`},
		{"&setup.inside.height=30&setup.inside.lowest_fixture=40", "f-inside-lowest_fixture", `value="40"`},
		{"&setup.uv.basking=99", "f-uv-basking", `value="99"`},
		{"&setup.humidity.day=350", "f-humidity-day", `value="350"`},
		{"&setup.retreats.warm=perhaps", "f-retreats-warm", ""},
		{"&setup.temperatures.hot_spot=104+%C2%B0F&setup.temperatures.cool_air=999", "f-temperatures-cool_air", `value="104 °F"`},
	} {
		status, body := visit(t, h, who+c.query)
		if status != 200 || !strings.Contains(body, `id="`+c.id+`-problem"`) || !strings.Contains(body, `href="#`+c.id+`"`) || !strings.Contains(body, c.keeps) {
			t.Errorf("%s: %d; no problem at %s, or %s was not kept", c.query, status, c.id, c.keeps)
		}
		if strings.Contains(body, `<p class="big">`) {
			t.Errorf("%s: a verdict beside a problem", c.query)
		}
		// The part that holds it is open.
		_, part, _ := strings.Cut(body, `<details class="part"`)
		for part != "" {
			var this string
			this, part, _ = strings.Cut(part, `<details class="part"`)
			if strings.Contains(this, `id="`+c.id+`-problem"`) && !strings.HasPrefix(strings.SplitN(this, ">", 2)[0], ` id="part-`+regexp.MustCompile(`part-(\w+)`).FindStringSubmatch(this)[1]+`" open`) {
				t.Errorf("%s: the problem is folded away", c.query)
			}
		}
	}
	// A name of several species leads on with everything else kept.
	_, body := visit(t, h, "/assess?units=metric&species=boa&animals.0.count=1&animals.0.stage=adult&setup.inside.length=120")
	if !strings.Contains(body, "setup.inside.length=120") || !strings.Contains(body, "species=boa-constrictor") {
		t.Error("no way on from a name of several species that keeps the setup")
	}
}

// Adding a heat source asks nothing yet and keeps what was typed.
func TestAddingARow(t *testing.T) {
	_, body := visit(t, serve(t), "/assess?units=metric&species=pogona-vitticeps&animals.0.count=1&setup.heat_sources.0.kind=heat-mat&add=setup.heat_sources")
	if strings.Contains(body, `<p class="big">`) || !strings.Contains(body, `name="setup.heat_sources.1.kind"`) || !strings.Contains(body, `<option value="heat-mat" selected>`) {
		t.Error("adding a row did not give one more, or lost what was typed")
	}
}

// The pages that follow an assessment say what the engine says, and lead back to it
// where its question is not complete.
func TestFollowingPages(t *testing.T) {
	h, r := serve(t), viewer(t)
	for name, q := range demoQuestions(t) {
		sheet, err := sizing.HandOver(r.snap.Catalogue, q)
		if err != nil {
			continue
		}
		values, err := queryOf(q)
		if err != nil {
			t.Fatal(err)
		}
		says := func(path string, want ...string) {
			t.Helper()
			status, body := visit(t, h, path+"?"+values.Encode())
			if status != 200 || len(body) > 60_000 {
				t.Errorf("%s of %s: %d, %d bytes", path, name, status, len(body))
			}
			body = html.UnescapeString(body)
			for _, w := range want {
				if !strings.Contains(body, w) {
					t.Errorf("%s of %s lacks %q", path, name, w)
				}
			}
		}
		want := []string{sheet.Says, sheet.Grows, sheet.Company}
		for _, m := range sheet.Missing {
			want = append(want, m.What)
		}
		says("/handover", append(want, sheet.Measure...)...)
		o, err := sizing.Outgrow(r.snap.Catalogue, q)
		if err != nil {
			t.Fatal(err)
		}
		want = []string{r.all.word("outgrow.says", o.Standing), o.Growth}
		for _, d := range o.Dimensions {
			want = append(want, d.Name)
		}
		says("/outgrow", want[:2]...)
		plan, err := sizing.Changes(r.snap.Catalogue, sizing.ChangeQuestion{AssessmentQuestion: q})
		if err != nil {
			t.Fatal(err)
		}
		want = []string{r.all.word("changes.reached", plan.Reached)}
		for _, s := range plan.Steps {
			want = append(want, "<strong>"+s.What)
		}
		says("/changes", append(want, plan.Left...)...)
	}
	for _, path := range []string{"/handover", "/outgrow", "/changes", "/compare"} {
		for _, query := range []string{"", "?units=metric&species=nobody&animals.0.count=1&animals.0.stage=adult&setup.inside.length=7"} {
			w := httptest.NewRecorder()
			h.ServeHTTP(w, httptest.NewRequest("GET", path+query, nil))
			to, err := url.Parse(w.Header().Get("Location"))
			if err != nil || w.Code != 303 || to.Path != "/assess" || query != "" && to.Query().Get("setup.inside.length") != "7" {
				t.Errorf("%s%s leads to %q, %d", path, query, to, w.Code)
			}
		}
	}
}

// The aim of a plan of changes is asked on its own page, which keeps the assessment.
func TestChangesAim(t *testing.T) {
	h := serve(t)
	q := "units=metric&species=pogona-vitticeps&animals.0.count=1&animals.0.stage=adult&setup.inside.length=150"
	_, body := visit(t, h, "/changes?"+q+"&aim.score=2")
	if !strings.Contains(body, `id="f-aim-score-problem"`) || !strings.Contains(body, `name="setup.inside.length" value="150"`) {
		t.Error("a bad aim is not told at its field, or the setup was lost")
	}
	_, body = visit(t, h, "/changes?"+q+"&aim.score=0.4")
	if !strings.Contains(body, "a score of 0.4") {
		t.Error("the aim was not taken")
	}
	// Bare numbers say their unit where the viewer's units are others by now.
	w := httptest.NewRecorder()
	ask := httptest.NewRequest("GET", "/changes?"+q, nil)
	ask.Header.Set("Cookie", "units=imperial")
	h.ServeHTTP(w, ask)
	if !strings.Contains(w.Body.String(), `name="setup.inside.length" value="150 cm"`) || !strings.Contains(w.Body.String(), `name="units" value="imperial"`) {
		t.Error("a length in cm would be read in inches")
	}
}

// A setup is compared with that of another page, by its address, or for other species.
func TestCompare(t *testing.T) {
	h := serve(t)
	const q = "units=metric&species=pogona-vitticeps&animals.0.count=1&animals.0.stage=adult&setup.inside.length=150&setup.inside.width=80&setup.inside.height=100"
	other := url.QueryEscape("https://rescue.example/assess?" + strings.ReplaceAll(q, "150", "60"))
	_, body := visit(t, h, "/compare?"+q+"&with.pages.0.address="+other+"&with.pages.0.name=small+one")
	for _, want := range []string{"small one", "150 cm", "60 cm", "too small"} {
		if !strings.Contains(body, want) {
			t.Errorf("the comparison lacks %q", want)
		}
	}
	_, body = visit(t, h, "/compare?"+q+"&with.species=leopard+gecko,nobody+at+all")
	if !strings.Contains(body, `id="f-with-species-problem"`) {
		t.Error("an unknown species is not told at its field")
	}
	_, body = visit(t, h, "/compare?"+q+"&with.pages.0.address=hello")
	if !strings.Contains(body, `id="f-with-pages-0-address-problem"`) {
		t.Error("an address that is none is not told at its field")
	}
}

// The list of species by page is that of the matcher, each species once.
func TestMatchByPage(t *testing.T) {
	h, r := serve(t), viewer(t)
	const q = "units=metric&setup.inside.length=120&setup.inside.width=60&setup.inside.height=60&empty=yes&groups=lizard&groups=snake&experience=experienced"
	f := r.newForm("ask", must(url.ParseQuery(q)), append(r.matchFields(), setupFields()...), heatRow)
	var question sizing.MatchQuestion
	if !f.ask(&question) {
		t.Fatal(f.Problems)
	}
	a, err := r.snap.Matcher.Match(question)
	if err != nil {
		t.Fatal(err)
	}
	var got, want []string
	for _, s := range a.Species {
		want = append(want, s.Species.ID)
	}
	for page := 1; page <= (len(want)+speciesPerPage-1)/speciesPerPage; page++ {
		_, body := visit(t, h, fmt.Sprintf("/match?%s&page=%d", q, page))
		if len(body) > 60_000 {
			t.Errorf("page %d has %d bytes", page, len(body))
		}
		for _, m := range regexp.MustCompile(`\d+\. <a href="/species/([^"]+)">`).FindAllStringSubmatch(body, -1) {
			got = append(got, m[1])
		}
	}
	if diff := cmp.Diff(want, got); diff != "" || len(want) <= speciesPerPage {
		t.Errorf("%d species (-matcher +pages)\n%s", len(want), diff)
	}
	// What an assessment calls the animals, a match takes, and the other way round.
	_, body := visit(t, h, "/match?units=metric&animals.0.count=2&animals.0.stage=juvenile&setup.inside.length=120")
	if !strings.Contains(body, `name="count" value="2"`) || !strings.Contains(body, `<option value="juvenile" selected>`) {
		t.Error("the animals of the assessment were lost")
	}
	_, body = visit(t, h, "/assess?units=metric&count=2&stage=juvenile&species=python-regius&setup.inside.length=120")
	if !strings.Contains(body, `name="animals.0.count" value="2"`) || !strings.Contains(body, `<p class="big">`) {
		t.Error("the animals of the match were lost")
	}
}

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

// With everything filled in and three heat sources the page is still small, for every species.
func TestFullAssessmentsAreSmall(t *testing.T) {
	h, r := serve(t), viewer(t)
	var q sizing.AssessmentQuestion
	if err := json.Unmarshal(demo.DonatedTank, &q); err != nil {
		t.Fatal(err)
	}
	q.Setup.HeatSources = append(q.Setup.HeatSources, q.Setup.HeatSources[0], q.Setup.HeatSources[0])
	most := 0
	for _, s := range r.snap.Species() {
		q.Question = sizing.Question{Species: s.ID, Animals: []sizing.Animal{{Count: 1, Stage: care.Adult}}}
		values, err := queryOf(q)
		if err != nil {
			t.Fatal(err)
		}
		status, body := visit(t, h, "/assess?"+values.Encode())
		if most = max(most, len(body)); status != 200 || len(body) > 60_000 {
			t.Errorf("%s: %d, %d bytes", s.ID, status, len(body))
		}
	}
	t.Logf("the largest has %d bytes", most)
}
