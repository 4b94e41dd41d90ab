package songs

import (
	"context"
	"errors"
	"strings"
	"unicode"

	"nightreel/catalog"
	"nightreel/internal/envelope"
	"nightreel/internal/meter"
	"nightreel/internal/stats"
)

// activity holds the share of a recording's channels that play, by block: 0 for
// none, 1 for all informative channels.
type activity struct {
	share    []float64
	lines    []bool          // an instrument on a cable plays, by block
	loud     []int           // how many channels are near the stage's working level, by second
	together []float64       // mean correlation of the loud channels' levels, by window: see together
	several  []float64       // how many channels are loud in each window
	levels   [][]float32     // of each track: how far below its loud parts it is, by second, see calm
	tracks   []catalog.Track // whose levels these are
	kept     loudness        // the same of all tracks, including those off the stage
	channels int             // number of informative channels
	missing  int             // number of tracks that were not measured to their end
	unread   bool            // at least one track has a record that cannot be read
}

const (
	// holdBlocks is how long a channel may be quiet and still count as
	// playing: longer than from one drum stroke to the next, shorter than any
	// pause between songs.
	holdBlocks = 8
	// leastContrastDB is how far a channel's loud blocks must be above its
	// quiet ones, or the channel is ignored. Noise floors, dead lines and
	// empty inputs vary less; between applause and music a microphone's level
	// changes by 10 dB and more.
	leastContrastDB = 6
	// fullContrastDB is the contrast from which a channel counts in full.
	fullContrastDB = 12
	// leastAgreement is the correlation with the other channels below which a
	// channel is not part of the band: an audience microphone, a talkback
	// without a telling name, a spoken introduction.
	leastAgreement = 0.25

	// A line carries only its own instrument, far above its quiet blocks. Half
	// of its quiet blocks lie within steadyDB; an open microphone's spread
	// further. Both figures are chosen (common practice, no source).
	steadyDB       = 1.5
	lineContrastDB = 20

	// belowWorkingDB is how far below the band's working level a channel may
	// be and still count as playing. In a night of talk and tuning, anything
	// softer is bleed.
	belowWorkingDB = 30

	// nearWorkingDB is how far below the working level an instrument may be
	// that takes part in a song.
	nearWorkingDB = 18
	// leastNearDB is the level in dBFS below which no channel counts as near
	// the working level. The usual working level is -18 dBFS (common practice,
	// no source); in a night of talk and a line check, anything softer is
	// bleed.
	leastNearDB = -42

	lowestDB, highestDB = -140, 20
)

// listen computes the activity of a recording. It holds one track at a time in
// memory and keeps one bit a block of each.
func listen(ctx context.Context, store *catalog.Store, rec catalog.Recording) (activity, error) {
	blocks := int((rec.Frames + int64(meter.BlockFrames(rec.SampleRate)) - 1) / int64(meter.BlockFrames(rec.SampleRate)))
	a := activity{}
	var heardTracks []heardTrack
	err := envelope.LoadRecording(ctx, store, rec.ID, func(t catalog.Track, e meter.Envelope, err error) error {
		var missing *envelope.NotMeasuredError
		switch {
		case errors.As(err, &missing):
			a.missing++
			a.unread = a.unread || missing.Err != nil
			return nil
		case err != nil:
			return err
		}
		h, ok := levelsOf(e)
		if !ok {
			return nil
		}
		calm := h.calm(blocks)
		a.kept = append(a.kept, trackLoudness{t.Number, calm})
		if !offStage(t) {
			heardTracks = append(heardTracks, h)
			a.levels, a.tracks = append(a.levels, calm), append(a.tracks, t)
		}
		return nil
	})
	if err != nil {
		return a, err
	}
	a.loud = near(heardTracks, blocks)
	a.together, a.several = together(heardTracks, blocks)
	var voices []voice
	floor := workingLevel(heardTracks) - belowWorkingDB
	for _, h := range heardTracks {
		if v, ok := h.hear(blocks, floor); ok {
			voices = append(voices, v)
		}
	}
	a.share = add(voices, blocks)
	agreeing := voices[:0]
	for _, v := range voices {
		if v.agreement(a.share) >= leastAgreement {
			agreeing = append(agreeing, v)
		}
	}
	a.channels = len(agreeing)
	a.share = add(agreeing, blocks)
	a.lines = make([]bool, blocks)
	for _, v := range agreeing {
		for i, plays := range v.plays {
			a.lines[i] = a.lines[i] || v.line && plays
		}
	}
	return a, nil
}

// offStage reports, from name and group, whether a track holds something other
// than the band playing.
func offStage(t catalog.Track) bool {
	for _, word := range words(t.Channel + " " + t.Input.Group) {
		switch word {
		case "audience", "aud", "crowd", "ambience", "ambient", "amb", "house", "hall",
			"talkback", "talk", "tb", "shout", "comms", "click", "timecode", "ltc", "smpte", "spare":
			return true
		}
	}
	return false
}

// words returns the words of a name in lower case; digits separate words too.
func words(s string) []string {
	return strings.FieldsFunc(strings.ToLower(s), func(r rune) bool { return !unicode.IsLetter(r) })
}

// voice is what the finder keeps of one channel.
type voice struct {
	plays  []bool // by block
	weight float64
	line   bool // a line: it carries its own instrument only
}

// add returns the weighted share of voices that play, by block.
func add(voices []voice, blocks int) []float64 {
	share := make([]float64, blocks)
	total := 0.0
	for _, v := range voices {
		total += v.weight
		for i, plays := range v.plays {
			if plays {
				share[i] += v.weight
			}
		}
	}
	if total > 0 {
		for i := range share {
			share[i] /= total
		}
	}
	return share
}

// agreement returns the correlation coefficient of the voice with a share, 0
// if one of them is constant.
func (v voice) agreement(share []float64) float64 {
	var pairs stats.Pairs
	for i, y := range share {
		x := 0.0
		if v.plays[i] {
			x = 1
		}
		pairs.Add(x, y)
	}
	r, _ := pairs.Correlation()
	return r
}

// split divides values into a low and a high group so that the variance
// between the groups is largest (Otsu, IEEE Trans. SMC 9(1), 1979; from
// memory). It returns the groups' means; low equals high if all values are
// equal.
func split(values []float64, lowest, highest float64) (low, high float64) {
	const bins = 320
	var count, sum [bins]float64
	var n, total float64
	for _, v := range values {
		i := int((v - lowest) / (highest - lowest) * bins)
		i = max(0, min(bins-1, i))
		count[i]++
		sum[i] += v
		n++
		total += v
	}
	if n == 0 {
		return 0, 0
	}
	low, high = total/n, total/n
	best, below, belowSum := 0.0, 0.0, 0.0
	for i := range bins - 1 {
		below += count[i]
		belowSum += sum[i]
		if below == 0 || below == n {
			continue
		}
		l, h := belowSum/below, (total-belowSum)/(n-below)
		if between := below * (n - below) * (h - l) * (h - l); between > best {
			best, low, high = between, l, h
		}
	}
	return low, high
}
