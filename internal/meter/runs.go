package meter

import (
	"cmp"
	"math"
	"slices"
)

// MaxEvents is the number of events of each kind that are kept of a part: the
// longest, and of equal ones the earlier. A track that clips for an hour, or
// 16-bit near-silence, has more runs than any person reads; the counts of the
// blocks stay complete.
const MaxEvents = 128

const (
	// minZeroRun is the length in samples of the shortest run of zeros that is
	// an event: 0.7 ms at 48 kHz, below a packet of any network audio stream,
	// above what sounds leave by chance. Common practice, no source.
	minZeroRun = 32

	// besideZeros is the distance in samples from a zero run within which its
	// signal must lie, and signalBeside the signal's least magnitude: 16 steps
	// of 16 bit, -66 dBFS. A smooth wave that rests on zero for minZeroRun
	// samples changes by less than 1/32 step a sample there, so it is at most 3
	// steps away after 64. A dithered floor is as small. A cut is larger.
	besideZeros  = 64
	signalBeside = 16. / (1 << 15)

	// minFlatTop is the length in samples of the shortest flat top, and
	// flatTopFloor the magnitude below which none is searched, -30 dBFS: a
	// circuit out of headroom is not quiet. Common practice, no source.
	minFlatTop   = 4
	flatTopFloor = 0.0316227766

	// flatCorner, in steps of 16 bit (of 8 bit for 8-bit samples), is how far
	// the wave must have fallen on both sides, two samples beyond a flat top. A
	// round top that rests within half a step for four samples has fallen by 3
	// steps there. One of fourth order (a sine with just so much of its third
	// harmonic) has fallen by 15. In the longer shapes (below), a step of
	// rounding included, the two have fallen by 8 and 18 for eight samples, and
	// by 15 and 23 for sixteen.
	flatCorner = 32
)

// flatShapes define "flat": the largest difference between the samples of a top,
// and their least number. Noise added after the clipping circuit lies on a flat
// top: 24-bit converters leave it within half a step of 16 bit, 16-bit samples
// with the usual dither (triangular, of two steps) within two, and a preamp's
// hiss of -92 dBFS mostly within eight. A round top is longer the wider its
// tolerance, so wider shapes need more frames.
var flatShapes = [...]struct {
	tolerance float64
	frames    int64
}{{1. / (1 << 16), minFlatTop}, {2. / (1 << 15), 8}, {flatTolerance, 16}}

// flatTolerance is the widest of flatShapes: eight steps of 16 bit.
const flatTolerance = 8. / (1 << 15)

// A coupling capacitor, or a converter's filter, after the clipping circuit lets
// flat tops sink towards zero. For the length of a top that is a line: it sinks
// by 2 pi f / rate of its height a frame, for a corner at f (2 steps of 16 bit
// at half of full scale and 1 Hz). So a top may slope by up to flatTolerance a
// frame, if enough frames lie within slopeTolerance of a line.
const (
	slopeTolerance = flatTolerance / 2
	slopeFrames    = 16
)

// flatBend is a second difference that the wave has at a flat top's beginning.
// It falls by flatCorner steps over two frames before the top, and by at most
// flatTolerance over the first frame of the top. So one of the two bends there
// is at least a third of 32-16 steps. The bound is a little lower.
const flatBend = 5. / (1 << 15)

// run is a run of samples that has not ended yet.
type run struct {
	open   bool
	start  int64   // position
	level  float64 // clip: largest magnitude; zero: largest magnitude before
	lo, hi float64 // flat: smallest and largest sample
}

// findRuns finds the events that start, continue or end in a block.
func (m *Meter) findRuns(c *channel, b span, s sums) {
	if c.clip.open || s.peak >= m.cfg.ClipLevel {
		m.findClips(c, 0, b.frames, b.base)
	}
	if c.zero.open || s.zeros > 0 {
		m.findZeros(c, 0, b.frames, b.base)
	}
	if open := c.flat.open(); open || s.flat {
		from := 0
		if !open {
			from = beforeFlatTop(c, 0)
		}
		m.findFlatTops(c, from, b.frames, b.base)
	}
}

