package health

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"nightreel/catalog"
	"nightreel/internal/stats"
)

const (
	// floorDB is how near to a floor a bin belongs to it, and aboveDB from where
	// on it surely holds more. The noise of a preamp varies by 0.1 dB from block
	// to block (measured on white noise); hum and dimmer noise by a few.
	floorDB = 3
	aboveDB = 6

	// quietS is the shortest silence, in seconds of playing band, that is
	// judged: no bleed is steady to flatDB for so long. A dead track may hold as
	// much sound in all: pops when it was plugged in. Common practice, no source.
	quietS = 8
	// flatDB is how far the bins of a floor lie apart at most.
	flatDB = 3
	// underDB is how far a floor lies below what the track holds elsewhere.
	underDB = 12

	// loudestFloorDB keeps a steady drone from being taken for a floor.
	loudestFloorDB = -50

	// bleedShare is the share of the band's playing in which a live microphone
	// hears something above its floor; all of it but for the odd stop.
	bleedShare = 0.98
	// quietShare is the same for when the band does not play: a microphone
	// hears the room more often than not, a cable from an instrument nothing.
	quietShare = 0.5

	// A source on a cable that never rests while the band plays, for steadyS,
	// and then is silent to the end, for at least lostS of playing band, is told
	// without other nights. Common practice, no source.
	steadyS = 600
	lostS   = 120

	// joinS joins the silences of one channel to one spell.
	joinS = 30
	// manySpells is how often a channel may go silent and still get a finding each.
	manySpells = 3
)

// stretch is a range of bins in which a track holds only a floor.
type stretch struct {
	from, to int     // bins
	level    float64 // dB
	loud     int     // bins in it during which the band plays
}

// silent judges which tracks are dead and which went silent.
func (n *Night) silent() []catalog.Finding {
	s := n.stage()
	var found []catalog.Finding
	for i := range n.Tracks {
		t := &n.Tracks[i]
		switch {
		case !t.measured || len(t.levels) == 0:
		case t.lifeless:
			if f, ok := n.dead(t, s); ok {
				found = append(found, f)
			}
		default:
			found = append(found, n.wentSilent(t, s)...)
		}
	}
	return found
}

// doubtful returns the keys of the channels that other nights have to be asked about.
func (n *Night) doubtful() []string {
	s := n.stage()
	of := n.carried(n.swaps(), nil)
	var channels []string
	for i := range n.Tracks {
		t := &n.Tracks[i]
		if t.measured && (t.lifeless || len(t.stretches(s)) > 0 || len(t.cracks) >= leastCracks || len(t.piles) > 0) {
			channels = append(channels, catalog.Key(t.Channel))
			channels = append(channels, of[t.Number]...)
		}
	}
	slices.Sort(channels)
	return slices.Compact(channels)
}

// stretches finds where the track holds a steady floor, well below what it
// holds elsewhere, while the band plays for long enough.
func (t *Track) stretches(s *stage) []stretch {
	// What it reaches for as long as would be judged; it may have died early.
	loudest := stats.Percentile(t.levels, max(0.5, 1-quietS*binsPerSecond/float64(len(t.levels))))
	var found []stretch
	for from := 0; from < len(t.levels); {
		lo, hi := float64(t.levels[from]), float64(t.levels[from])
		to, loud := from, 0
		for to < len(t.levels) {
			v := float64(t.levels[to])
			if v > loudest-underDB || max(hi, v)-min(lo, v) > flatDB {
				break
			}
			lo, hi = min(lo, v), max(hi, v)
			if s.isLoud(to) {
				loud++
			}
			to++
		}
		if float64(loud) >= quietS*binsPerSecond {
			found = append(found, stretch{from, to, stats.Percentile(t.levels[from:to], 0.5), loud})
			from = to
			continue
		}
		// A floor may begin within what was tried.
		from++
	}
	// Dense music bleeds as steadily as a floor, but not below the quiet moments.
	quiet := stats.Percentile(t.outside(found), 0.05) + floorDB
	return slices.DeleteFunc(found, func(q stretch) bool { return q.level > quiet })
}

