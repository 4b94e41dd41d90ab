package findings

import (
	"math"
	"slices"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/channelsound"
	"nightreel/internal/evidence"
)

// Takes may lie outside of what a rig or a track recorded, overlap, or have no length:
// they have no share there, and cells of overlapping takes are in order of time. Each
// row made a judge panic once.
func TestTakesThatARigDidNotRecord(t *testing.T) {
	const cell = int64(channelsound.CellSeconds * testRate)
	track := &evidence.Track{Track: catalog.Track{SampleRate: testRate, Frames: 60 * testRate}, Levels: make([]float32, 120)}
	for _, row := range []struct {
		what  string
		takes []evidence.Take
		share float64 // of the first take above -1 dB
		bins  []int   // of the cells that are compared with the same takes of another night
	}{
		{"before it", []evidence.Take{{Song: "A", Start: -50 * testRate, End: -20 * testRate}}, math.NaN(), nil},
		{"begun before it", []evidence.Take{{Song: "A", Start: -2 * cell, End: 2 * cell}}, 1, []int{6, 18}},
		{"after it", []evidence.Take{{Song: "A", Start: 90 * testRate, End: 120 * testRate}}, math.NaN(), nil},
		{"without a length, in the middle of a cell", []evidence.Take{{Song: "A", Start: cell / 2, End: cell / 2}}, math.NaN(), nil},
		{"one within another", []evidence.Take{{Song: "A", Start: 0, End: 4 * cell}, {Song: "B", Start: cell, End: 3 * cell}}, 1, []int{6, 18, 18, 30, 30, 42}},
		{"not in order", []evidence.Take{{Song: "B", Start: 3 * cell, End: 5 * cell}, {Song: "A", Start: 0, End: 2 * cell}}, 1, []int{6, 18, 42, 54}},
	} {
		if got := shareAbove(track, -1, row.takes[0].Start, row.takes[0].End); got != row.share && !(math.IsNaN(got) && math.IsNaN(row.share)) {
			t.Errorf("a take %s: share %v, want %v", row.what, got, row.share)
		}
		n := &known{Recording: &evidence.Recording{SampleRate: testRate, Frames: track.Frames, Takes: row.takes}}
		pauses(n.Recording, &stage{loud: make([]bool, len(track.Levels))})
		past := &channelsound.Night{SampleRate: testRate, Takes: evidence.Spans(row.takes)}
		v := &channelsound.Voice{Levels: make([]float64, 10)}
		if m := matesOn(n, v, past, v); !slices.Equal(m.bins, row.bins) || len(m.db) != len(m.bins) {
			t.Errorf("a take %s: cells in bins %v, want %v", row.what, m.bins, row.bins)
		}
	}
}

// A pause that outlasts a track ends with the track for it: a step of gain is placed
// within what the track holds.
func TestPauseThatOutlastsATrack(t *testing.T) {
	track := &evidence.Track{Track: catalog.Track{Number: 1}, Levels: make([]float32, 50)}
	for b := range track.Levels {
		track.Levels[b] = -80
		if b >= 30 {
			track.Levels[b] = -70
		}
	}
	h := &hushes{pauses: []pause{{2, 12}, {20, 64}}, raw: map[int][]float64{1: {-80, -70}}}
	first, last := h.beside(track, -80, -70)
	if (first != pause{2, 12}) || (last != pause{20, 50}) || !last.parted(track, -80, -70) {
		t.Errorf("pauses %v and %v, parted %v", first, last, last.parted(track, -80, -70))
	}
}
