package web_test

import (
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"nightreel/internal/session"
)

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// cautionNames are the ticks that open a session.
func cautionNames() []string {
	names := []string{}
	for _, c := range session.Cautions() {
		names = append(names, c.Name)
	}
	return names
}

// openSession opens a session's player on the page, without sound.
func (p *page) openSession(id int64) {
	p.t.Helper()
	p.visit(fmt.Sprintf("/transport?session=%d", id))
	p.until(`document.querySelector('#device')`)
	p.do(chromedp.Evaluate[chromedp.Void](`document.querySelector('#device').value = "null"; for (const c of document.querySelectorAll('#open input[name=caution]')) c.checked = true`))
	p.click("#open button.main")
	p.until(`document.querySelector('#feeding')?.dataset.state?.match(/stopped|paused/)`)
}

// TestTransport: opened only when every caution is ticked, silent, quiet to begin
// with; one hand at a time, silence for everybody; at the end the list of what
// goes back to the stage, whose ticks are kept.
func TestTransport(t *testing.T) {
	s := demoSite(t, withPlayer)
	p := open(t, s, 1280, 900, true)
	p.visit("/transport?session=1")
	p.until(`document.querySelectorAll('#open input[name=caution]').length > 0`)
	form := url.Values{"session": {"1"}, "device": {"null"}}
	names := cautionNames()
	for what, ticks := range map[string][]string{"none": nil, "one of them six times": {"mute", "mute", "mute", "mute", "mute", "mute"}, "no names": {"1", "2", "3", "4", "5", "6"}, "all but the last": names[:len(names)-1]} {
		form["caution"] = ticks
		if status, _, body := s.ask(t, "POST", "/transport/open", form, nil); status != 400 || !strings.Contains(string(body), "caution") {
			t.Errorf("opened with %s ticked: %d %s", what, status, body)
		}
	}
	p.until(`document.querySelector('#device option[value="test desk"]')`)
	p.do(chromedp.Evaluate[chromedp.Void](`document.querySelector('#device').value = "test desk"`))
	p.click("#open button.main") // the browser keeps it back: nothing is ticked
	if eval[bool](p, `document.querySelector('#transport').dataset.running === "true"`) {
		t.Fatal("it opened without a caution ticked")
	}
	p.do(chromedp.Evaluate[chromedp.Void](`for (const c of document.querySelectorAll('#open input[name=caution]')) c.checked = true`))
	p.click("#open button.main")
	p.until(`document.querySelector('#feeding')?.dataset.state === "stopped"`)
	if level := eval[string](p, `document.querySelector('#level-db').textContent`); level != "−20.0 dB" {
		t.Errorf("the overall level is %s", level)
	}
	p.click("[data-do=play]")
	p.until(`document.querySelector('#feeding').classList.contains("on") && /^Feeding \d+ inputs from 2031-05-0\d$/.test(document.querySelector('#feeding').textContent)`)
	p.until(`[...document.querySelectorAll('.meter .peak')].some((m) => /\d/.test(m.textContent))`)
	p.until(`/^0:00:\d\d$/.test(document.querySelector('#left').textContent) && document.querySelector('#left-all').textContent > document.querySelector('#left').textContent`)
	p.until(`[...document.querySelectorAll('#groups button')].some((b) => b.textContent === "Mute drums")`)
	p.click("#groups button")
	p.until(`document.querySelector('#groups button').getAttribute("aria-pressed") === "true" && document.querySelectorAll('.meter.muted').length > 2`)
	p.click("#groups button")
	p.until(`document.querySelectorAll('.meter.muted').length === 0`)

	// Another window sees it on every page, has no hand on it, and can silence it.
	other := open(t, s, 1000, 800, false)
	other.visit("/findings")
	other.until(`!document.querySelector('#stage').hidden && document.querySelector('#stage').textContent.startsWith("Feeding")`)
	// No key starts a sound there; the space bar silences the desk.
	other.press("j", "l")
	other.until(`document.querySelector('#say').textContent.includes("no key starts a sound") && document.querySelector('#ear').hidden`)
	other.do(chromedp.Evaluate[chromedp.Void](`document.querySelector('.finding .listen').focus()`))
	other.press(" ")
	p.until(`document.querySelector('#feeding').dataset.state === "paused"`)
	other.until(`document.querySelector('#stage').textContent.startsWith("Armed and silent")`)
	other.press(" ") // on a button that listens it starts nothing either
	if !eval[bool](other, `document.querySelector('#ear').hidden`) {
		t.Error("the space bar began to listen")
	}
	p.click("[data-do=play]")
	p.until(`document.querySelector('#feeding').classList.contains("on")`)
	other.visit("/transport")
	other.until(`document.querySelector('#hands').hidden && document.querySelector('#not-mine').textContent.includes("this machine")`)
	if status, _, body := s.ask(t, "POST", "/transport/do", nil, map[string]string{"Content-Type": "application/json"}); status != 400 {
		t.Errorf("no command: %d %s", status, body)
	}
	other.press(" ")
	p.until(`!document.querySelector('#feeding').classList.contains("on")`)
	for _, ticks := range [][]string{nil, {"x", "x", "x", "x", "x", "x"}, names[1:]} {
		if status, _, body := s.ask(t, "POST", "/transport/take", url.Values{"caution": ticks}, nil); status != 400 || !strings.Contains(string(body), "caution") {
			t.Errorf("taken over with %q ticked: %d %s", ticks, status, body)
		}
	}
	other.click("#not-mine summary")
	other.click("#take button") // the browser keeps it back: nothing is ticked
	if !eval[bool](other, `document.querySelector('#hands').hidden`) {
		t.Error("taken over without a caution ticked")
	}
	other.do(chromedp.Evaluate[chromedp.Void](`for (const c of document.querySelectorAll('#take input[name=caution]')) c.checked = true`))
	other.click("#take button")
	other.until(`!document.querySelector('#hands').hidden`)
	// What the holder asks for, the player bounds: pages are no fence.
	for _, c := range []string{`{"do":"level","db":0}`, `{"do":"trim","input":1,"db":20}`, `{"do":"loop_on","from_s":1,"to_s":1e300}`, `{"do":"loop_on","from_s":1.92e14,"to_s":-1.92e14}`} {
		if status := eval[int](other, `fetch("/transport/do", {method: "POST", body: `+quote(c)+`, headers: {Accept: "application/json"}}).then((r) => r.status)`); status != 409 {
			t.Errorf("%s: %d", c, status)
		}
	}
	p.until(`document.querySelector('#hands').hidden`)

	// A loop, a song, the level, a mute.
	other.click("[data-item='1']")
	other.until(`document.querySelector('#song').textContent.startsWith("2. ")`)
	other.click("[data-do=loop_from]")
	other.click("[data-do=play]")
	other.until(`document.querySelector('#feeding').dataset.state === "playing"`)
	other.until(`document.querySelector('#at').textContent > "0:00:01"`)
	other.click("[data-do=loop_to]")
	other.until(`document.querySelector('#loop').getAttribute("aria-pressed") === "true"`)
	other.click("[data-level='-1']")
	other.until(`document.querySelector('#level-db').textContent === "−21.0 dB"`)
	other.click(".meter .mute")
	other.until(`document.querySelector('.meter.muted')`)

	// Back to the stage: the ticks outlive the player.
	other.click("#close")
	other.until(`document.querySelector('#transport').dataset.running === "false" && document.querySelectorAll('#ticks input').length > 3`)
	p.until(`document.querySelector('#transport').dataset.running === "false"`)
	n := eval[int](other, `document.querySelectorAll('#ticks input').length`)
	if at := eval[float64](other, `document.querySelector('#open').getBoundingClientRect().top`); at > 700 {
		t.Errorf("the form to open the next one begins at %v px, below the screen", at)
	}
	other.click("#ticks input")
	p.until(`document.querySelectorAll('#ticks input:checked').length === 1`)
	other.visit("/")
	other.until(fmt.Sprintf(`document.querySelector('#stage').textContent.startsWith("%d inputs of playback session 1 not ticked back")`, n-1))
	// It is the loudest of the page: nothing else is as large, it has the colour of an alarm, and it stays
	// in sight.
	if loud := eval[string](other, `(() => { const b = document.querySelector("#stage"), size = (e) => parseFloat(getComputedStyle(e).fontSize);
		const larger = [...document.querySelectorAll("body *")].filter((e) => e !== b && !b.contains(e) && e.innerText?.trim() && e.checkVisibility() && size(e) >= size(b));
		const probe = document.createElement("i"); probe.style.color = "var(--alarm)"; document.body.append(probe);
		return [larger.map((e) => e.outerHTML.slice(0, 60)).slice(0, 3).join(), getComputedStyle(b).backgroundColor === getComputedStyle(probe).color, getComputedStyle(b.parentNode).position].join(); })()`); loud != ",true,sticky" {
		t.Errorf("an open list is not the loudest of the page: %s", loud)
	}
	other.visit("/transport?session=1")
	other.until(`!document.querySelector('#stage').hidden && document.querySelector('#stage').classList.contains("open")`)
	ses, err := s.store.Session(t.Context(), 1)
	if err != nil {
		t.Fatal(err)
	}
	back, fed, err := s.store.BackToStage(t.Context(), ses)
	if err != nil || !fed || !back[0].Back || back[1].Back {
		t.Errorf("the catalog has %v, fed %v, %v", back, fed, err)
	}
}

