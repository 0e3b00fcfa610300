package intake

import (
	"bufio"
	"cmp"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strconv"
	"strings"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing"
	"denwright/sizing/score"
)

// Output is how answers are written.
type Output string

// ToCSV and ToNDJSON have one line for each row, so that a run can be resumed by
// counting them. ToReport is text to print and read.
const (
	ToCSV    Output = "csv"
	ToNDJSON Output = "ndjson"
	ToReport Output = "report"
)

// Outputs lists them.
var Outputs = []Output{ToCSV, ToNDJSON, ToReport}

// Line is the answer to one row, as NDJSON writes it; the columns of a CSV are the
// same, with lists joined by "; ".
type Line struct {
	Row   int    `json:"row"`
	Line  int    `json:"line"`
	ID    string `json:"id,omitzero"`
	Note  string `json:"note,omitzero"`
	Asked string `json:"asked"` // species, match, or nothing where the row has problems

	Species string          `json:"species,omitzero"`
	Fit     sizing.Fit      `json:"fit,omitzero"`
	Verdict score.Verdict   `json:"verdict,omitzero"`
	Worst   score.Verdict   `json:"worst_verdict,omitzero"`
	Best    score.Verdict   `json:"best_verdict,omitzero"`
	Score   *score.Interval `json:"score,omitzero"`
	Before  *score.Interval `json:"score_before_hazards,omitzero"`
	// Shortfall is the finding that governs.
	Shortfall string   `json:"governing_shortfall,omitzero"`
	Hazards   []string `json:"hazards,omitzero"`
	Changes   []string `json:"changes,omitzero"`
	Measure   []string `json:"measure,omitzero"`
	Outgrown  string   `json:"outgrown,omitzero"`
	Lawful    string   `json:"lawful,omitzero"`

	Counts  *sizing.MatchCounts `json:"counts,omitzero"`
	Matches []LineMatch         `json:"matches,omitzero"`

	Problems []Fault  `json:"problems,omitzero"`
	Remarks  []string `json:"remarks,omitzero"`
}

// LineMatch is one species that could live in it.
type LineMatch struct {
	Species    string            `json:"species"`
	Fit        sizing.Fit        `json:"fit"`
	Why        string            `json:"why"`
	Before     score.Interval    `json:"score_before_hazards"`
	Changes    []string          `json:"changes,omitzero"`
	Experience sizing.Experience `json:"experience"`
	Lawful     string            `json:"lawful,omitzero"`
}

// LineOf puts an answer into the form in which it is written.
func LineOf(a *Answer) Line {
	r := a.Row
	l := Line{Row: r.Number, Line: r.Line, ID: clean(r.ID), Note: clean(r.Note), Asked: "nothing", Problems: r.Faults, Remarks: r.Remarks}
	switch {
	case a.Assessment != nil:
		l.Asked = "species"
		l.assessment(a)
	case a.Match != nil:
		l.Asked = "match"
		l.Counts = &a.Match.Counts
		for _, m := range a.Match.Species {
			k := LineMatch{Species: m.Species.ID, Fit: m.Fit, Why: m.Why, Before: m.BeforeHazards, Experience: m.Experience}
			for _, ch := range m.Changes {
				k.Changes = append(k.Changes, ch.What)
			}
			if m.Lawful != nil {
				k.Lawful = m.Lawful.Standing
			}
			l.Matches = append(l.Matches, k)
		}
		for _, m := range a.Match.MeasureFirst {
			l.Measure = append(l.Measure, m.What)
		}
	}
	return l
}

func (l *Line) assessment(a *Answer) {
	k := a.Assessment
	l.Species, l.Fit, l.Verdict, l.Worst, l.Best, l.Score, l.Before = k.Species.ID, a.Fit, k.Verdict, k.WorstVerdict, k.BestVerdict, &k.Score, &k.BeforeHazards
	l.Shortfall = a.Shortfall
	for _, h := range k.Hazards {
		if h.Presence == score.Definite {
			text := h.Name
			if h.At != "" {
				text += " (" + h.At + ")"
			}
			l.Hazards = append(l.Hazards, text)
		}
	}
	for _, ch := range k.Changes {
		if !ch.Supposes && k.Verdict != score.Unsuitable {
			l.Changes = append(l.Changes, change(ch))
		}
	}
	for _, o := range k.Open {
		if o.Decides {
			l.Measure = append(l.Measure, o.What)
		}
	}
	if k.Lawful != nil {
		l.Lawful = k.Lawful.Standing
	}
	if g := a.Grows; g != nil {
		l.Outgrown = g.Standing
		if f := g.First; f != nil && f.Length != nil {
			l.Outgrown += ": " + f.Name + " at a " + string(f.Measure) + " length of " + f.Length.In(quantity.Metric).String()
			if f.Age != nil {
				l.Outgrown += ", " + whole(f.Age)
			}
		}
	}
}

