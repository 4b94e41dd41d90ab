package playback

import (
	"math"
	"time"
)

// reader fills the rings. It is one goroutine. While it waits for a disk, the
// pull plays what is in the ring, and then silence.
type reader struct {
	e       *Engine
	rules   rules // rules by which the rings are filled; the engine's may be newer
	writers [2]writer
	fadeIn  []float32
	bad     []bool
	jumped  *position // target of the pending swap; nil for one that only follows new rules
	hold    uint64    // frames held back, so that a failing file can be faded out first
	most    int       // frames of the largest block
}

// writer is the fill state of a ring.
type writer struct {
	at      position // to be read next
	w       uint64   // frames written, published or not
	ended   bool
	block   int       // frames of the next block
	tail    []float32 // audio from before a jump, still to be faded out
	tailAt  int       // frames of the tail that are already mixed in
	fadeIn  []float32 // the tail's fade
	lastBad []bool
}

// The first block after a jump lasts as long as a cold disk needs for the
// second. Then blocks double, since long reads cost a disk less.
const (
	firstBlockS = 0.100
	mostBlockS  = 0.250
)

// steadyS is how much is read, in seconds, before a jump replaces what sounds.
// While that plays, the delay is inaudible; with the first block alone, a
// machine with 25 busy threads once read the second too late.
const steadyS = 0.5

// leadS is how far ahead of the present position, in seconds, a change of rules
// takes effect: longer than reading the first block takes.
const leadS = 0.150

func newReader(e *Engine) *reader {
	r := &reader{e: e, rules: e.rules, bad: make([]bool, e.width), hold: uint64(e.frames(safeFade)), most: e.frames(mostBlockS)}
	for i := range r.writers {
		r.writers[i].lastBad = make([]bool, e.width)
	}
	r.fadeIn = fadeIn(e.rules.fade)
	return r
}

// fadeIn returns the gains of an equal-power fade of n frames: its square and
// that of its reverse add up to 1.
func fadeIn(n int) []float32 {
	g := make([]float32, n)
	for i := range g {
		g[i] = float32(math.Sin(math.Pi / 2 * (float64(i) + 0.5) / float64(n)))
	}
	return g
}

func (r *reader) run() {
	defer close(r.e.done)
	timer := time.NewTimer(idle)
	for {
		select {
		case <-r.e.quit:
			return
		default:
		}
		r.e.settle()
		if r.orders() || r.fill(false) {
			select {
			case r.e.news <- struct{}{}:
			default:
			}
			continue
		}
		timer.Reset(idle)
		select {
		case <-r.e.quit:
			return
		case <-r.e.wake:
		case <-timer.C:
		}
	}
}

// acquire returns a ring that the pull does not use, and withdraws a pending
// swap. ok is false while a fade uses both.
func (r *reader) acquire() (free int, ok bool) {
	if s := r.e.pending.Load(); s != nil && r.e.pending.CompareAndSwap(s, nil) {
		return s.ring, true
	}
	cur := int(r.e.current.Load())
	return 1 - cur, r.e.using.Load() == 1<<cur
}

// begin sets the position at which the next ring starts.
func (r *reader) begin(p position) {
	w := &r.writers[r.e.next]
	w.at, w.w, w.ended, w.block = p, 0, false, r.e.frames(firstBlockS)
	w.tail, w.tailAt = w.tail[:0], 0
	clear(w.lastBad)
	r.e.rings[r.e.next].reset()
}

// orders carries out what commands requested. It returns true if there was
// anything to do.
func (r *reader) orders() bool {
	e := r.e
	e.mu.Lock()
	if e.want == nil && !e.rerule {
		e.mu.Unlock()
		return false
	}
	free, ok := r.acquire()
	if !ok {
		e.mu.Unlock()
		return false
	}
	if e.want == nil && r.jumped != nil && e.next == free {
		e.want = r.jumped // the jump was prepared by the old rules
	}
	r.jumped = nil
	if e.want == nil {
		e.next = 1 - free
		done := r.follow(free)
		e.mu.Unlock()
		return done
	}
	to := *e.want
	r.adopt()
	e.next = free
	e.tracks[free].reset(to)
	e.mu.Unlock()

	r.begin(to)
	for r.fill(true) && !r.ripe(to) {
	}

	e.mu.Lock()
	defer e.mu.Unlock()
	if e.want != nil && *e.want == to {
		e.want = nil
	} // otherwise a newer command replaced the jump
	r.jumped = &to
	e.pending.Store(&swap{ring: free, shut: e.state != Playing, fade: r.fadeIn})
	if e.playWant && e.want == nil {
		e.playWant = false
		e.setGate(true, e.fadeSeconds())
	}
	return true
}

// ripe reports whether a jump may take over: nothing sounds yet, enough is read,
// or other orders have come meanwhile.
func (r *reader) ripe(to position) bool {
	e := r.e
	e.mu.Lock()
	defer e.mu.Unlock()
	return e.state != Playing || e.playWant || r.writers[e.next].w >= uint64(e.frames(steadyS)) || e.want == nil || *e.want != to
}

// adopt takes over the rules that commands set. The caller must hold e.mu.
func (r *reader) adopt() {
	r.rules, r.e.rerule, r.e.blocked = r.e.rules, false, false
	if len(r.fadeIn) != r.rules.fade {
		r.fadeIn = fadeIn(r.rules.fade)
	}
}

