package feature

import (
	"math"

	"nightreel/internal/stats"
)

const (
	// Classes are the pitch classes: C, C sharp … B, at a = 440 Hz.
	Classes = 12
	// PackedBytes is what one snapshot of one track takes.
	PackedBytes = Classes / 2
	// PerSecond are the snapshots of a second.
	PerSecond = 2

	// Pitches below lowestHz lie closer together than spectra of 171 ms tell
	// apart; a bass is known by its overtones. Above highestHz are overtones of
	// overtones, and cymbals.
	lowestHz  = 100
	highestHz = 2200
)

// Chroma is the power of each pitch class.
type Chroma [Classes]float32

// Lanes is how many spectra are folded side by side.
const Lanes = 8

// Harmony folds power spectra to chroma.
type Harmony struct {
	parts []part
	bins  int
}

// part is the share of a bin that belongs to a pitch class.
type part struct {
	bin, class int32
	share      float32
}

// NewHarmony makes a folder for spectra whose bins are so many Hz apart; there
// are so many bins from 0 Hz on, each to be multiplied by its gain first, unless
// gain is nil. A bin that lies across the border of two pitch classes is parted
// in proportion.
func NewHarmony(binHz float64, bins int, gain []float32) *Harmony {
	h := &Harmony{}
	for i := 1; i < bins; i++ {
		low, high := (float64(i)-0.5)*binHz, (float64(i)+0.5)*binHz
		if low < lowestHz || high > highestHz {
			continue
		}
		h.bins = i + 1
		a, b := semitones(low), semitones(high)
		for p := math.Floor(a); p < b; p++ {
			share := (hertz(min(b, p+1)) - hertz(max(a, p))) / binHz
			if gain != nil {
				share *= float64(gain[i])
			}
			h.parts = append(h.parts, part{int32(i), int32(math.Mod(p, Classes)), float32(share)})
		}
	}
	return h
}

// semitones returns where a frequency lies among the pitches as MIDI numbers
// them, half a semitone up: the whole part names the pitch.
func semitones(hz float64) float64 { return 69.5 + Classes*math.Log2(hz/440) }

func hertz(semitones float64) float64 { return 440 * math.Exp2((semitones-69.5)/Classes) }

// Fold returns the chroma of one spectrum.
func (h *Harmony) Fold(power []float32) Chroma {
	var c Chroma
	power = power[:h.bins]
	for _, p := range h.parts {
		c[p.class] += float32(p.share * power[p.bin])
	}
	return c
}

// FoldLanes returns the chroma of Lanes spectra that lie side by side: power
// holds bin 0 of each, then bin 1 of each, and so on.
func (h *Harmony) FoldLanes(power [][Lanes]float32) (c [Lanes]Chroma) {
	var sum [Classes][Lanes]float32
	power = power[:h.bins]
	for _, p := range h.parts {
		// Written out, since the compiler does not unroll.
		to, from, share := &sum[p.class], &power[p.bin], p.share
		to[0] += float32(share * from[0])
		to[1] += float32(share * from[1])
		to[2] += float32(share * from[2])
		to[3] += float32(share * from[3])
		to[4] += float32(share * from[4])
		to[5] += float32(share * from[5])
		to[6] += float32(share * from[6])
		to[7] += float32(share * from[7])
	}
	for i := range sum {
		for l, v := range sum[i] {
			c[l][i] = v
		}
	}
	return c
}

// stepDB is the step of a packed pitch class: 15 is the strongest, 0 is 22.5 dB
// below it or weaker.
const stepDB = 1.5

// Pack writes a chroma to PackedBytes bytes of dst: each pitch class relative
// to the strongest, the lower class in the lower half of a byte. How loud it
// was stands in the envelope. All of digital silence is 0.
func Pack(dst []byte, c *Chroma) {
	_ = dst[PackedBytes-1]
	top := float32(0)
	for _, v := range c {
		top = max(top, v)
	}
	clear(dst[:PackedBytes])
	if !(top > 0) {
		return
	}
	for i, v := range c {
		code, r := 0, v/top
		for step := 8; step > 0; step /= 2 {
			if r >= bounds[code+step] {
				code += step
			}
		}
		dst[i/2] |= byte(code) << (i % 2 * 4)
	}
}

var (
	// bounds holds the least ratio of each code, half a step below what it
	// stands for, and ratios what that is.
	bounds, ratios = func() (b, r [16]float32) {
		for i := 1; i < 16; i++ {
			b[i] = float32(stats.Pow(10, (float64(i)-15.5)*stepDB/10))
			r[i] = float32(stats.Pow(10, float64(i-15)*stepDB/10))
		}
		return b, r
	}()
	logs = func() (l [16]float32) {
		for i, r := range ratios {
			l[i] = float32(stats.Log(float64(r) + 0.03))
		}
		return l
	}()
)

// UnpackLog reads what Pack wrote as natural logarithms, bent so that what is
// more than some 15 dB below the strongest counts alike: it is leakage.
func UnpackLog(src []byte) Chroma {
	_ = src[PackedBytes-1]
	var c Chroma
	for i := range c {
		c[i] = logs[src[i/2]>>(i%2*4)&15]
	}
	return c
}