// whole writes ages without fractions of a month.
func whole(b *quantity.Band) string {
	round := quantity.Band{Unit: b.Unit}
	for _, p := range []struct{ from, to **float64 }{{&b.Low, &round.Low}, {&b.High, &round.High}} {
		if *p.from != nil {
			*p.to = new(float64(int(**p.from + 0.5)))
		}
	}
	return round.String()
}

func change(ch score.Change) string {
	if ch.To == nil {
		return ch.What
	}
	return ch.What + " to " + ch.To.In(quantity.Metric).String()
}

// finding words one finding: what is there and what is wanted.
func finding(f *score.Finding) string {
	text := f.Name + ": "
	switch {
	case f.Value != nil:
		text += f.Value.Value().In(quantity.Metric).String()
	case f.Between != nil:
		text += f.Between.In(quantity.Metric).String()
	case f.Answer != "":
		text += f.Answer
	default:
		text += "not measured"
	}
	wanted := f.Target
	if f.Strictest != nil && f.Standing != score.Short {
		wanted = f.Strictest
	}
	if wanted != nil {
		text += ", wanted " + wanted.In(quantity.Metric).String()
	}
	return text
}

// csvHead names the columns of an answer in CSV.
var csvHead = []string{"row", "line", "id", "asked", "species", "fit", "verdict", "worst_verdict", "best_verdict", "score_worst", "score_best", "score_before_hazards_worst", "score_before_hazards_best",
	"governing_shortfall", "hazards", "changes", "measure", "outgrown", "lawful", "fit_as_it_is", "fit_after_changes", "fit_cannot_tell", "fit_too_small", "matches", "problems", "remarks", "note"}

// HeadCSV is the first line of an answer in CSV, without its end.
func HeadCSV() string { return strings.Join(csvHead, ",") }

// CSV is the answer as a line of CSV, without its end.
func (l *Line) CSV() string {
	cells := l.cells()
	for i, c := range cells {
		cells[i] = Escape(c)
	}
	return strings.Join(cells, ",")
}

func (l *Line) cells() []string {
	out := []string{strconv.Itoa(l.Row), strconv.Itoa(l.Line), l.ID, l.Asked, l.Species, string(l.Fit), string(l.Verdict), string(l.Worst), string(l.Best)}
	for _, s := range []*score.Interval{l.Score, l.Before} {
		if s == nil {
			out = append(out, "", "")
			continue
		}
		out = append(out, strconv.FormatFloat(s.Worst, 'f', 4, 64), strconv.FormatFloat(s.Best, 'f', 4, 64))
	}
	join := func(s []string) string { return strings.Join(s, "; ") }
	out = append(out, l.Shortfall, join(l.Hazards), join(l.Changes), join(l.Measure), l.Outgrown, l.Lawful)
	if c := l.Counts; c != nil {
		out = append(out, strconv.Itoa(c.AsItIs), strconv.Itoa(c.AfterChanges), strconv.Itoa(c.CannotTell), strconv.Itoa(c.TooSmall))
	} else {
		out = append(out, "", "", "", "")
	}
	var matches, problems []string
	for _, m := range l.Matches {
		matches = append(matches, m.Species+" ("+string(m.Fit)+")")
	}
	for _, p := range l.Problems {
		problems = append(problems, p.String())
	}
	return append(out, join(matches), join(problems), join(l.Remarks), l.Note)
}

// Escape makes text safe in a CSV cell: one line, and never taken for a formula by a
// program that opens the file.
func Escape(s string) string {
	s = clean(s)
	if t := strings.TrimLeft(s, " \u00a0\u3000\ufeff"); t != "" && strings.ContainsAny(t[:min(len(t), 3)], "=+-@＝＋－＠") {
		switch r := []rune(t)[0]; r {
		case '=', '+', '-', '@', '＝', '＋', '－', '＠':
			s = "'" + s
		}
	}
	if strings.ContainsAny(s, ",;\t\"'") || strings.TrimSpace(s) != s {
		s = `"` + strings.ReplaceAll(s, `"`, `""`) + `"`
	}
	return s
}

// writer writes answers one after another.
type writer struct {
	w         *bufio.Writer
	catalogue *care.Catalogue
	o         *Options
	lacks     map[string]int // by what is to be done or found out
	encoder   *quantity.Encoder
	line      []byte // written over by each
}

