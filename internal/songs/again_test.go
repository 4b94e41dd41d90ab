package songs_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/rounds"
	"nightreel/internal/songs"
)

// TestLearn: a night without a set list has numbers for titles until a person
// names the songs of another one. What the person placed on it before stays.
func TestLearn(t *testing.T) {
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
		if p, err := songs.Place(ctx, store, d); err != nil || len(p.Takes) != 4 || len(songs.Doubtful(p.Takes)) != 1 {
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
	var corrected []catalog.Take
	for i, s := range spans {
		k, err := songs.Set(ctx, store, songs.SetRequest{Show: first, Song: fmt.Sprintf("Tune %c", 'A'+i), StartS: float64(s[0]), EndS: float64(s[1])})
		if err != nil {
			t.Fatal(err)
		}
		corrected = append(corrected, k)
	}

	strange, _ := bandNight("2031-06-20", 1, newTune(rng, 150))
	strange.store(t, store)
	other, err := songs.Set(ctx, store, songs.SetRequest{Show: "2031-06-20", Song: "Another", StartS: 30, EndS: 180})
	if err != nil {
		t.Fatal(err)
	}
	if said, err := rounds.Learn(ctx, store, "2031-06-20", []catalog.Take{other}); err != nil || len(said) > 0 {
		t.Errorf("from a song that nobody plays there was learned: %v, %v", said, err)
	}
	said, err := rounds.Learn(ctx, store, first, corrected)
	if err != nil {
		t.Fatal(err)
	}
	if len(said) != 1 {
		t.Errorf("said %q", said)
	}
	takes, err = store.Takes(ctx, catalog.TakeFilter{Show: second})
	if err != nil {
		t.Fatal(err)
	}
	if got := titles(takes); got != "Tune D, A title of mine, Tune B, Tune A" {
		t.Errorf("found %s", got)
	}
	if !slices.Contains(takes, mine) {
		t.Errorf("%+v is not among %+v", mine, takes)
	}
	if said, err := rounds.Learn(ctx, store, first, corrected); err != nil || len(said) > 0 {
		t.Errorf("learned twice: %v, %v", said, err)
	}
}

// TestRestoreFound: takes of a finder that an edit drove out come back as the
// finder's, and one that a person deleted as the person's.
func TestRestoreFound(t *testing.T) {
	ctx := context.Background()
	rng := rand.New(rand.NewPCG(2, 9))
	store := openStore(t)
	const date = catalog.ShowKey("2031-06-10")
	n, spans := bandNight(date, 1, newTune(rng, 150), newTune(rng, 140), newTune(rng, 160))
	n.store(t, store)
	p, err := songs.Place(ctx, store, date)
	if err != nil || len(p.Takes) != 3 {
		t.Fatalf("%v, %s", err, titles(p.Takes))
	}
	foundBy := func(takes []catalog.Take) (all []catalog.FoundBy) {
		for _, k := range takes {
			all = append(all, k.FoundBy)
		}
		return all
	}
	if _, err := songs.Set(ctx, store, songs.SetRequest{Show: date, Song: "All in one", StartS: float64(spans[0][0]), EndS: float64(spans[2][1])}); err != nil {
		t.Fatal(err)
	}
	after, err := store.Takes(ctx, catalog.TakeFilter{Show: date})
	if err != nil || len(after) != 1 {
		t.Fatalf("%v, %s", err, titles(after))
	}
	back, err := songs.Restore(ctx, store, date, after, p.Takes)
	if err != nil {
		t.Fatal(err)
	}
	if got := foundBy(back); !slices.Equal(got, []catalog.FoundBy{catalog.ByMusic, catalog.ByMusic, catalog.ByMusic}) {
		t.Errorf("after the edit was undone: %v", got)
	}
	if err := songs.Delete(ctx, store, back[1].ID); err != nil {
		t.Fatal(err)
	}
	after, err = store.Takes(ctx, catalog.TakeFilter{Show: date})
	if err != nil {
		t.Fatal(err)
	}
	back, err = songs.Restore(ctx, store, date, after, back)
	if err != nil {
		t.Fatal(err)
	}
	if got := foundBy(back); !slices.Equal(got, []catalog.FoundBy{catalog.ByMusic, catalog.ByPerson, catalog.ByMusic}) {
		t.Errorf("after the deletion was undone: %v", got)
	}
}
