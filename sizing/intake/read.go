package intake

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"strings"

	"denwright/sizing"
	"denwright/sizing/score"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
)

// Format is how the rows are written.
type Format string

// Auto tells by the first character: { begins NDJSON.
const (
	Auto   Format = ""
	CSV    Format = "csv"
	NDJSON Format = "ndjson"
)

// ErrNoHeader: the first line of a CSV names no column that is known, so that nothing
// can be made of the rest.
var ErrNoHeader = errors.New("the first line names none of the columns that are known")

// Reader gives the rows of an input one by one.
type Reader struct {
	lines *lines
	// csv is nil for NDJSON.
	csv *csvHeader
	// Remarks are about the file as a whole: columns that are not used, delimiters.
	Remarks []string
	rows    int
}

// NewReader finds out the encoding and the format, and reads the header of a CSV. It
// fails where the stream does, and with ErrNoHeader. An empty input has no rows.
func NewReader(in io.Reader, format Format) (*Reader, error) {
	r := &Reader{lines: newLines(in)}
	for {
		first, err := r.lines.next()
		if err == io.EOF {
			return r, nil
		}
		if err != nil {
			return nil, err
		}
		text := strings.TrimSpace(first.text)
		if text == "" && !first.tooLong {
			continue
		}
		if format == NDJSON || format == Auto && strings.HasPrefix(text, "{") {
			r.lines.putBack([]line{first})
			return r, nil
		}
		if r.csv, err = header(first); err != nil {
			return nil, fmt.Errorf("line %d: %w", first.number, err)
		}
		r.Remarks = r.csv.remarks
		return r, nil
	}
}

// Next gives the next row, with its faults where it can't be read, or io.EOF. Any
// other error is of the stream.
func (r *Reader) Next() (*Row, error) {
	for {
		l, err := r.lines.next()
		if err != nil {
			return nil, err
		}
		if !l.tooLong && strings.TrimSpace(l.text) == "" {
			continue
		}
		row := &Row{Line: l.number}
		switch {
		case l.tooLong:
			row.fault(0, "", fmt.Sprintf("is longer than %d kB and was passed over", MaxLine>>10), "check for a quote that is never closed, or a file that is no table")
		case l.null:
			row.fault(0, "", "holds a NUL byte", "save the file as UTF-8, or as UTF-16 with its byte-order mark")
		case r.csv != nil:
			if empty, err := r.csv.row(row, l, r.lines); err != nil {
				return nil, err
			} else if empty {
				continue
			}
		default:
			row.json(l.text)
		}
		if l.legacy {
			row.Remarks = append(row.Remarks, "not UTF-8: read as Windows-1252")
		}
		r.rows++
		row.Number = r.rows
		row.ID, row.Note = strings.ToValidUTF8(row.ID, "�"), strings.ToValidUTF8(row.Note, "�")
		return row, nil
	}
}

// Read is how many bytes of text were taken so far.
func (r *Reader) Read() int64 { return r.lines.read }

func (r *Row) fault(column int, name, reason, remedy string) {
	r.Faults = append(r.Faults, Fault{Line: r.Line, Column: column, Name: name, Reason: reason, Remedy: remedy})
}

// csvHeader says what each cell of a row is.
type csvHeader struct {
	delimiter byte
	columns   []*Column // nil: not used
	names     []string
	units     []string
	remarks   []string
}

// header reads the first line. The delimiter is the one of comma, semicolon and tab
// that makes the most known columns of it.
func header(l line) (*csvHeader, error) {
	if l.tooLong {
		return nil, fmt.Errorf("%w: it is longer than %d kB", ErrNoHeader, MaxLine>>10)
	}
	if l.null {
		return nil, fmt.Errorf("%w: it holds a NUL byte; save the file as UTF-8, or as UTF-16 with its byte-order mark", ErrNoHeader)
	}
	best, most := &csvHeader{}, 0
	for _, delimiter := range []byte{',', ';', '\t'} {
		h := &csvHeader{delimiter: delimiter}
		cells, _ := split(l.text, delimiter)
		known := 0
		seen := map[*Column]int{}
		for i, cell := range cells {
			name := strings.TrimSpace(cell.text)
			c, u := columnOf(name)
			switch {
			case c != nil:
				known++
				if first, double := seen[c]; double {
					h.remarks = append(h.remarks, fmt.Sprintf("columns %d and %d are both %s: the first that is filled in counts, and a row in which they differ is reported", first, i+1, c.Name))
				} else {
					seen[c] = i + 1
				}
			case name == "":
				h.remarks = append(h.remarks, fmt.Sprintf("column %d has no header and is not used", i+1))
			default:
				h.remarks = append(h.remarks, fmt.Sprintf("column %d, %q, is not known and not used", i+1, clip(name)))
			}
			h.columns, h.names, h.units = append(h.columns, c), append(h.names, name), append(h.units, u)
		}
		if known > most {
			best, most = h, known
		}
	}
	if most == 0 {
		return nil, fmt.Errorf("%w: it begins %q", ErrNoHeader, clip(l.text))
	}
	return best, nil
}

