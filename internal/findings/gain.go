package findings

import (
	"fmt"
	"math"

	"nightreel/catalog"
	"nightreel/internal/evidence"
	"nightreel/internal/stats"
)

// stepGrid is the grid of bins that a step is looked for on, 2 s. Chosen.
const stepGrid = 4

// gainLimits are the thresholds of gains that were turned. The tuning nights are those of
// task evaluate.
var gainLimits = struct {
	// LeastDB is the least change that is reported: below lies what microphones move between
	// nights. It is steep on both sides: on 68 tuning nights with 28 changes 3.5 invents 2 and
	// 5 misses one more; 4 and 4.5 count the same (common practice). MostDB is the largest.
	LeastDB float64 `unit:"dB" source:"chosen"`
	MostDB  float64 `unit:"dB" source:"chosen"`

	// AgreesDB is how far apart what playing and quiet say may lie, or half of the change;
	// playing must show the share Plays of it at least. On 68 tuning nights 3 to 6 dB count
	// the same, and so does any share up to 0.4; 0.5 misses one more and 0.6 two, for players
	// differ.
	AgreesDB float64 `unit:"dB" source:"measured"`
	Plays    float64 `unit:"share" source:"measured"`

	// Nights is how many other nights tell what is usual, each with Cells of songs, half a
	// minute; the share Agree of them must lie within SpreadDB of the middle one.
	Nights   int     `unit:"nights" source:"chosen"`
	Cells    int     `unit:"cells" source:"chosen"`
	SpreadDB float64 `unit:"dB" source:"chosen"`
	Agree    float64 `unit:"share" source:"chosen"`

	// HiddenDB is how near to the recorder's own steps hiss is no longer the preamp's alone: 6
	// dB above, they add 1 dB.
	HiddenDB float64 `unit:"dB" source:"chosen"`

	// A step within the night is looked for between StepLoudS of playing band, LeastLoudS at
	// least, and StepPauses pauses of LeastPauseS at least, to either side.
	StepLoudS   float64 `unit:"s" source:"chosen"`
	StepPauses  int     `unit:"pauses" source:"chosen"`
	LeastLoudS  float64 `unit:"s" source:"chosen"`
	LeastPauseS float64 `unit:"s" source:"chosen"`

	// Mates is the fewest cells to each side of a place that tell of it against another night.
	Mates int `unit:"cells" source:"chosen"`

	// NearPause is how near to a pause a step is taken to be in it: 3 s. Preamps are turned
	// between songs (common practice).
	NearPause int `unit:"bins" source:"chosen"`

	// SameStep is how far apart two places are one step: a minute.
	SameStep int `unit:"bins" source:"chosen"`

	// MayNearS and MayFarS are around a place whose mean levels must differ before it is
	// looked at closely: they cost time only.
	MayNearS float64 `unit:"s" source:"chosen"`
	MayFarS  float64 `unit:"s" source:"chosen"`

	// QuietCounts is how many times more the quiet counts than the playing: it is the better
	// witness.
	QuietCounts float64 `unit:"times" source:"chosen"`

	// Tail is the share of values on either side of a step that may overlap.
	Tail float64 `unit:"share" source:"chosen"`

	// RestsDB is by how much more than in the middle cells may differ at most: where one of
	// the nights rests they differ by anything.
	RestsDB float64 `unit:"dB" source:"chosen"`

	// PartedS is for how long, and PartedDB how steadily, a pause must hold what was before a
	// step and what was after it to be where the step was made.
	PartedS  float64 `unit:"s" source:"chosen"`
	PartedDB float64 `unit:"dB" source:"chosen"`
}{
	LeastDB:     4.5,
	MostDB:      30,
	AgreesDB:    4,
	Plays:       0.4,
	Nights:      2,
	Cells:       5,
	SpreadDB:    3,
	Agree:       0.6,
	HiddenDB:    6,
	StepLoudS:   60,
	StepPauses:  3,
	LeastLoudS:  8,
	LeastPauseS: 2,
	Mates:       2,
	NearPause:   6,
	SameStep:    30 * stepGrid,
	MayNearS:    10,
	MayFarS:     60,
	QuietCounts: 2,
	Tail:        0.25,
	RestsDB:     10,
	PartedS:     2,
	PartedDB:    1,
}

// agree reports whether what the quiet and the playing say is one change of
// gain, and what it is in dB.
func agree(quiet, loud float64) (db float64, ok bool) {
	db = (float64(gainLimits.QuietCounts*quiet) + loud) / (gainLimits.QuietCounts + 1)
	return db, math.Abs(quiet) >= gainLimits.LeastDB && math.Abs(db) >= gainLimits.LeastDB && math.Abs(db) <= gainLimits.MostDB && loud*quiet > 0 &&
		math.Abs(loud) >= gainLimits.Plays*math.Abs(quiet) && math.Abs(loud-quiet) <= max(gainLimits.AgreesDB, math.Abs(quiet)/2)
}

// step is a change of gain within the night.
type step struct {
	bin   int
	db    float64
	clear float64 // dB between what was before and what was after
}

