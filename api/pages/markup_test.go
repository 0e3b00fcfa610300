package pages_test

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"testing"

	"golang.org/x/net/html"
	"golang.org/x/net/html/atom"
)

// markup is what a page's text says, read strictly: a browser mends what is wrong,
// each in its way, so nothing may be wrong.
type markup struct {
	title  string
	links  []string       // addresses in href and src
	ids    map[string]int // by line
	faults []string
}

// element is one that was opened.
type element struct {
	name     string
	attr     map[string]string
	line     int
	children map[string]int
	text     strings.Builder // of it and what is in it
}

var (
	void   = words("area base br col embed hr img input link meta source track wbr")
	phrase = words("a abbr b bdi bdo br button cite code data del dfn em i img input ins kbd label mark meter output progress q s samp select small span strong sub sup svg time var wbr")
	// block are those that no p, heading, or other text may hold.
	block = words("address article aside blockquote details dialog dd div dl dt fieldset figcaption figure footer form h1 h2 h3 h4 h5 h6 header hr li main nav ol p pre section table ul tbody thead tr td th caption")
	// textOnly hold text and phrases.
	textOnly = words("p h1 h2 h3 h4 h5 h6 span a label small strong em code button summary legend caption dt b i abbr time output")
	// within are the parents that an element must have.
	within = map[string][]string{
		"li": words("ul ol"), "dt": words("dl div"), "dd": words("dl div"), "tr": words("tbody thead tfoot"), "td": words("tr"), "th": words("tr"),
		"tbody": words("table"), "thead": words("table"), "tfoot": words("table"), "caption": words("table"), "option": words("select optgroup datalist"), "optgroup": words("select"),
		"summary": words("details"), "legend": words("fieldset"), "figcaption": words("figure"),
		"title": words("head svg g"), "meta": words("head"), "link": words("head"), "desc": words("svg g"),
	}
	// only are the children that an element may have.
	only = map[string][]string{
		"ul": words("li"), "ol": words("li"), "dl": words("dt dd div"), "table": words("caption thead tbody tfoot"), "tr": words("td th"),
		"thead": words("tr"), "tbody": words("tr"), "select": words("option optgroup"), "html": words("head body"),
	}
	interactive = words("a button input select textarea summary details")
	svgNames    = words("svg title desc g line rect circle ellipse path text tspan polyline polygon defs pattern use marker clippath")
	known       = slices.Concat(void, phrase, block, svgNames, words("html head body title script optgroup option legend summary textarea datalist object picture canvas tfoot noscript"))
	roles       = words("alert img group search status note region list listitem presentation none")
	inputTypes  = words("text search hidden checkbox radio number email password file url date")
)

// attribute is a name with its value, in a tag as written.
var attribute = regexp.MustCompile(`\s([a-zA-Z0-9:_-]+)(?:="[^"]*"|='[^']*'|=[^\s>"']+)?`)

func words(s string) []string { return strings.Fields(s) }

