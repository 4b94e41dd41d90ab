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
// commands come by [Engine.Do]; a goroutine of its own reads ahead.
//
// Between that goroutine, the commands and the pull there are only atomics: the
// pull never waits, and allocates nothing.
type Engine struct {
	prog  *Program
	src   *source
	rate  int
	width int // outputs in use, samples in a frame of the rings

	rings  [2]*ring
	tracks [2]track // guarded by mu

	// What the pull is told. Gains are float32 bits.
	pending atomic.Pointer[swap]
	gate    atomic.Uint64 // frames of the ramp <<1 | open
	level   atomic.Uint32
	gains   []atomic.Uint32 // live trim of each output
	muted   []atomic.Bool   // one an output
	tone    atomic.Pointer[tone]
	toneOff atomic.Bool

	// What the pull tells.
	current   atomic.Int32  // ring that is played
	using     atomic.Uint32 // bit set of the rings that the pull may touch
	shut      atomic.Bool   // the gate is closed, nothing of the rings is heard
	ended     atomic.Bool   // the program's end was played
	starved   atomic.Bool   // silent until there is data
	toneAt    atomic.Int32  // output that the tone is on, from 1; 0 = none
	underruns atomic.Int64
	pulled    atomic.Int64    // frames
	peaks     []atomic.Uint32 // one an output, since they were last asked
	levelNow  atomic.Uint32   // on its way up to level
	gainsNow  []atomic.Uint32 // on their way up to gains
	limited   []atomic.Int64  // one an output: samples cut to full scale

	head head // the pull's own

	wake chan struct{} // tells the reader that there are orders
	news chan struct{} // tells Wait that the reader has done something
	quit chan struct{}
	done chan struct{}

	mu       sync.Mutex
	armed    bool
	lost     string // why the device is gone
	state    State
	rules    rules
	want     *place // jump that the reader has to prepare
	rerule   bool   // the rules changed: what was read ahead may be wrong
	playWant bool   // play when the jump is ready
	busy     bool   // the reader makes a ring that follows new rules
	blocked  bool   // rerule waits for room in the ring
	next     int    // ring that is being filled
	trims    []float64
	listed   []float64 // one an input: the highest trim that the session gives it
	mutes    []bool
	levelDB  float64
	toneDB   float64
	cut      []int64 // samples cut to full scale, one an input, when Status last looked
	cutUntil int64   // frame until which Status reports them
}

// safeFade is the shortest fade in seconds with which sound comes and goes when
// nobody asked for it: a slow disk, an unreadable file, the end.
const safeFade = 0.010

// ringBytes bounds the two rings together, readAheadS is what they hold if
// that allows it.
const (
	ringBytes  = 128 << 20
	readAheadS = 2.0
)

// NewEngine opens the program's recordings and reads the first audio ahead.
// It is unarmed, stopped at the first item, at [StartLevelDB]. Close it.
//
// A recording that cannot be opened is a problem of the status; an error is
// returned where none can.
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

// frames returns how many frames last for a time in seconds.
func (e *Engine) frames(seconds float64) int { return int(math.Round(seconds * float64(e.rate))) }

// signal wakes the reader.
func (e *Engine) signal() {
	select {
	case e.wake <- struct{}{}:
	default:
	}
}

// Wait waits until all commands have taken hold and n frames can be pulled
// without running dry, so that a sink without a clock never outruns the disk.
// It returns at once where nothing would be heard anyway. It is for one caller,
// the one that pulls.
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

// setGate opens or closes the way out, within a ramp in seconds.
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

// setGain gives the pull an input's trim and mute.
func (e *Engine) setGain(i int) {
	o := e.prog.Inputs[i].Output - 1
	e.gains[o].Store(math.Float32bits(amplitude(e.trims[i])))
	e.muted[o].Store(e.mutes[i])
}

// soundingDB returns a level or trim in dB as it is now: goalDB, or less while
// the pull is on its way up to it.
func soundingDB(goalDB float64, goal, now *atomic.Uint32) float64 {
	g, n := math.Float32frombits(goal.Load()), math.Float32frombits(now.Load())
	if n >= g {
		return goalDB
	}
	return min(goalDB, max(MinLevelDB, 20*math.Log10(float64(n))))
}

// levelNowDB and trimNowDB are where the overall level and an input's live trim
// are on their way up.
func (e *Engine) levelNowDB() float64 { return soundingDB(e.levelDB, &e.level, &e.levelNow) }

func (e *Engine) trimNowDB(i int) float64 {
	o := e.prog.Inputs[i].Output - 1
	return soundingDB(e.trims[i], &e.gains[o], &e.gainsNow[o])
}

// Restore gives inputs, by desk input, the live trims that a person left them
// at. Call it before the sink starts: later every rise is a ramp.
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
// what the rings hold and what a person feels.
const idle = 5 * time.Millisecond
