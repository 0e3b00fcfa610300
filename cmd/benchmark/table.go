package main

import (
	"bufio"
	"fmt"
	"os"
	"runtime"
	"strconv"
	"strings"
	"time"

	"denwright/care"
	"denwright/sizing"
)

// table gathers what was measured.
type table struct {
	machine string
	rows    []row
	notes   []string
}

// row is one figure, and the target it was held to where there is one.
type row struct{ what, measured, target, met string }

// figure adds what has no target.
func (t *table) figure(what, measured string) {
	t.rows = append(t.rows, row{what: what, measured: measured})
}

// atMost and atLeast add a figure with its target.
func (t *table) atMost(what string, x, target float64, unit string) {
	t.rows = append(t.rows, row{what, number(x) + unit, "≤ " + number(target) + unit, verdict(x <= target)})
}

func (t *table) atLeast(what string, x, target float64, unit string) {
	t.rows = append(t.rows, row{what, number(x) + unit, "≥ " + number(target) + unit, verdict(x >= target)})
}

// note says what a reader must know, and what was left out.
func (t *table) note(format string, args ...any) {
	t.notes = append(t.notes, fmt.Sprintf(format, args...))
}

func verdict(met bool) string {
	if met {
		return "yes"
	}
	return "**missed**"
}

// number writes three digits that count.
func number(x float64) string {
	switch {
	case x >= 100 || x == float64(int(x)):
		return strconv.FormatFloat(x, 'f', 0, 64)
	case x >= 10:
		return strconv.FormatFloat(x, 'f', 1, 64)
	}
	return strconv.FormatFloat(x, 'g', 3, 64)
}

// micro writes a time in µs or ms.
func micro(d time.Duration) string {
	if d >= 10*time.Millisecond {
		return number(float64(d)/1e6) + " ms"
	}
	return number(float64(d)/1e3) + " µs"
}

func (t *table) markdown() string {
	var b strings.Builder
	b.WriteString("# Measured\n\nMade by `go run ./cmd/benchmark`; not edited by hand. A target is the issue's; \"missed\" is said where it is.\n\n")
	b.WriteString(t.machine + "\n\n| What | Measured | Target | Met |\n|---|---|---|---|\n")
	for _, r := range t.rows {
		fmt.Fprintf(&b, "| %s | %s | %s | %s |\n", r.what, r.measured, r.target, r.met)
	}
	if len(t.notes) > 0 {
		b.WriteString("\n")
	}
	for _, n := range t.notes {
		b.WriteString("- " + n + "\n")
	}
	return b.String()
}

// describeMachine says on what was measured, and how busy it was before.
func describeMachine(c *care.Catalogue) string {
	out := fmt.Sprintf("Machine: %s, %d processors, %s of memory, %s; %s %s/%s. %s, engine %s. %s.", field("/proc/cpuinfo", "model name"), runtime.NumCPU(),
		memory(field("/proc/meminfo", "MemTotal")), kernel(), runtime.Version(), runtime.GOOS, runtime.GOARCH, upperFirst(c.String()), sizing.EngineVersion, time.Now().UTC().Format("2 January 2006"))
	if load := loadAverage(); load != "" {
		out += " Load averages when it began: " + load + "; the load generator shares the processors with what it measures."
	}
	return out
}

func upperFirst(s string) string { return strings.ToUpper(s[:1]) + s[1:] }

// field reads a value of a file of "name: value" lines; "unknown" where there is none.
func field(file, name string) string {
	f, err := os.Open(file)
	if err != nil {
		return "unknown"
	}
	defer f.Close()
	lines := bufio.NewScanner(f)
	for lines.Scan() {
		if k, v, ok := strings.Cut(lines.Text(), ":"); ok && strings.TrimSpace(k) == name {
			return strings.TrimSpace(v)
		}
	}
	return "unknown"
}

func memory(kB string) string {
	n, err := strconv.Atoi(strings.TrimSuffix(kB, " kB"))
	if err != nil {
		return "unknown size"
	}
	return fmt.Sprintf("%.0f GB", float64(n)/(1<<20))
}

func kernel() string {
	v, err := os.ReadFile("/proc/sys/kernel/osrelease")
	if err != nil {
		return runtime.GOOS
	}
	return "Linux " + strings.TrimSpace(string(v))
}

func loadAverage() string {
	v, err := os.ReadFile("/proc/loadavg")
	if err != nil {
		return ""
	}
	return strings.Join(strings.Fields(string(v))[:3], ", ")
}
