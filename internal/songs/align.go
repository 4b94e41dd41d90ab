package songs

import (
	"math"
	"slices"

	"nightreel/internal/stats"
)

// wanted is a title that is to be placed.
type wanted struct {
	title string
	// blocks is how long the song was on other nights; 0 where that is not
	// known.
	blocks float64
}

// placing says which stretches hold a title.
type placing struct {
	title      int // index into the titles
	from, to   int // indexes of the first stretch and of the one after the last
	likelihood float64
}

// What the alignment believes, as probabilities and spreads. They are
// judgement, common practice, no source; what counts is their order: a title
// that was not played and a stretch of song's length that is none are rarer
// than a stop within a song.
const (
	unplayed     = 0.03 // a title on the list was not played
	notASong     = 0.6  // a stretch of next to no length is no song, but tuning or a false start
	longNotASong = 8.0  // and e to the minus this less so for one of a song's usual length
	unlisted     = 0.02 // a stretch of whatever length is a song that is not on the list
	knownSpread  = 0.25 // of ln(length) from night to night
	guessSpread  = 0.7  // of ln(length) from song to song
	outOfTurn    = 0.1  // a title that is recognised is not the list's next
	withoutList  = 0.85 // a stretch is a song that is known, on a night without a list
	stranger     = 0.1  // a stretch of whatever length is a song that is not known, on such a night
	evenBand     = 0.35 // with a smaller share of loud channels it is rather no song
	fewSlope     = 10.0 // and how fast that grows
	mostFew      = 3.0  // but no more than that
	shortSong    = 0.01 // and it is shorter than leastSongS and than a third of what it should be
	leastLength  = -3.0 // a length is never held more unlikely than e to this: an extra round, or a length learned from a mistake
)

// align places titles on stretches of music: those of the list in their order,
// and any that is recognised wherever it is. A title takes one stretch or
// several that follow each other; a title may be left out and so may stretches.
// list holds indexes into titles. It returns the likeliest way to do that, and
// for each title placed the probability, over all ways, that its middle is this
// title's; and, over all ways, the probability that each stretch holds each
// title.
func align(list []int, titles []wanted, music []stretch, heard recognition) (placed []placing, of [][]float64) {
	n, m := len(music), len(list)
	of = make([][]float64, n)
	for i := range of {
		of[i] = make([]float64, len(titles))
	}
	if n == 0 || len(titles) == 0 {
		return []placing{}, of
	}
	l := newLattice(list, titles, music, heard)
	// ways[i][j] and most[i][j] are over all ways in which the first i stretches
	// and j titles of the list are done with: their sum, and the likeliest.
	ways, most := l.table(), l.table()
	type step struct{ i, j, title int }
	back := make([]step, (n+1)*(m+1))
	ways[0], most[0] = 0, 0
	for i := 0; i <= n; i++ {
		for j := 0; j <= m; j++ {
			from := l.at(i, j)
			l.steps(i, j, func(i1, j1 int, weight float64, title int) {
				to := l.at(i1, j1)
				ways[to] = logAdd(ways[to], ways[from]+weight)
				if v := most[from] + weight; v > most[to] {
					most[to], back[to] = v, step{i, j, title}
				}
			})
		}
	}
	placed = []placing{}
	for i, j := n, m; i > 0 || j > 0; {
		s := back[l.at(i, j)]
		if s.title != noTitle {
			placed = append(placed, placing{title: s.title, from: s.i, to: i})
		}
		i, j = s.i, s.j
	}
	slices.Reverse(placed)
	// rest[i][j] sums the ways in which what is left can be done with.
	rest := l.table()
	rest[l.at(n, m)] = 0
	middles := make([]int, len(placed))
	for k, p := range placed {
		middles[k] = l.middle(p)
		placed[k].likelihood = math.Inf(-1)
	}
	all := ways[l.at(n, m)]
	for i := n; i >= 0; i-- {
		for j := m; j >= 0; j-- {
			here := l.at(i, j)
			l.steps(i, j, func(i1, j1 int, weight float64, title int) {
				w := weight + rest[l.at(i1, j1)]
				rest[here] = logAdd(rest[here], w)
				if title == noTitle {
					return
				}
				p := stats.Exp(min(0, ways[here]+w-all))
				for k := i; k < i1; k++ {
					of[k][title] += p
				}
				for k := range placed {
					if placed[k].title == title && i <= middles[k] && middles[k] < i1 {
						placed[k].likelihood = logAdd(placed[k].likelihood, ways[here]+w-all)
					}
				}
			})
		}
	}
	for k := range placed {
		placed[k].likelihood = stats.Exp(min(0, placed[k].likelihood))
	}
	return placed, of
}

// noTitle marks a step in which no title is placed.
const noTitle = -1

// logAdd returns ln(e^a + e^b).
func logAdd(a, b float64) float64 {
	if a < b {
		a, b = b, a
	}
	if math.IsInf(a, -1) {
		return a
	}
	return a + stats.Log1p(stats.Exp(b-a))
}
