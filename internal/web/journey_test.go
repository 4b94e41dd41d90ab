package web_test

import (
	"bytes"
	"context"
	"encoding/xml"
	"fmt"
	"io"
	"math"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"nightreel/catalog"
	"nightreel/internal/web"
)

// click presses what a selector finds first.
func (p *page) click(selector string) {
	p.t.Helper()
	p.until(fmt.Sprintf(`(() => { const e = document.querySelector(%s); return e && !e.disabled && e.offsetParent !== null; })()`, quote(selector)))
	p.do(chromedp.Click(chromedp.CSS(selector)))
}

// TestAssistantsEvening: 23:30. A drive is scanned, its findings are gone through
// by ear, and those that are known are accepted.
func TestAssistantsEvening(t *testing.T) {
	demoSite(t, nil) // makes the tour
	dir, err := demoTour()
	if err != nil {
		t.Fatal(err)
	}
	s := serve(t, filepath.Join(t.TempDir(), "new.nightreel"), func(o *web.Options) { o.AnyFolder = true })
	p := open(t, s, 1280, 800, false)
	p.visit("/")
	p.until(`document.body.innerText.includes("Nothing has been scanned yet")`)
	p.click(`main a[href="/scan"]`)
	p.until(`document.querySelector('input[name=folder]')`)
	nights, err := filepath.Glob(filepath.Join(dir, "recordings", "*05-03*"))
	if err != nil || len(nights) == 0 {
		entries, _ := os.ReadDir(filepath.Join(dir, "recordings"))
		t.Fatal("no folder of that night among", entries)
	}
	night := nights[0]
	p.do(chromedp.SendKeys(chromedp.CSS(`input[name=folder]`), night))
	p.click(`#scan-form button.main`)
	p.until(`document.querySelector('#watch [data-state=done]')`)
	p.click(`nav a[href="/findings"]`)
	p.until(`document.querySelectorAll('.finding').length > 0`)
	before := eval[int](p, `document.querySelectorAll('.finding').length`)

	// Listening starts low, a little before the finding.
	p.until(`document.querySelector('.finding[aria-current]')`)
	p.press("j", "k", "l")
	p.until(`!document.querySelector('#ear').hidden && document.querySelector('#ear-stop').textContent === "Stop"`)
	if v := eval[float64](p, `Number(document.querySelector('#ear-volume').value)`); v > 0.2 {
		t.Errorf("listening starts at volume %v", v)
	}
	p.until(`parseFloat(document.querySelector('#ear .t').textContent.slice(-4)) > 0 || document.querySelector('#ear .t').textContent !== "0:00:00"`)
	p.press("l")
	p.until(`document.querySelector('#ear-stop').textContent === "Play"`)

	// Accepted with a note, and on to the next.
	first := eval[string](p, `document.querySelector('.finding[aria-current]').dataset.id`)
	p.press("a")
	p.until(`document.activeElement.name === "note"`)
	p.press("known, swapped the cable")
	p.press(kb.Enter)
	p.until(fmt.Sprintf(`document.querySelectorAll('.finding').length === %d`, before-1))
	if next := eval[string](p, `document.querySelector('.finding[aria-current]')?.dataset.id || ""`); next == first || before > 1 && next == "" {
		t.Errorf("after accepting %s the list is at %q", first, next)
	}
	findings, err := s.store.Findings(t.Context(), catalog.FindingFilter{})
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range findings {
		if fmt.Sprint(f.ID) == first && (!f.Accepted || f.Note != "known, swapped the cable") {
			t.Errorf("the catalog has %+v", f)
		}
	}

	// The rest at once, with one note.
	p.press("c")
	p.until(`document.querySelectorAll('.finding .tick:checked').length === 1`)
	p.click("#choose-all")
	p.press("a")
	p.until(`document.activeElement.closest('#several')`)
	p.press("all looked at")
	p.press(kb.Enter)
	p.until(`document.querySelectorAll('.finding').length === 0`)
	if findings, err = s.store.Findings(t.Context(), catalog.FindingFilter{}); err != nil {
		t.Fatal(err)
	}
	for _, f := range findings {
		if !f.Accepted || fmt.Sprint(f.ID) != first && f.Note != "all looked at" {
			t.Errorf("not accepted with the others: %+v", f)
		}
	}
	p.visit("/")
	p.until(`document.querySelector('#nights .says')`)
}

