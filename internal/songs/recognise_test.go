package songs_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/songs"
)

// tune is a song as chords: one for each two seconds, twelve levels each.
type tune [][12]float32

func newTune(rng *rand.Rand, seconds int) tune {
	t := make(tune, seconds/2)
	for i := range t {
		root := rng.IntN(12)
		for _, up := range []int{0, 3 + rng.IntN(2), 7} {
			t[i][(root+up)%12] = 1
		}
	}
	return t
}

// sing plays a tune from a second of the night on, faster or slower, and returns
// where it ends.
func (n *fakeNight) sing(t tune, startS int, tempo float64) (endS int) {
	endS = startS + int(float64(2*len(t))/tempo)
	if need := endS - len(n.chords); need > 0 {
		n.chords = append(n.chords, make([][12]float32, need)...)
	}
	for s := startS; s < endS; s++ {
		n.chords[s] = t[min(len(t)-1, int(float64(s-startS)*tempo/2))]
	}
	return endS
}

// bandNight is a night of songs, each 20 s after the last.
func bandNight(date catalog.ShowKey, tempo float64, tunes ...tune) (fakeNight, [][2]int) {
	n := fakeNight{date: date}
	var spans [][2]int
	var music [][2]float64
	at := 30
	for _, t := range tunes {
		end := n.sing(t, at, tempo)
		spans = append(spans, [2]int{at, end})
		music = append(music, [2]float64{float64(at), float64(end)})
		at = end + 20
	}
	flat := flatNight(date, float64(at+20), music...)
	n.channels, n.levels = flat.channels, flat.levels
	return n, spans
}

func titles(takes []catalog.Take) string {
	var all []string
	for _, t := range takes {
		all = append(all, t.Song)
	}
	return strings.Join(all, ", ")
}

// TestKnownByItsSound: songs of earlier nights are named on a night without a
// set list, faster and in another order; an unknown song gets a number.
func TestKnownByItsSound(t *testing.T) {
	ctx := context.Background()
	rng := rand.New(rand.NewPCG(5, 5))
	var known []tune
	for range 6 {
		known = append(known, newTune(rng, 120+10*rng.IntN(6)))
	}
	store := openStore(t)
	var names []string
	for i := range known {
		names = append(names, fmt.Sprintf("Tune %c", 'A'+i))
	}
	for day := range 2 {
		date := catalog.ShowKey(fmt.Sprintf("2031-06-%02d", 10+day))
		n, spans := bandNight(date, 1+0.05*float64(day), known...)
		n.store(t, store)
		for i, s := range spans {
			if _, err := songs.Set(ctx, store, songs.SetRequest{Show: date, Song: names[i], StartS: float64(s[0]), EndS: float64(s[1])}); err != nil {
				t.Fatal(err)
			}
		}
	}
	n, spans := bandNight(night, 0.95, known[3], newTune(rng, 130), known[0], known[5], known[1])
	n.store(t, store)
	p := place(t, store)
	if got, want := titles(p.Takes), "Tune D, Song 2, 2031-07-01, Tune A, Tune F, Tune B"; got != want {
		t.Fatalf("found %s, want %s", got, want)
	}
	for i, take := range p.Takes {
		if s := float64(spans[i][0]) - take.StartS(); s > 1 || s < -1 {
			t.Errorf("%s starts %.1f s off", take.Song, s)
		}
		if i != 1 && take.Confidence < 0.9 {
			t.Errorf("%s is %.2f sure", take.Song, take.Confidence)
		}
	}
	again := place(t, store)
	if again.Added+again.Moved+again.Removed != 0 || !slices.Equal(again.Takes, p.Takes) {
		t.Errorf("placing again changed %v to %v", lines(p.Takes), lines(again.Takes))
	}
	// The set list has two titles in the wrong order, and one that was not
	// played.
	saveSetList(t, store, night, []string{"Tune A", "Tune D", "Tune F", "Tune C", "Tune B"})
	p = place(t, store)
	if got := titles(p.Takes); got != "Tune D, Tune A, Tune F, Tune B" {
		t.Errorf("by list and sound: %s", got)
	}
	if !slices.Equal(p.NotPlaced, []string{"Tune C"}) || len(p.Unnamed) != 1 {
		t.Errorf("not placed %v, unnamed %v", p.NotPlaced, p.Unnamed)
	}
}

// TestCorrectionIsLearned: a song that a person names on one night is recognised
// on the next.
func TestCorrectionIsLearned(t *testing.T) {
	ctx := context.Background()
	rng := rand.New(rand.NewPCG(6, 6))
	a, b := newTune(rng, 140), newTune(rng, 150)
	store := openStore(t)
	first, _ := bandNight("2031-06-30", 1, a, b)
	first.store(t, store)
	second, _ := bandNight(night, 1.06, b, a)
	second.store(t, store)
	saveSetList(t, store, "2031-06-30", []string{"B", "A"}) // in the wrong order
	if _, err := placeShow(ctx, store, "2031-06-30"); err != nil {
		t.Fatal(err)
	}
	takes, err := store.Takes(ctx, catalog.TakeFilter{Show: "2031-06-30"})
	if err != nil || len(takes) != 2 {
		t.Fatal(takes, err)
	}
	if got := titles(takes); got != "B, A" {
		t.Fatalf("by the list: %s", got)
	}
	for i, name := range []string{"A", "B"} {
		if _, err := songs.Set(ctx, store, songs.SetRequest{Show: "2031-06-30", Song: name, StartS: takes[i].StartS(), EndS: takes[i].EndS()}); err != nil {
			t.Fatal(err)
		}
	}
	if got := titles(place(t, store).Takes); got != "B, A" {
		t.Errorf("the next night is %s, want B, A", got)
	}
}

// TestSegue: two known songs without a pause between them become two takes.
func TestSegue(t *testing.T) {
	ctx := context.Background()
	rng := rand.New(rand.NewPCG(7, 7))
	a, b := newTune(rng, 140), newTune(rng, 150)
	store := openStore(t)
	first, spans := bandNight("2031-06-30", 1, a, b)
	first.store(t, store)
	for i, name := range []string{"A", "B"} {
		if _, err := songs.Set(ctx, store, songs.SetRequest{Show: "2031-06-30", Song: name, StartS: float64(spans[i][0]), EndS: float64(spans[i][1])}); err != nil {
			t.Fatal(err)
		}
	}
	n, _ := bandNight(night, 1, append(slices.Clone(a), b...))
	n.store(t, store)
	takes := place(t, store).Takes
	if got := titles(takes); got != "A, B" {
		t.Fatalf("found %v", lines(takes))
	}
	if at := takes[1].StartS(); at < 30+140-2 || at > 30+140+2 {
		t.Errorf("B starts at %.1f s, want 170", at)
	}
}
