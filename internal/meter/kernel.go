package meter

import "math"

// steps is the number of steps in a block for the maximum momentary loudness. In
// steps of 100 ms EBU Tech 3341 test 13 reads 0.45 LU low and fails; 10 ms
// suffices for any alignment.
const steps = 10

// peakRun is the shortest stretch, in frames, for which the true-peak filter
// is run or skipped.
const peakRun = 32

// silentEnergy is the K-weighted mean square below which a block counts as 0,
// because it is rounding noise of a steady offset: -240 dB, far below the last
// bit of any integer sample.
const silentEnergy = 1e-24

// channel is the state of one track during measurement.
type channel struct {
	buf    []float64 // history, a block, look-ahead
	blocks []Block

	k      kState
	passed int // blocks filtered so far, at most 4
	// tails holds, for the last four blocks, the newest first, the K-weighted
	// energy from each step to the block's end.
	tails [4][steps + 1]float64

	clip, zero run
	flat       flat
	found      eventList
}

func newChannel(blocks int) channel {
	return channel{
		blocks: make([]Block, 0, blocks),
		found:  newEventList(),
	}
}

// span is the stretch that is measured at one time: a block, or less at an end.
type span struct {
	base     int64 // position of its first frame
	frames   int
	reported bool
}

// measure is the kernel in plain Go: it makes the record of a block from one
// channel's samples. It runs if there is no kernel in C (vector.go), and is the
// reference for those.
func (m *Meter) measure(c *channel, b span) {
	if b.base == 0 {
		c.k = m.rate.settled(c.buf[history])
	}
	s := m.levels(c.buf, b.frames)
	if b.base < m.end {
		energies := m.energies(c, b.frames, &s)
		if b.reported {
			c.blocks = append(c.blocks, newBlock(s, b.frames, m.truePeak(c.buf, b, s.peak)))
		}
		m.weigh(c, b, &energies)
	}
	m.findRuns(c, b, s)
	m.findCracks(c, b)
}

// newBlock makes the parts of a record that do not need the K filter.
func newBlock(s sums, frames int, truePeak float64) Block {
	b := Block{
		Mean:       float32(s.sum / float64(frames)),
		MeanSquare: float32(s.squares / float64(frames)),
		Zeros:      uint16(s.zeros),
		Peak:       float32Above(s.peak),
	}
	b.TruePeak = max(float32(truePeak), b.Peak)
	return b
}

// sums are the plain statistics of a block.
type sums struct {
	peak, sum, squares float64
	zeros              int
	flat               bool // a flat top may begin in the block
}

// stretch holds the figures of peakRun frames. Magnitudes are the bits of a
// float64 without its sign: they sort as the numbers do, and the processor
// compares them without branches.
type stretch struct {
	peak uint64 // largest magnitude
	bend uint64 // largest second difference that ends in the stretch
}

const sign = 1 << 63

// levels returns the block's peak and zeros, and whether a flat top may begin in
// it. It leaves in m.stretches the figures of each stretch of peakRun frames,
// with one more before and after the block. The block's last stretch may be
// longer.
func (m *Meter) levels(buf []float64, n int) sums {
	var s sums
	m.stretches = m.stretches[:0]
	before, _, _ := levels(buf[history-peakRun-2 : history])
	m.stretches = append(m.stretches, before)
	peak := uint64(0)
	for at := 0; at < n; {
		size := peakRun
		if n-at < 2*peakRun {
			size = n - at
		}
		x := buf[history+at-2 : history+at+size]
		r, least, calm := levels(x)
		if least == 0 {
			for _, v := range x[2:] {
				if v == 0 {
					s.zeros++
				}
			}
		}
		// A flat top begins with a sharp bend, at the earliest two frames before
		// its first step, and its steps are small.
		if calm <= math.Float64bits(flatTolerance) && r.peak >= math.Float64bits(flatTopFloor) {
			s.flat = s.flat || max(r.bend, before.bend) >= math.Float64bits(flatBend)
		}
		peak = max(peak, r.peak)
		m.stretches = append(m.stretches, r)
		before = r
		at += size
	}
	after, _, _ := levels(buf[history+n-2:][:peakRun+2])
	m.stretches = append(m.stretches, after)
	s.peak = math.Float64frombits(peak)
	return s
}

