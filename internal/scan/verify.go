package scan

import (
	"context"
	"errors"
	"io"
	"io/fs"
	"os"
	"runtime"

	"nightreel/catalog"
)

// What became of a file since it was scanned. Scripts rely on these words.
const (
	OK      = "ok"      // every byte is as it was read
	Changed = "changed" // other bytes, or another length
	Missing = "missing" // not where it was
	Unread  = "unread"  // cannot be read, or was never read whole
)

// Verified is what a file was found to be. Offset and Differs are the evidence.
type Verified struct {
	File    string  `json:"file"`              // full path
	Status  string  `json:"status"`            // [OK], [Changed], [Missing] or [Unread]
	Offset  int64   `json:"offset,omitempty"`  // bytes: the first place that differs or cannot be read, to a stretch
	Differs []Bytes `json:"differs,omitempty"` // the stretches whose checksums differ
	Problem string  `json:"problem,omitempty"`

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
		p.bytes.Add(files[i].Size - read) // what needed no reading
		p.files.Add(1)
		return err
	})
	if err != nil {
		return nil, err
	}
	return found, nil
}

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
