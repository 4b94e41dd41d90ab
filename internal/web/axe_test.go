package web_test

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"nightreel/internal/web"
)

// TestAccessible runs axe-core (WCAG 2.0 to 2.2, levels A and AA, and its best
// practices) over every page in every theme: nothing serious or critical may be
// found. The script comes in through the debugger, as the pages' policy lets no
// page load it.
func TestAccessible(t *testing.T) {
	axe, err := os.ReadFile(filepath.Join("testdata", "axe", "axe.min.js"))
	if err != nil {
		t.Fatal(err)
	}
	s := demoSite(t, withPlayer)
	found := 0
	const all = `["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]`
	const colours = `{type: "rule", values: ["color-contrast"]}` // what the dark can change
	check := func(p *page, name, rules string) {
		t.Helper()
		p.do(chromedp.Evaluate[chromedp.Void](string(axe)))
		text := eval[string](p, `axe.run(document, {resultTypes: ["violations"], runOnly: `+rules+`}).then((r) => JSON.stringify({rules: r.passes.length, violations: r.violations.map((v) => ({id: v.id, impact: v.impact, help: v.help, nodes: v.nodes.slice(0, 3).map((n) => n.html.slice(0, 160) + " " + (n.any[0]?.message || ""))}))}))`)
		var r struct {
			Rules      int
			Violations []struct {
				ID, Impact, Help string
				Nodes            []string
			}
		}
		if err := json.Unmarshal([]byte(text), &r); err != nil {
			t.Fatal(err)
		}
		if r.Rules == 0 || rules == all && r.Rules < 10 {
			t.Errorf("%s: only %d rules had anything to look at", name, r.Rules)
		}
		for _, v := range r.Violations {
			words := fmt.Sprintf("%s: %s, %s: %s\n\t%s", name, v.Impact, v.ID, v.Help, strings.Join(v.Nodes, "\n\t"))
			if v.Impact == "serious" || v.Impact == "critical" {
				found++
				t.Error(words)
			} else {
				t.Log(words)
			}
		}
	}
	for _, theme := range []string{"light", "dark", "dim"} {
		rules := all
		if theme != "light" {
			rules = colours
		}
		p := open(t, s, 1280, 900, theme == "dark")
		if theme == "dim" {
			p.visit("/assets/none")
			p.do(chromedp.Evaluate[chromedp.Void](`localStorage.setItem("theme", "dim")`))
		}
		for name, path := range pages(t, s) {
			if name == "sheet" && theme != "light" || theme == "dim" && !strings.Contains("tour night findings song session scan", name) {
				continue // paper is white; these pages have every colour of a theme
			}
			p.visit(path)
			if name == "night" {
				p.until(`document.querySelector('#night').dataset.drawn > 0`)
				p.click("#rename")
				p.until(`document.activeElement.id === "title"`)
			}
			if name == "findings" {
				p.click(".finding .listen")
				p.until(`!document.querySelector('#ear').hidden`)
			}
			check(p, name+", "+theme, rules)
		}
		p.openSession(1)
		p.do(chromedp.Evaluate[chromedp.Void](`for (const d of document.querySelectorAll("details")) d.open = true`))
		p.click("[data-do=play]")
		p.until(`document.querySelector('#feeding').classList.contains("on")`)
		check(p, "transport running, "+theme, rules)
		p.click("#close")
		p.until(`document.querySelector('#transport').dataset.running === "false" && document.querySelector('#open')`)
		check(p, "transport closed, "+theme, rules)
	}
	empty := serve(t, filepath.Join(t.TempDir(), "empty.nightreel"), nil)
	locked := serve(t, filepath.Join(t.TempDir(), "locked.nightreel"), func(o *web.Options) { o.Look, o.Operate = "a", "b" })
	p := open(t, empty, 1280, 900, false)
	for _, path := range []string{"/", "/findings", "/lists", "/sessions", "/transport", "/scan", "/lists/desk/new"} {
		p.visit(path)
		check(p, "empty "+path, all)
	}
	p = open(t, locked, 1280, 900, true)
	p.visit("/")
	check(p, "log-in", all)
	t.Logf("%d serious or critical findings", found)
}
