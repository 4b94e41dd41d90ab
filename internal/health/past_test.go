package health

import (
	"testing"

	"nightreel/catalog"
)

// A channel that rested on a night in 16 bit was not alive there, though its floor,
// which the recorder's dither makes, lies above tonight's in 24 bit.
func TestAliveAboveTheRecordersSteps(t *testing.T) {
	rests := make([]float32, 80)
	for i := range rests {
		rests[i] = -91.7
	}
	tonight := Track{Track: catalog.Track{SampleRate: testRate, Number: 1, Channel: "Keys R"}}
	for _, row := range []struct {
		bits int
		want float64
	}{{16, 0}, {24, 1}, {0, 1}} {
		p := Past{BitDepth: row.bits, Track: Track{Track: catalog.Track{SampleRate: testRate, Frames: 40 * testRate}, levels: rests}}
		if got := p.aliveShare(p.above(-99, &tonight)); got != row.want {
			t.Errorf("%d bit: alive for %.2f, want %.2f", row.bits, got, row.want)
		}
	}
}
