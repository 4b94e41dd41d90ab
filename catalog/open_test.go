package catalog

import (
	"errors"
	"io/fs"
	"os"
	command "os/exec"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
)

func wantReadOnly(t testing.TB, err error) {
	t.Helper()
	var e *ReadOnlyError
	if !errors.As(err, &e) || e.Hint() == "" {
		t.Errorf("got %v, want *ReadOnlyError", err)
	}
}

func TestOpenExistingNeverCreates(t *testing.T) {
	dir := t.TempDir()
	tour := filepath.Join(dir, "demo-tour")
	ok(t, reopen(t, filepath.Join(tour, "demo.nightreel")).Close())
	ok(t, os.WriteFile(filepath.Join(tour, "inputs.csv"), []byte("track,channel\n"), 0o644))
	for path, near := range map[string][]string{
		filepath.Join(dir, "demo-tuor", "demo.nightreel"): {filepath.Join(tour, "demo.nightreel")},
		filepath.Join(tour, "dmeo.nightreel"):             {filepath.Join(tour, "demo.nightreel")},
		filepath.Join(tour, "x"):                          {filepath.Join(tour, "demo.nightreel")}, // the only one there
		filepath.Join(dir, "elsewhere", "x"):              {},
	} {
		_, err := OpenExisting(t.Context(), path)
		var e *MissingError
		if !errors.As(err, &e) || !reflect.DeepEqual(e.Near, near) || !strings.Contains(err.Error(), path) {
			t.Errorf("%s: got %v, near %v; want *MissingError, near %v", path, err, e.Near, near)
		}
		if _, err := os.Stat(path); !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("%s was made", path)
		}
	}
	if _, err := os.Stat(filepath.Join(dir, "demo-tuor")); !errors.Is(err, fs.ErrNotExist) {
		t.Error("a folder was made")
	}
}

func TestOpenSaysThatItCreated(t *testing.T) {
	path := filepath.Join(t.TempDir(), "catalog.db")
	if s := reopen(t, path); !s.Created() {
		t.Error("a new catalog is not said to be new")
	}
	if s := reopen(t, path); s.Created() {
		t.Error("an old catalog is said to be new")
	}
	entries := must(os.ReadDir(filepath.Dir(path)))(t)
	for _, e := range entries {
		if strings.HasPrefix(e.Name(), ".") {
			t.Errorf("%s was left behind", e.Name())
		}
	}
}

func TestOpenExistingWritesWhereItCan(t *testing.T) {
	path := filepath.Join(t.TempDir(), "catalog.db")
	ok(t, reopen(t, path).Close())
	s := must(OpenExisting(t.Context(), path))(t)
	defer s.Close()
	if s.ReadOnly() {
		t.Fatal("a catalog that can be written to is read-only")
	}
	must(s.EnsureShow(t.Context(), Show{Date: "2031-05-02"}))(t)
}

// readAll reads a catalog that cannot be written to, and checks that changes
// fail.
func readAll(t *testing.T, s *Store, want map[string]string) {
	t.Helper()
	if !s.ReadOnly() {
		t.Error("not said to be read-only")
	}
	if got := documents(t, s); !reflect.DeepEqual(got, want) {
		t.Errorf("got  %s\nwant %s", got, want)
	}
	_, err := s.EnsureShow(t.Context(), Show{Date: "2031-05-09"})
	wantReadOnly(t, err)
	wantReadOnly(t, s.DeleteRecording(t.Context(), 1))
	ok(t, s.PutDerived(t.Context(), DerivedKey{Recording: 1, Kind: Strips}, 0, []byte("kept nowhere"))) // a cache, so no error
}

// Every way to read a read-only catalog works on a disk where all are possible:
// a log with content and an older schema are read from a copy.
func TestOpenReadOnly(t *testing.T) {
	fresh := testStore(t)
	fill(t, fresh)
	want := documents(t, fresh)
	t.Run("closed properly", func(t *testing.T) {
		path := filepath.Join(t.TempDir(), "catalog.db")
		s := reopen(t, path)
		fill(t, s)
		ok(t, s.Close())
		ro := must(openReadOnly(t.Context(), path, migrations))(t)
		readAll(t, ro, want)
		ok(t, ro.Close())
	})
	t.Run("an older schema", func(t *testing.T) {
		path := copyOf(t, oldest)
		before := must(os.ReadFile(path))(t)
		ro := must(openReadOnly(t.Context(), path, migrations))(t)
		readAll(t, ro, want)
		if ro.Path() != path {
			t.Errorf("it says that it is %s", ro.Path())
		}
		copied := ro.copied
		ok(t, ro.Close())
		if _, err := os.Stat(copied); !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("the copy in %s stayed", copied)
		}
		if !reflect.DeepEqual(before, must(os.ReadFile(path))(t)) {
			t.Error("the catalog was changed")
		}
	})
	t.Run("a newer schema", func(t *testing.T) {
		path := filepath.Join(t.TempDir(), "catalog.db")
		ok(t, must(open(t.Context(), path, with(t, nextSQL)))(t).Close())
		_, err := openReadOnly(t.Context(), path, migrations)
		var e *VersionError
		if !errors.As(err, &e) {
			t.Errorf("got %v, want *VersionError", err)
		}
	})
	t.Run("the log is not empty", func(t *testing.T) {
		from := filepath.Join(t.TempDir(), "catalog.db")
		s := reopen(t, from)
		fill(t, s) // still in the log
		to := filepath.Join(t.TempDir(), "catalog.db")
		ok(t, copyFile(from, to))
		ok(t, copyFile(from+"-wal", to+"-wal"))
		ro := must(openCopy(t.Context(), to, migrations))(t)
		defer ro.Close()
		readAll(t, ro, want)
	})
}

