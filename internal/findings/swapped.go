package findings

import (
	"fmt"
	"math"
	"slices"

	"nightreel/catalog"
	"nightreel/internal/channelsound"
	"nightreel/internal/evidence"
	"nightreel/internal/spectrum"
	"nightreel/internal/stats"
)

// swappedLimits are the thresholds of exchanged inputs. The tuning nights are those of
// task evaluate.
var swappedLimits = struct {
	// The least difference between two channels, of each of the three, that is believed: what
	// one channel's figures differ by from night to night, estimated on the tuning nights.
	LeastBandsDB  float64 `unit:"dB" source:"measured"`
	LeastCurve    float64 `unit:"correlation" source:"measured"`
	LeastTogether float64 `unit:"correlation" source:"measured"`

	// TogetherCells is how many cells make a correlation of levels.
	TogetherCells int `unit:"cells" source:"chosen"`

	// At is from where on the exchange is believed on the middle one of the other nights, and
	// Not what no night may fall below. Channels that are as seem to lie at -0.3 and below,
	// those that sound alike near 0. On 68 tuning nights with 32 exchanges it is a steep place
	// below: 0.05 invents 5 and 0 invents 20, 0.1 and 0.15 none; above it 0.2 misses 2 and
	// 0.25 misses 4.
	At  float64 `unit:"score" source:"measured"`
	Not float64 `unit:"score" source:"measured"`

	// WellKnown bounds how much one of the three weighs more for two channels that differ much
	// in it.
	WellKnown float64 `unit:"times" source:"chosen"`

	// A band is compared where it lies at LeastBandDBFS (5 dB above digital silence) and not
	// FaintBandDB below the song on both nights; what lies less than OverQuietDB above the
	// quiet counts as that, and no band counts for more than MostBandDB.
	LeastBandDBFS float64 `unit:"dBFS" source:"chosen"`
	FaintBandDB   float64 `unit:"dB" source:"chosen"`
	OverQuietDB   float64 `unit:"dB" source:"chosen"`
	MostBandDB    float64 `unit:"dB" source:"chosen"`

	// LevelCounts is how much of a difference in level as a whole counts, of MostLevelDB at
	// most: gains are turned from night to night.
	LevelCounts float64 `unit:"share" source:"chosen"`
	MostLevelDB float64 `unit:"dB" source:"chosen"`

	// Bands, Curves and Together are how many bands, and how many other voices, make each of
	// the three comparisons.
	Bands    int `unit:"bands" source:"chosen"`
	Curves   int `unit:"voices" source:"chosen"`
	Together int `unit:"voices" source:"chosen"`

	// CommonCells is the fewest cells of common songs that make a spectrum.
	CommonCells int `unit:"cells" source:"chosen"`
}{
	LeastBandsDB:  2.5,
	LeastCurve:    0.06,
	LeastTogether: 0.15,
	TogetherCells: 20,
	At:            0.15,
	Not:           -0.15,
	WellKnown:     3,
	LeastBandDBFS: channelsound.Silence + 5,
	FaintBandDB:   60,
	OverQuietDB:   3,
	MostBandDB:    15,
	LevelCounts:   0.2,
	MostLevelDB:   10,
	Bands:         5,
	Curves:        2,
	Together:      3,
	CommonCells:   4,
}

// likeness compares voices of tonight with voices of another night.
type likeness struct {
	night, past *channelsound.Night
	of          []int // by voice of tonight: that of the other night, -1 for none
	tonight     spectra
	then        spectra
}

func newLikeness(night, past *channelsound.Night) likeness {
	l := likeness{night: night, past: past, of: make([]int, len(night.Voices))}
	for i := range night.Voices {
		l.of[i] = -1
		for k := range past.Voices {
			if catalog.SameName(past.Voices[k].Track.Channel, night.Voices[i].Track.Channel) {
				l.of[i] = k
				break
			}
		}
	}
	return l
}

// spectra are the mean spectra, in dB, of a night's voices over some songs.
type spectra [][spectrum.Bands]float64

// common returns the spectra of both nights over the songs that both have, over
// all where they have none.
func (l *likeness) common() (night, past spectra) {
	songs := map[string]bool{}
	for _, a := range l.night.Takes {
		for _, b := range l.past.Takes {
			if a.Song == b.Song {
				songs[a.Song] = true
			}
		}
	}
	return spectraOf(l.night, songs), spectraOf(l.past, songs)
}

