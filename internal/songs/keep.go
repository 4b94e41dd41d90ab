package songs

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"nightreel/catalog"
	"nightreel/internal/stats"
)

// store replaces the show's takes by the found ones, unless the takes changed
// meanwhile.
func (n *night) store(ctx context.Context, store *catalog.Store) (done bool, err error) {
	found := slices.DeleteFunc(slices.Clone(n.found), func(c candidate) bool { return c.by == catalog.ByPerson })
	slices.SortStableFunc(found, func(a, b candidate) int { return cmp.Compare(a.start, b.start) })
	remove, save := n.difference(found)
	for _, t := range save {
		if t.ID == 0 {
			n.result.Added++
		} else {
			n.result.Moved++
		}
	}
	n.result.Removed = len(remove)
	if len(remove)+len(save) > 0 {
		if done, err := store.EditTakesFrom(ctx, n.show, n.before, remove, save); err != nil || !done {
			return false, err
		}
	}
	n.result.Takes, err = store.Takes(ctx, catalog.TakeFilter{Show: n.show})
	return err == nil, err
}

// difference matches found takes with existing ones. The n-th take of a song
// is the same take; a take that now has a title is the numbered take that it
// overlaps.
func (n *night) difference(found []candidate) (remove []catalog.TakeID, save []catalog.Take) {
	old := slices.DeleteFunc(slices.Clone(n.before), func(t catalog.Take) bool { return t.FoundBy == catalog.ByPerson })
	takes := make([]catalog.Take, len(found))
	claim := func(i int, same func(t catalog.Take) bool) {
		if takes[i].ID != 0 {
			return
		}
		if k := slices.IndexFunc(old, same); k >= 0 {
			takes[i].ID = old[k].ID
			old = slices.Delete(old, k, k+1)
		}
	}
	overlaps := func(c candidate, t catalog.Take) bool {
		return t.RecordingID == n.ref.ID && t.StartFrame < c.end && c.start < t.EndFrame
	}
	// If one of several takes of a song is gone, the others must keep their
	// identity. So takes that did not move are matched first.
	for i, c := range found {
		claim(i, func(t catalog.Take) bool { return catalog.SameName(t.Song, c.title) && overlaps(c, t) })
	}
	for i, c := range found {
		claim(i, func(t catalog.Take) bool { return catalog.SameName(t.Song, c.title) })
	}
	for i, c := range found {
		claim(i, func(t catalog.Take) bool { return isNumbered(t.Song, n.show) && overlaps(c, t) })
	}
	for _, t := range old {
		remove = append(remove, t.ID)
	}
	for i, c := range found {
		t := catalog.Take{ID: takes[i].ID, Show: n.show, Song: c.title, RecordingID: n.ref.ID, StartFrame: c.start, EndFrame: c.end, FoundBy: c.by, Confidence: stats.Round(c.confidence, 1e6)}
		unchanged := slices.ContainsFunc(n.before, func(b catalog.Take) bool {
			return b.ID == t.ID && b.Song == t.Song && b.RecordingID == t.RecordingID && b.StartFrame == t.StartFrame && b.EndFrame == t.EndFrame && b.FoundBy == t.FoundBy && b.Confidence == t.Confidence
		})
		if !unchanged {
			save = append(save, t)
		}
	}
	return remove, save
}

// numberedTitle returns the placeholder title of an unknown song. It contains
// the show, because the third songs of two nights need not be the same.
func numberedTitle(number int, show catalog.ShowKey) string {
	return fmt.Sprintf("Song %d, %s", number, show)
}

func isNumbered(title string, show catalog.ShowKey) bool {
	return strings.HasPrefix(title, "Song ") && strings.HasSuffix(title, ", "+string(show))
}
