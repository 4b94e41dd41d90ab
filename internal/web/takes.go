package web

import (
	"context"
	"errors"
	"net/http"
	"slices"
	"strings"
	"sync"

	"nightreel/catalog"
	"nightreel/internal/songs"
)

// edits remembers the songs of a night before each edit, so that everybody who
// operates can undo it.
type edits struct {
	mu     sync.Mutex // held through an edit: two people edit one after the other
	nights map[catalog.ShowKey]*history
}

type history struct {
	undo, redo []step
	now        songs.State // what the last step led to
}

// step is an edit by what it did, in words, and the songs on its far side.
type step struct {
	name  string
	songs songs.State
}

const mostSteps = 100

func newEdits() *edits { return &edits{nights: map[catalog.ShowKey]*history{}} }

// names returns what undo and redo would do.
func (e *edits) names(date catalog.ShowKey) (undo, redo string) {
	e.mu.Lock()
	defer e.mu.Unlock()
	h := e.nights[date]
	if h == nil {
		return "", ""
	}
	if n := len(h.undo); n > 0 {
		undo = h.undo[n-1].name
	}
	if n := len(h.redo); n > 0 {
		redo = h.redo[n-1].name
	}
	return undo, redo
}

// do runs an edit and remembers what was before it.
func (e *edits) do(ctx context.Context, store *catalog.Store, date catalog.ShowKey, name string, edit func() error) error {
	e.mu.Lock()
	defer e.mu.Unlock()
	before, err := songs.StateOf(ctx, store, date)
	if err != nil {
		return err
	}
	if err := edit(); err != nil {
		return err
	}
	after, err := songs.StateOf(ctx, store, date)
	if err != nil {
		return err
	}
	h := e.nights[date]
	if h == nil || !h.now.SameFacts(before) {
		h = &history{} // another edit came in between: older steps cannot be undone any more
		e.nights[date] = h
	}
	h.undo = append(h.undo, step{name, before})
	if len(h.undo) > mostSteps {
		h.undo = slices.Delete(h.undo, 0, 1)
	}
	h.redo, h.now = nil, after
	return nil
}

// back goes one step back, or forward again.
func (e *edits) back(ctx context.Context, store *catalog.Store, date catalog.ShowKey, forward bool) error {
	e.mu.Lock()
	defer e.mu.Unlock()
	h := e.nights[date]
	if h == nil {
		return &badRequest{"there is nothing to undo", "edits made before the server started, or before another edit of this night, cannot be undone here"}
	}
	from, to := &h.undo, &h.redo
	if forward {
		from, to = to, from
	}
	if len(*from) == 0 {
		return &badRequest{"there is nothing to undo", "edits made before the server started, or before another edit of this night, cannot be undone here"}
	}
	last := (*from)[len(*from)-1]
	now, err := songs.Restore(ctx, store, date, h.now, last.songs)
	if err != nil {
		var stale *songs.StaleError
		if errors.As(err, &stale) {
			delete(e.nights, date)
		}
		return err
	}
	*from = (*from)[:len(*from)-1]
	*to = append(*to, step{last.name, h.now})
	h.now = now
	return nil
}

// isConflict reports whether another change is the cause of an error.
func isConflict(err error) bool { return is[*songs.OverlapError](err) || is[*songs.StaleError](err) }

// editTakes corrects the songs of a night and answers with the night as it is
// now. The form says what to do:
//
//	do=set      take, start, end      a boundary was moved
//	do=add      song, start, end
//	do=split    take, at, song        song "" keeps the title
//	do=merge    take, with
//	do=rename   take, song
//	do=delete   take
//	do=undo, do=redo
func (s *Server) editTakes(w http.ResponseWriter, r *http.Request) error {
	date, err := s.pathDate(r)
	if err != nil {
		return err
	}
	if err := s.editTake(r, date); err != nil {
		return err
	}
	s.jobs.refresh(date)
	doc, err := s.night(r, date)
	if err != nil {
		return err
	}
	return s.sendJSON(w, doc)
}

