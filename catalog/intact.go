package catalog

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"sync/atomic"
)

// opened is the state of the catalog's file when it was opened.
type opened struct {
	file    os.FileInfo  // nil: not checked
	largest atomic.Int64 // bytes; SQLite makes a catalog's file larger and never smaller
}

// GoneError reports that the file of an open catalog was deleted, replaced or
// cut. Later writes would be lost when nightreel ends.
type GoneError struct {
	File string
	What string // what happened to it
}

func (e *GoneError) Error() string {
	return e.File + ": the catalog was " + e.What + " while nightreel had it open; nothing is read from it or written to it any more"
}

// Hint returns what to do about it.
func (*GoneError) Hint() string {
	return "put the catalog, or a copy of it, back in its place and start nightreel again"
}

// Intact returns a *[GoneError] if the catalog's file was deleted, replaced or cut
// since it was opened. A copy of the same length that another program writes into
// the file goes unnoticed.
func (s *Store) Intact() error {
	if s.opened.file == nil {
		return nil
	}
	now, err := os.Stat(s.path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return &GoneError{s.path, "deleted"}
	case err != nil:
		return fmt.Errorf("%s: could not look at the catalog: %w", s.path, err)
	case !os.SameFile(s.opened.file, now):
		return &GoneError{s.path, "replaced by another file"}
	}
	for {
		largest := s.opened.largest.Load()
		if now.Size() < largest {
			return &GoneError{s.path, fmt.Sprintf("cut from %d to %d bytes", largest, now.Size())}
		}
		if now.Size() == largest || s.opened.largest.CompareAndSwap(largest, now.Size()) {
			return nil
		}
	}
}

// remember stores the present identity and size of the catalog's file.
func (s *Store) remember() error {
	st, err := os.Stat(s.path)
	if err != nil {
		return err
	}
	s.opened.file = st
	s.opened.largest.Store(st.Size())
	return nil
}
