package main

import (
	"math"
	"testing"

	"nightreel/internal/meter"
)

// Zero has no sign, whichever side a figure is rounded from; a span shorter than a second is
// a moment.
func TestFiguresAreWrittenInOneWay(t *testing.T) {
	for got, want := range map[string]string{
		signed(0.04): "0.0", signed(-0.04): "0.0", signed(-0.05): "-0.1", signed(1): "+1.0", signed(math.Inf(-1)): "-",
		decibels(meter.Level(-0.01)): "0.0", decibels(meter.Level(math.Inf(-1))): "silent", decibels(meter.Level(-20)): "-20.0",
		span(18.31, 18.4): "at 0:00:18.3", span(18, 21.6): "0:00:18 to 0:00:22",
		titled("Slow Weather", 1): "Slow Weather", titled("Slow Weather", 2): "Slow Weather (2)",
	} {
		if got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}
