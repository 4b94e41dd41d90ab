package health

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"nightreel/catalog"
	"nightreel/internal/sound"
)

const (
	// pairR is the correlation two pickups must have, on both nights, for their
	// polarity to be known: chance reaches 0.1 over a minute of songs.
	pairR = 0.18
	// sameShape is how alike, up to its sign, the curve of a pair must be from
	// night to night: as long as neither pickup moves it is.
	sameShape = 0.55
	// samePlace is how high a turned curve must be, against its highest, where it
	// was highest before.
	samePlace = 0.6
	// sidesR is how strongly the two sides of one thing must disagree to be told
	// without another night.
	sidesR = 0.5
)

// turn is what the other nights say of one pair.
type turn struct {
	a, b   int
	weight float64 // above 0: as always; below: turned over
	nights int
}

// turns compares every pair's curve with the other nights'. Voices that were
// exchanged are left out, and those that carry another one's signal.
func (n *Night) turns(swaps []swap, duplicates []catalog.Flag) []turn {
	out := map[int]bool{}
	for _, s := range swaps {
		out[s.a], out[s.b] = true, true
	}
	for i := range n.Sound.Voices {
		out[i] = out[i] || slices.ContainsFunc(duplicates, func(f catalog.Flag) bool { return f.Track == n.Sound.Voices[i].Track.Number })
	}
	var past []likeness
	for _, p := range n.Tour {
		past = append(past, newLikeness(n.Sound, p))
	}
	var all []turn
	for a := range n.Sound.Voices {
		for b := a + 1; b < len(n.Sound.Voices); b++ {
			if out[a] || out[b] {
				continue
			}
			c := n.Sound.Curve(a, b)
			if c == nil {
				continue
			}
			if r, _ := c.Peak(); math.Abs(r) < pairR {
				continue
			}
			t := turn{a: a, b: b}
			same, over, both := 0, 0, 0
			for _, l := range past {
				if l.of[a] < 0 || l.of[b] < 0 {
					continue
				}
				both++
				d := l.past.Curve(l.of[a], l.of[b])
				if d == nil {
					continue
				}
				if r, _ := d.Peak(); math.Abs(r) < pairR {
					continue
				}
				cos := c.Cosine(d)
				switch {
				case cos >= sameShape:
					same++
				case cos <= -sameShape && opposed(c, d) && opposed(d, c):
					over++
				}
				t.weight += cos
				t.nights++
			}
			// A pair that is now so, now so tells nothing.
			if same > 0 && over > 0 || same+over < min(2, both) || same+over == 0 {
				continue
			}
			t.weight /= float64(t.nights)
			if math.Abs(t.weight) >= sameShape*0.8 {
				all = append(all, t)
			}
		}
	}
	return all
}

// opposed reports whether one curve is turned over where the other one is
// highest, and nearly as high as anywhere: a path keeps its length. Two
// instruments that play in one key are alike at another lag every night.
func opposed(c, d *sound.Curve) bool {
	top, at := 0.0, 0
	for i, v := range c.R {
		if math.Abs(v) > math.Abs(top) {
			top, at = v, i
		}
	}
	peak, _ := d.Peak()
	return top*d.R[at] < 0 && math.Abs(d.R[at]) >= samePlace*math.Abs(peak)
}

// turned returns the voices whose polarity explains all turned pairs: again and
// again the one that most pairs speak against.
func turned(turns []turn) (voices []int, partners map[int][]int, nights map[int]int) {
	sign := map[int]float64{}
	of := func(v int) float64 {
		if sign[v] == 0 {
			return 1
		}
		return sign[v]
	}
	for range 64 {
		votes := map[int]float64{}
		for _, t := range turns {
			w := t.weight * of(t.a) * of(t.b)
			votes[t.a] += w
			votes[t.b] += w
		}
		worst, least := -1, -0.2
		for _, v := range sortedKeys(votes) {
			if votes[v] < least || worst >= 0 && votes[v] == least && v > worst {
				worst, least = v, votes[v]
			}
		}
		if worst < 0 {
			break
		}
		sign[worst] = -of(worst)
	}
	partners, nights = map[int][]int{}, map[int]int{}
	for _, v := range sortedKeys(sign) {
		if sign[v] > 0 {
			continue
		}
		for _, t := range turns {
			if t.weight < 0 && (t.a == v || t.b == v) && of(t.a)*of(t.b) < 0 {
				partners[v] = append(partners[v], t.a+t.b-v)
				nights[v] = max(nights[v], t.nights)
			}
		}
		if len(partners[v]) > 0 {
			voices = append(voices, v)
		}
	}
	return voices, partners, nights
}

