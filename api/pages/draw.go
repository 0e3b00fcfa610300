package pages

import (
	"fmt"
	"html"
	"html/template"
	"math"
	"strconv"
	"strings"
)

// picture is an SVG in the page. Its marks are told apart by shape, dash and word,
// never by colour alone; classes take their look from the style sheet, so it prints
// in black. Title and description are read out instead of it.
type picture struct {
	b             strings.Builder
	width, height float64
}

// newPicture begins a picture of a size in pixels of the smallest screen; it scales with the page.
func newPicture(id, title, description string, width, height float64) *picture {
	p := &picture{width: width, height: height}
	fmt.Fprintf(&p.b, `<svg class="picture" viewBox="0 0 %s %s" role="img" aria-labelledby="%s-t %s-d"><title id="%s-t">%s</title><desc id="%s-d">%s</desc>`,
		num(width), num(height), id, id, id, html.EscapeString(title), id, html.EscapeString(description))
	return p
}

// newMark begins a small picture in a row that tells the same in words, and is
// therefore passed over where it can't be seen.
func newMark(width, height float64) *picture {
	p := &picture{width: width, height: height}
	fmt.Fprintf(&p.b, `<svg class="picture" viewBox="0 0 %s %s" aria-hidden="true">`, num(width), num(height))
	return p
}

func (p *picture) end() template.HTML {
	p.b.WriteString("</svg>")
	return template.HTML(p.b.String()) // every text in it was escaped
}

func num(x float64) string {
	return strconv.FormatFloat(math.Round(x*10)/10+0, 'f', -1, 64) // + 0 turns -0 into 0
}

func (p *picture) line(class string, x1, y1, x2, y2 float64) {
	fmt.Fprintf(&p.b, `<line class="%s" x1="%s" y1="%s" x2="%s" y2="%s"/>`, class, num(x1), num(y1), num(x2), num(y2))
}

func (p *picture) rect(class string, x, y, w, h float64) {
	fmt.Fprintf(&p.b, `<rect class="%s" x="%s" y="%s" width="%s" height="%s"/>`, class, num(x), num(y), num(max(w, 0)), num(max(h, 0)))
}

func (p *picture) dot(class string, x, y, r float64) {
	fmt.Fprintf(&p.b, `<circle class="%s" cx="%s" cy="%s" r="%s"/>`, class, num(x), num(y), num(r))
}

// text writes a line of text; anchor is start, middle or end.
func (p *picture) text(class string, x, y float64, anchor, s string) {
	fmt.Fprintf(&p.b, `<text class="%s" x="%s" y="%s" text-anchor="%s">%s</text>`, class, num(x), num(y), anchor, html.EscapeString(s))
}

// here marks a place on a scale from above: a point that ends in a line.
func (p *picture) here(x, y, height float64) {
	fmt.Fprintf(&p.b, `<path class="here" d="M%s %sh8l-3 7v%sh-2v-%sz"/>`, num(x-4), num(y), num(height-7), num(height-7))
}

// curve draws a line through points (x, y), or an area where class says fill.
func (p *picture) curve(class string, points [][2]float64) {
	if len(points) == 0 {
		return
	}
	var d strings.Builder
	for i, at := range points {
		d.WriteString(map[bool]string{true: "M", false: "L"}[i == 0] + num(at[0]) + " " + num(at[1]))
	}
	fmt.Fprintf(&p.b, `<path class="%s" d="%s"/>`, class, d.String())
}

// axis maps figures to a stretch of pixels.
type axis struct {
	low, high float64 // figures at the ends
	from, to  float64 // pixels
}

func (a axis) at(x float64) float64 {
	x = min(max(x, min(a.low, a.high)), max(a.low, a.high))
	return a.from + (x-a.low)/(a.high-a.low)*(a.to-a.from)
}

// ticks are round figures along the axis, at most about n.
func (a axis) ticks(n int) (out []float64) {
	step := niceStep((a.high - a.low) / float64(n))
	for x := math.Ceil(a.low/step-1e-9) * step; x <= a.high+step*1e-9; x += step {
		out = append(out, x)
	}
	return out
}

// niceStep is the first of 1, 2, 5, 10 … that is no less than x.
func niceStep(x float64) float64 {
	if !(x > 0) {
		return 1
	}
	base := math.Pow(10, math.Floor(math.Log10(x)))
	for _, m := range []float64{1, 2, 5, 10} {
		if m*base >= x*(1-1e-9) {
			return m * base
		}
	}
	return 10 * base
}

// around is an axis of round ends that holds all figures.
func around(from, to float64, figures ...float64) axis {
	low, high := math.Inf(1), math.Inf(-1)
	for _, x := range figures {
		low, high = min(low, x), max(high, x)
	}
	if math.IsInf(low, 0) {
		low, high = 0, 1
	}
	if high-low < 1e-9 {
		low, high = low-1, high+1
	}
	step := niceStep((high - low) / 5)
	return axis{math.Floor(low/step) * step, math.Ceil(high/step) * step, from, to}
}

// frame draws the two axes of a chart with round figures and their units.
func (p *picture) frame(x, y axis, xUnit, yUnit string) {
	for _, v := range y.ticks(5) {
		p.line("grid", x.from, y.at(v), x.to, y.at(v))
		p.text("tick", x.from-4, y.at(v)+4, "end", num(v))
	}
	for _, v := range x.ticks(6) {
		p.line("grid", x.at(v), y.from, x.at(v), y.from+4)
		p.text("tick", x.at(v), y.from+16, "middle", num(v))
	}
	p.line("axis", x.from, y.from, x.to, y.from)
	p.text("tick", x.to, y.from+30, "end", xUnit)
	p.text("tick", 2, y.to-6, "start", yUnit)
}
