package catalog

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"path/filepath"
	"time"
)

// File is one WAV file of a recording: a segment of all its tracks, of some,
// or of one.
type File struct {
	ID          FileID
	RecordingID RecordingID
	VolumeID    VolumeID
	Path        string // from the volume's root, with slashes
	Size        int64  // bytes when it was read
	ModTime     time.Time
	Segment     int   // index among the segments of its tracks, from 0
	FirstTrack  int   // number of the track in its first channel
	Channels    int   // it holds the tracks FirstTrack … FirstTrack+Channels-1
	StartFrame  int64 // frame of the recording at which it starts
	Frames      int64 // whole frames in it
	DataOffset  int64 // byte offset of its first sample
	Unfinished  bool  // its header was never finished
	Repairs     []Repair

	SampleRate  int    // Hz
	BitDepth    int    // valid bits of a sample
	SampleBytes int    // bytes a sample occupies
	Encoding    string // "pcm" or "float"
	// Header is the rest of the file's header; nil if the file was last read by
	// a version that did not store it.
	Header *FileHeader
	// Content identifies the file's bytes: its size and the checksum of some of
	// its samples. Files with the same name and content are copies. "" if the
	// file was last read by a version that did not store it.
	Content string

	Root string // the volume's root at present; filled by the store
}

// FileHeader is what a file's header holds beside the format.
type FileHeader struct {
	StartsAt   *time.Time    `json:"starts_at,omitempty"` // wall clock of the first frame
	Exact      bool          `json:"exact,omitempty"`     // StartsAt is exact to the frame
	Originator string        `json:"originator,omitempty"`
	Tracks     []HeaderTrack `json:"tracks,omitempty"`
	Cues       []HeaderCue   `json:"cues,omitempty"`
}

// HeaderTrack is a header's entry for one channel of its file.
type HeaderTrack struct {
	Place int    `json:"place,omitempty"` // position in the file, from 1; 0 if not given
	Input int    `json:"input,omitempty"` // the recorder's number; 0 if not given
	Name  string `json:"name,omitempty"`
}

// HeaderCue is a cue point or a range of a file.
type HeaderCue struct {
	Frame  int64  `json:"frame"`            // of the file
	Length int64  `json:"length,omitempty"` // frames; 0 for a point
	Label  string `json:"label,omitempty"`
}

// Repair is one defect of a file that reading worked around.
type Repair struct {
	Offset  int64  `json:"offset"` // bytes
	Problem string `json:"problem"`
}

// FullPath returns the file's present path, in the form of this system.
func (f File) FullPath() string { return filepath.Join(f.Root, filepath.FromSlash(f.Path)) }

// FileFilter chooses files; zero fields choose all.
type FileFilter struct {
	Recording RecordingID
	Show      ShowKey
	Volume    VolumeID
}

// Files returns files in order of recording, first track and segment.
func (s *Store) Files(ctx context.Context, f FileFilter) ([]File, error) {
	key, err := address(ctx, s.db, f.Show)
	if err != nil {
		return nil, err
	}
	var w where
	w.add(f.Recording != 0, "f.recording_id = ?", f.Recording)
	w.add(f.Show != "", "s.key = ?", key)
	w.add(f.Volume != 0, "f.volume_id = ?", f.Volume)
	return list(ctx, s.db, `SELECT f.id, f.recording_id, f.volume_id, f.path, f.size, f.mod_time, f.segment, f.first_track, f.channels, f.start_frame, f.frames, f.data_offset, f.unfinished, f.repairs,
		f.sample_rate, f.bit_depth, f.sample_bytes, f.encoding, f.header, f.content, v.root
		FROM files f JOIN volumes v ON v.id = f.volume_id JOIN recordings r ON r.id = f.recording_id JOIN shows s ON s.id = r.show_id`+w.String()+
		` ORDER BY `+recordingOrder+`, f.first_track, f.segment, f.path`,
		w.args, func(row scanner) (f File, err error) {
			var mod int64
			var repairs, header string
			err = row.Scan(&f.ID, &f.RecordingID, &f.VolumeID, &f.Path, &f.Size, &mod, &f.Segment, &f.FirstTrack, &f.Channels, &f.StartFrame, &f.Frames, &f.DataOffset, &f.Unfinished, &repairs,
				&f.SampleRate, &f.BitDepth, &f.SampleBytes, &f.Encoding, &header, &f.Content, &f.Root)
			if err != nil {
				return f, err
			}
			f.ModTime = time.Unix(0, mod)
			if header != "" {
				if err := json.Unmarshal([]byte(header), &f.Header); err != nil {
					return f, err
				}
			}
			return f, json.Unmarshal([]byte(repairs), &f.Repairs)
		})
}

