package findings

import (
	"fmt"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/evidence"
)

// A channel that rested on a night in 16 bit was not alive there, though its floor,
// which the recorder's dither makes, lies above tonight's in 24 bit.
func TestAliveAboveTheRecordersSteps(t *testing.T) {
	rests := make([]float32, 80)
	for i := range rests {
		rests[i] = -91.7
	}
	tonight := evidence.Track{Track: catalog.Track{SampleRate: testRate, Number: 1, Channel: "Keys R"}}
	for _, row := range []struct {
		bits int
		want float64
	}{{16, 0}, {24, 1}, {0, 1}} {
		p := evidence.Past{BitDepth: row.bits, Track: evidence.Track{Track: catalog.Track{SampleRate: testRate, Frames: 40 * testRate}, Levels: rests}}
		if got := aliveShare(&p, above(&p, -99, &tonight)); got != row.want {
			t.Errorf("%d bit: alive for %.2f, want %.2f", row.bits, got, row.want)
		}
	}
}

// Keys that play in every song elsewhere, and in none tonight, are dead, though
// nobody named the songs; a banjo for every other song rests.
func TestPlaysInNearlyEverySong(t *testing.T) {
	take := func(k int) evidence.Take {
		return evidence.Take{Song: fmt.Sprint("Song ", k), Start: int64(60*k) * testRate, End: int64(60*k+50) * testRate}
	}
	night := func(plays ...bool) evidence.Past {
		p := evidence.Past{BitDepth: 24, Track: evidence.Track{Track: catalog.Track{SampleRate: testRate, Frames: 300 * testRate}}}
		for k, on := range plays {
			p.Takes = append(p.Takes, take(k))
			for i := range 120 {
				level := float32(-95)
				if on && i < 70 { // it rests in the second half
					level = -30
				}
				p.Track.Levels = append(p.Track.Levels, level)
			}
		}
		return p
	}
	for _, row := range []struct {
		what   string
		past   []evidence.Past
		songs  int
		frames int64
		want   catalog.Severity
	}{
		{"in every song", []evidence.Past{night(true, true, true, true, true), night(true, true, true, true, true)}, 5, 300, catalog.WarningSeverity},
		{"in every other song", []evidence.Past{night(true, true, true, true, true), night(true, false, true, false, true)}, 5, 300, ""},
		{"one other night", []evidence.Past{night(true, true, true, true, true)}, 5, 300, ""},
		{"two songs tonight", []evidence.Past{night(true, true, true, true, true), night(true, true, true, true, true)}, 2, 300, ""},
		{"the track ends in the second song", []evidence.Past{night(true, true, true, true, true), night(true, true, true, true, true)}, 5, 100, ""},
	} {
		n := &evidence.Recording{SampleRate: testRate, Past: map[string][]evidence.Past{catalog.Key("Keys"): row.past}}
		for k := range row.songs {
			take := take(k)
			take.Song = "Song, tonight"
			n.Takes = append(n.Takes, take)
		}
		track := &evidence.Track{Track: catalog.Track{SampleRate: testRate, Number: 1, Channel: "Keys", Frames: row.frames * testRate}, Rests: true}
		if got := verdictOn(&known{Recording: n}, track, -95); got.severity != row.want {
			t.Errorf("%s: %q, want %q", row.what, got.severity, row.want)
		}
	}
}