func (s *Server) editTake(r *http.Request, date catalog.ShowKey) error {
	ctx := r.Context()
	switch do := r.FormValue("do"); do {
	case "undo", "redo":
		return s.edits.back(ctx, s.store, date, do == "redo")
	case "add":
		from, to, err := formSpan(r)
		if err != nil {
			return err
		}
		return s.edits.do(ctx, s.store, date, "adding "+r.FormValue("song"), func() error {
			nth, err := s.played(ctx, date, r.FormValue("song"))
			if err == nil {
				_, err = songs.Set(ctx, s.store, songs.SetRequest{Show: date, Song: r.FormValue("song"), Nth: nth + 1, StartS: from, EndS: to})
			}
			return asked(err)
		})
	}
	id, err := number(r.FormValue("take"), "take")
	if err != nil {
		return err
	}
	take := catalog.TakeID(id)
	all, err := s.store.Takes(ctx, catalog.TakeFilter{ID: take})
	if err != nil {
		return err
	}
	if len(all) == 0 || all[0].Show != date {
		return &catalog.NotFoundError{Kind: "take", Name: r.FormValue("take"), Try: "it may have changed meanwhile; the page shows the current takes"}
	}
	t := all[0]
	switch do := r.FormValue("do"); do {
	case "set":
		from, to, err := formSpan(r)
		if err != nil {
			return err
		}
		return s.edits.do(ctx, s.store, date, "moving "+t.Song, func() error {
			_, err := songs.Set(ctx, s.store, songs.SetRequest{Show: date, Song: t.Song, Nth: t.Nth, StartS: from, EndS: to})
			return asked(err)
		})
	case "split":
		at, err := seconds(r.FormValue("at"), "at")
		if err != nil {
			return err
		}
		return s.edits.do(ctx, s.store, date, "splitting "+t.Song, func() error {
			_, err := songs.Split(ctx, s.store, take, at, strings.TrimSpace(r.FormValue("song")))
			return asked(err)
		})
	case "merge":
		with, err := number(r.FormValue("with"), "take")
		if err != nil {
			return err
		}
		return s.edits.do(ctx, s.store, date, "merging "+t.Song, func() error {
			_, err := songs.Merge(ctx, s.store, take, catalog.TakeID(with))
			return asked(err)
		})
	case "rename":
		return s.edits.do(ctx, s.store, date, "renaming "+t.Song, func() error {
			_, err := songs.Rename(ctx, s.store, take, r.FormValue("song"))
			return asked(err)
		})
	case "delete":
		return s.edits.do(ctx, s.store, date, "deleting "+t.Song, func() error { return songs.Delete(ctx, s.store, take) })
	default:
		return &badRequest{"choose what to do with the take", ""}
	}
}

// asked marks an error of package songs as one of the request. The catalog's own
// errors stay as they are.
func asked(err error) error {
	if err == nil || isConflict(err) || is[*catalog.NotFoundError](err) || errors.Is(err, context.Canceled) {
		return err
	}
	return &badRequest{err.Error(), hintOf(err)}
}

// played counts the takes of a song on a night.
func (s *Server) played(ctx context.Context, date catalog.ShowKey, song string) (int, error) {
	takes, err := s.store.Takes(ctx, catalog.TakeFilter{Show: date})
	if err != nil {
		return 0, err
	}
	known, err := s.store.Song(ctx, song)
	if err != nil {
		return 0, nil // a new song
	}
	n := 0
	for _, t := range takes {
		if t.SongID == known.ID {
			n++
		}
	}
	return n, nil
}

func formSpan(r *http.Request) (from, to float64, err error) {
	if from, err = seconds(r.FormValue("start"), "start"); err == nil {
		to, err = seconds(r.FormValue("end"), "end")
	}
	return from, to, err
}

// addNote keeps a note about a night.
func (s *Server) addNote(w http.ResponseWriter, r *http.Request) error {
	date, err := s.pathDate(r)
	if err != nil {
		return err
	}
	text := strings.TrimSpace(r.FormValue("text"))
	if text == "" {
		return &badRequest{"the note is empty", ""}
	}
	if _, err := s.store.AddNote(r.Context(), date, text); err != nil {
		return err
	}
	http.Redirect(w, r, nightPath(date), http.StatusSeeOther)
	return nil
}
