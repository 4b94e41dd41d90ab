package playback

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"nightreel/catalog"
	"nightreel/internal/meter"
)

// maxProblems bounds the problems of a status.
const maxProblems = 20

// where returns the present position, or the target of a jump under way; then
// moving is true. The caller must hold e.mu.
func (e *Engine) where() (p position, moving bool) {
	if e.want != nil {
		return *e.want, true
	}
	if s := e.pending.Load(); s != nil && s.at == 0 {
		p, _ = e.tracks[s.ring].positionAt(0)
		return p, true
	}
	cur := e.current.Load()
	at := e.rings[cur].taken.Load()
	t := &e.tracks[cur]
	p, _ = t.positionAt(min(at, t.ends))
	return p, false
}

// Status returns the state of playback. Peaks are those since the last call, so
// only one caller may use it.
func (e *Engine) Status() Status {
	e.mu.Lock()
	defer e.mu.Unlock()
	at, _ := e.where()
	sec := func(frames int64) float64 { return float64(frames) / float64(e.rate) }
	s := Status{State: e.state, Item: at.item, AtS: sec(at.frame), LengthS: sec(e.rules.lengths[at.item]), Next: -1, AtEnd: "next",
		LevelDB: e.levelNowDB(), FadeMS: 1000 * sec(int64(e.rules.fade)), PreRollS: sec(e.rules.preRoll), Rate: e.rate,
		Underruns: e.underruns.Load(), PlayedS: sec(e.pulled.Load()), Inputs: make([]InputStatus, len(e.prog.Inputs)), Problems: []Problem{}}
	if e.rules.stop {
		s.AtEnd = "stop"
	} else if at.item+1 < len(e.rules.lengths) {
		s.Next = at.item + 1
	}
	l := e.rules.loop
	s.Loop = LoopStatus{l.on, l.item, sec(l.from), sec(l.to)}
	cur := e.rings[e.current.Load()]
	s.BufferS = sec(int64(cur.ready.Load()) - int64(cur.taken.Load()))
	switch {
	case e.lost != "":
		s.State = Lost
		s.Problems = append(s.Problems, Problem{e.lost, "everything is silent; reconnect the device, then reopen it"})
	case e.tone.Load() != nil:
		s.State, s.ToneOn, s.ToneDB = Tone, int(e.toneAt.Load()), e.toneDB
	case e.state == Playing && e.starved.Load():
		s.State = Waiting
		s.Problems = append(s.Problems, Problem{"the disk is too slow: silent until enough is read", "stop scans and copies, use the laptop's own disk"})
	}
	item := &e.prog.Items[at.item]
	for i, in := range e.prog.Inputs {
		peak := math.Float32frombits(e.peaks[in.Output-1].Swap(0))
		s.Inputs[i] = InputStatus{DeskInput: in.DeskInput, Output: in.Output, Channel: in.Channel, Status: status(item, i),
			PeakDBFS: meter.Level(20 * math.Log10(float64(peak))), TrimDB: e.trims[i], Muted: e.mutes[i], Limited: e.limited[in.Output-1].Load()}
	}
	if p, cut := e.cuts(s.Inputs); cut {
		s.Problems = append(s.Problems, p)
	}
	s.Problems = append(s.Problems, e.troubles()...)
	return s
}

// cutShownS is how many seconds an input whose peaks were cut stays among the
// problems.
const cutShownS = 5

// cuts returns a problem that lists the inputs that were cut to full scale
// within cutShownS.
func (e *Engine) cuts(inputs []InputStatus) (Problem, bool) {
	names := []string{}
	for i, in := range inputs {
		if in.Limited > e.cut[i] {
			e.cut[i], e.cutUntil = in.Limited, e.pulled.Load()+int64(e.frames(cutShownS))
		}
		if in.Limited > 0 {
			names = append(names, fmt.Sprintf("%d %s (%d samples)", in.DeskInput, in.Channel, in.Limited))
		}
	}
	if e.pulled.Load() >= e.cutUntil {
		return Problem{}, false
	}
	if len(names) > maxProblems {
		names = append(names[:maxProblems], fmt.Sprintf("%d more", len(names)-maxProblems))
	}
	return Problem{"cut to full scale, so distorted: input " + strings.Join(names, ", "), "lower the trims of these inputs, or the overall level"}, true
}

func status(item *ProgramItem, i int) catalog.InputStatus {
	if i < len(item.Status) {
		return item.Status[i]
	}
	return catalog.Playback
}

// troubles lists the files that cannot be read now.
func (e *Engine) troubles() []Problem {
	all := []Problem{}
	more := 0
	for _, f := range e.src.files {
		err := f.peekTrouble()
		if err == nil {
			continue
		}
		if len(all) == maxProblems-1 {
			more++
			continue
		}
		p := Problem{Text: err.Error() + "; its inputs are silent until it can be read"}
		var hinter interface{ Hint() string }
		if errors.As(err, &hinter) {
			p.Hint = hinter.Hint()
		}
		all = append(all, p)
	}
	if more > 0 {
		all = append(all, Problem{Text: fmt.Sprintf("%d more files cannot be read", more)})
	}
	return all
}
