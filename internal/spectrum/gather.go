package spectrum

import (
	"math/bits"

	"nightreel/internal/meter"
)

// gather holds what has been taken of one window of eight tracks side by side:
// finished points, and the sums of the step that is being taken. It is struct
// gather of vector_api.h.
type gather struct {
	sum, sums         [Lanes]int32 // of the step so far, and the sum of its sums
	lastSum, lastSums [Lanes]int32 // of the step before
	points            [points][Lanes]float32
	inStep            int64 // frames taken of the step
	steps             int64 // finished
}

// restart readies a gather for another window.
func (g *gather) restart() { g.inStep, g.steps, g.sum, g.sums = 0, 0, [Lanes]int32{}, [Lanes]int32{} }

// advance moves the place on by so many frames, taken now.
func (g *gather) advance(frames int, factor int) {
	at := g.inStep + int64(frames)
	g.steps += at / int64(factor)
	g.inStep = at % int64(factor)
}

// decimator brings samples of one type to 1/factor of their rate.
//
// Each point weighs the samples of two steps of factor frames by a triangle, a
// comb filter of second order: what would fold onto a frequency f is damped by
// (f / (rate/factor - f))² or more: 28 dB at a sixth of the lower rate. Its
// droop is known and made good in the spectrum.
type decimator struct {
	kind   meter.SampleType
	factor int
	shift  int     // bits that samples of 32 bit are moved down so that sums fit
	scale  float32 // brings points to fractions of full scale
}

func newDecimator(t meter.SampleType, factor int) decimator {
	d := decimator{kind: t, factor: factor, shift: 8}
	if factor > 8 {
		d.shift += 2 * bits.Len(uint(factor-1)/8)
	}
	d.scale = float32(float64(uint64(1)<<d.shift) / (1 << 31) / float64(factor*factor))
	return d
}

// frames returns the frames of a window.
func (d *decimator) frames() int { return (points + 1) * d.factor }

// interleaved takes frames of lanes tracks that lie side by side in src, each
// frame stride bytes after the one before.
func (d *decimator) interleaved(g *gather, lanes int, src []byte, frames, stride int) {
	for l := range lanes {
		d.alone(g, l, src[l*d.kind.Bytes():], frames, stride)
	}
}

// alone takes frames of one track into a lane. The gather's place is not moved
// on: that is for the caller, when all lanes are in.
func (d *decimator) alone(g *gather, lane int, src []byte, frames, stride int) {
	sum, sums := g.sum[lane], g.sums[lane]
	inStep, step := int(g.inStep), g.steps
	for i := range frames {
		sum += sample(d.kind, src[i*stride:]) >> d.shift
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
