package health

import (
	"fmt"
	"math"

	"nightreel/catalog"
	"nightreel/internal/meter"
)

const (
	// dcStretch is how many blocks an offset is taken over, 10 s: waves and
	// breath noises average out in it.
	dcStretch = 100

	// warningDC is -46 dBFS, ten times what a healthy converter shows: edits
	// will click. faultDC takes 0.4 dB of headroom. Common practice, no source.
	warningDC = 0.005
	faultDC   = 0.05

	// dcShare is the share of the track that an offset must hold for.
	dcShare = 0.5
)

// means returns the mean of each stretch of blocks, the last one joined with
// what remains.
func means(blocks []meter.Block) []float64 {
	var out []float64
	for from := 0; from < len(blocks); from += dcStretch {
		to := from + dcStretch
		if len(blocks)-to < dcStretch {
			to = len(blocks)
		}
		var sum float64
		for _, b := range blocks[from:min(to, len(blocks))] {
			sum += float64(b.Mean)
		}
		out = append(out, sum/float64(to-from))
		if to == len(blocks) {
			break
		}
	}
	return out
}

// offsets finds the tracks with DC through at least half of them.
func (n *Night) offsets() []catalog.Flag {
	var found []catalog.Flag
	for i := range n.Tracks {
		t := &n.Tracks[i]
		first, last, over := -1, -1, 0
		var sum float64
		for k, m := range t.means {
			if math.Abs(m) < warningDC {
				continue
			}
			if first < 0 {
				first = k
			}
			last = k
			over++
			sum += m
		}
		if over == 0 || float64(over) < dcShare*float64(len(t.means)) {
			continue
		}
		dc := sum / float64(over)
		if math.Abs(dc) < warningDC {
			continue // it changes sides: no offset
		}
		severity := catalog.WarningSeverity
		if math.Abs(dc) >= faultDC {
			severity = catalog.FaultSeverity
		}
		stretch := dcStretch * int64(meter.BlockFrames(t.SampleRate))
		start, end := int64(first)*stretch, int64(last+1)*stretch
		if last == len(t.means)-1 {
			end = t.Frames
		}
		found = append(found, catalog.Flag{
			Track: t.Number, Kind: catalog.DCOffset, StartFrame: start, EndFrame: end, Severity: severity,
			Evidence: catalog.Evidence{"dc_fraction": dc, "dc_dbfs": dBFS(math.Abs(dc))},
			Text: fmt.Sprintf("%s stands off centre by %.1f %% of full scale (DC, %.0f dBFS) from %s to %s: swap its preamp or converter input, and filter the track below 20 Hz before editing.",
				t.Channel, 100*math.Abs(dc), dBFS(math.Abs(dc)), n.clock(start), n.clock(end)),
		})
	}
	return found
}
