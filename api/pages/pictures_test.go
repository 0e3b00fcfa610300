package pages_test

import (
	"bytes"
	"flag"
	"fmt"
	"image/png"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/page"
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

const pictureWidth, pictureHeight = 800, 600

func pictureFile(name string) string { return filepath.Join("../../testdata/pages", name+".png") }

// Every picture is there, small, of one width, and shown in the README, and the README
// shows no other. With -update, and a browser, they are taken anew.
func TestPicturesOfPages(t *testing.T) {
	if *update {
		b := openBrowser(t)
		v := b.tab(t, setting{width: pictureWidth, script: true})
		for _, p := range pictures {
			v.open(b.house.at(p.path))
			top := evaluate[float64](v, fmt.Sprintf("document.querySelector(%q).getBoundingClientRect().top + scrollY - 12", p.from))
			all := true
			shot := call(v, page.CaptureScreenshot, page.CaptureScreenshotParams{Format: page.CaptureScreenshotFormatPng, CaptureBeyondViewport: &all,
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
	readme, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
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
