package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"

	"github.com/urfave/cli/v2"

	"nightreel/catalog"
	"nightreel/internal/lists"
)

func (e *env) inputsCommand() *cli.Command {
	return &cli.Command{
		Name:  "inputs",
		Usage: "the input list: which channel is on which track, and how its preamp is set",
		Subcommands: []*cli.Command{
			{
				Name:      "import",
				Usage:     "put an input list in force from a show on, or for one show",
				ArgsUsage: "FILE",
				Description: "FILE is a table with a heading line; columns are known by their heading, in any order:\n" +
					"track, channel, gain (dB), group, notes. Comma, semicolon or tab.",
				Flags: []cli.Flag{
					&cli.StringFlag{Name: "from", Usage: "in force from this show's `DATE` on"},
					showFlag("for that night only, laid over the list in force"),
					&cli.StringFlag{Name: "rig", Usage: "for this record rig's `NAME` only"},
				},
				Action: e.importInputs,
			},
			{
				Name:      "show",
				Aliases:   []string{"list"},
				Usage:     "print the input list in force on a night",
				ArgsUsage: "SHOW",
				Flags:     []cli.Flag{showFlag("the night"), &cli.StringFlag{Name: "rig", Usage: "for this record rig's `NAME`", Value: catalog.MainRig}, jsonFlag(), csvFlag()},
				Action:    e.printInputs,
			},
		},
	}
}

func (e *env) importInputs(c *cli.Context) error {
	if err := arguments(c, 1, 1, "one file, or - for standard input"); err != nil {
		return err
	}
	from, err := date(c, "from")
	if err != nil {
		return err
	}
	only, err := date(c, "show")
	if err != nil {
		return err
	}
	if (from == "") == (only == "") {
		return &usageError{command: commandPath(c), text: "needs either --from DATE or --show DATE"}
	}
	list := catalog.InputList{From: from + only, Only: only != "", Rig: c.String("rig")} // one of the two is empty
	if list.Inputs, err = readFile(c.Args().First(), lists.ReadInputs); err != nil {
		return err
	}
	return e.withNew(c, func(store *catalog.Store) error {
		if err := e.newRig(c, store); err != nil {
			return err
		}
		if err := store.SaveInputList(c.Context, list); err != nil {
			return err
		}
		shows, err := store.Shows(c.Context, catalog.ShowFilter{})
		if err != nil {
			return err
		}
		var concerned []catalog.ShowKey
		for _, show := range shows {
			if show.Key >= list.From && (!list.Only || show.Key == list.From) {
				concerned = append(concerned, show.Key)
			}
		}
		if err := e.refresh(c.Context, store, false, concerned, nil); err != nil {
			return err
		}
		when := "from " + string(list.From) + " on"
		if list.Only {
			when = "for " + string(list.From) + " only"
		}
		err = e.printf("%s in force %s\n", count(len(list.Inputs), "input"), when)
		return err
	})
}

// newRig warns of a rig in --rig that has no recording yet: the list may come
// before the scan, or the name may be mistyped.
func (e *env) newRig(c *cli.Context, store *catalog.Store) error {
	var unknown *catalog.NotFoundError
	err := knownNames(c, store)
	if errors.As(err, &unknown) {
		e.warn("no recording is of rig %s yet; %s", c.String("rig"), unknown.Hint())
		return nil
	}
	return err
}

func (e *env) printInputs(c *cli.Context) error {
	if err := addressed(c, "show", "one show"); err != nil {
		return err
	}
	if err := notBoth(c, "csv", "json"); err != nil {
		return err
	}
	day, err := neededShow(c)
	if err != nil {
		return err
	}
	return e.withStore(c, func(store *catalog.Store) error {
		day, err := store.Address(c.Context, day)
		if err != nil {
			return err
		}
		all, err := store.InputLists(c.Context)
		if err != nil {
			return err
		}
		if err := knownNames(c, store); err != nil {
			return err
		}
		inputs := catalog.InForce(all, day, c.String("rig"))
		if len(inputs) == 0 {
			e.say("no input list is in force%s; nightreel inputs import FILE --from DATE reads one", asked(c))
		}
		switch {
		case c.Bool("json"):
			return e.printJSON(inputs)
		case c.Bool("csv"):
			return lists.WriteInputs(e.stdout, inputs)
		}
		t := newTable(">track", "channel", ">gain dB", "group", "~notes")
		for _, in := range inputs {
			t.row(fmt.Sprint(in.Track), in.Channel, gain(in.GainDB), in.Group, in.Notes)
		}
		return e.printTable(t)
	})
}

