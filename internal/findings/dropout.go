package findings

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"nightreel/catalog"
	"nightreel/internal/evidence"
)

// dropoutLimits are the thresholds of dropouts.
var dropoutLimits = struct {
	// SameCutS is how far starts or ends of one dropout may lie apart between tracks: it is
	// cut at the same packet or buffer, and zeros of the sound's own lengthen it by some
	// samples.
	SameCutS float64 `unit:"s" source:"chosen"`

	// SpellS joins the dropouts of a track to one spell; within a song all are one, and its
	// evidence lists their moments.
	SpellS float64 `unit:"s" source:"chosen"`

	// FaultMS is the lost time from which repair by hand is no longer quick (common practice).
	FaultMS float64 `unit:"ms" source:"chosen"`
}{
	SameCutS: 0.005,
	SpellS:   10,
	FaultMS:  10,
}

// dropped is a dropout of one track.
type dropped struct {
	track *evidence.Track
	evidence.Gap
	beside int // other tracks with the same dropout
}

// loss is one moment at which one track, or several together, dropped out.
type loss struct {
	evidence.Gap
	tracks []*evidence.Track
}

// dropSpell is the losses of the same tracks that belong together.
type dropSpell struct {
	tracks     []*evidence.Track // in order of their numbers
	start, end int64
	runs       int
	lost       int64
	longest    int64
	at         []int64 // the first of the moments, maxEach at most
}

// dropouts finds the runs of zeros that were cut into signal. Zeros within a
// silence of the track belong to that, and what happened to several tracks at once is
// one finding.
func dropouts(n *known) []catalog.Finding {
	var found []catalog.Finding
	for _, s := range dropSpells(n, losses(n)) {
		switch {
		case len(s.tracks) == 1:
			found = append(found, trackDropout(n, s))
		case len(s.tracks) <= maxEach:
			found = append(found, sharedDropout(n, s))
		default:
			found = append(found, recorderDropout(n, s))
		}
	}
	return found
}

// losses returns the moments at which tracks dropped out, in order of time.
func losses(n *known) []loss {
	var all []loss
	together := -1 // the latest loss of several tracks
	for _, d := range cuts(n) {
		switch {
		case d.beside > 0:
			if together < 0 || n.apart(all[together].Start, d.Start) > dropoutLimits.SameCutS {
				all = append(all, loss{Gap: d.Gap})
				together = len(all) - 1
			}
			l := &all[together]
			l.Frames = max(l.Frames, d.Start+d.Frames-l.Start)
			l.tracks = joined(l.tracks, []*evidence.Track{d.track})
		case d.Before && d.After && !d.track.Texture:
			// Zeros that a source makes itself are none, unless tracks that never
			// do so have them too.
			all = append(all, loss{d.Gap, []*evidence.Track{d.track}})
		}
	}
	return all
}

// joined returns the tracks of both, in order of their numbers, each once.
func joined(a, b []*evidence.Track) []*evidence.Track {
	all := slices.Concat(a, b)
	slices.SortStableFunc(all, func(x, y *evidence.Track) int { return cmp.Compare(x.Number, y.Number) })
	return slices.Compact(all)
}

// cuts returns the runs of zeros of all tracks in order of time, each with the
// number of tracks that have the same.
func cuts(n *known) []dropped {
	holes := findHoles(n)
	var all []dropped
	for i := range n.Tracks {
		t := &n.Tracks[i]
		for _, g := range t.Gaps {
			if !inHole(holes, t, g.Start, g.Start+g.Frames) && !covered(n.silences(), t.Number, g.Start, g.Start+g.Frames) {
				all = append(all, dropped{track: t, Gap: g})
			}
		}
	}
	slices.SortStableFunc(all, func(a, b dropped) int { return cmp.Compare(a.Start, b.Start) })
	for i := range all {
		for _, dir := range []int{-1, 1} {
			for k := i + dir; k >= 0 && k < len(all) && n.apart(all[i].Start, all[k].Start) <= dropoutLimits.SameCutS; k += dir {
				a, b := &all[i], &all[k]
				if n.apart(a.Start+a.Frames, b.Start+b.Frames) <= dropoutLimits.SameCutS && a.track != b.track && !b.track.Texture && b.Before && b.After {
					a.beside++
				}
			}
		}
	}
	return all
}

// apart returns the distance of two frames in seconds.
func (n *known) apart(a, b int64) float64 { return n.Seconds(max(a-b, b-a)) }

