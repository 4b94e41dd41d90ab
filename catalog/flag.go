package catalog

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"math"
	"time"
)

// FlagKind says what was found.
type FlagKind string

// The kinds of findings. Scripts rely on these words.
const (
	Clipped        FlagKind = "clipped"
	FlatTop        FlagKind = "flat_top"
	Dead           FlagKind = "dead"
	WentSilent     FlagKind = "went_silent"
	Dropout        FlagKind = "dropout"
	DCOffset       FlagKind = "dc_offset"
	MissingTrack   FlagKind = "missing_track"
	ShortTrack     FlagKind = "short_track"
	UnfinishedFile FlagKind = "unfinished_file"
)

// Severity says what a finding means for the recording.
type Severity string

// From least to worst.
const (
	NoteSeverity    Severity = "note"
	WarningSeverity Severity = "warning"
	FaultSeverity   Severity = "fault"
)

// Evidence is the numbers behind a finding, by name with the unit in it. A
// number that is not finite prints as null.
type Evidence map[string]float64

// MarshalJSON prints the numbers in order of name.
func (e Evidence) MarshalJSON() ([]byte, error) {
	m := make(map[string]any, len(e))
	for k, v := range e {
		if math.IsInf(v, 0) || math.IsNaN(v) {
			m[k] = nil
		} else {
			m[k] = v
		}
	}
	return json.Marshal(m)
}

// Flag is a finding: what, on which channel, when, and why we think so.
type Flag struct {
	ID          FlagID      `json:"id"`
	ShowID      ShowID      `json:"-"`
	Show        Date        `json:"show"`
	RecordingID RecordingID `json:"-"`
	Rig         string      `json:"rig"`
	SampleRate  int         `json:"-"`       // of the recording, Hz
	Track       int         `json:"track"`   // number; 0 where it is not about one track
	Channel     string      `json:"channel"` // as resolved by the input list; filled by the store
	Kind        FlagKind    `json:"kind"`
	StartFrame  int64       `json:"-"`
	EndFrame    int64       `json:"-"`
	Severity    Severity    `json:"severity"`
	Evidence    Evidence    `json:"evidence"`
	Text        string      `json:"text"` // one sentence for a tired assistant
	Accepted    bool        `json:"accepted"`
	Note        string      `json:"note,omitempty"` // given when it was accepted
}

// StartS returns the start in seconds from the recording's first frame.
func (f Flag) StartS() float64 { return float64(f.StartFrame) / float64(f.SampleRate) }

// EndS returns the end in seconds from the recording's first frame.
func (f Flag) EndS() float64 { return float64(f.EndFrame) / float64(f.SampleRate) }

// MarshalJSON adds start_s and end_s.
func (f Flag) MarshalJSON() ([]byte, error) {
	type plain Flag
	return json.Marshal(struct {
		plain
		StartS float64 `json:"start_s"`
		EndS   float64 `json:"end_s"`
	}{plain(f), f.StartS(), f.EndS()})
}

// FlagFilter chooses flags; zero fields choose all.
type FlagFilter struct {
	ID        FlagID
	Show      Date
	Recording RecordingID
	Channel   string // compared as [SameName] does
	Kind      FlagKind
}

// Flags returns flags in order of show, recording, track, start and kind.
func (s *Store) Flags(ctx context.Context, f FlagFilter) ([]Flag, error) {
	var w where
	w.add(f.ID != 0, "f.id = ?", f.ID)
	w.add(f.Show != "", "s.date = ?", f.Show)
	w.add(f.Recording != 0, "f.recording_id = ?", f.Recording)
	w.add(f.Kind != "", "f.kind = ?", f.Kind)
	all, err := flags(ctx, s.db, w)
	if err != nil || len(all) == 0 {
		return all, err
	}
	accepted, err := acceptances(ctx, s.db)
	if err != nil {
		return nil, err
	}
	names, err := s.channelNames(ctx, f.Show)
	if err != nil {
		return nil, err
	}
	chosen := []Flag{}
	for _, fl := range all {
		if fl.Track > 0 {
			fl.Channel = names.of(fl)
		}
		if f.Channel != "" && !SameName(f.Channel, fl.Channel) {
			continue
		}
		for _, a := range accepted {
			if a.covers(fl) {
				fl.Accepted, fl.Note = true, a.note
			}
		}
		chosen = append(chosen, fl)
	}
	return chosen, nil
}

func flags(ctx context.Context, q querier, w where) ([]Flag, error) {
	return list(ctx, q, `SELECT f.id, f.show_id, s.date, f.recording_id, r.rig, r.sample_rate, f.track, f.kind, f.start_frame, f.end_frame, f.severity, f.evidence, f.text
		FROM flags f JOIN shows s ON s.id = f.show_id JOIN recordings r ON r.id = f.recording_id`+w.String()+` ORDER BY s.date, f.recording_id, f.track, f.start_frame, f.kind, f.id`,
		w.args, func(row scanner) (f Flag, err error) {
			var evidence string
			err = row.Scan(&f.ID, &f.ShowID, &f.Show, &f.RecordingID, &f.Rig, &f.SampleRate, &f.Track, &f.Kind, &f.StartFrame, &f.EndFrame, &f.Severity, &evidence, &f.Text)
			if err != nil {
				return f, err
			}
			return f, readEvidence(evidence, &f.Evidence)
		})
}

