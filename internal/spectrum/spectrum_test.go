package spectrum

import (
	"encoding/binary"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"
	"nightreel/internal/meter"
)

// pack24 packs fractions of full scale, [channel][frame], interleaved.
func pack24(channels ...[]float64) []byte {
	var out []byte
	for i := range channels[0] {
		for _, c := range channels {
			v := int32(math.Round(c[i] * (1 << 23)))
			out = append(out, byte(v), byte(v>>8), byte(v>>16))
		}
	}
	return out
}

func noise(rng *rand.Rand, n int, amplitude float64) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = amplitude * (2*rng.Float64() - 1)
	}
	return out
}

// TestTransformAgainstGonum compares with gonum's dsp/fourier, in double
// precision.
func TestTransformAgainstGonum(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for _, k := range kernels() {
		in, out := make([]float32, points*Lanes), make([]float32, Bins*Lanes)
		for i := range in {
			in[i] = rng.Float32() - 0.5
		}
		k.power(newTransform(), in, out)
		fft := fourier.NewFFT(points)
		for l := range Lanes {
			x := make([]float64, points)
			for n := range x {
				x[n] = float64(in[n*Lanes+l]) * (0.5 - 0.5*math.Cos(2*math.Pi*float64(n)/points))
			}
			for b, c := range fft.Coefficients(nil, x)[:Bins] {
				want := 2 * (real(c)*real(c) + imag(c)*imag(c)) / (points * 3. / 8 * points)
				if got := float64(out[b*Lanes+l]); math.Abs(got-want) > 1e-5*want+1e-9 {
					t.Fatalf("%v: lane %d, bin %d: %g, gonum %g", k, l, b, got, want)
				}
			}
		}
	}
}

// listen returns the tone, and every look, of some channels.
func listen(t testing.TB, cfg Config, cut func(left int) int, separate bool, channels ...[]float64) ([]Tone, []Snapshot) {
	t.Helper()
	var looks []Snapshot
	cfg.Channels, cfg.Type, cfg.Frames = len(channels), meter.Int24, int64(len(channels[0]))
	cfg.Each = func(s *Snapshot) {
		c := *s
		low := *s.Low
		c.Low = &low
		if s.High != nil {
			high := *s.High
			c.High = &high
		}
		looks = append(looks, c)
	}
	l, err := New(cfg)
	if err != nil {
		t.Fatal(err)
	}
	bufs := [][]byte{pack24(channels...)}
	if separate {
		bufs = nil
		for _, c := range channels {
			bufs = append(bufs, pack24(c))
		}
	}
	for at := 0; at < len(channels[0]); {
		n := min(cut(len(channels[0])-at), len(channels[0])-at)
		var part [][]byte
		for _, b := range bufs {
			frame := len(b) / len(channels[0])
			part = append(part, b[at*frame:(at+n)*frame])
		}
		if err := l.Write(n, part...); err != nil {
			t.Fatal(err)
		}
		at += n
	}
	return l.Finish(), looks
}

func inOne(left int) int { return left }

// TestOneResult: the result does not depend on kernels, cuts and layouts.
func TestOneResult(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	for _, rate := range []int{8000, 11025, 44100, 48000, 96000, 192000} {
		for _, count := range []int{1, 3, 4, 5, 8, 11} {
			var channels [][]float64
			for range count {
				channels = append(channels, noise(rng, rate*13/10, rng.Float64()))
			}
			want, looks := listen(t, Config{SampleRate: rate, kernel: plain}, inOne, false, channels...)
			if len(looks) != 2*((count+Lanes-1)/Lanes) && len(looks) != 3*((count+Lanes-1)/Lanes) {
				t.Fatalf("%d Hz: %d looks", rate, len(looks))
			}
			for _, k := range kernels() {
				for _, separate := range []bool{false, true} {
					if separate && count == 1 {
						continue
					}
					for _, cut := range []func(int) int{inOne, func(int) int { return 1 + rng.IntN(3000) }, func(int) int { return 5461 }} {
						got, _ := listen(t, Config{SampleRate: rate, kernel: k}, cut, separate, channels...)
						if !slices.EqualFunc(got, want, sameTone) {
							t.Fatalf("%d Hz, %d channels, %v, separate %v: a different result", rate, count, k, separate)
						}
					}
				}
			}
		}
	}
}

func sameTone(a, b Tone) bool {
	return slices.Equal(a.Cells, b.Cells) && a.Quiet == b.Quiet && a.QuietBands == b.QuietBands
}

