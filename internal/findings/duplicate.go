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

const (
	// sameWave is the correlation of two tracks that carry one signal: with a
	// gain, a delay of any length and another preamp's noise it is 0.95 and more
	// on all of the demo's sounds, and 0.88 on keys with little below 1.5 kHz
	// (measured). Two microphones on one drum reach 0.94, but their levels part.
	sameWave = 0.87
	// sameLevelDB is how far their levels, block by block, may scatter about one
	// difference, and laterLevelDB by how much more for each ms between them: a
	// stroke that comes later falls into the next block sooner. Measured: 0.02 dB
	// together, 0.41 for a kick drum 5 ms later, 0.54 for a hat 3.7 ms later. From
	// 0.15 to 0.4 for each ms count the same on 68 tuning nights; 0.1 misses one.
	sameLevelDB  = 0.1
	laterLevelDB = 0.2
	// duplicateRange is how far the level itself must move to tell, and
	// duplicateMoves how many times more than it scatters. Chosen.
	duplicateRange = 4
	duplicateMoves = 12
	duplicateS     = 20
	// equalDB and equalS are what tracks differ by at most that carry one digital
	// signal. Chosen: above what two digital copies differ by.
	equalDB = 0.03
	equalS  = 0.0001
	// equalRange is how far the level of equal tracks must move: two that hum alike
	// stand still, a pad does not quite. Chosen.
	equalRange = 1
	// equalWave is what their waves correlate by at least: copies do by 0.998 and
	// more, the two sides of keys that play one sound by 0.971, a microphone and a
	// cable on one night by 0.954 (measured).
	equalWave = 0.99
	// besideWave is the correlation from which on two pickups hear one thing. Chosen.
	besideWave = 0.7
	// sameWaveThen is the correlation, 0 to 1, that two tracks had on another show that
	// carried the same then. Chosen: a little less than sameWave, so that what is at the
	// edge is not reported on every other show.
	sameWaveThen = sameWave - 0.05
	// soundsDB is how far above its low level, in dB, a bin holds sound whose level can be
	// compared, and leastSoundDB the least such level, in dB: 30 dB above digital silence.
	// Chosen.
	soundsDB     = 3
	leastSoundDB = evidence.Silence + 30
	// scatterShare is the share of the bins that must lie within the scatter of the
	// levels, and rangeTail the share of the loudest and of the quietest bins that the
	// range of the levels leaves out. Chosen.
	scatterShare = 0.75
	rangeTail    = 0.05
	// saidDB and saidS, in seconds, are the differences from which on the text names
	// them. Chosen.
	saidDB = 0.5
	saidS  = 0.0005
	// roughWave is the least that is worth a closer look: a delay of half a lag
	// leaves 0.89 (measured).
	roughWave = 0.75
)

// levelsApart compares the levels of two tracks where both hold sound: their
// middle difference in dB, how far three quarters of the bins lie from it, how
// far the level moves, and over how many bins.
func levelsApart(a, b *evidence.Track) (apart, scatter, moves float64, bins int) {
	var d, level []float64
	for i := range min(len(a.Levels), len(b.Levels)) {
		x, y := float64(a.Levels[i]), float64(b.Levels[i])
		if x > a.Low+soundsDB && y > b.Low+soundsDB && x > leastSoundDB && y > leastSoundDB {
			d = append(d, x-y)
			level = append(level, x)
		}
	}
	if len(d) == 0 {
		return 0, math.Inf(1), 0, 0
	}
	apart = stats.Pick(d, 0.5)
	for i := range d {
		d[i] = math.Abs(d[i] - apart)
	}
	return apart, stats.Pick(d, scatterShare), stats.Pick(level, 1-rangeTail) - stats.Pick(level, rangeTail), len(d)
}

// duplicates reports the tracks that carry the same signal.
func duplicates(n *known) []catalog.Finding { return n.copies() }