// saveFiles replaces a recording's files.
func saveFiles(ctx context.Context, tx *sql.Tx, id RecordingID, files []File) error {
	// Marking by segment -1 and deleting what keeps the mark avoids a list of
	// thousands of paths in a NOT IN.
	if _, err := exec(ctx, tx, "UPDATE files SET segment = -1 WHERE recording_id = ?", id); err != nil {
		return err
	}
	for _, f := range files {
		if err := putFile(ctx, tx, id, f); err != nil {
			return err
		}
	}
	_, err := exec(ctx, tx, "DELETE FROM files WHERE recording_id = ? AND segment = -1", id)
	return err
}

// putFile stores one file of a recording. Volume and path identify it.
func putFile(ctx context.Context, tx *sql.Tx, id RecordingID, f File) error {
	repairs, header := []byte("[]"), []byte(nil)
	var err error
	if len(f.Repairs) > 0 {
		if repairs, err = json.Marshal(f.Repairs); err != nil {
			return fmt.Errorf("%s: could not store its repairs: %w", f.Path, err)
		}
	}
	if f.Header != nil {
		if header, err = json.Marshal(f.Header); err != nil {
			return fmt.Errorf("%s: could not store its header: %w", f.Path, err)
		}
	}
	_, err = exec(ctx, tx, `INSERT INTO files (recording_id, volume_id, path, size, mod_time, segment, first_track, channels, start_frame, frames, data_offset, unfinished, repairs,
			sample_rate, bit_depth, sample_bytes, encoding, header, content)
		VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)
		ON CONFLICT (volume_id, path) DO UPDATE SET recording_id = excluded.recording_id, size = excluded.size, mod_time = excluded.mod_time, segment = excluded.segment,
			first_track = excluded.first_track, channels = excluded.channels, start_frame = excluded.start_frame, frames = excluded.frames,
			data_offset = excluded.data_offset, unfinished = excluded.unfinished, repairs = excluded.repairs,
			sample_rate = excluded.sample_rate, bit_depth = excluded.bit_depth, sample_bytes = excluded.sample_bytes, encoding = excluded.encoding,
			header = excluded.header, content = excluded.content`,
		id, f.VolumeID, f.Path, f.Size, f.ModTime.UnixNano(), f.Segment, f.FirstTrack, f.Channels, f.StartFrame, f.Frames, f.DataOffset, f.Unfinished, string(repairs),
		f.SampleRate, f.BitDepth, f.SampleBytes, f.Encoding, string(header), f.Content)
	return err
}

// Piece is the checksum of a stretch of a file. The pieces of a completely read
// file cover it without gaps: header, audio minute by minute, rest.
type Piece struct {
	File   FileID
	Offset int64  // bytes
	Length int64  // bytes
	Sum    uint64 // XXH3-64
}

// Pieces returns the checksums of a file in order of offset.
func (s *Store) Pieces(ctx context.Context, file FileID) ([]Piece, error) {
	return list(ctx, s.db, "SELECT file_id, offset, length, sum FROM pieces WHERE file_id = ? ORDER BY offset", []any{file}, readPiece)
}

func readPiece(row scanner) (p Piece, err error) {
	var sum int64 // SQLite's integers are signed
	err = row.Scan(&p.File, &p.Offset, &p.Length, &sum)
	p.Sum = uint64(sum)
	return p, err
}

func putPieces(ctx context.Context, tx *sql.Tx, pieces []Piece) error {
	for _, p := range pieces {
		if _, err := exec(ctx, tx, "INSERT OR REPLACE INTO pieces (file_id, offset, length, sum) SELECT ?1, ?2, ?3, ?4 WHERE EXISTS (SELECT 1 FROM files WHERE id = ?1)", p.File, p.Offset, p.Length, int64(p.Sum)); err != nil {
			return err
		}
	}
	return nil
}