// TestEngineersAfternoon: 14:00. Takes are picked, a session is built, adjusted,
// rendered, and its sheet printed.
func TestEngineersAfternoon(t *testing.T) {
	s := demoSite(t, nil)
	p := open(t, s, 1280, 800, true)
	p.visit("/sessions")
	choose := func(selector, value string) {
		t.Helper()
		p.do(chromedp.Evaluate[chromedp.Void](fmt.Sprintf(`(() => { const e = document.querySelector(%s); e.value = %s; e.dispatchEvent(new Event("change", {bubbles: true})); })()`, quote(selector), quote(value))))
	}
	p.until(`document.querySelector('#song-add')`)
	choose("select[name=desk]", "foh")
	choose("#song-add", "Marrow Lane")
	choose("#song-add", "Salt on the Wire")
	p.until(`document.querySelectorAll('#order li').length === 2`)
	if offers := eval[string](p, `[...document.querySelectorAll("#order li:first-child option")].map((o) => o.textContent).join("; ")`); !strings.Contains(offers, "2031-05-05, 0:06, 12 kHz: 1 fault;") {
		t.Errorf("the takes are offered as %s", offers)
	}
	choose("#order li:last-child select", "2031-05-02")
	choose("#order li:first-child select", "2031-05-03")
	p.until(`document.querySelector("#rates").textContent.includes("11.025 kHz and 12 kHz")`)
	choose("#order li:last-child select", "")
	p.click("#build button.main")
	p.until(`location.pathname === "/session/2" && document.querySelector('#matrix')`)
	p.until(`document.querySelector('.order').innerText.includes("Marrow Lane, 2031-05-03")`)

	// One input stays on the stage, one is trimmed by hand.
	for _, c := range []struct{ input, field, value string }{{"1", "#cell-status", "stage"}, {"2", "#cell-trim", "-3"}} {
		p.click(`#matrix tr[data-input="` + c.input + `"] button[data-item="0"]`)
		choose(c.field, c.value)
		p.click("#cell-set")
		p.until(`!document.querySelector("#cell[open]")`)
	}
	p.click("#adjust .keep button")
	p.until(`location.pathname === "/session/3" && document.querySelector('#matrix')`)
	ses, err := s.store.Session(t.Context(), 3)
	if err != nil {
		t.Fatal(err)
	}
	if in := ses.Inputs[0]; in.DeskInput != 1 || in.Status != catalog.Stage {
		t.Errorf("input 1 is %+v", in)
	}
	if in := ses.Inputs[1]; in.TrimDB != -3 {
		t.Errorf("input 2 is %+v", in)
	}

	p.click("#render button.main")
	p.until(`document.querySelector('#watch [data-state=done]')`)
	if text := eval[string](p, `document.querySelector('#watch').innerText`); !strings.Contains(text, "bit-identical") {
		t.Errorf("the render says %q", text)
	}
	p.visit("/session/3/sheet")
	p.until(`document.body.innerText.includes("Before anything is switched")`)
}

