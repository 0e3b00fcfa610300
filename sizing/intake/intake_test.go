package intake_test

import (
	"bytes"
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"runtime"
	"strings"
	"testing"
	"time"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing"
	"denwright/sizing/intake"
	"denwright/sizing/score"

	"github.com/go-json-experiment/json"
	"github.com/google/go-cmp/cmp"
	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"
)

func catalogue(t testing.TB) *care.Catalogue {
	t.Helper()
	c, err := care.Embedded()
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func rows(t testing.TB, in string) ([]*intake.Row, []string) {
	t.Helper()
	r, err := intake.NewReader(strings.NewReader(in), intake.Auto)
	if err != nil {
		t.Fatal(err)
	}
	var out []*intake.Row
	for {
		row, err := r.Next()
		if err == io.EOF {
			return out, r.Remarks
		}
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, row)
	}
}

// TestCells reads one cell each, as people write them.
func TestCells(t *testing.T) {
	cm := func(x float64) func(*intake.Row) (any, any) {
		return func(r *intake.Row) (any, any) {
			if r.Setup.Inside == nil || r.Setup.Inside.Length == nil {
				return nil, x
			}
			return math.Round(r.Setup.Inside.Length.Centimetres()*1e6) / 1e6, x
		}
	}
	hot := func(x float64) func(*intake.Row) (any, any) {
		return func(r *intake.Row) (any, any) {
			if r.Setup.Temperatures.HotSpot == nil {
				return nil, x
			}
			return math.Round(float64(*r.Setup.Temperatures.HotSpot)*1e6) / 1e6, x
		}
	}
	heat := func(want ...score.HeatSource) func(*intake.Row) (any, any) {
		return func(r *intake.Row) (any, any) { return r.Setup.HeatSources, want }
	}
	unknown := func(r *intake.Row) (any, any) { return r.Setup.Inside == nil, true }
	for _, tt := range []struct {
		header, cell string
		want         func(*intake.Row) (any, any)
		fault        string
	}{
		{"length", "120 cm", cm(120), ""},
		{"length", "1.2m", cm(120), ""},
		{"length", "1,2 m", cm(120), ""},
		{"length", "1200mm", cm(120), ""},
		{"length", `48"`, cm(121.92), ""},
		{"length", "48 inches", cm(121.92), ""},
		{"length", `4'`, cm(121.92), ""},
		{"length", `4' 2"`, cm(127), ""},
		{"length", "4ft 2in", cm(127), ""},
		{"length", `47 1/2"`, cm(120.65), ""},
		{"length", "½ mile", nil, "does not begin with a number"},
		{"length", "120", nil, "no unit"},
		{"Length (in)", "48", cm(121.92), ""},
		{"LENGTH_CM", "120,5", cm(120.5), ""},
		{"length in inches", "48", cm(121.92), ""},
		{"length (in)", "120 cm", cm(120), ""},
		{"length (cm)", "1.234,5", cm(1234.5), ""},
		{"length (cm)", "1,234.5", cm(1234.5), ""},
		{"length (cm)", "1,200", nil, "may be 1200 or 1.200"},
		{"length (cm)", "1.2.3", nil, "no number"},
		{"length (cm)", "1e3", nil, "unit \"e3\""},
		{"length (cm)", "Inf", nil, "does not begin"},
		{"length (cm)", "-40", cm(-40), ""}, // refused when it is asked
		{"length", "40 °C", nil, "not one of a length"},
		{"length", "40 parsecs", nil, "not one of a length"},
		{"length (cm)", "30-40", nil, "no number"},
		{"length (cm)", "~120", cm(120), ""},
		{"length", "ca. 120 cm", cm(120), ""},
		{"length", "?", unknown, ""},
		{"length", "Unknown", unknown, ""},
		{"length", "n/k", unknown, ""},
		{"size", "120 x 60 x 50 cm", cm(120), ""},
		{"Dims", `48" × 24" × 18"`, cm(121.92), ""},
		{"size (in)", "48x24x18", cm(121.92), ""},
		{"size", "4ft by 2ft by 2ft", cm(121.92), ""},
		{"size", "120 x 60", nil, "no unit"},
		{"size", "about a metre", nil, "is not length x width"},
		{"hot_spot", "104F", hot(40), ""},
		{"Hot spot (°C)", "40", hot(40), ""},
		{"hot_spot_F", "104", hot(40), ""},
		{"hot spot", "40", nil, "no unit"},
		{"hot spot", "40 degC", hot(40), ""},
		{"humidity", "0.6", nil, "share of one"},
		{"humidity", "60", func(r *intake.Row) (any, any) { return *r.Setup.Humidity.Day, quantity.Percent(60) }, ""},
		{"lid", "maybe", nil, "neither yes nor no"},
		{"lid", "Y", func(r *intake.Row) (any, any) { return *r.Setup.Access.Lid, true }, ""},
		{"heat", "none", heat([]score.HeatSource{}...), ""},
		{"heat", "halogen 75W inside guarded stat probe-ok gap 30 cm + mat 20 W under no-stat", heat(
			score.HeatSource{Kind: "halogen-lamp", Power: new(quantity.Power(75)), Place: "inside", Guarded: new(true), Control: "thermostat", ProbeSenses: new(true), Gap: new(quantity.Centimetres(30))},
			score.HeatSource{Kind: "heat-mat", Power: new(quantity.Power(20)), Place: "under-floor", Control: "none"}), ""},
		{"heat", "heat rock", heat(score.HeatSource{Kind: "heated-rock"}), ""},
		{"heat", "ceramic emitter 100w timer only", heat(score.HeatSource{Kind: "ceramic-emitter", Power: new(quantity.Power(100)), Control: "timer-only"}), ""},
		{"heat", "a brick 75W", nil, "not a word for a heat source"},
		{"heat", "75W inside", nil, "what kind of heat source"},
		{"age", "2 years", func(r *intake.Row) (any, any) { return len(r.Animals), 0 }, ""},
		{"count", "two", nil, "no whole number"},
		{"material", "cardboard", nil, "is not one of glass"},
	} {
		t.Run(tt.header+" "+tt.cell, func(t *testing.T) {
			got, _ := rows(t, "note;"+tt.header+"\nx;"+quoted(tt.cell)+"\n")
			if len(got) != 1 {
				t.Fatalf("%d rows", len(got))
			}
			r := got[0]
			if tt.fault != "" {
				if len(r.Faults) != 1 || !strings.Contains(r.Faults[0].Reason, tt.fault) || r.Faults[0].Line != 2 || r.Faults[0].Column != 2 || r.Faults[0].Name != tt.header || r.Faults[0].Remedy == "" {
					t.Errorf("faults %v, want %q at line 2, column 2", r.Faults, tt.fault)
				}
				return
			}
			if len(r.Faults) > 0 {
				t.Fatal(r.Faults)
			}
			if got, want := tt.want(r); !cmp.Equal(got, want) {
				t.Error(cmp.Diff(want, got))
			}
		})
	}
}

