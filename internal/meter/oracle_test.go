package meter

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

var usualRates = []int{44100, 48000, 96000}

// missing skips a test whose reference tool is not there; where all tools must
// be (CI=true) it fails.
func missing(t *testing.T, what string, err error) {
	t.Helper()
	if os.Getenv("CI") == "true" {
		t.Fatalf("%s: %v", what, err)
	}
	t.Skipf("%s: %v", what, err)
}

// tracks calls f with 18 generated tracks of varied kind at each rate, half of
// them of that length in seconds, half a quarter longer, and returns how many.
func tracks(rates []int, length float64, f func(name string, rate int, x []float64)) int {
	kinds := []struct {
		name string
		make func(r *rand.Rand, rate, n int) []float64
	}{
		{"white noise", func(r *rand.Rand, rate, n int) []float64 { return noise(r, n, -20) }},
		{"dull noise", func(r *rand.Rand, rate, n int) []float64 { return lowPassed(noise(r, n, -6), rate, 400) }},
		{"rumble", func(r *rand.Rand, rate, n int) []float64 { return lowPassed(noise(r, n, 0), rate, 60) }},
		{"low tone", func(r *rand.Rand, rate, n int) []float64 { return swept(rate, n, 41, 55) }},
		{"sweep", func(r *rand.Rand, rate, n int) []float64 { return swept(rate, n, 50, 8000) }},
		{"chord", func(r *rand.Rand, rate, n int) []float64 {
			x := make([]float64, n)
			for _, hz := range []float64{110, 277.18, 329.63, 659.26, 2637} {
				for i, v := range swept(rate, n, hz, hz*1.001) {
					x[i] += 0.3 * v
				}
			}
			return x
		}},
		{"drum", func(r *rand.Rand, rate, n int) []float64 {
			x := noise(r, n, -65)
			for at := 0; at < n; at += rate/4 + r.IntN(rate/4) {
				a := 0.2 + 0.6*r.Float64()
				for i := 0; i < rate/5 && at+i < n; i++ {
					s := float64(i) / float64(rate)
					x[at+i] += a * math.Exp(-30*s) * (math.Sin(2*math.Pi*(60+200*math.Exp(-60*s))*s) + 0.3*math.Exp(-60*s)*r.NormFloat64())
				}
			}
			return x
		}},
		{"voice", func(r *rand.Rand, rate, n int) []float64 {
			x := lowPassed(noise(r, n, 0), rate, 900)
			word, gain := 0, 0.0
			for i := range x {
				if word--; word < 0 {
					word = rate/10 + r.IntN(rate)
					gain = [...]float64{0.002, 0.2, 0.5, 1}[r.IntN(4)]
				}
				s := float64(i) / float64(rate)
				x[i] *= gain * (0.6 + 0.4*math.Sin(2*math.Pi*4*s))
			}
			return lowPassed(x, rate, 4000)
		}},
		{"silences", func(r *rand.Rand, rate, n int) []float64 {
			x := swept(rate, n, 300, 3000)
			for i := range x {
				if i/(3*rate/2)%3 == 1 {
					x[i] = 0
				}
			}
			return x
		}},
	}
	count := 0
	for _, rate := range rates {
		for v := range uint64(2) {
			for k, kind := range kinds {
				r := newRand(100*v + uint64(k) + 1)
				n := seconds(length*(1+float64(v)/4), rate)
				// Faded in, because the reference starts its filter from
				// silence.
				x := fade(scaled(kind.make(r, rate, n), []float64{0.9, 0.13}[v]), rate/20)
				f(fmt.Sprintf("%s %d at %d Hz", kind.name, v+1, rate), rate, x)
				count++
			}
		}
	}
	return count
}

func lowPassed(x []float64, rate int, hz float64) []float64 {
	c := 1 - math.Exp(-2*math.Pi*hz/float64(rate))
	y := make([]float64, len(x))
	var a, b float64
	for i, v := range x {
		a += c * (v - a)
		b += c * (a - b)
		y[i] = b
	}
	return y
}

// swept is a sine of -6 dBFS that glides.
func swept(rate, n int, from, to float64) []float64 {
	x := make([]float64, n)
	phase := 0.0
	for i := range x {
		phase += from * math.Pow(to/from, float64(i)/float64(n)) / float64(rate)
		x[i] = 0.5 * math.Sin(2*math.Pi*phase)
	}
	return x
}

