package health

import (
	"math"
	"slices"
	"strings"
	"unicode"

	"nightreel/catalog"
	"nightreel/internal/sound"
	"nightreel/internal/stats"
)

const (
	// wholeShare is the share of a night's songs in which a channel that hears
	// the stage all the time is above tonight's floor.
	wholeShare = 0.9

	// playsShare is the share of a song from which a channel plays in it.
	playsShare = 0.2
	// songNights is on how many other nights a song must have had the channel,
	// every time, to miss it tonight.
	songNights = 2
	// missedS is how much of a song, in seconds of playing band, a channel must
	// miss for that.
	missedS = 10
	// mostSongs is the share of other nights' songs in which a channel plays that
	// rests in none of enoughSongs songs, whatever they are called. Common practice,
	// no source.
	mostSongs   = 0.9
	enoughSongs = 3
)

// aliveShare returns the share of the songs of that night, or of the whole
// recording where none are known, in which the channel lay above a level in
// dB; NaN if nothing is known.
func (p *Past) aliveShare(level float64) float64 {
	if len(p.Takes) == 0 {
		return p.Track.shareAbove(level, 0, p.Track.Frames)
	}
	var sum, all float64
	for _, t := range p.Takes {
		if share := p.Track.shareAbove(level, t.Start, t.End); !math.IsNaN(share) {
			sum += float64(share * float64(t.End-t.Start))
			all += float64(t.End - t.Start)
		}
	}
	return sum / all
}

// weighedDB is what the K filter adds to white noise, at most (BS.1770-5, Table 1:
// the shelf's +4 dB).
const weighedDB = 4

// songsPlayed returns the share of that night's songs in which the channel was
// above a level in dB for a part of the time; 0 where none are known.
func (p *Past) songsPlayed(level float64) float64 {
	played := 0
	for _, t := range p.Takes {
		if p.Track.shareAbove(level, t.Start, t.End) >= playsShare {
			played++
		}
	}
	return float64(played) / float64(max(1, len(p.Takes)))
}

// songsIn returns how many of tonight's songs a track holds from start to end.
func (n *Night) songsIn(t *Track) int {
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
func (p *Past) above(level float64, t *Track) float64 {
	steps := (&sound.Night{BitDepth: p.BitDepth}).Grain() + weighedDB
	return max(level+gainDB(p.Track, *t), steps) + aboveDB
}

// shareAbove returns the share of the bins from frame start to end above a
// level in dB; NaN if the track has none there.
func (t *Track) shareAbove(level float64, start, end int64) float64 {
	if t.SampleRate == 0 {
		return math.NaN()
	}
	from, to := t.bin(start), min(t.bin(end), len(t.levels))
	if from >= to {
		return math.NaN()
	}
	above := 0
	for _, v := range t.levels[from:to] {
		if float64(v) > level {
			above++
		}
	}
	return float64(above) / float64(to-from)
}

// gainDB returns how much more preamp gain one track had than another, as far
// as the input lists tell.
func gainDB(a, b Track) float64 {
	if a.Input.GainDB == nil || b.Input.GainDB == nil {
		return 0
	}
	return *a.Input.GainDB - *b.Input.GainDB
}

// alwaysHears reports whether the channel heard the stage all the time on other
// nights, above a level in dB of tonight.
func (n *Night) alwaysHears(t *Track, level float64) bool {
	nights := n.Past[catalog.Key(t.Channel)]
	for i := range nights {
		if !(nights[i].aliveShare(nights[i].above(level, t)) >= wholeShare) {
			return false
		}
	}
	return len(nights) > 0
}

// restsElsewhere reports whether the channel held only its floor for half of
// the songs or more on any other night: then silence is its habit.
func (n *Night) restsElsewhere(t *Track, level float64) bool {
	nights := n.Past[catalog.Key(t.Channel)]
	for i := range nights {
		if nights[i].aliveShare(nights[i].above(level, t)) < 0.5 {
			return true
		}
	}
	return false
}

// playedElsewhere returns tonight's songs in which the channel played on all
// other nights.
func (n *Night) playedElsewhere(t *Track, level float64) []string {
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
				if p.Track.shareAbove(p.above(level, t), other.Start, other.End) >= playsShare {
					played++
				}
			}
		}
		if all >= songNights && played == all && !slices.Contains(songs, take.Song) {
			songs = append(songs, take.Song)
		}
	}
	return songs
}

// missedElsewhere returns those silences of a track that run to the end of a
// song, and on, where it plays on all other nights: songNights of them at least
// must say so. Where one night says otherwise of any silence there are none.
func (n *Night) missedElsewhere(t *Track, silences []stretch, s *stage) []stretch {
	nights := n.Past[catalog.Key(t.Channel)]
	var missed []stretch
	for _, q := range silences {
		said := map[int]bool{}
		for _, take := range n.Takes {
			from, to := max(q.from, t.bin(take.Start)), t.bin(take.End)
			if q.to < to || float64(s.loudIn(from, to)) < missedS*binsPerSecond {
				continue
			}
			// The same part of the song on the other nights.
			length := float64(take.End - take.Start)
			start := float64(t.frame(from)-take.Start) / length
			for i := range nights {
				p := &nights[i]
				for _, other := range p.Takes {
					if other.Song != take.Song || p.Track.lifeless {
						continue
					}
					span := float64(other.End - other.Start)
					share := p.Track.shareAbove(p.above(q.level, t), other.Start+int64(start*span), other.End)
					if !(share >= 0.5) {
						return nil
					}
					said[i] = true
				}
			}
		}
		if len(said) >= songNights {
			missed = append(missed, q)
		}
	}
	return missed
}

// addPast adds what other nights show to evidence.
func (n *Night) addPast(e catalog.Evidence, t *Track) {
	nights := n.Past[catalog.Key(t.Channel)]
	e["other_nights"] = float64(len(nights))
	if len(nights) == 0 {
		return
	}
	var levels []float32
	for i := range nights {
		if p := &nights[i]; len(p.Track.levels) > 0 {
			levels = append(levels, float32(p.Track.high-gainDB(p.Track, *t)))
		}
	}
	e["other_nights_lufs"] = lufs(stats.Percentile(levels, 0.5))
}

// mayRest reports whether the input list or the name says that a channel often
// has nothing to play. It is asked only where no other night tells.
// Common practice, no source.
func mayRest(t *Track) bool {
	text := strings.ToLower(t.Channel + " " + t.Name + " " + t.Input.Group + " " + t.Input.Notes)
	for _, w := range strings.FieldsFunc(text, func(r rune) bool { return !unicode.IsLetter(r) }) {
		switch w {
		case "di", "line", "bass", "spare", "unused", "empty", "nothing", "guest", "keys", "keyboard", "synth", "piano", "organ", "sampler",
			"samples", "pad", "pads", "playback", "tracks", "laptop", "acoustic", "click", "cue", "talkback", "tb", "timecode", "sync",
			"aux", "return", "fx", "video", "dj", "only", "test":
			return true
		}
	}
	return false
}
