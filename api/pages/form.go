package pages

import (
	"errors"
	"fmt"
	"html/template"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"github.com/go-json-experiment/json"

	"denwright/care/quantity"
	"denwright/sizing"
)

// kind is how a field is written and read.
type kind string

const (
	textField        kind = "text"
	wholeField       kind = "whole"
	numberField      kind = "number" // a bare number
	choiceField      kind = "choice"
	manyField        kind = "many"   // check boxes; the question has a list
	yesNoField       kind = "yes-no" // yes, no or not stated
	tickField        kind = "tick"   // a check box: true, else left out
	listField        kind = "list"   // words parted by commas; "none" is an empty list
	noneField        kind = "none"   // a check box: the list of this name is empty
	lengthField      kind = "length"
	temperatureField kind = "temperature"
	fractionField    kind = "fraction"
	powerField       kind = "power"
	uvField          kind = "uv-index"
	volumeField      kind = "volume"
	hoursField       kind = "hours"
	smallField       kind = "small-length" // a length in mm or in
	areaField        kind = "area"
	massField        kind = "mass"
	figureField      kind = "figure" // a number in the unit of the field alone
)

// units of a bare number, by kind and system.
var bareUnits = map[kind][2]string{
	lengthField: {"cm", "in"}, temperatureField: {"°C", "°F"}, fractionField: {"%", "%"}, powerField: {"W", "W"},
	uvField: {"UVI", "UVI"}, volumeField: {"L", "gal"}, hoursField: {"h", "h"},
	smallField: {"mm", "in"}, areaField: {"cm²", "in²"}, massField: {"kg", "lb"},
}

// field is one field of a form. At is its place in the question, with dots for the
// slashes of a JSON pointer, and the name that it has in the form: animals.0.length.
type field struct {
	At      string
	Kind    kind
	Options []string // of a choice; their texts are <form>.<field>.<option>, option.<option>, or the word itself
	// Unit overrides the unit of a bare number: a field in kilograms, mm or hours.
	Unit string
	// Start is what stands in an empty form.
	Start string
	// Wide takes a whole row.
	Wide bool
	// Needed marks what the answer can't do without.
	Needed bool
}

// form is a form as filled in: what was typed is kept, whatever it was.
type form struct {
	// Name is the prefix of its texts: <name>.<field without numbers> is a label, with
	// .hint what to measure, where and how.
	Name   string
	Fields []field
	// Values are as typed. Rows are lists whose fields come in numbered rows.
	Values url.Values
	system quantity.System // of the viewer
	typed  quantity.System // of bare numbers in Values
	// Problems are by field; Other those that belong to none of them.
	Problems map[string]sizing.Problem
	Other    []sizing.Problem
	backTo   map[string]string // JSON pointer in the question → field
	// Asked is the question as JSON, in the units typed, once it could be read: what is
	// saved, and sent on to what else is asked about it.
	Asked string
	all   texts
}

// unitsField says in the query in which units its bare numbers are.
const unitsField = "units"

// newForm reads the query into a form. Fields with a 0 in their place that belong to
// one of rows are repeated for each row that was sent, for at least one, and for one
// more where that was asked for with add=<row>.
func (r *request) newForm(name string, values url.Values, fields []field, rows ...string) *form {
	f := &form{Name: name, Values: values, system: r.look.units, typed: r.look.units, Problems: map[string]sizing.Problem{}, all: r.all}
	if values.Has(unitsField) {
		f.typed, _ = quantity.ParseSystem(values.Get(unitsField))
	}
	counts := map[string]int{}
	for _, row := range rows {
		counts[row] = 1
		for name := range values {
			if rest, ok := strings.CutPrefix(name, row+"."); ok && strings.TrimSpace(values.Get(name)) != "" {
				number, _, _ := strings.Cut(rest, ".")
				if i, err := strconv.Atoi(number); err == nil && 0 <= i && i < maxRows {
					counts[row] = max(counts[row], i+1)
				}
			}
		}
		if values.Get("add") == row {
			counts[row] = min(counts[row]+1, maxRows)
		}
	}
	for i := 0; i < len(fields); {
		row := rowOf(fields[i].At, rows)
		if row == "" {
			f.Fields = append(f.Fields, fields[i])
			i++
			continue
		}
		end := i
		for end < len(fields) && rowOf(fields[end].At, rows) == row {
			end++
		}
		for n := range counts[row] {
			for _, one := range fields[i:end] {
				one.At = strings.Replace(one.At, row+".0.", fmt.Sprintf("%s.%d.", row, n), 1)
				if n > 0 {
					one.Start, one.Needed = "", false
				}
				f.Fields = append(f.Fields, one)
			}
		}
		i = end
	}
	return f
}

