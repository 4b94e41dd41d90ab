package demo

import "math"

// damage holds the faults of one track. Frames are those of the show, which
// starts with the main recording; a zero value means no damage.
type damage struct {
	silentFrom int64   // only noise from here on; -1 = never
	ceiling    float64 // magnitude at which tops are flat; 0 = none
	offset     float64 // DC, as a fraction of full scale
	zeros      []span  // dropouts
	ends       int64   // the file stops here; -1 = it does not

	// What is added to the preamp's input, or done by it, from the start of the
	// show on.
	hum      []float64 // a period of it, repeated
	cracks   []crack   // of a bad contact, in order
	turned   float64   // factor on the whole signal from turnedAt on; 0 = never
	turnedAt int64
	reversed bool // in polarity
	carries  int  // the channel whose signal comes here instead; -1 = its own
}

// span is a stretch of frames, the last one excluded.
type span struct{ from, to int64 }

func noDamage() damage { return damage{silentFrom: -1, ends: -1, carries: -1} }

// crack is one break of a bad contact: the samples that it adds from a frame on.
type crack struct {
	at   int64
	wave []float64
}

// track makes the samples of one track of one rig. Between blocks it keeps only
// its counters.
type track struct {
	number, channel int
	stems           *[nSources]stem
	feeds           []feed
	preamp          noise   // the same for all rigs: the split is behind it
	floor           float64 // RMS of the preamp's noise
	converter       noise
	converterFloor  float64
	shot            shot
	damage          damage
	top             float64 // the largest sample value, as a fraction

	full, flat counter
}

// shot makes one stroke just reach the converter's top: the samples around frame
// at are raised smoothly by up to factor.
type shot struct {
	at, width int64
	factor    float64
}

// gain returns the factor at a frame.
func (s shot) gain(frame int64) float64 {
	d := frame - s.at
	if d < -s.width || d > s.width {
		return 1
	}
	return 1 + (s.factor-1)*0.5*(1+math.Cos(math.Pi*float64(d)/float64(s.width)))
}

// counter records where a condition held, and for how many samples in runs of
// three or more.
type counter struct {
	first, last int64 // frames, of such runs
	samples     int
	run         int
}

// see processes the next frame.
func (c *counter) see(frame int64, hit bool) {
	if !hit {
		c.run = 0
		return
	}
	c.run++
	switch {
	case c.run == 3:
		if c.samples == 0 {
			c.first = frame - 2
		}
		c.samples += 3
		c.last = frame
	case c.run > 3:
		c.samples++
		c.last = frame
	}
}

// fill writes the frames from start on to dst. Blocks must come in order.
func (t *track) fill(dst []float64, start int64) {
	clear(dst)
	for _, f := range t.feeds {
		s := t.stems[f.source]
		from := start - int64(f.delay)
		for i := max(0, -from); i < int64(len(dst)) && from+i < int64(len(s)); i++ {
			dst[i] += f.gain * float64(s[from+i])
		}
	}
	crackling := t.damage.crackling(start, len(dst))
	for i := range dst {
		frame := start + int64(i)
		x := dst[i]
		if t.damage.silentFrom >= 0 && frame >= t.damage.silentFrom {
			x = 0
		}
		if t.shot.factor != 0 {
			x *= t.shot.gain(frame)
		}
		if c := t.damage.ceiling; c > 0 {
			t.flat.see(frame, math.Abs(x) >= c)
			x = max(-c, min(c, x))
		}
		x += t.floor * t.preamp.at(frame)
		if h := t.damage.hum; h != nil {
			x += h[frame%int64(len(h))]
		}
		if g := t.damage.turned; g != 0 && frame >= t.damage.turnedAt {
			x *= g
		}
		if t.damage.reversed {
			x = -x
		}
		if crackling != nil {
			x += crackling[i]
		}
		x += t.converterFloor*t.converter.triangle(frame) + t.damage.offset
		t.full.see(frame, x >= t.top || x <= -t.top)
		dst[i] = x
	}
	for _, z := range t.damage.zeros {
		for f := max(z.from, start); f < min(z.to, start+int64(len(dst))); f++ {
			dst[f-start] = 0
		}
	}
}
