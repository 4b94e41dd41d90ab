package catalog

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"
)

// Open opens the catalog at path. It creates the catalog and its folder if they
// are missing, and migrates an older catalog after copying it to a file beside
// it. [Store.Created] reports whether the catalog is new.
//
// Errors: *[VersionError] for a catalog of a newer nightreel, *[NotCatalogError]
// for a file of another kind, *[EmptyError] for a file of 0 bytes,
// *[DamageError] for a damaged catalog.
func Open(ctx context.Context, path string) (*Store, error) {
	return open(ctx, path, migrations)
}

func open(ctx context.Context, path string, all fs.FS) (*Store, error) {
	abs, err := absolute(path)
	if err != nil {
		return nil, err
	}
	created := false
	if _, err := os.Stat(abs); errors.Is(err, fs.ErrNotExist) {
		if err := os.MkdirAll(filepath.Dir(abs), 0o755); err != nil {
			return nil, fmt.Errorf("%s: could not make the catalog's folder: %w", abs, err)
		}
		if created, err = create(ctx, abs, all); err != nil {
			return nil, opening(abs, err)
		}
	}
	if err := checkHeader(abs); err != nil {
		return nil, opening(abs, err)
	}
	s, err := openWritable(ctx, abs, all)
	if err != nil {
		return nil, opening(abs, err)
	}
	s.created = created
	return s, nil
}

// OpenExisting opens an existing catalog and never creates one. If the catalog
// cannot be written to (a write-protected disk, another user's file, a full
// disk), it is opened for reading only: [Store.ReadOnly] is true and every
// change is *[ReadOnlyError].
//
// If there is no file at path the error is *[MissingError]; the other errors are
// those of [Open].
func OpenExisting(ctx context.Context, path string) (*Store, error) {
	return openExisting(ctx, path, migrations)
}

func openExisting(ctx context.Context, path string, all fs.FS) (*Store, error) {
	abs, err := absolute(path)
	if err != nil {
		return nil, err
	}
	if _, err := os.Stat(abs); errors.Is(err, fs.ErrNotExist) {
		return nil, &MissingError{File: abs, Near: catalogsNear(abs)}
	}
	if err := checkHeader(abs); err != nil {
		return nil, opening(abs, err)
	}
	if writable(abs) {
		s, err := openWritable(ctx, abs, all)
		if err == nil || !unwritable(err) {
			return s, opening(abs, err)
		}
	}
	s, err := openReadOnly(ctx, abs, all)
	return s, opening(abs, err)
}

func absolute(path string) (string, error) {
	if path == "" {
		return "", errors.New("the catalog's path is empty")
	}
	abs, err := filepath.Abs(path)
	if err != nil {
		return "", fmt.Errorf("%s: could not open the catalog: %w", path, err)
	}
	return abs, nil
}

// opening wraps an error about a catalog that could not be opened.
func opening(abs string, err error) error {
	switch {
	case err == nil:
		return nil
	case damaged(err), errors.As(err, new(*cutError)):
		return &DamageError{File: abs, Found: err.Error()}
	}
	if protected(err) {
		return &ReadOnlyError{File: abs}
	}
	return fmt.Errorf("%s: could not open the catalog: %w", abs, err)
}

// connect opens SQLite's connections to a catalog. The pragmas are part of the
// name: set after opening, they would hold for the pool's first connection only.
// url.URL keeps a '?' in the path a path.
func connect(abs, options string) (*Store, error) {
	name := url.URL{Scheme: "file", Path: abs, RawQuery: "_foreign_keys=on&_busy_timeout=10000&_txlock=immediate&" + options}
	db, err := sql.Open("sqlite3", name.String())
	if err != nil {
		return nil, err
	}
	return &Store{db: db, path: abs, now: time.Now, author: DefaultAuthor(), device: sync.OnceValue(randomDevice)}, nil
}

// openWritable opens an existing catalog and migrates it.
func openWritable(ctx context.Context, abs string, all fs.FS) (*Store, error) {
	s, err := connect(abs, "mode=rw&_journal_mode=wal&_synchronous=normal")
	if err != nil {
		return nil, err
	}
	if err = s.migrate(ctx, all); err == nil {
		err = s.remember()
	}
	if err != nil {
		s.db.Close()
		if s.kept != "" { // of a catalog that is as it was
			os.Remove(s.kept)
		}
		return nil, err
	}
	return s, nil
}

