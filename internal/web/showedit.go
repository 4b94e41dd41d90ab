package web

import (
	"cmp"
	"context"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"nightreel/catalog"
	"nightreel/internal/lists"
	"nightreel/internal/scan"
)

type showView struct {
	Show   catalog.Show
	Others []catalog.Show // those of the same date first
	Said   []string       // what came of a correction beside the show itself
}

func (s *Server) showPage(w http.ResponseWriter, r *http.Request) error {
	key, err := s.pathDate(r)
	if err != nil {
		return err
	}
	return s.renderShow(w, r, key, nil)
}

func (s *Server) renderShow(w http.ResponseWriter, r *http.Request, key catalog.ShowKey, said []string) error {
	v := showView{Said: said}
	var err error
	if v.Show, err = s.store.Show(r.Context(), key); err != nil {
		return err
	}
	shows, err := s.store.Shows(r.Context(), catalog.ShowFilter{})
	if err != nil {
		return err
	}
	v.Others = slices.DeleteFunc(shows, func(sh catalog.Show) bool { return sh.ID == v.Show.ID || len(sh.Recordings) == 0 })
	away := func(sh catalog.Show) int { return map[bool]int{true: 0, false: 1}[sh.Date == v.Show.Date] }
	slices.SortStableFunc(v.Others, func(a, b catalog.Show) int { return cmp.Compare(away(a), away(b)) })
	return s.render(w, r, http.StatusOK, "show.html", fmt.Sprintf("Correct %s", v.Show.Key), v)
}

// editShow corrects what a scan made of files. The form says what to do:
//
//	do=rename, do=venue     name
//	do=split                recording (several), name
//	do=split_at             at (time of day), name
//	do=merge                with (a show)
//	do=move                 recording (several), to (a show)
//	do=reference            recording
//	do=rig                  recording, name
//	do=reset
func (s *Server) editShow(w http.ResponseWriter, r *http.Request) error {
	key, err := s.pathDate(r)
	if err != nil {
		return err
	}
	before, err := s.store.Show(r.Context(), key)
	if err != nil {
		return err
	}
	ids, err := recordingIDs(r)
	if err != nil {
		return err
	}
	result, err := s.correctShow(r, key, ids)
	if err != nil {
		return err
	}
	// The show may have another address now: it is where its recordings are.
	slices.SortStableFunc(before.Recordings, func(a, b catalog.Recording) int {
		gone := func(rec catalog.Recording) int { return map[bool]int{true: 1, false: 0}[slices.Contains(ids, rec.ID)] }
		return cmp.Compare(gone(a), gone(b))
	})
	for _, rec := range before.Recordings {
		now, err := s.store.Recordings(r.Context(), catalog.RecordingFilter{ID: rec.ID})
		if err != nil {
			return err
		}
		if len(now) > 0 {
			key = now[0].Show
			break
		}
	}
	s.jobs.refresh(key)
	said := slices.Clone(result.Notes)
	for _, p := range result.Problems {
		said = append(said, p.File+": "+p.Problem)
	}
	if len(said) > 0 && wantsPage(r) {
		return s.renderShow(w, r, key, said)
	}
	return s.kept(w, r, nightPath(key)+"/edit", "The show is corrected.")
}

// correctShow does what a form says about a show.
func (s *Server) correctShow(r *http.Request, key catalog.ShowKey, ids []catalog.RecordingID) (scan.Result, error) {
	ctx, name := r.Context(), strings.TrimSpace(r.FormValue("name"))
	do := r.FormValue("do")
	switch do {
	case "split", "move", "reference", "rig":
		if len(ids) == 0 {
			return scan.Result{}, &badRequest{"no recording was chosen", "tick the recordings first"}
		}
	}
	switch do {
	case "rename":
		return scan.Rename(ctx, s.store, key, name, nil)
	case "venue":
		return scan.SetVenue(ctx, s.store, key, name, nil)
	case "split":
		return scan.Split(ctx, s.store, key, scan.SplitAt{Recordings: ids, Name: name}, nil)
	case "split_at":
		at, ok := lists.ParseClock(r.FormValue("at"))
		if !ok {
			return scan.Result{}, &badRequest{fmt.Sprintf("%q is no time of day", r.FormValue("at")), "write it as 19:30"}
		}
		return scan.Split(ctx, s.store, key, scan.SplitAt{Clock: time.Duration(at * float64(time.Second)), Name: name}, nil)
	case "merge":
		with, err := s.formShow(ctx, r.FormValue("with"))
		if err != nil {
			return scan.Result{}, err
		}
		return scan.Merge(ctx, s.store, key, with, nil)
	case "move":
		to, err := s.formShow(ctx, r.FormValue("to"))
		if err != nil {
			return scan.Result{}, err
		}
		return scan.Move(ctx, s.store, ids, to, nil)
	case "reference":
		return scan.ChooseReference(ctx, s.store, key, ids[0], nil)
	case "rig":
		return scan.CallRig(ctx, s.store, ids[0], name, nil)
	case "reset":
		return scan.TakeBack(ctx, s.store, key, nil)
	}
	return scan.Result{}, &badRequest{"choose what to correct about the show", ""}
}

// formShow reads a show in a form. One that is not there is returned as it is
// written.
func (s *Server) formShow(ctx context.Context, text string) (catalog.ShowKey, error) {
	key, err := catalog.ParseShowKey(text)
	if err != nil {
		return "", &badRequest{err.Error(), ""}
	}
	return s.store.Address(ctx, key)
}

// recordingIDs reads the recordings that a form names.
func recordingIDs(r *http.Request) ([]catalog.RecordingID, error) {
	if err := r.ParseForm(); err != nil {
		return nil, err
	}
	var ids []catalog.RecordingID
	for _, text := range r.Form["recording"] {
		id, err := number(text, "recording")
		if err != nil {
			return nil, err
		}
		ids = append(ids, catalog.RecordingID(id))
	}
	return ids, nil
}
