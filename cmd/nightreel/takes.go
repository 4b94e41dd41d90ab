package main

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/urfave/cli/v2"

	"nightreel/catalog"
	"nightreel/internal/lists"
	"nightreel/internal/songs"
)

func (e *env) songsCommand() *cli.Command {
	return &cli.Command{
		Name:  "songs",
		Usage: "list the songs of the tour",
		Flags: []cli.Flag{jsonFlag()},
		Action: func(c *cli.Context) error {
			return e.withStore(c, func(store *catalog.Store) error {
				all, err := store.Songs(c.Context)
				if err != nil {
					return err
				}
				if len(all) == 0 {
					s, err := stateOf(c.Context, store, "")
					if err != nil {
						return err
					}
					e.mind(s)
					e.empty(store, s, "no songs yet; nightreel setlist import FILE --show DATE looks for the songs of a set list, nightreel takes set places one by hand")
				}
				if c.Bool("json") {
					return e.printJSON(all)
				}
				t := newTable("song", ">takes", ">shows", "~also called")
				for _, s := range all {
					t.row(s.Title, fmt.Sprint(s.Takes), fmt.Sprint(s.Shows), strings.Join(s.Aliases, ", "))
				}
				return e.printTable(t)
			})
		},
		Subcommands: []*cli.Command{
			{
				Name:      "alias",
				Usage:     "give a song another name",
				ArgsUsage: "TITLE ALIAS",
				Flags:     []cli.Flag{&cli.BoolFlag{Name: "merge", Usage: "if ALIAS is a song of its own, make one song of the two"}},
				Action:    e.aliasSong,
			},
			{
				Name:      "unalias",
				Usage:     "remove an alias: what was entered under it becomes a song of its own again",
				ArgsUsage: "ALIAS",
				Action: func(c *cli.Context) error {
					if err := arguments(c, 1, 1, "a name"); err != nil {
						return err
					}
					return e.withStore(c, func(store *catalog.Store) error {
						title, err := store.RemoveAlias(c.Context, c.Args().First())
						if err != nil {
							return err
						}
						e.say("%q is no longer another name of %q", c.Args().First(), title)
						return e.refresh(c.Context, store, false, nil, nil)
					})
				},
			},
			{
				Name:      "rename",
				Usage:     "give a song another title; the old one stays as an alias",
				ArgsUsage: "TITLE NEW",
				Action: func(c *cli.Context) error {
					return e.editSong(c, "a title and a new one", (*catalog.Store).RenameSong)
				},
			},
		},
	}
}

func (e *env) aliasSong(c *cli.Context) error {
	return e.editSong(c, "a title and an alias", func(store *catalog.Store, ctx context.Context, id catalog.SongID, alias string) error {
		merged, err := store.AddAlias(ctx, id, alias, c.Bool("merge"))
		if err == nil && merged != nil {
			e.say("%q (%s on %s) is the same song as %q now; nightreel songs unalias %q takes that back",
				merged.Title, count(merged.Takes, "take"), count(merged.Shows, "show"), c.Args().First(), merged.Title)
		}
		if err == nil && merged == nil {
			e.sentence("", "%q is another name of %q now", inline(alias), inline(c.Args().First()))
		}
		return err
	})
}

func (e *env) editSong(c *cli.Context, what string, edit func(*catalog.Store, context.Context, catalog.SongID, string) error) error {
	if err := arguments(c, 2, 2, what); err != nil {
		return err
	}
	return e.withStore(c, func(store *catalog.Store) error {
		song, err := store.Song(c.Context, c.Args().Get(0))
		if err != nil {
			return err
		}
		if err := edit(store, c.Context, song.ID, c.Args().Get(1)); err != nil {
			return err
		}
		return e.refresh(c.Context, store, false, nil, nil)
	})
}

func (e *env) takesCommand() *cli.Command {
	return &cli.Command{
		Name:        "takes",
		Usage:       "list the takes: one song on one night",
		Flags:       []cli.Flag{songFlag(), showFlag("only this show"), jsonFlag()},
		Action:      e.listTakes,
		Subcommands: e.takeCommands(),
	}
}

