package catalog

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// Store is a catalog file. It is safe for concurrent use, by several processes
// too: SQLite's write-ahead log lets readers and one writer work side by side.
type Store struct {
	db   *sql.DB
	path string
	now  func() time.Time
}

// Open opens the catalog at path, creating it and its folder where they are
// missing, and brings an older catalog up to date after keeping a copy beside
// it. A catalog written by a newer nightreel is refused with *VersionError,
// a file that is none with *NotCatalogError; one that cannot be read any more
// is *DamageError.
func Open(ctx context.Context, path string) (*Store, error) {
	return open(ctx, path, migrations)
}

func open(ctx context.Context, path string, all fs.FS) (*Store, error) {
	if path == "" {
		return nil, errors.New("the catalog's path is empty")
	}
	abs, err := filepath.Abs(path)
	if err != nil {
		return nil, fmt.Errorf("%s: could not open the catalog: %w", path, err)
	}
	if err := os.MkdirAll(filepath.Dir(abs), 0o755); err != nil {
		return nil, fmt.Errorf("%s: could not make the catalog's folder: %w", abs, err)
	}
	if err := checkHeader(abs); err != nil {
		return nil, fmt.Errorf("%s: could not open the catalog: %w", abs, err)
	}
	// Pragmas belong in the name: set once after opening they hold for the
	// pool's first connection only. url.URL keeps a '?' in the path a path.
	name := url.URL{Scheme: "file", Path: abs, RawQuery: "_foreign_keys=on&_journal_mode=wal&_busy_timeout=10000&_txlock=immediate&_synchronous=normal"}
	db, err := sql.Open("sqlite3", name.String())
	if err != nil {
		return nil, fmt.Errorf("%s: could not open the catalog: %w", abs, err)
	}
	s := &Store{db: db, path: abs, now: time.Now}
	if err := s.migrate(ctx, all); err != nil {
		db.Close()
		if damaged(err) {
			return nil, &DamageError{File: abs, Found: err.Error()}
		}
		return nil, fmt.Errorf("%s: could not open the catalog: %w", abs, err)
	}
	return s, nil
}

// Path returns the absolute path of the catalog's file.
func (s *Store) Path() string { return s.path }

// Close closes the catalog.
func (s *Store) Close() error { return s.db.Close() }

// DamageError says that a catalog's file does not hold together any more.
type DamageError struct {
	File  string
	Found string // the first thing that SQLite found
}

func (e *DamageError) Error() string { return e.File + ": the catalog is damaged: " + e.Found }

// Hint says what to do about it.
func (e *DamageError) Hint() string {
	return "restore a copy of the catalog, or scan the recordings into a new one"
}

// Check runs SQLite's own checks over the whole file. Damage is *DamageError.
func (s *Store) Check(ctx context.Context) error {
	var found string
	err := s.db.QueryRowContext(ctx, "PRAGMA integrity_check(1)").Scan(&found)
	switch {
	case damaged(err):
		return &DamageError{File: s.path, Found: err.Error()}
	case err != nil:
		return fmt.Errorf("%s: could not check the catalog: %w", s.path, err)
	case found != "ok":
		return &DamageError{File: s.path, Found: found}
	}
	if err := foreignKeysHold(ctx, s.db); err != nil {
		return &DamageError{File: s.path, Found: err.Error()}
	}
	return nil
}

// update runs f in one transaction, which is rolled back when f fails.
func (s *Store) update(ctx context.Context, f func(tx *sql.Tx) error) error {
	tx, err := s.db.BeginTx(ctx, nil)
	if err != nil {
		return fmt.Errorf("%s: could not write to the catalog: %w", s.path, err)
	}
	defer tx.Rollback() // a no-op once committed
	if err := f(tx); err != nil {
		return err
	}
	if err := tx.Commit(); err != nil {
		return fmt.Errorf("%s: could not write to the catalog: %w", s.path, err)
	}
	return nil
}

// querier is what *sql.DB and *sql.Tx have in common, so that reads compose
// inside a transaction.
type querier interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
	ExecContext(ctx context.Context, query string, args ...any) (sql.Result, error)
}

// scanner is a row being read.
type scanner interface{ Scan(dest ...any) error }

// list runs a query and scans every row with scan. The result is never nil.
func list[T any](ctx context.Context, q querier, query string, args []any, scan func(row scanner) (T, error)) ([]T, error) {
	rows, err := q.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, fmt.Errorf("could not read the catalog: %w", err)
	}
	defer rows.Close()
	all := []T{}
	for rows.Next() {
		v, err := scan(rows)
		if err != nil {
			return nil, fmt.Errorf("could not read the catalog: %w", err)
		}
		all = append(all, v)
	}
	if err := rows.Err(); err != nil {
		return nil, fmt.Errorf("could not read the catalog: %w", err)
	}
	return all, nil
}

// insert runs an INSERT and returns the new row's id.
func insert(ctx context.Context, q querier, query string, args ...any) (int64, error) {
	res, err := q.ExecContext(ctx, query, args...)
	if err != nil {
		return 0, fmt.Errorf("could not write to the catalog: %w", err)
	}
	return res.LastInsertId()
}

// exec runs a statement and returns how many rows it touched.
func exec(ctx context.Context, q querier, query string, args ...any) (int64, error) {
	res, err := q.ExecContext(ctx, query, args...)
	if err != nil {
		return 0, fmt.Errorf("could not write to the catalog: %w", err)
	}
	return res.RowsAffected()
}

// where collects the conditions of a filter.
type where struct {
	terms []string
	args  []any
}

// add appends a condition when it is wanted.
func (w *where) add(wanted bool, term string, args ...any) {
	if wanted {
		w.terms = append(w.terms, term)
		w.args = append(w.args, args...)
	}
}

func (w *where) String() string {
	if len(w.terms) == 0 {
		return ""
	}
	return " WHERE " + strings.Join(w.terms, " AND ")
}
