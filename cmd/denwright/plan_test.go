package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"encoding/xml"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	ics "github.com/arran4/golang-ical"
)

var demoPlans = []string{"digging-lizard", "tree-lizard", "heavy-snake", "tortoise", "frog"}

// The worked plans are written whole, every file can be read, and three sheets of each
// are those in testdata/plans. -update writes them there.
func TestPlansAreWritten(t *testing.T) {
	for _, name := range demoPlans {
		t.Run(name, func(t *testing.T) {
			folder := filepath.Join(t.TempDir(), "new", name)
			code, stdout, stderr := cli("", "plan", "--year", "2026", "--out", folder, "../../testdata/demo/plan-"+name+".json")
			if code != exitAnswered || stderr != "" || !strings.Contains(stdout, "CEILING OPENINGS, IN MM") || !strings.Contains(stdout, "program.ics") {
				t.Fatalf("exit %d\n%s%s", code, stdout, stderr)
			}
			if strings.Contains(stdout, "Look again") {
				t.Error("a worked plan is warned of")
			}
			file := func(name string) []byte {
				t.Helper()
				raw, err := os.ReadFile(filepath.Join(folder, name))
				if err != nil {
					t.Fatal(err)
				}
				return raw
			}
			for _, sheet := range []string{"floor", "ceiling-from-above", "ceiling-from-below", "section", "walls"} {
				for d := xml.NewDecoder(bytes.NewReader(file(sheet + ".svg"))); ; {
					if _, err := d.Token(); errors.Is(err, io.EOF) {
						break
					} else if err != nil {
						t.Fatalf("%s: %v", sheet, err)
					}
				}
			}
			for _, list := range []string{"cuts", "materials", "program"} {
				if rows, err := csv.NewReader(bytes.NewReader(file(list + ".csv"))).ReadAll(); err != nil || len(rows) < 5 {
					t.Errorf("%s: %d rows, %v", list, len(rows), err)
				}
			}
			if cal, err := ics.ParseCalendar(bytes.NewReader(file("program.ics"))); err != nil || len(cal.Events()) < 8 {
				t.Errorf("calendar: %v, %v", cal, err)
			}
			for sheet, short := range map[string]string{"floor": "floor", "ceiling-from-above": "ceiling", "section": "section"} {
				kept := "../../testdata/plans/" + name + "-" + short + ".svg"
				got := file(sheet + ".svg")
				if *update {
					if err := os.WriteFile(kept, got, 0o644); err != nil {
						t.Fatal(err)
					}
				}
				want, err := os.ReadFile(kept)
				if err != nil {
					t.Fatal(err)
				}
				if !bytes.Equal(got, want) {
					t.Errorf("%s differs; run go test ./cmd/denwright -run Plans -update and look at it", kept)
				}
			}
		})
	}
}

// What does not fit is told with what frees it, and nothing is written.
func TestPlanThatDoesNotFit(t *testing.T) {
	question := `{"species":"pogona-vitticeps","animals":[{"count":1,"stage":"adult"}],"equipment":[{"kind":"basking_lamp","near":{"value":30,"unit":"cm"}}],
		"enclosure":{"length":{"value":120,"unit":"cm"},"width":{"value":60,"unit":"cm"},"height":{"value":45,"unit":"cm"}}}`
	folder := filepath.Join(t.TempDir(), "plan")
	code, stdout, stderr := cli(question, "plan", "--out", folder, "-")
	if code != exitAnswered || !strings.Contains(stdout, "NO PLAN: ") || !strings.Contains(stdout, "ALONE FREES IT") || !strings.Contains(stderr, "nothing is written") {
		t.Errorf("exit %d\n%s%s", code, stdout, stderr)
	}
	if _, err := os.Stat(folder); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("the folder: %v", err)
	}
}

// JSON is that of the API; units and paper reach the drawings.
func TestPlanUnits(t *testing.T) {
	folder := t.TempDir()
	demo := "../../testdata/demo/plan-frog.json"
	code, stdout, stderr := cli("", "plan", "--json", "--units", "imperial", "--paper", "letter", "--out", folder, demo)
	var a struct {
		Plan *struct {
			Length struct{ Unit string } `json:"length"`
		} `json:"plan"`
	}
	if err := json.Unmarshal([]byte(stdout), &a); code != exitAnswered || err != nil || a.Plan == nil || a.Plan.Length.Unit != "in" {
		t.Fatalf("exit %d, %v\n%.300s%s", code, err, stdout, stderr)
	}
	svg, err := os.ReadFile(filepath.Join(folder, "floor.svg"))
	if err != nil || !bytes.Contains(svg, []byte(`width="279.4mm"`)) || !bytes.Contains(svg, []byte("Dimensions in in.")) {
		t.Errorf("%v %.300s", err, svg)
	}
	if _, stdout, _ := cli("", "plan", "--units", "imperial", demo); !strings.Contains(stdout, "CEILING OPENINGS, IN IN:") {
		t.Errorf("no inches in\n%s", stdout)
	}
}
