package evaluate

import (
	"math"
	"math/rand/v2"

	"nightreel/catalog"
)

// Planted is a planted fault.
type Planted struct {
	Kind         catalog.FindingKind
	Track        int // number
	With         int // number of the other track of a pair
	StartS, EndS float64
	Size         float64 // dB, Hz, fraction or count, depending on the kind
}

// harm is the fault of one track.
type harm struct {
	planted  Planted
	boostDB  float64 // of its own sound within the span
	ceiling  float64 // flat from this magnitude on; 0 = none
	coupling float64 // Hz, first-order corner of the coupling after the ceiling; 0 = none
	silent   [2]int  // frames in which only the floor remains
	zeros    [][2]int
	offset   float64
	cracks   audio // added
	contact  [][2]int
	hum      audio
	turned   bool
	copyOf   int // track index + 1
	copyGain float32
	copyLag  int
	gainDB   float64
	gainFrom int
	ends     int // frames; 0 = whole
	absent   bool
}

// cracked returns the cracks of a bad contact: bursts, seconds apart, of steps
// and spikes, filtered as by a converter.
func cracked(rng *rand.Rand, length, from, to int) audio {
	x := make(audio, length)
	size := math.Pow(10, between(rng, -38, -14)/20)
	for at := from; at < to; at += int(between(rng, 0.4, 4) * audioRate) {
		for n := 3 + rng.IntN(25); n > 0; n-- {
			at += int(rng.ExpFloat64() * between(rng, 0.002, 0.05) * audioRate)
			h := size * (0.3 + 0.7*rng.Float64())
			if rng.IntN(2) == 0 {
				h = -h
			}
			decay := between(rng, 0.0001, 0.01) * audioRate
			for k := 0; k < int(6*decay) && at+k < to; k++ {
				x[at+k] += float32(h * math.Exp(-float64(k)/decay))
			}
		}
	}
	return filtered(x)
}

// filtered filters a wave as a converter does: 0.45 of the rate, a windowed sinc
// of 41 taps.
func filtered(x audio) audio {
	const half = 20
	var taps [2*half + 1]float32
	for i := range taps {
		t := float64(i - half)
		w := 0.5 + 0.5*math.Cos(math.Pi*t/(half+1))
		s := 0.9
		if t != 0 {
			s = math.Sin(math.Pi*0.9*t) / (math.Pi * t)
		}
		taps[i] = float32(s * w)
	}
	out := make(audio, len(x))
	for i, v := range x {
		if v == 0 {
			continue
		}
		for k, h := range taps {
			if at := i + k - half; at >= 0 && at < len(out) {
				out[at] += v * h
			}
		}
	}
	return out
}

// humming returns hum of a level in dBFS: the mains and its multiples in a
// random mix.
func humming(rng *rand.Rand, length int, mains, db float64) audio {
	x := make(audio, length)
	var amps [10]float64
	sum := 0.0
	for h := range amps {
		amps[h] = math.Pow(10, -between(rng, 0, 18)/20) / (1 + 0.25*float64(h))
		sum += amps[h] * amps[h] / 2
	}
	f := mains * (1 + 0.001*(2*rng.Float64()-1))
	g := math.Pow(10, db/20) / math.Sqrt(sum)
	for h, a := range amps {
		step := 2 * math.Pi * f * float64(h+1) / audioRate
		phase := 2 * math.Pi * rng.Float64()
		c, s := math.Cos(phase), math.Sin(phase)
		cs, sn := math.Cos(step), math.Sin(step)
		for i := range x {
			x[i] += float32(g * a * s)
			c, s = c*cs-s*sn, s*cs+c*sn
		}
	}
	return x
}

// triangle returns noise of RMS 1.
func triangle(rng *rand.Rand) float32 {
	u := rng.Uint64()
	return float32(int64(u&0xFFFFFFFF)+int64(u>>32)-0xFFFFFFFF) * (2.449489742783178 / (1 << 32))
}
