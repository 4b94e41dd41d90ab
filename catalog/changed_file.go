package catalog

import (
	"cmp"
	"context"
	"database/sql"
	"fmt"
	"time"
)

// Change is a stretch of a file whose bytes differ from those that were
// measured, and the measurements of it.
type Change struct {
	File             FileID
	FromByte, ToByte int64 // FromByte … ToByte-1; ToByte 0 means to the end
	Tracks           []TrackID
	FromPart, ToPart int // of each track, FromPart … ToPart-1
}

// ChangedFile is a file that changed after it was measured. It stays in this
// list, measured again or not, until a person accepts the change, or until it is
// measured again with the checksums that it had first.
type ChangedFile struct {
	File      FileID
	Recording RecordingID
	FirstSize int64     // bytes, when it was read first
	FoundAt   time.Time // when a scan last found it changed
	First     []Piece   // the checksums that it had first, in order of offset
}

// ForgetChanged deletes the measurements of changed bytes, in one transaction,
// and stores that the file changed. The checksums from before the file's first
// change are kept until [Store.AcceptChange].
func (s *Store) ForgetChanged(ctx context.Context, c Change) error {
	return s.update(ctx, func(tx *sql.Tx) error { return s.forgetChanged(ctx, tx, c) })
}

func (s *Store) forgetChanged(ctx context.Context, tx *sql.Tx, c Change) error {
	to := c.ToByte
	if to == 0 {
		to = 1<<63 - 1
	}
	var open bool
	if err := tx.QueryRowContext(ctx, "SELECT EXISTS (SELECT 1 FROM changed_files WHERE file_id = ?)", c.File).Scan(&open); err != nil {
		return fmt.Errorf("could not read the catalog: %w", err)
	}
	if open {
		accepted, err := isAccepted(ctx, tx, c.File)
		if err != nil {
			return err
		}
		open = !accepted
	}
	now := s.now().UTC().Format(time.RFC3339)
	if open {
		if _, err := exec(ctx, tx, "UPDATE changed_files SET found_at = ? WHERE file_id = ?", now, c.File); err != nil {
			return err
		}
	} else {
		if _, err := exec(ctx, tx, "INSERT OR REPLACE INTO changed_files (file_id, size, found_at) SELECT id, size, ? FROM files WHERE id = ?", now, c.File); err != nil {
			return err
		}
		if _, err := exec(ctx, tx, "DELETE FROM first_pieces WHERE file_id = ?", c.File); err != nil {
			return err
		}
		if _, err := exec(ctx, tx, "INSERT INTO first_pieces (file_id, offset, length, sum) SELECT file_id, offset, length, sum FROM pieces WHERE file_id = ?", c.File); err != nil {
			return err
		}
	}
	for _, track := range c.Tracks {
		if _, err := exec(ctx, tx, "DELETE FROM parts WHERE track_id = ? AND part >= ? AND part < ?", track, c.FromPart, c.ToPart); err != nil {
			return err
		}
	}
	if _, err := exec(ctx, tx, "DELETE FROM pieces WHERE file_id = ? AND offset < ? AND offset + length > ?", c.File, to, c.FromByte); err != nil {
		return err
	}
	// The triggers fire on parts, and there may have been none.
	_, err := exec(ctx, tx, "UPDATE editions SET edition = edition + 1 WHERE recording_id = (SELECT recording_id FROM files WHERE id = ?)", c.File)
	return err
}

