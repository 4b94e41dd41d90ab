package songs

import (
	"math"
	"slices"

	"nightreel/internal/stats"
)

// cluster is all known takes that sound like one song. Its title is told by a
// person, or by the set lists of the nights that its takes are of.
type cluster struct {
	refs   []int              // indexes of references
	titles map[string]float64 // the probability of each title, by key; the rest is that it is none of them
}

const (
	// Takes of one song run along each other with a likeness of 0.5 and more;
	// their likenesses over tonight agree so far (99 in a hundred pairs, and 14 of
	// other songs): measured on rendered songs.
	sameSong   = 0.5
	leastAgree = 0.5
)

// cluster parts the references into songs. Takes that a person named are of one
// song if that is what they are called; others join the song that they sound
// like.
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

// named weighs what is told about the takes of one song: a person's word, or
// else the mean of what the lists of their nights say. Lists err alike where the
// band departs from them alike every night, so they are no independent
// witnesses: to multiply their probabilities made wrong titles certain.
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

// agreements returns how well two references' likenesses over the night agree:
// their correlation.
func (n *night) agreements() func(a, b int) float64 {
	const step = 4 // seconds that are put together
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

// alike returns how much one take runs like another: the mean over its seconds.
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
