package main

import (
	"context"
	"errors"
	"fmt"

	"nightreel/internal/playback"
)

// The terminal's rules. Standard output carries the result and nothing else:
// a table, or with --json one document. Progress, warnings and errors go to
// standard error; progress only where that is a terminal, and never with
// --json. An error reads "nightreel: FILE: what happened: cause", followed by a
// "hint:" line where something is known that helps. What everything is printed through
// stands in output.go, and what keeps lists within the terminal's width in table.go.

// Exit statuses, published in the help and the README.
const (
	statusDone        = 0
	statusFailed      = 1
	statusUsage       = 2
	statusFound       = 3
	statusInterrupted = 130
)

// usageError is a command line that could not be understood.
type usageError struct {
	command string // "nightreel scan"
	text    string
}

func (e *usageError) Error() string { return e.command + ": " + e.text }

// Hint points to the command's help.
func (e *usageError) Hint() string { return e.command + " --help" }

// foundError says that a command is done and found what it was asked to fail
// on. The result is printed already.
type foundError struct{ text string }

func (e *foundError) Error() string { return e.text }

// report prints an error and returns the exit status that goes with it.
func (e *env) report(ctx context.Context, err error) int {
	var usage *usageError
	var found *foundError
	switch {
	case err == nil:
		return statusDone
	case errors.As(err, &found):
		e.say("nightreel: %s", found.text)
		return statusFound
	case errors.As(err, &usage):
		e.failed("", err)
		return statusUsage
	case errors.Is(err, context.Canceled) && ctx.Err() != nil:
		if hangs := (*playback.HangError)(nil); errors.As(err, &hangs) {
			e.failed("nightreel: ", hangs)
		}
		e.say("nightreel: interrupted; what was finished is kept; run the same command again to go on")
		return statusInterrupted
	}
	e.failed("nightreel: ", err)
	return statusFailed
}

// failed prints an error, and a hint where one is known that helps.
func (e *env) failed(before string, err error) {
	e.say("%s%v", before, err)
	var hinter interface{ Hint() string }
	if errors.As(err, &hinter) && hinter.Hint() != "" {
		e.say("hint: %s", hinter.Hint())
	}
}

// size writes a size as the trade does, in powers of ten.
func size(n int64) string {
	switch {
	case n >= 1e9:
		return fmt.Sprintf("%.1f GB", float64(n)/1e9)
	case n >= 1e6:
		return fmt.Sprintf("%.1f MB", float64(n)/1e6)
	case n >= 1e3:
		return fmt.Sprintf("%.0f kB", float64(n)/1e3)
	}
	return fmt.Sprintf("%d B", n)
}

// count writes a number with its word in the right form.
func count(n int, one string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %ss", n, one)
}
