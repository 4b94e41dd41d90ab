package songs

import (
	"runtime"
	"sync"

	"nightreel/internal/spectrum"
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

var keep = float32(stats.Exp(-1. / memoryS)) // the weight of a second relative to the next

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
// A [spectrum.Follower] follows the reference. A round more or less than in the
// reference is a jump and costs only the seconds around it.
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
	f := spectrum.NewFollower(ref, keep, slip)
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
		f.Follow(night[first:last], from-first, to-first, l.like[first:], l.at[first:])
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
