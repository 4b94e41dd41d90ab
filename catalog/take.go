package catalog

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"slices"
)

// FoundBy says who placed a take.
type FoundBy string

// Who may place a take. A person's takes are never moved by a finder.
const (
	ByMarker  FoundBy = "marker"
	BySetList FoundBy = "setlist"
	ByMusic   FoundBy = "music"
	ByPerson  FoundBy = "person"
)

// Take is one song on one night: a span of the show's reference recording.
type Take struct {
	ID          TakeID      `json:"id"`
	ShowID      ShowID      `json:"-"`
	Show        ShowKey     `json:"show"`
	SongID      SongID      `json:"-"`
	Song        string      `json:"song"` // the song's title
	Nth         int         `json:"nth"`  // 1 for the song's first take of the night; counted by the store
	RecordingID RecordingID `json:"-"`    // the recording that the frames count in
	SampleRate  int         `json:"-"`    // its rate, Hz
	StartFrame  int64       `json:"-"`
	EndFrame    int64       `json:"-"` // first frame after the take
	FoundBy     FoundBy     `json:"found_by"`
	Confidence  float64     `json:"confidence"` // 0 to 1
}

// StartS returns the start in seconds from the recording's first frame.
func (t Take) StartS() float64 { return seconds(t.StartFrame, t.SampleRate) }

// EndS returns the end in seconds from the recording's first frame.
func (t Take) EndS() float64 { return seconds(t.EndFrame, t.SampleRate) }

// MarshalJSON adds start_s and end_s.
func (t Take) MarshalJSON() ([]byte, error) {
	type plain Take
	return json.Marshal(struct {
		plain
		StartS float64 `json:"start_s"`
		EndS   float64 `json:"end_s"`
	}{plain(t), t.StartS(), t.EndS()})
}

// TakeFilter chooses takes; zero fields choose all. Song may be an alias.
type TakeFilter struct {
	ID   TakeID
	Show ShowKey
	Song string
}

// Takes returns takes in order of show and start. A song that is not in the
// catalog is *NotFoundError.
func (s *Store) Takes(ctx context.Context, f TakeFilter) ([]Take, error) {
	key, err := address(ctx, s.db, f.Show)
	if err != nil {
		return nil, err
	}
	var w where
	w.add(f.ID != 0, "id = ?", f.ID)
	w.add(f.Show != "", "key = ?", key)
	if f.Song != "" {
		song, err := s.Song(ctx, f.Song)
		if err != nil {
			return nil, err
		}
		w.add(true, "song_id = ?", song.ID)
	}
	return takes(ctx, s.db, w)
}

// takes reads takes as spans of the show's reference, whatever recording they
// were placed on: the row itself stays as it was placed. One that lies outside the
// reference keeps its own recording.
func takes(ctx context.Context, q querier, w where) ([]Take, error) {
	return list(ctx, q, `SELECT id, show_id, key, song_id, title, nth,
			CASE WHEN mapped THEN ref ELSE recording_id END, CASE WHEN mapped THEN ref_rate ELSE sample_rate END,
			CASE WHEN mapped THEN CAST(round(on_ref_s * ref_rate) AS INTEGER) ELSE start_frame END,
			CASE WHEN mapped THEN CAST(round((on_ref_s + 1.0 * (end_frame - start_frame) / sample_rate) * ref_rate) AS INTEGER) ELSE end_frame END,
			found_by, confidence FROM (
		SELECT *, ref <> recording_id AND on_ref_s >= 0 AND on_ref_s * ref_rate < ref_frames AS mapped FROM (
			SELECT t.*, s.date, s.place, s.key, g.title, r.sample_rate,
				f.id AS ref, f.sample_rate AS ref_rate, f.frames AS ref_frames, r.offset_s + 1.0 * t.start_frame / r.sample_rate - f.offset_s AS on_ref_s,
				row_number() OVER (PARTITION BY t.show_id, t.song_id ORDER BY r.offset_s + 1.0 * t.start_frame / r.sample_rate, t.id) AS nth,
				r.offset_s + 1.0 * t.start_frame / r.sample_rate AS at
			FROM takes t JOIN shows s ON s.id = t.show_id JOIN songs g ON g.id = t.song_id JOIN recordings r ON r.id = t.recording_id
				LEFT JOIN recordings f ON f.show_id = t.show_id AND f.reference))`+w.String()+` ORDER BY date, place, at, id`,
		w.args, func(row scanner) (t Take, err error) {
			return t, row.Scan(&t.ID, &t.ShowID, &t.Show, &t.SongID, &t.Song, &t.Nth, &t.RecordingID, &t.SampleRate, &t.StartFrame, &t.EndFrame, &t.FoundBy, &t.Confidence)
		})
}

