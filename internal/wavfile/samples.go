package wavfile

import (
	"encoding/binary"
	"math"

	"github.com/go-audio/audio"
)

// Decode turns raw samples, interleaved as in the file, into fractions of full
// scale and returns how many it wrote to dst: the smaller of len(dst) and the
// whole samples in raw.
//
// Integers are divided by 2^(bits-1), so they cover -1 to just below +1; 24 bits
// in 4 bytes count as 32. Float samples are taken as they are, beyond ±1 and NaN
// included. f must be a format that [Format.Check] accepts.
func (f Format) Decode(dst []float64, raw []byte) int {
	n := min(len(dst), len(raw)/f.ContainerBytes)
	dst = dst[:n]
	switch {
	case f.Encoding == Float && f.ContainerBytes == 4:
		for i := range dst {
			dst[i] = float64(math.Float32frombits(binary.LittleEndian.Uint32(raw[4*i:])))
		}
	case f.Encoding == Float:
		for i := range dst {
			dst[i] = math.Float64frombits(binary.LittleEndian.Uint64(raw[8*i:]))
		}
	case f.ContainerBytes == 1:
		for i := range dst {
			dst[i] = float64(int(raw[i])-128) * (1.0 / (1 << 7))
		}
	case f.ContainerBytes == 2:
		for i := range dst {
			dst[i] = float64(int16(binary.LittleEndian.Uint16(raw[2*i:]))) * (1.0 / (1 << 15))
		}
	case f.ContainerBytes == 3:
		for i := range dst {
			dst[i] = float64(audio.Int24LETo32(raw[3*i:])) * (1.0 / (1 << 23))
		}
	default:
		for i := range dst {
			dst[i] = float64(int32(binary.LittleEndian.Uint32(raw[4*i:]))) * (1.0 / (1 << 31))
		}
	}
	return n
}

// Encode turns fractions of full scale into raw samples and returns how many
// had to be clamped. It writes the smaller of len(src) and the whole samples
// that fit into dst.
//
// Integers are rounded to nearest, ties to even, at the format's bit depth and
// clamped to its range; NaN becomes silence and counts as clamped. Float
// samples are stored as they are. Encode after [Format.Decode] gives the same
// bytes for every integer sample whose unused bits are zero.
func (f Format) Encode(dst []byte, src []float64) (clamped int) {
	src = src[:min(len(src), len(dst)/f.ContainerBytes)]
	if f.Encoding == Float {
		for i, x := range src {
			if f.ContainerBytes == 4 {
				binary.LittleEndian.PutUint32(dst[4*i:], math.Float32bits(float32(x)))
			} else {
				binary.LittleEndian.PutUint64(dst[8*i:], math.Float64bits(x))
			}
		}
		return 0
	}
	top := float64(audio.IntMaxSignedValue(f.BitDepth))
	scale := top + 1
	shift := 8*f.ContainerBytes - f.BitDepth
	for i, x := range src {
		v := math.RoundToEven(x * scale)
		switch {
		case v > top:
			v, clamped = top, clamped+1
		case v < -scale:
			v, clamped = -scale, clamped+1
		case v != v:
			v, clamped = 0, clamped+1
		}
		s := uint32(int32(v)) << shift
		switch f.ContainerBytes {
		case 1:
			dst[i] = byte(s + 128)
		case 2:
			binary.LittleEndian.PutUint16(dst[2*i:], uint16(s))
		case 3:
			dst[3*i], dst[3*i+1], dst[3*i+2] = byte(s), byte(s>>8), byte(s>>16)
		default:
			binary.LittleEndian.PutUint32(dst[4*i:], s)
		}
	}
	return clamped
}
