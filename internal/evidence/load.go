package evidence

import (
	"context"
	"errors"

	"nightreel/catalog"
	"nightreel/internal/channelsound"
	"nightreel/internal/envelope"
	"nightreel/internal/meter"
)

// Open returns the sources of the evidence about a show, one for each recording.
// They read the show itself and its neighbours, and no other shows. A track that was
// not wholly measured has its files alone. It returns [catalog.NotFoundError] for a
// show that is not there.
func Open(ctx context.Context, store *catalog.Store, near Neighbours, opt Options) ([]*Source, error) {
	show, err := store.Show(ctx, near.show)
	if err != nil {
		return nil, err
	}
	l := &loader{store: store, near: near, opt: opt, tracks: map[catalog.ShowKey][]catalog.Track{}}
	var all []*Source
	for _, r := range show.Recordings {
		all = append(all, &Source{ID: r.ID, Rig: r.Rig, recording: r, loader: l})
	}
	return all, nil
}

// Source reads the evidence about one recording: one after another, since that of
// one fills some hundred megabytes.
type Source struct {
	ID        catalog.RecordingID
	Rig       string
	recording catalog.Recording
	loader    *loader
}

// Read reads the evidence, but for [Recording.Past]. The envelope of each track is read
// once, reduced, and let go.
func (l *Source) Read(ctx context.Context) (*Recording, error) {
	return l.loader.read(ctx, l.recording)
}

// loader reads evidence from the catalog.
type loader struct {
	store  *catalog.Store
	near   Neighbours
	opt    Options
	tracks map[catalog.ShowKey][]catalog.Track // of the shows that were asked for
}

func (l *loader) tracksOf(ctx context.Context, show catalog.ShowKey) ([]catalog.Track, error) {
	if had, ok := l.tracks[show]; ok {
		return had, nil
	}
	tracks, err := l.store.Tracks(ctx, catalog.TrackFilter{Show: show})
	if err == nil {
		l.tracks[show] = tracks
	}
	return tracks, err
}

func (l *loader) read(ctx context.Context, r catalog.Recording) (*Recording, error) {
	n := &Recording{SampleRate: r.SampleRate, Frames: r.Frames}
	var err error
	if n.Takes, err = takesOn(ctx, l.store, r); err != nil {
		return nil, err
	}
	if n.Files, err = l.store.Files(ctx, catalog.FileFilter{Recording: r.ID}); err != nil {
		return nil, err
	}
	lists, err := l.store.InputLists(ctx)
	if err != nil {
		return nil, err
	}
	n.Inputs = catalog.InForce(lists, r.Show, r.Rig)
	if n.Elsewhere, err = l.elsewhere(ctx, r); err != nil {
		return nil, err
	}
	if n.Usual, n.Others, err = l.usual(ctx); err != nil {
		return nil, err
	}
	err = envelope.LoadRecording(ctx, l.store, r.ID, func(t catalog.Track, e meter.Envelope, err error) error {
		var missing *envelope.NotMeasuredError
		if err != nil && !errors.As(err, &missing) {
			return err
		}
		if err != nil {
			n.Tracks = append(n.Tracks, Unmeasured(t))
			return nil
		}
		n.Tracks = append(n.Tracks, Reduce(t, e, l.opt))
		return nil
	})
	if err != nil {
		return nil, err
	}
	if n.Sound, err = channelsound.Load(ctx, l.store, r, Spans(n.Takes)); err != nil {
		return nil, err
	}
	n.Tour, err = Sounds(ctx, l.store, l.near, r.Rig)
	return n, err
}

// WithPast returns the evidence with what the nearest other shows hold of channels,
// given by their keys. Channels that the show does not have are left out.
func (l *Source) WithPast(ctx context.Context, n *Recording, channels []string) (*Recording, error) {
	with := *n
	with.Past = map[string][]Past{}
	for _, channel := range channels {
		past, err := l.loader.past(ctx, l.recording, channel)
		if err != nil {
			return nil, err
		}
		with.Past[channel] = past
	}
	return &with, nil
}

