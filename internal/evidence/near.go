// Package evidence holds what is known of a show when it is judged, and the one
// rule by which a show is compared with other shows.
package evidence

import (
	"cmp"
	"slices"
	"time"

	"nightreel/catalog"
)

// Near returns the k shows of all that are nearest to a show, which is not among
// them: by days apart, then by date, then by address. The result depends on the
// set alone, not on its order.
func Near(all []catalog.ShowKey, show catalog.ShowKey, k int) []catalog.ShowKey {
	near := slices.DeleteFunc(slices.Clone(all), func(s catalog.ShowKey) bool { return s == show })
	slices.SortFunc(near, func(a, b catalog.ShowKey) int {
		return cmp.Or(cmp.Compare(DaysApart(a, show), DaysApart(b, show)), cmp.Compare(a, b))
	})
	near = slices.Compact(near)
	return near[:min(k, len(near))]
}

// DaysApart returns how many days lie between two shows.
func DaysApart(a, b catalog.ShowKey) int {
	day := func(s catalog.ShowKey) int {
		t, err := time.Parse(time.DateOnly, string(s.Date()))
		if err != nil {
			return 0 // the store checks dates
		}
		return int(t.Unix() / (24 * 60 * 60))
	}
	d := day(a) - day(b)
	return max(d, -d)
}
