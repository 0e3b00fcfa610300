package pages_test

import (
	"bytes"
	"context"
	"encoding/json"
	"html"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

// part is the text between two marks of a page, as a reader sees it.
func part(page, from, to string) string {
	_, rest, _ := strings.Cut(page, from)
	text, _, _ := strings.Cut(rest, to)
	return html.UnescapeString(text)
}

// operations are those that the first page of the reference leads to.
func operations(t *testing.T, h *service) (paths []string) {
	t.Helper()
	for _, m := range regexp.MustCompile(`href="(/api/[A-Za-z]+)"`).FindAllStringSubmatch(h.get(nil, "/api", "en-GB").Body.String(), -1) {
		paths = append(paths, m[1])
	}
	if len(paths) < 15 {
		t.Fatalf("the reference leads to %d operations", len(paths))
	}
	return paths
}

// What is tried from a page is answered as the API answers it.
func TestTryAsksTheService(t *testing.T) {
	h := house(t)
	ask := func(body string) *httptest.ResponseRecorder {
		r := httptest.NewRequest(http.MethodPost, "/v1/sizings?units=imperial", strings.NewReader(body))
		r.Header.Set("Content-Type", "application/json")
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		return w
	}
	const answer = `aria-label="Text of the answer">`
	for _, c := range []struct {
		body string
		says string
	}{
		{`{"species":"testudo-hermanni","animals":[{"count":1,"stage":"adult"}],"jurisdiction":"CH"}`, "200 OK"},
		{`{"species":"boa","animals":[]}`, "422 Unprocessable Entity"},
		{`{"species":`, "400 Bad Request"},
		{`<script>alert(1)</script>`, "400 Bad Request"},
		{``, "400 Bad Request"},
	} {
		w := h.post(nil, "/api/size", url.Values{"body": {c.body}, "p.units": {"imperial"}})
		page := w.Body.String()
		if w.Code != http.StatusOK || !strings.Contains(page, c.says) || w.Body.Len() > 60_000 {
			t.Errorf("%s: %d, %d bytes; want a small page that says %s", c.body, w.Code, w.Body.Len(), c.says)
		}
		if m := readMarkup(page); len(m.faults) > 0 {
			t.Errorf("%s: %q", c.body, m.faults)
		}
		var got, want map[string]any
		if err := json.Unmarshal([]byte(part(page, answer, "</pre>")), &got); err != nil && !strings.Contains(page, "bytes of") {
			t.Errorf("%s: %v", c.body, err)
		}
		if err := json.Unmarshal(ask(c.body).Body.Bytes(), &want); err != nil {
			t.Fatal(err)
		}
		delete(got, "instance")
		delete(want, "instance")
		if diff := cmp.Diff(want, got); diff != "" && !strings.Contains(page, "bytes of") {
			t.Errorf("%s: %s", c.body, diff)
		}
		if !strings.Contains(page, strings.TrimSpace(html.EscapeString(c.body))) {
			t.Errorf("%s is not kept in the form", c.body)
		}
	}
	if w := h.post(nil, "/api/takeIn", url.Values{"media": {"text/csv"}, "body": {"lot,for,stage,dims\r\nHM-01,beardie,adult,120 x 60 x 60 cm\r\n"}}); !strings.Contains(w.Body.String(), "200 OK") || !strings.Contains(w.Body.String(), "HM-01") {
		t.Errorf("rows: %d %.300s", w.Code, part(w.Body.String(), `<section id="answer"`, "</section>"))
	}
	if w := h.post(nil, "/api/getSpecies", url.Values{"p.id": {"../../readyz"}}); !strings.Contains(w.Body.String(), "404 Not Found") {
		t.Errorf("a path within a parameter: %.300s", part(w.Body.String(), `<section id="answer"`, "</section>"))
	}
	// Another site can't have a reader try something.
	r := httptest.NewRequest(http.MethodPost, "/api/size", strings.NewReader("body=x"))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.Header.Set("Sec-Fetch-Site", "cross-site")
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	if w.Code != http.StatusForbidden {
		t.Errorf("from another site: %d, want 403", w.Code)
	}
}

// Every example of every operation that needs no key is answered with success, and the
// line for the shell gets the same answer.
func TestCommandsRun(t *testing.T) {
	if _, err := exec.LookPath("curl"); err != nil {
		t.Skip("left out: the command lines of the reference. Install curl to run them")
	}
	h := house(t)
	service := httptest.NewServer(h)
	defer service.Close()
	client := service.Client()
	for _, path := range operations(t, h) {
		for _, m := range append([][]string{{"", ""}}, regexp.MustCompile(`href="`+path+`\?example=([a-z_]+)#try"`).FindAllStringSubmatch(h.get(nil, path, "en-GB").Body.String(), -1)...) {
			target := path
			if m[1] != "" {
				target += "?example=" + m[1]
			}
			response, err := client.Get(service.URL + target)
			if err != nil {
				t.Fatal(err)
			}
			var body bytes.Buffer
			if _, err := body.ReadFrom(response.Body); err != nil {
				t.Fatal(err)
			}
			response.Body.Close()
			page := body.String()
			command := part(page, `aria-label="The same in a shell">`, "</pre>")
			if strings.Contains(command, "$DENWRIGHT_KEY") {
				continue // it is answered with what a key is needed for
			}
			if !strings.Contains(page, "Answer to this example: 200 OK") {
				t.Errorf("%s: its example is not answered with success", target)
			}
			out := run(t, "", "sh", "-c", command)
			shown := part(page, `aria-label="Text of the answer">`, "</pre>")
			flat := func(s string) string { return strings.Join(strings.Fields(s), "") }
			if !strings.HasPrefix(flat(out), strings.TrimRight(flat(shown), ",")) || len(out) == 0 {
				t.Errorf("%s: the shell gets\n%.200s\nthe page shows\n%.200s", target, flat(out), flat(shown))
			}
		}
	}
}

// run runs a program to its end and gives what it printed.
func run(t *testing.T, dir, name string, args ...string) string {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 3*time.Minute)
	defer cancel()
	c := exec.CommandContext(ctx, name, args...)
	c.Dir = dir
	var out, said bytes.Buffer
	c.Stdout, c.Stderr = &out, &said
	if err := c.Run(); err != nil {
		t.Errorf("%s %.80q: %v: %s", name, args, err, said.String())
	}
	return out.String()
}

