// Package spectrum measures the sound of a track. It takes the spectra of a few
// short looks a second and stores a few bytes of each.
//
// Start with [New], which analyses a part of a recording beside package meter.
// [Tone] is the stored summary of a part's spectra; [Folder] reduces a spectrum
// to a [Chroma], its harmony in six bytes.
//
// The package reads a third of the samples. A look is 1024 points at about 6 kHz
// (a window of 171 ms, twice a second) and, once a second, 1024 points at the
// full rate. All looks begin at fixed frames of the recording and end within one
// part. So results never depend on how the work was split, and the looks of all
// tracks of a recording show the same moments.
//
// The package has no files, no database and no shows.
package spectrum

import (
	"fmt"

	"nightreel/internal/meter"
)

const (
	// Lanes is the number of tracks processed side by side.
	Lanes = 8
	// Bins is the number of bins of a spectrum; bin 0 lies around 0 Hz.
	Bins   = 512
	points = 2 * Bins

	// LooksPerSecond is the rate of low spectra. Every LooksPerSecond-th look
	// takes a high spectrum too.
	LooksPerSecond = 2
	// PartLooks is the number of looks of a part of a minute.
	PartLooks = 60 * LooksPerSecond

	// lowRate is the rate in Hz that a low look is decimated to, as nearly as an
	// integer factor allows.
	lowRate = 6000
)

// Config describes a part of a recording. A part is that of package meter: 600
// blocks of a tenth of a second, each rounded to whole frames.
type Config struct {
	SampleRate int              // Hz, 8000 to 384000
	Channels   int              // tracks side by side, 1 to 256
	Type       meter.SampleType // of every sample
	// Of, if not 0, is the number of channels interleaved in the buffers given to
	// Write; the listener takes Channels of them, from index From on.
	Of, From int
	First    int64 // the recording's frame at which the part begins
	Frames   int64 // length of the part; later frames are ignored
	// Each, if set, is called with every look of up to Lanes tracks, in order of
	// time, then of track. The snapshot is overwritten after the call returns.
	Each func(*Snapshot)

	kernel kernel // for tests
}

// Snapshot is a look at up to Lanes tracks.
type Snapshot struct {
	Index int // within the recording: look k begins at second k/LooksPerSecond
	First int // index of the track in lane 0
	Lanes int // tracks in this snapshot; other lanes hold leftovers
	// Low and High hold the mean square of each bin, lane by lane. Their sum over
	// all bins is the mean square of the window, weighted by a Hann window.
	// LowGain has one factor a bin that corrects Low for the decimation, up to
	// about 2.4 kHz. High is nil except at every LooksPerSecond-th look. Bin 0 of
	// both counts twice.
	Low, High           *[Bins][Lanes]float32
	LowGain             []float32
	LowBinHz, HighBinHz float64 // width of a bin; bin k is k widths high
}

// Listener analyses one part of a recording, all its tracks side by side. It is
// not safe for concurrent use.
type Listener struct {
	cfg       Config
	size      int   // bytes of a sample
	hop       int64 // frames from look to look
	at        int64 // frames read so far
	look      int64 // current look within the part
	low, high decimator
	transform *transform
	lowGain   []float32
	highGain  []float32
	lowBands  []band
	highBands []band
	groups    []group
	tones     []toneMaker
	words     []uint32 // decoded by Write

	snapshot Snapshot
	lowPower [Bins][Lanes]float32
	hiPower  [Bins][Lanes]float32
	sums     [Bands][Lanes]float32
}

// group is up to Lanes tracks side by side.
type group struct {
	first, count int
	low, high    gather
}

