package api

import (
	"fmt"
	"maps"
	"net"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"

	"denwright/care/store"
)

// atOnce sends the same request n times at once.
func (d *den) atOnce(n int, method, target, body string, header ...string) []*httptest.ResponseRecorder {
	out := make([]*httptest.ResponseRecorder, n)
	var wg sync.WaitGroup
	for i := range out {
		wg.Go(func() {
			r := httptest.NewRequest(method, target, strings.NewReader(body))
			r.Header.Set("Content-Type", "application/json")
			r.Header.Set("Authorization", "Bearer "+d.of[rescue].key[store.Admin])
			for j := 0; j+1 < len(header); j += 2 {
				r.Header.Set(header[j], header[j+1])
			}
			out[i] = httptest.NewRecorder()
			d.handler.ServeHTTP(out[i], r)
		})
	}
	wg.Wait()
	return out
}

// codes counts the answers by status.
func codes(all []*httptest.ResponseRecorder) map[int]int {
	out := map[int]int{}
	for _, w := range all {
		out[w.Code]++
	}
	return out
}

// A setup comes back as it was saved, in the units in which it was asked.
func TestSetupIsKeptAsAsked(t *testing.T) {
	d := newDen(t)
	w := d.as(t, rescue, store.Keeper, "POST", "/v1/setups", `{"name":"box 7", "question" : {"animals":[{"stage":"adult","count":1.0}],"species":"beardie","setup":{"inside":{"length":{"value":48,"unit":"in"}}}}}`)
	made := decoded(t, w.Body.Bytes()).(map[string]any)
	location := w.Header().Get("Location")
	if w.Code != 201 || location != "/v1/setups/"+made["id"].(string) || w.Header().Get("ETag") != `"1"` {
		t.Fatalf("%d %v %s", w.Code, w.Header(), w.Body)
	}
	want := decoded(t, []byte(`{"animals":[{"stage":"adult","count":1}],"species":"beardie","setup":{"inside":{"length":{"value":48,"unit":"in"}}}}`))
	if diff := cmp.Diff(want, made["question"]); diff != "" || made["species"] != "pogona-vitticeps" {
		t.Error(made["species"], diff)
	}
	for _, units := range []string{"metric", "imperial"} {
		if diff := cmp.Diff(made, d.must(t, store.Reader, "GET", location+"?units="+units, "")); diff != "" {
			t.Error(units, diff)
		}
	}
	w = d.as(t, rescue, store.Reader, "GET", location, "", "If-None-Match", `"1"`)
	if w.Code != 304 || w.Body.Len() != 0 || w.Header().Get("Cache-Control") != "private, no-cache" {
		t.Errorf("%d %v", w.Code, w.Header())
	}
	for _, target := range []string{location, "/v1/setups", "/v1/organisation/export", "/v1/record-archives"} {
		if w := d.atOnce(1, "HEAD", target, "")[0]; w.Code != 200 || w.Body.Len() != 0 {
			t.Errorf("HEAD %s: %d, %d bytes", target, w.Code, w.Body.Len())
		}
	}
	d.refused(t, invalidQuestion, []string{"/question/animals/0/count", "/question/species"}, store.Keeper, "POST", "/v1/setups", `{"name":"x","question":{"species":"","animals":[{"count":0,"stage":"adult"}]}}`)
	d.refused(t, invalidQuestion, []string{"/name", "/question/jurisdiction", "/question/species"}, store.Keeper, "POST", "/v1/setups", `{"name":" ","question":{"species":"boa","animals":[{"count":1,"stage":"adult"}],"jurisdiction":"QQ"}}`)
	d.refused(t, invalidQuestion, []string{"/name"}, store.Keeper, "POST", "/v1/setups", `{"name":"a\u0000b","question":`+tankQuestion+`}`)
	d.refused(t, wrongMediaType, nil, store.Keeper, "POST", "/v1/setups", tank, "Content-Type", "text/plain")
}

