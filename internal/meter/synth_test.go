package meter

import (
	"encoding/binary"
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"testing"
)

// amp returns the amplitude of a level in dBFS.
func amp(dB float64) float64 { return math.Pow(10, dB/20) }

// seconds returns the frames of a time in seconds.
func seconds(s float64, rate int) int { return int(math.Round(s * float64(rate))) }

// tone is a stretch of a sine: a level in dBFS (negative infinity for silence)
// and a length in seconds.
type tone struct{ dBFS, seconds float64 }

var silent = math.Inf(-1)

// tones returns a sine whose phase is continuous through changes of level.
func tones(rate int, hz float64, list ...tone) []float64 {
	var x []float64
	for _, t := range list {
		a := amp(t.dBFS)
		for range seconds(t.seconds, rate) {
			x = append(x, a*math.Sin(2*math.Pi*hz*float64(len(x))/float64(rate)))
		}
	}
	return x
}

// fade applies linear fades of that many frames to both ends.
func fade(x []float64, frames int) []float64 {
	for i := range frames {
		g := float64(i) / float64(frames)
		x[i] *= g
		x[len(x)-1-i] *= g
	}
	return x
}

// noise returns Gaussian noise of an RMS level in dBFS.
func noise(r *rand.Rand, frames int, dBFS float64) []float64 {
	x := make([]float64, frames)
	a := amp(dBFS)
	for i := range x {
		x[i] = a * r.NormFloat64()
	}
	return x
}

func scaled(x []float64, gain float64) []float64 {
	y := make([]float64, len(x))
	for i, v := range x {
		y[i] = gain * v
	}
	return y
}

// quantised returns the samples after rounding to t, limited to the range of t.
func quantised(t SampleType, x []float64) []float64 {
	y := make([]float64, len(x))
	decode(t, y, raw(t, x), t.Bytes())
	return y
}

// raw returns the bytes of one channel's samples, rounded to t.
func raw(t SampleType, x []float64) []byte {
	out := make([]byte, 0, len(x)*t.Bytes())
	for _, v := range x {
		switch t {
		case Float32:
			out = binary.LittleEndian.AppendUint32(out, math.Float32bits(float32(v)))
			continue
		case Float64:
			out = binary.LittleEndian.AppendUint64(out, math.Float64bits(v))
			continue
		}
		full := math.Ldexp(1, 8*t.Bytes()-1)
		q := int64(max(-full, min(full-1, math.Round(v*full))))
		switch t {
		case Uint8:
			out = append(out, byte(q+128))
		case Int16:
			out = binary.LittleEndian.AppendUint16(out, uint16(q))
		case Int24:
			out = append(out, byte(q), byte(q>>8), byte(q>>16))
		case Int32:
			out = binary.LittleEndian.AppendUint32(out, uint32(q))
		}
	}
	return out
}

// interleaved joins channels, raw samples of size bytes, into one buffer.
func interleaved(size int, channels [][]byte) []byte {
	out := make([]byte, 0, len(channels)*len(channels[0]))
	for at := 0; at < len(channels[0]); at += size {
		for _, c := range channels {
			out = append(out, c[at:at+size]...)
		}
	}
	return out
}

// onePart measures frames [from, to) of a mono track in a single part, with
// every kernel that runs here, and fails unless all give the same bits.
func onePart(tb testing.TB, cfg Config, data []byte, from, to int) Part {
	tb.Helper()
	cfg.Channels = 1
	cfg.First = int64(from)
	cfg.Frames = int64(to - from)
	size := cfg.Type.Bytes()
	frames := len(data) / size
	first := from - cfg.RunUp
	last := min(frames, to+RunOutFrames(cfg.SampleRate))
	var part Part
	for i, k := range kernels() {
		cfg.kernel = k
		m, err := New(cfg)
		if err != nil {
			tb.Fatal(err)
		}
		if err := m.Write(last-first, data[first*size:last*size]); err != nil {
			tb.Fatal(err)
		}
		p := m.Finish()[0]
		if i == 0 {
			part = p
		}
		if !reflect.DeepEqual(p, part) {
			tb.Errorf("%v differs from %v: %s", k, kernels()[0], difference(p, part))
		}
	}
	return part
}

