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
// No standard says when a channel is broken. The thresholds of a judge are a struct at
// the top of its file. Tags give the unit of each and its source: a standard, a
// measurement, or chosen. [Thresholds] lists them.
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

// judge finds the findings of some kinds.
type judge struct {
	name  string
	kinds []catalog.FindingKind
	find  func(*known) []catalog.Finding
}

// judges is every judge. None depends on another one's findings.
var judges = []judge{
	{"clipped", kinds(catalog.Clipped), clipped},
	{"flat tops", kinds(catalog.FlatTop), flatTops},
	{"offsets", kinds(catalog.DCOffset), offsets},
	{"silent", kinds(catalog.Dead, catalog.WentSilent), silent},
	{"dropouts", kinds(catalog.Dropout), dropouts},
	{"crackles", kinds(catalog.Crackle), crackles},
	{"hum", kinds(catalog.Hum), hum},
	{"swapped", kinds(catalog.Swapped), swapped},
	{"duplicates", kinds(catalog.Duplicate), duplicates},
	{"polarity", kinds(catalog.Polarity), polarity},
	{"gains", kinds(catalog.GainChange), gains},
	{"missing", kinds(catalog.MissingTrack), missing},
	{"short", kinds(catalog.ShortTrack), short},
	{"holes", kinds(catalog.ShortTrack), holes},
	{"unfinished", kinds(catalog.UnfinishedFile), unfinished},
}

func kinds(all ...catalog.FindingKind) []catalog.FindingKind { return all }

// Judge judges every recording of a show against its neighbours and stores the
// findings in place of those before; what was accepted stays accepted. If a judge
// panics, Judge stores the findings of all others and returns the kinds that it lacks.
// It returns [catalog.NotFoundError] for a show that is not there, and ctx's error
// when cancelled; findings are replaced one recording at a time.
func Judge(ctx context.Context, store *catalog.Store, near evidence.Neighbours, opt evidence.Options) (notJudged []catalog.NotJudged, err error) {
	sources, err := evidence.Open(ctx, store, near, opt)
	if err != nil {
		return nil, err
	}
	for _, source := range sources {
		found, failed, err := judgeRecording(ctx, source)
		if err != nil {
			return nil, err
		}
		for i := range failed {
			failed[i].Rig = source.Rig
		}
		notJudged = append(notJudged, failed...)
		if err := store.ReplaceFindings(ctx, source.ID, found); err != nil {
			return nil, err
		}
	}
	return notJudged, ctx.Err()
}

// judgeRecording judges one recording. If something panics that no judge does alone,
// such as reading the evidence, nothing is judged.
func judgeRecording(ctx context.Context, source *evidence.Source) (found []catalog.Finding, notJudged []catalog.NotJudged, err error) {
	err, failed := fenced(func() error {
		r, err := source.Read(ctx)
		if err != nil {
			return err
		}
		n := learn(r)
		if r, err = source.WithPast(ctx, r, n.doubtful()); err != nil {
			return err
		}
		found, notJudged = find(n.complete(r))
		return nil
	})
	if failed != nil {
		return nil, []catalog.NotJudged{failed.of(judge{name: "all", kinds: urgency})}, nil
	}
	return found, notJudged, err
}

// Find returns the findings about a recording in order of track, time and kind, and
// what judges that panicked did not judge. Both lack what the store fills in.
func Find(r *evidence.Recording) ([]catalog.Finding, []catalog.NotJudged) {
	return find(learn(r).complete(r))
}

func find(n *known) (found []catalog.Finding, notJudged []catalog.NotJudged) {
	for _, j := range judges {
		of, failed := fenced(func() []catalog.Finding { return j.find(n) })
		if failed != nil {
			notJudged = append(notJudged, failed.of(j))
		}
		found = append(found, of...)
	}
	found = unexplained(n, found)
	slices.SortStableFunc(found, func(a, b catalog.Finding) int {
		return cmp.Or(cmp.Compare(a.Track, b.Track), cmp.Compare(a.StartFrame, b.StartFrame), cmp.Compare(a.Kind, b.Kind))
	})
	for i := range found {
		found[i].Evidence = settled(found[i].Evidence)
	}
	return found, notJudged
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
