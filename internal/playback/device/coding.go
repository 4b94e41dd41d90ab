package device

import (
	"encoding/binary"
	"fmt"
	"math"

	"github.com/gen2brain/malgo"
)

// writer returns a function that converts samples to a device's coding, nil for
// float32, which needs none. The library's own conversion to integers has a
// scale of 2^31 − 1, so its 24-bit values are not the recording's.
func writer(format malgo.FormatType) (func(dst []byte, src []float32), error) {
	switch format {
	case malgo.FormatF32:
		return nil, nil
	case malgo.FormatS32:
		return write32, nil
	case malgo.FormatS24:
		return write24, nil
	case malgo.FormatS16:
		return write16, nil
	}
	return nil, fmt.Errorf("it takes neither float nor 16, 24 or 32 bit samples")
}

// integer rounds to a number of bits, and clips.
func integer(x float32, scale float64) int32 {
	v := math.RoundToEven(float64(x) * scale)
	if v > scale-1 {
		return int32(scale - 1)
	}
	if v < -scale {
		return int32(-scale)
	}
	if v != v {
		return 0
	}
	return int32(v)
}

func write32(dst []byte, src []float32) {
	for i, x := range src {
		binary.LittleEndian.PutUint32(dst[4*i:], uint32(integer(x, 1<<31)))
	}
}

func write24(dst []byte, src []float32) {
	for i, x := range src {
		v := integer(x, 1<<23)
		dst[3*i], dst[3*i+1], dst[3*i+2] = byte(v), byte(v>>8), byte(v>>16)
	}
}

func write16(dst []byte, src []float32) {
	for i, x := range src {
		binary.LittleEndian.PutUint16(dst[2*i:], uint16(integer(x, 1<<15)))
	}
}