// copiesOf finds pairs of tracks that carry the same signal.
func copiesOf(n *evidence.Recording, swaps []swap) []catalog.Finding {
	if n.Sound == nil {
		return nil
	}
	var pairs []likePair
	told := map[int]bool{}
	// Of exchanged inputs no other night tells whom they are like by right.
	exchanged := map[int]bool{}
	for _, s := range swaps {
		exchanged[s.a], exchanged[s.b] = true, true
	}
	likeWaves(n, func(i, k int, a, b *evidence.Track, r, lag float64) {
		if math.Abs(r) < sameWave || told[b.Number] || exchanged[i] || exchanged[k] {
			return
		}
		apart, scatter, moves, bins := levelsApart(a, b)
		alike := scatter <= sameLevelDB+float64(1000*math.Abs(lag)*laterLevelDB) && moves >= max(duplicateRange, duplicateMoves*scatter) && float64(bins) >= duplicateS*evidence.BinsPerSecond
		if !alike && !equal(n, a, b, r, lag) || alwaysAlike(n, a, b, math.Abs(r), lag, scatter <= equalDB && math.Abs(lag) < equalS) {
			return
		}
		told[b.Number] = true
		pairs = append(pairs, likePair{voices: [2]int{i, k}, wave: math.Abs(r), finding: duplicateFinding(n, a, b, r, lag, apart)})
	})
	var found []catalog.Finding
	for _, p := range pairs {
		if !slices.ContainsFunc(pairs, func(closer likePair) bool { return follows(n, p, closer) }) {
			found = append(found, p.finding)
		}
	}
	return found
}

// likeWaves hands over every two living tracks whose waves are worth a closer look,
// with their correlation and the lag in seconds at which it is highest. The wave is
// compared before the levels: polarity needs every pair's too, and few agree.
func likeWaves(n *evidence.Recording, f func(i, k int, a, b *evidence.Track, r, lag float64)) {
	for i := range n.Sound.Voices {
		for k := i + 1; k < len(n.Sound.Voices); k++ {
			a, b := n.TrackOf(&n.Sound.Voices[i]), n.TrackOf(&n.Sound.Voices[k])
			if a == nil || b == nil || a.Lifeless || b.Lifeless {
				continue
			}
			c := n.Sound.Curve(i, k)
			if c == nil {
				continue
			}
			if r, _ := c.Peak(); math.Abs(r) < roughWave {
				continue
			}
			r, lag := c.Fine()
			f(i, k, a, b, r, lag)
		}
	}
}

// equalVoices returns, by voice, those that carry an equal signal tonight and did not on
// other nights: two digital copies, but for a gain.
func equalVoices(n *evidence.Recording) map[int][]int {
	found := map[int][]int{}
	likeWaves(n, func(i, k int, a, b *evidence.Track, r, lag float64) {
		if equal(n, a, b, r, lag) && !alwaysAlike(n, a, b, math.Abs(r), lag, true) {
			found[i], found[k] = append(found[i], k), append(found[k], i)
		}
	})
	return found
}

// equal reports whether two tracks whose waves correlate by r at some lag, in
// seconds, carry one signal but for a gain.
func equal(n *evidence.Recording, a, b *evidence.Track, r, lag float64) bool {
	if math.Abs(r) < equalWave || math.Abs(lag) >= equalS {
		return false
	}
	_, scatter, moves, bins := levelsApart(a, b)
	return scatter <= equalDB && moves >= max(equalRange, duplicateMoves*scatter) && float64(bins) >= duplicateS*evidence.BinsPerSecond
}

// copied reports whether a voice cannot have been exchanged with another one,
// since it is a copy of a third: unless that is always equal to the other one,
// and the exchange is why.
func copied(n *evidence.Recording, copies map[int][]int, voice, with int) bool {
	for _, third := range copies[voice] {
		if third == with {
			return true
		}
		a, b := n.TrackOf(&n.Sound.Voices[min(with, third)]), n.TrackOf(&n.Sound.Voices[max(with, third)])
		if a == nil || b == nil || !alwaysAlike(n, a, b, 1, 0, true) {
			return true
		}
	}
	return false
}

// likePair is two voices that carry the same signal.
type likePair struct {
	voices  [2]int
	wave    float64 // how alike their waves are
	finding catalog.Finding
}