func newWriter(out io.Writer, c *care.Catalogue, o *Options) (*writer, error) {
	if o.Output == "" {
		o.Output = ToNDJSON
	}
	if !slices.Contains(Outputs, o.Output) {
		return nil, fmt.Errorf("output %q is not one of %v", o.Output, Outputs)
	}
	if o.Output == ToReport && o.Skip > 0 {
		return nil, errors.New("a report can't be resumed: write CSV or NDJSON")
	}
	return &writer{w: bufio.NewWriterSize(out, 32<<10), catalogue: c, o: o, lacks: map[string]int{}, encoder: quantity.NewEncoder(quantity.Metric, true)}, nil
}

func (w *writer) printf(format string, args ...any) { fmt.Fprintf(w.w, format, args...) } // the error sticks to the buffer

// flush is called after each row, so that what is counted as done is on its way.
func (w *writer) flush() error { return w.w.Flush() }

func (w *writer) begin(s *Summary, resumed bool) error {
	switch {
	case w.o.Output == ToReport:
		title := w.o.Title
		if title == "" {
			title = "Intake"
		}
		w.printf("%s\n%s\n\n", clean(title), strings.Repeat("=", min(78, len([]rune(clean(title))))))
		for _, r := range s.Remarks {
			w.paragraph("", "Note: "+r+".")
		}
		if len(s.Remarks) > 0 {
			w.printf("\n")
		}
	case w.o.Output == ToCSV && !resumed:
		w.printf("%s\r\n", HeadCSV())
	}
	return w.flush()
}

func (w *writer) answer(a *Answer) error {
	l := LineOf(a)
	switch w.o.Output {
	case ToCSV:
		w.printf("%s\r\n", l.CSV())
	case ToNDJSON:
		var err error
		if w.line, err = w.encoder.Append(w.line[:0], &l); err != nil {
			return fmt.Errorf("encode row %d: %w", l.Row, err)
		}
		w.w.Write(append(w.line, '\n')) // the error sticks to the buffer
	case ToReport:
		w.entry(a, &l)
	}
	return w.flush()
}

// paragraph wraps text to the width of a page.
func (w *writer) paragraph(indent, text string) {
	line, first := indent, true
	for _, word := range strings.Fields(clean(text)) {
		if !first && len([]rune(line))+1+len([]rune(word)) > 78 {
			w.printf("%s\n", line)
			line, first = indent+"  ", true
		}
		if !first {
			line += " "
		}
		line, first = line+word, false
	}
	w.printf("%s\n", line)
}

// entry writes one enclosure of a report.
func (w *writer) entry(a *Answer, l *Line) {
	name := l.ID
	if name == "" {
		name = "row " + strconv.Itoa(l.Row)
	}
	head := fmt.Sprintf("%s (line %d)", name, l.Line)
	if size := sizeText(a.Row); size != "" {
		head += ", " + size
	}
	w.paragraph("", head)
	if l.Note != "" {
		w.paragraph("  ", "“"+l.Note+"”")
	}
	switch {
	case a.Assessment != nil:
		w.species(a, l)
	case a.Match != nil:
		w.match(a, l)
	default:
		w.paragraph("  ", "NOT ANSWERED.")
		for _, p := range l.Problems {
			w.paragraph("  ", "- "+p.String()+".")
		}
	}
	for _, r := range l.Remarks {
		w.paragraph("  ", "(Note: "+r+".)")
	}
	w.printf("\n")
}

func sizeText(r *Row) string {
	in := r.Setup.Inside
	if in == nil {
		return ""
	}
	var sides []string
	for _, l := range []*quantity.Length{in.Length, in.Width, in.Height} {
		if l == nil {
			sides = append(sides, "?")
			continue
		}
		sides = append(sides, strings.TrimSuffix(l.Value().In(quantity.Metric).String(), " cm"))
	}
	return strings.Join(sides, " × ") + " cm inside"
}

func (w *writer) species(a *Answer, l *Line) {
	k := a.Assessment
	who := k.Species.Common
	for _, animal := range k.Animals {
		who += fmt.Sprintf(", %d %s", animal.Count, animal.Stage)
	}
	says := map[sizing.Fit]string{
		sizing.FitsAsItIs:   "GOOD AS IT IS",
		sizing.FitsChanged:  "GOOD AFTER CHANGES",
		sizing.FitUnknown:   "CANNOT TELL YET",
		sizing.FitsTooSmall: "TOO SMALL",
	}[a.Fit]
	if a.Fit == sizing.FitsChanged && len(l.Changes) == 0 {
		says = "LARGE ENOUGH; THE REST IS NOT MEASURED"
	}
	w.paragraph("  ", "For "+who+": "+says+".")
	if l.Shortfall != "" {
		w.paragraph("  ", "Weakest: "+l.Shortfall+".")
	}
	for _, h := range l.Hazards {
		w.paragraph("  ", "Hazard: "+h+".")
	}
	w.do("Do", l.Changes)
	w.do("Find out", l.Measure)
	if l.Outgrown != "" {
		w.paragraph("  ", "Growing: "+l.Outgrown+".")
	}
	if k.Lawful != nil {
		w.paragraph("  ", "Law in "+k.Lawful.Jurisdiction+": lowest lawful size "+k.Lawful.Standing+".")
	}
}

