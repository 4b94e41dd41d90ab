package catalog

import (
	"cmp"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"strings"
)

// names holds a person's facts about the names of songs. Every name has a key;
// an alias points from its key to the key of a song's title. A song is a group
// of keys that lead to the same key, their root.
type names struct {
	aliases map[string]aliasBody // by the alias's key
	titles  map[string]string    // by root
	groups  map[string][]string  // the keys of a root besides itself, sorted
}

func (w *writing) readNames(ctx context.Context) (*names, error) {
	if w.names != nil {
		return w.names, nil
	}
	n := &names{aliases: map[string]aliasBody{}, titles: map[string]string{}, groups: map[string][]string{}}
	titles, err := standing(ctx, w, FactTitle, "")
	if err != nil {
		return nil, err
	}
	for _, f := range titles {
		var b titleBody
		if there, err := f.read(&b); err != nil {
			return nil, err
		} else if there {
			n.titles[f.Subject] = b.Title
		}
	}
	aliases, err := standing(ctx, w, FactAlias, "")
	if err != nil {
		return nil, err
	}
	for _, f := range aliases {
		var b aliasBody
		if there, err := f.read(&b); err != nil {
			return nil, err
		} else if there {
			n.aliases[f.Subject] = b
		}
	}
	for key := range n.aliases {
		if root := n.root(key); root != key {
			n.groups[root] = append(n.groups[root], key)
		}
	}
	for _, group := range n.groups {
		slices.Sort(group)
	}
	w.names = n
	return n, nil
}

// root follows the aliases from a key to their end. If they form a circle,
// because two machines made aliases of each other, the root is the circle's
// smallest key.
func (n *names) root(key string) string {
	seen := map[string]bool{}
	for !seen[key] {
		seen[key] = true
		a, ok := n.aliases[key]
		if !ok {
			return key
		}
		key = Key(a.Of)
	}
	smallest := key
	for k := Key(n.aliases[key].Of); k != key; k = Key(n.aliases[k].Of) {
		smallest = min(smallest, k)
	}
	return smallest
}

// group returns all keys of a root, the root first.
func (n *names) group(root string) []string { return append([]string{root}, n.groups[root]...) }

func (w *writing) projectTitle(_ context.Context, f Fact) error {
	w.names, w.songs[f.Subject] = nil, true
	return nil
}

func (w *writing) projectAlias(ctx context.Context, f Fact) error {
	var a aliasBody
	if there, err := f.read(&a); err != nil {
		return err
	} else if there {
		w.songs[Key(a.Of)] = true
	}
	w.names, w.songs[f.Subject] = nil, true
	// Also the song that had this name until now.
	return w.touch(ctx, "SELECT s.key FROM song_keys k JOIN songs s ON s.id = k.song_id WHERE k.key = ?", f.Subject)
}

// touch marks the songs of the keys that a query returns, to be settled.
func (w *writing) touch(ctx context.Context, query string, args ...any) error {
	keys, err := list(ctx, w, query, args, func(row scanner) (key string, err error) { return key, row.Scan(&key) })
	for _, key := range keys {
		w.songs[key] = true
	}
	return err
}

// entered returns the spelling of a song's name to store: the one entered before
// if it still names the song, else the song's name.
func (w *writing) entered(ctx context.Context, song, before string) (string, error) {
	song, before = strings.TrimSpace(song), strings.TrimSpace(before)
	if song == "" {
		return "", errNoTitle
	}
	if before == "" || before == song {
		return song, nil
	}
	n, err := w.readNames(ctx)
	if err != nil {
		return "", err
	}
	if n.root(Key(before)) == n.root(Key(song)) {
		return before, nil
	}
	return song, nil
}

// song returns the id of the song that a spelling names, and the spelling's key.
// A new song is created, and settled at the end of the transaction: its title
// depends on all spellings.
func (w *writing) song(ctx context.Context, spelling string) (SongID, string, error) {
	key := Key(spelling)
	n, err := w.readNames(ctx)
	if err != nil {
		return 0, key, err
	}
	w.songs[key] = true
	id, err := w.songOfRoot(ctx, n, n.root(key), spelling)
	return id, key, err
}

// songOfRoot returns the row of a root's song. It stays the same when the song
// is renamed. After a merge it is the root's own row.
func (w *writing) songOfRoot(ctx context.Context, n *names, root, title string) (SongID, error) {
	for _, key := range n.group(root) {
		var id SongID
		err := w.QueryRowContext(ctx, "SELECT id FROM songs WHERE key = ?", key).Scan(&id)
		if errors.Is(err, sql.ErrNoRows) {
			continue
		}
		if err != nil {
			return 0, fmt.Errorf("could not read the catalog: %w", err)
		}
		if key != root {
			_, err = exec(ctx, w, "UPDATE songs SET key = ? WHERE id = ?", root, id)
		}
		return id, err
	}
	id, err := insert(ctx, w, "INSERT INTO songs (title, key) VALUES (?, ?)", title, root)
	return SongID(id), err
}

