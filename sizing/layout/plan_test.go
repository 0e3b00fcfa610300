package layout_test

import (
	"bytes"
	"encoding/csv"
	"encoding/xml"
	"errors"
	"flag"
	"io"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	ics "github.com/arran4/golang-ical"
	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
	"github.com/google/go-cmp/cmp"

	"denwright/care/quantity"
	"denwright/sizing/ground"
	"denwright/sizing/layout"
	"denwright/sizing/moisture"
)

var update = flag.Bool("update", false, "rewrite the worked plans in testdata")

func solve(t *testing.T, b layout.Brief) *layout.Plan {
	t.Helper()
	p, err := layout.Solve(b)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func names() []string { return slices.Sorted(maps.Keys(worked())) }

// golden compares with a file in testdata, or writes it under -update.
func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	file := filepath.Join("testdata", name)
	if *update {
		if err := os.WriteFile(file, got, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, want) {
		t.Errorf("%s differs; run with -update and look at the difference", name)
	}
}

func TestWorkedPlans(t *testing.T) {
	for _, name := range names() {
		t.Run(name, func(t *testing.T) {
			b := worked()[name]
			p := solve(t, b)
			for _, x := range layout.Check(b, p) {
				t.Errorf("%s: %s %s", x.Constraint, x.Item, x.Why)
			}
			data, err := json.Marshal(p, jsontext.WithIndent("  "), json.Deterministic(true))
			if err != nil {
				t.Fatal(err)
			}
			golden(t, name+".json", append(data, '\n'))
			for _, s := range p.Sheets(layout.A4, quantity.Metric, "invented") {
				golden(t, name+"."+s.Name+".svg", s.SVG)
			}
		})
	}
}

// shape is an element of a drawing.
type shape struct {
	name string
	attr map[string]string
	in   string // class of the group around it
	text string // of a text without parts
	mm   float64
}

func (s shape) num(t *testing.T, key string) float64 {
	t.Helper()
	f, err := strconv.ParseFloat(s.attr[key], 64)
	if err != nil {
		t.Fatalf("%s of <%s>: %v", key, s.name, err)
	}
	return f
}

// read parses a drawing strictly.
func read(t *testing.T, svg []byte) (out []shape, texts map[string]string) {
	t.Helper()
	d := xml.NewDecoder(bytes.NewReader(svg))
	texts = map[string]string{}
	var groups []shape
	var open []string
	for {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			return out, texts
		}
		if err != nil {
			t.Fatal(err)
		}
		switch e := tok.(type) {
		case xml.StartElement:
			s := shape{name: e.Name.Local, attr: map[string]string{}}
			for _, a := range e.Attr {
				s.attr[a.Name.Local] = a.Value
			}
			if len(groups) > 0 {
				s.in = groups[len(groups)-1].attr["class"]
				s.mm, _ = strconv.ParseFloat(groups[len(groups)-1].attr["data-mm"], 64)
			}
			if s.name == "g" {
				groups = append(groups, s)
			}
			open = append(open, s.name)
			out = append(out, s)
		case xml.EndElement:
			if e.Name.Local == "g" {
				groups = groups[:len(groups)-1]
			}
			open = open[:len(open)-1]
		case xml.CharData:
			if len(open) > 0 && strings.TrimSpace(string(e)) != "" {
				texts[open[len(open)-1]] += string(e) + "\n"
				if open[len(open)-1] == "text" && out[len(out)-1].name == "text" {
					out[len(out)-1].text += string(e)
				}
			}
		}
	}
}

