package catalog

import (
	"context"
	"database/sql"
	"fmt"
	"maps"
	"math"
	"slices"
	"time"
)

// Layout is how all files of a catalog are grouped into recordings and shows. A
// scan reads it, groups the files again, and stores the changes with
// [Store.SaveLayout].
type Layout struct {
	version    int64
	Volumes    []Volume
	Shows      []Show // without recordings and counts
	Recordings []Recording
	Files      []File
	Tracks     map[RecordingID][]Track // without channels, in order of number
	Markers    map[RecordingID][]Marker
	Words      map[string]map[WordAbout]string // see [Store.Words]
}

// layoutVersion counts the changes of everything that a layout is made of.
func layoutVersion(ctx context.Context, q querier) (n int64, err error) {
	err = q.QueryRowContext(ctx, "SELECT coalesce(sum(n), 0) FROM changed WHERE kind IN (?, ?, ?, ?)", AboutShows, AboutVolumes, AboutRecordings, AboutFiles).Scan(&n)
	if err != nil {
		err = fmt.Errorf("could not read the catalog: %w", err)
	}
	return n, err
}

// Layout returns how files are grouped now.
func (s *Store) Layout(ctx context.Context) (Layout, error) {
	l := Layout{Tracks: map[RecordingID][]Track{}, Markers: map[RecordingID][]Marker{}}
	var err error
	// Read the version first: if anything changes during the other reads,
	// SaveLayout refuses.
	if l.version, err = layoutVersion(ctx, s.db); err != nil {
		return l, err
	}
	if l.Volumes, err = s.Volumes(ctx); err != nil {
		return l, err
	}
	if l.Shows, err = list(ctx, s.db, "SELECT id, key, date, venue, name FROM shows ORDER BY date, place", nil, func(row scanner) (sh Show, err error) {
		return sh, row.Scan(&sh.ID, &sh.Key, &sh.Date, &sh.Venue, &sh.Name)
	}); err != nil {
		return l, err
	}
	if l.Recordings, err = s.Recordings(ctx, RecordingFilter{}); err != nil {
		return l, err
	}
	if l.Files, err = s.Files(ctx, FileFilter{}); err != nil {
		return l, err
	}
	if l.Words, err = s.Words(ctx); err != nil {
		return l, err
	}
	tracks, err := list(ctx, s.db, "SELECT id, recording_id, number, assumed, name, frames FROM tracks ORDER BY recording_id, number", nil, func(row scanner) (t Track, err error) {
		return t, row.Scan(&t.ID, &t.RecordingID, &t.Number, &t.Assumed, &t.Name, &t.Frames)
	})
	if err != nil {
		return l, err
	}
	for _, t := range tracks {
		l.Tracks[t.RecordingID] = append(l.Tracks[t.RecordingID], t)
	}
	type marked struct {
		of RecordingID
		Marker
	}
	markers, err := list(ctx, s.db, "SELECT recording_id, id, frame, length, label FROM markers ORDER BY recording_id, frame, id", nil, func(row scanner) (m marked, err error) {
		return m, row.Scan(&m.of, &m.ID, &m.Frame, &m.Length, &m.Label)
	})
	for _, m := range markers {
		l.Markers[m.of] = append(l.Markers[m.of], m.Marker)
	}
	return l, err
}

// NewLayout holds the changes to a [Layout].
type NewLayout struct {
	Shows      []Show // as they are to be; ID 0 is a new one
	Recordings []NewRecording
	Forget     []FileID // files that another file replaces: moved, or copies
	Moved      []MovedFile
	Words      []Word
	// Empty are recordings without files that are deleted: earlier versions left
	// them when two scans of a folder ran at once. A person's entries about one
	// follow the recording of its rig that has the files.
	Empty []RecordingID
}

// MovedFile is a file that was found under another path.
type MovedFile struct {
	ID     FileID
	Volume VolumeID
	Path   string
}

// NewRecording is a recording as it is to be.
type NewRecording struct {
	Recording        // ID 0 is a new one; ShowID is not used
	Show      int    // index into NewLayout.Shows
	Files     []File // identified by volume and path, whatever recording they belong to now
	Tracks    []Track
	Markers   []Marker
	// Renumber gives tracks of the recording other numbers before anything else
	// is done, so that they keep their measurements.
	Renumber map[int]int
	Drops    []Drop
}

