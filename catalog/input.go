package catalog

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"sort"
	"strings"
)

// Input is one line of the input list: a track's channel and its preamp.
type Input struct {
	Track   int      `json:"track"` // track number, from 1
	Channel string   `json:"channel"`
	GainDB  *float64 `json:"gain_db"` // preamp gain in dB; nil if unknown
	Group   string   `json:"group"`
	Notes   string   `json:"notes"`
}

// InputList is an input list with the shows for which it holds.
type InputList struct {
	// From is the first show for which the list is in force; a date alone stands
	// for all shows of that date.
	From ShowKey `json:"from"`
	// Only restricts the list to From. There its tracks and channels replace
	// those of the list in force.
	Only   bool    `json:"only"`
	Rig    string  `json:"rig"` // "" for all rigs
	Inputs []Input `json:"inputs"`

	// not holds the shows of From's date for which the list is not in force:
	// those before From and, for a list of one show only, those after it. Filled
	// by the store.
	not []ShowKey
}

// For reports whether a list holds for a show.
func (l InputList) For(show ShowKey) bool {
	switch from, date := l.From.Date(), show.Date(); {
	case date < from, date > from && l.Only:
		return false
	case date > from:
		return true
	}
	return !slices.Contains(l.not, show)
}

// InputLists returns all input lists, each with its inputs in order of track.
// They are in order of the show from which they are in force. For equal shows, a
// list for a whole date comes before one for a show of it, and one for one show
// only comes last.
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
	if !slices.ContainsFunc(lists, func(l InputList) bool { return l.From != ShowKey(l.From.Date()) }) {
		return lists, nil
	}
	return lists, s.orderLists(ctx, lists)
}

// orderLists determines for which shows of a date a list holds that names one of
// them, and sorts the lists in order of the shows. A name that no show of the
// date has any more, because the date has only one show now, stands for the
// whole date.
func (s *Store) orderLists(ctx context.Context, lists []InputList) error {
	type show struct {
		key  ShowKey
		name string
	}
	shows, err := list(ctx, s.db, "SELECT key, name FROM shows ORDER BY date, place", nil, func(row scanner) (sh show, err error) {
		return sh, row.Scan(&sh.key, &sh.name)
	})
	if err != nil {
		return err
	}
	places := make([]int, len(lists))
	for i := range lists {
		l := &lists[i]
		name := strings.TrimSpace(strings.TrimPrefix(string(l.From), string(l.From.Date())))
		of := slices.DeleteFunc(slices.Clone(shows), func(sh show) bool { return sh.key.Date() != l.From.Date() })
		at := slices.IndexFunc(of, func(sh show) bool { return sh.key == l.From || SameName(sh.name, name) })
		if name == "" || at < 0 {
			continue
		}
		places[i] = at + 1
		for k, sh := range of {
			if k < at || k > at && l.Only {
				l.not = append(l.not, sh.key)
			}
		}
	}
	order := make([]int, len(lists))
	for i := range order {
		order[i] = i
	}
	only := func(l InputList) int {
		if l.Only {
			return 1
		}
		return 0
	}
	slices.SortStableFunc(order, func(a, b int) int {
		return cmp.Or(cmp.Compare(lists[a].From.Date(), lists[b].From.Date()), cmp.Compare(only(lists[a]), only(lists[b])), cmp.Compare(places[a], places[b]), cmp.Compare(lists[a].Rig, lists[b].Rig))
	})
	sorted := make([]InputList, len(lists))
	for i, at := range order {
		sorted[i] = lists[at]
	}
	copy(lists, sorted)
	return nil
}

// InForce returns the inputs that hold for a rig in a show, in order of track.
// They are those of the latest list up to that show; if a show has one for the
// rig and one for all rigs, the rig's own counts. Then lists for that show only
// replace single inputs, the one for all rigs first. lists must be in the order
// of [Store.InputLists].
func InForce(lists []InputList, show ShowKey, rig string) []Input {
	var base []Input
	var over [][]Input
	for _, l := range lists {
		switch {
		case l.Rig != "" && l.Rig != rig || !l.For(show):
		case !l.Only:
			base = l.Inputs // the last one holds
		default:
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

// lay returns the inputs of over, and those of under whose track and channel are
// not in over.
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

// SaveInputList stores a list and replaces the one for the same nights and rig.
// A list without inputs deletes that one.
func (s *Store) SaveInputList(ctx context.Context, l InputList) error {
	if _, err := ParseShowKey(string(l.From)); err != nil {
		return fmt.Errorf("input list: %w", err)
	}
	if l.Only {
		if _, err := s.Address(ctx, l.From); err != nil {
			return err // the list is for one show only, so it must be unambiguous
		}
	}
	if l.From != ShowKey(l.From.Date()) { // a name must be a show's
		sh, err := s.Show(ctx, l.From)
		if err != nil {
			return err
		}
		l.From = sh.Key
		if sh.Name != "" {
			l.From = ShowKey(string(sh.Date) + " " + sh.Name)
		}
	}
	seen := map[int]bool{}
	for _, in := range l.Inputs {
		if in.Track < 1 || in.Channel == "" {
			return fmt.Errorf("input list from %s: track %d, channel %q: give a track number from 1 and a channel name", l.From, in.Track, in.Channel)
		}
		if seen[in.Track] {
			return fmt.Errorf("input list from %s: track %d is listed twice", l.From, in.Track)
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
