package health

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"nightreel/catalog"
	"nightreel/internal/meter"
)

const (
	// besideGap is the peak that the block before or after a run of zeros must
	// reach to count as signal: -66 dBFS, as package meter has it for the
	// samples right beside the run.
	besideGap = 0.0005

	// textureShare is the share of the blocks with signal that hold zero runs
	// from which zeros belong to the sound: clicks, pulse waves, gated samples.
	// restingGaps is how many runs with signal on one side only make a source
	// that rests on digital zero and starts or stops hard: an instrument or
	// player connected digitally. Common practice, no source.
	textureShare = 0.1
	restingGaps  = 3

	// sameCutS, in seconds, is how far starts or ends of one dropout may lie
	// apart between tracks: it is cut at the same packet or buffer, and zeros of
	// the sound's own lengthen it by some samples.
	sameCutS = 0.005

	// dropoutSpellS joins the dropouts of a track to one spell.
	dropoutSpellS = 10

	// faultDropoutMS is the lost time from which repair by hand is no longer
	// quick. Common practice, no source.
	faultDropoutMS = 10
)

// gaps returns the runs of zeros with signal beside them, and whether they
// belong to the sound.
func gaps(e meter.Envelope) (found []gap, texture bool) {
	size := int64(e.BlockFrames())
	sounds := func(b int64) bool {
		return b >= 0 && b < int64(len(e.Blocks)) && e.Blocks[b].Peak >= besideGap
	}
	oneSided, blocks := 0, map[int64]bool{}
	for _, ev := range e.Events {
		if ev.Kind != meter.ZeroRun {
			continue
		}
		end := ev.Start + ev.Frames
		g := gap{start: ev.Start, frames: ev.Frames, before: sounds(ev.Start/size - 1), after: sounds(end/size + 1)}
		found = append(found, g)
		if !g.before || !g.after {
			// The ends of the recording say nothing about the source.
			if ev.Start > size && end < e.Frames-2*size {
				oneSided++
			}
			continue
		}
		blocks[ev.Start/size] = true
	}
	signal := 0
	for b := range e.Blocks {
		if sounds(int64(b)) {
			signal++
		}
	}
	return found, oneSided > restingGaps || len(blocks) > restingGaps && float64(len(blocks)) > textureShare*float64(signal)
}

// dropped is a dropout of one track.
type dropped struct {
	track *Track
	gap
	beside int // other tracks with the same dropout
}

// dropSpell is the dropouts of one track, or of the recorder, that belong
// together.
type dropSpell struct {
	track      *Track // nil: the recorder's
	start, end int64
	runs       int
	lost       int64
	longest    int64
	tracks     int
}

// dropouts finds the runs of zeros that were cut into signal. What silent says
// already is not told twice.
func (n *Night) dropouts(silent []catalog.Flag) []catalog.Flag {
	all := n.cuts(silent)
	var own, shared []dropped
	for _, d := range all {
		switch {
		case d.beside >= maxEach:
			shared = append(shared, d)
		case d.beside > 0 || d.before && d.after && !d.track.texture:
			// Zeros that a source makes itself are none, unless tracks that never
			// do so have them too.
			own = append(own, d)
		}
	}
	var found []catalog.Flag
	for _, s := range n.dropSpells(n.instants(shared)) {
		found = append(found, n.recorderDropout(s, shared))
	}
	for _, s := range n.dropSpells(own) {
		found = append(found, n.trackDropout(s))
	}
	return found
}

// cuts returns the runs of zeros of all tracks in order of time, each with the
// number of tracks that have the same.
func (n *Night) cuts(silent []catalog.Flag) []dropped {
	holes := n.findHoles()
	var all []dropped
	for i := range n.Tracks {
		t := &n.Tracks[i]
		for _, g := range t.gaps {
			if !inHole(holes, t, g.start, g.start+g.frames) && !covered(silent, t.Number, g.start, g.start+g.frames) {
				all = append(all, dropped{track: t, gap: g})
			}
		}
	}
	slices.SortStableFunc(all, func(a, b dropped) int { return cmp.Compare(a.start, b.start) })
	for i := range all {
		for _, dir := range []int{-1, 1} {
			for k := i + dir; k >= 0 && k < len(all) && n.apart(all[i].start, all[k].start) <= sameCutS; k += dir {
				a, b := &all[i], &all[k]
				if n.apart(a.start+a.frames, b.start+b.frames) <= sameCutS && a.track != b.track && !b.track.texture && b.before && b.after {
					a.beside++
				}
			}
		}
	}
	return all
}