func quoted(s string) string {
	if strings.Contains(s, `"`) {
		return `"` + strings.ReplaceAll(s, `"`, `""`) + `"`
	}
	return s
}

// TestColumnsAreDistinct: no header means two columns, and each name finds its own.
func TestColumnsAreDistinct(t *testing.T) {
	seen := map[string]string{}
	for _, c := range intake.Columns() {
		if c.What == "" {
			t.Errorf("%s says nothing of itself", c.Name)
		}
		for _, h := range append([]string{strings.ReplaceAll(c.Name, "_", "")}, c.Also...) {
			if o, twice := seen[h]; twice {
				t.Errorf("%q means %s and %s", h, o, c.Name)
			}
			if seen[h] = c.Name; strings.Trim(h, "abcdefghijklmnopqrstuvwxyz0123456789") != "" {
				t.Errorf("%q of %s can't be found", h, c.Name)
			}
		}
		for _, h := range []string{c.Name, strings.ToUpper(c.Name), " " + strings.ReplaceAll(c.Name, "_", " ") + " "} {
			_, remarks := rows(t, h+",\n")
			if len(remarks) != 1 || !strings.Contains(remarks[0], "no header") {
				t.Errorf("header %q is not taken for %s: %v", h, c.Name, remarks)
			}
		}
	}
}

