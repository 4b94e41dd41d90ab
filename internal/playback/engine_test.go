package playback

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
)

// fade is the default fade in frames at 48 kHz.
const fade = 480

var twoSongs = []tapeItem{
	{start: 100_000, end: 300_000, segments: []int64{0, 150_001, 250_000, 900_000}},
	{start: 500_000, end: 650_000, segments: []int64{0, 520_000, 900_000}, poly: true},
}

// From the first item over two ends of files into the second, and to the end,
// every sample outside the fades is the recording's.
func TestPlaysWhatWasRecorded(t *testing.T) {
	r := newRig(t, tapeProgram(3, twoSongs...), openTape)
	r.quiet("before play", r.pull(1000), 0, 1000)
	r.do(Command{Do: Play})
	out := r.pull(350_000)
	r.exact("first item", out, fade, 200_000, 100_000+fade)
	r.exact("second item", out, 200_000+fade, 350_000, 500_000+fade)
	out = r.pull(4096)
	r.quiet("after the end", out, fade, 4096)
	s := r.Status()
	if s.State != Stopped || s.Item != 1 || s.AtS != 0 || s.Underruns != 0 {
		t.Errorf("after the end: %+v", s)
	}
}

// Within a fade both sides are present, each with its half of an equal-power
// pair.
func TestFadesHaveEqualPower(t *testing.T) {
	r := newRig(t, tapeProgram(2, twoSongs...), openTape)
	r.do(Command{Do: Play})
	out := r.pull(201_000)
	for f := range fade {
		phi := math.Pi / 2 * (float64(f) + 0.5) / fade
		for c := range 2 {
			want := float64(patternF(300_000+int64(f), c))*math.Cos(phi) + float64(patternF(500_000+int64(f), c))*math.Sin(phi)
			if got := out[(200_000+f)*2+c]; math.Abs(float64(got)-want) > 1e-6 {
				t.Fatalf("frame %d of the fade, output %d: %v, want %v", f, c+1, got, want)
			}
		}
	}
}

// A loop of any length returns exactly to its start, whether set before or
// during playback.
func TestLoop(t *testing.T) {
	for _, length := range []int64{9_600, 33_333, 100_003} {
		r := newRig(t, tapeProgram(2, twoSongs...), openTape)
		from := int64(20_000)
		r.do(Command{Do: LoopOn, FromS: ptr(float64(from) / 48000), ToS: ptr(float64(from+length) / 48000)})
		r.do(Command{Do: Play})
		out := r.pull(int(from + 5*length))
		r.exact("up to the loop's end", out, fade, int(from+length), 100_000+fade)
		for k := range 4 {
			at := int(from) + (k+1)*int(length)
			r.exact("a round", out, at+fade, at+int(length), 100_000+from+fade)
		}
		// Switched off, playback continues past the loop's end.
		r.do(Command{Do: LoopOff})
		out = r.pull(int(length) + 5000)
		r.exact("the last round", out, fade, int(length), 100_000+from+fade)
		r.exact("behind the loop", out, int(length), int(length)+5000, 100_000+from+length)
	}
}

// If a loop is set after the audio past its end was read ahead, the jump still
// comes at its end, to the frame.
func TestLoopSetWhilePlaying(t *testing.T) {
	r := newRig(t, tapeProgram(2, twoSongs...), openTape)
	r.do(Command{Do: Play})
	r.pull(30_000)
	r.do(Command{Do: LoopFrom, AtS: ptr(0.5)})
	r.do(Command{Do: LoopTo, AtS: ptr(1.0)})
	out := r.pull(100_000) // from 30 000: 18 000 to the end, then rounds of 24 000
	r.exact("to the end", out, 0, 18_000, 130_000)
	for k := range 3 {
		at := 18_000 + k*24_000
		r.exact("a round", out, at+fade, at+24_000, 124_000+fade)
	}
	// If the loop's end is set behind the present position, playback jumps to
	// its start at once.
	r.do(Command{Do: LoopOff})
	r.pull(48_000)
	r.do(Command{Do: LoopOn})
	out = r.pull(20_000)
	at := r.sync(out, 124_000+fade)
	if at > 2*r.block+fade {
		t.Errorf("%d frames until the loop's start", at)
	}
	r.exact("in the loop", out, at, 20_000, 124_000+fade)
	if s := r.Status(); !s.Loop.On || s.Underruns != 0 {
		t.Errorf("%+v", s)
	}
}

