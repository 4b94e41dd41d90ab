package songs_test

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/songs"
)

// threePlaced is the night of threeSongs with A, B and C placed.
func threePlaced(t *testing.T) (*catalog.Store, []catalog.Take) {
	t.Helper()
	store := openStore(t)
	threeSongs().store(t, store)
	saveSetList(t, store, night, []string{"A", "B", "C"})
	return store, place(t, store).Takes
}

func takesOf(t *testing.T, store *catalog.Store) []catalog.Take {
	t.Helper()
	takes, err := store.Takes(context.Background(), catalog.TakeFilter{Show: night})
	if err != nil {
		t.Fatal(err)
	}
	return takes
}

func TestSet(t *testing.T) {
	for _, tc := range []struct {
		name string
		req  songs.SetRequest
		keep int // index of the take whose id is kept; -1 for a new one
		want []string
	}{
		{"corrects a take", songs.SetRequest{Song: "b", StartS: 111.5, EndS: 199}, 1, []string{"A 30.0–90.0 music", "B 111.5–199.0 person", "C 230.0–300.0 music"}},
		{"adds a second take", songs.SetRequest{Song: "B", Nth: 2, StartS: 210, EndS: 220}, -1, []string{"A 30.0–90.0 music", "B 110.0–200.0 music", "B 210.0–220.0 person", "C 230.0–300.0 music"}},
		{"adds a new song", songs.SetRequest{Song: "D", StartS: 205, EndS: 225}, -1, []string{"A 30.0–90.0 music", "B 110.0–200.0 music", "D 205.0–225.0 person", "C 230.0–300.0 music"}},
		{"a finder's take gives way", songs.SetRequest{Song: "B", StartS: 100, EndS: 240}, 1, []string{"A 30.0–90.0 music", "B 100.0–240.0 person", "C 240.0–300.0 music"}},
		{"a finder's take of which less than half is left is removed", songs.SetRequest{Song: "B", StartS: 100, EndS: 280}, 1, []string{"A 30.0–90.0 music", "B 100.0–280.0 person"}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			store, before := threePlaced(t)
			tc.req.Show = night
			got, err := songs.Set(context.Background(), store, tc.req)
			if err != nil {
				t.Fatal(err)
			}
			wantTakes(t, takesOf(t, store), tc.want...)
			for i, b := range before {
				if (got.ID == b.ID) != (i == tc.keep) {
					t.Errorf("its id is %d, the takes had %v", got.ID, before)
				}
			}
			wantTakes(t, place(t, store).Takes, tc.want...)
		})
	}
}

func TestSetRefuses(t *testing.T) {
	ctx := context.Background()
	store, _ := threePlaced(t)
	if _, err := songs.Set(ctx, store, songs.SetRequest{Show: night, Song: "A", StartS: 30, EndS: 100}); err != nil {
		t.Fatal(err)
	}
	before := takesOf(t, store)
	for _, tc := range []struct {
		name string
		req  songs.SetRequest
	}{
		{"end before start", songs.SetRequest{Song: "B", StartS: 200, EndS: 110}},
		{"no length", songs.SetRequest{Song: "B", StartS: 110, EndS: 110}},
		{"before the recording", songs.SetRequest{Song: "B", StartS: -1, EndS: 110}},
		{"beyond the recording", songs.SetRequest{Song: "B", StartS: 110, EndS: 331}},
		{"no number", songs.SetRequest{Song: "B", StartS: math.NaN(), EndS: 110}},
		{"no end", songs.SetRequest{Song: "B", StartS: 110, EndS: math.Inf(1)}},
		{"no title", songs.SetRequest{Song: " ", StartS: 110, EndS: 120}},
		{"a third take of one", songs.SetRequest{Song: "B", Nth: 3, StartS: 110, EndS: 120}},
		{"a take that would go and is to be kept", songs.SetRequest{Song: "B", StartS: 110, EndS: 290, Keep: true}},
		{"over a person's take", songs.SetRequest{Song: "B", StartS: 90, EndS: 120}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			tc.req.Show = night
			if got, err := songs.Set(ctx, store, tc.req); err == nil {
				t.Errorf("placed %+v", got)
			}
			wantTakes(t, takesOf(t, store), lines(before)...)
		})
	}
	var overlap *songs.OverlapError
	if _, err := songs.Set(ctx, store, songs.SetRequest{Show: night, Song: "B", StartS: 90, EndS: 120}); !errors.As(err, &overlap) || len(overlap.With) != 1 || overlap.With[0].Song != "A" {
		t.Errorf("error is %v", err)
	}
	var notFound *catalog.NotFoundError
	if _, err := songs.Set(ctx, store, songs.SetRequest{Show: "2031-07-02", Song: "B", StartS: 90, EndS: 120}); !errors.As(err, &notFound) {
		t.Errorf("error is %v", err)
	}
}

