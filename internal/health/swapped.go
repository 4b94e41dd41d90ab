package health

import (
	"fmt"
	"math"
	"slices"

	"nightreel/catalog"
	"nightreel/internal/sound"
)

// Two inputs are exchanged when each of them tonight is like the other one on
// the other nights. Three things are compared: the spectrum, with whom the wave
// agrees (which tells where a pickup stands), and with whom the level moves. Of
// each, what counts is how much better the exchange explains the night, in
// units of how different the two channels are at all: about 1 is a night as
// always, about -1 one with the two exchanged.
const (
	// The least difference between two channels, of each of the three, that is
	// believed. Measured on the tuning nights: what one channel's figures differ
	// by from night to night.
	leastBands    = 2.5  // dB
	leastCurve    = 0.06 // correlation
	leastTogether = 0.15 // correlation
	// togetherCells is how many cells make a correlation of levels.
	togetherCells = 20
	// swappedAt is from where on the exchange is believed, and swappedNone what
	// none of the three may exceed.
	swappedAt   = -0.45
	swappedNone = 0.1
)

// likeness compares voices of tonight with voices of another night.
type likeness struct {
	night, past *sound.Night
	of          []int // by voice of tonight: that of the other night, -1 for none
}

func newLikeness(night, past *sound.Night) likeness {
	l := likeness{night: night, past: past, of: make([]int, len(night.Voices))}
	for i := range night.Voices {
		l.of[i] = -1
		for k := range past.Voices {
			if catalog.SameName(past.Voices[k].Track.Channel, night.Voices[i].Track.Channel) {
				l.of[i] = k
				break
			}
		}
	}
	return l
}

// bandsApart is the RMS distance of two spectra in dB, but for a difference in
// level as a whole, of which a part counts.
func bandsApart(a, b *sound.Voice) float64 {
	var d []float64
	for i := range a.Bands {
		x, y := max(a.Bands[i], a.QuietBands[i]+3), max(b.Bands[i], b.QuietBands[i]+3)
		if x <= sound.Silence+5 || y <= sound.Silence+5 || a.Bands[i] < a.Song-60 && b.Bands[i] < b.Song-60 {
			continue
		}
		d = append(d, max(-15, min(15, x-y)))
	}
	if len(d) < 5 {
		return math.NaN()
	}
	mean, square := 0.0, 0.0
	for _, v := range d {
		mean += v / float64(len(d))
	}
	for _, v := range d {
		square += (v - mean) * (v - mean) / float64(len(d))
	}
	return math.Sqrt(square) + 0.2*min(10, math.Abs(mean))
}

// curvesApart is the distance of how voice a of one night and voice b of
// another agree with all others, which are given by pairs.
func curvesApart(x *sound.Night, a int, y *sound.Night, b int, others [][2]int) float64 {
	sum, count := 0.0, 0
	for _, o := range others {
		c, d := x.Curve(a, o[0]), y.Curve(b, o[1])
		if c == nil || d == nil {
			continue
		}
		s := 0.0
		for i := range c.R {
			s += (c.R[i] - d.R[i]) * (c.R[i] - d.R[i])
		}
		sum += s / float64(len(c.R))
		count++
	}
	if count < 2 {
		return math.NaN()
	}
	return math.Sqrt(sum / float64(count))
}

func togetherApart(x *sound.Night, a int, y *sound.Night, b int, others [][2]int) float64 {
	sum, count := 0.0, 0
	for _, o := range others {
		r, n := x.Together(a, o[0])
		s, m := y.Together(b, o[1])
		if n < togetherCells || m < togetherCells {
			continue
		}
		sum += (r - s) * (r - s)
		count++
	}
	if count < 3 {
		return math.NaN()
	}
	return math.Sqrt(sum / float64(count))
}