func spectraOf(n *channelsound.Night, songs map[string]bool) spectra {
	var of []channelsound.Span
	for _, t := range n.Takes {
		if songs[t.Song] {
			of = append(of, t)
		}
	}
	out := make(spectra, len(n.Voices))
	for i := range n.Voices {
		v := &n.Voices[i]
		cells := v.In(of)
		if len(of) == 0 || len(cells) < swappedLimits.CommonCells {
			out[i] = v.Bands
			continue
		}
		for b := range out[i] {
			sum := 0.0
			for _, c := range cells {
				sum += float64(v.Cells[c].Bands[b])
			}
			out[i][b] = channelsound.DB(sum / float64(len(cells)))
		}
	}
	return out
}

// bandsApart is the RMS distance of two spectra in dB, but for a difference in
// level as a whole, of which a part counts.
func bandsApart(a, b *channelsound.Voice, x, y *[spectrum.Bands]float64) float64 {
	var d []float64
	for i := range x {
		u, v := max(x[i], a.QuietBands[i]+swappedLimits.OverQuietDB), max(y[i], b.QuietBands[i]+swappedLimits.OverQuietDB)
		if u <= swappedLimits.LeastBandDBFS || v <= swappedLimits.LeastBandDBFS || x[i] < a.Song-swappedLimits.FaintBandDB && y[i] < b.Song-swappedLimits.FaintBandDB {
			continue
		}
		d = append(d, max(-swappedLimits.MostBandDB, min(swappedLimits.MostBandDB, u-v)))
	}
	if len(d) < swappedLimits.Bands {
		return math.NaN()
	}
	mean, square := 0.0, 0.0
	for _, v := range d {
		mean += v / float64(len(d))
	}
	for _, v := range d {
		square += (v - mean) * (v - mean) / float64(len(d))
	}
	return math.Sqrt(square) + float64(swappedLimits.LevelCounts*min(swappedLimits.MostLevelDB, math.Abs(mean)))
}

// curvesApart is the distance of how voice a of one night and voice b of
// another agree with all others, which are given by pairs.
func curvesApart(x *channelsound.Night, a int, y *channelsound.Night, b int, others [][2]int) float64 {
	sum, count := 0.0, 0
	for _, o := range others {
		c, d := x.Curve(a, o[0]), y.Curve(b, o[1])
		if c == nil || d == nil {
			continue
		}
		s := 0.0
		for i := range c.R {
			s += float64((c.R[i] - d.R[i]) * (c.R[i] - d.R[i]))
		}
		sum += s / float64(len(c.R))
		count++
	}
	if count < swappedLimits.Curves {
		return math.NaN()
	}
	return math.Sqrt(sum / float64(count))
}

func togetherApart(x *channelsound.Night, a int, y *channelsound.Night, b int, others [][2]int) float64 {
	sum, count := 0.0, 0
	for _, o := range others {
		r, n := x.Together(a, o[0])
		s, m := y.Together(b, o[1])
		if n < swappedLimits.TogetherCells || m < swappedLimits.TogetherCells {
			continue
		}
		sum += float64((r - s) * (r - s))
		count++
	}
	if count < swappedLimits.Together {
		return math.NaN()
	}
	return math.Sqrt(sum / float64(count))
}

// exchange returns how much better an exchange of two voices explains the night,
// -1 to 1; NaN where nothing tells them apart.
func (l *likeness) exchange(a, b int) float64 {
	if l.tonight == nil {
		l.tonight, l.then = l.common()
	}
	pa, pb := l.of[a], l.of[b]
	sum, weight := 0.0, 0.0
	score := func(least, between, aa, bb, ab, ba float64) {
		if between >= least && !math.IsNaN(aa+bb+ab+ba) && aa+bb+ab+ba > 0 {
			w := min(swappedLimits.WellKnown, between/least)
			sum += w * (aa + bb - ab - ba) / (aa + bb + ab + ba)
			weight += w
		}
	}
	x, y := l.night, l.past
	bands := func(v, w int) float64 {
		return bandsApart(&x.Voices[v], &y.Voices[w], &l.tonight[v], &l.then[w])
	}
	score(swappedLimits.LeastBandsDB, bandsApart(&y.Voices[pa], &y.Voices[pb], &l.then[pa], &l.then[pb]), bands(a, pa), bands(b, pb), bands(a, pb), bands(b, pa))
	if weight > 0 && sum/weight < swappedLimits.Not {
		return sum / weight // as always: the rest is not asked
	}
	var others, theirs [][2]int
	for i, k := range l.of {
		if i != a && i != b && k >= 0 && l.night.Voices[i].Plays() && l.past.Voices[k].Plays() {
			others = append(others, [2]int{i, k})
			theirs = append(theirs, [2]int{k, k})
		}
	}
	score(swappedLimits.LeastCurve, curvesApart(y, pa, y, pb, theirs), curvesApart(x, a, y, pa, others), curvesApart(x, b, y, pb, others),
		curvesApart(x, a, y, pb, others), curvesApart(x, b, y, pa, others))
	score(swappedLimits.LeastTogether, togetherApart(y, pa, y, pb, theirs), togetherApart(x, a, y, pa, others), togetherApart(x, b, y, pb, others),
		togetherApart(x, a, y, pb, others), togetherApart(x, b, y, pa, others))
	return sum / weight
}

