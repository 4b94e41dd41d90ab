package catalog

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"
)

// testStore opens a new catalog in a folder of its own.
func testStore(t testing.TB) *Store {
	t.Helper()
	return reopen(t, filepath.Join(t.TempDir(), "catalog.db"))
}

func reopen(t testing.TB, path string) *Store {
	t.Helper()
	s, err := Open(t.Context(), path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	s.now = func() time.Time { return time.Date(2031, 5, 4, 9, 30, 0, 0, time.UTC) }
	return s
}

func must[T any](v T, err error) func(testing.TB) T {
	return func(t testing.TB) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

func ok(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// wantNotFound fails unless err is a *NotFoundError of a kind.
func wantNotFound(t testing.TB, err error, kind string) {
	t.Helper()
	var e *NotFoundError
	if !errors.As(err, &e) || e.Kind != kind {
		t.Errorf("got %v, want *NotFoundError of a %s", err, kind)
	}
}

// addRecording stores a recording of n tracks of a minute, and its show.
func addRecording(t testing.TB, s *Store, date Date, rig string, n int) Recording {
	t.Helper()
	sh := must(s.EnsureShow(t.Context(), Show{Date: date}))(t)
	const rate = 48000
	tracks := make([]Track, n)
	for i := range tracks {
		tracks[i] = Track{Number: i + 1, Frames: 60 * rate}
	}
	r := Recording{ShowID: sh.ID, Rig: rig, SampleRate: rate, BitDepth: 24, SampleBytes: 3, Encoding: "pcm", Frames: 60 * rate}
	return must(s.SaveRecording(t.Context(), r, nil, tracks, nil))(t)
}

func TestOpenMakesFolder(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a", "b", "catalog.db")
	s := reopen(t, path)
	if s.Path() != path {
		t.Errorf("path %s, want %s", s.Path(), path)
	}
	if _, err := os.Stat(path); err != nil {
		t.Error(err)
	}
	if _, err := Open(t.Context(), ""); err == nil {
		t.Error("an empty path opens")
	}
}

func TestPathsThatLookLikeQueries(t *testing.T) {
	for _, name := range []string{"what?.db", "number #1.db", "two  spaces.db", "100%25.db", "a?mode=memory&x=#y.db", "Zoë.db"} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			path := filepath.Join(dir, name)
			s := reopen(t, path)
			must(s.EnsureShow(t.Context(), Show{Date: "2031-05-02"}))(t)
			ok(t, s.Close())
			entries := must(os.ReadDir(dir))(t)
			if len(entries) != 1 || entries[0].Name() != name {
				t.Fatalf("the folder holds %v, want only %s", entries, name)
			}
			if shows := must(reopen(t, path).Shows(t.Context(), ShowFilter{}))(t); len(shows) != 1 {
				t.Errorf("%d shows after opening again, want 1", len(shows))
			}
		})
	}
}

func TestPragmasHoldOnEveryConnection(t *testing.T) {
	s := testStore(t)
	for i := range 4 {
		c, err := s.db.Conn(t.Context()) // held, so that the next one is new
		ok(t, err)
		defer c.Close()
		for pragma, want := range map[string]string{"foreign_keys": "1", "journal_mode": "wal", "busy_timeout": "10000", "synchronous": "1"} {
			var got string
			ok(t, c.QueryRowContext(t.Context(), "PRAGMA "+pragma).Scan(&got))
			if got != want {
				t.Errorf("connection %d: %s is %s, want %s", i, pragma, got, want)
			}
		}
	}
}

// Two programs on one catalog can both write, both see everything, and get no
// error that it is locked.
func TestTwoStoresOnOneFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "catalog.db")
	const programs, writes = 4, 25
	var wg sync.WaitGroup
	errs := make(chan error, programs)
	for p := range programs {
		wg.Go(func() {
			errs <- func() error {
				s, err := Open(t.Context(), path) // all create the schema at once
				if err != nil {
					return err
				}
				defer s.Close()
				for i := range writes {
					date := Date(fmt.Sprintf("2031-%02d-%02d", p+1, i+1))
					if _, err := s.EnsureShow(t.Context(), Show{Date: date}); err != nil {
						return err
					}
					if _, err := s.AddNote(t.Context(), ShowKey(date), "new bass rig"); err != nil {
						return err
					}
					if _, err := s.Shows(t.Context(), ShowFilter{}); err != nil {
						return err
					}
				}
				return nil
			}()
		})
	}
	wg.Wait()
	for range programs {
		if err := <-errs; err != nil {
			t.Error(err)
		}
	}
	s := reopen(t, path)
	if shows := must(s.Shows(t.Context(), ShowFilter{}))(t); len(shows) != programs*writes {
		t.Errorf("%d shows, want %d", len(shows), programs*writes)
	}
	if notes := must(s.Notes(t.Context(), ""))(t); len(notes) != programs*writes {
		t.Errorf("%d notes, want %d", len(notes), programs*writes)
	}
	ok(t, s.Check(t.Context()))
}

