package sound

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// What is picked is what sorting finds, whatever the values.
func TestPickIsSorting(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for trial := range 2000 {
		values := make([]float64, 1+r.IntN(200))
		for i := range values {
			switch trial % 4 {
			case 0:
				values[i] = r.NormFloat64()
			case 1:
				values[i] = float64(r.IntN(4)) // many alike
			case 2:
				values[i] = float64(i) // sorted
			case 3:
				values[i] = []float64{math.NaN(), math.Inf(1), math.Inf(-1), 0, r.Float64()}[r.IntN(5)]
			}
		}
		sorted := slices.Sorted(slices.Values(values))
		p := r.Float64()
		want := sorted[int(math.Round(p*float64(len(values)-1)))]
		same := func(got float64) bool { return got == want || got != got && want != want }
		before := slices.Clone(values)
		if got := Percentile(values, p); !same(got) {
			t.Fatalf("percentile %.3f of %v: %v, not %v", p, values, got, want)
		}
		if !slices.EqualFunc(before, values, func(a, b float64) bool { return a == b || a != a && b != b }) {
			t.Fatal("Percentile reordered what it was given")
		}
		if got := Pick(values, p); !same(got) {
			t.Fatalf("picked %v, not %v", got, want)
		}
	}
	if v := Percentile(nil, 0.5); v == v {
		t.Fatalf("of nothing: %v", v)
	}
}

func BenchmarkPercentile(b *testing.B) {
	r := rand.New(rand.NewPCG(1, 2))
	values := make([]float64, 600)
	for i := range values {
		values[i] = r.NormFloat64()
	}
	for b.Loop() {
		Percentile(values, 0.75)
	}
}
