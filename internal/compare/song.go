package compare

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"

	"nightreel/catalog"
	"nightreel/internal/meter"
	"nightreel/internal/stats"
)

// Comparison is one song along the tour.
type Comparison struct {
	Song     string     `json:"song"`
	Takes    []TakeSpan `json:"takes"` // in order of show and start
	Channels []Channel  `json:"channels"`
	// Changes lists the largest changes of a channel since the previous night on
	// which the song was played, the largest first.
	Changes []Change `json:"changes"`
	// Notes are those of the shows from the first take's to the last one's, so
	// that a new rig shows at the night on which it came in.
	Notes []Note `json:"notes"`
}

// TakeSpan is one take of the song.
type TakeSpan struct {
	Take    catalog.TakeID  `json:"take"`
	Show    catalog.ShowKey `json:"show"`
	Nth     int             `json:"nth"` // among the song's takes of that night
	LengthS float64         `json:"length_s"`
}

// Channel is one channel in all takes of the song.
type Channel struct {
	Channel string `json:"channel"`
	// Median is the median of each figure on its own, over the takes in which
	// the channel was not digitally silent.
	Median meter.Figures `json:"median"`
	Values []Value       `json:"values"` // in the order of the takes; takes without the channel are left out
}

// Value is one channel in one take.
type Value struct {
	Show  catalog.ShowKey `json:"show"`
	Take  catalog.TakeID  `json:"take"`
	Rig   string          `json:"rig"` // whose recording was measured
	Track int             `json:"track"`
	meter.Figures
	// Delta is the RMS minus the median's, in dB: null if the channel is
	// digitally silent in this take, left out if there is nothing to compare.
	Delta meter.Level `json:"delta_db,omitzero"`
	// Change is the RMS minus that of the previous night on which the song was
	// played; null and left out as in Delta.
	Change  meter.Level `json:"change_db,omitzero"`
	Outlier bool        `json:"outlier"`
	Reasons []string    `json:"reasons"` // why it is an outlier, and possible causes; a sentence each
	// GainDB is the preamp's gain from the input list in dB, GainChangeDB the
	// difference to the previous night; left out if unknown.
	GainDB       *float64 `json:"gain_db,omitempty"`
	GainChangeDB *float64 `json:"gain_change_db,omitempty"`
}

// Change is the difference of a channel's level to the previous night.
type Change struct {
	Show         catalog.ShowKey `json:"show"`
	Take         catalog.TakeID  `json:"take"`
	Since        catalog.ShowKey `json:"since"` // the previous night
	Channel      string          `json:"channel"`
	ChangeDB     meter.Level     `json:"change_db"` // of the RMS; null: now digitally silent
	GainChangeDB *float64        `json:"gain_change_db,omitempty"`
}

// Note is a note about a show.
type Note struct {
	Show catalog.ShowKey `json:"show"`
	Text string          `json:"text"`
}

// Options are the choices of [Song].
type Options struct {
	Channel string // compare this channel only; "" for all
	// MostChanges bounds Comparison.Changes; 0 means 10.
	MostChanges int
	// Measure is the figure that Value.Delta, Value.Change, Value.Outlier and
	// Comparison.Changes refer to; "" means RMS.
	Measure Measure
}

const (
	// leastOutlierDB is the smallest difference that counts, in dB: from night
	// to night a band plays a song 1 to 2 dB louder or softer (common practice,
	// no source).
	leastOutlierDB = 3
	// outlierMADs is how many scaled median absolute deviations a value must lie
	// away: the modified z-score of 3.5 of Iglewicz and Hoaglin, How to Detect
	// and Handle Outliers, ASQC 1993 (from memory).
	outlierMADs = 3.5
	// madScale converts the median absolute deviation of normally distributed
	// values to their standard deviation: 1/Φ⁻¹(3/4).
	madScale = 1.4826
	// leastValues is the number of takes below which no value is an outlier: if
	// two differ, neither is the odd one.
	leastValues = 3
	// leastChangeDB is the smallest change that is listed, in dB.
	leastChangeDB = 1
	// floorDBFS is the RMS in dBFS below which a channel holds only noise, whose
	// level is independent of the song (common practice, no source).
	floorDBFS = -80
	// leastGainDB is the smallest difference of gain that is given as a reason,
	// in dB.
	leastGainDB = 0.5
)

