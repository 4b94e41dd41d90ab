package playback

import (
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"

	"nightreel/catalog"
)

// onRing opens an armed engine that plays the given samples from its ring,
// repeatedly, instead of the program's.
func onRing(t *testing.T, p *Program, samples ...float32) *Engine {
	t.Helper()
	e, err := NewEngine(p, openTape)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []Command{{Do: Acknowledge}, {Do: Play}} {
		if err := e.Do(c); err != nil {
			t.Fatal(err)
		}
	}
	e.Close()
	e.pending.Store(nil) // the reader may have planned the change to the next song
	full := newRing(1<<12, p.Outputs)
	for i := range full.buf {
		full.buf[i] = samples[i%len(samples)]
	}
	e.rings[0], e.rings[1] = full, full
	return e
}

// pullRing pulls n frames, however much the ring has given already.
func (e *Engine) pullRing(n int) []float32 {
	dst := make([]float32, n*e.width)
	for at := 0; at < n; at += 2000 {
		e.rings[0].ready.Store(e.rings[0].taken.Load() + 1<<12)
		e.Pull(dst[at*e.width:min(n, at+2000)*e.width], e.width)
	}
	return dst
}

// commands returns how many random commands a test tries: NIGHTREEL_COMMANDS, or
// some thousand.
func commands(t *testing.T) int {
	n := 2400
	if s := os.Getenv("NIGHTREEL_COMMANDS"); s != "" {
		var err error
		if n, err = strconv.Atoi(s); err != nil {
			t.Fatal(err)
		}
	}
	return n
}

// Whatever commands come, in blocks of any size, no output rises by more than
// RiseDBPerS, nor by more than StrokeDB after a command, level and trim
// together; and it falls within safeFade. An output that was muted begins
// UnmuteDB below its level.
func TestRisesAreRamps(t *testing.T) {
	const each = 600
	steepest := 0.0
	for seed := range uint64((commands(t) + each - 1) / each) {
		steepest = max(steepest, checkRises(t, seed, each))
	}
	if steepest < 0.09 {
		t.Errorf("the steepest rise is only %.4f dB in 10 ms, so the bound was not tested", steepest)
	}
}

// checkRises returns the steepest rise in dB in 10 ms.
func checkRises(t *testing.T, seed uint64, commands int) float64 {
	e := onRing(t, tapeProgram(2, twoSongs...), 1e-3) // far below full scale
	rnd := rand.New(rand.NewPCG(seed, 2031))
	e.pullRing(1000) // the gate opens
	dbAt := func(x float32) float64 { return max(MinLevelDB+MinTrimDB, 20*math.Log10(float64(x)/1e-3)) }
	const window = 480 // frames, 10 ms
	var last [2][]float64
	var steepest [2]float64
	type block struct {
		frames int
		opens  [2]float64 // dB, at which an output begins that is no longer muted
	}
	var recent []block // the last ones, of a window at least
	for range commands {
		level, input := e.levelNowDB(), 1+rnd.IntN(2)
		before := [2]float64{level + e.trimNowDB(0) + UnmuteDB, level + e.trimNowDB(1) + UnmuteDB}
		trim := e.trimNowDB(input - 1)
		var c Command
		switch rnd.IntN(8) {
		case 0: // as a typing error requests
			c = Command{Do: Level, DB: ptr(MinLevelDB + rnd.Float64()*-MinLevelDB)}
		case 1:
			c = Command{Do: Trim, Input: input, DB: ptr(MinTrimDB + rnd.Float64()*(MaxTrimDB-MinTrimDB))}
		case 2:
			c = Command{Do: Level, DB: ptr(level - rnd.Float64()*3)}
		case 3:
			c = Command{Do: Trim, Input: input, DB: ptr(trim + StrokeDB)}
		case 4:
			c = Command{Do: Mute, Input: input, On: rnd.IntN(3) == 0}
		default:
			c = Command{Do: Level, DB: ptr(level + StrokeDB)}
		}
		err := e.Do(c)
		if refused := (*RefusedError)(nil); err != nil && !errors.As(err, &refused) {
			t.Fatal(err)
		}
		if c.Do == Level && err == nil && *c.DB > level+StrokeDB+1e-9 || c.Do == Trim && err == nil && *c.DB > trim+StrokeDB+1e-9 {
			t.Fatalf("%s to %v was done; it was at %v and %v", c.Do, *c.DB, level, trim)
		}
		out := e.pullRing(1 + rnd.IntN(4000))
		now := block{frames: len(out) / 2}
		for o := range 2 {
			now.opens[o] = max(before[o], e.levelNowDB()+e.trimNowDB(o)+UnmuteDB)
		}
		recent = append(recent, now)
		for sum, i := 0, len(recent)-2; i >= 0; i-- {
			if sum += recent[i].frames; sum >= window {
				recent = recent[i:]
				break
			}
		}
		for o := range 2 {
			opens := now.opens[o]
			for _, b := range recent {
				opens = max(opens, b.opens[o])
			}
			all := last[o]
			for f := o; f < len(out); f += 2 {
				all = append(all, dbAt(out[f]))
			}
			for f := 0; f+window < len(all); f++ {
				if all[f+window] > opens+0.11 { // else it begins to rise from silence
					steepest[o] = max(steepest[o], all[f+window]-max(all[f], MinLevelDB))
				}
			}
			last[o] = all[max(0, len(all)-window):]
		}
	}
	for o := range 2 {
		if most := RiseDBPerS*window/48000 + 0.002; steepest[o] > most {
			t.Errorf("seed %d, output %d rises by %.4f dB in 10 ms, at most %.4f are allowed", seed, o+1, steepest[o], most)
		}
	}
	return max(steepest[0], steepest[1])
}