const good = "id,species,size (cm),lid,note\n1,ball python,120x60x60,y,fine\n"

// TestBadInput: whatever is wrong with a row is reported with its place and stops
// nothing else.
func TestBadInput(t *testing.T) {
	long := strings.Repeat("x", 10<<20)
	for _, tt := range []struct {
		name, in string
		want     []string // for each row: "" when good, else part of its first fault
		remark   string   // about the file
	}{
		{"nothing", "", nil, ""},
		{"a header alone", "id,size\n", nil, ""},
		{"good", good, []string{""}, ""},
		{"no end of line", strings.TrimSuffix(good, "\n"), []string{""}, ""},
		{"CR LF", strings.ReplaceAll(good, "\n", "\r\n"), []string{""}, ""},
		{"CR", strings.ReplaceAll(good, "\n", "\r"), []string{""}, ""},
		{"semicolons", strings.ReplaceAll(good, ",", ";"), []string{""}, ""},
		{"tabs", strings.ReplaceAll(good, ",", "\t"), []string{""}, ""},
		{"UTF-8 with a mark", "\ufeff" + good, []string{""}, ""},
		{"blank lines and empty rows", "\n\n" + good + "\n,,,,\n" + "2,boa imperator,1x1x1,n,\n", []string{"", ""}, ""},
		{"a cell over two lines", "id,note,lid\n1,\"two\nlines\",y\n2,,n\n", []string{"", ""}, ""},
		{"a quote never closed", "id,note,lid\n1,\"oops,y\n2,fine,n\n3,fine,y\n", []string{"line 2, column 2: a quote is opened", "", ""}, ""},
		{"text after a quote", "id,note,lid\n1,\"big\" tank,y\n2,,n\n", []string{"line 2, column 2 (note): text stands after", ""}, ""},
		{"too many cells", "id,lid\n1,y,z\n2,n\n", []string{"line 2, column 3: the row has more cells", ""}, ""},
		{"too few cells", "id,lid,lock\n1\n2,n\n", []string{"", ""}, ""},
		{"a missing header", "id,,lid\n1,z,y\n", []string{""}, "column 2 has no header"},
		{"an unknown header", "id,colour,lid\n1,red,y\n", []string{""}, `"colour", is not known`},
		{"doubled headers that agree", "id,lid,closed\n1,y,y\n2,,n\n", []string{"", ""}, "columns 2 and 3 are both lid"},
		{"doubled headers that differ", "id,lid,closed\n1,y,n\n2,y,\n", []string{"line 2, column 3 (closed): \"n\", yet another column", ""}, "columns 2 and 3 are both lid"},
		{"a line of 10 MB", "id,note,lid\n1," + long + ",y\n2,,n\n", []string{"line 2: is longer than", ""}, ""},
		{"a quote before 10 MB", "id,note,lid\n1,\"" + long + ",y\n2,,n\n", []string{"line 2: is longer than", ""}, ""},
		{"a NUL", "id,lid\n1\x00,y\n2,n\n", []string{"line 2: holds a NUL", ""}, ""},
		{"an impossible unit", "id,size\n1,120x60x60 kg\n2,\n", []string{"line 2, column 2 (size): unit \"kg\"", ""}, ""},
		{"a second cell in the row", "id,size,hot_spot,lid\n1,1x1x1 m,40,perhaps\n", []string{"line 2, column 3 (hot_spot)"}, ""},
		{"two sizes that differ", "size,length\n1x1x1 m,1 m\n1x1x1 m,2 m\n", []string{"", "line 3, column 2 (length)"}, ""},
		{"NDJSON", "{\"id\":\"1\",\"setup\":{}}\n{\"id\":\"2\",\"setup\":{\"inside\":null}}\n", []string{"", ""}, ""},
		{"bad NDJSON", "{\"id\":\"1\"\n{\"id\":\"2\"}\n[]\n{\"colour\":1}\n{\"id\":\"3\",\"setup\":{\"substrate\":{\"depth\":{\"value\":3,\"unit\":\"kg\"}}}}\n{}\n",
			[]string{"is not JSON", "", "line 3", "line 4, column", "(/setup/substrate/depth): unit \"kg\"", ""}, ""},
		{"a line of 10 MB of NDJSON", "{\"id\":\"1\"}\n{\"note\":\"" + long + "\"}\n{\"id\":\"3\"}\n", []string{"", "line 2: is longer than", ""}, ""},
	} {
		t.Run(tt.name, func(t *testing.T) {
			got, remarks := rows(t, tt.in)
			if len(got) != len(tt.want) {
				t.Fatalf("%d rows, want %d", len(got), len(tt.want))
			}
			for i, r := range got {
				if r.Number != i+1 {
					t.Errorf("row %d is numbered %d", i+1, r.Number)
				}
				switch {
				case tt.want[i] == "" && len(r.Faults) > 0:
					t.Errorf("row %d: %v", i+1, r.Faults)
				case tt.want[i] != "" && (len(r.Faults) == 0 || !strings.Contains(r.Faults[0].String(), tt.want[i])):
					t.Errorf("row %d: %v, want %q", i+1, r.Faults, tt.want[i])
				}
			}
			if !strings.Contains(strings.Join(remarks, "\n"), tt.remark) || tt.remark == "" && len(remarks) > 0 {
				t.Errorf("remarks %q, want %q", remarks, tt.remark)
			}
		})
	}
	for _, in := range []string{"a,b,c\n1,2,3\n", long, "\x00\x00\x00", "\xff\xfe"} {
		_, err := intake.NewReader(strings.NewReader(in), intake.Auto)
		if !errors.Is(err, intake.ErrNoHeader) && in != "\xff\xfe" || in == "\xff\xfe" && err != nil {
			t.Errorf("%.5q: %v", in, err)
		}
	}
}

