package evaluate

import (
	"math"
	"math/rand/v2"
	"slices"
)

// audioRate is the rate, in Hz, of the nights that are written as audio.
const audioRate = 48000

// audio is a wave at audioRate.
type audio []float32

// level returns the RMS of the louder half of a wave's blocks.
func (x audio) level() float64 {
	var blocks []float64
	for at := 0; at+4800 <= len(x); at += 4800 {
		sum := 0.0
		for _, v := range x[at : at+4800] {
			sum += float64(v) * float64(v)
		}
		if sum > 1e-9 {
			blocks = append(blocks, sum/4800)
		}
	}
	if len(blocks) == 0 {
		return 0
	}
	slices.Sort(blocks)
	sum := 0.0
	for _, b := range blocks[len(blocks)/2:] {
		sum += b
	}
	return math.Sqrt(sum / float64(len(blocks)-len(blocks)/2))
}

// loudness returns the divisor that gives a wave's loud moments an RMS of 1, and
// its peaks at most 14 dB more.
func (x audio) loudness() float64 {
	return max(x.level(), float64(x.peak())/5)
}

// busy returns the share of the blocks that are not silent.
func (x audio) busy() float64 {
	loud, all := 0, 0
	level := x.level()
	for at := 0; at+4800 <= len(x); at += 4800 {
		sum := 0.0
		for _, v := range x[at : at+4800] {
			sum += float64(v) * float64(v)
		}
		all++
		if sum/4800 > 1e-3*level*level {
			loud++
		}
	}
	if all == 0 || level == 0 {
		return 0
	}
	return float64(loud) / float64(all)
}

// peak returns the largest magnitude.
func (x audio) peak() float32 {
	peak := float32(0)
	for _, v := range x {
		peak = max(peak, v, -v)
	}
	return peak
}

// loudAt returns a frame in a take where a wave is loud.
func loudAt(rng *rand.Rand, x audio, t Played) int {
	from, to := int(t.StartS*audioRate), int(t.EndS*audioRate)
	best, top := from, float32(0)
	for range 30 {
		at := from + rng.IntN(to-from-4800)
		sum := float32(0)
		for _, v := range x[at : at+480] {
			sum += v * v
		}
		if sum > top {
			best, top = at, sum
		}
	}
	return best
}

// inaudible is -300 dBFS, below every recorder. A decay in silence would end in
// subnormal numbers, for which a processor takes a hundred times as long.
const inaudible = 1e-15

// blockDC removes what lies below 4 Hz.
func (x audio) blockDC() {
	var last, y float32
	for i, v := range x {
		y = v - last + 0.9995*y
		last = v
		if max(y, -y) < inaudible {
			y = 0
		}
		x[i] = y
	}
}
