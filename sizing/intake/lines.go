// Package intake reads enclosures as a rescue writes them down, one to a row, in CSV
// or NDJSON, asks of each what it is worth, and writes the answers in the same order
// as CSV, NDJSON or a report to print. It streams in constant memory: a row that
// can't be read is reported with its line and column and stops nothing else.
package intake

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"
	"golang.org/x/text/transform"
)

// MaxLine is the longest line that is read, in bytes of UTF-8; what is longer is
// passed over and reported.
const MaxLine = 256 << 10

// line is one line of the input in UTF-8, without its end.
type line struct {
	number int // from 1
	text   string
	// tooLong: the line was passed over. legacy: it was not UTF-8 and was read as
	// Windows-1252. null: it holds a NUL byte, which no text does.
	tooLong, legacy, null bool
}

// lines cuts a stream into lines that end in LF, CR LF or CR. Lines put back are read
// again first.
type lines struct {
	r        *bufio.Reader
	number   int
	utf16    bool
	read     int64 // bytes taken, of the decoded text
	returned []line
}

// newLines tells the encoding by the byte-order mark: UTF-8 or UTF-16 of either
// order. Without one a line is UTF-8, or Windows-1252 where it is not valid UTF-8.
func newLines(in io.Reader) *lines {
	raw := bufio.NewReaderSize(in, 64<<10)
	l := &lines{r: raw}
	head, _ := raw.Peek(3) // a shorter file has no mark
	switch {
	case bytes.HasPrefix(head, []byte{0xEF, 0xBB, 0xBF}):
		_, _ = raw.Discard(3)
	case bytes.HasPrefix(head, []byte{0xFF, 0xFE}), bytes.HasPrefix(head, []byte{0xFE, 0xFF}):
		l.utf16 = true
		decoder := unicode.UTF16(unicode.LittleEndian, unicode.ExpectBOM).NewDecoder()
		l.r = bufio.NewReaderSize(transform.NewReader(raw, decoder), 64<<10)
	}
	return l
}

// next gives the next line, or io.EOF after the last.
func (l *lines) next() (line, error) {
	if n := len(l.returned); n > 0 {
		out := l.returned[0]
		l.returned = l.returned[1:]
		return out, nil
	}
	var buf []byte
	out := line{number: l.number + 1}
	any := false
	for {
		if _, err := l.r.Peek(1); err != nil {
			if err == io.EOF && any {
				break
			}
			if err != io.EOF {
				err = fmt.Errorf("read line %d: %w", out.number, err)
			}
			return line{}, err
		}
		any = true
		chunk, _ := l.r.Peek(l.r.Buffered()) // what is buffered can always be had
		end := bytes.IndexAny(chunk, "\r\n")
		take := chunk
		if end >= 0 {
			take = chunk[:end]
		}
		if len(buf)+len(take) > MaxLine {
			out.tooLong, buf = true, nil
		}
		if !out.tooLong {
			buf = append(buf, take...)
		}
		n := len(take)
		if end < 0 {
			l.discard(n)
			continue
		}
		carriage := chunk[end] == '\r'
		l.discard(n + 1)
		if carriage {
			if after, err := l.r.Peek(1); err == nil && after[0] == '\n' {
				l.discard(1)
			}
		}
		break
	}
	l.number++
	out.null = bytes.IndexByte(buf, 0) >= 0
	if !l.utf16 && !utf8.Valid(buf) {
		out.legacy = true
		decoded, err := charmap.Windows1252.NewDecoder().Bytes(buf)
		if err != nil {
			return line{}, fmt.Errorf("read line %d as Windows-1252: %w", out.number, err)
		}
		buf = decoded
	}
	out.text = string(buf)
	return out, nil
}

func (l *lines) discard(n int) {
	_, _ = l.r.Discard(n) // never more than is buffered
	l.read += int64(n)
}

// putBack returns lines, to be read again in the order given.
func (l *lines) putBack(back []line) {
	l.returned = append(append([]line(nil), back...), l.returned...)
}
