package playback

import (
	"math/rand/v2"
	"os"
	"slices"
	"sync/atomic"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"nightreel/internal/tracks"
)

// ear records when the first sound after a given moment comes.
type ear struct {
	*Engine
	listening atomic.Bool
	heard     chan time.Time
}

func (e *ear) Pull(dst []float32, channels int) {
	e.Engine.Pull(dst, channels)
	if !e.listening.Load() {
		return
	}
	for _, x := range dst {
		if x != 0 {
			e.listening.Store(false)
			e.heard <- time.Now()
			return
		}
	}
}

// BenchmarkPressToSound measures from pressing play at another position to the
// first sample in the callback: 64 mono files that are not in the page cache,
// the device running at 256 frames. Run it by hand, with a count: -bench
// PressToSound -benchtime 300x.
func BenchmarkPressToSound(b *testing.B) {
	const channels, frames = 64, 20 * 48_000
	p := tapeProgram(channels, tapeItem{start: 0, end: frames, segments: []int64{0, frames}})
	onDisk(b, p)
	forget := func() {
		for _, v := range p.Items[0].Voices {
			f, err := os.Open(v.Sources[0].Path)
			if err != nil {
				b.Fatal(err)
			}
			// Only clean pages are dropped; the files were synced when written.
			if err := unix.Fadvise(int(f.Fd()), 0, 0, unix.FADV_DONTNEED); err != nil {
				b.Fatal(err)
			}
			f.Close()
		}
	}
	e, err := NewEngine(p, tracks.OpenWAV)
	if err != nil {
		b.Fatal(err)
	}
	defer e.Close()
	clock := time.NewTicker(time.Second * 256 / 48_000)
	defer clock.Stop()
	hear := &ear{Engine: e, heard: make(chan time.Time, 1)}
	sink := NewNull(48_000, channels, 256, clock.C)
	if err := sink.Start(hear); err != nil {
		b.Fatal(err)
	}
	defer sink.Close()
	e.Do(Command{Do: Acknowledge})
	rnd := rand.New(rand.NewPCG(5, 2031))
	took := []time.Duration{}
	for b.Loop() {
		for e.Audible() { // the last fade-out
			time.Sleep(time.Millisecond)
		}
		forget()
		at := rnd.Float64() * 15
		hear.listening.Store(true)
		began := time.Now()
		e.Do(Command{Do: Locate, AtS: &at})
		e.Do(Command{Do: Play})
		took = append(took, (<-hear.heard).Sub(began))
		e.Do(Command{Do: Pause})
	}
	slices.Sort(took)
	ms := func(q float64) float64 { return took[int(q*float64(len(took)-1))].Seconds() * 1000 }
	b.ReportMetric(ms(0.5), "p50-ms")
	b.ReportMetric(ms(0.99), "p99-ms")
	b.ReportMetric(ms(1), "max-ms")
	b.ReportMetric(float64(e.underruns.Load()), "underruns")
}
