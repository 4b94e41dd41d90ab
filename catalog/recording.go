package catalog

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"time"
)

// MainRig is the rig's name if a show has only one recording.
const MainRig = "main"

// Recording is one rig's capture of one show.
type Recording struct {
	ID          RecordingID `json:"id"`
	ShowID      ShowID      `json:"-"`
	Show        ShowKey     `json:"-"`
	Rig         string      `json:"rig"`
	SampleRate  int         `json:"sample_rate"` // Hz
	BitDepth    int         `json:"bit_depth"`   // valid bits of a sample
	SampleBytes int         `json:"-"`           // bytes a sample occupies in the files
	Encoding    string      `json:"encoding"`    // "pcm" or "float"
	Tracks      int         `json:"tracks"`      // counted by the store
	Files       int         `json:"files"`       // counted by the store
	Frames      int64       `json:"-"`           // length, first frame of the first file to last frame of the longest track
	// StartsAt is the wall clock at the first frame if the files have it, in the
	// recorder's own time zone, which no file names.
	StartsAt *time.Time `json:"starts_at"`
	// OffsetS is how many seconds after the first frame of the show's reference
	// recording this one starts; 0 for the reference itself.
	OffsetS float64 `json:"offset_s"`
	// Reference means that the show's positions count on this recording; package
	// rigs chooses it. Chosen means that a person chose it.
	Reference bool `json:"reference"`
	Chosen    bool `json:"-"`
	// Path is the first of its files' paths, on this machine; "" without files.
	Path string `json:"-"`
	// Layout counts the changes of the recording's grouping of files and tracks.
	Layout int64 `json:"-"`
}

// Float reports whether samples are floating point; otherwise they are integer
// PCM.
func (r Recording) Float() bool { return r.Encoding == "float" }

// Seconds converts a frame of the recording to seconds from its first frame.
func (r Recording) Seconds(frame int64) float64 { return seconds(frame, r.SampleRate) }

// Clock formats seconds as h:mm:ss, rounded to the nearest second. All texts
// give positions in a recording in this form.
func Clock(seconds float64) string { return clock(seconds, 1) }

// ClockTenths formats seconds as h:mm:ss.t, rounded to the nearest tenth.
func ClockTenths(seconds float64) string { return clock(seconds, 10) }

func clock(seconds float64, perSecond int64) string {
	if math.IsNaN(seconds) || math.Abs(seconds) > 1e12 {
		return fmt.Sprint(seconds) // no position in any recording
	}
	sign := ""
	n := int64(math.Round(seconds * float64(perSecond)))
	if n < 0 {
		sign, n = "-", -n
	}
	whole := n / perSecond
	text := fmt.Sprintf("%s%d:%02d:%02d", sign, whole/3600, whole/60%60, whole%60)
	if perSecond == 10 {
		text += fmt.Sprintf(".%d", n%10)
	}
	return text
}

// seconds returns 0 if the rate is 0, so that a value that was never stored
// still prints.
func seconds(frame int64, rate int) float64 {
	if rate <= 0 {
		return 0
	}
	return float64(frame) / float64(rate)
}

// Frame converts seconds from the recording's first frame to the nearest frame.
func (r Recording) Frame(seconds float64) int64 {
	return int64(math.Round(seconds * float64(r.SampleRate)))
}

// Map returns the frame of other that was recorded at the same time as the given
// frame of r. It may lie outside other.
func (r Recording) Map(frame int64, other Recording) int64 {
	if r.ID == other.ID {
		return frame
	}
	return other.Frame(r.Seconds(frame) + r.OffsetS - other.OffsetS)
}

// MarshalJSON adds duration_s.
func (r Recording) MarshalJSON() ([]byte, error) {
	type plain Recording
	return json.Marshal(struct {
		plain
		DurationS float64 `json:"duration_s"`
	}{plain(r), r.Seconds(r.Frames)})
}

// RecordingFilter chooses recordings; zero fields choose all.
type RecordingFilter struct {
	ID   RecordingID
	Show ShowKey
	Rig  string
}

// recordingOrder puts a show's reference first. Until it is known, the main
// rig's recording with the smallest offset comes first. Ties are broken by what
// was recorded, never by the order of scans; the id is used only for recordings
// without files.
const recordingOrder = `s.date, s.place, r.reference DESC, r.rig <> '` + MainRig + `', r.offset_s <> 0, r.offset_s, r.rig, r.sample_rate, r.starts_at, r.frames,
	` + firstPath + `, r.id`

const firstPath = `(SELECT min(v0.root || '/' || f0.path) FROM files f0 JOIN volumes v0 ON v0.id = f0.volume_id WHERE f0.recording_id = r.id)`

// Recordings returns recordings in order of show; within a show the reference
// comes first.
func (s *Store) Recordings(ctx context.Context, f RecordingFilter) ([]Recording, error) {
	key, err := address(ctx, s.db, f.Show)
	if err != nil {
		return nil, err
	}
	var w where
	w.add(f.ID != 0, "r.id = ?", f.ID)
	w.add(f.Show != "", "s.key = ?", key)
	w.add(f.Rig != "", "r.rig = ?", f.Rig)
	return list(ctx, s.db, `SELECT r.id, r.show_id, s.key, r.rig, r.sample_rate, r.bit_depth, r.sample_bytes, r.encoding, r.frames, r.starts_at, r.offset_s, r.reference, r.chosen, r.layout, coalesce(`+firstPath+`, ''),
		(SELECT count(*) FROM tracks t WHERE t.recording_id = r.id), (SELECT count(*) FROM files f WHERE f.recording_id = r.id)
		FROM recordings r JOIN shows s ON s.id = r.show_id`+w.String()+` ORDER BY `+recordingOrder,
		w.args, func(row scanner) (r Recording, err error) {
			var starts sql.NullString
			err = row.Scan(&r.ID, &r.ShowID, &r.Show, &r.Rig, &r.SampleRate, &r.BitDepth, &r.SampleBytes, &r.Encoding, &r.Frames, &starts, &r.OffsetS, &r.Reference, &r.Chosen, &r.Layout, &r.Path, &r.Tracks, &r.Files)
			if err == nil && starts.Valid {
				var at time.Time
				at, err = time.Parse(time.RFC3339Nano, starts.String)
				r.StartsAt = &at
			}
			return r, err
		})
}

