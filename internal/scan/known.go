package scan

import (
	"context"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/zeebo/xxh3"

	"nightreel/catalog"
	"nightreel/internal/wavfile"
)

// known is what the catalog holds when files are grouped.
type known struct {
	catalog.Layout
	recordings map[catalog.RecordingID]catalog.Recording
	files      map[catalog.FileID]catalog.File
	of         map[catalog.RecordingID][]catalog.File
}

func loadKnown(ctx context.Context, store *catalog.Store) (known, error) {
	k := known{recordings: map[catalog.RecordingID]catalog.Recording{}, files: map[catalog.FileID]catalog.File{}, of: map[catalog.RecordingID][]catalog.File{}}
	var err error
	if k.Layout, err = store.Layout(ctx); err != nil {
		return k, err
	}
	for _, r := range k.Recordings {
		k.recordings[r.ID] = r
	}
	for _, f := range k.Files {
		k.files[f.ID] = f
		k.of[f.RecordingID] = append(k.of[f.RecordingID], f)
	}
	return k, nil
}

// below returns the path of a file from a folder, with slashes.
func below(root, path string) (string, bool) {
	rel, err := filepath.Rel(root, path)
	if err != nil || rel == ".." || strings.HasPrefix(rel, ".."+string(filepath.Separator)) {
		return "", false
	}
	return filepath.ToSlash(rel), true
}

// findMoved looks for volumes that are gone from their place, and moves those
// whose files now lie below, or around, a scanned folder.
func (s *scan) findMoved(ctx context.Context, found []*source) error {
	volumes, err := s.store.Volumes(ctx)
	if err != nil {
		return err
	}
	byRoot := map[string][]*source{}
	var roots []string
	for _, src := range found {
		if byRoot[src.file.Root] == nil {
			roots = append(roots, src.file.Root)
		}
		byRoot[src.file.Root] = append(byRoot[src.file.Root], src)
	}
	for _, v := range volumes {
		if _, err := os.Stat(v.Root); err == nil {
			continue
		}
		files, err := s.store.Files(ctx, catalog.FileFilter{Volume: v.ID})
		if err != nil {
			return err
		}
		slices.SortFunc(files, func(a, b catalog.File) int { return strings.Compare(a.Path, b.Path) })
		for _, root := range roots {
			to, err := s.newRoot(ctx, files, byRoot[root])
			if err != nil {
				return err
			}
			if to == "" || slices.ContainsFunc(volumes, func(o catalog.Volume) bool { return o.Root == to }) {
				continue
			}
			if err := s.store.MoveVolume(ctx, v.ID, to); err != nil {
				return err
			}
			v.Root = to
			s.result.Moved = append(s.result.Moved, v)
			break
		}
	}
	return nil
}

// newRoot returns where a gone volume's files lie now, judged by the first
// file found again whose content is the same; "" = nowhere here.
func (s *scan) newRoot(ctx context.Context, files []catalog.File, found []*source) (string, error) {
	bySize := map[int64][]*source{}
	for _, src := range found {
		bySize[src.file.Size] = append(bySize[src.file.Size], src)
	}
	for _, f := range files {
		for _, src := range bySize[f.Size] {
			slashed := filepath.ToSlash(src.path)
			if !strings.HasSuffix(slashed, "/"+f.Path) {
				continue
			}
			same := f.Content != "" && s.readContent(src) && f.Content == src.file.Content
			if f.Content == "" {
				var err error
				if same, err = sameBeginning(ctx, s.store, f, src.path); err != nil {
					return "", err
				}
			}
			if same {
				return filepath.FromSlash(strings.TrimSuffix(slashed, "/"+f.Path)), nil
			}
		}
	}
	return "", nil
}

// sameBeginning reports whether a file starts with the bytes that a file in
// the catalog had. A file without a stored checksum equals no other.
func sameBeginning(ctx context.Context, store *catalog.Store, f catalog.File, path string) (bool, error) {
	pieces, err := store.Pieces(ctx, f.ID)
	if err != nil || len(pieces) == 0 || pieces[0].Offset != 0 {
		return false, err
	}
	defer wavfile.Ask(path)()
	r, err := os.Open(path)
	if err != nil {
		return false, nil // unreadable: another file may tell
	}
	defer r.Close()
	for _, p := range pieces[:min(2, len(pieces))] {
		sum, err := sumOf(ctx, r, p.Offset, p.Length, make([]byte, sumBuffer), nil)
		if ctx.Err() != nil {
			return false, ctx.Err()
		}
		if err != nil || sum != p.Sum {
			return false, nil
		}
	}
	return true, nil
}

// sumBuffer is the bytes read at a time for a checksum.
const sumBuffer = 1 << 20

// sumOf returns the XXH3-64 of a run of bytes of a file. It calls count, if
// not nil, with the number of bytes read.
func sumOf(ctx context.Context, r io.ReaderAt, offset, length int64, buf []byte, count func(int64)) (uint64, error) {
	h := xxh3.New()
	for at := offset; at < offset+length; {
		if err := ctx.Err(); err != nil {
			return 0, err
		}
		n, err := r.ReadAt(buf[:min(int64(len(buf)), offset+length-at)], at)
		h.Write(buf[:n])
		at += int64(n)
		if count != nil {
			count(int64(n))
		}
		if err != nil && at < offset+length {
			return 0, err
		}
	}
	return h.Sum64(), nil
}
