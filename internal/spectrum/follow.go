package spectrum

// A Follower matches one take of a song, the reference, with other music by its
// harmony.
//
// It is dynamic time warping with steps of 0, 1 or 2 seconds and free start and
// end in the reference. The likeness of a second is the mean of the dot products
// of both harmonies along the best path through that second, weighted by keep
// for each second of distance. 1 is identical, 0 is chance.
//
// It is not safe for concurrent use.
type Follower struct {
	keep, slip float32
	seconds    int // of the reference
	stride     int // cells from one second of the other music to the next

	ref            []float32 // by pitch class; each is a row of stride cells
	similar, ahead []float32 // by second of the other music
	was, behind    []float32
}

const (
	// A row has margin empty cells before the reference's first second and at
	// least as many after its last, so that no step needs a check.
	margin = Lanes
	// nothing is the likeness of an empty cell: no path takes it.
	nothing = -1e9
)

// NewFollower returns a follower of a reference of one chroma a second, each of
// length 1, or all zero if there is no harmony. keep is the weight of a second
// relative to its neighbour, below 1; slip is the cost of a step of 0 or 2
// seconds.
func NewFollower(ref []Chroma, keep, slip float32) *Follower {
	f := &Follower{keep: keep, slip: slip, seconds: len(ref)}
	f.stride = margin + (len(ref)+Lanes-1)/Lanes*Lanes + margin
	f.ref = make([]float32, PitchClasses*f.stride)
	for j := range ref {
		for k, v := range ref[j] {
			f.ref[k*f.stride+margin+j] = v
		}
	}
	f.was, f.behind = make([]float32, f.stride), make([]float32, f.stride)
	return f
}

// Follow writes the likeness of the seconds from to to-1 of music, mostly 0 to
// 1, and for each the second of the reference that matches best. The seconds
// around them, of which music should have some, count by their distance. If the
// reference is empty, Follow writes nothing.
func (f *Follower) Follow(music []Chroma, from, to int, like []float32, at []int32) {
	if f.seconds == 0 || from >= to {
		return
	}
	if cells := len(music) * f.stride; len(f.similar) < cells {
		f.similar, f.ahead = make([]float32, cells), make([]float32, cells)
	}
	for i := range f.was {
		f.was[i], f.behind[i] = nothing, nothing
	}
	_, _ = like[to-1], at[to-1]
	fastest.follow(f, music, from, to, like, at)
}

// follow is the same in plain Go.
func (f *Follower) follow(music []Chroma, from, to int, like []float32, at []int32) {
	first, end := margin, margin+f.seconds
	row := func(rows []float32, t int) []float32 { return rows[t*f.stride:][:f.stride] }
	for t := range music {
		s, c := row(f.similar, t), &music[t]
		for j := first; j < end; j++ {
			sum := float32(c[0] * f.ref[j])
			for k := 1; k < PitchClasses; k++ {
				sum += float32(c[k] * f.ref[k*f.stride+j])
			}
			s[j] = sum
		}
	}
	// Backwards: the best path after a second, the second included.
	for t := len(music) - 1; t >= 0; t-- {
		s, a := row(f.similar, t), row(f.ahead, t)
		if t == len(music)-1 {
			copy(a[first:end], s[first:end])
		} else {
			next := row(f.ahead, t+1)
			for j := first; j < end; j++ {
				best := max(next[j]-f.slip, next[j+1], next[j+2]-f.slip)
				a[j] = s[j] + float32(f.keep*max(0, best))
			}
		}
		for j := end; j < f.stride; j++ {
			a[j] = nothing
		}
	}
	whole := (1 + f.keep) / (1 - f.keep) // the sum along a path of likeness 1
	was, behind := f.was, f.behind
	for t := range to {
		s, a := row(f.similar, t), row(f.ahead, t)
		top, where := float32(nothing), 0
		for j := first; j < end; j++ {
			best := max(was[j]-f.slip, was[j-1], was[j-2]-f.slip)
			best = float32(f.keep * max(0, best))
			behind[j] = s[j] + best
			if v := best + a[j]; v > top {
				top, where = v, j-margin
			}
		}
		was, behind = behind, was
		if t >= from {
			like[t], at[t] = top/whole, int32(where)
		}
	}
}
