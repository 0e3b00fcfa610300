package pages_test

import (
	"context"
	"fmt"
	"net/url"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/accessibility"
	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/dom"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/go-json-experiment/json"

	"denwright/care/store"
)

// journey is what somebody comes to do. It is gone through by keyboard alone and by
// touch alone, narrow and wide, with script and without. A visitor finds things by
// their role and name, as a screen reader tells them.
type journey struct {
	name string
	goes func(v *visitor)
}

// Add a journey here. See visitor for what it can do.
var journeys = []journey{
	{"find a species and see who says so", func(v *visitor) {
		v.open("/")
		v.fill("Which animal?", "beerded dragn")
		v.send("Find")
		v.sees("Pogona vitticeps")
		v.follow("inland bearded dragon Pogona vitticeps")
		v.at("/species/pogona-vitticeps")
		v.follow(`^\d+ sources$`)
		v.at("/species/pogona-vitticeps/claims")
		v.sees("Each line is one source's figure")
	}},
	// The first plan: from the first page to drawings, lists and a day program on paper.
	{"a newcomer gets from the first page to a printed plan", func(v *visitor) {
		v.open("/")
		v.follow("Where does everything go?")
		v.fill("Animal (needed)", "Hermann's tortoise")
		v.send("Start with usual equipment")
		v.sees("Drawings", "Cut list", "Holes in the ceiling", "The day")
		v.sheets("sheet")
		v.prints(4, 14, []string{"Cut list", "Holes in the ceiling", "The day", "Take care"}, []string{"Ask again", "Place everything", "More equipment"})
	}},
	{"a size on paper", func(v *visitor) {
		v.open("/")
		v.follow("How big must it be?")
		v.fill("Animal (needed)", "Hermann's tortoise")
		v.enter() // asks, and does not press the first button, which adds a row
		v.sees("Advised inside size")
		v.prints(1, 6, []string{"Advised inside size", "Take care"}, []string{"Ask again", "Work it out"})
	}},
	{"a newcomer gets from an animal to printed drawings", func(v *visitor) {
		v.open("/")
		v.fill("Which animal?", "Hermann's tortoise")
		v.send("Find")
		v.follow("How big must it be?")
		v.follow("Plan where everything goes")
		v.at("/plan")
		v.sees("This equipment is a start", "Drawings", "Holes in the ceiling", "Cut list")
		v.prints(8, 14, []string{"Planned at the advised inside size", "Take care", "Cut list"}, []string{"Ask again", "Place everything"})
	}},
	{"what blocks a plan leads on", func(v *visitor) {
		v.open("/plan")
		v.fill("Animal (needed)", "pogona-vitticeps")
		v.fill("Length", "120")
		v.fill("Width", "60")
		v.fill("Height", "60")
		v.choose("Equipment, 1 / Kind", "UV tube or fixture")
		v.send("Place everything")
		v.sees("It does not fit", "What frees it")
		v.follow("leave out 1 of 1: UV fixture")
		v.sees("Drawings")
	}},
	{"will it hold the warmth", func(v *visitor) {
		v.open("/climate")
		v.fill("Length (needed)", "90")
		v.fill("Width (needed)", "45")
		v.fill("Height (needed)", "60")
		v.fill("Winter, by day", "19")
		v.fill("Animal", "corn snake")
		v.choose("Heat source, 1 / Kind", "ceramic emitter")
		v.fill("Heat source, 1 / Power", "60")
		v.send("Compute the climate")
		v.sees("Temperature along the length", "Watts needed")
		v.follow("Damp")
		v.sees("To know it, give:")
		v.follow("Winter humidity")
		v.holds("Winter, by day", "19")
	}},
	{"a donated enclosure is judged, mended and handed over", func(v *visitor) {
		v.open("/")
		v.follow("Is this enclosure good enough?")
		v.fill("Animal (needed)", "pogona vitticeps")
		v.fill("Length", "150")
		v.fill("Width", "80")
		v.fill("Height", "100")
		v.send("Judge it")
		v.sees("Can't be told yet", "Measure or find out next")
		v.fold("Temperatures")
		v.fill("Hot spot", "41")
		v.fold("Shut, wired, stood safely")
		v.answer("Stand is stable", "yes")
		v.enter() // asks the same again, and leads to no other page
		v.at("/assess")
		v.holds("Hot spot", "41")
		v.send("Least work to mend it")
		v.at("/changes")
		v.sees("In this order")
		v.follow("Back to the assessment")
		v.send("Hand-over sheet")
		v.at("/handover")
		v.sees("Missing before it moves in")
		v.prints(1, 6, []string{"Missing before it moves in", "Date and signature"}, nil)
	}},
	{"what could live in it, by group", func(v *visitor) {
		v.open("/")
		v.follow("What could live in it?")
		v.fill("Length", "200")
		v.fill("Width", "100")
		v.fill("Height", "100")
		v.tick("tortoises and turtles")
		v.send("Find what fits")
		v.sees("best fit first")
		v.send(`^Assess for it: .*`)
		v.at("/assess")
		v.fold("Inside size")
		v.holds("Length", "200")
	}},
	{"a climate with two heat sources", func(v *visitor) {
		v.open("/")
		v.follow("Will it hold the warmth?")
		v.fill("Enclosure / Length (needed)", "60")
		v.fill("Enclosure / Width (needed)", "45")
		v.fill("Enclosure / Height (needed)", "45")
		v.choose("Walls", "glass, 4 mm")
		v.fill("Winter, by day", "20")
		v.fill("Animal", "leopard gecko")
		v.choose("Heat source, 1 / Kind", "halogen lamp")
		v.fill("Heat source, 1 / Power", "50")
		v.send("Another heat source")
		v.choose("Heat source, 2 / Kind", "heat mat")
		v.fill("Heat source, 2 / Power", "14")
		v.send("Compute the climate")
		v.sees("Warmth", "°C")
		v.follow("Damp")
		v.sees("humidity")
		v.follow("Change what stands where")
		v.holds("Heat source, 2 / Power", "14")
	}},
	{"who may live together", func(v *visitor) {
		v.open("/company")
		v.fill("Animals, 1 / Animal (needed)", "leopard gecko")
		v.choose("Animals, 1 / Sex", "male")
		v.fill("Animals, 2 / Animal", "leopard gecko")
		v.fill("Animals, 2 / How many alike", "1")
		v.choose("Animals, 2 / Life stage", "adult")
		v.choose("Animals, 2 / Sex", "male")
		v.send("Judge the company")
		v.sees("Don't keep them together")
	}},
	{"a list of enclosures, pasted and as a file", func(v *visitor) {
		v.open("/")
		v.follow("A whole list at once")
		v.fill("Paste rows", "lot,for,stage,dims\nHM-01,beardie,adult,120 x 60 x 60 cm\nHM-02,,adult,200 x 100 x 100 cm\nHM-03,beardie,adult,big\n")
		v.list("Answer the list")
		v.sees("HM-01", "What could live in it", "1 row could not be answered")
		v.open("/intake")
		v.upload("Or a file", "../../testdata/demo/van.csv")
		v.list("Answer the list")
		v.sees("24 rows")
	}},
	{"a setup is saved, changed and compared", func(v *visitor) {
		v.open("/setups")
		v.at("/sign-in")
		v.fill("Key", v.house.keys[store.Keeper])
		v.send("Sign in")
		v.at("/setups")
		v.open(v.house.at("/assess?{dragon}")) // stands for filling in the whole form, which another journey does
		v.fill("Name", "Tall vivarium, back room, "+v.setting.String())
		v.send(`^Save( as a new setup| with this answer)$`)
		v.sees("Tall vivarium, back room", "Today's answer")
		v.follow("Change the measurements")
		v.at("/assess")
		v.fold("Temperatures")
		v.fill("Hot spot", "39")
		v.send("Judge it")
		v.send("Save as the next version")
		v.sees("version 2")
		v.follow(`^All versions .*`)
		v.sees("hot spot", "41 °C", "39 °C")
		v.open("/account")
		v.send("Sign out")
		v.sees("You are signed out")
	}},
	{"a record is drafted, reviewed by another and withdrawn", func(v *visitor) {
		v.open("/records/edit/sources/zoos-and-societies.yaml")
		v.fill("Key", v.house.keys[store.Curator])
		v.send("Sign in")
		v.at("/records/edit/sources/zoos-and-societies.yaml")
		v.append("Text (YAML)", "# looked at again, "+v.setting.String()+"\n")
		v.fill("Reason", "a remark, for the test")
		v.send("Check, and show what changes")
		v.sees("looked at again")
		v.send("Save as a draft")
		v.sees("Saved as a draft")
		v.session(v.house.sessions[store.Admin])
		v.open(v.path())
		v.fill("What you checked", "the remark reads well")
		v.send("Mark as reviewed")
		v.sees("Marked as reviewed")
		v.unfold("Withdraw")
		v.fill("Reason for withdrawing", "the test is over")
		v.send("Withdraw")
		v.sees("Withdrawn")
	}},
	{"bad input is told at its field and nothing typed is lost", func(v *visitor) {
		v.open("/size")
		v.fill("Animal (needed)", "boa")
		v.fill("Animals, 1 / How many alike (needed)", "many")
		v.send("Work it out")
		v.sees("Mend this, then ask again", "is not a whole number")
		v.holds("Animal (needed)", "boa")
		v.holds("Animals, 1 / How many alike (needed)", "many")
		v.fill("Animals, 1 / How many alike (needed)", "2")
		v.send("Work it out")
		v.sees("Boa imperator")
		v.follow("common boa Boa imperator")
		v.sees("Advised inside size")
		v.holds("Animals, 1 / How many alike (needed)", "2")
	}},
	{"animals of two sizes by a law", func(v *visitor) {
		v.open("/size")
		v.fill("Animal (needed)", "testudo hermanni")
		v.choose("Animals, 1 / Sex", "female")
		v.send("More animals of another stage, size or sex")
		v.fill("Animals, 2 / How many alike", "2")
		v.choose("Animals, 2 / Life stage", "juvenile")
		v.unfold("Animals, 2 / A measured length or an age")
		v.fill("Animals, 2 / Length measured", "9")
		v.choose("Animals, 2 / Measured from where to where", "shell, straight, front to back")
		v.choose("Where it is kept", "DE")
		v.send("Work it out")
		v.sees("Lowest lawful size, DE")
	}},
	{"a programmer tries a question from the reference", func(v *visitor) {
		v.open("/")
		v.follow("API")
		v.follow("What do these animals need?")
		v.at("/api/size")
		v.sees("Answer to this example: 200 OK")
		v.fill("Body of the request", `{"species": "boa", "animals": [{"count": 1, "stage": "adult"}]}`)
		v.ask("Send it")
		v.sees("422 Unprocessable Entity", "boa-imperator")
		v.fill("Body of the request", `{"species": "boa-imperator", "animals": [{"count": 1, "stage": "adult"}]}`)
		v.choose("units", "imperial")
		v.ask("Send it")
		v.sees("Answer: 200 OK", `"unit": "in"`, "v1/sizings?units=imperial")
		v.holds("Body of the request", `{"species": "boa-imperator", "animals": [{"count": 1, "stage": "adult"}]}`)
	}},
	{"inches and back", func(v *visitor) {
		v.open("/species/python-regius")
		v.chooseUnits("inches, °F")
		v.at("/species/python-regius")
		v.sees("°F")
		v.chooseUnits("metric (cm, °C)")
		v.sees("°C")
	}},
}