// worst keeps the largest difference of a figure and the track it was on.
type worst struct {
	by    float64
	where string
}

func (w *worst) see(d float64, where string) {
	if d = math.Abs(d); d > w.by || math.IsNaN(d) {
		w.by, w.where = d, where
	}
}

func (w worst) check(t *testing.T, what string, limit float64) {
	t.Helper()
	t.Logf("%s: off by at most %.5f (%s), allowed %g", what, w.by, w.where, limit)
	if !(w.by <= limit) {
		t.Errorf("%s: off by %.5f on %s, allowed %g", what, w.by, w.where, limit)
	}
}

// Figures agree with libebur128 1.2.6 on generated tracks. It does not scale the
// numerator of the K filter's second stage by the rate, which is corrected here.
// It takes a short-term value each second where EBU Tech 3342 requires ten, so
// its range is compared with that of our windows each second.
func TestAgainstLibebur128(t *testing.T) {
	slow(t)
	dir := t.TempDir()
	tool := filepath.Join(dir, "ebur128")
	if out, err := exec.Command("gcc", "-O2", "-o", tool, "testdata/ebur128.c", "-lebur128").CombinedOutput(); err != nil {
		missing(t, "build with libebur128", fmt.Errorf("%w: %s", err, out))
	}
	var loud, lra, peak, truePeak worst
	n := tracks(usualRates, 12, func(name string, rate int, x []float64) {
		file := filepath.Join(dir, "track")
		if err := os.WriteFile(file, raw(Float64, x), 0o600); err != nil {
			t.Fatal(err)
		}
		out, err := exec.Command(tool, strconv.Itoa(rate), file).Output()
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		var i, r, s, p float64
		if _, err := fmt.Sscan(string(out), &i, &r, &s, &p); err != nil {
			t.Fatalf("%s: %q: %v", name, out, err)
		}
		_, high := kWeighting(rate)
		i += 20 * math.Log10(high.b0)
		e := envelope(t, rate, x)
		f := e.Figures(0, e.Frames)
		loud.see(float64(f.Loudness)-i, name)
		lra.see(rangeOf(e, 10, func(n, p float64) float64 { return (n-1)*p + 0.5 })-r, name)
		peak.see(float64(f.SamplePeak-DB(s)), name)
		truePeak.see(float64(f.TruePeak-DB(p)), name)
	})
	if n < 50 {
		t.Errorf("%d tracks, want at least 50", n)
	}
	loud.check(t, "integrated loudness, LU", 0.02)
	lra.check(t, "loudness range of windows each second, LU", 0.1)
	peak.check(t, "sample peak, dB", 0.001)
	truePeak.check(t, "true peak, dB", 0.3)
}

// rangeOf is the loudness range of the short-term windows step blocks apart,
// with the percentiles at the indexes that at returns for n survivors.
func rangeOf(e Envelope, step int, at func(n, p float64) float64) float64 {
	all := windows(e.Blocks, shortTermBlocks)
	var kept []float64
	var sum float64
	for i := 0; i < len(all); i += step {
		if all[i] >= loudnessEnergy(-70) {
			kept = append(kept, all[i])
			sum += all[i]
		}
	}
	gate := sum / float64(len(kept)) / 100
	kept = slices.DeleteFunc(kept, func(v float64) bool { return v < gate })
	slices.Sort(kept)
	value := func(p float64) float64 { return kept[int(at(float64(len(kept)), p))] }
	return 10 * math.Log10(value(0.95)/value(0.10))
}