// Song compares all takes of a song, given by title or alias, channel by
// channel. It uses each night's main rig, or another rig if the main one does
// not have the channel in that take. A song that is not in the catalog, and a
// channel that is in no take, is *[catalog.NotFoundError].
func Song(ctx context.Context, store *catalog.Store, song string, opt Options) (Comparison, error) {
	known, err := store.Song(ctx, song)
	if err != nil {
		return Comparison{}, err
	}
	takes, err := store.Takes(ctx, catalog.TakeFilter{Song: known.Title})
	if err != nil {
		return Comparison{}, err
	}
	c := Comparison{Song: known.Title, Takes: []TakeSpan{}, Channels: []Channel{}, Changes: []Change{}, Notes: []Note{}}
	if len(takes) == 0 {
		return c, nil
	}
	for _, t := range takes {
		c.Takes = append(c.Takes, TakeSpan{Take: t.ID, Show: t.Show, Nth: t.Nth, LengthS: t.EndS() - t.StartS()})
	}
	n, err := readTour(ctx, store, "")
	if err != nil {
		return Comparison{}, err
	}
	for _, name := range n.channels(takes) {
		if opt.Channel != "" && !catalog.SameName(name, opt.Channel) {
			continue
		}
		ch := Channel{Channel: name, Values: []Value{}}
		for _, t := range takes {
			v, ok, err := n.value(ctx, store, t, name)
			if err != nil {
				return Comparison{}, err
			}
			if ok {
				ch.Values = append(ch.Values, v)
			}
		}
		c.Changes = append(c.Changes, ch.judge(opt.Measure)...)
		c.Channels = append(c.Channels, ch)
	}
	if opt.Channel != "" && len(c.Channels) == 0 {
		return Comparison{}, catalog.NotFound("channel", opt.Channel, n.channels(takes), fmt.Sprintf("nightreel compare --song %q lists the channels", known.Title))
	}
	c.Changes = largest(c.Changes, opt.MostChanges)
	notes, err := store.Notes(ctx, "")
	if err != nil {
		return Comparison{}, err
	}
	for _, note := range notes {
		if note.Show >= takes[0].Show && note.Show <= takes[len(takes)-1].Show {
			c.Notes = append(c.Notes, Note{Show: note.Show, Text: note.Text})
		}
	}
	return c, nil
}

// channels returns the names of the channels that were recorded with takes:
// those of the last night in the order of its tracks, then those that only
// earlier nights had.
func (n tour) channels(takes []catalog.Take) []string {
	names, seen := []string{}, map[string]bool{}
	for _, t := range slices.Backward(takes) {
		for _, r := range n.recordings[t.Show] {
			for _, track := range n.tracks[r.ID] {
				if key := n.key(track.Channel); !seen[key] {
					seen[key] = true
					names = append(names, track.Channel)
				}
			}
		}
	}
	return names
}

// value measures a channel in a take, on the first recording that has it there;
// ok is false if there is none.
func (n tour) value(ctx context.Context, store *catalog.Store, t catalog.Take, channel string) (v Value, ok bool, err error) {
	for _, r := range n.recordings[t.Show] {
		track, found := n.byKey[r.ID][n.key(channel)]
		start, end, covered := n.span(t, r)
		if !found || !covered {
			continue
		}
		all, err := n.figures(ctx, store, span{r.ID, start, end})
		if err != nil {
			return v, false, err
		}
		figures := all[track.ID]
		if figures.RMS.IsZero() { // not measured in this recording
			continue
		}
		return Value{
			Show: t.Show, Take: t.ID, Rig: r.Rig, Track: track.Number, Figures: figures,
			Delta: meter.NotMeasured(), Change: meter.NotMeasured(), Reasons: []string{}, GainDB: track.Input.GainDB,
		}, true, nil
	}
	return v, false, nil
}

