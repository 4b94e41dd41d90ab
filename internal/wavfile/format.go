package wavfile

import (
	"encoding/binary"
	"fmt"
)

// Limits of what is read and written. The rates are those of the trade
// (common practice, no source); 256 channels is twice the largest recorder.
const (
	minRate     = 8_000
	maxRate     = 384_000
	maxChannels = 256
)

// Format tags of the fmt chunk.
const (
	tagPCM        = 0x0001
	tagFloat      = 0x0003
	tagExtensible = 0xFFFE
)

// guidTail follows the 16-bit format tag in a WAVE_FORMAT_EXTENSIBLE
// sub-format: 0000xxxx-0000-0010-8000-00AA00389B71.
const guidTail = "\x00\x00\x00\x00\x10\x00\x80\x00\x00\xAA\x00\x38\x9B\x71"

// Check returns nil for a format that can be read and written, and an error
// wrapping [ErrUnsupported] otherwise.
func (f Format) Check() error {
	bad := func(format string, args ...any) error {
		return fmt.Errorf("%w: %s", ErrUnsupported, fmt.Sprintf(format, args...))
	}
	switch {
	case f.Channels < 1 || f.Channels > maxChannels:
		return bad("%d channels, 1 to %d are possible", f.Channels, maxChannels)
	case f.SampleRate < minRate || f.SampleRate > maxRate:
		return bad("sample rate %d Hz, %d to %d are possible", f.SampleRate, minRate, maxRate)
	}
	switch f.Encoding {
	case PCM:
		if f.ContainerBytes < 1 || f.ContainerBytes > 4 || f.BitDepth%8 != 0 ||
			f.BitDepth < 8 || f.BitDepth > 8*f.ContainerBytes {
			return bad("%d-bit PCM in %d bytes", f.BitDepth, f.ContainerBytes)
		}
	case Float:
		if f.BitDepth != 8*f.ContainerBytes || f.ContainerBytes != 4 && f.ContainerBytes != 8 {
			return bad("%d-bit float in %d bytes", f.BitDepth, f.ContainerBytes)
		}
	default:
		return bad("encoding %d", f.Encoding)
	}
	return nil
}

// parseFormat reads the body of a fmt chunk. problem is not empty where a
// field was wrong and another one told the truth.
func parseFormat(b []byte) (f Format, problem string, err error) {
	if len(b) < 16 {
		return f, "", fmt.Errorf("%w: %d bytes, 16 needed", ErrNoFormat, len(b))
	}
	le := binary.LittleEndian
	tag := le.Uint16(b)
	f.Channels = int(le.Uint16(b[2:]))
	f.SampleRate = int(le.Uint32(b[4:]))
	align := int(le.Uint16(b[12:]))
	bits := int(le.Uint16(b[14:]))
	valid := bits

	if tag == tagExtensible && len(b) < 40 && (bits == 16 || bits == 24) {
		// Samples of these sizes are integers.
		tag, problem = tagPCM, fmt.Sprintf("extensible format of %d bytes, 40 needed; %d-bit PCM assumed", len(b), bits)
	}
	if tag == tagExtensible {
		if len(b) < 40 {
			return f, "", fmt.Errorf("%w: extensible format of %d bytes, 40 needed", ErrNoFormat, len(b))
		}
		if string(b[26:40]) != guidTail {
			return f, "", fmt.Errorf("%w: sub-format %x", ErrUnsupported, b[24:40])
		}
		valid = int(le.Uint16(b[18:]))
		tag = le.Uint16(b[24:])
	}
	switch tag {
	case tagPCM:
		f.Encoding = PCM
	case tagFloat:
		f.Encoding = Float
		valid = bits // a count of valid bits means nothing for float
	default:
		return f, "", fmt.Errorf("%w: format tag 0x%04X", ErrUnsupported, tag)
	}

	f.ContainerBytes = (bits + 7) / 8
	if f.Channels > 0 && align%f.Channels == 0 && align/f.Channels >= f.ContainerBytes && align/f.Channels <= max(4, f.ContainerBytes) {
		// 24 bits in 4 bytes under plain tag 1 show only here.
		f.ContainerBytes = align / f.Channels
	} else {
		problem = fmt.Sprintf("block align of %d bytes does not fit %d channels of %d bits; %d bytes a sample assumed",
			align, f.Channels, bits, f.ContainerBytes)
	}
	if valid == 0 || valid > 8*f.ContainerBytes {
		problem = fmt.Sprintf("%d valid bits in %d bytes; all bits assumed valid", valid, f.ContainerBytes)
		valid = 8 * f.ContainerBytes
	}
	// Samples are left-justified, so 20 bits read as 24 are the same samples.
	f.BitDepth = (valid + 7) / 8 * 8
	return f, problem, f.Check()
}

// extensible reports whether the fmt chunk must be WAVE_FORMAT_EXTENSIBLE: more
// than two channels, PCM of more than 16 bits, or samples that do not fill
// their container (Microsoft, WAVEFORMATEXTENSIBLE).
func (f Format) extensible() bool {
	return f.Channels > 2 || f.Encoding == PCM && f.BitDepth > 16 || f.BitDepth != 8*f.ContainerBytes
}

// appendFormat appends the body of the fmt chunk for f.
func appendFormat(b []byte, f Format) []byte {
	le := binary.LittleEndian
	tag, real := uint16(tagPCM), uint16(tagPCM)
	if f.Encoding == Float {
		tag, real = tagFloat, tagFloat
	}
	if f.extensible() {
		tag = tagExtensible
	}
	b = le.AppendUint16(b, tag)
	b = le.AppendUint16(b, uint16(f.Channels))
	b = le.AppendUint32(b, uint32(f.SampleRate))
	b = le.AppendUint32(b, uint32(f.SampleRate*f.FrameBytes()))
	b = le.AppendUint16(b, uint16(f.FrameBytes()))
	b = le.AppendUint16(b, uint16(8*f.ContainerBytes))
	switch tag {
	case tagFloat:
		b = le.AppendUint16(b, 0)
	case tagExtensible:
		b = le.AppendUint16(b, 22)
		b = le.AppendUint16(b, uint16(f.BitDepth))
		b = le.AppendUint32(b, 0) // no speaker positions: these are tracks
		b = le.AppendUint16(b, real)
		b = append(b, guidTail...)
	}
	return b
}
