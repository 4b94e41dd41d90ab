package web_test

import (
	"encoding/json"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"nightreel/catalog"
	"nightreel/internal/scan"
	"nightreel/internal/web"
)

// job waits until a job of a kind has ended, and returns it.
func (s *site) job(t *testing.T, kind string) web.Job {
	t.Helper()
	for {
		_, _, body := s.ask(t, "GET", "/data/jobs", nil, nil)
		var all []web.Job
		must(t, json.Unmarshal(body, &all))
		for _, j := range all {
			if j.Kind == kind && j.State != "running" {
				return j
			}
		}
		select {
		case <-t.Context().Done():
			t.Fatal("the job never ended")
		case <-time.After(20 * time.Millisecond):
		}
	}
}

// oneNight serves a catalog of one night, in a folder of its own that a test may
// damage.
func oneNight(t *testing.T) (s *site, dir string) {
	t.Helper()
	demoSite(t, nil) // makes the tour
	tour, err := demoTour()
	must(t, err)
	nights, err := filepath.Glob(filepath.Join(tour, "recordings", "*05-02*"))
	must(t, err)
	dir = filepath.Join(t.TempDir(), "RIG MAIN")
	must(t, os.CopyFS(dir, os.DirFS(nights[0])))
	s = serve(t, filepath.Join(t.TempDir(), "one.nightreel"), func(o *web.Options) { o.Drives = func() []string { return []string{"/media/ada/RIG BACKUP"} } })
	_, err = scan.Run(t.Context(), s.store, []string{dir}, scan.Options{}, nil)
	must(t, err)
	return s, dir
}

// TestVerifyInTheBrowser: a changed byte is found, stays reported after it was
// measured again, and is accepted by a person; then the drive gets another name.
func TestVerifyInTheBrowser(t *testing.T) {
	s, dir := oneNight(t)
	page := func() string {
		_, _, body := s.ask(t, "GET", "/scan", nil, map[string]string{"Accept": "text/html"})
		return string(body)
	}
	if text := page(); !strings.Contains(text, `value="/media/ada/RIG BACKUP"`) || !strings.Contains(text, "has not compared any yet") {
		t.Error("the page offers no drive, or says that files were compared")
	}
	verify := func(want string) {
		t.Helper()
		if status, _, body := s.ask(t, "POST", "/verify", url.Values{}, nil); status != 200 {
			t.Fatalf("verify: %d %s", status, body)
		}
		if j := s.job(t, "verify"); j.State != "done" || j.Title != "Verified all files" || !strings.HasPrefix(j.Result, want) {
			t.Errorf("verified: %+v, want %s", j, want)
		}
	}
	files, err := s.store.Files(t.Context(), catalog.FileFilter{})
	must(t, err)
	verify("16 of 16 files as they were read.")
	if text := page(); !strings.Contains(text, "Nothing is wrong with them.") {
		t.Error("the page does not say that all is well")
	}
	name := files[3].FullPath()
	data, err := os.ReadFile(name)
	must(t, err)
	data[len(data)-100] ^= 1
	must(t, os.WriteFile(name, data, 0o644))
	verify("15 of 16 files as they were read.")
	if text := page(); !strings.Contains(text, "✕ changed") || strings.Contains(text, "Accept it as it is") {
		t.Error("a changed file is not shown, or may be accepted before it was measured again")
	}
	accept := url.Values{"file": {name}, "note": {"copied again"}}
	if status, _, body := s.ask(t, "POST", "/verify/accept", accept, nil); status != 400 || !strings.Contains(string(body), "read unchanged files too") {
		t.Errorf("accepted before it was measured again: %d %s", status, body)
	}
	if status, _, body := s.ask(t, "POST", "/scan", url.Values{"folder": {dir}, "check": {"1"}}, nil); status != 204 {
		t.Fatalf("scan: %d %s", status, body)
	}
	if j := s.job(t, "scan"); j.State != "done" || j.Title != "Scanned "+dir {
		t.Errorf("scanned: %+v", j)
	}
	verify("15 of 16 files as they were read.")
	if text := page(); !strings.Contains(text, "Accept it as it is") {
		t.Error("a file that was measured again cannot be accepted")
	}
	if status, _, body := s.ask(t, "POST", "/verify/accept", accept, nil); status != 200 {
		t.Errorf("not accepted: %d %s", status, body)
	}
	if text := page(); strings.Contains(text, "✕ changed") {
		t.Error("an accepted file is shown as changed")
	}

	to := filepath.Join(filepath.Dir(dir), "RIG MAIN 1")
	must(t, os.Rename(dir, to))
	if status, _, body := s.ask(t, "POST", "/relocate", url.Values{"from": {dir}, "to": {t.TempDir()}}, nil); status != 400 || !strings.Contains(string(body), "not relocated") {
		t.Errorf("relocated to where nothing is: %d %s", status, body)
	}
	if status, _, body := s.ask(t, "POST", "/relocate", url.Values{"from": {dir}, "to": {to}}, nil); status != 200 {
		t.Errorf("relocated: %d %s", status, body)
	}
	verify("16 of 16 files as they were read.")
}

// TestLineCheckInTheBrowser: a recording is compared with the tour, and the page
// says which input comes next; a path outside the known folders is refused where
// the server is reached from elsewhere.
func TestLineCheckInTheBrowser(t *testing.T) {
	s := demoSite(t, nil)
	nights, err := filepath.Glob(filepath.Join(s.dir, "*05-06*"))
	must(t, err)
	if status, _, body := s.ask(t, "POST", "/linecheck", url.Values{"path": {nights[0]}, "date": {"2031-05-06"}, "rig": {"main"}}, nil); status != 200 {
		t.Fatalf("line check: %d %s", status, body)
	}
	if j := s.job(t, "linecheck"); j.State != "done" || j.Title != "Checked the line" || !strings.HasSuffix(j.Result, "16 inputs heard.") {
		t.Errorf("checked: %+v", j)
	}
	_, _, body := s.ask(t, "GET", "/linecheck", nil, map[string]string{"Accept": "text/html"})
	for _, want := range []string{"Play this one next: <b>", "not recorded", "Compared with 3 nights."} {
		if !strings.Contains(string(body), want) {
			t.Errorf("the page lacks %q", want)
		}
	}
	closed := demoSite(t, func(o *web.Options) { o.AnyFolder = false })
	for _, c := range []struct{ path, field, value string }{{"/linecheck", "path", "/etc"}, {"/linecheck", "path", closed.dir + "/../.."}, {"/relocate", "to", "/etc"}, {"/scan", "folder", "/etc"}, {"/linecheck", "path", "etc"}} {
		if status, _, body := closed.ask(t, "POST", c.path, url.Values{c.field: {c.value}, "from": {closed.dir}}, nil); status != 400 {
			t.Errorf("%s of %s: %d %s", c.path, c.value, status, body)
		}
	}
}