// apart returns the distance of two frames in seconds.
func (n *Night) apart(a, b int64) float64 { return n.seconds(max(a-b, b-a)) }

// instants makes one of the dropouts that all tracks have at one time.
func (n *Night) instants(shared []dropped) []dropped {
	var out []dropped
	for _, d := range shared {
		if k := len(out) - 1; k >= 0 && n.apart(out[k].start, d.start) <= sameCutS {
			out[k].beside = max(out[k].beside, d.beside)
			out[k].frames = max(out[k].frames, d.frames)
			continue
		}
		d.track = nil
		out = append(out, d)
	}
	return out
}

func (n *Night) dropSpells(all []dropped) []dropSpell {
	open := map[*Track]int{} // index+1 of the track's latest spell
	var spells []dropSpell
	for _, d := range all {
		i := open[d.track] - 1
		if i < 0 || n.seconds(d.start-spells[i].end) > dropoutSpellS {
			spells = append(spells, dropSpell{track: d.track, start: d.start})
			i = len(spells) - 1
			open[d.track] = i + 1
		}
		s := &spells[i]
		s.end = max(s.end, d.start+d.frames)
		s.runs++
		s.lost += d.frames
		s.longest = max(s.longest, d.frames)
		s.tracks = max(s.tracks, d.beside+1)
	}
	return spells
}

func (n *Night) trackDropout(s dropSpell) catalog.Flag {
	also, check := "", "check its cable and converter input"
	if s.tracks > 1 {
		also = fmt.Sprintf(", together with %s", count(s.tracks-1, "other track"))
		check = "check the card or network stream they share"
	}
	severity := catalog.WarningSeverity
	if n.ms(s.lost) >= faultDropoutMS {
		severity = catalog.FaultSeverity
	}
	return catalog.Flag{
		Track: s.track.Number, Kind: catalog.Dropout, StartFrame: s.start, EndFrame: s.end,
		Severity: severity, Evidence: n.dropoutEvidence(s),
		Text: fmt.Sprintf("%s dropped out %s %s%s%s (%s lost): %s, and take these moments from another rig.",
			s.track.Channel, times(s.runs), n.between(s.start, s.end), n.where(s.start), also, length(n.seconds(s.lost)), check),
	}
}

func (n *Night) recorderDropout(s dropSpell, shared []dropped) catalog.Flag {
	var names []string
	for _, d := range shared {
		if d.start >= s.start && len(names) < 3 && !slices.Contains(names, d.track.Channel) {
			names = append(names, d.track.Channel)
		}
	}
	return catalog.Flag{
		Kind: catalog.Dropout, StartFrame: s.start, EndFrame: s.end,
		Severity: catalog.FaultSeverity, Evidence: n.dropoutEvidence(s),
		Text: fmt.Sprintf("The recording dropped out %s %s%s on %d tracks at once (%s and others, %s lost): check the recorder's input stream and drive, and take these moments from another rig.",
			times(s.runs), n.between(s.start, s.end), n.where(s.start), s.tracks, strings.Join(names, ", "), length(n.seconds(s.lost))),
	}
}

func (n *Night) dropoutEvidence(s dropSpell) catalog.Evidence {
	return catalog.Evidence{
		"runs": float64(s.runs), "samples": float64(s.lost), "lost_ms": n.ms(s.lost), "longest_ms": n.ms(s.longest), "tracks": float64(s.tracks),
	}
}

// covered reports whether a flag on the track has most of the span.
func covered(flags []catalog.Flag, track int, start, end int64) bool {
	for _, f := range flags {
		if f.Track == track && 2*(min(end, f.EndFrame)-max(start, f.StartFrame)) > end-start {
			return true
		}
	}
	return false
}
