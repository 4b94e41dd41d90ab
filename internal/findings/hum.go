package findings

import (
	"fmt"
	"math"

	"nightreel/catalog"
	"nightreel/internal/channelsound"
	"nightreel/internal/evidence"
	"nightreel/internal/spectrum"
	"nightreel/internal/stats"
)

// humLimits are the thresholds of hum.
var humLimits = struct {
	// OverDB is how far a line of the mains must stand above what is between the lines, in the
	// quietest moments. Noise averaged over three seconds reaches 4 dB; a bass that hums on
	// holds no three of them.
	OverDB float64 `unit:"dB" source:"measured"`

	// Lines is how many lines of one mains frequency must stand, one of the lowest First among
	// them (common practice).
	Lines int `unit:"lines" source:"chosen"`
	First int `unit:"lines" source:"chosen"`

	// LinesAlone is how many must stand where only one minute is quiet enough to tell: with no
	// other minute beside it, a bass that rings on its lowest notes has three.
	LinesAlone int `unit:"lines" source:"chosen"`

	// LeastDBFS is the least level of hum that is reported at all, and BelowDB how far below
	// the channel's playing it may lie and still be heard in a gap (common practice).
	LeastDBFS float64 `unit:"dBFS" source:"chosen"`
	BelowDB   float64 `unit:"dB" source:"chosen"`

	// FaultBelowDB: hum that lies less than this below the music is audible under it. HabitDB
	// is how much louder than on other nights hum must be to be reported: some amplifiers hum.
	FaultBelowDB float64 `unit:"dB" source:"chosen"`
	HabitDB      float64 `unit:"dB" source:"chosen"`

	// OffMains is how far the frequency that the lines agree on may lie off the mains': public
	// supply keeps within 1 % for all but half a per cent of a year (EN 50160, from memory),
	// and the nearest note, G at 49 Hz, is 2 % off.
	OffMains float64 `unit:"share" source:"standard"`

	// Share is the share of the minutes that it must stand through.
	Share float64 `unit:"share" source:"chosen"`

	// ControlLines is how many lines of a control comb chance may give.
	ControlLines int `unit:"lines" source:"chosen"`

	// Cells is how many cells a minute must have for its quiet to be one: over 42 s every
	// chord ends.
	Cells int `unit:"cells" source:"chosen"`

	// PassBins is how near a line of a control comb may lie to one of the mains and is passed
	// over: a line in a Hann window fills two bins to each side.
	PassBins float64 `unit:"bins" source:"chosen"`

	// SteadyDB is how far the hum of the minutes may scatter: the mains do not play louder and
	// softer.
	SteadyDB float64 `unit:"dB" source:"chosen"`
}{
	OverDB:       9,
	Lines:        3,
	First:        3,
	LinesAlone:   6,
	LeastDBFS:    -84,
	BelowDB:      55,
	FaultBelowDB: 30,
	HabitDB:      8,
	OffMains:     0.015,
	Share:        0.6,
	ControlLines: 1,
	Cells:        7,
	PassBins:     2.2,
	SteadyDB:     4,
}

// mains are the frequencies of the world's mains, in Hz. controls are combs of
// lines that no mains makes: where they stand too, music does.
var (
	mains    = []float64{50, 60}
	controls = []float64{43, 46.5, 54, 56.5, 64, 68, 73}
)

// messy reports whether a minute's quiet has lines where there is no mains of
// the given frequency.
func messy(t *spectrum.Tone, binHz, mains float64) bool {
	for _, f := range controls {
		if humOf(t, binHz, f, mains).lines > humLimits.ControlLines {
			return true
		}
	}
	return false
}

// humming is hum on one track.
type humming struct {
	mains  float64 // Hz
	level  float64 // dBFS, all its lines
	lines  int
	over   float64 // dB of the strongest line over what is between
	from   int     // minutes
	to     int
	within float64 // share of the minutes
}

// lines is what stands at a frequency and its multiples in a minute's quiet.
type lines struct {
	level float64 // dBFS, all together
	lines int
	over  float64 // dB of the strongest over what is between
	hz    float64 // the frequency that they are multiples of
}

