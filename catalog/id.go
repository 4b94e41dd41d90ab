package catalog

import (
	"fmt"
	"strings"
	"time"
)

// Each aggregate has an id type of its own, so that a track is never passed for
// a take. The store assigns ids from 1; 0 is "not stored".
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

// ShowKey is the address of a show: its date. If the date has several shows, a
// space and the show's name follow, for example "2031-08-01 matinee".
type ShowKey string

// ParseShowKey checks that s is a day in the form YYYY-MM-DD, optionally
// followed by a space and a name. Whether there is such a show, only the store
// can check: see [Store.Show].
func ParseShowKey(s string) (ShowKey, error) {
	s = strings.Join(strings.Fields(s), " ")
	date, name, more := strings.Cut(s, " ")
	if _, err := ParseDate(date); err != nil || more && name == "" {
		return "", fmt.Errorf("%q is not a show: give a date in the form YYYY-MM-DD, and the show's name after it if the date has several shows", s)
	}
	return ShowKey(s), nil
}

// Date returns the day on which the show began.
func (k ShowKey) Date() Date { return Date(k[:min(len(k), len(time.DateOnly))]) }
