package compare

import (
	"context"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"nightreel/catalog"
	"nightreel/internal/channelsound"
	"nightreel/internal/csvfile"
	"nightreel/internal/meter"
	"nightreel/internal/spectrum"
	"nightreel/internal/stats"
)

// ToneComparison compares the spectra of the channels in one song along the
// tour: mean spectra in one-third-octave bands, named by the nominal mid-band
// frequencies of IEC 61260-1:2014. They are for comparison, not filters of any
// class.
type ToneComparison struct {
	Song     string        `json:"song"`
	BandsHz  []float64     `json:"bands_hz"`
	Takes    []TakeSpan    `json:"takes"`
	Channels []ToneChannel `json:"channels"`
}

// ToneChannel is one channel in all takes of the song.
type ToneChannel struct {
	Channel string        `json:"channel"`
	Median  []meter.Level `json:"median_db"` // by band, dB of full scale
	Values  []ToneValue   `json:"values"`    // in the order of the takes; empty if no tone was measured
}

// ToneValue is one channel in one take.
type ToneValue struct {
	Show  catalog.ShowKey `json:"show"`
	Take  catalog.TakeID  `json:"take"`
	Rig   string          `json:"rig"`
	Track int             `json:"track"`
	// Bands is the mean level by band in dB of full scale; null is silence, and a
	// band above half the rate.
	Bands []meter.Level `json:"bands_db"`
	// Louder is the overall difference of the take to the median in dB: the
	// median of the bands' differences.
	Louder meter.Level `json:"louder_db,omitzero"`
	// Delta is the remaining difference by band in dB, which shows a change of
	// sound and not of level; null if unknown.
	Delta []meter.Level `json:"delta_db"`
}

// bandFloor, in dB, is the level below which a band counts as silent.
const bandFloor = channelsound.Silence + 5

// Tone compares the sound of a song's channels along the tour, all or one.
func Tone(ctx context.Context, store *catalog.Store, song, channel string) (ToneComparison, error) {
	known, err := store.Song(ctx, song)
	if err != nil {
		return ToneComparison{}, err
	}
	takes, err := store.Takes(ctx, catalog.TakeFilter{Song: known.Title})
	if err != nil {
		return ToneComparison{}, err
	}
	nominal := spectrum.Nominal()
	c := ToneComparison{Song: known.Title, BandsHz: nominal[:], Takes: []TakeSpan{}, Channels: []ToneChannel{}}
	n, err := readTour(ctx, store, "")
	if err != nil {
		return c, err
	}
	voices := map[catalog.TakeID]map[string]ToneValue{}
	for _, t := range takes {
		c.Takes = append(c.Takes, TakeSpan{Take: t.ID, Show: t.Show, Nth: t.Nth, LengthS: t.EndS() - t.StartS()})
		if voices[t.ID], err = n.tones(ctx, store, t); err != nil {
			return c, err
		}
	}
	for _, name := range n.channels(takes) {
		if channel != "" && !catalog.SameName(name, channel) {
			continue
		}
		ch := ToneChannel{Channel: name, Values: []ToneValue{}}
		for _, t := range takes {
			if v, ok := voices[t.ID][n.key(name)]; ok {
				ch.Values = append(ch.Values, v)
			}
		}
		ch.compare()
		c.Channels = append(c.Channels, ch)
	}
	if channel != "" && len(c.Channels) == 0 {
		return c, catalog.NotFound("channel", channel, n.channels(takes), fmt.Sprintf("nightreel compare --song %q lists the channels", known.Title))
	}
	return c, nil
}

