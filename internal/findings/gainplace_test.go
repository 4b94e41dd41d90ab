package findings

import (
	"testing"

	"nightreel/catalog"
	"nightreel/internal/evidence"
)

// A step in a song is told by the nights that have the song; one without it says
// the same all through, and one that rests in a part of it says nothing there.
func TestParts(t *testing.T) {
	with := mates{bins: []int{20, 32, 44, 120, 132, 144, 156, 168, 180}, db: []float64{0, 1, 0, 1, 0, -9, -8, -9, -10}}
	rests := mates{bins: with.bins, db: []float64{0, 1, 0, 50, -1, -8, -9, -9, -8}}
	without := mates{bins: []int{20, 32, 44, 240, 252, 264}, db: []float64{1, 0, 1, -9, -8, -9}}
	// Nothing between 50 and 250: the rig began after the song, or ended before it.
	far := mates{bins: []int{20, 32, 44, 340, 352, 364}, db: without.db}
	later := mates{bins: []int{260, 272, 284, 296, 308}, db: []float64{1, 0, 1, 0, 1}}
	for _, row := range []struct {
		what      string
		all       []mates
		low, high int
	}{
		{"one night", []mates{with}, 132, 144},
		{"two without the song", []mates{with, without, without}, 132, 144},
		{"one that rests", []mates{rests}, 132, 144},
		{"none with the song", []mates{without}, 50, 240},
		{"two that recorded nothing there", []mates{far, later}, 50, 250},
	} {
		if low, high, ok := bestSplit(row.all, 50, 250, 10, false); !ok || low != row.low || high != row.high {
			t.Errorf("%s: from %d to %d (%v), want %d to %d", row.what, low, high, ok, row.low, row.high)
		}
		if low, high, ok := bestSplit(row.all, 50, 250, 10, true); ok && low <= 132 && high >= 144 {
			t.Errorf("%s: up from %d to %d", row.what, low, high)
		}
	}
}

// The pauses that witness a step are the last with what was before and the first
// with what was after, though somebody talks through one.
func TestBeside(t *testing.T) {
	for _, row := range []struct {
		what        string
		levels      []float64 // of pauses, a hundred bins apart
		first, last int       // their indices, -1 for an end of the night
	}{
		{"in the middle", []float64{-80, -80, -89, -89}, 1, 2},
		{"talk before", []float64{-80, -70, -80, -89, -89}, 2, 3},
		{"talk after", []float64{-80, -80, -89, -70, -89}, 1, 2},
		{"before the last", []float64{-80, -80, -80, -89}, 2, 3},
		{"before all", []float64{-89, -89, -89}, -1, 0},
	} {
		h := &hushes{raw: map[int][]float64{1: row.levels}}
		track := &evidence.Track{Track: catalog.Track{Number: 1}, Levels: make([]float32, 100*len(row.levels)+100)}
		at := func(k int) pause { return pause{100*k + 50, 100*k + 70} }
		for k := range row.levels {
			h.pauses = append(h.pauses, at(k))
		}
		wantFirst, wantLast := pause{}, at(row.last)
		if row.first >= 0 {
			wantFirst = at(row.first)
		}
		if first, last := h.beside(track, -80, -89); first != wantFirst || last != wantLast {
			t.Errorf("%s: between %v and %v, want %v and %v", row.what, first, last, wantFirst, wantLast)
		}
	}
}
