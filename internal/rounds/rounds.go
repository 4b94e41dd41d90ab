// Package rounds does what reaches over several rooms: after a scan songs are
// placed and channels judged; after a corrected boundary or a new input list
// they are judged again. Start with [Scan] and [Judge].
//
// It holds no judgement of its own, only the order in which the others are
// asked; the command line and the web app both ask here.
package rounds

import (
	"context"
	"fmt"

	"nightreel/catalog"
	"nightreel/internal/compare"
	"nightreel/internal/envelope"
	"nightreel/internal/health"
	"nightreel/internal/rigs"
	"nightreel/internal/scan"
	"nightreel/internal/songs"
)

// Scanned is what a scan and the judging after it came to.
type Scanned struct {
	scan.Result
	// Warnings are sentences about songs that found no place, and names of tracks
	// that contradict the input list.
	Warnings []string `json:"-"`
	// Learned are sentences about earlier nights whose songs were found anew.
	Learned []string `json:"-"`
}

// Scan reads the recordings below some folders, then places the songs and
// judges the channels of the shows it touched; nights whose songs were doubtful
// may learn from the new ones. p may be nil. Errors are those
// of [scan.Run] and [Judge]; what was done is in the result all the same.
func Scan(ctx context.Context, store *catalog.Store, dirs []string, opt scan.Options, p *scan.Progress) (Scanned, error) {
	result, err := scan.Run(ctx, store, dirs, opt, p)
	out := Scanned{Result: result, Warnings: []string{}}
	if err != nil {
		return out, err
	}
	for i, show := range out.Shows {
		changed, err := rigs.Settle(ctx, store, show.Key)
		if err != nil {
			return out, err
		}
		if changed {
			if out.Shows[i], err = store.Show(ctx, show.Key); err != nil {
				return out, err
			}
		}
	}
	// Of a tour that is scanned at once the songs of all nights are placed before
	// the first one's channels are judged: what a channel does in a song on other
	// nights is evidence.
	fresh := map[int]func() error{}
	for i, show := range out.Shows {
		done, mark, err := judged(ctx, store, show.Key)
		if err != nil {
			return out, err
		}
		if done {
			continue
		}
		warnings, err := place(ctx, store, show.Key)
		out.Warnings = append(out.Warnings, warnings...)
		if err != nil {
			return out, err
		}
		fresh[i] = mark
	}
	var learned []catalog.ShowKey
	for i, show := range out.Shows {
		mark := fresh[i]
		if mark == nil {
			continue
		}
		if err := Rejudge(ctx, store, show.Key); err != nil {
			return out, err
		}
		if out.Shows[i], err = store.Show(ctx, show.Key); err != nil {
			return out, err
		}
		if err := Prepare(ctx, store, show.Key); err != nil {
			return out, err
		}
		if err := mark(); err != nil {
			return out, err
		}
		learned = append(learned, show.Key)
	}
	for _, show := range learned[max(0, len(learned)-1):] {
		// After many new nights at once the last one has learned from all others,
		// and the nights near it may learn from it.
		said, err := Learn(ctx, store, show, nil)
		out.Learned = append(out.Learned, said...)
		if err != nil {
			return out, err
		}
	}
	return out, nil
}

// judging is the edition of all judgement: it is raised where songs or health
// find or say something else than before, and then the next scan judges anew.
const judging = "22"

// judged reports whether a show was judged since its recordings changed. mark
// notes that it was, unless they have changed meanwhile.
func judged(ctx context.Context, store *catalog.Store, show catalog.ShowKey) (done bool, mark func() error, err error) {
	recordings, err := store.Recordings(ctx, catalog.RecordingFilter{Show: show})
	if err != nil {
		return false, nil, err
	}
	editions := make([]catalog.Edition, len(recordings))
	done = true
	for i, r := range recordings {
		var by []byte
		if by, editions[i], err = store.Derived(ctx, catalog.DerivedKey{Recording: r.ID, Kind: catalog.Judged}); err != nil {
			return false, nil, err
		}
		done = done && string(by) == judging
	}
	return done, func() error {
		for i, r := range recordings {
			if err := store.PutDerived(ctx, catalog.DerivedKey{Recording: r.ID, Kind: catalog.Judged}, editions[i], []byte(judging)); err != nil {
				return err
			}
		}
		return nil
	}, nil
}

// Judge places a show's songs and judges its channels, and returns what a
// person should know about songs that found no place and names that contradict
// the input list. Both work from the
// catalog alone and may be done again at any time.
func Judge(ctx context.Context, store *catalog.Store, show catalog.ShowKey) ([]string, error) {
	warnings, err := place(ctx, store, show)
	if err != nil {
		return warnings, err
	}
	return warnings, Rejudge(ctx, store, show)
}

// place is [Judge] without the channels.
func place(ctx context.Context, store *catalog.Store, show catalog.ShowKey) ([]string, error) {
	placed, err := songs.Place(ctx, store, show)
	if err != nil {
		return nil, err
	}
	warnings := []string{}
	for _, title := range placed.NotPlaced {
		warnings = append(warnings, fmt.Sprintf("%s: no place was found for %q of the set list; nightreel takes set places it by hand", show, title))
	}
	for _, problem := range placed.Problems {
		warnings = append(warnings, fmt.Sprintf("%s: %s", show, problem))
	}
	names, err := Names(ctx, store, show)
	return append(warnings, names...), err
}

// Rejudge judges a show's channels again where its songs are placed already,
// since what a channel should do depends on the song.
func Rejudge(ctx context.Context, store *catalog.Store, show catalog.ShowKey) error {
	return health.Judge(ctx, store, show, health.Options{})
}

// JudgeFrom judges every show from a date on, or that one only: what a new
// input list may change.
func JudgeFrom(ctx context.Context, store *catalog.Store, from catalog.ShowKey, only bool) ([]string, error) {
	shows, err := store.Shows(ctx, catalog.ShowFilter{})
	if err != nil {
		return nil, err
	}
	warnings := []string{}
	for _, show := range shows {
		if show.Key < from || only && show.Key != from {
			continue
		}
		more, err := Judge(ctx, store, show.Key)
		warnings = append(warnings, more...)
		if err != nil {
			return warnings, err
		}
	}
	return warnings, nil
}

// Prepare works out what screens ask of a show: the strips of its recordings
// and the figures of its takes and tracks. All of it would be worked out when
// it is asked for, too, and is kept in the catalog either way.
func Prepare(ctx context.Context, store *catalog.Store, show catalog.ShowKey) error {
	recordings, err := store.Recordings(ctx, catalog.RecordingFilter{Show: show})
	if err != nil {
		return err
	}
	for _, r := range recordings {
		if err := envelope.Prepare(ctx, store, r); err != nil {
			return err
		}
	}
	if _, err := compare.Tracks(ctx, store, show); err != nil {
		return err
	}
	_, err = compare.Levels(ctx, store, compare.Filter{Show: show})
	return err
}