// Drop is a stretch of a track whose measurements are to be deleted, with the
// checksums of its file, because the audio changed or is elsewhere now.
type Drop struct {
	Track    int // number after renumbering; 0 = no parts
	From, To int // parts From … To-1
	File     FileID
	FromByte int64 // delete checksums of File that end after it; -1 = all
	ToByte   int64 // of changed bytes; 0 = to the file's end
	Changed  bool  // the file's bytes differ from those measured: see [ChangedFile]
	Header   *Piece
}

// StaleError reports that another scan changed the catalog's layout while a new
// one was computed. Nothing was stored.
type StaleError struct{}

func (*StaleError) Error() string { return "another scan changed the catalog meanwhile" }

// Hint says what to do about it.
func (*StaleError) Hint() string { return "scan again when the other one is done" }

// SaveLayout stores the changes to a layout in one transaction. It returns the
// recordings as given, with their ids. If the layout changed since from was
// read, it is *[StaleError], and nothing is stored.
//
// Recordings and shows that lost their last file or recording are deleted. A
// person's entries follow their file, or the recordings of their show. Takes
// that a finder placed follow the file that holds their start.
func (s *Store) SaveLayout(ctx context.Context, from Layout, l NewLayout) ([]Recording, error) {
	saved := make([]Recording, len(l.Recordings))
	err := s.write(ctx, func(facts *writing) error {
		tx := facts.tx
		now, err := layoutVersion(ctx, tx)
		if err != nil {
			return err
		}
		if now != from.version {
			return &StaleError{}
		}
		w := layoutWriter{store: s, tx: tx, facts: facts, from: from, places: map[fileAt]filePlace{}, robbed: map[ShowID]int{}}
		for _, f := range from.Files {
			w.places[fileAt{f.VolumeID, f.Path}] = filePlace{recording: f.RecordingID, start: f.StartFrame, frames: f.Frames}
		}
		if err := facts.say(ctx, l.Words); err != nil {
			return err
		}
		for _, m := range l.Moved {
			if err := w.move(ctx, m); err != nil {
				return err
			}
		}
		for _, id := range l.Forget {
			if _, err := exec(ctx, tx, "DELETE FROM files WHERE id = ?", id); err != nil {
				return err
			}
		}
		shows, err := w.shows(ctx, l.Shows)
		if err != nil {
			return err
		}
		for i, r := range l.Recordings {
			r.ShowID = shows[r.Show]
			if saved[i], err = w.recording(ctx, r); err != nil {
				return err
			}
		}
		if err := w.takes(ctx, saved, l.Recordings); err != nil {
			return err
		}
		if err := w.rename(ctx, l.Shows, shows); err != nil {
			return err
		}
		if err := w.sweep(ctx, l.Shows, shows, l.Empty); err != nil {
			return err
		}
		return w.project(ctx, saved, shows)
	})
	return saved, err
}

// layoutWriter stores a layout.
type layoutWriter struct {
	store  *Store
	tx     *sql.Tx
	facts  *writing
	from   Layout
	places map[fileAt]filePlace // before the change
	robbed map[ShowID]int       // index of the new show that takes the name of a show that becomes empty
}

type fileAt struct {
	volume VolumeID
	path   string
}

// filePlace is the position of a file in a recording.
type filePlace struct {
	recording     RecordingID
	start, frames int64
	rate          int
}

func (w *layoutWriter) move(ctx context.Context, m MovedFile) error {
	for _, f := range w.from.Files {
		if f.ID == m.ID {
			w.places[fileAt{m.Volume, m.Path}] = w.places[fileAt{f.VolumeID, f.Path}]
		}
	}
	_, err := exec(ctx, w.tx, "UPDATE files SET volume_id = ?, path = ? WHERE id = ?", m.Volume, m.Path, m.ID)
	return err
}

