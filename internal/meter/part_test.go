package meter

import (
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"
)

var allTypes = []SampleType{Uint8, Int16, Int24, Int32, Float32, Float64}

// lively is a track with everything that a meter detects: tones that come and
// go, noise, clicks, runs at full scale, flat tops with noise and without,
// digital silence, an offset.
func lively(r *rand.Rand, rate, frames int) []float64 {
	x := make([]float64, frames)
	for at := 0; at < frames; {
		n := min(frames-at, 1+r.IntN(rate))
		part := x[at : at+n]
		a, w := math.Pow(10, -3*r.Float64()), 2*math.Pi*20*math.Pow(400, r.Float64())/float64(rate)
		limit := 2.0
		kind := r.IntN(7)
		if kind == 1 || kind == 6 {
			limit = a * (0.3 + 0.7*r.Float64())
		}
		behind := math.Pow(10, -4-2*r.Float64()) // noise on the flat tops: -80 to -120 dBFS
		for i := range part {
			v := a * math.Sin(w*float64(i))
			switch kind {
			case 2:
				v = 3 * v
			case 3:
				v = a * r.NormFloat64()
			case 4:
				v = 0
			case 5:
				v = a*0.1 + 0.001*r.NormFloat64()
			}
			part[i] = max(-limit, min(limit, v))
			if kind == 6 {
				part[i] += behind * r.NormFloat64()
			}
		}
		if n > 100 {
			part[r.IntN(n)] = 0.9
		}
		at += n
	}
	for i := range x {
		x[i] = max(-1, min(1, x[i]))
	}
	return x
}

// Levels are mathematical: a full-scale square is 0 dBFS, a full-scale sine
// -3.0103 (design of the figures; ffmpeg astats and SoX stats agree).
func TestLevelConventions(t *testing.T) {
	square := make([]float64, 48000)
	for i := range square {
		square[i] = 1
		if i/50%2 == 1 {
			square[i] = -1
		}
	}
	f := figures(t, 48000, square)
	near(t, "square: peak", f.SamplePeak, 0, 0)
	near(t, "square: RMS", f.RMS, 0, 1e-6)
	near(t, "square: crest", f.CrestFactor, 0, 1e-6)

	f = figures(t, 48000, tones(48000, 1000, tone{0, 1}))
	near(t, "sine: peak", f.SamplePeak, 0, 1e-6)
	near(t, "sine: RMS", f.RMS, -3.0103, 1e-4)
	near(t, "sine: crest", f.CrestFactor, 3.0103, 1e-4)
	near(t, "sine: DC", f.DCOffset, 0, 1e-6)

	f = figures(t, 48000, make([]float64, 4*48000))
	for what, l := range map[string]Level{"peak": f.SamplePeak, "true peak": f.TruePeak,
		"RMS": f.RMS, "I": f.Loudness, "M": f.MaxMomentary, "S": f.MaxShortTerm} {
		if !l.IsSilence() {
			t.Errorf("silence: %s is %v", what, l)
		}
	}
	if f.LoudnessRange != 0 || !f.CrestFactor.IsZero() {
		t.Errorf("silence: range %v, crest %v", f.LoudnessRange, f.CrestFactor)
	}
}

// A dead track with an offset has no loudness: the K filter starts settled, in
// the recording's first part and in all others.
func TestOffsetIsNoLoudness(t *testing.T) {
	x := make([]float64, 62*48000)
	for i := range x {
		x[i] = 0.01
	}
	e := envelope(t, 48000, x)
	for i, b := range e.Blocks {
		if b.KMeanSquare != 0 || b.MaxMomentary != 0 {
			t.Fatalf("block %d: K-weighted %g, momentary %g of an offset", i, b.KMeanSquare, b.MaxMomentary)
		}
	}
	f := e.Figures(0, e.Frames)
	if !f.Loudness.IsSilence() {
		t.Errorf("I is %v", f.Loudness)
	}
	near(t, "DC", f.DCOffset, 0.01, 1e-6)
}

