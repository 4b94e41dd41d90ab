package meter

import (
	"math"
	"math/bits"
)

// kernel is an implementation of the measurement of a block. All give the same
// bits; they differ in speed and in what the processor must have.
type kernel uint8

const (
	best  kernel = iota // the fastest that runs here
	plain               // kernel.go
	// The kernels in C follow; see vector_api.h.
)

// kernels returns the kernels that run here, the fastest first, plain Go last.
func kernels() []kernel { return append(vectorKernels(), plain) }

// only is the name of the one kernel to use, if it runs here: for comparisons.
// The linker sets it, as in
//
//	go test -ldflags "-X 'nightreel/internal/meter.only=plain Go'" ./...
var only string

// fastest returns the fastest kernel here for a sample type. Samples of 64 bit,
// which no record rig writes, always use plain Go.
func fastest(t SampleType) kernel {
	if t == Float64 {
		return plain
	}
	all := kernels()
	for _, k := range all {
		if k.String() == only {
			return k
		}
	}
	return all[0]
}

// Kernels returns the names of the kernels that run here, the fastest first, and
// the one in use.
func Kernels() (names []string, used string) {
	for _, k := range kernels() {
		names = append(names, k.String())
	}
	return names, fastest(Int24).String()
}

func (k kernel) String() string {
	switch k {
	case best:
		return "best"
	case plain:
		return "plain Go"
	}
	return kernelName(k)
}

// mayBeginFlat reports whether a flat top may begin in frames [from, to) of a
// block: a small step after a sharp rise. In music the bends and calm pairs that
// the kernel marks almost never come in this order, so this check rejects nearly
// all false marks.
func (m *Meter) mayBeginFlat(g *group, lane, from, to int) bool {
	if m.cfg.Type == Float32 {
		return true
	}
	// For integers full scale is 2^31, and a step of 16 bit 2^16.
	const tolerance, corner = int64(flatTolerance * (1 << 31)), flatCorner << 16
	rows := g.rows[(history+from-2)*laneCount+lane:]
	at := func(i int) int64 { return int64(int32(rows[i*laneCount])) }
	before, last, v := at(0), at(1), at(2)
	for i := 3; i < to-from+3; i++ {
		next := at(i)
		if step := next - v; step <= tolerance && step >= -tolerance && (v-before >= corner && v > 0 || before-v >= corner && v < 0) {
			return true
		}
		before, last, v = last, v, next
	}
	return false
}

// SideBySide is the number of channels that a kernel in C measures at once: a
// meter for fewer leaves part of the processor idle.
const SideBySide = laneCount

const (
	laneCount           = 16
	flatMark, crackMark = 1, 2 // of tile.flat
	markBits            = 5    // 1 << markBits groups of tiles are distinguished by lanes.flat and lanes.crack

	tileFrames = 16 // frames of a tile; at most half of minZeroRun, see findZeroRuns

	// decodeFrames is the number of frames of an interleaved stretch that are
	// decoded for group after group: few enough to stay in the processor's inner
	// cache.
	decodeFrames = 64
)

// lanes, plan and tile mirror the structures of vector_api.h, which describes
// them.
type lanes struct {
	k                      [4][laneCount]float64
	sum, squares, truePeak [laneCount]float64
	step                   [steps][laneCount]float64
	energy                 [laneCount]float64
	peak                   [laneCount]uint32
	zeros, flat, hush      [laneCount]int32
	crack                  [laneCount]int32
}

type plan struct {
	b0, b1, b2, a1, a2, c1, c2                      float64
	subnormal                                       float64
	flatTolerance, flatFloor, flatCorner            float32
	crackFloor, crackRatio                          float32
	bound, outerSum, outerRest, innerSum, innerRest float32
	floats, lanes, frames                           int64
	stepEnd                                         [steps]int64
	factor                                          int64
	weighted, reported                              int64
	markShift                                       int64
}

type tile struct {
	peak, bend, near, bound [laneCount]float32
	flat                    [laneCount]int32
}

// group is up to laneCount channels that are measured side by side. Its rows
// hold a word for each lane, unused lanes included: history, a block,
// look-ahead.
type group struct {
	first int // channel
	count int
	rows  []uint32
	lanes lanes
}

