package playback

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"nightreel/internal/tracks"
	"nightreel/internal/wavfile"
	"nightreel/internal/wavfile/wavtest"
)

var rates = [][2]int{{44_100, 48_000}, {48_000, 44_100}, {96_000, 48_000}, {48_000, 96_000}, {88_200, 48_000}}

// The converter's filter has the figures that its comment gives: ripple in every
// phase up to 20 kHz, and attenuation above the mirror image of 20 kHz.
func TestConverterFilter(t *testing.T) {
	for _, r := range rates {
		c := newConverter(r[0], r[1])
		low := float64(min(r[0], r[1]))
		ripple := 0.0
		for p := 0; p < len(c.phases); p += max(1, len(c.phases)/16) {
			for f := 0.0; f <= passHz; f += 250 {
				ripple = max(ripple, math.Abs(20*math.Log10(cmplx.Abs(c.response(p, f, r[0])))))
			}
		}
		stop := math.Inf(-1)
		for f := low - passHz; f <= float64(r[0])*float64(c.up)/2 && f < low+50_000; f += 997 {
			// The sum of all phases is the filter at the common rate.
			sum := complex(0, 0)
			for p := range c.phases {
				sum += c.response(p, f, r[0])
			}
			stop = max(stop, 20*math.Log10(cmplx.Abs(sum)/float64(len(c.phases))))
		}
		t.Logf("%d to %d Hz: %d taps, ripple %.6f dB up to 20 kHz, stop-band %.1f dB from %.1f kHz on", r[0], r[1], 2*c.half, ripple, stop, (low-passHz)/1000)
		if ripple > 0.0001 || stop > -120 {
			t.Errorf("%d to %d Hz: ripple %v dB, stop-band %v dB", r[0], r[1], ripple, stop)
		}
	}
}

// response returns the frequency response of one phase at f Hz, relative to the
// position of its output frame.
func (c *converter) response(phase int, f float64, from int) complex128 {
	frac := float64(phase) / float64(c.up)
	sum := complex(0, 0)
	for i, h := range c.phases[phase] {
		t := (float64(int64(i)-c.half+1) - frac) / float64(from)
		sum += complex(h, 0) * cmplx.Exp(complex(0, -2*math.Pi*f*t))
	}
	return sum
}

// sineProgram writes a sine in segments and makes a program of it.
func sineProgram(t *testing.T, from, to int, hz float64) *Program {
	t.Helper()
	dir := t.TempDir()
	format := wavfile.Format{SampleRate: from, Channels: 1, BitDepth: 32, ContainerBytes: 4, Encoding: wavfile.Float}
	v := Voice{Output: 1, Rate: from}
	at := int64(0)
	for i, frames := range []int64{30_001, 20_000, 100_000} {
		path := filepath.Join(dir, fmt.Sprintf("%d.wav", i))
		x := make([]float64, frames)
		for k := range x {
			x[k] = 0.5 * math.Sin(2*math.Pi*hz*float64(at+int64(k))/float64(from))
		}
		v.Sources = append(v.Sources, Source{Start: at, From: at, To: at + frames,
			File: tracks.File{Path: path, Format: format, DataOffset: wavtest.WriteSamples(t, path, format, x), Frames: frames}})
		at += frames
	}
	frames := at * int64(to) / int64(from)
	return &Program{Rate: to, Outputs: 1, Inputs: []ProgramInput{{1, 1, "Sine"}},
		Items: []ProgramItem{{Song: "Sine", Frames: frames, LengthS: float64(frames) / float64(to), Voices: []Voice{v}}}}
}

// A converted sine is the same sine at the other rate, over the ends of files,
// after a jump and round a loop: no run-up, no seam.
func TestConvertedSine(t *testing.T) {
	for _, rate := range rates[:2] {
		const hz = 997
		r := newRig(t, sineProgram(t, rate[0], rate[1], hz), tracks.OpenWAV)
		fade := r.frames(safeFade)
		see := func(what string, out []float32, from, to int, at int64) {
			t.Helper()
			for f := from; f < to; f++ {
				want := 0.5 * math.Sin(2*math.Pi*hz*float64(at+int64(f-from))/float64(rate[1]))
				if math.Abs(float64(out[f])-want) > 1e-6 { // −120 dB, and the rounding of float32
					t.Fatalf("%v, %s: frame %d: %v, want %v", rate, what, f, out[f], want)
				}
			}
		}
		r.do(Command{Do: Play})
		see("over the ends of files", r.pull(70_000), 2*fade, 70_000, int64(2*fade))
		r.do(Command{Do: Pause})
		r.pull(2000)
		second := int64(rate[1])
		r.do(Command{Do: LoopOn, FromS: ptr(1.0), ToS: ptr(1.5)})
		r.do(Command{Do: Locate, AtS: ptr(1.0)})
		r.do(Command{Do: Play})
		out := r.pull(int(second))
		see("after a jump", out, fade, int(second/2), second+int64(fade))
		see("round the loop", out, int(second/2)+fade, int(second), second+int64(fade))
	}
}

// Noise up to 18 kHz comes out the same as from SoX's best rate conversion, an
// independent implementation.
func TestConverterAgainstSoX(t *testing.T) {
	sox, err := exec.LookPath("sox")
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal(err)
		}
		t.Skip(err)
	}
	dir := t.TempDir()
	const n = 60_000
	rnd := rand.New(rand.NewPCG(3, 2031))
	// Noise of many sines: band-limited by construction.
	type wave struct{ hz, phase float64 }
	waves := make([]wave, 60)
	for i := range waves {
		waves[i] = wave{50 + rnd.Float64()*17_950, rnd.Float64() * 2 * math.Pi}
	}
	format := wavfile.Format{SampleRate: 44_100, Channels: 1, BitDepth: 32, ContainerBytes: 4, Encoding: wavfile.Float}
	x := make([]float64, n)
	for k := range x {
		for _, w := range waves {
			x[k] += math.Sin(2*math.Pi*w.hz*float64(k)/44_100+w.phase) / 60
		}
		x[k] *= math.Sin(math.Pi * float64(k) / n) // windowed, so that the ends do not ring
	}
	raw := wavtest.Encode(format, x)
	wavtest.Write(t, filepath.Join(dir, "in.wav"), format, wavfile.Meta{}, raw)
	format.Decode(x, raw)
	if out, err := exec.Command(sox, "-D", filepath.Join(dir, "in.wav"), "-e", "floating-point", "-b", "32", filepath.Join(dir, "out.wav"), "rate", "-v", "48000").CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	f, err := wavfile.Open(filepath.Join(dir, "out.wav"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	m := int(f.Info().Frames)
	raw = make([]byte, 4*m)
	if _, err := f.ReadFrames(raw, 0); err != nil {
		t.Fatal(err)
	}
	theirs := make([]float64, m)
	f.Info().Format.Decode(theirs, raw)
	c := newConverter(44_100, 48_000)
	lo, hi := c.needs(0, int64(m))
	in := make([]float64, hi-lo)
	copy(in[-lo:], x[:min(len(x), len(in)+int(lo))])
	ours := make([]float32, m)
	c.add(ours, 1, in, lo, 0, int64(m))
	power, diff := 0.0, 0.0
	for i := range theirs {
		power += theirs[i] * theirs[i]
		diff += (theirs[i] - float64(ours[i])) * (theirs[i] - float64(ours[i]))
	}
	db := 10 * math.Log10(diff/power)
	t.Logf("difference from SoX: %.1f dB", db)
	if !(db < -100) {
		t.Errorf("difference from SoX: %.1f dB", db)
	}
}
