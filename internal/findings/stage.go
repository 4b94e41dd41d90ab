package findings

import (
	"math"

	"nightreel/internal/evidence"
	"nightreel/internal/stats"
)

// stageLimits are the thresholds of when the band plays.
var stageLimits = struct {
	// LivelyDB is how far the loud and the quiet moments of a track must lie apart for it to
	// tell what the stage does, LeastLivelyDBFS the least loud level, which keeps tracks out
	// that hold hardly more than noise, and Least how many such tracks make a stage (common
	// practice).
	LivelyDB        float64 `unit:"dB" source:"chosen"`
	LeastLivelyDBFS float64 `unit:"dBFS" source:"chosen"`
	Least           int     `unit:"tracks" source:"chosen"`

	// BetweenShare and SongShare are the quantiles of the middle track's level that stand for
	// between songs and for songs; half way between them the band begins to play.
	BetweenShare float64 `unit:"share" source:"chosen"`
	SongShare    float64 `unit:"share" source:"chosen"`

	// OnS is over what time before and after a bin the band must play for one part in OnParts
	// of it to play on over the bin.
	OnS     float64 `unit:"s" source:"chosen"`
	OnParts int     `unit:"parts" source:"chosen"`
}{
	LivelyDB:        10,
	LeastLivelyDBFS: -70,
	Least:           3,
	BetweenShare:    0.1,
	SongShare:       0.95,
	OnS:             4,
	OnParts:         4,
}

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
		if !t.Measured || t.High-t.Low < stageLimits.LivelyDB || t.High < stageLimits.LeastLivelyDBFS {
			continue
		}
		lively = append(lively, t)
		against = append(against, t.High)
		bins = max(bins, len(t.Levels))
	}
	s := &stage{loud: make([]bool, bins)}
	if len(lively) < stageLimits.Least {
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
	threshold := (stats.Percentile(middle, stageLimits.BetweenShare) + stats.Percentile(middle, stageLimits.SongShare)) / 2
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
	around := int(stageLimits.OnS * evidence.BinsPerSecond)
	return stageLimits.OnParts*s.loudIn(bin-around, bin) >= around && stageLimits.OnParts*s.loudIn(bin, bin+around) >= around
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
