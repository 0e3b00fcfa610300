package pages

import (
	"bytes"
	"encoding/json"
	"fmt"
	"html"
	"html/template"
	"maps"
	"net/http"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/getkin/kin-openapi/openapi3"
	"go.yaml.in/yaml/v3"

	"denwright/openapi"
)

// contract is openapi.yaml as the reference shows it.
type contract struct {
	About []template.HTML // paragraphs
	Tags  []contractTag
	byID  map[string]*operation
}

type contractTag struct {
	Name, About string
	Operations  []*operation
}

// operation is one method on one path.
type operation struct {
	ID, Method, Path, Summary string
	About                     []template.HTML
	// Key says that a key of an organisation is needed.
	Key        bool
	Parameters []parameter
	// Media are the media types of the body; none where there is no body.
	Media    []string
	Fields   []*fieldRow
	Examples []bodyExample // of bodies
	Answers  []answerShape
	Problems []problemShape
}

// parameter is one in the path, the query or the header.
type parameter struct {
	Name, In, Type, About, Example string
	Bounds, Options                []string
	Needed                         bool
}

// fieldRow is one field of a body: At is its JSON pointer, with * for any place in a
// list, and Depth how deep it lies.
type fieldRow struct {
	At, Name, Type, About string
	Bounds                []string
	Depth                 int
	Needed                bool
	// Above is the row whose fields this one's are the same as.
	Above *fieldRow
	// ID is what other rows lead to it by; empty where none does.
	ID string
	// Inner says that it has fields, Apart that they are shown on a page of their own.
	Inner, Apart bool
}

// Top is the outermost field that it lies in.
func (f *fieldRow) Top() string {
	for part := range strings.SplitSeq(f.At, "/") {
		if part != "" && part != "*" {
			return part
		}
	}
	return ""
}

// bodyExample is a body to send. Media is its media type.
type bodyExample struct{ Name, Summary, Media, Body string }

// answerShape is an answer that is no problem.
type answerShape struct {
	Status, About string
	Media         []string
	Fields        []*fieldRow
	Headers       []string
}

type problemShape struct {
	Status, About, Example string
}

// HasFields reports whether any answer has fields to tell of.
func (o *operation) HasFields() bool {
	return slices.ContainsFunc(o.Answers, func(a answerShape) bool { return len(a.Fields) > 0 })
}

// reader turns the contract into what is shown. A map of the document is read in the
// order in which it was written, which order holds by the names in it. Without orders
// JSON is laid out as it stands.
type reader struct{ order map[string][]string }

// loadContract reads the embedded contract.
func loadContract() (*contract, error) {
	doc, err := openapi3.NewLoader().LoadFromData([]byte(openapi.YAML()))
	if err != nil {
		return nil, fmt.Errorf("pages: contract: %w", err)
	}
	var tree yaml.Node
	if err := yaml.Unmarshal([]byte(openapi.YAML()), &tree); err != nil {
		return nil, fmt.Errorf("pages: contract: %w", err)
	}
	r := reader{map[string][]string{}}
	r.note(&tree)
	c := &contract{About: prose(doc.Info.Description), byID: map[string]*operation{}}
	for _, t := range doc.Tags {
		c.Tags = append(c.Tags, contractTag{Name: t.Name, About: t.Description})
	}
	paths := doc.Paths.Map()
	for _, path := range r.sorted(slices.Collect(maps.Keys(paths))) {
		methods := paths[path].Operations()
		for _, method := range []string{http.MethodGet, http.MethodPost, http.MethodPut, http.MethodPatch, http.MethodDelete} {
			op := methods[method]
			if op == nil {
				continue
			}
			o, err := r.operation(path, method, op, doc)
			if err != nil {
				return nil, fmt.Errorf("pages: contract: %s: %w", op.OperationID, err)
			}
			c.byID[o.ID] = o
			for i := range c.Tags {
				if slices.Contains(op.Tags, c.Tags[i].Name) {
					c.Tags[i].Operations = append(c.Tags[i].Operations, o)
				}
			}
		}
	}
	return c, nil
}

// note keeps the order of every map in the document.
func (r reader) note(n *yaml.Node) {
	if n.Kind == yaml.MappingNode {
		var names []string
		for i := 0; i < len(n.Content); i += 2 {
			names = append(names, n.Content[i].Value)
		}
		r.order[signature(names)] = names
	}
	for _, child := range n.Content {
		r.note(child)
	}
}

