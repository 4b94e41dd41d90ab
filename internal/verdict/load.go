package verdict

import (
	"context"
	"slices"

	"nightreel/catalog"
	"nightreel/internal/refresh"
)

// Loaded is a verdict with how much was read of each recording.
type Loaded struct {
	Verdict
	Reads map[catalog.RecordingID]catalog.ReadState `json:"-"`
}

// Load returns the verdicts on shows, in their order. If working is set, a refresh
// is running, and what is not up to date is being worked out.
func Load(ctx context.Context, store *catalog.Store, shows []catalog.Show, working bool) ([]Loaded, error) {
	open, err := store.OpenSpans(ctx, only(shows))
	if err != nil {
		return nil, err
	}
	return LoadWith(ctx, store, shows, open, working)
}

// LoadWith is [Load] for a caller that has the open findings already.
func LoadWith(ctx context.Context, store *catalog.Store, shows []catalog.Show, open []catalog.OpenSpan, working bool) ([]Loaded, error) {
	reads, err := store.ReadStates(ctx, only(shows))
	if err != nil {
		return nil, err
	}
	changed, err := store.ChangedFiles(ctx, only(shows))
	if err != nil {
		return nil, err
	}
	stale, err := refresh.Stale(ctx, store)
	if err != nil {
		return nil, err
	}
	notJudged, err := refresh.NotJudged(ctx, store)
	if err != nil {
		return nil, err
	}
	kinds := map[catalog.RecordingID][]catalog.FindingKind{}
	for _, f := range open {
		kinds[f.Recording] = append(kinds[f.Recording], f.Kind)
	}
	files := map[catalog.RecordingID]int{}
	for _, c := range changed {
		files[c.Recording]++
	}
	all := make([]Loaded, len(shows))
	for i, sh := range shows {
		judged := !slices.Contains(stale, sh.Key)
		in := Input{Judged: judged, Working: working && !judged, NotJudged: notJudged[sh.Key]}
		all[i].Reads = map[catalog.RecordingID]catalog.ReadState{}
		for _, r := range sh.Recordings {
			all[i].Reads[r.ID] = reads[r.ID]
			in.Recordings = append(in.Recordings, Recording{Rig: r.Rig, Read: reads[r.ID], Open: kinds[r.ID], Changed: files[r.ID]})
		}
		all[i].Verdict = Of(in)
	}
	return all, nil
}

// only returns the address of the only show, "" for several.
func only(shows []catalog.Show) catalog.ShowKey {
	if len(shows) == 1 {
		return shows[0].Key
	}
	return ""
}
