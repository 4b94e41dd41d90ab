package findings

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"nightreel/catalog"
	"nightreel/internal/channelsound"
)

// polarityLimits are the thresholds of polarity.
var polarityLimits = struct {
	// PairR is what two pickups must have in common, on both nights, for their polarity to be
	// known: chance reaches 0.1 over a minute of songs.
	PairR float64 `unit:"correlation" source:"measured"`

	// SameShape is how alike, up to its sign, the curve of a pair must be from night to night:
	// as long as neither pickup moves it is.
	SameShape float64 `unit:"correlation" source:"chosen"`

	// SamePlace is how high a turned curve must be, against its highest, where it was highest
	// before.
	SamePlace float64 `unit:"share" source:"chosen"`

	// SidesR is how strongly the two sides of one thing must disagree to be reported without
	// another night.
	SidesR float64 `unit:"correlation" source:"chosen"`
}{
	PairR:     0.18,
	SameShape: 0.55,
	SamePlace: 0.6,
	SidesR:    0.5,
}

// turn is what one other night says of one pair.
type turn struct {
	a, b int
	// weight is above 0 where the pair is as it was then, below where it is turned
	// over, by as much as both nights' pairs have in common: a pair that hears one
	// thing tells more than two that hear each other from afar.
	weight float64
}

// since is what one other night says.
type since struct {
	show  catalog.ShowKey
	turns []turn
	has   []bool // by voice: it was recorded then
}

// turns compares every pair's curve with that of each other night. Voices that
// were exchanged are left out, and those that carry another one's signal.
func turns(n *known) []since {
	out := map[int]bool{}
	for _, s := range n.swaps() {
		out[s.a], out[s.b] = true, true
	}
	for i := range n.Sound.Voices {
		out[i] = out[i] || slices.ContainsFunc(n.copies(), func(f catalog.Finding) bool {
			return f.Track == n.Sound.Voices[i].Track.Number || f.Partner() == n.Sound.Voices[i].Track.Number
		})
	}
	var nights []since
	for _, p := range n.Tour {
		l := newLikeness(n.Sound, p)
		s := since{show: showOf(p), has: make([]bool, len(l.of))}
		for a := range l.of {
			s.has[a] = l.of[a] >= 0 && !out[a]
			for b := range a {
				if !s.has[a] || !s.has[b] {
					continue
				}
				c := n.Sound.Curve(b, a)
				if c == nil {
					continue
				}
				// Most pairs hear nothing together: of those the other night is not asked.
				if r, _ := c.Peak(); math.Abs(r) < polarityLimits.PairR {
					continue
				}
				if w := turnOf(c, p.Curve(l.of[b], l.of[a])); w != 0 {
					s.turns = append(s.turns, turn{a: b, b: a, weight: w})
				}
			}
		}
		nights = append(nights, s)
	}
	return nights
}

// turnOf returns the weight of a turn by a pair's curves of tonight and of
// another night; 0 where they tell nothing.
func turnOf(c, d *channelsound.Curve) float64 {
	if c == nil || d == nil {
		return 0
	}
	r, _ := c.Peak()
	then, _ := d.Peak()
	heard := min(math.Abs(r), math.Abs(then))
	if heard < polarityLimits.PairR {
		return 0
	}
	cos := c.Cosine(d)
	if cos >= polarityLimits.SameShape || cos <= -polarityLimits.SameShape && opposed(c, d) && opposed(d, c) {
		return cos * heard
	}
	return 0
}

// showOf returns a night's date; a line check has none, and is of today.
func showOf(n *channelsound.Night) catalog.ShowKey {
	if len(n.Voices) == 0 || n.Voices[0].Track.Show == "" {
		return "9999-12-31"
	}
	return n.Voices[0].Track.Show
}

// opposed reports whether one curve is turned over where the other one is
// highest, and nearly as high as anywhere: a path keeps its length. Two
// instruments that play in one key are alike at another lag every night.
func opposed(c, d *channelsound.Curve) bool {
	top, at := 0.0, 0
	for i, v := range c.R {
		if math.Abs(v) > math.Abs(top) {
			top, at = v, i
		}
	}
	peak, _ := d.Peak()
	return top*d.R[at] < 0 && math.Abs(d.R[at]) >= polarityLimits.SamePlace*math.Abs(peak)
}

// polarity finds the channels that are turned over against their partners.
func polarity(n *known) []catalog.Finding {
	if n.Sound == nil {
		return nil
	}
	var found []catalog.Finding
	for _, v := range outvoted(showOf(n.Sound), turns(n)) {
		t := n.TrackOf(&n.Sound.Voices[v.voice])
		if t == nil {
			continue
		}
		alike := func(p int) float64 { r, _ := n.Sound.Curve(v.voice, p).Peak(); return r }
		slices.SortStableFunc(v.partners, func(x, y int) int { return cmp.Compare(math.Abs(alike(y)), math.Abs(alike(x))) })
		best := v.partners[0]
		found = append(found, catalog.Finding{
			Track: t.Number, Tracks: []int{t.Number, n.Sound.Voices[best].Track.Number}, Kind: catalog.Polarity, EndFrame: t.Frames, Severity: catalog.WarningSeverity,
			Evidence: catalog.Evidence{"correlation": alike(best), "partners": float64(len(v.partners)), "other_nights": float64(v.nights)},
			Text:     turnedText(t.Channel, names(n, v.partners), v),
		})
	}
	return append(found, sides(n, found)...)
}

func turnedText(channel, partners string, v turnedVoice) string {
	if v.nights > v.alike+1 {
		return fmt.Sprintf("%s is turned over in polarity against %s, compared with %s: look for a turned cable or a changed microphone, or switch polarity at the desk.",
			channel, partners, otherNights(v.nights))
	}
	return fmt.Sprintf("%s is turned over in polarity against %s, compared with %s, and no more nights tell which is right: look for a turned cable or a changed microphone, then or now.",
		channel, partners, otherNights(v.nights))
}

// sides tells of the two sides of one thing that disagree, where no other night
// can.
func sides(n *known, had []catalog.Finding) []catalog.Finding {
	var found []catalog.Finding
	for a := range n.Sound.Voices {
		for b := range n.Sound.Voices {
			x, y := &n.Sound.Voices[a], &n.Sound.Voices[b]
			if !twoSides(x.Track.Channel, y.Track.Channel) || len(n.Before(x.Track.Channel))+len(n.Before(y.Track.Channel)) > 0 {
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
			t := n.TrackOf(y)
			if r > -polarityLimits.SidesR || other > -r/2 || t == nil || slices.ContainsFunc(had, func(f catalog.Finding) bool { return f.Track == t.Number }) {
				continue
			}
			found = append(found, catalog.Finding{
				Track: t.Number, Tracks: []int{t.Number, x.Track.Number}, Kind: catalog.Polarity, EndFrame: t.Frames, Severity: catalog.WarningSeverity,
				Evidence: catalog.Evidence{"correlation": r, "partners": 1, "other_nights": 0},
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

func names(n *known, voices []int) string {
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