// outside returns the levels of the bins that no stretch holds.
func (t *Track) outside(all []stretch) []float32 {
	var out []float32
	from := 0
	for _, q := range all {
		out = append(out, t.levels[from:q.from]...)
		from = q.to
	}
	return append(out, t.levels[from:]...)
}

// wentSilent judges a track that is alive for a part of the recording.
func (n *Night) wentSilent(t *Track, s *stage) []catalog.Finding {
	all := t.stretches(s)
	if len(all) == 0 {
		return nil
	}
	level := math.Inf(-1)
	silentLoud := 0
	for _, q := range all {
		level = max(level, q.level)
		silentLoud += q.loud
	}
	loud, quiet, loudBins := s.shares(t, level+floorDB, all)
	if float64(loudBins) < quietS*binsPerSecond {
		// Alive before the band played, if ever.
		if f, ok := n.dead(t, s); ok {
			return []catalog.Finding{f}
		}
		return nil
	}
	if loud < bleedShare {
		// It rests while others play: only the same songs can tell of a fault.
		return n.silentFindings(t, n.missedElsewhere(t, all, s), catalog.WarningSeverity)
	}
	last := all[len(all)-1]
	toEnd := s.loudIn(last.to, len(t.levels)) == 0
	switch {
	case quiet >= quietShare || n.alwaysHears(t, level) && float64(silentLoud) > (1-wholeShare)*float64(silentLoud+loudBins):
		// A microphone. One that lives for less than half of the night may have
		// been plugged in for that alone, unless it began alive.
		if silentLoud > loudBins && !(toEnd && len(all) == 1 && s.loudIn(0, last.from) > 0) {
			return nil
		}
		if n.restsElsewhere(t, level) {
			return nil
		}
		return n.silentFindings(t, all, catalog.FaultSeverity)
	case toEnd && len(all) == 1 && !t.rests && s.within(last.from) && !n.restsElsewhere(t, level):
		// It sounded whenever the band played, and stopped within a song for good.
		return n.silentFindings(t, all, catalog.WarningSeverity)
	case float64(loudBins) >= steadyS*binsPerSecond && toEnd && len(all) == 1 && float64(last.loud) >= lostS*binsPerSecond && !n.restsElsewhere(t, level):
		return n.silentFindings(t, all, catalog.WarningSeverity)
	}
	// It may rest where it plays on the other nights.
	return n.silentFindings(t, n.missedElsewhere(t, all, s), catalog.WarningSeverity)
}

// silentFindings makes findings of a track's silences, those near each other joined.
func (n *Night) silentFindings(t *Track, all []stretch, severity catalog.Severity) []catalog.Finding {
	var spells []stretch
	for _, q := range all {
		if k := len(spells) - 1; k >= 0 && float64(q.from-spells[k].to) <= joinS*binsPerSecond {
			spells[k].to = q.to
			spells[k].loud += q.loud
			continue
		}
		spells = append(spells, q)
	}
	counted := len(spells)
	if counted > manySpells {
		whole := spells[0]
		for _, q := range spells[1:] {
			whole.to = q.to
			whole.loud += q.loud
		}
		spells = []stretch{whole}
	}
	var found []catalog.Finding
	for _, q := range spells {
		start, end := t.frame(q.from), t.frame(q.to)
		ends := "until " + n.clock(end)
		if q.to >= len(t.levels) {
			end, ends = t.Frames, "to the end"
		}
		text := fmt.Sprintf("%s went silent at %s%s and carried only its floor %s, while the others played on for %s: change its cable first, then the microphone or DI box.",
			t.Channel, n.clock(start), n.where(start), ends, length(float64(q.loud)/binsPerSecond))
		spellsHere := 1
		if counted > manySpells {
			spellsHere = counted
			text = fmt.Sprintf("%s went silent %s between %s and %s while the others played (%s in all): change its cable first, then the microphone, unless somebody switches it off.",
				t.Channel, times(counted), n.clock(start), n.clock(end), length(float64(q.loud)/binsPerSecond))
		}
		e := catalog.Evidence{"floor_dbfs": t.floor, "lufs_when_alive": lufs(t.high), "lufs_when_silent": lufs(q.level), "others_played_s": float64(q.loud) / binsPerSecond, "spells": float64(spellsHere)}
		n.addPast(e, t)
		found = append(found, catalog.Finding{Track: t.Number, Kind: catalog.WentSilent, StartFrame: start, EndFrame: end, Severity: severity, Evidence: e, Text: text})
	}
	return found
}