// humOf looks for the lines of the mains in a minute's quiet.
// Lines that lie near a multiple of but are passed over.
func humOf(t *spectrum.Tone, binHz, f, but float64) lines {
	var found lines
	energy := 0.0
	first := 0
	places, squares := 0.0, 0.0
	for h := 1; ; h++ {
		at := int(math.Round(float64(h) * f / binHz))
		if int(math.Round((float64(h)+0.5)*f/binHz))+1 >= spectrum.QuietBins {
			break
		}
		if but > 0 && math.Abs(math.Remainder(float64(h)*f, but)) < humLimits.PassBins*binHz {
			continue
		}
		// A line fills two bins to each side; what lies half a mains frequency
		// away is between the lines.
		line, between := 0.0, 0.0
		for k := at - 1; k <= at+1; k++ {
			line += float64(t.Quiet[k])
		}
		for _, side := range []float64{-0.5, 0.5} {
			k := int(math.Round((float64(h) + side) * f / binHz))
			sum := 0.0
			for b := k - 1; b <= k+1; b++ {
				sum += float64(t.Quiet[max(b, 1)])
			}
			between = max(between, sum)
		}
		// Between the lines of 50 Hz lies 4.3 bins at most: the window's own
		// skirt is 40 dB down there.
		d := channelsound.DB(line) - channelsound.DB(between)
		if d < humLimits.OverDB {
			continue
		}
		found.lines++
		if h <= humLimits.First {
			first++
		}
		energy += line
		found.over = max(found.over, d)
		// Least squares over the lines: the higher one is, the more it tells.
		places += float64(float64(h) * binHz * lineAt(t, at, between/3))
		squares += float64(h * h)
	}
	if first == 0 {
		return lines{level: channelsound.Silence}
	}
	found.level, found.hz = channelsound.DB(energy), places/squares
	return found
}

// lineAt returns where a line lies, in bins, that is to be within one and a half
// of a bin. Of a sine in a Hann window, the bin at δ from it holds
// sinc(δ)/(1-δ²): the largest bin and the larger one beside it tell δ. floor is
// the energy a bin holds without the line.
func lineAt(t *spectrum.Tone, at int, floor float64) float64 {
	amplitude := func(k int) float64 { return math.Sqrt(max(0, float64(t.Quiet[k])-floor)) }
	peak := at
	for k := at - 1; k <= at+1; k++ {
		if t.Quiet[k] > t.Quiet[peak] {
			peak = k
		}
	}
	side := 1
	if amplitude(peak-1) > amplitude(peak+1) {
		side = -1
	}
	ratio := amplitude(peak+side) / amplitude(peak)
	return float64(peak) + float64(float64(side)*min(max((float64(2*ratio)-1)/(1+ratio), -0.5), 1))
}

// humIn finds hum that stands through a voice's minutes; alone is how many lines
// must stand where only one of them is quiet enough to tell.
func humIn(v *channelsound.Voice, binHz float64, alone int) (humming, bool) {
	best := humming{level: channelsound.Silence}
	for _, f := range mains {
		h := humming{mains: f, from: -1}
		var levels []float64
		judged := 0
		for i := range v.Parts {
			if len(v.Parts[i].Cells) < humLimits.Cells || messy(&v.Parts[i], binHz, f) {
				continue
			}
			judged++
			found := humOf(&v.Parts[i], binHz, f, 0)
			if found.lines < humLimits.Lines || math.Abs(found.hz/f-1) > humLimits.OffMains {
				continue
			}
			levels = append(levels, found.level)
			if h.from < 0 {
				h.from = i
			}
			h.to = i + 1
			h.lines = max(h.lines, found.lines)
			h.over = max(h.over, found.over)
		}
		if len(levels) == 0 {
			continue
		}
		if judged < 2 && h.lines < alone {
			continue
		}
		h.level = stats.Percentile(levels, gainLimits.Tail)
		h.within = float64(len(levels)) / float64(judged)
		if stats.Percentile(levels, 1-gainLimits.Tail)-h.level > humLimits.SteadyDB {
			continue
		}
		if h.lines > best.lines || h.lines == best.lines && h.level > best.level {
			best = h
		}
	}
	return best, best.lines >= humLimits.Lines && best.within >= humLimits.Share
}

