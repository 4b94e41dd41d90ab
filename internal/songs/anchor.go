package songs

import (
	"math"

	"nightreel/catalog"
	"nightreel/internal/stats"
)

// anchor holds the titles that the set list and its order give a stretch of a
// night. A title that one night learned from another by sound and passed on to a
// third must not come back as if a person had confirmed it. Other nights
// therefore trust a take's anchors, never its title.
type anchor struct {
	start, end int64              // frames of the reference recording
	titles     map[string]float64 // the probability of each title
}

const (
	// byOrder is the probability that the alignment is right as a whole: that the
	// band mostly kept the list's order.
	byOrder = 0.9
	// swapped is the probability that two neighbouring titles swapped places.
	swapped = 0.03
	// leastAnchor is the probability below which an anchor drops a title.
	leastAnchor = 0.005
)

// anchor adds an anchor for each stretch; of[i][t] is the probability that
// stretch i holds title t.
func (n *night) anchor(list []int, titles []wanted, music []stretch, of [][]float64) {
	for i, s := range music {
		a := anchor{start: n.frame(s.from), end: n.frame(s.to), titles: map[string]float64{}}
		add := func(t int, p float64) { a.titles[titles[t].title] += float64(byOrder * p) }
		for k, t := range list {
			p := of[i][t]
			if k > 0 {
				add(list[k-1], swapped*p)
				p -= float64(swapped * of[i][t])
			}
			if k+1 < len(list) {
				add(list[k+1], swapped*p)
				p -= float64(swapped * of[i][t])
			}
			add(t, p)
		}
		for title, p := range a.titles {
			if p < leastAnchor {
				delete(a.titles, title)
				continue
			}
			a.titles[title] = math.Round(1000*p) / 1000
		}
		n.anchors = append(n.anchors, a)
	}
}

// titlesOf returns the probability of each title of a candidate, from everything
// but its sound.
func (n *night) titlesOf(c candidate) map[string]float64 {
	switch c.by {
	case catalog.ByPerson:
		return map[string]float64{c.title: 1 - leastDoubt}
	case catalog.ByMusic:
	default:
		return map[string]float64{c.title: c.confidence}
	}
	titles := map[string]float64{}
	for _, a := range n.anchors {
		share := float64(min(a.end, c.end)-max(a.start, c.start)) / float64(c.end-c.start)
		if share <= 0 {
			continue
		}
		for title, p := range a.titles {
			titles[title] += float64(share * p)
		}
	}
	for title, p := range titles {
		titles[title] = stats.Round(p, 1e6)
	}
	return titles
}
