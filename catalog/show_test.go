package catalog

import (
	"slices"
	"testing"
)

// Shows of a date without clocks come in the order in which such shows are usually
// played.
func TestShowsWithoutClocksInTheirUsualOrder(t *testing.T) {
	s := testStore(t)
	for _, name := range []string{"late", "stage b", "evening", "soundcheck", "matinee"} {
		must(s.EnsureShow(t.Context(), Show{Date: "2031-08-01", Name: name}))(t)
	}
	var got []string
	for _, sh := range must(s.Shows(t.Context(), ShowFilter{}))(t) {
		got = append(got, sh.Name)
	}
	if want := []string{"matinee", "soundcheck", "evening", "late", "stage b"}; !slices.Equal(got, want) {
		t.Errorf("%v, want %v", got, want)
	}
}