// ChangedFiles returns the files of a show, or of all shows for "", that changed
// and were not accepted, by id.
func (s *Store) ChangedFiles(ctx context.Context, show ShowKey) (map[FileID]ChangedFile, error) {
	key, err := address(ctx, s.db, show)
	if err != nil {
		return nil, err
	}
	var w where
	w.add(true, `(f.size <> c.size OR NOT EXISTS (SELECT 1 FROM first_pieces p WHERE p.file_id = f.id)
		OR EXISTS (SELECT 1 FROM first_pieces p LEFT JOIN pieces q ON q.file_id = p.file_id AND q.offset = p.offset WHERE p.file_id = f.id AND (q.sum IS NOT p.sum OR q.length <> p.length)))`)
	w.add(show != "", "s.key = ?", key)
	from := ` FROM changed_files c JOIN files f ON f.id = c.file_id JOIN recordings r ON r.id = f.recording_id JOIN shows s ON s.id = r.show_id`
	files, err := list(ctx, s.db, "SELECT c.file_id, f.recording_id, c.size, c.found_at"+from+w.String(), w.args, func(row scanner) (c ChangedFile, err error) {
		var at string
		if err := row.Scan(&c.File, &c.Recording, &c.FirstSize, &at); err != nil {
			return c, err
		}
		c.FoundAt, err = time.Parse(time.RFC3339, at)
		return c, err
	})
	if err != nil || len(files) == 0 {
		return map[FileID]ChangedFile{}, err
	}
	open := files[:0]
	for _, c := range files {
		accepted, err := isAccepted(ctx, s.db, c.File)
		if err != nil {
			return nil, err
		}
		if !accepted {
			open = append(open, c)
		}
	}
	pieces, err := list(ctx, s.db, "SELECT p.file_id, p.offset, p.length, p.sum"+from+" JOIN first_pieces p ON p.file_id = c.file_id"+w.String()+" ORDER BY p.file_id, p.offset", w.args, readPiece)
	all := map[FileID]ChangedFile{}
	for _, c := range open {
		all[c.File] = c
	}
	for _, p := range pieces {
		if c, ok := all[p.File]; ok { // else it changed between the two reads
			c.First = append(c.First, p)
			all[p.File] = c
		}
	}
	return all, err
}

// AcceptChange stores a person's word that a changed file is right as it was last
// measured. The word is about the file's bytes, so it also holds for a copy, and
// no longer once the file changes again. A file that did not change, or was
// accepted, is *[NotFoundError].
func (s *Store) AcceptChange(ctx context.Context, file FileID, note string) error {
	return s.write(ctx, func(w *writing) error {
		var changed bool
		if err := w.QueryRowContext(ctx, "SELECT EXISTS (SELECT 1 FROM changed_files WHERE file_id = ?)", file).Scan(&changed); err != nil {
			return fmt.Errorf("could not read the catalog: %w", err)
		}
		accepted, err := isAccepted(ctx, w, file)
		if err != nil {
			return err
		}
		if !changed || accepted {
			return &NotFoundError{Kind: "changed file", Name: fmt.Sprint(file), Try: "nightreel verify lists the files that changed"}
		}
		bytes, err := bytesOf(ctx, w, file)
		if err != nil {
			return err
		}
		if bytes == "" {
			return fmt.Errorf("file %d was not accepted: it was not measured again yet", file)
		}
		return w.say(ctx, []Word{{Content: bytes, About: SaidRight, Value: cmp.Or(note, "accepted")}})
	})
}

// bytesOf names all bytes of a file by their checksums; "" before it was measured.
func bytesOf(ctx context.Context, q querier, file FileID) (string, error) {
	pieces, err := list(ctx, q, "SELECT file_id, offset, length, sum FROM pieces WHERE file_id = ? ORDER BY offset", []any{file}, readPiece)
	all := []any{}
	for _, p := range pieces {
		all = append(all, p.Offset, p.Length, p.Sum)
	}
	if len(all) == 0 {
		return "", err
	}
	return "bytes " + digest(all...), err
}

// isAccepted reports whether a person accepted a file as it was last measured.
func isAccepted(ctx context.Context, q querier, file FileID) (bool, error) {
	bytes, err := bytesOf(ctx, q, file)
	if err != nil || bytes == "" {
		return false, err
	}
	found, err := list(ctx, q, "SELECT 1 FROM said WHERE content = ? AND about = ?", []any{bytes, SaidRight}, func(row scanner) (n int, err error) { return n, row.Scan(&n) })
	return len(found) > 0, err
}
