// Package sinktest is the conformance suite of sinks. A sink that passes
// delivers every sample of a session to its output, over the ends of files,
// round a loop and over a change of song. It is silent before and after, and
// stops pulling at Close.
package sinktest

import (
	"fmt"
	"path/filepath"
	"regexp"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"nightreel/catalog"
	"nightreel/internal/playback"
	"nightreel/internal/playback/pattern"
	"nightreel/internal/tracks"
	"nightreel/internal/wavfile"
	"nightreel/internal/wavfile/wavtest"
)

// Channels is the number of outputs that the suite's session feeds; a sink may
// have more.
const Channels = 2

// Rate is the session's rate in Hz.
const Rate = 48_000

const (
	fade  = Rate / 100
	start = 3 * Rate // of the first song, in the recording
	loopA = Rate / 2 // from the song's start
	loopB = loopA + Rate/4 + 7
	long  = Rate + Rate/2
	next  = 7 * Rate
)

// Sink is a sink under test.
type Sink struct {
	playback.Sink
	// Heard ends the capture, after the sink was closed or while it is silent,
	// and returns all frames that arrived, Channels samples each.
	Heard func() []float32
}

// tap counts the frames that are pulled, and detects pulls after Close.
type tap struct {
	*playback.Engine
	frames, after atomic.Int64
	closed        atomic.Bool
}

func (c *tap) Pull(dst []float32, channels int) {
	c.Engine.Pull(dst, channels)
	c.frames.Add(int64(len(dst) / channels))
	if c.closed.Load() {
		c.after.Add(1)
	}
}

// Run runs the suite on a sink. open opens it for at least Channels outputs at
// Rate.
func Run(t *testing.T, open func(t *testing.T) Sink) {
	prog := program(t)
	e, err := playback.NewEngine(prog, tracks.OpenWAV)
	if err != nil {
		t.Fatal(err)
	}
	defer e.Close()
	s := open(t)
	if i := s.Info(); i.Rate != Rate || i.Outputs < Channels || i.Device == "" {
		t.Fatalf("opened %+v", i)
	}
	c := &tap{Engine: e}
	if err := s.Start(c); err != nil {
		t.Fatal(err)
	}
	do := func(cmd playback.Command) {
		t.Helper()
		if err := e.Do(cmd); err != nil {
			t.Fatal(err)
		}
	}
	from, to := float64(loopA)/Rate, float64(loopB)/Rate
	do(playback.Command{Do: playback.Acknowledge})
	for e.Status().LevelDB < 0 {
		level := min(0, e.Status().LevelDB+playback.StrokeDB)
		do(playback.Command{Do: playback.Level, DB: &level})
		rest(t)
	}
	do(playback.Command{Do: playback.LoopOn, FromS: &from, ToS: &to})
	for began := c.frames.Load(); c.frames.Load()-began < 4800; { // until the level has moved
		rest(t)
	}
	do(playback.Command{Do: playback.Play})
	// Play the song up to the loop's end, and two rounds and a bit.
	for began := c.frames.Load(); c.frames.Load()-began < loopB+2*(loopB-loopA)+2000; {
		rest(t)
	}
	do(playback.Command{Do: playback.LoopOff})
	for e.Status().State != playback.Stopped {
		rest(t)
	}
	for began := c.frames.Load(); c.frames.Load()-began < 4800; {
		rest(t)
	}
	if st := s.Stats(); st.Lost != "" {
		t.Errorf("lost: %s", st.Lost)
	}
	if err := s.Close(); err != nil {
		t.Errorf("close: %v", err)
	}
	c.closed.Store(true)
	heard := s.Heard()
	judge(t, heard)
	if n := c.after.Load(); n > 0 {
		t.Errorf("%d pulls after Close", n)
	}
}

// rest lets the sink run for a moment.
func rest(t *testing.T) {
	select {
	case <-t.Context().Done():
		t.Fatal("the test is over")
	case <-time.After(time.Millisecond):
	}
}

