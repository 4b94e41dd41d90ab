package linecheck

import (
	"context"
	"errors"
	"slices"
	"sync"

	"nightreel/catalog"
	"nightreel/internal/channelsound"
	"nightreel/internal/envelope"
	"nightreel/internal/meter"
	"nightreel/internal/stats"
)

// levelLimits are the thresholds of levels. The level of an input is the mean peak of the
// seconds in which it was played: what a meter shows while a gain is set. It is the same
// whether a string rings for six seconds or a drum is hit four times.
//
// The tour's figure is taken in the same way over stretches of the same length,
// wherever the channel plays at its usual level: half a minute of a song holds louder
// strokes than two taps.
var levelLimits = struct {
	// ActiveDB is how far below its loudest second a second still counts as played. Bleed from
	// other inputs in a voice's open microphone may lie 12 dB below the voice.
	ActiveDB float64 `unit:"dB" source:"chosen"`

	// EarnestDB is how far below its loudest seconds a channel still plays at show level on
	// the tour: a line check is no soft verse.
	EarnestDB float64 `unit:"dB" source:"chosen"`

	// Loudest is the share of the tour's seconds that count as above its loudest: a guest who
	// sings in one song of twenty has more.
	Loudest float64 `unit:"share" source:"chosen"`

	// BetweenDB is how much louder between songs than in them a channel must be to count as
	// one that is used between songs, as a talkback is.
	BetweenDB float64 `unit:"dB" source:"chosen"`

	// TurnShare is the share of the time in which the middle input is played, below which the
	// inputs are played in turn.
	TurnShare float64 `unit:"share" source:"chosen"`
}{
	ActiveDB:  8,
	EarnestDB: 6,
	Loudest:   0.005,
	BetweenDB: 6,
	TurnShare: 0.25,
}

// playing is the level and time at which an input was played.
type playing struct {
	level   float64 // dBFS: the mean peak of the louder half of these seconds
	seconds int     // number of seconds in which it was played
	span    int     // seconds from the first to the last of them
}

// played finds the seconds in which an input was played, from the peaks of all
// seconds, in dBFS.
func played(peaks []float64) playing {
	p := playing{level: channelsound.Silence}
	if len(peaks) == 0 {
		return p
	}
	top := slices.Max(peaks)
	if top <= channelsound.Silence {
		return p
	}
	var room [64]float64
	active := room[:0]
	first, last := -1, 0
	for i, v := range peaks {
		if v <= top-levelLimits.ActiveDB {
			continue
		}
		if first < 0 {
			first = i
		}
		last = i
		active = append(active, v)
	}
	// Leave out a second in which the playing begins or ends: it holds less of
	// it.
	slices.Sort(active)
	louder := active[len(active)/2:]
	sum := 0.0
	for _, v := range louder {
		sum += v
	}
	return playing{level: sum / float64(len(louder)), seconds: len(active), span: last - first + 1}
}

// habit is the level of a channel on the tour, over stretches as long as in the
// line check.
type habit struct {
	usual     float64 // dBFS; of the median night
	low, high float64 // dBFS: nine tenths of a night's stretches lie between them
	nights    int     // number of nights with a level
	between   bool    // the channel is used between songs
	least     float64 // dBFS: of the softest song, in which the channel may not play at all
	had       int     // number of nights that have the channel
}

// seconds holds the peaks, in dBFS, of every second of each track of a night.
type seconds map[catalog.TrackID][]float64

// secondsOf reads the peaks of the wanted tracks of a recording from its
// measurements. A track that was not measured to its end is left out.
func secondsOf(ctx context.Context, store *catalog.Store, id catalog.RecordingID, wanted func(catalog.Track) bool) (seconds, error) {
	tracks, err := store.Tracks(ctx, catalog.TrackFilter{Recording: id})
	if err != nil {
		return nil, err
	}
	all := seconds{}
	for _, t := range tracks {
		if !wanted(t) {
			continue
		}
		e, err := envelope.Load(ctx, store, t, 0, t.Frames)
		var missing *envelope.NotMeasuredError
		if errors.As(err, &missing) {
			continue
		}
		if err != nil {
			return nil, err
		}
		all[t.ID] = peaksOf(e.Blocks)
	}
	return all, nil
}

// secondsOfAll reads the peaks of several shows at a time: an evening of 64
// tracks takes one core most of a second.
func secondsOfAll(ctx context.Context, store *catalog.Store, nights []*channelsound.Night, wanted func(catalog.Track) bool) ([]seconds, error) {
	all, errs := make([]seconds, len(nights)), make([]error, len(nights))
	var reading sync.WaitGroup
	for i, n := range nights {
		reading.Go(func() {
			all[i], errs[i] = secondsOf(ctx, store, n.Voices[0].Track.RecordingID, wanted)
		})
	}
	reading.Wait()
	return all, errors.Join(errs...)
}

