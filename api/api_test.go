package api

import (
	"bufio"
	"bytes"
	"context"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"iter"
	"log/slog"
	"math"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/go-json-experiment/json"
	"github.com/google/go-cmp/cmp"
	"github.com/labstack/echo/v4"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/care/store"
	"denwright/sizing"
)

var (
	questionType   = reflect.TypeFor[sizing.Question]()
	assessmentType = reflect.TypeFor[sizing.AssessmentQuestion]()
)

// fieldsOfStruct lists the fields of a struct, those of embedded structs among them.
func fieldsOfStruct(kind reflect.Type) iter.Seq[reflect.StructField] {
	return func(yield func(reflect.StructField) bool) {
		for _, f := range reflect.VisibleFields(kind) {
			if f.IsExported() && !f.Anonymous && !yield(f) {
				return
			}
		}
	}
}

const (
	oneAdult = `{"species":"pogona-vitticeps","animals":[{"count":1,"stage":"adult"}]}`
	withHot  = `{"species":"pogona-vitticeps","animals":[{"count":1,"stage":"adult"}],"setup":{"temperatures":{"hot_spot":%s}}}`
)

func TestBadBodies(t *testing.T) {
	k := newChecker(t)
	tests := []struct {
		name, path, body string
		status           int
		fields           []string
	}{
		{"empty body", "sizings", "", 400, []string{""}},
		{"blank body", "sizings", " \n", 400, []string{""}},
		{"null", "sizings", "null", 400, []string{""}},
		{"a list", "sizings", "[]", 400, []string{""}},
		{"text", "sizings", `"beardie"`, 400, []string{""}},
		{"not JSON", "sizings", "species=beardie", 400, []string{""}},
		{"truncated", "sizings", `{"species":"pogona-vitticeps","animals":[{"count":1`, 400, []string{"/animals/0"}},
		{"truncated in text", "sizings", `{"species":"pogona-vit`, 400, []string{"/species"}},
		{"trailing data", "sizings", oneAdult + `{}`, 400, []string{""}},
		{"trailing text", "sizings", oneAdult + ` x`, 400, []string{""}},
		{"byte order mark", "sizings", "\ufeff" + oneAdult, 400, []string{""}},
		{"not UTF-8", "sizings", "{\"species\":\"pogona\xff\",\"animals\":[{\"count\":1,\"stage\":\"adult\"}]}", 400, []string{"/species"}},
		{"half a surrogate", "sizings", `{"species":"\ud800","animals":[{"count":1,"stage":"adult"}]}`, 400, []string{"/species"}},
		{"NaN", "sizings", `{"species":"pogona-vitticeps","animals":[{"count":1,"length":{"value":NaN,"unit":"cm"},"measure":"total"}]}`, 400, []string{"/animals/0/length/value"}},
		{"infinity as text", "sizings", `{"species":"pogona-vitticeps","animals":[{"count":1,"length":{"value":"Infinity","unit":"cm"},"measure":"total"}]}`, 400, []string{"/animals/0/length/value"}},
		{"too large a number", "sizings", `{"species":"pogona-vitticeps","animals":[{"count":1,"length":{"value":1e999,"unit":"cm"},"measure":"total"}]}`, 400, []string{"/animals/0/length/value"}},
		{"nested too deep", "sizings", `{"species":` + strings.Repeat("[", 40) + strings.Repeat("]", 40) + `}`, 400, []string{"/species" + strings.Repeat("/0", 32)}},
		{"a name twice", "sizings", `{"species":"boa","species":"pogona-vitticeps","animals":[{"count":1,"count":1,"stage":"adult"}]}`, 400, []string{"/animals/0/count", "/species"}},
		{"unknown field", "sizings", `{"species":"pogona-vitticeps","animals":[{"count":1,"stage":"adult"}],"colour":"red"}`, 400, []string{"/colour"}},
		{"name in other case", "sizings", `{"Species":"pogona-vitticeps","animals":[{"count":1,"stage":"adult"}]}`, 400, []string{"/Species", "/species"}},
		{"setup in a sizing", "sizings", `{"species":"pogona-vitticeps","animals":[{"count":1,"stage":"adult"}],"setup":{}}`, 400, []string{"/setup"}},
		{"wrong types", "sizings", `{"species":7,"animals":{"count":1},"jurisdiction":true}`, 400, []string{"/animals", "/jurisdiction", "/species"}},
		{"null for a field", "sizings", `{"species":"pogona-vitticeps","animals":[{"count":1,"stage":"adult","sex":null}]}`, 400, []string{"/animals/0/sex"}},
		{"nothing", "sizings", `{}`, 422, []string{"/animals", "/species"}},
		{"no animals", "sizings", `{"species":"pogona-vitticeps","animals":[]}`, 422, []string{"/animals"}},
		{"zero animals", "sizings", `{"species":"pogona-vitticeps","animals":[{"count":0,"stage":"adult"}]}`, 422, []string{"/animals/0/count"}},
		{"fewer than none", "sizings", `{"species":"pogona-vitticeps","animals":[{"count":-2,"stage":"adult"}]}`, 422, []string{"/animals/0/count"}},
		{"half an animal", "sizings", `{"species":"pogona-vitticeps","animals":[{"count":0.5,"stage":"adult"}]}`, 400, []string{"/animals/0/count"}},
		{"neither stage nor length", "sizings", `{"species":"pogona-vitticeps","animals":[{"count":1}]}`, 422, []string{"/animals/0"}},
		{"length without measure", "sizings", `{"species":"pogona-vitticeps","animals":[{"count":1,"length":{"value":45,"unit":"cm"}}]}`, 422, []string{"/animals/0/measure"}},
		{"length without unit", "sizings", `{"species":"pogona-vitticeps","animals":[{"count":1,"length":{"value":45},"measure":"total"}]}`, 422, []string{"/animals/0/length/unit"}},
		{"length as a bare number", "sizings", `{"species":"pogona-vitticeps","animals":[{"count":1,"length":45,"measure":"total"}]}`, 400, []string{"/animals/0/length"}},
		{"length in kg", "sizings", `{"species":"pogona-vitticeps","animals":[{"count":1,"length":{"value":45,"unit":"kg"},"measure":"total"}]}`, 422, []string{"/animals/0/length/unit"}},
		{"negative length", "sizings", `{"species":"pogona-vitticeps","animals":[{"count":1,"length":{"value":-45,"unit":"cm"},"measure":"total"}]}`, 422, []string{"/animals/0/length"}},
		{"no length at all", "sizings", `{"species":"pogona-vitticeps","animals":[{"count":1,"length":{"value":0,"unit":"cm"},"measure":"total"}]}`, 422, []string{"/animals/0/length"}},
		{"a lizard of 40 m", "sizings", `{"species":"pogona-vitticeps","animals":[{"count":1,"length":{"value":40,"unit":"m"},"measure":"total"}]}`, 422, []string{"/animals/0/length"}},
		{"a lizard with a shell", "sizings", `{"species":"pogona-vitticeps","animals":[{"count":1,"length":{"value":40,"unit":"cm"},"measure":"shell"}]}`, 422, []string{"/animals/0/measure"}},
		{"unknown species", "sizings", `{"species":"gryphus-harrowmerensis","animals":[{"count":1,"stage":"adult"}]}`, 422, []string{"/species"}},
		{"ambiguous species", "sizings", `{"species":"boa","animals":[{"count":1,"stage":"adult"}]}`, 422, []string{"/species"}},
		{"unknown jurisdiction", "sizings", `{"species":"pogona-vitticeps","animals":[{"count":1,"stage":"adult"}],"jurisdiction":"QQ"}`, 422, []string{"/jurisdiction"}},
		{"400 °C", "assessments", fmt.Sprintf(withHot, `{"value":400,"unit":"°C"}`), 422, []string{"/setup/temperatures/hot_spot"}},
		{"temperature in cm", "assessments", fmt.Sprintf(withHot, `{"value":40,"unit":"cm"}`), 422, []string{"/setup/temperatures/hot_spot/unit"}},
		{"five at once, in both kinds", "assessments", `{"species":"gryphus-harrowmerensis","animals":[{"count":-1,"stage":"adult"}],"jurisdiction":"QQ","setup":{"colour":1,
			"inside":{"length":{"value":-3,"unit":"cm"}},"temperatures":{"hot_spot":{"value":400,"unit":"°C"}},"heat_sources":[{"kind":"bonfire"}]}}`, 400,
			[]string{"/animals/0/count", "/jurisdiction", "/setup/colour", "/setup/heat_sources/0/kind", "/setup/inside/length", "/setup/temperatures/hot_spot", "/species"}},
		{"text too long", "sizings", `{"species":"` + strings.Repeat("a", 201) + `","animals":[{"count":1,"stage":"adult"}]}`, 422, []string{"/species"}},
		{"text far too long", "sizings", `{"species":"` + strings.Repeat("é", 300_000) + `","animals":[{"count":1,"stage":"adult"}]}`, 422, []string{"/species"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			w := k.send(t, "POST", "/v1/"+tt.path, tt.body)
			p := problemOf(t, w)
			if w.Code != tt.status || !slices.Equal(fieldsOf(p), tt.fields) {
				t.Errorf("%d naming %q, want %d naming %q\n%s", w.Code, fieldsOf(p), tt.status, tt.fields, w.Body)
			}
			if got := w.Header().Get("Content-Type"); got != "application/problem+json" {
				t.Errorf("media type %q", got)
			}
			if w.Body.Len() > 20_000 {
				t.Errorf("the problem document is %d bytes long", w.Body.Len())
			}
		})
	}
}