func TestJourneys(t *testing.T) {
	b := openBrowser(t)
	for i, j := range journeys {
		t.Run(j.name, func(t *testing.T) {
			t.Parallel()
			for _, s := range byTurns(append(settings(false), settings(true)...), i, true) {
				t.Run(s.String(), func(t *testing.T) {
					v := &visitor{tab: b.tab(t, s), setting: s, house: b.house, begun: time.Now()}
					defer func() {
						if t.Failed() {
							v.picture("failed-" + regexp.MustCompile(`\W+`).ReplaceAllString(j.name, "-") + "-" + s.String())
						}
					}()
					j.goes(v)
					t.Logf("%d pages, %d keys pressed (%d of them tabs), %d taps, %s", v.pages, v.keys, v.tabs, v.taps, time.Since(v.begun).Round(10*time.Millisecond))
					for _, said := range v.said {
						t.Errorf("the browser says: %s", said)
					}
				})
			}
		})
	}
}

// visitor goes about by keyboard or by touch, whichever the setting says.
type visitor struct {
	*tab
	setting
	house                   *service
	begun                   time.Time
	pages, keys, tabs, taps int
}

// call sends a command to the browser.
func call[P, R any](v *tab, command cdp.Command[P, R], params P) R {
	v.t.Helper()
	ctx, cancel := context.WithTimeout(v.ctx, slow)
	defer cancel()
	out, err := chromedp.Call(ctx, command, params)
	if err != nil {
		v.t.Fatalf("%s: %v", command.Method, err)
	}
	return out
}

