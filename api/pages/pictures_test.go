package pages_test

import (
	"bytes"
	"flag"
	"fmt"
	"image/png"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/page"

	"denwright/care/store"
)

var update = flag.Bool("update", false, "write the README's pictures of pages anew")

// pictures are those of the README: a page, and the element at which its picture begins.
var pictures = []struct{ name, path, from string }{
	{"species", "/species/pogona-vitticeps", "#heat"},
	{"size", "/size?" + oneDragon + "&jurisdiction=DE", "h1"},
	{"plan", "/plan?" + oneDragon + "&start=usual", "figure.sheet"},
	{"assess", "/assess?{dragon}", "h1"},
	{"climate", glassBoxPath, "main .picture"},
	{"match", "/match?{dragon}", "#list"},
}

// gallery are further pages, by their names among those looked at, each pictured from
// its heading in testdata/pages/README.md.
var gallery = []struct{ name, caption string }{
	{"home", "The first page"},
	{"claims", "Every claim about a species, and whether it counts"},
	{"sources", "The publications behind the figures"},
	{"changes", "The least work that makes an enclosure good enough"},
	{"handover", "The sheet that goes with an animal"},
	{"outgrow", "When an enclosure is outgrown"},
	{"compare", "Setups side by side"},
	{"company", "Who may live together"},
	{"intake", "A whole list at once"},
	{"climate-light", "UV index against height"},
	{"climate-damp", "Humidity over the day"},
	{"climate-ground", "Soil, weight and loads"},
	{"api", "The reference of the API"},
	{"api-size", "One question of the API, tried out"},
	{"api-quick-start", "Quick starts"},
	{"setups", "Setups that are kept"},
	{"setup", "A setup with its answers, then and now"},
	{"records", "Records for curators"},
	{"record-edit", "Correcting a record"},
	{"revision", "A revision under review"},
	{"method", "How answers come about"},
}

const pictureWidth, pictureHeight = 800, 600

func pictureFile(name string) string { return filepath.Join("../../testdata/pages", name+".png") }

// Every picture is there, small, of one width, and shown in the README, and the README
// shows no other. With -update, and a browser, they are taken anew.
func TestPicturesOfPages(t *testing.T) {
	if *update {
		b := openBrowser(t)
		v := b.tab(t, setting{width: pictureWidth, script: true})
		type pictured struct {
			name, path, from string
			as               store.Role
		}
		var all []pictured
		for _, p := range pictures {
			all = append(all, pictured{p.name, p.path, p.from, ""})
		}
		for _, g := range gallery {
			i := slices.IndexFunc(lookedAt, func(l looked) bool { return l.name == g.name })
			if i < 0 {
				t.Fatalf("no page %s is looked at", g.name)
			}
			all = append(all, pictured{g.name, lookedAt[i].path, "h1", lookedAt[i].as})
		}
		for _, p := range all {
			v.session(b.house.sessions[p.as])
			v.open(b.house.at(p.path))
			top := evaluate[float64](v, fmt.Sprintf("document.querySelector(%q).getBoundingClientRect().top + scrollY - 12", p.from))
			whole := true
			shot := call(v, page.CaptureScreenshot, page.CaptureScreenshotParams{Format: page.CaptureScreenshotFormatPng, CaptureBeyondViewport: &whole,
				Clip: &page.Viewport{X: 0, Y: max(top, 0), Width: pictureWidth, Height: pictureHeight, Scale: 1}})
			picture, err := png.Decode(bytes.NewReader(shot.Data))
			if err != nil {
				t.Fatal(err)
			}
			var small bytes.Buffer
			if err := (&png.Encoder{CompressionLevel: png.BestCompression}).Encode(&small, picture); err != nil {
				t.Fatal(err)
			}
			if err := os.MkdirAll(filepath.Dir(pictureFile(p.name)), 0o755); err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(pictureFile(p.name), small.Bytes(), 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
	if *update {
		var text strings.Builder
		text.WriteString("# The pages\n\nTaken by `go test ./api/pages -run TestPicturesOfPages -update`, from the heading down. The rescue is invented.\n")
		for _, g := range gallery {
			fmt.Fprintf(&text, "\n## %s\n\n![%s](%s.png)\n", g.caption, g.caption, g.name)
		}
		if err := os.WriteFile("../../testdata/pages/README.md", []byte(text.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	readme, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	// The README shows the first six, the page beside the pictures the rest.
	beside, err := os.ReadFile("../../testdata/pages/README.md")
	if err != nil {
		t.Fatal(err)
	}
	for _, g := range gallery {
		if !strings.Contains(string(beside), "]("+g.name+".png)") {
			t.Errorf("testdata/pages/README.md does not show %s", g.name)
		}
		if body, err := os.ReadFile(pictureFile(g.name)); err != nil || len(body) > 150_000 {
			t.Errorf("%s: %d bytes (%v), want at most 150,000", g.name, len(body), err)
		}
	}
	for _, p := range pictures {
		body, err := os.ReadFile(pictureFile(p.name))
		if err != nil {
			t.Error(err)
			continue
		}
		c, err := png.DecodeConfig(bytes.NewReader(body))
		if err != nil || c.Width != pictureWidth || c.Height != pictureHeight || len(body) > 150_000 {
			t.Errorf("%s: %d × %d, %d bytes (%v); want %d × %d and at most 150,000", p.name, c.Width, c.Height, len(body), err, pictureWidth, pictureHeight)
		}
		if !strings.Contains(string(readme), "](testdata/pages/"+p.name+".png)") {
			t.Errorf("the README does not show %s", p.name)
		}
	}
	if n := strings.Count(string(readme), "](testdata/pages/"); n != len(pictures) {
		t.Errorf("the README shows %d pictures, want %d", n, len(pictures))
	}
}
