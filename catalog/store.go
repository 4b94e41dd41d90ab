package catalog

import (
	"context"
	"database/sql"
	"fmt"
	"strings"
	"time"
)

// Store is a catalog file. It is safe for concurrent use, also by several
// processes: SQLite's write-ahead log lets readers and one writer work side by
// side.
type Store struct {
	db       *sql.DB
	path     string
	now      func() time.Time
	created  bool   // by Open
	readOnly bool   // see OpenExisting
	opened   opened // see Intact
	copied   string // the folder of a temporary copy, "" for none
	author   string
	device   func() DeviceID // called when a step is first written
	kept     string
}

// Kept returns the path of the copy that [Open] made before it migrated the
// catalog; "" if no migration was needed.
func (s *Store) Kept() string { return s.kept }

// DamageError reports that a catalog's file is damaged.
type DamageError struct {
	File  string
	Found string // the first thing that SQLite found
}

func (e *DamageError) Error() string { return e.File + ": the catalog is damaged: " + e.Found }

// Hint returns what to do about it.
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

// update runs f in one transaction, which is rolled back if f fails.
func (s *Store) update(ctx context.Context, f func(tx *sql.Tx) error) error {
	if s.readOnly {
		return &ReadOnlyError{File: s.path}
	}
	if err := s.Intact(); err != nil {
		return err
	}
	tx, err := s.db.BeginTx(ctx, nil)
	if err != nil {
		return fmt.Errorf("%s: %w", s.path, notWritten(err))
	}
	defer tx.Rollback() // a no-op once committed
	if err := f(tx); err != nil {
		return err
	}
	if err := tx.Commit(); err != nil {
		return fmt.Errorf("%s: %w", s.path, notWritten(err))
	}
	return s.Intact() // writes to a deleted file would be lost
}

// notWritten wraps an error of SQLite about a change.
func notWritten(err error) error {
	if protected(err) {
		return &ReadOnlyError{}
	}
	return fmt.Errorf("could not write to the catalog: %w", err)
}

// querier is the common interface of *sql.DB and *sql.Tx, so that reads can run
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
		return 0, notWritten(err)
	}
	return res.LastInsertId()
}

// exec runs a statement and returns the number of rows that it changed.
func exec(ctx context.Context, q querier, query string, args ...any) (int64, error) {
	res, err := q.ExecContext(ctx, query, args...)
	if err != nil {
		return 0, notWritten(err)
	}
	return res.RowsAffected()
}

// where collects the conditions of a filter.
type where struct {
	terms []string
	args  []any
}

// add appends a condition if it is wanted.
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