// swap is two voices that were exchanged.
type swap struct {
	a, b   int
	score  float64
	nights int
}

// swapsOf returns the voices that were exchanged, each at most once, and the pairs of
// which nothing says whether they were.
func swapsOf(n *evidence.Recording) (all []swap, unsure []Pair) {
	if n.Sound == nil {
		return nil, nil
	}
	var past []likeness
	for _, p := range n.Tour {
		past = append(past, newLikeness(n.Sound, p))
	}
	equals := equalVoices(n)
	for a := range n.Sound.Voices {
		for b := a + 1; b < len(n.Sound.Voices); b++ {
			if copied(n, equals, a, b) || copied(n, equals, b, a) {
				continue
			}
			switch s, sure := swapOf(n, a, b, past); {
			case sure == exchangedVoices:
				all = append(all, s)
			case sure == notSure:
				unsure = append(unsure, Pair{a, b})
			}
		}
	}
	slices.SortStableFunc(all, func(x, y swap) int {
		switch {
		case x.score > y.score:
			return -1
		case x.score < y.score:
			return 1
		}
		return 0
	})
	taken := map[int]bool{}
	return slices.DeleteFunc(all, func(s swap) bool {
		if taken[s.a] || taken[s.b] {
			return true
		}
		taken[s.a], taken[s.b] = true, true
		return false
	}), unsure
}

// exchanged or not
const (
	notExchanged = iota
	notSure
	exchangedVoices
)

// swapOf compares two voices with the other shows.
func swapOf(n *evidence.Recording, a, b int, past []likeness) (s swap, sure int) {
	s = swap{a: a, b: b}
	var scores []float64
	both := 0      // nights on which both play, while one is silent tonight
	asked := false // whether any night has both as they are tonight
	for i := range past {
		l := &past[i]
		if l.of[a] < 0 || l.of[b] < 0 {
			continue
		}
		// Both play, then and now; or one does, and it is the other one now.
		here, there := [2]bool{n.Sound.Voices[a].Plays(), n.Sound.Voices[b].Plays()}, [2]bool{l.past.Voices[l.of[a]].Plays(), l.past.Voices[l.of[b]].Plays()}
		switch {
		case here == [2]bool{true, true} && there == here:
		case here[0] != here[1] && there[0] != there[1]:
			if here == there {
				return s, notExchanged
			}
		case here[0] != here[1] && there == [2]bool{true, true}:
			both++
			continue
		default:
			continue
		}
		asked = true
		if q := l.exchange(a, b); !math.IsNaN(q) {
			if q < swappedLimits.Not {
				return s, notExchanged
			}
			scores = append(scores, q)
		}
	}
	if len(scores) == 0 && asked {
		return s, notSure
	}
	// No exchange makes a channel silent that plays on as many nights as say so.
	if len(scores) == 0 || both >= len(scores) {
		return s, notExchanged
	}
	s.nights = len(scores)
	s.score = stats.Median(scores)
	if s.score < swappedLimits.At {
		return s, notSure
	}
	return s, exchangedVoices
}

// swapped reports exchanged inputs.
func swapped(n *known) []catalog.Finding {
	var found []catalog.Finding
	for _, s := range n.swaps() {
		a, b := n.TrackOf(&n.Sound.Voices[s.a]), n.TrackOf(&n.Sound.Voices[s.b])
		if a == nil || b == nil {
			continue
		}
		nights := "the other night"
		if s.nights > 1 {
			nights = fmt.Sprintf("%d other nights", s.nights)
		}
		// One fault, one finding: on the first of the two.
		found = append(found, catalog.Finding{
			Track: a.Number, Tracks: []int{a.Number, b.Number}, Kind: catalog.Swapped, EndFrame: a.Frames, Severity: catalog.FaultSeverity,
			Evidence: catalog.Evidence{"likeness": s.score, "other_nights": float64(s.nights)},
			Text: fmt.Sprintf("%s sounds as %s did on %s, and the other way round: the two are exchanged; swap their lines at the stage box, or correct the input list if that was meant.",
				a.Channel, b.Channel, nights),
		})
	}
	return found
}