// What a ruler finds on paper, times the scale, is what the plan says: for every
// dimension line and every outline, on both papers and in both unit systems.
func TestDrawingsByTheRuler(t *testing.T) {
	const hundredth = 0.011 // mm of paper; figures are written to a thousandth
	for _, name := range names() {
		p := solve(t, worked()[name])
		// Through the JSON, so that it is the JSON that the drawing agrees with.
		data, err := json.Marshal(p)
		if err != nil {
			t.Fatal(err)
		}
		var plan layout.Plan
		if err := json.Unmarshal(data, &plan); err != nil {
			t.Fatal(err)
		}
		for _, paper := range []layout.Paper{layout.A4, layout.Letter} {
			for _, units := range []quantity.System{quantity.Metric, quantity.Imperial} {
				for _, s := range p.Sheets(paper, units, "") {
					els, texts := read(t, s.SVG)
					scale := float64(s.Scale)
					root := els[0]
					if root.attr["width"] != strconv.FormatFloat(paper.Width, 'g', -1, 64)+"mm" || !strings.HasSuffix(root.attr["viewBox"], " "+strconv.FormatFloat(paper.Height, 'g', -1, 64)) {
						t.Errorf("%s %s: paper is %s, %s", name, s.Name, root.attr["width"], root.attr["viewBox"])
					}
					if root.num(t, "data-scale") != scale || !strings.Contains(texts["text"], "Scale 1:"+strconv.Itoa(s.Scale)+" ") {
						t.Errorf("%s %s: the scale is not stated", name, s.Name)
					}
					if len(texts["title"]) < 5 || len(texts["desc"]) < 60 {
						t.Errorf("%s %s: no text alternative", name, s.Name)
					}
					dims, outlines := 0, map[string]shape{}
					for _, e := range els {
						for _, key := range []string{"fill", "stroke"} {
							if v := e.attr[key]; v != "" && v != "none" && v != "#000" && v != "#fff" && !strings.HasPrefix(v, "url(#"+s.Name+"-") {
								t.Errorf("%s %s: %s %q is not black, white or a pattern", name, s.Name, key, v)
							}
						}
						if e.name == "line" && e.in == "dim" {
							dims++
							l := math.Hypot(e.num(t, "x2")-e.num(t, "x1"), e.num(t, "y2")-e.num(t, "y1"))
							if math.Abs(l-e.mm/scale) > hundredth {
								t.Errorf("%s %s: a dimension of %.1f mm measures %.2f mm at 1:%d", name, s.Name, e.mm, l, s.Scale)
							}
						}
						if e.name == "line" && e.in == "bar" && math.Abs(e.num(t, "x2")-e.num(t, "x1")-50) > 1e-9 {
							t.Errorf("%s %s: the bar is not 50 mm", name, s.Name)
						}
						if c := e.attr["data-code"]; c != "" {
							outlines[c] = e
						}
					}
					if dims < 2 {
						t.Errorf("%s %s: %d dimensions", name, s.Name, dims)
					}
					// JSON is rounded to the millimetre.
					same := func(what string, paper, true float64) {
						t.Helper()
						if math.Abs(paper*scale-true*1000) > hundredth*scale+0.51 {
							t.Errorf("%s %s: %s is %.2f mm on paper, %.1f mm in the plan at 1:%d", name, s.Name, what, paper, true*1000, s.Scale)
						}
					}
					need := func(code string) shape {
						t.Helper()
						e, ok := outlines[code]
						if !ok {
							t.Fatalf("%s %s: %s is not drawn", name, s.Name, code)
						}
						return e
					}
					switch s.Name {
					case "floor":
						inside := need("inside")
						left, bottom := inside.num(t, "x"), inside.num(t, "y")+inside.num(t, "height")
						same("length", inside.num(t, "width"), float64(plan.Length))
						same("width", inside.num(t, "height"), float64(plan.Width))
						for _, pl := range plan.Floor {
							e := need(pl.Code)
							same(pl.Code+" length", e.num(t, "width"), float64(pl.Length))
							same(pl.Code+" width", e.num(t, "height"), float64(pl.Width))
							same(pl.Code+" x", e.num(t, "x")-left, float64(pl.X))
							same(pl.Code+" y", bottom-e.num(t, "y")-e.num(t, "height"), float64(pl.Y))
						}
					case "ceiling-from-above", "ceiling-from-below":
						panel := need("panel")
						for _, h := range plan.Holes {
							e := need(h.Code)
							x := e.num(t, "cx") - panel.num(t, "x")
							if s.Name == "ceiling-from-below" {
								x = panel.num(t, "width") - x
							}
							same(h.Code+" from left", x, float64(h.FromLeft))
							same(h.Code+" from front", panel.num(t, "y")+panel.num(t, "height")-e.num(t, "cy"), float64(h.FromFront))
							same(h.Code+" diameter", 2*e.num(t, "r"), float64(h.Diameter))
							if h.Trim > 0 {
								same(h.Code+" trim", 2*need(h.Code+"-trim").num(t, "r"), float64(h.Trim))
							}
						}
					case "section":
						inside := need("inside")
						same("height", inside.num(t, "height"), float64(plan.Height))
						if plan.Substrate > 0 {
							same("substrate", need("substrate").num(t, "height"), float64(plan.Substrate))
						}
						for _, m := range plan.Fixtures {
							if m.Distance > 0 && !strings.Contains(texts["desc"], "to the back on") {
								t.Errorf("%s: no lamp distance in words", name)
							}
						}
					case "walls":
						for _, o := range plan.Walls {
							if o.Wall != "floor" {
								e := need(o.Code)
								same(o.Code+" length", e.num(t, "width"), float64(o.Length))
								same(o.Code+" from left", e.num(t, "x")-need("wall-"+o.Wall).num(t, "x"), float64(o.Along))
							}
						}
					}
				}
			}
		}
	}
}

