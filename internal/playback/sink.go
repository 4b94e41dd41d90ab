package playback

import (
	"context"
	"time"
)

// Puller gives a sink its audio. [Engine] is the only one; sinks use nothing
// else of it.
type Puller interface {
	// Pull fills dst with interleaved frames of the given number of channels. It
	// never waits and does not allocate.
	Pull(dst []float32, channels int)
}

// Sink takes audio from a [Puller] at its own pace: a device's clock, a
// network's, or none. To add one, implement this interface and run the
// conformance suite (package sinktest).
type Sink interface {
	// Info describes the opened device. The sink is silent until Start.
	Info() Opened
	// Start begins to pull.
	Start(p Puller) error
	// Stats may be called at any time, from any goroutine.
	Stats() SinkStats
	// Close ends pulling before it returns.
	Close() error
}

// SinkStats are a sink's counters and state.
type SinkStats struct {
	LateBlocks  int64         // pulls that came later than the device's buffer allows
	MaxCallback time.Duration // longest time spent in a pull
	Connected   string        // what the outputs are connected to, as far as known
	Lost        string        // why the device is gone; "" while it is there
}

// SinkRequest describes the sink to open.
type SinkRequest struct {
	Device  string // name; "" = the system's default
	Rate    int    // Hz
	Outputs int    // at least
}

// OpenSink opens a silent sink. It refuses a device with fewer outputs or
// another rate than requested.
type OpenSink func(SinkRequest) (Sink, error)

// Null discards audio, one period at every tick of a clock.
type Null struct {
	info Opened
	tick <-chan time.Time
	stop context.CancelFunc
	done chan struct{}
}

// NewNull makes a sink of the given rate in Hz and number of outputs that pulls
// period frames at every tick.
func NewNull(rate, outputs, period int, tick <-chan time.Time) *Null {
	return &Null{info: Opened{Device: "null", Rate: rate, Outputs: outputs, Period: period}, tick: tick}
}

// Info implements [Sink].
func (n *Null) Info() Opened { return n.info }

// Stats implements [Sink].
func (n *Null) Stats() SinkStats { return SinkStats{Connected: "nowhere"} }

// Start implements [Sink].
func (n *Null) Start(p Puller) error {
	ctx, stop := context.WithCancel(context.Background())
	n.stop, n.done = stop, make(chan struct{})
	go func() {
		defer close(n.done)
		block := make([]float32, n.info.Period*n.info.Outputs)
		for {
			select {
			case <-ctx.Done():
				return
			case <-n.tick:
				p.Pull(block, n.info.Outputs)
			}
		}
	}()
	return nil
}

// Close implements [Sink].
func (n *Null) Close() error {
	if n.stop != nil {
		n.stop()
		<-n.done
	}
	return nil
}

// DeviceInfo describes a sound device, as the audio system reports it.
type DeviceInfo struct {
	Name    string `json:"name"`         // for --device
	Outputs int    `json:"outputs"`      // 0 = not reported
	Rates   []int  `json:"sample_rates"` // Hz; none = not reported
	Default bool   `json:"default"`
}
