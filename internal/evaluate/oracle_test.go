package evaluate

import (
	"math"
	"testing"
)

// The probabilities of all ways in which a band may depart from its list add up
// to 1.
func TestDepartures(t *testing.T) {
	sum, kept := 0.0, 0.0
	for n := range 8 {
		departures(4, n, func(played []int, weight float64) {
			sum += weight
			if n == 4 && played[0] == 0 && played[1] == 1 && played[2] == 2 && played[3] == 3 {
				kept += weight
			}
		})
	}
	if math.Abs(sum-1) > 1e-9 {
		t.Errorf("the ways add up to %v", sum)
	}
	if want := (1 - unplayedShare) * (1 - swappedShare) * (1 - extraShare) * (1 - twiceShare); math.Abs(kept-want) > 1e-9 {
		t.Errorf("the list is kept with a probability of %v, want %v", kept, want)
	}
}

// With a list of one, only a take that is not on it remains unknown.
func TestByListAlone(t *testing.T) {
	if v := byListAlone(1); v < 0.9 || v > 1 {
		t.Errorf("a list of one gives %v", v)
	}
	if one, many := byListAlone(4), byListAlone(8); !(one > 0.6 && many > 0.6 && one < 1 && many < 1) {
		t.Errorf("lists of four and eight give %v and %v", one, many)
	}
}

// If a night keeps to its list, the list gives all titles. If a song was played
// twice, it takes the knowledge which takes are one song. A second night
// resolves what the first leaves open.
func TestOracle(t *testing.T) {
	list := []string{"a", "b", "c", "d", "e"}
	of := func(songs ...string) *night {
		n := &night{list: list}
		for _, s := range songs {
			n.played = append(n.played, Played{Song: s})
		}
		return n
	}
	for _, c := range []struct {
		name                 string
		night                *night
		first, repeat, again int // right on the first night
	}{
		{"as the list", of("a", "b", "c", "d", "e"), 5, 5, 5},
		{"one twice", of("a", "a", "b", "c", "d", "e"), 4, 6, 6},
		{"one left out", of("b", "c", "d", "e"), 2, 2, 4},
	} {
		var r OracleReport
		r.tour(&tour{nights: []*night{c.night}})
		if r.First.Hits != c.first || r.Repeat.Hits != c.repeat {
			t.Errorf("%s: %d right by the list, %d with repeats known, want %d and %d", c.name, r.First.Hits, r.Repeat.Hits, c.first, c.repeat)
		}
		second := of("a", "b", "c", "d", "e")
		r = OracleReport{}
		r.tour(&tour{nights: []*night{c.night, second}})
		if want := c.again + 5; r.Again.Hits != want {
			t.Errorf("%s: %d right when the next night is known, want %d", c.name, r.Again.Hits, want)
		}
	}
}