// A change reaches only the version that it was made to: of many at once, one.
func TestChangesDoNotOverwriteEachOther(t *testing.T) {
	d := newDen(t)
	target := "/v1/setups/" + d.of[rescue].setup
	second := strings.Replace(tank, `"value":41`, `"value":39`, 1)

	d.refused(t, versionNeeded, nil, store.Keeper, "PUT", target, second)
	d.refused(t, versionNeeded, nil, store.Keeper, "DELETE", target, "")
	for _, tag := range []string{"1", `W/"1"`, `"x"`, `"0"`, "*", `"1", "2"`} {
		d.refused(t, invalidParameter, []string{"If-Match:"}, store.Keeper, "PUT", target, second, "If-Match", tag)
	}
	d.refused(t, versionPassed, nil, store.Keeper, "PUT", target, second, "If-Match", `"7"`)

	if got := codes(d.atOnce(8, "PUT", target, second, "If-Match", `"1"`)); !maps.Equal(got, map[int]int{200: 1, 412: 7}) {
		t.Fatalf("eight at once: %v", got)
	}
	p := d.refused(t, versionPassed, nil, store.Keeper, "PUT", target, second, "If-Match", `"1"`)
	if !strings.Contains(p.Detail, "version 2") {
		t.Errorf("the problem does not name the version: %s", p.Detail)
	}
	d.refused(t, versionPassed, nil, store.Keeper, "DELETE", target, "", "If-Match", `"1"`)
	w := d.as(t, rescue, store.Reader, "GET", target, "")
	if w.Header().Get("ETag") != `"2"` || !strings.Contains(w.Body.String(), `"value":39`) {
		t.Errorf("%v %s", w.Header(), w.Body)
	}
	if got := codes(d.atOnce(8, "DELETE", target, "", "If-Match", `"2"`)); got[204] != 1 || got[204]+got[404]+got[412] != 8 {
		t.Fatalf("eight deletions at once: %v", got)
	}
	d.refused(t, unknownName, []string{"{id}"}, store.Reader, "GET", target, "")
	d.refused(t, unknownName, []string{"{id}"}, store.Keeper, "POST", target+"/assessments", "")
	var versions []string
	for _, v := range d.must(t, store.Reader, "GET", target+"/versions", "")["setups"].([]any) {
		v := v.(map[string]any)
		versions = append(versions, fmt.Sprint(v["version"], v["deleted"]))
	}
	if diff := cmp.Diff([]string{"3 true", "2 true", "1 true"}, versions); diff != "" {
		t.Error(diff)
	}
	if kept := d.must(t, store.Reader, "GET", target+"/assessments", "")["assessments"].([]any); len(kept) != 1 {
		t.Errorf("%d assessments of the deleted setup", len(kept))
	}
}

// However often a creation is repeated under one Idempotency-Key, also at once, it
// makes one thing; under the same key another request is refused.
func TestRepeatsMakeOneThing(t *testing.T) {
	d := newDen(t)
	assess := "/v1/setups/" + d.of[rescue].setup + "/assessments"
	draft := quoted(t, draftInput{Path: "sources/quay.yaml", Text: inventedSource, Why: "read"})
	for _, tt := range []struct{ target, list, entries, body, another string }{
		{"/v1/setups", "/v1/setups", "setups", tank, strings.Replace(tank, "back", "front", 1)},
		{assess, assess, "assessments", "", ""},
		{"/v1/keys", "/v1/keys", "keys", `{"holder":"Rosa Quill","role":"keeper"}`, `{"holder":"Rosa Quill","role":"admin"}`},
		{"/v1/record-revisions", "/v1/record-revisions", "revisions", draft, strings.Replace(draft, "quay", "pier", 1)},
	} {
		t.Run(tt.target, func(t *testing.T) {
			before := len(d.must(t, store.Admin, "GET", tt.list, "")[tt.entries].([]any))
			token := "repeat-" + tt.entries
			all := d.atOnce(8, "POST", tt.target, tt.body, "Idempotency-Key", token)
			if got := codes(all); got[201] != 8 {
				t.Fatalf("%v %s", got, all[0].Body)
			}
			ids, secrets := map[any]int{}, 0
			for _, w := range all {
				made := decoded(t, w.Body.Bytes()).(map[string]any)
				ids[made["id"]]++
				if made["secret"] != nil {
					secrets++
				}
			}
			if after := len(d.must(t, store.Admin, "GET", tt.list, "")[tt.entries].([]any)); len(ids) != 1 || after != before+1 {
				t.Errorf("%d ids, %d entries more", len(ids), after-before)
			}
			if want := map[string]int{"/v1/keys": 1}[tt.target]; secrets != want {
				t.Errorf("%d answers show a secret, want %d", secrets, want)
			}
			if tt.another != "" {
				d.refused(t, tokenReused, nil, store.Admin, "POST", tt.target, tt.another, "Idempotency-Key", token)
			}
			for _, bad := range []string{" ", "a b", strings.Repeat("x", 201), "é"} {
				d.refused(t, invalidParameter, []string{"Idempotency-Key:"}, store.Admin, "POST", tt.target, tt.body, "Idempotency-Key", bad)
			}
		})
	}
	// The same question written otherwise is the same request.
	reordered := `{"question":{"jurisdiction":"DE","setup":{"temperatures":{"hot_spot":{"unit":"°C","value":41.0}},"inside":{"height":{"value":60,"unit":"cm"},"length":{"value":48,"unit":"in"},"width":{"value":24,"unit":"in"}}},"animals":[{"count":1,"stage":"adult"}],"species":"beardie"},"name":"tank by the back door"}`
	if w := d.as(t, rescue, store.Keeper, "POST", "/v1/setups", reordered, "Idempotency-Key", "repeat-setups"); w.Code != 201 {
		t.Errorf("%d %s", w.Code, w.Body)
	}
	// The other organisation's keys are its own affair.
	if w := d.as(t, society, store.Keeper, "POST", "/v1/setups", strings.Replace(tank, "back", "side", 1), "Idempotency-Key", "repeat-setups"); w.Code != 201 {
		t.Errorf("%d %s", w.Code, w.Body)
	}
}