// Nothing is drawn or written off the paper; widths of letters are estimated.
func TestDrawingsStayOnPaper(t *testing.T) {
	const letter = 0.56 // of the size of the type
	for _, name := range names() {
		for _, paper := range []layout.Paper{layout.A4, layout.Letter} {
			for _, s := range append(solve(t, worked()[name]).Sheets(paper, quantity.Imperial, ""), solve(t, worked()[name]).Sheets(paper, quantity.Metric, "")...) {
				els, _ := read(t, s.SVG)
				for _, e := range els {
					if e.name != "text" || e.attr["x"] == "" {
						continue
					}
					if x, y := e.num(t, "x"), e.num(t, "y"); x < 4 || x > paper.Width-4 || y < 4 || y > paper.Height-4 {
						t.Errorf("%s %s: text at %g, %g", name, s.Name, x, y)
					}
					size := 2.8
					if e.attr["font-size"] != "" {
						size = e.num(t, "font-size")
					}
					long := letter * size * float64(len([]rune(e.text)))
					from := e.num(t, "x")
					switch e.attr["text-anchor"] {
					case "middle":
						from -= long / 2
					case "end":
						from -= long
					}
					if from < 3 || from+long > paper.Width-3 {
						t.Errorf("%s %s: %q runs from %.1f to %.1f mm on paper of %g", name, s.Name, e.text, from, from+long, paper.Width)
					}
				}
			}
		}
	}
}

func TestSameSeedSamePlan(t *testing.T) {
	for _, name := range names() {
		b := worked()[name]
		first := solve(t, b)
		for range 3 {
			if d := cmp.Diff(first, solve(t, b), cmp.AllowUnexported(layout.Event{})); d != "" {
				t.Fatalf("%s: %s", name, d)
			}
		}
	}
}

// Either end may be the warm one; the plan is then the other way round.
func TestWarmEnd(t *testing.T) {
	b := worked()["tree-lizard"]
	left := solve(t, b)
	b.WarmEnd = "right"
	right := solve(t, b)
	for _, x := range layout.Check(b, right) {
		t.Errorf("%+v", x)
	}
	for i, pl := range left.Floor {
		o := right.Floor[i]
		if want := left.Length - pl.X - pl.Length; math.Abs(float64(o.X-want)) > 1e-6 || o.Y != pl.Y {
			t.Errorf("%s lies at %v, %v; mirrored it would be at %v, %v", pl.Code, o.X, o.Y, want, pl.Y)
		}
	}
}

