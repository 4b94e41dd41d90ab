package catalog

import (
	"context"
	"errors"
	"fmt"
	"strings"
)

// UndoError says why a step was not taken back.
type UndoError struct {
	Step string // as [Step.Short] writes it
	Why  string
	Help string
}

func (e *UndoError) Error() string { return fmt.Sprintf("step %s: not undone: %s", e.Step, e.Why) }

// Hint says what to do instead.
func (e *UndoError) Hint() string { return e.Help }

// Short returns the part of a step's id by which people name it: eight hexadecimal
// digits. The first half of the id is the same for all steps of one machine.
func (st Step) Short() string { return st.Name[16:24] }

// Undo takes back what one step wrote: everything that the step entered, changed or
// deleted is again as it was before. name is the beginning of the step's id or of
// [Step.Short]; "" is the latest step. Taking back is a step of its own, so undoing it
// brings back what was undone. Undo fails with *[UndoError], and changes nothing, if
// a later step changed the same, or if the step corrected shows: these corrections
// change what a scan made of the files.
func (s *Store) Undo(ctx context.Context, name string) (Step, error) {
	steps, err := s.History(ctx, "")
	if err != nil {
		return Step{}, err
	}
	st, err := namedStep(steps, name)
	if err != nil {
		return Step{}, err
	}
	return st, s.write(ctx, func(w *writing) error { return w.undo(ctx, st) })
}

// namedStep finds a step by the beginning of its id, the latest for "".
func namedStep(steps []Step, name string) (Step, error) {
	var found []Step
	name = strings.ToLower(name)
	for _, st := range steps {
		if name != "" && (strings.HasPrefix(st.Name, name) || strings.HasPrefix(st.Short(), name)) {
			found = append(found, st)
		}
	}
	if name == "" && len(steps) > 0 {
		found = steps[len(steps)-1:]
	}
	switch {
	case len(found) == 0:
		return Step{}, &NotFoundError{Kind: "step", Name: name, Try: "nightreel history lists the steps"}
	case len(found) > 1:
		return Step{}, &UndoError{Step: name, Why: fmt.Sprintf("%d steps begin like this", len(found)), Help: "give more of its letters"}
	case found[0].At == nil:
		return Step{}, &UndoError{Step: found[0].Short(), Why: "it holds all that was entered before there was a history"}
	}
	return found[0], nil
}

func (w *writing) undo(ctx context.Context, st Step) error {
	facts, err := list(ctx, w, "SELECT "+factColumns+" FROM facts f WHERE f.step = ? ORDER BY f.at DESC, f.id", []any{st.ID[:]}, readFact)
	if err != nil {
		return err
	}
	type subject struct {
		kind FactKind
		name string
	}
	done := map[subject]bool{}
	for _, f := range facts {
		if done[subject{f.Kind, f.Subject}] {
			continue
		}
		done[subject{f.Kind, f.Subject}] = true
		if f.Kind == FactWord && !strings.HasPrefix(f.Subject, string(SaidRight)+"\t") {
			return &UndoError{st.Short(), "it corrected which show, rig or venue some files belong to", "nightreel shows reset --show SHOW takes back the corrections of a show"}
		}
		now, err := heads(ctx, w, f.Kind, f.Subject)
		if err != nil {
			return err
		}
		for _, h := range now {
			if h.Step != st.ID {
				later := Step{Name: fmt.Sprintf("%x", h.Step[:])}
				return &UndoError{st.Short(), "a later step, " + later.Short() + ", changed the same", "undo that one first; nightreel history lists the steps"}
			}
		}
		before, err := list(ctx, w, "SELECT DISTINCT "+factColumns+" FROM facts f JOIN replaces r ON r.old = f.id JOIN facts n ON n.id = r.fact WHERE n.step = ?1 AND n.kind = ?2 AND n.subject = ?3 AND f.step <> ?1 ORDER BY f.id",
			[]any{st.ID[:], f.Kind, f.Subject}, readFact)
		if err != nil {
			return err
		}
		var body any
		if len(before) > 0 {
			held := before[0]
			for _, b := range before[1:] {
				held = stronger(held, b)
			}
			if held.Body != nil {
				body = jsonText(held.Body)
			}
		}
		if body == nil && f.Kind == FactSession {
			if err := w.mayDelete(ctx, f.Subject); err != nil {
				return err
			}
		}
		if err := w.put(ctx, f.Kind, f.Subject, body); err != nil {
			return err
		}
	}
	return nil
}

