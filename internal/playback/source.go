package playback

import (
	"errors"
	"math"
	"sync"
	"sync/atomic"

	"nightreel/internal/tracks"
	"nightreel/internal/wavfile"
)

// excerpt is an item's use of one file.
type excerpt struct {
	file   *file
	start  int64 // frames from the take's start to the file's first, at the file's rate
	from   int64 // the first frame that is used, counted as start is
	to     int64 // the frame after the last one
	voices []excerptVoice
	conv   *converter // nil if the file has the program's rate
}

// excerptVoice is one channel of an excerpt.
type excerptVoice struct {
	channel int // in the file, from 0
	output  int // from 0
	gain    float64
}

// source reads spans of a program's items. One goroutine at a time may read.
type source struct {
	rate, width int
	files       []*file
	items       [][]excerpt // of every item, in order
	spans       []span      // memory of one read
	x, line     []float64
	one         [1]float64
}

// workers is the number of parallel reads of the first block after a jump: cold
// disks answer eight requests in much less than eight times the time of one.
const workers = 8

// newSource makes a source without opening files.
func newSource(p *Program, open tracks.OpenFunc) *source {
	s := &source{rate: p.Rate, width: p.Outputs}
	byPath := map[string]*file{}
	converters := map[int]*converter{}
	for _, it := range p.Items {
		type use struct {
			file     *file
			from, to int64
		}
		at := map[use]int{}
		excerpts := []excerpt{}
		for _, v := range it.Voices {
			gain := 1.0
			if v.TrimDB != 0 {
				gain = math.Pow(10, v.TrimDB/20)
			}
			if v.Rate != p.Rate && converters[v.Rate] == nil {
				converters[v.Rate] = newConverter(v.Rate, p.Rate)
			}
			for _, src := range v.Sources {
				f := byPath[src.Path]
				if f == nil {
					f = &file{File: src.File, open: open}
					byPath[src.Path] = f
					s.files = append(s.files, f)
				}
				k, known := at[use{f, src.From, src.To}]
				if !known {
					k = len(excerpts)
					at[use{f, src.From, src.To}] = k
					excerpts = append(excerpts, excerpt{file: f, start: src.Start, from: src.From, to: src.To, conv: converters[v.Rate]})
				}
				excerpts[k].voices = append(excerpts[k].voices, excerptVoice{src.Channel, v.Output - 1, gain})
			}
		}
		s.items = append(s.items, excerpts)
	}
	return s
}

// openAll opens every file; if none can be opened, it returns an error.
func (s *source) openAll() error {
	var errs []error
	for _, f := range s.files {
		f.mu.Lock()
		f.fail(f.ensure())
		if f.failed != nil {
			errs = append(errs, f.failed)
		}
		f.mu.Unlock()
	}
	if len(errs) > 0 && len(errs) == len(s.files) {
		return errors.Join(errs[:min(3, len(errs))]...)
	}
	return nil
}

func (s *source) close() {
	for _, f := range s.files {
		f.close()
	}
}

// tileFrames is the number of frames that are laid out at a time: a tile of all
// outputs stays in the processor's first cache while every file writes its
// column.
const tileFrames = 64

// span is the part of a block that comes from one file.
type span struct {
	from  int64 // first frame in the file
	at    int   // its position in the block, frames
	count int   // frames
	bad   bool
	raw   []byte
}

// read writes the frames from p on to dst, interleaved and width wide, with
// silence where nothing was recorded. It marks in bad the outputs that could not
// be read; they are silent. len(bad) is the width. With many, several files are
// read in parallel.
func (s *source) read(dst []float32, p position, bad []bool, many bool) {
	clear(dst)
	clear(bad)
	n := len(dst) / s.width
	excerpts := s.items[p.item]
	if len(s.spans) < len(excerpts) {
		s.spans = append(s.spans, make([]span, len(excerpts)-len(s.spans))...)
	}
	spans := s.spans[:len(excerpts)]
	if many {
		var next atomic.Int64
		var wg sync.WaitGroup
		for range min(workers, len(excerpts)) {
			wg.Go(func() {
				for i := int(next.Add(1)) - 1; i < len(excerpts); i = int(next.Add(1)) - 1 {
					s.load(&excerpts[i], p.frame, n, &spans[i])
				}
			})
		}
		wg.Wait()
	} else {
		for i := range excerpts {
			s.load(&excerpts[i], p.frame, n, &spans[i])
		}
	}
	for i := range excerpts {
		if spans[i].bad {
			for _, v := range excerpts[i].voices {
				bad[v.output] = true
			}
		} else if excerpts[i].conv != nil {
			s.convert(dst, &excerpts[i], &spans[i], p.frame)
		}
	}
	for from := 0; from < n; from += tileFrames {
		until := min(n, from+tileFrames)
		for i := range excerpts {
			if sp := &spans[i]; !sp.bad && excerpts[i].conv == nil && sp.at < until && sp.at+sp.count > from {
				s.lay(dst, &excerpts[i], sp, max(from, sp.at), min(until, sp.at+sp.count))
			}
		}
	}
}

