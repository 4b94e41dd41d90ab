package spectrum

import (
	"math"
	"math/rand/v2"
	"testing"
)

// powerOf returns the power bins of a sum of sines through a Hann window, by
// the definition of the Fourier transform.
func powerOf(rate float64, n int, hz ...float64) []float32 {
	power := make([]float32, n/2+1)
	x := make([]float64, n)
	for i := range x {
		for _, f := range hz {
			x[i] += math.Sin(2 * math.Pi * f * float64(i) / rate)
		}
		x[i] *= (1 - math.Cos(2*math.Pi*float64(i)/float64(n))) / float64(n)
	}
	for k := range power {
		re, im := 0.0, 0.0
		for i, v := range x {
			w := 2 * math.Pi * float64(k*i%n) / float64(n)
			re, im = re+v*math.Cos(w), im-v*math.Sin(w)
		}
		power[k] = float32(re*re + im*im)
	}
	return power
}

// TestFoldNamesPitches: a note folds to its pitch class, from the octave at which
// spectra of 171 ms resolve neighbours. Pitches are those of equal temperament
// at a = 440 Hz (ISO 16:1975).
func TestFoldNamesPitches(t *testing.T) {
	const rate, n = 6000., 1024
	h := NewFolder(rate/n, n/2+1, nil)
	for pitch := 57; pitch <= 96; pitch++ { // A3 … C7
		c := h.Fold(powerOf(rate, n, 440*math.Exp2(float64(pitch-69)/12)))
		best := 0
		for i := range c {
			if c[i] > c[best] {
				best = i
			}
		}
		if best != pitch%12 {
			t.Errorf("pitch %d folds to class %d: %v", pitch, best, c)
		}
	}
}

func TestFoldKeepsPower(t *testing.T) {
	h := NewFolder(5.859375, 513, nil)
	power := make([]float32, 513)
	want := float32(0)
	for i := range power {
		power[i] = float32(i%7 + 1)
		if f := float64(i) * 5.859375; f-2.93 >= lowestHz && f+2.93 <= highestHz {
			want += power[i]
		}
	}
	sum := float32(0)
	for _, v := range h.Fold(power) {
		sum += v
	}
	if math.Abs(float64(sum/want-1)) > 1e-4 {
		t.Errorf("the classes hold %v of %v", sum, want)
	}
}

// unpackChroma decodes the form of PackChroma to ratios: the strongest pitch
// class is 1.
func unpackChroma(src []byte) (c Chroma) {
	for i := range c {
		c[i] = ratios[src[i/2]>>(i%2*4)&15]
	}
	return c
}

func TestPackedChromaKeepsRatios(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	for range 500 {
		var c Chroma
		for i := range c {
			c[i] = float32(math.Exp(-6 * rng.Float64()))
		}
		top := float32(0)
		for _, v := range c {
			top = max(top, v)
		}
		packed := make([]byte, ChromaBytes)
		PackChroma(packed, &c)
		got, logs := unpackChroma(packed), UnpackChromaLog(packed)
		for i := range c {
			want := 10 * math.Log10(float64(c[i]/top))
			if want < -21.7 {
				if got[i] > 0.008 {
					t.Fatalf("%.1f dB became %v", want, got[i])
				}
				continue
			}
			if off := 10*math.Log10(float64(got[i])) - want; math.Abs(off) > classDB/2+0.01 {
				t.Fatalf("%.1f dB is off by %.2f dB", want, off)
			}
			if want := math.Log(float64(got[i]) + 0.03); math.Abs(want-float64(logs[i])) > 1e-5 {
				t.Fatalf("the logarithm of %v is not %v", got[i], logs[i])
			}
		}
	}
	packed := []byte{1, 2, 3, 4, 5, 6}
	PackChroma(packed, &Chroma{})
	if unpackChroma(packed) != (Chroma{}) {
		t.Errorf("silence became %v", packed)
	}
}

// TestFoldLanes: eight spectra side by side fold to the same chroma as one after
// another, gain included.
func TestFoldLanes(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 2))
	gain, one := make([]float32, 512), make([]float32, 512)
	power := make([][Lanes]float32, 512)
	for i := range power {
		gain[i] = 1 + rng.Float32()
		for l := range Lanes {
			power[i][l] = rng.Float32()
		}
	}
	all := NewFolder(5.859375, 512, gain).FoldLanes(power)
	plain := NewFolder(5.859375, 512, nil)
	for l := range Lanes {
		for i := range one {
			one[i] = power[i][l] * gain[i]
		}
		want := plain.Fold(one)
		for i := range want {
			if math.Abs(float64(all[l][i]/want[i]-1)) > 1e-5 {
				t.Fatalf("lane %d, class %d: %v, want %v", l, i, all[l][i], want[i])
			}
		}
	}
}

func BenchmarkFoldLanes(b *testing.B) {
	h := NewFolder(5.859375, 512, nil)
	power := make([][Lanes]float32, 512)
	for i := range power {
		for l := range Lanes {
			power[i][l] = float32(i + l)
		}
	}
	packed := make([]byte, ChromaBytes)
	b.SetBytes(Lanes)
	for b.Loop() {
		for _, c := range h.FoldLanes(power) {
			PackChroma(packed, &c)
		}
	}
}
