package catalog

import "context"

// ReadState is how much of a recording, or of several, was read from its files
// and measured.
type ReadState struct {
	Files      int `json:"files"`
	FilesRead  int `json:"files_read"` // checksums cover them to their last byte
	Tracks     int `json:"tracks"`
	TracksRead int `json:"tracks_read"` // every minute of them was measured
}

// Whole tells whether there is something to read and all of it was read.
func (r ReadState) Whole() bool {
	return r.Files+r.Tracks > 0 && r.FilesRead == r.Files && r.TracksRead == r.Tracks
}

// Add returns the state of two sets of files and tracks together.
func (r ReadState) Add(o ReadState) ReadState {
	return ReadState{r.Files + o.Files, r.FilesRead + o.FilesRead, r.Tracks + o.Tracks, r.TracksRead + o.TracksRead}
}

// partFrames is SQL for the frames of a part at a rate: 600 blocks of a tenth of
// a second, to the nearest frame, as package meter counts them (a test in package
// envelope compares the two).
const partFrames = "(600 * ((r.sample_rate + 5) / 10))"

// ReadStates returns how much was read of the recordings of a show, or of all
// shows for "". It counts rows and reads no measurement.
func (s *Store) ReadStates(ctx context.Context, show ShowKey) (map[RecordingID]ReadState, error) {
	var w where
	w.add(show != "", "s.key = ?", show)
	type counts struct {
		id     RecordingID
		n, got int
	}
	scan := func(row scanner) (c counts, err error) { return c, row.Scan(&c.id, &c.n, &c.got) }
	of := " JOIN shows s ON s.id = r.show_id" + w.String() + " GROUP BY r.id"
	files, err := list(ctx, s.db, `SELECT r.id, count(*), sum(f.size = (SELECT coalesce(sum(p.length), 0) FROM pieces p WHERE p.file_id = f.id))
		FROM files f JOIN recordings r ON r.id = f.recording_id`+of, w.args, scan)
	if err != nil {
		return nil, err
	}
	tracks, err := list(ctx, s.db, `SELECT r.id, count(*), sum((SELECT count(*) FROM parts p WHERE p.track_id = t.id) >= (t.frames + `+partFrames+` - 1) / `+partFrames+`)
		FROM tracks t JOIN recordings r ON r.id = t.recording_id`+of, w.args, scan)
	if err != nil {
		return nil, err
	}
	all := map[RecordingID]ReadState{}
	for _, c := range files {
		all[c.id] = ReadState{Files: c.n, FilesRead: c.got}
	}
	for _, c := range tracks {
		all[c.id] = all[c.id].Add(ReadState{Tracks: c.n, TracksRead: c.got})
	}
	return all, nil
}
