package demo

import "math"

// formants holds the first three formants in Hz of each vowel; rough values of
// a grown voice, from memory.
func formants(vowel int) [3]float64 {
	return [...][3]float64{
		ah: {750, 1200, 2700},
		eh: {520, 1800, 2600},
		ee: {300, 2200, 2900},
		oh: {460, 850, 2600},
		oo: {330, 750, 2400},
	}[vowel]
}

// resonator is a two-pole band pass with a gain of 1 at its centre.
type resonator struct{ b0, a1, a2, x1, x2, y1, y2 float64 }

func newResonator(rate int, hz, q float64) resonator {
	w := 2 * math.Pi * min(hz, 0.45*float64(rate)) / float64(rate)
	alpha := math.Sin(w) / (2 * q)
	a0 := 1 + alpha
	return resonator{b0: alpha / a0, a1: -2 * math.Cos(w) / a0, a2: (1 - alpha) / a0}
}

func (r *resonator) next(x float64) float64 {
	y := r.b0*(x-r.x2) - r.a1*r.y1 - r.a2*r.y2
	r.x2, r.x1, r.y2, r.y1 = r.x1, x, r.y1, y
	return y
}

// voiceStem sings or speaks: a sawtooth of the larynx with vibrato and breath,
// through three formants.
func voiceStem(s stem, rate int, notes []note, n noise) {
	for i, v := range notes {
		f := formants(v.vowel)
		r := [3]resonator{newResonator(rate, f[0], 7), newResonator(rate, f[1], 9), newResonator(rate, f[2], 11)}
		phase, at := 0.0, int64(i)<<20
		s.render(rate, v.at, v.dur+0.04, func(x float64) float64 {
			at++
			vibrato := 1 + 0.012*math.Sin(2*math.Pi*5.3*x)*min(1, x/0.4)
			phase += v.freq * vibrato / float64(rate)
			in := saw(phase) + 0.06*n.at(at)
			y := r[0].next(in) + 0.6*r[1].next(in) + 0.35*r[2].next(in)
			return v.vel * y * release(x, v.dur) * min(1, x/0.03)
		})
	}
}

func leadStem(s stem, rate int, sc *score, n noise)   { voiceStem(s, rate, sc.lead, n) }
func secondStem(s stem, rate int, sc *score, n noise) { voiceStem(s, rate, sc.second, n) }
func guestStem(s stem, rate int, sc *score, n noise)  { voiceStem(s, rate, sc.guest, n) }