// readEvidence reads evidence back; null, a number that was not finite, is NaN.
func readEvidence(text string, into *Evidence) error {
	var m map[string]*float64
	if err := json.Unmarshal([]byte(text), &m); err != nil {
		return err
	}
	*into = Evidence{}
	for k, v := range m {
		if v == nil {
			(*into)[k] = math.NaN()
		} else {
			(*into)[k] = *v
		}
	}
	return nil
}

// channelsOf names the channel of a track by recording and number.
type channelsOf map[[2]int64]string

func (c channelsOf) of(f Flag) string {
	if name, ok := c[[2]int64{int64(f.RecordingID), int64(f.Track)}]; ok {
		return name
	}
	return fmt.Sprintf("Track %d", f.Track)
}

// channelNames resolves the channel of every track, and of every line of the
// input lists that has no track, of one show or of all.
func (s *Store) channelNames(ctx context.Context, show Date) (channelsOf, error) {
	names := channelsOf{}
	recordings, err := s.Recordings(ctx, RecordingFilter{Show: show})
	if err != nil {
		return nil, err
	}
	lists, err := s.InputLists(ctx)
	if err != nil {
		return nil, err
	}
	for _, r := range recordings {
		for _, in := range InForce(lists, r.Show, r.Rig) {
			names[[2]int64{int64(r.ID), int64(in.Track)}] = in.Channel
		}
	}
	tracks, err := s.Tracks(ctx, TrackFilter{Show: show})
	if err != nil {
		return nil, err
	}
	for _, t := range tracks {
		names[[2]int64{int64(t.RecordingID), int64(t.Number)}] = t.Channel
	}
	return names, nil
}

// ReplaceFlags makes the findings about a recording the given ones. One that
// was there before, the same kind on the same track at an overlapping time,
// keeps its id.
func (s *Store) ReplaceFlags(ctx context.Context, id RecordingID, found []Flag) error {
	return s.update(ctx, func(tx *sql.Tx) error {
		var w where
		w.add(true, "f.recording_id = ?", id)
		old, err := flags(ctx, tx, w)
		if err != nil {
			return err
		}
		var show ShowID
		if err := tx.QueryRowContext(ctx, "SELECT show_id FROM recordings WHERE id = ?", id).Scan(&show); err != nil {
			return fmt.Errorf("flags of recording %d: %w", id, err)
		}
		if _, err := exec(ctx, tx, "DELETE FROM flags WHERE recording_id = ?", id); err != nil {
			return err
		}
		for _, f := range found {
			evidence, err := json.Marshal(f.Evidence)
			if err != nil {
				return err
			}
			var keep any // NULL lets SQLite choose a new id
			for i, o := range old {
				if o.ID != 0 && o.Track == f.Track && o.Kind == f.Kind && o.StartFrame <= f.EndFrame && f.StartFrame <= o.EndFrame {
					keep, old[i].ID = o.ID, 0
					break
				}
			}
			if _, err := exec(ctx, tx, "INSERT INTO flags (id, show_id, recording_id, track, kind, start_frame, end_frame, severity, evidence, text) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
				keep, show, id, f.Track, f.Kind, f.StartFrame, f.EndFrame, f.Severity, string(evidence), f.Text); err != nil {
				return err
			}
		}
		return nil
	})
}

// AcceptFlag quiets a finding: it, and whatever a later scan finds of the same
// kind on the same track of that rig at an overlapping time, counts as
// accepted. It is kept apart from the flags, so that it outlives them.
func (s *Store) AcceptFlag(ctx context.Context, id FlagID, note string) error {
	all, err := s.Flags(ctx, FlagFilter{ID: id})
	if err != nil {
		return err
	}
	if len(all) == 0 {
		return &NotFoundError{Kind: "flag", Name: fmt.Sprint(id), Try: "nightreel flags lists them with their ids"}
	}
	f := all[0]
	_, err = exec(ctx, s.db, "INSERT INTO acceptances (show_id, rig, track, kind, start_s, end_s, note, accepted_at) VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
		f.ShowID, f.Rig, f.Track, f.Kind, f.StartS(), f.EndS(), note, s.now().UTC().Format(time.RFC3339))
	return err
}

// UnacceptFlag takes acceptance back.
func (s *Store) UnacceptFlag(ctx context.Context, id FlagID) error {
	all, err := s.Flags(ctx, FlagFilter{ID: id})
	if err != nil {
		return err
	}
	if len(all) == 0 {
		return &NotFoundError{Kind: "flag", Name: fmt.Sprint(id), Try: "nightreel flags lists them with their ids"}
	}
	f := all[0]
	_, err = exec(ctx, s.db, "DELETE FROM acceptances WHERE show_id = ? AND rig = ? AND track = ? AND kind = ? AND start_s <= ? AND end_s >= ?",
		f.ShowID, f.Rig, f.Track, f.Kind, f.EndS(), f.StartS())
	return err
}

type acceptance struct {
	show         ShowID
	rig          string
	track        int
	kind         FlagKind
	startS, endS float64
	note         string
}

func acceptances(ctx context.Context, q querier) ([]acceptance, error) {
	return list(ctx, q, "SELECT show_id, rig, track, kind, start_s, end_s, note FROM acceptances ORDER BY id", nil, func(row scanner) (a acceptance, err error) {
		return a, row.Scan(&a.show, &a.rig, &a.track, &a.kind, &a.startS, &a.endS, &a.note)
	})
}

// covers tells whether a finding is what was accepted.
func (a acceptance) covers(f Flag) bool {
	return a.show == f.ShowID && a.rig == f.Rig && a.track == f.Track && a.kind == f.Kind && a.startS <= f.EndS() && f.StartS() <= a.endS
}
