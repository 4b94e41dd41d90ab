package compare

import (
	"slices"

	"nightreel/internal/meter"
	"nightreel/internal/stats"
)

// medianFigures returns the median of each figure on its own, over the values
// that are not digitally silent. It is silence if all are silent, and "not
// measured" if there are no values.
func medianFigures(values []Value) meter.Figures {
	playing := slices.DeleteFunc(slices.Clone(values), func(v Value) bool { return v.RMS.IsSilence() })
	if len(playing) == 0 {
		playing = values
	}
	level := func(of func(f meter.Figures) meter.Level) meter.Level {
		all := make([]float64, len(playing))
		for i, v := range playing {
			all[i] = float64(of(v.Figures))
		}
		return meter.Level(stats.Median(all))
	}
	offsets, clipped := make([]float64, len(playing)), make([]float64, len(playing))
	for i, v := range playing {
		offsets[i], clipped[i] = v.DCOffset, float64(v.ClippedSamples)
	}
	f := meter.Figures{
		SamplePeak:    level(func(f meter.Figures) meter.Level { return f.SamplePeak }),
		TruePeak:      level(func(f meter.Figures) meter.Level { return f.TruePeak }),
		RMS:           level(func(f meter.Figures) meter.Level { return f.RMS }),
		Loudness:      level(func(f meter.Figures) meter.Level { return f.Loudness }),
		MaxMomentary:  level(func(f meter.Figures) meter.Level { return f.MaxMomentary }),
		MaxShortTerm:  level(func(f meter.Figures) meter.Level { return f.MaxShortTerm }),
		LoudnessRange: level(func(f meter.Figures) meter.Level { return f.LoudnessRange }),
		CrestFactor:   level(func(f meter.Figures) meter.Level { return f.CrestFactor }),
	}
	if len(playing) > 0 {
		f.DCOffset, f.ClippedSamples = stats.Median(offsets), int64(stats.Median(clipped))
	}
	return f
}