// Check values of the trade: common practice, no source.
func TestTradePractice(t *testing.T) {
	in := func(s string) float64 {
		l, err := quantity.ParseLength(s)
		if err != nil {
			t.Fatal(err)
		}
		return float64(l)
	}
	p := layout.TradePractice()
	for _, c := range []struct {
		what      string
		got, want float64
	}{
		{"between cut edges", p.OpeningGap, in("2.25 in")}, {"trim", p.Trim, in("1 in")}, {"screw inset", p.ScrewInset, in("0.5 in")},
		{"nozzle", p.NozzleHole, in("0.625 in")}, {"fan mount", p.FanHole, in("0.625 in")}, {"corded plug", p.CordHole, in("1.5 in")},
		{"mat service", p.MatService, in("20 in")}, {"UV clear of trim", p.UVClear, in("1 in")},
		{"left between the trims", p.OpeningGap - 2*p.Trim, in("0.25 in")},
	} {
		if math.Abs(c.got-c.want) > 1e-12 {
			t.Errorf("%s: %v, want %v", c.what, c.got, c.want)
		}
	}
	if p.Screws != 8 {
		t.Errorf("%d screws", p.Screws)
	}
	plan := solve(t, worked()["digging-lizard"])
	openings := 0
	for _, h := range plan.Holes {
		switch h.Purpose {
		case "lamp opening":
			openings++
			if math.Abs(float64(h.Trim-h.Diameter)-in("2 in")) > 1e-9 || h.Guard != h.Trim || h.Screws != 8 || math.Abs(float64(h.ScrewCircle-h.Diameter)-in("1 in")) > 1e-9 {
				t.Errorf("%s: %+v", h.Code, h)
			}
		case "nozzle":
			if math.Abs(float64(h.Diameter)-in("0.625 in")) > 1e-9 {
				t.Errorf("%s: %v", h.Code, h.Diameter)
			}
		case "cord":
			if math.Abs(float64(h.Diameter)-in("1.5 in")) > 1e-9 {
				t.Errorf("%s: %v", h.Code, h.Diameter)
			}
		}
	}
	if openings < 3 {
		t.Errorf("%d openings: the animal can't choose", openings)
	}
	// In the plan itself: cut edges, and the UV fixture off the trims.
	for i, a := range plan.Holes {
		for _, b := range plan.Holes[:i] {
			if a.Purpose == "lamp opening" && b.Purpose == a.Purpose {
				if gap := math.Hypot(float64(a.X-b.X), float64(a.Y-b.Y)) - float64(a.Diameter+b.Diameter)/2; gap < in("2.25 in")-0.0006 {
					t.Errorf("%s and %s: %.4f m between the cuts", a.Code, b.Code, gap)
				}
			}
		}
		for _, m := range plan.Fixtures {
			if m.Kind == layout.UV && a.Purpose == "lamp opening" {
				dx := max(0, math.Abs(float64(a.X-m.X))-float64(m.Length)/2)
				dy := max(0, math.Abs(float64(a.Y-m.Y))-float64(m.Width)/2)
				if clear := math.Hypot(dx, dy) - float64(a.Trim)/2; clear < in("1 in")-0.0006 {
					t.Errorf("the UV fixture is %.4f m from the trim of %s", clear, a.Code)
				}
			}
		}
	}
	for _, c := range plan.Cuts {
		if strings.HasPrefix(c.Part, "guard disc") && !strings.Contains(c.Note, "trim's outside circle") || strings.HasPrefix(c.Part, "trim ring") && !strings.Contains(c.Note, "crosswise") {
			t.Errorf("%s: %s", c.Part, c.Note)
		}
	}
	tree := worked()["tree-lizard"]
	tree.Practice = layout.TradePractice()
	mounts := 0
	for _, h := range solve(t, tree).Holes {
		if h.Purpose == "fan mount" {
			mounts++
			if math.Abs(float64(h.Diameter)-in("0.625 in")) > 1e-9 {
				t.Errorf("fan mount %v", h.Diameter)
			}
		}
	}
	if mounts == 0 {
		t.Error("no fan mount")
	}
	for _, o := range solve(t, worked()["heavy-snake"]).Walls {
		if o.Code == "service_door" && float64(o.Length) < in("20 in")-0.0006 {
			t.Errorf("service door %v", o.Length)
		}
	}
}

