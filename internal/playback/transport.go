package playback

import (
	"fmt"
	"math"
	"slices"

	"nightreel/catalog"
)

// minLoopS is the shortest loop in seconds: a shorter one is a tone, and has no
// room for its fades.
const minLoopS = 0.2

// maxTimeS bounds the times of commands in seconds, so that frames never
// overflow; all items are much shorter.
const maxTimeS = 1e6

// backS is how many seconds after an item's start Previous still goes to that
// start.
const backS = 2

// Do carries out a command. If it needs the disk, it continues in the
// background, and the present audio plays on until then. Errors are
// *[RefusedError]. [Quit] and [Reopen] are handled by the owner of the sink.
func (e *Engine) Do(c Command) error {
	e.mu.Lock()
	defer e.mu.Unlock()
	defer e.signal()
	refuse := func(why, help string) error { return &RefusedError{c.Do, why, help} }
	at, _ := e.where()
	switch c.Do {
	case Acknowledge:
		if e.armed = true; e.state == Unarmed {
			e.state = Stopped
			if at != e.rules.start(at.item) {
				e.state = Paused
			}
		}
	case Play:
		if !e.armed {
			return refuse("the cautions are not acknowledged", "read them, mute PA and monitor sends, clear the stage, then acknowledge")
		}
		if e.lost != "" {
			return refuse(e.lost, "reconnect the device, then reopen")
		}
		if e.tone.Load() != nil {
			return refuse("a test tone is on", "switch it off first")
		}
		e.state = Playing
		if e.want != nil || e.ended.Load() {
			e.playWant = true
		} else {
			e.setGate(true, e.fadeSeconds())
		}
	case Pause:
		e.silence(e.fadeSeconds())
	case FadeOut:
		e.toneOff.Store(true)
		e.silence(FadeOutMS / 1000)
	case Stop:
		e.silence(e.fadeSeconds())
		e.jump(e.rules.start(at.item))
		if e.armed && e.lost == "" {
			e.state = Stopped
		}
	case Next:
		if at.item+1 >= len(e.rules.lengths) {
			return refuse("this is the last song", "")
		}
		e.jump(e.rules.start(at.item + 1))
	case Previous:
		item := at.item
		if float64(at.frame) < backS*float64(e.rate) && item > 0 {
			item--
		}
		e.jump(e.rules.start(item))
	case Locate, Skip, ToMarker:
		return e.locate(c, at, refuse)
	case LoopFrom, LoopTo, LoopOn, LoopOff:
		return e.loop(c, at, refuse)
	case Level:
		if c.DB == nil || !within(*c.DB, MinLevelDB, MaxLevelDB) {
			return refuse(fmt.Sprintf("the overall level must be %g to %g dB", MinLevelDB, MaxLevelDB), "")
		}
		if now := e.levelNowDB(); *c.DB > now+StrokeDB {
			return refuse(steep("the overall level", now, *c.DB))
		}
		e.setLevel(*c.DB)
	case Mute, Trim:
		i := slices.IndexFunc(e.prog.Inputs, func(in ProgramInput) bool { return in.DeskInput == c.Input })
		switch {
		case i < 0:
			return refuse(fmt.Sprintf("desk input %d is not fed from the recording", c.Input), "")
		case c.Do == Mute:
			e.mutes[i] = c.On
		case c.DB == nil || !within(*c.DB, MinTrimDB, MaxTrimDB):
			return refuse(fmt.Sprintf("a trim must be %g to %g dB", MinTrimDB, MaxTrimDB), "")
		default:
			if why, help := e.tooHigh(i, *c.DB, c.Beyond); why != "" {
				return refuse(why, help)
			}
			e.trims[i] = *c.DB
		}
		e.setGain(i)
	case AtEnd:
		if c.Then != "next" && c.Then != "stop" {
			return refuse(`what comes at a song's end is "next" or "stop"`, "")
		}
		e.rules.stop, e.rerule = c.Then == "stop", true
	case Fade:
		if !within(c.MS, 0, 1000) {
			return refuse("a fade must be 0 to 1000 ms", "")
		}
		e.rules.fade, e.rerule = e.frames(c.MS/1000), true
	case Roll:
		if !within(c.ByS, 0, maxPreRollS) {
			return refuse(fmt.Sprintf("the pre-roll must be 0 to %d s", maxPreRollS), "")
		}
		old := e.rules.start(at.item)
		e.rules.preRoll, e.rerule = int64(e.frames(c.ByS)), true
		if e.state != Playing && at == old {
			e.jump(e.rules.start(at.item))
		}
	case Identify, LineUp:
		return e.startTone(c, refuse)
	case ToneOff:
		e.toneOff.Store(true)
	default:
		return refuse("there is no such command", "")
	}
	return nil
}

