package catalog

import "context"

// OpenSpan is the span of a finding that was not accepted. An overview of a tour
// needs thousands of them, and nothing else of the findings.
type OpenSpan struct {
	Recording  RecordingID
	Kind       FindingKind
	Severity   Severity
	Start, End int64 // frames of the recording
}

// OpenSpans returns the findings of a show, or of all shows for "", that are not
// accepted, in order of recording and start.
func (s *Store) OpenSpans(ctx context.Context, show ShowKey) ([]OpenSpan, error) {
	var w where
	w.add(show != "", "f.show_id IN (SELECT id FROM shows WHERE key = ?)", show)
	w.add(true, acceptedNote+" IS NULL")
	return list(ctx, s.db, `SELECT f.recording_id, f.kind, f.severity, f.start_frame, f.end_frame
		FROM findings f JOIN recordings r ON r.id = f.recording_id`+w.String()+` ORDER BY f.recording_id, f.start_frame, f.kind, f.end_frame`,
		w.args, func(row scanner) (f OpenSpan, err error) {
			return f, row.Scan(&f.Recording, &f.Kind, &f.Severity, &f.Start, &f.End)
		})
}

// Wanted is a song on a show's set list.
type Wanted struct {
	Show ShowKey
	Song SongID
}

// SetLists returns the songs of all set lists, in order of show and position.
func (s *Store) SetLists(ctx context.Context) ([]Wanted, error) {
	return list(ctx, s.db, `SELECT s.key, e.song_id FROM set_list_entries e JOIN shows s ON s.id = e.show_id ORDER BY s.date, s.place, e.position`,
		nil, func(row scanner) (w Wanted, err error) { return w, row.Scan(&w.Show, &w.Song) })
}