// load reads a file's share of the n frames from frame on.
func (s *source) load(p *excerpt, frame int64, n int, sp *span) {
	lo, hi := frame, frame+int64(n)
	if p.conv != nil {
		lo, hi = p.conv.needs(frame, int64(n))
	}
	first, last := max(lo, p.from), min(hi, p.to)
	sp.bad, sp.at, sp.count = false, 0, 0
	if first >= last {
		return
	}
	sp.from, sp.at, sp.count = first-p.start, int(first-lo), int(last-first)
	sp.raw = grow(sp.raw, sp.count*p.file.Format.FrameBytes())
	sp.bad = p.file.read(sp.raw, sp.from, int64(n), s.rate) != nil
}

// lay decodes the frames from to until-1 of the block into their columns.
func (s *source) lay(dst []float32, p *excerpt, sp *span, from, until int) {
	f := p.file.Format
	raw := sp.raw[(from-sp.at)*f.FrameBytes() : (until-sp.at)*f.FrameBytes()]
	for _, v := range p.voices {
		to := dst[from*s.width+v.output : (until-1)*s.width+v.output+1]
		if f.Encoding == wavfile.PCM && f.ContainerBytes == 3 {
			lay24(to, s.width, raw[3*v.channel:], f.FrameBytes(), v.gain)
			continue
		}
		// Other codings are rare; one sample at a time is fast enough.
		for i := range until - from {
			f.Decode(s.one[:], raw[i*f.FrameBytes()+v.channel*f.ContainerBytes:][:f.ContainerBytes])
			to[i*s.width] = float32(s.one[0] * v.gain)
		}
	}
}

// lay24 decodes 24-bit samples, size bytes apart, into a column. Without a gain,
// a sample times a power of two is exact.
func lay24(to []float32, width int, raw []byte, size int, gain float64) {
	k := 0
	if gain == 1 {
		for i := 0; i < len(to); i += width {
			b := raw[k : k+3 : k+3]
			to[i] = float32(int32(uint32(b[0])<<8|uint32(b[1])<<16|uint32(b[2])<<24)>>8) * (1.0 / (1 << 23))
			k += size
		}
		return
	}
	for i := 0; i < len(to); i += width {
		b := raw[k : k+3 : k+3]
		to[i] = float32(float64(int32(uint32(b[0])<<8|uint32(b[1])<<16|uint32(b[2])<<24)>>8) * (1.0 / (1 << 23)) * gain)
		k += size
	}
}

// convert adds a file of another rate to the block from frame on. If an output
// frame also needs the recording's next file, that file's own excerpt adds its
// share: the filter is linear.
func (s *source) convert(dst []float32, p *excerpt, sp *span, frame int64) {
	if sp.count == 0 {
		return
	}
	n := int64(len(dst) / s.width)
	lo, hi := p.conv.needs(frame, n)
	channels := p.file.Format.Channels
	s.x = grow(s.x, sp.count*channels)
	s.line = grow(s.line, int(hi-lo))
	p.file.Format.Decode(s.x, sp.raw)
	for _, v := range p.voices {
		clear(s.line)
		for i := range sp.count {
			s.line[sp.at+i] = s.x[i*channels+v.channel] * v.gain
		}
		p.conv.add(dst[v.output:], s.width, s.line, lo, frame, n)
	}
}

// grow returns a slice of n elements, in the same memory if that suffices.
func grow[T any](s []T, n int) []T {
	if cap(s) < n {
		return make([]T, n)
	}
	return s[:n]
}
