package main

import (
	"bytes"
	"context"
	"os"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// TestCoverageReport keeps the report in the repository in step with the records.
func TestCoverageReport(t *testing.T) {
	const file = "../../care/data/COVERAGE.md"
	var stdout, stderr bytes.Buffer
	if code := run(context.Background(), []string{"records", "check", "--markdown"}, streams{strings.NewReader(""), &stdout, &stderr}); code != exitAnswered {
		t.Fatalf("exit %d: %s", code, &stderr)
	}
	if *update {
		if err := os.WriteFile(file, stdout.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	kept, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(kept), stdout.String()); diff != "" {
		t.Errorf("COVERAGE.md is out of date; run go test ./cmd/denwright -run Coverage -update\n%s", diff)
	}
}

// TestNoUnexplainedContradiction runs the check of every record.
func TestNoUnexplainedContradiction(t *testing.T) {
	var stdout, stderr bytes.Buffer
	if code := run(context.Background(), []string{"records", "check"}, streams{strings.NewReader(""), &stdout, &stderr}); code != exitAnswered {
		t.Errorf("exit %d: %s\n%s", code, &stderr, &stdout)
	}
}