// shows stores the shows and returns their ids.
func (w *layoutWriter) shows(ctx context.Context, shows []Show) ([]ShowID, error) {
	was := map[ShowID]Show{}
	for _, sh := range w.from.Shows {
		was[sh.ID] = sh
	}
	// Two shows may exchange their names, and one may take the name of a show
	// that becomes empty: so those that change give up theirs first.
	type name struct {
		date Date
		name string
	}
	owner := map[name]int{}
	planned := map[ShowID]bool{}
	for i, sh := range shows {
		owner[name{sh.Date, sh.Name}] = i
		planned[sh.ID] = true
	}
	for id, old := range was {
		i, owned := owner[name{old.Date, old.Name}]
		if owned && shows[i].ID == id || !owned && !planned[id] {
			continue
		}
		if owned && !planned[id] {
			w.robbed[id] = i
		}
		if _, err := exec(ctx, w.tx, "UPDATE shows SET name = '~' || id, key = '~' || id WHERE id = ?", id); err != nil {
			return nil, err
		}
	}
	ids := make([]ShowID, len(shows))
	for i, sh := range shows {
		ids[i] = sh.ID
		old := was[sh.ID]
		switch {
		case sh.ID == 0:
			id, err := insert(ctx, w.tx, `INSERT INTO shows (date, venue, name, key, place) VALUES (?1, ?2, ?3, ?1 || ' ' || ?3 || ' new', 0)
				ON CONFLICT (date, name) DO UPDATE SET venue = excluded.venue`, sh.Date, sh.Venue, sh.Name)
			if err == nil {
				err = w.tx.QueryRowContext(ctx, "SELECT id FROM shows WHERE date = ? AND name = ?", sh.Date, sh.Name).Scan(&id)
			}
			if err != nil {
				return nil, err
			}
			ids[i] = ShowID(id)
		case old.Date != sh.Date || old.Name != sh.Name || old.Venue != sh.Venue:
			if _, err := exec(ctx, w.tx, "UPDATE shows SET date = ?, name = ?, venue = ? WHERE id = ?", sh.Date, sh.Name, sh.Venue, sh.ID); err != nil {
				return nil, err
			}
		}
	}
	return ids, nil
}

// recording stores one recording with its files, tracks and markers.
func (w *layoutWriter) recording(ctx context.Context, r NewRecording) (Recording, error) {
	if r.ID != 0 {
		if err := renumber(ctx, w.tx, r.ID, r.Renumber); err != nil {
			return r.Recording, err
		}
	}
	if err := w.drop(ctx, r); err != nil {
		return r.Recording, err
	}
	var starts any
	if r.StartsAt != nil {
		starts = r.StartsAt.Format(time.RFC3339Nano)
	}
	if r.ID == 0 {
		id, err := insert(ctx, w.tx, `INSERT INTO recordings (show_id, rig, sample_rate, bit_depth, sample_bytes, encoding, frames, starts_at, offset_s, chosen) VALUES (?, ?, ?, ?, ?, ?, ?, ?, 0, ?)`,
			r.ShowID, r.Rig, r.SampleRate, r.BitDepth, r.SampleBytes, r.Encoding, r.Frames, starts, r.Chosen)
		if err != nil {
			return r.Recording, err
		}
		r.ID = RecordingID(id)
	} else if _, err := exec(ctx, w.tx, `UPDATE recordings SET show_id = ?, rig = ?, sample_rate = ?, bit_depth = ?, sample_bytes = ?, encoding = ?, frames = ?, starts_at = ?, chosen = ?, layout = layout + 1 WHERE id = ?`,
		r.ShowID, r.Rig, r.SampleRate, r.BitDepth, r.SampleBytes, r.Encoding, r.Frames, starts, r.Chosen, r.ID); err != nil {
		return r.Recording, err
	}
	for _, f := range r.Files {
		if err := putFile(ctx, w.tx, r.ID, f); err != nil {
			return r.Recording, err
		}
	}
	if err := saveTracks(ctx, w.tx, r.ID, r.Tracks); err != nil {
		return r.Recording, err
	}
	if err := saveMarkers(ctx, w.tx, r.ID, r.Markers); err != nil {
		return r.Recording, err
	}
	return r.Recording, edited(ctx, w.tx, r.ID)
}

// renumber gives tracks of a recording other numbers.
func renumber(ctx context.Context, tx *sql.Tx, id RecordingID, to map[int]int) error {
	if len(to) == 0 {
		return nil
	}
	// Numbers are unique, so all are negative while they change. If the new
	// number belongs to a track that is not in the map, that track gives it up.
	for _, from := range sortedKeys(to) {
		if _, err := exec(ctx, tx, "UPDATE tracks SET number = -? WHERE recording_id = ? AND number = ?", to[from]+1<<20, id, from); err != nil {
			return err
		}
	}
	for _, from := range sortedKeys(to) {
		if _, err := exec(ctx, tx, "DELETE FROM tracks WHERE recording_id = ? AND number = ?", id, to[from]); err != nil {
			return err
		}
		if _, err := exec(ctx, tx, "UPDATE tracks SET number = ? WHERE recording_id = ? AND number = -?", to[from], id, to[from]+1<<20); err != nil {
			return err
		}
	}
	return nil
}

func sortedKeys(m map[int]int) []int {
	var keys []int
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}

