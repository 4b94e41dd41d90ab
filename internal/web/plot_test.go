package web

import (
	"math"
	"strings"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/compare"
	"nightreel/internal/meter"
)

// TestValuesBeyondTheScaleCarryTheirSign: what the plot has no room for is drawn at
// its edge with an arrow and the value; silence stays a cross.
func TestValuesBeyondTheScaleCarryTheirSign(t *testing.T) {
	p := plotter{takes: map[catalog.TakeID]int{1: 0}, n: 1, bound: mostPlotDB}
	for delta, want := range map[meter.Level]string{41.25: "⇑ +41.2<", -33: "⇓ −33.0<", 30: "<circle", meter.Level(math.Inf(-1)): "✕<"} {
		p.Reset()
		p.dot(compare.Value{Take: 1, Delta: delta})
		if !strings.Contains(p.String(), want) {
			t.Errorf("%v dB is drawn as %s, want %s", delta, p.String(), want)
		}
	}
}