// exchange returns, for each of the three that tells two voices apart, how the
// night looks: 1 as always, -1 exchanged.
func (l likeness) exchange(a, b int) []float64 {
	pa, pb := l.of[a], l.of[b]
	var others, theirs [][2]int
	for i, k := range l.of {
		if i != a && i != b && k >= 0 && l.night.Voices[i].Plays() && l.past.Voices[k].Plays() {
			others = append(others, [2]int{i, k})
			theirs = append(theirs, [2]int{k, k})
		}
	}
	var out []float64
	score := func(least, between, aa, bb, ab, ba float64) {
		if between >= least && !math.IsNaN(aa+bb+ab+ba) {
			out = append(out, (ab+ba-aa-bb)/2/between)
		}
	}
	x, y := l.night, l.past
	va, vb, wa, wb := &x.Voices[a], &x.Voices[b], &y.Voices[pa], &y.Voices[pb]
	score(leastBands, bandsApart(wa, wb), bandsApart(va, wa), bandsApart(vb, wb), bandsApart(va, wb), bandsApart(vb, wa))
	if len(out) > 0 && out[0] > 0.5 {
		return out // as always: the rest is not asked
	}
	score(leastCurve, curvesApart(y, pa, y, pb, theirs), curvesApart(x, a, y, pa, others), curvesApart(x, b, y, pb, others),
		curvesApart(x, a, y, pb, others), curvesApart(x, b, y, pa, others))
	score(leastTogether, togetherApart(y, pa, y, pb, theirs), togetherApart(x, a, y, pa, others), togetherApart(x, b, y, pb, others),
		togetherApart(x, a, y, pb, others), togetherApart(x, b, y, pa, others))
	return out
}

// swap is two voices that were exchanged.
type swap struct {
	a, b   int
	score  float64
	nights int
}

// swaps finds the voices that were exchanged, each at most once.
func (n *Night) swaps() []swap {
	if n.Sound == nil {
		return nil
	}
	var past []likeness
	for _, p := range n.Tour {
		past = append(past, newLikeness(n.Sound, p))
	}
	var all []swap
	for a := range n.Sound.Voices {
		for b := a + 1; b < len(n.Sound.Voices); b++ {
			if s, ok := n.swapOf(a, b, past); ok {
				all = append(all, s)
			}
		}
	}
	slices.SortStableFunc(all, func(x, y swap) int {
		switch {
		case x.score < y.score:
			return -1
		case x.score > y.score:
			return 1
		}
		return 0
	})
	taken := map[int]bool{}
	return slices.DeleteFunc(all, func(s swap) bool {
		if taken[s.a] || taken[s.b] {
			return true
		}
		taken[s.a], taken[s.b] = true, true
		return false
	})
}

func (n *Night) swapOf(a, b int, past []likeness) (swap, bool) {
	s := swap{a: a, b: b}
	sum, kinds := 0.0, 0
	for _, l := range past {
		if l.of[a] < 0 || l.of[b] < 0 {
			continue
		}
		// Both must have played, then and now: at least one of each pair.
		if !n.Sound.Voices[a].Plays() && !n.Sound.Voices[b].Plays() || !l.past.Voices[l.of[a]].Plays() && !l.past.Voices[l.of[b]].Plays() {
			continue
		}
		q := l.exchange(a, b)
		if len(q) == 0 {
			continue
		}
		for _, v := range q {
			if v > swappedNone {
				return s, false
			}
			sum += v
			kinds++
		}
		s.nights++
	}
	if s.nights == 0 {
		return s, false
	}
	s.score = sum / float64(kinds)
	return s, s.score <= swappedAt
}

func (n *Night) swapped(swaps []swap) []catalog.Flag {
	var found []catalog.Flag
	for _, s := range swaps {
		a, b := n.trackOf(&n.Sound.Voices[s.a]), n.trackOf(&n.Sound.Voices[s.b])
		if a == nil || b == nil {
			continue
		}
		nights := "the other night"
		if s.nights > 1 {
			nights = fmt.Sprintf("%d other nights", s.nights)
		}
		// One fault, one flag: on the first of the two.
		found = append(found, catalog.Flag{
			Track: a.Number, Kind: catalog.Swapped, EndFrame: a.Frames, Severity: catalog.FaultSeverity,
			Evidence: catalog.Evidence{"with_track": float64(b.Number), "likeness": s.score, "other_nights": float64(s.nights)},
			Text: fmt.Sprintf("%s sounds as %s did on %s, and the other way round: the two are exchanged; swap their lines at the stage box, or correct the input list if that was meant.",
				a.Channel, b.Channel, nights),
		})
	}
	return found
}