// drop deletes the measurements of a recording that no longer hold.
func (w *layoutWriter) drop(ctx context.Context, r NewRecording) error {
	for _, d := range r.Drops {
		if d.Track != 0 && d.To > d.From {
			if _, err := exec(ctx, w.tx, "DELETE FROM parts WHERE track_id = (SELECT id FROM tracks WHERE recording_id = ? AND number = ?) AND part >= ? AND part < ?", r.ID, d.Track, d.From, d.To); err != nil {
				return err
			}
		}
		if d.Changed {
			if err := w.store.forgetChanged(ctx, w.tx, Change{File: d.File, FromByte: max(d.FromByte, 0), ToByte: d.ToByte}); err != nil {
				return err
			}
		} else if d.File != 0 {
			if _, err := exec(ctx, w.tx, "DELETE FROM pieces WHERE file_id = ? AND offset + length > ?", d.File, d.FromByte); err != nil {
				return err
			}
		}
		if d.Header != nil {
			if err := putPieces(ctx, w.tx, []Piece{*d.Header}); err != nil {
				return err
			}
		}
	}
	return nil
}

// takes moves a finder's takes with the file that holds their start, or with the
// nearest one. A person's takes are facts and are projected again.
func (w *layoutWriter) takes(ctx context.Context, saved []Recording, layout []NewRecording) error {
	type place struct {
		was, now filePlace
	}
	rates := map[RecordingID]int{}
	for _, r := range w.from.Recordings {
		rates[r.ID] = r.SampleRate
	}
	byOld := map[RecordingID][]place{}
	shows := map[RecordingID]ShowID{}
	for i, r := range saved {
		shows[r.ID] = r.ShowID
		for _, f := range layout[i].Files {
			if was, ok := w.places[fileAt{f.VolumeID, f.Path}]; ok {
				byOld[was.recording] = append(byOld[was.recording], place{was, filePlace{r.ID, f.StartFrame, f.Frames, r.SampleRate}})
			}
		}
	}
	type row struct {
		id         TakeID
		start, end int64
	}
	for old, places := range byOld {
		takes, err := list(ctx, w.tx, "SELECT id, start_frame, end_frame FROM takes WHERE recording_id = ? AND found_by <> ?", []any{old, ByPerson}, func(sc scanner) (r row, err error) {
			return r, sc.Scan(&r.id, &r.start, &r.end)
		})
		if err != nil {
			return err
		}
		for _, t := range takes {
			outside := func(p place) int64 { return max(p.was.start-t.start, t.start-(p.was.start+p.was.frames-1), 0) }
			best := places[0]
			for _, p := range places[1:] {
				if outside(p) < outside(best) {
					best = p
				}
			}
			scale := func(frames int64) int64 {
				return int64(math.Round(float64(frames) * float64(best.now.rate) / float64(rates[old])))
			}
			start := max(best.now.start+scale(t.start-best.was.start), 0)
			end := max(start+scale(t.end-t.start), start+1)
			if _, err := exec(ctx, w.tx, "UPDATE takes SET recording_id = ?1, start_frame = ?2, end_frame = ?3, show_id = ?4 WHERE id = ?5 AND (recording_id <> ?1 OR start_frame <> ?2 OR end_frame <> ?3 OR show_id <> ?4)",
				best.now.recording, start, end, shows[best.now.recording], t.id); err != nil {
				return err
			}
		}
	}
	return nil
}

// rename writes a person's facts about renamed shows again under the new name.
// ids are those of the shows as they are to be.
func (w *layoutWriter) rename(ctx context.Context, shows []Show, ids []ShowID) error {
	names := map[string]string{}
	for _, old := range w.from.Shows {
		for i, id := range ids {
			was, is := showRef(old.Date, old.Name), showRef(shows[i].Date, shows[i].Name)
			if id == old.ID && was != is {
				names[was] = is
			}
		}
	}
	return w.facts.renameShows(ctx, names)
}

// project updates the rows of a person's facts about all shows that were
// touched.
func (w *layoutWriter) project(ctx context.Context, saved []Recording, shows []ShowID) error {
	touched := map[ShowID]bool{}
	for _, r := range saved {
		touched[r.ShowID] = true
		for _, old := range w.from.Recordings {
			if old.ID == r.ID {
				touched[old.ShowID] = true
			}
		}
	}
	for _, id := range shows {
		touched[id] = true
	}
	for _, id := range slices.Sorted(maps.Keys(touched)) {
		var there bool
		if err := w.tx.QueryRowContext(ctx, "SELECT EXISTS (SELECT 1 FROM shows WHERE id = ?)", id).Scan(&there); err != nil {
			return err
		}
		if !there {
			continue
		}
		if err := w.facts.sited(ctx, id); err != nil {
			return err
		}
	}
	return nil
}

