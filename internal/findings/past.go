package findings

import (
	"math"
	"slices"

	"nightreel/catalog"
	"nightreel/internal/channelsound"
	"nightreel/internal/evidence"
	"nightreel/internal/stats"
)

// pastLimits are the thresholds of what other nights tell of a channel.
var pastLimits = struct {
	// WholeShare is the share of a night's songs in which a channel that hears the stage all
	// the time is above tonight's floor.
	WholeShare float64 `unit:"share" source:"chosen"`

	// PlaysShare is the share of a song from which a channel plays in it.
	PlaysShare float64 `unit:"share" source:"chosen"`

	// RestsShare is the share of songs, or of a part of one, from which on a channel plays
	// there and does not rest.
	RestsShare float64 `unit:"share" source:"chosen"`

	// SongNights is on how many other nights a song must have had the channel, every time, to
	// miss it tonight.
	SongNights int `unit:"nights" source:"chosen"`

	// MissedS is how much of a song, in seconds of playing band, a channel must miss for that.
	MissedS float64 `unit:"s" source:"chosen"`

	// MostSongs is the share of other nights' songs in which a channel plays that rests in
	// none of EnoughSongs songs, whatever they are called (common practice).
	MostSongs   float64 `unit:"share" source:"chosen"`
	EnoughSongs int     `unit:"songs" source:"chosen"`

	// WeighedDB is what the K filter adds to white noise, at most (BS.1770-5, Table 1: the
	// shelf's +4 dB).
	WeighedDB float64 `unit:"dB" source:"standard"`
}{
	WholeShare:  0.9,
	PlaysShare:  0.2,
	RestsShare:  0.5,
	SongNights:  2,
	MissedS:     10,
	MostSongs:   0.9,
	EnoughSongs: 3,
	WeighedDB:   4,
}

// aliveShare returns the share of the songs of that night, or of the whole
// recording where none are known, in which the channel lay above a level in
// dB; NaN if nothing is known.
func aliveShare(p *evidence.Past, level float64) float64 {
	if len(p.Takes) == 0 {
		return shareAbove(&p.Track, level, 0, p.Track.Frames)
	}
	var sum, all float64
	for _, t := range p.Takes {
		if share := shareAbove(&p.Track, level, t.Start, t.End); !math.IsNaN(share) {
			sum += float64(share * float64(t.End-t.Start))
			all += float64(t.End - t.Start)
		}
	}
	return sum / all
}

// songsPlayed returns the share of that night's songs in which the channel was
// above a level in dB for a part of the time; 0 where none are known.
func songsPlayed(p *evidence.Past, level float64) float64 {
	played := 0
	for _, t := range p.Takes {
		if shareAbove(&p.Track, level, t.Start, t.End) >= pastLimits.PlaysShare {
			played++
		}
	}
	return float64(played) / float64(max(1, len(p.Takes)))
}

// songsIn returns how many of tonight's songs a track holds from start to end.
func songsIn(n *known, t *evidence.Track) int {
	count := 0
	for _, take := range n.Takes {
		if take.End <= t.Frames {
			count++
		}
	}
	return count
}

// above returns the level, in dB, from which the channel was alive on that night,
// where tonight's track holds so much and no life: what only the recorder's own
// steps make there is none either.
func above(p *evidence.Past, level float64, t *evidence.Track) float64 {
	steps := (&channelsound.Night{BitDepth: p.BitDepth}).Grain() + pastLimits.WeighedDB
	return max(level+evidence.GainDB(p.Track, *t), steps) + evidence.FloorLimits.AboveDB
}

// shareAbove returns the share of the bins from frame start to end above a
// level in dB; NaN if the track has none there.
func shareAbove(t *evidence.Track, level float64, start, end int64) float64 {
	if t.SampleRate == 0 {
		return math.NaN()
	}
	from, to := max(0, t.Bin(start)), min(t.Bin(end), len(t.Levels))
	if from >= to {
		return math.NaN()
	}
	above := 0
	for _, v := range t.Levels[from:to] {
		if float64(v) > level {
			above++
		}
	}
	return float64(above) / float64(to-from)
}

