package playback

import (
	"sync"
	"sync/atomic"

	"nightreel/internal/tracks"
)

// file is one file of the program. If reading fails, the file is closed, and
// opened again after a pause.
type file struct {
	tracks.File
	open tracks.OpenFunc

	shown  atomic.Pointer[error] // failed, for other goroutines
	mu     sync.Mutex
	source *tracks.Source // nil while it is closed
	failed error          // nil while it can be read
	wait   int64          // frames of the program to skip before the next attempt
	pause  int64          // frames that the last failure skipped
}

// After a failure a file rests for retryFirst of a second of audio, then twice
// as long, up to retryMost: a dying drive answers slowly, and must not starve
// the others.
const (
	retryFirst = 0.25
	retryMost  = 4
)

// ensure opens the file if it is closed.
func (f *file) ensure() (err error) {
	if f.source == nil {
		f.source, err = f.Open(f.open)
	}
	return err
}

// read fills raw with frames from the given frame on. skipped is the length of
// the block in frames of the program, at its rate, which counts down the rest of
// a failed file. On an error the content of raw is undefined.
func (f *file) read(raw []byte, frame, skipped int64, rate int) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.failed != nil && f.wait > 0 {
		f.wait -= skipped
		return f.failed
	}
	err := f.ensure()
	if err == nil {
		_, err = f.source.Read(raw, frame)
	}
	if err == nil {
		if f.failed != nil {
			f.fail(nil)
		}
		f.pause = 0
		return nil
	}
	if f.source != nil {
		f.source.Close() // opened again at the next attempt: the drive may have come back
		f.source = nil
	}
	f.fail(err)
	f.pause = min(max(2*f.pause, int64(retryFirst*float64(rate))), int64(retryMost*rate))
	f.wait = f.pause
	return err
}

// peekTrouble returns why the file cannot be read now, or nil. It does not wait
// for a running read.
func (f *file) peekTrouble() error {
	if e := f.shown.Load(); e != nil {
		return *e
	}
	return nil
}

// fail stores an error, nil for none. The caller must hold f.mu.
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
	if f.source != nil {
		f.source.Close()
		f.source = nil
	}
}
