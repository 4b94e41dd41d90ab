package meter

import (
	"fmt"
	"math"
	"slices"
	"testing"
)

// The tolerances of EBU Tech 3341 (2023) table 1 and Tech 3342 (2023) table 1.
const (
	tolLoudness = 0.1 // LU
	tolRange    = 1.0 // LU
	tolPeakOver = 0.2 // dB
	tolPeakLess = 0.4 // dB

	// exact is the tolerance for our own readings, computed separately in double
	// precision with numpy from the same signals.
	exact = 0.001
)

// EBU Tech 3341 table 1, tests 1 to 5: integrated loudness of stereo tones.
func TestTech3341Integrated(t *testing.T) {
	slow(t)
	for _, row := range []struct {
		test           string
		signal         []tone
		want, reading  float64
		alsoMAndSEqual bool
	}{
		{"1", []tone{{-23, 20}}, -23, -22.9933, true},
		{"2", []tone{{-33, 20}}, -33, -32.9933, true},
		{"3", []tone{{-36, 10}, {-23, 60}, {-36, 10}}, -23, -23.0139, false},
		{"4", []tone{{-72, 10}, {-36, 10}, {-23, 60}, {-36, 10}, {-72, 10}}, -23, -23.0139, false},
		{"5", []tone{{-26, 20}, {-20, 20.1}, {-26, 20}}, -23, -22.9787, false},
	} {
		t.Run(row.test, func(t *testing.T) {
			e := stereo(t, 48000, tones(48000, 1000, row.signal...))
			f := e.Figures(0, e.Frames)
			near(t, "I", float64(f.Loudness), row.want, tolLoudness)
			near(t, "I, our reading", float64(f.Loudness), row.reading, exact)
			if row.alsoMAndSEqual {
				near(t, "M", float64(f.MaxMomentary), row.want, tolLoudness)
				near(t, "S", float64(f.MaxShortTerm), row.want, tolLoudness)
				constant(t, "M", series(e, momentaryBlocks)[4:], row.want)
				constant(t, "S", series(e, shortTermBlocks)[30:], row.want)
			}
		})
	}
}

// series returns the loudness in LUFS over the n blocks that end with each
// block held; NaN for the first n-1 blocks, negative infinity in silence.
func series(e Envelope, n int) []float64 {
	out := make([]float64, len(e.Blocks))
	for i := range out {
		out[i] = math.NaN()
	}
	for i, energy := range windows(e.Blocks, n) {
		out[i+n-1] = float64(loudness(energy))
	}
	return out
}

func constant(t *testing.T, what string, values []float64, want float64) {
	t.Helper()
	if len(values) == 0 {
		t.Errorf("%s: no values", what)
	}
	for _, v := range values {
		if !(math.Abs(v-want) <= tolLoudness) {
			t.Errorf("%s: got %.4f, want %.4f ±%g throughout", what, v, want, tolLoudness)
			return
		}
	}
}

// EBU Tech 3341 table 1, test 6: 5.0 channels, weights of BS.1770-5 table 3.
func TestTech3341Surround(t *testing.T) {
	slow(t)
	var channels []Envelope
	for _, dBFS := range []float64{-28, -28, -24, -30, -30} {
		channels = append(channels, envelope(t, 48000, tones(48000, 1000, tone{dBFS, 20})))
	}
	e := programme(channels, []float64{1, 1, 1, 1.41, 1.41})
	got := e.Figures(0, e.Frames).Loudness
	near(t, "I", got, -23, tolLoudness)
	near(t, "I, our reading", got, -23.0163, exact)
}

// EBU Tech 3341 table 1, tests 9 and 12: short-term and momentary loudness stay
// constant over bursts as long as the window.
func TestTech3341Constant(t *testing.T) {
	slow(t)
	e := stereo(t, 48000, tones(48000, 1000, slices.Repeat([]tone{{-20, 1.34}, {-30, 1.66}}, 5)...))
	constant(t, "9: S", series(e, shortTermBlocks)[29:], -23)
	near(t, "9: S, our reading", series(e, shortTermBlocks)[29], -22.9863, exact)

	e = stereo(t, 48000, tones(48000, 1000, slices.Repeat([]tone{{-20, 0.18}, {-30, 0.22}}, 25)...))
	constant(t, "12: M", series(e, momentaryBlocks)[9:], -23)
	near(t, "12: M, our reading", series(e, momentaryBlocks)[9], -22.9604, exact)
}

