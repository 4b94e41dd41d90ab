package envelope_test

import (
	"fmt"
	"path/filepath"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/meter"
)

// The catalog counts how many parts a track must have; package meter defines how
// long a part is. The two agree at every rate, to the frame.
func TestReadStateKnowsHowLongAPartIs(t *testing.T) {
	ctx := t.Context()
	store, err := catalog.Open(ctx, filepath.Join(t.TempDir(), "c.nightreel"))
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	show, err := store.EnsureShow(ctx, catalog.Show{Date: "2031-05-02"})
	if err != nil {
		t.Fatal(err)
	}
	for _, rate := range []int{8000, 8001, 8004, 8005, 8009, 11025, 22050, 44100, 48000, 88200, 96000, 192000} {
		part := int64(meter.PartBlocks) * int64(meter.BlockFrames(rate))
		r, err := store.SaveRecording(ctx, catalog.Recording{ShowID: show.ID, Rig: fmt.Sprint(rate), SampleRate: rate, BitDepth: 24, SampleBytes: 3, Encoding: "pcm", Frames: part + 1},
			nil, []catalog.Track{{Number: 1, Frames: part}, {Number: 2, Frames: part + 1}}, nil)
		if err != nil {
			t.Fatal(err)
		}
		tracks, err := store.Tracks(ctx, catalog.TrackFilter{Recording: r.ID})
		if err != nil {
			t.Fatal(err)
		}
		for _, track := range tracks {
			if err := store.PutParts(ctx, []catalog.Part{{Track: track.ID, Data: []byte("x")}}, nil); err != nil {
				t.Fatal(err)
			}
		}
		reads, err := store.ReadStates(ctx, show.Key)
		if err != nil {
			t.Fatal(err)
		}
		if got := reads[r.ID]; got.TracksRead != 1 {
			t.Errorf("at %d Hz: %d tracks count as read, want only the one of %d frames, not the one of %d", rate, got.TracksRead, part, part+1)
		}
	}
}
