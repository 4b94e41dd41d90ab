package meter

import (
	"math"

	"nightreel/internal/stats"
)

// minOverlap is the least share of the shorter series that must overlap the
// other at a lag: a few blocks correlate with anything.
const minOverlap = 0.25

// Lag returns by how many blocks b is behind a: a[i] is about b[i+lag]. It is
// the lag within ±maxLag at which the two series (levels, or any other values by
// block) correlate best, refined below a block by a parabola through the
// neighbours. score is the correlation coefficient there, -1 to 1. It ignores
// NaN and infinities. If no lag leaves enough overlap, or a series is constant,
// lag is NaN and score 0.
//
// The time it takes grows with the length times maxLag.
func Lag(a, b []float64, maxLag int) (lag, score float64) {
	best := math.Inf(-1)
	at := 0
	least := max(2, int(minOverlap*float64(min(len(a), len(b)))))
	for l := -maxLag; l <= maxLag; l++ {
		if c, ok := correlation(a, b, l, least); ok && c > best {
			best, at = c, l
		}
	}
	if math.IsInf(best, -1) {
		return math.NaN(), 0
	}
	lag = float64(at)
	before, ok := correlation(a, b, at-1, least)
	after, ok2 := correlation(a, b, at+1, least)
	if curve := before - float64(2*best) + after; ok && ok2 && before <= best && after <= best && curve < 0 {
		lag += (before - after) / (2 * curve)
	}
	return lag, best
}

// correlation returns the correlation coefficient of a[i] and b[i+lag] over all
// pairs of finite values; ok is false if there are fewer than least pairs, or
// one side is constant.
func correlation(a, b []float64, lag, least int) (r float64, ok bool) {
	from, to := max(0, -lag), min(len(a), len(b)-lag)
	var pairs stats.Pairs
	for i := from; i < to; i++ {
		x, y := a[i], b[i+lag]
		if d := x - x + y - y; d != 0 { // NaN or infinite
			continue
		}
		pairs.Add(x, y)
	}
	if pairs.N < least {
		return 0, false
	}
	return pairs.Correlation()
}
