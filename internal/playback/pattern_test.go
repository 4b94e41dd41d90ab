package playback

import (
	"fmt"
	"io"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/playback/pattern"
	"nightreel/internal/tracks"
	"nightreel/internal/wavfile"
)

func patternF(frame int64, channel int) float32 { return pattern.Float(frame, channel) }

// tape is a recording that consists of the pattern and has no file. Its path
// describes it: tape:FIRSTCHANNEL:CHANNELS:FRAMES:BITS:RATE:OFFSET.
type tape struct {
	first  int
	offset int64 // frame of the pattern at its first frame
	info   wavfile.Info
	fault  *fault
}

// fault makes reads of tapes slow or fail.
type fault struct {
	wait atomic.Int32           // reads that are waiting for the disk
	busy atomic.Int32           // reads that the disk is answering
	fail atomic.Pointer[string] // reads of paths that contain it fail
	hold chan struct{}          // if not nil, every read first takes one
}

func tapePath(first, channels int, frames int64, bits, rate int, offset int64) string {
	return fmt.Sprintf("tape:%d:%d:%d:%d:%d:%d", first, channels, frames, bits, rate, offset)
}

func openTape(path string) (tracks.Handle, error) { return (&fault{}).open(path) }

func (f *fault) open(path string) (tracks.Handle, error) {
	if err := f.err(path); err != nil {
		return nil, err
	}
	n := []int64{}
	for s := range strings.SplitSeq(strings.TrimPrefix(path, "tape:"), ":") {
		v, err := strconv.ParseInt(s, 10, 64)
		if err != nil {
			return nil, err
		}
		n = append(n, v)
	}
	t := &tape{first: int(n[0]), offset: n[5], fault: f}
	t.info = wavfile.Info{DataOffset: 44, Frames: n[2],
		Format: wavfile.Format{Channels: int(n[1]), BitDepth: int(n[3]), ContainerBytes: int(n[3]) / 8, SampleRate: int(n[4])}}
	return t, nil
}

func (f *fault) err(path string) error {
	if what := f.fail.Load(); what != nil && strings.Contains(path, *what) {
		return fmt.Errorf("%s: not read (at byte 4096): input/output error", path)
	}
	return nil
}

func (t *tape) Info() *wavfile.Info { return &t.info }
func (t *tape) Close() error        { return nil }

func (t *tape) ReadFrames(dst []byte, frame int64) (int, error) {
	if t.fault.hold != nil {
		t.fault.wait.Add(1)
		<-t.fault.hold
		t.fault.busy.Add(1)
		t.fault.wait.Add(-1)
		defer t.fault.busy.Add(-1)
	}
	path := tapePath(t.first, t.info.Format.Channels, t.info.Frames, t.info.Format.BitDepth, t.info.Format.SampleRate, t.offset)
	if err := t.fault.err(path); err != nil {
		return 0, err
	}
	n := int64(len(dst) / t.info.Format.FrameBytes())
	if left := t.info.Frames - frame; left <= 0 {
		return 0, io.EOF
	} else if n > left {
		n = left
	}
	size := t.info.Format.ContainerBytes
	for f := range n {
		for c := range t.info.Format.Channels {
			v := uint32(pattern.Sample(t.offset+frame+f, t.first+c))
			switch size {
			case 2:
				v >>= 8
			case 4:
				v <<= 8
			}
			for range size {
				dst[0], dst = byte(v), dst[1:]
				v >>= 8
			}
		}
	}
	return int(n), nil
}

// tapeItem is an item of a test program.
type tapeItem struct {
	start, end int64   // frames of the recording
	segments   []int64 // frames at which its files begin, and the end of the last
	poly       bool    // one file for all channels
	trims      map[int]float64
}

