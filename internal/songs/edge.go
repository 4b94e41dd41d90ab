package songs

import (
	"math"
	"slices"

	"nightreel/catalog"
	"nightreel/internal/meter"
	"nightreel/internal/spectrum"
)

// What the levels say about where a song starts and ends is exact to the block
// where everybody comes in at once, and wrong by many seconds where somebody
// tunes before it, counts it in or begins it twice, or where a soft opening
// goes under. Takes of other nights, whose edges a person knows, tell which: how
// the song's first seconds go, and who plays in them. Then the levels say where
// exactly.
const (
	edgeSpanS = 25 // of the song that must be seen beyond the farthest edge looked at
	edgeFarS  = 50 // no edge is moved farther
	edgeSnapS = 1.5

	// The worth of a second is how much rather it is that second of the song than
	// one of a pause: by how far its chord is more like the song's than chance, or
	// than what silent tracks add up to; and by how many tracks are as loud as
	// there and not as in pauses. Chosen on rendered songs: what lost stands in
	// internal/evaluate.
	evenChord  = 0.3 // what chance comes to
	levelWorth = 2
	mostLevel  = 0.1  // more than that any music is worth
	edgeSlip   = 0.15 // what a second costs in which one take runs ahead of the other
	edgeLinger = 0.5  // and if it does so on the first note, or the last: that is rather a pause
	edgeJump   = 5.0  // what it costs to leave a round out, or to play one more
	edgeRise   = 3.0  // what it is worth if all tracks come in at the edge, or leave off
	edgeStay   = 1.0  // more worth than where the levels have the edge
)

// edges moves the start and end of a take, in blocks, to where references of
// its title have them. Where that cannot be told they stay. before and after
// bound them: what other takes hold.
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

// edge moves an edge, the start (sign 1) or the end (-1), to the second from
// which the night runs most like the references' first seconds, or up to which
// it runs like their last.
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

// runs adds to worth, for every second from first to last, how much it is worth
// to say that the reference starts there, or with sign -1 that it ends there,
// and runs on from there to the end of what is looked at. What lies on the other
// side of the edge is worth 0: a pause.
//
// This is dynamic time warping backwards, with steps of 0, 1 or 2 seconds, and
// jumps where the form is another.
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

// jumpTo is the first second of a song that a jump may lead to: none leads back
// to its first note, that would be a false start.
const jumpTo = 8

// likelier returns the worth of a second: the first columns are chords, the
// others how loud tracks are.
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

// seen lays out seconds of the night for likelier, from a second on in the
// direction of sign, and what tracks do in pauses.
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

// seen does the same with the reference.
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

// sounding returns how loud a track is in a second: 1 as loud as it usually is
// when it plays, 0 where it is 20 dB below or softer.
func sounding(levels []float32, second int) float32 {
	if second < 0 || second >= len(levels) {
		return 0
	}
	return max(0, min(1, 1+levels[second]))
}

// readPauses learns what is heard where nobody seems to play a song.
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
	n.pauseChord.normalise()
}

// rise returns the block near another at which most channels come in (sign 1)
// or leave off (-1), within bounds, and the share of them.
func (n *night) rise(want, low, high, sign int) (block int, share float64) {
	const span = 5
	s := n.activity.share
	best, most := want, 0.05 // less is no edge
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

// settle moves the edges of takes that were placed by sound, in order of time.
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
