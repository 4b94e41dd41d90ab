package stats

import "math"

// The functions of this file follow FreeBSD's /usr/src/lib/msun (e_exp.c,
// e_log.c, s_log1p.c, s_expm1.c) as package math of Go translates it, without
// its assembly and with every product rounded on its own. Their notices:
//
// ====================================================
// Copyright (C) 1993, 2004 by Sun Microsystems, Inc. All rights reserved.
//
// Developed at SunPro, a Sun Microsystems, Inc. business.
// Permission to use, copy, modify, and distribute this
// software is freely granted, provided that this notice
// is preserved.
// ====================================================
//
// Copyright 2009 The Go Authors. All rights reserved. Redistribution and use in
// source and binary forms, with or without modification, are permitted under the
// terms of Go's BSD-style licence (go.dev/LICENSE).

const (
	ln2Hi = 6.93147180369123816490e-01
	ln2Lo = 1.90821492927058770002e-10
)

// Exp returns e to the x, within one unit of the last place.
func Exp(x float64) float64 {
	const (
		p1        = 1.66666666666666657415e-01
		p2        = -2.77777777770155933842e-03
		p3        = 6.61375632143793436117e-05
		p4        = -1.65339022054652515390e-06
		p5        = 4.13813679705723846039e-08
		overflow  = 7.09782712893383973096e+02
		underflow = -7.45133219101941108420e+02
		nearZero  = 1.0 / (1 << 28)
	)
	switch {
	case x != x:
		return x
	case x > overflow:
		return math.Inf(1)
	case x < underflow:
		return 0
	case -nearZero < x && x < nearZero:
		return 1 + x
	}
	// x = k ln 2 + r, with r = hi - lo and at most half of ln 2.
	k := int(float64(math.Log2E*x) + math.Copysign(0.5, x))
	hi, lo := x-float64(float64(k)*ln2Hi), float64(float64(k)*ln2Lo)
	r := hi - lo
	t := r * r
	c := r - float64(t*(p1+float64(t*(p2+float64(t*(p3+float64(t*(p4+float64(t*p5)))))))))
	y := 1 - ((lo - float64(r*c)/(2-c)) - hi)
	return math.Ldexp(y, k)
}

// Log returns the natural logarithm of x, within one unit of the last place.
func Log(x float64) float64 {
	switch {
	case x != x || math.IsInf(x, 1):
		return x
	case x < 0:
		return math.NaN()
	case x == 0:
		return math.Inf(-1)
	}
	f1, e := math.Frexp(x)
	if f1 < math.Sqrt2/2 {
		f1 *= 2
		e--
	}
	return logOf(f1-1, float64(e), 0)
}

// logOf returns k ln 2 + ln(1+f) + c, for f between -0.3 and 0.42.
func logOf(f, k, c float64) float64 {
	const (
		l1 = 6.666666666666735130e-01
		l2 = 3.999999999940941908e-01
		l3 = 2.857142874366239149e-01
		l4 = 2.222219843214978396e-01
		l5 = 1.818357216161805012e-01
		l6 = 1.531383769920937332e-01
		l7 = 1.479819860511658591e-01
	)
	s := f / (2 + f)
	z := float64(s * s)
	w := float64(z * z)
	odd := float64(z * (l1 + float64(w*(l3+float64(w*(l5+float64(w*l7)))))))
	even := float64(w * (l2 + float64(w*(l4+float64(w*l6)))))
	half := float64(0.5 * f * f)
	if k == 0 && c == 0 {
		return f - (half - float64(s*(half+(odd+even))))
	}
	return float64(k*ln2Hi) - ((half - (float64(s*(half+(odd+even))) + (float64(k*ln2Lo) + c))) - f)
}

// Log1p returns ln(1+x) within one unit of the last place, of a small x too.
func Log1p(x float64) float64 {
	switch {
	case x < -1 || x != x:
		return math.NaN()
	case x == -1:
		return math.Inf(-1)
	case math.IsInf(x, 1):
		return x
	case math.Abs(x) < 1.0/(1<<54):
		return x
	case math.Abs(x) < 1.0/(1<<29):
		return x - float64(x*x*0.5)
	case -0.29289321881345247 < x && x < 0.41421356237309505: // √2/2-1 to √2-1
		return logOf(x, 0, 0)
	}
	// ln(1+x) = ln u + c, where u is 1+x as rounded and c corrects the rounding.
	u, c := 1+x, 0.0
	f, e := math.Frexp(u)
	switch {
	case x >= 1<<53: // the 1 is lost in rounding
	case e > 1:
		c = (1 - (u - x)) / u
	default:
		c = (x - (u - 1)) / u
	}
	if f < math.Sqrt2/2 {
		f *= 2
		e--
	}
	return logOf(f-1, float64(e), c)
}