// SaveTake stores a take, as a new one where its id is 0. The show is given by
// Show, the song by Song, which is made where it is new. A person's take ends
// the dismissals of that song that it overlaps: see [Store.DismissTake].
func (s *Store) SaveTake(ctx context.Context, t Take) (Take, error) {
	var saved Take
	err := s.update(ctx, func(tx *sql.Tx) error {
		if err := outdate(ctx, tx, nil, []Take{t}); err != nil {
			return err
		}
		id, err := saveTake(ctx, tx, t)
		if err != nil {
			return err
		}
		saved, err = take(ctx, tx, id)
		return err
	})
	if err != nil {
		return Take{}, err
	}
	return saved, nil
}

// take returns one take, or *NotFoundError.
func take(ctx context.Context, q querier, id TakeID) (Take, error) {
	var w where
	w.add(true, "id = ?", id)
	all, err := takes(ctx, q, w)
	if err != nil {
		return Take{}, err
	}
	if len(all) == 0 {
		return Take{}, takeGone(id)
	}
	return all[0], nil
}

func takeGone(id TakeID) error {
	return &NotFoundError{Kind: "take", Name: fmt.Sprint(id), Try: "nightreel takes lists them"}
}

func saveTake(ctx context.Context, tx *sql.Tx, t Take) (TakeID, error) {
	if t.StartFrame < 0 || t.EndFrame <= t.StartFrame {
		return 0, fmt.Errorf("take of %q on %s: its end (frame %d) must come after its start (frame %d)", t.Song, t.Show, t.EndFrame, t.StartFrame)
	}
	show, err := showID(ctx, tx, t.Show)
	if err != nil {
		return 0, err
	}
	var of ShowID
	var offset float64
	var rate int
	err = tx.QueryRowContext(ctx, "SELECT show_id, offset_s, sample_rate FROM recordings WHERE id = ?", t.RecordingID).Scan(&of, &offset, &rate)
	if errors.Is(err, sql.ErrNoRows) || err == nil && of != show {
		return 0, fmt.Errorf("take of %q on %s: recording %d is none of that show", t.Song, t.Show, t.RecordingID)
	}
	if err != nil {
		return 0, fmt.Errorf("could not read the catalog: %w", err)
	}
	song, err := ensureSong(ctx, tx, t.Song)
	if err != nil {
		return 0, err
	}
	if t.FoundBy == ByPerson {
		start, end := offset+seconds(t.StartFrame, rate), offset+seconds(t.EndFrame, rate)
		if err := undismiss(ctx, tx, show, song, start, end); err != nil {
			return 0, err
		}
	}
	if t.ID == 0 {
		id, err := insert(ctx, tx, "INSERT INTO takes (show_id, song_id, recording_id, start_frame, end_frame, found_by, confidence) VALUES (?, ?, ?, ?, ?, ?, ?)",
			show, song, t.RecordingID, t.StartFrame, t.EndFrame, t.FoundBy, t.Confidence)
		return TakeID(id), err
	}
	n, err := exec(ctx, tx, "UPDATE takes SET show_id = ?, song_id = ?, recording_id = ?, start_frame = ?, end_frame = ?, found_by = ?, confidence = ? WHERE id = ?",
		show, song, t.RecordingID, t.StartFrame, t.EndFrame, t.FoundBy, t.Confidence, t.ID)
	if err == nil && n == 0 {
		err = takeGone(t.ID)
	}
	return t.ID, err
}

