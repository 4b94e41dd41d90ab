package sound

import (
	"math"
	"slices"
)

// Percentile returns the value below which the share p of the values lies; NaN
// for none. It does not reorder them.
func Percentile(values []float64, p float64) float64 { return Pick(slices.Clone(values), p) }

// Median returns the middle value; NaN for none.
func Median(values []float64) float64 { return Percentile(values, 0.5) }

// Pick is [Percentile] of values whose order does not matter: it reorders them,
// and so needs no room.
func Pick[F float32 | float64](values []F, p float64) F {
	if len(values) == 0 {
		return F(math.NaN())
	}
	return Nth(values, int(math.Round(p*float64(len(values)-1))))
}

// Nth returns what would stand at index n, within the slice, if the values were
// sorted, those that are no number first. It reorders them. It takes time in
// proportion to their number, where sorting takes several times as much
// (Hoare's selection).
func Nth[F float32 | float64](values []F, n int) F {
	// What is no number compares with nothing, and goes first.
	none := 0
	for i, v := range values {
		if v != v {
			values[i], values[none] = values[none], v
			none++
		}
	}
	if n < none {
		return values[n]
	}
	lo, hi := none, len(values)-1
	for lo < hi {
		pivot := middle(values[lo], values[lo+(hi-lo)/2], values[hi])
		i, j := lo, hi
		for i <= j {
			for values[i] < pivot {
				i++
			}
			for values[j] > pivot {
				j--
			}
			if i <= j {
				values[i], values[j] = values[j], values[i]
				i++
				j--
			}
		}
		switch {
		case n <= j:
			hi = j
		case n >= i:
			lo = i
		default:
			return values[n]
		}
	}
	return values[n]
}

// middle returns the second largest of three values.
func middle[F float32 | float64](a, b, c F) F { return max(min(a, b), min(max(a, b), c)) }
