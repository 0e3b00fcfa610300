package api

import (
	"bytes"
	"context"
	"io"
	"log/slog"
	"maps"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"
	"github.com/getkin/kin-openapi/routers"
	"github.com/getkin/kin-openapi/routers/legacy"
	"github.com/go-json-experiment/json"
	"github.com/google/go-cmp/cmp"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/care/store"
	"denwright/openapi"
	"denwright/sizing"
	"denwright/sizing/layout"
	"denwright/sizing/score"
)

// The catalogue under test is the one the program carries. It is immutable.
var embedded = sync.OnceValues(care.Embedded)

func TestMain(m *testing.M) {
	openapi3filter.RegisterBodyDecoder("application/problem+json", openapi3filter.JSONBodyDecoder)
	for _, text := range []string{svgType, calendarType, csvType} { // parsed by the tests of plans and intakes
		openapi3filter.RegisterBodyDecoder(text, openapi3filter.PlainBodyDecoder)
	}
	openapi3filter.RegisterBodyDecoder("application/x-ndjson", openapi3filter.PlainBodyDecoder)
	os.Exit(m.Run())
}

func quiet() *slog.Logger { return slog.New(slog.NewJSONHandler(io.Discard, nil)) }

// renamed is the embedded catalogue under another revision.
func renamed(t testing.TB, revision string) *care.Catalogue {
	t.Helper()
	c, err := care.Embedded()
	if err != nil {
		t.Fatal(err)
	}
	c.Revision = revision
	return c
}

func newServer(t testing.TB) *Server {
	t.Helper()
	c, err := embedded()
	if err != nil {
		t.Fatal(err)
	}
	return New(c, quiet())
}

func document(t testing.TB) *openapi3.T {
	t.Helper()
	doc, err := openapi3.NewLoader().LoadFromData([]byte(openapi.YAML()))
	if err != nil {
		t.Fatal(err)
	}
	return doc
}

// checker sends requests and holds every answer against the contract, with the
// schemas closed: an answer may hold no field that the contract does not name.
type checker struct {
	handler http.Handler
	doc     *openapi3.T
	router  routers.Router
}

func newChecker(t testing.TB) *checker {
	t.Helper()
	doc := document(t)
	seen := map[*openapi3.Schema]bool{}
	var shut func(*openapi3.SchemaRef)
	shut = func(ref *openapi3.SchemaRef) {
		if ref == nil || seen[ref.Value] {
			return
		}
		s := ref.Value
		seen[s] = true
		if len(s.Properties) > 0 && s.AdditionalProperties.Has == nil && s.AdditionalProperties.Schema == nil {
			s.AdditionalProperties.Has = new(bool)
		}
		for _, p := range s.Properties {
			shut(p)
		}
		shut(s.Items)
	}
	for _, s := range doc.Components.Schemas {
		shut(s)
	}
	router, err := legacy.NewRouter(doc)
	if err != nil {
		t.Fatal(err)
	}
	return &checker{newServer(t).Handler(Config{}), doc, router}
}

// send makes a request and checks the answer; a server's fault fails the test.
func (k *checker) send(t testing.TB, method, target, body string, header ...string) *httptest.ResponseRecorder {
	t.Helper()
	r := httptest.NewRequest(method, target, strings.NewReader(body))
	if method == http.MethodPost || method == http.MethodPut {
		r.Header.Set("Content-Type", "application/json")
	}
	for i := 0; i+1 < len(header); i += 2 {
		r.Header.Set(header[i], header[i+1])
	}
	w := httptest.NewRecorder()
	k.handler.ServeHTTP(w, r)
	if w.Code >= 500 {
		t.Fatalf("%s %s: %d %s", method, target, w.Code, w.Body)
	}
	k.check(t, r, w)
	return w
}

func (k *checker) check(t testing.TB, r *http.Request, w *httptest.ResponseRecorder) {
	t.Helper()
	route, params, err := k.router.FindRoute(r)
	if err != nil {
		// Outside the contract there is only the problem document.
		if got := w.Header().Get("Content-Type"); got != "application/problem+json" {
			t.Errorf("%s %s: %d as %q, want a problem document", r.Method, r.URL, w.Code, got)
		}
		problem := k.doc.Components.Schemas["Problem"].Value
		if err := problem.VisitJSON(decoded(t, w.Body.Bytes())); err != nil {
			t.Errorf("%s %s: %v", r.Method, r.URL, err)
		}
		return
	}
	err = openapi3filter.ValidateResponse(context.Background(), &openapi3filter.ResponseValidationInput{
		RequestValidationInput: &openapi3filter.RequestValidationInput{Request: r, PathParams: params, Route: route},
		Status:                 w.Code,
		Header:                 w.Header(),
		Body:                   io.NopCloser(bytes.NewReader(w.Body.Bytes())),
		Options:                &openapi3filter.Options{IncludeResponseStatus: true, MultiError: true},
	})
	if err != nil {
		t.Errorf("%s %s: %d: %v", r.Method, r.URL, w.Code, firstLines(err.Error(), 12))
	}
}