func (v *visitor) open(path string) {
	v.t.Helper()
	v.pages++
	v.tab.open(path)
}

// follow follows the link of a name to its page.
func (v *visitor) follow(name string) {
	v.t.Helper()
	v.leave(func() { v.activate(v.find(name, "link")) })
}

// send presses a button that asks for a page.
func (v *visitor) send(name string) {
	v.t.Helper()
	v.leave(func() { v.activate(v.find(name, "button")) })
}

// enter sends the form from the field that has the focus, as the keys of a phone do too.
func (v *visitor) enter() {
	v.t.Helper()
	v.leave(func() { v.key(kb.Enter) })
}

// ask presses a button that is answered in the page where there is script, and by a
// page of its own where there is none.
func (v *visitor) ask(name string) {
	v.t.Helper()
	if !v.script {
		v.send(name)
		return
	}
	old := "globalThis.answer = document.getElementById('answer')"
	evaluate[chromedp.Void](v.tab, old)
	v.push(name)
	for end := time.Now().Add(slow); evaluate[bool](v.tab, "document.getElementById('answer') === globalThis.answer"); time.Sleep(20 * time.Millisecond) {
		if time.Now().After(end) {
			v.t.Fatal("no answer comes")
		}
	}
}

// list sends a list, whose answers grow in the page where there is script.
func (v *visitor) list(name string) {
	v.t.Helper()
	if !v.script {
		v.send(name)
		return
	}
	v.push(name)
	for end := time.Now().Add(slow); !evaluate[bool](v.tab, "document.getElementById('summary')?.textContent.trim().length > 0"); time.Sleep(50 * time.Millisecond) {
		if time.Now().After(end) {
			v.t.Fatal("no summary comes")
		}
	}
}

