package session_test

import (
	"errors"
	"path/filepath"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/session"
)

func TestAdjust(t *testing.T) {
	store, err := catalog.Open(t.Context(), filepath.Join(t.TempDir(), "c.nightreel"))
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	db := func(v float64) *float64 { return &v }
	ses, err := store.SaveSession(t.Context(), catalog.Session{Desk: "foh", Items: []catalog.SessionItem{{Song: "A"}}, Inputs: []catalog.SessionInput{
		{DeskInput: 1, Channel: "Kick In", Track: 1, TrimDB: 1.25, Status: catalog.Playback, Why: "as built"},
		{DeskInput: 2, Channel: "Snare", Track: 2, Status: catalog.Playback, Why: "as built"},
		{DeskInput: 3, Channel: "Guest", Status: catalog.Missing, Why: "as built"},
	}})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name   string
		change session.Adjustment
	}{
		{"an input that is not there", session.Adjustment{DeskInput: 9, Status: catalog.Stage}},
		{"another item", session.Adjustment{Item: 1, DeskInput: 1, Status: catalog.Stage}},
		{"no track to play", session.Adjustment{DeskInput: 3, Status: catalog.Playback}},
		{"a trim beyond every limit", session.Adjustment{DeskInput: 1, TrimDB: db(-400)}},
		{"beyond 20 dB without a person's confirmation", session.Adjustment{DeskInput: 1, TrimDB: db(30)}},
		{"beyond 40 dB, even with a person's confirmation", session.Adjustment{DeskInput: 1, TrimDB: db(41), Beyond: true}},
		{"no status", session.Adjustment{DeskInput: 1, Status: "loud"}},
	} {
		var e *session.RequestError
		if _, err := session.Adjust(t.Context(), store, ses, []session.Adjustment{c.change}); !errors.As(err, &e) || e.Hint() == "" {
			t.Errorf("%s: %v", c.name, err)
		}
	}
	next, err := session.Adjust(t.Context(), store, ses, []session.Adjustment{{DeskInput: 1, TrimDB: db(1.25), Status: catalog.Playback}, {DeskInput: 2, TrimDB: db(-6)}})
	if err != nil {
		t.Fatal(err)
	}
	if next.Inputs[0] != ses.Inputs[0] {
		t.Errorf("an input that was not changed is %+v", next.Inputs[0])
	}
	if in := next.Inputs[1]; in.TrimDB != -6 || in.Why != "trim -6.0 dB by hand" {
		t.Errorf("a trim by hand is %+v", in)
	}
	if next, err = session.Adjust(t.Context(), store, next, []session.Adjustment{{DeskInput: 1, Status: catalog.Stage}}); err != nil || next.Inputs[0].Status != catalog.Stage {
		t.Fatalf("%+v, %v", next.Inputs[0], err)
	}
	if next, err = session.Adjust(t.Context(), store, next, []session.Adjustment{{DeskInput: 1, Status: catalog.Playback}}); err != nil || next.Inputs[0].Status != catalog.Playback || next.Inputs[0].TrimDB != 1.25 {
		t.Fatalf("back on playback: %+v, %v", next.Inputs[0], err)
	}
	if next, err = session.Adjust(t.Context(), store, next, []session.Adjustment{{DeskInput: 1, TrimDB: db(30), Beyond: true}}); err != nil || next.Inputs[0].TrimDB != 30 {
		t.Fatalf("30 dB that are meant: %+v, %v", next.Inputs[0], err)
	}
	if next, err = session.Adjust(t.Context(), store, next, []session.Adjustment{{DeskInput: 1, TrimDB: db(30)}}); err != nil {
		t.Fatalf("what was meant once, sent again by a form: %v", err)
	}
	if old, err := store.Session(t.Context(), ses.ID); err != nil || old.Inputs[1].TrimDB != 0 {
		t.Errorf("the session that was adjusted is %+v, %v", old.Inputs, err)
	}
}