func TestCancelledReadsAndWritesSaySo(t *testing.T) {
	s := testStore(t)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := s.Shows(ctx, ShowFilter{}); !errors.Is(err, context.Canceled) {
		t.Errorf("reading: %v", err)
	}
	if err := s.PutParts(ctx, nil, nil); !errors.Is(err, context.Canceled) {
		t.Errorf("writing: %v", err)
	}
}

func TestUpdateRollsBack(t *testing.T) {
	s := testStore(t)
	cause := errors.New("no")
	err := s.update(t.Context(), func(tx *sql.Tx) error {
		must(insert(t.Context(), tx, "INSERT INTO shows (date, key) VALUES ('2031-05-02', '2031-05-02')"))(t)
		return cause
	})
	if !errors.Is(err, cause) {
		t.Fatal(err)
	}
	if shows := must(s.Shows(t.Context(), ShowFilter{}))(t); len(shows) != 0 {
		t.Errorf("%d shows are left from the failed write", len(shows))
	}
}

func TestCheckFindsDamage(t *testing.T) {
	path := filepath.Join(t.TempDir(), "catalog.db")
	s := reopen(t, path)
	r := addRecording(t, s, "2031-05-02", MainRig, 8)
	var parts []Part
	for _, tr := range must(s.Tracks(t.Context(), TrackFilter{Recording: r.ID}))(t) {
		parts = append(parts, Part{Track: tr.ID, Data: bytes.Repeat([]byte{1}, 3000)})
	}
	ok(t, s.PutParts(t.Context(), parts, nil))
	ok(t, s.Check(t.Context()))
	ok(t, s.Close())

	whole := must(os.ReadFile(path))(t)
	const page = 4096
	for _, c := range []struct {
		name  string
		spoil func([]byte) []byte
	}{
		{"pages overwritten", func(b []byte) []byte {
			for i := page * 2; i < len(b); i++ {
				b[i] = 0xff
			}
			return b
		}},
		{"cut short", func(b []byte) []byte { return b[:len(b)/2/page*page] }},
		{"one page zeroed", func(b []byte) []byte { clear(b[page*3 : page*4]); return b }},
	} {
		t.Run(c.name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "catalog.db")
			ok(t, os.WriteFile(path, c.spoil(bytes.Clone(whole)), 0o644))
			s, err := Open(t.Context(), path) // opening may find the damage already
			if err == nil {
				defer s.Close()
				err = s.Check(t.Context())
			}
			var e *DamageError
			if !errors.As(err, &e) || e.File != path || e.Hint() == "" {
				t.Errorf("got %v, want *DamageError that names the file", err)
			}
		})
	}
	t.Run("a row refers to a missing one", func(t *testing.T) {
		s := reopen(t, path)
		c, err := s.db.Conn(t.Context())
		ok(t, err)
		for _, q := range []string{"PRAGMA foreign_keys=off", "DELETE FROM recordings"} {
			must(c.ExecContext(t.Context(), q))(t)
		}
		ok(t, c.Close())
		var e *DamageError
		if err := s.Check(t.Context()); !errors.As(err, &e) {
			t.Errorf("got %v, want *DamageError", err)
		}
	})
}

// Every list of an empty catalog prints as [].
func TestEmptyListsAreNotNil(t *testing.T) {
	s := testStore(t)
	ctx := t.Context()
	for name, isNil := range map[string]bool{
		"shows":       must(s.Shows(ctx, ShowFilter{}))(t) == nil,
		"recordings":  must(s.Recordings(ctx, RecordingFilter{}))(t) == nil,
		"files":       must(s.Files(ctx, FileFilter{}))(t) == nil,
		"pieces":      must(s.Pieces(ctx, 1))(t) == nil,
		"tracks":      must(s.Tracks(ctx, TrackFilter{}))(t) == nil,
		"parts":       must(s.Parts(ctx, PartFilter{Track: 1}))(t) == nil,
		"part keys":   must(s.PartKeys(ctx, PartFilter{Track: 1}))(t) == nil,
		"markers":     must(s.Markers(ctx, 1))(t) == nil,
		"input lists": must(s.InputLists(ctx))(t) == nil,
		"in force":    InForce(nil, "2031-05-02", MainRig) == nil,
		"songs":       must(s.Songs(ctx))(t) == nil,
		"set list":    must(s.SetList(ctx, "2031-05-02"))(t) == nil,
		"takes":       must(s.Takes(ctx, TakeFilter{}))(t) == nil,
		"dismissed":   must(s.Dismissed(ctx, "2031-05-02"))(t) == nil,
		"findings":    must(s.Findings(ctx, FindingFilter{}))(t) == nil,
		"notes":       must(s.Notes(ctx, ""))(t) == nil,
		"desks":       must(s.Desks(ctx))(t) == nil,
		"sessions":    must(s.Sessions(ctx))(t) == nil,
		"volumes":     must(s.Volumes(ctx))(t) == nil,
	} {
		if isNil {
			t.Errorf("%s: nil", name)
		}
	}
}
