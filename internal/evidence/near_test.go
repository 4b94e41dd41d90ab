package evidence

import (
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
