package catalog

import (
	"bytes"
	"testing"
)

func TestDerived(t *testing.T) {
	s := testStore(t)
	ctx := t.Context()
	r := addRecording(t, s, "2031-05-02", MainRig, 2)
	tracks := must(s.Tracks(ctx, TrackFilter{Recording: r.ID}))(t)
	key := DerivedKey{Recording: r.ID, Kind: SpanFigures, Start: 0, End: 4800}
	ask := func() ([]byte, Edition) {
		t.Helper()
		data, edition, err := s.Derived(ctx, key)
		ok(t, err)
		return data, edition
	}
	data, before := ask()
	if data != nil {
		t.Fatalf("%q before anything was put", data)
	}
	ok(t, s.PutDerived(ctx, key, before, []byte("one")))
	if data, _ := ask(); string(data) != "one" {
		t.Errorf("%q, want what was put", data)
	}
	ok(t, s.PutParts(ctx, []Part{{Track: tracks[0].ID, Part: 0, Data: []byte("x")}}, nil))
	data, edition := ask()
	if data != nil || edition == before {
		t.Errorf("%q of edition %d is given out after the parts changed", data, edition)
	}
	ok(t, s.PutDerived(ctx, key, before, []byte("late"))) // derived from the old parts
	if data, _ := ask(); data != nil {
		t.Errorf("%q, worked out of older parts, was kept", data)
	}
	ok(t, s.PutDerived(ctx, key, edition, []byte("two")))
	ok(t, s.DropParts(ctx, PartFilter{Track: tracks[0].ID}, nil, 0))
	if data, _ := ask(); data != nil {
		t.Errorf("%q is given out after parts were dropped", data)
	}
	_, edition = ask()
	for i := range int64(mostDerived + 50) {
		ok(t, s.PutDerived(ctx, DerivedKey{r.ID, SpanFigures, i, i + 1}, edition, []byte{byte(i)}))
	}
	var n int
	ok(t, s.db.QueryRowContext(ctx, "SELECT count(*) FROM derived").Scan(&n))
	if n != mostDerived {
		t.Errorf("%d rows are kept, want %d", n, mostDerived)
	}
	last := DerivedKey{r.ID, SpanFigures, mostDerived + 49, mostDerived + 50}
	if data, _, err := s.Derived(ctx, last); err != nil || !bytes.Equal(data, []byte{byte((mostDerived + 49) % 256)}) {
		t.Errorf("the newest is %v, %v", data, err)
	}
	ok(t, s.DeleteRecording(ctx, r.ID)) // deletes parts, editions and derived values, too
	ok(t, s.Check(ctx))
}

func TestWatcher(t *testing.T) {
	s := testStore(t)
	ctx := t.Context()
	w := must(s.Watch(ctx))(t)
	defer w.Close()
	before := must(w.Version(ctx))(t)
	must(s.Shows(ctx, ShowFilter{}))(t)
	if v := must(w.Version(ctx))(t); v != before {
		t.Error("reading changed the version")
	}
	must(s.EnsureShow(ctx, Show{Date: "2031-05-02"}))(t)
	mine := must(w.Version(ctx))(t)
	if mine == before {
		t.Error("a write of this process was not seen")
	}
	r := addRecording(t, s, "2031-05-02", MainRig, 1)
	mine = must(w.Version(ctx))(t)
	ok(t, s.PutDerived(ctx, DerivedKey{Recording: r.ID, Kind: Strips, End: 1}, 0, []byte("x")))
	ok(t, s.SavePlaybackState(ctx, PlaybackState{Session: must(s.SaveSession(ctx, Session{}))(t).ID}))
	mine++ // the session
	if v := must(w.Version(ctx))(t); v != mine {
		t.Errorf("version %d after what nobody sees, want %d", v, mine)
	}
	other := reopen(t, s.Path())
	defer other.Close()
	must(other.AddNote(ctx, "2031-05-02", "new rig"))(t)
	if must(w.Version(ctx))(t) == mine {
		t.Error("another's write was not seen")
	}
}
