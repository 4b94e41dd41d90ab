// Package envelope fetches the measurements of a track from the catalog for
// package meter's arithmetic. Start with [Load] for a span of one track; it
// reads only the minutes that the span touches, and never audio.
package envelope

import (
	"context"
	"fmt"
	"runtime"
	"sync"

	"nightreel/catalog"
	"nightreel/internal/meter"
)

// NotMeasuredError reports that a span is not completely in the catalog, or that
// a record of it cannot be read.
type NotMeasuredError struct {
	Track catalog.Track
	Part  int   // first missing minute of the recording, from 0
	Err   error // why its record cannot be read; nil if there is no record
}

func (e *NotMeasuredError) Error() string {
	where := fmt.Sprintf("show %s, rig %s, track %d (%s)", e.Track.Show, e.Track.Rig, e.Track.Number, e.Track.Channel)
	if e.Err != nil {
		return fmt.Sprintf("%s: the measurement of minute %d cannot be read: %v", where, e.Part+1, e.Err)
	}
	return fmt.Sprintf("%s: minute %d has not been measured", where, e.Part+1)
}

// Unwrap returns why a record cannot be read.
func (e *NotMeasuredError) Unwrap() error { return e.Err }

// Hint returns what to do about it.
func (e *NotMeasuredError) Hint() string {
	if e.Err != nil {
		return "run nightreel scan --check on the recording's folder: it measures damaged minutes again"
	}
	return "run nightreel scan on the recording's folder again; it continues where it stopped"
}

// Load returns the envelope of a track from frame start to frame end of the
// recording, in whole minutes around the span, clipped to the track's length. If
// the span lies outside the track, the envelope has no blocks. A minute that was
// never measured gives *NotMeasuredError, because "not measured" is not silence.
func Load(ctx context.Context, store *catalog.Store, t catalog.Track, start, end int64) (meter.Envelope, error) {
	start, end = max(start, 0), min(end, t.Frames)
	if start >= end {
		return meter.Join(t.SampleRate, t.Frames, 0), nil
	}
	perPart := int64(meter.PartBlocks) * int64(meter.BlockFrames(t.SampleRate))
	from, to := int(start/perPart), int((end-1)/perPart)+1
	stored, err := store.Parts(ctx, catalog.PartFilter{Track: t.ID, From: from, To: to})
	if err != nil {
		return meter.Envelope{}, err
	}
	return join(t, from, to, stored)
}

// LoadRecording calls f with the whole envelope of every track of a recording,
// in order of number, one after another. It reads the tracks ahead of f, one for
// each processor, so a night need not fit in memory. A track that was not measured
// to its end is passed to f as an error; f decides whether to go on.
func LoadRecording(ctx context.Context, store *catalog.Store, id catalog.RecordingID, f func(catalog.Track, meter.Envelope, error) error) error {
	tracks, err := store.Tracks(ctx, catalog.TrackFilter{Recording: id})
	if err != nil {
		return err
	}
	type loaded struct {
		envelope meter.Envelope
		err      error
	}
	ahead := make(chan chan loaded, runtime.GOMAXPROCS(0)-1) // in order of tracks
	ctx, cancel := context.WithCancel(ctx)
	var readers sync.WaitGroup
	defer readers.Wait()
	defer cancel()
	readers.Go(func() {
		defer close(ahead)
		for _, t := range tracks {
			one := make(chan loaded, 1)
			select {
			case ahead <- one:
			case <-ctx.Done():
				return
			}
			readers.Go(func() {
				e, err := Load(ctx, store, t, 0, t.Frames)
				one <- loaded{e, err}
			})
		}
	})
	for _, t := range tracks {
		var l loaded
		select {
		case one, ok := <-ahead:
			if ok {
				l = <-one
			}
		case <-ctx.Done():
		}
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err := f(t, l.envelope, l.err); err != nil {
			return err
		}
	}
	return nil
}

// join decodes the stored parts from to to-1 and joins them.
func join(t catalog.Track, from, to int, stored []catalog.Part) (meter.Envelope, error) {
	parts := make([]meter.Part, 0, to-from)
	for i := from; i < to; i++ {
		if i-from >= len(stored) || stored[i-from].Part != i {
			return meter.Envelope{}, &NotMeasuredError{Track: t, Part: i}
		}
		p, err := meter.Decode(stored[i-from].Data)
		if err != nil {
			return meter.Envelope{}, &NotMeasuredError{Track: t, Part: i, Err: err}
		}
		parts = append(parts, p)
	}
	return meter.Join(t.SampleRate, t.Frames, from*meter.PartBlocks, parts...), nil
}
