package session_test

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"os/exec"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/session"
	"nightreel/internal/wavfile"
	"nightreel/internal/wavfile/wavtest"
)

// fractions converts little-endian samples to fractions of full scale. It is
// written independently of the code under test.
func fractions(t *testing.T, raw []byte, f wavfile.Format) []float64 {
	t.Helper()
	x := make([]float64, len(raw)/f.ContainerBytes)
	for i := range x {
		b := raw[i*f.ContainerBytes:]
		switch {
		case f.Encoding == wavfile.Float && f.ContainerBytes == 4:
			x[i] = float64(math.Float32frombits(binary.LittleEndian.Uint32(b)))
		case f.Encoding == wavfile.Float:
			x[i] = math.Float64frombits(binary.LittleEndian.Uint64(b))
		case f.ContainerBytes == 2:
			x[i] = float64(int16(uint16(b[0])|uint16(b[1])<<8)) / 32768
		case f.ContainerBytes == 3:
			x[i] = float64(int32(uint32(b[0])<<8|uint32(b[1])<<16|uint32(b[2])<<24)) / 2147483648
		case f.ContainerBytes == 4:
			x[i] = float64(int32(binary.LittleEndian.Uint32(b))) / 2147483648
		default:
			t.Fatalf("%+v", f)
		}
	}
	return x
}

// trimmed renders one track with a trim and returns the file's samples, read by
// libsndfile's tool.
func trimmed(t *testing.T, f wavfile.Format, data []byte, trimDB float64, bits int) ([]float64, session.Rendered) {
	t.Helper()
	fx := newFixture(t)
	rec := fx.record("2031-05-02", rig{name: "main", format: f, names: []string{"Kick In"}, tracks: [][]byte{data}})
	fx.take(rec, "Slow Lantern", 0, rec.Frames)
	fx.inputs("2031-05-02", false, catalog.Input{Track: 1, Channel: "Kick In", GainDB: db(30)})
	fx.desk(catalog.DeskInput{Input: 1, Channel: "Kick In", GainDB: db(30 + trimDB)})
	ses := fx.build(session.Request{Songs: []string{"Slow Lantern"}})
	if math.Abs(ses.Inputs[0].TrimDB-trimDB) > 1e-9 {
		t.Fatalf("trim %v, want %v", ses.Inputs[0].TrimDB, trimDB)
	}
	got := fx.render(ses, session.RenderOptions{Dir: t.TempDir(), BitDepth: bits})
	w, err := wavfile.Open(got.Files[0].Path)
	ok(t, err)
	defer w.Close()
	f = w.Info().Format
	return fractions(t, samplesOf(t, got.Files[0].Path, f), f), got
}

func rms(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v * v
	}
	return 10 * math.Log10(sum/float64(len(x)))
}

// A trim changes the level by exactly its dB, within 0.01 dB (our rule), in
// every coding.
func TestTrimIsExact(t *testing.T) {
	for _, f := range formats {
		for _, trim := range []float64{-20, -3, -0.1, 6, 11.5} {
			t.Run(fmt.Sprintf("%v %d in %d bytes, %+g dB", f.Encoding, f.BitDepth, f.ContainerBytes, trim), func(t *testing.T) {
				data := sine(f, f.SampleRate, 997, -15)
				before := fractions(t, data, f)
				x, got := trimmed(t, f, data, trim, 0)
				if d := rms(x) - rms(before) - trim; math.Abs(d) > 0.01 {
					t.Errorf("off by %.4f dB", d)
				}
				if file := got.Files[0]; file.BitIdentical || file.ClippedSamples != 0 || file.TrimDB != trim {
					t.Errorf("file %+v", file)
				}
			})
		}
	}
}

