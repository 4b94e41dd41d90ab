package playback

import (
	"encoding/json"
	"fmt"
	"os"
	"strings"
	"time"

	"github.com/gofrs/flock"

	"nightreel/catalog"
)

// hold keeps a second player off the desk: a lock on a file beside the
// catalog, which the system lets go of with whoever held it, however they end.
// What stands in the file is only for the message.
type hold struct{ lock *flock.Flock }

// heldBy is what a player leaves in the file while it plays.
type heldBy struct {
	Process int               `json:"process"`
	Session catalog.SessionID `json:"session"`
}

// BusyError says that the desk is fed already, by another player on the same
// catalog.
type BusyError struct {
	Session catalog.SessionID // 0 = not known
	Process int
	Since   time.Time // of the lock
}

func (e *BusyError) Error() string {
	if e.Session == 0 {
		return "another player already feeds the desk from this catalog"
	}
	return fmt.Sprintf("session %d already feeds the desk, since %s (process %d)", e.Session, e.Since.Local().Format("15:04:05"), e.Process)
}

// Hint says what to do about it.
func (e *BusyError) Hint() string {
	return "two players on one desk would add up: fade the other out and leave it first, in its terminal or in the web app"
}

// sounds tells whether a device may be heard: the built-in sinks are not.
func sounds(device string) bool { return device != "null" && !strings.HasPrefix(device, "file:") }

// take returns a *[BusyError] where another player has the desk.
func take(catalogPath string, session catalog.SessionID) (*hold, error) {
	path := catalogPath + "-playing"
	h := &hold{flock.New(path)}
	got, err := h.lock.TryLock()
	if err != nil {
		return nil, fmt.Errorf("%s: could not be locked, so a second player could not be kept off the desk: %w", path, err)
	}
	if !got {
		busy := &BusyError{}
		var by heldBy
		if text, err := os.ReadFile(path); err == nil && json.Unmarshal(text, &by) == nil {
			busy.Session, busy.Process = by.Session, by.Process
		}
		if info, err := os.Stat(path); err == nil {
			busy.Since = info.ModTime()
		}
		return nil, busy
	}
	// Not renamed into place, since the lock is on this very file. Windows does
	// not let a locked file be written: the message then says less.
	if text, err := json.Marshal(heldBy{os.Getpid(), session}); err == nil {
		_ = os.WriteFile(path, text, 0o644)
	}
	return h, nil
}

// release lets another player have the desk. The file stays: to remove it
// would let two players lock two files of the same name.
func (h *hold) release() error {
	if h == nil {
		return nil
	}
	return h.lock.Unlock()
}
