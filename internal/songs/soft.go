package songs

import (
	"math"

	"nightreel/internal/meter"
)

// A passage in which hardly any channel plays is not a pause. What the few
// players play there is in the key of the music before and after it. Between
// songs it is quiet, or what is played has no key or another one.
const (
	softShare = 0.08 // mean share of channels that play in the passage
	softKey   = 0.5  // least agreement of its chords with those on either side
	keyS      = 40   // seconds on either side, within the same song as far as that is known
	leastKeyS = 6
	// softCut is the probability of a cut at such a passage. Of 41 such passages
	// within rendered songs this rule finds 20, and of 337 pauses it mistakes
	// one, which would make the probability 0.05. The smaller value has the same
	// reason as gapCut.
	softCut = 0.003
)

// joinByKey makes a cut unlikely if a soft passage lies there.
func (n *night) joinByKey(music []stretch) {
	for i := 1; i < len(music); i++ {
		end, start := music[i-1].to, music[i].from
		if start-end < meter.BlocksPerSecond || start-end > mostGapS*meter.BlocksPerSecond || n.activity.plays(end, start) < softShare {
			continue
		}
		first, last := i-1, i
		for first > 0 && music[first].cut < 0.5 {
			first--
		}
		for last+1 < len(music) && music[last+1].cut < 0.5 {
			last++
		}
		from, to := end/meter.BlocksPerSecond, ceil(start, meter.BlocksPerSecond)
		before, after := max(music[first].from/meter.BlocksPerSecond, from-keyS), min(music[last].to/meter.BlocksPerSecond, to+keyS)
		if from-before < leastKeyS || after-to < leastKeyS {
			continue
		}
		soft := n.key(from, to)
		if inKey(soft, n.key(before, from)) >= softKey && inKey(soft, n.key(to, after)) >= softKey {
			music[i].cut = min(music[i].cut, softCut)
		}
	}
}

// key adds up the chords of a range of seconds.
func (n *night) key(from, to int) (sum chroma) {
	for s := max(0, from); s < min(to, len(n.band)); s++ {
		sumUp(&sum, &n.band[s], 1)
	}
	return sum
}

// inKey compares sums of chords: 1 for the same, 0 for chance.
func inKey(a, b chroma) float64 {
	var ab, aa, bb float64
	for i := range a {
		ab += float64(a[i] * b[i])
		aa += float64(a[i] * a[i])
		bb += float64(b[i] * b[i])
	}
	return ab / math.Sqrt(max(1e-12, aa*bb))
}
