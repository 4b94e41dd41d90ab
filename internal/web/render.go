package web

import (
	"context"
	"fmt"
	"net/http"
	"path/filepath"
	"strings"
	"unicode"

	"nightreel/internal/session"
)

// renderSession starts a render into a folder below the one that the server was
// given.
func (s *Server) renderSession(w http.ResponseWriter, r *http.Request) error {
	ses, err := s.sessionOf(r)
	if err != nil {
		return err
	}
	opt, err := s.renderOptions(r)
	if err != nil {
		return err
	}
	var p session.Progress
	look := func(j *Job) {
		at := p.Snapshot()
		j.Done, j.Total, j.Current = at.Bytes, at.BytesTotal, at.Current
		j.Stage = fmt.Sprintf("take %d of %d", at.Item, at.Items)
	}
	err = s.jobs.start(renderJob, fmt.Sprintf("Rendering playback session %d", ses.ID), look, func(ctx context.Context) (string, []string, error) {
		out, err := session.Render(ctx, s.store, ses, opt, &p)
		identical, there := 0, 0
		for _, f := range out.Files {
			if f.Skipped {
				there++
			}
			if f.BitIdentical {
				identical++
			}
		}
		written := size(out.Bytes) + " written"
		if there > 0 {
			written = fmt.Sprintf("%d there already, %s", there, written)
		}
		if there == len(out.Files) {
			written = "all there already"
		}
		return fmt.Sprintf("%s in %s: %s; %d bit-identical to the recording.", count(len(out.Files), "file"), opt.Dir, written, identical), out.Problems, err
	})
	if err != nil {
		return err
	}
	return s.kept(w, r, fmt.Sprintf("/session/%d", ses.ID), "Rendering.")
}

// maxFolderBytes bounds a folder's name; file systems allow 255 bytes.
const maxFolderBytes = 80

func (s *Server) renderOptions(r *http.Request) (session.RenderOptions, error) {
	folder := strings.TrimSpace(r.FormValue("folder"))
	if folder == "" || folder != filepath.Base(folder) || strings.HasPrefix(folder, ".") || strings.ContainsAny(folder, `/\:`) ||
		len(folder) > maxFolderBytes || strings.ContainsFunc(folder, unicode.IsControl) {
		return session.RenderOptions{}, &badRequest{fmt.Sprintf("%q is no name for a folder", folder), "give a plain name; it is made below " + s.opt.Renders}
	}
	opt := session.RenderOptions{Dir: filepath.Join(s.opt.Renders, folder), Poly: r.FormValue("poly") != "", Overwrite: r.FormValue("overwrite") != ""}
	for name, into := range map[string]*float64{"pre_roll": &opt.PreRollS, "post_roll": &opt.PostRollS} {
		if text := strings.TrimSpace(r.FormValue(name)); text != "" {
			v, err := seconds(text, words(name))
			if err != nil {
				return opt, err
			}
			*into = v
		}
	}
	if bits := r.FormValue("bits"); bits != "" {
		n, err := number(bits, "bit depth")
		if err != nil {
			return opt, err
		}
		opt.BitDepth = int(n)
	}
	return opt, nil
}
