package playback

import (
	"math"
	"sync/atomic"
)

// ring holds frames read ahead, interleaved, width samples each. One goroutine
// writes and publishes, one takes; neither waits. Its counters are frames since
// the ring was last emptied, on separate cache lines.
type ring struct {
	width int
	mask  uint64 // number of frames in the ring, a power of two, minus one
	buf   []float32

	_     [64]byte
	ready atomic.Uint64 // frames published
	_     [56]byte
	taken atomic.Uint64
	_     [56]byte
	end   atomic.Uint64 // frame at which the program ends; noEnd while it continues
}

const noEnd = math.MaxUint64

func newRing(frames, width int) *ring {
	r := &ring{width: width, mask: uint64(frames) - 1, buf: make([]float32, frames*width)}
	r.end.Store(noEnd)
	return r
}

// reset empties a ring from which nothing is being taken.
func (r *ring) reset() {
	r.ready.Store(0)
	r.taken.Store(0)
	r.end.Store(noEnd)
}

func (r *ring) frames() uint64 { return r.mask + 1 }

// span returns the memory of at most n frames from frame at on, up to where the
// ring wraps.
func (r *ring) span(at, n uint64) []float32 {
	first := at & r.mask
	n = min(n, r.frames()-first)
	return r.buf[first*uint64(r.width) : (first+n)*uint64(r.width)]
}

// take copies n frames, which must be in the ring, to dst, with rows of the
// given number of channels, and leaves the rest of each row unchanged.
func (r *ring) take(dst []float32, channels int, n uint64) {
	at := r.taken.Load()
	r.peek(dst, channels, at, n)
	r.taken.Store(at + n)
}

// peek copies n frames from frame at on.
func (r *ring) peek(dst []float32, channels int, at, n uint64) {
	for n > 0 {
		src := r.span(at, n)
		k := uint64(len(src) / r.width)
		if channels == r.width {
			copy(dst, src)
		} else {
			for f := range int(k) {
				copy(dst[f*channels:f*channels+r.width], src[f*r.width:])
			}
		}
		dst = dst[int(k)*channels:]
		at, n = at+k, n-k
	}
}
