package songs

import (
	"math"
	"slices"

	"nightreel/internal/meter"
	"nightreel/internal/spectrum"
	"nightreel/internal/stats"
)

// If a song runs into the next, no pause separates them. At that point the
// chords and the players change more than anywhere within a song.
const (
	changeS     = 25 // seconds compared before and after a second
	levelWeight = 1.5
	leastChange = 1.0
	// Where two songs meet, chords and levels together change by 1.8 (1.4 to
	// 2.3), and the whole band is softer for a moment: the softest second is 9 dB
	// (1 to 16) below the softer of the two sides. Changes of chords or players
	// within a song are eight times as frequent. They are smaller, and in three of
	// four cases the level drops by less than 2.5 dB. The weights come from a
	// logistic regression over ten tours of rendered songs: it cuts 21 of 30 songs
	// that run into each other, and 4 of 232 changes within songs.
	evenChange  = 1.75
	mostChange  = 2.0
	changeSlope = 6.5 // of the logarithm of the odds, like seldomCut
	seldomCut   = -1.4
	// titleCut is the probability of a cut where one known song becomes another.
	titleCut = 0.7
)

// changes returns, for each second, how much the changeS seconds after it differ
// from the changeS seconds before it; 0 near both ends of the night.
func changes(band []chroma, levels [][]float32) []float64 {
	out := make([]float64, len(band))
	var sum [2]chroma // over changeS seconds before and after
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

// cutAtChanges cuts stretches where chords and players change as they do from one
// song to the next.
func (a activity) cutAtChanges(music []stretch, change []float64) []stretch {
	var cuts []cut
	for k := 15; k+15 < len(change); k++ {
		if change[k] >= leastChange && change[k] == slices.Max(change[k-15:k+16]) {
			odds := stats.Exp(seldomCut + float64(changeSlope*(min(change[k], mostChange)-evenChange)) + a.dip(k))
			cuts = append(cuts, cut{block: a.quietest(k*meter.BlocksPerSecond, 3*meter.BlocksPerSecond), p: odds / (1 + odds)})
		}
	}
	return cutAt(music, cuts)
}

// quietest returns the block within near blocks of block in which the fewest
// channels play.
func (a activity) quietest(block, near int) int {
	best := block
	for i := max(0, block-near); i < min(len(a.share), block+near); i++ {
		if best >= len(a.share) || a.share[i] < a.share[best] {
			best = i
		}
	}
	return best
}

// cut is a place where a stretch may be cut, with the probability that a song
// ends there.
type cut struct {
	block int
	p     float64
}

// cutAt cuts stretches at cuts that leave a song's length on both sides. If a
// stretch already begins within five seconds, the cut raises the probability of
// that beginning instead.
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

// cutAtSongs cuts stretches where one known song changes to another.
func (n *night) cutAtSongs(music []stretch) []stretch {
	best, where := n.bestBySong()
	if len(best) < 2 {
		return music
	}
	var cuts []cut
	for _, s := range music {
		from, to := s.from/meter.BlocksPerSecond, min(s.to/meter.BlocksPerSecond, len(n.band))
		path := songPath(best, from, to)
		for k := 1; k < len(path); k++ {
			if path[k] == path[k-1] || path[k] < 0 {
				continue
			}
			// Skip up to 15 seconds that resemble no known song.
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

// bestBySong returns, for each known song and each second of the night, the best
// likeness among the song's references and the reference's second that has it.
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
	// noLike is the likeness above which a second counts as a known song.
	// switchCost is the likeness that a change of song costs: ten seconds of a
	// clear match.
	noLike     = 0.45
	switchCost = 2.5
)

// songPath returns the known song of each second from to to-1, -1 for none: the
// path of the largest total likeness less switchCost a change (Viterbi).
func songPath(best [][]float32, from, to int) []int {
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

// joinAcross makes a cut unlikely if a reference runs on across it. The cut is
// then a stop within the song, or a passage too soft to register.
func (n *night) joinAcross(music []stretch) {
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
				p := runOnCut
				if music[i].from-music[i-1].to >= meter.BlocksPerSecond {
					p = gapCut
				}
				music[i].cut = min(music[i].cut, p)
			}
		}
	}
}

const (
	// mostGapS is the longest soft passage, in seconds, that joinAcross bridges.
	mostGapS = 60
	// runOnCut is the probability of a cut where a reference runs on without a
	// gap, gapCut that of a cut where the reference has the gap too. Splitting a
	// known song counts its acoustic evidence twice (see mostTold); the small
	// gapCut cancels that. With 0.03 for both, 250 of 286 titles of unconfirmed
	// nights were right instead of 259. With 0.0003 for both, songs that run into
	// each other were joined.
	runOnCut = 0.03
	gapCut   = 0.0003
)
