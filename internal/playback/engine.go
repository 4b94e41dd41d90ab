package playback

import (
	"context"
	"math"
	"sync"
	"sync/atomic"
	"time"

	"nightreel/catalog"
	"nightreel/internal/tracks"
)

// Engine plays a program. A sink pulls audio from it with [Engine.Pull];
// commands come through [Engine.Do]; a goroutine of its own reads ahead.
//
// That goroutine, the commands and the pull share only atomics: the pull never
// waits and allocates nothing.
type Engine struct {
	prog  *Program
	src   *source
	rate  int
	width int // outputs in use, samples in a frame of the rings

	rings  [2]*ring
	tracks [2]track // guarded by mu

	// Inputs of the pull. Gains are float32 bits.
	pending atomic.Pointer[swap]
	gate    atomic.Uint64 // frames of the ramp <<1 | open
	level   atomic.Uint32
	gains   []atomic.Uint32 // live trim of each output
	muted   []atomic.Bool   // one an output
	tone    atomic.Pointer[tone]
	toneOff atomic.Bool

	// Outputs of the pull.
	current   atomic.Int32  // ring that is played
	using     atomic.Uint32 // bit set of the rings that the pull may touch
	shut      atomic.Bool   // the gate is closed: the rings are not audible
	ended     atomic.Bool   // the program's end was played
	starved   atomic.Bool   // silent until there is data
	toneAt    atomic.Int32  // output that the tone is on, from 1; 0 = none
	underruns atomic.Int64
	pulled    atomic.Int64    // frames
	peaks     []atomic.Uint32 // one an output, since they were last read
	levelNow  atomic.Uint32   // while it rises to level
	gainsNow  []atomic.Uint32 // while they rise to gains
	limited   []atomic.Int64  // one an output: samples cut to full scale

	head head // used by the pull only

	wake chan struct{} // wakes the reader for new orders
	news chan struct{} // wakes Wait after the reader's work
	quit chan struct{}
	done chan struct{}

	mu       sync.Mutex
	armed    bool
	lost     string // why the device is gone
	state    State
	rules    rules
	want     *position // jump for the reader to prepare
	rerule   bool      // the rules changed: what was read ahead may be wrong
	playWant bool      // play when the jump is ready
	busy     bool      // the reader prepares a ring that follows new rules
	blocked  bool      // rerule waits for room in the ring
	next     int       // ring that is being filled
	trims    []float64
	listed   []float64 // one an input: the highest trim that the session gives it
	mutes    []bool
	levelDB  float64
	toneDB   float64
	cut      []int64 // samples cut to full scale, one an input, at the last Status
	cutUntil int64   // frame until which Status reports them
}

// safeFade is the length in seconds of fades without a command: for a slow disk,
// an unreadable file, the end of the program.
const safeFade = 0.010

// ringBytes bounds the size of both rings together; readAheadS is their length
// in seconds if that allows it.
const (
	ringBytes  = 128 << 20
	readAheadS = 2.0
)

// NewEngine opens the program's recordings and reads the first audio ahead. It
// starts unarmed, stopped at the first item, at [StartLevelDB]. Close it after
// use.
//
// A recording that cannot be opened is a problem in the status; if none can be
// opened, it returns an error.
func NewEngine(p *Program, open tracks.OpenFunc) (*Engine, error) {
	e := &Engine{prog: p, src: newSource(p, open), rate: p.Rate, width: p.Outputs, state: Unarmed,
		gains: make([]atomic.Uint32, p.Outputs), gainsNow: make([]atomic.Uint32, p.Outputs), muted: make([]atomic.Bool, p.Outputs),
		peaks: make([]atomic.Uint32, p.Outputs), limited: make([]atomic.Int64, p.Outputs),
		trims: make([]float64, len(p.Inputs)), mutes: make([]bool, len(p.Inputs)), cut: make([]int64, len(p.Inputs)),
		wake: make(chan struct{}, 1), news: make(chan struct{}, 1), quit: make(chan struct{}), done: make(chan struct{})}
	var err error
	if e.listed, err = p.listedTrims(); err == nil {
		err = e.src.openAll()
	}
	if err != nil {
		e.src.close()
		return nil, err
	}
	frames := 1 << 12
	for float64(frames) < readAheadS*float64(e.rate) {
		frames *= 2
	}
	for 2*4*frames*e.width > ringBytes && frames > 1<<15 {
		frames /= 2
	}
	for i := range e.rings {
		e.rings[i] = newRing(frames, e.width)
	}
	for _, it := range p.Items {
		e.rules.lengths = append(e.rules.lengths, it.Frames)
	}
	e.rules.fade = e.frames(DefaultFadeMS / 1000)
	for i := range e.gains {
		e.gains[i].Store(math.Float32bits(1))
		e.gainsNow[i].Store(math.Float32bits(1))
	}
	e.setLevel(StartLevelDB)
	e.levelNow.Store(e.level.Load())
	e.head.init(e)
	e.using.Store(1)
	e.shut.Store(true)
	first := e.rules.start(0)
	e.next = 0
	r := newReader(e)
	e.tracks[0].reset(first)
	r.begin(first)
	r.fill(true)
	go r.run()
	return e, nil
}

