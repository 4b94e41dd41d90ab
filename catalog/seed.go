package catalog

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"math"
)

// factsMigration is the suffix of the migration that introduced facts.
const factsMigration = "_facts.sql"

// seed writes facts for what a catalog's tables held before there were facts.
// They have time 0, no author, and subjects made of the content, so that two
// machines that migrate copies of one catalog write the same facts. It reads the
// tables as its migration left them.
func (s *Store) seed(ctx context.Context, tx *sql.Tx) error {
	w := s.writing(ctx, tx)
	defer w.close()
	for _, step := range []func(context.Context, *writing) error{
		seedSongs, seedInputLists, seedDesks, seedSetLists, seedNotes, seedTakes, seedDismissals, seedAcceptances, seedSessions,
	} {
		if err := step(ctx, w); err != nil {
			return err
		}
	}
	for _, table := range []string{"old_dismissed", "old_acceptances"} {
		if _, err := tx.ExecContext(ctx, "DROP TABLE "+table); err != nil {
			return err
		}
	}
	return nil
}

// state adds a seeded fact. If two have the same subject, the first stays.
func (w *writing) state(ctx context.Context, kind FactKind, subject string, body any) error {
	f := Fact{Kind: kind, Subject: subject}
	var err error
	if f.Body, err = canonical(body); err != nil {
		return err
	}
	var there bool
	if err := w.QueryRowContext(ctx, "SELECT EXISTS (SELECT 1 FROM facts WHERE kind = ? AND subject = ?)", kind, subject).Scan(&there); err != nil || there {
		return err
	}
	f.ID = factID(f, nil)
	return addFact(ctx, w, f, nil)
}

// numbered makes subjects of equal content differ: the second gets a 2.
type numbered map[string]int

func (n numbered) subject(kind FactKind, body any) (string, error) {
	text, err := canonical(body)
	if err != nil {
		return "", err
	}
	n[string(text)]++
	return digest(string(kind), string(text), n[string(text)]), nil
}

// each runs f for every row of a query, after all rows are read.
func each[T any](ctx context.Context, w *writing, query string, scan func(row scanner) (T, error), f func(T) error) error {
	rows, err := list(ctx, w, query, nil, scan)
	for _, r := range rows {
		if err == nil {
			err = f(r)
		}
	}
	return err
}

// seedSongs keeps the titles as spellings. Whether a person gave a title, or it
// was merely the first one entered, is no longer known; as the spelling of all
// its takes it stays the title.
func seedSongs(ctx context.Context, w *writing) error {
	type row struct {
		id    int64
		title string
	}
	err := each(ctx, w, "SELECT id, title FROM songs", func(sc scanner) (r row, err error) { return r, sc.Scan(&r.id, &r.title) }, func(r row) error {
		for _, q := range []string{"UPDATE songs SET key = ?2 WHERE id = ?1", "UPDATE set_list_entries SET song_key = ?2 WHERE song_id = ?1"} {
			if _, err := exec(ctx, w, q, r.id, Key(r.title)); err != nil {
				return err
			}
		}
		_, err := exec(ctx, w, "UPDATE takes SET song_key = ?, spelling = ? WHERE song_id = ?", Key(r.title), r.title, r.id)
		return err
	})
	if err != nil {
		return err
	}
	return each(ctx, w, "SELECT k.alias, s.title FROM song_keys k JOIN songs s ON s.id = k.song_id WHERE k.alias <> ''",
		func(sc scanner) (a aliasBody, err error) { return a, sc.Scan(&a.Alias, &a.Of) },
		func(a aliasBody) error { return w.state(ctx, FactAlias, Key(a.Alias), a) })
}

func seedInputLists(ctx context.Context, w *writing) error {
	type row struct {
		id int64
		InputList
	}
	return each(ctx, w, "SELECT id, from_date, only, rig FROM input_lists", func(sc scanner) (r row, err error) { return r, sc.Scan(&r.id, &r.From, &r.Only, &r.Rig) }, func(r row) error {
		var err error
		r.Inputs, err = list(ctx, w, "SELECT track, channel, gain_db, grp, notes FROM inputs WHERE list_id = ? ORDER BY track", []any{r.id}, func(sc scanner) (in Input, err error) {
			return in, sc.Scan(&in.Track, &in.Channel, &in.GainDB, &in.Group, &in.Notes)
		})
		if err != nil {
			return err
		}
		subject, body := inputListFact(r.InputList)
		if body == nil {
			return nil
		}
		if _, err := exec(ctx, w, "UPDATE input_lists SET subject = ? WHERE id = ?", subject, r.id); err != nil {
			return err
		}
		return w.state(ctx, FactInputList, subject, body)
	})
}

