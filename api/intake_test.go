package api

import (
	"bufio"
	"bytes"
	"context"
	"encoding/csv"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"strings"
	"testing"
	"time"

	"denwright/care"
)

// served starts a server on loopback and gives its address.
func served(t *testing.T, cfg Config) string {
	t.Helper()
	c, err := care.Embedded()
	if err != nil {
		t.Fatal(err)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- New(c, slog.New(slog.DiscardHandler)).Serve(ctx, l, cfg) }()
	t.Cleanup(func() {
		stop()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	})
	return "http://" + l.Addr().String()
}

func post(t *testing.T, target, kind string, body io.Reader) *http.Response {
	t.Helper()
	r, err := http.NewRequestWithContext(t.Context(), http.MethodPost, target, body)
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Content-Type", kind)
	w, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { w.Body.Close() })
	return w
}

// The invented van of the demo is answered row by row, in the order of its rows.
func TestIntakeOfTheDemo(t *testing.T) {
	base := served(t, Config{})
	van, err := os.ReadFile("../testdata/demo/van.csv")
	if err != nil {
		t.Fatal(err)
	}
	w := post(t, base+"/v1/intakes", "text/csv", bytes.NewReader(van))
	if w.StatusCode != http.StatusOK || !strings.HasPrefix(w.Header.Get("Content-Type"), "text/csv") {
		t.Fatalf("%s, %s", w.Status, w.Header.Get("Content-Type"))
	}
	rows, err := csv.NewReader(w.Body).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) != 25 {
		t.Errorf("%d lines, want a header and 24 rows", len(rows))
	}
	for i, r := range rows[1:] {
		if want := fmt.Sprintf("HM-%02d", i+1); !strings.Contains(strings.Join(r, ","), want) {
			t.Errorf("row %d is %q, want %s", i+1, r[0], want)
		}
	}
	report := post(t, base+"/v1/intakes?output=report", "text/csv", bytes.NewReader(van))
	text, err := io.ReadAll(report.Body)
	if err != nil || !strings.Contains(string(text), "HM-24") {
		t.Errorf("report: %v, %d bytes without the last lot", err, len(text))
	}
}

// Rows come back while others are still being sent: the service holds none back.
func TestIntakeStreams(t *testing.T) {
	base := served(t, Config{})
	in, out := io.Pipe()
	r, err := http.NewRequestWithContext(t.Context(), http.MethodPost, base+"/v1/intakes", in)
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Content-Type", "application/x-ndjson")
	go func() {
		for i := range 400 {
			fmt.Fprintf(out, `{"id":"%d","species":"beardie","length":"120 cm","width":"60 cm","height":"60 cm"}`+"\n", i)
		}
		time.Sleep(50 * time.Millisecond)
		fmt.Fprintln(out, `{"id":"last","species":"no such animal"}`)
		out.Close()
	}()
	w, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer w.Body.Close()
	lines := 0
	last := ""
	for s := bufio.NewScanner(w.Body); s.Scan(); lines++ {
		last = s.Text()
	}
	if lines != 401 || !strings.Contains(last, `"problems"`) {
		t.Errorf("%d lines, the last %s", lines, last)
	}
}

// What keeps an intake from beginning is a problem document that says so.
func TestIntakeRefuses(t *testing.T) {
	base := served(t, Config{MaxIntakeBytes: 2000})
	tests := []struct {
		name, query, kind, body string
		status                  int
		says                    string
	}{
		{"no known column", "", "text/csv", "colour,smell\nred,none\n", 422, "columns"},
		{"another media type", "", "application/pdf", "x", 415, "text/csv"},
		{"no such output", "?output=pdf", "text/csv", "id\n1\n", 400, "?output"},
		{"no such place", "?jurisdiction=XX", "text/csv", "id\n1\n", 400, "?jurisdiction"},
		{"too many matches", "?matches=999", "text/csv", "id\n1\n", 400, "?matches"},
		{"a header of over 2000 bytes", "", "text/csv", strings.Repeat("x", 4000), 413, "2000"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			w := post(t, base+"/v1/intakes"+tt.query, tt.kind, strings.NewReader(tt.body))
			body, err := io.ReadAll(w.Body)
			if err != nil {
				t.Fatal(err)
			}
			if w.StatusCode != tt.status || !strings.Contains(w.Header.Get("Content-Type"), "problem+json") || !strings.Contains(string(body), tt.says) {
				t.Errorf("%s: %s", w.Status, body)
			}
		})
	}
}
