package meter

import (
	"errors"
	"fmt"
)

// Part holds the measurements of one track in a part of a recording. The last
// block of a recording may be short; all others are whole.
type Part struct {
	Blocks []Block
	Events []Event // ordered by Start, then Kind
}

// Meter measures one part of a recording, all its tracks side by side. It is
// not safe for concurrent use; several meters may run side by side.
type Meter struct {
	cfg       Config
	rate      kFilter
	factor    int // of true-peak oversampling
	block     int // frames
	end       int64
	base      int64 // frames processed; the position of buf[history] in each channel
	fill      int   // frames in each channel's buffer, after the history
	channels  []channel
	stretches []stretch // scratch of the kernel in plain Go

	// For the kernels in C.
	groups   []group
	plan     plan
	scale    float64    // factor from a word to a fraction of full scale
	tiles    []tile     // scratch
	unrolled []float64  // scratch
	handed   [][]uint32 // passed to Config.Rows
}

const (
	// history and lookAhead are the numbers of frames kept before and after a
	// block while it is measured. The true-peak filter needs 6, zero runs need
	// 64 on both sides.
	history   = 64
	lookAhead = 64

	maxClipRun = 64
)

// New returns a meter for one part. It fails if the configuration is out of
// the ranges that Config gives.
func New(cfg Config) (*Meter, error) {
	if cfg.ClipLevel == 0 {
		cfg.ClipLevel = cfg.Type.fullScale()
	}
	if cfg.ClipRun == 0 {
		cfg.ClipRun = 3
	}
	switch {
	case cfg.SampleRate < 8000 || cfg.SampleRate > 384000:
		return nil, fmt.Errorf("measure: sample rate of %d Hz is not within 8000 to 384000", cfg.SampleRate)
	case cfg.Channels < 1 || cfg.Channels > 256:
		return nil, fmt.Errorf("measure: %d channels are not within 1 to 256", cfg.Channels)
	case cfg.Of != 0 && (cfg.From < 0 || cfg.From+cfg.Channels > cfg.Of):
		return nil, fmt.Errorf("measure: channels %d to %d of %d", cfg.From, cfg.From+cfg.Channels-1, cfg.Of)
	case cfg.Type.Bytes() == 0:
		return nil, fmt.Errorf("measure: unknown sample type %d", cfg.Type)
	case cfg.RunUp < 0 || cfg.RunUp%BlockFrames(cfg.SampleRate) != 0:
		return nil, fmt.Errorf("measure: run-up of %d frames is no multiple of a block's %d", cfg.RunUp, BlockFrames(cfg.SampleRate))
	case cfg.Frames < 0 || cfg.First < 0:
		return nil, errors.New("measure: negative position or length")
	case !(cfg.ClipLevel > 0):
		return nil, fmt.Errorf("measure: clip level of %v is not above 0", cfg.ClipLevel)
	case cfg.ClipRun < 1 || cfg.ClipRun > maxClipRun:
		return nil, fmt.Errorf("measure: clip run of %d is not within 1 to %d", cfg.ClipRun, maxClipRun)
	}
	m := &Meter{
		cfg:      cfg,
		rate:     newKFilter(cfg.SampleRate),
		factor:   oversampling(cfg.SampleRate),
		block:    BlockFrames(cfg.SampleRate),
		end:      int64(cfg.RunUp) + cfg.Frames,
		channels: make([]channel, cfg.Channels),
	}
	blocks := min((cfg.Frames+int64(m.block)-1)/int64(m.block), PartBlocks)
	for i := range m.channels {
		m.channels[i] = newChannel(int(blocks))
	}
	if m.cfg.kernel == best || m.cfg.Type == Float64 {
		m.cfg.kernel = fastest(m.cfg.Type)
	}
	if m.cfg.kernel != plain {
		m.newGroups()
		return m, nil
	}
	m.stretches = make([]stretch, 0, m.block/peakRun+3)
	for i := range m.channels {
		m.channels[i].buf = make([]float64, history+m.block+lookAhead)
	}
	return m, nil
}