// sweep deletes what is empty now, after a person's facts about a show were
// given to the show that has its recordings, and settles the addresses.
func (w *layoutWriter) sweep(ctx context.Context, shows []Show, ids []ShowID, empty []RecordingID) error {
	for _, id := range append(w.recordingsWithFiles(), empty...) {
		if _, err := exec(ctx, w.tx, "DELETE FROM recordings WHERE id = ? AND NOT EXISTS (SELECT 1 FROM files f WHERE f.recording_id = recordings.id)", id); err != nil {
			return err
		}
	}
	for _, old := range w.from.Shows {
		if slices.Contains(ids, old.ID) {
			continue
		}
		var left bool
		if err := w.tx.QueryRowContext(ctx, "SELECT EXISTS (SELECT 1 FROM recordings WHERE show_id = ?)", old.ID).Scan(&left); err != nil {
			return err
		}
		to := w.heir(ctx, old.ID)
		if i, ok := w.robbed[old.ID]; ok && to == 0 {
			to = ids[i]
		}
		if _, robbed := w.robbed[old.ID]; left && robbed {
			if _, err := exec(ctx, w.tx, "UPDATE shows SET name = ? || ' (2)' WHERE id = ?", old.Name, old.ID); err != nil {
				return err
			}
		}
		if !left && to == 0 && w.hadRecordings(old.ID) {
			// Its files belonged to no show; a person's entries about it stay.
			if _, err := exec(ctx, w.tx, "DELETE FROM shows WHERE id = ?1 AND NOT EXISTS (SELECT 1 FROM notes WHERE show_id = ?1) AND NOT EXISTS (SELECT 1 FROM set_list_entries WHERE show_id = ?1)", old.ID); err != nil {
				return err
			}
		}
		if left || to == 0 {
			continue // it lost no recording
		}
		is, err := refOfShow(ctx, w.tx, to)
		if err != nil {
			return err
		}
		if err := w.facts.renameShows(ctx, map[string]string{showRef(old.Date, old.Name): is}); err != nil {
			return err
		}
		if _, err := exec(ctx, w.tx, "UPDATE takes SET show_id = ? WHERE show_id = ?", to, old.ID); err != nil {
			return err
		}
		if _, err := exec(ctx, w.tx, "DELETE FROM shows WHERE id = ?", old.ID); err != nil {
			return err
		}
	}
	dates := map[Date]bool{}
	for _, sh := range shows {
		dates[sh.Date] = true
	}
	for _, sh := range w.from.Shows {
		dates[sh.Date] = true
	}
	var sorted []Date
	for d := range dates {
		sorted = append(sorted, d)
	}
	slices.Sort(sorted)
	for _, d := range sorted {
		if err := settleKeys(ctx, w.tx, d); err != nil {
			return err
		}
	}
	return nil
}

// recordingsWithFiles returns the recordings that had files.
func (w *layoutWriter) recordingsWithFiles() (ids []RecordingID) {
	seen := map[RecordingID]bool{}
	for _, f := range w.from.Files {
		if !seen[f.RecordingID] {
			seen[f.RecordingID] = true
			ids = append(ids, f.RecordingID)
		}
	}
	return ids
}

func (w *layoutWriter) hadRecordings(id ShowID) bool {
	return slices.ContainsFunc(w.from.Recordings, func(r Recording) bool { return r.ShowID == id })
}

// heir returns the show that has most of the files of an earlier show, 0 if none
// of them is left.
func (w *layoutWriter) heir(ctx context.Context, old ShowID) ShowID {
	of := map[RecordingID]bool{}
	for _, r := range w.from.Recordings {
		of[r.ID] = r.ShowID == old
	}
	count := map[ShowID]int{}
	for _, f := range w.from.Files {
		if !of[f.RecordingID] {
			continue
		}
		var id ShowID
		if err := w.tx.QueryRowContext(ctx, "SELECT r.show_id FROM files f JOIN recordings r ON r.id = f.recording_id WHERE f.id = ?", f.ID).Scan(&id); err == nil {
			count[id]++
		}
	}
	best := ShowID(0)
	for id, n := range count {
		if best == 0 || n > count[best] || n == count[best] && id < best {
			best = id
		}
	}
	return best
}
