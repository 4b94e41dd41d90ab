package findings

import (
	"fmt"

	"nightreel/catalog"
	"nightreel/internal/evidence"
	"nightreel/internal/meter"
)

// flatTopLimits are the thresholds of ceilings below full scale.
var flatTopLimits = struct {
	// LeastRuns is how often a ceiling must be hit in one spell: chance makes a flat top now
	// and then, a stage without headroom makes them again and again (common practice).
	LeastRuns int `unit:"runs" source:"chosen"`

	// Ceiling is how far plateaus of one ceiling lie apart: 0.1 dB. Noise behind the stage
	// that clipped is far smaller.
	Ceiling float64 `unit:"ratio" source:"chosen"`

	// Behind a coupling capacitor tops sink while they last, and all move with what lies below
	// the corner: by 0.3 dB for a bass that is cut a little and a corner of 1 Hz, by 1.3 dB if
	// it is cut much (first-order filter). So ManyRuns tops that lie within NearCeiling, 1.5
	// dB, of each other are a ceiling, too.
	ManyRuns    int     `unit:"runs" source:"measured"`
	NearCeiling float64 `unit:"ratio" source:"measured"`

	// SquareShare is the share of the samples of blocks with flat tops that makes them a
	// square wave: of a sine that is cut by 10 dB, 80 % are flat.
	SquareShare float64 `unit:"share" source:"chosen"`

	// AtCeiling is the share of all flat tops that must lie at the ceiling; the positive and
	// the negative half may have one each.
	AtCeiling float64 `unit:"share" source:"chosen"`

	// BelowCeiling is the share of the track's blocks with about as much sound (within
	// SoundsWithin, 24 dB, but loud enough for flat tops to be looked for, or within
	// LooksWithin, 12 dB) that must stay Below, 0.5 dB, the ceiling and have no flat top:
	// music reaches a ceiling on its loudest moments only, a square wave reaches its own all
	// the time.
	BelowCeiling float64 `unit:"share" source:"chosen"`
	SoundsWithin float64 `unit:"ratio" source:"chosen"`
	LooksWithin  float64 `unit:"ratio" source:"chosen"`
	Below        float64 `unit:"ratio" source:"chosen"`
}{
	LeastRuns:    10,
	Ceiling:      1.0116,
	ManyRuns:     40,
	NearCeiling:  1.189,
	SquareShare:  0.9,
	AtCeiling:    0.9,
	BelowCeiling: 0.1,
	SoundsWithin: 0.0631,
	LooksWithin:  0.2512,
	Below:        0.9441,
}

// flatTops reports tracks that ran into a ceiling below full scale: by runs of
// equal samples, or else by their peaks.
func flatTops(n *known) []catalog.Finding {
	found := cutTops(n)
	return append(found, ceilings(n, found)...)
}

// cutTops finds runs of equal samples at one ceiling.
func cutTops(n *known) []catalog.Finding {
	var found []catalog.Finding
	for i := range n.Tracks {
		t := &n.Tracks[i]
		if len(t.Flats.Events) < flatTopLimits.LeastRuns {
			continue
		}
		for _, s := range spells(n, t, t.Flats) {
			if ceiling, events := s.ceiling(); ceiling > 0 && holds(t, s, ceiling) {
				found = append(found, flatTopFinding(n, t, s, ceiling, events))
			}
		}
	}
	return found
}

// ceiling returns the magnitude of a spell's highest flat tops, and those that
// lie at it; 0 if they lie all over the place.
func (s spell) ceiling() (float64, []meter.Event) {
	var top float32
	for _, e := range s.events {
		top = max(top, e.Level)
	}
	var upper, rest []meter.Event
	var second float32
	for _, e := range s.events {
		if e.Level*float32(flatTopLimits.Ceiling) >= top {
			upper = append(upper, e)
			continue
		}
		rest = append(rest, e)
		second = max(second, e.Level)
	}
	all := upper
	for _, e := range rest {
		if e.Level*float32(flatTopLimits.Ceiling) >= second {
			all = append(all, e)
		}
	}
	if len(upper) >= flatTopLimits.LeastRuns/2 && len(all) >= flatTopLimits.LeastRuns && float64(len(all)) >= flatTopLimits.AtCeiling*float64(len(s.events)) {
		return float64(top), all
	}
	all = all[:0]
	for _, e := range s.events {
		if e.Level*float32(flatTopLimits.NearCeiling) >= top {
			all = append(all, e)
		}
	}
	if len(all) >= flatTopLimits.ManyRuns && float64(len(all)) >= flatTopLimits.AtCeiling*float64(len(s.events)) {
		return float64(top), all
	}
	return 0, nil
}

// holds reports whether nothing in the spell goes beyond the ceiling, and the
// track's sound is not at it all the time.
func holds(t *evidence.Track, s spell, ceiling float64) bool {
	size := int64(meter.BlockFrames(t.SampleRate))
	for b := s.start / size; b < min((s.end+size-1)/size, int64(len(t.Peaks))); b++ {
		if float64(t.Peaks[b]) > ceiling*flatTopLimits.Ceiling {
			return false
		}
	}
	flat := map[int]bool{}
	samples := 0
	for _, c := range t.Flats.Counts {
		flat[c.Block] = true
		samples += c.Samples
	}
	if float64(samples) > flatTopLimits.SquareShare*float64(size)*float64(len(flat)) {
		return false
	}
	sounding, free := 0, 0
	for b, p := range t.Peaks {
		if float64(p) < max(ceiling*flatTopLimits.SoundsWithin, min(evidence.PileLimits.Looked, ceiling*flatTopLimits.LooksWithin)) {
			continue
		}
		sounding++
		if float64(p) < ceiling*flatTopLimits.Below && !flat[b] {
			free++
		}
	}
	return float64(free) >= flatTopLimits.BelowCeiling*float64(sounding)
}

func flatTopFinding(n *known, t *evidence.Track, s spell, ceiling float64, events []meter.Event) catalog.Finding {
	return catalog.Finding{
		Track: t.Number, Kind: catalog.FlatTop, StartFrame: s.start, EndFrame: s.end, Severity: catalog.WarningSeverity,
		Evidence: catalog.Evidence{
			"ceiling_dbfs": dBFS(ceiling), "runs": float64(len(events)), "samples": float64(s.samples),
			"longest_run_ms": n.ms(s.longest()),
		},
		Text: fmt.Sprintf("%s was cut flat at %.1f dBFS %s %s%s: something before the recorder has no headroom left (instrument, DI box or preamp pad); turn the source down or switch in the pad, the preamp gain alone will not cure it.",
			t.Channel, dBFS(ceiling), timesKept(len(events)), n.between(s.start, s.end), n.where(s.start)),
	}
}
