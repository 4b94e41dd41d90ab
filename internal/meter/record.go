package meter

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"
)

// Version is the version of the binary form that [Encode] writes, and its first
// byte. Older versions stay readable.
const Version = 2

// ErrRecord is wrapped by every error of [Decode].
var ErrRecord = errors.New("not a record of measured blocks")

// The columns of a record, in their order. A record's column mask has a bit for
// each column that follows; a column that is missing is zero throughout.
const (
	columnPeak         = 1 << iota // float32
	columnTruePeak                 // uint16, see truePeakRatio
	columnMean                     // int16, in 1/32767 of Peak
	columnMeanSquare               // float32
	columnKMeanSquare              // float32
	columnMaxMomentary             // float32
	columnClipped                  // uvarint
	columnFlat                     // uvarint
	columnZeros                    // uvarint
	columnCracks                   // uvarint; from version 2 on
	allColumns         = 1<<iota - 1
)

// Encode returns a part in binary form, little-endian:
//
//   - the version, one byte
//   - the number of blocks, uvarint
//   - the mask of the columns that follow, uint16, then the columns
//   - the number of events, uvarint; for each its kind, one byte, the
//     distance of its start from that of the event before and its length,
//     both uvarint, and its level, float32
//
// It takes 20 bytes for a block with sound in it, and 1 to 3 more for each kind
// of count that is not zero throughout. True peak is rounded up by less than
// 0.0002 dB, and the mean to 1/65534 of the block's peak; all else is exact. p
// must have at most PartBlocks blocks, and events ordered by Start.
func Encode(p Part) []byte {
	out := make([]byte, 0, 16+23*len(p.Blocks)+12*len(p.Events))
	out = append(out, Version)
	out = binary.AppendUvarint(out, uint64(len(p.Blocks)))
	maskAt := len(out)
	out = append(out, 0, 0)

	mask := uint16(0)
	column := func(bit uint16, put func(out []byte, b *Block) ([]byte, bool)) {
		from, used := len(out), false
		for i := range p.Blocks {
			var set bool
			out, set = put(out, &p.Blocks[i])
			used = used || set
		}
		if !used {
			out = out[:from]
			return
		}
		mask |= bit
	}
	amplitude := func(bit uint16, of func(b *Block) float32) {
		column(bit, func(out []byte, b *Block) ([]byte, bool) {
			v := of(b)
			return binary.LittleEndian.AppendUint32(out, math.Float32bits(v)), v != 0
		})
	}
	count := func(bit uint16, of func(b *Block) uint16) {
		column(bit, func(out []byte, b *Block) ([]byte, bool) {
			v := of(b)
			return binary.AppendUvarint(out, uint64(v)), v != 0
		})
	}
	amplitude(columnPeak, func(b *Block) float32 { return b.Peak })
	column(columnTruePeak, putTruePeak)
	column(columnMean, func(out []byte, b *Block) ([]byte, bool) {
		v := meanRatio(b.Mean, b.Peak)
		return binary.LittleEndian.AppendUint16(out, uint16(v)), v != 0
	})
	amplitude(columnMeanSquare, func(b *Block) float32 { return b.MeanSquare })
	amplitude(columnKMeanSquare, func(b *Block) float32 { return b.KMeanSquare })
	amplitude(columnMaxMomentary, func(b *Block) float32 { return b.MaxMomentary })
	count(columnClipped, func(b *Block) uint16 { return b.Clipped })
	count(columnFlat, func(b *Block) uint16 { return b.Flat })
	count(columnZeros, func(b *Block) uint16 { return b.Zeros })
	count(columnCracks, func(b *Block) uint16 { return b.Cracks })
	binary.LittleEndian.PutUint16(out[maskAt:], mask)

	out = binary.AppendUvarint(out, uint64(len(p.Events)))
	var last int64
	for _, e := range p.Events {
		out = append(out, byte(e.Kind))
		out = binary.AppendUvarint(out, uint64(e.Start-last))
		out = binary.AppendUvarint(out, uint64(e.Frames))
		out = binary.LittleEndian.AppendUint32(out, math.Float32bits(e.Level))
		last = e.Start
	}
	return out
}

// escape in the true-peak column means that the value follows as a float32. It
// is needed if a block is quieter than the ringing of its neighbour's first
// sound into it.
const escape = math.MaxUint16

// truePeakRatio returns the ratio to the sample peak for a code of the true-peak
// column: the codes below escape divide the range from 1 to the filter's bound
// into equal parts.
func truePeakRatio(code int) float64 {
	return 1 + float64(float64(code)*((truePeakBound-1)/(escape-1)))
}

func putTruePeak(out []byte, b *Block) ([]byte, bool) {
	if b.TruePeak <= b.Peak {
		return binary.LittleEndian.AppendUint16(out, 0), false
	}
	ratio := float64(b.TruePeak) / float64(b.Peak)
	if !(ratio <= truePeakBound) {
		out = binary.LittleEndian.AppendUint16(out, escape)
		return binary.LittleEndian.AppendUint32(out, math.Float32bits(b.TruePeak)), true
	}
	// The smallest code that is not below the ratio, so that a decoded value
	// encodes to itself.
	code := max(int((ratio-1)*((escape-1)/(truePeakBound-1)))-1, 0)
	for code < escape-1 && truePeakOf(code, b.Peak) < b.TruePeak {
		code++
	}
	return binary.LittleEndian.AppendUint16(out, uint16(code)), code != 0
}

