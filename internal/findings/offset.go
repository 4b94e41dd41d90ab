package findings

import (
	"fmt"
	"math"

	"nightreel/catalog"
	"nightreel/internal/evidence"
	"nightreel/internal/meter"
	"nightreel/internal/stats"
)

// offsetLimits are the thresholds of DC.
var offsetLimits = struct {
	// Warning is -46 dBFS, ten times what a healthy converter shows: edits will click. Fault
	// takes 0.4 dB of headroom (common practice).
	Warning float64 `unit:"full scale" source:"chosen"`
	Fault   float64 `unit:"full scale" source:"chosen"`

	// Share is the share of the track that an offset must hold for.
	Share float64 `unit:"share" source:"chosen"`

	// Agrees is how far the stretches may scatter about one offset, as a share of it, or by
	// half of Warning: the means of a rumble hardly ever agree so over half of a recording.
	Agrees float64 `unit:"share" source:"chosen"`
}{
	Warning: 0.005,
	Fault:   0.05,
	Share:   0.5,
	Agrees:  0.25,
}

// standing returns the offset that most stretches which have one agree on, and
// the stretches that do.
func standing(means []float64) (dc float64, at []int) {
	var over []float64
	for _, m := range means {
		if math.Abs(m) >= offsetLimits.Warning {
			over = append(over, m)
		}
	}
	if len(over) == 0 {
		return 0, nil
	}
	middle := stats.Nth(over, len(over)/2) // one of them, not between two that disagree
	for i, m := range means {
		if math.Abs(m-middle) <= max(offsetLimits.Agrees*math.Abs(middle), offsetLimits.Warning/2) {
			at = append(at, i)
			dc += m
		}
	}
	return dc / float64(len(at)), at
}

// offsets finds the tracks with DC through at least half of them.
func offsets(n *known) []catalog.Finding {
	var found []catalog.Finding
	for i := range n.Tracks {
		t := &n.Tracks[i]
		dc, at := standing(t.Means)
		if math.Abs(dc) < offsetLimits.Warning || float64(len(at)) < offsetLimits.Share*float64(len(t.Means)) {
			continue
		}
		first, last := at[0], at[len(at)-1]
		severity := catalog.WarningSeverity
		if math.Abs(dc) >= offsetLimits.Fault {
			severity = catalog.FaultSeverity
		}
		stretch := evidence.DCStretch * int64(meter.BlockFrames(t.SampleRate))
		start, end := int64(first)*stretch, int64(last+1)*stretch
		if last == len(t.Means)-1 {
			end = t.Frames
		}
		found = append(found, catalog.Finding{
			Track: t.Number, Kind: catalog.DCOffset, StartFrame: start, EndFrame: end, Severity: severity,
			Evidence: catalog.Evidence{"dc_fraction": dc, "dc_dbfs": dBFS(math.Abs(dc))},
			Text: fmt.Sprintf("%s stands off centre by %.1f %% of full scale (DC, %.0f dBFS) from %s to %s: swap its preamp or converter input, and filter the track below 20 Hz before editing.",
				t.Channel, 100*math.Abs(dc), dBFS(math.Abs(dc)), n.clock(start), n.clock(end)),
		})
	}
	return found
}
