package catalog

import (
	"context"
	"encoding/json"
	"fmt"
)

// Dismissal is a take that a person deleted: a span in which a song was not
// played. Finders place no such take there again.
type Dismissal struct {
	Show   ShowKey `json:"show"`
	SongID SongID  `json:"-"`
	Song   string  `json:"song"`
	// Subject is its fact's subject: see [FactDismissal].
	Subject string `json:"-"`
	// StartS and EndS are seconds from the first frame of the show's reference
	// recording.
	StartS float64 `json:"start_s"`
	EndS   float64 `json:"end_s"`
}

// Dismissed returns the dismissals of a show in order of start.
func (s *Store) Dismissed(ctx context.Context, show ShowKey) ([]Dismissal, error) {
	key, err := address(ctx, s.db, show)
	if err != nil {
		return nil, err
	}
	return list(ctx, s.db, `SELECT s.key, g.id, g.title, d.subject, r.offset_s + 1.0 * d.start_frame / r.sample_rate, r.offset_s + 1.0 * d.end_frame / r.sample_rate
		FROM dismissed d JOIN shows s ON s.id = d.show_id JOIN recordings r ON r.id = d.recording_id
		JOIN song_keys k ON k.key = d.song_key JOIN songs g ON g.id = k.song_id
		WHERE s.key = ? ORDER BY 5, 6, 3, 4`, []any{key},
		func(row scanner) (d Dismissal, err error) {
			return d, row.Scan(&d.Show, &d.SongID, &d.Song, &d.Subject, &d.StartS, &d.EndS)
		})
}

// dismissalBody is a dismissal as a fact.
type dismissalBody struct {
	File  fileRef `json:"file"`
	Start int64   `json:"start"` // frames from the file's first sample
	End   int64   `json:"end"`
	Song  string  `json:"song"` // as the take spelled it
}

func (b dismissalBody) subject() string {
	return digest(b.File.name(), b.Start, b.End, Key(b.Song))
}

// DismissTake deletes a take, and stores in the same transaction that the song
// was not played in that span. The dismissal survives the recording; it ends
// when a person places the song there again. A take that is not there is
// *NotFoundError.
func (s *Store) DismissTake(ctx context.Context, id TakeID) error {
	return s.write(ctx, func(w *writing) error {
		t, err := take(ctx, w, id)
		if err != nil {
			return err
		}
		ref, at, err := w.refOf(ctx, t.RecordingID)
		if err != nil {
			return err
		}
		if err := outdate(ctx, w, []TakeID{id}, nil); err != nil {
			return err
		}
		b := dismissalBody{ref, t.StartFrame - at.start, t.EndFrame - at.start, t.Entered}
		if err := w.put(ctx, FactDismissal, b.subject(), b); err != nil {
			return err
		}
		return w.deleteTake(ctx, id)
	})
}

// restoreDismissals sets the dismissals of a show back to the given ones.
func (w *writing) restoreDismissals(ctx context.Context, show ShowID, before []Dismissal) error {
	now, err := list(ctx, w, "SELECT subject FROM dismissed WHERE show_id = ? ORDER BY subject", []any{show}, func(row scanner) (s string, err error) { return s, row.Scan(&s) })
	if err != nil {
		return err
	}
	keep := map[string]bool{}
	for _, d := range before {
		keep[d.Subject] = true
		var body string
		err := w.QueryRowContext(ctx, "SELECT body FROM facts WHERE kind = ? AND subject = ? AND body IS NOT NULL ORDER BY at DESC, id DESC LIMIT 1", FactDismissal, d.Subject).Scan(&body)
		if err != nil {
			return fmt.Errorf("could not read the catalog: %w", err)
		}
		if err := w.put(ctx, FactDismissal, d.Subject, json.RawMessage(body)); err != nil {
			return err
		}
	}
	for _, subject := range now {
		if keep[subject] {
			continue
		}
		if err := w.put(ctx, FactDismissal, subject, nil); err != nil {
			return err
		}
	}
	return nil
}

// undismiss ends a song's dismissals that overlap a span of a show.
func (w *writing) undismiss(ctx context.Context, show ShowID, song string, startS, endS float64) error {
	n, err := w.readNames(ctx)
	if err != nil {
		return err
	}
	type row struct{ subject, song string }
	all, err := list(ctx, w, `SELECT d.subject, d.song_key FROM dismissed d JOIN recordings r ON r.id = d.recording_id
		WHERE d.show_id = ? AND r.offset_s + 1.0 * d.start_frame / r.sample_rate < ? AND r.offset_s + 1.0 * d.end_frame / r.sample_rate > ? ORDER BY d.subject`,
		[]any{show, endS, startS}, func(sc scanner) (r row, err error) { return r, sc.Scan(&r.subject, &r.song) })
	if err != nil {
		return err
	}
	for _, d := range all {
		if n.root(d.song) != n.root(song) {
			continue
		}
		if err := w.put(ctx, FactDismissal, d.subject, nil); err != nil {
			return err
		}
	}
	return nil
}

func (w *writing) projectDismissal(ctx context.Context, f Fact) error {
	if err := w.touch(ctx, "SELECT song_key FROM dismissed WHERE subject = ?", f.Subject); err != nil {
		return err
	}
	var b dismissalBody
	at, err := w.locate(ctx, f, "dismissed", &b, &b.File)
	if err != nil || at.recording == 0 {
		return err
	}
	w.songs[Key(b.Song)] = true
	_, err = exec(ctx, w, "INSERT OR REPLACE INTO dismissed (subject, show_id, recording_id, start_frame, end_frame, spelling, song_key) VALUES (?, ?, ?, ?, ?, ?, ?)",
		f.Subject, at.show, at.recording, at.frame(b.Start, b.File), at.frame(b.End, b.File), b.Song, Key(b.Song))
	return err
}