func truePeakOf(code int, peak float32) float32 {
	return float32Above(float64(peak) * truePeakRatio(code))
}

func meanRatio(mean, peak float32) int16 {
	if peak == 0 {
		return 0
	}
	r := math.Round(float64(mean) / float64(peak) * math.MaxInt16)
	return int16(max(-math.MaxInt16, min(math.MaxInt16, r)))
}

// Decode returns the part that [Encode] wrote. It refuses, with an error that is
// [ErrRecord], data that Encode cannot have written. It never allocates more
// than a part and the content of data need.
func Decode(data []byte) (Part, error) {
	r := reader{data: data}
	if v := r.byte(); v < 1 || v > Version {
		return Part{}, fmt.Errorf("%w: version %d; only versions up to %d can be read", ErrRecord, v, Version)
	}
	n := r.uvarint()
	mask := r.uint16()
	if n > PartBlocks || mask&^allColumns != 0 {
		r.failed = true
	}
	if r.failed {
		return Part{}, r.err()
	}
	p := Part{Blocks: make([]Block, n)}
	column := func(bit uint16, get func(b *Block)) {
		if mask&bit == 0 {
			return
		}
		for i := range p.Blocks {
			get(&p.Blocks[i])
		}
	}
	column(columnPeak, func(b *Block) { b.Peak = r.amplitude() })
	for i := range p.Blocks {
		p.Blocks[i].TruePeak = p.Blocks[i].Peak
	}
	column(columnTruePeak, func(b *Block) {
		if code := r.uint16(); code != escape {
			b.TruePeak = truePeakOf(int(code), b.Peak)
			return
		}
		b.TruePeak = r.amplitude()
		if float64(b.TruePeak) <= truePeakBound*float64(b.Peak) {
			r.failed = true
		}
	})
	column(columnMean, func(b *Block) {
		ratio := int16(r.uint16())
		if ratio == math.MinInt16 {
			r.failed = true
		}
		b.Mean = float32(float64(b.Peak) * float64(ratio) / math.MaxInt16)
	})
	column(columnMeanSquare, func(b *Block) { b.MeanSquare = r.amplitude() })
	column(columnKMeanSquare, func(b *Block) { b.KMeanSquare = r.amplitude() })
	column(columnMaxMomentary, func(b *Block) { b.MaxMomentary = r.amplitude() })
	column(columnClipped, func(b *Block) { b.Clipped = r.count() })
	column(columnFlat, func(b *Block) { b.Flat = r.count() })
	column(columnZeros, func(b *Block) { b.Zeros = r.count() })
	column(columnCracks, func(b *Block) { b.Cracks = r.count() })

	p.Events = r.events()
	if r.at != len(data) {
		r.failed = true
	}
	if r.failed {
		return Part{}, r.err()
	}
	return p, nil
}

// reader reads values from data. After a missing or impossible value, failed is
// set and at stays at that value.
type reader struct {
	data   []byte
	at     int
	failed bool
}

func (r *reader) err() error { return fmt.Errorf("%w: damaged at byte %d", ErrRecord, r.at) }

// events reads the events that follow, nil if there are none.
func (r *reader) events() []Event {
	events := r.uvarint()
	// An event has at least 7 bytes.
	if events > uint64(len(r.data)-r.at)/7 {
		r.failed = true
	}
	if r.failed || events == 0 {
		return nil
	}
	all := make([]Event, events)
	var last int64
	for i := range all {
		e := &all[i]
		e.Kind = EventKind(r.byte())
		e.Start = last + r.length()
		e.Frames = r.length()
		e.Level = r.amplitude()
		last = e.Start
		if e.Kind < ClipRun || e.Kind > lastKind || e.Start < 0 || e.Start > math.MaxInt64-e.Frames {
			r.failed = true
		}
	}
	return all
}

func (r *reader) take(n int) []byte {
	if r.failed || len(r.data)-r.at < n {
		r.failed = true
		return make([]byte, 8)[:n]
	}
	r.at += n
	return r.data[r.at-n : r.at]
}

func (r *reader) byte() byte     { return r.take(1)[0] }
func (r *reader) uint16() uint16 { return binary.LittleEndian.Uint16(r.take(2)) }

// maxRecorded is above any filtered square of maxAmplitude.
const maxRecorded = 1e30

// amplitude reads a float32 from 0 to maxRecorded.
func (r *reader) amplitude() float32 {
	v := math.Float32frombits(binary.LittleEndian.Uint32(r.take(4)))
	if !(v >= 0 && v <= maxRecorded) {
		r.failed = true
		return 0
	}
	return v
}

func (r *reader) uvarint() uint64 {
	v, n := binary.Uvarint(r.data[r.at:])
	if r.failed || n <= 0 {
		r.failed = true
		return 0
	}
	r.at += n
	return v
}

// count reads a number that fits in 16 bits.
func (r *reader) count() uint16 {
	v := r.uvarint()
	if v > math.MaxUint16 {
		r.failed = true
		return 0
	}
	return uint16(v)
}

// length reads a number of frames.
func (r *reader) length() int64 {
	v := r.uvarint()
	if v > math.MaxInt64/2 {
		r.failed = true
		return 0
	}
	return int64(v)
}
