package wavfile

import (
	"encoding/binary"
	"fmt"
	"math"
	"time"
)

// bextBytes is the length of a bext chunk without coding history (EBU Tech
// 3285 v2).
const bextBytes = 602

// unusedLoudness marks a loudness field without value; values are hundredths
// within ±99.99 (from memory; one implementation agrees).
const (
	unusedLoudness  = 0x7FFF
	maxLoudnessHund = 9999
)

func parseBext(b []byte) (*Bext, error) {
	var err error
	if len(b) < bextBytes {
		err = fmt.Errorf("%w: %d bytes, %d needed; the rest is taken for empty", errChunk, len(b), bextBytes)
		b = append(b[:len(b):len(b)], make([]byte, bextBytes-len(b))...)
	}
	le := binary.LittleEndian
	x := &Bext{
		Description:         text(b[0:256]),
		Originator:          text(b[256:288]),
		OriginatorReference: text(b[288:320]),
		OriginationDate:     text(b[320:330]),
		OriginationTime:     text(b[330:338]),
		TimeReference:       le.Uint64(b[338:]), // Low, then High: one little-endian 64-bit number
		Version:             le.Uint16(b[346:]),
		CodingHistory:       text(b[bextBytes:]),
	}
	// Earlier versions call these bytes reserved and some writers leave rubbish
	// in them.
	if x.Version >= 1 {
		copy(x.UMID[:], b[348:412])
	}
	if x.Version >= 2 {
		field := func(at int) float64 {
			v := int16(le.Uint16(b[at:]))
			if v > maxLoudnessHund || v < -maxLoudnessHund {
				return math.NaN()
			}
			return float64(v) / 100
		}
		l := BextLoudness{field(412), field(414), field(416), field(418), field(420)}
		if l.used() {
			x.Loudness = &l
		}
	}
	return x, err
}

// used reports whether any field has a value.
func (l BextLoudness) used() bool {
	for _, v := range l.fields() {
		if !math.IsNaN(v) {
			return true
		}
	}
	return false
}

// fields returns the values in the order of the chunk.
func (l BextLoudness) fields() [5]float64 {
	return [5]float64{l.LoudnessLUFS, l.RangeLU, l.MaxTruePeakDBTP, l.MaxMomentaryLUFS, l.MaxShortTermLUFS}
}

// appendBext appends the body of a bext chunk. The version is raised where the
// content needs it.
func appendBext(b []byte, x *Bext) []byte {
	le := binary.LittleEndian
	version := x.Version
	if x.UMID != [64]byte{} {
		version = max(version, 1)
	}
	if x.Loudness != nil {
		version = max(version, 2)
	}
	b = appendField(b, x.Description, 256)
	b = appendField(b, x.Originator, 32)
	b = appendField(b, x.OriginatorReference, 32)
	b = appendField(b, x.OriginationDate, 10)
	b = appendField(b, x.OriginationTime, 8)
	b = le.AppendUint64(b, x.TimeReference)
	b = le.AppendUint16(b, version)
	b = append(b, x.UMID[:]...)
	var hundredths [5]uint16
	if version >= 2 {
		for i := range hundredths {
			hundredths[i] = unusedLoudness
		}
	}
	if x.Loudness != nil {
		for i, v := range x.Loudness.fields() {
			if r := math.Round(100 * v); math.Abs(r) <= maxLoudnessHund {
				hundredths[i] = uint16(int16(r))
			}
		}
	}
	for _, v := range hundredths {
		b = le.AppendUint16(b, v)
	}
	b = append(b, make([]byte, 180)...)
	return appendField(b, x.CodingHistory, len(x.CodingHistory))
}

// maxReference bounds a credible time reference: recorders start again at
// midnight, some count on through the night.
const maxReference = 48 * time.Hour

func startTime(b *Bext, rate int) (time.Time, bool) {
	if b == nil {
		return time.Time{}, false
	}
	y, mo, d, ok := threeNumbers(b.OriginationDate, 4, 10)
	if !ok {
		return time.Time{}, false
	}
	day := time.Date(y, time.Month(mo), d, 0, 0, 0, 0, time.UTC)
	if y < 1 || day.Month() != time.Month(mo) || day.Day() != d {
		return time.Time{}, false
	}
	if b.TimeReference > 0 && rate > 0 && b.TimeReference/uint64(rate) < uint64(maxReference/time.Second) {
		r := uint64(rate)
		since := time.Duration(b.TimeReference/r)*time.Second +
			time.Duration(b.TimeReference%r*uint64(time.Second)/r)
		return day.Add(since), true
	}
	h, mi, s, ok := threeNumbers(b.OriginationTime, 2, 8)
	if !ok || h > 23 || mi > 59 || s > 59 {
		return day, true
	}
	return day.Add(time.Duration(h)*time.Hour + time.Duration(mi)*time.Minute + time.Duration(s)*time.Second), true
}

// threeNumbers reads "2031-05-02" or "23:30:00", the first number having the
// given digits and the whole the given length. Any separator will do: several
// are met in recordings.
func threeNumbers(s string, digits, length int) (a, b, c int, ok bool) {
	if len(s) != length {
		return 0, 0, 0, false
	}
	number := func(s string) int {
		n := 0
		for i := range len(s) {
			if s[i] < '0' || s[i] > '9' {
				ok = false
			}
			n = 10*n + int(s[i]-'0')
		}
		return n
	}
	ok = true
	a, b, c = number(s[:digits]), number(s[digits+1:digits+3]), number(s[digits+4:])
	return a, b, c, ok
}
