package quantity

import (
	"encoding"
	"encoding/binary"
	stdjson "encoding/json"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"unicode/utf8"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
)

// Appender is a value that writes its own JSON in either system, in one piece.
type Appender interface {
	AppendJSON(dst []byte, s System) ([]byte, error)
}

// Encoder writes answers. It gives byte for byte what json.Marshal gives with
// Marshalers and json.Deterministic, in a third of the time: what a type needs is
// worked out from its fields and tags once, and then appended without the state that
// a general encoder keeps. What it does not know (a type with its own JSON method, a
// tag beyond omitzero and omitempty) it leaves to json.Marshal. It is safe for many
// goroutines.
type Encoder struct {
	system System
	// lenient replaces bytes that are not UTF-8 by U+FFFD; they are an error otherwise.
	lenient bool
	options json.Options
	codecs  sync.Map // reflect.Type → *codec, each whole
	mu      sync.Mutex
	making  map[reflect.Type]*codec // under mu
}

// Written keeps the JSON of a value that lives as long as a catalogue and never
// changes, so that it is worked out once and then copied. It is a field of the value's
// struct, which every copy shares; nil where the value is an answer's own. Whoever
// changes a copy takes it off. The zero value is ready to use.
type Written struct{ json [2]atomic.Pointer[[]byte] } // by System

// Equal holds for any two: what is kept says nothing of the value.
func (w *Written) Equal(*Written) bool { return true }

var writtenType = reflect.TypeFor[*Written]()

// codec writes the values of one type.
type codec struct{ write appendFunc }

type appendFunc func(dst []byte, v reflect.Value) ([]byte, error)

// NewEncoder makes an encoder of answers in the system given. With lenient, bytes
// that are not UTF-8 are replaced, where they are an error otherwise.
func NewEncoder(s System, lenient bool) *Encoder {
	return &Encoder{system: s, lenient: lenient, making: map[reflect.Type]*codec{},
		options: json.JoinOptions(json.WithMarshalers(Marshalers(s)), json.Deterministic(true), jsontext.AllowInvalidUTF8(lenient))}
}

// Append writes v after dst. It fails on a number that is none and on text that is
// not UTF-8; dst then has some of the answer after it.
func (e *Encoder) Append(dst []byte, v any) ([]byte, error) {
	if v == nil {
		return append(dst, "null"...), nil
	}
	r := reflect.ValueOf(v)
	return e.of(r.Type()).write(dst, r)
}

// of gives the codec of a type, made on first use with those of all that it holds.
func (e *Encoder) of(t reflect.Type) *codec {
	if k, ok := e.codecs.Load(t); ok {
		return k.(*codec)
	}
	e.mu.Lock()
	defer e.mu.Unlock()
	out := e.part(t)
	for made, k := range e.making {
		e.codecs.Store(made, k)
	}
	clear(e.making)
	return out
}

// part is of while a codec is being made. That of a type that holds itself is given
// out before it is whole.
func (e *Encoder) part(t reflect.Type) *codec {
	if k, ok := e.codecs.Load(t); ok {
		return k.(*codec)
	}
	if k := e.making[t]; k != nil {
		return k
	}
	k := &codec{}
	e.making[t] = k
	k.write = e.make(t)
	return k
}

var (
	appenderType = reflect.TypeFor[Appender]()
	valuerType   = reflect.TypeFor[Valuer]()
	// ownJSON are the ways in which a type may write itself.
	ownJSON = []reflect.Type{reflect.TypeFor[json.MarshalerTo](), reflect.TypeFor[stdjson.Marshaler](), reflect.TypeFor[encoding.TextMarshaler](), reflect.TypeFor[encoding.TextAppender]()}
)