// sync returns the position in out of a frame of the recording.
func (r *rigUp) sync(out []float32, frame int64) int {
	r.t.Helper()
	for f := 0; f < len(out)/r.channels; f++ {
		if out[f*r.channels] == patternF(frame, 0) && out[f*r.channels+1] == patternF(frame, 1) {
			return f
		}
	}
	r.t.Fatalf("frame %d does not come", frame)
	return 0
}

// During random jumps the old audio plays on until the new position is read, and
// no frame is silent or wrong except in the fade.
func TestJumps(t *testing.T) {
	r := newRig(t, tapeProgram(2, twoSongs...), openTape)
	rnd := rand.New(rand.NewPCG(1, 2031))
	r.do(Command{Do: Play})
	r.pull(5000)
	at := int64(105_000)
	for range 60 {
		item := rnd.IntN(2)
		frame := rnd.Int64N(100_000)
		r.do(Command{Do: Locate, Item: &item, AtS: ptr(float64(frame) / 48000)})
		to := twoSongs[item].start + frame
		n := 3000 + rnd.IntN(9000)
		out := r.pull(n)
		k := r.sync(out, to+fade) - fade
		r.exact("before the jump", out, 0, k, at)
		r.exact("after the jump", out, k+fade, n, to+fade)
		at = to + int64(n-k)
	}
	if s := r.Status(); s.Underruns != 0 || s.State != Playing {
		t.Errorf("%+v", s)
	}
}

// Pause, resume, stop, and jumps during a pause give silence, and then the right
// frame.
func TestTransport(t *testing.T) {
	r := newRig(t, tapeProgram(2, twoSongs...), openTape)
	expect := func(what string, state State, item int, at float64) {
		t.Helper()
		if s := r.Status(); s.State != state || s.Item != item || math.Abs(s.AtS-at) > 1e-9 {
			t.Errorf("%s: %s, item %d, %v s; want %s, %d, %v", what, s.State, s.Item, s.AtS, state, item, at)
		}
	}
	r.do(Command{Do: Play})
	r.pull(48_000)
	r.do(Command{Do: Pause})
	out := r.pull(2000)
	r.quiet("paused", out, fade, 2000)
	for f := 1; f < fade; f++ {
		x, full := float64(out[f*2]), float64(patternF(148_000+int64(f), 0))
		if math.Abs(x) > math.Abs(full) {
			t.Fatalf("frame %d of the fade-out is louder than the recording", f)
		}
	}
	expect("paused", Paused, 0, 1.01)
	r.do(Command{Do: Play})
	out = r.pull(5000)
	r.exact("resumed", out, fade, 5000, 148_000+2*fade)

	r.do(Command{Do: FadeOut})
	out = r.pull(20_000)
	r.quiet("faded out", out, 14_400, 20_000)
	r.do(Command{Do: Next})
	r.quiet("next", r.pull(1000), 0, 1000)
	expect("next", Stopped, 1, 0)
	r.do(Command{Do: Skip, ByS: 1})
	r.do(Command{Do: Play}) // before the disk has answered
	r.exact("skipped", r.pull(5000), fade, 5000, 548_000+fade)
	r.do(Command{Do: Skip, ByS: -10})
	out = r.pull(5000)
	r.exact("skipped to the start", out, r.sync(out, 500_000+fade), 5000, 500_000+fade)
	r.do(Command{Do: Previous})
	out = r.pull(5000)
	r.exact("the item before", out, r.sync(out, 100_000+fade), 5000, 100_000+fade)
	r.pull(3 * 48_000)
	r.do(Command{Do: Previous})
	out = r.pull(5000)
	r.exact("its own start", out, r.sync(out, 100_000+fade), 5000, 100_000+fade)

	r.do(Command{Do: Roll, ByS: 0.5})
	r.do(Command{Do: Stop})
	out = r.pull(5000)
	r.quiet("stopped", out, fade, 5000)
	expect("stopped", Stopped, 0, -0.5)
	r.do(Command{Do: Play})
	out = r.pull(30_000)
	r.exact("with pre-roll", out, fade, 30_000, 76_000+fade)
	r.do(Command{Do: AtEnd, Then: "stop"})
	out = r.pull(200_000)
	r.exact("to the song's end", out, 0, 194_000, 106_000)
	r.quiet("behind it", out, 194_000+fade, 200_000)
	expect("at its end", Stopped, 1, -0.5)
}

