package meter

import (
	"math"
	"math/rand/v2"
	"testing"
)

// cracksOf measures and returns the cracks' frames and their count by blocks.
func cracksOf(t *testing.T, x []float64) (at []int64, counted int) {
	t.Helper()
	for _, p := range sameOnAll(t, "cracks", Config{SampleRate: testRate, Type: Int24, Frames: int64(len(x))}, [][]byte{raw(Int24, x)}, nil) {
		for _, e := range p.Events {
			if e.Kind == Crack {
				at = append(at, e.Start)
			}
		}
		for _, b := range p.Blocks {
			counted += int(b.Cracks)
		}
	}
	return at, counted
}

// TestCracks: breaks of the wave are found, and sounds that are merely sudden or
// bright are not.
func TestCracks(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	tone := func(f, a float64) []float64 {
		x := make([]float64, 3*testRate)
		for i := range x {
			x[i] = a*math.Sin(2*math.Pi*f*float64(i)/testRate) + 1e-5*(rng.Float64()-0.5)
		}
		return x
	}
	breaks := []int{7000, 9117, 50003, 50103, 100000}
	tests := []struct {
		name  string
		wave  []float64
		spoil func(x []float64)
		want  int
	}{
		{"steps in a low tone", tone(80, 0.2), func(x []float64) {
			for i, at := range breaks {
				for k := at; k < at+20+50*i; k++ {
					x[k] += 0.05
				}
			}
		}, 2 * len(breaks)},
		{"single samples in silence", tone(80, 0), func(x []float64) {
			for _, at := range breaks {
				x[at] += 0.01
			}
		}, len(breaks)},
		{"too faint to be audible", tone(80, 0), func(x []float64) {
			for _, at := range breaks {
				x[at] += 0.0005
			}
		}, 0},
		{"white noise", tone(80, 0), func(x []float64) {
			for i := range x {
				x[i] = 0.5 * (2*rng.Float64() - 1)
			}
		}, 0},
		{"a bright tone", tone(9000, 0.5), func([]float64) {}, 0},
		{"strokes of noise that die away", tone(80, 0), func(x []float64) {
			for at := 3000; at < len(x); at += 12000 {
				for k := range min(6000, len(x)-at) {
					x[at+k] += 0.5 * math.Exp(-float64(k)/1500) * (2*rng.Float64() - 1)
				}
			}
		}, 0},
	}
	for _, test := range tests {
		test.spoil(test.wave)
		at, counted := cracksOf(t, test.wave)
		if len(at) != counted {
			t.Errorf("%s: %d events, %d counted", test.name, len(at), counted)
		}
		if test.want == 0 && len(at) > 0 || len(at) < test.want*3/4 || len(at) > 2*test.want {
			t.Errorf("%s: %d cracks at %v, planted %d", test.name, len(at), at, test.want)
		}
		for _, a := range at {
			near := false
			for i, b := range breaks {
				near = near || math.Abs(float64(a)-float64(b)) < 3 || math.Abs(float64(a)-float64(b+20+50*i)) < 3
			}
			if !near {
				t.Errorf("%s: a crack at %d, where none was made", test.name, a)
			}
		}
	}
}
