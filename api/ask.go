package api

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"os"
	"slices"
	"strconv"
	"strings"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
	"github.com/labstack/echo/v4"

	"denwright/care"
	"denwright/openapi"
	"denwright/sizing"
)

// fastLimit bounds the bodies that are decoded straight into the question. A larger
// one is checked against the contract first, whose limits on text and lists keep
// it from costing more than it should.
const fastLimit = 64 << 10

var strict = json.RejectUnknownMembers(true)

// ask serves a POST that puts a question to sizing. A good question is decoded
// straight into Q and answered. Only a bad one is read a second time, slowly, to
// name every bad field at once.
//
// With contractFirst the body is held against the contract before all else, and its
// faults are told alone: for a question in which a field left out can't be told
// from a zero, and in which one field's worth hangs on another's.
func ask[Q, A any](s *Server, cfg Config, at *slots, schema string, contractFirst bool, answer func(*care.Catalogue, Q) (A, error)) echo.HandlerFunc {
	return func(c echo.Context) error {
		snap := s.snapshot.Load()
		if snap == nil {
			return &Problem{kind: notReady}
		}
		params := newQuery(c)
		system := params.units()
		if err := params.done(); err != nil {
			return err
		}
		a, err := answered(s, snap, c, cfg, at, schema, contractFirst, answer)
		if err != nil {
			return err
		}
		c.Response().Header().Set(echo.HeaderCacheControl, "no-store")
		return s.send(c, a, system)
	}
}

// answered reads the body of a request and, with a place to compute, puts the question in it.
func answered[Q, A any](s *Server, snap *snapshot, c echo.Context, cfg Config, at *slots, schema string, contractFirst bool, answer func(*care.Catalogue, Q) (A, error)) (a A, err error) {
	body, err := readBody(c, cfg.MaxBodyBytes)
	if err != nil {
		return a, err
	}
	if err := at.take(c.Request().Context()); err != nil {
		return a, err
	}
	defer at.give()
	// A null or an empty text would pass for a field left out; the contract knows neither.
	if !contractFirst && len(body) <= fastLimit && !bytes.Contains(body, []byte("null")) && !bytes.Contains(body, []byte(`""`)) {
		var q Q
		if json.Unmarshal(body, &q, strict) == nil {
			if a, err := answer(snap.Catalogue, q); err == nil {
				return a, nil
			}
		}
	}
	return examined(s, snap, schema, contractFirst, body, answer)
}

// readBody checks the media type and reads at most limit bytes.
func readBody(c echo.Context, limit int64) ([]byte, error) {
	r := c.Request()
	kind, params, err := mime.ParseMediaType(r.Header.Get(echo.HeaderContentType))
	charset := params["charset"]
	coding := r.Header.Get(echo.HeaderContentEncoding)
	if err != nil || kind != echo.MIMEApplicationJSON || charset != "" && !strings.EqualFold(charset, "utf-8") || coding != "" && coding != "identity" {
		return nil, &Problem{kind: wrongMediaType}
	}
	var tooLarge *http.MaxBytesError
	if r.ContentLength > limit {
		return nil, &Problem{kind: bodyTooLarge}
	}
	var buffer bytes.Buffer
	if r.ContentLength > 0 {
		buffer.Grow(int(r.ContentLength) + bytes.MinRead)
	}
	_, err = buffer.ReadFrom(http.MaxBytesReader(c.Response().Writer, r.Body, limit))
	switch {
	case err == nil:
		return buffer.Bytes(), nil
	case errors.As(err, &tooLarge):
		return nil, &Problem{kind: bodyTooLarge}
	case errors.Is(err, os.ErrDeadlineExceeded):
		return nil, &Problem{kind: tooSlow}
	case errors.Is(err, io.ErrUnexpectedEOF), r.Context().Err() != nil && errors.Is(r.Context().Err(), context.Canceled):
		return nil, &Problem{kind: unreadableRequest, detail: "the body ended before its stated length"}
	}
	return nil, &Problem{kind: unreadableRequest, detail: "the body could not be read to its end"}
}

// fault is one bad field. A structural one keeps the request from being read at all.
type fault struct {
	sizing.Problem
	structural bool
}

