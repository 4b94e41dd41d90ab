package songs

import (
	"math"
	"slices"

	"nightreel/catalog"
	"nightreel/internal/meter"
)

// What the levels say about where a song starts and ends is exact to the block
// where everybody comes in at once, and wrong by many seconds where somebody
// tunes before it or a soft opening goes under. A take of another night, whose
// edges are known, tells which; then the levels say where exactly.
const (
	edgeSpanS = 25   // of the song at its edge that is laid beside the reference
	edgeFarS  = 50   // no edge is moved farther
	edgeNearS = 2    // nor as little as this: the levels know better
	edgeGain  = 0.08 // more likeness than where the levels have the edge
	edgeSnapS = 1.5  // the levels say where exactly, so near to where the sound says
)

// edges moves the start and end of a take, in blocks, to where a reference of
// its title has them. Where that cannot be told they stay. before and after
// bound them: what other takes hold.
func (n *night) edges(title string, start, end, before, after int) (int, int) {
	refs := n.plays(title)
	if len(refs) == 0 {
		return start, end
	}
	like := func(second, sign int) float32 {
		sum := float32(0)
		for _, r := range refs {
			sum += along(n.band, r, second, sign)
		}
		return sum / float32(len(refs))
	}
	start = n.edge(title, start, before, end, 1, func(second int) float32 { return like(second, 1) })
	end = n.edge(title, end, start, after, -1, func(second int) float32 { return like(second, -1) })
	return start, end
}

// plays returns what those references of a title play whose edges a person
// knows. Others were found like the one at hand, and know no better.
func (n *night) plays(title string) (all [][]chroma) {
	for _, r := range n.refs {
		if r.key == catalog.Key(title) && r.person {
			all = append(all, r.plays)
		}
	}
	return all
}

// edge moves an edge to the second near it from which the night runs most like
// the reference, if that is clearly better than where it is.
func (n *night) edge(title string, edge, low, high, sign int, like func(second int) float32) int {
	here := int(math.Round(float64(edge) / meter.BlocksPerSecond))
	best, most := here, like(here)+edgeGain
	for d := edgeNearS; d <= edgeFarS; d++ {
		for _, s := range []int{here - d, here + d} {
			if b := s * meter.BlocksPerSecond; b < low || b > high {
				continue
			}
			if inward := (s-here)*sign > 0; inward && n.meanLike(title, min(s, here), max(s, here)) > noLike {
				continue // what would be cut off is the song
			}
			if v := like(s); v > most+0.01 {
				best, most = s, v
			}
		}
	}
	if best == here {
		return edge
	}
	return n.snap(best*meter.BlocksPerSecond, low, high, sign)
}

// meanLike returns how much the seconds from … to-1 run like any part of a
// title's references.
func (n *night) meanLike(title string, from, to int) float64 {
	best := 0.0
	for i, r := range n.refs {
		l := n.likes[i].like
		if r.key != catalog.Key(title) || to > len(l) || from < 0 {
			continue
		}
		sum := 0.0
		for _, v := range l[from:to] {
			sum += float64(v)
		}
		best = max(best, sum/float64(to-from))
	}
	return best
}

// along returns how much the night runs like the beginning of a reference from
// a second on, or, with sign -1, like its end up to that second: the mean over
// edgeSpanS, with the steps of resemble.
func along(night, ref []chroma, second, sign int) float32 {
	span, n := edgeSpanS, min(len(ref), 2*edgeSpanS)
	was, now := make([]float32, n), make([]float32, n)
	best := float32(0)
	for t := range span {
		at := second + t
		if sign < 0 {
			at = second - 1 - t
		}
		best = -1e9
		for j := range now {
			r := j
			if sign < 0 {
				r = len(ref) - 1 - j
			}
			from := float32(-1e9)
			if t == 0 {
				if j == 0 {
					from = 0
				}
			} else {
				from = was[j] - slip
				if j >= 1 {
					from = max(from, was[j-1])
				}
				if j >= 2 {
					from = max(from, was[j-2]-slip)
				}
			}
			if at >= 0 && at < len(night) {
				for k, v := range night[at] {
					from += v * ref[r][k]
				}
			}
			now[j] = from
			best = max(best, from)
		}
		was, now = now, was
	}
	return best / float32(span)
}

// snap returns the block near another at which most channels come in (sign 1)
// or leave off (-1), itself if none does, within bounds.
func (n *night) snap(want, low, high, sign int) int {
	share := n.activity.share
	best, most := want, 0.05 // less is no edge
	const span = 5
	near := int(edgeSnapS * meter.BlocksPerSecond)
	for b := max(span, want-near); b <= min(len(share)-span, want+near); b++ {
		rise := 0.0
		for k := range span {
			rise += share[b+k] - share[b-1-k]
		}
		if rise *= float64(sign) / span; rise > most {
			best, most = b, rise
		}
	}
	return max(low, min(high, best))
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
