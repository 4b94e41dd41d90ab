package scan

import (
	"context"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"nightreel/catalog"
	"nightreel/internal/wavfile"
)

// source is one WAV file that was found, with what is decided about it on the
// way.
type source struct {
	path string // absolute, links resolved
	root string // scanned folder, absolute
	size int64
	mod  time.Time
	info *wavfile.Info
	// folders are the names of the folders around it, innermost first: those
	// below the scanned folder, then the scanned folder's own and its parent's.
	folders []string
	below   int // how many of them lie below the scanned folder
	stem    string

	clock clock

	volume catalog.Volume
	rel    string // path from the volume's root, with slashes

	date    catalog.Date
	venue   string
	rig     string
	rigTold bool // by a folder, a file or the caller, not assumed

	name  fileName
	track int      // of its first channel
	told  bool     // by recorder, name or place, not assumed
	names []string // of its channels
	seg   int      // place among the segments, from 0
	start int64    // frame of the recording
}

func (s *source) end() int64 { return s.start + s.info.Frames }

func (s *source) folder() string { return filepath.Dir(s.path) }

// clock is when a file starts by its bext chunk.
type clock struct {
	time  time.Time
	frame int64 // since 1970 at the file's rate
	known bool
	exact bool // to the frame, by a time reference
}

func clockOf(info *wavfile.Info) clock {
	if info.Meta.Bext == nil {
		return clock{}
	}
	rate := int64(info.Format.SampleRate)
	t, ok := info.Meta.Bext.StartTime(int(rate))
	if !ok {
		return clock{}
	}
	return clock{
		time:  t,
		frame: t.Unix()*rate + (int64(t.Nanosecond())*rate+5e8)/1e9,
		known: true,
		exact: info.Meta.Bext.TimeReference > 0,
	}
}

// find walks the folders and opens every WAV file's header.
func (s *scan) find(ctx context.Context, dirs []string) ([]*source, error) {
	var starts []string
	for _, dir := range dirs {
		start, err := filepath.Abs(dir)
		if err == nil {
			start, err = filepath.EvalSymlinks(start)
		}
		if err == nil {
			err = s.readable(start)
		}
		if err != nil {
			return nil, fmt.Errorf("%s: folder not scanned: %w", dir, cause(err))
		}
		starts = append(starts, start)
	}
	var found []*source
	seen := map[string]bool{} // folders given twice, or one within another; true for a source
	without := []string{}     // folders
	for i, start := range starts {
		some := false
		root := start
		if s.opt.Files && isFile(start) {
			root = filepath.Dir(start)
		}
		// WalkDir goes in order of name and follows no links, so it ends.
		err := filepath.WalkDir(start, func(path string, d fs.DirEntry, err error) error {
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
			} else {
				s.result.PassedOver++
				s.notUsed(path)
			}
			return nil
		})
		if err != nil {
			return nil, err
		}
		if !some {
			without = append(without, dirs[i])
		}
	}
	nothing := &NoRecordingsError{Folders: without, Unusable: s.unusable, Other: s.audio}
	if len(found) == 0 {
		return nil, nothing
	}
	for _, dir := range without {
		s.result.Problems = append(s.result.Problems, Problem{File: dir, Problem: "there is no recording in this folder", Hint: nothing.Hint()})
	}
	slices.SortFunc(found, func(a, b *source) int { return strings.Compare(a.path, b.path) })
	return found, nil
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

// foreign tells whether a file or folder is hidden or belongs to a system, not
// to a person. Resource-fork companions, "._x.wav", are hidden by their name.
func foreign(name string) bool {
	switch strings.ToLower(name) {
	case "system volume information", "$recycle.bin", "__macosx", "lost+found":
		return true
	}
	return strings.HasPrefix(name, ".")
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
		s.problem(path, 0, "passed over: a symbolic link; scan the folder that it points to")
		return nil
	}
	st, err := d.Info()
	if err != nil {
		s.trouble(path, err)
		return nil
	}
	if st.Size() == 0 {
		s.result.Problems = append(s.result.Problems, Problem{File: path, Problem: "passed over: an empty file", Hint: (&wavfile.Error{Err: wavfile.ErrEmpty}).Hint()})
		return nil
	}
	f, err := wavfile.Open(path)
	if err != nil {
		s.trouble(path, err)
		return nil
	}
	info := f.Info()
	if err := f.Close(); err != nil {
		s.trouble(path, err)
		return nil
	}
	if info.Frames == 0 {
		s.problem(path, info.DataOffset, "passed over: there is no audio in it")
		return nil
	}
	name := filepath.Base(path)
	src := &source{path: path, root: root, size: info.FileBytes, mod: st.ModTime(), info: info,
		stem: strings.TrimSuffix(name, filepath.Ext(name)), clock: clockOf(info)}
	if rel, err := filepath.Rel(root, filepath.Dir(path)); err == nil && rel != "." {
		src.folders = strings.Split(filepath.ToSlash(rel), "/")
		slices.Reverse(src.folders)
	}
	src.below = len(src.folders)
	src.folders = append(src.folders, filepath.Base(root), filepath.Base(filepath.Dir(root)))
	return src
}