// Page after page gives every entry once, in order, also while more are made.
func TestKeptPages(t *testing.T) {
	d := newDen(t)
	setup := "/v1/setups/" + d.of[rescue].setup
	for i := range 6 {
		d.must(t, store.Keeper, "POST", "/v1/setups", strings.Replace(tank, "back", fmt.Sprint("page ", i), 1))
		d.must(t, store.Keeper, "PUT", setup, strings.Replace(tank, "back", fmt.Sprint("version ", i), 1), "If-Match", fmt.Sprintf(`"%d"`, i+1))
		d.must(t, store.Keeper, "POST", setup+"/assessments", "")
		d.must(t, store.Admin, "POST", "/v1/keys", `{"holder":"Rosa Quill","role":"reader"}`)
		d.must(t, store.Curator, "POST", "/v1/record-revisions", quoted(t, draftInput{Path: "sources/page.yaml", Text: inventedSource, Why: "read"}))
	}
	for _, tt := range []struct{ target, list, key string }{
		{"/v1/setups", "setups", "id"}, {setup + "/versions", "setups", "version"}, {setup + "/assessments", "assessments", "id"},
		{"/v1/saved-assessments", "assessments", "id"}, {"/v1/keys", "keys", "id"}, {"/v1/audit-trail", "entries", "seq"}, {"/v1/record-revisions", "revisions", "id"},
	} {
		t.Run(tt.target, func(t *testing.T) {
			read := func(target string, into []any) ([]any, string) {
				page := d.must(t, store.Admin, "GET", target, "")
				for _, e := range page[tt.list].([]any) {
					into = append(into, e.(map[string]any)[tt.key])
				}
				next, _ := page["next_cursor"].(string)
				return into, next
			}
			want, next := read(tt.target+"?limit=200", nil)
			if next != "" || len(want) < 6 {
				t.Fatalf("%d entries, cursor %q", len(want), next)
			}
			var got []any
			pages := 0
			for cursor := ""; pages == 0 || cursor != ""; pages++ {
				target := tt.target + "?limit=2"
				if cursor != "" {
					target += "&cursor=" + cursor
				}
				got, cursor = read(target, got)
				if pages == 0 { // what is made meanwhile changes nothing that was there
					d.must(t, store.Admin, "POST", "/v1/keys", `{"holder":"Rosa Quill","role":"reader"}`)
				}
			}
			if len(got) > len(want) { // oldest first: the new one comes last
				got = got[:len(want)]
			}
			if diff := cmp.Diff(want, got); diff != "" {
				t.Error(diff)
			}
			for _, bad := range []string{"limit=0", "limit=201", "limit=x", "cursor=%21", "cursor=" + strings.Repeat("A", 150), "cursor=AAAA", "colour=red", "units=cubits"} {
				name, _, _ := strings.Cut(bad, "=")
				d.refused(t, invalidParameter, []string{"?" + name}, store.Admin, "GET", tt.target+"?"+bad, "")
			}
		})
	}
	if got := d.must(t, store.Reader, "GET", "/v1/setups?species=testudo-hermanni", "")["setups"].([]any); len(got) != 0 {
		t.Errorf("%d setups of a species that none is for", len(got))
	}
	for target, n := range map[string]int{"?species=pogona-vitticeps": 7, "?species=boa-constrictor": 0, "?verdict=suitable": 0, "?setup=" + d.of[rescue].setup: 7, "?setup=" + d.of[society].setup: 0, "?catalogue_revision=9-none": 0} {
		if got := d.must(t, store.Reader, "GET", "/v1/saved-assessments"+target, "")["assessments"].([]any); len(got) != n {
			t.Errorf("%s: %d, want %d", target, len(got), n)
		}
	}
	d.refused(t, invalidParameter, []string{"?species", "?verdict"}, store.Reader, "GET", "/v1/saved-assessments?verdict=fine&species=a%00b", "")
}