// push presses a button that changes the page it stands in.
func (v *visitor) push(name string) {
	v.t.Helper()
	v.activate(v.find(name, "button"))
}

// unfold opens what is folded away under a name.
func (v *visitor) unfold(name string) {
	v.t.Helper()
	n := v.find(name, "DisclosureTriangle")
	v.activate(n)
	if !on[bool](v, n, "function() { return this.closest('details').open }") {
		v.t.Errorf("%q does not unfold", name)
	}
}

// fill types into a field in place of what it held.
func (v *visitor) fill(name, text string) {
	v.t.Helper()
	n := v.find(name, "textbox", "searchbox")
	v.reach(n)
	if v.touch {
		on[chromedp.Void](v, n, "function() { this.select() }") // by a long press
	} else {
		v.key("a", chromedp.KeyModifiers(kb.ModifierCtrl))
	}
	for _, r := range text {
		if r == '\n' { // pasted: typed line by line it is the same
			v.key(kb.Enter)
			continue
		}
		v.key(string(r))
	}
	if got := on[string](v, n, "function() { return this.value }"); got != text {
		v.t.Errorf("%q holds %q after %q was typed", name, got, text)
	}
}

// append types at the end of a long text.
func (v *visitor) append(name, text string) {
	v.t.Helper()
	n := v.find(name, "textbox")
	v.reach(n)
	if v.touch {
		on[chromedp.Void](v, n, "function() { this.setSelectionRange(this.value.length, this.value.length) }") // by a tap at its end
	} else {
		v.key(kb.End, chromedp.KeyModifiers(kb.ModifierCtrl))
	}
	for _, r := range text {
		if r == '\n' {
			v.key(kb.Enter)
			continue
		}
		v.key(string(r))
	}
	if got := on[string](v, n, "function() { return this.value }"); !strings.HasSuffix(got, text) {
		v.t.Errorf("%q ends with %q after %q was typed", name, got[max(0, len(got)-40):], text)
	}
}

// fold opens what is folded away under a name, unless it is open.
func (v *visitor) fold(name string) {
	v.t.Helper()
	if n := v.find("^"+regexp.QuoteMeta(name), "DisclosureTriangle"); !on[bool](v, n, "function() { return this.closest('details').open }") {
		v.activate(n)
	}
}

// path is the address of the page within the site.
func (v *visitor) path() string {
	v.t.Helper()
	return strings.TrimPrefix(evaluate[string](v.tab, "location.href"), v.base)
}