// steep returns the refusal of a rise that is larger than StrokeDB.
func steep(what string, from, to float64) (why, help string) {
	return fmt.Sprintf("%s would rise from %.1f to %.1f dB; one command raises it by at most %g dB", what, from, to, StrokeDB),
		fmt.Sprintf("raise it step by step, and listen; it rises by at most %g dB a second", RiseDBPerS)
}

// tooHigh returns why an input's live trim may not be set, or "". Lowering it is
// always allowed.
func (e *Engine) tooHigh(i int, db float64, beyond bool) (why, help string) {
	in, now := e.prog.Inputs[i], e.trimNowDB(i)
	if db <= now {
		return "", ""
	}
	if db > now+StrokeDB {
		return steep(fmt.Sprintf("the trim of input %d %s", in.DeskInput, in.Channel), now, db)
	}
	sum := db + e.listed[i]
	words := fmt.Sprintf("input %d %s: the session's trim of %+.1f dB and the live trim of %+.1f dB make %+.1f dB", in.DeskInput, in.Channel, e.listed[i], db, sum)
	switch {
	case sum > catalog.MostTrimDB:
		return fmt.Sprintf("%s, beyond %d dB", words, catalog.MostTrimDB), "check the gains in the lists"
	case sum > catalog.AskTrimDB && !beyond:
		return fmt.Sprintf("%s, beyond %d dB", words, catalog.AskTrimDB), fmt.Sprintf("check the gains in the lists; if they are right, type: trim %d %g beyond", in.DeskInput, db)
	}
	return "", ""
}

func within(x, lo, hi float64) bool { return lo <= x && x <= hi } // false for NaN

func (e *Engine) fadeSeconds() float64 {
	return max(safeFade, float64(e.rules.fade)/float64(e.rate))
}

// silence closes the gate. It never fails.
func (e *Engine) silence(seconds float64) {
	e.playWant = false
	e.setGate(false, seconds)
	if e.state == Playing {
		e.state = Paused
	}
}

// jump gives the reader another position.
func (e *Engine) jump(p position) {
	e.want = &p
	if e.state == Paused && p == e.rules.start(p.item) {
		e.state = Stopped
	} else if e.state == Stopped && p != e.rules.start(p.item) {
		e.state = Paused
	}
}

func (e *Engine) locate(c Command, at position, refuse func(why, help string) error) error {
	to := at
	switch c.Do {
	case Skip:
		if !within(c.ByS, -maxTimeS, maxTimeS) {
			return refuse("the time is out of range", "")
		}
		to.frame += int64(math.Round(c.ByS * float64(e.rate)))
	case ToMarker:
		markers := e.prog.Items[at.item].Markers
		if c.Marker < 0 || c.Marker >= len(markers) {
			if len(markers) == 0 {
				return refuse("this song has no marker", "")
			}
			return refuse(fmt.Sprintf("the song's markers are 1 to %d", len(markers)), "")
		}
		to.frame = int64(math.Round(markers[c.Marker].AtS*float64(e.rate))) - e.rules.preRoll
	default:
		if c.Item != nil {
			if *c.Item < 0 || *c.Item >= len(e.rules.lengths) {
				return refuse(fmt.Sprintf("the songs are 1 to %d", len(e.rules.lengths)), "")
			}
			to = e.rules.start(*c.Item)
		}
		if c.AtS != nil {
			if !within(*c.AtS, -maxPreRollS, maxTimeS) {
				return refuse("the time is out of range", "")
			}
			to.frame = int64(math.Round(*c.AtS * float64(e.rate)))
		}
	}
	last := e.rules.lengths[to.item] - int64(e.frames(safeFade))
	if c.Do == Locate && to.frame > last {
		return refuse(fmt.Sprintf("the song is %.1f s long", float64(e.rules.lengths[to.item])/float64(e.rate)), "")
	}
	if c.Do != Locate { // stay in the item
		to.frame = max(to.frame, e.rules.start(to.item).frame)
	}
	to.frame = min(to.frame, last)
	e.jump(to)
	return nil
}

