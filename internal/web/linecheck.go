package web

import (
	"context"
	"fmt"
	"net/http"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"nightreel/catalog"
	"nightreel/internal/linecheck"
	"nightreel/internal/scan"
)

// lineCheck is the last line check that this server made. It is stored nowhere
// else.
type lineCheck struct {
	mu     sync.Mutex
	at     time.Time // zero: none yet
	asked  lineRequest
	report linecheck.Report
}

// lineRequest is what a line check was asked for.
type lineRequest struct {
	Path string
	Date catalog.ShowKey // "" = the newest input list
	Rig  string
}

type lineView struct {
	lineRequest
	At        time.Time
	Report    *linecheck.Report
	Next      string // the input to play next, "" if every one was heard
	Heard     int
	Of        int
	Drives    []string
	AnyFolder bool
	Shows     []catalog.Show
	Rigs      []string
}

// lineSigns give each status of an input a shape and a class.
var lineSigns = map[linecheck.Status]sign{linecheck.OK: {"clean", "✓", "ok"}, linecheck.Look: {"warning", "▲", "look"}, linecheck.Broken: {"fault", "✕", "broken"}, linecheck.Unknown: {"not_found", "?", "unknown"}}

// Legend explains the signs of the page.
func (lineView) Legend() []sign {
	return []sign{lineSigns[linecheck.OK], {"warning", "▲", "differs from the tour"}, {"fault", "✕", "will hurt the show"}, {"not_found", "?", "nothing to compare it with"}}
}

func (s *Server) linePage(w http.ResponseWriter, r *http.Request) error {
	v := lineView{AnyFolder: s.opt.AnyFolder}
	s.line.mu.Lock()
	report := s.line.report
	v.lineRequest, v.At, v.Report = s.line.asked, s.line.at, &report
	s.line.mu.Unlock()
	v.Next, v.Heard = v.Report.Next()
	v.Of = len(v.Report.Inputs) + len(v.Report.NotRecorded)
	var err error
	if v.Shows, err = s.store.Shows(r.Context(), catalog.ShowFilter{}); err != nil {
		return err
	}
	if v.Drives, err = s.offered(r.Context()); err != nil {
		return err
	}
	v.Rigs = rigsOf(v.Shows)
	w.Header().Set("Cache-Control", "no-store")
	return s.render(w, r, http.StatusOK, "linecheck.html", "Line check", v)
}

// checkLine measures a recording of this afternoon and compares it with the tour.
func (s *Server) checkLine(w http.ResponseWriter, r *http.Request) error {
	req := lineRequest{Path: strings.TrimSpace(r.FormValue("path")), Rig: r.FormValue("rig")}
	if err := s.mayRead(r.Context(), req.Path); err != nil {
		return err
	}
	if text := strings.TrimSpace(r.FormValue("date")); text != "" {
		var err error
		if req.Date, err = s.formShow(r.Context(), text); err != nil {
			return err
		}
	}
	var p scan.Progress
	look := func(j *Job) {
		at := p.Snapshot()
		j.Stage, j.Done, j.Total, j.Current = at.Stage, at.Bytes, at.BytesTotal, filepath.Base(at.Current)
	}
	err := s.jobs.start(lineJob, "Checking the line", look, func(ctx context.Context) (string, []string, error) {
		report, err := linecheck.Check(ctx, s.store, req.Path, linecheck.Options{Date: req.Date, Rig: req.Rig}, &p)
		lines := []string{}
		for _, problem := range report.Problems {
			lines = append(lines, problem.File+": "+problem.Problem)
		}
		if err != nil {
			return "", lines, err
		}
		s.line.mu.Lock()
		s.line.at, s.line.asked, s.line.report = s.opt.Now(), req, report
		s.line.mu.Unlock()
		_, heard := report.Next()
		return fmt.Sprintf("%d of %s heard.", heard, count(len(report.Inputs)+len(report.NotRecorded), "input")), lines, nil
	})
	if err != nil {
		return err
	}
	return s.kept(w, r, "/linecheck", "Checking the line.")
}

// rigsOf returns the names of the record rigs, the main one first.
func rigsOf(shows []catalog.Show) []string {
	rigs, known := []string{catalog.MainRig}, map[string]bool{catalog.MainRig: true}
	for _, sh := range shows {
		for _, rec := range sh.Recordings {
			if !known[rec.Rig] {
				known[rec.Rig] = true
				rigs = append(rigs, rec.Rig)
			}
		}
	}
	return rigs
}