// examined reads a body that could not be answered straight away. It lists every
// fault: of the JSON, against the contract, and, with each field that is at fault
// replaced by the contract's example for it, of the question. Where there is none
// after all (a null-like text, 2.0 for a whole number) it gives the answer.
func examined[Q, A any](s *Server, snap *snapshot, schema string, contractFirst bool, body []byte, answer func(*care.Catalogue, Q) (A, error)) (a A, err error) {
	requests, err := s.requests()
	if err != nil {
		return a, fmt.Errorf("contract: %w", err)
	}
	tree, faults := readTree(body)
	if tree == nil {
		return a, refusal(faults)
	}
	root := requests.schemas[schema]
	faults = distinct(append(faults, contractFaults(root, tree)...))
	if contractFirst && len(faults) > 0 {
		return a, refusal(faults)
	}
	if contractFirst { // and nothing is at fault: nearly always the body can be taken as it is
		var q Q
		if json.Unmarshal(body, &q, strict) == nil {
			if a, err := answer(snap.Catalogue, q); err == nil {
				return a, nil
			}
		}
	}
	for _, f := range faults {
		tree = mended(root, tree, pointerTokens(f.Field))
	}
	var q Q
	raw, err := json.Marshal(tree)
	if err != nil {
		return a, fmt.Errorf("encode what was read: %w", err)
	}
	if err := json.Unmarshal(raw, &q, strict); err != nil {
		if len(faults) == 0 { // the contract allows what the decoder does not: the decoder's word must do
			faults = append(faults, decoderFault(err))
		}
		return a, refusal(faults)
	}
	a, err = answer(snap.Catalogue, q)
	var invalid sizing.Invalid
	switch {
	case errors.As(err, &invalid):
		for _, p := range invalid {
			// What stands above or below a fault was judged with an example in its place.
			if !slices.ContainsFunc(faults, func(f fault) bool {
				return p.Field == f.Field || strings.HasPrefix(p.Field, f.Field+"/") || strings.HasPrefix(f.Field, p.Field+"/")
			}) {
				faults = append(faults, fault{Problem: p})
			}
		}
	case err != nil:
		return a, err
	}
	if len(faults) > 0 {
		return a, refusal(distinct(faults))
	}
	return a, err
}

// refusal is the problem document of the faults: unreadable if any is structural.
func refusal(faults []fault) *Problem {
	p := &Problem{kind: invalidQuestion, detail: count(len(faults), "field is", "fields are") + " bad; see errors"}
	for _, f := range faults {
		if f.structural {
			p.kind = unreadableRequest
		}
		p.errors = append(p.errors, f.Problem)
	}
	return p
}

// distinct keeps one fault for each field, a structural one first, in the order of
// the pointers.
func distinct(faults []fault) []fault {
	tokens := func(f fault) []string { return pointerTokens(f.Field) }
	slices.SortStableFunc(faults, func(a, b fault) int {
		if c := slices.CompareFunc(tokens(a), tokens(b), compareTokens); c != 0 {
			return c
		}
		switch {
		case a.structural && !b.structural:
			return -1
		case b.structural && !a.structural:
			return 1
		}
		return 0
	})
	return slices.CompactFunc(faults, func(a, b fault) bool { return a.Field == b.Field })
}

func compareTokens(a, b string) int {
	x, errX := strconv.Atoi(a)
	y, errY := strconv.Atoi(b)
	if errX == nil && errY == nil {
		return x - y
	}
	return strings.Compare(a, b)
}

func pointerTokens(pointer string) []string {
	return slices.Collect(jsontext.Pointer(pointer).Tokens())
}

func pointerOf(tokens []string) string {
	var p jsontext.Pointer
	for _, t := range tokens {
		p = p.AppendToken(t)
	}
	return string(p)
}

// maxDepth of a body; the deepest field of the contract lies far above it.
const maxDepth = 32

var errTooDeep = errors.New("nested too deep")

