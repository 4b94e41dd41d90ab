package evidence

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"

	"nightreel/catalog"
)

func TestNearOrdersByDaysThenDateThenAddress(t *testing.T) {
	all := []catalog.ShowKey{"2031-05-01", "2031-05-03", "2031-05-04 evening", "2031-05-04 matinee", "2031-05-10", "2031-05-20"}
	for _, c := range []struct {
		show catalog.ShowKey
		k    int
		want []catalog.ShowKey
	}{
		{"2031-05-02", 2, []catalog.ShowKey{"2031-05-01", "2031-05-03"}},
		{"2031-05-04 matinee", 3, []catalog.ShowKey{"2031-05-04 evening", "2031-05-03", "2031-05-01"}},
		{"2031-05-21", 1, []catalog.ShowKey{"2031-05-20"}},
		{"2031-05-20", 9, []catalog.ShowKey{"2031-05-10", "2031-05-04 evening", "2031-05-04 matinee", "2031-05-03", "2031-05-01"}},
		{"2031-05-20", 0, []catalog.ShowKey{}},
	} {
		for range 20 {
			shuffled := append(slices.Clone(all), all[0])
			rand.Shuffle(len(shuffled), func(i, j int) { shuffled[i], shuffled[j] = shuffled[j], shuffled[i] })
			if got := Near(shuffled, c.show, c.k); !slices.Equal(got, c.want) {
				t.Fatalf("%s, %d: %v, want %v", c.show, c.k, got, c.want)
			}
		}
	}
}

// The neighbours of a show are the nearest recorded ones and, for each channel of it,
// the nearest that hold the channel; no other show can be asked for.
func TestNeighbours(t *testing.T) {
	day := func(d int) catalog.ShowKey { return catalog.ShowKey(fmt.Sprintf("2031-05-%02d", d)) }
	var recorded, guests []catalog.ShowKey
	for d := 1; d <= 28; d++ {
		recorded = append(recorded, day(d))
		if d%9 == 0 {
			guests = append(guests, day(d))
		}
	}
	n := NeighboursOf(day(10), recorded, []string{"kick", "guest", "never"}, map[string][]catalog.ShowKey{"kick": recorded, "guest": guests, "elsewhere": {day(28)}})
	for _, row := range []struct {
		what string
		got  []catalog.ShowKey
		want []int
	}{
		{"nearest shows", n.Shows(), []int{9, 11, 8, 12, 7}},
		{"shows with the kick", n.Holding("kick"), []int{9, 11, 8, 12, 7}},
		{"shows with the guest, far ones too", n.Holding("guest"), []int{9, 18, 27}},
		{"a channel that no show has", n.Holding("never"), nil},
		{"a channel that this show does not have", n.Holding("elsewhere"), nil},
		{"all of them", n.All(), []int{7, 8, 9, 11, 12, 18, 27}},
	} {
		var want []catalog.ShowKey
		for _, d := range row.want {
			want = append(want, day(d))
		}
		if !slices.Equal(row.got, want) {
			t.Errorf("%s: %v, want %v", row.what, row.got, want)
		}
	}
}