// maxRowLines is how many lines one row may span within quotes.
const maxRowLines = 20

// row reads one row, over several lines where a quoted cell spans them. empty tells
// that no cell says anything.
func (h *csvHeader) row(row *Row, l line, lines *lines) (empty bool, err error) {
	text := l.text
	cells, open := split(text, h.delimiter)
	var more []line
	for open && len(more) < maxRowLines {
		next, err := lines.next()
		if err == io.EOF {
			break
		}
		if err != nil {
			return false, err
		}
		more = append(more, next)
		if next.tooLong || next.null || len(text)+len(next.text) > MaxLine {
			break
		}
		text += "\n" + next.text
		cells, open = split(text, h.delimiter)
	}
	if open {
		// The quote was never meant to span lines: the others are rows of their own.
		lines.putBack(more)
		row.fault(len(cells), "", "a quote is opened and not closed", `close it, or double a quote that belongs to the text: ""`)
		cells, _ = split(l.text, h.delimiter)
		h.identify(row, cells)
		return false, nil
	}
	empty = true
	for _, c := range cells {
		empty = empty && strings.TrimSpace(c.text) == ""
	}
	if empty {
		return true, nil
	}
	h.fill(row, cells)
	return false, nil
}

// identify takes only what tells the row, for a report of its faults.
func (h *csvHeader) identify(row *Row, cells []cell) {
	for i, c := range cells {
		if i < len(h.columns) && h.columns[i] != nil && (h.columns[i].Name == "id" || h.columns[i].Name == "note") && !blank(c.text) {
			_ = h.columns[i].set(row, strings.TrimSpace(c.text), "") // text columns take anything
		}
	}
}

func (h *csvHeader) fill(row *Row, cells []cell) {
	row.places = map[string]place{}
	taken := map[*Column]string{}
	for i, c := range cells {
		text := strings.TrimSpace(c.text)
		switch {
		case i >= len(h.columns):
			if text != "" {
				row.fault(i+1, "", fmt.Sprintf("the row has more cells than the header has columns (%d)", len(h.columns)), "quote a cell that holds the delimiter")
				return
			}
			continue
		case h.columns[i] == nil || blank(text):
			continue
		case c.stray:
			row.fault(i+1, h.names[i], "text stands after a closing quote", `double a quote that belongs to the text: ""`)
			continue
		}
		column := h.columns[i]
		if before, double := taken[column]; double {
			if before != text {
				row.fault(i+1, h.names[i], fmt.Sprintf("%q, yet another column of the same meaning says %q", clip(text), clip(before)), "keep one of them")
			}
			continue
		}
		taken[column] = text
		if column.Name != "id" && column.Name != "note" {
			text = row.rough(text, column)
		}
		if err := column.set(row, text, h.units[i]); err != nil {
			row.fault(i+1, h.names[i], err.Error(), column.remedy())
			continue
		}
		for _, field := range column.fields {
			if _, set := row.places[field]; !set {
				row.places[field] = place{i + 1, h.names[i]}
			}
		}
	}
	row.settle()
}

// rough takes off what says that a figure is only about right, with a remark.
func (r *Row) rough(text string, c *Column) string {
	if c.units == nil {
		return text
	}
	for _, sign := range []string{"~", "≈", "c. ", "c.", "ca. ", "ca ", "approx. ", "approx ", "about ", "roughly "} {
		if rest, ok := strings.CutPrefix(strings.ToLower(text), sign); ok && rest != "" {
			r.Remarks = append(r.Remarks, c.Name+": "+clip(text)+" taken as exact")
			return text[len(text)-len(rest):]
		}
	}
	return text
}