// difference describes the first difference between two parts.
func difference(got, want Part) string {
	for i := range min(len(got.Blocks), len(want.Blocks)) {
		if got.Blocks[i] != want.Blocks[i] {
			return fmt.Sprintf("block %d: %+v, not %+v", i, got.Blocks[i], want.Blocks[i])
		}
	}
	for i := range min(len(got.Events), len(want.Events)) {
		if got.Events[i] != want.Events[i] {
			return fmt.Sprintf("event %d: %+v, not %+v", i, got.Events[i], want.Events[i])
		}
	}
	return fmt.Sprintf("%d blocks, not %d, or %d events, not %d", len(got.Blocks), len(want.Blocks), len(got.Events), len(want.Events))
}

// inParts measures a mono track in parts, as a scan does, and encodes and
// decodes each.
func inParts(tb testing.TB, cfg Config, data []byte) []Part {
	tb.Helper()
	frames := len(data) / cfg.Type.Bytes()
	size := PartBlocks * BlockFrames(cfg.SampleRate)
	var parts []Part
	for at := 0; at < frames; at += size {
		cfg.RunUp = 0
		if at > 0 {
			cfg.RunUp = RunUpFrames(cfg.SampleRate)
		}
		p, err := Decode(Encode(onePart(tb, cfg, data, at, min(at+size, frames))))
		if err != nil {
			tb.Fatal(err)
		}
		parts = append(parts, p)
	}
	return parts
}

// envelope measures samples as 64-bit floats, in parts.
func envelope(tb testing.TB, rate int, x []float64) Envelope {
	tb.Helper()
	cfg := Config{SampleRate: rate, Type: Float64}
	return Join(rate, int64(len(x)), 0, inParts(tb, cfg, raw(Float64, x))...)
}

// figures measures samples from the first to the last.
func figures(tb testing.TB, rate int, x []float64) Figures {
	tb.Helper()
	return envelope(tb, rate, x).Figures(0, int64(len(x)))
}

// programme sums channels by the weights of BS.1770-5 Table 3, as the compliance
// signals (stereo or 5.0) need. The product never does.
func programme(channels []Envelope, weights []float64) Envelope {
	e := channels[0]
	e.Blocks = make([]Block, len(channels[0].Blocks))
	for i := range e.Blocks {
		var k, m float64
		for c, ch := range channels {
			k += weights[c] * float64(ch.Blocks[i].KMeanSquare)
			// Correct if all channels carry the same signal.
			m += weights[c] * float64(ch.Blocks[i].MaxMomentary)
		}
		e.Blocks[i] = channels[0].Blocks[i]
		e.Blocks[i].KMeanSquare = float32(k)
		e.Blocks[i].MaxMomentary = float32(m)
	}
	return e
}

// stereo is a programme of the same signal on both channels.
func stereo(tb testing.TB, rate int, x []float64) Envelope {
	tb.Helper()
	e := envelope(tb, rate, x)
	return programme([]Envelope{e, e}, []float64{1, 1})
}

// near fails unless got is within tolerance of want. Two silences are near; a
// figure that was not measured is near nothing.
func near[T ~float64](tb testing.TB, what string, got, want T, tolerance float64) {
	tb.Helper()
	if got == want {
		return
	}
	if !(math.Abs(float64(got-want)) <= tolerance) {
		tb.Errorf("%s: got %.6f, want %.6f ±%g", what, float64(got), float64(want), tolerance)
	}
}

func newRand(seed uint64) *rand.Rand { return rand.New(rand.NewPCG(seed, 1)) }

// slow skips a test of long arithmetic under the race detector, which makes it
// many times slower and cannot find anything: a meter has one goroutine.
func slow(t *testing.T) {
	t.Helper()
	if raceDetector {
		t.Skip("nothing to race")
	}
}
