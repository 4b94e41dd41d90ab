package findings

import (
	"math"
	"slices"

	"nightreel/internal/channelsound"
	"nightreel/internal/evidence"
	"nightreel/internal/meter"
	"nightreel/internal/spectrum"
	"nightreel/internal/stats"
)

// hissBand is the lowest band, 6.3 kHz, that tells of a track's hiss: hum, rumble
// and what rings on lie below. Chosen.
const hissBand = 25

// hushLimits are the thresholds of what a track holds between songs.
var hushLimits = struct {
	// HissShare is the share of the minutes, the quietest, that tell of a show's hiss.
	HissShare float64 `unit:"share" source:"chosen"`

	// Quantile is the share of a pause in which a microphone hears nothing but what stands
	// through it.
	Quantile float64 `unit:"share" source:"chosen"`
}{
	HissShare: 0.1,
	Quantile:  0.2,
}

// hissOfPart returns what stands through a minute's quiet above 5.6 kHz, in dB:
// NaN where the rate is too low for that.
func hissOfPart(p *spectrum.Tone) float64 {
	sum := 0.0
	for _, e := range p.QuietBands[hissBand:] {
		sum += float64(e)
	}
	if sum == 0 {
		return math.NaN()
	}
	return channelsound.DB(sum)
}

// hissOf returns the same for a night: of its quietest tenth.
func hissOf(parts []spectrum.Tone) float64 {
	var all []float64
	for i := range parts {
		all = append(all, hissOfPart(&parts[i]))
	}
	return stats.Percentile(finite(all), hushLimits.HissShare)
}

// pause is a stretch of bins in which the band does not play.
type pause struct{ from, to int }

// pauses returns those of at least gainLimits.LeastPauseS; between songs, where songs are
// known: in a breakdown somebody plays.
func pauses(n *evidence.Recording, s *stage) []pause {
	inSong := make([]bool, len(s.loud))
	size := evidence.BinBlocks * int64(meter.BlockFrames(n.SampleRate))
	for _, t := range n.Takes {
		for b := max(0, t.Start/size); b <= t.End/size && b < int64(len(inSong)); b++ {
			inSong[b] = true
		}
	}
	var all []pause
	for from := 0; from < len(s.loud); {
		to := from
		for to < len(s.loud) && !s.loud[to] && !inSong[to] {
			to++
		}
		if float64(to-from) >= gainLimits.LeastPauseS*evidence.BinsPerSecond {
			all = append(all, pause{from, to})
		}
		from = to + 1
	}
	return all
}

// hushes is what each track holds in each pause when nobody claps or talks into
// it: in dB, as it is and against what all microphones have more of there.
type hushes struct {
	pauses  []pause
	raw     map[int][]float64 // by number of the track, a value each pause; NaN beyond the track's end
	against map[int][]float64
}

// hushesOf measures what each track holds in the pauses of the stage.
func hushesOf(n *evidence.Recording, s *stage) *hushes {
	h := &hushes{pauses: pauses(n, s), raw: map[int][]float64{}, against: map[int][]float64{}}
	moves := make([][]float64, len(h.pauses)) // of the microphones, each against its own middle
	for i := range n.Tracks {
		t := &n.Tracks[i]
		if !t.Measured || t.Lifeless {
			continue
		}
		levels := make([]float64, len(h.pauses))
		for k, p := range h.pauses {
			levels[k] = stats.Percentile(t.Levels[min(p.from, len(t.Levels)):min(p.to, len(t.Levels))], hushLimits.Quantile)
		}
		h.raw[t.Number] = levels
		middle := stats.Median(finite(levels))
		for k, x := range levels {
			if !t.Rests && !math.IsNaN(x) {
				moves[k] = append(moves[k], x-middle)
			}
		}
	}
	for number, levels := range h.raw {
		against := slices.Clone(levels)
		for k := range against {
			if len(moves[k]) >= stageLimits.Least {
				against[k] -= stats.Median(moves[k])
			}
		}
		h.against[number] = against
	}
	return h
}

// finite returns the values that are numbers.
func finite(values []float64) []float64 {
	return slices.DeleteFunc(slices.Clone(values), math.IsNaN)
}

// step returns by how much a track's pauses hold more after a bin than before,
// in dB: the lesser of what they hold as they are and against the other
// microphones', for the audience may have fallen silent, and a track that holds
// its own hiss alone does not hear it. ok is false without a pause on both sides.
func (h *hushes) step(t *evidence.Track, bin int) (db float64, ok bool) {
	a, ok := h.stepOf(h.raw[t.Number], bin)
	if !ok || t.Rests {
		return a, ok
	}
	b, _ := h.stepOf(h.against[t.Number], bin)
	switch {
	case a*b <= 0:
		return 0, true
	case math.Abs(a) < math.Abs(b):
		return a, true
	}
	return b, true
}

// sides returns what a track's pauses hold before and after a bin, in dB, as they
// are.
func (h *hushes) sides(t *evidence.Track, bin int) (before, after float64) {
	x, y := h.around(h.raw[t.Number], bin)
	return stats.Median(x), stats.Median(y)
}

// around returns the levels of the gainLimits.StepPauses pauses before a bin, and of those
// after it.
func (h *hushes) around(levels []float64, bin int) (before, after []float64) {
	for k := len(levels) - 1; k >= 0; k-- {
		if h.pauses[k].to <= bin && len(before) < gainLimits.StepPauses && !math.IsNaN(levels[k]) {
			before = append(before, levels[k])
		}
	}
	for k, v := range levels {
		if h.pauses[k].from >= bin && len(after) < gainLimits.StepPauses && !math.IsNaN(v) {
			after = append(after, v)
		}
	}
	return before, after
}

// quietest leaves out the loudest of three pauses: somebody clapped or talked
// through it.
func quietest(pauses []float64) []float64 {
	if len(pauses) < gainLimits.StepPauses {
		return pauses
	}
	slices.Sort(pauses)
	return pauses[:gainLimits.StepPauses-1]
}

func (h *hushes) stepOf(levels []float64, bin int) (db float64, ok bool) {
	before, after := h.around(levels, bin)
	if len(before) == 0 || len(after) == 0 {
		return 0, false
	}
	// What is clapped and talked makes pauses louder. A lone pause beside others
	// that scatter shows nothing, whether the louder or the quieter one.
	if min(len(before), len(after)) > 1 {
		before, after = quietest(before), quietest(after)
	}
	db = stats.Median(after) - stats.Median(before)
	// All of them must lie apart, by half of that or as much as is reported: any
	// share from a tenth to nine tenths counts the same on 68 tuning nights, and
	// none at all invents 2.
	gap := slices.Min(after) - slices.Max(before)
	if db < 0 {
		gap = slices.Min(before) - slices.Max(after)
	}
	if gap < min(gainLimits.LeastDB, math.Abs(db)/2) {
		return 0, true
	}
	// A side of one pause has nothing to show for how far its pauses scatter. If
	// the other side's scatter by more than the step, chance made it: of four
	// pauses one is the quietest.
	if scatter := max(slices.Max(before)-slices.Min(before), slices.Max(after)-slices.Min(after)); scatter > math.Abs(db) {
		return 0, true
	}
	return db, true
}
