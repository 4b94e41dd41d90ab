// Package scan finds the recordings below some folders, reads them once, and
// keeps in the catalog what package meter measured of them.
//
// Start with [Run]; [Verify] compares files with the checksums kept then. A
// scan groups files into recordings, decides whose show, rig, track and segment
// each file is, and measures what the catalog does not hold yet. What is done
// is committed about once a second, so an interrupted scan loses little, and
// the next one goes on from there; files that did not change are not read
// again.
//
// Recordings are opened read-only and nothing is ever written beside them. The
// package judges nothing: songs and findings are found from the catalog by others.
// A file that cannot be read is a [Problem], never the end of the night.
//
// Checksums are XXH3-64 of the stretches that [catalog.Piece] describes.
package scan

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"runtime"
	"slices"
	"strings"
	"sync/atomic"
	"time"

	"nightreel/catalog"
	"nightreel/internal/tracks"
	"nightreel/internal/wavfile"
)

// Options override what folders and files say. The zero value is right for
// most drives.
type Options struct {
	Date  catalog.Date // the show's date; "" = from folders, file names, bext
	Rig   string       // the rig, where folders and files do not tell
	Venue string       // the show's venue; "" = from folders
	// NamePattern says how file names are made, without extension: literal text
	// with {track}, {name}, {segment} and {*} (anything) in it, for example
	// "{track} {name}_{segment}". "" = found out over each folder.
	NamePattern string
	// Files allows a file in place of a folder. A night is scanned by folders: its
	// tracks are in many files, and a recording has all of them.
	Files bool
	// Check reads unchanged files too and compares their checksums; what differs
	// is measured again, and so is what the catalog holds and cannot be read.
	Check bool
	// ClipLevelDBFS is the level from which a sample counts as full scale; nil =
	// the largest value that the sample type has. It counts for what this scan
	// measures.
	ClipLevelDBFS *float64
	Workers       int // measuring side by side; 0 = one a core, at least two

	spinning func(path string) bool // for tests
}

// spins reports whether a file lies on a disk with heads.
func (o Options) spins(path string) bool {
	if o.spinning != nil {
		return o.spinning(path)
	}
	return spinning(path)
}

// Result counts what a scan did.
type Result struct {
	Shows      []catalog.Show   `json:"shows"` // touched or confirmed, in order of date
	FilesRead  int              `json:"files_read"`
	BytesRead  int64            `json:"bytes_read"` // audio and headers read to measure or to compare
	Seconds    float64          `json:"seconds"`
	PassedOver int              `json:"passed_over"` // files that are no recordings
	Unread     []string         `json:"unread"`      // files and folders that a disk did not give, in order: not read, or not wholly
	Moved      []catalog.Volume `json:"moved"`       // volumes found at another place
	Problems   []Problem        `json:"problems"`    // in order of file
	Notes      []string         `json:"notes"`       // what else a person should know: copies, rigs with another name
}

// Problem is something that a person should know about a file. It does not end
// the scan.
type Problem struct {
	File    string `json:"file"`
	Offset  int64  `json:"offset"` // bytes; 0 where none applies
	Problem string `json:"problem"`
	Hint    string `json:"hint,omitempty"` // what to try, where something is known
}

// Run scans folders into the catalog. p may be nil.
//
// The error is that of a folder that is not there, *[NoRecordingsError] if none
// of the folders holds a recording, that of an unusable name pattern, of the
// catalog, or ctx.Err(); everything else is in Result.Problems. Even
// with an error the Result tells what was done, and what was finished is kept.
func Run(ctx context.Context, store *catalog.Store, dirs []string, opt Options, p *Progress) (Result, error) {
	if p == nil {
		p = &Progress{}
	}
	if opt.Workers <= 0 {
		opt.Workers = max(2, runtime.NumCPU()) // one measures while another waits for the disk
	}
	began := time.Now()
	s := &scan{store: store, opt: opt, progress: p, touched: map[catalog.ShowID]bool{}}
	s.result.Shows, s.result.Moved, s.result.Problems = []catalog.Show{}, []catalog.Volume{}, []Problem{}
	s.result.Notes = []string{}
	err := s.run(ctx, dirs)
	if ctx.Err() != nil {
		err = ctx.Err()
	}
	s.result.Unread = append([]string{}, slices.Sorted(maps.Keys(s.unread))...)
	s.result.BytesRead = s.bytesRead.Load()
	s.result.Seconds = time.Since(began).Seconds()
	// Workers come to files as it happens; a person reads by file.
	slices.SortStableFunc(s.result.Problems, func(a, b Problem) int {
		return cmp.Or(strings.Compare(a.File, b.File), cmp.Compare(a.Offset, b.Offset))
	})
	if e := s.report(context.WithoutCancel(ctx)); err == nil {
		err = e
	}
	return s.result, err
}

// regroup groups the files that the catalog knows anew, after a person said
// something about them, and measures what lies elsewhere in its recording now, as
// far as its files are there. p may be nil.
func regroup(ctx context.Context, store *catalog.Store, p *Progress) (Result, error) {
	return Run(ctx, store, nil, Options{}, p)
}

