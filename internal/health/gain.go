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

// course is what a track held, against the rest of the stage, while the band
// played and while it did not, in order of time.
type course struct {
	sums        []float64 // of all bins, from the start to each
	loud, quiet []float64
	louds       []int // how many of loud lie before each bin
}

func (n *Night) course(t *Track, s *stage) course {
	c := course{sums: make([]float64, len(t.levels)+1), louds: make([]int, len(t.levels)+1)}
	for b, level := range t.levels {
		v := float64(level)
		if b < len(s.middle) && !t.rests {
			v -= float64(s.middle[b])
		}
		c.sums[b+1] = c.sums[b] + v
		if s.isLoud(b) {
			c.loud = append(c.loud, v)
		} else {
			c.quiet = append(c.quiet, v)
		}
		c.louds[b+1] = len(c.loud)
	}
	return c
}

// around returns the bins of one kind on both sides of a place, of which so many
// lie before it, as many seconds of them as are wanted.
func around(values []float64, at int, seconds float64) (before, after []float64) {
	most := int(seconds * binsPerSecond)
	return values[max(0, at-most):at], values[at:min(len(values), at+most)]
}

// moved returns by how much values moved from before to after, and how clearly:
// the gap between the quarters that face each other.
func moved(before, after []float64) (db, clear float64) {
	const most = int(stepLoudS * binsPerSecond)
	var room [2][most]float64
	before, after = append(room[0][:0], before...), append(room[1][:0], after...)
	db = sound.Pick(after, 0.5) - sound.Pick(before, 0.5)
	if db > 0 {
		return db, sound.Pick(after, 0.25) - sound.Pick(before, 0.75)
	}
	return db, sound.Pick(before, 0.25) - sound.Pick(after, 0.75)
}

// stepAt judges one place.
func (c *course) stepAt(bin int) (step, bool) {
	loudBefore, loudAfter := around(c.loud, c.louds[bin], stepLoudS)
	quietBefore, quietAfter := around(c.quiet, bin-c.louds[bin], stepQuietS)
	if float64(min(len(loudBefore), len(loudAfter))) < leastLoudS*binsPerSecond || float64(min(len(quietBefore), len(quietAfter))) < leastPause*binsPerSecond {
		return step{}, false
	}
	loud, loudClear := moved(loudBefore, loudAfter)
	quiet, quietClear := moved(quietBefore, quietAfter)
	st := step{bin: bin, db: (loud + quiet) / 2, clear: min(loudClear, quietClear)}
	return st, math.Abs(st.db) >= leastGainDB && math.Abs(st.db) <= mostGainDB && math.Abs(loud-quiet) <= 2*gainAgreesDB && st.clear > 0.3*math.Abs(st.db)
}

// mayStep reports whether the mean level moves at a place, near it or farther
// around: only there is it worth a closer look.
func (c *course) mayStep(bin int) bool {
	sums := c.sums
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
	c := n.course(t, s)
	for bin := stepGrid; bin < len(t.levels); bin += stepGrid {
		if !c.mayStep(bin) {
			continue
		}
		st, ok := c.stepAt(bin)
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
