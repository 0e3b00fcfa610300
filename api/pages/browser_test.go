package pages_test

import (
	"context"
	_ "embed"
	"errors"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	logs "github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// The tests of this file and of journeys_test.go look at the pages in a real browser:
// Debian's chromium, found on the path or named by DENWRIGHT_TEST_CHROMIUM. Without
// one, or with "none", they are left out and say so; .ci/run installs it and takes no
// test left out.
//
// axe-core, the accessibility rules, is run in each page where its file lies in
// ../shared/tools/axe-core beside the checkout or DENWRIGHT_TEST_AXE names it. All
// other checks are ours and need no file.

//go:embed testdata/look.js
var lookScript string

// artefacts are pictures for people to look at; the folder is not committed.
const artefacts = "../../.ci/artefacts/pages"

// browser is a browser with the service to look at.
type browser struct {
	ctx   context.Context
	base  string
	house *service
	axe   string // the script, or empty
}

func openBrowser(t *testing.T) *browser {
	t.Helper()
	path := os.Getenv("DENWRIGHT_TEST_CHROMIUM")
	if path == "" {
		path, _ = exec.LookPath("chromium")
	}
	if path == "" || path == "none" {
		t.Skip("left out: the pages in a browser. Install chromium, or name one in DENWRIGHT_TEST_CHROMIUM, to run it")
	}
	home := house(t)
	service := httptest.NewServer(home)
	t.Cleanup(service.Close)
	// It loads nothing but our own pages, and its sandbox is not to be had in many containers.
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.NoSandbox, chromedp.WSURLReadTimeout(2*time.Minute))
	alloc, stop := chromedp.NewExecAllocator(t.Context(), options...)
	ctx, quit := chromedp.NewContext(alloc)
	t.Cleanup(func() { quit(); stop() })
	if err := chromedp.Do(ctx); err != nil {
		t.Fatalf("%s does not start: %v", path, err)
	}
	b := &browser{ctx: ctx, base: service.URL, house: home}
	file := os.Getenv("DENWRIGHT_TEST_AXE")
	if file == "" {
		file = "../../../shared/tools/axe-core/axe.min.js"
	}
	switch script, err := os.ReadFile(file); {
	case err == nil:
		b.axe = string(script)
	case errors.Is(err, os.ErrNotExist) && os.Getenv("DENWRIGHT_TEST_AXE") == "":
		t.Log("axe-core is not beside the checkout; its rules are not run, all other checks are")
	default:
		t.Fatal(err)
	}
	if err := os.MkdirAll(artefacts, 0o755); err != nil {
		t.Fatal(err)
	}
	return b
}

// setting is the way in which a page is looked at.
type setting struct {
	width  int64
	script bool
	touch  bool
}

func (s setting) String() string {
	return fmt.Sprintf("%d-%s-%s", s.width, map[bool]string{true: "script", false: "no-script"}[s.script], map[bool]string{true: "touch", false: "keys"}[s.touch])
}

// settings are those that every page and every journey is looked at in.
func settings(touch bool) (out []setting) {
	for _, width := range []int64{360, 1440} {
		for _, script := range []bool{true, false} {
			out = append(out, setting{width, script, touch})
		}
	}
	return out
}

// byTurns gives those that the i-th page or journey is looked at in: all, or with
// DENWRIGHT_TEST_BY_TURNS, for want of time, another each day and its opposite, so that
// within days each has been in every one.
func byTurns(all []setting, i int, opposite bool) []setting {
	if os.Getenv("DENWRIGHT_TEST_BY_TURNS") == "" {
		return all
	}
	at := (time.Now().YearDay() + i) % len(all)
	out := []setting{all[at]}
	if opposite {
		out = append(out, all[len(all)-1-at])
	}
	return out
}

// tab is a page open in the browser, with what it asked for and complained about.
type tab struct {
	t    *testing.T
	ctx  context.Context
	base string

	mu       sync.Mutex
	requests []string // by GET or POST and address
	styles   int
	said     []string // errors and warnings of the browser
}