// The dither of an integer result is TPDF of 2 LSB peak to peak: the error,
// rounding included, is never beyond 1.5 LSB and has the variance 1/6 + 1/12 =
// 1/4 LSB² whatever the signal does, is white and is not correlated with the
// signal (Lipshitz, Wannamaker and Vanderkooy, JAES 40/5, 1992, from memory;
// standards give -144.49 dB at 24 bit, which is the same 1/4 LSB²).
func TestDither(t *testing.T) {
	const n = 400_000
	for _, tt := range []struct {
		name string
		from wavfile.Format
		trim float64
		bits int
		data func(f wavfile.Format) []byte
	}{
		{"24 bit, -3 dB, sine", mono(48000, 24, 3, wavfile.PCM), -3, 0, func(f wavfile.Format) []byte { return sine(f, n, 997, -6) }},
		{"16 bit, -0.7 dB, quiet sine", mono(48000, 16, 2, wavfile.PCM), -.7, 0, func(f wavfile.Format) []byte { return sine(f, n, 997, -84) }},
		{"16 bit, +2 dB, silence", mono(48000, 16, 2, wavfile.PCM), 2, 0, func(f wavfile.Format) []byte { return make([]byte, 2*n) }},
		{"24 to 16 bit without trim", mono(48000, 24, 3, wavfile.PCM), 0, 16, func(f wavfile.Format) []byte { return sine(f, n, 997, -20) }},
		{"float to 24 bit without trim", mono(48000, 32, 4, wavfile.Float), 0, 24, func(f wavfile.Format) []byte { return sine(f, n, 997, -20) }},
		{"24 in 4 bytes, -3 dB", mono(48000, 24, 4, wavfile.PCM), -3, 0, func(f wavfile.Format) []byte { return sine(f, n, 997, -6) }},
	} {
		t.Run(tt.name, func(t *testing.T) {
			data := tt.data(tt.from)
			want := fractions(t, data, tt.from)
			x, got := trimmed(t, tt.from, data, tt.trim, tt.bits)
			bits := tt.bits
			if bits == 0 {
				bits = tt.from.BitDepth
			}
			scale := math.Ldexp(1, bits-1)
			e := make([]float64, n)
			var mean, variance, lag, cross, power float64
			for i := range e {
				w := want[i] * math.Pow(10, tt.trim/20) * scale
				v := x[i] * scale
				if v != math.Round(v) {
					t.Fatalf("frame %d: %v is no %d-bit integer", i, v, bits)
				}
				e[i] = v - w
				if math.Abs(e[i]) > 1.5 {
					t.Fatalf("frame %d: error of %v LSB", i, e[i])
				}
				mean += e[i] / n
				variance += e[i] * e[i] / n
				if i > 0 {
					lag += e[i] * e[i-1] / n
				}
				cross += e[i] * w / n
				power += w * w / n
			}
			// 5 sigma of n values: mean ±0.004, variance ±0.003, correlations ±0.008.
			if math.Abs(mean) > 0.004 || math.Abs(variance-0.25) > 0.003 || math.Abs(lag/variance) > 0.008 {
				t.Errorf("mean %.5f, variance %.5f, correlation of neighbours %.5f", mean, variance, lag/variance)
			}
			if r := cross / math.Sqrt(variance*power); power > 0 && math.Abs(r) > 0.008 {
				t.Errorf("correlation with the signal %.5f", r)
			}
			if got.Files[0].BitIdentical || got.Files[0].ClippedSamples != 0 {
				t.Errorf("%+v", got.Files[0])
			}
		})
	}
}

