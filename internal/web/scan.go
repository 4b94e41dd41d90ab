package web

import (
	"context"
	"fmt"
	"net/http"
	"path/filepath"
	"slices"
	"strings"

	"nightreel/catalog"
	"nightreel/internal/refresh"
	"nightreel/internal/scan"
)

type scanView struct {
	Folders   []string
	AnyFolder bool
	Jobs      []Job
	Problem   string
}

// Watched are the jobs that read recordings and work out what follows.
func (v scanView) Watched() []Job {
	return slices.DeleteFunc(slices.Clone(v.Jobs), func(j Job) bool { return j.Kind == renderJob })
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

func (s *Server) scanPage(w http.ResponseWriter, r *http.Request) error {
	folders, err := s.folders(r.Context())
	if err != nil {
		return err
	}
	return s.render(w, r, http.StatusOK, "scan.html", "Scan", scanView{Folders: folders, AnyFolder: s.opt.AnyFolder, Jobs: s.jobs.all()})
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
	known, err := s.folders(r.Context())
	if err != nil {
		return err
	}
	if err := r.ParseForm(); err != nil {
		return err
	}
	dirs := []string{}
	for _, d := range r.Form["folder"] {
		if d = strings.TrimSpace(d); d == "" {
			continue
		}
		if !slices.Contains(known, d) && !s.opt.AnyFolder {
			return &badRequest{fmt.Sprintf("%s may not be scanned from the browser", d), "start the server with --folder " + d}
		}
		if !filepath.IsAbs(d) {
			return &badRequest{fmt.Sprintf("%s is no absolute path", d), "write the folder's path from the root of the disk"}
		}
		dirs = append(dirs, d)
	}
	if len(dirs) == 0 {
		return &badRequest{"no folder was chosen", "choose the drive or folder that holds the recordings"}
	}
	opt := scan.Options{Check: r.FormValue("check") != "", Rig: strings.TrimSpace(r.FormValue("rig")), Venue: strings.TrimSpace(r.FormValue("venue"))}
	if day := strings.TrimSpace(r.FormValue("date")); day != "" {
		if opt.Date, err = catalog.ParseDate(day); err != nil {
			return &badRequest{err.Error(), ""}
		}
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
		return fmt.Sprintf("%s, %s read, %s open on %s.", count(result.FilesRead, "file"), size(result.BytesRead), count(findings, "finding"), count(len(result.Shows), "night")), lines, err
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