func firstLines(s string, n int) string {
	lines := strings.SplitN(s, "\n", n+1)
	return strings.Join(lines[:min(n, len(lines))], "\n")
}

func decoded(t testing.TB, body []byte) any {
	t.Helper()
	var v any
	if err := json.Unmarshal(body, &v); err != nil {
		t.Fatalf("%v in %.200s", err, body)
	}
	return v
}

// problemOf is the problem document of an answer.
func problemOf(t testing.TB, w *httptest.ResponseRecorder) problemDocument {
	t.Helper()
	var p problemDocument
	if err := json.Unmarshal(w.Body.Bytes(), &p); err != nil {
		t.Fatalf("%v in %.200s", err, w.Body)
	}
	if p.Status != w.Code {
		t.Errorf("status %d in the document, %d on the wire", p.Status, w.Code)
	}
	if id := w.Header().Get("X-Request-ID"); p.Instance != id || id == "" {
		t.Errorf("instance %q, request id %q", p.Instance, id)
	}
	return p
}

func fieldsOf(p problemDocument) []string {
	fields := []string{}
	for _, e := range p.Errors {
		fields = append(fields, e.Field)
	}
	return fields
}

func TestContractIsValid(t *testing.T) {
	if err := document(t).Validate(context.Background(), openapi3.EnableExamplesValidation()); err != nil {
		t.Fatal(err)
	}
}

// Every request of the contract is of its own schema, is answered as done, and the
// answer is of its schema, in either system of units.
func TestContractExamples(t *testing.T) {
	k := newDen(t)
	for path, item := range k.doc.Paths.Map() {
		for method, op := range item.Operations() {
			target := path
			query, required, header := url.Values{}, url.Values{}, []string{}
			for _, p := range op.Parameters {
				switch v := p.Value; {
				case v.In == "path":
					target = strings.Replace(target, "{"+v.Name+"}", v.Example.(string), 1)
				case v.In == "query" && v.Example != nil:
					query.Set(v.Name, v.Example.(string))
					if v.Required {
						required.Set(v.Name, v.Example.(string))
					}
				case v.In == "header" && v.Example != nil:
					header = append(header, v.Name, v.Example.(string))
				}
			}
			done := 0
			for status := range op.Responses.Map() {
				if n, err := strconv.Atoi(status); err == nil && n < 300 {
					done = n
				}
			}
			bodies := map[string]string{"": ""}
			if op.RequestBody != nil {
				if op.RequestBody.Value.Content["application/json"] == nil {
					continue // rows are tested by themselves
				}
				bodies = map[string]string{}
				for name, e := range op.RequestBody.Value.Content["application/json"].Examples {
					b, err := json.Marshal(e.Value.Value)
					if err != nil {
						t.Fatal(err)
					}
					bodies[name] = string(b)
				}
				if len(bodies) == 0 {
					t.Errorf("%s %s has no example", method, path)
				}
			}
			for name, body := range bodies {
				t.Run(op.OperationID+" "+name, func(t *testing.T) {
					queries := []url.Values{required, maps.Clone(required)}
					queries[1].Set("units", "imperial")
					if len(query) > 0 {
						queries = append(queries, query)
					}
					for _, query := range queries {
						k, header := k, header
						target, body := target, body
						if len(query) > 0 {
							target += "?" + query.Encode()
						}
						if op.Security != nil { // each finds the database as it was made
							k = newDen(t)
							target, body = k.inPlace(rescue, op.OperationID, target), k.inPlace(rescue, op.OperationID, body)
							header = append(slices.Clone(header), "Authorization", "Bearer "+k.of[rescue].key[store.Admin])
						}
						r := httptest.NewRequest(method, target, strings.NewReader(body))
						r.Header.Set("Content-Type", "application/json")
						route, params, err := k.router.FindRoute(r)
						if err != nil {
							t.Fatal(err)
						}
						err = openapi3filter.ValidateRequest(t.Context(), &openapi3filter.RequestValidationInput{Request: r, PathParams: params, Route: route,
							Options: &openapi3filter.Options{AuthenticationFunc: openapi3filter.NoopAuthenticationFunc}})
						if err != nil {
							t.Error(err)
						}
						if w := k.send(t, method, target, body, header...); w.Code != done {
							t.Errorf("%s: %d %s", target, w.Code, w.Body)
						}
					}
				})
			}
		}
	}
}