// TestInputsOnTheTransport: levels rise slowly, trims and mutes act on one
// input, markers are gone to, tones are walked through the outputs; and none of
// it by somebody who does not hold the transport.
func TestInputsOnTheTransport(t *testing.T) {
	s := demoSite(t, withPlayer)
	ses, err := session.Build(t.Context(), s.store, session.Request{Desk: "foh", Songs: []string{"Marrow Lane"}, SongPicks: []string{"2031-05-03"}})
	if err != nil {
		t.Fatal(err)
	}
	p := open(t, s, 1366, 800, true)
	p.openSession(int64(ses.ID))
	p.click("[data-skip='10']")
	p.until(`document.querySelector('#at').textContent > "0:00:03"`)
	p.until(`document.querySelector('#markers button').textContent.endsWith("Marrow Lane") && document.querySelector('#marks .marker')`)
	p.click("#markers button") // that of the recorder, where the song begins
	p.until(`document.querySelector('#at').textContent === "0:00:00.0"`)

	// A finger that slips to the right end raises the level by a dB, not by 20.
	p.do(chromedp.Evaluate[chromedp.Void](`(() => { const l = document.querySelector('#level'); l.value = 0; l.dispatchEvent(new Event("input")); l.dispatchEvent(new Event("change")); })()`))
	p.until(`document.querySelector('#level-db').textContent === "−19.0 dB"`)
	p.do(chromedp.Evaluate[chromedp.Void](`(() => { const l = document.querySelector('#level'); l.value = -60; l.dispatchEvent(new Event("input")); l.dispatchEvent(new Event("change")); })()`))
	p.until(`document.querySelector('#level-db').textContent === "−60.0 dB"`)

	p.click(`.meter[data-input="2"] [data-trim="0.5"]`)
	p.click(`.meter[data-input="2"] [data-trim="0.5"]`)
	p.until(`document.querySelector('.meter[data-input="2"] output').textContent === "+1.0"`)
	p.do(chromedp.KeyEvent(kb.ArrowDown, chromedp.KeyModifiers(8))) // with Shift: the line that has the focus
	p.press("m")
	p.until(`document.querySelector('.meter[data-input="2"] output').textContent === "+0.5" && document.querySelector('.meter[data-input="2"] .mute').getAttribute("aria-pressed") === "true"`)
	p.press(kb.ArrowDown)
	if at := eval[string](p, `document.activeElement.closest(".meter").dataset.input`); at != "3" {
		t.Errorf("an arrow leads to input %s", at)
	}
	p.click("#mute-all")
	p.until(`document.querySelectorAll('.meter.muted').length === document.querySelectorAll('.meter').length`)
	p.click("#unmute-all")
	p.until(`document.querySelectorAll('.meter.muted').length === 0`)

	// A loop by its times; the place stays within it.
	p.do(chromedp.Evaluate[chromedp.Void](`document.querySelector('#loop-a').value = "0:02"; document.querySelector('#loop-b').value = "2.5"; document.querySelector('#loop-form').requestSubmit()`))
	p.until(`document.querySelector('#loop-at').textContent === "0:02.0 to 0:02.5, on" && document.querySelector('#marks .loop.on')`)
	p.click("[data-do=play]")
	p.until(`document.querySelector('#feeding').dataset.state === "playing" && /^0:00:02/.test(document.querySelector('#at').textContent)`)

	// Space is silence, in a field too, and presses no button.
	p.do(chromedp.Evaluate[chromedp.Void](`document.querySelector('#loop-a').focus()`))
	p.press(" ")
	p.until(`document.querySelector('#feeding').dataset.state === "paused"`)
	p.do(chromedp.Evaluate[chromedp.Void](`document.querySelector('#tones').open = true; document.querySelector('#tone-outputs').value = "2-3"`))
	p.until(`(() => { if (document.querySelector('#feeding').dataset.state !== "tone") document.querySelector('#identify').click(); return document.querySelector('#feeding').textContent === "A tone is on output 2"; })()`) // refused while it fades out
	p.click("[data-do=tone_off]")
	p.until(`document.querySelector('#feeding').dataset.state === "paused"`)
	p.click("#line-up")
	p.until(`document.querySelector('#feeding').textContent === "A tone is on the outputs"`)
	p.do(chromedp.Evaluate[chromedp.Void](`document.querySelector('[data-do=play]').focus()`))
	p.press(" ")
	p.until(`document.querySelector('#feeding').dataset.state === "paused"`)

	// A clip mark stays until it is cleared, and comes again with the next cut.
	marks := eval[string](p, `import(document.querySelector('script[src$="transport.js"]').src.replace("transport.js", "inputs.js")).then(({Inputs}) => {
		const box = document.createElement("div");
		box.innerHTML = '<div class="meter" data-input="7"><span class="bar"><i></i></span><button class="clip"></button><span class="peak"></span></div>';
		const inputs = new Inputs(box, () => true), row = box.firstChild, seen = [];
		for (const [peak, cut] of [[-3, 0], [0, 0], [-30, 0], ["clear"], [-30, 0], [-30, 5], ["clear"], [-30, 5], [-30, 6]]) {
			if (peak === "clear") inputs.clear(row); else { inputs.held.clear(); inputs.draw({item: 0, inputs: [{desk_input: 7, peak_dbfs: peak, limited_samples: cut, status: "playback", muted: false}]}); }
			seen.push(row.classList.contains("clipped") ? "▲" : "-");
		}
		return seen.join("");
	})`)
	if marks != "-▲▲--▲--▲" {
		t.Errorf("clip marks come and go as %s", marks)
	}

	// Who does not hold it sees who does, and can only silence and tick.
	other := open(t, s, 820, 1100, false)
	other.visit("/transport")
	other.until(`document.querySelector('#hands').hidden && document.querySelector('.meter .mute').disabled && document.querySelector('#items button').disabled`)
	for _, c := range []string{`{"do":"play"}`, `{"do":"trim","input":2,"db":3}`, `{"do":"line_up","outputs":[1]}`, `{"do":"reopen"}`, `{"do":"level","db":0}`} {
		status := eval[int](other, `fetch("/transport/do", {method: "POST", body: `+quote(c)+`, headers: {Accept: "application/json"}}).then((r) => r.status)`)
		if status != 409 {
			t.Errorf("somebody who does not hold the transport sends %s: %d", c, status)
		}
	}
	p.click("#close")
	p.until(`document.querySelector('#transport').dataset.running === "false"`)
}

