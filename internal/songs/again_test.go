package songs_test

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/songs"
)

// Titles that a person gives one night name the numbered songs of other nights,
// and takes that the person placed there before stay.
func TestOtherNightsLearnFromAPersonsTakes(t *testing.T) {
	ctx := context.Background()
	rng := rand.New(rand.NewPCG(7, 9))
	store := openStore(t)
	tunes := []tune{newTune(rng, 150), newTune(rng, 140), newTune(rng, 160), newTune(rng, 150)}
	const first, second = catalog.ShowKey("2031-06-10"), catalog.ShowKey("2031-06-12")
	n, spans := bandNight(first, 1, tunes...)
	n.store(t, store)
	n, _ = bandNight(second, 1.04, tunes[3], tunes[2], tunes[1], tunes[0])
	n.store(t, store)
	for _, d := range []catalog.ShowKey{first, second} {
		if p, err := placeShow(ctx, store, d); err != nil || len(p.Takes) != 4 {
			t.Fatalf("%s: %v, %s", d, err, titles(p.Takes))
		}
	}
	takes, err := store.Takes(ctx, catalog.TakeFilter{Show: second})
	if err != nil {
		t.Fatal(err)
	}
	mine, err := songs.Rename(ctx, store, takes[1].ID, "A title of mine")
	if err != nil {
		t.Fatal(err)
	}
	for i, s := range spans {
		if _, err := songs.Set(ctx, store, songs.SetRequest{Show: first, Song: fmt.Sprintf("Tune %c", 'A'+i), StartS: float64(s[0]), EndS: float64(s[1])}); err != nil {
			t.Fatal(err)
		}
	}
	p, err := placeShow(ctx, store, second)
	if err != nil {
		t.Fatal(err)
	}
	if got := titles(p.Takes); got != "Tune D, A title of mine, Tune B, Tune A" {
		t.Errorf("found %s", got)
	}
	if !slices.Contains(p.Takes, mine) {
		t.Errorf("%+v is not among %+v", mine, p.Takes)
	}
}

// Takes that a finder placed are no evidence, neither for other nights nor for
// the next placing: placing the nights again and again changes nothing.
func TestPlacingAgainInAnyOrderChangesNothing(t *testing.T) {
	ctx := context.Background()
	rng := rand.New(rand.NewPCG(8, 3))
	store := openStore(t)
	tunes := []tune{newTune(rng, 150), newTune(rng, 140), newTune(rng, 160)}
	shows := []catalog.ShowKey{"2031-06-10", "2031-06-12", "2031-06-13"}
	for i, show := range shows {
		n, _ := bandNight(show, 1+0.03*float64(i), tunes[i], tunes[(i+1)%3], tunes[(i+2)%3])
		n.store(t, store)
		if i < 2 {
			saveSetList(t, store, show, []string{"A", "B", "C"}) // in the wrong order on the second night
		}
	}
	var want [3][]string
	for round := range 3 {
		for _, i := range rng.Perm(3) {
			p, err := placeShow(ctx, store, shows[i])
			if err != nil {
				t.Fatal(err)
			}
			if round == 0 {
				want[i] = lines(p.Takes)
			} else if got := lines(p.Takes); !slices.Equal(got, want[i]) {
				t.Errorf("round %d: %s has %v, had %v", round, shows[i], got, want[i])
			}
		}
	}
}

// Undoing an edit brings back the takes that it removed. Undoing a deletion
// brings back the take and removes the deletion.
func TestRestoreBringsBackWhatAFinderPlaced(t *testing.T) {
	ctx := context.Background()
	rng := rand.New(rand.NewPCG(2, 9))
	store := openStore(t)
	const date = catalog.ShowKey("2031-06-10")
	n, spans := bandNight(date, 1, newTune(rng, 150), newTune(rng, 140), newTune(rng, 160))
	n.store(t, store)
	state := func() songs.State {
		t.Helper()
		s, err := songs.StateOf(ctx, store, date)
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	restore := func(from, to songs.State) {
		t.Helper()
		if _, err := songs.Restore(ctx, store, date, from, to); err != nil {
			t.Fatal(err)
		}
		if got := lines(state().Takes); !slices.Equal(got, lines(to.Takes)) || len(state().Deleted) != len(to.Deleted) {
			t.Errorf("after the undo %v, want %v", got, lines(to.Takes))
		}
		if p, err := placeShow(ctx, store, date); err != nil || !slices.Equal(lines(p.Takes), lines(to.Takes)) {
			t.Errorf("placed again after the undo: %v, %v, want %v", lines(p.Takes), err, lines(to.Takes))
		}
	}
	if p, err := placeShow(ctx, store, date); err != nil || len(p.Takes) != 3 {
		t.Fatalf("%v, %s", err, titles(p.Takes))
	}
	before := state()
	if _, err := songs.Set(ctx, store, songs.SetRequest{Show: date, Song: "All in one", StartS: float64(spans[0][0]), EndS: float64(spans[2][1])}); err != nil {
		t.Fatal(err)
	}
	if got := state().Takes; len(got) != 1 {
		t.Fatalf("after the edit: %s", titles(got))
	}
	restore(state(), before)
	before = state()
	if err := songs.Delete(ctx, store, before.Takes[1].ID); err != nil {
		t.Fatal(err)
	}
	after := state()
	restore(after, before)
	var stale *songs.StaleError
	if _, err := songs.Restore(ctx, store, date, after, before); !errors.As(err, &stale) {
		t.Errorf("undoing a stale edit: error is %v", err)
	}
}
