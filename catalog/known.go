package catalog

import (
	"context"
	"slices"
	"strings"
)

// FindingKinds are all kinds of findings, in order of name.
var FindingKinds = []FindingKind{Clipped, Crackle, DCOffset, Dead, Dropout, Duplicate, FlatTop, GainChange, Hum, MissingTrack, Polarity, ShortTrack, Swapped, UnfinishedFile, WentSilent}

// Words returns the kind as a person reads it: "went silent".
func (k FindingKind) Words() string {
	if k == DCOffset {
		return "DC offset"
	}
	return strings.ReplaceAll(string(k), "_", " ")
}

// ParseFindingKind parses a kind of finding in the form for scripts or for
// people. The error is *[NotFoundError] with similar kinds.
func ParseFindingKind(word string) (FindingKind, error) {
	known := make([]string, len(FindingKinds))
	for i, k := range FindingKinds {
		if string(k) == word || strings.EqualFold(k.Words(), word) {
			return k, nil
		}
		known[i] = string(k)
	}
	return "", NotFound("kind of finding", word, known, "")
}

// KnowsRig returns *[NotFoundError] unless a recording or an input list has a
// rig of this name.
func (s *Store) KnowsRig(ctx context.Context, rig string) error {
	rigs, err := list(ctx, s.db, "SELECT rig FROM recordings WHERE rig <> '' UNION SELECT rig FROM input_lists WHERE rig <> '' ORDER BY rig", nil,
		func(row scanner) (rig string, err error) { return rig, row.Scan(&rig) })
	if err != nil || slices.Contains(rigs, rig) {
		return err
	}
	return NotFound("rig", rig, rigs, "nightreel shows lists the rigs of every show")
}

// KnowsChannel returns *[NotFoundError] unless a track or an input list has a
// channel of this name, as [SameName] compares.
func (s *Store) KnowsChannel(ctx context.Context, channel string) error {
	tracks, err := s.Tracks(ctx, TrackFilter{})
	if err != nil {
		return err
	}
	known := []string{}
	for _, t := range tracks {
		if SameName(t.Channel, channel) {
			return nil
		}
		known = append(known, t.Channel)
	}
	lists, err := s.InputLists(ctx)
	if err != nil {
		return err
	}
	for _, l := range lists {
		for _, in := range l.Inputs {
			if SameName(in.Channel, channel) {
				return nil
			}
			known = append(known, in.Channel)
		}
	}
	return NotFound("channel", channel, known, "nightreel inputs show --show DATE lists the channels of a show")
}
