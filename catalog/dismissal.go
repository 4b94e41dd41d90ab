package catalog

import (
	"context"
	"database/sql"
)

// Dismissal is a take that a person deleted: a place where a song was not
// played. A finder asks for them and leaves those places alone.
type Dismissal struct {
	Show   ShowKey `json:"show"`
	SongID SongID  `json:"-"`
	Song   string  `json:"song"`
	StartS float64 `json:"start_s"` // from the first frame of the show's reference recording
	EndS   float64 `json:"end_s"`
}

// Dismissed returns the dismissals of a show in order of start.
func (s *Store) Dismissed(ctx context.Context, show ShowKey) ([]Dismissal, error) {
	key, err := address(ctx, s.db, show)
	if err != nil {
		return nil, err
	}
	return list(ctx, s.db, `SELECT s.key, d.song_id, g.title, d.start_s, d.end_s FROM dismissed d
		JOIN shows s ON s.id = d.show_id JOIN songs g ON g.id = d.song_id WHERE s.key = ? ORDER BY d.start_s, d.id`, []any{key},
		func(row scanner) (d Dismissal, err error) {
			return d, row.Scan(&d.Show, &d.SongID, &d.Song, &d.StartS, &d.EndS)
		})
}

// DismissTake deletes a take and remembers in the same transaction that there
// is none of that song at that place. It outlives the recording; a person who
// places the song there again ends it. A take that is not there is
// *NotFoundError.
func (s *Store) DismissTake(ctx context.Context, id TakeID) error {
	return s.update(ctx, func(tx *sql.Tx) error {
		n, err := exec(ctx, tx, `INSERT INTO dismissed (show_id, song_id, start_s, end_s)
			SELECT t.show_id, t.song_id, r.offset_s + 1.0 * t.start_frame / r.sample_rate, r.offset_s + 1.0 * t.end_frame / r.sample_rate
			FROM takes t JOIN recordings r ON r.id = t.recording_id WHERE t.id = ?`, id)
		if err != nil {
			return err
		}
		if n == 0 {
			return takeGone(id)
		}
		if err := outdate(ctx, tx, []TakeID{id}, nil); err != nil {
			return err
		}
		_, err = exec(ctx, tx, "DELETE FROM takes WHERE id = ?", id)
		return err
	})
}

// undismiss ends a song's dismissals that overlap a span.
func undismiss(ctx context.Context, tx *sql.Tx, show ShowID, song SongID, startS, endS float64) error {
	_, err := exec(ctx, tx, "DELETE FROM dismissed WHERE show_id = ? AND song_id = ? AND start_s < ? AND end_s > ?", show, song, endS, startS)
	return err
}
