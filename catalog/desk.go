package catalog

import (
	"context"
	"database/sql"
	"fmt"
)

// Desk is a mixing desk with its patch: which channel comes in where.
type Desk struct {
	ID     DeskID      `json:"-"`
	Name   string      `json:"name"`
	Inputs []DeskInput `json:"inputs"`
}

// DeskInput is one input of a desk.
type DeskInput struct {
	Input   int      `json:"desk_input"` // from 1
	Channel string   `json:"channel"`
	GainDB  *float64 `json:"gain_db"` // preamp gain tonight; nil where it is not known
	Output  int      `json:"output"`  // playback output that feeds it; the store fills in the input's own number
}

// Desks returns all desks in order of name, each with its inputs in order.
func (s *Store) Desks(ctx context.Context) ([]Desk, error) { return desks(ctx, s.db) }

func desks(ctx context.Context, q querier) ([]Desk, error) {
	all, err := list(ctx, q, "SELECT id, name FROM desks ORDER BY name, id", nil, func(row scanner) (d Desk, err error) {
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

// SaveDesk stores a desk in place of the one of the same name.
func (s *Store) SaveDesk(ctx context.Context, d Desk) error {
	if Key(d.Name) == "" {
		return fmt.Errorf("a desk needs a name")
	}
	return s.update(ctx, func(tx *sql.Tx) error {
		all, err := desks(ctx, tx)
		if err != nil {
			return err
		}
		for _, old := range all {
			if SameName(old.Name, d.Name) {
				if _, err := exec(ctx, tx, "DELETE FROM desks WHERE id = ?", old.ID); err != nil {
					return err
				}
			}
		}
		id, err := insert(ctx, tx, "INSERT INTO desks (name) VALUES (?)", d.Name)
		if err != nil {
			return err
		}
		for _, in := range d.Inputs {
			if in.Input < 1 || in.Channel == "" {
				return fmt.Errorf("desk %s: desk input %d, channel %q: an input number from 1 and a channel name are needed", d.Name, in.Input, in.Channel)
			}
			if _, err := exec(ctx, tx, "INSERT INTO desk_inputs (desk_id, input, channel, gain_db, output) VALUES (?, ?, ?, ?, ?)", id, in.Input, in.Channel, in.GainDB, in.Output); err != nil {
				return err
			}
		}
		return nil
	})
}
