package main

import (
	"context"
	"fmt"
	"io"
	"math"

	"github.com/urfave/cli/v2"

	"nightreel/catalog"
	"nightreel/internal/lists"
)

func (e *env) setlistCommand() *cli.Command {
	return &cli.Command{
		Name:  "setlist",
		Usage: "the set list of a night",
		Subcommands: []*cli.Command{
			{
				Name:      "import",
				Usage:     "read a set list and place its songs",
				ArgsUsage: "FILE",
				Description: "FILE is plain text, one title a line, or a table with a heading line: title, and start and\n" +
					"end from the recording's first sample (mm:ss, h:mm:ss) or the time of day (heading \"clock\").",
				Flags: []cli.Flag{
					showFlag("the show, needed"),
					&cli.BoolFlag{Name: "correct", Usage: "take a title that is nearly one of the tour for that one"},
				},
				Action: e.importSetList,
			},
			{
				Name:      "show",
				Aliases:   []string{"list"},
				Usage:     "print the set list of a night",
				ArgsUsage: "SHOW",
				Flags:     []cli.Flag{showFlag("the show"), jsonFlag()},
				Action:    e.printSetList,
			},
			{
				Name:      "delete",
				Usage:     "delete the set list of a night",
				ArgsUsage: "SHOW",
				Flags:     []cli.Flag{showFlag("the show")},
				Action:    e.deleteSetList,
			},
		},
	}
}

func (e *env) importSetList(c *cli.Context) error {
	if err := arguments(c, 1, 1, "one file, or - for standard input"); err != nil {
		return err
	}
	day, err := neededShow(c)
	if err != nil {
		return err
	}
	return e.withStore(c, func(store *catalog.Store) error {
		show, err := store.Show(c.Context, day)
		if err != nil {
			return err
		}
		length := math.Inf(1)
		if len(show.Recordings) > 0 {
			ref := show.Recordings[0]
			length = ref.Seconds(ref.Frames)
		}
		entries, err := readFile(c.Args().First(), func(r io.Reader, name string) ([]catalog.SetListEntry, error) {
			return lists.ReadSetListWithin(r, name, length)
		})
		if err != nil {
			return err
		}
		titles, err := tourTitles(c.Context, store, show.Key)
		if err != nil {
			return err
		}
		for i, entry := range entries {
			near := lists.NearTitle(entry.Song, titles)
			switch {
			case near == "":
			case c.Bool("correct"):
				e.say("%q is taken for %q", entry.Song, near)
				entries[i].Song = near
			default:
				e.warn("%q is new on this tour: did you mean %q? Import the list again with --correct, or make one song of the two: nightreel songs alias %q %q --merge", entry.Song, near, near, entry.Song)
			}
		}
		if err := store.SaveSetList(c.Context, show.Key, entries); err != nil {
			return err
		}
		return e.refresh(c.Context, store, false, []catalog.ShowKey{show.Key}, func() error {
			takes, err := store.Takes(c.Context, catalog.TakeFilter{Show: show.Key})
			if err != nil {
				return err
			}
			return e.printf("%s on the set list, %s placed\n", count(len(entries), "song"), count(len(takes), "take"))
		})
	})
}

// tourTitles returns the titles, and their other names, of the songs that other shows
// have, on their set lists or as takes.
func tourTitles(ctx context.Context, store *catalog.Store, but catalog.ShowKey) ([]string, error) {
	songs, err := store.Songs(ctx)
	if err != nil {
		return nil, err
	}
	takes, err := store.Takes(ctx, catalog.TakeFilter{})
	if err != nil {
		return nil, err
	}
	wanted, err := store.SetLists(ctx)
	if err != nil {
		return nil, err
	}
	played, listed := map[string]bool{}, map[catalog.SongID]bool{}
	for _, t := range takes {
		played[t.Song] = played[t.Song] || t.Show != but
	}
	for _, w := range wanted {
		listed[w.Song] = listed[w.Song] || w.Show != but
	}
	var titles []string
	for _, song := range songs {
		if played[song.Title] || listed[song.ID] {
			titles = append(append(titles, song.Title), song.Aliases...)
		}
	}
	return titles, nil
}

func (e *env) deleteSetList(c *cli.Context) error {
	return e.withShow(c, func(store *catalog.Store, show catalog.ShowKey) error {
		entries, err := store.SetList(c.Context, show)
		if err != nil {
			return err
		}
		if len(entries) == 0 {
			return &catalog.NotFoundError{Kind: "set list", Name: string(show), Try: "nightreel setlist import FILE --show DATE reads one"}
		}
		if err := store.SaveSetList(c.Context, show, nil); err != nil {
			return err
		}
		e.sentence("", "the set list of %s is deleted; nightreel undo brings it back", show)
		return e.refresh(c.Context, store, false, []catalog.ShowKey{show}, nil)
	})
}

func (e *env) printSetList(c *cli.Context) error {
	return e.withShow(c, func(store *catalog.Store, show catalog.ShowKey) error {
		entries, err := store.SetList(c.Context, show)
		if err != nil {
			return err
		}
		if len(entries) == 0 {
			e.say("%s has no set list; nightreel setlist import FILE --show %q reads one", show, show)
		}
		if c.Bool("json") {
			return e.printJSON(entries)
		}
		for _, entry := range entries {
			if err := e.item(fmt.Sprintf("%d. ", entry.Position), "%s", entry.Song); err != nil {
				return err
			}
		}
		return nil
	})
}
