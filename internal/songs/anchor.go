package songs

import (
	"context"
	"encoding/json"

	"nightreel/catalog"
)

// anchor is what speaks for a take's title beside its sound: the set list and
// its order. A title that one night learned from another by sound and gave on
// to a third must not come back as if somebody had confirmed it; so what a
// reference is worth is its anchor, not how sure the take is.
type anchor struct {
	Key   string  `json:"key"` // of the title
	Start int64   `json:"start"`
	End   int64   `json:"end"`
	P     float64 `json:"p"` // probability that the title is right, by the list alone
}

const anchorsKind catalog.DerivedKind = "song anchors"

func anchorsKey(rec catalog.Recording) catalog.DerivedKey {
	return catalog.DerivedKey{Recording: rec.ID, Kind: anchorsKind, End: rec.Frames}
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

// trust returns the probability that a take's title is right without its sound.
func trust(t catalog.Take, anchors []anchor) float64 {
	if t.FoundBy != catalog.ByMusic {
		return t.Confidence
	}
	best := 0.0
	key, middle := catalog.Key(t.Song), (t.StartFrame+t.EndFrame)/2
	for _, a := range anchors {
		if a.Key == key && a.Start <= middle && middle < a.End {
			best = max(best, a.P)
		}
	}
	return best
}