func (e *env) listTakes(c *cli.Context) error {
	day, err := date(c, "show")
	if err != nil {
		return err
	}
	return e.withResults(c, func(store *catalog.Store) error {
		show, err := knownShow(c.Context, store, day)
		if err != nil {
			return err
		}
		takes, err := store.Takes(c.Context, catalog.TakeFilter{Show: show, Song: c.String("song")})
		if err != nil {
			return err
		}
		s, err := stateOf(c.Context, store, show)
		if err != nil {
			return err
		}
		if len(takes) == 0 {
			e.empty(store, s, "no takes%s; nightreel setlist import FILE --show DATE looks for the songs of a set list, nightreel takes set places one by hand", asked(c))
		}
		e.mind(s)
		return e.printTakes(c, takes)
	})
}

// takeCommands are the commands by which a person corrects takes.
func (e *env) takeCommands() []*cli.Command {
	timeFlag := func(name, usage string) cli.Flag {
		return &cli.StringFlag{Name: name, Usage: usage + ": `TIME` from the recording's first sample, as seconds, mm:ss or h:mm:ss"}
	}
	return []*cli.Command{
		{
			Name:  "set",
			Usage: "place a take by hand, or correct one",
			Flags: []cli.Flag{
				showFlag("the show, needed"), songFlag(),
				&cli.IntFlag{Name: "nth", Usage: "the song's `N`th take on that night", Value: 1},
				timeFlag("start", "where it begins"), timeFlag("end", "where it ends"),
				&cli.BoolFlag{Name: "yes", Usage: "place it even if takes that it lies over go"}, jsonFlag(),
			},
			Action: e.setTake,
		},
		{
			Name:      "split",
			Usage:     "make two takes of one",
			ArgsUsage: "ID",
			Flags: []cli.Flag{
				timeFlag("at", "where the second begins"),
				&cli.StringFlag{Name: "song", Aliases: []string{"title"}, Usage: "`TITLE` of the second; the same if not given"}, jsonFlag(),
			},
			Action: e.splitTake,
		},
		{
			Name:      "merge",
			Usage:     "make one take of two; the first keeps its title",
			ArgsUsage: "ID ID",
			Flags:     []cli.Flag{jsonFlag()},
			Action:    e.mergeTakes,
		},
		{
			Name:      "rename",
			Usage:     "give a take another song's title",
			ArgsUsage: "ID TITLE",
			Flags:     []cli.Flag{jsonFlag()},
			Action:    e.renameTake,
		},
		{
			Name:      "delete",
			Usage:     "delete a take; the recording is untouched, and no finder places it again",
			ArgsUsage: "ID",
			Flags:     []cli.Flag{jsonFlag()},
			Action:    e.deleteTake,
		},
	}
}

func (e *env) setTake(c *cli.Context) error {
	if err := arguments(c, 0, 0, "no arguments"); err != nil {
		return err
	}
	if err := need(c, "show", "song", "start", "end"); err != nil {
		return err
	}
	if err := atLeast(c, 1, "nth"); err != nil {
		return err
	}
	day, err := date(c, "show")
	if err != nil {
		return err
	}
	start, err := seconds(c, "start")
	if err != nil {
		return err
	}
	end, err := seconds(c, "end")
	if err != nil {
		return err
	}
	return e.editTakes(c, func(store *catalog.Store) ([]catalog.Take, error) {
		take, err := songs.Set(c.Context, store, songs.SetRequest{Show: day, Song: c.String("song"), Nth: c.Int("nth"), StartS: start, EndS: end, Keep: !c.Bool("yes")})
		return []catalog.Take{take}, err
	})
}

func (e *env) splitTake(c *cli.Context) error {
	if err := arguments(c, 1, 1, "the take's id"); err != nil {
		return err
	}
	if err := need(c, "at"); err != nil {
		return err
	}
	id, err := takeID(c, 0)
	if err != nil {
		return err
	}
	at, err := seconds(c, "at")
	if err != nil {
		return err
	}
	return e.editTakes(c, func(store *catalog.Store) ([]catalog.Take, error) {
		return songs.Split(c.Context, store, id, at, c.String("song"))
	})
}

func (e *env) mergeTakes(c *cli.Context) error {
	if err := arguments(c, 2, 2, "the ids of two takes"); err != nil {
		return err
	}
	a, err := takeID(c, 0)
	if err != nil {
		return err
	}
	b, err := takeID(c, 1)
	if err != nil {
		return err
	}
	return e.editTakes(c, func(store *catalog.Store) ([]catalog.Take, error) {
		take, err := songs.Merge(c.Context, store, a, b)
		return []catalog.Take{take}, err
	})
}