// Expm1 returns e to the x, less 1, within four units of the last place, of a
// small x too.
func Expm1(x float64) float64 {
	const (
		q1 = -3.33333333333331316428e-02
		q2 = 1.58730158725481460165e-03
		q3 = -7.93650757867487942473e-05
		q4 = 4.00821782732936239552e-06
		q5 = -2.01099218183624371326e-07
	)
	switch {
	case x != x || math.Abs(x) < 1.0/(1<<54):
		return x
	case math.Abs(x) > 0.5*math.Ln2:
		// Subtracting the 1 costs two bits at most.
		if x < -38 {
			return -1
		}
		return Exp(x) - 1
	}
	half := float64(0.5 * x)
	z := float64(x * half)
	r := 1 + float64(z*(q1+float64(z*(q2+float64(z*(q3+float64(z*(q4+float64(z*q5)))))))))
	t := 3 - float64(r*half)
	e := float64(z * ((r - t) / (6 - float64(x*t))))
	return x - (float64(x*e) - z)
}

// Log10 returns the decimal logarithm of x.
func Log10(x float64) float64 { return float64(Log(x) * (1 / math.Ln10)) }

// Pow returns x to the y; NaN for an x below 0, unless y is a whole number. The
// relative error is about 1e-15, and grows with the logarithm of x.
func Pow(x, y float64) float64 {
	switch {
	case y == 0 || x == 1:
		return 1
	case x != x || y != y:
		return math.NaN()
	case x == 0 || math.IsInf(x, 0) || math.IsInf(y, 0) || math.Abs(y) >= 1<<53:
		return math.Pow(x, y) // special cases by IEEE 754: nothing is rounded
	case y == 0.5:
		return math.Sqrt(x)
	case y == -0.5:
		return 1 / math.Sqrt(x)
	}
	whole, part := math.Modf(math.Abs(y))
	if part != 0 && x < 0 {
		return math.NaN()
	}
	a, ae := 1.0, 0
	if part != 0 {
		if part > 0.5 {
			part--
			whole++
		}
		a = Exp(float64(part * Log(x)))
	}
	// The whole part by squaring; powers of two are counted separately.
	f, e := math.Frexp(x)
	for n := int64(whole); n != 0; n >>= 1 {
		if e < -1<<12 || 1<<12 < e { // beyond the range of float64
			ae += e
			break
		}
		if n&1 == 1 {
			a *= f
			ae += e
		}
		f = float64(f * f)
		e <<= 1
		if f < .5 {
			f += f
			e--
		}
	}
	if y < 0 {
		a, ae = 1/a, -ae
	}
	return math.Ldexp(a, ae)
}

// SinPi returns the sine of x half turns, sin πx.
func SinPi(x float64) float64 {
	x = math.Mod(x, 2) // exact
	switch {
	case x != x:
		return x
	case x > 1:
		x -= 2
	case x < -1:
		x += 2
	}
	switch { // sin is symmetric about a quarter turn; the subtractions are exact
	case x > 0.5:
		x = 1 - x
	case x < -0.5:
		x = -1 - x
	}
	if a := math.Abs(x); a > 0.25 {
		return math.Copysign(cosQuarter(float64(math.Pi*(0.5-a))), x)
	}
	return sinQuarter(float64(math.Pi * x))
}

// CosPi returns the cosine of x half turns, cos πx.
func CosPi(x float64) float64 {
	x = math.Abs(math.Mod(x, 2))
	if x > 1 {
		x = 2 - x
	}
	if x <= 0.25 {
		return cosQuarter(float64(math.Pi * x))
	}
	if x >= 0.75 {
		return -cosQuarter(float64(math.Pi * (1 - x)))
	}
	return sinQuarter(float64(math.Pi * (0.5 - x)))
}

// sinQuarter and cosQuarter are valid up to an eighth of a turn: the polynomials
// of S. L. Moshier's Cephes library (sin.c, 1989).
func sinQuarter(z float64) float64 {
	w := float64(z * z)
	s := 1.58962301576546568060e-10
	for _, c := range [...]float64{-2.50507477628578072866e-8, 2.75573136213857245213e-6, -1.98412698295895385996e-4, 8.33333333332211858878e-3, -1.66666666666666307295e-1} {
		s = float64(s*w) + c
	}
	return z + float64(float64(z*w)*s)
}

func cosQuarter(z float64) float64 {
	w := float64(z * z)
	s := -1.13585365213876817300e-11
	for _, c := range [...]float64{2.08757008419747316778e-9, -2.75573141792967388112e-7, 2.48015872888517045348e-5, -1.38888888888730564116e-3, 4.16666666666665929218e-2} {
		s = float64(s*w) + c
	}
	return 1 - float64(0.5*w) + float64(float64(w*w)*s)
}
