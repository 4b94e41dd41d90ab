package catalog

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
)

// Show is one night of the tour.
type Show struct {
	ID         ShowID      `json:"-"`
	Date       Date        `json:"date"`
	Venue      string      `json:"venue"`
	Name       string      `json:"name"`
	Recordings []Recording `json:"recordings"`
	Takes      int         `json:"takes"`
	Findings   int         `json:"findings"` // not accepted ones
}

// ShowFilter chooses shows; empty fields choose all.
type ShowFilter struct {
	Date Date
}

// Shows returns the shows in order of date, each with its recordings in the
// order of [Store.Recordings].
func (s *Store) Shows(ctx context.Context, f ShowFilter) ([]Show, error) {
	var w where
	w.add(f.Date != "", "s.date = ?", f.Date)
	shows, err := list(ctx, s.db, `SELECT s.id, s.date, s.venue, s.name,
		(SELECT count(*) FROM takes t WHERE t.show_id = s.id),
		(SELECT count(*) FROM findings f JOIN recordings r ON r.id = f.recording_id WHERE f.show_id = s.id AND `+acceptedNote+` IS NULL)
		FROM shows s`+w.String()+` ORDER BY s.date`,
		w.args, func(row scanner) (sh Show, err error) {
			sh.Recordings = []Recording{}
			return sh, row.Scan(&sh.ID, &sh.Date, &sh.Venue, &sh.Name, &sh.Takes, &sh.Findings)
		})
	if err != nil {
		return nil, err
	}
	at := map[ShowID]*Show{}
	for i := range shows {
		at[shows[i].ID] = &shows[i]
	}
	recordings, err := s.Recordings(ctx, RecordingFilter{Show: f.Date})
	if err != nil {
		return nil, err
	}
	for _, r := range recordings {
		if sh := at[r.ShowID]; sh != nil { // else it was made between the two reads
			sh.Recordings = append(sh.Recordings, r)
		}
	}
	return shows, nil
}

// Show returns the show of a date, or *NotFoundError.
func (s *Store) Show(ctx context.Context, date Date) (Show, error) {
	shows, err := s.Shows(ctx, ShowFilter{Date: date})
	if err != nil {
		return Show{}, err
	}
	if len(shows) == 0 {
		return Show{}, &NotFoundError{Kind: "show", Name: string(date), Try: "nightreel shows lists what there is"}
	}
	return shows[0], nil
}

// EnsureShow returns the show of sh.Date and makes it where there is none.
// A venue or name is filled in where the show had none, never replaced.
func (s *Store) EnsureShow(ctx context.Context, sh Show) (Show, error) {
	if _, err := ParseDate(string(sh.Date)); err != nil {
		return Show{}, err
	}
	_, err := exec(ctx, s.db, `INSERT INTO shows (date, venue, name) VALUES (?, ?, ?)
		ON CONFLICT (date) DO UPDATE SET
			venue = CASE venue WHEN '' THEN excluded.venue ELSE venue END,
			name  = CASE name  WHEN '' THEN excluded.name  ELSE name  END`, sh.Date, sh.Venue, sh.Name)
	if err != nil {
		return Show{}, err
	}
	return s.Show(ctx, sh.Date)
}

// showID finds the id of a show by its date.
func showID(ctx context.Context, q querier, date Date) (ShowID, error) {
	var id ShowID
	err := q.QueryRowContext(ctx, "SELECT id FROM shows WHERE date = ?", date).Scan(&id)
	if errors.Is(err, sql.ErrNoRows) {
		return 0, &NotFoundError{Kind: "show", Name: string(date), Try: "nightreel shows lists what there is"}
	}
	if err != nil {
		return 0, fmt.Errorf("could not read the catalog: %w", err)
	}
	return id, nil
}
