package evidence

import (
	"slices"

	"nightreel/catalog"
	"nightreel/internal/meter"
	"nightreel/internal/stats"
)

const (
	// BinBlocks is the grid on which silence is judged: half a second. The
	// level of a bin is that of its middle block, so that a pop of one block
	// does not count as life. Chosen.
	BinBlocks     = 5
	BinsPerSecond = float64(meter.BlocksPerSecond) / BinBlocks

	// Silence, in dB, stands for digital silence where levels are added up: it
	// is below the noise of any 24-bit converter. Chosen.
	Silence = -150
)

// Track is one track's evidence: its envelope, reduced to what judgement needs.
type Track struct {
	catalog.Track
	Measured bool
	Rests    bool      // by its name it often has nothing to play
	Levels   []float32 // dB, K-weighted and so without DC, a bin each
	Low      float64   // dB, level that a tenth of the bins lies below
	Middle   float64   // half of them
	High     float64   // nine tenths of them
	Lifeless bool      // it holds nothing but its floor, steadily
	Floor    float64   // dBFS, RMS of the quietest twentieth of the bins
	Clips    Runs
	Flats    Runs
	Piles    []Pile
	Peaks    []float32     // a block each; only where there are flat tops or piles
	Cracks   []meter.Event // of the wave itself, in order
	Edges    []meter.Event // all cracks, in order: what neighbours may hear
	Cracked  []int         // counts of the blocks that have cracks
	Crowded  map[int]bool  // blocks with more cracks than are kept
	Gaps     []Gap
	Texture  bool      // zeros belong to the sound: a digital source
	Means    []float64 // DC, a stretch of dcStretch each
}

// Runs are what the meter found of one kind: events, of which each minute keeps the
// longest, and complete counts.
type Runs struct {
	Events []meter.Event
	Counts []BlockCount
}

// BlockCount is the number of samples in runs in one block.
type BlockCount struct {
	Block, Samples int
	TruePeak       float32
}

// Gap is a run of zeros.
type Gap struct {
	Start, Frames int64
	Before, After bool // there is signal on that side
}

// Unmeasured returns the evidence of a track of which only the files are known.
func Unmeasured(t catalog.Track) Track { return Track{Track: t} }

// Reduce keeps what judgement needs of a whole track's envelope.
func Reduce(t catalog.Track, e meter.Envelope, opt Options) Track {
	r := Track{Track: t, Measured: true}
	r.Rests = MayRest(&r)
	var energies [BinBlocks]float32
	for from := 0; from < len(e.Blocks); from += BinBlocks {
		bin := e.Blocks[from:min(from+BinBlocks, len(e.Blocks))]
		for i := range bin {
			energies[i] = bin[i].KMeanSquare
		}
		r.Levels = append(r.Levels, float32(max(Silence, float64(meter.PowerDB(float64(stats.Nth(energies[:len(bin)], len(bin)/2)))))))
	}
	r.judgeLevels(e)
	for _, ev := range e.Events {
		switch {
		case ev.Kind == meter.ClipRun && ev.Frames >= int64(opt.MinClipRun):
			r.Clips.Events = append(r.Clips.Events, ev)
		case ev.Kind == meter.FlatTop:
			r.Flats.Events = append(r.Flats.Events, ev)
		}
	}
	for i, b := range e.Blocks {
		if b.Clipped > 0 {
			r.Clips.Counts = append(r.Clips.Counts, BlockCount{i, int(b.Clipped), b.TruePeak})
		}
		if b.Flat > 0 {
			r.Flats.Counts = append(r.Flats.Counts, BlockCount{i, int(b.Flat), b.TruePeak})
		}
	}
	r.Piles = piles(e.Blocks)
	if len(r.Flats.Events) > 0 || len(r.Piles) > 0 {
		r.Peaks = make([]float32, len(e.Blocks))
		for i, b := range e.Blocks {
			r.Peaks[i] = b.Peak
		}
	}
	r.Means = Means(e.Blocks)
	r.Gaps, r.Texture = gaps(e)
	r.Cracks, r.Edges, r.Crowded = cracks(e), edges(e), crowded(e)
	for _, b := range e.Blocks {
		if b.Cracks > 0 {
			r.Cracked = append(r.Cracked, int(b.Cracks))
		}
	}
	return r
}

// judgeLevels works out the quantiles of the levels, and whether the track is alive.
func (t *Track) judgeLevels(e meter.Envelope) {
	if len(t.Levels) == 0 {
		return
	}
	levels := slices.Clone(t.Levels)
	at := func(p float64) float64 { return stats.Pick(levels, p) }
	t.Low, t.Middle, t.High = at(FloorLimits.LowShare), at(0.5), at(1-FloorLimits.LowShare)
	above := 0
	for _, v := range levels {
		if v >= float32(t.Middle+FloorLimits.AboveDB) {
			above++
		}
	}
	blips := min(FloorLimits.QuietS*BinsPerSecond, FloorLimits.BlipShare*float64(len(levels)))
	t.Lifeless = float64(above) <= blips && t.Middle < FloorLimits.LoudestDBFS && t.Middle-t.Low <= FloorLimits.UnderDB

	squares := levels[:0]
	for i := 0; i < len(e.Blocks); i += BinBlocks {
		b := e.Blocks[i]
		squares = append(squares, max(0, b.MeanSquare-float32(b.Mean*b.Mean)))
	}
	t.Floor = float64(meter.PowerDB(float64(stats.Nth(squares, len(squares)/FloorLimits.FloorPart))))
}

// Bin returns the bin of a frame.
func (t *Track) Bin(frame int64) int {
	return int(frame / (BinBlocks * int64(meter.BlockFrames(t.SampleRate))))
}

// Frame returns the first frame of a bin, at most the track's end.
func (t *Track) Frame(bin int) int64 {
	return min(int64(bin)*BinBlocks*int64(meter.BlockFrames(t.SampleRate)), t.Frames)
}
