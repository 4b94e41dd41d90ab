package findings

import (
	"math"

	"nightreel/internal/evidence"
	"nightreel/internal/stats"
)

const (
	// livelyDB is how far the loud and the quiet moments of a track must lie
	// apart for it to tell what the stage does, and leastStage how many such
	// tracks make a stage. Chosen: common practice.
	livelyDB   = 10
	leastStage = 3
	// betweenShare and songShare are the quantiles of the middle track's level that stand
	// for between songs and for songs; half way between them the band begins to play.
	// Chosen.
	betweenShare = 0.1
	songShare    = 0.95
	// onS is over how many seconds before and after a bin the band must play for one part
	// in onParts of them to play on over it. Chosen.
	onS     = 4
	onParts = 4
	// leastLivelyDB keeps tracks out that hold hardly more than noise. Chosen.
	leastLivelyDB = -70
)

// stage tells for each bin whether the band plays.
type stage struct {
	loud   []bool
	bins   int       // that are loud
	middle []float32 // dB of the middle track against its own loud moments
}

// stageOf finds where most tracks are loud. Every track counts against its own
// loud moments, and the middle one decides, so neither gains nor a few that
// rest or are broken matter. Without enough tracks that move, nothing is loud.
func stageOf(n *evidence.Recording) *stage {
	var lively []*evidence.Track
	var against []float64
	bins := 0
	for i := range n.Tracks {
		t := &n.Tracks[i]
		if !t.Measured || t.High-t.Low < livelyDB || t.High < leastLivelyDB {
			continue
		}
		lively = append(lively, t)
		against = append(against, t.High)
		bins = max(bins, len(t.Levels))
	}
	s := &stage{loud: make([]bool, bins)}
	if len(lively) < leastStage {
		return s
	}
	middle := make([]float32, bins)
	values := make([]float64, 0, len(lively))
	for b := range middle {
		values = values[:0]
		for i, t := range lively {
			if b < len(t.Levels) {
				values = append(values, float64(t.Levels[b])-against[i])
			}
		}
		middle[b] = float32(stats.Nth(values, len(values)/2))
	}
	// Between songs and applause lies a wide valley; where a recording holds
	// music alone, the louder half of it will do.
	s.middle = middle
	threshold := (stats.Percentile(middle, betweenShare) + stats.Percentile(middle, songShare)) / 2
	for b, v := range middle {
		if float64(v) >= threshold {
			s.loud[b] = true
			s.bins++
		}
	}
	return s
}

// isLoud reports whether the band plays in a bin.
func (s *stage) isLoud(bin int) bool { return bin >= 0 && bin < len(s.loud) && s.loud[bin] }

// loudIn counts the bins from one to another in which the band plays.
func (s *stage) loudIn(from, to int) int {
	count := 0
	for b := from; b < to; b++ {
		if s.isLoud(b) {
			count++
		}
	}
	return count
}

// within reports whether the band plays on over a bin: for a quarter of the 4 s
// before it and of those after it.
func (s *stage) within(bin int) bool {
	const around = int(onS * evidence.BinsPerSecond)
	return onParts*s.loudIn(bin-around, bin) >= around && onParts*s.loudIn(bin, bin+around) >= around
}

// shares tells how much of a track's loud and quiet bins lies above a level, of
// those that outside does not hold.
func (s *stage) shares(t *evidence.Track, level float64, outside []stretch) (loud, quiet float64, loudBins int) {
	var above, all [2]int
	next := 0
	for b, v := range t.Levels {
		for next < len(outside) && outside[next].to <= b {
			next++
		}
		if next < len(outside) && b >= outside[next].from {
			continue
		}
		kind := 0
		if s.isLoud(b) {
			kind = 1
		}
		all[kind]++
		if float64(v) > level {
			above[kind]++
		}
	}
	share := func(kind int) float64 {
		if all[kind] == 0 {
			return math.NaN()
		}
		return float64(above[kind]) / float64(all[kind])
	}
	return share(1), share(0), all[1]
}
