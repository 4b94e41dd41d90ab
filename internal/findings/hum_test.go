package findings

import (
	"encoding/binary"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/channelsound"
	"nightreel/internal/evidence"
	"nightreel/internal/meter"
	"nightreel/internal/spectrum"
)

const humRate = 12000 // Hz; its low spectrum is that of 48 kHz

// comb returns a mains comb: ten lines, each 3 dB below the one before, together
// of an RMS of 1.
func comb(f float64, n int) []float64 {
	x := make([]float64, n)
	sum := 0.0
	for h := 1; h <= 10; h++ {
		a := math.Pow(10, -3*float64(h-1)/20)
		sum += a * a / 2
		turn := cmplx.Rect(1, 2*math.Pi*f*float64(h)/humRate)
		for i, at := 0, cmplx.Rect(a, float64(h*h)); i < n; i++ {
			x[i] += imag(at)
			at *= turn
		}
	}
	for i := range x {
		x[i] /= math.Sqrt(sum)
	}
	return x
}

// pinkish returns noise that falls by 3 dB an octave, of an RMS of 1: white
// noise through P. Kellet's filter, within 0.05 dB above 9.2 Hz at 44.1 kHz as
// its author gives it (from memory).
func pinkish(seed uint64, n int) []float64 {
	rng := rand.New(rand.NewPCG(31, seed))
	var b [7]float64
	x := make([]float64, n)
	sum := 0.0
	for i := range x {
		w := rng.NormFloat64()
		b[0] = 0.99886*b[0] + w*0.0555179
		b[1] = 0.99332*b[1] + w*0.0750759
		b[2] = 0.96900*b[2] + w*0.1538520
		b[3] = 0.86650*b[3] + w*0.3104856
		b[4] = 0.55000*b[4] + w*0.5329522
		b[5] = -0.7616*b[5] - w*0.0168980
		x[i] = b[0] + b[1] + b[2] + b[3] + b[4] + b[5] + b[6] + w*0.5362
		b[6] = w * 0.115926
		sum += x[i] * x[i]
	}
	for i := range x {
		x[i] /= math.Sqrt(sum / float64(n))
	}
	return x
}

// hear returns a night of one track that holds x.
func hear(t *testing.T, x []float64) *evidence.Recording {
	t.Helper()
	track := catalog.Track{Number: 1, Channel: "Keys DI", SampleRate: humRate, Frames: int64(len(x))}
	var parts []spectrum.Tone
	for first := 0; first < len(x); first += 60 * humRate {
		part := x[first:min(len(x), first+60*humRate)]
		l, err := spectrum.New(spectrum.Config{SampleRate: humRate, Channels: 1, Type: meter.Float64, First: int64(first), Frames: int64(len(part))})
		if err != nil {
			t.Fatal(err)
		}
		var raw []byte
		for _, v := range part {
			raw = binary.LittleEndian.AppendUint64(raw, math.Float64bits(v))
		}
		if err := l.Write(len(part), raw); err != nil {
			t.Fatal(err)
		}
		kept, err := spectrum.Decode(spectrum.Encode(l.Finish()[0]))
		if err != nil {
			t.Fatal(err)
		}
		parts = append(parts, kept)
	}
	return &evidence.Recording{SampleRate: humRate, Frames: int64(len(x)), Tracks: []evidence.Track{evidence.Unmeasured(track)},
		Sound: &channelsound.Night{SampleRate: humRate, Voices: []channelsound.Voice{channelsound.Hear(track, parts, nil)}}}
}

// TestHumLevel adds a mains comb of known frequency and level to pink noise and
// asks whether hum is told, and of which level. It is first told where comb and
// noise are about as loud as a whole. The frequencies are the mains', off by 0.5
// % and 1 % (public supply keeps within 1 % but for half a per cent of a year by
// EN 50160, from memory), and, as near misses, what notes of equal temperament
// at 440 Hz lie around (ISO 16), held throughout.
func TestHumLevel(t *testing.T) {
	const n = 2 * 60 * humRate
	const level = -40 // dBFS
	gain := func(db float64) float64 { return math.Pow(10, db/20) }
	noise := pinkish(1, n)
	for _, c := range []struct {
		hz    float64
		snr   []float64 // dB, comb over noise
		mains float64   // 0: no hum
		near  float64   // how near the level is to be, dB
	}{
		{50, []float64{40, 20, 10}, 50, 0.6},
		{50, []float64{5}, 50, 1.2},
		{50, []float64{0}, 50, 2},
		{50, []float64{-5, -20}, 0, 0},
		{49.75, []float64{10}, 50, 0.7},
		{50.25, []float64{10}, 50, 0.7},
		{49.5, []float64{10}, 50, 0.7},
		{50.5, []float64{10}, 50, 0.7},
		{60, []float64{20, 10}, 60, 0.7},
		{60, []float64{0}, 60, 2},
		{60, []float64{-5}, 0, 0},
		{59.7, []float64{10}, 60, 0.7},
		{60.3, []float64{10}, 60, 0.7},
		{48.999, []float64{40, 10, 0}, 0, 0}, // G, as a bass plays it
		{97.999, []float64{40, 10, 0, -5}, 0, 0},
		{146.83, []float64{40, 10, 0}, 0, 0}, // D
		{51.913, []float64{40, 10}, 0, 0},    // G sharp
		{58.270, []float64{40, 10}, 0, 0},    // B flat
		{61.735, []float64{40, 10}, 0, 0},    // B
		{116.54, []float64{10}, 0, 0},
		{123.47, []float64{10}, 0, 0},
	} {
		tones := comb(c.hz, n)
		for _, snr := range c.snr {
			x := make([]float64, n)
			for i := range x {
				x[i] = gain(level)*tones[i] + gain(level-snr)*noise[i]
			}
			found := hum(learn(hear(t, x)))
			if len(found) == 0 {
				if c.mains != 0 {
					t.Errorf("%v Hz, %v dB over noise: no hum", c.hz, snr)
				}
				continue
			}
			e := found[0].Evidence
			t.Logf("%v Hz, %v dB over noise: %.1f dB off", c.hz, snr, e["hum_dbfs"]-level)
			if e["mains_hz"] != c.mains || math.Abs(e["hum_dbfs"]-level) > c.near {
				t.Errorf("%v Hz, %v dB over noise: hum of %v Hz, %.1f dBFS", c.hz, snr, e["mains_hz"], e["hum_dbfs"])
			}
		}
	}
}
