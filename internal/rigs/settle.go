// Package rigs finds how the recordings of a show lie to each other in time, and
// which of them is the show's reference: the one on which the show's positions
// count. It works from the catalog alone. Start with [Settle].
package rigs

import (
	"cmp"
	"context"
	"errors"
	"math"
	"slices"
	"strconv"
	"strings"

	"nightreel/catalog"
	"nightreel/internal/envelope"
	"nightreel/internal/meter"
)

// version is raised where Settle comes to another answer than before.
const version = "v1"

const (
	// goodScore is the least correlation of two recordings' levels for a lag to
	// count (set on the demo's rigs, which reach 0.99; common practice, no
	// source).
	goodScore = 0.8
	// clockError is by how many seconds two rigs' clocks may differ for the
	// search to find the offset (common practice, no source).
	clockError = 300
	// coarse is the blocks of one value in the first search: a second.
	coarse = meter.BlocksPerSecond
	// fine is by how many blocks the second search looks to either side.
	fine = 2 * coarse
	// lagError is how far off, in seconds, an offset by levels may be (measured
	// on the demo's rigs 0.003, on noise 0.006). Clocks that agree so well are the
	// better ones.
	lagError = 0.01
	// asLong is the share of the largest sum of track lengths from which a
	// recording holds as much of the show as the largest: rigs are started and
	// stopped by hand, minutes apart (common practice, no source).
	asLong = 0.9
)

// Settle works out the offsets of a show's recordings and the reference, from
// what was measured, the recordings' clocks and a person's choice, and stores
// them. It reports whether anything differs from what the catalog had.
//
// Recordings are placed by the wall clocks, refined by the levels that both
// hold. Levels are one a block of 100 ms; between blocks the lag is interpolated,
// so an offset by levels is good to some 10 ms, not to a sample. Tracks that are
// not measured yet, or whose records cannot be read, are left out.
func Settle(ctx context.Context, store *catalog.Store, show catalog.ShowKey) (changed bool, err error) {
	sh, err := store.Show(ctx, show)
	if err != nil || len(sh.Recordings) == 0 {
		return false, err
	}
	done, mark, err := settled(ctx, store, sh.Recordings)
	if err != nil || done {
		return false, err
	}
	held, err := held(ctx, store, sh)
	if err != nil {
		return false, err
	}
	base := firstOf(sh.Recordings, func(a, b catalog.Recording) int {
		return cmp.Or(bestHeld(held, a, b), byContent(a, b))
	})
	offsets := map[catalog.RecordingID]float64{}
	if len(sh.Recordings) > 1 {
		if offsets, err = offsetsFrom(ctx, store, base, sh.Recordings); err != nil {
			return false, err
		}
	}
	reference := firstOf(sh.Recordings, func(a, b catalog.Recording) int {
		return cmp.Or(first(a.Chosen, b.Chosen), first(holdsMost(held, a), holdsMost(held, b)), first(a.Rig == catalog.MainRig, b.Rig == catalog.MainRig),
			cmp.Compare(offsets[a.ID], offsets[b.ID]), byContent(a, b))
	})
	for i, r := range sh.Recordings {
		sh.Recordings[i].OffsetS = offsets[r.ID] - offsets[reference.ID]
		sh.Recordings[i].Reference = r.ID == reference.ID
	}
	changed, err = store.SetReference(ctx, sh.ID, sh.Recordings)
	if err == nil {
		err = mark()
	}
	return changed, err
}

// settled reports whether nothing changed since a show was settled: of its
// recordings, what was measured of them and what was chosen. mark notes that it
// is settled now, unless something changed meanwhile.
func settled(ctx context.Context, store *catalog.Store, recordings []catalog.Recording) (done bool, mark func() error, err error) {
	ids := []string{version}
	for _, r := range recordings {
		ids = append(ids, strconv.FormatInt(int64(r.ID), 10))
	}
	slices.Sort(ids)
	together := strings.Join(ids, " ")
	editions := make([]catalog.Edition, len(recordings))
	done = true
	key := func(r catalog.Recording) catalog.DerivedKey {
		return catalog.DerivedKey{Recording: r.ID, Kind: catalog.Settled}
	}
	for i, r := range recordings {
		var by []byte
		if by, editions[i], err = store.Derived(ctx, key(r)); err != nil {
			return false, nil, err
		}
		done = done && string(by) == together
	}
	return done, func() error {
		for i, r := range recordings {
			if err := store.PutDerived(ctx, key(r), editions[i], []byte(together)); err != nil {
				return err
			}
		}
		return nil
	}, nil
}

// held returns how many seconds of tracks each recording holds.
func held(ctx context.Context, store *catalog.Store, sh catalog.Show) (map[catalog.RecordingID]float64, error) {
	held := map[catalog.RecordingID]float64{}
	tracks, err := store.Tracks(ctx, catalog.TrackFilter{Show: sh.Key})
	for _, t := range tracks {
		held[t.RecordingID] += float64(t.Frames) / float64(t.SampleRate)
	}
	return held, err
}

// holdsMost reports whether a recording holds as much as the largest one, or nearly.
func holdsMost(held map[catalog.RecordingID]float64, r catalog.Recording) bool {
	most := 0.0
	for _, s := range held {
		most = max(most, s)
	}
	return held[r.ID] >= asLong*most
}

