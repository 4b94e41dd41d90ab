package meter

import (
	"math"
	"slices"

	"nightreel/internal/stats"
)

// Figures are the level figures of a span of one track. A figure that needs a
// longer span is NaN and is left out of JSON; silence is negative infinity, and
// null in JSON.
type Figures struct {
	SamplePeak   Level `json:"sample_peak_dbfs,omitzero"`
	TruePeak     Level `json:"true_peak_dbtp,omitzero"` // never below SamplePeak
	RMS          Level `json:"rms_dbfs,omitzero"`       // mathematical: a full-scale sine reads -3.01
	Loudness     Level `json:"loudness_lufs,omitzero"`  // integrated, gated; silence if nothing passes the gates; from 400 ms
	MaxMomentary Level `json:"max_momentary_lufs,omitzero"`
	MaxShortTerm Level `json:"max_short_term_lufs,omitzero"` // from 3 s
	// LoudnessRange is in LU; 0 if nothing passes the gates; from 3 s.
	LoudnessRange  Level   `json:"loudness_range_lu,omitzero"`
	CrestFactor    Level   `json:"crest_factor_db,omitzero"` // sample peak above RMS; not measured in silence
	DCOffset       float64 `json:"dc_offset"`                // mean sample, a fraction of full scale
	ClippedSamples int64   `json:"clipped_samples"`          // in runs at full scale
}

const (
	momentaryBlocks = 4  // 400 ms, EBU Tech 3341 clause 2.2; also BS.1770's gating block
	shortTermBlocks = 30 // 3 s, EBU Tech 3341 clause 2.2

	absoluteGate      = -70.0 // LUFS, BS.1770-5 equation 6 and EBU Tech 3342
	relativeGate      = -10.0 // LU, BS.1770-5 equation 6
	rangeRelativeGate = -20.0 // LU, EBU Tech 3342
	rangeLow          = 10    // percentiles, EBU Tech 3342
	rangeHigh         = 95
)

func notMeasured() Figures {
	n := NotMeasured()
	return Figures{SamplePeak: n, TruePeak: n, RMS: n, Loudness: n, MaxMomentary: n,
		MaxShortTerm: n, LoudnessRange: n, CrestFactor: n}
}

// Figures returns the figures of the span from start to end, in frames of the
// recording. Both ends move to the nearest block start; an end at the
// recording's end includes its short last block. The figures equal those of a
// fresh measurement of the span with a run-up before it. Loudness uses whole
// blocks only. If the span has no block, all figures are NaN.
func (e Envelope) Figures(start, end int64) Figures {
	from, to := e.snap(start, end)
	f := notMeasured()
	if from == to {
		return f
	}
	blocks := e.Blocks[from:to]
	var peak, truePeak float32
	var squares, sum, frames float64
	for i := range blocks {
		b := &blocks[i]
		n := float64(e.length(from + i))
		peak = max(peak, b.Peak)
		truePeak = max(truePeak, b.TruePeak)
		squares += float64(float64(b.MeanSquare) * n)
		sum += float64(float64(b.Mean) * n)
		frames += n
		f.ClippedSamples += int64(b.Clipped)
	}
	if frames > 0 {
		squares /= frames
		// A hundredth of the last bit of 24 is enough; + 0 avoids negative 0.
		f.DCOffset = math.Round(sum/frames*1e9)/1e9 + 0
	}
	f.SamplePeak = DB(float64(peak))
	f.TruePeak = DB(float64(truePeak))
	f.RMS = PowerDB(squares)
	f.CrestFactor = f.SamplePeak - f.RMS

	whole := blocks
	if e.length(to-1) < e.BlockFrames() {
		whole = blocks[:len(blocks)-1]
	}
	gating := windows(whole, momentaryBlocks)
	if len(gating) > 0 {
		f.Loudness = loudness(gated(gating))
		// The windows that end in the span's fourth block start before it,
		// except the last.
		m := gating[0]
		for i := momentaryBlocks; i < len(blocks); i++ {
			m = max(m, float64(blocks[i].MaxMomentary))
		}
		f.MaxMomentary = loudness(m)
	}
	if short := windows(whole, shortTermBlocks); len(short) > 0 {
		f.MaxShortTerm = loudness(slices.Max(short))
		f.LoudnessRange = loudnessRange(short)
	}
	return f
}

// windows returns the K-weighted mean squares of all runs of n blocks, by their
// last block; none if there are fewer blocks.
func windows(blocks []Block, n int) []float64 {
	if len(blocks) < n {
		return nil
	}
	out := make([]float64, len(blocks)-n+1)
	for i := range out {
		// Each window is summed on its own: subtracting blocks that leave it
		// would leave rounding noise of loud blocks in silence.
		var sum float64
		for j := i; j < i+n; j++ {
			sum += float64(blocks[j].KMeanSquare)
		}
		out[i] = sum / float64(n)
	}
	return out
}

// gated returns the mean energy of the gating blocks that pass both gates of
// BS.1770-5 equations 6 and 7; 0 if none does.
func gated(energies []float64) float64 {
	absolute := loudnessEnergy(absoluteGate)
	mean := meanAbove(energies, absolute)
	return meanAbove(energies, max(absolute, mean*stats.Pow(10, relativeGate/10)))
}

// meanAbove returns the mean of the values above a threshold, 0 if there are
// none.
func meanAbove(values []float64, threshold float64) float64 {
	var sum float64
	n := 0
	for _, v := range values {
		if v > threshold {
			sum += v
			n++
		}
	}
	if n == 0 {
		return 0
	}
	return sum / float64(n)
}

// loudnessRange returns the range in LU of short-term energies in steps of
// 100 ms (EBU Tech 3342). It reorders them.
func loudnessRange(energies []float64) Level {
	absolute := loudnessEnergy(absoluteGate)
	below := func(threshold float64) func(float64) bool {
		return func(v float64) bool { return v < threshold }
	}
	kept := slices.DeleteFunc(energies, below(absolute))
	if len(kept) == 0 {
		return 0
	}
	var sum float64
	for _, v := range kept {
		sum += v
	}
	kept = slices.DeleteFunc(kept, below(sum/float64(len(kept))*stats.Pow(10, rangeRelativeGate/10)))
	slices.Sort(kept)
	percentile := func(p int) float64 {
		return kept[int(math.Round(float64(len(kept)-1)*float64(p)/100))]
	}
	return PowerDB(percentile(rangeHigh)) - PowerDB(percentile(rangeLow))
}
