package catalog

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"
)

// Song is a title that the band plays, with its other names.
type Song struct {
	ID      SongID   `json:"id"`
	Title   string   `json:"title"`
	Aliases []string `json:"aliases"`
	Takes   int      `json:"takes"`
	Shows   int      `json:"shows"` // nights on which it was played
}

// Songs returns all songs in order of title: those that were played or are on a
// set list.
func (s *Store) Songs(ctx context.Context) ([]Song, error) {
	songs, err := list(ctx, s.db, `SELECT s.id, s.title, count(t.id), count(DISTINCT t.show_id) FROM songs s LEFT JOIN takes t ON t.song_id = s.id GROUP BY s.id HAVING count(t.id) > 0 OR EXISTS (SELECT 1 FROM set_list_entries e WHERE e.song_id = s.id) ORDER BY s.title, s.key`, nil,
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

// Song finds a song by its title or an alias, ignoring case and punctuation, or
// returns *NotFoundError.
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

// songID returns the id of the song with a title or alias, 0 if there is none.
func songID(ctx context.Context, q querier, name string) (SongID, error) {
	var id SongID
	err := q.QueryRowContext(ctx, "SELECT song_id FROM song_keys WHERE key = ?", Key(name)).Scan(&id)
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return 0, fmt.Errorf("could not read the catalog: %w", err)
	}
	return id, nil
}

var errNoTitle = errors.New("a song needs a title")

// titleBody is the title that a person gave a song by renaming it.
type titleBody struct {
	Title string `json:"title"`
}

// aliasBody makes the fact's subject, a key, another name of a song.
type aliasBody struct {
	Alias string `json:"alias"` // as it was entered
	Of    string `json:"of"`    // the song's title at that time
}

// MergeError reports that an alias is already the name of another song, so that
// adding it would merge the two songs.
type MergeError struct {
	Song, Other Song
	Name        string // the alias as given
}

func (e *MergeError) Error() string {
	what := fmt.Sprintf("%q is a song of its own", e.Other.Title)
	if !SameName(e.Name, e.Other.Title) {
		what = fmt.Sprintf("%q is another name of %q", e.Name, e.Other.Title)
	}
	return fmt.Sprintf("%s (%s on %s), not of %q", what, quantity(e.Other.Takes, "take"), quantity(e.Other.Shows, "show"), e.Song.Title)
}

// Hint says what to do about it.
func (e *MergeError) Hint() string {
	return "if the two are one song, add --merge; nightreel songs unalias takes that back"
}

// AddAlias makes alias another name of a song. If it is a name of another song,
// that song is merged into this one if merge is set, and merged is the other
// song as it was. If merge is not set, the error is *[MergeError].
func (s *Store) AddAlias(ctx context.Context, id SongID, alias string, merge bool) (merged *Song, err error) {
	alias = strings.TrimSpace(alias)
	if alias == "" {
		return nil, errNoTitle
	}
	err = s.write(ctx, func(w *writing) error {
		song, err := songOf(ctx, w, id)
		if err != nil {
			return err
		}
		other, err := songID(ctx, w, alias)
		switch {
		case err != nil || other == id:
			return err
		case other == 0:
			return w.put(ctx, FactAlias, Key(alias), aliasBody{alias, song.Title})
		}
		o, err := songOf(ctx, w, other)
		if err != nil {
			return err
		}
		if !merge {
			return &MergeError{song, o, alias}
		}
		merged = &o
		return w.put(ctx, FactAlias, Key(o.Title), aliasBody{o.Title, song.Title})
	})
	return merged, err
}

// RemoveAlias removes a name from its song: entries under that name become a
// song of their own again. It returns the song that had the name. A name that is
// not an alias is *NotFoundError.
func (s *Store) RemoveAlias(ctx context.Context, alias string) (of string, err error) {
	err = s.write(ctx, func(w *writing) error {
		n, err := w.readNames(ctx)
		if err != nil {
			return err
		}
		key := Key(alias)
		a, ok := n.aliases[key]
		if !ok {
			return &NotFoundError{Kind: "other name of a song", Name: alias, Try: "nightreel songs lists them"}
		}
		of = a.Of
		return w.put(ctx, FactAlias, key, nil)
	})
	return of, err
}

// RenameSong gives a song another title; the old one becomes an alias. It fails
// if the title is another song's.
func (s *Store) RenameSong(ctx context.Context, id SongID, title string) error {
	title = strings.TrimSpace(title)
	if title == "" {
		return errNoTitle
	}
	return s.write(ctx, func(w *writing) error {
		song, err := songOf(ctx, w, id)
		if err != nil {
			return err
		}
		other, err := songID(ctx, w, title)
		if err != nil {
			return err
		}
		if other != 0 && other != id {
			return fmt.Errorf("there is another song %q", title)
		}
		if err := w.put(ctx, FactTitle, Key(title), titleBody{title}); err != nil || SameName(title, song.Title) {
			return err
		}
		if err := w.put(ctx, FactAlias, Key(title), nil); err != nil {
			return err
		}
		return w.put(ctx, FactAlias, Key(song.Title), aliasBody{song.Title, title})
	})
}

// songOf returns a song without its aliases, or *NotFoundError.
func songOf(ctx context.Context, q querier, id SongID) (Song, error) {
	sg := Song{ID: id}
	err := q.QueryRowContext(ctx, "SELECT s.title, (SELECT count(*) FROM takes t WHERE t.song_id = s.id), (SELECT count(DISTINCT t.show_id) FROM takes t WHERE t.song_id = s.id) FROM songs s WHERE s.id = ?", id).
		Scan(&sg.Title, &sg.Takes, &sg.Shows)
	if errors.Is(err, sql.ErrNoRows) {
		return sg, songGone(fmt.Sprint(id), nil)
	}
	if err != nil {
		return sg, fmt.Errorf("could not read the catalog: %w", err)
	}
	return sg, nil
}
