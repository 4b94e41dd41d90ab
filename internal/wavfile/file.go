package wavfile

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"os"

	"github.com/go-audio/audio"
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
	n, err := f.f.ReadAt(dst, at)
	if n == len(dst) {
		return n / size, nil
	}
	if err == io.EOF {
		err = io.ErrUnexpectedEOF
	}
	return n / size, &Error{Path: f.path, Doing: "not read", Offset: at + int64(n), Err: err}
}

// ReadBuffer fills buf.Data with integer PCM samples, interleaved, starting at
// the given frame, sets buf.Format and buf.SourceBitDepth, and returns the
// frames read. len(buf.Data) must be a multiple of the channel count; samples
// past the returned frames are left as they were. Returns are those of
// [File.ReadFrames]; a float file gives an error wrapping [ErrUnsupported].
//
// Values are go-audio's: two's complement over the whole container, so that 24
// bits in 4 bytes span 32 bits, and 0 to 255 for 8 bit.
func (f *File) ReadBuffer(buf *audio.IntBuffer, frame int64) (int, error) {
	fm := f.info.Format
	if fm.Encoding != PCM {
		return 0, &Error{Path: f.path, Doing: "not read as integers", Offset: -1,
			Err: fmt.Errorf("%w: float samples", ErrUnsupported)}
	}
	if len(buf.Data)%fm.Channels != 0 {
		return 0, &Error{Path: f.path, Doing: "not read", Offset: -1,
			Err: fmt.Errorf("%d samples are no whole frames of %d channels", len(buf.Data), fm.Channels)}
	}
	buf.Format = fm.Audio()
	buf.SourceBitDepth = 8 * fm.ContainerBytes

	want := len(buf.Data) / fm.Channels
	raw := make([]byte, min(want, max(1, 64<<10/fm.FrameBytes()))*fm.FrameBytes())
	if want == 0 {
		return f.ReadFrames(nil, frame)
	}
	done := 0
	for done < want {
		part := raw[:min(len(raw), (want-done)*fm.FrameBytes())]
		n, err := f.ReadFrames(part, frame+int64(done))
		decodeInts(buf.Data[done*fm.Channels:], raw[:n*fm.FrameBytes()], fm.ContainerBytes)
		done += n
		if err == io.EOF && done > 0 {
			return done, nil
		}
		if err != nil {
			return done, err
		}
	}
	return done, nil
}

// decodeInts writes the integer samples of raw to dst.
func decodeInts(dst []int, raw []byte, bytes int) {
	for i := range len(raw) / bytes {
		b := raw[i*bytes:]
		switch bytes {
		case 1:
			dst[i] = int(b[0])
		case 2:
			dst[i] = int(int16(binary.LittleEndian.Uint16(b)))
		case 3:
			dst[i] = int(int24(b))
		default:
			dst[i] = int(int32(binary.LittleEndian.Uint32(b)))
		}
	}
}
