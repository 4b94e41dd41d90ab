package session

import (
	"math"
	"math/rand/v2"

	"nightreel/internal/wavfile"
)

// converter applies a trim to one input's samples and turns them into the
// rendered format. Gain is applied in float64. An integer result that was
// trimmed, or that has fewer bits than the source, gets TPDF dither: white, 2
// LSB peak to peak at the target's depth, the sum of two uniform random numbers
// of 1 LSB each (common practice; see for example Lipshitz, Wannamaker and
// Vanderkooy, JAES 40/5, 1992, from memory). A float result is never dithered.
type converter struct {
	from, to wavfile.Format // one channel
	gain     float64
	lsb      float64 // of the dither; 0 = none
	rng      *rand.PCG
	x        []float64

	clipped int64 // samples that had to be cut to full scale
	over    int64 // samples of a float result beyond full scale, kept as they are
}

// newConverter returns nil if the samples may be copied as they are. seed makes
// the dither repeatable for the same input.
func newConverter(from, to wavfile.Format, trimDB float64, seed [16]byte) *converter {
	if trimDB == 0 && from == to {
		return nil
	}
	c := &converter{from: from, to: to, gain: math.Pow(10, trimDB/20)}
	if to.Encoding == wavfile.PCM {
		exact := trimDB == 0 && from.Encoding == wavfile.PCM && from.BitDepth <= to.BitDepth
		if !exact {
			c.lsb = math.Ldexp(1, 1-to.BitDepth)
		}
	}
	c.rng = rand.NewPCG(word(seed[:8]), word(seed[8:]))
	return c
}

func word(b []byte) (w uint64) {
	for _, x := range b {
		w = w<<8 | uint64(x)
	}
	return w
}

// convert turns the samples in src into dst, which has room for as many.
func (c *converter) convert(dst, src []byte) {
	n := len(src) / c.from.ContainerBytes
	if cap(c.x) < n {
		c.x = make([]float64, n)
	}
	x := c.x[:n]
	c.from.Decode(x, src)
	if c.gain != 1 {
		for i := range x {
			x[i] *= c.gain
		}
	}
	if c.lsb > 0 {
		for i := range x {
			x[i] += c.lsb * c.tpdf()
		}
	}
	if c.to.Encoding == wavfile.Float {
		for _, v := range x {
			if math.Abs(v) > 1 {
				c.over++
			}
		}
	}
	c.clipped += int64(c.to.Encode(dst, x))
}

// tpdf returns the difference of two uniform random numbers of [0, 1): a
// triangular density over (-1, 1), mean 0, variance 1/6.
func (c *converter) tpdf() float64 {
	u := c.rng.Uint64()
	return (float64(u>>32) - float64(u&math.MaxUint32)) * (1.0 / (1 << 32))
}
