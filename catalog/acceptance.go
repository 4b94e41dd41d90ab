package catalog

import (
	"context"
	"database/sql"
	"fmt"
	"time"
)

// AcceptFlag quiets a finding: it, and whatever a later scan finds of the same
// kind on the same track of that rig at an overlapping time, counts as
// accepted. It is kept apart from the flags, so that it outlives them.
// Accepting once more replaces the note. A flag that is not there is
// *NotFoundError.
func (s *Store) AcceptFlag(ctx context.Context, id FlagID, note string) error {
	return s.update(ctx, func(tx *sql.Tx) error {
		f, err := flag(ctx, tx, id)
		if err != nil {
			return err
		}
		if _, err := exec(ctx, tx, "DELETE FROM acceptances WHERE show_id = ? AND rig = ? AND track = ? AND kind = ? AND start_s = ? AND end_s = ?",
			f.ShowID, f.Rig, f.Track, f.Kind, f.StartS(), f.EndS()); err != nil {
			return err
		}
		_, err = exec(ctx, tx, "INSERT INTO acceptances (show_id, rig, track, kind, start_s, end_s, note, accepted_at) VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
			f.ShowID, f.Rig, f.Track, f.Kind, f.StartS(), f.EndS(), note, s.now().UTC().Format(time.RFC3339))
		return err
	})
}

// UnacceptFlag takes acceptance back. A flag that is not there is
// *NotFoundError.
func (s *Store) UnacceptFlag(ctx context.Context, id FlagID) error {
	return s.update(ctx, func(tx *sql.Tx) error {
		f, err := flag(ctx, tx, id)
		if err != nil {
			return err
		}
		_, err = exec(ctx, tx, "DELETE FROM acceptances WHERE show_id = ? AND rig = ? AND track = ? AND kind = ? AND start_s <= ? AND end_s >= ?",
			f.ShowID, f.Rig, f.Track, f.Kind, f.EndS(), f.StartS())
		return err
	})
}

// flag returns one flag without its channel, or *NotFoundError.
func flag(ctx context.Context, q querier, id FlagID) (Flag, error) {
	if id != 0 { // 0 would choose all
		all, err := flags(ctx, q, FlagFilter{ID: id})
		if err != nil {
			return Flag{}, err
		}
		if len(all) == 1 {
			return all[0], nil
		}
	}
	return Flag{}, &NotFoundError{Kind: "flag", Name: fmt.Sprint(id), Try: "nightreel flags lists them with their ids"}
}

// accepted is what was accepted, by what it is about, oldest first.
type accepted map[topic][]acceptance

// topic is what a finding is about, but for its time.
type topic struct {
	show  ShowID
	rig   string
	track int
	kind  FlagKind
}

type acceptance struct {
	topic
	startS, endS float64
	note         string
}

func acceptances(ctx context.Context, q querier) (accepted, error) {
	all, err := list(ctx, q, "SELECT show_id, rig, track, kind, start_s, end_s, note FROM acceptances ORDER BY id", nil, func(row scanner) (a acceptance, err error) {
		return a, row.Scan(&a.show, &a.rig, &a.track, &a.kind, &a.startS, &a.endS, &a.note)
	})
	if err != nil {
		return nil, err
	}
	by := accepted{}
	for _, a := range all {
		by[a.topic] = append(by[a.topic], a)
	}
	return by, nil
}

// note returns what was noted when a finding was accepted, and whether it was.
// The last word counts.
func (a accepted) note(f Flag) (note string, ok bool) {
	for _, one := range a[topic{f.ShowID, f.Rig, f.Track, f.Kind}] {
		if one.startS <= f.EndS() && f.StartS() <= one.endS {
			note, ok = one.note, true
		}
	}
	return note, ok
}
