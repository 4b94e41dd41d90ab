package meter

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"reflect"
	"runtime"
	"slices"
	"testing"
)

// measured measures channels, raw samples of a type, with one kernel, in pieces
// and a layout chosen by the generator.
func measured(tb testing.TB, cfg Config, k kernel, mono [][]byte, layout string, r *rand.Rand) []Part {
	tb.Helper()
	size := cfg.Type.Bytes()
	cfg.Channels, cfg.kernel = len(mono), k
	m, err := New(cfg)
	if err != nil {
		tb.Fatal(err)
	}
	var poly []byte
	if layout == "interleaved" {
		poly = interleaved(size, mono)
	}
	frames := len(mono[0]) / size
	for at := 0; at < frames; {
		n := frames - at
		if r != nil {
			n = min(n, r.IntN(1+r.IntN(3*BlockFrames(cfg.SampleRate))))
		}
		var bufs [][]byte
		if layout == "interleaved" {
			// A slice without spare capacity: a read beyond it would fail.
			bufs = [][]byte{slices.Clip(slices.Clone(poly[at*size*len(mono) : (at+n)*size*len(mono)]))}
		} else {
			for _, b := range mono {
				bufs = append(bufs, slices.Clip(slices.Clone(b[at*size:(at+n)*size])))
			}
		}
		if err := m.Write(n, bufs...); err != nil {
			tb.Fatal(err)
		}
		at += n
	}
	return m.Finish()
}

// sameOnAll fails unless every kernel gives the result of plain Go, in both
// layouts and in uneven pieces; it returns that result.
func sameOnAll(tb testing.TB, what string, cfg Config, mono [][]byte, r *rand.Rand) []Part {
	tb.Helper()
	want := measured(tb, cfg, plain, mono, "interleaved", nil)
	for _, k := range kernels() {
		for _, layout := range []string{"interleaved", "mono"} {
			got := measured(tb, cfg, k, mono, layout, r)
			for c := range want {
				if !reflect.DeepEqual(got[c], want[c]) {
					tb.Errorf("%s: %v, %s, channel %d of %d, differs from plain Go: %s",
						what, k, layout, c, len(mono), difference(got[c], want[c]))
					break
				}
			}
		}
	}
	return want
}

