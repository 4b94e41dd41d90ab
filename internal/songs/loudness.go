package songs

import (
	"context"
	"encoding/binary"
	"math"

	"nightreel/catalog"
)

// loudness holds the levels of a recording's informative tracks.
type loudness []trackLoudness

type trackLoudness struct {
	number int       // of the track
	levels []float32 // by second: see calm
}

// trackLoudnessKind names the cached track levels of a recording: other nights
// need them to see who plays when in its takes.
const trackLoudnessKind catalog.DerivedKind = "track loudness"

func loudnessKey(rec catalog.Recording) catalog.DerivedKey {
	return catalog.DerivedKey{Recording: rec.ID, Kind: trackLoudnessKind, End: rec.Frames}
}

// keepLoudness stores a recording's loudness, unless it is there already.
func keepLoudness(ctx context.Context, store *catalog.Store, rec catalog.Recording, l loudness) error {
	data, edition, err := store.Derived(ctx, loudnessKey(rec))
	if err != nil || data != nil {
		return err
	}
	return store.PutDerived(ctx, loudnessKey(rec), edition, l.pack())
}

// loudnessOf returns the loudness of another night's recording, and computes and
// stores it if it is missing.
func loudnessOf(ctx context.Context, store *catalog.Store, rec catalog.Recording) (loudness, error) {
	data, _, err := store.Derived(ctx, loudnessKey(rec))
	if err != nil {
		return nil, err
	}
	if data == nil {
		a, err := listen(ctx, store, rec)
		if err != nil {
			return nil, err
		}
		return a.kept, keepLoudness(ctx, store, rec, a.kept)
	}
	return unpackLoudness(data), nil
}

// A second takes one byte, in hundredths of 20 dB from the softest on.
const softest = -1.5

func (l loudness) pack() []byte {
	data := []byte{}
	for _, t := range l {
		data = binary.AppendUvarint(data, uint64(t.number))
		data = binary.AppendUvarint(data, uint64(len(t.levels)))
		for _, v := range t.levels {
			data = append(data, byte(math.Round(100*float64(max(0, min(2.5, v-softest))))))
		}
	}
	return data
}

// unpackLoudness reads what pack wrote. It stops at the first record that is
// damaged.
func unpackLoudness(data []byte) (l loudness) {
	for len(data) > 0 {
		number, a := binary.Uvarint(data)
		if a <= 0 {
			break
		}
		size, b := binary.Uvarint(data[a:])
		if b <= 0 || size > uint64(len(data)-a-b) {
			break
		}
		data = data[a+b:]
		t := trackLoudness{number: int(number), levels: make([]float32, size)}
		for i := range t.levels {
			t.levels[i] = softest + float32(data[i])/100
		}
		l, data = append(l, t), data[size:]
	}
	return l
}

// loudAs returns the loudness of seconds from to to-1 of another night's take,
// ordered by tonight's tracks: each entry is the other night's track of the same
// channel, nil if there is none.
func (n *night) loudAs(l loudness, tracks []catalog.Track, from, to int) [][]float32 {
	channel := map[int]string{}
	for _, t := range tracks {
		channel[t.Number] = catalog.Key(t.Channel)
	}
	used := make([]bool, len(l))
	out := make([][]float32, len(n.activity.tracks))
	for i, t := range n.activity.tracks {
		for k, other := range l {
			if !used[k] && channel[other.number] == catalog.Key(t.Channel) && to <= len(other.levels) {
				used[k], out[i] = true, other.levels[from:to]
				break
			}
		}
	}
	return out
}

// louder caches the loudness of other nights' recordings, so that each is read
// once.
type louder struct {
	store  *catalog.Store
	n      *night
	of     map[catalog.RecordingID]loudness
	tracks map[catalog.RecordingID][]catalog.Track
}

func (l louder) as(ctx context.Context, rec catalog.Recording, from, to int) ([][]float32, error) {
	var err error
	of, loaded := l.of[rec.ID]
	if !loaded {
		if of, err = loudnessOf(ctx, l.store, rec); err != nil {
			return nil, err
		}
		l.of[rec.ID] = of
	}
	tracks, loaded := l.tracks[rec.ID]
	if !loaded {
		if tracks, err = l.store.Tracks(ctx, catalog.TrackFilter{Recording: rec.ID}); err != nil {
			return nil, err
		}
		l.tracks[rec.ID] = tracks
	}
	return l.n.loudAs(of, tracks, from, to), nil
}
