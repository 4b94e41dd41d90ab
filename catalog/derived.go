package catalog

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
)

// DerivedKind says what was worked out of a recording's measured parts.
type DerivedKind string

// The kinds of what is derived. Who works it out owns the form of its data.
const (
	SpanFigures DerivedKind = "figures" // level figures of every track in a span
	ReadWhole   DerivedKind = "read"    // that all of it was read and measured: see [Store.ReadStates]
	Strips      DerivedKind = "strips"  // a coarse envelope of every track
	Settled     DerivedKind = "settled" // the show's recordings whose offsets and reference were worked out
)

// DerivedKey names one thing that was worked out: its kind, and the span of the
// recording, in frames, that it is about.
type DerivedKey struct {
	Recording  RecordingID
	Kind       DerivedKind
	Start, End int64
}

// Edition counts the changes of a recording: of its measured parts, and of its
// files, tracks and markers. It is asked for
// before the parts are read, and given back with what was worked out of them.
type Edition int64

// mostDerived is how many things of one kind are kept of a recording: a
// night's takes and the spans that they had before somebody moved them.
const mostDerived = 400

// Derived returns what was worked out earlier, nil where there is nothing or
// where the parts have changed since, and the edition of the parts now.
func (s *Store) Derived(ctx context.Context, k DerivedKey) ([]byte, Edition, error) {
	var data []byte
	var edition Edition
	err := s.db.QueryRowContext(ctx, `SELECT coalesce(e.edition, 0), d.data FROM (SELECT ?1 AS id) r
		LEFT JOIN editions e ON e.recording_id = r.id
		LEFT JOIN derived d ON d.recording_id = r.id AND d.kind = ?2 AND d.start_frame = ?3 AND d.end_frame = ?4 AND d.edition = coalesce(e.edition, 0)`,
		k.Recording, k.Kind, k.Start, k.End).Scan(&edition, &data)
	if err != nil {
		return nil, 0, fmt.Errorf("could not read the catalog: %w", err)
	}
	return data, edition, nil
}

// PutDerived keeps what was worked out of the given edition of the parts. Where
// they changed meanwhile it is thrown away, which is no error; nor is it an
// error that a catalog can only be read.
func (s *Store) PutDerived(ctx context.Context, k DerivedKey, of Edition, data []byte) error {
	if s.readOnly {
		return nil
	}
	return s.update(ctx, func(tx *sql.Tx) error {
		var now Edition
		err := tx.QueryRowContext(ctx, "SELECT edition FROM editions WHERE recording_id = ?", k.Recording).Scan(&now)
		if err != nil && !errors.Is(err, sql.ErrNoRows) {
			return fmt.Errorf("could not read the catalog: %w", err)
		}
		if now != of {
			return nil
		}
		if _, err := exec(ctx, tx, `INSERT OR REPLACE INTO derived (recording_id, kind, start_frame, end_frame, edition, data) VALUES (?, ?, ?, ?, ?, ?)`,
			k.Recording, k.Kind, k.Start, k.End, of, data); err != nil {
			return err
		}
		_, err = exec(ctx, tx, `DELETE FROM derived WHERE recording_id = ?1 AND kind = ?2 AND (edition <> ?3
			OR id <= (SELECT id FROM derived WHERE recording_id = ?1 AND kind = ?2 ORDER BY id DESC LIMIT 1 OFFSET ?4))`,
			k.Recording, k.Kind, of, mostDerived)
		return err
	})
}