// New returns a listener for one part. It fails if a field of cfg is out of the
// range that [Config] gives.
func New(cfg Config) (*Listener, error) {
	switch {
	case cfg.SampleRate < 8000 || cfg.SampleRate > 384000:
		return nil, fmt.Errorf("listen: sample rate of %d Hz is not within 8000 to 384000", cfg.SampleRate)
	case cfg.Channels < 1 || cfg.Channels > 256:
		return nil, fmt.Errorf("listen: %d channels are not within 1 to 256", cfg.Channels)
	case cfg.Of != 0 && (cfg.From < 0 || cfg.From+cfg.Channels > cfg.Of):
		return nil, fmt.Errorf("listen: channels %d to %d of %d", cfg.From, cfg.From+cfg.Channels-1, cfg.Of)
	case cfg.Type.Bytes() == 0:
		return nil, fmt.Errorf("listen: unknown sample type %d", cfg.Type)
	case cfg.First < 0 || cfg.Frames < 0:
		return nil, fmt.Errorf("listen: negative position or length")
	}
	if cfg.kernel == best {
		cfg.kernel = fastest
	}
	factor := Decimation(cfg.SampleRate)
	l := &Listener{
		cfg: cfg, size: cfg.Type.Bytes(), hop: HopFrames(cfg.SampleRate),
		low: newDecimator(factor), high: newDecimator(1),
		transform: newTransform(), lowGain: droop(factor), highGain: droop(1),
		tones: make([]toneMaker, cfg.Channels),
	}
	l.snapshot.LowGain = l.lowGain
	l.snapshot.LowBinHz = float64(cfg.SampleRate) / float64(factor*points)
	l.snapshot.HighBinHz = float64(cfg.SampleRate) / points
	l.lowBands = bandsOf(0, lowBands, l.snapshot.LowBinHz)
	l.highBands = bandsOf(lowBands, Bands, l.snapshot.HighBinHz)
	for first := 0; first < cfg.Channels; first += Lanes {
		l.groups = append(l.groups, group{first: first, count: min(Lanes, cfg.Channels-first)})
	}
	return l, nil
}

// HopFrames returns the frames from one look to the next at a rate in Hz: five
// blocks of package meter.
func HopFrames(rate int) int64 { return int64((rate + 5) / 10 * 10 / LooksPerSecond) }

// LookFrames returns the length of a look in frames at a rate in Hz.
func LookFrames(rate int) int { return (points + 1) * Decimation(rate) }

// Decimation returns the factor between a recording's rate in Hz and the rate of
// its low looks.
func Decimation(rate int) int { return max(1, (rate+lowRate/2)/lowRate) }

// Write analyses the next frames as they lie in files: either one buffer that
// holds the samples of all channels interleaved, or one buffer for each channel.
// It fails unless the buffers have exactly that length; it does not keep them.
// It decodes in plain Go. If a meter has decoded the same frames, use
// [Listener.WriteRows].
func (l *Listener) Write(frames int, bufs ...[]byte) error {
	in := input{bufs: bufs, stride: l.size}
	switch {
	case len(bufs) == 1:
		in.stride *= max(l.cfg.Of, l.cfg.Channels)
	case len(bufs) == l.cfg.Channels && l.cfg.Of == 0:
	default:
		return fmt.Errorf("listen: %d buffers for %d channels", len(bufs), l.cfg.Channels)
	}
	for _, b := range bufs {
		if frames < 0 || len(b) != frames*in.stride {
			return fmt.Errorf("listen: a buffer of %d bytes for %d frames of %d bytes", len(b), frames, in.stride)
		}
	}
	l.listen(&in, 0, int64(frames))
	return nil
}

// WriteRows analyses frames that a meter has decoded, in place of Write. runUp
// is the number of frames that the meter was given before the part. It skips
// frames before the part or beyond its end.
func (l *Listener) WriteRows(r meter.Rows, runUp int) {
	in := input{rows: r.Words, floats: r.Floats}
	from := max(0, int64(runUp)-r.At)
	if from < int64(r.Frames) {
		l.listen(&in, from, int64(r.Frames)-from)
	}
}

// input is a listener's input: samples as they lie in files, or rows of words.
type input struct {
	bufs   [][]byte
	stride int // bytes from frame to frame in bufs
	rows   [][]uint32
	floats bool // rows hold floats
}