// peaksOf returns the sample peak of every second of blocks, in dBFS.
func peaksOf(blocks []meter.Block) []float64 {
	var peaks []float64
	for second := range slices.Chunk(blocks, meter.BlocksPerSecond) {
		top := float32(0)
		for i := range second {
			top = max(top, second[i].Peak)
		}
		peaks = append(peaks, max(channelsound.Silence, float64(meter.DB(float64(top)))))
	}
	return peaks
}

// parted returns the peaks of each song, and those of all times between songs.
func parted(v *channelsound.Voice, takes []channelsound.Span, peaks []float64) (songs, between [][]float64) {
	second := int64(meter.BlocksPerSecond * meter.BlockFrames(v.Track.SampleRate))
	at := 0
	for _, s := range takes {
		from, to := int((s.Start+second-1)/second), min(int(s.End/second), len(peaks))
		if from < at || from >= to {
			continue
		}
		between, songs = append(between, peaks[at:from]), append(songs, peaks[from:to])
		at = to
	}
	between = append(between, peaks[at:])
	if len(songs) == 0 {
		return between, nil
	}
	return songs, between
}

// top returns the level in dBFS that only the loudest share of the seconds
// exceeds.
func top(parts [][]float64) float64 {
	all := slices.Concat(parts...)
	if len(all) == 0 {
		return channelsound.Silence
	}
	return stats.Percentile(all, 1-levelLimits.Loudest)
}

// stretches returns the level of every stretch of the given number of seconds in
// which a channel plays at show level.
func stretches(parts [][]float64, span int) []float64 {
	from := top(parts) - levelLimits.EarnestDB
	var levels []float64
	for _, part := range parts {
		n := min(span, len(part))
		for i := 0; n > 0 && i+n <= len(part); i += max(1, n/4) {
			if slices.Max(part[i:i+n]) >= from {
				levels = append(levels, played(part[i:i+n]).level)
			}
		}
	}
	return levels
}

// tour is the reference that a line check is compared with.
type tour struct {
	nights []*channelsound.Night
	peaks  []seconds // of each night
	// inTurn means that the inputs of the line check were played one after
	// another; length is the length of the recording in
	// seconds.
	inTurn bool
	length int
}

// howPlayed detects whether the inputs were played in turn: then most of them
// are silent for most of the time.
func (t *tour) howPlayed(line *channelsound.Night, peaks seconds) {
	var shares []float64
	for i := range line.Voices {
		p := peaks[line.Voices[i].Track.ID]
		t.length = max(t.length, len(p))
		if alive(p) {
			shares = append(shares, float64(played(p).seconds)/float64(len(p)))
		}
	}
	t.inTurn = stats.Median(shares) < levelLimits.TurnShare
}

// habitOf collects the levels of a channel on the tour over stretches of the
// given number of seconds, adjusted by the gains that the input lists give.
func (t *tour) habitOf(v *channelsound.Voice, span int) habit {
	var h habit
	var leasts, lows, middles, highs []float64
	for i, n := range t.nights {
		o := n.Find(keyOf(v))
		if o == nil {
			continue
		}
		h.had++
		songs, between := parted(o, n.Takes, t.peaks[i][o.Track.ID])
		loud := top(songs)
		if top(between) > max(loud, inputLimits.FaintDBFS)+levelLimits.BetweenDB {
			songs, h.between = between, true
		} else if !o.Plays() || loud < inputLimits.FaintDBFS {
			continue
		}
		least := loud
		for _, song := range songs {
			least = min(least, played(song).level)
		}
		levels := stretches(songs, span)
		if len(levels) == 0 {
			continue
		}
		gain := 0.0
		if v.Track.Input.GainDB != nil && o.Track.Input.GainDB != nil {
			gain = *v.Track.Input.GainDB - *o.Track.Input.GainDB
		}
		h.nights++
		leasts = append(leasts, least+gain)
		lows = append(lows, stats.Percentile(levels, 0.05)+gain)
		middles = append(middles, stats.Percentile(levels, 0.5)+gain)
		highs = append(highs, stats.Percentile(levels, 0.95)+gain)
	}
	if h.nights > 0 {
		h.least = stats.Percentile(leasts, 0.5)
		h.low, h.usual, h.high = stats.Percentile(lows, 0.5), stats.Percentile(middles, 0.5), stats.Percentile(highs, 0.5)
	}
	return h
}