func sortedKeys(m map[int]float64) []int {
	var keys []int
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}

// polarity finds the channels that are turned over against their partners.
func (n *Night) polarity(swaps []swap, duplicates []catalog.Flag) []catalog.Flag {
	if n.Sound == nil {
		return nil
	}
	voices, partners, nights := turned(n.turns(swaps, duplicates))
	var found []catalog.Flag
	for _, v := range voices {
		t := n.trackOf(&n.Sound.Voices[v])
		if t == nil {
			continue
		}
		best, at := 0.0, -1
		for _, p := range partners[v] {
			if r, _ := n.Sound.Curve(v, p).Peak(); math.Abs(r) > math.Abs(best) {
				best, at = r, p
			}
		}
		o := n.Sound.Voices[at].Track
		found = append(found, catalog.Flag{
			Track: t.Number, Kind: catalog.Polarity, EndFrame: t.Frames, Severity: catalog.WarningSeverity,
			Evidence: catalog.Evidence{"with_track": float64(o.Number), "correlation": best, "partners": float64(len(partners[v])), "other_nights": float64(nights[v])},
			Text: fmt.Sprintf("%s is turned over in polarity against %s and as it was on %s: look for a turned cable or a changed microphone, or switch polarity at the desk.",
				t.Channel, names(n, partners[v]), otherNights(nights[v])),
		})
	}
	return append(found, n.sides(found)...)
}

// sides tells of the two sides of one thing that disagree, where no other night
// can.
func (n *Night) sides(had []catalog.Flag) []catalog.Flag {
	var found []catalog.Flag
	for a := range n.Sound.Voices {
		for b := range n.Sound.Voices {
			x, y := &n.Sound.Voices[a], &n.Sound.Voices[b]
			if !twoSides(x.Track.Channel, y.Track.Channel) || len(n.before(x.Track.Channel))+len(n.before(y.Track.Channel)) > 0 {
				continue
			}
			c := n.Sound.Curve(a, b)
			if c == nil {
				continue
			}
			r, _ := c.Peak()
			other := 0.0
			for _, v := range c.R {
				other = max(other, v)
			}
			t := n.trackOf(y)
			if r > -sidesR || other > -r/2 || t == nil || slices.ContainsFunc(had, func(f catalog.Flag) bool { return f.Track == t.Number }) {
				continue
			}
			found = append(found, catalog.Flag{
				Track: t.Number, Kind: catalog.Polarity, EndFrame: t.Frames, Severity: catalog.WarningSeverity,
				Evidence: catalog.Evidence{"with_track": float64(x.Track.Number), "correlation": r, "partners": 1, "other_nights": 0},
				Text: fmt.Sprintf("%s is turned over in polarity against %s: look for a turned cable, or switch polarity at the desk.",
					t.Channel, x.Track.Channel),
			})
		}
	}
	return found
}

// twoSides reports whether two names are the left and the right of one thing.
func twoSides(left, right string) bool {
	l, r := strings.Fields(strings.ToLower(left)), strings.Fields(strings.ToLower(right))
	if len(l) != len(r) {
		return false
	}
	sides := 0
	for i := range l {
		switch {
		case l[i] == r[i]:
		case (l[i] == "l" || l[i] == "left") && (r[i] == "r" || r[i] == "right"):
			sides++
		default:
			return false
		}
	}
	return sides == 1
}

func names(n *Night, voices []int) string {
	var all []string
	for _, v := range voices {
		all = append(all, n.Sound.Voices[v].Track.Channel)
	}
	switch len(all) {
	case 1:
		return all[0]
	case 2:
		return all[0] + " and " + all[1]
	}
	return all[0] + ", " + all[1] + " and others"
}

func otherNights(nights int) string {
	if nights == 1 {
		return "the other night"
	}
	return fmt.Sprintf("%d other nights", nights)
}
