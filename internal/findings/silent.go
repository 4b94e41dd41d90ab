package findings

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"nightreel/catalog"
	"nightreel/internal/evidence"
	"nightreel/internal/stats"
)

// silentLimits are the thresholds of tracks that are dead or went silent.
var silentLimits = struct {
	// FloorDB is how near to a floor a bin belongs to it, and FlatDB how far the bins of a
	// floor lie apart at most.
	FloorDB float64 `unit:"dB" source:"chosen"`
	FlatDB  float64 `unit:"dB" source:"chosen"`

	// LoudestShare is the least share of the bins that lie below what a track reaches, however
	// short it is, and QuietestShare the share of those outside of the stretches that are its
	// quiet moments.
	LoudestShare  float64 `unit:"share" source:"chosen"`
	QuietestShare float64 `unit:"share" source:"chosen"`

	// BleedShare is the share of the band's playing in which a live microphone hears something
	// above its floor; all of it but for the odd stop.
	BleedShare float64 `unit:"share" source:"chosen"`

	// QuietShare is the same for when the band does not play: a microphone hears the room more
	// often than not, a cable from an instrument nothing.
	QuietShare float64 `unit:"share" source:"chosen"`

	// A source on a cable that never rests while the band plays, for SteadyS, and then is
	// silent to the end, for at least LostS of playing band, is reported without other nights
	// (common practice).
	SteadyS float64 `unit:"s" source:"chosen"`
	LostS   float64 `unit:"s" source:"chosen"`

	// JoinS joins the silences of one channel to one spell, and ManySpells is how often a
	// channel may go silent and still get a finding each.
	JoinS      float64 `unit:"s" source:"chosen"`
	ManySpells int     `unit:"spells" source:"chosen"`
}{
	FloorDB:       3,
	FlatDB:        3,
	LoudestShare:  0.5,
	QuietestShare: 0.05,
	BleedShare:    0.98,
	QuietShare:    0.5,
	SteadyS:       600,
	LostS:         120,
	JoinS:         30,
	ManySpells:    3,
}

// stretch is a range of bins in which a track holds only a floor.
type stretch struct {
	from, to int     // bins
	level    float64 // dB
	loud     int     // bins in it during which the band plays
}

// silent reports the tracks that are dead or went silent.
func silent(n *known) []catalog.Finding { return n.silences() }

// silencesOf judges which tracks are dead and which went silent.
func silencesOf(n *known) []catalog.Finding {
	s := n.stage()
	var found []catalog.Finding
	for i := range n.Tracks {
		t := &n.Tracks[i]
		switch {
		case !t.Measured || len(t.Levels) == 0:
		case t.Lifeless:
			if f, ok := dead(n, t, s); ok {
				found = append(found, f)
			}
		default:
			found = append(found, wentSilent(n, t, n.stretches()[i], s)...)
		}
	}
	return found
}

// stretchesOf returns the stretches of each track.
func stretchesOf(n *evidence.Recording, s *stage) [][]stretch {
	all := make([][]stretch, len(n.Tracks))
	for i := range n.Tracks {
		if t := &n.Tracks[i]; t.Measured && len(t.Levels) > 0 && !t.Lifeless {
			all[i] = stretches(t, s)
		}
	}
	return all
}

// stretches finds where the track holds a steady floor, well below what it
// holds elsewhere, while the band plays for long enough.
func stretches(t *evidence.Track, s *stage) []stretch {
	// What it reaches for as long as would be judged; it may have died early.
	loudest := stats.Percentile(t.Levels, max(silentLimits.LoudestShare, 1-evidence.FloorLimits.QuietS*evidence.BinsPerSecond/float64(len(t.Levels))))
	var found []stretch
	for from := 0; from < len(t.Levels); {
		lo, hi := float64(t.Levels[from]), float64(t.Levels[from])
		to, loud := from, 0
		for to < len(t.Levels) {
			v := float64(t.Levels[to])
			if v > loudest-evidence.FloorLimits.UnderDB || max(hi, v)-min(lo, v) > silentLimits.FlatDB {
				break
			}
			lo, hi = min(lo, v), max(hi, v)
			if s.isLoud(to) {
				loud++
			}
			to++
		}
		if float64(loud) >= evidence.FloorLimits.QuietS*evidence.BinsPerSecond {
			found = append(found, stretch{from, to, stats.Percentile(t.Levels[from:to], 0.5), loud})
			from = to
			continue
		}
		// A floor may begin within what was tried.
		from++
	}
	// Dense music bleeds as steadily as a floor, but not below the quiet moments.
	quiet := stats.Percentile(outside(t, found), silentLimits.QuietestShare) + silentLimits.FloorDB
	return slices.DeleteFunc(found, func(q stretch) bool { return q.level > quiet })
}

