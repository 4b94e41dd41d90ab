package spectrum

import (
	"encoding/binary"
	"math"

	"nightreel/internal/meter"
)

// decode turns n samples of a file, stride bytes apart, into integers of 32 bits
// and writes one to every Lanes-th word of dst. Floats beyond full scale become
// full scale, NaN becomes 0.
func decode(t meter.SampleType, dst []uint32, src []byte, n, stride int) {
	// A loop for each type: a switch for each sample takes five times as long.
	switch t {
	case meter.Uint8:
		for i := range n {
			dst[i*Lanes] = uint32(src[i*stride]^0x80) << 24
		}
	case meter.Int16:
		for i := range n {
			dst[i*Lanes] = uint32(binary.LittleEndian.Uint16(src[i*stride:])) << 16
		}
	case meter.Int24:
		for i := range n {
			p := src[i*stride:][:3]
			dst[i*Lanes] = uint32(p[0])<<8 | uint32(p[1])<<16 | uint32(p[2])<<24
		}
	case meter.Int32:
		for i := range n {
			dst[i*Lanes] = binary.LittleEndian.Uint32(src[i*stride:])
		}
	case meter.Float32:
		for i := range n {
			dst[i*Lanes] = uint32(whole(float64(math.Float32frombits(binary.LittleEndian.Uint32(src[i*stride:])))))
		}
	case meter.Float64:
		for i := range n {
			dst[i*Lanes] = uint32(whole(math.Float64frombits(binary.LittleEndian.Uint64(src[i*stride:]))))
		}
	}
}

// whole returns a fraction of full scale as an integer of 32 bits, truncated
// towards 0.
func whole(x float64) int32 {
	switch {
	case x <= -1:
		return math.MinInt32
	case x >= 1:
		return math.MaxInt32
	case x != x:
		return 0
	}
	return int32(x * (1 << 31))
}
