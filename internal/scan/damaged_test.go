package scan

import (
	"testing"

	"nightreel/catalog"
	"nightreel/internal/rigs"
)

// TestADamagedRecordDoesNotStopTheNight spoils one record in the catalog: the
// next scan goes on without that track, names it and says what to do, and a
// scan that checks measures it again.
func TestADamagedRecordDoesNotStopTheNight(t *testing.T) {
	store, evening := open(t), at("2031-05-02", 21, 0)
	end := int64(0.4 * minute)
	dir := lay(t, []file{
		{"2031-05-02 a/main/01 a.wav", take{to: end, track: 1, starts: evening}},
		{"2031-05-02 a/main/02 b.wav", take{to: end, track: 2, starts: evening}},
		{"2031-05-02 a/backup/01 a.wav", take{to: end, track: 1, starts: evening}},
	})
	run(t, store, Options{}, dir)
	whole := content(t, store)
	tracks, err := store.Tracks(t.Context(), catalog.TrackFilter{Rig: "main"})
	if err != nil {
		t.Fatal(err)
	}
	if err := store.PutParts(t.Context(), []catalog.Part{{Track: tracks[1].ID, Part: 0, Data: []byte("spoiled")}}, nil); err != nil {
		t.Fatal(err)
	}

	layIn(t, dir, []file{{"2031-05-02 a/rig c/01 a.wav", take{to: end, track: 1, starts: evening}}})
	run(t, store, Options{}, dir)
	if _, err := rigs.Settle(t.Context(), store, "2031-05-02"); err != nil {
		t.Error(err)
	}
	recordings, err := store.Recordings(t.Context(), catalog.RecordingFilter{})
	if err != nil || len(recordings) != 3 {
		t.Errorf("%d recordings, %v", len(recordings), err)
	}

	if r := run(t, store, Options{Check: true}, dir); len(r.Problems) != 0 {
		t.Errorf("problems with the check: %+v", r.Problems)
	}
	fresh := open(t)
	run(t, fresh, Options{}, dir)
	if len(content(t, fresh)) <= len(whole) {
		t.Fatal("the third rig is not there")
	}
	same(t, "measured again", content(t, store), content(t, fresh))
}
