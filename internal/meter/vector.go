package meter

import "math"

// kernel is a way to measure a block. All give the same bits; what the
// processor has decides how fast.
type kernel uint8

const (
	best  kernel = iota // the fastest that runs here
	plain               // kernel.go
	// The kernels in C follow; see vector_api.h.
)

// kernels returns what runs here, the fastest first, plain Go last.
func kernels() []kernel { return append(vectorKernels(), plain) }

func (k kernel) String() string {
	switch k {
	case best:
		return "best"
	case plain:
		return "plain Go"
	}
	return kernelName(k)
}

const (
	laneCount  = 8  // channels that a kernel in C measures side by side
	tileFrames = 16 // frames of a tile; at most half of minZeroRun, see findZeroRuns
)

// lanes, plan and tile are the structures of vector_api.h, which describes
// them.
type lanes struct {
	k                            [4][laneCount]float64
	peak, sum, squares, truePeak [laneCount]float64
	step                         [steps][laneCount]float64
	energy                       [laneCount]float64
	zeros, flat, hush            [laneCount]int64
}

type plan struct {
	b0, b1, b2, a1, a2, c1, c2                      float64
	subnormal                                       float64
	flatTolerance, flatFloor, flatCorner            float64
	bound, outerSum, outerRest, innerSum, innerRest float64
	lanes, apart, frames                            int64
	stepEnd                                         [steps]int64
	factor                                          int64
	weighted, reported                              int64
}

type tile struct {
	peak, near, bend [laneCount]float64
	flat             [laneCount]int64
}

// group is up to laneCount channels that are measured side by side. Their
// buffers lie in one, those of the lanes that are left over too.
type group struct {
	first int // channel
	count int
	buf   []float64
	lanes lanes
}

// newGroups puts the buffers of the channels into groups.
func (m *Meter) newGroups() {
	frames := history + m.block + lookAhead
	m.tiles = make([]tile, (m.block+tileFrames-1)/tileFrames+2)
	for first := 0; first < len(m.channels); first += laneCount {
		g := group{first: first, count: min(laneCount, len(m.channels)-first), buf: make([]float64, laneCount*frames)}
		for i := range g.count {
			m.channels[first+i].buf = g.buf[i*frames : (i+1)*frames : (i+1)*frames]
		}
		m.groups = append(m.groups, g)
	}
	shelf := m.rate.shelf
	m.plan = plan{
		b0: shelf.b0, b1: shelf.b1, b2: shelf.b2, a1: shelf.a1, a2: shelf.a2, c1: m.rate.a1, c2: m.rate.a2,
		subnormal:     subnormal,
		flatTolerance: flatTolerance,
		flatFloor:     flatTopFloor - 2*flatTolerance,
		// A wave that falls by flatCorner steps (64 tolerances) over two frames
		// and is flat after that has a second difference of more than 16.
		flatCorner: 15 * flatTolerance,
		bound:      truePeakBound * rounding,
		outerSum:   outerSum * rounding, outerRest: outerRest * rounding,
		innerSum: innerSum * rounding, innerRest: innerRest * rounding,
		apart:  int64(frames),
		factor: int64(m.factor),
	}
}

// fillGroup does fillBuffers for one group.
func (m *Meter) fillGroup(g *group, bufs [][]byte, at, n, stride int) {
	size := m.cfg.Type.Bytes()
	apart := int(m.plan.apart)
	dst := g.buf[history+m.fill:]
	if len(bufs) == len(m.channels) {
		for i := range g.count {
			src := bufs[g.first+i][at*stride : (at+n)*stride]
			decodeVector(m.cfg.kernel, m.cfg.Type, dst[i*apart:], apart, 1, src, n, stride)
		}
		return
	}
	src := bufs[0][at*stride+g.first*size : (at+n)*stride]
	decodeVector(m.cfg.kernel, m.cfg.Type, dst, apart, g.count, src, n, stride)
}

