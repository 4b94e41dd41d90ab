package songs

import (
	"runtime"
	"sync"

	"nightreel/internal/stats"
)

// reference is a take of a known song, from another night or from this one.
type reference struct {
	key    string             // of the title that it has
	titles map[string]float64 // the probability of each title, by key
	person bool               // a person confirmed its title, start and end
	plays  []chroma
	loud   [][]float32 // by tonight's tracks: see loudAs; nil unless a person placed the take
}

const (
	// memoryS is how many seconds before and after a second its likeness
	// averages: long enough that a chord shared by two songs does not count as
	// the song, short enough that an extra round does no harm.
	memoryS = 12
	// slip is the cost of a second in which one night runs ahead of the other.
	// Tempos that differ by 16 % need one in six seconds.
	slip = 0.1
)

// likeness holds, for each second of a night, how well the harmony around it
// matches some part of a reference: 1 is identical, 0 is chance. at is the
// matching second of the reference.
type likeness struct {
	like []float32
	at   []int32
}

// resemble returns the likeness of the night to each reference. busy marks the
// seconds to compute.
//
// This is dynamic time warping with steps of 0, 1 or 2 seconds and free start
// and end in the reference. A second's likeness is the mean along the best
// path through it, weighted by 1/e for every memoryS seconds of distance. A
// round more or less than in the reference is a jump and costs only the
// seconds around it.
func resemble(night []chroma, busy []bool, refs []reference) []likeness {
	out := make([]likeness, len(refs))
	next := make(chan int)
	var workers sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), len(refs)) {
		workers.Go(func() {
			for i := range next {
				out[i] = follow(night, busy, refs[i].plays)
			}
		})
	}
	for i := range refs {
		next <- i
	}
	close(next)
	workers.Wait()
	return out
}

// mostSpanS limits the memory of follow: it cuts a night into spans of that
// many seconds and computes each with a margin on both sides.
const (
	mostSpanS = 600
	marginS   = 3 * memoryS
)

func follow(night []chroma, busy []bool, ref []chroma) likeness {
	l := likeness{like: make([]float32, len(night)), at: make([]int32, len(night))}
	n := len(ref)
	if n == 0 {
		return l
	}
	similar := make([]float32, (mostSpanS+2*marginS)*n)
	ahead := make([]float32, len(similar))
	for from := 0; from < len(night); {
		if !busy[from] {
			from++
			continue
		}
		to := from
		for to < len(night) && to-from < mostSpanS && (busy[to] || anyBusy(busy, to, to+memoryS)) {
			to++
		}
		first, last := max(0, from-marginS), min(len(night), to+marginS)
		span(night[first:last], ref, similar, ahead, from-first, to-first, l.like[first:], l.at[first:])
		from = to
	}
	return l
}

func anyBusy(busy []bool, from, to int) bool {
	for _, b := range busy[from:min(to, len(busy))] {
		if b {
			return true
		}
	}
	return false
}

// span computes the likeness of seconds from to to-1 of x.
func span(x, ref []chroma, similar, ahead []float32, from, to int, like []float32, at []int32) {
	n := len(ref)
	var keep = float32(stats.Exp(-1. / memoryS))
	for t := range x {
		row := similar[t*n:][:n]
		a := &x[t]
		for j := range ref {
			b := &ref[j] // written out, since the compiler does not unroll
			row[j] = float32(a[0]*b[0]) + float32(a[1]*b[1]) + float32(a[2]*b[2]) + float32(a[3]*b[3]) + float32(a[4]*b[4]) + float32(a[5]*b[5]) +
				float32(a[6]*b[6]) + float32(a[7]*b[7]) + float32(a[8]*b[8]) + float32(a[9]*b[9]) + float32(a[10]*b[10]) + float32(a[11]*b[11])
		}
	}
	// Backwards: the path that follows a second, the second included.
	copy(ahead[(len(x)-1)*n:][:n], similar[(len(x)-1)*n:][:n])
	for t := len(x) - 2; t >= 0; t-- {
		row, next, s := ahead[t*n:][:n], ahead[(t+1)*n:][:n], similar[t*n:][:n]
		for j := range row {
			best := next[j] - slip
			if j+1 < n {
				best = max(best, next[j+1])
			}
			if j+2 < n {
				best = max(best, next[j+2]-slip)
			}
			row[j] = s[j] + float32(keep*max(0, best))
		}
	}
	behind, was := make([]float32, n), make([]float32, n)
	whole := (1 + keep) / (1 - keep) // the sum over a path whose likeness is 1 everywhere
	for t := range to {
		s, a := similar[t*n:][:n], ahead[t*n:][:n]
		top, where := float32(-1e9), 0
		for j := range behind {
			best := was[j] - slip
			if j >= 1 {
				best = max(best, was[j-1])
			}
			if j >= 2 {
				best = max(best, was[j-2]-slip)
			}
			best = float32(keep * max(0, best))
			behind[j] = s[j] + best
			if v := best + a[j]; v > top {
				top, where = v, j
			}
		}
		behind, was = was, behind
		if t >= from {
			like[t], at[t] = top/whole, int32(where)
		}
	}
}
