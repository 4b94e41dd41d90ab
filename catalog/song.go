package catalog

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"
)

// Song is a title that the band plays, and other names it goes by.
type Song struct {
	ID      SongID   `json:"id"`
	Title   string   `json:"title"`
	Aliases []string `json:"aliases"`
	Takes   int      `json:"takes"`
	Shows   int      `json:"shows"` // nights on which it was played
}

// Songs returns all songs in order of title.
func (s *Store) Songs(ctx context.Context) ([]Song, error) {
	songs, err := list(ctx, s.db, `SELECT s.id, s.title, count(t.id), count(DISTINCT t.show_id) FROM songs s LEFT JOIN takes t ON t.song_id = s.id GROUP BY s.id ORDER BY s.title, s.id`, nil,
		func(row scanner) (sg Song, err error) {
			sg.Aliases = []string{}
			return sg, row.Scan(&sg.ID, &sg.Title, &sg.Takes, &sg.Shows)
		})
	if err != nil {
		return nil, err
	}
	at := map[SongID]int{}
	for i := range songs {
		at[songs[i].ID] = i
	}
	type alias struct {
		song SongID
		name string
	}
	aliases, err := list(ctx, s.db, "SELECT song_id, alias FROM song_keys WHERE alias <> '' ORDER BY song_id, alias", nil, func(row scanner) (a alias, err error) {
		return a, row.Scan(&a.song, &a.name)
	})
	if err != nil {
		return nil, err
	}
	for _, a := range aliases {
		if i, ok := at[a.song]; ok { // else it was made between the two reads
			songs[i].Aliases = append(songs[i].Aliases, a.name)
		}
	}
	return songs, nil
}

// Song finds a song by its title or an alias, without regard to case and
// punctuation, or returns *NotFoundError.
func (s *Store) Song(ctx context.Context, name string) (Song, error) {
	id, err := songID(ctx, s.db, name)
	if err != nil {
		return Song{}, err
	}
	songs, err := s.Songs(ctx)
	if err != nil {
		return Song{}, err
	}
	known := []string{}
	for _, sg := range songs {
		if sg.ID == id {
			return sg, nil
		}
		known = append(append(known, sg.Title), sg.Aliases...)
	}
	return Song{}, songGone(name, known)
}

func songGone(name string, known []string) error {
	return NotFound("song", name, known, "nightreel songs lists the titles")
}

// songID returns the id of the song with a title or alias, 0 where none has.
func songID(ctx context.Context, q querier, name string) (SongID, error) {
	var id SongID
	err := q.QueryRowContext(ctx, "SELECT song_id FROM song_keys WHERE key = ?", Key(name)).Scan(&id)
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return 0, fmt.Errorf("could not read the catalog: %w", err)
	}
	return id, nil
}

// ensureSong returns the id of the song of a title or alias and makes the song
// where there is none.
func ensureSong(ctx context.Context, tx *sql.Tx, title string) (SongID, error) {
	title = strings.TrimSpace(title)
	if title == "" {
		return 0, errNoTitle
	}
	id, err := songID(ctx, tx, title)
	if err != nil || id != 0 {
		return id, err
	}
	n, err := insert(ctx, tx, "INSERT INTO songs (title) VALUES (?)", title)
	if err != nil {
		return 0, err
	}
	_, err = exec(ctx, tx, "INSERT INTO song_keys (key, song_id) VALUES (?, ?)", Key(title), n)
	return SongID(n), err
}

var errNoTitle = errors.New("a song needs a title")

// AddAlias makes alias another name of a song. Where the alias is a song of
// its own, the two become one: its takes, dismissals, set-list entries and
// names go to song.
func (s *Store) AddAlias(ctx context.Context, song SongID, alias string) error {
	alias = strings.TrimSpace(alias)
	if alias == "" {
		return errNoTitle
	}
	return s.update(ctx, func(tx *sql.Tx) error {
		if err := songExists(ctx, tx, song); err != nil {
			return err
		}
		other, err := songID(ctx, tx, alias)
		if err != nil {
			return err
		}
		switch other {
		case song:
			return nil
		case 0:
			_, err := exec(ctx, tx, "INSERT INTO song_keys (key, song_id, alias) VALUES (?, ?, ?)", Key(alias), song, alias)
			return err
		}
		for _, q := range []string{
			"UPDATE takes SET song_id = ?1 WHERE song_id = ?2",
			"UPDATE dismissed SET song_id = ?1 WHERE song_id = ?2",
			"UPDATE set_list_entries SET song_id = ?1 WHERE song_id = ?2",
			"UPDATE song_keys SET alias = (SELECT title FROM songs WHERE id = ?2) WHERE song_id = ?2 AND alias = ''",
			"UPDATE song_keys SET song_id = ?1 WHERE song_id = ?2",
		} {
			if _, err := exec(ctx, tx, q, song, other); err != nil {
				return err
			}
		}
		_, err = exec(ctx, tx, "DELETE FROM songs WHERE id = ?", other)
		return err
	})
}

// RenameSong gives a song another title; the old one becomes an alias. It
// fails where the title is another song's.
func (s *Store) RenameSong(ctx context.Context, song SongID, title string) error {
	title = strings.TrimSpace(title)
	if title == "" {
		return errNoTitle
	}
	return s.update(ctx, func(tx *sql.Tx) error {
		if err := songExists(ctx, tx, song); err != nil {
			return err
		}
		other, err := songID(ctx, tx, title)
		if err != nil {
			return err
		}
		if other != 0 && other != song {
			return fmt.Errorf("there is another song %q", title)
		}
		if _, err := exec(ctx, tx, "UPDATE song_keys SET alias = (SELECT title FROM songs WHERE id = ?1) WHERE song_id = ?1 AND alias = ''", song); err != nil {
			return err
		}
		if _, err := exec(ctx, tx, "INSERT INTO song_keys (key, song_id) VALUES (?, ?) ON CONFLICT (key) DO UPDATE SET alias = ''", Key(title), song); err != nil {
			return err
		}
		_, err = exec(ctx, tx, "UPDATE songs SET title = ? WHERE id = ?", title, song)
		return err
	})
}

func songExists(ctx context.Context, tx *sql.Tx, id SongID) error {
	var there bool
	if err := tx.QueryRowContext(ctx, "SELECT EXISTS (SELECT 1 FROM songs WHERE id = ?)", id).Scan(&there); err != nil {
		return fmt.Errorf("could not read the catalog: %w", err)
	}
	if !there {
		return songGone(fmt.Sprint(id), nil)
	}
	return nil
}
