package evaluate

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"
)

// The instruments of the stage. A song's MIDI channels are assigned to them.
const (
	kick = iota
	snare
	hat
	toms
	cymbals
	bass
	guitar1
	guitar2
	keys1
	keys2
	lead
	sources
)

// score is one performance of a song, note by note.
type score struct {
	notes    [sources][]note
	controls [sources][]control
	startS   float64 // start of the first note; a count-in is before
	offS     float64 // end of the last note
}

// take describes how a song is performed this time.
type take struct {
	tempo   float64 // as a factor
	form    [][2]int
	countIn bool
	stopS   float64 // a false start: all players stop then; 0 for a whole take
	seed    uint64
}

// newTake draws a take at random: tempo within 8 %, and in half of all takes a
// changed form, with some bars repeated or left out.
func newTake(rng *rand.Rand, s song) take {
	t := take{tempo: 0.92 + 0.16*rng.Float64(), countIn: rng.Float64() < 0.5, seed: rng.Uint64()}
	bars := len(s.bars) - 1
	t.form = [][2]int{{0, bars}}
	if bars < 16 {
		return t
	}
	n := 4 << rng.IntN(2)
	if bars > 48 {
		n *= 2
	}
	from := n * (1 + rng.IntN(max(1, bars/n-2)))
	to := min(from+n, bars)
	switch x := rng.Float64(); {
	case x < 0.25: // an extra round
		t.form = [][2]int{{0, to}, {from, bars}}
	case x < 0.5 && to < bars: // a cut solo
		t.form = [][2]int{{0, from}, {to, bars}}
	}
	return t
}

// perform plays a take: the bars of its form, its tempo with a drift, every note
// a little early or late, harder or softer.
func perform(s song, t take) score {
	rng := rand.New(rand.NewPCG(t.seed, 1))
	place := deal(s)
	sc := score{}
	at := 0.5
	clock := newDrift(rng, t.tempo)
	if t.countIn {
		beat := min(1, max(0.3, (s.bars[1]-s.bars[0])/4)) / t.tempo
		for i := range 4 {
			sc.notes[hat] = append(sc.notes[hat], note{at: at + float64(i)*beat, dur: 0.1, channel: drumChannel, key: 37, vel: 90})
		}
		at += 4 * beat
	}
	start := at
	first := math.Inf(1)
	for i, piece := range t.form {
		from, to := s.bars[piece[0]], s.bars[piece[1]]
		when := func(x float64) float64 { return start + clock.takes(x-from) }
		for _, c := range s.controls {
			p := place(c.channel, 0)
			if i == 0 && c.at < from {
				c.at = from
			}
			if c.at < from || c.at >= to {
				continue
			}
			c.at = when(c.at)
			if c.channel == drumChannel {
				for _, d := range []int{kick, snare, hat, toms, cymbals} {
					sc.controls[d] = append(sc.controls[d], c)
				}
				continue
			}
			sc.controls[p] = append(sc.controls[p], c)
		}
		for _, n := range s.notes {
			if n.at < from || n.at >= to {
				continue
			}
			p := place(n.channel, n.key)
			end := when(min(n.at+n.dur, to+2))
			n.at = when(n.at) + 0.008*rng.NormFloat64()
			n.dur = max(0.03, end-n.at)
			n.vel = uint8(max(1, min(127, float64(n.vel)+6*rng.NormFloat64())))
			if t.stopS > 0 && n.at > at+t.stopS {
				continue
			}
			sc.notes[p] = append(sc.notes[p], n)
			first = min(first, n.at)
			sc.offS = max(sc.offS, n.at+min(n.dur, 8))
		}
		start = when(to)
		clock.advance(to - from)
	}
	sc.startS = first
	for p := range sc.notes {
		slices.SortStableFunc(sc.notes[p], func(a, b note) int { return cmp.Compare(a.at, b.at) })
	}
	return sc
}

// drift is a tempo that swings slowly by a percent or so.
type drift struct {
	tempo, depth, period, phase, gone float64
}

func newDrift(rng *rand.Rand, tempo float64) *drift {
	return &drift{tempo: tempo, depth: 0.015 * rng.Float64(), period: 20 + 60*rng.Float64(), phase: 2 * math.Pi * rng.Float64()}
}

// takes returns how long the next x seconds of the file take.
func (d *drift) takes(x float64) float64 {
	w := 2 * math.Pi / d.period
	swing := func(t float64) float64 { return d.depth / w * math.Sin(w*t+d.phase) }
	return (x + swing(d.gone+x) - swing(d.gone)) / d.tempo
}

func (d *drift) advance(x float64) { d.gone += x }

// deal assigns a song's channels to the instruments by their first program, as
// General MIDI numbers them.
func deal(s song) func(channel, key uint8) int {
	program := map[uint8]uint8{}
	for _, c := range s.controls {
		if _, set := program[c.channel]; !set && len(c.msg) == 2 && c.msg[0]&0xf0 == 0xc0 {
			program[c.channel] = c.msg[1]
		}
	}
	place := map[uint8]int{}
	guitars, keys := 0, 0
	for ch := range uint8(16) {
		switch p := program[ch]; {
		case p >= 32 && p < 40:
			place[ch] = bass
		case p >= 24 && p < 32:
			place[ch] = guitar1 + guitars%2
			guitars++
		case p < 24 || p >= 40 && p < 56 || p >= 88:
			place[ch] = keys1 + keys%2
			keys++
		default: // brass, reed, pipe, synth lead
			place[ch] = lead
		}
	}
	return func(channel, key uint8) int {
		if channel != drumChannel {
			return place[channel]
		}
		switch {
		case key == 35 || key == 36:
			return kick
		case key >= 37 && key <= 40:
			return snare
		case key == 42 || key == 44 || key == 46:
			return hat
		case key == 41 || key == 43 || key == 45 || key == 47 || key == 48 || key == 50:
			return toms
		}
		return cymbals
	}
}