// EBU Tech 3341 table 1, tests 10 and 13: the maximum of a burst as long as the
// window, at 20 starts, each a file.
func TestTech3341MaximumPerFile(t *testing.T) {
	slow(t)
	for i := range 20 {
		e := stereo(t, 48000, tones(48000, 1000, tone{silent, 0.15 * float64(i)}, tone{-23, 3}, tone{silent, 1}))
		got := e.Figures(0, e.Frames).MaxShortTerm
		near(t, fmt.Sprint("10: max S of file ", i), got, -23, tolLoudness)
		if i%2 == 0 { // the burst starts on the 100 ms grid
			near(t, fmt.Sprint("10: max S, our reading, of file ", i), got, -22.9933, exact)
		}

		e = stereo(t, 48000, tones(48000, 1000, tone{silent, 0.02 * float64(i)}, tone{-23, 0.4}, tone{silent, 1}))
		got = e.Figures(0, e.Frames).MaxMomentary
		near(t, fmt.Sprint("13: max M of file ", i), got, -23, tolLoudness)
		near(t, fmt.Sprint("13: max M, our reading, of file ", i), got, -22.9936, exact)
	}
}

// EBU Tech 3341 table 1, tests 11 and 14: the maxima in turn, in one file.
func TestTech3341MaximumInTurn(t *testing.T) {
	slow(t)
	var s, m []tone
	for i := range 20 {
		n := float64(i)
		s = append(s, tone{silent, 0.15 * n}, tone{-38 + n, 3}, tone{silent, 3 - 0.15*n})
		m = append(m, tone{silent, 0.02 * n}, tone{-38 + n, 0.4}, tone{silent, 0.4 - 0.02*n})
	}
	short := stereo(t, 48000, tones(48000, 1000, s...))
	momentary := stereo(t, 48000, tones(48000, 1000, m...))
	for i := range int64(20) {
		want := Level(-38 + i)
		near(t, fmt.Sprint("11: max S of burst ", i), short.Figures(i*6*48000, (i+1)*6*48000).MaxShortTerm, want, tolLoudness)
		got := momentary.Figures(i*38400, (i+1)*38400).MaxMomentary
		near(t, fmt.Sprint("14: max M of burst ", i), got, want, tolLoudness)
		near(t, fmt.Sprint("14: max M, our reading, of burst ", i), got, want+0.006, exact)
	}
}

// EBU Tech 3341 table 1, tests 15 to 19. The readings are the ITU filter's,
// never below the sample peak.
func TestTech3341TruePeakSines(t *testing.T) {
	for _, row := range []struct {
		test                  string
		div, amplitude, deg   float64
		want, sample, reading float64
	}{
		{"15", 4, 0.50, 0, -6, -6.021, -6.021},
		{"16", 4, 0.50, 45, -6, -9.031, -5.976},
		{"17", 6, 0.50, 60, -6, -7.270, -6.313},
		{"18", 8, 0.50, 67.5, -6, -6.708, -6.026},
		{"19", 4, 1.41, 45, 3, -0.026, 3.029},
	} {
		x := make([]float64, 48000)
		for i := range x {
			x[i] = row.amplitude * math.Sin(2*math.Pi*float64(i)/row.div+row.deg*math.Pi/180)
		}
		checkTruePeak(t, row.test, fade(x, 480), row.want, row.sample, row.reading)
	}
}

func checkTruePeak(t *testing.T, test string, x []float64, want, sample, reading float64) {
	t.Helper()
	f := figures(t, 48000, x)
	if got := float64(f.TruePeak); got > want+tolPeakOver || got < want-tolPeakLess {
		t.Errorf("%s: true peak: got %.3f, want %.3f +%g -%g", test, got, want, tolPeakOver, tolPeakLess)
	}
	near(t, test+": sample peak", float64(f.SamplePeak), sample, exact)
	near(t, test+": true peak, our reading", float64(f.TruePeak), reading, exact)
}

