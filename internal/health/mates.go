package health

import (
	"slices"

	"nightreel/catalog"
	"nightreel/internal/sound"
)

// mates is what a track holds in songs against what it held in the same parts of
// them on another night. What is arranged, a hat for the chorus alone, is in
// both.
type mates struct {
	bins []int     // the middle of each cell, in order of time
	db   []float64 // tonight less the other night
}

// leastMates is the fewest cells to each side of a place that tell of it.
const leastMates = 2

// mates compares a track with every other night that has some of tonight's
// songs.
func (n *Night) mates(t *Track) []mates {
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
		var m mates
		for _, c := range v.In(n.Sound.Takes) {
			at := (float64(c) + 0.5) * sound.CellSeconds * float64(n.SampleRate)
			if then, ok := sameMoment(p, n.songAt(int64(at)), at); ok && then < len(o.Levels) {
				m.bins = append(m.bins, t.bin(int64(at)))
				m.db = append(m.db, v.Levels[c]-o.Levels[then])
			}
		}
		if len(m.db) > 0 {
			all = append(all, m)
		}
	}
	return all
}

// sameMoment returns the cell of another night in which the same part of a song
// was played as at a frame of a take.
func sameMoment(p *sound.Night, take *Take, frame float64) (cell int, ok bool) {
	if take == nil {
		return 0, false
	}
	for _, other := range p.Takes {
		if other.Song == take.Song {
			part := (frame - float64(take.Start)) / float64(take.End-take.Start)
			at := float64(other.Start) + part*float64(other.End-other.Start)
			return int(at / float64(p.SampleRate) / sound.CellSeconds), true
		}
	}
	return 0, false
}

// movedAgainst is [moved] against the other nights: what the middle one says.
func movedAgainst(all []mates, bin int) (db, clear float64, ok bool) {
	const most = int(stepLoudS / sound.CellSeconds)
	var dbs, clears []float64
	for _, m := range all {
		at, _ := slices.BinarySearch(m.bins, bin)
		if min(at, len(m.db)-at) < leastMates {
			continue
		}
		d, c := moved(m.db[max(0, at-most):at], m.db[at:min(len(m.db), at+most)])
		dbs, clears = append(dbs, d), append(clears, c)
	}
	return sound.Median(dbs), sound.Median(clears), len(dbs) > 0
}
