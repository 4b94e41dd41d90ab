package spectrum

import (
	"math"

	"nightreel/internal/stats"
)

// transform holds the tables of a real Fourier transform through a Hann window.
// It is struct transform of vector_api.h.
//
// The window's even and odd points become the real and imaginary parts of half
// as many complex points. Four passes of radix 4 and one of radix 2, which sort
// as they go (Stockham), transform these; a last pass derives the real transform.
type transform struct {
	twiddle [points / 2][2]float32   // e^(-2πik/512)
	split   [points/4 + 1][2]float32 // e^(-2πik/1024)
	window  [points]float32
}

func newTransform() *transform {
	t := &transform{}
	for k := range t.twiddle {
		s, c := math.Sincos(-2 * math.Pi * float64(k) / (points / 2))
		t.twiddle[k] = [2]float32{float32(c), float32(s)}
	}
	for k := range t.split {
		s, c := math.Sincos(-2 * math.Pi * float64(k) / points)
		t.split[k] = [2]float32{float32(c), float32(s)}
	}
	// With this scale the squares of the bins add up to the mean square of the
	// window (Parseval). The last pass leaves out a factor of 1/2, so half the
	// scale is used here.
	const sumOfSquares = 3. / 8 * points // of a periodic Hann window
	scale := math.Sqrt(2/(points*sumOfSquares)) / 2
	for n := range t.window {
		t.window[n] = float32(scale * (0.5 - 0.5*math.Cos(2*math.Pi*float64(n)/points)))
	}
	return t
}

type point struct{ re, im float32 }

// turned returns a times w. It rounds the products before it adds them, because
// the language allows the compiler to fuse them otherwise.
func turned(a point, w [2]float32) point {
	return point{float32(a.re*w[0]) - float32(a.im*w[1]), float32(a.re*w[1]) + float32(a.im*w[0])}
}

// power writes the mean square in each bin of the windows of eight tracks. in
// holds Lanes values a point, out Lanes values a bin. Bin 0 counts twice.
func (t *transform) power(in, out []float32) {
	var a, b [Bins]point
	for l := range Lanes {
		for i := range a {
			a[i] = point{float32(in[2*i*Lanes+l] * t.window[2*i]), float32(in[(2*i+1)*Lanes+l] * t.window[2*i+1])}
		}
		x, y := &a, &b
		for n, s := Bins, 1; n > 2; n, s = n/4, 4*s {
			t.radix4(x, y, n, s)
			x, y = y, x
		}
		for q := range Bins / 2 {
			u, v := x[q], x[q+Bins/2]
			y[q], y[q+Bins/2] = point{u.re + v.re, u.im + v.im}, point{u.re - v.re, u.im - v.im}
		}
		for k := range Bins/2 + 1 {
			u, v := y[k], y[(Bins-k)%Bins]
			even := point{u.re + v.re, u.im - v.im}
			odd := turned(point{u.im + v.im, v.re - u.re}, t.split[k])
			out[k*Lanes+l] = squared(even.re+odd.re, even.im+odd.im)
			if k > 0 && k < Bins/2 {
				out[(Bins-k)*Lanes+l] = squared(even.re-odd.re, even.im-odd.im)
			}
		}
	}
}

func squared(re, im float32) float32 { return float32(re*re) + float32(im*im) }

// radix4 does one pass of radix 4 over n points in s interleaved transforms.
func (t *transform) radix4(x, y *[Bins]point, n, s int) {
	m := n / 4
	for p := range m {
		w1, w2, w3 := t.twiddle[p*s], t.twiddle[2*p*s], t.twiddle[3*p*s]
		for q := range s {
			a, b, c, d := x[q+s*p], x[q+s*(p+m)], x[q+s*(p+2*m)], x[q+s*(p+3*m)]
			apc, amc := point{a.re + c.re, a.im + c.im}, point{a.re - c.re, a.im - c.im}
			bpd, bmd := point{b.re + d.re, b.im + d.im}, point{b.re - d.re, b.im - d.im}
			to := y[q+s*4*p:]
			to[0] = point{apc.re + bpd.re, apc.im + bpd.im}
			to[s] = turned(point{amc.re + bmd.im, amc.im - bmd.re}, w1)
			to[2*s] = turned(point{apc.re - bpd.re, apc.im - bpd.im}, w2)
			to[3*s] = turned(point{amc.re - bmd.im, amc.im + bmd.re}, w3)
		}
	}
}

// droop returns the gain of each bin that corrects the comb filter's droop for a
// decimation factor. It also halves bin 0, which power counts twice.
func droop(factor int) []float32 {
	gain := make([]float32, Bins)
	for k := range gain {
		gain[k] = 1
		if k > 0 && factor > 1 {
			x := math.Pi * float64(k) / points
			gain[k] = float32(stats.Pow(math.Sin(x)/(float64(factor)*math.Sin(x/float64(factor))), -4))
		}
	}
	gain[0] = 0.5
	return gain
}
