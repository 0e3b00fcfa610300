package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"denwright/sizing"

	"github.com/go-json-experiment/json"
)

func cli(stdin string, args ...string) (code int, stdout, stderr string) {
	var out, err bytes.Buffer
	code = run(context.Background(), args, streams{strings.NewReader(stdin), &out, &err})
	return code, out.String(), err.String()
}

// TestExitCodes runs each command the way a person would get it right and wrong.
func TestExitCodes(t *testing.T) {
	good := `{"species":"pogona-vitticeps","animals":[{"count":1,"stage":"adult"}],"setup":%s}`
	tests := []struct {
		name  string
		stdin string
		args  []string
		code  int
		out   string // on either stream
	}{
		{"no command", "", nil, exitBadInput, "denwright serve"},
		{"help", "", []string{"help"}, exitAnswered, "Exit codes"},
		{"no such command", "", []string{"sing"}, exitBadInput, `no command "sing"`},
		{"species by a typo is not chosen", "", []string{"species", "Pogona viticeps"}, exitNotOne, "pogona-vitticeps"},
		{"an ambiguous name is not chosen", "", []string{"size", "--stage", "adult", "boa"}, exitNotOne, "boa-imperator"},
		{"a short name", "", []string{"size", "--stage", "adult", "beardie"}, exitAnswered, "Pogona vitticeps"},
		{"flags after the name", "", []string{"size", "beardie", "--stage", "adult"}, exitAnswered, "Pogona vitticeps"},
		{"neither stage nor length", "", []string{"size", "beardie"}, exitBadInput, "/animals/0"},
		{"a length without a unit", "", []string{"size", "--length", "45", "beardie"}, exitBadInput, "unit is missing"},
		{"a 40 m lizard", "", []string{"size", "--length", "40m", "--measure", "total", "beardie"}, exitBadInput, "far above the longest"},
		{"no such place", "", []string{"size", "--stage", "adult", "--jurisdiction", "XX", "beardie"}, exitBadInput, "no rules are held"},
		{"species as JSON", "", []string{"species", "--json", "pogona-vitticeps"}, exitAnswered, `"scientific_name":"Pogona vitticeps"`},
		{"unknown species as JSON", "", []string{"species", "--json", "xyzzyx"}, exitNotOne, `"status":404`},
		{"imperial", "", []string{"size", "--units", "imperial", "--stage", "adult", "beardie"}, exitAnswered, "°F"},
		{"no such unit system", "", []string{"size", "--units", "cubits", "--stage", "adult", "beardie"}, exitBadInput, "metric or imperial"},
		{"no file", "", []string{"assess", "nowhere.json"}, exitBadInput, "no file"},
		{"not JSON", "{", []string{"assess", "-"}, exitBadInput, ""},
		{"nothing measured", strings.Replace(good, "%s", "{}", 1), []string{"assess", "-"}, exitCannotTell, "CANNOT TELL"},
		{"far too small", strings.Replace(good, "%s", `{"inside":{"length":{"value":40,"unit":"cm"},"width":{"value":30,"unit":"cm"},"height":{"value":30,"unit":"cm"}}}`, 1), []string{"assess", "-"}, exitUnsuitable, "UNSUITABLE"},
		{"every bad field at once", strings.Replace(good, "%s", `{"inside":{"length":{"value":-40,"unit":"cm"}},"colour":"red","uv":{"basking":{"value":99,"unit":"UVI"}}}`, 1), []string{"assess", "-"}, exitBadInput, "/setup/uv/basking"},
		{"climate of a box", "", []string{"climate", "../../testdata/demo/climate-glass-box.json"}, exitAnswered, "AIR AND HOT SPOTS"},
		{"climate of another, in inches", "", []string{"climate", "--units", "imperial", "../../testdata/demo/climate-panel-box.json"}, exitAnswered, "°F"},
		{"climate of a box that was read", "", []string{"climate", "../../testdata/demo/climate-glass-box-read.json"}, exitAnswered, "9 readings to spare"},
		{"climate of a box read once", `{"enclosure":{"length":{"value":1,"unit":"m"},"width":{"value":40,"unit":"cm"},"height":{"value":50,"unit":"cm"},"walls":{"construction":"glass-6mm"}},"room":{"winter":{"temperature":{"value":20,"unit":"°C"}}},"heat_sources":[{"kind":"basking-lamp","power":{"value":50,"unit":"W"}}],"readings":[{"temperature":{"value":25,"unit":"°C"},"room_temperature":{"value":20,"unit":"°C"},"phase":"day","from_left":{"value":10,"unit":"cm"},"height":{"value":10,"unit":"cm"}}]}`, []string{"climate", "-"}, exitAnswered, "as many readings, not 1"},
		{"climate read under no source", `{"enclosure":{"length":{"value":1,"unit":"m"},"width":{"value":40,"unit":"cm"},"height":{"value":50,"unit":"cm"},"walls":{"construction":"glass-6mm"}},"room":{"winter":{"temperature":{"value":20,"unit":"°C"}}},"readings":[{"temperature":{"value":25,"unit":"°C"},"room_temperature":{"value":20,"unit":"°C"},"phase":"day","under_source":0}]}`, []string{"climate", "-"}, exitBadInput, "/readings/0/under_source"},
		{"plan of the advised size", `{"species":"beardie","animals":[{"count":1,"stage":"adult"}]}`, []string{"plan", "-"}, exitAnswered, "(advised)"},
		{"plan with a kettle", `{"species":"beardie","animals":[{"count":1,"stage":"adult"}],"equipment":[{"kind":"kettle"}]}`, []string{"plan", "-"}, exitBadInput, "/equipment/0/kind"},
		{"plan on another paper", "", []string{"plan", "--paper", "a3", "../../testdata/demo/plan-frog.json"}, exitBadInput, "a4 or letter"},
		{"plan for a far year", "", []string{"plan", "--year", "12", "../../testdata/demo/plan-frog.json"}, exitBadInput, "--year"},
		{"plan into a file", "", []string{"plan", "--out", "main.go", "../../testdata/demo/plan-frog.json"}, exitBadInput, "--out main.go"},
		{"plan of nobody", `{"species":"xyzzyx","animals":[{"count":1,"stage":"adult"}]}`, []string{"plan", "-"}, exitNotOne, "/species"},
		{"plan of nothing", "", []string{"plan"}, exitBadInput, "name one file"},
		{"climate without a room", `{"enclosure":{}}`, []string{"climate", "-"}, exitBadInput, "/room"},
		{"records", "", []string{"records", "check"}, exitAnswered, "COVERAGE"},
		{"version", "", []string{"version"}, exitAnswered, sizing.EngineVersion},
		{"serve takes flags only", "", []string{"serve", "now"}, exitBadInput, "flags only"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			code, stdout, stderr := cli(tt.stdin, tt.args...)
			if code != tt.code {
				t.Errorf("exit %d, want %d\n%s%s", code, tt.code, stdout, stderr)
			}
			if !strings.Contains(stdout+stderr, tt.out) {
				t.Errorf("no %q in\n%s%s", tt.out, stdout, stderr)
			}
		})
	}
}