// tapeProgram makes a program over tapes; channel c plays on output c+1.
func tapeProgram(channels int, items ...tapeItem) *Program {
	p := &Program{Session: 1, Desk: "foh", Rate: 48000, Outputs: channels}
	for c := range channels {
		p.Inputs = append(p.Inputs, ProgramInput{c + 1, c + 1, fmt.Sprintf("Channel %d", c+1)})
	}
	for i, it := range items {
		item := ProgramItem{Song: fmt.Sprintf("Song %d", i+1), Show: "2031-05-02", Rig: "main", Frames: it.end - it.start, LengthS: float64(it.end-it.start) / 48000}
		for c := range channels {
			v := Voice{Output: c + 1, Rate: 48000, TrimDB: it.trims[c+1]}
			for k := range len(it.segments) - 1 {
				from, to := it.segments[k], it.segments[k+1]
				src := Source{Start: from - it.start, From: from - it.start, To: to - it.start,
					File: tracks.File{Format: wavfile.Format{Channels: 1, BitDepth: 24, ContainerBytes: 3, SampleRate: 48000}, DataOffset: 44, Frames: to - from}}
				if it.poly {
					src.Format.Channels, src.Channel = channels, c
					src.Path = tapePath(0, channels, to-from, 24, 48000, from)
				} else {
					src.Path = tapePath(c, 1, to-from, 24, 48000, from)
				}
				v.Sources = append(v.Sources, src)
			}
			item.Voices = append(item.Voices, v)
			item.Status = append(item.Status, catalog.Playback)
		}
		p.Items = append(p.Items, item)
	}
	return p
}

// rigUp is an engine under test that is pulled by hand.
type rigUp struct {
	t *testing.T
	*Engine
	channels int // of the sink
	block    int
}

// newRig opens an engine with all levels at 0 dB, armed.
func newRig(t *testing.T, p *Program, open tracks.OpenFunc) *rigUp {
	t.Helper()
	e, err := NewEngine(p, open)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(e.Close)
	r := &rigUp{t, e, p.Outputs, 256}
	r.do(Command{Do: Acknowledge})
	r.climb(Command{Do: Level, DB: ptr(0.0)})
	return r
}

// climb raises the overall level or a trim to a command's value in strokes, as a
// person at the desk does.
func (r *rigUp) climb(c Command) {
	r.t.Helper()
	for goal := *c.DB; ; {
		now := r.levelNowDB()
		if c.Do == Trim {
			now = r.trimNowDB(c.Input - 1)
		}
		to := min(goal, now+StrokeDB)
		c.DB = &to
		r.do(c)
		if r.pull(4800); now == goal { // and the fade of safeFade is over
			return
		}
	}
}

func ptr[T any](v T) *T { return &v }

func (r *rigUp) do(c Command) {
	r.t.Helper()
	if err := r.Do(c); err != nil {
		r.t.Fatal(err)
	}
}

// pull pulls n frames, block by block, never faster than the reader.
func (r *rigUp) pull(n int) []float32 {
	r.t.Helper()
	out := make([]float32, 0, n*r.channels)
	for n > 0 {
		k := min(n, r.block)
		if err := r.Wait(r.t.Context(), k); err != nil {
			r.t.Fatal(err)
		}
		b := make([]float32, k*r.channels)
		for i := range b {
			b[i] = 7 // every sample must be overwritten
		}
		r.Pull(b, r.channels)
		out = append(out, b...)
		n -= k
	}
	return out
}

// exact fails unless frames from to to-1 of out are the pattern from frame at
// on.
func (r *rigUp) exact(what string, out []float32, from, to int, at int64) {
	r.t.Helper()
	for f := from; f < to; f++ {
		for c := range r.width {
			if x, want := out[f*r.channels+c], patternF(at+int64(f-from), c); x != want {
				r.t.Fatalf("%s: frame %d, output %d: %v, want %v: that is frame %d, not %d", what, f, c+1, x, want, pattern.FrameOf(x, c), at+int64(f-from))
			}
		}
	}
}

// quiet fails unless frames from to to-1 of out are silent.
func (r *rigUp) quiet(what string, out []float32, from, to int) {
	r.t.Helper()
	for i, x := range out[from*r.channels : to*r.channels] {
		if x != 0 {
			r.t.Fatalf("%s: frame %d, output %d: %v, want silence", what, from+i/r.channels, i%r.channels+1, x)
		}
	}
}
