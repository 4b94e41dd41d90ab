//go:build unix

package main

import (
	"encoding/binary"
	"io"
	"os/exec"
	"path/filepath"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"nightreel/internal/playback/jackrig"
)

// session play is stopped as a whole, as by Ctrl-Z or a machine out of breath:
// what the audio server gets falls silent within 1 s.
func TestFrozenParentFallsSilent(t *testing.T) {
	if testing.Short() {
		t.Skip("another process plays: nothing for the race detector")
	}
	const rate, inputs = 12_000, 16
	server := jackrig.Start(t, jackrig.Options{Rate: rate, Period: 256, Ports: inputs})
	dir, err := smallTour()
	if err != nil {
		t.Fatal(err)
	}
	tour := filepath.Join(dir, "tour")
	t.Setenv("NIGHTREEL_CATALOG", filepath.Join(t.TempDir(), "c.nightreel"))
	program := self(t)
	for _, args := range [][]string{
		{"scan", tour}, {"inputs", "import", filepath.Join(tour, "inputs.csv"), "--from", "2031-05-02"},
		{"desk", "import", filepath.Join(tour, "desk-foh.csv"), "--name", "foh"},
		{"takes", "set", "--show", "2031-05-02", "--song", "One", "--start", "2", "--end", "12", "--yes"},
		{"session", "build", "--desk", "foh", "--song", "One"},
	} {
		if out, err := exec.Command(program, args...).CombinedOutput(); err != nil {
			t.Fatalf("%v: %v: %s", args, err, out)
		}
	}
	p := playSession(t, program, "--cautions-read", "--device", "jack")
	p.waits("stopped")
	c := server.Capture(t, "nightreel", inputs)
	var all, sounding atomic.Int64 // frames, and the last one with sound
	var ended = make(chan struct{})
	go func() {
		defer close(ended)
		for row := make([]byte, 4*inputs); ; {
			if _, err := io.ReadFull(c, row); err != nil {
				return
			}
			n := all.Add(1)
			for i := range inputs {
				if binary.LittleEndian.Uint32(row[4*i:])<<1 != 0 {
					sounding.Store(n)
					break
				}
			}
		}
	}()
	// The server's clock, not ours: it lets time slip on a busy machine.
	passes := func(frames int64) {
		t.Helper()
		patience := time.After(time.Minute)
		for end := all.Load() + frames; all.Load() < end; {
			select {
			case <-patience:
				t.Fatal("the audio server stands still")
			case <-time.After(10 * time.Millisecond):
			}
		}
	}
	p.types("loop 1 9", "play")
	passes(2 * rate)
	if all.Load()-sounding.Load() > rate/2 {
		t.Fatal("it does not play")
	}
	before := all.Load()
	if err := p.cmd.Process.Signal(syscall.SIGSTOP); err != nil {
		t.Fatal(err)
	}
	passes(3 * rate)
	took := float64(sounding.Load()-before) / rate
	if err := p.cmd.Process.Signal(syscall.SIGCONT); err != nil {
		t.Fatal(err)
	}
	t.Logf("the last sound came %.2f s after the stop", took)
	if took > 1 {
		t.Errorf("it sounded for %.2f s after its starter was frozen", took)
	}
	// Awake again it is paused, and says so.
	p.waits("paused")
	c.Stop()
	<-ended
}
