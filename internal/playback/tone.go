package playback

import "math"

// tone is what the pull plays instead of the program: a steady tone on some
// outputs, or counted beeps. It is immutable once published.
type tone struct {
	amp   float32
	hz    float64
	on    []bool // steady, one an output; nil for beeps
	beeps []beep
	end   int64 // frame at which the walk ends
}

// beep is one beep of the walk on an output.
type beep struct {
	output      int // from 0
	from, until int64
	hz          float64
}

// toneHead is used by the pull only.
type toneHead struct {
	playing *tone
	frame   int64
	beep    int
	phase   float64 // turns, below 1
	amp     float32 // present amplitude of the ramp, 0 to 1
}

// The walk counts: a long low beep for every ten, a short high one for every
// unit, so that the assistant at the desk can identify the output by ear.
// Lengths in seconds; tenths of a second can be distinguished and counted (our
// choice).
const (
	tenBeepS, unitBeepS = 0.45, 0.12
	betweenBeepsS       = 0.13
	betweenOutputsS     = 0.9
	tenHz               = 500
	toneRampS           = 0.005
	steadyRampS         = 0.050
)

// newWalk counts through outputs first to last, from 1.
func newWalk(rate, first, last int, db, hz float64) *tone {
	t := &tone{amp: amplitude(db), hz: hz}
	at := 0.3
	for o := first; o <= last; o++ {
		for range o / 10 {
			t.beep(rate, o, at, tenBeepS, tenHz)
			at += tenBeepS + betweenBeepsS
		}
		if o >= 10 {
			at += betweenBeepsS
		}
		for range o % 10 {
			t.beep(rate, o, at, unitBeepS, hz)
			at += unitBeepS + betweenBeepsS
		}
		at += betweenOutputsS
	}
	t.end = int64(at * float64(rate))
	return t
}

func (t *tone) beep(rate, output int, at, long, hz float64) {
	t.beeps = append(t.beeps, beep{output - 1, int64(at * float64(rate)), int64((at + long) * float64(rate)), hz})
}

// playTone adds the tone to silence.
func (e *Engine) playTone(h *head, dst []float32, channels int) {
	t := &h.tone
	if want := e.tone.Load(); want != t.playing && t.amp == 0 {
		t.playing, t.frame, t.beep, t.phase = want, 0, 0, 0
	}
	if t.playing == nil {
		return
	}
	off := e.toneOff.Load() || e.tone.Load() != t.playing
	step := 1 / float32(steadyRampS*float64(e.rate))
	up := float32(math.Pow(10, RiseDBPerS/20/float64(e.rate)))
	for ; len(dst) > 0; dst = dst[channels:] {
		switch {
		case off:
			t.amp = max(0, t.amp-step)
		case t.playing.on == nil: // beeps have their own edges
			t.amp = 1
		case t.amp < opening:
			t.amp = min(opening, t.amp+step*opening)
		default:
			t.amp = min(1, t.amp*up)
		}
		if t.playing.on != nil {
			x := t.playing.amp * t.amp * t.sine(t.playing.hz, e.rate)
			for o, on := range t.playing.on {
				if on {
					dst[o] += x
				}
			}
			continue
		}
		e.count(t, dst)
	}
	if t.amp == 0 && off || t.playing.beeps != nil && t.frame >= t.playing.end {
		e.tone.CompareAndSwap(t.playing, nil)
		t.playing, t.amp = nil, 0
		e.toneAt.Store(0)
	}
}

// count plays one frame of the walk.
func (e *Engine) count(t *toneHead, row []float32) {
	beeps := t.playing.beeps
	if t.beep < len(beeps) && t.frame >= beeps[t.beep].until {
		t.beep++
		t.phase = 0
	}
	if t.beep < len(beeps) {
		b := &beeps[t.beep]
		if t.frame == b.from {
			e.toneAt.Store(int32(b.output + 1))
		}
		if t.frame >= b.from {
			ramp := toneRampS * float64(e.rate)
			edge := min(1, float64(t.frame-b.from)/ramp, float64(b.until-t.frame)/ramp)
			row[b.output] += t.playing.amp * t.amp * float32(edge) * t.sine(b.hz, e.rate)
		}
	}
	t.frame++
}

// sine returns the next sample of a sine of peak 1.
func (t *toneHead) sine(hz float64, rate int) float32 {
	x := math.Sin(2 * math.Pi * t.phase)
	t.phase += hz / float64(rate)
	if t.phase >= 1 {
		t.phase--
	}
	return float32(x)
}