// EditTakes deletes and stores takes in one transaction: a split or a merge.
// Takes with an id of 0 are new; one to delete that is
// gone already is no error. Where a person says that there is no such take, use
// [Store.DismissTake].
func (s *Store) EditTakes(ctx context.Context, remove []TakeID, save []Take) error {
	return s.update(ctx, func(tx *sql.Tx) error {
		if err := outdate(ctx, tx, remove, save); err != nil {
			return err
		}
		return editTakes(ctx, tx, remove, save)
	})
}

// outdate drops the results about the takes of the shows that a person edits: the
// edit moves takes that a finder placed, so they are no longer what was computed.
func outdate(ctx context.Context, tx *sql.Tx, remove []TakeID, save []Take) error {
	for _, id := range remove {
		if _, err := exec(ctx, tx, "DELETE FROM results WHERE kind = ? AND show_id = (SELECT show_id FROM takes WHERE id = ?)", PlacedResult, id); err != nil {
			return err
		}
	}
	for _, t := range save {
		if _, err := exec(ctx, tx, "DELETE FROM results WHERE kind = ? AND show_id = (SELECT id FROM shows WHERE key = ?)", PlacedResult, t.Show); err != nil {
			return err
		}
	}
	return nil
}

// RestoreTakes makes a show's takes and dismissals the given ones, if its takes
// still are those of now, in the order of [Store.Takes]. done is false where they
// are not, and then nothing is changed. A take whose id is gone gets a new one.
func (s *Store) RestoreTakes(ctx context.Context, show ShowKey, now, takes []Take, dismissed []Dismissal) (done bool, err error) {
	err = s.update(ctx, func(tx *sql.Tx) error {
		id, err := showID(ctx, tx, show)
		if err != nil {
			return err
		}
		same, err := takesAre(ctx, tx, show, now)
		if err != nil || !same {
			return err
		}
		there := map[TakeID]bool{}
		for _, t := range now {
			there[t.ID] = true
		}
		save := slices.Clone(takes)
		for i := range save {
			if !there[save[i].ID] {
				save[i].ID = 0
			}
			delete(there, save[i].ID)
		}
		remove := slices.Collect(maps.Keys(there))
		if err := outdate(ctx, tx, remove, save); err != nil {
			return err
		}
		if err := editTakes(ctx, tx, remove, save); err != nil {
			return err
		}
		if _, err := exec(ctx, tx, "DELETE FROM dismissed WHERE show_id = ?", id); err != nil {
			return err
		}
		for _, d := range dismissed {
			if _, err := exec(ctx, tx, "INSERT INTO dismissed (show_id, song_id, start_s, end_s) VALUES (?, ?, ?, ?)", id, d.SongID, d.StartS, d.EndS); err != nil {
				return err
			}
		}
		done = true
		return nil
	})
	return done && err == nil, err
}

// takesAre reports whether a show's takes are the given ones.
func takesAre(ctx context.Context, tx *sql.Tx, show ShowKey, takesNow []Take) (bool, error) {
	key, err := address(ctx, tx, show)
	if err != nil {
		return false, err
	}
	var w where
	w.add(true, "key = ?", key)
	now, err := takes(ctx, tx, w)
	return slices.Equal(now, takesNow), err
}

// EditTakesFrom does what [Store.EditTakes] does, if the show's takes still are
// those given, in the order of [Store.Takes]: a finder's answer must not undo
// what a person changed while it was worked out. done is false where they are
// not, and then nothing is changed.
func (s *Store) EditTakesFrom(ctx context.Context, show ShowKey, from []Take, remove []TakeID, save []Take) (done bool, err error) {
	err = s.update(ctx, func(tx *sql.Tx) error {
		same, err := takesAre(ctx, tx, show, from)
		if err != nil || !same {
			return err
		}
		done = true
		return editTakes(ctx, tx, remove, save)
	})
	return done && err == nil, err
}

func editTakes(ctx context.Context, tx *sql.Tx, remove []TakeID, save []Take) error {
	for _, id := range remove {
		if _, err := exec(ctx, tx, "DELETE FROM takes WHERE id = ?", id); err != nil {
			return err
		}
	}
	for _, t := range save {
		if _, err := saveTake(ctx, tx, t); err != nil {
			return err
		}
	}
	return nil
}
