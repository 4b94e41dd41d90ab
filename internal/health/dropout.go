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

	// dropoutSpellS joins the dropouts of a track to one spell; within a song all
	// are one, and their moments are told.
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

// loss is one moment at which one track, or several together, dropped out.
type loss struct {
	gap
	tracks []*Track
}

// dropSpell is the losses of the same tracks that belong together.
type dropSpell struct {
	tracks     []*Track // in order of their numbers
	start, end int64
	runs       int
	lost       int64
	longest    int64
	at         []int64 // the first of the moments, maxEach at most
}

// dropouts finds the runs of zeros that were cut into signal. What silent says
// already is not told twice, and what happened to several tracks at once is
// told once.
func (n *Night) dropouts(silent []catalog.Finding) []catalog.Finding {
	var found []catalog.Finding
	for _, s := range n.dropSpells(n.losses(silent)) {
		switch {
		case len(s.tracks) == 1:
			found = append(found, n.trackDropout(s))
		case len(s.tracks) <= maxEach:
			found = append(found, n.sharedDropout(s))
		default:
			found = append(found, n.recorderDropout(s))
		}
	}
	return found
}

// losses returns the moments at which tracks dropped out, in order of time.
func (n *Night) losses(silent []catalog.Finding) []loss {
	var all []loss
	together := -1 // the latest loss of several tracks
	for _, d := range n.cuts(silent) {
		switch {
		case d.beside > 0:
			if together < 0 || n.apart(all[together].start, d.start) > sameCutS {
				all = append(all, loss{gap: d.gap})
				together = len(all) - 1
			}
			l := &all[together]
			l.frames = max(l.frames, d.start+d.frames-l.start)
			l.tracks = joined(l.tracks, []*Track{d.track})
		case d.before && d.after && !d.track.texture:
			// Zeros that a source makes itself are none, unless tracks that never
			// do so have them too.
			all = append(all, loss{d.gap, []*Track{d.track}})
		}
	}
	return all
}

// joined returns the tracks of both, in order of their numbers, each once.
func joined(a, b []*Track) []*Track {
	all := slices.Concat(a, b)
	slices.SortStableFunc(all, func(x, y *Track) int { return cmp.Compare(x.Number, y.Number) })
	return slices.Compact(all)
}

// cuts returns the runs of zeros of all tracks in order of time, each with the
// number of tracks that have the same.
func (n *Night) cuts(silent []catalog.Finding) []dropped {
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

// dropSpells joins the losses that lie near each other: a track's own, and those
// of several tracks where one of them had the one before as well, for who has
// nothing to play does not show it. Within a song near is anywhere in it, if most
// of the tracks are the same.
func (n *Night) dropSpells(all []loss) []dropSpell {
	type who struct {
		track *Track
		alone bool
	}
	open := map[who]int{} // index+1 of the latest spell
	var spells []dropSpell
	for _, l := range all {
		alone := len(l.tracks) == 1
		i := -1
		for _, t := range l.tracks {
			i = max(i, open[who{t, alone}]-1)
		}
		if i < 0 || n.seconds(l.start-spells[i].end) > dropoutSpellS && !(n.sameSong(spells[i].start, l.start) && mostly(spells[i].tracks, l.tracks)) {
			spells = append(spells, dropSpell{start: l.start})
			i = len(spells) - 1
		}
		s := &spells[i]
		s.end = max(s.end, l.start+l.frames)
		s.runs++
		s.lost += l.frames
		s.longest = max(s.longest, l.frames)
		if len(s.at) < maxEach {
			s.at = append(s.at, l.start)
		}
		s.tracks = joined(s.tracks, l.tracks)
		for _, t := range l.tracks {
			open[who{t, alone}] = i + 1
		}
	}
	return spells
}

// sameSong reports whether two frames lie in one take.
func (n *Night) sameSong(a, b int64) bool {
	t := n.songAt(a)
	return t != nil && t == n.songAt(b)
}

// mostly reports whether the shorter of two lists of tracks shares at least half
// with the other.
func mostly(a, b []*Track) bool {
	both := len(a) + len(b) - len(joined(a, b))
	return 2*both >= min(len(a), len(b))
}

func (n *Night) dropoutSeverity(s dropSpell) catalog.Severity {
	if n.ms(s.lost) >= faultDropoutMS {
		return catalog.FaultSeverity
	}
	return catalog.WarningSeverity
}

func (n *Night) trackDropout(s dropSpell) catalog.Finding {
	t := s.tracks[0]
	return catalog.Finding{
		Track: t.Number, Kind: catalog.Dropout, StartFrame: s.start, EndFrame: s.end,
		Severity: n.dropoutSeverity(s), Evidence: n.dropoutEvidence(s),
		Text: fmt.Sprintf("%s dropped out %s %s%s (%s lost): check its cable and converter input, and take these moments from another rig.",
			t.Channel, times(s.runs), n.between(s.start, s.end), n.where(s.start), length(n.seconds(s.lost))),
	}
}

// sharedDropout reports a dropout of a few tracks once: they share what failed.
func (n *Night) sharedDropout(s dropSpell) catalog.Finding {
	var numbers []int
	var names []string
	for _, t := range s.tracks {
		numbers = append(numbers, t.Number)
		names = append(names, t.Channel)
	}
	last := len(names) - 1
	return catalog.Finding{
		Tracks: numbers, Kind: catalog.Dropout, StartFrame: s.start, EndFrame: s.end,
		Severity: n.dropoutSeverity(s), Evidence: n.dropoutEvidence(s),
		Text: fmt.Sprintf("%s and %s dropped out together %s %s%s (%s lost): check the stage box, card or network stream they share, and take these moments from another rig.",
			strings.Join(names[:last], ", "), names[last], times(s.runs), n.between(s.start, s.end), n.where(s.start), length(n.seconds(s.lost))),
	}
}

func (n *Night) recorderDropout(s dropSpell) catalog.Finding {
	var names []string
	for _, t := range s.tracks[:3] {
		names = append(names, t.Channel)
	}
	return catalog.Finding{
		Kind: catalog.Dropout, StartFrame: s.start, EndFrame: s.end,
		Severity: catalog.FaultSeverity, Evidence: n.dropoutEvidence(s),
		Text: fmt.Sprintf("The recording dropped out %s %s%s on %d tracks at once (%s and others, %s lost): check the recorder's input stream and drive, and take these moments from another rig.",
			times(s.runs), n.between(s.start, s.end), n.where(s.start), len(s.tracks), strings.Join(names, ", "), length(n.seconds(s.lost))),
	}
}

func (n *Night) dropoutEvidence(s dropSpell) catalog.Evidence {
	e := catalog.Evidence{
		"runs": float64(s.runs), "samples": float64(s.lost), "lost_ms": n.ms(s.lost), "longest_ms": n.ms(s.longest), "tracks": float64(len(s.tracks)),
	}
	for i, at := range s.at {
		e[fmt.Sprint("at_", i+1, "_s")] = n.seconds(at)
	}
	return e
}

// covered reports whether a finding on the track has most of the span.
func covered(findings []catalog.Finding, track int, start, end int64) bool {
	for _, f := range findings {
		if f.Track == track && 2*(min(end, f.EndFrame)-max(start, f.StartFrame)) > end-start {
			return true
		}
	}
	return false
}