// TestTypes: the same samples give the same result in every type.
func TestTypes(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	const rate, channels = 48000, 5
	values := make([]int8, rate*channels)
	for i := range values {
		values[i] = int8(rng.IntN(250) - 125)
	}
	var want []Tone
	for _, typ := range []meter.SampleType{meter.Uint8, meter.Int16, meter.Int24, meter.Int32, meter.Float32, meter.Float64} {
		var b []byte
		for _, v := range values {
			switch typ {
			case meter.Uint8:
				b = append(b, byte(int(v)+128))
			case meter.Int16:
				b = append(b, 0, byte(v))
			case meter.Int24:
				b = append(b, 0, 0, byte(v))
			case meter.Int32:
				b = append(b, 0, 0, 0, byte(v))
			case meter.Float32:
				b = binary.LittleEndian.AppendUint32(b, math.Float32bits(float32(v)/128))
			case meter.Float64:
				b = binary.LittleEndian.AppendUint64(b, math.Float64bits(float64(v)/128))
			}
		}
		for _, k := range kernels() {
			l, err := New(Config{SampleRate: rate, Channels: channels, Type: typ, Frames: rate, kernel: k})
			if err != nil {
				t.Fatal(err)
			}
			if err := l.Write(rate, b); err != nil {
				t.Fatal(err)
			}
			got := l.Finish()
			if want == nil {
				want = got
			}
			if !slices.EqualFunc(got, want, sameTone) {
				t.Errorf("type %d, %v: a different result", typ, k)
			}
		}
	}
	for _, bad := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), 5, -5} {
		if v := whole(bad); bad == bad && (v > 0) != (bad > 0) {
			t.Errorf("%v is read as %d", bad, v)
		}
	}
}

// TestSineInItsBand: a sine of amplitude a has a mean square of a²/2, and all of
// it lies in the band around it (IEC 61260-1:2014 mid-bands).
func TestSineInItsBand(t *testing.T) {
	const rate = 48000
	for band := 7; band < Bands; band++ { // from 100 Hz on, where a band is wider than the window's lobe
		f := MidBand(band)
		x := make([]float64, 6*rate)
		for i := range x {
			x[i] = 0.5 * math.Sin(2*math.Pi*f*float64(i)/rate)
		}
		got, _ := listen(t, Config{SampleRate: rate}, inOne, false, x)
		level := 10 * math.Log10(float64(got[0].Cells[0].Bands[band])/0.125)
		if limit := []float64{0.6, 0.1}[min(1, max(0, band-9)/2)]; math.Abs(level) > limit {
			t.Errorf("%v Hz: %+.2f dB in its band", Nominal()[band], level)
		}
	}
}

// TestNoiseLevel: white noise gives each band its share of the width, and all
// bands together the noise's mean square.
func TestNoiseLevel(t *testing.T) {
	const rate = 48000
	x := noise(rand.New(rand.NewPCG(7, 8)), 60*rate, 0.5)
	got, _ := listen(t, Config{SampleRate: rate}, inOne, false, x)
	density := 0.25 / 3 / (rate / 2)
	for band := range Bands {
		sum := 0.0
		for _, c := range got[0].Cells {
			sum += float64(c.Bands[band])
		}
		want := density * (Edge(band+1) - Edge(band))
		if level := 10 * math.Log10(sum/float64(len(got[0].Cells))/want); math.Abs(level) > 1 {
			t.Errorf("%v Hz: %+.2f dB", Nominal()[band], level)
		}
	}
	if len(got[0].Cells) != PartCells {
		t.Errorf("%d cells a minute", len(got[0].Cells))
	}
}

// TestFolding: sound above the low rate adds no more below 891 Hz than the
// decimator's comb filter passes.
func TestFolding(t *testing.T) {
	const rate = 48000
	for _, f := range []float64{5150, 5400, 5900, 6100, 6700, 11200, 17000, 23000} {
		x := make([]float64, 6*rate)
		for i := range x {
			x[i] = 0.5 * math.Sin(2*math.Pi*f*float64(i)/rate)
		}
		got, _ := listen(t, Config{SampleRate: rate}, inOne, false, x)
		sum := 0.0
		for _, v := range got[0].Cells[0].Bands[:lowBands] {
			sum += float64(v)
		}
		if level := 10 * math.Log10(sum/0.125); level > -28 {
			t.Errorf("%v Hz: %.1f dB below 891 Hz", f, level)
		}
	}
}

