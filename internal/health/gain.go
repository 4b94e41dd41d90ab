package health

import (
	"fmt"
	"math"

	"nightreel/catalog"
	"nightreel/internal/sound"
)

// A preamp's gain moves all that a track holds by the same: the music, the
// bleed and the floor. A louder player moves the music alone. So a change is
// told only where playing and quiet agree on it.
const (
	// leastGainDB is the least change that is told of: below lies what microphones
	// move between nights. Common practice, no source.
	leastGainDB = 4.2
	mostGainDB  = 30
	// gainAgreesDB is how far apart what playing and quiet say may lie.
	gainAgreesDB = 1.6
	// gainNights is how many other nights tell what is usual; the share gainAgree
	// of them must lie within gainSpreadDB of the middle one.
	gainNights   = 2
	gainCells    = 5 // of songs, half a minute
	gainSpreadDB = 3
	gainAgree    = 0.6

	// A step within the night is looked for between so many seconds of playing
	// band, and of pauses, to either side.
	stepLoudS  = 60
	stepQuietS = 10
	leastLoudS = 8
	leastPause = 3
	// stepGrid is the grid of bins that a step is looked for on, 2 s.
	stepGrid = 4
)

// step is a change of gain within the night.
type step struct {
	bin   int
	db    float64
	clear float64 // dB between what was before and what was after
}

// window is what a track held, against the rest of the stage, on one side of a
// place.
type window struct{ loud, quiet []float64 }

// around returns the bins before a place, or after it.
func (n *Night) aside(t *Track, s *stage, at, dir int) window {
	var w window
	for b := at; b >= 0 && b < len(t.levels); b += dir {
		if float64(len(w.loud)) >= stepLoudS*binsPerSecond && float64(len(w.quiet)) >= stepQuietS*binsPerSecond {
			break
		}
		v := float64(t.levels[b])
		if b < len(s.middle) && !t.rests {
			v -= float64(s.middle[b])
		}
		switch {
		case s.isLoud(b) && float64(len(w.loud)) < stepLoudS*binsPerSecond:
			w.loud = append(w.loud, v)
		case !s.isLoud(b) && float64(len(w.quiet)) < stepQuietS*binsPerSecond:
			w.quiet = append(w.quiet, v)
		}
	}
	return w
}

// moved returns by how much values moved from before to after, and how clearly:
// the gap between the quarters that face each other.
func moved(before, after []float64) (db, clear float64) {
	db = sound.Median(after) - sound.Median(before)
	if db > 0 {
		return db, sound.Percentile(after, 0.25) - sound.Percentile(before, 0.75)
	}
	return db, sound.Percentile(before, 0.25) - sound.Percentile(after, 0.75)
}

// stepAt judges one place.
func (n *Night) stepAt(t *Track, s *stage, bin int) (step, bool) {
	before, after := n.aside(t, s, bin-1, -1), n.aside(t, s, bin, 1)
	if float64(min(len(before.loud), len(after.loud))) < leastLoudS*binsPerSecond || float64(min(len(before.quiet), len(after.quiet))) < leastPause*binsPerSecond {
		return step{}, false
	}
	loud, loudClear := moved(before.loud, after.loud)
	quiet, quietClear := moved(before.quiet, after.quiet)
	st := step{bin: bin, db: (loud + quiet) / 2, clear: min(loudClear, quietClear)}
	return st, math.Abs(st.db) >= leastGainDB && math.Abs(st.db) <= mostGainDB && math.Abs(loud-quiet) <= 2*gainAgreesDB && st.clear > 0.3*math.Abs(st.db)
}

// against returns the sums of a track's levels against the stage, from its
// start to each bin.
func (n *Night) against(t *Track, s *stage) []float64 {
	sums := make([]float64, len(t.levels)+1)
	for b, v := range t.levels {
		x := float64(v)
		if b < len(s.middle) && !t.rests {
			x -= float64(s.middle[b])
		}
		sums[b+1] = sums[b] + x
	}
	return sums
}

// mayStep reports whether the mean level moves at a place, near it or farther
// around: only there is it worth a closer look.
func mayStep(sums []float64, bin int) bool {
	for _, reach := range []int{int(10 * binsPerSecond), int(60 * binsPerSecond)} {
		from, to := max(0, bin-reach), min(len(sums)-1, bin+reach)
		if from == bin || to == bin {
			continue
		}
		before, after := (sums[bin]-sums[from])/float64(bin-from), (sums[to]-sums[bin])/float64(to-bin)
		if math.Abs(after-before) >= leastGainDB/2 {
			return true
		}
	}
	return false
}

// steps finds where the gain of a track was changed: the clearest place of each
// run of places that would do.
func (n *Night) steps(t *Track, s *stage) []step {
	var found []step
	last := -1
	sums := n.against(t, s)
	for bin := stepGrid; bin < len(t.levels); bin += stepGrid {
		if !mayStep(sums, bin) {
			continue
		}
		st, ok := n.stepAt(t, s, bin)
		if !ok {
			continue
		}
		if last >= 0 && bin-last <= 30*stepGrid && (found[len(found)-1].db > 0) == (st.db > 0) {
			if st.clear > found[len(found)-1].clear {
				found[len(found)-1] = st
			}
		} else {
			found = append(found, st)
		}
		last = bin
	}
	return found
}