func signature(names []string) string {
	return strings.Join(slices.Sorted(slices.Values(names)), "\n")
}

// sorted gives names in the order in which they were written.
func (r reader) sorted(names []string) []string {
	if written, ok := r.order[signature(names)]; ok {
		return written
	}
	slices.Sort(names)
	return names
}

func (r reader) operation(path, method string, op *openapi3.Operation, doc *openapi3.T) (*operation, error) {
	o := &operation{ID: op.OperationID, Method: method, Path: path, Summary: op.Summary, About: prose(op.Description)}
	needs := doc.Security
	if op.Security != nil {
		needs = *op.Security
	}
	o.Key = len(needs) > 0
	for _, p := range op.Parameters {
		s := p.Value.Schema.Value
		one := parameter{Name: p.Value.Name, In: p.Value.In, Type: typeOf(s), Bounds: bounds(s), About: p.Value.Description, Needed: p.Value.Required}
		if one.About == "" {
			one.About = s.Description
		}
		if p.Value.Example != nil {
			one.Example = fmt.Sprint(p.Value.Example)
		}
		for _, e := range s.Enum {
			one.Options = append(one.Options, fmt.Sprint(e))
		}
		o.Parameters = append(o.Parameters, one)
	}
	if op.RequestBody != nil {
		content := op.RequestBody.Value.Content
		o.Media = r.sorted(slices.Collect(maps.Keys(content)))
		for _, media := range o.Media {
			if s := content[media].Schema; s != nil && len(o.Fields) == 0 {
				o.Fields = r.fields(s)
			}
			found, err := r.examples(media, content[media])
			if err != nil {
				return nil, err
			}
			o.Examples = append(o.Examples, found...)
		}
	}
	answers := op.Responses.Map()
	for _, status := range slices.Sorted(maps.Keys(answers)) {
		a := answers[status].Value
		about := ""
		if a.Description != nil {
			about = *a.Description
		}
		if !strings.HasPrefix(status, "2") {
			p := problemShape{Status: status, About: about}
			if m := a.Content["application/problem+json"]; m != nil {
				found, err := r.examples("", m)
				if err != nil {
					return nil, err
				}
				if len(found) > 0 {
					p.Example = found[0].Body
				}
			}
			o.Problems = append(o.Problems, p)
			continue
		}
		shape := answerShape{Status: status, About: about, Media: r.sorted(slices.Collect(maps.Keys(a.Content))), Headers: slices.Sorted(maps.Keys(a.Headers))}
		for _, media := range shape.Media {
			if s := a.Content[media].Schema; s != nil && len(shape.Fields) == 0 {
				shape.Fields = r.fields(s)
			}
		}
		o.Answers = append(o.Answers, shape)
	}
	return o, nil
}

// examples are those of a body, written out as they are sent.
func (r reader) examples(media string, m *openapi3.MediaType) (out []bodyExample, err error) {
	add := func(name, summary string, value any) error {
		if text, ok := value.(string); ok {
			out = append(out, bodyExample{name, summary, media, text})
			return nil
		}
		body, err := json.Marshal(value)
		if err != nil {
			return fmt.Errorf("example %s: %w", name, err)
		}
		out = append(out, bodyExample{name, summary, media, r.written(body)})
		return nil
	}
	if m.Example != nil {
		err = add("example", "", m.Example)
	}
	for _, name := range r.sorted(slices.Collect(maps.Keys(m.Examples))) {
		if err == nil {
			err = add(name, m.Examples[name].Value.Summary, m.Examples[name].Value.Value)
		}
	}
	return out, err
}

// written lays JSON out in lines, each object or list on one line that fits on it,
// its names in the order of the contract.
func (r reader) written(body []byte) string {
	var n yaml.Node
	if err := yaml.Unmarshal(body, &n); err != nil || len(n.Content) == 0 { // JSON is YAML, but for some control characters
		var b bytes.Buffer
		if json.Indent(&b, body, "", "  ") != nil {
			return string(body)
		}
		return b.String()
	}
	var b strings.Builder
	r.write(&b, n.Content[0], "", 0)
	return b.String()
}

// lineLength is how long a line of an example may be.
const lineLength = 76