// outside returns the levels of the bins that no stretch holds.
func outside(t *evidence.Track, all []stretch) []float32 {
	var out []float32
	from := 0
	for _, q := range all {
		out = append(out, t.Levels[from:q.from]...)
		from = q.to
	}
	return append(out, t.Levels[from:]...)
}

// wentSilent judges a track that is alive for a part of the recording.
func wentSilent(n *known, t *evidence.Track, all []stretch, s *stage) []catalog.Finding {
	if len(all) == 0 {
		return nil
	}
	level := math.Inf(-1)
	silentLoud := 0
	for _, q := range all {
		level = max(level, q.level)
		silentLoud += q.loud
	}
	loud, quiet, loudBins := s.shares(t, level+silentLimits.FloorDB, all)
	if float64(loudBins) < evidence.FloorLimits.QuietS*evidence.BinsPerSecond {
		// Alive before the band played, if ever.
		if f, ok := dead(n, t, s); ok {
			return []catalog.Finding{f}
		}
		return nil
	}
	if loud < silentLimits.BleedShare {
		// It rests while others play: only the same songs can tell of a fault.
		return silentFindings(n, t, missedElsewhere(n, t, all, s), catalog.WarningSeverity)
	}
	last := all[len(all)-1]
	toEnd := s.loudIn(last.to, len(t.Levels)) == 0
	switch {
	case quiet >= silentLimits.QuietShare || alwaysHears(n, t, level) && float64(silentLoud) > (1-pastLimits.WholeShare)*float64(silentLoud+loudBins):
		// A microphone. One that lives for less than half of the night may have
		// been plugged in for that alone, unless it began alive.
		if silentLoud > loudBins && !(toEnd && len(all) == 1 && s.loudIn(0, last.from) > 0) {
			return nil
		}
		if restsElsewhere(n, t, level) {
			return nil
		}
		return silentFindings(n, t, all, catalog.FaultSeverity)
	case toEnd && len(all) == 1 && !t.Rests && s.within(last.from) && !restsElsewhere(n, t, level):
		// It sounded whenever the band played, and stopped within a song for good.
		return silentFindings(n, t, all, catalog.WarningSeverity)
	case float64(loudBins) >= silentLimits.SteadyS*evidence.BinsPerSecond && toEnd && len(all) == 1 && float64(last.loud) >= silentLimits.LostS*evidence.BinsPerSecond && !restsElsewhere(n, t, level):
		return silentFindings(n, t, all, catalog.WarningSeverity)
	}
	// It may rest where it plays on the other nights.
	return silentFindings(n, t, missedElsewhere(n, t, all, s), catalog.WarningSeverity)
}

