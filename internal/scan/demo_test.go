package scan

import (
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/demo"
	"nightreel/internal/rigs"
)

// TestDemoTour scans the demo's four nights and compares what was found with
// their truth.
func TestDemoTour(t *testing.T) {
	long(t)
	dir, store := filepath.Join(t.TempDir(), "tour"), open(t)
	truth, err := demo.Make(t.Context(), dir, demo.Options{Scale: demo.Small})
	if err != nil {
		t.Fatal(err)
	}
	r := run(t, store, Options{}, dir)
	if len(r.Shows) != len(truth.Shows) {
		t.Fatalf("%d shows, want %d", len(r.Shows), len(truth.Shows))
	}
	for i, want := range truth.Shows {
		if _, err := rigs.Settle(t.Context(), store, r.Shows[i].Key); err != nil {
			t.Fatal(err)
		}
		got, err := store.Show(t.Context(), r.Shows[i].Key)
		if err != nil {
			t.Fatal(err)
		}
		if string(got.Date) != want.Date || got.Venue != want.Venue || len(got.Recordings) != len(want.Recordings) {
			t.Errorf("show %s %q with %d recordings, want %s %q with %d", got.Date, got.Venue, len(got.Recordings), want.Date, want.Venue, len(want.Recordings))
			continue
		}
		for k, w := range want.Recordings {
			g := got.Recordings[k]
			if g.Rig != w.Rig || g.SampleRate != w.SampleRate || g.BitDepth != w.BitDepth || g.Tracks != w.Tracks || g.Files != len(w.Files) ||
				g.Frames != w.Frames || g.StartsAt == nil || !g.StartsAt.Equal(w.StartsAt) || math.Abs(g.OffsetS-w.OffsetS) > 1e-6 {
				t.Errorf("%s: recording %+v\nwant %+v", want.Date, g, w)
			}
		}
		tracksOf(t, store, truth, want)
	}
	for _, p := range r.Problems {
		rel, _ := filepath.Rel(dir, p.File)
		if !strings.Contains(p.Problem, "empty") && !unfinished(truth, rel) {
			t.Errorf("problem %+v", p)
		}
	}
	st, err := os.Stat(store.Path())
	wal, _ := os.Stat(store.Path() + "-wal")
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("catalog %d bytes (log %d) for %d bytes of audio", st.Size(), size(wal), r.BytesRead)
}

func size(st fs.FileInfo) int64 {
	if st == nil {
		return 0
	}
	return st.Size()
}

// unfinished reports whether the truth says that the header of a file, named from
// the tour's folder, was never finished.
func unfinished(truth *demo.Truth, file string) bool {
	folders := map[string]string{}
	for _, sh := range truth.Shows {
		folders[sh.Date] = sh.Folder
	}
	for _, f := range truth.Faults {
		if f.Kind == "unfinished_file" && filepath.Dir(file) == filepath.FromSlash(folders[f.Show]) && strings.HasPrefix(filepath.Base(file), f.Channel+"_") {
			return true
		}
	}
	return false
}

// tracksOf compares track numbers with the input list that is in force.
func tracksOf(t *testing.T, store *catalog.Store, truth *demo.Truth, show demo.Show) {
	t.Helper()
	channels := map[int]string{}
	for _, list := range truth.InputLists {
		if list.From <= show.Date && !list.Only || list.From == show.Date {
			for _, in := range list.Inputs {
				channels[in.Track] = in.Channel
			}
		}
	}
	tracks, err := store.Tracks(t.Context(), catalog.TrackFilter{Show: catalog.ShowKey(show.Date)})
	if err != nil {
		t.Fatal(err)
	}
	for _, tr := range tracks {
		if tr.Name != "" && tr.Name != channels[tr.Number] {
			t.Errorf("%s %s: track %d is %q, the input list has %q", show.Date, tr.Rig, tr.Number, tr.Name, channels[tr.Number])
		}
	}
}
