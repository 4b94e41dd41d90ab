package songs

import (
	"math"

	"nightreel/catalog"
)

// forbids reports whether a person's deletion rules out a take. It does if the
// two overlap by half of the shorter one, and if the take either is of the same
// song or was placed by music alone.
func forbids(d catalog.Dismissal, title string, by catalog.FoundBy, startS, endS float64) bool {
	overlap := min(d.EndS, endS) - max(d.StartS, startS)
	return overlap >= 0.5*min(d.EndS-d.StartS, endS-startS) && (by == catalog.ByMusic || catalog.SameName(d.Song, title))
}

// listed returns the index of the set list's line that a deleted take belonged
// to, or -1. If the title is listed more than once, it is the line whose
// position in the list is nearest to the take's position in the night.
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
