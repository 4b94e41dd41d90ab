package findings

import (
	"math"
	"slices"
	"sort"

	"nightreel/catalog"
	"nightreel/internal/channelsound"
	"nightreel/internal/evidence"
	"nightreel/internal/stats"
)

// mates is what a track holds in songs against what it held in the same parts of
// them on another night. What is arranged, a hat for the chorus alone, is in
// both.
type mates struct {
	bins []int     // the middle of each cell, in order of time
	db   []float64 // tonight less the other night
}

// mates compares a track with every other night that has some of tonight's
// songs.
func matesOf(n *known, t *evidence.Track) []mates {
	if n.Sound == nil {
		return nil
	}
	v := n.Sound.Find(catalog.Key(t.Channel))
	if v == nil {
		return nil
	}
	var all []mates
	for _, p := range n.Tour {
		o := p.Find(catalog.Key(t.Channel))
		if o == nil {
			continue
		}
		if m := matesOn(n, v, p, o); len(m.db) > 0 {
			all = append(all, m)
		}
	}
	return all
}

// matesOn compares a voice with one of another night.
func matesOn(n *known, v *channelsound.Voice, p *channelsound.Night, o *channelsound.Voice) (m mates) {
	for _, take := range n.Takes {
		length := float64(take.End - take.Start)
		for _, other := range p.Takes {
			if other.Song != take.Song {
				continue
			}
			cell := channelsound.CellSeconds * float64(n.SampleRate)
			for c := max(0, int(math.Ceil(float64(take.Start)/cell-0.5))); c < len(v.Levels); c++ {
				at := (float64(c) + 0.5) * cell
				part := (float64(at) - float64(take.Start)) / length
				if !(part < 1) { // or the take has no length
					break
				}
				then := float64(other.Start) + float64(part*float64(other.End-other.Start))
				if k := int(then / float64(p.SampleRate) / channelsound.CellSeconds); k >= 0 && k < len(o.Levels) {
					m.bins = append(m.bins, int(at/float64(n.SampleRate)*evidence.BinsPerSecond))
					m.db = append(m.db, v.Levels[c]-o.Levels[k])
				}
			}
			break
		}
	}
	if !slices.IsSorted(m.bins) { // takes may overlap
		sort.Stable(byBin(m))
	}
	return m
}

// byBin sorts the cells of mates by their bins.
type byBin mates

func (m byBin) Len() int           { return len(m.bins) }
func (m byBin) Less(i, j int) bool { return m.bins[i] < m.bins[j] }
func (m byBin) Swap(i, j int) {
	m.bins[i], m.bins[j] = m.bins[j], m.bins[i]
	m.db[i], m.db[j] = m.db[j], m.db[i]
}

// movedAgainst is [moved] against the other nights: what the middle one says.
func movedAgainst(all []mates, bin int) (db, clear float64, ok bool) {
	most := int(gainLimits.StepLoudS / channelsound.CellSeconds)
	var dbs, clears []float64
	for _, m := range all {
		at, _ := slices.BinarySearch(m.bins, bin)
		if min(at, len(m.db)-at) < gainLimits.Mates {
			continue
		}
		d, c := moved(m.db[max(0, at-most):at], m.db[at:min(len(m.db), at+most)])
		dbs, clears = append(dbs, d), append(clears, c)
	}
	return stats.Median(dbs), stats.Median(clears), len(dbs) > 0
}
