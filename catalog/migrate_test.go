package catalog

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"testing/fstest"
)

// with returns the landed migrations and one more.
func with(t *testing.T, sql string) fs.FS {
	t.Helper()
	all := fstest.MapFS{}
	names := must(fs.Glob(migrations, "migrations/*.sql"))(t)
	for _, n := range names {
		all[n] = &fstest.MapFile{Data: must(migrations.ReadFile(n))(t)}
	}
	all["migrations/9999_next.sql"] = &fstest.MapFile{Data: []byte(sql)}
	return all
}

const nextSQL = "ALTER TABLE notes ADD COLUMN author TEXT NOT NULL DEFAULT 'nobody';"

func newest(t *testing.T) int { return len(must(fs.Glob(migrations, "migrations/*.sql"))(t)) }

func userVersion(t *testing.T, s *Store) int {
	t.Helper()
	return must(schemaVersion(t.Context(), s.db))(t)
}

// copyOf copies a file into a folder of its own.
func copyOf(t *testing.T, name string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "catalog.db")
	ok(t, os.WriteFile(path, must(os.ReadFile(name))(t), 0o644))
	return path
}

func TestNewAndOpenedAgain(t *testing.T) {
	path := filepath.Join(t.TempDir(), "catalog.db")
	s := reopen(t, path)
	if v := userVersion(t, s); v != newest(t) {
		t.Errorf("a new catalog has version %d, want %d", v, newest(t))
	}
	must(s.EnsureShow(t.Context(), Show{Date: "2031-05-02"}))(t)
	ok(t, s.Close())
	s = reopen(t, path)
	if shows := must(s.Shows(t.Context(), ShowFilter{}))(t); len(shows) != 1 {
		t.Errorf("%d shows, want 1", len(shows))
	}
	ok(t, s.Close())
	if left := must(filepath.Glob(path + "*"))(t); len(left) != 1 {
		t.Errorf("opening without migrating leaves %v", left)
	}
}

func TestOlderCatalogIsMigratedAndKept(t *testing.T) {
	path := filepath.Join(t.TempDir(), "catalog.db")
	s := reopen(t, path)
	must(s.EnsureShow(t.Context(), Show{Date: "2031-05-02"}))(t)
	must(s.AddNote(t.Context(), "2031-05-02", "new bass rig"))(t)
	ok(t, s.Close())
	kept := fmt.Sprintf("%s.v%d", path, newest(t))
	ok(t, os.WriteFile(kept, []byte("half a copy of an earlier try"), 0o644))

	s = must(open(t.Context(), path, with(t, nextSQL)))(t)
	defer s.Close()
	if v := userVersion(t, s); v != newest(t)+1 {
		t.Errorf("version %d, want %d", v, newest(t)+1)
	}
	var author string
	ok(t, s.db.QueryRowContext(t.Context(), "SELECT author FROM notes").Scan(&author))
	if author != "nobody" {
		t.Errorf("author %q", author)
	}
	old := reopen(t, kept)
	if v := userVersion(t, old); v != newest(t) {
		t.Errorf("the copy has version %d, want %d", v, newest(t))
	}
	if notes := must(old.Notes(t.Context(), ""))(t); len(notes) != 1 {
		t.Errorf("the copy has %d notes, want 1", len(notes))
	}
	if left := must(filepath.Glob(path + "*.part"))(t); len(left) != 0 {
		t.Errorf("left over: %v", left)
	}
}

func TestNewerCatalogIsRefused(t *testing.T) {
	path := filepath.Join(t.TempDir(), "catalog.db")
	ok(t, must(open(t.Context(), path, with(t, nextSQL)))(t).Close())
	before := must(os.ReadFile(path))(t)
	_, err := Open(t.Context(), path)
	var e *VersionError
	if !errors.As(err, &e) || e.Have != newest(t)+1 || e.Know != newest(t) || e.Hint() == "" {
		t.Fatalf("got %v, want *VersionError of %d and %d", err, newest(t)+1, newest(t))
	}
	if !strings.HasPrefix(err.Error(), path+": ") || !strings.Contains(err.Error(), e.Error()) {
		t.Errorf("%s: names neither file nor versions", err)
	}
	if !bytes.Equal(before, must(os.ReadFile(path))(t)) {
		t.Error("the refused catalog was changed")
	}
}