// EBU Tech 3341 table 1, tests 20 to 23: one period of a louder sine inside a
// sine, made at four times the rate and decimated with four offsets.
func TestTech3341TruePeakTransient(t *testing.T) {
	slow(t)
	var x []float64
	sine := func(n int, div, amplitude float64) {
		for i := range n {
			x = append(x, amplitude*math.Sin(2*math.Pi*float64(i)/div))
		}
	}
	sine(2000*24, 24, 0.5)
	sine(16, 16, 1)
	sine(2000*24, 24, 0.5)
	x = fade(x, 1920)
	taps := kaiserLowPass(1023, 22000./192000, 8)
	for offset, row := range []struct{ sample, reading float64 }{
		{-0.142, -0.142}, {-0.517, -0.119}, {-2.590, -0.232}, {-0.517, -0.119},
	} {
		var y []float64
		for n := offset; n < len(x); n += 4 {
			var sum float64
			for k, c := range taps {
				if i := n + len(taps)/2 - k; i >= 0 && i < len(x) {
					sum += c * x[i]
				}
			}
			y = append(y, sum)
		}
		checkTruePeak(t, fmt.Sprint(20+offset), y, 0, row.sample, row.reading)
	}
}

// kaiserLowPass returns a windowed sinc of unity gain at 0 Hz; cutoff is a
// fraction of the sample rate.
func kaiserLowPass(n int, cutoff, beta float64) []float64 {
	taps := make([]float64, n)
	var sum float64
	for i := range taps {
		d := float64(i) - float64(n-1)/2
		r := 2 * d / float64(n-1)
		taps[i] = 2 * cutoff * sinc(2*cutoff*d) * bessel0(beta*math.Sqrt(max(0, 1-r*r)))
		sum += taps[i]
	}
	for i := range taps {
		taps[i] /= sum
	}
	return taps
}

func sinc(x float64) float64 {
	if x == 0 {
		return 1
	}
	return math.Sin(math.Pi*x) / (math.Pi * x)
}

// bessel0 is the modified Bessel function of the first kind and order 0.
func bessel0(x float64) float64 {
	sum, term := 1.0, 1.0
	for k := 1.0; term > 1e-17*sum; k++ {
		term *= x / (2 * k) * x / (2 * k)
		sum += term
	}
	return sum
}

// EBU Tech 3342 table 1, tests 1 to 4, and three signals of Tech 3341.
func TestTech3342(t *testing.T) {
	slow(t)
	for _, row := range []struct {
		test           string
		signal         []tone
		want           float64
		reading, integ float64
	}{
		{"1", []tone{{-20, 20}, {-30, 20}}, 10, 10.000, -22.590},
		{"2", []tone{{-20, 20}, {-15, 20}}, 5, 5.000, -16.810},
		{"3", []tone{{-40, 20}, {-20, 20}}, 20, 20.000, -20.026},
		{"4", []tone{{-50, 20}, {-35, 20}, {-20, 20}, {-35, 20}, {-50, 20}}, 15, 15.000, -24.492},
		{"3341-3", []tone{{-36, 10}, {-23, 60}, {-36, 10}}, 13, 13.0, -23.0139},
		{"3341-4", []tone{{-72, 10}, {-36, 10}, {-23, 60}, {-36, 10}, {-72, 10}}, 13, 13.0, -23.0139},
		{"3341-5", []tone{{-26, 20}, {-20, 20.1}, {-26, 20}}, 6, 6.0, -22.9787},
	} {
		t.Run(row.test, func(t *testing.T) {
			e := stereo(t, 48000, tones(48000, 1000, row.signal...))
			f := e.Figures(0, e.Frames)
			near(t, "LRA", float64(f.LoudnessRange), row.want, tolRange)
			near(t, "LRA, our reading", float64(f.LoudnessRange), row.reading, exact)
			near(t, "I, our reading", float64(f.Loudness), row.integ, exact)
		})
	}
}

