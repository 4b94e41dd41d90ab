package linecheck

import (
	"cmp"
	"context"
	"maps"
	"slices"

	"nightreel/catalog"
	"nightreel/internal/channelsound"
	"nightreel/internal/envelope"
	"nightreel/internal/meter"
	"nightreel/internal/scan"
	"nightreel/internal/spectrum"
	"nightreel/internal/tracks"
)

// closerLimits are the thresholds of what is read again. A scan keeps spectra of half of
// the time, and every six seconds a print of the wave, from which the polarity of two
// pickups of one source follows. If inputs are played in turn, that is a stroke or two
// of each, and no print. Therefore the line check reads such inputs again from their
// files while they are played.
var closerLimits = struct {
	// BothS is the longest time that two inputs are played together if inputs are played in
	// turn. If they overlap longer, the band plays, and what the scan kept suffices.
	BothS int `unit:"s" source:"chosen"`

	// Moments is the largest number of prints of a pair of inputs, and Looks the largest
	// number of tenths of a second of one input.
	Moments int `unit:"moments" source:"chosen"`
	Looks   int `unit:"looks" source:"chosen"`

	// SoundingDB is how far below its loudest block an input still sounds.
	SoundingDB float64 `unit:"dB" source:"chosen"`
}{
	BothS:      20,
	Moments:    8,
	Looks:      24,
	SoundingDB: 30,
}

// moments holds looks at the recording, by their blocks of a tenth of a second.
type moments map[int]spectrum.Cell

// closer reads the inputs that are played for a short while again, and returns
// their spectra, by track. Inputs that are played together are read at the same
// moments, for their polarity.
func closer(ctx context.Context, store *catalog.Store, r catalog.Recording, night *channelsound.Night, peaks seconds) (map[catalog.TrackID]timbre, error) {
	blocks := make([][]float64, len(night.Voices))
	wanted := make([]moments, len(night.Voices))
	looks := make([][]int, len(night.Voices))
	for i := range night.Voices {
		p := peaks[night.Voices[i].Track.ID]
		if !alive(p) || played(p).seconds > closerLimits.BothS {
			continue
		}
		e, err := envelope.Load(ctx, store, night.Voices[i].Track, 0, r.Frames)
		if err != nil {
			return nil, err
		}
		for _, k := range e.Blocks {
			blocks[i] = append(blocks[i], channelsound.DB(float64(k.Peak)*float64(k.Peak)))
		}
		wanted[i], looks[i] = moments{}, playedBlocks(p, blocks[i])
		for _, k := range looks[i] {
			wanted[i][k] = spectrum.Cell{}
		}
	}
	pairs := map[[2]int][]int{}
	for a := range night.Voices {
		for b := a + 1; b < len(night.Voices); b++ {
			if blocks[a] == nil || blocks[b] == nil || !together(peaks[night.Voices[a].Track.ID], peaks[night.Voices[b].Track.ID]) {
				continue
			}
			at := loudestOf(blocks[a], blocks[b])
			pairs[[2]int{a, b}] = at
			for _, k := range at {
				wanted[a][k], wanted[b][k] = spectrum.Cell{}, spectrum.Cell{}
			}
		}
	}
	sounds := map[catalog.TrackID]timbre{}
	for i, w := range wanted {
		id := night.Voices[i].Track.ID
		if err := w.hear(ctx, store, r, id); err != nil {
			return nil, err
		}
		var cells []spectrum.Cell
		for _, k := range looks[i] {
			if c, had := w[k]; had {
				cells = append(cells, c)
			}
		}
		if len(cells) > 0 {
			sounds[id] = timbreOf(cells)
		}
	}
	for p, at := range pairs {
		var prints [][2]spectrum.Print
		for _, k := range at {
			x, had := wanted[p[0]][k]
			y, too := wanted[p[1]][k]
			if had && too {
				prints = append(prints, [2]spectrum.Print{x.Print, y.Print})
			}
		}
		night.SetCurve(p[0], p[1], prints)
	}
	return sounds, nil
}

// playedBlocks returns evenly spaced blocks in which an input sounds while it is
// played.
func playedBlocks(peaks, blocks []float64) []int {
	top := slices.Max(peaks)
	var at []int
	for i, v := range blocks {
		if s := i / meter.BlocksPerSecond; s < len(peaks) && peaks[s] > top-levelLimits.ActiveDB && v > top-closerLimits.SoundingDB {
			at = append(at, i)
		}
	}
	var some []int
	for i := range min(len(at), closerLimits.Looks) {
		some = append(some, at[i*len(at)/min(len(at), closerLimits.Looks)])
	}
	return some
}

// together reports whether two inputs are played at the same time, but not
// throughout.
func together(a, b []float64) bool {
	x, y := slices.Max(a)-levelLimits.ActiveDB, slices.Max(b)-levelLimits.ActiveDB
	both := 0
	for i := range min(len(a), len(b)) {
		if a[i] > x && b[i] > y {
			both++
		}
	}
	return both > 0 && both <= closerLimits.BothS
}

// loudestOf returns the blocks in which two inputs are loudest, each relative to
// its own maximum.
func loudestOf(a, b []float64) []int {
	x, y := slices.Max(a), slices.Max(b)
	var at []int
	level := func(i int) float64 { return min(a[i]-x, b[i]-y) }
	for i := range min(len(a), len(b)) {
		if level(i) > -levelLimits.ActiveDB {
			at = append(at, i)
		}
	}
	slices.SortStableFunc(at, func(i, j int) int { return cmp.Compare(level(j), level(i)) })
	return at[:min(len(at), closerLimits.Moments)]
}

// hear fills in the looks at one track, from its files.
func (m moments) hear(ctx context.Context, store *catalog.Store, r catalog.Recording, track catalog.TrackID) error {
	if len(m) == 0 {
		return nil
	}
	t, err := tracks.Open(ctx, store, track)
	if err != nil {
		return err
	}
	defer t.Close()
	kind := scan.SampleType(r)
	frames := spectrum.LookFrames(r.SampleRate)
	var at []int
	var looks [][]byte
	for _, k := range slices.Sorted(maps.Keys(m)) {
		start := max(0, int64(k*meter.BlockFrames(r.SampleRate))-spectrum.PrintAt(r.SampleRate))
		if start+int64(frames) > r.Frames {
			delete(m, k) // the recording ends before it
			continue
		}
		look := make([]byte, frames*kind.Bytes())
		if _, err := t.Read(ctx, look, start); err != nil {
			return err
		}
		at, looks = append(at, k), append(looks, look)
	}
	const most = 256 // most channels of one listener
	for from := 0; from < len(looks); from += most {
		some := looks[from:min(from+most, len(looks))]
		l, err := spectrum.New(spectrum.Config{SampleRate: r.SampleRate, Channels: len(some), Type: kind, Frames: int64(frames)})
		if err != nil {
			return err
		}
		if err := l.Write(frames, some...); err != nil {
			return err
		}
		for i, t := range l.Finish() {
			m[at[from+i]] = t.Cells[0]
		}
	}
	return nil
}