// takesOn returns the show's takes in frames of r.
func takesOn(ctx context.Context, store *catalog.Store, r catalog.Recording) ([]Take, error) {
	stored, err := store.Takes(ctx, catalog.TakeFilter{Show: r.Show})
	if err != nil {
		return nil, err
	}
	recordings, err := store.Recordings(ctx, catalog.RecordingFilter{Show: r.Show})
	if err != nil {
		return nil, err
	}
	var takes []Take
	for _, t := range stored {
		for _, on := range recordings {
			if on.ID != t.RecordingID {
				continue
			}
			start, end := on.Map(t.StartFrame, r), on.Map(t.EndFrame, r)
			if end > 0 && start < r.Frames {
				takes = append(takes, Take{Song: t.Song, Start: max(start, 0), End: min(end, r.Frames)})
			}
		}
	}
	return takes, nil
}

// elsewhere returns which lines of the input list, by their track numbers, another
// recording of the same rig holds for the same time; nil if that recording comes
// first in the show, and so reports what is missing.
func (l *loader) elsewhere(ctx context.Context, r catalog.Recording) (map[int]bool, error) {
	recordings, err := l.store.Recordings(ctx, catalog.RecordingFilter{Show: r.Show})
	if err != nil {
		return nil, err
	}
	beside := map[catalog.RecordingID]bool{}
	rank := map[catalog.RecordingID]int{}
	for i, o := range recordings {
		rank[o.ID] = i
		from, to := o.Map(0, r), o.Map(o.Frames, r)
		beside[o.ID] = o.ID != r.ID && o.Rig == r.Rig && from < r.Frames && to > 0
	}
	tracks, err := l.tracksOf(ctx, r.Show)
	if err != nil {
		return nil, err
	}
	numbers := map[int]bool{}
	for _, t := range tracks {
		if !beside[t.RecordingID] {
			continue
		}
		if rank[t.RecordingID] < rank[r.ID] {
			return nil, nil
		}
		numbers[ListLine(t)] = true
	}
	return numbers, nil
}

// usual returns on how many of the nearest other shows each channel was recorded,
// by its key, and how many shows these are.
func (l *loader) usual(ctx context.Context) (on map[string]int, others int, err error) {
	on = map[string]int{}
	for _, show := range l.near.Shows() {
		tracks, err := l.tracksOf(ctx, show)
		if err != nil {
			return nil, 0, err
		}
		had := map[string]bool{}
		for _, t := range tracks {
			if key := catalog.Key(t.Channel); !had[key] {
				had[key] = true
				on[key]++
			}
		}
	}
	return on, len(l.near.Shows()), nil
}

// past reads a channel's tracks of the nearest other shows that have it: on each
// the track of the same rig, else the first, which is the main rig's.
func (l *loader) past(ctx context.Context, r catalog.Recording, channel string) ([]Past, error) {
	var found []Past
	for _, show := range l.near.Holding(channel) {
		tracks, err := l.tracksOf(ctx, show)
		if err != nil {
			return nil, err
		}
		chosen := -1
		for i, t := range tracks {
			if catalog.Key(t.Channel) == channel && (chosen < 0 || tracks[chosen].Rig != r.Rig && t.Rig == r.Rig) {
				chosen = i
			}
		}
		if chosen < 0 {
			continue
		}
		t := tracks[chosen]
		e, err := envelope.Load(ctx, l.store, t, 0, t.Frames)
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		if err != nil {
			continue // a show that was not measured is no evidence
		}
		recordings, err := l.store.Recordings(ctx, catalog.RecordingFilter{ID: t.RecordingID})
		if err != nil {
			return nil, err
		}
		p := Past{Show: show, Track: Reduce(t, e, l.opt)}
		for _, on := range recordings {
			p.BitDepth = on.BitDepth
			if p.Takes, err = takesOn(ctx, l.store, on); err != nil {
				return nil, err
			}
		}
		found = append(found, p)
	}
	return found, nil
}

// Sounds returns what the nearest other shows sound like, the nearest first: the
// longest recording of a rig, of any rig where the show does not have it.
func Sounds(ctx context.Context, store *catalog.Store, near Neighbours, rig string) ([]*channelsound.Night, error) {
	var tour []*channelsound.Night
	for _, key := range near.Shows() {
		recordings, err := store.Recordings(ctx, catalog.RecordingFilter{Show: key})
		if err != nil {
			return nil, err
		}
		if len(recordings) == 0 {
			continue // deleted meanwhile
		}
		of := longest(recordings, rig)
		takes, err := takesOn(ctx, store, of)
		if err != nil {
			return nil, err
		}
		past, err := channelsound.Load(ctx, store, of, Spans(takes))
		if err != nil {
			return nil, err
		}
		if len(past.Voices) > 0 {
			tour = append(tour, past)
		}
	}
	return tour, nil
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
