package songs

import (
	"math"

	"nightreel/internal/meter"
)

// A passage in which hardly anybody plays is no pause. Somebody does play, and
// what he plays is in the key of what is before and behind; between songs it is
// quiet, or what is played is in no key or another.
const (
	softShare = 0.08 // of the channels play there, on the mean
	softKey   = 0.5  // how much its chords are those of what is on either side
	keyS      = 40   // seconds on either side, of the same song as far as that is known
	leastKeyS = 6
	// softCut is the probability that there is a cut all the same. Of 41 such
	// passages within rendered songs 20 are found like this, and one of 337 pauses,
	// which would make it 0.05; that it is less has the reason that gapCut has.
	softCut = 0.003
)

// joinByKey makes a cut unlikely where a soft passage lies.
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

// key adds up what is played from a second to another.
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