// What looks bad but is not: the contract knows one kind of number, and a name may hold "null".
func TestGoodBodiesOffTheStraightPath(t *testing.T) {
	k := newChecker(t)
	want := k.send(t, "POST", "/v1/sizings", oneAdult).Body.String()
	for _, body := range []string{
		`{"species":"pogona-vitticeps","animals":[{"count":1.0,"stage":"adult"}]}`,
		`{"species":"pogona-vitticeps","animals":[{"count":1e0,"stage":"adult"}]}`,
		strings.Repeat(" ", fastLimit) + oneAdult,
		"\n\t" + oneAdult + "\n",
	} {
		if w := k.send(t, "POST", "/v1/sizings", body); w.Code != 200 || w.Body.String() != want {
			t.Errorf("%.80q: %d %.200s", strings.TrimSpace(body), w.Code, w.Body)
		}
	}
	w := k.send(t, "POST", "/v1/sizings", `{"species":"null","animals":[{"count":1,"stage":"adult"}]}`)
	if p := problemOf(t, w); w.Code != 422 || !slices.Equal(fieldsOf(p), []string{"/species"}) {
		t.Errorf("a species called null: %d %v", w.Code, fieldsOf(p))
	}
}

func TestTransport(t *testing.T) {
	k := newChecker(t)
	big := `{"species":"` + strings.Repeat("a", 1_000_000) + `"}`
	tests := []struct {
		name, method, target, body string
		header                     []string
		status                     int
		kind                       *problemKind
	}{
		{"over 1 MB", "POST", "/v1/sizings", big, nil, 413, bodyTooLarge},
		{"no media type", "POST", "/v1/sizings", oneAdult, []string{"Content-Type", ""}, 415, wrongMediaType},
		{"form", "POST", "/v1/sizings", oneAdult, []string{"Content-Type", "application/x-www-form-urlencoded"}, 415, wrongMediaType},
		{"Latin-1", "POST", "/v1/sizings", oneAdult, []string{"Content-Type", "application/json; charset=iso-8859-1"}, 415, wrongMediaType},
		{"compressed", "POST", "/v1/sizings", oneAdult, []string{"Content-Encoding", "gzip"}, 415, wrongMediaType},
		{"charset said", "POST", "/v1/sizings", oneAdult, []string{"Content-Type", "application/json; charset=UTF-8"}, 200, nil},
		{"GET a question", "GET", "/v1/sizings", "", nil, 405, methodNotAllowed},
		{"POST a list", "POST", "/v1/species", "{}", nil, 405, methodNotAllowed},
		{"DELETE a record", "DELETE", "/v1/species/pogona-vitticeps", "", nil, 405, methodNotAllowed},
		{"unknown path", "GET", "/v1/enclosures", "", nil, 404, noSuchPath},
		{"trailing slash", "GET", "/v1/species/", "", nil, 404, noSuchPath},
		{"root", "GET", "/nothing", "", nil, 404, noSuchPath},
		{"bad units on a question", "POST", "/v1/sizings?units=cubits", oneAdult, nil, 400, invalidParameter},
		{"unknown parameter", "POST", "/v1/sizings?unit=metric", oneAdult, nil, 400, invalidParameter},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			w := k.send(t, tt.method, tt.target, tt.body, tt.header...)
			if w.Code != tt.status {
				t.Fatalf("%d %s", w.Code, w.Body)
			}
			if tt.kind == nil {
				return
			}
			if p := problemOf(t, w); p.Type != "/problems/"+tt.kind.name {
				t.Errorf("type %q, want %q", p.Type, tt.kind.name)
			}
			if tt.status == 405 && w.Header().Get("Allow") == "" {
				t.Error("no Allow header")
			}
		})
	}
}

