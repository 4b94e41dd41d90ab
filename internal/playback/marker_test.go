package playback

import "testing"

// A jump to a marker lands exactly on its frame; with a pre-roll, that much
// before it, and never before the item's own pre-roll.
func TestToMarker(t *testing.T) {
	prog := tapeProgram(2, twoSongs...)
	prog.Items[0].Markers = []ProgramMarker{{0.25, "in"}, {2.0, "verse"}}
	r := newRig(t, prog, openTape)
	for _, c := range []struct {
		marker  int
		preRoll float64
		want    int64 // frame of the recording
	}{
		{1, 0, 100_000 + 96_000},
		{1, 1.5, 100_000 + 96_000 - 72_000},
		{0, 0.5, 100_000 + 12_000 - 24_000},
		{0, 0.125, 100_000 + 12_000 - 6_000},
	} {
		r.do(Command{Do: Stop})
		r.pull(2000)
		r.do(Command{Do: Roll, ByS: c.preRoll})
		r.do(Command{Do: ToMarker, Marker: c.marker})
		r.do(Command{Do: Play})
		out := r.pull(10_000)
		r.exact("from the marker", out, fade, 10_000, c.want+fade)
	}
}
