package compare

import "nightreel/internal/meter"

// Measure is the figure by which takes are compared.
type Measure string

// The measures. The zero value is RMS.
const (
	RMS      Measure = "rms"
	Loudness Measure = "loudness"
	TruePeak Measure = "true_peak"
	Crest    Measure = "crest_factor"
)

// Measures returns all measures.
func Measures() []Measure { return []Measure{RMS, Loudness, TruePeak, Crest} }

// Of returns the figure of the measure.
func (m Measure) Of(f meter.Figures) meter.Level {
	switch m {
	case Loudness:
		return f.Loudness
	case TruePeak:
		return f.TruePeak
	case Crest:
		return f.CrestFactor
	}
	return f.RMS
}

// Unit returns the unit of the measure.
func (m Measure) Unit() string {
	switch m {
	case Loudness:
		return "LUFS"
	case TruePeak:
		return "dBTP"
	case Crest:
		return "dB"
	}
	return "dBFS"
}