func TestBadParameters(t *testing.T) {
	k := newChecker(t)
	tests := []struct {
		target string
		status int
		fields []string
	}{
		{"/v1/species?limit=0", 400, []string{"?limit"}},
		{"/v1/species?limit=201", 400, []string{"?limit"}},
		{"/v1/species?limit=ten", 400, []string{"?limit"}},
		{"/v1/species?limit=5&limit=6", 400, []string{"?limit"}},
		{"/v1/species?group=fish&habit=clouds&colour=red&units=cubits", 400, []string{"?colour", "?group", "?habit", "?units"}},
		{"/v1/species?q=", 400, []string{"?q"}},
		{"/v1/species?q=%ff", 400, []string{"?q"}},
		{"/v1/species?q=%zz", 400, []string{"?"}},
		{"/v1/species?q=" + strings.Repeat("a", 201), 400, []string{"?q"}},
		{"/v1/species?q=boa&group=snake", 400, []string{"?group"}},
		{"/v1/species?cursor=%21", 400, []string{"?cursor"}},
		{"/v1/species?cursor=" + base64.RawURLEncoding.EncodeToString([]byte("something else")), 400, []string{"?cursor"}},
		{"/v1/species?q=xyzzyqwv", 404, []string{"?q"}},
		{"/v1/species/pogona-vitticeps?stage=old", 400, []string{"?stage"}},
		{"/v1/species/pogona-vitticeps/claims?parameter=colour", 400, []string{"?parameter"}},
		{"/v1/species/bearded%20dragon", 404, []string{"{id}"}},
		{"/v1/species/%ff%fe", 404, []string{"{id}"}},
		{"/v1/species/a%2Fb", 404, []string{"{id}"}},
		{"/v1/species/" + strings.Repeat("a", 5000), 404, []string{"{id}"}},
		{"/v1/species/beardie/claims", 404, []string{"{id}"}},
		{"/v1/sources/nothing", 404, []string{"{key}"}},
		{"/v1/rules?species=beardie&jurisdiction=QQ&status=gone", 400, []string{"?jurisdiction", "?species", "?status"}},
		{"/problems/hunger", 404, []string{"{name}"}},
		{"/healthz?x=1", 400, []string{"?x"}},
	}
	for _, tt := range tests {
		t.Run(tt.target[:min(len(tt.target), 60)], func(t *testing.T) {
			w := k.send(t, "GET", tt.target, "")
			if p := problemOf(t, w); w.Code != tt.status || !slices.Equal(fieldsOf(p), tt.fields) {
				t.Errorf("%d naming %q, want %d naming %q", w.Code, fieldsOf(p), tt.status, tt.fields)
			}
		})
	}
}

// A name in the place of an id is not followed; the species it may mean are offered.
func TestNamesAreNotGuessed(t *testing.T) {
	k := newChecker(t)
	for _, tt := range []struct{ target, want string }{
		{"/v1/species/beardie", "pogona-vitticeps"},
		{"/v1/species/pogona-viticeps", "pogona-vitticeps"},
		{"/v1/rules?species=boa", "boa-constrictor"},
		{"/v1/species?q=beared+dragn", "pogona-vitticeps"},
	} {
		p := problemOf(t, k.send(t, "GET", tt.target, ""))
		if len(p.Errors) != 1 || !slices.ContainsFunc(p.Errors[0].Candidates, func(r sizing.SpeciesRef) bool { return r.ID == tt.want }) {
			t.Errorf("%s: %+v, want %s among the candidates", tt.target, p.Errors, tt.want)
		}
	}
	for q, want := range map[string]string{"beardie": "one", "boa": "several", "water dragon": "several", "box turtle": "several"} {
		w := k.send(t, "GET", "/v1/species?q="+url.QueryEscape(q), "")
		answer := decoded(t, w.Body.Bytes()).(map[string]any)
		if answer["outcome"] != want {
			t.Errorf("%q: outcome %v, want %s", q, answer["outcome"], want)
		}
	}
}

// bent is a body broken in one place, and the pointer that must be named.
type bent struct {
	how, at string
	body    any
}

// bends breaks each field of a body in every way that the schema forbids.
func bends(root *openapi3.Schema, body any) iter.Seq[bent] {
	return func(yield func(bent) bool) {
		replaced := func(tokens []string, v any) any {
			raw, _ := json.Marshal(body)
			var copied any
			_ = json.Unmarshal(raw, &copied)
			if len(tokens) == 0 {
				return v
			}
			parent := copied
			for _, t := range tokens[:len(tokens)-1] {
				switch p := parent.(type) {
				case map[string]any:
					parent = p[t]
				case []any:
					var i int
					_, _ = fmt.Sscan(t, &i)
					parent = p[i]
				}
			}
			switch p := parent.(type) {
			case map[string]any:
				if p[tokens[len(tokens)-1]] = v; v == removed {
					delete(p, tokens[len(tokens)-1])
				}
			case []any:
				var i int
				_, _ = fmt.Sscan(tokens[len(tokens)-1], &i)
				p[i] = v
			}
			return copied
		}
		var walk func(tokens []string, v any) bool
		walk = func(tokens []string, v any) bool {
			s := schemaAt(root, tokens)
			at := pointerOf(tokens)
			wrong := map[string]any{"null": nil}
			for name, x := range map[string]any{"string": "x", "number": 1.5, "boolean": true, "array": []any{}, "object": map[string]any{}} {
				if !s.Type.Is(name) {
					wrong[""+name] = x
				}
			}
			if len(s.Enum) > 0 || s.MaxLength != nil {
				wrong["empty text"] = ""
			}
			if len(s.Enum) > 0 {
				wrong["another word"] = "nonsense"
			}
			if s.Pattern != "" {
				wrong["another form"] = "*"
			}
			if s.MaxLength != nil {
				wrong["too long"] = strings.Repeat("x", int(*s.MaxLength)+1)
			}
			if s.Min != nil {
				wrong["too little"] = *s.Min - 1
			}
			if s.Max != nil {
				wrong["too much"] = *s.Max + 1
			}
			if s.Type.Is("array") && s.MinItems > 0 {
				wrong["too few"] = []any{}
			}
			if s.MaxItems != nil {
				wrong["too many"] = slices.Repeat([]any{s.Items.Value.Example}, int(*s.MaxItems)+1)
			}
			for how, x := range wrong {
				if !yield(bent{how, at, replaced(tokens, x)}) {
					return false
				}
			}
			switch v := v.(type) {
			case map[string]any:
				if !yield(bent{"unknown field", at + "/nonsense", replaced(append(slices.Clone(tokens), "nonsense"), 1)}) {
					return false
				}
				for _, name := range s.Required {
					if !yield(bent{"missing", at + "/" + name, replaced(append(slices.Clone(tokens), name), removed)}) {
						return false
					}
				}
				for name, x := range v {
					if !walk(append(slices.Clone(tokens), name), x) {
						return false
					}
				}
			case []any:
				for i, x := range v {
					if !walk(append(slices.Clone(tokens), fmt.Sprint(i)), x) {
						return false
					}
				}
			}
			return true
		}
		walk(nil, body)
	}
}

