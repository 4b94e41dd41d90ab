package catalog

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
)

// FindingKind is the kind of a finding.
type FindingKind string

// The kinds of findings. Scripts rely on these words.
const (
	Clipped        FindingKind = "clipped"
	FlatTop        FindingKind = "flat_top"
	Dead           FindingKind = "dead"
	WentSilent     FindingKind = "went_silent"
	Dropout        FindingKind = "dropout"
	DCOffset       FindingKind = "dc_offset"
	MissingTrack   FindingKind = "missing_track"
	ShortTrack     FindingKind = "short_track"
	UnfinishedFile FindingKind = "unfinished_file"
	Crackle        FindingKind = "crackle"
	Hum            FindingKind = "hum"
	Polarity       FindingKind = "polarity"
	Duplicate      FindingKind = "duplicate"
	Swapped        FindingKind = "swapped"
	GainChange     FindingKind = "gain_change"
)

// Severity is how serious a finding is for the recording.
type Severity string

// From least to worst.
const (
	NoteSeverity    Severity = "note"
	WarningSeverity Severity = "warning"
	FaultSeverity   Severity = "fault"
)

// Evidence holds the numbers behind a finding, by name with the unit in it. A
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

// Finding is a report about a channel or a recording: what, on which track,
// when, and why.
type Finding struct {
	ID          FindingID   `json:"id"`
	ShowID      ShowID      `json:"-"`
	Show        ShowKey     `json:"show"`
	RecordingID RecordingID `json:"-"`
	Rig         string      `json:"rig"`
	SampleRate  int         `json:"-"`     // of the recording, Hz
	Track       int         `json:"track"` // number; 0 if it is not about one track
	// Tracks has the numbers of all tracks that the finding names. With a Track,
	// that is the track itself, followed by the one that it is compared with.
	// Without one, these are the tracks that share the finding. It is empty if
	// the finding is about the whole recording, or about a track that is not
	// there. If Tracks is empty, the store adds the finding's own track.
	Tracks     []int       `json:"tracks"`
	Channel    string      `json:"channel"` // as resolved by the input list; filled by the store
	Kind       FindingKind `json:"kind"`
	StartFrame int64       `json:"-"`
	EndFrame   int64       `json:"-"`
	Severity   Severity    `json:"severity"`
	Evidence   Evidence    `json:"evidence"`
	Text       string      `json:"text"` // one sentence for a tired assistant
	Accepted   bool        `json:"accepted"`
	Note       string      `json:"note,omitempty"` // as given when it was accepted
}

// StartS returns the start in seconds from the recording's first frame.
func (f Finding) StartS() float64 { return seconds(f.StartFrame, f.SampleRate) }

// EndS returns the end in seconds from the recording's first frame.
func (f Finding) EndS() float64 { return seconds(f.EndFrame, f.SampleRate) }

// MarshalJSON adds start_s and end_s; tracks is never null.
func (f Finding) MarshalJSON() ([]byte, error) {
	type plain Finding
	return json.Marshal(struct {
		plain
		StartS float64 `json:"start_s"`
		EndS   float64 `json:"end_s"`
	}{plain(f.withTracks()), f.StartS(), f.EndS()})
}

// FindingFilter chooses findings; zero fields choose all.
type FindingFilter struct {
	ID        FindingID
	Show      ShowKey
	Recording RecordingID
	Channel   string // whose tracks it is about; compared as [SameName] does
	Kind      FindingKind
}

// Findings returns findings in order of show, recording, track, start and kind.
func (s *Store) Findings(ctx context.Context, f FindingFilter) ([]Finding, error) {
	found, err := findings(ctx, s.db, f)
	if err != nil || len(found) == 0 {
		return found, err
	}
	show := f.Show
	if first, last := found[0].Show, found[len(found)-1].Show; first == last {
		show = first
	}
	names, err := s.channelNames(ctx, show)
	if err != nil {
		return nil, err
	}
	for i, fl := range found {
		if fl.Track > 0 {
			found[i].Channel = names.of(fl)
		}
	}
	if f.Channel == "" {
		return found, nil
	}
	holds, err := s.Tracks(ctx, TrackFilter{Show: f.Show, Recording: f.Recording, Channel: f.Channel})
	if err != nil {
		return nil, err
	}
	chosen := []Finding{}
	for _, fl := range found {
		if SameName(f.Channel, fl.Channel) || slices.ContainsFunc(holds, func(t Track) bool { return t.RecordingID == fl.RecordingID && fl.Concerns(t.Number) }) {
			chosen = append(chosen, fl)
		}
	}
	return chosen, nil
}