// bestHeld orders the recordings that hold most of a show before others, and main
// before the rest of them.
func bestHeld(held map[catalog.RecordingID]float64, a, b catalog.Recording) int {
	return cmp.Or(first(holdsMost(held, a), holdsMost(held, b)), first(a.Rig == catalog.MainRig, b.Rig == catalog.MainRig))
}

func first(a, b bool) int {
	switch {
	case a == b:
		return 0
	case a:
		return -1
	}
	return 1
}

// byContent orders recordings by what was recorded. Equal ones keep the
// catalog's order, which is that of their files' paths.
func byContent(a, b catalog.Recording) int {
	starts := func(r catalog.Recording) int64 {
		if r.StartsAt == nil {
			return math.MaxInt64
		}
		return r.StartsAt.UnixNano()
	}
	return cmp.Or(cmp.Compare(a.Rig, b.Rig), cmp.Compare(a.SampleRate, b.SampleRate), cmp.Compare(starts(a), starts(b)), cmp.Compare(b.Frames, a.Frames), cmp.Compare(a.Path, b.Path))
}

func firstOf(recordings []catalog.Recording, order func(a, b catalog.Recording) int) catalog.Recording {
	return slices.MinFunc(recordings, order)
}

// offsetsFrom returns how many seconds after base each recording starts.
func offsetsFrom(ctx context.Context, store *catalog.Store, base catalog.Recording, recordings []catalog.Recording) (map[catalog.RecordingID]float64, error) {
	offsets := map[catalog.RecordingID]float64{}
	own, err := levels(ctx, store, base)
	if err != nil {
		return nil, err
	}
	for _, r := range recordings {
		if r.ID == base.ID {
			continue
		}
		theirs, err := levels(ctx, store, r)
		if err != nil {
			return nil, err
		}
		offsets[r.ID] = offset(base, r, own, theirs)
	}
	return offsets, nil
}

// levels returns the power of all tracks of a recording together, one value a
// block.
func levels(ctx context.Context, store *catalog.Store, r catalog.Recording) ([]float64, error) {
	block := int64(meter.BlockFrames(r.SampleRate))
	power := make([]float64, (r.Frames+block-1)/block)
	err := envelope.LoadRecording(ctx, store, r.ID, func(_ catalog.Track, e meter.Envelope, err error) error {
		var not *envelope.NotMeasuredError
		if errors.As(err, &not) {
			return nil
		}
		for i, b := range e.Blocks {
			if i < len(power) {
				power[i] += float64(b.MeanSquare)
			}
		}
		return err
	})
	return power, err
}

// offset returns how many seconds after a the recording b starts. It is looked
// for near what the clocks say, then everywhere. Where the levels agree nowhere
// the clocks are believed, and without clocks 0.
func offset(a, b catalog.Recording, levelsA, levelsB []float64) float64 {
	everywhere := len(levelsA) + len(levelsB)
	second := float64(a.SampleRate) / float64(meter.BlockFrames(a.SampleRate)) // in blocks: not quite 10 at odd rates
	if a.StartsAt != nil && b.StartsAt != nil {
		clocks := b.StartsAt.Sub(*a.StartsAt).Seconds()
		found, ok := lagNear(levelsA, levelsB, int(math.Round(clocks*second)), clockError*coarse)
		if !ok {
			found, ok = lagNear(levelsA, levelsB, 0, everywhere)
		}
		if !ok || math.Abs(found/second-clocks) < lagError {
			return clocks
		}
		return found / second
	}
	found, _ := lagNear(levelsA, levelsB, 0, everywhere)
	return found / second
}

// lagNear returns by how many blocks b starts after a, looked for within reach
// blocks of a guess; ok tells whether the levels agree there.
func lagNear(a, b []float64, guess, reach int) (shift float64, ok bool) {
	x, y := together(a, b, guess)
	// What is x[i] is y[i+lag], so b starts lag blocks before the guess.
	lag, _ := meter.Lag(decibels(x, coarse), decibels(y, coarse), reach/coarse)
	if math.IsNaN(lag) {
		return 0, false
	}
	guess -= int(math.Round(lag * coarse))
	x, y = together(a, b, guess)
	lag, score := meter.Lag(decibels(x, 1), decibels(y, 1), fine)
	if !(score >= goodScore) {
		return 0, false
	}
	return float64(guess) - lag, true
}

// together returns two series so that what a clock says is simultaneous has the
// same index; shift is by how many blocks b starts after a.
func together(a, b []float64, shift int) (x, y []float64) {
	if shift >= 0 {
		return a[min(shift, len(a)):], b
	}
	return a, b[min(-shift, len(b)):]
}

// decibels returns the level of every n values together; silence is −Inf, which
// the search passes over.
func decibels(power []float64, n int) []float64 {
	levels := make([]float64, 0, len(power)/n)
	for i := 0; i+n <= len(power); i += n {
		sum := 0.0
		for _, p := range power[i : i+n] {
			sum += p
		}
		levels = append(levels, float64(meter.PowerDB(sum/float64(n))))
	}
	return levels
}