// An answer kept is the answer that the question itself has, in either system.
func TestKeptAnswerIsTheAnswer(t *testing.T) {
	d := newDen(t)
	for _, units := range []string{"metric", "imperial"} {
		kept := d.must(t, store.Reader, "GET", "/v1/saved-assessments/"+d.of[rescue].assessment+"?units="+units, "")
		asked := decoded(t, d.send(t, "POST", "/v1/assessments?units="+units, tankQuestion).Body.Bytes()).(map[string]any)
		sameFigures(t, units, inMetric(asked), inMetric(kept["answer"]))
		if units == "metric" {
			if diff := cmp.Diff(asked, kept["answer"]); diff != "" {
				t.Error(diff)
			}
		}
		for _, name := range []string{"verdict", "score", "catalogue_revision", "engine_version"} {
			if diff := cmp.Diff(asked[name], kept[name]); diff != "" {
				t.Error(name, diff)
			}
		}
		for _, unit := range []string{`"cm"`, `"m²"`, `"°C"`} {
			if text := quoted(t, kept["answer"]); units == "imperial" && strings.Contains(text, `"unit":`+unit) {
				t.Errorf("an imperial answer holds %s", unit)
			}
		}
	}
	if w := d.as(t, rescue, store.Keeper, "POST", "/v1/setups/"+d.of[rescue].setup+"/assessments", "{}"); w.Code != 400 {
		t.Errorf("with a body: %d", w.Code)
	}
}

// With a database that can't be reached, what needs it says so and when to come
// again, without a word of the driver's; questions are answered as ever.
func TestDatabaseIsDown(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	address := l.Addr().String()
	if err := l.Close(); err != nil { // nobody listens there
		t.Fatal(err)
	}
	st, err := openStore("postgres://hidden_user:hidden_word@" + address + "/hidden_base?sslmode=disable")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := st.Close(); err != nil {
			t.Error(err)
		}
	})
	d := newDen(t)
	d.handler = d.server.Handler(Config{Store: st})
	for _, o := range keptOperations(t, d) {
		r := httptest.NewRequest(o.method, o.target, strings.NewReader(o.body))
		r.Header.Set("Authorization", "Bearer "+d.of[rescue].key[store.Admin])
		w := httptest.NewRecorder()
		d.handler.ServeHTTP(w, r)
		d.check(t, r, w)
		if p := problemOf(t, w); w.Code != 503 || p.Type != "/problems/database-unavailable" || w.Header().Get("Retry-After") != "2" {
			t.Errorf("%s: %d %v %s", o.id, w.Code, w.Header(), w.Body)
		}
		for _, inside := range []string{"hidden", address, "dial", "connect"} {
			if strings.Contains(w.Body.String(), inside) {
				t.Errorf("%s tells %q: %s", o.id, inside, w.Body)
			}
		}
	}
	for target, body := range map[string]string{"/v1/sizings": oneAdult, "/v1/assessments": tankQuestion} {
		if w := d.send(t, http.MethodPost, target, body, "Authorization", "Bearer "+d.of[rescue].key[store.Admin]); w.Code != 200 {
			t.Errorf("%s: %d", target, w.Code)
		}
	}
	if w := d.send(t, "GET", "/readyz", ""); w.Code != 200 {
		t.Errorf("/readyz: %d", w.Code)
	}
	if strings.Contains(d.log.String(), "hidden_word") || strings.Contains(d.log.String(), "dwk_") {
		t.Error("the log holds a secret")
	}
}

