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

// FoundBy is the source of a take's position.
type FoundBy string

// The sources of takes. A finder never moves a person's takes.
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
	Entered     string      `json:"-"`    // the song's name as it was entered
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
	if f.ID != 0 {
		if err := w.ofShow(ctx, s.db, "SELECT show_id FROM takes WHERE id = ?", f.ID); err != nil {
			return nil, err
		}
	}
	if f.Show != "" {
		if err := w.ofShow(ctx, s.db, "SELECT id FROM shows WHERE key = ?", key); err != nil {
			return nil, err
		}
	}
	w.add(f.ID != 0, "id = ?", f.ID)
	if f.Song != "" {
		song, err := s.Song(ctx, f.Song)
		if err != nil {
			return nil, err
		}
		w.add(true, "song_id = ?", song.ID)
	}
	return takes(ctx, s.db, w)
}

// ofShow restricts takes to one show. SQLite counts the takes of that show only,
// because the window restarts with each show_id, if show_id is given as a value.
func (w *where) ofShow(ctx context.Context, q querier, query string, arg any) error {
	ids, err := list(ctx, q, query, []any{arg}, func(row scanner) (id ShowID, err error) { return id, row.Scan(&id) })
	w.add(true, "show_id = ?", append(ids, 0)[0])
	return err
}

// takes reads takes as spans of the show's reference recording, whatever
// recording they were placed on; the row itself is not changed. A take outside
// the reference keeps its own recording.
func takes(ctx context.Context, q querier, w where) ([]Take, error) {
	return list(ctx, q, `SELECT id, show_id, show_key, song_id, title, spelling, nth,
			CASE WHEN mapped THEN ref ELSE recording_id END, CASE WHEN mapped THEN ref_rate ELSE sample_rate END,
			CASE WHEN mapped THEN CAST(round(on_ref_s * ref_rate) AS INTEGER) ELSE start_frame END,
			CASE WHEN mapped THEN CAST(round((on_ref_s + 1.0 * (end_frame - start_frame) / sample_rate) * ref_rate) AS INTEGER) ELSE end_frame END,
			found_by, confidence FROM (
		SELECT *, ref <> recording_id AND on_ref_s >= 0 AND on_ref_s * ref_rate < ref_frames AS mapped FROM (
			SELECT t.*, s.date, s.place, s.key AS show_key, g.title, r.sample_rate,
				f.id AS ref, f.sample_rate AS ref_rate, f.frames AS ref_frames, r.offset_s + 1.0 * t.start_frame / r.sample_rate - f.offset_s AS on_ref_s,
				row_number() OVER (PARTITION BY t.show_id, t.song_id ORDER BY r.offset_s + 1.0 * t.start_frame / r.sample_rate, r.rig, t.end_frame, t.found_by, t.spelling, t.subject, t.id) AS nth,
				r.offset_s + 1.0 * t.start_frame / r.sample_rate AS at
			FROM takes t JOIN shows s ON s.id = t.show_id JOIN songs g ON g.id = t.song_id JOIN recordings r ON r.id = t.recording_id
				LEFT JOIN recordings f ON f.show_id = t.show_id AND f.reference))`+w.String()+` ORDER BY date, place, at, title, nth`,
		w.args, func(row scanner) (t Take, err error) {
			return t, row.Scan(&t.ID, &t.ShowID, &t.Show, &t.SongID, &t.Song, &t.Entered, &t.Nth, &t.RecordingID, &t.SampleRate, &t.StartFrame, &t.EndFrame, &t.FoundBy, &t.Confidence)
		})
}

