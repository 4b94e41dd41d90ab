package songs

import (
	"context"

	"nightreel/catalog"
)

// KeepLoudness stores a loudness of a recording in which some tracks are loud
// all through, as placing the recording would.
func KeepLoudness(ctx context.Context, store *catalog.Store, rec catalog.Recording, tracks int) error {
	l := make(loudness, tracks)
	for i := range l {
		l[i] = trackLoudness{i + 1, make([]float32, int(rec.Seconds(rec.Frames)))}
	}
	return keepLoudness(ctx, store, rec, l)
}
