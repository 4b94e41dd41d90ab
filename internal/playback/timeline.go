package playback

// position is a frame of an item, counted from the take's start; negative in the
// pre-roll.
type position struct {
	item  int
	frame int64
}

// loopSpan repeats the frames from to to-1 of an item.
type loopSpan struct {
	on       bool
	item     int
	from, to int64
}

// rules determine what is played after what.
type rules struct {
	lengths []int64 // of the items, in frames
	loop    loopSpan
	stop    bool  // stop at the end of an item, instead of playing the next
	preRoll int64 // frames of pre-roll before an item's start
	fade    int   // frames of the fade at a jump
}

// start returns the position at which an item begins.
func (r *rules) start(item int) position { return position{item, -r.preRoll} }

// run returns the number of consecutive frames from p on, and the position after
// them; more is false if playback ends there.
func (r *rules) run(p position) (n int64, next position, more bool) {
	if l := r.loop; l.on && l.item == p.item && p.frame < l.to {
		return l.to - p.frame, position{l.item, l.from}, true
	}
	n = max(0, r.lengths[p.item]-p.frame)
	if r.stop || p.item+1 >= len(r.lengths) {
		return n, position{}, false
	}
	return n, r.start(p.item + 1), true
}

// mark states that a ring's frames from at on begin with the given position.
// jump is false for a ring's first mark.
type mark struct {
	at   uint64
	is   position
	jump bool
}

// track records which positions a ring holds.
type track struct {
	marks []mark
	ends  uint64 // frame at which the program ends, before the last fade; noEnd while it goes on
}

func (t *track) reset(is position) { t.marks, t.ends = append(t.marks[:0], mark{0, is, false}), noEnd }

// add appends a jump and drops marks that are no longer needed.
func (t *track) add(m mark, taken uint64) {
	old := 0
	for old+1 < len(t.marks) && t.marks[old+1].at <= taken {
		old++
	}
	t.marks = append(t.marks[:0], t.marks[old:]...)
	t.marks = append(t.marks, m)
}

// positionAt returns the position of the ring's frame at, and the next jump after it.
func (t *track) positionAt(at uint64) (is position, next *mark) {
	for i := range t.marks {
		if t.marks[i].at > at {
			return is, &t.marks[i]
		}
		is = t.marks[i].is
		is.frame += int64(at - t.marks[i].at)
	}
	return is, nil
}

// change is where the content of a ring differs from what new rules require.
type change struct {
	at   uint64 // frame of the ring
	want position
	jump bool // the new rules jump there: old and new audio differ, so a fade is needed
}

// diverge compares the ring's content from frame at to frame ready with what new
// rules require. ok is false if the ring can stay as it is.
func (t *track) diverge(at, ready uint64, r *rules) (c change, ok bool) {
	for {
		is, next := t.positionAt(at)
		n, to, more := r.run(is)
		wants := at + uint64(n) // the new rules jump or end there
		holds, ends := ready, false
		switch {
		case next != nil:
			holds = next.at
		case t.ends != noEnd:
			holds, ends = max(at, t.ends), true
		}
		switch {
		case wants > holds && next == nil && !ends:
			return change{}, false
		case wants > holds:
			// The ring jumps or ends, the new rules continue.
			return change{holds, position{is.item, is.frame + int64(holds-at)}, false}, true
		case wants < holds || next == nil && !ends:
			if next == nil && !ends && wants == holds {
				return change{}, false // exactly at the edge: the following frames are not read yet
			}
			if !more {
				return change{wants, position{is.item, is.frame + n}, false}, true
			}
			return change{wants, to, true}, true
		case !more:
			if ends {
				return change{}, false
			}
			return change{holds, position{is.item, is.frame + n}, false}, true
		case ends || next.is != to:
			return change{holds, to, true}, true
		}
		at = next.at
	}
}
