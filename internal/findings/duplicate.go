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

// duplicateLimits are the thresholds of tracks that carry one signal.
var duplicateLimits = struct {
	// Wave is the correlation of two tracks that carry one signal: with a gain, a delay of any
	// length and another preamp's noise it is 0.95 and more on all of the demo's sounds, and
	// 0.88 on keys with little below 1.5 kHz. Two microphones on one drum reach 0.94, but
	// their levels part.
	Wave float64 `unit:"correlation" source:"measured"`

	// LevelDB is how far their levels, block by block, may scatter about one difference, and
	// LaterDB by how much more for each ms between them: a stroke that comes later falls into
	// the next block sooner. Measured: 0.02 dB together, 0.41 for a kick drum 5 ms later, 0.54
	// for a hat 3.7 ms later. From 0.15 to 0.4 for each ms count the same on 68 tuning nights;
	// 0.1 misses one.
	LevelDB float64 `unit:"dB" source:"measured"`
	LaterDB float64 `unit:"dB/ms" source:"measured"`

	// RangeDB is how far the level itself must move to tell, Moves how many times more than it
	// scatters, and LeastS for how long both must sound.
	RangeDB float64 `unit:"dB" source:"chosen"`
	Moves   float64 `unit:"times" source:"chosen"`
	LeastS  float64 `unit:"s" source:"chosen"`

	// EqualDB and EqualS are what tracks differ by at most that carry one digital signal:
	// above what two digital copies differ by.
	EqualDB float64 `unit:"dB" source:"chosen"`
	EqualS  float64 `unit:"s" source:"chosen"`

	// EqualRangeDB is how far the level of equal tracks must move: two that hum alike stand
	// still, a pad does not quite.
	EqualRangeDB float64 `unit:"dB" source:"chosen"`

	// EqualWave is what their waves correlate by at least: copies do by 0.998 and more, the
	// two sides of keys that play one sound by 0.971, a microphone and a cable on one night by
	// 0.954.
	EqualWave float64 `unit:"correlation" source:"measured"`

	// BesideWave is the correlation from which on two pickups hear one thing.
	BesideWave float64 `unit:"correlation" source:"chosen"`

	// WaveThen is the correlation that two tracks had on another show that carried the same
	// then: a little less than Wave, so that what is at the edge is not reported on every
	// other show.
	WaveThen float64 `unit:"correlation" source:"chosen"`

	// SoundsDB is how far above its low level a bin holds sound whose level can be compared,
	// and LeastSoundDB the least such level: 30 dB above digital silence.
	SoundsDB     float64 `unit:"dB" source:"chosen"`
	LeastSoundDB float64 `unit:"dBFS" source:"chosen"`

	// ScatterShare is the share of the bins that must lie within the scatter of the levels,
	// and RangeTail the share of the loudest and of the quietest bins that the range of the
	// levels leaves out.
	ScatterShare float64 `unit:"share" source:"chosen"`
	RangeTail    float64 `unit:"share" source:"chosen"`

	// SaidDB and SaidS are the differences from which on the text names them.
	SaidDB float64 `unit:"dB" source:"chosen"`
	SaidS  float64 `unit:"s" source:"chosen"`

	// RoughWave is the least that is worth a closer look: a delay of half a lag leaves 0.89.
	RoughWave float64 `unit:"correlation" source:"measured"`
}{
	Wave:         0.87,
	LevelDB:      0.1,
	LaterDB:      0.2,
	RangeDB:      4,
	Moves:        12,
	LeastS:       20,
	EqualDB:      0.03,
	EqualS:       0.0001,
	EqualRangeDB: 1,
	EqualWave:    0.99,
	BesideWave:   0.7,
	WaveThen:     0.82,
	SoundsDB:     3,
	LeastSoundDB: evidence.Silence + 30,
	ScatterShare: 0.75,
	RangeTail:    0.05,
	SaidDB:       0.5,
	SaidS:        0.0005,
	RoughWave:    0.75,
}

// levelsApart compares the levels of two tracks where both hold sound: their
// middle difference in dB, how far three quarters of the bins lie from it, how
// far the level moves, and over how many bins.
func levelsApart(a, b *evidence.Track) (apart, scatter, moves float64, bins int) {
	var d, level []float64
	for i := range min(len(a.Levels), len(b.Levels)) {
		x, y := float64(a.Levels[i]), float64(b.Levels[i])
		if x > a.Low+duplicateLimits.SoundsDB && y > b.Low+duplicateLimits.SoundsDB && x > duplicateLimits.LeastSoundDB && y > duplicateLimits.LeastSoundDB {
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
	return apart, stats.Pick(d, duplicateLimits.ScatterShare), stats.Pick(level, 1-duplicateLimits.RangeTail) - stats.Pick(level, duplicateLimits.RangeTail), len(d)
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
		if math.Abs(r) < duplicateLimits.Wave || told[b.Number] || exchanged[i] || exchanged[k] {
			return
		}
		apart, scatter, moves, bins := levelsApart(a, b)
		alike := scatter <= duplicateLimits.LevelDB+float64(1000*math.Abs(lag)*duplicateLimits.LaterDB) && moves >= max(duplicateLimits.RangeDB, duplicateLimits.Moves*scatter) && float64(bins) >= duplicateLimits.LeastS*evidence.BinsPerSecond
		if !alike && !equal(n, a, b, r, lag) || alwaysAlike(n, a, b, math.Abs(r), lag, scatter <= duplicateLimits.EqualDB && math.Abs(lag) < duplicateLimits.EqualS) {
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
			if r, _ := c.Peak(); math.Abs(r) < duplicateLimits.RoughWave {
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
	if math.Abs(r) < duplicateLimits.EqualWave || math.Abs(lag) >= duplicateLimits.EqualS {
		return false
	}
	_, scatter, moves, bins := levelsApart(a, b)
	return scatter <= duplicateLimits.EqualDB && moves >= max(duplicateLimits.EqualRangeDB, duplicateLimits.Moves*scatter) && float64(bins) >= duplicateLimits.LeastS*evidence.BinsPerSecond
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
	need := duplicateLimits.WaveThen
	if equal && wave >= duplicateLimits.EqualWave {
		need = duplicateLimits.EqualWave // two that are equal tonight would be then
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
			if math.Abs(r) >= need || !equal && math.Abs(r) >= duplicateLimits.BesideWave && math.Abs(then-lag) <= duplicateLimits.EqualS {
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
	case math.Abs(apart) >= duplicateLimits.SaidDB && math.Abs(lag) >= duplicateLimits.SaidS:
		how = fmt.Sprintf("the same signal, %.1f dB %s and %.1f ms %s, as", math.Abs(apart), lowerHigher(apart), 1000*math.Abs(lag), laterEarlier(lag))
	case math.Abs(apart) >= duplicateLimits.SaidDB:
		how = fmt.Sprintf("the same signal, %.1f dB %s, as", math.Abs(apart), lowerHigher(apart))
	case math.Abs(lag) >= duplicateLimits.SaidS:
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
