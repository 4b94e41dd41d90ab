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
func Learn(ctx context.Context, store *catalog.Store, show catalog.Date, known []catalog.Take) ([]string, error) {
	takes, err := store.Takes(ctx, catalog.TakeFilter{})
	if err != nil {
		return nil, err
	}
	doubtful := slices.DeleteFunc(songs.Doubtful(takes), func(d catalog.Date) bool { return d == show })
	slices.SortStableFunc(doubtful, func(a, b catalog.Date) int { return int(apart(a, show) - apart(b, show)) })
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
func Again(ctx context.Context, store *catalog.Store, show catalog.Date) (string, error) {
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
	var changes []string
	for _, c := range []struct {
		count int
		what  string
	}{{placed.Added, "new"}, {placed.Moved, "changed"}, {placed.Removed, "gone"}} {
		if c.count > 0 {
			changes = append(changes, fmt.Sprintf("%d %s", c.count, c.what))
		}
	}
	return fmt.Sprintf("%s: songs found anew, now that more is known: %s; what was placed by hand has not moved", show, strings.Join(changes, ", ")), Prepare(ctx, store, show)
}

// apart returns how long two shows are apart; a date that is none is farthest.
func apart(a, b catalog.Date) time.Duration {
	day := func(d catalog.Date) time.Time {
		t, _ := time.Parse(time.DateOnly, string(d))
		return t
	}
	return day(a).Sub(day(b)).Abs()
}