// SaveTake stores a take, as a new one if its id is 0. Show names the show, Song
// the song, which is created if it is new. The spelling is kept: it is Entered
// if that still names Song, else Song. A person's take ends the dismissals of
// that song that it overlaps: see [Store.DismissTake].
func (s *Store) SaveTake(ctx context.Context, t Take) (Take, error) {
	var saved Take
	err := s.write(ctx, func(w *writing) error {
		if err := outdate(ctx, w, nil, []Take{t}); err != nil {
			return err
		}
		id, err := w.saveTake(ctx, t)
		if err != nil {
			return err
		}
		if err := w.settle(ctx); err != nil { // sets its title
			return err
		}
		saved, err = take(ctx, w, id)
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
	if err := w.ofShow(ctx, q, "SELECT show_id FROM takes WHERE id = ?", id); err != nil {
		return Take{}, err
	}
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

// takeBody is a person's take as a fact.
type takeBody struct {
	File       fileRef `json:"file"`
	Start      int64   `json:"start"` // frames from the file's first sample
	End        int64   `json:"end"`
	Song       string  `json:"song"` // as it was entered
	Confidence float64 `json:"confidence"`
}

func (w *writing) saveTake(ctx context.Context, t Take) (TakeID, error) {
	if t.StartFrame < 0 || t.EndFrame <= t.StartFrame {
		return 0, fmt.Errorf("take of %q on %s: its end (frame %d) must come after its start (frame %d)", t.Song, t.Show, t.EndFrame, t.StartFrame)
	}
	if !(t.Confidence >= 0 && t.Confidence <= 1) {
		return 0, fmt.Errorf("take of %q on %s: its confidence must be from 0 to 1, not %g", t.Song, t.Show, t.Confidence)
	}
	show, err := showID(ctx, w, t.Show)
	if err != nil {
		return 0, err
	}
	var of ShowID
	var offset float64
	var rate int
	err = w.QueryRowContext(ctx, "SELECT show_id, offset_s, sample_rate FROM recordings WHERE id = ?", t.RecordingID).Scan(&of, &offset, &rate)
	if errors.Is(err, sql.ErrNoRows) || err == nil && of != show {
		return 0, fmt.Errorf("take of %q on %s: recording %d does not belong to that show", t.Song, t.Show, t.RecordingID)
	}
	if err != nil {
		return 0, fmt.Errorf("could not read the catalog: %w", err)
	}
	if t.Entered, err = w.entered(ctx, t.Song, t.Entered); err != nil {
		return 0, err
	}
	subject := "" // of the person's take that it was before
	if t.ID != 0 {
		err := w.QueryRowContext(ctx, "SELECT subject FROM takes WHERE id = ?", t.ID).Scan(&subject)
		if errors.Is(err, sql.ErrNoRows) {
			return 0, takeGone(t.ID)
		}
		if err != nil {
			return 0, fmt.Errorf("could not read the catalog: %w", err)
		}
	}
	if t.FoundBy == ByPerson {
		start, end := offset+seconds(t.StartFrame, rate), offset+seconds(t.EndFrame, rate)
		if err := w.undismiss(ctx, show, Key(t.Entered), start, end); err != nil {
			return 0, err
		}
		return w.savePersons(ctx, t, subject)
	}
	if subject != "" { // from now on a finder's
		if err := w.release(ctx, t.ID, subject); err != nil {
			return 0, err
		}
	}
	return w.saveFinders(ctx, show, t)
}

// savePersons stores a person's take. A take that a finder placed before keeps
// its id.
func (w *writing) savePersons(ctx context.Context, t Take, subject string) (TakeID, error) {
	var before *fileRef
	switch {
	case subject != "":
		old, err := heads(ctx, w, FactTake, subject)
		if err != nil {
			return 0, err
		}
		for _, f := range old {
			var b takeBody
			if there, err := f.read(&b); err != nil {
				return 0, err
			} else if there {
				before = &b.File
			}
		}
	default:
		subject = randomName()
		if _, err := exec(ctx, w, "UPDATE takes SET subject = ? WHERE id = ?", subject, t.ID); err != nil {
			return 0, err
		}
	}
	ref, at, err := w.refFor(ctx, t.RecordingID, before)
	if err != nil {
		return 0, err
	}
	if err := w.put(ctx, FactTake, subject, takeBody{ref, t.StartFrame - at.start, t.EndFrame - at.start, t.Entered, t.Confidence}); err != nil {
		return 0, err
	}
	var id TakeID
	if err := w.QueryRowContext(ctx, "SELECT id FROM takes WHERE subject = ?", subject).Scan(&id); err != nil {
		return 0, fmt.Errorf("take of %q on %s: its recording could not be identified: %w", t.Song, t.Show, err)
	}
	return id, nil
}

// release makes a person's take a finder's: it deletes the fact and leaves the
// row.
func (w *writing) release(ctx context.Context, id TakeID, subject string) error {
	if _, err := exec(ctx, w, "UPDATE takes SET subject = '' WHERE id = ?", id); err != nil {
		return err
	}
	return w.put(ctx, FactTake, subject, nil)
}

// saveFinders stores a take that a finder placed, which is a result and no fact.
func (w *writing) saveFinders(ctx context.Context, show ShowID, t Take) (TakeID, error) {
	song, key, err := w.song(ctx, t.Entered)
	if err != nil {
		return 0, err
	}
	if t.ID == 0 {
		id, err := insert(ctx, w, "INSERT INTO takes (show_id, song_id, recording_id, start_frame, end_frame, found_by, confidence, spelling, song_key) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
			show, song, t.RecordingID, t.StartFrame, t.EndFrame, t.FoundBy, t.Confidence, t.Entered, key)
		return TakeID(id), err
	}
	if err := w.touch(ctx, "SELECT song_key FROM takes WHERE id = ?", t.ID); err != nil {
		return 0, err
	}
	_, err = exec(ctx, w, "UPDATE takes SET show_id = ?, song_id = ?, recording_id = ?, start_frame = ?, end_frame = ?, found_by = ?, confidence = ?, spelling = ?, song_key = ? WHERE id = ?",
		show, song, t.RecordingID, t.StartFrame, t.EndFrame, t.FoundBy, t.Confidence, t.Entered, key, t.ID)
	return t.ID, err
}

// projectTake sets the row of a person's take to the content of the fact.
func (w *writing) projectTake(ctx context.Context, f Fact) error {
	if err := w.touch(ctx, "SELECT song_key FROM takes WHERE subject = ?", f.Subject); err != nil {
		return err
	}
	var b takeBody
	at, err := w.locate(ctx, f, "takes", &b, &b.File)
	if err != nil || at.recording == 0 {
		return err
	}
	song, key, err := w.song(ctx, b.Song)
	if err != nil {
		return err
	}
	args := []any{at.show, song, at.recording, at.frame(b.Start, b.File), at.frame(b.End, b.File), ByPerson, b.Confidence, b.Song, key, f.Subject}
	if n, err := exec(ctx, w, "UPDATE takes SET show_id = ?, song_id = ?, recording_id = ?, start_frame = ?, end_frame = ?, found_by = ?, confidence = ?, spelling = ?, song_key = ? WHERE subject = ?", args...); err != nil || n > 0 {
		return err
	}
	_, err = insert(ctx, w, "INSERT INTO takes (show_id, song_id, recording_id, start_frame, end_frame, found_by, confidence, spelling, song_key, subject) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)", args...)
	return err
}

// deleteTake deletes a take; a take that is already gone is no error.
func (w *writing) deleteTake(ctx context.Context, id TakeID) error {
	if err := w.touch(ctx, "SELECT song_key FROM takes WHERE id = ?", id); err != nil {
		return err
	}
	subjects, err := list(ctx, w, "SELECT subject FROM takes WHERE id = ? AND subject <> ''", []any{id}, func(row scanner) (s string, err error) { return s, row.Scan(&s) })
	if err != nil {
		return err
	}
	for _, subject := range subjects {
		if err := w.put(ctx, FactTake, subject, nil); err != nil {
			return err
		}
	}
	_, err = exec(ctx, w, "DELETE FROM takes WHERE id = ?", id)
	return err
}

// EditTakes deletes and stores takes in one transaction, as for a split or a
// merge. Takes with an id of 0 are new; a take to delete that is already gone is
// no error. If a person states that there is no such take, use
// [Store.DismissTake].
func (s *Store) EditTakes(ctx context.Context, remove []TakeID, save []Take) error {
	return s.write(ctx, func(w *writing) error {
		if err := outdate(ctx, w, remove, save); err != nil {
			return err
		}
		return w.editTakes(ctx, remove, save)
	})
}

// outdate drops the placing results of the shows whose takes a person edits: the
// edit moves takes that a finder placed, so they no longer match what was
// computed.
func outdate(ctx context.Context, q querier, remove []TakeID, save []Take) error {
	for _, id := range remove {
		if _, err := exec(ctx, q, "DELETE FROM results WHERE kind = ? AND show_id = (SELECT show_id FROM takes WHERE id = ?)", PlacedResult, id); err != nil {
			return err
		}
	}
	for _, t := range save {
		if _, err := exec(ctx, q, "DELETE FROM results WHERE kind = ? AND show_id = (SELECT id FROM shows WHERE key = ?)", PlacedResult, t.Show); err != nil {
			return err
		}
	}
	return nil
}

// RestoreTakes sets a show's takes and dismissals to the given ones, if its
// takes are still those of now, in the order of [Store.Takes]. Otherwise it
// changes nothing, and done is false. A take whose id is gone gets a new one.
func (s *Store) RestoreTakes(ctx context.Context, show ShowKey, now, takes []Take, dismissed []Dismissal) (done bool, err error) {
	err = s.write(ctx, func(w *writing) error {
		id, err := showID(ctx, w, show)
		if err != nil {
			return err
		}
		same, err := takesAre(ctx, w, show, now)
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
		remove := slices.Sorted(maps.Keys(there))
		if err := outdate(ctx, w, remove, save); err != nil {
			return err
		}
		if err := w.editTakes(ctx, remove, save); err != nil {
			return err
		}
		done = true
		return w.restoreDismissals(ctx, id, dismissed)
	})
	return done && err == nil, err
}

// takesAre reports whether a show's takes equal the given ones.
func takesAre(ctx context.Context, q querier, show ShowKey, takesNow []Take) (bool, error) {
	key, err := address(ctx, q, show)
	if err != nil {
		return false, err
	}
	var w where
	if err := w.ofShow(ctx, q, "SELECT id FROM shows WHERE key = ?", key); err != nil {
		return false, err
	}
	now, err := takes(ctx, q, w)
	return slices.Equal(now, takesNow), err
}

// EditTakesFrom does what [Store.EditTakes] does, if the show's takes are still
// the given ones, in the order of [Store.Takes]. Otherwise it changes nothing,
// and done is false: a finder's answer must not undo what a person changed while
// it was computed.
func (s *Store) EditTakesFrom(ctx context.Context, show ShowKey, from []Take, remove []TakeID, save []Take) (done bool, err error) {
	err = s.write(ctx, func(w *writing) error {
		same, err := takesAre(ctx, w, show, from)
		if err != nil || !same {
			return err
		}
		done = true
		return w.editTakes(ctx, remove, save)
	})
	return done && err == nil, err
}

func (w *writing) editTakes(ctx context.Context, remove []TakeID, save []Take) error {
	for _, id := range remove {
		if err := w.deleteTake(ctx, id); err != nil {
			return err
		}
	}
	for _, t := range save {
		if _, err := w.saveTake(ctx, t); err != nil {
			return err
		}
	}
	return nil
}
