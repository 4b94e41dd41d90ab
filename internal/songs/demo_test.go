package songs_test

import (
	"context"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/demo"
	"nightreel/internal/scan"
)

// TestDemoTour places the songs of the invented tour from its own facts (set
// lists, markers, written times) and compares the takes with the demo's truth.
func TestDemoTour(t *testing.T) {
	if testing.Short() {
		t.Skip("makes and measures a tour")
	}
	dir := t.TempDir()
	truth, err := demo.Make(context.Background(), dir, demo.Options{Scale: demo.Small})
	if err != nil {
		t.Fatal(err)
	}
	store := openStore(t)
	scanTour(t, store, dir, truth)
	// The first turn lets the second know the songs' lengths, so the harder case
	// (no markers) comes first.
	markers := dropMarkers(t, store)
	t.Run("titles only", func(t *testing.T) { placeTour(t, store, truth, true) })
	recordings, err := store.Recordings(context.Background(), catalog.RecordingFilter{})
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range recordings {
		setMarkers(t, store, r, markers[r.ID])
	}
	t.Run("as they come", func(t *testing.T) { placeTour(t, store, truth, false) })
}

// placeTour places every night and compares the takes with the truth. bare
// leaves out the times of the set list, so that only the titles' order is left.
func placeTour(t *testing.T, store *catalog.Store, truth *demo.Truth, bare bool) {
	ctx := context.Background()
	right := 0
	var starts, ends []float64
	for _, show := range truth.Shows {
		date := catalog.ShowKey(show.Date)
		var want []demo.Take
		var entries []catalog.SetListEntry
		for _, take := range truth.Takes {
			if take.Show != show.Date {
				continue
			}
			want = append(want, take)
			e := catalog.SetListEntry{Song: take.Song}
			if strings.HasSuffix(show.SetList, ".csv") && !bare {
				// As set lists have it: whole seconds.
				start, end := float64(int(take.StartS+0.5)), float64(int(take.EndS+0.5))
				e.StartS, e.EndS = &start, &end
			}
			entries = append(entries, e)
		}
		if err := store.SaveSetList(ctx, date, entries); err != nil {
			t.Fatal(err)
		}
		placed, err := placeShow(ctx, store, date)
		if err != nil {
			t.Fatal(err)
		}
		for i, w := range want {
			if i >= len(placed.Takes) {
				t.Errorf("%s: no take for %q", date, w.Song)
				continue
			}
			got := placed.Takes[i]
			middle := (w.StartS + w.EndS) / 2
			if got.Song == w.Song && got.StartS() < middle && middle < got.EndS() {
				right++
			} else {
				t.Logf("%s: %q placed where %q was played (%.1f–%.1f s, is %.1f–%.1f s)", date, got.Song, w.Song, got.StartS(), got.EndS(), w.StartS, w.EndS)
				continue
			}
			starts, ends = append(starts, got.StartS()-w.StartS), append(ends, got.EndS()-w.EndS)
			if want := foundBy(show.Date, bare); got.FoundBy != want {
				t.Errorf("%s: %q was found by %s, want %s", date, got.Song, got.FoundBy, want)
			}
			t.Logf("%s %-18s start %+.2f s, end %+.2f s, %s %.2f", date, w.Song, got.StartS()-w.StartS, got.EndS()-w.EndS, got.FoundBy, got.Confidence)
		}
		if len(placed.Takes) > len(want) {
			t.Errorf("%s: %d takes where %d were played", date, len(placed.Takes), len(want))
		}
		again, err := placeShow(ctx, store, date)
		if err != nil {
			t.Fatal(err)
		}
		if again.Added+again.Moved+again.Removed != 0 || !slices.Equal(again.Takes, placed.Takes) {
			t.Errorf("%s: placing again changed %+v to %+v", date, placed, again)
		}
	}
	t.Logf("%d of %d titles right; start %s; end %s", right, len(truth.Takes), spread(starts), spread(ends))
	if within(starts, 100) > 1 || within(ends, 100) > 1 { // the pauses are as short
		t.Errorf("start %s; end %s", spread(starts), spread(ends))
	}
	if 100*right < 95*len(truth.Takes) {
		t.Errorf("%d of %d titles right, want 95 %%", right, len(truth.Takes))
	}
}

// foundBy returns which source places the takes of a night of the demo.
func foundBy(date string, bare bool) catalog.FoundBy {
	switch {
	case bare:
	case date == "2031-05-03":
		return catalog.ByMarker
	case date == "2031-05-06":
		return catalog.BySetList
	}
	return catalog.ByMusic
}

// within returns the largest error in seconds among the given percentage of
// smallest errors; 0 of none.
func within(errors []float64, percent int) float64 {
	size := make([]float64, len(errors))
	for i, e := range errors {
		size[i] = max(e, -e)
	}
	if len(size) == 0 {
		return 0
	}
	slices.Sort(size)
	return size[min(len(size)*percent/100, len(size)-1)]
}

// spread describes errors in seconds.
func spread(errors []float64) string {
	return fmt.Sprintf("within %.2f s (median), %.2f s (95th percentile), %.2f s (worst)", within(errors, 50), within(errors, 95), within(errors, 100))
}

func openStore(t testing.TB) *catalog.Store {
	t.Helper()
	store, err := catalog.Open(context.Background(), filepath.Join(t.TempDir(), "catalog"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { store.Close() })
	return store
}

// scanTour scans the demo and puts its input lists in force.
func scanTour(t *testing.T, store *catalog.Store, dir string, truth *demo.Truth) {
	t.Helper()
	ctx := context.Background()
	if _, err := scan.Run(ctx, store, []string{dir}, scan.Options{}, nil); err != nil {
		t.Fatal(err)
	}
	for _, l := range truth.InputLists {
		list := catalog.InputList{From: catalog.ShowKey(l.From), Only: l.Only}
		for _, in := range l.Inputs {
			list.Inputs = append(list.Inputs, catalog.Input{Track: in.Track, Channel: in.Channel, Group: in.Group})
		}
		if err := store.SaveInputList(ctx, list); err != nil {
			t.Fatal(err)
		}
	}
}

// dropMarkers takes all markers away and returns them by recording.
func dropMarkers(t *testing.T, store *catalog.Store) map[catalog.RecordingID][]catalog.Marker {
	t.Helper()
	ctx := context.Background()
	recordings, err := store.Recordings(ctx, catalog.RecordingFilter{})
	if err != nil {
		t.Fatal(err)
	}
	dropped := map[catalog.RecordingID][]catalog.Marker{}
	for _, r := range recordings {
		if dropped[r.ID], err = store.Markers(ctx, r.ID); err != nil {
			t.Fatal(err)
		}
		setMarkers(t, store, r, nil)
	}
	return dropped
}

func setMarkers(t *testing.T, store *catalog.Store, r catalog.Recording, markers []catalog.Marker) {
	t.Helper()
	ctx := context.Background()
	files, err := store.Files(ctx, catalog.FileFilter{Recording: r.ID})
	if err != nil {
		t.Fatal(err)
	}
	tracks, err := store.Tracks(ctx, catalog.TrackFilter{Recording: r.ID})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := store.SaveRecording(ctx, r, files, tracks, markers); err != nil {
		t.Fatal(err)
	}
}