// newGroups puts the channels into groups.
func (m *Meter) newGroups() {
	frames := history + m.block + lookAhead
	m.tiles = make([]tile, (m.block+tileFrames-1)/tileFrames+2)
	m.unrolled = make([]float64, frames)
	for first := 0; first < len(m.channels); first += laneCount {
		count := min(laneCount, len(m.channels)-first)
		m.groups = append(m.groups, group{first: first, count: count, rows: make([]uint32, laneCount*frames)})
	}
	m.handed = make([][]uint32, len(m.groups))
	// The kernels compute in words; for integers full scale is 2^31.
	m.scale = 1
	if m.cfg.Type != Float32 {
		m.scale = 1. / (1 << 31)
	}
	const (
		more = 1 + 1e-5 // margins for values in single precision
		less = 1 - 1e-5
	)
	shelf := m.rate.shelf
	m.plan = plan{
		b0: shelf.b0, b1: shelf.b1, b2: shelf.b2, a1: shelf.a1, a2: shelf.a2, c1: m.rate.a1, c2: m.rate.a2,
		subnormal: subnormal / m.scale,
		// Samples of up to 1 have a rounding error of 2^-25 in single precision.
		flatTolerance: float32((flatTolerance + 1./(1<<22)) / m.scale),
		flatFloor:     float32((flatTopFloor - 2*flatTolerance) * less / m.scale),
		flatCorner:    float32(flatBend / m.scale),
		crackFloor:    float32(crackFloor * less / m.scale),
		crackRatio:    crackRatio * less / around,
		bound:         truePeakBound * more,
		outerSum:      outerSum * more, outerRest: outerRest * more,
		innerSum: innerSum * more, innerRest: innerRest * more,
		floats: flag(m.cfg.Type == Float32),
		factor: int64(m.factor),
	}
}

// Rows are frames of all channels, SideBySide of them side by side.
type Rows struct {
	At     int64 // frame, counted from the first that was written
	Frames int
	// Words holds, for each SideBySide channels, a row of as many words for each
	// frame; the words of missing channels are undefined. A word is an integer
	// sample left-justified in 32 bits, or a float's bits, made finite. They are
	// overwritten after the call returns.
	Words  [][]uint32
	Floats bool
}

// Decodes reports whether the meter calls [Config.Rows].
func (m *Meter) Decodes() bool { return m.groups != nil && m.cfg.Rows != nil }

// fillGroups does fillBuffers for the groups.
func (m *Meter) fillGroups(bufs [][]byte, at, n, stride int) {
	size := m.cfg.Type.Bytes()
	row := (history + m.fill) * laneCount
	if len(bufs) == len(m.channels) && m.cfg.Of == 0 {
		for i := range m.groups {
			g := &m.groups[i]
			decodeMono(m.cfg.kernel, m.cfg.Type, g.rows[row:], bufs[g.first:][:g.count], at*size, n)
		}
	} else {
		for from := 0; from < n; from += decodeFrames {
			count := min(decodeFrames, n-from)
			for i := range m.groups {
				g := &m.groups[i]
				src := bufs[0][(at+from)*stride+g.first*size : min((at+n)*stride, len(bufs[0]))]
				decodeInterleaved(m.cfg.kernel, m.cfg.Type, g.rows[row+from*laneCount:], g.count, src, count, stride)
			}
		}
	}
	if m.cfg.Rows == nil {
		return
	}
	for i := range m.groups {
		m.handed[i] = m.groups[i].rows[row:][:n*laneCount]
	}
	m.cfg.Rows(Rows{At: m.base + int64(m.fill), Frames: n, Words: m.handed, Floats: m.cfg.Type == Float32})
}

// at returns a sample of a group as a fraction of full scale.
func (m *Meter) at(g *group, frame, lane int) float64 {
	w := g.rows[frame*laneCount+lane]
	if m.cfg.Type == Float32 {
		return float64(math.Float32frombits(w))
	}
	return float64(int32(w)) * m.scale
}

// unroll copies a stretch of one channel of a group to the position that it has
// in a channel's buf.
func (m *Meter) unroll(g *group, lane, from, to int) {
	rows := g.rows[from*laneCount+lane:]
	if m.cfg.Type == Float32 {
		for i := range m.unrolled[from:to] {
			m.unrolled[from+i] = float64(math.Float32frombits(rows[i*laneCount]))
		}
		return
	}
	for i := range m.unrolled[from:to] {
		m.unrolled[from+i] = float64(int32(rows[i*laneCount])) * m.scale
	}
}

