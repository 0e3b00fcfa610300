package pages

import (
	"io"
	"io/fs"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/labstack/echo/v4"

	"denwright/care"
	"denwright/sizing"
)

// serve gives the pages over the embedded catalogue.
func serve(t *testing.T) http.Handler {
	t.Helper()
	c, err := care.Embedded()
	if err != nil {
		t.Fatal(err)
	}
	snap := Snapshot{Catalogue: c, Matcher: sizing.NewMatcher(c)}
	e := echo.New()
	New(Config{Log: slog.New(slog.NewTextHandler(io.Discard, nil)), Snapshot: func() (Snapshot, bool) { return snap, true }}).Routes(e)
	return e
}

func visit(t *testing.T, h http.Handler, path string) (int, string) {
	t.Helper()
	w := get(h, path, nil)
	return w.Code, w.Body.String()
}

func get(h http.Handler, path string, header http.Header) *httptest.ResponseRecorder {
	w, r := httptest.NewRecorder(), httptest.NewRequest(http.MethodGet, path, nil)
	for name, values := range header {
		r.Header[name] = values
	}
	h.ServeHTTP(w, r)
	return w
}

// Every text that a template names is there, and every text is named: by a template,
// by code, or as a word of an answer.
func TestTextsAreAllThereAndAllUsed(t *testing.T) {
	all, err := loadTexts()
	if err != nil {
		t.Fatal(err)
	}
	named := map[string]bool{}
	var begun []string // keys whose end is put together
	read := func(files fs.FS, glob, pattern string) {
		names, err := fs.Glob(files, glob)
		if err != nil {
			t.Fatal(err)
		}
		for _, name := range names {
			body, err := fs.ReadFile(files, name)
			if err != nil {
				t.Fatal(err)
			}
			for _, m := range regexp.MustCompile(pattern).FindAllStringSubmatch(string(body), -1) {
				named[m[1]] = true
				if !all["en"].has(m[1]) {
					t.Errorf("%s names the text %s, which is not there", name, m[1])
				}
			}
			for _, m := range regexp.MustCompile(`(?:printf |word |\.word\()"([a-z.-]+?)(?:\.?%s[a-z.]*)?"`).FindAllStringSubmatch(string(body), -1) {
				begun = append(begun, m[1]+".")
			}
		}
	}
	read(templateFiles, "templates/*.html", `\b(?:t|count) "([a-z0-9.-]+)"`)
	read(os.DirFS("."), "*.go", `\.(?:t|say|count)\("([a-z0-9.-]+)"[,)]`)
	begun = append(begun, "error.", "ask.", "option.", "language.", "climate.line.") // failures, the fields of forms, the lines of a picture
	for key := range all["en"] {
		if named[key] || named[strings.TrimSuffix(key, ".one")] || slices.ContainsFunc(begun, func(p string) bool { return strings.HasPrefix(key, p) }) {
			continue
		}
		t.Errorf("the text %s is used nowhere", key)
	}
}

// A name that one species bears leads straight to it; others list what was found.
func TestSpeciesSearch(t *testing.T) {
	h := serve(t)
	for _, c := range []struct {
		query  string
		status int
		says   string
	}{
		{"Hermann's tortoise", http.StatusSeeOther, ""},
		{"bearded dragon", http.StatusOK, "Choose the one you mean"},
		{"beerded dragn", http.StatusOK, "Pogona vitticeps"},
		{"zzzzqqq", http.StatusOK, "Nothing held has a name near this"},
		{"<script>", http.StatusOK, "&lt;script&gt;"},
	} {
		status, body := visit(t, h, "/species?q="+strings.NewReplacer(" ", "+", "<", "%3C", ">", "%3E").Replace(c.query))
		if status != c.status || !strings.Contains(body, c.says) {
			t.Errorf("%q: %d, want %d and a page that says %q", c.query, status, c.status, c.says)
		}
	}
}

// What was typed is kept, and each problem stands at its field.
func TestSizeFormKeepsWhatWasTyped(t *testing.T) {
	h := serve(t)
	_, body := visit(t, h, "/size?units=metric&species=testudo-hermanni&animals.0.count=many&animals.2.count=2&animals.2.length=12+furlongs")
	for _, want := range []string{`value="many"`, `id="f-animals-0-count-problem">is not a whole number`, `value="12 furlongs"`} {
		if !strings.Contains(body, want) {
			t.Errorf("the page lacks %s", want)
		}
	}
	// The third row is the second in the question, and its unit is told at its own field.
	_, body = visit(t, h, "/size?units=metric&species=testudo-hermanni&animals.0.count=1&animals.0.stage=adult&animals.2.count=2&animals.2.stage=egg")
	if !strings.Contains(body, `id="f-animals-2-stage-problem"`) {
		t.Error("the problem does not stand at the row where it was typed")
	}
}

// A bare number is in the units of the form; a unit typed with it goes before that.
func TestUnitsOfBareNumbers(t *testing.T) {
	h := serve(t)
	const ask = "/size?species=python-regius&animals.0.count=1&animals.0.measure=total&animals.0.length="
	_, inches := visit(t, h, ask+"40&units=imperial")
	_, typed := visit(t, h, ask+"40+in&units=metric")
	_, comma := visit(t, h, ask+"101,6&units=metric")
	answer := func(page string) string {
		_, rest, _ := strings.Cut(page, `<p class="big">`)
		size, _, _ := strings.Cut(rest, "</p>")
		return size
	}
	if answer(inches) == "" || answer(inches) != answer(typed) || answer(typed) != answer(comma) {
		t.Errorf("40 in gives %q, typed with its unit %q, as 101,6 cm %q", answer(inches), answer(typed), answer(comma))
	}
}

// A choice of units leads back to the page, never to another site.
func TestLocalPath(t *testing.T) {
	for address, want := range map[string]string{
		"/size?species=x": "/size?species=x", "": "/", "https://elsewhere.example/": "/", "//elsewhere.example": "/",
		"/\\elsewhere.example": "/", "javascript:alert(1)": "/",
	} {
		if got := localPath(address); got != want {
			t.Errorf("localPath(%q) = %q, want %q", address, got, want)
		}
	}
}

// Every page that stands by itself is small, for a phone beside the enclosure.
func TestPagesAreSmall(t *testing.T) {
	h := serve(t)
	c, err := care.Embedded()
	if err != nil {
		t.Fatal(err)
	}
	paths := []string{"/", "/species", "/sources", "/method", "/size", "/assess", "/match", "/intake", "/company"}
	for _, s := range c.Species() {
		paths = append(paths, "/species/"+s.ID, "/species/"+s.ID+"/claims", "/size?units=metric&animals.0.count=1&animals.0.stage=adult&species="+s.ID)
	}
	for _, s := range c.Sources() {
		paths = append(paths, "/sources/"+s.Key)
	}
	for _, path := range paths {
		status, body := visit(t, h, path)
		if status != http.StatusOK || len(body) > 60_000 {
			t.Errorf("%s: %d, %d bytes; want 200 and at most 60,000", path, status, len(body))
		}
	}
}

// Links to parts of an answer carry the question as it was asked.
func TestLinksCarryTheQuestion(t *testing.T) {
	_, body := visit(t, serve(t), "/size?units=metric&species=testudo-hermanni&animals.0.count=1&animals.0.stage=adult")
	if !strings.Contains(body, `href="/plan?animals.0.count=1&amp;animals.0.stage=adult&amp;species=testudo-hermanni&amp;units=metric`) {
		t.Error("the way to the plan does not carry the question")
	}
}