// maxRows bounds the rows of a list in a form.
const maxRows = 12

func rowOf(at string, rows []string) string {
	for _, row := range rows {
		if strings.HasPrefix(at, row+".0.") {
			return row
		}
	}
	return ""
}

// sent reports whether the form was filled in and sent to be answered; adding a row is not that.
func (f *form) sent() bool { return f.Values.Has(unitsField) && !f.Values.Has("add") }

// ask decodes what was typed into the question and reports whether it could be
// read; what could not be is among the problems.
func (f *form) ask(question any) bool {
	tree := map[string]any{}
	for _, one := range f.Fields {
		typed := f.Values[one.At]
		text := ""
		if len(typed) > 0 {
			text = strings.TrimSpace(typed[0])
		}
		var v any
		var err error
		if one.Kind == manyField {
			if len(typed) == 0 {
				continue
			}
			v = typed
		} else if text == "" {
			if one.Needed {
				f.Problems[one.At] = sizing.Problem{Field: one.At, Reason: f.all.say("form.needed")}
			}
			continue
		} else if v, err = f.read(one, text); err != nil {
			f.Problems[one.At] = sizing.Problem{Field: one.At, Reason: err.Error()}
			continue
		}
		if one.Kind == noneField && f.described(one.At) {
			f.Problems[one.At] = sizing.Problem{Field: one.At, Reason: f.all.say("form.none-and-rows")}
			continue
		}
		put(tree, one.At, v)
	}
	if len(f.Problems) > 0 {
		return false
	}
	f.backTo = map[string]string{}
	raw, err := json.Marshal(f.closed(tree, "", ""), json.Deterministic(true))
	if err == nil {
		err = json.Unmarshal(raw, question, json.RejectUnknownMembers(true))
	}
	var semantic *json.SemanticError
	if errors.As(err, &semantic) && semantic.Err != nil {
		if at, ok := f.field(string(semantic.JSONPointer)); ok { // a unit that is not one
			f.Problems[at] = sizing.Problem{Field: at, Reason: semantic.Err.Error()}
			return false
		}
	}
	if err != nil {
		f.Other = append(f.Other, sizing.Problem{Reason: err.Error()})
		return false
	}
	f.Asked = string(raw)
	return true
}

// described reports whether anything was filled in in the rows of a list.
func (f *form) described(row string) bool {
	for name, typed := range f.Values {
		if strings.HasPrefix(name, row+".") && strings.TrimSpace(strings.Join(typed, "")) != "" {
			return true
		}
	}
	return false
}

// refused sorts the problems that the engine found to their fields. It reports false
// for any other error, which is not the reader's.
func (f *form) refused(err error) bool {
	var invalid sizing.Invalid
	if !errors.As(err, &invalid) {
		return false
	}
	for _, p := range invalid {
		if at, ok := f.field(p.Field); ok {
			f.Problems[at] = p
		} else {
			f.Other = append(f.Other, p)
		}
	}
	return true
}

// field finds the field of a place in the question: of the place itself, or, where it
// was left out, of that name in the row that its list entry came from.
func (f *form) field(pointer string) (at string, ok bool) {
	rest := ""
	for at, ok = f.backTo[pointer]; !ok && pointer != ""; at, ok = f.backTo[pointer] {
		cut := max(strings.LastIndex(pointer, "/"), 0)
		pointer, rest = pointer[:cut], strings.ReplaceAll(pointer[cut:], "/", ".")+rest
	}
	at = strings.TrimPrefix(at+rest, ".")
	if i := slices.IndexFunc(f.Fields, func(one field) bool { return at != "" && strings.HasPrefix(one.At, at+".") }); i >= 0 {
		return f.Fields[i].At, true // a whole part is wanting: its first field leads there
	}
	for at != "" { // a problem with a part of what a field says is the field's
		if slices.ContainsFunc(f.Fields, func(one field) bool { return one.At == at }) {
			return at, true
		}
		cut := max(strings.LastIndex(at, "."), 0)
		at = at[:cut]
	}
	return "", false
}

