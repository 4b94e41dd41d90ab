package stats

import (
	"hash/fnv"
	"math"
	"math/big"
	"math/rand/v2"
	"testing"
)

// ulps returns the distance of two numbers in units of the last place.
func ulps(a, b float64) int64 {
	if a == b || a != a && b != b {
		return 0
	}
	if a != a || b != b || math.Signbit(a) != math.Signbit(b) {
		return math.MaxInt64
	}
	d := int64(math.Float64bits(a)) - int64(math.Float64bits(b))
	return max(d, -d)
}

// exp computes e to the x to more than 250 bits, by the series of x/2^30,
// squared 30 times.
func exp(x float64) *big.Float {
	number := func(v float64) *big.Float { return new(big.Float).SetPrec(320).SetFloat64(v) }
	small := number(x)
	small.SetMantExp(small, -30)
	sum, term := number(1), number(1)
	for n := 1; n < 20; n++ {
		term.Mul(term, small).Quo(term, number(float64(n)))
		sum.Add(sum, term)
	}
	for range 30 {
		sum.Mul(sum, sum)
	}
	return sum
}

// off returns the distance of got from the true value in units of the last place
// of got.
func off(got float64, truth *big.Float) float64 {
	d, _ := new(big.Float).Sub(truth, big.NewFloat(got)).Float64()
	return math.Abs(d) / unit(got)
}

func unit(v float64) float64 { v = math.Abs(v); return math.Nextafter(v, math.Inf(1)) - v }

// A logarithm is checked by its exponential: ln x = y + ln(x/e^y).
func logOff(y float64, x *big.Float) float64 {
	d := new(big.Float).Quo(x, exp(y))
	rest, _ := d.Sub(d, big.NewFloat(1)).Float64()
	return math.Abs(rest) / unit(y)
}

func one(x float64) *big.Float {
	return new(big.Float).SetPrec(2200).Add(new(big.Float).SetPrec(2200).SetFloat64(x), big.NewFloat(1))
}

func minusOne(x *big.Float) *big.Float { return new(big.Float).Sub(x, big.NewFloat(1)) }

// functions lists the functions that must give the same bits everywhere: the
// range of the check, the largest error there in units of the last place, and
// the hash of their values.
var functions = []struct {
	name string
	of   func(x float64) float64
	off  func(y, x float64) float64
	arg  func(r *rand.Rand) float64
	most float64
	bits uint64
}{
	{"Exp", Exp, func(y, x float64) float64 { return off(y, exp(x)) }, even(-708, 709.7), 1, 0xd24089eeb7767be1},
	{"Exp near 0", Exp, func(y, x float64) float64 { return off(y, exp(x)) }, even(-1, 1), 1, 0xc57773b8681f67c2},
	{"Log", Log, func(y, x float64) float64 { return logOff(y, big.NewFloat(x)) }, anySize, 1, 0xbd153fb39956b8e6},
	{"Log near 1", Log, func(y, x float64) float64 { return logOff(y, big.NewFloat(x)) }, even(0.5, 2), 1, 0x939a794cc4479604},
	{"Log1p", Log1p, func(y, x float64) float64 { return logOff(y, one(x)) }, even(-1, 3), 1, 0x4d687a6e5474e49b},
	{"Log1p near 0", Log1p, func(y, x float64) float64 { return logOff(y, one(x)) }, even(-1e-5, 1e-5), 1, 0x451c3fe12c91ba10},
	{"Expm1", Expm1, func(y, x float64) float64 { return off(y, minusOne(exp(x))) }, even(-40, 700), 1, 0x4a8a0026fde96fa6},
	{"Expm1 near 0", Expm1, func(y, x float64) float64 { return off(y, minusOne(exp(x))) }, even(-1, 1), 4, 0xa7f23dae91162e7a},
	{"Log10", Log10, next(math.Log10), even(0, 10), 2, 0xff5928e35282fe1e},
	{"Pow of 10", func(x float64) float64 { return Pow(10, x) }, next(func(x float64) float64 { return math.Pow(10, x) }), even(-20, 20), 8, 0xd9712511e196a79c},
	{"Pow to 2.4", func(x float64) float64 { return Pow(x, 2.4) }, next(func(x float64) float64 { return math.Pow(x, 2.4) }), even(0, 100), 8, 0x4b1ee5d2a49edf1e},
	{"Pow to -3", func(x float64) float64 { return Pow(x, -3) }, next(func(x float64) float64 { return math.Pow(x, -3) }), even(-10, 10), 2, 0x1046f08ab737338},
}

// next checks against package math, for functions without a better reference.
func next(like func(x float64) float64) func(y, x float64) float64 {
	return func(y, x float64) float64 { return float64(ulps(y, like(x))) }
}

func even(from, to float64) func(r *rand.Rand) float64 {
	return func(r *rand.Rand) float64 { return from + float64((to-from)*r.Float64()) }
}

// anySize returns positive numbers of every size, subnormal ones too.
func anySize(r *rand.Rand) float64 { return math.Float64frombits(r.Uint64N(0x7ff0000000000000)) }