// dropSpells joins the losses that lie near each other: a track's own, and those
// of several tracks where one of them had the one before as well, for who has
// nothing to play does not show it. Within a song near is anywhere in it, if most
// of the tracks are the same.
func dropSpells(n *known, all []loss) []dropSpell {
	type who struct {
		track *evidence.Track
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
		if i < 0 || n.Seconds(l.Start-spells[i].end) > dropoutLimits.SpellS && !(sameSong(n, spells[i].start, l.Start) && mostly(spells[i].tracks, l.tracks)) {
			spells = append(spells, dropSpell{start: l.Start})
			i = len(spells) - 1
		}
		s := &spells[i]
		s.end = max(s.end, l.Start+l.Frames)
		s.runs++
		s.lost += l.Frames
		s.longest = max(s.longest, l.Frames)
		if len(s.at) < maxEach {
			s.at = append(s.at, l.Start)
		}
		s.tracks = joined(s.tracks, l.tracks)
		for _, t := range l.tracks {
			open[who{t, alone}] = i + 1
		}
	}
	return spells
}

// sameSong reports whether two frames lie in one take.
func sameSong(n *known, a, b int64) bool {
	t := n.SongAt(a)
	return t != nil && t == n.SongAt(b)
}

// mostly reports whether the shorter of two lists of tracks shares at least half
// with the other.
func mostly(a, b []*evidence.Track) bool {
	both := len(a) + len(b) - len(joined(a, b))
	return 2*both >= min(len(a), len(b))
}

func dropoutSeverity(n *known, s dropSpell) catalog.Severity {
	if n.ms(s.lost) >= dropoutLimits.FaultMS {
		return catalog.FaultSeverity
	}
	return catalog.WarningSeverity
}

func trackDropout(n *known, s dropSpell) catalog.Finding {
	t := s.tracks[0]
	return catalog.Finding{
		Track: t.Number, Kind: catalog.Dropout, StartFrame: s.start, EndFrame: s.end,
		Severity: dropoutSeverity(n, s), Evidence: dropoutEvidence(n, s),
		Text: fmt.Sprintf("%s dropped out %s %s%s (%s lost): check its cable and converter input, and take these moments from another rig.",
			t.Channel, times(s.runs), n.between(s.start, s.end), n.where(s.start), length(n.Seconds(s.lost))),
	}
}

// sharedDropout reports a dropout of a few tracks once: they share what failed.
func sharedDropout(n *known, s dropSpell) catalog.Finding {
	var numbers []int
	var names []string
	for _, t := range s.tracks {
		numbers = append(numbers, t.Number)
		names = append(names, t.Channel)
	}
	last := len(names) - 1
	return catalog.Finding{
		Tracks: numbers, Kind: catalog.Dropout, StartFrame: s.start, EndFrame: s.end,
		Severity: dropoutSeverity(n, s), Evidence: dropoutEvidence(n, s),
		Text: fmt.Sprintf("%s and %s dropped out together %s %s%s (%s lost): check the stage box, card or network stream they share, and take these moments from another rig.",
			strings.Join(names[:last], ", "), names[last], times(s.runs), n.between(s.start, s.end), n.where(s.start), length(n.Seconds(s.lost))),
	}
}

func recorderDropout(n *known, s dropSpell) catalog.Finding {
	var names []string
	for _, t := range s.tracks[:3] {
		names = append(names, t.Channel)
	}
	return catalog.Finding{
		Kind: catalog.Dropout, StartFrame: s.start, EndFrame: s.end,
		Severity: catalog.FaultSeverity, Evidence: dropoutEvidence(n, s),
		Text: fmt.Sprintf("The recording dropped out %s %s%s on %d tracks at once (%s and others, %s lost): check the recorder's input stream and drive, and take these moments from another rig.",
			times(s.runs), n.between(s.start, s.end), n.where(s.start), len(s.tracks), strings.Join(names, ", "), length(n.Seconds(s.lost))),
	}
}

func dropoutEvidence(n *known, s dropSpell) catalog.Evidence {
	e := catalog.Evidence{
		"runs": float64(s.runs), "samples": float64(s.lost), "lost_ms": n.ms(s.lost), "longest_ms": n.ms(s.longest), "tracks": float64(len(s.tracks)),
	}
	for i, at := range s.at {
		e[fmt.Sprint("at_", i+1, "_s")] = n.Seconds(at)
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