// findClips follows runs at full scale through frames [from, to) of the block
// that starts at base.
func (m *Meter) findClips(c *channel, from, to int, base int64) {
	for i := from; i < to; i++ {
		v := math.Abs(c.buf[history+i])
		switch {
		case v < m.cfg.ClipLevel:
			if c.clip.open {
				m.closeClip(c, base+int64(i))
			}
		case !c.clip.open:
			c.clip = run{open: true, start: base + int64(i), level: v}
		case v > c.clip.level:
			c.clip.level = v
		}
	}
}

func (m *Meter) closeClip(c *channel, end int64) {
	c.clip.open = false
	if end-c.clip.start >= int64(m.cfg.ClipRun) {
		m.report(c, ClipRun, c.clip.start, end, c.clip.level)
	}
}

// findZeros does the same for runs of zeros.
func (m *Meter) findZeros(c *channel, from, to int, base int64) {
	for i := from; i < to; i++ {
		if (c.buf[history+i] == 0) == c.zero.open {
			continue
		}
		at := history + i
		if c.zero.open {
			m.closeZeros(c, base+int64(i), peak(c.buf[at:][:besideZeros]), false)
			continue
		}
		c.zero = run{open: true, start: base + int64(i), level: peak(c.buf[at-besideZeros : at])}
	}
}

// closeZeros ends a zero run. A run that continues beyond the input of this
// part, before or after, is always kept: Join sees the whole of it.
func (m *Meter) closeZeros(c *channel, end int64, after float64, goesOn bool) {
	c.zero.open = false
	cameFrom := c.zero.start == 0 && m.cfg.RunUp > 0
	level := max(c.zero.level, after)
	if end-c.zero.start >= minZeroRun && (level >= signalBeside || cameFrom || goesOn) {
		m.report(c, ZeroRun, c.zero.start, end, level)
	}
}

// flat is a flat top that has not ended yet, in each of flatShapes and as a
// sloping one.
type flat struct {
	runs  [len(flatShapes)]run
	slope slope
	told  int64 // position of the end of the last flat top
}

// slope is a run of samples along a line from top towards zero.
type slope struct {
	open        bool
	start       int64   // position
	top         float64 // the first sample
	least, most float64 // of the lines that hold all samples: rise of the magnitude a frame
}

func (f *flat) open() bool {
	open := f.slope.open
	for i := range f.runs {
		open = open || f.runs[i].open
	}
	return open
}

// findFlatTops does the same for flat tops.
func (m *Meter) findFlatTops(c *channel, from, to int, base int64) {
	open := c.flat.open()
	for i := from; i < to; i++ {
		// The look-ahead always holds the next sample.
		v, next := c.buf[history+i], c.buf[history+i+1]
		begins := math.Abs(next-v) <= flatTolerance && math.Abs(v) >= flatTopFloor &&
			m.falls(v, c.buf[history+i-1], c.buf[history+i-2])
		if !open && !begins {
			continue
		}
		at := base + int64(i)
		for k := range c.flat.runs {
			f, tolerance := &c.flat.runs[k], flatShapes[k].tolerance
			if f.open {
				lo, hi := min(f.lo, v), max(f.hi, v)
				if hi-lo <= tolerance {
					f.lo, f.hi = lo, hi
					continue
				}
				m.closeFlatTop(c, k, at, v, next)
			}
			if begins && math.Abs(next-v) <= tolerance {
				*f = run{open: true, start: at, lo: v, hi: v}
			}
		}
		if s := &c.flat.slope; s.open && !s.goesOn(at, v) {
			m.closeSlope(c, at, v, next)
		}
		if s := &c.flat.slope; begins && !s.open {
			*s = slope{open: true, start: at, top: v, least: -flatTolerance}
		}
		open = c.flat.open()
	}
}

// goesOn reports whether the next sample, too, lies on one of the lines.
func (s *slope) goesOn(at int64, v float64) bool {
	n, rise := float64(at-s.start), math.Copysign(1, s.top)*v-math.Abs(s.top)
	least, most := max(s.least, (rise-slopeTolerance)/n), min(s.most, (rise+slopeTolerance)/n)
	if least > most {
		return false
	}
	s.least, s.most = least, most
	return true
}

