package playback

import (
	"errors"
	"os"
	"path/filepath"
	"testing"
)

func TestOnePlayerHasTheDesk(t *testing.T) {
	catalog := filepath.Join(t.TempDir(), "tour.nightreel")
	first, err := take(catalog, 7)
	if err != nil {
		t.Fatal(err)
	}
	_, err = take(catalog, 8)
	busy, ok := errors.AsType[*BusyError](err)
	if !ok || busy.Session != 7 || busy.Process != os.Getpid() || busy.Since.IsZero() {
		t.Fatalf("a second player got %v (%+v), not that session 7 has the desk", err, busy)
	}
	if other, err := take(filepath.Join(t.TempDir(), "tour.nightreel"), 8); err != nil {
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

// The player of a test without a device names one that there is not: what
// fails to open lets go of the desk.
func TestPlayerThatDidNotOpenLetsGo(t *testing.T) {
	prog := tapeProgram(3, twoSongs...)
	store := stored(t, prog)
	opt := Options{Device: "no such thing", Command: []string{os.Args[0], PlayerCommand}}
	for range 2 {
		_, err := Start(t.Context(), store, prog, opt)
		if _, busy := errors.AsType[*BusyError](err); err == nil || busy {
			t.Fatalf("got %v, not that there is no such device", err)
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
		t.Errorf("got %v, not that the desk is taken", err)
	}
	opt.Device = "null"
	p, err := Start(t.Context(), store, prog, opt)
	if err != nil {
		t.Fatalf("a sink that nobody hears needs no desk: %v", err)
	}
	if _, err := p.Close(t.Context()); err != nil {
		t.Error(err)
	}
}