// ffmpeg runs a filter over a track of 64-bit floats and returns its output.
func ffmpeg(t *testing.T, rate int, x []float64, filter string) string {
	t.Helper()
	if _, err := exec.LookPath("ffmpeg"); err != nil {
		missing(t, "ffmpeg", err)
	}
	file := filepath.Join(t.TempDir(), "track")
	if err := os.WriteFile(file, raw(Float64, x), 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command("ffmpeg", "-hide_banner", "-nostdin", "-f", "f64le", "-ar", strconv.Itoa(rate), "-ac", "1",
		"-i", file, "-af", filter, "-f", "null", "-").CombinedOutput()
	if err != nil {
		t.Fatalf("ffmpeg %s: %v: %s", filter, err, out)
	}
	return string(out)
}

// said returns the last number that follows a label.
func said(t *testing.T, text, label string) float64 {
	t.Helper()
	m := regexp.MustCompile(label+`\s+(\S+)`).FindAllStringSubmatch(text, -1)
	if m == nil {
		t.Fatalf("no %q in %s", label, text)
	}
	v, err := strconv.ParseFloat(m[len(m)-1][1], 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// RMS and peak agree with astats of ffmpeg 5.1, which are mathematical too.
func TestAgainstFfmpegAstats(t *testing.T) {
	slow(t)
	var rms, peak worst
	tracks(usualRates, 0.5, func(name string, rate int, x []float64) {
		out := ffmpeg(t, rate, x, "astats")
		f := figures(t, rate, x)
		rms.see(float64(f.RMS)-said(t, out, "RMS level dB:"), name)
		peak.see(float64(f.SamplePeak)-said(t, out, "Peak level dB:"), name)
	})
	rms.check(t, "RMS, dB", 0.001)
	peak.check(t, "sample peak, dB", 0.001)
}

// Loudness and range agree with ebur128 of ffmpeg 5.1, which takes ten
// short-term values a second as EBU Tech 3342 requires, and prints one decimal.
// On tracks of a quarter of a minute its range differs by up to 0.17 LU, on a
// minute by less than the 0.1 required here.
func TestAgainstFfmpegEbur128(t *testing.T) {
	slow(t)
	var loud, lra worst
	tracks([]int{48000}, 50, func(name string, rate int, x []float64) {
		switch strings.Fields(name)[0] {
		case "drum", "voice", "silences":
		default:
			return
		}
		out := ffmpeg(t, rate, x, "ebur128=framelog=verbose")
		f := figures(t, rate, x)
		loud.see(float64(f.Loudness)-said(t, out, "I:"), name)
		lra.see(float64(f.LoudnessRange)-said(t, out, "LRA:"), name)
	})
	const printed = 0.05
	loud.check(t, "integrated loudness, LU", 0.02+printed)
	lra.check(t, "loudness range, LU", 0.1+printed)
}

// True peak agrees with our own reference, 32-fold oversampling, on tracks that
// a converter can have recorded: nothing above 0.42 of the rate. Up to half the
// rate the filter of BS.1770-5 Annex 2, 2 dB down at 0.45, reads up to 0.6 dB
// low in white noise.
func TestAgainst32FoldTruePeak(t *testing.T) {
	slow(t)
	var recorded, all worst
	taps := kaiserLowPass(127, 0.42, 8)
	tracks([]int{48000, 96000}, 0.8, func(name string, rate int, x []float64) {
		all.see(overReading(t, rate, x), name)
		recorded.see(overReading(t, rate, convolved(x, taps)), name)
	})
	recorded.check(t, "true peak, dB", 0.25)
	all.check(t, "true peak of what no converter records, dB", 0.6)
}

func overReading(t *testing.T, rate int, x []float64) float64 {
	f := figures(t, rate, x)
	return float64(f.TruePeak - max(f.SamplePeak, DB(oversampled32(x))))
}

func convolved(x, taps []float64) []float64 {
	y := make([]float64, len(x))
	for n := range y {
		for k, c := range taps {
			if i := n + len(taps)/2 - k; i >= 0 && i < len(x) {
				y[n] += c * x[i]
			}
		}
	}
	return y
}

// oversampled32 returns the largest magnitude of the track at 32 times its rate:
// a sinc over 64 samples, Kaiser window β = 8. It skips stretches that cannot
// come near the maximum.
func oversampled32(x []float64) float64 {
	const half = 32
	taps := make([][]float64, 32)
	for p := range taps {
		taps[p] = make([]float64, 2*half)
		for k := range taps[p] {
			d := float64(k-half+1) - float64(p)/32
			r := d / half
			taps[p][k] = sinc(d) * bessel0(8*math.Sqrt(max(0, 1-r*r))) / bessel0(8)
		}
	}
	padded := append(append(make([]float64, half), x...), make([]float64, half)...)
	top := peak(padded)
	m := top
	for i := 0; i+2*half <= len(padded); i++ {
		if max(math.Abs(padded[i+half-1]), math.Abs(padded[i+half])) < 0.5*top {
			continue
		}
		for _, c := range taps {
			var y float64
			for k, v := range padded[i : i+2*half] {
				y += c[k] * v
			}
			m = max(m, math.Abs(y))
		}
	}
	return m
}