func TestLevels(t *testing.T) {
	p := tapeProgram(3, tapeItem{start: 0, end: 400_000, segments: []int64{0, 900_000}, trims: map[int]float64{3: 6}})
	r := newRig(t, p, openTape)
	r.do(Command{Do: Play})
	r.pull(1000)
	r.do(Command{Do: Level, DB: ptr(-12.0)})
	r.do(Command{Do: Trim, Input: 1, DB: ptr(-6.0)})
	r.do(Command{Do: Mute, Input: 2, On: true})
	out := r.pull(5000)
	for f := range 4999 { // no step is larger than the ramp's
		g0, g1 := float64(out[f*3])/float64(patternF(1000+int64(f), 0)), float64(out[f*3+3])/float64(patternF(1001+int64(f), 0))
		if math.Abs(g1-g0) > 1.0/fade {
			t.Fatalf("gain goes from %v to %v at frame %d", g0, g1, f)
		}
	}
	gain := func(c int) float64 { return float64(out[4000*3+c]) / float64(patternF(5000, c)) }
	for c, want := range []float64{math.Pow(10, -18.0/20), 0, math.Pow(10, -6.0/20)} {
		if math.Abs(gain(c)-want) > 1e-6 {
			t.Errorf("output %d: gain %v, want %v", c+1, gain(c), want)
		}
	}
	s := r.Status()
	if s.Inputs[0].PeakDBFS < -19 || s.Inputs[0].PeakDBFS > 0 || s.LevelDB != -12 {
		t.Errorf("%+v", s)
	}
	r.pull(1000)
	if s := r.Status(); !math.IsInf(float64(s.Inputs[1].PeakDBFS), -1) || math.Abs(float64(s.Inputs[0].PeakDBFS)+18) > 0.1 {
		t.Errorf("peaks %v, %v", s.Inputs[0].PeakDBFS, s.Inputs[1].PeakDBFS)
	}
	// Back at 0 dB the output is bit-exact again.
	r.climb(Command{Do: Level, DB: ptr(0.0)})
	r.climb(Command{Do: Trim, Input: 1, DB: ptr(0.0)})
	at := r.Status().AtS
	out = r.pull(3000)
	if frame := int64(math.Round(at*48000)) + 2999; out[2999*3] != patternF(frame, 0) {
		t.Errorf("after going back to 0 dB: %v, want %v", out[2999*3], patternF(frame, 0))
	}
}

func TestNothingBeforeTheCautions(t *testing.T) {
	e, err := NewEngine(tapeProgram(2, twoSongs...), openTape)
	if err != nil {
		t.Fatal(err)
	}
	defer e.Close()
	for _, c := range []Command{{Do: Play}, {Do: Identify}, {Do: LineUp, Outputs: []int{1}}} {
		var refused *RefusedError
		if err := e.Do(c); !errors.As(err, &refused) {
			t.Errorf("%s: %v", c.Do, err)
		}
	}
	if s := e.Status(); s.State != Unarmed || s.LevelDB != StartLevelDB {
		t.Errorf("%+v", s)
	}
}

