package health

import (
	"slices"

	"nightreel/catalog"
	"nightreel/internal/meter"
	"nightreel/internal/stats"
)

const (
	// binBlocks is the grid on which silence is judged: half a second. The
	// level of a bin is that of its middle block, so that a pop of one block
	// does not count as life.
	binBlocks     = 5
	binsPerSecond = float64(meter.BlocksPerSecond) / binBlocks

	// silence, in dB, stands for digital silence where levels are added up: it
	// is below the noise of any 24-bit converter.
	silence = -150
)

// Track is one track's evidence: its envelope, reduced to what judgement needs.
type Track struct {
	catalog.Track
	measured bool
	rests    bool      // by its name it often has nothing to play
	levels   []float32 // dB, K-weighted and so without DC, a bin each
	low      float64   // dB, level that a tenth of the bins lies below
	middle   float64   // half of them
	high     float64   // nine tenths of them
	lifeless bool      // it holds nothing but its floor, steadily
	floor    float64   // dBFS, RMS of the quietest twentieth of the bins
	clips    runs
	flats    runs
	piles    []pile
	peaks    []float32     // a block each; only where there are flat tops or piles
	cracks   []meter.Event // of the wave itself, in order
	edges    []meter.Event // all cracks, in order: what neighbours may hear
	cracked  []int         // counts of the blocks that have cracks
	crowded  map[int]bool  // blocks with more cracks than are kept
	gaps     []gap
	texture  bool      // zeros belong to the sound: a digital source
	means    []float64 // DC, a stretch of dcStretch each
}

// runs are the findings of one kind: events, of which each minute keeps the
// longest, and complete counts.
type runs struct {
	events []meter.Event
	counts []blockCount
}

// blockCount is the number of samples in runs in one block.
type blockCount struct {
	block, samples int
	truePeak       float32
}

// gap is a run of zeros.
type gap struct {
	start, frames int64
	before, after bool // there is signal on that side
}

func unmeasured(t catalog.Track) Track { return Track{Track: t} }

// Reduce keeps what judgement needs of a whole track's envelope.
func Reduce(t catalog.Track, e meter.Envelope, opt Options) Track {
	r := Track{Track: t, measured: true}
	r.rests = mayRest(&r)
	var energies [binBlocks]float32
	for from := 0; from < len(e.Blocks); from += binBlocks {
		bin := e.Blocks[from:min(from+binBlocks, len(e.Blocks))]
		for i := range bin {
			energies[i] = bin[i].KMeanSquare
		}
		r.levels = append(r.levels, float32(max(silence, float64(meter.PowerDB(float64(stats.Nth(energies[:len(bin)], len(bin)/2)))))))
	}
	r.judgeLevels(e)
	for _, ev := range e.Events {
		switch {
		case ev.Kind == meter.ClipRun && ev.Frames >= int64(opt.MinClipRun):
			r.clips.events = append(r.clips.events, ev)
		case ev.Kind == meter.FlatTop:
			r.flats.events = append(r.flats.events, ev)
		}
	}
	for i, b := range e.Blocks {
		if b.Clipped > 0 {
			r.clips.counts = append(r.clips.counts, blockCount{i, int(b.Clipped), b.TruePeak})
		}
		if b.Flat > 0 {
			r.flats.counts = append(r.flats.counts, blockCount{i, int(b.Flat), b.TruePeak})
		}
	}
	r.piles = piles(e.Blocks)
	if len(r.flats.events) > 0 || len(r.piles) > 0 {
		r.peaks = make([]float32, len(e.Blocks))
		for i, b := range e.Blocks {
			r.peaks[i] = b.Peak
		}
	}
	r.means = means(e.Blocks)
	r.gaps, r.texture = gaps(e)
	r.cracks, r.edges, r.crowded = cracks(e), edges(e), crowded(e)
	for _, b := range e.Blocks {
		if b.Cracks > 0 {
			r.cracked = append(r.cracked, int(b.Cracks))
		}
	}
	return r
}

// judgeLevels finds what is asked of the levels again and again.
func (t *Track) judgeLevels(e meter.Envelope) {
	if len(t.levels) == 0 {
		return
	}
	levels := slices.Clone(t.levels)
	at := func(p float64) float64 { return stats.Pick(levels, p) }
	t.low, t.middle, t.high = at(0.1), at(0.5), at(0.9)
	above := 0
	for _, v := range levels {
		if v >= float32(t.middle+aboveDB) {
			above++
		}
	}
	blips := min(quietS*binsPerSecond, 0.1*float64(len(levels)))
	t.lifeless = float64(above) <= blips && t.middle < loudestFloorDB && t.middle-t.low <= underDB

	squares := levels[:0]
	for i := 0; i < len(e.Blocks); i += binBlocks {
		b := e.Blocks[i]
		squares = append(squares, max(0, b.MeanSquare-float32(b.Mean*b.Mean)))
	}
	t.floor = float64(meter.PowerDB(float64(stats.Nth(squares, len(squares)/20))))
}

// bin returns the bin of a frame.
func (t *Track) bin(frame int64) int {
	return int(frame / (binBlocks * int64(meter.BlockFrames(t.SampleRate))))
}

// frame returns the first frame of a bin, at most the track's end.
func (t *Track) frame(bin int) int64 {
	return min(int64(bin)*binBlocks*int64(meter.BlockFrames(t.SampleRate)), t.Frames)
}

// lufs returns the loudness of a level of K-weighted energy in dB (BS.1770-5
// Annex 1 equation 2, one channel of weight 1).
func lufs(level float64) float64 { return level - 0.691 }
