package meter

import "math"

// biquad holds the coefficients of one second-order section,
// y = b0·x + b1·x₋₁ + b2·x₋₂ - a1·y₋₁ - a2·y₋₂ (BS.1770-5 Annex 1 figure 3).
type biquad struct{ b0, b1, b2, a1, a2 float64 }

// kWeighting returns both stages of the K filter at a rate in Hz. BS.1770-5
// gives coefficients for 48 kHz only and requires the same response at other
// rates. This prototype (as in libebur128) gives tables 1 and 2 at 48 kHz to
// 5e-16. The numerator of stage 2 is scaled so that the response at other rates
// meets the 48 kHz one within 0.008 dB from 20 Hz to 20 kHz; libebur128 leaves
// it at 1, -2, 1 and is up to 0.03 dB off.
func kWeighting(rate int) (shelf, highPass biquad) {
	{
		const (
			f0 = 1681.974450955533
			g  = 3.999843853973347
			q  = 0.7071752369554196
		)
		vh := math.Pow(10, g/20)
		vb := math.Pow(vh, 0.4996667741545416)
		k := math.Tan(math.Pi * f0 / float64(rate))
		a0 := 1 + k/q + k*k
		shelf = biquad{
			b0: (vh + vb*k/q + k*k) / a0,
			b1: 2 * (k*k - vh) / a0,
			b2: (vh - vb*k/q + k*k) / a0,
			a1: 2 * (k*k - 1) / a0,
			a2: (1 - k/q + k*k) / a0,
		}
	}
	{
		const (
			f0   = 38.13547087602444
			q    = 0.5003270373238773
			at48 = 1.0049948987146884 // makes the numerator 1, -2, 1 at 48 kHz
		)
		k := math.Tan(math.Pi * f0 / float64(rate))
		d := 1 + k/q + k*k
		c := at48 / d
		highPass = biquad{
			b0: c, b1: -2 * c, b2: c,
			a1: 2 * (k*k - 1) / d,
			a2: (1 - k/q + k*k) / d,
		}
	}
	return shelf, highPass
}

// kFilter is the K filter in the form that the kernel runs: both stages in
// transposed direct form 2, in double precision. In single precision, noise of
// -90 dBFS beside an offset of 0.1 would read as silence or be 0.3 dB off. Stage
// 2 has the numerator 1, -2, 1; the square of its scale is in gain, which
// multiplies the energies.
type kFilter struct {
	shelf  biquad
	a1, a2 float64 // of stage 2
	gain   float64
}

func newKFilter(rate int) kFilter {
	shelf, high := kWeighting(rate)
	return kFilter{shelf: shelf, a1: high.a1, a2: high.a2, gain: high.b0 * high.b0}
}

// kState is the state of a channel's K filter.
type kState struct{ s1, s2, t1, t2 float64 }

// settled returns the filter's state after an infinitely long run of the sample
// x. Started from zero, an offset would be a step: 0.01 of full scale puts -66
// LUFS into the first gating block, above the absolute gate.
func (f *kFilter) settled(x float64) kState {
	b := &f.shelf
	y := x * (b.b0 + b.b1 + b.b2) / (1 + b.a1 + b.a2)
	return kState{s1: y - b.b0*x, s2: b.b2*x - b.a2*y, t1: -y, t2: y}
}

// subnormal is the magnitude below which filter states are set to zero: 1e-30 of
// full scale, far below anything measured, and far above the numbers that slow
// the processor down.
const subnormal = 1e-30

func (s *kState) flush() {
	for _, v := range [...]*float64{&s.s1, &s.s2, &s.t1, &s.t2} {
		if math.Abs(*v) < subnormal {
			*v = 0
		}
	}
}

// energy runs the filter over x and returns the sum of squares of its output,
// before gain. It also adds x and its squares to t, which costs nothing here,
// because every step of the filter waits for the one before.
func (f *kFilter) energy(s *kState, x []float64, t *sums) float64 {
	b0, b1, b2, a1, a2 := f.shelf.b0, f.shelf.b1, f.shelf.b2, f.shelf.a1, f.shelf.a2
	c1, c2 := f.a1, f.a2
	s1, s2, t1, t2 := s.s1, s.s2, s.t1, s.t2
	var energy float64
	sum, squares := t.sum, t.squares
	for _, v := range x {
		sum += v
		squares += v * v
		y := b0*v + s1
		s1 = (b1*v + s2) - a1*y
		s2 = b2*v - a2*y
		z := y + t1
		t1 = (t2 - (y + y)) - c1*z
		t2 = y - c2*z
		energy += z * z
	}
	*s = kState{s1, s2, t1, t2}
	t.sum, t.squares = sum, squares
	return energy
}