// removed marks a field to take out.
var removed = any("\x00removed")

// Each field of each example, broken in each way that the contract forbids, is
// answered with a problem document that names the field.
func TestEveryFieldBroken(t *testing.T) {
	k := newDen(t)
	n := 0
	for _, tt := range []struct{ method, path, schema string }{
		{"POST", "/v1/sizings", "SizingQuestion"}, {"POST", "/v1/assessments", "AssessmentQuestion"}, {"POST", "/v1/climates", "ClimateQuestion"}, {"POST", "/v1/plans", "PlanQuestion"},
		{"POST", "/v1/matches", "MatchQuestion"}, {"POST", "/v1/company-checks", "CompanyQuestion"}, {"POST", "/v1/comparisons", "ComparisonQuestion"},
		{"POST", "/v1/change-plans", "ChangeQuestion"}, {"POST", "/v1/setups", "SetupInput"}, {"PUT", "/v1/setups/{id}", "SetupInput"},
		{"POST", "/v1/reassessments", "ReassessmentInput"}, {"POST", "/v1/keys", "KeyInput"}, {"POST", "/v1/organisation/deletion", "Deletion"},
		{"POST", "/v1/record-revisions", "DraftInput"}, {"POST", "/v1/record-revisions/{id}/review", "ReviewInput"}, {"POST", "/v1/record-checks", "CheckInput"},
		{"POST", "/v1/record-publications", "PublicationInput"}, {"POST", "/v1/record-withdrawals", "PublicationInput"},
	} {
		root := k.doc.Components.Schemas[tt.schema].Value
		op := k.doc.Paths.Value(tt.path).GetOperation(tt.method)
		target, header := tt.path, []string{}
		if op.Security != nil {
			id := k.of[rescue].setup
			if strings.HasPrefix(target, "/v1/record") {
				id = k.draft
			}
			target = strings.Replace(target, "{id}", id, 1)
			header = []string{"Authorization", "Bearer " + k.of[rescue].key[store.Admin], "If-Match", `"1"`}
		}
		for _, e := range op.RequestBody.Value.Content["application/json"].Examples {
			for b := range bends(root, e.Value.Value) {
				n++
				raw, err := json.Marshal(b.body)
				if err != nil {
					t.Fatal(err)
				}
				w := k.send(t, tt.method, target, string(raw), header...)
				if w.Code != 400 && w.Code != 422 {
					t.Errorf("%s: %s at %s: %d for %s", tt.path, b.how, b.at, w.Code, raw)
					continue
				}
				p := problemOf(t, w)
				if !slices.Equal(fieldsOf(p), []string{b.at}) {
					t.Errorf("%s: %s at %s: names %q", tt.path, b.how, b.at, fieldsOf(p))
				}
			}
		}
	}
	if n < 500 {
		t.Errorf("only %d bodies broken", n)
	}
	t.Logf("%d bodies broken", n)
}

// A page after another gives every entry once, in order.
func TestPages(t *testing.T) {
	k := newChecker(t)
	c, err := embedded()
	if err != nil {
		t.Fatal(err)
	}
	var species, snakes, sources, rules []string
	for _, s := range c.Species() {
		species = append(species, s.ID)
		if s.Group == care.Snake {
			snakes = append(snakes, s.ID)
		}
	}
	for _, s := range c.Sources() {
		sources = append(sources, s.Key)
	}
	for _, r := range c.Rules() {
		rules = append(rules, r.ID)
	}
	slices.Sort(rules)
	for _, tt := range []struct {
		target, list, key string
		want              []string
	}{{"/v1/species?limit=7", "species", "id", species}, {"/v1/species?limit=200", "species", "id", species}, {"/v1/species?group=snake&limit=5", "species", "id", snakes},
		{"/v1/sources?limit=31", "sources", "key", sources}, {"/v1/rules?limit=50", "rules", "id", rules}} {
		var got []string
		for next := tt.target; next != ""; {
			page := decoded(t, k.send(t, "GET", next, "").Body.Bytes()).(map[string]any)
			for _, e := range page[tt.list].([]any) {
				got = append(got, e.(map[string]any)[tt.key].(string))
			}
			if page["total"] != float64(len(tt.want)) {
				t.Errorf("%s: total %v, want %d", tt.target, page["total"], len(tt.want))
			}
			next = ""
			if cursor, more := page["next_cursor"].(string); more {
				next = tt.target + "&cursor=" + cursor
			}
		}
		if diff := cmp.Diff(tt.want, got); diff != "" {
			t.Errorf("%s: %s", tt.target, diff)
		}
	}
}

