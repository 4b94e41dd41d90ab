package main

import (
	"fmt"
	"path/filepath"
	"time"
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
				fmt.Fprint(e.screen, "\r\x1b[K")
				return
			case <-tick.C:
				if s := line(); s != "" {
					fmt.Fprint(e.screen, "\r\x1b[K"+progressLine(s, columns(e.screen)-1))
				}
			}
		}
	}()
	return func() { close(done); <-gone }
}

// progressLine returns as much of a line as a width shows, so that it does not wrap: what
// has wrapped cannot be drawn over. Nothing is cut for a width that makes no sense.
func progressLine(text string, width int) string {
	if text = inline(text); width > 20 {
		return cut(text, width)
	}
	return text
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
