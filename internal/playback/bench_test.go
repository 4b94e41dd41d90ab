package playback

import (
	"fmt"
	"path/filepath"
	"testing"

	"nightreel/internal/tracks"
	"nightreel/internal/wavfile"
)

// onDisk turns a program's tapes into WAV files.
func onDisk(b *testing.B, p *Program) {
	b.Helper()
	dir := b.TempDir()
	made := map[string]string{}
	for i := range p.Items {
		for k := range p.Items[i].Voices {
			for s := range p.Items[i].Voices[k].Sources {
				src := &p.Items[i].Voices[k].Sources[s]
				path := made[src.Path]
				if path == "" {
					path = filepath.Join(dir, fmt.Sprintf("%d.wav", len(made)))
					tapeToFile(b, src.Path, path)
					made[src.Path] = path
				}
				f, err := wavfile.Open(path)
				if err != nil {
					b.Fatal(err)
				}
				src.Path, src.DataOffset = path, f.Info().DataOffset
				f.Close()
			}
		}
	}
}

func tapeToFile(b *testing.B, tape, path string) {
	b.Helper()
	t, err := openTape(tape)
	if err != nil {
		b.Fatal(err)
	}
	w, err := wavfile.Create(path, t.Info().Format, wavfile.Meta{})
	if err != nil {
		b.Fatal(err)
	}
	raw := make([]byte, 48_000*t.Info().Format.FrameBytes())
	for at := int64(0); at < t.Info().Frames; at += 48_000 {
		n, err := t.ReadFrames(raw, at)
		if err == nil {
			err = w.WriteFrames(raw[:n*t.Info().Format.FrameBytes()])
		}
		if err != nil {
			b.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		b.Fatal(err)
	}
}

// One callback of 256 frames, at 0 dB and below. "%rt" is the share of the time
// that the audio lasts.
func BenchmarkPull(b *testing.B) {
	for _, channels := range []int{64, 128} {
		for _, db := range []float64{0, -12} {
			b.Run(fmt.Sprintf("channels=%d/level=%g", channels, db), func(b *testing.B) {
				e, err := NewEngine(tapeProgram(channels, twoSongs...), openTape)
				if err != nil {
					b.Fatal(err)
				}
				e.Do(Command{Do: Acknowledge})
				e.setLevel(db)
				e.head.level = amplitude(db)
				e.Do(Command{Do: Play})
				e.Close()
				ring := e.rings[0]
				dst := make([]float32, 256*channels)
				b.ReportAllocs()
				for b.Loop() {
					ring.ready.Store(ring.taken.Load() + 1<<15)
					e.Pull(dst, channels)
				}
				b.ReportMetric(100*b.Elapsed().Seconds()/(float64(b.N)*256/48000), "%rt")
			})
		}
	}
}

// Reading ahead from mono and polyphonic files, in the system's cache.
func BenchmarkRead(b *testing.B) {
	for _, channels := range []int{64, 128} {
		for _, poly := range []bool{false, true} {
			b.Run(fmt.Sprintf("channels=%d/poly=%v", channels, poly), func(b *testing.B) {
				p := tapeProgram(channels, tapeItem{start: 0, end: 480_000, segments: []int64{0, 480_000}, poly: poly})
				onDisk(b, p)
				s := newSource(p, tracks.OpenWAV)
				if err := s.openAll(); err != nil {
					b.Fatal(err)
				}
				defer s.close()
				const block = 12_000
				dst, bad := make([]float32, block*channels), make([]bool, channels)
				at := int64(0)
				for b.Loop() {
					s.read(dst, position{0, at}, bad, false)
					if at += block; at >= 480_000 {
						at = 0
					}
				}
				b.ReportMetric(100*b.Elapsed().Seconds()/(float64(b.N)*block/48000), "%rt")
			})
		}
	}
}
