package playback

import "math"

// swap tells the pull to continue with another ring.
type swap struct {
	ring int
	at   uint64 // frame of the current ring to change at; 0 = at once
	// shut delays the swap until the gate is closed, so that a stop does not
	// jump while it still sounds.
	shut bool
	fade []float32 // gains of the new ring, one a frame; the old ring has them in reverse. Empty = a cut
	// late is the fade if the frame at was missed. The new ring continues in
	// time from frame at: the missed frames are left out.
	late []float32
}

// head is used by the pull only.
type head struct {
	cur    int
	old    int // ring that fades out; -1 = none
	fade   []float32
	fadeAt int

	gate     float32 // now
	gateStep float32
	gateLeft int
	gateSeen uint64

	drainLen, drainAt int // fade before the ring runs dry; 0 = none
	starved           bool
	rise              int // remaining frames of the fade-in after a drought

	level               float32 // overall
	up                  float32 // largest factor that an output rises by in safeFade
	trims               []float32
	open                []float32 // 0 while an output is muted, then up to 1
	gains, steps, goals []float32
	peaks               []uint32
	gainLeft            int
	tone                toneHead

	safe   int // frames of safeFade
	resume uint64
}

func (h *head) init(e *Engine) {
	h.old = -1
	h.safe = max(1, e.frames(safeFade))
	h.resume = uint64(10 * h.safe)
	h.gains, h.steps, h.goals = make([]float32, e.width), make([]float32, e.width), make([]float32, e.width)
	h.peaks = make([]uint32, e.width)
	h.level, h.trims, h.open = math.Float32frombits(e.levelNow.Load()), make([]float32, e.width), make([]float32, e.width)
	for o := range h.trims {
		h.trims[o], h.open[o] = math.Float32frombits(e.gainsNow[o].Load()), 1
	}
	h.up = float32(math.Pow(10, RiseDBPerS/20*float64(h.safe)/float64(e.rate)))
	h.gateSeen = e.gate.Load()
}

// Pull fills dst with the next frames, interleaved, of the given number of
// channels. Outputs beyond the program's get silence. channels must be at least
// the number of the program's outputs.
//
// Only one goroutine or thread at a time may call it, the audio callback. It
// never waits, and does not allocate.
func (e *Engine) Pull(dst []float32, channels int) {
	frames := len(dst) / channels
	whole := dst
	h := &e.head
	e.watchGate(h)
	for frames > 0 {
		if h.gateLeft == 0 && h.gate == 0 {
			if h.old >= 0 {
				h.old = -1 // the rest of that fade is inaudible
				e.using.Store(1 << h.cur)
			}
			e.takeSwap(h, true)
			e.shut.Store(true)
			clear(dst)
			break
		}
		e.shut.Store(false)
		n := min(frames, e.takeSwap(h, false))
		if h.gateLeft > 0 {
			n = min(n, h.gateLeft) // so that a closing gate stops on its frame
		}
		n = e.play(h, dst[:n*channels], channels)
		dst, frames = dst[n*channels:], frames-n
	}
	e.applyGains(h, whole, channels)
	e.playTone(h, whole, channels)
	e.meter(h, whole, channels)
	e.pulled.Add(int64(len(whole) / channels))
}

// watchGate starts a ramp if the gate was moved.
func (e *Engine) watchGate(h *head) {
	want := e.gate.Load()
	if want == h.gateSeen {
		return
	}
	h.gateSeen = want
	goal := float32(want & 1)
	h.gateLeft = int(want >> 1)
	if h.gateLeft == 0 || goal == h.gate {
		h.gate, h.gateLeft = goal, 0
		return
	}
	h.gateStep = (goal - h.gate) / float32(h.gateLeft)
}

// takeSwap switches to the other ring when it is time, and returns how many
// frames may be played before it is.
func (e *Engine) takeSwap(h *head, shut bool) int {
	s := e.pending.Load()
	if s == nil || h.old >= 0 {
		return math.MaxInt
	}
	if s.shut && !shut && h.gateSeen&1 == 0 {
		return math.MaxInt
	}
	now := e.rings[h.cur].taken.Load()
	if now < s.at {
		return int(min(s.at-now, math.MaxInt32))
	}
	// Set it before taking the swap, so that the reader never sees both rings
	// idle and no swap pending while there is one.
	e.using.Store(3)
	if !e.pending.CompareAndSwap(s, nil) {
		e.using.Store(1 << h.cur)
		return math.MaxInt // withdrawn
	}
	fresh := e.rings[s.ring]
	fade := s.fade
	if missed := now - s.at; s.at > 0 && missed > 0 {
		fade = s.late
		fresh.taken.Store(min(missed, fresh.ready.Load()))
	}
	crossing := h.gate != 0 && len(fade) > 0 && !h.starved
	if crossing {
		h.old, h.fade, h.fadeAt = h.cur, fade, 0
	}
	h.cur = s.ring
	h.drainLen, h.drainAt = 0, 0
	e.ended.Store(false)
	e.current.Store(int32(s.ring))
	if !crossing {
		e.using.Store(1 << s.ring)
	}
	return math.MaxInt
}

