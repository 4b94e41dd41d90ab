// Package health judges a night's recordings as a careful assistant would:
// what clipped, died, dropped out or was never recorded, and what to do about
// it.
//
// Start with [Judge], which judges a show of the catalog and stores its findings;
// [Night.Findings] is the judgement itself, over evidence in memory. The package
// reads measured envelopes, never audio and never a file; it says nothing of a
// channel that merely has nothing to play.
//
// No standard says when a channel is broken. Every threshold is a constant
// that stands beside its reason.
package health

import (
	"context"
	"errors"

	"nightreel/catalog"
	"nightreel/internal/envelope"
	"nightreel/internal/evidence"
	"nightreel/internal/meter"
)

// Options are the choices of [Judge]. The zero value is what is measured by
// default.
type Options struct {
	// MinClipRun is the shortest run of samples at full scale, in samples, that
	// counts as clipped. 0, or less than the scan looked for, means all runs
	// that the scan found: 3 and longer.
	MinClipRun int
}

// NearShows is how many other shows a recording is compared with, and how many
// a channel: the nearest, by [evidence.Near]. It is enough to outvote one odd
// night, and a few tens of milliseconds of reading each.
const NearShows = 5

// Judge judges every recording of a show and stores what it finds in place of
// what was found before; what was accepted stays accepted. A track that was
// not wholly measured is judged by its files alone. It returns
// [catalog.NotFoundError] for a date without a show, and ctx's error when
// cancelled; findings are replaced one recording at a time.
func Judge(ctx context.Context, store *catalog.Store, date catalog.ShowKey, opt Options) error {
	show, err := store.Show(ctx, date)
	if err != nil {
		return err
	}
	for _, r := range show.Recordings {
		n, err := load(ctx, store, r, opt)
		if err != nil {
			return err
		}
		if err := store.ReplaceFindings(ctx, r.ID, n.Findings()); err != nil {
			return err
		}
	}
	return ctx.Err()
}

// load gathers the evidence about a recording from the catalog. The envelope of
// each track is read once, reduced, and let go.
func load(ctx context.Context, store *catalog.Store, r catalog.Recording, opt Options) (*Night, error) {
	n := &Night{SampleRate: r.SampleRate, Frames: r.Frames}
	var err error
	if n.Takes, err = takesOn(ctx, store, r); err != nil {
		return nil, err
	}
	if n.Files, err = store.Files(ctx, catalog.FileFilter{Recording: r.ID}); err != nil {
		return nil, err
	}
	lists, err := store.InputLists(ctx)
	if err != nil {
		return nil, err
	}
	n.Inputs = catalog.InForce(lists, r.Show, r.Rig)
	if n.Elsewhere, err = elsewhere(ctx, store, r); err != nil {
		return nil, err
	}
	err = envelope.LoadRecording(ctx, store, r.ID, func(t catalog.Track, e meter.Envelope, err error) error {
		var missing *envelope.NotMeasuredError
		if err != nil && !errors.As(err, &missing) {
			return err
		}
		if err != nil {
			n.Tracks = append(n.Tracks, unmeasured(t))
			return nil
		}
		n.Tracks = append(n.Tracks, Reduce(t, e, opt))
		return nil
	})
	if err != nil {
		return nil, err
	}
	if len(n.lost()) > 0 {
		// All tracks of the tour: not asked for without need.
		if n.Usual, n.Others, err = usual(ctx, store, r.Show); err != nil {
			return nil, err
		}
	}
	if err := n.listen(ctx, store, r); err != nil {
		return nil, err
	}
	n.Past = map[string][]Past{}
	for _, channel := range n.doubtful() {
		if n.Past[channel], err = past(ctx, store, r, channel, opt); err != nil {
			return nil, err
		}
	}
	return n, nil
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

// elsewhere returns which lines of the input list, by their track numbers,
// another recording of the same rig holds for the same time; nil where that one
// comes first, and has been told of.
func elsewhere(ctx context.Context, store *catalog.Store, r catalog.Recording) (map[int]bool, error) {
	recordings, err := store.Recordings(ctx, catalog.RecordingFilter{Show: r.Show})
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
	tracks, err := store.Tracks(ctx, catalog.TrackFilter{Show: r.Show})
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
		numbers[listLine(t)] = true
	}
	return numbers, nil
}

// usual returns on how many of the nearest other nights each channel was
// recorded, by its key, and how many nights these are.
func usual(ctx context.Context, store *catalog.Store, night catalog.ShowKey) (on map[string]int, others int, err error) {
	shows, err := store.Shows(ctx, catalog.ShowFilter{})
	if err != nil {
		return nil, 0, err
	}
	var recorded []catalog.ShowKey
	for _, s := range shows {
		if len(s.Recordings) > 0 {
			recorded = append(recorded, s.Key)
		}
	}
	on = map[string]int{}
	near := evidence.Near(recorded, night, NearShows)
	for _, show := range near {
		tracks, err := store.Tracks(ctx, catalog.TrackFilter{Show: show})
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
	return on, len(near), nil
}

// past reads a channel's tracks of the nearest other nights.
func past(ctx context.Context, store *catalog.Store, r catalog.Recording, channel string, opt Options) ([]Past, error) {
	tracks, err := store.Tracks(ctx, catalog.TrackFilter{Channel: channel})
	if err != nil {
		return nil, err
	}
	// One track a night: that of the same rig, else the first, which is the
	// main rig's.
	byNight := map[catalog.ShowKey]catalog.Track{}
	var nights []catalog.ShowKey
	for _, t := range tracks {
		if t.Show == r.Show {
			continue
		}
		if had, ok := byNight[t.Show]; !ok {
			nights = append(nights, t.Show)
			byNight[t.Show] = t
		} else if had.Rig != r.Rig && t.Rig == r.Rig {
			byNight[t.Show] = t
		}
	}
	nights = evidence.Near(nights, r.Show, NearShows)
	var found []Past
	for _, night := range nights {
		t := byNight[night]
		e, err := envelope.Load(ctx, store, t, 0, t.Frames)
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		if err != nil {
			continue // a night that was not measured is no evidence
		}
		recordings, err := store.Recordings(ctx, catalog.RecordingFilter{ID: t.RecordingID})
		if err != nil {
			return nil, err
		}
		p := Past{Show: night, Track: Reduce(t, e, opt)}
		for _, on := range recordings {
			p.BitDepth = on.BitDepth
			if p.Takes, err = takesOn(ctx, store, on); err != nil {
				return nil, err
			}
		}
		found = append(found, p)
	}
	return found, nil
}