func (e *Encoder) make(t reflect.Type) appendFunc {
	switch {
	case t.Kind() == reflect.Pointer:
		return e.pointer(t)
	case t.Implements(appenderType):
		return e.appender
	case t.Implements(valuerType) && t.Kind() == reflect.Float64:
		return e.float(t)
	case t.Implements(valuerType):
		return e.valuer
	case slices.ContainsFunc(ownJSON, func(own reflect.Type) bool { return t.Implements(own) || reflect.PointerTo(t).Implements(own) }):
		return e.general
	}
	switch t.Kind() {
	case reflect.Bool:
		return func(dst []byte, v reflect.Value) ([]byte, error) { return strconv.AppendBool(dst, v.Bool()), nil }
	case reflect.Int, reflect.Int8, reflect.Int16, reflect.Int32, reflect.Int64:
		return func(dst []byte, v reflect.Value) ([]byte, error) { return strconv.AppendInt(dst, v.Int(), 10), nil }
	case reflect.Uint, reflect.Uint8, reflect.Uint16, reflect.Uint32, reflect.Uint64:
		return func(dst []byte, v reflect.Value) ([]byte, error) { return strconv.AppendUint(dst, v.Uint(), 10), nil }
	case reflect.Float64:
		return func(dst []byte, v reflect.Value) ([]byte, error) { return AppendNumber(dst, v.Float()) }
	case reflect.String:
		return func(dst []byte, v reflect.Value) ([]byte, error) { return e.text(dst, v.String()) }
	case reflect.Interface:
		return func(dst []byte, v reflect.Value) ([]byte, error) {
			if v.IsNil() {
				return append(dst, "null"...), nil
			}
			return e.of(v.Elem().Type()).write(dst, v.Elem())
		}
	case reflect.Slice, reflect.Array:
		if t.Elem().Kind() == reflect.Uint8 {
			return e.general // bytes are written as text
		}
		return e.list(t)
	case reflect.Map:
		return e.object(t)
	case reflect.Struct:
		return e.structure(t)
	}
	return e.general
}

// general leaves a value to json.Marshal.
func (e *Encoder) general(dst []byte, v reflect.Value) ([]byte, error) {
	raw, err := json.Marshal(v.Interface(), e.options)
	return append(dst, raw...), err
}

// appender and valuer go by the address where there is one, which saves a copy.
func (e *Encoder) appender(dst []byte, v reflect.Value) ([]byte, error) {
	if v.CanAddr() {
		v = v.Addr()
	}
	return v.Interface().(Appender).AppendJSON(dst, e.system)
}

func (e *Encoder) valuer(dst []byte, v reflect.Value) ([]byte, error) {
	if v.CanAddr() {
		v = v.Addr()
	}
	return v.Interface().(Valuer).Value().AppendJSON(dst, e.system)
}

// float writes a quantity without boxing it, where answers are full of its kind.
func (e *Encoder) float(t reflect.Type) appendFunc {
	switch t {
	case reflect.TypeFor[Length]():
		return floatOf[Length](e)
	case reflect.TypeFor[Area]():
		return floatOf[Area](e)
	case reflect.TypeFor[Volume]():
		return floatOf[Volume](e)
	case reflect.TypeFor[Fraction]():
		return floatOf[Fraction](e)
	}
	return e.valuer
}

func floatOf[T interface {
	~float64
	Valuer
}](e *Encoder) appendFunc {
	return func(dst []byte, v reflect.Value) ([]byte, error) {
		return T(v.Float()).Value().AppendJSON(dst, e.system)
	}
}

func (e *Encoder) pointer(t reflect.Type) appendFunc {
	elem := e.part(t.Elem())
	return func(dst []byte, v reflect.Value) ([]byte, error) {
		if v.IsNil() {
			return append(dst, "null"...), nil
		}
		return elem.write(dst, v.Elem())
	}
}

func (e *Encoder) list(t reflect.Type) appendFunc {
	elem := e.part(t.Elem())
	return func(dst []byte, v reflect.Value) (_ []byte, err error) {
		dst = append(dst, '[')
		for i := range v.Len() {
			if i > 0 {
				dst = append(dst, ',')
			}
			if dst, err = elem.write(dst, v.Index(i)); err != nil {
				return dst, err
			}
		}
		return append(dst, ']'), nil
	}
}

func (e *Encoder) object(t reflect.Type) appendFunc {
	if key := t.Key(); key.Kind() != reflect.String || key.NumMethod() > 0 {
		return e.general
	}
	elem := e.part(t.Elem())
	return func(dst []byte, v reflect.Value) (_ []byte, err error) {
		keys := v.MapKeys()
		slices.SortFunc(keys, func(a, b reflect.Value) int { return strings.Compare(a.String(), b.String()) })
		dst = append(dst, '{')
		for i, k := range keys {
			if i > 0 {
				dst = append(dst, ',')
			}
			if dst, err = e.text(dst, k.String()); err != nil {
				return dst, err
			}
			if dst, err = elem.write(append(dst, ':'), v.MapIndex(k)); err != nil {
				return dst, err
			}
		}
		return append(dst, '}'), nil
	}
}

// member is one field of a struct as written.
type member struct {
	index  []int // through embedded structs
	depth  int
	name   string
	prefix string // ,"name":
	codec  *codec
	isZero func(reflect.Value) bool // nil: never left out for being zero
	empty  bool                     // left out where the JSON is empty
}

