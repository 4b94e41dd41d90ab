// Package stats holds the arithmetic that results rest on: one median, one
// percentile, one correlation, and exp, log, pow and sums that give the same
// bits on every machine.
//
// Go computes a*x+y with one rounding on arm64 and with two on amd64, and
// math.Exp and math.Log differ between processors. Results are compared across
// machines. Therefore every product that is added to something is written
// float64(a*x), which forbids fusing, and package math is used only for what
// IEEE 754 defines to the bit (square roots, rounding, exponents).
package stats

import (
	"math"
	"slices"
)

// Number is the set of types that can be ordered and averaged here.
type Number interface {
	~int | ~int64 | ~float32 | ~float64
}

// Median returns the middle value, or the mean of the middle two of an even
// count; NaN if there are no values. It ignores NaN and does not reorder the
// values.
func Median[N Number](values []N) float64 { return Percentile(values, 0.5) }

// Percentile returns the value below which the share p (0 to 1) of the values
// lies, by linear interpolation between the two nearest: definition 7 of Hyndman
// and Fan, "Sample quantiles in statistical packages", The American Statistician
// 50(4), 1996, which is also R's default. The smallest value is at 0, the
// largest at 1. It is NaN if there are no values. It ignores NaN and does not
// reorder the values.
func Percentile[N Number](values []N, p float64) float64 { return Pick(slices.Clone(values), p) }

// Pick is [Percentile] for values whose order does not matter: it reorders them,
// and so needs no memory. It takes linear time; sorting takes several times as
// long.
func Pick[N Number](values []N, p float64) float64 {
	v := values[notNumbers(values):]
	if len(v) == 0 {
		return math.NaN()
	}
	place := p * float64(len(v)-1)
	below := math.Floor(place)
	// place - below would be fused with the product.
	share := float64(place) - below
	n := int(below)
	low := float64(Nth(v, n))
	if share == 0 {
		return low
	}
	high := float64(slices.Min(v[n+1:]))
	if low == high {
		return low
	}
	return float64((1-share)*low) + float64(share*high) // -Inf and a finite number give -Inf
}

// Nth returns the element at index n as if the values were sorted, NaN first. It
// reorders them so that smaller ones come before n and larger ones after it. It
// takes linear time (Hoare's selection).
func Nth[N Number](values []N, n int) N {
	none := notNumbers(values)
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

// notNumbers moves NaN to the front and returns their number.
func notNumbers[N Number](values []N) int {
	none := 0
	for i, v := range values {
		if v != v {
			values[i], values[none] = values[none], v
			none++
		}
	}
	return none
}

// middle returns the second largest of three values.
func middle[N Number](a, b, c N) N { return max(min(a, b), min(max(a, b), c)) }

// Round returns x to the nearest multiple of 1/perUnit, halves away from 0.
// Results are rounded before they are stored, so that a different last bit is no
// new result.
func Round(x float64, perUnit float64) float64 { return math.Round(x*perUnit) / perUnit }