// gain writes a preamp gain that may not be known.
func gain(db *float64) string {
	if db == nil {
		return "-"
	}
	return fmt.Sprintf("%g", *db)
}

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

func (e *env) printSetList(c *cli.Context) error {
	if err := addressed(c, "show", "one show"); err != nil {
		return err
	}
	day, err := neededShow(c)
	if err != nil {
		return err
	}
	return e.withStore(c, func(store *catalog.Store) error {
		show, err := knownShow(c.Context, store, day)
		if err != nil {
			return err
		}
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

func (e *env) deskCommand() *cli.Command {
	return &cli.Command{
		Name:  "desk",
		Usage: "desks and their patches: which channel comes in where",
		Subcommands: []*cli.Command{
			{
				Name:      "import",
				Usage:     "read a desk's patch",
				ArgsUsage: "FILE",
				Description: "FILE is a table with a heading line: desk input, channel, and if known gain (tonight's\n" +
					"preamp gain in dB) and output (the playback output that feeds the input; the same number\n" +
					"if not given).",
				Flags: []cli.Flag{&cli.StringFlag{Name: "name", Usage: "the desk's `NAME`, needed"}},
				Action: func(c *cli.Context) error {
					if err := arguments(c, 1, 1, "one file, or - for standard input"); err != nil {
						return err
					}
					if err := need(c, "name"); err != nil {
						return err
					}
					desk := catalog.Desk{Name: c.String("name")}
					var err error
					if desk.Inputs, err = readFile(c.Args().First(), lists.ReadDesk); err != nil {
						return err
					}
					return e.withNew(c, func(store *catalog.Store) error {
						if err := store.SaveDesk(c.Context, desk); err != nil {
							return err
						}
						err := e.printf("desk %s has %s\n", desk.Name, count(len(desk.Inputs), "input"))
						return err
					})
				},
			},
			{
				Name:      "list",
				Aliases:   []string{"show"},
				Usage:     "list the desks and their inputs",
				ArgsUsage: "[NAME]",
				Flags:     []cli.Flag{&cli.StringFlag{Name: "name", Usage: "only the desk of this `NAME`"}, jsonFlag()},
				Action:    e.listDesks,
			},
			{
				Name:      "delete",
				Usage:     "delete a desk's patch; playback sessions that were built for it stay",
				ArgsUsage: "NAME",
				Flags:     []cli.Flag{&cli.StringFlag{Name: "name", Usage: "the desk's `NAME`"}},
				Action: func(c *cli.Context) error {
					if err := addressed(c, "name", "the name of one desk"); err != nil {
						return err
					}
					if err := need(c, "name"); err != nil {
						return err
					}
					return e.withStore(c, func(store *catalog.Store) error {
						d, err := store.DeleteDesk(c.Context, c.String("name"))
						if err != nil {
							return err
						}
						return e.sentence("", "desk %s is deleted; nightreel undo brings it back", d.Name)
					})
				},
			},
		},
	}
}

func (e *env) listDesks(c *cli.Context) error {
	if err := addressed(c, "name", "the name of one desk"); err != nil {
		return err
	}
	return e.withStore(c, func(store *catalog.Store) error {
		desks, err := store.Desks(c.Context)
		if err != nil {
			return err
		}
		if name := c.String("name"); name != "" {
			desk, err := store.Desk(c.Context, name)
			if err != nil {
				return err
			}
			desks = []catalog.Desk{desk}
		}
		if len(desks) == 0 {
			e.say("no desk yet; nightreel desk import FILE --name NAME reads a desk's patch")
		}
		if c.Bool("json") {
			return e.printJSON(desks)
		}
		t := newTable("desk", ">input", "channel", ">gain dB", ">output")
		for _, d := range desks {
			for _, in := range d.Inputs {
				t.row(d.Name, fmt.Sprint(in.Input), in.Channel, gain(in.GainDB), fmt.Sprint(in.Output))
			}
		}
		return e.printTable(t)
	})
}

// readFile reads a list from a file, or from standard input for "-".
func readFile[T any](path string, read func(r io.Reader, name string) (T, error)) (T, error) {
	if path == "-" {
		return read(os.Stdin, "standard input")
	}
	f, err := os.Open(path)
	if err != nil {
		var none T
		return none, fmt.Errorf("%s: could not read the list: %w", path, err)
	}
	defer f.Close()
	return read(f, path)
}
