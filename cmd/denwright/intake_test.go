package main

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"denwright/care"
	"denwright/sizing"
	"denwright/sizing/score"

	"github.com/go-json-experiment/json"
)

// command runs one command as the program does, by its method.
func command(t *testing.T, run func(*program, context.Context, []string) error, stdin string, args ...string) (code int, stdout, stderr string) {
	t.Helper()
	c, err := care.Embedded()
	if err != nil {
		t.Fatal(err)
	}
	var out, errs bytes.Buffer
	p := &program{streams{strings.NewReader(stdin), &out, &errs}, c}
	code = p.exitCode(run(p, context.Background(), args))
	return code, out.String(), errs.String()
}

const (
	van  = "../../testdata/demo/van.csv"
	tank = "../../testdata/demo/donated-dragon-tank.json"
)

// TestVan: the invented day comes out whole: every lot has its place, and each kind of
// answer comes up.
func TestVan(t *testing.T) {
	code, out, stderr := command(t, (*program).intake, "", van)
	if code != exitAnswered || stderr != "" {
		t.Fatalf("exit %d: %s", code, stderr)
	}
	at := 0
	for lot := range 24 {
		i := strings.Index(out, fmt.Sprintf("\nHM-%02d (line %d)", lot+1, lot+2))
		if i < at {
			t.Errorf("lot %d is missing or out of order", lot+1)
		}
		at = i
	}
	for _, says := range []string{"24 enclosures looked at", "TOO SMALL", "GOOD AFTER CHANGES", "CANNOT TELL YET", "NOT ANSWERED", "What could live in it", "has no unit", "may be any of several species", "will be outgrown", "heated rock", "open to escape"} {
		if !strings.Contains(out, says) {
			t.Errorf("no %q in the report", says)
		}
	}
}

// TestIntakeResumes cuts the output of a run at every place within some lines, goes
// on, and has the output of the whole run.
func TestIntakeResumes(t *testing.T) {
	dir := t.TempDir()
	for _, name := range []string{"answers.csv", "answers.ndjson"} {
		whole := filepath.Join(dir, "whole-"+name)
		if code, _, stderr := command(t, (*program).intake, "", "--out", whole, van); code != exitAnswered || !strings.Contains(stderr, "19 rows answered, 5 reported") {
			t.Fatalf("exit %d: %s", code, stderr)
		}
		all, err := os.ReadFile(whole)
		if err != nil {
			t.Fatal(err)
		}
		for _, cut := range []int{0, 10, bytes.IndexByte(all, '\n') + 1, len(all) / 3, len(all) / 2, len(all) - 1, len(all)} {
			part := filepath.Join(dir, fmt.Sprintf("%d-%s", cut, name))
			if err := os.WriteFile(part, all[:cut], 0o600); err != nil {
				t.Fatal(err)
			}
			code, _, stderr := command(t, (*program).intake, "", "--out", part, "--resume", van)
			got, err := os.ReadFile(part)
			if err != nil {
				t.Fatal(err)
			}
			if code != exitAnswered || !bytes.Equal(got, all) {
				t.Errorf("%s cut at %d: exit %d, %d bytes of %d: %s", name, cut, code, len(got), len(all), stderr)
			}
		}
	}
}