// Areas and litres against closed forms worked from the brief alone.
func TestMaterials(t *testing.T) {
	b := worked()["frog"]
	b.Fixtures = nil
	b.Needs = layout.Needs{Water: 0.04, WaterDepth: 0.10, Clear: 0.5}
	b.Animal.Climbs = 0
	p := solve(t, b)
	x := b.Box
	l, w, h, d := x.Length, x.Width, x.Height, x.Panel
	var tub layout.Place
	for _, pl := range p.Floor {
		if pl.Role == layout.Water {
			tub = pl
		}
	}
	area := float64(tub.Length * tub.Width)
	kick := x.Drainage + x.Substrate + 0.02
	want := map[string]float64{
		"panel": 2*(l+2*d)*(w+2*d) + (l+2*d)*h + 2*(w+d)*h + l*kick + l*0.06,
		"glass": 2 * (l + 0.06) / 2 * (h - kick - 0.06),
		// The tub is 10 cm deep in 13 cm of fill: 8 cm through the substrate, 2 cm into the drainage.
		"substrate": l*w*0.08 - area*0.08,
		"drainage":  l*w*0.05 - area*0.02,
	}
	for _, m := range p.Materials.Lines {
		net, buy := float64(m.Area)+float64(m.Volume), float64(m.BuyArea)+float64(m.BuyVolume)
		if v, ok := want[m.Code]; ok && math.Abs(net-v) > 1e-9 {
			t.Errorf("%s: %.6f, want %.6f", m.Code, net, v)
		}
		if m.Area+quantity.Area(m.Volume) > 0 && math.Abs(buy-net*(1+float64(m.Waste))) > 1e-12 {
			t.Errorf("%s: to buy %v of %v", m.Code, buy, net)
		}
		delete(want, m.Code)
	}
	if len(want) > 0 {
		t.Errorf("missing: %v", want)
	}
	if math.Abs(p.Tub.Volume.Litres()-area*0.10*1000) > 1e-9 || area < 0.04 {
		t.Errorf("tub: %v L of %v m²", p.Tub.Volume.Litres(), area)
	}
	// Package ground knows the same volume for the floor without the tub.
	clay, err := ground.SubstrateNamed("expanded clay")
	if err != nil {
		t.Fatal(err)
	}
	c, err := ground.Describe(ground.Fill{Length: l, Depth: w, Thickness: 0.08, Substrate: clay})
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range p.Materials.Lines {
		if m.Code == "substrate" && math.Abs(float64(m.Volume)+area*0.08-c.Volume) > 1e-9 {
			t.Errorf("substrate %v and tub are not the %v of package ground", m.Volume, c.Volume)
		}
	}

	p = solve(t, worked()["digging-lizard"])
	ring, disc := 0.0, 0.0
	for _, hole := range p.Holes {
		if hole.Trim > 0 {
			ring += math.Pi / 4 * (float64(hole.Trim*hole.Trim) - float64(hole.Diameter*hole.Diameter))
			disc += math.Pi / 4 * float64(hole.Trim*hole.Trim)
		}
	}
	for _, o := range p.Walls {
		if strings.HasPrefix(o.Code, "vent") {
			disc += (float64(o.Length) + 0.04) * (float64(o.Height) + 0.04)
		}
	}
	for _, m := range p.Materials.Lines {
		if m.Code == "trim_sheet" && math.Abs(float64(m.Area)-ring) > 1e-9 || m.Code == "mesh" && math.Abs(float64(m.Area)-disc) > 1e-9 {
			t.Errorf("%s: %v, want %v or %v", m.Code, m.Area, ring, disc)
		}
	}
	// 3 of 4 lamps at 90 W are used, 54 W UV, 40 W plant light; 100 W by night.
	if p.Materials.DayWatts != 364 || p.Materials.NightWatts != 100 {
		t.Errorf("%v by day, %v by night", p.Materials.DayWatts, p.Materials.NightWatts)
	}
}

// A running-water wall: 6 L/min on 0.3 m is 3.33e-4 m²/s, so the film of Nusselt's
// formula is (3 · 1e-6 · 3.333e-4 / 9.81)^⅓ = 0.4671 mm: 0.140 L on 0.3 m² (worked by hand).
func TestRunningWater(t *testing.T) {
	b := worked()["tree-lizard"]
	p := solve(t, b)
	r := p.Running
	if math.Abs(r.Film.Litres()-0.1401) > 0.0002 || r.Flow.Number != 6 {
		t.Errorf("film %v L, flow %v", r.Film.Litres(), r.Flow)
	}
	e, err := moisture.Evaporate(moisture.OpenWater{AreaM2: 0.3, WaterC: b.Climate.WaterC, SpeedMPerS: 0.1, Air: moisture.Air{TemperatureC: b.Climate.AirC, Humidity: b.Climate.DayLow, PressurePa: moisture.SeaLevelPa}})
	if err != nil {
		t.Fatal(err)
	}
	if got := r.Evaporation.Litres(); math.Abs(got-24*e.Likely) > 1e-9 {
		t.Errorf("evaporates %v L a day, want %v", got, 24*e.Likely)
	}
	if got, want := r.Sump.Litres(), r.Film.Litres()+2+3*24*e.Likely; math.Abs(got-want) > 1e-9 {
		t.Errorf("sump %v L, want %v", got, want)
	}
	// The wall is in the budget: without it less evaporates and less is held.
	b.Fixtures = slices.DeleteFunc(b.Fixtures, func(f layout.Fixture) bool { return f.Kind == layout.WaterWall })
	if dry := solve(t, b); dry.Moisture.OpenWater >= p.Moisture.OpenWater || dry.Moisture.HeldDay >= p.Moisture.HeldDay {
		t.Errorf("with the wall %+v, without %+v", p.Moisture, dry.Moisture)
	}
}