// TestEncodings: the same row in UTF-8, UTF-16 of either order and Windows-1252.
func TestEncodings(t *testing.T) {
	text := "id,note,hot_spot\n1,Grüße aus Ærø – 5°,40 °C\n"
	encode := func(s string, err error) string {
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	for name, in := range map[string]string{
		"UTF-8":            text,
		"UTF-16 LE":        encode(unicode.UTF16(unicode.LittleEndian, unicode.UseBOM).NewEncoder().String(text)),
		"UTF-16 BE":        encode(unicode.UTF16(unicode.BigEndian, unicode.UseBOM).NewEncoder().String(text)),
		"Windows-1252":     encode(charmap.Windows1252.NewEncoder().String(text)),
		"mixed, line wise": "id,note,hot_spot\n" + encode(charmap.Windows1252.NewEncoder().String("1,Grüße aus Ærø – 5°,40 °C\n")),
	} {
		got, _ := rows(t, in)
		if len(got) != 1 || len(got[0].Faults) > 0 || got[0].Note != "Grüße aus Ærø – 5°" || *got[0].Setup.Temperatures.HotSpot != 40 {
			t.Errorf("%s: %+v", name, got)
			continue
		}
		if flagged := len(got[0].Remarks) == 1 && strings.Contains(got[0].Remarks[0], "Windows-1252"); flagged != (name == "Windows-1252" || name == "mixed, line wise") {
			t.Errorf("%s: %q", name, got[0].Remarks)
		}
	}
}

func run(t testing.TB, in string, o intake.Options) (string, intake.Summary) {
	t.Helper()
	var out bytes.Buffer
	s, err := intake.Run(context.Background(), catalogue(t), strings.NewReader(in), &out, o)
	if err != nil {
		t.Fatal(err)
	}
	return out.String(), s
}

const mixedRows = "id;species;stage;size;hot spot;heat;lid;lock;note\n" +
	"1;ball python;adult;120x60x60 cm;32 C;mat 20W under no-stat;y;n;=HYPERLINK(\"x\")\n" +
	"2;;;48x24x24 in;;;;;+1\n" +
	"3;no such beast;;1x1x1 m;;;;;-1\n" +
	"4;boa;;1x1x1 m;;;;;@SUM(A1)\n" +
	"5;testudo-hermanni;hatchling;100x50x50 cm;;none;y;y;\tnot a formula\n" +
	"6;axolotl;adult;-1x1x1 m;;;;;  =1+1\n" +
	"7;axolotl;adult;80x40x40 cm;400 F;;;;ends, \"quoted\"\n"

// TestAnswers: the answers come in order, say what Assess and Match say, and repeat no
// formula unescaped.
func TestAnswers(t *testing.T) {
	c := catalogue(t)
	out, sum := run(t, mixedRows, intake.Options{Output: intake.ToNDJSON, Workers: 3})
	if sum.Rows != 7 || sum.Bad != 4 || sum.Matched != 1 {
		t.Errorf("%+v", sum)
	}
	var lines []intake.Line
	for _, text := range strings.Split(strings.TrimSpace(out), "\n") {
		var l intake.Line
		if err := json.Unmarshal([]byte(text), &l); err != nil {
			t.Fatal(err)
		}
		lines = append(lines, l)
	}
	for i, l := range lines {
		if l.Row != i+1 || l.Line != i+2 || l.ID != fmt.Sprint(i+1) {
			t.Errorf("row %d comes as %+v", i+1, l)
		}
	}
	read, _ := rows(t, mixedRows)
	a, err := sizing.Assess(c, sizing.AssessmentQuestion{Setup: read[0].Setup, Question: sizing.Question{Species: "python-regius", Animals: read[0].Animals}})
	if err != nil {
		t.Fatal(err)
	}
	if l := lines[0]; l.Verdict != a.Verdict || math.Abs(l.Before.Worst-a.BeforeHazards.Worst) > 1e-4 || len(l.Hazards) == 0 || l.Species != "python-regius" {
		t.Errorf("%+v, assess says %s %v", l, a.Verdict, a.BeforeHazards)
	}
	m, err := sizing.Match(c, sizing.MatchQuestion{Setup: read[1].Setup, Empty: true}) // the row states no furnishing
	if err != nil {
		t.Fatal(err)
	}
	if l := lines[1]; *l.Counts != m.Counts || len(l.Matches) != 5 || l.Matches[0].Species != m.Species[0].Species.ID {
		t.Errorf("%+v", l)
	}
	for i, want := range map[int]string{2: "line 4, column 2 (species): no species", 3: "may be any of several", 5: "line 7, column 4 (size): must be above zero", 6: "line 8, column 5 (hot spot): is 204 °C"} {
		if len(lines[i].Problems) == 0 || !strings.Contains(lines[i].Problems[0].String(), want) {
			t.Errorf("row %d: %v, want %q", i+1, lines[i].Problems, want)
		}
	}
	if lines[3].Problems[0].Remedy == "" || !strings.Contains(lines[3].Problems[0].Remedy, "boa-imperator") {
		t.Errorf("no candidates: %v", lines[3].Problems)
	}
	if !strings.HasPrefix(lines[4].Outgrown, "will be outgrown") {
		t.Errorf("hatchling: %q", lines[4].Outgrown)
	}

	table, _ := run(t, mixedRows, intake.Options{Output: intake.ToCSV})
	records, err := csv.NewReader(strings.NewReader(table)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(records) != 8 || strings.Join(records[0], ",") != intake.HeadCSV() {
		t.Fatalf("%d records, head %q", len(records), records[0])
	}
	for i, r := range records[1:] {
		for j, cell := range r {
			if trimmed := strings.TrimSpace(cell); trimmed != "" && strings.ContainsRune("=+-@", rune(trimmed[0])) {
				t.Errorf("row %d, %s: %q would be taken for a formula", i+1, records[0][j], cell)
			}
		}
		if r[6] != string(lines[i].Verdict) {
			t.Errorf("row %d: CSV says %q, NDJSON %q", i+1, r[6], lines[i].Verdict)
		}
	}
	if note := records[1][len(records[1])-1]; note != `'=HYPERLINK("x")` {
		t.Errorf("note %q", note)
	}

	report, _ := run(t, mixedRows, intake.Options{Output: intake.ToReport, Title: "Van of Tuesday"})
	for _, want := range []string{"Van of Tuesday\n==============\n", "TOO SMALL", "NOT ANSWERED", "could live in it", "The day", "7 enclosures looked at", "licensed electrician"} {
		if !strings.Contains(report, want) {
			t.Errorf("no %q in the report\n%s", want, report)
		}
	}
	for _, l := range strings.Split(report, "\n") {
		if len([]rune(l)) > 78 && !strings.Contains(l, "catalogue") {
			t.Errorf("line of %d: %q", len([]rune(l)), l)
		}
	}
}

// TestResume: a run cut short at any row and taken up again gives the same output.
func TestResume(t *testing.T) {
	for _, output := range []intake.Output{intake.ToCSV, intake.ToNDJSON} {
		all, _ := run(t, mixedRows, intake.Options{Output: output})
		lines := strings.SplitAfter(all, "\n")
		head := 0
		if output == intake.ToCSV {
			head = 1
		}
		for done := range 8 {
			rest, sum := run(t, mixedRows, intake.Options{Output: output, Skip: done})
			if done == 0 && output == intake.ToCSV {
				rest = strings.Join(strings.SplitAfter(rest, "\n")[1:], "")
			}
			if got := strings.Join(lines[:head+done], "") + rest; got != all {
				t.Errorf("%s, taken up after %d rows:\n%s", output, done, cmp.Diff(all, got))
			}
			if sum.Skipped != done || sum.Rows != 7-done {
				t.Errorf("%+v after %d", sum, done)
			}
		}
	}
}

type failing struct{ after int }

func (f *failing) Write(b []byte) (int, error) {
	if f.after -= len(b); f.after < 0 {
		return 0, errors.New("disk full")
	}
	return len(b), nil
}

func (f *failing) Read(b []byte) (int, error) {
	if f.after -= len(b); f.after < 0 {
		return 0, errors.New("cable out")
	}
	return copy(b, strings.Repeat("1,y\n", len(b)/4)), nil
}

// TestStops: a failing reader or writer and a cancelled context end the run with what
// they say, and leave no goroutine behind.
func TestStops(t *testing.T) {
	c := catalogue(t)
	before := runtime.NumGoroutine()
	endless := func() io.Reader {
		return io.MultiReader(strings.NewReader("id,lid\n"), &failing{1 << 40})
	}
	_, err := intake.Run(context.Background(), c, endless(), &failing{2000}, intake.Options{})
	if err == nil || !strings.Contains(err.Error(), "disk full") {
		t.Errorf("%v", err)
	}
	_, err = intake.Run(context.Background(), c, io.MultiReader(strings.NewReader("id,lid\n"), &failing{2 << 10}), io.Discard, intake.Options{})
	if err == nil || !strings.Contains(err.Error(), "cable out") {
		t.Errorf("%v", err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	rows := 0
	_, err = intake.Run(ctx, c, endless(), io.Discard, intake.Options{Progress: func(p intake.Progress) {
		if rows = p.Rows; rows == 20 {
			cancel()
		}
	}})
	if !errors.Is(err, context.Canceled) || rows < 20 || rows > 200 {
		t.Errorf("%v after %d rows", err, rows)
	}
	for range 100 {
		if runtime.NumGoroutine() <= before {
			break
		}
		time.Sleep(20 * time.Millisecond) // a goroutine is counted until it has wholly ended
	}
	if n := runtime.NumGoroutine(); n > before {
		t.Errorf("%d goroutines, %d before", n, before)
	}
	for _, o := range []intake.Options{{Output: "pdf"}, {Output: intake.ToReport, Skip: 3}, {Jurisdiction: "XX"}, {Without: []string{"fangs"}}, {Skip: -1}} {
		if _, err := intake.Run(context.Background(), c, strings.NewReader(good), io.Discard, o); err == nil {
			t.Errorf("%+v is accepted", o)
		}
	}
}

// endless makes rows without holding them.
type rowSource struct {
	left, at int
	buf      []byte
}

func (s *rowSource) Read(b []byte) (int, error) {
	for len(s.buf) < len(b) && s.left > 0 {
		s.left--
		s.at++
		s.buf = fmt.Appendf(s.buf, "%d,,%dx60x60,y,row %d\n", s.at, 60+s.at%200, s.at)
	}
	if len(s.buf) == 0 {
		return 0, io.EOF
	}
	n := copy(b, s.buf)
	s.buf = append(s.buf[:0], s.buf[n:]...)
	return n, nil
}

// TestConstantMemory: what is held does not grow with the rows.
func TestConstantMemory(t *testing.T) {
	c := catalogue(t)
	m := sizing.NewMatcher(c)
	held := func(n int) uint64 {
		most := uint64(0)
		_, err := intake.Run(context.Background(), c, io.MultiReader(strings.NewReader("id,species,size (cm),lid,note\n"), &rowSource{left: n}), io.Discard,
			intake.Options{Matcher: m, Progress: func(p intake.Progress) {
				if p.Rows%(n/4) == 0 {
					var s runtime.MemStats
					runtime.GC()
					runtime.ReadMemStats(&s)
					most = max(most, s.HeapAlloc)
				}
			}})
		if err != nil {
			t.Fatal(err)
		}
		return most
	}
	few, many := held(100), held(1600)
	t.Logf("heap held at 100 rows %d kB, at 1600 rows %d kB", few>>10, many>>10)
	// Workers make garbage while the heap is read; a run that kept its answers would
	// hold tens of times as much, since one answer to a match alone is some 100 kB.
	if many > 2*few {
		t.Errorf("%d bytes at 1600 rows, %d at 100", many, few)
	}
}

func BenchmarkRun(b *testing.B) {
	c := catalogue(b)
	m := sizing.NewMatcher(c)
	for _, kind := range []string{"match", "species"} {
		b.Run(kind, func(b *testing.B) {
			head := "id,species,size (cm),lid,note\n"
			if kind == "species" {
				head = "id,note,size (cm),lid,species\n"
			}
			for b.Loop() {
				in := io.Reader(&rowSource{left: 100})
				if kind == "species" {
					in = strings.NewReader(strings.Repeat("1,x,150x75x75,y,pogona-vitticeps\n", 100))
					head = "id,note,size (cm),lid,species\n"
				}
				if _, err := intake.Run(context.Background(), c, io.MultiReader(strings.NewReader(head), in), io.Discard, intake.Options{Matcher: m}); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(b.N)*100/b.Elapsed().Seconds(), "rows/s")
		})
	}
}

// fuzzed reads everything there is; whatever it is, it neither fails nor panics, rows
// are numbered and their lines never go back.
func fuzzed(t *testing.T, data []byte, format intake.Format) {
	r, err := intake.NewReader(bytes.NewReader(data), format)
	if err != nil {
		if !errors.Is(err, intake.ErrNoHeader) {
			t.Fatal(err)
		}
		return
	}
	last := 0
	for n := 1; ; n++ {
		row, err := r.Next()
		if err == io.EOF {
			return
		}
		if err != nil {
			t.Fatal(err)
		}
		if row.Number != n || row.Line <= last {
			t.Fatalf("row %d at line %d comes after line %d", row.Number, row.Line, last)
		}
		last = row.Line
		line := intake.LineOf(&intake.Answer{Row: row})
		for _, s := range []string{line.ID, line.Note} {
			if e := intake.Escape(s); strings.ContainsAny(e, "\r\n") || e != "" && strings.ContainsRune("=+-@", rune(e[0])) {
				t.Fatalf("%q is escaped to %q", s, e)
			}
		}
		for _, f := range row.Faults {
			if f.Line != row.Line || f.Reason == "" || f.Column < 0 {
				t.Fatalf("fault %+v of line %d", f, row.Line)
			}
		}
	}
}

func FuzzCSV(f *testing.F) {
	for _, s := range []string{good, mixedRows, "\ufeffid;lid\r\n1;y\r\n", "\xff\xfei\x00d\x00\n\x00", "id,note\n1,\"a\n\nb\"\"\n2,\"", "id\r\r\r1\xe9\x00", "heat,size\nlamp + mat,1/0 x 4' x 2\n", "length,l\n1 1/2,4' 2\"\n"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, data []byte) { fuzzed(t, data, intake.CSV) })
}

func FuzzNDJSON(f *testing.F) {
	for _, s := range []string{`{"id":"1","species":"boa","animals":[{"count":1}],"setup":{}}`, "{}\n[]\nnull\n{\"setup\":{\"uv\":null}}", "{\"id\":\"\xff\"}"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, data []byte) { fuzzed(t, data, intake.NDJSON) })
}
