package catalog

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
)

// ResultKind is a kind of result that is computed for a show.
type ResultKind string

// The kinds of results, in the order in which they build on each other.
const (
	OwnResult      ResultKind = "own"      // what a show's own facts say about its songs
	PlacedResult   ResultKind = "placed"   // its takes
	FindingsResult ResultKind = "findings" // what is reported about its recordings
)

// Result is the stored result of a computation for a show.
type Result struct {
	Kind    ResultKind
	Show    ShowKey
	Stamp   string // of what it was made of: a result with another stamp is stale
	Digest  string // of its content: results that build on it are stamped with it
	Content []byte // owned by the package that computes it
}

// Results returns the results of a kind by show.
func (s *Store) Results(ctx context.Context, kind ResultKind) (map[ShowKey]Result, error) {
	all, err := list(ctx, s.db, "SELECT r.kind, s.key, r.stamp, r.digest, r.content FROM results r JOIN shows s ON s.id = r.show_id WHERE r.kind = ?", []any{kind},
		func(row scanner) (r Result, err error) {
			return r, row.Scan(&r.Kind, &r.Show, &r.Stamp, &r.Digest, &r.Content)
		})
	byShow := map[ShowKey]Result{}
	for _, r := range all {
		byShow[r.Show] = r
	}
	return byShow, err
}

// PutResult stores a result and replaces an earlier one. If the show is gone, it
// stores nothing.
func (s *Store) PutResult(ctx context.Context, r Result) error {
	if r.Content == nil {
		r.Content = []byte{}
	}
	_, err := exec(ctx, s.db, "INSERT OR REPLACE INTO results (kind, show_id, stamp, digest, content) SELECT ?, id, ?, ?, ? FROM shows WHERE key = ?", r.Kind, r.Stamp, r.Digest, r.Content, r.Show)
	return err
}

// factChanges counts the changes of what results are computed from. It includes
// takes that a finder placed, so the count may rise although no fact changed.
const factChanges = `SELECT coalesce(sum(n), 0) FROM changed WHERE kind IN ('shows', 'recordings', 'files', 'parts', 'lists', 'songs', 'takes')`

// Refreshed reports whether a refresh by the given version was complete and
// nothing that results are computed from has changed since. changes is the count
// of such changes so far, for [Store.PutRefreshed].
func (s *Store) Refreshed(ctx context.Context, version string) (done bool, changes int64, err error) {
	err = s.db.QueryRowContext(ctx, "WITH now (n) AS ("+factChanges+") SELECT n, EXISTS (SELECT 1 FROM refreshed r WHERE r.version = ? AND r.changes = n) FROM now", version).Scan(&changes, &done)
	if err != nil {
		err = fmt.Errorf("could not read the catalog: %w", err)
	}
	return done, changes, err
}

// PutRefreshed stores that a refresh was complete. changes is the count that
// [Store.Refreshed] returned before the refresh checked what is stale.
func (s *Store) PutRefreshed(ctx context.Context, version string, changes int64) error {
	return s.update(ctx, func(tx *sql.Tx) error {
		if _, err := exec(ctx, tx, "DELETE FROM refreshed"); err != nil {
			return err
		}
		_, err := exec(ctx, tx, "INSERT INTO refreshed (version, changes) VALUES (?, ?)", version, changes)
		return err
	})
}

// DropResults deletes all results, including a finder's takes and findings, so
// that the next refresh computes everything again.
func (s *Store) DropResults(ctx context.Context) error {
	return s.write(ctx, func(w *writing) error {
		w.all = true // includes songs that only a finder's takes refer to
		for _, q := range []string{"DELETE FROM results", "DELETE FROM refreshed", "DELETE FROM measured_digests", "DELETE FROM findings", "DELETE FROM derived", "DELETE FROM takes WHERE found_by <> 'person'"} {
			if _, err := exec(ctx, w, q); err != nil {
				return err
			}
		}
		return nil
	})
}

// MeasuredDigest returns a digest of all measurements of a recording: the same
// parts give the same digest in every catalog. It is computed once for each
// edition of the recording.
func (s *Store) MeasuredDigest(ctx context.Context, id RecordingID) (string, error) {
	var kept sql.NullString
	var edition Edition
	err := s.db.QueryRowContext(ctx, `SELECT coalesce(e.edition, 0), d.digest FROM (SELECT ?1 AS id) r LEFT JOIN editions e ON e.recording_id = r.id
		LEFT JOIN measured_digests d ON d.recording_id = r.id AND d.edition = coalesce(e.edition, 0)`, id).Scan(&edition, &kept)
	if err != nil {
		return "", fmt.Errorf("could not read the catalog: %w", err)
	}
	if kept.Valid {
		return kept.String, nil
	}
	h := sha256.New()
	for _, query := range []string{
		"SELECT t.number, p.part, '', p.data FROM parts p JOIN tracks t ON t.id = p.track_id WHERE t.recording_id = ? ORDER BY t.number, p.part",
		"SELECT t.number, f.part, f.kind, f.data FROM features f JOIN tracks t ON t.id = f.track_id WHERE t.recording_id = ? ORDER BY t.number, f.kind, f.part",
	} {
		if err := s.hashParts(ctx, h, query, id); err != nil {
			return "", err
		}
	}
	digest := hex.EncodeToString(h.Sum(nil)[:16])
	if s.readOnly {
		return digest, nil
	}
	err = s.update(ctx, func(tx *sql.Tx) error {
		var now Edition
		err := tx.QueryRowContext(ctx, "SELECT edition FROM editions WHERE recording_id = ?", id).Scan(&now)
		if errors.Is(err, sql.ErrNoRows) || err == nil && now != edition {
			return nil // changed meanwhile: the next call computes it again
		}
		if err == nil {
			_, err = exec(ctx, tx, "INSERT OR REPLACE INTO measured_digests (recording_id, edition, digest) VALUES (?, ?, ?)", id, edition, digest)
		}
		return err
	})
	return digest, err
}

// hashParts hashes rows of track number, part number, kind and bytes, each with
// its length, so that no two sequences of rows have the same bytes.
func (s *Store) hashParts(ctx context.Context, h io.Writer, query string, id RecordingID) error {
	rows, err := s.db.QueryContext(ctx, query, id)
	if err != nil {
		return fmt.Errorf("could not read the catalog: %w", err)
	}
	defer rows.Close()
	var data sql.RawBytes
	for rows.Next() {
		var number, part int64
		var kind string
		if err := rows.Scan(&number, &part, &kind, &data); err != nil {
			return fmt.Errorf("could not read the catalog: %w", err)
		}
		var head []byte
		for _, n := range []int64{number, part, int64(len(kind)), int64(len(data))} {
			head = binary.LittleEndian.AppendUint64(head, uint64(n))
		}
		h.Write(head)
		io.WriteString(h, kind)
		h.Write(data)
	}
	if err := rows.Err(); err != nil {
		return fmt.Errorf("could not read the catalog: %w", err)
	}
	return nil
}