// The answer to a reading in °F sent as °C is an answer, with a warning on that field.
func TestSlipIsWarnedOf(t *testing.T) {
	k := newChecker(t)
	w := k.send(t, "POST", "/v1/assessments", `{"species":"pogona-vitticeps","animals":[{"count":1,"stage":"adult"}],"setup":{"temperatures":{"hot_spot":{"value":104,"unit":"°C"}}}}`)
	answer, _ := decoded(t, w.Body.Bytes()).(map[string]any)
	warnings, _ := answer["warnings"].([]any)
	if w.Code != 200 || len(warnings) != 1 || warnings[0].(map[string]any)["field"] != "/setup/temperatures/hot_spot" {
		t.Errorf("%d, warnings %v", w.Code, warnings)
	}
}

// The bad requests that the contract shows are answered as it shows,
// but for the request's id and the catalogue's revision.
func TestContractProblemExamples(t *testing.T) {
	k := newDen(t)
	tests := []struct{ example, method, target, body string }{
		{"BadParameter", "GET", "/v1/species?limit=0&colour=red", ""},
		{"UnknownName", "GET", "/v1/species/beardie", ""},
		{"Unreadable", "POST", "/v1/sizings", `{"species": "beardie", "animals": [{"count": "two", "stage": "adult"}], "juristiction": "DE"}`},
		{"KeyNeeded", "GET", "/v1/setups", ""},
		{"Invalid", "POST", "/v1/sizings", `{"species": "boa", "animals": [{"count": 0, "stage": "adult"}], "jurisdiction": "QQ"}`},
	}
	for _, tt := range tests {
		t.Run(tt.example, func(t *testing.T) {
			got := decoded(t, k.send(t, tt.method, tt.target, tt.body).Body.Bytes()).(map[string]any)
			want := k.doc.Components.Examples[tt.example].Value.Value.(map[string]any)
			for _, m := range []map[string]any{got, want} {
				delete(m, "instance")
				delete(m, "catalogue_revision")
			}
			raw, err := json.Marshal(want)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(decoded(t, raw), any(got)); diff != "" {
				t.Error(diff)
			}
		})
	}
}

func TestRoutesAreThoseOfTheContract(t *testing.T) {
	var want, got []string
	for path, item := range document(t).Paths.Map() {
		path = strings.NewReplacer("{", ":", "}", "").Replace(path)
		for method := range item.Operations() {
			want = append(want, method+" "+path)
			if method == "GET" {
				want = append(want, "HEAD "+path)
			}
		}
	}
	for _, r := range newServer(t).routes(Config{}.withDefaults()).Routes() {
		got = append(got, r.Method+" "+r.Path)
	}
	slices.Sort(want)
	slices.Sort(got)
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}

func words[T ~string](in []T) (out []string) {
	for _, w := range in {
		out = append(out, string(w))
	}
	return out
}

