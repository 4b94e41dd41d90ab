package scan

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"nightreel/catalog"
	"nightreel/internal/wavfile"
)

// Relocate says that what lay below oldRoot lies below newRoot now: volumes at
// oldRoot, or within it, move. It returns them. Some files of each volume are
// looked at first; whether all are as they were is what [Verify] is for. An error
// says that no volume lies there, that newRoot is not a folder, or, as
// *[NotThereError], that nothing of a volume is there; then none moved.
func Relocate(ctx context.Context, store *catalog.Store, oldRoot, newRoot string) (moved []catalog.Volume, err error) {
	from, err := filepath.Abs(oldRoot)
	if err != nil {
		return nil, fmt.Errorf("%s: not relocated: %w", oldRoot, err)
	}
	to, err := filepath.Abs(newRoot)
	if err == nil {
		to, err = filepath.EvalSymlinks(to)
	}
	if err == nil {
		_, err = os.ReadDir(to)
	}
	if err != nil {
		return nil, fmt.Errorf("%s: not relocated: %w", newRoot, cause(err))
	}
	volumes, err := store.Volumes(ctx)
	if err != nil {
		return nil, err
	}
	for _, v := range volumes {
		rel, ok := below(from, v.Root)
		if !ok {
			continue
		}
		v.Root = filepath.Join(to, filepath.FromSlash(rel))
		moved = append(moved, v)
	}
	if len(moved) == 0 {
		known := []string{}
		for _, v := range volumes {
			known = append(known, v.Root)
		}
		unknown := catalog.NotFound("volume", from, known, "name the folder that was scanned; nightreel verify prints where files are looked for")
		unknown.Name = oldRoot
		return nil, unknown
	}
	for _, v := range moved { // all are looked at before the first one moves
		if err := liesAt(ctx, store, v); err != nil {
			return nil, err
		}
	}
	for i, v := range moved {
		if err := store.MoveVolume(ctx, v.ID, v.Root); err != nil {
			return moved[:i], err
		}
	}
	return moved, nil
}

// mostLookedAt is how many files of a volume are looked at before it is believed
// to lie elsewhere (chosen: enough to meet several nights and both ends).
const mostLookedAt = 16

// NotThereError says that a volume's files do not lie where they were said to.
type NotThereError struct {
	Volume  string
	Root    string // where they were said to lie
	Looked  int    // at so many files
	Example string // one of them, from the root
	Why     string // what is wrong with it
}

func (e *NotThereError) Error() string {
	return fmt.Sprintf("%s: not relocated: none of the %d files of %q that were looked for is there; %s: %s", e.Root, e.Looked, e.Volume, e.Example, e.Why)
}

// Hint says what to do about it.
func (e *NotThereError) Hint() string {
	return "name the folder that holds what the old one held; nightreel verify prints where files are looked for"
}

// liesAt looks at some of a volume's files at its new root: one at least must be
// there, with the length and the first bytes that were measured.
func liesAt(ctx context.Context, store *catalog.Store, v catalog.Volume) error {
	files, err := store.Files(ctx, catalog.FileFilter{Volume: v.ID})
	if err != nil || len(files) == 0 {
		return err
	}
	n := min(len(files), mostLookedAt)
	e := &NotThereError{Volume: v.Name, Root: v.Root, Looked: n}
	for i := range n {
		f := files[i*len(files)/n]
		f.Root = v.Root
		why, err := differs(ctx, store, f)
		if err != nil {
			return err
		}
		if why == "" {
			return nil
		}
		if e.Why == "" {
			e.Example, e.Why = f.Path, why
		}
	}
	return e
}

// differs says why a file is not the one that was measured, judged by its length
// and first bytes; "" if it is, as far as anything of it was read.
func differs(ctx context.Context, store *catalog.Store, f catalog.File) (string, error) {
	defer wavfile.Ask(f.FullPath())()
	st, err := os.Stat(f.FullPath())
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return "no such file", nil
	case err != nil:
		return cause(err).Error(), nil
	case st.Size() != f.Size:
		return fmt.Sprintf("%d bytes long, and was %d when it was scanned", st.Size(), f.Size), nil
	}
	pieces, err := store.Pieces(ctx, f.ID)
	if err != nil || len(pieces) == 0 || pieces[0].Offset != 0 {
		return "", err
	}
	same, err := sameBeginning(ctx, store, f, f.FullPath())
	if err != nil || same {
		return "", err
	}
	return "it begins with other bytes than when it was scanned", nil
}