// TestAgreement finds delay, sign and correlation of two tracks by their prints.
func TestAgreement(t *testing.T) {
	const rate = 48000
	rng := rand.New(rand.NewPCG(9, 10))
	// Noise of about 100 Hz to 1 kHz, where most of a stage's sound lies.
	colour := func(n int) []float64 {
		x := noise(rng, n, 0.5)
		lo, hi := 0.0, 0.0
		for i, v := range x {
			lo += 0.012 * (v - lo)
			hi += 0.12 * (v - hi)
			x[i] = hi - lo
		}
		return x
	}
	n := 60 * rate
	a, other := colour(n), colour(n)
	for _, test := range []struct {
		delay int
		share float64
	}{{0, 1}, {0, -1}, {48, 1}, {-160, -1}, {96, 0.6}, {32, -0.4}, {0, 0}} {
		b := make([]float64, n)
		for i := range b {
			if j := i - test.delay; j >= 0 && j < n {
				b[i] = test.share*a[j] + math.Sqrt(1-test.share*test.share)*other[i]
			}
		}
		tones, _ := listen(t, Config{SampleRate: rate}, inOne, false, a, b)
		var g Agreement
		for i := range tones[0].Cells {
			g.Add(&tones[0].Cells[i].Print, &tones[1].Cells[i].Print)
		}
		at := int(math.Round(float64(test.delay) * PrintRate(rate) / rate))
		if r, count := g.At(at); math.Abs(r-test.share) > 0.12 || count == 0 {
			t.Errorf("%+v: correlation %.2f over %d signs", test, r, count)
		}
	}
}

func TestRecord(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 12))
	tones, _ := listen(t, Config{SampleRate: 48000}, inOne, false, noise(rng, 60*48000, 0.1), make([]float64, 60*48000))
	for _, want := range tones {
		data := Encode(want)
		if len(data) != 759 {
			t.Errorf("%d bytes a minute", len(data))
		}
		got, err := Decode(data)
		if err != nil {
			t.Fatal(err)
		}
		for i := range want.Cells {
			if got.Cells[i].Print != want.Cells[i].Print {
				t.Fatal("another print")
			}
			for b := range Bands {
				near(t, got.Cells[i].Bands[b], want.Cells[i].Bands[b])
			}
		}
		for k := range want.Quiet {
			near(t, got.Quiet[k], want.Quiet[k])
		}
		for _, cut := range []int{0, 1, len(data) - 1} {
			if _, err := Decode(data[:cut]); err != ErrRecord {
				t.Errorf("%d bytes: %v", cut, err)
			}
		}
	}
}

func near(t *testing.T, got, want float32) {
	t.Helper()
	if want == 0 && got == 0 {
		return
	}
	if d := math.Abs(10 * math.Log10(float64(got)/float64(want))); !(d <= stepDB/2+1e-3) {
		t.Fatalf("%g was kept as %g: %.2f dB", want, got, d)
	}
}

func TestNewRefuses(t *testing.T) {
	for _, cfg := range []Config{
		{SampleRate: 4000, Channels: 1, Type: meter.Int16}, {SampleRate: 48000, Type: meter.Int16}, {SampleRate: 48000, Channels: 257, Type: meter.Int16},
		{SampleRate: 48000, Channels: 1}, {SampleRate: 48000, Channels: 1, Type: meter.Int16, First: -1},
	} {
		if _, err := New(cfg); err == nil {
			t.Errorf("%+v: no error", cfg)
		}
	}
	l, _ := New(Config{SampleRate: 48000, Channels: 2, Type: meter.Int16, Frames: 100})
	if l.Write(1, make([]byte, 3)) == nil || l.Write(1, make([]byte, 2), make([]byte, 2), make([]byte, 2)) == nil {
		t.Error("buffers of a wrong length were accepted")
	}
}

// BenchmarkListen is one minute of 64 tracks; compare with BenchmarkMeter of
// package meter.
func BenchmarkListen(b *testing.B) {
	const rate, channels, seconds = 48000, 64, 10
	rng := rand.New(rand.NewPCG(1, 1))
	data := make([]byte, rate*channels*3)
	for i := range data {
		data[i] = byte(rng.Uint32())
	}
	mono := make([][]byte, channels)
	for i := range mono {
		mono[i] = data[i*rate*3:][:rate*3]
	}
	for _, k := range kernels()[:1] {
		for _, layout := range []string{"interleaved", "separate"} {
			b.Run(fmt.Sprintf("%v/%s", k, layout), func(b *testing.B) {
				b.SetBytes(int64(seconds * len(data)))
				for b.Loop() {
					l, err := New(Config{SampleRate: rate, Channels: channels, Type: meter.Int24, Frames: seconds * rate, kernel: k})
					if err != nil {
						b.Fatal(err)
					}
					for range seconds {
						const step = 4800
						for at := 0; at < rate; at += step {
							if layout == "separate" {
								var bufs [channels][]byte
								for c := range bufs {
									bufs[c] = mono[c][at*3 : (at+step)*3]
								}
								err = l.Write(step, bufs[:]...)
							} else {
								err = l.Write(step, data[at*channels*3:(at+step)*channels*3])
							}
							if err != nil {
								b.Fatal(err)
							}
						}
					}
					l.Finish()
				}
			})
		}
	}
}
