package catalog

import (
	"context"
	"database/sql"
	"fmt"
)

// Track is one recorded channel of one recording.
type Track struct {
	ID          TrackID
	RecordingID RecordingID
	Show        Date
	Rig         string
	SampleRate  int    // Hz
	Number      int    // from 1, as the recorder counts
	Name        string // as recorded; may be empty
	Frames      int64  // from the recording's first frame to the track's last
	// Channel is what the track holds: the channel that the input list in force
	// gives its number, else its own name, else "Track N". Filled by the store,
	// so that a list imported later counts for nights scanned before.
	Channel string
	Input   Input // the line of the input list; zero where there is none
}

// TrackFilter chooses tracks; zero fields choose all.
type TrackFilter struct {
	ID        TrackID
	Recording RecordingID
	Show      Date
	Rig       string
	Channel   string // as resolved; compared as [SameName] does
}

// Tracks returns tracks in order of show, recording and number, each with the
// channel it holds.
func (s *Store) Tracks(ctx context.Context, f TrackFilter) ([]Track, error) {
	var w where
	w.add(f.ID != 0, "t.id = ?", f.ID)
	w.add(f.Recording != 0, "t.recording_id = ?", f.Recording)
	w.add(f.Show != "", "s.date = ?", f.Show)
	w.add(f.Rig != "", "r.rig = ?", f.Rig)
	tracks, err := list(ctx, s.db, `SELECT t.id, t.recording_id, s.date, r.rig, r.sample_rate, t.number, t.name, t.frames
		FROM tracks t JOIN recordings r ON r.id = t.recording_id JOIN shows s ON s.id = r.show_id`+w.String()+
		` ORDER BY `+recordingOrder+`, t.number`,
		w.args, func(row scanner) (t Track, err error) {
			return t, row.Scan(&t.ID, &t.RecordingID, &t.Show, &t.Rig, &t.SampleRate, &t.Number, &t.Name, &t.Frames)
		})
	if err != nil {
		return nil, err
	}
	lists, err := s.InputLists(ctx)
	if err != nil {
		return nil, err
	}
	resolved := []Track{}
	var of RecordingID // whose input list inForce is
	var inForce map[int]Input
	for _, t := range tracks {
		if t.RecordingID != of {
			of = t.RecordingID
			inForce = map[int]Input{}
			for _, in := range InForce(lists, t.Show, t.Rig) {
				inForce[in.Track] = in
			}
		}
		t.Input = inForce[t.Number]
		switch {
		case t.Input.Channel != "":
			t.Channel = t.Input.Channel
		case t.Name != "":
			t.Channel = t.Name
		default:
			t.Channel = fmt.Sprintf("Track %d", t.Number)
		}
		if f.Channel == "" || SameName(f.Channel, t.Channel) {
			resolved = append(resolved, t)
		}
	}
	return resolved, nil
}

// saveTracks makes a recording's tracks the given ones.
func saveTracks(ctx context.Context, tx *sql.Tx, id RecordingID, tracks []Track) error {
	if _, err := exec(ctx, tx, "UPDATE tracks SET frames = -1 WHERE recording_id = ?", id); err != nil {
		return err
	}
	for _, t := range tracks {
		if _, err := exec(ctx, tx, `INSERT INTO tracks (recording_id, number, name, frames) VALUES (?, ?, ?, ?)
			ON CONFLICT (recording_id, number) DO UPDATE SET name = excluded.name, frames = excluded.frames`, id, t.Number, t.Name, t.Frames); err != nil {
			return err
		}
	}
	_, err := exec(ctx, tx, "DELETE FROM tracks WHERE recording_id = ? AND frames = -1", id)
	return err
}
