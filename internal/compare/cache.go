package compare

import (
	"context"
	"encoding/binary"

	"nightreel/catalog"
	"nightreel/internal/meter"
)

// span is a stretch of a recording, in its frames.
type span struct {
	recording  catalog.RecordingID
	start, end int64
}

// figures returns the figures of all tracks of a recording in a span. Results
// are cached in the catalog, beside the edition of the measurement that they
// came from: a song along a tour of a hundred nights is thousands of spans, and
// a screen needs them at once.
func (n *tour) figures(ctx context.Context, store *catalog.Store, s span) (map[catalog.TrackID]meter.Figures, error) {
	if known, ok := n.known[s]; ok {
		return known, nil
	}
	key := catalog.DerivedKey{Recording: s.recording, Kind: catalog.SpanFigures, Start: s.start, End: s.end}
	data, edition, err := store.Derived(ctx, key)
	if err != nil {
		return nil, err
	}
	figures, ok := decodeFigures(data, n.tracks[s.recording])
	if !ok {
		figures = make(map[catalog.TrackID]meter.Figures, len(n.tracks[s.recording]))
		data = data[:0]
		for _, t := range n.tracks[s.recording] {
			f, err := figuresOf(ctx, store, t, s.start, s.end)
			if err != nil {
				return nil, err
			}
			figures[t.ID] = f
			data = binary.LittleEndian.AppendUint64(data, uint64(t.ID))
			if data, err = f.AppendBinary(data); err != nil {
				return nil, err
			}
		}
		// If the catalog cannot be written to, the figures are still valid.
		_ = store.PutDerived(ctx, key, edition, data)
	}
	n.known[s] = figures
	return figures, nil
}

// decodeFigures decodes cached figures; ok is false if a track is missing from
// them.
func decodeFigures(data []byte, tracks []catalog.Track) (figures map[catalog.TrackID]meter.Figures, ok bool) {
	const size = 8 + meter.FiguresBytes
	if len(data)%size != 0 || len(data) == 0 {
		return nil, false
	}
	figures = make(map[catalog.TrackID]meter.Figures, len(data)/size)
	for ; len(data) > 0; data = data[size:] {
		var f meter.Figures
		if f.UnmarshalBinary(data[8:size]) != nil {
			return nil, false
		}
		figures[catalog.TrackID(binary.LittleEndian.Uint64(data))] = f
	}
	for _, t := range tracks {
		if _, held := figures[t.ID]; !held {
			return nil, false
		}
	}
	return figures, true
}
