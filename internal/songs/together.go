package songs

import (
	"nightreel/internal/meter"
	"nightreel/internal/stats"
)

// windowS is the length of the windows in which tracks are compared.
const windowS = 10

// together returns, for each window, how much the tracks near the stage's
// working level move as one: the mean correlation of each one's levels with
// those of the others, 0 if fewer than three are loud. It also returns how many
// tracks are loud for at least a quarter of the window. A band's microphones
// follow their own instruments; a record over the PA is the same in all of them.
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
			if 4*loud < n { // loud in less than a quarter of the window
				continue
			}
			several[w]++
			if !stats.Standardise(row) {
				continue // a constant level correlates with nothing
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

// holding returns the share of channels that are loud for at least a quarter of
// the time: the median of the windows.
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
