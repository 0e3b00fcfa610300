package pages

import (
	"bufio"
	"bytes"
	"context"
	"encoding/base64"
	"fmt"
	"html"
	"io"
	"log/slog"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/labstack/echo/v4"

	"denwright/care"
	"denwright/sizing"
	"denwright/sizing/intake"
	"denwright/testdata/demo"
)

// listForm is a form as a browser sends it.
func listForm(t *testing.T, fields [][2]string, file string) (body *bytes.Buffer, mediaType string) {
	t.Helper()
	body = &bytes.Buffer{}
	m := multipart.NewWriter(body)
	for _, f := range fields {
		if err := m.WriteField(f[0], f[1]); err != nil {
			t.Fatal(err)
		}
	}
	part, err := m.CreateFormFile("file", "list.csv")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := io.WriteString(part, file); err != nil {
		t.Fatal(err)
	}
	if err := m.Close(); err != nil {
		t.Fatal(err)
	}
	return body, m.FormDataContentType()
}

func sendList(t *testing.T, h http.Handler, fields [][2]string, file string) *httptest.ResponseRecorder {
	t.Helper()
	body, mediaType := listForm(t, fields, file)
	ask := httptest.NewRequest(http.MethodPost, "/intake", body)
	ask.Header.Set("Content-Type", mediaType)
	w := httptest.NewRecorder()
	h.ServeHTTP(w, ask)
	return w
}

// asCSV is what the engine answers to a list.
func asCSV(t *testing.T, list string) string {
	t.Helper()
	c, err := care.Embedded()
	if err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	if _, err := intake.Run(t.Context(), c, strings.NewReader(list), &out, intake.Options{Output: intake.ToCSV}); err != nil {
		t.Fatal(err)
	}
	return out.String()
}

var shownRow = regexp.MustCompile(`<tr id="row-(\d+)"( class="bad")?>`)

// The list of the van is answered row by row, in order, the problems at their rows,
// and the download beside it is what the engine answers.
func TestListAsAPage(t *testing.T) {
	h := serve(t)
	van := string(demo.VanCSV)
	w := sendList(t, h, [][2]string{{"answer", "page"}, {"jurisdiction", ""}, {"rows", " \r\n"}}, van)
	body := w.Body.String()
	if w.Code != 200 || w.Header().Get("Cache-Control") != "no-store" || !strings.HasSuffix(strings.TrimSpace(body), "</html>") {
		t.Fatalf("%d, %v", w.Code, w.Header())
	}
	rows := shownRow.FindAllStringSubmatch(body, -1)
	bad := 0
	for i, m := range rows {
		if m[1] != fmt.Sprint(i+1) {
			t.Fatalf("row %s stands in place %d", m[1], i+1)
		}
		if m[2] != "" {
			bad++
			if !strings.Contains(body, `<a href="#row-`+m[1]+`">`) {
				t.Errorf("the summary does not lead to row %s", m[1])
			}
		}
	}
	if len(rows) != 24 || bad != 5 {
		t.Errorf("%d rows, %d bad; want 24 and 5", len(rows), bad)
	}
	if !strings.Contains(html.UnescapeString(body), `"=1+1" is not length x width x height`) {
		t.Error("a slip is not told at its row")
	}
	m := regexp.MustCompile(`href="data:text/csv;charset=utf-8;base64,([^"]*)"`).FindStringSubmatch(body)
	if m == nil {
		t.Fatal("nothing to download")
	}
	kept, err := base64.StdEncoding.DecodeString(html.UnescapeString(m[1]))
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(asCSV(t, van), string(kept)); diff != "" {
		t.Errorf("(-engine +download)\n%s", diff)
	}
}

