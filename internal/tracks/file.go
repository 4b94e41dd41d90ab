package tracks

import (
	"errors"
	"fmt"
	"io"
	"io/fs"

	"nightreel/catalog"
	"nightreel/internal/wavfile"
)

// File describes one file of a recording: all that is needed to read it, without
// a catalog.
type File struct {
	Path       string         `json:"path"`
	Format     wavfile.Format `json:"format"`
	DataOffset int64          `json:"data_offset"` // byte offset of the first sample
	Frames     int64          `json:"frames"`      // that were scanned
}

// Describe describes a file of a recording as the catalog has it.
func Describe(r catalog.Recording, f catalog.File) File {
	return File{Path: f.FullPath(), Format: Format(r, f.Channels), DataOffset: f.DataOffset, Frames: f.Frames}
}

// Handle is an open WAV file. Its reads are those of
// [wavfile.File.ReadFrames], and may come from several goroutines at once.
type Handle interface {
	ReadFrames(dst []byte, frame int64) (int, error)
	Info() *wavfile.Info
	Close() error
}

// OpenFunc opens a WAV file. Tests put slow and failing disks behind it.
type OpenFunc func(path string) (Handle, error)

// OpenWAV opens a WAV file on the disk, read-only.
func OpenWAV(path string) (Handle, error) {
	f, err := wavfile.Open(path)
	if err != nil {
		return nil, err // not a Handle that holds nil
	}
	return f, nil
}

// Source is a [File], open and still what was scanned. Its reads may come from
// several goroutines at once.
type Source struct {
	file   File
	handle Handle
}

// Open opens the file and checks that it still is what was scanned: its samples
// have the same format, begin at the same byte, and are at least as many.
//
// The check leaves out what changes while the samples stay. The time of
// modification changes when a file is copied, and some file systems keep it in
// local time. The length changes while the recorder is still writing, and when
// another program appends a chunk. What a file has beyond the frames that were
// scanned is not read. Only checksums can tell whether the samples themselves
// were replaced; nightreel verify compares them.
//
// Errors: *[ChangedError], *[UnreadableError].
func (f File) Open(open OpenFunc) (*Source, error) {
	h, err := open(f.Path)
	if err != nil {
		return nil, f.trouble(err)
	}
	if err := f.compare(h.Info()); err != nil {
		h.Close() // read-only: nothing can be lost
		return nil, err
	}
	return &Source{f, h}, nil
}

// compare returns a *ChangedError if the file is not what was scanned.
func (f File) compare(i *wavfile.Info) error {
	changed := func(offset int64, format string, args ...any) error {
		return &ChangedError{Path: f.Path, Offset: offset, Err: fmt.Errorf(format, args...)}
	}
	switch {
	case i.Format != f.Format:
		return changed(-1, "it has %s now, and had %s", i.Format, f.Format)
	case i.DataOffset != f.DataOffset:
		return changed(i.DataOffset, "its samples began at byte %d", f.DataOffset)
	case i.Frames < f.Frames:
		return changed(i.DataOffset+i.Frames*int64(i.Format.FrameBytes()), "it ends after %d of %d frames", i.Frames, f.Frames)
	}
	return nil
}

// Read fills dst with whole frames from the given frame of the file on, and
// returns how many are good: all of them, or fewer and an error. It reads no
// frames beyond those that were scanned.
//
// Errors: *[ChangedError] if the file has become shorter, *[UnreadableError].
func (s *Source) Read(dst []byte, frame int64) (int, error) {
	want := len(dst) / s.file.Format.FrameBytes()
	if frame < 0 || frame+int64(want) > s.file.Frames {
		return 0, fmt.Errorf("%s: not read: frames %d to %d of %d", s.file.Path, frame, frame+int64(want), s.file.Frames)
	}
	n, err := s.handle.ReadFrames(dst, frame)
	switch {
	case err == nil && n < want:
		err = io.ErrUnexpectedEOF
	case err == nil:
		return n, nil
	}
	return n, s.file.trouble(err)
}

// Close closes the file.
func (s *Source) Close() error { return s.handle.Close() }

// trouble sorts an error of opening or reading the file: what is there is not
// what was scanned, or it cannot be had.
func (f File) trouble(err error) error {
	offset, cause := int64(-1), err
	var e *wavfile.Error
	if errors.As(err, &e) {
		offset, cause = e.Offset, e.Err
	}
	switch {
	case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF):
		return &ChangedError{Path: f.Path, Offset: offset, Err: errors.New("it has become shorter")}
	case errors.Is(err, wavfile.ErrEmpty), errors.Is(err, wavfile.ErrNotWAV), errors.Is(err, wavfile.ErrNoFormat), errors.Is(err, wavfile.ErrUnsupported):
		return &ChangedError{Path: f.Path, Offset: offset, Err: cause}
	}
	return &UnreadableError{Path: f.Path, Err: err}
}

// ChangedError says that a file is not what was scanned.
type ChangedError struct {
	Path   string
	Offset int64 // byte offset of the difference in the file as it is now; -1: none applies
	Err    error // what differs
}

// Error returns "FILE: not read (at byte N): changed since it was scanned: cause".
func (e *ChangedError) Error() string {
	return (&wavfile.Error{Path: e.Path, Doing: "not read", Offset: e.Offset, Err: e.Cause()}).Error()
}

// Cause returns the error without the file and the byte.
func (e *ChangedError) Cause() error { return fmt.Errorf("changed since it was scanned: %w", e.Err) }

// Unwrap returns what differs.
func (e *ChangedError) Unwrap() error { return e.Err }

// Hint says what to do about it.
func (e *ChangedError) Hint() string {
	return "scan its folder again and build sessions that use it anew; nightreel verify lists the files that changed"
}

// UnreadableError says that a file cannot be opened or read: mostly a drive that
// is unplugged, or one that fails.
type UnreadableError struct {
	Path string
	Err  error // of the file system; mostly a *[wavfile.Error]
}

// Error returns "FILE: what could not be done (at byte N): cause".
func (e *UnreadableError) Error() string {
	var w *wavfile.Error
	if errors.As(e.Err, &w) {
		return w.Error()
	}
	return (&wavfile.Error{Path: e.Path, Doing: "not read", Offset: -1, Err: e.Err}).Error()
}

// Unwrap returns the error of the file system.
func (e *UnreadableError) Unwrap() error { return e.Err }

// Hint says what to do about it.
func (e *UnreadableError) Hint() string {
	switch {
	case errors.Is(e.Err, fs.ErrNotExist):
		return "plug in the drive, or tell nightreel with relocate where it is now"
	case errors.Is(e.Err, fs.ErrPermission):
		return "give yourself the right to read it"
	}
	return "check the drive and its cable and try again; if it stays like this, take the track from another rig"
}
