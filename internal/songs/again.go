package songs

import (
	"context"
	"slices"

	"nightreel/catalog"
)

// sure is the confidence from which a take is not doubted.
const sure = 0.9

// Doubtful returns the shows with takes that the finder is not sure of, of a
// tour's takes in order of show: they are worth placing again when more is
// known.
func Doubtful(takes []catalog.Take) []catalog.ShowKey {
	var shows []catalog.ShowKey
	for _, t := range takes {
		if t.FoundBy == catalog.ByMusic && t.Confidence < sure && !slices.Contains(shows, t.Show) {
			shows = append(shows, t.Show)
		}
	}
	return shows
}

// Concerns tells whether a show has doubtful takes that run like one of some
// known takes, so that what is known of these may change what was found. It
// compares takes alone, so it is cheap beside [Place].
func Concerns(ctx context.Context, store *catalog.Store, date catalog.ShowKey, known []catalog.Take) (bool, error) {
	takes, err := store.Takes(ctx, catalog.TakeFilter{Show: date})
	if err != nil {
		return false, err
	}
	takes = slices.DeleteFunc(takes, func(t catalog.Take) bool { return t.FoundBy != catalog.ByMusic || t.Confidence >= sure })
	if len(takes) == 0 {
		return false, nil
	}
	all, err := store.Recordings(ctx, catalog.RecordingFilter{})
	if err != nil {
		return false, err
	}
	bands := map[catalog.RecordingID][]chroma{}
	plays := func(t catalog.Take) ([]chroma, error) {
		band, loaded := bands[t.RecordingID]
		for _, r := range all {
			if r.ID == t.RecordingID && !loaded {
				if band, err = bandOf(ctx, store, r); err != nil {
					return nil, err
				}
				bands[r.ID] = band
			}
		}
		to := min(int(t.EndS()), len(band))
		return band[min(int(t.StartS()), to):to], nil
	}
	for _, t := range takes {
		a, err := plays(t)
		if err != nil {
			return false, err
		}
		for _, k := range known {
			b, err := plays(k)
			if err != nil {
				return false, err
			}
			if alike(a, b) > sameSong {
				return true, nil
			}
		}
	}
	return false, nil
}
