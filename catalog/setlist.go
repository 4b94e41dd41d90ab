package catalog

import (
	"context"
	"database/sql"
)

// SetListEntry is one line of a show's set list.
type SetListEntry struct {
	Position int      `json:"position"` // from 1
	Song     string   `json:"song"`
	SongID   SongID   `json:"-"`
	StartS   *float64 `json:"start_s"` // where the list told it, else nil
	EndS     *float64 `json:"end_s"`
	// Clock says that the times are seconds from midnight of the show's date;
	// else they count from the reference recording's first frame.
	Clock bool `json:"clock"`
}

// SetList returns a show's set list in its order; empty where there is none.
func (s *Store) SetList(ctx context.Context, show ShowKey) ([]SetListEntry, error) {
	key, err := address(ctx, s.db, show)
	if err != nil {
		return nil, err
	}
	return list(ctx, s.db, `SELECT e.position, e.song_id, g.title, e.start_s, e.end_s, e.clock FROM set_list_entries e
		JOIN songs g ON g.id = e.song_id JOIN shows s ON s.id = e.show_id WHERE s.key = ? ORDER BY e.position`, []any{key},
		func(row scanner) (e SetListEntry, err error) {
			return e, row.Scan(&e.Position, &e.SongID, &e.Song, &e.StartS, &e.EndS, &e.Clock)
		})
}

// SaveSetList stores a show's set list in place of what was there. Songs are
// found by title or alias and made where they are new; positions are given in
// the order of the entries.
func (s *Store) SaveSetList(ctx context.Context, show ShowKey, entries []SetListEntry) error {
	return s.update(ctx, func(tx *sql.Tx) error {
		night, err := showID(ctx, tx, show)
		if err != nil {
			return err
		}
		if _, err := exec(ctx, tx, "DELETE FROM set_list_entries WHERE show_id = ?", night); err != nil {
			return err
		}
		for i, e := range entries {
			song, err := ensureSong(ctx, tx, e.Song)
			if err != nil {
				return err
			}
			if _, err := exec(ctx, tx, "INSERT INTO set_list_entries (show_id, position, song_id, start_s, end_s, clock) VALUES (?, ?, ?, ?, ?, ?)",
				night, i+1, song, e.StartS, e.EndS, e.Clock); err != nil {
				return err
			}
		}
		return nil
	})
}