// The words that the contract allows are those of the code.
func TestEnumsAreThoseOfTheCode(t *testing.T) {
	doc := document(t)
	var codes []string
	for _, p := range care.Parameters {
		codes = append(codes, string(p.Code))
	}
	var kinds []string
	for _, k := range problemKinds {
		kinds = append(kinds, "/problems/"+k.name)
	}
	sources := []care.SourceKind{care.Statute, care.PeerReviewed, care.Dataset, care.Official, care.VetReference, care.ZooManual, care.Handbook, care.VetPractice,
		care.WelfareBody, care.Zoo, care.Society, care.University, care.Encyclopaedia, care.Press, care.Association, care.Other}
	tests := map[string][]string{
		"Group": words(care.Groups), "Habit": words(care.Habits), "Stage": words(care.Stages),
		"ClaimStage":      words(append([]care.Stage{care.AnyStage}, care.Stages...)),
		"Measure":         words([]care.Measure{care.SnoutVent, care.TotalLength, care.Shell}),
		"Access":          words([]care.Access{care.Read, care.ReadThrough, care.Recalled}),
		"About":           words([]care.About{care.AboutSpecies, care.AboutGenus, care.AboutFamily, care.AboutGroup, care.AboutGeneral}),
		"RangeStanding":   words([]care.Standing{care.Known, care.NotKnown, care.NotApplicable}),
		"Grade":           words([]care.Grade{care.Firm, care.Fair, care.Thin, care.RecalledOnly}),
		"Agreement":       words([]care.Agreement{care.Single, care.Agree, care.Partly, care.Conflict}),
		"RuleStatus":      words([]care.Status{care.InForce, care.Advisory, care.Laboratory, care.Superseded}),
		"RuleMatch":       words([]care.Match{care.Named, care.ByGenus, care.Assigned, care.Wide}),
		"SourceKind":      words(sources),
		"ParameterCode":   codes,
		"Verdict":         words([]score.Verdict{score.Suitable, score.AfterChanges, score.Unsuitable, score.CannotTell}),
		"FindingStanding": words([]score.Standing{score.Met, score.Short, score.Over, score.NotMeasured, score.Undecided, score.TargetNotKnown}),
		"Presence":        words([]score.Presence{score.Definite, score.Possible, score.Absent, score.NotJudged}),
		"Mend":            words([]score.Mend{score.Measure, score.Adjust, score.Furnish, score.Equip, score.Alter, score.Separate, score.Rebuild}),
		"Role":            words(store.Roles), "RevisionState": words(states), "RevisionOrigin": words([]store.Origin{store.ByCurator, store.ByImport, store.ByProgram}),
		"Material": score.Materials, "Ventilation": score.Ventilations, "Spectrum": score.Spectra,
		"PlanKind": words(layout.Kinds), "PlanRole": words(layout.Roles), "PlanConstraint": words(layout.Constraints),
		"HeatKind": score.HeatKinds, "Place": score.Places, "Control": score.Controls,
	}
	for name, want := range tests {
		t.Run(name, func(t *testing.T) {
			if diff := cmp.Diff(want, enumOf(doc.Components.Schemas[name].Value)); diff != "" {
				t.Error(diff)
			}
		})
	}
	if diff := cmp.Diff(kinds, enumOf(doc.Components.Schemas["Problem"].Value.Properties["type"].Value)); diff != "" {
		t.Error("problem types", diff)
	}
	for _, p := range doc.Components.Parameters {
		if p.Value.Name == "stage" {
			if diff := cmp.Diff(words(care.Stages), enumOf(p.Value.Schema.Value)); diff != "" {
				t.Error("parameter stage", diff)
			}
		}
	}
}

func enumOf(s *openapi3.Schema) (out []string) {
	for _, e := range s.Enum {
		out = append(out, e.(string))
	}
	return out
}

// Every unit that the contract allows is read, and every unit that the decoder
// names when it refuses one is in the contract.
func TestUnitsAreThoseOfTheCode(t *testing.T) {
	doc := document(t)
	tests := map[string]reflect.Type{
		"LengthIn": reflect.TypeFor[quantity.Length](), "VolumeIn": reflect.TypeFor[quantity.Volume](), "TemperatureIn": reflect.TypeFor[quantity.Temperature](),
		"PowerIn": reflect.TypeFor[quantity.Power](), "FractionIn": reflect.TypeFor[quantity.Fraction](), "DurationIn": reflect.TypeFor[quantity.Hours](),
		"UVIndexIn": reflect.TypeFor[quantity.UVIndex](), "AreaIn": reflect.TypeFor[quantity.Area](), "MassIn": reflect.TypeFor[quantity.Mass](),
	}
	for name, kind := range tests {
		t.Run(name, func(t *testing.T) {
			units := enumOf(doc.Components.Schemas[name].Value.Properties["unit"].Value)
			read := func(unit string) error {
				body, err := json.Marshal(map[string]any{"value": 1, "unit": unit})
				if err != nil {
					t.Fatal(err)
				}
				return json.Unmarshal(body, reflect.New(kind).Interface())
			}
			for _, u := range units {
				if err := read(u); err != nil {
					t.Error(err)
				}
			}
			err := read("furlongs per fortnight")
			if err == nil {
				t.Fatal("an invented unit is read")
			}
			_, list, _ := strings.Cut(err.Error(), "use one of: ")
			if list == "" {
				t.Fatalf("%v names no units", err)
			}
			for u := range strings.SplitSeq(list, ", ") {
				if !slices.Contains(units, u) {
					t.Errorf("unit %q is not in the contract", u)
				}
			}
		})
	}
}