// jsonText is a body that is JSON already.
type jsonText []byte

// MarshalJSON returns the text as it is.
func (b jsonText) MarshalJSON() ([]byte, error) { return b, nil }

// errNotBack says that a session may not be deleted.
var errNotBack = errors.New("inputs that it fed are not ticked back to the stage; nightreel session back ticks them")

// mayDelete refuses to delete a session whose list back to the stage is open: the
// warning of a dead microphone would go with it.
func (w *writing) mayDelete(ctx context.Context, subject string) error {
	var id SessionID
	if err := w.QueryRowContext(ctx, "SELECT coalesce((SELECT id FROM sessions WHERE subject = ?), 0)", subject).Scan(&id); err != nil || id == 0 {
		return err
	}
	ses, err := readSession(w.QueryRowContext(ctx, "SELECT id, document FROM sessions WHERE id = ?", id))
	if err != nil {
		return fmt.Errorf("could not read the catalog: %w", err)
	}
	list, fed, err := backToStage(ctx, w, ses)
	if err != nil {
		return err
	}
	for _, b := range list {
		if fed && !b.Back {
			return fmt.Errorf("session %d: not deleted: %w", id, errNotBack)
		}
	}
	return nil
}

// DeleteSession deletes a playback session. It fails if inputs that it fed are not
// ticked back to the stage.
func (s *Store) DeleteSession(ctx context.Context, id SessionID) error {
	if _, err := s.Session(ctx, id); err != nil {
		return err
	}
	return s.write(ctx, func(w *writing) error {
		subject, err := w.subjectOf(ctx, "sessions", int64(id))
		if err == nil {
			err = w.mayDelete(ctx, subject)
		}
		if err != nil {
			return err
		}
		return w.put(ctx, FactSession, subject, nil)
	})
}

// DeleteNote deletes a note and returns it.
func (s *Store) DeleteNote(ctx context.Context, id NoteID) (Note, error) {
	all, err := s.Notes(ctx, "")
	if err != nil {
		return Note{}, err
	}
	for _, n := range all {
		if n.ID == id {
			return n, s.write(ctx, func(w *writing) error {
				subject, err := w.subjectOf(ctx, "notes", int64(id))
				if err != nil {
					return err
				}
				return w.put(ctx, FactNote, subject, nil)
			})
		}
	}
	return Note{}, &NotFoundError{Kind: "note", Name: fmt.Sprint(id), Try: "nightreel note list lists them"}
}

// DeleteDesk deletes a desk's patch. Playback sessions that were built for it stay.
func (s *Store) DeleteDesk(ctx context.Context, name string) (Desk, error) {
	d, err := s.Desk(ctx, name)
	if err != nil {
		return Desk{}, err
	}
	return d, s.write(ctx, func(w *writing) error {
		subject, err := w.subjectOf(ctx, "desks", int64(d.ID))
		if err != nil {
			return err
		}
		return w.put(ctx, FactDesk, subject, nil)
	})
}

// subjectOf returns the subject of the fact that a row shows.
func (w *writing) subjectOf(ctx context.Context, table string, id int64) (subject string, err error) {
	err = w.QueryRowContext(ctx, "SELECT subject FROM "+table+" WHERE id = ?", id).Scan(&subject)
	if err != nil {
		return "", fmt.Errorf("could not read the catalog: %w", err)
	}
	return subject, nil
}
