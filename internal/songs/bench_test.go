package songs_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/songs"
)

// BenchmarkPlace finds the 25 songs of a night of 2.5 h and 64 channels, without
// a set list, among 40 songs known from 60 nights. The known nights hold only
// what the finder reads: one track's harmony, and the loudness of all 64.
func BenchmarkPlace(b *testing.B) {
	ctx := context.Background()
	rng := rand.New(rand.NewPCG(60, 25))
	store := openStore(b)
	var known []tune
	for range 40 {
		known = append(known, newTune(rng, 270+rng.IntN(120)))
	}
	set := func() (tunes []tune, names []string) {
		for _, i := range rng.Perm(len(known))[:25] {
			tunes, names = append(tunes, known[i]), append(names, fmt.Sprintf("Tune %d", i))
		}
		return tunes, names
	}
	for day := range 60 {
		date := catalog.ShowKey(fmt.Sprintf("2031-%02d-%02d", 2+day/28, 1+day%28))
		tunes, names := set()
		n, spans := bandNight(date, 0.94+0.12*rng.Float64(), tunes...)
		n.levels = n.levels[:1]
		for len(n.levels) < 64 {
			n.channels, n.levels = append(n.channels, fmt.Sprintf("Input %d", len(n.channels)+1)), append(n.levels, nil)
		}
		n.channels = n.channels[:64]
		rec := n.store(b, store)
		if err := songs.KeepLoudness(ctx, store, rec, 64); err != nil {
			b.Fatal(err)
		}
		var takes []catalog.Take
		for i, s := range spans {
			takes = append(takes, catalog.Take{Show: date, Song: names[i], RecordingID: rec.ID, StartFrame: rec.Frame(float64(s[0])), EndFrame: rec.Frame(float64(s[1])), FoundBy: catalog.ByPerson, Confidence: 1})
		}
		if err := store.EditTakes(ctx, nil, takes); err != nil {
			b.Fatal(err)
		}
	}
	tunes, _ := set()
	n, _ := bandNight(night, 1.02, tunes...)
	for len(n.levels) < 64 {
		n.channels, n.levels = append(n.channels, fmt.Sprintf("Input %d", len(n.levels)+1)), append(n.levels, n.levels[len(n.levels)%4])
	}
	rec := n.store(b, store)
	b.Logf("%.0f min, %d tracks", rec.Seconds(rec.Frames)/60, rec.Tracks)
	// The known nights' Own is computed beforehand; that of the new night is
	// part of the measured time.
	shows, err := store.Shows(ctx, catalog.ShowFilter{})
	if err != nil {
		b.Fatal(err)
	}
	tour := map[catalog.ShowKey]songs.Own{}
	for _, s := range shows {
		if tour[s.Key], err = songs.FindOwn(ctx, store, s.Key); err != nil {
			b.Fatal(err)
		}
	}
	b.Logf("%d references", len(songs.References(tour, night)))
	for b.Loop() {
		if tour[night], err = songs.FindOwn(ctx, store, night); err != nil {
			b.Fatal(err)
		}
		p, err := songs.Place(ctx, store, night, songs.References(tour, night))
		if err != nil {
			b.Fatal(err)
		}
		if len(p.Takes) != 25 {
			b.Fatalf("%d takes", len(p.Takes))
		}
	}
}
