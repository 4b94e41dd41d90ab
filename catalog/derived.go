package catalog

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
)

// DerivedKind is a kind of value that is computed from a recording's measured
// parts.
type DerivedKind string

// The kinds of derived values. The package that computes one owns the form of
// its data.
const (
	SpanFigures DerivedKind = "figures" // level figures of every track in a span
	ReadWhole   DerivedKind = "read"    // all of it was read and measured: see [Store.ReadStates]
	Strips      DerivedKind = "strips"  // a coarse envelope of every track
	Settled     DerivedKind = "settled" // the show's recordings whose offsets and reference were computed
)

// DerivedKey identifies a derived value: its kind, and the span of the
// recording, in frames.
type DerivedKey struct {
	Recording  RecordingID
	Kind       DerivedKind
	Start, End int64
}

// Edition counts the changes of a recording: of its measured parts, and of its
// files, tracks and markers. Read it before the parts, and return it with the
// value that was derived from them.
type Edition int64

// mostDerived is the number of values of one kind that are kept per recording:
// enough for a night's takes and the spans that they had before a person moved
// them.
const mostDerived = 400

// Derived returns a stored value and the current edition of the parts. The value
// is nil if none is stored, or if the parts have changed since.
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

// PutDerived stores a value that was derived from the given edition of the
// parts. If they have changed meanwhile, or if the catalog is read-only, it
// drops the value; neither is an error.
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
