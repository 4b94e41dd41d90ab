package web_test

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
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
				t.Log(size.name, dark, name)
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