// dead judges a track that holds nothing but its floor all night.
func (n *Night) dead(t *Track, s *stage) (catalog.Finding, bool) {
	if float64(s.bins) < quietS*binsPerSecond {
		return catalog.Finding{}, false // nobody played
	}
	level := t.middle
	v := n.verdict(t, level)
	if v.severity == "" {
		return catalog.Finding{}, false
	}
	e := catalog.Evidence{"floor_dbfs": t.floor, "others_played_s": float64(s.bins) / binsPerSecond, "neighbours_alive": float64(n.neighbours(t))}
	n.addPast(e, t)
	holds := fmt.Sprintf("holds only its floor (%.0f dBFS)", t.floor)
	if level <= silence {
		holds = "holds nothing at all"
	}
	return catalog.Finding{
		Track: t.Number, Kind: catalog.Dead, EndFrame: t.Frames, Severity: v.severity, Evidence: e,
		Text: fmt.Sprintf("%s %s all night, %s: %s.", t.Channel, holds, v.why, v.remedy),
	}, true
}

// verdict is what is thought of a lifeless track.
type verdict struct {
	severity    catalog.Severity // "" = healthy
	why, remedy string
}

func (n *Night) verdict(t *Track, level float64) verdict {
	nights, alive, whole, played := 0, 0, 0, 0
	for _, p := range n.Past[catalog.Key(t.Channel)] {
		share := p.aliveShare(p.above(level, t))
		if math.IsNaN(share) {
			continue
		}
		nights++
		if share > 0 && !p.Track.lifeless {
			alive++
		}
		if share >= wholeShare {
			whole++
		}
		if p.songsPlayed(p.above(level, t)) >= mostSongs {
			played++
		}
	}
	const remedy = "check microphone, cable and patch before the next show"
	switch {
	case nights == 0 && !t.rests && n.neighbours(t) >= leastStage:
		return verdict{catalog.NoteSeverity, "without the stage around it, and no other night tells whether it should hold more", "if it had something to play, check microphone, cable and patch"}
	case nights == 0 || alive == 0:
		return verdict{}
	case whole == nights && nights >= 2:
		return verdict{catalog.FaultSeverity, fmt.Sprintf("while on %d other nights it heard the stage all the time", nights), remedy}
	case whole == nights:
		return verdict{catalog.WarningSeverity, "while on the other night it heard the stage all the time", remedy}
	}
	if played == nights && nights >= 2 && n.songsIn(t) >= enoughSongs {
		return verdict{catalog.WarningSeverity, fmt.Sprintf("while on %d other nights it plays in nearly every song", nights), remedy}
	}
	songs := n.playedElsewhere(t, level)
	if len(songs) > 0 {
		return verdict{catalog.WarningSeverity, "though on other nights it plays in " + strings.Join(songs, ", "), remedy}
	}
	return verdict{}
}

// neighbours counts the other tracks that are not lifeless.
func (n *Night) neighbours(t *Track) int {
	count := 0
	for i := range n.Tracks {
		if o := &n.Tracks[i]; o != t && o.measured && !o.lifeless {
			count++
		}
	}
	return count
}
