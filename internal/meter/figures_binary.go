package meter

import (
	"encoding/binary"
	"math"
)

// FiguresBytes is the length of figures in binary form.
const FiguresBytes = 10 * 8

// AppendBinary appends the figures in binary form, little-endian, FiguresBytes
// long: eight levels and the offset as float64 in the order of the fields, then
// the clipped samples. Decoding gives the same bits.
func (f Figures) AppendBinary(b []byte) ([]byte, error) {
	for _, l := range [...]Level{f.SamplePeak, f.TruePeak, f.RMS, f.Loudness, f.MaxMomentary, f.MaxShortTerm, f.LoudnessRange, f.CrestFactor} {
		b = binary.LittleEndian.AppendUint64(b, math.Float64bits(float64(l)))
	}
	b = binary.LittleEndian.AppendUint64(b, math.Float64bits(f.DCOffset))
	return binary.LittleEndian.AppendUint64(b, uint64(f.ClippedSamples)), nil
}

// UnmarshalBinary decodes the form of AppendBinary; data of another length is
// ErrRecord.
func (f *Figures) UnmarshalBinary(b []byte) error {
	if len(b) != FiguresBytes {
		return ErrRecord
	}
	for i, l := range [...]*Level{&f.SamplePeak, &f.TruePeak, &f.RMS, &f.Loudness, &f.MaxMomentary, &f.MaxShortTerm, &f.LoudnessRange, &f.CrestFactor} {
		*l = Level(math.Float64frombits(binary.LittleEndian.Uint64(b[8*i:])))
	}
	f.DCOffset = math.Float64frombits(binary.LittleEndian.Uint64(b[64:]))
	f.ClippedSamples = int64(binary.LittleEndian.Uint64(b[72:]))
	return nil
}
