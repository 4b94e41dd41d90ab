package scan

import (
	"errors"
	"strings"
	"syscall"
	"testing"

	"nightreel/internal/tracks"
	"nightreel/internal/wavfile"
)

// A problem says what happened at which byte and what to do; the file stands
// beside it and is not repeated.
func TestProblemOf(t *testing.T) {
	const path = "/drive/TRK01_0003.wav"
	failed := &wavfile.Error{Path: path, Doing: "not read", Offset: 4096, Err: syscall.EIO}
	for _, c := range []struct {
		err  error
		want Problem
		hint string
	}{
		{&tracks.ChangedError{Path: path, Offset: 700, Err: errors.New("it ends after 3 of 5 frames")},
			Problem{File: path, Offset: 700, Problem: "not read: changed since it was scanned: it ends after 3 of 5 frames"}, "scan its folder again"},
		{&tracks.ChangedError{Path: path, Offset: -1, Err: wavfile.ErrEmpty},
			Problem{File: path, Problem: "not read: changed since it was scanned: empty file"}, "scan its folder again"},
		{&tracks.UnreadableError{Path: path, Err: failed}, Problem{File: path, Offset: 4096, Problem: "not read: input/output error"}, "check the drive"},
		{failed, Problem{File: path, Offset: 4096, Problem: "not read: input/output error"}, ""},
		{syscall.EIO, Problem{File: path, Problem: "input/output error"}, ""},
	} {
		got := problemOf(path, c.err)
		if !strings.Contains(got.Hint, c.hint) || c.hint == "" && got.Hint != "" {
			t.Errorf("%v: hint %q, want %q", c.err, got.Hint, c.hint)
		}
		if got.Hint = ""; got != c.want {
			t.Errorf("%v: %+v, want %+v", c.err, got, c.want)
		}
	}
}