// Two inputs with the same sound get different dither.
func TestDitherDiffersBetweenInputs(t *testing.T) {
	f := mono(48000, 24, 3, wavfile.PCM)
	data := make([]byte, 3*48000)
	fx := newFixture(t)
	rec := fx.record("2031-05-02", rig{name: "main", format: f, names: []string{"Kick In", "Kick Out"}, tracks: [][]byte{data, data}})
	fx.take(rec, "Slow Lantern", 0, 48000)
	fx.inputs("2031-05-02", false, catalog.Input{Track: 1, Channel: "Kick In", GainDB: db(30)}, catalog.Input{Track: 2, Channel: "Kick Out", GainDB: db(30)})
	fx.desk(catalog.DeskInput{Input: 1, Channel: "Kick In", GainDB: db(27)}, catalog.DeskInput{Input: 2, Channel: "Kick Out", GainDB: db(27)})
	for _, poly := range []bool{false, true} {
		got := fx.render(fx.build(session.Request{Songs: []string{"Slow Lantern"}}), session.RenderOptions{Dir: t.TempDir(), Poly: poly})
		a := samplesOf(t, got.Files[0].Path, f)
		b := a
		if poly {
			var one, two []byte
			for i := 0; i < len(a); i += 6 {
				one, two = append(one, a[i:i+3]...), append(two, a[i+3:i+6]...)
			}
			a, b = one, two
		} else {
			b = samplesOf(t, got.Files[1].Path, f)
		}
		same := 0
		for i := 0; i < len(a); i += 3 {
			if bytes.Equal(a[i:i+3], b[i:i+3]) {
				same++
			}
		}
		// Dithered silence is -1, 0, +1 with 1/8, 3/4, 1/8: alike by chance in
		// 1/64 + 9/16 + 1/64 = 0.594 of all frames.
		if p := float64(same) / 48000; math.Abs(p-0.594) > 0.012 {
			t.Errorf("poly %v: %.3f of all frames are alike", poly, p)
		}
	}
}

// Widening without trim keeps every value and needs no dither.
func TestWiden(t *testing.T) {
	f := mono(48000, 16, 2, wavfile.PCM)
	data := wavtest.Noise(f, 48000, 1)
	want := fractions(t, data, f)
	x, got := trimmed(t, f, data, 0, 24)
	for i := range x {
		if x[i] != want[i] {
			t.Fatalf("frame %d: %v, want %v", i, x[i], want[i])
		}
	}
	if got.Files[0].BitIdentical {
		t.Error("another coding is not called bit-identical")
	}
	w, err := wavfile.Open(got.Files[0].Path)
	ok(t, err)
	defer w.Close()
	if w.Info().Format != mono(48000, 24, 3, wavfile.PCM) {
		t.Errorf("%+v", w.Info().Format)
	}
}

// Clipping by a trim is counted to the sample and reported. A float file keeps
// samples beyond full scale, and that is reported too.
func TestTrimClips(t *testing.T) {
	for _, f := range formats {
		x := []float64{0, 0.4, 0.6, -0.6, 0.49, -0.49, 0.9}
		data := make([]byte, len(x)*f.ContainerBytes)
		f.Encode(data, x)
		y, got := trimmed(t, f, data, 6.1, 0)
		file := got.Files[0]
		if f.Encoding == wavfile.Float {
			// Use ffmpeg here: sndfile-convert scales samples beyond full scale.
			raw, err := exec.Command(tool(t, "ffmpeg"), "-v", "error", "-i", file.Path, "-f", "f64le", "-").Output()
			ok(t, err)
			y = fractions(t, raw, mono(48000, 64, 8, wavfile.Float))
			if file.ClippedSamples != 0 || !has(got.Problems, "3 samples beyond full scale (trim +6.1 dB)") || math.Abs(y[6]-0.9*math.Pow(10, 6.1/20)) > 1e-6 {
				t.Errorf("%+v: %+v, problems %q, %v", f, file, got.Problems, y)
			}
			continue
		}
		if file.ClippedSamples != 3 || !has(got.Problems, "3 samples cut to full scale (trim +6.1 dB)") || y[3] != -1 || y[2] < 0.9999 {
			t.Errorf("%+v: %+v, problems %q, %v", f, file, got.Problems, y)
		}
	}
	// Float beyond full scale, written as integers, clips without any trim.
	f := mono(48000, 32, 4, wavfile.Float)
	data := make([]byte, 4*3)
	f.Encode(data, []float64{1.5, -2, 0.5})
	if _, got := trimmed(t, f, data, 0, 16); got.Files[0].ClippedSamples != 2 || len(got.Problems) == 0 {
		t.Errorf("%+v, problems %q", got.Files[0], got.Problems)
	}
}
