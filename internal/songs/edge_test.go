package songs

import (
	"math/rand/v2"
	"testing"

	"nightreel/internal/meter"
)

// An edge that the levels put at a false start, at a count-in, at tuning or
// within a soft opening moves to where the song starts on a night that a person
// confirmed.
func TestEdgesByReference(t *testing.T) {
	const song, start, end = 120, 100, 220 // s
	rng := rand.New(rand.NewPCG(3, 4))
	chord := func() (c chroma) {
		for i := range c {
			c[i] = float32(rng.NormFloat64())
		}
		normalise(&c)
		return c
	}
	var plays []chroma
	for len(plays) < song {
		c := chord()
		plays = append(plays, c, c) // two seconds each
	}
	still := chord() // the sum of silent tracks
	mixed := func(c chroma) chroma {
		for i := range c {
			c[i] += 0.3 * float32(rng.NormFloat64())
		}
		normalise(&c)
		return c
	}
	build := func() *night {
		n := &night{show: "2031-05-02"}
		n.activity.loud = make([]int, 400)
		levels := [][]float32{make([]float32, 400), make([]float32, 400)}
		for s := range 400 {
			c, loud := mixed(still), float32(-1.5)
			if s >= start && s < end {
				c, loud = mixed(plays[s-start]), 0
			}
			n.band = append(n.band, c)
			for k := range levels {
				levels[k][s] = loud
			}
		}
		n.activity.levels = levels
		n.activity.share = make([]float64, 400*meter.BlocksPerSecond)
		for b := start * meter.BlocksPerSecond; b < end*meter.BlocksPerSecond; b++ {
			n.activity.share[b] = 1
		}
		n.music = []stretch{{from: 80 * meter.BlocksPerSecond, to: end * meter.BlocksPerSecond}}
		full := make([]float32, song)
		n.refs = []reference{{key: "tune", person: true, plays: plays, loud: [][]float32{full, full}}}
		return n
	}
	for _, c := range []struct {
		name       string
		start, end int // where the levels put the edges, in seconds
		change     func(n *night)
	}{
		{"exact", start, end, func(*night) {}},
		{"a false start", 84, end, func(n *night) {
			for i := range 8 {
				n.band[84+i] = mixed(plays[i])
				n.activity.levels[0][84+i], n.activity.levels[1][84+i] = 0, 0
			}
		}},
		{"tuning before, drums after", 88, end + 14, func(n *night) {
			for i := range 10 {
				n.band[88+i] = chord()
				n.activity.levels[0][88+i] = -0.2
				n.activity.levels[1][end+3+i] = -0.2
			}
		}},
		{"a soft opening", start + 20, end, func(n *night) {
			quiet := make([]float32, song)
			for i := range 20 {
				quiet[i] = -1.5
				n.activity.levels[1][start+i] = -1.5
			}
			n.refs[0].loud[1] = quiet
		}},
	} {
		n := build()
		c.change(n)
		const b = meter.BlocksPerSecond
		s, e := n.edges("Tune", c.start*b, c.end*b, 0, 400*b)
		if s != start*b || e != end*b {
			t.Errorf("%s: %.1f to %.1f s, want %d to %d", c.name, float64(s)/b, float64(e)/b, start, end)
		}
	}
}

// Unconfirmed takes and other songs move no edge.
func TestEdgesWithoutReference(t *testing.T) {
	n := &night{refs: []reference{{key: "tune"}, {key: "other", person: true}}}
	if s, e := n.edges("Tune", 100, 900, 0, 1000); s != 100 || e != 900 {
		t.Errorf("moved to %d … %d", s, e)
	}
}

func TestLoudnessPacked(t *testing.T) {
	l := loudness{{3, []float32{-1.5, -0.25, 0, 0.3}}, {64, []float32{-9, 9}}}
	data := l.pack()
	back := unpackLoudness(data)
	want := loudness{{3, []float32{-1.5, -0.25, 0, 0.3}}, {64, []float32{-1.5, 1}}}
	for i, w := range want {
		if back[i].number != w.number {
			t.Errorf("track %d, want %d", back[i].number, w.number)
		}
		for k, v := range w.levels {
			if abs(back[i].levels[k]-v) > 0.006 {
				t.Errorf("track %d, second %d: %v, want %v", w.number, k, back[i].levels[k], v)
			}
		}
	}
	for cut := range data { // a truncated record must not panic
		unpackLoudness(data[:cut])
	}
	unpackLoudness([]byte{1, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0x7f})
}

// A record over the PA is the same in every microphone; a band is not.
func TestTogether(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 1))
	const blocks = 20 * meter.BlocksPerSecond
	tracks := make([]heardTrack, 8)
	record := make([]float32, blocks)
	for i := range record {
		record[i] = float32(6 * rng.NormFloat64())
	}
	for k := range tracks {
		tracks[k].high = -20
		for i := range blocks {
			l := float32(-20)
			if i < blocks/2 {
				l += record[i] + float32(rng.NormFloat64())
			} else {
				l += float32(6 * rng.NormFloat64())
			}
			tracks[k].levels = append(tracks[k].levels, l)
		}
	}
	a := activity{}
	a.together, a.several = together(tracks, blocks)
	if one, many := a.asOne(0, blocks/2), a.asOne(blocks/2, blocks); one < 0.9 || many > 0.3 {
		t.Errorf("a record moves as one by %.2f, a band by %.2f", one, many)
	}
	a.channels = len(tracks)
	if v := a.holding(0, blocks); v != 1 {
		t.Errorf("%.2f of the channels are loud all through, want all", v)
	}
	for k := range tracks {
		for i := range tracks[k].levels {
			if i%meter.BlocksPerSecond != k {
				tracks[k].levels[i] = -60 // a stroke a second
			}
		}
	}
	a.together, a.several = together(tracks, blocks)
	if v := a.holding(0, blocks); v != 0 {
		t.Errorf("single strokes make %.2f of the channels loud all through", v)
	}
	if v := a.asOne(blocks, blocks+100); v != 0 {
		t.Errorf("without tracks the correlation is %v, want 0", v)
	}
}