// The claims of a species add up: each is counted or says why not, and the record's
// counts are those of the list.
func TestClaimsSayWhetherTheyCount(t *testing.T) {
	k := newChecker(t)
	c, err := embedded()
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range c.Species() {
		var record struct {
			Ranges []workingRange `json:"working_ranges"`
		}
		var list claimList
		// Quantities are not read back here.
		for target, into := range map[string]any{"/v1/species/" + s.ID: &record, "/v1/species/" + s.ID + "/claims": &list} {
			body := k.send(t, "GET", target, "").Body.Bytes()
			var tree map[string]any
			if err := json.Unmarshal(body, &tree); err != nil {
				t.Fatal(err)
			}
			for _, key := range []string{"working_ranges", "claims"} {
				items, _ := tree[key].([]any)
				for _, e := range items {
					delete(e.(map[string]any), "range")
				}
			}
			slim, err := json.Marshal(tree)
			if err != nil {
				t.Fatal(err)
			}
			if err := json.Unmarshal(slim, into); err != nil {
				t.Fatal(err)
			}
		}
		counted := map[care.Code]int{}
		for i, claim := range list.Claims {
			if claim.Counted == (claim.SetAside != "") {
				t.Errorf("%s claim %d: counted %v, set aside %q", s.ID, i, claim.Counted, claim.SetAside)
			}
			if claim.Counted {
				counted[claim.Parameter]++
			}
		}
		for _, w := range record.Ranges {
			if w.Derived == "" && counted[w.Parameter] != w.Counted {
				t.Errorf("%s %s: %d claims counted in the record, %d in the list", s.ID, w.Parameter, w.Counted, counted[w.Parameter])
			}
		}
		if len(list.Claims) != len(s.Claims) {
			t.Errorf("%s: %d claims, want %d", s.ID, len(list.Claims), len(s.Claims))
		}
	}
}

func TestETag(t *testing.T) {
	k := newChecker(t)
	seen := map[string]string{}
	for _, target := range []string{"/v1/species", "/v1/species?limit=3", "/v1/species?q=boa", "/v1/species/pogona-vitticeps", "/v1/species/pogona-vitticeps?units=imperial",
		"/v1/species/pogona-vitticeps?stage=juvenile", "/v1/species/pogona-vitticeps/claims", "/v1/sources", "/v1/sources/de_gutachten_1997", "/v1/rules", "/openapi.yaml"} {
		w := k.send(t, "GET", target, "")
		tag := w.Header().Get("ETag")
		if tag == "" || strings.HasPrefix(tag, "W/") {
			t.Errorf("%s: entity tag %q, want a strong one", target, tag)
		}
		if other := seen[tag]; other != "" {
			t.Errorf("%s and %s share a tag", target, other)
		}
		seen[tag] = target
		for _, condition := range []string{tag, "W/" + tag, `"other", ` + tag, "*"} {
			if w := k.send(t, "GET", target, "", "If-None-Match", condition); w.Code != 304 || w.Body.Len() != 0 || w.Header().Get("ETag") != tag {
				t.Errorf("%s with %s: %d, %d bytes, tag %s", target, condition, w.Code, w.Body.Len(), w.Header().Get("ETag"))
			}
		}
		if w := k.send(t, "GET", target, "", "If-None-Match", `"other"`); w.Code != 200 {
			t.Errorf("%s with another tag: %d", target, w.Code)
		}
	}
	if w := k.send(t, "GET", "/v1/species/none", "", "If-None-Match", "*"); w.Code != 404 || w.Header().Get("ETag") != "" {
		t.Errorf("an unknown species: %d with tag %q", w.Code, w.Header().Get("ETag"))
	}
}

// Another catalogue gives other tags and other answers, at once.
func TestSetCatalogue(t *testing.T) {
	s := newServer(t)
	h := s.Handler(Config{})
	get := func(target string) *httptest.ResponseRecorder {
		w := httptest.NewRecorder()
		h.ServeHTTP(w, httptest.NewRequest("GET", target, nil))
		return w
	}
	before := get("/v1/species")
	s.SetCatalogue(renamed(t, "1-invented"))
	after := get("/v1/species")
	if before.Header().Get("ETag") == after.Header().Get("ETag") || !strings.Contains(after.Body.String(), `"catalogue_revision":"1-invented"`) {
		t.Errorf("tags %s and %s", before.Header().Get("ETag"), after.Header().Get("ETag"))
	}
	s.SetCatalogue(nil)
	for _, target := range []string{"/readyz", "/v1/species", "/v1/rules"} {
		if w := get(target); w.Code != 503 || w.Header().Get("Retry-After") == "" || problemOf(t, w).Type != "/problems/not-ready" {
			t.Errorf("%s without a catalogue: %d", target, w.Code)
		}
	}
	if w := get("/healthz"); w.Code != 200 {
		t.Errorf("/healthz: %d", w.Code)
	}
}

// inMetric turns every figure of an answer into metric, so that answers in the two
// systems can be laid side by side. The scales are those of the international yard
// and pound agreement and of the US gallon of 231 cubic inches.
func inMetric(v any) any {
	scales := map[string]struct {
		unit          string
		scale, offset float64
	}{"in": {"cm", 2.54, 0}, "ft": {"m", 0.3048, 0}, "ft²": {"m²", 0.09290304, 0}, "in²": {"cm²", 6.4516, 0}, "gal": {"L", 3.785411784, 0},
		"lb": {"kg", 0.45359237, 0}, "oz": {"g", 28.349523125, 0}, "°F": {"°C", 5.0 / 9, -160.0 / 9}}
	switch v := v.(type) {
	case map[string]any:
		out := map[string]any{}
		for k, x := range v {
			out[k] = inMetric(x)
		}
		if unit, ok := v["unit"].(string); ok {
			if s, ok := scales[unit]; ok {
				out["unit"] = s.unit
				for _, k := range []string{"value", "low", "high"} {
					if x, ok := v[k].(float64); ok {
						out[k] = x*s.scale + s.offset
					}
				}
			}
		}
		return out
	case []any:
		out := make([]any, len(v))
		for i := range v {
			out[i] = inMetric(v[i])
		}
		return out
	}
	return v
}

// rounding is what writing a figure in either system may shift it by.
var rounding = map[string]float64{"cm": 0.05 + 0.05*2.54, "m²": 0.0005 + 0.005*0.0929, "cm²": 0.5 + 0.5*6.4516, "L": 0.05 + 0.05*3.7854, "°C": 0.05 + 0.05/1.8,
	"g": 0.5 + 0.05*28.35, "kg": 0.0005 + 0.005*0.4536, "m": 0.0005 + 0.005*0.3048}