// The fields that the contract allows in a question are those that the decoder knows.
func TestFieldsAreThoseOfTheCode(t *testing.T) {
	doc := document(t)
	var compare func(at string, s *openapi3.Schema, kind reflect.Type)
	compare = func(at string, s *openapi3.Schema, kind reflect.Type) {
		for kind.Kind() == reflect.Pointer {
			kind = kind.Elem()
		}
		if kind.Kind() == reflect.Slice {
			compare(at+"/0", s.Items.Value, kind.Elem())
			return
		}
		if kind.Kind() != reflect.Struct {
			return
		}
		fields := map[string]reflect.Type{}
		for f := range fieldsOfStruct(kind) {
			name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
			fields[name] = f.Type
		}
		if diff := cmp.Diff(slices.Sorted(maps.Keys(fields)), slices.Sorted(maps.Keys(s.Properties))); diff != "" {
			t.Errorf("%s: %s", at, diff)
			return
		}
		for name, f := range fields {
			compare(at+"/"+name, s.Properties[name].Value, f)
		}
	}
	compare("sizing", doc.Components.Schemas["SizingQuestion"].Value, questionType)
	compare("assessment", doc.Components.Schemas["AssessmentQuestion"].Value, assessmentType)
	compare("match", doc.Components.Schemas["MatchQuestion"].Value, reflect.TypeFor[sizing.MatchQuestion]())
	compare("company", doc.Components.Schemas["CompanyQuestion"].Value, reflect.TypeFor[sizing.CompanyQuestion]())
	compare("comparison", doc.Components.Schemas["ComparisonQuestion"].Value, reflect.TypeFor[sizing.ComparisonQuestion]())
	compare("change", doc.Components.Schemas["ChangeQuestion"].Value, reflect.TypeFor[sizing.ChangeQuestion]())
	compare("plan", doc.Components.Schemas["PlanQuestion"].Value, reflect.TypeFor[sizing.PlanQuestion]())
	compare("key", doc.Components.Schemas["KeyInput"].Value, reflect.TypeFor[keyInput]())
	compare("deletion", doc.Components.Schemas["Deletion"].Value, reflect.TypeFor[deletion]())
	compare("reassessment", doc.Components.Schemas["ReassessmentInput"].Value, reflect.TypeFor[reassessmentInput]())
	compare("draft", doc.Components.Schemas["DraftInput"].Value, reflect.TypeFor[draftInput]())
	compare("review", doc.Components.Schemas["ReviewInput"].Value, reflect.TypeFor[reviewInput]())
	compare("check", doc.Components.Schemas["CheckInput"].Value, reflect.TypeFor[checkInput]())
	compare("publication", doc.Components.Schemas["PublicationInput"].Value, reflect.TypeFor[publicationInput]())
	compare("setup", doc.Components.Schemas["SetupInput"].Value, reflect.TypeFor[struct { // as setupInput, with the question read
		Name     string                    `json:"name"`
		Question sizing.AssessmentQuestion `json:"question"`
	}]())
	compare("climate", doc.Components.Schemas["ClimateQuestion"].Value, reflect.TypeFor[sizing.ClimateQuestion]())
}

// Every figure of every record of the catalogue is answered within the contract.
func TestEveryRecord(t *testing.T) {
	k := newChecker(t)
	c, err := embedded()
	if err != nil {
		t.Fatal(err)
	}
	for i, s := range c.Species() {
		stage := care.Stages[i%len(care.Stages)]
		units := []string{"metric", "imperial"}[i%2]
		for _, target := range []string{"/v1/species/" + s.ID, "/v1/species/" + s.ID + "/claims?units=" + units,
			"/v1/species/" + s.ID + "?stage=" + string(stage) + "&units=" + units} {
			if w := k.send(t, "GET", target, ""); w.Code != 200 {
				t.Errorf("%s: %d", target, w.Code)
			}
		}
		body := `{"species":"` + s.ID + `","animals":[{"count":2,"stage":"` + string(stage) + `"}]}`
		for _, target := range []string{"/v1/sizings", "/v1/assessments?units=" + units} {
			if w := k.send(t, "POST", target, body); w.Code != 200 {
				t.Errorf("%s %s: %d %s", target, body, w.Code, w.Body)
			}
		}
	}
	for _, s := range c.Sources() {
		if w := k.send(t, "GET", "/v1/sources/"+url.PathEscape(s.Key), ""); w.Code != 200 {
			t.Errorf("source %s: %d", s.Key, w.Code)
		}
	}
	for _, kind := range problemKinds {
		if w := k.send(t, "GET", "/problems/"+kind.name, ""); w.Code != 200 || !strings.Contains(w.Body.String(), kind.about) {
			t.Errorf("problem %s: %d %s", kind.name, w.Code, w.Body)
		}
	}
}