// Write measures the given number of frames: either one buffer that holds the
// samples of all channels interleaved, or one buffer for each channel. The
// buffers must have exactly that length; they are not kept. The result does not
// depend on how the frames are divided among calls. Write allocates nothing as
// long as Frames is at most a part. It ignores frames after the run-out.
func (m *Meter) Write(frames int, bufs ...[]byte) error {
	size := m.cfg.Type.Bytes()
	stride := size
	switch {
	case len(bufs) == 1:
		stride = size * max(m.cfg.Of, m.cfg.Channels)
	case len(bufs) == m.cfg.Channels && m.cfg.Of == 0:
	default:
		return fmt.Errorf("measure: %d buffers for %d channels", len(bufs), m.cfg.Channels)
	}
	for _, b := range bufs {
		if frames < 0 || len(b) != frames*stride {
			return fmt.Errorf("measure: a buffer of %d bytes for %d frames of %d bytes", len(b), frames, stride)
		}
	}
	if m.cfg.From > 0 && frames > 0 {
		bufs = [][]byte{bufs[0][m.cfg.From*size:]} // the last frame is shorter
	}
	for done := 0; done < frames && !m.finished(); {
		n := min(frames-done, m.block+lookAhead-m.fill)
		m.take(bufs, done, n, stride)
		done += n
	}
	return nil
}

// take decodes n frames, from frame at of the buffers on, and measures a block
// once the channels hold enough frames.
func (m *Meter) take(bufs [][]byte, at, n, stride int) {
	if m.groups != nil {
		m.fillGroups(bufs, at, n, stride)
	} else {
		m.fillBuffers(bufs, at, n, stride)
	}
	m.fill += n
	if m.fill == m.block+lookAhead {
		m.measureBlock(m.span(m.blockLength()))
	}
}

// measureBlock measures the block that is held and removes its frames.
func (m *Meter) measureBlock(b span) {
	for i := range m.groups {
		m.measureGroup(&m.groups[i], b)
	}
	if m.groups == nil {
		for i := range m.channels {
			m.measure(&m.channels[i], b)
		}
	}
	m.drop(b.frames)
}

// fillBuffers decodes n frames, from frame at of the buffers on, and appends
// them to the channels' buffers. Interleaved frames are read in pieces that stay
// in the processor's cache while channel after channel picks its samples.
func (m *Meter) fillBuffers(bufs [][]byte, at, n, stride int) {
	if len(bufs) == len(m.channels) && m.cfg.Of == 0 {
		for i := range m.channels {
			to := m.channels[i].buf[history+m.fill:][:n]
			decode(m.cfg.Type, to, bufs[i][at*stride:], stride)
		}
		return
	}
	const cached = 16 << 10
	piece := max(cached/stride, 16)
	size := m.cfg.Type.Bytes()
	for from := 0; from < n; from += piece {
		count := min(piece, n-from)
		src := bufs[0][(at+from)*stride:]
		for i := range m.channels {
			to := m.channels[i].buf[history+m.fill+from:][:count]
			decode(m.cfg.Type, to, src[i*size:], stride)
		}
	}
}

// finished reports whether all frames that matter are measured.
func (m *Meter) finished() bool { return m.base >= m.end+int64(m.block) }

// blockLength returns the frames of the block that starts at base.
func (m *Meter) blockLength() int {
	if m.base < m.end {
		return int(min(int64(m.block), m.end-m.base))
	}
	return m.block
}

// span returns the next n frames that are to be measured.
func (m *Meter) span(n int) span {
	return span{
		base:     m.base,
		frames:   n,
		reported: m.base >= int64(m.cfg.RunUp) && m.base < m.end,
	}
}

// drop removes n measured frames from the buffers.
func (m *Meter) drop(n int) {
	for i := range m.groups {
		rows := m.groups[i].rows
		copy(rows, rows[n*laneCount:])
	}
	if m.groups == nil {
		for i := range m.channels {
			c := &m.channels[i]
			copy(c.buf, c.buf[n:])
		}
	}
	m.base += int64(n)
	m.fill -= n
}

// Finish measures the remaining frames and returns the parts, one a channel. If
// fewer than Frames were written, the parts are shorter. If nothing was written
// after Frames, the recording is taken to end there. The meter must not be used
// again.
func (m *Meter) Finish() []Part {
	for m.fill > 0 && !m.finished() {
		for i := range m.groups {
			clear(m.groups[i].rows[(history+m.fill)*laneCount:])
		}
		if m.groups == nil {
			for i := range m.channels {
				clear(m.channels[i].buf[history+m.fill:])
			}
		}
		m.measureBlock(m.span(min(m.blockLength(), m.fill)))
	}
	parts := make([]Part, len(m.channels))
	for i := range m.channels {
		c := &m.channels[i]
		m.closeRuns(c)
		parts[i] = Part{Blocks: c.blocks, Events: c.found.events()}
	}
	return parts
}