// BS.1770-5 Annex 2: the filter is drained at the recording's end, and a peak
// between the last samples is found (0.972 of an impulse on the last one). Alone
// the filter may read below the sample; the figure never does.
func TestTruePeakAtTheEnds(t *testing.T) {
	x := make([]float64, 4800)
	x[4799] = 1
	drained := interpolated(append(append(make([]float64, 64), x...), make([]float64, 64)...), 64, 64+4800+6, 4, 0)
	near(t, "impulse on the last frame, filter alone", drained, 7964./8192, 1e-12)
	near(t, "impulse on the last frame", figures(t, 48000, x).TruePeak, 0, 1e-6)

	// Half a period of a wave of fs/2 whose peak lies between its two samples.
	for name, at := range map[string]int{"first": 0, "last": 4798, "middle": 2000} {
		x := make([]float64, 4800)
		x[at], x[at+1] = 0.5, 0.5
		want := reference(x, 48000, 0, len(x)).TruePeak
		near(t, name+" frames", figures(t, 48000, x).TruePeak, want, 1e-3)
		if want < DB(0.6) {
			t.Errorf("%s frames: reference reads %v, no peak between the samples", name, want)
		}
	}
}

// A peak counts in the block of its own frame, not in the one in which the
// filter's delay makes it appear.
func TestTruePeakBlock(t *testing.T) {
	for at := 4790; at < 4810; at++ {
		x := make([]float64, 3*4800)
		x[at-1], x[at] = 0.5, 0.5 // the peak is half-way
		p := onePart(t, Config{SampleRate: 48000, Type: Float64}, raw(Float64, x), 0, len(x))
		home := at / 4800
		if at == 4800 {
			continue // the peak lies on the border
		}
		for i, b := range p.Blocks {
			if i != home && b.TruePeak >= p.Blocks[home].TruePeak {
				t.Errorf("crest before frame %d: block %d reads %g, its own %g", at, i, b.TruePeak, p.Blocks[home].TruePeak)
			}
		}
	}
}

// The bound of the true-peak filter is reached and never exceeded (L1 norm of
// its phases 1 and 2, 16571/8192).
func TestTruePeakBound(t *testing.T) {
	worst := make([]float64, 64)
	for i, s := range []float64{-1, 1, -1, 1, -1, 1, 1, -1, 1, -1, 1, -1} {
		worst[20+i] = s
	}
	near(t, "worst case", interpolated(worst, 10, 50, 4, 0), 2.0228271484375, 1e-12)
	r := newRand(1)
	for range 200 {
		x := make([]float64, 200)
		for i := range x {
			x[i] = float64(2*r.IntN(2) - 1)
		}
		if got := interpolated(x, 6, 190, 4, 0); got > 2.0228271484375+1e-12 {
			t.Fatalf("samples of ±1 read %v", got)
		}
	}
}

// Skipping changes no bit: every block's true peak is that of the filter over
// all of its frames.
func TestTruePeakSkipping(t *testing.T) {
	for _, rate := range []int{44100, 96000} {
		x := lively(newRand(2), rate, 5*rate)
		p := onePart(t, Config{SampleRate: rate, Type: Float64}, raw(Float64, x), 0, len(x))
		padded := append(append(make([]float64, 64), x...), make([]float64, 64)...)
		n := BlockFrames(rate)
		for i, b := range p.Blocks {
			from, to := 64+i*n, 64+(i+1)*n
			want := max(float32(interpolated(padded, from, to, oversampling(rate), 0)), b.Peak)
			if b.TruePeak != want {
				t.Errorf("%d Hz, block %d: %g, want %g", rate, i, b.TruePeak, want)
			}
		}
	}
}

