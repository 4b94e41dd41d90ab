package web

import (
	"context"
	"fmt"
	"net/http"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"nightreel/catalog"
	"nightreel/internal/refresh"
	"nightreel/internal/scan"
)

type scanView struct {
	Folders   []string
	Drives    []string // mounted, and not among Folders
	AnyFolder bool
	Jobs      []Job
	Volumes   []catalog.Volume
	Shows     []catalog.Show
	Bad       []badFile
	Verified  time.Time // when this server compared files last; zero: never
	Files     int       // that it compared then
}

// Watched are the jobs that read recordings and work out what follows, but for
// renders and line checks, which pages of their own show.
func (v scanView) Watched() []Job {
	return slices.DeleteFunc(slices.Clone(v.Jobs), func(j Job) bool { return j.Kind == renderJob || j.Kind == lineJob })
}

// folders returns the places that may be scanned.
func (s *Server) folders(ctx context.Context) ([]string, error) {
	volumes, err := s.store.Volumes(ctx)
	if err != nil {
		return nil, err
	}
	all := slices.Clone(s.opt.Folders)
	for _, v := range volumes {
		all = append(all, v.Root)
	}
	slices.Sort(all)
	return slices.Compact(all), nil
}

// offered returns the folders that a person may choose from: known ones, and where
// any may be named, the drives that are mounted now.
func (s *Server) offered(ctx context.Context) ([]string, error) {
	all, err := s.folders(ctx)
	if s.opt.AnyFolder {
		for _, d := range s.opt.Drives() {
			if !slices.Contains(all, d) {
				all = append(all, d)
			}
		}
	}
	return all, err
}

func (s *Server) scanPage(w http.ResponseWriter, r *http.Request) error {
	ctx := r.Context()
	v := scanView{AnyFolder: s.opt.AnyFolder, Jobs: s.jobs.all()}
	var err error
	if v.Folders, err = s.folders(ctx); err != nil {
		return err
	}
	if v.Drives, err = s.offered(ctx); err != nil {
		return err
	}
	v.Drives = v.Drives[len(v.Folders):]
	if v.Volumes, err = s.store.Volumes(ctx); err != nil {
		return err
	}
	if v.Shows, err = s.store.Shows(ctx, catalog.ShowFilter{}); err != nil {
		return err
	}
	if v.Bad, err = s.badFiles(ctx); err != nil {
		return err
	}
	at, files := s.verified.last()
	v.Verified, v.Files = at, len(files)
	return s.render(w, r, http.StatusOK, "scan.html", "Scan", v)
}

func (s *Server) startScan(w http.ResponseWriter, r *http.Request) error {
	if err := s.scan(r); err != nil {
		return err
	}
	if wantsPage(r) {
		http.Redirect(w, r, "/scan", http.StatusSeeOther)
		return nil
	}
	w.WriteHeader(http.StatusNoContent)
	return nil
}

func (s *Server) scan(r *http.Request) error {
	if err := r.ParseForm(); err != nil {
		return err
	}
	dirs := []string{}
	for _, d := range r.Form["folder"] {
		if d = strings.TrimSpace(d); d == "" {
			continue
		}
		if err := s.mayRead(r.Context(), d); err != nil {
			return err
		}
		dirs = append(dirs, d)
	}
	if len(dirs) == 0 {
		return &badRequest{"no folder was chosen", "choose the drive or folder that holds the recordings"}
	}
	opt := scan.Options{Check: r.FormValue("check") != "", Rig: strings.TrimSpace(r.FormValue("rig")), Venue: strings.TrimSpace(r.FormValue("venue"))}
	if day := strings.TrimSpace(r.FormValue("date")); day != "" {
		d, err := catalog.ParseDate(day)
		if err != nil {
			return &badRequest{err.Error(), ""}
		}
		opt.Date = d
	}
	var p scan.Progress
	var results refresh.Progress
	look := func(j *Job) {
		at := p.Snapshot()
		j.Stage, j.Done, j.Total, j.Current = at.Stage, at.Bytes, at.BytesTotal, filepath.Base(at.Current)
		if doing := results.Doing(); doing != "" {
			j.Stage = doing
		}
	}
	return s.jobs.start(scanJob, "Scanning "+strings.Join(dirs, ", "), look, func(ctx context.Context) (string, []string, error) {
		result, err := scan.Run(ctx, s.store, dirs, opt, &p)
		lines := slices.Clone(result.Notes)
		for _, problem := range result.Problems {
			lines = append(lines, problem.File+": "+problem.Problem)
		}
		if err != nil {
			return "", lines, err
		}
		var shows []catalog.ShowKey
		for _, show := range result.Shows {
			shows = append(shows, show.Key)
		}
		report, err := refresh.Tour(ctx, s.store, refresh.Options{First: shows, Progress: &results})
		if err != nil {
			return "", lines, err
		}
		warnings, err := refresh.Warnings(ctx, s.store, shows)
		lines = append(append(warnings, report.Learned...), lines...)
		for i, key := range shows {
			if err == nil {
				result.Shows[i], err = s.store.Show(ctx, key)
			}
		}
		findings := 0
		for _, show := range result.Shows {
			findings += show.Findings
		}
		read := "Nothing was new"
		if result.FilesRead > 0 {
			read = fmt.Sprintf("%s, %s read", count(result.FilesRead, "file"), size(result.BytesRead))
		}
		if n := len(result.Unread); n > 0 {
			read = fmt.Sprintf("%s could not be read, see below; %s", count(n, "file"), read)
		}
		return fmt.Sprintf("%s; %s open on %s.", read, count(findings, "finding"), count(len(result.Shows), "night")), lines, err
	})
}

func (s *Server) jobsData(w http.ResponseWriter, r *http.Request) error {
	w.Header().Set("Cache-Control", "no-store")
	return s.sendJSON(w, s.jobs.all())
}

func (s *Server) stopJob(w http.ResponseWriter, r *http.Request) error {
	if !s.jobs.interrupt(r.PathValue("kind")) {
		return &catalog.NotFoundError{Kind: "job", Name: r.PathValue("kind"), Try: "it has ended already"}
	}
	if wantsPage(r) {
		http.Redirect(w, r, "/scan", http.StatusSeeOther)
		return nil
	}
	w.WriteHeader(http.StatusNoContent)
	return nil
}