func sameFigures(t *testing.T, at string, a, b any) {
	t.Helper()
	switch a := a.(type) {
	case map[string]any:
		b, ok := b.(map[string]any)
		if !ok || len(a) != len(b) {
			t.Errorf("%s: %v and %v", at, a, b)
			return
		}
		unit, _ := a["unit"].(string)
		for k := range a {
			x, isX := a[k].(float64)
			y, isY := b[k].(float64)
			if tolerance, has := rounding[unit]; has && isX && isY {
				if math.Abs(x-y) > tolerance+1e-9 {
					t.Errorf("%s/%s: %v and %v %s", at, k, x, y, unit)
				}
				continue
			}
			sameFigures(t, at+"/"+k, a[k], b[k])
		}
	case []any:
		b, ok := b.([]any)
		if !ok || len(a) != len(b) {
			t.Errorf("%s: lists of unlike length", at)
			return
		}
		for i := range a {
			sameFigures(t, fmt.Sprintf("%s/%d", at, i), a[i], b[i])
		}
	default:
		if a != b {
			t.Errorf("%s: %v and %v", at, a, b)
		}
	}
}

// The units of the answer change the units, within rounding, and nothing else; no
// metric unit is left in an imperial answer.
func TestUnitsChangeNothingElse(t *testing.T) {
	k := newChecker(t)
	requests := [][3]string{{"GET", "/v1/species/pogona-vitticeps", ""}, {"GET", "/v1/species/testudo-hermanni/claims", ""}, {"GET", "/v1/rules?species=python-regius", ""}}
	for _, path := range []string{"/v1/sizings", "/v1/assessments"} {
		for _, e := range k.doc.Paths.Value(path).Post.RequestBody.Value.Content["application/json"].Examples {
			b, err := json.Marshal(e.Value.Value)
			if err != nil {
				t.Fatal(err)
			}
			requests = append(requests, [3]string{"POST", path, string(b)})
		}
	}
	for _, r := range requests {
		join := "?"
		if strings.Contains(r[1], "?") {
			join = "&"
		}
		metric, imperial := k.send(t, r[0], r[1], r[2]), k.send(t, r[0], r[1]+join+"units=imperial", r[2])
		sameFigures(t, r[1], decoded(t, metric.Body.Bytes()), inMetric(decoded(t, imperial.Body.Bytes())))
		for _, unit := range []string{`"cm"`, `"m²"`, `"cm²"`, `"L"`, `"°C"`, `"g"`} {
			if strings.Contains(imperial.Body.String(), `"unit":`+unit) {
				t.Errorf("%s %s: an imperial answer holds %s", r[1], r[2], unit)
			}
		}
	}
}

// The same enclosure described in inches and °F has the same verdict and score.
func TestUnitsOfTheQuestion(t *testing.T) {
	k := newChecker(t)
	ask := func(length, width, height, hot string) map[string]any {
		w := k.send(t, "POST", "/v1/assessments", `{"species":"pogona-vitticeps","animals":[{"count":1,"stage":"adult"}],"setup":{"inside":{"length":`+length+`,"width":`+width+`,"height":`+height+`},"temperatures":{"hot_spot":`+hot+`}}}`)
		if w.Code != 200 {
			t.Fatalf("%d %s", w.Code, w.Body)
		}
		return decoded(t, w.Body.Bytes()).(map[string]any)
	}
	a := ask(`{"value":121.92,"unit":"cm"}`, `{"value":0.6096,"unit":"m"}`, `{"value":609.6,"unit":"mm"}`, `{"value":40,"unit":"°C"}`)
	b := ask(`{"value":48,"unit":"in"}`, `{"value":2,"unit":"ft"}`, `{"value":24,"unit":"in"}`, `{"value":104,"unit":"°F"}`)
	sameFigures(t, "", a, b)
}

func TestHead(t *testing.T) {
	k := newChecker(t)
	srv := httptest.NewServer(k.handler)
	defer srv.Close()
	for _, path := range []string{"/healthz", "/readyz", "/openapi.yaml", "/v1/species", "/v1/species/none", "/problems/not-ready"} {
		get, err := http.Get(srv.URL + path)
		if err != nil {
			t.Fatal(err)
		}
		body, err := io.ReadAll(get.Body)
		if err != nil {
			t.Fatal(err)
		}
		get.Body.Close()
		head, err := http.Head(srv.URL + path)
		if err != nil {
			t.Fatal(err)
		}
		head.Body.Close()
		if head.StatusCode != get.StatusCode || head.ContentLength != int64(len(body)) || head.Header.Get("ETag") != get.Header.Get("ETag") {
			t.Errorf("%s: HEAD %d of %d bytes, GET %d of %d", path, head.StatusCode, head.ContentLength, get.StatusCode, len(body))
		}
	}
}

func TestHeadersAndRequestID(t *testing.T) {
	k := newChecker(t)
	for id, kept := range map[string]bool{"abc-1_2.X": true, "": false, "has space": false, "new\tline": false, "<script>": false, strings.Repeat("x", 65): false} {
		got := k.send(t, "GET", "/healthz", "", "X-Request-ID", id).Header().Get("X-Request-ID")
		if (got == id) != kept || got == "" {
			t.Errorf("id %q became %q", id, got)
		}
	}
	for _, target := range []string{"/healthz", "/v1/species", "/nowhere"} {
		h := k.send(t, "GET", target, "").Header()
		for name, want := range map[string]string{"X-Content-Type-Options": "nosniff", "Content-Security-Policy": "default-src 'none'; frame-ancestors 'none'", "Referrer-Policy": "no-referrer"} {
			if h.Get(name) != want {
				t.Errorf("%s: %s is %q", target, name, h.Get(name))
			}
		}
		for name := range h {
			if strings.HasPrefix(name, "Access-Control-") {
				t.Errorf("%s: %s without an allow-list", target, name)
			}
		}
	}
}

func TestAllowedOrigins(t *testing.T) {
	h := newServer(t).Handler(Config{AllowOrigins: []string{"https://app.example"}})
	send := func(method, origin string, header ...string) *httptest.ResponseRecorder {
		r := httptest.NewRequest(method, "/v1/species", nil)
		r.Header.Set("Origin", origin)
		for i := 0; i+1 < len(header); i += 2 {
			r.Header.Set(header[i], header[i+1])
		}
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		return w
	}
	if w := send("GET", "https://app.example"); w.Code != 200 || w.Header().Get("Access-Control-Allow-Origin") != "https://app.example" || w.Header().Get("Vary") != "Origin" {
		t.Errorf("allowed: %d %v", w.Code, w.Header())
	}
	if w := send("GET", "https://other.example"); w.Code != 200 || w.Header().Get("Access-Control-Allow-Origin") != "" || w.Header().Get("Vary") != "Origin" {
		t.Errorf("not allowed: %d %v", w.Code, w.Header())
	}
	w := send("OPTIONS", "https://app.example", "Access-Control-Request-Method", "PUT")
	if w.Code != 204 {
		t.Errorf("preflight: %d %v", w.Code, w.Header())
	}
	for name, words := range map[string][]string{
		"Access-Control-Allow-Methods":  {"GET", "HEAD", "POST", "PUT", "DELETE"},
		"Access-Control-Allow-Headers":  {"Authorization", "Content-Type", "Idempotency-Key", "If-Match", "If-None-Match", "X-Request-ID"},
		"Access-Control-Expose-Headers": {"ETag", "Location", "Retry-After", "WWW-Authenticate", "X-Request-ID"},
	} {
		if got := strings.Split(w.Header().Get(name), ", "); !slices.Equal(got, words) {
			t.Errorf("%s: %q, want %q", name, got, words)
		}
	}
	if w := send("OPTIONS", "https://other.example", "Access-Control-Request-Method", "POST"); w.Header().Get("Access-Control-Allow-Methods") != "" {
		t.Errorf("preflight of another: %v", w.Header())
	}
}

