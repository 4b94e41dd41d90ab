package songs

import (
	"math"
	"slices"

	"nightreel/internal/meter"
	"nightreel/internal/spectrum"
	"nightreel/internal/stats"
)

// A song that runs into the next leaves no pause to part them by. What changes
// there, more than anywhere within a song, is which chords are played and who
// plays.
const (
	changeS     = 25 // the span before and behind that are compared
	levelWeight = 1.5
	leastChange = 1.0
	// Where two songs meet, chords and levels together change by 1.8 (1.4 to
	// 2.3), and everybody lets go for a moment: the softest second of the stage is
	// 9 dB (1 to 16) softer than what is softer before or behind. Where a song goes
	// on with other chords or players, which is eight times as frequent, they change
	// less, and in three of four cases by less than 2.5 dB. How much each counts was
	// fitted on ten tours of rendered songs (logistic regression): 30 that run into
	// each other, of which it cuts 21, and 232 changes within, of which it cuts 4.
	evenChange  = 1.75
	mostChange  = 2.0
	changeSlope = 6.5 // of the logarithm of the odds, as are the following
	seldomCut   = -1.4
	// titleCut is the probability of a cut where one known song becomes another.
	titleCut = 0.7
)

// changes returns, for every second, how much what is played after it differs
// from what was played before.
func changes(band []chroma, levels [][]float32) []float64 {
	out := make([]float64, len(band))
	var sum [2]chroma // over the span before and after
	low := make([]float64, len(levels))
	for k := changeS; k+changeS <= len(band); k++ {
		if k == changeS {
			for i := range changeS {
				sumUp(&sum[0], &band[i], 1)
				sumUp(&sum[1], &band[k+i], 1)
				for c, l := range levels {
					low[c] += float64(levelAt(l, k+i) - levelAt(l, i))
				}
			}
		} else {
			sumUp(&sum[0], &band[k-1], 1)
			sumUp(&sum[0], &band[k-1-changeS], -1)
			sumUp(&sum[1], &band[k+changeS-1], 1)
			sumUp(&sum[1], &band[k-1], -1)
			for c, l := range levels {
				low[c] += float64(levelAt(l, k+changeS-1) - 2*levelAt(l, k-1) + levelAt(l, k-1-changeS))
			}
		}
		chords, players := 0.0, 0.0
		for i := range spectrum.PitchClasses {
			d := float64(sum[1][i]-sum[0][i]) / changeS
			chords += float64(d * d)
		}
		for _, d := range low {
			players += d * d / (changeS * changeS)
		}
		out[k] = math.Sqrt(chords) + float64(levelWeight*math.Sqrt(players/float64(max(1, len(levels)))))
	}
	return out
}

func sumUp(sum, c *chroma, sign float32) {
	for i := range sum {
		sum[i] += float32(sign * c[i])
	}
}

func levelAt(levels []float32, second int) float32 {
	if second >= len(levels) {
		return -1.5
	}
	return levels[second]
}

// part cuts stretches where what is played changes as it does from song to
// song.
func (a activity) part(music []stretch, change []float64) []stretch {
	var cuts []cut
	for k := 15; k+15 < len(change); k++ {
		if change[k] >= leastChange && change[k] == slices.Max(change[k-15:k+16]) {
			odds := stats.Exp(seldomCut + float64(changeSlope*(min(change[k], mostChange)-evenChange)) + a.dip(k))
			cuts = append(cuts, cut{block: a.quietest(k*meter.BlocksPerSecond, 3*meter.BlocksPerSecond), p: odds / (1 + odds)})
		}
	}
	return cutAt(music, cuts)
}

// quietest returns the block near another in which the fewest play.
func (a activity) quietest(block, near int) int {
	best := block
	for i := max(0, block-near); i < min(len(a.share), block+near); i++ {
		if best >= len(a.share) || a.share[i] < a.share[best] {
			best = i
		}
	}
	return best
}

// cut is a place where a stretch may part.
type cut struct {
	block int
	p     float64
}

// cutAt parts stretches at cuts that leave pieces of a song's length on both
// sides. Where a stretch already begins nearby, its cut becomes likelier.
func cutAt(music []stretch, cuts []cut) []stretch {
	const least = leastSongS * meter.BlocksPerSecond
	out := slices.Clone(music)
	for _, c := range cuts {
		for i := range out {
			s := out[i]
			if i > 0 && max(s.from-c.block, c.block-s.from) < 5*meter.BlocksPerSecond {
				out[i].cut = max(s.cut, c.p)
				break
			}
			if c.block-s.from < least || s.to-c.block < least {
				continue
			}
			tail := stretch{from: c.block, to: s.to, cut: c.p}
			out[i].to = c.block
			out = slices.Insert(out, i+1, tail)
			break
		}
	}
	return out
}

