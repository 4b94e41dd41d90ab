package scan

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"time"

	"nightreel/catalog"
	"nightreel/internal/wavfile"
)

// What became of a file since it was scanned. Scripts rely on these words.
const (
	OK      = "ok"      // every byte is as it was read
	Changed = "changed" // other bytes, or another length
	Missing = "missing" // not where it was
	Unread  = "unread"  // cannot be read, or was never read whole
)

// Verified is the result for one file. Offset and Differs are the evidence.
type Verified struct {
	File    string  `json:"file"`              // full path
	Status  string  `json:"status"`            // [OK], [Changed], [Missing] or [Unread]
	Offset  int64   `json:"offset,omitempty"`  // bytes: the first place that differs or cannot be read, to a stretch
	Differs []Bytes `json:"differs,omitempty"` // the stretches whose checksums differ
	Problem string  `json:"problem,omitempty"`
	// MeasuredAgain is when a scan found the file changed and measured it again;
	// it stays Changed until a person accepts it: see [Accept].
	MeasuredAgain *time.Time `json:"measured_again,omitempty"`

	failed bool // the file system did not give its bytes
}

// Bytes is a stretch of a file.
type Bytes struct {
	Offset int64 `json:"offset"`
	Length int64 `json:"length"`
}

// Verify reads the files of one show, or of all for "", and compares them with
// the checksums kept when they were scanned. Files come in the catalog's order.
// p may be nil. The error is the catalog's or ctx.Err(); what is wrong with a
// file is in its Verified.
func Verify(ctx context.Context, store *catalog.Store, show catalog.ShowKey, p *Progress) ([]Verified, error) {
	if p == nil {
		p = &Progress{}
	}
	files, err := store.Files(ctx, catalog.FileFilter{Show: show})
	if err != nil {
		return nil, err
	}
	changed, err := store.ChangedFiles(ctx, show)
	if err != nil {
		return nil, err
	}
	p.stage("comparing checksums")
	p.filesTotal.Store(int64(len(files)))
	for _, f := range files {
		p.bytesTotal.Add(f.Size)
	}
	found := make([]Verified, len(files))
	err = parallel(ctx, runtime.GOMAXPROCS(0), len(files), func(i int) error {
		p.reading(files[i].FullPath())
		var err error
		read := int64(0)
		found[i], err = verify(ctx, store, files[i], func(n int64) {
			read += n
			p.bytes.Add(n)
		})
		if c, ok := changed[files[i].ID]; ok && found[i].Status == OK {
			if found[i], err = measuredAgain(ctx, store, found[i], files[i], c); err != nil {
				return err
			}
		}
		p.bytes.Add(files[i].Size - read) // what needed no reading
		p.files.Add(1)
		return err
	})
	if err != nil {
		return nil, err
	}
	return found, nil
}

// measuredAgain marks a file that is as it was last measured but differs from
// its first measurement.
func measuredAgain(ctx context.Context, store *catalog.Store, v Verified, f catalog.File, c catalog.ChangedFile) (Verified, error) {
	pieces, err := store.Pieces(ctx, f.ID)
	if err != nil {
		return v, err
	}
	now := map[Bytes]uint64{}
	for _, p := range pieces {
		now[Bytes{p.Offset, p.Length}] = p.Sum
	}
	for _, p := range c.First {
		if b := (Bytes{p.Offset, p.Length}); now[b] != p.Sum {
			v.Differs = append(v.Differs, b)
		}
	}
	v.Status, v.MeasuredAgain = Changed, &c.FoundAt
	day := c.FoundAt.Local().Format(time.DateOnly)
	switch {
	case len(v.Differs) > 0:
		v.Offset = v.Differs[0].Offset
		v.Problem = "changed, measured again on " + day
	default:
		v.Offset = min(f.Size, c.FirstSize)
		v.Problem = "another length than first, measured again on " + day
	}
	return v, nil
}

