package songs

import (
	"testing"

	"nightreel/internal/meter"
)

// chords returns as many seconds of one chord, made of the given pitch classes.
func chords(seconds int, classes ...int) []chroma {
	var c chroma
	for _, k := range classes {
		c[k] = 1
	}
	normalise(&c)
	out := make([]chroma, seconds)
	for i := range out {
		out[i] = c
	}
	return out
}

// A passage in which one player in ten plays the song's chords belongs to the
// song; one in another key does not, nor does silence.
func TestJoinByKey(t *testing.T) {
	for _, c := range []struct {
		name  string
		share float64
		soft  []chroma
		join  bool
	}{
		{"the song's chords", 0.1, chords(20, 0, 4, 7), true},
		{"another key", 0.1, chords(20, 1, 5, 8), false},
		{"hardly anybody", 0.05, chords(20, 0, 4, 7), false},
		{"silence", 0.1, make([]chroma, 20), false},
	} {
		n := night{band: append(append(chords(60, 0, 4, 7), c.soft...), chords(60, 0, 4, 7)...)}
		n.activity.share = make([]float64, 140*meter.BlocksPerSecond)
		for i := range n.activity.share {
			if n.activity.share[i] = 0.8; i >= 60*meter.BlocksPerSecond && i < 80*meter.BlocksPerSecond {
				n.activity.share[i] = c.share
			}
		}
		music := []stretch{{to: 60 * meter.BlocksPerSecond, cut: 1}, {from: 80 * meter.BlocksPerSecond, to: 140 * meter.BlocksPerSecond, cut: 0.99}}
		n.joinByKey(music)
		if joined := music[1].cut < 0.5; joined != c.join {
			t.Errorf("%s: a cut of %.3f", c.name, music[1].cut)
		}
	}
}

// A change at which all players stop is more likely a change of song.
func TestDip(t *testing.T) {
	levels := make([][]float32, 4)
	for c := range levels {
		levels[c] = make([]float32, 100)
		levels[c][70] = -0.75 // 15 dB softer
	}
	a := activity{levels: levels}
	if v := a.dip(70); v != mostDip {
		t.Errorf("a pause of a second is worth %v, want %v", v, mostDip)
	}
	if v := a.dip(30); v != leastDip {
		t.Errorf("a change without a stop is worth %v", v)
	}
	for _, second := range []int{0, 99} { // seconds at the night's ends must not panic
		a.dip(second)
	}
}
