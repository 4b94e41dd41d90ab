package tracks

import (
	"context"
	"fmt"

	"nightreel/catalog"
)

// Track is one track of the catalog, open for reading. It is not safe for
// concurrent use.
type Track struct {
	Track     catalog.Track
	Recording catalog.Recording

	reader *Reader
}

// Open finds a track in the catalog. Its files are opened, and their errors
// returned, when they are read. Close it in the end.
//
// Errors: *[catalog.NotFoundError] for a track that is not in the catalog.
func Open(ctx context.Context, store *catalog.Store, id catalog.TrackID) (*Track, error) {
	found, err := store.Tracks(ctx, catalog.TrackFilter{ID: id})
	if err != nil {
		return nil, err
	}
	if id <= 0 || len(found) == 0 {
		return nil, &catalog.NotFoundError{Kind: "track", Name: fmt.Sprint(id), Try: "nightreel tracks lists them"}
	}
	t := &Track{Track: found[0]}
	recs, err := store.Recordings(ctx, catalog.RecordingFilter{ID: t.Track.RecordingID})
	if err != nil {
		return nil, err
	}
	if len(recs) == 0 {
		return nil, &catalog.NotFoundError{Kind: "recording", Name: fmt.Sprint(t.Track.RecordingID)}
	}
	t.Recording = recs[0]
	files, err := store.Files(ctx, catalog.FileFilter{Recording: t.Recording.ID})
	if err != nil {
		return nil, err
	}
	t.reader = NewReader(t.Recording, files)
	t.reader.single = true
	return t, nil
}

// Read is [Reader.Read] for this track.
func (t *Track) Read(ctx context.Context, dst []byte, from int64) (int, error) {
	return t.reader.Read(ctx, dst, t.Track.Number, from)
}

// Close closes the files.
func (t *Track) Close() error { return t.reader.Close() }

// chunkFrames is how many frames a view reads at once: about a fifth of a second.
const chunkFrames = 8192

// span cuts frames start … end to the recording.
func (t *Track) span(start, end int64) (from, frames int64) {
	from = min(max(start, 0), t.Recording.Frames)
	return from, max(0, min(end, t.Recording.Frames)-from)
}