// scan is one run.
type scan struct {
	store    *catalog.Store
	opt      Options
	progress *Progress
	result   Result
	known    known
	touched  map[catalog.ShowID]bool // shows to report

	// What one try to group the files comes to; another scan may make it begin anew.
	layout  catalog.NewLayout
	was     map[*source]*source // what the catalog had in place of a source
	planned []Problem

	foundIn map[string]bool             // folders in which something was found
	parts   map[catalog.RecordingID]int // how many were measured before

	own      map[string]bool   // paths of files that this program wrote
	kept     map[string]string // rigs that keep their names, by path of their files
	keeps    []string          // notes about them
	unread   map[string]bool   // files and folders that could not be read
	unusable int               // files named like recordings that are none or cannot be read
	audio    map[string]int    // audio files that are not read, by the end of their names

	bytesRead atomic.Int64
}

func (s *scan) run(ctx context.Context, dirs []string) error {
	if _, err := compilePattern(s.opt.NamePattern); err != nil {
		return err
	}
	s.progress.stage("looking for recordings")
	found, err := s.find(ctx, dirs)
	if err != nil {
		return err
	}
	if s.parts, err = s.store.PartCounts(ctx); err != nil {
		return err
	}
	if err := s.findMoved(ctx, found); err != nil {
		return err
	}
	s.foundIn = map[string]bool{}
	for _, src := range found {
		s.foundIn[src.folder()] = true
	}
	s.progress.stage("comparing with the catalog")
	grouped, err := s.settle(ctx, found)
	if err != nil {
		return err
	}
	jobs, err := s.jobs(ctx, grouped)
	if err != nil {
		return err
	}
	s.progress.stage("measuring")
	return s.measure(ctx, jobs)
}

// jobs returns what is to be measured of recordings of which files were found, or
// whose files lie elsewhere in them now.
func (s *scan) jobs(ctx context.Context, all []*grouped) ([]*job, error) {
	var jobs []*job
	for _, g := range all {
		if !g.touched && g.same {
			continue
		}
		s.touched[g.saved.ShowID] = true
		if _, err := s.dropUnreadable(ctx, g.saved); err != nil {
			return nil, err
		}
		j, err := s.job(ctx, g.saved, g.same && !s.opt.Check)
		if err != nil {
			return nil, err
		}
		jobs = append(jobs, j)
	}
	return jobs, nil
}

// report fills in the shows that the scan touched or confirmed.
func (s *scan) report(ctx context.Context) error {
	all, err := s.store.Shows(ctx, catalog.ShowFilter{})
	for _, sh := range all {
		if s.touched[sh.ID] {
			s.result.Shows = append(s.result.Shows, sh)
		}
	}
	return err
}

// problem notes what a person should know about a file when files are grouped, if
// something was found in its folder now.
func (s *scan) problem(src *source, text string) {
	if s.foundIn[src.folder()] {
		s.planned = append(s.planned, Problem{File: src.path, Problem: text})
	}
}

// note notes a sentence about several files.
func (s *scan) note(format string, args ...any) {
	s.result.Notes = append(s.result.Notes, fmt.Sprintf(format, args...))
}

// problemAt notes what a person should know about a file.
func (s *scan) problemAt(file string, offset int64, text string) {
	s.result.Problems = append(s.result.Problems, Problem{File: file, Offset: offset, Problem: text})
}

// trouble notes an error about a file.
func (s *scan) trouble(file string, err error) {
	if notGiven(err) {
		s.notRead(file)
	}
	s.result.Problems = append(s.result.Problems, problemOf(file, err))
}

func (s *scan) notRead(file string) {
	if s.unread == nil {
		s.unread = map[string]bool{}
	}
	s.unread[file] = true
}

// notGiven reports whether an error is that of a disk or a system that does not give
// a file's bytes, and not that they are no recording.
func notGiven(err error) bool {
	for _, none := range []error{wavfile.ErrEmpty, wavfile.ErrNotWAV, wavfile.ErrNoFormat, wavfile.ErrUnsupported} {
		if errors.Is(err, none) {
			return false
		}
	}
	var changed *tracks.ChangedError
	return !errors.As(err, &changed)
}

// problemOf words an error about a file; the path is said by Problem.File.
func problemOf(file string, err error) Problem {
	p := Problem{File: file}
	var hinter interface{ Hint() string }
	if errors.As(err, &hinter) {
		p.Hint = hinter.Hint()
	}
	var e *wavfile.Error
	var changed *tracks.ChangedError
	switch {
	case errors.As(err, &changed):
		p.Offset = max(changed.Offset, 0)
		p.Problem = "not read: " + changed.Cause().Error()
	case errors.As(err, &e):
		p.Offset = max(e.Offset, 0)
		p.Problem = e.Doing + ": " + cause(e.Err).Error()
	default:
		p.Problem = cause(err).Error()
	}
	return p
}

// cause returns what is behind an error about a path that is said already.
func cause(err error) error {
	var pe *fs.PathError
	if errors.As(err, &pe) {
		return pe.Err
	}
	return err
}
