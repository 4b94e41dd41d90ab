package spectrum

import (
	"encoding/binary"
	"math"
)

// SampleType tells how a sample lies in memory, little-endian; the values are
// those of package meter.
type SampleType uint8

// The sample types.
const (
	Uint8 SampleType = iota + 1
	Int16
	Int24
	Int32
	Float32
	Float64
)

// Bytes returns the bytes of one sample, 0 for a type that is none.
func (t SampleType) Bytes() int {
	switch t {
	case Uint8:
		return 1
	case Int16:
		return 2
	case Int24:
		return 3
	case Int32, Float32:
		return 4
	case Float64:
		return 8
	}
	return 0
}

// sample reads one sample as an integer of 32 bit. Floats beyond full scale
// are read as full scale, and those that are no number as 0.
func sample(t SampleType, p []byte) int32 {
	switch t {
	case Uint8:
		return int32(uint32(p[0]^0x80) << 24)
	case Int16:
		return int32(uint32(binary.LittleEndian.Uint16(p)) << 16)
	case Int24:
		return int32(uint32(p[0])<<8 | uint32(p[1])<<16 | uint32(p[2])<<24)
	case Int32:
		return int32(binary.LittleEndian.Uint32(p))
	case Float32:
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
