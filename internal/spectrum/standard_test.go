package spectrum

import (
	"encoding/binary"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"
)

// TestBandFrequencies compares with numbers computed independently from IEC
// 61260-1:2014, clauses 5.2 and 5.4 (base 10), and with the nominal frequencies
// of its Annex E, which are those of ISO 266.
func TestBandFrequencies(t *testing.T) {
	for i, want := range [Bands]struct{ nominal, middle, lower float64 }{
		{20, 19.953, 17.783}, {25, 25.119, 22.387}, {31.5, 31.623, 28.184}, {40, 39.811, 35.481},
		{50, 50.119, 44.668}, {63, 63.096, 56.234}, {80, 79.433, 70.795}, {100, 100.000, 89.125},
		{125, 125.893, 112.202}, {160, 158.489, 141.254}, {200, 199.526, 177.828}, {250, 251.189, 223.872},
		{315, 316.228, 281.838}, {400, 398.107, 354.813}, {500, 501.187, 446.684}, {630, 630.957, 562.341},
		{800, 794.328, 707.946}, {1000, 1000.000, 891.251}, {1250, 1258.925, 1122.018}, {1600, 1584.893, 1412.538},
		{2000, 1995.262, 1778.279}, {2500, 2511.886, 2238.721}, {3150, 3162.278, 2818.383}, {4000, 3981.072, 3548.134},
		{5000, 5011.872, 4466.836}, {6300, 6309.573, 5623.413}, {8000, 7943.282, 7079.458}, {10000, 10000.000, 8912.509},
		{12500, 12589.254, 11220.185}, {16000, 15848.932, 14125.375}, {20000, 19952.623, 17782.794},
	} {
		upper := 22387.211
		if i+1 < Bands {
			upper = Edge(i + 1)
		}
		if n := Nominal()[i]; n != want.nominal || math.Abs(MidBand(i)-want.middle) > 5e-4 || math.Abs(Edge(i)-want.lower) > 5e-4 || math.Abs(Edge(i+1)-upper) > 5e-4 {
			t.Errorf("band %d: %v Hz is %.3f Hz from %.3f to %.3f; want %+v", i, n, MidBand(i), Edge(i), Edge(i+1), want)
		}
	}
}

// pink returns noise with a mean square of 1 whose spectrum falls by exactly 3
// dB an octave between two frequencies and is zero outside: all third-octaves
// have equal energy. n must be a power of two.
func pink(rng *rand.Rand, rate, n int, from, to float64) []float64 {
	c := make([]complex128, n/2+1)
	for k := range c {
		if f := float64(k) * float64(rate) / float64(n); f >= from && f < to {
			s, co := math.Sincos(2 * math.Pi * rng.Float64())
			c[k] = complex(co/math.Sqrt(f), s/math.Sqrt(f))
		}
	}
	x := fourier.NewFFT(n).Sequence(nil, c)
	sum := 0.0
	for _, v := range x {
		sum += v * v
	}
	scale := math.Sqrt(float64(n) / sum)
	for i := range x {
		x[i] *= scale
	}
	return x
}

// bandsOver returns the mean spectrum of a track in dB.
func bandsOver(t *testing.T, rate int, x []float64) (levels [Bands]float64) {
	got, _ := listen(t, Config{SampleRate: rate}, inOne, false, x)
	for b := range levels {
		sum := 0.0
		for _, c := range got[0].Cells {
			sum += float64(c.Bands[b])
		}
		levels[b] = 10 * math.Log10(sum/float64(len(got[0].Cells)))
	}
	return levels
}

// scatter returns the tolerance in dB for a band of noise: four times the
// standard deviation of the mean square of a band of a width over the analysed
// time, 4.34 dB / √(width·time), plus an allowance for the shape of the band.
func scatter(band int, seconds, shape float64) float64 {
	width, heard := Edge(band+1)-Edge(band), seconds*LooksPerSecond*0.17*0.7 // a Hann window uses some 0.7 of its length
	if band >= lowBands {
		heard = seconds * 0.021 * 0.7
	}
	return shape + 4*4.34/math.Sqrt(max(1, width*heard))
}