// A panic or an unknown error is a problem document that tells nothing of the
// inside; the log tells it, under the same id.
func TestFailuresAreLoggedNotTold(t *testing.T) {
	var log bytes.Buffer
	c, err := embedded()
	if err != nil {
		t.Fatal(err)
	}
	s := New(c, slog.New(slog.NewJSONHandler(&log, nil)))
	e := s.routes(Config{}.withDefaults())
	e.GET("/panic", func(echo.Context) error { panic("the secret inside") })
	e.GET("/error", func(echo.Context) error { return errors.New("the secret inside") })
	for _, path := range []string{"/panic", "/error"} {
		log.Reset()
		w := httptest.NewRecorder()
		e.ServeHTTP(w, httptest.NewRequest("GET", path, nil))
		p := problemOf(t, w)
		if w.Code != 500 || p.Type != "/problems/internal-error" || strings.Contains(w.Body.String(), "secret") {
			t.Errorf("%s: %d %s", path, w.Code, w.Body)
		}
		if !strings.Contains(log.String(), "the secret inside") || !strings.Contains(log.String(), p.Instance) {
			t.Errorf("%s: the log does not tell: %s", path, log.String())
		}
	}
}

// The log has one line for a request, without its body or query.
func TestRequestLog(t *testing.T) {
	var log bytes.Buffer
	c, err := embedded()
	if err != nil {
		t.Fatal(err)
	}
	h := New(c, slog.New(slog.NewJSONHandler(&log, nil))).Handler(Config{})
	r := httptest.NewRequest("POST", "/v1/sizings?units=imperial", strings.NewReader(oneAdult))
	r.Header.Set("Content-Type", "application/json")
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	var line map[string]any
	if err := json.Unmarshal(bytes.TrimSpace(log.Bytes()), &line); err != nil {
		t.Fatalf("%v in %s", err, log.String())
	}
	if line["status"] != 200.0 || line["route"] != "/v1/sizings" || line["method"] != "POST" || line["bytes"] != float64(w.Body.Len()) || line["id"] != w.Header().Get("X-Request-ID") {
		t.Errorf("%v", line)
	}
	if strings.Contains(log.String(), "pogona") || strings.Contains(log.String(), "imperial") {
		t.Errorf("the log holds what was asked: %s", log.String())
	}
}

// serve runs a server on a free port and returns its address and a stop.
func serve(t *testing.T, cfg Config) (address string, stop func() error) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	s := newServer(t)
	go func() { ended <- s.Serve(ctx, l, cfg) }()
	stopped := false
	stop = func() error {
		if stopped {
			return nil
		}
		stopped = true
		cancel()
		return <-ended
	}
	t.Cleanup(func() { _ = stop() })
	return l.Addr().String(), stop
}

// A stop finishes the request that is under way and takes no new one.
func TestStopFinishesWhatWasAccepted(t *testing.T) {
	address, stop := serve(t, Config{})
	conn, err := net.Dial("tcp", address)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	fmt.Fprintf(conn, "POST /v1/sizings HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\nExpect: 100-continue\r\nContent-Length: %d\r\n\r\n", len(oneAdult))
	in := bufio.NewReader(conn)
	if line, err := in.ReadString('\n'); err != nil || !strings.Contains(line, "100 Continue") { // the handler is reading
		t.Fatalf("%q %v", line, err)
	}
	if _, err := in.ReadString('\n'); err != nil {
		t.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() { ended <- stop() }()
	for { // until the listener is closed
		c, err := net.Dial("tcp", address)
		if err != nil {
			break
		}
		c.Close()
		time.Sleep(5 * time.Millisecond)
	}
	fmt.Fprint(conn, oneAdult)
	response, err := http.ReadResponse(in, nil)
	if err != nil {
		t.Fatal(err)
	}
	defer response.Body.Close()
	if body, err := io.ReadAll(response.Body); response.StatusCode != 200 || err != nil || !strings.Contains(string(body), "engine_version") {
		t.Errorf("%d %v %.100s", response.StatusCode, err, body)
	}
	if err := <-ended; err != nil {
		t.Errorf("stop: %v", err)
	}
}

// A client that sends its body or its header too slowly does not hold a connection.
func TestSlowClients(t *testing.T) {
	address, _ := serve(t, Config{ReadHeaderTimeout: 100 * time.Millisecond, ReadTimeout: 200 * time.Millisecond})
	for name, sent := range map[string]string{
		"header": "POST /v1/sizings HTTP/1.1\r\nHost: x\r\n",
		"body":   "POST /v1/sizings HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\nContent-Length: 500\r\n\r\n{",
	} {
		conn, err := net.Dial("tcp", address)
		if err != nil {
			t.Fatal(err)
		}
		fmt.Fprint(conn, sent)
		if err := conn.SetReadDeadline(time.Now().Add(5 * time.Second)); err != nil {
			t.Fatal(err)
		}
		answer, err := io.ReadAll(conn) // ends when the server closes the connection
		conn.Close()
		if err != nil {
			t.Errorf("slow %s: %v", name, err)
		}
		if name == "body" && (!strings.HasPrefix(string(answer), "HTTP/1.1 408") || !strings.Contains(string(answer), "/problems/request-too-slow")) {
			t.Errorf("slow body: %.300s", answer)
		}
	}
}

func TestTooManyErrorsAreCounted(t *testing.T) {
	k := newChecker(t)
	var body strings.Builder
	body.WriteString(`{"species":"pogona-vitticeps","animals":[{"count":1,"stage":"adult"}]`)
	for i := range 20_000 {
		fmt.Fprintf(&body, `,"f%d":1`, i)
	}
	body.WriteString("}")
	p := problemOf(t, k.send(t, "POST", "/v1/sizings", body.String()))
	if len(p.Errors) != maxErrors || p.Omitted != 20_000-maxErrors {
		t.Errorf("%d errors and %d omitted", len(p.Errors), p.Omitted)
	}
}

// fuzzQuestion sends any body: the answer is 200, 400 or 422, and of its schema.
func fuzzQuestion(f *testing.F, path string) {
	k := newChecker(f)
	for _, e := range k.doc.Paths.Value(path).Post.RequestBody.Value.Content["application/json"].Examples {
		b, err := json.Marshal(e.Value.Value)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b)
	}
	for _, s := range []string{"", "null", "[]", "{", `{"species":null}`, `{"animals":[{"count":1e400}]}`, "{\"species\":\"\xff\"}", `{"a":{"a":{"a":[]}}}`, `{"species":"boa","species":"boa"}`,
		`{"species":"pogona-vitticeps","animals":[{"count":1,"length":{"value":1,"unit":"in"},"measure":"total"},7]}`} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, body []byte) {
		w := k.send(t, "POST", path, string(body))
		if w.Code != 200 && w.Code != 400 && w.Code != 422 {
			t.Errorf("%d for %q", w.Code, body)
		}
		if w.Code != 200 && len(problemOf(t, w).Errors) == 0 {
			t.Errorf("%d names no field for %q", w.Code, body)
		}
	})
}

