package findings

import (
	"testing"

	"nightreel/internal/meter"
)

// Where the neighbours hear most of a drum's edges, the rest is the drum's, too;
// a contact cracks between its strokes.
func TestCracksAmongStrokes(t *testing.T) {
	for _, row := range []struct {
		what    string
		strokes int // to each crack that no neighbour hears
		want    int
	}{
		{"a stroke to each crack", 1, 1},
		{"five strokes to each crack", 5, 0},
	} {
		t.Run(row.what, func(t *testing.T) {
			sc := newScene(7, 0)
			hat, overhead := sc.tape("Hat"), sc.tape("Overhead L")
			for i := range 30 {
				at := int64(sc.in(1, 0.2))*4800 + int64(i*i%37+40*i)*2400
				hat.event(meter.Crack, at, 1, 0.1)
				for k := range row.strokes {
					stroke := at + int64(k+1)*8000
					hat.event(meter.Crack, stroke, 1, 0.1)
					overhead.event(meter.Crack, stroke+200, 1, 0.05)
				}
			}
			n := night(sc.st, sc.voices, sc.tapes)
			if found := crackles(learn(n)); len(found) != row.want {
				t.Errorf("%d crackle, want %d: %+v", len(found), row.want, found)
			}
		})
	}
}
