package wavfile

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"syscall"

	"github.com/google/renameio/v2"
)

// maxRIFF is the largest RIFF size of a file that is not RF64; one more is the
// marker for "look in ds64".
const maxRIFF = noSize - 1

// Options are the choices of [Options.Create]. The zero value is right nearly
// always.
type Options struct {
	// Replace lets the finished file take the place of one that is there.
	// Without it Create and Close refuse.
	Replace bool
	// ForceRF64 writes RF64 even where RIFF would do.
	ForceRF64 bool

	maxRIFF int64 // 0 = maxRIFF; tests set it low
}

// Writer writes one WAV file. The file appears under its name when Close has
// succeeded, complete and on the disk, or not at all; until then it has a
// temporary name in the same folder that begins with a dot. A Writer is for one
// goroutine.
type Writer struct {
	path    string
	opt     Options
	format  Format
	f       *renameio.PendingFile
	buf     *bufio.Writer
	factAt  int64 // offset of the frame count in fact; 0 = no fact chunk
	dataAt  int64 // offset of the first sample
	written int64 // bytes of audio
	err     error // the first error; nothing is written after it
	ended   bool  // by Close or Abort
}

// errEnded is returned for writing after Close or Abort.
var errEnded = errors.New("writer is closed")

// Create begins a WAV file at path and writes all of meta in front of the
// audio. It is RIFF, and becomes RF64 by itself when it outgrows 4 GiB. A file
// that is there already is never replaced; see [Options.Replace].
//
// IXML.Raw, where set, is written as it is and the other IXML fields are not;
// clear it to write them. Texts of bext are cut to their fields, the bext
// version is raised to what is set, and cues without unique ids are numbered.
//
// Every error is an [*Error], wrapping [ErrUnsupported] for a format that
// cannot be written and [fs.ErrExist] for a file that is there.
func Create(path string, f Format, meta Meta) (*Writer, error) {
	return Options{}.Create(path, f, meta)
}

// Create is [Create] with options.
func (o Options) Create(path string, f Format, meta Meta) (*Writer, error) {
	fail := func(err error) (*Writer, error) {
		return nil, &Error{Path: path, Doing: "not created", Offset: -1, Err: err}
	}
	if o.maxRIFF == 0 {
		o.maxRIFF = maxRIFF
	}
	w := &Writer{path: path, opt: o, format: f}
	head, err := w.header(meta)
	if err != nil {
		return fail(err)
	}
	if err := w.mayReplace(); err != nil {
		return fail(err)
	}
	w.f, err = renameio.NewPendingFile(path,
		renameio.WithTempDir(filepath.Dir(path)), renameio.WithPermissions(0o666))
	if err != nil {
		return fail(err)
	}
	w.buf = bufio.NewWriterSize(w.f, 256<<10)
	if _, err := w.buf.Write(head); err != nil {
		w.f.Cleanup()
		return fail(err)
	}
	return w, nil
}

// Header returns everything that a WAV file has before its first sample, with
// the sizes that go with so many frames: RIFF, or RF64 where the file is too
// long for RIFF. The samples follow it, and a zero byte if their length is odd.
// It is for whoever passes a file on without writing it to a disk; see [Create]
// for meta.
func Header(f Format, frames int64, meta Meta) ([]byte, error) {
	w := &Writer{format: f, opt: Options{maxRIFF: maxRIFF}}
	b, err := w.header(meta)
	if err == nil && (frames < 0 || frames > (math.MaxInt64-int64(len(b))-1)/int64(f.FrameBytes())) {
		err = fmt.Errorf("%d frames: no file has so many", frames)
	}
	if err != nil {
		return nil, &Error{Doing: "header not made", Offset: -1, Err: err}
	}
	w.written = frames * int64(f.FrameBytes())
	for _, p := range w.patches() {
		copy(b[p.at:], p.bytes)
	}
	return b, nil
}

// header builds everything up to the first sample. Sizes are filled in by
// [Writer.Close] and [Header]; the JUNK chunk keeps the place of ds64 (EBU Tech
// 3306).
func (w *Writer) header(meta Meta) ([]byte, error) {
	if err := w.format.Check(); err != nil {
		return nil, err
	}
	b := []byte("RIFF\x00\x00\x00\x00WAVE")
	b = appendChunk(b, "JUNK", make([]byte, 28))
	b = appendChunk(b, "fmt ", appendFormat(nil, w.format))
	if w.format.Encoding == Float || w.format.extensible() {
		// Due wherever the tag is not plain PCM.
		w.factAt = int64(len(b)) + 8
		b = appendChunk(b, "fact", make([]byte, 4))
	}
	for _, c := range []struct {
		id   string
		body []byte
	}{{"bext", bextBody(meta.Bext)}, {"iXML", iXMLBody(meta.IXML)}} {
		if len(c.body) >= maxTextChunk {
			return nil, fmt.Errorf("%s chunk of %d bytes, %d are possible", c.id, len(c.body), maxTextChunk)
		}
		if len(c.body)%2 == 1 {
			// Both end at a NUL. libsndfile 1.2.0 forgets the pad byte of chunks
			// that it does not know in RF64, and then finds no audio.
			c.body = append(c.body, 0)
		}
		if len(c.body) > 0 {
			b = appendChunk(b, c.id, c.body)
		}
	}
	var err error
	if len(meta.Cues) > 0 {
		if b, err = appendCues(b, meta.Cues); err != nil {
			return nil, err
		}
	}
	if b, err = appendInfo(b, meta.Tags); err != nil {
		return nil, err
	}
	b = append(b, "data\x00\x00\x00\x00"...)
	w.dataAt = int64(len(b))
	return b, nil
}