// levels returns the figures of x, its smallest magnitude and its smallest step.
// The first two frames of x are those before the stretch.
func levels(x []float64) (s stretch, least, calm uint64) {
	least, calm = 1<<63-1, 1<<63-1
	last, step := x[1], x[1]-x[0]
	for _, v := range x[2:] {
		size := math.Float64bits(v) &^ sign
		if size > s.peak {
			s.peak = size
		}
		if size < least {
			least = size
		}
		d := v - last
		if a := math.Float64bits(d) &^ sign; a < calm {
			calm = a
		}
		if b := math.Float64bits(d-step) &^ sign; b > s.bend {
			s.bend = b
		}
		last, step = v, d
	}
	return s, least, calm
}

// peak returns the largest magnitude.
func peak(x []float64) float64 {
	var m float64
	for _, v := range x {
		if v = math.Abs(v); v > m {
			m = v
		}
	}
	return m
}

// truePeak returns the true peak of the block whose stretches are known, at
// least the sample peak. It skips a stretch if the filter's bounds show that it
// cannot exceed the block's peak so far; that changes no result.
//
// Before the recording's first frame and after its last there is silence. The
// filter's ringing into it is at most 0.84 of the samples there (the L1 norm of
// the taps that reach them is 6807/8192), so it is not searched.
func (m *Meter) truePeak(buf []float64, b span, least float64) float64 {
	if m.factor == 1 {
		return least
	}
	for r := 1; r < len(m.stretches)-1; r++ {
		p, q, s := m.stretches[r-1], m.stretches[r], m.stretches[r+1]
		near := math.Float64frombits(max(p.peak, q.peak, s.peak))
		bend := math.Float64frombits(max(p.bend, q.bend, s.bend))
		if cannotExceed(near, bend, least) {
			continue
		}
		from := history + (r-1)*peakRun
		to := from + peakRun
		if r == len(m.stretches)-2 {
			to = history + b.frames
		}
		least = interpolated(buf, from, to, m.factor, least)
	}
	return least
}

// energies filters n frames and returns the sum of squares of each step, before
// the filter's gain. It also adds the frames to the sums in s.
func (m *Meter) energies(c *channel, n int, s *sums) (e [steps]float64) {
	at := 0
	for i := range e {
		to := min((i+1)*m.block/steps, n)
		e[i] = m.rate.energy(&c.k, c.buf[history+at:history+to], s)
		at = to
	}
	c.k.flush()
	return e
}

// weigh sets a block's K-weighted mean square, and the largest one of the 400 ms
// windows that end in it.
func (m *Meter) weigh(c *channel, b span, energies *[steps]float64) {
	var tail [steps + 1]float64
	older := c.tails[0][0] + c.tails[1][0] + c.tails[2][0]
	var sum, momentary float64
	for i := range steps {
		tail[i] = energies[i] * m.rate.gain
		sum += tail[i]
		whole := (i+1)*m.block/steps <= b.frames
		if whole && (c.passed == 4 || c.passed == 3 && i == steps-1) {
			momentary = max(momentary, sum+older+c.tails[3][i+1])
		}
	}
	for i := steps - 1; i >= 0; i-- {
		tail[i] += tail[i+1]
	}
	copy(c.tails[1:], c.tails[:3])
	c.tails[0] = tail
	c.passed = min(c.passed+1, 4)
	if b.reported {
		block := &c.blocks[len(c.blocks)-1]
		block.KMeanSquare = float32(audible(sum / float64(b.frames)))
		block.MaxMomentary = float32(audible(momentary / float64(4*m.block)))
	}
}

func audible(energy float64) float64 {
	if energy < silentEnergy {
		return 0
	}
	return energy
}

// float32Above returns the smallest float32 that is not below x.
func float32Above(x float64) float32 {
	f := float32(x)
	if float64(f) < x {
		f = math.Nextafter32(f, math.MaxFloat32)
	}
	return f
}