// readTree reads any JSON value. A nil tree means that it could not be read, and
// the last fault says why; other faults are names given twice and numbers too large.
func readTree(body []byte) (tree any, faults []fault) {
	bad := func(pointer, reason, remedy string) {
		faults = append(faults, fault{sizing.Problem{Field: pointer, Reason: reason, Remedy: remedy}, true})
	}
	if len(bytes.TrimSpace(body)) == 0 {
		bad("", "the body is empty", "send a question as JSON")
		return nil, faults
	}
	d := jsontext.NewDecoder(bytes.NewReader(body), jsontext.AllowDuplicateNames(true))
	var read func(depth int) (any, error)
	read = func(depth int) (any, error) {
		token, err := d.ReadToken()
		if err != nil {
			return nil, err
		}
		at := string(d.StackPointer())
		if depth > maxDepth {
			bad(at, fmt.Sprintf("is nested more than %d deep", maxDepth), "the contract's deepest field lies far above that")
			return nil, errTooDeep
		}
		switch token.Kind() {
		case '{':
			object := map[string]any{}
			for d.PeekKind() != '}' {
				name, err := d.ReadToken()
				if err != nil {
					return nil, err
				}
				key, at := name.String(), string(d.StackPointer())
				v, err := read(depth + 1)
				if err != nil {
					return nil, err
				}
				if _, twice := object[key]; twice {
					bad(at, "is given more than once", "give it once")
					continue
				}
				object[key] = v
			}
			_, err := d.ReadToken()
			return object, err
		case '[':
			list := []any{}
			for d.PeekKind() != ']' {
				v, err := read(depth + 1)
				if err != nil {
					return nil, err
				}
				list = append(list, v)
			}
			_, err := d.ReadToken()
			return list, err
		case '"':
			return token.String(), nil
		case '0':
			x, err := strconv.ParseFloat(token.String(), 64)
			if err != nil {
				bad(at, "is too large a number", "give a number that fits a double")
				x = 0 // an infinity could not be written again
			}
			return x, nil
		case 't', 'f':
			return token.Bool(), nil
		}
		return nil, nil
	}
	tree, err := read(0)
	if err == nil {
		if tree == nil {
			bad("", "the body is null", "send a question as a JSON object")
			return nil, faults
		}
		var trailing error
		if _, trailing = d.ReadToken(); errors.Is(trailing, io.EOF) {
			return tree, faults
		}
		bad("", "something follows the end of the JSON value, at byte "+strconv.FormatInt(d.InputOffset(), 10), "send one JSON object and nothing else")
		return nil, faults
	}
	if errors.Is(err, errTooDeep) {
		return nil, faults
	}
	f := decoderFault(err)
	if f.Field == "" && errors.Is(err, io.ErrUnexpectedEOF) {
		f.Field = string(d.StackPointer())
	}
	return nil, append(faults, f)
}

// decoderFault words an error of the JSON decoder.
func decoderFault(err error) fault {
	var syntactic *jsontext.SyntacticError
	var semantic *json.SemanticError
	p := sizing.Problem{Remedy: "send valid JSON in UTF-8, as the contract describes"}
	switch {
	case errors.Is(err, io.ErrUnexpectedEOF):
		p.Reason = "the body ends before the JSON does"
		if errors.As(err, &syntactic) {
			p.Field = string(syntactic.JSONPointer)
		}
	case errors.As(err, &syntactic):
		p.Field = string(syntactic.JSONPointer)
		p.Reason = fmt.Sprintf("is not valid JSON at byte %d: %v", syntactic.ByteOffset, syntactic.Err)
	case errors.As(err, &semantic):
		p.Field = string(semantic.JSONPointer)
		p.Reason = "can't be taken as this field"
		if semantic.Err != nil {
			p.Reason = semantic.Err.Error()
		}
	default:
		p.Reason = err.Error()
	}
	return fault{p, true}
}

// requestSchemas are the schemas of the contract that requests are held against.
type requestSchemas struct{ schemas map[string]*openapi3.Schema }

func loadRequestSchemas() (*requestSchemas, error) {
	doc, err := openapi3.NewLoader().LoadFromData([]byte(openapi.YAML()))
	if err != nil {
		return nil, err
	}
	out := &requestSchemas{schemas: map[string]*openapi3.Schema{}}
	for name, ref := range doc.Components.Schemas {
		out.schemas[name] = ref.Value
	}
	return out, nil
}

// contractFaults holds a value against a schema and words every fault.
func contractFaults(root *openapi3.Schema, tree any) (out []fault) {
	err := root.VisitJSON(tree, openapi3.VisitAsRequest(), openapi3.MultiErrors(), openapi3.DisableSchemaErrorDetails())
	seen := map[string]bool{} // objects whose unknown fields are listed
	var walk func(error)
	walk = func(err error) {
		var many openapi3.MultiError
		var one *openapi3.SchemaError
		switch {
		case errors.As(err, &many):
			for _, e := range many {
				walk(e)
			}
		case errors.As(err, &one) && one.SchemaField == "properties":
			if at := pointerOf(one.JSONPointer()); !seen[at] {
				seen[at] = true
				out = append(out, unknownFields(one)...)
			}
		case errors.As(err, &one):
			out = append(out, worded(root, one))
		}
	}
	walk(err)
	return out
}

func unknownFields(e *openapi3.SchemaError) (out []fault) {
	object, _ := e.Value.(map[string]any)
	var known []string
	for name := range e.Schema.Properties {
		known = append(known, name)
	}
	slices.Sort(known)
	for name := range object {
		if e.Schema.Properties[name] == nil {
			out = append(out, fault{sizing.Problem{Field: pointerOf(append(e.JSONPointer(), name)), Reason: "is not a field here",
				Remedy: "leave it out; the fields here are " + strings.Join(known, ", ")}, true})
		}
	}
	return out
}