// TestDragABoundary: the end of a song is dragged, undone, done again; no audio
// is read, the figures follow.
func TestDragABoundary(t *testing.T) {
	s := demoSite(t, nil)
	p := open(t, s, 1280, 900, false)
	p.visit("/night/2031-05-03")
	p.until(`document.querySelectorAll('#lane .take').length > 2 && document.querySelector('#night').dataset.drawn > 0`)
	end := func() float64 {
		t.Helper()
		takes, err := s.store.Takes(t.Context(), catalog.TakeFilter{Show: "2031-05-03"})
		if err != nil || len(takes) == 0 {
			t.Fatal(takes, err)
		}
		return takes[0].EndS()
	}
	before := end()
	all, err := s.store.Takes(t.Context(), catalog.TakeFilter{Show: "2031-05-03"})
	must(t, err)
	count, second := len(all), all[1].StartS()
	p.do(chromedp.Evaluate[chromedp.Void](`document.querySelector('#lane .take').focus()`))
	p.until(fmt.Sprintf(`document.querySelector('#cursor-time').textContent === %s`, quote(catalog.ClockTenths(all[0].StartS()))))
	p.until(`document.querySelector('#figures-of').textContent.startsWith("Figures of ")`)
	box := eval[[]float64](p, `(() => { const b = document.querySelector('#lane .take .edge.end').getBoundingClientRect(); return [b.x + b.width / 2, b.y + b.height / 2]; })()`)
	p.do(chromedp.DragAndDropXY(box[0], box[1], box[0]-40, box[1], 8))
	p.until(`document.querySelector('#undo') && !document.querySelector('#undo').disabled`)
	after := end()
	if after >= before-0.3 {
		t.Fatalf("the end was at %.2f and is at %.2f", before, after)
	}
	p.click("#undo")
	p.until(`!document.querySelector('#redo').disabled`)
	if now := end(); now != before {
		t.Errorf("undone, the end is at %.2f, was at %.2f", now, before)
	}
	p.click("#redo")
	p.until(`document.querySelector('#redo').disabled`)
	if now := end(); now != after {
		t.Errorf("done again, the end is at %.2f, was at %.2f", now, after)
	}

	// Dragged over its neighbour, it stops there and says so; a finger that trembles
	// moves nothing.
	drag := func(by float64, kind string) {
		t.Helper()
		p.do(chromedp.Evaluate[chromedp.Void](fmt.Sprintf(`(() => {
			const e = document.querySelector('#lane .take .edge.end'), b = e.getBoundingClientRect();
			e.setPointerCapture = () => {};
			for (const [what, by] of [["down", 0], ["move", %f], ["up", %f]]) e.dispatchEvent(new PointerEvent("pointer" + what, {clientX: b.x + 5 + by, clientY: b.y + 5, pointerId: 9, pointerType: %s, bubbles: true, cancelable: true}));
		})()`, by, by, quote(kind))))
	}
	drag(8, "touch")
	drag(600, "mouse")
	p.until(`document.querySelector('#say').textContent.includes("The edge stops at ")`)
	p.until(`document.querySelector('#undo').title.startsWith("Undo moving")`)
	p.until(`document.querySelector('#redo').disabled && document.querySelector('#say').textContent.includes("The edge stops at ")`) // it outlives the edit
	takes := func() []catalog.Take {
		t.Helper()
		all, err := s.store.Takes(t.Context(), catalog.TakeFilter{Show: "2031-05-03"})
		must(t, err)
		return all
	}
	if all := takes(); len(all) != count || all[1].StartS() != second || all[0].EndS() > second+0.01 || all[0].EndS() < second-0.11 {
		t.Errorf("dragged over its neighbour: %d songs of %d, the first ends at %.2f, the second began at %.2f and begins at %.2f", len(all), count, all[0].EndS(), second, all[1].StartS())
	}
	if at := eval[string](p, `document.querySelector('#cursor-time').textContent`); !strings.HasPrefix(at, catalog.Clock(second)[:6]) {
		t.Errorf("the cursor does not go along with the edge: %s, %.1f", at, second)
	}
	p.click("#undo")
	p.until(`!document.querySelector('#redo').disabled`)
	if now := end(); now != after {
		t.Errorf("a trembling finger moved the end from %.2f to %.2f", after, now)
	}

	// The same by keys: three tenths later.
	p.do(chromedp.Evaluate[chromedp.Void](`document.querySelector('#lane .take .edge.end').focus()`))
	p.press(kb.ArrowRight, kb.ArrowRight, kb.ArrowRight, kb.Enter)
	p.until(fmt.Sprintf(`Math.abs(Number(document.querySelector('#lane .take .edge.end').getAttribute("aria-valuenow")) - %f) < 0.06`, after+0.3))
	p.until(`document.querySelector('#redo').disabled && document.querySelector('#undo').title.startsWith("Undo moving")`)
	if now := end(); now < after+0.2 || now > after+0.4 {
		t.Errorf("moved by keys, the end is at %.2f, was at %.2f", now, after)
	}

	// After a split the part behind is the one that is selected.
	p.do(chromedp.SetValue(chromedp.CSS("#goto"), catalog.ClockTenths(second+3)))
	p.do(chromedp.Evaluate[chromedp.Void](`document.querySelectorAll('#lane .take')[1].focus(); document.querySelector('#goto').dispatchEvent(new Event("change"))`))
	p.click("#split")
	p.until(fmt.Sprintf(`document.querySelectorAll('#lane .take').length === %d && document.querySelectorAll('#lane .take')[2].classList.contains("chosen")`, count+1))

	// A finding of the list is gone to.
	p.click("#night-findings button:last-child")
	p.until(`document.querySelector('#night-findings button[aria-current]')`)
	if wraps := eval[bool](p, `[...document.querySelectorAll('#night-findings .says')].every((e) => e.scrollWidth <= e.clientWidth)`); !wraps {
		t.Error("a finding's sentence is cut")
	}
}

