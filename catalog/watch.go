package catalog

import (
	"context"
	"database/sql"
	"fmt"
	"sync"
)

// Watcher tells whether a catalog was changed, by this process or by any other.
// It is safe for concurrent use.
type Watcher struct {
	mu   sync.Mutex
	conn *sql.Conn
}

// Watch returns a watcher, which holds one connection until it is closed.
func (s *Store) Watch(ctx context.Context) (*Watcher, error) {
	conn, err := s.db.Conn(ctx)
	if err != nil {
		return nil, fmt.Errorf("%s: could not watch the catalog: %w", s.path, err)
	}
	return &Watcher{conn: conn}, nil
}

// Version returns a number that differs from an earlier one when, and only
// when, the catalog was written to in between (SQLite's data_version, which
// counts the commits of all other connections; this one commits nothing). It
// costs some microseconds.
func (w *Watcher) Version(ctx context.Context) (int64, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	var v int64
	if err := w.conn.QueryRowContext(ctx, "PRAGMA data_version").Scan(&v); err != nil {
		return 0, fmt.Errorf("could not watch the catalog: %w", err)
	}
	return v, nil
}

// Close gives the connection back.
func (w *Watcher) Close() error { return w.conn.Close() }
