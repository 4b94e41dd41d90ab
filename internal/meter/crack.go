package meter

import "math"

const (
	// crackReach is how far, in tiles, a crack is compared with what is around
	// it: 1.7 ms to either side at 48 kHz. The two tiles beside it are left out,
	// for a break may ring into them.
	crackReach = 5
	crackApart = 2
	// crackRatio is how sharply a wave must bend at a crack, against the mean of
	// the tiles around it. Noise reaches 2, the start of a stroke less, since it
	// goes on bending (an estimate from white noise and sampled drums).
	crackRatio = 6
	// crackSharp is how large the bend must be against all that the wave moves by
	// within crackNear samples: a break that went through a converter's filter
	// (0.43 of the rate) has about 0.7, a blow on a drum or a string, and what comes
	// out of a loudspeaker, about 0.2 or less. Estimates; no source.
	crackSharp = 0.4
	crackNear  = 9
	// crackFloor is the least bend of a crack, -54 dBFS: what is less is heard
	// by nobody beside a show. Common practice, no source.
	crackFloor = 0.002
)

// around is the number of tiles that a crack is compared with.
const around = 2 * (crackReach - crackApart + 1)

// bend returns the largest second difference of the samples of a tile, which
// begins at frame from, and the frame where it is. wave gives the samples of
// the block.
func bend(wave func(frame int) float64, from int) (largest float64, at int) {
	a, b := wave(from-2), wave(from-1)
	for i := from; i < from+tileFrames; i++ {
		c := wave(i)
		if d := math.Abs((c - b) - (b - a)); d > largest {
			largest, at = d, i
		}
		a, b = b, c
	}
	return largest, at
}

// isCrack reports whether tile i breaks off the wave: it bends there as it does
// nowhere around. at is the frame where it does.
func isCrack(wave func(frame int) float64, i int) (largest float64, at int, ok bool) {
	largest, at = bend(wave, i*tileFrames)
	if largest < crackFloor {
		return 0, 0, false
	}
	// Few waves that bend sharply also move by no more than that; so this first.
	lo, hi := wave(at-1), wave(at-1)
	for i := at - 1 - crackNear; i < at+crackNear; i++ {
		lo, hi = min(lo, wave(i)), max(hi, wave(i))
	}
	if largest < crackSharp*(hi-lo) {
		return 0, 0, false
	}
	sum := 0.0
	for d := crackApart; d <= crackReach; d++ {
		before, _ := bend(wave, (i-d)*tileFrames)
		after, _ := bend(wave, (i+d)*tileFrames)
		sum += before + after
	}
	if largest*around < crackRatio*sum {
		return 0, 0, false
	}
	if before, _ := bend(wave, (i-1)*tileFrames); before > largest {
		return 0, 0, false
	}
	if after, _ := bend(wave, (i+1)*tileFrames); after >= largest {
		return 0, 0, false
	}
	return largest, at, true
}

// mayCrack tells from the stretches of two tiles whether a tile is worth a look.
// The stretches two before and two after lie whole among the tiles that it is
// compared with, so their bends are part of the sum that it must stand above.
func (m *Meter) mayCrack(i int) bool {
	last := len(m.stretches) - 2 // of the block; it may be longer than two tiles
	s := min(1+i*tileFrames/peakRun, last)
	here := math.Float64frombits(m.stretches[s].bend)
	if here < crackFloor {
		return false
	}
	if s-2 < 1 || s+2 >= last {
		return true
	}
	before, after := math.Float64frombits(m.stretches[s-2].bend), math.Float64frombits(m.stretches[s+2].bend)
	return here*around >= crackRatio*(before+after)
}

// findCracks looks through all tiles of a block but those near its ends, which
// lack what they would be compared with.
func (m *Meter) findCracks(c *channel, b span) {
	if !b.reported {
		return
	}
	wave := func(frame int) float64 { return c.buf[history+frame] }
	for i := crackReach; i < b.frames/tileFrames-crackReach; i++ {
		if !m.mayCrack(i) {
			continue
		}
		if level, at, ok := isCrack(wave, i); ok {
			m.report(c, Crack, b.base+int64(at), b.base+int64(at)+1, level)
		}
	}
}

// findCracksByTile does the same where the kernel has found the bends. Those
// are a trifle too large, so what they rule out is none, and what they do not
// is looked at again, sample by sample.
func (m *Meter) findCracksByTile(c *channel, b span, g *group, lane int) {
	if !b.reported || g.lanes.crack[lane] == 0 {
		return
	}
	wave := func(frame int) float64 { return m.at(g, history+frame, lane) }
	for i, count := crackReach, b.frames/tileFrames; i < count-crackReach; i++ {
		if g.lanes.crack[lane]>>(i>>m.plan.markShift)&1 == 0 {
			i |= 1<<m.plan.markShift - 1
			continue
		}
		if m.tiles[1+i].flat[lane]&crackMark == 0 {
			continue
		}
		if level, at, ok := isCrack(wave, i); ok {
			m.report(c, Crack, b.base+int64(at), b.base+int64(at)+1, level)
		}
	}
}
