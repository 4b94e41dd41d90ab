package catalog

import (
	"context"
	"encoding/json"
	"fmt"
)

// ReadState is how much of a recording, or of several, was read and measured.
type ReadState struct {
	Files      int `json:"files"`
	FilesRead  int `json:"files_read"` // covered by checksums to their last byte
	Tracks     int `json:"tracks"`
	TracksRead int `json:"tracks_read"` // measured in every minute
}

// Whole reports whether there is anything to read and all of it was read.
func (r ReadState) Whole() bool {
	return r.Files+r.Tracks > 0 && r.FilesRead == r.Files && r.TracksRead == r.Tracks
}

// Add returns the combined state of two sets of files and tracks.
func (r ReadState) Add(o ReadState) ReadState {
	return ReadState{r.Files + o.Files, r.FilesRead + o.FilesRead, r.Tracks + o.Tracks, r.TracksRead + o.TracksRead}
}

// partFrames is SQL for the frames of a part at a rate: 600 blocks of a tenth of
// a second, to the nearest frame, as package meter counts them (a test in
// package envelope compares the two).
const partFrames = "(600 * ((r.sample_rate + 5) / 10))"

// ReadStates returns how much of the recordings of a show was read, or of all
// shows for "". It counts rows and reads no measurement. The result for a
// recording that was read wholly is cached with its edition, so that a long tour
// answers in milliseconds.
func (s *Store) ReadStates(ctx context.Context, show ShowKey) (map[RecordingID]ReadState, error) {
	var w where
	w.add(show != "", "s.key = ?", show)
	type row struct {
		id      RecordingID
		edition Edition
		kept    []byte
	}
	recordings, err := list(ctx, s.db, `SELECT r.id, coalesce(e.edition, 0), d.data FROM recordings r JOIN shows s ON s.id = r.show_id
		LEFT JOIN editions e ON e.recording_id = r.id
		LEFT JOIN derived d ON d.recording_id = r.id AND d.kind = '`+string(ReadWhole)+`' AND d.edition = coalesce(e.edition, 0)`+w.String(), w.args,
		func(sc scanner) (r row, err error) { return r, sc.Scan(&r.id, &r.edition, &r.kept) })
	if err != nil {
		return nil, err
	}
	all := map[RecordingID]ReadState{}
	for _, r := range recordings {
		var state ReadState
		if r.kept != nil && json.Unmarshal(r.kept, &state) == nil {
			all[r.id] = state
			continue
		}
		if state, err = s.readState(ctx, r.id); err != nil {
			return nil, err
		}
		all[r.id] = state
		if data, err := json.Marshal(state); err == nil && state.Whole() {
			// If the catalog cannot be written to, the answer is still valid.
			_ = s.PutDerived(ctx, DerivedKey{Recording: r.id, Kind: ReadWhole}, r.edition, data)
		}
	}
	return all, nil
}

// readState counts how much of a recording was read.
func (s *Store) readState(ctx context.Context, id RecordingID) (r ReadState, err error) {
	err = s.db.QueryRowContext(ctx, `SELECT count(*), coalesce(sum(f.size = (SELECT coalesce(sum(p.length), 0) FROM pieces p WHERE p.file_id = f.id)), 0)
		FROM files f WHERE f.recording_id = ?`, id).Scan(&r.Files, &r.FilesRead)
	if err == nil {
		err = s.db.QueryRowContext(ctx, `SELECT count(*), coalesce(sum((SELECT count(*) FROM parts p WHERE p.track_id = t.id) >= (t.frames + `+partFrames+` - 1) / `+partFrames+`), 0)
			FROM tracks t JOIN recordings r ON r.id = t.recording_id WHERE t.recording_id = ?`, id).Scan(&r.Tracks, &r.TracksRead)
	}
	if err != nil {
		err = fmt.Errorf("could not read the catalog: %w", err)
	}
	return r, err
}
