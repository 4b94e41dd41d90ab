package songs

import (
	"context"
	"fmt"
	"slices"

	"nightreel/catalog"
)

// State is a show's takes and deletions at one moment, for an undo.
type State struct {
	Takes   []catalog.Take
	Deleted []catalog.Dismissal
}

// StateOf returns the state of a show's songs.
func StateOf(ctx context.Context, store *catalog.Store, show catalog.ShowKey) (State, error) {
	takes, err := store.Takes(ctx, catalog.TakeFilter{Show: show})
	if err != nil {
		return State{}, err
	}
	deleted, err := store.Dismissed(ctx, show)
	return State{takes, deleted}, err
}

// SameFacts reports whether a person placed and deleted the same takes in both
// states. Takes that a finder placed do not count: they are results.
func (s State) SameFacts(o State) bool {
	persons := func(takes []catalog.Take) []catalog.Take {
		return slices.DeleteFunc(slices.Clone(takes), func(t catalog.Take) bool { return t.FoundBy != catalog.ByPerson })
	}
	return slices.EqualFunc(persons(s.Takes), persons(o.Takes), samePlace) && slices.Equal(s.Deleted, o.Deleted)
}

// StaleError reports that a show's takes are not the ones that an undo was made
// for.
type StaleError struct{ Show catalog.ShowKey }

func (e *StaleError) Error() string {
	return fmt.Sprintf("show %s: somebody else changed its songs in the meantime; nothing was undone", e.Show)
}

// Hint says what to do about it.
func (e *StaleError) Hint() string { return "look at the songs as they are now and correct them" }

// Restore undoes an edit that led from state from to state to. If a person
// changed the show's takes since, it fails with *[StaleError] and changes
// nothing. A take that was deleted comes back with a new id. Takes that a finder
// placed return as they were, until the show is refreshed. Restore returns the
// new state.
func Restore(ctx context.Context, store *catalog.Store, show catalog.ShowKey, from, to State) (State, error) {
	now, err := StateOf(ctx, store, show)
	if err != nil {
		return State{}, err
	}
	if !now.SameFacts(from) {
		return State{}, &StaleError{Show: show}
	}
	done, err := store.RestoreTakes(ctx, show, now.Takes, to.Takes, to.Deleted)
	if err != nil {
		return State{}, err
	}
	if !done {
		return State{}, &StaleError{Show: show}
	}
	return StateOf(ctx, store, show)
}

func samePlace(a, b catalog.Take) bool {
	return a.Song == b.Song && a.RecordingID == b.RecordingID && a.StartFrame == b.StartFrame && a.EndFrame == b.EndFrame && a.FoundBy == b.FoundBy
}