// TestNoiseSlopes: white noise rises by 1 dB from one third-octave band to the
// next (3 dB an octave), pink noise is flat, and the sum of all bands is the
// noise's energy between 17.8 Hz and 22.4 kHz. That follows from bands with a
// width of 10^(1/10) (IEC 61260-1:2014) and from the definitions of white and
// pink noise.
func TestNoiseSlopes(t *testing.T) {
	const rate, n = 48000, 1 << 21 // 43.7 s
	rng := rand.New(rand.NewPCG(13, 14))
	const gain = 0.1
	white, rose := noise(rng, n, math.Sqrt(3)*gain), pink(rng, rate, n, Edge(0), Edge(Bands))
	for i := range rose {
		rose[i] *= gain
	}
	for _, c := range []struct {
		name  string
		x     []float64
		slope float64 // dB a band
		share float64 // of its mean square that lies in bands
	}{
		{"white", white, 1, (Edge(Bands) - Edge(0)) / (rate / 2)},
		{"pink", rose, 0, 1},
	} {
		levels := bandsOver(t, rate, c.x)
		all := 20*math.Log10(gain) + 10*math.Log10(c.share)
		at := make([]float64, Bands) // expected level of each band
		total := 0.0
		for b := range at {
			total += math.Pow(10, c.slope*float64(b)/10)
		}
		sum, slope := 0.0, 0.0
		for b, l := range levels {
			want := all + c.slope*float64(b) - 10*math.Log10(total)
			if d := l - want; math.Abs(d) > scatter(b, float64(n)/rate, 0.2) {
				t.Errorf("%s noise, %v Hz: %+.2f dB from %.2f dBFS", c.name, Nominal()[b], d, want)
			}
			sum += math.Pow(10, l/10)
			x := float64(b) - float64(Bands-1)/2
			slope += l * x / (float64(Bands) * (Bands*Bands - 1) / 12)
		}
		if d := 10*math.Log10(sum) - all; math.Abs(d) > 0.1 {
			t.Errorf("%s noise: all bands together are %+.2f dB from what is in them", c.name, d)
		}
		if math.Abs(slope-c.slope) > 0.03 {
			t.Errorf("%s noise rises by %.3f dB a band, not %v", c.name, slope, c.slope)
		}
	}
}

// TestSumOfBands: a sine of any frequency has a mean square of a²/2, and the sum
// of all bands is that, wherever it lies in its band. At 891 Hz the window of
// six kilohertz and the short one meet: a line within 70 Hz of there is partly
// in both, or in neither, the same way on every night.
func TestSumOfBands(t *testing.T) {
	const rate = 48000
	for _, f := range []float64{31.5, 49, 50, 60, 87, 89.1, 112.2, 440, 840, 870, 880, 890, 891, 893, 900, 910, 950, 1000, 1410, 4466.8, 9999, 15000, 20000} {
		x := make([]float64, 6*rate)
		for i := range x {
			x[i] = 0.25 * math.Sin(2*math.Pi*f*float64(i)/rate)
		}
		sum := 0.0
		for _, l := range bandsOver(t, rate, x) {
			sum += math.Pow(10, l/10)
		}
		limit := 0.1
		if math.Abs(f-Edge(lowBands)) < 1.5*rate/points { // the lobe of the short window
			limit = 2.5
		}
		if d := 10 * math.Log10(sum/(0.25*0.25/2)); math.Abs(d) > limit {
			t.Errorf("%v Hz: all bands together are %+.2f dB from the sine", f, d)
		}
	}
}

// TestBandsAgainstSox compares bands of pink noise, generated by SoX, with the
// RMS that SoX measures after its band filter (sinc, a long windowed sinc) at
// the standard's edges.
func TestBandsAgainstSox(t *testing.T) {
	sox, err := exec.LookPath("sox")
	if err != nil {
		if os.Getenv("CI") != "" {
			t.Fatal(err)
		}
		t.Skip(err)
	}
	const rate, seconds = 48000, 60
	file := filepath.Join(t.TempDir(), "pink.wav")
	run := func(args ...string) string {
		out, err := exec.Command(sox, args...).CombinedOutput()
		if err != nil {
			t.Fatalf("sox %q: %v: %s", args, err, out)
		}
		return string(out)
	}
	run("-R", "-D", "-r", strconv.Itoa(rate), "-n", "-b", "24", file, "synth", strconv.Itoa(seconds), "pinknoise", "vol", "0.5")
	raw, err := exec.Command(sox, file, "-t", "f64", "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	levels := bandsOver(t, rate, floats(raw))
	for b := 4; b < Bands; b += 3 {
		out := run(file, "-n", "sinc", "-t", fmt.Sprint(Edge(b)/40), fmt.Sprintf("%.3f-%.3f", Edge(b), min(Edge(b+1), 22387)), "stats")
		var want float64
		for line := range strings.Lines(out) {
			if number, ok := strings.CutPrefix(line, "RMS lev dB"); ok {
				if want, err = strconv.ParseFloat(strings.Fields(number)[0], 64); err != nil {
					t.Fatal(err)
				}
			}
		}
		t.Logf("%v Hz: %.2f dBFS, SoX %.2f", Nominal()[b], levels[b], want)
		if d := levels[b] - want; want == 0 || math.Abs(d) > scatter(b, seconds, 0.2) {
			t.Errorf("%v Hz: %+.2f dB from SoX", Nominal()[b], d)
		}
	}
}

func floats(raw []byte) []float64 {
	x := make([]float64, len(raw)/8)
	for i := range x {
		x[i] = math.Float64frombits(binary.LittleEndian.Uint64(raw[8*i:]))
	}
	return x
}
