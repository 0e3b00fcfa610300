package pages

import (
	"encoding/json"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/google/go-cmp/cmp"

	"denwright/openapi"
)

// The reference tells of every operation, parameter and field that the contract has,
// and its examples are those of the contract, laid out anew.
func TestReferenceIsTheContract(t *testing.T) {
	c, err := loadContract()
	if err != nil {
		t.Fatal(err)
	}
	doc, err := openapi3.NewLoader().LoadFromData([]byte(openapi.YAML()))
	if err != nil {
		t.Fatal(err)
	}
	listed := map[string]bool{}
	for _, tag := range c.Tags {
		for _, o := range tag.Operations {
			listed[o.ID] = true
		}
	}
	for path, item := range doc.Paths.Map() {
		for method, op := range item.Operations() {
			o := c.byID[op.OperationID]
			if o == nil || !listed[op.OperationID] || o.Path != path || o.Method != method {
				t.Errorf("%s %s is not told of as it is", method, path)
				continue
			}
			if len(o.Parameters) != len(op.Parameters) {
				t.Errorf("%s: %d parameters, the contract has %d", o.ID, len(o.Parameters), len(op.Parameters))
			}
			if len(o.Answers)+len(o.Problems) != op.Responses.Len() {
				t.Errorf("%s: %d answers and %d problems, the contract has %d", o.ID, len(o.Answers), len(o.Problems), op.Responses.Len())
			}
			if op.RequestBody == nil {
				continue
			}
			for _, media := range op.RequestBody.Value.Content {
				if media.Schema != nil && media.Schema.Value.Properties != nil {
					missing(t, o.ID, media.Schema, rowsByPlace(o.Fields), "")
				}
				for name, e := range media.Examples {
					var shown, want any
					for _, x := range o.Examples {
						if x.Name == name {
							if err := json.Unmarshal([]byte(x.Body), &shown); err != nil {
								t.Errorf("%s: example %s: %v", o.ID, name, err)
							}
						}
					}
					raw, err := json.Marshal(e.Value.Value)
					if err != nil {
						t.Fatal(err)
					}
					if err := json.Unmarshal(raw, &want); err != nil {
						t.Fatal(err)
					}
					if diff := cmp.Diff(want, shown); diff != "" {
						t.Errorf("%s: example %s: %s", o.ID, name, diff)
					}
				}
			}
		}
	}
}

func rowsByPlace(rows []*fieldRow) map[string]*fieldRow {
	out := map[string]*fieldRow{}
	for _, r := range rows {
		out[r.At] = r
	}
	return out
}

// missing fails for each field of a schema that has no row, by itself or where its
// like is told of.
func missing(t *testing.T, id string, ref *openapi3.SchemaRef, rows map[string]*fieldRow, at string) {
	t.Helper()
	s := single(ref)
	for s.Value.Items != nil {
		s, at = single(s.Value.Items), at+"/*"
	}
	for name, p := range s.Value.Properties {
		row := rows[at+"/"+name]
		if row == nil {
			t.Errorf("%s: %s/%s is not told of", id, at, name)
			continue
		}
		inner := single(p).Value
		if row.Above == nil && !isFigure(inner) {
			missing(t, id, p, rows, at+"/"+name)
		}
		if unit := inner.Properties["unit"]; isFigure(inner) && unit != nil && len(unit.Value.Enum) > 0 && !strings.Contains(strings.Join(row.Bounds, ";"), "unit ") {
			t.Errorf("%s: %s says no units", id, row.At)
		}
	}
}

func TestBounds(t *testing.T) {
	for _, c := range []struct{ schema, want string }{
		{`{"type":"integer","minimum":1,"maximum":200,"default":50}`, "1 to 200; 50 when left out"},
		{`{"type":"number","minimum":0,"exclusiveMinimum":true}`, "more than 0"},
		{`{"type":"number","minimum":0,"exclusiveMinimum":true,"maximum":9}`, "more than 0; at most 9"},
		{`{"type":"number","maximum":9.5}`, "at most 9.5"},
		{`{"type":"string","minLength":1,"maxLength":20}`, "1 to 20 characters"},
		{`{"type":"string","enum":["a","b"]}`, "one of a, b"},
		{`{"type":"array","maxItems":3,"items":{"type":"string","minLength":1}}`, "at most 3 entries; not empty"},
		{`{"type":"object","properties":{"value":{"type":"number"},"unit":{"type":"string","enum":["cm","in"]}}}`, "unit cm, in"},
	} {
		var s openapi3.Schema
		if err := json.Unmarshal([]byte(c.schema), &s); err != nil {
			t.Fatal(err)
		}
		if got := strings.Join(bounds(&s), "; "); got != c.want {
			t.Errorf("%s: %q, want %q", c.schema, got, c.want)
		}
	}
}

// JSON laid out anew is the same JSON, and no line is longer than it must be.
func TestWrittenJSON(t *testing.T) {
	const body = `{"a":{"value":1.50,"unit":"°C"},"b":["<x> & \"y\"\n",true,null,1e3,{}],"long":[{"text":"` + "0123456789012345678901234567890123456789" + `"},{"text":"` + "0123456789012345678901234567890123456789" + `"}],"control":"\u0001"}`
	got := reader{}.written([]byte(body))
	var a, b any
	if err := json.Unmarshal([]byte(body), &a); err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal([]byte(got), &b); err != nil {
		t.Fatalf("%v in %s", err, got)
	}
	if diff := cmp.Diff(a, b); diff != "" {
		t.Error(diff)
	}
	want := "{\n  \"a\": {\"value\": 1.50, \"unit\": \"°C\"},\n"
	if !strings.HasPrefix(got, want) {
		t.Errorf("got %.120s, want it to begin with %s", got, want)
	}
}

func TestCut(t *testing.T) {
	for _, c := range []struct {
		text, want string
		most       int
	}{
		{"a\nb\nc\n", "a\nb\nc\n", 6}, {"a\nb\nc\n", "a\nb\n", 5}, {"abcdef", "abc", 3}, {"aéé", "a", 2}, {"", "", 3},
	} {
		p := reply{Text: c.text}
		p.cut(c.most)
		if p.Text != c.want || p.Whole != len(c.text) || p.Cut() != (c.want != c.text) {
			t.Errorf("%q cut to %d: %+v", c.text, c.most, p)
		}
	}
}
