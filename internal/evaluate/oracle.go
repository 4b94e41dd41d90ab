package evaluate

import (
	"fmt"
	"math"
	"slices"
)

// OracleReport is how many titles can be found from the edges of all takes, by a
// finder that knows how often a band departs from its list (the figures of
// newNight), and uses no sound. No finder with the same information does better
// on average, however it cuts a night.
type OracleReport struct {
	First  Share // a first night: its list and the number of its takes are known
	Repeat Share // the same, and it is known which of its takes are the same song
	Listed Share // later nights: it is known which takes of these and earlier nights are the same song
	Again  Share // all nights: it is known which takes of all nights are the same song
}

func (r *OracleReport) String() string {
	return fmt.Sprintf("edges known, no sound: first night by its list %v (%.1f %% on average over all that may be played); if it is also known which takes are one song: first night %v, with earlier nights %v, with all nights %v", r.First, 100*byListAlone(12), r.Repeat, r.Listed, r.Again)
}

// tour adds a tour to the report.
func (r *OracleReport) tour(t *tour) {
	first := newOracle(t.nights[:1])
	count := func(s *Share, o oracle, k int, known map[string]bool) {
		for i, p := range o.nights[k].played {
			if !known[p.Song] {
				continue
			}
			s.Of++
			if o.title(k, i) == p.Song {
				s.Hits++
			}
		}
	}
	known := map[string]bool{}
	for i, n := range t.nights {
		for _, title := range n.list {
			known[title] = true
		}
		o := newOracle(t.nights[:i+1])
		switch i {
		case 0:
			first.spread(false)
			count(&r.First, first, 0, known)
			o.pass(0)
			count(&r.Repeat, o, 0, known)
		default:
			o.pass(passes)
			count(&r.Listed, o, i, known)
		}
	}
	o := newOracle(t.nights)
	o.pass(passes)
	for i := range t.nights {
		count(&r.Again, o, i, known)
	}
}

// passes is the number of rounds in which the nights exchange what they know: it
// converges before.
const passes = 12

// oracle weighs everything that may have been played, night by night. Takes of
// one song have one title: the nights' evidence about it is multiplied, for each
// night without its own, until it converges (loopy belief propagation, Pearl
// 1988; from memory). For a single night that is exact.
type oracle struct {
	nights []*night
	titles []string               // all of the lists
	index  map[string]int         // of a title
	told   []map[string][]float64 // by night and song: the night's evidence about its title
	of     [][][]float64          // by night and take: the probability of each title
}

func newOracle(nights []*night) oracle {
	o := oracle{nights: nights, index: map[string]int{}, told: make([]map[string][]float64, len(nights)), of: make([][][]float64, len(nights))}
	for _, n := range nights {
		for _, t := range n.list {
			if _, ok := o.index[t]; !ok {
				o.index[t] = len(o.titles)
				o.titles = append(o.titles, t)
			}
		}
	}
	return o
}

// title returns the likeliest title of a take.
func (o oracle) title(night, take int) string {
	best := 0
	for t, p := range o.of[night][take][:len(o.titles)] {
		if p > o.of[night][take][best] {
			best = t
		}
	}
	return o.titles[best]
}

// pass repeats the exchange between the nights the given number of times.
func (o oracle) pass(times int) {
	o.spread(true)
	for range times {
		o.spread(true)
	}
}

// spread weighs each night once, by its list and the other nights' evidence.
// repeats means that it is known which takes of a night are the same song.
func (o oracle) spread(repeats bool) {
	said := make([]map[string][]float64, len(o.nights))
	for k, n := range o.nights {
		// The other nights' evidence about each take; the last entry stands for
		// no title.
		hint := make([][]float64, len(n.played))
		for i, p := range n.played {
			hint[i] = ones(len(o.titles) + 1)
			for j, told := range o.told {
				if v := told[p.Song]; j != k && v != nil {
					for t := range v {
						hint[i][t] *= v[t]
					}
				}
			}
		}
		o.of[k], said[k] = o.weigh(n, hint, repeats)
	}
	copy(o.told, said)
}

// extra marks a take of a song that is not on the night's list.
const extra = -1

