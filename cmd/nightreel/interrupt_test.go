//go:build unix

package main

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"testing"
	"time"

	"nightreel/catalog"
)

// A second Ctrl-C ends a command that waits for what never comes: here a list from
// standard input, elsewhere a disk that does not answer.
func TestSecondInterruptEnds(t *testing.T) {
	file := filepath.Join(t.TempDir(), "c.nightreel")
	store, err := catalog.Open(t.Context(), file)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := store.EnsureShow(t.Context(), catalog.Show{Date: "2031-05-02"}); err != nil {
		t.Fatal(err)
	}
	if err := store.Close(); err != nil {
		t.Fatal(err)
	}
	cmd := program(t, file, "setlist", "import", "-", "--show", "2031-05-02")
	if _, err := cmd.StdinPipe(); err != nil { // stays open
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() { ended <- cmd.Wait() }()
	// Once the catalog is open, the program has long asked for interrupts.
	deadline := time.Now().Add(20 * time.Second)
	for {
		if _, err := os.Stat(file + "-wal"); err == nil {
			break
		} else if !errors.Is(err, fs.ErrNotExist) || time.Now().After(deadline) {
			t.Fatalf("the catalog was not opened: %v", err)
		}
		time.Sleep(5 * time.Millisecond)
	}
	for {
		cmd.Process.Signal(os.Interrupt)
		select {
		case <-ended:
			return
		case <-time.After(50 * time.Millisecond):
		}
		if time.Now().After(deadline) {
			cmd.Process.Kill()
			t.Fatal("the program ignores interrupts")
		}
	}
}