// signals are kinds of tracks that a kernel may get wrong.
var signals = map[string]func(r *rand.Rand, rate, n int) []float64{
	"lively": lively,
	"noise":  func(r *rand.Rand, rate, n int) []float64 { return noise(r, n, -20) },
	"loud":   func(r *rand.Rand, rate, n int) []float64 { return noise(r, n, 0) },
	"faint noise and offset": func(r *rand.Rand, rate, n int) []float64 {
		x := noise(r, n, -90)
		for i := range x {
			x[i] += 0.1
		}
		return x
	},
	"zeros among the last bits": func(r *rand.Rand, rate, n int) []float64 {
		x := make([]float64, n)
		for i := range x {
			x[i] = math.Round(r.NormFloat64()*0.4) / (1 << 15)
		}
		return x
	},
	"denormal": func(r *rand.Rand, rate, n int) []float64 {
		x := noise(r, n, 0)
		for i := range x {
			x[i] *= 1e-40
		}
		return x
	},
	"beyond full scale": func(r *rand.Rand, rate, n int) []float64 {
		x := noise(r, n, 20)
		for i := 0; i < n; i += 1 + r.IntN(500) {
			x[i] = []float64{math.NaN(), math.Inf(1), math.Inf(-1), 1e12, -1e12, 1e9, 0, math.Copysign(0, -1)}[r.IntN(8)]
		}
		return x
	},
	"square": func(r *rand.Rand, rate, n int) []float64 {
		x := make([]float64, n)
		v, left := 1.0, 0
		for i := range x {
			if left--; left < 0 {
				v, left = -v, 1+r.IntN(90)
			}
			x[i] = v
		}
		return x
	},
	"impulses": func(r *rand.Rand, rate, n int) []float64 {
		x := make([]float64, n)
		for i := r.IntN(100); i < n; i += 1 + r.IntN(5000) {
			x[i] = 2*r.Float64() - 1
		}
		return x
	},
	"offset":  func(r *rand.Rand, rate, n int) []float64 { return slices.Repeat([]float64{0.2}, n) },
	"silence": func(r *rand.Rand, rate, n int) []float64 { return make([]float64, n) },
	"gaps": func(r *rand.Rand, rate, n int) []float64 {
		x := noise(r, n, -12)
		for at := 0; at < n; at += 1 + r.IntN(400) {
			clear(x[at:min(n, at+1+r.IntN(80))])
		}
		return x
	},
	"cut off": func(r *rand.Rand, rate, n int) []float64 {
		x := swept(rate, n, 30, 1500)
		for i := range x {
			x[i] = max(-0.4, min(0.35, x[i])) + 4e-6*r.NormFloat64()
		}
		return x
	},
	// At every border between blocks there are zeros, a flat top, a run at full
	// scale or a peak between two samples, in a calm sound without any of these.
	"borders": func(r *rand.Rand, rate, n int) []float64 {
		x := swept(rate, n, 200, 300)
		for i := range x {
			x[i] = 0.1*x[i] + 0.06 + 1e-4*r.NormFloat64()
		}
		for border := BlockFrames(rate); border < n-100; border += BlockFrames(rate) {
			at, length := border-r.IntN(50), 1+r.IntN(70)
			v := []float64{0, 0.5, 1}[r.IntN(3)]
			if r.IntN(4) == 0 {
				at, length, v = border-r.IntN(20), 2, 0.5
			}
			put(x, v, at, at+length)
			if r.IntN(2) == 0 && v == 0.5 { // rises in two steps
				x[at] = 0.5 - 20./(1<<15)
			}
		}
		return x
	},
	// Every other block is calm: it only has the ringing in its last frames.
	"bursts": func(r *rand.Rand, rate, n int) []float64 {
		x := make([]float64, n)
		for i := range x {
			x[i] = float64(2*r.IntN(2)-1) * []float64{0.9, 1e-4}[i/BlockFrames(rate)%2]
		}
		return x
	},
	// Runs that begin in two steps, the second too small to end a run, after a
	// dip of one frame or more.
	"dips": func(r *rand.Rand, rate, n int) []float64 {
		x := slices.Repeat([]float64{0.1}, n)
		for at := 10; at+20 < n; at += 19 + r.IntN(8) {
			copy(x[at:], []float64{[]float64{0.1, 0.5}[r.IntN(2)], 0.3, 0.5 - 1e-5*r.Float64()})
			put(x, 0.5, at+3, at+6+r.IntN(8))
		}
		return x
	},
	// Runs of a few frames on few levels, a tolerance or a fall apart: every
	// situation of the search for flat tops, in every order.
	"steps": func(r *rand.Rand, rate, n int) []float64 {
		x := make([]float64, n)
		v, left := 0.0, 0
		for i := range x {
			if left--; left < 0 {
				left = r.IntN(7)
				v = []float64{0, 0.2, 0.4, -0.4, 0.4 - 40./(1<<15)}[r.IntN(5)]
			}
			x[i] = v + []float64{0, 0, 0, 0.6, 1, 1.1}[r.IntN(6)]/(1<<16)
		}
		return x
	},
}

// Every kernel gives the same bits as plain Go, on all signals, types and rates,
// at any position in the recording.
func TestKernelsAgree(t *testing.T) {
	slow(t)
	names := make([]string, 0, len(signals))
	for name := range signals {
		names = append(names, name)
	}
	slices.Sort(names)
	events := 0
	// 8010 Hz has blocks whose last tile is a single frame.
	rates := []int{8010, 11025, 44100, 48000, 96000, 192000}
	if testing.Short() { // on an emulated processor the whole takes hours
		rates = []int{8010, 48000}
	}
	for i, rate := range rates {
		for _, typ := range allTypes {
			r := newRand(uint64(50 + i))
			blocks := 4
			if rate < 12000 {
				blocks = 40
			}
			n := blocks*BlockFrames(rate) + r.IntN(2*BlockFrames(rate))
			var mono [][]byte
			for _, name := range names {
				mono = append(mono, raw(typ, signals[name](r, rate, n)))
			}
			cfg := Config{SampleRate: rate, Type: typ, Frames: int64(n)}
			for _, p := range sameOnAll(t, fmt.Sprintf("%d Hz, type %d, all of it", rate, typ), cfg, mono, r) {
				events += len(p.Events)
			}
			block := BlockFrames(rate)
			cfg.RunUp, cfg.First, cfg.Frames = block, 12345, int64(n-2*block-r.IntN(block))
			sameOnAll(t, fmt.Sprintf("%d Hz, type %d, a part", rate, typ), cfg, mono, r)
			cfg.ClipLevel, cfg.ClipRun = 0.3, 1
			sameOnAll(t, fmt.Sprintf("%d Hz, type %d, low clip level", rate, typ), cfg, mono, r)
		}
	}
	if events < 200*len(rates)-200 {
		t.Errorf("only %d events in all, so the kernels were not compared", events)
	}
}

