package songs

import (
	"math"

	"nightreel/catalog"
)

// forbids reports whether a take may not stand where a person deleted one: one
// that overlaps it by half of the shorter of the two, if it is of the same
// song, or if nothing but music speaks for it.
func forbids(d catalog.Dismissal, title string, by catalog.FoundBy, startS, endS float64) bool {
	overlap := min(d.EndS, endS) - max(d.StartS, startS)
	return overlap >= 0.5*min(d.EndS-d.StartS, endS-startS) && (by == catalog.ByMusic || catalog.SameName(d.Song, title))
}

// listed returns the index of the line of the set list that a deleted take was
// of, or -1. Of a title that stands there more than once it is the line whose
// place in the list is nearest to the take's place in the night.
func listed(d catalog.Dismissal, list []catalog.SetListEntry, nightS float64) int {
	best, nearest := -1, math.Inf(1)
	for i, e := range list {
		if !catalog.SameName(e.Song, d.Song) {
			continue
		}
		off := math.Abs((float64(i)+0.5)/float64(len(list)) - (d.StartS+d.EndS)/2/nightS)
		if off < nearest {
			best, nearest = i, off
		}
	}
	return best
}