// SetReference stores the offsets of a show's recordings and which of them is
// the reference. It reports whether anything changed.
func (s *Store) SetReference(ctx context.Context, show ShowID, recordings []Recording) (changed bool, err error) {
	err = s.update(ctx, func(tx *sql.Tx) error {
		for _, r := range recordings {
			n, err := exec(ctx, tx, "UPDATE recordings SET offset_s = ?1, reference = ?2 WHERE id = ?3 AND (offset_s <> ?1 OR reference <> ?2)", r.OffsetS, r.Reference, r.ID)
			if err != nil {
				return err
			}
			changed = changed || n > 0
		}
		return nil
	})
	return changed && err == nil, err
}

// edited increases the [Edition] of a recording after a change of its files,
// tracks and markers: findings depend on them too.
func edited(ctx context.Context, tx *sql.Tx, id RecordingID) error {
	_, err := exec(ctx, tx, "INSERT INTO editions (recording_id, edition) VALUES (?, 1) ON CONFLICT (recording_id) DO UPDATE SET edition = edition + 1", id)
	return err
}

func recordingGone(id RecordingID) error {
	return &NotFoundError{Kind: "recording", Name: fmt.Sprint(id), Try: "nightreel shows lists what there is"}
}

// DeleteRecording deletes a recording with its measurements, findings and takes.
// A person's facts about it stay, and hold again when the recording comes back.
// The files themselves are untouched.
func (s *Store) DeleteRecording(ctx context.Context, id RecordingID) error {
	return s.write(ctx, func(w *writing) error {
		var show ShowID
		err := w.QueryRowContext(ctx, "SELECT show_id FROM recordings WHERE id = ?", id).Scan(&show)
		if errors.Is(err, sql.ErrNoRows) {
			return nil
		}
		if err != nil {
			return fmt.Errorf("could not read the catalog: %w", err)
		}
		if err := w.touch(ctx, "SELECT song_key FROM takes WHERE recording_id = ?", id); err != nil {
			return err
		}
		if _, err := exec(ctx, w, "DELETE FROM recordings WHERE id = ?", id); err != nil {
			return err
		}
		return w.sited(ctx, show)
	})
}

// SaveRecording stores a recording with its files, tracks and markers in one
// transaction, as a new one if r.ID is 0. Existing rows keep their ids: files
// are identified by volume and path, tracks by number. Files and tracks that are
// not given are deleted, tracks with their measurements. It returns the
// recording with its id; read the counts and the ids of files and tracks with
// [Store.Files] and [Store.Tracks].
func (s *Store) SaveRecording(ctx context.Context, r Recording, files []File, tracks []Track, markers []Marker) (Recording, error) {
	err := s.write(ctx, func(w *writing) error {
		tx := w.tx
		was := r.ShowID
		if r.ID != 0 {
			if err := tx.QueryRowContext(ctx, "SELECT show_id FROM recordings WHERE id = ?", r.ID).Scan(&was); err != nil && !errors.Is(err, sql.ErrNoRows) {
				return fmt.Errorf("could not read the catalog: %w", err)
			}
		}
		var starts any
		if r.StartsAt != nil {
			starts = r.StartsAt.Format(time.RFC3339Nano)
		}
		if r.ID == 0 {
			id, err := insert(ctx, tx, `INSERT INTO recordings (show_id, rig, sample_rate, bit_depth, sample_bytes, encoding, frames, starts_at, offset_s, chosen) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
				r.ShowID, r.Rig, r.SampleRate, r.BitDepth, r.SampleBytes, r.Encoding, r.Frames, starts, r.OffsetS, r.Chosen)
			if err != nil {
				return err
			}
			r.ID = RecordingID(id)
		} else if n, err := exec(ctx, tx, `UPDATE recordings SET show_id = ?, rig = ?, sample_rate = ?, bit_depth = ?, sample_bytes = ?, encoding = ?, frames = ?, starts_at = ?, offset_s = ?, chosen = ? WHERE id = ?`,
			r.ShowID, r.Rig, r.SampleRate, r.BitDepth, r.SampleBytes, r.Encoding, r.Frames, starts, r.OffsetS, r.Chosen, r.ID); err != nil {
			return err
		} else if n == 0 {
			return recordingGone(r.ID)
		}
		if err := saveFiles(ctx, tx, r.ID, files); err != nil {
			return err
		}
		if err := saveTracks(ctx, tx, r.ID, tracks); err != nil {
			return err
		}
		if err := saveMarkers(ctx, tx, r.ID, markers); err != nil {
			return err
		}
		if err := edited(ctx, tx, r.ID); err != nil {
			return err
		}
		if was != r.ShowID {
			if err := w.sited(ctx, was); err != nil {
				return err
			}
		}
		return w.sited(ctx, r.ShowID)
	})
	if err != nil {
		return Recording{}, err
	}
	all, err := s.Recordings(ctx, RecordingFilter{ID: r.ID})
	if err != nil {
		return Recording{}, err
	}
	if len(all) == 0 {
		return Recording{}, recordingGone(r.ID) // another process deleted it meanwhile
	}
	return all[0], nil
}
