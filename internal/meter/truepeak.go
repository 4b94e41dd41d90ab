package meter

import "math"

// The interpolator of BS.1770-5 Annex 2: phases 0 and 1 in 1/8192; phase 2 is
// phase 1 reversed, phase 3 is phase 0 reversed.
const (
	p00, p01, p02, p03 = 14. / 8192, 90. / 8192, -161. / 8192, 272. / 8192
	p04, p05, p06, p07 = -487. / 8192, 1125. / 8192, 7964. / 8192, -838. / 8192
	p08, p09, p10, p11 = 390. / 8192, -218. / 8192, 122. / 8192, -68. / 8192

	q00, q01, q02, q03 = -239. / 8192, 240. / 8192, -424. / 8192, 730. / 8192
	q04, q05, q06, q07 = -1364. / 8192, 3810. / 8192, 6388. / 8192, -1641. / 8192
	q08, q09, q10, q11 = 832. / 8192, -477. / 8192, 271. / 8192, -155. / 8192
)

// truePeakBound is the largest factor by which the interpolator can exceed the
// largest of its input samples: the L1 norm of phases 1 and 2, 16571/8192.
const truePeakBound = 16571. / 8192

// A tighter bound for a smooth wave. Each phase is its sum times a straight line
// between two samples, plus a remainder that has neither sum nor first moment
// and so is a sum of second differences of the samples. So a phase is at most
// sum × the largest sample + rest × the largest second difference of its input
// samples (computed in fractions from the coefficients).
const (
	outerSum, outerRest = 8205. / 8192, 1345. / 8192 // phases 0 and 3
	innerSum, innerRest = 7971. / 8192, 4667. / 8192 // phases 1 and 2
)

// rounding is a margin for the bounds above: larger than the rounding error of a
// sum of twelve products in double precision.
const rounding = 1 + 1e-12

// cannotExceed reports whether the interpolator stays at or below least for
// samples of up to near with second differences of up to bend. The margin for
// bends covers their own rounding, 2^-51 of the samples.
func cannotExceed(near, bend, least float64) bool {
	bend += near * (1 << 3) / (1 << 51)
	return near*(truePeakBound*rounding) <= least ||
		max(near*outerSum+bend*outerRest, near*innerSum+bend*innerRest)*rounding <= least
}

// truePeakReach is the number of frames before and after a frame that its
// interpolated values depend on.
const truePeakReach = 6

// oversampling returns the factor of the true-peak filter at a rate in Hz, for a
// result of about 192 kHz.
func oversampling(rate int) int {
	switch {
	case rate < 88200:
		return 4
	case rate < 176400:
		return 2
	}
	return 1
}

// interpolated returns the largest magnitude between the samples that belongs to
// frames [from, to) of x, or least if that is larger. x must have truePeakReach
// more frames on both sides.
//
// The phases lie at +1/8, +3/8, -3/8 and -1/8 of a frame's instant. Twofold
// oversampling uses ±3/8: with the sample itself they leave the smallest gaps.
func interpolated(x []float64, from, to, factor int, least float64) float64 {
	m := least
	for f := from; f < to; f++ {
		w := (*[13]float64)(x[f-truePeakReach:])
		q := q00*w[12] + q01*w[11] + q02*w[10] + q03*w[9] + q04*w[8] + q05*w[7] +
			q06*w[6] + q07*w[5] + q08*w[4] + q09*w[3] + q10*w[2] + q11*w[1]
		r := q00*w[0] + q01*w[1] + q02*w[2] + q03*w[3] + q04*w[4] + q05*w[5] +
			q06*w[6] + q07*w[7] + q08*w[8] + q09*w[9] + q10*w[10] + q11*w[11]
		if v := math.Abs(q); v > m {
			m = v
		}
		if v := math.Abs(r); v > m {
			m = v
		}
		if factor == 2 {
			continue
		}
		q = p00*w[12] + p01*w[11] + p02*w[10] + p03*w[9] + p04*w[8] + p05*w[7] +
			p06*w[6] + p07*w[5] + p08*w[4] + p09*w[3] + p10*w[2] + p11*w[1]
		r = p00*w[0] + p01*w[1] + p02*w[2] + p03*w[3] + p04*w[4] + p05*w[5] +
			p06*w[6] + p07*w[7] + p08*w[8] + p09*w[9] + p10*w[10] + p11*w[11]
		if v := math.Abs(q); v > m {
			m = v
		}
		if v := math.Abs(r); v > m {
			m = v
		}
	}
	return m
}
