package songs

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"nightreel/catalog"
)

// TestAlignIsTheSumOfAllWays compares the alignment with an enumeration of every
// possible way: it finds the likeliest, and a likelihood is the share of the
// ways that agree with it.
func TestAlignIsTheSumOfAllWays(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 2))
	for range 60 {
		titles := make([]wanted, 1+rng.IntN(3))
		for i := range titles {
			if rng.IntN(2) == 0 {
				titles[i].blocks = 100 + 900*rng.Float64()
			}
		}
		var music []stretch
		at := 0
		for range 1 + rng.IntN(4) {
			s := stretch{from: at, to: at + 10 + rng.IntN(900), cut: rng.Float64()}
			music = append(music, s)
			at = s.to + rng.IntN(100)
		}
		music[0].cut = 1
		list := make([]int, 0, len(titles))
		for i := range titles {
			if rng.IntN(4) > 0 { // the others are known, and not on the list
				list = append(list, i)
			}
		}
		var heard recognition
		for range rng.IntN(len(titles) + 1) {
			sum := make(likenessSum, at/10+2)
			for k := range sum[1:] {
				sum[k+1] = sum[k] + rng.Float64()
			}
			song := heardSong{takes: []likenessSum{sum}, titles: make([]float64, len(titles)), none: 1}
			for i := range titles { // it may have any of the titles, or none
				if rng.IntN(2) == 0 {
					song.titles[i] = song.none * rng.Float64()
					song.none -= song.titles[i]
				}
			}
			heard.songs = append(heard.songs, song)
		}
		l := newLattice(list, titles, music, heard)

		type way struct {
			weight float64
			placed []placing
		}
		var ways []way
		var walk func(i, j int, w way)
		walk = func(i, j int, w way) {
			if i == len(music) && j == len(list) {
				ways = append(ways, w)
				return
			}
			l.steps(i, j, func(i1, j1 int, weight float64, title int) {
				next := way{w.weight + weight, slices.Clip(w.placed)}
				if title != noTitle {
					next.placed = append(next.placed, placing{title: title, from: i, to: i1})
				}
				walk(i1, j1, next)
			})
		}
		walk(0, 0, way{})
		best, sum := math.Inf(-1), 0.0
		for _, w := range ways {
			best = max(best, w.weight)
			sum += math.Exp(w.weight)
		}
		got, of := align(list, titles, music, heard)
		for i := range music {
			for k := range titles {
				agree := 0.0
				for _, w := range ways {
					if slices.ContainsFunc(w.placed, func(q placing) bool { return q.title == k && q.from <= i && i < q.to }) {
						agree += math.Exp(w.weight)
					}
				}
				if math.Abs(agree/sum-of[i][k]) > 1e-9 {
					t.Fatalf("probability that stretch %d holds title %d is %v, want %v", i, k, of[i][k], agree/sum)
				}
			}
		}
		// If several ways are equally likely, any of them is right.
		same := func(a, b placing) bool { return a.title == b.title && a.from == b.from && a.to == b.to }
		if !slices.ContainsFunc(ways, func(w way) bool { return w.weight > best-1e-9 && slices.EqualFunc(w.placed, got, same) }) {
			t.Fatalf("placed %+v, want the likeliest of %d ways", got, len(ways))
		}
		for _, p := range got {
			agree := 0.0
			for _, w := range ways {
				if slices.ContainsFunc(w.placed, func(q placing) bool {
					return q.title == p.title && q.from <= l.middle(p) && l.middle(p) < q.to
				}) {
					agree += math.Exp(w.weight)
				}
			}
			if math.Abs(agree/sum-p.likelihood) > 1e-9 {
				t.Fatalf("likelihood of %+v, want %v", p, agree/sum)
			}
		}
	}
}

func TestAlignOfNothing(t *testing.T) {
	if got, _ := align(nil, nil, []stretch{{from: 0, to: 100, cut: 1}}, recognition{}); len(got) > 0 {
		t.Errorf("placed %v", got)
	}
	if got, _ := align([]int{0}, []wanted{{title: "A"}}, nil, recognition{}); len(got) > 0 {
		t.Errorf("placed %v", got)
	}
}

func TestStretches(t *testing.T) {
	// share builds an activity from pairs of a number of blocks and their share.
	share := func(pairs ...float64) activity {
		var a activity
		for i := 0; i < len(pairs); i += 2 {
			for range int(pairs[i]) {
				a.share = append(a.share, pairs[i+1])
			}
		}
		a.lines = make([]bool, len(a.share))
		return a
	}
	for _, tc := range []struct {
		name string
		a    activity
		want [][2]int
	}{
		{"nothing", share(), nil},
		{"silence", share(500, 0), nil},
		{"a song may fill the recording", share(500, 0.9), [][2]int{{0, 500}}},
		{"two songs", share(100, 0, 300, 0.9, 50, 0, 200, 0.8, 30, 0.1), [][2]int{{100, 400}, {450, 650}}},
		{"a soft start belongs to the song", share(100, 0, 40, 0.35, 300, 0.9, 50, 0), [][2]int{{100, 440}}},
		{"a thump is no song", share(100, 0, 5, 1, 100, 0, 300, 0.9, 50, 0), [][2]int{{205, 505}}},
		{"a dip separates two stretches at its deepest block", share(100, 0, 300, 0.9, 20, 0.4, 5, 0.3, 20, 0.4, 300, 0.9, 50, 0), [][2]int{{100, 420}, {420, 745}}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			var got [][2]int
			for i, s := range tc.a.stretches() {
				got = append(got, [2]int{s.from, s.to})
				if s.cut <= 0 || s.cut > 1 || (i == 0) != (s.cut == 1) {
					t.Errorf("cut before %v is %v", got[i], s.cut)
				}
			}
			if !slices.Equal(got, tc.want) {
				t.Errorf("stretches are %v, want %v", got, tc.want)
			}
		})
	}
}

func TestOffStage(t *testing.T) {
	for name, want := range map[string]bool{
		"Audience L": true, "AUD-R": true, "Crowd": true, "FOH Talkback": true, "Click": true, "Spare DI 2": true, "amb1": true,
		"Kick In": false, "Hat": false, "Overhead L": false, "Vox": false, "Clicky Synth": false, "Hallelujah Organ": false, "": false,
	} {
		if got := offStage(catalog.Track{Channel: name}); got != want {
			t.Errorf("%q: %v", name, got)
		}
	}
	if !offStage(catalog.Track{Channel: "Pair 3", Input: catalog.Input{Group: "audience"}}) {
		t.Error("the group says it is the audience")
	}
}

func TestListed(t *testing.T) {
	list := []catalog.SetListEntry{{Song: "A"}, {Song: "B"}, {Song: "A"}}
	for _, row := range []struct {
		song   string
		startS float64
		want   int
	}{{"a", 20, 0}, {"A", 500, 2}, {"B", 550, 1}, {"C", 20, -1}} {
		d := catalog.Dismissal{Song: row.song, StartS: row.startS, EndS: row.startS + 60}
		if got := listed(d, list, 600); got != row.want {
			t.Errorf("%s at %g s: line %d, want %d", row.song, row.startS, got, row.want)
		}
	}
}