func (b *browser) tab(t *testing.T, s setting) *tab {
	t.Helper()
	ctx, closeTab := chromedp.NewContext(b.ctx, chromedp.WithNewBrowserContext()) // with cookies of its own
	t.Cleanup(closeTab)
	v := &tab{t: t, ctx: ctx, base: b.base}
	v.must(chromedp.Listen(ctx, v.listen))
	height := int64(900)
	if s.width < 600 {
		height = 740
	}
	v.resize(s.width, height, 1, s.touch)
	call(v, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-reduced-motion", Value: "reduce"}}})
	call(v, emulation.SetFocusEmulationEnabled, emulation.SetFocusEmulationEnabledParams{Enabled: true}) // as if it were the one in front
	call(v, network.SetExtraHTTPHeaders, network.SetExtraHTTPHeadersParams{Headers: network.Headers{"Accept-Language": "en-GB"}})
	call(v, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: !s.script})
	if s.touch {
		call(v, emulation.SetTouchEmulationEnabled, emulation.SetTouchEmulationEnabledParams{Enabled: true, MaxTouchPoints: 1})
	}
	return v
}

// session signs in.
func (v *tab) session(cookie *http.Cookie) {
	v.t.Helper()
	if cookie != nil {
		yes := true
		call(v, network.SetCookie, network.SetCookieParams{Name: cookie.Name, Value: cookie.Value, URL: v.base, HTTPOnly: &yes, SameSite: network.CookieSameSiteLax})
	}
}

func (v *tab) listen(event any) {
	v.mu.Lock()
	defer v.mu.Unlock()
	switch e := event.(type) {
	case *network.EventRequestWillBeSent:
		v.requests = append(v.requests, e.Request.Method+" "+e.Request.URL)
		if e.Type == network.ResourceTypeStylesheet {
			v.styles++
		}
	case *logs.EventEntryAdded:
		// A page that tells of a fault by its status is logged as a failed request.
		if e.Entry.Source != logs.EntrySourceNetwork && (e.Entry.Level == logs.EntryLevelError || e.Entry.Level == logs.EntryLevelWarning) {
			v.said = append(v.said, e.Entry.Text)
		}
	case *runtime.EventExceptionThrown:
		v.said = append(v.said, e.ExceptionDetails.Text)
	case *runtime.EventConsoleAPICalled:
		if e.Type == runtime.ConsoleAPICalledTypeError || e.Type == runtime.ConsoleAPICalledTypeWarning {
			v.said = append(v.said, fmt.Sprint(e.Type))
		}
	}
}

func (v *tab) must(err error) {
	v.t.Helper()
	if err != nil {
		v.t.Fatal(err)
	}
}

func (v *tab) resize(width, height int64, scale float64, mobile bool) {
	v.t.Helper()
	call(v, emulation.SetDeviceMetricsOverride, emulation.SetDeviceMetricsOverrideParams{Width: width, Height: height, DeviceScaleFactor: scale, Mobile: mobile})
}

// slow bounds one step in the browser. It is no measure of the pages: a step that
// takes longer is one that never ends.
const slow = 90 * time.Second

// evaluate runs a line of script in the page, by way of the browser's own tools, which
// work where the page's scripts are switched off.
func evaluate[T any](v *tab, script string, options ...chromedp.EvaluateOption) T {
	v.t.Helper()
	ctx, cancel := context.WithTimeout(v.ctx, slow)
	defer cancel()
	out, err := chromedp.Run(ctx, chromedp.Evaluate[T](script, options...))
	if err != nil {
		v.t.Fatalf("%.60s: %v", script, err)
	}
	return out
}

func (v *tab) open(path string) {
	v.t.Helper()
	ctx, cancel := context.WithTimeout(v.ctx, slow)
	defer cancel()
	v.must(chromedp.Do(ctx, chromedp.Navigate(v.base+path)))
}