// create makes a new catalog under a temporary name and then renames it. So a
// file of 0 bytes is never an interrupted new catalog: it is one that lost its
// content. If another process creates the same catalog meanwhile, that one
// stays.
func create(ctx context.Context, abs string, all fs.FS) (created bool, err error) {
	dir, err := os.MkdirTemp(filepath.Dir(abs), ".new-catalog-")
	if err != nil {
		var at *fs.PathError
		if errors.As(err, &at) {
			err = at.Err // hide the temporary path
		}
		return false, fmt.Errorf("a new one cannot be made there: %w", err)
	}
	defer os.RemoveAll(dir)
	part := filepath.Join(dir, filepath.Base(abs))
	s, err := connect(part, "mode=rwc&_journal_mode=wal")
	if err != nil {
		return false, err
	}
	if err := errors.Join(s.migrate(ctx, all), s.Close()); err != nil {
		return false, err
	}
	if err := syncFile(part); err != nil {
		return false, err
	}
	err = os.Link(part, abs) // fails if the catalog exists by now; a rename would replace it
	switch {
	case err == nil:
		return true, nil
	case errors.Is(err, fs.ErrExist):
		return false, nil
	}
	// Some file systems have no hard links.
	if _, serr := os.Stat(abs); serr == nil {
		return false, nil
	}
	return true, os.Rename(part, abs)
}

// writable reports whether this user may write to the file, and whether the disk
// allows it.
func writable(abs string) bool {
	f, err := os.OpenFile(abs, os.O_RDWR, 0)
	if err != nil {
		return false
	}
	return f.Close() == nil
}

// openReadOnly opens a catalog that cannot be written to. SQLite can read one
// with a write-ahead log only if it can create the log's index beside it. If it
// cannot, there are two ways:
//
//   - if the log is empty, the file alone is the catalog (immutable)
//   - otherwise file and log are copied to the temporary folder
//
// A catalog with an older schema is copied, too, and the copy is migrated.
func openReadOnly(ctx context.Context, abs string, all fs.FS) (*Store, error) {
	names, err := fs.Glob(all, "migrations/*.sql")
	if err != nil {
		return nil, err
	}
	options := []string{"mode=ro"}
	if st, err := os.Stat(abs + "-wal"); err != nil || st.Size() == 0 {
		options = append(options, "mode=ro&immutable=1")
	}
	for _, o := range options {
		s, err := connect(abs, o+"&_query_only=1")
		if err != nil {
			return nil, err
		}
		version, err := schemaVersion(ctx, s.db)
		switch {
		case err == nil && version == len(names):
			s.readOnly = true
			if err = s.remember(); err == nil {
				return s, nil
			}
		case err == nil && version > len(names):
			err = &VersionError{Have: version, Know: len(names)}
		}
		s.db.Close()
		if err != nil && !unwritable(err) {
			return nil, err
		}
	}
	return openCopy(ctx, abs, all)
}

// openCopy opens a temporary copy of a catalog, which [Store.Close] removes.
func openCopy(ctx context.Context, abs string, all fs.FS) (s *Store, err error) {
	dir, err := os.MkdirTemp("", "nightreel-catalog-")
	if err != nil {
		return nil, fmt.Errorf("it cannot be read where it is, and there is no room for a copy: %w", err)
	}
	defer func() {
		if err != nil {
			os.RemoveAll(dir)
		}
	}()
	to := filepath.Join(dir, "catalog")
	for _, end := range []string{"", "-wal"} {
		if err := copyFile(abs+end, to+end); err != nil && !(end != "" && errors.Is(err, fs.ErrNotExist)) {
			return nil, fmt.Errorf("it cannot be read where it is, and no copy could be made in the temporary folder: %w", err)
		}
	}
	if s, err = openWritable(ctx, to, all); err == nil {
		err = s.db.Close()
	}
	if err == nil {
		s, err = connect(to, "mode=rw&_query_only=1")
	}
	if err != nil {
		return nil, err
	}
	s.path, s.readOnly, s.copied = abs, true, dir
	return s, nil
}

