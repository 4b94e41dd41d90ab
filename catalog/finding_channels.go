package catalog

import (
	"context"
	"fmt"
)

// channelsOf maps recording and track number to the channel.
type channelsOf struct {
	held   map[[2]int64]string // by the existing tracks
	listed map[[2]int64]string // by the input lists, even without a track
}

func (c channelsOf) of(f Finding) string {
	key := [2]int64{int64(f.RecordingID), int64(f.Track)}
	if name, ok := c.held[key]; ok && f.Kind != MissingTrack {
		return name
	}
	if name, ok := c.listed[key]; ok {
		return name
	}
	return fmt.Sprintf("Track %d", f.Track)
}

// channelNames resolves the channels that findings may be about, of one show or
// of all: those of the input lists, even without a track, and those of tracks
// with a name.
func (s *Store) channelNames(ctx context.Context, show ShowKey) (channelsOf, error) {
	names := channelsOf{map[[2]int64]string{}, map[[2]int64]string{}}
	recordings, err := s.Recordings(ctx, RecordingFilter{Show: show})
	if err != nil {
		return names, err
	}
	lists, err := s.InputLists(ctx)
	if err != nil {
		return names, err
	}
	apart, err := s.numberedApart(ctx, lists)
	if err != nil {
		return names, err
	}
	inForce := map[int64]inputsInForce{}
	for _, r := range recordings {
		inputs := InForce(lists, r.Show, r.Rig)
		inForce[int64(r.ID)] = lookUp(inputs, apart[r.ID])
		if apart[r.ID] {
			continue
		}
		for _, in := range inputs {
			if in.Channel != "" {
				names.listed[[2]int64{int64(r.ID), int64(in.Track)}] = in.Channel
			}
		}
	}
	key, err := address(ctx, s.db, show)
	if err != nil {
		return names, err
	}
	var w where
	w.add(show != "", "s.key = ?", key)
	w.add(true, "t.name <> ''")
	w.add(true, "EXISTS (SELECT 1 FROM findings f WHERE f.recording_id = t.recording_id AND f.track = t.number)")
	_, err = list(ctx, s.db, "SELECT t.recording_id, t.number, t.assumed, t.name FROM tracks t JOIN recordings r ON r.id = t.recording_id JOIN shows s ON s.id = r.show_id"+w.String(), w.args,
		func(row scanner) (struct{}, error) {
			var key [2]int64
			var assumed bool
			var name string
			err := row.Scan(&key[0], &key[1], &assumed, &name)
			_, names.held[key] = inForce[key[0]].of(int(key[1]), assumed, name)
			return struct{}{}, err
		})
	return names, err
}
