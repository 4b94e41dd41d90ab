package catalog

import "context"

// EnteredTitles returns the titles of the songs that a person entered, on a set
// list, as a take or as another name, by [Key] of each of their names. Titles
// that come from markers alone are left out.
func (s *Store) EnteredTitles(ctx context.Context) (map[string]string, error) {
	titles := map[string]string{}
	_, err := list(ctx, s.db, `SELECT k.key, g.title FROM song_keys k JOIN songs g ON g.id = k.song_id
		WHERE EXISTS (SELECT 1 FROM set_list_entries e WHERE e.song_id = g.id)
			OR EXISTS (SELECT 1 FROM takes t WHERE t.song_id = g.id AND t.found_by = ?)
			OR EXISTS (SELECT 1 FROM song_keys a WHERE a.song_id = g.id AND a.alias <> '')`, []any{ByPerson},
		func(row scanner) (struct{}, error) {
			var key, title string
			err := row.Scan(&key, &title)
			titles[key] = title
			return struct{}{}, err
		})
	return titles, err
}
