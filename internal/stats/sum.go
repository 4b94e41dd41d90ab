package stats

import "math"

// Sum returns the sum of the values as if it were rounded once, at the end: it
// does not depend on their order (J. R. Shewchuk, Adaptive precision
// floating-point arithmetic, Discrete & Computational Geometry 18, 1997: the sum
// is kept as parts that do not overlap). An infinity or a value that is not a
// number gives what plain adding gives.
func Sum(values []float64) float64 {
	var room [8]float64
	parts := room[:0]
	plain := 0.0
	for _, x := range values {
		plain += x
		kept := 0
		for _, y := range parts {
			if math.Abs(x) < math.Abs(y) {
				x, y = y, x
			}
			high := x + y
			if low := y - (high - x); low != 0 {
				parts[kept] = low
				kept++
			}
			x = high
		}
		parts = append(parts[:kept], x)
	}
	if math.IsInf(plain, 0) || math.IsNaN(plain) || len(parts) == 0 {
		return plain
	}
	i := len(parts) - 1
	high, low := parts[i], 0.0
	for i > 0 {
		i--
		x, y := high, parts[i]
		high = x + y
		if low = y - (high - x); low != 0 {
			break
		}
	}
	// A half way rounding looks at the parts below as well.
	if i > 0 && (low < 0 && parts[i-1] < 0 || low > 0 && parts[i-1] > 0) {
		if y := low * 2; y == high+y-high {
			high += y
		}
	}
	return high
}

// Mean returns the mean of the values, NaN for none.
func Mean(values []float64) float64 { return Sum(values) / float64(len(values)) }
