package spectrum

import (
	"encoding/binary"
	"errors"
	"math"

	"nightreel/internal/stats"
)

// Version is the version of the binary form that [Encode] writes, and the first
// byte of it.
const Version = 1

// ErrRecord is the error that [Decode] returns.
var ErrRecord = errors.New("not a record of a track's tone")

// A level takes one byte: 0 for silence, else leastDB dB and up in steps of
// stepDB. A step is a quarter of the least difference that we report.
const (
	leastDB = -150
	stepDB  = 0.625
)

// Encode returns a part in binary: one byte for the version and one for the
// number of cells; for each cell one byte a band and 32 little-endian bytes of
// print; then one byte for each quiet bin and quiet band. That is 759 bytes a
// minute.
func Encode(t Tone) []byte {
	out := make([]byte, 0, 2+len(t.Cells)*(Bands+PrintBits/8)+QuietBins+Bands)
	out = append(out, Version, byte(len(t.Cells)))
	for i := range t.Cells {
		c := &t.Cells[i]
		for _, v := range c.Bands {
			out = append(out, level(v))
		}
		for _, w := range c.Print {
			out = binary.LittleEndian.AppendUint64(out, w)
		}
	}
	for _, v := range t.Quiet {
		out = append(out, level(v))
	}
	for _, v := range t.QuietBands {
		out = append(out, level(v))
	}
	return out
}

// Decode returns the part that Encode wrote. It fails with [ErrRecord] if the
// version or the length is wrong.
func Decode(data []byte) (Tone, error) {
	var t Tone
	if len(data) < 2 || data[0] != Version || len(data) != 2+int(data[1])*(Bands+PrintBits/8)+QuietBins+Bands {
		return t, ErrRecord
	}
	t.Cells = make([]Cell, data[1])
	data = data[2:]
	take := func(to []float32) {
		for i := range to {
			to[i] = energy(data[i])
		}
		data = data[len(to):]
	}
	for i := range t.Cells {
		c := &t.Cells[i]
		take(c.Bands[:])
		for w := range c.Print {
			c.Print[w] = binary.LittleEndian.Uint64(data)
			data = data[8:]
		}
	}
	take(t.Quiet[:])
	take(t.QuietBands[:])
	return t, nil
}

// level returns the byte for a mean square.
func level(energy float32) byte {
	if !(energy > 0) {
		return 0
	}
	steps := math.Round((float64(10*stats.Log10(float64(energy))) - leastDB) / stepDB)
	return byte(min(max(steps, 1), 255))
}

var energies = func() (all [256]float32) {
	for i := 1; i < len(all); i++ {
		all[i] = float32(stats.Pow(10, (leastDB+float64(stepDB*float64(i)))/10))
	}
	return all
}()

// energy is the inverse of level.
func energy(level byte) float32 { return energies[level] }
