package songs

import (
	"slices"

	"nightreel/internal/meter"
	"nightreel/internal/stats"
)

// stretch is a run of blocks in which the band plays.
type stretch struct {
	from, to int // blocks; to is the first one after
	whole    int // length in blocks before takes were cut off it; set by outside
	// cut is the probability that this stretch belongs to another song than the
	// one before; 1 for the first.
	cut float64
	// band is the median share of channels that are near the stage's working
	// level.
	band float64
}

func (s stretch) blocks() int { return s.to - s.from }

const (
	// leastShare is the least difference between the share of channels that
	// play in music and between songs. With a smaller difference the night has
	// no songs, or no pauses.
	leastShare = 0.25
	// halfPauseBlocks is the pause at which two stretches are as likely one
	// song as two. Stops within songs last a bar, pauses several seconds
	// (common practice, no source).
	halfPauseBlocks = 18
	// segueCut is the probability that a dip without a pause separates two
	// songs, if all channels stop at it.
	segueCut = 0.15
	// mostOpeningBlocks is the longest opening or ending that only a line
	// instrument needs to play: a minute of keys, or keys and a voice.
	mostOpeningBlocks = 600
	// leastBlocks is the length of the shortest stretch considered.
	leastBlocks = 10
)

// stretches returns when the band plays, in order of time.
//
// A stretch is a run of blocks in which the share of playing channels is above
// the midpoint between the night's pauses and its music. It is widened down to
// a quarter of the way, so that a first guitar alone belongs to the song and
// applause in some open microphones does not.
func (a activity) stretches() []stretch {
	pause, music := split(a.share, 0, 1)
	if music-pause < leastShare {
		if music > 0.5 {
			return []stretch{{from: 0, to: len(a.share), cut: 1, band: a.band(0, len(a.share), 0.5)}}
		}
		return []stretch{}
	}
	high, low := pause+float64(0.5*(music-pause)), pause+float64(0.25*(music-pause))
	found := []stretch{}
	for i := 0; i < len(a.share); {
		if a.share[i] < high {
			i++
			continue
		}
		s := stretch{from: i, cut: 1}
		for i < len(a.share) && a.share[i] >= high {
			i++
		}
		s.to = i
		if s.blocks() < leastBlocks {
			continue
		}
		found = append(found, s)
	}
	runs := slices.Clone(found)
	for i := range found {
		s := &found[i]
		before, after := around(runs, i, len(a.share))
		s.from = a.widen(s.from, -1, before-1, low)
		s.to = a.widen(s.to-1, 1, after, low) + 1
	}
	for i := 1; i < len(found); i++ {
		found[i-1].to, found[i].from, found[i].cut = a.between(found[i-1].to, found[i].from, pause, music)
	}
	a.open(found)
	for i := range found {
		found[i].band = a.band(found[i].from, found[i].to, 0.5)
	}
	return found
}

// around returns the end of the stretch before the i-th and the start of the one
// after it, or the recording's ends.
func around(ss []stretch, i, blocks int) (before, after int) {
	after = blocks
	if i > 0 {
		before = ss[i-1].to
	}
	if i < len(ss)-1 {
		after = ss[i+1].from
	}
	return before, after
}

// open widens stretches as long as a line instrument plays on. It leaves a
// pause alone if an instrument plays all through it: that is a player noodling
// between songs.
func (a activity) open(found []stretch) {
	for i := range found {
		s := &found[i]
		before, after := around(found, i, len(a.share))
		from, to := s.from, s.to
		for from > before && s.from-from < mostOpeningBlocks && a.lines[from-1] {
			from--
		}
		if from > before || i == 0 {
			s.from = from
		}
		for to < after && to-s.to < mostOpeningBlocks && a.lines[to] {
			to++
		}
		if to < after || i == len(found)-1 {
			s.to = to
		}
	}
}

// band returns the share of loud channels that the blocks in a range reach for
// all but the given fraction of the time.
func (a activity) band(from, to int, part float64) float64 {
	first, last := from/meter.BlocksPerSecond, min((to+meter.BlocksPerSecond-1)/meter.BlocksPerSecond, len(a.loud))
	if first >= last || a.channels == 0 {
		return 0
	}
	return stats.Percentile(a.loud[first:last], part) / float64(a.channels)
}

// plays returns the mean share of channels that play in a range of blocks.
func (a activity) plays(from, to int) float64 {
	to = min(to, len(a.share))
	if from >= to {
		return 0
	}
	sum := 0.0
	for _, s := range a.share[from:to] {
		sum += s
	}
	return sum / float64(to-from)
}

// widen moves a block by step as long as the next block's share is at or above
// low, and stops before the given block.
func (a activity) widen(at, step, before int, low float64) int {
	for at+step != before && at+step >= 0 && at+step < len(a.share) && a.share[at+step] >= low {
		at += step
	}
	return at
}

// between returns where the first of two stretches ends, where the second
// starts, and the probability that they are two songs. If the band never
// paused, they meet at the block with the smallest share.
func (a activity) between(end, start int, pause, music float64) (int, int, float64) {
	if gap := float64(start - end); gap > 0 {
		odds := stats.Pow(gap/halfPauseBlocks, 3) // steep: a band seldom stops for 5 s within a song
		return end, start, odds / (1 + odds)
	}
	// Widened, the two meet or cross: somewhere in start … end is the dip.
	lowest := start
	for i := start; i < end; i++ {
		if a.share[i] < a.share[lowest] {
			lowest = i
		}
	}
	depth := 1.0
	if lowest < len(a.share) {
		depth = max(0, min(1, (music-a.share[lowest])/(music-pause)))
	}
	return lowest, lowest, max(0.01, segueCut*depth)
}

// joined merges neighbouring stretches that are more likely one song than two.
func joined(ss []stretch) []stretch {
	out := []stretch{}
	for _, s := range ss {
		if len(out) > 0 && s.cut < 0.5 {
			out[len(out)-1].to = s.to
			continue
		}
		out = append(out, s)
	}
	return out
}

// outside returns the stretches within a window of blocks, cut to the blocks
// that no take holds.
func outside(ss []stretch, from, to int, taken [][2]int) []stretch {
	free := []stretch{}
	for _, s := range ss {
		s.whole = s.blocks()
		s.from, s.to = max(s.from, from), min(s.to, to)
		for _, t := range taken {
			switch {
			case t[1] <= s.from || t[0] >= s.to:
			case t[0]-s.from > s.to-t[1]:
				s.to = t[0]
			default:
				s.from = t[1]
			}
		}
		if s.blocks() < leastBlocks {
			continue
		}
		if len(free) == 0 {
			s.cut = 1
		}
		for _, t := range taken {
			if len(free) > 0 && t[0] >= free[len(free)-1].to && t[1] <= s.from {
				s.cut = 1 // a song lies between
			}
		}
		free = append(free, s)
	}
	return free
}

// logOf returns the natural logarithm of a probability, kept away from 0 and
// 1.
func logOf(p float64) float64 { return stats.Log(max(1e-6, min(1-1e-6, p))) }