// course is what a track held, against the rest of the stage.
type course struct {
	sums  []float64 // of all bins, from the start to each
	loud  []float64 // while the band played, in order of time
	louds []int     // how many of loud lie before each bin

	mates []mates // found when they are first needed
	asked bool
}

func courseOf(n *known, t *evidence.Track, s *stage) course {
	c := course{sums: make([]float64, len(t.Levels)+1), louds: make([]int, len(t.Levels)+1)}
	for b, level := range t.Levels {
		v := float64(level)
		if b < len(s.middle) && !t.Rests {
			v -= float64(s.middle[b])
		}
		c.sums[b+1] = c.sums[b] + v
		if s.isLoud(b) {
			c.loud = append(c.loud, v)
		}
		c.louds[b+1] = len(c.loud)
	}
	return c
}

// around returns the bins of one kind on both sides of a place, of which so many
// lie before it, as many seconds of them as are wanted.
func around(values []float64, at int, seconds float64) (before, after []float64) {
	most := int(seconds * evidence.BinsPerSecond)
	return values[max(0, at-most):at], values[at:min(len(values), at+most)]
}

// moved returns by how much values moved from before to after, and how clearly:
// the gap between the quarters that face each other.
func moved(before, after []float64) (db, clear float64) {
	var room [2][128]float64 // for a minute to each side
	before, after = append(room[0][:0], before...), append(room[1][:0], after...)
	db = stats.Pick(after, 0.5) - stats.Pick(before, 0.5)
	if db > 0 {
		return db, stats.Pick(after, gainLimits.Tail) - stats.Pick(before, 1-gainLimits.Tail)
	}
	return db, stats.Pick(before, gainLimits.Tail) - stats.Pick(after, 1-gainLimits.Tail)
}

// stepAt judges one place: a step's quiet and playing must agree, and the
// quarters of what was played before and after must lie apart.
func stepAt(n *known, t *evidence.Track, c *course, bin int) (step, bool) {
	quiet, ok := n.hushes().step(t, bin)
	if !ok || math.Abs(quiet) < gainLimits.LeastDB {
		return step{}, false
	}
	before, after := around(c.loud, c.louds[bin], gainLimits.StepLoudS)
	if float64(min(len(before), len(after))) < gainLimits.LeastLoudS*evidence.BinsPerSecond {
		return step{}, false
	}
	loud, clear := moved(before, after)
	if !c.asked {
		c.mates, c.asked = matesOf(n, t), true
	}
	if d, apart, ok := movedAgainst(c.mates, bin); ok {
		loud, clear = d, apart
	}
	db, ok := agree(quiet, loud)
	return step{bin: bin, db: db, clear: clear}, ok && clear > 0
}

// mayStep reports whether the mean level moves at a place, near it or farther
// around: only there is it worth a closer look.
func (c *course) mayStep(bin int) bool {
	sums := c.sums
	for _, reach := range []int{int(gainLimits.MayNearS * evidence.BinsPerSecond), int(gainLimits.MayFarS * evidence.BinsPerSecond)} {
		from, to := max(0, bin-reach), min(len(sums)-1, bin+reach)
		if from == bin || to == bin {
			continue
		}
		before, after := (sums[bin]-sums[from])/float64(bin-from), (sums[to]-sums[bin])/float64(to-bin)
		if math.Abs(after-before) >= gainLimits.LeastDB/2 {
			return true
		}
	}
	return false
}

// steps finds where the gain of a track was changed: the clearest place of each
// run of places that would do.
func steps(n *known, t *evidence.Track, s *stage) []step {
	var found []step
	last := -1
	c := courseOf(n, t, s)
	for bin := stepGrid; bin < len(t.Levels); bin += stepGrid {
		if !c.mayStep(bin) {
			continue
		}
		st, ok := stepAt(n, t, &c, bin)
		if !ok {
			continue
		}
		if last >= 0 && bin-last <= gainLimits.SameStep && (found[len(found)-1].db > 0) == (st.db > 0) {
			if st.clear > found[len(found)-1].clear {
				found[len(found)-1] = st
			}
		} else {
			found = append(found, st)
		}
		last = bin
	}
	for i := range found {
		found[i].bin = place(n, t, &c, found[i])
	}
	return found
}

// gains tells of preamps that were turned, within the night or since the other
// nights.
func gains(n *known) []catalog.Finding {
	var found []catalog.Finding
	s := n.stage()
	told := map[int]bool{}
	for i := range n.Tracks {
		t := &n.Tracks[i]
		if !t.Measured || t.Lifeless || s.bins == 0 {
			continue
		}
		for _, st := range steps(n, t, s) {
			told[t.Number] = true
			at := t.Frame(st.bin)
			found = append(found, catalog.Finding{
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
	against := gainAgainstTour(n.Recording)
	for i := range n.Sound.Voices {
		g, ok := against[i]
		t := n.TrackOf(&n.Sound.Voices[i])
		if !ok || t == nil || told[t.Number] {
			continue
		}
		found = append(found, catalog.Finding{
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
