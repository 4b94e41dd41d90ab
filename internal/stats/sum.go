package stats

import "math"

// Sum returns the sum of the values rounded once, at the end, so it does not
// depend on their order. It keeps the sum as parts that do not overlap (J. R.
// Shewchuk, Adaptive precision floating-point arithmetic, Discrete &
// Computational Geometry 18, 1997). An infinity or NaN gives what plain addition
// gives.
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
	// A tie in rounding is decided by the parts below.
	if i > 0 && (low < 0 && parts[i-1] < 0 || low > 0 && parts[i-1] > 0) {
		if y := low * 2; y == high+y-high {
			high += y
		}
	}
	return high
}

// Mean returns the mean of the values, NaN if there are none.
func Mean(values []float64) float64 { return Sum(values) / float64(len(values)) }