// A setup that can't be assessed any more stops a reassessment, by its id.
func TestRefusedSetupIsNamed(t *testing.T) {
	d := newDen(t)
	who, err := d.store.Authenticate(t.Context(), d.of[rescue].key[store.Keeper])
	if err != nil {
		t.Fatal(err)
	}
	for name, payload := range map[string]string{"a species that is gone": `{"species":"gryphus-harrowmerensis","animals":[{"count":1,"stage":"adult"}]}`, "a field that is gone": `{"colour":"red"}`} {
		s, err := d.store.CreateSetup(t.Context(), who, "", store.SetupInput{Name: name, Species: "gryphus-harrowmerensis", Payload: []byte(payload)})
		if err != nil {
			t.Fatal(err)
		}
		p := d.refused(t, invalidQuestion, []string{""}, store.Keeper, "POST", "/v1/setups/"+s.ID+"/assessments", "")
		if !strings.Contains(p.Detail, s.ID) || !strings.Contains(p.Errors[0].Remedy, s.ID) {
			t.Errorf("%s: %+v", name, p)
		}
	}
	bad := d.refused(t, invalidQuestion, []string{"/species"}, store.Keeper, "POST", "/v1/reassessments", `{"species":"beardie"}`)
	if len(bad.Errors[0].Candidates) == 0 || !slices.Equal(fieldsOf(bad), []string{"/species"}) {
		t.Errorf("%+v", bad)
	}
}

// A run of reassessment for which the time is up ends early and says so; a repeat goes on.
func TestReassessmentEndsInTime(t *testing.T) {
	d := newDen(t)
	d.server.SetCatalogue(renamed(t, "1-invented"))
	whole := d.handler
	d.handler = d.server.Handler(Config{Store: d.store, WriteTimeout: 1}) // half a nanosecond is over at once
	if run := d.must(t, store.Keeper, "POST", "/v1/reassessments", `{}`); run["complete"] != false || run["assessed"] != 0.0 {
		t.Errorf("without time: %v", run)
	}
	d.handler = whole
	if run := d.must(t, store.Keeper, "POST", "/v1/reassessments", `{}`); run["complete"] != true || run["assessed"] != 1.0 || len(run["changed"].([]any)) != 0 {
		t.Errorf("the repeat: %v", run)
	}
}

// Before there is a catalogue, what is kept can be read and keys be made; what needs
// the catalogue says that it is not ready.
func TestKeptWithoutCatalogue(t *testing.T) {
	d := newDen(t)
	d.server.SetCatalogue(nil)
	d.must(t, store.Reader, "GET", "/v1/setups/"+d.of[rescue].setup, "")
	d.must(t, store.Admin, "POST", "/v1/keys", `{"holder":"Rosa Quill","role":"reader"}`)
	for target, body := range map[string]string{"/v1/setups": tank, "/v1/setups/" + d.of[rescue].setup + "/assessments": "", "/v1/reassessments": "{}"} {
		w := d.atOnce(1, "POST", target, body)[0]
		if p := problemOf(t, w); w.Code != 503 || p.Type != "/problems/not-ready" || w.Header().Get("Retry-After") == "" {
			t.Errorf("%s: %d %s", target, w.Code, w.Body)
		}
	}
	d.must(t, store.Curator, "POST", "/v1/record-publications", `{"revisions":["`+d.reviewed+`"],"why":"the first catalogue"}`)
	if w := d.send(t, "GET", "/readyz", ""); w.Code != 200 {
		t.Errorf("after a publication: %d", w.Code)
	}
}
