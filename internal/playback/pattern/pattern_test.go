package pattern

import (
	"math/rand/v2"
	"reflect"
	"testing"
)

func TestEverySampleTellsItsFrame(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 2031))
	for range 10_000 {
		frame, channel := r.Int64N(Period), r.IntN(256)
		if got := FrameOf(Float(frame, channel), channel); got != frame {
			t.Fatalf("frame %d, channel %d: %d", frame, channel, got)
		}
	}
}

// The checker detects a gap, a repeat, a swap, one flipped bit, silence and a
// change of level.
func TestChecker(t *testing.T) {
	row := func(frame int64) []float32 { return []float32{Float(frame, 0), Float(frame, 1), Float(frame, 2)} }
	var c Checker
	for f := range int64(10) {
		c.Row(row(f))
	}
	c.Row(row(11)) // 10 is lost
	c.Row(row(11)) // repeated
	swapped := row(12)
	swapped[1], swapped[2] = swapped[2], swapped[1]
	c.Row(swapped)
	flipped := row(13)
	flipped[2] += 1.0 / (1 << 23)
	c.Row(flipped)
	c.Row([]float32{0, 0, 0})
	quieter := row(15)
	for i := range quieter {
		quieter[i] *= 0.7
	}
	c.Row(quieter)
	c.Row(row(16))
	want := []Run{{Exact, 0, 0, 10}, {Exact, 10, 11, 1}, {Exact, 11, 11, 1}, {Other, 12, 0, 2}, {Silent, 14, 0, 1}, {Other, 15, 0, 1}, {Exact, 16, 16, 1}}
	if !reflect.DeepEqual(c.Runs, want) || c.Frames() != 17 {
		t.Errorf("%v", c.Runs)
	}
}
