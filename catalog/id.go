package catalog

import (
	"fmt"
	"time"
)

// Each aggregate has an id type of its own, so that a track is never passed
// for a take. Ids are assigned by the store and start at 1; 0 is "not stored".
type (
	VolumeID    int64
	ShowID      int64
	RecordingID int64
	FileID      int64
	TrackID     int64
	SongID      int64
	TakeID      int64
	MarkerID    int64
	FindingID   int64
	NoteID      int64
	DeskID      int64
	SessionID   int64
)

// Date is a calendar day as YYYY-MM-DD, the day on which a show began. Dates
// compare as strings.
type Date string

// ParseDate checks that s is a day in the form YYYY-MM-DD.
func ParseDate(s string) (Date, error) {
	if _, err := time.Parse(time.DateOnly, s); err != nil {
		return "", fmt.Errorf("%q is not a date in the form YYYY-MM-DD", s)
	}
	return Date(s), nil
}

// NotFoundError says that something asked for by name is not in the catalog.
type NotFoundError struct {
	Kind string // "show", "song", "desk" …
	Name string
	Try  string // what to do about it; may be empty
}

func (e *NotFoundError) Error() string { return fmt.Sprintf("no %s %q in the catalog", e.Kind, e.Name) }

// Hint returns what to do about it, or "".
func (e *NotFoundError) Hint() string { return e.Try }