// One command raises the level by at most a stroke, even if it is sent again
// before the ramp is over. Down it goes at once.
func TestOneStroke(t *testing.T) {
	e := onRing(t, tapeProgram(2, twoSongs...), 1e-3)
	var refused *RefusedError
	if err := e.Do(Command{Do: Level, DB: ptr(0.0)}); !errors.As(err, &refused) || !strings.Contains(refused.Why, "from -20.0 to 0.0 dB") || refused.Help == "" {
		t.Errorf("to full level in one step: %v", err)
	}
	if err := e.Do(Command{Do: Trim, Input: 2, DB: ptr(12.0)}); !errors.As(err, &refused) || !strings.Contains(refused.Why, "input 2 Channel 2") {
		t.Errorf("a trim in one step: %v", err)
	}
	for i := range 30 { // a key that repeats, before anything is pulled
		if err := e.Do(Command{Do: Level, DB: ptr(StartLevelDB + 1 + float64(i))}); (err == nil) != (i == 0) {
			t.Errorf("stroke %d at once: %v", i, err)
		}
	}
	if e.pullRing(2400); math.Abs(e.Status().LevelDB+19.5) > 0.01 {
		t.Errorf("after 50 ms at %.3f dB, want -19.5", e.Status().LevelDB)
	}
	if e.pullRing(24_000); e.Status().LevelDB != -19 {
		t.Errorf("after half a second at %v dB, want -19", e.Status().LevelDB)
	}
	if err := e.Do(Command{Do: Level, DB: ptr(-60.0)}); err != nil {
		t.Fatal(err)
	}
	out := e.pullRing(481)
	if x := float64(out[960]); math.Abs(20*math.Log10(x/1e-3)+60) > 0.01 {
		t.Errorf("10 ms after falling to -60 dB: %.2f dB", 20*math.Log10(x/1e-3))
	}
}

