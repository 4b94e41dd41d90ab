package linecheck

import (
	"cmp"
	"slices"

	"nightreel/internal/findings"
	"nightreel/internal/stats"
)

// Of inputs that are played in turn only their sound tells whether they are
// exchanged: each is like the other one's channel on the tour, and unlike its own.
const (
	// crossLeast is how many times farther from its own channel than from the other
	// one's each of two exchanged inputs is, and crossBoth both times together.
	crossLeast = 1.1
	crossBoth  = 2.2
	// alikeDB is how far apart two channels lie on the tour that nothing of a few
	// seconds can tell apart, if what each does itself is no nearer.
	alikeDB = 4.5
)

// heard is what an input sounds like beside its channel on the tour.
type heard struct {
	now   timbre
	usual manner
	alive bool
	// everyone tells that it hears the others too when they are played in turn.
	everyone bool
}

// nearer returns how many times farther the input lies from its own channel than
// from another's; NaN where that is not known.
func (h *heard) nearer(o *heard) float64 { return h.usual.unlike(&h.now) / o.usual.unlike(&h.now) }

// exchanged returns the pairs of voices that are exchanged, each voice at most
// once, the clearest first: those that sound so, and those that are told by
// something else, if their sound does not speak against it.
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
			case min(first, second) >= crossLeast && first*second >= crossBoth && between(&x.usual, &y.usual) > alikeDB,
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

// between returns how far apart two channels are on the tour, in dB; NaN where
// that is not known.
func between(a, b *manner) float64 {
	var d []float64
	for i := range a.nights {
		d = append(d, b.unlike(&a.nights[i]))
	}
	return stats.Median(d)
}

// alike returns the pairs of channels that are played, and that sound so alike on
// the tour that a few seconds do not tell them apart.
func alike(inputs []heard) (pairs []findings.Pair) {
	for a := range inputs {
		for b := a + 1; b < len(inputs); b++ {
			x, y := &inputs[a], &inputs[b]
			if x.alive && y.alive && !x.everyone && !y.everyone && between(&x.usual, &y.usual) <= min(alikeDB, max(x.usual.half, y.usual.half)) {
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
