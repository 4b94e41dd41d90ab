package spectrum

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// All kernels follow random music along random references to the same bits.
func TestKernelsFollowAlike(t *testing.T) {
	rng := rand.New(rand.NewPCG(12, 7))
	random := func(seconds int) []Chroma {
		all := make([]Chroma, seconds)
		for i := range all {
			switch rng.IntN(4) {
			case 0: // a rest
			case 1:
				if i > 0 { // ties: a chord that stays
					all[i] = all[i-1]
				}
			default:
				for k := range all[i] {
					all[i][k] = float32(rng.NormFloat64()) / 3.5
				}
			}
		}
		return all
	}
	for _, seconds := range []int{0, 1, 2, 7, 8, 9, 16, 63, 200} {
		ref := random(seconds)
		for _, length := range []int{1, 2, 50} {
			music := append(random(length), ref...)
			from, to := rng.IntN(2), len(music)
			var want string
			for i, k := range slices.Backward(kernels()) {
				like, at := make([]float32, len(music)), make([]int32, len(music))
				f := NewFollower(ref, 0.92, 0.1)
				if seconds > 0 {
					f.similar, f.ahead = make([]float32, len(music)*f.stride), make([]float32, len(music)*f.stride)
					for j := range f.was {
						f.was[j], f.behind[j] = nothing, nothing
					}
					k.follow(f, music, from, to, like, at)
				} else {
					f.Follow(music, from, to, like, at)
				}
				var got []string
				for t := range like {
					got = append(got, fmt.Sprint(math.Float32bits(like[t]), at[t]))
				}
				if s := fmt.Sprint(got); i == len(kernels())-1 {
					want = s
				} else if s != want {
					t.Fatalf("%v, %d seconds along %d: differs from plain Go", k, len(music), seconds)
				}
			}
		}
	}
}

// BenchmarkFollow follows a song of 5 min through 12 min of music.
func BenchmarkFollow(b *testing.B) {
	rng := rand.New(rand.NewPCG(1, 2))
	music := make([]Chroma, 720)
	for i := range music {
		for k := range music[i] {
			music[i][k] = rng.Float32()
		}
	}
	like, at := make([]float32, len(music)), make([]int32, len(music))
	for _, k := range kernels() {
		b.Run(k.String(), func(b *testing.B) {
			f := NewFollower(music[100:400], 0.92, 0.1)
			f.Follow(music, 0, len(music), like, at)
			for b.Loop() {
				k.follow(f, music, 0, len(music), like, at)
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(music)*300), "ns/cell")
		})
	}
}

// All kernels count the same signs of random prints at every lag.
func TestKernelsAgreeAlike(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 5))
	for range 100 {
		var a, b Print
		for w := range a {
			a[w], b[w] = rng.Uint64(), rng.Uint64()
		}
		var want Agreement
		want.agree(&a, &b)
		for _, k := range kernels() {
			var got Agreement
			k.agree(&got, &a, &b)
			if got != want {
				t.Fatalf("%v: %v, want %v", k, got.differ, want.differ)
			}
		}
	}
}

func BenchmarkAgree(b *testing.B) {
	var x, y Print
	for w := range x {
		x[w], y[w] = rand.Uint64(), rand.Uint64()
	}
	for _, k := range kernels() {
		b.Run(k.String(), func(b *testing.B) {
			var g Agreement
			for b.Loop() {
				k.agree(&g, &x, &y)
			}
		})
	}
}
