package catalog

import (
	"context"
	"time"
)

// Note is a person's note about a show, such as a new rig.
type Note struct {
	ID   NoteID    `json:"id"`
	Show ShowKey   `json:"show"`
	Text string    `json:"text"`
	At   time.Time `json:"at"` // when it was written
}

// Notes returns the notes of one show, or of all if show is "", in order of show
// and age.
func (s *Store) Notes(ctx context.Context, show ShowKey) ([]Note, error) {
	key, err := address(ctx, s.db, show)
	if err != nil {
		return nil, err
	}
	var w where
	w.add(show != "", "s.key = ?", key)
	return list(ctx, s.db, "SELECT n.id, s.key, n.text, n.at FROM notes n JOIN shows s ON s.id = n.show_id"+w.String()+" ORDER BY s.date, s.place, n.at, (SELECT max(f.at) FROM facts f WHERE f.kind = 'note' AND f.subject = n.subject), n.text, n.id", w.args,
		func(row scanner) (n Note, err error) {
			var at string
			if err := row.Scan(&n.ID, &n.Show, &n.Text, &at); err != nil {
				return n, err
			}
			n.At, err = time.Parse(time.RFC3339, at)
			return n, err
		})
}

// noteBody is a note as a fact.
type noteBody struct {
	Show string `json:"show"` // as showRef writes it
	Text string `json:"text"`
	At   string `json:"at"` // RFC 3339
}

// AddNote stores a note about a show.
func (s *Store) AddNote(ctx context.Context, show ShowKey, text string) (Note, error) {
	n := Note{Show: show, Text: text, At: s.now().UTC().Truncate(time.Second)}
	err := s.write(ctx, func(w *writing) error {
		id, err := showID(ctx, w, show)
		if err != nil {
			return err
		}
		ref, err := refOfShow(ctx, w, id)
		if err != nil {
			return err
		}
		subject := randomName()
		if err := w.put(ctx, FactNote, subject, noteBody{ref, text, n.At.Format(time.RFC3339)}); err != nil {
			return err
		}
		return w.QueryRowContext(ctx, "SELECT id FROM notes WHERE subject = ?", subject).Scan(&n.ID)
	})
	return n, err
}

func (w *writing) projectNote(ctx context.Context, f Fact) error {
	var n noteBody
	there, err := f.read(&n)
	if err != nil {
		return err
	}
	show, err := showOfRef(ctx, w, n.Show)
	if err != nil {
		return err
	}
	if !there || show == 0 {
		_, err := exec(ctx, w, "DELETE FROM notes WHERE subject = ?", f.Subject)
		return err
	}
	if known, err := exec(ctx, w, "UPDATE notes SET show_id = ?, text = ?, at = ? WHERE subject = ?", show, n.Text, n.At, f.Subject); err != nil || known > 0 {
		return err
	}
	_, err = insert(ctx, w, "INSERT INTO notes (show_id, text, at, subject) VALUES (?, ?, ?, ?)", show, n.Text, n.At, f.Subject)
	return err
}