// On a write-protected disk nothing can be created beside the catalog, which
// SQLite needs for its log's index.
func TestWriteProtectedDisk(t *testing.T) {
	fresh := testStore(t)
	fill(t, fresh)
	want := documents(t, fresh)
	dir := t.TempDir()
	mount := func(args ...string) {
		if out, err := command.CommandContext(t.Context(), "mount", args...).CombinedOutput(); err != nil {
			t.Skipf("mounting needs rights that this user does not have: %v: %s", err, out)
		}
	}
	mount("-t", "tmpfs", "-o", "size=16m", "tmpfs", dir)
	defer command.Command("umount", dir).Run()
	closed, open, old := filepath.Join(dir, "closed.db"), filepath.Join(dir, "open.db"), filepath.Join(dir, "old.db")
	s := reopen(t, closed)
	fill(t, s)
	ok(t, s.Close())
	from := filepath.Join(t.TempDir(), "catalog.db")
	s = reopen(t, from)
	fill(t, s)
	ok(t, copyFile(from, open))
	ok(t, copyFile(from+"-wal", open+"-wal"))
	ok(t, s.Close())
	ok(t, copyFile(oldest, old))
	mount("-o", "remount,ro", dir)
	for _, path := range []string{closed, open, old} {
		t.Run(filepath.Base(path), func(t *testing.T) {
			ro := must(OpenExisting(t.Context(), path))(t)
			readAll(t, ro, want)
			ok(t, ro.Close())
		})
	}
	_, err := OpenExisting(t.Context(), filepath.Join(dir, "close.db"))
	var e *MissingError
	if !errors.As(err, &e) || len(e.Near) == 0 || e.Near[0] != closed {
		t.Errorf("got %v, want *MissingError near %s", err, closed)
	}
}

// A full disk has no room for the log and its index; the catalog can still be
// read.
func TestFullDisk(t *testing.T) {
	fresh := testStore(t)
	fill(t, fresh)
	want := documents(t, fresh)
	dir := t.TempDir()
	if out, err := command.CommandContext(t.Context(), "mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", dir).CombinedOutput(); err != nil {
		t.Skipf("mounting needs rights that this user does not have: %v: %s", err, out)
	}
	defer command.Command("umount", dir).Run()
	path := filepath.Join(dir, "catalog.db")
	s := reopen(t, path)
	fill(t, s)
	ok(t, s.Close())
	os.WriteFile(filepath.Join(dir, "rest"), make([]byte, 1<<20), 0o644) // until the disk is full
	ro := must(OpenExisting(t.Context(), path))(t)
	defer ro.Close()
	if got := documents(t, ro); !reflect.DeepEqual(got, want) {
		t.Errorf("got  %s\nwant %s", got, want)
	}
	if _, err := ro.EnsureShow(t.Context(), Show{Date: "2031-05-09"}); err == nil {
		t.Error("written to a full disk")
	}
}

func TestNearest(t *testing.T) {
	for _, c := range []struct {
		name  string
		known []string
		want  []string
	}{
		{"clipping", []string{"clipped", "flat_top", "dropout"}, []string{"clipped"}},
		{"Hatt", []string{"Hat", "Kick In", "Ride"}, []string{"Hat"}},
		{"main", []string{"main", "backup"}, []string{"main"}},
		{"mian", []string{"backup", "main"}, []string{"main"}}, // two letters exchanged: one mistake
		{"kick", []string{"Kick In", "Kick Out", "Snare"}, []string{"Kick In", "Kick Out"}},
		{"Marow Lane", []string{"Marrow Lane", "Narrow Line"}, []string{"Marrow Lane", "Narrow Line"}},
		{"nosuch", []string{"main", "backup"}, []string{}},
		{"2031-05-04", []string{"2031-05-02", "2031-05-03", "2031-05-05", "2031-05-06"}, []string{"2031-05-02", "2031-05-03", "2031-05-05"}},
		{"", []string{"main"}, []string{}},
		{"x", []string{"", "x", "x"}, []string{"x"}},
	} {
		if got := Nearest(c.name, c.known); !reflect.DeepEqual(got, c.want) {
			t.Errorf("%q: got %q, want %q", c.name, got, c.want)
		}
	}
}

func TestNotFoundOffersTheNearest(t *testing.T) {
	for _, c := range []struct {
		err  *NotFoundError
		want string
	}{
		{NotFound("rig", "mian", []string{"main", "backup"}, ""), `did you mean "main"?`},
		{NotFound("rig", "nosuch", []string{"main", "backup", "main"}, "look"), `known: main, backup; look`},
		{NotFound("rig", "nosuch", nil, "look"), `look`},
	} {
		if got := c.err.Hint(); got != c.want {
			t.Errorf("got %q, want %q", got, c.want)
		}
	}
}
