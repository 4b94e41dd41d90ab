package wavfile

import (
	"errors"
	"fmt"
	"io/fs"
)

// The reasons for which a file as a whole cannot be read, found with
// [errors.Is]. Everything less is read around and listed in [Info.Repairs].
var (
	ErrEmpty       = errors.New("empty file")
	ErrNotWAV      = errors.New("not a WAV file")
	ErrNoFormat    = errors.New("no usable fmt chunk")
	ErrUnsupported = errors.New("unsupported coding")
)

// Error says what could not be done with which file, and where. Err is, or
// wraps, one of the reasons above or an error of the file system.
type Error struct {
	Path   string // as given to [Open] or [Create]; empty from [Parse]
	Doing  string // what could not be done, for example "not read"
	Offset int64  // byte offset in the file, -1 where none applies
	Err    error
}

// Error returns "FILE: what could not be done (at byte N): cause".
func (e *Error) Error() string {
	s := e.Doing
	if e.Path != "" {
		s = e.Path + ": " + s
	}
	if e.Offset >= 0 {
		s += fmt.Sprintf(" (at byte %d)", e.Offset)
	}
	cause := e.Err
	// The path is said once, by us.
	var pe *fs.PathError
	if errors.As(cause, &pe) {
		cause = pe.Err
	}
	return s + ": " + cause.Error()
}

// Unwrap returns the cause.
func (e *Error) Unwrap() error { return e.Err }

// Hint returns what to try, or "" where nothing is known.
func (e *Error) Hint() string {
	switch {
	case errors.Is(e.Err, ErrEmpty):
		return "the recorder made the file but never wrote to it; look for the same take on the other rig"
	case errors.Is(e.Err, ErrNotWAV):
		return "the file has no RIFF/WAVE header; if it is a recording, its first sector was never written"
	case errors.Is(e.Err, ErrNoFormat):
		return "without a fmt chunk rate, channels and sample size are unknown; copy the file again from the recorder's disk"
	case errors.Is(e.Err, ErrUnsupported):
		return "readable are integer PCM of 8 to 32 bits and float of 32 and 64 bits, 1 to 256 channels, 8 to 384 kHz"
	case errors.Is(e.Err, fs.ErrExist):
		return "nothing is ever overwritten unasked; choose another name or move the file away"
	}
	return ""
}
