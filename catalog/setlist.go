package catalog

import "context"

// SetListEntry is one line of a show's set list.
type SetListEntry struct {
	Position int      `json:"position"` // from 1
	Song     string   `json:"song"`
	SongID   SongID   `json:"-"`
	Entered  string   `json:"-"`       // the song's name as it was entered
	StartS   *float64 `json:"start_s"` // where the list has it, else nil
	EndS     *float64 `json:"end_s"`
	// Clock says that the times are seconds from midnight of the show's date;
	// else they count from the reference recording's first frame.
	Clock bool `json:"clock"`
}

// SetList returns a show's set list in its order; empty if there is none.
func (s *Store) SetList(ctx context.Context, show ShowKey) ([]SetListEntry, error) {
	key, err := address(ctx, s.db, show)
	if err != nil {
		return nil, err
	}
	return list(ctx, s.db, `SELECT e.position, e.song_id, e.spelling, g.title, e.start_s, e.end_s, e.clock FROM set_list_entries e
		JOIN songs g ON g.id = e.song_id JOIN shows s ON s.id = e.show_id WHERE s.key = ? ORDER BY e.position`, []any{key},
		func(row scanner) (e SetListEntry, err error) {
			return e, row.Scan(&e.Position, &e.SongID, &e.Entered, &e.Song, &e.StartS, &e.EndS, &e.Clock)
		})
}

// setListBody is a set list as a fact.
type setListBody struct {
	Entries []setListLine `json:"entries"`
}

type setListLine struct {
	Song   string   `json:"song"` // as it was entered
	StartS *float64 `json:"start_s"`
	EndS   *float64 `json:"end_s"`
	Clock  bool     `json:"clock"`
}

// SaveSetList stores a show's set list and replaces an earlier one. Songs are
// found by title or alias; new ones are created. Positions follow from the order
// of the entries. The spelling is kept: it is Entered if that still names Song,
// else Song.
func (s *Store) SaveSetList(ctx context.Context, show ShowKey, entries []SetListEntry) error {
	return s.write(ctx, func(w *writing) error {
		night, err := showID(ctx, w, show)
		if err != nil {
			return err
		}
		ref, err := refOfShow(ctx, w, night)
		if err != nil {
			return err
		}
		if len(entries) == 0 {
			return w.put(ctx, FactSetList, ref, nil)
		}
		body := setListBody{}
		for _, e := range entries {
			spelling, err := w.entered(ctx, e.Song, e.Entered)
			if err != nil {
				return err
			}
			body.Entries = append(body.Entries, setListLine{spelling, e.StartS, e.EndS, e.Clock})
		}
		return w.put(ctx, FactSetList, ref, body)
	})
}

func (w *writing) projectSetList(ctx context.Context, f Fact) error {
	var l setListBody
	if _, err := f.read(&l); err != nil {
		return err
	}
	show, err := showOfRef(ctx, w, f.Subject)
	if err != nil || show == 0 {
		return err
	}
	if err := w.touch(ctx, "SELECT song_key FROM set_list_entries WHERE show_id = ?", show); err != nil {
		return err
	}
	if _, err := exec(ctx, w, "DELETE FROM set_list_entries WHERE show_id = ?", show); err != nil {
		return err
	}
	for i, e := range l.Entries {
		song, key, err := w.song(ctx, e.Song)
		if err != nil {
			return err
		}
		if _, err := exec(ctx, w, "INSERT INTO set_list_entries (show_id, position, song_id, spelling, song_key, start_s, end_s, clock) VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
			show, i+1, song, e.Song, key, e.StartS, e.EndS, e.Clock); err != nil {
			return err
		}
	}
	return nil
}
