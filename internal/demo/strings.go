package demo

import "math"

// release returns the envelope of a note that is held for dur seconds: 5 ms
// in, 40 ms out.
func release(x, dur float64) float64 {
	switch {
	case x < 0.005:
		return x / 0.005
	case x > dur:
		return max(0, 1-(x-dur)/0.04)
	}
	return 1
}

// saw returns a sawtooth of the phase in turns.
func saw(phase float64) float64 { return 2*(phase-math.Floor(phase)) - 1 }

// lowpass is a one-pole low pass.
type lowpass struct{ k, y float64 }

func newLowpass(rate int, hz float64) lowpass {
	return lowpass{k: 1 - math.Exp(-2*math.Pi*min(hz, 0.45*float64(rate))/float64(rate))}
}

func (l *lowpass) next(x float64) float64 {
	l.y += l.k * (x - l.y)
	return l.y
}

func bassStem(s stem, rate int, sc *score, _ noise) {
	for _, n := range sc.bass {
		s.render(rate, n.at, n.dur+0.04, func(x float64) float64 {
			w := 2 * math.Pi * n.freq * x
			// The upper partials of a plucked string decay first.
			y := math.Sin(w) + 0.5*math.Exp(-x/0.5)*math.Sin(2*w) +
				0.3*math.Exp(-x/0.25)*math.Sin(3*w) + 0.2*math.Exp(-x/0.12)*math.Sin(5*w)
			return n.vel * y * math.Exp(-x/1.2) * release(x, n.dur)
		})
	}
}

// guitarStem is a driven amplifier: fifths where the note is a chord, through a
// bent transfer curve and a loudspeaker that cuts the highs.
func guitarStem(s stem, rate int, notes []note) {
	for _, n := range notes {
		one, two := newLowpass(rate, 2800), newLowpass(rate, 4200)
		decay := 0.18
		if n.long {
			decay = 1.5
		}
		s.render(rate, n.at, n.dur+0.04, func(x float64) float64 {
			p := n.freq * x
			in := saw(p) + 0.8*saw(1.498*p) + 0.5*saw(2.003*p)
			in *= math.Exp(-x/decay) * 1.4
			return n.vel * two.next(one.next(math.Tanh(in))) * release(x, n.dur)
		})
	}
}

func guitarLStem(s stem, rate int, sc *score, _ noise) { guitarStem(s, rate, sc.guitarL) }
func guitarRStem(s stem, rate int, sc *score, _ noise) { guitarStem(s, rate, sc.guitarR) }

// keysStem is an electric piano: one sine modulates another's phase, less and
// less.
func keysStem(s stem, rate int, sc *score, _ noise) {
	for _, n := range sc.keys {
		s.render(rate, n.at, n.dur+0.04, func(x float64) float64 {
			w := 2 * math.Pi * n.freq * x
			bend := 1.1 * math.Exp(-x/0.3) * math.Sin(w)
			return n.vel * math.Sin(w+bend) * math.Exp(-x/1.1) * release(x, n.dur)
		})
	}
}
