package lists

import (
	"fmt"
	"strings"
)

// Error reports what in a list could not be read, where, and what to do.
type Error struct {
	File    string
	Line    int    // from 1; 0 if the problem concerns the whole file
	Column  string // the column's heading as written; "" if no column is concerned
	Problem string // includes the value
	Remedy  string
	Err     error // the cause; may be nil
}

func (e *Error) Error() string {
	var b strings.Builder
	b.WriteString(e.File)
	if e.Line > 0 {
		fmt.Fprintf(&b, ": line %d", e.Line)
		if e.Column != "" {
			fmt.Fprintf(&b, ", column %q", e.Column)
		}
	}
	b.WriteString(": " + e.Problem)
	if e.Err != nil {
		b.WriteString(": " + e.Err.Error())
	}
	return b.String()
}

func (e *Error) Unwrap() error { return e.Err }

// Hint returns what to do about it.
func (e *Error) Hint() string { return e.Remedy }
