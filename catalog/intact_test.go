package catalog

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// If an open catalog's file is deleted, replaced or cut, every change is refused
// and says so, and closing the catalog leaves the file that lies there now alone.
func TestACatalogThatIsGoneIsNotWrittenTo(t *testing.T) {
	for what, harm := range map[string]func(t *testing.T, path string){
		"deleted": func(t *testing.T, path string) { ok(t, os.Remove(path)) },
		"replaced by another file": func(t *testing.T, path string) {
			ok(t, reopen(t, path+".other").Close())
			ok(t, os.WriteFile(path+"-wal", []byte("of another catalog"), 0o644))
			ok(t, os.Rename(path+".other", path))
		},
		"to 0 bytes":     func(t *testing.T, path string) { ok(t, os.Truncate(path, 0)) },
		"to 12288 bytes": func(t *testing.T, path string) { ok(t, os.Truncate(path, 3*4096)) },
	} {
		t.Run(what, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "catalog.db")
			ok(t, reopen(t, path).Close())
			s := reopen(t, path)
			must(s.EnsureShow(t.Context(), Show{Date: "2031-05-02"}))(t)
			ok(t, s.Intact())
			harm(t, path)
			log, _ := os.ReadFile(path + "-wal")
			_, written := s.AddNote(t.Context(), "2031-05-02", "new bass rig")
			for _, err := range []error{s.Intact(), written} {
				var gone *GoneError
				if !errors.As(err, &gone) || !strings.Contains(err.Error(), what) || !strings.Contains(err.Error(), path) || gone.Hint() == "" {
					t.Errorf("got %v, want *GoneError that says %q", err, what)
				}
			}
			ok(t, s.Close())
			if now, _ := os.ReadFile(path + "-wal"); string(now) != string(log) {
				t.Error("closing changed what lies beside the catalog's place")
			}
		})
	}
}

// A catalog whose file lacks its end is opened neither for reading nor for
// writing.
func TestACutCatalogIsRefused(t *testing.T) {
	whole := filepath.Join(t.TempDir(), "catalog.db")
	s := reopen(t, whole)
	fill(t, s)
	ok(t, s.Close())
	data := must(os.ReadFile(whole))(t)
	for _, bytes := range []int{0, 1, 99, 100, 4095, 4096, 3 * 4096, len(data) / 2, len(data) - 4096, len(data) - 250, len(data) - 1} {
		path := filepath.Join(t.TempDir(), "catalog.db")
		ok(t, os.WriteFile(path, data[:bytes], 0o644))
		for _, open := range []func() (*Store, error){
			func() (*Store, error) { return Open(t.Context(), path) },
			func() (*Store, error) { return OpenExisting(t.Context(), path) },
		} {
			s, err := open()
			if err == nil {
				t.Errorf("%d of %d bytes: opened", bytes, len(data))
				s.Close()
				continue
			}
			var hint interface{ Hint() string }
			if !errors.As(err, &hint) || !strings.Contains(err.Error(), path) {
				t.Errorf("%d bytes: %v", bytes, err)
			}
		}
		if now := must(os.ReadFile(path))(t); len(now) != bytes {
			t.Errorf("%d bytes: the refused file has %d now", bytes, len(now))
		}
	}
}
