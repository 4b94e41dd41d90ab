package web_test

import (
	"fmt"
	"path/filepath"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"nightreel/catalog"
)

// longTour is a catalog of 120 nights of eight songs, without levels: enough to
// look at the tour page.
func longTour(t *testing.T) *site {
	t.Helper()
	const nights, songs, rate = 120, 8, 1000
	s := serve(t, filepath.Join(t.TempDir(), "long.nightreel"), nil)
	ctx := t.Context()
	takes := []catalog.Take{}
	first := time.Date(2030, 11, 1, 0, 0, 0, 0, time.UTC)
	for n := range nights {
		date := catalog.ShowKey(first.AddDate(0, 0, 2*n).Format(time.DateOnly))
		show, err := s.store.EnsureShow(ctx, catalog.Show{Date: date.Date(), Venue: fmt.Sprintf("The hall with a rather long name beside the river, number %d", n+1)})
		if err != nil {
			t.Fatal(err)
		}
		rec, err := s.store.SaveRecording(ctx, catalog.Recording{ShowID: show.ID, Rig: catalog.MainRig, SampleRate: rate, BitDepth: 24, SampleBytes: 3, Encoding: "pcm", Frames: 7200 * rate}, nil, []catalog.Track{{Number: 1, Frames: 7200 * rate}}, nil)
		if err != nil {
			t.Fatal(err)
		}
		for i := range int64(songs) {
			takes = append(takes, catalog.Take{Show: date, Song: fmt.Sprintf("A song whose title goes on for longer than any column is wide, %d", i+1), RecordingID: rec.ID,
				StartFrame: i * 300 * rate, EndFrame: (i*300 + 240) * rate, FoundBy: catalog.ByPerson, Confidence: 1})
		}
	}
	must(t, s.store.EditTakes(ctx, nil, takes))
	return s
}

// TestTourOfManyNights: of 120 nights a line each, the last one first; songs and
// dates stay in sight while the grid is scrolled; long titles end in dots; no page
// is wider than its window.
func TestTourOfManyNights(t *testing.T) {
	if testing.Short() {
		t.Skip("starts a browser")
	}
	s := longTour(t)
	for _, width := range []int64{1366, 390} {
		p := open(t, s, width, 844, false)
		p.visit("/")
		p.until(`document.querySelectorAll("#nights tbody tr").length === 120`)
		if first := eval[string](p, `document.querySelector("#nights tbody tr").innerText.replace(/\s+/g, " ")`); first[:len("Fri 27 Jun 2031")] != "Fri 27 Jun 2031" {
			t.Errorf("the first line is %q", first)
		}
		p.do(chromedp.Evaluate[chromedp.Void](`for (const w of document.querySelectorAll(".grid-wrap")) { w.scrollTop = 60; w.scrollLeft = 900; }`))
		at := eval[[]float64](p, `(() => { const r = (e) => e.getBoundingClientRect(), wrap = r(document.querySelector("#grid").parentNode);
			return [r(document.querySelector("#grid tbody tr:last-child th")).left - wrap.left, r(document.querySelector("#grid thead th:last-child")).top - wrap.top, document.querySelector("#grid").parentNode.scrollLeft, document.documentElement.scrollWidth]; })()`)
		if at[0] < 0 || at[0] > 2 || at[1] < 0 || at[1] > 2 || at[2] != 900 || at[3] > float64(width) {
			t.Errorf("at %d px the grid's heads are off by %v px, it is scrolled by %v px, the page is %v px wide", width, at[:2], at[2], at[3])
		}
		if cut := eval[string](p, `(() => { const a = document.querySelector("#grid th.song a"), s = getComputedStyle(a); return [s.textOverflow, s.webkitLineClamp, a.scrollWidth > a.clientWidth || a.scrollHeight > a.clientHeight].join(); })()`); cut != map[int64]string{1366: "ellipsis,none,true", 390: "ellipsis,2,true"}[width] {
			t.Errorf("at %d px a long title is cut as %s", width, cut)
		}
		// Nothing was read: no song is called clean.
		if n := eval[int](p, `document.querySelectorAll("#grid .clean").length`); n != 0 {
			t.Errorf("%d songs of nights that were not read are clean", n)
		}
		p.picture(fmt.Sprintf("tour-120-%d", width))
	}
}
