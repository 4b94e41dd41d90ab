package findings

import (
	"slices"

	"nightreel/catalog"
)

// mostTurned bounds how many voices turned searches for. Chosen: an input list has
// hardly more, and the search stops by itself before.
const mostTurned = 64

// turned returns which voices' polarity explains the turned pairs of one night
// most briefly: again and again the one that most pairs speak against.
func turned(turns []turn) map[int]bool {
	over := map[int]bool{}
	for range mostTurned {
		votes := map[int]float64{}
		for _, t := range turns {
			w := t.weight
			if over[t.a] != over[t.b] {
				w = -w
			}
			votes[t.a] += w
			votes[t.b] += w
		}
		// Less than the weakest pair is no vote.
		worst, least := -1, -polarityLimits.PairR*polarityLimits.SameShape/2
		for _, v := range sortedKeys(votes) {
			if votes[v] < least || worst >= 0 && votes[v] == least && v > worst {
				worst, least = v, votes[v]
			}
		}
		if worst < 0 {
			break
		}
		over[worst] = !over[worst]
	}
	return over
}

// turnedVoice is a voice whose polarity tonight is not that of other nights.
type turnedVoice struct {
	voice    int
	partners []int // whom it is turned against
	nights   int   // on which it was the other way
	alike    int   // on which it was as tonight

	has         int             // nights that recorded it
	last, other catalog.ShowKey // the latest night that is as tonight, tonight included, and the latest other one
}

// outvoted returns the voices whose polarity is inverted against the other nights.
// Each other night votes for each voice. Tonight must be in the minority. On a tie,
// report the side that contains the latest night, so that each disagreement is
// reported once. If several nights have the voice, the vote of one is not enough.
func outvoted(tonight catalog.ShowKey, nights []since) []turnedVoice {
	found := map[int]*turnedVoice{}
	for _, s := range nights {
		for v, ok := range s.has {
			if found[v] == nil {
				found[v] = &turnedVoice{voice: v, last: tonight}
			}
			if ok {
				found[v].has++
			}
		}
		over := turned(s.turns)
		told := map[int]bool{}
		for _, t := range s.turns {
			told[t.a], told[t.b] = true, true
		}
		for v := range told {
			f := found[v]
			if !over[v] {
				f.alike++
				f.last = max(f.last, s.show)
				continue
			}
			f.nights++
			f.other = max(f.other, s.show)
			for _, t := range s.turns {
				if o := t.a + t.b - v; (t.a == v || t.b == v) && t.weight < 0 && !over[o] && !slices.Contains(f.partners, o) {
					f.partners = append(f.partners, o)
				}
			}
		}
	}
	var all []turnedVoice
	for _, v := range sortedKeys(found) {
		f := found[v]
		fewer := f.nights > f.alike+1 || f.nights == f.alike+1 && f.last > f.other
		if fewer && f.nights >= min(2, f.has) && len(f.partners) > 0 {
			all = append(all, *f)
		}
	}
	return all
}

func sortedKeys[V any](m map[int]V) []int {
	var keys []int
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}
