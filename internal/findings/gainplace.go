package findings

import (
	"maps"
	"math"
	"slices"

	"nightreel/internal/channelsound"
	"nightreel/internal/evidence"
	"nightreel/internal/stats"
)

// place returns the bin at which a step was made: between the last pause with the
// level before it and the first with the level after it. If one of these pauses
// contains both levels, it is that pause's midpoint. Otherwise it is the split that
// separates the surrounding levels best, moved to a pause nearby, because a last chord
// that decays looks like a step as well.
func place(n *known, t *evidence.Track, c *course, st step) int {
	h := n.hushes()
	before, after := h.sides(t, st.bin)
	first, last := h.beside(t, before, after)
	for _, p := range []pause{first, last} {
		if p.parted(t, before, after) {
			return (p.from + p.to) / 2
		}
	}
	low, high := first.from, last.to
	if from, to, ok := bestSplit(c.mates, low, high, int(gainLimits.StepLoudS/channelsound.CellSeconds), st.db > 0); ok {
		// The step may lie within the cells on either side.
		const half = int(channelsound.CellSeconds * evidence.BinsPerSecond / 2)
		low, high = max(low, from-half), min(high, to+half)
	}
	around := int(gainLimits.StepLoudS * evidence.BinsPerSecond)
	if high-low < last.to-first.from {
		around = high - low
	}
	from, to, ok := bestSplit([]mates{c.played(t, n.stage())}, low, high, around, st.db > 0)
	if !ok {
		return st.bin
	}
	if p, ok := pauseNear(from, to, first, last); ok {
		return (p.from + p.to) / 2
	}
	return to
}

// beside returns the last pause that holds what was before and the first that
// holds what was after: those between which all pauses part best.
func (h *hushes) beside(t *evidence.Track, before, after float64) (first, last pause) {
	first, last = pause{0, 0}, pause{len(t.Levels), len(t.Levels)}
	apart := math.Abs(after - before)
	off := func(level, from float64) float64 { return min(apart, math.Abs(level-from)) }
	var held []pause
	var levels []float64
	cost := 0.0 // of all being after the step
	for k, p := range h.pauses {
		if level := h.raw[t.Number][k]; !math.IsNaN(level) {
			p.to = min(p.to, len(t.Levels)) // the track may end within the pause
			held, levels = append(held, p), append(levels, level)
			cost += off(level, after)
		}
	}
	best, at := cost, 0
	for k := range levels {
		cost += off(levels[k], before) - off(levels[k], after)
		if cost < best {
			best, at = cost, k+1
		}
	}
	if at > 0 {
		first = held[at-1]
	}
	if at < len(held) {
		last = held[at]
	}
	return first, last
}

// pauseNear returns the first pause that bins lie near to.
func pauseNear(low, high int, pauses ...pause) (pause, bool) {
	for _, p := range pauses {
		if high >= p.from-gainLimits.NearPause && low <= p.to+gainLimits.NearPause && p.to > p.from {
			return p, true
		}
	}
	return pause{}, false
}

// parted reports whether a track holds steadily what was before in the beginning of
// a pause, and what was after in the rest, each for long enough. What dies away passes
// through what was before, but does not stay.
func (p pause) parted(t *evidence.Track, before, after float64) bool {
	least, near := int(gainLimits.PartedS*evidence.BinsPerSecond), gainLimits.PartedDB
	for at := p.from + least; at <= p.to-least; at++ {
		begins, rest := t.Levels[p.from:at], t.Levels[at:p.to]
		x, y := stats.Percentile(begins, hushLimits.Quantile), stats.Percentile(rest, hushLimits.Quantile)
		if math.Abs(x-before) <= near && math.Abs(y-after) <= near && stats.Percentile(begins, 1-hushLimits.Quantile)-x <= near {
			return true
		}
	}
	return false
}

// played returns what was played, and when.
func (c *course) played(t *evidence.Track, s *stage) mates {
	m := mates{db: c.loud}
	for b := range t.Levels {
		if s.isLoud(b) {
			m.bins = append(m.bins, b)
		}
	}
	return m
}

// bestSplit returns the interval in [first, last] whose split explains most of the
// variance of all series in the given direction, looking at up to around values on
// either side. A show without the song that is played there has no say in it. ok is
// false where no split explains anything.
func bestSplit(all []mates, first, last, around int, up bool) (low, high int, ok bool) {
	explained := make([][]float64, len(all)) // by the index of what comes after
	places := map[int]bool{}
	for k, m := range all {
		from, _ := slices.BinarySearch(m.bins, first)
		to, _ := slices.BinarySearch(m.bins, last)
		low, high := max(0, from-around), min(len(m.bins), to+around)
		explained[k] = make([]float64, len(m.bins)+1)
		// Where one of the nights rests they differ by anything.
		db := slices.Clone(m.db[low:high])
		middle := stats.Percentile(db, 0.5)
		total, sum := 0.0, 0.0
		for i, v := range db {
			db[i] = max(middle-gainLimits.RestsDB, min(middle+gainLimits.RestsDB, v))
			total += db[i]
		}
		for i := low + 1; i < high; i++ {
			sum += db[i-1-low]
			a, b := float64(i-low), float64(high-i)
			if d := (total-sum)/b - sum/a; i >= from && i <= to && (d > 0) == up {
				explained[k][i] = d * d * a * b / (a + b)
				places[min(m.bins[i], last)] = true // the series may have nothing for long after last
			}
		}
	}
	best := 0.0
	for _, place := range slices.Sorted(maps.Keys(places)) {
		sum, before := 0.0, first
		for k, m := range all {
			i, _ := slices.BinarySearch(m.bins, place)
			sum += explained[k][i]
			if i > 0 {
				before = max(before, m.bins[i-1])
			}
		}
		if sum > best {
			low, high, best, ok = before, place, sum, true
		}
	}
	return low, high, ok
}
