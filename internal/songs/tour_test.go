package songs_test

import (
	"context"

	"nightreel/catalog"
	"nightreel/internal/songs"
)

// placeShow places a show with the Own of all other shows of the catalog.
func placeShow(ctx context.Context, store *catalog.Store, show catalog.ShowKey) (songs.Placed, error) {
	shows, err := store.Shows(ctx, catalog.ShowFilter{})
	if err != nil {
		return songs.Placed{}, err
	}
	tour := map[catalog.ShowKey]songs.Own{}
	for _, s := range shows {
		if tour[s.Key], err = songs.FindOwn(ctx, store, s.Key); err != nil {
			return songs.Placed{}, err
		}
	}
	return songs.Place(ctx, store, show, songs.References(tour, show))
}
