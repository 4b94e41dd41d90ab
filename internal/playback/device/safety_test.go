package device

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"sync"
	"testing"
	"time"

	"nightreel/catalog"
	"nightreel/internal/playback"
	"nightreel/internal/playback/jackrig"
	"nightreel/internal/tracks"
	"nightreel/internal/wavfile"
)

const (
	safetyRate    = 12_000
	safetyOutputs = 3
	perMS         = 5    // commands in a millisecond
	perFall       = 4000 // commands from one fall or mute to the next: every rise takes its time
)

// safetyTrims are what lists say of each output: nothing, a slip of the pen, and
// a quiet input.
var safetyTrims = [safetyOutputs]float64{0, 39, -10}

// steady is what the recording holds, a constant, so that an output shows its gain.
// With the slip of the pen it exceeds full scale.
const steady = 0.05

// Whatever commands come, what an independent client of an audio server captures
// is silent until somebody acknowledges, is never above full scale, and rises by
// the ramp: from silence to what a person raised the level to, and on by
// RiseDBPerS. NIGHTREEL_COMMANDS sets the number of commands.
func TestNothingHurtsOnARealServer(t *testing.T) {
	commands := 30_000
	if s := os.Getenv("NIGHTREEL_COMMANDS"); s != "" {
		var err error
		if commands, err = strconv.Atoi(s); err != nil {
			t.Fatal(err)
		}
	}
	server := jackrig.Start(t, jackrig.Options{Ports: 4, Rate: safetyRate})
	e, err := playback.NewEngine(steadyProgram(t), tracks.OpenWAV)
	if err != nil {
		t.Fatal(err)
	}
	defer e.Close()
	s, err := Open(playback.SinkRequest{Device: "jack", Rate: safetyRate, Outputs: safetyOutputs})
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Start(e); err != nil {
		t.Fatal(err)
	}
	capture := server.Capture(t, "nightreel", safetyOutputs)
	var heard listener
	var read sync.WaitGroup
	read.Go(func() { heard.listen(capture) })
	rnd := rand.New(rand.NewPCG(10, 6))
	send := func(n int, command func(*rand.Rand, playback.Status) playback.Command) {
		for i := range n {
			c := command(rnd, e.Status())
			var refused *playback.RefusedError
			if err := e.Do(c); err != nil && !errors.As(err, &refused) {
				t.Fatalf("%+v: %v", c, err)
			}
			st := e.Status()
			top := st.LevelDB
			for _, in := range st.Inputs {
				top = max(top, st.LevelDB+in.TrimDB)
			}
			heard.raised(top + playback.StrokeDB) // where a rise that goes on may end
			if i%perMS == 0 {
				time.Sleep(time.Millisecond)
			}
		}
	}
	send(commands/5, anyCommand)
	time.Sleep(300 * time.Millisecond)
	heard.check(t, "before anybody acknowledged", func(l *listener) string {
		if l.frames == 0 || l.loudest > 0 {
			return fmt.Sprintf("%d frames, the loudest sample is %g", l.frames, l.loudest)
		}
		return ""
	})
	for _, c := range []playback.Command{{Do: playback.Acknowledge}, {Do: playback.Play}} {
		if err := e.Do(c); err != nil {
			t.Fatal(err)
		}
	}
	time.Sleep(300 * time.Millisecond)
	heard.judgeRises(true)
	send(3*commands/5, anyGain)
	time.Sleep(300 * time.Millisecond)
	heard.judgeRises(false)
	heard.check(t, "with random levels, trims and mutes", func(l *listener) string {
		if l.loudest != 1 || !l.rose {
			return fmt.Sprintf("the loudest sample is %g, something rose: %v", l.loudest, l.rose)
		}
		return l.wrong
	})
	send(commands/5, anyCommand)
	if err := e.Do(playback.Command{Do: playback.FadeOut}); err != nil {
		t.Fatal(err)
	}
	time.Sleep(time.Second)
	heard.check(t, "with random commands", func(l *listener) string {
		if l.loudest > 1 || l.loudest == 0 || l.last > 0 {
			return fmt.Sprintf("the loudest sample is %g, the last after fading out %g", l.loudest, l.last)
		}
		return ""
	})
	capture.Stop()
	read.Wait()
	if err := s.Close(); err != nil {
		t.Error(err)
	}
	t.Logf("%d commands, %d frames captured", commands, heard.frames)
}

