package wavfile

import (
	"errors"
	"fmt"
	"io"
	"os"
)

// File is a WAV file open for reading. Its methods may be called from several
// goroutines at once, Close excepted.
type File struct {
	f    *os.File
	path string
	info *Info
}

// Open opens a WAV file read-only and parses its header. The length of the
// file at this moment is what counts: what a recorder appends later is seen by
// the next Open.
//
// Every error is an [*Error]; its cause is [ErrEmpty], [ErrNotWAV],
// [ErrNoFormat], [ErrUnsupported] or an error of the file system.
func Open(path string) (*File, error) {
	fail := func(err error) (*File, error) {
		return nil, &Error{Path: path, Doing: "not opened", Offset: -1, Err: err}
	}
	defer Ask(path)()
	// Asked before opening, since opening a named pipe waits for its writer.
	st, err := os.Stat(path)
	if err != nil {
		return fail(err)
	}
	if !st.Mode().IsRegular() {
		return fail(fmt.Errorf("%w: not a regular file", ErrNotWAV))
	}
	f, err := os.Open(path)
	if err != nil {
		return fail(err)
	}
	if st, err = f.Stat(); err != nil {
		f.Close()
		return fail(err)
	}
	info, err := Parse(f, st.Size())
	if err != nil {
		f.Close()
		var e *Error
		if errors.As(err, &e) {
			e.Path = path
		}
		return nil, err
	}
	return &File{f: f, path: path, info: info}, nil
}

// Info returns what the header says. It must not be changed.
func (f *File) Info() *Info { return f.info }

// Path returns the path given to [Open].
func (f *File) Path() string { return f.path }

// Close closes the file.
func (f *File) Close() error { return f.f.Close() }

// ReadFrames reads frames, as they are in the file, into dst, starting at the
// given frame. len(dst) must be a multiple of the frame size. It returns the
// number of whole frames read; the legal returns are
//
//	n == len(dst)/FrameBytes, nil    all that was asked for
//	0 < n < len(dst)/FrameBytes, nil the file ends here
//	0, nil                           dst is empty
//	0, io.EOF                        frame ≥ Info.Frames; never with n > 0
//	n, *Error                        the disk failed after n good frames, the
//	                                 file has become shorter since Open
//	                                 (io.ErrUnexpectedEOF), or the arguments
//	                                 are wrong
func (f *File) ReadFrames(dst []byte, frame int64) (int, error) {
	size := f.info.Format.FrameBytes()
	if len(dst)%size != 0 || frame < 0 {
		return 0, &Error{Path: f.path, Doing: "not read", Offset: -1,
			Err: fmt.Errorf("%d bytes from frame %d on: frames have %d bytes and count from 0", len(dst), frame, size)}
	}
	left := f.info.Frames - frame
	switch {
	case len(dst) == 0:
		return 0, nil
	case left <= 0:
		return 0, io.EOF
	case int64(len(dst)/size) > left:
		dst = dst[:left*int64(size)]
	}
	at := f.info.DataOffset + frame*int64(size)
	call := ask(f.path)
	n, err := f.f.ReadAt(dst, at)
	answer(call)
	if n == len(dst) {
		return n / size, nil
	}
	if err == io.EOF {
		err = io.ErrUnexpectedEOF
	}
	return n / size, &Error{Path: f.path, Doing: "not read", Offset: at + int64(n), Err: err}
}
