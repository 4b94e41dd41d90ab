package spectrum

// kernel names an implementation of the arithmetic. All kernels give the same
// bits; they differ in speed and in what the processor must have.
type kernel uint8

const (
	best  kernel = iota // the fastest that this processor runs
	plain               // in Go
	// The kernels in C follow; see vector_api.h.
)

// kernels returns the kernels that this processor runs, the fastest first and
// plain Go last.
func kernels() []kernel { return append(vectorKernels(), plain) }

// fastest is the default kernel.
var fastest = kernels()[0]

func (k kernel) String() string {
	switch k {
	case best:
		return "best"
	case plain:
		return "plain Go"
	}
	return kernelName(k)
}

func (k kernel) gather(d *decimator, g *gather, words []uint32, frames, stride int) {
	if k == plain {
		d.gather(g, words, frames, stride)
	} else {
		gatherVector(k, g, d, words, frames, stride)
	}
}

func (k kernel) power(t *transform, in, out []float32) {
	if k == plain {
		t.power(in, out)
	} else {
		powerVector(k, t, in, out)
	}
}

func (k kernel) bands(b []band, gain, power, sums []float32) {
	if k == plain {
		bandSums(b, gain, power, sums)
	} else if len(b) > 0 {
		bandsVector(k, b, gain, power, sums)
	}
}

func (k kernel) follow(f *Follower, music []Chroma, from, to int, like []float32, at []int32) {
	if k == plain {
		f.follow(music, from, to, like, at)
	} else {
		followVector(k, f, music, from, to, like, at)
	}
}

func (k kernel) agree(g *Agreement, a, b *Print) {
	if k == plain {
		g.agree(a, b)
	} else {
		agreeVector(k, g, a, b)
	}
}
