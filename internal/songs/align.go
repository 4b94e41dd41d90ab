package songs

import (
	"math"
	"slices"
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
	unplayed     = 0.01 // a title on the list was not played
	notASong     = 0.6  // a stretch of next to no length is no song, but tuning or a false start
	longNotASong = 8.0  // and e to the minus this less so for one of a song's usual length
	unlisted     = 0.02 // a stretch of whatever length is a song that is not on the list
	knownSpread  = 0.25 // of ln(length) from night to night
	guessSpread  = 0.7  // of ln(length) from song to song
	leastLength  = -3.0 // a length is never held more unlikely than e to this: an extra round, or a length learned from a mistake
)

// align places titles, in their order, on stretches of music. A title takes one
// stretch or several that follow each other; a title may be left out and so may
// stretches. It returns the likeliest way to do that, and for each title placed
// the probability, over all ways, that it is on exactly these stretches.
func align(titles []wanted, music []stretch) []placing {
	n, m := len(music), len(titles)
	if n == 0 || m == 0 {
		return []placing{}
	}
	total := 0.0
	for _, s := range music {
		total += float64(s.blocks())
	}
	l := newLattice(titles, music, total/float64(m))
	// ways[i][j] and most[i][j] are over all ways in which the first i stretches
	// and j titles are done with: their sum, and the likeliest.
	ways, most := l.table(), l.table()
	type step struct {
		i, j int
		take bool
	}
	back := make([]step, (n+1)*(m+1))
	ways[0], most[0] = 0, 0
	reach := func(i, j, i0, j0 int, weight float64, take bool) {
		to, from := l.at(i, j), l.at(i0, j0)
		ways[to] = logAdd(ways[to], ways[from]+weight)
		if v := most[from] + weight; v > most[to] {
			most[to], back[to] = v, step{i0, j0, take}
		}
	}
	// rest[i][j] sums the ways in which what is left can be done with.
	rest := l.table()
	rest[l.at(n, m)] = 0
	for i := 0; i <= n; i++ {
		for j := 0; j <= m; j++ {
			l.steps(i, j, func(i1, j1 int, weight float64, take bool) { reach(i1, j1, i, j, weight, take) })
		}
	}
	for i := n; i >= 0; i-- {
		for j := m; j >= 0; j-- {
			l.steps(i, j, func(i1, j1 int, weight float64, _ bool) {
				rest[l.at(i, j)] = logAdd(rest[l.at(i, j)], weight+rest[l.at(i1, j1)])
			})
		}
	}
	all := ways[l.at(n, m)]
	placed := []placing{}
	for i, j := n, m; i > 0 || j > 0; {
		s := back[l.at(i, j)]
		if s.take {
			p := ways[l.at(s.i, s.j)] + l.take(s.i, i, s.j) + rest[l.at(i, j)] - all
			placed = append(placed, placing{title: s.j, from: s.i, to: i, likelihood: math.Exp(min(0, p))})
		}
		i, j = s.i, s.j
	}
	slices.Reverse(placed)
	return placed
}

// lattice weighs the steps of an alignment, as logarithms of probabilities.
type lattice struct {
	titles  []wanted
	music   []stretch
	usual   float64   // blocks of a song, for want of anything better
	joins   []float64 // sums of ln(1-cut) over the stretches before each
	columns int
}

func newLattice(titles []wanted, music []stretch, usual float64) lattice {
	l := lattice{titles: titles, music: music, usual: usual, columns: len(titles) + 1, joins: make([]float64, len(music)+1)}
	for i, s := range music {
		l.joins[i+1] = l.joins[i] + logOf(1-s.cut)
	}
	return l
}

func (l lattice) at(i, j int) int { return i*l.columns + j }

func (l lattice) table() []float64 {
	t := make([]float64, (len(l.music)+1)*l.columns)
	for i := range t {
		t[i] = math.Inf(-1)
	}
	return t
}

// mostStretches bounds how many stretches one song may consist of, and with it
// the time an alignment takes.
const mostStretches = 40

// steps calls f for every step on from stretch i and title j: leave the title
// out, leave stretches out, or put the title on stretches.
func (l lattice) steps(i, j int, f func(i1, j1 int, weight float64, take bool)) {
	if j < len(l.titles) {
		f(i, j+1, math.Log(unplayed), false)
	}
	for k := i + 1; k <= min(len(l.music), i+mostStretches); k++ {
		f(k, j, l.run(i, k)+l.noSong(i, k), false)
		if j < len(l.titles) {
			f(k, j+1, l.take(i, k, j), true)
		}
	}
}

// run weighs that the stretches i … k-1 belong together and are parted from
// what is before.
func (l lattice) run(i, k int) float64 {
	return logOf(l.music[i].cut) + l.joins[k] - l.joins[i+1]
}

func (l lattice) noSong(i, k int) float64 {
	length := float64(l.music[k-1].to - l.music[i].from)
	return math.Log(notASong*math.Exp(-longNotASong*length/l.usual) + unlisted)
}

func (l lattice) take(i, k, title int) float64 {
	length := float64(l.music[k-1].to - l.music[i].from)
	expected, spread := l.usual, guessSpread
	if b := l.titles[title].blocks; b > 0 {
		expected, spread = b, knownSpread
	}
	x := math.Log(length/expected) / spread
	return l.run(i, k) + max(leastLength, -x*x/2)
}

// logAdd returns ln(e^a + e^b).
func logAdd(a, b float64) float64 {
	if a < b {
		a, b = b, a
	}
	if math.IsInf(a, -1) {
		return a
	}
	return a + math.Log1p(math.Exp(b-a))
}

// median returns the middle value, NaN of none. It does not change values.
func median(values []float64) float64 {
	if len(values) == 0 {
		return math.NaN()
	}
	s := slices.Sorted(slices.Values(values))
	if n := len(s); n%2 == 0 {
		return (s[n/2-1] + s[n/2]) / 2
	}
	return s[len(s)/2]
}
