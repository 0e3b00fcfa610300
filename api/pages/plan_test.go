package pages

import (
	"encoding/xml"
	"html"
	"io"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing"
	"denwright/sizing/layout"
)

// links are the addresses in a page that a pattern picks.
func links(page, pattern string) (out []string) {
	for _, m := range regexp.MustCompile(`(?:href|src)="(`+pattern+`[^"]*)"`).FindAllStringSubmatch(page, -1) {
		out = append(out, html.UnescapeString(m[1]))
	}
	return out
}

// From the size page one press leads to a plan with equipment, its drawings and its lists.
func TestFromSizeToPlan(t *testing.T) {
	h := serve(t)
	_, size := visit(t, h, "/size?units=metric&species=pogona-vitticeps&animals.0.count=1&animals.0.stage=adult")
	to := links(size, `/plan\?`)
	if len(to) == 0 {
		t.Fatal("the size page leads to no plan")
	}
	address := follow(t, h, to[0])
	_, page := visit(t, h, address)
	sheets := links(page, "/plan/sheets/")
	var names []string
	for _, s := range sheets {
		status, body := visit(t, h, s)
		if status != http.StatusOK || !strings.Contains(body, `data-code="L1"`) && strings.Contains(s, "ceiling-from-above") {
			t.Errorf("%s: %d, and the ceiling has no lamp", s, status)
		}
		d := xml.NewDecoder(strings.NewReader(body))
		for {
			if _, err := d.Token(); err == io.EOF {
				break
			} else if err != nil {
				t.Errorf("%s: %v", s, err)
				break
			}
		}
		name, _, _ := strings.Cut(strings.TrimPrefix(s, "/plan/sheets/"), ".svg")
		names = append(names, name)
	}
	slices.Sort(names)
	if got := slices.Compact(names); !slices.Equal(got, slices.Sorted(slices.Values(sheetNames))) {
		t.Errorf("the page shows the sheets %v, not %v", got, sheetNames)
	}
	for _, list := range links(page, "/plan/lists/") {
		want := "BEGIN:VCALENDAR"
		if strings.Contains(list, ".csv") {
			want = "note\r\n"
		}
		if status, body := visit(t, h, list); status != http.StatusOK || !strings.Contains(body, want) {
			t.Errorf("%s: %d, without %q", list, status, want)
		}
	}
}

// follow gives the address that a page leads on to, or its own.
func follow(t *testing.T, h http.Handler, address string) string {
	t.Helper()
	w := get(h, address, nil)
	if w.Code == http.StatusSeeOther {
		return w.Header().Get("Location")
	}
	return address
}

// A drawing is the plan that the page tells of, even where the advised size had to grow,
// and is not drawn again for who has it.
func TestSheetIsOfThePlan(t *testing.T) {
	h := serve(t)
	address := follow(t, h, "/plan?units=metric&start=usual&animals.0.count=1&animals.0.stage=adult&species=phelsuma-klemmeri")
	_, page := visit(t, h, address)
	if !strings.Contains(page, "advised size was too small") {
		t.Fatal("the size did not grow: choose another species for this test")
	}
	_, cuts := visit(t, h, links(page, "/plan/lists/cuts.csv")[0])
	m := regexp.MustCompile(`front top rail,panel,1,(\d+),`).FindStringSubmatch(cuts)
	if m == nil || !strings.Contains(page, m[1]+" mm × 60 mm") {
		t.Errorf("the cut list has a rail of %v, the page another", m)
	}
	sheet := links(page, "/plan/sheets/")[0]
	first := get(h, sheet, nil)
	again := get(h, sheet, http.Header{"If-None-Match": {first.Header().Get("ETag")}})
	if first.Code != http.StatusOK || again.Code != http.StatusNotModified {
		t.Errorf("first %d, again %d; want 200 and 304", first.Code, again.Code)
	}
}

// What blocks is said, and each change offered leads to a page with a plan.
func TestBlockedPlanLeadsOn(t *testing.T) {
	h := serve(t)
	_, page := visit(t, h, "/plan?units=metric&species=pogona-vitticeps&animals.0.count=1&animals.0.stage=adult&enclosure.length=110&enclosure.width=50&enclosure.height=60"+
		"&equipment.1.kind=basking_lamp&equipment.1.count=2&equipment.1.guarded=yes&equipment.3.kind=uv_fixture&equipment.3.length=40")
	if !strings.Contains(page, "It does not fit") || len(links(page, "/plan/sheets/")) > 0 {
		t.Fatal("the plan is not blocked")
	}
	_, list, _ := strings.Cut(page, "<ol>")
	list, _, _ = strings.Cut(list, "</ol>")
	changes := links(list, `/plan\?`)
	if len(changes) == 0 {
		t.Fatal("no change is offered")
	}
	for _, c := range changes {
		if status, next := visit(t, h, c); status != http.StatusOK || len(links(next, "/plan/sheets/")) == 0 {
			t.Errorf("%s: %d and no plan", c, status)
		}
	}
}

