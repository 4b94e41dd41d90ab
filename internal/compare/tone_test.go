package compare_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"path/filepath"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/compare"
	"nightreel/internal/scan"
	"nightreel/internal/spectrum"
	"nightreel/internal/wavfile"
	"nightreel/internal/wavfile/wavtest"
)

// TestTone scans files of known spectra: white noise, whose level by band
// follows from its RMS and the widths of the bands (IEC 61260-1:2014: all of
// 10^(1/10)). One night is 4 dB louder. On another night a sine of three times a
// band's energy raises that band by 6 dB.
func TestTone(t *testing.T) {
	const rate, seconds, rms = 48000, 60, 0.05
	const raised = 17 // 1 kHz
	share := func(b int) float64 { return (spectrum.Edge(b+1) - spectrum.Edge(b)) / (rate / 2) }
	store := openStore(t)
	f := wavfile.Format{SampleRate: rate, BitDepth: 24, ContainerBytes: 3, Channels: 1}
	for i, night := range []struct{ gain, sine float64 }{{1, 0}, {1, 0}, {math.Pow(10, 4./20), 0}, {1, math.Sqrt(2 * 3 * share(raised))}, {1, 0}} {
		rng := rand.New(rand.NewPCG(21, uint64(i)))
		x := make([]float64, rate*seconds)
		for k := range x {
			x[k] = night.gain * rms * (rng.NormFloat64() + night.sine*math.Sin(2*math.Pi*1000*float64(k)/rate))
		}
		dir := t.TempDir()
		wavtest.WriteSamples(t, filepath.Join(dir, "01 Bass.wav"), f, x)
		date := catalog.ShowKey(fmt.Sprintf("2031-05-%02d", i+1))
		result, err := scan.Run(t.Context(), store, []string{dir}, scan.Options{Date: date.Date()}, nil)
		if err != nil {
			t.Fatal(err)
		}
		addTake(t, store, date, result.Shows[0].Recordings[0], "A", 0, seconds)
	}
	c, err := compare.Tone(t.Context(), store, "A", "Bass")
	if err != nil {
		t.Fatal(err)
	}
	if len(c.Channels) != 1 || len(c.Channels[0].Values) != 5 {
		t.Fatalf("%+v", c.Channels)
	}
	// Stored levels are rounded to 0.625 dB, and the spectrum of noise over a
	// minute scatters by some 0.3 dB from 200 Hz on, more below.
	limit := func(b int) float64 {
		if b < 10 {
			return 2.5
		}
		return 1
	}
	for b, got := range c.Channels[0].Median {
		want := 20*math.Log10(rms) + 10*math.Log10(share(b))
		if math.Abs(float64(got)-want) > limit(b) {
			t.Errorf("%v Hz: %.1f dBFS, want %.1f", c.BandsHz[b], float64(got), want)
		}
	}
	for i, v := range c.Channels[0].Values {
		louder := []float64{0, 0, 4, 0, 0}[i]
		if math.Abs(float64(v.Louder)-louder) > 0.4 {
			t.Errorf("night %d is %.2f dB louder, want %v", i+1, float64(v.Louder), louder)
		}
		for b, d := range v.Delta {
			want := 0.0
			if i == 3 && b == raised {
				want = 6.02
			}
			if math.Abs(float64(d)-want) > limit(b) {
				t.Errorf("night %d, %v Hz: %+.2f dB, want %+.2f", i+1, c.BandsHz[b], float64(d), want)
			}
		}
	}
}
