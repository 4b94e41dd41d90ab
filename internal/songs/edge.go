package songs

import (
	"math"
	"slices"

	"nightreel/catalog"
	"nightreel/internal/meter"
	"nightreel/internal/spectrum"
)

// Levels give a song's start and end to the block if all players come in at once.
// They are wrong by many seconds if somebody tunes before the song, counts it in
// or begins it twice, or if the opening is soft. Takes of other nights whose edges
// a person confirmed decide that: they have the chords of the first seconds and
// who plays in them. The levels then give the exact block.
const (
	edgeSpanS = 25  // seconds of the song compared beyond the farthest possible edge
	edgeFarS  = 50  // seconds, the farthest that an edge moves
	edgeSnapS = 1.5 // seconds around a second in which the block is searched

	// The worth of a second says how much better it fits that second of the song
	// than a pause. It grows with the chord's correlation beyond chance, or beyond
	// that of pauses, and with the number of tracks whose level fits the song
	// rather than pauses. All values were chosen on rendered songs; the README of
	// internal/evaluate lists the ones that did worse.
	evenChord  = 0.3 // correlation of chords by chance
	levelWorth = 2
	mostLevel  = 0.1  // limit of the levels' worth, which any music reaches
	edgeSlip   = 0.15 // cost of a second in which one take runs ahead of the other
	edgeLinger = 0.5  // the same on the first or last note, where a pause is likelier
	edgeJump   = 5.0  // cost of leaving a round out or playing one more
	edgeRise   = 3.0  // worth of all tracks coming in, or leaving off, at the edge
	edgeStay   = 1.0  // worth of keeping the edge that the levels gave
)

// edges returns the start and end of a take, in blocks, moved to where references
// of its title have them. Without such references they stay. before and after are
// the blocks at which neighbouring takes end and start.
func (n *night) edges(title string, start, end, before, after int) (int, int) {
	var refs []*reference
	for i := range n.refs {
		if r := &n.refs[i]; r.person && r.key == catalog.Key(title) {
			refs = append(refs, r)
		}
	}
	if len(refs) == 0 {
		return start, end
	}
	start = n.edge(refs, start, before, end, 1)
	return start, n.edge(refs, end, start, after, -1)
}

// edge returns an edge in blocks, the start (sign 1) or the end (-1), moved to the
// second from which the night matches the references' first seconds best, or up
// to which it matches their last seconds best.
func (n *night) edge(refs []*reference, edge, low, high, sign int) int {
	here := int(math.Round(float64(edge) / meter.BlocksPerSecond))
	first, last := max(here-edgeFarS, ceil(low, meter.BlocksPerSecond)), min(here+edgeFarS, high/meter.BlocksPerSecond)
	if first > last {
		return edge
	}
	worth := make([]float32, last-first+1)
	for _, r := range refs {
		n.runs(r, first, last, sign, worth)
	}
	best, most := here, float32(math.Inf(-1))
	at := edge
	for i, w := range worth {
		s := first + i
		block, rise := n.rise(s*meter.BlocksPerSecond, low, high, sign)
		w = w/float32(len(refs)) + float32(edgeRise*float32(rise))
		if max(s-here, here-s) <= 1 {
			w += edgeStay
		}
		if w > most {
			best, most, at = s, w, block
		}
	}
	if max(best-here, here-best) <= 1 {
		return edge
	}
	return at
}

func ceil(a, b int) int { return (a + b - 1) / b }

// runs adds to worth, for each second from first to last, the worth of a
// reference that starts there (sign 1) or ends there (-1) and runs on to the end
// of the compared seconds. The far side of the edge counts as a pause, worth 0.
//
// This is dynamic time warping backwards, with steps of 0, 1 or 2 seconds, and
// jumps for a different form.
func (n *night) runs(r *reference, first, last, sign int, worth []float32) {
	// Seconds of the night and of the reference count from the edge inwards.
	origin, size := first, last-first+1+edgeSpanS
	if sign < 0 {
		origin = last - 1
	}
	night, pause := n.seen(r, origin, size, sign)
	ref := r.seen(n, size, sign)
	cols := len(pause)
	length := len(ref) / cols
	next, now := make([]float32, length), make([]float32, length)
	for t := size - 1; t >= 0; t-- {
		best := float32(0)
		for _, v := range next[min(jumpTo, length):] {
			best = max(best, v)
		}
		best -= edgeJump
		x := night[t*cols:][:cols]
		for j := range now {
			on := max(best, next[j]-edgeSlip)
			if j == 0 {
				on = max(best, next[j]-edgeLinger)
			}
			if j+1 < length {
				on = max(on, next[j+1])
			}
			if j+2 < length {
				on = max(on, next[j+2]-edgeSlip)
			}
			now[j] = on + likelier(x, ref[j*cols:][:cols], pause)
		}
		now, next = next, now
		if i := t; sign > 0 && i < len(worth) {
			worth[i] += next[0]
		} else if i := len(worth) - 1 - t; sign < 0 && i >= 0 {
			worth[i] += next[0]
		}
	}
}

// jumpTo is the first second of a song that a jump may lead to. A jump back to the
// first note would be a false start.
const jumpTo = 8