// findings returns the findings that match a filter except its channel, with
// their acceptances and without their channels.
func findings(ctx context.Context, q querier, f FindingFilter) ([]Finding, error) {
	key, err := address(ctx, q, f.Show)
	if err != nil {
		return nil, err
	}
	var w where
	w.add(f.ID != 0, "f.id = ?", f.ID)
	w.add(f.Show != "", "s.key = ?", key)
	w.add(f.Recording != 0, "f.recording_id = ?", f.Recording)
	w.add(f.Kind != "", "f.kind = ?", f.Kind)
	return list(ctx, q, `SELECT f.id, f.show_id, s.key, f.recording_id, r.rig, r.sample_rate, f.track, f.tracks, f.kind, f.start_frame, f.end_frame, f.severity, f.evidence, f.text, `+acceptedNote+`
		FROM findings f JOIN shows s ON s.id = f.show_id JOIN recordings r ON r.id = f.recording_id`+w.String()+` ORDER BY `+recordingOrder+`, f.track, f.start_frame, f.kind, f.end_frame, f.tracks, f.text, f.id`,
		w.args, func(row scanner) (f Finding, err error) {
			var evidence, tracks string
			var note sql.NullString
			err = row.Scan(&f.ID, &f.ShowID, &f.Show, &f.RecordingID, &f.Rig, &f.SampleRate, &f.Track, &tracks, &f.Kind, &f.StartFrame, &f.EndFrame, &f.Severity, &evidence, &f.Text, &note)
			if err != nil {
				return f, err
			}
			f.Accepted, f.Note = note.Valid, note.String
			if f.Tracks, err = readTracks(tracks); err != nil {
				return f, err
			}
			f = f.withTracks() // findings of earlier versions have only shared tracks
			return f, readEvidence(evidence, &f.Evidence)
		})
}

// readEvidence decodes evidence; null, a number that was not finite, becomes
// NaN.
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

// ReplaceFindings replaces the findings about a recording. A finding keeps the
// id of an earlier one of the same kind, on the same track, at an overlapping
// time; if there are several, of the one that overlaps most. For findings that
// several tracks share, an earlier one of the same tracks comes first.
func (s *Store) ReplaceFindings(ctx context.Context, id RecordingID, found []Finding) error {
	return s.update(ctx, func(tx *sql.Tx) error {
		var show ShowID
		err := tx.QueryRowContext(ctx, "SELECT show_id FROM recordings WHERE id = ?", id).Scan(&show)
		if errors.Is(err, sql.ErrNoRows) {
			return recordingGone(id)
		}
		if err != nil {
			return fmt.Errorf("could not read the catalog: %w", err)
		}
		before, err := findings(ctx, tx, FindingFilter{Recording: id})
		if err != nil {
			return err
		}
		keep := keptIDs(before, found)
		if _, err := exec(ctx, tx, "DELETE FROM findings WHERE recording_id = ?", id); err != nil {
			return err
		}
		for i, f := range found {
			evidence, err := json.Marshal(f.Evidence)
			if err != nil {
				return fmt.Errorf("finding %s on track %d: could not store its evidence: %w", f.Kind, f.Track, err)
			}
			var findingID any // NULL lets SQLite choose an unused id
			if keep[i] != 0 {
				findingID = keep[i]
			}
			if _, err := exec(ctx, tx, "INSERT INTO findings (id, show_id, recording_id, track, tracks, kind, start_frame, end_frame, severity, evidence, text) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
				findingID, show, id, f.Track, writeTracks(f.withTracks().Tracks), f.Kind, f.StartFrame, f.EndFrame, f.Severity, string(evidence), f.Text); err != nil {
				return err
			}
		}
		return nil
	})
}

// keptIDs returns for each finding the id of the earlier finding that it
// continues, 0 for a new one.
func keptIDs(before, found []Finding) []FindingID {
	type topic struct {
		track  int
		shared string
		kind   FindingKind
	}
	keep := make([]FindingID, len(found))
	used := map[FindingID]bool{}
	for _, exact := range []bool{true, false} {
		topicOf := func(f Finding) topic {
			if exact {
				return topic{f.Track, f.shared(), f.Kind}
			}
			return topic{f.Track, "", f.Kind}
		}
		old := map[topic][]Finding{}
		for _, o := range before {
			if !used[o.ID] {
				old[topicOf(o)] = append(old[topicOf(o)], o)
			}
		}
		for i, f := range found {
			if keep[i] != 0 {
				continue
			}
			overlap := int64(-1)
			for _, o := range old[topicOf(f)] {
				// Findings that only touch overlap by 0; the same goes for
				// single points.
				if n := min(o.EndFrame, f.EndFrame) - max(o.StartFrame, f.StartFrame); n > overlap && !used[o.ID] {
					keep[i], overlap = o.ID, n
				}
			}
			if keep[i] != 0 {
				used[keep[i]] = true
			}
		}
	}
	return keep
}
