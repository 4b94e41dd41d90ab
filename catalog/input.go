package catalog

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"sort"
	"strings"
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
	From ShowKey `json:"from"` // in force from this show on
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
// track. They are those of the latest list from that date or before; of one
// date the rig's own list counts, not the one for all rigs. Lists for that
// night only are laid over it, the one for all rigs first. The lists are in the
// order of [Store.InputLists].
func InForce(lists []InputList, show ShowKey, rig string) []Input {
	var base []Input
	var over [][]Input
	for _, l := range lists {
		switch {
		case l.Rig != "" && l.Rig != rig || l.From > show:
		case !l.Only:
			base = l.Inputs // the last one stands
		case l.From == show:
			over = append(over, l.Inputs)
		}
	}
	inputs := append([]Input{}, base...)
	for _, o := range over {
		inputs = lay(o, inputs)
	}
	sort.Slice(inputs, func(i, j int) bool { return inputs[i].Track < inputs[j].Track })
	return inputs
}

// lay returns the inputs of over, and those of under whose track and channel
// are not among them.
func lay(over, under []Input) []Input {
	inputs := append([]Input{}, over...)
	channels, tracks := map[string]bool{}, map[int]bool{}
	for _, in := range over {
		channels[Key(in.Channel)], tracks[in.Track] = true, true
	}
	for _, in := range under {
		if !tracks[in.Track] && !channels[Key(in.Channel)] {
			inputs = append(inputs, in)
		}
	}
	return inputs
}

// SaveInputList stores a list in place of the one for the same nights and rig.
// A list without inputs takes that one away.
func (s *Store) SaveInputList(ctx context.Context, l InputList) error {
	if _, err := ParseShowKey(string(l.From)); err != nil {
		return fmt.Errorf("input list: %w", err)
	}
	seen := map[int]bool{}
	for _, in := range l.Inputs {
		if in.Track < 1 || in.Channel == "" {
			return fmt.Errorf("input list from %s: track %d, channel %q: a track number from 1 and a channel name are needed", l.From, in.Track, in.Channel)
		}
		if seen[in.Track] {
			return fmt.Errorf("input list from %s: track %d stands there twice", l.From, in.Track)
		}
		seen[in.Track] = true
	}
	return s.write(ctx, func(w *writing) error {
		subject, body := inputListFact(l)
		return w.put(ctx, FactInputList, subject, body)
	})
}

// inputListFact returns an input list as a fact: its lines in order of track.
func inputListFact(l InputList) (subject string, body any) {
	which := "from"
	if l.Only {
		which = "only"
	}
	subject = strings.Join([]string{string(l.From), which, l.Rig}, "\t")
	if len(l.Inputs) == 0 {
		return subject, nil
	}
	l.Inputs = slices.Clone(l.Inputs)
	slices.SortFunc(l.Inputs, func(a, b Input) int { return cmp.Compare(a.Track, b.Track) })
	return subject, l
}

func (w *writing) projectInputList(ctx context.Context, f Fact) error {
	for _, q := range []string{
		"DELETE FROM inputs WHERE list_id IN (SELECT id FROM input_lists WHERE subject = ?)",
		"DELETE FROM input_lists WHERE subject = ?",
	} {
		if _, err := exec(ctx, w, q, f.Subject); err != nil {
			return err
		}
	}
	var l InputList
	if there, err := f.read(&l); err != nil || !there {
		return err
	}
	id, err := insert(ctx, w, "INSERT INTO input_lists (from_date, only, rig, subject) VALUES (?, ?, ?, ?)", l.From, l.Only, l.Rig, f.Subject)
	if err != nil {
		return err
	}
	for _, in := range l.Inputs {
		if _, err := exec(ctx, w, "INSERT INTO inputs (list_id, track, channel, gain_db, grp, notes) VALUES (?, ?, ?, ?, ?, ?)", id, in.Track, in.Channel, in.GainDB, in.Group, in.Notes); err != nil {
			return err
		}
	}
	return nil
}