// worded turns a fault against the contract into plain words.
func worded(root *openapi3.Schema, e *openapi3.SchemaError) fault {
	tokens := e.JSONPointer()
	f := fault{Problem: sizing.Problem{Field: pointerOf(tokens)}}
	wanted := e.Schema
	if e.SchemaField == "required" {
		wanted = schemaAt(root, tokens)
	}
	f.Remedy = "give " + wording(wanted)
	switch field := e.SchemaField; {
	case field == "required":
		f.Reason = "is missing"
	case e.Value == nil:
		f.structural, f.Reason = true, "is null"
		f.Remedy += ", or leave the field out"
	case field == "type":
		f.structural, f.Reason = true, "is "+kindOf(e.Value)
	case field == "minItems", field == "maxItems":
		n := 0
		if list, ok := e.Value.([]any); ok {
			n = len(list)
		}
		f.Reason = "has " + count(n, "entry", "entries")
		if n == 0 {
			f.Reason = "is empty"
		}
	case field == "minLength", field == "maxLength":
		s, _ := e.Value.(string)
		f.Reason = fmt.Sprintf("is %d characters long", len([]rune(s)))
	default:
		f.Reason = "is " + shown(e.Value)
	}
	return f
}

func kindOf(v any) string {
	switch v := v.(type) {
	case nil:
		return "null"
	case string:
		return "text"
	case bool:
		return "true or false"
	case []any:
		return "a list"
	case map[string]any:
		return "an object"
	case float64:
		return "the number " + shown(v)
	}
	return "of another type"
}

func shown(v any) string {
	b, err := json.Marshal(v, json.Deterministic(true))
	if err != nil {
		return "not a value of JSON"
	}
	return cut(string(b))
}

// wording says what a schema asks for.
func wording(s *openapi3.Schema) string {
	if s == nil {
		return "what the contract describes"
	}
	var out string
	switch {
	case len(s.Enum) > 0:
		words := make([]string, len(s.Enum))
		for i, w := range s.Enum {
			words[i] = fmt.Sprint(w)
		}
		return "one of " + strings.Join(words, ", ")
	case s.Type.Is("integer"):
		out = "a whole number"
	case s.Type.Is("number"):
		out = "a number"
	case s.Type.Is("string"):
		out = "text"
		if s.MaxLength != nil {
			out += fmt.Sprintf(" of %d to %d characters", s.MinLength, *s.MaxLength)
		}
	case s.Type.Is("boolean"):
		return "true or false"
	case s.Type.Is("array"):
		out = "a list"
		if s.MaxItems != nil {
			out += fmt.Sprintf(" of %d to %d entries", s.MinItems, *s.MaxItems)
		}
	default:
		out = "an object"
	}
	if s.Min != nil && s.Max != nil {
		out += " from " + strconv.FormatFloat(*s.Min, 'f', -1, 64) + " to " + strconv.FormatFloat(*s.Max, 'f', -1, 64)
	}
	if s.Example != nil {
		out += ", such as " + shown(s.Example)
	}
	return out
}

// schemaAt follows a pointer down the schema; nil where it leads out of the contract.
func schemaAt(s *openapi3.Schema, tokens []string) *openapi3.Schema {
	for _, t := range tokens {
		switch {
		case s == nil:
			return nil
		case s.Items != nil:
			s = s.Items.Value
		case s.Properties[t] != nil:
			s = s.Properties[t].Value
		default:
			return nil
		}
	}
	return s
}

// mended puts the contract's example in the place of a bad value, so that the rest
// of the question can still be checked; a field that is unknown or has no example
// is taken out.
func mended(root *openapi3.Schema, tree any, tokens []string) any {
	if len(tokens) == 0 {
		return tree
	}
	var example any
	if schema := schemaAt(root, tokens); schema != nil && schema.Example != nil {
		// A copy: the example is shared, and the tree is changed in place.
		if raw, err := json.Marshal(schema.Example); err != nil || json.Unmarshal(raw, &example) != nil {
			example = nil
		}
	}
	parent := tree
	for _, t := range tokens[:len(tokens)-1] {
		switch p := parent.(type) {
		case map[string]any:
			parent = p[t]
		case []any:
			i, err := strconv.Atoi(t)
			if err != nil || i < 0 || i >= len(p) {
				return tree
			}
			parent = p[i]
		}
	}
	last := tokens[len(tokens)-1]
	switch p := parent.(type) {
	case map[string]any:
		if p[last] = example; example == nil {
			delete(p, last)
		}
	case []any:
		if i, err := strconv.Atoi(last); err == nil && i >= 0 && i < len(p) && example != nil {
			p[i] = example
		}
	}
	return tree
}
