package meter

import (
	"encoding/binary"
	"math"
)

// maxAmplitude is the largest magnitude of a float sample that is measured
// unchanged, +180 dBFS. It keeps squares within a float32.
const maxAmplitude = 1e9

// decode converts samples to fractions of full scale: one for each element of
// dst, which must have at least one, stride bytes apart in src.
func decode(t SampleType, dst []float64, src []byte, stride int) {
	switch t {
	case Uint8:
		for i := range dst {
			dst[i] = float64(int(src[i*stride])-128) / (1 << 7)
		}
	case Int16:
		for i := range dst {
			dst[i] = float64(int16(binary.LittleEndian.Uint16(src[i*stride:]))) / (1 << 15)
		}
	case Int24:
		// All samples except the last have a byte after them, so one load of
		// four bytes is safe.
		n := len(dst) - 1
		for i := range n {
			dst[i] = float64(int32(binary.LittleEndian.Uint32(src[i*stride:])<<8)) / (1 << 31)
		}
		s := src[n*stride:]
		dst[n] = float64(int32(uint32(s[0])<<8|uint32(s[1])<<16|uint32(s[2])<<24)) / (1 << 31)
	case Int32:
		for i := range dst {
			dst[i] = float64(int32(binary.LittleEndian.Uint32(src[i*stride:]))) / (1 << 31)
		}
	case Float32:
		for i := range dst {
			dst[i] = finite(float64(math.Float32frombits(binary.LittleEndian.Uint32(src[i*stride:]))))
		}
	case Float64:
		for i := range dst {
			dst[i] = finite(math.Float64frombits(binary.LittleEndian.Uint64(src[i*stride:])))
		}
	}
}

// finite replaces damaged float samples, which would spoil all later results.
func finite(x float64) float64 {
	switch {
	case x >= -maxAmplitude && x <= maxAmplitude:
		return x
	case x > 0:
		return maxAmplitude
	case x < 0:
		return -maxAmplitude
	}
	return 0
}
