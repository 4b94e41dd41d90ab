package catalog

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"
)

// Show is one concert, or one recorded soundcheck, of the tour. A date may have
// several.
type Show struct {
	ID         ShowID      `json:"-"`
	Key        ShowKey     `json:"show"`
	Date       Date        `json:"date"`
	Venue      string      `json:"venue"`
	Name       string      `json:"name"` // distinguishes it from others of its date; "" for none
	Recordings []Recording `json:"recordings"`
	Takes      int         `json:"takes"`
	Findings   int         `json:"findings"` // not accepted ones
}

// ShowFilter chooses shows; empty fields choose all.
type ShowFilter struct {
	Show ShowKey
}

// Shows returns the shows in order of date and start, each with its recordings
// in the order of [Store.Recordings].
func (s *Store) Shows(ctx context.Context, f ShowFilter) ([]Show, error) {
	key, err := address(ctx, s.db, f.Show)
	if err != nil {
		return nil, err
	}
	var w where
	w.add(f.Show != "", "s.key = ?", key)
	shows, err := list(ctx, s.db, `SELECT s.id, s.key, s.date, s.venue, s.name,
		(SELECT count(*) FROM takes t WHERE t.show_id = s.id),
		(SELECT count(*) FROM findings f JOIN recordings r ON r.id = f.recording_id WHERE f.show_id = s.id AND `+acceptedNote+` IS NULL)
		FROM shows s`+w.String()+` ORDER BY s.date, s.place`,
		w.args, func(row scanner) (sh Show, err error) {
			sh.Recordings = []Recording{}
			return sh, row.Scan(&sh.ID, &sh.Key, &sh.Date, &sh.Venue, &sh.Name, &sh.Takes, &sh.Findings)
		})
	if err != nil {
		return nil, err
	}
	at := map[ShowID]*Show{}
	for i := range shows {
		at[shows[i].ID] = &shows[i]
	}
	recordings, err := s.Recordings(ctx, RecordingFilter{Show: f.Show})
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

// Show returns the show with an address. A date alone is the address of the only
// show of that date; if the date has several shows, the error is
// *[AmbiguousShowError]. If there is no such show, it is *[NotFoundError].
func (s *Store) Show(ctx context.Context, key ShowKey) (Show, error) {
	id, err := showID(ctx, s.db, key)
	if err != nil {
		return Show{}, err
	}
	return s.showOf(ctx, id)
}

// address returns the stored form of an address that a person wrote, for queries
// that choose by show. A date with several shows is *[AmbiguousShowError]; one
// without a show is returned unchanged.
func address(ctx context.Context, q querier, key ShowKey) (ShowKey, error) {
	if key == "" {
		return "", nil
	}
	id, err := showID(ctx, q, key)
	var none *NotFoundError
	if errors.As(err, &none) {
		return key, nil
	}
	if err != nil {
		return "", err
	}
	err = q.QueryRowContext(ctx, "SELECT key FROM shows WHERE id = ?", id).Scan(&key)
	if errors.Is(err, sql.ErrNoRows) {
		err = nil // it was deleted between the two reads
	}
	return key, err
}

// Address returns the stored form of an address that a person wrote, with the
// show's own spelling. A date with several shows is *[AmbiguousShowError]; one
// without a show is returned unchanged.
func (s *Store) Address(ctx context.Context, key ShowKey) (ShowKey, error) {
	return address(ctx, s.db, key)
}

func (s *Store) showOf(ctx context.Context, id ShowID) (Show, error) {
	shows, err := s.Shows(ctx, ShowFilter{})
	for _, sh := range shows {
		if sh.ID == id {
			return sh, nil
		}
	}
	if err == nil {
		err = &NotFoundError{Kind: "show", Name: fmt.Sprint(id), Try: "nightreel shows lists what there is"}
	}
	return Show{}, err
}

// AmbiguousShowError reports that a date has several shows.
type AmbiguousShowError struct {
	Date  Date
	Shows []ShowKey // in order of start
}

func (e *AmbiguousShowError) Error() string {
	return fmt.Sprintf("%s has %d shows", e.Date, len(e.Shows))
}

// Hint lists the choices.
func (e *AmbiguousShowError) Hint() string {
	names := make([]string, len(e.Shows))
	for i, k := range e.Shows {
		names[i] = fmt.Sprintf("%q", k)
	}
	return "name one of them: " + strings.Join(names, ", ")
}

// EnsureShow returns the show of sh.Date and sh.Name, and creates it if it is
// missing. It fills in a missing venue, but never replaces one.
func (s *Store) EnsureShow(ctx context.Context, sh Show) (Show, error) {
	if _, err := ParseDate(string(sh.Date)); err != nil {
		return Show{}, err
	}
	var id ShowID
	err := s.write(ctx, func(w *writing) error {
		tx := w.tx
		_, err := exec(ctx, tx, `INSERT INTO shows (date, venue, name, key, place) VALUES (?1, ?2, ?3, ?1 || ' ' || ?3 || ' new', 0)
			ON CONFLICT (date, name) DO UPDATE SET venue = CASE venue WHEN '' THEN excluded.venue ELSE venue END`, sh.Date, sh.Venue, sh.Name)
		if err == nil {
			err = settleKeys(ctx, tx, sh.Date)
		}
		if err == nil {
			err = tx.QueryRowContext(ctx, "SELECT id FROM shows WHERE date = ? AND name = ?", sh.Date, sh.Name).Scan(&id)
		}
		if err == nil {
			err = w.sited(ctx, id)
		}
		return err
	})
	if err != nil {
		return Show{}, err
	}
	return s.showOf(ctx, id)
}

// usualTime is when a show of a name usually starts, for recordings without a
// clock. Common practice, no source.
const usualTime = `CASE lower(s.name) WHEN 'rehearsal' THEN 'T12' WHEN 'matinee' THEN 'T14' WHEN 'afternoon' THEN 'T15' WHEN 'soundcheck' THEN 'T16'
	WHEN 'early' THEN 'T18' WHEN 'evening' THEN 'T20' WHEN 'late' THEN 'T22' ELSE '~' END`

// settleKeys sets the addresses and the order of a date's shows: by the earliest
// start of their recordings, or their usual time, then by name.
func settleKeys(ctx context.Context, tx *sql.Tx, date Date) error {
	type row struct {
		id   ShowID
		name string
	}
	shows, err := list(ctx, tx, `SELECT s.id, s.name FROM shows s WHERE s.date = ?
		ORDER BY coalesce((SELECT min(r.starts_at) FROM recordings r WHERE r.show_id = s.id), s.date || `+usualTime+`), s.name, s.id`, []any{date},
		func(sc scanner) (r row, err error) { return r, sc.Scan(&r.id, &r.name) })
	if err != nil {
		return err
	}
	for i, sh := range shows {
		key := string(date)
		if len(shows) > 1 {
			name := sh.name
			if name == "" {
				name = fmt.Sprint(i + 1)
			}
			key += " " + name
		}
		// Keys are unique: a key that another show gives up in this loop must be
		// free.
		if _, err := exec(ctx, tx, "UPDATE shows SET key = '~' || id WHERE date = ? AND key = ? AND id <> ?", date, key, sh.id); err != nil {
			return err
		}
		if _, err := exec(ctx, tx, "UPDATE shows SET key = ?1, place = ?2 WHERE id = ?3 AND (key <> ?1 OR place <> ?2)", key, i, sh.id); err != nil {
			return err
		}
	}
	return nil
}

// showID finds the id of a show by its address.
func showID(ctx context.Context, q querier, key ShowKey) (ShowID, error) {
	type row struct {
		id   ShowID
		key  ShowKey
		name string
	}
	date := key.Date()
	shows, err := list(ctx, q, "SELECT id, key, name FROM shows WHERE date = ? ORDER BY place", []any{date},
		func(sc scanner) (r row, err error) { return r, sc.Scan(&r.id, &r.key, &r.name) })
	if err != nil {
		return 0, err
	}
	name := strings.TrimSpace(strings.TrimPrefix(string(key), string(date)))
	ambiguous := &AmbiguousShowError{Date: date}
	for _, sh := range shows {
		if sh.key == key || name != "" && SameName(sh.name, name) || name == "" && len(shows) == 1 {
			return sh.id, nil
		}
		ambiguous.Shows = append(ambiguous.Shows, sh.key)
	}
	if name == "" && len(shows) > 1 {
		return 0, ambiguous
	}
	known, err := list(ctx, q, "SELECT key FROM shows ORDER BY date, place", nil, func(sc scanner) (k string, err error) { return k, sc.Scan(&k) })
	if err != nil {
		return 0, err
	}
	return 0, NotFound("show", string(key), known, "nightreel shows lists what there is")
}