func (e *Encoder) structure(t reflect.Type) appendFunc {
	members, ok := e.members(t, nil)
	if !ok {
		return e.general
	}
	write := e.fields(members)
	for i := range t.NumField() {
		if t.Field(i).Type == writtenType && !e.lenient {
			return e.once(i, write)
		}
	}
	return write
}

// once keeps what is written in the field of the struct that says so.
func (e *Encoder) once(field int, write appendFunc) appendFunc {
	return func(dst []byte, v reflect.Value) ([]byte, error) {
		w, _ := v.Field(field).Interface().(*Written)
		if w == nil {
			return write(dst, v)
		}
		if kept := w.json[e.system].Load(); kept != nil {
			return append(dst, *kept...), nil
		}
		start := len(dst)
		dst, err := write(dst, v)
		if err == nil {
			w.json[e.system].Store(new(slices.Clone(dst[start:])))
		}
		return dst, err
	}
}

// fields writes a struct member by member.
func (e *Encoder) fields(members []member) appendFunc {
	return func(dst []byte, v reflect.Value) (_ []byte, err error) {
		dst = append(dst, '{')
		start := len(dst)
	fields:
		for i := range members {
			m := &members[i]
			f := v.Field(m.index[0])
			for _, at := range m.index[1:] {
				if f.Kind() == reflect.Pointer {
					if f.IsNil() {
						continue fields
					}
					f = f.Elem()
				}
				f = f.Field(at)
			}
			if m.isZero != nil && m.isZero(f) {
				continue
			}
			before := len(dst)
			prefix := m.prefix
			if before == start {
				prefix = prefix[1:]
			}
			dst = append(dst, prefix...)
			value := len(dst)
			if dst, err = m.codec.write(dst, f); err != nil {
				return dst, fmt.Errorf("%s: %w", m.name, err)
			}
			if m.empty {
				switch string(dst[value:]) {
				case "null", `""`, "{}", "[]":
					dst = dst[:before]
				}
			}
		}
		return append(dst, '}'), nil
	}
}

