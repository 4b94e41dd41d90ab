package tourgrid_test

import (
	"path/filepath"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/refresh"
	"nightreel/internal/tourgrid"
)

// TestTour: two nights with every state that a cell can have, and what makes a
// night whole.
func TestTour(t *testing.T) {
	ctx := t.Context()
	store, err := catalog.Open(ctx, filepath.Join(t.TempDir(), "c.nightreel"))
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	const rate = 1000
	recs := map[catalog.ShowKey]catalog.Recording{}
	for date, minutes := range map[catalog.ShowKey]int{"2031-05-02": 10, "2031-05-03": 10, "2031-05-05": 3} { // minutes measured, of ten
		show, err := store.EnsureShow(ctx, catalog.Show{Date: date.Date()})
		if err != nil {
			t.Fatal(err)
		}
		if recs[date], err = store.SaveRecording(ctx, catalog.Recording{ShowID: show.ID, Rig: catalog.MainRig, SampleRate: rate, BitDepth: 24, SampleBytes: 3, Encoding: "pcm", Frames: 600 * rate}, nil, []catalog.Track{{Number: 1, Frames: 600 * rate}}, nil); err != nil {
			t.Fatal(err)
		}
		tracks, err := store.Tracks(ctx, catalog.TrackFilter{Recording: recs[date].ID})
		if err != nil {
			t.Fatal(err)
		}
		for m := range minutes {
			if err := store.PutParts(ctx, []catalog.Part{{Track: tracks[0].ID, Part: m, Data: []byte("x")}}, nil); err != nil {
				t.Fatal(err)
			}
		}
	}
	if _, err := store.EnsureShow(ctx, catalog.Show{Date: "2031-05-04"}); err != nil { // nothing recorded
		t.Fatal(err)
	}
	take := func(date catalog.ShowKey, song string, start, end int64) catalog.Take {
		return catalog.Take{Show: date, Song: song, RecordingID: recs[date].ID, StartFrame: start * rate, EndFrame: end * rate, FoundBy: catalog.ByPerson, Confidence: 1}
	}
	if err := store.EditTakes(ctx, nil, []catalog.Take{take("2031-05-02", "A", 0, 100), take("2031-05-02", "B", 100, 200), take("2031-05-03", "A", 50, 150), take("2031-05-03", "A", 300, 350)}); err != nil {
		t.Fatal(err)
	}
	if err := store.SaveSetList(ctx, "2031-05-03", []catalog.SetListEntry{{Song: "A"}, {Song: "B"}}); err != nil {
		t.Fatal(err)
	}
	if _, err := store.SaveTake(ctx, take("2031-05-02", "Gone", 400, 500)); err != nil {
		t.Fatal(err)
	}
	takes, err := store.Takes(ctx, catalog.TakeFilter{Song: "Gone"})
	if err != nil {
		t.Fatal(err)
	}
	if err := store.EditTakes(ctx, []catalog.TakeID{takes[0].ID}, nil); err != nil { // a title without a night
		t.Fatal(err)
	}
	finding := func(kind catalog.FindingKind, start, end int64) catalog.Finding {
		return catalog.Finding{Track: 1, Kind: kind, StartFrame: start * rate, EndFrame: end * rate, Severity: catalog.WarningSeverity, Evidence: catalog.Evidence{}}
	}
	// The first finding ends where B begins, so it touches A alone; the third lies
	// in B and is accepted; the last lasts all night.
	if err := store.ReplaceFindings(ctx, recs["2031-05-02"].ID, []catalog.Finding{finding(catalog.Clipped, 90, 100), finding(catalog.Dropout, 250, 250), finding(catalog.FlatTop, 150, 160), finding(catalog.Hum, 0, 599)}); err != nil {
		t.Fatal(err)
	}
	findings, err := store.Findings(ctx, catalog.FindingFilter{Kind: catalog.FlatTop})
	if err != nil {
		t.Fatal(err)
	}
	if err := store.AcceptFinding(ctx, findings[0].ID, ""); err != nil {
		t.Fatal(err)
	}

	// These results are made by hand; the stamp keeps a refresh from computing
	// them.
	_, changes, err := store.Refreshed(ctx, refresh.Version)
	if err == nil {
		err = store.PutRefreshed(ctx, refresh.Version, changes)
	}
	if err != nil {
		t.Fatal(err)
	}
	g, err := tourgrid.Load(ctx, store, false)
	if err != nil {
		t.Fatal(err)
	}
	if len(g.Nights) != 4 || len(g.Songs) != 2 {
		t.Fatalf("%d nights, %d songs", len(g.Nights), len(g.Songs))
	}
	for i, want := range []string{"not whole: dropouts", "whole", "not read yet: no recording was scanned", "not read yet: 0 of 1 track"} {
		if n := g.Nights[i]; n.Text() != want {
			t.Errorf("night %s: %s; want %s", n.Date, n.Text(), want)
		}
	}
	want := [][]tourgrid.State{{tourgrid.Found, tourgrid.Clean, tourgrid.None, tourgrid.None}, {tourgrid.AsNight, tourgrid.NotFound, tourgrid.None, tourgrid.None}}
	for r, song := range g.Songs {
		for c, cell := range song.Cells {
			if cell.State != want[r][c] {
				t.Errorf("%s on night %d is %q, want %q", song.Title, c+1, cell.State, want[r][c])
			}
		}
	}
	if n, c := g.Nights[0], g.Songs[0].Cells[0]; n.LengthS != 600 || n.Open != (tourgrid.Counts{Warnings: 3}) || c.Open != (tourgrid.Counts{Warnings: 1}) || c.AllNight != c.Open {
		t.Errorf("the first night is %v s long with %+v, its A has %+v and %+v all night", n.LengthS, n.Open, c.Open, c.AllNight)
	}
	if c := g.Songs[0].Cells[1]; c.Takes != 2 || c.LengthS != 100 {
		t.Errorf("A was played twice: %+v", c)
	}
}