// picture keeps a picture of the whole page.
func (v *tab) picture(name string) {
	v.t.Helper()
	all := true
	out := call(v, page.CaptureScreenshot, page.CaptureScreenshotParams{Format: page.CaptureScreenshotFormatPng, CaptureBeyondViewport: &all})
	v.must(os.WriteFile(filepath.Join(artefacts, name+".png"), out.Data, 0o644))
}

func (v *tab) press(keys string, options ...chromedp.KeyOption) {
	v.t.Helper()
	ctx, cancel := context.WithTimeout(v.ctx, slow)
	defer cancel()
	v.must(chromedp.Do(ctx, chromedp.KeyEvent(keys, options...)))
}

// Every page listed is looked at narrow and wide, with and without script.
func TestPagesInBrowser(t *testing.T) {
	b := openBrowser(t)
	var all []setting
	for _, s := range settings(false) {
		s.touch = s.width < 600
		if s.script || s.touch { // without script a page only lacks what script adds; once is enough
			all = append(all, s)
		}
	}
	for i, p := range lookedAt {
		t.Run(p.name, func(t *testing.T) {
			t.Parallel()
			for _, s := range byTurns(all, i, false) {
				t.Run(s.String(), func(t *testing.T) { b.look(t, p, s) })
			}
		})
	}
}

func (b *browser) look(t *testing.T, p looked, s setting) {
	v := b.tab(t, s)
	v.session(b.house.sessions[p.as])
	v.open(b.house.at(p.path))
	name := p.name + "-" + s.String()
	if os.Getenv("DENWRIGHT_TEST_PICTURES") != "" { // a fifth of the time
		v.picture(name)
	} else {
		defer func() {
			if t.Failed() {
				v.picture("failed-" + name)
			}
		}()
	}
	evaluate[chromedp.Void](v, lookScript)
	for _, check := range []string{"wide", "contrast", "pictures", "hidden", "first", "twins", "targets"} {
		for _, fault := range evaluate[[]string](v, "look."+check+"()") {
			t.Errorf("%s: %s", check, fault)
		}
	}
	for _, fault := range v.tabThrough(40) {
		t.Errorf("keyboard: %s", fault)
	}
	if b.axe != "" && s.script {
		evaluate[chromedp.Void](v, b.axe)
		for _, fault := range evaluate[[]string](v, "look.axe()", chromedp.EvalAwaitPromise) {
			t.Errorf("axe: %s", fault)
		}
	}
	// Twice as large: by the browser's zoom, which halves the page's width, and by larger
	// text alone. The narrowest page of all is that of a small screen at 400 %.
	if s.width >= 600 {
		v.resize(s.width/2, 450, 2, false)
	} else {
		v.resize(320, 740, 1, s.touch)
	}
	for _, fault := range evaluate[[]string](v, "look.wide()") {
		t.Errorf("zoomed: %s", fault)
	}
	v.resize(s.width, 900, 1, s.touch)
	for _, fault := range evaluate[[]string](v, "document.documentElement.style.fontSize = '200%', look.wide()") {
		t.Errorf("larger text: %s", fault)
	}
	v.mu.Lock()
	defer v.mu.Unlock()
	for _, r := range v.requests {
		if _, address, _ := strings.Cut(r, " "); !strings.HasPrefix(address, b.base) && !strings.HasPrefix(address, "data:,") {
			t.Errorf("it asked another place: %s", r)
		}
	}
	if v.styles != 1 {
		t.Errorf("%d requests for styles, want one: %q", v.styles, v.requests)
	}
	for _, said := range v.said {
		t.Errorf("the browser says: %s", said)
	}
}