// measureGroup does measure for the channels of a group.
func (m *Meter) measureGroup(g *group, b span) {
	p, l := &m.plan, &g.lanes
	channels := m.channels[g.first:][:g.count]
	if b.base == 0 {
		for i := range channels {
			k := m.rate.settled(channels[i].buf[history])
			l.k[0][i], l.k[1][i], l.k[2][i], l.k[3][i] = k.s1, k.s2, k.t1, k.t2
		}
	}
	p.lanes, p.frames = int64(g.count), int64(b.frames)
	p.weighted, p.reported = flag(b.base < m.end), flag(b.reported)
	for i := range p.stepEnd {
		p.stepEnd[i] = int64(min((i+1)*m.block/steps, b.frames))
	}
	measureVector(m.cfg.kernel, l, p, g.buf, history, m.tiles)
	for i := range channels {
		c := &channels[i]
		s := sums{peak: l.peak[i], sum: l.sum[i], squares: l.squares[i], zeros: int(l.zeros[i])}
		if b.reported {
			c.blocks = append(c.blocks, newBlock(s, b.frames, l.truePeak[i]))
		}
		if b.base < m.end {
			var energies [steps]float64
			for j := range energies {
				energies[j] = l.step[j][i]
			}
			m.weigh(c, b, &energies)
		}
		m.findRunsByTile(c, b, g, i)
	}
}

func flag(set bool) int64 {
	if set {
		return 1
	}
	return 0
}

// findRunsByTile does findRuns, but looks only at the tiles in which a run may
// start that is an event, and from there on until no run is open.
func (m *Meter) findRunsByTile(c *channel, b span, g *group, lane int) {
	l := &g.lanes
	tiles := m.tiles[1:][:(b.frames+tileFrames-1)/tileFrames]
	if c.clip.open || l.peak[lane] >= m.cfg.ClipLevel {
		for i := range tiles {
			if c.clip.open || tiles[i].peak[lane] >= m.cfg.ClipLevel {
				from := i * tileFrames
				m.findClips(c, from, min(from+tileFrames, b.frames), b.base)
			}
		}
	}
	switch silent := int(l.zeros[lane]) == b.frames; {
	case c.zero.open && silent: // goes on
	case c.zero.open || l.hush[lane] != 0 || c.buf[history+b.frames-1] == 0:
		m.findZerosByTile(c, b, tiles, lane)
	}
	if c.flat.open || l.flat[lane] != 0 {
		m.findFlatTopsByTile(c, b, tiles, lane)
	}
}

// A run of minZeroRun zeros fills a tile, or else reaches beyond the block's
// end; then it is open there or was open at its start.
func (m *Meter) findZerosByTile(c *channel, b span, tiles []tile, lane int) {
	done := 0 // frames looked at
	for i := range tiles {
		from := i * tileFrames
		to := min(from+tileFrames, b.frames)
		if !c.zero.open {
			if tiles[i].peak[lane] != 0 && (to < b.frames || c.buf[history+to-1] != 0) {
				continue
			}
			for from > done && c.buf[history+from-1] == 0 {
				from--
			}
		}
		m.findZeros(c, from, to, b.base)
		done = to
	}
}

// The kernel marks the tiles that a flat top may begin in, or up to two frames
// before. The sharp fall before a flat top is a step larger than the tolerance,
// which ends any run: so wherever the search takes up, it is in step with one
// that saw every frame from there on, as long as it does not take up just
// inside of a run.
func (m *Meter) findFlatTopsByTile(c *channel, b span, tiles []tile, lane int) {
	done := 0
	if !c.flat.open {
		done = -minFlatTop
	}
	for i := range tiles {
		to := min((i+1)*tileFrames, b.frames)
		from := done
		if !c.flat.open {
			if tiles[i].flat[lane] == 0 {
				continue
			}
			if first := i*tileFrames - minFlatTop; first >= done {
				from = first
				if math.Abs(c.buf[history+from]-c.buf[history+from-1]) <= flatTolerance {
					from++
				}
			}
		}
		m.findFlatTops(c, from, to, b.base)
		done = to
	}
}
