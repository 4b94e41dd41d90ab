package songs

import (
	"context"
	"math"

	"nightreel/catalog"
	"nightreel/internal/spectrum"
)

// chroma is what the whole band plays in one second: a vector of length 1 over
// the pitch classes, or all zero where there is nothing to tell.
type chroma = spectrum.Chroma

// bandHarmony names what is kept of a recording so that other nights need not
// add it up again.
const bandHarmony catalog.DerivedKind = "band harmony"

// bandOf returns what the band plays in each second of a recording, nil for one
// that was measured before harmony was. What was added up once is kept in the
// catalog.
//
// Every track counts alike, whatever it is called and however loud it is: of
// each the mean over the night is taken off first, in the logarithm, so that
// what never changes (hum, a drum's pitch, the colour of a microphone) tells
// nothing, and nor does a track without music. So a correction of the input
// list changes nothing here.
func bandOf(ctx context.Context, store *catalog.Store, rec catalog.Recording) ([]chroma, error) {
	key := catalog.DerivedKey{Recording: rec.ID, Kind: bandHarmony, End: rec.Frames}
	data, edition, err := store.Derived(ctx, key)
	if err != nil {
		return nil, err
	}
	if data == nil {
		b, err := addBand(ctx, store, rec)
		if err != nil {
			return nil, err
		}
		data = packBand(b)
		if err := store.PutDerived(ctx, key, edition, data); err != nil {
			return nil, err
		}
	}
	// Read back even when new: the same night gives the same takes whether or
	// not it was kept.
	return unpackBand(data), nil
}

func addBand(ctx context.Context, store *catalog.Store, rec catalog.Recording) ([]chroma, error) {
	tracks, err := store.Tracks(ctx, catalog.TrackFilter{Recording: rec.ID})
	if err != nil {
		return nil, err
	}
	var band []chroma
	for _, t := range tracks {
		parts, err := store.Features(ctx, catalog.PartFilter{Track: t.ID}, catalog.Harmony)
		if err != nil {
			return nil, err
		}
		if len(parts) == 0 {
			continue
		}
		if band == nil {
			band = make([]chroma, int(math.Ceil(rec.Seconds(rec.Frames))))
		}
		addTrack(band, parts)
	}
	for i := range band {
		normalise(&band[i])
	}
	return band, nil
}

// addTrack adds a track's harmony to the band's.
func addTrack(band []chroma, parts []catalog.Part) {
	const perSecond = spectrum.LooksPerSecond * spectrum.ChromaBytes
	var mean chroma
	n := 0
	for _, p := range parts {
		for at := 0; at+spectrum.ChromaBytes <= len(p.Data); at += spectrum.ChromaBytes {
			c := spectrum.UnpackChromaLog(p.Data[at:])
			for i, v := range c {
				mean[i] += v
			}
			n++
		}
	}
	for i := range mean {
		mean[i] /= float32(max(n, 1))
	}
	for _, p := range parts {
		for at := 0; at+spectrum.ChromaBytes <= len(p.Data); at += spectrum.ChromaBytes {
			second := p.Part*60 + at/perSecond
			if second >= len(band) {
				break
			}
			c := spectrum.UnpackChromaLog(p.Data[at:])
			for i, v := range c {
				band[second][i] += v - mean[i]
			}
		}
	}
}

// normalise takes off the mean and brings the vector to length 1: chords of
// any loudness and number of voices compare.
func normalise(c *chroma) {
	var mean, square float32
	for _, v := range c {
		mean += v / spectrum.PitchClasses
	}
	for i := range c {
		c[i] -= mean
		square += float32(c[i] * c[i])
	}
	if square < 1e-6 {
		*c = chroma{}
		return
	}
	scale := 1 / float32(math.Sqrt(float64(square)))
	for i := range c {
		c[i] *= scale
	}
}

// packBand keeps a second in 12 bytes, each in 127ths.
func packBand(band []chroma) []byte {
	data := make([]byte, 0, len(band)*spectrum.PitchClasses)
	for _, c := range band {
		for _, v := range c {
			data = append(data, byte(int8(math.Round(float64(127*v)))))
		}
	}
	return data
}

func unpackBand(data []byte) []chroma {
	if len(data) == 0 {
		return nil
	}
	band := make([]chroma, len(data)/spectrum.PitchClasses)
	for i := range band {
		for k := range band[i] {
			band[i][k] = float32(int8(data[i*spectrum.PitchClasses+k])) / 127
		}
	}
	return band
}
