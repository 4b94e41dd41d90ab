package stats

import "math"

// constant is the share of the squares' sum below which a spread is rounding
// error: values that agree to six digits are constant.
const constant = 1e-12

// Pairs accumulates pairs of values for their correlation. The zero Pairs is
// ready to use.
type Pairs struct {
	N                int
	x, y, xx, yy, xy float64
}

// Add adds a pair.
func (p *Pairs) Add(x, y float64) {
	p.N++
	p.x += x
	p.y += y
	p.xx += float64(x * x)
	p.yy += float64(y * y)
	p.xy += float64(x * y)
}

// Correlation returns Pearson's correlation coefficient of the pairs, -1 to 1;
// ok is false if there is none, because they are fewer than two or one side is
// constant.
func (p *Pairs) Correlation() (r float64, ok bool) {
	n := float64(p.N)
	vx, vy := p.xx-float64(p.x*p.x/n), p.yy-float64(p.y*p.y/n)
	if p.N < 2 || vx <= constant*p.xx || vy <= constant*p.yy {
		return 0, false
	}
	return max(-1, min(1, (p.xy-float64(p.x*p.y/n))/math.Sqrt(vx*vy))), true
}

// Standardise moves the values to a mean of 0 and scales them to a length of 1,
// so that [Dot] of two rows is their correlation. It returns false, and leaves
// zeros, if they are constant.
func Standardise(values []float64) bool {
	if len(values) == 0 {
		return false
	}
	mean := Mean(values)
	square, before := 0.0, 0.0
	for i, v := range values {
		before += float64(v * v)
		values[i] = v - mean
		square += float64(values[i] * values[i])
	}
	if !(square > constant*before) {
		clear(values)
		return false
	}
	length := math.Sqrt(square)
	for i := range values {
		values[i] /= length
	}
	return true
}

// Dot returns the sum of the products of two rows of one length.
func Dot(a, b []float64) float64 {
	sum := 0.0
	for i, v := range a {
		sum += float64(v * b[i])
	}
	return sum
}

// Cosine compares the shapes of two rows: 1 for the same, -1 for the inverse, 0
// if one of them is all zero.
func Cosine(a, b []float64) float64 {
	squares := Dot(a, a) * Dot(b, b)
	if squares == 0 {
		return 0
	}
	return Dot(a, b) / math.Sqrt(squares)
}