// The result does not depend on how the frames are divided among writes, nor on
// interleaved or separate buffers.
func TestWriteInAnyPieces(t *testing.T) {
	const rate, channels = 44100, 5
	frames := 3*rate + 777
	for _, typ := range allTypes {
		r := newRand(3)
		var mono [][]byte
		for range channels {
			mono = append(mono, raw(typ, lively(r, rate, frames)))
		}
		poly := interleaved(typ.Bytes(), mono)
		cfg := Config{SampleRate: rate, Channels: channels, Type: typ, Frames: int64(frames), First: 1000}
		measure := func(layout string, piece func() int) []Part {
			m, err := New(cfg)
			if err != nil {
				t.Fatal(err)
			}
			size := typ.Bytes()
			for at := 0; at < frames; {
				n := min(piece(), frames-at)
				bufs := [][]byte{poly[at*size*channels : (at+n)*size*channels]}
				if layout == "mono" {
					bufs = nil
					for _, b := range mono {
						bufs = append(bufs, b[at*size:(at+n)*size])
					}
				}
				if err := m.Write(n, bufs...); err != nil {
					t.Fatal(err)
				}
				at += n
			}
			return m.Finish()
		}
		want := measure("interleaved", func() int { return frames })
		for _, layout := range []string{"interleaved", "mono"} {
			for name, piece := range map[string]func() int{
				"whole": func() int { return frames }, "block": func() int { return 4410 },
				"ragged": func() int { return r.IntN(9000) }, "small": func() int { return 1 + r.IntN(50) },
			} {
				if got := measure(layout, piece); !reflect.DeepEqual(got, want) {
					t.Errorf("type %d, %s, %s pieces: a different result", typ, layout, name)
				}
			}
		}
		events := 0
		for _, p := range want {
			events += len(p.Events)
		}
		if len(want) != channels || len(want[0].Blocks) != 31 || events == 0 {
			t.Errorf("type %d: %d parts, %d blocks, %d events", typ, len(want), len(want[0].Blocks), events)
		}
	}
}

// All types agree on samples that all of them can represent.
func TestTypesAgree(t *testing.T) {
	const rate = 48000
	x := quantised(Int16, scaled(lively(newRand(4), rate, 4*rate), 0.9))
	var want Part
	for i, typ := range []SampleType{Int16, Int24, Int32, Float32, Float64} {
		got := onePart(t, Config{SampleRate: rate, Type: typ, ClipLevel: 0.89}, raw(typ, x), 0, len(x))
		if i == 0 {
			want = got
		}
		if !reflect.DeepEqual(got, want) {
			t.Errorf("type %d differs from 16 bit", typ)
		}
	}
	y := quantised(Uint8, x)
	a := onePart(t, Config{SampleRate: rate, Type: Uint8, ClipLevel: 2}, raw(Uint8, y), 0, len(y))
	b := onePart(t, Config{SampleRate: rate, Type: Float64, ClipLevel: 2}, raw(Float64, y), 0, len(y))
	for i := range a.Blocks {
		a.Blocks[i].Flat, b.Blocks[i].Flat = 0, 0 // corners are measured in steps of 8 bit for 8-bit samples
	}
	if !slices.Equal(a.Blocks, b.Blocks) {
		t.Error("8 bit differs from floats of the same values")
	}
}

// No peak is rounded below its sample: 24 bit is exact, 32 bit is rounded up.
func TestPeakIsNeverTooLow(t *testing.T) {
	r := newRand(5)
	for _, typ := range allTypes {
		for range 200 {
			x := make([]float64, 100)
			x[50] = (2*r.Float64() - 1) * math.Pow(10, -3*r.Float64())
			sample := math.Abs(quantised(typ, x)[50])
			b := onePart(t, Config{SampleRate: 48000, Type: typ}, raw(typ, x), 0, len(x)).Blocks[0]
			over := float64(b.Peak) - sample
			if over < 0 || over > sample*1.2e-7 || typ != Int32 && typ != Float64 && over != 0 {
				t.Errorf("type %d: sample %.12g reads %.12g", typ, sample, b.Peak)
			}
		}
	}
}