func copyFile(from, to string) error {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	_, err = io.Copy(out, in)
	return errors.Join(err, out.Close())
}

// Created reports whether [Open] created the catalog.
func (s *Store) Created() bool { return s.created }

// ReadOnly reports whether the catalog can only be read.
func (s *Store) ReadOnly() bool { return s.readOnly }

// Path returns the absolute path of the catalog's file.
func (s *Store) Path() string { return s.path }

// Close closes the catalog. If its file is not the one that was opened, Close
// leaves it alone: SQLite would delete the log of the file that lies there now.
func (s *Store) Close() error {
	if gone := (*GoneError)(nil); errors.As(s.Intact(), &gone) {
		return nil
	}
	err := s.db.Close()
	if s.copied != "" {
		err = errors.Join(err, os.RemoveAll(s.copied))
	}
	return err
}

// MissingError reports that the named catalog does not exist.
type MissingError struct {
	File string
	Near []string // catalogs with similar names, nearest first
}

func (e *MissingError) Error() string { return "there is no catalog at " + e.File }

// Hint offers the existing catalogs, and says how to make a new one.
func (e *MissingError) Hint() string {
	return didYouMean(e.Near) + "nightreel scan DIR and nightreel demo DIR make a catalog; --catalog FILE, before or after the command, names one"
}

// catalogsNear returns the catalogs in the folder of a missing file. If the
// folder is missing too, it returns those in a folder with a similar name.
func catalogsNear(abs string) []string {
	dir, base := filepath.Split(abs)
	dir = filepath.Clean(dir)
	near := []string{}
	for _, name := range Nearest(base, catalogsIn(dir)) {
		near = append(near, filepath.Join(dir, name))
	}
	if _, err := os.Stat(dir); err == nil {
		if len(near) == 0 {
			near = Beside(dir)
		}
		return near[:min(len(near), mostNear)]
	}
	entries, _ := os.ReadDir(filepath.Dir(dir))
	folders := []string{}
	for _, entry := range entries {
		if entry.IsDir() {
			folders = append(folders, entry.Name())
		}
	}
	for _, folder := range Nearest(filepath.Base(dir), folders) {
		in := filepath.Join(filepath.Dir(dir), folder)
		names := catalogsIn(in)
		if slices.Contains(names, base) {
			names = []string{base}
		}
		for _, name := range names {
			near = append(near, filepath.Join(in, name))
		}
	}
	return near[:min(len(near), mostNear)]
}

// Beside returns the catalogs in a folder, in order of name.
func Beside(dir string) []string {
	paths := []string{}
	for _, name := range catalogsIn(dir) {
		paths = append(paths, filepath.Join(dir, name))
	}
	return paths
}

// catalogsIn returns the names of the catalogs in a folder, recognised by their
// headers, in order of name.
func catalogsIn(dir string) []string {
	entries, _ := os.ReadDir(dir)
	names := []string{}
	for _, entry := range entries {
		if !entry.Type().IsRegular() || strings.HasPrefix(entry.Name(), ".") || strings.HasSuffix(entry.Name(), "-wal") || strings.HasSuffix(entry.Name(), "-shm") {
			continue
		}
		if isCatalog(filepath.Join(dir, entry.Name())) {
			names = append(names, entry.Name())
		}
	}
	return names
}

// EmptyError reports that a catalog's file has lost its content.
type EmptyError struct{}

func (*EmptyError) Error() string {
	return "the file is empty (0 bytes): it is no catalog, or a catalog that lost its content"
}

// Hint returns what to do about it.
func (*EmptyError) Hint() string {
	return "restore a copy of the catalog; if there is none, delete the empty file and scan the recordings again"
}

// ReadOnlyError reports that a catalog can be read but not changed.
type ReadOnlyError struct{ File string } // "" if the caller names it

func (e *ReadOnlyError) Error() string {
	text := "the catalog can only be read: the file, its folder or the disk is write-protected, belongs to another user, or is full"
	if e.File != "" {
		text = e.File + ": " + text
	}
	return text
}

// Hint returns what to do about it.
func (*ReadOnlyError) Hint() string {
	return "copy the catalog to a place where you may write, and name the copy with --catalog"
}
