package api

import (
	"bytes"
	"encoding/csv"
	"encoding/xml"
	"errors"
	"io"
	"math"
	"net/http/httptest"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	ics "github.com/arran4/golang-ical"
	"github.com/go-json-experiment/json"

	"denwright/sizing"
	"denwright/sizing/layout"
)

// planBody is an example of the contract.
func planBody(t testing.TB, k *checker, name string) string {
	t.Helper()
	e := k.doc.Paths.Value("/v1/plans").Post.RequestBody.Value.Content["application/json"].Examples[name]
	if e == nil {
		t.Fatalf("no example %q", name)
	}
	raw, err := json.Marshal(e.Value.Value)
	if err != nil {
		t.Fatal(err)
	}
	return string(raw)
}

var workedPlans = []string{"digging_lizard", "tree_lizard", "heavy_snake", "tortoise", "frog"}

// planOf reads a JSON answer back; quantities keep their digits.
func planOf(t testing.TB, k *checker, body string) *layout.Plan {
	t.Helper()
	var a struct {
		Plan *layout.Plan `json:"plan"`
	}
	if err := json.Unmarshal(k.send(t, "POST", "/v1/plans", body).Body.Bytes(), &a); err != nil {
		t.Fatal(err)
	}
	if a.Plan == nil {
		t.Fatal("no plan")
	}
	return a.Plan
}

// Each part of each worked plan is had by its media type, can be read, and says what
// the JSON says.
func TestPlanParts(t *testing.T) {
	k := newChecker(t)
	for _, name := range workedPlans {
		t.Run(name, func(t *testing.T) {
			body := planBody(t, k, name)
			p := planOf(t, k, body)
			get := func(kind, query string) []byte {
				t.Helper()
				w := k.send(t, "POST", "/v1/plans"+query, body, "Accept", kind)
				if w.Code != 200 || !strings.HasPrefix(w.Header().Get("Content-Type"), kind) || !strings.Contains(w.Header().Get("Content-Disposition"), "filename=") {
					t.Fatalf("%s%s: %d %v %.200s", kind, query, w.Code, w.Header(), w.Body)
				}
				return w.Body.Bytes()
			}
			if !bytes.Equal(get(svgType, ""), get(svgType, "?sheet=floor")) {
				t.Error("the sheet given without asking is not the floor")
			}
			for _, sheet := range layout.SheetNames {
				svg := get(svgType, "?sheet="+sheet)
				boxes, scale := outlines(t, svg)
				want := map[string][2]float64{ // m
					"floor": {float64(p.Length), float64(p.Width)}, "section": {float64(p.Length), float64(p.Height)}, "walls": {float64(p.Length), float64(p.Height)},
					"ceiling-from-above": {float64(p.Length + 2*p.Panel), float64(p.Width + 2*p.Panel)}, "ceiling-from-below": {float64(p.Length + 2*p.Panel), float64(p.Width + 2*p.Panel)},
				}[sheet]
				code := map[string]string{"floor": "inside", "section": "inside", "walls": "wall-back", "ceiling-from-above": "panel", "ceiling-from-below": "panel"}[sheet]
				got := boxes[code]
				if math.Abs(got[0]*scale-1000*want[0]) > 0.01*scale || math.Abs(got[1]*scale-1000*want[1]) > 0.01*scale {
					t.Errorf("%s: %v mm on paper at 1:%v, want %v m", sheet, got, scale, want)
				}
			}
			for list, rows := range map[string]int{"": len(p.Cuts) + len(p.Holes) + len(p.Walls) + 1, "?list=cuts": len(p.Cuts) + len(p.Holes) + len(p.Walls) + 1, "?list=materials": len(p.Materials.Lines) + 4, "?list=program": 1 + events(p)} {
				table, err := csv.NewReader(bytes.NewReader(get(csvType, list))).ReadAll()
				if err != nil || len(table) != rows {
					t.Errorf("list %q: %d rows, want %d, %v", list, len(table), rows, err)
				}
			}
			for query, want := range map[string]int{"?year=2026": events(p), "": events(p), "?year=2026&season=" + p.Program.Seasons[1].Name: len(p.Program.Seasons[1].Events), "?event=dawn": len(p.Program.Seasons)} {
				cal, err := ics.ParseCalendar(bytes.NewReader(get(calendarType, query)))
				if err != nil || len(cal.Events()) != want {
					t.Fatalf("calendar %q: %v, %v", query, cal, err)
				}
				year := strconv.Itoa(time.Now().Year())
				if strings.Contains(query, "year") {
					year = "2026"
				}
				if at := cal.Events()[0].GetProperty(ics.ComponentPropertyDtStart).Value; !strings.HasPrefix(at, year) {
					t.Errorf("calendar %q begins %s", query, at)
				}
			}
		})
	}
}