// TestIntakeRefuses: what would lose or mix up work is refused.
func TestIntakeRefuses(t *testing.T) {
	dir := t.TempDir()
	there := filepath.Join(dir, "there.csv")
	if err := os.WriteFile(there, []byte("a,b\n1,2\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct {
		args []string
		says string
	}{
		{[]string{"--out", there, van}, "is there already"},
		{[]string{"--out", there, "--resume", van}, "not that of an answer"},
		{[]string{"--resume", van}, "needs --out"},
		{[]string{"--out", filepath.Join(dir, "r.txt"), "--resume", van}, "can't be resumed"},
		{[]string{"--to", "pdf", van}, "use one of"},
		{[]string{"nowhere.csv"}, "no file"},
		{[]string{tank, van}, "name one file"},
		{[]string{"--jurisdiction", "XX", van}, "no rules are held"},
		{[]string{there}, "names none of the columns"},
		{[]string{"--matches", "0", van}, "at least 1"},
	} {
		code, stdout, stderr := command(t, (*program).intake, "", tt.args...)
		if code != exitBadInput || !strings.Contains(stderr, tt.says) {
			t.Errorf("%q: exit %d\n%s%s", tt.args, code, stdout, stderr)
		}
	}
	if raw, err := os.ReadFile(there); err != nil || string(raw) != "a,b\n1,2\n" {
		t.Errorf("the file that was there is now %q, %v", raw, err)
	}
}

// TestHandoverIsOnePage: for every species, in an empty, a poor and a measured setup,
// the sheet is at most 85 lines of 110 characters: A4, upright, in 8-point type.
func TestHandoverIsOnePage(t *testing.T) {
	c, err := care.Embedded()
	if err != nil {
		t.Fatal(err)
	}
	raw, err := os.ReadFile(tank)
	if err != nil {
		t.Fatal(err)
	}
	var q sizing.AssessmentQuestion
	if err := json.Unmarshal(raw, &q); err != nil {
		t.Fatal(err)
	}
	poor := q.Setup
	poor.HeatSources = []score.HeatSource{{Kind: "heated-rock"}, {Kind: "halogen-lamp", Place: "inside", Guarded: new(false), Control: "none"}, {Kind: "heat-mat", Place: "under-floor", Control: "none"}}
	poor.Access, poor.Stand, poor.OtherSpecies = score.Access{Lid: new(false), Lock: new(false)}, score.Stand{Level: new(false), Stable: new(false)}, []string{"python-regius"}
	longest, widest := 0, 0
	for _, s := range c.Species() {
		for _, setup := range []score.Setup{{}, poor, q.Setup} {
			for _, stage := range []care.Stage{care.Hatchling, care.Adult} {
				h, err := sizing.HandOver(c, sizing.AssessmentQuestion{Setup: setup, Question: sizing.Question{Species: s.ID, Jurisdiction: "DE", Animals: []sizing.Animal{{Count: 2, Stage: stage, Sex: "female"}}}})
				if err != nil {
					t.Fatal(s.ID, err)
				}
				var b bytes.Buffer
				g := &page{w: &b}
				g.handover(h)
				if g.err != nil {
					t.Fatal(g.err)
				}
				lines := strings.Split(strings.TrimRight(b.String(), "\n"), "\n")
				wide := 0
				for _, l := range lines {
					wide = max(wide, len([]rune(l)))
				}
				longest, widest = max(longest, len(lines)), max(widest, wide)
				if len(lines) > 85 || wide > 110 {
					t.Errorf("%s, %s: %d lines of %d", s.ID, stage, len(lines), wide)
				}
			}
		}
	}
	t.Logf("at most %d lines of %d characters", longest, widest)
}

// TestMatchingCommands runs each of them the way a person would get it right and wrong.
func TestMatchingCommands(t *testing.T) {
	company := `{"members":[{"species":"testudo-hermanni","animals":[{"count":2,"stage":"adult","sex":"male"}]},{"species":"beardie","animals":[{"count":1,"stage":"adult"}]}]}`
	for _, tt := range []struct {
		name  string
		run   func(*program, context.Context, []string) error
		stdin string
		args  []string
		code  int
		says  string
	}{
		{"match a file", (*program).match, "", []string{"--limit", "3", tank}, exitAnswered, "species fit as it is"},
		{"match a size", (*program).match, "", []string{"--length", "48in", "--width", "60cm", "--height", "60cm", "--group", "snake", "--without", "venomous,dangerous"}, exitAnswered, "left out"},
		{"match as JSON", (*program).match, "", []string{"--json", "--units", "imperial", "--limit", "1", tank}, exitAnswered, `"measure_first"`},
		{"match nothing", (*program).match, "", nil, exitBadInput, "name one file, or give a size"},
		{"match a group not covered", (*program).match, "", []string{"--group", "fish", tank}, exitBadInput, "/groups/0"},
		{"match what is no setup", (*program).match, `{"species":"axolotl","animals":[{"count":1,"stage":"adult"}],"setup":{"colour":"red"}}`, []string{"-"}, exitBadInput, "colour"},
		{"changes", (*program).changes, "", []string{"--room", "20C", tank}, exitAnswered, "Reached:"},
		{"changes to a score", (*program).changes, "", []string{"--score", "0.9", "--json", tank}, exitAnswered, `"sets_tried"`},
		{"changes past reason", (*program).changes, "", []string{"--score", "9", tank}, exitBadInput, "/aim/score"},
		{"outgrow", (*program).outgrow, "", []string{tank}, exitAnswered, "NEXT SIZE TO BUY"},
		{"company", (*program).company, company, []string{"-"}, exitAnswered, "Together: DO NOT"},
		{"company that is no question", (*program).company, `{"friends":[]}`, []string{"-"}, exitBadInput, "friends"},
		{"compare species", (*program).compare, "", []string{"--species", "eublepharis-macularius,pogona-vitticeps", tank}, exitAnswered, "inland bearded dragon"},
		{"compare a name borne by several", (*program).compare, "", []string{"--species", "boa,axolotl", tank}, exitBadInput, "/keepings/0/species"},
		{"compare one", (*program).compare, "", []string{tank}, exitBadInput, "nothing to compare"},
		{"compare two", (*program).compare, "", []string{tank, tank}, exitAnswered, "donated-dragon-tank"},
		{"hand over", (*program).handover, "", []string{tank}, exitAnswered, "HAND-OVER SHEET"},
		{"hand over as JSON", (*program).handover, "", []string{"--json", tank}, exitAnswered, `"missing"`},
		{"columns", (*program).intake, "", []string{"--columns"}, exitAnswered, "substrate_depth"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			code, stdout, stderr := command(t, tt.run, tt.stdin, tt.args...)
			if code != tt.code || !strings.Contains(stdout+stderr, tt.says) {
				t.Errorf("exit %d, want %d with %q\n%s%s", code, tt.code, tt.says, stdout, stderr)
			}
		})
	}
}
