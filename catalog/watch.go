package catalog

import (
	"context"
	"database/sql"
	"fmt"
	"sync"
)

// About is the subject of a change.
type About string

// The subjects by which changes are counted. The second group is counted night
// by night.
const (
	AboutShows    About = "shows"    // dates, venues and names of nights
	AboutVolumes  About = "volumes"  // where drives are
	AboutLists    About = "lists"    // input lists
	AboutSongs    About = "songs"    // titles and aliases
	AboutDesks    About = "desks"    // and their patches
	AboutSessions About = "sessions" // and their ticks back to the stage

	AboutRecordings About = "recordings" // recordings, their tracks and markers
	AboutFiles      About = "files"
	AboutParts      About = "parts"    // measured parts
	AboutMeasured   About = "measured" // the same, if the night had takes by then
	AboutTakes      About = "takes"    // takes, dismissals, set lists
	AboutFindings   About = "findings" // findings and their acceptances
	AboutNotes      About = "notes"
)

// Changes counts all changes in a catalog that a person or a screen can see. It
// does not count derived values or the position of a player. Counts only rise.
type Changes struct {
	total int64
	all   map[About]int64
	night map[ShowKey]map[About]int64
}

// Total counts all changes.
func (c *Changes) Total() int64 { return c.total }

// Of returns the number of changes of one subject, of one night, or of all
// nights if show is "". A subject that is not counted night by night has no
// changes of a night.
func (c *Changes) Of(about About, show ShowKey) int64 {
	if show == "" {
		return c.all[about]
	}
	return c.night[show][about]
}

// Watcher reports whether a catalog was changed, by this process or by any other.
// It is safe for concurrent use.
type Watcher struct {
	mu      sync.Mutex
	conn    *sql.Conn
	commits int64 // of all other connections, as SQLite counts them; this one never commits
	changes *Changes
}

// Watch returns a watcher, which holds one connection until it is closed.
func (s *Store) Watch(ctx context.Context) (*Watcher, error) {
	conn, err := s.db.Conn(ctx)
	if err != nil {
		return nil, fmt.Errorf("%s: could not watch the catalog: %w", s.path, err)
	}
	return &Watcher{conn: conn}, nil
}

// Version returns a number that changes if and only if something was changed:
// see [Changes].
func (w *Watcher) Version(ctx context.Context) (int64, error) {
	c, err := w.Changes(ctx)
	if err != nil {
		return 0, err
	}
	return c.total, nil
}

// Changes returns the counts as they are now. It costs some microseconds while
// no process writes (by SQLite's data_version).
func (w *Watcher) Changes(ctx context.Context) (*Changes, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	var commits int64
	err := w.conn.QueryRowContext(ctx, "PRAGMA data_version").Scan(&commits)
	if err == nil && w.changes != nil && commits == w.commits {
		return w.changes, nil
	}
	var total int64
	if err == nil {
		err = w.conn.QueryRowContext(ctx, "SELECT sum(n) FROM changed").Scan(&total)
	}
	if err == nil && (w.changes == nil || total != w.changes.total) {
		err = w.read(ctx)
	}
	if err != nil {
		return nil, fmt.Errorf("could not watch the catalog: %w", err)
	}
	w.commits = commits
	return w.changes, nil
}

// read counts again. The caller must hold w.mu.
func (w *Watcher) read(ctx context.Context) error {
	rows, err := w.conn.QueryContext(ctx, "SELECT c.kind, coalesce(s.key, ''), c.n FROM changed c LEFT JOIN shows s ON s.id = c.show_id")
	if err != nil {
		return err
	}
	defer rows.Close()
	c := &Changes{all: map[About]int64{}, night: map[ShowKey]map[About]int64{}}
	for rows.Next() {
		var about About
		var show ShowKey
		var n int64
		if err := rows.Scan(&about, &show, &n); err != nil {
			return err
		}
		c.total += n
		c.all[about] += n
		if show == "" {
			continue
		}
		if c.night[show] == nil {
			c.night[show] = map[About]int64{}
		}
		c.night[show][about] = n
	}
	w.changes = c
	return rows.Err()
}

// Close releases the connection.
func (w *Watcher) Close() error { return w.conn.Close() }