// sheets fails unless each drawing of a class prints on a sheet of its own, to scale.
func (v *visitor) sheets(class string) {
	v.t.Helper()
	faults := evaluate[[]string](v.tab, fmt.Sprintf(`[...document.querySelectorAll("figure.%s")].filter((f) => !f.querySelector("img").complete || f.querySelector("img").naturalWidth === 0).map((f) => f.textContent)`, class))
	for _, f := range faults {
		v.t.Errorf("a drawing is not there: %s", f)
	}
	if n := evaluate[int](v.tab, fmt.Sprintf(`document.querySelectorAll("figure.%s").length`, class)); n < 3 {
		v.t.Errorf("%d drawings, want floor, ceiling and section at least", n)
	}
}

// choose picks an option by its text.
func (v *visitor) choose(name, option string) {
	v.t.Helper()
	n := v.find(name, "combobox")
	v.reach(n)
	const chosen = "function() { return this.selectedOptions[0].text.trim() }"
	if v.touch {
		v.pick(n, option)
	} else {
		v.key(kb.Home)
		for range on[int](v, n, "function() { return this.options.length }") {
			if on[string](v, n, chosen) == option {
				break
			}
			v.key(kb.ArrowDown)
		}
	}
	if got := on[string](v, n, chosen); got != option {
		v.t.Fatalf("%q is at %q, want %q", name, got, option)
	}
}

// pick picks an option by touch. The list that opens is the device's own and can't be
// reached from here.
func (v *visitor) pick(n cdp.BackendNodeID, option string) {
	v.t.Helper()
	v.taps++
	on[chromedp.Void](v, n, `function(text) {
		this.value = [...this.options].find((o) => o.text.trim() === text)?.value;
		this.dispatchEvent(new Event("input", {bubbles: true}));
		this.dispatchEvent(new Event("change", {bubbles: true}));
	}`, option)
}

// chooseUnits sets the units at the foot of the page.
func (v *visitor) chooseUnits(option string) {
	v.t.Helper()
	if v.touch && v.script {
		v.leave(func() { // the choice is sent as it is made
			n := v.find("Units", "combobox")
			v.reach(n)
			v.pick(n, option)
		})
		return
	}
	v.choose("Units", option)
	v.send("Set")
}

// answer picks one of a group of choices, such as yes, no and not known.
func (v *visitor) answer(group, choice string) {
	v.t.Helper()
	n := v.find(group+" / "+choice, "radio")
	if v.touch {
		v.tap(n)
	} else {
		v.tabTo(n, "function() { return document.activeElement?.type === 'radio' && document.activeElement.name === this.name }")
		for range 12 {
			if on[bool](v, n, "function() { return document.activeElement === this && this.checked }") {
				break
			}
			if on[bool](v, n, "function() { return document.activeElement === this }") {
				v.key(" ")
			} else {
				v.key(kb.ArrowDown)
			}
		}
	}
	if !on[bool](v, n, "function() { return this.checked }") {
		v.t.Fatalf("%s: %s is not chosen", group, choice)
	}
}

// tick ticks a box.
func (v *visitor) tick(name string) {
	v.t.Helper()
	n := v.find(name, "checkbox")
	if v.touch {
		v.tap(n)
	} else {
		v.reach(n)
		v.key(" ")
	}
	if !on[bool](v, n, "function() { return this.checked }") {
		v.t.Fatalf("%s is not ticked", name)
	}
}

// upload gives a file to the field of a name. The list of files is the device's own
// and can't be reached from here.
func (v *visitor) upload(name, file string) {
	v.t.Helper()
	n := v.find(name, "button")
	if !v.touch {
		v.reach(n)
	}
	file, err := filepath.Abs(file)
	v.must(err)
	v.taps++
	call(v.tab, dom.SetFileInputFiles, dom.SetFileInputFilesParams{Files: []string{file}, BackendNodeID: n})
}

// sees fails unless each of some texts is in sight on the page.
func (v *visitor) sees(texts ...string) {
	v.t.Helper()
	shown := evaluate[string](v.tab, "document.body.innerText")
	for _, text := range texts {
		if !strings.Contains(shown, text) {
			v.t.Fatalf("the page does not say %q:\n%.1500s", text, shown)
		}
	}
}

