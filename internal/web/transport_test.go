package web_test

import (
	"fmt"
	"net/url"
	"os"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"nightreel/internal/playback"
	"nightreel/internal/session"
	"nightreel/internal/web"
)

// withPlayer makes this test binary the player.
func withPlayer(o *web.Options) {
	self, err := os.Executable()
	if err != nil {
		panic(err)
	}
	o.Player = []string{self, playback.PlayerCommand}
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
	for range len(session.Cautions()) - 1 {
		form.Add("caution", "1")
	}
	if status, _, body := s.ask(t, "POST", "/transport/open", form, nil); status != 400 || !strings.Contains(string(body), "caution") {
		t.Errorf("opened without every caution ticked: %d %s", status, body)
	}
	p.do(chromedp.SendKeys(chromedp.CSS(`input[name=device]`), "null"))
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

	// Another window sees it on every page, has no hand on it, and can silence it.
	other := open(t, s, 1000, 800, false)
	other.visit("/flags")
	other.until(`!document.querySelector('#stage').hidden && document.querySelector('#stage').textContent.startsWith("Feeding")`)
	other.visit("/transport")
	other.until(`document.querySelector('#hands').hidden && document.querySelector('#not-mine').textContent.includes("this machine")`)
	if status, _, body := s.ask(t, "POST", "/transport/do", nil, map[string]string{"Content-Type": "application/json"}); status != 400 {
		t.Errorf("no command: %d %s", status, body)
	}
	other.press(" ")
	p.until(`!document.querySelector('#feeding').classList.contains("on")`)
	other.click("#take")
	other.until(`!document.querySelector('#hands').hidden`)
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
	other.click("#ticks input")
	p.until(`document.querySelectorAll('#ticks input:checked').length === 1`)
	other.visit("/")
	other.until(fmt.Sprintf(`document.querySelector('#stage').textContent.startsWith("%d inputs of session 1 not ticked back")`, n-1))
	ses, err := s.store.Session(t.Context(), 1)
	if err != nil {
		t.Fatal(err)
	}
	back, fed, err := s.store.BackToStage(t.Context(), ses)
	if err != nil || !fed || !back[0].Back || back[1].Back {
		t.Errorf("the catalog has %v, fed %v, %v", back, fed, err)
	}
}