func TestRefused(t *testing.T) {
	r := newRig(t, tapeProgram(2, twoSongs...), openTape)
	nan := math.NaN()
	for _, c := range []Command{
		{Do: "louder"}, {Do: Level}, {Do: Level, DB: ptr(0.1)}, {Do: Level, DB: &nan}, {Do: Mute, Input: 9}, {Do: Trim, Input: 1, DB: ptr(30.0)},
		{Do: Locate, Item: ptr(2)}, {Do: Locate, AtS: ptr(99.0)}, {Do: Locate, AtS: &nan}, {Do: ToMarker}, {Do: LoopOn}, {Do: LoopOn, FromS: ptr(1.0), ToS: ptr(1.1)},
		{Do: LoopOn, FromS: ptr(1.0), ToS: ptr(99.0)}, {Do: LoopOn, FromS: ptr(1.0), ToS: ptr(1e300)}, {Do: LoopOn, FromS: ptr(1.92e14), ToS: ptr(-1.92e14)}, {Do: LoopOn, FromS: ptr(2.0), ToS: ptr(1.0)},
		{Do: LoopFrom, AtS: ptr(1e300)}, {Do: LoopFrom, AtS: ptr(99.0)}, {Do: LoopTo, AtS: ptr(-1e300)}, {Do: LoopTo, AtS: &nan}, {Do: Skip, ByS: 1e300}, {Do: Skip, ByS: nan}, {Do: AtEnd, Then: "explode"}, {Do: Fade, MS: 2000}, {Do: Roll, ByS: -1},
		{Do: LineUp}, {Do: LineUp, Outputs: []int{3}}, {Do: LineUp, Outputs: []int{1}, DB: ptr(0.0)}, {Do: Identify, First: 2, Last: 1}, {Do: Identify, Hz: 1},
	} {
		var refused *RefusedError
		if err := r.Do(c); !errors.As(err, &refused) || refused.Why == "" {
			t.Errorf("%+v: %v", c, err)
		}
	}
	r.do(Command{Do: Next})
	if err := r.Do(Command{Do: Next}); err == nil {
		t.Error("next behind the last item")
	}
}

// If a sink has more channels than the program has outputs, the others get
// silence.
func TestSpareOutputsAreSilent(t *testing.T) {
	r := newRig(t, tapeProgram(2, twoSongs...), openTape)
	r.channels = 5
	r.do(Command{Do: Play})
	out := r.pull(3000)
	r.exact("the program's", out, fade, 3000, 100_000+fade)
	for i, x := range out {
		if i%5 >= 2 && x != 0 {
			t.Fatalf("output %d: %v", i%5+1, x)
		}
	}
}

// The pull does not allocate. The reader is stopped while allocations are
// counted, because the count is the whole process's.
func TestPullDoesNotAllocate(t *testing.T) {
	e, err := NewEngine(tapeProgram(64, twoSongs...), openTape)
	if err != nil {
		t.Fatal(err)
	}
	dst := make([]float32, 64*64)
	free := 1 - e.next
	e.Do(Command{Do: Acknowledge})
	e.Close()
	full := newRing(1<<16, 64)
	full.ready.Store(1 << 16)
	e.rings[0], e.rings[1] = full, full
	pull := func(what string, prepare func()) {
		t.Helper()
		if n := testing.AllocsPerRun(50, func() {
			prepare()
			e.Pull(dst, 64)
		}); n != 0 {
			t.Errorf("%s: %v allocations a pull", what, n)
		}
	}
	nothing := func() {}
	full.buf[0], full.buf[1] = 3, float32(math.NaN()) // above full scale, and NaN
	pull("silent", nothing)
	e.Do(Command{Do: Play})
	pull("playing", nothing)
	db := float32(-3)
	pull("gains moving", func() {
		db--
		e.gains[3].Store(math.Float32bits(amplitude(-float64(db) / 40)))
		e.level.Store(math.Float32bits(amplitude(float64(db))))
	})
	pull("gate moving", func() { e.gate.Store(e.gate.Load()&1 ^ 1 | 100<<1) })
	e.gate.Store(1)
	s := &swap{ring: free, fade: fadeIn(100)}
	pull("changing rings", func() { s.ring = 1 - s.ring; e.pending.Store(s) })
	full.ready.Store(full.taken.Load() + 300)
	pull("running dry", nothing)
	if e.underruns.Load() != 1 {
		t.Errorf("%d underruns", e.underruns.Load())
	}
	full.ready.Store(full.taken.Load() + 1<<15)
	pull("and back", nothing)
	e.gate.Store(0)
	e.Pull(dst, 64)
	e.state = Paused
	if err := e.Do(Command{Do: LineUp, Outputs: []int{1, 2}}); err != nil {
		t.Fatal(err)
	}
	pull("tone", nothing)
	e.toneOff.Store(true)
	e.Pull(make([]float32, 64*9600), 64)
	if err := e.Do(Command{Do: Identify}); err != nil {
		t.Fatal(err)
	}
	pull("walk", nothing)
}