// tourGain is how a track differs from the other nights.
type tourGain struct {
	db     float64
	nights int
}

// againstTour compares a track's loud moments, and its quiet, with another
// night, in dB and but for what the input lists say.
func (n *Night) againstTour(v *sound.Voice, p *sound.Night) (loud, quiet float64, ok bool) {
	o := p.Find(catalog.Key(v.Track.Channel))
	if o == nil || !o.Plays() || !v.Plays() || min(len(v.In(n.Sound.Takes)), len(o.In(p.Takes))) < gainCells {
		return 0, 0, false
	}
	listed := gainDB(Track{Track: v.Track}, Track{Track: o.Track})
	return v.High - o.High - listed, v.Quiet - o.Quiet - listed, true
}

// gainAgainstTour finds the tracks whose gain differs from that of the tour.
func (n *Night) gainAgainstTour() map[int]tourGain {
	loud, quiet := make([][]float64, len(n.Sound.Voices)), make([][]float64, len(n.Sound.Voices))
	for _, p := range n.Tour {
		l, q := make([]float64, len(n.Sound.Voices)), make([]float64, len(n.Sound.Voices))
		var quiets []float64
		for i := range n.Sound.Voices {
			v := &n.Sound.Voices[i]
			var ok bool
			if l[i], q[i], ok = n.againstTour(v, p); !ok {
				l[i] = math.NaN()
			} else if t := n.trackOf(v); t != nil && !t.rests {
				quiets = append(quiets, q[i])
			}
		}
		// What all microphones have more of in the pauses is the audience.
		ambience := 0.0
		if len(quiets) >= leastStage {
			ambience = sound.Median(quiets)
		}
		for i := range l {
			if math.IsNaN(l[i]) {
				continue
			}
			if t := n.trackOf(&n.Sound.Voices[i]); t != nil && !t.rests {
				q[i] -= ambience
			}
			loud[i], quiet[i] = append(loud[i], l[i]), append(quiet[i], q[i])
		}
	}
	found := map[int]tourGain{}
	for i := range loud {
		if len(loud[i]) < gainNights {
			continue
		}
		// The other nights must agree, but for an odd one in three.
		db := sound.Median(loud[i])
		q := sound.Median(quiet[i])
		agree := min(shareNear(loud[i], db), shareNear(quiet[i], q))
		if math.Abs(db) < leastGainDB || math.Abs(db) > mostGainDB || math.Abs(q) < leastGainDB || agree < gainAgree || math.Abs(db-q) > 1.5*gainAgreesDB {
			continue
		}
		found[i] = tourGain{db: (db + q) / 2, nights: len(loud[i])}
	}
	return found
}

// shareNear returns the share of values within gainSpreadDB of one.
func shareNear(values []float64, at float64) float64 {
	near := 0
	for _, v := range values {
		if math.Abs(v-at) <= gainSpreadDB {
			near++
		}
	}
	return float64(near) / float64(len(values))
}

// gains tells of preamps that were turned, within the night or since the other
// nights.
func (n *Night) gains(swaps []swap) []catalog.Flag {
	var found []catalog.Flag
	s := n.stage()
	told := map[int]bool{}
	for i := range n.Tracks {
		t := &n.Tracks[i]
		if !t.measured || t.lifeless || s.bins == 0 {
			continue
		}
		for _, st := range n.steps(t, s) {
			told[t.Number] = true
			at := t.frame(st.bin)
			found = append(found, catalog.Flag{
				Track: t.Number, Kind: catalog.GainChange, StartFrame: at, EndFrame: at, Severity: catalog.NoteSeverity,
				Evidence: catalog.Evidence{"change_db": st.db, "within_night": 1},
				Text: fmt.Sprintf("The preamp of %s was turned %s by about %.0f dB at %s%s: playing, bleed and floor all moved; playback needs another trim from there on.",
					t.Channel, upDown(st.db), math.Abs(st.db), n.clock(at), n.where(at)),
			})
		}
	}
	if n.Sound == nil {
		return found
	}
	exchanged := map[int]bool{}
	for _, w := range swaps {
		exchanged[w.a], exchanged[w.b] = true, true
	}
	against := n.gainAgainstTour()
	for i := range n.Sound.Voices {
		g, ok := against[i]
		t := n.trackOf(&n.Sound.Voices[i])
		if !ok || t == nil || told[t.Number] || exchanged[i] {
			continue
		}
		found = append(found, catalog.Flag{
			Track: t.Number, Kind: catalog.GainChange, EndFrame: t.Frames, Severity: catalog.WarningSeverity,
			Evidence: catalog.Evidence{"change_db": g.db, "within_night": 0, "other_nights": float64(g.nights)},
			Text: fmt.Sprintf("The preamp of %s stood about %.0f dB %s than on %s, and the input list does not say so: enter its gain, or playback comes out %.0f dB %s.",
				t.Channel, math.Abs(g.db), higherLower(g.db), otherNights(g.nights), math.Abs(g.db), tooLoud(g.db)),
		})
	}
	return found
}

func upDown(db float64) string {
	if db > 0 {
		return "up"
	}
	return "down"
}

func higherLower(db float64) string {
	if db > 0 {
		return "higher"
	}
	return "lower"
}

func tooLoud(db float64) string {
	if db > 0 {
		return "too loud"
	}
	return "too quiet"
}
