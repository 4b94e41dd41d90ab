package meter

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"
	"time"
)

// A night's sound: 64 tracks at 48 kHz, as one polyphonic file and as 64 mono
// files, in writes of a block, with every kernel that runs here. cpu-ns/sample
// is processor time, which does not depend on other work of the machine.
func BenchmarkMeter(b *testing.B) {
	const rate, channels = 48000, 64
	const block = rate / 10
	for _, typ := range []SampleType{Int24, Int16, Int32, Float32} {
		size := typ.Bytes()
		var mono [][]byte
		for i := range channels {
			r := newRand(uint64(i))
			mono = append(mono, raw(typ, lowPassed(noise(r, 2*rate, -6), rate, 2000)))
		}
		poly := interleaved(size, mono)
		for _, k := range kernels() {
			for _, layout := range []string{"interleaved", "mono"} {
				b.Run(fmt.Sprintf("%v/%s/%s", k, layout, typeNames[typ]), func(b *testing.B) {
					m, err := New(Config{SampleRate: rate, Channels: channels, Type: typ, Frames: 1 << 40, kernel: k})
					if err != nil {
						b.Fatal(err)
					}
					b.SetBytes(int64(block * channels * size))
					bufs := make([][]byte, 1, channels)
					n, start := 0, processorTime()
					for i := 0; b.Loop(); i++ {
						at := i % 20 * block * size
						if layout == "interleaved" {
							bufs = append(bufs[:0], poly[at*channels:(at+block*size)*channels])
						} else {
							bufs = bufs[:0]
							for _, t := range mono {
								bufs = append(bufs, t[at:at+block*size])
							}
						}
						if err := m.Write(block, bufs...); err != nil {
							b.Fatal(err)
						}
						n++
					}
					b.ReportMetric(float64(processorTime()-start)/float64(n*block*channels), "cpu-ns/sample")
				})
			}
		}
	}
}

var typeNames = map[SampleType]string{Int16: "16 bit", Int24: "24 bit", Int32: "32 bit", Float32: "float"}

// The same sound through libebur128 (integrated, range, sample and true peak),
// for the ratio: the processor time of a process that measures one track of
// twenty seconds.
func BenchmarkLibebur128(b *testing.B) {
	const rate = 48000
	dir := b.TempDir()
	tool := filepath.Join(dir, "ebur128")
	if out, err := exec.Command("gcc", "-O2", "-o", tool, "testdata/ebur128.c", "-lebur128").CombinedOutput(); err != nil {
		b.Skipf("build with libebur128: %v: %s", err, out)
	}
	file := filepath.Join(dir, "track")
	x := lowPassed(noise(newRand(1), 20*rate, -6), rate, 2000)
	if err := os.WriteFile(file, raw(Float64, x), 0o600); err != nil {
		b.Fatal(err)
	}
	var spent time.Duration
	n := 0
	for b.Loop() {
		cmd := exec.Command(tool, strconv.Itoa(rate), file)
		if err := cmd.Run(); err != nil {
			b.Fatal(err)
		}
		spent += cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()
		n++
	}
	b.ReportMetric(float64(spent)/float64(n*len(x)), "cpu-ns/sample")
}

// Figures of a song of four minutes from its envelope.
func BenchmarkFigures(b *testing.B) {
	r := newRand(1)
	e := Envelope{SampleRate: 48000, Frames: 2400 * 4800, Blocks: make([]Block, 2400)}
	for i := range e.Blocks {
		v := r.Float32()
		e.Blocks[i] = Block{Peak: v, MeanSquare: v * v / 4, KMeanSquare: v * v / 4, MaxMomentary: v * v / 3}
	}
	b.ReportAllocs()
	for b.Loop() {
		if f := e.Figures(0, e.Frames); f.Loudness.IsZero() {
			b.Fatal("no loudness")
		}
	}
}

// A minute of one track between its binary form and blocks.
func BenchmarkRecord(b *testing.B) {
	p := sampleParts(b)["lively"]
	data := Encode(p)
	b.Run(fmt.Sprint("encode ", len(p.Blocks)), func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			Encode(p)
		}
	})
	b.Run(fmt.Sprint("decode ", len(p.Blocks)), func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			if _, err := Decode(data); err != nil {
				b.Fatal(err)
			}
		}
	})
}
