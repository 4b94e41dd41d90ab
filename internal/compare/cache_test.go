package compare_test

import (
	"database/sql"
	"encoding/json"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/compare"
)

// TestKeptFigures: cached figures equal computed ones, and damage to the cache
// costs time and nothing else.
func TestKeptFigures(t *testing.T) {
	store := openStore(t)
	for i, date := range []catalog.ShowKey{"2031-05-02", "2031-05-03"} {
		r := addRecording(t, store, date, "main", 0, []string{"Kick In", "Snare"}, [][]byte{noise(uint64(i), 70), noise(9, 66)})
		addTake(t, store, date, r, "Salt on the Wire", 3, 68)
	}
	ask := func() string {
		levels, err := compare.Levels(t.Context(), store, compare.Filter{})
		if err != nil {
			t.Fatal(err)
		}
		if len(levels) == 0 {
			t.Fatal("no levels")
		}
		text, err := json.Marshal(levels)
		if err != nil {
			t.Fatal(err)
		}
		return string(text)
	}
	fresh := ask()
	if kept := ask(); kept != fresh {
		t.Errorf("cached figures differ:\n%s\n%s", kept, fresh)
	}
	takes, err := store.Takes(t.Context(), catalog.TakeFilter{})
	if err != nil {
		t.Fatal(err)
	}
	for _, take := range takes {
		key := catalog.DerivedKey{Recording: take.RecordingID, Kind: catalog.SpanFigures, Start: take.StartFrame, End: take.EndFrame}
		_, edition, err := store.Derived(t.Context(), key)
		if err != nil {
			t.Fatal(err)
		}
		if err := store.PutDerived(t.Context(), key, edition, []byte("damaged")); err != nil {
			t.Fatal(err)
		}
	}
	if again := ask(); again != fresh {
		t.Error("damage to the cache changed the figures")
	}
	// Every row of the table can be computed again.
	db, err := sql.Open("sqlite3", "file:"+store.Path())
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	gone, err := db.ExecContext(t.Context(), "DELETE FROM derived")
	if err != nil {
		t.Fatal(err)
	}
	if n, err := gone.RowsAffected(); err != nil || n == 0 {
		t.Fatalf("%d rows are cached, %v", n, err)
	}
	if again := ask(); again != fresh {
		t.Error("without the cache the figures differ")
	}
}
