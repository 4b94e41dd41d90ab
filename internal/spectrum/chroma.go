package spectrum

import (
	"math"

	"nightreel/internal/stats"
)

const (
	// PitchClasses is the number of pitch classes: C, C sharp … B, at a = 440 Hz.
	PitchClasses = 12
	// ChromaBytes is the size of one packed [Chroma].
	ChromaBytes = PitchClasses / 2

	// Pitches below lowestHz are closer together than spectra of 171 ms can
	// resolve; a bass is recognised by its overtones. Above highestHz are
	// overtones of overtones, and cymbals. Both are chosen.
	lowestHz  = 100
	highestHz = 2200
)

// Chroma is the power of each pitch class: the harmony of a track at one look.
// It is enough to tell songs apart and to align one night's take with
// another's, and far too little to reconstruct the sound.
type Chroma [PitchClasses]float32

// Folder folds power spectra to chroma.
type Folder struct {
	shares []share
	bins   int
}

// share is the fraction of a bin that belongs to a pitch class.
type share struct {
	bin, class int32
	weight     float32
}

// NewFolder returns a folder for spectra of the given number of bins, which are
// binHz apart from 0 Hz on. It multiplies each bin by its gain, unless gain is
// nil. If a bin crosses the border of two pitch classes, each class gets its
// proportion of it.
func NewFolder(binHz float64, bins int, gain []float32) *Folder {
	f := &Folder{}
	for i := 1; i < bins; i++ {
		low, high := (float64(i)-0.5)*binHz, (float64(i)+0.5)*binHz
		if low < lowestHz || high > highestHz {
			continue
		}
		f.bins = i + 1
		a, b := semitones(low), semitones(high)
		for p := math.Floor(a); p < b; p++ {
			weight := (hertz(min(b, p+1)) - hertz(max(a, p))) / binHz
			if gain != nil {
				weight *= float64(gain[i])
			}
			f.shares = append(f.shares, share{int32(i), int32(math.Mod(p, PitchClasses)), float32(weight)})
		}
	}
	return f
}

// semitones returns the MIDI pitch number of a frequency plus one half, so that
// its whole part names the nearest pitch.
func semitones(hz float64) float64 { return 69.5 + PitchClasses*math.Log2(hz/440) }

// hertz is the inverse of semitones.
func hertz(semitones float64) float64 { return 440 * math.Exp2((semitones-69.5)/PitchClasses) }

// Fold returns the chroma of one spectrum.
func (f *Folder) Fold(power []float32) Chroma {
	var c Chroma
	power = power[:f.bins]
	for _, p := range f.shares {
		c[p.class] += float32(p.weight * power[p.bin])
	}
	return c
}

// FoldLanes returns the chroma of Lanes spectra side by side: power holds bin 0
// of each, then bin 1 of each, and so on.
func (f *Folder) FoldLanes(power [][Lanes]float32) (c [Lanes]Chroma) {
	var sum [PitchClasses][Lanes]float32
	power = power[:f.bins]
	for _, p := range f.shares {
		// Written out, since the compiler does not unroll.
		to, from, weight := &sum[p.class], &power[p.bin], p.weight
		to[0] += float32(weight * from[0])
		to[1] += float32(weight * from[1])
		to[2] += float32(weight * from[2])
		to[3] += float32(weight * from[3])
		to[4] += float32(weight * from[4])
		to[5] += float32(weight * from[5])
		to[6] += float32(weight * from[6])
		to[7] += float32(weight * from[7])
	}
	for i := range sum {
		for l, v := range sum[i] {
			c[l][i] = v
		}
	}
	return c
}

// classDB is the step of a packed pitch class in dB: code 15 is the strongest
// class, code 0 is 22.5 dB below it or weaker.
const classDB = 1.5

// PackChroma writes a chroma to the first ChromaBytes bytes of dst: each pitch
// class relative to the strongest, the lower class in the lower half of a byte.
// Digital silence becomes zeros. The loudness is not stored: the envelope has
// it.
func PackChroma(dst []byte, c *Chroma) {
	_ = dst[ChromaBytes-1]
	top := float32(0)
	for _, v := range c {
		top = max(top, v)
	}
	clear(dst[:ChromaBytes])
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
	// ratios holds each code's ratio to the strongest class, bounds the least
	// ratio that gets the code: half a step below.
	bounds, ratios = func() (b, r [16]float32) {
		for i := 1; i < 16; i++ {
			b[i] = float32(stats.Pow(10, (float64(i)-15.5)*classDB/10))
			r[i] = float32(stats.Pow(10, float64(i-15)*classDB/10))
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

// UnpackChromaLog decodes the form of [PackChroma] to natural logarithms.
// Classes more than some 15 dB below the strongest come out nearly equal,
// because they are leakage.
func UnpackChromaLog(src []byte) Chroma {
	_ = src[ChromaBytes-1]
	var c Chroma
	for i := range c {
		c[i] = logs[src[i/2]>>(i%2*4)&15]
	}
	return c
}