// put sets what is at a place; lists are kept by number until closed.
func put(tree map[string]any, at string, v any) {
	parts := strings.Split(at, ".")
	for _, part := range parts[:len(parts)-1] {
		next, ok := tree[part].(map[string]any)
		if !ok {
			next = map[string]any{}
			tree[part] = next
		}
		tree = next
	}
	tree[parts[len(parts)-1]] = v
}

// closed turns numbered rows into lists, without the rows that were left blank, and
// notes where each field has come to.
func (f *form) closed(v any, pointer, at string) any {
	f.backTo[pointer] = at
	tree, ok := v.(map[string]any)
	if !ok {
		return v
	}
	join := func(key string) string { return strings.TrimPrefix(at+"."+key, ".") }
	var numbers []int
	for key := range tree {
		if n, err := strconv.Atoi(key); err == nil {
			numbers = append(numbers, n)
		}
	}
	if len(numbers) == len(tree) {
		slices.Sort(numbers)
		list := make([]any, len(numbers))
		for i, n := range numbers {
			key := strconv.Itoa(n)
			list[i] = f.closed(tree[key], pointer+"/"+strconv.Itoa(i), join(key))
		}
		return list
	}
	out := map[string]any{}
	for key, value := range tree {
		out[key] = f.closed(value, pointer+"/"+key, join(key))
	}
	return out
}

// read reads one field's text. A bare number is in the unit shown beside the field; a
// unit typed with it goes before that.
func (f *form) read(one field, text string) (any, error) {
	switch one.Kind {
	case textField:
		return text, nil
	case choiceField:
		if !slices.Contains(one.Options, text) {
			return nil, errors.New(f.all.say("form.not-a-choice"))
		}
		return text, nil
	case yesNoField:
		if text != "yes" && text != "no" {
			return nil, errors.New(f.all.say("form.not-a-choice"))
		}
		return text == "yes", nil
	case tickField:
		return true, nil
	case noneField:
		return []any{}, nil
	case listField:
		list := []string{}
		if strings.EqualFold(text, f.all.say("form.none")) {
			return list, nil
		}
		for part := range strings.SplitSeq(text, ",") {
			if part = strings.TrimSpace(part); part != "" {
				list = append(list, part)
			}
		}
		return list, nil
	case wholeField:
		n, err := strconv.Atoi(text)
		if err != nil {
			return nil, errors.New(f.all.say("form.not-whole"))
		}
		return n, nil
	}
	if comma := strings.Count(text, ","); comma == 1 && !strings.Contains(text, ".") {
		text = strings.Replace(text, ",", ".", 1)
	}
	if one.Kind == numberField {
		x, err := strconv.ParseFloat(text, 64)
		if err != nil || x-x != 0 {
			return nil, errors.New(f.all.say("form.not-a-number"))
		}
		return x, nil
	}
	if x, err := strconv.ParseFloat(text, 64); err == nil && x-x == 0 {
		return value(x, f.bare(one, f.typed)), nil
	}
	end := strings.LastIndexAny(text, "0123456789.") + 1
	x, err := strconv.ParseFloat(strings.TrimSpace(text[:end]), 64)
	if err != nil || x-x != 0 {
		return nil, errors.New(f.all.say("form.not-a-measure", f.bare(one, f.system)))
	}
	return value(x, strings.TrimSpace(text[end:])), nil // the decoder knows every unit accepted
}

func value(x float64, unit string) any { return map[string]any{"value": x, "unit": unit} }

// bare is the unit of a bare number in a field.
func (f *form) bare(one field, s quantity.System) string {
	if one.Unit != "" {
		return one.Unit
	}
	return bareUnits[one.Kind][s]
}

// fieldView is a field as a template shows it.
type fieldView struct {
	field
	ID       string
	Label    string
	Hint     string
	Value    string
	Choices  []choice
	Shown    string // unit beside the field
	Problem  *sizing.Problem
	Query    url.Values // the form as sent, to lead on from a problem with candidates
	Describe string     // ids of what describes it
}

type choice struct {
	Value, Text string
	Chosen      bool
}

