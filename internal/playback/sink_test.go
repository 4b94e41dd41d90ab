package playback_test

import (
	"path/filepath"
	"testing"
	"time"

	"nightreel/internal/playback"
	"nightreel/internal/playback/sinktest"
	"nightreel/internal/wavfile"
)

// The null sink passes the suite, with a clock that the test drives at ten times
// real time.
func TestNullSink(t *testing.T) {
	sinktest.Run(t, func(t *testing.T) sinktest.Sink {
		tick := make(chan time.Time)
		go func() {
			clock := time.NewTicker(time.Millisecond)
			defer clock.Stop()
			for {
				select {
				case now := <-clock.C:
					select {
					case tick <- now:
					case <-t.Context().Done():
						return
					}
				case <-t.Context().Done():
					return
				}
			}
		}()
		return sinktest.Record(playback.NewNull(sinktest.Rate, sinktest.Channels+2, 480, tick))
	})
}

func TestFileSink(t *testing.T) {
	sinktest.Run(t, func(t *testing.T) sinktest.Sink {
		path := filepath.Join(t.TempDir(), "out.wav")
		s, err := playback.NewFileSink(path, sinktest.Rate, sinktest.Channels)
		if err != nil {
			t.Fatal(err)
		}
		return sinktest.Sink{Sink: s, Heard: func() []float32 {
			f, err := wavfile.Open(path)
			if err != nil {
				t.Fatal(err)
			}
			defer f.Close()
			n := f.Info().Frames * sinktest.Channels
			raw, x := make([]byte, 4*n), make([]float64, n)
			if _, err := f.ReadFrames(raw, 0); err != nil {
				t.Fatal(err)
			}
			f.Info().Format.Decode(x, raw)
			heard := make([]float32, n)
			for i := range x {
				heard[i] = float32(x[i])
			}
			return heard
		}}
	})
}
