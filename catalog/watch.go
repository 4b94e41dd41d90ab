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
	mu      sync.Mutex
	conn    *sql.Conn
	asked   bool
	commits int64 // of all other connections, as SQLite counts them; this one commits nothing
	changes int64
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
// when, something was changed in between that a person or a screen can see:
// not what is derived, nor where a player stands. It costs some microseconds as
// long as nobody writes (SQLite's data_version tells so).
func (w *Watcher) Version(ctx context.Context) (int64, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	var commits int64
	err := w.conn.QueryRowContext(ctx, "PRAGMA data_version").Scan(&commits)
	if err == nil && (commits != w.commits || !w.asked) {
		err = w.conn.QueryRowContext(ctx, "SELECT n FROM changes").Scan(&w.changes)
	}
	if err != nil {
		return 0, fmt.Errorf("could not watch the catalog: %w", err)
	}
	w.commits, w.asked = commits, true
	return w.changes, nil
}

// Close gives the connection back.
func (w *Watcher) Close() error { return w.conn.Close() }