// readMarkup reads a page token by token, as it was written, not as a parser would mend it.
func readMarkup(page string) (m markup) {
	z := html.NewTokenizer(strings.NewReader(page))
	line := 1
	fault := func(format string, args ...any) {
		m.faults = append(m.faults, fmt.Sprintf("line %d: ", line)+fmt.Sprintf(format, args...))
	}
	var stack []*element
	ids := map[string]int{}
	m.ids = ids
	type reference struct {
		id, by string
		line   int
	}
	var references []reference
	labels := map[string]string{}
	var controls []*element
	wrapped := map[*element]*element{} // control → the label around it
	count := map[string]int{}          // of elements that are there once
	level, doctype := 0, false
	inside := func(names ...string) *element {
		for _, e := range slices.Backward(stack) {
			if slices.Contains(names, e.name) {
				return e
			}
		}
		return nil
	}
	closed := func(e *element) {
		text := strings.Join(strings.Fields(e.text.String()), " ")
		switch e.name {
		case "title":
			if inside("svg") == nil {
				m.title = text
			}
			if text == "" {
				fault("a title is empty")
			}
		case "label":
			if id, ok := e.attr["for"]; ok {
				if _, twice := labels[id]; twice {
					fault("two labels are for %s", id)
				}
				labels[id] = text
			}
			if text == "" {
				fault("a label is empty")
			}
		case "h1", "h2", "h3", "h4", "h5", "h6", "button", "summary", "legend", "th", "option", "figcaption", "caption":
			if text == "" && e.attr["aria-label"] == "" {
				fault("<%s> is empty", e.name)
			}
		case "a":
			if text == "" && e.attr["aria-label"] == "" {
				fault("the link to %s has no text", e.attr["href"])
			}
		case "fieldset":
			if n := e.children["legend"]; n > 1 || n == 0 && e.attr["aria-label"] == "" {
				fault("a fieldset has %d legends", n)
			}
		case "details":
			if e.children["summary"] != 1 {
				fault("details have %d summaries", e.children["summary"])
			}
		case "svg":
			whole := e.attr["aria-labelledby"] != "" && e.children["title"] == 1 && e.children["desc"] == 1
			// A small one in a row of a table that holds the same figures is named, not described.
			small := e.attr["aria-label"] != "" && inside("td") != nil
			if e.attr["aria-hidden"] != "true" && (e.attr["role"] != "img" || !whole && !small) {
				fault("a picture lacks role, title or description")
			}
		case "dl", "ul", "ol", "tr": // a tbody may wait for its rows
			if len(e.children) == 0 {
				fault("<%s> is empty", e.name)
			}
			if e.name == "dl" && (e.children["dt"] == 0 && e.children["div"] == 0 || e.children["dd"] == 0 && e.children["div"] == 0) {
				fault("a dl has no pair")
			}
		}
	}
	for {
		kind := z.Next()
		if kind == html.ErrorToken {
			break
		}
		raw := string(z.Raw())
		token := z.Token()
		name := strings.ToLower(token.Data)
		switch kind {
		case html.DoctypeToken:
			doctype = strings.EqualFold(token.Data, "html") && count["html"] == 0
		case html.TextToken:
			for _, e := range stack {
				e.text.WriteString(token.Data)
			}
			if len(stack) > 0 && strings.TrimSpace(token.Data) != "" && only[stack[len(stack)-1].name] != nil {
				fault("text stands right in <%s>: %q", stack[len(stack)-1].name, strings.TrimSpace(token.Data))
			}
			if len(stack) > 0 && stack[len(stack)-1].name == "script" && strings.TrimSpace(token.Data) != "" {
				fault("a script stands in the page")
			}
			if strings.Contains(token.Data, "%!") || strings.Contains(token.Data, "<no value>") || strings.Contains(token.Data, "ZgotmplZ") {
				fault("a text was not filled in: %q", strings.TrimSpace(token.Data))
			}
		case html.CommentToken:
			fault("a comment is sent: %s", raw)
		case html.StartTagToken, html.SelfClosingTagToken:
			e := &element{name: name, attr: map[string]string{}, line: line, children: map[string]int{}}
			written := map[string]bool{}
			for _, a := range attribute.FindAllStringSubmatch(raw, -1) { // the tokenizer keeps only the first of two
				if written[a[1]] {
					fault("<%s> has %s twice", name, a[1])
				}
				written[a[1]] = true
			}
			for _, a := range token.Attr {
				e.attr[a.Key] = a.Val
				if strings.HasPrefix(a.Key, "on") || a.Key == "style" {
					fault("<%s> has %s, which the content policy forbids", name, a.Key)
				}
				if strings.Contains(a.Val, "ZgotmplZ") || strings.Contains(a.Val, "%!") {
					fault("<%s> has %s=%q", name, a.Key, a.Val)
				}
			}
			if !slices.Contains(known, name) {
				fault("<%s> is not an element that pages use", name)
			}
			if name == "style" {
				fault("a style stands in the page")
			}
			svg := inside("svg") != nil || name == "svg"
			if len(stack) > 0 {
				parent := stack[len(stack)-1]
				parent.children[name]++
				if allowed := only[parent.name]; allowed != nil && !slices.Contains(allowed, name) {
					fault("<%s> stands in <%s>", name, parent.name)
				}
				if parents := within[name]; parents != nil && !slices.Contains(parents, parent.name) && !(svg && name == "title") {
					fault("<%s> stands in <%s>", name, parent.name)
				}
				if !svg && slices.Contains(block, name) {
					for _, at := range stack {
						if slices.Contains(textOnly, at.name) && !(at.name == "summary" && strings.HasPrefix(name, "h")) {
							fault("<%s> stands in <%s> of line %d", name, at.name, at.line)
						}
					}
				}
				if slices.Contains(interactive, name) && name != "summary" && inside("a", "button", "summary") != nil {
					fault("<%s> stands in a link, button or summary", name)
				}
			}
			if id, ok := e.attr["id"]; ok {
				if id == "" || strings.ContainsAny(id, " \t\n") {
					fault("<%s> has the id %q", name, id)
				}
				if other, twice := ids[id]; twice {
					fault("the id %s is there since line %d", id, other)
				}
				ids[id] = line
			}
			for _, key := range words("aria-labelledby aria-describedby aria-controls aria-details aria-owns for form list") {
				if v, ok := e.attr[key]; ok {
					if len(strings.Fields(v)) == 0 {
						fault("<%s> has an empty %s", name, key)
					}
					for _, id := range strings.Fields(v) {
						references = append(references, reference{id, "<" + name + "> " + key, line})
					}
				}
			}
			if role, ok := e.attr["role"]; ok && !slices.Contains(roles, role) {
				fault("<%s> has the role %q", name, role)
			}
			for _, key := range words("href src action") {
				v, ok := e.attr[key]
				switch {
				case !ok:
				case strings.HasPrefix(v, "data:,") && name == "link":
				case strings.HasPrefix(strings.ToLower(v), "javascript:"), strings.HasPrefix(v, "data:"), strings.HasPrefix(v, "//"):
					fault("<%s> has %s=%q", name, key, v)
				case strings.HasPrefix(v, "#"):
					references = append(references, reference{v[1:], "<" + name + "> " + key, line})
				case key != "action":
					m.links = append(m.links, v)
				}
			}
			switch name {
			case "html":
				if e.attr["lang"] == "" {
					fault("the page says no language")
				}
			case "h1", "h2", "h3", "h4", "h5", "h6":
				n := int(name[1] - '0')
				if n > level+1 {
					fault("<%s> follows a heading of level %d", name, level)
				}
				level = n
			case "img":
				if alt, ok := e.attr["alt"]; !ok || alt == "" && e.attr["role"] != "presentation" {
					fault("the picture %s has no text for who can't see it", e.attr["src"])
				}
				if e.attr["width"] == "" || e.attr["height"] == "" {
					fault("the picture %s has no size, so the page jumps as it loads", e.attr["src"])
				}
			case "link":
				if e.attr["rel"] == "stylesheet" {
					count["stylesheet"]++
				}
			case "form":
				if inside("form") != nil {
					fault("a form stands in a form")
				}
				if method := e.attr["method"]; method != "get" && method != "post" {
					fault("a form has the method %q", method)
				}
			case "th":
				if scope := e.attr["scope"]; scope != "row" && scope != "col" {
					fault("a heading cell has the scope %q", scope)
				}
			case "input":
				if kind, ok := e.attr["type"]; ok && !slices.Contains(inputTypes, kind) {
					fault("an input has the type %q", kind)
				}
			}
			if slices.Contains(words("input select textarea"), name) {
				if e.attr["name"] == "" {
					fault("<%s> has no name", name)
				}
				if e.attr["type"] != "hidden" {
					controls = append(controls, e)
					wrapped[e] = inside("label")
				}
			}
			if slices.Contains(words("html head body title main h1 header footer"), name) && !svg {
				count[name]++
			}
			if kind == html.SelfClosingTagToken && !svg {
				fault("<%s/> closes itself", name)
			}
			if !slices.Contains(void, name) && kind != html.SelfClosingTagToken {
				stack = append(stack, e)
			}
		case html.EndTagToken:
			if len(stack) == 0 || stack[len(stack)-1].name != name {
				open := "nothing"
				if len(stack) > 0 {
					open = fmt.Sprintf("<%s> of line %d", stack[len(stack)-1].name, stack[len(stack)-1].line)
				}
				fault("</%s> while %s is open", name, open)
				return m // all that follows would be at fault
			}
			e := stack[len(stack)-1]
			stack = stack[:len(stack)-1]
			closed(e)
		}
		line += strings.Count(raw, "\n")
	}
	for _, e := range stack {
		fault("<%s> of line %d is never closed", e.name, e.line)
	}
	if !doctype {
		fault("no doctype")
	}
	for _, name := range words("html head body title main h1 stylesheet") {
		if count[name] != 1 {
			fault("%d times %s, want one", count[name], name)
		}
	}
	for _, r := range references {
		if _, ok := ids[r.id]; !ok {
			m.faults = append(m.faults, fmt.Sprintf("line %d: %s names %q, which is not there", r.line, r.by, r.id))
		}
	}
	for _, e := range controls {
		labelled := labels[e.attr["id"]] != "" && e.attr["id"] != "" || wrapped[e] != nil || e.attr["aria-label"] != "" || e.attr["aria-labelledby"] != ""
		if !labelled {
			m.faults = append(m.faults, fmt.Sprintf("line %d: <%s name=%s> has no label", e.line, e.name, e.attr["name"]))
		}
	}
	// What a parser makes of it must be what was written: it moves what stands amiss in a table.
	if tree, err := html.Parse(strings.NewReader(page)); err != nil {
		m.faults = append(m.faults, err.Error())
	} else if moved := misplaced(tree); moved != "" {
		m.faults = append(m.faults, moved)
	}
	return m
}