// Polarity changes nothing but the sign of the mean.
func TestPolarity(t *testing.T) {
	x := lively(newRand(6), 48000, 5*48000)
	cfg := Config{SampleRate: 48000, Type: Float64}
	a := onePart(t, cfg, raw(Float64, x), 0, len(x))
	b := onePart(t, cfg, raw(Float64, scaled(x, -1)), 0, len(x))
	for i := range b.Blocks {
		b.Blocks[i].Mean *= -1
		if b.Blocks[i].Mean == 0 {
			b.Blocks[i].Mean = a.Blocks[i].Mean // no negative zero
		}
	}
	if !reflect.DeepEqual(a, b) {
		t.Error("a track of opposite polarity measures differently")
	}
}

// Gain changes every level by that gain, as long as no block crosses the
// absolute gate.
func TestGainShiftsLevels(t *testing.T) {
	r := newRand(7)
	var x []float64
	for range 12 {
		x = append(x, noise(r, 48000, -20-15*r.Float64())...)
	}
	a, b := figures(t, 48000, x), figures(t, 48000, scaled(x, amp(-7.5)))
	for what, pair := range map[string][2]Level{
		"peak": {a.SamplePeak, b.SamplePeak}, "true peak": {a.TruePeak, b.TruePeak}, "RMS": {a.RMS, b.RMS},
		"I": {a.Loudness, b.Loudness}, "M": {a.MaxMomentary, b.MaxMomentary}, "S": {a.MaxShortTerm, b.MaxShortTerm},
	} {
		near(t, what, pair[1], pair[0]-7.5, 2e-4)
	}
	near(t, "range", b.LoudnessRange, a.LoudnessRange, 1e-5)
	near(t, "crest", b.CrestFactor, a.CrestFactor, 1e-5)
}

// Silent blocks in front shift the blocks and change nothing else.
func TestSilenceInFrontShifts(t *testing.T) {
	x := scaled(noise(newRand(8), 5*48000, -20), 1)
	x[0] = 0 // or the filter would start settled on it
	cfg := Config{SampleRate: 48000, Type: Float64}
	a := onePart(t, cfg, raw(Float64, x), 0, len(x))
	const k = 7
	y := append(make([]float64, k*4800), x...)
	b := onePart(t, cfg, raw(Float64, y), 0, len(y))
	for i := range a.Blocks {
		got, want := b.Blocks[k+i], a.Blocks[i]
		if i < 3 {
			got.MaxMomentary, want.MaxMomentary = 0, 0 // the silence completes the first windows
		}
		if i == 0 {
			got.TruePeak, want.TruePeak = 0, 0 // the ringing before the first frame lies in the silence
		}
		if i == 3 {
			got.MaxMomentary = max(got.MaxMomentary, want.MaxMomentary)
			want.MaxMomentary = got.MaxMomentary
		}
		if got != want {
			t.Fatalf("block %d: %+v, want %+v", i, got, want)
		}
	}
}

// Parts that are measured separately equal one part: bit for bit, except for the
// K filter's settling, which is 1e-9 of the energies and so at most the last bit
// of a float32.
func TestPartsAreTheWhole(t *testing.T) {
	slow(t)
	for _, rate := range []int{22050, 48000} {
		r := newRand(9)
		x := make([]float64, 70*rate+4321)
		for i, v := range lively(r, rate, len(x)) {
			x[i] = v + 1e-4*r.NormFloat64()
		}
		for at := 59 * rate; at < len(x); at += 60 * rate { // runs across the borders
			for i := rate - 5; i < rate+9; i++ {
				x[at+i] = 1
			}
		}
		cfg := Config{SampleRate: rate, Type: Int24}
		data := raw(Int24, x)
		whole := onePart(t, cfg, data, 0, len(x))
		size := PartBlocks * BlockFrames(rate)
		var parts []Part
		for at := 0; at < len(x); at += size {
			cfg.RunUp = 0
			if at > 0 {
				cfg.RunUp = RunUpFrames(rate)
			}
			parts = append(parts, onePart(t, cfg, data, at, min(at+size, len(x))))
		}
		a := Join(rate, int64(len(x)), 0, whole)
		b := Join(rate, int64(len(x)), 0, parts...)
		if len(a.Blocks) != len(b.Blocks) {
			t.Fatalf("%d blocks, want %d", len(b.Blocks), len(a.Blocks))
		}
		for i := range a.Blocks {
			v, w := b.Blocks[i], a.Blocks[i]
			for _, p := range [][2]float32{{v.KMeanSquare, w.KMeanSquare}, {v.MaxMomentary, w.MaxMomentary}} {
				if d := math.Abs(float64(p[0]) - float64(p[1])); d > 1.2e-7*float64(p[1]) {
					t.Errorf("block %d: energy %g, want %g", i, p[0], p[1])
				}
			}
			v.KMeanSquare, v.MaxMomentary = w.KMeanSquare, w.MaxMomentary
			if v != w {
				t.Errorf("block %d: %+v, want %+v", i, v, w)
			}
		}
	}
}

