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

// InputList is an input list with the shows it is for.
type InputList struct {
	// From is the show from which on the list is in force; a date alone stands for
	// all shows of that date.
	From ShowKey `json:"from"`
	// Only restricts the list to From. It is then laid over the list in force: its
	// tracks and channels replace theirs.
	Only   bool    `json:"only"`
	Rig    string  `json:"rig"` // "" for all rigs
	Inputs []Input `json:"inputs"`

	// not are the shows of From's date that the list is not for: those before it
	// and, of a list for one show only, those after it. Filled by the store.
	not []ShowKey
}

// For reports whether a list counts for a show.
func (l InputList) For(show ShowKey) bool {
	switch from, date := l.From.Date(), show.Date(); {
	case date < from, date > from && l.Only:
		return false
	case date > from:
		return true
	}
	return !slices.Contains(l.not, show)
}

// InputLists returns all input lists in order of the shows from which they are in
// force, those for a whole date before those for one of its shows and those for
// one show only last, each with its inputs in order of track.
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

// orderLists finds out which shows of a date a list is for that names one of
// them, and brings the lists into the order of the shows. A name that no show of
// the date has any more, since it is the only one now, stands for the whole date.
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
// They are those of the latest list from that show or before; of one show the
// rig's own list counts, not the one for all rigs. Lists for that show only are
// laid over it, the one for all rigs first. The lists are in the order of
// [Store.InputLists].
func InForce(lists []InputList, show ShowKey, rig string) []Input {
	var base []Input
	var over [][]Input
	for _, l := range lists {
		switch {
		case l.Rig != "" && l.Rig != rig || !l.For(show):
		case !l.Only:
			base = l.Inputs // the last one stands
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
	if l.Only {
		if _, err := s.Address(ctx, l.From); err != nil {
			return err // for one show only: which one?
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
