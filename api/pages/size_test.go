package pages

import (
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing"
)

// shapes are the figures of each rectangle of a class in a page's pictures: x, y, width, height.
func shapes(t *testing.T, page, class string) (out [][4]float64) {
	t.Helper()
	for _, m := range regexp.MustCompile(`<rect class="`+class+`" x="([-\d.]+)" y="([-\d.]+)" width="([\d.]+)" height="([\d.]+)"`).FindAllStringSubmatch(page, -1) {
		var r [4]float64
		for i := range r {
			x, err := strconv.ParseFloat(m[i+1], 64)
			if err != nil {
				t.Fatal(err)
			}
			r[i] = x
		}
		out = append(out, r)
	}
	return out
}

// The picture of the advised size is to one scale with the door beside it, and bears
// the figures of the answer.
func TestSizePictureIsToScale(t *testing.T) {
	h := serve(t)
	c, err := care.Embedded()
	if err != nil {
		t.Fatal(err)
	}
	for i, s := range c.Species() {
		if i%5 != 0 {
			continue
		}
		a, err := sizing.Require(c, sizing.Question{Species: s.ID, Animals: []sizing.Animal{{Count: 1, Stage: care.Adult}}})
		if err != nil {
			t.Fatal(err)
		}
		_, page := visit(t, h, "/size?units=metric&animals.0.count=1&animals.0.stage=adult&species="+s.ID)
		doors, boxes := shapes(t, page, "door"), shapes(t, page, "box")
		if a.Advised.Standing != care.Known {
			if len(boxes) > 0 || !strings.Contains(page, "What would settle it") {
				t.Errorf("%s: no size is known, and the page does not say what would settle it", s.ID)
			}
			continue
		}
		if len(doors) != 1 || len(boxes) == 0 {
			t.Fatalf("%s: %d doors, %d boxes", s.ID, len(doors), len(boxes))
		}
		perMetre := doors[0][3] / doorHigh
		near := func(what string, pixels float64, l quantity.Length) {
			if math.Abs(pixels-perMetre*float64(l)) > 0.1+0.001*pixels {
				t.Errorf("%s: %s is drawn %.1f long, want %.1f", s.ID, what, pixels, perMetre*float64(l))
			}
			if !strings.Contains(page, ">"+l.Value().In(quantity.Metric).String()+"</text>") {
				t.Errorf("%s: %s bears no %s", s.ID, what, l.Value().In(quantity.Metric))
			}
		}
		floor := boxes[len(boxes)-1]
		near("the floor's length", floor[2], a.Advised.Length)
		near("the floor's width", floor[3], a.Advised.Width)
		if st := a.Advised.Structure; st != nil {
			near("the front's height", boxes[0][3], st.InsideHeight)
		}
	}
}

// Sources are named by their titles, never by their keys.
func TestSizeNamesSources(t *testing.T) {
	h := serve(t)
	c, err := care.Embedded()
	if err != nil {
		t.Fatal(err)
	}
	_, page := visit(t, h, "/size?units=metric&animals.0.count=2&animals.0.stage=adult&species=testudo-hermanni&jurisdiction=DE")
	named := 0
	for _, s := range c.Sources() {
		if strings.Contains(page, ">"+s.Key+"<") {
			t.Errorf("the page shows the key %s", s.Key)
		}
		if strings.Contains(page, `href="/sources/`+s.Key+`"`) {
			named++
		}
	}
	if named == 0 {
		t.Error("no source is named")
	}
}

// The page of a young animal says what it will need at every later stage, and when the
// size advised now falls short.
func TestYoungAnimalsGrow(t *testing.T) {
	h := serve(t)
	c, err := care.Embedded()
	if err != nil {
		t.Fatal(err)
	}
	_, page := visit(t, h, "/size?units=metric&animals.0.count=1&animals.0.stage=juvenile&species=pogona-vitticeps")
	for _, stage := range []care.Stage{care.Subadult, care.Adult} {
		a, err := sizing.Require(c, sizing.Question{Species: "pogona-vitticeps", Animals: []sizing.Animal{{Count: 1, Stage: stage}}})
		if err != nil {
			t.Fatal(err)
		}
		want := a.Advised.Length.Value().In(quantity.Metric).String() + " × " + a.Advised.Width.Value().In(quantity.Metric).String()
		if strings.Count(page, want) != 2 {
			t.Errorf("%s: %s is not once in the picture and once in the table", stage, want)
		}
	}
	if !strings.Contains(page, "first falls short in") {
		t.Error("the page does not say when the size is outgrown")
	}
	if _, adult := visit(t, h, "/size?units=metric&animals.0.count=1&animals.0.stage=adult&species=pogona-vitticeps"); strings.Contains(adult, "as they grow") {
		t.Error("an adult is said to grow")
	}
}
