package playback

import (
	"context"
	"fmt"
	"time"

	"nightreel/internal/wavfile"
)

// FileSink writes the outputs to one polyphonic WAV file of 32-bit float
// samples, as fast as the disk allows. It leaves out the silence while playback
// stands still.
type FileSink struct {
	info Opened
	w    *wavfile.Writer
	stop context.CancelFunc
	done chan struct{}
	err  error
}

// filePeriod is the number of frames that are pulled at a time.
const filePeriod = 1024

// NewFileSink creates the file; it appears under its name at Close. An existing
// file is refused.
func NewFileSink(path string, rate, outputs int) (*FileSink, error) {
	w, err := wavfile.Create(path, wavfile.Format{SampleRate: rate, Channels: outputs, BitDepth: 32, ContainerBytes: 4, Encoding: wavfile.Float},
		wavfile.Meta{Bext: &wavfile.Bext{Description: "played playback session", Originator: wavfile.OwnOriginator}})
	if err != nil {
		return nil, err
	}
	return &FileSink{info: Opened{Device: "file:" + path, Rate: rate, Outputs: outputs, Period: filePeriod}, w: w, done: make(chan struct{})}, nil
}

// Info implements [Sink].
func (s *FileSink) Info() Opened { return s.info }

// Stats implements [Sink].
func (s *FileSink) Stats() SinkStats {
	st := SinkStats{Connected: s.info.Device}
	select {
	case <-s.done:
		if s.err != nil {
			st.Lost = s.err.Error()
		}
	default:
	}
	return st
}

// Start implements [Sink]. p must be an [Engine], which reports when there is
// something to write.
func (s *FileSink) Start(p Puller) error {
	e, ok := p.(interface {
		Puller
		Wait(ctx context.Context, n int) error
		Audible() bool
	})
	if !ok {
		return fmt.Errorf("%s: nothing to write: not an engine", s.info.Device)
	}
	ctx, stop := context.WithCancel(context.Background())
	s.stop = stop
	go func() {
		defer close(s.done)
		block := make([]float32, filePeriod*s.info.Outputs)
		raw := make([]byte, 4*len(block))
		x := make([]float64, len(block))
		still := time.NewTicker(idle)
		defer still.Stop()
		for e.Wait(ctx, filePeriod) == nil {
			before := e.Audible()
			e.Pull(block, s.info.Outputs)
			if !before && !e.Audible() {
				select {
				case <-ctx.Done():
					return
				case <-still.C:
				}
				continue
			}
			for i, v := range block {
				x[i] = float64(v)
			}
			wavfile.Format{Channels: s.info.Outputs, BitDepth: 32, ContainerBytes: 4, Encoding: wavfile.Float}.Encode(raw, x)
			if _, s.err = s.w.Write(raw); s.err != nil {
				return
			}
		}
	}()
	return nil
}

// Close ends the file.
func (s *FileSink) Close() error {
	if s.stop != nil {
		s.stop()
		<-s.done
	}
	if s.err != nil {
		s.w.Abort()
		return s.err
	}
	return s.w.Close()
}
