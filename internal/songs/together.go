package songs

import (
	"math"

	"nightreel/internal/meter"
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
			m := 0.0
			for i, l := range levels {
				row[i] = float64(l)
				m += float64(l) / n
				if l >= bound {
					loud++
				}
			}
			if 4*loud < n { // not in a quarter of the window
				continue
			}
			sq := 0.0
			for i := range row {
				row[i] -= m
				sq += row[i] * row[i]
			}
			if sq == 0 {
				continue
			}
			for i := range row {
				row[i] /= math.Sqrt(sq)
				mean[i] += row[i]
			}
			rows = append(rows, row)
		}
		several[w] = float64(len(rows))
		if len(rows) < 3 {
			continue
		}
		for _, row := range rows {
			dot, sq := 0.0, 0.0
			for i := range row {
				o := mean[i] - row[i]
				dot += row[i] * o
				sq += o * o
			}
			asOne[w] += dot / math.Sqrt(max(1e-12, sq)) / float64(len(rows))
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
	return median(a.several[first:last]) / float64(a.channels)
}

// asOne returns how much the loud tracks move as one from block to block: the
// median of the windows.
func (a activity) asOne(from, to int) float64 {
	const n = windowS * meter.BlocksPerSecond
	first, last := from/n, min((to+n-1)/n, len(a.together))
	if first >= last {
		return 0
	}
	return median(a.together[first:last])
}
