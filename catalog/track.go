package catalog

import (
	"context"
	"database/sql"
	"fmt"
	"slices"
)

// Track is one recorded channel of one recording.
type Track struct {
	ID          TrackID
	RecordingID RecordingID
	Show        ShowKey
	Rig         string
	SampleRate  int // Hz
	Number      int // from 1, as the recorder counts
	// Assumed means that neither the recorder nor a file's name gave the number.
	// Such a track is identified by its name.
	Assumed bool
	// Apart means that the recorder numbers its tracks apart from the input list;
	// see [Store.Tracks]. Such a track is identified by its name alone.
	Apart  bool
	Name   string // as recorded; may be empty
	Frames int64  // from the recording's first frame to the track's last
	// Channel is the channel that the input list in force gives the track's
	// number, else the track's own name, else "Track N". For a track with a name
	// whose number is assumed or apart, Channel is the name, and Input the line
	// with that channel. Filled by the store, so that a list imported later counts
	// for nights scanned before.
	Channel string
	Input   Input // the line of the input list; zero if there is none
}

// TrackFilter chooses tracks; zero fields choose all.
type TrackFilter struct {
	ID        TrackID
	Recording RecordingID
	Show      ShowKey
	Rig       string
	Channel   string // as resolved; compared as [SameName] does
}

// Tracks returns tracks in order of show, recording and number, each with the
// channel it holds.
//
// A recorder in the lobby, or one for a mix, counts its own inputs, so its track 1
// is not the input list's. A recording is numbered apart if its tracks are numbered
// from 1 without a gap, another recording of the show has at least twice as many,
// no list in force names its rig, and fewer than half of its tracks are called as
// the list calls their numbers.
func (s *Store) Tracks(ctx context.Context, f TrackFilter) ([]Track, error) {
	key, err := address(ctx, s.db, f.Show)
	if err != nil {
		return nil, err
	}
	var w where
	w.add(f.ID != 0, "t.id = ?", f.ID)
	w.add(f.Recording != 0, "t.recording_id = ?", f.Recording)
	w.add(f.Show != "", "s.key = ?", key)
	w.add(f.Rig != "", "r.rig = ?", f.Rig)
	tracks, err := list(ctx, s.db, `SELECT t.id, t.recording_id, s.key, r.rig, r.sample_rate, t.number, t.assumed, t.name, t.frames
		FROM tracks t JOIN recordings r ON r.id = t.recording_id JOIN shows s ON s.id = r.show_id`+w.String()+
		` ORDER BY `+recordingOrder+`, t.number`,
		w.args, func(row scanner) (t Track, err error) {
			return t, row.Scan(&t.ID, &t.RecordingID, &t.Show, &t.Rig, &t.SampleRate, &t.Number, &t.Assumed, &t.Name, &t.Frames)
		})
	if err != nil {
		return nil, err
	}
	lists, err := s.InputLists(ctx)
	if err != nil {
		return nil, err
	}
	apart, err := s.numberedApart(ctx, lists)
	if err != nil {
		return nil, err
	}
	resolved := []Track{}
	var of RecordingID // whose input list inForce is
	var inForce inputsInForce
	for _, t := range tracks {
		if t.RecordingID != of {
			of, inForce = t.RecordingID, lookUp(InForce(lists, t.Show, t.Rig), apart[t.RecordingID])
		}
		t.Apart = inForce.apart
		t.Input, t.Channel = inForce.of(t.Number, t.Assumed, t.Name)
		if f.Channel == "" || SameName(f.Channel, t.Channel) {
			resolved = append(resolved, t)
		}
	}
	return resolved, nil
}

// numberedApart returns the recordings whose track numbers are not the input
// list's; see [Store.Tracks].
func (s *Store) numberedApart(ctx context.Context, lists []InputList) (map[RecordingID]bool, error) {
	if len(lists) == 0 {
		return nil, nil
	}
	tracks, err := list(ctx, s.db, `WITH held AS (SELECT r.id, r.show_id, r.rig, count(*) AS tracks FROM recordings r JOIN tracks t ON t.recording_id = r.id GROUP BY r.id)
		SELECT h.id, s.key, h.rig, t.number, t.name FROM held h JOIN shows s ON s.id = h.show_id JOIN tracks t ON t.recording_id = h.id
		WHERE 2 * h.tracks <= (SELECT max(o.tracks) FROM held o WHERE o.show_id = h.show_id) ORDER BY h.id, t.number`, nil,
		func(row scanner) (t Track, err error) {
			return t, row.Scan(&t.RecordingID, &t.Show, &t.Rig, &t.Number, &t.Name)
		})
	if err != nil {
		return nil, err
	}
	byRecording := map[RecordingID][]Track{}
	for _, t := range tracks {
		byRecording[t.RecordingID] = append(byRecording[t.RecordingID], t)
	}
	apart := map[RecordingID]bool{}
	for id, of := range byRecording {
		first := of[0]
		if slices.ContainsFunc(lists, func(l InputList) bool { return l.Rig != "" && l.Rig == first.Rig && l.For(first.Show) }) {
			continue
		}
		in := lookUp(InForce(lists, first.Show, first.Rig), false)
		if of[len(of)-1].Number != len(of) {
			continue
		}
		agree := 0
		for _, t := range of {
			if line := in.byTrack[t.Number]; line.Channel != "" && SameName(line.Channel, t.Name) {
				agree++
			}
		}
		apart[id] = 2*agree < len(of)
	}
	return apart, nil
}

// inputsInForce looks up the lines of an input list.
type inputsInForce struct {
	byTrack map[int]Input
	byName  map[string]Input // by key
	apart   bool             // the recording's numbers are not the list's
}

func lookUp(inputs []Input, apart bool) inputsInForce {
	in := inputsInForce{map[int]Input{}, map[string]Input{}, apart}
	for _, i := range inputs {
		in.byTrack[i.Track] = i
		if key := Key(i.Channel); in.byName[key].Track == 0 {
			in.byName[key] = i
		}
	}
	return in
}

// of returns the line for a track, zero if there is none, and the channel that
// the track holds.
func (in inputsInForce) of(number int, assumed bool, name string) (Input, string) {
	line := in.byTrack[number]
	switch {
	case name != "" && (assumed || in.apart):
		line = in.byName[Key(name)]
	case in.apart:
		line = Input{}
	}
	switch {
	case line.Channel != "":
		return line, line.Channel
	case name != "":
		return line, name
	}
	return line, fmt.Sprintf("Track %d", number)
}

// saveTracks replaces a recording's tracks.
func saveTracks(ctx context.Context, tx *sql.Tx, id RecordingID, tracks []Track) error {
	if _, err := exec(ctx, tx, "UPDATE tracks SET frames = -1 WHERE recording_id = ?", id); err != nil {
		return err
	}
	for _, t := range tracks {
		if _, err := exec(ctx, tx, `INSERT INTO tracks (recording_id, number, assumed, name, frames) VALUES (?, ?, ?, ?, ?)
			ON CONFLICT (recording_id, number) DO UPDATE SET assumed = excluded.assumed, name = excluded.name, frames = excluded.frames`, id, t.Number, t.Assumed, t.Name, t.Frames); err != nil {
			return err
		}
	}
	_, err := exec(ctx, tx, "DELETE FROM tracks WHERE recording_id = ? AND frames = -1", id)
	return err
}
