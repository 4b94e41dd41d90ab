package catalog

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"reflect"
	"testing"
)

// holding returns what holds: of each subject that is not deleted its body.
func holding(t testing.TB, s *Store) map[string]string {
	t.Helper()
	all := map[string]string{}
	for _, p := range projections() {
		for _, f := range must(standing(t.Context(), s.db, p.kind, ""))(t) {
			if f.Body != nil {
				all[fmt.Sprint(f.Kind, " ", f.Subject)] = string(f.Body)
			}
		}
	}
	return all
}

// Whatever a person did last, undo restores exactly what held before, and undo again what
// held after it; the tables follow the facts.
func TestUndoRestoresWhatHeld(t *testing.T) {
	for seed := range uint64(2) {
		r := rand.New(rand.NewPCG(seed, 7))
		s := testStore(t)
		small(t, s)
		undone := 0
		for range 40 {
			steps, before := len(must(s.History(t.Context(), ""))(t)), holding(t, s)
			scribble(t, s, r)
			if now := len(must(s.History(t.Context(), ""))(t)); now != steps+1 {
				continue // nothing, or two steps
			}
			after := holding(t, s)
			must(s.Undo(t.Context(), ""))(t)
			if got := holding(t, s); !reflect.DeepEqual(got, before) {
				t.Fatalf("after undo %v, want %v", got, before)
			}
			must(s.Undo(t.Context(), ""))(t)
			if got := holding(t, s); !reflect.DeepEqual(got, after) {
				t.Fatalf("after undoing the undo %v, want %v", got, after)
			}
			undone++
		}
		tables := dump(t, s)
		ok(t, s.Reproject(t.Context()))
		if now := dump(t, s); !reflect.DeepEqual(now, tables) || undone < 10 {
			t.Fatalf("after %d undone steps the tables differ from the facts:\n%s", undone, difference(tables, now))
		}
	}
}

// A step is named by the beginning of its id; one whose entries were changed later, the one
// from before the history, and a correction of shows are refused, and change nothing.
func TestUndoRefuses(t *testing.T) {
	s := testStore(t)
	small(t, s)
	ok(t, s.SaveDesk(t.Context(), Desk{Name: "foh", Inputs: []DeskInput{{Input: 1, Channel: "Kick"}}}))
	ok(t, s.SaveDesk(t.Context(), Desk{Name: "foh", Inputs: []DeskInput{{Input: 2, Channel: "Kick"}}}))
	steps := must(s.History(t.Context(), ""))(t)
	var refused *UndoError
	if _, err := s.Undo(t.Context(), steps[0].Short()); !errors.As(err, &refused) {
		t.Errorf("a step that was replaced: %v", err)
	}
	_, err := s.Undo(t.Context(), "nosuch")
	wantNotFound(t, err, "step")
	if st := must(s.Undo(t.Context(), steps[1].Short()))(t); st.Facts[0].Text != "desk foh, 1 input" {
		t.Errorf("undone is %+v", st)
	}
	if d := must(s.Desk(t.Context(), "foh"))(t); d.Inputs[0].Input != 1 {
		t.Errorf("the desk is %+v", d)
	}
	ok(t, s.Say(t.Context(), []Word{{Content: "00ff", About: SaidRig, Value: "lobby"}}))
	if _, err := s.Undo(t.Context(), ""); !errors.As(err, &refused) || refused.Help == "" {
		t.Errorf("a correction of a show: %v", err)
	}
}

// Sessions, notes and desks can be deleted, and undo brings them back. A session whose
// inputs are not all back on the stage stays, for the warning would go with it.
func TestDelete(t *testing.T) {
	s := testStore(t)
	small(t, s)
	ses := fedSession(t, s)
	note := must(s.AddNote(t.Context(), "2031-05-02", "new bass rig"))(t)
	ok(t, s.SaveDesk(t.Context(), Desk{Name: "foh", Inputs: []DeskInput{{Input: 1, Channel: "Kick"}}}))
	ok(t, s.BeginFeeding(t.Context(), ses))
	if err := s.DeleteSession(t.Context(), ses.ID); !errors.Is(err, errNotBack) {
		t.Errorf("a session that is not back: %v", err)
	}
	for _, in := range []int{1, 3} {
		ok(t, s.TickBack(t.Context(), ses, in, true))
	}
	ok(t, s.DeleteSession(t.Context(), ses.ID))
	wantNotFound(t, s.DeleteSession(t.Context(), ses.ID), "playback session")
	must(s.Undo(t.Context(), ""))(t)
	if all := must(s.Sessions(t.Context()))(t); len(all) != 1 || len(all[0].Inputs) != 4 {
		t.Errorf("back are the sessions %+v", all)
	}
	must(s.DeleteNote(t.Context(), note.ID))(t)
	_, err := s.DeleteNote(t.Context(), note.ID)
	wantNotFound(t, err, "note")
	must(s.DeleteDesk(t.Context(), "FOH"))(t)
	_, err = s.DeleteDesk(t.Context(), "foh")
	wantNotFound(t, err, "desk")
}
