package catalog

import (
	"context"
	"database/sql"
	"fmt"
	"sort"
)

// Input is one line of the input list: what a track holds and how its preamp
// is set.
type Input struct {
	Track   int      `json:"track"` // track number, from 1
	Channel string   `json:"channel"`
	GainDB  *float64 `json:"gain_db"` // preamp gain; nil where it is not known
	Group   string   `json:"group"`
	Notes   string   `json:"notes"`
}

// InputList is an input list with the nights it is for.
type InputList struct {
	From Date `json:"from"` // in force from this show on
	// Only restricts the list to the one night From. It is then laid over the
	// list in force: its tracks and channels replace theirs.
	Only   bool    `json:"only"`
	Rig    string  `json:"rig"` // "" for all rigs
	Inputs []Input `json:"inputs"`
}

// InputLists returns all input lists in order of date, those for one night
// last, each with its inputs in order of track.
func (s *Store) InputLists(ctx context.Context) ([]InputList, error) {
	type row struct {
		list int64
		InputList
		in Input
	}
	rows, err := list(ctx, s.db, `SELECT l.id, l.from_date, l.only, l.rig, i.track, i.channel, i.gain_db, i.grp, i.notes
		FROM input_lists l JOIN inputs i ON i.list_id = l.id ORDER BY l.from_date, l.only, l.rig, l.id, i.track`, nil,
		func(sc scanner) (r row, err error) {
			return r, sc.Scan(&r.list, &r.From, &r.Only, &r.Rig, &r.in.Track, &r.in.Channel, &r.in.GainDB, &r.in.Group, &r.in.Notes)
		})
	if err != nil {
		return nil, err
	}
	lists := []InputList{}
	for i, r := range rows {
		if i == 0 || r.list != rows[i-1].list {
			lists = append(lists, r.InputList)
		}
		last := &lists[len(lists)-1]
		last.Inputs = append(last.Inputs, r.in)
	}
	return lists, nil
}

// InForce returns the inputs that hold for a rig on a night, in order of
// track: those of the latest list from that date or before, a list for the rig
// before one for all rigs, with a list for that night only laid over them.
func InForce(lists []InputList, date Date, rig string) []Input {
	var base, over *InputList
	for i := range lists {
		l := &lists[i]
		if l.Rig != "" && l.Rig != rig {
			continue
		}
		// Lists come in order of date; of one date a rig's own comes last.
		if l.Only && l.From == date {
			over = l
		}
		if !l.Only && l.From <= date && (base == nil || l.From > base.From || l.Rig != "") {
			base = l
		}
	}
	inputs := []Input{}
	replaced := map[string]bool{}
	tracks := map[int]bool{}
	if over != nil {
		for _, in := range over.Inputs {
			inputs = append(inputs, in)
			replaced[Key(in.Channel)], tracks[in.Track] = true, true
		}
	}
	if base != nil {
		for _, in := range base.Inputs {
			if !tracks[in.Track] && !replaced[Key(in.Channel)] {
				inputs = append(inputs, in)
			}
		}
	}
	sort.Slice(inputs, func(i, j int) bool { return inputs[i].Track < inputs[j].Track })
	return inputs
}

// SaveInputList stores a list in place of the one for the same nights and rig.
func (s *Store) SaveInputList(ctx context.Context, l InputList) error {
	return s.update(ctx, func(tx *sql.Tx) error {
		if _, err := exec(ctx, tx, "DELETE FROM input_lists WHERE from_date = ? AND only = ? AND rig = ?", l.From, l.Only, l.Rig); err != nil {
			return err
		}
		id, err := insert(ctx, tx, "INSERT INTO input_lists (from_date, only, rig) VALUES (?, ?, ?)", l.From, l.Only, l.Rig)
		if err != nil {
			return err
		}
		for _, in := range l.Inputs {
			if in.Track < 1 || in.Channel == "" {
				return fmt.Errorf("input list from %s: track %d, channel %q: a track number from 1 and a channel name are needed", l.From, in.Track, in.Channel)
			}
			if _, err := exec(ctx, tx, "INSERT INTO inputs (list_id, track, channel, gain_db, grp, notes) VALUES (?, ?, ?, ?, ?, ?)", id, in.Track, in.Channel, in.GainDB, in.Group, in.Notes); err != nil {
				return err
			}
		}
		return nil
	})
}
