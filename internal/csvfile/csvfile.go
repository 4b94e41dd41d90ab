// Package csvfile writes comma-separated values that a spreadsheet shows and never runs.
package csvfile

import (
	"encoding/csv"
	"io"
	"strconv"
	"strings"
	"unicode/utf8"
)

// Writer writes lines of comma-separated values as [csv.Writer] does (RFC 4180), each text
// that a spreadsheet would take for a formula with an apostrophe before it.
type Writer struct{ *csv.Writer }

// NewWriter returns a Writer that writes to w.
func NewWriter(w io.Writer) *Writer { return &Writer{csv.NewWriter(w)} }

// Write writes one line. Errors are those of [csv.Writer.Write].
func (w *Writer) Write(cells []string) error {
	out := make([]string, len(cells))
	for i, c := range cells {
		out[i] = Defuse(c)
	}
	return w.Writer.Write(out)
}

// WriteAll writes lines, then flushes them.
func (w *Writer) WriteAll(lines [][]string) error {
	for _, l := range lines {
		if err := w.Write(l); err != nil {
			return err
		}
	}
	w.Flush()
	return w.Error()
}

// starts are the characters by which spreadsheets tell a formula (OWASP, "CSV Injection":
// the four signs, their full-width forms, tab, carriage return and line feed).
const starts = "=+-@\t\r\n\uff1d\uff0b\uff0d\uff20"

// Defuse returns a cell with an apostrophe before it if a spreadsheet would run it.
// Numbers, "-inf" among them, stay as they are.
func Defuse(cell string) string {
	if !runs(cell) {
		return cell
	}
	return "'" + cell
}

// Fuse returns what [Defuse] was given.
func Fuse(cell string) string {
	if rest, defused := strings.CutPrefix(cell, "'"); defused && runs(rest) {
		return rest
	}
	return cell
}

func runs(cell string) bool {
	first, _ := utf8.DecodeRuneInString(cell)
	if cell == "" || !strings.ContainsRune(starts, first) {
		return false
	}
	_, err := strconv.ParseFloat(cell, 64)
	return err != nil
}
