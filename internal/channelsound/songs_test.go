package channelsound

import (
	"math"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/spectrum"
)

// A song's level is the mean of the cells whose middles lie in its takes; a song
// between two middles has none.
func TestSongLevels(t *testing.T) {
	const rate = 1000
	v := Voice{Track: catalog.Track{SampleRate: rate}}
	for _, power := range []float32{1, 2, 4, 8, 16} {
		c := spectrum.Cell{}
		c.Bands[3] = power
		v.Cells = append(v.Cells, c)
	}
	spans := []Span{{"A", 3000, 9000}, {"B", 8999, 21001}, {"A", 27000, 90000}, {"C", 3100, 8900}, {"D", -5000, 3001}}
	got := v.SongLevels(spans)
	for song, want := range map[string]float64{"A": (1 + 16) / 2., "B": (2 + 4 + 8) / 3., "D": 1} {
		if math.Abs(got[song]-DB(want)) > 1e-9 {
			t.Errorf("%s: %g, want %g", song, got[song], DB(want))
		}
	}
	if len(got) != 3 {
		t.Errorf("%v", got)
	}
	for _, s := range spans {
		if n := len(v.In([]Span{s})); (n == 0) != (s.Song == "C") {
			t.Errorf("%v: %d cells", s, n)
		}
	}
}
