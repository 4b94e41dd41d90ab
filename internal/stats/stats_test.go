package stats

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/stat"
)

// The numbers follow from definition 7 by hand: index = p(n-1), counted from 0.
// Example: of 1 2 4 8 at 0.4 the index is 1.2, so 2 + 0.2·(4-2).
func TestPercentileInterpolatesByDefinition7(t *testing.T) {
	inf := math.Inf(1)
	for _, row := range []struct {
		values  []float64
		p, want float64
	}{
		{[]float64{8, 1, 4, 2}, 0.4, 2.4},
		{[]float64{8, 1, 4, 2}, 0.5, 3},
		{[]float64{8, 1, 4, 2}, 0.25, 1.75},
		{[]float64{8, 1, 4, 2}, 0.9, 6.8},
		{[]float64{8, 1, 4, 2}, 0, 1},
		{[]float64{8, 1, 4, 2}, 1, 8},
		{[]float64{3, 1, 2}, 0.5, 2},
		{[]float64{7}, 0.3, 7},
		{[]float64{1, math.NaN(), 3}, 0.5, 2},
		{[]float64{-inf, 1}, 0.5, -inf},
		{[]float64{-inf, -inf, 1}, 0.5, -inf},
		{[]float64{inf, inf}, 0.5, inf},
	} {
		if got := Percentile(row.values, row.p); math.Abs(got-row.want) > 1e-15*math.Abs(row.want) && got != row.want {
			t.Errorf("Percentile(%v, %g) = %v, want %v", row.values, row.p, got, row.want)
		}
	}
	if v := Median([]float64(nil)); v == v {
		t.Errorf("median of no values: %v", v)
	}
	if v := Median([]float64{math.NaN()}); v == v {
		t.Errorf("median of NaN: %v", v)
	}
	if v := Median([]int64{3, 4}); v != 3.5 {
		t.Errorf("median of 3 and 4: %v", v)
	}
	if v := Percentile([]float32{1, 2}, 0.25); v != 1.25 {
		t.Errorf("of float32: %v", v)
	}
}

// Nth returns what sorting gives, whatever the values, and Percentile leaves the
// values in their order.
func TestNthAndPercentileAreSorting(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for trial := range 2000 {
		values := make([]float64, 1+r.IntN(200))
		for i := range values {
			switch trial % 4 {
			case 0:
				values[i] = r.NormFloat64()
			case 1:
				values[i] = float64(r.IntN(4)) // many equal values
			case 2:
				values[i] = float64(i) // sorted
			case 3:
				values[i] = []float64{math.NaN(), math.Inf(1), math.Inf(-1), 0, r.Float64()}[r.IntN(5)]
			}
		}
		same := func(a, b float64) bool { return a == b || a != a && b != b }
		before := slices.Clone(values)
		sorted := slices.Sorted(slices.Values(values))
		p := r.Float64()
		got := Percentile(values, p)
		if !slices.EqualFunc(before, values, same) {
			t.Fatal("Percentile reordered what it was given")
		}
		known := slices.DeleteFunc(slices.Clone(sorted), math.IsNaN)
		if len(known) > 0 {
			place := p * float64(len(known)-1)
			low, high := known[int(math.Floor(place))], known[int(math.Ceil(place))]
			want := low
			if low != high {
				want = (1-(place-math.Floor(place)))*low + (place-math.Floor(place))*high
			}
			if !same(got, want) && !(math.Abs(got-want) <= 1e-12) {
				t.Fatalf("percentile %.3f of %v: %v, not %v", p, before, got, want)
			}
		}
		n := r.IntN(len(values))
		if got := Nth(values, n); !same(got, sorted[n]) {
			t.Fatalf("number %d of %v: %v, not %v", n, before, got, sorted[n])
		}
	}
}

// Anscombe's first and fourth sets ("Graphs in statistical analysis", The
// American Statistician 27(1), 1973): he gives r = 0.816 and 0.817 for them, to
// more digits 0.81642 and 0.81652.
func TestCorrelationOfAnscombe(t *testing.T) {
	x1 := []float64{10, 8, 13, 9, 11, 14, 6, 4, 12, 7, 5}
	y1 := []float64{8.04, 6.95, 7.58, 8.81, 8.33, 9.96, 7.24, 4.26, 10.84, 4.82, 5.68}
	x4 := []float64{8, 8, 8, 8, 8, 8, 8, 19, 8, 8, 8}
	y4 := []float64{6.58, 5.76, 7.71, 8.84, 8.47, 7.04, 5.25, 12.50, 5.56, 7.91, 6.89}
	for _, row := range []struct {
		x, y []float64
		want float64
	}{{x1, y1, 0.81642}, {x4, y4, 0.81652}} {
		var p Pairs
		for i := range row.x {
			p.Add(row.x[i], row.y[i])
		}
		r, ok := p.Correlation()
		if !ok || math.Abs(r-row.want) > 5e-6 || math.Abs(r-stat.Correlation(row.x, row.y, nil)) > 1e-12 {
			t.Errorf("correlation %v, want %v", r, row.want)
		}
		x, y := slices.Clone(row.x), slices.Clone(row.y)
		if !Standardise(x) || !Standardise(y) || math.Abs(Dot(x, y)-r) > 1e-12 {
			t.Errorf("standardised %v, want %v", Dot(x, y), r)
		}
	}
}

func TestOfConstantsThereIsNoCorrelation(t *testing.T) {
	var p Pairs
	for i := range 100 {
		p.Add(-60.1, float64(i))
	}
	if r, ok := p.Correlation(); ok || r != 0 {
		t.Errorf("correlation with a constant: %v", r)
	}
	if _, ok := (&Pairs{}).Correlation(); ok {
		t.Error("correlation of no pairs")
	}
	row := []float64{-60.1, -60.1, -60.1}
	if Standardise(row) || !slices.Equal(row, []float64{0, 0, 0}) {
		t.Errorf("a constant row became %v", row)
	}
	if c := Cosine([]float64{1, 2}, []float64{-2, -4}); math.Abs(c+1) > 1e-15 {
		t.Errorf("cosine of the inverse: %v", c)
	}
	if c := Cosine([]float64{0, 0}, []float64{1, 2}); c != 0 {
		t.Errorf("cosine with zeros: %v", c)
	}
}

// The sums are exact by construction: every added value is also subtracted.
func TestSumIsExactInAnyOrder(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	for range 500 {
		var values []float64
		for range 1 + r.IntN(50) {
			v := r.NormFloat64() * math.Pow(2, float64(r.IntN(200)-100))
			values = append(values, v, -v)
		}
		rest := r.NormFloat64()
		values = append(values, rest)
		r.Shuffle(len(values), func(i, j int) { values[i], values[j] = values[j], values[i] })
		if got := Sum(values); got != rest {
			t.Fatalf("sum %v, want %v", got, rest)
		}
	}
	if got := Sum([]float64{1, 1e100, 1, -1e100}); got != 2 {
		t.Errorf("sum %v, want 2", got)
	}
	// A tie is rounded by the parts below it: 1 + 2^-53 + 2^-106 is above the
	// half.
	if got := Sum([]float64{1, 0x1p-53, 0x1p-106}); got != 1+0x1p-52 {
		t.Errorf("a half and a little more: %v", got)
	}
	if got := Sum([]float64{1, math.Inf(1)}); !math.IsInf(got, 1) {
		t.Errorf("with an infinity: %v", got)
	}
	if got := Mean(nil); got == got {
		t.Errorf("mean of no values: %v", got)
	}
	if got := Mean([]float64{1, 2}); got != 1.5 {
		t.Errorf("mean %v", got)
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
