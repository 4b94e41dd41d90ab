package evidence

import (
	"context"
	"maps"
	"slices"

	"nightreel/catalog"
)

// neighbourLimits bound how many other shows count, and which.
var neighbourLimits = struct {
	// Shows is how many other shows a recording is compared with, and how many a channel: it
	// is enough to outvote one odd show, and costs a few tens of milliseconds of reading each.
	Shows int `unit:"shows" source:"chosen"`
}{
	Shows: 5,
}

// Neighbours are the other shows that a show is judged against. They are all that
// [Open] reads beside the show itself, and what the stamp of its findings is made
// of.
type Neighbours struct {
	show    catalog.ShowKey
	shows   []catalog.ShowKey
	holding map[string][]catalog.ShowKey
}

// NeighboursOf chooses the neighbours of a show: the nearest that were recorded, and
// for each channel of the show, given by its key, the nearest that hold it.
func NeighboursOf(show catalog.ShowKey, recorded []catalog.ShowKey, channels []string, holding map[string][]catalog.ShowKey) Neighbours {
	n := Neighbours{show: show, shows: Near(recorded, show, neighbourLimits.Shows), holding: map[string][]catalog.ShowKey{}}
	for _, channel := range channels {
		n.holding[channel] = Near(holding[channel], show, neighbourLimits.Shows)
	}
	return n
}

// FindNeighbours chooses the neighbours of a show from the catalog.
func FindNeighbours(ctx context.Context, store *catalog.Store, show catalog.ShowKey) (Neighbours, error) {
	shows, err := store.Shows(ctx, catalog.ShowFilter{})
	if err != nil {
		return Neighbours{}, err
	}
	tracks, err := store.Tracks(ctx, catalog.TrackFilter{})
	if err != nil {
		return Neighbours{}, err
	}
	var recorded []catalog.ShowKey
	for _, s := range shows {
		if len(s.Recordings) > 0 {
			recorded = append(recorded, s.Key)
		}
	}
	var channels []string
	holding := map[string][]catalog.ShowKey{}
	for _, t := range tracks {
		key := catalog.Key(t.Channel)
		holding[key] = append(holding[key], t.Show)
		if t.Show == show {
			channels = append(channels, key)
		}
	}
	return NeighboursOf(show, recorded, channels, holding), nil
}

// Shows returns the nearest shows that were recorded, the nearest first.
func (n Neighbours) Shows() []catalog.ShowKey { return n.shows }

// Holding returns the nearest shows that hold a channel of the show, given by its
// key, the nearest first; none for a channel that the show does not have.
func (n Neighbours) Holding(channel string) []catalog.ShowKey { return n.holding[channel] }

// All returns all neighbours, in order of their addresses.
func (n Neighbours) All() []catalog.ShowKey {
	chosen := map[catalog.ShowKey]bool{}
	for _, k := range n.shows {
		chosen[k] = true
	}
	for _, shows := range n.holding {
		for _, k := range shows {
			chosen[k] = true
		}
	}
	return slices.Sorted(maps.Keys(chosen))
}