// settle brings the touched songs in line with the facts and the takes: their
// titles and names. It deletes songs that nothing refers to.
func (w *writing) settle(ctx context.Context) error {
	if w.all {
		if err := w.touch(ctx, "SELECT key FROM songs UNION SELECT song_key FROM takes UNION SELECT song_key FROM set_list_entries UNION SELECT song_key FROM dismissed"); err != nil {
			return err
		}
	}
	if len(w.songs) == 0 {
		return nil
	}
	n, err := w.readNames(ctx)
	if err != nil {
		return err
	}
	roots := map[string]bool{}
	for key := range w.songs {
		roots[n.root(key)] = true
		if n.root(key) != key { // it may have been a root until now
			roots[key] = true
		}
	}
	// Former roots come last: by then other songs have taken over their takes.
	order := []string{}
	for root := range roots {
		order = append(order, root)
	}
	slices.SortFunc(order, func(a, b string) int {
		return cmp.Or(cmp.Compare(b2i(n.root(a) != a), b2i(n.root(b) != b)), cmp.Compare(a, b))
	})
	for _, root := range order {
		if n.root(root) == root {
			err = w.settleSong(ctx, n, root)
		}
		if err != nil {
			return err
		}
	}
	for _, root := range order {
		if err := w.sweepSong(ctx, n, root); err != nil {
			return err
		}
	}
	w.songs, w.all = map[string]bool{}, false
	return nil
}

func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
}

// uses counts the uses of a spelling.
type uses struct {
	spelling string
	key      string
	entered  int // by a person or a marker; else it was taken from a title
	all      int
}

// settleSong settles the song of a root.
func (w *writing) settleSong(ctx context.Context, n *names, root string) error {
	var used []uses
	group := n.group(root)
	for _, key := range group {
		of, err := list(ctx, w, `SELECT spelling, sum(entered), count(*) FROM (
				SELECT spelling, 1 AS entered FROM set_list_entries WHERE song_key = ?1
				UNION ALL SELECT spelling, 1 FROM dismissed WHERE song_key = ?1
				UNION ALL SELECT spelling, found_by IN ('person', 'marker') FROM takes WHERE song_key = ?1)
			GROUP BY spelling ORDER BY spelling`, []any{key}, func(row scanner) (u uses, err error) {
			u.key = key
			return u, row.Scan(&u.spelling, &u.entered, &u.all)
		})
		if err != nil {
			return err
		}
		used = append(used, of...)
	}
	if len(used) == 0 {
		return nil
	}
	title := n.title(root, used)
	id, err := w.songOfRoot(ctx, n, root, title)
	if err != nil {
		return err
	}
	if _, err := exec(ctx, w, "UPDATE songs SET title = ?1 WHERE id = ?2 AND title <> ?1", title, id); err != nil {
		return err
	}
	for _, key := range group {
		for _, table := range []string{"takes", "set_list_entries"} {
			if _, err := exec(ctx, w, "UPDATE "+table+" SET song_id = ?1 WHERE song_key = ?2 AND song_id <> ?1", id, key); err != nil {
				return err
			}
		}
		alias := ""
		if key != root {
			alias = n.aliases[key].Alias
		}
		if _, err := exec(ctx, w, "INSERT INTO song_keys (key, song_id, alias) VALUES (?, ?, ?) ON CONFLICT (key) DO UPDATE SET song_id = excluded.song_id, alias = excluded.alias WHERE song_id <> excluded.song_id OR alias <> excluded.alias", key, id, alias); err != nil {
			return err
		}
	}
	return nil
}

// title chooses a song's title, the first of these that exists:
//
//   - the title that a person renamed it to
//   - the spelling that was entered most often, the smallest of several
//   - the spelling of an alias or of a take
func (n *names) title(root string, used []uses) string {
	if t, ok := n.titles[root]; ok {
		return t
	}
	best := uses{entered: -1}
	for _, u := range used { // in order of spelling
		if u.key == root && (u.entered > best.entered || u.entered == best.entered && u.entered == 0 && u.spelling < best.spelling) {
			best = u
		}
	}
	if best.entered > 0 {
		return best.spelling
	}
	of := []string{}
	for _, a := range n.aliases {
		if Key(a.Of) == root {
			of = append(of, a.Of)
		}
	}
	if a, ok := n.aliases[root]; ok { // in a circle
		of = append(of, a.Alias)
	}
	if best.entered == 0 {
		of = append(of, best.spelling)
	}
	if len(of) == 0 {
		return root
	}
	return slices.Min(of)
}

// sweepSong deletes the names that a key's song no longer has, and the song if
// nothing refers to it.
func (w *writing) sweepSong(ctx context.Context, n *names, key string) error {
	type row struct {
		id  SongID
		key string
	}
	songs, err := list(ctx, w, "SELECT s.id, s.key FROM songs s WHERE s.key = ?1 UNION SELECT s.id, s.key FROM song_keys k JOIN songs s ON s.id = k.song_id WHERE k.key = ?1", []any{key},
		func(sc scanner) (r row, err error) { return r, sc.Scan(&r.id, &r.key) })
	if err != nil {
		return err
	}
	for _, s := range songs {
		var used bool
		if err := w.QueryRowContext(ctx, "SELECT EXISTS (SELECT 1 FROM takes WHERE song_id = ?1) OR EXISTS (SELECT 1 FROM set_list_entries WHERE song_id = ?1) OR EXISTS (SELECT 1 FROM dismissed d JOIN song_keys k ON k.key = d.song_key WHERE k.song_id = ?1)", s.id).Scan(&used); err != nil {
			return fmt.Errorf("could not read the catalog: %w", err)
		}
		held, err := list(ctx, w, "SELECT key FROM song_keys WHERE song_id = ?", []any{s.id}, func(sc scanner) (k string, err error) { return k, sc.Scan(&k) })
		if err != nil {
			return err
		}
		for _, k := range held {
			if used && n.root(k) == s.key {
				continue
			}
			if _, err := exec(ctx, w, "DELETE FROM song_keys WHERE key = ?", k); err != nil {
				return err
			}
		}
		if !used {
			if _, err := exec(ctx, w, "DELETE FROM songs WHERE id = ?", s.id); err != nil {
				return err
			}
		}
	}
	return nil
}
