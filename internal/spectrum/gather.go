package spectrum

import (
	"math"
	"math/bits"
)

// gather holds the state of one window of eight tracks side by side: finished
// points, and the sums of the current step of decimator.factor frames. It is
// struct gather of vector_api.h.
type gather struct {
	sum, sums         [Lanes]int32 // of the current step so far, and the sum of these sums
	lastSum, lastSums [Lanes]int32 // the same of the step before
	points            [points][Lanes]float32
	inStep            int64 // frames of the current step that were added
	steps             int64 // finished steps
}

// restart prepares a gather for another window.
func (g *gather) restart() { g.inStep, g.steps, g.sum, g.sums = 0, 0, [Lanes]int32{}, [Lanes]int32{} }

// advance counts frames that a kernel has added.
func (g *gather) advance(frames int, factor int) {
	at := g.inStep + int64(frames)
	g.steps += at / int64(factor)
	g.inStep = at % int64(factor)
}

// decimator brings words of 32 bits to 1/factor of their rate.
//
// Each point weighs the samples of two steps of factor frames by a triangle,
// which is a comb filter of second order. It damps what would fold onto a
// frequency f by (f / (rate/factor - f))² or more: 28 dB at a sixth of the
// lower rate. The spectrum corrects the filter's known droop.
type decimator struct {
	floats bool // words hold the bits of a float32, else an int32
	factor int
	shift  int     // bits that integers are shifted right so that sums fit
	scale  float32 // brings points to fractions of full scale
}

func newDecimator(factor int) decimator {
	d := decimator{factor: factor, shift: 8}
	if factor > 8 {
		d.shift += 2 * bits.Len(uint(factor-1)/8)
	}
	d.scale = float32(float64(uint64(1)<<d.shift) / (1 << 31) / float64(factor*factor))
	return d
}

// frames returns the frames of a window.
func (d *decimator) frames() int { return (points + 1) * d.factor }

// gather adds frames of Lanes tracks to g. The words of a frame lie side by
// side, stride words after those of the frame before. It leaves g's counters to
// [gather.advance].
func (d *decimator) gather(g *gather, words []uint32, frames, stride int) {
	for lane := range Lanes {
		d.gatherLane(g, lane, words[lane:], frames, stride)
	}
}

func (d *decimator) gatherLane(g *gather, lane int, words []uint32, frames, stride int) {
	sum, sums := g.sum[lane], g.sums[lane]
	inStep, step := int(g.inStep), g.steps
	for i := range frames {
		sum += d.integer(words[i*stride]) >> d.shift
		sums += sum
		if inStep++; inStep < d.factor {
			continue
		}
		if step > 0 && step <= points {
			p := int32(d.factor+1)*g.lastSum[lane] - g.lastSums[lane] + sums - sum
			g.points[step-1][lane] = float32(p) * d.scale
		}
		g.lastSum[lane], g.lastSums[lane] = sum, sums
		sum, sums, inStep = 0, 0, 0
		step++
	}
	g.sum[lane], g.sums[lane] = sum, sums
}

// integer returns a word as an integer of 32 bits. A float beyond full scale
// becomes full scale, NaN becomes 0.
func (d *decimator) integer(word uint32) int32 {
	if !d.floats {
		return int32(word)
	}
	return whole(float64(math.Float32frombits(word)))
}