// humLevel returns the level of what stands at the lines of the mains through
// half of a voice's minutes, whether it is hum or not. A bass note beside a line stands in
// those that have no pause, and is gone in the others, where hum would not be.
func humLevel(v *channelsound.Voice, binHz, mains float64) float64 {
	var levels []float64
	for i := range v.Parts {
		if found := humOf(&v.Parts[i], binHz, mains, 0); found.lines > 0 && math.Abs(found.hz/mains-1) <= humLimits.OffMains {
			levels = append(levels, found.level)
		} else {
			levels = append(levels, channelsound.Silence)
		}
	}
	if len(levels) == 0 {
		return channelsound.Silence
	}
	return stats.Median(levels)
}

// hum finds tracks in whose quiet the mains stand.
func hum(n *known) []catalog.Finding {
	if n.Sound == nil {
		return nil
	}
	binHz := float64(n.SampleRate) / float64(spectrum.Decimation(n.SampleRate)*2*spectrum.Bins)
	var found []catalog.Finding
	for i := range n.Sound.Voices {
		v := &n.Sound.Voices[i]
		t := n.TrackOf(v)
		if t == nil {
			continue
		}
		// In a line check only one minute is quiet, but the tour has many: lines that
		// no night had are none of the instrument's.
		alone := humLimits.LinesAlone
		if n.inTurn && len(n.Before(t.Channel)) > 0 {
			alone = humLimits.Lines
		}
		h, ok := humIn(v, binHz, alone)
		if !ok || h.level < humLimits.LeastDBFS || h.level < v.High-humLimits.BelowDB {
			continue
		}
		usual, nights := humElsewhere(n, t, n.carried()[t.Number], h.mains)
		if usual > h.level-humLimits.HabitDB {
			continue // it always does
		}
		found = append(found, humFinding(n, t, v, h, nights))
	}
	return found
}

// humElsewhere returns the loudest hum that channels, by their keys, have on the
// other nights, as the track would hold it by the input lists' gains, and on
// how many nights.
func humElsewhere(n *known, t *evidence.Track, channels []string, mains float64) (level float64, nights int) {
	level = channelsound.Silence
	for _, p := range n.Tour {
		had := false
		for _, channel := range channels {
			if o := p.Find(channel); o != nil {
				had = true
				binHz := float64(p.SampleRate) / float64(spectrum.Decimation(p.SampleRate)*2*spectrum.Bins)
				level = max(level, humLevel(o, binHz, mains)-evidence.GainDB(evidence.Track{Track: o.Track}, *t))
			}
		}
		if had {
			nights++
		}
	}
	return level, nights
}

func humFinding(n *known, t *evidence.Track, v *channelsound.Voice, h humming, nights int) catalog.Finding {
	below := v.High - h.level
	severity := catalog.WarningSeverity
	if below < humLimits.FaultBelowDB {
		severity = catalog.FaultSeverity
	}
	minute := 60 * int64(n.SampleRate)
	start, end := int64(h.from)*minute, min(int64(h.to)*minute, t.Frames)
	how := "under everything it plays"
	if below >= humLimits.FaultBelowDB {
		how = "in every gap"
	}
	return catalog.Finding{
		Track: t.Number, Kind: catalog.Hum, StartFrame: start, EndFrame: end, Severity: severity,
		Evidence: catalog.Evidence{"mains_hz": h.mains, "hum_dbfs": h.level, "below_song_db": below, "lines": float64(h.lines), "over_floor_db": h.over, "other_nights": float64(nights)},
		Text: fmt.Sprintf("%s hums with the mains (%.0f Hz and its multiples, %.0f dBFS), heard %s: lift the ground at its DI box or change its cable, and keep it away from power.",
			t.Channel, h.mains, h.level, how),
	}
}
