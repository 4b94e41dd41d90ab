package compare

import (
	"context"
	"errors"

	"nightreel/catalog"
	"nightreel/internal/envelope"
	"nightreel/internal/meter"
)

// Filter chooses takes and tracks; zero fields choose all.
type Filter struct {
	Take    catalog.TakeID
	Song    string // title or alias
	Show    catalog.ShowKey
	Channel string // as the input list in force names it
	Rig     string
}

// TakeLevel is the level of one track during one take. If the track was not
// recorded or not measured during the take, its figures are "not measured".
type TakeLevel struct {
	Take    catalog.TakeID  `json:"take"`
	Show    catalog.ShowKey `json:"show"`
	Song    string          `json:"song"`
	Nth     int             `json:"nth"` // which of the song's takes in the show, from 1
	Channel string          `json:"channel"`
	Rig     string          `json:"rig"`
	Track   int             `json:"track"`
	// StartS and EndS are seconds from the first frame of this rig's recording,
	// limited to what it holds of the take.
	StartS float64 `json:"start_s"`
	EndS   float64 `json:"end_s"`
	meter.Figures
}

// Levels returns the figures of takes, on every rig that recorded any of them,
// in order of show, start, recording and track. A song that is not in the
// catalog is *[catalog.NotFoundError].
func Levels(ctx context.Context, store *catalog.Store, f Filter) ([]TakeLevel, error) {
	takes, err := store.Takes(ctx, catalog.TakeFilter{ID: f.Take, Show: f.Show, Song: f.Song})
	if err != nil {
		return nil, err
	}
	n, err := readTour(ctx, store, f.Show)
	if err != nil {
		return nil, err
	}
	levels := []TakeLevel{}
	for _, t := range takes {
		for _, r := range n.recordings[t.Show] {
			if f.Rig != "" && r.Rig != f.Rig {
				continue
			}
			start, end, ok := n.span(t, r)
			if !ok {
				continue
			}
			figures, err := n.figures(ctx, store, span{r.ID, start, end})
			if err != nil {
				return nil, err
			}
			for _, track := range n.tracks[r.ID] {
				if f.Channel != "" && !catalog.SameName(f.Channel, track.Channel) {
					continue
				}
				levels = append(levels, TakeLevel{
					Take: t.ID, Show: t.Show, Song: t.Song, Nth: t.Nth, Channel: track.Channel, Rig: r.Rig, Track: track.Number,
					StartS: r.Seconds(start), EndS: r.Seconds(end), Figures: figures[track.ID],
				})
			}
		}
	}
	return levels, nil
}

// TrackLevel is the level of one track over its whole length.
type TrackLevel struct {
	Recording catalog.RecordingID `json:"recording"`
	Rig       string              `json:"rig"`
	Track     int                 `json:"track"`
	Name      string              `json:"name"` // as recorded
	Channel   string              `json:"channel"`
	DurationS float64             `json:"duration_s"`
	Read      bool                `json:"read"` // measured to its end
	meter.Figures
}

// Tracks returns the figures of all tracks of a show, in order of recording and
// track. A track that was not measured to its end has no figures.
func Tracks(ctx context.Context, store *catalog.Store, date catalog.ShowKey) ([]TrackLevel, error) {
	n, err := readTour(ctx, store, date)
	if err != nil {
		return nil, err
	}
	levels := []TrackLevel{}
	for _, r := range n.recordings[date] {
		figures, err := n.figures(ctx, store, span{r.ID, 0, r.Frames})
		if err != nil {
			return nil, err
		}
		for _, t := range n.tracks[r.ID] {
			levels = append(levels, TrackLevel{
				Recording: t.RecordingID, Rig: t.Rig, Track: t.Number, Name: t.Name, Channel: t.Channel,
				DurationS: float64(t.Frames) / float64(t.SampleRate), Read: !figures[t.ID].RMS.IsZero(), Figures: figures[t.ID],
			})
		}
	}
	return levels, nil
}

// tour holds what the catalog knows of the nights that are compared.
type tour struct {
	recordings map[catalog.ShowKey][]catalog.Recording // the reference first
	byID       map[catalog.RecordingID]catalog.Recording
	tracks     map[catalog.RecordingID][]catalog.Track
	byKey      map[catalog.RecordingID]map[string]catalog.Track // the first track of each channel, by its key
	keys       map[string]string                                // of channels: cached, since the same ones are needed thousands of times
	known      map[span]map[catalog.TrackID]meter.Figures
}

// readTour reads one show, or all shows if date is "".
func readTour(ctx context.Context, store *catalog.Store, date catalog.ShowKey) (tour, error) {
	n := tour{
		recordings: map[catalog.ShowKey][]catalog.Recording{},
		byID:       map[catalog.RecordingID]catalog.Recording{},
		tracks:     map[catalog.RecordingID][]catalog.Track{},
		byKey:      map[catalog.RecordingID]map[string]catalog.Track{},
		keys:       map[string]string{},
		known:      map[span]map[catalog.TrackID]meter.Figures{},
	}
	recordings, err := store.Recordings(ctx, catalog.RecordingFilter{Show: date})
	if err != nil {
		return n, err
	}
	for _, r := range recordings {
		n.recordings[r.Show] = append(n.recordings[r.Show], r)
		n.byID[r.ID] = r
	}
	tracks, err := store.Tracks(ctx, catalog.TrackFilter{Show: date})
	if err != nil {
		return n, err
	}
	for _, t := range tracks {
		n.tracks[t.RecordingID] = append(n.tracks[t.RecordingID], t)
		if n.byKey[t.RecordingID] == nil {
			n.byKey[t.RecordingID] = map[string]catalog.Track{}
		}
		if key := n.key(t.Channel); n.byKey[t.RecordingID][key].ID == 0 {
			n.byKey[t.RecordingID][key] = t
		}
	}
	return n, nil
}

// key returns [catalog.Key] of a channel, cached.
func (n tour) key(channel string) string {
	key, ok := n.keys[channel]
	if !ok {
		key = catalog.Key(channel)
		n.keys[channel] = key
	}
	return key
}

// span returns the frames of a recording that were recorded during a take; ok is
// false if there are none.
func (n tour) span(t catalog.Take, r catalog.Recording) (start, end int64, ok bool) {
	placed := n.byID[t.RecordingID]
	start = max(0, placed.Map(t.StartFrame, r))
	end = min(r.Frames, placed.Map(t.EndFrame, r))
	return start, end, start < end
}

// figuresOf returns the figures of a span of a track. They are "not measured" if
// the track ends before the span or was not measured all through it.
func figuresOf(ctx context.Context, store *catalog.Store, t catalog.Track, start, end int64) (meter.Figures, error) {
	e, err := envelope.Load(ctx, store, t, start, end)
	var missing *envelope.NotMeasuredError
	if errors.As(err, &missing) {
		return meter.Envelope{SampleRate: t.SampleRate}.Figures(0, 0), nil
	}
	if err != nil {
		return meter.Figures{}, err
	}
	return e.Figures(start, min(end, t.Frames)), nil
}
