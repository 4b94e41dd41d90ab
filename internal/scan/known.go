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
)

// known is what the catalog held when the scan began.
type known struct {
	volumes    []catalog.Volume
	recordings map[catalog.RecordingID]catalog.Recording
	files      map[fileKey]catalog.File
	of         map[catalog.RecordingID][]catalog.File
	parts      map[catalog.RecordingID]int // how many were measured
}

// fileKey is what the catalog knows a file by.
type fileKey struct {
	volume catalog.VolumeID
	path   string
}

func loadKnown(ctx context.Context, store *catalog.Store) (known, error) {
	k := known{recordings: map[catalog.RecordingID]catalog.Recording{}, files: map[fileKey]catalog.File{}, of: map[catalog.RecordingID][]catalog.File{}}
	var err error
	if k.volumes, err = store.Volumes(ctx); err != nil {
		return k, err
	}
	if k.parts, err = store.PartCounts(ctx); err != nil {
		return k, err
	}
	recordings, err := store.Recordings(ctx, catalog.RecordingFilter{})
	if err != nil {
		return k, err
	}
	for _, r := range recordings {
		k.recordings[r.ID] = r
	}
	files, err := store.Files(ctx, catalog.FileFilter{})
	for _, f := range files {
		k.files[fileKey{f.VolumeID, f.Path}] = f
		k.of[f.RecordingID] = append(k.of[f.RecordingID], f)
	}
	return k, err
}

// below returns the path of a file from a folder, with slashes.
func below(root, path string) (string, bool) {
	rel, err := filepath.Rel(root, path)
	if err != nil || rel == ".." || strings.HasPrefix(rel, ".."+string(filepath.Separator)) {
		return "", false
	}
	return filepath.ToSlash(rel), true
}

// placeOnVolumes finds the volume of every source: the innermost one around it,
// one that is gone from its old place and found here, else a new one for the
// scanned folder.
func (s *scan) placeOnVolumes(ctx context.Context, sources []*source) error {
	tried := map[string]bool{}
	for _, src := range sources {
		if !tried[src.root] {
			tried[src.root] = true
			if err := s.findMoved(ctx, src.root, sources); err != nil {
				return err
			}
		}
		best := -1
		for i, v := range s.known.volumes {
			if rel, ok := below(v.Root, src.path); ok && (best < 0 || len(v.Root) > len(s.known.volumes[best].Root)) {
				best, src.rel = i, rel
			}
		}
		if best < 0 {
			v, err := s.store.AddVolume(ctx, catalog.Volume{Name: filepath.Base(src.root), Root: src.root})
			if err != nil {
				return err
			}
			best = len(s.known.volumes)
			s.known.volumes = append(s.known.volumes, v)
			src.rel, _ = below(v.Root, src.path)
		}
		src.volume = s.known.volumes[best]
	}
	return nil
}

// findMoved looks for volumes that are gone from their place, and moves one
// whose files now lie below, or around, a scanned folder.
func (s *scan) findMoved(ctx context.Context, root string, sources []*source) error {
	for i, v := range s.known.volumes {
		if _, err := os.Stat(v.Root); err == nil {
			continue
		}
		var files []catalog.File
		for _, f := range s.known.files {
			if f.VolumeID == v.ID {
				files = append(files, f)
			}
		}
		slices.SortFunc(files, func(a, b catalog.File) int { return strings.Compare(a.Path, b.Path) })
		to, err := s.newRoot(ctx, files, root, sources)
		if err != nil {
			return err
		}
		if to == "" || slices.ContainsFunc(s.known.volumes, func(o catalog.Volume) bool { return o.Root == to }) {
			continue
		}
		if err := s.move(ctx, i, to); err != nil {
			return err
		}
	}
	return nil
}

func (s *scan) move(ctx context.Context, i int, to string) error {
	v := s.known.volumes[i]
	if err := s.store.MoveVolume(ctx, v.ID, to); err != nil {
		return err
	}
	v.Root = to
	s.known.volumes[i] = v
	for key, f := range s.known.files {
		if f.VolumeID == v.ID {
			f.Root = to
			s.known.files[key] = f
		}
	}
	for _, files := range s.known.of {
		for k := range files {
			if files[k].VolumeID == v.ID {
				files[k].Root = to
			}
		}
	}
	s.result.Moved = append(s.result.Moved, v)
	return nil
}

// newRoot returns where a gone volume's files lie now, judged by the first
// file found again whose first checksums agree; "" = nowhere here.
func (s *scan) newRoot(ctx context.Context, files []catalog.File, root string, sources []*source) (string, error) {
	for _, f := range files {
		for _, src := range sources {
			if src.root != root || src.size != f.Size {
				continue
			}
			slashed := filepath.ToSlash(src.path)
			if !strings.HasSuffix(slashed, "/"+f.Path) {
				continue
			}
			to := filepath.FromSlash(strings.TrimSuffix(slashed, "/"+f.Path))
			same, err := sameBeginning(ctx, s.store, f, src.path)
			if same || err != nil {
				return to, err
			}
		}
	}
	return "", nil
}

// sameBeginning tells whether a file starts with the bytes that a file in the
// catalog had. A file of which no checksum is kept is the same as no other.
func sameBeginning(ctx context.Context, store *catalog.Store, f catalog.File, path string) (bool, error) {
	pieces, err := store.Pieces(ctx, f.ID)
	if err != nil || len(pieces) == 0 || pieces[0].Offset != 0 {
		return false, err
	}
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

// sumOf returns the XXH3-64 of a stretch of a file. count, if not nil, is told
// how many bytes were read.
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