func TestFailingMigrationLeavesTheCatalog(t *testing.T) {
	path := filepath.Join(t.TempDir(), "catalog.db")
	s := reopen(t, path)
	must(s.EnsureShow(t.Context(), Show{Date: "2031-05-02"}))(t)
	ok(t, s.Close())

	_, err := open(t.Context(), path, with(t, nextSQL+" DELETE FROM shows; INSERT INTO nowhere VALUES (1);"))
	if err == nil || !strings.Contains(err.Error(), "9999_next.sql") {
		t.Fatalf("got %v, want an error that names the migration", err)
	}
	if left := must(filepath.Glob(path + ".*"))(t); len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
	s = reopen(t, path)
	if v := userVersion(t, s); v != newest(t) {
		t.Errorf("version %d, want %d", v, newest(t))
	}
	if shows := must(s.Shows(t.Context(), ShowFilter{}))(t); len(shows) != 1 {
		t.Errorf("%d shows, want 1", len(shows))
	}
	var n int
	ok(t, s.db.QueryRowContext(t.Context(), "SELECT count(*) FROM pragma_table_info('notes') WHERE name = 'author'").Scan(&n))
	if n != 0 {
		t.Error("half of the migration stayed")
	}
	ok(t, s.Check(t.Context()))

	// With a corrected migration it succeeds.
	ok(t, s.Close())
	ok(t, must(open(t.Context(), path, with(t, nextSQL)))(t).Close())
}

func TestSeveralMigrateAtOnce(t *testing.T) {
	path := filepath.Join(t.TempDir(), "catalog.db")
	ok(t, reopen(t, path).Close())
	all := with(t, nextSQL)
	errs := make(chan error)
	for range 4 {
		go func() {
			s, err := open(context.Background(), path, all)
			if err == nil {
				err = s.Close()
			}
			errs <- err
		}()
	}
	for range 4 {
		if err := <-errs; err != nil {
			t.Error(err)
		}
	}
	if v := userVersion(t, reopen(t, path+".v1")); v != newest(t) {
		t.Errorf("the copy has version %d, want %d", v, newest(t))
	}
}

func TestOtherFilesAreRefusedAndLeftAlone(t *testing.T) {
	dir := t.TempDir()
	other, versioned := filepath.Join(dir, "other.db"), filepath.Join(dir, "versioned.db")
	for path, q := range map[string]string{
		other:     "CREATE TABLE contacts (name TEXT)",
		versioned: "PRAGMA user_version = 1",
	} {
		db := must(sql.Open("sqlite3", path))(t)
		must(db.ExecContext(t.Context(), q))(t)
		ok(t, db.Close())
	}
	text, short := filepath.Join(dir, "inputs.csv"), filepath.Join(dir, "short.txt")
	ok(t, os.WriteFile(text, bytes.Repeat([]byte("track,channel\n"), 100), 0o644))
	ok(t, os.WriteFile(short, []byte("x"), 0o644))
	for _, path := range []string{other, versioned, text, short} {
		before := must(os.ReadFile(path))(t)
		_, err := Open(t.Context(), path)
		var e *NotCatalogError
		if !errors.As(err, &e) || e.Hint() == "" || !strings.HasPrefix(err.Error(), path) {
			t.Errorf("%s: got %v, want *NotCatalogError", path, err)
		}
		if !bytes.Equal(before, must(os.ReadFile(path))(t)) {
			t.Errorf("%s was changed", path)
		}
	}
}

// A catalog of 0 bytes has lost its content, because a new catalog is never
// empty.
func TestEmptyFileIsSaidToBeEmpty(t *testing.T) {
	empty := filepath.Join(t.TempDir(), "empty.db")
	ok(t, os.WriteFile(empty, nil, 0o644))
	for name, open := range map[string]func(context.Context, string) (*Store, error){"Open": Open, "OpenExisting": OpenExisting} {
		_, err := open(t.Context(), empty)
		var e *EmptyError
		if !errors.As(err, &e) || e.Hint() == "" {
			t.Errorf("%s: got %v, want *EmptyError", name, err)
		}
	}
	if info := must(os.Stat(empty))(t); info.Size() != 0 {
		t.Error("the file was written to")
	}
}