// BS.1770-5 Annex 1: a 0 dBFS 997 Hz sine in one channel reads -3.01 LKFS. The
// readings at other rates are computed in 40-digit arithmetic.
func TestFullScaleSineReading(t *testing.T) {
	slow(t)
	for rate, want := range map[int]float64{
		44100: -3.01135, 48000: -3.01029, 88200: -3.00625,
		96000: -3.00598, 176400: -3.00498, 192000: -3.00491,
	} {
		got := figures(t, rate, tones(rate, 997, tone{0, 10})).Loudness
		near(t, fmt.Sprint("I at ", rate, " Hz"), got, -3.01, 0.01)
		near(t, fmt.Sprint("I at ", rate, " Hz, our reading"), got, Level(want), 0.0001)
	}
}

// BS.1770-5 tables 1 and 2 for 48 kHz, our own 40-digit computation for the
// other rates.
func TestKWeightingCoefficients(t *testing.T) {
	for _, row := range []struct {
		rate  int
		shelf biquad
		a1    float64
		a2    float64
		c     float64
	}{
		{32000, biquad{1.5111778995687646, -2.4648894133601416, 1.0416332735222955, -1.5390450962506405, 0.62696685598155905}, -1.9850896689886884, 0.98514532066955145, 0.99751647782627358},
		{44100, biquad{1.5308412300503479, -2.6509799951547297, 1.1690790799215869, -1.6636551132560203, 0.71259542807322541}, -1.9891696736297956, 0.98919903578703916, 0.99956006454251427},
		{48000, biquad{1.53512485958697, -2.69169618940638, 1.19839281085285, -1.69065929318241, 0.73248077421585}, -1.99004745483398, 0.99007225036621, 1},
		{88200, biquad{1.5575153755796538, -2.9056270799263452, 1.3613339774722121, -1.830919987962332, 0.84414226108785277}, -1.994577515450344, 0.9945848758780547, 1.002271963357382},
		{96000, biquad{1.5597142289757967, -2.9267415782510829, 1.3782612023158187, -1.8446094698901088, 0.85584332293064142}, -1.9950175447247155, 0.99502375904092331, 1.0024927889863428},
		{176400, biquad{1.5711153177418462, -3.0365445024046525, 1.4688716119897621, -1.9153293168330516, 0.91877174416000739}, -1.997286922423814, 0.99728876502606817, 1.0036320471042127},
		{192000, biquad{1.5722272150912792, -3.047283051561551, 1.4779713409796093, -1.9222022306074886, 0.92511773511682599}, -1.9975072228407002, 0.99750877835550966, 1.003742675371436},
	} {
		shelf, high := kWeighting(row.rate)
		want := biquad{row.c, -2 * row.c, row.c, row.a1, row.a2}
		for i, pair := range [][2]biquad{{shelf, row.shelf}, {high, want}} {
			g, w := pair[0], pair[1]
			for j, d := range []float64{g.b0 - w.b0, g.b1 - w.b1, g.b2 - w.b2, g.a1 - w.a1, g.a2 - w.a2} {
				if math.Abs(d) > 1e-12 {
					t.Errorf("%d Hz, stage %d, coefficient %d is off by %g", row.rate, i+1, j, d)
				}
			}
		}
	}
}

// The K filter's gain at 48 kHz, computed from BS.1770-5 tables 1 and 2.
func TestKWeightingGain(t *testing.T) {
	slow(t)
	for hz, gain := range map[float64]float64{
		31.5: -7.7900, 100: -1.1335, 500: 0.0425, 997: 0.6910, 2000: 3.0713, 10000: 4.0419,
	} {
		x := tones(48000, hz, tone{-20, 10})
		// The first second contains the filter's start.
		f := envelope(t, 48000, x).Figures(48000, int64(len(x)))
		near(t, fmt.Sprint("I of ", hz, " Hz"), float64(f.Loudness), -20-3.0103-0.691+gain, exact)
	}
}