// The figures of a span from the envelope equal those of the reference, computed
// directly from the samples.
func TestFiguresAreThoseOfTheSamples(t *testing.T) {
	slow(t)
	for _, rate := range []int{8000, 11025, 44100, 48000, 96000, 192000} {
		r := newRand(10)
		n := 6*rate + 1234
		x := quantised(Int24, lively(r, rate, n))
		e := Join(rate, int64(n), 0, inParts(t, Config{SampleRate: rate, Type: Int24, ClipLevel: 32767. / 32768}, raw(Int24, x))...)
		block := BlockFrames(rate)
		for i := range 6 {
			from, to := 0, n
			if i > 0 {
				from = r.IntN(20) * block
				to = min(n, from+(1+r.IntN(45))*block)
			}
			want := reference(x, rate, from, to)
			got := e.Figures(int64(from), int64(to))
			compareFigures(t, fmt.Sprintf("%d Hz, frames %d to %d", rate, from, to), got, want, i == 0)
		}
	}
}

// compareFigures compares two sets of figures. Runs at full scale that reach
// beyond a span count with their whole length, so they are compared only over
// the whole.
func compareFigures(t *testing.T, what string, got, want Figures, all bool) {
	t.Helper()
	for name, pair := range map[string][2]Level{
		"sample peak": {got.SamplePeak, want.SamplePeak}, "true peak": {got.TruePeak, want.TruePeak},
		"RMS": {got.RMS, want.RMS}, "I": {got.Loudness, want.Loudness}, "max M": {got.MaxMomentary, want.MaxMomentary},
		"max S": {got.MaxShortTerm, want.MaxShortTerm}, "range": {got.LoudnessRange, want.LoudnessRange},
		"crest": {got.CrestFactor, want.CrestFactor},
	} {
		if pair[0].IsZero() && pair[1].IsZero() {
			continue
		}
		near(t, what+": "+name, pair[0], pair[1], 3e-4)
	}
	near(t, what+": DC", got.DCOffset, want.DCOffset, 1.6e-5)
	if all && got.ClippedSamples != want.ClippedSamples {
		t.Errorf("%s: %d clipped samples, want %d", what, got.ClippedSamples, want.ClippedSamples)
	}
}

// A block's momentary maximum is that of the windows that end in it: none in the
// first 300 ms, one in the fourth block, in later ones at least the window that
// ends with the block.
func TestMaxMomentaryOfABlock(t *testing.T) {
	x := noise(newRand(12), 48000, -20)
	b := onePart(t, Config{SampleRate: 48000, Type: Float64}, raw(Float64, x), 0, len(x)).Blocks
	for i := range b {
		if i < 3 {
			near(t, "before the first window", float64(b[i].MaxMomentary), 0, 0)
			continue
		}
		var mean float64
		for _, w := range b[i-3 : i+1] {
			mean += float64(w.KMeanSquare) / 4
		}
		if got := float64(b[i].MaxMomentary); i == 3 && math.Abs(got-mean) > 1e-6*mean || got < mean*(1-1e-6) {
			t.Errorf("block %d: %g, the window that ends with it has %g", i, got, mean)
		}
	}
}