// TestTroubleOnTheTransport: a device that is gone and a disk that fails are
// said on the page, with what to do; the device can be opened again.
func TestTroubleOnTheTransport(t *testing.T) {
	dir := t.TempDir()
	t.Setenv(troubleEnv, dir)
	s := demoSite(t, withPlayer)
	p := open(t, s, 1100, 800, false)
	p.openSession(1)
	p.click("[data-do=play]")
	p.until(`document.querySelector('#feeding').dataset.state === "playing"`)
	put := func(name string) { t.Helper(); must(t, os.WriteFile(filepath.Join(dir, name), nil, 0o644)) }
	put("device")
	p.until(`document.querySelector('#feeding').textContent === "The sound device is gone: silent" && document.querySelector('#trouble').textContent.includes("pulled out")`)
	other := open(t, s, 1000, 700, false)
	other.visit("/findings")
	other.until(`document.querySelector('#stage').textContent.startsWith("The sound device is gone")`)
	p.click("#reopen") // too early
	p.until(`document.querySelector('#say').textContent.includes("no such device")`)
	must(t, os.Remove(filepath.Join(dir, "device")))
	p.click("#reopen")
	p.until(`document.querySelector('#feeding').dataset.state.match(/stopped|paused/) && document.querySelector('#trouble').children.length === 0 && document.querySelector('#level-db').textContent === "−20.0 dB"`)

	put("disk")
	p.click("[data-item='1']")
	p.click("[data-do=play]")
	p.until(`document.querySelector('#trouble').textContent.includes("input/output error")`)
	must(t, os.Remove(filepath.Join(dir, "disk")))
	// A file is tried again while it plays.
	p.until(`(() => { if (document.querySelector('#feeding').dataset.state !== "playing") document.querySelector('[data-do=play]').click(); return document.querySelector('#trouble').children.length === 0; })()`)
	p.click("#close")
	p.until(`document.querySelector('#transport').dataset.running === "false"`)
}