// As a file the answer is what the engine answers, with a name to save it by.
func TestListAsAFile(t *testing.T) {
	h := serve(t)
	van := string(demo.VanCSV)
	w := sendList(t, h, [][2]string{{"answer", "csv"}, {"rows", van}}, "")
	if diff := cmp.Diff(asCSV(t, van), w.Body.String()); diff != "" || !strings.Contains(w.Header().Get("Content-Disposition"), `filename="answers.csv"`) {
		t.Errorf("%v (-engine +page)\n%s", w.Header(), diff)
	}
	for answer, says := range map[string][2]string{"ndjson": {`{`, `"row":24`}, "report": {"list.csv\n=====", "24 enclosures looked at"}} {
		body := sendList(t, h, [][2]string{{"answer", answer}}, van).Body.String()
		if !strings.HasPrefix(body, says[0]) || !strings.Contains(body, says[1]) {
			t.Errorf("%s begins %.40q, or lacks %q", answer, body, says[1])
		}
	}
}

// The script takes lines: one for each row, how far it is, and the summary last.
func TestListForTheScript(t *testing.T) {
	w := sendList(t, serve(t), [][2]string{{"part", "rows"}, {"answer", "page"}}, string(demo.VanCSV))
	rows, summary, ended := strings.Cut(w.Body.String(), "<!--summary-->\n")
	if !ended || !strings.Contains(summary, "24 rows") || strings.Contains(w.Body.String(), "<html") {
		t.Fatalf("no summary: %.200q", summary)
	}
	n := 0
	for line := range strings.Lines(rows) {
		switch {
		case shownRow.MatchString(line) && strings.HasSuffix(line, "</tr>\n"):
			n++
		case !regexp.MustCompile(`^<!--done \d+ row \d+-->\n$`).MatchString(line):
			t.Errorf("neither a row nor how far it is: %.120q", line)
		}
	}
	if n != 24 {
		t.Errorf("%d rows, want 24", n)
	}
}

