package findings

import (
	"testing"

	"nightreel/catalog"
	"nightreel/internal/channelsound"
	"nightreel/internal/evidence"
)

// A tom and a bass, of which each may have been silent on any night: an exchange
// explains a silent tom if the bass is silent on the others, but not where on as
// many both play.
func TestSilentAndExchanged(t *testing.T) {
	voice := func(number int, channel string, like float64, plays bool) channelsound.Voice {
		v := channelsound.Voice{Track: catalog.Track{Number: number, Channel: channel}, Quiet: -90, Song: -20}
		for i := range v.Bands {
			v.QuietBands[i] = -100
			v.Bands[i] = -35 + like*float64(i)
		}
		if !plays { // it hears the others from afar
			v.Quiet, v.Song = -50, -45
			for i := range v.Bands {
				v.Bands[i] = -40
			}
		}
		return v
	}
	const tom, bass = 0.4, -0.4
	night := func(tomPlays, bassPlays bool) *channelsound.Night {
		return &channelsound.Night{Voices: []channelsound.Voice{voice(1, "Tom", tom, tomPlays), voice(2, "Bass", bass, bassPlays)}}
	}
	exchanged := &channelsound.Night{Voices: []channelsound.Voice{voice(1, "Tom", bass, false), voice(2, "Bass", tom, true)}}
	for _, row := range []struct {
		what string
		tour []*channelsound.Night
		want bool
	}{
		{"the bass is silent on the other night", []*channelsound.Night{night(true, false)}, true},
		{"and on two more, while both play on one", []*channelsound.Night{night(true, false), night(true, true), night(true, false)}, true},
		{"both play on one of two", []*channelsound.Night{night(true, false), night(true, true)}, false},
		{"both play on all", []*channelsound.Night{night(true, true), night(true, true)}, false},
		{"the tom is silent as always", []*channelsound.Night{night(false, true), night(true, false)}, false},
	} {
		n := &evidence.Recording{Sound: exchanged, Tour: row.tour}
		if swaps, _ := swapsOf(n); len(swaps) > 0 != row.want {
			t.Errorf("%s: exchanged %v", row.what, swaps)
		}
	}
}

// Of two nights that contradict each other the later one is told, and a line check
// is later than any.
func TestSwappedOnce(t *testing.T) {
	heard := func(show catalog.ShowKey) *channelsound.Night {
		return &channelsound.Night{Voices: []channelsound.Voice{{Track: catalog.Track{Show: show, Number: 1, Channel: "Tom"}}, {Track: catalog.Track{Show: show, Number: 2, Channel: "Bass"}}}}
	}
	for _, row := range []struct {
		tonight catalog.ShowKey
		tour    []catalog.ShowKey
		want    int
	}{
		{"2031-05-02", []catalog.ShowKey{"2031-05-03"}, 0},
		{"2031-05-03", []catalog.ShowKey{"2031-05-02"}, 1},
		{"", []catalog.ShowKey{"2031-05-02"}, 1},
		{"2031-05-02", []catalog.ShowKey{"2031-05-03", "2031-05-04"}, 1},
	} {
		n := &evidence.Recording{Sound: heard(row.tonight)}
		for i := range n.Sound.Voices {
			n.Tracks = append(n.Tracks, evidence.Unmeasured(n.Sound.Voices[i].Track))
		}
		for _, show := range row.tour {
			n.Tour = append(n.Tour, heard(show))
		}
		known := given(n, []swap{{a: 0, b: 1, score: 0.5, nights: len(row.tour)}}, nil)
		if got := len(unexplained(known, swapped(known))); got != row.want {
			t.Errorf("%s against %v: %d findings, want %d", row.tonight, row.tour, got, row.want)
		}
	}
}