// Takes with another take between them are not merged: the one between would
// vanish.
func TestTakesThatAreNoNeighboursAreNotMerged(t *testing.T) {
	store, takes := threePlaced(t)
	before := takesOf(t, store)
	_, err := songs.Merge(t.Context(), store, takes[2].ID, takes[0].ID)
	if err == nil || !strings.Contains(err.Error(), fmt.Sprintf("take %d of %q", takes[1].ID, takes[1].Song)) {
		t.Errorf("got %v, want an error that names the take between", err)
	}
	if now := takesOf(t, store); !slices.Equal(now, before) {
		t.Errorf("changed to %+v", now)
	}
}

func TestSplitMergeRename(t *testing.T) {
	ctx := context.Background()
	store, takes := threePlaced(t)
	parts, err := songs.Split(ctx, store, takes[1].ID, 150, "D")
	if err != nil {
		t.Fatal(err)
	}
	wantTakes(t, parts, "B 110.0–150.0 person", "D 150.0–200.0 person")
	if parts[0].ID != takes[1].ID || parts[1].ID == takes[1].ID {
		t.Errorf("ids are %d and %d", parts[0].ID, parts[1].ID)
	}
	want := []string{"A 30.0–90.0 music", "B 110.0–150.0 person", "D 150.0–200.0 person", "C 230.0–300.0 music"}
	wantTakes(t, takesOf(t, store), want...)
	wantTakes(t, place(t, store).Takes, want...)

	renamed, err := songs.Rename(ctx, store, parts[1].ID, "E")
	if err != nil {
		t.Fatal(err)
	}
	if renamed.ID != parts[1].ID || renamed.Song != "E" {
		t.Errorf("renamed is %+v", renamed)
	}
	one, err := songs.Merge(ctx, store, renamed.ID, parts[0].ID)
	if err != nil {
		t.Fatal(err)
	}
	if one.ID != parts[0].ID {
		t.Errorf("merged is take %d, want %d", one.ID, parts[0].ID)
	}
	wantTakes(t, takesOf(t, store), "A 30.0–90.0 music", "B 110.0–200.0 person", "C 230.0–300.0 music")

	for name, err := range map[string]error{
		"split outside":                     second(songs.Split(ctx, store, one.ID, 205, "")),
		"split at the start":                second(songs.Split(ctx, store, one.ID, 110, "")),
		"split a take that does not exist":  second(songs.Split(ctx, store, 99, 150, "")),
		"merge with itself":                 second(songs.Merge(ctx, store, one.ID, one.ID)),
		"merge a take that does not exist":  second(songs.Merge(ctx, store, one.ID, 0)),
		"rename to nothing":                 second(songs.Rename(ctx, store, one.ID, "")),
		"delete a take that does not exist": songs.Delete(ctx, store, 0),
	} {
		if err == nil {
			t.Errorf("%s: no error", name)
		}
	}
	wantTakes(t, takesOf(t, store), "A 30.0–90.0 music", "B 110.0–200.0 person", "C 230.0–300.0 music")
}

func second[T any](_ T, err error) error { return err }
