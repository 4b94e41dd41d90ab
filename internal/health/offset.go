package health

import (
	"fmt"
	"math"

	"nightreel/catalog"
	"nightreel/internal/meter"
	"nightreel/internal/stats"
)

const (
	// dcStretch is how many blocks an offset is taken over, 10 s: waves and
	// breath noises average out in it. Only the quietest dcQuiet of them count:
	// an offset stands through the quiet, while the mean of a lopsided wave (a
	// reed, a voice close up) goes when the wave goes. Measured: a sampled
	// saxophone shows -39 dBFS of mean while it plays, and none in its rests.
	dcStretch = 100
	dcQuiet   = 20

	// warningDC is -46 dBFS, ten times what a healthy converter shows: edits
	// will click. faultDC takes 0.4 dB of headroom. Common practice, no source.
	warningDC = 0.005
	faultDC   = 0.05

	// dcShare is the share of the track that an offset must hold for.
	dcShare = 0.5

	// An offset is one number: the blocks of a stretch may scatter about it by
	// dcScatter times itself at most, and the stretches by dcAgrees, or by half
	// of warningDC. The mean of a rumble, or of a wave that is cut, is another in
	// each block: of twenty such blocks, one mean in 40 passes the first (normal
	// law), and hardly ever half of a night's stretches the second.
	dcScatter = 2
	dcAgrees  = 0.25
)

// means returns the mean of each stretch of blocks in its quietest moments, the
// last stretch joined with what remains.
func means(blocks []meter.Block) []float64 {
	var out []float64
	for from := 0; from < len(blocks); from += dcStretch {
		to := from + dcStretch
		if len(blocks)-to < dcStretch {
			to = len(blocks)
		}
		out = append(out, quietMean(blocks[from:min(to, len(blocks))]))
		if to == len(blocks) {
			break
		}
	}
	return out
}

// quietMean returns the mean sample of the dcQuiet blocks, in a hundred, that
// have the least sound beside the offset itself; 0 where they have none in
// common.
func quietMean(blocks []meter.Block) float64 {
	type moment struct{ sound, mean float64 }
	var room [2 * dcQuiet]moment
	count := max(1, len(blocks)*dcQuiet/dcStretch)
	quietest := room[:0] // the quietest so far, in order
	for i := range blocks {
		b := &blocks[i]
		m := moment{float64(b.MeanSquare) - float64(float64(b.Mean)*float64(b.Mean)), float64(b.Mean)}
		if len(quietest) < count {
			quietest = append(quietest, m)
		} else if m.sound >= quietest[count-1].sound {
			continue
		}
		k := len(quietest) - 1
		for ; k > 0 && m.sound < quietest[k-1].sound; k-- {
			quietest[k] = quietest[k-1]
		}
		quietest[k] = m
	}
	var sum, squares float64
	for _, m := range quietest {
		sum += m.mean
		squares += float64(m.mean * m.mean)
	}
	mean := sum / float64(count)
	if squares/float64(count)-float64(mean*mean) > dcScatter*dcScatter*mean*mean {
		return 0
	}
	return mean
}

// standing returns the offset that most stretches which have one agree on, and
// the stretches that do.
func standing(means []float64) (dc float64, at []int) {
	var over []float64
	for _, m := range means {
		if math.Abs(m) >= warningDC {
			over = append(over, m)
		}
	}
	if len(over) == 0 {
		return 0, nil
	}
	middle := stats.Nth(over, len(over)/2) // one of them, not between two that disagree
	for i, m := range means {
		if math.Abs(m-middle) <= max(dcAgrees*math.Abs(middle), warningDC/2) {
			at = append(at, i)
			dc += m
		}
	}
	return dc / float64(len(at)), at
}

// offsets finds the tracks with DC through at least half of them.
func (n *Night) offsets() []catalog.Finding {
	var found []catalog.Finding
	for i := range n.Tracks {
		t := &n.Tracks[i]
		dc, at := standing(t.means)
		if math.Abs(dc) < warningDC || float64(len(at)) < dcShare*float64(len(t.means)) {
			continue
		}
		first, last := at[0], at[len(at)-1]
		severity := catalog.WarningSeverity
		if math.Abs(dc) >= faultDC {
			severity = catalog.FaultSeverity
		}
		stretch := dcStretch * int64(meter.BlockFrames(t.SampleRate))
		start, end := int64(first)*stretch, int64(last+1)*stretch
		if last == len(t.means)-1 {
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