func (w *writer) match(a *Answer, l *Line) {
	c := l.Counts
	w.paragraph("  ", fmt.Sprintf("What could live in it: %d species as it is, %d after changes, %d can't be told yet, %d need more room.", c.AsItIs, c.AfterChanges, c.CannotTell, c.TooSmall))
	for _, m := range a.Match.Species {
		w.paragraph("  ", fmt.Sprintf("- %s: %s. %s.", m.Species.Common, m.Fit, strings.ToUpper(m.Why[:1])+m.Why[1:]))
		if len(m.Changes) > 0 {
			var named []string
			for _, ch := range m.Changes[:min(mostNamed, len(m.Changes))] {
				text := strings.TrimRight(ch.What, ".")
				if ch.To != nil {
					text += " to " + ch.To.In(quantity.Metric).String()
				}
				named = append(named, lowerFirst(text))
			}
			w.paragraph("    ", "To do: "+strings.Join(named, "; ")+".")
		}
	}
	w.do("Find out first", l.Measure)
}

// mostNamed is how many pieces of work a report names for one enclosure; maxLacks
// bounds what is counted for the end of the day.
const (
	mostNamed = 4
	maxLacks  = 2000
)

func (w *writer) do(what string, list []string) {
	for _, k := range list {
		if _, held := w.lacks[k]; held || len(w.lacks) < maxLacks {
			w.lacks[k]++
		}
	}
	if len(list) == 0 {
		return
	}
	more := ""
	if len(list) > mostNamed {
		more = fmt.Sprintf("; and %d more", len(list)-mostNamed)
	}
	var named []string
	for i, k := range list[:min(mostNamed, len(list))] {
		k = strings.TrimRight(k, ".")
		if i > 0 {
			k = lowerFirst(k)
		}
		named = append(named, k)
	}
	w.paragraph("  ", what+": "+strings.Join(named, "; ")+more+".")
}

// lowerFirst takes the capital off a word that is no abbreviation.
func lowerFirst(s string) string {
	if len(s) > 1 && s[1] >= 'a' && s[1] <= 'z' {
		return strings.ToLower(s[:1]) + s[1:]
	}
	return s
}

func (w *writer) end(s *Summary, whole bool) error {
	if w.o.Output != ToReport || !whole {
		return w.flush()
	}
	w.printf("The day\n-------\n")
	w.paragraph("", fmt.Sprintf("%d enclosures looked at.", s.Rows))
	if n := s.Rows - s.Matched - s.Bad; n > 0 {
		w.paragraph("", fmt.Sprintf("For an animal named, %d: %d good as they are, %d after changes, %d can't be told yet, %d too small.", n,
			s.Fits[sizing.FitsAsItIs], s.Fits[sizing.FitsChanged], s.Fits[sizing.FitUnknown], s.Fits[sizing.FitsTooSmall]))
	}
	if s.Matched > 0 {
		w.paragraph("", fmt.Sprintf("For whatever could live in it, %d: some species fits %d of them, as it is or after changes.", s.Matched, s.Homes))
	}
	if s.Bad > 0 {
		w.paragraph("", fmt.Sprintf("Not answered, %d: the notes have to be looked at again.", s.Bad))
	}
	common := slices.SortedFunc(maps.Keys(w.lacks), func(a, b string) int {
		return cmp.Or(cmp.Compare(w.lacks[b], w.lacks[a]), cmp.Compare(a, b))
	})
	if len(common) > 0 {
		w.printf("\nAsked for most often:\n")
		for _, k := range common[:min(5, len(common))] {
			w.paragraph("  ", fmt.Sprintf("- %s (%d)", k, w.lacks[k]))
		}
	}
	w.printf("\nNothing is plugged in and no animal moves in on the strength of this page: a\nlicensed electrician looks at heat and mains, a veterinarian at the animal,\nand the competent authority says what is lawful.\n")
	w.printf("catalogue %s, engine %s\n", w.catalogue.Revision, sizing.EngineVersion)
	return w.flush()
}
