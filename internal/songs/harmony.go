package songs

import (
	"context"
	"math"

	"nightreel/catalog"
	"nightreel/internal/spectrum"
)

// chroma is what the whole band plays in one second: a vector of length 1 over
// the pitch classes, or all zero if the second has no usable harmony.
type chroma = spectrum.Chroma

// bandHarmony names the cached harmony of a recording, so that other nights need
// not compute it again.
const bandHarmony catalog.DerivedKind = "band harmony"

// bandOf returns what the band plays in each second of a recording; nil if the
// recording was measured before harmony was. The result is cached in the
// catalog.
//
// Every track has the same weight, whatever its name and level. The mean over
// the night is subtracted from each, in the logarithm, so that constant sounds
// (hum, a drum's pitch, the colour of a microphone) and tracks without music
// contribute nothing. Therefore a correction of the input list changes nothing
// here.
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
	// Unpack the cached form even when it is new: the rounded values must give
	// the same takes with and without the cache.
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

// normalise subtracts the mean and scales the vector to length 1, so that chords
// compare at any loudness and with any number of voices.
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

// packBand stores a second in 12 bytes, each in 127ths.
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