// listen reads frames of an input, from frame at on, and finishes each look when
// it is complete.
func (l *Listener) listen(in *input, at, frames int64) {
	end := min(l.at+frames, l.cfg.Frames)
	for l.at < end {
		start := l.look * l.hop
		if l.at < start {
			n := min(start, end) - l.at
			l.at += n
			at += n
			continue
		}
		n := min(start+int64(l.low.frames()), end) - l.at
		l.take(in, int(at), int(n))
		l.at += n
		at += n
		if l.at == start+int64(l.low.frames()) {
			l.finish()
			l.look++
		}
	}
}

// isHigh reports whether the current look has a high spectrum.
func (l *Listener) isHigh() bool { return l.look%LooksPerSecond == 0 }

// take adds n frames, from frame at of an input on, to the look.
func (l *Listener) take(in *input, at, n int) {
	if in.rows != nil {
		const stride = meter.SideBySide
		for i := range l.groups {
			g := &l.groups[i]
			l.gather(g, in.rows[g.first/stride][at*stride+g.first%stride:(at+n)*stride], in.floats, n, stride)
		}
		return
	}
	for n > 0 {
		some := min(n, decodeFrames)
		for i := range l.groups {
			l.gather(&l.groups[i], l.decode(in, &l.groups[i], at, some), false, some, Lanes)
		}
		at += some
		n -= some
	}
}

// gather adds n frames of a group's words, stride words apart, to the look.
func (l *Listener) gather(g *group, words []uint32, floats bool, n, stride int) {
	if l.isHigh() {
		if more := min(n, l.high.frames()-int(g.high.steps)); more > 0 {
			l.high.floats = floats
			l.cfg.kernel.gather(&l.high, &g.high, words, more, stride)
			g.high.advance(more, l.high.factor)
		}
	}
	l.low.floats = floats
	l.cfg.kernel.gather(&l.low, &g.low, words, n, stride)
	g.low.advance(n, l.low.factor)
}

// decodeFrames is the number of frames decoded at a time, 0.02 MB of words.
const decodeFrames = 512

// decode returns n frames of a group as integers, Lanes words a frame. Lanes
// without a track hold leftovers.
func (l *Listener) decode(in *input, g *group, at, n int) []uint32 {
	if l.words == nil {
		l.words = make([]uint32, decodeFrames*Lanes)
	}
	for lane := range g.count {
		var src []byte
		if len(in.bufs) == 1 {
			src = in.bufs[0][at*in.stride+(l.cfg.From+g.first+lane)*l.size:]
		} else {
			src = in.bufs[g.first+lane][at*in.stride:]
		}
		decode(l.cfg.Type, l.words[lane:], src, n, in.stride)
	}
	return l.words[:n*Lanes]
}

// finish transforms a complete look and passes the spectra on.
func (l *Listener) finish() {
	s := &l.snapshot
	s.Index = int(l.cfg.First/l.hop + l.look)
	for i := range l.groups {
		g := &l.groups[i]
		s.First, s.Lanes = g.first, g.count
		s.Low, s.High = &l.lowPower, nil
		sums := flat(l.sums[:])
		l.cfg.kernel.power(l.transform, flat(g.low.points[:]), flat(l.lowPower[:]))
		l.cfg.kernel.bands(l.lowBands, l.lowGain, flat(l.lowPower[:]), sums)
		heard := l.lowBands
		if l.isHigh() {
			s.High = &l.hiPower
			l.cfg.kernel.power(l.transform, flat(g.high.points[:]), flat(l.hiPower[:]))
			l.cfg.kernel.bands(l.highBands, l.highGain, flat(l.hiPower[:]), sums[lowBands*Lanes:])
		}
		for lane := range g.count {
			l.tones[g.first+lane].add(int(l.look), lane, len(heard), len(l.highBands), l)
		}
		if l.cfg.Each != nil {
			l.cfg.Each(s)
		}
		g.low.restart()
		g.high.restart()
	}
}

// Finish returns the tone of each track. The listener must not be used again.
func (l *Listener) Finish() []Tone {
	all := make([]Tone, len(l.tones))
	for i := range l.tones {
		all[i] = l.tones[i].finish()
	}
	return all
}
