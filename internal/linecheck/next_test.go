package linecheck_test

import (
	"testing"

	"nightreel/internal/linecheck"
)

// TestNextIsTheFirstInputNotHeard: in order of track, then what was not recorded.
func TestNextIsTheFirstInputNotHeard(t *testing.T) {
	in := func(channel string, alive bool) linecheck.Input {
		return linecheck.Input{Channel: channel, Alive: alive}
	}
	for _, tt := range []struct {
		r     linecheck.Report
		next  string
		heard int
	}{
		{linecheck.Report{}, "", 0},
		{linecheck.Report{Inputs: []linecheck.Input{in("Kick", true), in("Snare", false), in("Hat", false)}, NotRecorded: []string{"Bass"}}, "Snare", 1},
		{linecheck.Report{Inputs: []linecheck.Input{in("Kick", true)}, NotRecorded: []string{"Bass"}}, "Bass", 1},
		{linecheck.Report{Inputs: []linecheck.Input{in("Kick", true)}}, "", 1},
	} {
		if next, heard := tt.r.Next(); next != tt.next || heard != tt.heard {
			t.Errorf("next is %q after %d, want %q after %d", next, heard, tt.next, tt.heard)
		}
	}
}
