package main

import (
	"bytes"
	"context"
	"flag"
	"os"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

var update = flag.Bool("update", false, "write the answers of this program into README.md")

// TestREADME runs each "$ denwright" line of the README and compares what it
// prints with the answer printed there. Paths in the README are from the top.
func TestREADME(t *testing.T) {
	t.Chdir("../..")
	raw, err := os.ReadFile("README.md")
	if err != nil {
		t.Fatal(err)
	}
	const prompt = "    $ denwright "
	lines := strings.Split(string(raw), "\n")
	var out []string
	asked := 0
	for i := 0; i < len(lines); i++ {
		out = append(out, lines[i])
		command, ok := strings.CutPrefix(lines[i], prompt)
		if !ok {
			continue
		}
		asked++
		var printed []string
		for i+1 < len(lines) && (strings.HasPrefix(lines[i+1], "    ") || lines[i+1] == "" && i+2 < len(lines) && strings.HasPrefix(lines[i+2], "    ") && !strings.HasPrefix(lines[i+2], prompt)) {
			i++
			printed = append(printed, strings.TrimPrefix(lines[i], "    "))
		}
		var stdout, stderr bytes.Buffer
		run(context.Background(), strings.Fields(command), streams{strings.NewReader(""), &stdout, &stderr})
		if stderr.Len() > 0 {
			t.Errorf("%s: %s", command, &stderr)
		}
		got := strings.Split(strings.TrimRight(stdout.String(), "\n"), "\n")
		if *update {
			printed = got
		}
		if diff := cmp.Diff(printed, got); diff != "" {
			t.Errorf("%s: the README prints another answer; run go test ./cmd/denwright -run README -update and look at the change\n%s", command, diff)
		}
		for _, p := range printed {
			if p != "" {
				p = "    " + p
			}
			out = append(out, p)
		}
	}
	if asked < 2 {
		t.Errorf("%d questions in the README, want 2", asked)
	}
	if *update {
		if err := os.WriteFile("README.md", []byte(strings.Join(out, "\n")), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}
