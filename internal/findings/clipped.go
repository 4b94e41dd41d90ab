package findings

import (
	"fmt"
	"math"

	"nightreel/catalog"
	"nightreel/internal/evidence"
	"nightreel/internal/meter"
)

// clippedLimits are the thresholds of clipping.
var clippedLimits = struct {
	// SpellGapS joins runs: outside songs, what comes again within this time is the same
	// spell. A drummer's loud fills are about so far apart (common practice).
	SpellGapS float64 `unit:"s" source:"chosen"`

	// A clipped spell is a note if nobody hears more than the stroke itself: at most NoteRuns
	// runs, none longer than NoteMS. It is a fault if one run lasts FaultMS, which is audible
	// as distortion, or if it has FaultRuns runs (common practice).
	NoteRuns  int     `unit:"runs" source:"chosen"`
	NoteMS    float64 `unit:"ms" source:"chosen"`
	FaultMS   float64 `unit:"ms" source:"chosen"`
	FaultRuns int     `unit:"runs" source:"chosen"`

	// TurnDownDB, for a fault FaultTurnDownDB, is by how much less gain the text advises.
	TurnDownDB      float64 `unit:"dB" source:"chosen"`
	FaultTurnDownDB float64 `unit:"dB" source:"chosen"`
}{
	SpellGapS:       20,
	NoteRuns:        3,
	NoteMS:          0.3,
	FaultMS:         2,
	FaultRuns:       100,
	TurnDownDB:      3,
	FaultTurnDownDB: 6,
}

// spell is one stretch of the same trouble.
type spell struct {
	start, end int64 // frames
	events     []meter.Event
	samples    int
	worst      evidence.BlockCount // the second with most samples, from its first block
	truePeak   float32
}

// spells joins the runs of a track: all within one song, and those outside
// songs that lie near each other. first and last are exact where the events
// are kept.
func spells(n *known, t *evidence.Track, r evidence.Runs) []spell {
	var found []spell
	size := int64(meter.BlockFrames(t.SampleRate))
	at := 0 // next event
	for i, c := range r.Counts {
		start := int64(c.Block) * size
		end := min(start+size, t.Frames)
		if len(found) == 0 || !sameSpell(n, found[len(found)-1], start) {
			found = append(found, spell{start: start})
		}
		s := &found[len(found)-1]
		s.end = end
		s.samples += c.Samples
		s.truePeak = max(s.truePeak, c.TruePeak)
		second := evidence.BlockCount{Block: c.Block}
		for _, d := range r.Counts[i:] {
			if d.Block >= c.Block+meter.BlocksPerSecond {
				break
			}
			second.Samples += d.Samples
		}
		if second.Samples > s.worst.Samples {
			s.worst = second
		}
		for ; at < len(r.Events) && r.Events[at].Start < end; at++ {
			s.events = append(s.events, r.Events[at])
		}
	}
	kept := found[:0]
	for _, s := range found {
		if len(s.events) == 0 {
			continue // all its runs are shorter than was asked for
		}
		// Blocks with counts but without an event hold runs that others, longer,
		// crowded out: then the block is as exact as it gets.
		first, last := s.events[0], s.events[len(s.events)-1]
		if first.Start < s.start+size {
			s.start = first.Start
		}
		if e := last.Start + last.Frames; e > s.end-size {
			s.end = e
		}
		kept = append(kept, s)
	}
	return kept
}

// sameSpell reports whether trouble at a frame belongs to a spell: all through a
// song it does, and from song to song it does not.
func sameSpell(n *known, s spell, frame int64) bool {
	a, b := n.SongAt(s.start), n.SongAt(frame)
	if a != nil && b != nil {
		return a == b
	}
	return n.Seconds(frame-s.end) <= clippedLimits.SpellGapS
}

func (s spell) longest() int64 {
	var longest int64
	for _, e := range s.events {
		longest = max(longest, e.Frames)
	}
	return longest
}

func clipped(n *known) []catalog.Finding {
	var found []catalog.Finding
	for i := range n.Tracks {
		t := &n.Tracks[i]
		for _, s := range spells(n, t, t.Clips) {
			found = append(found, clippedFinding(n, t, s))
		}
	}
	return found
}

func clippedFinding(n *known, t *evidence.Track, s spell) catalog.Finding {
	runs, longest := len(s.events), n.ms(s.longest())
	severity, down := catalog.WarningSeverity, float64(clippedLimits.TurnDownDB)
	switch {
	case longest >= clippedLimits.FaultMS || runs >= clippedLimits.FaultRuns:
		severity, down = catalog.FaultSeverity, clippedLimits.FaultTurnDownDB
	case runs <= clippedLimits.NoteRuns && longest <= clippedLimits.NoteMS:
		severity = catalog.NoteSeverity
	}
	// What the wave would have reached between the clipped samples comes on top.
	if over := float64(meter.DB(float64(s.truePeak))); over > 0 && !math.IsInf(over, 0) {
		down += math.Ceil(over)
	}
	return catalog.Finding{
		Track: t.Number, Kind: catalog.Clipped, StartFrame: s.start, EndFrame: s.end, Severity: severity,
		Evidence: catalog.Evidence{
			"runs": float64(runs), "samples": float64(s.samples), "longest_run_samples": float64(s.longest()),
			"longest_run_ms": longest, "worst_second_s": n.Seconds(int64(s.worst.Block) * int64(meter.BlockFrames(t.SampleRate))),
			"worst_second_samples": float64(s.worst.Samples), "true_peak_dbtp": dBFS(float64(s.truePeak)), "turn_down_db": down,
		},
		Text: fmt.Sprintf("%s clipped %s %s%s (%s at full scale, the longest run %s): turn its preamp down about %.0f dB tomorrow.",
			t.Channel, timesKept(runs), n.between(s.start, s.end), n.where(s.start), count(s.samples, "sample"), length(longest/1000), down),
	}
}
