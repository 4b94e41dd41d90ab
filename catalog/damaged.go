package catalog

import (
	"errors"
	"io/fs"

	"github.com/mattn/go-sqlite3" // importing it also registers the driver
)

// damaged reports whether SQLite found the file itself damaged. This file holds
// the only lines of the tree that need C at compile time, so that a check may
// leave them out.
func damaged(err error) bool {
	var cause sqlite3.Error
	return errors.As(err, &cause) && (cause.Code == sqlite3.ErrCorrupt || cause.Code == sqlite3.ErrNotADB)
}

// protected reports whether SQLite may only read the file.
func protected(err error) bool {
	var cause sqlite3.Error
	return errors.As(err, &cause) && cause.Code == sqlite3.ErrReadonly
}

// unwritable reports whether SQLite failed because it could not write: not to the
// file, not to its log beside it, or because the disk is full.
func unwritable(err error) bool {
	var cause sqlite3.Error
	if !errors.As(err, &cause) {
		return errors.Is(err, fs.ErrPermission)
	}
	switch cause.Code {
	case sqlite3.ErrReadonly, sqlite3.ErrCantOpen, sqlite3.ErrFull, sqlite3.ErrPerm, sqlite3.ErrIoErr:
		return true
	}
	return false
}