// misplaced finds what a parser had to put elsewhere: text or elements that stand
// before a table although they were written in it end up beside it, and a paragraph
// that was ended by a block leaves an empty one behind.
func misplaced(n *html.Node) string {
	if n.Type == html.ElementNode && n.DataAtom == atom.P && n.FirstChild == nil {
		return "an empty <p>, or one that ended early"
	}
	for c := n.FirstChild; c != nil; c = c.NextSibling {
		if s := misplaced(c); s != "" {
			return s
		}
	}
	return ""
}

// The reader of markup finds each fault it claims to find.
func TestMarkupFaultsAreFound(t *testing.T) {
	const top, end = `<!doctype html><html lang="en"><head><title>x</title><link rel="stylesheet" href="/s.css"></head><body><main><h1>x</h1>`, `</main></body></html>`
	if m := readMarkup(top + `<p>all is well</p><ul><li><a href="/a">a</a></li></ul>` + end); len(m.faults) > 0 || m.title != "x" || !slices.Equal(m.links, []string{"/s.css", "/a"}) {
		t.Errorf("a sound page: %+v", m)
	}
	for _, c := range []struct{ part, says string }{
		{`<p id="a">a</p><p id="a">b</p>`, "the id a is there"},
		{`<p><b>a</p></b>`, "while <b>"},
		{`<div><p>a</div>`, "while <p>"},
		{`<section>`, "while <section>"},
		{`<p>a<div>b</div></p>`, "<div> stands in <p>"},
		{`<input name="a">`, "has no label"},
		{`<label for="q">a</label>`, `names "q"`},
		{`<label for="q"></label><input id="q" name="q">`, "a label is empty"},
		{`<p aria-describedby="nope">a</p>`, `names "nope"`},
		{`<a href="#nope">a</a>`, `names "nope"`},
		{`<h3>a</h3>`, "follows a heading of level 1"},
		{`<h1>a</h1>`, "2 times h1"},
		{`<img src="/a.svg" width="1" height="1">`, "has no text"},
		{`<img src="/a.svg" alt="a">`, "has no size"},
		{`<p style="color:red">a</p>`, "content policy"},
		{`<p onclick="a()">a</p>`, "content policy"},
		{`<script>a()</script>`, "a script stands"},
		{`<a href="javascript:a()">a</a>`, "href="},
		{`<a href="/a"></a>`, "has no text"},
		{`<ul></ul>`, "<ul> is empty"},
		{`<ul><p>a</p></ul>`, "<p> stands in <ul>"},
		{`<table><tbody><tr>a</tr></tbody></table>`, "text stands right in <tr>"},
		{`<table><tr><td>a</td></tr></table>`, "<tr> stands in <table>"},
		{`<a href="/a"><button>b</button></a>`, "in a link"},
		{`<form method="get" action="/"><form method="get" action="/"></form></form>`, "a form stands in a form"},
		{`<svg viewBox="0 0 1 1"></svg>`, "a picture lacks"},
		{`<blink>a</blink>`, "not an element"},
		{`<p class="a" class="b">a</p>`, "class twice"},
		{`<fieldset><p>a</p></fieldset>`, "0 legends"},
		{`<!-- a -->`, "a comment"},
		{`<p>%!s(int=3)</p>`, "not filled in"},
		{`<table><thead><tr><th>a</th></tr></thead></table>`, "scope"},
		{`<p></p>`, "an empty <p>"},
		{`<p role="fancy">a</p>`, "the role"},
	} {
		if m := readMarkup(top + c.part + end); !slices.ContainsFunc(m.faults, func(f string) bool { return strings.Contains(f, c.says) }) {
			t.Errorf("%s: %q, want one that says %q", c.part, m.faults, c.says)
		}
	}
}