// steadyProgram plays the constant for an hour, with the lists' trims.
func steadyProgram(t *testing.T) *playback.Program {
	t.Helper()
	path := filepath.Join(t.TempDir(), "steady.wav")
	format := wavfile.Format{SampleRate: safetyRate, Channels: 1, BitDepth: 32, ContainerBytes: 4, Encoding: wavfile.Float}
	const frames = 600 * safetyRate
	raw := make([]byte, 4*frames)
	for i := range frames {
		binary.LittleEndian.PutUint32(raw[4*i:], math.Float32bits(steady))
	}
	w, err := wavfile.Create(path, format, wavfile.Meta{})
	if err == nil {
		err = w.WriteFrames(raw)
	}
	if err == nil {
		err = w.Close()
	}
	f, err2 := wavfile.Open(path)
	if err := errors.Join(err, err2); err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	file := tracks.File{Path: path, Format: format, DataOffset: f.Info().DataOffset, Frames: frames}
	item := playback.ProgramItem{Song: "Steady", Frames: frames, LengthS: frames / safetyRate}
	p := &playback.Program{Desk: "foh", Rate: safetyRate, Outputs: safetyOutputs}
	for o := range safetyOutputs {
		p.Inputs = append(p.Inputs, playback.ProgramInput{DeskInput: o + 1, Output: o + 1, Channel: fmt.Sprintf("Channel %d", o+1)})
		item.Voices = append(item.Voices, playback.Voice{Output: o + 1, TrimDB: safetyTrims[o], Rate: safetyRate, Sources: []playback.Source{{File: file, To: frames}}})
		item.Status = append(item.Status, catalog.Playback)
	}
	p.Items = []playback.ProgramItem{item, item}
	return p
}

// anyGain returns a command that moves a level, as people and broken clients send
// it.
func anyGain(rnd *rand.Rand, st playback.Status) playback.Command {
	db := func(v float64) *float64 { return &v }
	input := 1 + rnd.IntN(safetyOutputs)
	trim := st.Inputs[input-1].TrimDB
	if rnd.IntN(perFall) == 0 {
		switch rnd.IntN(3) {
		case 0:
			return playback.Command{Do: playback.Level, DB: db(st.LevelDB - 40*rnd.Float64())}
		case 1:
			return playback.Command{Do: playback.Trim, Input: input, DB: db(trim - 40*rnd.Float64())}
		}
		return playback.Command{Do: playback.Mute, Input: input, On: true}
	}
	switch rnd.IntN(12) {
	case 0: // as a typing error requests
		return playback.Command{Do: playback.Level, DB: db(st.LevelDB + 100*rnd.Float64())}
	case 1:
		return playback.Command{Do: playback.Trim, Input: input, DB: db(trim + 100*rnd.Float64()), Beyond: true}
	case 2:
		return playback.Command{Do: playback.Mute, Input: input}
	case 3, 4:
		return playback.Command{Do: playback.Trim, Input: input, DB: db(trim + playback.StrokeDB), Beyond: rnd.IntN(2) == 0}
	}
	return playback.Command{Do: playback.Level, DB: db(st.LevelDB + playback.StrokeDB)}
}