// Rock work: U of 18 mm plywood with still air is 1/(0.13+0.13+0.018/k); 40 mm of foam adds 0.04/k, k 0.025 to 0.04.
func TestRockWork(t *testing.T) {
	b := worked()["digging-lizard"]
	p := solve(t, b)
	r := p.Rock[0]
	if r.After.Number >= 0.6*r.Before.Number || float64(r.FloorLost) != 2.4*0.06 {
		t.Errorf("%+v", r)
	}
	if got := float64(p.Clear.Width); math.Abs(got-1.14) > 1e-9 {
		t.Errorf("clear width %v", got)
	}
	resistance := func(u float64) float64 { return 2.4 * 1.2 / u }
	if d := resistance(r.After.Number) - resistance(r.Before.Number); d < 1.0 || d > 1.6 {
		t.Errorf("40 mm of foam add %v m²K/W", d)
	}
}

func TestCSV(t *testing.T) {
	b := worked()["digging-lizard"]
	b.Fixtures[0].Name = "=HYPERLINK(1)"
	b.Fixtures[1].Name = "@UV"
	p := solve(t, b)
	p.Walls[0].Note = "+1"
	p.Cuts[0].Part = "-floor"
	for name, data := range map[string][]byte{"cuts": p.CutCSV(quantity.Metric), "cuts, in": p.CutCSV(quantity.Imperial), "program": p.ProgramCSV(), "materials": p.MaterialsCSV(quantity.Metric)} {
		rows, err := csv.NewReader(bytes.NewReader(data)).ReadAll()
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if len(rows) < 5 {
			t.Errorf("%s: %d rows", name, len(rows))
		}
		for _, r := range rows {
			for _, c := range r {
				if c != "" && strings.ContainsAny(c[:1], "=+-@\t\r") {
					t.Errorf("%s: cell %q would be a formula", name, c)
				}
			}
		}
	}
	rows, _ := csv.NewReader(bytes.NewReader(p.CutCSV(quantity.Metric))).ReadAll()
	found := 0
	for _, r := range rows {
		for _, h := range p.Holes {
			if r[0] == "hole "+h.Code {
				found++
				if x, err := strconv.ParseFloat(r[7], 64); err != nil || math.Abs(x-1000*float64(h.FromLeft)) > 0.006 {
					t.Errorf("%s from left %s", h.Code, r[7])
				}
			}
		}
	}
	if found != len(p.Holes) || rows[1][0] != "'-floor" {
		t.Errorf("%d of %d holes; %q", found, len(p.Holes), rows[1][0])
	}
}