// TestTwoBrowsers: what one person changes the other sees, and what the command
// line changes both.
func TestTwoBrowsers(t *testing.T) {
	s := demoSite(t, func(o *web.Options) { o.Look, o.Operate = "look here", "hands on" })
	enter := func(phrase, name string) *page {
		p := open(t, s, 1000, 800, false)
		p.visit("/findings?show=2031-05-03")
		p.until(`location.pathname === "/login"`)
		p.do(chromedp.SendKeys(chromedp.CSS(`input[name=phrase]`), phrase), chromedp.SendKeys(chromedp.CSS(`input[name=name]`), name))
		p.click("button.main")
		p.until(`document.querySelectorAll('.finding').length > 0`)
		return p
	}
	ada, ben := enter("hands on", "Ada"), enter("look here", "Ben")
	n := eval[int](ada, `document.querySelectorAll('.finding').length`)
	if eval[int](ben, `document.querySelectorAll('.finding').length`) != n {
		t.Fatal("the two see different lists")
	}
	if eval[int](ben, `document.querySelectorAll('.accept, .reopen').length`) != 0 {
		t.Error("who only looks is offered to accept")
	}
	ada.click(".finding .accept button")
	ben.until(fmt.Sprintf(`document.querySelectorAll('.finding').length === %d`, n-1))
	other, err := catalog.Open(t.Context(), s.store.Path())
	if err != nil {
		t.Fatal(err)
	}
	defer other.Close()
	findings, err := other.Findings(t.Context(), catalog.FindingFilter{Show: "2031-05-03"})
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range findings {
		if !f.Accepted {
			if err := other.AcceptFinding(context.Background(), f.ID, "from the command line"); err != nil {
				t.Fatal(err)
			}
			break
		}
	}
	for _, p := range []*page{ada, ben} {
		p.until(fmt.Sprintf(`document.querySelectorAll('.finding').length === %d`, n-2))
	}
}

// TestFromAnotherMachine: over plain http, by a name that is not loopback, a person
// logs in, writes a note and logs out. There browsers send no Sec-Fetch-Site.
func TestFromAnotherMachine(t *testing.T) {
	s := demoSite(t, func(o *web.Options) { o.Look, o.Operate, o.Hosts = "look here", "hands on", []string{elsewhere} })
	there := *s
	there.url = strings.Replace(s.url, "127.0.0.1", elsewhere, 1)
	p := open(t, &there, 1000, 800, false)
	p.visit("/night/2031-05-03")
	p.until(`location.pathname === "/login"`)
	p.do(chromedp.SendKeys(chromedp.CSS(`input[name=phrase]`), "hands on"))
	p.click("button.main")
	p.until(`document.querySelector('#night')?.dataset.drawn > 0`)
	p.do(chromedp.SendKeys(chromedp.CSS(`form[action$="/note"] input`), "said from the stage"))
	p.click(`form[action$="/note"] button`)
	p.until(`document.querySelector(".notes").innerText.includes("said from the stage")`)
	p.click(".who button")
	p.until(`location.pathname === "/login"`)
	// What is refused all the same is a page of ours, with a hint.
	if status, _, body := s.ask(t, "POST", "/login", url.Values{"phrase": {"hands on"}}, map[string]string{"Origin": "null", "Accept": "text/html"}); status != 403 || !strings.Contains(string(body), "open nightreel&#39;s own page") {
		t.Errorf("from another site: %d %s", status, body)
	}
}