// silentFindings makes findings of a track's silences, those near each other joined.
func silentFindings(n *known, t *evidence.Track, all []stretch, severity catalog.Severity) []catalog.Finding {
	var spells []stretch
	for _, q := range all {
		if k := len(spells) - 1; k >= 0 && float64(q.from-spells[k].to) <= silentLimits.JoinS*evidence.BinsPerSecond {
			spells[k].to = q.to
			spells[k].loud += q.loud
			continue
		}
		spells = append(spells, q)
	}
	counted := len(spells)
	if counted > silentLimits.ManySpells {
		whole := spells[0]
		for _, q := range spells[1:] {
			whole.to = q.to
			whole.loud += q.loud
		}
		spells = []stretch{whole}
	}
	var found []catalog.Finding
	for _, q := range spells {
		start, end := t.Frame(q.from), t.Frame(q.to)
		ends := "until " + n.clock(end)
		if q.to >= len(t.Levels) {
			end, ends = t.Frames, "to the end"
		}
		text := fmt.Sprintf("%s went silent at %s%s and carried only its floor %s, while the others played on for %s: change its cable first, then the microphone or DI box.",
			t.Channel, n.clock(start), n.where(start), ends, length(float64(q.loud)/evidence.BinsPerSecond))
		spellsHere := 1
		if counted > silentLimits.ManySpells {
			spellsHere = counted
			text = fmt.Sprintf("%s went silent %s between %s and %s while the others played (%s in all): change its cable first, then the microphone, unless somebody switches it off.",
				t.Channel, times(counted), n.clock(start), n.clock(end), length(float64(q.loud)/evidence.BinsPerSecond))
		}
		e := catalog.Evidence{"floor_dbfs": t.Floor, "lufs_when_alive": lufs(t.High), "lufs_when_silent": lufs(q.level), "others_played_s": float64(q.loud) / evidence.BinsPerSecond, "spells": float64(spellsHere)}
		addPast(n, e, t)
		found = append(found, catalog.Finding{Track: t.Number, Kind: catalog.WentSilent, StartFrame: start, EndFrame: end, Severity: severity, Evidence: e, Text: text})
	}
	return found
}

// dead judges a track that holds nothing but its floor all night.
func dead(n *known, t *evidence.Track, s *stage) (catalog.Finding, bool) {
	if float64(s.bins) < evidence.FloorLimits.QuietS*evidence.BinsPerSecond {
		return catalog.Finding{}, false // nobody played
	}
	level := t.Middle
	v := verdictOn(n, t, level)
	if v.severity == "" {
		return catalog.Finding{}, false
	}
	e := catalog.Evidence{"floor_dbfs": t.Floor, "others_played_s": float64(s.bins) / evidence.BinsPerSecond, "neighbours_alive": float64(neighbours(n, t))}
	addPast(n, e, t)
	holds := fmt.Sprintf("holds only its floor (%.0f dBFS)", t.Floor)
	if level <= evidence.Silence {
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

func verdictOn(n *known, t *evidence.Track, level float64) verdict {
	nights, alive, whole, played := 0, 0, 0, 0
	for _, p := range n.Past[catalog.Key(t.Channel)] {
		share := aliveShare(&p, above(&p, level, t))
		if math.IsNaN(share) {
			continue
		}
		nights++
		if share > 0 && !p.Track.Lifeless {
			alive++
		}
		if share >= pastLimits.WholeShare {
			whole++
		}
		if songsPlayed(&p, above(&p, level, t)) >= pastLimits.MostSongs {
			played++
		}
	}
	const remedy = "check microphone, cable and patch before the next show"
	switch {
	case nights == 0 && !t.Rests && neighbours(n, t) >= stageLimits.Least:
		return verdict{catalog.NoteSeverity, "without the stage around it, and no other night tells whether it should hold more", "if it had something to play, check microphone, cable and patch"}
	case nights == 0 || alive == 0:
		return verdict{}
	case whole == nights && nights >= 2:
		return verdict{catalog.FaultSeverity, fmt.Sprintf("while on %d other nights it heard the stage all the time", nights), remedy}
	case whole == nights:
		return verdict{catalog.WarningSeverity, "while on the other night it heard the stage all the time", remedy}
	}
	if played == nights && nights >= 2 && songsIn(n, t) >= pastLimits.EnoughSongs {
		return verdict{catalog.WarningSeverity, fmt.Sprintf("while on %d other nights it plays in nearly every song", nights), remedy}
	}
	songs := playedElsewhere(n, t, level)
	if len(songs) > 0 {
		return verdict{catalog.WarningSeverity, "though on other nights it plays in " + strings.Join(songs, ", "), remedy}
	}
	return verdict{}
}

// neighbours counts the other tracks that are not lifeless.
func neighbours(n *known, t *evidence.Track) int {
	count := 0
	for i := range n.Tracks {
		if o := &n.Tracks[i]; o != t && o.Measured && !o.Lifeless {
			count++
		}
	}
	return count
}