// anyCommand returns any command but the acknowledgement.
func anyCommand(rnd *rand.Rand, st playback.Status) playback.Command {
	at := func() *float64 { v := 700*rnd.Float64() - 50; return &v }
	one := func(verbs ...playback.Verb) playback.Verb { return verbs[rnd.IntN(len(verbs))] }
	switch rnd.IntN(12) {
	case 0, 1:
		return playback.Command{Do: playback.Play}
	case 2:
		return playback.Command{Do: one(playback.Pause, playback.Stop, playback.FadeOut, playback.Next, playback.Previous, playback.ToneOff, playback.LoopOff)}
	case 3:
		return playback.Command{Do: one(playback.Locate, playback.LoopFrom, playback.LoopTo), AtS: at()}
	case 4:
		return playback.Command{Do: playback.LoopOn, FromS: at(), ToS: at()}
	case 5:
		return playback.Command{Do: one(playback.Fade, playback.Roll), MS: 1000 * rnd.Float64(), ByS: *at()}
	case 6:
		return playback.Command{Do: playback.LineUp, Outputs: []int{1 + rnd.IntN(safetyOutputs)}}
	case 7:
		return playback.Command{Do: playback.Identify, First: 1, Last: safetyOutputs}
	}
	return anyGain(rnd, st)
}

// listener judges what the capture client gets.
type listener struct {
	mu      sync.Mutex
	frames  int64
	loudest float64 // since the last check
	last    float64 // the largest of the last frame
	on      bool    // rises are judged
	wrong   string  // the first that is too steep or too high
	rose    bool    // something rose about as fast as it may
	most    float64 // dB, the highest that level and trim together have been
	window  [safetyOutputs][]float64
}

func (l *listener) raised(db float64) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.most == 0 || db > l.most {
		l.most = db
	}
}

func (l *listener) judgeRises(on bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.on = on
}

func (l *listener) check(t *testing.T, when string, wrong func(*listener) string) {
	t.Helper()
	l.mu.Lock()
	defer l.mu.Unlock()
	if w := wrong(l); w != "" {
		t.Errorf("%s: %s", when, w)
	}
	l.loudest = 0
}

func (l *listener) listen(r io.Reader) {
	raw := make([]byte, 4*safetyOutputs)
	for {
		if _, err := io.ReadFull(r, raw); err != nil {
			return
		}
		l.mu.Lock()
		l.frames++
		l.last = 0
		for o := range safetyOutputs {
			x := math.Abs(float64(math.Float32frombits(binary.LittleEndian.Uint32(raw[4*o:]))))
			l.loudest, l.last = max(l.loudest, x), max(l.last, x)
			l.rise(o, x)
		}
		l.mu.Unlock()
	}
}

// rise judges a sample by what a person raised the level and the trims to, and,
// while the program just goes on, by the sample of 10 ms before.
func (l *listener) rise(o int, x float64) {
	const frames = safetyRate / 100
	w := &l.window[o]
	*w = append(*w, x)
	if len(*w) <= frames {
		return
	}
	before := (*w)[len(*w)-1-frames]
	if len(*w) > 8*frames {
		*w = append((*w)[:0], (*w)[len(*w)-frames:]...)
	}
	if !l.on || l.wrong != "" {
		return
	}
	own := steady * math.Pow(10, safetyTrims[o]/20)
	gain := func(db float64) float64 { return own * math.Pow(10, (db+0.01)/20) }
	before = max(before, gain(playback.MinLevelDB))
	switch up := math.Pow(10, (playback.RiseDBPerS/100+0.003)/20); {
	case x > gain(l.most):
		l.wrong = fmt.Sprintf("frame %d, output %d: %g, though level and trim were at most %.1f dB together", l.frames, o+1, x, l.most)
	case x > before*up && x > gain(l.most+playback.UnmuteDB):
		l.wrong = fmt.Sprintf("frame %d, output %d: from %g to %g in 10 ms", l.frames, o+1, before, x)
	case x > before*(1+up)/2 && x > gain(l.most+playback.UnmuteDB):
		l.rose = true
	}
}