// play writes at most the frames of dst from the rings, with fades and the gate,
// and returns their number.
func (e *Engine) play(h *head, dst []float32, channels int) int {
	r := e.rings[h.cur]
	n := len(dst) / channels
	avail := r.ready.Load() - r.taken.Load()
	finished := r.end.Load() != noEnd
	if h.starved && (avail >= h.resume || finished) {
		h.starved, h.rise = false, h.safe
		e.starved.Store(false)
	}
	switch {
	case avail == 0 && finished:
		clear(dst)
		h.gate, h.gateLeft = 0, 0
		if e.gate.CompareAndSwap(h.gateSeen, 0) { // on failure another goroutine has just moved it
			h.gateSeen = 0
		}
		e.ended.Store(true)
		return n
	case h.starved || avail == 0:
		if !h.starved {
			e.dry(h)
		}
		clear(dst)
		e.moveGate(h, n)
		return n
	case finished:
		n = int(min(uint64(n), avail))
	case h.drainLen == 0 && avail <= uint64(h.safe):
		h.drainLen, h.drainAt = int(avail), 0
	case h.drainLen == 0:
		n = int(min(uint64(n), avail-uint64(h.safe)))
	}
	if h.drainLen > 0 {
		n = min(n, h.drainLen-h.drainAt)
	}
	if h.old >= 0 {
		n = min(n, len(h.fade)-h.fadeAt)
	}
	dst = dst[:n*channels]
	if channels > r.width {
		clear(dst)
	}
	r.take(dst, channels, uint64(n))
	if h.old >= 0 {
		e.cross(h, dst, channels, n)
	}
	if h.drainLen > 0 {
		for f := range n {
			scale(dst[f*channels:f*channels+e.width], 1-float32(h.drainAt+f+1)/float32(h.drainLen))
		}
		if h.drainAt += n; h.drainAt == h.drainLen {
			e.dry(h)
		}
	}
	for f := 0; h.rise > 0 && f < n; f++ {
		scale(dst[f*channels:f*channels+e.width], 1-float32(h.rise)/float32(h.safe))
		h.rise--
	}
	if h.gateLeft > 0 {
		for f := range n {
			e.moveGate(h, 1)
			scale(dst[f*channels:f*channels+e.width], h.gate)
		}
	} else if h.gate != 1 {
		for f := range n {
			scale(dst[f*channels:f*channels+e.width], h.gate)
		}
	}
	return n
}

// dry sets that there is nothing left to play.
func (e *Engine) dry(h *head) {
	h.starved, h.drainLen, h.drainAt = true, 0, 0
	e.starved.Store(true)
	e.underruns.Add(1)
	if h.old >= 0 {
		h.old = -1
		e.using.Store(1 << h.cur)
	}
}

// moveGate moves the gate along its ramp by n frames.
func (e *Engine) moveGate(h *head, n int) {
	if h.gateLeft == 0 {
		return
	}
	n = min(n, h.gateLeft)
	h.gateLeft -= n
	h.gate += h.gateStep * float32(n)
	if h.gateLeft == 0 {
		h.gate = float32(h.gateSeen & 1)
	}
}

// cross fades out the old ring and adds it to the new one, which is in dst.
func (e *Engine) cross(h *head, dst []float32, channels, n int) {
	old := e.rings[h.old]
	at := old.taken.Load()
	there := int(min(old.ready.Load()-at, uint64(n)))
	for f := range n {
		row := dst[f*channels : f*channels+e.width]
		in := h.fade[h.fadeAt+f]
		scale(row, in)
		if f < there {
			out := h.fade[len(h.fade)-1-h.fadeAt-f]
			src := old.span(at+uint64(f), 1)
			for c, x := range src {
				row[c] += x * out
			}
		}
	}
	old.taken.Store(at + uint64(there))
	if h.fadeAt += n; h.fadeAt == len(h.fade) {
		h.old = -1
		e.using.Store(1 << h.cur)
	}
}