// TestBlankForm: the form names every field that can be measured, is taken as it
// is, and then nothing is known.
func TestBlankForm(t *testing.T) {
	code, form, stderr := cli("", "assess", "--blank", "beardie")
	if code != exitAnswered {
		t.Fatalf("exit %d: %s", code, stderr)
	}
	file := filepath.Join(t.TempDir(), "setup.json")
	if err := os.WriteFile(file, []byte(form), 0o600); err != nil {
		t.Fatal(err)
	}
	if code, stdout, stderr := cli("", "assess", file); code != exitCannotTell {
		t.Errorf("exit %d, want cannot tell\n%s%s", code, stdout, stderr)
	}
	var tree map[string]any
	if err := json.Unmarshal([]byte(form), &tree); err != nil {
		t.Fatal(err)
	}
	setup, ok := tree["setup"].(map[string]any)
	if !ok {
		t.Fatal("the form has no setup")
	}
	named(t, "setup", reflect.TypeFor[sizing.AssessmentQuestion](), setup)
}

// named checks that the form names every field of the setup's type, in depth.
func named(t *testing.T, at string, question reflect.Type, form map[string]any) {
	t.Helper()
	field, ok := question.FieldByName("Setup")
	if !ok {
		t.Fatal("no setup in the question")
	}
	var walk func(at string, of reflect.Type, form map[string]any)
	walk = func(at string, of reflect.Type, form map[string]any) {
		for f := range of.Fields() {
			name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
			value, there := form[name]
			if !there {
				t.Errorf("the form does not name %s.%s", at, name)
				continue
			}
			inner := f.Type
			if inner.Kind() == reflect.Pointer {
				inner = inner.Elem()
			}
			if sub, ok := value.(map[string]any); ok && inner.Kind() == reflect.Struct {
				walk(at+"."+name, inner, sub)
			}
		}
	}
	walk(at, field.Type, form)
}
