package findings

import (
	"slices"
	"testing"

	"nightreel/catalog"
)

// PlantPanic makes the judge of a name panic until the test ends.
func PlantPanic(t testing.TB, name string) {
	before := slices.Clone(judges)
	t.Cleanup(func() { judges = before })
	i := slices.IndexFunc(judges, func(j judge) bool { return j.name == name })
	judges[i].find = func(n *known) []catalog.Finding { return plantedPanic(n, len(n.Tracks)) }
}

func plantedPanic(n *known, beyond int) []catalog.Finding {
	return []catalog.Finding{{Track: n.Tracks[beyond].Number}}
}