// No sample above full scale and no NaN leaves the engine. Cut samples are
// counted and shown by input; smaller ones are unchanged.
func TestNothingAboveFullScale(t *testing.T) {
	nan, inf := float32(math.NaN()), float32(math.Inf(1))
	given := []float32{0.5, 3, -1, -210.7, 1, nan, -0.999999, -inf}
	e := onRing(t, tapeProgram(2, twoSongs...), given...)
	e.setLevel(0)
	e.head.level = 1
	e.pullRing(1000)
	e.Status()
	before := e.limited[1].Load()
	want := []float32{0.5, 1, -1, -1, 1, 0, -0.999999, -1}
	for i, x := range e.pullRing(4000) {
		if x != want[i%len(want)] {
			t.Fatalf("sample %d is %v, want %v of %v", i, x, want[i%len(want)], given[i%len(want)])
		}
	}
	if n := e.limited[1].Load() - before; n != 4000 {
		t.Errorf("%d samples were counted, want 4000", n)
	}
	s := e.Status()
	if s.Inputs[0].Limited != 0 || s.Inputs[1].Limited == 0 || s.Inputs[1].PeakDBFS != 0 || s.Inputs[0].PeakDBFS != 0 {
		t.Errorf("%+v", s.Inputs)
	}
	if len(s.Problems) != 1 || !strings.Contains(s.Problems[0].Text, "2 Channel 2") || strings.Contains(s.Problems[0].Text, "Channel 1") {
		t.Errorf("problems: %+v", s.Problems)
	}
	clear(e.rings[0].buf)
	if e.pullRing((cutShownS + 1) * 48_000); len(e.Status().Problems) != 0 {
		t.Errorf("%d s later still %+v", cutShownS+1, e.Status().Problems)
	}
}

// If a session's trim and a live trim together exceed AskTrimDB, a person must
// confirm them; beyond MostTrimDB they are refused. Lowering is always allowed.
// Among several songs the one with the highest trim counts.
func TestTrimsTogether(t *testing.T) {
	loud := tapeItem{start: 0, end: 100_000, segments: []int64{0, 900_000}, trims: map[int]float64{2: 15, 3: 39.5}}
	r := newRig(t, tapeProgram(3, twoSongs[0], loud), openTape)
	r.climb(Command{Do: Trim, Input: 2, DB: ptr(5.0)})
	var refused *RefusedError
	if err := r.Do(Command{Do: Trim, Input: 2, DB: ptr(5.5)}); !errors.As(err, &refused) || !strings.Contains(refused.Why, "input 2 Channel 2: the session's trim of +15.0 dB and the live trim of +5.5 dB make +20.5 dB") {
		t.Errorf("beyond 20 dB: %v", err)
	}
	r.climb(Command{Do: Trim, Input: 2, DB: ptr(7.0), Beyond: true})
	r.do(Command{Do: Trim, Input: 2, DB: ptr(6.5)})
	if err := r.Do(Command{Do: Trim, Input: 3, DB: ptr(1.0), Beyond: true}); !errors.As(err, &refused) || !strings.Contains(refused.Why, "make +40.5 dB, beyond 40 dB") {
		t.Errorf("beyond 40 dB: %v", err)
	}
	r.climb(Command{Do: Trim, Input: 1, DB: ptr(20.0)})

	wild := tapeProgram(2, tapeItem{start: 0, end: 100_000, segments: []int64{0, 900_000}, trims: map[int]float64{2: 77}})
	var beyond *TrimError
	if _, err := NewEngine(wild, openTape); !errors.As(err, &beyond) || beyond.DeskInput != 2 || beyond.Hint() == "" {
		t.Errorf("a session with a trim of +77 dB: %v", err)
	}
	wild.Items[0].Voices[1].TrimDB = math.NaN()
	if _, err := NewEngine(wild, openTape); err == nil {
		t.Error("a session with a trim of NaN is played")
	}
}

// Live trims that a person left are set again before anything sounds, within the
// same bounds.
func TestTrimsAreRestored(t *testing.T) {
	p := tapeProgram(3, tapeItem{start: 0, end: 100_000, segments: []int64{0, 900_000}, trims: map[int]float64{3: 30}})
	e, err := NewEngine(p, openTape)
	if err != nil {
		t.Fatal(err)
	}
	defer e.Close()
	e.Restore(map[int]float64{1: 12, 2: 99, 3: 15, 9: 3})
	e.Pull(make([]float32, 300), 3)
	for i, want := range []float64{12, 0, catalog.MostTrimDB - 30} {
		if got := e.Status().Inputs[i].TrimDB; math.Abs(got-want) > 1e-5 {
			t.Errorf("input %d: %v dB, want %v", i+1, got, want)
		}
	}
	if g := e.head.trims[0]; math.Abs(float64(g)-math.Pow(10, 12.0/20)) > 1e-4 {
		t.Errorf("the gain is %v", g)
	}
}
