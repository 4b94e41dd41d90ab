// Package channelsound describes the sound of a night's channels and their relations:
// spectra, levels and floors, and the correlation of tracks' waves. It works
// from the tone that a scan stores for every track, never from audio, and judges
// nothing.
//
// Start with [Load], which reads one recording; the resulting [Night] is small
// and suffices to compare nights. A level is in dB of full scale (a mean square
// of 1 is 0 dB); [Silence] stands for digital silence.
package channelsound

import (
	"context"
	"math"
	"slices"

	"nightreel/catalog"
	"nightreel/internal/spectrum"
	"nightreel/internal/stats"
)

// Silence, in dB, stands for digital silence; it is below the noise of any
// 24-bit converter.
const Silence = -150

// CellSeconds is the length of a cell, the finest resolution in time.
const CellSeconds = float64(spectrum.CellLooks) / spectrum.LooksPerSecond

// Span is a span of the recording, in frames.
type Span struct {
	Song       string
	Start, End int64
}

// Night is the sound of one recording.
type Night struct {
	SampleRate int
	BitDepth   int // 0 if samples are not integers or the depth is unknown
	Takes      []Span
	Voices     []Voice

	curves   map[[2]int]*Curve // by voice, the lower first
	together map[[2]int]moves
}

// Grain returns the level, in dB, below which the recorder's own rounding hides
// a preamp's noise: 1 dB above the noise of rounding with dither of one step
// each way (half a step RMS).
func (n *Night) Grain() float64 {
	if n.BitDepth == 0 {
		return Silence
	}
	return float64(20*stats.Log10(math.Ldexp(1, -n.BitDepth))) + 1
}

// Voice is the sound of one track.
type Voice struct {
	Track catalog.Track
	Cells []spectrum.Cell
	Parts []spectrum.Tone // only their quiet levels; the cells are in Cells
	// Levels holds the level of each cell in dB.
	Levels []float64
	// Quiet is the level, in dB, of the track when it carries no signal, and
	// QuietBands the same by bands.
	Quiet      float64
	QuietBands [spectrum.Bands]float64
	// Song is the mean level over the night's songs in dB, or over the whole
	// recording if no songs are known; Bands the same by bands.
	Song  float64
	Bands [spectrum.Bands]float64
	// High is the level, in dB, that a tenth of the cells of songs exceed.
	High float64
}

// Load reads the sound of a recording. Tracks whose tone is incomplete (scanned
// before tone was measured) are left out. spans are the songs, in frames of the
// recording.
func Load(ctx context.Context, store *catalog.Store, r catalog.Recording, spans []Span) (*Night, error) {
	tracks, err := store.Tracks(ctx, catalog.TrackFilter{Recording: r.ID})
	if err != nil {
		return nil, err
	}
	stored, err := store.Features(ctx, catalog.PartFilter{Recording: r.ID}, catalog.Tone)
	if err != nil {
		return nil, err
	}
	parts := map[catalog.TrackID][]spectrum.Tone{}
	for _, p := range stored {
		t, err := spectrum.Decode(p.Data)
		if err != nil || p.Part != len(parts[p.Track]) {
			continue
		}
		parts[p.Track] = append(parts[p.Track], t)
	}
	n := &Night{SampleRate: r.SampleRate, Takes: spans}
	if !r.Float() {
		n.BitDepth = r.BitDepth
	}
	perPart := 60 * int64(r.SampleRate)
	for _, t := range tracks {
		if have := int64(len(parts[t.ID])); have > 0 && have >= (t.Frames+perPart-1)/perPart {
			n.Voices = append(n.Voices, Hear(t, parts[t.ID], spans))
		}
	}
	return n, ctx.Err()
}

