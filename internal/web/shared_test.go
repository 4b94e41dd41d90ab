package web_test

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"nightreel/catalog"
)

// TestSharedDropout follows a dropout that several channels share: the night marks
// the rows of all of them and no others, the findings have it once, also by any of
// its channels, to be listened to in the first of them.
func TestSharedDropout(t *testing.T) {
	s := demoSite(t, nil)
	findings, err := s.store.Findings(t.Context(), catalog.FindingFilter{Show: "2031-05-05", Kind: catalog.Dropout})
	if err != nil || len(findings) != 1 || len(findings[0].Tracks) < 2 {
		t.Fatalf("the demo's shared dropout: %+v, %v", findings, err)
	}
	tracks, err := s.store.Tracks(t.Context(), catalog.TrackFilter{Recording: findings[0].RecordingID})
	if err != nil {
		t.Fatal(err)
	}
	var want []string
	for _, tr := range tracks {
		if findings[0].Concerns(tr.Number) {
			want = append(want, tr.Channel)
		}
	}

	p := open(t, s, 1366, 900, false)
	p.visit("/night/2031-05-05")
	p.until(`document.querySelector("#night").dataset.drawn > 0`)
	got := eval[[]string](p, `[...document.querySelectorAll("#strips tbody tr")].filter((r) => /dropout/.test(r.canvas.getAttribute("aria-label")) && r.querySelector(".state")).map((r) => r.track.channel)`)
	if !slices.Equal(got, want) {
		t.Errorf("marked are %q, want %q", got, want)
	}
	p.picture("shared-night")
	// J goes to it once: as many steps as there are findings lead back.
	p.press("j")
	at := `document.querySelector("#cursor-time").textContent + document.querySelector(".chosen th").textContent`
	first := eval[string](p, at)
	round := 0
	for ok := true; ok && round < 20; round++ {
		p.press("j")
		ok = eval[string](p, at) != first
	}
	all, err := s.store.Findings(t.Context(), catalog.FindingFilter{Recording: findings[0].RecordingID})
	if err != nil || round != len(all) {
		t.Errorf("J came round after %d steps, want %d findings, %v", round, len(all), err)
	}

	for _, channel := range []string{"", want[0], want[len(want)-1]} {
		p.visit("/findings?show=2031-05-05&kind=dropout&channel=" + channel)
		if n := eval[int](p, `document.querySelectorAll(".finding").length`); n != 1 {
			t.Fatalf("%q: %d findings, want 1", channel, n)
		}
		if text := eval[string](p, `document.querySelector(".finding .channel").textContent`); text != fmt.Sprintf("%d channels", len(want)) {
			t.Errorf("it is about %q", text)
		}
		if picked := eval[string](p, `document.querySelector("[name=channel]").value`); picked != channel {
			t.Errorf("the list of channels stands on %q, want %q", picked, channel)
		}
	}
	p.until(`document.querySelector(".finding img.evidence").complete && document.querySelector(".finding img.evidence").naturalWidth > 0`)
	if text := eval[string](p, `document.querySelector(".finding .listen").textContent`); text[:len("Listen to "+want[0])] != "Listen to "+want[0] {
		t.Errorf("the button says %q", text)
	}
	p.picture("shared-findings")
	p.visit(eval[string](p, `document.querySelector(".finding .acts a").getAttribute("href")`))
	p.until(`document.querySelector("#night")?.dataset.drawn > 0`)
	if name := eval[string](p, `document.querySelector(".chosen").track.channel`); name != want[0] {
		t.Errorf("the night has chosen %q", name)
	}
	p.picture("shared-there")
}

// picture keeps a picture of the page where SHOTS names a folder.
func (p *page) picture(name string) {
	if dir := os.Getenv("SHOTS"); dir != "" {
		p.shoot(filepath.Join(dir, name+".png"))
	}
}