// partBySong cuts stretches where one known song becomes another.
func (n *night) partBySong(music []stretch) []stretch {
	best, where := n.bestBySong()
	if len(best) < 2 {
		return music
	}
	var cuts []cut
	for _, s := range music {
		from, to := s.from/meter.BlocksPerSecond, min(s.to/meter.BlocksPerSecond, len(n.band))
		path := course(best, from, to)
		for k := 1; k < len(path); k++ {
			if path[k] == path[k-1] || path[k] < 0 {
				continue
			}
			// What was before, if nothing was known of some seconds between.
			b := k - 1
			for b > 0 && path[b] < 0 && k-b < 15 {
				b--
			}
			if path[b] < 0 || path[b] == path[k] {
				continue
			}
			block := (from + k) * meter.BlocksPerSecond
			if start := from + k - int(where[path[k]][from+k]); start > from && max(start-from-k, from+k-start) < 15 {
				block = start * meter.BlocksPerSecond
			}
			cuts = append(cuts, cut{block: n.activity.quietest(block, 2*meter.BlocksPerSecond), p: titleCut})
		}
	}
	return cutAt(music, cuts)
}

// bestBySong returns for each known song its best likeness and where on its
// reference that is, by second.
func (n *night) bestBySong() (best [][]float32, where [][]int32) {
	for _, c := range n.clusters {
		var like []float32
		var at []int32
		for _, i := range c.refs {
			l := n.likes[i]
			if like == nil {
				like, at = slices.Clone(l.like), slices.Clone(l.at)
				continue
			}
			for t, v := range l.like {
				if v > like[t] {
					like[t], at[t] = v, l.at[t]
				}
			}
		}
		best, where = append(best, like), append(where, at)
	}
	return best, where
}

const (
	// noLike is the likeness from which a second is rather some known song than
	// none, and switchCost what a change of song costs in the same measure: ten
	// seconds of a clear one.
	noLike     = 0.45
	switchCost = 2.5
)

// course returns the known song of each second from … to-1 with the fewest
// changes, -1 for none.
func course(best [][]float32, from, to int) []int {
	n, songs := to-from, len(best)
	if n <= 0 {
		return nil
	}
	score, came := make([]float32, songs+1), make([][]int16, n)
	for t := range n {
		top := 0
		for s := range score {
			if score[s] > score[top] {
				top = s
			}
		}
		came[t] = make([]int16, songs+1)
		jump := score[top] - switchCost
		for s := range score {
			came[t][s] = int16(s)
			if jump > score[s] {
				score[s], came[t][s] = jump, int16(top)
			}
			if s == songs {
				score[s] += noLike
			} else {
				score[s] += best[s][from+t]
			}
		}
	}
	path := make([]int, n)
	s := 0
	for i := range score {
		if score[i] > score[s] {
			s = i
		}
	}
	for t := n - 1; t >= 0; t-- {
		path[t] = s
		if s == songs {
			path[t] = -1
		}
		s = int(came[t][s])
	}
	return path
}

// joinByCourse makes a cut unlikely where a reference runs on across it as if
// nothing were: a stop, or a passage so soft that nobody seems to play.
func (n *night) joinByCourse(music []stretch) {
	const look = 4 // seconds on either side
	for i := 1; i < len(music); i++ {
		end, start := music[i-1].to/meter.BlocksPerSecond, music[i].from/meter.BlocksPerSecond
		gap := start - end + look
		if start-end > mostGapS || end-look < 0 || start+look > len(n.band) {
			continue
		}
		for _, l := range n.likes {
			a, b := end-look/2-1, start+look/2
			if l.like[a] < evenLike || l.like[b] < evenLike {
				continue
			}
			ran := float64(l.at[b] - l.at[a])
			if ran > float64(0.75*float64(gap))-3 && ran < float64(1.35*float64(gap))+3 && ran > 0 {
				p := courseCut
				if music[i].from-music[i-1].to >= meter.BlocksPerSecond {
					p = gapCut
				}
				music[i].cut = min(music[i].cut, p)
			}
		}
	}
}

const (
	// mostGapS is the longest soft passage that is looked for.
	mostGapS = 60
	// courseCut is the probability of a cut where a reference runs on, and gapCut
	// that of one where the reference has the gap too. That must be so small since two
	// pieces that are known by their sound say twice what one whole song says once:
	// see mostTold. With 0.03 instead, 250 of 286 titles of nights that nobody
	// confirmed were right instead of 259; with 0.0003 for both, songs that run into
	// each other were taken for one.
	courseCut = 0.03
	gapCut    = 0.0003
)