// A short span has no figures that need a longer one; EBU Tech 3341 clause 2.3.
func TestShortSpans(t *testing.T) {
	e := envelope(t, 48000, tones(48000, 1000, tone{-20, 5}))
	for _, row := range []struct {
		blocks               int64
		loudness, shortTerms bool
	}{{1, false, false}, {3, false, false}, {4, true, false}, {29, true, false}, {30, true, true}} {
		f := e.Figures(4800, 4800+row.blocks*4800)
		if f.Loudness.IsZero() == row.loudness || f.MaxMomentary.IsZero() == row.loudness {
			t.Errorf("%d blocks: I %v, M %v", row.blocks, f.Loudness, f.MaxMomentary)
		}
		if f.MaxShortTerm.IsZero() == row.shortTerms || f.LoudnessRange.IsZero() == row.shortTerms {
			t.Errorf("%d blocks: S %v, range %v", row.blocks, f.MaxShortTerm, f.LoudnessRange)
		}
		near(t, "RMS", f.RMS, -23.0103, 1e-3)
	}
	if f := e.Figures(7000, 7100); !f.RMS.IsZero() || !f.SamplePeak.IsZero() {
		t.Errorf("a span without a block: %+v", f)
	}
}

// Damaged floats do not affect the samples after them.
func TestFloatsThatAreNoNumber(t *testing.T) {
	x := tones(48000, 1000, tone{-20, 3})
	x[100], x[200], x[300] = math.NaN(), math.Inf(1), -1e300
	e := envelope(t, 48000, x)
	f := e.Figures(48000, 3*48000)
	near(t, "I", f.Loudness, -20-3.0036, 0.01)
	if all := e.Figures(0, e.Frames); all.SamplePeak > 180.001 || math.IsNaN(float64(all.Loudness)) {
		t.Errorf("all: %+v", all)
	}
}

func TestNewRefuses(t *testing.T) {
	good := Config{SampleRate: 48000, Channels: 2, Type: Int24, RunUp: 4800, Frames: 100}
	if _, err := New(good); err != nil {
		t.Fatal(err)
	}
	for name, change := range map[string]func(*Config){
		"rate":      func(c *Config) { c.SampleRate = 7999 },
		"channels":  func(c *Config) { c.Channels = 257 },
		"type":      func(c *Config) { c.Type = 0 },
		"run-up":    func(c *Config) { c.RunUp = 4799 },
		"frames":    func(c *Config) { c.Frames = -1 },
		"level":     func(c *Config) { c.ClipLevel = -1 },
		"NaN level": func(c *Config) { c.ClipLevel = math.NaN() },
		"clip run":  func(c *Config) { c.ClipRun = 65 },
	} {
		c := good
		change(&c)
		if _, err := New(c); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
	m, _ := New(good)
	for name, write := range map[string]func() error{
		"short buffer":  func() error { return m.Write(2, make([]byte, 11)) },
		"three buffers": func() error { return m.Write(1, make([]byte, 3), make([]byte, 3), make([]byte, 3)) },
		"no buffer":     func() error { return m.Write(1) },
		"negative":      func() error { return m.Write(-1, nil) },
	} {
		if write() == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

// Writing allocates nothing.
func TestWriteAllocatesNothing(t *testing.T) {
	m, err := New(Config{SampleRate: 48000, Channels: 2, Type: Int16, Frames: PartBlocks * 4800})
	if err != nil {
		t.Fatal(err)
	}
	r := newRand(11)
	data := interleaved(2, [][]byte{raw(Int16, lively(r, 48000, 48000)), raw(Int16, lively(r, 48000, 48000))})
	if n := testing.AllocsPerRun(40, func() {
		if err := m.Write(48000, data); err != nil {
			t.Fatal(err)
		}
	}); n != 0 {
		t.Errorf("%v allocations a write", n)
	}
}
