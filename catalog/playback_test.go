package catalog

import (
	"errors"
	"path/filepath"
	"reflect"
	"testing"
	"time"
)

func fedSession(t *testing.T, s *Store) Session {
	t.Helper()
	return must(s.SaveSession(t.Context(), Session{Desk: "foh", Inputs: []SessionInput{
		{DeskInput: 1, Channel: "Kick In", Status: Playback}, {DeskInput: 2, Channel: "Snare Top", Status: Stage},
		{DeskInput: 3, Channel: "Lead Vocal", Status: Playback}, {Item: 1, DeskInput: 1, Channel: "Kick In", Status: Playback},
	}}))(t)
}

func TestPlaybackState(t *testing.T) {
	s := reopen(t, filepath.Join(t.TempDir(), "catalog.db"))
	defer s.Close()
	ses := fedSession(t, s)
	if _, there, err := s.PlaybackState(t.Context(), ses.ID); there || err != nil {
		t.Fatalf("before: %v, %v", there, err)
	}
	ok(t, s.BeginFeeding(t.Context(), ses))
	if _, there, err := s.PlaybackState(t.Context(), ses.ID); there || err != nil {
		t.Fatalf("fed, nothing saved: %v, %v", there, err)
	}
	want := PlaybackState{Session: ses.ID, Item: 1, AtS: 12.5, LoopOn: true, LoopFromS: 3, LoopToS: 9, LevelDB: -6, FadeMS: 10, AtEnd: "stop",
		Trims: map[int]float64{3: -2}, Muted: []int{1}}
	ok(t, s.SavePlaybackState(t.Context(), want))
	want.AtS = 13
	ok(t, s.SavePlaybackState(t.Context(), want))
	got, there, err := s.PlaybackState(t.Context(), ses.ID)
	got.SavedAt = time.Time{}
	if !there || err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("got %+v, %v, %v", got, there, err)
	}
}

// openInputs returns the desk inputs that are not back on the stage.
func openInputs(t *testing.T, s *Store, ses Session) (open []int, fed bool) {
	t.Helper()
	list, fed, err := s.BackToStage(t.Context(), ses)
	ok(t, err)
	for _, b := range list {
		if !b.Back {
			open = append(open, b.DeskInput)
		}
	}
	return open, fed
}

func TestBackToStage(t *testing.T) {
	s := reopen(t, filepath.Join(t.TempDir(), "catalog.db"))
	defer s.Close()
	now := time.Date(2031, 5, 3, 14, 0, 0, 0, time.UTC)
	s.now = func() time.Time { return now }
	ses := fedSession(t, s)
	see := func(when string, wantFed bool, want ...int) {
		t.Helper()
		if open, fed := openInputs(t, s, ses); fed != wantFed || !reflect.DeepEqual(open, want) {
			t.Errorf("%s: open %v, fed %v; want %v, %v", when, open, fed, want, wantFed)
		}
	}
	see("never played", false, 1, 3)
	ok(t, s.BeginFeeding(t.Context(), ses))
	see("played", true, 1, 3)
	ok(t, s.TickBack(t.Context(), ses, 1, true))
	ok(t, s.TickBack(t.Context(), ses, 1, true))
	see("one back", true, 3)
	ok(t, s.BeginFeeding(t.Context(), ses))
	see("the others play on", true, 3)
	ok(t, s.TickBack(t.Context(), ses, 3, true))
	see("all back", true)
	ok(t, s.BeginFeeding(t.Context(), ses))
	see("played again after all went back", true, 1, 3)
	ok(t, s.TickBack(t.Context(), ses, 1, true))
	now = now.Add(StaleTicks + time.Hour)
	ok(t, s.BeginFeeding(t.Context(), ses))
	see("the next day", true, 1, 3)
	ok(t, s.TickBack(t.Context(), ses, 1, true))
	ok(t, s.TickBack(t.Context(), ses, 1, false))
	see("a tick is removed", true, 1, 3)
	var missing *NotFoundError
	if err := s.TickBack(t.Context(), ses, 2, true); !errors.As(err, &missing) {
		t.Errorf("an input that stays on the stage: %v", err)
	}
}

func TestUnreturned(t *testing.T) {
	s := reopen(t, filepath.Join(t.TempDir(), "catalog.db"))
	defer s.Close()
	now := time.Date(2031, 5, 3, 14, 0, 0, 0, time.UTC)
	s.now = func() time.Time { return now }
	first, second := fedSession(t, s), fedSession(t, s)
	see := func(when string, want ...Unreturned) {
		t.Helper()
		if got := must(s.Unreturned(t.Context()))(t); len(got) != len(want) || len(want) > 0 && !reflect.DeepEqual(got, want) {
			t.Errorf("%s: %v, want %v", when, got, want)
		}
	}
	see("never played")
	ok(t, s.BeginFeeding(t.Context(), second))
	now = now.Add(time.Minute)
	ok(t, s.BeginFeeding(t.Context(), first))
	see("both played", Unreturned{first.ID, 2}, Unreturned{second.ID, 2})
	ok(t, s.TickBack(t.Context(), first, 1, true))
	see("one back", Unreturned{first.ID, 1}, Unreturned{second.ID, 2})
	ok(t, s.TickBack(t.Context(), first, 3, true))
	see("all of one back", Unreturned{second.ID, 2})
	now = now.Add(StaleTicks)
	see("the next day")
	ok(t, s.BeginFeeding(t.Context(), second))
	see("played again", Unreturned{second.ID, 2})
}
