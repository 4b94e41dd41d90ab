package scan

import (
	"context"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"nightreel/catalog"
	"nightreel/internal/wavfile"
)

// find walks the folders and opens every WAV file's header.
func (s *scan) find(ctx context.Context, dirs []string) ([]*source, error) {
	starts, err := s.starts(dirs)
	if err != nil {
		return nil, err
	}
	var found []*source
	s.own = map[string]bool{}
	seen := map[string]bool{} // folders given twice, or one within another; true for a source
	without := []string{}     // folders
	for i, start := range starts {
		some := false
		root := start
		if s.opt.Files && isFile(start) {
			root = filepath.Dir(start)
		}
		answered := func() {} // what WalkDir asks of a folder after it was called with it
		// WalkDir goes in order of name and follows no links, so it ends.
		err := filepath.WalkDir(start, func(path string, d fs.DirEntry, err error) error {
			answered()
			answered = func() {}
			if d != nil && d.IsDir() {
				answered = wavfile.Ask(path)
			}
			if ctx.Err() != nil {
				return ctx.Err()
			}
			if err != nil {
				s.trouble(path, err)
				if d != nil && d.IsDir() {
					return fs.SkipDir
				}
				return nil
			}
			if path != start && d.IsDir() && foreign(d.Name()) {
				return fs.SkipDir
			}
			if d.IsDir() {
				return nil
			}
			if known, ok := seen[path]; ok {
				some = some || known
				return nil
			}
			src := s.look(root, path, d)
			seen[path] = src != nil
			if src != nil {
				some = true
				found = append(found, src)
				s.progress.filesTotal.Add(1)
				return nil
			}
			s.result.PassedOver++
			if !s.own[path] {
				s.notUsed(path)
			}
			return nil
		})
		answered()
		if err != nil {
			return nil, err
		}
		if !some {
			without = append(without, dirs[i])
		}
	}
	if len(dirs) == 0 {
		return nil, nil // what is known is grouped anew
	}
	nothing := &NoRecordingsError{Folders: without, Unusable: s.unusable, Own: len(s.own), Other: s.audio}
	if len(found) == 0 {
		return nil, nothing
	}
	for _, dir := range without {
		s.result.Problems = append(s.result.Problems, Problem{File: dir, Problem: "there is no recording in this folder", Hint: nothing.Hint()})
	}
	slices.SortFunc(found, func(a, b *source) int { return strings.Compare(a.path, b.path) })
	return found, nil
}

// starts returns the folders with their links resolved. It fails if one cannot be
// read.
func (s *scan) starts(dirs []string) ([]string, error) {
	var starts []string
	for _, dir := range dirs {
		start, err := filepath.Abs(dir)
		answered := wavfile.Ask(start)
		if err == nil {
			start, err = filepath.EvalSymlinks(start)
		}
		if err == nil {
			err = s.readable(start)
		}
		answered()
		if err != nil {
			return nil, fmt.Errorf("%s: folder not scanned: %w", dir, cause(err))
		}
		starts = append(starts, start)
	}
	return starts, nil
}

// readable returns why a folder, or a file where one is allowed, cannot be
// scanned.
func (s *scan) readable(path string) error {
	if s.opt.Files && isFile(path) {
		return nil // what cannot be read in it is a problem
	}
	_, err := os.ReadDir(path)
	return err
}

func isFile(path string) bool {
	st, err := os.Stat(path)
	return err == nil && st.Mode().IsRegular()
}

// foreign reports whether a file or folder is hidden or belongs to a system,
// not to a person. Resource-fork companions ("._x.wav") count as hidden by
// their names.
func foreign(name string) bool {
	switch strings.ToLower(name) {
	case "system volume information", "$recycle.bin", "__macosx", "lost+found":
		return true
	}
	return strings.HasPrefix(name, ".")
}

// own reports whether a file with this bext originator was written by this program.
func own(originator string) bool { return strings.TrimSpace(originator) == wavfile.OwnOriginator }

// noteOwn notes the folders with files that this program wrote.
func (s *scan) noteOwn() {
	folders := map[string]int{}
	for path := range s.own {
		folders[filepath.Dir(path)]++
	}
	for _, dir := range slices.Sorted(maps.Keys(folders)) {
		n := folders[dir]
		if n == 1 {
			s.note("%s: 1 file is skipped: nightreel rendered or played it, so it is no recording", dir)
		} else {
			s.note("%s: %d files are skipped: nightreel rendered or played them, so they are no recordings", dir, n)
		}
	}
}

// look opens a file if it is one to scan, and returns nil if not.
func (s *scan) look(root, path string, d fs.DirEntry) *source {
	if foreign(d.Name()) {
		return nil
	}
	if !slices.Contains(recordingEnds, strings.ToLower(filepath.Ext(path))) {
		return nil
	}
	if d.Type()&fs.ModeSymlink != 0 {
		s.problemAt(path, 0, "passed over: a symbolic link; scan the folder that it points to")
		return nil
	}
	answered := wavfile.Ask(path)
	st, err := d.Info()
	answered()
	if err != nil {
		s.trouble(path, err)
		return nil
	}
	if st.Size() == 0 {
		s.result.Problems = append(s.result.Problems, Problem{File: path, Problem: "passed over: an empty file", Hint: (&wavfile.Error{Err: wavfile.ErrEmpty}).Hint()})
		return nil
	}
	w, err := wavfile.Open(path)
	if err != nil {
		s.trouble(path, err)
		return nil
	}
	info := w.Info()
	if err := w.Close(); err != nil {
		s.trouble(path, err)
		return nil
	}
	if b := info.Meta.Bext; b != nil && own(b.Originator) {
		s.own[path] = true
		return nil
	}
	if info.Frames == 0 {
		s.problemAt(path, info.DataOffset, "passed over: there is no audio in it")
		return nil
	}
	f := catalog.File{
		Root: root, Size: info.FileBytes, ModTime: st.ModTime(), Channels: info.Format.Channels, Frames: info.Frames,
		DataOffset: info.DataOffset, Unfinished: info.Unfinished, Repairs: []catalog.Repair{},
		SampleRate: info.Format.SampleRate, BitDepth: info.Format.BitDepth, SampleBytes: info.Format.ContainerBytes, Encoding: info.Format.Encoding.String(),
	}
	for _, r := range info.Repairs {
		f.Repairs = append(f.Repairs, catalog.Repair{Offset: r.Offset, Problem: r.Problem})
	}
	header := headerOf(info)
	f.Header = &header
	return newSource(path, f)
}
