package web_test

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
)

// TestScreenshots takes a picture of every page in both themes and three sizes
// into the folder that SHOTS names: to be looked at by a person.
func TestScreenshots(t *testing.T) {
	dir := os.Getenv("SHOTS")
	if dir == "" {
		t.Skip("SHOTS=DIR takes them")
	}
	s := demoSite(t, nil)
	for _, size := range []struct {
		name          string
		width, height int64
	}{{"phone", 380, 780}, {"laptop", 1366, 800}, {"4k", 3840, 2160}} {
		for _, dark := range []bool{false, true} {
			p := open(t, s, size.width, size.height, dark)
			for name, path := range pages(t, s) {
				if only := os.Getenv("SHOTS_ONLY"); only != "" && !slices.Contains(strings.Fields(only), name) {
					continue
				}
				p.visit("/assets/none") // so that a page with another place in it is loaded anew
				p.visit(path)
				if name == "night" {
					p.until(`document.querySelector("#night").dataset.drawn > 0`)
				}
				p.until(`[...document.images].every((i) => i.complete || i.loading === "lazy")`)
				theme := map[bool]string{false: "light", true: "dark"}[dark]
				p.shoot(filepath.Join(dir, fmt.Sprintf("%s-%s-%s.png", name, size.name, theme)))
			}
		}
	}
}

// TestReadmePictures takes the README's pictures anew, as a window shows the
// pages: README_PICTURES=1 writes them into testdata/screens.
func TestReadmePictures(t *testing.T) {
	if os.Getenv("README_PICTURES") == "" {
		t.Skip("README_PICTURES=1 writes them")
	}
	s := demoSite(t, nil)
	for _, picture := range []struct {
		name, page    string
		width, height int64
		dark          bool
	}{{"tour", "tour", 1000, 740, false}, {"night", "night", 1366, 800, true}, {"song", "song", 1100, 640, false}} {
		p := open(t, s, picture.width, picture.height, picture.dark)
		if picture.page == "night" { // the whole of it, a song chosen
			p.visit("/night/2031-05-03")
			p.until(`document.querySelector("#night").dataset.drawn > 0`)
			p.click("#lane .take:nth-child(4)")
			p.until(`document.querySelector("#figures-of").textContent.startsWith("Figures of Marrow")`)
		} else {
			p.visit(pages(t, s)[picture.page])
		}
		ctx, cancel := context.WithTimeout(p.ctx, patience)
		png, err := chromedp.Run(ctx, chromedp.CaptureScreenshot())
		cancel()
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join("testdata", "screens", picture.name+".png"), png, 0o644); err != nil {
			t.Fatal(err)
		}
	}
}