func FuzzSizings(f *testing.F)     { fuzzQuestion(f, "/v1/sizings") }
func FuzzAssessments(f *testing.F) { fuzzQuestion(f, "/v1/assessments") }
func FuzzClimates(f *testing.F)    { fuzzQuestion(f, "/v1/climates") }
func FuzzPlans(f *testing.F)       { fuzzQuestion(f, "/v1/plans") }
func FuzzMatches(f *testing.F)     { fuzzQuestion(f, "/v1/matches") }

// null is a response writer that keeps nothing.
type null struct{ header http.Header }

func (n *null) Header() http.Header         { return n.header }
func (n *null) Write(b []byte) (int, error) { return len(b), nil }
func (n *null) WriteHeader(int)             {}

// against measures a question against a bare echo handler that decodes the same
// body with the same strictness and encodes the same answer, worked out beforehand.
// The ratio is the bare handler's time over ours: 1 is as fast.
func against[Q, A any](b *testing.B, path, body string, answer func(*care.Catalogue, Q) (A, error)) {
	s := newServer(b)
	ours := s.Handler(Config{})
	w := httptest.NewRecorder()
	post := func() *http.Request {
		r := httptest.NewRequest("POST", path, strings.NewReader(body))
		r.Header.Set("Content-Type", "application/json")
		return r
	}
	ours.ServeHTTP(w, post())
	if w.Code != 200 {
		b.Fatalf("%d %s", w.Code, w.Body)
	}
	c, err := embedded()
	if err != nil {
		b.Fatal(err)
	}
	var question Q
	if err := json.Unmarshal([]byte(body), &question, strict); err != nil {
		b.Fatal(err)
	}
	fixed, err := answer(c, question)
	if err != nil {
		b.Fatal(err)
	}
	bare := echo.New()
	bare.POST(path, func(c echo.Context) error {
		raw, err := io.ReadAll(c.Request().Body)
		if err != nil {
			return err
		}
		var q Q
		if err := json.Unmarshal(raw, &q, strict); err != nil {
			return err
		}
		out, err := json.Marshal(fixed)
		if err != nil {
			return err
		}
		return c.Blob(http.StatusOK, "application/json", out)
	})
	send := func(h http.Handler) { h.ServeHTTP(&null{http.Header{}}, post()) }
	for name, h := range map[string]http.Handler{"service": ours, "bare": bare} {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			b.SetBytes(int64(w.Body.Len()))
			for b.Loop() {
				send(h)
			}
		})
	}
	// Turn and turn about, so that whatever else the machine does falls on both.
	b.Run("ratio", func(b *testing.B) {
		var mine, theirs time.Duration
		for b.Loop() {
			start := time.Now()
			send(ours)
			middle := time.Now()
			send(bare)
			mine, theirs = mine+middle.Sub(start), theirs+time.Since(middle)
		}
		b.ReportMetric(float64(theirs)/float64(mine), "ratio")
	})
}

func BenchmarkSizings(b *testing.B) { against(b, "/v1/sizings", oneAdult, sizing.Require) }

func BenchmarkAssessments(b *testing.B) {
	raw, err := json.Marshal(document(b).Paths.Value("/v1/assessments").Post.RequestBody.Value.Content["application/json"].Examples["donated"].Value.Value)
	if err != nil {
		b.Fatal(err)
	}
	against(b, "/v1/assessments", string(raw), sizing.Assess)
}

// TestEncoding: an answer is byte for byte what json.Marshal gives of it.
func TestEncoding(t *testing.T) {
	s := newServer(t)
	c := s.snapshot.Load().Catalogue
	var answers []any
	for _, species := range c.Species() {
		r, err := sizing.Require(c, sizing.Question{Species: species.ID, Animals: []sizing.Animal{{Count: 2, Stage: care.Juvenile}}, Jurisdiction: "DE"})
		if err != nil {
			t.Fatal(err)
		}
		a, err := sizing.Assess(c, sizing.AssessmentQuestion{Question: sizing.Question{Species: species.ID, Animals: []sizing.Animal{{Count: 1, Stage: care.Adult}}}})
		if err != nil {
			t.Fatal(err)
		}
		answers = append(answers, r, a, species)
	}
	m, err := sizing.Match(c, sizing.MatchQuestion{Jurisdiction: "AT"})
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range append(answers, m, c.Rules(), c.Sources()) {
		for _, system := range []quantity.System{quantity.Metric, quantity.Imperial} {
			want, err := json.Marshal(v, json.WithMarshalers(quantity.Marshalers(system)), json.Deterministic(true))
			if err != nil {
				t.Fatal(err)
			}
			for range 2 { // what was kept of the first time is copied the second
				got, err := s.encoding[system].Append(nil, v)
				if err != nil || !bytes.Equal(want, got) {
					t.Fatalf("%T in %v: %v %s", v, system, err, cmp.Diff(string(want), string(got)))
				}
			}
		}
	}
}
