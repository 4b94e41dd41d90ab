package songs

import (
	"context"
	"encoding/json"
	"math"

	"nightreel/catalog"
)

// anchor is what the set list and its order say about a stretch of a night, for
// other nights to know its songs by. A title that one night learned from another
// by sound and gave on to a third must not come back as if somebody had
// confirmed it; so what a take is called tells others nothing, its anchors do.
type anchor struct {
	Start  int64              `json:"start"`
	End    int64              `json:"end"`
	Titles map[string]float64 `json:"titles"` // the probability of each title, by key
}

const anchorsKind catalog.DerivedKind = "song titles"

const (
	// byOrder is the probability that a night is what an alignment takes it for:
	// an order that was mostly kept.
	byOrder = 0.9
	// swapped is the probability that a title changed places with the next.
	swapped = 0.03
	// leastAnchor is the probability below which a title is not kept.
	leastAnchor = 0.005
)

func anchorsKey(rec catalog.Recording) catalog.DerivedKey {
	return catalog.DerivedKey{Recording: rec.ID, Kind: anchorsKind, End: rec.Frames}
}

// anchor keeps what a list says about stretches: of[i][t] is the probability
// that stretch i holds title t.
func (n *night) anchor(list []int, titles []wanted, music []stretch, of [][]float64) {
	for i, s := range music {
		a := anchor{Start: n.frame(s.from), End: n.frame(s.to), Titles: map[string]float64{}}
		add := func(t int, p float64) { a.Titles[catalog.Key(titles[t].title)] += byOrder * p }
		for k, t := range list {
			p := of[i][t]
			if k > 0 {
				add(list[k-1], swapped*p)
				p -= swapped * of[i][t]
			}
			if k+1 < len(list) {
				add(list[k+1], swapped*p)
				p -= swapped * of[i][t]
			}
			add(t, p)
		}
		for key, p := range a.Titles {
			if p < leastAnchor {
				delete(a.Titles, key)
				continue
			}
			a.Titles[key] = math.Round(1000*p) / 1000
		}
		n.anchors = append(n.anchors, a)
	}
}

// keepAnchors stores what speaks for the night's takes.
func (n *night) keepAnchors(ctx context.Context, store *catalog.Store) error {
	data, err := json.Marshal(n.anchors)
	if err != nil {
		return err
	}
	key := anchorsKey(n.ref)
	old, edition, err := store.Derived(ctx, key)
	if err != nil || string(old) == string(data) {
		return err
	}
	return store.PutDerived(ctx, key, edition, data)
}

// anchorsOf returns what speaks for the takes of another night; none where that
// was never placed.
func anchorsOf(ctx context.Context, store *catalog.Store, rec catalog.Recording) ([]anchor, error) {
	data, _, err := store.Derived(ctx, anchorsKey(rec))
	if err != nil || data == nil {
		return nil, err
	}
	var all []anchor
	if json.Unmarshal(data, &all) != nil {
		return nil, nil // of another edition of this program
	}
	return all, nil
}

// titlesOf returns the probability of each title, by key, that a take is known
// to have without its sound.
func titlesOf(t catalog.Take, anchors []anchor) map[string]float64 {
	key := catalog.Key(t.Song)
	switch t.FoundBy {
	case catalog.ByPerson:
		return map[string]float64{key: 1 - leastDoubt}
	case catalog.ByMusic:
	default:
		return map[string]float64{key: t.Confidence}
	}
	titles := map[string]float64{}
	for _, a := range anchors {
		share := float64(min(a.End, t.EndFrame)-max(a.Start, t.StartFrame)) / float64(t.EndFrame-t.StartFrame)
		if share <= 0 {
			continue
		}
		for key, p := range a.Titles {
			titles[key] += share * p
		}
	}
	return titles
}
