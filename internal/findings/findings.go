// Package findings judges recordings as a careful assistant would: what clipped,
// died, dropped out or was never recorded, and what to do about it.
//
// Start with [Judge], which judges a show of the catalog and stores its findings;
// [Find] is the judgement itself, over evidence in memory. One file is one judge: a
// function from what is known of a recording to findings of one kind or two. explain.go
// is the table of which finding explains which. The package reads measured
// envelopes, never audio and never a file; it reports nothing on a channel that merely
// has nothing to play.
//
// No standard says when a channel is broken. The thresholds of a judge stand at the top
// of its file, each with its unit and its source: a standard, a measurement, or chosen.
package findings

import (
	"cmp"
	"context"
	"slices"
	"strings"

	"nightreel/catalog"
	"nightreel/internal/evidence"
	"nightreel/internal/stats"
)

// judges is every judge. None depends on another one's findings.
var judges = []func(*known) []catalog.Finding{
	clipped, flatTops, offsets, silent, dropouts, crackles, hum, swapped, duplicates, polarity, gains,
	missing, short, holes, unfinished,
}

// Judge judges every recording of a show against its neighbours and stores the
// findings in place of those before; what was accepted stays accepted. It returns
// [catalog.NotFoundError] for a show that is not there, and ctx's error when
// cancelled; findings are replaced one recording at a time.
func Judge(ctx context.Context, store *catalog.Store, near evidence.Neighbours, opt evidence.Options) error {
	sources, err := evidence.Open(ctx, store, near, opt)
	if err != nil {
		return err
	}
	for _, source := range sources {
		r, err := source.Read(ctx)
		if err != nil {
			return err
		}
		n := learn(r)
		if r, err = source.WithPast(ctx, r, n.doubtful()); err != nil {
			return err
		}
		if err := store.ReplaceFindings(ctx, source.ID, find(n.complete(r))); err != nil {
			return err
		}
	}
	return ctx.Err()
}

// Find returns the findings about a recording in order of track, time and kind. They
// lack what the store fills in.
func Find(r *evidence.Recording) []catalog.Finding { return find(learn(r).complete(r)) }

func find(n *known) []catalog.Finding {
	var found []catalog.Finding
	for _, judge := range judges {
		found = append(found, judge(n)...)
	}
	found = unexplained(n, found)
	slices.SortStableFunc(found, func(a, b catalog.Finding) int {
		return cmp.Or(cmp.Compare(a.Track, b.Track), cmp.Compare(a.StartFrame, b.StartFrame), cmp.Compare(a.Kind, b.Kind))
	})
	for i := range found {
		found[i].Evidence = settled(found[i].Evidence)
	}
	return found
}

// settled rounds evidence to what it can mean: levels to 0.001 dB, all else to a
// millionth. What is stored then does not change with a last bit.
func settled(e catalog.Evidence) catalog.Evidence {
	rounded := catalog.Evidence{}
	for name, v := range e {
		steps := 1e6
		if strings.HasSuffix(name, "_db") || strings.HasSuffix(name, "_dbfs") || strings.HasPrefix(name, "lufs_") || strings.HasSuffix(name, "_lufs") {
			steps = 1e3
		}
		rounded[name] = stats.Round(v, steps)
	}
	return rounded
}

// maxEach is up to how many tracks with the same trouble at the same time get a
// finding each. Converter cards and the streams of network audio carry eight
// (chosen: common practice); more than that happened to the recorder, and
// is one finding without a track.
const maxEach = 8