// Close stops reading and closes the recordings. The sink must have stopped.
func (e *Engine) Close() {
	close(e.quit)
	<-e.done
	e.src.close()
}

// frames returns the number of frames of a time in seconds.
func (e *Engine) frames(seconds float64) int { return int(math.Round(seconds * float64(e.rate))) }

// signal wakes the reader.
func (e *Engine) signal() {
	select {
	case e.wake <- struct{}{}:
	default:
	}
}

// Wait waits until all commands have taken effect and n frames can be pulled
// without running dry, so that a sink without a clock never outruns the disk. It
// returns at once while the output is silent anyway. Only the goroutine that
// pulls may call it.
func (e *Engine) Wait(ctx context.Context, n int) error {
	for !e.prepared(uint64(n)) {
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-e.news:
		}
	}
	return nil
}

func (e *Engine) prepared(n uint64) bool {
	e.mu.Lock()
	defer e.mu.Unlock()
	if e.want != nil || e.busy || e.rerule && !e.blocked || e.ended.Load() && e.pending.Load() == nil {
		return false
	}
	ring := e.rings[e.current.Load()]
	if s := e.pending.Load(); s != nil {
		if s.at > 0 && ring.taken.Load()+n < s.at {
			return true
		}
		ring = e.rings[s.ring]
	} else if e.state != Playing && e.shut.Load() {
		return true
	}
	return ring.end.Load() != noEnd || ring.ready.Load()-ring.taken.Load() >= n+uint64(e.head.resume)
}

// setGate opens or closes the gate with a ramp in seconds.
func (e *Engine) setGate(open bool, seconds float64) {
	v := uint64(e.frames(seconds)) << 1
	if open {
		v |= 1
	}
	e.gate.Store(v)
}

func (e *Engine) setLevel(db float64) {
	e.levelDB = db
	e.level.Store(math.Float32bits(amplitude(db)))
}

// setGain sets an input's trim and mute for the pull.
func (e *Engine) setGain(i int) {
	o := e.prog.Inputs[i].Output - 1
	e.gains[o].Store(math.Float32bits(amplitude(e.trims[i])))
	e.muted[o].Store(e.mutes[i])
}

// soundingDB returns the present value of a level or trim in dB: goalDB, or less
// while the pull raises it.
func soundingDB(goalDB float64, goal, now *atomic.Uint32) float64 {
	g, n := math.Float32frombits(goal.Load()), math.Float32frombits(now.Load())
	if n >= g {
		return goalDB
	}
	return min(goalDB, max(MinLevelDB, 20*math.Log10(float64(n))))
}

// levelNowDB and trimNowDB are the present values of the overall level and of an
// input's live trim while they rise.
func (e *Engine) levelNowDB() float64 { return soundingDB(e.levelDB, &e.level, &e.levelNow) }

func (e *Engine) trimNowDB(i int) float64 {
	o := e.prog.Inputs[i].Output - 1
	return soundingDB(e.trims[i], &e.gains[o], &e.gainsNow[o])
}

// Restore sets the live trims of inputs, by desk input, to those that a person
// left. Call it before the sink starts: later every rise is a ramp.
func (e *Engine) Restore(trims map[int]float64) {
	for i, in := range e.prog.Inputs {
		db, ok := trims[in.DeskInput]
		if !ok || !within(db, MinTrimDB, MaxTrimDB) {
			continue
		}
		e.trims[i] = min(db, catalog.MostTrimDB-max(0, e.listed[i]))
		e.setGain(i)
		o := in.Output - 1
		e.gainsNow[o].Store(e.gains[o].Load())
		e.head.trims[o] = math.Float32frombits(e.gains[o].Load())
	}
}

// amplitude is exactly 1 at 0 dB, and 0 at MinLevelDB and below.
func amplitude(db float64) float32 {
	if db <= MinLevelDB {
		return 0
	}
	return float32(math.Pow(10, db/20))
}

// idle is how long the reader sleeps when there is nothing to read: well below
// the length of the rings and below what a person notices.
const idle = 5 * time.Millisecond
