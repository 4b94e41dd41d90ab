package meter

import "math"

const (
	// crackReach is the distance, in tiles, over which a crack is compared with
	// its surroundings: 1.7 ms to either side at 48 kHz. The two tiles beside it
	// are left out, because a break may ring into them.
	crackReach = 5
	crackApart = 2
	// crackRatio is the least ratio of the bend at a crack to the mean bend of
	// the tiles around it. Noise reaches 2; the start of a stroke reaches less,
	// because it goes on bending (an estimate from white noise and sampled
	// drums).
	crackRatio = 6
	// crackSharp is the least ratio of the bend to the wave's whole range within
	// crackNear samples. A break after a converter's filter (0.43 of the rate)
	// has about 0.7. A blow on a drum or a string, and sound from a loudspeaker,
	// have about 0.2 or less. Estimates; no source.
	crackSharp = 0.4
	crackNear  = 9
	// crackFloor is the least bend of a crack, -54 dBFS: a smaller one is
	// inaudible in a show. Common practice, no source.
	crackFloor = 0.002
)

// around is the number of tiles that a crack is compared with.
const around = 2 * (crackReach - crackApart + 1)

// bend returns the largest second difference of the samples of a tile, which
// begins at frame from, and its frame. wave returns the samples of the block.
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

// isCrack reports whether the wave breaks off in tile i: it bends there far more
// sharply than anywhere around. It also returns the bend and its frame.
func isCrack(wave func(frame int) float64, i int) (largest float64, at int, ok bool) {
	largest, at = bend(wave, i*tileFrames)
	if largest < crackFloor {
		return 0, 0, false
	}
	// Few waves that bend sharply have such a small range, so this test comes
	// first.
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

// mayCrack reports, from the stretches of two tiles, whether a tile needs a
// closer look. The stretches two before and two after lie whole among the tiles
// that it is compared with, so their bends are part of the sum that the tile's
// bend must exceed.
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

// findCracks checks all tiles of a block, except those near its ends, which lack
// surroundings to compare with.
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

// findCracksByTile does the same if the kernel has computed the bends. Its bends
// are slightly too large. So a tile below the bound holds no crack, and a tile
// above it is checked again, sample by sample.
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
