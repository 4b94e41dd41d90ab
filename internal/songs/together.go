package songs

import (
	"nightreel/internal/meter"
	"nightreel/internal/stats"
)

// windowS is the length of the windows in which tracks are compared.
const windowS = 10

// together tells how much the tracks near the stage's working level move as one,
// window by window: the mean correlation of each one's levels with those of the
// others, 0 where fewer than three are loud; and how many are, for a quarter of
// the window at least. A band's microphones follow their own instruments; a
// record over the PA is the same in all of them.
func together(tracks []heardTrack, blocks int) (asOne, several []float64) {
	bound := float32(max(workingLevel(tracks)-nearWorkingDB, leastNearDB))
	const n = windowS * meter.BlocksPerSecond
	asOne, several = make([]float64, blocks/n), make([]float64, blocks/n)
	for w := range asOne {
		mean := make([]float64, n)
		var rows [][]float64
		for _, h := range tracks {
			if len(h.levels) < (w+1)*n {
				continue
			}
			levels := h.levels[w*n : (w+1)*n]
			row, loud := make([]float64, n), 0
			for i, l := range levels {
				row[i] = float64(l)
				if l >= bound {
					loud++
				}
			}
			if 4*loud < n { // not in a quarter of the window
				continue
			}
			several[w]++
			if !stats.Standardise(row) {
				continue // it moves with nothing
			}
			for i, v := range row {
				mean[i] += v
			}
			rows = append(rows, row)
		}
		if len(rows) < 3 {
			continue
		}
		others := make([]float64, n)
		for _, row := range rows {
			for i, v := range row {
				others[i] = mean[i] - v
			}
			asOne[w] += stats.Cosine(row, others) / float64(len(rows))
		}
	}
	return asOne, several
}

// holding returns the share of channels that are loud for a quarter of the time
// and not just now and then: the median of the windows.
func (a activity) holding(from, to int) float64 {
	const n = windowS * meter.BlocksPerSecond
	first, last := from/n, min((to+n-1)/n, len(a.several))
	if first >= last || a.channels == 0 {
		return 0
	}
	return stats.Median(a.several[first:last]) / float64(a.channels)
}

// asOne returns how much the loud tracks move as one from block to block: the
// median of the windows.
func (a activity) asOne(from, to int) float64 {
	const n = windowS * meter.BlocksPerSecond
	first, last := from/n, min((to+n-1)/n, len(a.together))
	if first >= last {
		return 0
	}
	return stats.Median(a.together[first:last])
}
