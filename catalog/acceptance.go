package catalog

import (
	"context"
	"fmt"
)

// acceptanceBody is a finding that a person accepted, as a fact.
type acceptanceBody struct {
	File   fileRef     `json:"file"`
	Kind   FindingKind `json:"kind"`
	Track  int         `json:"track"`
	Tracks string      `json:"tracks"`
	Start  int64       `json:"start"` // frames from the file's first sample
	End    int64       `json:"end"`
	Note   string      `json:"note"`
}

func (b acceptanceBody) subject() string {
	return digest(b.File.name(), string(b.Kind), b.Track, b.Tracks, b.Start, b.End)
}

// AcceptFinding marks a finding as accepted. The acceptance also covers findings
// of later scans that are of the same kind, on the same track or the same shared
// tracks of that recording, at an overlapping time. It is stored apart from the
// findings, so that it survives them, and a new name of the rig. Accepting again
// replaces the note. A finding that is not there is *NotFoundError.
func (s *Store) AcceptFinding(ctx context.Context, id FindingID, note string) error {
	return s.write(ctx, func(w *writing) error {
		f, err := finding(ctx, w, id)
		if err != nil {
			return err
		}
		before, err := w.acceptedAs(ctx, f)
		if err != nil {
			return err
		}
		ref, at, err := w.refFor(ctx, f.RecordingID, before)
		if err != nil {
			return err
		}
		b := acceptanceBody{ref, f.Kind, f.Track, f.shared(), f.StartFrame - at.start, f.EndFrame - at.start, note}
		return w.put(ctx, FactAcceptance, b.subject(), b)
	})
}

// acceptedAs returns the recording reference in the acceptance of exactly this
// finding, nil if there is no acceptance.
func (w *writing) acceptedAs(ctx context.Context, f Finding) (*fileRef, error) {
	subjects, err := list(ctx, w, "SELECT subject FROM acceptances WHERE recording_id = ? AND kind = ? AND track = ? AND tracks = ? AND start_frame = ? AND end_frame = ? ORDER BY subject",
		[]any{f.RecordingID, f.Kind, f.Track, f.shared(), f.StartFrame, f.EndFrame}, func(row scanner) (s string, err error) { return s, row.Scan(&s) })
	if err != nil || len(subjects) == 0 {
		return nil, err
	}
	all, err := heads(ctx, w, FactAcceptance, subjects[0])
	if err != nil {
		return nil, err
	}
	for _, h := range all {
		var b acceptanceBody
		if there, err := h.read(&b); err != nil || there {
			return &b.File, err
		}
	}
	return nil, nil
}

// UnacceptFinding removes an acceptance. A finding that is not there is
// *NotFoundError.
func (s *Store) UnacceptFinding(ctx context.Context, id FindingID) error {
	return s.write(ctx, func(w *writing) error {
		f, err := finding(ctx, w, id)
		if err != nil {
			return err
		}
		subjects, err := list(ctx, w, "SELECT subject FROM acceptances WHERE recording_id = ? AND kind = ? AND track = ? AND tracks = ? AND start_frame <= ? AND end_frame >= ? ORDER BY subject",
			[]any{f.RecordingID, f.Kind, f.Track, f.shared(), f.EndFrame, f.StartFrame}, func(row scanner) (s string, err error) { return s, row.Scan(&s) })
		for _, subject := range subjects {
			if err == nil {
				err = w.put(ctx, FactAcceptance, subject, nil)
			}
		}
		return err
	})
}

func (w *writing) projectAcceptance(ctx context.Context, f Fact) error {
	var b acceptanceBody
	at, err := w.locate(ctx, f, "acceptances", &b, &b.File)
	if err != nil || at.recording == 0 {
		return err
	}
	_, err = exec(ctx, w, "INSERT OR REPLACE INTO acceptances (subject, show_id, recording_id, kind, track, tracks, start_frame, end_frame, note, at) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
		f.Subject, at.show, at.recording, b.Kind, b.Track, b.Tracks, at.frame(b.Start, b.File), at.frame(b.End, b.File), b.Note, f.At)
	return err
}

// finding returns one finding without its channel, or *NotFoundError.
func finding(ctx context.Context, q querier, id FindingID) (Finding, error) {
	if id != 0 { // the filter would take 0 for "all"
		all, err := findings(ctx, q, FindingFilter{ID: id})
		if err != nil {
			return Finding{}, err
		}
		if len(all) == 1 {
			return all[0], nil
		}
	}
	return Finding{}, &NotFoundError{Kind: "finding", Name: fmt.Sprint(id), Try: "nightreel findings lists them with their ids"}
}

// acceptedNote is the note of the last acceptance of a finding f, NULL if it is
// not accepted.
const acceptedNote = `(SELECT a.note FROM acceptances a
	WHERE a.recording_id = f.recording_id AND a.kind = f.kind AND a.track = f.track AND a.tracks = ` + sharedTracks + `
		AND a.start_frame <= f.end_frame AND a.end_frame >= f.start_frame
	ORDER BY a.at DESC, a.subject DESC LIMIT 1)`