// If a program was killed while it created the catalog, the file has a blank
// page and the log holds the rest, if anything.
func TestUnfinishedNewCatalogOpens(t *testing.T) {
	path := filepath.Join(t.TempDir(), "catalog.db")
	db := must(sql.Open("sqlite3", "file:"+path+"?_journal_mode=wal"))(t)
	ok(t, db.PingContext(t.Context()))
	ok(t, db.Close())
	if info := must(os.Stat(path))(t); info.Size() == 0 {
		t.Fatal("the file is empty, which another test covers")
	}
	reopen(t, path)
}

const oldest = "testdata/catalog-v1.db"

// The oldest catalog ever written opens, migrated, with all its content.
// UPDATE=1 writes it again, as long as there is only one migration.
func TestOldestCatalog(t *testing.T) {
	if os.Getenv("UPDATE") != "" && newest(t) == 1 {
		path := filepath.Join(t.TempDir(), "catalog.db")
		s := reopen(t, path)
		fill(t, s)
		ok(t, s.Close())
		ok(t, os.WriteFile(oldest, must(os.ReadFile(path))(t), 0o644))
	}
	fresh := testStore(t)
	fill(t, fresh)
	for name, all := range map[string]fs.FS{"the landed migrations": migrations, "and one more": with(t, nextSQL)} {
		t.Run(name, func(t *testing.T) {
			path := copyOf(t, oldest)
			s := must(open(t.Context(), path, all))(t)
			defer s.Close()
			ok(t, s.Check(t.Context()))
			if got, want := documents(t, s), documents(t, fresh); !reflect.DeepEqual(got, want) {
				t.Errorf("got  %s\nwant %s", got, want)
			}
		})
	}
}

// A landed migration is never edited: the oldest catalog has the schema that the
// first migration makes today.
func TestFirstMigrationIsAsItLanded(t *testing.T) {
	first := "migrations/0001_first.sql"
	made := must(open(t.Context(), filepath.Join(t.TempDir(), "new.db"), fstest.MapFS{first: {Data: must(migrations.ReadFile(first))(t)}}))(t)
	defer made.Close()
	landed := must(open(t.Context(), copyOf(t, oldest), fstest.MapFS{first: {Data: must(migrations.ReadFile(first))(t)}}))(t)
	defer landed.Close()
	schema := func(s *Store) []string {
		return must(list(t.Context(), s.db, "SELECT name || ': ' || coalesce(sql, '') FROM sqlite_schema ORDER BY name", nil, func(row scanner) (line string, err error) {
			return line, row.Scan(&line)
		}))(t)
	}
	if got, want := schema(made), schema(landed); !reflect.DeepEqual(got, want) {
		t.Errorf("%s was edited:\ngot  %s\nwant %s", first, got, want)
	}
}

// No partial copy stays behind, neither from a migration that a full disk
// interrupted, nor from one that cannot write its copy.
func TestNoHalfCopyIsLeft(t *testing.T) {
	left := func(path string) []string { t.Helper(); return must(filepath.Glob(path + ".v*.part*"))(t) }
	path := copyOf(t, oldest)
	for _, name := range []string{".v1.part", ".v1.part-journal"} {
		ok(t, os.WriteFile(path+name, []byte("cut off"), 0o644))
	}
	s := reopen(t, path)
	if s.Kept() != path+".v1" || len(left(path)) != 0 {
		t.Errorf("kept %q, left %q", s.Kept(), left(path))
	}

	path = copyOf(t, oldest)
	ok(t, os.MkdirAll(filepath.Join(path+".v1", "in the way"), 0o755))
	if _, err := Open(t.Context(), path); err == nil || !strings.Contains(err.Error(), path+".v1") {
		t.Errorf("got %v, want an error that names the copy", err)
	}
	if len(left(path)) != 0 {
		t.Errorf("left %q", left(path))
	}
}
