package playback

import (
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/gofrs/flock"

	"nightreel/catalog"
)

// hold keeps a second player off the desk, with locks that the system releases
// when the process ends, however it ends. One lock is on a file beside the
// catalog, for all users and machines that see it. The other is in this user's
// own folder under the catalog's identity, so that neither another name of the
// catalog nor a deleted file lets a second player in. The content of the first
// file only serves the message.
type hold struct{ beside, own *flock.Flock }

// heldBy is the content of the first file while a player plays.
type heldBy struct {
	Process int               `json:"process"`
	Session catalog.SessionID `json:"session"`
}

// BusyError reports that another player on the same catalog already feeds the
// desk.
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

// sounds reports whether a device may be audible: the built-in sinks are not.
func sounds(device string) bool { return device != Silent && !strings.HasPrefix(device, "file:") }

// take returns a *[BusyError] if another player has the desk.
func take(catalogPath string, session catalog.SessionID) (*hold, error) {
	real, err := filepath.EvalSymlinks(catalogPath)
	if err == nil {
		real, err = filepath.Abs(real)
	}
	if err != nil {
		return nil, fmt.Errorf("%s: could not be found, so a second player could not be kept off the desk: %w", catalogPath, err)
	}
	own, err := ownLock(real)
	if err != nil {
		return nil, err
	}
	h := &hold{flock.New(real + "-playing"), flock.New(own)}
	for _, lock := range []*flock.Flock{h.own, h.beside} {
		got, err := lock.TryLock()
		if err == nil && got {
			continue
		}
		rerr := h.release()
		if err != nil {
			return nil, errors.Join(fmt.Errorf("%s: could not be locked, so a second player could not be kept off the desk: %w", lock.Path(), err), rerr)
		}
		return nil, errors.Join(busy(h.beside.Path()), rerr)
	}
	// Written in place, not renamed, because the lock is on this very file.
	// Windows does not let a locked file be written: then the message has less
	// detail.
	if text, err := json.Marshal(heldBy{os.Getpid(), session}); err == nil {
		_ = os.WriteFile(h.beside.Path(), text, 0o644)
	}
	return h, nil
}

// ownLock returns the path of the lock under a catalog's identity, in this
// user's own folder, and creates the folder.
func ownLock(catalogPath string) (string, error) {
	info, err := os.Stat(catalogPath)
	if err != nil {
		return "", fmt.Errorf("%s: could not be found, so a second player could not be kept off the desk: %w", catalogPath, err)
	}
	dir, err := os.UserConfigDir()
	if err != nil { // a user without a home shares the machine's folder
		dir = os.TempDir()
	}
	dir = filepath.Join(dir, "nightreel", "playing")
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return "", fmt.Errorf("%s: could not be made, so a second player could not be kept off the desk: %w", dir, err)
	}
	return filepath.Join(dir, identity(catalogPath, info)), nil
}

// identityOfPath identifies a file by its path, if the system has nothing
// better.
func identityOfPath(path string) string {
	return fmt.Sprintf("%x", sha256.Sum256([]byte(path)))
}

// busy reads which player has the desk.
func busy(path string) *BusyError {
	e := &BusyError{}
	var by heldBy
	if text, err := os.ReadFile(path); err == nil && json.Unmarshal(text, &by) == nil {
		e.Session, e.Process = by.Session, by.Process
	}
	if info, err := os.Stat(path); err == nil {
		e.Since = info.ModTime()
	}
	return e
}

// release lets another player have the desk. The files stay: if they were
// removed, two players could lock two files of the same name.
func (h *hold) release() error {
	if h == nil {
		return nil
	}
	return errors.Join(h.beside.Unlock(), h.own.Unlock())
}
