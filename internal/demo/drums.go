package demo

import "math"

// stem is one source as it would sound right beside it: mono, full scale about
// ±1, from the start of the main recording on.
type stem []float32

// span clips the frames from at seconds on, dur seconds long, to the stem.
func (s stem) span(rate int, at, dur float64) (from, to int) {
	from = max(0, int(at*float64(rate)))
	to = min(len(s), int((at+dur)*float64(rate)))
	return min(from, len(s)), max(from, to)
}

// render adds one sound: f gives the sample at x seconds after its start.
func (s stem) render(rate int, at, dur float64, f func(x float64) float64) {
	from, to := s.span(rate, at, dur)
	dx := 1 / float64(rate)
	for i := from; i < to; i++ {
		s[i] += float32(f(float64(i-from) * dx))
	}
}

// blockDC removes what is below hearing: neither a membrane nor a coil passes DC
// on.
func (s stem) blockDC(rate int) {
	below := newLowpass(rate, 12)
	for i, x := range s {
		s[i] = x - float32(below.next(float64(x)))
	}
}

// hiss adds the noise of an amplifier that is on all night.
func (s stem) hiss(n noise) {
	for i := range s {
		s[i] += float32(0.0008 * n.at(int64(i)))
	}
}

// normalise scales the stem to a peak of 1. A silent one stays silent.
func (s stem) normalise() {
	var peak float32
	for _, x := range s {
		peak = max(peak, x, -x)
	}
	if peak == 0 {
		return
	}
	for i := range s {
		s[i] /= peak
	}
}

// louder raises the stem by each swell's level in dB during the swell.
func (s stem) louder(rate int, swells []swell) {
	for _, w := range swells {
		from, to := s.span(rate, w.at, w.dur)
		g := float32(dB(w.level))
		for i := from; i < to; i++ {
			s[i] *= g
		}
	}
}

// dB returns the amplitude ratio of x decibel.
func dB(x float64) float64 { return math.Pow(10, x/20) }

// drop is a membrane: a sine that falls from high to low (Hz) within tau
// seconds, decaying with decay.
func drop(x, low, high, tau, decay float64) float64 {
	phase := 2 * math.Pi * (low*x + (high-low)*tau*(1-math.Exp(-x/tau)))
	return math.Sin(phase) * math.Exp(-x/decay)
}

func kickStem(s stem, rate int, sc *score, n noise) {
	for i, h := range sc.kick {
		v, at := h.vel, int64(i)<<20
		s.render(rate, h.at, 0.45, func(x float64) float64 {
			at++
			click := n.at(at) * math.Exp(-x/0.003) * 0.25
			return v * (drop(x, 48, 150, 0.03, 0.12) + click)
		})
	}
}

func snareStem(s stem, rate int, sc *score, n noise) {
	for i, h := range sc.snare {
		v, at, last := h.vel, int64(i)<<20, 0.0
		s.render(rate, h.at, 0.4, func(x float64) float64 {
			at++
			w := n.at(at)
			rattle := (w - last) * math.Exp(-x/0.06) * 0.16
			last = w
			return v * (drop(x, 185, 260, 0.01, 0.07) + 0.5*drop(x, 331, 400, 0.01, 0.04) + rattle)
		})
	}
}

// wiresStem is the snare from below: the same head with inverted polarity, with
// more of the wires, which also buzz along with the kick.
func wiresStem(s stem, rate int, sc *score, n noise) {
	for i, h := range sc.snare {
		v, at, last := h.vel, int64(i)<<20, 0.0
		s.render(rate, h.at+0.0006, 0.4, func(x float64) float64 {
			at++
			w := n.at(at)
			rattle := (w - last) * math.Exp(-x/0.09) * 0.4
			last = w
			return v * (rattle - 0.6*drop(x, 185, 260, 0.01, 0.06))
		})
	}
	for i, h := range sc.kick {
		v, at := h.vel, int64(i)<<20+1<<40
		s.render(rate, h.at+0.002, 0.2, func(x float64) float64 {
			at++
			return v * 0.04 * n.at(at) * math.Exp(-x/0.05)
		})
	}
}

// metal adds a cymbal: noise without its low end, decaying.
func metal(s stem, rate int, hs []hit, dur func(hit) float64, n noise) {
	for i, h := range hs {
		v, at, decay := h.vel, int64(i)<<20, dur(h)
		var a, b float64
		s.render(rate, h.at, 6*decay, func(x float64) float64 {
			at++
			w := n.at(at)
			hp := w - 2*a + b // second difference
			a, b = w, a
			ring := math.Sin(2*math.Pi*3170*x) + math.Sin(2*math.Pi*4410*x)
			return v * math.Exp(-x/decay) * (0.12*hp + 0.05*ring)
		})
	}
}

func hatStem(s stem, rate int, sc *score, n noise) {
	metal(s, rate, sc.hat, func(h hit) float64 {
		if h.open {
			return 0.16
		}
		return 0.035
	}, n)
}

func crashStem(s stem, rate int, sc *score, n noise) {
	metal(s, rate, sc.crash, func(hit) float64 { return 0.5 }, n)
}

func tomStem(s stem, rate int, sc *score, n noise) {
	for i, h := range sc.tom {
		v, at := h.vel, int64(i)<<20
		s.render(rate, h.at, 0.7, func(x float64) float64 {
			at++
			return v * (drop(x, 78, 120, 0.05, 0.2) + 0.1*n.at(at)*math.Exp(-x/0.008))
		})
	}
}

// brighter raises everything above a frequency in Hz, by up to 1+more times, and
// scales the whole to the power that it had.
func (s stem) brighter(rate int, hz, more float64) {
	low := newLowpass(rate, hz)
	before, after := 0.0, 0.0
	for i, x := range s {
		before += float64(x) * float64(x)
		s[i] += float32(more * (float64(x) - low.next(float64(x))))
		after += float64(s[i]) * float64(s[i])
	}
	if after == 0 {
		return
	}
	g := float32(math.Sqrt(before / after))
	for i := range s {
		s[i] *= g
	}
}