// at fails unless the page has this path.
func (v *visitor) at(path string) {
	v.t.Helper()
	u, err := url.Parse(evaluate[string](v.tab, "location.href"))
	if err != nil || u.Path != path {
		v.t.Fatalf("at %v, want %s", u, path)
	}
}

// holds fails unless a field holds a text.
func (v *visitor) holds(name, text string) {
	v.t.Helper()
	if got := on[string](v, v.find(name, "textbox", "searchbox", "combobox"), "function() { return this.value }"); got != text {
		v.t.Errorf("%q holds %q, want %q", name, got, text)
	}
}

// prints fails unless the page prints on so many sheets of A4, nothing is cut off at
// the side, and it shows and hides what it should.
func (v *visitor) prints(least, most int, shows, hides []string) {
	v.t.Helper()
	ctx, cancel := context.WithTimeout(v.ctx, slow)
	defer cancel()
	pdf, err := chromedp.Run(ctx, chromedp.PrintToPDF(chromedp.PDFPaper(chromedp.PaperA4), chromedp.PDFPreferCSSPageSize()))
	v.must(err)
	sheets := len(regexp.MustCompile(`/Type\s*/Page\b`).FindAll(pdf, -1))
	if sheets < least || sheets > most {
		v.t.Errorf("it prints on %d sheets, want %d to %d", sheets, least, most)
	}
	if len(pdf) > 5_000_000 { // a plan's five drawings are patterns throughout
		v.t.Errorf("printed it has %d bytes", len(pdf))
	}
	// What is printed and what is not, on a page as wide as A4 within its margins of 14 mm.
	call(v.tab, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: "print"})
	v.resize(688, 1000, 1, false)
	shown := evaluate[string](v.tab, "document.body.innerText")
	for _, text := range shows {
		if !strings.Contains(shown, text) {
			v.t.Errorf("it does not print %q", text)
		}
	}
	for _, text := range hides {
		if strings.Contains(shown, text) {
			v.t.Errorf("it prints %q", text)
		}
	}
	evaluate[chromedp.Void](v.tab, lookScript)
	// Drawings have sheets of their own size.
	evaluate[chromedp.Void](v.tab, `document.querySelectorAll(".sheet").forEach((e) => e.remove())`)
	for _, fault := range evaluate[[]string](v.tab, "look.wide()") {
		v.t.Errorf("printed: %s", fault)
	}
	v.t.Logf("%d sheets, %d kB", sheets, len(pdf)/1000)
	call(v.tab, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{})
	v.resize(v.width, 800, 1, v.touch)
}

// find is the one thing of a role and name in sight. "Animals, 2 / Sex" is the thing
// called Sex within the group called Animals, 2; a name that begins with ^ is a pattern.
func (v *visitor) find(name string, roles ...string) cdp.BackendNodeID {
	v.t.Helper()
	tree := call(v.tab, accessibility.GetFullAXTree, accessibility.GetFullAXTreeParams{}).Nodes
	text := func(x *accessibility.Value) string {
		var s string
		if x != nil && len(x.Value) > 0 {
			_ = json.Unmarshal(x.Value, &s) // a name that is no text has none
		}
		return strings.Join(strings.Fields(s), " ")
	}
	parents := map[accessibility.NodeID]*accessibility.Node{}
	for _, n := range tree {
		parents[n.NodeID] = n
	}
	group, own, grouped := "", name, false
	if g, rest, ok := strings.Cut(name, " / "); ok {
		group, own, grouped = g, rest, true
	}
	var pattern *regexp.Regexp
	if strings.HasPrefix(own, "^") {
		pattern = regexp.MustCompile(own)
	}
	var found []*accessibility.Node
	var others []string
	for _, n := range tree {
		if n.Ignored || !slices.Contains(roles, text(n.Role)) {
			continue
		}
		others = append(others, text(n.Name))
		if text(n.Name) != own && (pattern == nil || !pattern.MatchString(text(n.Name))) {
			continue
		}
		within := !grouped
		for at := parents[n.ParentID]; at != nil && !within; at = parents[at.ParentID] {
			role := text(at.Role)
			within = (role == "group" || role == "region" || role == "form" || role == "radiogroup") && text(at.Name) == group
		}
		if within {
			found = append(found, n)
		}
	}
	// Of links of one name the first is taken; two fields of one name can't be told apart.
	if len(found) == 0 || len(found) > 1 && roles[0] != "link" && pattern == nil {
		v.t.Fatalf("%d %v called %q, want one; there are %q", len(found), roles, name, others)
	}
	return found[0].BackendDOMNodeID
}