func (r reader) write(b *strings.Builder, n *yaml.Node, indent string, used int) {
	flat := r.flat(n)
	if n.Kind == yaml.ScalarNode || len(indent)+used+len(flat) <= lineLength {
		b.WriteString(flat)
		return
	}
	deeper := indent + "  "
	ends := [2]string{"{", "}"}
	if n.Kind == yaml.SequenceNode {
		ends = [2]string{"[", "]"}
	}
	b.WriteString(ends[0])
	for i, part := range r.parts(n) {
		if i > 0 {
			b.WriteString(",")
		}
		b.WriteString("\n" + deeper)
		name := ""
		if part[0] != nil {
			name = quoted(part[0].Value) + ": "
			b.WriteString(name)
		}
		r.write(b, part[1], deeper, len(name)+1)
	}
	b.WriteString("\n" + indent + ends[1])
}

// parts are the members of an object or a list; the first of a pair is its name.
func (r reader) parts(n *yaml.Node) (out [][2]*yaml.Node) {
	if n.Kind == yaml.SequenceNode {
		for _, item := range n.Content {
			out = append(out, [2]*yaml.Node{nil, item})
		}
		return out
	}
	at := map[string]int{}
	var names []string
	for i := 0; i < len(n.Content); i += 2 {
		at[n.Content[i].Value] = i
		names = append(names, n.Content[i].Value)
	}
	if r.order != nil {
		names = r.sorted(names)
	}
	for _, name := range names {
		out = append(out, [2]*yaml.Node{n.Content[at[name]], n.Content[at[name]+1]})
	}
	return out
}

func (r reader) flat(n *yaml.Node) string {
	switch n.Kind {
	case yaml.ScalarNode:
		if n.Tag == "!!str" {
			return quoted(n.Value)
		}
		return n.Value
	case yaml.SequenceNode:
		var items []string
		for _, part := range r.parts(n) {
			items = append(items, r.flat(part[1]))
		}
		return "[" + strings.Join(items, ", ") + "]"
	}
	var members []string
	for _, part := range r.parts(n) {
		members = append(members, quoted(part[0].Value)+": "+r.flat(part[1]))
	}
	return "{" + strings.Join(members, ", ") + "}"
}

// quoted is a string as JSON writes it.
func quoted(s string) string {
	var b strings.Builder
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(s); err != nil { // a string is always written
		return strconv.Quote(s)
	}
	return strings.TrimSuffix(b.String(), "\n")
}

// fields lists the fields of a body from the outside in. What was shown once, by the
// same name in the contract, is not shown again: the second leads to the first.
func (r reader) fields(ref *openapi3.SchemaRef) (rows []*fieldRow) {
	shown := map[string]*fieldRow{} // by name in the contract
	var walk func(ref *openapi3.SchemaRef, at string, depth int)
	walk = func(ref *openapi3.SchemaRef, at string, depth int) {
		s := single(ref).Value
		for _, name := range r.sorted(slices.Collect(maps.Keys(s.Properties))) {
			p := s.Properties[name]
			row := &fieldRow{At: at + "/" + name, Name: name, Depth: depth, Needed: slices.Contains(s.Required, name)}
			row.About, row.Type, row.Bounds = about(p), typeOf(single(p).Value), bounds(single(p).Value)
			inner, below := single(p), row.At
			for inner.Value.Items != nil {
				if row.About == "" {
					row.About = about(inner.Value.Items)
				}
				inner, below = single(inner.Value.Items), below+"/*"
			}
			if inner.Value.Properties == nil && inner.Value.AdditionalProperties.Schema != nil {
				inner, below = single(inner.Value.AdditionalProperties.Schema), below+"/*"
			}
			if len(inner.Value.Properties) == 0 || isFigure(inner.Value) {
				rows = append(rows, row)
				continue
			}
			if known, ok := shown[inner.Ref]; ok && inner.Ref != "" {
				row.Above, known.ID = known, "f"+strings.NewReplacer("/", "-", "*", "").Replace(known.At)
				rows = append(rows, row)
				continue
			}
			if inner.Ref != "" {
				shown[inner.Ref] = row
			}
			row.Inner = true
			rows = append(rows, row)
			walk(inner, below, depth+1)
		}
	}
	top := single(ref)
	at := ""
	for top.Value.Items != nil {
		top, at = single(top.Value.Items), at+"/*"
	}
	walk(top, at, 0)
	return rows
}

// single looks through an allOf of one, which the contract uses to say more about what it refers to.
func single(ref *openapi3.SchemaRef) *openapi3.SchemaRef {
	if len(ref.Value.AllOf) == 1 && len(ref.Value.Properties) == 0 {
		return ref.Value.AllOf[0]
	}
	return ref
}

