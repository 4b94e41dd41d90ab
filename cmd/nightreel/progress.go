package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"golang.org/x/term"
)

// progressTick is how often a progress line is drawn anew: often enough to look
// alive, seldom enough to cost nothing.
const progressTick = 250 * time.Millisecond

// watch draws a progress line on the terminal until the function it returns is
// called. line is asked again and again from another goroutine; an empty line
// leaves the screen as it is.
func (e *env) watch(quiet bool, line func() string) (stop func()) {
	if quiet || !e.terminal {
		return func() {}
	}
	done, gone := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(gone)
		tick := time.NewTicker(progressTick)
		defer tick.Stop()
		for {
			select {
			case <-done:
				fmt.Fprint(e.stderr, "\r\x1b[K")
				return
			case <-tick.C:
				if s := line(); s != "" {
					fmt.Fprint(e.stderr, "\r\x1b[K"+cut(s, columns(e.stderr)-1))
				}
			}
		}
	}()
	return func() { close(done); <-gone }
}

// columns returns how wide the terminal behind w is, 0 where there is none.
func columns(w io.Writer) int {
	if f, ok := w.(*os.File); ok {
		if width, _, err := term.GetSize(int(f.Fd())); err == nil {
			return width
		}
	}
	return 0
}

// cut returns as much of a line as a width shows, so that it does not wrap: what
// has wrapped cannot be drawn over. Nothing is cut for a width that makes no
// sense.
func cut(line string, width int) string {
	if r := []rune(line); width > 20 && len(r) > width {
		return string(r[:width-1]) + "…"
	}
	return line
}

// fileName returns what a progress line has room for of a path.
func fileName(path string) string {
	if path == "" {
		return ""
	}
	return filepath.Base(path)
}

// pace words how far a job over bytes is, how fast, and how long it will take.
func pace(done, total int64, since time.Time) string {
	elapsed := time.Since(since).Seconds()
	if done == 0 || elapsed == 0 {
		return fmt.Sprintf("%s of %s", size(done), size(total))
	}
	rate := float64(done) / elapsed
	left := time.Duration(float64(total-done) / rate * float64(time.Second)).Round(time.Second)
	return fmt.Sprintf("%s of %s, %s/s, %s left", size(done), size(total), size(int64(rate)), left)
}
