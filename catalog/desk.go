package catalog

import (
	"cmp"
	"context"
	"fmt"
	"slices"
)

// Desk is a mixing desk with its patch: the channel of each desk input.
type Desk struct {
	ID     DeskID      `json:"-"`
	Name   string      `json:"name"`
	Inputs []DeskInput `json:"inputs"`
}

// DeskInput is one input of a desk.
type DeskInput struct {
	Input   int      `json:"desk_input"` // from 1
	Channel string   `json:"channel"`
	GainDB  *float64 `json:"gain_db"` // preamp gain tonight in dB; nil if unknown
	Output  int      `json:"output"`  // playback output that feeds it; if 0, the store sets the input's own number
}

// Desks returns all desks in order of name, each with its inputs in order.
func (s *Store) Desks(ctx context.Context) ([]Desk, error) { return desks(ctx, s.db) }

func desks(ctx context.Context, q querier) ([]Desk, error) {
	all, err := list(ctx, q, "SELECT id, name FROM desks ORDER BY name", nil, func(row scanner) (d Desk, err error) {
		d.Inputs = []DeskInput{}
		return d, row.Scan(&d.ID, &d.Name)
	})
	if err != nil {
		return nil, err
	}
	at := map[DeskID]*Desk{}
	for i := range all {
		at[all[i].ID] = &all[i]
	}
	type line struct {
		desk DeskID
		DeskInput
	}
	lines, err := list(ctx, q, "SELECT desk_id, input, channel, gain_db, CASE output WHEN 0 THEN input ELSE output END FROM desk_inputs ORDER BY desk_id, input", nil,
		func(row scanner) (l line, err error) {
			return l, row.Scan(&l.desk, &l.Input, &l.Channel, &l.GainDB, &l.Output)
		})
	if err != nil {
		return nil, err
	}
	for _, l := range lines {
		if d := at[l.desk]; d != nil { // else it was made between the two reads
			d.Inputs = append(d.Inputs, l.DeskInput)
		}
	}
	return all, nil
}

// Desk finds a desk by its name as [SameName] compares, or returns
// *NotFoundError.
func (s *Store) Desk(ctx context.Context, name string) (Desk, error) {
	all, err := s.Desks(ctx)
	if err != nil {
		return Desk{}, err
	}
	known := []string{}
	for _, d := range all {
		if SameName(d.Name, name) {
			return d, nil
		}
		known = append(known, d.Name)
	}
	return Desk{}, NotFound("desk", name, known, "nightreel desk import FILE --name NAME adds one")
}

// SaveDesk stores a desk and replaces the one of the same name.
func (s *Store) SaveDesk(ctx context.Context, d Desk) error {
	if Key(d.Name) == "" {
		return fmt.Errorf("a desk needs a name")
	}
	seen := map[int]bool{}
	for _, in := range d.Inputs {
		if in.Input < 1 || in.Channel == "" {
			return fmt.Errorf("desk %s: desk input %d, channel %q: give an input number from 1 and a channel name", d.Name, in.Input, in.Channel)
		}
		if seen[in.Input] {
			return fmt.Errorf("desk %s: desk input %d is listed twice", d.Name, in.Input)
		}
		seen[in.Input] = true
	}
	return s.write(ctx, func(w *writing) error { return w.put(ctx, FactDesk, Key(d.Name), deskFact(d)) })
}

// deskFact returns a desk as a fact's body: its inputs in order.
func deskFact(d Desk) any {
	d.Inputs = append([]DeskInput{}, d.Inputs...)
	slices.SortFunc(d.Inputs, func(a, b DeskInput) int { return cmp.Compare(a.Input, b.Input) })
	return d
}

func (w *writing) projectDesk(ctx context.Context, f Fact) error {
	if _, err := exec(ctx, w, "DELETE FROM desk_inputs WHERE desk_id IN (SELECT id FROM desks WHERE subject = ?)", f.Subject); err != nil {
		return err
	}
	var d Desk
	there, err := f.read(&d)
	if err != nil {
		return err
	}
	if !there {
		_, err := exec(ctx, w, "DELETE FROM desks WHERE subject = ?", f.Subject)
		return err
	}
	if n, err := exec(ctx, w, "UPDATE desks SET name = ? WHERE subject = ?", d.Name, f.Subject); err != nil {
		return err
	} else if n == 0 {
		if _, err := insert(ctx, w, "INSERT INTO desks (name, subject) VALUES (?, ?)", d.Name, f.Subject); err != nil {
			return err
		}
	}
	for _, in := range d.Inputs {
		if _, err := exec(ctx, w, "INSERT INTO desk_inputs (desk_id, input, channel, gain_db, output) VALUES ((SELECT id FROM desks WHERE subject = ?), ?, ?, ?, ?)", f.Subject, in.Input, in.Channel, in.GainDB, in.Output); err != nil {
			return err
		}
	}
	return nil
}
