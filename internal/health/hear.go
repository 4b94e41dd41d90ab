package health

import (
	"context"

	"nightreel/catalog"
	"nightreel/internal/evidence"
	"nightreel/internal/sound"
)

// listen loads what the recording and the nearest other nights sound like. Other
// nights are of the same rig where it was there, else of the show's first
// recording.
func (n *Night) listen(ctx context.Context, store *catalog.Store, r catalog.Recording) error {
	var err error
	if n.Sound, err = sound.Load(ctx, store, r, spans(n.Takes)); err != nil {
		return err
	}
	return n.loadTour(ctx, store, r.Show, r.Rig)
}

// loadTour loads the nights nearest to a date.
func (n *Night) loadTour(ctx context.Context, store *catalog.Store, date catalog.ShowKey, rig string) error {
	shows, err := store.Shows(ctx, catalog.ShowFilter{})
	if err != nil {
		return err
	}
	of := map[catalog.ShowKey]catalog.Recording{}
	var nights []catalog.ShowKey
	for _, s := range shows {
		if s.Key == date || len(s.Recordings) == 0 {
			continue
		}
		nights = append(nights, s.Key)
		of[s.Key] = longest(s.Recordings, rig)
	}
	for _, night := range evidence.Near(nights, date, NearShows) {
		takes, err := takesOn(ctx, store, of[night])
		if err != nil {
			return err
		}
		past, err := sound.Load(ctx, store, of[night], spans(takes))
		if err != nil {
			return err
		}
		if len(past.Voices) > 0 {
			n.Tour = append(n.Tour, past)
		}
	}
	return nil
}

// longest returns the longest recording of a rig, of all where it has none.
func longest(all []catalog.Recording, rig string) catalog.Recording {
	best := -1
	for i, r := range all {
		if best < 0 || (r.Rig == rig) != (all[best].Rig == rig) && r.Rig == rig ||
			(r.Rig == rig) == (all[best].Rig == rig) && r.Seconds(r.Frames) > all[best].Seconds(all[best].Frames) {
			best = i
		}
	}
	return all[best]
}

func spans(takes []Take) []sound.Span {
	var all []sound.Span
	for _, t := range takes {
		all = append(all, sound.Span{Song: t.Song, Start: t.Start, End: t.End})
	}
	return all
}

// trackOf returns the track that a voice is, nil for none.
func (n *Night) trackOf(v *sound.Voice) *Track {
	for i := range n.Tracks {
		if n.Tracks[i].Number == v.Track.Number {
			return &n.Tracks[i]
		}
	}
	return nil
}

// before returns a channel's voices on the other nights, the nearest first.
func (n *Night) before(channel string) []*sound.Voice {
	var all []*sound.Voice
	for _, p := range n.Tour {
		if v := p.Find(catalog.Key(channel)); v != nil {
			all = append(all, v)
		}
	}
	return all
}
