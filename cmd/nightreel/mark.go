package main

import (
	"context"

	"nightreel/internal/playback"
)

// besideS is how near a marker counts as being at it, so that a second press
// goes on to the next one although playback has moved: as Previous has it.
const besideS = 2

// passed returns the last of the song's markers that lies at least by seconds
// behind, or -1. A program's markers are in order.
func (v *view) passed(by float64) int {
	last := -1
	for i, m := range v.player.Program().Items[v.st.Item].Markers {
		if m.AtS <= v.st.AtS-by {
			last = i
		}
	}
	return last
}

// toMarker goes to the marker before (way -1) or after (1).
func (v *view) toMarker(ctx context.Context, way int) {
	n := v.passed(besideS)
	if way > 0 {
		n = v.passed(-v.st.PreRollS) + 1 // with a pre-roll it stands before the marker that it was sent to
	}
	markers := v.player.Program().Items[v.st.Item].Markers
	if n < 0 || n >= len(markers) {
		v.message = "no marker of this song lies before"
		if way > 0 {
			v.message = "no marker of this song lies after"
		}
		return
	}
	v.do(ctx, playback.Command{Do: playback.ToMarker, Marker: n})
}
