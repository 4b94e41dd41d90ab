package songs

import (
	"math"
	"slices"

	"nightreel/internal/meter"
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
				p := math.Exp(min(0, ways[here]+w-all))
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
		placed[k].likelihood = math.Exp(min(0, placed[k].likelihood))
	}
	return placed, of
}

// noTitle marks a step in which no title is placed.
const noTitle = -1

// lattice weighs the steps of an alignment, as logarithms of probabilities.
type lattice struct {
	list     []int
	titles   []wanted
	music    []stretch
	usual    float64     // blocks of a song, for want of anything better
	joins    []float64   // sums of ln(1-cut) over the stretches before each
	told     [][]float64 // by title, and by stretches first and last: what the sound says
	unknown  []float64   // and what it says about a song that has no title here
	free     []int       // titles that can be recognised anywhere
	anyone   float64     // that one of these is played out of turn
	stranger float64     // probability of a song that nobody knows
	columns  int
}

func newLattice(list []int, titles []wanted, music []stretch, heard recognition) lattice {
	total := 0.0
	for _, s := range music {
		total += float64(s.blocks())
	}
	l := lattice{list: list, titles: titles, music: music, columns: len(list) + 1, joins: make([]float64, len(music)+1)}
	l.usual = total / float64(max(1, len(list)))
	if known := knownLength(titles); len(list) == 0 && known > 0 {
		l.usual = known
	}
	for i, s := range music {
		l.joins[i+1] = l.joins[i] + logOf(1-s.cut)
	}
	l.told = make([][]float64, len(titles))
	l.unknown = make([]float64, len(music)*mostStretches)
	for t := range titles {
		if heard.knows(t) {
			l.free = append(l.free, t)
			l.told[t] = make([]float64, len(music)*mostStretches)
		}
	}
	for i := range music {
		for k := i + 1; k <= min(len(music), i+mostStretches); k++ {
			at := i*mostStretches + k - i - 1
			said := heard.says(music[i].from, music[k-1].to)
			for _, t := range l.free {
				l.told[t][at] = said.of(t)
			}
			l.unknown[at] = said.none()
		}
	}
	l.stranger = unlisted
	l.anyone = math.Log(outOfTurn / float64(max(1, len(l.free))))
	if len(list) == 0 {
		l.stranger = stranger
		l.anyone = math.Log(withoutList / float64(max(1, len(l.free))))
	}
	return l
}

// knownLength returns the median of the lengths that are known.
func knownLength(titles []wanted) float64 {
	var known []float64
	for _, t := range titles {
		if t.blocks > 0 {
			known = append(known, t.blocks)
		}
	}
	if known == nil {
		return 0
	}
	return median(known)
}

func (l lattice) at(i, j int) int { return i*l.columns + j }

func (l lattice) table() []float64 {
	t := make([]float64, (len(l.music)+1)*l.columns)
	for i := range t {
		t[i] = math.Inf(-1)
	}
	return t
}

// middle returns the stretch in which the middle of a placing lies, or the one
// after the gap that it lies in.
func (l lattice) middle(p placing) int {
	at := (l.music[p.from].from + l.music[p.to-1].to) / 2
	for k := p.from; k < p.to; k++ {
		if at < l.music[k].to {
			return k
		}
	}
	return p.to - 1
}

// mostStretches bounds how many stretches one song may consist of, and with it
// the time an alignment takes.
const mostStretches = 40

// steps calls f for every step on from stretch i and title j of the list: leave
// the title out, leave stretches out, or put a title on stretches.
func (l lattice) steps(i, j int, f func(i1, j1 int, weight float64, title int)) {
	if j < len(l.list) {
		f(i, j+1, math.Log(unplayed), noTitle)
	}
	for k := i + 1; k <= min(len(l.music), i+mostStretches); k++ {
		run := l.run(i, k)
		f(k, j, run+l.noSong(i, k), noTitle)
		if j < len(l.list) {
			f(k, j+1, run+l.take(i, k, l.list[j]), l.list[j])
		}
		for _, t := range l.free {
			f(k, j, run+l.anyone+l.take(i, k, t), t)
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
	few := max(0, min(mostFew, fewSlope*(evenBand-l.bands(i, k))))
	return logAdd(math.Log(notASong)+few-longNotASong*length/l.usual, math.Log(l.stranger)+l.unknown[i*mostStretches+k-i-1])
}

// bands returns the share of channels that are loud in the stretches i … k-1.
func (l lattice) bands(i, k int) float64 {
	sum, blocks := 0.0, 0.0
	for _, s := range l.music[i:k] {
		sum += s.band * float64(s.blocks())
		blocks += float64(s.blocks())
	}
	return sum / blocks
}

// take weighs that a title is what the stretches i … k-1 hold: by how long it
// is on other nights, and by how much it sounds like them.
func (l lattice) take(i, k, title int) float64 {
	length := float64(l.music[k-1].to - l.music[i].from)
	expected, spread := l.usual, guessSpread
	if b := l.titles[title].blocks; b > 0 {
		expected, spread = b, knownSpread
	}
	x := math.Log(length/expected) / spread
	w := max(leastLength, -x*x/2)
	if length < leastSongS*meter.BlocksPerSecond && length < expected/3 {
		w += math.Log(shortSong)
	}
	if l.told[title] != nil {
		w += l.told[title][i*mostStretches+k-i-1]
	}
	return w
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
