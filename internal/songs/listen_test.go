package songs_test

import (
	"context"
	"math/rand/v2"
	"strings"
	"testing"

	"nightreel/catalog"
)

// TestTalkIsNoSong: ten minutes of talk, tuning and line check before the band
// plays hold no song.
func TestTalkIsNoSong(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	n := playNight(rng, night, 600, nil)
	set := func(c int, fromS, toS int, db, chance float64) {
		for i := fromS * 10; i < toS*10; i++ {
			if rng.Float64() < chance {
				n.levels[c][i] = max(n.levels[c][i], db+3*rng.NormFloat64())
			}
		}
	}
	set(8, 60, 400, -26, 0.6)  // a speech, on the lead vocal
	set(6, 150, 260, -30, 0.7) // a guitar is tuned
	set(0, 280, 320, -20, 0.2) // a kick is checked
	set(10, 0, 600, -25, 0.3)  // the audience
	set(7, 450, 455, -30, 1)   // keys are tried
	set(5, 452, 456, -28, 1)   // with a bass
	set(8, 450, 460, -30, 0.5) // over talk
	set(2, 452, 458, -40, 0.8) // and a hat
	set(3, 452, 458, -45, 0.8) // in the overheads
	set(4, 452, 458, -45, 0.8) //
	store := openStore(t)
	n.store(t, store)
	p := place(t, store)
	if len(p.Takes)+len(p.Unnamed) > 0 {
		t.Errorf("songs in a night of talk: %v %v", lines(p.Takes), p.Unnamed)
	}
}

// TestAudienceMicrophoneByBehaviour: an audience microphone without a telling
// name, louder in the pauses than in the songs, moves no boundary.
func TestAudienceMicrophoneByBehaviour(t *testing.T) {
	store := openStore(t)
	n := threeSongs()
	for k := range 3 {
		l := make([]float64, len(n.levels[0]))
		for i := range l {
			if n.levels[0][i] < -60 {
				l[i] = -20
			} else {
				l[i] = -50
			}
		}
		n.channels = append(n.channels, "Extra "+string(rune('A'+k)))
		n.levels = append(n.levels, l)
	}
	n.store(t, store)
	saveSetList(t, store, night, []string{"A", "B", "C"})
	wantTakes(t, place(t, store).Takes, "A 30.0–90.0 music", "B 110.0–200.0 music", "C 230.0–300.0 music")
}

// TestUnmeasuredTracks: tracks that a scan has not measured yet are reported,
// and the others suffice to find the songs.
func TestUnmeasuredTracks(t *testing.T) {
	ctx := context.Background()
	store := openStore(t)
	rec := threeSongs().store(t, store)
	tracks, err := store.Tracks(ctx, catalog.TrackFilter{Recording: rec.ID})
	if err != nil {
		t.Fatal(err)
	}
	if err := store.DropParts(ctx, catalog.PartFilter{Track: tracks[2].ID, From: 3}, nil, 0); err != nil {
		t.Fatal(err)
	}
	saveSetList(t, store, night, []string{"A", "B", "C"})
	p, err := placeShow(ctx, store, night)
	if err != nil {
		t.Fatal(err)
	}
	wantTakes(t, p.Takes, "A 30.0–90.0 music", "B 110.0–200.0 music", "C 230.0–300.0 music")
	if len(p.Problems) != 1 || !strings.HasPrefix(p.Problems[0], "1 of 4 tracks") {
		t.Errorf("problems are %q", p.Problems)
	}
}
