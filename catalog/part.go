package catalog

import (
	"context"
	"database/sql"
	"fmt"
)

// Part is the measurement of one minute of one track. Data is opaque here;
// package meter encodes and decodes it.
type Part struct {
	Track TrackID
	Part  int // minute of the recording, from 0
	Data  []byte
	// Features are stored with the part, and read separately: see
	// [Store.Features].
	Features []Feature
	// Layout is the recording's layout when its samples were read, as
	// [Recording.Layout] counts. PutParts drops a part of an earlier layout; 0
	// stores it in any case.
	Layout int64
}

// Feature is another measurement of a part. The package that makes it owns the
// form of its data.
type Feature struct {
	Kind FeatureKind
	Data []byte
}

// FeatureKind is a kind of feature.
type FeatureKind string

// The kinds of features.
const (
	Harmony FeatureKind = "harmony" // what is played: pitch classes, in time
	Tone    FeatureKind = "tone"    // its sound: spectra
)

// PutParts stores parts with their features and the checksums of the bytes that
// they were measured from. It uses one transaction, so that the result of a part
// is stored whole or not at all.
func (s *Store) PutParts(ctx context.Context, parts []Part, pieces []Piece) error {
	return s.update(ctx, func(tx *sql.Tx) error {
		for _, p := range parts {
			if ok, err := upToDate(ctx, tx, p); err != nil || !ok {
				if err != nil {
					return err
				}
				continue
			}
			if _, err := exec(ctx, tx, "INSERT OR REPLACE INTO parts (track_id, part, data) VALUES (?, ?, ?)", p.Track, p.Part, p.Data); err != nil {
				return err
			}
			for _, f := range p.Features {
				if _, err := exec(ctx, tx, "INSERT OR REPLACE INTO features (track_id, part, kind, data) VALUES (?, ?, ?, ?)", p.Track, p.Part, f.Kind, f.Data); err != nil {
					return err
				}
			}
		}
		return putPieces(ctx, tx, pieces)
	})
}

// upToDate reports whether a part's track is unchanged since its samples were
// read: another scan may have grouped the files again meanwhile.
func upToDate(ctx context.Context, tx *sql.Tx, p Part) (ok bool, err error) {
	if p.Layout == 0 {
		return true, nil
	}
	err = tx.QueryRowContext(ctx, "SELECT EXISTS (SELECT 1 FROM tracks t JOIN recordings r ON r.id = t.recording_id WHERE t.id = ? AND r.layout = ?)", p.Track, p.Layout).Scan(&ok)
	return ok, err
}

// PartFilter chooses parts of one recording or one track.
type PartFilter struct {
	Recording RecordingID // all its tracks
	Track     TrackID     // or this one
	From, To  int         // parts From … To-1; To 0 means to the end
}

func (f PartFilter) where() (where, error) {
	var w where
	if f.Recording == 0 && f.Track == 0 {
		return w, fmt.Errorf("parts of neither a recording nor a track")
	}
	w.add(f.Recording != 0, "p.track_id IN (SELECT id FROM tracks WHERE recording_id = ?)", f.Recording)
	w.add(f.Track != 0, "p.track_id = ?", f.Track)
	w.add(f.From > 0, "p.part >= ?", f.From)
	w.add(f.To > 0, "p.part < ?", f.To)
	return w, nil
}

// Parts returns parts in order of track and minute, without their features.
func (s *Store) Parts(ctx context.Context, f PartFilter) ([]Part, error) {
	w, err := f.where()
	if err != nil {
		return nil, err
	}
	return list(ctx, s.db, "SELECT p.track_id, p.part, p.data FROM parts p"+w.String()+" ORDER BY p.track_id, p.part", w.args, func(row scanner) (p Part, err error) {
		return p, row.Scan(&p.Track, &p.Part, &p.Data)
	})
}

// Features returns one kind of feature of parts, as the Data of a Part, in order
// of track and minute. Parts that were measured before there was such a feature
// have none.
func (s *Store) Features(ctx context.Context, f PartFilter, kind FeatureKind) ([]Part, error) {
	w, err := f.where()
	if err != nil {
		return nil, err
	}
	w.add(true, "p.kind = ?", kind)
	return list(ctx, s.db, "SELECT p.track_id, p.part, p.data FROM features p"+w.String()+" ORDER BY p.track_id, p.part", w.args, func(row scanner) (p Part, err error) {
		return p, row.Scan(&p.Track, &p.Part, &p.Data)
	})
}

// PartKeys returns the same parts without their data: which parts are measured.
func (s *Store) PartKeys(ctx context.Context, f PartFilter) ([]Part, error) {
	w, err := f.where()
	if err != nil {
		return nil, err
	}
	return list(ctx, s.db, "SELECT p.track_id, p.part FROM parts p"+w.String()+" ORDER BY p.track_id, p.part", w.args, func(row scanner) (p Part, err error) {
		return p, row.Scan(&p.Track, &p.Part)
	})
}

// PartCounts returns the number of measured parts of each recording, over all
// its tracks.
func (s *Store) PartCounts(ctx context.Context) (map[RecordingID]int, error) {
	type count struct {
		id RecordingID
		n  int
	}
	counts, err := list(ctx, s.db, "SELECT t.recording_id, count(*) FROM tracks t JOIN parts p ON p.track_id = t.id GROUP BY t.recording_id", nil,
		func(row scanner) (c count, err error) { return c, row.Scan(&c.id, &c.n) })
	all := make(map[RecordingID]int, len(counts))
	for _, c := range counts {
		all[c.id] = c.n
	}
	return all, err
}

// DropParts deletes parts whose audio changed. It also deletes the checksums of
// the recording's files from there on: pieces of the given files that end after
// fromByte.
func (s *Store) DropParts(ctx context.Context, f PartFilter, files []FileID, fromByte int64) error {
	w, err := f.where()
	if err != nil {
		return err
	}
	return s.update(ctx, func(tx *sql.Tx) error {
		if _, err := exec(ctx, tx, "DELETE FROM parts AS p"+w.String(), w.args...); err != nil {
			return err
		}
		for _, id := range files {
			if _, err := exec(ctx, tx, "DELETE FROM pieces WHERE file_id = ? AND offset + length > ?", id, fromByte); err != nil {
				return err
			}
		}
		return nil
	})
}
