package catalog_test

import (
	"math"
	"testing"

	"nightreel/catalog"
)

// Both forms round, and carry into minutes and hours.
func TestClockRounds(t *testing.T) {
	for _, row := range []struct {
		seconds       float64
		whole, tenths string
	}{
		{0, "0:00:00", "0:00:00.0"},
		{1.1, "0:00:01", "0:00:01.1"},
		{0.5, "0:00:01", "0:00:00.5"},
		{59.96, "0:01:00", "0:01:00.0"},
		{59.94, "0:01:00", "0:00:59.9"},
		{3599.5, "1:00:00", "0:59:59.5"},
		{36000 + 61, "10:01:01", "10:01:01.0"},
		{-1.26, "-0:00:01", "-0:00:01.3"},
		{-0.04, "0:00:00", "0:00:00.0"},
		{math.NaN(), "NaN", "NaN"},
		{math.Inf(1), "+Inf", "+Inf"},
	} {
		if got := catalog.Clock(row.seconds); got != row.whole {
			t.Errorf("Clock(%v) = %s, want %s", row.seconds, got, row.whole)
		}
		if got := catalog.ClockTenths(row.seconds); got != row.tenths {
			t.Errorf("ClockTenths(%v) = %s, want %s", row.seconds, got, row.tenths)
		}
	}
}
