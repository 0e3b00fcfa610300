package pages

import (
	"bytes"
	"cmp"
	"embed"
	"html/template"
	"io/fs"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/labstack/echo/v4"
)

// quickStartFiles are whole programs, which a test runs as they are shown.
//
//go:embed quickstart
var quickStartFiles embed.FS

// exampleAddress is the service's in the quick starts; pages show their own instead.
const exampleAddress = "http://localhost:8080"

// referencePages are the pages about the JSON API, made from the contract.
func (s *Site) referencePages(m mount) {
	m.get("/api", referenceIndex)
	m.get("/api/quick-start", quickStartPage)
	m.get("/api/:operation", operationPage)
	m.get("/api/:operation/answer", answerFieldsPage)
	m.post("/api/:operation", tryOperation)
}

func referenceIndex(r *request) error {
	c, err := r.site.contract()
	if err != nil {
		return err
	}
	return r.render("api", r.t("api.title"), c)
}

// operation is the one in the path.
func (r *request) operation() (*operation, error) {
	c, err := r.site.contract()
	if err != nil {
		return nil, err
	}
	if o := c.byID[r.Param("operation")]; o != nil {
		return o, nil
	}
	return nil, notFound()
}

type operationData struct {
	*operation
	Ask try
	// Chosen is the example in the form.
	Chosen string
	// Shown is the answer to it.
	Reply *reply
	// Tried says that the reader sent it.
	Tried bool
}

// operationPage tells all about an operation, with the answer to its example. One that
// needs a key is not asked: the answer would only say so.
func operationPage(r *request) error {
	o, err := r.operation()
	if err != nil {
		return err
	}
	d := operationData{operation: o, Ask: try{operation: o, base: r.base(), parameters: map[string]string{}}}
	for _, p := range o.Parameters {
		d.Ask.parameters[p.Name] = p.Example
	}
	if len(o.Media) > 0 {
		d.Ask.Media = o.Media[0]
	}
	if len(o.Examples) > 0 {
		e := o.Examples[max(slices.IndexFunc(o.Examples, func(e bodyExample) bool { return e.Name == r.QueryParam("example") }), 0)]
		d.Chosen, d.Ask.Body, d.Ask.Media = e.Name, e.Body, e.Media
	}
	if !o.Key {
		d.Reply = r.send(d.Ask)
		d.Reply.cut(maxExample)
	}
	return r.render("api-operation", r.t("api.operation.title", o.Summary), d)
}

type answerFieldsData struct {
	*operation
	Of     string // the outermost field whose fields are shown, where not all are
	Shapes []answerShape
}

// maxFieldRows is how many fields of an answer one page holds. Where there are more, each
// outermost field has a page of its own.
const maxFieldRows = 250

func answerFieldsPage(r *request) error {
	o, err := r.operation()
	if err != nil {
		return err
	}
	d := answerFieldsData{operation: o, Of: r.QueryParam("of")}
	for _, a := range o.Answers {
		apart := len(a.Fields) > maxFieldRows
		fields := a.Fields
		a.Fields = nil
		for _, f := range fields {
			one := *f
			switch {
			case d.Of != "" && f.Top() != d.Of:
				continue
			case d.Of == "" && apart:
				if f.Depth > 0 {
					continue
				}
				one.Apart = f.Inner
			}
			if f.Above != nil && apart {
				above := *f.Above
				one.Above, above.Apart = &above, true
			}
			a.Fields = append(a.Fields, &one)
		}
		if len(a.Fields) > 0 {
			d.Shapes = append(d.Shapes, a)
		}
	}
	if len(d.Shapes) == 0 {
		return notFound()
	}
	title := r.t("api.answer.title", o.Summary)
	if d.Of != "" {
		title = r.t("api.answer.title-of", d.Of, o.Summary)
	}
	return r.render("api-answer", title, d)
}

// Bounds of what is shown of an answer, in bytes; the whole comes by the command line.
const (
	maxExample = 6_000
	maxAnswer  = 30_000
)

// tryOperation sends what was typed to the API itself and shows its answer.
func tryOperation(r *request) error {
	o, err := r.operation()
	if err != nil {
		return err
	}
	ask := try{operation: o, base: r.base(), Body: strings.ReplaceAll(r.FormValue("body"), "\r\n", "\n"), parameters: map[string]string{}, key: strings.TrimSpace(r.FormValue("key"))}
	if len(o.Media) > 0 {
		ask.Media = o.Media[0]
		if typed := r.FormValue("media"); slices.Contains(o.Media, typed) {
			ask.Media = typed
		}
	}
	for _, p := range o.Parameters {
		ask.parameters[p.Name] = strings.TrimSpace(r.FormValue("p." + p.Name))
	}
	d := operationData{operation: o, Ask: ask, Reply: r.send(ask), Tried: true}
	d.Reply.cut(maxAnswer)
	return r.render("api-try", r.t("api.try.title", o.Summary), d)
}

// try is a request to the API as it was put together.
type try struct {
	*operation
	Body, Media string
	base        string
	parameters  map[string]string
	key         string
}

// Lines is how many lines the form shows of the body.
func (t try) Lines() int { return min(max(strings.Count(t.Body, "\n")+2, 5), 24) }

// Value is what a parameter is set to.
func (t try) Value(name string) string { return t.parameters[name] }

