package playback

import (
	"context"
	"time"
)

// Puller gives a sink its audio. [Engine] is the one there is; sinks know no
// other side of it.
type Puller interface {
	// Pull fills dst, interleaved frames of the given number of channels. It
	// never waits and does not allocate.
	Pull(dst []float32, channels int)
}

// Sink takes audio from a [Puller] at a pace of its own: a device's clock, a
// network's, or none. To add one, implement this and hold it to the
// conformance suite in sink_test.go.
type Sink interface {
	// Info says what was opened. The sink is silent until Start.
	Info() Opened
	// Start begins to pull.
	Start(p Puller) error
	// Stats may be asked at any time, from any goroutine.
	Stats() SinkStats
	// Close ends pulling before it returns.
	Close() error
}

// SinkStats is what a sink knows about itself.
type SinkStats struct {
	LateBlocks  int64         // pulls that came later than the device's buffer bears
	MaxCallback time.Duration // longest time spent in a pull
	Connected   string        // where the outputs lead, as far as known
	Lost        string        // why there is no device any more; "" while there is
}

// SinkRequest says which sink to open.
type SinkRequest struct {
	Device  string // name; "" = the system's default
	Rate    int    // Hz
	Outputs int    // at least
}

// OpenSink opens a sink, silent. It refuses a device with fewer outputs or
// another rate than asked for.
type OpenSink func(SinkRequest) (Sink, error)

// Null takes audio and throws it away, one period at every tick of a clock.
type Null struct {
	info Opened
	tick <-chan time.Time
	stop context.CancelFunc
	done chan struct{}
}

// NewNull makes a sink of the given rate in Hz and outputs that pulls period
// frames at every tick.
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

// DeviceInfo is a sound device as the audio system describes it.
type DeviceInfo struct {
	Name    string `json:"name"`         // for --device
	Outputs int    `json:"outputs"`      // 0 = it does not say
	Rates   []int  `json:"sample_rates"` // Hz; none = it does not say
	Default bool   `json:"default"`
}
