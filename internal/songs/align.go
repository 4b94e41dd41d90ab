package songs

import (
	"math"
	"slices"

	"nightreel/internal/stats"
)

// wanted is a title to place.
type wanted struct {
	title string
	// blocks is the song's length on other nights, 0 if unknown.
	blocks float64
}

// placing is a title on the stretches that hold it.
type placing struct {
	title      int // index into the titles
	from, to   int // indexes of the first stretch and of the one after the last
	likelihood float64
}

// The alignment's prior probabilities and spreads. They are chosen (common
// practice, no source). Only their order matters: an unplayed title, and a
// stretch of a song's length without a song, are rarer than a stop within a song.
const (
	unplayed     = 0.03 // a title on the list was not played
	notASong     = 0.6  // a very short stretch is tuning or a false start
	longNotASong = 8.0  // decay: P(not a song) falls as exp(-8 x length/usual length)
	unlisted     = 0.02 // a stretch of any length is a song that is not on the list
	knownSpread  = 0.25 // of ln(length) from night to night
	guessSpread  = 0.7  // of ln(length) from song to song
	outOfTurn    = 0.1  // a recognised title is not the list's next
	withoutList  = 0.85 // on a night without a list, a stretch is a known song
	stranger     = 0.1  // on a night without a list, a stretch of any length is an unknown song
	evenBand     = 0.35 // share of loud channels below which a stretch is less likely a song
	fewSlope     = 10.0 // ln(odds) for each share of 1 below evenBand
	mostFew      = 3.0  // limit of that, in ln(odds)
	shortSong    = 0.01 // a song is shorter than leastSongS and than a third of its usual length
	leastLength  = -3.0 // least ln(P) of a length: there are extra rounds, and lengths learned from mistakes
)

// align places titles on stretches of music: those of the list in order, and a
// recognised title anywhere. list holds indexes into titles. A title covers one
// stretch or several consecutive ones; titles and stretches may be left out.
//
// It returns the likeliest alignment. The likelihood of each placing is the
// probability, over all alignments, that the placing's middle stretch holds its
// title. of[i][t] is the probability, over all alignments, that stretch i holds
// title t.
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
	// ways and most are over all alignments of the first i stretches and the first
	// j titles of the list: ln of the sum, and ln of the largest.
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
	// rest is the same sum for the stretches from i and the titles from j on.
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

// noTitle marks a step that places no title.
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