// Field is one field for a template. It fails on a place that the form does not have.
func (f *form) Field(at string) (fieldView, error) {
	i := slices.IndexFunc(f.Fields, func(one field) bool { return one.At == at })
	if i < 0 {
		return fieldView{}, fmt.Errorf("form %s has no field %s", f.Name, at)
	}
	one := f.Fields[i]
	key := f.Name + "." + withoutNumbers(at)
	v := fieldView{field: one, ID: fieldID(at), Label: f.all.say(key), Query: f.Values}
	if f.all.has(key + ".hint") {
		v.Describe = v.ID + "-hint"
		if first := inFirstRow(at); first != at { // the hint stands in the first row alone
			v.Describe = fieldID(first) + "-hint"
		} else {
			v.Hint = f.all.say(key + ".hint")
		}
	}
	typed, sent := f.Values[at]
	if len(typed) > 0 {
		v.Value = typed[0]
	} else if !f.sent() && !sent {
		v.Value = one.Start
	}
	if units, ok := bareUnits[one.Kind]; ok || one.Unit != "" {
		v.Shown = f.bare(one, f.system)
		if _, err := strconv.ParseFloat(v.Value, 64); err == nil && f.typed != f.system && one.Unit == "" && units[0] != units[1] {
			v.Value += " " + f.bare(one, f.typed)
		}
	}
	for _, o := range one.Options {
		text := o
		switch {
		case f.all.has(key + "." + o):
			text = f.all.say(key + "." + o)
		case f.all.has("option." + o):
			text = f.all.say("option." + o)
		}
		v.Choices = append(v.Choices, choice{o, text, o == v.Value || one.Kind == manyField && slices.Contains(typed, o)})
	}
	if p, ok := f.Problems[at]; ok {
		v.Problem = &p
		v.Describe = strings.TrimSpace(v.ID + "-problem " + v.Describe)
	}
	return v, nil
}

// Rows are the numbers of the rows that a list has in the form.
func (f *form) Rows(row string) (numbers []int) {
	for _, one := range f.Fields {
		if rest, ok := strings.CutPrefix(one.At, row+"."); ok {
			number, _, _ := strings.Cut(rest, ".")
			if n, err := strconv.Atoi(number); err == nil && !slices.Contains(numbers, n) {
				numbers = append(numbers, n)
			}
		}
	}
	return numbers
}

// At is the place of a field in a row, for a template.
func (f *form) At(row string, n int, name string) string {
	return fmt.Sprintf("%s.%d.%s", row, n, name)
}

// Filled reports whether any of some fields of a row was filled in or is at fault.
func (f *form) Filled(row string, n int, names ...string) bool {
	for _, name := range names {
		at := f.At(row, n, name)
		if _, bad := f.Problems[at]; bad || strings.TrimSpace(f.Values.Get(at)) != "" {
			return true
		}
	}
	return false
}

// Units is what the hidden field says: in which units bare numbers are read.
func (f *form) Units() string { return f.system.String() }

// Bad reports whether anything has to be mended.
func (f *form) Bad() bool { return len(f.Problems)+len(f.Other) > 0 }

// Sent is sent, for a template: the answer stands above the form then.
func (f *form) Sent() bool { return f.sent() }

// Mend lists the fields at fault in the order of the form, to lead to each.
func (f *form) Mend() (out []fieldView) {
	for _, one := range f.Fields {
		if _, bad := f.Problems[one.At]; bad {
			if v, err := f.Field(one.At); err == nil {
				out = append(out, v)
			}
		}
	}
	return out
}

// Query is the form as sent, without what is empty, for links to parts of its answer.
// It is encoded already, which its type tells the templates.
func (f *form) Query() template.URL { return template.URL(f.kept().Encode()) }

func (f *form) kept() url.Values {
	kept := url.Values{}
	for name, values := range f.Values {
		for _, v := range values {
			if v != "" && name != "add" {
				kept.Add(name, v)
			}
		}
	}
	return kept
}

// With is the query with one field replaced: the way on from a name that several species bear.
func (v fieldView) With(value string) string {
	q := url.Values{}
	for name, values := range v.Query {
		q[name] = values
	}
	q[v.At] = []string{value}
	return "?" + q.Encode()
}

// inFirstRow is the place of the same field in the first row of its list.
func inFirstRow(at string) string {
	parts := strings.Split(at, ".")
	for i, p := range parts {
		if _, err := strconv.Atoi(p); err == nil {
			parts[i] = "0"
		}
	}
	return strings.Join(parts, ".")
}

// withoutNumbers is the place without the numbers of rows, as texts are keyed.
func withoutNumbers(at string) string {
	parts := strings.Split(at, ".")
	return strings.Join(slices.DeleteFunc(parts, func(p string) bool {
		_, err := strconv.Atoi(p)
		return err == nil
	}), ".")
}
