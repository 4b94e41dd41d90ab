package rounds

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"nightreel/catalog"
	"nightreel/internal/songs"
)

// mostAgain is how many doubtful nights are looked at when something new is
// known: the nearest ones, so that it costs the same on the third night of a
// tour and on the sixtieth.
const mostAgain = 4

// Learn places other nights' songs again that the finder was not sure of, now
// that more is known: a new night, where known is nil, or some takes that a
// person corrected. What a person placed stays where it is, here as everywhere.
// It returns a sentence for each night that changed.
func Learn(ctx context.Context, store *catalog.Store, show catalog.ShowKey, known []catalog.Take) ([]string, error) {
	takes, err := store.Takes(ctx, catalog.TakeFilter{})
	if err != nil {
		return nil, err
	}
	doubtful := slices.DeleteFunc(songs.Doubtful(takes), func(d catalog.ShowKey) bool { return d == show })
	slices.SortStableFunc(doubtful, func(a, b catalog.ShowKey) int { return int(apart(a, show) - apart(b, show)) })
	said := []string{}
	for _, d := range doubtful[:min(len(doubtful), mostAgain)] {
		if known != nil {
			concerned, err := songs.Concerns(ctx, store, d, known)
			if err != nil {
				return said, err
			}
			if !concerned {
				continue
			}
		}
		sentence, err := Again(ctx, store, d)
		if err != nil {
			return said, err
		}
		if sentence != "" {
			said = append(said, sentence)
		}
	}
	return said, nil
}

// Again places a show's songs again and, if any changed, judges its channels
// again. It returns a sentence about what changed, "" if nothing did.
func Again(ctx context.Context, store *catalog.Store, show catalog.ShowKey) (string, error) {
	before, err := store.Takes(ctx, catalog.TakeFilter{Show: show})
	if err != nil {
		return "", err
	}
	placed, err := songs.Place(ctx, store, show)
	if err != nil {
		return "", err
	}
	if placed.Added+placed.Moved+placed.Removed == 0 {
		return "", nil
	}
	if err := Rejudge(ctx, store, show); err != nil {
		return "", err
	}
	return fmt.Sprintf("%s: songs found anew, now that more is known: %s; what was placed by hand has not moved", show, changes(before, placed.Takes)), Prepare(ctx, store, show)
}

// mostNamed is how many songs are named of each kind of change; the rest is counted.
const mostNamed = 5

// changes says which songs of a show are new, changed and gone.
func changes(before, after []catalog.Take) string {
	byID := func(all []catalog.Take, id catalog.TakeID) int {
		return slices.IndexFunc(all, func(t catalog.Take) bool { return t.ID == id })
	}
	var added, moved, gone []string
	for _, t := range after {
		i := byID(before, t.ID)
		switch {
		case i < 0:
			added = append(added, at(t))
		case before[i].Song != t.Song:
			moved = append(moved, at(t)+", before "+before[i].Song)
		case before[i].StartFrame != t.StartFrame || before[i].EndFrame != t.EndFrame || before[i].RecordingID != t.RecordingID:
			moved = append(moved, fmt.Sprintf("%s, before at %s", at(t), clock(before[i].StartS())))
		case before[i].FoundBy != t.FoundBy || before[i].Confidence != t.Confidence:
			moved = append(moved, fmt.Sprintf("%s, %.0f %% sure, before %.0f", at(t), 100*t.Confidence, 100*before[i].Confidence))
		}
	}
	for _, t := range before {
		if byID(after, t.ID) < 0 {
			gone = append(gone, at(t))
		}
	}
	var said []string
	for _, c := range []struct {
		what string
		of   []string
	}{{"new", added}, {"changed", moved}, {"gone", gone}} {
		if len(c.of) == 0 {
			continue
		}
		names := c.of[:min(len(c.of), mostNamed)]
		text := fmt.Sprintf("%d %s (%s", len(c.of), c.what, strings.Join(names, "; "))
		if more := len(c.of) - len(names); more > 0 {
			text += fmt.Sprintf("; and %d more", more)
		}
		said = append(said, text+")")
	}
	return strings.Join(said, ", ")
}

// at names a take by its song and its place in the night.
func at(t catalog.Take) string { return t.Song + " at " + clock(t.StartS()) }

// clock writes seconds as h:mm:ss, cut off as a counter shows them.
func clock(seconds float64) string {
	n := int64(seconds)
	return fmt.Sprintf("%d:%02d:%02d", n/3600, n/60%60, n%60)
}

// apart returns how long two shows are apart; a date that is none is farthest.
func apart(a, b catalog.ShowKey) time.Duration {
	day := func(d catalog.ShowKey) time.Time {
		t, _ := time.Parse(time.DateOnly, string(d))
		return t
	}
	return day(a).Sub(day(b)).Abs()
}
