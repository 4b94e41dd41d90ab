package catalog

import (
	"context"
	"database/sql"
	"time"
)

// Note is something worth remembering about a show, such as a new rig.
type Note struct {
	ID   NoteID    `json:"id"`
	Show ShowKey   `json:"show"`
	Text string    `json:"text"`
	At   time.Time `json:"at"` // when it was written
}

// Notes returns the notes of one show, or of all where date is "", in order of
// show and age.
func (s *Store) Notes(ctx context.Context, show ShowKey) ([]Note, error) {
	key, err := address(ctx, s.db, show)
	if err != nil {
		return nil, err
	}
	var w where
	w.add(show != "", "s.key = ?", key)
	return list(ctx, s.db, "SELECT n.id, s.key, n.text, n.at FROM notes n JOIN shows s ON s.id = n.show_id"+w.String()+" ORDER BY s.date, s.place, n.id", w.args,
		func(row scanner) (n Note, err error) {
			var at string
			if err := row.Scan(&n.ID, &n.Show, &n.Text, &at); err != nil {
				return n, err
			}
			n.At, err = time.Parse(time.RFC3339, at)
			return n, err
		})
}

// AddNote stores a note about a show.
func (s *Store) AddNote(ctx context.Context, show ShowKey, text string) (Note, error) {
	n := Note{Show: show, Text: text, At: s.now().UTC().Truncate(time.Second)}
	err := s.update(ctx, func(tx *sql.Tx) error {
		show, err := showID(ctx, tx, show)
		if err != nil {
			return err
		}
		id, err := insert(ctx, tx, "INSERT INTO notes (show_id, text, at) VALUES (?, ?, ?)", show, text, n.At.Format(time.RFC3339))
		n.ID = NoteID(id)
		return err
	})
	return n, err
}
