package catalog

import (
	"context"
	"database/sql"
)

// Marker is a point that a person marked while recording.
type Marker struct {
	ID          MarkerID
	RecordingID RecordingID
	Frame       int64 // of the recording
	Length      int64 // frames; 0 for a point
	Label       string
}

// Markers returns the markers of a recording in order of frame.
func (s *Store) Markers(ctx context.Context, id RecordingID) ([]Marker, error) {
	return list(ctx, s.db, "SELECT id, recording_id, frame, length, label FROM markers WHERE recording_id = ? ORDER BY frame, label, length", []any{id},
		func(row scanner) (m Marker, err error) {
			return m, row.Scan(&m.ID, &m.RecordingID, &m.Frame, &m.Length, &m.Label)
		})
}

// saveMarkers replaces a recording's markers.
func saveMarkers(ctx context.Context, tx *sql.Tx, id RecordingID, markers []Marker) error {
	if _, err := exec(ctx, tx, "DELETE FROM markers WHERE recording_id = ?", id); err != nil {
		return err
	}
	for _, m := range markers {
		if _, err := exec(ctx, tx, "INSERT INTO markers (recording_id, frame, length, label) VALUES (?, ?, ?, ?)", id, m.Frame, m.Length, m.Label); err != nil {
			return err
		}
	}
	return nil
}