func (e *env) renameTake(c *cli.Context) error {
	if err := arguments(c, 2, 2, "the take's id and a title"); err != nil {
		return err
	}
	id, err := takeID(c, 0)
	if err != nil {
		return err
	}
	return e.editTakes(c, func(store *catalog.Store) ([]catalog.Take, error) {
		take, err := songs.Rename(c.Context, store, id, c.Args().Get(1))
		return []catalog.Take{take}, err
	})
}

func (e *env) deleteTake(c *cli.Context) error {
	if err := arguments(c, 1, 1, "the take's id"); err != nil {
		return err
	}
	id, err := takeID(c, 0)
	if err != nil {
		return err
	}
	return e.editTakes(c, func(store *catalog.Store) ([]catalog.Take, error) {
		takes, err := store.Takes(c.Context, catalog.TakeFilter{ID: id})
		if err != nil {
			return nil, err
		}
		return takes, songs.Delete(c.Context, store, id)
	})
}

// editTakes changes takes, brings up to date what follows from them, and prints
// what came out.
func (e *env) editTakes(c *cli.Context, edit func(store *catalog.Store) ([]catalog.Take, error)) error {
	return e.withResults(c, func(store *catalog.Store) error {
		before, err := store.Takes(c.Context, catalog.TakeFilter{})
		if err != nil {
			return err
		}
		takes, err := edit(store)
		if err != nil {
			return err
		}
		var shows []catalog.ShowKey
		for _, t := range takes {
			if !slices.Contains(shows, t.Show) {
				shows = append(shows, t.Show)
			}
		}
		if err := e.printTakes(c, takes); err != nil {
			return err
		}
		after, err := store.Takes(c.Context, catalog.TakeFilter{})
		if err != nil {
			return err
		}
		e.tell(movedTakes(before, after, takes))
		e.say("nightreel undo takes this back")
		return e.refresh(c.Context, store, c.Bool("json"), shows, nil)
	})
}

// movedTakes returns a sentence for each take that moved or went beside those that were
// edited.
func movedTakes(before, after, edited []catalog.Take) []string {
	now := map[catalog.TakeID]catalog.Take{}
	for _, t := range after {
		now[t.ID] = t
	}
	var lines []string
	for _, old := range before {
		t, there := now[old.ID]
		switch {
		case slices.ContainsFunc(edited, func(t catalog.Take) bool { return t.ID == old.ID }):
		case !there:
			lines = append(lines, fmt.Sprintf("take %d of %q on %s (%s to %s) is gone", old.ID, old.Song, old.Show, catalog.ClockTenths(old.StartS()), catalog.ClockTenths(old.EndS())))
		case t.StartFrame != old.StartFrame || t.EndFrame != old.EndFrame:
			lines = append(lines, fmt.Sprintf("take %d of %q on %s gave way: it is from %s to %s now", t.ID, t.Song, t.Show, catalog.ClockTenths(t.StartS()), catalog.ClockTenths(t.EndS())))
		}
	}
	return lines
}

func (e *env) printTakes(c *cli.Context, takes []catalog.Take) error {
	if c.Bool("json") {
		return e.printJSON(takes)
	}
	t := newTable(">id", "show", ">start", ">end", ">length", "song", "found by", ">sure")
	t.drop = []string{"end", "sure", "found by"}
	for _, take := range takes {
		t.row(fmt.Sprint(take.ID), string(take.Show), catalog.ClockTenths(take.StartS()), catalog.ClockTenths(take.EndS()), catalog.Clock(take.EndS()-take.StartS()),
			titled(take.Song, take.Nth), string(take.FoundBy), fmt.Sprintf("%.0f %%", 100*take.Confidence))
	}
	return e.printTable(t)
}

// seconds reads an option that holds a time.
func seconds(c *cli.Context, option string) (float64, error) {
	s, err := lists.ParseTime(c.String(option))
	if err != nil {
		return 0, &usageError{command: commandPath(c), text: fmt.Sprintf("--%s: %v", option, err)}
	}
	return s, nil
}

// takeID reads an argument that is a take's id.
func takeID(c *cli.Context, n int) (catalog.TakeID, error) {
	id, err := strconv.ParseInt(c.Args().Get(n), 10, 64)
	if err != nil || id < 1 {
		return 0, &usageError{command: commandPath(c), text: fmt.Sprintf("%q is not the id of a take; nightreel takes lists them", c.Args().Get(n))}
	}
	return catalog.TakeID(id), nil
}