// follow makes what was read ahead follow new rules, from the first frame at
// which they differ. The caller must hold e.mu; it is released while the disk is
// read.
func (r *reader) follow(free int) bool {
	e := r.e
	cur := 1 - free
	ring, t := e.rings[cur], &e.tracks[cur]
	from := ring.taken.Load() + uint64(e.frames(leadS))
	c, differs := t.diverge(min(from, ring.ready.Load()), ring.ready.Load(), &e.rules)
	if !differs {
		r.adopt()
		return true
	}
	if need := c.at + uint64(e.rules.fade) + 2*r.hold; need > ring.ready.Load() && !r.writers[cur].ended {
		// The fade-out needs more audio by the old rules: read it first.
		e.mu.Unlock()
		filled := r.fill(false)
		e.mu.Lock()
		e.blocked = !filled
		return filled
	}
	r.adopt()
	e.next, e.busy = free, true
	t = &e.tracks[free]
	t.reset(c.want)
	e.mu.Unlock()
	r.begin(c.want)
	r.fill(true)
	e.mu.Lock()
	e.busy = false
	s := &swap{ring: free, at: max(1, c.at), late: r.fadeIn}
	if c.jump {
		s.fade = r.fadeIn
	}
	e.pending.Store(s)
	return true
}

// fill reads one block into the present ring. It returns false if there is no
// room or nothing more to read.
func (r *reader) fill(many bool) bool {
	e := r.e
	w, ring, t := &r.writers[e.next], e.rings[e.next], &e.tracks[e.next]
	room := ring.frames() - (w.w - ring.taken.Load())
	if w.ended || room < uint64(w.block+r.rules.fade)+r.hold {
		return false
	}
	// While the ring is nearly empty, read files in parallel: on a crowded
	// machine one after another once came too late for the second block.
	many = many || w.w < uint64(e.rate)
	run, next, more := r.rules.run(w.at)
	n := min(uint64(w.block), uint64(run))
	for left := n; left > 0; {
		dst := ring.span(w.w, left)
		k := uint64(len(dst) / e.width)
		e.src.read(dst, w.at, r.bad, many)
		r.join(w, ring, dst)
		w.mix(dst, e.width)
		w.w, w.at.frame, left = w.w+k, w.at.frame+int64(k), left-k
	}
	w.block = min(2*w.block, r.most)
	switch {
	case n < uint64(run):
	case more:
		w.tail = grow(w.tail, r.rules.fade*e.width)
		w.tailAt, w.fadeIn = 0, r.fadeIn
		e.src.read(w.tail, w.at, r.bad, many)
		r.join(w, ring, w.tail)
		e.mu.Lock()
		t.add(mark{w.w, next, true}, ring.taken.Load())
		e.mu.Unlock()
		w.at = next
	default:
		r.finish(w, ring, t)
		return true
	}
	ring.ready.Store(max(ring.ready.Load(), w.w-min(w.w, r.hold)))
	return true
}

// finish fades out the program's end.
func (r *reader) finish(w *writer, ring *ring, t *track) {
	e := r.e
	end := w.w
	n := max(r.rules.fade, int(r.hold))
	tail := make([]float32, n*e.width)
	e.src.read(tail, w.at, r.bad, false)
	r.join(w, ring, tail)
	w.mix(tail, e.width)
	for f := range n {
		scale(tail[f*e.width:(f+1)*e.width], float32(math.Cos(math.Pi/2*(float64(f)+0.5)/float64(n))))
	}
	for len(tail) > 0 {
		k := copy(ring.span(w.w, uint64(len(tail)/e.width)), tail)
		w.w, tail = w.w+uint64(k/e.width), tail[k:]
	}
	w.ended = true
	e.mu.Lock()
	t.ends = end
	e.mu.Unlock()
	ring.ready.Store(w.w)
	ring.end.Store(w.w)
}

// join fades out outputs whose files fail from this block on, in the frames that
// were held back, and fades in those that came back.
func (r *reader) join(w *writer, ring *ring, dst []float32) {
	width := r.e.width
	for o, bad := range r.bad {
		if bad == w.lastBad[o] {
			continue
		}
		w.lastBad[o] = bad
		if bad {
			held := w.w - ring.ready.Load()
			for k := range held {
				ring.span(w.w-held+k, 1)[o] *= 1 - float32(k+1)/float32(held)
			}
			continue
		}
		n := min(int(r.hold), len(dst)/width)
		for f := range n {
			dst[f*width+o] *= float32(f) / float32(n)
		}
	}
}

// mix fades out the audio from before a jump and adds it to the frames in dst,
// which fade in.
func (w *writer) mix(dst []float32, width int) {
	total := len(w.fadeIn)
	if len(w.tail) < total*width {
		return // not yet at the jump
	}
	for ; w.tailAt < total && len(dst) > 0; dst = dst[width:] {
		in, out := w.fadeIn[w.tailAt], w.fadeIn[total-1-w.tailAt]
		for o, x := range w.tail[w.tailAt*width : (w.tailAt+1)*width] {
			dst[o] = dst[o]*in + x*out
		}
		w.tailAt++
	}
}
