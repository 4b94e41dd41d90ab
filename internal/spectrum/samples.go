package spectrum

import (
	"encoding/binary"
	"math"

	"nightreel/internal/meter"
)

// sample reads one sample as an integer of 32 bit. Floats beyond full scale
// are read as full scale, and those that are no number as 0.
func sample(t meter.SampleType, p []byte) int32 {
	switch t {
	case meter.Uint8:
		return int32(uint32(p[0]^0x80) << 24)
	case meter.Int16:
		return int32(uint32(binary.LittleEndian.Uint16(p)) << 16)
	case meter.Int24:
		return int32(uint32(p[0])<<8 | uint32(p[1])<<16 | uint32(p[2])<<24)
	case meter.Int32:
		return int32(binary.LittleEndian.Uint32(p))
	case meter.Float32:
		return whole(float64(math.Float32frombits(binary.LittleEndian.Uint32(p))))
	}
	return whole(math.Float64frombits(binary.LittleEndian.Uint64(p)))
}

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