func seedDesks(ctx context.Context, w *writing) error {
	return each(ctx, w, "SELECT id, name FROM desks ORDER BY name", func(sc scanner) (d Desk, err error) { return d, sc.Scan(&d.ID, &d.Name) }, func(d Desk) error {
		var err error
		d.Inputs, err = list(ctx, w, "SELECT input, channel, gain_db, output FROM desk_inputs WHERE desk_id = ? ORDER BY input", []any{d.ID}, func(sc scanner) (in DeskInput, err error) {
			return in, sc.Scan(&in.Input, &in.Channel, &in.GainDB, &in.Output)
		})
		if err != nil {
			return err
		}
		if _, err := exec(ctx, w, "UPDATE desks SET subject = ? WHERE id = ?", Key(d.Name), d.ID); err != nil {
			return err
		}
		return w.state(ctx, FactDesk, Key(d.Name), deskFact(d))
	})
}

func seedSetLists(ctx context.Context, w *writing) error {
	return each(ctx, w, "SELECT DISTINCT show_id FROM set_list_entries", func(sc scanner) (id ShowID, err error) { return id, sc.Scan(&id) }, func(show ShowID) error {
		lines, err := list(ctx, w, "SELECT spelling, start_s, end_s, clock FROM set_list_entries WHERE show_id = ? ORDER BY position", []any{show}, func(sc scanner) (l setListLine, err error) {
			return l, sc.Scan(&l.Song, &l.StartS, &l.EndS, &l.Clock)
		})
		if err != nil {
			return err
		}
		ref, err := refOfShow(ctx, w, show)
		if err != nil {
			return err
		}
		return w.state(ctx, FactSetList, ref, setListBody{lines})
	})
}

func seedNotes(ctx context.Context, w *writing) error {
	type row struct {
		id   int64
		show ShowID
		noteBody
	}
	n := numbered{}
	return each(ctx, w, "SELECT id, show_id, text, at FROM notes ORDER BY id", func(sc scanner) (r row, err error) { return r, sc.Scan(&r.id, &r.show, &r.Text, &r.At) }, func(r row) error {
		var err error
		if r.Show, err = refOfShow(ctx, w, r.show); err != nil {
			return err
		}
		subject, err := n.subject(FactNote, r.noteBody)
		if err != nil {
			return err
		}
		if _, err := exec(ctx, w, "UPDATE notes SET subject = ? WHERE id = ?", subject, r.id); err != nil {
			return err
		}
		return w.state(ctx, FactNote, subject, r.noteBody)
	})
}

func seedTakes(ctx context.Context, w *writing) error {
	type row struct {
		id         int64
		recording  RecordingID
		start, end int64
		song       string
		confidence float64
	}
	n := numbered{}
	return each(ctx, w, "SELECT id, recording_id, start_frame, end_frame, spelling, confidence FROM takes WHERE found_by = 'person' ORDER BY id",
		func(sc scanner) (r row, err error) {
			return r, sc.Scan(&r.id, &r.recording, &r.start, &r.end, &r.song, &r.confidence)
		},
		func(r row) error {
			ref, at, err := w.refOf(ctx, r.recording)
			if err != nil {
				return err
			}
			body := takeBody{ref, r.start - at.start, r.end - at.start, r.song, r.confidence}
			subject, err := n.subject(FactTake, body)
			if err != nil {
				return err
			}
			if _, err := exec(ctx, w, "UPDATE takes SET subject = ? WHERE id = ?", subject, r.id); err != nil {
				return err
			}
			return w.state(ctx, FactTake, subject, body)
		})
}

// seedRecording is a recording that the seconds of old rows count on.
type seedRecording struct {
	id     RecordingID
	offset float64
}