// about is what is said of a field: by itself, else by what it refers to.
func about(ref *openapi3.SchemaRef) string {
	if ref.Value.Description != "" {
		return ref.Value.Description
	}
	return single(ref).Value.Description
}

// isFigure reports whether a schema is a number or a range with its unit, which is told in one line.
func isFigure(s *openapi3.Schema) bool {
	unit := s.Properties["unit"]
	if unit == nil {
		return false
	}
	for name := range s.Properties {
		if !slices.Contains([]string{"value", "low", "high", "unit"}, name) {
			return false
		}
	}
	return true
}

// typeOf says in words what a schema holds.
func typeOf(s *openapi3.Schema) string {
	switch {
	case isFigure(s):
		var parts []string
		for _, name := range []string{"value", "low", "high", "unit"} {
			if s.Properties[name] != nil {
				parts = append(parts, name)
			}
		}
		return "{" + strings.Join(parts, ", ") + "}"
	case s.Items != nil:
		return "list of " + typeOf(single(s.Items).Value)
	case s.Type.Is("object") && s.AdditionalProperties.Schema != nil && len(s.Properties) == 0:
		return "object by name of " + typeOf(single(s.AdditionalProperties.Schema).Value)
	case s.Type.Is("object") || len(s.Properties) > 0:
		return "object"
	case s.Type.Is("integer"):
		return "whole number"
	case s.Type.Is("string"):
		return "text"
	case s.Type.Is("boolean"):
		return "true or false"
	case s.Type.Is("number"):
		return "number"
	}
	return "any"
}

// bounds are what a value must keep to, in words.
func bounds(s *openapi3.Schema) (out []string) {
	number := func(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }
	switch {
	case s.Min != nil && s.ExclusiveMin.Bool != nil && *s.ExclusiveMin.Bool:
		out = append(out, "more than "+number(*s.Min))
	case s.Min != nil && s.Max != nil:
		out = append(out, number(*s.Min)+" to "+number(*s.Max))
	case s.Min != nil:
		out = append(out, "at least "+number(*s.Min))
	}
	if s.Max != nil && (s.Min == nil || len(out) > 0 && strings.HasPrefix(out[0], "more")) {
		out = append(out, "at most "+number(*s.Max))
	}
	switch {
	case s.MaxLength != nil && s.MinLength > 0:
		out = append(out, fmt.Sprintf("%d to %d characters", s.MinLength, *s.MaxLength))
	case s.MaxLength != nil:
		out = append(out, fmt.Sprintf("at most %d characters", *s.MaxLength))
	case s.MinLength > 0:
		out = append(out, "not empty")
	}
	switch {
	case s.MaxItems != nil && s.MinItems > 0:
		out = append(out, fmt.Sprintf("%d to %d entries", s.MinItems, *s.MaxItems))
	case s.MaxItems != nil:
		out = append(out, fmt.Sprintf("at most %d entries", *s.MaxItems))
	case s.MinItems > 0:
		out = append(out, fmt.Sprintf("at least %d entries", s.MinItems))
	}
	if s.Pattern != "" {
		out = append(out, "pattern "+s.Pattern)
	}
	words := func(label string, all []any) {
		var list []string
		for _, e := range all {
			list = append(list, fmt.Sprint(e))
		}
		if len(list) > 0 {
			out = append(out, label+strings.Join(list, ", "))
		}
	}
	words("one of ", s.Enum)
	if isFigure(s) {
		words("unit ", s.Properties["unit"].Value.Enum)
	}
	if s.Items != nil {
		out = append(out, bounds(single(s.Items).Value)...)
	}
	if s.Default != nil {
		out = append(out, fmt.Sprintf("%v when left out", s.Default))
	}
	return out
}

var (
	strongText = regexp.MustCompile(`\*\*(.+?)\*\*`)
	codeText   = regexp.MustCompile("`(.+?)`")
)

// prose sets the contract's descriptions: paragraphs, strong words and code.
func prose(text string) (out []template.HTML) {
	for paragraph := range strings.SplitSeq(strings.TrimSpace(text), "\n\n") {
		if paragraph = strings.TrimSpace(paragraph); paragraph == "" {
			continue
		}
		safe := html.EscapeString(strings.Join(strings.Fields(paragraph), " "))
		safe = strongText.ReplaceAllString(safe, "<strong>$1</strong>")
		out = append(out, template.HTML(codeText.ReplaceAllString(safe, "<code>$1</code>"))) // it was escaped
	}
	return out
}
