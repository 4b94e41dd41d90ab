package refresh

import (
	"fmt"
	"slices"
	"strings"

	"nightreel/catalog"
)

// mostNamed is how many songs are named of each kind of change; the rest is counted.
const mostNamed = 5

// changes lists the songs of a show that are new, changed and gone.
func changes(before, after []catalog.Take) string {
	byID := func(all []catalog.Take, id catalog.TakeID) int {
		return slices.IndexFunc(all, func(t catalog.Take) bool { return t.ID == id })
	}
	var added, moved, gone []string
	for _, t := range after {
		i := byID(before, t.ID)
		switch {
		case i < 0:
			added = append(added, at(t))
		case before[i].Song != t.Song:
			moved = append(moved, at(t)+", before "+before[i].Song)
		case before[i].StartFrame != t.StartFrame || before[i].EndFrame != t.EndFrame || before[i].RecordingID != t.RecordingID:
			moved = append(moved, fmt.Sprintf("%s, was at %s", at(t), catalog.Clock(before[i].StartS())))
		case before[i].FoundBy != t.FoundBy || before[i].Confidence != t.Confidence:
			moved = append(moved, fmt.Sprintf("%s, %.0f %% sure, was %.0f %%", at(t), 100*t.Confidence, 100*before[i].Confidence))
		}
	}
	for _, t := range before {
		if byID(after, t.ID) < 0 {
			gone = append(gone, at(t))
		}
	}
	var said []string
	for _, c := range []struct {
		what string
		of   []string
	}{{"new", added}, {"changed", moved}, {"gone", gone}} {
		if len(c.of) == 0 {
			continue
		}
		names := c.of[:min(len(c.of), mostNamed)]
		text := fmt.Sprintf("%d %s (%s", len(c.of), c.what, strings.Join(names, "; "))
		if more := len(c.of) - len(names); more > 0 {
			text += fmt.Sprintf("; and %d more", more)
		}
		said = append(said, text+")")
	}
	return strings.Join(said, ", ")
}

// at names a take by its song and its time in the night.
func at(t catalog.Take) string { return t.Song + " at " + catalog.Clock(t.StartS()) }
