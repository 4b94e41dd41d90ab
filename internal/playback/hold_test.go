package playback

import (
	"errors"
	"os"
	"path/filepath"
	"testing"
)

func emptyFile(t *testing.T) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "tour.nightreel")
	if err := os.WriteFile(path, nil, 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

// A second player is refused whatever path leads to the catalog, and also after
// the file that names the first player was deleted.
func TestOnePlayerByWhateverPath(t *testing.T) {
	catalog := emptyFile(t)
	link, hard, folder := catalog+"-link", filepath.Join(t.TempDir(), "other.nightreel"), filepath.Join(t.TempDir(), "folder")
	if err := errors.Join(os.Symlink(catalog, link), os.Link(catalog, hard), os.Symlink(filepath.Dir(catalog), folder)); err != nil {
		t.Fatal(err)
	}
	paths := []string{catalog, link, hard, filepath.Join(folder, filepath.Base(catalog))}
	for _, own := range paths {
		for _, deleted := range []bool{false, true} {
			first, err := take(own, 7)
			if err != nil {
				t.Fatal(err)
			}
			if deleted {
				if err := os.Remove(first.beside.Path()); err != nil {
					t.Fatal(err)
				}
			}
			for _, path := range paths {
				if second, err := take(path, 8); err == nil {
					t.Errorf("a second player by %s, while one by %s plays, its file deleted: %v", path, own, deleted)
					second.release()
				} else if _, ok := errors.AsType[*BusyError](err); !ok {
					t.Errorf("%s: %v, not that the desk is taken", path, err)
				}
			}
			if err := first.release(); err != nil {
				t.Fatal(err)
			}
		}
	}
}

func TestOnePlayerHasTheDesk(t *testing.T) {
	catalog := emptyFile(t)
	first, err := take(catalog, 7)
	if err != nil {
		t.Fatal(err)
	}
	_, err = take(catalog, 8)
	busy, ok := errors.AsType[*BusyError](err)
	if !ok || busy.Session != 7 || busy.Process != os.Getpid() || busy.Since.IsZero() {
		t.Fatalf("a second player got %v (%+v), want that session 7 has the desk", err, busy)
	}
	if other, err := take(emptyFile(t), 8); err != nil {
		t.Errorf("another catalog's player was kept off: %v", err)
	} else if err := other.release(); err != nil {
		t.Error(err)
	}
	if err := first.release(); err != nil {
		t.Fatal(err)
	}
	again, err := take(catalog, 8)
	if err != nil {
		t.Fatalf("the desk is free again, and still: %v", err)
	}
	if err := again.release(); err != nil {
		t.Error(err)
	}
}

// A player that fails to open its device releases the desk. This test needs no
// device: it names a missing one.
func TestPlayerThatDidNotOpenLetsGo(t *testing.T) {
	prog := tapeProgram(3, twoSongs...)
	store := stored(t, prog)
	opt := Options{Device: "no such thing", Command: []string{os.Args[0], PlayerCommand}}
	for range 2 {
		_, err := Start(t.Context(), store, prog, opt)
		if _, busy := errors.AsType[*BusyError](err); err == nil || busy {
			t.Fatalf("got %v, want an error about a missing device", err)
		}
	}
	h, err := take(store.Path(), prog.Session)
	if err != nil {
		t.Fatal(err)
	}
	defer h.release()
	if _, err := Start(t.Context(), store, prog, opt); err == nil {
		t.Error("a second player started")
	} else if _, ok := errors.AsType[*BusyError](err); !ok {
		t.Errorf("got %v, want an error that the desk is taken", err)
	}
	opt.Device = "null"
	p, err := Start(t.Context(), store, prog, opt)
	if err != nil {
		t.Fatalf("a silent sink needs no desk, but got: %v", err)
	}
	if _, err := p.Close(t.Context()); err != nil {
		t.Error(err)
	}
}