// tabThrough goes through the page by the tab key alone, up to most stops: each must
// follow the order of the page, be in sight and show that it has the focus.
func (v *tab) tabThrough(most int) (faults []string) {
	v.t.Helper()
	stops := evaluate[int](v, "look.stops()")
	at := evaluate[int](v, "look.stop().at")
	for range min(stops, most) {
		v.press(kb.Tab)
		stop := evaluate[struct {
			At    int
			What  string
			Fault string
		}](v, "look.stop()")
		if stop.At < 0 && at == stops-1 {
			break // round the end
		}
		if stop.At != at+1 {
			return append(faults, fmt.Sprintf("after stop %d of %d comes %d (%s)", at, stops, stop.At, stop.What))
		}
		if stop.Fault != "" {
			faults = append(faults, stop.What+" "+stop.Fault)
		}
		at = stop.At
	}
	return faults
}

// What the script of checks claims to find it finds.
func TestLookFindsFaults(t *testing.T) {
	b := openBrowser(t)
	for _, c := range []struct{ check, body, says string }{
		{"wide", `<div style="width:900px">a</div>`, "wider"},
		{"contrast", `<p style="color:#999;background:#fff">pale</p>`, "pale"},
		{"contrast", `<p style="color:#000;opacity:.4">faded</p>`, "faded"},
		{"contrast", `<svg width="60" height="60"><rect width="60" height="60" fill="#333"/><text x="5" y="30" fill="#000">drawn</text></svg>`, "drawn"},
		{"pictures", `<img src="/nothing.png" alt="a">`, "nothing.png"},
		{"hidden", `<p hidden style="display:block!important">a</p>`, "in sight"},
		{"first", `<form action="/size"><button name="add" value="animals" formnovalidate>more</button><input name="a"><button>ask</button></form>`, "presses"},
		{"first", `<button form="f" formaction="/changes">changes</button><form id="f" action="/assess"><input name="a"><button>ask</button></form>`, "presses"},
		{"twins", `<form><div><label>Sex <input name="a.0"></label></div><div><label>Sex <input name="a.1"></label></div></form>`, "a.0 and a.1"},
		{"targets", `<button style="min-height:0;font-size:8px;padding:0;border:0;height:12px;width:12px">b</button>`, "12 × 12"},
	} {
		t.Run(c.check, func(t *testing.T) {
			v := b.tab(t, setting{width: 360, script: true})
			call(v, page.SetBypassCSP, page.SetBypassCSPParams{Enabled: true}) // for the styles of these faults
			v.open("/method")
			evaluate[chromedp.Void](v, lookScript)
			evaluate[chromedp.Void](v, fmt.Sprintf("document.querySelector('main').innerHTML = %q; new Promise((done) => setTimeout(done, 300))", c.body), chromedp.EvalAwaitPromise)
			faults := evaluate[[]string](v, "look."+c.check+"()")
			if !slices.ContainsFunc(faults, func(f string) bool { return strings.Contains(f, c.says) }) {
				t.Errorf("%s: %q, want one that says %q", c.body, faults, c.says)
			}
		})
	}
	if b.axe != "" {
		v := b.tab(t, setting{width: 1440, script: true})
		v.open("/method")
		evaluate[chromedp.Void](v, lookScript)
		evaluate[chromedp.Void](v, "document.querySelector('main').innerHTML = '<div role=checkbox>a</div>'")
		evaluate[chromedp.Void](v, b.axe)
		if faults := evaluate[[]string](v, "look.axe()", chromedp.EvalAwaitPromise); len(faults) == 0 {
			t.Error("axe-core finds nothing in a box that can't be ticked")
		}
	}
	for _, c := range []struct{ body, says string }{
		{`<button>a</button><button tabindex="5">b</button>`, "after stop"},
		{`<button style="outline:none">c</button>`, "does not show"},
	} {
		v := b.tab(t, setting{width: 1440, script: true})
		call(v, page.SetBypassCSP, page.SetBypassCSPParams{Enabled: true})
		v.open("/method")
		evaluate[chromedp.Void](v, lookScript)
		evaluate[chromedp.Void](v, fmt.Sprintf("document.querySelector('main').innerHTML = %q", c.body))
		if faults := strings.Join(v.tabThrough(60), "; "); !strings.Contains(faults, c.says) {
			t.Errorf("%s: %q, want one that says %q", c.body, faults, c.says)
		}
	}
}