// TestRatesOnTheTransport: a session of two rates is not opened unless
// conversion is allowed, and the page says how.
func TestRatesOnTheTransport(t *testing.T) {
	s := demoSite(t, withPlayer)
	ses, err := session.Build(t.Context(), s.store, session.Request{Desk: "foh", Songs: []string{"Marrow Lane", "Marrow Lane"}, SongPicks: []string{"2031-05-02", "2031-05-03"}})
	if err != nil {
		t.Fatal(err)
	}
	form := url.Values{"session": {itoa(ses.ID)}, "device": {"null"}}
	form["caution"] = cautionNames()
	if status, _, body := s.ask(t, "POST", "/transport/open", form, nil); status != 409 || !strings.Contains(string(body), "tick that recordings") || strings.Contains(string(body), "--") {
		t.Errorf("two rates: %d %s", status, body)
	}
	form.Set("rate", "12345")
	if status, _, body := s.ask(t, "POST", "/transport/open", form, nil); status != 400 {
		t.Errorf("an odd rate: %d %s", status, body)
	}
	p := open(t, s, 1100, 800, false)
	p.visit(fmt.Sprintf("/transport?session=%d", ses.ID))
	p.do(chromedp.Evaluate[chromedp.Void](`document.querySelector('[name=convert]').checked = true`))
	p.do(chromedp.Evaluate[chromedp.Void](`document.querySelector('#device').value = "null"; for (const c of document.querySelectorAll('#open input[name=caution]')) c.checked = true`))
	p.click("#open button.main")
	p.until(`[...document.querySelectorAll('#items li')].filter((li) => li.textContent.includes("converted to ")).length === 1`)
	_, _, body := s.ask(t, "GET", "/data/transport", nil, nil)
	if strings.Contains(string(body), s.dir) || strings.Contains(string(body), ".wav") {
		t.Error("the page is told where the recordings lie")
	}
	p.click("#close")
	p.until(`document.querySelector('#transport').dataset.running === "false"`)
}
