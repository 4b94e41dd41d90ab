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

	// samplesApart, in seconds, is how far starts or ends of one dropout may lie
	// apart between tracks: it is cut at the same packet or buffer.
	samplesApartS = 0.005

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

// spellOf is the dropouts of one track that belong together.
type spellOf struct {
	track      *Track
	start, end int64
	runs       int
	lost       int64
	longest    int64
	beside     int
}

// dropouts finds the runs of zeros that were cut into signal. What silent says
// already is not told twice.
func (n *Night) dropouts(silent []catalog.Flag) []catalog.Flag {
	var all []dropped
	for i := range n.Tracks {
		t := &n.Tracks[i]
		for _, g := range t.gaps {
			if !n.inHole(t, g.start, g.start+g.frames) && !covered(silent, t.Number, g.start, g.start+g.frames) {
				all = append(all, dropped{track: t, gap: g})
			}
		}
	}
	slices.SortStableFunc(all, func(a, b dropped) int { return cmp.Compare(a.start, b.start) })
	n.countBeside(all)
	all = slices.DeleteFunc(all, func(d dropped) bool {
		// Zeros that a source makes itself are none, unless tracks that never
		// do so have them too.
		return d.track.texture && d.beside == 0 || !(d.before && d.after) && d.beside == 0
	})
	return n.dropoutFlags(n.dropoutSpells(all))
}

// countBeside counts for each dropout the other tracks that have the same and
// no zeros of their own.
func (n *Night) countBeside(all []dropped) {
	apart := int64(samplesApartS * float64(n.SampleRate))
	for i := range all {
		for _, dir := range []int{-1, 1} {
			for k := i + dir; k >= 0 && k < len(all); k += dir {
				a, b := &all[i], &all[k]
				if b.start-a.start > apart || a.start-b.start > apart {
					break
				}
				if d := a.start + a.frames - b.start - b.frames; d <= apart && -d <= apart && a.track != b.track && !b.track.texture && b.before && b.after {
					a.beside++
				}
			}
		}
	}
}

func (n *Night) dropoutSpells(all []dropped) []spellOf {
	open := map[*Track]int{} // index+1 of the track's latest spell
	var spells []spellOf
	for _, d := range all {
		end := d.start + d.frames
		i := open[d.track] - 1
		if i < 0 || n.seconds(d.start-spells[i].end) > dropoutSpellS {
			spells = append(spells, spellOf{track: d.track, start: d.start})
			i = len(spells) - 1
			open[d.track] = i + 1
		}
		s := &spells[i]
		s.end = max(s.end, end)
		s.runs++
		s.lost += d.frames
		s.longest = max(s.longest, d.frames)
		s.beside = max(s.beside, d.beside)
	}
	return spells
}

// dropoutFlags makes a flag of each spell, and one of those at one time on more
// than maxEach tracks.
func (n *Night) dropoutFlags(spells []spellOf) []catalog.Flag {
	var found []catalog.Flag
	for from := 0; from < len(spells); {
		// Spells come in order of start; a group goes on as long as they overlap.
		to, end := from+1, spells[from].end
		for to < len(spells) && spells[to].start < end {
			end = max(end, spells[to].end)
			to++
		}
		group := spells[from:to]
		tracks := map[*Track]bool{}
		for _, s := range group {
			tracks[s.track] = true
		}
		if len(tracks) > maxEach {
			found = append(found, n.recorderDropout(group, end, len(tracks)))
		} else {
			for _, s := range group {
				found = append(found, n.trackDropout(s))
			}
		}
		from = to
	}
	return found
}

func (n *Night) trackDropout(s spellOf) catalog.Flag {
	f := catalog.Flag{
		Track: s.track.Number, Kind: catalog.Dropout, StartFrame: s.start, EndFrame: s.end,
		Severity: n.dropoutSeverity(s.lost),
		Evidence: n.dropoutEvidence(s, 1+s.beside),
	}
	also, check := "", "check its cable and converter input"
	if s.beside > 0 {
		also = fmt.Sprintf(", together with %s", count(s.beside, "other track"))
		check = "check the card or network stream they share"
	}
	f.Text = fmt.Sprintf("%s dropped out %s %s%s%s (%s lost): %s, and take these moments from another rig.",
		s.track.Channel, times(s.runs), n.between(s.start, s.end), n.where(s.start), also, length(n.seconds(s.lost)), check)
	return f
}

func (n *Night) recorderDropout(group []spellOf, end int64, tracks int) catalog.Flag {
	worst := group[0]
	var names []string
	for _, s := range group {
		if s.lost > worst.lost {
			worst = s
		}
		if len(names) < 3 {
			names = append(names, s.track.Channel)
		}
	}
	start := group[0].start
	return catalog.Flag{
		Kind: catalog.Dropout, StartFrame: start, EndFrame: end, Severity: catalog.FaultSeverity,
		Evidence: n.dropoutEvidence(worst, tracks),
		Text: fmt.Sprintf("The recording dropped out %s %s%s on %d tracks at once (%s and others, %s lost): check the recorder's input stream and drive, and take these moments from another rig.",
			times(worst.runs), n.between(start, end), n.where(start), tracks, strings.Join(names, ", "), length(n.seconds(worst.lost))),
	}
}

func (n *Night) dropoutSeverity(lost int64) catalog.Severity {
	if n.ms(lost) >= faultDropoutMS {
		return catalog.FaultSeverity
	}
	return catalog.WarningSeverity
}

func (n *Night) dropoutEvidence(s spellOf, tracks int) catalog.Evidence {
	return catalog.Evidence{
		"runs": float64(s.runs), "samples": float64(s.lost), "lost_ms": n.ms(s.lost), "longest_ms": n.ms(s.longest), "tracks": float64(tracks),
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