// Hear computes a voice from a track's parts.
func Hear(t catalog.Track, parts []spectrum.Tone, spans []Span) Voice {
	v := Voice{Track: t, Parts: parts}
	cells := 0
	for i := range parts {
		cells += len(parts[i].Cells)
	}
	v.Cells, v.Levels = make([]spectrum.Cell, 0, cells), make([]float64, cells)
	for i := range parts {
		v.Cells = append(v.Cells, parts[i].Cells...)
	}
	for i := range v.Cells {
		v.Levels[i] = DB(total(&v.Cells[i].Bands))
	}
	v.quiet()
	v.songs(spans)
	return v
}

// quiet averages the quietest tenth of the minutes, but at least one.
func (v *Voice) quiet() {
	order := make([]int, len(v.Parts))
	for i := range order {
		order[i] = i
	}
	sum := func(i int) float64 { return total(&v.Parts[i].QuietBands) }
	slices.SortFunc(order, func(a, b int) int {
		switch d := sum(a) - sum(b); {
		case d < 0:
			return -1
		case d > 0:
			return 1
		}
		return a - b
	})
	v.Quiet = Silence
	for i := range v.QuietBands {
		v.QuietBands[i] = Silence
	}
	if len(order) == 0 {
		return
	}
	at := order[len(order)/10]
	v.Quiet = DB(sum(at))
	for i, e := range v.Parts[at].QuietBands {
		v.QuietBands[i] = DB(float64(e))
	}
}

func (v *Voice) songs(spans []Span) {
	var sums [spectrum.Bands]float64
	var levels []float64
	for _, c := range v.In(spans) {
		for i, e := range v.Cells[c].Bands {
			sums[i] += float64(e)
		}
		levels = append(levels, v.Levels[c])
	}
	all := 0.0
	for i, s := range sums {
		mean := s / float64(max(1, len(levels)))
		all += mean
		v.Bands[i] = DB(mean)
	}
	v.Song, v.High = DB(all), Silence
	if len(levels) > 0 {
		v.High = stats.Percentile(levels, 0.9)
	}
}

// In returns the cells that lie in some spans, or all cells if spans is empty.
func (v *Voice) In(spans []Span) []int {
	var cells []int
	for c := range v.Cells {
		if len(spans) == 0 {
			cells = append(cells, c)
			continue
		}
		middle := int64((float64(c) + 0.5) * CellSeconds * float64(v.Track.SampleRate))
		for _, s := range spans {
			if middle >= s.Start && middle < s.End {
				cells = append(cells, c)
				break
			}
		}
	}
	return cells
}

// SongLevels returns the mean level of each song in dB, over all its takes;
// songs that hold no cell are left out.
func (v *Voice) SongLevels(spans []Span) map[string]float64 {
	cell := CellSeconds * float64(v.Track.SampleRate)
	sums, counts := map[string]float64{}, map[string]int{}
	for _, s := range spans {
		first, end := int(math.Ceil(float64(s.Start)/cell-0.5)), int(math.Ceil(float64(s.End)/cell-0.5))
		for c := max(0, first); c < min(end, len(v.Cells)); c++ {
			sums[s.Song] += total(&v.Cells[c].Bands)
			counts[s.Song]++
		}
	}
	for song, k := range counts {
		sums[song] = DB(sums[song] / float64(k))
	}
	return sums
}

// Plays reports whether the track carries more than its quiet level in songs.
func (v *Voice) Plays() bool { return v.Song > v.Quiet+10 && v.Song > Silence+20 }

// Find returns the voice of a channel, nil if there is none.
func (n *Night) Find(key string) *Voice {
	for i := range n.Voices {
		if catalog.Key(n.Voices[i].Track.Channel) == key {
			return &n.Voices[i]
		}
	}
	return nil
}

func total(bands *[spectrum.Bands]float32) float64 {
	sum := 0.0
	for _, e := range bands {
		sum += float64(e)
	}
	return sum
}

// DB converts a mean square to dB, not below Silence.
func DB(energy float64) float64 {
	if !(energy > 0) {
		return Silence
	}
	return max(Silence, 10*stats.Log10(energy))
}
