package envelope

import (
	"context"
	"encoding/binary"
	"errors"
	"math"
	"slices"

	"nightreel/catalog"
	"nightreel/internal/meter"
	"nightreel/internal/stats"
)

// Strip is a track's envelope as a screen draws it: two bytes a column, the
// sample peak and the RMS. A byte is 0 if nothing was recorded or measured, 1
// for digital silence and anything below −126.5 dBFS, else 255 + 2·dBFS, limited
// at full scale.
type Strip struct {
	Track   catalog.TrackID
	Columns []byte // peak and RMS of the first column, of the second, …
}

// Code converts a fraction of full scale to a strip's byte.
func Code(amplitude float64) byte {
	if !(amplitude > 0) {
		return 1
	}
	return byte(min(255, max(1, math.Round(255+float64(40*stats.Log10(amplitude))))))
}

// coarseBlocks is the length of a cached column, a second: 64 tracks of three
// hours are 1.4 MB, which load in some milliseconds, while their whole envelope
// is 140 MB.
const coarseBlocks = meter.BlocksPerSecond

// Strips returns the given span of all tracks of a recording, in its frames, as
// the given number of columns of equal length. Columns of a second and longer
// come from the cache, shorter ones from the measured blocks; columns below 100
// ms repeat a block. It reads no audio.
func Strips(ctx context.Context, store *catalog.Store, r catalog.Recording, start, end int64, columns int) ([]Strip, error) {
	if columns < 1 || end <= start {
		return []Strip{}, nil
	}
	block := int64(meter.BlockFrames(r.SampleRate))
	if (end-start)/int64(columns) < coarseBlocks*block {
		return fineStrips(ctx, store, r, start, end, columns)
	}
	coarse, err := coarseStrips(ctx, store, r)
	if err != nil {
		return nil, err
	}
	for i, s := range coarse {
		coarse[i].Columns = resample(s.Columns, float64(start)/float64(coarseBlocks*block), float64(end)/float64(coarseBlocks*block), columns)
	}
	return coarse, nil
}

// resample draws columns from the cells between two positions, which may lie
// outside: the highest peak, and the RMS of the cells' energies.
func resample(cells []byte, from, to float64, columns int) []byte {
	out := make([]byte, 2*columns)
	n := len(cells) / 2
	step := (to - from) / float64(columns)
	for c := range columns {
		first := int(math.Floor(from + float64(float64(c)*step)))
		last := max(first+1, int(math.Ceil(from+float64(float64(c+1)*step)-1e-9)))
		sum, held := 0.0, 0
		for i := max(0, first); i < min(n, last); i++ {
			out[2*c] = max(out[2*c], cells[2*i])
			if rms := cells[2*i+1]; rms > 0 {
				sum += power[rms]
				held++
			}
		}
		if held > 0 {
			out[2*c+1] = Code(math.Sqrt(sum / float64(held)))
		}
	}
	return out
}

// power is the mean square of each code.
var power = func() (p [256]float64) {
	for code := 2; code < 256; code++ {
		p[code] = stats.Pow(10, float64(code-255)/20)
	}
	return p
}()

// fineStrips draws the span from the measured blocks.
func fineStrips(ctx context.Context, store *catalog.Store, r catalog.Recording, start, end int64, columns int) ([]Strip, error) {
	tracks, err := store.Tracks(ctx, catalog.TrackFilter{Recording: r.ID})
	if err != nil {
		return nil, err
	}
	block := float64(meter.BlockFrames(r.SampleRate))
	strips := make([]Strip, 0, len(tracks))
	for _, t := range tracks {
		cells, first, err := blockCells(ctx, store, t, start, end)
		if err != nil {
			return nil, err
		}
		strips = append(strips, Strip{Track: t.ID, Columns: resample(cells, float64(start)/block-float64(first), float64(end)/block-float64(first), columns)})
	}
	return strips, nil
}

// blockCells returns one cell a block around a span, and the first block's
// index; no cells if the span was not measured.
func blockCells(ctx context.Context, store *catalog.Store, t catalog.Track, start, end int64) ([]byte, int, error) {
	e, err := Load(ctx, store, t, start, end)
	var missing *NotMeasuredError
	if errors.As(err, &missing) {
		return nil, 0, nil
	}
	if err != nil {
		return nil, 0, err
	}
	cells := make([]byte, 0, 2*len(e.Blocks))
	for _, b := range e.Blocks {
		cells = append(cells, Code(float64(b.Peak)), Code(math.Sqrt(float64(b.MeanSquare))))
	}
	return cells, e.First, nil
}

// stripsVersion is the first byte of cached strips; strips of another version
// are computed again.
const stripsVersion = 1

// coarseStrips returns the strips of a whole recording in columns of a second,
// from the cache or computed and cached.
func coarseStrips(ctx context.Context, store *catalog.Store, r catalog.Recording) ([]Strip, error) {
	key := catalog.DerivedKey{Recording: r.ID, Kind: catalog.Strips, Start: 0, End: r.Frames}
	data, edition, err := store.Derived(ctx, key)
	if err != nil {
		return nil, err
	}
	if strips, ok := decodeStrips(data); ok {
		return strips, nil
	}
	tracks, err := store.Tracks(ctx, catalog.TrackFilter{Recording: r.ID})
	if err != nil {
		return nil, err
	}
	strips := make([]Strip, 0, len(tracks))
	data = []byte{stripsVersion}
	for _, t := range tracks {
		cells, _, err := blockCells(ctx, store, t, 0, t.Frames)
		if err != nil {
			return nil, err
		}
		n := (len(cells)/2 + coarseBlocks - 1) / coarseBlocks
		s := Strip{Track: t.ID, Columns: resample(cells, 0, float64(n*coarseBlocks), n)}
		strips = append(strips, s)
		data = binary.AppendUvarint(data, uint64(t.ID))
		data = binary.AppendUvarint(data, uint64(len(s.Columns)))
		data = append(data, s.Columns...)
	}
	// If the catalog cannot be written to, the strips are still valid.
	_ = store.PutDerived(ctx, key, edition, data)
	return strips, ctx.Err()
}

func decodeStrips(data []byte) ([]Strip, bool) {
	if len(data) == 0 || data[0] != stripsVersion {
		return nil, false
	}
	strips := []Strip{}
	for data = data[1:]; len(data) > 0; {
		id, n := binary.Uvarint(data)
		if n <= 0 {
			return nil, false
		}
		data = data[n:]
		size, n := binary.Uvarint(data)
		if n <= 0 || size > uint64(len(data)-n) {
			return nil, false
		}
		data = data[n:]
		strips = append(strips, Strip{Track: catalog.TrackID(id), Columns: slices.Clip(data[:size])})
		data = data[size:]
	}
	return strips, true
}

// Prepare caches what a screen needs first of a recording.
func Prepare(ctx context.Context, store *catalog.Store, r catalog.Recording) error {
	_, err := coarseStrips(ctx, store, r)
	return err
}

// OfTrack returns one track's span as the given number of columns, from the
// measured blocks.
func OfTrack(ctx context.Context, store *catalog.Store, t catalog.Track, start, end int64, columns int) (Strip, error) {
	if columns < 1 || end <= start {
		return Strip{Track: t.ID}, nil
	}
	block := float64(meter.BlockFrames(t.SampleRate))
	cells, first, err := blockCells(ctx, store, t, start, end)
	if err != nil {
		return Strip{}, err
	}
	return Strip{Track: t.ID, Columns: resample(cells, float64(start)/block-float64(first), float64(end)/block-float64(first), columns)}, nil
}