func (e *Engine) loop(c Command, at position, refuse func(why, help string) error) error {
	l := e.rules.loop
	for _, s := range []*float64{c.AtS, c.FromS, c.ToS} {
		if s != nil && !within(*s, -maxPreRollS, maxTimeS) {
			return refuse("the time is out of range", "a loop's times are seconds from the song's start")
		}
	}
	if c.FromS != nil && c.ToS != nil && *c.FromS >= *c.ToS {
		return refuse("the loop's end is not after its start", "set its start and its end")
	}
	frame := func(s *float64, otherwise int64) int64 {
		if s == nil {
			return otherwise
		}
		return int64(math.Round(*s * float64(e.rate)))
	}
	if c.Do != LoopOff && l.item != at.item {
		l = loopSpan{item: at.item}
	}
	switch c.Do {
	case LoopFrom:
		l.from = frame(c.AtS, at.frame)
		if l.to <= l.from {
			l.to, l.on = 0, false
		}
	case LoopTo:
		l.to, l.on = frame(c.AtS, at.frame), true
	case LoopOn:
		if c.Item != nil && (*c.Item < 0 || *c.Item >= len(e.rules.lengths)) {
			return refuse(fmt.Sprintf("the songs are 1 to %d", len(e.rules.lengths)), "")
		}
		if c.Item != nil && *c.Item != l.item {
			l = loopSpan{item: *c.Item}
		}
		l.from, l.to, l.on = frame(c.FromS, l.from), frame(c.ToS, l.to), true
	case LoopOff:
		l.on = false
	}
	short := max(minLoopS, 2*float64(e.rules.fade)/float64(e.rate))
	if c.Do == LoopFrom && l.from >= e.rules.lengths[l.item] {
		return refuse("the loop's start is not within the song", "")
	}
	if l.on && (l.to-l.from < int64(e.frames(short)) || l.from < -int64(maxPreRollS*e.rate) || l.to > e.rules.lengths[l.item]+int64(e.rate)) {
		return refuse(fmt.Sprintf("a loop needs an end at least %.1f s after its start, within the song", short), "set its start and its end")
	}
	e.rules.loop, e.rerule = l, true
	// A person who sets a loop behind the present position wants to hear it.
	lead := int64(e.frames(leadS))
	if l.on && l.item == at.item && at.frame > l.to-lead && e.state != Unarmed {
		e.jump(position{l.item, l.from})
	}
	return nil
}

func (e *Engine) startTone(c Command, refuse func(why, help string) error) error {
	db, hz := ToneDB, ToneHz
	if c.DB != nil {
		db = *c.DB
	}
	if c.Hz != 0 {
		hz = c.Hz
	}
	first, last := max(1, c.First), c.Last
	if last == 0 {
		last = e.width
	}
	switch {
	case !e.armed:
		return refuse("the cautions are not acknowledged", "read them, mute PA and monitor sends, clear the stage, then acknowledge")
	case e.lost != "":
		return refuse(e.lost, "reconnect the device, then reopen")
	case !e.shut.Load() || e.state == Playing:
		return refuse("playback is running", "pause or stop first")
	case !within(db, MinLevelDB, MaxToneDB):
		return refuse(fmt.Sprintf("a test tone's level must be %g to %g dBFS", MinLevelDB, MaxToneDB), "")
	case !within(hz, 20, 20_000) || hz > 0.45*float64(e.rate):
		return refuse("a test tone must have 20 to 20000 Hz", "")
	case c.Do == Identify && (first > last || last > e.width):
		return refuse(fmt.Sprintf("there are outputs 1 to %d", e.width), "")
	case c.Do == LineUp && len(c.Outputs) == 0:
		return refuse("there is no output in the command", "")
	}
	t := &tone{amp: amplitude(db), hz: hz, on: make([]bool, e.width)}
	if c.Do == Identify {
		t = newWalk(e.rate, first, last, db, hz)
	}
	for _, o := range c.Outputs {
		if o < 1 || o > e.width {
			return refuse(fmt.Sprintf("there are outputs 1 to %d", e.width), "")
		}
		if t.on != nil {
			t.on[o-1] = true
		}
	}
	e.toneDB = db
	e.toneOff.Store(false)
	e.tone.Store(t)
	return nil
}

// settle updates the state after the pull: at the end of the program, or of an
// item with "stop", it is cued at the next item's start, or its own.
func (e *Engine) settle() {
	if !e.ended.Load() || e.pending.Load() != nil {
		return
	}
	e.mu.Lock()
	defer e.mu.Unlock()
	if e.want != nil {
		return
	}
	at, _ := e.where()
	if at.item+1 < len(e.rules.lengths) {
		at.item++
	}
	if e.state == Playing && !e.playWant {
		e.state = Stopped
	}
	to := e.rules.start(at.item)
	e.want = &to
}

// SetLost sets why the device is gone, or with "" that it is back: silent,
// stopped where it was, and at the starting level again.
func (e *Engine) SetLost(why string) {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.lost = why
	e.playWant = false
	e.toneOff.Store(true)
	e.tone.Store(nil)
	e.setGate(false, 0)
	e.setLevel(min(e.levelDB, StartLevelDB))
	if e.state == Playing {
		e.state = Paused
	}
}

// Lost reports whether the device is gone.
func (e *Engine) Lost() bool {
	e.mu.Lock()
	defer e.mu.Unlock()
	return e.lost != ""
}

// Audible reports whether anything but silence may leave the outputs.
func (e *Engine) Audible() bool { return !e.shut.Load() || e.tone.Load() != nil }