// closeSlope ends a sloping flat top; the wave must leave its line as sharply as
// it leaves the level of others.
func (m *Meter) closeSlope(c *channel, end int64, next, afterNext float64) {
	s := &c.flat.slope
	s.open = false
	n, top, sign := end-s.start, math.Abs(s.top), math.Copysign(1, s.top)
	slant := (s.least + s.most) / 2
	line := top + slant*float64(n)
	if n < slopeFrames || n > int64(m.block/2) || line < top/2 || s.start < c.flat.told || top >= m.cfg.ClipLevel ||
		!m.falls(line, sign*next, sign*afterNext-slant) {
		return
	}
	c.flat.told = end
	m.report(c, FlatTop, s.start, end, top)
}

// beforeFlatTop returns where the search for flat tops starts if the steps from
// frame on may belong to one: early enough, but not just inside a run.
func beforeFlatTop(c *channel, frame int) int {
	from := frame - minFlatTop
	if math.Abs(c.buf[history+from]-c.buf[history+from-1]) <= flatTolerance {
		from++
	}
	return from
}

// falls reports whether a wave at top falls from there straight and sharply
// towards zero.
func (m *Meter) falls(top, next, afterNext float64) bool {
	if top < 0 {
		top, next, afterNext = -top, -next, -afterNext
	}
	step := max(1./(1<<15), 1-m.cfg.Type.fullScale())
	return next < top && afterNext <= top-flatCorner*step
}

func (m *Meter) closeFlatTop(c *channel, k int, end int64, next, afterNext float64) {
	f := &c.flat.runs[k]
	f.open = false
	n := end - f.start
	// Half a block is half a wave of 10 Hz: a longer stretch is no top.
	if n < flatShapes[k].frames || n > int64(m.block/2) || f.start < c.flat.told {
		return
	}
	top := f.hi
	if top < 0 {
		top = f.lo
	}
	level := math.Abs(top)
	if level >= m.cfg.ClipLevel || !m.falls(top, next, afterNext) {
		return
	}
	c.flat.told = end
	m.report(c, FlatTop, f.start, end, level)
}

// closeRuns ends open runs at the end of the input. A flat top without an end is
// dropped.
func (m *Meter) closeRuns(c *channel) {
	if c.clip.open {
		m.closeClip(c, m.base)
	}
	if c.zero.open {
		m.closeZeros(c, m.base, 0, m.base > m.end)
	}
}

// report counts a run in the blocks that it lies in. It keeps the run as an
// event, as far as it lies in the part.
func (m *Meter) report(c *channel, kind EventKind, start, end int64, level float64) {
	runUp := int64(m.cfg.RunUp)
	start, end = max(start, runUp), min(end, m.end)
	if start >= end {
		return
	}
	c.found.add(Event{
		Kind:   kind,
		Start:  m.cfg.First + start - runUp,
		Frames: end - start,
		Level:  float32Above(level),
	})
	for start < end {
		i := (start - runUp) / int64(m.block)
		to := min(end, runUp+(i+1)*int64(m.block))
		switch kind {
		case ClipRun:
			c.blocks[i].Clipped += uint16(to - start)
		case FlatTop:
			c.blocks[i].Flat += uint16(to - start)
		case Crack:
			c.blocks[i].Cracks++
		}
		start = to
	}
}

// eventList keeps the longest events of each kind.
type eventList [lastKind][]Event

func newEventList() eventList {
	var l eventList
	for i := range l {
		l[i] = make([]Event, 0, 2*MaxEvents)
	}
	return l
}

func (l *eventList) add(e Event) {
	kept := &l[e.Kind-1]
	if len(*kept) == cap(*kept) {
		*kept = longest(*kept)
	}
	*kept = append(*kept, e)
}

func longest(events []Event) []Event {
	slices.SortFunc(events, func(a, b Event) int {
		return cmp.Or(cmp.Compare(b.Frames, a.Frames), cmp.Compare(a.Start, b.Start))
	})
	return events[:min(len(events), MaxEvents)]
}

// events returns the kept events, in order.
func (l *eventList) events() []Event {
	var all []Event
	for _, kept := range l {
		all = append(all, longest(kept)...)
	}
	slices.SortFunc(all, byPlace)
	return all
}

func byPlace(a, b Event) int {
	return cmp.Or(cmp.Compare(a.Start, b.Start), cmp.Compare(a.Kind, b.Kind))
}