// follows reports whether a pair is one only because of a closer one: of a copied
// bass line, the bass's microphone seems a copy as well.
func follows(n *evidence.Recording, p, closer likePair) bool {
	if closer.wave <= p.wave {
		return false
	}
	for i, v := range p.voices {
		for k, w := range closer.voices {
			if other, third := p.voices[1-i], closer.voices[1-k]; v == w && other != third {
				a, b := n.TrackOf(&n.Sound.Voices[min(other, third)]), n.TrackOf(&n.Sound.Voices[max(other, third)])
				if c := n.Sound.Curve(min(other, third), max(other, third)); c != nil && a != nil && b != nil {
					wave, lag := c.Fine()
					return alwaysAlike(n, a, b, math.Abs(wave), lag, false)
				}
			}
		}
	}
	return false
}

// alwaysAlike reports whether two channels carry the same on another night too:
// then that is how they are wired. What stands beside another pickup is like it
// by as long a path on every night, and on one with little else to hear seems
// the same. Where none tells, a cable and a microphone on one instrument may be
// as alike, unless they are equal.
func alwaysAlike(n *evidence.Recording, a, b *evidence.Track, wave, lag float64, equal bool) bool {
	need := sameWaveThen
	if equal && wave >= equalWave {
		need = equalWave // two that are equal tonight would be then
	}
	known := false
	for _, p := range n.Tour {
		i, k := -1, -1
		for v := range p.Voices {
			switch catalog.Key(p.Voices[v].Track.Channel) {
			case catalog.Key(a.Channel):
				i = v
			case catalog.Key(b.Channel):
				k = v
			}
		}
		if i < 0 || k < 0 {
			continue
		}
		if c := p.Curve(i, k); c != nil {
			known = true
			r, then := c.Fine()
			if math.Abs(r) >= need || !equal && math.Abs(r) >= besideWave && math.Abs(then-lag) <= equalS {
				return true
			}
		}
	}
	return !known && !equal && oneThing(a.Channel, b.Channel)
}

// oneThing reports whether two names are of one instrument, such as Bass DI and
// Bass Mic, but not its two sides.
func oneThing(a, b string) bool {
	x, y := strings.Fields(strings.ToLower(a)), strings.Fields(strings.ToLower(b))
	return len(x) > 1 && len(y) > 1 && x[0] == y[0] && !twoSides(a, b) && !twoSides(b, a)
}

func duplicateFinding(n *evidence.Recording, a, b *evidence.Track, r, lag, apart float64) catalog.Finding {
	severity := catalog.FaultSeverity
	if twoSides(a.Channel, b.Channel) && len(n.Before(b.Channel)) == 0 {
		severity = catalog.NoteSeverity // an instrument in mono, perhaps
	}
	how := "the same signal as"
	switch {
	case math.Abs(apart) >= saidDB && math.Abs(lag) >= saidS:
		how = fmt.Sprintf("the same signal, %.1f dB %s and %.1f ms %s, as", math.Abs(apart), lowerHigher(apart), 1000*math.Abs(lag), laterEarlier(lag))
	case math.Abs(apart) >= saidDB:
		how = fmt.Sprintf("the same signal, %.1f dB %s, as", math.Abs(apart), lowerHigher(apart))
	case math.Abs(lag) >= saidS:
		how = fmt.Sprintf("the same signal, %.1f ms %s, as", 1000*math.Abs(lag), laterEarlier(lag))
	}
	return catalog.Finding{
		Track: b.Number, Tracks: []int{b.Number, a.Number}, Kind: catalog.Duplicate, EndFrame: min(a.Frames, b.Frames), Severity: severity,
		Evidence: catalog.Evidence{"correlation": r, "level_db": -apart, "later_ms": 1000 * lag},
		Text: fmt.Sprintf("%s carries %s %s: one of the two was never recorded; look at the patch between stage box and recorder.",
			b.Channel, how, a.Channel),
	}
}

func lowerHigher(apart float64) string {
	if apart > 0 {
		return "lower"
	}
	return "higher"
}

func laterEarlier(lag float64) string {
	if lag > 0 {
		return "later"
	}
	return "earlier"
}