// measureGroup does measure for the channels of a group.
func (m *Meter) measureGroup(g *group, b span) {
	p, l := &m.plan, &g.lanes
	channels := m.channels[g.first:][:g.count]
	if b.base == 0 {
		for i := range channels {
			k := m.rate.settled(m.at(g, history, i) / m.scale)
			l.k[0][i], l.k[1][i], l.k[2][i], l.k[3][i] = k.s1, k.s2, k.t1, k.t2
		}
	}
	p.lanes, p.frames = int64(g.count), int64(b.frames)
	p.weighted, p.reported = flag(b.base < m.end), flag(b.reported)
	p.markShift = int64(max(0, bits.Len(uint(b.frames-1)/tileFrames)-markBits))
	for i := range p.stepEnd {
		p.stepEnd[i] = int64(min((i+1)*m.block/steps, b.frames))
	}
	measureVector(m.cfg.kernel, l, p, g.rows, history, m.tiles)
	for i := range channels {
		c := &channels[i]
		s := sums{
			peak:    float64(l.peak[i]) * m.scale,
			sum:     l.sum[i] * m.scale,
			squares: l.squares[i] * m.scale * m.scale,
			zeros:   int(l.zeros[i]),
		}
		if m.cfg.Type == Float32 {
			s.peak = float64(math.Float32frombits(l.peak[i]))
		}
		if b.reported {
			c.blocks = append(c.blocks, newBlock(s, b.frames, l.truePeak[i]*m.scale))
		}
		if b.base < m.end {
			var energies [steps]float64
			for j := range energies {
				energies[j] = l.step[j][i] * m.scale * m.scale
			}
			m.weigh(c, b, &energies)
		}
		m.findRunsByTile(c, b, g, i, s)
		m.findCracksByTile(c, b, g, i)
	}
}

func flag(set bool) int64 {
	if set {
		return 1
	}
	return 0
}

// findRunsByTile does findRuns, but only from tiles in which a run may start
// that is an event, and from there on until no run is open.
func (m *Meter) findRunsByTile(c *channel, b span, g *group, lane int, s sums) {
	l := &g.lanes
	tiles := m.tiles[1:][:(b.frames+tileFrames-1)/tileFrames]
	clips := c.clip.open || s.peak >= m.cfg.ClipLevel
	zeros := c.zero.open || l.hush[lane] != 0 || m.at(g, history+b.frames-1, lane) == 0
	if c.zero.open && s.zeros == b.frames {
		zeros = false // the run continues
	}
	flats := c.flat.open() || l.flat[lane] != 0
	if !clips && !zeros && !flats {
		return
	}
	c.buf = m.unrolled // unroll fills it in before it is read
	if clips {
		level := float32(m.cfg.ClipLevel / m.scale * (1 - 1e-6)) // a tile's peak is rounded
		for i := range tiles {
			if c.clip.open || tiles[i].peak[lane] >= level {
				from := i * tileFrames
				to := min(from+tileFrames, b.frames)
				m.unroll(g, lane, history+from, history+to)
				m.findClips(c, from, to, b.base)
			}
		}
	}
	if zeros {
		m.unroll(g, lane, 0, history+b.frames+besideZeros)
		m.findZerosByTile(c, b, tiles, lane)
	}
	if flats {
		m.findFlatTopsByTile(c, b, g, lane)
	}
}

// A run of minZeroRun zeros fills a tile, or else reaches beyond the block's
// end; then it is open at the block's end or was open at its start.
func (m *Meter) findZerosByTile(c *channel, b span, tiles []tile, lane int) {
	done := 0 // frames already searched
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

// The kernel marks the tiles that a flat top may begin in, up to two frames
// early. The sharp fall before a flat top is a step larger than the tolerance,
// which ends any run. So a search that starts anywhere, except just inside a
// run, finds the same tops as one over all frames.
func (m *Meter) findFlatTopsByTile(c *channel, b span, g *group, lane int) {
	done := 0
	if !c.flat.open() {
		done = -minFlatTop
	}
	const reach = 2 // frames read beyond those that are searched
	for i, count := 0, (b.frames+tileFrames-1)/tileFrames; i < count; i++ {
		to := min((i+1)*tileFrames, b.frames)
		from := done
		if c.flat.open() {
			m.unroll(g, lane, history+from-reach, history+to+reach)
		} else {
			if g.lanes.flat[lane]>>(i>>m.plan.markShift)&1 == 0 {
				i |= 1<<m.plan.markShift - 1
				continue
			}
			if m.tiles[1+i].flat[lane]&flatMark == 0 || !m.mayBeginFlat(g, lane, i*tileFrames-minFlatTop, to) {
				continue
			}
			m.unroll(g, lane, history+i*tileFrames-minFlatTop-reach, history+to+reach)
			if i*tileFrames-minFlatTop >= done {
				from = beforeFlatTop(c, i*tileFrames)
			}
		}
		m.findFlatTops(c, from, to, b.base)
		done = to
	}
}
