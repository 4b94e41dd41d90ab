package demo

import "math"

// murmur is the audience's usual level, relative to its loudest.
const murmur = 0.08

// crowdStem is one side of the audience: a murmur all night, clapping and
// shouting in the swells.
func crowdStem(s stem, rate int, sc *score, n noise) {
	level := make(stem, len(s))
	for i := range level {
		level[i] = murmur
	}
	for _, w := range sc.crowd {
		from, to := level.span(rate, w.at, w.dur)
		for i := from; i < to; i++ {
			x := float64(i-from) / float64(max(1, to-from))
			level[i] += float32(w.level * min(1, x*8) * (1 - x) * 0.9)
		}
	}
	voices, body := newResonator(rate, 900, 0.8), newResonator(rate, 450, 1.2)
	clap := 0.0
	fade := math.Exp(-1 / (0.006 * float64(rate)))
	// The largest number of claps a second, from a full house at its loudest.
	chance := 90 / float64(rate)
	for i := range s {
		w, e := n.at(int64(i)), float64(level[i])
		u := float64(mix(uint64(n)^uint64(i))>>11) / (1 << 53)
		if u < chance*(e-murmur) {
			clap += 0.4 + 0.6*u/chance
		}
		s[i] = float32(e*(0.7*voices.next(w)+0.5*body.next(w)) + 0.4*clap*w*min(1, 3*e))
		clap *= fade
	}
}

// delayLine is a feedback comb with a dull loop.
type delayLine struct {
	buf  []float64
	at   int
	damp lowpass
	back float64
}

// hall returns the room's sound of the public address: the mix of the stems in
// it, delayed and smeared by six combs. The times are those of a hall of some 20
// m.
func hall(pa stem, rate int, preDelay float64, side int) stem {
	out := make(stem, len(pa))
	var combs []delayLine
	for i, ms := range []float64{41.3, 47.9, 53.1, 59.7, 67.3, 73.9} {
		n := int((ms + 1.7*float64(side) + 0.3*float64(i)) / 1000 * float64(rate))
		combs = append(combs, delayLine{buf: make([]float64, n), damp: newLowpass(rate, 2600), back: 0.72})
	}
	lag := int(preDelay * float64(rate))
	for i := range out {
		if i < lag {
			continue
		}
		in := float64(pa[i-lag])
		sum := in
		for c := range combs {
			k := &combs[c]
			y := k.buf[k.at]
			k.buf[k.at] = in*0.3 + k.back*k.damp.next(y)
			if k.at++; k.at == len(k.buf) {
				k.at = 0
			}
			sum += y
		}
		out[i] = float32(0.5 * sum)
	}
	return out
}