// Kernels agree for any number of channels, including a last group that is not
// full.
func TestKernelsAgreeOnChannels(t *testing.T) {
	slow(t)
	const rate = 8000
	r := newRand(60)
	n := 3*rate/10 + 123
	for _, typ := range []SampleType{Int16, Int24, Int32, Float32} {
		var mono [][]byte
		for range 130 {
			mono = append(mono, raw(typ, lively(r, rate, n)))
		}
		counts := []int{1, 2, 3, 4, 5, 7, 8, 9, 15, 16, 17, 33, 64, 100, 127, 130}
		for _, channels := range counts {
			sameOnAll(t, fmt.Sprint("type ", typ), Config{SampleRate: rate, Type: typ, Frames: int64(n)}, mono[:channels], r)
		}
	}
}

// On a processor that can run a kernel in C, one is used; elsewhere plain Go
// measures.
func TestKernelChosen(t *testing.T) {
	all := kernels()
	t.Logf("%s: %v", runtime.GOARCH, all)
	if all[len(all)-1] != plain || slices.Index(all, plain) != len(all)-1 {
		t.Errorf("plain Go is not the last of %v", all)
	}
	if !slices.IsSortedFunc(all[:len(all)-1], func(a, b kernel) int { return int(b) - int(a) }) {
		t.Errorf("%v: not the fastest first", all)
	}
	if only != "" {
		t.Skip("one kernel was asked for: ", only)
	}
	m, err := New(Config{SampleRate: 48000, Channels: 1, Type: Int16})
	if err != nil || m.cfg.kernel != all[0] {
		t.Errorf("New chose %v of %v, error %v", m.cfg.kernel, all, err)
	}
	if os.Getenv("CI") == "true" && runtime.GOARCH == "amd64" && len(all) < 2 {
		t.Error("no kernel in C was built")
	}
}

// FuzzKernels compares the kernels on random samples, layouts and pieces.
func FuzzKernels(f *testing.F) {
	names := make([]string, 0, len(signals))
	for name := range signals {
		names = append(names, name)
	}
	slices.Sort(names)
	for i, typ := range allTypes {
		f.Add(uint64(i), uint8(typ), uint8(i*7), uint16(300*i), []byte{1, 2, 3, 0, 0, 255, 127, 128})
	}
	f.Fuzz(func(t *testing.T, seed uint64, kind, channels uint8, frames uint16, data []byte) {
		r := newRand(seed)
		rate := []int{8000, 8010, 11025, 88200}[r.IntN(4)]
		typ := allTypes[int(kind)%len(allTypes)]
		n := 1 + int(frames)%(4*BlockFrames(rate))
		mono := make([][]byte, 1+int(channels)%20)
		for i := range mono {
			mono[i] = raw(typ, signals[names[r.IntN(len(names))]](r, rate, n))
			for at := 0; len(data) > 0 && at < len(mono[i]); at += 1 + r.IntN(2000) {
				copy(mono[i][at:], data)
			}
		}
		cfg := Config{SampleRate: rate, Type: typ, RunUp: r.IntN(3) * BlockFrames(rate), First: int64(r.IntN(1 << 20))}
		cfg.Frames = max(0, int64(n-cfg.RunUp-r.IntN(BlockFrames(rate))))
		sameOnAll(t, fmt.Sprintf("%d Hz, type %d, %d frames", rate, typ, n), cfg, mono, r)
	})
}
