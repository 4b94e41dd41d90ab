package songs

import (
	"math"
	"slices"

	"nightreel/internal/stats"
)

// cluster holds the known takes that sound like one song. Its title comes from
// a person, or from the set lists of the takes' nights.
type cluster struct {
	refs   []int              // indexes of references
	titles map[string]float64 // the probability of each title, by key; the rest is that it is none of them
}

const (
	// Measured on rendered songs: takes of one song have a likeness of 0.5 and
	// more. 99 in a hundred pairs of takes of one song, and 14 in a hundred of
	// two songs, have likenesses over tonight that correlate as much.
	sameSong   = 0.5
	leastAgree = 0.5
)

// cluster groups the references by song. Takes that a person named go together
// by title; other takes join the song that they sound like.
func (n *night) cluster() {
	n.clusters = nil
	order := make([]int, len(n.refs))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		rank := func(i int) int {
			if n.refs[i].person {
				return 0
			}
			return 1
		}
		return rank(a) - rank(b)
	})
	agree := n.agreements()
	for _, i := range order {
		r, best, most := n.refs[i], -1, sameSong
		for k, c := range n.clusters {
			for _, j := range c.refs {
				switch o := n.refs[j]; {
				case r.person && o.person && r.key == o.key:
					best, most = k, math.Inf(1)
				case r.person && o.person || agree(i, j) < leastAgree:
				default:
					if like := alike(r.plays, o.plays); like > most {
						best, most = k, like
					}
				}
			}
		}
		if best < 0 {
			best = len(n.clusters)
			n.clusters = append(n.clusters, cluster{})
		}
		n.clusters[best].refs = append(n.clusters[best].refs, i)
	}
	for i := range n.clusters {
		n.clusters[i].titles = n.named(n.clusters[i].refs)
	}
}

// named returns the title probabilities of a song's takes: a person's title,
// or else the mean of the set lists'. Lists are not independent, because a
// band departs from them in the same way every night; multiplying their
// probabilities made wrong titles certain.
func (n *night) named(refs []int) map[string]float64 {
	titles := map[string]float64{}
	for _, i := range refs {
		if n.refs[i].person {
			return n.refs[i].titles
		}
		for key, p := range n.refs[i].titles {
			titles[key] += p / float64(len(refs))
		}
	}
	return titles
}

// agreements returns the correlation of the references' likenesses over the
// night.
func (n *night) agreements() func(a, b int) float64 {
	const step = 4 // seconds averaged into one value
	rows := make([][]float64, len(n.likes))
	for i, l := range n.likes {
		row := make([]float64, len(l.like)/step)
		for k := range row {
			for _, v := range l.like[k*step : (k+1)*step] {
				row[k] += float64(v)
			}
		}
		stats.Standardise(row)
		rows[i] = row
	}
	return func(a, b int) float64 { return stats.Dot(rows[a], rows[b]) }
}

// alike returns the mean likeness of one take to another over its seconds,
// about 0 to 1.
func alike(a, b []chroma) float64 {
	busy := make([]bool, len(a))
	for i := range busy {
		busy[i] = true
	}
	sum := 0.0
	for _, v := range follow(a, busy, b).like {
		sum += float64(v)
	}
	return sum / float64(max(1, len(a)))
}