// members lists the fields in the order written; ok is false where json.Marshal must
// decide.
func (e *Encoder) members(t reflect.Type, index []int) (out []member, ok bool) {
	for i := range t.NumField() {
		f := t.Field(i)
		at := append(slices.Clone(index), i)
		name, options, _ := strings.Cut(f.Tag.Get("json"), ",")
		if f.Tag.Get("json") == "-" || !f.IsExported() && !f.Anonymous {
			continue
		}
		if f.Anonymous && name == "" {
			inner := f.Type
			if inner.Kind() == reflect.Pointer {
				inner = inner.Elem()
			}
			if inner.Kind() != reflect.Struct || options != "" {
				return nil, false
			}
			inlined, ok := e.members(inner, at)
			if !ok {
				return nil, false
			}
			out = append(out, inlined...)
			continue
		}
		if name == "" {
			name = f.Name
		}
		if strings.ContainsAny(name, `'"\`) {
			return nil, false
		}
		m := member{index: at, depth: len(at), name: name, prefix: `,"` + name + `":`, codec: e.part(f.Type)}
		for option := range strings.SplitSeq(options, ",") {
			switch option {
			case "":
			case "omitzero":
				m.isZero = zeroOf(f.Type)
			case "omitempty":
				m.empty = true
			default:
				return nil, false
			}
		}
		out = append(out, m)
	}
	if index != nil {
		return out, true
	}
	// Of one name the least deep field counts.
	for i := range out {
		for j := range out {
			if i != j && out[i].name == out[j].name && out[i].depth == out[j].depth {
				return nil, false
			}
		}
	}
	all := slices.Clone(out)
	return slices.DeleteFunc(out, func(m member) bool {
		return slices.ContainsFunc(all, func(o member) bool { return o.name == m.name && o.depth < m.depth })
	}), true
}

func zeroOf(t reflect.Type) func(reflect.Value) bool {
	type zeroer interface{ IsZero() bool }
	zero := reflect.TypeFor[zeroer]()
	switch {
	case t.Implements(zero) && (t.Kind() == reflect.Pointer || t.Kind() == reflect.Interface):
		return func(v reflect.Value) bool { return v.IsNil() || v.Interface().(zeroer).IsZero() }
	case t.Implements(zero):
		return func(v reflect.Value) bool { return v.Interface().(zeroer).IsZero() }
	case t.Kind() == reflect.String:
		return func(v reflect.Value) bool { return v.Len() == 0 }
	}
	return reflect.Value.IsZero
}

// text writes a string with what JSON asks to be escaped.
func (e *Encoder) text(dst []byte, s string) ([]byte, error) {
	start := len(dst)
	dst = append(dst, '"')
	dst = append(dst, s...)
	switch escaped, ascii := scan(dst[start+1:]); {
	case escaped, !ascii && !utf8.Valid(dst[start+1:]):
	default:
		return append(dst, '"'), nil
	}
	dst, err := jsontext.AppendQuote(dst[:start], s)
	if e.lenient {
		err = nil // the only one there is: it was replaced
	}
	return dst, err
}

// scan reports whether a byte of text has to be escaped, and whether all are ASCII.
// It looks at eight at a time: a byte of x−0x20… (x^'"'…−1, x^'\\'…−1) has its
// top bit set where one of x is below a space (a quote, a backslash), or beyond ASCII,
// or follows one that is; so it may see one too many, but never one too few.
func scan(text []byte) (escaped, ascii bool) {
	const each, tops = 0x0101010101010101, 0x8080808080808080
	over := uint64(0)
	for len(text) >= 8 {
		x := binary.LittleEndian.Uint64(text)
		quote, slash := x^('"'*each), x^('\\'*each)
		if ((x-' '*each)&^x|(quote-each)&^quote|(slash-each)&^slash)&tops != 0 {
			return true, false
		}
		over |= x
		text = text[8:]
	}
	for _, c := range text {
		if c < ' ' || c == '"' || c == '\\' {
			return true, false
		}
		over |= uint64(c)
	}
	return false, over&tops == 0
}

// AppendJSON writes the value, in the system given, as an object that says its unit.
func (v Value) AppendJSON(dst []byte, s System) ([]byte, error) { return v.In(s).append(dst) }

func (v Value) append(dst []byte) ([]byte, error) {
	dst, err := AppendNumber(append(dst, `{"value":`...), v.Number)
	if err != nil {
		return dst, err
	}
	return appendUnit(append(dst, ','), v.Unit), nil
}

// appendUnit ends an object with its unit.
func appendUnit(dst []byte, unit string) []byte {
	dst, _ = jsontext.AppendQuote(append(dst, `"unit":`...), unit) // units are UTF-8
	return append(dst, '}')
}

// AppendJSON writes the band as an object that says its unit.
func (b Band) AppendJSON(dst []byte, s System) (_ []byte, err error) {
	b = b.In(s)
	dst = append(dst, '{')
	if b.Low != nil {
		if dst, err = AppendNumber(append(dst, `"low":`...), *b.Low); err != nil {
			return dst, err
		}
		dst = append(dst, ',')
	}
	if b.High != nil {
		if dst, err = AppendNumber(append(dst, `"high":`...), *b.High); err != nil {
			return dst, err
		}
		dst = append(dst, ',')
	}
	return appendUnit(dst, b.Unit), nil
}

// AppendNumber writes a number as JSON does: the shortest decimal that reads back as
// x. It fails where x is not finite.
func AppendNumber(dst []byte, x float64) ([]byte, error) {
	abs := math.Abs(x)
	switch {
	case math.IsNaN(x) || math.IsInf(x, 0):
		return dst, fmt.Errorf("%g can't be written as a number", x)
	case x == 0:
		if math.Signbit(x) {
			return append(dst, "-0"...), nil
		}
		return append(dst, '0'), nil
	case abs < 1e-6 || abs >= 1e21:
		dst = strconv.AppendFloat(dst, x, 'e', -1, 64)
		if n := len(dst); dst[n-4] == 'e' && dst[n-3] == '-' && dst[n-2] == '0' { // e-09 is written e-9
			dst[n-2] = dst[n-1]
			dst = dst[:n-1]
		}
		return dst, nil
	case abs < 1e9:
		// Nearly every figure has at most four decimals. Of fifteen digits and fewer no
		// two decimals are the same double, so the one found is the shortest.
		if n := math.Round(abs * 1e4); n/1e4 == abs {
			return appendFixed(dst, x < 0, uint64(n)), nil
		}
	}
	return strconv.AppendFloat(dst, x, 'f', -1, 64), nil
}

// appendFixed writes n ten-thousandths without zeros at the end.
func appendFixed(dst []byte, negative bool, n uint64) []byte {
	if negative {
		dst = append(dst, '-')
	}
	dst = strconv.AppendUint(dst, n/1e4, 10)
	rest := n % 1e4
	if rest == 0 {
		return dst
	}
	digits := [5]byte{'.', byte('0' + rest/1000), byte('0' + rest/100%10), byte('0' + rest/10%10), byte('0' + rest%10)}
	last := len(digits) - 1
	for digits[last] == '0' {
		last--
	}
	return append(dst, digits[:last+1]...)
}
