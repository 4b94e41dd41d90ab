package songs

import (
	"math/rand/v2"
	"slices"
	"testing"
)

// randomBand is a band that plays a new chord every two seconds.
func randomBand(rng *rand.Rand, seconds int) []chroma {
	band := make([]chroma, seconds)
	for i := range band {
		if i%2 == 1 {
			band[i] = band[i-1]
			continue
		}
		for k := range band[i] {
			band[i][k] = float32(rng.NormFloat64())
		}
		normalise(&band[i])
	}
	return band
}

// TestResemble: a take is matched within a night in which it is faster and has a
// round more; the music around it is not matched.
func TestResemble(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 3))
	song := randomBand(rng, 160)
	night := randomBand(rng, 100)
	faster := func(from, to int) {
		for x := float64(from); x < float64(to); x += 1.08 {
			night = append(night, song[int(x)])
		}
	}
	faster(0, 96)
	again := len(night)
	faster(64, 160) // the second half of the middle once more
	end := len(night)
	night = append(night, randomBand(rng, 100)...)
	busy := slices.Repeat([]bool{true}, len(night))
	l := resemble(night, busy, []reference{{plays: song}})[0]
	mean := func(from, to int) float32 {
		sum := float32(0)
		for _, v := range l.like[from:to] {
			sum += v
		}
		return sum / float32(to-from)
	}
	if inside, before, after := mean(100, end), mean(0, 95), mean(end+5, len(night)); inside < 0.8 || before > 0.5 || after > 0.5 {
		t.Errorf("likeness is %.2f in the song, %.2f before and %.2f after it", inside, before, after)
	}
	for _, at := range []struct{ second, want int }{{120, 21}, {again + 20, 64 + 21}} {
		if got := int(l.at[at.second]); got < at.want-2 || got > at.want+2 {
			t.Errorf("second %d is at second %d of the reference, want %d", at.second, got, at.want)
		}
	}
	quiet := resemble(night, make([]bool, len(night)), []reference{{plays: song}})[0]
	if slices.Max(quiet.like) != 0 {
		t.Error("computed seconds that are not busy")
	}
	if got := resemble(nil, nil, []reference{{plays: song}, {}}); len(got) != 2 || len(got[0].like) != 0 {
		t.Errorf("an empty night has likeness %v", got)
	}
}

func TestCutAt(t *testing.T) {
	music := []stretch{{from: 0, to: 2000, cut: 1}, {from: 2100, to: 2500, cut: 0.2}}
	got := cutAt(music, []cut{{1000, 0.4}, {1950, 0.9}, {2120, 0.6}, {2300, 0.5}})
	var parts [][2]int
	for _, s := range got {
		parts = append(parts, [2]int{s.from, s.to})
	}
	// A cut that would leave too short a piece is dropped; one where a stretch
	// begins makes that beginning likelier.
	if want := [][2]int{{0, 1000}, {1000, 2000}, {2100, 2300}, {2300, 2500}}; !slices.Equal(parts, want) {
		t.Errorf("stretches are %v, want %v", parts, want)
	}
	if got[1].cut != 0.4 || got[2].cut != 0.6 || music[0].to != 2000 {
		t.Errorf("cuts are %+v", got)
	}
}

func TestCourse(t *testing.T) {
	n := 200
	best := [][]float32{make([]float32, n), make([]float32, n)}
	for t := range n {
		best[0][t], best[1][t] = 0.3, 0.3
		switch {
		case t < 80:
			best[0][t] = 0.65
		case t < 140:
			best[1][t] = 0.65
		}
		if t == 40 { // a second that matches by chance
			best[1][t] = 0.9
		}
	}
	path := songPath(best, 0, n)
	for k, want := range map[int]int{10: 0, 40: 0, 75: 0, 85: 1, 130: 1, 160: -1} {
		if path[k] != want {
			t.Errorf("second %d is song %d, want %d", k, path[k], want)
		}
	}
	if songPath(best, 5, 5) != nil {
		t.Error("an empty night has a path")
	}
}