func bextBody(x *Bext) []byte {
	if x == nil {
		return nil
	}
	return appendBext(nil, x)
}

func iXMLBody(x *IXML) []byte {
	if x == nil {
		return nil
	}
	return appendIXML(nil, x)
}

func (w *Writer) mayReplace() error {
	if w.opt.Replace {
		return nil
	}
	_, err := os.Lstat(w.path)
	if err == nil {
		return fs.ErrExist
	}
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return err
}

// WriteFrames writes whole frames, laid out as in the file.
func (w *Writer) WriteFrames(raw []byte) error {
	if n := w.format.FrameBytes(); len(raw)%n != 0 {
		return w.stop(fmt.Errorf("%d bytes are no whole frames of %d", len(raw), n))
	}
	_, err := w.Write(raw)
	return err
}

// Write is [io.Writer] for audio as it is in the file. Frames may be split
// between calls, but must be whole by Close.
func (w *Writer) Write(p []byte) (int, error) {
	if w.ended {
		return 0, w.fail(errEnded)
	}
	if w.err != nil {
		return 0, w.err
	}
	n, err := w.buf.Write(p)
	w.written += int64(n)
	if err != nil {
		return n, w.stop(err)
	}
	return n, nil
}

// Frames returns the whole frames written so far.
func (w *Writer) Frames() int64 { return w.written / int64(w.format.FrameBytes()) }

func (w *Writer) fail(err error) error {
	return &Error{Path: w.path, Doing: "not written", Offset: w.dataAt + w.written, Err: err}
}

// stop keeps the first error, so that Close cannot finish the file.
func (w *Writer) stop(err error) error {
	if w.err == nil {
		w.err = w.fail(err)
	}
	return w.err
}

// Close finishes the header, syncs the file, gives it its name and syncs the
// folder. After an error, of Close or of an earlier write, nothing is left
// behind under either name.
func (w *Writer) Close() error {
	if w.ended {
		return w.fail(errEnded)
	}
	if w.err == nil {
		if err := w.finish(); err != nil {
			w.stop(err)
		}
	}
	if w.err != nil {
		return errors.Join(w.err, w.Abort())
	}
	w.ended = true
	return w.syncFolder()
}

// Abort removes the temporary file. After Close it does nothing, so that it
// can be deferred.
func (w *Writer) Abort() error {
	if w.ended {
		return nil
	}
	w.ended = true
	if err := w.f.Cleanup(); err != nil {
		return &Error{Path: w.f.Name(), Doing: "temporary file not removed", Offset: -1, Err: err}
	}
	return nil
}

func (w *Writer) finish() error {
	if over := w.written % int64(w.format.FrameBytes()); over != 0 {
		return fmt.Errorf("last frame has %d of %d bytes", over, w.format.FrameBytes())
	}
	if w.written%2 == 1 {
		if err := w.buf.WriteByte(0); err != nil {
			return err
		}
	}
	if err := w.buf.Flush(); err != nil {
		return err
	}
	for _, p := range w.patches() {
		if _, err := w.f.WriteAt(p.bytes, p.at); err != nil {
			return err
		}
	}
	if err := w.mayReplace(); err != nil {
		return err
	}
	return w.f.CloseAtomicallyReplace()
}

type patch struct {
	at    int64
	bytes []byte
}

// patches are the sizes that are known only now.
func (w *Writer) patches() []patch {
	le := binary.LittleEndian
	u32 := func(n int64) []byte { return le.AppendUint32(nil, uint32(min(n, noSize))) }
	riff := w.dataAt + w.written + w.written%2 - 8
	var p []patch
	if w.factAt > 0 {
		p = append(p, patch{w.factAt, u32(w.Frames())})
	}
	if riff <= w.opt.maxRIFF && !w.opt.ForceRF64 {
		return append(p, patch{4, u32(riff)}, patch{w.dataAt - 4, u32(w.written)})
	}
	b := append([]byte("ds64"), u32(28)...)
	b = le.AppendUint64(b, uint64(riff))
	b = le.AppendUint64(b, uint64(w.written))
	b = le.AppendUint64(b, uint64(w.Frames()))
	return append(p, patch{12, b}, patch{w.dataAt - 4, u32(noSize)},
		patch{0, append([]byte("RF64"), u32(noSize)...)})
}

// syncFolder makes the new name survive a power cut. File systems that cannot
// sync a folder are let be.
func (w *Writer) syncFolder() error {
	d, err := os.Open(filepath.Dir(w.path))
	if err != nil {
		return w.fail(err)
	}
	defer d.Close()
	if err := d.Sync(); err != nil && !errors.Is(err, syscall.EINVAL) && !errors.Is(err, errors.ErrUnsupported) {
		return w.fail(err)
	}
	return nil
}
