package playback

import (
	"fmt"
	"io"
	"sync"
	"sync/atomic"

	"nightreel/internal/wavfile"
)

// Recording is an open file of a recording, as the reader needs it. Its reads
// are those of [wavfile.File.ReadFrames] and may come from several goroutines.
type Recording interface {
	ReadFrames(dst []byte, frame int64) (int, error)
	Info() *wavfile.Info
	Close() error
}

// OpenFunc opens a recording. Tests put slow and failing disks behind it.
type OpenFunc func(path string) (Recording, error)

// OpenFile opens a recording on the disk, read-only.
func OpenFile(path string) (Recording, error) { return wavfile.Open(path) }

// file is one file of the program. A file that fails is closed, left alone for
// a while, and opened again.
type file struct {
	path       string
	format     wavfile.Format
	dataOffset int64
	frames     int64
	open       OpenFunc

	shown  atomic.Pointer[error] // failed, for others
	mu     sync.Mutex
	rec    Recording
	failed error // nil while it can be read
	wait   int64 // frames of the program still to be skipped before the next try
	pause  int64 // frames that the last failure cost
}

// failed files rest for retryFirst of a second of audio, then twice as long, up
// to retryMost: a dying drive answers slowly, and must not starve the others.
const (
	retryFirst = 0.25
	retryMost  = 4
)

// ChangedError says that a recording is not what was scanned.
type ChangedError struct{ Path string }

func (e *ChangedError) Error() string { return e.Path + ": not played: changed since it was scanned" }

// Hint returns what to do about it.
func (e *ChangedError) Hint() string {
	return "scan its folder again and build the session anew; nightreel verify tells which files changed"
}

// ensure opens the file where it is not open.
func (f *file) ensure() error {
	if f.rec != nil {
		return nil
	}
	rec, err := f.open(f.path)
	if err != nil {
		return err
	}
	if i := rec.Info(); i.Format != f.format || i.DataOffset != f.dataOffset || i.Frames < f.frames {
		rec.Close()
		return &ChangedError{f.path}
	}
	f.rec = rec
	return nil
}

// read fills raw with frames from the given frame on. skipped is the length of
// the block in frames of the program, at its rate, for counting the rest of a
// file that failed. On an error raw holds nothing of use.
func (f *file) read(raw []byte, frame, skipped int64, rate int) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.failed != nil && f.wait > 0 {
		f.wait -= skipped
		return f.failed
	}
	err := f.ensure()
	if err == nil {
		var n int
		n, err = f.rec.ReadFrames(raw, frame)
		if want := len(raw) / f.format.FrameBytes(); err == nil && n < want || err == io.EOF {
			err = fmt.Errorf("%s: not read: it ends before frame %d", f.path, frame+int64(want))
		}
	}
	if err == nil {
		if f.failed != nil {
			f.fail(nil)
		}
		f.pause = 0
		return nil
	}
	if f.rec != nil {
		f.rec.Close() // opened anew at the next try: the drive may have come back
		f.rec = nil
	}
	f.fail(err)
	f.pause = min(max(2*f.pause, int64(retryFirst*float64(rate))), int64(retryMost*rate))
	f.wait = f.pause
	return err
}

// peekTrouble returns why the file cannot be read now, or nil. It does not wait
// for a read that is under way.
func (f *file) peekTrouble() error {
	if e := f.shown.Load(); e != nil {
		return *e
	}
	return nil
}

// fail remembers an error, nil for none. f.mu is held.
func (f *file) fail(err error) {
	f.failed = err
	if err == nil {
		f.shown.Store(nil)
	} else {
		f.shown.Store(&err)
	}
}

func (f *file) close() {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.rec != nil {
		f.rec.Close()
		f.rec = nil
	}
}