// Each quick start, taken from the page as it is shown, runs and prints the size that
// the API gives.
func TestQuickStartsRun(t *testing.T) {
	h := house(t)
	service := httptest.NewServer(h)
	defer service.Close()
	response, err := service.Client().Get(service.URL + "/api/quick-start")
	if err != nil {
		t.Fatal(err)
	}
	defer response.Body.Close()
	var page bytes.Buffer
	if _, err := page.ReadFrom(response.Body); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		key, file string
		run       []string
	}{
		{"curl", "ask.sh", []string{"sh", "ask.sh"}},
		{"go", "main.go", []string{"go", "run", "main.go"}},
		{"python", "ask.py", []string{"python3", "ask.py"}},
		{"javascript", "ask.mjs", []string{"node", "ask.mjs"}},
	} {
		t.Run(c.key, func(t *testing.T) {
			needs := c.run[0]
			if needs == "sh" {
				needs = "curl"
			}
			if _, err := exec.LookPath(needs); err != nil {
				t.Skipf("left out: the quick start in %s. Install %s to run it", c.key, needs)
			}
			block := part(page.String(), `id="code-`+c.key+`"`, "</pre>")
			_, code, _ := strings.Cut(block, ">")
			if !strings.Contains(code, service.URL) {
				t.Fatalf("the program asks another service than the one it is shown by: %.300s", code)
			}
			if !strings.Contains(page.String(), "<code>"+strings.Join(c.run, " ")+"</code>") {
				t.Errorf("the page does not say to run %q", c.run)
			}
			dir := t.TempDir()
			if err := os.WriteFile(filepath.Join(dir, c.file), []byte(code), 0o644); err != nil {
				t.Fatal(err)
			}
			out := run(t, dir, c.run[0], c.run[1:]...)
			if !strings.Contains(out, "bearded dragon") || !strings.Contains(out, "cm") {
				t.Errorf("it prints %.300s", out)
			}
			// A name that several animals bear is a problem, which it tells of.
			bad := strings.Replace(code, "beardie", "tortoise", 1)
			if err := os.WriteFile(filepath.Join(dir, c.file), []byte(bad), 0o644); err != nil {
				t.Fatal(err)
			}
			told, err := exec.CommandContext(t.Context(), c.run[0], filepath.Join(dir, c.file)).CombinedOutput()
			if c.run[0] == "go" {
				told, err = exec.CommandContext(t.Context(), "go", "run", filepath.Join(dir, c.file)).CombinedOutput()
			}
			if !strings.Contains(string(told), "/species") || (err == nil) != (c.key == "curl") {
				t.Errorf("of a problem it tells %.300s (%v)", told, err)
			}
		})
	}
}