// TestKeyboardOnly: from the tour to a take, a new song, its name, and listening,
// without a mouse.
func TestKeyboardOnly(t *testing.T) {
	s := demoSite(t, nil)
	p := open(t, s, 1280, 900, false)
	p.visit("/")
	tabTo := func(condition string) {
		t.Helper()
		for range 80 {
			p.press(kb.Tab)
			if eval[bool](p, "!!("+condition+")") {
				if !eval[bool](p, `document.activeElement.matches(":focus-visible")`) {
					t.Errorf("the focus on %s is not seen", condition)
				}
				return
			}
		}
		t.Fatalf("not reached by tabs: %s", condition)
	}
	tabTo(`document.activeElement.matches(".skip")`)
	tabTo(`document.activeElement.matches('#grid td a') && document.activeElement.getAttribute("href").startsWith("/night/2031-05-03#take")`)
	p.press(kb.Enter)
	p.until(`location.pathname.startsWith("/night/") && document.querySelector('#night')?.dataset.drawn > 0`)
	p.until(`document.querySelector('#lane .take.chosen')`)
	// The page lists its keys, and a list that is open takes no other.
	p.press("?", "x")
	p.until(`document.querySelector("dialog[open]")`)
	listed := eval[string](p, `[...document.querySelectorAll("dialog kbd")].map((k) => k.textContent).join(" ")`)
	if want := "? Space Esc L ← → Shift ← Shift → ↑ ↓ Home End J K + − 0 Z Page up Page down X G N R Delete Ctrl Z Ctrl Y"; listed != want {
		t.Errorf("the page lists %q, want %q", listed, want)
	}
	p.press(kb.Escape)
	p.until(`!document.querySelector("dialog") && document.querySelector("#undo").disabled`)
	p.press("0") // the whole night
	tabTo(`document.activeElement.closest(".strips th")`)
	p.press(kb.End)
	p.until(`document.querySelector('#cursor-time').textContent !== "0:00:00.0"`)
	at := eval[string](p, `document.querySelector('#cursor-time').textContent`)
	p.press(kb.ArrowLeft)
	p.until(fmt.Sprintf(`document.querySelector('#cursor-time').textContent !== %s`, quote(at)))
	p.press("l")
	p.until(`!document.querySelector('#ear').hidden`)
	p.press(kb.Escape, kb.Home)
	p.until(`document.querySelector('#cursor-time').textContent === "0:00:00.0"`)
	p.press("n")
	p.until(`document.activeElement.id === "title"`)
	p.press("Walk-in")
	p.press(kb.Enter)
	p.until(`[...document.querySelectorAll('#lane .take .name')].some((n) => n.textContent.startsWith("Walk-in"))`)
	p.press(kb.Control) // nothing happens
	p.do(chromedp.KeyEvent("z", chromedp.KeyModifiers(2)))
	p.until(`![...document.querySelectorAll('#lane .take .name')].some((n) => n.textContent.startsWith("Walk-in"))`)
}

// TestZoomToTheSamples: deep enough, the waveform is read from the file.
func TestZoomToTheSamples(t *testing.T) {
	s := demoSite(t, nil)
	p := open(t, s, 1280, 900, false)
	p.visit("/night/2031-05-02#take-" + takeOf(t, s, "2031-05-02"))
	p.until(`document.querySelector('#night').dataset.drawn > 0`)
	p.press("+")
	p.until(`document.querySelector('#night').dataset.waves > 3`)
	dark := eval[int](p, `(() => { const c = document.querySelector('#strips canvas'), d = c.getContext("2d").getImageData(0, 0, c.width, c.height).data; let n = 0; for (let i = 0; i < d.length; i += 4) if (d[i + 3] > 0 && d[i] < 120) n++; return n; })()`)
	if dark < 200 {
		t.Errorf("%d dark pixels on the first strip", dark)
	}
}