// The calendar is read by an independent library.
func TestCalendar(t *testing.T) {
	for _, name := range names() {
		p := solve(t, worked()[name])
		data, err := p.Program.Calendar(2026)
		if err != nil {
			t.Fatal(err)
		}
		for _, line := range strings.Split(strings.TrimSuffix(string(data), "\r\n"), "\r\n") {
			if len(line) > 75 || strings.ContainsAny(line, "\r\n") {
				t.Errorf("%s: line of %d octets: %q", name, len(line), line)
			}
		}
		cal, err := ics.ParseCalendar(bytes.NewReader(data))
		if err != nil {
			t.Fatal(err)
		}
		want := 0
		for _, s := range p.Program.Seasons {
			want += len(s.Events)
		}
		events := cal.Events()
		if len(events) != want {
			t.Fatalf("%s: %d events, want %d", name, len(events), want)
		}
		ids := map[string]bool{}
		i := 0
		for _, s := range p.Program.Seasons {
			for _, e := range s.Events {
				v := events[i]
				i++
				get := func(k ics.ComponentProperty) string {
					if q := v.GetProperty(k); q != nil {
						return q.Value
					}
					return ""
				}
				if ids[v.Id()] || v.Id() == "" {
					t.Errorf("%s: UID %q is empty or used twice", name, v.Id())
				}
				ids[v.Id()] = true
				begin, err := time.Parse("20060102T150405", get(ics.ComponentPropertyDtStart)) // floating: no Z, no zone
				if err != nil {
					t.Fatal(err)
				}
				end, err := time.Parse("20060102T150405", get(ics.ComponentPropertyDtEnd))
				if err != nil {
					t.Fatal(err)
				}
				if begin.Format("15:04") != e.Start || end.Format("15:04") != e.End || !end.After(begin) || end.Sub(begin) > 24*time.Hour {
					t.Errorf("%s: %s runs %v to %v, want %s to %s", name, e.Name, begin, end, e.Start, e.End)
				}
				if begin.Year() != 2026 || int(begin.Month()) != s.From {
					t.Errorf("%s: %s begins %v", name, s.Name, begin)
				}
				day := []string{"SU", "MO", "TU", "WE", "TH", "FR", "SA"}[begin.Weekday()]
				rule := get(ics.ComponentPropertyRrule)
				if !slices.Contains(e.Days, day) || !strings.Contains(rule, "BYDAY="+strings.Join(e.Days, ",")) || !strings.HasPrefix(rule, "FREQ=WEEKLY;UNTIL=") || strings.Contains(rule, "Z") {
					t.Errorf("%s: %s on %s by %s", name, e.Name, day, rule)
				}
			}
		}
	}
	p := solve(t, worked()["digging-lizard"])
	data, err := p.Program.Calendar(2026, "mist")
	if err != nil {
		t.Fatal(err)
	}
	cal, err := ics.ParseCalendar(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range cal.Events() {
		if r := v.GetProperty(ics.ComponentPropertyRrule).Value; !strings.HasSuffix(r, "BYDAY=MO,WE,FR") {
			t.Errorf("mist by %s", r)
		}
	}
	if len(cal.Events()) != 8 {
		t.Errorf("%d events of mist in four seasons", len(cal.Events()))
	}
	var bad *layout.InputError
	if _, err := p.Program.Calendar(2026, "nonsense"); !errors.As(err, &bad) {
		t.Errorf("an unknown event gives %v", err)
	}
	if _, err := p.Program.Calendar(99999); !errors.As(err, &bad) {
		t.Errorf("a far year gives %v", err)
	}
}

// Text that could break a calendar line comes back whole.
func TestCalendarText(t *testing.T) {
	note := "a, b; c\\d\nnext line — " + strings.Repeat("long words für alle ", 12)
	p := layout.Program{Seasons: []layout.SeasonDay{{Name: "all", From: 1, To: 12, Events: []layout.Event{{Code: "day", Name: "day; or, night", Start: "22:00", End: "06:00", Days: []string{"TU"}, Note: note}}}}}
	data, err := p.Calendar(2027)
	if err != nil {
		t.Fatal(err)
	}
	cal, err := ics.ParseCalendar(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	v := cal.Events()[0]
	if got := v.GetProperty(ics.ComponentPropertyDescription).Value; got != note+" (all)" {
		t.Errorf("note reads %q", got)
	}
	if got := v.GetProperty(ics.ComponentPropertySummary).Value; got != "day; or, night" {
		t.Errorf("name reads %q", got)
	}
	if got := v.GetProperty(ics.ComponentPropertyDtEnd).Value; got != "20270106T060000" { // the first Tuesday is the 5th
		t.Errorf("ends %s", got)
	}
}

// The fog of a session never lifts the air past the ceiling, worked again from the box.
func TestFogUnderCeiling(t *testing.T) {
	b := worked()["heavy-snake"]
	b.Climate.AirChanges = 4 // enough to dry it out, so that there is something to fog for
	fogged := false
	for _, high := range []float64{0.71, 0.74, 0.80, 0.95} {
		b.Climate.NightHigh = high
		p := solve(t, b)
		m, c := p.Moisture, b.Climate
		start := max(c.NightLow, float64(m.HeldNight))
		e, err := moisture.Evaporate(moisture.OpenWater{AreaM2: float64(p.Tub.Area), WaterC: c.WaterC, SpeedMPerS: 0.1, Air: moisture.Air{TemperatureC: c.NightC, Humidity: start, PressurePa: moisture.SeaLevelPa}})
		if err != nil {
			t.Fatal(err)
		}
		x := moisture.Box{VolumeM3: float64(p.Clear.Length*p.Clear.Width) * (b.Box.Height - 0.06), AirChangesPerHour: c.AirChanges, AirC: c.NightC, RoomC: c.RoomC, RoomHumidity: c.RoomHumidity, EvaporationKgPerHour: e.Likely}
		after, err := moisture.HumidityAfter(x, start, b.Fixtures[3].LitresPerMinute*60*moisture.AssumedFogVapourShare, m.Fog.Number/3/60)
		if err != nil {
			t.Fatal(err)
		}
		fogged = fogged || m.Fog.Number > 0
		if m.Fog.Number > 0 && after > high+1e-9 || m.Fog.Number > 30 {
			t.Errorf("ceiling %v: %v min end at %v", high, m.Fog.Number, after)
		}
		if m.Fog.Number > 0 && math.Abs(after-float64(m.FogPeak)) > 1e-9 {
			t.Errorf("peak %v, want %v", m.FogPeak, after)
		}
		for _, x := range layout.Check(b, p) {
			t.Errorf("%+v", x)
		}
	}
	if !fogged {
		t.Error("no case needed fog")
	}
}

func TestInputErrors(t *testing.T) {
	for field, spoil := range map[string]func(*layout.Brief){
		"box.length":       func(b *layout.Brief) { b.Box.Length = math.NaN() },
		"box.height":       func(b *layout.Brief) { b.Box.Height = 50 },
		"box.substrate":    func(b *layout.Brief) { b.Box.Substrate = 0.5 },
		"box.rock[0].wall": func(b *layout.Brief) { b.Box.Rock = []layout.Rock{{Wall: "front", Thickness: 0.05}} },
		"box.rock[1].wall": func(b *layout.Brief) {
			b.Box.Rock = []layout.Rock{{Wall: "back", Thickness: 0.05}, {Wall: "back", Thickness: 0.05}}
		},
		"box.rock":                      func(b *layout.Brief) { b.Box.Rock = []layout.Rock{{Wall: "back", Thickness: 0.4}} },
		"warm_end":                      func(b *layout.Brief) { b.WarmEnd = "up" },
		"animal.count":                  func(b *layout.Brief) { b.Animal.Count = 0 },
		"needs.water_depth":             func(b *layout.Brief) { b.Needs.WaterDepth = 0 },
		"fixtures[0].kind":              func(b *layout.Brief) { b.Fixtures[0].Kind = "toaster" },
		"fixtures[0].count":             func(b *layout.Brief) { b.Fixtures[0].Count = 13 },
		"fixtures[3].opening":           func(b *layout.Brief) { b.Fixtures[3].Opening = 0 },
		"fixtures[4].length":            func(b *layout.Brief) { b.Fixtures[4].Length = 0 },
		"light.dawn":                    func(b *layout.Brief) { b.Light.Dawn = 800 },
		"light.seasons[1].hours":        func(b *layout.Brief) { b.Light.Seasons[1].Hours = 25 },
		"climate.room_humidity":         func(b *layout.Brief) { b.Climate.RoomHumidity = 45 },
		"climate.night_high":            func(b *layout.Brief) { b.Climate.NightHigh = 0.1 },
		"fixtures":                      func(b *layout.Brief) { b.Fixtures = make([]layout.Fixture, 21) },
		"fixtures[0].litres_per_minute": func(b *layout.Brief) { b.Fixtures[0].LitresPerMinute = -1 },
	} {
		b := worked()["frog"]
		spoil(&b)
		var bad *layout.InputError
		if _, err := layout.Solve(b); !errors.As(err, &bad) || bad.Field != field {
			t.Errorf("%s: %v", field, err)
		}
	}
}

func BenchmarkPlan(b *testing.B) {
	briefs := worked()
	for _, name := range slices.Sorted(maps.Keys(briefs)) {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				p, err := layout.Solve(briefs[name])
				if err != nil {
					b.Fatal(err)
				}
				p.Sheets(layout.A4, quantity.Metric, "invented")
				p.CutCSV(quantity.Metric)
				if _, err := p.Program.Calendar(2026); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