// alwaysHears reports whether the channel heard the stage all the time on other
// nights, above a level in dB of tonight.
func alwaysHears(n *known, t *evidence.Track, level float64) bool {
	nights := n.Past[catalog.Key(t.Channel)]
	for i := range nights {
		if !(aliveShare(&nights[i], above(&nights[i], level, t)) >= pastLimits.WholeShare) {
			return false
		}
	}
	return len(nights) > 0
}

// restsElsewhere reports whether the channel held only its floor for half of
// the songs or more on any other night: then silence is its habit.
func restsElsewhere(n *known, t *evidence.Track, level float64) bool {
	nights := n.Past[catalog.Key(t.Channel)]
	for i := range nights {
		if aliveShare(&nights[i], above(&nights[i], level, t)) < pastLimits.RestsShare {
			return true
		}
	}
	return false
}

// playedElsewhere returns tonight's songs in which the channel played on all
// other nights.
func playedElsewhere(n *known, t *evidence.Track, level float64) []string {
	var songs []string
	for _, take := range n.Takes {
		if take.End > t.Frames {
			continue // the track ends before it
		}
		played, all := 0, 0
		nights := n.Past[catalog.Key(t.Channel)]
		for i := range nights {
			p := &nights[i]
			for _, other := range p.Takes {
				if other.Song != take.Song {
					continue
				}
				all++
				if shareAbove(&p.Track, above(p, level, t), other.Start, other.End) >= pastLimits.PlaysShare {
					played++
				}
			}
		}
		if all >= pastLimits.SongNights && played == all && !slices.Contains(songs, take.Song) {
			songs = append(songs, take.Song)
		}
	}
	return songs
}

// missedElsewhere returns those silences of a track that run to the end of a
// song, and on, where it plays on all other nights: pastLimits.SongNights of them at least
// must say so. Where one night says otherwise of any silence there are none.
func missedElsewhere(n *known, t *evidence.Track, silences []stretch, s *stage) []stretch {
	nights := n.Past[catalog.Key(t.Channel)]
	var missed []stretch
	for _, q := range silences {
		said := map[int]bool{}
		for _, take := range n.Takes {
			from, to := max(q.from, t.Bin(take.Start)), t.Bin(take.End)
			if q.to < to || float64(s.loudIn(from, to)) < pastLimits.MissedS*evidence.BinsPerSecond {
				continue
			}
			// The same part of the song on the other nights.
			length := float64(take.End - take.Start)
			start := float64(t.Frame(from)-take.Start) / length
			for i := range nights {
				p := &nights[i]
				for _, other := range p.Takes {
					if other.Song != take.Song || p.Track.Lifeless {
						continue
					}
					span := float64(other.End - other.Start)
					share := shareAbove(&p.Track, above(p, q.level, t), other.Start+int64(start*span), other.End)
					if !(share >= pastLimits.RestsShare) {
						return nil
					}
					said[i] = true
				}
			}
		}
		if len(said) >= pastLimits.SongNights {
			missed = append(missed, q)
		}
	}
	return missed
}

// addPast adds what other nights show to evidence.
func addPast(n *known, e catalog.Evidence, t *evidence.Track) {
	nights := n.Past[catalog.Key(t.Channel)]
	e["other_nights"] = float64(len(nights))
	if len(nights) == 0 {
		return
	}
	var levels []float32
	for i := range nights {
		if p := &nights[i]; len(p.Track.Levels) > 0 {
			levels = append(levels, float32(p.Track.High-evidence.GainDB(p.Track, *t)))
		}
	}
	e["other_nights_lufs"] = lufs(stats.Percentile(levels, 0.5))
}
