package linecheck

import (
	"cmp"
	"slices"

	"nightreel/internal/findings"
	"nightreel/internal/stats"
)

// crossLimits are the thresholds of inputs whose sound alone tells that they are
// exchanged.
var crossLimits = struct {
	// Least is how many times farther each of two exchanged inputs must be from its own
	// channel than from the other one's, and Both the product of both.
	Least float64 `unit:"times" source:"chosen"`
	Both  float64 `unit:"times" source:"chosen"`

	// AlikeDB is the distance between two channels on the tour up to which a few seconds
	// cannot tell them apart, unless each varies less by itself.
	AlikeDB float64 `unit:"dB" source:"chosen"`
}{
	Least:   1.1,
	Both:    2.2,
	AlikeDB: 4.5,
}

// heard is the sound of an input beside that of its channel on the tour.
type heard struct {
	now   timbre
	usual manner
	alive bool
	// everyone means that the input picks up the others too when they are played
	// in turn.
	everyone bool
}

// nearer returns how many times farther the input is from its own channel than
// from another's; NaN if either distance is unknown.
func (h *heard) nearer(o *heard) float64 { return h.usual.unlike(&h.now) / o.usual.unlike(&h.now) }

// exchanged returns the pairs of voices that are exchanged, the clearest first,
// each voice at most once. These are the pairs whose sound is crosswise, and
// those in told, which come from another method, unless their sound contradicts
// it.
func exchanged(inputs []heard, told []findings.Pair) []findings.Pair {
	type crossed struct {
		findings.Pair
		by float64
	}
	var all []crossed
	for a := range inputs {
		for b := a + 1; b < len(inputs); b++ {
			x, y := &inputs[a], &inputs[b]
			if !x.alive || !y.alive {
				continue
			}
			first, second := x.nearer(y), y.nearer(x)
			switch p := (findings.Pair{A: a, B: b}); {
			case min(first, second) >= crossLimits.Least && first*second >= crossLimits.Both && between(&x.usual, &y.usual) > crossLimits.AlikeDB,
				min(first, second) >= 1 && slices.Contains(told, p):
				all = append(all, crossed{p, first * second})
			}
		}
	}
	slices.SortStableFunc(all, func(p, q crossed) int { return cmp.Compare(q.by, p.by) })
	var found []findings.Pair
	taken := map[int]bool{}
	for _, p := range all {
		if !taken[p.A] && !taken[p.B] {
			taken[p.A], taken[p.B] = true, true
			found = append(found, p.Pair)
		}
	}
	return found
}

// between returns the distance of two channels on the tour, in dB; NaN if
// unknown.
func between(a, b *manner) float64 {
	var d []float64
	for i := range a.nights {
		d = append(d, b.unlike(&a.nights[i]))
	}
	return stats.Median(d)
}

// alike returns the pairs of played channels whose sounds on the tour are too
// similar for a few seconds to tell them apart.
func alike(inputs []heard) (pairs []findings.Pair) {
	for a := range inputs {
		for b := a + 1; b < len(inputs); b++ {
			x, y := &inputs[a], &inputs[b]
			if x.alive && y.alive && !x.everyone && !y.everyone && between(&x.usual, &y.usual) <= min(crossLimits.AlikeDB, max(x.usual.half, y.usual.half)) {
				pairs = append(pairs, findings.Pair{A: a, B: b})
			}
		}
	}
	return pairs
}

// AlikeGroups returns the channels of inputs that are alike, each group's in order
// of track.
func (r *Report) AlikeGroups() (groups [][]string) {
	done := map[string]bool{}
	for i := range r.Inputs {
		if done[r.Inputs[i].Channel] || len(r.Inputs[i].Alike) == 0 {
			continue
		}
		in := map[string]bool{r.Inputs[i].Channel: true}
		for grown := true; grown; {
			before := len(in)
			for _, o := range r.Inputs {
				for _, name := range o.Alike {
					if in[o.Channel] {
						in[name] = true
					}
				}
			}
			grown = len(in) > before
		}
		var group []string
		for _, o := range r.Inputs {
			if in[o.Channel] {
				group = append(group, o.Channel)
				done[o.Channel] = true
			}
		}
		groups = append(groups, group)
	}
	return groups
}