func TestFunctionsMissByUnitsOfTheLastPlace(t *testing.T) {
	for _, f := range functions {
		r := rand.New(rand.NewPCG(5, 6))
		worst, at := 0.0, 0.0
		for range 3000 {
			x := f.arg(r)
			if d := f.off(f.of(x), x); d > worst {
				worst, at = d, x
			}
		}
		t.Logf("%s: %.2f units", f.name, worst)
		if worst > f.most {
			t.Errorf("%s(%v) = %v misses by %.2f units of the last place", f.name, at, f.of(at), worst)
		}
	}
}

// Exp and Log differ from package math by at most two units: each may be off by
// one.
func TestExpAndLogAreNextToPackageMath(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 12))
	for range 500_000 {
		x, y := even(-700, 700)(r), even(1e-6, 1e6)(r)
		if d := ulps(Exp(x), math.Exp(x)); d > 2 {
			t.Fatalf("Exp(%v) is %d units from math.Exp", x, d)
		}
		if d := ulps(Log(y), math.Log(y)); d > 2 {
			t.Fatalf("Log(%v) is %d units from math.Log", y, d)
		}
	}
}

// The hashes were computed on amd64; other processors must give the same bits.
func TestFunctionsGiveTheSameBitsEverywhere(t *testing.T) {
	check := func(name string, want uint64, of func(x float64) float64, arg func(r *rand.Rand) float64) {
		r := rand.New(rand.NewPCG(7, 8))
		h := fnv.New64a()
		for range 20_000 {
			bits := math.Float64bits(of(arg(r)))
			h.Write([]byte{byte(bits), byte(bits >> 8), byte(bits >> 16), byte(bits >> 24), byte(bits >> 32), byte(bits >> 40), byte(bits >> 48), byte(bits >> 56)})
		}
		if got := h.Sum64(); got != want {
			t.Errorf("%s: the bits are %#x, want %#x", name, got, want)
		}
	}
	for _, f := range functions {
		check(f.name, f.bits, f.of, f.arg)
	}
	check("SinPi", 0x43b11d1d52785c91, SinPi, even(-5, 5))
	check("CosPi", 0x4e1ebd21bc4b82bf, CosPi, even(-5, 5))
}

func TestFunctionsAtTheirEnds(t *testing.T) {
	inf, nan := math.Inf(1), math.NaN()
	for _, f := range []struct {
		name     string
		of, like func(x float64) float64
	}{{"Exp", Exp, math.Exp}, {"Log", Log, math.Log}, {"Log1p", Log1p, math.Log1p}, {"Expm1", Expm1, math.Expm1}, {"Log10", Log10, math.Log10}} {
		for _, x := range []float64{0, 1, -1, inf, -inf, nan, 0.5, 2, 1e-300, -1e-300, 1e-18, 1e-10, -1e-10, 1e300, -1e300, 710, -746, -708.4, 1 << 53, 1 << 60} {
			if got, want := f.of(x), f.like(x); ulps(got, want) > 2 {
				t.Errorf("%s(%v) = %v, want %v", f.name, x, got, want)
			}
		}
	}
	// Subnormal numbers, which package math's assembly gets wrong.
	if got := Exp(-740); got != 4.2e-322 {
		t.Errorf("Exp(-740) = %v", got)
	}
	if got := Log(5e-324); math.Abs(got+744.4400719213812) > 1e-12 { // -1074 ln 2
		t.Errorf("Log(5e-324) = %v", got)
	}
	for _, x := range []float64{0, 1, -1, 2, 0.5, inf, -inf, nan, -8, 1e-300, 1e300} {
		for _, y := range []float64{0, 1, -1, 2, 0.5, -0.5, 3, inf, -inf, nan, 1 << 53, 1e300, -1e300, 1025.5, -1080.25} {
			if got, want := Pow(x, y), math.Pow(x, y); ulps(got, want) > 2 {
				t.Errorf("Pow(%v, %v) = %v, want %v", x, y, got, want)
			}
		}
	}
}

// Sines all around the circle: known values are exact, others agree with package
// math's to its own error, since it rounds πx first.
func TestSinPiAndCosPi(t *testing.T) {
	for _, row := range []struct{ x, sin, cos float64 }{
		{0, 0, 1}, {0.5, 1, 0}, {1, 0, -1}, {1.5, -1, 0}, {-0.5, -1, 0}, {2, 0, 1}, {1e15, 0, 1},
	} {
		if s, c := SinPi(row.x), CosPi(row.x); s != row.sin || c != row.cos {
			t.Errorf("at %v: %v, %v, want %v, %v", row.x, s, c, row.sin, row.cos)
		}
	}
	r := rand.New(rand.NewPCG(9, 10))
	for range 100_000 {
		x := 10*r.Float64() - 5
		if s, want := SinPi(x), math.Sin(math.Pi*x); math.Abs(s-want) > 2e-15 {
			t.Fatalf("sin %vπ = %v, want %v", x, s, want)
		}
		if c, want := CosPi(x), math.Cos(math.Pi*x); math.Abs(c-want) > 2e-15 {
			t.Fatalf("cos %vπ = %v, want %v", x, c, want)
		}
	}
	if s := SinPi(math.Inf(1)); s == s {
		t.Errorf("sin of infinity: %v", s)
	}
}

func BenchmarkExp(b *testing.B) {
	x := 0.1
	for b.Loop() {
		x = Exp(-x)
	}
}

func BenchmarkMathExp(b *testing.B) {
	x := 0.1
	for b.Loop() {
		x = math.Exp(-x)
	}
}
