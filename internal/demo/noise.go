package demo

const sqrt6 = 2.449489742783178

// noise is white noise that is computed for any frame in any order, so that
// blocks are made in any order and two rigs record the same preamp noise.
type noise uint64

// newNoise returns a different noise for each combination of ids.
func newNoise(ids ...int) noise {
	h := uint64(0x6E69676874)
	for _, id := range ids {
		h = mix(h ^ uint64(id)*0x9E3779B97F4A7C15)
	}
	return noise(h)
}

// mix is the finaliser of SplitMix64 (Steele, Lea, Flood: Fast splittable
// pseudorandom number generators, 2014).
func mix(z uint64) uint64 {
	z += 0x9E3779B97F4A7C15
	z = (z ^ z>>30) * 0xBF58476D1CE4E5B9
	z = (z ^ z>>27) * 0x94D049BB133111EB
	return z ^ z>>31
}

// triangle returns another noise at a frame: mean 0, RMS 1, triangular between
// ±√6, as dither is (the sum of two uniform ones).
func (n noise) triangle(frame int64) float64 {
	h := mix(uint64(n) + uint64(frame)*0x9E3779B97F4A7C15)
	sum := int64(h&0xFFFFFFFF) + int64(h>>32) - 0xFFFFFFFF
	return float64(sum) * (sqrt6 / (1 << 32))
}

// at returns the noise at a frame: mean 0, RMS 1, nearly normal (the sum of four
// uniform ones).
func (n noise) at(frame int64) float64 {
	h := mix(uint64(n) + uint64(frame)*0x9E3779B97F4A7C15)
	sum := int64(h&0xFFFF) + int64(h>>16&0xFFFF) + int64(h>>32&0xFFFF) + int64(h>>48) - 2*0xFFFF
	return float64(sum) * (1 / 37837.2)
}