// weigh sums over all that may have been played. of is the probability of each
// take's titles, said the night's own evidence about each song.
func (o oracle) weigh(n *night, hint [][]float64, repeats bool) (of [][]float64, said map[string][]float64) {
	none := len(o.titles)
	of = make([][]float64, len(n.played))
	for i := range of {
		of[i] = make([]float64, none+1)
	}
	listed := make([]bool, none)
	list := make([]int, len(n.list))
	for i, t := range n.list {
		list[i] = o.index[t]
		listed[list[i]] = true
	}
	// A song that is not on the list may be on other lists, or on none.
	others := float64(none-len(n.list)) + 1
	twice := func(i int) bool { return i > 0 && n.played[i].Song == n.played[i-1].Song }
	departures(len(list), len(n.played), func(played []int, weight float64) {
		for i, l := range played {
			again := i > 0 && l == played[i-1]
			if repeats && again != twice(i) {
				return
			}
			switch {
			case again && repeats: // counted already
			case l == extra:
				sum := hint[i][none]
				for t := range listed {
					if !listed[t] {
						sum += hint[i][t]
					}
				}
				weight *= sum / others
			default:
				weight *= hint[i][list[l]]
			}
		}
		for i, l := range played {
			if l != extra {
				of[i][list[l]] += weight
				continue
			}
			sum := hint[i][none]
			for t := range listed {
				if !listed[t] {
					sum += hint[i][t]
				}
			}
			for t := range of[i] {
				if t == none || !listed[t] {
					of[i][t] += weight * hint[i][t] / math.Max(sum, 1e-300)
				}
			}
		}
	})
	said = map[string][]float64{}
	for i, p := range of {
		normalise(p)
		v := make([]float64, len(p))
		for t := range v {
			// No title is ever quite impossible: the nights need not agree.
			v[t] = max(1e-6, p[t]/math.Max(hint[i][t], 1e-12))
		}
		normalise(v)
		said[n.played[i].Song] = v
	}
	return of, said
}

// departures calls f for every way in which a band that plays n takes may depart
// from a list of m titles, as newNight does. played holds each take's position
// on the list, or extra.
func departures(m, n int, f func(played []int, weight float64)) {
	list := make([]int, m)
	for i := range list {
		list[i] = i
	}
	choices := func(share float64, places int, f func(place int, weight float64)) {
		f(-1, 1-share)
		for i := range places {
			f(i, share/float64(places))
		}
	}
	choices(unplayedShare, m, func(left int, a float64) {
		one := without(list, left)
		choices(swappedShare, len(one)-1, func(swap int, b float64) {
			two := append([]int{}, one...)
			if swap >= 0 {
				two[swap], two[swap+1] = two[swap+1], two[swap]
			}
			choices(extraShare, len(two)+1, func(more int, c float64) {
				three := with(two, more, extra)
				choices(twiceShare, len(three), func(twice int, d float64) {
					four := three
					if twice >= 0 {
						four = with(three, twice, three[twice])
					}
					if len(four) == n {
						f(four, a*b*c*d)
					}
				})
			})
		})
	})
}

// byListAlone returns the share of the titles of a list of m that can be found
// if only the number of a night's takes is known.
func byListAlone(m int) float64 {
	hits, all := 0.0, 0.0
	for n := range m + 3 { // one may be extra, and one played twice
		of := make([][]float64, n)
		for i := range of {
			of[i] = make([]float64, m)
		}
		departures(m, n, func(played []int, weight float64) {
			for i, l := range played {
				if l != extra {
					of[i][l] += weight
					all += weight
				}
			}
		})
		for _, titles := range of {
			hits += slices.Max(titles)
		}
	}
	return hits / all
}

// without returns a list without the entry at a position; -1 leaves it whole.
func without(list []int, place int) []int {
	out := append([]int{}, list...)
	if place >= 0 {
		out = append(out[:place], out[place+1:]...)
	}
	return out
}

// with returns a list with a value inserted at a position; -1 inserts nothing.
func with(list []int, place, value int) []int {
	if place < 0 {
		return list
	}
	out := append([]int{}, list[:place]...)
	return append(append(out, value), list[place:]...)
}

func ones(n int) []float64 {
	v := make([]float64, n)
	for i := range v {
		v[i] = 1
	}
	return v
}

// normalise scales values to a sum of 1.
func normalise(v []float64) {
	sum := 0.0
	for _, x := range v {
		sum += x
	}
	for i := range v {
		v[i] /= math.Max(sum, 1e-300)
	}
}