func events(p *layout.Plan) (n int) {
	for _, s := range p.Program.Seasons {
		n += len(s.Events)
	}
	return n
}

// outlines reads the rectangles with a code, in mm of paper as a ruler would find them
// on a sheet printed at 100 %, and the scale; it holds every dimension line to the
// length that it states.
func outlines(t testing.TB, svg []byte) (boxes map[string][2]float64, scale float64) {
	t.Helper()
	boxes = map[string][2]float64{}
	var perUnit, stated float64
	for d := xml.NewDecoder(bytes.NewReader(svg)); ; {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return boxes, scale
		}
		if err != nil {
			t.Fatal(err)
		}
		e, ok := token.(xml.StartElement)
		if !ok {
			continue
		}
		attr := map[string]string{}
		for _, a := range e.Attr {
			attr[a.Name.Local] = a.Value
		}
		number := func(text string) float64 {
			x, err := strconv.ParseFloat(text, 64)
			if err != nil {
				t.Fatal(err)
			}
			return x
		}
		switch {
		case e.Name.Local == "svg":
			box := strings.Fields(attr["viewBox"])
			perUnit = number(strings.TrimSuffix(attr["width"], "mm")) / number(box[2])
			scale = number(attr["data-scale"])
			if high := number(strings.TrimSuffix(attr["height"], "mm")) / number(box[3]); math.Abs(high-perUnit) > 1e-9 {
				t.Errorf("%g mm a unit across, %g down", perUnit, high)
			}
		case e.Name.Local == "g":
			if stated = 0; attr["class"] == "dim" {
				stated = number(attr["data-mm"])
			}
		case e.Name.Local == "line" && stated > 0:
			if l := math.Hypot(number(attr["x2"])-number(attr["x1"]), number(attr["y2"])-number(attr["y1"])) * perUnit * scale; math.Abs(l-stated) > 0.01*scale {
				t.Errorf("a dimension of %g mm measures %g mm times the scale", stated, l)
			}
		case e.Name.Local == "rect" && attr["data-code"] != "":
			boxes[attr["data-code"]] = [2]float64{number(attr["width"]) * perUnit, number(attr["height"]) * perUnit}
		}
	}
}

// Units and paper of the question go before the parameters.
func TestPlanUnitsAndPaper(t *testing.T) {
	k := newChecker(t)
	plain := `{"species":"pogona-vitticeps","animals":[{"count":1,"stage":"adult"}]`
	for _, tt := range []struct{ body, query, paper, unit string }{
		{plain + `}`, "", `width="297mm"`, "Dimensions in mm."},
		{plain + `}`, "?units=imperial&paper=letter", `width="279.4mm"`, "Dimensions in in."},
		{plain + `,"units":"metric","paper":"a4"}`, "?units=imperial&paper=letter", `width="297mm"`, "Dimensions in mm."},
		{plain + `,"units":"imperial","paper":"letter"}`, "", `width="279.4mm"`, "Dimensions in in."},
	} {
		svg := k.send(t, "POST", "/v1/plans"+tt.query, tt.body, "Accept", svgType).Body.String()
		if !strings.Contains(svg, tt.paper) || !strings.Contains(svg, tt.unit) {
			t.Errorf("%s %s: not %s, %s", tt.body, tt.query, tt.paper, tt.unit)
		}
		cuts := k.send(t, "POST", "/v1/plans"+tt.query, tt.body, "Accept", csvType).Body.String()
		if want := "length " + strings.TrimSuffix(strings.TrimPrefix(tt.unit, "Dimensions in "), "."); !strings.Contains(cuts, want) {
			t.Errorf("%s %s: no %q in %.200s", tt.body, tt.query, want, cuts)
		}
	}
}