// Accept records that a person accepts changed files, given by path, as they
// are now. It accepts none if one of the paths is not in the catalog, did not
// change, or was not measured again yet.
func Accept(ctx context.Context, store *catalog.Store, paths []string, note string) error {
	files, err := store.Files(ctx, catalog.FileFilter{})
	if err != nil {
		return err
	}
	changed, err := store.ChangedFiles(ctx, "")
	if err != nil {
		return err
	}
	ids := []catalog.FileID{}
	for _, path := range paths {
		f, err := fileAt(files, path)
		if err != nil {
			return err
		}
		if _, ok := changed[f.ID]; !ok {
			return &AcceptError{File: path, Problem: "not accepted: no scan found it changed", Try: "if nightreel verify says that it changed, nightreel scan --check DIR measures it again; accept it then"}
		}
		pieces, err := store.Pieces(ctx, f.ID)
		if err != nil {
			return err
		}
		covered := int64(0)
		for _, p := range pieces {
			covered += p.Length
		}
		if covered != f.Size {
			return &AcceptError{File: path, Problem: "not accepted: it was not measured again yet", Try: "nightreel scan DIR measures it; accept it then"}
		}
		ids = append(ids, f.ID)
	}
	for _, id := range ids {
		if err := store.AcceptChange(ctx, id, note); err != nil {
			return err
		}
	}
	return nil
}

// fileAt finds a file by its path.
func fileAt(files []catalog.File, path string) (catalog.File, error) {
	abs, err := filepath.Abs(path)
	if err != nil {
		return catalog.File{}, fmt.Errorf("%s: not accepted: %w", path, err)
	}
	resolved, err := filepath.EvalSymlinks(abs)
	if err != nil {
		resolved = abs // it may be missing, and in the catalog all the same
	}
	known := []string{}
	for _, f := range files {
		if full := f.FullPath(); full == abs || full == resolved {
			return f, nil
		}
		known = append(known, f.FullPath())
	}
	return catalog.File{}, &catalog.NotFoundError{Kind: "file", Name: path, Near: catalog.Nearest(abs, known), Try: "nightreel verify lists the files that changed"}
}

// AcceptError is the reason why a changed file was not accepted.
type AcceptError struct {
	File, Problem string
	Try           string
}

func (e *AcceptError) Error() string { return e.File + ": " + e.Problem }

// Hint says what to do about it.
func (e *AcceptError) Hint() string { return e.Try }

// verify compares one file with its checksums.
func verify(ctx context.Context, store *catalog.Store, f catalog.File, count func(int64)) (Verified, error) {
	v := Verified{File: f.FullPath(), Status: OK}
	pieces, err := store.Pieces(ctx, f.ID)
	if err != nil {
		return v, err
	}
	unread := func(err error, at int64) Verified {
		p := problemOf(v.File, err)
		v.Status, v.Offset, v.Problem, v.failed = Unread, at, p.Problem, true
		if errors.Is(err, fs.ErrNotExist) {
			v.Status = Missing
		}
		return v
	}
	defer wavfile.Ask(v.File)()
	st, err := os.Stat(v.File)
	if err != nil {
		return unread(err, 0), nil
	}
	r, err := os.Open(v.File)
	if err != nil {
		return unread(err, 0), nil
	}
	defer r.Close()
	covered := int64(0)
	whole := true
	buf := make([]byte, sumBuffer)
	for _, p := range pieces {
		whole = whole && p.Offset == covered
		covered = p.Offset + p.Length
		sum, err := sumOf(ctx, r, p.Offset, p.Length, buf, count)
		switch {
		case ctx.Err() != nil:
			return v, ctx.Err()
		case err == io.EOF || err == nil && sum != p.Sum:
			v.Differs = append(v.Differs, Bytes{p.Offset, p.Length})
		case err != nil:
			return unread(err, p.Offset), nil
		}
	}
	switch {
	case len(v.Differs) > 0:
		v.Status, v.Offset = Changed, v.Differs[0].Offset
	case st.Size() != f.Size:
		v.Status, v.Offset, v.Problem = Changed, min(st.Size(), f.Size), "another length than when it was scanned"
	case !whole || covered != f.Size:
		v.Status, v.Offset, v.Problem = Unread, covered, "not read whole yet"
	}
	return v, nil
}
