package meter

import (
	"fmt"
	"testing"
)

// A night's sound: 64 tracks at 24/48, as one polyphonic file and as 64 mono
// files, in writes of a block. MB/s are bytes of audio on one core.
func BenchmarkMeter(b *testing.B) {
	const rate, channels, size = 48000, 64, 3
	const block = rate / 10
	var mono [][]byte
	for i := range channels {
		r := newRand(uint64(i))
		mono = append(mono, raw(Int24, lowPassed(noise(r, 2*rate, -6), rate, 2000)))
	}
	poly := interleaved(size, mono)
	for _, layout := range []string{"interleaved", "mono"} {
		b.Run(layout, func(b *testing.B) {
			m, err := New(Config{SampleRate: rate, Channels: channels, Type: Int24, Frames: 1 << 40})
			if err != nil {
				b.Fatal(err)
			}
			b.SetBytes(block * channels * size)
			bufs := make([][]byte, 1, channels)
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
			}
		})
	}
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
