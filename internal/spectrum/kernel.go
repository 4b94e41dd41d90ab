package spectrum

// kernel is a way to compute. All give the same bits; what the processor has
// decides how fast.
type kernel uint8

const (
	best  kernel = iota // the fastest that runs here
	plain               // in Go
	// The kernels in C follow; see vector_api.h.
)

// kernels returns what runs here, the fastest first, plain Go last.
func kernels() []kernel { return append(vectorKernels(), plain) }

func (k kernel) String() string {
	switch k {
	case best:
		return "best"
	case plain:
		return "plain Go"
	}
	return kernelName(k)
}

func (k kernel) interleaved(d *decimator, g *gather, lanes int, src []byte, frames, stride int) {
	if k == plain {
		d.interleaved(g, lanes, src, frames, stride)
	} else {
		gatherVector(k, g, d, lanes, src, frames, stride)
	}
}

func (k kernel) alone(d *decimator, g *gather, lane int, src []byte, frames, stride int) {
	if k == plain {
		d.alone(g, lane, src, frames, stride)
	} else {
		gatherVector(k, g, d, -lane-1, src, frames, stride)
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
