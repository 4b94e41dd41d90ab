package scan

import (
	"context"
	"errors"
	"math"
	"slices"

	"nightreel/catalog"
	"nightreel/internal/envelope"
	"nightreel/internal/meter"
)

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
)

// align places the recordings of every show that has several on the show's
// reference: by the wall clocks, refined by the levels that both heard. Levels
// are one a block of 100 ms; between blocks the lag is interpolated, so an
// offset by levels is good to some 10 ms, not to a sample.
func (s *scan) align(ctx context.Context) error {
	shows, err := s.store.Shows(ctx, catalog.ShowFilter{})
	if err != nil {
		return err
	}
	for _, sh := range shows {
		if !s.touched[sh.ID] || len(sh.Recordings) < 2 {
			continue
		}
		// Offsets that are there hold as long as nothing was measured anew.
		if s.bytesRead.Load() == 0 && !slices.ContainsFunc(sh.Recordings[1:], func(r catalog.Recording) bool { return r.OffsetS == 0 }) {
			continue
		}
		if err := s.alignShow(ctx, sh.Recordings); err != nil {
			return err
		}
	}
	return ctx.Err()
}

func (s *scan) alignShow(ctx context.Context, recordings []catalog.Recording) error {
	offsets := make([]float64, len(recordings))
	levels, err := s.levels(ctx, recordings[0])
	if err != nil {
		return err
	}
	for i, r := range recordings[1:] {
		theirs, err := s.levels(ctx, r)
		if err != nil {
			return err
		}
		offsets[i+1] = offset(recordings[0], r, levels, theirs)
	}
	// The reference is the first in the catalog's order: the earliest of the
	// main rig's, or of all where there is no main.
	reference := 0
	for i, r := range recordings {
		if r.Rig == recordings[0].Rig || recordings[0].Rig != catalog.MainRig {
			if offsets[i] < offsets[reference] {
				reference = i
			}
		}
	}
	for i, r := range recordings {
		if at := offsets[i] - offsets[reference]; at != r.OffsetS {
			if err := s.store.SetOffset(ctx, r.ID, at); err != nil {
				return err
			}
		}
	}
	return nil
}

// levels returns the power of all tracks of a recording together, one value a
// block. Tracks that are not measured yet are left out, and so are those with a
// record that cannot be read, which is told.
func (s *scan) levels(ctx context.Context, r catalog.Recording) ([]float64, error) {
	block := int64(meter.BlockFrames(r.SampleRate))
	power := make([]float64, (r.Frames+block-1)/block)
	err := envelope.LoadRecording(ctx, s.store, r.ID, func(_ catalog.Track, e meter.Envelope, err error) error {
		var not *envelope.NotMeasuredError
		if errors.As(err, &not) {
			if not.Err != nil {
				s.unreadable(r, not)
			}
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

// unreadable notes that what is kept of a track cannot be read.
func (s *scan) unreadable(r catalog.Recording, e *envelope.NotMeasuredError) {
	s.result.Problems = append(s.result.Problems, Problem{File: s.fileOf(r, e.Track.Number), Problem: e.Error() + "; the track was left out", Hint: e.Hint()})
}

// fileOf returns the first file that holds a track, "" where there is none.
func (s *scan) fileOf(r catalog.Recording, track int) string {
	for _, f := range s.known.of[r.ID] {
		if f.FirstTrack <= track && track < f.FirstTrack+f.Channels {
			return f.FullPath()
		}
	}
	return ""
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