// judge requires silence, one fade, the song, rounds of the loop, the change of
// song, a fade, silence; nothing else, and no frame lost.
func judge(t *testing.T, heard []float32) {
	t.Helper()
	var check pattern.Checker
	for f := 0; f+Channels <= len(heard); f += Channels {
		check.Row(heard[f : f+Channels])
	}
	story := ""
	for _, r := range check.Runs {
		switch {
		case r.Kind == pattern.Silent:
			story += "s"
		case r.Kind == pattern.Other && r.Length <= fade:
			story += "f"
		case r.Kind == pattern.Other:
			story += fmt.Sprintf("(%d frames of a mix)", r.Length)
		case r.Frame+r.Length == start+loopB && (r.Frame == start+fade || r.Frame == start+fade-1):
			story += "A" // from the song's start to the loop's end
		case r.Frame == start+loopA+fade && r.Length == loopB-loopA-fade:
			story += "l"
		case r.Frame == start+loopA+fade && r.Frame+r.Length == start+long:
			story += "B" // out of the loop to the song's end
		case r.Frame == next+fade && r.Frame+r.Length == next+long:
			story += "C"
		default:
			story += fmt.Sprintf("(%v)", r)
		}
	}
	if !rightStory.MatchString(story) {
		t.Errorf("heard %s, want silence, A, two rounds l at least, B, C, and silence, with a fade between all", story)
	}
}

// rightStory allows more rounds for a sink that runs ahead of the commands; a
// sink without a clock may leave out silence.
var rightStory = regexp.MustCompile("^s?fA(fl){2,}fBfCf?s?$")

// Record captures what a sink pulls, for a sink that keeps no audio.
func Record(s playback.Sink) Sink {
	r := &recorder{Sink: s}
	return Sink{r, r.heard}
}

type recorder struct {
	playback.Sink
	mu     sync.Mutex
	frames []float32
}

type recorded struct {
	playback.Puller
	r *recorder
}

func (p recorded) Pull(dst []float32, channels int) {
	p.Puller.Pull(dst, channels)
	p.r.mu.Lock()
	defer p.r.mu.Unlock()
	for f := 0; f < len(dst); f += channels {
		p.r.frames = append(p.r.frames, dst[f:f+Channels]...)
	}
}

func (r *recorder) Start(p playback.Puller) error { return r.Sink.Start(recorded{p, r}) }

func (r *recorder) heard() []float32 {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.frames
}

// program is two songs of the pattern over the ends of files.
func program(t *testing.T) *playback.Program {
	t.Helper()
	dir := t.TempDir()
	format := wavfile.Format{SampleRate: Rate, Channels: 1, BitDepth: 24, ContainerBytes: 3}
	p := &playback.Program{Desk: "foh", Rate: Rate, Outputs: Channels}
	for c := range Channels {
		p.Inputs = append(p.Inputs, playback.ProgramInput{DeskInput: c + 1, Output: c + 1, Channel: fmt.Sprintf("Channel %d", c+1)})
	}
	for i, from := range []int64{start, next} {
		item := playback.ProgramItem{Song: fmt.Sprintf("Song %d", i+1), Frames: long, LengthS: float64(long) / Rate}
		for c := range Channels {
			v := playback.Voice{Output: c + 1, Rate: Rate}
			for k, cut := range [][2]int64{{from - Rate, from + loopA + 5000}, {from + loopA + 5000, from + long + Rate}} {
				path := filepath.Join(dir, fmt.Sprintf("%d_%d_%d.wav", i, c, k))
				v.Sources = append(v.Sources, playback.Source{Start: cut[0] - from, From: cut[0] - from, To: cut[1] - from,
					File: tracks.File{Path: path, Format: format, DataOffset: write(t, path, format, cut[0], cut[1], c), Frames: cut[1] - cut[0]}})
			}
			item.Voices = append(item.Voices, v)
			item.Status = append(item.Status, catalog.Playback)
		}
		p.Items = append(p.Items, item)
	}
	return p
}

// write writes frames of the pattern and returns where they begin in the file.
func write(t *testing.T, path string, format wavfile.Format, from, to int64, channel int) int64 {
	t.Helper()
	raw := make([]byte, 0, 3*(to-from))
	for f := from; f < to; f++ {
		v := pattern.Sample(f, channel)
		raw = append(raw, byte(v), byte(v>>8), byte(v>>16))
	}
	return wavtest.Write(t, path, format, wavfile.Meta{}, raw)
}