// A long list shows its first rows, says so, and offers all of them.
func TestLongList(t *testing.T) {
	list := "species,size\n" + strings.Repeat("pogona-vitticeps,120x60x60 cm\n", maxShown+40) + "pogona-vitticeps,\"=1+1\"\n"
	w := sendList(t, serve(t), [][2]string{{"answer", "page"}}, list)
	body := w.Body.String()
	if n := len(shownRow.FindAllString(body, -1)); n != maxShown {
		t.Errorf("%d rows are shown, want %d", n, maxShown)
	}
	for _, want := range []string{"41 more are not", fmt.Sprintf("%d rows", maxShown+41), "1 row could not be answered</strong>: " + fmt.Sprint(maxShown+41)} {
		if !strings.Contains(body, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
}

// What can't be answered at all is told as a page with its status.
func TestListRefused(t *testing.T) {
	h := serve(t)
	for _, c := range []struct {
		name   string
		fields [][2]string
		file   string
		status int
		says   string
	}{
		{"nothing", [][2]string{{"answer", "page"}, {"rows", "  "}}, "", 422, "No rows came"},
		{"no header", [][2]string{{"answer", "page"}}, "foo,bar\n1,2\n", 422, "names no known column"},
		{"too large", [][2]string{{"answer", "page"}}, "species,note\n" + strings.Repeat("pogona-vitticeps,x\n", maxList/19+10000), 413, "too long for a page"},
		{"answer", [][2]string{{"answer", "fax"}}, "species\npogona-vitticeps\n", 422, "Not one of the choices"},
		{"jurisdiction", [][2]string{{"answer", "page"}, {"jurisdiction", "Atlantis"}}, "species\npogona-vitticeps\n", 422, "Not one of the choices"},
	} {
		w := sendList(t, h, c.fields, c.file)
		if w.Code != c.status || !strings.Contains(w.Body.String(), c.says) {
			t.Errorf("%s: %d, want %d and %q", c.name, w.Code, c.status, c.says)
		}
	}
	ask := httptest.NewRequest(http.MethodPost, "/intake", strings.NewReader("rows=species"))
	ask.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	w := httptest.NewRecorder()
	h.ServeHTTP(w, ask)
	if w.Code != http.StatusBadRequest {
		t.Errorf("a form of another kind: %d", w.Code)
	}
	body, mediaType := listForm(t, nil, "species\n")
	ask = httptest.NewRequest(http.MethodPost, "/intake", body)
	ask.Header.Set("Content-Type", mediaType)
	ask.Header.Set("Sec-Fetch-Site", "cross-site")
	w = httptest.NewRecorder()
	h.ServeHTTP(w, ask)
	if w.Code != http.StatusForbidden {
		t.Errorf("a form from elsewhere: %d", w.Code)
	}
}

// A client that goes away in the middle frees its place, and the list is not gone on with.
func TestClientGoesAway(t *testing.T) {
	c, err := care.Embedded()
	if err != nil {
		t.Fatal(err)
	}
	snap := Snapshot{Catalogue: c, Matcher: sizing.NewMatcher(c)}
	site := New(Config{Log: slog.New(slog.NewTextHandler(io.Discard, nil)), Snapshot: func() (Snapshot, bool) { return snap, true }})
	e := echo.New()
	site.Routes(e)
	server := httptest.NewServer(e)
	defer server.Close()
	list := "species,size\n" + strings.Repeat("pogona-vitticeps,120x60x60 cm\n", 60000)
	body, mediaType := listForm(t, [][2]string{{"answer", "csv"}}, list)
	ctx, leave := context.WithCancel(t.Context())
	defer leave()
	ask, err := http.NewRequestWithContext(ctx, http.MethodPost, server.URL+"/intake", body)
	if err != nil {
		t.Fatal(err)
	}
	ask.Header.Set("Content-Type", mediaType)
	answer, err := server.Client().Do(ask)
	if err != nil {
		t.Fatal(err)
	}
	first, err := bufio.NewReader(answer.Body).ReadString('\n')
	if err != nil || !strings.HasPrefix(first, "row,line,") {
		t.Fatalf("%q, %v", first, err)
	}
	if len(site.lists) != 1 {
		t.Fatalf("%d lists are being answered, want 1", len(site.lists))
	}
	leave()
	_ = answer.Body.Close() // the way out is what is tested
	for deadline := time.Now().Add(time.Minute); len(site.lists) != 0; time.Sleep(10 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatal("the place is still taken")
		}
	}
}

// More lists than are answered at a time are sent away, not queued.
func TestListsAreBounded(t *testing.T) {
	c, err := care.Embedded()
	if err != nil {
		t.Fatal(err)
	}
	snap := Snapshot{Catalogue: c, Matcher: sizing.NewMatcher(c)}
	site := New(Config{Log: slog.New(slog.NewTextHandler(io.Discard, nil)), Snapshot: func() (Snapshot, bool) { return snap, true }})
	e := echo.New()
	site.Routes(e)
	for range maxLists {
		site.lists <- struct{}{}
	}
	if w := sendList(t, e, nil, "species\npogona-vitticeps\n"); w.Code != http.StatusServiceUnavailable {
		t.Errorf("%d, want 503", w.Code)
	}
	<-site.lists
	if w := sendList(t, e, nil, "species\npogona-vitticeps\n"); w.Code != http.StatusOK {
		t.Errorf("%d, want 200", w.Code)
	}
}

// The blank table names every column, so that a filled one is read.
func TestBlankTable(t *testing.T) {
	h := serve(t)
	_, head := visit(t, h, "/intake/template.csv")
	if n := len(strings.Split(strings.TrimSpace(head), ",")); n != len(intake.Columns()) {
		t.Errorf("%d columns of %d", n, len(intake.Columns()))
	}
	_, example := visit(t, h, "/intake/demo.csv")
	if example != string(demo.VanCSV) {
		t.Error("the example is not the demo's list")
	}
	_, page := visit(t, h, "/intake")
	for _, c := range intake.Columns() {
		if !strings.Contains(page, "<code>"+c.Name+"</code>") {
			t.Errorf("the column %s is not explained", c.Name)
		}
	}
}