// The change is made in the row where the piece was typed.
func TestChangedRows(t *testing.T) {
	sent := url.Values{"equipment.2.kind": {"basking_lamp"}, "equipment.2.count": {"2"}, "equipment.5.kind": {"uv_fixture"}, "equipment.5.hang": {"4"}}
	l := quantity.Length(0.42)
	next := sizing.PlanQuestion{Equipment: []sizing.PlanFixture{{Count: 3}, {MaxHang: &l}}}
	for _, c := range []struct {
		change layout.Change
		want   map[string]string
	}{
		{layout.Change{Kind: "add", Fixture: 0, Count: 1}, map[string]string{"equipment.2.count": "3"}},
		{layout.Change{Kind: "drop", Fixture: 0, Count: 1}, map[string]string{"equipment.2.count": "1"}},
		{layout.Change{Kind: "drop", Fixture: 1, Count: 1}, map[string]string{"equipment.5.kind": "", "equipment.5.hang": "", "equipment.2.count": "2"}},
		{layout.Change{Kind: "hang", Fixture: 1}, map[string]string{"equipment.5.max_hang": "420 mm"}},
		{layout.Change{Kind: "splash_proof", Fixture: 1}, map[string]string{"equipment.5.splash_proof": "yes", "equipment.5.secured": "yes"}},
	} {
		d := planData{Form: &form{Values: sent, backTo: map[string]string{"/equipment/0/kind": "equipment.2.kind", "/equipment/1/kind": "equipment.5.kind"}}}
		got := d.changed(c.change, next)
		for at, want := range c.want {
			if got.Get(at) != want {
				t.Errorf("%+v: %s is %q, want %q", c.change, at, got.Get(at), want)
			}
		}
	}
}

// A packed query is the query; one that can't be read gives an empty form, not a failure.
func TestPackedQuery(t *testing.T) {
	h := serve(t)
	v := url.Values{"species": {"python-regius"}, "equipment.0.kind": {"basking_lamp"}, "day.mist_days": {"MO", "TH"}}
	packed, err := pack(v)
	if err != nil {
		t.Fatal(err)
	}
	if w := get(h, "/plan/sheets/floor.svg?"+string(packed), nil); w.Code != http.StatusSeeOther || !strings.Contains(w.Header().Get("Location"), v.Encode()) {
		t.Errorf("%d to %q, want the page with %q", w.Code, w.Header().Get("Location"), v.Encode())
	}
	for _, bad := range []string{"packed=%21", "packed=AAAA", "packed=" + strings.Repeat("A", 3000)} {
		if status, _ := visit(t, h, "/plan/sheets/floor.svg?"+bad); status != http.StatusSeeOther {
			t.Errorf("%.20s: %d, want the way back to the form", bad, status)
		}
	}
}

// Problems stand at their fields, be they of the form or of the engine.
func TestPlanProblems(t *testing.T) {
	h := serve(t)
	const who = "/plan?units=metric&species=pogona-vitticeps&animals.0.count=1&animals.0.stage=adult"
	for query, at := range map[string]string{
		"&enclosure.length=120":                                      "",
		"&enclosure.material=paper":                                  "enclosure-material",
		"&equipment.1.kind=basking_lamp&equipment.1.beam_degrees=x":  "equipment-1-beam_degrees",
		"&equipment.0.kind=mist_nozzle&equipment.0.count=70":         "equipment-0-count",
		"&room.temperature=250&room.humidity=40":                     "room-temperature",
		"&day.dawn=noon":                                             "day-dawn",
		"&ceiling.screws=1":                                          "ceiling-screws",
		"&air_changes_per_hour=-3&room.humidity=40":                  "air_changes_per_hour",
		"&equipment.0.kind=uv_fixture&equipment.0.reading.distance=": "",
	} {
		status, page := visit(t, h, who+query)
		if status != http.StatusOK {
			t.Errorf("%s: %d", query, status)
		}
		if at != "" && !strings.Contains(page, `id="f-`+at+`-problem"`) {
			t.Errorf("%s: no problem stands at %s", query, at)
		}
	}
}

// The page is small for every species, with its usual equipment and in both units.
func TestPlanPagesAreSmall(t *testing.T) {
	h := serve(t)
	c, err := care.Embedded()
	if err != nil {
		t.Fatal(err)
	}
	for i, s := range c.Species() {
		if i%6 != 0 && s.ID != "chelonoidis-denticulatus" { // the largest
			continue
		}
		address := follow(t, h, "/plan?units=metric&animals.0.count=1&animals.0.stage=adult&start=usual&species="+s.ID)
		for _, language := range []string{"en-GB", "en-US"} {
			w := get(h, address, http.Header{"Accept-Language": {language}})
			if w.Code != http.StatusOK || w.Body.Len() > 60_000 {
				t.Errorf("%s: %d, %d bytes", s.ID, w.Code, w.Body.Len())
			}
		}
	}
}
