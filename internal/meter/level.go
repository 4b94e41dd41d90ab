package meter

import (
	"encoding/json"
	"fmt"
	"math"
	"strconv"

	"nightreel/internal/stats"
)

// Level is a level or a difference of levels in dB; the reference (dBFS, dBTP,
// LUFS, LU) is given with each use. Silence is negative infinity, and null in
// JSON. NaN means "not measured": such a field is left out of JSON if its tag
// has omitzero, and reading JSON leaves the field unchanged.
type Level float64

// Silence returns the level of digital silence.
func Silence() Level { return Level(math.Inf(-1)) }

// NotMeasured returns the level of a span that is too short for the figure.
func NotMeasured() Level { return Level(math.NaN()) }

// IsZero reports whether the level was not measured; encoding/json calls it for
// fields with omitzero. A level of 0 dB is not zero in this sense.
func (l Level) IsZero() bool { return math.IsNaN(float64(l)) }

// IsSilence reports whether the level is that of digital silence.
func (l Level) IsSilence() bool { return math.IsInf(float64(l), -1) }

// MarshalJSON writes the level with at most four decimals, silence as null. It
// fails for a level that was not measured and for positive infinity.
func (l Level) MarshalJSON() ([]byte, error) {
	v := float64(l)
	switch {
	case math.IsInf(v, -1):
		return []byte("null"), nil
	case math.IsNaN(v) || math.IsInf(v, 1):
		return nil, fmt.Errorf("write level: %v has no place in JSON", v)
	}
	v = math.Round(v*1e4) / 1e4
	if v == 0 {
		v = 0 // not -0
	}
	return strconv.AppendFloat(nil, v, 'f', -1, 64), nil
}

// UnmarshalJSON reads a number, and null as silence.
func (l *Level) UnmarshalJSON(data []byte) error {
	if string(data) == "null" {
		*l = Silence()
		return nil
	}
	return json.Unmarshal(data, (*float64)(l))
}

// DB returns 20·log10 of an amplitude as a fraction of full scale; silence for
// 0.
func DB(amplitude float64) Level { return Level(20 * stats.Log10(amplitude)) }

// PowerDB returns 10·log10 of a mean square; silence for 0.
func PowerDB(meanSquare float64) Level { return Level(10 * stats.Log10(meanSquare)) }

// loudnessOffset is the constant of BS.1770-5 Annex 1 equation 2: it cancels
// the K filter's gain at 997 Hz.
const loudnessOffset = -0.691

// loudness returns the LUFS of a K-weighted mean square of one channel of
// weight 1.0 (BS.1770-5 Annex 1 equation 2).
func loudness(kMeanSquare float64) Level { return PowerDB(kMeanSquare) + loudnessOffset }

// loudnessEnergy is the inverse of loudness.
func loudnessEnergy(lufs float64) float64 { return stats.Pow(10, (lufs-loudnessOffset)/10) }