// seedRecordings returns a rig's recordings of a show, or all for "", the
// reference first.
func seedRecordings(ctx context.Context, w *writing, show ShowID, rig string) ([]seedRecording, error) {
	return list(ctx, w, `SELECT id, offset_s FROM recordings WHERE show_id = ?1 AND (rig = ?2 OR ?2 = '') ORDER BY rig <> 'main', offset_s <> 0, offset_s, rig, id`, []any{show, rig},
		func(sc scanner) (r seedRecording, err error) { return r, sc.Scan(&r.id, &r.offset) })
}

// seedSpan converts seconds from a recording's start to frames. Without a
// recording it returns frames at 48 kHz, which wait for a recording of that rig.
func seedSpan(ctx context.Context, w *writing, show ShowID, rig string, rec RecordingID, startS, endS float64) (ref fileRef, start, end int64, err error) {
	ref.Rig, ref.Rate = rig, 48000
	at := location{}
	if rec != 0 {
		ref, at, err = w.refOf(ctx, rec)
	} else {
		ref.Show, err = refOfShow(ctx, w, show)
	}
	frame := func(s float64) int64 { return int64(math.Round(s*float64(ref.Rate))) - at.start }
	return ref, frame(startS), frame(endS), err
}

func seedDismissals(ctx context.Context, w *writing) error {
	type row struct {
		show       ShowID
		song       string
		start, end float64
	}
	return each(ctx, w, "SELECT d.show_id, g.title, d.start_s, d.end_s FROM old_dismissed d JOIN songs g ON g.id = d.song_id ORDER BY d.id",
		func(sc scanner) (r row, err error) { return r, sc.Scan(&r.show, &r.song, &r.start, &r.end) },
		func(r row) error {
			all, err := seedRecordings(ctx, w, r.show, "")
			if err != nil {
				return err
			}
			on := seedRecording{}
			if len(all) > 0 {
				on = all[0] // they counted from the reference
			}
			ref, start, end, err := seedSpan(ctx, w, r.show, "", on.id, r.start-on.offset, r.end-on.offset)
			if err != nil {
				return err
			}
			b := dismissalBody{ref, start, end, r.song}
			return w.state(ctx, FactDismissal, b.subject(), b)
		})
}

func seedAcceptances(ctx context.Context, w *writing) error {
	type row struct {
		show       ShowID
		rig        string
		start, end float64
		acceptanceBody
	}
	// If two are about the same finding, the later note counts.
	return each(ctx, w, "SELECT show_id, rig, track, kind, tracks, start_s, end_s, note FROM old_acceptances ORDER BY id DESC",
		func(sc scanner) (r row, err error) {
			return r, sc.Scan(&r.show, &r.rig, &r.Track, &r.Kind, &r.Tracks, &r.start, &r.end, &r.Note)
		},
		func(r row) error {
			all, err := seedRecordings(ctx, w, r.show, r.rig)
			if err != nil {
				return err
			}
			if len(all) == 0 {
				all = append(all, seedRecording{})
			}
			for _, on := range all { // it held for all recordings of its rig
				b := r.acceptanceBody
				if b.File, b.Start, b.End, err = seedSpan(ctx, w, r.show, r.rig, on.id, r.start, r.end); err != nil {
					return err
				}
				if err := w.state(ctx, FactAcceptance, b.subject(), b); err != nil {
					return err
				}
			}
			return nil
		})
}

func seedSessions(ctx context.Context, w *writing) error {
	type row struct {
		id  int64
		doc string
	}
	n := numbered{}
	return each(ctx, w, "SELECT id, document FROM sessions ORDER BY id", func(sc scanner) (r row, err error) { return r, sc.Scan(&r.id, &r.doc) }, func(r row) error {
		var ses Session
		if err := json.Unmarshal([]byte(r.doc), &ses); err != nil {
			return fmt.Errorf("session %d cannot be read: %w", r.id, err)
		}
		body, err := w.sessionFact(ctx, ses)
		if err != nil {
			return err
		}
		subject, err := n.subject(FactSession, body)
		if err != nil {
			return err
		}
		if _, err := exec(ctx, w, "UPDATE sessions SET subject = ? WHERE id = ?", subject, r.id); err != nil {
			return err
		}
		return w.state(ctx, FactSession, subject, body)
	})
}