// judge sets the median and all that depends on it, and returns the changes from
// night to night.
func (ch *Channel) judge(m Measure) []Change {
	ch.Median = medianFigures(ch.Values)
	playing, deviations, gains := 0, []float64{}, []float64{}
	for i := range ch.Values {
		v := &ch.Values[i]
		v.Delta = difference(m.Of(v.Figures), m.Of(ch.Median))
		if !v.RMS.IsSilence() {
			playing++
			deviations = append(deviations, math.Abs(float64(v.Delta)))
		}
		if v.GainDB != nil {
			gains = append(gains, *v.GainDB)
		}
	}
	limit := max(leastOutlierDB, outlierMADs*madScale*stats.Median(deviations))
	changes := []Change{}
	for i := range ch.Values {
		v := &ch.Values[i]
		v.judge(limit, playing, stats.Median(gains), ch.Median.RMS)
		before, ok := ch.nightBefore(v.Show)
		if !ok {
			continue
		}
		v.Change = difference(m.Of(v.Figures), m.Of(before.Figures))
		if v.GainDB != nil && before.GainDB != nil {
			change := *v.GainDB - *before.GainDB
			v.GainChangeDB = &change
		}
		if v.RMS < floorDBFS && before.RMS < floorDBFS {
			continue
		}
		if math.Abs(float64(v.Change)) >= leastChangeDB { // silence is infinite and passes; "not measured" is NaN and does not
			changes = append(changes, Change{Show: v.Show, Take: v.Take, Since: before.Show, Channel: ch.Channel, ChangeDB: v.Change, GainChangeDB: v.GainChangeDB})
		}
	}
	return changes
}

// judge sets whether a value is an outlier, and why.
func (v *Value) judge(limit float64, playing int, usualGain float64, usualRMS meter.Level) {
	delta := float64(v.Delta)
	switch {
	case v.RMS.IsSilence() && playing >= leastValues-1:
		v.Outlier = true
		v.Reasons = append(v.Reasons, fmt.Sprintf("digitally silent in this take, not in %d other takes", playing))
		return // no gain explains silence
	case playing >= leastValues && math.Abs(delta) > limit && max(v.RMS, usualRMS) >= floorDBFS:
		v.Outlier = true
		v.Reasons = append(v.Reasons, fmt.Sprintf("%.1f dB %s the median of %d takes", math.Abs(delta), aboveBelow(delta), playing))
	default:
		return
	}
	if v.GainDB == nil {
		return
	}
	if gain := *v.GainDB - usualGain; math.Abs(gain) >= leastGainDB {
		v.Reasons = append(v.Reasons, fmt.Sprintf("the preamp's gain is %.1f dB %s its median", math.Abs(gain), aboveBelow(gain)))
	}
}

func aboveBelow(db float64) string {
	if db < 0 {
		return "below"
	}
	return "above"
}

// nightBefore returns the channel's last value of an earlier show.
func (ch *Channel) nightBefore(show catalog.ShowKey) (Value, bool) {
	// Values are in order of show. Keys of one date do not sort by time, so
	// compare dates only.
	at := slices.IndexFunc(ch.Values, func(v Value) bool { return v.Show == show || v.Show.Date() > show.Date() })
	switch {
	case at < 0 && len(ch.Values) > 0:
		return ch.Values[len(ch.Values)-1], true
	case at <= 0:
		return Value{}, false
	}
	return ch.Values[at-1], true
}

// difference returns a - b; silence if only a is silent, "not measured" if the
// two cannot be compared.
func difference(a, b meter.Level) meter.Level {
	if a.IsZero() || b.IsZero() || b.IsSilence() {
		return meter.NotMeasured()
	}
	return a - b
}

// largest returns at most the given number of changes, the largest first.
func largest(changes []Change, most int) []Change {
	if most == 0 {
		most = 10
	}
	size := func(c Change) float64 { return math.Abs(float64(c.ChangeDB)) }
	slices.SortStableFunc(changes, func(a, b Change) int {
		return cmp.Or(cmp.Compare(size(b), size(a)), cmp.Compare(b.Show, a.Show))
	})
	// If a song was played twice a night, keep the larger change only.
	seen := map[string]bool{}
	changes = slices.DeleteFunc(changes, func(c Change) bool {
		key := string(c.Show) + catalog.Key(c.Channel)
		defer func() { seen[key] = true }()
		return seen[key]
	})
	return changes[:min(len(changes), most)]
}
