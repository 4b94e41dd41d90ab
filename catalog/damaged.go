package catalog

import (
	"errors"

	"github.com/mattn/go-sqlite3" // registers itself as a driver, too
)

// damaged tells whether SQLite stumbled over the file itself. It is the one
// line of the house that needs C at compile time: in a file of its own, so that
// a check may leave it out.
func damaged(err error) bool {
	var cause sqlite3.Error
	return errors.As(err, &cause) && (cause.Code == sqlite3.ErrCorrupt || cause.Code == sqlite3.ErrNotADB)
}
