package catalog

import (
	"context"
	"database/sql"
	"fmt"
	"time"
)

// AcceptFinding quiets a finding: it, and whatever a later scan finds of the same
// kind on the same track, or the same tracks together, of that rig at an
// overlapping time, counts as accepted. It is kept apart from the findings, so that
// it outlives them. Accepting once more replaces the note. A finding that is not
// there is *NotFoundError.
func (s *Store) AcceptFinding(ctx context.Context, id FindingID, note string) error {
	return s.update(ctx, func(tx *sql.Tx) error {
		f, err := finding(ctx, tx, id)
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

// UnacceptFinding takes acceptance back. A finding that is not there is
// *NotFoundError.
func (s *Store) UnacceptFinding(ctx context.Context, id FindingID) error {
	return s.update(ctx, func(tx *sql.Tx) error {
		f, err := finding(ctx, tx, id)
		if err != nil {
			return err
		}
		_, err = exec(ctx, tx, "DELETE FROM acceptances WHERE show_id = ? AND rig = ? AND track = ? AND kind = ? AND tracks = ? AND start_s <= ? AND end_s >= ?",
			f.ShowID, f.Rig, f.Track, f.Kind, f.shared(), f.EndS(), f.StartS())
		return err
	})
}

// finding returns one finding without its channel, or *NotFoundError.
func finding(ctx context.Context, q querier, id FindingID) (Finding, error) {
	if id != 0 { // 0 would choose all
		all, err := findings(ctx, q, FindingFilter{ID: id})
		if err != nil {
			return Finding{}, err
		}
		if len(all) == 1 {
			return all[0], nil
		}
	}
	return Finding{}, &NotFoundError{Kind: "finding", Name: fmt.Sprint(id), Try: "nightreel findings lists them with their ids"}
}

// acceptedNote is the note of the last acceptance of a finding f of a recording r,
// NULL where it was not accepted.
const acceptedNote = `(SELECT a.note FROM acceptances a
	WHERE a.show_id = f.show_id AND a.rig = r.rig AND a.track = f.track AND a.kind = f.kind AND a.tracks = f.tracks
		AND a.start_s <= 1.0 * f.end_frame / r.sample_rate AND a.end_s >= 1.0 * f.start_frame / r.sample_rate
	ORDER BY a.id DESC LIMIT 1)`
