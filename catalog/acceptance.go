package catalog

import (
	"context"
	"database/sql"
	"fmt"
	"time"
)

// AcceptFlag quiets a finding: it, and whatever a later scan finds of the same
// kind on the same track, or the same tracks together, of that rig at an
// overlapping time, counts as accepted. It is kept apart from the flags, so that
// it outlives them. Accepting once more replaces the note. A flag that is not
// there is *NotFoundError.
func (s *Store) AcceptFlag(ctx context.Context, id FlagID, note string) error {
	return s.update(ctx, func(tx *sql.Tx) error {
		f, err := flag(ctx, tx, id)
		if err != nil {
			return err
		}
		if _, err := exec(ctx, tx, "DELETE FROM acceptances WHERE show_id = ? AND rig = ? AND track = ? AND kind = ? AND tracks = ? AND start_s = ? AND end_s = ?",
			f.ShowID, f.Rig, f.Track, f.Kind, f.shared(), f.StartS(), f.EndS()); err != nil {
			return err
		}
		_, err = exec(ctx, tx, "INSERT INTO acceptances (show_id, rig, track, kind, tracks, start_s, end_s, note, accepted_at) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
			f.ShowID, f.Rig, f.Track, f.Kind, f.shared(), f.StartS(), f.EndS(), note, s.now().UTC().Format(time.RFC3339))
		return err
	})
}

// UnacceptFlag takes acceptance back. A flag that is not there is
// *NotFoundError.
func (s *Store) UnacceptFlag(ctx context.Context, id FlagID) error {
	return s.update(ctx, func(tx *sql.Tx) error {
		f, err := flag(ctx, tx, id)
		if err != nil {
			return err
		}
		_, err = exec(ctx, tx, "DELETE FROM acceptances WHERE show_id = ? AND rig = ? AND track = ? AND kind = ? AND tracks = ? AND start_s <= ? AND end_s >= ?",
			f.ShowID, f.Rig, f.Track, f.Kind, f.shared(), f.EndS(), f.StartS())
		return err
	})
}

// flag returns one flag without its channel, or *NotFoundError.
func flag(ctx context.Context, q querier, id FlagID) (Flag, error) {
	if id != 0 { // 0 would choose all
		all, err := flags(ctx, q, FlagFilter{ID: id})
		if err != nil {
			return Flag{}, err
		}
		if len(all) == 1 {
			return all[0], nil
		}
	}
	return Flag{}, &NotFoundError{Kind: "flag", Name: fmt.Sprint(id), Try: "nightreel flags lists them with their ids"}
}

// acceptedNote is the note of the last acceptance of a flag f of a recording r,
// NULL where it was not accepted.
const acceptedNote = `(SELECT a.note FROM acceptances a
	WHERE a.show_id = f.show_id AND a.rig = r.rig AND a.track = f.track AND a.kind = f.kind AND a.tracks = f.tracks
		AND a.start_s <= 1.0 * f.end_frame / r.sample_rate AND a.end_s >= 1.0 * f.start_frame / r.sample_rate
	ORDER BY a.id DESC LIMIT 1)`