// applyGains multiplies every output by its trim and the overall level. Gains
// move to new values within safeFade, and rise by RiseDBPerS at most. At exactly
// 1 it leaves the samples unchanged.
func (e *Engine) applyGains(h *head, dst []float32, channels int) {
	for len(dst) > 0 {
		e.climb(h)
		n := h.safe
		if h.gainLeft > 0 {
			n = h.gainLeft // a step up begins after the last one has ended
		}
		n = min(n*channels, len(dst))
		e.moveGains(h, dst[:n], channels)
		dst = dst[n:]
	}
}

const (
	// quietest is the amplitude at which a rise from silence begins: MinLevelDB.
	quietest = 1e-4
	// opening is the factor at which an output that was muted, or a steady tone,
	// begins to rise: UnmuteDB.
	opening = 0.1
)

// climb moves the overall level and the live trims to their set values, and opens
// outputs that are no longer muted: down at once, up by what RiseDBPerS allows in
// safeFade, level, trim and opening together.
func (e *Engine) climb(h *head) {
	up := h.up
	if h.gainLeft > 0 {
		up = 1
	}
	if goal := math.Float32frombits(e.level.Load()); goal != h.level {
		before := max(h.level, quietest)
		h.level = climbed(h.level, goal, up)
		e.levelNow.Store(math.Float32bits(h.level))
		up = max(1, min(up, up*before/max(h.level, quietest)))
	}
	for o := range h.trims {
		up := up
		if goal := math.Float32frombits(e.gains[o].Load()); goal != h.trims[o] {
			before := max(h.trims[o], quietest)
			h.trims[o] = climbed(h.trims[o], goal, up)
			e.gainsNow[o].Store(math.Float32bits(h.trims[o]))
			up = max(1, min(up, up*before/max(h.trims[o], quietest)))
		}
		switch {
		case e.muted[o].Load():
			h.open[o] = 0
		case h.open[o] == 0 && h.gainLeft == 0:
			h.open[o] = opening
		case h.open[o] > 0:
			h.open[o] = min(1, h.open[o]*up)
		}
	}
}

func climbed(now, goal, up float32) float32 {
	switch {
	case goal <= now:
		return goal
	case up == 1:
		return now
	}
	return min(goal, max(now, quietest)*up)
}

// moveGains multiplies at most safeFade of frames by the gains.
func (e *Engine) moveGains(h *head, dst []float32, channels int) {
	moved, unity := false, true
	for o := range h.goals {
		g := h.level * h.trims[o] * h.open[o]
		if g != h.goals[o] {
			h.goals[o], moved = g, true
		}
		unity = unity && h.gains[o] == 1
	}
	if moved {
		h.gainLeft = h.safe
		for o := range h.goals {
			h.steps[o] = (h.goals[o] - h.gains[o]) / float32(h.safe)
		}
	}
	if h.gainLeft == 0 && unity {
		return
	}
	for len(dst) > 0 {
		if h.gainLeft > 0 {
			h.gainLeft--
			for o := range h.gains {
				h.gains[o] += h.steps[o]
			}
			if h.gainLeft == 0 {
				copy(h.gains, h.goals)
			}
		}
		gains := h.gains
		row := dst[:len(gains)]
		for o, g := range gains {
			row[o] *= g
		}
		dst = dst[channels:]
	}
}

// meter updates the peak of every output, and cuts samples above full scale.
// Without its sign a float sorts as its bits do.
func (e *Engine) meter(h *head, dst []float32, channels int) {
	whole, peaks := dst, h.peaks
	clear(peaks)
	for ; len(dst) > 0; dst = dst[channels:] {
		row := dst[:len(peaks)]
		for o := range peaks {
			if b := math.Float32bits(row[o]) &^ (1 << 31); b > peaks[o] {
				peaks[o] = b
			}
		}
	}
	for o, b := range peaks {
		if b > fullScale {
			e.limit(o, whole, channels)
			b = fullScale
		}
		if b > e.peaks[o].Load() {
			e.peaks[o].Store(b)
		}
	}
}

// fullScale is 1 as the bits of a float32.
const fullScale = 127 << 23

// limit cuts an output to full scale, and NaN to silence, and counts these
// samples. Nothing above full scale reaches a device.
func (e *Engine) limit(o int, dst []float32, channels int) {
	n := int64(0)
	for i := o; i < len(dst); i += channels {
		switch x := dst[i]; {
		case x > 1:
			dst[i] = 1
		case x < -1:
			dst[i] = -1
		case x != x:
			dst[i] = 0
		default:
			continue
		}
		n++
	}
	e.limited[o].Add(n)
}

func scale(row []float32, g float32) {
	for i := range row {
		row[i] *= g
	}
}
