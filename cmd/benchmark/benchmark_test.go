package main

import (
	"bytes"
	"encoding/json"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"denwright/api"
	"denwright/care"
)

// What the comparison rests on: the bare handler decodes every question measured and
// writes an answer of the shape of ours.
func TestBareHandlerWritesTheSameShape(t *testing.T) {
	c, err := care.Embedded()
	if err != nil {
		t.Fatal(err)
	}
	bare, err := bareHandler()
	if err != nil {
		t.Fatal(err)
	}
	ours := api.New(c, slog.New(slog.DiscardHandler)).Handler(api.Config{})
	for _, r := range routes {
		var answers []any
		for _, body := range bodies(c, r.path) {
			w := ask(bare, r.path, body)
			if w.Code != http.StatusOK {
				t.Fatalf("%s: %d %s", r.path, w.Code, w.Body)
			}
			if len(answers) > 0 {
				continue // it is fixed
			}
			for _, body := range bodies(c, r.path) { // one of ours is the very one
				o := ask(ours, r.path, body)
				if o.Code != http.StatusOK {
					t.Fatalf("%s: %d %s", r.path, o.Code, o.Body)
				}
				if same(t, w.Body.Bytes(), o.Body.Bytes()) {
					answers = append(answers, o)
				}
			}
			if len(answers) == 0 {
				t.Errorf("%s: the bare answer is none of the service's: %.300s", r.path, w.Body)
			}
		}
	}
}

func ask(h http.Handler, path string, body []byte) *httptest.ResponseRecorder {
	q := httptest.NewRequest(http.MethodPost, path, bytes.NewReader(body))
	q.Header.Set("Content-Type", "application/json")
	w := httptest.NewRecorder()
	h.ServeHTTP(w, q)
	return w
}

func same(t *testing.T, a, b []byte) bool {
	t.Helper()
	var x, y any
	for raw, to := range map[*[]byte]*any{&a: &x, &b: &y} {
		if err := json.Unmarshal(*raw, to); err != nil {
			t.Fatal(err)
		}
	}
	return cmp.Equal(x, y)
}

func TestEditDistance(t *testing.T) {
	for _, k := range []struct {
		a, b string
		want int
	}{{"", "", 0}, {"boa", "boa", 0}, {"Boa", "boa", 0}, {"boa", "bao", 1}, {"boa", "bo", 1}, {"corn snake", "corn snaek", 1}, {"kitten", "sitting", 3}, {"abc", "", 3}, {"ca", "abc", 3}} {
		if got := editDistance(k.a, k.b); got != k.want {
			t.Errorf("%q to %q: %d edits, want %d", k.a, k.b, got, k.want)
		}
	}
}

func TestGeneratedNames(t *testing.T) {
	c, err := care.Embedded()
	if err != nil {
		t.Fatal(err)
	}
	held := namesFrom(c, 2000)
	if diff := cmp.Diff(held, namesFrom(c, 2000)); diff != "" {
		t.Error(diff)
	}
	typed, meant := misspelt(held)
	for i := range typed {
		if d := editDistance(typed[i], meant[i]); d < 1 || d > 4 {
			t.Errorf("%q was made of %q by %d edits", typed[i], meant[i], d)
		}
	}
}

func TestTable(t *testing.T) {
	var tab table
	tab.atMost("slow", 3.21, 3, " ms")
	tab.atLeast("fast", 0.8, 0.75, "")
	tab.figure("seen", "x")
	tab.note("left out: %s", "y")
	text := tab.markdown()
	for _, want := range []string{"| slow | 3.21 ms | ≤ 3 ms | **missed** |", "| fast | 0.8 | ≥ 0.75 | yes |", "| seen | x |  |  |", "- left out: y\n"} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in\n%s", want, text)
		}
	}
}
