package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"
)

// The terminal's rules. Standard output carries the result and nothing else:
// a table, or with --json one document. Progress, warnings and errors go to
// standard error; progress only where that is a terminal, and never with
// --json. An error reads "nightreel: FILE: what happened: cause", followed by a
// "hint:" line where something is known that helps.

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
		fmt.Fprintf(e.stderr, "nightreel: %s\n", found.text)
		return statusFound
	case errors.As(err, &usage):
		fmt.Fprintf(e.stderr, "%v\nhint: %s\n", usage, usage.Hint())
		return statusUsage
	case errors.Is(err, context.Canceled) && ctx.Err() != nil:
		fmt.Fprintln(e.stderr, "nightreel: interrupted; what was finished is kept; run the same command again to go on")
		return statusInterrupted
	}
	fmt.Fprintf(e.stderr, "nightreel: %v\n", err)
	var hinter interface{ Hint() string }
	if errors.As(err, &hinter) && hinter.Hint() != "" {
		fmt.Fprintf(e.stderr, "hint: %s\n", hinter.Hint())
	}
	return statusFailed
}

// warn prints a warning to standard error.
func (e *env) warn(format string, args ...any) {
	fmt.Fprintf(e.stderr, "warning: "+format+"\n", args...)
}

// say prints a sentence to standard error.
func (e *env) say(format string, args ...any) { fmt.Fprintf(e.stderr, format+"\n", args...) }

// tell prints on standard error what else happened.
func (e *env) tell(sentences []string) {
	for _, s := range sentences {
		fmt.Fprintln(e.stderr, s)
	}
}

// printJSON prints one document.
func (e *env) printJSON(v any) error {
	enc := json.NewEncoder(e.stdout)
	enc.SetIndent("", "  ")
	enc.SetEscapeHTML(false)
	return enc.Encode(v)
}

// printJSONLine prints one document of many on a line of its own.
func (e *env) printJSONLine(v any) error {
	enc := json.NewEncoder(e.stdout)
	enc.SetEscapeHTML(false)
	return enc.Encode(v)
}

// table collects rows and prints them in aligned columns.
type table struct {
	head []string // a leading '>' aligns the column to the right
	rows [][]string
}

func newTable(head ...string) *table { return &table{head: head} }

func (t *table) row(cells ...string) { t.rows = append(t.rows, cells) }

// print writes the table; nothing where it has no rows.
func (t *table) print(w io.Writer) error {
	if len(t.rows) == 0 {
		return nil
	}
	right := make([]bool, len(t.head))
	width := make([]int, len(t.head))
	head := make([]string, len(t.head))
	for i, h := range t.head {
		head[i], right[i] = strings.CutPrefix(h, ">")
		width[i] = utf8.RuneCountInString(head[i])
	}
	for _, r := range t.rows {
		for i, cell := range r {
			width[i] = max(width[i], utf8.RuneCountInString(cell))
		}
	}
	for _, r := range append([][]string{head}, t.rows...) {
		var line strings.Builder
		for i, cell := range r {
			pad := strings.Repeat(" ", width[i]-utf8.RuneCountInString(cell))
			if i > 0 {
				line.WriteString("  ")
			}
			if right[i] {
				line.WriteString(pad + cell)
			} else {
				line.WriteString(cell + pad)
			}
		}
		if _, err := fmt.Fprintln(w, strings.TrimRight(line.String(), " ")); err != nil {
			return err
		}
	}
	return nil
}

// wrapped breaks a text into lines of at most width characters, each behind
// the indent.
func wrapped(text, indent string, width int) string {
	var b strings.Builder
	column := 0
	for _, word := range strings.Fields(text) {
		n := utf8.RuneCountInString(word)
		switch {
		case column == 0:
			b.WriteString(indent)
			column = len(indent)
		case column+1+n > width:
			b.WriteString("\n" + indent)
			column = len(indent)
		default:
			b.WriteByte(' ')
			column++
		}
		b.WriteString(word)
		column += n
	}
	return b.String()
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
