package quantity

import (
	"encoding"
	stdjson "encoding/json"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"sync"
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
	writers sync.Map // reflect.Type → appendFunc
}

// NewEncoder makes an encoder of answers in the system given. With lenient, bytes
// that are not UTF-8 are replaced, where they are an error otherwise.
func NewEncoder(s System, lenient bool) *Encoder {
	return &Encoder{system: s, lenient: lenient,
		options: json.JoinOptions(json.WithMarshalers(Marshalers(s)), json.Deterministic(true), jsontext.AllowInvalidUTF8(lenient))}
}

// Append writes v after dst. It fails on a number that is none and on text that is
// not UTF-8; dst then has some of the answer after it.
func (e *Encoder) Append(dst []byte, v any) ([]byte, error) {
	if v == nil {
		return append(dst, "null"...), nil
	}
	r := reflect.ValueOf(v)
	return e.of(r.Type())(dst, r)
}

type appendFunc func(dst []byte, v reflect.Value) ([]byte, error)

// of gives the function for a type, made on first use.
func (e *Encoder) of(t reflect.Type) appendFunc {
	if f, ok := e.writers.Load(t); ok {
		return f.(appendFunc)
	}
	f, _ := e.writers.LoadOrStore(t, e.make(t)) // two goroutines may make the same
	return f.(appendFunc)
}

// later is of for a type that may hold itself.
func (e *Encoder) later(t reflect.Type) appendFunc {
	once := sync.OnceValue(func() appendFunc { return e.of(t) })
	return func(dst []byte, v reflect.Value) ([]byte, error) { return once()(dst, v) }
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
			return e.of(v.Elem().Type())(dst, v.Elem())
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
	elem := e.later(t.Elem())
	return func(dst []byte, v reflect.Value) ([]byte, error) {
		if v.IsNil() {
			return append(dst, "null"...), nil
		}
		return elem(dst, v.Elem())
	}
}

func (e *Encoder) list(t reflect.Type) appendFunc {
	elem := e.later(t.Elem())
	return func(dst []byte, v reflect.Value) (_ []byte, err error) {
		dst = append(dst, '[')
		for i := range v.Len() {
			if i > 0 {
				dst = append(dst, ',')
			}
			if dst, err = elem(dst, v.Index(i)); err != nil {
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
	elem := e.later(t.Elem())
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
			if dst, err = elem(append(dst, ':'), v.MapIndex(k)); err != nil {
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
	write  appendFunc
	isZero func(reflect.Value) bool // nil: never left out for being zero
	empty  bool                     // left out where the JSON is empty
}

func (e *Encoder) structure(t reflect.Type) appendFunc {
	members, ok := e.members(t, nil)
	if !ok {
		return e.general
	}
	return func(dst []byte, v reflect.Value) (_ []byte, err error) {
		dst = append(dst, '{')
		start := len(dst)
	fields:
		for i := range members {
			m := &members[i]
			f := v
			for _, at := range m.index {
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
			if dst, err = m.write(dst, f); err != nil {
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
		m := member{index: at, depth: len(at), name: name, prefix: `,"` + name + `":`, write: e.later(f.Type)}
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
	plain, ascii := true, byte(0)
	for i := 0; i < len(s); i++ {
		c := s[i]
		ascii |= c
		if c < ' ' || c == '"' || c == '\\' {
			plain = false
			break
		}
	}
	if plain && (ascii < utf8.RuneSelf || utf8.ValidString(s)) {
		dst = append(dst, '"')
		dst = append(dst, s...)
		return append(dst, '"'), nil
	}
	dst, err := jsontext.AppendQuote(dst, s)
	if e.lenient {
		err = nil // the only one there is: it was replaced
	}
	return dst, err
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
