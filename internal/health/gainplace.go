package health

import (
	"math"
	"slices"

	"nightreel/internal/sound"
)

// place returns the bin at which a step was made. It lies from the last pause that
// holds what was before to the first that holds what was after. Preamps are turned
// between songs: where one of the two pauses itself has both, it is that one's
// middle; else the bin at which what was played around parts best, be it in a song,
// and near a pause that one's middle, for a last chord that dies away parts well, too.
func (n *Night) place(t *Track, c *course, st step) int {
	h := n.hushes()
	before, after := h.sides(t, st.bin)
	first, last := pause{0, 0}, pause{len(t.levels), len(t.levels)}
	for k, p := range h.pauses {
		level := h.raw[t.Number][k]
		switch {
		case math.IsNaN(level):
		case p.to <= st.bin, p.from < st.bin && math.Abs(level-before) < math.Abs(level-after):
			first = p
		case last.from == len(t.levels):
			last = p
		}
	}
	for _, p := range []pause{first, last} {
		if p.parted(t, before, after) {
			return (p.from + p.to) / 2
		}
	}
	low, high := first.from, last.to
	if from, to, ok := parts(c.mates, low, high, int(stepLoudS/sound.CellSeconds), st.db > 0); ok {
		if p, ok := pauseNear(from, to, first, last); ok {
			return (p.from + p.to) / 2
		}
		low, high = from, to
	}
	low, high, ok := parts([]mates{c.played(t, n.stage())}, low, high, int(stepLoudS*binsPerSecond), st.db > 0)
	if !ok {
		return st.bin
	}
	if p, ok := pauseNear(low, high, first, last); ok {
		return (p.from + p.to) / 2
	}
	return high
}

// pauseNear returns the first pause that bins lie near to.
func pauseNear(low, high int, pauses ...pause) (pause, bool) {
	for _, p := range pauses {
		if high >= p.from-nearPause && low <= p.to+nearPause && p.to > p.from {
			return p, true
		}
	}
	return pause{}, false
}

// parted reports whether a track holds steadily what was before in the beginning of
// a pause, and what was after in the rest, for 2 s each at least and to 1 dB. What
// dies away passes through what was before, but does not stay.
func (p pause) parted(t *Track, before, after float64) bool {
	const least, near = int(2 * binsPerSecond), 1
	for at := p.from + least; at <= p.to-least; at++ {
		begins, rest := t.levels[p.from:at], t.levels[at:p.to]
		x, y := percentile(begins, hushQuantile), percentile(rest, hushQuantile)
		if math.Abs(x-before) <= near && math.Abs(y-after) <= near && percentile(begins, 1-hushQuantile)-x <= near {
			return true
		}
	}
	return false
}

// played returns what was played, and when.
func (c *course) played(t *Track, s *stage) mates {
	m := mates{db: c.loud}
	for b := range t.levels {
		if s.isLoud(b) {
			m.bins = append(m.bins, b)
		}
	}
	return m
}

// parts returns between which bins, from first to last, all that tonight held parts
// best in one direction, of up to so many values more to each side: where as much as
// can be of how they scatter is explained. ok is false where nothing is.
func parts(all []mates, first, last, around int, up bool) (low, high int, ok bool) {
	explained, before := map[int]float64{}, map[int]int{}
	for _, m := range all {
		from, _ := slices.BinarySearch(m.bins, first)
		to, _ := slices.BinarySearch(m.bins, last)
		low, high := max(0, from-around), min(len(m.bins), to+around)
		total, sum := 0.0, 0.0
		for _, v := range m.db[low:high] {
			total += v
		}
		for i := low + 1; i < high; i++ {
			sum += m.db[i-1]
			a, b := float64(i-low), float64(high-i)
			if d := (total-sum)/b - sum/a; i >= from && i <= to && (d > 0) == up {
				explained[m.bins[i]] += d * d * a * b
				before[m.bins[i]] = max(before[m.bins[i]], m.bins[i-1])
			}
		}
	}
	best := 0.0
	for _, b := range sortedKeys(explained) {
		if explained[b] > best {
			low, high, best, ok = before[b], b, explained[b], true
		}
	}
	return low, high, ok
}
