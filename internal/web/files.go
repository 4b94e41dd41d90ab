package web

import (
	"context"
	"fmt"
	"net/http"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"nightreel/catalog"
	"nightreel/internal/scan"
)

// verification is the last comparison of files with their checksums that this
// server made.
type verification struct {
	mu    sync.Mutex
	at    time.Time // zero: none yet
	files []scan.Verified
}

func (v *verification) last() (time.Time, []scan.Verified) {
	v.mu.Lock()
	defer v.mu.Unlock()
	return v.at, v.files
}

// badFile is a file that is not as it was first read.
type badFile struct {
	File, Status, Problem string
	Acceptable            bool // it was measured again, so that a person may accept it
}

// badFiles returns what the last verification found and what scans found changed,
// less what was accepted since.
func (s *Server) badFiles(ctx context.Context) ([]badFile, error) {
	changed, err := s.store.ChangedFiles(ctx, "")
	if err != nil {
		return nil, err
	}
	bad := []badFile{}
	_, verified := s.verified.last()
	for _, f := range verified {
		if f.Status != scan.OK && f.MeasuredAgain == nil {
			bad = append(bad, badFile{File: f.File, Status: f.Status, Problem: f.Problem})
		}
	}
	if len(changed) == 0 {
		return bad, nil
	}
	files, err := s.store.Files(ctx, catalog.FileFilter{})
	if err != nil {
		return nil, err
	}
	for _, f := range files {
		c, ok := changed[f.ID]
		if !ok || slices.ContainsFunc(bad, func(b badFile) bool { return b.File == f.FullPath() }) {
			continue
		}
		bad = append(bad, badFile{File: f.FullPath(), Status: scan.Changed, Problem: "changed, measured again on " + c.FoundAt.Local().Format(time.DateOnly), Acceptable: true})
	}
	return bad, nil
}

// verify compares files with their checksums, those of one show or of all.
func (s *Server) verify(w http.ResponseWriter, r *http.Request) error {
	var show catalog.ShowKey
	title := "Verifying all files"
	if text := r.FormValue("show"); text != "" {
		var err error
		if show, err = s.formShow(r.Context(), text); err != nil {
			return err
		}
		title = "Verifying the files of " + string(show)
	}
	var p scan.Progress
	look := func(j *Job) {
		at := p.Snapshot()
		j.Stage, j.Done, j.Total, j.Current = fmt.Sprintf("%d of %s", at.Files, count(int(at.FilesTotal), "file")), at.Bytes, at.BytesTotal, filepath.Base(at.Current)
	}
	err := s.jobs.start(verifyJob, title, look, func(ctx context.Context) (string, []string, error) {
		files, err := scan.Verify(ctx, s.store, show, &p)
		if err != nil {
			return "", nil, err
		}
		s.verified.mu.Lock()
		s.verified.at, s.verified.files = s.opt.Now(), files
		s.verified.mu.Unlock()
		bad := []string{}
		for _, f := range files {
			if f.Status != scan.OK {
				bad = append(bad, strings.TrimSuffix(fmt.Sprintf("%s: %s: %s", f.File, f.Status, f.Problem), ": "))
			}
		}
		return fmt.Sprintf("%d of %s as they were read.", len(files)-len(bad), count(len(files), "file")), bad, nil
	})
	if err != nil {
		return err
	}
	return s.kept(w, r, "/scan", title+".")
}

// acceptFile takes a changed file for right as it was last measured.
func (s *Server) acceptFile(w http.ResponseWriter, r *http.Request) error {
	if err := scan.Accept(r.Context(), s.store, []string{r.FormValue("file")}, strings.TrimSpace(r.FormValue("note"))); err != nil {
		if is[*scan.AcceptError](err) {
			return &badRequest{err.Error(), "scan its folder with \"read unchanged files too\"; accept it then"}
		}
		return err
	}
	s.jobs.refresh()
	return s.kept(w, r, "/scan", "The file is accepted as it is.")
}

// relocate says that recordings lie in another folder now.
func (s *Server) relocate(w http.ResponseWriter, r *http.Request) error {
	to := strings.TrimSpace(r.FormValue("to"))
	if err := s.mayRead(r.Context(), to); err != nil {
		return err
	}
	moved, err := scan.Relocate(r.Context(), s.store, r.FormValue("from"), to)
	if err != nil {
		return asked(err)
	}
	return s.kept(w, r, "/scan", fmt.Sprintf("%s found at %s.", count(len(moved), "volume"), to))
}

// mayRead refuses a path that nobody may name in a browser: one outside the folders
// that are known, unless this server allows any.
func (s *Server) mayRead(ctx context.Context, path string) error {
	switch {
	case path == "":
		return &badRequest{"no folder was chosen", "choose the drive or folder that holds the recordings"}
	case !filepath.IsAbs(path):
		return &badRequest{fmt.Sprintf("%s is no absolute path", path), "write the folder's path from the root of the disk"}
	case s.opt.AnyFolder:
		return nil
	}
	known, err := s.folders(ctx)
	if err != nil {
		return err
	}
	for _, root := range known {
		if rel, err := filepath.Rel(root, filepath.Clean(path)); err == nil && filepath.IsLocal(rel) {
			return nil
		}
	}
	return &badRequest{fmt.Sprintf("%s may not be read from the browser", path), "start the server with --folder " + path}
}