func (c *Column) remedy() string {
	if len(c.units) > 1 {
		return "give one figure with its unit (" + strings.Join(c.units, ", ") + "), in the cell or in the header, or leave it blank"
	}
	return c.What + "; blank is not known"
}

// cell is one cell of a CSV row. stray: something stands after its closing quote.
type cell struct {
	text  string
	stray bool
}

// split cuts a row into cells. A cell that begins with a quote ends with one, and a
// quote within is doubled; in any other cell a quote is an inch sign. open tells that
// the last quote is not closed.
func split(s string, delimiter byte) (cells []cell, open bool) {
	for {
		rest := strings.TrimLeft(s, " ")
		if !strings.HasPrefix(rest, `"`) {
			end := strings.IndexByte(s, delimiter)
			if end < 0 {
				return append(cells, cell{text: s}), false
			}
			cells, s = append(cells, cell{text: s[:end]}), s[end+1:]
			continue
		}
		var b strings.Builder
		rest = rest[1:]
		for {
			end := strings.IndexByte(rest, '"')
			if end < 0 {
				b.WriteString(rest)
				return append(cells, cell{text: b.String()}), true
			}
			b.WriteString(rest[:end])
			rest = rest[end+1:]
			if !strings.HasPrefix(rest, `"`) {
				break
			}
			b.WriteByte('"')
			rest = rest[1:]
		}
		end := strings.IndexByte(rest, delimiter)
		after := rest
		if end >= 0 {
			after = rest[:end]
		}
		cells = append(cells, cell{text: b.String() + after, stray: strings.TrimSpace(after) != ""})
		if end < 0 {
			return cells, false
		}
		s = rest[end+1:]
	}
}

// wireRow is one line of NDJSON. The setup is as POST /v1/assessments takes it; null
// is not known.
type wireRow struct {
	ID           string          `json:"id"`
	Note         string          `json:"note"`
	Species      string          `json:"species"`
	Animals      []sizing.Animal `json:"animals"`
	Jurisdiction string          `json:"jurisdiction"`
	Setup        score.Setup     `json:"setup"`
}

// json reads one line of NDJSON.
func (r *Row) json(text string) {
	var w wireRow
	err := json.Unmarshal([]byte(text), &w, json.RejectUnknownMembers(true))
	r.ID, r.Note = w.ID, w.Note
	var semantic *json.SemanticError
	var syntactic *jsontext.SyntacticError
	switch {
	case errors.As(err, &semantic):
		reason := err.Error()
		if semantic.Err != nil {
			reason = semantic.Err.Error()
		}
		r.fault(int(semantic.ByteOffset)+1, string(semantic.JSONPointer), clean(reason), "give the fields as POST /v1/assessments takes them")
	case errors.As(err, &syntactic):
		r.fault(int(syntactic.ByteOffset)+1, string(syntactic.JSONPointer), "is not JSON: "+clean(syntactic.Err.Error()), "write one JSON object to a line")
	case err != nil:
		r.fault(0, "", clean(err.Error()), "write one JSON object to a line")
	}
	if err != nil {
		return
	}
	r.Species, r.Animals, r.Jurisdiction, r.Setup = w.Species, w.Animals, w.Jurisdiction, w.Setup
	if w.Species == "" && len(w.Animals) == 1 {
		a := w.Animals[0]
		r.count, r.stage, r.sex = a.Count, a.Stage, a.Sex
		return
	}
	if w.Species == "" && len(w.Animals) > 1 {
		r.fault(0, "/animals", "several entries without a species", "name the species, or give one entry")
	}
	if w.Species != "" && len(w.Animals) == 0 {
		r.settle()
	}
}

// clean keeps a message to one line of ordinary characters.
func clean(s string) string {
	return string(bytes.Map(func(c rune) rune {
		if c < ' ' || c == 0x7f || c >= 0x80 && c < 0xa0 || c == 0x2028 || c == 0x2029 || c >= 0x202a && c <= 0x202e || c >= 0x2066 && c <= 0x2069 {
			return ' '
		}
		return c
	}, []byte(s)))
}
