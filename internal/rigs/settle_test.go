package rigs_test

import (
	"path/filepath"
	"testing"
	"time"

	"nightreel/catalog"
	"nightreel/internal/rigs"
)

// rec is a recording to be made: seconds of each of its tracks, from a clock.
type rec struct {
	rig     string
	tracks  int
	seconds int64
	starts  int // seconds after 20:00; -1 = no clock
	chosen  bool
}

// The reference is the recording that holds most of the show's channels for
// longest, whatever was stored first.
func TestReference(t *testing.T) {
	for _, c := range []struct {
		about string
		recs  []rec
		want  string
	}{
		{"a few tracks of the lobby are no reference, whatever they are called", []rec{{"main", 4, 100, 0, false}, {"truck", 24, 227, 0, false}}, "truck"},
		{"of those that hold nearly as much main", []rec{{"backup", 24, 230, 0, false}, {"main", 24, 210, 10, false}}, "main"},
		{"main that stopped early is not", []rec{{"backup", 24, 230, 0, false}, {"main", 24, 200, 0, false}}, "backup"},
		{"without main the one that began first", []rec{{"a", 24, 220, 10, false}, {"b", 24, 220, 0, false}}, "b"},
		{"else the first by name", []rec{{"b", 24, 220, -1, false}, {"a", 24, 220, -1, false}}, "a"},
		{"a person chooses", []rec{{"main", 24, 220, 0, false}, {"lobby", 2, 220, 5, true}}, "lobby"},
	} {
		t.Run(c.about, func(t *testing.T) {
			for _, backwards := range []bool{false, true} {
				store := fill(t, c.recs, backwards)
				if changed, err := rigs.Settle(t.Context(), store, "2031-08-01"); err != nil || !changed {
					t.Fatal(changed, err)
				}
				recordings, err := store.Recordings(t.Context(), catalog.RecordingFilter{})
				if err != nil {
					t.Fatal(err)
				}
				r := recordings[0]
				if r.Rig != c.want || !r.Reference || r.OffsetS != 0 || recordings[1].Reference {
					t.Errorf("backwards %v: reference %+v", backwards, recordings)
				}
				if o := recordings[1]; r.StartsAt != nil && o.OffsetS != o.StartsAt.Sub(*r.StartsAt).Seconds() {
					t.Errorf("%s starts %v s after the reference", o.Rig, o.OffsetS)
				}
				if changed, err := rigs.Settle(t.Context(), store, "2031-08-01"); err != nil || changed {
					t.Errorf("settled again: changed %v, %v", changed, err)
				}
			}
		})
	}
}

func fill(t *testing.T, recs []rec, backwards bool) *catalog.Store {
	t.Helper()
	ctx := t.Context()
	store, err := catalog.Open(ctx, filepath.Join(t.TempDir(), "c.nightreel"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { store.Close() })
	show, err := store.EnsureShow(ctx, catalog.Show{Date: "2031-08-01"})
	if err != nil {
		t.Fatal(err)
	}
	for i := range recs {
		r := recs[i]
		if backwards {
			r = recs[len(recs)-1-i]
		}
		const rate = 8000
		row := catalog.Recording{ShowID: show.ID, Rig: r.rig, SampleRate: rate, BitDepth: 24, SampleBytes: 3, Encoding: "pcm", Frames: r.seconds * rate, Chosen: r.chosen}
		if r.starts >= 0 {
			at := time.Date(2031, 8, 1, 20, 0, r.starts, 0, time.UTC)
			row.StartsAt = &at
		}
		var tracks []catalog.Track
		for n := range r.tracks {
			tracks = append(tracks, catalog.Track{Number: n + 1, Frames: row.Frames})
		}
		if _, err := store.SaveRecording(ctx, row, nil, tracks, nil); err != nil {
			t.Fatal(err)
		}
	}
	return store
}