// TestTheBrowserTakesATrackForSound: the WAV stream of a track is one that the
// browser decodes.
func TestTheBrowserTakesATrackForSound(t *testing.T) {
	s := demoSite(t, nil)
	found, err := s.store.Tracks(t.Context(), catalog.TrackFilter{Show: "2031-05-02"})
	if err != nil || len(found) == 0 {
		t.Fatal(found, err)
	}
	p := open(t, s, 1280, 900, false)
	p.visit("/")
	said := eval[string](p, `new Promise((done) => {
		const a = new Audio("/listen/`+itoa(found[0].ID)+`?from=1&to=3");
		a.addEventListener("canplaythrough", () => done("plays " + a.duration + " s"));
		a.addEventListener("error", () => done(a.error.message));
		a.load();
	})`)
	if said != "plays 2 s" {
		t.Errorf("the browser says: %s", said)
	}
}

func takeOf(t *testing.T, s *site, date catalog.ShowKey) string {
	t.Helper()
	takes, err := s.store.Takes(t.Context(), catalog.TakeFilter{Show: date})
	if err != nil || len(takes) == 0 {
		t.Fatal(takes, err)
	}
	return itoa(takes[0].ID)
}

// TestNarrow: at 380 px no page is wider than the screen, in the dark either.
func TestNarrow(t *testing.T) {
	s := demoSite(t, nil)
	p := open(t, s, 380, 780, true)
	for name, path := range pages(t, s) {
		p.visit(path)
		if name == "night" {
			p.until(`document.querySelector('#night').dataset.drawn > 0`)
		}
		if w := eval[int](p, `document.documentElement.scrollWidth`); w > 380 {
			t.Errorf("%s is %d px wide: %s", name, w, eval[string](p, `[...document.querySelectorAll("main *")].filter((e) => e.getBoundingClientRect().right > 381 && !e.closest(".scroll, .grid-wrap, .plot-wrap")).slice(0, 3).map((e) => e.outerHTML.slice(0, 90)).join("\n")`))
		}
		if bg := eval[string](p, `getComputedStyle(document.documentElement).backgroundColor`); name != "sheet" && bg != "rgb(18, 17, 14)" {
			t.Errorf("%s in the dark is on %s", name, bg)
		}
	}
}

// TestThemes: a theme that was chosen holds on the next page from its first paint
// on, and "as the system" follows the system again.
func TestThemes(t *testing.T) {
	s := demoSite(t, nil)
	p := open(t, s, 1280, 900, true)
	p.visit("/")
	choose := func(theme string) {
		p.do(chromedp.Evaluate[chromedp.Void](`(() => { const c = document.querySelector("#theme"); c.value = ` + quote(theme) + `; c.dispatchEvent(new Event("change")); })()`))
	}
	const paper = `getComputedStyle(document.documentElement).backgroundColor`
	for _, theme := range []struct{ name, paper string }{{"", "rgb(18, 17, 14)"}, {"light", "rgb(244, 240, 229)"}, {"dim", "rgb(6, 5, 4)"}, {"", "rgb(18, 17, 14)"}} {
		choose(theme.name)
		p.visit("/findings")
		if now := eval[string](p, paper); now != theme.paper {
			t.Errorf("%q: the paper is %s, want %s", theme.name, now, theme.paper)
		}
		if at := eval[string](p, `document.querySelector("#theme").value`); at != theme.name {
			t.Errorf("the choice stands on %q, want %q", at, theme.name)
		}
	}
	// A script that a browser runs before it goes on reading: neither a module nor deferred.
	if !eval[bool](p, `(() => { const s = document.querySelector('head script[src$="theme.js"]'); return !s.type && !s.defer && !s.async; })()`) {
		t.Error("the theme comes after the first paint")
	}
}

