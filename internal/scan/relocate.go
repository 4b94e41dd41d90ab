package scan

import (
	"context"
	"fmt"
	"os"
	"path/filepath"

	"nightreel/catalog"
)

// Relocate says that what lay below oldRoot lies below newRoot now: volumes at
// oldRoot, or within it, move. It returns them; the files are not read, which
// is what [Verify] is for. An error says that no volume lies there, or that
// newRoot is not a folder.
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
	moved = []catalog.Volume{}
	for _, v := range volumes {
		rel, ok := below(from, v.Root)
		if !ok {
			continue
		}
		v.Root = filepath.Join(to, filepath.FromSlash(rel))
		if err := store.MoveVolume(ctx, v.ID, v.Root); err != nil {
			return moved, err
		}
		moved = append(moved, v)
	}
	if len(moved) == 0 {
		return moved, &catalog.NotFoundError{Kind: "volume", Name: oldRoot, Try: "name the folder that was scanned; nightreel verify prints where files are looked for"}
	}
	return moved, nil
}