// on runs a function on a node of the page.
func on[T any](v *visitor, n cdp.BackendNodeID, function string, args ...any) T {
	v.t.Helper()
	object := call(v.tab, dom.ResolveNode, dom.ResolveNodeParams{BackendNodeID: n}).Object
	ctx, cancel := context.WithTimeout(v.ctx, slow)
	defer cancel()
	out, err := chromedp.Run(ctx, chromedp.CallFunctionOn[T](function, func(p *runtime.CallFunctionOnParams) { p.ObjectID = object.ObjectID }, args...))
	if err != nil {
		v.t.Fatalf("%.80s: %v", function, err)
	}
	return out
}

func (v *visitor) key(keys string, options ...chromedp.KeyOption) {
	v.t.Helper()
	v.keys++
	v.press(keys, options...)
}

// reach brings the focus to a node.
func (v *visitor) reach(n cdp.BackendNodeID) {
	v.t.Helper()
	if v.touch {
		if on[string](v, n, "function() { return this.tagName }") == "SELECT" { // a tap would open the device's own list
			v.aim(n)
			return
		}
		v.tap(n)
		if !on[bool](v, n, "function() { return document.activeElement === this }") {
			v.t.Fatal("a tap does not bring the focus")
		}
		return
	}
	v.tabTo(n, "function() { return document.activeElement === this }")
}

// tabTo presses tab until a node says that it is reached; once round the page is enough.
func (v *visitor) tabTo(n cdp.BackendNodeID, reached string) {
	v.t.Helper()
	evaluate[chromedp.Void](v.tab, lookScript)
	stops := evaluate[int](v.tab, "look.stops()")
	for range stops + 2 {
		if on[bool](v, n, reached) {
			return
		}
		v.tabs++
		v.key(kb.Tab)
	}
	v.t.Fatalf("it can't be reached by keyboard: %s", on[string](v, n, "function() { return this.outerHTML.slice(0, 200) }"))
}

func (v *visitor) activate(n cdp.BackendNodeID) {
	v.t.Helper()
	if v.touch {
		v.tap(n)
		return
	}
	v.reach(n)
	v.key(kb.Enter)
}

// aim brings a node into sight and gives a point at which it, and nothing over it, is touched.
func (v *visitor) aim(n cdp.BackendNodeID) (x, y float64) {
	v.t.Helper()
	call(v.tab, dom.ScrollIntoViewIfNeeded, dom.ScrollIntoViewIfNeededParams{BackendNodeID: n})
	at := on[[]float64](v, n, `function() {
		const r = this.getClientRects()[0], x = r.left + r.width / 2, y = r.top + r.height / 2;
		const hit = document.elementFromPoint(x, y);
		return [x, y, this.contains(hit) || hit?.closest("label")?.control === this ? 1 : 0];
	}`)
	if at[2] != 1 {
		v.t.Fatalf("something lies over it: %s", on[string](v, n, "function() { return this.outerHTML.slice(0, 200) }"))
	}
	return at[0], at[1]
}

func (v *visitor) tap(n cdp.BackendNodeID) {
	v.t.Helper()
	x, y := v.aim(n)
	v.taps++
	ctx, cancel := context.WithTimeout(v.ctx, slow)
	defer cancel()
	v.must(chromedp.Do(ctx, chromedp.TapXY(x, y)))
	if v.setting.touch { // what a tap brings about comes after the touch ended
		time.Sleep(50 * time.Millisecond)
	}
}

// leave does what leads to another page and waits until that is there.
func (v *visitor) leave(by func()) {
	v.t.Helper()
	v.pages++
	evaluate[chromedp.Void](v.tab, "globalThis.left = true")
	by()
	const there = "globalThis.left ? '' : document.readyState"
	for end := time.Now().Add(slow); ; time.Sleep(20 * time.Millisecond) {
		ctx, cancel := context.WithTimeout(v.ctx, slow)
		state, err := chromedp.Run(ctx, chromedp.Evaluate[string](there)) // fails while one page gives way to the next
		cancel()
		if err == nil && state == "complete" {
			return
		}
		if time.Now().After(end) {
			v.t.Fatalf("no page comes: %q, %v", state, err)
		}
	}
}
