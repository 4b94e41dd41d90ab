package songs

import (
	"slices"

	"nightreel/internal/meter"
	"nightreel/internal/stats"
)

// heardTrack holds a track's levels by block, in dB, and the mean levels of its
// quiet and of its loud blocks.
type heardTrack struct {
	levels    []float32
	low, high float64
}

// levelsOf returns the levels of a track; ok is false for an uninformative one.
func levelsOf(e meter.Envelope) (h heardTrack, ok bool) {
	levels := make([]float64, len(e.Blocks))
	h.levels = make([]float32, len(e.Blocks))
	for i, b := range e.Blocks {
		levels[i] = max(lowestDB, float64(meter.PowerDB(float64(b.MeanSquare))))
		h.levels[i] = float32(levels[i])
	}
	h.low, h.high = split(levels, lowestDB, highestDB)
	return h, h.high-h.low >= leastContrastDB
}

// workingLevel returns the level in dB that the stage's preamps are set for: the
// level of the channels that are louder than nine in ten.
func workingLevel(tracks []heardTrack) float64 {
	if len(tracks) == 0 {
		return lowestDB
	}
	var highs []float64
	for _, h := range tracks {
		highs = append(highs, h.high)
	}
	return stats.Nth(highs, len(highs)*9/10) // with fewer than ten channels, the loudest
}

// near counts the tracks that come near the stage's working level in each
// second.
func near(tracks []heardTrack, blocks int) []int {
	count := make([]int, (blocks+meter.BlocksPerSecond-1)/meter.BlocksPerSecond)
	bound := float32(max(workingLevel(tracks)-nearWorkingDB, leastNearDB))
	for _, h := range tracks {
		last := -1
		for i, l := range h.levels[:min(len(h.levels), blocks)] {
			if second := i / meter.BlocksPerSecond; l >= bound && second != last {
				last = second
				count[second]++
			}
		}
	}
	return count
}

// calm returns how loud a track is in each second: 0 where it is as loud as it
// usually is when it plays, -1 where it is 20 dB below, and never below -1.5.
func (h heardTrack) calm(blocks int) []float32 {
	out := make([]float32, (blocks+meter.BlocksPerSecond-1)/meter.BlocksPerSecond)
	for second := range out {
		sum, n := float32(0), float32(0)
		for _, l := range h.levels[min(len(h.levels), second*meter.BlocksPerSecond):min(len(h.levels), (second+1)*meter.BlocksPerSecond)] {
			sum += max(-1.5, (l-float32(h.high))/20)
			n++
		}
		out[second] = -1.5
		if n > 0 {
			out[second] = sum / n
		}
	}
	return out
}

// hear returns the blocks in which a track plays: its level is nearer to its own
// loud blocks than to its own quiet ones, and not below floor. ok is false for a
// track that never plays.
func (h heardTrack) hear(blocks int, floor float64) (v voice, ok bool) {
	bound := float32(max((h.low+h.high)/2, floor))
	v = voice{plays: make([]bool, blocks), weight: min(1, (h.high-h.low)/fullContrastDB)}
	v.line = h.high-h.low >= lineContrastDB && h.steady()
	last := -1 // last block that played
	for i, l := range h.levels[:min(len(h.levels), blocks)] {
		if l <= bound {
			continue
		}
		from := i
		if last >= 0 && i-last <= holdBlocks+1 {
			from = last + 1
		}
		for k := from; k <= i; k++ {
			v.plays[k] = true
		}
		last = i
	}
	return v, last >= 0
}

// steady reports whether the track's quiet levels hardly vary: the middle half
// of them lies within steadyDB.
func (h heardTrack) steady() bool {
	bound := float32((h.low + h.high) / 2)
	quiet := slices.DeleteFunc(slices.Clone(h.levels), func(l float32) bool { return l > bound })
	return len(quiet) > 0 && stats.Percentile(quiet, 0.75)-stats.Percentile(quiet, 0.25) < steadyDB
}