// target is the address with its parameters; those left blank are left out.
func (t try) target() string {
	path, query := t.Path, url.Values{}
	for _, p := range t.Parameters {
		v := t.parameters[p.Name]
		switch {
		case p.In == "path":
			path = strings.Replace(path, "{"+p.Name+"}", url.PathEscape(v), 1)
		case p.In == "query" && v != "":
			query.Set(p.Name, v)
		}
	}
	if len(query) > 0 {
		path += "?" + query.Encode()
	}
	return path
}

// header is what is sent beside the body.
func (t try) header() http.Header {
	h := http.Header{}
	if t.Media != "" {
		h.Set(echo.HeaderContentType, t.Media)
	}
	for _, p := range t.Parameters {
		if v := t.parameters[p.Name]; p.In == "header" && v != "" {
			h.Set(p.Name, v)
		}
	}
	if t.key != "" {
		h.Set(echo.HeaderAuthorization, "Bearer "+t.key)
	}
	return h
}

// Command is the same request as a line for a shell. A key is not written out.
func (t try) Command() string {
	parts := []string{"curl -sS"}
	if t.Method != http.MethodGet && t.Method != http.MethodPost {
		parts[0] += " -X " + t.Method
	}
	parts[0] += " " + shellWord(t.base+t.target())
	h := t.header()
	if t.Key {
		parts = append(parts, `-H "Authorization: Bearer $DENWRIGHT_KEY"`)
	}
	h.Del(echo.HeaderAuthorization)
	names := make([]string, 0, len(h))
	for name := range h {
		names = append(names, name)
	}
	slices.Sort(names)
	for _, name := range names {
		parts = append(parts, "-H "+shellWord(name+": "+h.Get(name)))
	}
	if t.Media != "" {
		parts = append(parts, "--data-binary "+shellWord(t.Body))
	}
	return strings.Join(parts, " \\\n  ")
}

// shellWord quotes a word for a POSIX shell.
func shellWord(s string) string { return "'" + strings.ReplaceAll(s, "'", `'\''`) + "'" }

// reply is what the API answered. Whole counts the bytes of it all, where not all is shown.
type reply struct {
	Status      int
	StatusText  string
	ContentType string
	Text        string
	Whole       int
}

// plainText escapes text between tags. A template would escape quotation marks too,
// of which JSON is full.
func plainText(s string) template.HTML {
	return template.HTML(strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;").Replace(s)) // nothing else begins markup in text
}

// cut shortens the text to whole lines within bounds.
func (p *reply) cut(most int) {
	p.Whole = len(p.Text)
	if len(p.Text) <= most {
		return
	}
	end := strings.LastIndexByte(p.Text[:most], '\n') + 1
	if end == 0 { // one long line
		for end = most; !utf8.RuneStart(p.Text[end]); end-- {
		}
	}
	p.Text = p.Text[:end]
}

// Cut reports whether not all is shown.
func (p *reply) Cut() bool { return len(p.Text) < p.Whole }

// Shown counts the bytes shown.
func (p *reply) Shown() int { return len(p.Text) }

// send asks the API, within the program, as a client would.
func (r *request) send(t try) *reply {
	own, err := http.NewRequestWithContext(r.Request().Context(), t.Method, t.base+t.target(), strings.NewReader(t.Body))
	if err != nil {
		return &reply{Status: http.StatusBadRequest, StatusText: http.StatusText(http.StatusBadRequest), Text: err.Error()}
	}
	own.Header = t.header()
	own.Header.Set(echo.HeaderXRequestID, r.Response().Header().Get(echo.HeaderXRequestID))
	own.RemoteAddr = r.Request().RemoteAddr
	own.RequestURI = t.target()
	w := &answerKept{header: http.Header{}}
	r.site.api.ServeHTTP(w, own)
	out := &reply{Status: cmp.Or(w.status, http.StatusOK), ContentType: w.header.Get(echo.HeaderContentType), Text: w.body.String()}
	out.StatusText = http.StatusText(out.Status)
	if strings.Contains(out.ContentType, "json") && !strings.Contains(out.ContentType, "ndjson") {
		out.Text = reader{}.written(w.body.Bytes())
	}
	return out
}

// answerKept keeps an answer instead of sending it.
type answerKept struct {
	header http.Header
	status int
	body   bytes.Buffer
}

func (w *answerKept) Header() http.Header { return w.header }

func (w *answerKept) WriteHeader(status int) {
	if w.status == 0 {
		w.status = status
	}
}

func (w *answerKept) Write(b []byte) (int, error) {
	w.WriteHeader(http.StatusOK)
	return w.body.Write(b)
}

// base is the address of this service as the reader reached it.
func (r *request) base() string { return r.Scheme() + "://" + r.Request().Host }

type quickStart struct {
	Key, Run string
	Code     template.HTML
}

// quickStarts are the programs of the quick starts by their texts, with how each is run.
var quickStarts = []struct{ key, file, run string }{
	{"curl", "ask.sh", "sh ask.sh"},
	{"go", "main.go", "go run main.go"},
	{"python", "ask.py", "python3 ask.py"},
	{"javascript", "ask.mjs", "node ask.mjs"},
}

func quickStartPage(r *request) error {
	var all []quickStart
	for _, q := range quickStarts {
		code, err := fs.ReadFile(quickStartFiles, "quickstart/"+q.file)
		if err != nil {
			return err
		}
		all = append(all, quickStart{q.key, q.run, plainText(strings.ReplaceAll(string(code), exampleAddress, r.base()))})
	}
	return r.render("api-quick-start", r.t("api.quick-start.title"), all)
}