// likelier returns the worth of a second. The first columns hold the chord, the
// others the level of each track.
func likelier(x, ref, pause []float32) float32 {
	chord, none := float32(0), float32(0)
	for i := range spectrum.PitchClasses {
		chord += float32(x[i] * ref[i])
		none += float32(x[i] * pause[i])
	}
	chord -= max(evenChord, none)
	level := float32(0)
	for i := spectrum.PitchClasses; i < len(x); i++ {
		level += abs(x[i]-pause[i]) - abs(x[i]-ref[i])
	}
	return chord + min(mostLevel, levelWorth*level/float32(max(1, len(x)-spectrum.PitchClasses)))
}

func abs(x float32) float32 { return max(x, -x) }

// seen returns size seconds of the night as rows for likelier, from second origin
// on in the direction of sign, and the row of an average pause.
func (n *night) seen(r *reference, origin, size, sign int) (night, pause []float32) {
	tracks := r.tracks()
	cols := spectrum.PitchClasses + len(tracks)
	night = make([]float32, size*cols)
	for t := range size {
		row, s := night[t*cols:][:cols], origin+sign*t
		if s >= 0 && s < len(n.band) {
			copy(row, n.band[s][:])
		}
		for i, c := range tracks {
			row[spectrum.PitchClasses+i] = sounding(n.activity.levels[c], s)
		}
	}
	pause = make([]float32, cols)
	n.readPauses()
	copy(pause, n.pauseChord[:])
	for i, c := range tracks {
		pause[spectrum.PitchClasses+i] = n.pauses[c]
	}
	return night, pause
}

// seen returns up to 2*size seconds of the reference in the same form.
func (r *reference) seen(n *night, size, sign int) []float32 {
	tracks := r.tracks()
	cols := spectrum.PitchClasses + len(tracks)
	length := min(len(r.plays), 2*size)
	ref := make([]float32, length*cols)
	for j := range length {
		row, s := ref[j*cols:][:cols], j
		if sign < 0 {
			s = len(r.plays) - 1 - j
		}
		copy(row, r.plays[s][:])
		for i, c := range tracks {
			row[spectrum.PitchClasses+i] = sounding(r.loud[c], s)
		}
	}
	return ref
}

// tracks returns the indexes of tonight's tracks that the reference has too.
func (r *reference) tracks() (all []int) {
	for c, l := range r.loud {
		if l != nil {
			all = append(all, c)
		}
	}
	return all
}

// sounding returns the level of a track in a second: 1 at its usual level when
// it plays, 0 at 20 dB below that or softer.
func sounding(levels []float32, second int) float32 {
	if second < 0 || second >= len(levels) {
		return 0
	}
	return max(0, min(1, 1+levels[second]))
}

// readPauses averages chord and levels over the seconds outside all stretches of
// music.
func (n *night) readPauses() {
	if n.pauses != nil {
		return
	}
	n.pauses = make([]float32, len(n.activity.levels))
	busy := make([]bool, len(n.activity.loud))
	for _, s := range n.music {
		for i := s.from / meter.BlocksPerSecond; i <= s.to/meter.BlocksPerSecond && i < len(busy); i++ {
			busy[i] = true
		}
	}
	count := float32(0)
	for s, b := range busy {
		if b {
			continue
		}
		count++
		for c, l := range n.activity.levels {
			n.pauses[c] += sounding(l, s)
		}
		if s < len(n.band) {
			sumUp(&n.pauseChord, &n.band[s], 1)
		}
	}
	for c := range n.pauses {
		n.pauses[c] /= max(1, count)
	}
	normalise(&n.pauseChord)
}

// rise returns the block within edgeSnapS of want, from low to high, at which most
// channels come in (sign 1) or leave off (-1), and their share.
func (n *night) rise(want, low, high, sign int) (block int, share float64) {
	const span = 5
	s := n.activity.share
	best, most := want, 0.05 // a smaller share counts as no edge
	near := int(edgeSnapS * meter.BlocksPerSecond)
	for b := max(span, want-near, low); b <= min(len(s)-span, want+near, high); b++ {
		rise := 0.0
		for k := range span {
			rise += s[b+k] - s[b-1-k]
		}
		if rise *= float64(sign) / span; rise > most {
			best, most = b, rise
		}
	}
	if best == want {
		most = 0
	}
	return max(low, min(high, best)), most
}

// settle sorts takes that were placed by sound by time and moves their edges.
func (n *night) settle(cs []candidate) {
	slices.SortFunc(cs, func(a, b candidate) int { return int(min(1, max(-1, a.start-b.start))) })
	for i := range cs {
		c := &cs[i]
		before, after := 0, n.block(n.ref.Frames)
		for _, o := range append(slices.Clone(n.found), cs...) {
			if o.end <= c.start {
				before = max(before, n.block(o.end))
			}
			if o.start >= c.end {
				after = min(after, n.block(o.start))
			}
		}
		start, end := n.edges(c.title, n.block(c.start), n.block(c.end), before, after)
		if start < end {
			c.start, c.end = n.frame(start), n.frame(end)
		}
	}
}