// TestLists: cells are edited, a list is pasted, both are kept.
func TestLists(t *testing.T) {
	s := demoSite(t, nil)
	p := open(t, s, 1280, 900, false)
	p.visit("/lists/desk/foh")
	p.until(`document.querySelector('.edit-table tbody tr')`)
	p.do(chromedp.Evaluate[chromedp.Void](`(() => {
		const cell = document.querySelector('.edit-table tbody tr:nth-child(2) td:nth-child(3) input'), data = new DataTransfer();
		data.setData("text/plain", "21\n-4.5");
		cell.dispatchEvent(new ClipboardEvent("paste", {clipboardData: data, bubbles: true, cancelable: true}));
	})()`))
	p.click(".keep button.main")
	p.until(`document.querySelector('.edit-table tbody tr:nth-child(3) td:nth-child(3) input').value === "−4.5"`)
	desk, err := s.store.Desk(t.Context(), "foh")
	if err != nil {
		t.Fatal(err)
	}
	if g := desk.Inputs[1].GainDB; g == nil || *g != 21 {
		t.Errorf("input 2 has gain %v", g)
	}
	if g := desk.Inputs[2].GainDB; g == nil || *g != -4.5 {
		t.Errorf("input 3 has gain %v", g)
	}

	p.visit("/lists?date=2031-05-06")
	p.until(`document.querySelector('.edit-table')`)
	p.do(chromedp.Evaluate[chromedp.Void](`document.querySelector('.paste').value = "Gain;Channel;Track\n12;Kick In;1\n13;Snare Top;2"; document.querySelector('.take-over').click()`))
	p.until(`document.querySelectorAll('.edit-table tbody tr').length === 2`)
	p.do(chromedp.Evaluate[chromedp.Void](`document.querySelector('input[name=only]').checked = true`))
	p.click(".keep button.main")
	p.until(`document.body.innerText.includes("2031-05-06 only")`)
	lists, err := s.store.InputLists(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for _, l := range lists {
		if l.From == "2031-05-06" && l.Only && (len(l.Inputs) != 2 || *l.Inputs[0].GainDB != 12) {
			t.Errorf("the list kept is %+v", l)
		}
	}
}

// TestExports: a song's plot as CSV, SVG and PNG.
func TestExports(t *testing.T) {
	s := demoSite(t, nil)
	path := pages(t, s)["song"]
	for _, measure := range []string{"", "rms", "loudness", "true_peak", "crest_factor"} {
		q := "?" + url.Values{"measure": {measure}, "channel": {"Bass DI"}}.Encode()
		if status, h, body := s.ask(t, "GET", path+"/levels.csv"+q, nil, nil); status != 200 || !strings.Contains(h.Get("Content-Type"), "csv") || !strings.HasPrefix(string(body), "song,channel,show") {
			t.Errorf("CSV by %q: %d %.60s", measure, status, body)
		}
		if status, _, body := s.ask(t, "GET", path+"/plot.svg"+q, nil, nil); status != 200 || !strings.Contains(string(body), "new bass rig") || !strings.Contains(string(body), "Bass DI") {
			t.Errorf("SVG by %q: %d %.60s", measure, status, body)
		}
	}
	hostile := "a <rig>\x1b[31m\x00\x07\u0085\uffff\xff & more"
	if _, err := s.store.AddNote(t.Context(), "2031-05-05", hostile); err != nil {
		t.Fatal(err)
	}
	_, _, body := s.ask(t, "GET", path+"/plot.svg", nil, nil)
	for d := xml.NewDecoder(bytes.NewReader(body)); ; {
		if _, err := d.Token(); err == io.EOF {
			break
		} else if err != nil {
			t.Fatalf("the SVG is not well-formed: %v", err)
		}
	}
	p := open(t, s, 1280, 900, false)
	p.visit(path)
	// The channel is listened to take by take, where each take begins.
	listens := eval[[]float64](p, `[...document.querySelectorAll("#listens button")].map((b) => Number(b.dataset.from))`)
	takes, err := s.store.Takes(t.Context(), catalog.TakeFilter{Song: "Salt on the Wire"})
	must(t, err)
	if len(listens) != len(takes) || math.Abs(listens[0]-takes[0].StartS()) > 0.01 {
		t.Errorf("listening starts at %v, the first of %d takes at %v", listens, len(takes), takes[0].StartS())
	}
	p.click("#listens button")
	p.until(`!document.querySelector('#ear').hidden && document.querySelector('#ear-name').textContent.endsWith(", ` + string(takes[0].Show) + `")`)
	p.press(kb.Escape)
	p.click("#png")
	p.until(`Number(document.body.dataset.png) > 10000`)
}
