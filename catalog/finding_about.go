package catalog

import (
	"fmt"
	"slices"
	"strings"
)

// Tracks returns the numbers of the tracks that the finding tells of: its own, or
// the few that a finding without a track numbers in its evidence as track_1, track_2
// and so on. A MissingTrack is about none that there is; a dropout of the whole
// recorder numbers none.
func (f Finding) Tracks() []int {
	if f.Kind == MissingTrack {
		return nil
	}
	if f.Track != 0 {
		return []int{f.Track}
	}
	var numbers []int
	for {
		n, ok := f.Evidence[fmt.Sprint("track_", len(numbers)+1)]
		if !ok {
			return numbers
		}
		numbers = append(numbers, int(n))
	}
}

// Concerns reports whether the finding tells of a track: it is one of [Finding.Tracks],
// or the whole recorder dropped out.
func (f Finding) Concerns(track int) bool {
	tracks := f.Tracks()
	return slices.Contains(tracks, track) || f.Kind == Dropout && len(tracks) == 0
}

// About names what the finding is about, for a list: its channel, else how many
// share it.
func (f Finding) About() string {
	switch n := len(f.Tracks()); {
	case f.Channel != "":
		return f.Channel
	case n > 1:
		return fmt.Sprintf("%d channels", n)
	case n == 1:
		return "1 channel"
	}
	return "whole recording"
}

// shared writes the tracks of a finding without one of its own as the store keeps
// them.
func (f Finding) shared() string {
	if f.Track != 0 {
		return ""
	}
	return strings.Trim(fmt.Sprint(f.Tracks()), "[]")
}
