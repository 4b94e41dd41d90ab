package catalog

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// Concerns reports whether the finding is about a track's own sound: it is the
// finding's track, or one of those that share it, or the whole recorder dropped
// out. The second track of a pair serves only as comparison.
func (f Finding) Concerns(track int) bool {
	switch {
	case f.Kind == MissingTrack:
		return false
	case f.Track != 0:
		return f.Track == track
	}
	return slices.Contains(f.Tracks, track) || f.Kind == Dropout && len(f.Tracks) == 0
}

// Partner returns the number of the track that the finding's own is compared
// with, 0 if there is none.
func (f Finding) Partner() int {
	if f.Track == 0 || len(f.Tracks) < 2 {
		return 0
	}
	return f.Tracks[1]
}

// About returns what the finding is about, for a list: its channel, or else how
// many tracks share it.
func (f Finding) About() string {
	switch n := len(f.Tracks); {
	case f.Channel != "":
		return f.Channel
	case n > 1:
		return fmt.Sprintf("%d channels", n)
	case n == 1:
		return "1 channel"
	}
	return "whole recording"
}

// withTracks returns the finding with its own track in [Finding.Tracks], if that
// is empty.
func (f Finding) withTracks() Finding {
	if f.Tracks == nil {
		f.Tracks = []int{}
	}
	if len(f.Tracks) == 0 && f.Track != 0 && f.Kind != MissingTrack {
		f.Tracks = []int{f.Track}
	}
	return f
}

// shared formats the tracks of a finding that several tracks share, by which
// acceptances and ids distinguish such findings; "" for all others.
func (f Finding) shared() string {
	if f.Track != 0 {
		return ""
	}
	return writeTracks(f.Tracks)
}

// sharedTracks is [Finding.shared] of a row f in SQL.
const sharedTracks = "CASE WHEN f.track = 0 THEN f.tracks ELSE '' END"

// writeTracks formats track numbers as the store keeps them: "1 2 5".
func writeTracks(tracks []int) string {
	return strings.Trim(fmt.Sprint(tracks), "[]")
}

// readTracks parses the result of writeTracks.
func readTracks(text string) ([]int, error) {
	var tracks []int
	for _, word := range strings.Fields(text) {
		n, err := strconv.Atoi(word)
		if err != nil {
			return nil, fmt.Errorf("could not read the tracks of a finding: %w", err)
		}
		tracks = append(tracks, n)
	}
	return tracks, nil
}