// tones returns the mean spectra of a take by channel, each from the first
// recording that has it.
func (n tour) tones(ctx context.Context, store *catalog.Store, t catalog.Take) (map[string]ToneValue, error) {
	found := map[string]ToneValue{}
	for _, r := range n.recordings[t.Show] {
		start, end, ok := n.span(t, r)
		if !ok {
			continue
		}
		night, err := channelsound.Load(ctx, store, r, []channelsound.Span{{Song: t.Song, Start: start, End: end}})
		if err != nil {
			return nil, err
		}
		for i := range night.Voices {
			v := &night.Voices[i]
			key := n.key(v.Track.Channel)
			if _, had := found[key]; had || start >= v.Track.Frames || len(v.In(night.Takes)) == 0 {
				continue
			}
			value := ToneValue{Show: t.Show, Take: t.ID, Rig: r.Rig, Track: v.Track.Number, Louder: meter.NotMeasured()}
			for _, b := range v.Bands {
				value.Bands = append(value.Bands, bandLevel(b))
			}
			found[key] = value
		}
	}
	return found, nil
}

func bandLevel(db float64) meter.Level {
	if db <= bandFloor {
		return meter.Level(math.Inf(-1))
	}
	return meter.Level(db)
}

// compare sets the median and the differences from it.
func (ch *ToneChannel) compare() {
	for b := range spectrum.Bands {
		var levels []float64
		for _, v := range ch.Values {
			if !math.IsInf(float64(v.Bands[b]), 0) {
				levels = append(levels, float64(v.Bands[b]))
			}
		}
		m := meter.Level(math.Inf(-1))
		if len(levels) > 0 {
			m = meter.Level(stats.Median(levels))
		}
		ch.Median = append(ch.Median, m)
	}
	for i := range ch.Values {
		v := &ch.Values[i]
		var differences []float64
		for b, m := range ch.Median {
			if d := float64(v.Bands[b]) - float64(m); !math.IsNaN(d) && !math.IsInf(d, 0) {
				differences = append(differences, d)
			}
		}
		if len(differences) > 0 {
			v.Louder = meter.Level(stats.Median(differences))
		}
		for b, m := range ch.Median {
			d := float64(v.Bands[b]) - float64(m) - float64(v.Louder)
			if math.IsNaN(d) || math.IsInf(d, 0) {
				d = math.Inf(-1)
			}
			v.Delta = append(v.Delta, meter.Level(d))
		}
	}
}

// Octaves returns a value's differences in dB by octave, 31.5 Hz to 16 kHz: each
// the mean of three bands, NaN if none of them is known.
func (v ToneValue) Octaves() []float64 {
	var all []float64
	for first := 1; first+2 < len(v.Delta); first += 3 {
		sum, n := 0.0, 0.0
		for _, d := range v.Delta[first : first+3] {
			if !math.IsInf(float64(d), 0) {
				sum += float64(d)
				n++
			}
		}
		all = append(all, sum/n)
	}
	return all
}

// WriteCSV writes the comparison as comma-separated values: a heading, then a
// line for each channel, take and band. The columns are song, channel, show,
// take, rig, track, band_hz, level_db, median_db, louder_db, delta_db. Silence
// is "-inf"; an unknown value is empty.
func (c ToneComparison) WriteCSV(w io.Writer) error {
	out := csvfile.NewWriter(w)
	if err := out.Write([]string{"song", "channel", "show", "take", "rig", "track", "band_hz", "level_db", "median_db", "louder_db", "delta_db"}); err != nil {
		return err
	}
	for _, ch := range c.Channels {
		for _, v := range ch.Values {
			for b, hz := range c.BandsHz {
				row := []string{c.Song, ch.Channel, string(v.Show), strconv.FormatInt(int64(v.Take), 10), v.Rig, strconv.Itoa(v.Track),
					strconv.FormatFloat(hz, 'g', -1, 64), level(v.Bands[b]), level(ch.Median[b]), level(v.Louder), strings.TrimPrefix(level(v.Delta[b]), "-inf")}
				if err := out.Write(row); err != nil {
					return err
				}
			}
		}
	}
	out.Flush()
	return out.Error()
}

// HasTone reports whether the tone of any take is known. Recordings that an
// older nightreel scanned have none.
func (c ToneComparison) HasTone() bool {
	return slices.ContainsFunc(c.Channels, func(ch ToneChannel) bool { return len(ch.Values) > 0 })
}
