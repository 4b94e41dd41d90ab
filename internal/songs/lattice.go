package songs

import (
	"math"

	"nightreel/internal/meter"
	"nightreel/internal/stats"
)

// lattice computes the weights of an alignment's steps, as natural logarithms
// of probabilities.
type lattice struct {
	list     []int
	titles   []wanted
	music    []stretch
	usual    float64     // blocks of a song whose length is unknown
	joins    []float64   // sums of ln(1-cut) over the stretches before each
	sound    [][]float64 // by title, and by first and last stretch: ln of the sound's likelihood ratio
	unknown  []float64   // the same for a song that has no title here
	free     []int       // titles that can be recognised anywhere
	anyone   float64     // probability that one of these is played out of turn
	stranger float64     // probability of an unknown song
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
	l.sound = make([][]float64, len(titles))
	l.unknown = make([]float64, len(music)*mostStretches)
	for t := range titles {
		if heard.knows(t) {
			l.free = append(l.free, t)
			l.sound[t] = make([]float64, len(music)*mostStretches)
		}
	}
	for i := range music {
		for k := i + 1; k <= min(len(music), i+mostStretches); k++ {
			at := i*mostStretches + k - i - 1
			odds := heard.odds(music[i].from, music[k-1].to)
			for _, t := range l.free {
				l.sound[t][at] = odds.of(t)
			}
			l.unknown[at] = odds.none()
		}
	}
	l.stranger = unlisted
	l.anyone = stats.Log(outOfTurn / float64(max(1, len(l.free))))
	if len(list) == 0 {
		l.stranger = stranger
		l.anyone = stats.Log(withoutList / float64(max(1, len(l.free))))
	}
	return l
}

// knownLength returns the median of the known lengths in blocks.
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
	return stats.Median(known)
}

func (l lattice) at(i, j int) int { return i*l.columns + j }

func (l lattice) table() []float64 {
	t := make([]float64, (len(l.music)+1)*l.columns)
	for i := range t {
		t[i] = math.Inf(-1)
	}
	return t
}

// middle returns the index of the stretch that holds the middle of a placing.
// If the middle is in a gap, it returns the stretch after the gap.
func (l lattice) middle(p placing) int {
	at := (l.music[p.from].from + l.music[p.to-1].to) / 2
	for k := p.from; k < p.to; k++ {
		if at < l.music[k].to {
			return k
		}
	}
	return p.to - 1
}

// mostStretches limits the stretches of one song, and so the time of an
// alignment.
const mostStretches = 40

// steps calls f for every possible step from stretch i and title j of the
// list: leave the title out, leave a stretch out, or put a title on stretches.
func (l lattice) steps(i, j int, f func(i1, j1 int, weight float64, title int)) {
	if j < len(l.list) {
		f(i, j+1, stats.Log(unplayed), noTitle)
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

// run returns the weight of stretches i to k-1 belonging together and apart
// from the stretch before.
func (l lattice) run(i, k int) float64 {
	return logOf(l.music[i].cut) + l.joins[k] - l.joins[i+1]
}

func (l lattice) noSong(i, k int) float64 {
	length := float64(l.music[k-1].to - l.music[i].from)
	few := max(0, min(mostFew, fewSlope*(evenBand-l.bands(i, k))))
	return logAdd(stats.Log(notASong)+few-longNotASong*length/l.usual, stats.Log(l.stranger)+l.unknown[i*mostStretches+k-i-1])
}

// bands returns the share of loud channels in stretches i to k-1.
func (l lattice) bands(i, k int) float64 {
	sum, blocks := 0.0, 0.0
	for _, s := range l.music[i:k] {
		sum += float64(s.band * float64(s.blocks()))
		blocks += float64(s.blocks())
	}
	return sum / blocks
}

// take returns the weight of a title on stretches i to k-1, from the song's
// length on other nights and from the sound.
func (l lattice) take(i, k, title int) float64 {
	length := float64(l.music[k-1].to - l.music[i].from)
	expected, spread := l.usual, guessSpread
	if b := l.titles[title].blocks; b > 0 {
		expected, spread = b, knownSpread
	}
	x := stats.Log(length/expected) / spread
	w := max(leastLength, -x*x/2)
	if length < leastSongS*meter.BlocksPerSecond && length < expected/3 {
		w += stats.Log(shortSong)
	}
	if l.sound[title] != nil {
		w += l.sound[title][i*mostStretches+k-i-1]
	}
	return w
}