func TestPlanNegotiation(t *testing.T) {
	k := newChecker(t)
	body := `{"species":"pogona-vitticeps","animals":[{"count":1,"stage":"adult"}]}`
	for accept, want := range map[string]string{
		"":                 "application/json",
		"*/*":              "application/json",
		"application/json": "application/json",
		"application/*":    "application/json",
		"image/*":          svgType,
		"text/*":           csvType + "; charset=utf-8",
		"text/calendar":    calendarType + "; charset=utf-8",
		"text/html,application/xhtml+xml,application/xml;q=0.9,image/webp,*/*;q=0.8": "application/json",
		"image/svg+xml;q=0.5, text/csv;q=0.9":                                        csvType + "; charset=utf-8",
		"application/json;q=0, */*":                                                  csvType + "; charset=utf-8",
		"IMAGE/SVG+XML":                                                              svgType,
		"application/pdf":                                                            "application/problem+json",
		"application/json;q=0":                                                       "application/problem+json",
		"image/png, application/pdf;q=0.3":                                           "application/problem+json",
		"nonsense":                                                                   "application/problem+json",
		"application/json;q=2":                                                       "application/problem+json",
	} {
		var header []string
		if accept != "" {
			header = []string{"Accept", accept}
		}
		w := k.send(t, "POST", "/v1/plans", body, header...)
		refused := want == "application/problem+json"
		if got := w.Header().Get("Content-Type"); got != want || (w.Code == 406) != refused {
			t.Errorf("Accept %q: %d as %q, want %q", accept, w.Code, got, want)
		}
		if !slices.Contains(w.Header().Values("Vary"), "Accept") {
			t.Errorf("Accept %q: Vary is %q", accept, w.Header().Values("Vary"))
		}
		if refused {
			if p := problemOf(t, w); p.Type != "/problems/not-acceptable" || !strings.Contains(p.Detail, svgType) {
				t.Errorf("Accept %q: %+v", accept, p)
			}
		}
	}
	h := newServer(t).Handler(Config{AllowOrigins: []string{"https://app.example"}})
	r := httptest.NewRequest("POST", "/v1/plans", strings.NewReader(body))
	r.Header.Set("Content-Type", "application/json")
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	if vary := w.Header().Values("Vary"); w.Code != 200 || !slices.Contains(vary, "Origin") || !slices.Contains(vary, "Accept") {
		t.Errorf("%d, Vary %q", w.Code, vary)
	}
}

func TestPlanParameters(t *testing.T) {
	k := newChecker(t)
	body := `{"species":"pogona-vitticeps","animals":[{"count":1,"stage":"adult"}]}`
	for query, field := range map[string]string{"sheet=roof": "?sheet", "list=shopping": "?list", "paper=a3": "?paper", "year=soon": "?year", "year=99999": "?year",
		"season=monsoon": "?season", "event=party": "?event", "season=": "?season", "colour=red": "?colour"} {
		w := k.send(t, "POST", "/v1/plans?"+query, body, "Accept", calendarType)
		if p := problemOf(t, w); w.Code != 400 || !slices.Equal(fieldsOf(p), []string{field}) || p.Errors[0].Remedy == "" {
			t.Errorf("%s: %d %+v", query, w.Code, p)
		}
	}
}

// What does not fit is an answer in JSON, and a problem for who wants it drawn.
func TestPlanThatDoesNotFit(t *testing.T) {
	k := newChecker(t)
	body := planBody(t, k, "too_small")
	w := k.send(t, "POST", "/v1/plans", body)
	var a struct {
		Plan    *layout.Plan        `json:"plan"`
		Blocked *sizing.PlanBlocked `json:"blocked"`
	}
	if err := json.Unmarshal(w.Body.Bytes(), &a); err != nil || w.Code != 200 || a.Plan != nil || a.Blocked == nil || a.Blocked.Reason == "" {
		t.Fatalf("%d %v %.300s", w.Code, err, w.Body)
	}
	for _, kind := range []string{svgType, csvType, calendarType} {
		w := k.send(t, "POST", "/v1/plans", body, "Accept", kind)
		if p := problemOf(t, w); w.Code != 422 || p.Type != "/problems/no-plan" || len(p.Errors) != 1 || p.Errors[0].Reason != a.Blocked.Reason {
			t.Errorf("%s: %d %+v", kind, w.Code, p)
		}
	}
	// A bad question is told as such, whatever is asked for.
	w = k.send(t, "POST", "/v1/plans", `{"species":"pogona-vitticeps","animals":[{"count":1,"stage":"adult"}],"equipment":[{"kind":"kettle"}]}`, "Accept", svgType)
	if p := problemOf(t, w); w.Code != 422 && w.Code != 400 || !slices.Equal(fieldsOf(p), []string{"/equipment/0/kind"}) {
		t.Errorf("%d %+v", w.Code, p)
	}
}

func BenchmarkPlans(b *testing.B) {
	k := newChecker(b)
	against(b, "/v1/plans", planBody(b, k, "digging_lizard"), sizing.Plan)
}
