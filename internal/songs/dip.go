package songs

import "math"

// Where one song becomes another, all players stop for a moment: see evenChange.
const (
	evenDipDB  = 4
	dipSlope   = 0.54 // of the logarithm of the odds, as are the next two
	leastDip   = -1.8
	mostDip    = 2.7
	dipNearS   = 3  // seconds around the change in which the dip is searched
	dipAroundS = 20 // seconds around the change that the dip is compared with
)

// dip returns the ln(odds) that all players stop for a moment near a second.
func (a activity) dip(second int) float64 {
	lowest := math.Inf(1)
	for s := second - dipNearS; s <= second+dipNearS; s++ {
		lowest = min(lowest, a.stageDB(s, s+1))
	}
	around := min(a.stageDB(second-dipAroundS, second-dipNearS), a.stageDB(second+dipNearS+1, second+dipAroundS))
	return max(leastDip, min(mostDip, dipSlope*(around-lowest-evenDipDB)))
}

// stageDB returns the mean level of the stage's tracks over a range of seconds,
// in dB relative to each track's own loud parts.
func (a activity) stageDB(from, to int) float64 {
	sum, n := 0.0, 0.0
	for _, l := range a.levels {
		for s := max(0, from); s < min(to, len(l)); s++ {
			sum += float64(l[s])
			n++
		}
	}
	return 20 * sum / max(1, n)
}
