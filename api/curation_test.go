package api

import (
	"archive/zip"
	"bytes"
	"fmt"
	"io"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"denwright/care/store"
)

func archiveOf(t testing.TB, files map[string]string) string {
	t.Helper()
	var out bytes.Buffer
	w := zip.NewWriter(&out)
	for name, text := range files {
		f, err := w.Create(name)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := io.WriteString(f, text); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return out.String()
}

// hotter drafts, by its author, the bearded dragon's record with another figure, and
// has it reviewed. It gives the id of the revision.
func (d *den) hotter(t *testing.T, fromTo ...string) string {
	t.Helper()
	now := d.must(t, store.Reader, "GET", "/v1/record-texts?path="+dragonPath, "")
	text := now["text"].(string)
	for i := 0; i < len(fromTo); i += 2 {
		if strings.Count(text, fromTo[i]) != 1 {
			t.Fatalf("the record holds %q %d times", fromTo[i], strings.Count(text, fromTo[i]))
		}
	}
	parent, _ := now["id"].(string)
	body := quoted(t, draftInput{Path: dragonPath, Text: strings.NewReplacer(fromTo...).Replace(text), Why: "an invented correction", Parent: parent})
	w := d.send(t, "POST", "/v1/record-revisions", body, "Authorization", "Bearer "+d.author)
	if w.Code != 201 {
		t.Fatalf("%d %s", w.Code, w.Body)
	}
	id := decoded(t, w.Body.Bytes()).(map[string]any)["id"].(string)
	if w.Header().Get("Location") != "/v1/record-revisions/"+id {
		t.Errorf("Location %q", w.Header().Get("Location"))
	}
	// Neither the author nor another key of the same person may review it.
	if w := d.send(t, "POST", "/v1/record-revisions/"+id+"/review", `{"why":"mine is fine"}`, "Authorization", "Bearer "+d.author); w.Code != 403 || !strings.Contains(problemOf(t, w).Detail, "second curator") {
		t.Errorf("reviewed by its author: %d %s", w.Code, w.Body)
	}
	again := d.must(t, store.Admin, "POST", "/v1/keys", `{"holder":"idris  THORN","role":"curator"}`)["secret"].(string)
	if w := d.send(t, "POST", "/v1/record-revisions/"+id+"/review", `{"why":"mine is fine"}`, "Authorization", "Bearer "+again); w.Code != 403 {
		t.Errorf("reviewed by its author under another key: %d", w.Code)
	}
	d.refused(t, overtaken, nil, store.Curator, "POST", "/v1/record-publications", `{"revisions":["`+id+`"],"why":"too early"}`)
	if got := d.must(t, store.Curator, "POST", "/v1/record-revisions/"+id+"/review", `{"why":"compared"}`); got["state"] != "reviewed" {
		t.Errorf("%v", got["state"])
	}
	d.refused(t, overtaken, nil, store.Curator, "POST", "/v1/record-revisions/"+id+"/review", `{"why":"again"}`)
	return id
}

const dragonPath = "species/pogona-vitticeps.yaml"

// Publishing a revision changes the next answer and its tag; what was answered before
// stays as it was and can be worked again; withdrawing brings the old answer back.
func TestPublish(t *testing.T) {
	d := newDen(t)
	const species = "/v1/species/pogona-vitticeps/claims?parameter=hotspot_surface_day"
	kept := "/v1/saved-assessments/" + d.of[rescue].assessment
	before := d.send(t, "GET", species, "")
	answer := d.must(t, store.Reader, "GET", kept, "")
	archive := d.as(t, rescue, store.Reader, "GET", "/v1/record-archives", "").Body.String()

	id := d.hotter(t, "{low: 38, high: 42, source: rspca_beardeddragon", "{low: 50, high: 52, source: rspca_beardeddragon",
		"{low: 40, high: 40, source: nsw_beardeddragon", "{low: 50, high: 52, source: nsw_beardeddragon")
	if w := d.send(t, "GET", species, "", "If-None-Match", before.Header().Get("ETag")); w.Code != 304 {
		t.Errorf("a draft changed the answer: %d", w.Code)
	}
	if got := d.must(t, store.Reader, "POST", "/v1/record-checks", `{"revisions":["`+id+`"]}`); got["holds"] != true {
		t.Errorf("%v", got)
	}
	lines := d.must(t, store.Reader, "GET", "/v1/record-revisions/"+id+"/difference?against=embedded", "")["lines"].([]any)
	var marks []string
	for _, l := range lines {
		if l := l.(map[string]any); l["op"] != " " {
			marks = append(marks, fmt.Sprint(l["op"], strings.Contains(l["text"].(string), "low: 50, high: 52")))
		}
	}
	if diff := cmp.Diff([]string{"-false", "-false", "+true", "+true"}, marks); diff != "" {
		t.Error(diff)
	}

	published := d.must(t, store.Curator, "POST", "/v1/record-publications", `{"revisions":["`+id+`"],"why":"an invented correction"}`)
	now := published["catalogue_revision"].(string)
	after := d.send(t, "GET", species, "", "If-None-Match", before.Header().Get("ETag"))
	if after.Code != 200 || after.Header().Get("ETag") == before.Header().Get("ETag") || !strings.Contains(after.Body.String(), `"low":50`) || !strings.Contains(after.Body.String(), now) {
		t.Errorf("the next answer is as before: %d %s", after.Code, after.Header().Get("ETag"))
	}
	if got := decoded(t, d.send(t, "POST", "/v1/assessments", tankQuestion).Body.Bytes()).(map[string]any)["catalogue_revision"]; got != now || !strings.HasPrefix(now, "1-") {
		t.Errorf("assessed from %v, published %s", got, now)
	}

	if diff := cmp.Diff(answer, d.must(t, store.Reader, "GET", kept, "")); diff != "" {
		t.Error("the answer kept has changed", diff)
	}
	then := d.must(t, store.Reader, "GET", kept+"/rework?with=then", "")
	if then["identical"] != true || then["changed"] != false || then["catalogue_revision"] != answer["catalogue_revision"] {
		t.Errorf("worked again from its own catalogue: identical %v, changed %v, %v", then["identical"], then["changed"], then["catalogue_revision"])
	}
	if diff := cmp.Diff(answer["answer"], then["again"]); diff != "" {
		t.Error(diff)
	}
	today := d.must(t, store.Reader, "GET", kept+"/rework", "")
	if today["identical"] != false || today["catalogue_revision"] != now || cmp.Diff(today["kept"], any(answer)) != "" {
		t.Errorf("worked again from today's: identical %v, %v", today["identical"], today["catalogue_revision"])
	}

	// Every setup is answered anew once; the other organisation's are its own affair.
	run := d.must(t, store.Keeper, "POST", "/v1/reassessments", `{"species":"testudo-hermanni"}`)
	if run["assessed"] != 0.0 || run["complete"] != true {
		t.Errorf("of a species that no setup is for: %v", run)
	}
	run = d.must(t, store.Keeper, "POST", "/v1/reassessments", `{}`)
	if run["assessed"] != 1.0 || run["complete"] != true || run["catalogue_revision"] != now {
		t.Errorf("%v", run)
	}
	if today["changed"] != true || len(run["changed"].([]any)) != 1 {
		t.Errorf("rework says changed %v, reassessment lists %v", today["changed"], run["changed"])
	}
	for _, c := range run["changed"].([]any) {
		c := c.(map[string]any)
		if c["setup"] != d.of[rescue].setup || c["previous"].(map[string]any)["id"] != d.of[rescue].assessment || cmp.Diff(c["previous"].(map[string]any)["score"], c["current"].(map[string]any)["score"]) == "" {
			t.Errorf("%v", c)
		}
	}
	if run = d.must(t, store.Keeper, "POST", "/v1/reassessments", `{}`); run["assessed"] != 0.0 {
		t.Errorf("a repeat assesses %v", run["assessed"])
	}

	// The catalogue of that time is still there, file by file.
	old := d.as(t, rescue, store.Reader, "GET", "/v1/record-archives?catalogue="+answer["catalogue_revision"].(string), "").Body.String()
	if old != archive {
		t.Error("the archive of the old catalogue differs from the one taken then")
	}
	if new := d.as(t, rescue, store.Reader, "GET", "/v1/record-archives", "").Body.String(); new == archive {
		t.Error("the archive of the new catalogue is that of the old")
	}
	d.refused(t, unknownName, []string{"?catalogue"}, store.Reader, "GET", "/v1/record-archives?catalogue=9-none", "")

	// A draft against the text that is in force no more is refused.
	stale := quoted(t, draftInput{Path: dragonPath, Text: "id: pogona-vitticeps\n", Why: "late"})
	d.refused(t, overtaken, nil, store.Curator, "POST", "/v1/record-revisions", stale)

	d.must(t, store.Curator, "POST", "/v1/record-withdrawals", `{"revisions":["`+id+`"],"why":"it was invented"}`)
	back := d.send(t, "GET", species, "")
	if !strings.Contains(back.Body.String(), `"low":38`) || strings.Contains(back.Body.String(), `"low":50`) || back.Header().Get("ETag") == after.Header().Get("ETag") {
		t.Error("the old figure is not back")
	}
	got := d.must(t, store.Reader, "GET", "/v1/record-revisions/"+id, "")
	var steps []string
	for _, st := range got["steps"].([]any) {
		st := st.(map[string]any)
		steps = append(steps, fmt.Sprint(st["state"], ": ", st["why"]))
	}
	if diff := cmp.Diff([]string{"draft: an invented correction", "reviewed: compared", "published: an invented correction", "withdrawn: it was invented"}, steps); diff != "" {
		t.Error(diff)
	}
	if got["published_in"] != 1.0 || got["withdrawn_in"] != 2.0 {
		t.Errorf("in force from %v to %v", got["published_in"], got["withdrawn_in"])
	}
}

// A text that the catalogue would not hold with is told field by field, and not published.
func TestRefusedRecords(t *testing.T) {
	d := newDen(t)
	id := d.hotter(t, "{low: 38, high: 42, source: rspca_beardeddragon", "{low: 38, high: 42, source: nobody_knows")
	check := d.must(t, store.Reader, "POST", "/v1/record-checks", `{"revisions":["`+id+`"]}`)
	if faults := check["faults"].([]any); check["holds"] != false || len(faults) != 1 || faults[0].(map[string]any)["file"] != dragonPath || !strings.Contains(quoted(t, faults), "nobody_knows") {
		t.Errorf("%v", check)
	}
	p := d.refused(t, catalogueRefused, nil, store.Curator, "POST", "/v1/record-publications", `{"revisions":["`+id+`"],"why":"no good"}`)
	if len(p.Faults) != 1 || p.Faults[0].File != dragonPath {
		t.Errorf("%+v", p.Faults)
	}
	none := "00000000-0000-0000-0000-000000000000"
	d.refused(t, unknownName, []string{"/revisions"}, store.Curator, "POST", "/v1/record-publications", `{"revisions":["`+none+`"],"why":"x"}`)
	d.refused(t, unknownName, []string{"/revisions"}, store.Curator, "POST", "/v1/record-withdrawals", `{"revisions":["`+none+`"],"why":"x"}`)
	d.refused(t, unknownName, []string{"/revisions"}, store.Reader, "POST", "/v1/record-checks", `{"revisions":["`+none+`"]}`)
	d.refused(t, unknownName, []string{"{id}"}, store.Curator, "POST", "/v1/record-revisions/"+none+"/review", `{"why":"x"}`)
	d.refused(t, unknownName, []string{"?path"}, store.Reader, "GET", "/v1/record-texts?path=species/gryphus.yaml", "")
	d.refused(t, invalidParameter, []string{"?path"}, store.Reader, "GET", "/v1/record-texts", "")
	d.refused(t, invalidParameter, []string{"?against"}, store.Reader, "GET", "/v1/record-revisions/"+id+"/difference?against=yesterday", "")
	d.refused(t, invalidParameter, []string{"?against"}, store.Reader, "GET", "/v1/record-revisions/"+id+"/difference?against="+d.draft, "")
	d.refused(t, unknownName, []string{"?against"}, store.Reader, "GET", "/v1/record-revisions/"+id+"/difference?against="+none, "")
	d.refused(t, unknownName, []string{"{id}"}, store.Reader, "GET", "/v1/record-revisions/"+none+"/difference?against="+id, "")
	for _, text := range []string{" \n", "a\x00b"} {
		d.refused(t, invalidQuestion, []string{"/text"}, store.Curator, "POST", "/v1/record-revisions", quoted(t, draftInput{Path: inventedPath, Text: text, Why: "x"}))
	}
	d.refused(t, invalidQuestion, []string{"/why"}, store.Curator, "POST", "/v1/record-revisions", quoted(t, draftInput{Path: inventedPath, Text: "x", Why: strings.Repeat("€", 200)}))
	d.refused(t, overtaken, nil, store.Curator, "POST", "/v1/record-revisions", quoted(t, draftInput{Path: inventedPath, Text: "x", Why: "x", Parent: d.draft}))
}

// An archive goes out and comes back; what differs is drafted, what is bad refused whole.
func TestArchives(t *testing.T) {
	d := newDen(t)
	const to = "/v1/record-archives?why=an+invented+import"
	send := func(body string, header ...string) *httptest.ResponseRecorder {
		t.Helper()
		return d.as(t, rescue, store.Curator, "POST", to, body, append([]string{"Content-Type", "application/zip"}, header...)...)
	}
	drafted := func(w *httptest.ResponseRecorder) (paths []string) {
		t.Helper()
		if w.Code != 200 {
			t.Fatalf("%d %s", w.Code, w.Body)
		}
		for _, r := range decoded(t, w.Body.Bytes()).(map[string]any)["revisions"].([]any) {
			paths = append(paths, r.(map[string]any)["path"].(string))
		}
		return paths
	}
	out := d.as(t, rescue, store.Reader, "GET", "/v1/record-archives", "")
	if again := d.as(t, rescue, store.Reader, "GET", "/v1/record-archives", ""); again.Body.String() != out.Body.String() {
		t.Error("two archives of one catalogue differ")
	}
	if got := drafted(send(out.Body.String())); len(got) != 0 {
		t.Errorf("unchanged files were drafted: %q", got)
	}
	r, err := zip.NewReader(bytes.NewReader(out.Body.Bytes()), int64(out.Body.Len()))
	if err != nil {
		t.Fatal(err)
	}
	files := map[string]string{}
	for _, f := range r.File {
		in, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		text, err := io.ReadAll(in)
		if err != nil {
			t.Fatal(err)
		}
		files[f.Name] = string(text)
	}
	c, err := embedded()
	if err != nil {
		t.Fatal(err)
	}
	if len(files) < len(c.Species()) {
		t.Errorf("%d files for %d species", len(files), len(c.Species()))
	}
	files[dragonPath] += "\n# looked at in Harrowmere\n"
	files["README.md"] = "not a record"
	if diff := cmp.Diff([]string{dragonPath}, drafted(send(archiveOf(t, files)))); diff != "" {
		t.Error(diff)
	}

	bomb := archiveOf(t, map[string]string{"species/bomb.yaml": strings.Repeat("a", maxRecordText+1)})
	var many []string
	for i := range 70 {
		many = append(many, fmt.Sprintf("species/s%d.yaml", i))
	}
	heavy := map[string]string{}
	for _, name := range many {
		heavy[name] = strings.Repeat("a", maxRecordText)
	}
	twice := func() string {
		var out bytes.Buffer
		w := zip.NewWriter(&out)
		for range 2 {
			if _, err := w.Create("species/twice.yaml"); err != nil {
				t.Fatal(err)
			}
		}
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
		return out.String()
	}()
	for name, tt := range map[string]struct {
		body   string
		status int
		kind   *problemKind
	}{
		"not an archive":  {"species: []", 400, unreadableRequest},
		"nothing":         {"", 400, unreadableRequest},
		"cut short":       {out.Body.String()[:1000], 400, unreadableRequest},
		"a file twice":    {twice, 400, unreadableRequest},
		"no records":      {archiveOf(t, map[string]string{"a.txt": "x", "../species/x.yaml": "x"}), 422, invalidQuestion},
		"a bad record":    {archiveOf(t, map[string]string{"species/bad.yaml": "colour: red\n"}), 422, catalogueRefused},
		"a huge file":     {bomb, 413, bodyTooLarge},
		"huge altogether": {archiveOf(t, heavy), 413, bodyTooLarge},
		"too large":       {strings.Repeat("x", maxArchive+1), 413, bodyTooLarge},
	} {
		if w := send(tt.body); w.Code != tt.status || problemOf(t, w).Type != "/problems/"+tt.kind.name {
			t.Errorf("%s: %d %.300s", name, w.Code, w.Body)
		}
	}
	if w := send(bomb, "Content-Type", "application/json"); w.Code != 415 {
		t.Errorf("as JSON: %d", w.Code)
	}
	if w := send(bomb, "Content-Encoding", "gzip"); w.Code != 415 {
		t.Errorf("encoded: %d", w.Code)
	}
	d.refused(t, invalidParameter, []string{"?why"}, store.Curator, "POST", "/v1/record-archives", bomb, "Content-Type", "application/zip")
	d.refused(t, invalidParameter, []string{"?why"}, store.Curator, "POST", "/v1/record-archives?why=+", bomb, "Content-Type", "application/zip")
	if left := d.must(t, store.Reader, "GET", "/v1/record-revisions?state=draft&path="+dragonPath, "")["revisions"].([]any); len(left) != 1 {
		t.Errorf("%d drafts", len(left))
	}
}

// Of changes made out of order the later one stays in use.
func TestAdvance(t *testing.T) {
	s := newServer(t)
	for _, tt := range []struct{ made, want string }{{"2-b", "2-b"}, {"1-a", "2-b"}, {"2-c", "2-b"}, {"10-d", "10-d"}} {
		s.advance(renamed(t, tt.made))
		if got := s.snapshot.Load().Revision; got != tt.want {
			t.Errorf("after %s: %s, want %s", tt.made, got, tt.want)
		}
	}
}
