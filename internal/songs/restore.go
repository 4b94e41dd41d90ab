package songs

import (
	"context"
	"fmt"
	"slices"

	"nightreel/catalog"
)

// StaleError says that a show's takes are not those that an undo was for.
type StaleError struct{ Show catalog.ShowKey }

func (e *StaleError) Error() string {
	return fmt.Sprintf("show %s: its songs were changed elsewhere in the meantime; nothing was undone", e.Show)
}

// Hint says what to do about it.
func (e *StaleError) Hint() string { return "look at the songs as they are now and correct them" }

// Restore makes a show's takes what they were: it undoes an edit that led from
// the takes in to to those in from, both as [catalog.Store.Takes] gave them.
// Where the show's takes are not those in from any more it fails with
// *[StaleError]. A take that is gone comes back with a new id; one that a person
// deleted as a person's, since only a person's word outweighs the deletion. It
// returns the takes as they are now.
func Restore(ctx context.Context, store *catalog.Store, date catalog.ShowKey, from, to []catalog.Take) ([]catalog.Take, error) {
	now, err := store.Takes(ctx, catalog.TakeFilter{Show: date})
	if err != nil {
		return nil, err
	}
	if !sameTakes(now, from) {
		return nil, &StaleError{Show: date}
	}
	deleted, err := store.Dismissed(ctx, date)
	if err != nil {
		return nil, err
	}
	there := map[catalog.TakeID]catalog.Take{}
	for _, t := range now {
		there[t.ID] = t
	}
	save := []catalog.Take{}
	for _, t := range to {
		old, ok := there[t.ID]
		delete(there, t.ID)
		if ok && samePlace(old, t) {
			continue
		}
		if !ok {
			t.ID = 0
			if slices.ContainsFunc(deleted, func(d catalog.Dismissal) bool { return forbids(d, t.Song, t.FoundBy, t.StartS(), t.EndS()) }) {
				t.FoundBy, t.Confidence = catalog.ByPerson, 1
			}
		}
		save = append(save, t)
	}
	remove := []catalog.TakeID{}
	for id := range there {
		remove = append(remove, id)
	}
	if err := store.EditTakes(ctx, remove, save); err != nil {
		return nil, err
	}
	return store.Takes(ctx, catalog.TakeFilter{Show: date})
}

// sameTakes tells whether two lists hold the same takes at the same places.
func sameTakes(a, b []catalog.Take) bool {
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		if a[i].ID != b[i].ID || !samePlace(a[i], b[i]) {
			return false
		}
	}
	return true
}

func samePlace(a, b catalog.Take) bool {
	return a.Song == b.Song && a.RecordingID == b.RecordingID && a.StartFrame == b.StartFrame && a.EndFrame == b.EndFrame && a.FoundBy == b.FoundBy
}
